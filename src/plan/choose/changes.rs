//! What would change the answer: so much less weight, or one piece less, and something cheaper would do. One
//! sentence each, in words for people.

use super::explain::spoken;
use super::goods::{Kind, as_ordered};
use super::packaging::{Weighed, Wrap, tolerance};
use super::scarce::{self, Left};
use super::search::{PAIRS_MAX, Part, pairs};
use super::weigh::Weighing;
use crate::model::*;
use crate::plan::fit::Fit;
use crate::plan::tariff;
use std::cmp::Reverse;

/// A bound is worth a sentence if so much less would reach it, in percent of the weight ...
const NEAR_PERCENT: i64 = 15;
/// ... or this much.
const NEAR: Weight = Weight::from_g(60);
/// Ways by which a parcel could go for less, the nearest first, each cheaper than the one before it.
const WAYS_MAX: usize = 2;

/// A way that a lighter parcel could go.
struct Way {
    wrap: usize,
    service: usize,
    /// So much less it would have to weigh.
    less: Weight,
    /// What it would cost.
    cost: i64,
}

/// Near misses of each parcel, by any container and service. `left`: what may be taken.
pub fn near_misses(weighing: &mut Weighing<'_>, parts: &[Part], left: &Left) -> Vec<String> {
    let mut sentences = Vec::new();
    let units = weighing.workshop.locale.units;
    for (at, part) in parts.iter().enumerate() {
        let packed = weighing.weighed(&part.counts, part.how.wrap);
        let Ok(quoted) = weighing.quoted(&packed, part.how.wrap, part.how.service) else { continue };
        let of_parcel = match parts.len() {
            1 => String::new(),
            _ => format!("{}: ", spoken(weighing, part.how.wrap, part.how.service)),
        };
        let below = quoted.below.map(|(bound, _)| packed.weight - bound);
        let ends = quoted.ends;
        for way in cheaper_ways(weighing, parts, at, left) {
            let less = units.weight(Weight::from_g(way.less.g_up()));
            let saves = Money::new(part.how.cost - way.cost, weighing.workshop.currency).figure();
            let (same_wrap, same_service) = (way.wrap == part.how.wrap, way.service == part.how.service);
            let service = &weighing.services[way.service].name;
            sentences.push(match (same_wrap, same_service) {
                (true, true) => {
                    let step = if below == Some(way.less) { " (the step below)" } else { "" };
                    format!("{of_parcel}{less} less would save {saves}{step}")
                }
                (true, false) => format!("{of_parcel}{less} less and it goes by {service} for {saves} less"),
                (false, _) => {
                    let way = spoken(weighing, way.wrap, way.service);
                    format!("{of_parcel}{less} less and it goes in {way} for {saves} less")
                }
            });
        }
        if let Some(ends) = ends.filter(|ends| packed.weight + tolerance(packed.weight) > *ends) {
            let then = match weighing.dearer_above(&packed, part.how.wrap, part.how.service, ends) {
                Some(more) => format!("would cost {} more", more.figure()),
                None => format!("would be too heavy for {}", weighing.services[part.how.service].name),
            };
            let spare = units.limit(ends - packed.weight);
            sentences.push(format!("{of_parcel}more than {spare} above what is predicted {then}: weigh it"));
        }
    }
    sentences.dedup();
    sentences
}

