//! A ledger that a workshop has filled: orders come, are planned, printed, packed and handed over,
//! and go into the archive; the daemon's own fold goes along.
#![allow(dead_code)] // Each test binary uses its own part.

use dawnslip::book::{Action, *};
use dawnslip::daemon::shared::Durable;
use dawnslip::ledger::copies::import::Fold;
use dawnslip::ledger::copies::{CopyError, Copying, Header, Holds, Item, Reader, Source, Writer};
use dawnslip::ledger::{ArchivedOrder, Disk, Installation, InstallationId, Ledger, Opened, record};
use dawnslip::model::*;
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeSet;
use std::sync::Arc;

pub const ID: InstallationId = InstallationId([7; 16]);
pub const KEY: [u8; 32] = [9; 32];

pub fn at(text: &str) -> Timestamp {
    text.parse().expect("an instant")
}

pub struct Filled {
    pub disk: Arc<dyn Disk>,
    pub ledger: Ledger,
    pub durable: Durable,
    pub now: Timestamp,
    /// All facts ever, and all persons' records.
    pub facts: Vec<String>,
    pub persons: BTreeSet<String>,
    pub keys: Vec<OrderKey>,
    policy: Policy,
    make_order: fn(&str) -> Order,
    make_body: fn(&str) -> String,
    make_plan: fn(&State, &OrderKey, Pins) -> Plan,
    to_plan: Vec<(OrderKey, Pins)>,
    /// Facts and persons are remembered for comparisons.
    remember: bool,
    waiting: Vec<dawnslip::ledger::Line>,
}

/// What orders and plans look like.
pub struct Kind {
    pub policy: Policy,
    pub order: fn(&str) -> Order,
    /// A message as it comes.
    pub body: fn(&str) -> String,
    pub plan: fn(&State, &OrderKey, Pins) -> Plan,
    pub segment_bytes: u64,
    pub remember: bool,
}

pub fn open(disk: &Arc<dyn Disk>, now: Timestamp) -> (Ledger, Opened) {
    let installation = Installation { id: ID, key: KEY };
    Ledger::open_with(Arc::clone(disk), now, || Ok(installation)).expect("the ledger opens")
}

impl Filled {
    pub fn new(disk: Arc<dyn Disk>, kind: Kind) -> Self {
        let now = at("2026-11-20T08:00:00Z");
        let (mut ledger, _) = open(&disk, now);
        ledger.set_segment_bytes(kind.segment_bytes);
        let mut filled = Self {
            disk,
            ledger,
            durable: Durable::default(),
            now,
            facts: Vec::new(),
            persons: BTreeSet::new(),
            keys: Vec::new(),
            policy: kind.policy,
            make_order: kind.order,
            make_body: kind.body,
            make_plan: kind.plan,
            to_plan: Vec::new(),
            remember: kind.remember,
            waiting: Vec::new(),
        };
        filled.run(Command::Started { last_alive: None, clean: true });
        let files = [("workshop.toml".to_owned(), "# the workshop".to_owned())].into();
        let adopt = Command::Adopt { digest: "c1".into(), policy: Box::new(filled.policy.clone()), files };
        filled.run(adopt);
        filled
    }

    /// One command, written and folded.
    pub fn run(&mut self, command: Command) -> Answer {
        let mut ahead = std::mem::take(&mut self.durable.state);
        let first = ahead.seq + 1;
        let Step { records, effects, answer } = step(&mut ahead, command, self.now);
        let lines: Vec<_> = records.iter().map(|record| record::to_line(record).expect("a line")).collect();
        if self.remember && !lines.is_empty() {
            self.ledger.append(first, &lines).expect("written");
        }
        if self.remember {
            for (record, line) in records.iter().zip(&lines) {
                match record {
                    Record::Fact(_) => self.facts.push(line.json.clone()),
                    Record::Person(_) => drop(self.persons.insert(line.json.clone())),
                }
            }
        }
        if !self.remember {
            // Many commands share a group.
            self.waiting.extend(lines);
            if self.waiting.len() > 500 {
                self.write_waiting();
            }
        }
        // The step has folded the facts already; persons leave with their orders.
        self.durable.state = ahead;
        for record in &records {
            match record {
                Record::Person(person) => self.durable.people.apply(person),
                Record::Fact(Stamped { fact: Fact::Archived { orders }, .. }) => {
                    orders.iter().for_each(|order| self.durable.people.drop_order(order));
                }
                Record::Fact(Stamped { fact: Fact::Swept { .. }, .. }) => {
                    let messages = &self.durable.state.messages;
                    let known =
                        |source: &SourceName, id: &str| messages.get(source).is_some_and(|m| m.contains_key(id));
                    self.durable.people.keep_raw(known);
                }
                Record::Fact(_) => {}
            }
        }
        for effect in effects {
            if let Effect::PlanThis { order, pins } = effect {
                self.to_plan.push((order, pins));
            }
        }
        answer
    }

