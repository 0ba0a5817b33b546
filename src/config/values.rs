//! Values of one table as what they mean: quantities, words out of a list, dates, lists.

use super::currency;
use super::draft::{Entry, Given, Section, Span, kind_of};
use super::names::nearest;
use crate::model::{CountryCode, Currency, Dims, Length, Money, Volume, Weight};
use jiff::SignedDuration;
use jiff::civil::{Date, Time};
use std::str::FromStr;
use toml::de::DeValue;

/// A value that is written as text with its unit.
pub(super) trait Written: Sized {
    /// What it is, with its article.
    const WHAT: &'static str;
    /// How it is written, without quotes.
    const EXAMPLE: &'static str;
    /// What to put behind a bare number, where that makes sense: the usual unit first.
    const UNITS: &'static [&'static str] = &[];
    /// Reads it; the error says what to write instead.
    fn read(text: &str) -> Result<Self, String>;
}

macro_rules! written {
    ($type:ty, $what:literal, $example:literal, $units:expr) => {
        impl Written for $type {
            const WHAT: &'static str = $what;
            const EXAMPLE: &'static str = $example;
            const UNITS: &'static [&'static str] = $units;
            fn read(text: &str) -> Result<Self, String> {
                <$type>::from_str(text).map_err(|why| why.to_string())
            }
        }
    };
}
written!(Length, "a length", "230 mm", &["mm", "cm", "m", "in"]);
written!(Weight, "a weight", "640 g", &["g", "kg", "oz", "lb"]);
written!(Volume, "a volume", "1.5 l", &["l", "cm3", "in3", "ft3"]);
written!(Dims, "a size", "230 x 130 x 80 mm", &["mm", "cm", "in"]);
written!(CountryCode, "a country", "GB", &[]);

impl Written for Money {
    const WHAT: &'static str = "an amount";
    const EXAMPLE: &'static str = "3.46 EUR";
    fn read(text: &str) -> Result<Self, String> {
        let money = text.parse::<Money>().map_err(|why| why.to_string())?;
        if money.minor < 0 { Err(format!("{text:?} is less than nothing")) } else { Ok(money) }
    }
}

/// The most that something may weigh: `1 kg`, or `under 16 oz` where that itself is too much.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct WeightBound(pub(super) Weight);
impl Written for WeightBound {
    const WHAT: &'static str = "a weight";
    const EXAMPLE: &'static str = "640 g";
    const UNITS: &'static [&'static str] = <Weight as Written>::UNITS;
    fn read(text: &str) -> Result<Self, String> {
        let (below, text) = text.strip_prefix("under ").map_or((0, text), |text| (1, text.trim()));
        // Weights are whole nanograms: the next smaller one is all that is under it.
        <Weight as Written>::read(text).map(|weight| Self(Weight { ng: weight.ng - below }))
    }
}

/// Two lengths, as of something that lies flat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Flat(pub(super) [Length; 2]);
impl Written for Flat {
    const WHAT: &'static str = "two lengths";
    const EXAMPLE: &'static str = "310 x 240 mm";
    fn read(text: &str) -> Result<Self, String> {
        let wrong =
            || format!("{text:?}: two lengths are needed, with an x between them; write it like \"{}\"", Self::EXAMPLE);
        let parts: Vec<&str> = text.split(['x', '×', '*']).map(str::trim).collect();
        let [a, b] = parts[..] else { return Err(wrong()) };
        let unit = b.find(|c: char| c.is_ascii_alphabetic() || c == '"').map(|at| &b[at..]).ok_or_else(wrong)?;
        let bare = a.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b'/' | b' '));
        let first = if bare { format!("{a} {unit}") } else { a.to_owned() };
        let side = |text: &str| text.parse::<Length>().map_err(|why| why.to_string());
        Ok(Self([side(&first)?, side(b)?]))
    }
}

