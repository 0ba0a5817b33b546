//! Blocks of pieces for [`super::loading`]: equal pieces as a grid, and two blocks joined at a face
//! where nearly nothing is lost (simple and general blocks: Eley, EJOR 141, 2002; Fanslau and
//! Bortfeldt, INFORMS J. Comput. 22, 2010; Zhu and Lim, EJOR 222, 2012). Touches its arguments;
//! never decides where a block goes.

use super::floors::{BEARS_ALL, Part, set_on};
use super::gaps::each;
use super::refute::fitting_turns;
use super::{Laws, Piece, Sides};
use std::collections::BTreeSet;

/// A block holds at least so much of its hull, in percent.
const DENSE_PERCENT: i64 = 98;

/// A block holds at most so many kinds of pieces.
pub(super) const KINDS_MAX: usize = 4;

/// Share of all blocks that grids may take, as one part in so many.
const GRIDS_SHARE: usize = 2;

/// Pieces that are the same in all that matters here.
pub(super) struct Kind {
    /// The ways round that go into the room.
    pub turns: Vec<Sides>,
    /// Indices of its pieces.
    pub members: Vec<usize>,
    /// Cubic millimetres of one.
    pub volume: i64,
    /// So many layers may stand on one.
    pub bears: u32,
}

/// Sorts pieces into kinds; leaves out what goes into the room in no way.
pub(super) fn kinds(room: Sides, pieces: &[Piece], laws: Laws) -> Vec<Kind> {
    let mut kinds: Vec<Kind> = Vec::new();
    for (index, piece) in pieces.iter().enumerate() {
        let mut turns = fitting_turns(room, piece);
        turns.sort_unstable();
        let bears = match (laws, piece.fragile, piece.stack) {
            (Laws::Geometry, ..) => BEARS_ALL,
            (Laws::Bench, _, Some(0)) => continue,
            (Laws::Bench, true, _) => 0,
            (Laws::Bench, false, most) => most.map_or(BEARS_ALL, |most| most - 1),
        };
        if turns.is_empty() || piece.sides.iter().any(|&side| side <= 0) {
            continue;
        }
        match kinds.iter_mut().find(|kind| kind.turns == turns && kind.bears == bears) {
            Some(kind) => kind.members.push(index),
            None => {
                let volume = piece.sides.iter().product();
                kinds.push(Kind { turns, members: vec![index], volume, bears });
            }
        }
    }
    kinds
}

/// How a block is made.
#[derive(Clone, Copy)]
enum Made {
    /// So many times a turned piece on each axis.
    Grid { kind: usize, size: Sides, times: Sides },
    /// The second block beyond the first on this axis.
    Joined { first: usize, second: usize, axis: usize },
}

/// Pieces that go in together.
pub(super) struct Block {
    /// Sides of its hull.
    pub size: Sides,
    /// Cubic millimetres of its pieces.
    pub volume: i64,
    /// How many pieces.
    pub count: u32,
    /// Kinds with how many pieces of each; the unused rest needs none of kind 0.
    pub needs: [(u16, u16); KINDS_MAX],
    made: Made,
}

impl Block {
    fn needed(&self) -> impl Iterator<Item = (u16, u16)> {
        self.needs.into_iter().filter(|&(_, count)| count > 0)
    }
}

/// All blocks of one task.
pub(super) struct Blocks {
    /// In the order they were made in: a joined one comes after its parts.
    pub all: Vec<Block>,
    /// What it took to make them: one for a few comparisons.
    pub work: u64,
}

impl Blocks {
    /// At most so many: grids first, the largest if there are too many, then joined ones breadth first.
    pub fn of(room: Sides, kinds: &[Kind], laws: Laws, most: usize) -> Self {
        let mut blocks = Self { all: Vec::new(), work: 0 };
        let mut seen = BTreeSet::new();
        blocks.add_grids(room, kinds, laws, most / GRIDS_SHARE);
        for block in &blocks.all {
            seen.insert((block.size, block.needs));
        }
        let counts: Vec<u16> = kinds.iter().map(|kind| kind.members.len() as u16).collect();
        let mut newest = 0;
        while newest < blocks.all.len() && blocks.all.len() < most {
            blocks.work += newest as u64 / 4;
            for older in 0..=newest {
                for (first, second) in [(older, newest), (newest, older)] {
                    for axis in 0..3 {
                        if let Some(block) = blocks.join(room, &counts, first, second, axis)
                            && !seen.contains(&(block.size, block.needs))
                            && (laws == Laws::Geometry || blocks.stands(&block, kinds))
                        {
                            seen.insert((block.size, block.needs));
                            blocks.all.push(block);
                        }
                    }
                    if first == second {
                        break;
                    }
                }
                if blocks.all.len() >= most {
                    break;
                }
            }
            newest += 1;
        }
        blocks
    }

