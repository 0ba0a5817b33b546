//! The split search against trying every partition, on made-up costs and fits.

use dawnslip::plan::choose::search::{Ask, Candidate, Decided, split};
use proptest::prelude::*;

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

fn made() -> impl Strategy<Value = (Made, Vec<u32>)> {
    (
        prop::collection::vec((1u32..40, 1u32..4), 1..4),
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
    fn no_partition_is_cheaper_and_no_bound_is_a_lie((mut made, counts) in made()) {
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
}
