//! The choice: which containers, what in each, which service each, at the least total cost;
//! and why. Same arguments, same answer, on any day and machine.
//!
//! `decide` cannot fail: what it could not settle is data (questions and waits). Run it on a
//! stack of some megabytes: the search and the rules recurse, within named bounds.

mod again;
mod bounds;
pub mod bulk;
mod changes;
mod danger;
mod explain;
mod goods;
mod house;
mod memory;
mod packaging;
mod parcels;
mod refused;
pub mod runner_up;
mod scarce;
pub mod search;
mod together;
mod weigh;

pub use again::{Now, Wanted};
pub use goods::{Goods, Kind};
pub use packaging::{Packed, Weighed, Wrap, tolerance};
pub use refused::RefusedWay;

use crate::model::*;
use crate::plan::fit::Budget;
use crate::plan::rules::{self, Rules, Tried};
use house::House;
use memory::Memory;
use scarce::{Left, Short};
use search::Split;
use std::collections::{BTreeMap, BTreeSet};
use weigh::Weighing;

/// Pieces of one order that are planned at once; more needs a person.
pub const ORDER_PIECES_MAX: u32 = 500;

/// What is left, and what people have settled about it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Shelf {
    /// Containers left; missing: not counted. One that has run out is not offered.
    pub containers_left: BTreeMap<ContainerName, i64>,
    /// Parcels that a service still takes on the day; missing: any number.
    pub services_left: BTreeMap<ServiceName, i64>,
    /// Pieces left of a batch; missing: what the configuration says was made.
    pub batches_left: BTreeMap<(Sku, BatchName), u32>,
    /// Products that a person said are ready for this order: no wait for them.
    pub settled: BTreeSet<Sku>,
}

/// What a person wants otherwise, for a quote.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Overrides {
    /// All goods together weigh this.
    pub goods_weight: Option<Weight>,
    /// Only these containers.
    pub containers: Vec<ContainerName>,
}

impl Overrides {
    fn apply(&self, goods: &mut Goods<'_>, house: &mut House) {
        if !self.containers.is_empty() {
            house.require_containers.push((self.containers.clone(), "another one was asked for".to_owned()));
        }
        let Some(wanted) = self.goods_weight else { return };
        let known: i128 = goods.kinds.iter().map(|k| i128::from(k.weight.ng) * i128::from(k.count())).sum();
        let pieces: i128 = goods.kinds.iter().map(|k| i128::from(k.count())).sum();
        for kind in &mut goods.kinds {
            // In proportion to what is known, else in equal shares; never below what was said.
            let share = match known {
                0 => i128::from(wanted.ng) / pieces.max(1),
                _ => (i128::from(wanted.ng) * i128::from(kind.weight.ng) + known - 1) / known,
            };
            kind.weight = Weight { ng: i64::try_from(share).unwrap_or(i64::MAX) };
        }
    }
}

/// All ways to close around goods, nothing run out; mailers and envelopes as thick as they get.
pub fn wraps_of(workshop: &Workshop) -> Vec<Wrap<'_>> {
    packaging::wraps(workshop, |_| None).0
}

/// The same, also thinner where a service takes that for less.
pub fn wraps_for<'w>(
    workshop: &'w Workshop,
    services: &[&'w Service],
    to: &Destination,
    on: jiff::civil::Date,
) -> Vec<Wrap<'w>> {
    packaging::at_each_thickness(wraps_of(workshop), services, to, on)
}

/// Plans orders for one workshop: holds its rules compiled, and remembers what went into what.
/// Rebuild it on a new configuration.
#[derive(Clone)]
pub struct Planner {
    rules: Rules,
    budget: Budget,
    memory: Memory,
    explains: Explains,
}

/// Is a plan to say what else was weighed?
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Explains {
    Everything,
    Nothing,
}

/// For which plans the runner-up among all sets of parcels is sought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SeeksSecond {
    /// For each: somebody asks why.
    Always,
    /// Where it takes next to no time: several parcels, and few ways to divide the goods.
    WhereCheap,
}

/// So many sets and subsets are next to no time.
const CHEAP_PAIRS_MAX: u64 = 1_000;

impl SeeksSecond {
    fn holds(self, counts: &[u32], parts: &[search::Part]) -> bool {
        self == Self::Always || parts.len() > 1 && search::pairs(counts) <= CHEAP_PAIRS_MAX
    }
}

