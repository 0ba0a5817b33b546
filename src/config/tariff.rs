//! `tariffs/*.csv`: price tables. A small form of CSV: commas, no quotes (no cell needs
//! one), `#` begins a comment, the first other line names the columns.

use super::complaint::Complaint;
use super::draft::{Findings, Span};
use super::names::nearest;
use crate::model::{Currency, Money, VolumeStep, Weight, WeightStep};
use std::collections::BTreeMap;

/// What the steps are measured in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum By {
    Weight,
    Volume,
}

/// One row: zone (empty without that column), bound in nanograms or cubic centimetres, price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    pub(super) zone: String,
    pub(super) zone_at: Span,
    up_to: u64,
    up_to_at: Span,
    price: Money,
}

/// Rows of one table: more than any published tariff has.
const ROWS_MAX: usize = 10_000;

/// Steps by weight.
pub(super) fn by_weight(rows: Vec<Row>) -> Vec<WeightStep> {
    let step = |row: Row| WeightStep {
        zone: row.zone,
        up_to: Weight { ng: i64::try_from(row.up_to).unwrap_or(i64::MAX) },
        price: row.price,
    };
    rows.into_iter().map(step).collect()
}

/// Steps by volume.
pub(super) fn by_volume(rows: Vec<Row>) -> Vec<VolumeStep> {
    rows.into_iter().map(|row| VolumeStep { zone: row.zone, up_to_cm3: row.up_to, price: row.price }).collect()
}

/// Reads a table; complains about every cell that is wrong, and about steps that overlap.
pub(super) fn read(file: &str, text: &str, by: By, currency: Currency, found: &Findings) -> Vec<Row> {
    let complain = |at: Span, what: String, remedy: String| found.add(Complaint::new(file, at, what, remedy));
    let mut columns: Option<Vec<&str>> = None;
    let mut rows: Vec<Row> = Vec::new();
    for (line_at, line) in lines(text) {
        let cells = cells(line_at, line);
        let Some(columns) = &columns else {
            columns = Some(header(&cells, line_at..line_at + line.len(), by, &complain));
            continue;
        };
        let whole = line_at..line_at + line.trim_end().len();
        if cells.len() != columns.len() {
            let what = format!("{} cells in this row, but {} columns", cells.len(), columns.len());
            complain(whole, what, format!("write {}", columns.join(", ")));
            continue;
        }
        if rows.len() == ROWS_MAX {
            complain(whole, format!("more than {ROWS_MAX} rows"), "split the table".to_owned());
            break;
        }
        let cell = |name: &str| columns.iter().position(|column| *column == name).and_then(|at| cells.get(at)).cloned();
        let zone = cell("zone");
        if zone.as_ref().is_some_and(|(_, zone)| zone.is_empty()) {
            complain(whole.clone(), "this row names no zone".to_owned(), "write the zone's name".to_owned());
        }
        let up_to = cell("up to").and_then(|(at, text)| {
            let read = match by {
                By::Weight => bare_or(text, "kg").and_then(|()| weight(text)),
                By::Volume => bare_or(text, "l").and_then(|()| volume(text)),
            };
            read.map_err(|why| complain(at.clone(), format!("{text:?} is no bound"), why)).ok().map(|up_to| (at, up_to))
        });
        let price = cell("price").and_then(|(at, text)| {
            let read = bare_or(text, currency.code()).and_then(|()| price(text, currency));
            read.map_err(|why| complain(at, format!("{text:?} is no price"), why)).ok()
        });
        if let (Some((up_to_at, up_to)), Some(price)) = (up_to, price) {
            let (zone_at, zone) = zone.map_or((whole, String::new()), |(at, zone)| (at, zone.to_owned()));
            rows.push(Row { zone, zone_at, up_to, up_to_at, price });
        }
    }
    if columns.is_none() {
        complain(0..0, "this price table is empty".to_owned(), format!("begin it with: {}", example(by)));
    }
    in_order(file, &rows, found);
    rows
}

