//! The fold: one fact at a time into the state. Total: a fact about something that is not
//! there changes nothing. It never needs a person's record.

use super::about::about_paper;
use super::*;
use crate::model::*;
use jiff::Timestamp;
use std::collections::BTreeSet;

/// Times off that are remembered.
const OUTAGES_MAX: usize = 20;
/// Arrivals that are counted at most, whatever the policy says.
const ARRIVALS_MAX: usize = 10_000;

/// More parcels than this are never planned for one order at once.
const PARCELS_OF_ONE_FACT: u64 = 500;
/// Stands for the printer where nobody knows whether a job was sent.
pub(super) const LOST_PRINTER: &str = "?";

impl State {
    /// Takes in one fact. Never fails, never panics.
    pub fn apply(&mut self, stamped: &Stamped) {
        self.seq = stamped.seq;
        self.at = Some(stamped.at);
        match &stamped.fact {
            // These may change something about every order.
            Fact::RecordsLost { .. } | Fact::Restored { .. } | Fact::ReplanAsked { .. } => {
                self.take_in(stamped);
                self.tally = self.count();
            }
            fact => self.tallied(&self.counted_orders(fact), |state| state.take_in(stamped)),
        }
        for key in self.orders_of(&stamped.fact) {
            self.with_order(&key, |entry| entry.last_fact = stamped.seq);
        }
        if self.careful && self.tally.asked().next().is_none() {
            self.careful = false;
        }
    }

    /// The orders whose plan, question to the planner, stops, parcels, papers or end a fact may change: what
    /// the state counts. One left out here shows in the book's tests, which count anew after every command.
    fn counted_orders(&self, fact: &Fact) -> BTreeSet<OrderKey> {
        let of_parcel = |parcel: &ParcelEntry| parcel.orders.iter().cloned().collect();
        let of_job = |job: &JobId| {
            let subject = &self.jobs.get(job)?.subject;
            let parcel = subject.parcel().and_then(|parcel| self.parcels.get(&parcel));
            Some(parcel.map_or_else(|| self.order_of(subject).into_iter().collect(), of_parcel))
        };
        match fact {
            Fact::OrderReceived { order, .. } | Fact::OrderRevised { order, .. } => [order.key.clone()].into(),
            Fact::Planned { plan, .. } => plan.orders().cloned().collect(),
            Fact::Parted { orders, .. } | Fact::Archived { orders } => orders.iter().cloned().collect(),
            Fact::OrderCancelled { order, .. }
            | Fact::OrderReopened { order, .. }
            | Fact::PlanAsked { order, .. }
            | Fact::NotJoined { order, .. }
            | Fact::StopPut { order: Some(order), .. }
            | Fact::StopLifted { order: Some(order), .. } => [order.clone()].into(),
            Fact::ParcelMoved { parcel, .. } => self.parcels.get(parcel).map(of_parcel).unwrap_or_default(),
            Fact::JobSending { job, .. }
            | Fact::JobRequeued { job, .. }
            | Fact::JobUncertain { job, .. }
            | Fact::JobOnPaper { job, .. }
            | Fact::JobDropped { job, .. } => of_job(job).unwrap_or_default(),
            _ => BTreeSet::new(),
        }
    }

