//! A workshop in which everything that can go wrong does, from a seed: the book, the ledger on
//! a simulated disk, a printer, a shop, people, a clock.

use crate::book_bench::{SHOP, at, cancelled, flawed, order, plan, policy, revision};
use dawnslip::book::{Action, *};
use dawnslip::daemon::fold;
use dawnslip::daemon::shared::Durable;
use dawnslip::ledger::record::to_line;
use dawnslip::ledger::{AppendError, Installation, Ledger, SimDisk, Snapshot, Trouble};
use dawnslip::model::*;
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// What the world gets wrong on purpose, to show that the checks can fail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mistake {
    /// None: the real order of things.
    None,
    /// Answers leave before the group is synced.
    AnswersBeforeSync,
    /// Bytes leave before `sending` is on disk.
    SendsBeforeSync,
    /// After a crash a job that was in doubt is sent again as if nothing had happened.
    ForgetsDoubt,
    /// Persons are not written.
    LosesPersons,
}

/// A generator of chance (xorshift64*); the same seed gives the same life.
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }
    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }
    pub fn below(&mut self, n: usize) -> usize {
        (self.next() % n.max(1) as u64) as usize
    }
    pub fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }
}

/// A message of the shop, and whether the shop was told that it is kept.
pub struct Sent {
    pub received: Received,
    pub answered: bool,
}

/// A paper in the tray.
#[derive(Debug, Clone)]
pub struct Paper {
    pub job: JobId,
    pub kind: PaperKind,
    pub subject: Subject,
    pub is_copy: bool,
}

/// What leaves the house once a group is synced.
enum Leaves {
    /// To the shop: message number.
    Answer(usize, Answer),
    /// To the printer's worker: leave to send.
    Leave(JobId, Answer),
    Nothing,
}

pub struct World {
    pub chance: Chance,
    pub mistake: Mistake,
    pub now: Timestamp,
    pub disk: SimDisk,
    pub ledger: Option<Ledger>,
    /// Runs ahead of the disk.
    pub ahead: State,
    /// As the disk has confirmed it.
    pub durable: Durable,
    pub sent: Vec<Sent>,
    pub tray: Vec<Paper>,
    pub story: Vec<String>,
    pub crashes: usize,
    /// Facts ever synced, for the check that nothing of them goes.
    pub synced_seq: u64,
    waiting: Vec<(Vec<Record>, Vec<Effect>, Leaves)>,
    to_plan: Vec<(OrderKey, Pins)>,
    /// Jobs whose printer answers late.
    late: Vec<JobId>,
    orders: u32,
    messages: u32,
}

fn installation() -> Installation {
    Installation { id: dawnslip::ledger::InstallationId([7; 16]), key: [9; 32] }
}

impl World {
    pub fn new(seed: u64, mistake: Mistake) -> Self {
        let mut world = Self {
            chance: Chance::new(seed),
            mistake,
            // The clocks of the workshop's zone go back on 25 October.
            now: at("2026-10-23T08:30:00Z"),
            disk: SimDisk::new(),
            ledger: None,
            ahead: State::default(),
            durable: Durable::default(),
            sent: Vec::new(),
            tray: Vec::new(),
            story: Vec::new(),
            crashes: 0,
            synced_seq: 0,
            waiting: Vec::new(),
            to_plan: Vec::new(),
            late: Vec::new(),
            orders: 0,
            messages: 0,
        };
        world.start();
        world
    }

    pub fn tell(&mut self, text: impl Into<String>) {
        let line = format!("{} {}", self.now, text.into());
        self.story.push(line);
    }

    /// Opens the ledger and begins, as the daemon does.
    pub fn start(&mut self) {
        let disk = Arc::new(self.disk.clone());
        let (ledger, opened) = Ledger::open_with(disk, self.now, || Ok(installation()))
            .unwrap_or_else(|e| panic!("it does not open: {e:?}"));
        self.durable = fold(&opened).unwrap_or_else(|e| panic!("it does not fold: {e:?}"));
        assert!(
            self.durable.state.seq >= self.synced_seq,
            "synced facts are gone: {} of {}",
            self.durable.state.seq,
            self.synced_seq
        );
        self.ahead = self.durable.state.clone();
        self.ledger = Some(ledger);
        self.waiting.clear();
        self.to_plan.clear();
        if self.mistake == Mistake::ForgetsDoubt {
            for job in self.ahead.jobs.values_mut() {
                if matches!(job.state, JobState::Sending { .. }) {
                    job.state = JobState::Queued;
                    self.ahead.queue.insert((job.rank, job.id));
                }
            }
            self.durable.state = self.ahead.clone();
        }
        self.tell(format!("start at fact {}", self.ahead.seq));
        let started = Command::Started { last_alive: opened.last_alive, clean: opened.clean };
        if self.mistake != Mistake::ForgetsDoubt || self.crashes == 0 {
            self.run(started, Leaves::Nothing);
        }
        let files = BTreeMap::from([("workshop.toml".to_owned(), "# c1".to_owned())]);
        self.run(Command::Adopt { digest: "c1".into(), policy: Box::new(policy()), files }, Leaves::Nothing);
        self.run(Command::Tick, Leaves::Nothing);
        self.sync();
    }

