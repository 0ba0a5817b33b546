//! What the search that learns asks of lengths: chains of pieces that lie before each other.

use super::Sides;
use super::string::PIECES_MAX;
use batsat::theory::{Theory, TheoryArg};
use batsat::{Callbacks, Lit, Solver, SolverInterface, lbool};
use std::cell::Cell;
use std::rc::Rc;

/// Ends the search when no look is left.
pub struct Budget(pub Rc<Cell<u64>>);

impl Callbacks for Budget {
    fn stop(&self) -> bool {
        self.0.get() == 0
    }
}

/// What a literal says when it is true.
#[derive(Clone, Copy)]
enum Says {
    /// The piece lies this way round.
    Turn(usize, usize),
    /// On this side the first lies wholly before the second.
    Before(usize, usize, usize),
}

/// A piece's place in the longest chain that ends (or begins) with it on one side.
#[derive(Clone, Copy, Default)]
struct Link {
    /// Where it begins at the earliest; or what is needed from its beginning on.
    far: i64,
    /// The neighbour towards the end of the chain.
    next: Option<u8>,
}

/// What the decided literals come to.
#[derive(Clone)]
struct State {
    /// Of the decided literals so many are taken in.
    seen: usize,
    /// Sides on which chains may have grown since it was drawn what follows.
    grown: [bool; 3],
    /// Ways round that are not ruled out, one bit each.
    open: [u8; PIECES_MAX],
    /// Least length over these, by side.
    least: [[i64; PIECES_MAX]; 3],
    /// Which pieces lie behind a piece, by side.
    behind: [[u16; PIECES_MAX]; 3],
    from_front: [[Link; PIECES_MAX]; 3],
    to_back: [[Link; PIECES_MAX]; 3],
}

/// The theory: takes in what is decided, draws what follows, and explains what cannot be.
pub struct Chains {
    room: Sides,
    turns: Vec<Vec<Sides>>,
    turn_lits: Vec<Vec<Lit>>,
    /// By side, earlier and later piece; the diagonal is never asked for.
    pub before_lits: [Vec<Vec<Lit>>; 3],
    says: Vec<Says>,
    /// Least over all ways round, whatever is decided.
    least_ever: [[i64; PIECES_MAX]; 3],
    now: State,
    /// As it was when each level was begun.
    before: Vec<State>,
    /// Why a literal follows, by its number.
    because: Vec<Vec<Lit>>,
    left: Rc<Cell<u64>>,
    /// Places and sides of all pieces, once a packing is found.
    pub found: Vec<(Sides, Sides)>,
}

impl Chains {
    /// A literal for each way round and each "before".
    pub fn new(room: Sides, turns: Vec<Vec<Sides>>, solver: &mut Solver<Budget>, left: Rc<Cell<u64>>) -> Self {
        let count = turns.len();
        let mut says = Vec::new();
        let mut new_lit = |what: Says| {
            says.push(what);
            // Decided to be so first: what lies before what is where chains come from.
            Lit::new(solver.new_var(lbool::TRUE, true), true)
        };
        let turn_lits: Vec<Vec<Lit>> =
            (0..count).map(|k| (0..turns[k].len()).map(|t| new_lit(Says::Turn(k, t))).collect()).collect();
        let before_lits = [0, 1, 2].map(|axis| {
            let mut row = |a: usize| -> Vec<Lit> {
                let lit = |b: usize| if a == b { turn_lits[a][0] } else { new_lit(Says::Before(axis, a, b)) };
                (0..count).map(lit).collect()
            };
            (0..count).map(&mut row).collect()
        });
        let least_ever = [0, 1, 2].map(|axis| {
            let mut least = [0; PIECES_MAX];
            for (k, of) in turns.iter().enumerate() {
                least[k] = of.iter().map(|turn| turn[axis]).min().unwrap_or(0);
            }
            least
        });
        let mut now = State {
            seen: 0,
            grown: [true; 3],
            open: [0; PIECES_MAX],
            least: least_ever,
            behind: Default::default(),
            from_front: Default::default(),
            to_back: [0, 1, 2].map(|axis| least_ever[axis].map(|far| Link { far, next: None })),
        };
        for (open, of) in now.open.iter_mut().zip(&turns) {
            *open = ((1u16 << of.len()) - 1) as u8;
        }
        let because = vec![Vec::new(); says.len() * 2];
        Self {
            room,
            turns,
            turn_lits,
            before_lits,
            says,
            least_ever,
            now,
            before: Vec::new(),
            because,
            left,
            found: Vec::new(),
        }
    }

