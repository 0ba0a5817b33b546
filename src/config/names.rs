//! Names that other tables refer to, and the nearest one to what was written.

use super::draft::{Given, Section};
use crate::model::SupplyUnit;
use std::collections::BTreeMap;

/// Every name that can be referred to, gathered before anything is read.
#[derive(Debug, Default)]
pub(super) struct Names {
    pub(super) skus: Vec<String>,
    pub(super) containers: Vec<String>,
    pub(super) supplies: BTreeMap<String, SupplyUnit>,
    pub(super) services: Vec<String>,
    pub(super) printers: Vec<String>,
    pub(super) cards: Vec<String>,
}

/// What a reference refers to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Product,
    Container,
    Supply,
    Service,
    Printer,
    Card,
}

impl Kind {
    fn word(self) -> &'static str {
        match self {
            Self::Product => "product",
            Self::Container => "container",
            Self::Supply => "supply",
            Self::Service => "service",
            Self::Printer => "printer",
            Self::Card => "card",
        }
    }
    fn home(self) -> &'static str {
        match self {
            Self::Product => "products.toml",
            Self::Container | Self::Supply => "packaging.toml",
            Self::Service => "services.toml",
            Self::Printer => "printers.toml",
            Self::Card => "cards/",
        }
    }
}

impl Names {
    fn all(&self, kind: Kind) -> Vec<&str> {
        let list = match kind {
            Kind::Product => &self.skus,
            Kind::Container => &self.containers,
            Kind::Supply => return self.supplies.keys().map(String::as_str).collect(),
            Kind::Service => &self.services,
            Kind::Printer => &self.printers,
            Kind::Card => &self.cards,
        };
        list.iter().map(String::as_str).collect()
    }

    /// Is there such a name? Complains if not.
    pub(super) fn check(&self, section: &Section<'_>, kind: Kind, given: &Given<String>) -> bool {
        let all = self.all(kind);
        if all.contains(&given.value.as_str()) {
            return true;
        }
        let remedy = match nearest(&given.value, all.iter().copied()) {
            Some(near) => format!("did you mean {near:?}?"),
            None if all.is_empty() => format!("{} names none", kind.home()),
            None if all.len() <= LISTED_MAX => format!("{} names {}", kind.home(), all.join(", ")),
            None => format!("add it to {}", kind.home()),
        };
        section.complain(&given.at, format!("there is no {} {:?}", kind.word(), given.value), remedy);
        false
    }

    /// Those of the names that exist; complains about the others.
    pub(super) fn known(&self, section: &Section<'_>, kind: Kind, given: Vec<Given<String>>) -> Vec<String> {
        given.into_iter().filter(|name| self.check(section, kind, name)).map(|name| name.value).collect()
    }
}

/// The way from `start` back to itself, if there is one: the shortest, without `start` at its end.
/// Told once for each circle: only from the member that comes first in `order`.
pub(super) fn circle<'a>(
    start: &'a str,
    next: impl Fn(&str) -> Vec<&'a str>,
    order: impl Fn(&str) -> usize,
) -> Option<Vec<&'a str>> {
    let mut ways = std::collections::VecDeque::from([vec![start]]);
    let mut seen = Vec::new();
    while let Some(way) = ways.pop_front() {
        for step in way.last().map_or_else(Vec::new, |last| next(last)) {
            if step == start {
                return way.iter().all(|member| order(member) >= order(start)).then_some(way);
            }
            if !seen.contains(&step) {
                seen.push(step);
                ways.push_back([way.as_slice(), &[step]].concat());
            }
        }
    }
    None
}

/// So many names are listed in a complaint.
const LISTED_MAX: usize = 12;

/// The known word that is most like what was written, if one is like it at all.
pub(super) fn nearest<'a>(written: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let written = written.to_lowercase();
    let likeness = |word: &str| {
        let word = word.to_lowercase();
        let changes = strsim::damerau_levenshtein(&written, &word);
        // One slip of the finger in three letters, or a common beginning.
        let like = changes <= word.chars().count().max(3) / 3 || strsim::jaro_winkler(&written, &word) > 0.9;
        like.then_some(changes)
    };
    known.filter_map(|word| Some((likeness(word)?, word))).min().map(|(_, word)| word)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn the_nearest_word_is_one_that_a_slip_could_have_meant() {
        let known = ["weight", "width", "shelf", "fragile", "made_of", "Europe/Berlin"];
        for (written, meant) in [
            ("wieght", Some("weight")),
            ("Weight", Some("weight")),
            ("fragil", Some("fragile")),
            ("made-of", Some("made_of")),
            ("europe/berlin", Some("Europe/Berlin")),
            ("colour", None),
            ("", None),
        ] {
            assert_eq!(nearest(written, known.into_iter()), meant, "{written}");
        }
    }
}
