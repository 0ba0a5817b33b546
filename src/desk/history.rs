//! What has happened to an order, in words. Pure.

use super::words;
use crate::book::{Actor, Fact, Mode, People, Stage, Stamped, State, StopKind};
use crate::model::*;
use jiff::Timestamp;
use serde::Serialize;

/// One entry of an order's history.
#[derive(Debug, Clone, Serialize)]
pub struct Happened {
    /// When.
    pub at: Timestamp,
    /// Number of the fact.
    pub seq: u64,
    /// In words.
    pub what: String,
    /// As written in the ledger.
    pub fact: Fact,
}

/// An order's history, oldest first, with what people typed as long as it is kept.
pub fn history(state: &State, people: &People, order: &OrderKey, facts: Vec<Stamped>) -> Vec<Happened> {
    let in_words = |stamped: Stamped| {
        let typed = matches!(
            stamped.fact,
            Fact::StopPut { stop: StopKind::Held { rule: None, .. }, .. }
                | Fact::OrderCancelled { by: Actor::Person, .. }
                | Fact::JobQueued { copy: Some(_), .. }
        );
        let said = people.said(order, stamped.at).filter(|_| typed);
        let said = said.map(|text| reason(text.reveal())).unwrap_or_default();
        let what = words::tame(&(in_words(state, &stamped.fact) + &said));
        Happened { at: stamped.at, seq: stamped.seq, what, fact: stamped.fact }
    };
    facts.into_iter().map(in_words).collect()
}

fn by(actor: Actor) -> &'static str {
    match actor {
        Actor::Shop => "by the shop",
        Actor::Person => "by a person",
        Actor::Program => "by dawnslip",
    }
}

/// `because …`, or nothing.
fn reason(text: &str) -> String {
    if text.is_empty() { String::new() } else { format!(": {text}") }
}

/// A stop in words.
pub fn stop(kind: &StopKind) -> String {
    match kind {
        StopKind::NeedsYou(question) => format!("needs you: {}", question.what),
        StopKind::Held { reason, rule: Some(rule) } => format!("held by rule \"{rule}\": {reason}"),
        StopKind::Held { reason: why, rule: None } => format!("held{}", reason(why)),
        StopKind::Waiting(Wait::Rule { rule, reason }) => format!("waiting by rule \"{rule}\": {reason}"),
        StopKind::Waiting(Wait::MadeToOrder(sku)) => format!("waiting: {sku} is made to order"),
        StopKind::Waiting(Wait::Date(date)) => format!("waiting: not before {date}"),
        StopKind::Waiting(Wait::Service { until, why }) => format!("waiting until {until}: {why}"),
        StopKind::Waiting(Wait::Stock { sku, missing }) => {
            format!("waiting: {missing} x {sku} are missing from the stock")
        }
    }
}

