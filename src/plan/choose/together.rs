//! Several orders of one customer in the same parcels: planned as one, and only where that is no
//! dearer than a parcel for each.

use super::{Planner, Shelf};
use crate::model::*;
use std::collections::BTreeSet;

impl Planner {
    /// One plan for all these orders, the first of them leading; without the last ones where these
    /// add nothing to what it saves. Rules see the sum of all. Where nothing is gained the plan has
    /// no parcels, and says in its first sentence why.
    ///
    /// `accepted` holds what people have answered about any of them (see [`Planner::decide_with`]).
    pub fn decide_together(
        &self,
        orders: &[Order],
        workshop: &Workshop,
        shelf: &Shelf,
        accepted: &BTreeSet<String>,
        pins: &Pins,
    ) -> Plan {
        let decide = |order: &Order| self.decide(order, workshop, shelf, accepted, pins);
        let apart: Vec<Plan> = orders.iter().map(decide).collect();
        let mut best: Option<(Gain, usize, Plan)> = None;
        let mut refused = None;
        for count in 2..=orders.len() {
            let together = decide(&as_one(&orders[..count]));
            match worth(&together, &apart[..count]) {
                Ok(gain) if best.as_ref().is_none_or(|(known, ..)| gain > *known) => {
                    best = Some((gain, count, together));
                }
                Ok(_) => {}
                // What stands in the way of the first two stands in the way of more.
                Err(why) => drop(refused.get_or_insert((together, why))),
            }
        }
        if let Some((gain, count, together)) = best {
            let saves = Money::new(gain.saves, workshop.currency);
            return of_orders(together, &orders[..count], saves);
        }
        let (together, why) =
            refused.unwrap_or_else(|| (decide(&as_one(orders)), "there is nothing to join".to_owned()));
        Plan { parcels: Vec::new(), cost: None, verdict: Verdict::Nothing, what_would_change: vec![why], ..together }
    }
}

/// What is gained by one plan for all: money first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Gain {
    /// Minor units.
    saves: i64,
    /// Parcels that are not needed.
    parcels: usize,
}

/// What is gained against a plan for each, or why it is not worth it.
fn worth(together: &Plan, apart: &[Plan]) -> Result<Gain, String> {
    if let Some(question) = together.questions.first() {
        return Err(format!("together: {}", question.what));
    }
    let known: Option<Vec<Money>> = apart.iter().map(|plan| plan.cost).collect();
    let sum = known.and_then(|costs| costs.into_iter().reduce(|sum, cost| sum + cost));
    let (Some(cost), Some(sum), true) = (together.cost, sum, together.waits.is_empty()) else {
        return Err("not all of it can be sent at once".to_owned());
    };
    let parcels: usize = apart.iter().map(|plan| plan.parcels.len()).sum();
    let gain = Gain { saves: (sum - cost).minor, parcels: parcels.saturating_sub(together.parcels.len()) };
    match gain {
        Gain { saves: ..0, .. } => Err(format!("together it would cost {} more", (cost - sum).figure())),
        Gain { saves: 0, parcels: 0 } => Err("together it would cost the same and need as many parcels".to_owned()),
        gain => Ok(gain),
    }
}

/// All goods as one order of the leading one's number.
fn as_one(orders: &[Order]) -> Order {
    let mut all = orders[0].clone();
    for other in &orders[1..] {
        all.lines.extend(other.lines.iter().cloned());
        all.has_wish |= other.has_wish;
        all.placed = all.placed.min(other.placed).or(all.placed).or(other.placed);
        all.not_before = all.not_before.max(other.not_before);
        all.total = match (all.total, other.total) {
            (Some(one), Some(two)) if one.currency == two.currency => Some(one + two),
            _ => None,
        };
    }
    all
}

/// Gives each line back to its own order.
fn of_orders(together: Plan, orders: &[Order], saves: Money) -> Plan {
    let mut plan = together;
    for content in plan.parcels.iter_mut().flat_map(|parcel| &mut parcel.contents) {
        let Some(mut line) = content.line else { continue };
        for (index, order) in orders.iter().enumerate() {
            if line < order.lines.len() {
                (content.order, content.line) = (index, Some(line));
                break;
            }
            line -= order.lines.len();
        }
    }
    plan.joined = orders[1..].iter().map(|order| order.key.clone()).collect();
    plan.joined_saves = Some(saves);
    plan
}
