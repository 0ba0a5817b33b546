//! What `services.toml` says beside a service's prices: surcharges and discounts, size as weight,
//! tax, rounding, and which postcodes belong together.

use super::complaint::Complaint;
use super::draft::{Entry, Section, Span};
use super::services::{Zones, known_zone};
use super::shape;
use crate::model::*;
use std::collections::BTreeMap;

/// Hundredths of a percent: nothing asks for more than ten times the price.
const RATE_MAX: i32 = 100_000;

/// Surcharges and discounts, in the order of the file.
pub(super) fn read(table: &Section<'_>, currency: Currency, zones: &Zones) -> Vec<Surcharge> {
    let mut all = Vec::new();
    for surcharge in table.list("surcharge", &shape::SURCHARGE) {
        if !surcharge.has("name") {
            surcharge.missing("name", "\"fuel\"");
        }
        let name = surcharge.printed("name");
        let amount = amount(&surcharge, currency);
        let between = (surcharge.date("from").map(|d| d.value), surcharge.date("until"));
        if let (Some(from), Some(until)) = (between.0, &between.1)
            && until.value < from
        {
            surcharge.complain(&until.at, "the surcharge ends before it begins", "did you swap the two?");
        }
        let only_in = surcharge.texts("zones");
        for zone in &only_in {
            known_zone(&surcharge, zones, zone, &zone.at);
        }
        let countries = surcharge.written_list::<CountryCode>("countries").into_iter().map(|given| given.value);
        let (countries, postcodes) = (countries.collect(), postcodes(&surcharge));
        let (Some(name), Some(amount)) = (name, amount) else { continue };
        all.push(Surcharge {
            name: name.value,
            amount,
            above_weight: surcharge.written("above_weight").map(|given| given.value),
            above_longest: surcharge.written("above_longest").map(|given| given.value),
            above_length_and_girth: surcharge.written("above_length_and_girth").map(|given| given.value),
            above_volume: surcharge.written("above_volume").map(|given| given.value),
            zones: only_in.into_iter().map(|given| given.value).collect(),
            countries,
            postcodes,
            between: (between.0, between.1.map(|given| given.value)),
        });
    }
    all
}

/// `amount`, or `months`.
fn amount(surcharge: &Section<'_>, currency: Currency) -> Option<SurchargeAmount> {
    match (surcharge.entry("amount"), surcharge.entry("months")) {
        (Some(amount), Some(months)) => {
            surcharge.contradiction(
                &months.key.at,
                "both an amount and months",
                "keep one of them",
                &amount.key.at,
                "the amount",
            );
            None
        }
        (Some(entry), None) => fixed_or_share(surcharge, &entry, currency),
        (None, Some(_)) => by_month(surcharge),
        (None, None) => {
            surcharge.missing("amount", "\"1.50 EUR\" or \"3.5 %\", or months = { \"2026-12\" = \"3.5 %\" }");
            None
        }
    }
}

/// `1.50 EUR`, or percent with at most two decimals; a discount begins with a minus.
fn fixed_or_share(surcharge: &Section<'_>, entry: &Entry<'_>, currency: Currency) -> Option<SurchargeAmount> {
    let text = entry.value.as_str().map_or("", str::trim);
    if text.ends_with('%') {
        return rate(surcharge, entry).map(SurchargeAmount::PerTenThousand);
    }
    let Some(off) = text.strip_prefix('-') else {
        return surcharge.money_in(entry, currency).map(|given| SurchargeAmount::Fixed(given.value));
    };
    match off.trim().parse::<Money>() {
        Ok(money) if money.currency == currency && money.minor >= 0 => {
            Some(SurchargeAmount::Fixed(Money::new(-money.minor, currency)))
        }
        _ => {
            let what = format!("`{}` is no discount", entry.key.value);
            surcharge.complain(&entry.at, what, format!("write it like \"-0.50 {currency}\" or \"-10 %\""));
            None
        }
    }
}

/// Hundredths of a percent out of `3.5 %` or `-10 %`.
fn rate(table: &Section<'_>, entry: &Entry<'_>) -> Option<i32> {
    let read = || {
        let percent = entry.value.as_str()?.trim().strip_suffix('%')?.trim();
        let (sign, percent) = percent.strip_prefix('-').map_or((1, percent), |percent| (-1, percent));
        let (whole, part) = percent.split_once('.').unwrap_or((percent, "0"));
        let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
        let is_share = digits(whole) && digits(part) && whole.len() <= 4 && part.len() <= 2;
        let rate: i32 = is_share.then(|| format!("{whole}{part:0<2}").parse().ok()).flatten()?;
        // A discount of everything or more would make a dearer service the cheaper one.
        (rate <= RATE_MAX && (sign > 0 || rate < 10_000)).then_some(sign * rate)
    };
    let rate = read();
    if rate.is_none() {
        let what = format!("`{}` is no share", entry.key.value);
        table.complain(&entry.at, what, "write it like \"3.5 %\" or \"-10 %\", with at most two decimals");
    }
    rate
}

