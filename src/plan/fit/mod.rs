//! Do these things go into that room? Three verdicts: it fits, with a placement that an
//! independent check confirms; it cannot, proved, with a sentence for people; or unknown,
//! because the budget was spent.
//!
//! Sides are whole numbers of one unit: millimetres, or whatever measures all sides ([`exact`]).
//! The steps: quick refutations, constructive packing from many starts, two complete searches for
//! few things (slice by slice, and one that learns), loading by blocks for many, more starts. See
//! `DEVELOPERS.md` for why.

mod blocks;
pub mod bulk;
mod chains;
pub mod checker;
mod corners;
pub mod exact;
mod faces;
mod floors;
mod gaps;
mod greedy;
mod learn;
pub mod loading;
mod pouch;
mod reason;
mod refute;
mod slices;
mod starts;
mod string;
mod trying;

pub use pouch::{Pouch, fit_pouch};
pub use reason::Reason;
pub use trying::{ROUNDS_ALL, ROUNDS_LONG, ROUNDS_QUICK, prove};

use crate::model::{Turn, mm_near};

/// Three sides in whole units; the third is upright.
pub type Sides = [i64; 3];

/// A thing to pack: one piece, cushion and pressing already counted.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Piece {
    /// Sides as it stands.
    pub sides: Sides,
    /// How it may be turned.
    pub turn: Turning,
    /// Nothing may stand on it.
    pub fragile: bool,
    /// So many layers may stand on each other, itself included; `None`: any number.
    pub stack: Option<u32>,
    /// One of its largest faces lies against a wall, the floor or the lid.
    pub by_wall: bool,
}

/// [`Turn`] with an order, so that pieces can be sorted and remembered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Turning {
    /// All six.
    Any,
    /// The third side stays upright.
    Upright,
    /// The shortest side is upright.
    Flat,
    /// One of the marked sides is upright.
    Standing([bool; 3]),
}

impl From<Turn> for Turning {
    fn from(turn: Turn) -> Self {
        match turn {
            Turn::Any => Self::Any,
            Turn::ThisSideUp => Self::Upright,
            Turn::FlatOnly => Self::Flat,
        }
    }
}

impl Piece {
    /// A hard, sturdy piece.
    pub fn plain(sides: Sides, turn: Turning) -> Self {
        Self { sides, turn, fragile: false, stack: None, by_wall: false }
    }
    /// The different ways round that are allowed, in a fixed order.
    pub fn turns(&self) -> Vec<Sides> {
        let [a, b, c] = self.sides;
        let all = match self.turn {
            Turning::Any => vec![[a, b, c], [b, a, c], [a, c, b], [c, a, b], [b, c, a], [c, b, a]],
            Turning::Upright => vec![[a, b, c], [b, a, c]],
            Turning::Flat => {
                let mut sorted = [a, b, c];
                sorted.sort_unstable();
                let [low, mid, high] = sorted;
                vec![[high, mid, low], [mid, high, low]]
            }
            Turning::Standing([by_a, by_b, by_c]) => {
                let upright = [(by_c, [a, b, c]), (by_b, [a, c, b]), (by_a, [b, c, a])];
                let marked = upright.into_iter().filter(|(may, _)| *may);
                marked.flat_map(|(_, [x, y, z])| [[x, y, z], [y, x, z]]).collect()
            }
        };
        let mut kept: Vec<Sides> = Vec::with_capacity(all.len());
        for turn in all {
            if !kept.contains(&turn) {
                kept.push(turn);
            }
        }
        kept
    }
    /// Lies in the same ways and takes the same room.
    fn is_like(&self, other: &Self) -> bool {
        (self.sides, self.turn) == (other.sides, other.turn)
    }
    /// Cubic units.
    pub fn volume(&self) -> i128 {
        self.sides.iter().map(|&side| i128::from(side)).product()
    }
}

/// A piece in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct At {
    /// Which piece (index into the list given).
    pub piece: usize,
    /// Corner nearest the origin.
    pub at: Sides,
    /// Sides as turned.
    pub size: Sides,
}