impl Written for SignedDuration {
    const WHAT: &'static str = "a time span";
    const EXAMPLE: &'static str = "300 s";
    const UNITS: &'static [&'static str] = &["s", "min", "h"];
    fn read(text: &str) -> Result<Self, String> {
        let wrong = || format!("{text:?} is no time span; write it like \"300 s\", \"15 min\" or \"2 h\"");
        let span = text.parse::<SignedDuration>().map_err(|_| wrong())?;
        if span.is_negative() || span.as_secs() > SECONDS_MAX { Err(wrong()) } else { Ok(span) }
    }
}
/// Longest time span that makes sense anywhere in the configuration: a week.
const SECONDS_MAX: i64 = 7 * 24 * 3600;

/// Whole days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Days(pub(super) u32);
impl Written for Days {
    const WHAT: &'static str = "a number of days";
    const EXAMPLE: &'static str = "90 days";
    const UNITS: &'static [&'static str] = &["days"];
    fn read(text: &str) -> Result<Self, String> {
        let number = text.strip_suffix("days").or(text.strip_suffix("day")).and_then(|n| n.trim().parse().ok());
        match number {
            Some(days @ 1..=DAYS_MAX) => Ok(Self(days)),
            _ => Err(format!("{text:?}: from \"1 day\" to \"{DAYS_MAX} days\"")),
        }
    }
}
/// Ten years and a bit: the longest that any book must be kept.
const DAYS_MAX: u32 = 4_000;

/// Bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Bytes(pub(super) usize);
impl Written for Bytes {
    const WHAT: &'static str = "a number of bytes";
    const EXAMPLE: &'static str = "256 KiB";
    const UNITS: &'static [&'static str] = &["B", "KiB", "MiB"];
    fn read(text: &str) -> Result<Self, String> {
        const UNITS: [(&str, usize); 5] =
            [("KiB", 1024), ("MiB", 1024 * 1024), ("kB", 1000), ("MB", 1_000_000), ("B", 1)];
        let found = UNITS.iter().find_map(|(unit, size)| {
            let number: usize = text.strip_suffix(unit)?.trim().parse().ok()?;
            number.checked_mul(*size)
        });
        found.map(Self).ok_or_else(|| format!("{text:?} is no number of bytes; write it like \"256 KiB\" or \"1 MiB\""))
    }
}

/// A share: whole percent from 0 to 100.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Percent(pub(super) u32);
impl Written for Percent {
    const WHAT: &'static str = "a share";
    const EXAMPLE: &'static str = "60 %";
    const UNITS: &'static [&'static str] = &["%"];
    fn read(text: &str) -> Result<Self, String> {
        match text.strip_suffix('%').and_then(|number| number.trim().parse().ok()) {
            Some(percent @ 0..=100) => Ok(Self(percent)),
            _ => Err(format!("{text:?} is no share; write whole percent from \"0 %\" to \"100 %\"")),
        }
    }
}

impl<'t> Section<'t> {
    /// A value with its unit.
    pub(super) fn written<T: Written>(&self, key: &str) -> Option<Given<T>> {
        self.written_in(&self.entry(key)?)
    }

    /// An entry's value with its unit.
    pub(super) fn written_in<T: Written>(&self, entry: &Entry<'t>) -> Option<Given<T>> {
        let key = &entry.key.value;
        let text = match entry.value {
            DeValue::String(text) => text,
            other => {
                let remedy = match (bare(other), T::UNITS) {
                    (Some(number), [unit]) => format!("say \"{number} {unit}\""),
                    (Some(number), [unit, others @ ..]) => {
                        format!("say \"{number} {unit}\", or another unit: {}", others.join(", "))
                    }
                    _ => format!("say \"{}\"", T::EXAMPLE),
                };
                self.complain(&entry.at, format!("`{key}` is {}, not {}", kind_of(other), T::WHAT), remedy);
                return None;
            }
        };
        match T::read(text.trim()) {
            Ok(value) => Some(Given { value, at: entry.at.clone() }),
            Err(why) => {
                self.complain(&entry.at, format!("`{key}` is not {}", T::WHAT), why);
                None
            }
        }
    }

