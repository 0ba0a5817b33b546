//! The things that need a person, each with since when, why and what to do. Pure.

use super::{ReadState, jobs, lookup, words};
use crate::book::{GroupedQuestion, LIST_LATE_AFTER, State, decisions, questions};
use crate::model::*;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// So many orders of a question are named, the others counted.
const NAMED_MAX: usize = 6;
/// What the cause of a missing number begins with (see `book::questions`).
const NEVER_CAME: &str = "never-came:";

/// What kind of thing it is: stable words for programs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ThingKind {
    /// The program itself is in trouble: no room on the disk.
    Program,
    /// A printer.
    Printer,
    /// A new configuration was refused.
    Config,
    /// The pick list is late.
    PickList,
    /// A question, for all orders with the same cause.
    Question,
    /// Nobody knows whether a paper was printed, and nobody was asked yet.
    Uncertain,
    /// Numbers that never came.
    Gap,
}

/// One thing that needs a person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Thing {
    /// What kind.
    pub kind: ThingKind,
    /// What is the matter.
    pub what: String,
    /// Since when.
    pub since: Timestamp,
    /// How long that is, in words.
    pub age: String,
    /// Why.
    pub why: String,
    /// What to do, one line each.
    #[serde(rename = "do")]
    pub remedy: Vec<String>,
    /// Questions: the cause, as typed in `dawnslip decide`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cause: Option<String>,
    /// Questions: the decisions that it takes.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub decisions: Vec<String>,
    /// Questions: numbers of the orders that wait.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub orders: Vec<String>,
}

/// Every thing, most pressing kind first, within a kind the oldest first.
pub fn things(read: &ReadState, now: Timestamp) -> Vec<Thing> {
    let mut all = Vec::new();
    for trouble in &read.troubles {
        all.push(plain(
            ThingKind::Program,
            trouble.what.clone(),
            trouble.since,
            now,
            &trouble.why,
            vec![trouble.remedy.clone()],
        ));
    }
    all.extend(printers(read, now));
    all.extend(refused_config(read, now));
    all.extend(late_list(read, now));
    all.extend(open_questions(&read.state, now));
    all.extend(unasked(read, now));
    all.extend(gaps(read, now));
    all
}

fn plain(kind: ThingKind, what: String, since: Timestamp, now: Timestamp, why: &str, remedy: Vec<String>) -> Thing {
    let age = words::age(since, now);
    Thing {
        kind,
        what,
        since,
        age,
        why: why.to_owned(),
        remedy,
        cause: None,
        decisions: Vec::new(),
        orders: Vec::new(),
    }
}

/// Printers in trouble, with the papers that wait for them.
fn printers(read: &ReadState, now: Timestamp) -> Vec<Thing> {
    let troubled = read.printers.iter().filter_map(|p| Some((&p.printer, p.trouble.as_ref()?)));
    troubled
        .map(|(name, trouble)| {
            let mut why = trouble.why.clone();
            let waiting: Vec<&Job> = read.state.jobs.values().filter(|job| waits_for(read, job, name)).collect();
            if let Some(oldest) = waiting.iter().min_by_key(|job| job.id) {
                let wait = if waiting.len() == 1 { "waits" } else { "wait" };
                let oldest = jobs::paper_name(&read.state, oldest);
                why = match waiting.len() {
                    1 => format!("{why}; 1 paper waits, {oldest}"),
                    n => format!("{why}; {n} papers {wait}, the oldest is {oldest}"),
                };
            }
            let what = format!("printer \"{name}\": {}", trouble.what);
            plain(ThingKind::Printer, what, trouble.since, now, &why, vec![trouble.remedy.clone()])
        })
        .collect()
}

/// Is this job queued for, or on its way to, that printer?
fn waits_for(read: &ReadState, job: &Job, name: &PrinterName) -> bool {
    match &job.state {
        JobState::Queued => {
            read.state.printer_of(&read.workshop, job.kind, &job.subject).is_some_and(|p| &p.name == name)
        }
        JobState::Sending { printer } => printer == name,
        _ => false,
    }
}

fn refused_config(read: &ReadState, now: Timestamp) -> Option<Thing> {
    let refused = read.refused_config.as_ref()?;
    let why = match refused.complaints.as_slice() {
        [] => "it could not be read".to_owned(),
        [only] => only.clone(),
        [first, others @ ..] => format!("{first} (and {} more)", others.len()),
    };
    let remedy = vec![
        "mend it, look with: dawnslip check; then: dawnslip reload".to_owned(),
        "until then the configuration from before stays in force".to_owned(),
    ];
    Some(plain(ThingKind::Config, "the new configuration was refused".into(), refused.since, now, &why, remedy))
}

/// The scheduled list of today, some time after its hour, is still not on paper.
fn late_list(read: &ReadState, now: Timestamp) -> Option<Thing> {
    // A workshop that has never had a list begins with its first one.
    let last = read.state.last_list?;
    let today = daytime::date_of(&read.workshop.zone, now);
    let due = read.state.list_due(today)?;
    if now.duration_since(due) <= LIST_LATE_AFTER {
        return None;
    }
    let subject = Subject::List { date: today, extra: 0 };
    let job = read.state.jobs.values().filter(|job| job.subject == subject).max_by_key(|job| job.id);
    let (why, remedy) = match job {
        Some(Job {
            state: JobState::OnPaper { .. } | JobState::Dropped { .. } | JobState::Uncertain { .. }, ..
        }) => {
            return None;
        }
        // A printer in trouble is told already, with what waits for it.
        Some(job) if read.printers.iter().any(|p| p.trouble.is_some() && waits_for(read, job, &p.printer)) => {
            return None;
        }
        Some(job) => (
            format!("its paper is {}", job.state.word()),
            "look at the printer; or read it here: dawnslip picklist".to_owned(),
        ),
        None if last >= today => return None,
        None => ("it was not asked for at its hour".to_owned(), "print it now: dawnslip picklist --print".to_owned()),
    };
    Some(plain(ThingKind::PickList, "today's pick list is not on paper".into(), due, now, &why, vec![remedy]))
}

