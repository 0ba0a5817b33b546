//! Reading single values of a payload: senders write numbers as text, text as numbers,
//! and dates in more than one way.

use crate::model::{Currency, Money, QUANTITY_MAX, Revision};
use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use serde_json::Value;

/// How far a price in floating point may lie from a whole minor unit: 0.1 + 0.2 is no flaw.
const PRICE_SLACK: f64 = 1e-6;

/// Text, or a number as text. JSON-LD's `{"@value": …}` and one-element lists count, too.
pub(super) fn text(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        Value::Array(items) => items.iter().find_map(text),
        Value::Object(map) => text(map.get("@value")?),
        Value::Null | Value::Bool(_) => None,
    }
}

/// True, or a text that means it: `true`, `yes`, `1`, schema.org's `True`.
pub(super) fn is_true(value: &Value) -> bool {
    match value {
        Value::Bool(yes) => *yes,
        other => text(other).is_some_and(|text| {
            let word = text.rsplit(['/', '#']).next().unwrap_or("").trim().to_ascii_lowercase();
            matches!(word.as_str(), "true" | "yes" | "1")
        }),
    }
}

/// How many pieces, or what is wrong with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Quantity {
    /// From 1 to [`QUANTITY_MAX`].
    Good(u32),
    /// Zero or less.
    NothingOf(String),
    /// Not a whole number, or beyond the limit.
    Unclear(String),
}

impl Quantity {
    /// A whole number as number or text (`2`, `"2"`, `2.0`, `"2.00"`).
    pub(super) fn read(value: &Value) -> Self {
        let written = text(value).map(|text| text.trim().to_owned()).unwrap_or_default();
        let shown = if written.len() <= 24 && written.bytes().all(|b| b.is_ascii_graphic()) && !written.is_empty() {
            format!("the quantity {written}")
        } else {
            "the quantity".to_owned()
        };
        let Ok(number) = written.parse::<f64>() else {
            return Self::Unclear(format!("{shown} is not a number"));
        };
        if !number.is_finite() {
            Self::Unclear(format!("{shown} is not a number"))
        } else if number <= 0.0 {
            Self::NothingOf(shown)
        } else if number.fract() != 0.0 {
            Self::Unclear(format!("{shown} is not a whole number"))
        } else if number > f64::from(QUANTITY_MAX) {
            Self::Unclear(format!("{shown} is more than {QUANTITY_MAX}"))
        } else {
            // Whole, and at most QUANTITY_MAX: it fits.
            Self::Good(number as u32)
        }
    }
}

/// An amount of money; `None` where it cannot be read exactly.
pub(super) fn money(value: &Value, currency: Currency, minor_units: bool) -> Option<Money> {
    let amount = match value {
        Value::Number(number) if minor_units => return Some(Money::new(number.as_i64()?, currency)),
        Value::Number(number) if number.is_f64() => {
            let exact = number.as_f64()?;
            let rounded = format!("{exact:.*}", currency.decimals() as usize);
            let close = (rounded.parse::<f64>().ok()? - exact).abs() < PRICE_SLACK;
            close.then_some(rounded)?
        }
        other => text(other)?,
    };
    let amount = amount.trim();
    if minor_units {
        return Some(Money::new(amount.parse().ok()?, currency));
    }
    // Zeros behind the currency's decimals ("3.4600") say nothing.
    let shorter = match amount.split_once('.') {
        Some((whole, part)) if part.len() > currency.decimals() as usize => {
            let part = part.trim_end_matches('0');
            if part.is_empty() { whole.to_owned() } else { format!("{whole}.{part}") }
        }
        _ => amount.to_owned(),
    };
    Money::parse_figure(&shorter, currency).ok()
}

/// An instant: RFC 3339; a date, or a date with a time but no offset, counts as UTC.
pub(super) fn instant(value: &Value) -> Option<Timestamp> {
    let text = text(value)?;
    let text = text.trim();
    if let Ok(at) = text.parse::<Timestamp>() {
        return Some(at);
    }
    let local: DateTime = text.parse().ok()?;
    jiff::tz::TimeZone::UTC.to_timestamp(local).ok()
}

/// A calendar date; of an instant its date as written.
pub(super) fn date(value: &Value) -> Option<Date> {
    text(value)?.trim().get(..10)?.parse().ok()
}