    fn take_in(&mut self, stamped: &Stamped) {
        let at = stamped.at;
        match &stamped.fact {
            Fact::MessageKept { message, body_digest, outcome } => self.keep_message(message, body_digest, outcome, at),
            Fact::OrderReceived { order, message } => self.take_order(order, message, at),
            Fact::OrderRevised { order, version, message, differences } => {
                self.revise(order, *version, message, differences, at);
            }
            Fact::OrderContradicted { order, version } => {
                self.with_order(&order.key, |entry| entry.contender = Some(((**order).clone(), *version)));
            }
            Fact::CancellationRemembered { order, revision } => {
                self.cancelled_before.insert(order.clone(), CancelledBefore { revision: *revision, at });
                self.note_number(order);
            }
            Fact::OrderCancelled { order, by, reason } => self.with_order(order, |entry| {
                entry.cancelled = Some(Cancelled { at, by: *by, reason: reason.clone() });
                // A cancellation ends everything that stood around the order.
                entry.stops.clear();
                entry.contender = None;
                entry.asked = None;
                entry.plan_started = false;
            }),
            Fact::OrderReopened { order, .. } => {
                self.cancelled_before.remove(order);
                let paper = self.paper_out(order);
                self.with_order(order, |entry| {
                    entry.cancelled = None;
                    if paper && !entry.differences.iter().any(Difference::is_open_again) {
                        entry.differences.push(Difference::OpenAgain);
                    }
                });
            }
            Fact::PlanAsked { order, pins, anew } => self.with_order(order, |entry| {
                entry.asked = Some(pins.clone());
                entry.anew |= anew;
            }),
            Fact::ReplanAsked { .. } => {
                for key in self.not_printed() {
                    self.with_order(&key, |entry| entry.anew = true);
                }
            }
            Fact::PlanStarted { order } => self.with_order(order, |entry| entry.plan_started = true),
            Fact::Planned { plan, parcels } => self.take_plan(plan, parcels, stamped.seq, at),
            Fact::NotJoined { order, pins, why, settled } => self.with_order(order, |entry| {
                entry.asked = None;
                entry.plan_started = false;
                // It was the common plan that could not be made.
                entry.stopped_program = 0;
                entry.not_joined = settled.then(|| ((**pins).clone(), why.clone()));
            }),
            Fact::Parted { orders, .. } => self.part(orders),
            Fact::KeptApart { order, apart } => self.with_order(order, |entry| entry.apart = *apart),
            Fact::PlanRefused { order, .. } => self.with_order(order, |entry| entry.plan_started = false),
            Fact::StopPut { order, stop } => self.put_stop(order.as_ref(), stop, at),
            Fact::StopLifted { order, stop, by } => self.lift_stop(order.as_ref(), stop, *by),
            Fact::ParcelMoved { parcel, to, .. } => {
                let today = self.date(at);
                if let Some(entry) = self.parcels.get_mut(parcel) {
                    entry.stage = *to;
                    entry.since = at;
                    if *to == Stage::HandedOver {
                        entry.hand_over = Some(today);
                    }
                }
            }
            Fact::JobQueued { job, kind, subject, copy, rank } => {
                self.queue_job(*job, *kind, subject, copy, *rank, at);
            }
            Fact::JobSending { job, printer, digest, rows } => {
                if let Some(entry) = self.move_job(*job, JobState::Sending { printer: printer.clone() }, at) {
                    entry.digest = Some(digest.clone());
                    entry.rows = *rows;
                    entry.sent_to = Some(printer.clone());
                    entry.tries += 1;
                }
            }
            Fact::JobRequeued { job, .. } => {
                self.move_job(*job, JobState::Queued, at);
            }
            Fact::RollLoaded { printer } => self.new_roll(printer, at),
            Fact::JobUncertain { job, why } => {
                self.use_roll(*job);
                self.move_job(*job, JobState::Uncertain { why: why.clone() }, at);
            }
            Fact::JobOnPaper { job, by } => {
                self.use_roll(*job);
                self.move_job(*job, JobState::OnPaper { by: *by }, at);
                self.note_paper(*job);
            }
            Fact::JobDropped { job, why, by } => {
                // What was in doubt may lie in the tray all the same.
                if self.jobs.get(job).is_some_and(|job| matches!(job.state, JobState::Uncertain { .. })) {
                    self.note_paper(*job);
                }
                self.move_job(*job, JobState::Dropped { why: why.clone() }, at);
                if *by == Actor::Person {
                    self.decline(*job);
                }
            }
            Fact::GapSeen { source, number, between } => {
                let key = OrderKey { source: source.clone(), number: number.clone() };
                if let Some(n) = self.gapless_number(&key) {
                    let gap = Gap { number: number.clone(), between: between.clone(), since: at };
                    self.shops.entry(source.clone()).or_default().gaps.insert(n, gap);
                }
            }
            Fact::GapClosed { source, number, .. } => {
                if let Some(shop) = self.shops.get_mut(source) {
                    shop.gaps.retain(|_, gap| gap.number != *number);
                }
            }
            Fact::ConfigAdopted { digest, policy, .. } => {
                self.config = Some(digest.clone());
                self.configs_kept.insert(digest.clone());
                self.policy = Some((**policy).clone());
                self.stock_seq = stamped.seq;
            }
            Fact::Started { off_since, clean } => self.start(*off_since, *clean, at),
            Fact::ProgramChanged { from, to } => {
                self.program = Some(to.clone());
                // The very first fact takes over nothing.
                if stamped.seq > 1 {
                    self.upgraded = Some(Upgrade { at, from: from.clone(), to: to.clone() });
                }
            }
            Fact::ModeChanged { mode, held } => {
                self.mode_held = *held;
                self.mode = *mode;
                self.mode_since = Some(at);
            }
            Fact::Swept { before } => self.sweep(*before, at),
            Fact::Archived { orders } => orders.iter().for_each(|key| self.forget_order(key)),
            Fact::RecordsLost { .. } => self.lose_one(at),
            Fact::Restored { .. } => self.doubt_queued(at),
            Fact::Repaired { lost, .. } => self.lost.extend(lost.iter().cloned()),
            Fact::Forgotten { order, .. } => {
                self.erasing.insert(order.clone(), Erasing { seq: stamped.seq, at });
                self.with_order(order, |entry| {
                    entry.forgotten.get_or_insert(at);
                });
            }
            Fact::Erased { order, .. } => drop(self.erasing.remove(order)),
            Fact::RetentionDone { orders, lines, .. } => {
                self.retention = Some(RetentionRun { at, orders: *orders, lines: *lines });
            }
            // The state holds nobody's data.
            Fact::RetentionBegun { .. } => {}
            // History only: nothing stands on these.
            Fact::OrderStale { .. } | Fact::Decided { .. } | Fact::PackingStarted { .. } => {}
        }
    }

