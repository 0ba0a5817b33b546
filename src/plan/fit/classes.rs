//! A complete search for few pieces, over packing classes (Fekete, Schepers, van der Veen,
//! arXiv cs/0310032, cs/0604045; turns are added here).
//!
//! For every pair of pieces and every axis it is open whether the two are *apart* there or
//! *overlap*. A packing exists exactly if some assignment makes every pair apart on at least
//! one axis such that, on each axis, the pieces that are apart can be strung out within the
//! side. The search decides turn by turn and pair by pair, draws the consequences, and ends
//! in a placement or in a proof. It ignores the laws of the bench.

use super::refute::{broken_dual_bound, fitting_turns, needed_volume, reachable, volume};
use super::string::{Strung, string};
use super::{At, Piece, Sides};

/// Pieces beyond this number are left to the constructive starts.
pub const PIECES_MAX: usize = 16;

/// Steps for stringing out one axis of one leaf.
const STRING_STEPS_MAX: u32 = 20_000;

/// Steps for it while more is to be decided.
const STRING_STEPS_AHEAD: u32 = 24;

/// The dual bound is dear: it is looked at only while at most one piece in so many has a turn.
const DUAL_SHARE: usize = 4;

/// What the search came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// A placement.
    Found(Vec<At>),
    /// Everything was tried.
    Cannot,
    /// The budget was spent.
    Spent,
}

/// A set of pieces, one bit each.
type Set = u16;

/// Pairs on one axis.
#[derive(Clone, Copy, Default)]
pub(super) struct Pairs(pub(super) [Set; PIECES_MAX]);

impl Pairs {
    fn has(&self, a: usize, b: usize) -> bool {
        self.0[a] >> b & 1 == 1
    }
    fn add(&mut self, a: usize, b: usize) {
        self.0[a] |= 1 << b;
        self.0[b] |= 1 << a;
    }
}

/// What is decided so far.
#[derive(Clone, Copy)]
struct Node {
    /// Sides of the room, as far as pieces can reach with the turns left.
    room: Sides,
    /// Turns left of each piece, one bit each.
    turns: [u8; PIECES_MAX],
    apart: [Pairs; 3],
    overlap: [Pairs; 3],
}

struct Search<'a> {
    turns: &'a [Vec<Sides>],
    /// The piece (in the order of the search) equals the one before it.
    equal_to_last: Vec<bool>,
    nodes_left: u32,
    gave_up: bool,
    /// A leaf was left that could neither be strung out nor refuted.
    unsure: bool,
}

/// Searches within `nodes` nodes; says as well how many it took.
pub fn search(room: Sides, pieces: &[Piece], nodes: u32) -> (Outcome, u32) {
    if pieces.len() > PIECES_MAX || nodes == 0 {
        return (Outcome::Spent, 0);
    }
    // Large ones first; equal ones side by side, so that they can be told apart by turn only.
    let mut order: Vec<usize> = (0..pieces.len()).collect();
    order.sort_by(|&a, &b| {
        pieces[b].volume().cmp(&pieces[a].volume()).then_with(|| pieces[a].cmp(&pieces[b])).then(a.cmp(&b))
    });
    let turns: Vec<Vec<Sides>> = order.iter().map(|&index| fitting_turns(room, &pieces[index])).collect();
    let mut equal_to_last = vec![false; order.len()];
    for k in 1..order.len() {
        let (a, b) = (&pieces[order[k]], &pieces[order[k - 1]]);
        equal_to_last[k] = a.sides == b.sides && a.turn == b.turn;
    }
    let mut start = Node {
        room: reachable(room, &turns),
        turns: [0; PIECES_MAX],
        apart: Default::default(),
        overlap: Default::default(),
    };
    for (k, of) in turns.iter().enumerate() {
        start.turns[k] = ((1u16 << of.len()) - 1) as u8;
    }
    let mut search = Search { turns: &turns, equal_to_last, nodes_left: nodes, gave_up: false, unsure: false };
    let outcome = match search.go(start) {
        Some(places) => Outcome::Found(
            (0..pieces.len())
                .map(|piece| {
                    // `order` is a permutation, so every piece is found in it.
                    let k = order.iter().position(|&p| p == piece).unwrap_or(0);
                    At { piece, at: places[k].0, size: places[k].1 }
                })
                .collect(),
        ),
        None if search.gave_up || search.unsure => Outcome::Spent,
        None => Outcome::Cannot,
    };
    (outcome, nodes - search.nodes_left)
}

/// The next thing to decide.
enum Choice {
    Turn(usize),
    Pair(usize, usize, usize),
    Nothing,
}