/// Questions, one thing for each cause; numbers that never came are told by [`gaps`].
fn open_questions(state: &State, now: Timestamp) -> Vec<Thing> {
    let asked = questions(state).into_iter().filter(|question| !question.cause.starts_with(NEVER_CAME));
    asked
        .map(|question| {
            let orders: Vec<String> = question.orders.iter().map(|key| lookup::shown(state, key)).collect();
            let what = &question.what;
            let (what, why) = match orders.as_slice() {
                [] => (what.clone(), String::new()),
                [only] => (format!("{only}: {what}"), format!("nothing more is printed for {only} until you decide")),
                many => (
                    format!("{} orders wait for one thing: {what}", many.len()),
                    format!("{} wait for it", words::list(many, NAMED_MAX)),
                ),
            };
            let mut remedy = vec![question.remedy.clone()];
            let decisions = decisions_of(state, &question);
            if let Some((first, others)) = decisions.split_first()
                && !question.remedy.contains("dawnslip decide")
            {
                let others = if others.is_empty() { String::new() } else { format!(" (or {})", others.join(", ")) };
                remedy.push(format!("then: dawnslip decide {} {first}{others}", question.cause));
            }
            let mut thing = plain(ThingKind::Question, words::tame(&what), question.since, now, &why, remedy);
            (thing.cause, thing.decisions, thing.orders) = (Some(question.cause), decisions, orders);
            thing
        })
        .collect()
}

/// The words of the decisions that a question takes.
fn decisions_of(state: &State, question: &GroupedQuestion) -> Vec<String> {
    let stops = match question.orders.first().and_then(|key| state.orders.get(key)) {
        Some(entry) => &entry.stops,
        None => &state.loose_stops,
    };
    let cause = stops.iter().filter_map(|stop| stop.kind.cause()).find(|cause| cause.to_string() == question.cause);
    cause.map_or(Vec::new(), |cause| decisions(cause).into_iter().map(|d| d.word().to_owned()).collect())
}

/// Uncertain papers whose kind says `ask`, but about which no question stands.
fn unasked(read: &ReadState, now: Timestamp) -> Vec<Thing> {
    let state = &read.state;
    let of_orders = state.orders.values().flat_map(|entry| &entry.stops);
    let asked: Vec<&Cause> = of_orders.chain(&state.loose_stops).filter_map(|stop| stop.kind.cause()).collect();
    let uncertain = state.jobs.values().filter_map(|job| match &job.state {
        JobState::Uncertain { why } if state.when_uncertain(job.kind, &job.subject) == WhenUncertain::Ask => {
            Some((job, why))
        }
        _ => None,
    });
    uncertain
        .filter(|(job, _)| !asked.contains(&&Cause::UncertainPaper(job.id.0)))
        .map(|(job, why)| {
            let name = jobs::paper_name(state, job);
            let remedy = vec![
                format!("look into the tray; if it is not there: dawnslip reprint {}", job.id),
                format!("if it is: dawnslip decide uncertain-paper:{} on-paper", job.id.0),
            ];
            plain(ThingKind::Uncertain, format!("nobody knows whether {name} was printed"), job.since, now, why, remedy)
        })
        .collect()
}

/// Numbers that never came, one thing for each run of them.
fn gaps(read: &ReadState, now: Timestamp) -> Vec<Thing> {
    let state = &read.state;
    let zone = &read.workshop.zone;
    let mut things = Vec::new();
    for (source, shop) in &state.shops {
        let mut runs: Vec<(&crate::book::Gap, &str, usize)> = Vec::new();
        for gap in shop.gaps.values() {
            match runs.last_mut() {
                Some((first, last, count)) if first.between == gap.between => {
                    (*last, *count) = (&gap.number, *count + 1);
                }
                _ => runs.push((gap, &gap.number, 1)),
            }
        }
        for (gap, last, count) in runs {
            let (before, after) = &gap.between;
            let came = |number: &str| {
                let entry = state.orders.get(&OrderKey { source: source.clone(), number: number.to_owned() });
                entry.map(|entry| words::moment(zone, entry.received, now))
            };
            let times = match (came(before), came(after)) {
                (Some(first), Some(second)) => format!(" at {first} and {second}"),
                _ => String::new(),
            };
            let (what, they) = match count {
                1 => (format!("order {last} never came"), format!("{last} did not")),
                n => (format!("{n} orders, {} to {last}, never came", gap.number), "those between did not".into()),
            };
            let why = format!("{before} and {after} came from \"{source}\"{times}, {they}");
            let typed = if state.shops.len() > 1 { format!("{source}/{last}") } else { last.to_owned() };
            let none = if count == 1 { "or, if there is none" } else { "or, for each number that the shop never gave" };
            let remedy = vec![
                format!("look it up in the shop; then: dawnslip intake FILE --source {source}"),
                format!("{none}: dawnslip nosuch {typed}"),
            ];
            things.push(plain(ThingKind::Gap, what, gap.since, now, &why, remedy));
        }
    }
    things
}