    /// The orders that a fact belongs to, as far as they can be told from the state.
    pub(super) fn orders_of(&self, fact: &Fact) -> Vec<OrderKey> {
        let about = match about(fact) {
            About::Job(job) => self.jobs.get(&job).map_or(About::House, |job| about_paper(&job.subject)),
            about => about,
        };
        match about {
            About::Orders(orders) => orders,
            About::Parcel(parcel) => self.parcels.get(&parcel).map(|it| it.orders.clone()).unwrap_or_default(),
            About::Job(_) | About::House => Vec::new(),
        }
    }

    fn with_order(&mut self, key: &OrderKey, change: impl FnOnce(&mut OrderEntry)) {
        if let Some(entry) = self.orders.get_mut(key) {
            change(entry);
        }
    }

    fn keep_message(&mut self, message: &MessageKey, body_digest: &str, outcome: &MessageOutcome, at: Timestamp) {
        let of_source = self.messages.entry(message.source.clone()).or_default();
        let entry = MessageEntry { at, body_digest: body_digest.to_owned(), outcome: outcome.clone() };
        if of_source.insert(message.id.clone(), entry).is_none() {
            self.shops.entry(message.source.clone()).or_default().last_message = Some(at);
        }
    }

    fn take_order(&mut self, order: &Order, message: &MessageKey, at: Timestamp) {
        let key = order.key.clone();
        self.note_number(&key);
        self.shops.entry(key.source.clone()).or_default().last_order = Some((key.number.clone(), at));
        let counted = self.policy.as_ref().map_or(1, |p| p.burst_orders as usize).clamp(1, ARRIVALS_MAX);
        self.arrivals.push_back(at);
        while self.arrivals.len() > counted {
            self.arrivals.pop_front();
        }
        let entry = OrderEntry {
            order: order.clone(),
            version: 1,
            received: at,
            revised: at,
            message: message.clone(),
            contender: None,
            stops: Vec::new(),
            accepted: Default::default(),
            plan: None,
            asked: None,
            anew: false,
            plan_started: false,
            stopped_program: 0,
            parcels: Vec::new(),
            apart: false,
            not_joined: None,
            cancelled: None,
            version_on_paper: None,
            differences: Vec::new(),
            notes: 0,
            note_jobs: Vec::new(),
            declined: Default::default(),
            forgotten: None,
            last_fact: 0,
        };
        self.orders.insert(key, entry);
    }

    fn revise(&mut self, order: &Order, version: u32, message: &MessageKey, differences: &[Difference], at: Timestamp) {
        let paper = self.paper_out(&order.key);
        self.with_order(&order.key, |entry| {
            if version != entry.version {
                // What a person accepted about the old address says nothing about a new one.
                for kind in FLAW_KINDS {
                    entry.accepted.remove(&Cause::Flaw(order.key.clone(), kind).to_string());
                }
                entry.revised = at;
                // Nobody waits any more for a plan of the old content, also where the new one cannot be planned.
                entry.asked = None;
                entry.plan_started = false;
            }
            entry.order = order.clone();
            entry.version = version;
            entry.message = message.clone();
            entry.contender = None;
            if paper {
                for line in differences {
                    if !entry.differences.contains(line) {
                        entry.differences.push(line.clone());
                    }
                }
            }
        });
    }

