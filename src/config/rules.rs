//! `rules.toml`: named rules with a condition and what then.

use super::complaint::place_in;
use super::draft::{Entry, Given, Section, Span};
use super::names::{Kind, Names};
use super::packaging::uses_in;
use super::shape;
use crate::model::*;
use toml::de::DeValue;

/// Bytes of one condition: a longer one could overflow the stack of who works it out.
const CONDITION_BYTES_MAX: usize = 512;
/// Pieces of a product that a rule may add.
const ADDED_MAX: u32 = 100;

/// All rules in the order of the file, each with the place of its condition.
pub(super) fn read(section: &Section<'_>, text: &str, names: &Names, currency: Currency) -> Vec<(Rule, Span)> {
    let mut rules = Vec::new();
    for (name, table) in section.named("rule", &shape::RULE) {
        if !table.has("when") {
            table.missing("when", "\"true\" (always) or a condition in CEL");
        }
        let when = table.text("when");
        if let Some(when) = when.as_ref().filter(|when| when.value.len() > CONDITION_BYTES_MAX) {
            let what = format!("the condition has more than {CONDITION_BYTES_MAX} bytes");
            table.complain(&when.at, what, "make two rules of it");
        }
        if let Some(when) = &when {
            names_in_condition(&table, text, when, names);
        }
        let entries = table.entries();
        let then: Vec<Action> = entries.iter().flat_map(|entry| actions(&table, entry, names, currency)).collect();
        if entries.iter().all(|entry| entry.key.value == "when") {
            let remedy = format!("add one of {}", shape::RULE.keys[1..].join(", "));
            table.complain(&name.at, format!("the rule {:?} does nothing", name.value), remedy);
        }
        table.is_printed(&name);
        let place = format!("{}:{}", table.file, place_in(text, name.at.start).0);
        let Some(when) = when else { continue };
        rules.push((Rule { name: name.value, when: when.value, then, place }, when.at));
    }
    rules
}

/// Names that a condition compares with: `g.sku == "mug"`, `parcel.service in ["Road"]`.
fn names_in_condition(table: &Section<'_>, text: &str, when: &Given<String>, names: &Names) {
    const FIELDS: [(&str, Kind); 4] = [
        (".sku", Kind::Product),
        (".container", Kind::Container),
        (".inside", Kind::Container),
        (".service", Kind::Service),
    ];
    for (field, kind) in FIELDS {
        for (at, _) in when.value.match_indices(field) {
            for literal in literals(&when.value[at + field.len()..]) {
                // Where it stands in the file; an escaped one is told at the whole condition.
                let within = text.get(when.at.clone()).and_then(|written| written.find(literal));
                let at = within
                    .map_or(when.at.clone(), |begin| when.at.start + begin..when.at.start + begin + literal.len());
                if !literal.is_empty() {
                    names.check(table, kind, &Given { value: literal.to_owned(), at });
                }
            }
        }
    }
}

/// The quoted texts that a field is compared with, if it is.
fn literals(after: &str) -> Vec<&str> {
    let after = after.trim_start();
    let quoted = |text: &'_ str| -> Option<(usize, usize)> {
        let quote = text.chars().next().filter(|c| matches!(c, '"' | '\''))?;
        Some((1, 1 + text[1..].find(quote)?))
    };
    if let Some(text) = after.strip_prefix("==").or(after.strip_prefix("!=")).map(str::trim_start) {
        return quoted(text).map(|(from, to)| &text[from..to]).into_iter().collect();
    }
    let list = after.strip_prefix("in").and_then(|rest| rest.trim_start().strip_prefix('['));
    let Some(mut rest) = list.and_then(|list| list.split(']').next()) else { return Vec::new() };
    let mut all = Vec::new();
    while let Some((from, to)) = quoted(rest.trim_start()) {
        let text = rest.trim_start();
        all.push(&text[from..to]);
        rest = text[to + 1..].trim_start().strip_prefix(',').unwrap_or("");
    }
    all
}

