//! What facts are about.

use super::{Fact, MessageOutcome};
use crate::model::{JobId, OrderKey, ParcelId, Subject};

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
        | Fact::PlanAsked { order, .. }
        | Fact::PlanStarted { order }
        | Fact::PlanRefused { order, .. }
        | Fact::StopPut { order: Some(order), .. }
        | Fact::StopLifted { order: Some(order), .. }
        | Fact::Forgotten { order, .. }
        | Fact::Erased { order, .. } => one(order),
        Fact::Planned { plan, .. } => one(&plan.order),
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
        | Fact::RetentionBegun { .. }
        | Fact::RetentionDone { .. }
        | Fact::Archived { .. }
        | Fact::RecordsLost { .. }
        | Fact::Restored { .. }
        | Fact::Repaired { .. } => About::House,
    }
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
