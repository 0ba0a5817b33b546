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
const REACHABLE_MM_MAX: i64 = 4096;

/// Each side shrunk to the largest sum of piece sides that it can hold: a packing can always
/// be pushed to the left, front and floor, where every end is such a sum (Herz 1972,
/// Christofides and Whitlock 1977).
pub fn reachable(room: Sides, turns: &[Vec<Sides>]) -> Sides {
    let mut reduced = room;
    for axis in 0..3 {
        if room[axis] > REACHABLE_MM_MAX || room[axis] < 0 {
            continue;
        }
        let side = room[axis] as usize;
        let mut reached = vec![false; side + 1];
        reached[0] = true;
        for piece in turns {
            let mut extents: Vec<usize> = piece.iter().map(|turn| turn[axis] as usize).collect();
            extents.sort_unstable();
            extents.dedup();
            // From the top down, so that each piece counts once.
            for end in (0..=side).rev() {
                reached[end] = reached[end] || extents.iter().any(|&e| e <= end && reached[end - e]);
            }
        }
        reduced[axis] = reached.iter().rposition(|&hit| hit).unwrap_or(0) as i64;
    }
    reduced
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
    if room.iter().any(|&side| side <= 0) {
        return false;
    }
    let functions =
        [0, 1, 2].map(|axis| Dual::worth_trying(turns.iter().flatten().map(|turn| turn[axis]).collect(), room[axis]));
    let whole: i128 = room.iter().map(|&side| i128::from(side * SCALE)).product();
    let value = |f: &[Dual; 3], turn: &Sides| -> i128 {
        (0..3).map(|axis| i128::from(f[axis].of(turn[axis], room[axis]))).product()
    };
    for &x in &functions[0] {
        for &y in &functions[1] {
            for &z in &functions[2] {
                let sum: i128 =
                    turns.iter().map(|piece| piece.iter().map(|turn| value(&[x, y, z], turn)).min().unwrap_or(0)).sum();
                if sum > whole {
                    return true;
                }
            }
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::super::Turning;
    use super::*;

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

    #[test]
    fn what_no_axis_can_hold_twice_is_a_pair() {
        let two = vec![Piece::plain([60, 60, 60], Turning::Any); 2];
        assert_eq!(by_bounds([100, 100, 100], &two), Some(Reason::Pair(0, 1)));
    }
}
