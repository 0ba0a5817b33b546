//! A complete search for few pieces, slice by slice along one side of the room.
//!
//! Every packing can be pushed towards the front, so that each piece begins at the front or where
//! another one ends. The search walks along the side from one such place to the next and decides
//! which pieces begin there, and how turned. Two bounds prune: the pieces that a slice cuts must
//! lie beside each other in its face (asked of [`Faces`]), and what slices leave empty must not
//! add up to more than the room has over. The second is counted in several measures at once, each
//! a product of two dual feasible functions of the face: a gap that nothing fills counts whole.
//! Where all pieces have begun, which of them share a slice is known, and the search that learns
//! decides the rest.
//!
//! Strong where many pieces are alike and where little is left over.

use super::faces::Faces;
use super::learn;
use super::refute::{Dual, fitting_turns, reachable};
use super::string::PIECES_MAX;
use super::{At, Outcome, Piece, Sides, largest_first};

/// Measures of emptiness kept: those with the least to spare.
const MEASURES_MAX: usize = 10;

/// Looks of the search that learns for one leaf.
const LEAF_LOOKS: u64 = 2_000;

/// What one of them counts.
const LOOK_WORK: u64 = 20;

/// Work of the first round on each side; each later round has twice as much.
const FIRST_ROUND: u64 = 500;

/// A search along each side in turn, with growing rounds, that goes on where it was left.
pub struct Slicing<'a> {
    pieces: &'a [Piece],
    turns: Vec<Vec<Sides>>,
    room: Sides,
    faces: [Faces; 3],
    /// Work of the next round on each side.
    round: u64,
    /// Sides along which more work may decide.
    open: [bool; 3],
}

impl<'a> Slicing<'a> {
    /// Nothing searched yet; `None`: too many pieces.
    pub fn new(room: Sides, pieces: &'a [Piece]) -> Option<Self> {
        if pieces.len() > PIECES_MAX {
            return None;
        }
        let turns: Vec<Vec<Sides>> = pieces.iter().map(|piece| fitting_turns(room, piece)).collect();
        let room = reachable(room, &turns);
        let faces = [0, 1, 2].map(|along| Faces::new([room[(along + 1) % 3], room[(along + 2) % 3]]));
        Some(Self { pieces, turns, room, faces, round: FIRST_ROUND, open: [true; 3] })
    }

    /// Searches until so much more work is done; says as well how much it was. One piece begun is one
    /// unit of work, as is one step in a face.
    pub fn go_on(&mut self, work: u64) -> (Outcome, u64) {
        let mut spent = 0;
        while spent < work && self.open.iter().any(|open| *open) {
            for along in 0..3 {
                if !self.open[along] {
                    continue;
                }
                let faces = &mut self.faces[along];
                let mut sweep = Sweep::new(self.room, self.pieces, &self.turns, along, faces, self.round);
                let found = sweep.run();
                spent += sweep.work;
                match found {
                    Some(found) => return (Outcome::Found(found), spent),
                    None if sweep.gave_up => {}
                    // A leaf was left open: another side may do better, more work will not.
                    None if sweep.unsure => self.open[along] = false,
                    None => return (Outcome::Cannot, spent),
                }
            }
            self.round *= 2;
        }
        (Outcome::Spent, spent)
    }
}

/// Pieces that are alike.
struct Kind {
    pieces: Vec<usize>,
    turns: Vec<Turned>,
    /// The least that one fills, over its ways round, in each measure.
    least: Vec<i64>,
}

/// A way round, seen along the side of the sweep.
struct Turned {
    size: Sides,
    long: i64,
    face: [i64; 2],
    /// Face in each measure.
    fills: Vec<i64>,
}

/// A piece that has begun.
#[derive(Clone, Copy)]
struct Begun {
    kind: usize,
    turn: usize,
    from: i64,
    to: i64,
}

