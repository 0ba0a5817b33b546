//! Data directories with snapshots, several segments, archives and a carry; everything that can be
//! read from one; and how damage to it is told.

use dawnslip::book::*;
use dawnslip::ledger::copies::import::Fold;
use dawnslip::ledger::copies::{Copying, Item};
use dawnslip::ledger::damage::Survey;
use dawnslip::ledger::repair::{Refold, Repaired, repair};
use dawnslip::ledger::survey::{NoSpares, Spares, survey};
use dawnslip::ledger::{
    Disk, Indexer, IndexerState, Installation, InstallationId, Ledger, LedgerError, Line, MemHome, Opened, SimDisk,
    Snapshot, record,
};
use dawnslip::model::{Destination, Hidden, MessageKey, Order, OrderKey, Person};
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;
use std::sync::Arc;

pub fn now() -> Timestamp {
    "2026-11-25T07:00:00Z".parse().unwrap()
}

pub fn order(number: u64) -> OrderKey {
    OrderKey::new("shop", format!("S-{number}"))
}

pub const ID: [u8; 16] = [5; 16];

pub fn open(disk: &SimDisk) -> Result<(Ledger, Opened), LedgerError> {
    Ledger::open_with(Arc::new(disk.clone()), now(), || Ok(Installation { id: InstallationId(ID), key: [6; 32] }))
}

/// State and persons, folded as the daemon folds them.
#[derive(Default, Clone, PartialEq, Debug)]
pub struct Folded {
    pub state: State,
    pub people: People,
}

impl Refold for Folded {
    fn begin(&mut self, snapshot: Option<&Snapshot>) -> Result<(), serde_json::Error> {
        *self = Self::default();
        if let Some(snapshot) = snapshot {
            self.state = serde_json::from_slice(&snapshot.state)?;
            self.people = serde_json::from_slice(&snapshot.people)?;
        }
        Ok(())
    }
}

impl Fold for Folded {
    fn fold(&mut self, record: &Record) {
        match record {
            Record::Person(person) => self.people.apply(person),
            Record::Fact(stamped) => {
                self.state.apply(stamped);
                if let Fact::Archived { orders } = &stamped.fact {
                    orders.iter().for_each(|order| self.people.drop_order(order));
                }
            }
        }
    }
    fn snapshot(&self) -> Result<Snapshot, serde_json::Error> {
        let state = serde_json::to_vec(&self.state)?;
        Ok(Snapshot { seq: self.state.seq, state, people: serde_json::to_vec(&self.people)? })
    }
}

impl Folded {
    pub fn of(opened: &Opened) -> Self {
        let mut folded = Self::default();
        folded.begin(opened.snapshot.as_ref()).unwrap();
        opened.lines.iter().for_each(|line| folded.fold(&record::from_line(line).unwrap()));
        folded
    }
}

/// A workshop's days: a directory that is written to as the daemon does it.
pub struct Days {
    pub disk: SimDisk,
    pub ledger: Ledger,
    pub folded: Folded,
    /// Every line ever written, with the number it goes with.
    pub all: Vec<(u64, Line)>,
    segment_bytes: u64,
}

impl Days {
    pub fn begin(segment_bytes: u64) -> Self {
        let disk = SimDisk::new();
        let mut ledger = open(&disk).unwrap().0;
        ledger.set_segment_bytes(segment_bytes);
        Self { disk, ledger, folded: Folded::default(), all: Vec::new(), segment_bytes }
    }

    /// Writes facts as one group, each order's person behind the fact that brings it.
    pub fn facts(&mut self, facts: Vec<Fact>) {
        let first = self.ledger.next_seq();
        let mut lines = Vec::new();
        for (seq, fact) in (first..).zip(facts) {
            let at = now() + SignedDuration::from_secs(seq as i64 * 60);
            let mut records = Vec::new();
            if let Fact::OrderReceived { order, .. } = &fact {
                let person =
                    Person { recipient: Hidden::new(format!("Zoë {}", order.key.number)), ..Person::default() };
                let person = PersonRecord::Of { v: 1, order: order.key.clone(), version: 1, person: Box::new(person) };
                records.push(Record::Person(person));
            }
            records.insert(0, Record::Fact(Stamped { v: 1, seq, at, fact }));
            for record in records {
                let line = record::to_line(&record).unwrap();
                self.folded.fold(&record);
                self.all.push((seq, line.clone()));
                lines.push(line);
            }
        }
        self.ledger.append(first, &lines).unwrap();
    }

