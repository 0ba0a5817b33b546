//! Verdicts on fits that were asked before: the orders of a burst are much alike.
//!
//! Never changes an answer, since the same question has the same one. Bounded: it is emptied when
//! it is full.

use crate::plan::fit::{Budget, Fit, PIECES_MAX, Piece, Pouch, Sides};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Verdicts kept at most: some tens of megabytes.
const KEPT_MAX: usize = 20_000;

/// What things are to go into.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Room {
    /// A box, with its sides inside.
    Box(Sides),
    /// Something that gives way.
    Pouch(Pouch),
}

/// What was asked, and the verdict.
type Known = HashMap<(Room, Vec<Piece>, Budget), Fit>;

/// Shared by the clones of a planner.
#[derive(Debug, Clone, Default)]
pub struct Memory(Arc<Mutex<Known>>);

impl Memory {
    /// The verdict, remembered or found out. The pieces' order counts: a placement names them by it.
    pub fn ask(&self, room: Room, pieces: Vec<Piece>, budget: Budget, decide: impl FnOnce(&[Piece]) -> Fit) -> Fit {
        // Of very many pieces a verdict is large, and hardly asked for twice.
        if pieces.len() > PIECES_MAX {
            return decide(&pieces);
        }
        let key = (room, pieces, budget);
        // A panic elsewhere leaves whole entries behind.
        if let Some(known) = self.0.lock().unwrap_or_else(PoisonError::into_inner).get(&key) {
            return known.clone();
        }
        let verdict = decide(&key.1);
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if known.len() >= KEPT_MAX {
            known.clear();
        }
        known.insert(key, verdict.clone());
        verdict
    }
}
