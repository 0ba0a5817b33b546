//! Quick proofs that something cannot fit. Each is a relaxation: it ignores something, so
//! what it refutes is refuted.

use super::{Piece, Reason, Sides};

/// Single pieces, volume, pairs: reasons that a person sees at once.
pub fn quickly(room: Sides, pieces: &[Piece]) -> Option<Reason> {
    for (index, piece) in pieces.iter().enumerate() {
        let goes = |turn: &Sides| (0..3).all(|axis| turn[axis] <= room[axis]);
        if !piece.turns().iter().any(goes) {
            let long = longest(piece.sides);
            return Some(if long > longest(room) {
                Reason::TooLong { piece: index, long, room: longest(room) }
            } else {
                Reason::NoWayRound { piece: index, sides: piece.sides, room }
            });
        }
    }
    let needed: i128 = pieces.iter().map(Piece::volume).sum();
    let volume = volume(room);
    if needed > volume {
        return Some(Reason::Volume { needed, room: volume });
    }
    None
}

fn longest(sides: Sides) -> i64 {
    sides.into_iter().max().unwrap_or(0)
}

/// Cubic millimetres of pieces that may be turned so.
pub fn needed_volume(turns: &[Vec<Sides>]) -> i128 {
    turns.iter().filter_map(|of| of.first()).map(|&turn| volume(turn)).sum()
}

pub fn volume(sides: Sides) -> i128 {
    sides.iter().map(|&side| i128::from(side.max(0))).product()
}

/// Pairs, reachable sums, and dual feasible functions over all three axes.
pub fn by_bounds(room: Sides, pieces: &[Piece]) -> Option<Reason> {
    let turns: Vec<Vec<Sides>> = pieces.iter().map(|piece| fitting_turns(room, piece)).collect();
    for a in 0..pieces.len() {
        // Equal pieces give equal answers: comparing with the first of a run is enough.
        if a > 1 && pieces[a] == pieces[a - 1] && pieces[a] == pieces[a - 2] {
            continue;
        }
        for b in a + 1..pieces.len() {
            if b > a + 1 && pieces[b] == pieces[b - 1] {
                continue;
            }
            let apart = |s: &Sides, t: &Sides| (0..3).any(|axis| s[axis] + t[axis] <= room[axis]);
            if !turns[a].iter().any(|s| turns[b].iter().any(|t| apart(s, t))) {
                return Some(Reason::Pair(a, b));
            }
        }
    }
    too_much(reachable(room, &turns), &turns).then_some(Reason::TooMuch { room })
}

/// Do these, each in one of its turns, have more volume than the room, by any measure?
fn too_much(room: Sides, turns: &[Vec<Sides>]) -> bool {
    needed_volume(turns) > volume(room) || broken_dual_bound(room, turns)
}

/// The turns of a piece that go into the room at all.
pub fn fitting_turns(room: Sides, piece: &Piece) -> Vec<Sides> {
    piece.turns().into_iter().filter(|turn| (0..3).all(|axis| turn[axis] <= room[axis])).collect()
}

/// Sides longer than this are not shrunk to reachable sums.
const REACHABLE_MAX: i64 = 65_536;

/// Each side shrunk to the largest sum of piece sides that it can hold: a packing can always
/// be pushed to the left, front and floor, where every end is such a sum (Herz 1972,
/// Christofides and Whitlock 1977).
pub fn reachable(room: Sides, turns: &[Vec<Sides>]) -> Sides {
    std::array::from_fn(|axis| match room[axis] {
        side @ 0..=REACHABLE_MAX => reachable_along(side as usize, axis, turns),
        side => side,
    })
}

/// Sums are bits of a long number: adding a piece shifts it.
fn reachable_along(side: usize, axis: usize, turns: &[Vec<Sides>]) -> i64 {
    let mut sums = vec![0u64; side / 64 + 1];
    sums[0] = 1;
    let mut extents: Vec<usize> = Vec::with_capacity(6);
    for piece in turns {
        extents.clear();
        extents.extend(piece.iter().map(|turn| turn[axis] as usize).filter(|extent| *extent <= side));
        extents.sort_unstable();
        extents.dedup();
        // From the top down, so that each piece counts once.
        for word in (0..sums.len()).rev() {
            let mut now = sums[word];
            for &extent in &extents {
                let (words, bits) = (extent / 64, extent % 64);
                if words > word {
                    break;
                }
                let low = sums[word - words];
                let carried = if bits > 0 && word > words { sums[word - words - 1] >> (64 - bits) } else { 0 };
                now |= low << bits | carried;
            }
            sums[word] = now;
        }
    }
    let beyond = 63 - side % 64;
    let last = sums.len() - 1;
    sums[last] = sums[last] << beyond >> beyond;
    let top = sums.iter().rposition(|&word| word > 0).unwrap_or(0);
    (top * 64 + 63) as i64 - i64::from(sums[top].leading_zeros())
}

/// Common denominator of the functions below: divisible by 1 to 4.
const SCALE: i64 = 12;

/// A dual feasible function on one axis (Fekete and Schepers): any set of lengths with a sum
/// of at most the side is mapped to values with a sum of at most the side.
#[derive(Clone, Copy)]
pub(super) enum Dual {
    /// The length itself.
    Same,
    /// Rounds to k-ths: x → ⌊(k+1)x⌋/k unless (k+1)x is whole.
    Rounded(i64),
    /// Lengths above `side − limit` count as the whole side, below `limit` as nothing.
    Cut(i64),
}

