//! Free room for [`super::loading`] as maximal boxes that overlap each other (Lai and Chan, Computers
//! & Industrial Engineering 32, 1997), and how closely a block lies in one. Touches its arguments;
//! knows nothing of pieces and kinds.

/// Three sides or a corner, short enough that many of them stay in the cache.
pub(super) type Short = [i32; 3];

/// A box with its sides along the room's: a free one, or one that a block fills.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) struct Gap {
    /// Corner nearest the origin.
    pub lo: Short,
    /// Corner farthest from it.
    pub hi: Short,
}

/// One number for each axis. Always compiled in place, which `map` of an array is not.
#[inline(always)]
pub(super) fn each<T>(mut of: impl FnMut(usize) -> T) -> [T; 3] {
    [of(0), of(1), of(2)]
}

impl Gap {
    /// How long it is on each axis; not positive on some axis if there is nothing in it.
    #[inline]
    pub fn sides(&self) -> Short {
        each(|axis| self.hi[axis] - self.lo[axis])
    }

    /// Cubic millimetres.
    pub fn volume(&self) -> i64 {
        {
            let [x, y, z] = self.sides();
            i64::from(x) * i64::from(y) * i64::from(z)
        }
    }

    /// What both have in common; its sides may be negative.
    #[inline]
    pub fn common(&self, other: &Self) -> Self {
        Self { lo: each(|axis| self.lo[axis].max(other.lo[axis])), hi: each(|axis| self.hi[axis].min(other.hi[axis])) }
    }

    /// Do they share more than a border?
    #[inline]
    pub fn meets(&self, other: &Self) -> bool {
        {
            let meet = |axis: usize| self.lo[axis] < other.hi[axis] && other.lo[axis] < self.hi[axis];
            meet(0) && meet(1) && meet(2)
        }
    }

    /// Is the other one inside?
    #[inline]
    pub fn holds(&self, other: &Self) -> bool {
        {
            let within = |axis: usize| self.lo[axis] <= other.lo[axis] && other.hi[axis] <= self.hi[axis];
            within(0) && within(1) && within(2)
        }
    }

    /// Are the sides at least so long?
    pub fn takes(&self, least: &Short) -> bool {
        self.sides().iter().zip(least).all(|(side, least)| side >= least)
    }
}

/// What becomes of the free room above a block.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Above {
    /// It stays a gap.
    Kept,
    /// It goes: its floor would not be the one that the gap had.
    Dropped,
}

/// Takes a box out of the gaps: each that it meets becomes the boxes beside it. Keeps those that take
/// `least` and are not within another. Gives the number of comparisons.
pub(super) fn cut(gaps: &mut Vec<Gap>, place: &Gap, least: &Short, above: Above) -> u64 {
    let mut cuts: Vec<Gap> = Vec::new();
    let before = gaps.len();
    gaps.retain(|gap| {
        let meets = gap.meets(place);
        if meets {
            for (axis, &least) in least.iter().enumerate() {
                if place.lo[axis] - gap.lo[axis] >= least {
                    let mut rest = *gap;
                    rest.hi[axis] = place.lo[axis];
                    cuts.push(rest);
                }
                if gap.hi[axis] - place.hi[axis] >= least && (axis < 2 || above == Above::Kept) {
                    let mut rest = *gap;
                    rest.lo[axis] = place.hi[axis];
                    cuts.push(rest);
                }
            }
        }
        !meets
    });
    let old = gaps.len();
    for (index, rest) in cuts.iter().enumerate() {
        let floor_matters = above == Above::Dropped;
        let within = |other: &Gap| other.holds(rest) && (!floor_matters || other.lo[2] == rest.lo[2]);
        let twice = |(other, gap): (usize, &Gap)| other != index && within(gap) && (other < index || gap != rest);
        if !gaps[..old].iter().any(within) && !cuts.iter().enumerate().any(twice) {
            gaps.push(*rest);
        }
    }
    (2 * before + cuts.len() * (old + cuts.len())) as u64
}

