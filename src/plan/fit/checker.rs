//! Confirms a placement, written apart from the searches and sharing no code with them:
//! a mistake there shows here.

use super::{At, Laws, Piece, SUPPORT_PERCENT, Sides, Turning};

/// What is wrong with a placement; `None` if nothing is.
///
/// Checked: every piece once, turned as allowed, inside, free of overlaps; and for
/// [`Laws::Bench`] that each rests on the floor or with enough of its base on others, that
/// nothing stands on fragile things, that no pile is higher than its pieces allow, and that what
/// belongs against a wall has one.
pub fn complaint(room: Sides, pieces: &[Piece], laws: Laws, placed: &[At]) -> Option<String> {
    let mut seen = vec![0u32; pieces.len()];
    for place in placed {
        let Some(piece) = pieces.get(place.piece) else {
            return Some(format!("there is no piece {}", place.piece));
        };
        seen[place.piece] += 1;
        if !turned_as_allowed(piece, place.size) {
            return Some(format!("piece {} is turned to {:?}, which is not allowed", place.piece, place.size));
        }
        for (axis, &side) in room.iter().enumerate() {
            if place.at[axis] < 0 || place.at[axis] + place.size[axis] > side {
                return Some(format!("piece {} sticks out on axis {axis}", place.piece));
            }
        }
    }
    if let Some(piece) = seen.iter().position(|&times| times != 1) {
        return Some(format!("piece {piece} is placed {} times", seen[piece]));
    }
    for (index, one) in placed.iter().enumerate() {
        for other in &placed[index + 1..] {
            if (0..3).all(|axis| shared(one, other, axis) > 0) {
                return Some(format!("pieces {} and {} overlap", one.piece, other.piece));
            }
        }
    }
    match laws {
        Laws::Geometry => None,
        Laws::Bench => on_the_bench(pieces, placed).or_else(|| away_from_walls(room, pieces, placed)),
    }
}

/// What is wrong with a placement that leaves pieces out: as [`complaint`], over those that are in it.
pub fn complaint_of_some(room: Sides, pieces: &[Piece], laws: Laws, placed: &[At]) -> Option<String> {
    let mut times = vec![0u32; pieces.len()];
    for place in placed {
        match times.get_mut(place.piece) {
            None => return Some(format!("there is no piece {}", place.piece)),
            Some(1) => return Some(format!("piece {} is placed twice", place.piece)),
            Some(times) => *times += 1,
        }
    }
    let some: Vec<Piece> = placed.iter().map(|place| pieces[place.piece].clone()).collect();
    let numbered: Vec<At> = placed.iter().enumerate().map(|(piece, place)| At { piece, ..*place }).collect();
    complaint(room, &some, laws, &numbered)
}

/// Compares as sorted sides, then the upright one.
fn turned_as_allowed(piece: &Piece, size: Sides) -> bool {
    let mut want = piece.sides;
    let mut have = size;
    want.sort_unstable();
    have.sort_unstable();
    want == have
        && match piece.turn {
            Turning::Any => true,
            Turning::Upright => size[2] == piece.sides[2],
            Turning::Flat => size[2] == want[0],
            Turning::Standing(may) => (0..3).any(|side| may[side] && size[2] == piece.sides[side]),
        }
}

/// Length that both cover on one axis; not positive where they only touch or less.
fn shared(one: &At, other: &At, axis: usize) -> i64 {
    let from = one.at[axis].max(other.at[axis]);
    let to = (one.at[axis] + one.size[axis]).min(other.at[axis] + other.size[axis]);
    to - from
}

/// Square millimetres of `upper`'s base that rest on `lower`.
fn contact(lower: &At, upper: &At) -> i64 {
    if lower.at[2] + lower.size[2] != upper.at[2] {
        return 0;
    }
    shared(lower, upper, 0).max(0) * shared(lower, upper, 1).max(0)
}

/// A piece that belongs against a wall and whose thickness ends at none.
fn away_from_walls(room: Sides, pieces: &[Piece], placed: &[At]) -> Option<String> {
    let touches = |place: &At| {
        let [long, wide, high] = place.size;
        let thickness = long.min(wide).min(high);
        let across = [0, 1, 2].into_iter().filter(|&axis| place.size[axis] == thickness);
        across.into_iter().any(|axis| place.at[axis] == 0 || place.at[axis] + thickness == room[axis])
    };
    let away = placed.iter().find(|place| pieces[place.piece].by_wall && !touches(place))?;
    Some(format!("piece {} lies against no wall", away.piece))
}

