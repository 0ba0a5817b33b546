//! The best K of N box sizes: those with which all orders together cost least.
//!
//! What an order costs with some of the boxes need not be planned for each of their choices.
//! Planned with all boxes it uses some; with every choice that holds these it costs the same.
//! Only where one of them is missing it is planned again, without that one, and so on: a box
//! more never makes a plan dearer. So few plans answer for all choices, and the same rule says
//! what a choice that is not complete yet will cost at least.
//!
//! Where a service takes so many parcels a day, a complete choice is counted day by day as in
//! [`super::full`]. That never makes it cheaper, so what it costs at least is known without: each
//! order goes some way that those boxes allow, and no way costs less than its cheapest.

use super::cases::Case;
use super::days::Dated;
use super::full::{self, Day, Left};
use super::sent::{Answer, Job, Ready, Sent, Unsent};
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

/// Seeks the boxes. `base` is the situation in all but the boxes.
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
    // A house that pays more for what it prefers may do so with a box more.
    let prefers = |action: &Action| matches!(action, Action::PreferContainer(..) | Action::PreferService(..));
    let sure = !pool.workshop.rules.iter().flat_map(|rule| &rule.then).any(prefers);
    let names = &pool.names;
    let ready = std::slice::from_ref(&ready);
    let mut costs = Costs {
        orders,
        cases: &cases,
        case_of: full::case_of(orders.len(), &cases),
        days: full::days(orders, ready),
        ready: &ready[0],
        names,
        plans: Vec::new(),
        known: BTreeMap::new(),
        sums: BTreeMap::new(),
        in_days: BTreeMap::new(),
    };
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

/// A plan, and the boxes that it uses.
struct Known {
    used: Set,
    answer: Answer,
}

/// A plan that is to be made: of which case, with what left of full services, with which boxes.
type Wanted = (usize, Option<Left>, Set);

/// What choices cost, planned when it is asked for and remembered.
struct Costs<'a> {
    orders: &'a [Dated],
    cases: &'a [Case],
    case_of: Vec<usize>,
    /// Days on which some service takes only so many.
    days: Vec<Day>,
    ready: &'a Ready,
    names: &'a [ContainerName],
    plans: Vec<Known>,
    /// For each case, and what is left of services that may be full: by the boxes it may use.
    known: BTreeMap<(usize, Option<Left>), BTreeMap<Set, usize>>,
    sums: BTreeMap<Set, Sum>,
    in_days: BTreeMap<Set, Sum>,
}

impl Costs<'_> {
    /// Of all orders with these boxes, as if no service were ever full.
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
                match self.look_up(index, None, set) {
                    Err(may_use) => missing.push((index, None, may_use)),
                    Ok(Err(unsent)) => {
                        sum.found.0 += times;
                        sum.least.0 += if *unsent == Unsent::Certain { times } else { 0 };
                    }
                    Ok(Ok(sent)) => {
                        add(&mut sum.found.1, sent.cost.total().minor);
                        add(&mut sum.least.1, sent.least_possible);
                    }
                }
            }
            if missing.is_empty() {
                break sum;
            }
            self.plan(missing, crew)?;
        };
        self.sums.insert(set, sum);
        Ok(sum)
    }

    /// The same day by day, with as much left of each service as the orders before have left.
    fn in_days<E>(&mut self, set: Set, crew: &mut Crew<'_, E>) -> Result<Sum, E> {
        let as_ever = self.of(set, crew)?;
        if self.days.is_empty() {
            return Ok(as_ever);
        }
        if let Some(sum) = self.in_days.get(&set) {
            return Ok(*sum);
        }
        let mut days = self.days.clone();
        let (mut found, mut all_proved) = (as_ever.found, as_ever.found == as_ever.least);
        loop {
            let mut missing: Vec<Wanted> = Vec::new();
            for day in &mut days {
                let plan = |order: usize, left: Option<&Left>| self.look_up(self.case_of[order], left, set).ok();
                let goes = |order: usize, left: Option<&Left>| {
                    let (Some(left), Some(Ok(usual))) = (left, plan(order, None)) else { return };
                    let Some(Ok(other)) = plan(order, Some(left)) else { return };
                    let cost = |sent: &Sent| sent.cost.total().minor;
                    found.1 = found.1.saturating_add(cost(other) - cost(usual));
                    all_proved &= other.is_proved();
                };
                if let Some((order, left)) = day.go_on(plan, goes) {
                    let case = self.case_of[order];
                    let may_use = self.look_up(case, left.as_ref(), set).err();
                    missing.extend(may_use.map(|may_use| (case, left, may_use)));
                }
            }
            if missing.is_empty() {
                break;
            }
            missing.sort();
            missing.dedup();
            self.plan(missing, crew)?;
        }
        // A plan that may be cheaper would take something else of the services: then only this is sure.
        let sum = Sum { found, least: if all_proved { found } else { as_ever.least } };
        self.in_days.insert(set, sum);
        Ok(sum)
    }

    /// How a case goes with these boxes, or with which boxes it must be planned first.
    fn look_up(&self, case: usize, left: Option<&Left>, set: Set) -> Result<&Answer, Set> {
        let mut may_use = full(self.names.len());
        let Some(known) = self.known.get(&(case, left.cloned())) else { return Err(may_use) };
        loop {
            let plan = known.get(&may_use).map(|at| &self.plans[*at]).ok_or(may_use)?;
            if plan.used & !set == 0 {
                return Ok(&plan.answer);
            }
            may_use &= !(plan.used & !set);
        }
    }

    fn plan<E>(&mut self, missing: Vec<Wanted>, crew: &mut Crew<'_, E>) -> Result<(), E> {
        let names = self.names;
        let job = |(case, left, may_use): &Wanted| {
            let gone = names.iter().enumerate().filter(|(at, _)| may_use & bit(*at) == 0);
            let job = Job::new(self.ready, &self.orders[self.cases[*case].first()]);
            job.without(gone.map(|(_, name)| name.clone())).with_left(left.clone().unwrap_or_default())
        };
        let answers = crew(&missing.iter().map(job).collect::<Vec<_>>())?;
        for ((case, left, may_use), answer) in missing.into_iter().zip(answers) {
            let uses = |sent: &Sent| {
                let used = names.iter().enumerate().filter(|(_, name)| sent.containers.contains_key(*name));
                used.fold(0, |all, (at, _)| all | bit(at))
            };
            let used = answer.as_ref().map_or(0, uses);
            self.known.entry((case, left)).or_default().insert(may_use, self.plans.len());
            self.plans.push(Known { used, answer });
        }
        Ok(())
    }
}

/// Takes away what is missed least until so many are left (of equals the last), then exchanges
/// one box for another as long as that helps; as if no service were ever full.
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
            None => return Ok((set, costs.in_days(set, crew)?.found)),
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
            let sum = costs.in_days(set, crew)?;
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