    fn run(&mut self, command: Command, leaves: Leaves) -> Answer {
        let Step { records, effects, answer } = step(&mut self.ahead, command, self.now);
        let leaves = match leaves {
            Leaves::Answer(message, _) => Leaves::Answer(message, answer.clone()),
            Leaves::Leave(job, _) => Leaves::Leave(job, answer.clone()),
            Leaves::Nothing => Leaves::Nothing,
        };
        let mut unit = (records, effects, leaves);
        if self.mistake == Mistake::AnswersBeforeSync {
            let early = std::mem::replace(&mut unit.2, Leaves::Nothing);
            self.leave(early);
        }
        if self.mistake == Mistake::LosesPersons {
            unit.0.retain(|record| matches!(record, Record::Fact(_)));
        }
        self.waiting.push(unit);
        answer
    }

    /// Writes what waits as one group; only then anything leaves.
    pub fn sync(&mut self) {
        let Some(ledger) = self.ledger.as_mut() else { return };
        let waiting = std::mem::take(&mut self.waiting);
        let facts = waiting.iter().flat_map(|unit| &unit.0);
        let first = facts.clone().find_map(|r| if let Record::Fact(f) = r { Some(f.seq) } else { None });
        let lines: Vec<_> = facts.map(|record| to_line(record).unwrap()).collect();
        let written = match (first, lines.is_empty()) {
            (_, true) => Ok(()),
            (Some(first), _) => ledger.append(first, &lines),
            (None, _) => panic!("persons without a fact"),
        };
        match written {
            Ok(()) => {
                let mut all = Vec::new();
                for (records, effects, leaves) in waiting {
                    for record in &records {
                        self.durable.fold(record);
                    }
                    all.push((effects, leaves));
                }
                self.synced_seq = self.durable.state.seq;
                assert_eq!(self.durable.state, self.ahead, "the fold of what is on disk is not the state");
                for (effects, leaves) in all {
                    for effect in effects {
                        if let Effect::PlanThis { order, pins } = effect {
                            self.to_plan.push((order, pins));
                        }
                    }
                    self.leave(leaves);
                }
            }
            Err(AppendError::NoRoom(_)) => {
                self.tell("no room: fell back to what the disk holds");
                self.ahead = self.durable.state.clone();
                self.disk.set_trouble(Trouble::default());
            }
            Err(AppendError::Failed(_)) => {
                self.tell("the ledger failed: the process stops");
                self.crash();
            }
        }
    }

    fn leave(&mut self, leaves: Leaves) {
        match leaves {
            // The answer may be lost on its way; the shop sends again then.
            Leaves::Answer(message, Answer::Kept { .. }) if !self.chance.one_in(5) => {
                self.sent[message].answered = true;
            }
            Leaves::Leave(job, Answer::Go) => self.print(job),
            _ => {}
        }
    }

    pub fn crash(&mut self) {
        self.ledger = None;
        let seed = self.chance.next();
        self.disk.crash(seed);
        self.crashes += 1;
        self.tell("crash");
        self.start();
    }

    /// One thing happens.
    pub fn happen(&mut self) {
        match self.chance.below(30) {
            0..=5 => self.shop_sends(),
            6 | 7 => self.shop_repeats(),
            8..=12 => self.planner_works(),
            13..=19 => self.printer_asks(),
            20..=22 => self.people_act(),
            23 => self.late_answer(),
            24 | 25 => self.time_passes(),
            26 => self.disk_fails(),
            27 if self.chance.one_in(2) => self.crash(),
            28 if self.chance.one_in(3) => self.checkpoint(),
            _ => {}
        }
        if self.chance.one_in(3) {
            self.sync();
        }
    }

