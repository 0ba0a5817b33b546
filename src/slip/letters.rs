//! Which letters of the open orders no face has, or only the last resort: told before they are
//! printed.

use super::clean::{self, MESSAGE_MAX, NAME_MAX};
use super::typeset::{Coverage, Typesetter};
use crate::book::{People, State};
use crate::model::{OrderKey, Person};
use std::collections::BTreeSet;

/// Letters of one order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Uncovered {
    /// The order.
    pub order: OrderKey,
    /// No face has these.
    pub missing: Vec<char>,
    /// Only the embedded last resort has these: one style of letters for all of East Asia.
    pub last_resort: Vec<char>,
}

/// Every open order with letters that want a look.
pub fn uncovered(state: &State, people: &People, setter: &mut Typesetter) -> Vec<Uncovered> {
    let mut found = Vec::new();
    for entry in state.orders.values().filter(|entry| entry.cancelled.is_none()) {
        let Some(person) = people.of(&entry.order.key, entry.version) else { continue };
        let mut letters = BTreeSet::new();
        for text in texts(person) {
            letters.extend(clean::line(text, MESSAGE_MAX.max(NAME_MAX)).chars());
        }
        for line in &entry.order.lines {
            letters.extend(clean::line(&line.name, NAME_MAX).chars());
        }
        letters.retain(|c| !c.is_ascii() && !c.is_whitespace() && !clean::is_pictograph(*c));
        let mut with =
            |coverage| letters.iter().copied().filter(|c| setter.coverage(*c) == coverage).collect::<Vec<_>>();
        let (missing, last_resort) = (with(Coverage::Missing), with(Coverage::LastResort));
        if !missing.is_empty() || !last_resort.is_empty() {
            found.push(Uncovered { order: entry.order.key.clone(), missing, last_resort });
        }
    }
    found
}

fn texts(person: &Person) -> impl Iterator<Item = &str> {
    let alone = [&person.recipient, &person.locality, &person.region, &person.postcode];
    let maybe = [&person.buyer, &person.wish, &person.gift_message];
    alone.into_iter().chain(&person.street).chain(maybe.into_iter().flatten()).map(|text| text.reveal())
}
