//! Least costs by the line: units, containers and services as JSON, the cheapest set of parcels as
//! JSON. Bare geometry: no support, no cushion, no supplies; whole millimetres, grams and minor units
//! of one currency.
//!
//! Exact where the units can be divided in at most [`STATES_MAX`] ways: every set of units, equal ones
//! told apart by number only, has a least cost, which is that of one parcel or the sum of two smaller
//! sets' (dynamic programming). Whether things fit is asked only where a parcel would be cheaper than
//! two, cheapest first, and never of what holds something that does not fit.

use crate::plan::fit::bulk::{SIDE_MAX, Turn, are_sides};
use crate::plan::fit::{Fit, Laws, Piece, ROUNDS_LONG, ROUNDS_QUICK, Sides, prove};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;

/// Sets of units that are looked at; beyond, they are divided first.
pub const STATES_MAX: usize = 1 << 14;
/// Largest weight and cost that are taken.
const FIGURE_MAX: i64 = 1_000_000_000;

/// One question.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Instance {
    /// Comes back with the answer.
    pub id: String,
    /// What is to be sent.
    pub units: Vec<Unit>,
    /// What it may go into; as many of each as are wanted.
    pub containers: Vec<Container>,
    /// What may carry it.
    pub services: Vec<Service>,
}

/// A thing to send.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Deserialize)]
pub struct Unit {
    /// Its sides; the third is upright.
    pub dims: Sides,
    /// How it may be turned.
    pub turn: Turn,
    /// Its weight.
    pub grams: i64,
}

/// A box.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Container {
    /// What it is called.
    pub name: String,
    /// Sides inside.
    pub inner: Sides,
    /// Sides outside.
    pub outer: Sides,
    /// Its own weight.
    pub tare_grams: i64,
    /// The most that it may weigh when full.
    pub max_grams: i64,
    /// What it costs.
    pub cost: i64,
}

/// What a service charges by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum By {
    /// Grams of the whole parcel.
    Weight,
    /// Cubic centimetres outside, rounded up.
    Volume,
}

/// A service.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Service {
    /// What it is called.
    pub name: String,
    /// What it charges by.
    pub by: By,
    /// The most that a parcel may weigh.
    pub max_grams: i64,
    /// The containers that it takes; null: all.
    pub containers: Option<Vec<String>>,
    /// Bounds and prices: the first whose bound is not exceeded counts.
    pub steps: Vec<(i64, i64)>,
}

/// One answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Answer {
    /// The question's.
    pub id: String,
    /// The sum of all parcels; null where nothing can carry some unit.
    pub least_cost: Option<i64>,
    /// `proved`, or `best found`.
    pub verdict: &'static str,
    /// How.
    pub parcels: Vec<Parcel>,
}

/// One parcel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Parcel {
    /// Which units, by their place in the question.
    pub units: Vec<usize>,
    /// In which container.
    pub container: String,
    /// By which service.
    pub service: String,
    /// Price and container together.
    pub cost: i64,
}

impl Instance {
    /// Reads a line.
    ///
    /// # Errors
    /// What is wrong with it, with the column where it is no JSON of this form.
    pub fn read(line: &str) -> Result<Self, String> {
        let instance: Self = serde_json::from_str(line).map_err(|error| error.to_string())?;
        let figure = |figure: i64| (0..=FIGURE_MAX).contains(&figure);
        let unit = |unit: &Unit| are_sides(&unit.dims) && figure(unit.grams);
        let container = |it: &Container| {
            are_sides(&it.inner)
                && are_sides(&it.outer)
                && figure(it.tare_grams)
                && figure(it.max_grams)
                && figure(it.cost)
        };
        let service = |it: &Service| {
            figure(it.max_grams) && it.steps.iter().all(|(bound, price)| figure(*bound) && figure(*price))
        };
        let odd = [
            ("units", instance.units.iter().position(|it| !unit(it))),
            ("containers", instance.containers.iter().position(|it| !container(it))),
            ("services", instance.services.iter().position(|it| !service(it))),
        ];
        match odd.into_iter().find_map(|(name, at)| Some((name, at?))) {
            Some((name, at)) => {
                Err(format!("/{name}/{at}: sides go from 1 to {SIDE_MAX} mm, weights and costs from 0 to {FIGURE_MAX}"))
            }
            None => Ok(instance),
        }
    }