impl Dual {
    /// Those worth trying on a side of `w`, with lengths like these.
    pub(super) fn worth_trying(mut lengths: Vec<i64>, w: i64) -> Vec<Self> {
        lengths.retain(|&x| x > 0 && x * 2 <= w);
        lengths.sort_unstable();
        lengths.dedup();
        if lengths.len() > CUTS_MAX {
            let tail = lengths.split_off(lengths.len() - CUTS_MAX / 2);
            lengths.truncate(CUTS_MAX / 2);
            lengths.extend(tail);
        }
        let rounded = (1..=4).map(Self::Rounded);
        std::iter::once(Self::Same).chain(rounded).chain(lengths.into_iter().map(Self::Cut)).collect()
    }

    /// The value for length `x` of side `w`, times [`SCALE`].
    pub(super) fn of(self, x: i64, w: i64) -> i64 {
        match self {
            Self::Same => x * SCALE,
            Self::Rounded(k) => {
                let scaled = (k + 1) * x;
                if scaled % w == 0 { x * SCALE } else { scaled / w * w * (SCALE / k) }
            }
            Self::Cut(limit) if x > w - limit => w * SCALE,
            Self::Cut(limit) if x < limit => 0,
            Self::Cut(_) => x * SCALE,
        }
    }
}

/// Cuts tried on each axis: the smallest and the largest extents up to half of the side.
const CUTS_MAX: usize = 6;

/// Is there a product of three such functions under which the pieces, each in its cheapest
/// turn, are larger than the room?
pub fn broken_dual_bound(room: Sides, turns: &[Vec<Sides>]) -> bool {
    if room.iter().any(|&side| side <= 0 || side > DUAL_SIDE_MAX) {
        return false;
    }
    // Equal pieces mostly stand side by side.
    let mut kinds: Vec<(&[Sides], u64)> = Vec::new();
    for of_piece in turns {
        match kinds.iter_mut().find(|(known, _)| *known == of_piece.as_slice()) {
            Some((_, count)) => *count += 1,
            None => kinds.push((of_piece, 1)),
        }
    }
    let values = |axis: usize| -> Vec<Vec<u64>> {
        let lengths = || turns.iter().flatten().map(|turn| turn[axis]);
        let functions = Dual::worth_trying(lengths().collect(), room[axis]);
        let of_kinds = || kinds.iter().flat_map(|(of_kind, _)| of_kind.iter());
        let value = |f: Dual| of_kinds().map(|turn| f.of(turn[axis], room[axis]).unsigned_abs()).collect();
        functions.into_iter().map(value).collect()
    };
    let whole: u64 = room.iter().map(|side| (side * SCALE).unsigned_abs()).product();
    let [across, back, up] = [values(0), values(1), values(2)];
    let mut flat = Vec::new();
    for x in &across {
        for y in &back {
            flat.clear();
            flat.extend(x.iter().zip(y).map(|(x, y)| x * y));
            for z in &up {
                let mut of_turns = flat.iter().zip(z).map(|(flat, z)| flat * z);
                let mut sum = 0u64;
                for (of_kind, count) in &kinds {
                    let least = of_turns.by_ref().take(of_kind.len()).min().unwrap_or(0);
                    sum = sum.saturating_add(least.saturating_mul(*count));
                }
                if sum > whole {
                    return true;
                }
            }
        }
    }
    false
}

/// Up to here products of three sides fit into 64 bits.
const DUAL_SIDE_MAX: i64 = 100_000;

#[cfg(test)]
mod tests {
    use super::super::Turning;
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn dual_functions_never_blow_up_what_fits_on_a_line() {
        // Every pair and triple of lengths with a sum of at most the side keeps it.
        let w = 24;
        let all = (1..=4).map(Dual::Rounded).chain((1..=12).map(Dual::Cut)).chain([Dual::Same]);
        for f in all {
            for a in 0..=w {
                for b in 0..=w - a {
                    for c in 0..=w - a - b {
                        assert!(f.of(a, w) + f.of(b, w) + f.of(c, w) <= w * SCALE, "{a} {b} {c}");
                    }
                }
            }
        }
    }

    #[test]
    fn reachable_sums_shrink_the_room() {
        let turns = vec![vec![[40, 40, 40]]; 3];
        assert_eq!(reachable([100, 130, 39], &turns), [80, 120, 0]);
    }

    proptest! {
        /// Against sums made one by one.
        #[test]
        fn reachable_sums_are_those_of_some_pieces(
            pieces in proptest::collection::vec(proptest::collection::vec(1i64..150, 1..4), 1..7),
            side in 0i64..400,
        ) {
            let mut sums = std::collections::BTreeSet::from([0]);
            for piece in &pieces {
                let more: Vec<i64> = sums.iter().flat_map(|sum| piece.iter().map(move |side| sum + side)).collect();
                sums.extend(more);
            }
            let turns: Vec<Vec<Sides>> = pieces.iter().map(|p| p.iter().map(|&s| [s, s, s]).collect()).collect();
            let most = sums.range(..=side).next_back().copied().unwrap_or(0);
            prop_assert_eq!(reachable([side; 3], &turns), [most; 3]);
        }
    }

    #[test]
    fn what_no_axis_can_hold_twice_is_a_pair() {
        let two = vec![Piece::plain([60, 60, 60], Turning::Any); 2];
        assert_eq!(by_bounds([100, 100, 100], &two), Some(Reason::Pair(0, 1)));
    }
}
