//! The split search against trying every partition, on made-up costs and fits.

use dawnslip::plan::choose::runner_up::{runner_up, same};
use dawnslip::plan::choose::search::{Ask, Candidate, Decided, Part, split};
use proptest::prelude::*;
use std::collections::BTreeMap;

/// Wraps with a capacity, services with a price and a most weight; a set fits a wrap if its
/// weight is within the capacity, and some wraps cannot be decided near their capacity.
#[derive(Debug, Clone)]
struct Made {
    weights: Vec<u32>,
    wraps: Vec<(u32, i64)>,
    services: Vec<(u32, i64, i64)>,
    unsure_from_percent: u32,
}

impl Made {
    fn weight(&self, counts: &[u32]) -> u32 {
        self.weights.iter().zip(counts).map(|(w, n)| w * n).sum()
    }
    fn verdict(&self, counts: &[u32], wrap: usize) -> Decided {
        let (weight, capacity) = (self.weight(counts), self.wraps[wrap].0);
        if weight > capacity {
            Decided::Cannot
        } else if weight * 100 > capacity * self.unsure_from_percent {
            Decided::Unknown
        } else {
            Decided::Fits
        }
    }
    /// Cheapest single parcel, with undecided ones counted as fitting or not.
    fn single(&self, counts: &[u32], unsure_fits: bool) -> Option<i64> {
        let goes = |wrap: usize| match self.verdict(counts, wrap) {
            Decided::Fits => true,
            Decided::Cannot => false,
            Decided::Unknown => unsure_fits,
        };
        self.priced(counts).into_iter().filter(|c| goes(c.wrap)).map(|c| c.cost).min()
    }
    fn priced(&self, counts: &[u32]) -> Vec<Candidate> {
        let weight = self.weight(counts);
        let mut all = Vec::new();
        for (wrap, &(capacity, cost)) in self.wraps.iter().enumerate() {
            for (service, &(most, base, by_weight)) in self.services.iter().enumerate() {
                if weight <= most {
                    let cost = cost + base + by_weight * i64::from(weight);
                    all.push(Candidate { cost, volume: u128::from(capacity), wrap, service });
                }
            }
        }
        all.sort_by_key(Candidate::key);
        all
    }
    /// Every partition.
    fn least(&self, counts: &[u32], unsure_fits: bool) -> Option<i64> {
        let Some(first) = counts.iter().position(|&n| n > 0) else { return Some(0) };
        let mut best: Option<i64> = None;
        let mut subset = vec![0u32; counts.len()];
        loop {
            let mut kind = 0;
            while kind < subset.len() && subset[kind] == counts[kind] {
                subset[kind] = 0;
                kind += 1;
            }
            if kind == subset.len() {
                return best;
            }
            subset[kind] += 1;
            if subset[first] == 0 {
                continue;
            }
            let rest: Vec<u32> = counts.iter().zip(&subset).map(|(n, s)| n - s).collect();
            if let Some(one) = self.single(&subset, unsure_fits)
                && let Some(others) = self.least(&rest, unsure_fits)
            {
                best = Some(best.map_or(one + others, |b| b.min(one + others)));
            }
        }
    }
}

/// A set of parcels, in order, whatever order they were found in.
type Parcels = Vec<(Vec<u32>, usize, usize)>;

impl Made {
    /// Every set of parcels that surely fit, with its cost.
    fn every(&self, counts: &[u32]) -> BTreeMap<Parcels, i64> {
        let mut all = BTreeMap::new();
        if counts.iter().all(|count| *count == 0) {
            all.insert(Vec::new(), 0);
            return all;
        }
        for first in subsets(counts) {
            let rest: Vec<u32> = counts.iter().zip(&first).map(|(n, s)| n - s).collect();
            let fitting: Vec<Candidate> =
                self.priced(&first).into_iter().filter(|how| self.verdict(&first, how.wrap) == Decided::Fits).collect();
            if fitting.is_empty() {
                continue;
            }
            for (others, cost) in self.every(&rest) {
                for how in &fitting {
                    let mut parcels = others.clone();
                    parcels.push((first.clone(), how.wrap, how.service));
                    parcels.sort();
                    all.insert(parcels, cost + how.cost);
                }
            }
        }
        all
    }
}