    /// Joined orders without their parcels and their plan.
    fn part(&mut self, orders: &[OrderKey]) {
        for key in orders {
            self.leave_parcels(key);
            self.with_order(key, |entry| {
                entry.plan = None;
                entry.declined.clear();
            });
        }
    }

    /// Takes an order out of its parcels; those that nobody else has go, with their papers.
    pub(super) fn leave_parcels(&mut self, key: &OrderKey) {
        let Some(entry) = self.orders.get_mut(key) else { return };
        for id in std::mem::take(&mut entry.parcels) {
            let Some(parcel) = self.parcels.get_mut(&id) else { continue };
            parcel.orders.retain(|order| order != key);
            if parcel.orders.is_empty() {
                self.forget_parcel(id);
            }
        }
    }

    fn put_stop(&mut self, order: Option<&OrderKey>, kind: &StopKind, at: Timestamp) {
        let stop = Stop { kind: kind.clone(), since: at };
        if let Some(Cause::RecordsLost(from, to)) = kind.cause() {
            self.lost.retain(|lost| (lost.from, lost.to) != (*from, *to));
        }
        let Some(key) = order else { return self.loose_stops.push(stop) };
        self.with_order(key, |entry| {
            if let StopKind::NeedsYou(Question { cause: Cause::StoppedProgram(_), .. }) = kind {
                entry.asked = None;
                entry.plan_started = false;
            }
            entry.stops.push(stop);
        });
    }

    fn lift_stop(&mut self, order: Option<&OrderKey>, kind: &StopKind, by: Actor) {
        let Some(key) = order else { return self.loose_stops.retain(|stop| !stop.kind.is_same(kind)) };
        self.with_order(key, |entry| {
            entry.stops.retain(|stop| !stop.kind.is_same(kind));
            match kind {
                StopKind::NeedsYou(Question { cause: Cause::StoppedProgram(_), .. }) => {
                    // Tried once more: the next stop of the program counts as the second.
                    entry.stopped_program = 1;
                }
                StopKind::NeedsYou(Question { cause: Cause::SameRevision(_), .. }) => entry.contender = None,
                _ => {}
            }
            if let (Actor::Person, Some(accepted)) = (by, kind.acceptance()) {
                entry.accepted.insert(accepted);
            }
        });
    }

    fn queue_job(
        &mut self,
        id: JobId,
        kind: PaperKind,
        subject: &Subject,
        copy: &Option<CopyMark>,
        rank: u32,
        at: Timestamp,
    ) {
        let state = JobState::Queued;
        let (subject, copy) = (subject.clone(), copy.clone());
        match &subject {
            Subject::Parcel(parcel) | Subject::Card(parcel, _) | Subject::Label(parcel) | Subject::Customs(parcel) => {
                if let Some(entry) = self.parcels.get_mut(parcel) {
                    entry.jobs.push(id);
                }
            }
            Subject::Note(order, count) => self.with_order(order, |entry| {
                entry.notes = entry.notes.max(*count);
                entry.note_jobs.push(id);
            }),
            Subject::List { date, extra: 0 } if copy.is_none() => {
                if self.last_list.is_none_or(|last| last < *date) {
                    self.last_list = Some(*date);
                    self.last_list_at = Some(at);
                }
            }
            Subject::List { extra: count, .. } | Subject::Test(count) => self.last_extra = self.last_extra.max(*count),
        }
        for key in self.orders_about(&subject) {
            self.with_order(&key, |entry| {
                entry.declined.remove(&subject);
            });
        }
        self.last_job = self.last_job.max(id.0);
        self.queue.insert((rank, id));
        self.jobs.insert(
            id,
            Job { id, kind, subject, copy, rank, state, since: at, digest: None, rows: None, sent_to: None, tries: 0 },
        );
    }

    fn move_job(&mut self, id: JobId, to: JobState, at: Timestamp) -> Option<&mut Job> {
        let job = self.jobs.get_mut(&id)?;
        job.state = to;
        job.since = at;
        match job.state {
            JobState::Queued => self.queue.insert((job.rank, id)),
            _ => self.queue.remove(&(job.rank, id)),
        };
        Some(job)
    }

