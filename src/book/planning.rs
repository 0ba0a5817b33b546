//! Asking the planner and taking its answers.

use super::printing::Moment;
use super::step::{Refusal, Reply, Work, refuse};
use super::*;
use crate::model::*;
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::BTreeSet;

/// Unclean stops while planning one order, from which on a person is asked.
const STOPS_OF_PROGRAM_MAX: u32 = 2;

/// So many orders at most are with the planner on account of a new configuration or day: others that come
/// in meanwhile wait for no more than these.
const ASKED_AGAIN_AT_ONCE: usize = 32;
/// Why papers that were about to print are taken out while an order is planned.
const PLANNED_ANEW: &str = "the order is planned anew";

impl OrderEntry {
    /// Is there a plan with parcels for the content in force?
    pub fn has_current_plan(&self) -> bool {
        let current = |(plan, _): &(Plan, u64)| {
            plan.version_of(&self.order.key) == Some(self.version) && !plan.parcels.is_empty()
        };
        self.plan.as_ref().is_some_and(current)
    }
    /// Is this flaw still in the content?
    pub(super) fn has_flaw(&self, kind: FlawKind) -> bool {
        self.order.flaws.iter().any(|flaw| flaw.kind == kind)
    }
    /// Did the planner put this stop (so that a new plan may lift it)?
    pub(super) fn is_planners(&self, stop: &StopKind) -> bool {
        match stop {
            StopKind::NeedsYou(question) => match &question.cause {
                Cause::UnknownProduct(_)
                | Cause::IncompleteProduct(_)
                | Cause::NothingFits(_)
                | Cause::NoService(_)
                | Cause::Rule(..)
                | Cause::RuleFailed(_) => true,
                Cause::Flaw(_, kind) => !self.has_flaw(*kind),
                Cause::Unmappable(_)
                | Cause::MessageChanged(_)
                | Cause::SameRevision(_)
                | Cause::AfterPrinting(_)
                | Cause::Uncancelled(_)
                | Cause::RecordsLost(..)
                | Cause::StoppedProgram(_)
                | Cause::UncertainPaper(_) => false,
            },
            StopKind::Held { rule, .. } => rule.is_some(),
            StopKind::Waiting(_) => true,
        }
    }
    /// Does something stand in the way even of planning?
    pub(super) fn cannot_be_planned(&self) -> bool {
        self.stops.iter().any(|stop| match &stop.kind {
            StopKind::NeedsYou(question) => match &question.cause {
                Cause::Flaw(_, kind) => self.has_flaw(*kind),
                Cause::StoppedProgram(_) => true,
                _ => false,
            },
            _ => false,
        })
    }
}

impl State {
    /// The day on which a parcel planned now is handed over: today, or the next open day.
    pub fn hand_over_day(&self, today: Date) -> Date {
        daytime::open_day(today, |day| self.is_closed_day(day))
    }
    /// Puts a plan in force with its parcels.
    pub(super) fn take_plan(&mut self, plan: &Plan, parcels: &[ParcelId], seq: u64, at: Timestamp) {
        let orders: Vec<OrderKey> = plan.orders().filter(|key| self.orders.contains_key(key)).cloned().collect();
        if orders.is_empty() {
            return;
        }
        let stays = self.orders.get(&plan.order).is_some_and(|entry| entry.parcels == parcels);
        if let Some(entry) = self.orders.get_mut(&plan.order) {
            entry.asked = None;
            entry.anew = false;
            entry.plan_started = false;
            entry.stopped_program = 0;
        }
        // The same parcels keep their identities, and what a person said about their papers; what was
        // taken back for this plan is queued anew.
        if stays {
            let Some(entry) = self.orders.get_mut(&plan.order) else { return };
            entry.plan = Some((plan.clone(), seq));
            let declined = entry.declined.clone();
            let taken_back = |id: &JobId| {
                let job = self.jobs.get(id);
                job.is_some_and(|job| matches!(job.state, JobState::Dropped { .. }) && !declined.contains(&job.subject))
            };
            let jobs = parcels.iter().filter_map(|id| self.parcels.get(id)).flat_map(|parcel| &parcel.jobs);
            let gone: BTreeSet<JobId> = jobs.copied().filter(taken_back).collect();
            gone.iter().for_each(|id| self.forget_job(*id));
            for (id, planned) in parcels.iter().zip(&plan.parcels) {
                if let Some(parcel) = self.parcels.get_mut(id) {
                    parcel.planned = planned.clone();
                    parcel.jobs.retain(|job| !gone.contains(job));
                    parcel.hand_over = Some(plan.pins.hand_over);
                }
            }
            return;
        }
        for key in &orders {
            self.leave_parcels(key);
            if let Some(entry) = self.orders.get_mut(key) {
                entry.parcels = parcels.to_vec();
                entry.plan = Some((plan.clone(), seq));
                entry.anew = false;
                entry.declined.clear();
            }
        }
        let of = parcels.len() as u32;
        for ((id, planned), part) in parcels.iter().zip(&plan.parcels).zip(1..) {
            self.last_parcel = self.last_parcel.max(id.0);
            let entry = ParcelEntry {
                orders: orders.clone(),
                part: (part, of),
                stage: Stage::Planned,
                since: at,
                planned: planned.clone(),
                hand_over: Some(plan.pins.hand_over),
                jobs: Vec::new(),
            };
            self.parcels.insert(*id, entry);
        }
    }

