//! What is known of persons: kept beside the state, folded from `P` records, never
//! needed by the fold of facts.

use super::PersonRecord;
use crate::model::*;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Persons of the orders in the state, and raw bodies that wait for a better mapping.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct People {
    persons: BTreeMap<OrderKey, BTreeMap<u32, Person>>,
    raw: BTreeMap<SourceName, BTreeMap<String, Hidden>>,
    #[serde(default)]
    said: BTreeMap<OrderKey, BTreeMap<Timestamp, Hidden>>,
}

impl People {
    /// Takes in one record.
    pub fn apply(&mut self, record: &PersonRecord) {
        match record {
            PersonRecord::Of { order, version, person, .. } => {
                self.persons.entry(order.clone()).or_default().insert(*version, (**person).clone());
            }
            PersonRecord::Raw { message, body, .. } => {
                self.raw.entry(message.source.clone()).or_default().insert(message.id.clone(), body.clone());
            }
            PersonRecord::Said { order, at, text, .. } => {
                self.said.entry(order.clone()).or_default().insert(*at, text.clone());
            }
        }
    }
    /// The person of an order's version; `None` once forgotten.
    pub fn of(&self, order: &OrderKey, version: u32) -> Option<&Person> {
        self.persons.get(order)?.get(&version)
    }
    /// A raw body that is still kept here.
    pub fn raw(&self, message: &MessageKey) -> Option<&Hidden> {
        self.raw.get(&message.source)?.get(&message.id)
    }
    /// What a person typed with the fact of this instant about this order.
    pub fn said(&self, order: &OrderKey, at: Timestamp) -> Option<&Hidden> {
        self.said.get(order)?.get(&at)
    }
    /// Drops an order's persons from memory (archived or forgotten), and what was typed about it.
    pub fn drop_order(&mut self, order: &OrderKey) {
        self.persons.remove(order);
        self.said.remove(order);
    }
    /// Drops raw bodies from memory that nothing can ask for any more: the ledger still has them.
    pub fn keep_raw(&mut self, mut wanted: impl FnMut(&SourceName, &str) -> bool) {
        for (source, bodies) in &mut self.raw {
            bodies.retain(|id, _| wanted(source, id));
        }
    }
}