impl At {
    /// Does one of its largest faces lie against a wall, the floor or the lid?
    fn is_by_wall(&self, room: Sides) -> bool {
        let thin = self.size.into_iter().min();
        (0..3).any(|axis| Some(self.size[axis]) == thin && (self.at[axis] == 0 || self.end(axis) == room[axis]))
    }
    /// Corner and sides of one in nanometres, in whole millimetres, for pictures. Both ends are rounded
    /// alike, so that nothing overlaps that did not.
    pub fn near_mm(&self) -> (Sides, Sides) {
        let at = self.at.map(mm_near);
        (at, std::array::from_fn(|axis| mm_near(self.end(axis)) - at[axis]))
    }
    /// The corner farthest from the origin, on one axis.
    pub fn end(&self, axis: usize) -> i64 {
        self.at[axis] + self.size[axis]
    }
}

/// In the order in which the complete searches take them: large ones first, those alike side by side.
fn largest_first(pieces: &[Piece]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..pieces.len()).collect();
    order.sort_by_key(|&k| (std::cmp::Reverse(pieces[k].volume()), pieces[k].sides, pieces[k].turn, k));
    order
}

/// Which laws a placement must obey.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Laws {
    /// Inside, apart, turned as allowed.
    Geometry,
    /// Also as on the bench: every piece rests on the floor or with at least
    /// [`SUPPORT_PERCENT`] of its base on others, nothing stands on fragile things, piles
    /// are no higher than allowed, and what belongs against a wall lies against one.
    Bench,
}

/// Least share of a base that must rest on something, in percent.
pub const SUPPORT_PERCENT: i64 = 60;

/// More pieces than this are loaded by blocks and in no other way.
pub const PIECES_MAX: usize = 64;

/// Up to so many pieces a [`Budget`] counts in full.
const PIECES_USUAL: u32 = 12;

/// How much work may be spent: counts, not time, so that the answer is the same everywhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Budget {
    /// Constructive starts before the search.
    pub starts: u32,
    /// Looks of the search that learns.
    pub nodes: u32,
    /// Steps of the search by slices after that.
    pub slice_steps: u64,
    /// Steps of loading by blocks, for more than a dozen pieces.
    pub loading_steps: u64,
    /// Constructive starts at the end.
    pub late_starts: u32,
}

impl Budget {
    /// For planning an order: of what more work would still decide, these decide most (see DEVELOPERS.md).
    pub const USUAL: Self = Self { starts: 24, nodes: 900, slice_steps: 0, loading_steps: 900_000, late_starts: 120 };
    /// For a person who waits for one answer.
    pub const THOROUGH: Self =
        Self { starts: 200, nodes: 60_000, slice_steps: 300_000, loading_steps: 18_000_000, late_starts: 1_000 };
    /// One start takes the more work the more pieces there are: fewer starts for many.
    fn for_pieces(self, count: usize) -> Self {
        let share = |starts: u32| match u32::try_from(count) {
            Ok(count) if count > PIECES_USUAL => (starts * PIECES_USUAL / count).max(starts.min(2)),
            _ => starts,
        };
        Self { starts: share(self.starts), late_starts: share(self.late_starts), ..self }
    }
    /// For what is only shown beside an answer.
    pub const GLANCE: Self = Self { starts: 8, nodes: 0, slice_steps: 0, loading_steps: 0, late_starts: 0 };
    /// For one block.
    pub const ONE_START: Self = Self { starts: 1, nodes: 0, slice_steps: 0, loading_steps: 0, late_starts: 0 };
    /// For tests that run unoptimised.
    pub const SMALL: Self =
        Self { starts: 8, nodes: 1_200, slice_steps: 6_000, loading_steps: 360_000, late_starts: 0 };
}

/// The verdict.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fit {
    /// It fits, like this (empty where a person's word counts).
    Fits(Vec<At>),
    /// It does not, proved.
    Cannot(Reason),
    /// The budget was spent, or only the laws of the bench stood in the way of what was tried.
    Unknown,
}

/// What a complete search came to, the laws of the bench apart.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Outcome {
    /// A placement.
    Found(Vec<At>),
    /// There is none.
    Cannot,
    /// The work was spent.
    Spent,
}