    /// An amount in this currency.
    pub(super) fn money(&self, key: &str, currency: Currency) -> Option<Given<Money>> {
        self.money_in(&self.entry(key)?, currency)
    }

    /// An entry's value as an amount in this currency.
    pub(super) fn money_in(&self, entry: &Entry<'t>, currency: Currency) -> Option<Given<Money>> {
        if self.is_bare_amount(entry, currency) {
            return None;
        }
        let given: Given<Money> = self.written_in(entry)?;
        if given.value.currency != currency {
            let what = format!("`{}` is in {}, but this counts in {currency}", entry.key.value, given.value.currency);
            self.complain(&given.at, what, format!("say how much it is in {currency}"));
            return None;
        }
        Some(given)
    }

    /// Complains about an amount without its currency.
    pub(super) fn is_bare_amount(&self, entry: &Entry<'t>, currency: Currency) -> bool {
        let number = bare(entry.value);
        if let Some(number) = &number {
            let what = format!("`{}` is a bare number, not an amount", entry.key.value);
            self.complain(&entry.at, what, format!("say \"{number} {currency}\""));
        }
        number.is_some()
    }

    /// A currency that exists.
    pub(super) fn currency(&self, key: &str) -> Option<Given<Currency>> {
        let given = self.text(key)?;
        Some(Given { value: self.currency_of(&given)?, at: given.at })
    }

