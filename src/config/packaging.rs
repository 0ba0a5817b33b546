//! `packaging.toml`: containers, supplies, and what every parcel gets.

use super::draft::{Entry, Given, Section};
use super::names::{Kind, Names, circle};
use super::shape;
use super::values::{Flat, Percent};
use crate::model::*;
use std::collections::BTreeMap;
use toml::de::DeValue;

/// Pieces that may be in stock or used at once.
const PIECES_MAX: u32 = 10_000_000;

/// How each supply is counted: needed before any amount of it can be read.
pub(super) fn supply_units(section: &Section<'_>) -> BTreeMap<String, SupplyUnit> {
    let mut units = BTreeMap::new();
    for (name, table) in section.named("supply", &shape::SUPPLY) {
        let unit = table.word(
            "counted_in",
            &[("pieces", SupplyUnit::Piece), ("length", SupplyUnit::Length), ("weight", SupplyUnit::Weight)],
        );
        units.insert(name.value, unit.unwrap_or(SupplyUnit::Piece));
    }
    units
}

/// All supplies, in the order of the file.
pub(super) fn supplies(section: &Section<'_>, names: &Names, currency: Currency) -> Vec<Supply> {
    let mut supplies = Vec::new();
    for (name, table) in section.named("supply", &shape::SUPPLY) {
        let unit = names.supplies.get(&name.value).copied().unwrap_or(SupplyUnit::Piece);
        let amount = |key: &str| table.entry(key).and_then(|entry| amount(&table, &entry, unit, 0));
        // "4 g per metre" rather than per nanometre: what is not said is one piece, metre, kilogram.
        let usual = match unit {
            SupplyUnit::Piece => 1,
            SupplyUnit::Length => 1000 * NM_PER_MM,
            SupplyUnit::Weight => 1000 * NG_PER_G,
        };
        let weight = match unit {
            // What is counted by its weight weighs just that.
            SupplyUnit::Weight => Weight { ng: usual },
            _ => table.written("weight").map_or(Weight::ZERO, |given| given.value),
        };
        if let (SupplyUnit::Weight, Some(entry)) = (unit, table.entry("weight").or(table.entry("weight_for"))) {
            table.complain(&entry.key.at, "a supply counted in weight weighs what it weighs", "take this line out");
        }
        let some = |key: &str| amount(key).map_or(usual, |amount: i64| amount.max(1));
        supplies.push(Supply {
            name: SupplyName(name.value),
            unit,
            price: table.money("price", currency).map_or(Money::new(0, currency), |given| given.value),
            price_for: some("price_for"),
            stock: amount("stock"),
            weight,
            weight_for: if unit == SupplyUnit::Weight { usual } else { some("weight_for") },
        });
    }
    supplies
}

/// What every parcel gets.
pub(super) fn every_parcel(section: &Section<'_>, names: &Names) -> Vec<SupplyUse> {
    supply_uses(section, "every_parcel", names)
}

/// Amounts of supplies: `{ tissue = 2, "paper tape" = "60 cm" }`.
pub(super) fn supply_uses(table: &Section<'_>, key: &str, names: &Names) -> Vec<SupplyUse> {
    uses_in(table, table.pairs(key), names)
}

/// The same, from the entries of a table.
pub(super) fn uses_in(table: &Section<'_>, entries: Vec<Entry<'_>>, names: &Names) -> Vec<SupplyUse> {
    let mut uses = Vec::new();
    for entry in entries {
        if !names.check(table, Kind::Supply, &entry.key) {
            continue;
        }
        let unit = names.supplies.get(&entry.key.value).copied().unwrap_or(SupplyUnit::Piece);
        if let Some(amount) = amount(table, &entry, unit, 1) {
            uses.push(SupplyUse { supply: SupplyName(entry.key.value), amount });
        }
    }
    uses
}

/// An amount of a supply in its base unit, at least `least`.
fn amount(table: &Section<'_>, entry: &Entry<'_>, unit: SupplyUnit, least: u32) -> Option<i64> {
    let amount = match unit {
        SupplyUnit::Piece => i64::from(table.whole_in(entry, least, PIECES_MAX)?.value),
        SupplyUnit::Length => table.written_in::<Length>(entry)?.value.nm,
        SupplyUnit::Weight => table.written_in::<Weight>(entry)?.value.ng,
    };
    if amount < i64::from(least) {
        table.complain(&entry.at, format!("nothing of {:?} is used", entry.key.value), "take it out, or say how much");
        return None;
    }
    Some(amount)
}

