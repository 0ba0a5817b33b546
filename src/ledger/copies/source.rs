//! Reads a whole ledger in the order of the journal, from files that do not change any more:
//! archives and carry through the sorter, then the segments behind them.
//!
//! While it reads, nobody may move or remove files of the data directory (archiving waits);
//! appending to the journal goes on, and what is appended later is left out.

use super::read::Numbered;
use super::sorter::Sorter;
use super::{CopyError, Item};
use crate::book::{Actor, Fact, PersonRecord, Record, Stamped, StopKind};
use crate::ledger::archive::History;
use crate::ledger::{Disk, InstallationId, LedgerError, NumberedLine, Tag, record, segment};
use crate::model::{MessageKey, OrderKey};
use jiff::Timestamp;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet, HashSet};

/// How far a copy is; told after each file and every so many records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// So many of the archives' files are read.
    Gathered {
        /// So far.
        files: usize,
        /// Of.
        of: usize,
    },
    /// Everything up to this fact has been given.
    Given {
        /// So far.
        seq: u64,
        /// Of.
        of: u64,
    },
}

impl std::fmt::Display for Step {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Gathered { files, of } => write!(f, "file {files} of {of}"),
            Self::Given { seq, of } => write!(f, "fact {seq} of {of}"),
        }
    }
}

/// Steps are told at least once in so many facts.
pub(super) const STEP_FACTS: u64 = 256;

/// A ledger that is to be copied up to one fact.
pub struct Copying<'a> {
    /// The data directory.
    pub disk: &'a dyn Disk,
    /// Its installation.
    pub installation: InstallationId,
    /// The last fact that belongs to the copy; it must be durable.
    pub upto: u64,
    /// Where the sorter may put its pieces.
    pub scratch: &'a dyn Disk,
}

/// What introduces a person's record: the place of the record is where that fact stands.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Introduced {
    Version(OrderKey, u32),
    Message(MessageKey),
    Typed(Timestamp),
}

/// Words without which a fact's JSON introduces nothing.
const INTRODUCERS: [&str; 7] = [
    "order_received",
    "order_revised",
    "order_contradicted",
    "message_kept",
    "\"held\"",
    "order_cancelled",
    "\"copy\":{",
];

impl Introduced {
    fn by(stamped: &Stamped) -> Option<Self> {
        match &stamped.fact {
            Fact::OrderReceived { order, .. } => Some(Self::Version(order.key.clone(), 1)),
            Fact::OrderRevised { order, version, .. } | Fact::OrderContradicted { order, version } => {
                Some(Self::Version(order.key.clone(), *version))
            }
            Fact::MessageKept { message, .. } => Some(Self::Message(message.clone())),
            // What people type stands beside one of these.
            Fact::StopPut { stop: StopKind::Held { rule: None, .. }, .. }
            | Fact::OrderCancelled { by: Actor::Person, .. }
            | Fact::JobQueued { copy: Some(_), .. } => Some(Self::Typed(stamped.at)),
            _ => None,
        }
    }
    fn person(person: &PersonRecord) -> Self {
        match person {
            PersonRecord::Of { order, version, .. } => Self::Version(order.clone(), *version),
            PersonRecord::Raw { message, .. } => Self::Message(message.clone()),
            PersonRecord::Said { at, .. } => Self::Typed(*at),
        }
    }
}

/// How sure a place is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Place {
    Certain,
    Guessed,
}

/// Places of the facts that introduce persons' records, within one file.
#[derive(Default)]
struct Places {
    of: BTreeMap<Introduced, u64>,
    last: u64,
}

impl Places {
    fn note(&mut self, seq: u64, json: &str) -> Result<(), record::RecordError> {
        self.last = self.last.max(seq);
        // Most facts introduce nothing, and are not worth being read whole.
        if INTRODUCERS.iter().any(|name| json.contains(name))
            && let Some(introduced) = Introduced::by(&record::fact_from(json)?)
        {
            self.of.entry(introduced).or_insert(seq);
        }
        Ok(())
    }
    /// Where a person's record belongs, and whether another file of the ledger would say the same.
    fn of_person(&self, json: &str) -> Result<(u64, Place), record::RecordError> {
        let introduced = Introduced::person(&record::person_from(json)?);
        Ok(match self.of.get(&introduced) {
            Some(place) if matches!(introduced, Introduced::Typed(_)) => (*place, Place::Guessed),
            Some(place) => (*place, Place::Certain),
            // Behind all that the file says of the order: what drops the record comes later still.
            None => (self.last, Place::Guessed),
        })
    }
}

fn unreadable(file: &str, err: &record::RecordError) -> CopyError {
    LedgerError::bad_file(file, err.to_string()).into()
}

fn number_of(file: &str, json: &str) -> Result<u64, CopyError> {
    let numbered: Numbered =
        serde_json::from_str(json).map_err(|_| LedgerError::bad_file(file, "a record of it has no number"))?;
    Ok(numbered.seq)
}

