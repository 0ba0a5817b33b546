//! Answers the search: what a set costs in each wrap with each service, and whether it fits.

use super::bounds::Bounds;
use super::danger;
use super::goods::Kind;
use super::house::LimitsOfHouse;
use super::memory::Memory;
use super::packaging::{self, Least, Packed, Weighed, Wrap};
use super::search::{Ask, Candidate, Decided};
use crate::model::*;
use crate::plan::fit::{Budget, Fit};
use crate::plan::tariff::{self, Quoted, Refusal};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// One order's question in all its parts.
pub struct Weighing<'a> {
    /// The workshop.
    pub workshop: &'a Workshop,
    /// The order.
    pub order: &'a Order,
    /// Its goods.
    pub kinds: &'a [Kind<'a>],
    /// Ways to close around them.
    pub wraps: &'a [Wrap<'a>],
    /// Ways to send them.
    pub services: &'a [&'a Service],
    /// Supplies that rules add to each parcel.
    pub extra: &'a [SupplyUse],
    /// Day of handing over.
    pub on: Date,
    /// For each fit.
    pub budget: Budget,
    /// What rules allow.
    pub limits: LimitsOfHouse,
    /// Fits of this order decided so far.
    pub of_order: BTreeMap<(Vec<u32>, usize), Fit>,
    /// Fits of any order.
    pub memory: &'a Memory,
}

impl Weighing<'_> {
    /// Weight, cost and use of a set in a wrap.
    pub fn packed(&self, counts: &[u32], wrap: usize) -> Packed {
        packaging::packed(self.workshop, &self.wraps[wrap], self.kinds, counts, self.extra)
    }

    /// As [`Self::packed`], without what is used up.
    pub fn weighed(&self, counts: &[u32], wrap: usize) -> Weighed {
        packaging::weighed(self.workshop, &self.wraps[wrap], self.kinds, counts, self.extra).0
    }

    /// What a service asks for it.
    pub fn quoted(&self, packed: &Weighed, wrap: usize, service: usize) -> Result<Quoted<'_>, Refusal> {
        let parcel = self.wraps[wrap].as_parcel(packed.weight);
        let service = self.services[service];
        let quoted = tariff::price(service, &parcel, &self.order.destination, self.on, self.workshop.currency);
        // Asked thousands of times for one order, nearly always about harmless things.
        if !packed.holds_limited {
            return quoted;
        }
        danger::within_gross(service, packed.weight, quoted?)
    }

    /// What a set costs, part by part.
    pub fn cost_parts(&self, counts: &[u32], wrap: usize, service: usize) -> Option<CostParts> {
        let packed = self.weighed(counts, wrap);
        let quoted = self.quoted(&packed, wrap, service).ok()?;
        Some(packed.cost_parts(&quoted))
    }

    /// What it would cost more, or less, if it weighed that much; `None` if the service would not take it.
    pub fn difference_at(&self, packed: &Weighed, wrap: usize, service: usize, weight: Weight) -> Option<Money> {
        let as_is = self.quoted(packed, wrap, service).ok()?.total();
        let other = Weighed { weight, ..*packed };
        Some(self.quoted(&other, wrap, service).ok()?.total() - as_is)
    }

    /// What it would cost more just above that weight.
    pub fn dearer_above(&self, packed: &Weighed, wrap: usize, service: usize, ends: Weight) -> Option<Money> {
        self.difference_at(packed, wrap, service, ends + Weight { ng: 1 })
    }

    /// Does it go in? Remembered.
    pub fn fit(&mut self, counts: &[u32], wrap: usize) -> Fit {
        if let Some(known) = self.known(counts, wrap) {
            return known.clone();
        }
        let thickest = self.thickest(wrap);
        // One answer for all that are flatter, if it does not go in at all.
        if thickest != wrap
            && let cannot @ Fit::Cannot(_) = self.fit(counts, thickest)
        {
            return cannot;
        }
        let verdict = packaging::fits(&self.wraps[wrap], self.kinds, counts, self.budget, self.memory);
        self.of_order.insert((counts.to_vec(), wrap), verdict.clone());
        verdict
    }

    /// What is known of it already: what goes in where it is pressed flat goes in where it may be thicker, and what
    /// does not where it may be thicker does not where it is pressed flat.
    fn known(&self, counts: &[u32], wrap: usize) -> Option<&Fit> {
        let mut key = (counts.to_vec(), wrap);
        if let Some(known) = self.of_order.get(&key) {
            return Some(known);
        }
        let thickest = self.thickest(wrap);
        let mut others = std::iter::once(thickest).chain(self.thinner(thickest)).filter(|other| *other != wrap);
        others.find_map(|other| {
            key.1 = other;
            let known = self.of_order.get(&key)?;
            let follows = match known {
                Fit::Fits(_) => other > wrap,
                Fit::Cannot(_) => other < wrap,
                Fit::Unknown => false,
            };
            follows.then_some(known)
        })
    }

    /// The same way of closing around goods, as thick as it gets.
    fn thickest(&self, wrap: usize) -> usize {
        let before = self.wraps[..=wrap].iter().rposition(|wrap| wrap.thick_at_most.is_none());
        before.unwrap_or(wrap)
    }

    /// What gives way, pressed flat: these stand behind it, thickest first.
    pub fn thinner(&self, thickest: usize) -> impl Iterator<Item = usize> + use<> {
        let behind = self.wraps[thickest + 1..].iter().take_while(|wrap| wrap.thick_at_most.is_some()).count();
        thickest + 1..=thickest + behind
    }

    /// Does it go in, as far as a glance tells? For what is shown besides: the search has looked closely
    /// at whatever could be cheaper.
    pub fn glance(&self, counts: &[u32], wrap: usize) -> Fit {
        match self.known(counts, wrap) {
            Some(known) => known.clone(),
            None => packaging::fits(&self.wraps[wrap], self.kinds, counts, Budget::GLANCE, self.memory),
        }
    }

    /// Contents that keep a service away from a set.
    pub fn against_contents(&self, counts: &[u32], service: usize) -> Option<String> {
        danger::against(self.services[service], self.kinds, counts, self.order.destination.country)
    }

    /// Why a wrap may not carry this, geometry and services apart.
    pub fn against(&self, wrap: &Wrap<'_>, packed: &Weighed) -> Option<String> {
        if let Some(why) = self.limits.against_containers(wrap.containers()) {
            return Some(why.to_owned());
        }
        // The outer container carries the inner one, too.
        let units = self.workshop.locale.units;
        let mut load = packed.weight;
        for container in wrap.around.into_iter().chain(std::iter::once(wrap.container)) {
            load = load - container.tare;
            if let Some(most) = container.load_max.filter(|most| load > *most) {
                return Some(format!(
                    "{} carries up to {}, these are {}",
                    container.name,
                    units.limit(most),
                    units.limit(load)
                ));
            }
        }
        None
    }

    /// Wraps that the rules allow.
    pub fn open_wraps(&self) -> impl Iterator<Item = &Wrap<'_>> {
        self.wraps.iter().filter(|wrap| self.limits.against_containers(wrap.containers()).is_none())
    }

    /// The least that any service asks for anything.
    fn least_service(&self) -> Option<i64> {
        let allowed = self.services.iter().filter(|service| self.limits.against_service(service).is_none());
        allowed.filter_map(|service| tariff::least(service, &self.order.destination, self.on, Weight::ZERO)).min()
    }

    /// Of the containers themselves, with the working time of a parcel with one piece where that is weighed.
    pub fn own_cost(&self, wrap: &Wrap<'_>) -> i64 {
        let labour = self.workshop.labour.as_ref().filter(|labour| labour.weighed);
        let labour = labour.map_or(0, |labour| labour.cost(wrap.containers(), 1).amount.minor);
        wrap.containers().map(|container| container.cost.minor).sum::<i64>() + labour
    }

    /// Each wrap holds at most its room, and so costs at least so much for each cubic unit of goods.
    fn least_by_room(&self, counts: &[u32]) -> i64 {
        let Some(service) = self.least_service() else { return 0 };
        let goods: i128 = self.kinds.iter().zip(counts).map(|(kind, n)| kind.piece.volume() * i128::from(*n)).sum();
        let least = self.open_wraps().map(|wrap| match wrap.holds_at_most() {
            i128::MAX => 0,
            room => (i128::from(service + self.own_cost(wrap)).max(0) * goods + room - 1) / room.max(1),
        });
        least.min().and_then(|least| i64::try_from(least).ok()).unwrap_or(0)
    }

    /// How a kind is called in a sentence.
    pub fn name(&self, kind: usize) -> String {
        self.kinds.get(kind).map_or_else(|| "a piece".to_owned(), Kind::spoken)
    }
}

