//! Records of the book as lines of the ledger, and back; and whose they are.

use super::{LedgerError, Line, Tag, with_causes};
use crate::book::{About, Fact, PersonRecord, RECORD_VERSION, Record, Stamped, about};
use crate::model::{JobId, MessageKey, OrderKey, ParcelId};
use serde::Deserialize;
use std::collections::BTreeMap;

/// Why a line is no record, or a record no line.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// Written by a newer program.
    #[error("{what} is stored as version {version}, the newest known here is {newest}; use a newer dawnslip")]
    Version {
        /// Which record: `record 17` or `the person of order shop/S-1`.
        what: String,
        /// Its version.
        version: u8,
        /// The newest that this program knows.
        newest: u8,
    },
    /// It does not have the form that its version says. For a person's line the cause is left out:
    /// it could quote what must stay hidden.
    #[error("{what} cannot be read")]
    Form {
        /// Which record.
        what: String,
        /// Why.
        #[source]
        cause: Option<serde_json::Error>,
    },
    /// It cannot be written as JSON.
    #[error("{what} cannot be written")]
    Write {
        /// Which record.
        what: String,
        /// Why.
        #[source]
        cause: serde_json::Error,
    },
}

/// Only what every version has.
#[derive(Deserialize)]
struct FactStart {
    v: u8,
    seq: Option<u64>,
}

/// Only what every version has.
#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum PersonStart {
    Of { v: u8, order: OrderKey },
    Raw { v: u8, message: MessageKey },
    Said { v: u8, order: OrderKey },
}

/// A record as it is written.
///
/// # Errors
/// [`RecordError::Write`], which no record of today can cause.
pub fn to_line(record: &Record) -> Result<Line, RecordError> {
    let (tag, json) = match record {
        Record::Fact(fact) => (Tag::Fact, serde_json::to_string(fact)),
        Record::Person(person) => (Tag::Person, serde_json::to_string(person)),
    };
    let json = json.map_err(|cause| RecordError::Write { what: name_of(record), cause })?;
    Ok(Line { tag, json })
}

/// A fact as it is written.
pub(super) fn fact_json(stamped: Stamped) -> Result<String, LedgerError> {
    let line = to_line(&Record::Fact(stamped));
    line.map(|line| line.json).map_err(|err| LedgerError::Misuse { what: with_causes(&err) })
}

/// The orders that this fact, if it is such a one, says are archived.
pub(super) fn archived_by(json: &str) -> Vec<OrderKey> {
    if !json.contains("\"archived\":") {
        return Vec::new();
    }
    match fact_from(json).map(|stamped| stamped.fact) {
        Ok(Fact::Archived { orders }) => orders,
        _ => Vec::new(),
    }
}

fn name_of(record: &Record) -> String {
    match record {
        Record::Fact(fact) => format!("record {}", fact.seq),
        Record::Person(PersonRecord::Of { order, .. }) => format!("the person of order {order}"),
        Record::Person(PersonRecord::Said { order, .. }) => format!("what was typed about order {order}"),
        Record::Person(PersonRecord::Raw { message, .. }) => format!("message {} of {}", message.id, message.source),
    }
}

/// A line read back.
///
/// # Errors
/// [`RecordError::Version`] and [`RecordError::Form`].
pub fn from_line(line: &Line) -> Result<Record, RecordError> {
    match line.tag {
        Tag::Fact => fact_from(&line.json).map(Record::Fact),
        Tag::Person => person_from(&line.json).map(Record::Person),
    }
}

/// A fact read back from its JSON.
///
/// # Errors
/// As [`from_line`].
pub fn fact_from(json: &str) -> Result<Stamped, RecordError> {
    // One of today's version needs no second look.
    if let Ok(fact) = serde_json::from_str::<Stamped>(json)
        && fact.v == RECORD_VERSION
    {
        return Ok(fact);
    }
    let start: FactStart = serde_json::from_str(json)
        .map_err(|cause| RecordError::Form { what: "a record".to_owned(), cause: Some(cause) })?;
    let what = || start.seq.map_or_else(|| "a record".to_owned(), |seq| format!("record {seq}"));
    check_version(start.v, what)?;
    serde_json::from_str(json).map_err(|cause| RecordError::Form { what: what(), cause: Some(cause) })
}

/// A person's record read back from its JSON.
///
/// # Errors
/// As [`from_line`].
pub fn person_from(json: &str) -> Result<PersonRecord, RecordError> {
    let start: PersonStart = serde_json::from_str(json)
        .map_err(|_| RecordError::Form { what: "the record of a person".to_owned(), cause: None })?;
    let (v, what) = match start {
        PersonStart::Of { v, order } => (v, format!("the person of order {order}")),
        PersonStart::Said { v, order } => (v, format!("what was typed about order {order}")),
        PersonStart::Raw { v, message } => (v, format!("message {} of {}", message.id, message.source)),
    };
    check_version(v, || what.clone())?;
    serde_json::from_str(json).map_err(|_| RecordError::Form { what, cause: None })
}

fn check_version(version: u8, what: impl FnOnce() -> String) -> Result<(), RecordError> {
    if version == RECORD_VERSION {
        return Ok(());
    }
    Err(RecordError::Version { what: what(), version, newest: RECORD_VERSION })
}

/// Which orders parcels, jobs and messages belong to; grows with the facts it is shown, in order.
#[derive(Debug, Default)]
pub struct Links {
    parcels: BTreeMap<ParcelId, Vec<OrderKey>>,
    jobs: BTreeMap<JobId, Vec<OrderKey>>,
    messages: BTreeMap<MessageKey, Vec<OrderKey>>,
}

impl Links {
    /// Takes in a fact.
    pub fn take_in(&mut self, fact: &Fact) {
        match fact {
            Fact::Planned { parcels, .. } => {
                let orders = self.of_fact(fact);
                self.parcels.extend(parcels.iter().map(|parcel| (*parcel, orders.clone())));
            }
            Fact::JobQueued { job, .. } => drop(self.jobs.insert(*job, self.of_fact(fact))),
            Fact::MessageKept { message, .. } => drop(self.messages.insert(message.clone(), self.of_fact(fact))),
            _ => {}
        }
    }
    /// Orders that a fact belongs to; none for the house's.
    pub fn of_fact(&self, fact: &Fact) -> Vec<OrderKey> {
        match about(fact) {
            About::Orders(orders) => orders,
            About::Parcel(parcel) => self.parcels.get(&parcel).cloned().unwrap_or_default(),
            About::Job(job) => self.jobs.get(&job).cloned().unwrap_or_default(),
            About::House => Vec::new(),
        }
    }
    /// Orders that a record belongs to; none for the house's.
    pub fn of_record(&self, record: &Record) -> Vec<OrderKey> {
        match record {
            Record::Fact(fact) => self.of_fact(&fact.fact),
            Record::Person(PersonRecord::Of { order, .. } | PersonRecord::Said { order, .. }) => vec![order.clone()],
            Record::Person(PersonRecord::Raw { message, .. }) => {
                self.messages.get(message).cloned().unwrap_or_default()
            }
        }
    }
}
