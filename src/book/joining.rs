//! Joining: orders of one customer to one address in the same parcels.
//!
//! Each order is planned alone first. Once all of a group have their plans and nothing stops them,
//! the planner is asked for a common plan, and none of their papers prints before its answer. It
//! counts only if it is no dearer; then each of its orders has the same parcels. Until a paper of
//! these is out, whatever happens to one of the orders parts them, and they are planned alone again;
//! after that they stay together. All this is looked at once, at the end of each step, for the
//! households that its facts have touched: so no command can forget it.

use super::step::{Reply, Work};
use super::*;
use crate::model::*;
use std::collections::BTreeSet;

/// More orders than this never share their parcels: the slip names them all.
const JOINED_MAX: usize = 8;
/// Whoever has more orders in the book than this is a trader, whose orders travel apart.
const HOUSEHOLD_MAX: usize = 64;
/// Rounds of one step until nothing is left to settle: parting, planning and papers need one each.
const ROUNDS_MAX: usize = 8;

/// Orders that are to travel together, the one that came first leading.
type Group<'s> = Vec<&'s OrderEntry>;

impl OrderEntry {
    /// The plan that it shares with other orders.
    pub fn common_plan(&self) -> Option<&Plan> {
        self.plan.as_ref().map(|(plan, _)| plan).filter(|plan| !plan.joined.is_empty())
    }
    /// What a common plan was asked for that has not come yet.
    pub(super) fn asked_together(&self) -> Option<&Pins> {
        self.asked.as_ref().filter(|pins| !pins.joined.is_empty())
    }
    /// Could these two travel together, beyond being one customer's to one address?
    fn suits(&self, other: &Self) -> bool {
        let (one, two) = (&self.order, &other.order);
        let emails = [&one.customer.email, &two.customer.email];
        one.requested_service == two.requested_service
            && (emails[0] == emails[1] || emails.iter().any(|email| email.is_empty()))
    }
    fn is_free_to_join(&self) -> bool {
        self.cancelled.is_none() && self.stops.is_empty() && self.forgotten.is_none() && !self.apart
    }
}

/// The others of a group, as [`Pins::joined`] names them.
fn others(group: &Group<'_>) -> Vec<(OrderKey, u32)> {
    group.iter().skip(1).map(|entry| (entry.order.key.clone(), entry.version)).collect()
}

impl State {
    /// All orders that lie in a parcel with this one, itself among them.
    pub(super) fn companions(&self, entry: &OrderEntry) -> BTreeSet<OrderKey> {
        let shared = self.parcels_of(entry).flat_map(|(_, parcel)| &parcel.orders);
        shared.chain([&entry.order.key]).cloned().collect()
    }

    /// Does its common plan, or the wish for one, come before any paper of it?
    pub(super) fn waits_to_be_joined(&self, key: &OrderKey) -> bool {
        let household = self.orders.get(key).and_then(|entry| entry.order.household());
        let Some(household) = household else { return false };
        let own = |group: &Group<'_>| group.iter().any(|entry| entry.order.key == *key);
        self.groups(&household).iter().any(|group| own(group) && !self.is_settled(group))
    }

    /// All orders whose common plan, or the wish for one, comes before any paper of them.
    pub(super) fn all_that_wait_to_be_joined(&self) -> BTreeSet<&OrderKey> {
        let groups = self.tally.households().flat_map(|household| self.groups(household));
        let open = groups.filter(|group| !self.is_settled(group));
        open.flatten().map(|entry| &entry.order.key).collect()
    }

