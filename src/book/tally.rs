//! Counts over all that is open, kept up with each fact: who needs one would otherwise walk over
//! every order for every plan, every fact, every second.

use super::{OrderEntry, ParcelEntry, Stage, State, StopKind};
use crate::model::*;
use jiff::civil::Date;
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

/// What of its pins makes a plan old: the configuration, and for an order that nothing stops the day of
/// handing over. A stopped one is looked at again when it goes on.
pub type MadeFor = (ConfigDigest, Option<Date>);

/// The counts. Never written: a state that is read back counts once ([`State::counted`]).
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Tally {
    /// Containers that parcels of orders hold which are not cancelled.
    containers: BTreeMap<ContainerName, i64>,
    /// Pieces of batches, likewise.
    batches: BTreeMap<(Sku, BatchName), i64>,
    /// Parcels that are to go, by service and day: each takes its place on that day and, while nothing
    /// but a person stands between it and the carrier, on every later one.
    to_go: BTreeMap<(ServiceName, Date), i64>,
    /// Parcels that take their place on that day only: handed over, or their order is stopped.
    on_day: BTreeMap<(ServiceName, Date), i64>,
    /// Orders that may be planned (anew) and are not asked for, by what their plan was made for.
    plannable: Grouped<Option<MadeFor>>,
    /// Orders that the planner was asked for.
    asked: BTreeSet<OrderKey>,
    /// Stops that wait for a date, by date.
    dates: BTreeMap<Date, i64>,
    /// Orders that may be joined with others of their household.
    households: Grouped<Household>,
}

/// Orders by something they have in common; a group without orders goes.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Grouped<K>(BTreeMap<K, BTreeSet<OrderKey>>);

impl<K> Default for Grouped<K> {
    fn default() -> Self {
        Self(BTreeMap::new())
    }
}

impl<K: Ord> Grouped<K> {
    fn count(&mut self, group: K, order: &OrderKey, sign: i64) {
        match self.0.entry(group) {
            Entry::Vacant(free) if sign > 0 => {
                free.insert(BTreeSet::from([order.clone()]));
            }
            Entry::Vacant(_) => {}
            Entry::Occupied(mut known) => {
                mark(known.get_mut(), order, sign);
                if known.get().is_empty() {
                    known.remove();
                }
            }
        }
    }
}

/// Puts an order in, or takes it out.
fn mark(orders: &mut BTreeSet<OrderKey>, order: &OrderKey, sign: i64) {
    if sign > 0 {
        orders.insert(order.clone());
    } else {
        orders.remove(order);
    }
}

/// Adds to a count; one that comes to nothing goes.
fn add<K: Ord + Clone>(counts: &mut BTreeMap<K, i64>, key: &K, more: i64) {
    let count = counts.get(key).copied().unwrap_or(0) + more;
    if count == 0 {
        counts.remove(key);
    } else {
        counts.insert(key.clone(), count);
    }
}

impl Tally {
    fn parcel(&mut self, parcel: &ParcelEntry, stopped: bool, sign: i64) {
        let planned = &parcel.planned;
        // Of one planned before days were noted nobody knows the day: it is still to go.
        let by = (planned.service.clone(), parcel.hand_over.unwrap_or(Date::MIN));
        let waits = stopped && parcel.stage == Stage::Planned;
        let places = if waits || parcel.stage == Stage::HandedOver { &mut self.on_day } else { &mut self.to_go };
        add(places, &by, sign);
        for name in std::iter::once(&planned.container).chain(&planned.inside) {
            add(&mut self.containers, name, sign);
        }
        for content in &planned.contents {
            if let Some(batch) = &content.batch {
                add(&mut self.batches, &(content.sku.clone(), batch.clone()), sign * i64::from(content.quantity));
            }
        }
    }
    fn order(&mut self, entry: &OrderEntry, plannable: Option<Option<MadeFor>>, sign: i64) {
        let key = &entry.order.key;
        if let Some(made_for) = plannable {
            self.plannable.count(made_for, key, sign);
        }
        if entry.asked.is_some() {
            mark(&mut self.asked, key, sign);
        }
        if let Some(household) = entry.order.household() {
            self.households.count(household, key, sign);
        }
        for stop in &entry.stops {
            if let StopKind::Waiting(wait) = &stop.kind
                && let Some(day) = wait.until()
            {
                add(&mut self.dates, &day, sign);
            }
        }
    }
    /// Orders that the planner was asked for, by key.
    pub fn asked(&self) -> impl Iterator<Item = &OrderKey> {
        self.asked.iter()
    }
    /// Has the planner as much to do as this?
    pub fn asked_at_least(&self, count: usize) -> bool {
        self.asked.len() >= count
    }
    /// An order without a plan, or whose plan was made for another configuration or day.
    pub fn old_plan(&self, config: &ConfigDigest, day: Date) -> Option<&OrderKey> {
        let is_old = |made_for: &Option<MadeFor>| {
            !made_for.as_ref().is_some_and(|(made, on)| made == config && on.is_none_or(|on| on == day))
        };
        self.plannable.0.iter().find(|(made_for, _)| is_old(made_for)).and_then(|(_, keys)| keys.first())
    }
    /// All orders of a household that the state holds and that may be joined.
    pub(super) fn household(&self, household: &Household) -> impl Iterator<Item = &OrderKey> {
        self.households.0.get(household).into_iter().flatten()
    }
    /// Households of which the state holds several orders.
    pub(super) fn households(&self) -> impl Iterator<Item = &Household> {
        self.households.0.iter().filter(|(_, orders)| orders.len() > 1).map(|(household, _)| household)
    }
    /// The earliest date that an order waits for.
    pub fn first_date(&self) -> Option<Date> {
        self.dates.first_key_value().map(|(day, _)| *day)
    }
}

