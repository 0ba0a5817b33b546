//! Fits by the line: an instance as JSON, its verdict as JSON. Whole millimetres and bare geometry:
//! no support, no cushion.

use super::{Fit, Laws, Piece, ROUNDS_ALL, Sides, Turning, prove};
use serde::{Deserialize, Serialize};

/// Longest side that is taken, in millimetres.
pub const SIDE_MAX: i64 = 100_000;

/// Can all three be taken?
pub fn are_sides(sides: &Sides) -> bool {
    sides.iter().all(|side| (1..=SIDE_MAX).contains(side))
}

/// One question.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Instance {
    /// Comes back with the answer.
    pub id: String,
    /// Sides of the room.
    pub container: Sides,
    /// What is to go in.
    pub items: Vec<Item>,
}

/// A thing.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Item {
    /// Its sides; the third is upright.
    pub dims: Sides,
    /// How it may be turned.
    pub turn: Turn,
}

/// How a thing may be turned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Turn {
    /// All six ways.
    Any,
    /// The third side stays upright.
    Upright,
}

impl From<Turn> for Turning {
    fn from(turn: Turn) -> Self {
        match turn {
            Turn::Any => Self::Any,
            Turn::Upright => Self::Upright,
        }
    }
}

/// One answer, but for the time that it took.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Answer {
    /// The question's, where it has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// `fits`, `cannot` (proved) or `unknown`.
    pub verdict: &'static str,
    /// Where each thing lies, if it fits.
    pub placement: Vec<Lies>,
    /// Nodes of the complete search.
    pub nodes: u64,
}

/// A thing in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Lies {
    /// Which.
    pub item: usize,
    /// Its corner nearest the room's origin.
    pub at: Sides,
    /// Its sides as turned.
    pub size: Sides,
}

impl Instance {
    /// Reads a line.
    ///
    /// # Errors
    /// What is wrong with it, with the column where it is no JSON of this form.
    pub fn read(line: &str) -> Result<Self, String> {
        let instance: Self = serde_json::from_str(line).map_err(|error| error.to_string())?;
        if !are_sides(&instance.container) {
            return Err(format!("/container: sides are whole millimetres from 1 to {SIDE_MAX}"));
        }
        let odd = instance.items.iter().position(|item| !are_sides(&item.dims));
        match odd {
            Some(at) => Err(format!("/items/{at}/dims: sides are whole millimetres from 1 to {SIDE_MAX}")),
            None => Ok(instance),
        }
    }

    /// Decides it.
    pub fn decide(self) -> Answer {
        let pieces: Vec<Piece> = self.items.iter().map(|item| Piece::plain(item.dims, item.turn.into())).collect();
        let (fit, nodes) = prove(self.container, &pieces, Laws::Geometry, ROUNDS_ALL);
        Answer::new(Some(self.id), &fit, nodes)
    }
}

impl Answer {
    /// In words and figures what was found out with so many nodes.
    pub fn new(id: Option<String>, fit: &Fit, nodes: u64) -> Self {
        let (verdict, placed) = match fit {
            Fit::Fits(placed) => ("fits", placed.as_slice()),
            Fit::Cannot(_) => ("cannot", &[][..]),
            Fit::Unknown => ("unknown", &[][..]),
        };
        let placement = placed.iter().map(|at| Lies { item: at.piece, at: at.at, size: at.size }).collect();
        Self { id, verdict, placement, nodes }
    }
}
