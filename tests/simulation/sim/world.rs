//! The world: one program on a simulated disk, its shops, its printer, its people, its clock.
//! Single-threaded, without real time; everything follows from the seed.
//!
//! What `daemon::core` and the ledger's writer do on two threads is done here in one place
//! ([`World::submit`], [`World::commit`]): commands are worked off on a state that runs ahead,
//! their records are written in groups of one or more commands, and answers and effects leave
//! after `append` only. Papers are short texts instead of typeset ones.

use super::checks::Witness;
use super::dice::Dice;
use super::head::Head;
use super::mistakes::Mistake;
use super::people::Expected;
use super::shop::Shop;
use super::story::{Checked, Story};
use super::workshop::{Bench, bench};
use dawnslip::book::{Answer, Busy, Command, Effect, Policy, Record, State, step};
use dawnslip::daemon::shared::Durable;
use dawnslip::ledger::record::to_line;
use dawnslip::ledger::{AppendError, Ledger, LedgerError, SimDisk};
use dawnslip::model::*;
use jiff::civil::DateTime;
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;
use std::time::Duration;

/// Who waits for an answer.
#[derive(Clone)]
pub enum Asker {
    Nobody,
    /// This letter was delivered.
    Shop(usize),
    /// The planner; it comes again when the disk is full.
    Planner(OrderKey, Pins),
    /// The letter that was mapped again.
    Mapper(usize),
    /// The printer's worker.
    Worker(u64),
    /// Somebody at the desk, who then looks whether it was done.
    Person(Vec<Expected>),
}

pub struct Unit {
    pub asker: Asker,
    pub records: Vec<Record>,
    pub effects: Vec<Effect>,
    pub answer: Answer,
}

