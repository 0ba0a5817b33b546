//! `tariffs/*.csv`: price tables. A small form of CSV: commas, no quotes (no cell needs
//! one), `#` begins a comment, the first other line names the columns.

use super::complaint::Complaint;
use super::draft::{Findings, Span};
use super::names::nearest;
use super::values::{WeightBound, Written};
use crate::model::{Currency, Length, Money, NG_PER_OZ, Volume, VolumeStep, Weight, WeightStep};
use std::collections::BTreeMap;

/// What the steps are measured in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum By {
    Weight,
    Volume,
}

/// A step's bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Bound {
    Weight(Weight),
    Volume(Volume),
}

/// One row: zone (empty without that column), bound, price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    pub(super) zone: String,
    pub(super) zone_at: Span,
    up_to: Bound,
    up_to_at: Span,
    price: Money,
    price_at: Span,
    /// By weight: and so much for each so much.
    for_each: Option<(Money, Weight)>,
    /// By volume, for what gives way: length and width together.
    soft: Option<(Span, Length)>,
}

/// Columns that ask for something in proportion to the weight.
const PER: [(&str, Weight); 2] = [("per kg", Weight::from_g(1000)), ("per lb", Weight { ng: 16 * NG_PER_OZ })];

/// Rows of one table: more than any published tariff has.
const ROWS_MAX: usize = 10_000;

/// Steps by weight.
pub(super) fn by_weight(rows: Vec<Row>) -> Vec<WeightStep> {
    let step = |row: Row| match row.up_to {
        Bound::Weight(up_to) => Some(WeightStep { zone: row.zone, up_to, price: row.price, for_each: row.for_each }),
        Bound::Volume(_) => None,
    };
    rows.into_iter().filter_map(step).collect()
}

