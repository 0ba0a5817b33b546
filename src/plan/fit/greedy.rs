//! Constructive packing from many starts: pieces one after another into corners that earlier
//! ones leave. Finds, never refutes: corners reach only some layouts (den Boef and others,
//! 2005).

use super::refute::fitting_turns;
use super::{At, Laws, Piece, SUPPORT_PERCENT, Sides, overlaps_on};
use std::collections::HashMap;
use std::ops::Range;

/// Up to so many pieces every combination of ends is a corner; beyond, extreme points are
/// (Crainic, Perboli, Tadei, INFORMS J. Comput. 20, 2008).
const GRID_PIECES_MAX: usize = 14;

/// Of a room no fuller than this, in percent, extreme points are tried first: a tenth of the work.
const LOOSE_PERCENT: i128 = 75;

/// A start's place in line and how it scores corners, chosen by its number.
const SCORES: u32 = 4;

/// How far a size may be off when the order is made, in percent, in turn.
const NOISES: [u64; 4] = [20, 60, 150, 400];

/// After so many starts what has been learnt from failures is forgotten.
const AFRESH_EVERY: u32 = 32;

/// A small generator with a seed (Steele, Lea, Flood: SplitMix64, 2014): the same starts
/// on every machine.
struct Seeded(u64);

impl Seeded {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    /// From 0 to `below` − 1.
    fn below(&mut self, below: u64) -> u64 {
        self.next() % below.max(1)
    }
}

/// Tries the starts with these numbers; the first that places everything wins.
pub fn pack(room: Sides, pieces: &[Piece], laws: Laws, starts: Range<u32>) -> Option<Vec<At>> {
    let turns: Vec<Vec<Sides>> = pieces.iter().map(|piece| fitting_turns(room, piece)).collect();
    let like: Vec<usize> = pieces.iter().map(|piece| pieces.iter().position(|p| p == piece).unwrap_or(0)).collect();
    // Pieces that failed come earlier in later starts.
    let mut weight: Vec<u64> = vec![100; pieces.len()];
    let mut failed_in: HashMap<(u32, Vec<usize>), usize> = HashMap::new();
    if starts.start == 0
        && pieces.len() <= GRID_PIECES_MAX
        && pieces.len() > 3
        && let Some(found) = loosely(room, pieces, laws, &turns, &weight)
    {
        return Some(found);
    }
    for start in starts {
        let order = order_of(start, pieces, &turns, &weight);
        let score = start % SCORES;
        // Which of equal pieces comes first changes nothing.
        let tried = (score, order.iter().map(|&piece| like[piece]).collect());
        let failed = match failed_in.get(&tried) {
            Some(at) => order[*at],
            None => {
                let mut packing = Packing::new(room, pieces, laws);
                let stuck = order.iter().position(|&piece| match packing.best_corner(piece, &turns[piece], score) {
                    Some(place) => {
                        packing.put(place);
                        false
                    }
                    None => true,
                });
                let Some(stuck) = stuck else {
                    packing.placed.sort_by_key(|place| place.piece);
                    return Some(packing.placed);
                };
                failed_in.insert(tried, stuck);
                order[stuck]
            }
        };
        if start % AFRESH_EVERY == AFRESH_EVERY - 1 {
            weight.fill(100);
        } else {
            weight[failed] = (weight[failed] * 5 / 4).min(10_000);
        }
    }
    None
}

/// Where there is much room over, few corners do: one quick try.
fn loosely(room: Sides, pieces: &[Piece], laws: Laws, turns: &[Vec<Sides>], weight: &[u64]) -> Option<Vec<At>> {
    let volume: i128 = pieces.iter().map(Piece::volume).sum();
    if volume * 100 > room.iter().map(|&side| i128::from(side)).product::<i128>() * LOOSE_PERCENT {
        return None;
    }
    let mut packing = Packing { few_corners: true, ..Packing::new(room, pieces, laws) };
    for piece in order_of(0, pieces, turns, weight) {
        let place = packing.best_corner(piece, &turns[piece], 0)?;
        packing.put(place);
    }
    packing.placed.sort_by_key(|place| place.piece);
    Some(packing.placed)
}

