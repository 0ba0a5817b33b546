//! Two rules that cannot both have their way.

use crate::model::{Action, Rule};

/// Why no parcel could obey both, in words; `None` where one could.
///
/// Two rules that require different containers may both be obeyed by one standing in the other, and are
/// left to the search.
pub fn between(first: &Rule, second: &Rule) -> Option<String> {
    forbidden(first, second).or_else(|| forbidden(second, first)).or_else(|| different_services(first, second))
}

/// Do both apply whenever the first one does, as far as their text tells?
pub fn together(first: &Rule, second: &Rule) -> bool {
    let words = |rule: &Rule| rule.when.split_whitespace().collect::<Vec<_>>().join(" ");
    let (first, second) = (words(first), words(second));
    first == second || first == "true" || second == "true"
}

/// All that the one requires is forbidden by the other.
fn forbidden(requires: &Rule, forbids: &Rule) -> Option<String> {
    let containers: Vec<_> = all(forbids, |action| match action {
        Action::ForbidContainer(names) => Some(names),
        _ => None,
    });
    let services: Vec<_> = all(forbids, |action| match action {
        Action::ForbidService(names) => Some(names),
        _ => None,
    });
    let what = requires.then.iter().find_map(|action| match action {
        Action::RequireContainer(names) if names.iter().all(|name| containers.contains(&name)) => Some(spoken(names)),
        Action::RequireService(names) if names.iter().all(|name| services.contains(&name)) => Some(spoken(names)),
        _ => None,
    })?;
    Some(match requires.name == forbids.name {
        true => format!("it requires {what} and forbids the same"),
        false => format!("the rule \"{}\" requires {what}, the rule \"{}\" forbids it", requires.name, forbids.name),
    })
}

/// Each requires a service that the other does not allow.
fn different_services(first: &Rule, second: &Rule) -> Option<String> {
    let required = |rule: &Rule| {
        let sets = rule.then.iter().filter_map(|action| match action {
            Action::RequireService(names) => Some(names.clone()),
            _ => None,
        });
        sets.collect::<Vec<_>>()
    };
    let pairs = required(first).into_iter().flat_map(|a| required(second).into_iter().map(move |b| (a.clone(), b)));
    let (a, b) = pairs.into_iter().find(|(a, b)| !a.iter().any(|name| b.contains(name)))?;
    let (a, b) = (spoken(&a), spoken(&b));
    Some(format!("the rule \"{}\" requires {a}, the rule \"{}\" requires {b}", first.name, second.name))
}

fn all<'r, T>(rule: &'r Rule, of: impl Fn(&'r Action) -> Option<&'r Vec<T>>) -> Vec<&'r T> {
    rule.then.iter().filter_map(of).flatten().collect()
}

fn spoken<T: std::fmt::Display>(names: &[T]) -> String {
    names.iter().map(ToString::to_string).collect::<Vec<_>>().join(" or ")
}

/// One way to send: the containers of a parcel, or its service.
pub type Way<'n> = Vec<&'n str>;

/// Rules that together leave none of these ways, as few of them as do, and what each says; `None` where a
/// way is left, or a single rule leaves none (then the search says more).
pub fn among<'r>(rules: &[&'r Rule], ways: &[Way<'_>], about: About) -> Option<(Vec<&'r Rule>, String)> {
    let leave_none = |rules: &[&Rule]| {
        let obeyed = |way: &Way<'_>| rules.iter().flat_map(|rule| &rule.then).all(|action| about.allows(action, way));
        !ways.iter().any(obeyed)
    };
    let mut concerned: Vec<&Rule> = rules.to_vec();
    if ways.is_empty() || !leave_none(&concerned) {
        return None;
    }
    for rule in rules {
        let others: Vec<&Rule> = concerned.iter().copied().filter(|other| other.name != rule.name).collect();
        if leave_none(&others) {
            concerned = others;
        }
    }
    let says = |rule: &&Rule| {
        let said: Vec<String> = rule.then.iter().filter_map(|action| about.spoken(action)).collect();
        format!("the rule \"{}\" {}", rule.name, said.join(" and "))
    };
    let what = concerned.iter().map(says).collect::<Vec<_>>().join(", ");
    (concerned.len() > 1).then_some((concerned, what))
}

/// What rules quarrel about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum About {
    /// Containers.
    Containers,
    /// Services.
    Services,
}

impl About {
    /// What an action requires or forbids of this: true where it requires.
    fn named(self, action: &Action) -> Option<(bool, Vec<&str>)> {
        match (self, action) {
            (Self::Containers, Action::RequireContainer(names)) => Some((true, texts(names))),
            (Self::Containers, Action::ForbidContainer(names)) => Some((false, texts(names))),
            (Self::Services, Action::RequireService(names)) => Some((true, texts(names))),
            (Self::Services, Action::ForbidService(names)) => Some((false, texts(names))),
            _ => None,
        }
    }
    fn allows(self, action: &Action, way: &Way<'_>) -> bool {
        self.named(action).is_none_or(|(required, names)| required == way.iter().any(|name| names.contains(name)))
    }
    fn spoken(self, action: &Action) -> Option<String> {
        let (required, names) = self.named(action)?;
        let verb = if required { "requires" } else { "forbids" };
        Some(format!("{verb} {}", names.join(" or ")))
    }
}

fn texts<T: AsRef<str>>(names: &[T]) -> Vec<&str> {
    names.iter().map(AsRef::as_ref).collect()
}
