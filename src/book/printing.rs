//! Jobs: what is queued when, and what the printers' answers mean.

use super::step::{Reply, Work, refuse};
use super::*;
use crate::model::*;

/// So many papers of one kind about one thing may be in doubt before a person is asked,
/// whatever the policy says: a printer that fails in the middle would eat the roll.
const UNCERTAIN_MAX: usize = 3;

/// Ranks: smaller prints first.
mod rank {
    /// Do not send this: before all else.
    pub const STOP_NOTE: u32 = 0;
    /// What differs from a slip at the bench.
    pub const CHANGE_NOTE: u32 = 10;
    /// The pick list.
    pub const PICK_LIST: u32 = 20;
    /// Somebody stands at the printer.
    pub const TEST_PAGE: u32 = 30;
    /// A second slip or card: its parcel was to be packed already.
    pub const COPY: u32 = 800;
    /// Slips and cards of what a rule calls urgent.
    pub const URGENT: u32 = 900;
    /// Slips and cards, in the order in which they were queued.
    pub const PARCEL: u32 = 1000;
}

/// When slips and cards are queued.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Moment {
    /// An order became ready: only if its source or the mode prints at once.
    Now,
    /// Packing starts: all that waits.
    PackingStarts,
}

impl State {
    /// May slips and cards of this order print: it may be packed, and there is a name to print?
    pub fn may_print(&self, key: &OrderKey) -> bool {
        self.may_pack(key) && self.forgotten(key).is_none()
    }
    /// May its parcels be packed and handed over: nothing stops it, and its plan counts?
    pub fn may_pack(&self, key: &OrderKey) -> bool {
        self.is_ready(key) && !self.waits_to_be_joined(key)
    }
    /// [`Self::may_pack`], whatever joining has in mind for it.
    pub(super) fn is_ready(&self, key: &OrderKey) -> bool {
        self.orders.get(key).is_some_and(|entry| {
            entry.cancelled.is_none()
                && entry.stops.is_empty()
                && entry.asked.is_none()
                && (entry.has_current_plan() || self.paper_out(key))
        })
    }
    /// Does this hold for all orders of a parcel that are not cancelled, and is there one?
    pub(super) fn all_that_count(&self, parcel: &ParcelEntry, holds: impl Fn(&OrderKey) -> bool) -> bool {
        let mut rest = parcel.orders.iter().filter(|key| self.orders.get(key).is_some_and(|e| e.cancelled.is_none()));
        let first = rest.next();
        first.is_some_and(&holds) && rest.all(holds)
    }
    /// Do the papers of this order wait for packing to start?
    pub(super) fn waits_for_packing(&self, key: &OrderKey) -> bool {
        let own = self.policy.as_ref().and_then(|policy| policy.print.get(&key.source));
        match own {
            Some(PrintWhen::OnArrival) => false,
            Some(PrintWhen::WhenPackingStarts) => true,
            None => self.mode == Mode::Burst,
        }
    }
    /// Jobs about one thing, oldest first.
    pub fn jobs_about<'a>(&'a self, subject: &'a Subject) -> Vec<&'a Job> {
        let ids = match subject {
            Subject::Parcel(id) | Subject::Card(id, _) | Subject::Label(id) | Subject::Customs(id) => {
                self.parcels.get(id).map(|parcel| &parcel.jobs)
            }
            Subject::Note(key, _) => self.orders.get(key).map(|entry| &entry.note_jobs),
            Subject::List { .. } | Subject::Test(_) => {
                return self.jobs.values().filter(|job| job.subject == *subject).collect();
            }
        };
        let jobs = ids.into_iter().flatten().filter_map(|id| self.jobs.get(id));
        jobs.filter(|job| job.subject == *subject).collect()
    }
    /// The order that speaks for what a job is about: the leading one of those that are neither
    /// cancelled nor forgotten, if there are any.
    pub fn order_of(&self, subject: &Subject) -> Option<OrderKey> {
        let first = || self.orders_about(subject).into_iter().next();
        self.live_orders_about(subject).into_iter().next().or_else(first)
    }
    /// The orders that a job is about, the leading one first.
    pub(super) fn orders_about(&self, subject: &Subject) -> Vec<OrderKey> {
        match subject {
            Subject::Parcel(id) | Subject::Card(id, _) | Subject::Label(id) | Subject::Customs(id) => {
                self.parcels.get(id).map(|parcel| parcel.orders.clone()).unwrap_or_default()
            }
            Subject::Note(key, _) => vec![key.clone()],
            Subject::List { .. } | Subject::Test(_) => Vec::new(),
        }
    }
    /// Those of them that are neither cancelled nor forgotten.
    pub(super) fn live_orders_about(&self, subject: &Subject) -> Vec<OrderKey> {
        let mut orders = self.orders_about(subject);
        orders.retain(|key| {
            self.orders.get(key).is_some_and(|entry| entry.cancelled.is_none() && entry.forgotten.is_none())
        });
        orders
    }
    /// May this parcel's papers print?
    fn may_print_about(&self, subject: &Subject) -> bool {
        let live = self.live_orders_about(subject);
        !live.is_empty() && live.iter().all(|key| self.may_print(key))
    }
    /// Would it still be right to print this job?
    pub(super) fn is_right(&self, job: &Job) -> bool {
        let Some(key) = self.order_of(&job.subject) else { return job.subject.parcel().is_none() };
        let cancelled = self.orders.get(&key).map(|entry| entry.cancelled.is_some());
        match job.kind {
            PaperKind::ChangeNote => cancelled == Some(false) && self.paper_out(&key),
            PaperKind::StopNote => cancelled == Some(true) && self.paper_out(&key),
            PaperKind::Slip | PaperKind::Card | PaperKind::Label | PaperKind::Customs => {
                self.may_print_about(&job.subject)
            }
            PaperKind::PickList | PaperKind::TestPage => true,
        }
    }
    /// The paper in words: `slip of S-417/2`.
    pub fn paper_name(&self, job: &Job) -> String {
        match &job.subject {
            Subject::Parcel(id) | Subject::Card(id, _) | Subject::Label(id) | Subject::Customs(id) => {
                format!("{} of {}", job.kind, self.label(*id))
            }
            Subject::Note(key, _) => format!("{} of {}", job.kind, key.number),
            Subject::List { date, .. } => format!("{} of {date}", job.kind),
            Subject::Test(_) => job.kind.to_string(),
        }
    }
}