    /// Decides it.
    pub fn decide(&self) -> Answer {
        let kinds = self.kinds();
        let mut blocks: Vec<Vec<Vec<usize>>> = vec![Vec::new()];
        let mut states = 1usize;
        for kind in kinds {
            for part in kind.chunks(STATES_MAX - 1) {
                if states.saturating_mul(part.len() + 1) > STATES_MAX {
                    blocks.push(Vec::new());
                    states = 1;
                }
                states *= part.len() + 1;
                if let Some(block) = blocks.last_mut() {
                    block.push(part.to_vec());
                }
            }
        }
        let is_whole = blocks.len() == 1;
        let mut answer = Answer { id: self.id.clone(), least_cost: Some(0), verdict: "proved", parcels: Vec::new() };
        for block in blocks {
            let mut table = Table::new(self, block);
            table.fill();
            let (least, possible) = table.whole();
            answer.least_cost = answer.least_cost.zip(least).map(|(sum, least)| sum + least);
            if least != possible || !is_whole {
                answer.verdict = "best found";
            }
            answer.parcels.extend(table.parcels());
        }
        if answer.least_cost.is_none() {
            answer.parcels.clear();
        }
        answer
    }

    /// Units that equal each other, by their places; in the order of the first of each.
    fn kinds(&self) -> Vec<Vec<usize>> {
        let mut kinds: Vec<Vec<usize>> = Vec::new();
        let mut known: HashMap<&Unit, usize> = HashMap::new();
        for (at, unit) in self.units.iter().enumerate() {
            let kind = *known.entry(unit).or_insert(kinds.len());
            if kind == kinds.len() {
                kinds.push(Vec::new());
            }
            kinds[kind].push(at);
        }
        kinds
    }
}

/// How a set of units goes at least cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    Nothing,
    One { container: usize, service: usize },
    Two(usize),
}

/// Least costs of all sets of units. A set is a number: how many of each kind, in mixed radix.
struct Table<'a> {
    asked: &'a Instance,
    /// Units of each kind.
    kinds: Vec<Vec<usize>>,
    /// What one more of a kind adds to a set's number.
    weights: Vec<usize>,
    least: Vec<Option<i64>>,
    /// Likewise, if all that is not decided did fit: nothing can be cheaper.
    possible: Vec<Option<i64>>,
    way: Vec<Way>,
    /// By container and set: does it fit? Only what was asked.
    fits: HashMap<(usize, usize), Option<bool>>,
}

impl<'a> Table<'a> {
    fn new(asked: &'a Instance, kinds: Vec<Vec<usize>>) -> Self {
        let mut weights = Vec::with_capacity(kinds.len());
        let mut states = 1;
        for kind in &kinds {
            weights.push(states);
            states *= kind.len() + 1;
        }
        let mut table = Self {
            asked,
            kinds,
            weights,
            least: vec![None; states],
            possible: vec![None; states],
            way: vec![Way::Nothing; states],
            fits: HashMap::new(),
        };
        (table.least[0], table.possible[0]) = (Some(0), Some(0));
        table
    }

    fn whole(&self) -> (Option<i64>, Option<i64>) {
        let last = self.least.len() - 1;
        (self.least[last], self.possible[last])
    }

    fn count(&self, set: usize, kind: usize) -> usize {
        set / self.weights[kind] % (self.kinds[kind].len() + 1)
    }

    fn counts(&self, set: usize) -> Vec<usize> {
        (0..self.kinds.len()).map(|kind| self.count(set, kind)).collect()
    }

    /// Smaller numbers first: every part of a set has one.
    fn fill(&mut self) {
        for set in 1..self.least.len() {
            self.divide(set);
            self.send_as_one(set);
        }
    }

    /// The best division in two, one of which holds a unit of the set's last kind.
    fn divide(&mut self, set: usize) {
        let counts = self.counts(set);
        let Some(last) = counts.iter().rposition(|count| *count > 0) else { return };
        let mut part = vec![0; counts.len()];
        part[last] = 1;
        loop {
            let number: usize = part.iter().zip(&self.weights).map(|(count, weight)| count * weight).sum();
            if number != set {
                let rest = set - number;
                let sum = |of: &[Option<i64>]| Some(of[number]? + of[rest]?);
                if let Some(cost) = sum(&self.least)
                    && self.least[set].is_none_or(|least| cost < least)
                {
                    self.least[set] = Some(cost);
                    self.way[set] = Way::Two(number);
                }
                if let Some(cost) = sum(&self.possible)
                    && self.possible[set].is_none_or(|least| cost < least)
                {
                    self.possible[set] = Some(cost);
                }
            }
            // The next part, as a counter counts.
            let Some(kind) = (0..=last).find(|kind| part[*kind] < counts[*kind]) else { return };
            part[kind] += 1;
            for lower in &mut part[..kind] {
                *lower = 0;
            }
        }
    }

