//! How a source's JSON is read: paths, each checked before it is ever used.

use super::draft::Section;
use super::{paths, shape};
use crate::model::{LineMapping, Mapping};

/// A mapping.
pub(super) fn read(map: &Section<'_>) -> Mapping {
    let line = match map.sub("line", &shape::MAP_LINE) {
        Some(line) => read_line(&line),
        None => {
            if !map.has("line") {
                map.missing("line", "{ sku = \"/sku\", quantity = \"/quantity\" }");
            }
            LineMapping::default()
        }
    };
    Mapping {
        order: path(map, "order"),
        only_if: path(map, "only_if"),
        number: required(map, "number"),
        revision: path(map, "revision"),
        placed: path(map, "placed"),
        cancelled: path(map, "cancelled"),
        cancelled_values: values(map, "cancelled_values", "cancelled"),
        lines: required(map, "lines"),
        line,
        recipient: paths_of(map, "recipient"),
        buyer: paths_of(map, "buyer"),
        street: paths_of(map, "street"),
        locality: path(map, "locality"),
        region: path(map, "region"),
        postcode: path(map, "postcode"),
        country: path(map, "country"),
        email: path(map, "email"),
        phone: path(map, "phone"),
        gift: path(map, "gift"),
        hide_buyer: path(map, "hide_buyer"),
        gift_message: path(map, "gift_message"),
        separate: path(map, "separate"),
        wish: path(map, "wish"),
        service: path(map, "service"),
        total: path(map, "total"),
        currency: currency(map),
        prices_minor: map.word("prices", &[("minor units", true), ("decimal", false)]).unwrap_or(false),
        not_before: path(map, "not_before"),
        language: path(map, "language"),
    }
}

fn read_line(line: &Section<'_>) -> LineMapping {
    LineMapping {
        sku: required(line, "sku"),
        name: path(line, "name"),
        quantity: path(line, "quantity"),
        unit_price: path(line, "unit_price"),
        skip: path(line, "skip"),
        skip_values: values(line, "skip_values", "skip"),
    }
}

/// Values that only count together with a path.
fn values(section: &Section<'_>, key: &str, path: &str) -> Vec<String> {
    if let (Some(entry), false) = (section.entry(key), section.has(path)) {
        section.complain(
            &entry.key.at,
            format!("`{key}` has no effect without `{path}`"),
            format!("add {path} = \"/...\""),
        );
    }
    section.texts(key).into_iter().map(|given| given.value).collect()
}

/// A currency's code, or a path to one.
fn currency(map: &Section<'_>) -> Option<String> {
    let given = map.text("currency")?;
    if super::currency::codes().any(|code| code == given.value) {
        return Some(given.value);
    }
    path(map, "currency")
}

fn required(section: &Section<'_>, key: &str) -> String {
    if !section.has(key) {
        section.missing(key, "\"/...\" (a JSON pointer) or \"$...\" (a JSONPath)");
    }
    path(section, key).unwrap_or_default()
}

fn path(section: &Section<'_>, key: &str) -> Option<String> {
    if !section.has(key) {
        return None;
    }
    let given = section.text(key)?;
    match paths::check(&given.value) {
        Ok(()) => Some(given.value),
        Err(why) => {
            section.complain(&given.at, format!("`{key}` is no path into a payload"), why);
            None
        }
    }
}

fn paths_of(section: &Section<'_>, key: &str) -> Vec<String> {
    let mut fine = Vec::new();
    for given in section.texts(key) {
        match paths::check(&given.value) {
            Ok(()) => fine.push(given.value),
            Err(why) => {
                section.complain(&given.at, format!("`{key}` holds something that is no path into a payload"), why)
            }
        }
    }
    fine
}
