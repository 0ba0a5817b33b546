//! Planning once more: a plan stays as long as it holds, at the prices of the day, and what takes
//! its place says why.

use super::packaging::{self, Wrap};
use super::scarce::{self, Left};
use super::search::{Candidate, Part};
use super::weigh::Weighing;
use super::{Goods, Kind, Planner, SeeksSecond, Shelf, changes, explain, house, parcels};
use crate::model::*;
use crate::plan::fit::Fit;
use std::collections::BTreeSet;

/// What is wanted of an order that has a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    /// The plan that it has, if that still holds.
    SameIfItHolds,
    /// A new one.
    New,
}

/// What counts now, as for [`Planner::decide`].
#[derive(Debug, Clone, Copy)]
pub struct Now<'a> {
    /// The order.
    pub order: &'a Order,
    /// The workshop.
    pub workshop: &'a Workshop,
    /// What is left.
    pub shelf: &'a Shelf,
    /// What people have settled.
    pub accepted: &'a BTreeSet<String>,
    /// What the plan is made for.
    pub pins: &'a Pins,
}

impl Planner {
    /// The plan of an order that had one before. It keeps its parcels as long as these can be sent, at the
    /// prices that count now; otherwise, or where a new one is `wanted`, the cheapest takes its place.
    /// [`Plan::instead`] says what has changed and why.
    pub fn decide_again(&self, before: &Plan, wanted: Wanted, now: Now<'_>) -> Plan {
        let Now { order, workshop, shelf, accepted, pins } = now;
        let fresh = self.decide(order, workshop, shelf, accepted, pins);
        if before.parcels.is_empty() {
            return fresh;
        }
        if before.same_parcels(&fresh) {
            return told(before, fresh, Vec::new());
        }
        let why = if before.pins.order_version != pins.order_version {
            vec!["the order has changed".to_owned()]
        } else if wanted == Wanted::New {
            vec!["a person wanted a new plan".to_owned()]
        } else {
            match self.still_holds(before, now) {
                Ok(kept) => return told(before, beside(kept, &fresh), Vec::new()),
                Err(why) => vec![why],
            }
        };
        told(before, fresh, why)
    }

    /// The same parcels once more, priced and explained as of now.
    ///
    /// # Errors
    /// Why these parcels cannot be sent any more, in words.
    pub fn still_holds(&self, before: &Plan, now: Now<'_>) -> Result<Plan, String> {
        let Now { order, workshop, shelf, accepted, pins } = now;
        let (mut plan, goods, mut house) = self.begin(order, workshop, shelf, accepted, pins);
        if let Some(question) = goods.questions.iter().chain(&plan.questions).next() {
            return Err(question.what.clone());
        }
        let (wraps, out) = packaging::wraps(workshop, |name| shelf.containers_left.get(name).copied());
        let (asked_for, unmet) = house::services(workshop, order, &house, accepted);
        let wraps = packaging::at_each_thickness(wraps, &asked_for, &order.destination, pins.hand_over);
        plan.questions.extend(unmet);
        // What was planned in time for the day goes on it.
        let in_time = before.pins.hand_over == pins.hand_over;
        let hours = Pins { too_late: if in_time { BTreeSet::new() } else { pins.too_late.clone() }, ..pins.clone() };
        let (services, closed) = scarce::services_open(&asked_for, shelf, &hours);
        let mut weighing = self.weighing(order, workshop, &goods, &house, &wraps, &services, pins.hand_over);
        let counts = counts_of(before, &goods)?;
        let mut parts = Vec::with_capacity(counts.len());
        for (parcel, counts) in before.parcels.iter().zip(counts) {
            let wrap = wrap_of(parcel, &wraps, &out)?;
            let service = service_of(parcel, &services, &closed)?;
            parts.push(part(&mut weighing, counts, wrap, service)?);
        }
        if let Some((scarce, _)) = Left::on(shelf).exceeded(&weighing, &parts) {
            return Err(format!("too few of {scarce} are left"));
        }
        plan.parcels = parcels::build(&mut weighing, &parts, &house);
        plan.cost = plan.parcels.iter().map(|parcel| parcel.cost.total()).reduce(|a, b| a + b);
        plan.verdict = before.verdict.clone();
        plan.what_would_change = changes::near_misses(&mut weighing, &parts, &Left::on(shelf));
        let all: Vec<u32> = goods.kinds.iter().map(Kind::count).collect();
        let sought = SeeksSecond::WhereCheap.holds(&all, &parts);
        let second = sought.then(|| explain::second(&mut weighing, &parts, &Left::on(shelf))).flatten();
        plan.alternatives =
            explain::alternatives(&mut weighing, Some(&parts), second.as_ref(), "the plan that was made is kept", &out);
        parcels::ask_rules(&self.rules, order, workshop, &goods, &mut plan, &mut house);
        house.settle(order, accepted, &mut plan);
        Ok(plan)
    }
}

