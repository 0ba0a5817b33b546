//! Time passing, starts, configurations, archives.

use super::fold::LOST_PRINTER;
use super::printing::Moment;
use super::step::{Reply, Work, refuse};
use super::*;
use crate::model::*;
use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};

/// Message ids are remembered for so long: a published retry schedule ends after 272 105 s
/// (3 days 4 hours), and 14 days are promised.
const MESSAGES_KEPT: SignedDuration = SignedDuration::from_hours(15 * 24);
/// Old ids are swept out so often.
const SWEEP_EVERY: SignedDuration = SignedDuration::from_hours(24);
/// A pick list that is queued so much after its hour says that it is late, and why.
pub const LIST_LATE_AFTER: SignedDuration = SignedDuration::from_mins(10);

/// Version of this program.
const PROGRAM: &str = env!("CARGO_PKG_VERSION");

impl State {
    /// When today's pick list is due; `None` on a closed day or before the first configuration.
    pub fn list_due(&self, date: Date) -> Option<Timestamp> {
        let policy = self.policy.as_ref()?;
        (!self.is_closed_day(date)).then(|| daytime::instant_of(&self.zone(), date, policy.pick_list_at))
    }
    /// The hour at which this date's scheduled list was due, if it was queued later than
    /// [`LIST_LATE_AFTER`]: the program was off then, and the paper says so.
    pub fn list_came_late(&self, date: Date) -> Option<Timestamp> {
        let due = self.list_due(date)?;
        let queued = self.last_list_at.filter(|_| self.last_list == Some(date))?;
        (queued.duration_since(due) > LIST_LATE_AFTER).then_some(due)
    }
    /// Closed orders that may go into the archive: closed for longer than the policy says,
    /// with no question open and no paper on its way. For the daemon, as [`Command::Archived`].
    pub fn closed_longer_than(&self, now: Timestamp) -> Vec<OrderKey> {
        let Some(policy) = &self.policy else { return Vec::new() };
        let days = i64::from(policy.archive_after_days);
        let before = now.checked_sub(SignedDuration::from_hours(days * 24));
        before.map(|before| self.closed_before(before)).unwrap_or_default()
    }
    /// Likewise, those that have been closed since before an instant.
    pub fn closed_before(&self, before: Timestamp) -> Vec<OrderKey> {
        let old = |entry: &&OrderEntry| self.closed_since(entry).is_some_and(|at| at < before);
        self.orders.values().filter(old).map(|entry| entry.order.key.clone()).collect()
    }
    /// Since when nothing is left to do for it, nor for the orders in its parcels: they go into the
    /// archive together.
    fn closed_since(&self, entry: &OrderEntry) -> Option<Timestamp> {
        let companions = self.companions(entry);
        let entries = companions.iter().filter_map(|key| self.orders.get(key));
        entries.map(|entry| self.settled_since(entry)).collect::<Option<Vec<_>>>()?.into_iter().max()
    }
    /// Since when nothing is left to do for it.
    fn settled_since(&self, entry: &OrderEntry) -> Option<Timestamp> {
        let busy = |id: &JobId| {
            let job = self.jobs.get(id);
            job.is_some_and(|job| matches!(job.state, JobState::Queued | JobState::Sending { .. }))
        };
        let parcels = || self.parcels_of(entry).map(|(_, parcel)| parcel);
        let open = !entry.is_closed(&self.parcels)
            || !entry.stops.is_empty()
            || entry.note_jobs.iter().any(busy)
            || parcels().any(|parcel| parcel.jobs.iter().any(busy));
        if open {
            return None;
        }
        let cancelled = entry.cancelled.as_ref().map(|cancelled| cancelled.at);
        cancelled.into_iter().chain(parcels().map(|parcel| parcel.since)).chain([entry.revised]).max()
    }
}

