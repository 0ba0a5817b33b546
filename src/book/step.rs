//! One command: what it means is decided here and in the files beside; every change goes
//! through [`Work::fact`], so that the state after a step is the fold of its facts.

use super::printing::Moment;
use super::*;
use crate::model::*;
use jiff::Timestamp;
use std::collections::BTreeSet;

/// Works off one command. `now` is the caller's time; the state moves on by exactly the
/// facts among the returned records. Never fails: what cannot be done is
/// [`Answer::Refused`], with no fact.
pub fn step(state: &mut State, command: Command, now: Timestamp) -> Step {
    let may_be_old =
        matches!(command, Command::Tick | Command::Planned(_) | Command::Started { .. } | Command::Person(_));
    let mut work = Work { state, now, records: Vec::new(), effects: Vec::new(), households: BTreeSet::new() };
    let reply = match command {
        Command::Receive(received) => work.receive(*received),
        Command::Remapped { message, meaning, archived } => work.remapped(&message, meaning, &archived),
        Command::Planned(plan) => work.planned(*plan),
        Command::Planning(order) => work.planning(&order),
        Command::Send { job, printer, digest, rows } => work.send(job, printer, digest, rows),
        Command::RollLoaded(printer) => work.noted(Fact::RollLoaded { printer }),
        Command::Printed { job, by } => work.printed(job, by),
        Command::NotPrinted { job, why, left } => work.not_printed(job, why, left),
        Command::Tick => work.tick(),
        Command::Started { last_alive, clean } => work.started(last_alive, clean),
        Command::Adopt { digest, policy, files } => work.adopt(digest, policy, files),
        Command::Archived { orders, upto } => work.archived(orders, upto),
        Command::Erased { order, lines, receipt } => work.erased(order, lines, receipt),
        Command::RetentionBegun { before } => work.noted(Fact::RetentionBegun { before }),
        Command::RetentionDone { before, orders, lines } => work.noted(Fact::RetentionDone { before, orders, lines }),
        Command::Person(action) => work.act(action),
    };
    let answer = match reply {
        Ok(answer) => answer,
        Err(Refusal { why, remedy }) => Answer::Refused { why, remedy },
    };
    if may_be_old {
        work.ask_again_by_and_by();
    }
    work.settle_joins();
    work.start_next_carefully();
    Step { records: work.records, effects: work.effects, answer }
}

/// Why something was not done, and what to do instead.
pub(super) struct Refusal {
    pub why: String,
    pub remedy: String,
}

/// What a command's handler answers.
pub(super) type Reply = Result<Answer, Refusal>;

/// A refusal, in two sentences.
pub(super) fn refuse<T>(why: impl Into<String>, remedy: impl Into<String>) -> Result<T, Refusal> {
    Err(Refusal { why: why.into(), remedy: remedy.into() })
}

/// One step under way.
pub(super) struct Work<'a> {
    pub state: &'a mut State,
    pub now: Timestamp,
    pub records: Vec<Record>,
    pub effects: Vec<Effect>,
    /// Of which something has changed, so that their orders may go together or apart.
    pub households: BTreeSet<Household>,
}

impl Work<'_> {
    /// Notes a fact and applies it.
    pub fn fact(&mut self, fact: Fact) {
        let queue_changed = matches!(
            fact,
            Fact::JobQueued { .. } | Fact::JobRequeued { .. } | Fact::JobDropped { .. } | Fact::ConfigAdopted { .. }
        );
        let stamped = Stamped { v: RECORD_VERSION, seq: self.state.seq + 1, at: self.now, fact };
        let orders = self.state.orders_of(&stamped.fact);
        self.touch(&orders);
        self.state.apply(&stamped);
        self.touch(&orders);
        // A new order is known only now, the orders of a new paper as well.
        let orders = self.state.orders_of(&stamped.fact);
        self.touch(&orders);
        // Who is joined follows the setting, and what keeps its place follows the mode.
        if matches!(stamped.fact, Fact::ConfigAdopted { .. } | Fact::ModeChanged { .. }) {
            self.touch_all();
        }
        self.records.push(Record::Fact(stamped));
        if queue_changed {
            self.effect(Effect::Spool);
        }
    }

    /// Notes a person's record.
    pub fn person(&mut self, record: PersonRecord) {
        self.records.push(Record::Person(record));
    }

    /// Adds an effect, once.
    pub fn effect(&mut self, effect: Effect) {
        if !self.effects.contains(&effect) {
            self.effects.push(effect);
        }
    }

    /// The order, or a refusal.
    pub fn entry(&self, key: &OrderKey) -> Result<&OrderEntry, Refusal> {
        match self.state.orders.get(key) {
            Some(entry) => Ok(entry),
            None => refuse(
                format!("there is no order {key} among the open ones"),
                "look at: dawnslip orders; closed ones are in the archive",
            ),
        }
    }

    /// Puts a stop, unless the same one stands; papers that were about to print are taken back.
    pub fn put_stop(&mut self, order: Option<&OrderKey>, stop: StopKind) {
        let standing = match order {
            Some(key) => self.state.orders.get(key).map(|entry| &entry.stops),
            None => Some(&self.state.loose_stops),
        };
        let Some(standing) = standing else { return };
        if standing.iter().any(|s| s.kind.is_same(&stop)) {
            return;
        }
        let why = format!("the order is stopped: {}", stop.word());
        self.fact(Fact::StopPut { order: order.cloned(), stop });
        if let Some(key) = order {
            self.drop_queued(key, &why);
        }
    }

    /// Asks a person.
    pub fn ask(&mut self, order: Option<&OrderKey>, cause: Cause, what: String, remedy: String) {
        self.put_stop(order, StopKind::NeedsYou(Question { cause, what, remedy, detail: None }));
    }

    /// Asks a person about an order after its papers were printed; paper says more than the cause.
    pub fn ask_after_printing(&mut self, order: &OrderKey, what: String, remedy: String, detail: Detail) {
        let question = Question { cause: Cause::AfterPrinting(order.clone()), what, remedy, detail: Some(detail) };
        self.put_stop(Some(order), StopKind::NeedsYou(question));
    }

    /// Lifts a stop.
    pub fn lift(&mut self, order: Option<&OrderKey>, stop: StopKind, by: Actor) {
        self.fact(Fact::StopLifted { order: order.cloned(), stop, by });
    }

    /// Lifts those of an order's stops that match; says how many.
    pub fn lift_where(&mut self, key: &OrderKey, by: Actor, which: impl Fn(&OrderEntry, &StopKind) -> bool) -> usize {
        let Some(entry) = self.state.orders.get(key) else { return 0 };
        let matching = entry.stops.iter().map(|stop| &stop.kind).filter(|kind| which(entry, kind));
        let stops: Vec<StopKind> = matching.cloned().collect();
        let count = stops.len();
        for stop in stops {
            self.lift(Some(key), stop, by);
        }
        count
    }

    /// After something stopped standing in the way: plans what has no plan, prints what may print.
    pub fn go_on(&mut self, key: &OrderKey) {
        let Some(entry) = self.state.orders.get(key) else { return };
        if entry.cancelled.is_some() || !entry.stops.is_empty() || entry.asked.is_some() {
            return;
        }
        if !self.state.paper_out(key) && (!entry.has_current_plan() || self.has_old_plan(key)) {
            self.ask_plan(key);
        } else {
            self.queue_papers(key, Moment::Now);
        }
    }
}
