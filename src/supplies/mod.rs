//! Consumption of packing supplies, pure: what a day needs and what runs out when.
//!
//! May touch: its arguments. Never: I/O, clocks; buys or corrects anything in secret.

use crate::model::*;
use std::collections::BTreeMap;

/// What parcels need of supplies and containers, in the order of the configuration; what
/// no parcel needs is left out, what the configuration does not know stands last.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Needs {
    /// Per supply.
    pub supplies: Vec<SupplyNeed>,
    /// Per container; a carrier's mailer around a box counts, too.
    pub containers: Vec<ContainerNeed>,
    /// How many parcels were looked at.
    pub parcels: usize,
}

/// What is needed of one supply, in its base unit (nanometres, nanograms, pieces).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SupplyNeed {
    /// Which.
    pub supply: SupplyName,
    /// So much.
    pub needed: i64,
    /// There is so much; `None`: not counted.
    pub stock: Option<i64>,
    /// The parcel, counted from 1 in pack order, for which it no longer suffices.
    pub runs_out_at: Option<usize>,
}

/// What is needed of one container.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ContainerNeed {
    /// Which.
    pub container: ContainerName,
    /// So many.
    pub needed: u32,
    /// There are so many; `None`: not counted.
    pub stock: Option<u32>,
    /// The parcel, counted from 1 in pack order, for which there is none left.
    pub runs_out_at: Option<usize>,
}

/// Sums what these parcels need, in the order in which they are packed, against the stock
/// as the configuration counts it.
pub fn needs(parcels: &[&PlannedParcel], workshop: &Workshop) -> Needs {
    needs_after(&[], parcels, workshop)
}

/// As [`needs`], with what `used` parcels have taken since the stock was counted taken off first.
pub fn needs_after(used: &[&PlannedParcel], parcels: &[&PlannedParcel], workshop: &Workshop) -> Needs {
    let taken = tally(used, supplies_of);
    let supplies = tally(parcels, supplies_of);
    let boxes_taken = tally(used, containers_of);
    let boxes = tally(parcels, containers_of);
    let supply_order = workshop.supplies.iter().map(|supply| &supply.name);
    let container_order = workshop.containers.iter().map(|container| &container.name);
    Needs {
        supplies: in_order(supply_order, &supplies)
            .map(|(name, counts)| {
                let counted = workshop.supply(name).and_then(|supply| supply.stock);
                let stock = counted.map(|stock| left(stock, taken.get(name)));
                let needed = saturated(counts.last());
                SupplyNeed { supply: name.clone(), needed, stock, runs_out_at: runs_out(counts, stock) }
            })
            .collect(),
        containers: in_order(container_order, &boxes)
            .map(|(name, counts)| {
                let counted = workshop.container(name).and_then(|container| container.stock);
                let stock = counted.map(|stock| left(i64::from(stock), boxes_taken.get(name)));
                let needed = u32::try_from(saturated(counts.last())).unwrap_or(u32::MAX);
                let runs_out_at = runs_out(counts, stock);
                let stock = stock.map(|stock| u32::try_from(stock).unwrap_or(0));
                ContainerNeed { container: name.clone(), needed, stock, runs_out_at }
            })
            .collect(),
        parcels: parcels.len(),
    }
}

fn supplies_of(parcel: &PlannedParcel) -> Vec<(&SupplyName, i64)> {
    parcel.supplies.iter().map(|usage| (&usage.supply, usage.amount)).collect()
}

fn containers_of(parcel: &PlannedParcel) -> Vec<(&ContainerName, i64)> {
    std::iter::once(&parcel.container).chain(&parcel.inside).map(|name| (name, 1)).collect()
}

/// For each name: the sum after each parcel.
fn tally<'a, N: Ord>(
    parcels: &[&'a PlannedParcel],
    parts: impl Fn(&'a PlannedParcel) -> Vec<(&'a N, i64)>,
) -> BTreeMap<&'a N, Vec<i128>> {
    let mut sums: BTreeMap<&N, Vec<i128>> = BTreeMap::new();
    for (at, parcel) in parcels.iter().enumerate() {
        for (name, amount) in parts(parcel) {
            let counts = sums.entry(name).or_default();
            let so_far = counts.last().copied().unwrap_or(0);
            counts.resize(at + 1, so_far);
            counts[at] = so_far + i128::from(amount);
        }
    }
    sums
}

fn in_order<'a, N: Ord>(
    configured: impl Iterator<Item = &'a N>,
    sums: &'a BTreeMap<&'a N, Vec<i128>>,
) -> impl Iterator<Item = (&'a N, &'a Vec<i128>)> {
    let configured: Vec<&N> = configured.collect();
    let mut all: Vec<(&N, &Vec<i128>)> = sums.iter().map(|(name, counts)| (*name, counts)).collect();
    all.sort_by_key(|(name, _)| configured.iter().position(|known| known == name).unwrap_or(usize::MAX));
    all.into_iter()
}

fn left(stock: i64, taken: Option<&Vec<i128>>) -> i64 {
    stock.saturating_sub(saturated(taken.and_then(|counts| counts.last()))).max(0)
}

fn saturated(sum: Option<&i128>) -> i64 {
    i64::try_from(sum.copied().unwrap_or(0)).unwrap_or(i64::MAX)
}

fn runs_out(counts: &[i128], stock: Option<i64>) -> Option<usize> {
    let stock = i128::from(stock?);
    counts.iter().position(|sum| *sum > stock).map(|at| at + 1)
}