fn on_the_bench(pieces: &[Piece], placed: &[At]) -> Option<String> {
    for upper in placed {
        if upper.at[2] > 0 {
            let resting: i64 = placed.iter().map(|lower| contact(lower, upper)).sum();
            if resting * 100 < upper.size[0] * upper.size[1] * SUPPORT_PERCENT {
                return Some(format!("piece {} hovers", upper.piece));
            }
        }
        for lower in placed {
            if pieces[lower.piece].fragile && contact(lower, upper) > 0 {
                return Some(format!("piece {} stands on fragile piece {}", upper.piece, lower.piece));
            }
        }
    }
    // Layers above each piece, from the top down: whatever stands on it is higher up.
    let mut order: Vec<usize> = (0..placed.len()).collect();
    order.sort_by_key(|&index| std::cmp::Reverse(placed[index].at[2]));
    let mut layers = vec![0u32; placed.len()];
    for &index in &order {
        let above = (0..placed.len()).filter(|&other| contact(&placed[index], &placed[other]) > 0);
        layers[index] = above.map(|other| layers[other] + 1).max().unwrap_or(0);
        if let Some(most) = pieces[placed[index].piece].stack
            && layers[index] + 1 > most
        {
            return Some(format!("the pile on piece {} is higher than {most}", placed[index].piece));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(piece: usize, at: Sides, size: Sides) -> At {
        At { piece, at, size }
    }

    #[test]
    fn every_kind_of_mistake_is_seen() {
        let two = vec![Piece::plain([10, 10, 10], Turning::Any), Piece::plain([20, 10, 5], Turning::Upright)];
        let good = vec![at(0, [0, 0, 0], [10, 10, 10]), at(1, [10, 0, 0], [20, 10, 5])];
        assert_eq!(complaint([30, 10, 10], &two, Laws::Bench, &good), None);
        let bad: [(&str, Sides, Vec<At>); 6] = [
            ("sticks out", [29, 10, 10], good.clone()),
            ("overlap", [30, 10, 10], vec![good[0], at(1, [9, 0, 0], [20, 10, 5])]),
            ("times", [30, 10, 10], vec![good[0]]),
            ("times", [30, 10, 10], vec![good[0], good[0], good[1]]),
            ("not allowed", [30, 10, 20], vec![good[0], at(1, [10, 0, 0], [5, 10, 20])]),
            ("hovers", [30, 10, 10], vec![good[0], at(1, [10, 0, 2], [20, 10, 5])]),
        ];
        for (word, room, placed) in bad {
            let told = complaint(room, &two, Laws::Bench, &placed).unwrap_or_default();
            assert!(told.contains(word), "{word}: {told}");
        }
    }

    #[test]
    fn what_is_left_out_is_no_mistake_and_what_is_in_twice_is() {
        let three = vec![Piece::plain([10, 10, 10], Turning::Any); 3];
        let some = [at(2, [0, 0, 0], [10, 10, 10]), at(0, [10, 0, 0], [10, 10, 10])];
        assert_eq!(complaint_of_some([20, 10, 10], &three, Laws::Bench, &some), None);
        assert!(complaint_of_some([20, 10, 9], &three, Laws::Bench, &some).is_some());
        let twice = [some[0], At { piece: 2, ..some[1] }];
        assert!(complaint_of_some([20, 10, 10], &three, Laws::Bench, &twice).is_some());
        assert!(complaint_of_some([20, 10, 10], &three[..2], Laws::Bench, &some).is_some());
    }

    #[test]
    fn marked_sides_stand_upright_and_others_do_not() {
        let piece = [Piece::plain([30, 20, 10], Turning::Standing([false, true, true]))];
        let lies = |size: Sides| complaint([30, 30, 30], &piece, Laws::Bench, &[at(0, [0, 0, 0], size)]).is_none();
        assert_eq!(piece[0].turns().len(), 4);
        assert!(piece[0].turns().into_iter().all(lies));
        assert!(!lies([20, 10, 30]) && !lies([10, 20, 30]));
    }

    #[test]
    fn sixty_percent_of_a_base_are_enough_and_less_is_not() {
        let pieces =
            vec![Piece::plain([60, 100, 10], Turning::Upright), Piece::plain([100, 100, 10], Turning::Upright)];
        let on = |left: i64| vec![at(0, [left, 0, 0], [60, 100, 10]), at(1, [0, 0, 10], [100, 100, 10])];
        assert_eq!(complaint([200, 100, 20], &pieces, Laws::Bench, &on(0)), None);
        assert_eq!(complaint([200, 100, 20], &pieces, Laws::Bench, &on(40)), None);
        assert!(complaint([200, 100, 20], &pieces, Laws::Bench, &on(41)).is_some());
    }
}
