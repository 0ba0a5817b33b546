//! Splits counted things into parcels at the least total, deciding as few fits as needed.
//!
//! Every set of things has candidates (a wrap and a service with their exact cost), cheapest
//! first. A candidate counts as possible until it is decided. The cheapest partition under
//! that optimism is found by dynamic programming; its undecided parcels are decided; what
//! cannot fit falls away; this repeats. A partition whose parcels are all decided is proved:
//! every other costs at least as much even if all its undecided parcels fit.

use std::collections::BTreeMap;

/// Sets and subsets compared in one round at most; more things are split by a heuristic.
pub const PAIRS_MAX: u64 = 60_000;
/// Fits decided for one order at most.
pub const FITS_MAX: u32 = 2_000;

/// A way to send one set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidate {
    /// Minor units, all parts.
    pub cost: i64,
    /// Outer volume: breaks ties.
    pub volume: u128,
    /// Which wrap.
    pub wrap: usize,
    /// Which service.
    pub service: usize,
}

impl Candidate {
    /// Cheapest, then smallest, then file order.
    pub fn key(&self) -> (i64, u128, usize, usize) {
        (self.cost, self.volume, self.wrap, self.service)
    }
    /// As one parcel of a partition.
    pub(super) fn as_key(&self) -> Key {
        (self.cost, 1, self.volume, self.wrap + self.service)
    }
}

/// A decided fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decided {
    /// It fits.
    Fits,
    /// Proved that it cannot.
    Cannot,
    /// Not decided within the budget.
    Unknown,
}

/// What the search asks.
pub trait Ask {
    /// Candidates for a set, geometry aside, in the order of [`Candidate::key`].
    fn candidates(&mut self, counts: &[u32]) -> Vec<Candidate>;
    /// Does the set go into that wrap?
    fn decide(&mut self, counts: &[u32], wrap: usize) -> Decided;
    /// A lower bound on the cost of any parcel whatever; `None` if no parcel is possible.
    fn least_parcel(&self) -> Option<i64>;
    /// A lower bound on the cost of a set in any two or more parcels; twice [`Self::least_parcel`] is one.
    fn least_of_several(&self, _counts: &[u32]) -> i64 {
        0
    }
}

/// One parcel of the answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// How many of each kind.
    pub counts: Vec<u32>,
    /// How it goes.
    pub how: Candidate,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Split {
    /// The parcels; `None` where none were found.
    pub parts: Option<Vec<Part>>,
    /// No split costs less than this.
    pub least_possible: i64,
    /// Is it proved: the cheapest, or (without parcels) that there is none?
    pub proved: bool,
}

impl Split {
    /// Cost of all parcels.
    pub fn cost(&self) -> Option<i64> {
        self.parts.as_ref().map(|parts| parts.iter().map(|part| part.how.cost).sum())
    }
}

/// Splits.
pub fn split(counts: &[u32], ask: &mut dyn Ask) -> Split {
    let Some(least) = ask.least_parcel() else {
        return Split { parts: None, least_possible: 0, proved: true };
    };
    let two = (2 * least).max(ask.least_of_several(counts));
    // One parcel that costs no more than two could ever: nothing else needs to be looked at.
    let mut fits_left = FITS_MAX;
    let mut skipped = None;
    let whole = cheapest_of(counts, ask, &|_| true, &mut fits_left, &mut skipped);
    let pieces: u32 = counts.iter().sum();
    if let Some(how) = &whole
        && (how.cost <= two || pieces == 1)
    {
        let least_possible = skipped.unwrap_or(how.cost).min(how.cost);
        let proved = least_possible == how.cost;
        return Split { parts: Some(vec![Part { counts: counts.to_vec(), how: how.clone() }]), least_possible, proved };
    }
    if pairs(counts) <= PAIRS_MAX {
        Table::new(counts, ask).run(ask, fits_left)
    } else {
        by_filling(counts, ask, whole, two, skipped, fits_left)
    }
}

