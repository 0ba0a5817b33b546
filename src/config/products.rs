//! `products.toml`: goods, their sizes and batches; what is `like` another inherits from it.

use super::danger;
use super::draft::{Given, Section};
use super::names::{Kind, Names, circle};
use super::packaging::supply_uses;
use super::shape;
use super::values::Percent;
use crate::model::*;
use std::collections::BTreeMap;

/// Pieces of one part in a bundle, and pieces of one batch.
const PARTS_MAX: u32 = 1_000;
const MADE_MAX: u32 = 1_000_000;

/// All products, in the order of the file.
pub(super) fn read(section: &Section<'_>, names: &Names) -> Vec<Product> {
    let tables = section.named("product", &shape::PRODUCT);
    let by_sku: BTreeMap<&str, &Section<'_>> = tables.iter().map(|(sku, table)| (sku.value.as_str(), table)).collect();
    let mut products = Vec::new();
    let mut parts_at = BTreeMap::new();
    for (sku, table) in &tables {
        let table = inherit(sku, table, &by_sku, names);
        let product = product(sku, &table, names);
        if let Some(entry) = table.entry("made_of") {
            parts_at.insert(product.sku.clone(), entry.at);
        }
        products.push(product);
    }
    refuse_circles_of_likeness(&tables);
    refuse_circles(section, &products, &parts_at);
    products
}

fn refuse_circles_of_likeness(tables: &[(Given<String>, Section<'_>)]) {
    let likes: Vec<(&str, Option<Given<String>>)> = tables
        .iter()
        .map(|(sku, table)| (sku.value.as_str(), table.own("like").and_then(|entry| table.text_in(&entry))))
        .collect();
    let order = |sku: &str| likes.iter().position(|(name, _)| *name == sku).unwrap_or(usize::MAX);
    let next = |sku: &str| {
        let like = likes.iter().find(|(name, _)| *name == sku).and_then(|(_, like)| like.as_ref());
        like.map(|like| like.value.as_str()).into_iter().collect()
    };
    for ((sku, like), (_, table)) in likes.iter().zip(tables) {
        if let (Some(way), Some(like)) = (circle(sku, next, order), like) {
            let what = format!("{} is like {sku}: a circle", way.join(" is like "));
            table.complain(&like.at, what, "let one of them say for itself what it is");
        }
    }
}

/// Adds the tables that this one is `like`, nearest first.
fn inherit<'t>(
    sku: &Given<String>,
    table: &Section<'t>,
    by_sku: &BTreeMap<&str, &Section<'t>>,
    names: &Names,
) -> Section<'t> {
    let mut whole = table.clone();
    let mut seen = vec![sku.value.clone()];
    let mut here = table.clone();
    while let Some(entry) = here.own("like") {
        let Some(like) = here.text_in(&entry) else { break };
        if !names.check(&here, Kind::Product, &like) {
            break;
        }
        if seen.contains(&like.value) {
            break; // A circle: told by `refuse_circles_of_likeness`.
        }
        let Some(next) = by_sku.get(like.value.as_str()) else { break };
        whole = whole.like(next);
        here = (*next).clone();
        seen.push(like.value);
    }
    whole
}

fn product(sku: &Given<String>, table: &Section<'_>, names: &Names) -> Product {
    let name = table.printed("name");
    if name.is_none() && !table.has("name") {
        table.missing("name", "\"Mug, tide grey\"");
    }
    let made_of = made_of(sku, table, names);
    Product {
        sku: Sku::new(&sku.value),
        name: name.map_or_else(|| sku.value.clone(), |given| given.value),
        dims: table.written("size").map(|given| given.value),
        weight: table.written("weight").map(|given| given.value),
        shelf: table.printed("shelf").map_or_else(String::new, |given| given.value),
        turn: table
            .word("turn", &[("any", Turn::Any), ("this side up", Turn::ThisSideUp), ("flat only", Turn::FlatOnly)])
            .unwrap_or(Turn::Any),
        fragile: table.yes("fragile"),
        stack: table.whole("stack_at_most", 1, PARTS_MAX).map(|given| given.value),
        by_wall: table.yes("by_wall"),
        cushion: table.written("cushion").map_or(Length::ZERO, |given| given.value),
        softness_percent: table.written::<Percent>("pressed_to").map_or(100, |given| {
            if given.value.0 == 0 {
                table.complain(&given.at, "nothing can be pressed to nothing", "write for example \"60 %\"");
            }
            given.value.0
        }),
        made_of,
        made_to_order: table.yes("made_to_order"),
        not_shipped: table.yes("not_shipped"),
        preparation: table.printed("preparation").map(|given| given.value),
        how_to_lay: table.printed("how_to_lay").map(|given| given.value),
        supplies: supply_uses(table, "supplies", names),
        care: table.printed("care").map(|given| given.value),
        ingredients: table.printed("ingredients").map(|given| given.value),
        allergens: table.texts("allergens").into_iter().inspect(|a| table.is_printed(a)).map(|a| a.value).collect(),
        danger: danger::of_product(table),
        customs: table.sub("customs", &shape::CUSTOMS).and_then(|customs| read_customs(&customs)),
        batches: batches(table),
    }
}