    /// A paper of a parcel exists now: from here on changes are told by notes.
    fn note_paper(&mut self, job: JobId) {
        let Some(parcel) = self.jobs.get(&job).and_then(|job| job.subject.parcel()) else { return };
        for key in self.parcels.get(&parcel).map(|parcel| parcel.orders.clone()).unwrap_or_default() {
            self.with_order(&key, |entry| {
                let planned = entry.plan.as_ref().and_then(|(plan, _)| plan.version_of(&key));
                let version = planned.unwrap_or(entry.version);
                entry.version_on_paper = Some(version);
                if version == entry.version && !entry.differences.iter().any(Difference::is_open_again) {
                    entry.differences.clear();
                }
            });
        }
    }

    fn decline(&mut self, job: JobId) {
        let Some(subject) = self.jobs.get(&job).map(|job| job.subject.clone()) else { return };
        let Some(parcel) = subject.parcel() else { return };
        for key in self.parcels.get(&parcel).map(|parcel| parcel.orders.clone()).unwrap_or_default() {
            self.with_order(&key, |entry| {
                entry.declined.insert(subject.clone());
            });
        }
    }

    /// A record is lost. It may have given a number to a job or to parcels, which must not be given
    /// again; and whatever was queued may have been printed since.
    fn lose_one(&mut self, at: Timestamp) {
        self.last_job += 1;
        self.last_parcel += PARCELS_OF_ONE_FACT;
        self.doubt_queued(at);
    }

    /// Nobody knows what went on from here: whatever is queued may lie on paper.
    fn doubt_queued(&mut self, at: Timestamp) {
        for (_, id) in std::mem::take(&mut self.queue) {
            if let Some(job) = self.jobs.get_mut(&id) {
                job.state = JobState::Sending { printer: LOST_PRINTER.into() };
                job.since = at;
            }
        }
    }

    fn start(&mut self, off_since: Option<Timestamp>, clean: bool, at: Timestamp) {
        if let Some(from) = off_since {
            let last = self.shops.iter().filter_map(|(source, shop)| Some((source, shop.last_order.as_ref()?)));
            let last_order = last
                .max_by_key(|(_, (_, when))| *when)
                .map(|(source, (number, _))| OrderKey { source: source.clone(), number: number.clone() });
            self.outages.push(Outage { from, to: at, last_order });
            let surplus = self.outages.len().saturating_sub(OUTAGES_MAX);
            self.outages.drain(..surplus);
        }
        let started = self.orders.values().filter(|entry| entry.plan_started);
        let started: Vec<OrderKey> = started.map(|entry| entry.order.key.clone()).collect();
        for key in started {
            self.with_order(&key, |entry| {
                entry.plan_started = false;
                entry.stopped_program += u32::from(!clean);
            });
        }
        self.careful = !clean;
    }

    fn sweep(&mut self, before: Timestamp, at: Timestamp) {
        self.swept = Some(at);
        for of_source in self.messages.values_mut() {
            of_source.retain(|_, entry| entry.at >= before);
        }
        self.messages.retain(|_, of_source| !of_source.is_empty());
        let orders = &self.orders;
        self.cancelled_before.retain(|key, entry| entry.at >= before || orders.contains_key(key));
        self.jobs.retain(|_, job| {
            let over = matches!(job.state, JobState::OnPaper { .. } | JobState::Dropped { .. });
            !(over && job.since < before && matches!(job.subject, Subject::List { .. } | Subject::Test(_)))
        });
    }

    fn forget_order(&mut self, key: &OrderKey) {
        self.leave_parcels(key);
        let Some(entry) = self.orders.remove(key) else { return };
        self.cancelled_before.remove(key);
        for job in entry.note_jobs {
            self.forget_job(job);
        }
    }

    pub(super) fn forget_parcel(&mut self, id: ParcelId) {
        for job in self.parcels.remove(&id).map(|parcel| parcel.jobs).unwrap_or_default() {
            self.forget_job(job);
        }
    }

    pub(super) fn forget_job(&mut self, id: JobId) {
        if let Some(job) = self.jobs.remove(&id) {
            self.queue.remove(&(job.rank, id));
        }
    }

    fn note_number(&mut self, key: &OrderKey) {
        if let Some(n) = self.gapless_number(key) {
            let shop = self.shops.entry(key.source.clone()).or_default();
            shop.highest = shop.highest.max(Some(n));
        }
    }
}
