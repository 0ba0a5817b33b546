//! From the text of the files to a workshop, or to everything that is wrong with them.

use super::complaint::{Complaint, Complaints, place_in};
use super::draft::{Findings, Section, Span};
use super::names::{Names, nearest};
use super::services::Around;
use super::shape::{self, Shape};
use super::{Files, cards, danger, packaging, printers, products, rules, services, sources, words, workshop};
use crate::model::*;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, Error};

/// What only other modules can judge. Each answers with what is wrong, if anything is.
#[derive(Clone, Copy)]
pub struct Checks<'a> {
    /// Does this rule's condition make sense?
    pub rule: &'a dyn Fn(&Workshop, &Rule) -> Option<String>,
    /// Does this card's template make sense?
    pub card: &'a dyn Fn(&Workshop, &CardTemplate) -> Option<CardTrouble>,
    /// Letters of a text that goes on paper which no font holds.
    pub letters: &'a dyn Fn(&Workshop, &str) -> Vec<char>,
}

impl Checks<'_> {
    /// Judges nothing.
    pub const NONE: Checks<'static> = Checks { rule: &|_, _| None, card: &|_, _| None, letters: &|_, _| Vec::new() };
}

/// What is wrong with a card.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CardTrouble {
    /// Line of the file, from 1 (the template's `first_line` is its body's first).
    pub line: usize,
    /// What is wrong.
    pub what: String,
    /// What to write instead; may be empty.
    pub remedy: String,
}

/// The files that hold tables, each with the shape of its top.
static FILES: [(&str, &Shape); 7] = [
    ("workshop.toml", &shape::WORKSHOP),
    ("sources.toml", &shape::SOURCES),
    ("products.toml", &shape::PRODUCTS),
    ("packaging.toml", &shape::PACKAGING),
    ("services.toml", &shape::SERVICES),
    ("rules.toml", &shape::RULES),
    ("printers.toml", &shape::PRINTERS),
];

/// Loads a configuration without the checks that only other modules can make.
pub fn load(files: &Files, base: &Path) -> Result<Workshop, Complaints> {
    load_with(files, base, &Checks::NONE)
}

/// Loads a configuration. `base` is the folder that file names in it are relative to; it is
/// not read. Errors: everything that is wrong, at once.
pub fn load_with(files: &Files, base: &Path, checks: &Checks<'_>) -> Result<Workshop, Complaints> {
    match load_but_cards(files, base, checks)? {
        (workshop, None) => Ok(workshop),
        (_, Some(complaints)) => Err(complaints),
    }
}

/// Loads a configuration where only cards are wrong, too, with what is wrong with them: a plain
/// card prints in the place of such a one, and no parcel waits for it.
pub fn load_but_cards(
    files: &Files,
    base: &Path,
    checks: &Checks<'_>,
) -> Result<(Workshop, Option<Complaints>), Complaints> {
    let found = Findings::default();
    find_secrets(files, &found);
    let parsed = parse(files, &found);
    let section = |name: &str| {
        let (file, shape) = FILES.iter().find(|(file, _)| *file == name).unwrap_or(&FILES[0]);
        let table = parsed[*file].get_ref();
        Section::new(file, 0..0, table, shape, &found)
    };
    let house = section("workshop.toml");
    let packaging = section("packaging.toml");
    let (goods, services) = (section("products.toml"), section("services.toml"));
    let (rule_table, printer_table) = (section("rules.toml"), section("printers.toml"));

    // Names first, so that every reference can be checked where it stands.
    let names = Names {
        skus: keys_of(&goods, "product"),
        containers: keys_of(&packaging, "container"),
        supplies: packaging::supply_units(&packaging),
        services: keys_of(&services, "service"),
        printers: keys_of(&printer_table, "printer"),
        cards: cards::names(files),
    };
    let currency = workshop::currency(&house);
    let contracts = workshop::contracts(&house);
    let rates = workshop::rates(&house, currency);

    let mut meant = workshop::read(&house, &names, currency, base);
    meant.sources = sources::read(&section("sources.toml"), base, &names);
    meant.products = products::read(&goods, &names);
    meant.supplies = packaging::supplies(&packaging, &names, currency);
    meant.every_parcel = packaging::every_parcel(&packaging, &names);
    meant.containers = packaging::containers(&packaging, &names, currency);
    let around = Around { names: &names, files, currency, rates: &rates, contracts: &contracts };
    let read_services = services::read(&services, &around);
    danger::note_what_stays(&goods, &meant.products, &read_services);
    services::every_container_travels(&packaging, &meant.containers, &read_services);
    unused_contracts(&house, &contracts, &read_services);
    refuse_unknown_files(files, &read_services.tables, &found);
    meant.services = read_services.usable;
    let place = |service: &Service| names.services.iter().position(|name| name == service.name.as_str());
    let absent =
        read_services.without_contract.into_iter().map(|service| (place(&service).unwrap_or(usize::MAX), service));
    meant.contracts =
        Contracts { has: contracts.iter().map(|given| given.value.clone()).collect(), absent: absent.collect() };
    let rule_text = files.get("rules.toml").map_or("", String::as_str);
    let rules = rules::read(&rule_table, rule_text, &names, currency);
    meant.rules = rules.iter().map(|(rule, _)| rule.clone()).collect();
    meant.printers = printers::printers(&printer_table, &names);
    meant.routes = printers::routes(&printer_table, &names);
    meant.cards = cards::read(files, &meant.language, &found);
    meant.words = read_words(&meant.language, &house, files, &parsed, &found);
    meant.digest = digest(files);
    meant.notes = notes(found.notes.take(), files);
    meant.files = files.clone();

    ask(checks, &meant, &rules, files, &found);
    let mut complaints = found.complaints.into_inner();
    if !files.contains_key("workshop.toml") {
        // What an empty one would lack need not be told on top.
        complaints.retain(|complaint| complaint.file != "workshop.toml");
        let remedy = "copy the sample configuration and change it";
        complaints.push(Complaint::new("workshop.toml", 0..0, "this file is missing", remedy));
    }
    if complaints.is_empty() {
        return Ok((meant, None));
    }
    let only_cards = complaints.iter().all(|complaint| cards::stem(&complaint.file).is_some());
    let folder = format!("{}/", base.display());
    let told = Complaints::new(complaints, files, folder, &found.secrets.into_inner());
    if only_cards { Ok((meant, Some(told))) } else { Err(told) }
}