/// Lines that are neither blank nor a comment, with the byte at which they begin.
fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut at = 0;
    text.split_inclusive('\n').filter_map(move |line| {
        let begin = at;
        at += line.len();
        let line = line.trim_end();
        (!line.trim_start().is_empty() && !line.trim_start().starts_with('#')).then_some((begin, line))
    })
}

/// The cells of a line, trimmed, with their places.
fn cells(line_at: usize, line: &str) -> Vec<(Span, &str)> {
    let mut at = line_at;
    let cell = |raw: &'_ str| -> Span {
        let begin = at + (raw.len() - raw.trim_start().len());
        at += raw.len() + 1;
        begin..begin + raw.trim().len()
    };
    let spans: Vec<Span> = line.split(',').map(cell).collect();
    line.split(',').map(str::trim).zip(spans).map(|(text, span)| (span, text)).collect()
}

fn example(by: By) -> &'static str {
    match by {
        By::Weight => "zone, up to, price   and below it   North, 2 kg, 5.40 EUR",
        By::Volume => "zone, up to, price   and below it   North, 3 l, 5.40 EUR",
    }
}

fn header<'a>(cells: &[(Span, &'a str)], line: Span, by: By, complain: &dyn Fn(Span, String, String)) -> Vec<&'a str> {
    const KNOWN: [&str; 3] = ["zone", "up to", "price"];
    for (at, cell) in cells {
        if !KNOWN.contains(cell) {
            let remedy = match nearest(cell, KNOWN.into_iter()) {
                Some(near) => format!("did you mean {near:?}?"),
                None => format!("begin the table with: {}", example(by)),
            };
            complain(at.clone(), format!("there is no column {cell:?}"), remedy);
        } else if cells.iter().filter(|(_, other)| other == cell).count() > 1 {
            complain(at.clone(), format!("the column {cell:?} is there twice"), "take one of them out".to_owned());
        }
    }
    for wanted in ["up to", "price"] {
        if !cells.iter().any(|(_, cell)| *cell == wanted) {
            complain(
                line.clone(),
                format!("the column {wanted:?} is missing"),
                format!("begin the table with: {}", example(by)),
            );
        }
    }
    cells.iter().map(|(_, cell)| *cell).collect()
}

/// A bare number is told what to put behind it.
fn bare_or(text: &str, unit: &str) -> Result<(), String> {
    let bare = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    if bare { Err(format!("a bare number; say {text} {unit}")) } else { Ok(()) }
}

fn weight(text: &str) -> Result<u64, String> {
    let weight: Weight = text.parse().map_err(|why: crate::model::QuantityError| why.to_string())?;
    u64::try_from(weight.ng).ok().filter(|ng| *ng > 0).ok_or_else(|| "more than nothing is needed".to_owned())
}

/// Whole cubic centimetres out of `900 cm3` or `1.5 l`.
fn volume(text: &str) -> Result<u64, String> {
    let wrong = || format!("{text:?}: write it like 900 cm3 or 1.5 l, in whole cubic centimetres");
    let (number, thousandths) = match (text.strip_suffix("cm3"), text.strip_suffix('l')) {
        (Some(number), _) => (number.trim(), 1),
        (_, Some(number)) => (number.trim(), 1000),
        _ => return Err(wrong()),
    };
    let (whole, part) = number.split_once('.').unwrap_or((number, ""));
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || whole.len() > 9 || part.len() > 3 || !digits(whole) || !digits(part) || number.ends_with('.')
    {
        return Err(wrong());
    }
    let milli: u64 = format!("{whole}{part:0<3}").parse().map_err(|_| wrong())?;
    let cm3 = milli * thousandths / 1000;
    if (milli * thousandths).is_multiple_of(1000) && cm3 > 0 { Ok(cm3) } else { Err(wrong()) }
}

fn price(text: &str, currency: Currency) -> Result<Money, String> {
    let money: Money = text.parse().map_err(|why: crate::model::QuantityError| why.to_string())?;
    if money.currency != currency {
        return Err(format!("the workshop counts in {currency}"));
    }
    if money.minor < 0 { Err("less than nothing".to_owned()) } else { Ok(money) }
}