impl State {
    /// Does what lies in this parcel count as taken: is one of its orders here and not cancelled?
    fn takes(&self, parcel: &ParcelEntry) -> bool {
        parcel.orders.iter().any(|key| self.orders.get(key).is_some_and(|entry| entry.cancelled.is_none()))
    }

    /// Is one of its orders stopped?
    fn is_stopped(&self, parcel: &ParcelEntry) -> bool {
        let mut orders = parcel.orders.iter().filter_map(|key| self.orders.get(key));
        orders.any(|entry| !entry.stops.is_empty())
    }

    /// Changes something about these orders, and the counts with it.
    pub(super) fn tallied(&mut self, keys: &BTreeSet<OrderKey>, change: impl FnOnce(&mut Self)) {
        let mut parcels = BTreeSet::new();
        self.tally_orders(keys, -1, &mut parcels);
        change(self);
        self.tally_orders(keys, 1, &mut parcels);
    }

    /// Takes orders and their parcels, and those that were theirs before, into the counts or out of them.
    fn tally_orders(&mut self, keys: &BTreeSet<OrderKey>, sign: i64, parcels: &mut BTreeSet<ParcelId>) {
        if keys.is_empty() {
            return;
        }
        let mut tally = std::mem::take(&mut self.tally);
        for entry in keys.iter().filter_map(|key| self.orders.get(key)) {
            tally.order(entry, self.plannable(entry), sign);
            parcels.extend(&entry.parcels);
        }
        for parcel in parcels.iter().filter_map(|id| self.parcels.get(id)) {
            if self.takes(parcel) {
                tally.parcel(parcel, self.is_stopped(parcel), sign);
            }
        }
        self.tally = tally;
    }

    /// May the planner be asked for it, and what was its plan made for, if it has one that counts?
    fn plannable(&self, entry: &OrderEntry) -> Option<Option<MadeFor>> {
        let key = &entry.order.key;
        if entry.cancelled.is_some() || entry.asked.is_some() || entry.cannot_be_planned() || self.paper_out(key) {
            return None;
        }
        let plan = entry.plan.as_ref().map(|(plan, _)| plan);
        let counts = plan.filter(|plan| !entry.anew && plan.version_of(key) == Some(entry.version));
        Some(counts.map(|plan| {
            let day = entry.stops.is_empty().then_some(plan.pins.hand_over);
            (plan.pins.config.clone(), day)
        }))
    }

    /// Orders with a plan of which nothing is on paper.
    pub(super) fn not_printed(&self) -> Vec<OrderKey> {
        let planned = self.orders.values().filter(|entry| entry.plan.is_some() && entry.cancelled.is_none());
        planned.map(|entry| &entry.order.key).filter(|key| !self.paper_out(key)).cloned().collect()
    }

    /// Counts everything anew.
    pub(super) fn count(&self) -> Tally {
        let mut tally = Tally::default();
        self.orders.values().for_each(|entry| tally.order(entry, self.plannable(entry), 1));
        for parcel in self.parcels.values().filter(|parcel| self.takes(parcel)) {
            tally.parcel(parcel, self.is_stopped(parcel), 1);
        }
        tally
    }

    /// The same, counted anew.
    #[must_use]
    pub fn counted(mut self) -> Self {
        self.tally = self.count();
        self
    }

    /// What other orders' parcels have taken, as orders about to be planned see it: containers,
    /// and pieces of batches.
    pub fn taken_by_others(&self, orders: &[OrderKey]) -> Taken<'_> {
        let mut own = Tally::default();
        let entries = orders.iter().filter_map(|key| self.orders.get(key));
        let parcels: BTreeSet<ParcelId> = entries.flat_map(|entry| entry.parcels.iter().copied()).collect();
        for parcel in parcels.iter().filter_map(|id| self.parcels.get(id)) {
            if self.takes(parcel) {
                own.parcel(parcel, self.is_stopped(parcel), 1);
            }
        }
        Taken { all: &self.tally, own }
    }
}

/// See [`State::taken_by_others`].
pub struct Taken<'a> {
    all: &'a Tally,
    own: Tally,
}

impl Taken<'_> {
    /// So many of a container.
    pub fn containers(&self, name: &ContainerName) -> i64 {
        let count = |tally: &Tally| tally.containers.get(name).copied().unwrap_or(0);
        count(self.all) - count(&self.own)
    }
    /// So many pieces of a batch.
    pub fn pieces(&self, batch: &(Sku, BatchName)) -> i64 {
        let count = |tally: &Tally| tally.batches.get(batch).copied().unwrap_or(0);
        count(self.all) - count(&self.own)
    }
    /// So many parcels by a service on a day: those planned for it, those of earlier days that are
    /// still to go, and those handed over on it.
    pub fn parcels_by(&self, service: &ServiceName, day: Date) -> i64 {
        let count = |tally: &Tally| {
            let until = (service.clone(), Date::MIN)..=(service.clone(), day);
            let to_go: i64 = tally.to_go.range(until).map(|(_, count)| count).sum();
            to_go + tally.on_day.get(&(service.clone(), day)).copied().unwrap_or(0)
        };
        count(self.all) - count(&self.own)
    }
}