/// Notes as sentences with their places.
fn notes(notes: Vec<Complaint>, files: &Files) -> Vec<String> {
    let told = |note: Complaint| {
        let text = files.get(&note.file).map_or("", String::as_str);
        format!("{}:{}: {}; {}", note.file, place_in(text, note.span.start).0, note.what, note.remedy)
    };
    notes.into_iter().map(told).collect()
}

/// Digest of all files: SHA-256 over name and text of each, in order of their names, each
/// preceded by its length, so that no two different sets of files can read alike.
fn digest(files: &Files) -> ConfigDigest {
    let mut hash = Sha256::new();
    for (name, text) in files {
        for part in [name, text] {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part.as_bytes());
        }
    }
    ConfigDigest(data_encoding::HEXLOWER.encode(&hash.finalize()))
}

type Parsed<'f> = BTreeMap<&'f str, Spanned<DeTable<'f>>>;

/// Parses every TOML file; one that is missing reads like an empty one.
fn parse<'f>(files: &'f Files, found: &Findings) -> Parsed<'f> {
    let mut parsed = Parsed::new();
    let texts = files.iter().filter(|(name, _)| name.ends_with(".toml")).map(|(n, t)| (n.as_str(), t.as_str()));
    let missing = FILES.iter().filter(|(name, _)| !files.contains_key(*name)).map(|(name, _)| (*name, ""));
    for (name, text) in texts.chain(missing) {
        let (table, errors) = DeTable::parse_recoverable(text);
        for error in errors {
            found.add(syntax(name, text, &error));
        }
        parsed.insert(name, table);
    }
    parsed
}

pub(super) fn syntax(file: &str, text: &str, error: &Error) -> Complaint {
    let span = error.span().unwrap_or(text.len()..text.len());
    if error.message().starts_with("duplicate key") {
        let name = text.get(span.clone()).unwrap_or("").trim();
        return Complaint::new(
            file,
            span.clone(),
            format!("{name} is there twice"),
            "take one of them out, or give it another name",
        );
    }
    Complaint::new(file, span, "this is not TOML", error.message())
}

pub(super) fn keys_of(section: &Section<'_>, key: &str) -> Vec<String> {
    match section.entry(key).map(|entry| entry.value) {
        Some(toml::de::DeValue::Table(table)) => {
            super::draft::in_order(table).into_iter().map(|entry| entry.key.value).collect()
        }
        _ => Vec::new(),
    }
}