    /// The currency that a text names.
    pub(super) fn currency_of(&self, given: &Given<String>) -> Option<Currency> {
        match given.value.parse() {
            Ok(code) if currency::codes().any(|known| known == given.value) => Some(code),
            _ => {
                let remedy = match nearest(&given.value, currency::codes()) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None => "three capital letters of ISO 4217, like \"EUR\"".to_owned(),
                };
                self.complain(&given.at, format!("there is no currency {:?}", given.value), remedy);
                None
            }
        }
    }

    /// Any text that is not blank.
    pub(super) fn text(&self, key: &str) -> Option<Given<String>> {
        self.text_in(&self.entry(key)?)
    }

    /// An entry's value as text.
    pub(super) fn text_in(&self, entry: &Entry<'t>) -> Option<Given<String>> {
        match entry.value {
            DeValue::String(text) if text.chars().count() > TEXT_CHARS_MAX => {
                let what = format!("`{}` has more than {TEXT_CHARS_MAX} characters", entry.key.value);
                self.complain(&entry.at, what, "say it in fewer words");
                None
            }
            DeValue::String(text) => Some(Given { value: text.to_string(), at: entry.at.clone() }),
            _ => {
                self.wrong_kind(entry, "text", &format!("{} = \"...\"", entry.key.value));
                None
            }
        }
    }

    /// Text that goes on paper: remembered, so that its letters can be checked against the fonts.
    pub(super) fn printed(&self, key: &str) -> Option<Given<String>> {
        let given = self.text(key)?;
        self.is_printed(&given);
        Some(given)
    }

    /// Remembers that this text goes on paper.
    pub(super) fn is_printed(&self, given: &Given<String>) {
        let mut printed = self.found.printed.borrow_mut();
        printed.push((self.file.to_owned(), given.at.clone(), given.value.clone()));
    }

    /// A whole number within bounds.
    pub(super) fn whole(&self, key: &str, from: u32, to: u32) -> Option<Given<u32>> {
        self.whole_in(&self.entry(key)?, from, to)
    }

    /// An entry's value as a whole number within bounds.
    pub(super) fn whole_in(&self, entry: &Entry<'t>, from: u32, to: u32) -> Option<Given<u32>> {
        let DeValue::Integer(number) = entry.value else {
            self.wrong_kind(entry, "a whole number", &format!("{} = {}", entry.key.value, from.max(1)));
            return None;
        };
        match u32::from_str_radix(number.as_str(), number.radix()) {
            Ok(value) if (from..=to).contains(&value) => Some(Given { value, at: entry.at.clone() }),
            _ => {
                let what = format!("`{}` is out of bounds", entry.key.value);
                self.complain(&entry.at, what, format!("from {from} to {to}"));
                None
            }
        }
    }

    /// `true` or `false`; what is not given is `false`.
    pub(super) fn yes(&self, key: &str) -> bool {
        self.yes_or(key, false)
    }

    /// `true` or `false`, with what counts where it is not given.
    pub(super) fn yes_or(&self, key: &str, otherwise: bool) -> bool {
        let Some(entry) = self.entry(key) else { return otherwise };
        match entry.value {
            DeValue::Boolean(value) => *value,
            _ => {
                self.wrong_kind(&entry, "true or false", &format!("{key} = true"));
                otherwise
            }
        }
    }

    /// One word out of a list.
    pub(super) fn word<T: Copy>(&self, key: &str, words: &[(&str, T)]) -> Option<T> {
        self.word_in(&self.entry(key)?, words)
    }

    /// An entry's value as one word out of a list.
    pub(super) fn word_in<T: Copy>(&self, entry: &Entry<'t>, words: &[(&str, T)]) -> Option<T> {
        let given = self.text_in(entry)?;
        self.choose(&entry.key.value, &given, words)
    }

    fn choose<T: Copy>(&self, key: &str, given: &Given<String>, words: &[(&str, T)]) -> Option<T> {
        if let Some((_, meaning)) = words.iter().find(|(word, _)| word.eq_ignore_ascii_case(given.value.trim())) {
            return Some(*meaning);
        }
        let known = || words.iter().map(|(word, _)| format!("{word:?}")).collect::<Vec<_>>().join(", ");
        let remedy = match nearest(&given.value, words.iter().map(|(word, _)| *word)) {
            Some(near) => format!("did you mean {near:?}? possible: {}", known()),
            None => format!("possible: {}", known()),
        };
        self.complain(&given.at, format!("`{key}` cannot be {:?}", given.value), remedy);
        None
    }

    /// Several words out of a list.
    pub(super) fn words<T: Copy>(&self, key: &str, words: &[(&str, T)]) -> Vec<T> {
        self.texts(key).iter().filter_map(|given| self.choose(key, given, words)).collect()
    }

    /// A list of texts; a single text counts as a list of one.
    pub(super) fn texts(&self, key: &str) -> Vec<Given<String>> {
        self.entry(key).map_or_else(Vec::new, |entry| self.texts_in(&entry))
    }

    /// An entry's value as a list of texts.
    pub(super) fn texts_in(&self, entry: &Entry<'t>) -> Vec<Given<String>> {
        let DeValue::Array(items) = entry.value else {
            return self.text_in(entry).into_iter().collect();
        };
        let item = |item: &'t toml::Spanned<DeValue<'t>>| {
            self.text_in(&Entry { key: entry.key.clone(), at: item.span(), value: item.get_ref() })
        };
        items.iter().filter_map(item).collect()
    }

    /// A list of values with their units.
    pub(super) fn written_list<T: Written>(&self, key: &str) -> Vec<Given<T>> {
        let mut all = Vec::new();
        for given in self.texts(key) {
            match T::read(given.value.trim()) {
                Ok(value) => all.push(Given { value, at: given.at }),
                Err(why) => self.complain(&given.at, format!("{:?} is not {}", given.value, T::WHAT), why),
            }
        }
        all
    }

    /// A date: `2026-12-24`, with or without quotes.
    pub(super) fn date(&self, key: &str) -> Option<Given<Date>> {
        self.date_in(&self.entry(key)?)
    }

    fn date_in(&self, entry: &Entry<'t>) -> Option<Given<Date>> {
        let text = as_text(entry.value);
        match text.as_deref().and_then(|text| text.parse().ok()) {
            // A date with a time of day is no date.
            Some(value) if text.is_some_and(|text| text.len() == 10) => Some(Given { value, at: entry.at.clone() }),
            _ => {
                let what = format!("`{}` is not a date", entry.key.value);
                self.complain(&entry.at, what, "write it like \"2026-12-24\" (year, month, day)");
                None
            }
        }
    }

    /// A list of dates.
    pub(super) fn dates(&self, key: &str) -> Vec<Given<Date>> {
        let Some(entry) = self.entry(key) else { return Vec::new() };
        let DeValue::Array(items) = entry.value else { return self.date_in(&entry).into_iter().collect() };
        let item = |item: &'t toml::Spanned<DeValue<'t>>| {
            self.date_in(&Entry { key: entry.key.clone(), at: item.span(), value: item.get_ref() })
        };
        items.iter().filter_map(item).collect()
    }

    /// A local time of day: `"07:00"`.
    pub(super) fn time(&self, key: &str) -> Option<Given<Time>> {
        let entry = self.entry(key)?;
        let text = as_text(entry.value).unwrap_or_default();
        match text.parse::<Time>() {
            Ok(value) if text.contains(':') && text.len() <= 8 => Some(Given { value, at: entry.at }),
            _ => {
                self.complain(&entry.at, format!("`{key}` is not a time of day"), "write it like \"07:00\"");
                None
            }
        }
    }

    /// Complains that two things contradict each other.
    pub(super) fn contradiction(
        &self,
        at: &Span,
        what: impl Into<String>,
        remedy: impl Into<String>,
        other: &Span,
        why: &str,
    ) {
        let complaint = super::complaint::Complaint::new(self.file, at.clone(), what, remedy);
        self.found.add(complaint.and(other.clone(), why));
    }
}