/// How many of each kind lie in each parcel of a plan, if these are the goods still.
fn counts_of(plan: &Plan, goods: &Goods<'_>) -> Result<Vec<Vec<u32>>, String> {
    let mut rest: Vec<u32> = goods.kinds.iter().map(Kind::count).collect();
    let mut all = Vec::with_capacity(plan.parcels.len());
    for parcel in &plan.parcels {
        let mut counts = vec![0; rest.len()];
        for content in &parcel.contents {
            let same = |kind: &Kind<'_>| {
                kind.product.sku == content.sku && kind.batch.map(|batch| &batch.name) == content.batch.as_ref()
            };
            let index = goods.kinds.iter().position(same);
            let index = index.filter(|index| rest[*index] >= content.quantity).ok_or_else(|| {
                let batch = content.batch.as_ref().map(|batch| format!(" of batch {batch}")).unwrap_or_default();
                format!("{} x {}{batch} no longer go in", content.quantity, content.sku)
            })?;
            rest[index] -= content.quantity;
            counts[index] += content.quantity;
        }
        all.push(counts);
    }
    match goods.kinds.iter().zip(&rest).find(|(_, rest)| **rest > 0) {
        Some((kind, rest)) => Err(format!("{rest} x {} go in as well", kind.product.sku)),
        None => Ok(all),
    }
}

fn wrap_of(parcel: &PlannedParcel, wraps: &[Wrap<'_>], out: &[(String, String)]) -> Result<usize, String> {
    let same = |wrap: &Wrap<'_>| {
        wrap.container.name == parcel.container && wrap.around.map(|around| &around.name) == parcel.inside.as_ref()
    };
    // What was to be so flat goes where no more is allowed, or as little more as there is.
    let as_flat = |most: Length| wraps.iter().rposition(|wrap| same(wrap) && wrap.outer.height >= most);
    let found = parcel.thick_at_most.and_then(as_flat).or_else(|| wraps.iter().position(same));
    found.ok_or_else(|| {
        let alone = parcel.container.to_string();
        let spoken = parcel.inside.as_ref().map_or_else(|| alone.clone(), |around| format!("{alone} in a {around}"));
        match out.iter().find(|(what, _)| *what == spoken) {
            Some((what, why)) if parcel.inside.is_none() => format!("{what} {why}"),
            Some((what, why)) => format!("{what}: {why}"),
            None => format!("{spoken} is not in packaging.toml any more"),
        }
    })
}

fn service_of(parcel: &PlannedParcel, services: &[&Service], closed: &[(String, String)]) -> Result<usize, String> {
    services.iter().position(|service| service.name == parcel.service).ok_or_else(|| {
        let closed = closed.iter().find(|(name, _)| name == parcel.service.as_str());
        closed.map_or_else(|| format!("{} is not offered any more", parcel.service), |(_, why)| why.clone())
    })
}