/// What a service or a person may want beside a parcel's slip and cards.
fn beside_slip(kind: PaperKind, parcel: ParcelId) -> Option<Subject> {
    match kind {
        PaperKind::Label => Some(Subject::Label(parcel)),
        PaperKind::Customs => Some(Subject::Customs(parcel)),
        _ => None,
    }
}

impl Work<'_> {
    /// A person wants a label or a customs sheet of this parcel; what printed before is printed again.
    pub fn print_beside_slip(&mut self, parcel: ParcelId, kind: PaperKind) -> Reply {
        let Some(subject) = beside_slip(kind, parcel) else {
            return refuse(format!("a {kind} is not printed this way"), "say label or customs");
        };
        let Some(key) = self.state.order_of(&subject) else {
            return refuse("this parcel is no longer in the book", "see which are open: dawnslip orders");
        };
        let jobs = self.state.jobs_about(&subject);
        if let Some(last) = jobs.iter().max_by_key(|job| job.id).map(|job| job.id) {
            return self.reprint(last, String::new());
        }
        let live = self.state.live_orders_about(&subject);
        let stopped = live.iter().find(|key| !self.state.may_print(key));
        if let Some(key) = stopped.or(live.is_empty().then_some(&key)) {
            return refuse(format!("order {} is stopped", key.number), self.what_stops(key));
        }
        Ok(Answer::Queued(self.queue_job(kind, subject, None)))
    }

    pub fn queue_job(&mut self, kind: PaperKind, subject: Subject, copy: Option<CopyMark>) -> JobId {
        let urgent = self.state.order_of(&subject).and_then(|key| self.state.orders.get(&key)?.plan.as_ref());
        let rank = match kind {
            PaperKind::StopNote => rank::STOP_NOTE,
            PaperKind::ChangeNote => rank::CHANGE_NOTE,
            PaperKind::PickList => rank::PICK_LIST,
            PaperKind::TestPage => rank::TEST_PAGE,
            kind if kind.is_of_parcel() && copy.is_some() => rank::COPY,
            kind if kind.is_of_parcel() && urgent.is_some_and(|(plan, _)| plan.urgent) => rank::URGENT,
            PaperKind::Slip | PaperKind::Card | PaperKind::Label | PaperKind::Customs => rank::PARCEL,
        };
        let job = JobId(self.state.last_job + 1);
        self.fact(Fact::JobQueued { job, kind, subject, copy, rank });
        job
    }

    /// Queues slip and cards of every planned parcel of this order that has none yet.
    pub fn queue_papers(&mut self, key: &OrderKey, moment: Moment) {
        let Some(entry) = self.state.orders.get(key) else { return };
        for parcel in entry.parcels.clone() {
            self.queue_parcel(parcel, moment);
        }
    }

    fn queue_parcel(&mut self, parcel: ParcelId, moment: Moment) {
        let Some(entry) = self.state.parcels.get(&parcel) else { return };
        if entry.stage > Stage::Printed {
            return;
        }
        let waits = moment == Moment::Now && entry.orders.iter().any(|key| self.state.waits_for_packing(key));
        let cards = entry.planned.cards.clone();
        let of_service = self.state.policy.as_ref().and_then(|policy| policy.prints.get(&entry.planned.service));
        let also = of_service.cloned().unwrap_or_default();
        self.ensure_paper(PaperKind::Slip, Subject::Parcel(parcel), waits);
        for card in cards {
            self.ensure_paper(PaperKind::Card, Subject::Card(parcel, card), waits);
        }
        for kind in also {
            if let Some(subject) = beside_slip(kind, parcel) {
                self.ensure_paper(kind, subject, waits);
            }
        }
    }

    /// Queues what waits, in the order in which it is packed.
    pub fn queue_all_papers(&mut self, moment: Moment) -> usize {
        let before = self.state.last_job;
        let open = self.state.parcels.iter().filter(|(_, parcel)| parcel.stage <= Stage::Printed);
        let mut parcels: Vec<ParcelId> = open.map(|(id, _)| *id).collect();
        self.state.sort_for_packing(&mut parcels);
        for id in parcels {
            self.queue_parcel(id, moment);
        }
        (self.state.last_job - before) as usize
    }

    /// Sees to it that there is, or will be, one paper about this: a first one unless it
    /// `waits` for packing to start, a COPY (or a question) where the last one is in doubt.
    fn ensure_paper(&mut self, kind: PaperKind, subject: Subject, waits: bool) {
        let order = self.state.order_of(&subject);
        let jobs = self.state.jobs_about(&subject);
        let settled = jobs
            .iter()
            .any(|job| matches!(job.state, JobState::OnPaper { .. } | JobState::Queued | JobState::Sending { .. }));
        if settled {
            return;
        }
        // What a person took out comes back only when a person asks for it.
        let entry = order.as_ref().and_then(|key| self.state.orders.get(key));
        if entry.is_some_and(|entry| entry.declined.contains(&subject)) {
            return;
        }
        let doubtful: Vec<&&Job> = jobs.iter().filter(|job| matches!(job.state, JobState::Uncertain { .. })).collect();
        let Some(last) = doubtful.last().copied() else {
            if !waits && self.state.may_print_about(&subject) {
                // What was sent once and taken out since may lie in the tray all the same.
                let sent = jobs.iter().rev().find(|job| job.tries > 0);
                let copy = sent.map(|job| CopyMark { of: job.id, at: self.now, why: String::new() });
                self.queue_job(kind, subject, copy);
            }
            return;
        };
        if !self.state.is_right(last) {
            return;
        }
        let JobState::Uncertain { why } = &last.state else { return };
        let copy = self.state.when_uncertain(kind, &subject) == WhenUncertain::Copy;
        let (of, at, why) = (last.id, last.since, why.clone());
        if copy && doubtful.len() < UNCERTAIN_MAX {
            self.queue_job(kind, subject, Some(CopyMark { of, at, why }));
            return;
        }
        let name = self.state.paper_name(last);
        let cause = Cause::UncertainPaper(of.0);
        let what = format!("the {name} may be on paper or not: {why}");
        let remedy = format!(
            "look in the tray; if it is there: dawnslip decide {cause} on-paper; if not: dawnslip decide {cause} copy"
        );
        self.ask(order.as_ref(), cause, what, remedy);
    }

    /// Takes back slips and cards of an order that were about to print.
    pub fn drop_queued(&mut self, key: &OrderKey, why: &str) {
        let Some(entry) = self.state.orders.get(key) else { return };
        let ids = self.state.parcels_of(entry).flat_map(|(_, parcel)| parcel.jobs.iter().copied());
        let queued: Vec<JobId> = ids.filter(|id| self.is_queued(*id)).collect();
        for job in queued {
            self.drop_job(job, why);
        }
    }

    pub fn drop_job(&mut self, job: JobId, why: &str) {
        self.fact(Fact::JobDropped { job, why: why.to_owned(), by: Actor::Program });
    }

    pub fn is_queued(&self, job: JobId) -> bool {
        self.state.jobs.get(&job).is_some_and(|job| job.state == JobState::Queued)
    }

    /// A note about what differs, unless one is queued that will tell it, too.
    pub fn queue_change_note(&mut self, key: &OrderKey) {
        self.queue_note(key, PaperKind::ChangeNote);
    }

    /// Do not send it.
    pub fn queue_stop_note(&mut self, key: &OrderKey) {
        self.queue_note(key, PaperKind::StopNote);
    }

    fn queue_note(&mut self, key: &OrderKey, kind: PaperKind) {
        let Some(entry) = self.state.orders.get(key) else { return };
        let next = Subject::Note(key.clone(), entry.notes.saturating_add(1));
        let mut jobs = entry.note_jobs.iter().filter_map(|id| self.state.jobs.get(id));
        if !jobs.any(|job| job.kind == kind && job.state == JobState::Queued) {
            self.queue_job(kind, next, None);
        }
    }

    /// Takes back queued notes and questions about papers that no longer say the truth.
    pub fn reconsider_notes(&mut self, key: &OrderKey) {
        let Some(entry) = self.state.orders.get(key) else { return };
        let jobs = entry.note_jobs.iter().filter_map(|id| self.state.jobs.get(id));
        let wrong = jobs.filter(|job| job.state == JobState::Queued && !self.state.is_right(job));
        let wrong: Vec<JobId> = wrong.map(|job| job.id).collect();
        for job in wrong {
            self.drop_job(job, "it no longer holds");
        }
        if !self.state.paper_out(key) {
            self.lift_where(key, Actor::Program, |_, kind| matches!(kind.cause(), Some(Cause::AfterPrinting(_))));
        }
    }

    /// The job, or a refusal.
    pub fn job(&self, id: JobId) -> Result<&Job, super::step::Refusal> {
        match self.state.jobs.get(&id) {
            Some(job) => Ok(job),
            None => refuse(format!("there is no job {id}"), "look at: dawnslip status"),
        }
    }

    pub fn send(&mut self, id: JobId, printer: PrinterName, digest: String, rows: Option<u32>) -> Reply {
        let job = self.job(id)?;
        if job.state != JobState::Queued {
            return refuse(format!("job {id} is {}", job.state.word()), "take the next one from the queue");
        }
        if !self.state.is_right(job) {
            self.drop_job(id, "it no longer holds");
            return refuse(format!("job {id} no longer holds"), "take the next one from the queue");
        }
        self.fact(Fact::JobSending { job: id, printer, digest, rows });
        Ok(Answer::Go)
    }

    pub fn printed(&mut self, id: JobId, by: Confirmation) -> Reply {
        let job = self.job(id)?;
        match job.state {
            JobState::OnPaper { .. } => return Ok(Answer::Done),
            JobState::Queued | JobState::Dropped { .. } if job.tries == 0 => {
                return refuse(format!("job {id} was never sent"), "look into the printer's tray");
            }
            // Paper is the truth: a late answer counts, whatever was decided meanwhile.
            _ => {}
        }
        let (kind, subject) = (job.kind, job.subject.clone());
        self.fact(Fact::JobOnPaper { job: id, by });
        let others = self.state.jobs_about(&subject);
        let copies = others.iter().filter(|job| job.state == JobState::Queued && job.copy.is_some());
        let copies: Vec<JobId> = copies.map(|job| job.id).collect();
        for copy in copies {
            self.drop_job(copy, &format!("job {id} is on paper after all"));
        }
        let doubtful: Vec<Cause> =
            self.state.jobs_about(&subject).iter().map(|j| Cause::UncertainPaper(j.id.0)).collect();
        self.settle_doubt(&subject, &doubtful, Actor::Program);
        if let (PaperKind::Slip, Some(parcel)) = (kind, subject.parcel()) {
            let stage = self.state.parcels.get(&parcel).map(|parcel| parcel.stage);
            if stage == Some(Stage::Planned) {
                let (from, to) = (Stage::Planned, Stage::Printed);
                self.fact(Fact::ParcelMoved { parcel, from, to, by: Actor::Program });
            }
        }
        for key in self.state.orders_about(&subject) {
            let cancelled = self.state.orders.get(&key).is_some_and(|entry| entry.cancelled.is_some());
            if cancelled && subject.parcel().is_some() && !self.has_note(&key, PaperKind::StopNote) {
                self.queue_stop_note(&key);
            }
            self.go_on(&key);
        }
        Ok(Answer::Done)
    }

    /// Lifts questions about doubtful papers of one subject: whichever of its orders spoke for it then.
    pub fn settle_doubt(&mut self, subject: &Subject, causes: &[Cause], by: Actor) {
        let orders: Vec<Option<OrderKey>> = match self.state.orders_about(subject) {
            none if none.is_empty() => vec![None],
            orders => orders.into_iter().map(Some).collect(),
        };
        for order in orders {
            let stops = match &order {
                Some(key) => self.state.orders.get(key).map(|entry| &entry.stops),
                None => Some(&self.state.loose_stops),
            };
            let asked = stops.into_iter().flatten().map(|stop| &stop.kind);
            let asked = asked.filter(|kind| kind.cause().is_some_and(|cause| causes.contains(cause)));
            let asked: Vec<StopKind> = asked.cloned().collect();
            for stop in asked {
                self.lift(order.as_ref(), stop, by);
            }
        }
    }

    /// Is there such a note that was not dropped?
    fn has_note(&self, key: &OrderKey, kind: PaperKind) -> bool {
        let notes = self.state.orders.get(key).map(|entry| &entry.note_jobs);
        let jobs = notes.into_iter().flatten().filter_map(|id| self.state.jobs.get(id));
        jobs.into_iter().any(|job| job.kind == kind && !matches!(job.state, JobState::Dropped { .. }))
    }

    pub fn not_printed(&mut self, id: JobId, why: String, left: BytesLeft) -> Reply {
        let job = self.job(id)?;
        if !matches!(job.state, JobState::Sending { .. }) {
            return refuse(format!("job {id} is {}, not sending", job.state.word()), "nothing to do");
        }
        if left == BytesLeft::Some {
            self.in_doubt(id, why);
            return Ok(Answer::Done);
        }
        let orders = self.state.orders_about(&job.subject);
        self.fact(Fact::JobRequeued { job: id, why });
        if orders.is_empty() {
            return Ok(Answer::Done);
        }
        // While it was on its way the order may have been stopped, changed or cancelled.
        let job = self.state.jobs.get(&id);
        if job.is_some_and(|job| !self.state.is_right(job)) {
            self.drop_job(id, "the order was stopped while it was being sent");
        } else if job.is_some_and(|job| self.is_needless_copy(job)) {
            self.drop_job(id, "the first one is on paper after all");
        }
        for key in orders {
            self.reconsider_notes(&key);
            self.go_on(&key);
        }
        Ok(Answer::Done)
    }

    /// Was what this COPY repeats confirmed after the COPY was made?
    fn is_needless_copy(&self, job: &Job) -> bool {
        job.copy.as_ref().is_some_and(|copy| {
            let others = self.state.jobs_about(&job.subject);
            others.iter().any(|other| matches!(other.state, JobState::OnPaper { .. }) && other.since > copy.at)
        })
    }

    /// The job is in doubt: a COPY or a question follows.
    pub fn in_doubt(&mut self, id: JobId, why: String) {
        self.fact(Fact::JobUncertain { job: id, why });
        let Some(job) = self.state.jobs.get(&id) else { return };
        let (kind, subject) = (job.kind, job.subject.clone());
        self.ensure_paper(kind, subject, true);
    }
}