/// All containers, in the order of the file.
pub(super) fn containers(section: &Section<'_>, names: &Names, currency: Currency) -> Vec<Container> {
    let tables = section.named("container", &shape::CONTAINER);
    let containers: Vec<Container> =
        tables.iter().map(|(name, table)| container(&name.value, table, names, currency)).collect();
    // A box that takes itself, at any depth, would be packed for ever.
    let find = |name: &str| containers.iter().position(|container| container.name.as_str() == name);
    let next = |name: &str| {
        let takes = find(name).and_then(|at| containers.get(at)).map(|container| container.takes.as_slice());
        takes.unwrap_or_default().iter().map(ContainerName::as_str).collect()
    };
    for (name, table) in &tables {
        let order = |name: &str| find(name).unwrap_or(usize::MAX);
        if let Some(way) = circle(&name.value, next, order) {
            let at = table.entry("takes").map_or(name.at.clone(), |entry| entry.at);
            let what = format!("{} takes {}: a circle", way.join(" takes "), name.value);
            table.complain(&at, what, "name only containers that are smaller");
        }
    }
    containers
}

fn container(name: &str, table: &Section<'_>, names: &Names, currency: Currency) -> Container {
    let takes = names.known(table, Kind::Container, table.texts("takes"));
    for key in ["tare", "cost"].into_iter().filter(|key| !table.has(key)) {
        table.missing(key, if key == "tare" { "\"120 g\" (weigh one)" } else { "\"0.62 EUR\"" });
    }
    let kind = kind(table);
    let cushion = table.written::<Length>("cushion");
    if let (ContainerKind::Box { inner, .. }, Some(cushion)) = (&kind, &cushion) {
        let least = inner.sorted()[2];
        if cushion.value * 2 >= least {
            let what = format!("the cushion leaves no room: inside are {inner}");
            table.complain(&cushion.at, what, "it is meant for each wall; write less");
        }
    }
    if matches!(kind, ContainerKind::PaddedMailer { .. }) && cushion.is_none() {
        let what = format!(
            "nothing says how thick the padding of {name} is: services take it to be as thick as what is in it"
        );
        table.note(&table.at, what, "write one side of it as cushion = \"3 mm\"; \"0 mm\" if it has none");
    }
    Container {
        name: ContainerName::new(name),
        kind,
        tare: table.written("tare").map_or(Weight::ZERO, |given| given.value),
        cost: table.money("cost", currency).map_or(Money::new(0, currency), |given| given.value),
        cushion: cushion.map_or(Length::ZERO, |given| given.value),
        load_max: table.written("load_max").map(|given| given.value),
        stock: table.whole("stock", 0, PIECES_MAX).map(|given| given.value),
        carriers: table.yes("carriers"),
        goods: table.yes_or("goods", takes.is_empty()),
        takes: takes.into_iter().map(ContainerName).collect(),
        holds: holds(table, names),
        folding: table.written("folding").map(|given| given.value),
        supplies: supply_uses(table, "supplies", names),
        fill: table.sub("fill", &shape::FILL).and_then(|fill| read_fill(&fill, names)),
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum As {
    Box,
    PaddedMailer,
    Envelope,
}

fn kind(table: &Section<'_>) -> ContainerKind {
    let words = [("box", As::Box), ("padded mailer", As::PaddedMailer), ("envelope", As::Envelope)];
    let kind = table.word("kind", &words).unwrap_or(As::Box);
    let (wanted, others): (&[&str], &[&str]) = match kind {
        As::Box => (&["inner", "outer"], &["flat_inner", "flat_outer", "allowance", "thickness_max"]),
        As::PaddedMailer => (&["flat_inner", "thickness_max"], &["inner", "outer"]),
        As::Envelope => (&["flat_inner", "thickness_max"], &["inner", "outer", "flat_outer", "allowance"]),
    };
    for key in wanted.iter().filter(|key| !table.has(key)) {
        let example = match *key {
            "flat_inner" => "\"310 x 240 mm\"",
            "thickness_max" => "\"80 mm\"",
            _ => "\"230 x 130 x 80 mm\"",
        };
        table.missing(key, example);
    }
    for entry in others.iter().filter_map(|key| table.entry(key)) {
        let what = format!("`{}` has no meaning for this kind of container", entry.key.value);
        table.complain(&entry.key.at, what, format!("it needs {}", wanted.join(" and ")));
    }
    let flat = |key: &str| table.written::<Flat>(key).map(|given| given.value.0);
    let none = [Length::ZERO; 2];
    let thickness_max = table.written("thickness_max").map_or(Length::ZERO, |given| given.value);
    match kind {
        As::Box => boxed(table),
        As::PaddedMailer => {
            let inner = flat("flat_inner").unwrap_or(none);
            let outer = flat("flat_outer").unwrap_or(inner);
            if let (Some(entry), true) = (table.entry("flat_outer"), outer[0] < inner[0] || outer[1] < inner[1]) {
                table.complain(&entry.at, "smaller outside than inside", "did you swap the two?");
            }
            ContainerKind::PaddedMailer {
                flat: inner,
                outer,
                allowance: flat("allowance").unwrap_or(none),
                thickness_max,
            }
        }
        As::Envelope => ContainerKind::Envelope { flat: flat("flat_inner").unwrap_or(none), thickness_max },
    }
}

fn boxed(table: &Section<'_>) -> ContainerKind {
    const NOTHING: Dims = Dims { length: Length::ZERO, width: Length::ZERO, height: Length::ZERO };
    let inner: Option<Given<Dims>> = table.written("inner");
    let outer: Option<Given<Dims>> = table.written("outer");
    if let (Some(inner), Some(outer)) = (&inner, &outer) {
        let sides = inner.value.sides().into_iter().zip(outer.value.sides());
        let larger = sides.clone().filter(|(inside, outside)| inside > outside).count();
        if larger > 0 {
            let remedy = match larger {
                3 => format!("outside is {}; did you swap the two?", outer.value),
                _ => format!("outside is {}; each side must be at least as long as inside", outer.value),
            };
            table.contradiction(&inner.at, "larger inside than outside", remedy, &outer.at, "the outside");
        }
    }
    ContainerKind::Box {
        inner: inner.map_or(NOTHING, |given| given.value),
        outer: outer.map_or(NOTHING, |given| given.value),
    }
}

fn holds(table: &Section<'_>, names: &Names) -> Vec<Holds> {
    let Some(entry) = table.entry("holds") else { return Vec::new() };
    let hints = match entry.value {
        // One hint alone may stand without the list around it.
        DeValue::Table(_) => table.table_of(&entry, &shape::HOLDS).into_iter().collect(),
        _ => table.tables_of(&entry, &shape::HOLDS),
    };
    let hint = |hint: Section<'_>| {
        for (key, example) in [("sku", "\"MUG-1\""), ("at_most", "4")] {
            if !hint.has(key) {
                hint.missing(key, example);
            }
        }
        let sku = hint.text("sku").filter(|sku| names.check(&hint, Kind::Product, sku));
        let at_most = hint.whole("at_most", 0, 10_000);
        let trust = hint.yes("trust");
        Some(Holds { sku: Sku(sku?.value), at_most: at_most?.value, trust })
    };
    hints.into_iter().filter_map(hint).collect()
}

fn read_fill(fill: &Section<'_>, names: &Names) -> Option<Fill> {
    if !fill.has("supply") {
        fill.missing("supply", "\"paper fill\"");
    }
    let supply = fill.text("supply").filter(|supply| names.check(fill, Kind::Supply, supply));
    let share = fill.written::<Percent>("share").map_or(100, |given| given.value.0);
    // Crumpled paper: 15 to 30 kg a cubic metre (from memory, wide); weigh yours.
    let weight = fill.written::<Weight>("weight_per_litre");
    let grams = weight.as_ref().map_or(20, |given| given.value.g_near());
    let per_litre = u32::try_from(grams).ok().filter(|grams| *grams <= 1_000);
    if let (Some(given), None) = (&weight, per_litre) {
        fill.complain(&given.at, "heavier than water", "crumpled paper has 15 to 30 g a litre");
    }
    Some(Fill { supply: SupplyName(supply?.value), share_percent: share, grams_per_litre: per_litre.unwrap_or(20) })
}