/// Figures that are added up over worlds.
macro_rules! counts {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {
        /// What worlds went through.
        #[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
        pub struct Counts { $($(#[$doc])* pub $name: u64),* }

        impl Counts {
            pub fn add(&mut self, other: &Self) {
                $(self.$name += other.$name;)*
            }
            /// Each with its name.
            pub fn each(&self) -> Vec<(&'static str, u64)> {
                vec![$((stringify!($name), self.$name)),*]
            }
        }
    };
}

counts! {
    worlds,
    events,
    facts,
    groups,
    messages,
    /// Ends without a clean stop: kills, power cuts, failed ledgers.
    crashes,
    clean_stops,
    full_disks,
    sheets,
    copies,
    /// Papers of parcels that several orders share.
    joined,
    /// Half papers.
    scraps,
    lists,
    archived,
    /// Lines that told of persons.
    erased,
}

pub struct World {
    pub dice: Dice,
    pub mistake: Option<Mistake>,
    pub story: Story,
    pub witness: Witness,
    pub counts: Counts,
    /// The wall clock: it jumps.
    pub now: Timestamp,
    /// Since the world began: it does not.
    pub running: Duration,
    pub disk: SimDisk,
    /// `None` while the program is down.
    pub ledger: Option<Ledger>,
    /// What the disk has confirmed.
    pub durable: Durable,
    /// What the book knows.
    pub ahead: State,
    pub waiting: Vec<Unit>,
    /// Records of the group whose append failed: it may be whole on the disk, or not at all.
    pub attempted: Vec<Record>,
    /// The program's lives so far.
    pub life: u64,
    pub to_plan: Vec<(OrderKey, Pins)>,
    /// Plans that are on their way to the book: what they were made for may change meanwhile.
    pub planned: Vec<Plan>,
    pub to_read: Vec<MessageKey>,
    pub told: BTreeMap<u64, Result<Answer, Busy>>,
    pub tickets: u64,
    pub policy: Policy,
    pub bench: &'static Bench,
    /// The configuration has the missing product.
    pub mended: bool,
    /// Configurations that were put in force so far.
    pub reloads: u64,
    /// Snapshots that were made: at which fact, and the state as JSON.
    pub snapshots: Vec<(u64, Vec<u8>)>,
    /// The last tick, and what the clock on the wall showed then.
    pub last_tick: Option<(Timestamp, DateTime)>,
    pub shop: Shop,
    pub head: Head,
    /// No new trouble any more: everything shall come to rest.
    pub calm: bool,
    /// Asks for a clean stop between two papers.
    pub wants_stop: bool,
    pub full: bool,
    /// Everything is looked at after each group.
    pub each_time: bool,
}

impl World {
    pub fn new(seed: u64, mistake: Option<Mistake>) -> Self {
        let mut dice = Dice::new(seed);
        let bench = bench();
        // Days on which the clocks of the sample's zone change, and one on which they do not.
        let starts = ["2026-10-24T20:00:00Z", "2027-03-27T20:00:00Z", "2026-11-25T05:30:00Z"];
        let start = starts[(seed % 3) as usize];
        let mut policy = dawnslip::config::policy(&bench.plain);
        if seed % 3 < 2 {
            // In the hour that happens twice, or not at all; that day is a Sunday.
            policy.pick_list_at = jiff::civil::time(1, 30, 0, 0);
            policy.closed_weekdays.clear();
        }
        (policy.burst_orders, policy.burst_seconds) = (5, 90);
        policy.archive_after_days = 1;
        if dice.one_in(3) {
            policy.uncertain.insert(PaperKind::Slip, WhenUncertain::Ask);
        }
        if dice.one_in(4) {
            policy.print.insert(super::shop::COUNTING.into(), PrintWhen::WhenPackingStarts);
        }
        let now = start.parse().expect("an instant");
        Self {
            dice,
            mistake,
            story: Story::default(),
            witness: Witness::default(),
            counts: Counts::default(),
            now,
            running: Duration::ZERO,
            disk: SimDisk::new(),
            ledger: None,
            durable: Durable::default(),
            ahead: State::default(),
            waiting: Vec::new(),
            attempted: Vec::new(),
            life: 0,
            to_plan: Vec::new(),
            planned: Vec::new(),
            to_read: Vec::new(),
            told: BTreeMap::new(),
            tickets: 0,
            policy,
            bench,
            mended: false,
            reloads: 0,
            snapshots: Vec::new(),
            last_tick: None,
            shop: Shop::default(),
            head: Head::new(),
            calm: false,
            wants_stop: false,
            full: false,
            each_time: false,
        }
    }

    pub fn has(&self, mistake: Mistake) -> bool {
        self.mistake == Some(mistake)
    }

    pub fn workshop(&self) -> &'static Workshop {
        if self.mended { &self.bench.mended } else { &self.bench.plain }
    }

    /// Time passes for everybody.
    pub fn pass(&mut self, milliseconds: u64) {
        self.running += Duration::from_millis(milliseconds);
        self.now += SignedDuration::from_millis(milliseconds as i64);
    }

    pub fn tell(&mut self, orders: &[OrderKey], what: impl Into<String>) {
        self.story.tell(self.now, orders, what);
    }

    /// One command on the state that runs ahead.
    pub fn submit(&mut self, command: Command, asker: Asker) -> Checked {
        let step = step(&mut self.ahead, command, self.now);
        if self.has(Mistake::AnswersBeforeAppend)
            && let Asker::Shop(letter) = asker
        {
            self.answer_shop(letter, &step.answer)?;
        }
        self.waiting.push(Unit { asker, records: step.records, effects: step.effects, answer: step.answer });
        if self.calm || self.dice.one_in(2) { self.commit() } else { Ok(()) }
    }

    /// Writes what waits as one group, and tells everybody how it went.
    pub fn commit(&mut self) -> Checked {
        let Some(mut ledger) = self.ledger.take() else { return Ok(()) };
        let units = std::mem::take(&mut self.waiting);
        let records = || units.iter().flat_map(|unit| &unit.records);
        let forgets = self.has(Mistake::ForgetsPersons);
        let kept = records().filter(|record| !(forgets && matches!(record, Record::Person(_))));
        let lines: Result<Vec<_>, _> = kept.map(to_line).collect();
        let lines = lines.map_err(|error| super::story::Wrong { order: None, what: error.to_string() })?;
        let first = records().find_map(|record| match record {
            Record::Fact(stamped) => Some(stamped.seq),
            Record::Person(_) => None,
        });
        let first_seq = first.unwrap_or(self.durable.state.seq + 1);
        let written = if lines.is_empty() { Ok(()) } else { ledger.append(first_seq, &lines) };
        let failed = match written {
            Err(AppendError::Failed(_)) if self.has(Mistake::PassesOverFailedSync) => None,
            // Nothing of this kind has to do with the disk.
            Err(AppendError::Failed(error @ LedgerError::Misuse { .. })) => {
                return Err(super::story::Wrong { order: None, what: error.to_string() });
            }
            Err(AppendError::Failed(error)) => Some(error.to_string()),
            Ok(()) => None,
            Err(AppendError::NoRoom(_)) => {
                self.ledger = Some(ledger);
                return self.refuse(units);
            }
        };
        if let Some(why) = failed {
            self.attempted = records().cloned().collect();
            drop(ledger);
            return self.die(&format!("the ledger failed ({why})"), false);
        }
        self.ledger = Some(ledger);
        self.counts.groups += u64::from(!lines.is_empty());
        for unit in units {
            for record in &unit.records {
                self.take_in(record)?;
            }
            for effect in unit.effects {
                self.carry_out(effect);
            }
            self.answer(unit.asker, Ok(unit.answer))?;
        }
        self.look_after_group()
    }

    /// A record that is on the disk.
    fn take_in(&mut self, record: &Record) -> Checked {
        if let Record::Fact(stamped) = record {
            self.counts.facts += 1;
            let orders = self.story.fact(stamped);
            self.witness.touched.extend(orders);
            self.witness.see(&self.durable.state, stamped)?;
        }
        self.durable.fold(record);
        Ok(())
    }

    fn carry_out(&mut self, effect: Effect) {
        match effect {
            Effect::PlanThis { order, pins } => self.to_plan.push((order, pins)),
            Effect::ReadAgain { message } => self.to_read.push(message),
            // The worker looks at the queue by itself.
            Effect::Spool => {}
        }
    }

    /// The disk is full: nothing of these happened.
    fn refuse(&mut self, units: Vec<Unit>) -> Checked {
        self.counts.full_disks += 1;
        self.tell(&[], format!("no room: {} commands are refused", units.len()));
        if !self.has(Mistake::StaysAhead) {
            self.ahead = self.durable.state.clone();
        }
        for unit in units {
            self.answer(unit.asker, Err(Busy::NoRoom))?;
        }
        Ok(())
    }

    fn answer(&mut self, asker: Asker, answer: Result<Answer, Busy>) -> Checked {
        match (asker, answer) {
            (Asker::Worker(ticket), answer) => drop(self.told.insert(ticket, answer)),
            (Asker::Planner(order, pins), Err(_)) => self.to_plan.push((order, pins)),
            (Asker::Shop(letter), Ok(answer)) => return self.answer_shop(letter, &answer),
            (Asker::Mapper(letter), Ok(Answer::Said(_))) => self.mapped_again(letter),
            (Asker::Person(expected), Ok(answer)) => return self.look_whether_done(&expected, &answer),
            _ => {}
        }
        Ok(())
    }

    /// Asks and waits as the printer's worker does: again while the disk is full. `None` when
    /// the program has ended meanwhile.
    pub fn ask(&mut self, command: impl Fn() -> Command) -> Checked<Option<Answer>> {
        let life = self.life;
        loop {
            self.tickets += 1;
            let ticket = self.tickets;
            self.submit(command(), Asker::Worker(ticket))?;
            while self.life == life && !self.told.contains_key(&ticket) {
                self.happen()?;
            }
            if self.life != life {
                return Ok(None);
            }
            match self.told.remove(&ticket) {
                Some(Ok(answer)) => return Ok(Some(answer)),
                _ => self.happen()?,
            }
            if self.life != life {
                return Ok(None);
            }
        }
    }
}