/// One parcel as the search would have found it.
fn part(weighing: &mut Weighing<'_>, counts: Vec<u32>, wrap: usize, service: usize) -> Result<Part, String> {
    let packed = weighing.weighed(&counts, wrap);
    let (way, by) = (&weighing.wraps[wrap], weighing.services[service]);
    let units = weighing.workshop.locale.units;
    if let Some(why) = weighing.against(way, &packed) {
        return Err(format!("{}: {why}", way.spoken(units)));
    }
    if let Some(why) = weighing.limits.against_service(by) {
        return Err(format!("{}: {why}", by.name));
    }
    if let Some(why) = weighing.against_contents(&counts, service) {
        return Err(format!("{} {why}", by.name));
    }
    match weighing.fit(&counts, wrap) {
        Fit::Fits(_) => {}
        Fit::Cannot(reason) => {
            return Err(format!("{}: {}", way.spoken(units), reason.say(units, |kind| weighing.name(kind))));
        }
        Fit::Unknown => return Err(format!("{}: no way to lay everything in was found", way.spoken(units))),
    }
    let quoted =
        weighing.quoted(&packed, wrap, service).map_err(|refusal| format!("{}: {}", by.name, refusal.say(units)))?;
    let cost = packed.cost_parts(&quoted).total();
    let how = Candidate { cost: cost.minor, volume: way.size(), wrap, service };
    Ok(Part { counts, how })
}

/// A plan that is kept beside the one that would be made now: how sure it is, and what that would save.
fn beside(mut kept: Plan, fresh: &Plan) -> Plan {
    let (Some(cost), Some(cheapest)) = (kept.cost, fresh.cost) else { return kept };
    let least = match fresh.verdict {
        Verdict::BestFound { least_possible } => least_possible,
        Verdict::Proved | Verdict::Nothing => cheapest,
    };
    kept.verdict =
        if cost.minor <= least.minor { Verdict::Proved } else { Verdict::BestFound { least_possible: least } };
    if cheapest.minor < cost.minor {
        let how: Vec<String> = fresh.parcels.iter().map(PlannedParcel::spoken).collect();
        let sentence = format!(
            "planned anew it would cost {} less ({}): dawnslip replan {}",
            (cost - cheapest).figure(),
            how.join(" and "),
            kept.order.number
        );
        kept.what_would_change.insert(0, sentence);
    }
    kept
}

/// The plan with what it took the place of, where parcels or price differ.
fn told(before: &Plan, mut now: Plan, mut why: Vec<String>) -> Plan {
    let stays = before.same_parcels(&now);
    if stays && before.cost == now.cost {
        return now;
    }
    if stays {
        why.extend(before.parcels.iter().zip(&now.parcels).flat_map(|(one, two)| price_changes(one, two)));
        why.dedup();
    }
    let spoken = |plan: &Plan| plan.parcels.iter().map(PlannedParcel::spoken).collect();
    now.instead =
        Some(Instead { before: spoken(before), now: spoken(&now), cost_before: before.cost, cost_now: now.cost, why });
    now
}

/// Which parts of a parcel's cost have changed.
fn price_changes(before: &PlannedParcel, now: &PlannedParcel) -> Vec<String> {
    let postage = |parcel: &PlannedParcel| parcel.cost.postage + parcel.cost.surcharges;
    // Working time that stands beside the cost changes nothing in it.
    let labour = |parcel: &PlannedParcel| {
        let weighed = parcel.cost.labour.filter(|labour| labour.weighed);
        weighed.map_or(Money::new(0, parcel.cost.postage.currency), |labour| labour.amount)
    };
    let parts = [
        (format!("the tariff has changed: {} asks", now.service), postage(before), postage(now)),
        (format!("{} costs", now.container), before.cost.container, now.cost.container),
        ("supplies cost".to_owned(), before.cost.supplies, now.cost.supplies),
        ("labour costs".to_owned(), labour(before), labour(now)),
    ];
    let mut changes: Vec<String> = Vec::new();
    if before.weight != now.weight {
        changes.push(format!("it weighs {} instead of {}", now.weight, before.weight));
    }
    let changed = parts.into_iter().filter(|(_, before, now)| before != now);
    changes
        .extend(changed.map(|(what, before, now)| format!("{what} {} instead of {}", now.figure(), before.figure())));
    changes
}
