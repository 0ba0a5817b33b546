//! What people do: they read the desk (the state that the disk has confirmed), look into the
//! tray, and act. They tell the truth about the tray.

use super::mistakes::Mistake;
use super::story::{Checked, wrong};
use super::world::{Asker, World};
use dawnslip::book::{Action, Answer, Command, Decision, Stage, StopKind, decisions};
use dawnslip::model::*;

/// What somebody expects to find after an action.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Expected {
    Stage(ParcelId, Stage),
    Held(OrderKey, bool),
    Cancelled(OrderKey),
    Dropped(JobId),
    NoGap(SourceName, String),
}

impl World {
    /// Somebody does something that makes sense at the desk.
    pub fn person(&mut self) -> Checked {
        if self.ledger.is_none() {
            return Ok(());
        }
        let Some(action) = self.choose() else { return Ok(()) };
        self.act(action)
    }

    fn act(&mut self, action: Action) -> Checked {
        let orders = match &action {
            Action::Hold { order, .. }
            | Action::Release { order }
            | Action::Cancel { order, .. }
            | Action::KeepApart { order, .. } => {
                vec![order.clone()]
            }
            Action::Packed { parcel } | Action::Unpack { parcel } => {
                let parcel = self.durable.state.parcels.get(parcel);
                parcel.map(|parcel| parcel.orders.clone()).unwrap_or_default()
            }
            _ => Vec::new(),
        };
        self.tell(&orders, format!("a person: {action:?}"));
        let expected = self.expected(&action);
        if let (Action::Unpack { .. }, true) = (&action, self.has(Mistake::LosesUndo)) {
            return self.look_whether_done(&expected, &Answer::Said("it is taken back".to_owned()));
        }
        self.submit(Command::Person(action), Asker::Person(expected))
    }

    /// What an action leads to, as the one who acts sees it.
    fn expected(&self, action: &Action) -> Vec<Expected> {
        match action {
            Action::Packed { parcel } => vec![Expected::Stage(*parcel, Stage::Packed)],
            Action::Unpack { parcel } => {
                let stage = self.ahead.parcels.get(parcel).map(|parcel| parcel.stage);
                let back = if stage == Some(Stage::HandedOver) { Stage::Packed } else { Stage::Printed };
                vec![Expected::Stage(*parcel, back)]
            }
            Action::HandedOver { parcels } => {
                parcels.iter().map(|parcel| Expected::Stage(*parcel, Stage::HandedOver)).collect()
            }
            Action::Hold { order, .. } => vec![Expected::Held(order.clone(), true)],
            Action::Release { order } => vec![Expected::Held(order.clone(), false)],
            Action::Cancel { order, .. } => vec![Expected::Cancelled(order.clone())],
            Action::Drop { job } => vec![Expected::Dropped(*job)],
            Action::NoSuch { source, number } => vec![Expected::NoGap(source.clone(), number.clone())],
            _ => Vec::new(),
        }
    }

    /// Whoever was told that it is done finds it done.
    pub fn look_whether_done(&self, expected: &[Expected], answer: &Answer) -> Checked {
        if matches!(answer, Answer::Refused { .. }) {
            return Ok(());
        }
        let state = &self.durable.state;
        let held = |key: &OrderKey| {
            let stops = state.orders.get(key).into_iter().flat_map(|entry| &entry.stops);
            stops.into_iter().any(|stop| matches!(stop.kind, StopKind::Held { .. }))
        };
        for expected in expected {
            let is_done = match expected {
                Expected::Stage(parcel, stage) => state.parcels.get(parcel).is_some_and(|it| it.stage == *stage),
                Expected::Held(key, yes) => held(key) == *yes,
                Expected::Cancelled(key) => state.orders.get(key).is_some_and(|entry| entry.cancelled.is_some()),
                Expected::Dropped(job) => {
                    state.jobs.get(job).is_some_and(|job| matches!(job.state, JobState::Dropped { .. }))
                }
                Expected::NoGap(source, number) => {
                    !state.shops.get(source).is_some_and(|shop| shop.gaps.values().any(|gap| gap.number == *number))
                }
            };
            if !is_done {
                let now = match expected {
                    Expected::Stage(parcel, _) => state.parcels.get(parcel).map_or("gone", |it| it.stage.word()),
                    _ => "as it was",
                };
                return wrong(format!("a person was told that {expected:?} holds, and it is still {now}"));
            }
        }
        Ok(())
    }

