//! A complete search that learns: what stood in the way once is remembered as a clause.
//!
//! For each pair and side it is open whether one lies wholly before the other, for each piece
//! which way round it is. Of every pair one must lie before the other on some side; along each
//! side, chains of pieces that lie before each other must be no longer than the room. The clauses
//! are a general solver's work (conflict-driven clause learning, as in MiniSat, Eén and
//! Sörensson 2003, here by the crate `batsat`); the chains are the theory it asks (difference
//! logic with lengths that depend on the way round): each conflict is explained by the pieces of
//! one chain alone, so that it is never run into again elsewhere.
//!
//! Strong where many ways round compete; slices are strong where many pieces are alike.

use super::chains::{Budget, Chains};
use super::refute::{fitting_turns, reachable};
use super::string::PIECES_MAX;
use super::{At, Outcome, Piece, Sides, largest_first};
use batsat::{Solver, SolverInterface, SolverOpts, lbool};
use std::cell::Cell;
use std::rc::Rc;

/// So many learnt clauses are kept at least ...
const LEARNT_MIN: i32 = 5_000;

/// ... and this many times as many after each adjustment.
const LEARNT_GROWTH: f64 = 1.02;

/// A search that goes on where it was left: it keeps what it learnt.
pub struct Learning {
    search: Search,
    /// The piece at each place of the search.
    order: Vec<usize>,
}

impl Learning {
    /// Nothing searched yet; `None`: too many pieces.
    pub fn new(room: Sides, pieces: &[Piece]) -> Option<Self> {
        if pieces.len() > PIECES_MAX {
            return None;
        }
        let order = largest_first(pieces);
        let turns: Vec<Vec<Sides>> = order.iter().map(|&k| fitting_turns(room, &pieces[k])).collect();
        let room = reachable(room, &turns);
        let options =
            SolverOpts { min_learnts_lim: LEARNT_MIN, learntsize_inc: LEARNT_GROWTH, ..SolverOpts::default() };
        let mut search = Search::new(room, turns, options);
        search.chains.state(&mut search.solver, |a, b| pieces[order[a]].is_like(&pieces[order[b]]));
        Some(Self { search, order })
    }

    /// Searches within so many more looks at the chains; says as well how many it took.
    pub fn go_on(&mut self, looks: u64) -> (Outcome, u64) {
        if looks == 0 {
            return (Outcome::Spent, 0);
        }
        let (mut outcome, spent) = self.search.go_on(looks);
        if let Outcome::Found(places) = &mut outcome {
            places.iter_mut().for_each(|at| at.piece = self.order[at.piece]);
            places.sort_by_key(|at| at.piece);
        }
        (outcome, spent)
    }
}

/// Searches with all ways round decided and, along one side, which pairs are apart there.
pub fn search_along(
    room: Sides,
    sizes: &[Sides],
    axis: usize,
    is_apart: impl Fn(usize, usize) -> bool,
    looks: u64,
) -> (Outcome, u64) {
    let turns: Vec<Vec<Sides>> = sizes.iter().map(|size| vec![*size]).collect();
    let mut search = Search::new(room, turns, SolverOpts::default());
    search.chains.state(&mut search.solver, |_, _| false);
    for a in 0..sizes.len() {
        for b in a + 1..sizes.len() {
            let (ab, ba) = (search.chains.before_lits[axis][a][b], search.chains.before_lits[axis][b][a]);
            if is_apart(a, b) {
                search.solver.add_clause_reuse(&mut vec![ab, ba]);
            } else {
                search.solver.add_clause_reuse(&mut vec![!ab]);
                search.solver.add_clause_reuse(&mut vec![!ba]);
            }
        }
    }
    search.go_on(looks)
}

/// A solver with its theory, and the looks that both may still take.
struct Search {
    solver: Solver<Budget>,
    chains: Chains,
    left: Rc<Cell<u64>>,
}

impl Search {
    fn new(room: Sides, turns: Vec<Vec<Sides>>, options: SolverOpts) -> Self {
        let left = Rc::new(Cell::new(0));
        let mut solver = Solver::new(options, Budget(left.clone()));
        let chains = Chains::new(room, turns, &mut solver, left.clone());
        Self { solver, chains, left }
    }

    /// What came of it within so many looks, pieces by their places in the search, and the looks that it took.
    fn go_on(&mut self, looks: u64) -> (Outcome, u64) {
        self.left.set(looks);
        let found = self.solver.solve_limited_th(&mut self.chains, &[]);
        let outcome = if found == lbool::TRUE {
            let place = |(piece, &(at, size)): (usize, &(Sides, Sides))| At { piece, at, size };
            Outcome::Found(self.chains.found.iter().enumerate().map(place).collect())
        } else if found == lbool::FALSE {
            Outcome::Cannot
        } else {
            Outcome::Spent
        };
        (outcome, looks - self.left.get())
    }
}

#[cfg(test)]
mod tests {
    use super::super::slices::Slicing;
    use super::super::{Laws, Turning, checker};
    use super::*;

    /// Numbers that only have to vary (splitmix64, from memory).
    struct Chance(u64);

    impl Chance {
        fn between(&mut self, from: i64, to: i64) -> i64 {
            self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut mixed = self.0;
            mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            from + ((mixed ^ (mixed >> 31)) % (to - from + 1) as u64) as i64
        }
    }

    /// The two searches share no reasoning but the faces' strings: where both decide, they agree.
    #[test]
    fn both_complete_searches_say_the_same() {
        let mut chance = Chance(1106);
        let (mut found, mut refuted) = (0, 0);
        for _ in 0..150 {
            let room = [0; 3].map(|_| chance.between(8, 16));
            let count = chance.between(2, 6);
            let pieces: Vec<Piece> = (0..count)
                .map(|_| {
                    let turn = if chance.between(0, 2) == 0 { Turning::Upright } else { Turning::Any };
                    Piece::plain([0; 3].map(|_| chance.between(3, 9)), turn)
                })
                .collect();
            if pieces.iter().any(|piece| fitting_turns(room, piece).is_empty()) {
                continue;
            }
            let mut learning = Learning::new(room, &pieces).expect("few pieces");
            // In two goes, the first of which is mostly too short.
            let learnt = match learning.go_on(30).0 {
                Outcome::Spent => learning.go_on(20_000).0,
                decided => decided,
            };
            let (sliced, _) = Slicing::new(room, &pieces).expect("few pieces").go_on(200_000);
            for outcome in [&learnt, &sliced] {
                if let Outcome::Found(places) = outcome {
                    assert_eq!(checker::complaint(room, &pieces, Laws::Geometry, places), None, "{room:?} {pieces:?}");
                }
            }
            match (&learnt, &sliced) {
                (Outcome::Found(_), Outcome::Found(_)) => found += 1,
                (Outcome::Cannot, Outcome::Cannot) => refuted += 1,
                other => panic!("{room:?} {pieces:?}: {other:?}"),
            }
        }
        assert!(found > 20 && refuted > 20, "{found} found, {refuted} refuted");
    }

    #[test]
    fn more_pieces_than_it_takes_and_no_work_are_left_alone() {
        let many = vec![Piece::plain([1, 1, 1], Turning::Any); PIECES_MAX + 1];
        assert!(Learning::new([100; 3], &many).is_none());
        let mut learning = Learning::new([100; 3], &many[1..]).expect("so many it takes");
        assert_eq!(learning.go_on(0), (Outcome::Spent, 0));
        assert!(matches!(learning.go_on(1_000).0, Outcome::Found(_)));
    }
}
