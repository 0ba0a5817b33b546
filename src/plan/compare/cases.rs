//! Orders that no planner could tell apart are planned once.

use super::Situation;
use super::days::{Dated, Days, Periods};
use crate::model::{Order, OrderKey, Rule};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// Orders that are alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Case {
    /// Their places in the list of orders, at least one, in order.
    pub members: Vec<usize>,
}

impl Case {
    /// The first of them, which is planned for all.
    pub fn first(&self) -> usize {
        self.members[0]
    }
    /// How many.
    pub fn times(&self) -> i64 {
        self.members.len() as i64
    }
}

/// Sorts orders into those that are alike in all these situations, in the order in which the
/// first of each comes.
pub fn alike(orders: &[Dated], situations: &[Situation]) -> Vec<Case> {
    let single = situations.iter().flat_map(|situation| &situation.workshop.rules).any(tells_apart);
    let own: Vec<Days> = situations.iter().map(|one| one.days).filter(|days| matches!(days, Days::Own(_))).collect();
    let periods = Periods::of(situations);
    let mut known: BTreeMap<(String, Vec<Option<Date>>), usize> = BTreeMap::new();
    let mut cases: Vec<Case> = Vec::new();
    for (index, order) in orders.iter().enumerate() {
        let next = cases.len();
        let when = own.iter().map(|days| periods.start(days.of(order))).collect();
        match *known.entry((face(&order.order, single), when)).or_insert(next) {
            at if at == next => cases.push(Case { members: vec![index] }),
            at => cases[at].members.push(index),
        }
    }
    cases
}

/// May a rule see whose order it is, or when it was placed? Where it looks at the order as a
/// whole and not at one of its fields, it may.
fn tells_apart(rule: &Rule) -> bool {
    let whole = |text: &str| text.split("order").skip(1).any(|behind| !behind.starts_with('.'));
    rule.when.contains("number") || rule.when.contains("placed") || whole(&rule.when)
}

/// What the planner sees of an order. Flaws, cancellations, dates to wait for and names of
/// goods change no parcel.
fn face(order: &Order, single: bool) -> String {
    let Order { key, placed, lines, destination, gift, requested_service, total, has_wish, .. } = order;
    let whose: Option<(&OrderKey, _)> = single.then_some((key, placed));
    let goods: Vec<_> = lines.iter().map(|line| (&line.sku, line.quantity, line.unit_price)).collect();
    let to = (destination.country, &destination.postcode_head, destination.post_box);
    format!("{:?}", (whose, &key.source, goods, to, gift, requested_service, total, has_wish))
}