    /// An order comes.
    pub fn comes(&mut self, number: u64) {
        let message = MessageKey { source: "shop".into(), id: format!("m{number}") };
        let content = Order {
            key: order(number),
            revision: None,
            placed: None,
            lines: Vec::new(),
            destination: Destination {
                country: None,
                postcode_head: String::new(),
                address_hash: format!("{number:08x}"),
                post_box: false,
            },
            gift: false,
            hide_buyer: false,
            requested_service: None,
            total: None,
            cancelled: false,
            not_before: None,
            has_wish: false,
            separate: false,
            customer: Default::default(),
            flaws: Vec::new(),
            content_digest: String::new(),
        };
        let kept = MessageOutcome::Orders(vec![order(number)]);
        self.facts(vec![
            Fact::MessageKept { message: message.clone(), body_digest: "d".into(), outcome: kept },
            Fact::OrderReceived { order: Box::new(content), message },
        ]);
    }

    pub fn ends(&mut self, number: u64) {
        self.facts(vec![Fact::OrderCancelled { order: order(number), by: Actor::Person, reason: "r".into() }]);
    }

    pub fn checkpoint(&mut self) {
        self.ledger.checkpoint(&self.folded.snapshot().unwrap()).unwrap();
    }

    pub fn archive(&mut self, numbers: &[u64]) {
        let orders: Vec<OrderKey> = numbers.iter().map(|number| order(*number)).collect();
        self.checkpoint();
        let done = self.ledger.archive(&orders).unwrap();
        assert_eq!(done.orders.len(), orders.len());
        self.facts(vec![Fact::Archived { orders }]);
    }

    /// A quiet second, then a kill.
    pub fn killed(mut self) -> (SimDisk, Folded) {
        self.ledger.seal().unwrap();
        (self.disk, self.folded)
    }
    pub fn stopped(self) -> (SimDisk, Folded) {
        self.ledger.close(now()).unwrap();
        (self.disk, self.folded)
    }
    /// Goes on after a clean stop.
    pub fn again(self) -> Self {
        self.ledger.close(now()).unwrap();
        let mut ledger = open(&self.disk).unwrap().0;
        ledger.set_segment_bytes(self.segment_bytes);
        Self { ledger, ..self }
    }
}

pub const ORDERS: u64 = 7;

/// Two snapshots, several segments, two archives, a carry; small enough to damage every byte.
pub fn small() -> Days {
    let mut days = Days::begin(700);
    for number in 1..=3 {
        days.comes(number);
    }
    days.ends(1);
    days.checkpoint();
    days.archive(&[1]);
    days.comes(4);
    days.ends(3);
    days.facts(vec![Fact::Started { off_since: None, clean: true }]);
    days.archive(&[3]);
    for number in 5..ORDERS {
        days.comes(number);
    }
    days.ends(5);
    days.checkpoint();
    days.comes(ORDERS);
    days.facts(vec![Fact::ModeChanged { mode: Mode::Burst, held: false }]);
    days
}

/// All that a directory holds, as far as anybody can ask for it.
#[derive(Debug, PartialEq)]
pub struct Content {
    pub folded: Folded,
    pub key: [u8; 32],
    /// Numbers of each order's facts, with their instants.
    pub history: BTreeMap<OrderKey, Vec<Stamped>>,
    pub house: Vec<Stamped>,
    pub archived: BTreeMap<OrderKey, (Vec<Stamped>, Vec<String>)>,
}