/// Pieces by size with some noise: by volume, longest side, largest face or fewest turns.
fn order_of(start: u32, pieces: &[Piece], turns: &[Vec<Sides>], weight: &[u64]) -> Vec<usize> {
    let mut seeded = Seeded(u64::from(start));
    // The first starts of each kind are without noise, then it grows and falls.
    let noise = match start / (4 * SCORES) {
        0 => 1,
        round => NOISES[round as usize % NOISES.len()],
    };
    let mut keyed: Vec<(i128, usize)> = pieces
        .iter()
        .enumerate()
        .map(|(index, piece)| {
            let mut sides = piece.sides;
            sides.sort_unstable();
            let [low, mid, high] = sides.map(i128::from);
            let size = match (start / SCORES) % 4 {
                0 => low * mid * high,
                1 => high * 1_000_000 + low * mid,
                2 => mid * high,
                _ => low * mid * high / turns[index].len().max(1) as i128,
            };
            let jitter = 100 + i128::from(seeded.below(noise));
            // Fragile things last: they end up on top. Of what needs a wall every other one comes first, to lie
            // on the floor, and every other one late, to lie under the lid.
            let last = match (piece.by_wall, piece.fragile) {
                (true, _) if (index as u32 + start / SCORES).is_multiple_of(2) => 1_000_000_000_000,
                (true, _) => 1_000,
                (false, false) => 1_000_000,
                (false, true) => 1,
            };
            (size * jitter * i128::from(weight[index]) * last, index)
        })
        .collect();
    keyed.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
    keyed.into_iter().map(|(_, index)| index).collect()
}

struct Packing<'a> {
    room: Sides,
    pieces: &'a [Piece],
    laws: Laws,
    placed: Vec<At>,
    /// Where a piece may begin, by height, then depth, then left to right.
    corners: Vec<Sides>,
    /// Are only extreme points corners?
    few_corners: bool,
    /// 0 and the ends on each axis, while every combination of them is a corner.
    ends: [Vec<i64>; 3],
}

impl<'a> Packing<'a> {
    fn new(room: Sides, pieces: &'a [Piece], laws: Laws) -> Self {
        let placed = Vec::with_capacity(pieces.len());
        let few_corners = pieces.len() > GRID_PIECES_MAX;
        Self { room, pieces, laws, placed, corners: vec![[0; 3]], few_corners, ends: [0, 1, 2].map(|_| vec![0]) }
    }

    fn best_corner(&self, piece: usize, turns: &[Sides], score: u32) -> Option<At> {
        let mut best: Option<([i64; 4], At)> = None;
        for &corner in &self.corners {
            for &size in turns {
                let place = At { piece, at: corner, size };
                if place.end(0) > self.room[0]
                    || place.end(1) > self.room[1]
                    || place.end(2) > self.room[2]
                    || self.placed.iter().any(|other| overlaps(other, &place))
                {
                    continue;
                }
                let value = self.value(&place, score);
                if best.is_some_and(|(least, _)| least <= value) || self.laws == Laws::Bench && !self.may_lie(&place) {
                    continue;
                }
                best = Some((value, place));
            }
        }
        best.map(|(_, place)| place)
    }

    fn put(&mut self, place: At) {
        self.placed.push(place);
        if self.few_corners {
            self.corners = self.extreme_points();
        } else {
            self.corners.retain(|corner| !covers(&place, corner));
            (0..3).for_each(|axis| self.add_corners(axis, place.end(axis)));
        }
        self.corners.sort_unstable_by_key(|&[x, y, z]| (z, y, x));
        self.corners.dedup();
    }

    /// The combinations of a new end on one axis with those on the others that are not inside of a piece.
    fn add_corners(&mut self, axis: usize, end: i64) {
        let Err(at) = self.ends[axis].binary_search(&end) else { return };
        self.ends[axis].insert(at, end);
        let (one, other) = ((axis + 1) % 3, (axis + 2) % 3);
        for &a in &self.ends[one] {
            for &b in &self.ends[other] {
                let mut corner = [end; 3];
                (corner[one], corner[other]) = (a, b);
                if !self.placed.iter().any(|place| covers(place, &corner)) {
                    self.corners.push(corner);
                }
            }
        }
    }

    /// Lower is better.
    fn value(&self, place: &At, score: u32) -> [i64; 4] {
        let [x, y, z] = place.at;
        let ends = place.end(0) * place.end(1) * place.end(2);
        match score {
            0 => [-self.touching(place), z, ends, x + y],
            1 => [z, y, x, place.size[2]],
            2 => [ends, z, y, x],
            // Prefer what ends flush with the walls or leaves much room beside it.
            _ => {
                let slack = |axis: usize| self.room[axis] - place.end(axis);
                [slack(0).min(slack(1)).min(slack(2)), z, -self.touching(place), ends]
            }
        }
    }