    /// Writes down the clauses.
    pub fn state(&self, solver: &mut Solver<Budget>, alike: impl Fn(usize, usize) -> bool) {
        let count = self.turns.len();
        let mut add = |mut clause: Vec<Lit>| solver.add_clause_reuse(&mut clause);
        for of in &self.turn_lits {
            add(of.clone());
            for a in 0..of.len() {
                for b in a + 1..of.len() {
                    add(vec![!of[a], !of[b]]);
                }
            }
        }
        for a in 0..count {
            for b in a + 1..count {
                let ways = (0..3).flat_map(|axis| [self.before_lits[axis][a][b], self.before_lits[axis][b][a]]);
                add(ways.collect());
                for axis in 0..3 {
                    add(vec![!self.before_lits[axis][a][b], !self.before_lits[axis][b][a]]);
                    // Of pieces alike the first begins first on the first side.
                    if axis == 0 && alike(a, b) {
                        add(vec![!self.before_lits[0][b][a]]);
                    }
                }
            }
        }
        // A packing can be mirrored along each side. On the first one that could undo the order above.
        let alone = |k: usize| (0..count).all(|other| other == k || !alike(k, other));
        if count > 1 {
            for axis in 0..3 {
                if axis > 0 || (alone(0) && alone(1)) {
                    add(vec![!self.before_lits[axis][1][0]]);
                }
            }
        }
    }

    /// Takes in what was decided since, and finds the longest chains. A side that is overfull is told.
    fn take_in(&mut self, decided: &[Lit]) -> Option<usize> {
        let now = &mut self.now;
        for lit in &decided[now.seen.min(decided.len())..] {
            match (self.says[lit.var().idx() as usize], lit.sign()) {
                (Says::Turn(k, t), is) => {
                    now.open[k] &= if is { 1 << t } else { !(1 << t) };
                    for axis in 0..3 {
                        let open = self.turns[k].iter().enumerate().filter(|(t, _)| now.open[k] >> t & 1 == 1);
                        let least = open.map(|(_, turn)| turn[axis]).min().unwrap_or(now.least[axis][k]);
                        if least > now.least[axis][k] {
                            now.to_back[axis][k].far += least - now.least[axis][k];
                            now.least[axis][k] = least;
                            now.grown[axis] = true;
                        }
                    }
                }
                (Says::Before(axis, a, b), true) => {
                    now.behind[axis][a] |= 1 << b;
                    now.grown[axis] = true;
                }
                (Says::Before(..), false) => {}
            }
        }
        now.seen = decided.len();
        (0..3).find(|&axis| self.now.grown[axis] && !self.measure(axis))
    }

    /// The longest chains on one side, which only grow while more is decided; false where one is
    /// longer than the room.
    fn measure(&mut self, axis: usize) -> bool {
        let count = self.turns.len();
        let (now, room) = (&mut self.now, self.room[axis]);
        let (least, front, back) = (&now.least[axis], &mut now.from_front[axis], &mut now.to_back[axis]);
        if (0..count).any(|k| front[k].far + least[k] > room) {
            return false;
        }
        loop {
            let mut changed = false;
            for a in 0..count {
                let mut behind = now.behind[axis][a];
                while behind != 0 {
                    let b = behind.trailing_zeros() as usize;
                    behind &= behind - 1;
                    if front[a].far + least[a] > front[b].far {
                        front[b] = Link { far: front[a].far + least[a], next: Some(a as u8) };
                        changed = true;
                        if front[b].far + least[b] > room {
                            return false;
                        }
                    }
                    if back[b].far + least[a] > back[a].far {
                        back[a] = Link { far: back[b].far + least[a], next: Some(b as u8) };
                        changed = true;
                    }
                }
            }
            if !changed {
                return true;
            }
        }
    }

    /// Pieces of the longest chain in front of a piece (or behind it), from the piece on.
    fn chain(links: &[Link; PIECES_MAX], from: usize) -> Vec<usize> {
        let mut chain = vec![from];
        while let Some(next) = links[chain[chain.len() - 1]].next {
            // A ring is longer than any room; it is cut where it closes.
            if chain.contains(&usize::from(next)) {
                chain.push(usize::from(next));
                break;
            }
            chain.push(usize::from(next));
        }
        chain
    }

    /// Why these are so long: ways round that are ruled out. `over` is by how much the chain is
    /// longer than need be to be too long: lengths that it can do without need no reason.
    fn because_long(&self, axis: usize, chain: &[usize], over: &mut i64, why: &mut Vec<Lit>) {
        for &k in chain {
            let (is, ever) = (self.now.least[axis][k], self.least_ever[axis][k]);
            if is - ever <= *over {
                *over -= is - ever;
                continue;
            }
            for (t, turn) in self.turns[k].iter().enumerate() {
                if turn[axis] < is {
                    why.push(!self.turn_lits[k][t]);
                }
            }
        }
    }

