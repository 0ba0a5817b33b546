//! Keys of every printed word, and how quantities, dates and times look. The texts stand in
//! `config/words/`, the English ones are embedded.

use crate::model::{Length, Locale, Money, NM_PER_MM, Supply, SupplyUnit, Weight, Words, Workshop};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;

macro_rules! keys {
    ($($name:ident = $key:literal),* $(,)?) => {
        /// One constant a key.
        #[allow(missing_docs, reason = "the text in en.toml says what each means")]
        pub mod key {
            $(pub const $name: &str = $key;)*
        }
        /// Every key that a file of words may hold.
        pub const KEYS: &[&str] = &[$($key),*];
    };
}

keys! {
    PARCEL = "parcel", PARCELS = "parcels", ORDER = "order", ORDERS = "orders",
    PART = "part", PART_SHORT = "part_short",
    DATE_DAY_FIRST = "date_day_first", DATE_MONTH_FIRST = "date_month_first", WITH_WEEKDAY = "with_weekday", WITH_YEAR = "with_year",
    DATE_AND_TIME = "date_and_time",
    MON = "mon", TUE = "tue", WED = "wed", THU = "thu", FRI = "fri", SAT = "sat", SUN = "sun",
    JAN = "jan", FEB = "feb", MAR = "mar", APR = "apr", MAY = "may", JUN = "jun", JUL = "jul", AUG = "aug",
    SEP = "sep", OCT = "oct", NOV = "nov", DEC = "dec",
    PACKED_FOR = "packed_for", INSIDE = "inside", EXTRA = "extra", THANKS = "thanks", NAME_ERASED = "name_erased",
    CONTAINER_IN = "container_in", IN_OUTER = "in_outer", SERVICE_ZONE = "service_zone", WEIGHT = "weight", BATCH = "batch",
    SUPPLIES = "supplies", EACH_SUPPLY = "each_supply", PIECES_SUPPLY = "pieces_supply", URGENT = "urgent", GIFT = "gift", WISH = "wish", NOTE = "note", LAY = "lay",
    JOINED = "joined",
    PACKING_FLOOR = "packing_floor", PACKING_ABOVE = "packing_above", PACKING_LAYER = "packing_layer",
    COPY = "copy", COPY_LOOK = "copy_look", COPY_WHY = "copy_why",
    CHANGE_NOTE = "change_note", CHANGE_DIFFERS = "change_differs", CHANGE_DO = "change_do", CHANGE_NEW = "change_new",
    STOP_NOTE = "stop_note", STOP_DO = "stop_do", STOP_WHY = "stop_why", STOP_PARCELS = "stop_parcels",
    STOP_BACK = "stop_back",
    STAGE_RECEIVED = "stage_received", STAGE_PLANNED = "stage_planned", STAGE_PRINTED = "stage_printed",
    STAGE_PACKED = "stage_packed", STAGE_HANDED_OVER = "stage_handed_over",
    PICK_LIST = "pick_list", PARCELS_OF_ORDERS = "parcels_of_orders", MADE_UP = "made_up",
    ON_REQUEST = "on_request", OFF = "off", OFF_LAST = "off_last",
    DECIDE_FIRST = "decide_first", DECIDE_MORE = "decide_more", DECIDE_HOW = "decide_how", A_MESSAGE = "a_message",
    HINT_PRODUCT = "hint_product", HINT_MEASURES = "hint_measures", HINT_MAPPING = "hint_mapping",
    HINT_FLAW = "hint_flaw", HINT_FITS = "hint_fits", HINT_SERVICE = "hint_service", HINT_RULE = "hint_rule",
    HINT_RULE_FAILED = "hint_rule_failed", HINT_TWO = "hint_two", HINT_CHANGED = "hint_changed",
    HINT_REOPENED = "hint_reopened", HINT_PROGRAM = "hint_program", HINT_PAPER = "hint_paper", HINT_GAP = "hint_gap", FETCH = "fetch", PREPARE = "prepare", FOLD = "fold",
    GO_IN = "go_in", RUNS_OUT = "runs_out", LEFT_NEEDED = "left_needed", ENDS_AT = "ends_at", PACK = "pack",
    HAND_OVER = "hand_over", LATE = "late", CAME = "came", BEYOND = "beyond", BEYOND_MORE = "beyond_more", TOMORROW = "tomorrow", TOMORROW_SHORT = "tomorrow_short", NOTHING = "nothing",
    CUSTOMS = "customs", CUSTOMS_CAUTION = "customs_caution", CUSTOMS_FROM = "customs_from", CUSTOMS_TO = "customs_to",
    CUSTOMS_GIFT = "customs_gift", CUSTOMS_SALE = "customs_sale", CUSTOMS_OTHER = "customs_other",
    CUSTOMS_MISSING = "customs_missing", CUSTOMS_WEIGHT = "customs_weight", CUSTOMS_VALUE = "customs_value",
    CUSTOMS_CODE = "customs_code", CUSTOMS_ORIGIN = "customs_origin", CUSTOMS_GROSS = "customs_gross",
    CUSTOMS_TOTAL = "customs_total", CUSTOMS_FORM = "customs_form",
    CUSTOMS_CN22 = "customs_cn22", CUSTOMS_CN23 = "customs_cn23", CUSTOMS_NEAR = "customs_near",
    CARD_INSIDE = "card_inside", CARD_PEN = "card_pen",
    TEST_PAGE = "test_page", TEST_WIDTH = "test_width", TEST_KNIFE = "test_knife", TEST_NO_KNIFE = "test_no_knife",
    TEST_PROCESS_ID = "test_process_id", TEST_INLINE = "test_inline", TEST_NOTHING = "test_nothing",
    TEST_SIZES = "test_sizes", TEST_SCRIPTS = "test_scripts", TEST_DOTS = "test_dots", TEST_RULER = "test_ruler",
    TEST_CODES = "test_codes", TEST_DIGITS = "test_digits",
}