    fn add_grids(&mut self, room: Sides, kinds: &[Kind], laws: Laws, most: usize) {
        for (index, kind) in kinds.iter().enumerate() {
            let count = kind.members.len() as i64;
            for &size in &kind.turns {
                let goes: Sides = each(|axis| (room[axis] / size[axis]).min(count));
                let high = if laws == Laws::Bench { goes[2].min(i64::from(kind.bears) + 1) } else { goes[2] };
                for z in 1..=high {
                    for y in 1..=goes[1].min(count / z) {
                        for x in 1..=goes[0].min(count / (z * y)) {
                            let mut needs = [(0, 0); KINDS_MAX];
                            needs[0] = (index as u16, (x * y * z) as u16);
                            self.all.push(Block {
                                size: [x * size[0], y * size[1], z * size[2]],
                                volume: kind.volume * x * y * z,
                                count: (x * y * z) as u32,
                                needs,
                                made: Made::Grid { kind: index, size, times: [x, y, z] },
                            });
                        }
                    }
                }
            }
        }
        self.all.sort_by_key(|block| (block.count > 1, std::cmp::Reverse(block.volume), block.size));
        let single = self.all.iter().filter(|block| block.count == 1).count();
        self.all.truncate(most.max(single));
        self.all.sort_by_key(|block| (block.count, block.volume, block.size));
    }

    /// The two side by side, if they go into the room, are there, and lose little.
    fn join(&self, room: Sides, counts: &[u16], first: usize, second: usize, axis: usize) -> Option<Block> {
        let (one, other) = (&self.all[first], &self.all[second]);
        let mut size = each(|a| one.size[a].max(other.size[a]));
        size[axis] = one.size[axis] + other.size[axis];
        let volume = one.volume + other.volume;
        if size[axis] > room[axis] || volume * 100 < size.iter().product::<i64>() * DENSE_PERCENT {
            return None;
        }
        let mut needs = one.needs;
        for (kind, count) in other.needed() {
            let slot = needs.iter().position(|&(k, c)| c == 0 || k == kind)?;
            needs[slot] = (kind, needs[slot].1 + count);
            if needs[slot].1 > counts[usize::from(kind)] {
                return None;
            }
        }
        needs.sort_unstable_by_key(|&(kind, count)| (count == 0, kind));
        let made = Made::Joined { first, second, axis };
        Some(Block { size, volume, count: one.count + other.count, needs, made })
    }

    /// Its pieces, from the bottom up where the blocks stand.
    pub fn parts(&self, block: &Block, kinds: &[Kind]) -> Vec<Part> {
        let mut parts = Vec::with_capacity(block.count as usize);
        self.collect(block, [0; 3], kinds, &mut parts);
        parts.sort_by_key(|part| part.at[2]);
        parts
    }

    fn collect(&self, block: &Block, from: Sides, kinds: &[Kind], parts: &mut Vec<Part>) {
        match block.made {
            Made::Grid { kind, size, times } => {
                for z in 0..times[2] {
                    for y in 0..times[1] {
                        for x in 0..times[0] {
                            let at = [from[0] + x * size[0], from[1] + y * size[1], from[2] + z * size[2]];
                            parts.push(Part { kind, at, size, bears: kinds[kind].bears });
                        }
                    }
                }
            }
            Made::Joined { first, second, axis } => {
                self.collect(&self.all[first], from, kinds, parts);
                let mut beyond = from;
                beyond[axis] += self.all[first].size[axis];
                self.collect(&self.all[second], beyond, kinds, parts);
            }
        }
    }

    /// Does the block obey the laws of the bench when it lies on the floor?
    fn stands(&self, block: &Block, kinds: &[Kind]) -> bool {
        let mut standing: Vec<Part> = Vec::with_capacity(block.count as usize);
        for part in self.parts(block, kinds) {
            match set_on(&standing, part) {
                Some(part) => standing.push(part),
                None => return false,
            }
        }
        true
    }
}

/// For every length up to the room's on an axis the longest sum of sides that goes in, each turned
/// piece as often as it is there.
pub(super) fn sums(kinds: &[Kind], room: usize, axis: usize) -> Vec<i32> {
    let mut reached = vec![false; room + 1];
    reached[0] = true;
    for kind in kinds {
        let mut sides: Vec<usize> = kind.turns.iter().map(|turn| turn[axis] as usize).collect();
        sides.sort_unstable();
        sides.dedup();
        for side in sides {
            let mut times = vec![0; room + 1];
            for sum in side..=room {
                if !reached[sum] && reached[sum - side] && times[sum - side] < kind.members.len() {
                    reached[sum] = true;
                    times[sum] = times[sum - side] + 1;
                }
            }
        }
    }
    let mut last = 0;
    let longest = |(sum, reached): (usize, &bool)| {
        last = if *reached { sum as i32 } else { last };
        last
    };
    reached.iter().enumerate().map(longest).collect()
}
