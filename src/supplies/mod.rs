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
    let supplies = workshop.supplies.iter().map(|supply| (supply.name.clone(), supply.stock));
    let containers = workshop.containers.iter().map(|container| (container.name.clone(), container.stock));
    against(used, parcels, &Stocks { supplies: supplies.collect(), containers: containers.collect() })
}

/// What the configuration counts, in its order.
struct Stocks {
    supplies: Vec<(SupplyName, Option<i64>)>,
    containers: Vec<(ContainerName, Option<u32>)>,
}

fn against(used: &[&PlannedParcel], parcels: &[&PlannedParcel], stocks: &Stocks) -> Needs {
    let containers = stocks.containers.iter().map(|(name, stock)| (name.clone(), stock.map(i64::from)));
    let containers: Vec<(ContainerName, Option<i64>)> = containers.collect();
    let supplies = compare(tally(used, supplies_of), tally(parcels, supplies_of), &stocks.supplies);
    let containers = compare(tally(used, containers_of), tally(parcels, containers_of), &containers);
    Needs {
        supplies: supplies
            .into_iter()
            .map(|(name, needed, stock, runs_out_at)| SupplyNeed { supply: name, needed, stock, runs_out_at })
            .collect(),
        containers: containers
            .into_iter()
            .map(|(name, needed, stock, runs_out_at)| ContainerNeed {
                container: name,
                needed: u32::try_from(needed).unwrap_or(u32::MAX),
                stock: stock.map(|stock| u32::try_from(stock).unwrap_or(u32::MAX)),
                runs_out_at,
            })
            .collect(),
        parcels: parcels.len(),
    }
}

/// One line of the comparison: name, needed, stock left, and where it runs out.
type Line<N> = (N, i64, Option<i64>, Option<usize>);

/// Sums against stocks, in the order of the stocks; names that they do not know stand last.
fn compare<N: Ord + Clone>(
    used: BTreeMap<&N, Vec<i128>>,
    sums: BTreeMap<&N, Vec<i128>>,
    stocks: &[(N, Option<i64>)],
) -> Vec<Line<N>> {
    let place = |name: &N| stocks.iter().position(|(known, _)| known == name).unwrap_or(stocks.len());
    let mut lines: Vec<(usize, Line<N>)> = Vec::with_capacity(sums.len());
    for (name, counts) in sums {
        let at = place(name);
        let counted = stocks.get(at).and_then(|(_, stock)| *stock);
        let taken = saturated(used.get(name).and_then(|counts| counts.last()));
        let stock = counted.map(|stock| stock.saturating_sub(taken).max(0));
        lines.push((at, (name.clone(), saturated(counts.last()), stock, runs_out(&counts, stock))));
    }
    // Stable: unknown names keep their alphabetical order.
    lines.sort_by_key(|(at, _)| *at);
    lines.into_iter().map(|(_, line)| line).collect()
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

fn saturated(sum: Option<&i128>) -> i64 {
    i64::try_from(sum.copied().unwrap_or(0)).unwrap_or(i64::MAX)
}

fn runs_out(counts: &[i128], stock: Option<i64>) -> Option<usize> {
    let stock = i128::from(stock?);
    counts.iter().position(|sum| *sum > stock).map(|at| at + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A parcel that takes one container and so much of each supply.
    fn parcel(container: &str, inside: Option<&str>, supplies: &[(&str, i64)]) -> PlannedParcel {
        let nothing = Money { minor: 0, currency: "EUR".parse().expect("a currency") };
        let supplies = supplies.iter().map(|(name, amount)| SupplyUse { supply: (*name).into(), amount: *amount });
        PlannedParcel {
            container: container.into(),
            inside: inside.map(ContainerName::from),
            thick_at_most: None,
            service: "Letter".into(),
            zone: String::new(),
            contents: Vec::new(),
            weight: Weight { ng: 1 },
            tolerance: Weight { ng: 1 },
            cost: CostParts {
                postage: nothing,
                surcharges: nothing,
                container: nothing,
                supplies: nothing,
                labour: None,
            },
            supplies: supplies.collect(),
            surcharged: Vec::new(),
            counts_as: None,
            foreign: None,
            placement: Vec::new(),
            inner_mm: [0; 3],
            notes: Vec::new(),
            cautions: Vec::new(),
            cards: Vec::new(),
            printer: None,
        }
    }

    #[test]
    fn what_is_needed_is_summed_and_runs_out_where_the_stock_ends() {
        let stocks = Stocks {
            supplies: vec![("seal".into(), None), ("tape".into(), Some(100))],
            containers: vec![("Small".into(), Some(2)), ("Skipper".into(), Some(0)), ("Medium".into(), None)],
        };
        let parcels = [
            parcel("Small", None, &[("tape", 40), ("seal", 1)]),
            parcel("Small", None, &[("tape", 60)]),
            parcel("Medium", Some("Skipper"), &[("twine", 7)]),
            parcel("Small", None, &[("tape", 1), ("tape", 2), ("seal", 1)]),
        ];
        let parcels: Vec<&PlannedParcel> = parcels.iter().collect();
        let needs = against(&[], &parcels, &stocks);
        let supply =
            |name: &str, needed, stock, runs_out_at| SupplyNeed { supply: name.into(), needed, stock, runs_out_at };
        // In the order of the configuration; what it does not know stands last.
        let expected =
            [supply("seal", 2, None, None), supply("tape", 103, Some(100), Some(4)), supply("twine", 7, None, None)];
        assert_eq!(needs.supplies, expected);
        let container = |name: &str, needed, stock, runs_out_at| ContainerNeed {
            container: name.into(),
            needed,
            stock,
            runs_out_at,
        };
        let expected = [
            container("Small", 3, Some(2), Some(4)),
            container("Skipper", 1, Some(0), Some(3)),
            container("Medium", 1, None, None),
        ];
        assert_eq!(needs.containers, expected);
        assert_eq!(needs.parcels, 4);

        // What was used before leaves less, but never less than nothing.
        let needs = against(&parcels[..2], &parcels[2..], &stocks);
        assert_eq!(needs.supplies[1], supply("tape", 3, Some(0), Some(2)));
        let needs = against(&parcels, &parcels[..1], &stocks);
        assert_eq!(needs.containers[0], container("Small", 1, Some(0), Some(1)));
    }

    #[test]
    fn exactly_enough_is_enough_and_huge_amounts_do_not_overflow() {
        let stocks = Stocks { supplies: vec![("tape".into(), Some(i64::MAX))], containers: Vec::new() };
        let one = parcel("Small", None, &[("tape", i64::MAX)]);
        assert_eq!(against(&[], &[&one], &stocks).supplies[0].runs_out_at, None);
        let needs = against(&[], &[&one, &one], &stocks);
        assert_eq!((needs.supplies[0].needed, needs.supplies[0].runs_out_at), (i64::MAX, Some(2)));
        assert_eq!(against(&[], &[], &stocks), Needs { supplies: Vec::new(), containers: Vec::new(), parcels: 0 });
    }
}