impl Ask for Weighing<'_> {
    fn candidates(&mut self, counts: &[u32]) -> Vec<Candidate> {
        let mut all = Vec::new();
        let taken: Vec<bool> = (0..self.services.len())
            .map(|service| {
                self.limits.against_service(self.services[service]).is_none()
                    && self.against_contents(counts, service).is_none()
            })
            .collect();
        // What each asks for the same container where it may be thicker.
        let mut thicker = vec![i64::MAX; self.services.len()];
        // What it weighs, where it may be sent so; flat or not, that is the same.
        let mut closed = None;
        let least = Least::of(self.kinds, counts);
        for (index, wrap) in self.wraps.iter().enumerate() {
            if wrap.thick_at_most.is_none() {
                thicker.fill(i64::MAX);
                closed = Some(self.weighed(counts, index)).filter(|packed| self.against(wrap, packed).is_none());
            }
            closed = closed.filter(|_| !wrap.is_too_flat_for(least));
            let Some(packed) = closed else { continue };
            let services = (0..self.services.len()).filter(|at| taken[*at] && wrap.is_minded_by(self.services[*at]));
            for service in services {
                if let Ok(quoted) = self.quoted(&packed, index, service) {
                    let cost = packed.cost_parts(&quoted).total().minor;
                    // Nobody presses flat for nothing.
                    if cost < thicker[service] {
                        thicker[service] = cost;
                        all.push(Candidate { cost, volume: wrap.size(), wrap: index, service });
                    }
                }
            }
        }
        all.sort_by_key(Candidate::key);
        all
    }

    fn decide(&mut self, counts: &[u32], wrap: usize) -> Decided {
        match self.fit(counts, wrap) {
            Fit::Fits(_) => Decided::Fits,
            Fit::Cannot(_) => Decided::Cannot,
            Fit::Unknown => Decided::Unknown,
        }
    }

    fn least_parcel(&self) -> Option<i64> {
        Some(self.least_service()? + self.open_wraps().map(|wrap| self.own_cost(wrap)).min()?)
    }

    fn least_of_several(&self, counts: &[u32]) -> i64 {
        let several = Bounds::of(self).of_several(counts).unwrap_or(0);
        several.max(self.least_by_room(counts))
    }
}