    /// Is it a day without work?
    pub fn is_closed_day(&self, day: Date) -> bool {
        self.policy.as_ref().is_some_and(|policy| {
            policy.closed_dates.contains(&day) || policy.closed_weekdays.contains(&day.weekday().to_monday_one_offset())
        })
    }
    /// What the order's plan would be pinned to now; `None` before the first configuration.
    pub(super) fn pins_of(&self, entry: &OrderEntry, now: Timestamp) -> Option<Pins> {
        let today = self.date(now);
        let hand_over = self.hand_over_day(today);
        Some(Pins {
            order_version: entry.version,
            revision: entry.order.revision,
            config: self.config.clone()?,
            stock: self.stock_seq,
            hand_over,
            too_late: if hand_over == today { self.too_late(today, now) } else { BTreeSet::new() },
            joined: Vec::new(),
        })
    }
    /// Services with which nothing that is planned now goes today.
    fn too_late(&self, today: Date, now: Timestamp) -> BTreeSet<ServiceName> {
        let latest = self.policy.iter().flat_map(|policy| &policy.latest);
        let past = latest.filter(|(_, time)| daytime::instant_of(&self.zone(), today, **time) <= now);
        past.map(|(name, _)| name.clone()).collect()
    }
}

impl Work<'_> {
    /// Asks the planner, unless the order is cancelled, printed, flawed, or nothing is configured yet.
    pub fn ask_plan(&mut self, key: &OrderKey) {
        self.ask_planner(key, false);
    }

    /// Likewise for a new plan, even where the one in force holds.
    pub fn ask_plan_anew(&mut self, key: &OrderKey) {
        self.ask_planner(key, true);
    }

    fn ask_planner(&mut self, key: &OrderKey, anew: bool) {
        let Some(entry) = self.state.orders.get(key) else { return };
        if entry.cancelled.is_some() || entry.cannot_be_planned() || self.state.paper_out(key) {
            return;
        }
        let Some(pins) = self.state.pins_of(entry, self.now) else { return };
        self.part_order(key);
        let is_new = |entry: &OrderEntry| entry.asked.as_ref() != Some(&pins) || (anew && !entry.anew);
        if self.state.orders.get(key).is_some_and(is_new) {
            self.drop_queued(key, PLANNED_ANEW);
            self.fact(Fact::PlanAsked { order: key.clone(), pins: pins.clone(), anew });
        }
        if self.state.careful {
            return;
        }
        // An order that has stopped the program before is marked on disk before each try.
        if self.state.orders.get(key).is_some_and(|entry| entry.stopped_program > 0 && !entry.plan_started) {
            self.fact(Fact::PlanStarted { order: key.clone() });
        }
        self.effect(Effect::PlanThis { order: key.clone(), pins });
    }

    /// Asks for some of those again whose plan was made for another configuration or day; the next
    /// ones follow as the planner answers.
    pub fn ask_again_by_and_by(&mut self) {
        let day = self.state.hand_over_day(self.state.date(self.now));
        while !self.state.tally.asked_at_least(ASKED_AGAIN_AT_ONCE) {
            let Some(config) = &self.state.config else { return };
            let Some(key) = self.state.tally.old_plan(config, day).cloned() else { return };
            self.ask_plan(&key);
            if self.state.orders.get(&key).is_none_or(|entry| entry.asked.is_none()) {
                return;
            }
        }
    }

    /// Was its plan made for another configuration or day, or does a person want a new one?
    pub fn has_old_plan(&self, key: &OrderKey) -> bool {
        let Some(entry) = self.state.orders.get(key) else { return false };
        let Some((plan, _)) = &entry.plan else { return false };
        let day = self.state.hand_over_day(self.state.date(self.now));
        entry.anew || self.state.config.as_ref() != Some(&plan.pins.config) || plan.pins.hand_over != day
    }

    /// After an unclean stop: starts planning the next order if none is under way, with a
    /// mark that is on disk before the planner begins. Those that never stopped the program go first.
    pub fn start_next_carefully(&mut self) {
        if !self.state.careful {
            return;
        }
        // What was started was asked for.
        let waiting = || self.state.tally.asked().filter_map(|key| self.state.orders.get(key));
        if waiting().any(|entry| entry.plan_started) {
            return;
        }
        let next = waiting().min_by_key(|entry| (entry.stopped_program, entry.received, &entry.order.key));
        let Some((key, Some(pins))) = next.map(|entry| (entry.order.key.clone(), entry.asked.clone())) else { return };
        self.fact(Fact::PlanStarted { order: key.clone() });
        self.effect(Effect::PlanThis { order: key, pins });
    }

    pub fn planning(&mut self, key: &OrderKey) -> Reply {
        let entry = self.entry(key)?;
        if entry.asked.is_none() {
            return refuse(format!("nobody asked for a plan of order {key}"), "nothing to do");
        }
        if !entry.plan_started {
            self.fact(Fact::PlanStarted { order: key.clone() });
        }
        Ok(Answer::Done)
    }

    pub fn planned(&mut self, plan: Plan) -> Reply {
        let key = plan.order.clone();
        let entry = self.entry(&key)?;
        let Some(asked) = entry.asked.clone() else {
            return refuse(format!("nobody waits for a plan of order {key}"), "nothing to do");
        };
        let now = self.state.pins_of(entry, self.now).map(|now| Pins {
            too_late: asked.too_late.clone(),
            joined: asked.joined.clone(),
            ..now
        });
        if asked != plan.pins || now.as_ref() != Some(&asked) {
            let why = what_changed(now.as_ref().filter(|_| asked == plan.pins).unwrap_or(&asked), &plan.pins);
            self.fact(Fact::PlanRefused { order: key.clone(), why: why.to_owned() });
            if asked.joined.is_empty() {
                self.ask_plan(&key);
            } else if now.as_ref() == Some(&asked) {
                self.ask_again_together(key.clone(), asked);
            } else {
                // What was asked for is a thing of the past: the group is looked at anew.
                let pins = Box::new(asked);
                self.fact(Fact::NotJoined { order: key.clone(), pins, why: why.to_owned(), settled: false });
            }
            return refuse(format!("{why} since the plan of order {key} was asked for"), "it is planned again");
        }
        if !plan.pins.joined.is_empty() {
            return self.planned_together(plan);
        }
        let stops = self.stops_of_plan(&plan)?;
        let stays = entry.plan.as_ref().is_some_and(|(before, _)| before.same_parcels(&plan));
        let parcels = if stays { entry.parcels.clone() } else { self.new_parcels(&plan) };
        // What was about to print before it was planned anew prints now, too.
        let taken_back = |id: &JobId| {
            let state = self.state.jobs.get(id).map(|job| &job.state);
            matches!(state, Some(JobState::Dropped { why }) if why == PLANNED_ANEW)
        };
        let printing = self.state.parcels_of(entry).any(|(_, parcel)| parcel.jobs.iter().any(taken_back));
        let moment = if printing { Moment::PackingStarts } else { Moment::Now };
        self.fact(Fact::Planned { plan: Box::new(plan), parcels });
        self.lift_where(&key, Actor::Program, |entry, kind| {
            entry.is_planners(kind) && !stops.iter().any(|stop| stop.is_same(kind))
        });
        for stop in stops {
            self.put_stop(Some(&key), stop);
        }
        self.queue_papers(&key, moment);
        Ok(Answer::Done)
    }

    /// Identities for a plan's parcels.
    pub fn new_parcels(&self, plan: &Plan) -> Vec<ParcelId> {
        (self.state.last_parcel + 1..).map(ParcelId).take(plan.parcels.len()).collect()
    }

    /// The stops that a plan asks for, without those that a person has settled before.
    fn stops_of_plan(&self, plan: &Plan) -> Result<Vec<StopKind>, Refusal> {
        let entry = self.entry(&plan.order)?;
        let today = self.state.date(self.now);
        let mut stops: Vec<StopKind> = plan.questions.iter().cloned().map(StopKind::NeedsYou).collect();
        stops.extend(plan.waits.iter().map(|wait| match wait {
            Wait::Rule { rule, reason } => StopKind::Held { reason: reason.clone(), rule: Some(rule.clone()) },
            other => StopKind::Waiting(other.clone()),
        }));
        stops.extend(entry.order.not_before.map(|day| StopKind::Waiting(Wait::Date(day))));
        stops.retain(|stop| !matches!(stop, StopKind::Waiting(wait) if wait.until().is_some_and(|day| day <= today)));
        // What a person accepted is not asked again, as long as there is something to print.
        let printable = !plan.parcels.is_empty();
        stops.retain(|stop| {
            let accepted = stop.acceptance().is_some_and(|word| entry.accepted.contains(&word));
            !(accepted && (printable || !matches!(stop, StopKind::NeedsYou(_))))
        });
        if !printable && !stops.iter().any(|stop| matches!(stop, StopKind::NeedsYou(_) | StopKind::Waiting(_))) {
            stops.push(StopKind::NeedsYou(Question {
                cause: Cause::Flaw(plan.order.clone(), FlawKind::NoGoods),
                what: format!("nothing in order {} needs a parcel", plan.order.number),
                remedy: format!(
                    "if that is right: dawnslip decide no-goods:{} cancel; else mend products.toml and: dawnslip reload",
                    plan.order
                ),
                detail: None,
            }));
        }
        let mut unique: Vec<StopKind> = Vec::with_capacity(stops.len());
        for stop in stops {
            if !unique.iter().any(|known| known.is_same(&stop)) {
                unique.push(stop);
            }
        }
        Ok(unique)
    }

    /// After a start: what was asked for was lost with the process and is asked for again.
    pub fn ask_again_after_start(&mut self) {
        let asked = self.state.orders.values().filter_map(|entry| Some((entry, entry.asked.clone()?)));
        let asked: Vec<(OrderKey, Pins, u32)> =
            asked.map(|(entry, pins)| (entry.order.key.clone(), pins, entry.stopped_program)).collect();
        for (key, pins, stopped) in asked {
            if !pins.joined.is_empty() {
                // Each alone can be planned: nobody needs to be asked about these.
                if stopped > 0 {
                    let why = "the program stopped while it planned them together".to_owned();
                    self.fact(Fact::NotJoined { order: key, pins: Box::new(pins), why, settled: true });
                } else {
                    self.ask_again_together(key, pins);
                }
            } else if stopped >= STOPS_OF_PROGRAM_MAX {
                let what = format!("the program stopped {stopped} times while it planned order {}", key.number);
                let remedy = format!(
                    "keep the log and pack it by hand, or try once more: dawnslip decide stopped-program:{key} retry"
                );
                self.ask(Some(&key), Cause::StoppedProgram(key.clone()), what, remedy);
            } else {
                self.ask_plan(&key);
            }
        }
    }
}

fn what_changed(asked: &Pins, came: &Pins) -> &'static str {
    if asked.order_version != came.order_version || asked.joined != came.joined {
        "the order has changed"
    } else if asked.config != came.config {
        "the configuration has changed"
    } else if asked.stock != came.stock {
        "the stock has changed"
    } else if asked.hand_over == came.hand_over {
        "the hour of a service has passed"
    } else {
        "the day of handing over has changed"
    }
}