const WEEKDAYS: [&str; 7] = [key::MON, key::TUE, key::WED, key::THU, key::FRI, key::SAT, key::SUN];
const MONTHS: [&str; 12] = [
    key::JAN,
    key::FEB,
    key::MAR,
    key::APR,
    key::MAY,
    key::JUN,
    key::JUL,
    key::AUG,
    key::SEP,
    key::OCT,
    key::NOV,
    key::DEC,
];

/// The embedded English. A file of another language is laid over it.
pub fn english() -> BTreeMap<String, String> {
    // The file is part of the program; a test reads it and compares it with `KEYS`.
    toml::from_str(include_str!("../../config/words/en.toml")).unwrap_or_default()
}

/// Words, numbers, dates and times as this workshop writes them.
#[derive(Clone, Copy)]
pub struct Form<'a> {
    words: &'a Words,
    locale: &'a Locale,
    zone: &'a TimeZone,
}

impl<'a> Form<'a> {
    /// As this workshop writes.
    pub fn of(workshop: &'a Workshop) -> Self {
        Self { words: &workshop.words, locale: &workshop.locale, zone: &workshop.zone }
    }
    /// The text of a key.
    pub fn word(&self, key: &'static str) -> &'a str {
        self.words.get(key)
    }
    /// The text of a key with its places filled.
    pub fn fill(&self, key: &str, places: &[(&str, &str)]) -> String {
        self.words.fill(key, places)
    }
    /// "1 thing", "2 things".
    pub fn count(&self, n: usize, one: &'static str, many: &str) -> String {
        if n == 1 { self.word(one).to_owned() } else { self.fill(many, &[("n", &n.to_string())]) }
    }
    /// `640 g`, `1.84 kg`.
    pub fn weight(&self, weight: Weight) -> String {
        self.decimal(&weight.to_string())
    }
    /// `3,46 EUR`.
    pub fn money(&self, money: Money) -> String {
        self.decimal(&money.to_string())
    }
    /// `12.5 m`, `80 cm`, `4 mm`.
    pub fn length(&self, length: Length) -> String {
        let mm = (length.nm + NM_PER_MM / 2).div_euclid(NM_PER_MM);
        let text = if mm >= 10_000 {
            format!("{} m", (mm + 500) / 1000)
        } else if mm >= 1000 {
            format!("{}.{} m", (mm + 50) / 1000, (mm + 50) % 1000 / 100)
        } else if mm >= 100 {
            format!("{} cm", (mm + 5) / 10)
        } else {
            format!("{mm} mm")
        };
        self.decimal(&text)
    }
    /// An amount of a supply in its unit: `2`, `1.2 m`, `35 g`.
    pub fn amount(&self, supply: Option<&Supply>, amount: i64) -> String {
        match supply.map(|s| s.unit) {
            Some(SupplyUnit::Length) => self.length(Length { nm: amount }),
            Some(SupplyUnit::Weight) => self.weight(Weight::from_g(Weight { ng: amount }.g_up())),
            Some(SupplyUnit::Piece) | None => amount.to_string(),
        }
    }
    /// `25 Nov` or `Nov 25`.
    pub fn date(&self, date: Date) -> String {
        let day = date.day().to_string();
        let month = MONTHS.get(date.month() as usize - 1).map_or("", |key| self.word(key));
        let key = if self.locale.day_first { key::DATE_DAY_FIRST } else { key::DATE_MONTH_FIRST };
        self.fill(key, &[("day", &day), ("month", month)])
    }
    /// `25 Nov 2026`: for what outlives the year.
    pub fn date_and_year(&self, date: Date) -> String {
        let year = date.year().to_string();
        self.fill(key::WITH_YEAR, &[("date", &self.date(date)), ("year", &year)])
    }
    /// `Wed 25 Nov`.
    pub fn weekday_date(&self, date: Date) -> String {
        let weekday = self.word(WEEKDAYS[date.weekday().to_monday_zero_offset() as usize]);
        self.fill(key::WITH_WEEKDAY, &[("weekday", weekday), ("date", &self.date(date))])
    }
    /// `06:58` in the workshop's zone.
    pub fn time(&self, at: Timestamp) -> String {
        let local = self.zone.to_datetime(at);
        format!("{:02}:{:02}", local.hour(), local.minute())
    }
    /// `06:58` on the same local day as `now`, else `24 Nov, 06:58`.
    pub fn moment(&self, at: Timestamp, now: Timestamp) -> String {
        let date = self.day(at);
        if date == self.day(now) {
            return self.time(at);
        }
        self.fill(key::DATE_AND_TIME, &[("date", &self.date(date)), ("time", &self.time(at))])
    }
    /// `Wed 25 Nov, 07:00`.
    pub fn full(&self, at: Timestamp) -> String {
        let date = self.weekday_date(self.day(at));
        self.fill(key::DATE_AND_TIME, &[("date", &date), ("time", &self.time(at))])
    }
    /// The local date of an instant.
    pub fn day(&self, at: Timestamp) -> Date {
        self.zone.to_datetime(at).date()
    }
    /// With the locale's decimal mark; number and unit stay in one line.
    fn decimal(&self, text: &str) -> String {
        let text = &text.replace(' ', "\u{a0}");
        if self.locale.decimal_mark == '.' {
            text.to_owned()
        } else {
            text.replace('.', &self.locale.decimal_mark.to_string())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn the_english_file_holds_every_key_and_no_other() {
        let english = english();
        let in_file: BTreeSet<&str> = english.keys().map(String::as_str).collect();
        let in_code: BTreeSet<&str> = KEYS.iter().copied().collect();
        assert_eq!(in_file, in_code);
        assert_eq!(in_code.len(), KEYS.len(), "a key is named twice");
    }

    #[test]
    fn quantities_and_dates_look_as_the_locale_writes_them() {
        let words = Words { table: english() };
        let zone = TimeZone::UTC;
        let here = Locale { decimal_mark: ',', day_first: true };
        let form = Form { words: &words, locale: &here, zone: &zone };
        assert_eq!(form.weight(Weight::from_g(1840)), "1,84\u{a0}kg");
        assert_eq!(form.length(Length::from_mm(48_200)), "48\u{a0}m");
        assert_eq!(form.length(Length::from_mm(1_240)), "1,2\u{a0}m");
        assert_eq!(form.length(Length::from_mm(1_990)), "2,0\u{a0}m");
        assert_eq!(form.length(Length::from_mm(820)), "82\u{a0}cm");
        let at: Timestamp = "2026-11-25T07:00:00Z".parse().unwrap();
        assert_eq!(form.full(at), "Wed 25 Nov, 07:00");
        assert_eq!(form.date_and_year(form.day(at)), "25 Nov 2026");
        let there = Locale { decimal_mark: '.', day_first: false };
        let form = Form { locale: &there, ..form };
        assert_eq!(form.full(at), "Wed Nov 25, 07:00");
        assert_eq!(form.moment(at, "2026-11-26T07:00:00Z".parse().unwrap()), "Nov 25, 07:00");
    }
}