/// What a revision is measured by: a whole number, else an instant.
pub(super) fn revision(value: &Value) -> Option<Revision> {
    let written = text(value)?;
    match written.trim().parse::<u64>() {
        Ok(number) => Some(Revision::Number(number)),
        Err(_) => instant(value).map(Revision::At),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn quantities_are_whole_numbers_from_one() {
        for (value, wanted) in [
            (json!(3), Quantity::Good(3)),
            (json!("3"), Quantity::Good(3)),
            (json!(2.0), Quantity::Good(2)),
            (json!(" 2.00 "), Quantity::Good(2)),
            (json!(QUANTITY_MAX), Quantity::Good(QUANTITY_MAX)),
            (json!(0), Quantity::NothingOf("the quantity 0".into())),
            (json!(-1), Quantity::NothingOf("the quantity -1".into())),
            (json!(1.5), Quantity::Unclear("the quantity 1.5 is not a whole number".into())),
            (json!(10_001), Quantity::Unclear("the quantity 10001 is more than 10000".into())),
            (json!(1_000_000_000), Quantity::Unclear("the quantity 1000000000 is more than 10000".into())),
            (json!("two"), Quantity::Unclear("the quantity two is not a number".into())),
            (json!("NaN"), Quantity::Unclear("the quantity NaN is not a number".into())),
            (json!(true), Quantity::Unclear("the quantity is not a number".into())),
            (json!({}), Quantity::Unclear("the quantity is not a number".into())),
        ] {
            assert_eq!(Quantity::read(&value), wanted, "{value}");
        }
    }

    /// Decimals of a currency: ISO 4217 (see `model::quantity`).
    #[test]
    fn prices_are_read_exactly() {
        let eur = Currency::EUR;
        let jpy: Currency = "JPY".parse().unwrap();
        let bhd: Currency = "BHD".parse().unwrap();
        for (value, currency, minor_units, minor) in [
            (json!("24.00"), eur, false, Some(2400)),
            (json!(24), eur, false, Some(2400)),
            (json!(24.35), eur, false, Some(2435)),
            (json!(0.1 + 0.2), eur, false, Some(30)),
            (json!("3.4600"), eur, false, Some(346)),
            (json!(24.355), eur, false, None),
            (json!("24,00"), eur, false, None),
            (json!(2400), eur, true, Some(2400)),
            (json!("2400"), eur, true, Some(2400)),
            (json!(24.5), eur, true, None),
            (json!(350), jpy, false, Some(350)),
            (json!("1.250"), bhd, false, Some(1250)),
            (json!(null), eur, false, None),
        ] {
            assert_eq!(money(&value, currency, minor_units).map(|m| m.minor), minor, "{value}");
        }
    }

    #[test]
    fn instants_come_with_and_without_an_offset() {
        for (text, seconds) in [
            ("1996-12-19T16:39:57-08:00", 851_042_397), // RFC 3339, section 5.8
            ("1985-04-12T23:20:50Z", 482_196_050),
            ("1985-04-12T23:20:50", 482_196_050),
            ("1970-01-02", 86_400),
        ] {
            assert_eq!(instant(&json!(text)).unwrap().as_second(), seconds, "{text}");
        }
        assert_eq!(instant(&json!("yesterday")), None);
        assert_eq!(date(&json!("2026-12-01T00:00:00+09:00")), Some(jiff::civil::date(2026, 12, 1)));
        assert_eq!(date(&json!("soon")), None);
        assert_eq!(revision(&json!("7")), Some(Revision::Number(7)));
        assert_eq!(revision(&json!("1970-01-02")), Some(Revision::At(Timestamp::from_second(86_400).unwrap())));
        assert_eq!(revision(&json!("v2")), None);
    }

    #[test]
    fn truth_is_written_in_several_ways() {
        for (value, truth) in [
            (json!(true), true),
            (json!("true"), true),
            (json!("https://schema.org/True"), true),
            (json!(1), true),
            (json!(false), false),
            (json!("https://schema.org/False"), false),
            (json!(""), false),
            (json!(null), false),
        ] {
            assert_eq!(is_true(&value), truth, "{value}");
        }
    }
}