/// The cheapest wanted candidate of a set that fits; `skipped` becomes the least cost of those that
/// could not be decided.
pub(super) fn cheapest_of(
    counts: &[u32],
    ask: &mut dyn Ask,
    wanted: &dyn Fn(&Candidate) -> bool,
    fits_left: &mut u32,
    skipped: &mut Option<i64>,
) -> Option<Candidate> {
    let mut known: BTreeMap<usize, Decided> = BTreeMap::new();
    for candidate in ask.candidates(counts).into_iter().filter(wanted) {
        let verdict = match known.get(&candidate.wrap) {
            Some(verdict) => *verdict,
            None if *fits_left == 0 => Decided::Unknown,
            None => {
                *fits_left -= 1;
                let verdict = ask.decide(counts, candidate.wrap);
                known.insert(candidate.wrap, verdict);
                verdict
            }
        };
        match verdict {
            Decided::Fits => return Some(candidate),
            Decided::Cannot => {}
            Decided::Unknown => *skipped = Some(skipped.map_or(candidate.cost, |s: i64| s.min(candidate.cost))),
        }
    }
    None
}

/// Number of (set, subset) pairs.
pub(super) fn pairs(counts: &[u32]) -> u64 {
    counts.iter().fold(1u64, |all, &n| all.saturating_mul((u64::from(n) + 1) * (u64::from(n) + 2) / 2))
}

/// Cost, parcels, volume, sum of ranks: compared in this order.
pub(super) type Key = (i64, u32, u128, usize);

pub(super) const NEVER: Key = (i64::MAX, u32::MAX, u128::MAX, usize::MAX);

/// Of two parcels, or sets of them, together.
pub(super) fn plus(one: Key, other: Key) -> Key {
    if one == NEVER || other == NEVER {
        return NEVER;
    }
    (one.0 + other.0, one.1 + other.1, one.2.saturating_add(other.2), one.3 + other.3)
}

struct Entry {
    candidates: Vec<Candidate>,
    /// The first that is not refuted (or skipped).
    head: usize,
    /// Verdicts by wrap.
    known: BTreeMap<usize, Decided>,
}

impl Entry {
    fn head(&self) -> Option<&Candidate> {
        self.candidates.get(self.head)
    }
    /// The first wanted one that fits, or may.
    fn first(&self, wanted: impl Fn(&Candidate) -> bool) -> Option<&Candidate> {
        let open = |how: &Candidate| matches!(self.known.get(&how.wrap), None | Some(Decided::Fits));
        self.candidates.iter().skip(self.head).find(|how| open(how) && wanted(how))
    }
}

pub(super) struct Table {
    counts: Vec<u32>,
    /// Value of one more of each kind in an index.
    stride: Vec<usize>,
    entries: Vec<Entry>,
    skip_unknown: bool,
}

impl Table {
    pub(super) fn new(counts: &[u32], ask: &mut dyn Ask) -> Self {
        let mut stride = Vec::with_capacity(counts.len());
        let mut size = 1usize;
        for &n in counts {
            stride.push(size);
            size *= n as usize + 1;
        }
        let mut table = Self { counts: counts.to_vec(), stride, entries: Vec::new(), skip_unknown: false };
        table.entries = (0..size)
            .map(|index| {
                let candidates = if index == 0 { Vec::new() } else { ask.candidates(&table.counts_of(index)) };
                Entry { candidates, head: 0, known: BTreeMap::new() }
            })
            .collect();
        table
    }

    pub(super) fn counts_of(&self, index: usize) -> Vec<u32> {
        self.stride.iter().zip(&self.counts).map(|(&s, &n)| (index / s % (n as usize + 1)) as u32).collect()
    }

    fn run(mut self, ask: &mut dyn Ask, mut fits_left: u32) -> Split {
        let whole = self.entries.len() - 1;
        let mut bound: Option<i64> = None;
        loop {
            let (key, parts) = self.best_partition(whole);
            if key == NEVER {
                let proved = bound.is_none();
                return Split { parts: None, least_possible: bound.unwrap_or(0), proved };
            }
            let mut all_decided = true;
            let mut any_unknown = false;
            for &index in &parts {
                // Deciding one part may have refuted another: then the next round looks again.
                let Some(wrap) = self.entries[index].head().map(|candidate| candidate.wrap) else {
                    all_decided = false;
                    continue;
                };
                let verdict = match self.entries[index].known.get(&wrap) {
                    Some(verdict) => *verdict,
                    None => {
                        all_decided = false;
                        let verdict = if fits_left == 0 {
                            Decided::Unknown
                        } else {
                            fits_left -= 1;
                            let counts = self.counts_of(index);
                            ask.decide(&counts, wrap)
                        };
                        self.note(index, wrap, verdict);
                        verdict
                    }
                };
                any_unknown |= verdict == Decided::Unknown;
                self.advance(index);
            }
            if !all_decided {
                continue;
            }
            if any_unknown {
                // Optimism ends here: this is what nothing can be cheaper than.
                bound = bound.or(Some(key.0));
                self.skip_unknown = true;
                (0..self.entries.len()).for_each(|index| self.advance(index));
                continue;
            }
            let least_possible = bound.unwrap_or(key.0).min(key.0);
            let part = |&index: &usize| {
                self.entries[index].head().map(|how| Part { counts: self.counts_of(index), how: how.clone() })
            };
            let parts = parts.iter().filter_map(part).collect();
            return Split { parts: Some(parts), least_possible, proved: least_possible == key.0 };
        }
    }