/// Ways by which one parcel would go for less if it weighed a little less; not those by which it could as it
/// is, since something else stands against them.
fn cheaper_ways(weighing: &mut Weighing<'_>, parts: &[Part], at: usize, left: &Left) -> Vec<Way> {
    let (part, wraps) = (&parts[at], weighing.wraps);
    let allowed: Vec<usize> = (0..weighing.services.len())
        .filter(|&service| weighing.limits.against_service(weighing.services[service]).is_none())
        .filter(|&service| weighing.against_contents(&part.counts, service).is_none())
        .collect();
    let mut ways: Vec<Way> = Vec::new();
    for (index, wrap) in wraps.iter().enumerate() {
        if weighing.limits.against_containers(wrap.containers()).is_some() {
            continue;
        }
        let packed = weighing.weighed(&part.counts, index);
        for &service in allowed.iter().filter(|service| wrap.is_minded_by(weighing.services[**service])) {
            let bounds = near_bounds(weighing, wrap, service, packed.weight);
            let cost_at = |weight: Weight| {
                let lighter = Weighed { weight, ..packed };
                let quoted = weighing.quoted(&lighter, index, service).ok()?;
                let cost = lighter.cost_parts(&quoted).total().minor;
                (cost < part.how.cost && weighing.against(wrap, &lighter).is_none()).then_some(cost)
            };
            if bounds.is_empty() || cost_at(packed.weight).is_some() {
                continue;
            }
            for bound in bounds {
                let less = packed.weight - bound;
                ways.extend(cost_at(bound).map(|cost| Way { wrap: index, service, less, cost }));
            }
        }
    }
    // People read whole grams: of what is as near the cheapest counts.
    ways.sort_by_key(|way| (way.less.g_up(), way.cost));
    let mut kept: Vec<Way> = Vec::new();
    for way in ways {
        let cheaper = kept.last().is_none_or(|known| way.cost < known.cost);
        if kept.len() < WAYS_MAX && cheaper && goes(weighing, parts, at, &way, left) {
            kept.push(way);
        }
    }
    kept
}

/// Does everything go in, and is enough of it left?
fn goes(weighing: &Weighing<'_>, parts: &[Part], at: usize, way: &Way, left: &Left) -> bool {
    let mut others = parts.to_vec();
    (others[at].how.wrap, others[at].how.service) = (way.wrap, way.service);
    matches!(weighing.glance(&parts[at].counts, way.wrap), Fit::Fits(_)) && left.exceeded(weighing, &others).is_none()
}

/// Weights a little below this one at which something else may count, the nearest first.
fn near_bounds(weighing: &Weighing<'_>, wrap: &Wrap<'_>, service: usize, weight: Weight) -> Vec<Weight> {
    let least = weight - NEAR.max(Weight { ng: weight.ng / 100 * NEAR_PERCENT });
    let mut tare = Weight::ZERO;
    let loads = wrap.around.into_iter().chain(std::iter::once(wrap.container)).filter_map(|container| {
        tare = tare + container.tare;
        container.load_max.map(|most| most + tare)
    });
    let all = tariff::bounds(weighing.services[service], weighing.on).chain(loads);
    let mut bounds: Vec<Weight> = all.filter(|bound| *bound < weight && *bound >= least).collect();
    bounds.sort_by_key(|bound| Reverse(*bound));
    bounds.dedup();
    bounds
}

/// The one piece without which all the rest goes another way and saves the most. Plans once for each kind
/// of thing, so only where somebody asks.
pub fn one_less(weighing: &mut Weighing<'_>, parts: &[Part], left: &Left) -> Option<String> {
    let counts: Vec<u32> = weighing.kinds.iter().map(Kind::count).collect();
    if counts.iter().sum::<u32>() < 2 || pairs(&counts) > PAIRS_MAX {
        return None;
    }
    let ways = |parts: &[Part]| {
        let mut ways: Vec<(usize, usize)> = parts.iter().map(|part| (part.how.wrap, part.how.service)).collect();
        ways.sort_unstable();
        ways
    };
    let (as_is, cost) = (ways(parts), parts.iter().map(|part| part.how.cost).sum::<i64>());
    let limits = weighing.limits.clone();
    let mut best: Option<(i64, usize, Vec<Part>)> = None;
    for kind in as_ordered(weighing.kinds) {
        let mut fewer = counts.clone();
        fewer[kind] -= 1;
        let split = scarce::within(weighing, &fewer, left);
        weighing.limits.clone_from(&limits);
        let (Some(saves), Some(others)) = (split.cost().map(|less| cost - less), split.parts) else { continue };
        if saves > best.as_ref().map_or(0, |(known, ..)| *known) && ways(&others) != as_is {
            best = Some((saves, kind, others));
        }
    }
    let (saves, kind, others) = best?;
    let saves = Money::new(saves, weighing.workshop.currency).figure();
    let name = &weighing.kinds[kind].product.name;
    let goes = match others.as_slice() {
        [one] => format!("in {}", spoken(weighing, one.how.wrap, one.how.service)),
        several => format!("in {} parcels", several.len()),
    };
    Some(format!("without 1 x {name} the rest goes {goes} for {saves} less"))
}