impl Content {
    /// Reads a copy of `disk`; what opening it said besides.
    pub fn read(disk: &SimDisk) -> Result<(Self, Vec<String>), String> {
        let disk = disk.fork();
        let (ledger, opened) = open(&disk).map_err(|err| err.to_string())?;
        let mut said = opened.notices.clone();
        said.extend(opened.cut_tail.as_ref().map(|cut| format!("{cut:?}")));
        let folded = Folded::of(&opened);
        let indexer = Indexer::spawn(Arc::new(disk.clone()), &opened, MemHome::default()).unwrap();
        let reader = indexer.reader();
        loop {
            match reader.state() {
                IndexerState::Serving => break,
                IndexerState::Broken(why) => return Err(why),
                IndexerState::Rebuilding { .. } => std::thread::yield_now(),
            }
        }
        let archives = ledger.archive_reader();
        let (mut history, mut archived) = (BTreeMap::new(), BTreeMap::new());
        for number in 1..=ORDERS {
            let key = order(number);
            let archived_facts = archives.read(&key).map_err(|err| err.to_string())?;
            let mut facts = archived_facts.as_ref().map(|found| found.facts.clone()).unwrap_or_default();
            let upto = facts.last().map_or(0, |fact| fact.seq);
            facts.extend(reader.facts_of(&key).unwrap().into_iter().filter(|fact| fact.seq > upto));
            history.insert(key.clone(), facts);
            if let Some(found) = archived_facts {
                let mut persons: Vec<String> = found.persons.into_iter().map(|line| line.json).collect();
                persons.sort();
                persons.dedup();
                archived.insert(key, (found.facts, persons));
            }
        }
        let (mut house, mut links) = (Vec::new(), record::Links::default());
        let copying = Copying {
            disk: &disk,
            installation: opened.installation.id,
            upto: opened.last_seq,
            scratch: &SimDisk::new(),
        };
        let copied = copying.run(
            |item| {
                if let Item::Fact { json, .. } = item {
                    let fact = record::fact_from(&json).unwrap();
                    links.take_in(&fact.fact);
                    if links.of_fact(&fact.fact).is_empty() {
                        house.push(fact);
                    }
                }
                Ok(())
            },
            |_| Ok(()),
        );
        said.extend(copied.err().map(|err| err.to_string()));
        said.extend(reader.gap());
        indexer.close();
        Ok((Self { folded, key: opened.installation.key, history, house, archived }, said))
    }

    /// Without what a repair adds.
    pub fn without_repair(mut self) -> Self {
        self.house.retain(|stamped| !matches!(stamped.fact, Fact::Repaired { .. }));
        let last = self.house.iter().chain(self.history.values().flatten()).max_by_key(|stamped| stamped.seq);
        if let Some(last) = last {
            (self.folded.state.seq, self.folded.state.at) = (last.seq, Some(last.at));
        }
        self.folded.state.lost.clear();
        self
    }
}

pub fn look(disk: &SimDisk) -> Survey {
    survey(disk, &NoSpares).unwrap()
}

pub fn mend(disk: &SimDisk, spares: &dyn Spares) -> Option<Repaired> {
    let shared: Arc<dyn Disk> = Arc::new(disk.clone());
    repair(&shared, spares, now(), &mut Folded::default()).unwrap()
}

/// Every file of a directory.
pub fn files(disk: &SimDisk) -> Vec<String> {
    let dirs = ["", "journal", "snapshot", "archive", "history"];
    let each = dirs.into_iter().flat_map(|dir| {
        let names = disk.list(dir).unwrap();
        names.into_iter().map(move |name| if dir.is_empty() { name } else { format!("{dir}/{name}") })
    });
    each.collect()
}

/// The newest file whose name begins so and that holds this text, and where.
pub fn holding_file(disk: &SimDisk, start: &str, text: &str) -> (String, usize) {
    let holding = |file: String| {
        let bytes = disk.read(&file).unwrap();
        let at = bytes.windows(text.len()).position(|window| window == text.as_bytes())?;
        Some((file, at))
    };
    let named = files(disk).into_iter().filter(|file| file.starts_with(start)).rev();
    named.filter_map(holding).next().unwrap_or_else(|| panic!("{text:?} is in no {start}"))
}

/// Damage must be told, or must not matter.
#[track_caller]
pub fn told_or_harmless(disk: &SimDisk, truth: &Content, what: &str) {
    let said = match open(&disk.fork()) {
        Err(why) => {
            let survey = look(disk);
            let text = survey.text();
            assert!(survey.needs_repair(), "{what}: it does not open ({why}), and the survey finds nothing:\n{text}");
            return;
        }
        Ok((_, opened)) => !opened.notices.is_empty() || opened.cut_tail.is_some(),
    };
    if !said && look(disk).damage.is_empty() {
        let (content, gap) = Content::read(disk).unwrap_or_else(|why| panic!("{what}: {why}"));
        assert!(content == *truth && gap.is_empty(), "{what}: silently another state");
    }
}