    /// Remembers a verdict; what cannot fit cannot fit with more in it either.
    pub(super) fn note(&mut self, index: usize, wrap: usize, verdict: Decided) {
        self.entries[index].known.insert(wrap, verdict);
        if verdict != Decided::Cannot {
            return;
        }
        let least = self.counts_of(index);
        for larger in index + 1..self.entries.len() {
            if self.counts_of(larger).iter().zip(&least).all(|(a, b)| a >= b) {
                self.entries[larger].known.insert(wrap, Decided::Cannot);
                self.advance(larger);
            }
        }
    }

    fn advance(&mut self, index: usize) {
        let skip_unknown = self.skip_unknown;
        let entry = &mut self.entries[index];
        while let Some(candidate) = entry.head() {
            match entry.known.get(&candidate.wrap) {
                Some(Decided::Cannot) => entry.head += 1,
                Some(Decided::Unknown) if skip_unknown => entry.head += 1,
                _ => break,
            }
        }
    }

    /// The cheapest partition, if whatever is not refuted fits.
    fn best_partition(&self, whole: usize) -> (Key, Vec<usize>) {
        let single: Vec<Key> = self.entries.iter().map(|entry| entry.head().map_or(NEVER, Candidate::as_key)).collect();
        let (best, taken) = self.cheapest(whole, &single);
        let mut parts = Vec::new();
        let mut rest = whole;
        while rest > 0 && best[whole] != NEVER {
            parts.push(taken[rest]);
            rest -= taken[rest];
        }
        (best[whole], parts)
    }

    /// The least cost of each set, and the parcel that is taken out of it first; `single` is what
    /// each costs as one parcel.
    fn cheapest(&self, whole: usize, single: &[Key]) -> (Vec<Key>, Vec<usize>) {
        let mut best = vec![NEVER; whole + 1];
        let mut taken = vec![0usize; whole + 1];
        best[0] = (0, 0, 0, 0);
        for index in 1..=whole {
            let counts = self.counts_of(index);
            // Some parcel holds one of the first kind that is there.
            let first = counts.iter().position(|&n| n > 0).unwrap_or(0);
            for subset in Subsets::new(&counts, &self.stride) {
                if (subset / self.stride[first]).is_multiple_of(self.counts[first] as usize + 1) {
                    continue;
                }
                let (one, rest) = (single[subset], best[index - subset]);
                let key = plus(one, rest);
                if key < best[index] {
                    best[index] = key;
                    taken[index] = subset;
                }
            }
        }
        (best, taken)
    }

    /// As [`Self::cheapest`], of wanted parcels that fit or may; each names its set by its index.
    pub(super) fn partitions(
        &self,
        whole: usize,
        wanted: &dyn Fn(usize, &Candidate) -> bool,
    ) -> (Vec<Key>, Vec<usize>) {
        let entries = self.entries.iter().enumerate();
        let single: Vec<Key> = entries
            .map(|(index, entry)| entry.first(|how| wanted(index, how)).map_or(NEVER, Candidate::as_key))
            .collect();
        self.cheapest(whole, &single)
    }

    /// The parcels of a set that [`Self::partitions`] has found.
    pub(super) fn traced(
        &self,
        set: usize,
        taken: &[usize],
        wanted: &dyn Fn(usize, &Candidate) -> bool,
    ) -> Vec<(usize, Candidate)> {
        let mut parts = Vec::new();
        let mut rest = set;
        while rest > 0 && taken[rest] > 0 {
            let index = taken[rest];
            parts.extend(self.entries[index].first(|how| wanted(index, how)).map(|how| (index, how.clone())));
            rest -= index;
        }
        parts
    }

    /// The index of a set.
    pub(super) fn index_of(&self, counts: &[u32]) -> usize {
        self.stride.iter().zip(counts).map(|(stride, count)| stride * *count as usize).sum()
    }

    /// What is known of a set in a wrap.
    pub(super) fn known(&self, index: usize, wrap: usize) -> Option<Decided> {
        self.entries[index].known.get(&wrap).copied()
    }