/// Adds a gap unless one with the same floor holds it already; drops those that it holds.
pub(super) fn add_floor(floors: &mut Vec<Gap>, floor: Gap) {
    if floors.iter().any(|other| other.lo[2] == floor.lo[2] && other.holds(&floor)) {
        return;
    }
    floors.retain(|other| other.lo[2] != floor.lo[2] || !floor.holds(other));
    floors.push(floor);
}

/// How much of a block's surface touches walls or other blocks, from 0 to 1. What is within `near` of
/// it counts as touching: such a slit takes nothing any more.
pub(super) fn contact(room: &Short, near: &Short, others: &[Gap], block: &Gap) -> f32 {
    let sides = block.sides();
    let sides = each(|axis| i64::from(sides[axis]));
    let face = [sides[1] * sides[2], sides[0] * sides[2], sides[0] * sides[1]];
    let mut touching = [[0i64; 2]; 3];
    for axis in 0..3 {
        if block.lo[axis] <= near[axis] {
            touching[axis][0] = face[axis];
        }
        if room[axis] - block.hi[axis] <= near[axis] {
            touching[axis][1] = face[axis];
        }
    }
    for other in others {
        let shared = other.common(block).sides();
        for axis in 0..3 {
            let (one, two) = (shared[(axis + 1) % 3], shared[(axis + 2) % 3]);
            if one > 0 && two > 0 {
                // The shared side is minus the distance where they do not meet.
                if -shared[axis] <= near[axis] {
                    let end = usize::from(other.lo[axis] >= block.hi[axis]);
                    touching[axis][end] += i64::from(one) * i64::from(two);
                }
                break;
            }
        }
    }
    let sum: i64 = (0..3).map(|axis| touching[axis][0].min(face[axis]) + touching[axis][1].min(face[axis])).sum();
    sum as f32 / (2 * (face[0] + face[1] + face[2])) as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Boxes put one after another into the first gap; every free cell stays in a gap, no filled one.
    #[test]
    fn gaps_hold_what_is_free_and_nothing_else() {
        let room = Gap { lo: [0; 3], hi: [9, 8, 7] };
        let mut gaps = vec![room];
        let mut filled: Vec<Gap> = Vec::new();
        for size in [[4, 3, 2], [2, 5, 3], [3, 3, 3], [1, 2, 4], [5, 1, 1], [2, 2, 2]] {
            let Some(gap) = gaps.iter().find(|gap| gap.takes(&size)) else { continue };
            let block = Gap { lo: gap.lo, hi: each(|axis| gap.lo[axis] + size[axis]) };
            cut(&mut gaps, &block, &[1; 3], Above::Kept);
            filled.push(block);
            for cell in (0..9 * 8 * 7).map(|n| [n % 9, n / 9 % 8, n / 72]) {
                let cell = Gap { lo: cell, hi: cell.map(|side| side + 1) };
                let is_filled = filled.iter().any(|block| block.holds(&cell));
                assert_eq!(gaps.iter().any(|gap| gap.holds(&cell)), !is_filled, "{:?}", cell.lo);
            }
            let twice = |(n, gap): (usize, &Gap)| gaps.iter().enumerate().any(|(m, other)| n != m && other.holds(gap));
            assert!(!gaps.iter().enumerate().any(twice));
        }
        assert_eq!(filled.len(), 6);
    }

    #[test]
    fn a_block_in_a_corner_touches_half_and_a_slit_closes() {
        let (room, cube) = ([10; 3], Gap { lo: [0; 3], hi: [4; 3] });
        assert_eq!(contact(&room, &[0; 3], &[], &cube), 0.5);
        let beside = Gap { lo: [5, 0, 0], hi: [9, 4, 2] };
        assert_eq!(contact(&room, &[0; 3], &[beside], &cube), 0.5);
        assert_eq!(contact(&room, &[1; 3], &[beside], &cube), 3.5 / 6.0);
    }
}