impl Planner {
    /// Compiles the rules.
    pub fn new(workshop: &Workshop) -> Self {
        Self {
            rules: Rules::new(&workshop.rules),
            budget: Budget::USUAL,
            memory: Memory::default(),
            explains: Explains::Everything,
        }
    }

    /// The same without what else was weighed and what would change it: for many orders at once,
    /// of which only the parcels count. Where none were found though some might be, the verdict is
    /// `BestFound`, not `Nothing`.
    pub fn without_explanation(self) -> Self {
        Self { explains: Explains::Nothing, ..self }
    }

    /// The same with another budget for each fit.
    pub fn with_budget(self, budget: Budget) -> Self {
        Self { budget, ..self }
    }

    /// The plan of one order, as it is kept; see [`Planner::decide_with`]. Its runner-up is the next best
    /// in one parcel, unless the best of all others is found in next to no time.
    pub fn decide(
        &self,
        order: &Order,
        workshop: &Workshop,
        shelf: &Shelf,
        accepted: &BTreeSet<String>,
        pins: &Pins,
    ) -> Plan {
        let second = SeeksSecond::WhereCheap;
        let mut plan =
            self.decide_seeking(Now { order, workshop, shelf, accepted, pins }, &Overrides::default(), second);
        // It is kept for years: the runner-up's parts are enough.
        let dearer = plan.alternatives.iter_mut().filter(|other| other.parts.is_some());
        dearer.skip(1).for_each(|other| other.parts = None);
        plan
    }

    /// Every rule, asked about an order and then about each parcel (from 1) of its plan, with what
    /// its condition looked at.
    pub fn try_rules(
        &self,
        order: &Order,
        workshop: &Workshop,
        shelf: &Shelf,
        plan: &Plan,
    ) -> Vec<(Option<usize>, Tried)> {
        let mut goods = goods::of_order(order, workshop, shelf);
        let about_order = self.rules.try_all(&house::facts_of(order, workshop, &goods, plan.pins.hand_over));
        // Rules about parcels see what these put in as well.
        let applied = about_order.iter().filter(|tried| tried.verdict == rules::Verdict::Applies);
        for action in applied.flat_map(|tried| &tried.rule.then) {
            if let Action::Product(sku, count) = action
                && let Some(product) = workshop.product(sku)
            {
                goods::add_sample(&mut goods, workshop, product, *count, shelf);
            }
        }
        let about_parcels = parcels::try_rules(&self.rules, order, workshop, &goods, plan);
        let about_order = about_order.into_iter().map(|tried| (None, tried));
        about_order.chain(about_parcels.into_iter().map(|(parcel, tried)| (Some(parcel), tried))).collect()
    }

    /// Every way to send all of an order in one parcel that is refused, with the first reason against it; none
    /// where a question stands before anything is packed.
    pub fn refused(&self, now: Now<'_>, overrides: &Overrides) -> Vec<RefusedWay> {
        let Now { order, workshop, shelf, accepted, pins } = now;
        let (plan, mut goods, mut house) = self.begin(order, workshop, shelf, accepted, pins);
        overrides.apply(&mut goods, &mut house);
        if !plan.questions.is_empty() || self.stands_in_the_way(order, &goods).is_some() || goods.kinds.is_empty() {
            return Vec::new();
        }
        let (wraps, out) = packaging::wraps(workshop, |name| shelf.containers_left.get(name).copied());
        let (asked_for, _) = house::services(workshop, order, &house, accepted);
        let wraps = packaging::at_each_thickness(wraps, &asked_for, &order.destination, pins.hand_over);
        let (services, closed) = scarce::services_open(&asked_for, shelf, pins);
        let weighing = self.weighing(order, workshop, &goods, &house, &wraps, &services, pins.hand_over);
        refused::all(&weighing, &out, &closed, &asked_for)
    }

    /// The plan of one order, with the best other set of parcels. `accepted` holds causes that a person answered (as typed) and
    /// `hold:RULE` for released holds; these are not asked again.
    pub fn decide_with(
        &self,
        order: &Order,
        workshop: &Workshop,
        shelf: &Shelf,
        accepted: &BTreeSet<String>,
        pins: &Pins,
        overrides: &Overrides,
    ) -> Plan {
        self.decide_seeking(Now { order, workshop, shelf, accepted, pins }, overrides, SeeksSecond::Always)
    }

