//! Amounts as shops write them, in every currency of ISO 4217.

use dawnslip::model::{Currency, Money};
use serde_json::Value;

/// ISO 4217 list one (published 2026-01-01): every code with its minor units.
#[test]
fn every_currency_has_the_decimals_that_iso_4217_says() {
    let table: Value = serde_json::from_str(include_str!("standards/iso4217_minor_units.json")).unwrap();
    let mut seen = 0;
    for (decimals, codes) in table["by_minor_units"].as_object().unwrap() {
        // Gold, test codes and the like have no minor unit; no shop asks for them.
        let Ok(decimals) = decimals.parse::<u32>() else { continue };
        for code in codes.as_array().unwrap() {
            let currency: Currency = code.as_str().unwrap().parse().unwrap();
            assert_eq!(currency.decimals(), decimals, "{currency}");
            let smallest = Money::new(1, currency);
            assert_eq!(Money::parse_figure(&smallest.figure(), currency), Ok(smallest), "{currency}");
            seen += 1;
        }
    }
    assert!(seen > 160, "{seen}");
    for case in table["parse_cases"].as_array().unwrap() {
        let currency: Currency = case["ccy"].as_str().unwrap().parse().unwrap();
        let read = Money::parse_figure(case["text"].as_str().unwrap(), currency).ok();
        assert_eq!(read.map(|money| money.minor), case["minor"].as_i64(), "{case}");
    }
}
