//! The best K of N box sizes: those with which all orders together cost least.
//!
//! What an order costs with some of the boxes need not be planned for each of their choices.
//! Planned with all boxes it uses some; with every choice that holds these it costs the same.
//! Only where one of them is missing it is planned again, without that one, and so on: a box
//! more never makes a plan dearer. So few plans answer for all choices, and the same rule says
//! what a choice that is not complete yet will cost at least.

use super::cases::Case;
use super::days::Dated;
use super::sent::{Job, Ready, Unsent};
use super::{CompareError, Crew, Situation};
use crate::model::*;
use std::collections::BTreeMap;

/// Boxes to choose from: a choice is a number whose bits are its boxes.
pub const BOXES_MAX: usize = 60;
/// Choices, complete or not, that are looked at; with more of them left it is the best found.
pub const NODES_MAX: u64 = 20_000;

/// What there is to choose from.
#[derive(Debug, Clone)]
pub struct Pool {
    /// The workshop with all boxes, candidates among them.
    pub workshop: Workshop,
    /// The boxes, in the order of their files.
    pub names: Vec<ContainerName>,
}

impl Pool {
    /// The own boxes of a workshop that has the candidates in it already; mailers, envelopes and
    /// what is the carrier's stay whatever is chosen.
    ///
    /// # Errors
    /// Too few, or too many.
    pub fn of(workshop: &Workshop, asked: usize) -> Result<Self, CompareError> {
        let own = |one: &&Container| matches!(one.kind, ContainerKind::Box { .. }) && !one.carriers && one.goods;
        let names: Vec<ContainerName> = workshop.containers.iter().filter(own).map(|one| one.name.clone()).collect();
        if names.len() > BOXES_MAX {
            return Err(CompareError::ManyBoxes(names.len()));
        }
        if asked == 0 || asked >= names.len() {
            return Err(CompareError::Boxes { asked, there: names.len() });
        }
        Ok(Self { workshop: workshop.clone(), names })
    }
}

/// The boxes that were chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BestBoxes {
    /// Which, in the order of their files.
    pub names: Vec<ContainerName>,
    /// Of how many.
    pub of: usize,
    /// No other choice of so many costs less.
    pub proved: bool,
    /// No choice costs less than this; nothing where that cannot be told, since a rule pays for what it
    /// prefers or a choice might send more of the orders.
    pub least_possible: Option<Money>,
}

/// A choice of boxes.
type Set = u64;
/// Orders without a parcel, then cost: compared in this order, smaller is better.
type Worth = (i64, i64);

/// What a choice is worth.
#[derive(Debug, Clone, Copy)]
struct Sum {
    /// As planned.
    found: Worth,
    /// Neither it nor a choice within it can be better.
    least: Worth,
}

/// Seeks the boxes, as if no service were ever full. `base` is the situation in all but the boxes.
///
/// # Errors
/// Those of the crew.
pub fn best_boxes<E>(
    orders: &[Dated],
    base: &Situation,
    pool: &Pool,
    asked: usize,
    crew: &mut Crew<'_, E>,
) -> Result<BestBoxes, E> {
    let situation = Situation { workshop: pool.workshop.clone(), ..base.clone() };
    let cases = super::alike(orders, std::slice::from_ref(&situation));
    let ready = Ready::new(&situation);
    let known = cases.iter().map(|_| BTreeMap::new()).collect();
    // A house that pays more for what it prefers may do so with a box more.
    let prefers = |action: &Action| matches!(action, Action::PreferContainer(..) | Action::PreferService(..));
    let sure = !pool.workshop.rules.iter().flat_map(|rule| &rule.then).any(prefers);
    let names = &pool.names;
    let mut costs = Costs { orders, cases: &cases, ready: &ready, names, known, sums: BTreeMap::new() };
    let all = full(pool.names.len());
    let start = by_exchange(all, asked, &mut costs, crew)?;
    let least = costs.of(all, crew)?.least;
    // Choices that are left unseen cannot be better than the best of the seen.
    let mut search = Search { best: start, least: start.1, nodes: 0, asked };
    search.below(0, all, least, &mut costs, crew)?;
    let (chosen, worth) = search.best;
    let least = search.least.min(worth);
    let proved = sure && search.least >= worth;
    let names = pool.names.iter().enumerate().filter(|(at, _)| chosen & bit(*at) != 0);
    Ok(BestBoxes {
        names: names.map(|(_, name)| name.clone()).collect(),
        of: pool.names.len(),
        proved,
        least_possible: (sure && least.0 == worth.0).then(|| Money::new(least.1, pool.workshop.currency)),
    })
}

fn bit(at: usize) -> Set {
    1 << at
}

fn full(count: usize) -> Set {
    (0..count).fold(0, |set, at| set | bit(at))
}

fn members(set: Set) -> impl Iterator<Item = Set> {
    (0..BOXES_MAX).map(bit).filter(move |one| set & one != 0)
}

/// A plan as far as it counts here: the boxes that it uses, its cost, and the least possible.
type Known = Result<(Set, i64, i64), Unsent>;

/// What choices cost, planned when it is asked for and remembered.
struct Costs<'a> {
    orders: &'a [Dated],
    cases: &'a [Case],
    ready: &'a Ready,
    names: &'a [ContainerName],
    /// For each case, by the boxes it may use.
    known: Vec<BTreeMap<Set, Known>>,
    sums: BTreeMap<Set, Sum>,
}

