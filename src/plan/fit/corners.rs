//! The best corner for a piece among few: every combination of ends on the three axes is one. What
//! overlaps or touches what is counted once for each end and extent, as sets of bits; a corner is free
//! where three such sets have nothing in common. Finds; never refutes.

use super::{At, Sides};

/// Placed pieces, one bit each.
type Set = u16;

/// The most pieces that a [`Grid`] holds while more are to come: one bit each.
pub(super) const PIECES_MAX: usize = Set::BITS as usize - 1;

/// Their ends on an axis, and 0.
const ENDS_MAX: usize = PIECES_MAX + 1;

/// The different extents of one piece on an axis, at most.
const EXTENTS_MAX: usize = 3;

/// The different ways round of one piece, at most.
const TURNS_MAX: usize = 6;

/// How a corner is scored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Score {
    /// Much of the surface touches something.
    Touching,
    /// Low, then far back, then left.
    Lowest,
    /// Close to the corner where all begins.
    Nearest,
    /// Flush with a wall, or with much room beside it.
    Flush,
}

impl Score {
    /// Of a free place; lower is better. None if it is not lower than the least so far.
    pub fn of(
        self,
        place: &At,
        room: Sides,
        least: Option<&[i64; 4]>,
        touching: impl FnOnce() -> i64,
    ) -> Option<[i64; 4]> {
        let [x, y, z] = place.at;
        let ends = || place.end(0) * place.end(1) * place.end(2);
        let value = match self {
            Self::Touching => [-touching(), z, ends(), x + y],
            Self::Lowest => [z, y, x, place.size[2]],
            Self::Nearest => [ends(), z, y, x],
            Self::Flush => {
                let slack = (0..3).map(|axis| room[axis] - place.end(axis)).min().unwrap_or(0);
                // What it touches takes long to find out.
                if least.is_some_and(|least| [least[0], least[1]] < [slack, z]) {
                    return None;
                }
                [slack, z, -touching(), ends()]
            }
        };
        least.is_none_or(|least| value < *least).then_some(value)
    }
}

/// Surface that touches walls or other pieces, as a share of its own surface in 1/10 000. `beside`:
/// those that a place borders on along an axis.
pub(super) fn touching<'p, I>(place: &At, room: Sides, beside: impl Fn(usize) -> I) -> i64
where
    I: Iterator<Item = &'p At>,
{
    let (mut touching, mut surface) = (0, 0);
    for (axis, side) in room.into_iter().enumerate() {
        let (one, two) = ((axis + 1) % 3, (axis + 2) % 3);
        let face = place.size[one] * place.size[two];
        surface += 2 * face;
        touching += face * i64::from(place.at[axis] == 0);
        touching += face * i64::from(place.end(axis) == side);
        for other in beside(axis) {
            let shared = |axis: usize| other.end(axis).min(place.end(axis)) - other.at[axis].max(place.at[axis]);
            touching += shared(one).max(0) * shared(two).max(0);
        }
    }
    touching * 10_000 / surface.max(1)
}

/// Pieces in a room, and where the next one may begin.
pub(super) struct Grid {
    room: Sides,
    placed: Vec<At>,
    /// 0 and the ends on each axis, in their order.
    ends: [Vec<i64>; 3],
}

/// One axis as a piece sees it, for each of its extents.
#[derive(Default)]
struct Line {
    extents: [i64; EXTENTS_MAX],
    count: usize,
    /// So many of the ends can be begun at: from the others on it sticks out.
    open: [usize; EXTENTS_MAX],
    /// Placed pieces that it would run into from an end on, if only this axis counted.
    meets: [[Set; ENDS_MAX]; EXTENTS_MAX],
    /// Placed pieces that begin where it would end, or end where it would begin.
    touches: [[Set; ENDS_MAX]; EXTENTS_MAX],
}

impl Line {
    /// The number of an extent, a new one if need be.
    fn number(&mut self, extent: i64) -> usize {
        if let Some(known) = self.extents[..self.count].iter().position(|other| *other == extent) {
            return known;
        }
        self.extents[self.count] = extent;
        self.count += 1;
        self.count - 1
    }

    fn measure(&mut self, axis: usize, grid: &Grid) {
        let ends = &grid.ends[axis];
        for (number, &extent) in self.extents[..self.count].iter().enumerate() {
            let open = ends.partition_point(|end| end + extent <= grid.room[axis]);
            self.open[number] = open;
            let rows = self.meets[number].iter_mut().zip(&mut self.touches[number]);
            for (&from, (meets, touches)) in ends[..open].iter().zip(rows) {
                let to = from + extent;
                for (bit, other) in grid.placed.iter().enumerate() {
                    let (begins, ends) = (other.at[axis], other.end(axis));
                    *meets |= Set::from(begins < to && from < ends) << bit;
                    *touches |= Set::from(begins == to || ends == from) << bit;
                }
            }
        }
    }
}

impl Grid {
    /// Of an empty room.
    pub fn new(room: Sides) -> Self {
        Self { room, placed: Vec::with_capacity(PIECES_MAX), ends: [0, 1, 2].map(|_| vec![0]) }
    }

    /// Those in their places, in the order in which they came.
    pub fn placed(&self) -> &[At] {
        &self.placed
    }

    /// The same, when no more are to come.
    pub fn into_placed(self) -> Vec<At> {
        self.placed
    }

    /// Puts one in its place; at most [`PIECES_MAX`].
    pub fn put(&mut self, place: At) {
        for (axis, ends) in self.ends.iter_mut().enumerate() {
            if let Err(at) = ends.binary_search(&place.end(axis)) {
                ends.insert(at, place.end(axis));
            }
        }
        self.placed.push(place);
    }

