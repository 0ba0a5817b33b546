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

/// Searches within so many looks at the chains; says as well how many it took.
pub fn search(room: Sides, pieces: &[Piece], looks: u64) -> (Outcome, u64) {
    if pieces.len() > PIECES_MAX || looks == 0 {
        return (Outcome::Spent, 0);
    }
    let order = largest_first(pieces);
    let turns: Vec<Vec<Sides>> = order.iter().map(|&k| fitting_turns(room, &pieces[k])).collect();
    let room = reachable(room, &turns);
    let options = SolverOpts { min_learnts_lim: LEARNT_MIN, learntsize_inc: LEARNT_GROWTH, ..SolverOpts::default() };
    let mut search = Search::new(room, turns, options, looks);
    search.chains.state(&mut search.solver, |a, b| pieces[order[a]].is_like(&pieces[order[b]]));
    let (mut outcome, spent) = search.run();
    if let Outcome::Found(places) = &mut outcome {
        places.iter_mut().for_each(|at| at.piece = order[at.piece]);
        places.sort_by_key(|at| at.piece);
    }
    (outcome, spent)
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
    let mut search = Search::new(room, turns, SolverOpts::default(), looks);
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
    search.run()
}

/// A solver with its theory, and the looks that both may take.
struct Search {
    solver: Solver<Budget>,
    chains: Chains,
    looks: u64,
    left: Rc<Cell<u64>>,
}

impl Search {
    fn new(room: Sides, turns: Vec<Vec<Sides>>, options: SolverOpts, looks: u64) -> Self {
        let left = Rc::new(Cell::new(looks));
        let mut solver = Solver::new(options, Budget(left.clone()));
        let chains = Chains::new(room, turns, &mut solver, left.clone());
        Self { solver, chains, looks, left }
    }

    /// What came of it, pieces by their places in the search, and the looks that it took.
    fn run(mut self) -> (Outcome, u64) {
        let found = self.solver.solve_limited_th(&mut self.chains, &[]);
        let outcome = if found == lbool::TRUE {
            let place = |(piece, (at, size)): (usize, (Sides, Sides))| At { piece, at, size };
            Outcome::Found(self.chains.found.into_iter().enumerate().map(place).collect())
        } else if found == lbool::FALSE {
            Outcome::Cannot
        } else {
            Outcome::Spent
        };
        (outcome, self.looks - self.left.get())
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Laws, Turning, checker, slices};
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
            let (learnt, _) = search(room, &pieces, 20_000);
            let (sliced, _) = slices::search(room, &pieces, 200_000);
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
        assert_eq!(search([100; 3], &many, 1_000).0, Outcome::Spent);
        assert_eq!(search([100; 3], &many[1..], 0).0, Outcome::Spent);
        assert!(matches!(search([100; 3], &many[1..], 1_000).0, Outcome::Found(_)));
    }
}