    /// One parcel, where that is cheaper than two.
    fn send_as_one(&mut self, set: usize) {
        for (cost, container, service) in self.offers(set) {
            let helps = |known: Option<i64>| known.is_none_or(|known| cost < known);
            if !helps(self.possible[set]) && !helps(self.least[set]) {
                return;
            }
            match self.fits(set, container) {
                Some(true) => {
                    if helps(self.possible[set]) {
                        self.possible[set] = Some(cost);
                    }
                    if helps(self.least[set]) {
                        self.least[set] = Some(cost);
                        self.way[set] = Way::One { container, service };
                    }
                    return;
                }
                Some(false) => {}
                None if helps(self.possible[set]) => self.possible[set] = Some(cost),
                None => {}
            }
        }
    }

    /// What would carry the set for how much, if it fits; cheapest first.
    fn offers(&self, set: usize) -> Vec<(i64, usize, usize)> {
        let counts = self.counts(set);
        let units = &self.asked.units;
        let goods: i64 = counts.iter().zip(&self.kinds).map(|(n, kind)| *n as i64 * units[kind[0]].grams).sum();
        let mut offers = Vec::new();
        for (c, container) in self.asked.containers.iter().enumerate() {
            let grams = goods + container.tare_grams;
            if grams > container.max_grams {
                continue;
            }
            let volume: i128 = container.outer.iter().map(|side| i128::from(*side)).product();
            let cm3 = i64::try_from((volume + 999) / 1000).unwrap_or(i64::MAX);
            for (s, service) in self.asked.services.iter().enumerate() {
                let takes = service.containers.as_ref().is_none_or(|names| names.contains(&container.name));
                if !takes || grams > service.max_grams {
                    continue;
                }
                let measure = if service.by == By::Weight { grams } else { cm3 };
                if let Some((_, price)) = service.steps.iter().find(|(bound, _)| *bound >= measure) {
                    offers.push((price + container.cost, c, s));
                }
            }
        }
        offers.sort_unstable();
        offers
    }

    /// `None`: not decided.
    fn fits(&mut self, set: usize, container: usize) -> Option<bool> {
        if let Some(known) = self.fits.get(&(container, set)) {
            return *known;
        }
        let counts = self.counts(set);
        let less = |kind: usize| set - self.weights[kind];
        let holds_too_much = (0..counts.len())
            .filter(|kind| counts[*kind] > 0)
            .any(|kind| self.fits.get(&(container, less(kind))) == Some(&Some(false)));
        let found = if holds_too_much { Some(false) } else { self.ask(&counts, container) };
        self.fits.insert((container, set), found);
        found
    }

    fn ask(&self, counts: &[usize], container: usize) -> Option<bool> {
        let piece = |kind: &Vec<usize>| {
            let unit = &self.asked.units[kind[0]];
            Piece::plain(unit.dims, unit.turn.into())
        };
        let pieces: Vec<Piece> =
            counts.iter().zip(&self.kinds).flat_map(|(n, kind)| std::iter::repeat_n(piece(kind), *n)).collect();
        // What may decide the whole is worth more than one of its many parts.
        let is_whole = counts.iter().zip(&self.kinds).all(|(n, kind)| *n == kind.len());
        let rounds = if is_whole { ROUNDS_LONG } else { ROUNDS_QUICK };
        match prove(self.asked.containers[container].inner, &pieces, Laws::Geometry, rounds).0 {
            Fit::Fits(_) => Some(true),
            Fit::Cannot(_) => Some(false),
            Fit::Unknown => None,
        }
    }

    /// The parcels of the whole.
    fn parcels(&self) -> Vec<Parcel> {
        let mut left = self.kinds.clone();
        let mut parcels = Vec::new();
        let mut open = vec![self.least.len() - 1];
        while let Some(set) = open.pop() {
            match self.way[set] {
                Way::Nothing => {}
                Way::Two(part) => open.extend([set - part, part]),
                Way::One { container, service } => {
                    let mut units = Vec::new();
                    for (kind, count) in self.counts(set).into_iter().enumerate() {
                        units.extend(left[kind].drain(..count));
                    }
                    units.sort_unstable();
                    let (container, service) = (&self.asked.containers[container], &self.asked.services[service]);
                    let cost = self.least[set].unwrap_or(0);
                    let (container, service) = (container.name.clone(), service.name.clone());
                    parcels.push(Parcel { units, container, service, cost });
                }
            }
        }
        parcels.sort_by(|a, b| a.units.cmp(&b.units));
        parcels
    }
}