impl Copying<'_> {
    /// Gives every fact up to `upto`, each once, in order, and each person's record behind the
    /// fact that introduced it. `step` is told how far it is, may take its time there, and ends it.
    ///
    /// # Errors
    /// Damage, a fact that is in no file, what the disk says, and those of `take` and `step`.
    pub fn run(
        &self,
        mut take: impl FnMut(Item) -> Result<(), CopyError>,
        mut step: impl FnMut(Step) -> Result<(), CopyError>,
    ) -> Result<(), CopyError> {
        let history = History { disk: self.disk, id: self.installation };
        let carried = history.carry_upto()?.unwrap_or(0).min(self.upto);
        let mut sorter = Sorter::new(self.scratch)?;
        let mut late = BTreeSet::new();
        let mut add = |item: Item| {
            let place = item.place();
            match item {
                // What the segments hold is read there.
                Item::Fact { .. } if place > carried => Ok(()),
                Item::Person { json, .. } if place > carried => {
                    late.insert(json);
                    Ok(())
                }
                item => sorter.add(&item),
            }
        };
        self.gather(history, &mut add, &mut step)?;
        // A message that was read again after a better mapping led to facts long after its body.
        for json in self.not_in_segments(carried, late)? {
            sorter.add(&Item::Person { after: carried, json })?;
        }

        let mut next = 1;
        let mut give = |item: Item| {
            if let Item::Fact { seq, .. } = &item {
                if *seq != next {
                    let what = format!("record {next} is in no file");
                    return Err(LedgerError::Incomplete { what }.into());
                }
                next += 1;
            }
            let place = item.place();
            take(item)?;
            if place.is_multiple_of(STEP_FACTS) { step(Step::Given { seq: place, of: self.upto }) } else { Ok(()) }
        };
        sorter.each(&mut give)?;
        self.segments(carried, &mut give)?;
        if next != self.upto + 1 {
            return Err(LedgerError::Incomplete { what: format!("record {next} is in no file") }.into());
        }
        step(Step::Given { seq: self.upto, of: self.upto })
    }

    /// Reads archives and carry.
    fn gather(
        &self,
        history: History<'_>,
        add: &mut impl FnMut(Item) -> Result<(), CopyError>,
        step: &mut impl FnMut(Step) -> Result<(), CopyError>,
    ) -> Result<(), CopyError> {
        // The same record in two files gets the same place, unless that is a guess.
        let mut guessed = HashSet::new();
        let mut add_person = |file: &str, places: &Places, json: String, add: &mut dyn FnMut(Item) -> _| {
            let (after, place) = places.of_person(&json).map_err(|err| unreadable(file, &err))?;
            if place == Place::Guessed && !guessed.insert(<[u8; 32]>::from(Sha256::digest(&json))) {
                return Ok(());
            }
            add(Item::Person { after, json })
        };
        let files = history.archive_files()?;
        for (at, path) in files.iter().enumerate() {
            let mut places: BTreeMap<Option<OrderKey>, Places> = BTreeMap::new();
            for (order, records) in history.entries(path, Tag::Fact)? {
                let places = places.entry(order).or_default();
                for json in records {
                    let seq = number_of(path, &json)?;
                    places.note(seq, &json).map_err(|err| unreadable(path, &err))?;
                    add(Item::Fact { seq, json })?;
                }
            }
            for (order, records) in history.entries(path, Tag::Person)? {
                let places = places.entry(order).or_default();
                for json in records {
                    add_person(path, places, json, add)?;
                }
            }
            step(Step::Gathered { files: at + 1, of: files.len() })?;
        }
        let mut places = Places::default();
        let mut trouble = None;
        history.each_carried(|NumberedLine { line, .. }| {
            let added = match line.tag {
                Tag::Fact => number_of("history", &line.json).and_then(|seq| {
                    places.note(seq, &line.json).map_err(|err| unreadable("history", &err))?;
                    add(Item::Fact { seq, json: line.json })
                }),
                Tag::Person => add_person("history", &places, line.json, add),
            };
            trouble = trouble.take().or(added.err());
        })?;
        trouble.map_or(Ok(()), Err)
    }

    /// Those of the persons' records that do not stand in segments behind the fact `after`.
    fn not_in_segments(&self, after: u64, mut persons: BTreeSet<String>) -> Result<BTreeSet<String>, CopyError> {
        if !persons.is_empty() {
            segment::read_lines(self.disk, self.installation, after, self.upto, |NumberedLine { line, .. }| {
                if line.tag == Tag::Person {
                    persons.remove(&line.json);
                }
            })?;
        }
        Ok(persons)
    }

    /// Reads the segments behind the fact `after`.
    fn segments(&self, after: u64, give: &mut impl FnMut(Item) -> Result<(), CopyError>) -> Result<(), CopyError> {
        let mut trouble = None;
        let mut place = after;
        let mut persons = Vec::new();
        let mut take = |NumberedLine { seq, line }| {
            if trouble.is_some() {
                return;
            }
            match line.tag {
                Tag::Person => persons.push(Item::Person { after: place, json: line.json }),
                Tag::Fact => {
                    place = seq;
                    let fact = Item::Fact { seq, json: line.json };
                    trouble = persons.drain(..).chain([fact]).try_for_each(&mut *give).err();
                }
            }
        };
        segment::read_lines(self.disk, self.installation, after, self.upto, &mut take)?;
        trouble.map_or(Ok(()), Err)?;
        // A message's body stands ahead of the facts that it led to: one that stands behind the last
        // fact belongs to a message that came later.
        for person in persons {
            let raw = matches!(record_of(&person), Ok(Record::Person(PersonRecord::Raw { .. })));
            if !raw {
                give(person)?;
            }
        }
        Ok(())
    }
}

/// The records that are told apart by their tag, for callers that fold.
pub(super) fn record_of(item: &Item) -> Result<Record, record::RecordError> {
    match item {
        Item::Fact { json, .. } => record::fact_from(json).map(Record::Fact),
        Item::Person { json, .. } => record::person_from(json).map(Record::Person),
    }
}
