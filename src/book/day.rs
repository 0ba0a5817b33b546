//! A day's work: which parcels go on the pick list, in the order in which to pack.

use super::*;
use crate::model::*;
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::BTreeSet;

/// What a day holds. All lists are in the order in which to pack.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DayList {
    /// The local date.
    pub date: Date,
    /// To be packed today: oldest promise first until the day is full; urgent ones always.
    pub today: Vec<ParcelId>,
    /// Those among `today` whose order came after the day's scheduled list was queued.
    pub since_list: Vec<ParcelId>,
    /// Ready as well, but beyond the size of the day.
    pub later: Vec<ParcelId>,
    /// Packed, waiting for the carrier.
    pub packed: Vec<ParcelId>,
    /// How many orders the parcels of `today` belong to.
    pub orders: usize,
}

impl State {
    /// When the order was promised: when the customer placed it, else when it came.
    pub fn promised(entry: &OrderEntry) -> Timestamp {
        entry.order.placed.unwrap_or(entry.received).min(entry.received)
    }
    /// Sorts parcels into the order in which to pack: urgent ones first, then one container
    /// at a time, within it the oldest promise first.
    pub fn sort_for_packing(&self, parcels: &mut [ParcelId]) {
        parcels.sort_by_cached_key(|id| {
            let parcel = self.parcels.get(id);
            let entry = parcel.and_then(|parcel| self.orders.get(parcel.leading()?));
            let urgent = entry.is_some_and(OrderEntry::is_urgent);
            let container = parcel.map(|parcel| parcel.planned.container.clone());
            (!urgent, container, entry.map(Self::promised), parcel.map(|parcel| parcel.part), *id)
        });
    }
}

impl OrderEntry {
    /// Does a rule say that it goes first?
    pub fn is_urgent(&self) -> bool {
        self.plan.as_ref().is_some_and(|(plan, _)| plan.urgent)
    }
}

/// What goes on the pick list of `today`. The day holds [`Policy::parcels_a_day`] parcels;
/// an order's parcels stay together, so that the last order may overfill it a little.
pub fn day(state: &State, today: Date) -> DayList {
    let size = state.policy.as_ref().map_or(u32::MAX, |policy| policy.parcels_a_day) as usize;
    let listed = state.last_list_at.filter(|_| state.last_list == Some(today));
    // Joined orders have the same parcels: they come with the first of them.
    let mut seen: BTreeSet<ParcelId> = BTreeSet::new();
    // One look at all households, not one for each order.
    let waiting = state.all_that_wait_to_be_joined();
    let may_pack = |key: &OrderKey| state.is_ready(key) && !waiting.contains(key);
    let mut open: Vec<&OrderEntry> = state.orders.values().filter(|entry| may_pack(&entry.order.key)).collect();
    open.sort_by_key(|entry| (!entry.is_urgent(), State::promised(entry), entry.received, &entry.order.key));
    let mut list = DayList {
        date: today,
        today: Vec::new(),
        since_list: Vec::new(),
        later: Vec::new(),
        packed: Vec::new(),
        orders: 0,
    };
    for entry in open {
        let ready = state.parcels_of(entry).filter(|(_, parcel)| state.all_that_count(parcel, may_pack));
        let ready: Vec<(ParcelId, Stage)> = ready.map(|(id, parcel)| (id, parcel.stage)).collect();
        let fresh = ready.into_iter().filter(|(id, _)| seen.insert(*id));
        let (to_pack, rest): (Vec<_>, Vec<_>) = fresh.partition(|(_, stage)| *stage <= Stage::Printed);
        let to_pack: Vec<ParcelId> = to_pack.into_iter().map(|(id, _)| id).collect();
        list.packed.extend(rest.into_iter().filter(|(_, stage)| *stage == Stage::Packed).map(|(id, _)| id));
        if to_pack.is_empty() {
            continue;
        }
        if list.today.len() >= size && !entry.is_urgent() {
            list.later.extend(to_pack);
            continue;
        }
        if listed.is_some_and(|at| entry.received > at) {
            list.since_list.extend(&to_pack);
        }
        list.today.extend(to_pack);
    }
    let of_today = list.today.iter().filter_map(|id| state.parcels.get(id)).flat_map(|parcel| &parcel.orders);
    let open = of_today.filter(|key| state.orders.get(key).is_some_and(|entry| entry.cancelled.is_none()));
    list.orders = open.collect::<BTreeSet<_>>().len();
    for parcels in [&mut list.today, &mut list.since_list, &mut list.later, &mut list.packed] {
        state.sort_for_packing(parcels);
    }
    list
}
