//! The laws of the bench for [`super::loading`]: which pieces stand where, what they still bear, and on
//! which floors something can stand. Touches its arguments; only answers whether a block may lie
//! somewhere, never chooses.

use super::gaps::{self, Above, Gap, Short, each};
use super::{SUPPORT_PERCENT, Sides};

/// On it goes anything.
pub(super) const BEARS_ALL: u32 = u32::MAX;

/// So much longer than its support a block may be.
const STICKS_OUT_PERCENT: i32 = (100 * (100 - SUPPORT_PERCENT) / SUPPORT_PERCENT) as i32;

/// Strips of equal height that are joined for one block.
const STRIPS_MAX: usize = 16;

/// One piece, within a block or standing.
#[derive(Clone, Copy)]
pub(super) struct Part {
    /// Which kind of piece.
    pub kind: usize,
    /// Corner nearest the origin of the block or, where it stands, of the room.
    pub at: Sides,
    /// Sides as turned.
    pub size: Sides,
    /// So many layers may stand on it where it lies.
    pub bears: u32,
}

/// A piece at the bottom of a block, as what is below it sees it.
struct Foot {
    /// Corner within the block, and sides, of its base.
    at: [i64; 2],
    size: [i64; 2],
    /// Layers of the block on top of it.
    load: u32,
}

impl Foot {
    /// Square millimetres that rest on this piece, for a block whose corner is there.
    fn resting(&self, block: [i64; 2], on: &Part) -> i64 {
        let shared = |axis: usize| {
            let from = block[axis] + self.at[axis];
            (from + self.size[axis]).min(on.at[axis] + on.size[axis]) - from.max(on.at[axis])
        };
        shared(0).max(0) * shared(1).max(0)
    }

    /// Square millimetres that must rest on something, times 100.
    fn must_rest(&self) -> i64 {
        self.size[0] * self.size[1] * SUPPORT_PERCENT
    }
}

/// The feet of a block that is made of these parts, the lowest first.
fn feet(parts: &[Part]) -> Vec<Foot> {
    let mut loads = vec![0; parts.len()];
    for (index, part) in parts.iter().enumerate().rev() {
        let meets = |other: &Part, axis: usize| {
            other.at[axis] < part.at[axis] + part.size[axis] && part.at[axis] < other.at[axis] + other.size[axis]
        };
        let on = |other: &Part| other.at[2] == part.at[2] + part.size[2] && meets(other, 0) && meets(other, 1);
        let above = parts.iter().zip(&loads).filter(|(other, _)| on(other));
        loads[index] = above.map(|(_, load)| load + 1).max().unwrap_or(0);
    }
    let lowest = parts.iter().zip(loads).filter(|(part, _)| part.at[2] == 0);
    lowest.map(|(part, load)| Foot { at: [part.at[0], part.at[1]], size: [part.size[0], part.size[1]], load }).collect()
}

/// Puts a piece on what stands already, with the layers it may still bear there; `None` if the laws of
/// the bench forbid it. What touches its top from above is forbidden too: that would have to be counted
/// downwards as well.
pub(super) fn set_on(standing: &[Part], mut part: Part) -> Option<Part> {
    let mut resting = 0;
    for other in standing {
        let under = other.at[2] + other.size[2] == part.at[2];
        let over = part.at[2] + part.size[2] == other.at[2];
        if !under && !over {
            continue;
        }
        let shared =
            |a: usize| (other.at[a] + other.size[a]).min(part.at[a] + part.size[a]) - other.at[a].max(part.at[a]);
        let (x, y) = (shared(0), shared(1));
        if x <= 0 || y <= 0 {
            continue;
        }
        if over || other.bears == 0 {
            return None;
        }
        resting += x * y;
        if other.bears != BEARS_ALL {
            part.bears = part.bears.min(other.bears - 1);
        }
    }
    let base = part.size[0] * part.size[1];
    (part.at[2] == 0 || resting * 100 >= base * SUPPORT_PERCENT).then_some(part)
}

/// A block as what is below and above it sees it.
pub(super) struct Base {
    feet: Vec<Foot>,
    /// Something may stand on it.
    pub bears: bool,
}

impl Base {
    /// Of a block of this height that is made of these parts, the lowest first.
    pub fn of(high: i64, parts: &[Part]) -> Self {
        let bears = parts.iter().any(|part| part.at[2] + part.size[2] == high && part.bears > 0);
        Self { feet: feet(parts), bears }
    }
}

/// What stands on the bench.
#[derive(Default)]
pub(super) struct Standing {
    /// Free boxes whose floor bears, at least at the corner nearest to one of the room.
    pub floors: Vec<Gap>,
    /// Flat tops that bear, joined where they touch; without height.
    tops: Vec<Gap>,
    /// Every piece.
    parts: Vec<Part>,
}

