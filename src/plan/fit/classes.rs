//! A complete search for few pieces, over packing classes (Fekete, Schepers, van der Veen,
//! arXiv cs/0310032, cs/0604045; turns are added here).
//!
//! For every pair of pieces and every axis it is open whether the two are *apart* there or
//! *overlap*. A packing exists exactly if some assignment makes every pair apart on at least
//! one axis such that, on each axis, the pieces that are apart can be strung out within the
//! side. The search decides turn by turn and pair by pair, draws the consequences, and ends
//! in a placement or in a proof. It ignores the laws of the bench.

use super::refute::{fitting_turns, reachable};
use super::{At, Piece, Sides};

/// Pieces beyond this number are left to the constructive starts.
pub const SEARCH_PIECES_MAX: usize = 16;

/// Steps for stringing out one axis of one leaf.
const STRING_STEPS_MAX: u32 = 4_000;

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
struct Pairs([Set; SEARCH_PIECES_MAX]);

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
    /// Turns left of each piece, one bit each.
    turns: [u8; SEARCH_PIECES_MAX],
    apart: [Pairs; 3],
    overlap: [Pairs; 3],
}

struct Search<'a> {
    room: Sides,
    turns: &'a [Vec<Sides>],
    /// The piece (in the order of the search) equals the one before it.
    equal_to_last: Vec<bool>,
    nodes_left: u32,
    gave_up: bool,
}

/// Searches within `nodes` nodes.
pub fn search(room: Sides, pieces: &[Piece], nodes: u32) -> Outcome {
    if pieces.len() > SEARCH_PIECES_MAX || nodes == 0 {
        return Outcome::Spent;
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
    let mut start = Node { turns: [0; SEARCH_PIECES_MAX], apart: Default::default(), overlap: Default::default() };
    for (k, of) in turns.iter().enumerate() {
        start.turns[k] = ((1u16 << of.len()) - 1) as u8;
    }
    let reduced = reachable(room, &turns);
    let mut search = Search { room: reduced, turns: &turns, equal_to_last, nodes_left: nodes, gave_up: false };
    match search.go(start) {
        Some(places) => Outcome::Found(
            (0..pieces.len())
                .map(|piece| {
                    // `order` is a permutation, so every piece is found in it.
                    let k = order.iter().position(|&p| p == piece).unwrap_or(0);
                    At { piece, at: places[k].0, size: places[k].1 }
                })
                .collect(),
        ),
        None if search.gave_up => Outcome::Spent,
        None => Outcome::Cannot,
    }
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
    fn least(&self, node: &Node) -> ([[i64; SEARCH_PIECES_MAX]; 3], [[i64; SEARCH_PIECES_MAX]; 3]) {
        let mut side = [[i64::MAX; SEARCH_PIECES_MAX]; 3];
        let mut face = [[i64::MAX; SEARCH_PIECES_MAX]; 3];
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
                    (self.room[axis] - side[axis][j] - side[axis][k]) * 1000 / self.room[axis].max(1)
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
                return true;
            }
        }
    }

    /// Turns with which the piece still goes beside all that must be apart from it.
    fn turns_left(&self, node: &Node, side: &[[i64; SEARCH_PIECES_MAX]; 3], k: usize) -> u8 {
        let mut kept = node.turns[k];
        for (t, turn) in self.turns[k].iter().enumerate() {
            if kept >> t & 1 == 1 {
                let breaks = |axis: usize| {
                    heavier(node.apart[axis].0[k], &node.apart[axis], &side[axis], self.room[axis] - turn[axis])
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
        side: &[[i64; SEARCH_PIECES_MAX]; 3],
        face: &[[i64; SEARCH_PIECES_MAX]; 3],
        a: usize,
        b: usize,
        axis: usize,
    ) -> Option<bool> {
        let (is_apart, is_overlap) = (node.apart[axis].has(a, b), node.overlap[axis].has(a, b));
        if is_apart && is_overlap {
            return None;
        }
        let apart = &node.apart[axis];
        let room = self.room[axis] - side[axis][a] - side[axis][b];
        let cannot_apart = !is_overlap && heavier(apart.0[a] & apart.0[b], apart, &side[axis], room);
        let overlap = &node.overlap[axis];
        let whole = self.room[(axis + 1) % 3] * self.room[(axis + 2) % 3];
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
            let mut string = Stringing {
                apart: &node.apart[axis],
                lengths: &lengths,
                side: self.room[axis],
                from: vec![None; lengths.len()],
                steps_left: STRING_STEPS_MAX,
            };
            if !string.go(0, 0) {
                // Out of steps is no proof.
                self.gave_up |= string.steps_left == 0;
                return None;
            }
            for (place, from) in places.iter_mut().zip(&string.from) {
                place.0[axis] = from.unwrap_or(0);
            }
        }
        Some(places)
    }
}

/// Is there a clique within `set` that weighs more than `limit`?
fn heavier(set: Set, pairs: &Pairs, weight: &[i64; SEARCH_PIECES_MAX], limit: i64) -> bool {
    if limit < 0 {
        return true;
    }
    let mut rest = set;
    let mut sum: i64 = members(set).map(|k| weight[k]).sum();
    while sum > limit {
        let k = rest.trailing_zeros() as usize;
        if k >= SEARCH_PIECES_MAX {
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

fn members(set: Set) -> impl Iterator<Item = usize> {
    (0..SEARCH_PIECES_MAX).filter(move |k| set >> k & 1 == 1)
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

/// Places intervals of given lengths on a side so that those that are apart do not overlap.
struct Stringing<'a> {
    apart: &'a Pairs,
    lengths: &'a [i64],
    side: i64,
    from: Vec<Option<i64>>,
    steps_left: u32,
}

impl Stringing<'_> {
    /// Every solution can be pushed to the left; then it is found by adding intervals in the
    /// order of their starts, each as far left as those before it allow.
    fn go(&mut self, placed: usize, last: i64) -> bool {
        if placed == self.lengths.len() {
            return true;
        }
        if self.steps_left == 0 {
            return false;
        }
        self.steps_left -= 1;
        let mut options: Vec<(i64, usize)> = Vec::new();
        for k in 0..self.lengths.len() {
            if self.from[k].is_some() {
                continue;
            }
            let start = members(self.apart.0[k])
                .filter_map(|other| self.from.get(other).copied().flatten().map(|from| from + self.lengths[other]))
                .max()
                .unwrap_or(0);
            if start + self.lengths[k] > self.side {
                return false;
            }
            if start >= last {
                options.push((start, k));
            }
        }
        options.sort_by_key(|&(start, k)| (start, std::cmp::Reverse(self.lengths[k])));
        for (start, k) in options {
            self.from[k] = Some(start);
            if self.go(placed + 1, start) {
                return true;
            }
            self.from[k] = None;
            if self.steps_left == 0 {
                return false;
            }
        }
        false
    }
}
