//! Questions as people read them: grouped by cause.

use super::deciding::NEVER_CAME;
use super::*;
use crate::model::*;
use jiff::Timestamp;
use std::collections::BTreeMap;

/// One question, with all orders that wait for its answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GroupedQuestion {
    /// As typed in `dawnslip decide`.
    pub cause: String,
    /// What is the matter: one sentence without personal data.
    pub what: String,
    /// What to do about it.
    pub remedy: String,
    /// The same as data, for paper in any language.
    pub matter: Matter,
    /// Orders that wait for it; none for a message that could not be mapped.
    pub orders: Vec<OrderKey>,
    /// Since when the first of them waits.
    pub since: Timestamp,
}

/// What a question is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Matter {
    /// Something that was asked, with what the cause does not say.
    Asked(Cause, Option<Detail>),
    /// A number that its source has skipped.
    NeverCame {
        /// Of which source.
        source: SourceName,
        /// The number.
        number: String,
        /// The ones before and after it, which came.
        between: (String, String),
    },
}

/// All open questions, oldest first: those of orders grouped by cause, those about
/// messages, and numbers that never came.
pub fn questions(state: &State) -> Vec<GroupedQuestion> {
    let mut groups: BTreeMap<&Cause, GroupedQuestion> = BTreeMap::new();
    let of_orders = state.orders.values().flat_map(|entry| entry.stops.iter().map(move |stop| (Some(entry), stop)));
    let loose = state.loose_stops.iter().map(|stop| (None, stop));
    for (entry, stop) in of_orders.chain(loose) {
        let StopKind::NeedsYou(question) = &stop.kind else { continue };
        let group = groups.entry(&question.cause).or_insert_with(|| GroupedQuestion {
            cause: question.cause.to_string(),
            what: question.what.clone(),
            remedy: question.remedy.clone(),
            matter: Matter::Asked(question.cause.clone(), question.detail.clone()),
            orders: Vec::new(),
            since: stop.since,
        });
        group.since = group.since.min(stop.since);
        group.orders.extend(entry.map(|entry| entry.order.key.clone()));
    }
    let mut all: Vec<GroupedQuestion> = groups.into_values().collect();
    all.extend(
        state.shops.iter().flat_map(|(source, shop)| shop.gaps.values().map(move |gap| never_came(source, gap))),
    );
    all.sort_by(|one, two| (one.since, &one.cause).cmp(&(two.since, &two.cause)));
    all
}

fn never_came(source: &SourceName, gap: &Gap) -> GroupedQuestion {
    let number = &gap.number;
    let (before, after) = &gap.between;
    GroupedQuestion {
        cause: format!("{NEVER_CAME}{source}/{number}"),
        what: format!("order {number} never came from {source} ({before} and {after} did)"),
        remedy: format!(
            "look it up in the shop; then: dawnslip intake FILE --source {source}; or, if there is none: dawnslip nosuch {number}"
        ),
        matter: Matter::NeverCame { source: source.clone(), number: number.clone(), between: gap.between.clone() },
        orders: Vec::new(),
        since: gap.since,
    }
}