/// Within a zone each bound must be above the one before it.
fn in_order(file: &str, rows: &[Row], found: &Findings) {
    let mut last: BTreeMap<&str, &Row> = BTreeMap::new();
    for row in rows {
        if let Some(before) = last.insert(&row.zone, row) {
            let zone = if row.zone.is_empty() { String::new() } else { format!(" in zone {:?}", row.zone) };
            let what = match row.up_to.cmp(&before.up_to) {
                std::cmp::Ordering::Greater => continue,
                std::cmp::Ordering::Equal => format!("two steps end at the same bound{zone}"),
                std::cmp::Ordering::Less => format!("this step lies below the one before it{zone}"),
            };
            let complaint =
                Complaint::new(file, row.up_to_at.clone(), what, "put the steps in rising order, each bound once");
            found.add(complaint.and(before.up_to_at.clone(), "the step before"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_text(text: &str, by: By) -> (Vec<Row>, Vec<Complaint>) {
        let found = Findings::default();
        let rows = read("tariffs/t.csv", text, by, Currency::EUR, &found);
        (rows, found.complaints.into_inner())
    }

    #[test]
    fn a_table_with_comments_and_spaces_is_read() {
        let (rows, complaints) = read_text("# by weight\n\nzone, up to , price\r\nNorth, 1 kg, 4.20 EUR\n", By::Weight);
        assert_eq!(complaints, []);
        let steps = by_weight(rows);
        assert_eq!(
            steps,
            [WeightStep { zone: "North".into(), up_to: Weight::from_g(1000), price: Money::new(420, Currency::EUR) }]
        );
        let (rows, complaints) = read_text("up to,price\n1.5 l,4.20 EUR\n2000 cm3,5.00 EUR\n", By::Volume);
        assert_eq!(complaints, []);
        assert_eq!(by_volume(rows).iter().map(|step| step.up_to_cm3).collect::<Vec<_>>(), [1500, 2000]);
    }

    #[test]
    fn every_wrong_cell_is_named_with_its_place() {
        for (text, at, told) in [
            ("zone,up to,price\nN,2,1.00 EUR\n", "2,", "say 2 kg"),
            ("zone,up to,price\nN,2 kg,1.5\n", "1.5", "say 1.5 EUR"),
            ("zone,up to,price\nN,2 kg,1.00 GBP\n", "1.00 GBP", "counts in EUR"),
            ("zone,upto,price\nN,2 kg,1.00 EUR\n", "upto", "did you mean \"up to\"?"),
            ("zone,up to,price\nN,2 kg\n", "N,2 kg", "write zone, up to, price"),
            ("zone,up to,price\nN,2 kg,1.00 EUR\nN,1 kg,2.00 EUR\n", "1 kg", "rising order"),
            ("zone,up to,price\nN,2 kg,1.00 EUR\nN,2000 g,2.00 EUR\n", "2000 g", "rising order"),
        ] {
            let (_, complaints) = read_text(text, By::Weight);
            let hit = complaints.iter().find(|complaint| complaint.remedy.contains(told));
            let hit = hit.unwrap_or_else(|| panic!("{text}: {complaints:?}"));
            assert!(text[hit.span.start..].starts_with(at), "{text}: {hit:?}");
        }
        assert!(read_text("# nothing\n", By::Weight).1[0].what.contains("empty"));
    }

    #[test]
    fn volumes_are_whole_cubic_centimetres() {
        for (text, cm3) in [("900 cm3", 900), ("1.5 l", 1500), ("0.001 l", 1), ("2l", 2000)] {
            assert_eq!(volume(text), Ok(cm3), "{text}");
        }
        for text in ["0 l", "1.0005 l", "0.5 cm3", "l", "1..5 l", "-1 l", "1 m3", "9999999999 l", "1. l"] {
            assert!(volume(text).is_err(), "{text}");
        }
    }
}