impl Costs<'_> {
    /// Of all orders with these boxes.
    fn of<E>(&mut self, set: Set, crew: &mut Crew<'_, E>) -> Result<Sum, E> {
        if let Some(sum) = self.sums.get(&set) {
            return Ok(*sum);
        }
        let sum = loop {
            let mut missing = Vec::new();
            let mut sum = Sum { found: (0, 0), least: (0, 0) };
            for (index, case) in self.cases.iter().enumerate() {
                let times = case.times();
                let add = |to: &mut i64, cost: i64| *to = to.saturating_add(cost.saturating_mul(times));
                match self.look_up(index, set) {
                    Err(may_use) => missing.push((index, may_use)),
                    Ok(Err(unsent)) => {
                        sum.found.0 += times;
                        sum.least.0 += if unsent == Unsent::Certain { times } else { 0 };
                    }
                    Ok(Ok((_, cost, least))) => {
                        add(&mut sum.found.1, cost);
                        add(&mut sum.least.1, least);
                    }
                }
            }
            if missing.is_empty() {
                break sum;
            }
            self.plan(&missing, crew)?;
        };
        self.sums.insert(set, sum);
        Ok(sum)
    }

    /// What a case costs with these boxes, or with which boxes it must be planned first.
    fn look_up(&self, case: usize, set: Set) -> Result<Known, Set> {
        let mut may_use = full(self.names.len());
        loop {
            match self.known[case].get(&may_use) {
                None => return Err(may_use),
                Some(Ok((used, ..))) if used & !set != 0 => may_use &= !(used & !set),
                Some(known) => return Ok(*known),
            }
        }
    }

    fn plan<E>(&mut self, missing: &[(usize, Set)], crew: &mut Crew<'_, E>) -> Result<(), E> {
        let names = self.names;
        let jobs: Vec<Job<'_>> = missing
            .iter()
            .map(|&(case, may_use)| {
                let gone = names.iter().enumerate().filter(|(at, _)| may_use & bit(*at) == 0);
                let order = &self.orders[self.cases[case].first()];
                Job::without(self.ready, order, gone.map(|(_, name)| name.clone()))
            })
            .collect();
        let answers = crew(&jobs)?;
        for (&(case, may_use), sent) in missing.iter().zip(answers) {
            let known = sent.map(|sent| {
                let uses = |(at, name): (usize, &ContainerName)| {
                    if sent.containers.contains_key(name) { bit(at) } else { 0 }
                };
                let used = names.iter().enumerate().map(uses).fold(0, |all, one| all | one);
                (used, sent.cost.total().minor, sent.least_possible)
            });
            self.known[case].insert(may_use, known);
        }
        Ok(())
    }
}

/// Takes away what is missed least until so many are left (of equals the last), then exchanges
/// one box for another as long as that helps.
fn by_exchange<E>(all: Set, asked: usize, costs: &mut Costs<'_>, crew: &mut Crew<'_, E>) -> Result<(Set, Worth), E> {
    let mut set = all;
    while set.count_ones() as usize > asked {
        let mut best: Option<(Worth, Set)> = None;
        for one in members(set) {
            let worth = costs.of(set & !one, crew)?.found;
            if best.is_none_or(|(known, _)| worth <= known) {
                best = Some((worth, set & !one));
            }
        }
        let Some((_, smaller)) = best else { break };
        set = smaller;
    }
    let mut worth = costs.of(set, crew)?.found;
    loop {
        let mut better = None;
        for out in members(set) {
            for into in members(all & !set) {
                let other = set & !out | into;
                let known = better.map_or(worth, |(known, _)| known);
                let found = costs.of(other, crew)?.found;
                if found < known {
                    better = Some((found, other));
                }
            }
        }
        match better {
            Some((found, other)) => (worth, set) = (found, other),
            None => return Ok((set, worth)),
        }
    }
}

/// Goes through all choices and leaves those that cannot be better than the best so far.
struct Search {
    best: (Set, Worth),
    /// No choice is better than this.
    least: Worth,
    nodes: u64,
    asked: usize,
}

impl Search {
    /// All choices that hold `kept` and otherwise only boxes of `open`; `least` is what
    /// everything in `kept` and `open` together costs.
    fn below<E>(
        &mut self,
        kept: Set,
        open: Set,
        least: Worth,
        costs: &mut Costs<'_>,
        crew: &mut Crew<'_, E>,
    ) -> Result<(), E> {
        if least >= self.best.1 {
            return Ok(());
        }
        self.nodes += 1;
        if self.nodes > NODES_MAX {
            self.least = self.least.min(least);
            return Ok(());
        }
        let room = self.asked - kept.count_ones() as usize;
        if room == 0 || open.count_ones() as usize <= room {
            let set = if room == 0 { kept } else { kept | open };
            let sum = costs.of(set, crew)?;
            if sum.found < self.best.1 {
                self.best = (set, sum.found);
            }
            self.least = self.least.min(sum.least);
            return Ok(());
        }
        // The box that would be missed most: without it little is left to look at.
        let mut most: Option<(Worth, Set)> = None;
        for one in members(open) {
            let without = costs.of((kept | open) & !one, crew)?.least;
            if most.is_none_or(|(known, _)| without > known) {
                most = Some((without, one));
            }
        }
        let Some((without, one)) = most else { return Ok(()) };
        self.below(kept | one, open & !one, least, costs, crew)?;
        self.below(kept, open & !one, without, costs, crew)
    }
}