/// Shares by month: `{ "2026-11" = "3.5 %" }`.
fn by_month(surcharge: &Section<'_>) -> Option<SurchargeAmount> {
    let mut rates = BTreeMap::new();
    let pairs = surcharge.pairs("months");
    let whole = !pairs.is_empty();
    for pair in pairs {
        let day = format!("{}-01", pair.key.value).parse::<jiff::civil::Date>();
        match (day, rate(surcharge, &pair)) {
            (Ok(day), Some(rate)) if pair.key.value.len() == 7 => {
                rates.insert((day.year(), day.month()), rate);
            }
            (_, None) => {}
            _ => {
                let what = format!("{:?} is no month", pair.key.value);
                surcharge.complain(&pair.key.at, what, "write it like \"2026-12\" (year and month)");
            }
        }
    }
    whole.then_some(SurchargeAmount::ByMonth(rates))
}

/// Beginnings of postcodes (`"QS1"`) and ranges of them (`"1000..1999"`).
pub(super) fn postcodes(table: &Section<'_>) -> Vec<Postcodes> {
    let mut all = Vec::new();
    for given in table.texts("postcodes") {
        let (first, last) = match given.value.split_once("..") {
            Some((first, last)) => (first, Some(last)),
            None => (given.value.as_str(), None),
        };
        let Some(begin) = beginning(table, first, &given.at) else { continue };
        let Some(last) = last else {
            all.push(Postcodes::Begin(begin));
            continue;
        };
        let Some(end) = beginning(table, last, &given.at) else { continue };
        if begin.len() != end.len() || end < begin || begin.is_empty() {
            let remedy = "give both the same number of letters and digits, the lower one first, like \"1000..1999\"";
            table.complain(&given.at, format!("{:?} is no range of postcodes", given.value), remedy);
        } else {
            all.push(Postcodes::Between(begin, end));
        }
    }
    all
}

fn beginning(table: &Section<'_>, text: &str, at: &Span) -> Option<String> {
    let head = postcode_head(text);
    // Compared after the same cut that an address goes through: what it drops would never match.
    if head.len() == text.chars().filter(|c| !matches!(c, ' ' | '-')).count() {
        return Some(head);
    }
    let remedy = format!("letters and digits, at most {POSTCODE_HEAD_MAX} of them, like \"QS1\"");
    table.complain(at, format!("{text:?} is not the beginning of a postcode"), remedy);
    None
}

/// The words for ways of rounding.
const ROUND: [(&str, Round); 3] = [("up", Round::Up), ("nearest", Round::Near), ("down", Round::Down)];

/// `[service.NAME.dimensional]`.
pub(super) fn dimensional(table: &Section<'_>, price: &Price) -> Option<Dimensional> {
    let rule = table.sub("dimensional", &shape::DIMENSIONAL)?;
    for (key, example) in [("size", "\"5000 cm3\""), ("weighs", "\"1 kg\"")] {
        if !rule.has(key) {
            rule.missing(key, example);
        }
    }
    if !matches!(price, Price::ByWeight(_)) {
        let remedy = "give the service a table by weight, or take this out";
        rule.found.add(Complaint::new(rule.file, rule.at.clone(), "size counts as weight only by weight", remedy));
    }
    let positive = |key: &str, is: bool| {
        if let (false, Some(entry)) = (is, rule.entry(key)) {
            rule.complain(&entry.at, format!("`{key}` is nothing"), "more than nothing is needed");
        }
        is
    };
    let (size, weighs) = (rule.written::<Volume>("size")?.value, rule.written::<Weight>("weighs")?.value);
    let step = rule.written::<Length>("side_step").map(|given| given.value);
    let round = rule.word("sides", &ROUND).unwrap_or(Round::Near);
    let weight_step = rule.written::<Weight>("weight_step").map(|given| given.value);
    let sound = [
        positive("size", size.nm3 > 0),
        positive("weighs", weighs > Weight::ZERO),
        positive("side_step", step.is_none_or(|step| step > Length::ZERO)),
        positive("weight_step", weight_step.is_none_or(|step| step > Weight::ZERO)),
    ];
    sound.iter().all(|sound| *sound).then(|| Dimensional {
        size,
        weighs,
        above: rule.written::<Volume>("above").map(|given| given.value),
        side_step: step.map(|step| (step, round)),
        weight_step,
    })
}

/// `vat = "19 %"`: the tables are without it.
pub(super) fn vat(table: &Section<'_>) -> Option<u32> {
    let entry = table.entry("vat")?;
    let rate = rate(table, &entry)?;
    if rate < 0 {
        table.complain(&entry.at, "`vat` is less than nothing", "write it like \"19 %\"");
    }
    u32::try_from(rate).ok()
}

/// `round_to = "0.05 EUR"`, and `round`.
pub(super) fn rounding(table: &Section<'_>, currency: Currency) -> Option<(Money, Round)> {
    let way = table.word("round", &ROUND);
    let Some(entry) = table.entry("round_to") else {
        if let Some(entry) = table.entry("round") {
            table.complain(&entry.key.at, "`round` has no effect alone", "add round_to = \"0.05 EUR\"");
        }
        return None;
    };
    let step = table.money_in(&entry, currency)?.value;
    if step.minor == 0 {
        table.complain(&entry.at, "`round_to` is nothing", "more than nothing is needed");
        return None;
    }
    Some((step, way.unwrap_or(Round::Near)))
}
