//! All ways of finding out, one after another within the work that may be spent, and on in rounds
//! where that was not enough.

use super::learn::Learning;
use super::slices::Slicing;
use super::starts::Starts;
use super::{At, Budget, Fit, Laws, Outcome, PIECES_MAX, PIECES_USUAL, Piece, Reason, Sides};
use super::{checker, loading, overlaps_on, refute};

/// Steps of the search by slices that take as long as one look of the search that learns.
const SLICE_STEPS: u64 = 5;

/// Constructive starts before the first steps of that search ...
const STARTS_FIRST: u32 = 6;

/// ... and those steps.
const SLICE_STEPS_FIRST: u64 = 1_500;

/// Looks in the first round of [`prove`], which finds nearly everything; each other one has twice as many.
const LOOKS_FIRST: u32 = 1_500;

/// Looks for each constructive start: all starts take about a third of the time.
const LOOKS_A_START: u32 = 4;

/// From this round on a part of the work is done by slices ...
const ROUND_WITH_SLICES: usize = 3;

/// ... with so many steps for each look.
const SLICE_STEPS_A_LOOK: u64 = 3;

/// Rounds that stay below a tenth of a second.
pub const ROUNDS_QUICK: usize = 3;
/// Rounds that stay below a second: for who waits for one answer.
pub const ROUNDS_LONG: usize = 6;
/// All rounds: half a minute at most, far more work than any order is worth.
pub const ROUNDS_ALL: usize = 11;

fn round(number: usize) -> Budget {
    let nodes = LOOKS_FIRST << number;
    Budget {
        starts: if number == 0 { Budget::USUAL.starts } else { 0 },
        nodes,
        slice_steps: if number < ROUND_WITH_SLICES { 0 } else { u64::from(nodes) * SLICE_STEPS_A_LOOK },
        loading_steps: u64::from(nodes) * 300,
        late_starts: nodes / LOOKS_A_START,
    }
}

/// As [`super::fit`], and goes on for so many rounds until it is decided; gives the work of the complete
/// searches, in looks, as well.
pub fn prove(room: Sides, pieces: &[Piece], laws: Laws, rounds: usize) -> (Fit, u64) {
    in_rounds(room, pieces, laws, (0..rounds.min(ROUNDS_ALL)).map(round))
}

/// As [`prove`], with these budgets one after another.
pub(super) fn in_rounds(room: Sides, pieces: &[Piece], laws: Laws, rounds: impl Iterator<Item = Budget>) -> (Fit, u64) {
    if let Some(verdict) = at_once(room, pieces) {
        return (verdict, 0);
    }
    let mut tried = Trying::new(room, pieces, laws);
    let mut verdicts = rounds.map(|budget| tried.go_on(budget.for_pieces(pieces.len())));
    let verdict = verdicts.find(|verdict| *verdict != Fit::Unknown).unwrap_or(Fit::Unknown);
    (verdict, tried.looks)
}

/// What needs no search.
fn at_once(room: Sides, pieces: &[Piece]) -> Option<Fit> {
    if pieces.is_empty() {
        return Some(Fit::Fits(Vec::new()));
    }
    if let Some(reason) = refute::quickly(room, pieces) {
        return Some(Fit::Cannot(reason));
    }
    if pieces.len() > loading::LOADED_MAX {
        return Some(Fit::Unknown);
    }
    refute::by_bounds(room, pieces).map(Fit::Cannot)
}

/// All ways of finding out, each where its last round left it.
struct Trying<'a> {
    room: Sides,
    pieces: &'a [Piece],
    laws: Laws,
    starts: Starts<'a>,
    /// The complete searches; none for many pieces, and none any more where one of them is done.
    slicing: Option<Slicing<'a>>,
    learning: Option<Learning>,
    is_first: bool,
    /// Work of the complete searches.
    looks: u64,
}

impl<'a> Trying<'a> {
    fn new(room: Sides, pieces: &'a [Piece], laws: Laws) -> Self {
        let starts = Starts::new(room, pieces, laws);
        Self { room, pieces, laws, starts, slicing: None, learning: None, is_first: true, looks: 0 }
    }

    /// One round.
    fn go_on(&mut self, budget: Budget) -> Fit {
        let is_first = std::mem::take(&mut self.is_first);
        if self.pieces.len() > PIECES_MAX {
            return self.loaded(budget);
        }
        // What fits is mostly found by the first starts, and what does not is mostly refuted by the first steps.
        let few = budget.starts.min(STARTS_FIRST);
        if let Some(found) = self.starts.go_on(few) {
            return self.confirmed(found);
        }
        let mut outcome = Outcome::Spent;
        if is_first && budget.nodes > 0 {
            self.slicing = Slicing::new(self.room, self.pieces);
            outcome = self.slice(SLICE_STEPS_FIRST);
        }
        if outcome == Outcome::Spent {
            if let Some(found) = self.starts.go_on(budget.starts - few) {
                return self.confirmed(found);
            }
            if is_first && budget.nodes > 0 {
                self.learning = Learning::new(self.room, self.pieces);
            }
            outcome = self.learn(u64::from(budget.nodes));
        }
        if outcome == Outcome::Spent {
            outcome = self.slice(budget.slice_steps);
        }
        match outcome {
            Outcome::Cannot => return Fit::Cannot(Reason::AllTried { pieces: self.pieces.len(), room: self.room }),
            Outcome::Found(found) => {
                (self.slicing, self.learning) = (None, None);
                for candidate in [settle(&found), found] {
                    if let fits @ Fit::Fits(_) = self.confirmed(candidate) {
                        return fits;
                    }
                }
            }
            Outcome::Spent => {}
        }
        if self.pieces.len() > PIECES_USUAL as usize
            && let fits @ Fit::Fits(_) = self.loaded(budget)
        {
            return fits;
        }
        self.starts.go_on(budget.late_starts).map_or(Fit::Unknown, |found| self.confirmed(found))
    }

    fn learn(&mut self, looks: u64) -> Outcome {
        let Some(learning) = &mut self.learning else { return Outcome::Spent };
        let (outcome, spent) = learning.go_on(looks);
        self.looks += spent;
        outcome
    }

    fn slice(&mut self, steps: u64) -> Outcome {
        let Some(slicing) = &mut self.slicing else { return Outcome::Spent };
        let (outcome, spent) = slicing.go_on(steps);
        self.looks += spent / SLICE_STEPS;
        outcome
    }

    fn loaded(&self, budget: Budget) -> Fit {
        let loaded = loading::pack(self.room, self.pieces, self.laws, budget.loading_steps);
        loaded.map_or(Fit::Unknown, |found| self.confirmed(found))
    }

    /// A placement counts only if the independent check has nothing to say against it.
    fn confirmed(&self, found: Vec<At>) -> Fit {
        match checker::complaint(self.room, self.pieces, self.laws, &found) {
            None => Fit::Fits(found),
            Some(_) => Fit::Unknown,
        }
    }
}

/// Lets everything drop as far as it goes, lowest first; keeps it free of overlaps.
fn settle(placed: &[At]) -> Vec<At> {
    let mut order: Vec<At> = placed.to_vec();
    order.sort_by_key(|a| a.at[2]);
    let mut settled: Vec<At> = Vec::with_capacity(order.len());
    for mut piece in order {
        piece.at[2] = settled
            .iter()
            .filter(|under| overlaps_on(under, &piece, 0) && overlaps_on(under, &piece, 1))
            .map(|under| under.end(2))
            .max()
            .unwrap_or(0);
        settled.push(piece);
    }
    settled.sort_by_key(|a| a.piece);
    settled
}
