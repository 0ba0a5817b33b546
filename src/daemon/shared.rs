//! What readers see: the state as far as the disk has confirmed it, the persons beside it,
//! and the configuration in force.

use crate::book::{Fact, People, Record, State};
use crate::ledger::Snapshot;
use crate::ledger::copies::import::Fold;
use crate::ledger::repair::Refold;
use crate::model::{MessageKey, Workshop};
use std::sync::{Arc, PoisonError, RwLock, RwLockReadGuard};

/// The fold of all synced facts. The core's own state may run ahead of it; nobody else may
/// see that one.
#[derive(Debug, Default, Clone)]
pub struct Durable {
    /// Fold of the facts.
    pub state: State,
    /// Fold of the person records.
    pub people: People,
}

/// Handles that many threads share. Locks are held for a fold or a copy, never across a wait.
#[derive(Debug)]
pub struct Shared {
    durable: RwLock<Durable>,
    workshop: RwLock<Arc<Workshop>>,
}

impl Shared {
    /// Begins with what the ledger restored.
    pub fn new(durable: Durable, workshop: Arc<Workshop>) -> Self {
        Self { durable: RwLock::new(durable), workshop: RwLock::new(workshop) }
    }

    /// Reads the durable state. Keep it short: the writer waits meanwhile.
    pub fn durable(&self) -> RwLockReadGuard<'_, Durable> {
        self.durable.read().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes in records that are on disk.
    pub fn fold(&self, records: &[Record]) {
        if records.is_empty() {
            return;
        }
        let mut durable = self.durable.write().unwrap_or_else(PoisonError::into_inner);
        for record in records {
            durable.fold(record);
        }
    }

    /// The configuration in force.
    pub fn workshop(&self) -> Arc<Workshop> {
        Arc::clone(&self.workshop.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Puts another configuration in force.
    pub fn adopt(&self, workshop: Arc<Workshop>) {
        *self.workshop.write().unwrap_or_else(PoisonError::into_inner) = workshop;
    }
}

impl Refold for Durable {
    fn begin(&mut self, snapshot: Option<&Snapshot>) -> Result<(), serde_json::Error> {
        *self = Self::default();
        if let Some(snapshot) = snapshot {
            self.state = serde_json::from_slice(&snapshot.state)?;
            self.people = serde_json::from_slice(&snapshot.people)?;
        }
        Ok(())
    }
}

impl Durable {
    /// Takes in one record. Persons of orders that leave the state leave memory with them, and
    /// so do raw bodies of messages whose ids are no longer remembered.
    pub fn fold(&mut self, record: &Record) {
        let stamped = match record {
            Record::Person(person) => return self.people.apply(person),
            Record::Fact(stamped) => stamped,
        };
        self.state.apply(stamped);
        match &stamped.fact {
            Fact::Archived { orders } => orders.iter().for_each(|order| self.people.drop_order(order)),
            Fact::Forgotten { order, .. } => {
                self.people.drop_order(order);
                let state = &self.state;
                self.people.keep_raw(|source, id| !state.orders_of_message(source, id).contains(order));
            }
            Fact::RetentionBegun { before } => {
                let (state, asked) = (&self.state, self.state.asked_messages());
                self.people.keep_raw(|source, id| {
                    let entry = state.messages.get(source).and_then(|ids| ids.get(id));
                    let old = entry.is_none_or(|entry| entry.at < *before);
                    !old || asked.contains(&MessageKey { source: source.clone(), id: id.to_owned() })
                });
            }
            Fact::Swept { .. } => {
                let messages = &self.state.messages;
                self.people.keep_raw(|source, id| messages.get(source).is_some_and(|ids| ids.contains_key(id)));
            }
            _ => {}
        }
    }
}

impl Fold for Durable {
    fn fold(&mut self, record: &Record) {
        Self::fold(self, record);
    }
    fn snapshot(&self) -> Result<Snapshot, serde_json::Error> {
        let (state, people) = (serde_json::to_vec(&self.state)?, serde_json::to_vec(&self.people)?);
        Ok(Snapshot { seq: self.state.seq, state, people })
    }
}
