//! `cards/*.md`: a head between two lines of `+++` in TOML, then Markdown with variables.

use super::complaint::Complaint;
use super::draft::{Findings, Section};
use super::{Files, shape};
use crate::model::{CardName, CardTemplate};
use std::collections::BTreeMap;
use toml::de::DeTable;

/// Bytes of one template: a card is read in the hand.
const CARD_BYTES_MAX: usize = 16 * 1024;
/// The design where the head names none.
const USUAL_DESIGN: &str = "waves";

/// Names of all cards: the stems of their files, without languages.
pub(super) fn names(files: &Files) -> Vec<String> {
    let mut names: Vec<String> =
        files.keys().filter_map(|file| stem(file)).map(|stem| parted(stem).0.to_owned()).collect();
    names.dedup();
    names
}

/// The card's name, and its language where the stem ends with one: `everyday.de`.
fn parted(stem: &str) -> (&str, Option<&str>) {
    match stem.rsplit_once('.') {
        Some((name, language)) if !name.is_empty() && !language.is_empty() => (name, Some(language)),
        _ => (stem, None),
    }
}

/// The name of the card in this file.
pub(super) fn stem(file: &str) -> Option<&str> {
    file.strip_prefix("cards/")?.strip_suffix(".md")
}

/// All cards for a workshop of this language: a card of it takes the place of the one without.
pub(super) fn read(files: &Files, language: &str, found: &Findings) -> BTreeMap<CardName, CardTemplate> {
    let mut cards = BTreeMap::new();
    for (file, text) in files {
        let Some(stem) = stem(file) else { continue };
        let (name, of) = parted(stem);
        // A card of another language is for another day.
        if of.is_some_and(|of| !of.eq_ignore_ascii_case(language)) {
            continue;
        }
        if of.is_none() && files.keys().any(|other| is_of(other, name, language)) {
            continue;
        }
        if text.len() > CARD_BYTES_MAX {
            let what = format!("a card of more than {CARD_BYTES_MAX} bytes");
            found.add(Complaint::new(file, 0..0, what, "nobody would read it; make it shorter"));
            continue;
        }
        let (head, body_at) = split(text);
        if head.is_none() && text.starts_with("+++") {
            found.add(Complaint::new(file, 0..3, "the head of this card does not end", "add a line of +++ below it"));
        }
        let design = head.and_then(|(at, head)| design(file, at, head, found));
        let body = text[body_at..].to_owned();
        found.printed.borrow_mut().push((file.clone(), body_at..text.len(), body.clone()));
        cards.insert(
            CardName::new(name),
            CardTemplate {
                name: CardName::new(stem),
                design: design.unwrap_or_else(|| USUAL_DESIGN.to_owned()),
                first_line: text[..body_at].matches('\n').count() + 1,
                body,
            },
        );
    }
    cards
}

/// Is this the file of a card in this language?
fn is_of(file: &str, name: &str, language: &str) -> bool {
    stem(file)
        .map(parted)
        .is_some_and(|(other, of)| other == name && of.is_some_and(|of| of.eq_ignore_ascii_case(language)))
}

/// The head with the byte at which it begins, if there is one, and where the body begins.
fn split(text: &str) -> (Option<(usize, &str)>, usize) {
    let Some(after) = text.strip_prefix("+++\n").or(text.strip_prefix("+++\r\n")) else { return (None, 0) };
    let head_at = text.len() - after.len();
    let mut at = head_at;
    for line in after.split_inclusive('\n') {
        if line.trim_end() == "+++" {
            return (Some((head_at, &text[head_at..at])), at + line.len());
        }
        at += line.len();
    }
    (None, 0)
}

fn design(file: &str, head_at: usize, head: &str, found: &Findings) -> Option<String> {
    // Parsed behind as many blanks as stand before it, so that its places are those of the file.
    let padded = format!("{}{head}", " ".repeat(head_at));
    let (table, errors) = DeTable::parse_recoverable(&padded);
    for error in errors {
        found.add(Complaint::new(
            file,
            error.span().unwrap_or(0..3),
            error.message(),
            "write it like design = \"plain\"",
        ));
    }
    // The table borrows from a text that ends here, so what is found in it is taken over.
    let here = Findings::default();
    let design = {
        let section = Section::new(file, head_at..head_at + 1, table.get_ref(), &shape::CARD, &here);
        section.text("design").map(|given| given.value)
    };
    found.complaints.borrow_mut().extend(here.complaints.into_inner());
    found.secrets.borrow_mut().extend(here.secrets.into_inner());
    design
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_card_has_a_head_and_a_body() {
        let files = Files::from([
            ("cards/a.md".to_owned(), "+++\n# a comment\ndesign = \"thistle\"\n+++\nDear {{ name }}\n".to_owned()),
            ("cards/b.md".to_owned(), "No head\n".to_owned()),
        ]);
        let found = Findings::default();
        let cards = read(&files, "en", &found);
        assert_eq!(found.complaints.into_inner(), []);
        let a = &cards[&CardName::new("a")];
        assert_eq!((a.design.as_str(), a.body.as_str(), a.first_line), ("thistle", "Dear {{ name }}\n", 5));
        let b = &cards[&CardName::new("b")];
        assert_eq!((b.design.as_str(), b.first_line), (USUAL_DESIGN, 1));
    }

    #[test]
    fn a_card_of_the_workshops_language_takes_the_place_of_the_other() {
        let files = ["a.md", "a.de.md", "b.md", "c.fr.md"];
        let files = Files::from(files.map(|file| (format!("cards/{file}"), format!("from {file}"))));
        assert_eq!(names(&files), ["a", "b", "c"]);
        for (language, expected) in [
            ("de", vec![("a", "a.de", "from a.de.md"), ("b", "b", "from b.md")]),
            ("en", vec![("a", "a", "from a.md"), ("b", "b", "from b.md")]),
        ] {
            let cards = read(&files, language, &Findings::default());
            let told = cards.iter().map(|(name, card)| (name.as_str(), card.name.as_str(), card.body.as_str()));
            assert_eq!(told.collect::<Vec<_>>(), expected);
        }
    }

    #[test]
    fn a_wrong_head_is_told_at_its_place() {
        for (text, at, told) in [
            ("+++\ndesing = \"x\"\n+++\n", "desing", "did you mean `design`?"),
            ("+++\ndesign = \"x\"\n", "+++", "add a line of +++"),
            ("+++\ndesign = 3\n+++\n", "3", "design = "),
        ] {
            let files = Files::from([("cards/a.md".to_owned(), text.to_owned())]);
            let found = Findings::default();
            read(&files, "en", &found);
            let complaints = found.complaints.into_inner();
            assert_eq!(complaints.len(), 1, "{complaints:?}");
            assert!(
                text[complaints[0].span.start..].starts_with(at) && complaints[0].remedy.contains(told),
                "{complaints:?}"
            );
        }
    }
}