/// A Standard Webhooks secret is recognised anywhere, even in a comment.
fn find_secrets(files: &Files, found: &Findings) {
    for (file, text) in files {
        for (at, _) in text.match_indices("whsec_") {
            let after = &text[at + "whsec_".len()..];
            let length = after.bytes().take_while(|b| b.is_ascii_alphanumeric() || b"+/=".contains(b)).count();
            if length < SECRET_CHARS_MIN {
                continue; // Too short to be one: a mention in a comment.
            }
            let span = at..at + "whsec_".len() + length;
            found.secrets.borrow_mut().push((file.clone(), span.clone()));
            found.add(Complaint::new(
                file,
                span,
                "a secret must not stand in the configuration",
                "put it in a file of its own and name that file; treat this one as known and make a new one",
            ));
        }
    }
}

/// Standard Webhooks: at least 24 bytes, which are 32 characters of base64.
const SECRET_CHARS_MIN: usize = 32;

fn unused_contracts(house: &Section<'_>, contracts: &[super::draft::Given<String>], read: &services::Services) {
    for contract in contracts {
        let all = || read.usable.iter().chain(&read.without_contract).filter_map(|service| service.contract.as_deref());
        if all().all(|named| named != contract.value) {
            let remedy = match nearest(&contract.value, all()) {
                Some(near) => format!("did you mean {near:?}?"),
                None => "take it out, or name it as `contract` of a service in services.toml".to_owned(),
            };
            house.complain(&contract.at, format!("no service needs the contract {:?}", contract.value), remedy);
        }
    }
}

fn refuse_unknown_files(files: &Files, tables: &BTreeSet<String>, found: &Findings) {
    for name in files.keys() {
        if FILES.iter().any(|(file, _)| file == name) || name.starts_with("words/") || cards::stem(name).is_some() {
            continue;
        }
        if name.starts_with("tariffs/") {
            if !tables.contains(name) {
                let remedy = "name it as `tariff` of a service in services.toml, or take the file away";
                found.add(Complaint::new(name, 0..0, "no service uses this price table", remedy));
            }
            continue;
        }
        let remedy = match nearest(name, FILES.iter().map(|(file, _)| *file)) {
            Some(near) => format!("did you mean {near}?"),
            None => format!("known are {}", FILES.map(|(file, _)| file).join(", ")),
        };
        found.add(Complaint::new(name, 0..0, "nothing reads this file", remedy));
    }
}

fn read_words(language: &str, house: &Section<'_>, files: &Files, parsed: &Parsed<'_>, found: &Findings) -> Words {
    let file = words::file_of(language, |name| files.get(name));
    if file.is_none() && language.split('-').next() != Some("en") {
        let what = format!("there are no words for the language {language:?}");
        let remedy = format!("copy words/en.toml to words/{language}.toml and translate it");
        house.complain(&workshop::language_at(house), what, remedy);
    }
    let table = file.as_ref().and_then(|(name, _)| Some((name.as_str(), parsed.get(name.as_str())?.get_ref())));
    words::read(table, found)
}

/// Asks the other modules.
fn ask(checks: &Checks<'_>, meant: &Workshop, rules: &[(Rule, Span)], files: &Files, found: &Findings) {
    for (rule, at) in rules {
        if let Some(why) = (checks.rule)(meant, rule) {
            let what = format!("the condition of the rule {:?} cannot be worked out", rule.name);
            found.add(Complaint::new("rules.toml", at.clone(), what, why));
        }
    }
    for card in meant.cards.values() {
        if let Some(trouble) = (checks.card)(meant, card) {
            let file = format!("cards/{}.md", card.name);
            let at = line_span(files.get(&file).map_or("", String::as_str), trouble.line);
            found.add(Complaint::new(&file, at, trouble.what, trouble.remedy));
        }
    }
    let printed = found.printed.take();
    for (file, at, text) in printed {
        let missing = (checks.letters)(meant, &text);
        if !missing.is_empty() {
            let letters: String = missing.iter().take(LETTERS_SHOWN).collect();
            // The first of them in the file; one that is written as an escape is told at the whole text.
            let within = files.get(&file).and_then(|written| written.get(at.clone()));
            let first = within.and_then(|written| written.char_indices().find(|(_, letter)| missing.contains(letter)));
            let at = first.map_or(at.clone(), |(begin, letter)| at.start + begin..at.start + begin + letter.len_utf8());
            let remedy = "write it with other letters, or add a font that has them (`fonts` in workshop.toml)";
            found.add(Complaint::new(&file, at, format!("no font has: {letters}"), remedy));
        }
    }
}

/// So many missing letters are named in one complaint.
const LETTERS_SHOWN: usize = 20;

/// The bytes of a line, from 1.
fn line_span(text: &str, line: usize) -> Span {
    let mut at = 0;
    for (number, one) in text.split_inclusive('\n').enumerate() {
        if number + 1 == line {
            return at..at + one.trim_end().len();
        }
        at += one.len();
    }
    text.len()..text.len()
}
