//! Lengths as they are. A fit counts in the largest unit that measures every side, so that a proof
//! is one about the things themselves and not about their whole millimetres: eight cubes of 2 in go
//! into 4 x 4 x 4 in.

use super::{At, Fit, Piece, Reason, Sides};
use crate::model::NM_PER_MM;

/// Units along the longest side at most: what searches count through.
const UNITS_MAX: i64 = 60_000;

/// The verdict on a room and things whose sides are nanometres, in nanometres. `decide` answers for
/// sides in any one unit, the room's first; whoever closes around it (a box, a pouch) is its affair.
///
/// Where no unit measures all of them, whole millimetres do: things rounded up, room down. It is only
/// proved that they cannot go in if they cannot with the things rounded down and the room up either.
pub fn in_nanometres(room: Sides, pieces: &[Piece], mut decide: impl FnMut(Sides, Vec<Piece>) -> Fit) -> Fit {
    let sides = || pieces.iter().flat_map(|piece| piece.sides).chain(room);
    let unit = sides().fold(0, greatest_common_divisor).max(1);
    let longest = sides().max().unwrap_or(0);
    let mut counted = |unit: i64, thing: fn(i64, i64) -> i64, inside: fn(i64, i64) -> i64| {
        let things = pieces.iter().map(|piece| Piece { sides: piece.sides.map(|side| thing(side, unit)), ..*piece });
        scaled(decide(room.map(|side| inside(side, unit)), things.collect()), unit)
    };
    if longest / unit <= UNITS_MAX {
        return counted(unit, i64::div_euclid, i64::div_euclid);
    }
    match counted(NM_PER_MM, up, i64::div_euclid) {
        // Only the small print is larger; what a person reads stays as it was found.
        Fit::Cannot(reason) => match counted(NM_PER_MM, i64::div_euclid, up) {
            Fit::Cannot(_) => Fit::Cannot(reason),
            _ => Fit::Unknown,
        },
        other => other,
    }
}

fn up(side: i64, unit: i64) -> i64 {
    (side + unit - 1).div_euclid(unit)
}

/// Euclid's.
fn greatest_common_divisor(mut a: i64, mut b: i64) -> i64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.abs()
}

fn scaled(fit: Fit, unit: i64) -> Fit {
    match fit {
        Fit::Fits(places) => {
            let place = |it: At| At { at: it.at.map(|x| x * unit), size: it.size.map(|x| x * unit), ..it };
            Fit::Fits(places.into_iter().map(place).collect())
        }
        Fit::Cannot(reason) => Fit::Cannot(reason.scaled(unit)),
        Fit::Unknown => Fit::Unknown,
    }
}

impl Reason {
    /// The same in a unit so many times smaller.
    pub fn scaled(self, by: i64) -> Self {
        let three = |sides: Sides| sides.map(|side| side * by);
        match self {
            Self::TooLong { piece, long, room } => Self::TooLong { piece, long: long * by, room: room * by },
            Self::NoWayRound { piece, sides, room } => {
                Self::NoWayRound { piece, sides: three(sides), room: three(room) }
            }
            Self::Volume { needed, room } => {
                let cube = i128::from(by).pow(3);
                Self::Volume { needed: needed.saturating_mul(cube), room: room.saturating_mul(cube) }
            }
            Self::Pair(..) | Self::HoldsAtMost { .. } => self,
            Self::TooMuch { room } => Self::TooMuch { room: three(room) },
            Self::AllTried { pieces, room } => Self::AllTried { pieces, room: three(room) },
            Self::Girth { piece, sides, flat, thick } => {
                Self::Girth { piece, sides: three(sides), flat: flat.map(|side| side * by), thick: thick * by }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Budget, Laws, Turning, fit};
    use super::*;

    const INCH: i64 = 25_400_000;

    fn asked(room: Sides, things: &[Piece]) -> (Fit, Vec<Sides>) {
        let mut rooms = Vec::new();
        let verdict = in_nanometres(room, things, |room, things| {
            rooms.push(room);
            fit(room, &things, Laws::Bench, Budget::SMALL)
        });
        (verdict, rooms)
    }

    #[test]
    fn eight_cubes_of_two_inches_fill_four_inches() {
        let cube = Piece::plain([2 * INCH; 3], Turning::Any);
        let (verdict, rooms) = asked([4 * INCH; 3], &vec![cube.clone(); 8]);
        assert_eq!(rooms, [[2; 3]], "two inches measure everything");
        let Fit::Fits(places) = verdict else { panic!("{verdict:?}") };
        assert!(places.iter().all(|place| place.size == [2 * INCH; 3]));
        assert!(places.iter().any(|place| place.at == [2 * INCH; 3]));
        assert!(matches!(asked([4 * INCH; 3], &vec![cube; 9]).0, Fit::Cannot(Reason::Volume { .. })));
    }

    #[test]
    fn inches_and_millimetres_have_a_tenth_of_a_millimetre_in_common() {
        let bar = Piece::plain([88_900_000, 63_500_000, 25_400_000], Turning::Any);
        let (verdict, rooms) = asked([89 * NM_PER_MM, 64 * NM_PER_MM, 51 * NM_PER_MM], &vec![bar.clone(); 2]);
        assert_eq!(rooms, [[890, 640, 510]]);
        assert!(matches!(verdict, Fit::Fits(_)));
        let (verdict, _) = asked([89 * NM_PER_MM, 64 * NM_PER_MM, 50 * NM_PER_MM], &vec![bar; 2]);
        assert!(matches!(verdict, Fit::Cannot(_)), "50.8 mm do not go into 50");
    }

    #[test]
    fn what_no_unit_measures_is_never_refuted_by_rounding() {
        let odd = Piece::plain([50 * NM_PER_MM + 1; 3], Turning::Any);
        let room = [100 * NM_PER_MM + 3; 3];
        let (verdict, rooms) = asked(room, &vec![odd.clone(); 8]);
        assert_eq!((verdict, rooms), (Fit::Unknown, vec![[100; 3], [101; 3]]));
        let (verdict, _) = asked(room, &vec![odd; 9]);
        assert!(matches!(verdict, Fit::Cannot(_)), "not even rounded down: {verdict:?}");
    }
}
