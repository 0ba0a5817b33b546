//! Dangerous goods in `products.toml`, and what services take of them in `services.toml`.

use super::draft::{Entry, Section};
use super::services::Services;
use super::shape;
use super::values::{WeightBound, Written};
use crate::model::*;
use toml::de::DeValue;

impl Written for NetQuantity {
    const WHAT: &'static str = "an amount of a substance";
    const EXAMPLE: &'static str = "500 ml";
    const UNITS: &'static [&'static str] = &["ml", "l", "g", "kg"];
    fn read(text: &str) -> Result<Self, String> {
        let weight = text.parse::<Weight>().map(Self::Weight);
        let read = weight.or_else(|_| text.parse::<Volume>().map(Self::Volume));
        let wrong = || format!("{text:?}: liquids by volume, the rest by weight, like \"500 ml\", \"5 l\" or \"1 kg\"");
        match read.map_err(|_| wrong())? {
            Self::Volume(Volume { nm3: 0 }) | Self::Weight(Weight { ng: ..=0 }) => Err(wrong()),
            read => Ok(read),
        }
    }
}

/// What is dangerous about a product: words, or a table with its number and how much is in it.
pub(super) fn of_product(table: &Section<'_>) -> Option<Danger> {
    let entry = table.entry("danger")?;
    if table.has("made_of") {
        // A set is packed as its parts: nobody would ever read it here.
        let remedy = "say it of the part that is dangerous";
        table.complain(&entry.key.at, "`danger` has no effect on what is made of others", remedy);
    }
    match entry.value {
        DeValue::Table(_) => table.table_of(&entry, &shape::DANGER).and_then(|danger| in_full(&danger)),
        _ => table.printed("danger").map(|given| Danger::words(&given.value)),
    }
}

fn in_full(danger: &Section<'_>) -> Option<Danger> {
    if !danger.has("words") {
        danger.missing("words", "\"lacquer, flammable\"");
    }
    let un = danger.text("un").map(|given| {
        let digits = given.value.strip_prefix("UN").unwrap_or_default();
        if digits.len() != 4 || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
            let what = format!("{:?} is no number of the list of dangerous goods", given.value);
            danger.complain(&given.at, what, "\"UN\" and four digits, like \"UN1263\"");
        }
        given.value
    });
    let (net, most) = (danger.written::<NetQuantity>("net"), danger.written::<NetQuantity>("limited_quantity"));
    if let Some(limited) = danger.own("limited_quantity") {
        for (key, example) in [("un", "\"UN1263\""), ("net", "\"500 ml\": how much is in one")] {
            if !danger.has(key) {
                let what = format!("`limited_quantity` says nothing without `{key}`");
                danger.complain(&limited.key.at, what, format!("add {key} = {example}"));
            }
        }
    } else if let Some(net) = danger.own("net") {
        let remedy = "add what the list of dangerous goods allows in one, limited_quantity = \"5 l\", or take it out";
        danger.complain(&net.key.at, "`net` has no effect without `limited_quantity`", remedy);
    }
    let inner = net.zip(most).and_then(|(net, most)| {
        if net.value.at_most(most.value).is_none() {
            let what = format!("{} and {} cannot be compared", net.value, most.value);
            danger.contradiction(&most.at, what, "give both by volume, or both by weight", &net.at, "what is in it");
            return None;
        }
        Some(InnerPacking { net: net.value, limited_up_to: most.value })
    });
    Some(Danger { words: danger.printed("words")?.value, un, inner })
}

/// Contents that a service does not carry.
pub(super) fn refuses(table: &Section<'_>) -> Vec<Refused> {
    let read = |refused: &Section<'_>| {
        if !refused.has("danger") {
            refused.missing("danger", "\"lithium\"");
        }
        let but_limited = refused.yes("but_limited_quantity");
        Some(Refused { danger: refused.text("danger")?.value, but_limited, countries: countries(refused) })
    };
    let all = table.list("refuses", &shape::REFUSES);
    for refused in &all {
        if let (Some(entry), false) = (refused.own("but_limited_quantity"), table.has("limited_quantity")) {
            no_effect(refused, &entry);
        }
    }
    all.iter().filter_map(read).collect()
}

fn no_effect(refused: &Section<'_>, entry: &Entry<'_>) {
    let remedy = "add limited_quantity = { gross_max = \"30 kg\" } with the carrier's figure to the service";
    refused.complain(&entry.key.at, "the service does not say how it takes limited quantities", remedy);
}

fn countries(table: &Section<'_>) -> Vec<CountryCode> {
    table.written_list::<CountryCode>("countries").into_iter().map(|given| given.value).collect()
}

/// How a service takes limited quantities.
pub(super) fn of_service(table: &Section<'_>) -> Option<TakesLimited> {
    let takes = table.sub("limited_quantity", &shape::LIMITED)?;
    if !takes.has("gross_max") {
        takes.missing("gross_max", "\"30 kg\", or what the carrier says");
    }
    let mut net_max: Vec<NetQuantity> = Vec::new();
    for given in takes.written_list::<NetQuantity>("net_max") {
        if net_max.iter().any(|known| known.at_most(given.value).is_some()) {
            let what = "`net_max` says the same twice";
            takes.complain(&given.at, what, "one for liquids and one for the rest: [\"5 l\", \"5 kg\"]");
        } else {
            net_max.push(given.value);
        }
    }
    let (mark, countries) = (takes.printed("mark").map(|given| given.value), countries(&takes));
    let gross_max = takes.written::<WeightBound>("gross_max")?.value.0;
    Some(TakesLimited { gross_max, net_max, mark, countries })
}

/// Notes on goods for which no service says that it takes limited quantities: the first order would ask.
pub(super) fn note_what_stays(goods: &Section<'_>, products: &[Product], services: &Services) {
    if services.usable.iter().any(|service| service.limited_quantity.is_some()) {
        return;
    }
    let tables = goods.named("product", &shape::PRODUCT);
    for product in products.iter().filter(|product| product.danger.as_ref().is_some_and(Danger::is_limited)) {
        let at = tables.iter().find(|(sku, _)| sku.value == product.sku.as_str()).map(|(sku, _)| sku.at.clone());
        goods.note(
            &at.unwrap_or(goods.at.clone()),
            format!("{} goes as a limited quantity and no service says that it takes such", product.sku),
            "see limited_quantity in services.toml",
        );
    }
}