    fn decide_seeking(&self, now: Now<'_>, overrides: &Overrides, second: SeeksSecond) -> Plan {
        let Now { order, workshop, shelf, accepted, pins } = now;
        let (mut plan, mut goods, mut house) = self.begin(order, workshop, shelf, accepted, pins);
        overrides.apply(&mut goods, &mut house);
        let in_the_way = self.stands_in_the_way(order, &goods);
        plan.questions.append(&mut goods.questions);
        plan.questions.extend(in_the_way);
        if plan.questions.is_empty() {
            self.pack(&mut plan, order, workshop, shelf, accepted, &goods, &mut house, second);
        }
        house.settle(order, accepted, &mut plan);
        plan
    }

    /// What stands before anything is packed: the goods, and what the rules say about the order.
    fn begin<'w>(
        &self,
        order: &Order,
        workshop: &'w Workshop,
        shelf: &Shelf,
        accepted: &BTreeSet<String>,
        pins: &Pins,
    ) -> (Plan, Goods<'w>, House) {
        let mut plan = Plan {
            order: order.key.clone(),
            pins: pins.clone(),
            parcels: Vec::new(),
            cost: None,
            verdict: Verdict::Nothing,
            questions: Vec::new(),
            waits: Vec::new(),
            alternatives: Vec::new(),
            what_would_change: Vec::new(),
            rules: Vec::new(),
            urgent: false,
            instead: None,
            joined: Vec::new(),
            joined_saves: None,
        };
        let mut goods = goods::of_order(order, workshop, shelf);
        let mut house = House::default();
        if goods.questions.is_empty() {
            house = house::ask(&self.rules, order, workshop, &goods, pins.hand_over);
            for (sku, count) in &house.samples {
                match workshop.product(sku) {
                    Some(product) => goods::add_sample(&mut goods, workshop, product, *count, shelf),
                    None => goods::unknown(sku, &mut goods.questions),
                }
            }
        }
        plan.waits.append(&mut goods.waits);
        if let Some(date) = order.not_before.filter(|date| *date > pins.hand_over) {
            plan.waits.push(Wait::Date(date));
        }
        plan.questions.extend(house::conflicts(&house, workshop, accepted));
        (plan, goods, house)
    }

    /// Reasons that no container or service can mend.
    fn stands_in_the_way(&self, order: &Order, goods: &Goods<'_>) -> Option<Question> {
        if !goods.questions.is_empty() {
            return None;
        }
        let pieces = goods.kinds.iter().fold(0u32, |sum, kind| sum.saturating_add(kind.count()));
        if pieces == 0 {
            let cause = Cause::Flaw(order.key.clone(), FlawKind::NoGoods);
            return Some(Question {
                what: format!("nothing of {} is sent in a parcel", order.key.number),
                remedy: format!("if that is right: dawnslip decide {cause} cancel"),
                cause,
                detail: None,
            });
        }
        if pieces > ORDER_PIECES_MAX {
            let cause = Cause::NothingFits(order.key.clone());
            return Some(Question {
                what: format!("{}: {pieces} pieces, at most {ORDER_PIECES_MAX} are planned at once", order.key.number),
                remedy: "pack it by hand, or have it ordered in parts".to_owned(),
                cause,
                detail: Some(Detail::TooMany { pieces, most: ORDER_PIECES_MAX }),
            });
        }
        None
    }

    #[expect(clippy::too_many_arguments, reason = "the parts of one decision, named once")]
    fn weighing<'a>(
        &'a self,
        order: &'a Order,
        workshop: &'a Workshop,
        goods: &'a Goods<'a>,
        house: &'a House,
        wraps: &'a [Wrap<'a>],
        services: &'a [&'a Service],
        on: jiff::civil::Date,
    ) -> Weighing<'a> {
        Weighing {
            workshop,
            order,
            kinds: &goods.kinds,
            wraps,
            services,
            extra: &house.supplies,
            on,
            budget: self.budget,
            limits: house.limits(),
            of_order: BTreeMap::new(),
            memory: &self.memory,
        }
    }

    #[expect(clippy::too_many_arguments, reason = "the parts of one decision, named once")]
    fn pack(
        &self,
        plan: &mut Plan,
        order: &Order,
        workshop: &Workshop,
        shelf: &Shelf,
        accepted: &BTreeSet<String>,
        goods: &Goods<'_>,
        house: &mut House,
        seeks: SeeksSecond,
    ) {
        let (wraps, mut out) = packaging::wraps(workshop, |name| shelf.containers_left.get(name).copied());
        let (asked_for, unmet) = house::services(workshop, order, house, accepted);
        let wraps = packaging::at_each_thickness(wraps, &asked_for, &order.destination, plan.pins.hand_over);
        plan.questions.extend(unmet);
        let (services, closed) = scarce::services_open(&asked_for, shelf, &plan.pins);
        let mut weighing = self.weighing(order, workshop, goods, house, &wraps, &services, plan.pins.hand_over);
        let counts: Vec<u32> = goods.kinds.iter().map(Kind::count).collect();
        let (split, notes) = choose(&mut weighing, &counts, &Left::on(shelf), house);
        let short = Short { limits: house.limits(), services: &asked_for, closed: &closed, shelf };
        match &split.parts {
            Some(parts) => {
                plan.parcels = parcels::build(&mut weighing, parts, house);
                plan.cost = plan.parcels.iter().map(|p| p.cost.total()).reduce(|a, b| a + b);
                let least_possible = Money::new(split.least_possible, workshop.currency);
                plan.verdict = if split.proved { Verdict::Proved } else { Verdict::BestFound { least_possible } };
                if self.explains == Explains::Everything {
                    let left = Left::on(shelf);
                    plan.what_would_change = changes::near_misses(&mut weighing, parts, &left);
                    if seeks == SeeksSecond::Always {
                        plan.what_would_change.extend(changes::one_less(&mut weighing, parts, &left));
                    }
                    plan.what_would_change.extend(short.would_save(&weighing, split.cost()));
                    plan.what_would_change.extend(notes);
                }
            }
            None if self.explains == Explains::Everything => {
                match short.wait(&weighing) {
                    Some(wait) => plan.waits.push(wait),
                    None => plan.questions.push(explain::why_nothing(&mut weighing, split.proved)),
                }
                plan.what_would_change = short.would_save(&weighing, None);
            }
            // Who plans many orders wants to know whether nothing goes, or nothing was found.
            None if !split.proved => {
                let least_possible = Money::new(split.least_possible, workshop.currency);
                plan.verdict = Verdict::BestFound { least_possible };
            }
            None => {}
        }
        if self.explains == Explains::Everything {
            out.extend(closed);
            let left = Left::on(shelf);
            let second = split.parts.as_deref().filter(|parts| seeks.holds(&counts, parts));
            let second = second.and_then(|parts| explain::second(&mut weighing, parts, &left));
            let cost = |parts: &[search::Part]| parts.iter().map(|part| part.how.cost).sum::<i64>();
            // Less it can cost only where the house prefers something, or little was left to choose from.
            let second =
                second.filter(|second| !house.preferences.is_empty() || Some(cost(&second.parts)) >= split.cost());
            plan.alternatives = explain::alternatives(
                &mut weighing,
                split.parts.as_deref(),
                second.as_ref(),
                "a rule prefers another",
                &out,
            );
        }
        parcels::ask_rules(&self.rules, order, workshop, goods, plan, house);
    }
}

/// The cheapest split with what is left, preferences of the house minded; with sentences about what
/// these cost.
fn choose(weighing: &mut Weighing<'_>, counts: &[u32], left: &Left, house: &House) -> (Split, Vec<String>) {
    let mut notes = Vec::new();
    let mut best = scarce::within(weighing, counts, left);
    for preference in &house.preferences {
        let Some(cheapest) = best.cost() else { break };
        let before = weighing.limits.clone();
        weighing.limits.only(preference);
        let preferred = scarce::within(weighing, counts, left);
        match preferred.cost() {
            Some(cost) if cost <= cheapest.saturating_add(preference.worth) => {
                if cost > cheapest {
                    let more = Money::new(cost - cheapest, weighing.workshop.currency);
                    notes.push(format!(
                        "without the rule \"{}\" it would cost {} less",
                        preference.rule,
                        more.figure()
                    ));
                }
                // What nobody preferred costs less: this is not the cheapest.
                let proved = best.proved && preferred.proved && cost == cheapest;
                best = Split { proved, least_possible: best.least_possible.min(cost), ..preferred };
                // Later preferences choose among what this one leaves.
            }
            _ => weighing.limits = before,
        }
    }
    (best, notes)
}