impl Standing {
    /// Nothing as yet, in a room.
    pub fn on(room: Gap) -> Self {
        Self { floors: vec![room], tops: Vec::new(), parts: Vec::new() }
    }

    /// Becomes equal to another; keeps its memory.
    pub fn become_like(&mut self, other: &Self) {
        self.floors.clone_from(&other.floors);
        self.tops.clone_from(&other.tops);
        self.parts.clone_from(&other.parts);
    }

    /// Work of [`Self::may_take`]: most parts are passed over at a glance.
    pub fn steps(&self, base: &Base) -> usize {
        self.parts.len() * base.feet.len() / 4
    }

    /// Does a block rest well enough there, on what bears it, with nothing on it?
    pub fn may_take(&self, base: &Base, place: &Gap) -> bool {
        let lo = each(|axis| i64::from(place.lo[axis]));
        let hi = each(|axis| i64::from(place.hi[axis]));
        let within = |part: &Part, axis: usize| part.at[axis] < hi[axis] && lo[axis] < part.at[axis] + part.size[axis];
        if self.parts.iter().any(|part| part.at[2] == hi[2] && within(part, 0) && within(part, 1)) {
            return false;
        }
        let rests = |foot: &Foot| {
            let mut resting = 0;
            for part in self.parts.iter().filter(|part| part.at[2] + part.size[2] == lo[2]) {
                let area = foot.resting([lo[0], lo[1]], part);
                if area > 0 && part.bears <= foot.load && part.bears != BEARS_ALL {
                    return false;
                }
                resting += area;
            }
            resting * 100 >= foot.must_rest()
        };
        lo[2] == 0 || base.feet.iter().all(rests)
    }

    /// Notes a block for which [`Self::may_take`] said yes. Gives the number of comparisons.
    pub fn put(&mut self, parts: &[Part], place: &Gap, least: &Short) -> u64 {
        let before = self.parts.len();
        for part in parts {
            let at = each(|axis| i64::from(place.lo[axis]) + part.at[axis]);
            let part = set_on(&self.parts, Part { at, ..*part });
            debug_assert!(part.is_some(), "a block was put where it may not lie");
            self.parts.extend(part);
        }
        (parts.len() * before) as u64 + gaps::cut(&mut self.floors, place, least, Above::Dropped)
    }

    /// Adds the floors on top of a block that was put in, alone and with tops of equal height beside it.
    /// Gives the number of comparisons.
    pub fn floor_on(&mut self, block: &Gap, gaps: &[Gap], room: &Short, least: &Short) -> u64 {
        let mut steps = 0;
        let mut strips = vec![Gap { lo: [block.lo[0], block.lo[1], block.hi[2]], hi: block.hi }];
        let mut next = 0;
        while next < strips.len() && next < STRIPS_MAX {
            let strip = strips[next];
            next += 1;
            if self.tops.iter().any(|top| top.holds(&strip)) {
                continue;
            }
            strips.extend(self.tops.iter().flat_map(|top| joined(&strip, top)));
            self.tops.retain(|top| !strip.holds(top));
            self.tops.push(strip);
            for axis in 0..2 {
                let mut over = Gap { lo: strip.lo, hi: [strip.hi[0], strip.hi[1], room[2]] };
                // A block may stick out as far as its support allows, away from the corner it lies in.
                let out = (strip.hi[axis] - strip.lo[axis]) * STICKS_OUT_PERCENT / 100;
                if over.lo[axis] <= room[axis] - over.hi[axis] {
                    over.hi[axis] += out;
                } else {
                    over.lo[axis] -= out;
                }
                steps += gaps.len() + self.floors.len();
                for gap in gaps {
                    let floor = gap.common(&over);
                    if floor.lo[2] == strip.lo[2] && floor.takes(least) {
                        gaps::add_floor(&mut self.floors, floor);
                    }
                }
            }
        }
        steps as u64
    }
}

/// Strips across two flat tops of one height that touch: what both reach on one axis, as long as both
/// together on the other.
fn joined(one: &Gap, other: &Gap) -> impl Iterator<Item = Gap> {
    let both = one.common(other);
    let touch = both.lo[2] == both.hi[2] && both.lo[0] <= both.hi[0] && both.lo[1] <= both.hi[1];
    let along = move |axis: usize, one: &Gap, other: &Gap| {
        let mut strip = both;
        strip.lo[axis] = one.lo[axis].min(other.lo[axis]);
        strip.hi[axis] = one.hi[axis].max(other.hi[axis]);
        (touch && both.lo[1 - axis] < both.hi[1 - axis]).then_some(strip)
    };
    [along(0, one, other), along(1, one, other)].into_iter().flatten()
}