/// Steps by volume.
pub(super) fn by_volume(rows: Vec<Row>) -> Vec<VolumeStep> {
    let step = |row: Row| match row.up_to {
        Bound::Volume(up_to) => {
            let soft_up_to = row.soft.map(|(_, length)| length);
            Some(VolumeStep { zone: row.zone, up_to, soft_up_to, price: row.price })
        }
        Bound::Weight(_) => None,
    };
    rows.into_iter().filter_map(step).collect()
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
                By::Weight => bare_or(text, "kg").and_then(|()| weight(text)).map(Bound::Weight),
                By::Volume => bare_or(text, "l").and_then(|()| volume(text)).map(Bound::Volume),
            };
            read.map_err(|why| complain(at.clone(), format!("{text:?} is no bound"), why)).ok().map(|up_to| (at, up_to))
        });
        let money = |(at, text): (Span, &str)| {
            let read = bare_or(text, currency.code()).and_then(|()| price(text, currency));
            read.map_err(|why| complain(at.clone(), format!("{text:?} is no price"), why)).ok().map(|price| (at, price))
        };
        let price = cell("price").and_then(money);
        let per = PER.iter().find_map(|(name, of)| Some((cell(name)?, *of)));
        let for_each = per.filter(|((_, text), _)| !text.is_empty()).and_then(|(cell, of)| Some((money(cell)?.1, of)));
        let soft = cell("soft up to").filter(|(_, text)| !text.is_empty()).and_then(|(at, text)| {
            let read = bare_or(text, "cm").and_then(|()| text.parse::<Length>().map_err(|why| why.to_string()));
            read.map_err(|why| complain(at.clone(), format!("{text:?} is no length"), why)).ok().map(|sum| (at, sum))
        });
        if let (Some((up_to_at, up_to)), Some((price_at, price))) = (up_to, price) {
            let (zone_at, zone) = zone.map_or((whole, String::new()), |(at, zone)| (at, zone.to_owned()));
            rows.push(Row { zone, zone_at, up_to, up_to_at, price, price_at, for_each, soft });
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
    let known: &[&str] = match by {
        By::Weight => &["zone", "up to", "price", PER[0].0, PER[1].0],
        By::Volume => &["zone", "up to", "price", "soft up to"],
    };
    for (at, cell) in cells {
        if !known.contains(cell) {
            let remedy = match nearest(cell, known.iter().copied()) {
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

fn weight(text: &str) -> Result<Weight, String> {
    let WeightBound(weight) = WeightBound::read(text)?;
    if weight > Weight::ZERO { Ok(weight) } else { Err("more than nothing is needed".to_owned()) }
}

fn volume(text: &str) -> Result<Volume, String> {
    let volume: Volume = text.parse().map_err(|why: crate::model::QuantityError| why.to_string())?;
    if volume.nm3 > 0 { Ok(volume) } else { Err("more than nothing is needed".to_owned()) }
}

fn price(text: &str, currency: Currency) -> Result<Money, String> {
    let money: Money = text.parse().map_err(|why: crate::model::QuantityError| why.to_string())?;
    if money.currency != currency {
        return Err(format!("this price list counts in {currency}"));
    }
    if money.minor < 0 { Err("less than nothing".to_owned()) } else { Ok(money) }
}

/// Within a zone each bound must be above the one before it, and nothing more may cost less: who
/// sent the smaller parcel would pay more than for the larger.
fn in_order(file: &str, rows: &[Row], found: &Findings) {
    let mut last: BTreeMap<&str, &Row> = BTreeMap::new();
    for row in rows {
        let Some(before) = last.insert(&row.zone, row) else { continue };
        let zone = if row.zone.is_empty() { String::new() } else { format!(" in zone {:?}", row.zone) };
        let tell = |at: &Span, what: String, remedy: &str, before: &Span| {
            found.add(Complaint::new(file, at.clone(), what, remedy).and(before.clone(), "the step before"));
        };
        let rising = "put the steps in rising order, each bound once";
        match row.up_to.cmp(&before.up_to) {
            std::cmp::Ordering::Equal => {
                tell(&row.up_to_at, format!("two steps end at the same bound{zone}"), rising, &before.up_to_at);
            }
            std::cmp::Ordering::Less => {
                tell(&row.up_to_at, format!("this step lies below the one before it{zone}"), rising, &before.up_to_at);
            }
            std::cmp::Ordering::Greater if row.price < before.price && before.for_each == row.for_each => {
                let what = format!("this step costs less than the one before it, which holds less{zone}");
                let remedy = "correct one of the two; if it is so, give the step before the lower price as well";
                tell(&row.price_at, what, remedy, &before.price_at);
            }
            std::cmp::Ordering::Greater => {}
        }
        if let (Some((at, soft)), Some((before_at, before))) = (&row.soft, &before.soft)
            && soft <= before
        {
            tell(at, format!("this step holds no larger mailer than the one before it{zone}"), rising, before_at);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::NM3_PER_CM3;

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
            [WeightStep {
                zone: "North".into(),
                up_to: Weight::from_g(1000),
                price: Money::new(420, Currency::EUR),
                for_each: None
            }]
        );
        let (rows, complaints) = read_text("up to,price\n1.5 l,4.20 EUR\n2000 cm3,5.00 EUR\n", By::Volume);
        assert_eq!(complaints, []);
        assert_eq!(by_volume(rows).iter().map(|step| step.up_to.cm3_up()).collect::<Vec<_>>(), [1500, 2000]);
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
    fn a_bound_that_itself_is_too_much_is_a_nanogram_less() {
        let (rows, complaints) = read_text("up to,price\nunder 16 oz,5.33 EUR\n16 oz,7.80 EUR\n", By::Weight);
        assert_eq!(complaints, []);
        let bounds: Vec<i64> = by_weight(rows).iter().map(|step| step.up_to.ng).collect();
        assert_eq!(bounds, [16 * NG_PER_OZ - 1, 16 * NG_PER_OZ]);
        for text in ["under 16", "under", "under 0 g", "under -1 g", "16 oz under"] {
            assert!(weight(text).is_err(), "{text}");
        }
    }

    #[test]
    fn volumes_are_exact_in_every_unit() {
        for (text, nm3) in [
            ("900 cm3", 900 * NM3_PER_CM3),
            ("1.5 l", 1500 * NM3_PER_CM3),
            ("2l", 2000 * NM3_PER_CM3),
            // 1 in = 25.4 mm exactly (1959), so a cubic foot is 28.316 846 592 litres.
            ("0.1 ft3", 2_831_684_659_200_000_000_000_000),
            ("1728 in3", 28_316_846_592_000_000_000_000_000),
        ] {
            assert_eq!(volume(text), Ok(Volume { nm3 }), "{text}");
        }
        for text in ["0 l", "l", "1..5 l", "-1 l", "1 gal", "9999999999 l", "1. l"] {
            assert!(volume(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_price_in_proportion_and_bounds_for_mailers_are_columns_of_their_own() {
        let (rows, complaints) = read_text("up to, price, per kg\n2 kg, 3.10 EUR, 9.00 EUR\n", By::Weight);
        assert_eq!(complaints, []);
        assert_eq!(by_weight(rows)[0].for_each, Some((Money::new(900, Currency::EUR), Weight::from_g(1000))));
        let text = "up to, soft up to, price\n0.1 ft3, 21 in, 5.00 EUR\n0.2 ft3, , 6.00 EUR\n";
        let (rows, complaints) = read_text(text, By::Volume);
        assert_eq!(complaints, []);
        let soft: Vec<_> = by_volume(rows).iter().map(|step| step.soft_up_to).collect();
        assert_eq!(soft, ["21 in".parse().ok(), None]);
    }

    #[test]
    fn what_holds_more_and_costs_less_is_told() {
        let (_, complaints) = read_text("up to,price\n1 kg,5.00 EUR\n2 kg,4.00 EUR\n", By::Weight);
        assert!(complaints[0].what.contains("costs less"), "{complaints:?}");
        let (_, complaints) = read_text("up to,soft up to,price\n1 l,21 in,5.00 EUR\n2 l,20 in,6.00 EUR\n", By::Volume);
        assert!(complaints[0].what.contains("no larger mailer"), "{complaints:?}");
    }
}