/// What is known of sets of pieces: their cheapest sets of parcels.
type Cheapest = BTreeMap<Vec<u32>, Vec<(i64, Parcels)>>;

impl Made {
    /// The two cheapest sets of parcels that surely fit: a parcel with the first piece in one of its two cheapest ways,
    /// and one of the two cheapest sets for the rest. Nothing else can be among the two: for a dearer way, or a dearer
    /// rest, there are two cheaper ones in its place.
    fn cheapest_two(&self, counts: &[u32], known: &mut Cheapest) -> Vec<(i64, Parcels)> {
        let Some(first) = counts.iter().position(|count| *count > 0) else { return vec![(0, Vec::new())] };
        if let Some(two) = known.get(counts) {
            return two.clone();
        }
        let mut all: Vec<(i64, Parcels)> = Vec::new();
        for held in subsets(counts).into_iter().filter(|held| held[first] > 0) {
            let rest: Vec<u32> = counts.iter().zip(&held).map(|(n, s)| n - s).collect();
            let others = self.cheapest_two(&rest, known);
            let fitting = self.priced(&held).into_iter().filter(|how| self.verdict(&held, how.wrap) == Decided::Fits);
            for how in fitting.take(2) {
                all.extend(others.iter().map(|(cost, others)| {
                    let mut parcels = others.clone();
                    parcels.push((held.clone(), how.wrap, how.service));
                    parcels.sort();
                    (cost + how.cost, parcels)
                }));
            }
        }
        all.sort();
        all.dedup();
        all.truncate(2);
        known.insert(counts.to_vec(), all.clone());
        all
    }
}

/// All subsets of a set with something in them.
fn subsets(counts: &[u32]) -> Vec<Vec<u32>> {
    let mut all = vec![Vec::new()];
    for &count in counts {
        let longer = |set: &Vec<u32>| (0..=count).map(|n| set.iter().copied().chain([n]).collect()).collect::<Vec<_>>();
        all = all.iter().flat_map(longer).collect();
    }
    all.retain(|set: &Vec<u32>| set.iter().any(|n| *n > 0));
    all
}

/// The first so many pieces.
fn at_most(pieces: u32, counts: &[u32]) -> Vec<u32> {
    let mut room = pieces;
    let taken = counts.iter().map(|count| {
        let n = room.min(*count);
        room -= n;
        n
    });
    taken.collect()
}

fn cost_of(parts: &[Part]) -> i64 {
    parts.iter().map(|part| part.how.cost).sum()
}

impl Ask for Made {
    fn candidates(&mut self, counts: &[u32]) -> Vec<Candidate> {
        self.priced(counts)
    }
    fn decide(&mut self, counts: &[u32], wrap: usize) -> Decided {
        self.verdict(counts, wrap)
    }
    fn least_parcel(&self) -> Option<i64> {
        Some(self.wraps.iter().map(|w| w.1).min()? + self.services.iter().map(|s| s.1).min()?)
    }
}