    fn choose(&mut self) -> Option<Action> {
        let state = &self.durable.state;
        let dice = &mut self.dice;
        let parcels_at = |stage: Stage| {
            let at = state.parcels.iter().filter(move |(_, parcel)| parcel.stage == stage);
            at.map(|(id, _)| *id).collect::<Vec<_>>()
        };
        let orders: Vec<OrderKey> = state.orders.keys().cloned().collect();
        let jobs: Vec<JobId> = state.jobs.keys().copied().collect();
        Some(match dice.roll(100) {
            0..4 => Action::Hold { order: dice.pick(&orders)?, reason: "a look first".to_owned() },
            4..14 => {
                let held = |key: &&OrderKey| {
                    state.orders[*key].stops.iter().any(|stop| matches!(stop.kind, StopKind::Held { .. }))
                };
                let held: Vec<OrderKey> = orders.iter().filter(held).cloned().collect();
                Action::Release { order: dice.pick(&held)? }
            }
            14..16 => Action::Cancel { order: dice.pick(&orders)?, reason: "asked on the telephone".to_owned() },
            16..20 => Action::Ready { order: dice.pick(&orders)? },
            20..40 => Action::Packed { parcel: dice.pick(&parcels_at(Stage::Printed))? },
            40..44 => {
                let stage = if dice.one_in(2) { Stage::Packed } else { Stage::HandedOver };
                Action::Unpack { parcel: dice.pick(&parcels_at(stage))? }
            }
            44..56 => {
                let stopped =
                    |id: &ParcelId| state.parcels[id].orders.iter().any(|key| !state.orders[key].stops.is_empty());
                let packed = parcels_at(Stage::Packed).into_iter().filter(|id| !stopped(id)).collect();
                Action::HandedOver { parcels: packed }
            }
            56..60 => Action::Reprint { job: dice.pick(&jobs)?, reason: "tea was spilt on it".to_owned() },
            60..62 => {
                let slips = state.jobs.values().filter(|job| matches!(job.kind, PaperKind::Slip | PaperKind::Card));
                let slips: Vec<JobId> = slips.map(|job| job.id).collect();
                Action::Drop { job: dice.pick(&slips)? }
            }
            62..63 => Action::ListNow,
            63..64 => Action::TestPage,
            64..68 => Action::StartPacking,
            68..69 => Action::Replan { order: dice.pick(&orders)? },
            69..70 if dice.one_in(2) => Action::ReplanAll,
            69..70 => {
                let joined = orders.iter().filter(|key| state.orders[*key].common_plan().is_some());
                let order = dice.pick(&joined.cloned().collect::<Vec<_>>())?;
                let apart = !state.orders[&order].apart;
                Action::KeepApart { order, apart }
            }
            70..72 => {
                let gaps = state
                    .shops
                    .iter()
                    .flat_map(|(source, shop)| shop.gaps.values().map(|gap| (source.clone(), gap.number.clone())));
                let (source, number) = dice.pick(&gaps.collect::<Vec<_>>())?;
                Action::NoSuch { source, number }
            }
            _ => return self.decide(),
        })
    }

    fn questions(&self) -> Vec<Cause> {
        let state = &self.durable.state;
        let of_orders = state.orders.values().flat_map(|entry| &entry.stops);
        let all = of_orders.chain(&state.loose_stops).filter_map(|stop| stop.kind.cause());
        all.cloned().collect()
    }

    fn decide(&mut self) -> Option<Action> {
        let all = self.questions();
        let cause = self.dice.pick(&all)?;
        let decision = match &cause {
            Cause::UncertainPaper(job) => self.look_for(JobId(*job)),
            _ => {
                let mut possible = decisions(&cause);
                if !self.dice.one_in(5) {
                    possible.retain(|decision| *decision != Decision::Cancel);
                }
                self.dice.pick(&possible)?
            }
        };
        Some(Action::Decide { cause: cause.to_string(), decision })
    }

    /// Is this paper in the tray?
    fn look_for(&self, job: JobId) -> Decision {
        let is_there = self.head.tray.iter().any(|sheet| sheet.job == job);
        if is_there { Decision::OnPaper } else { Decision::Copy }
    }

    pub fn has_doubts(&self) -> bool {
        self.questions().iter().any(|cause| matches!(cause, Cause::UncertainPaper(_)))
    }

    /// Somebody answers what stands in the way of papers, by a look into the tray.
    pub fn settle_doubts(&mut self) -> Checked {
        let doubt = self.questions().into_iter().find(|cause| matches!(cause, Cause::UncertainPaper(_)));
        let Some(Cause::UncertainPaper(job)) = doubt else { return Ok(()) };
        let cause = Cause::UncertainPaper(job).to_string();
        self.act(Action::Decide { cause, decision: self.look_for(JobId(job)) })
    }
}