    /// The orders of a household that are to travel together, if that is no dearer: open, with
    /// nothing that stops them, planned or being planned, and no paper of them out. What waited for
    /// packing to start and is queued now keeps its place.
    fn groups(&self, household: &Household) -> Vec<Group<'_>> {
        if !self.policy.as_ref().is_some_and(|policy| policy.join) {
            return Vec::new();
        }
        let known: Vec<&OrderKey> = self.tally.household(household).collect();
        if !(2..=HOUSEHOLD_MAX).contains(&known.len()) {
            return Vec::new();
        }
        let planned = |entry: &OrderEntry| entry.has_current_plan() || entry.asked.is_some();
        let mut free: Vec<&OrderEntry> = known.into_iter().filter_map(|key| self.orders.get(key)).collect();
        free.retain(|entry| {
            let key = &entry.order.key;
            entry.is_free_to_join() && planned(entry) && !self.paper_out(key) && !self.is_being_packed(entry)
        });
        free.sort_by_key(|entry| (entry.received, &entry.order.key));
        let mut groups: Vec<Group<'_>> = Vec::new();
        for entry in free {
            let takes = |group: &&mut Group<'_>| group.len() < JOINED_MAX && group.iter().all(|one| one.suits(entry));
            match groups.iter_mut().find(takes) {
                Some(group) => group.push(entry),
                None => groups.push(vec![entry]),
            }
        }
        groups.retain(|group| group.len() > 1);
        groups
    }

    /// Has packing started for a parcel that waited for that, and its slip not come out yet?
    fn is_being_packed(&self, entry: &OrderEntry) -> bool {
        let mut jobs = self.parcels_of(entry).flat_map(|(_, parcel)| &parcel.jobs).filter_map(|id| self.jobs.get(id));
        jobs.any(|job| job.state == JobState::Queued)
            && self.companions(entry).iter().any(|key| self.waits_for_packing(key))
    }

    /// Has the planner answered for this group, as it is now?
    fn is_settled(&self, group: &Group<'_>) -> bool {
        let Some(lead) = group.first() else { return true };
        let others = others(group);
        let joined = lead.common_plan().is_some_and(|plan| {
            let asked = |other: &(OrderKey, u32)| plan.pins.joined.contains(other);
            let here = |key: &OrderKey| others.iter().any(|(other, _)| other == key);
            // Of those that made it dearer, some may have gone their own way since.
            plan.order == lead.order.key && others.iter().all(asked) && plan.joined.iter().all(here)
        });
        let refused = lead.not_joined.as_ref().is_some_and(|(pins, _)| {
            let same = pins.order_version == lead.version && pins.joined == others;
            same && Some(&pins.config) == self.config.as_ref() && pins.stock == self.stock_seq
        });
        joined || refused
    }

    /// Does a common plan still hold? Once a paper of it is out, it does whatever happens.
    fn holds(&self, plan: &Plan) -> bool {
        let entries: Vec<Option<&OrderEntry>> = plan.orders().map(|key| self.orders.get(key)).collect();
        let household = entries.first().copied().flatten().and_then(|entry| entry.order.household());
        plan.orders().any(|key| self.paper_out(key))
            || entries.iter().all(|entry| {
                entry.is_some_and(|entry| {
                    entry.is_free_to_join()
                        && plan.version_of(&entry.order.key) == Some(entry.version)
                        && household.is_some()
                        && entry.order.household() == household
                })
            })
    }

    fn members(&self, household: &Household) -> Vec<OrderKey> {
        self.tally.household(household).cloned().collect()
    }
}

