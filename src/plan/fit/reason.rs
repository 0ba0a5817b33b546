//! Why things cannot fit, as a person reads it.

use super::Sides;
use crate::model::{Dims, Length, NM3_PER_CM3, Units};

/// Why it cannot fit; lengths in the unit of the question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reason {
    /// One piece is longer than the longest side inside.
    TooLong {
        /// Which.
        piece: usize,
        /// Its longest side.
        long: i64,
        /// The room's longest side.
        room: i64,
    },
    /// One piece goes in no allowed way round.
    NoWayRound {
        /// Which.
        piece: usize,
        /// Its sides.
        sides: Sides,
        /// The room.
        room: Sides,
    },
    /// Together they are larger than the room.
    Volume {
        /// Of all pieces.
        needed: i128,
        /// Of the room.
        room: i128,
    },
    /// Two of them go neither beside nor behind nor on top of each other.
    Pair(usize, usize),
    /// A bound over all sides is broken.
    TooMuch {
        /// The room.
        room: Sides,
    },
    /// Every arrangement was tried.
    AllTried {
        /// How many pieces.
        pieces: usize,
        /// The room.
        room: Sides,
    },
    /// A pouch cannot close around it.
    Girth {
        /// The single piece, where there is only one.
        piece: Option<usize>,
        /// Its sides, longest first.
        sides: Sides,
        /// Along and across, allowances taken off.
        flat: [i64; 2],
        /// Thickest allowed.
        thick: i64,
    },
    /// A person's word: at most so many.
    HoldsAtMost {
        /// Which piece.
        piece: usize,
        /// How many.
        most: u32,
        /// Asked for.
        asked: u32,
    },
}

/// Cubic nanometres in a cubic centimetre.
const CM3: i128 = NM3_PER_CM3 as i128;

/// Cubic nanometres in a cubic inch.
const IN3: i128 = 25_400_000 * 25_400_000 * 25_400_000;

impl Reason {
    /// One sentence for people, of lengths in nanometres; `name` tells how a piece is called ("the teapot").
    pub fn say(&self, units: Units, name: impl Fn(usize) -> String) -> String {
        let length = |nm: i64| units.side(Length { nm });
        let triple = |sides: Sides| {
            let [length, width, height] = sides.map(|nm| Length { nm });
            units.dims(Dims { length, width, height })
        };

        match self {
            Self::TooLong { piece, long, room } => {
                format!("{} is {} long, inside are {}, any way round", name(*piece), length(*long), length(*room))
            }
            Self::NoWayRound { piece, sides, room } => {
                format!("{} ({}) does not go into {} any way it may lie", name(*piece), triple(*sides), triple(*room))
            }
            Self::Volume { needed, room } => {
                let (cube, unit) = match units {
                    Units::Metric => (CM3, "cm³"),
                    Units::Ounces => (IN3, "in³"),
                };
                format!(
                    "together {} {unit} with cushion, inside are {} {unit}",
                    (needed + cube - 1) / cube,
                    room / cube
                )
            }
            Self::Pair(a, b) if name(*a) == name(*b) => {
                format!("two pieces of {} go neither side by side nor on top of each other", name(*a))
            }
            Self::Pair(a, b) => {
                format!("{} and {} go neither side by side nor on top of each other", name(*a), name(*b))
            }
            Self::TooMuch { room } => {
                format!("their sides add up to more than {} allows, however they are turned", triple(*room))
            }
            Self::AllTried { pieces, room } => {
                format!("{pieces} pieces do not go into {}: every arrangement was tried", triple(*room))
            }
            Self::Girth { piece, sides, flat: [along, across], thick } => {
                let what = piece.map_or_else(|| "the pile".to_owned(), name);
                let [a, b, c] = *sides;
                let thickness = length(c);
                if c > *thick {
                    format!("{what} is {thickness} thick, at most {} are allowed", length(*thick))
                } else if b + c > *across {
                    let (wide, most) = (length(b), length(*across));
                    format!("{what} is {wide} wide and {thickness} thick, together at most {most} go in")
                } else if a + c > *along {
                    let (long, most) = (length(a), length(*along));
                    format!("{what} is {long} long and {thickness} thick, together at most {most} go in")
                } else {
                    format!("{what} does not lie flat in {} x {}", length(*along), length(*across))
                }
            }
            Self::HoldsAtMost { piece, most, asked } => {
                format!("holds at most {most} of {}, these are {asked} (as packaging.toml says)", name(*piece))
            }
        }
    }
}