struct Sweep<'a> {
    room: Sides,
    along: usize,
    kinds: Vec<Kind>,
    /// The whole face in each measure.
    whole: Vec<i64>,
    faces: &'a mut Faces,
    begun: Vec<Begun>,
    left: Vec<usize>,
    work: u64,
    work_max: u64,
    gave_up: bool,
    unsure: bool,
}

impl<'a> Sweep<'a> {
    fn new(
        room: Sides,
        pieces: &[Piece],
        turns: &[Vec<Sides>],
        along: usize,
        faces: &'a mut Faces,
        work_max: u64,
    ) -> Self {
        let (across, up) = ((along + 1) % 3, (along + 2) % 3);
        let mut kinds: Vec<Kind> = Vec::new();
        for k in largest_first(pieces) {
            match kinds.iter_mut().find(|kind| pieces[kind.pieces[0]].is_like(&pieces[k])) {
                Some(kind) => kind.pieces.push(k),
                None => {
                    let turned = |size: &Sides| Turned {
                        size: *size,
                        long: size[along],
                        face: [size[across], size[up]],
                        fills: Vec::new(),
                    };
                    kinds.push(Kind {
                        pieces: vec![k],
                        turns: turns[k].iter().map(turned).collect(),
                        least: Vec::new(),
                    });
                }
            }
        }
        let whole = measure(&mut kinds, room, along);
        let left = kinds.iter().map(|kind| kind.pieces.len()).collect();
        let begun = Vec::with_capacity(pieces.len());
        Self { room, along, kinds, whole, faces, begun, left, work: 0, work_max, gave_up: false, unsure: false }
    }

    fn run(&mut self) -> Option<Vec<At>> {
        let spare: Vec<i64> = (0..self.whole.len())
            .map(|m| {
                let needed = |kind: &Kind| kind.least[m] * kind.pieces.len() as i64;
                self.whole[m] * self.room[self.along] - self.kinds.iter().map(needed).sum::<i64>()
            })
            .collect();
        self.begin(0, (0, 0), &spare)
    }

    /// Lets one more piece begin here (kinds and turns in their order, from `next` on), or goes on.
    fn begin(&mut self, here: i64, next: (usize, usize), spare: &[i64]) -> Option<Vec<At>> {
        if spare.iter().any(|spare| *spare < 0) {
            return None;
        }
        for kind in next.0..self.kinds.len() {
            if self.left[kind] == 0 {
                continue;
            }
            let first = if kind == next.0 { next.1 } else { 0 };
            for turn in first..self.kinds[kind].turns.len() {
                let turned = &self.kinds[kind].turns[turn];
                let to = here + turned.long;
                if to > self.room[self.along] {
                    continue;
                }
                self.work += 1;
                if self.work >= self.work_max {
                    self.gave_up = true;
                    return None;
                }
                let mut cut: Vec<[i64; 2]> =
                    self.cut(here).map(|begun| self.kinds[begun.kind].turns[begun.turn].face).collect();
                cut.push(turned.face);
                let (goes, steps) = self.faces.hold(cut);
                self.work += steps;
                if !goes {
                    continue;
                }
                let turned = &self.kinds[kind].turns[turn];
                let more =
                    turned.fills.iter().zip(&self.kinds[kind].least).map(|(fills, least)| turned.long * fills - least);
                let less: Vec<i64> = spare.iter().zip(more).map(|(spare, more)| spare - more).collect();
                self.left[kind] -= 1;
                self.begun.push(Begun { kind, turn, from: here, to });
                let found = self.begin(here, (kind, turn), &less);
                self.begun.pop();
                self.left[kind] += 1;
                if found.is_some() || self.gave_up {
                    return found;
                }
            }
        }
        self.go_on(here, spare)
    }

