//! `words/*.toml`: every printed word of a language, laid over the embedded English.

use super::complaint::Complaint;
use super::draft::{Findings, Given, in_order, kind_of};
use super::folder::ENGLISH;
use super::names::nearest;
use crate::model::Words;
use std::collections::{BTreeMap, BTreeSet};
use toml::de::{DeTable, DeValue};

/// The file of a language: `words/pt-BR.toml`, else `words/pt.toml`.
pub(super) fn file_of<'f>(language: &str, has: impl Fn(&str) -> Option<&'f String>) -> Option<(String, &'f str)> {
    let general = language.split('-').next().unwrap_or(language);
    [language, general].into_iter().find_map(|stem| {
        let file = format!("words/{stem}.toml");
        let text = has(&file)?;
        Some((file, text.as_str()))
    })
}

/// The words of one file over the embedded English.
pub(super) fn read(file: Option<(&str, &DeTable<'_>)>, found: &Findings) -> Words {
    let mut table = english();
    let Some((file, draft)) = file else { return Words { table } };
    let mut given = BTreeMap::new();
    collect(file, "", draft, found, &mut given);
    for (key, text) in given {
        let Some(english) = table.get(&key) else {
            let remedy = match nearest(&key, table.keys().map(String::as_str)) {
                Some(near) => format!("did you mean `{near}`?"),
                None => "words/en.toml of the sample lists all of them".to_owned(),
            };
            found.add(Complaint::new(file, text.at, format!("no paper uses the words `{key}`"), remedy));
            continue;
        };
        let known = places(english);
        if let Some(unknown) = places(&text.value).into_iter().find(|place| !known.contains(place)) {
            let remedy = match known.is_empty() {
                true => "nothing is put in here".to_owned(),
                false => format!("possible: {}", known.into_iter().collect::<Vec<_>>().join(", ")),
            };
            found.add(Complaint::new(
                file,
                text.at.clone(),
                format!("nothing is put in for {unknown} in `{key}`"),
                remedy,
            ));
        }
        found.printed.borrow_mut().push((file.to_owned(), text.at, text.value.clone()));
        table.insert(key, text.value);
    }
    Words { table }
}

fn english() -> BTreeMap<String, String> {
    let unheard = Findings::default();
    let mut given = BTreeMap::new();
    // A test holds that the embedded file is without fault.
    collect("words/en.toml", "", DeTable::parse_recoverable(ENGLISH).0.get_ref(), &unheard, &mut given);
    given.into_iter().map(|(key, text)| (key, text.value)).collect()
}

/// Tables within tables become keys with dots: `[slip] thanks = "..."` is `slip.thanks`.
fn collect(
    file: &str,
    before: &str,
    table: &DeTable<'_>,
    found: &Findings,
    given: &mut BTreeMap<String, Given<String>>,
) {
    for entry in in_order(table) {
        let key = format!("{before}{}", entry.key.value);
        match entry.value {
            DeValue::String(text) => {
                given.insert(key, Given { value: text.to_string(), at: entry.at });
            }
            DeValue::Table(inner) if before.matches('.').count() < DEPTH_MAX => {
                collect(file, &format!("{key}."), inner, found, given);
            }
            other => {
                let what = format!("`{key}` is {}, not text", kind_of(other));
                found.add(Complaint::new(file, entry.at, what, format!("write it like {} = \"...\"", entry.key.value)));
            }
        }
    }
}

/// Tables within tables in a file of words.
const DEPTH_MAX: usize = 3;

/// Places that are filled: `{n}`.
fn places(text: &str) -> BTreeSet<&str> {
    let mut all = BTreeSet::new();
    let mut rest = text;
    while let Some(open) = rest.find('{') {
        let Some(close) = rest[open..].find('}') else { break };
        all.insert(&rest[open..open + close + 1]);
        rest = &rest[open + close + 1..];
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_english_is_without_fault() {
        let (table, errors) = DeTable::parse_recoverable(ENGLISH);
        assert!(errors.is_empty(), "{errors:?}");
        let found = Findings::default();
        let words = read(Some(("words/en.toml", table.get_ref())), &found);
        assert_eq!(found.complaints.into_inner(), []);
        assert!(!words.table.is_empty());
    }

    #[test]
    fn places_are_found() {
        assert_eq!(places("{n} of {all}, {n").into_iter().collect::<Vec<_>>(), ["{all}", "{n}"]);
    }
}
