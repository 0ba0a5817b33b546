//! The runner-up: the best set of parcels besides the chosen one, in one parcel or several. Two
//! sets differ in what is in a parcel, in its container or in its service.
//!
//! Another set lacks at least one of the chosen parcels, or has one that occurs several times
//! less often. So for each of these the cheapest set that does without it is sought as in
//! `search`: under the optimism that what is not decided fits, deciding what that takes.

use super::search::{
    Ask, Candidate, Decided, FITS_MAX, Key, NEVER, PAIRS_MAX, Part, Table, by_wraps, cheapest_of, pairs, plus,
};

/// The runner-up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunnerUp {
    /// Its parcels.
    pub parts: Vec<Part>,
    /// Is it the best of all others? Else of those that were tried.
    pub of_all: bool,
}

/// Seeks it; nothing where there is none, or none was found. `counts` is what the chosen parcels
/// hold together.
pub fn runner_up(counts: &[u32], chosen: &[Part], ask: &mut dyn Ask) -> Option<RunnerUp> {
    let mut fits_left = FITS_MAX;
    let mut skipped = None;
    let besides = |candidate: &Candidate| chosen.len() != 1 || chosen[0].how != *candidate;
    let alone = cheapest_of(counts, ask, &besides, &mut fits_left, &mut skipped);
    let two = ask.least_parcel().map_or(i64::MAX, |least| 2 * least).max(ask.least_of_several(counts));
    let pieces: u32 = counts.iter().sum();
    let in_one = alone.map(|how| vec![Part { counts: counts.to_vec(), how }]);
    let undecided = skipped.is_some();
    match in_one {
        // No two parcels cost less.
        Some(parts) if pieces == 1 || parts[0].how.cost <= two => Some(RunnerUp { parts, of_all: !undecided }),
        None if pieces == 1 => None,
        _ if pairs(counts) <= PAIRS_MAX => of_all(counts, chosen, ask, fits_left),
        in_one => of_tried(counts, chosen, in_one, ask, fits_left),
    }
}

/// Is it the same set of parcels?
pub fn same(one: &[Part], other: &[Part]) -> bool {
    let sorted = |parts: &[Part]| {
        let mut keys: Vec<(Vec<u32>, usize, usize)> =
            parts.iter().map(|part| (part.counts.clone(), part.how.wrap, part.how.service)).collect();
        keys.sort();
        keys
    };
    one.len() == other.len() && sorted(one) == sorted(other)
}

/// A parcel of the chosen ones that another set has less often, or not at all.
struct Missed {
    index: usize,
    how: Candidate,
    times: usize,
}

/// Of all sets of parcels.
fn of_all(counts: &[u32], chosen: &[Part], ask: &mut dyn Ask, mut fits_left: u32) -> Option<RunnerUp> {
    let mut table = Table::new(counts, ask);
    let mut missed: Vec<Missed> = Vec::new();
    for part in chosen {
        let index = table.index_of(&part.counts);
        match missed.iter_mut().find(|known| known.index == index && known.how == part.how) {
            Some(known) => known.times += 1,
            None => missed.push(Missed { index, how: part.how.clone(), times: 1 }),
        }
    }
    let whole = table.index_of(counts);
    let mut all_decided = true;
    loop {
        let mut best: (Key, Vec<(usize, Candidate)>) = (NEVER, Vec::new());
        for one in &missed {
            let without = |index: usize, how: &Candidate| index != one.index || *how != one.how;
            let (keys, taken) = table.partitions(whole, &without);
            for kept in 0..one.times {
                let rest = whole - kept * one.index;
                let key = (0..kept).fold(keys[rest], |key, _| plus(key, one.how.as_key()));
                if key < best.0 {
                    let again = std::iter::repeat_n((one.index, one.how.clone()), kept);
                    let others = table.traced(rest, &taken, &without);
                    best = (key, again.chain(others).collect());
                }
            }
        }
        if best.0 == NEVER {
            return None;
        }
        let mut changed = false;
        for (index, how) in &best.1 {
            if table.known(*index, how.wrap).is_none() {
                let verdict = if fits_left == 0 { Decided::Unknown } else { table.ask(*index, how.wrap, ask) };
                fits_left = fits_left.saturating_sub(1);
                all_decided &= verdict != Decided::Unknown;
                table.note(*index, how.wrap, verdict);
                changed |= verdict != Decided::Fits;
            }
        }
        if !changed {
            let parts = best.1.into_iter().map(|(index, how)| Part { counts: table.counts_of(index), how });
            return Some(RunnerUp { parts: parts.collect(), of_all: all_decided });
        }
    }
}

/// Of everything in one parcel, the chosen parcels with one of them sent otherwise, and parcels
/// filled one after the other.
fn of_tried(
    counts: &[u32],
    chosen: &[Part],
    in_one: Option<Vec<Part>>,
    ask: &mut dyn Ask,
    mut fits_left: u32,
) -> Option<RunnerUp> {
    let mut tried: Vec<Vec<Part>> = in_one.into_iter().collect();
    for (at, part) in chosen.iter().enumerate() {
        let besides = |candidate: &Candidate| part.how != *candidate;
        if let Some(how) = cheapest_of(&part.counts, ask, &besides, &mut fits_left, &mut None) {
            let mut parts = chosen.to_vec();
            parts[at].how = how;
            tried.push(parts);
        }
    }
    tried.extend(by_wraps(counts, ask, &mut fits_left));
    tried.retain(|parts| !same(parts, chosen));
    let key = |parts: &Vec<Part>| parts.iter().fold((0, 0, 0, 0), |key, part| plus(key, part.how.as_key()));
    tried.into_iter().min_by_key(key).map(|parts| RunnerUp { parts, of_all: false })
}