    pub fn message(&self, number: &str, meaning: Meaning) -> Command {
        Command::Receive(Box::new(Received {
            message: MessageKey { source: "shop".into(), id: format!("msg_{number}") },
            body_digest: format!("digest of {number}"),
            raw: Hidden::new((self.make_body)(number)),
            meaning,
            archived: BTreeSet::new(),
        }))
    }

    fn person(number: &str) -> Person {
        Person { recipient: Hidden::new(format!("Zoë Ångström {number}")), ..Person::default() }
    }

    /// A message with these orders.
    pub fn receive(&mut self, numbers: &[&str]) -> Answer {
        let orders = numbers.iter().map(|number| ((self.make_order)(number), Self::person(number))).collect();
        let command = self.message(&numbers.join("+"), Meaning::Orders(orders));
        self.keys.extend(numbers.iter().map(|number| OrderKey::new("shop", *number)));
        self.run(command)
    }

    /// Plans what was asked for, and prints what is queued.
    pub fn plan_and_print(&mut self) {
        for (order, pins) in std::mem::take(&mut self.to_plan) {
            let plan = (self.make_plan)(&self.durable.state, &order, pins);
            self.run(Command::Planned(Box::new(plan)));
        }
        while let Some(job) = self.durable.state.next_job(|_| true).map(|job| job.id) {
            self.run(Command::Send { job, printer: "bench".into(), digest: "b".into(), rows: None });
            self.run(Command::Printed { job, by: Confirmation::ProcessId });
        }
    }

    /// Packs and hands over all parcels of an order.
    pub fn finish(&mut self, number: &str) {
        let parcels = self.durable.state.orders[&OrderKey::new("shop", number)].parcels.clone();
        for parcel in &parcels {
            self.run(Command::Person(Action::Packed { parcel: *parcel }));
        }
        self.run(Command::Person(Action::HandedOver { parcels }));
    }

    pub fn later(&mut self, hours: i64) {
        self.now += SignedDuration::from_hours(hours);
        self.run(Command::Tick);
    }

    pub fn write_waiting(&mut self) {
        if !self.waiting.is_empty() {
            self.ledger.append(self.ledger.next_seq(), &self.waiting).expect("written");
            self.waiting.clear();
        }
    }

    pub fn checkpoint(&mut self) {
        self.write_waiting();
        let snapshot = self.durable.snapshot().expect("a snapshot");
        self.ledger.checkpoint(&snapshot).expect("written");
    }

    /// Archives as the daemon does; says how many orders.
    pub fn archive(&mut self) -> usize {
        let closed = self.durable.state.closed_longer_than(self.now);
        if closed.is_empty() {
            return 0;
        }
        self.checkpoint();
        let done = self.ledger.archive(&closed[..closed.len().min(500)]).expect("archived");
        let orders = done.orders.len();
        self.run(Command::Archived { orders: done.orders, upto: done.upto });
        orders
    }

    pub fn header(&self) -> Header {
        Header { holds: Holds::All, installation: ID, key: Some(KEY), upto: self.durable.state.seq, made: self.now }
    }

    pub fn copying(&self) -> Copying<'_> {
        Copying {
            disk: self.disk.as_ref(),
            installation: ID,
            upto: self.durable.state.seq,
            scratch: self.disk.as_ref(),
        }
    }

    /// The copy in one file.
    pub fn export(&self) -> Vec<u8> {
        self.try_export().expect("exported")
    }
    pub fn try_export(&self) -> Result<Vec<u8>, CopyError> {
        let mut writer = Writer::new(Vec::new(), &self.header()).expect("written");
        self.copying().run(|item| writer.item(&item).map_err(|err| panic!("{err}")), |_| Ok(()))?;
        Ok(writer.end().expect("written").0)
    }

    /// Everything about each order, wherever it lies.
    pub fn archived(&self) -> Vec<(OrderKey, Option<ArchivedOrder>)> {
        let reader = self.ledger.archive_reader();
        self.keys.iter().map(|key| (key.clone(), reader.read(key).expect("read"))).collect()
    }
}

pub fn source(bytes: Vec<u8>) -> Source {
    Source { name: "copy.ndjson".into(), lines: Box::new(std::io::Cursor::new(bytes)) }
}

pub fn items(reader: Reader) -> Result<Vec<Item>, CopyError> {
    reader.collect()
}