    /// The free and allowed place with the least score; of equals the lowest, then the one farthest
    /// back, then left, then the first way round.
    pub fn best(&self, piece: usize, turns: &[Sides], score: Score, allowed: impl Fn(&At) -> bool) -> Option<At> {
        let mut lines = <[Line; 3]>::default();
        let mut numbers = [[0; 3]; TURNS_MAX];
        for (numbers, size) in numbers.iter_mut().zip(turns) {
            for axis in 0..3 {
                numbers[axis] = lines[axis].number(size[axis]);
            }
        }
        lines.iter_mut().enumerate().for_each(|(axis, line)| line.measure(axis, self));
        let [across, depth, height] = &lines;
        let mut best: Option<([i64; 4], At)> = None;
        for (up, &z) in self.ends[2].iter().enumerate() {
            for (back, &y) in self.ends[1].iter().enumerate() {
                // Whom each way round that goes here would run into, if the first axis did not count.
                let mut open = [(0, 0); TURNS_MAX];
                let mut count = 0;
                for (turn, number) in numbers[..turns.len()].iter().enumerate() {
                    if up < height.open[number[2]] && back < depth.open[number[1]] {
                        let met = height.meets[number[2]][up] & depth.meets[number[1]][back];
                        open[count] = (turn, met);
                        count += 1;
                    }
                }
                if count == 0 {
                    break;
                }
                for (left, &x) in self.ends[0].iter().enumerate() {
                    for &(turn, met) in &open[..count] {
                        let number = numbers[turn][0];
                        if left >= across.open[number] || met & across.meets[number][left] != 0 {
                            continue;
                        }
                        let place = At { piece, at: [x, y, z], size: turns[turn] };
                        let least = best.as_ref().map(|(least, _)| least);
                        let touching = || {
                            let at = [left, back, up];
                            let meets = [0, 1, 2].map(|axis| lines[axis].meets[numbers[turn][axis]][at[axis]]);
                            let touches = |axis: usize| lines[axis].touches[numbers[turn][axis]][at[axis]];
                            touching(&place, self.room, |axis| self.beside(meets, touches(axis), axis))
                        };
                        if let Some(value) = score.of(&place, self.room, least, touching)
                            && allowed(&place)
                        {
                            best = Some((value, place));
                        }
                    }
                    if score == Score::Lowest
                        && let Some((_, place)) = best
                    {
                        return Some(place);
                    }
                }
            }
        }
        best.map(|(_, place)| place)
    }

    /// Whom a free place touches on an axis.
    fn beside(&self, meets: [Set; 3], touches: Set, axis: usize) -> impl Iterator<Item = &At> {
        let others = touches & meets[(axis + 1) % 3] & meets[(axis + 2) % 3];
        members(others).map(|other| &self.placed[other])
    }
}

fn members(mut set: Set) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let first = set.trailing_zeros() as usize;
        set &= set.checked_sub(1)?;
        Some(first)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Every free place at a combination of ends, each looked at for itself.
    fn by_looking(grid: &Grid, piece: usize, turns: &[Sides], score: Score) -> Option<At> {
        let ends = |axis: usize| std::iter::once(0).chain(grid.placed.iter().map(move |place| place.end(axis)));
        let corners = ends(2).flat_map(|z| ends(1).flat_map(move |y| ends(0).map(move |x| [x, y, z])));
        let places = corners.flat_map(|at| turns.iter().map(move |&size| At { piece, at, size }));
        let free = places.filter(|place| {
            let meets = |other: &At| (0..3).all(|a| place.at[a] < other.end(a) && other.at[a] < place.end(a));
            (0..3).all(|axis| place.end(axis) <= grid.room[axis]) && !grid.placed.iter().any(meets)
        });
        let valued = free.filter_map(|place| {
            let borders = move |other: &&At, a: usize| other.end(a) == place.at[a] || place.end(a) == other.at[a];
            let touching = || touching(&place, grid.room, |axis| grid.placed.iter().filter(move |o| borders(o, axis)));
            Some((score.of(&place, grid.room, None, touching)?, place))
        });
        let turn = |place: &At| turns.iter().position(|size| *size == place.size);
        valued.min_by_key(|(value, place)| (*value, place.at[2], place.at[1], place.at[0], turn(place))).map(|(_, p)| p)
    }

    proptest! {
        #[test]
        fn sets_of_bits_find_what_looking_does(
            room in [20i64..40, 20i64..40, 20i64..40],
            sizes in proptest::collection::vec([3i64..18, 3i64..18, 3i64..18], 1..PIECES_MAX),
            scores in proptest::collection::vec(0usize..4, PIECES_MAX),
        ) {
            let mut grid = Grid::new(room);
            for (piece, ([a, b, c], score)) in sizes.into_iter().zip(scores).enumerate() {
                let turns = super::super::Piece::plain([a, b, c], super::super::Turning::Any).turns();
                let score = [Score::Touching, Score::Lowest, Score::Nearest, Score::Flush][score];
                let best = grid.best(piece, &turns, score, |_| true);
                prop_assert_eq!(best, by_looking(&grid, piece, &turns, score));
                best.into_iter().for_each(|place| grid.put(place));
            }
        }
    }

    #[test]
    fn what_is_not_allowed_is_passed_over() {
        let mut grid = Grid::new([10, 10, 10]);
        grid.put(At { piece: 0, at: [0; 3], size: [10, 10, 4] });
        let turns = [[4, 4, 4]];
        let low = grid.best(1, &turns, Score::Lowest, |_| true).expect("room");
        assert_eq!(low.at, [0, 0, 4]);
        assert_eq!(grid.best(1, &turns, Score::Lowest, |place| place.at[2] != 4), None);
    }
}