    /// Does the set go into the wrap?
    pub(super) fn ask(&self, index: usize, wrap: usize, ask: &mut dyn Ask) -> Decided {
        ask.decide(&self.counts_of(index), wrap)
    }
}

/// Indices of all non-empty subsets of a set.
struct Subsets<'a> {
    counts: &'a [u32],
    stride: &'a [usize],
    digits: Vec<u32>,
    index: usize,
}

impl<'a> Subsets<'a> {
    fn new(counts: &'a [u32], stride: &'a [usize]) -> Self {
        Self { counts, stride, digits: vec![0; counts.len()], index: 0 }
    }
}

impl Iterator for Subsets<'_> {
    type Item = usize;
    fn next(&mut self) -> Option<usize> {
        for kind in 0..self.digits.len() {
            if self.digits[kind] < self.counts[kind] {
                self.digits[kind] += 1;
                self.index += self.stride[kind];
                return Some(self.index);
            }
            self.index -= self.digits[kind] as usize * self.stride[kind];
            self.digits[kind] = 0;
        }
        None
    }
}

/// For many different things: fills one parcel after another with as much as one wrap takes,
/// for each wrap, and keeps the cheapest way. Never proved, but bounded from below.
fn by_filling(
    counts: &[u32],
    ask: &mut dyn Ask,
    whole: Option<Candidate>,
    two: i64,
    skipped: Option<i64>,
    mut fits_left: u32,
) -> Split {
    let mut best = whole.as_ref().map(|how| vec![Part { counts: counts.to_vec(), how: how.clone() }]);
    // Either everything goes into one parcel, or there are at least two.
    let one = match (&whole, skipped) {
        (Some(how), None) => Some(how.cost),
        (Some(how), Some(s)) => Some(how.cost.min(s)),
        (None, s) => s,
    };
    let bound = one.map_or(two, |cost| cost.min(two));
    for parts in by_wraps(counts, ask, &mut fits_left) {
        let cost = |parts: &[Part]| -> (i64, usize) { (parts.iter().map(|p| p.how.cost).sum(), parts.len()) };
        if best.as_ref().is_none_or(|known| cost(&parts) < cost(known)) {
            best = Some(parts);
        }
    }
    let proved = best.as_ref().is_some_and(|parts| parts.iter().map(|p| p.how.cost).sum::<i64>() <= bound);
    Split { parts: best, least_possible: bound, proved }
}

/// Parcels filled with as much as one wrap takes, for each wrap with which that goes.
pub(super) fn by_wraps(counts: &[u32], ask: &mut dyn Ask, fits_left: &mut u32) -> Vec<Vec<Part>> {
    let mut wraps: Vec<usize> = ask.candidates(&one_of_first(counts)).iter().map(|c| c.wrap).collect();
    wraps.sort_unstable();
    wraps.dedup();
    wraps.into_iter().filter_map(|wrap| fill_with(wrap, counts, ask, fits_left)).collect()
}

fn one_of_first(counts: &[u32]) -> Vec<u32> {
    let first = counts.iter().position(|&n| n > 0);
    (0..counts.len()).map(|k| u32::from(Some(k) == first)).collect()
}

fn fill_with(wrap: usize, counts: &[u32], ask: &mut dyn Ask, fits_left: &mut u32) -> Option<Vec<Part>> {
    let mut rest = counts.to_vec();
    let mut parts = Vec::new();
    while rest.iter().any(|&n| n > 0) {
        let mut taken = vec![0u32; rest.len()];
        for kind in 0..rest.len() {
            // The largest number that still fits, by halving: more of the same never helps.
            let (mut low, mut high) = (0, rest[kind]);
            while low < high && *fits_left > 0 {
                let middle = low + (high - low).div_ceil(2);
                taken[kind] = middle;
                *fits_left -= 1;
                if ask.candidates(&taken).iter().any(|c| c.wrap == wrap) && ask.decide(&taken, wrap) == Decided::Fits {
                    low = middle;
                } else {
                    high = middle - 1;
                }
            }
            taken[kind] = low;
        }
        if taken.iter().all(|&n| n == 0) {
            return None;
        }
        let mut skipped = None;
        let mut one_more = 1u32.max(*fits_left);
        let how = cheapest_of(&taken, ask, &|_| true, &mut one_more, &mut skipped)?;
        rest.iter_mut().zip(&taken).for_each(|(r, t)| *r -= t);
        parts.push(Part { counts: taken, how });
    }
    Some(parts)
}