/// At most so many kinds, and of each at most so many.
fn made(kinds: usize, each: u32) -> impl Strategy<Value = (Made, Vec<u32>)> {
    (
        prop::collection::vec((1u32..40, 1..=each), 1..=kinds),
        prop::collection::vec((5u32..120, 1i64..60), 1..4),
        prop::collection::vec((10u32..150, 1i64..200, 0i64..9), 1..4),
        prop_oneof![Just(100u32), 50u32..100],
    )
        .prop_map(|(kinds, wraps, services, unsure_from_percent)| {
            let (weights, counts) = kinds.into_iter().unzip();
            (Made { weights, wraps, services, unsure_from_percent }, counts)
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_partition_is_cheaper_and_no_bound_is_a_lie((mut made, counts) in made(3, 3)) {
        let found = split(&counts, &mut made);
        let (sure, hoped) = (made.least(&counts, false), made.least(&counts, true));
        match (&found.parts, sure) {
            (Some(parts), Some(sure)) => {
                let cost: i64 = parts.iter().map(|part| part.how.cost).sum();
                prop_assert_eq!(cost, sure);
                for part in parts {
                    prop_assert_eq!(made.verdict(&part.counts, part.how.wrap), Decided::Fits);
                }
                let packed: Vec<u32> =
                    (0..counts.len()).map(|kind| parts.iter().map(|part| part.counts[kind]).sum()).collect();
                prop_assert_eq!(&packed, &counts);
                // Some partition is possible, and this one is.
                prop_assert!(hoped.is_some_and(|hoped| found.least_possible <= hoped));
                prop_assert_eq!(found.proved, found.least_possible == cost);
                if made.unsure_from_percent == 100 {
                    prop_assert!(found.proved);
                }
            }
            (None, None) => prop_assert_eq!(found.proved, hoped.is_none()),
            (parts, sure) => prop_assert!(false, "{:?} but {:?}", parts, sure),
        }
    }

    /// Of at most five pieces all sets of parcels are listed: the two cheapest are among them.
    #[test]
    fn the_two_cheapest_are_those_of_all((made, counts) in made(3, 3)) {
        let counts = at_most(5, &counts);
        let mut all: Vec<i64> = made.every(&counts).into_values().collect();
        all.sort_unstable();
        all.truncate(2);
        let two: Vec<i64> = made.cheapest_two(&counts, &mut Cheapest::new()).into_iter().map(|(cost, _)| cost).collect();
        prop_assert_eq!(two, all);
    }

    /// Up to twelve pieces: the chosen set of parcels costs what the cheapest does, the runner-up what the second does.
    #[test]
    fn the_runner_up_is_the_best_of_all_others((mut made, counts) in made(4, 4)) {
        let counts = at_most(12, &counts);
        let Some(chosen) = split(&counts, &mut made).parts else { return Ok(()) };
        let two = made.cheapest_two(&counts, &mut Cheapest::new());
        prop_assert_eq!(two[0].0, cost_of(&chosen));
        let found = runner_up(&counts, &chosen, &mut made);
        match (&found, two.get(1).map(|(cost, _)| cost)) {
            (Some(second), Some(least)) => {
                prop_assert!(!same(&second.parts, &chosen));
                prop_assert!(second.parts.iter().all(|part| made.verdict(&part.counts, part.how.wrap) == Decided::Fits));
                let packed: Vec<u32> =
                    (0..counts.len()).map(|kind| second.parts.iter().map(|part| part.counts[kind]).sum()).collect();
                prop_assert_eq!(&packed, &counts);
                prop_assert_eq!(cost_of(&second.parts), *least);
                // What could not be decided is not said to be the best of all.
                prop_assert!(second.of_all || made.unsure_from_percent < 100);
            }
            (None, None) => {}
            (found, least) => prop_assert!(false, "{:?} but {:?}", found, least),
        }
    }
}

/// Equal pieces, equal parcels: the next best differs in one of them only.
#[test]
fn of_equal_parcels_one_may_go_otherwise() {
    let services = vec![(100, 50, 0), (100, 53, 0)];
    let mut made = Made { weights: vec![10], wraps: vec![(10, 1)], services, unsure_from_percent: 100 };
    let chosen = split(&[3], &mut made).parts.expect("one in each");
    let second = runner_up(&[3], &chosen, &mut made).expect("another service");
    assert_eq!((cost_of(&chosen), cost_of(&second.parts), second.of_all), (153, 156, true));
}