/// Characters of one text in the configuration.
const TEXT_CHARS_MAX: usize = 2_000;

/// A bare number as it would stand before a unit; three of them as a size.
fn bare(value: &DeValue<'_>) -> Option<String> {
    match value {
        DeValue::Integer(number) => Some(number.to_string()),
        DeValue::Float(number) => Some(number.to_string()),
        DeValue::Array(items) => {
            let sides: Option<Vec<_>> = items.iter().map(|item| bare(item.get_ref())).collect();
            sides.filter(|sides| sides.len() > 1).map(|sides| sides.join(" x "))
        }
        _ => None,
    }
}

/// Text, or a date or time as text.
fn as_text(value: &DeValue<'_>) -> Option<String> {
    match value {
        DeValue::String(text) => Some(text.trim().to_owned()),
        DeValue::Datetime(at) => Some(at.to_string()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_with_units_are_read() {
        assert_eq!(Flat::read("310 x 240 mm").unwrap().0, [Length::from_mm(310), Length::from_mm(240)]);
        assert_eq!(Flat::read("12 1/2 x 9 1/2 in").unwrap().0[1], "9.5 in".parse().unwrap());
        assert_eq!(SignedDuration::read("15 min").unwrap().as_secs(), 900);
        assert_eq!(SignedDuration::read("300 s").unwrap().as_secs(), 300);
        assert_eq!(Days::read("90 days").unwrap().0, 90);
        assert_eq!(Bytes::read("256 KiB").unwrap().0, 262_144);
        assert_eq!(Percent::read("60 %").unwrap().0, 60);
    }

    #[test]
    fn what_has_no_unit_or_no_sense_is_refused_with_an_example() {
        for (told, example) in [
            (Flat::read("310 mm").unwrap_err(), "310 x 240 mm"),
            (Flat::read("310 x 240").unwrap_err(), "310 x 240 mm"),
            (SignedDuration::read("300").unwrap_err(), "300 s"),
            (SignedDuration::read("-3 s").unwrap_err(), "300 s"),
            (SignedDuration::read("9000 h").unwrap_err(), "300 s"),
            (Days::read("0 days").unwrap_err(), "1 day"),
            (Days::read("4001 days").unwrap_err(), "4000 days"),
            (Bytes::read("99999999999999999999 B").unwrap_err(), "256 KiB"),
            (Bytes::read("18446744073709551615 MiB").unwrap_err(), "256 KiB"),
            (Percent::read("101 %").unwrap_err(), "100 %"),
        ] {
            assert!(told.contains(example), "{told}");
        }
    }
}
