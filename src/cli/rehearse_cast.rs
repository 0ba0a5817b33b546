//! Who and what the rehearsal's invented orders are made of: customers in many scripts,
//! places on the invented island of Skerry, prices. Nobody and nothing here is real.

/// Somebody who orders.
#[derive(Debug, Clone, Copy)]
pub(super) struct Customer {
    /// Given name, or the whole name where it is not parted.
    pub first: &'static str,
    /// Family name; empty where the name is not parted.
    pub last: &'static str,
    /// The family name stands first.
    pub family_first: bool,
    /// BCP 47 language of the name.
    pub language: &'static str,
}

impl Customer {
    /// The name as it is written.
    pub(super) fn name(&self) -> String {
        match (self.last, self.family_first) {
            ("", _) => self.first.to_owned(),
            (last, true) => format!("{last} {}", self.first),
            (last, false) => format!("{} {last}", self.first),
        }
    }
}

const fn named(first: &'static str, last: &'static str, language: &'static str) -> Customer {
    Customer { first, last, family_first: false, language }
}
const fn family_first(first: &'static str, last: &'static str, language: &'static str) -> Customer {
    Customer { first, last, family_first: true, language }
}

/// Customers in eleven scripts; the first ones are the first to order.
pub(super) const CUSTOMERS: [Customer; 34] = [
    named("Zoë", "Ångström", "sv"),
    family_first("花子", "佐藤", "ja"),
    named("Ελένη", "Θαλασσινού", "el"),
    named("Ольга", "Северная", "ru"),
    named("ليلى", "البحري", "ar"),
    named("נועה", "בן־ים", "he"),
    named("अनन्या", "सागर", "hi"),
    named("มาลี", "ชายฝั่ง", "th"),
    named("林海蓝", "", "zh-Hans"),
    named("김바다", "", "ko"),
    named("Ánh", "Nguyễn Thị", "vi"),
    named("Łucja", "Żółć-Brzeg", "pl"),
    family_first("ゆうこ", "はまだ", "ja"),
    named("Siân", "Llŷr", "cy"),
    named("Þórdís", "Sjávardóttir", "is"),
    named("Σοφία", "Αμμουδιά", "el"),
    named("Ґанна", "Їжакевич", "uk"),
    named("يوسف", "المرسى", "ar"),
    named("陳海瀾", "", "zh-Hant"),
    named("Ayşe", "İğdeli", "tr"),
    named("Jörg", "Großwörth", "de"),
    named("박하늘", "", "ko"),
    named("राहुल", "तटवर्ती", "hi"),
    named("Marie-Noëlle", "L’Écuyer", "fr"),
    named("สมชาย", "ท่าเรือ", "th"),
    named("תמר", "גלים", "he"),
    named("Ştefan", "Țărmureanu", "ro"),
    named("Õnne", "Läänerand", "et"),
    family_first("健", "渡邉", "ja"),
    named("Bích", "Trần Lê", "vi"),
    named("Řehoř", "Mořský", "cs"),
    named("Иван", "Приморский", "bg"),
    named("Nuala", "Ó Trá", "ga"),
    named("Ana", "Praia do Sal", "pt"),
];

/// Somewhere to send to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub street: &'static str,
    pub postcode: &'static str,
    pub town: &'static str,
    pub country: &'static str,
}

/// Places on Skerry in its three zones.
pub(super) const PLACES: [Place; 9] = [
    Place { street: "Quay Street 4", postcode: "1203", town: "Port Haven", country: "QS" },
    Place { street: "Lamp Lane 12\nUpper floor", postcode: "2310", town: "Kelpness", country: "QS" },
    Place { street: "Fold 7", postcode: "3055", town: "Northfold", country: "QS" },
    Place { street: "Kiln Yard 18", postcode: "4170", town: "Middlewick", country: "QS" },
    Place { street: "Peat Road 33", postcode: "5240", town: "Thornmoor", country: "QS" },
    Place { street: "Well Close 2", postcode: "6001", town: "Five Wells", country: "QS" },
    Place { street: "Gull Steps 9", postcode: "7110", town: "Gullstead", country: "QS" },
    Place { street: "Dune Row 21\nBack door", postcode: "8020", town: "Sandwell Bay", country: "QS" },
    Place { street: "Ferry Hill 1", postcode: "9400", town: "Southferry", country: "QS" },
];

/// Places abroad.
pub(super) const ABROAD: [Place; 3] = [
    Place { street: "Leuchtfeuerweg 3", postcode: "99998", town: "Neuhafen", country: "DE" },
    Place { street: "Οδός Φάρου 12", postcode: "999 99", town: "Νέο Λιμάνι", country: "GR" },
    Place { street: "潮見町 4-12", postcode: "999-9998", town: "東港市", country: "JP" },
];

/// What the shop asks for one, in cents, and what it calls it.
pub(super) fn price_and_name(sku: &str) -> (i64, &'static str) {
    match sku {
        "mug" => (2400, "Mug, tide grey"),
        "mug-kelp" => (2400, "Mug, kelp green"),
        "mug-dawn" => (2600, "Mug, dawn pink"),
        "bowl" => (2800, "Bowl, tide grey"),
        "bowl-kelp" => (2800, "Bowl, kelp green"),
        "plate" => (2200, "Side plate, tide grey"),
        "teapot" => (6800, "Teapot, tide grey"),
        "jug" => (7500, "Jug with your words"),
        "heather-smoke" => (1250, "Heather smoke, 100 g"),
        "sea-mint" => (980, "Sea mint, 100 g"),
        "night-watch" => (1160, "Night watch, 100 g"),
        "almond-harbour" => (1220, "Almond harbour, 100 g"),
        "tin" => (1400, "Tea tin, thistle"),
        "tea-towel" => (1800, "Tea towel, terns"),
        "tea-for-two" => (12200, "Tea for two"),
        "tasting" => (4400, "Tasting set"),
        "GLZ-9" => (900, "Glaze sampler"),
        _ => (300, "Tip for the kiln"),
    }
}

/// What ordinary orders hold: things that are always there, small enough for one parcel.
pub(super) const BASKETS: [&[(&str, u32)]; 12] = [
    &[("mug-dawn", 1)],
    &[("sea-mint", 1), ("tin", 1)],
    &[("tea-towel", 2)],
    &[("mug-kelp", 2)],
    &[("almond-harbour", 2)],
    &[("bowl-kelp", 1), ("night-watch", 1)],
    &[("teapot", 1)],
    &[("tasting", 1)],
    &[("plate", 4)],
    &[("mug", 1), ("heather-smoke", 1)],
    &[("tea-for-two", 1)],
    &[("bowl", 2), ("tea-towel", 1)],
];
