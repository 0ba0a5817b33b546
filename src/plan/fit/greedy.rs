//! Constructive packing, one piece after another into corners that earlier ones leave. Finds, never
//! refutes: corners reach only some layouts (den Boef and others, 2005).

use super::corners::{Grid, Score, touching};
use super::{At, Laws, Piece, SUPPORT_PERCENT, Sides, overlaps_on};

/// Up to so many pieces every combination of ends is a corner; beyond, extreme points are
/// (Crainic, Perboli, Tadei, INFORMS J. Comput. 20, 2008).
pub(super) const GRID_PIECES_MAX: usize = 14;

/// A packing in the making.
pub(super) struct Packing<'a> {
    room: Sides,
    pieces: &'a [Piece],
    laws: Laws,
    corners: Corners,
}

/// Where a piece may begin.
enum Corners {
    /// At every combination of ends.
    All(Grid),
    /// At these extreme points, by height, then depth, then left to right.
    Few { placed: Vec<At>, points: Vec<Sides> },
}

impl<'a> Packing<'a> {
    /// With nothing in it.
    pub fn new(room: Sides, pieces: &'a [Piece], laws: Laws) -> Self {
        if pieces.len() > GRID_PIECES_MAX {
            return Self::with_few_corners(room, pieces, laws);
        }
        Self { room, pieces, laws, corners: Corners::All(Grid::new(room)) }
    }

    /// With nothing in it; only extreme points are corners.
    pub fn with_few_corners(room: Sides, pieces: &'a [Piece], laws: Laws) -> Self {
        let corners = Corners::Few { placed: Vec::with_capacity(pieces.len()), points: vec![[0; 3]] };
        Self { room, pieces, laws, corners }
    }

    /// Those in their places, in the order in which they came.
    pub fn placed(&self) -> &[At] {
        match &self.corners {
            Corners::All(grid) => grid.placed(),
            Corners::Few { placed, .. } => placed,
        }
    }

    /// Those in their places, by piece.
    pub fn by_piece(self) -> Vec<At> {
        let mut placed = match self.corners {
            Corners::All(grid) => grid.into_placed(),
            Corners::Few { placed, .. } => placed,
        };
        placed.sort_by_key(|place| place.piece);
        placed
    }

    /// Puts a piece where it scores best; false if it goes nowhere.
    pub fn put_best(&mut self, piece: usize, turns: &[Sides], score: Score) -> bool {
        let allowed = |place: &At| self.laws == Laws::Geometry || self.may_lie(place);
        let best = match &self.corners {
            Corners::All(grid) => grid.best(piece, turns, score, allowed),
            Corners::Few { placed, points } => best_of(self.room, placed, points, piece, turns, score, allowed),
        };
        let Some(place) = best else { return false };
        match &mut self.corners {
            Corners::All(grid) => grid.put(place),
            Corners::Few { placed, points } => {
                placed.push(place);
                *points = extreme_points(placed);
            }
        }
        true
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
        for other in self.placed() {
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
            let mut all = self.placed().to_vec();
            all.push(*place);
            return piles_allowed(&all, self.pieces);
        }
        true
    }
}

/// The free and allowed place at one of these points with the least score; of equals the first.
fn best_of(
    room: Sides,
    placed: &[At],
    points: &[Sides],
    piece: usize,
    turns: &[Sides],
    score: Score,
    allowed: impl Fn(&At) -> bool,
) -> Option<At> {
    let mut best: Option<([i64; 4], At)> = None;
    for place in points.iter().flat_map(|&at| turns.iter().map(move |&size| At { piece, at, size })) {
        let sticks_out = (0..3).any(|axis| place.end(axis) > room[axis]);
        if sticks_out || placed.iter().any(|other| overlaps(other, &place)) {
            continue;
        }
        let borders = |other: &&At, axis: usize| other.end(axis) == place.at[axis] || place.end(axis) == other.at[axis];
        let touching = || touching(&place, room, |axis| placed.iter().filter(move |other| borders(other, axis)));
        let least = best.as_ref().map(|(least, _)| least);
        if let Some(value) = score.of(&place, room, least, touching)
            && allowed(&place)
        {
            best = Some((value, place));
        }
    }
    best.map(|(_, place)| place)
}

/// Ends of each piece, pushed along each other axis until something stops them; by height, then
/// depth, then left to right.
fn extreme_points(placed: &[At]) -> Vec<Sides> {
    let mut points = vec![[0, 0, 0]];
    for place in placed {
        for axis in 0..3 {
            let mut point = place.at;
            point[axis] = place.end(axis);
            points.push(point);
            for push in [(axis + 1) % 3, (axis + 2) % 3] {
                let stops = |other: &&At| {
                    other.end(push) <= point[push]
                        && (0..3).all(|a| a == push || other.at[a] <= point[a] && point[a] < other.end(a))
                };
                let mut pushed = point;
                pushed[push] = placed.iter().filter(stops).map(|other| other.end(push)).max().unwrap_or(0);
                points.push(pushed);
            }
        }
    }
    points.sort_unstable_by_key(|&[x, y, z]| (z, y, x));
    points.dedup();
    points
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