impl Work<'_> {
    /// Notes for [`Self::settle_joins`] the households of these orders, as they are now.
    pub fn touch(&mut self, orders: &[OrderKey]) {
        let entries = orders.iter().filter_map(|key| self.state.orders.get(key));
        let households = entries.filter_map(|entry| entry.order.household());
        let of_several = |household: &Household| self.state.tally.household(household).nth(1).is_some();
        let touched: Vec<Household> = households.filter(of_several).collect();
        self.households.extend(touched);
    }

    /// Notes all households: the rules of joining are others.
    pub fn touch_all(&mut self) {
        let all: Vec<Household> = self.state.tally.households().cloned().collect();
        self.households.extend(all);
    }

    /// At the end of a step: parts what no longer goes together, asks for common plans, and lets
    /// those go on that waited for one.
    pub fn settle_joins(&mut self) {
        for _ in 0..ROUNDS_MAX {
            let touched = std::mem::take(&mut self.households);
            if touched.is_empty() {
                return;
            }
            for household in touched {
                self.end_what_no_longer_holds(&household);
                self.ask_common_plans(&household);
                for key in self.state.members(&household) {
                    self.go_on(&key);
                }
            }
        }
    }

    fn end_what_no_longer_holds(&mut self, household: &Household) {
        for key in self.state.members(household) {
            let Some(entry) = self.state.orders.get(&key) else { continue };
            if let Some(pins) = entry.asked_together().cloned() {
                let groups = self.state.groups(household);
                let mut led = groups.iter().filter(|group| group[0].order.key == key);
                if !led.any(|group| others(group) == pins.joined) {
                    let why = "one of the orders has changed".to_owned();
                    self.fact(Fact::NotJoined { order: key.clone(), pins: Box::new(pins), why, settled: false });
                }
            }
            let common = self.state.orders.get(&key).and_then(OrderEntry::common_plan);
            if let Some(plan) = common.filter(|plan| !self.state.holds(plan)).cloned() {
                self.part(&plan, "one of the orders has changed");
            }
        }
    }

    /// Takes the common parcels away from all their orders.
    fn part(&mut self, plan: &Plan, why: &str) {
        let orders: Vec<OrderKey> = plan.orders().filter(|key| self.state.orders.contains_key(key)).cloned().collect();
        for key in &orders {
            self.drop_queued(key, "its order travels apart again");
        }
        self.fact(Fact::Parted { orders, why: why.to_owned() });
    }

    /// Before an order is planned anew: with the others it shares nothing any more.
    pub fn part_order(&mut self, key: &OrderKey) {
        if let Some(plan) = self.state.orders.get(key).and_then(OrderEntry::common_plan).cloned() {
            self.part(&plan, "one of the orders is planned anew");
        }
    }

    fn ask_common_plans(&mut self, household: &Household) {
        let open = self.state.groups(household).into_iter().filter(|group| !self.state.is_settled(group));
        let open: Vec<Vec<OrderKey>> =
            open.map(|group| group.iter().map(|entry| entry.order.key.clone()).collect()).collect();
        for group in open {
            for key in &group {
                self.drop_queued(key, "it may travel with another order of the same customer");
            }
            let entries = || group.iter().filter_map(|key| self.state.orders.get(key));
            if entries().any(|entry| entry.asked.is_some()) {
                continue;
            }
            let mut common = entries().filter_map(OrderEntry::common_plan);
            let mixed = common.find(|plan| plan.orders().any(|key| !group.contains(key)));
            if let Some(plan) = mixed.cloned() {
                // Its orders are planned alone first; then this comes up again.
                self.part(&plan, "another order of the same customer came before");
                continue;
            }
            self.ask_common_plan(&group);
        }
    }

    fn ask_common_plan(&mut self, group: &[OrderKey]) {
        let Some(lead) = group.first().and_then(|key| self.state.orders.get(key)) else { return };
        let Some(pins) = self.state.pins_of(lead, self.now) else { return };
        let others = group.iter().skip(1).filter_map(|key| self.state.orders.get(key));
        let joined = others.map(|entry| (entry.order.key.clone(), entry.version)).collect();
        let pins = Pins { joined, ..pins };
        let order = lead.order.key.clone();
        self.fact(Fact::PlanAsked { order: order.clone(), pins: pins.clone(), anew: false });
        self.ask_again_together(order, pins);
    }

    /// Hands a question for a common plan to the planner; after an unclean stop it waits for its turn.
    pub fn ask_again_together(&mut self, order: OrderKey, pins: Pins) {
        if !self.state.careful {
            self.effect(Effect::PlanThis { order, pins });
        }
    }

    /// The planner's answer for several orders: it counts if everything is settled and no dearer.
    pub fn planned_together(&mut self, plan: Plan) -> Reply {
        let pinned = |key: &OrderKey| plan.pins.joined.iter().any(|(order, _)| order == key);
        let is_worth_it = !plan.parcels.is_empty()
            && plan.questions.is_empty()
            && plan.waits.is_empty()
            && !plan.joined.is_empty()
            && plan.joined.iter().all(pinned)
            && plan.joined_saves.is_some_and(|saves| saves.minor >= 0);
        let planned_anew = |key: &OrderKey| self.state.orders.get(key).is_some_and(|entry| entry.asked.is_some());
        if plan.pins.joined.iter().any(|(key, _)| planned_anew(key)) {
            // Its own plan would come after this one and send its things a second time.
            let why = "one of the orders is planned anew".to_owned();
            let (order, pins) = (plan.order, Box::new(plan.pins));
            self.fact(Fact::NotJoined { order, pins, why, settled: false });
        } else if is_worth_it {
            let parcels = self.new_parcels(&plan);
            self.fact(Fact::Planned { plan: Box::new(plan), parcels });
        } else {
            let sentence = plan.questions.into_iter().map(|question| question.what).chain(plan.what_would_change);
            let why = sentence.into_iter().next().unwrap_or_else(|| "together they could not be planned".to_owned());
            self.fact(Fact::NotJoined { order: plan.order, pins: Box::new(plan.pins), why, settled: true });
        }
        Ok(Answer::Done)
    }
}
