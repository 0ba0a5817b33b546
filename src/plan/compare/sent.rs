//! One order in one situation.

use super::Situation;
use super::days::{Dated, Days};
use crate::model::*;
use crate::plan::choose::{Planner, Shelf};
use crate::plan::quote;
use std::collections::{BTreeMap, BTreeSet};

/// A situation with its rules compiled.
pub struct Ready {
    pub(super) workshop: Workshop,
    pub(super) days: Days,
    planner: Planner,
}

impl Ready {
    /// Compiles the rules.
    pub fn new(situation: &Situation) -> Self {
        let workshop = situation.workshop.clone();
        Self { planner: Planner::new(&workshop).without_explanation(), workshop, days: situation.days }
    }
}

/// One order that is to be planned in one situation.
pub struct Job<'a> {
    ready: &'a Ready,
    order: &'a Dated,
    shelf: Shelf,
}

impl<'a> Job<'a> {
    /// With everything on the shelf.
    pub fn new(ready: &'a Ready, order: &'a Dated) -> Self {
        Self { ready, order, shelf: Shelf::default() }
    }

    /// The same without these containers.
    pub fn without(mut self, gone: impl Iterator<Item = ContainerName>) -> Self {
        self.shelf.containers_left = gone.map(|name| (name, 0)).collect();
        self
    }

    /// The same with so many parcels left of these services.
    pub(super) fn with_left(mut self, left: BTreeMap<ServiceName, i64>) -> Self {
        self.shelf.services_left = left;
        self
    }

    /// Plans it.
    ///
    /// # Errors
    /// There are no parcels.
    pub fn run(&self) -> Answer {
        let Ready { workshop, planner, days } = self.ready;
        let pins = Pins {
            order_version: 1,
            revision: None,
            config: workshop.digest.clone(),
            stock: 0,
            hand_over: days.of(self.order),
            too_late: BTreeSet::new(),
            joined: Vec::new(),
        };
        let plan = planner.decide(&self.order.order, workshop, &self.shelf, &BTreeSet::new(), &pins);
        Sent::of(&plan, workshop)
    }
}

/// How an order goes, or that it does not.
pub type Answer = Result<Sent, Unsent>;

/// No parcels were found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unsent {
    /// There are none.
    Certain,
    /// There may be some.
    Undecided,
}

/// How an order goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sent {
    /// `Medium by Road`, `2 x Medium by Road + Small by Letter`.
    pub way: String,
    /// What it costs.
    pub cost: CostParts,
    /// Its parcels, by service.
    pub services: BTreeMap<ServiceName, i64>,
    /// And by container.
    pub containers: BTreeMap<ContainerName, i64>,
    /// No way costs less than so many minor units.
    pub least_possible: i64,
}

impl Sent {
    fn of(plan: &Plan, workshop: &Workshop) -> Answer {
        let mut cost: Option<CostParts> = None;
        let mut ways: BTreeMap<String, i64> = BTreeMap::new();
        let (mut services, mut containers) = (BTreeMap::new(), BTreeMap::new());
        for parcel in &plan.parcels {
            cost = Some(cost.map_or(parcel.cost, |sum| sum + parcel.cost));
            *ways.entry(quote::spoken(parcel, workshop)).or_default() += 1;
            *services.entry(parcel.service.clone()).or_default() += 1;
            for name in std::iter::once(&parcel.container).chain(&parcel.inside) {
                *containers.entry(name.clone()).or_default() += 1;
            }
        }
        let ways: Vec<String> =
            ways.into_iter().map(|(way, count)| if count == 1 { way } else { format!("{count} x {way}") }).collect();
        let Some(cost) = cost else {
            return Err(if plan.verdict == Verdict::Nothing { Unsent::Certain } else { Unsent::Undecided });
        };
        let least_possible = match &plan.verdict {
            Verdict::BestFound { least_possible } => least_possible.minor,
            Verdict::Proved | Verdict::Nothing => cost.total().minor,
        };
        Ok(Self { way: ways.join(" + "), cost, services, containers, least_possible })
    }

    /// Is there no cheaper way?
    pub fn is_proved(&self) -> bool {
        self.least_possible >= self.cost.total().minor
    }

    /// How many parcels.
    pub fn parcels(&self) -> i64 {
        self.services.values().sum()
    }
}