    fn message(&mut self, meaning: Meaning) {
        self.messages += 1;
        let received = Received {
            message: MessageKey { source: SHOP.into(), id: format!("m{}", self.messages) },
            body_digest: format!("d{}", self.messages),
            raw: Hidden::new("{}"),
            meaning,
            archived: BTreeSet::new(),
        };
        self.sent.push(Sent { received, answered: false });
        self.post(self.sent.len() - 1);
    }

    fn post(&mut self, message: usize) {
        let received = self.sent[message].received.clone();
        self.tell(format!("message {} arrives", received.message.id));
        self.run(Command::Receive(Box::new(received)), Leaves::Answer(message, Answer::Done));
    }

    fn shop_sends(&mut self) {
        let number = |n: u32| format!("S-{n}");
        let old = 1 + self.chance.below(self.orders.max(1) as usize) as u32;
        let skus: &[&str] = [&["MUG"][..], &["MUG", "BOWL"], &["GLZ-9"]]
            [usize::from(self.chance.one_in(4)) + usize::from(self.chance.one_in(8))];
        let named = |order: Order| {
            let person = Person { recipient: Hidden::new(format!("customer of {}", order.key)), ..Person::default() };
            Meaning::Orders(vec![(order, person)])
        };
        let revised = self.messages.into();
        let meaning = match self.chance.below(10) {
            0 => Meaning::Unmappable { reason: "no number".into(), pointer: "/x".into() },
            1 => named(cancelled(revision(order(&number(old), skus), revised))),
            2 | 3 => named(revision(order(&number(old), &["MUG", "TEA"]), revised)),
            4 => named(revision(order(&number(old), skus), 0)),
            other => {
                self.orders += 1;
                let fresh = revision(order(&number(self.orders), skus), 1);
                named(if other == 5 { flawed(fresh, FlawKind::NoAddress) } else { fresh })
            }
        };
        self.message(meaning);
    }

    fn shop_repeats(&mut self) {
        let unanswered: Vec<usize> = (0..self.sent.len()).filter(|n| !self.sent[*n].answered).collect();
        let all = self.sent.len();
        if all == 0 {
            return;
        }
        let message = match unanswered.is_empty() {
            true => self.chance.below(all),
            false => unanswered[self.chance.below(unanswered.len())],
        };
        self.post(message);
    }

    fn planner_works(&mut self) {
        if self.to_plan.is_empty() {
            return;
        }
        let which = self.chance.below(self.to_plan.len());
        let (order, pins) = self.to_plan.remove(which);
        if self.durable.state.orders.contains_key(&order) {
            let plan = plan(&self.durable.state, &order, pins);
            self.run(Command::Planned(Box::new(plan)), Leaves::Nothing);
        }
    }

    /// The worker takes the next job of the durable queue and asks for leave.
    fn printer_asks(&mut self) {
        let Some(job) = self.durable.state.next_job(|_| true).map(|job| job.id) else { return };
        if self.mistake == Mistake::SendsBeforeSync {
            self.print(job);
        }
        let send = Command::Send { job, printer: "bench".into(), digest: "b".into() };
        self.run(send, Leaves::Leave(job, Answer::Done));
        self.sync();
    }

    /// Bytes leave; what comes out depends on the day.
    fn print(&mut self, job: JobId) {
        let Some(entry) = self.durable.state.jobs.get(&job).cloned() else { return };
        if matches!(entry.kind, PaperKind::Slip | PaperKind::Card) && self.mistake == Mistake::None {
            let order = self.durable.state.order_of(&entry.subject);
            let order = order.and_then(|key| self.durable.state.orders.get(&key));
            assert!(order.is_some_and(|entry| entry.cancelled.is_none()), "{job} is sent for a cancelled order");
        }
        let paper = Paper { job, kind: entry.kind, subject: entry.subject, is_copy: entry.copy.is_some() };
        let luck = self.chance.below(12);
        if (3..12).contains(&luck) {
            self.tell(format!("{} {job} comes out{}", paper.kind, if paper.is_copy { " (COPY)" } else { "" }));
            self.tray.push(paper);
        }
        let not = |why: &str, left| Command::NotPrinted { job, why: why.into(), left };
        match luck {
            0 => drop(self.run(not("refused", BytesLeft::None), Leaves::Nothing)),
            1 | 2 => drop(self.run(not("broke off", BytesLeft::Some), Leaves::Nothing)),
            3 => {
                self.late.push(job);
                self.run(not("went silent", BytesLeft::Some), Leaves::Nothing);
            }
            // The machine dies before the answer is noted.
            4 => self.crash(),
            _ => drop(self.run(Command::Printed { job, by: Confirmation::ProcessId }, Leaves::Nothing)),
        }
    }

