//! What facts are about.

use super::{Fact, MessageOutcome};
use crate::model::{JobId, OrderKey, ParcelId, Pins, Subject};

/// What a fact is about, as far as the fact itself says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum About {
    /// These orders.
    Orders(Vec<OrderKey>),
    /// The orders of this parcel.
    Parcel(ParcelId),
    /// The orders of this job's paper.
    Job(JobId),
    /// The workshop as a whole.
    House,
}

/// What a fact is about.
pub fn about(fact: &Fact) -> About {
    let one = |order: &OrderKey| About::Orders(vec![order.clone()]);
    match fact {
        Fact::MessageKept { outcome: MessageOutcome::Orders(orders), .. } if !orders.is_empty() => {
            About::Orders(orders.clone())
        }
        Fact::OrderReceived { order, .. }
        | Fact::OrderRevised { order, .. }
        | Fact::OrderContradicted { order, .. } => one(&order.key),
        Fact::OrderStale { order, .. }
        | Fact::CancellationRemembered { order, .. }
        | Fact::OrderCancelled { order, .. }
        | Fact::OrderReopened { order, .. }
        | Fact::KeptApart { order, .. }
        | Fact::PlanStarted { order }
        | Fact::PlanRefused { order, .. }
        | Fact::StopPut { order: Some(order), .. }
        | Fact::StopLifted { order: Some(order), .. }
        | Fact::Forgotten { order, .. }
        | Fact::Erased { order, .. } => one(order),
        Fact::PlanAsked { order, pins, .. } => About::Orders(asked_together(order, pins)),
        Fact::NotJoined { order, pins, .. } => About::Orders(asked_together(order, pins)),
        Fact::Planned { plan, .. } => About::Orders(plan.orders().cloned().collect()),
        Fact::Parted { orders, .. } => About::Orders(orders.clone()),
        Fact::ParcelMoved { parcel, .. } => About::Parcel(*parcel),
        Fact::JobQueued { subject, .. } => about_paper(subject),
        Fact::JobSending { job, .. }
        | Fact::JobRequeued { job, .. }
        | Fact::JobUncertain { job, .. }
        | Fact::JobOnPaper { job, .. }
        | Fact::JobDropped { job, .. } => About::Job(*job),
        Fact::MessageKept { .. }
        | Fact::StopPut { order: None, .. }
        | Fact::StopLifted { order: None, .. }
        | Fact::Decided { .. }
        | Fact::GapSeen { .. }
        | Fact::GapClosed { .. }
        | Fact::ConfigAdopted { .. }
        | Fact::Started { .. }
        | Fact::Swept { .. }
        | Fact::ModeChanged { .. }
        | Fact::PackingStarted { .. }
        | Fact::ReplanAsked { .. }
        | Fact::ProgramChanged { .. }
        | Fact::RollLoaded { .. }
        | Fact::RetentionBegun { .. }
        | Fact::RetentionDone { .. }
        | Fact::Archived { .. }
        | Fact::RecordsLost { .. }
        | Fact::Restored { .. }
        | Fact::Repaired { .. } => About::House,
    }
}

/// The orders of a plan that is asked for.
fn asked_together(order: &OrderKey, pins: &Pins) -> Vec<OrderKey> {
    std::iter::once(order).chain(pins.joined.iter().map(|(key, _)| key)).cloned().collect()
}

/// What a paper is about.
pub(super) fn about_paper(subject: &Subject) -> About {
    match subject {
        Subject::Parcel(parcel) | Subject::Card(parcel, _) | Subject::Label(parcel) | Subject::Customs(parcel) => {
            About::Parcel(*parcel)
        }
        Subject::Note(order, _) => About::Orders(vec![order.clone()]),
        Subject::List { .. } | Subject::Test(_) => About::House,
    }
}