    /// The clause that a chain is too long, as true literals that cannot all be.
    fn overfull(&self, axis: usize) -> Vec<Lit> {
        let (front, least) = (&self.now.from_front[axis], &self.now.least[axis]);
        let last = (0..self.turns.len()).max_by_key(|&k| front[k].far + least[k]).unwrap_or(0);
        let chain = Self::chain(front, last);
        let mut why: Vec<Lit> = chain.windows(2).map(|pair| self.before_lits[axis][pair[1]][pair[0]]).collect();
        // A ring cannot be, whatever the lengths.
        let ends = chain[chain.len() - 1];
        if let Some(begins) = chain[..chain.len() - 1].iter().position(|&k| k == ends) {
            return why.split_off(begins);
        }
        let mut over = front[last].far + least[last] - self.room[axis] - 1;
        self.because_long(axis, &chain, &mut over, &mut why);
        why
    }

    /// Draws what follows; stops at the first that contradicts.
    fn follow(&mut self, acts: &mut TheoryArg<'_>) {
        let count = self.turns.len();
        for axis in 0..3 {
            if !std::mem::take(&mut self.now.grown[axis]) {
                continue;
            }
            for a in 0..count {
                for t in 0..self.turns[a].len() {
                    let lit = self.turn_lits[a][t];
                    let needed =
                        self.now.from_front[axis][a].far + self.turns[a][t][axis] + self.now.to_back[axis][a].far
                            - self.now.least[axis][a];
                    if needed > self.room[axis] && acts.value(lit.var()) == lbool::UNDEF {
                        let (front, back) =
                            (Self::chain(&self.now.from_front[axis], a), Self::chain(&self.now.to_back[axis], a));
                        let mut over = needed - self.room[axis] - 1;
                        let mut why = self.through(axis, &front[1..], &back[1..], &mut over);
                        why.extend(front.windows(2).take(1).map(|p| self.before_lits[axis][p[1]][p[0]]));
                        why.extend(back.windows(2).take(1).map(|p| self.before_lits[axis][p[0]][p[1]]));
                        if !self.follows(!lit, why, acts) {
                            return;
                        }
                    }
                }
                for b in 0..count {
                    let lit = self.before_lits[axis][a][b];
                    let needed =
                        self.now.from_front[axis][a].far + self.now.least[axis][a] + self.now.to_back[axis][b].far;
                    if a != b && needed > self.room[axis] && acts.value(lit.var()) == lbool::UNDEF {
                        let (front, back) =
                            (Self::chain(&self.now.from_front[axis], a), Self::chain(&self.now.to_back[axis], b));
                        let mut over = needed - self.room[axis] - 1;
                        let why = self.through(axis, &front, &back, &mut over);
                        if !self.follows(!lit, why, acts) {
                            return;
                        }
                    }
                }
            }
        }
    }

    /// Reasons along a chain towards the front and one towards the back.
    fn through(&self, axis: usize, front: &[usize], back: &[usize], over: &mut i64) -> Vec<Lit> {
        let mut why: Vec<Lit> = front.windows(2).map(|pair| self.before_lits[axis][pair[1]][pair[0]]).collect();
        why.extend(back.windows(2).map(|pair| self.before_lits[axis][pair[0]][pair[1]]));
        self.because_long(axis, front, over, &mut why);
        self.because_long(axis, back, over, &mut why);
        why
    }

    fn follows(&mut self, lit: Lit, why: Vec<Lit>, acts: &mut TheoryArg<'_>) -> bool {
        self.because[lit.idx() as usize] = why;
        acts.propagate(lit)
    }

    fn look(&mut self, acts: &mut TheoryArg<'_>) -> bool {
        self.left.set(self.left.get().saturating_sub(1));
        if let Some(axis) = self.take_in(acts.model()) {
            let clause: Vec<Lit> = self.overfull(axis).into_iter().map(|lit| !lit).collect();
            acts.raise_conflict(&clause, false);
            return false;
        }
        true
    }
}

impl Theory for Chains {
    fn final_check(&mut self, acts: &mut TheoryArg<'_>) {
        if !self.look(acts) {
            return;
        }
        let place = |k: usize| {
            let turn = self.turns[k][self.now.open[k].trailing_zeros() as usize % self.turns[k].len()];
            ([0, 1, 2].map(|axis| self.now.from_front[axis][k].far), turn)
        };
        self.found = (0..self.turns.len()).map(place).collect();
    }

    fn create_level(&mut self) {
        self.before.push(self.now.clone());
    }

    fn pop_levels(&mut self, n: usize) {
        let keep = self.before.len() - n;
        if let Some(state) = self.before.drain(keep..).next() {
            self.now = state;
        }
    }

    fn n_levels(&self) -> usize {
        self.before.len()
    }

    fn partial_check(&mut self, acts: &mut TheoryArg<'_>) {
        if self.look(acts) {
            self.follow(acts);
        }
    }

    fn explain_propagation(&mut self, lit: Lit) -> &[Lit] {
        &self.because[lit.idx() as usize]
    }
}