impl Search<'_> {
    fn count(&self) -> usize {
        self.turns.len()
    }

    /// Smallest extents on each axis over the turns left, and smallest cross-sections.
    fn least(&self, node: &Node) -> ([[i64; PIECES_MAX]; 3], [[i64; PIECES_MAX]; 3]) {
        let mut side = [[i64::MAX; PIECES_MAX]; 3];
        let mut face = [[i64::MAX; PIECES_MAX]; 3];
        for k in 0..self.count() {
            for (t, turn) in self.turns[k].iter().enumerate() {
                if node.turns[k] >> t & 1 == 1 {
                    for axis in 0..3 {
                        side[axis][k] = side[axis][k].min(turn[axis]);
                        face[axis][k] = face[axis][k].min(turn[(axis + 1) % 3] * turn[(axis + 2) % 3]);
                    }
                }
            }
        }
        (side, face)
    }

    /// Depth is bounded: each level decides a turn or a pair on an axis for good.
    fn go(&mut self, mut node: Node) -> Option<Vec<(Sides, Sides)>> {
        if self.nodes_left == 0 {
            self.gave_up = true;
            return None;
        }
        self.nodes_left -= 1;
        if !self.draw_consequences(&mut node) {
            return None;
        }
        match self.choose(&node) {
            Choice::Turn(k) => {
                for t in 0..self.turns[k].len() {
                    if node.turns[k] >> t & 1 == 1 {
                        let mut child = node;
                        child.turns[k] = 1 << t;
                        if !self.shrink(&mut child, k) {
                            continue;
                        }
                        if let found @ Some(_) = self.go(child) {
                            return found;
                        }
                        if self.gave_up {
                            return None;
                        }
                    }
                }
                None
            }
            Choice::Pair(a, b, axis) => {
                let mut child = node;
                child.apart[axis].add(a, b);
                if let found @ Some(_) = self.go(child) {
                    return found;
                }
                if self.gave_up {
                    return None;
                }
                node.overlap[axis].add(a, b);
                self.go(node)
            }
            Choice::Nothing => self.place(&node),
        }
    }

    /// With a turn decided fewer lengths can be reached, and less may go in: false if too little.
    fn shrink(&self, node: &mut Node, k: usize) -> bool {
        let left: Vec<Vec<Sides>> = (self.turns.iter().zip(node.turns))
            .map(|(all, kept)| {
                let kept = all.iter().enumerate().filter(|(t, _)| kept >> t & 1 == 1);
                kept.map(|(_, turn)| *turn).collect()
            })
            .collect();
        node.room = reachable(node.room, &left);
        needed_volume(&left) <= volume(node.room)
            && (k > self.count() / DUAL_SHARE || !broken_dual_bound(node.room, &left))
    }

    /// Piece by piece: its turn, then its pair with an earlier one that has the fewest axes left.
    fn choose(&self, node: &Node) -> Choice {
        let (side, _) = self.least(node);
        for k in 0..self.count() {
            if node.turns[k].count_ones() > 1 {
                return Choice::Turn(k);
            }
            let mut best: Option<(u32, i64, Choice)> = None;
            for j in 0..k {
                if (0..3).any(|axis| node.apart[axis].has(j, k)) {
                    continue;
                }
                let open = (0..3).filter(|&axis| !node.overlap[axis].has(j, k));
                let left = open.clone().count() as u32;
                // Apart where it leaves the most room.
                let roomy = open.max_by_key(|&axis| {
                    (node.room[axis] - side[axis][j] - side[axis][k]) * 1000 / node.room[axis].max(1)
                });
                let size = side[0][j] + side[1][j] + side[2][j];
                if let Some(axis) = roomy
                    && best.as_ref().is_none_or(|&(l, s, _)| (left, -size) < (l, s))
                {
                    best = Some((left, -size, Choice::Pair(j, k, axis)));
                }
            }
            if let Some((_, _, choice)) = best {
                return choice;
            }
        }
        Choice::Nothing
    }

    /// Applies all rules until nothing changes; false if the node is refuted.
    fn draw_consequences(&self, node: &mut Node) -> bool {
        let n = self.count();
        // Equal pieces: their turns do not go down.
        for k in 1..n {
            if self.equal_to_last[k] {
                let least = node.turns[k - 1].trailing_zeros();
                node.turns[k] &= (0xFFu16 << least) as u8;
                if node.turns[k] == 0 {
                    return false;
                }
            }
        }
        loop {
            let mut changed = false;
            let (side, face) = self.least(node);
            for k in 0..n {
                let kept = self.turns_left(node, &side, k);
                if kept == 0 {
                    return false;
                }
                changed |= kept != node.turns[k];
                node.turns[k] = kept;
            }
            for a in 0..n {
                for b in a + 1..n {
                    for axis in 0..3 {
                        match self.pair_rule(node, &side, &face, a, b, axis) {
                            None => return false,
                            Some(c) => changed |= c,
                        }
                    }
                    let overlapping = (0..3).filter(|&axis| node.overlap[axis].has(a, b)).count();
                    if overlapping == 3 {
                        return false;
                    }
                    if overlapping == 2
                        && let Some(axis) = (0..3).find(|&axis| !node.overlap[axis].has(a, b))
                        && !node.apart[axis].has(a, b)
                    {
                        node.apart[axis].add(a, b);
                        changed = true;
                    }
                }
            }
            for axis in 0..3 {
                match cycles(&mut node.apart[axis], &mut node.overlap[axis], n) {
                    None => return false,
                    Some(c) => changed |= c,
                }
            }
            if !changed {
                return (0..3).all(|axis| {
                    let lengths = &side[axis][..n];
                    string(&node.apart[axis], lengths, node.room[axis], STRING_STEPS_AHEAD) != Strung::Never
                });
            }
        }
    }

    /// Turns with which the piece still goes beside all that must be apart from it.
    fn turns_left(&self, node: &Node, side: &[[i64; PIECES_MAX]; 3], k: usize) -> u8 {
        let mut kept = node.turns[k];
        for (t, turn) in self.turns[k].iter().enumerate() {
            if kept >> t & 1 == 1 {
                let breaks = |axis: usize| {
                    heavier(node.apart[axis].0[k], &node.apart[axis], &side[axis], node.room[axis] - turn[axis])
                };
                if (0..3).any(breaks) {
                    kept &= !(1 << t);
                }
            }
        }
        kept
    }

    /// Apart pieces must go side by side into the side, overlapping ones share a point and
    /// thus must go beside each other into the cross-section. `None` refutes.
    fn pair_rule(
        &self,
        node: &mut Node,
        side: &[[i64; PIECES_MAX]; 3],
        face: &[[i64; PIECES_MAX]; 3],
        a: usize,
        b: usize,
        axis: usize,
    ) -> Option<bool> {
        let (is_apart, is_overlap) = (node.apart[axis].has(a, b), node.overlap[axis].has(a, b));
        if is_apart && is_overlap {
            return None;
        }
        let apart = &node.apart[axis];
        let room = node.room[axis] - side[axis][a] - side[axis][b];
        let cannot_apart = !is_overlap && heavier(apart.0[a] & apart.0[b], apart, &side[axis], room);
        let overlap = &node.overlap[axis];
        let whole = node.room[(axis + 1) % 3] * node.room[(axis + 2) % 3];
        let area = whole - face[axis][a] - face[axis][b];
        let cannot_overlap = !is_apart && heavier(overlap.0[a] & overlap.0[b], overlap, &face[axis], area);
        match (cannot_apart, cannot_overlap) {
            (true, true) => None,
            (true, false) if is_apart => None,
            (false, true) if is_overlap => None,
            (true, false) => {
                node.overlap[axis].add(a, b);
                Some(true)
            }
            (false, true) => {
                node.apart[axis].add(a, b);
                Some(true)
            }
            (false, false) => Some(false),
        }
    }

    /// Strings out each axis; all turns are decided.
    fn place(&mut self, node: &Node) -> Option<Vec<(Sides, Sides)>> {
        let sizes: Vec<Sides> =
            (0..self.count()).map(|k| self.turns[k][node.turns[k].trailing_zeros() as usize]).collect();
        let mut places: Vec<(Sides, Sides)> = sizes.iter().map(|&size| ([0; 3], size)).collect();
        for axis in 0..3 {
            let lengths: Vec<i64> = sizes.iter().map(|size| size[axis]).collect();
            match string(&node.apart[axis], &lengths, node.room[axis], STRING_STEPS_MAX) {
                Strung::At(starts) => {
                    places.iter_mut().zip(starts).for_each(|(place, start)| place.0[axis] = start);
                }
                Strung::Never => return None,
                Strung::Spent => {
                    // No proof; another leaf may still be one that can be strung out.
                    self.unsure = true;
                    return None;
                }
            }
        }
        Some(places)
    }
}