/// One fact in words.
pub fn in_words(state: &State, fact: &Fact) -> String {
    let job = |id: &JobId| match state.jobs.get(id) {
        Some(job) => format!("{id}, {}", super::jobs::paper_name(state, job)),
        None => id.to_string(),
    };
    match fact {
        Fact::MessageKept { message, .. } => format!("a message of \"{}\" was kept", message.source),
        Fact::OrderReceived { order, .. } => {
            format!("received from \"{}\", {}", order.key.source, words::count(order.lines.len(), "line", "lines"))
        }
        Fact::OrderRevised { version, differences, .. } if differences.is_empty() => {
            format!("changed by the shop (version {version})")
        }
        Fact::OrderRevised { version, differences, .. } => {
            format!(
                "changed by the shop (version {version}): {}",
                differences.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
            )
        }
        Fact::OrderStale { .. } => "an older content came late; it changes nothing".into(),
        Fact::OrderContradicted { version, .. } => {
            format!("another content with the same revision came (version {version})")
        }
        Fact::CancellationRemembered { .. } => "a cancellation came before the order".into(),
        Fact::OrderCancelled { by: who, reason: why, .. } => format!("cancelled {}{}", by(*who), reason(why)),
        Fact::OrderReopened { by: who, .. } => format!("open again, {}", by(*who)),
        Fact::PlanAsked { pins, anew: true, .. } => {
            format!("a new plan was asked for by a person, to hand over on {}", pins.hand_over)
        }
        Fact::ReplanAsked { by: who } => format!("all that is not printed is planned anew, {}", by(*who)),
        Fact::PlanAsked { order, pins, .. } if !pins.joined.is_empty() => {
            let orders = std::iter::once(order).chain(pins.joined.iter().map(|(key, _)| key));
            format!("a common plan was asked for: {}", together(orders))
        }
        Fact::PlanAsked { pins, .. } => format!("a plan was asked for, to hand over on {}", pins.hand_over),
        Fact::PlanStarted { .. } => "planning began, marked on disk after an unclean stop".into(),
        Fact::Planned { plan, .. } => planned(plan),
        Fact::NotJoined { why, .. } => format!("not joined{}", reason(why)),
        Fact::Parted { orders, why } => format!("{} go apart again{}", together(orders.iter()), reason(why)),
        Fact::KeptApart { apart: true, .. } => "a person keeps it apart: it travels alone".into(),
        Fact::KeptApart { apart: false, .. } => "it may be joined again, by a person".into(),
        Fact::PlanRefused { why, .. } => format!("a plan came too late{}", reason(why)),
        Fact::StopPut { stop: kind, .. } => stop(kind),
        Fact::StopLifted { stop: kind, by: who, .. } => format!("no longer {} ({})", stop(kind), by(*who)),
        Fact::Decided { cause, decision } => format!("decided {}: {cause}", decision.word()),
        Fact::ParcelMoved { parcel, from, to, by: who } => moved(state, *parcel, *from, *to, *who),
        Fact::JobQueued { job, kind, copy, .. } => {
            let copy =
                copy.as_ref().map(|mark| format!(" as COPY of {}{}", mark.of, reason(&mark.why))).unwrap_or_default();
            format!("{kind} queued{copy} ({job})")
        }
        Fact::JobSending { job: id, printer, .. } => format!("sending to printer \"{printer}\" ({})", job(id)),
        Fact::JobRequeued { job: id, why } => format!("queued again{} ({})", reason(why), job(id)),
        Fact::JobUncertain { job: id, why } => format!("uncertain whether printed{} ({})", reason(why), job(id)),
        Fact::JobOnPaper { job: id, .. } => format!("on paper ({})", job(id)),
        Fact::JobDropped { job: id, why, .. } => format!("dropped{} ({})", reason(why), job(id)),
        Fact::GapSeen { number, .. } => format!("{number} is missing"),
        Fact::GapClosed { number, by: who, .. } => format!("{number} is missing no more ({})", by(*who)),
        Fact::ConfigAdopted { digest, .. } => format!("configuration {} in force", short(digest)),
        Fact::Forgotten { by: who, .. } => format!("all personal data are to be erased, {}", by(*who)),
        Fact::Erased { lines, .. } => {
            format!("personal data erased: {}", words::count(*lines as usize, "line", "lines"))
        }
        Fact::RetentionBegun { before } => format!("personal data of orders that ended before {before} are erased"),
        Fact::RetentionDone { orders, .. } => {
            format!("old personal data erased, of {}", words::count(*orders as usize, "order", "orders"))
        }
        Fact::ProgramChanged { to, .. } => format!("dawnslip {to} writes from here on"),
        Fact::Started { clean: true, .. } => "dawnslip started".into(),
        Fact::Started { clean: false, .. } => "dawnslip started after an unclean stop".into(),
        Fact::ModeChanged { mode, held: true } => format!("mode {}, by a person", mode.word()),
        Fact::ModeChanged { mode: Mode::Burst, .. } => "a burst began".into(),
        Fact::ModeChanged { mode: Mode::Trickle, .. } => "the burst ended".into(),
        Fact::RollLoaded { printer } => format!("a new roll in printer \"{printer}\""),
        Fact::PackingStarted { by: who } => format!("packing started, {}", by(*who)),
        Fact::Archived { .. } => "archived".into(),
        Fact::RecordsLost { from, to } => format!("this record is lost ({from} to {to} are)"),
        Fact::Restored { made } => format!("taken in from a copy made at {made:.0}; it goes on from there"),
        Fact::Repaired { lost, kept_in } => match lost.len() {
            0 => format!("the ledger was repaired, nothing was lost; what was replaced lies in {kept_in}"),
            _ => {
                let lost: Vec<String> = lost.iter().map(|lost| format!("{} to {}", lost.from, lost.to)).collect();
                format!("the ledger was repaired, records {} are lost", lost.join(", "))
            }
        },
        Fact::Swept { .. } => "old message ids were forgotten".into(),
    }
}

fn planned(plan: &Plan) -> String {
    let parcels: Vec<String> = plan.parcels.iter().map(PlannedParcel::spoken).collect();
    let lead = match plan.joined_saves {
        Some(saves) => format!("{} planned together, which saves {saves}", together(plan.orders())),
        None => "planned".to_owned(),
    };
    let instead = plan.instead.as_ref().map(|it| format!("; instead of {}", super::order::replaced(it)));
    let planned = match (parcels.is_empty(), plan.cost) {
        (true, _) => "planned: nothing can be packed yet".into(),
        (false, Some(cost)) => format!("{lead}: {} for {cost}", parcels.join(" and ")),
        (false, None) => format!("{lead}: {}", parcels.join(" and ")),
    };
    planned + &instead.unwrap_or_default()
}

/// `S-417 + S-421`.
pub(super) fn together<'k>(orders: impl Iterator<Item = &'k OrderKey>) -> String {
    words::tame(&orders.map(|key| key.number.as_str()).collect::<Vec<_>>().join(" + "))
}

fn moved(state: &State, parcel: ParcelId, from: Stage, to: Stage, who: Actor) -> String {
    let label = state.label(parcel);
    if to < from {
        return format!("{label}: {} undone, now {} ({})", from.word(), to.word(), by(who));
    }
    format!("{label}: {} ({})", to.word(), by(who))
}

fn short(digest: &ConfigDigest) -> &str {
    digest.as_str().get(..8).unwrap_or(digest.as_str())
}
