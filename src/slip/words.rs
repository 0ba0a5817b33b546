//! Keys of every printed word, and how quantities, dates and times look. The texts stand in
//! `config/words/`, the English ones are embedded.

use crate::model::{DayClock, Length, Locale, Money, Supply, SupplyUnit, Weight, Words, Workshop};
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
    DATE_AND_TIME = "date_and_time", AM = "am", PM = "pm",
    MON = "mon", TUE = "tue", WED = "wed", THU = "thu", FRI = "fri", SAT = "sat", SUN = "sun",
    JAN = "jan", FEB = "feb", MAR = "mar", APR = "apr", MAY = "may", JUN = "jun", JUL = "jul", AUG = "aug",
    SEP = "sep", OCT = "oct", NOV = "nov", DEC = "dec",
    PACKED_FOR = "packed_for", INSIDE = "inside", EXTRA = "extra", THANKS = "thanks", NAME_ERASED = "name_erased",
    CONTAINER_IN = "container_in", IN_OUTER = "in_outer", SERVICE_ZONE = "service_zone", WEIGHT = "weight", BATCH = "batch",
    SUPPLIES = "supplies", EACH_SUPPLY = "each_supply", PIECES_SUPPLY = "pieces_supply", URGENT = "urgent", GIFT = "gift", WISH = "wish", NOTE = "note", LAY = "lay",
    JOINED = "joined", JOINED_SAVES = "joined_saves", SAVES = "saves",
    PACKING_FLOOR = "packing_floor", PACKING_ABOVE = "packing_above", PACKING_LAYER = "packing_layer",
    COPY = "copy", COPY_LOOK = "copy_look", COPY_WHY = "copy_why",
    CAUTION_FRAGILE = "caution_fragile", CAUTION_DANGER = "caution_danger", CAUTION_CONTAINS = "caution_contains",
    CAUTION_LIMITED = "caution_limited", CAUTION_LIMITED_MARK = "caution_limited_mark",
    CAUTION_HEAVY = "caution_heavy", CAUTION_DEARER = "caution_dearer", CAUTION_TOO_HEAVY = "caution_too_heavy",
    CAUTION_FLAT = "caution_flat", CAUTION_CUSTOMS = "caution_customs", CAUTION_CUSTOMS_ALL = "caution_customs_all",
    CAUTION_CUSTOMS_FACTS = "caution_customs_facts", CAUTION_CUSTOMS_VALUE = "caution_customs_value",
    WHY_BROKEN = "why_broken", WHY_SILENT = "why_silent", WHY_UNCONFIRMED = "why_unconfirmed",
    WHY_WRONG_ANSWER = "why_wrong_answer", WHY_STOPPED = "why_stopped", WHY_ENDED = "why_ended",
    WHY_RECORDS_LOST = "why_records_lost", WHY_SHOP_CANCELLED = "why_shop_cancelled", WHY_DECIDED = "why_decided",
    REST_ORDER = "rest_order", REST_STATUS = "rest_status",
    DIFFERS_ADDED = "differs_added", DIFFERS_COUNT = "differs_count", DIFFERS_TAKEN_OUT = "differs_taken_out",
    DIFFERS_ADDRESS = "differs_address", DIFFERS_SERVICE = "differs_service", DIFFERS_NO_SERVICE = "differs_no_service",
    DIFFERS_GIFT = "differs_gift", DIFFERS_NO_GIFT = "differs_no_gift", DIFFERS_NOT_BEFORE = "differs_not_before",
    DIFFERS_ANY_TIME = "differs_any_time", DIFFERS_WORDS = "differs_words", DIFFERS_OPEN_AGAIN = "differs_open_again",
    CHANGE_NOTE = "change_note", CHANGE_DIFFERS = "change_differs", CHANGE_DO = "change_do", CHANGE_NEW = "change_new",
    STOP_NOTE = "stop_note", STOP_DO = "stop_do", STOP_TAKE_OUT = "stop_take_out", STOP_WHY = "stop_why", STOP_PARCELS = "stop_parcels",
    STOP_BACK = "stop_back",
    STAGE_RECEIVED = "stage_received", STAGE_PLANNED = "stage_planned", STAGE_PRINTED = "stage_printed",
    STAGE_PACKED = "stage_packed", STAGE_HANDED_OVER = "stage_handed_over",
    PICK_LIST = "pick_list", PARCELS_OF_ORDERS = "parcels_of_orders", MADE_UP = "made_up",
    ON_REQUEST = "on_request", OFF = "off", OFF_LAST = "off_last",
    DECIDE_FIRST = "decide_first", DECIDE_MORE = "decide_more", DECIDE_HOW = "decide_how", A_MESSAGE = "a_message", THE_HOUSE = "the_house",
    ASK_UNKNOWN_PRODUCT = "ask_unknown_product", ASK_NO_SIZE = "ask_no_size", ASK_NO_WEIGHT = "ask_no_weight",
    ASK_NO_SIZE_OR_WEIGHT = "ask_no_size_or_weight", ASK_UNMAPPABLE = "ask_unmappable",
    ASK_MESSAGE_CHANGED = "ask_message_changed", ASK_NO_NUMBER = "ask_no_number", ASK_NO_ADDRESS = "ask_no_address",
    ASK_UNKNOWN_COUNTRY = "ask_unknown_country", ASK_NO_NAME = "ask_no_name", ASK_BAD_QUANTITY = "ask_bad_quantity",
    ASK_NO_GOODS = "ask_no_goods", ASK_ODD_CHARACTERS = "ask_odd_characters", ASK_NOTHING_FITS = "ask_nothing_fits",
    ASK_TOO_LARGE = "ask_too_large", ASK_TOO_MANY = "ask_too_many", ASK_NO_SERVICE = "ask_no_service",
    ASK_WISH = "ask_wish", ASK_RULE = "ask_rule", ASK_RULE_FAILED = "ask_rule_failed", ASK_CONFLICT = "ask_conflict",
    ASK_SAME_REVISION = "ask_same_revision", ASK_AFTER_PRINTING = "ask_after_printing",
    ASK_CANCELLED_GONE = "ask_cancelled_gone", ASK_CHANGED_GONE = "ask_changed_gone",
    ASK_CHANGED_PACKED = "ask_changed_packed", ASK_CAME_FORGOTTEN = "ask_came_forgotten",
    ASK_UNCANCELLED = "ask_uncancelled", ASK_STOPPED_PROGRAM = "ask_stopped_program", ASK_PAPER = "ask_paper",
    ASK_PAPER_GONE = "ask_paper_gone", ASK_RECORDS_LOST = "ask_records_lost", ASK_NEVER_CAME = "ask_never_came",
    PAPER_SLIP = "paper_slip", PAPER_CARD = "paper_card", PAPER_PICK_LIST = "paper_pick_list",
    PAPER_CHANGE_NOTE = "paper_change_note", PAPER_STOP_NOTE = "paper_stop_note", PAPER_TEST_PAGE = "paper_test_page",
    PAPER_LABEL = "paper_label", PAPER_CUSTOMS = "paper_customs", HINT_LOST = "hint_lost",
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
    WIDTHS_HOW = "widths_how", WIDTHS_KNIFE = "widths_knife",
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
    /// As said here.
    pub fn with(words: &'a Words, locale: &'a Locale, zone: &'a TimeZone) -> Self {
        Self { words, locale, zone }
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
        if n == 1 { self.word(one).to_owned() } else { self.fill(many, &[("n", &self.number(n))]) }
    }
    /// Of these parts, for tests.
    #[cfg(test)]
    pub(super) fn plain(words: &'a Words, locale: &'a Locale, zone: &'a TimeZone) -> Self {
        Self { words, locale, zone }
    }
    /// `640 g`, `1.84 kg`.
    pub fn weight(&self, weight: Weight) -> String {
        self.locale.weight(weight)
    }
    /// A limit: `1 kg`, `640 g`.
    pub fn limit(&self, weight: Weight) -> String {
        self.locale.limit(weight)
    }
    /// How thick something may be: `25 mm`, `0.625 in`.
    pub fn thickness(&self, most: Length) -> String {
        self.locale.thickness(most)
    }
    /// `3,46 EUR`.
    pub fn money(&self, money: Money) -> String {
        self.locale.money(money)
    }
    /// `12.5 m`, `80 cm`, `4 mm`.
    pub fn length(&self, length: Length) -> String {
        self.locale.length(length)
    }
    /// How many, of any size: `12`, `1 234`.
    pub fn number(&self, n: usize) -> String {
        self.locale.figure(&n.to_string())
    }
    /// An amount of a supply in its unit: `2`, `1.2 m`, `35 g`.
    pub fn amount(&self, supply: Option<&Supply>, amount: i64) -> String {
        match supply.map(|s| s.unit) {
            Some(SupplyUnit::Length) => self.length(Length { nm: amount }),
            Some(SupplyUnit::Weight) => self.weight(Weight::from_g(Weight { ng: amount }.g_up())),
            Some(SupplyUnit::Piece) | None => self.locale.figure(&amount.to_string()),
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
    /// `06:58` in the workshop's zone; `6:58 am` where the day has twice twelve hours.
    pub fn time(&self, at: Timestamp) -> String {
        let local = self.zone.to_datetime(at);
        let (hour, minute) = (local.hour(), local.minute());
        match self.locale.clock {
            DayClock::Hours24 => format!("{hour:02}:{minute:02}"),
            DayClock::Hours12 => {
                let half = self.word(if hour < 12 { key::AM } else { key::PM });
                format!("{}:{minute:02}\u{a0}{half}", (hour + 11) % 12 + 1)
            }
        }
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
        let here = Locale { decimal_mark: ',', ..Locale::default() };
        let form = Form { words: &words, locale: &here, zone: &zone };
        assert_eq!(form.weight(Weight::from_g(1840)), "1,84\u{a0}kg");
        let at: Timestamp = "2026-11-25T07:00:00Z".parse().unwrap();
        assert_eq!(form.full(at), "Wed 25 Nov, 07:00");
        assert_eq!(form.date_and_year(form.day(at)), "25 Nov 2026");
        let there = Locale { day_first: false, clock: DayClock::Hours12, ..Locale::default() };
        let form = Form { locale: &there, ..form };
        assert_eq!(form.full(at), "Wed Nov 25, 7:00\u{a0}am");
        assert_eq!(form.moment(at, "2026-11-26T07:00:00Z".parse().unwrap()), "Nov 25, 7:00\u{a0}am");
        for (hour, shown) in [("00:05", "12:05 am"), ("12:00", "12:00 pm"), ("13:59", "1:59 pm"), ("23:00", "11:00 pm")]
        {
            let at: Timestamp = format!("2026-11-25T{hour}:00Z").parse().unwrap();
            assert_eq!(form.time(at).replace('\u{a0}', " "), shown);
        }
    }
}