/// Is there a clique within `set` that weighs more than `limit`?
fn heavier(set: Set, pairs: &Pairs, weight: &[i64; PIECES_MAX], limit: i64) -> bool {
    if limit < 0 {
        return true;
    }
    let mut rest = set;
    let mut sum: i64 = members(set).map(|k| weight[k]).sum();
    while sum > limit {
        let k = rest.trailing_zeros() as usize;
        if k >= PIECES_MAX {
            return false;
        }
        rest &= !(1 << k);
        if heavier(rest & pairs.0[k], pairs, weight, limit - weight[k]) {
            return true;
        }
        sum -= weight[k];
    }
    false
}

pub(super) fn members(set: Set) -> impl Iterator<Item = usize> {
    (0..PIECES_MAX).filter(move |k| set >> k & 1 == 1)
}

/// Overlaps on a line have no chordless cycle of four. `None` refutes; else: did it change?
fn cycles(apart: &mut Pairs, overlap: &mut Pairs, n: usize) -> Option<bool> {
    let mut changed = false;
    // The cycle a-b-c-d with the chords a-c and b-d.
    for a in 0..n {
        for c in a + 1..n {
            let both = overlap.0[a] & overlap.0[c];
            if both.count_ones() < 2 || overlap.has(a, c) {
                continue;
            }
            for b in members(both) {
                for d in members(both).filter(|&d| d > b) {
                    if overlap.has(b, d) {
                        continue;
                    }
                    match (apart.has(a, c), apart.has(b, d)) {
                        (true, true) => return None,
                        (true, false) => {
                            overlap.add(b, d);
                            changed = true;
                        }
                        (false, true) => {
                            overlap.add(a, c);
                            changed = true;
                        }
                        (false, false) => {}
                    }
                }
            }
        }
    }
    Some(changed)
}