fn made_of(sku: &Given<String>, table: &Section<'_>, names: &Names) -> Vec<(Sku, u32)> {
    let mut parts = Vec::new();
    for entry in table.pairs("made_of") {
        let known = names.check(table, Kind::Product, &entry.key);
        let count = table.whole_in(&entry, 1, PARTS_MAX);
        if entry.key.value == sku.value {
            let what = format!("{} is made of itself", sku.value);
            table.complain(&entry.key.at, what, "name the things that it consists of");
        } else if let (true, Some(count)) = (known, count) {
            parts.push((Sku(entry.key.value), count.value));
        }
    }
    parts
}

fn refuse_circles(section: &Section<'_>, products: &[Product], parts_at: &BTreeMap<Sku, super::draft::Span>) {
    let parts: BTreeMap<&Sku, &[(Sku, u32)]> = products.iter().map(|p| (&p.sku, p.made_of.as_slice())).collect();
    let order = |sku: &str| products.iter().position(|product| product.sku.as_str() == sku).unwrap_or(usize::MAX);
    let next = |sku: &str| parts.get(&Sku::new(sku)).copied().unwrap_or_default().iter().map(|(part, _)| part.as_str());
    for product in products {
        let Some(way) = circle(product.sku.as_str(), |sku| next(sku).collect(), order) else { continue };
        let at = parts_at.get(&product.sku).cloned().unwrap_or(section.at.clone());
        let what = format!("{} is made of {}: a circle", way.join(" is made of "), product.sku);
        section.complain(&at, what, "take one of them out of the other");
    }
}

/// Descriptions that customs send back: the first three as guidance on the CN 23 names them, the rest is common
/// practice, no source.
const VAGUE: [&str; 21] = [
    "spare parts",
    "samples",
    "food products",
    "sample",
    "gift",
    "gifts",
    "present",
    "goods",
    "merchandise",
    "parts",
    "accessories",
    "personal items",
    "personal effects",
    "household goods",
    "products",
    "items",
    "various",
    "other",
    "clothes",
    "toys",
    "food",
];

fn read_customs(customs: &Section<'_>) -> Option<Customs> {
    for (key, example) in [("hs_code", "\"6912.00\""), ("origin", "\"GB\""), ("description", "\"stoneware mug\"")] {
        if !customs.has(key) {
            customs.missing(key, example);
        }
    }
    let hs_code = customs.text("hs_code")?;
    // Harmonised System: chapters of 2, headings of 4, subheadings of 6 digits; national tariffs add up to 4.
    let digits = hs_code.value.chars().filter(char::is_ascii_digit).count();
    if !(4..=10).contains(&digits) || !hs_code.value.chars().all(|c| c.is_ascii_digit() || c == '.' || c == ' ') {
        customs.complain(&hs_code.at, "this is no code of the Harmonised System", "4 to 10 digits, like \"6912.00\"");
    }
    let (origin, description) = (customs.written("origin"), customs.text("description"));
    if let Some(description) = &description {
        let said = description.value.trim().trim_end_matches('.').to_lowercase();
        if VAGUE.contains(&said.as_str()) {
            let what = format!("{:?} does not tell customs what it is", description.value);
            customs.complain(&description.at, what, "say what it is and of what: \"stoneware mug\"");
        }
    }
    Some(Customs { hs_code: hs_code.value, origin: origin?.value, description: description?.value })
}

fn batches(table: &Section<'_>) -> Vec<Batch> {
    let mut batches: Vec<Batch> = Vec::new();
    for batch in table.list("batch", &shape::BATCH) {
        if !batch.has("name") {
            batch.missing("name", "\"2611\"");
        }
        let Some(name) = batch.printed("name") else { continue };
        if batches.iter().any(|other| other.name.as_str() == name.value) {
            batch.complain(
                &name.at,
                format!("the batch {:?} is there twice", name.value),
                "give one of them another name",
            );
        }
        batches.push(Batch {
            name: BatchName(name.value),
            dims: batch.written("size").map(|given| given.value),
            weight: batch.written("weight").map(|given| given.value),
            best_before: batch.date("best_before").map(|given| given.value),
            made: batch.whole("made", 0, MADE_MAX).map(|given| given.value),
            shelf: batch.printed("shelf").map(|given| given.value),
        });
    }
    batches
}