impl Work<'_> {
    pub fn tick(&mut self) -> Reply {
        self.end_burst();
        self.pass_dates();
        self.schedule_list();
        self.sweep();
        Ok(Answer::Done)
    }

    /// So many new orders within so short a time: slips and cards wait for packing to start.
    pub fn watch_for_burst(&mut self) {
        let Some(policy) = self.state.policy.as_ref() else { return };
        let orders = policy.burst_orders as usize;
        let within = SignedDuration::from_secs(policy.burst_seconds);
        let recent = |at: &&Timestamp| (SignedDuration::ZERO..=within).contains(&self.now.duration_since(**at));
        let arrived = self.state.arrivals.iter().filter(recent).count();
        if self.state.mode == Mode::Trickle && !self.state.mode_held && orders > 0 && arrived >= orders {
            self.fact(Fact::ModeChanged { mode: Mode::Burst, held: false });
        }
    }

    pub fn end_burst(&mut self) {
        let Some(policy) = self.state.policy.as_ref() else { return };
        let within = SignedDuration::from_secs(policy.burst_seconds);
        let quiet = self.state.arrivals.back().is_none_or(|last| self.now.duration_since(*last) > within);
        if self.state.mode == Mode::Burst && !self.state.mode_held && quiet {
            self.fact(Fact::ModeChanged { mode: Mode::Trickle, held: false });
            self.queue_all_papers(Moment::Now);
        }
    }

    /// Orders whose date has come go on.
    fn pass_dates(&mut self) {
        let today = self.state.date(self.now);
        if self.state.tally.first_date().is_none_or(|day| day > today) {
            return;
        }
        let come =
            |kind: &StopKind| matches!(kind, StopKind::Waiting(wait) if wait.until().is_some_and(|day| day <= today));
        let stopped = self.state.orders.values().filter(|entry| entry.stops.iter().any(|stop| come(&stop.kind)));
        // Where not all find a place that day, those promised first do.
        let mut stopped: Vec<&OrderEntry> = stopped.collect();
        stopped.sort_by_key(|entry| (State::promised(entry), &entry.order.key));
        let keys: Vec<OrderKey> = stopped.into_iter().map(|entry| entry.order.key.clone()).collect();
        for key in keys {
            self.lift_where(&key, Actor::Program, |_, kind| come(kind));
            self.go_on(&key);
        }
    }

    /// The pick list: once a local date, at its hour or as soon after as the program runs.
    fn schedule_list(&mut self) {
        let date = self.state.date(self.now);
        // A clock that jumps back does not print an earlier date's list again.
        if self.state.last_list.is_some_and(|last| last >= date) {
            return;
        }
        if self.state.list_due(date).is_none_or(|due| self.now < due) {
            return;
        }
        let older = self.state.queue.iter().filter_map(|(_, id)| self.state.jobs.get(id));
        let older = older.filter(|job| matches!(job.subject, Subject::List { date: day, .. } if day < date));
        let older: Vec<JobId> = older.map(|job| job.id).collect();
        for job in older {
            self.drop_job(job, &format!("the list of {date} takes its place"));
        }
        self.queue_job(PaperKind::PickList, Subject::List { date, extra: 0 }, None);
    }

    fn sweep(&mut self) {
        let since = self.state.swept.map(|swept| self.now.duration_since(swept));
        let due = since.is_none_or(|since| since >= SWEEP_EVERY || since < SignedDuration::ZERO);
        if !due || self.state.messages.is_empty() {
            return;
        }
        if let Ok(before) = self.now.checked_sub(MESSAGES_KEPT) {
            self.fact(Fact::Swept { before });
        }
    }

    pub fn started(&mut self, last_alive: Option<Timestamp>, clean: bool) -> Reply {
        if self.state.program.as_deref() != Some(PROGRAM) {
            let from = self.state.program.clone();
            self.fact(Fact::ProgramChanged { from, to: PROGRAM.to_owned() });
        }
        self.fact(Fact::Started { off_since: last_alive, clean });
        self.ask_about_lost_records();
        let sending = self.state.jobs.values().filter_map(|job| match &job.state {
            JobState::Sending { printer } => Some((job.id, printer.clone())),
            _ => None,
        });
        let sending: Vec<(JobId, PrinterName)> = sending.collect();
        for (job, printer) in sending {
            self.in_doubt(
                job,
                match printer.as_str() {
                    LOST_PRINTER => Reason::RecordsLost.words().to_owned(),
                    printer => Reason::Ended.about(printer),
                },
            );
        }
        self.ask_again_after_start();
        self.effect(Effect::Spool);
        Ok(Answer::Done)
    }

    /// After a repair: a person is told what is lost, and nothing is printed for orders of which a
    /// slip may have come out meanwhile, or which may have been cancelled, until that person says so.
    fn ask_about_lost_records(&mut self) {
        for lost in self.state.lost.clone() {
            let stop = StopKind::NeedsYou(lost.question());
            self.fact(Fact::StopPut { order: None, stop: stop.clone() });
            if !lost.open_work {
                continue;
            }
            let unprinted = self
                .state
                .orders
                .values()
                .filter(|entry| entry.cancelled.is_none() && entry.stage(&self.state.parcels) <= Stage::Planned);
            let keys: Vec<OrderKey> = unprinted.map(|entry| entry.order.key.clone()).collect();
            for key in keys {
                self.fact(Fact::StopPut { order: Some(key), stop: stop.clone() });
            }
        }
    }

    pub fn adopt(&mut self, digest: ConfigDigest, policy: Box<Policy>, files: BTreeMap<String, String>) -> Reply {
        if self.state.config.as_ref() == Some(&digest) && self.state.policy.as_ref() == Some(&*policy) {
            return Ok(Answer::Said("this configuration is in force already".to_owned()));
        }
        let files = if self.state.configs_kept.contains(&digest) { BTreeMap::new() } else { files };
        self.fact(Fact::ConfigAdopted { digest, policy, files });
        self.ask_again_by_and_by();
        self.queue_all_papers(Moment::Now);
        Ok(Answer::Said("the new configuration is in force".to_owned()))
    }

    pub fn archived(&mut self, orders: Vec<OrderKey>, upto: u64) -> Reply {
        // Of one that something happened to meanwhile, the archive would lack that.
        let as_archived = |key: &OrderKey| self.state.orders.get(key).filter(|entry| entry.last_fact <= upto);
        let named: BTreeSet<&OrderKey> = orders.iter().collect();
        let closed: BTreeSet<OrderKey> = orders
            .iter()
            .filter_map(as_archived)
            .filter(|entry| self.state.closed_since(entry).is_some())
            .filter(|entry| {
                let companions = self.state.companions(entry);
                companions.iter().all(|key| named.contains(key) && as_archived(key).is_some())
            })
            .map(|entry| entry.order.key.clone())
            .collect();
        let closed = |key: &OrderKey| closed.contains(key);
        let (closed, open): (Vec<OrderKey>, Vec<OrderKey>) = orders.into_iter().partition(closed);
        if !closed.is_empty() {
            self.fact(Fact::Archived { orders: closed });
        }
        match open.first() {
            None => Ok(Answer::Done),
            Some(key) => {
                refuse(format!("order {key} is open again, has changed or is not here"), "it stays where it is")
            }
        }
    }
}
