//! What people do, except answering questions.

use super::Action;
use super::step::{Refusal, Reply, Work, refuse};
use super::*;
use crate::model::*;
use std::collections::BTreeSet;

impl Work<'_> {
    pub fn act(&mut self, action: Action) -> Reply {
        match action {
            Action::Hold { order, reason } => self.hold(&order, reason),
            Action::Release { order } => self.release(&order),
            Action::Cancel { order, reason } => self.cancel_by_person(&order, reason),
            Action::Ready { order } => self.ready(&order),
            Action::Decide { cause, decision } => self.decide(&cause, decision),
            Action::Packed { parcel } => self.packed(parcel),
            Action::Unpack { parcel } => self.unpack(parcel),
            Action::HandedOver { parcels } => self.handed_over(parcels),
            Action::NoSuch { source, number } => self.no_such(source, number),
            Action::Reprint { job, reason } => self.reprint(job, reason),
            Action::Drop { job } => self.drop_by_person(job),
            Action::PrintBesideSlip { parcel, kind } => self.print_beside_slip(parcel, kind),
            Action::ListNow => self.list_now(),
            Action::StartPacking => self.start_packing(),
            Action::Mode(wish) => self.choose_mode(wish),
            Action::TestPage => {
                let count = self.state.last_extra.saturating_add(1);
                Ok(Answer::Queued(self.queue_job(PaperKind::TestPage, Subject::Test(count), None)))
            }
            Action::KeepApart { order, apart } => self.keep_apart(&order, apart),
            Action::Replan { order } => self.replan(&order),
            Action::ReplanAll => self.replan_all(),
            Action::Forget { order, open, archived } => self.forget(&order, open, archived),
        }
    }

    /// The order if it is open; else the refusal says what it is.
    fn open(&self, key: &OrderKey) -> Result<&OrderEntry, Refusal> {
        let entry = self.entry(key)?;
        if let Some(cancelled) = &entry.cancelled {
            let why = if cancelled.reason.is_empty() { String::new() } else { format!(": {}", cancelled.reason) };
            return refuse(
                format!("order {} is cancelled{why}", key.number),
                "if it is to be sent after all, open it again in the shop",
            );
        }
        if entry.is_closed(&self.state.parcels) {
            return refuse(
                format!("order {} is handed over", key.number),
                "take a parcel back first: dawnslip unpack PARCEL",
            );
        }
        Ok(entry)
    }

    fn hold(&mut self, key: &OrderKey, reason: String) -> Reply {
        let entry = self.open(key)?;
        let by_person = |stop: &&Stop| matches!(stop.kind, StopKind::Held { rule: None, .. });
        if entry.stops.iter().any(|stop| by_person(&stop)) {
            return refuse(
                format!("order {} is held already", key.number),
                format!("to go on with it: dawnslip release {}", key.number),
            );
        }
        let printed = self.state.paper_out(key);
        self.put_stop(Some(key), StopKind::Held { reason: String::new(), rule: None });
        self.said(key, reason);
        let more = if printed { "; what is on paper stays where it is" } else { "" };
        Ok(Answer::Said(format!("order {} is held: nothing more is printed{more}", key.number)))
    }

    /// Keeps what a person typed where it can be erased; facts hold none of it.
    fn said(&mut self, order: &OrderKey, text: String) {
        if !text.trim().is_empty() {
            let (order, at, text) = (order.clone(), self.now, Hidden::new(text));
            self.person(PersonRecord::Said { v: RECORD_VERSION, order, at, text });
        }
    }

    fn release(&mut self, key: &OrderKey) -> Reply {
        self.open(key)?;
        if self.lift_where(key, Actor::Person, |_, kind| matches!(kind, StopKind::Held { .. })) == 0 {
            return refuse(format!("order {} is not held", key.number), self.what_stops(key));
        }
        self.go_on(key);
        Ok(Answer::Said(format!("order {} is released; {}", key.number, self.what_stops(key))))
    }

    fn ready(&mut self, key: &OrderKey) -> Reply {
        self.open(key)?;
        let goods = |kind: &StopKind| matches!(kind, StopKind::Waiting(Wait::MadeToOrder(_) | Wait::Stock { .. }));
        if self.lift_where(key, Actor::Person, |_, kind| goods(kind)) == 0 {
            return refuse(format!("order {} does not wait for goods", key.number), self.what_stops(key));
        }
        self.go_on(key);
        Ok(Answer::Said(format!("order {} has its goods; {}", key.number, self.what_stops(key))))
    }

    /// What still stops an order, and what to do about it.
    pub(super) fn what_stops(&self, key: &OrderKey) -> String {
        let stops = self.state.orders.get(key).map(|entry| &entry.stops);
        let lines: Vec<String> = stops.into_iter().flatten().map(|stop| stop.kind.advice(&key.number)).collect();
        if lines.is_empty() { "nothing stops it".to_owned() } else { lines.join("; ") }
    }

    fn cancel_by_person(&mut self, key: &OrderKey, reason: String) -> Reply {
        self.open(key)?;
        self.cancel(key, Actor::Person, "");
        self.said(key, reason);
        let more = if self.state.paper_out(key) { "; a stop note prints first of all" } else { "" };
        Ok(Answer::Said(format!("order {} is cancelled{more}", key.number)))
    }

    /// Ends an order: nothing of it prints any more; what is on paper gets a stop note.
    pub fn cancel(&mut self, key: &OrderKey, by: Actor, reason: &str) {
        let Some(entry) = self.state.orders.get(key) else { return };
        let gone = self.state.parcels_of(entry).filter(|(_, parcel)| parcel.stage == Stage::HandedOver).count();
        let stays = entry.parcels.is_empty() || gone < entry.parcels.len();
        self.drop_queued(key, "the order is cancelled");
        self.fact(Fact::OrderCancelled { order: key.clone(), by, reason: reason.to_owned() });
        self.reconsider_notes(key);
        self.ask_companions(key);
        if stays && self.state.paper_out(key) {
            self.queue_stop_note(key);
        }
        if gone > 0 {
            let cause = Cause::AfterPrinting(key.clone());
            let what = format!("order {} was cancelled, but {gone} of its parcels had been handed over", key.number);
            let remedy = format!("ask the carrier or the customer; when it is settled: dawnslip decide {cause} go-on");
            let detail = Detail::CancelledAfterHandOver(u32::try_from(gone).unwrap_or(u32::MAX));
            self.ask_after_printing(key, what, remedy, detail);
        }
    }

    /// An order is cancelled that lies in one parcel with others: its things must come out.
    fn ask_companions(&mut self, key: &OrderKey) {
        let Some(entry) = self.state.orders.get(key).filter(|_| self.state.paper_out(key)) else { return };
        let at_hand = self.state.parcels_of(entry).filter(|(_, parcel)| parcel.stage < Stage::HandedOver);
        let others: BTreeSet<OrderKey> = at_hand.flat_map(|(_, parcel)| parcel.orders.iter().cloned()).collect();
        for other in others {
            if other == *key || self.state.orders.get(&other).is_none_or(|entry| entry.cancelled.is_some()) {
                continue;
            }
            let cause = Cause::AfterPrinting(other.clone());
            let what =
                format!("order {} was cancelled, and {} was to travel in one parcel with it", key.number, other.number);
            let remedy = format!(
                "take the things of {} out and look whether a smaller box or another service will do; when it is settled: dawnslip decide {cause} go-on",
                key.number
            );
            self.ask(Some(&other), cause, what, remedy);
        }
    }

    /// The parcel with its order, or a refusal.
    fn parcel(&self, id: ParcelId) -> Result<&ParcelEntry, Refusal> {
        match self.state.parcels.get(&id) {
            Some(parcel) => Ok(parcel),
            None => refuse(
                format!("there is no parcel {id} among the open ones"),
                "its order was planned anew or is in the archive: dawnslip order NUMBER",
            ),
        }
    }

    fn move_parcel(&mut self, parcel: ParcelId, from: Stage, to: Stage) {
        self.fact(Fact::ParcelMoved { parcel, from, to, by: Actor::Person });
    }

    /// Refuses where the parcel's order is cancelled; of several, where all are or one of the rest is stopped.
    fn not_cancelled(&self, parcel: &ParcelEntry) -> Result<(), Refusal> {
        let orders = parcel.orders.iter().filter_map(|key| self.state.orders.get(key));
        let (cancelled, rest): (Vec<_>, Vec<_>) = orders.partition(|entry| entry.cancelled.is_some());
        let Some(entry) = cancelled.first() else { return Ok(()) };
        let why = format!("order {} is cancelled", entry.order.key.number);
        match rest.iter().find(|entry| !entry.stops.is_empty()) {
            Some(stopped) => refuse(why, self.what_stops(&stopped.order.key)),
            None if rest.is_empty() => refuse(why, "do not send it; put the goods back on the shelf"),
            None => Ok(()),
        }
    }

    fn packed(&mut self, id: ParcelId) -> Reply {
        let parcel = self.parcel(id)?;
        self.not_cancelled(parcel)?;
        let label = self.state.label(id);
        match parcel.stage {
            Stage::Printed => {}
            Stage::Received | Stage::Planned => {
                return refuse(
                    format!("the slip of {label} is not on paper yet"),
                    "wait for it, or see what holds it up: dawnslip status",
                );
            }
            Stage::Packed => {
                return refuse(format!("{label} is packed already"), format!("to undo it: dawnslip unpack {label}"));
            }
            Stage::HandedOver => {
                return refuse(format!("{label} is handed over"), format!("to undo it: dawnslip unpack {label}"));
            }
        }
        self.move_parcel(id, Stage::Printed, Stage::Packed);
        Ok(Answer::Said(format!("{label} is packed")))
    }

    fn unpack(&mut self, id: ParcelId) -> Reply {
        let parcel = self.parcel(id)?;
        let label = self.state.label(id);
        let (from, to) = match parcel.stage {
            Stage::HandedOver => (Stage::HandedOver, Stage::Packed),
            Stage::Packed => (Stage::Packed, Stage::Printed),
            Stage::Received | Stage::Planned | Stage::Printed => {
                return refuse(
                    format!("{label} is {}, not packed", parcel.stage.word()),
                    "if its slip is lost, print it again: dawnslip reprint JOB",
                );
            }
        };
        self.move_parcel(id, from, to);
        Ok(Answer::Said(format!("{label} is {} again", to.word())))
    }

    fn handed_over(&mut self, mut ids: Vec<ParcelId>) -> Reply {
        ids.sort_unstable();
        ids.dedup();
        if ids.is_empty() {
            return refuse("no parcel was named", "say which: dawnslip handed-over 417 421/2");
        }
        // All or none: a list read off a receipt is either right or looked at again.
        for id in &ids {
            let parcel = self.parcel(*id)?;
            self.not_cancelled(parcel)?;
            let label = self.state.label(*id);
            if parcel.stage != Stage::Packed {
                let remedy = match parcel.stage {
                    Stage::HandedOver => format!("leave {label} out"),
                    _ => format!("pack it first: dawnslip packed {label}; or leave it out"),
                };
                return refuse(format!("{label} is {}; no parcel was moved", parcel.stage.word()), remedy);
            }
            let stopped =
                parcel.orders.iter().find(|key| self.state.orders.get(key).is_some_and(|e| !e.stops.is_empty()));
            if let Some(key) = stopped {
                return refuse(format!("{label} is stopped; no parcel was moved"), self.what_stops(key));
            }
        }
        for id in &ids {
            self.move_parcel(*id, Stage::Packed, Stage::HandedOver);
        }
        let count = ids.len();
        Ok(Answer::Said(format!("{count} {} handed over", if count == 1 { "parcel is" } else { "parcels are" })))
    }

    fn no_such(&mut self, source: SourceName, number: String) -> Reply {
        let gaps = self.state.shops.get(&source).map(|shop| &shop.gaps);
        let known = gaps.is_some_and(|gaps| gaps.values().any(|gap| gap.number == number));
        if !known {
            return refuse(
                format!("{source} does not miss an order {number}"),
                "the missing ones stand in: dawnslip status",
            );
        }
        self.fact(Fact::GapClosed { source, number: number.clone(), by: Actor::Person });
        Ok(Answer::Said(format!("order {number} never was; nobody asks for it any more")))
    }

    pub(super) fn reprint(&mut self, id: JobId, reason: String) -> Reply {
        let job = self.job(id)?;
        let subject = job.subject.clone();
        let (kind, never_sent) = (job.kind, job.tries == 0);
        let under_way = |job: &&&Job| matches!(job.state, JobState::Queued | JobState::Sending { .. });
        let jobs = self.state.jobs_about(&subject);
        if let Some(other) = jobs.iter().find(under_way) {
            let why = format!("the {} is {} as {}", self.state.paper_name(other), other.state.word(), other.id);
            return refuse(why, "wait for it");
        }
        let elsewhere = jobs.iter().any(|other| other.id != id && other.tries > 0);
        if let Some(key) = self.state.order_of(&subject) {
            let entry = self.entry(&key)?;
            if let (Some(since), true) = (entry.forgotten, kind.is_of_parcel()) {
                let date = self.state.date(since);
                return refuse(
                    format!("the personal data of order {} were erased on {date}", key.number),
                    "nothing that bears a name can be made for it; its facts stand in: dawnslip order NUMBER",
                );
            }
            let cancelled = entry.cancelled.is_some();
            if cancelled != (kind == PaperKind::StopNote) {
                let state = if cancelled { "is cancelled" } else { "is not cancelled any more" };
                return refuse(format!("order {} {state}", key.number), "this paper no longer holds");
            }
            let doubtful: Vec<Cause> = jobs.iter().map(|job| Cause::UncertainPaper(job.id.0)).collect();
            let others = |stop: &Stop| stop.kind.cause().is_none_or(|cause| !doubtful.contains(cause));
            for key in self.state.live_orders_about(&subject).into_iter().filter(|_| kind.is_of_parcel()) {
                let entry = self.entry(&key)?;
                if entry.stops.iter().any(others) {
                    return refuse(format!("order {} is stopped", key.number), self.what_stops(&key));
                }
                if entry.asked.is_some() {
                    return refuse(format!("order {} is being planned anew", key.number), "wait for its new slip");
                }
            }
        }
        let doubtful: Vec<Cause> = jobs.iter().map(|job| Cause::UncertainPaper(job.id.0)).collect();
        self.settle_doubt(&subject, &doubtful, Actor::Person);
        let second = !never_sent || elsewhere;
        let order = self.state.order_of(&subject);
        // What is typed about an order can be erased with it; a list belongs to nobody.
        let (why, said) = if order.is_some() { (String::new(), reason) } else { (reason, String::new()) };
        let copy = second.then_some(CopyMark { of: id, at: self.now, why });
        let queued = self.queue_job(kind, subject.clone(), copy);
        if let Some(key) = order {
            self.said(&key, said);
            self.go_on(&key);
        }
        Ok(Answer::Queued(queued))
    }

    fn drop_by_person(&mut self, id: JobId) -> Reply {
        let job = self.job(id)?;
        let name = self.state.paper_name(job);
        match &job.state {
            JobState::Queued | JobState::Uncertain { .. } => {}
            JobState::Sending { .. } => {
                return refuse(format!("the {name} is on its way to the printer"), "wait for its answer");
            }
            JobState::OnPaper { .. } => {
                return refuse(format!("the {name} is on paper"), "throw the sheet away");
            }
            JobState::Dropped { why } => {
                let why = format!("the {name} was taken out before: {why}");
                return refuse(why, format!("to print it after all: dawnslip reprint {id}"));
            }
        }
        let subject = job.subject.clone();
        let why = "a person took it out".to_owned();
        self.fact(Fact::JobDropped { job: id, why, by: Actor::Person });
        self.settle_doubt(&subject, &[Cause::UncertainPaper(id.0)], Actor::Person);
        for key in self.state.orders_about(&subject) {
            self.go_on(&key);
        }
        Ok(Answer::Said(format!("the {name} is taken out; to print it after all: dawnslip reprint {id}")))
    }

    fn list_now(&mut self) -> Reply {
        let date = self.state.date(self.now);
        let extra = self.state.last_extra.saturating_add(1);
        Ok(Answer::Queued(self.queue_job(PaperKind::PickList, Subject::List { date, extra }, None)))
    }

    fn start_packing(&mut self) -> Reply {
        self.fact(Fact::PackingStarted { by: Actor::Person });
        let count = self.queue_all_papers(super::printing::Moment::PackingStarts);
        Ok(Answer::Said(match count {
            0 => "no slip or card waits".to_owned(),
            1 => "1 paper prints now".to_owned(),
            _ => format!("{count} papers print now, in the order in which to pack"),
        }))
    }

    fn keep_apart(&mut self, key: &OrderKey, apart: bool) -> Reply {
        let entry = self.open(key)?;
        let number = &key.number;
        if entry.apart == apart {
            let state = if apart { "travels alone already" } else { "may be joined already" };
            return refuse(format!("order {number} {state}"), "nothing to do");
        }
        if entry.common_plan().is_some() && self.state.paper_out(key) {
            return refuse(
                format!("papers of order {number} are out, and it shares its parcel"),
                "pack it by its slip, or take its things out by hand",
            );
        }
        self.fact(Fact::KeptApart { order: key.clone(), apart });
        Ok(Answer::Said(match apart {
            true => format!("order {number} travels alone"),
            false => format!("order {number} may travel with others of the same customer"),
        }))
    }

    fn choose_mode(&mut self, wish: ModeWish) -> Reply {
        let (before, held) = (self.state.mode, self.state.mode_held);
        match wish {
            ModeWish::Always(mode) => {
                if (before, held) != (mode, true) {
                    self.fact(Fact::ModeChanged { mode, held: true });
                }
                if mode == Mode::Burst {
                    return Ok(Answer::Said(
                        "slips and cards wait from now on, until: dawnslip start-packing; to print them at once again: dawnslip mode trickle"
                            .to_owned(),
                    ));
                }
                let count = self.queue_all_papers(super::printing::Moment::Now);
                let papers = if count == 1 { "paper" } else { "papers" };
                Ok(Answer::Said(format!(
                    "slips and cards print as orders come, also in a rush ({count} {papers} print now); to let the number of orders decide again: dawnslip mode auto"
                )))
            }
            ModeWish::Auto => {
                if held {
                    self.fact(Fact::ModeChanged { mode: before, held: false });
                    self.watch_for_burst();
                    self.end_burst();
                }
                let now = match self.state.mode {
                    Mode::Burst => "orders rush in, slips and cards wait",
                    Mode::Trickle => "slips and cards print as orders come",
                };
                Ok(Answer::Said(format!("the number of orders decides; at present {now}")))
            }
        }
    }

    fn replan(&mut self, key: &OrderKey) -> Reply {
        let entry = self.open(key)?;
        let asked_before = entry.asked.is_some();
        if self.state.paper_out(key) {
            return refuse(
                format!("papers of order {} are out", key.number),
                "pack it by its slip; or cancel it and let the shop send it again",
            );
        }
        if self.state.config.is_none() {
            return refuse("no configuration is in force yet", "see what is wrong with it: dawnslip check");
        }
        self.ask_plan_anew(key);
        match self.state.orders.get(key).is_some_and(|entry| entry.asked.is_some()) {
            true if asked_before => Ok(Answer::Said(format!("order {} is being planned already", key.number))),
            true => Ok(Answer::Said(format!("order {} is planned anew", key.number))),
            false => refuse(format!("order {} cannot be planned yet", key.number), self.what_stops(key)),
        }
    }

    fn replan_all(&mut self) -> Reply {
        let count = self.state.not_printed().len();
        if count == 0 {
            return refuse("nothing is planned that is not printed", "what is printed is packed by its slip");
        }
        self.fact(Fact::ReplanAsked { by: Actor::Person });
        Ok(Answer::Said(match count {
            1 => "1 order is planned anew".to_owned(),
            _ => format!("{count} orders are planned anew, some at a time"),
        }))
    }
}