    /// To the next place where a piece ends; what the slice between leaves empty is spent.
    fn go_on(&mut self, here: i64, spare: &[i64]) -> Option<Vec<At>> {
        if self.left.iter().all(|left| *left == 0) {
            return self.leaf();
        }
        // Nothing is cut here: what comes later could be pushed to this place.
        let there = self.cut(here).map(|begun| begun.to).min()?;
        let mut less = spare.to_vec();
        for (m, less) in less.iter_mut().enumerate() {
            let filled: i64 = self.cut(here).map(|begun| self.kinds[begun.kind].turns[begun.turn].fills[m]).sum();
            *less -= (self.whole[m] - filled) * (there - here);
            if *less < 0 {
                return None;
            }
        }
        self.begin(there, (0, 0), &less)
    }

    /// Pieces that a slice just behind this place cuts.
    fn cut(&self, here: i64) -> impl Iterator<Item = &Begun> {
        self.begun.iter().filter(move |begun| begun.to > here)
    }

    /// All have begun: the rest is left to the search that learns.
    fn leaf(&mut self) -> Option<Vec<At>> {
        let sizes: Vec<Sides> = self.begun.iter().map(|b| self.kinds[b.kind].turns[b.turn].size).collect();
        let is_apart = |a: usize, b: usize| {
            let (a, b) = (&self.begun[a], &self.begun[b]);
            a.to <= b.from || b.to <= a.from
        };
        let (outcome, looks) = learn::search_along(self.room, &sizes, self.along, is_apart, LEAF_LOOKS);
        self.work += looks * LOOK_WORK;
        match outcome {
            Outcome::Cannot => None,
            Outcome::Spent => {
                self.unsure = true;
                None
            }
            Outcome::Found(mut found) => {
                let mut next = vec![0; self.kinds.len()];
                for (at, begun) in found.iter_mut().zip(&self.begun) {
                    at.piece = self.kinds[begun.kind].pieces[next[begun.kind]];
                    next[begun.kind] += 1;
                }
                found.sort_by_key(|at| at.piece);
                Some(found)
            }
        }
    }
}

/// Chooses the measures, writes each turn's face in them, and gives the whole face in each.
fn measure(kinds: &mut [Kind], room: Sides, along: usize) -> Vec<i64> {
    let sides = [room[(along + 1) % 3], room[(along + 2) % 3]];
    let functions = [0, 1].map(|at| {
        let extents = kinds.iter().flat_map(|kind| kind.turns.iter().map(|turn| turn.face[at]));
        Dual::worth_trying(extents.collect(), sides[at])
    });
    let mut measures: Vec<(i128, Vec<Vec<i64>>)> = Vec::new();
    let whole = Dual::Same.of(sides[0], sides[0]) * Dual::Same.of(sides[1], sides[1]);
    let most = i128::from(whole) * i128::from(room[along]);
    for f in &functions[0] {
        for g in &functions[1] {
            let fills: Vec<Vec<i64>> = (kinds.iter())
                .map(|kind| kind.turns.iter().map(|t| f.of(t.face[0], sides[0]) * g.of(t.face[1], sides[1])).collect())
                .collect();
            let needed = (kinds.iter().zip(&fills)).map(|(kind, fills)| {
                let turns = kind.turns.iter().zip(fills).map(|(turn, fill)| i128::from(turn.long) * i128::from(*fill));
                turns.min().unwrap_or(0) * kind.pieces.len() as i128
            });
            measures.push((most - needed.sum::<i128>(), fills));
        }
    }
    // The first is volume itself, and stays.
    measures[1..].sort();
    measures.dedup_by(|a, b| a.1 == b.1);
    measures.truncate(MEASURES_MAX);
    for (k, kind) in kinds.iter_mut().enumerate() {
        let least = |(_, fills): &(i128, Vec<Vec<i64>>)| {
            kind.turns.iter().zip(&fills[k]).map(|(turn, fill)| turn.long * fill).min().unwrap_or(0)
        };
        kind.least = measures.iter().map(least).collect();
        for (t, turn) in kind.turns.iter_mut().enumerate() {
            turn.fills = measures.iter().map(|(_, fills)| fills[k][t]).collect();
        }
    }
    vec![whole; measures.len()]
}