    /// Surface that touches walls or other pieces, as a share of its own surface in 1/10 000.
    fn touching(&self, place: &At) -> i64 {
        let face = |axis: usize| place.size[(axis + 1) % 3] * place.size[(axis + 2) % 3];
        let mut sum = 0;
        for axis in 0..3 {
            if place.at[axis] == 0 {
                sum += face(axis);
            }
            if place.end(axis) == self.room[axis] {
                sum += face(axis);
            }
            for other in &self.placed {
                if other.end(axis) == place.at[axis] || place.end(axis) == other.at[axis] {
                    let shared = |a: usize| (other.end(a).min(place.end(a)) - other.at[a].max(place.at[a])).max(0);
                    sum += shared((axis + 1) % 3) * shared((axis + 2) % 3);
                }
            }
        }
        let surface = 2 * (face(0) + face(1) + face(2));
        sum * 10_000 / surface.max(1)
    }

    /// Laws of the bench for a new piece among those placed.
    fn may_lie(&self, place: &At) -> bool {
        let area = |other: &At| {
            let shared = |a: usize| (other.end(a).min(place.end(a)) - other.at[a].max(place.at[a])).max(0);
            shared(0) * shared(1)
        };
        if self.pieces[place.piece].by_wall && !place.is_by_wall(self.room) {
            return false;
        }
        let mut resting = 0;
        for other in &self.placed {
            let under = other.end(2) == place.at[2] && area(other) > 0;
            let over = place.end(2) == other.at[2] && area(other) > 0;
            if under && self.pieces[other.piece].fragile || over && self.pieces[place.piece].fragile {
                return false;
            }
            if under {
                resting += area(other);
            }
        }
        if place.at[2] > 0 && resting * 100 < place.size[0] * place.size[1] * SUPPORT_PERCENT {
            return false;
        }
        if self.pieces.iter().any(|piece| piece.stack.is_some()) {
            let mut all = self.placed.clone();
            all.push(*place);
            return piles_allowed(&all, self.pieces);
        }
        true
    }

    /// Ends of each piece, pushed along each other axis until something stops them.
    fn extreme_points(&self) -> Vec<Sides> {
        let mut corners = vec![[0, 0, 0]];
        for place in &self.placed {
            for axis in 0..3 {
                let mut corner = place.at;
                corner[axis] = place.end(axis);
                corners.push(corner);
                for push in [(axis + 1) % 3, (axis + 2) % 3] {
                    let mut pushed = corner;
                    pushed[push] = self
                        .placed
                        .iter()
                        .filter(|other| {
                            other.end(push) <= corner[push]
                                && (0..3).all(|a| a == push || other.at[a] <= corner[a] && corner[a] < other.end(a))
                        })
                        .map(|other| other.end(push))
                        .max()
                        .unwrap_or(0);
                    corners.push(pushed);
                }
            }
        }
        corners
    }
}

/// Do they share more than a border on every axis? Written out, since nothing is asked more often.
fn overlaps(a: &At, b: &At) -> bool {
    a.at[0] < b.end(0)
        && b.at[0] < a.end(0)
        && a.at[1] < b.end(1)
        && b.at[1] < a.end(1)
        && a.at[2] < b.end(2)
        && b.at[2] < a.end(2)
}

/// Would what begins at this corner begin inside?
fn covers(place: &At, [x, y, z]: &Sides) -> bool {
    (place.at[0]..place.end(0)).contains(x)
        && (place.at[1]..place.end(1)).contains(y)
        && (place.at[2]..place.end(2)).contains(z)
}

/// Is no pile higher than its pieces allow?
fn piles_allowed(placed: &[At], pieces: &[Piece]) -> bool {
    let mut order: Vec<&At> = placed.iter().collect();
    order.sort_by_key(|place| std::cmp::Reverse(place.at[2]));
    let mut done: Vec<(&At, u32)> = Vec::with_capacity(order.len());
    for place in order {
        let on =
            |other: &At| other.at[2] == place.end(2) && overlaps_on(other, place, 0) && overlaps_on(other, place, 1);
        let above = done.iter().filter(|(other, _)| on(other)).map(|(_, layers)| layers + 1).max().unwrap_or(0);
        if pieces[place.piece].stack.is_some_and(|most| above + 1 > most) {
            return false;
        }
        done.push((place, above));
    }
    true
}