/// Do `pieces` go into `room`?
///
/// Deterministic. `Fits` is confirmed by [`checker::complaint`]; `Cannot` is a proof;
/// everything else is `Unknown`. No pieces fit anywhere.
pub fn fit(room: Sides, pieces: &[Piece], laws: Laws, budget: Budget) -> Fit {
    trying::in_rounds(room, pieces, laws, std::iter::once(budget)).0
}

/// Do the two share more than a border on this axis?
fn overlaps_on(a: &At, b: &At, axis: usize) -> bool {
    a.at[axis] < b.end(axis) && b.at[axis] < a.end(axis)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{NM_PER_MM, Units};

    fn any(sides: Sides) -> Piece {
        Piece::plain(sides, Turning::Any)
    }

    #[test]
    fn the_teapot_that_is_too_long_is_told_so() {
        let verdict = fit([180, 120, 90], &[any([190, 100, 80])], Laws::Bench, Budget::SMALL);
        let Fit::Cannot(reason) = verdict else { panic!("{verdict:?}") };
        let said = reason.scaled(NM_PER_MM).say(Units::Metric, |_| "the teapot".to_owned());
        assert_eq!(said, "the teapot is 190 mm long, inside are 180 mm, any way round");
    }

    #[test]
    fn eight_cubes_fill_a_cube_and_nine_do_not() {
        let eight = vec![any([50, 50, 50]); 8];
        assert!(matches!(fit([100, 100, 100], &eight, Laws::Bench, Budget::SMALL), Fit::Fits(_)));
        let nine = vec![any([50, 50, 50]); 9];
        assert!(matches!(fit([100, 100, 100], &nine, Laws::Bench, Budget::SMALL), Fit::Cannot(Reason::Volume { .. })));
    }

    #[test]
    fn a_pinwheel_is_found_although_no_cut_goes_through_it() {
        // Five pieces around a middle one: four 30 x 20 around a 10 x 10 in 50 x 50.
        let mut pieces = vec![any([30, 20, 10]); 4];
        pieces.push(any([10, 10, 10]));
        assert!(matches!(fit([50, 50, 10], &pieces, Laws::Bench, Budget::SMALL), Fit::Fits(_)));
    }

    #[test]
    fn upright_things_stay_upright() {
        let bottle = Piece::plain([60, 60, 200], Turning::Upright);
        assert!(matches!(
            fit([210, 70, 70], std::slice::from_ref(&bottle), Laws::Bench, Budget::SMALL),
            Fit::Cannot(_)
        ));
        assert!(matches!(fit([70, 70, 210], &[bottle], Laws::Bench, Budget::SMALL), Fit::Fits(_)));
        let plate = Piece::plain([200, 20, 190], Turning::Flat);
        assert!(matches!(fit([200, 190, 20], std::slice::from_ref(&plate), Laws::Bench, Budget::SMALL), Fit::Fits(_)));
        assert!(matches!(fit([200, 20, 190], &[plate], Laws::Bench, Budget::SMALL), Fit::Cannot(_)));
    }

    #[test]
    fn nothing_stands_on_fragile_things_and_piles_end_where_they_must() {
        let mut glass = any([100, 100, 50]);
        glass.fragile = true;
        // Two fragile things do not lie on each other, though the room would allow it.
        let verdict = fit([100, 100, 100], &[glass.clone(), glass.clone()], Laws::Bench, Budget::SMALL);
        assert!(!matches!(verdict, Fit::Fits(_)), "{verdict:?}");
        assert!(matches!(fit([200, 100, 50], &[glass.clone(), glass], Laws::Bench, Budget::SMALL), Fit::Fits(_)));
        let mut tin = Piece::plain([100, 100, 50], Turning::Upright);
        tin.stack = Some(2);
        assert!(matches!(fit([100, 100, 100], &vec![tin.clone(); 2], Laws::Bench, Budget::SMALL), Fit::Fits(_)));
        assert!(!matches!(fit([100, 100, 150], &vec![tin; 3], Laws::Bench, Budget::SMALL), Fit::Fits(_)));
    }
}