    fn late_answer(&mut self) {
        if let Some(job) = self.late.pop() {
            self.tell(format!("the printer says at last that {job} is printed"));
            self.run(Command::Printed { job, by: Confirmation::ProcessId }, Leaves::Nothing);
        }
    }

    fn people_act(&mut self) {
        let orders: Vec<OrderKey> = self.durable.state.orders.keys().cloned().collect();
        let parcels: Vec<ParcelId> = self.durable.state.parcels.keys().copied().collect();
        let Some(order) = orders.get(self.chance.below(orders.len())).cloned() else { return };
        let parcel = parcels.get(self.chance.below(parcels.len())).copied();
        let jobs: Vec<JobId> = self.durable.state.jobs.keys().copied().collect();
        let job = jobs.get(self.chance.below(jobs.len())).copied();
        let questions = questions(&self.durable.state);
        let action = match (self.chance.below(12), parcel, job) {
            (0, ..) => Action::Hold { order, reason: "a look".into() },
            (1, ..) => Action::Release { order },
            (2, ..) => Action::Cancel { order, reason: "the customer rang".into() },
            (3, Some(parcel), _) => Action::Packed { parcel },
            (4, Some(parcel), _) => Action::Unpack { parcel },
            (5, Some(parcel), _) => Action::HandedOver { parcels: vec![parcel] },
            (6, _, Some(job)) => Action::Reprint { job, reason: "a coffee stain".into() },
            (7, ..) => Action::ListNow,
            (8, ..) => Action::StartPacking,
            (9, ..) => Action::Replan { order },
            _ => match questions.get(self.chance.below(questions.len())) {
                Some(question) => {
                    let words = Decision::WORDS;
                    let decision = words[self.chance.below(words.len())].1;
                    Action::Decide { cause: question.cause.to_string(), decision }
                }
                None => Action::StartPacking,
            },
        };
        self.tell(format!("somebody says {action:?}"));
        self.run(Command::Person(action), Leaves::Nothing);
    }

    fn time_passes(&mut self) {
        let seconds = [1, 30, 600, 3600, 7 * 3600, -1800][self.chance.below(6)];
        self.now += SignedDuration::from_secs(seconds);
        self.run(Command::Tick, Leaves::Nothing);
    }

    fn disk_fails(&mut self) {
        let soon = self.chance.below(4) as u64;
        let operations = self.disk.operations();
        self.disk.set_trouble(match self.chance.below(4) {
            0 => Trouble { cut_before: Some(operations + soon), ..Trouble::default() },
            1 => Trouble { fail_write: Some(soon), ..Trouble::default() },
            2 => Trouble { fail_sync: Some(soon), ..Trouble::default() },
            _ => Trouble { room: Some(0), ..Trouble::default() },
        });
    }

    fn checkpoint(&mut self) {
        self.sync();
        let snapshot = Snapshot {
            seq: self.durable.state.seq,
            state: serde_json::to_vec(&self.durable.state).unwrap(),
            people: serde_json::to_vec(&self.durable.people).unwrap(),
        };
        let made = self.ledger.as_mut().is_some_and(|ledger| ledger.checkpoint(&snapshot).is_ok());
        self.tell(if made { "a snapshot" } else { "no snapshot" });
    }

    /// Everything goes well from here on: what waits is worked off.
    pub fn settle(&mut self) {
        self.disk.set_trouble(Trouble::default());
        self.crash();
        for round in 0..2000 {
            self.sync();
            for message in 0..self.sent.len() {
                if !self.sent[message].answered {
                    self.post(message);
                }
            }
            self.sync();
            while !self.to_plan.is_empty() {
                self.planner_works();
                self.sync();
            }
            self.run(Command::Person(Action::StartPacking), Leaves::Nothing);
            self.sync();
            let Some(job) = self.durable.state.next_job(|_| true).map(|job| job.id) else {
                if self.sent.iter().all(|sent| sent.answered) && self.to_plan.is_empty() {
                    return;
                }
                continue;
            };
            let send = Command::Send { job, printer: "bench".into(), digest: "b".into() };
            if self.run(send, Leaves::Nothing) == Answer::Go {
                self.sync();
                let entry = self.durable.state.jobs[&job].clone();
                self.tray.push(Paper { job, kind: entry.kind, subject: entry.subject, is_copy: entry.copy.is_some() });
                self.run(Command::Printed { job, by: Confirmation::ProcessId }, Leaves::Nothing);
            }
            assert!(round < 1999, "it never comes to rest");
        }
    }
}