fn actions(table: &Section<'_>, entry: &Entry<'_>, names: &Names, currency: Currency) -> Vec<Action> {
    let sentence = || {
        let given = table.text_in(entry)?;
        table.is_printed(&given);
        if given.value.trim().is_empty() {
            table.complain(&given.at, format!("`{}` says nothing", entry.key.value), "write a sentence for the bench");
        }
        Some(given.value)
    };
    let containers = || {
        let all = names.known(table, Kind::Container, table.texts_in(entry));
        all.into_iter().map(ContainerName).collect()
    };
    let services = || {
        let all = names.known(table, Kind::Service, table.texts_in(entry));
        all.into_iter().map(ServiceName).collect()
    };
    let one = match entry.key.value.as_str() {
        "require_container" => Some(Action::RequireContainer(containers())),
        "forbid_container" => Some(Action::ForbidContainer(containers())),
        "require_service" => Some(Action::RequireService(services())),
        "forbid_service" => Some(Action::ForbidService(services())),
        "prefer_container" => prefer(table, entry, Kind::Container, names, currency)
            .map(|(name, up_to)| Action::PreferContainer(ContainerName(name), up_to)),
        "prefer_service" => prefer(table, entry, Kind::Service, names, currency)
            .map(|(name, up_to)| Action::PreferService(ServiceName(name), up_to)),
        "hold" => sentence().map(Action::Hold),
        "needs_you" => sentence().map(Action::NeedsYou),
        "note" => sentence().map(Action::Note),
        "caution" => sentence().map(Action::Caution),
        "supply" => {
            return uses_in(table, table.pairs_of(entry), names).into_iter().map(Action::Supply).collect();
        }
        "product" => return products(table, entry, names),
        "card" => {
            let card = table.text_in(entry).filter(|card| names.check(table, Kind::Card, card));
            card.map(|card| Action::Card(CardName(card.value)))
        }
        "printer" => {
            let printer = table.text_in(entry).filter(|printer| names.check(table, Kind::Printer, printer));
            printer.map(|printer| Action::Printer(PrinterName(printer.value)))
        }
        "urgent" => match entry.value {
            DeValue::Boolean(true) => Some(Action::Urgent),
            _ => {
                table.complain(&entry.at, "`urgent` can only be true", "take it out where it is not");
                None
            }
        },
        _ => None, // `when`, or an unknown key that was told already.
    };
    one.into_iter().collect()
}

fn products(table: &Section<'_>, entry: &Entry<'_>, names: &Names) -> Vec<Action> {
    // One piece may be written short: product = "SAMPLE-1".
    if entry.value.is_str() {
        let sku = table.text_in(entry).filter(|sku| names.check(table, Kind::Product, sku));
        return sku.map(|sku| Action::Product(Sku(sku.value), 1)).into_iter().collect();
    }
    let pair = |pair: Entry<'_>| {
        let known = names.check(table, Kind::Product, &pair.key);
        let count = table.whole_in(&pair, 1, ADDED_MAX)?.value;
        known.then_some(Action::Product(Sku(pair.key.value), count))
    };
    table.pairs_of(entry).into_iter().filter_map(pair).collect()
}

fn prefer(
    table: &Section<'_>,
    entry: &Entry<'_>,
    kind: Kind,
    names: &Names,
    currency: Currency,
) -> Option<(String, Money)> {
    let example = "{ name = \"NAME\", up_to = \"0.50 EUR\" }";
    if !entry.value.is_table() {
        table.wrong_kind(entry, "a table", &format!("{} = {example}", entry.key.value));
        return None;
    }
    let prefer = table.table_of(entry, &shape::PREFER)?;
    for key in ["name", "up_to"].into_iter().filter(|key| !prefer.has(key)) {
        prefer.missing(key, if key == "name" { "\"NAME\"" } else { "\"0.50 EUR\" (at most so much dearer)" });
    }
    let name: Option<Given<String>> = prefer.text("name").filter(|name| names.check(&prefer, kind, name));
    let up_to = prefer.money("up_to", currency);
    Some((name?.value, up_to?.value))
}
