//! The fit against an independent exact solver, and the search against the checker.

use dawnslip::plan::fit::{Budget, Fit, Laws, Piece, Sides, Turning, checker, fit};
use proptest::prelude::*;
use serde_json::Value;

fn sides(value: &Value) -> Sides {
    let side = |i: usize| value[i].as_i64().expect("a whole number of millimetres");
    [side(0), side(1), side(2)]
}

fn pieces(instance: &Value) -> Vec<Piece> {
    let one = |item: &Value| {
        let turn = if item["turn"] == "upright" { Turning::Upright } else { Turning::Any };
        Piece::plain(sides(&item["dims"]), turn)
    };
    instance["items"].as_array().expect("items").iter().map(one).collect()
}

/// `packing.json`: verdicts by OR-Tools CP-SAT 9.15, see `checks/README.md`. Never a wrong
/// verdict; `unknown` is allowed within a floor. The budget is small, since tests run unoptimised.
#[test]
fn no_verdict_contradicts_the_exact_solver() {
    let all: Vec<Value> = serde_json::from_str(include_str!("checks/packing.json")).expect("packing.json");
    assert_eq!(all.len(), 511);
    let budget = match std::env::var("PLAN_BUDGET").as_deref() {
        Ok("thorough") => Budget::THOROUGH,
        Ok("usual") => Budget::USUAL,
        _ => Budget::SMALL,
    };
    let (mut found, mut refuted, mut unknown) = (0, 0, Vec::new());
    for instance in &all {
        let (room, pieces) = (sides(&instance["container"]), pieces(instance));
        match (fit(room, &pieces, Laws::Geometry, budget), instance["verdict"].as_str()) {
            (Fit::Fits(placed), Some("fits")) => {
                assert_eq!(checker::complaint(room, &pieces, Laws::Geometry, &placed), None);
                found += 1;
            }
            (Fit::Cannot(_), Some("cannot")) => refuted += 1,
            (Fit::Unknown, Some(verdict)) => unknown.push((pieces.len(), verdict == "fits")),
            (ours, theirs) => panic!("{}: {ours:?}, solver says {theirs:?}", instance["id"]),
        }
    }
    let few = unknown.iter().filter(|(n, _)| *n <= 7).count();
    let missed = unknown.iter().filter(|(_, fits)| *fits).count();
    println!(
        "found {found}, refuted {refuted}, unknown {} ({missed} of them fit, {few} with at most 7 pieces)",
        unknown.len()
    );
    assert!(few <= 15, "{few} of few pieces");
    assert!(found + refuted >= 360, "{found} + {refuted} of 511");
}

fn a_piece() -> impl Strategy<Value = Piece> {
    let turn = prop_oneof![Just(Turning::Any), Just(Turning::Upright), Just(Turning::Flat)];
    let sides = [10i64..90, 10i64..90, 10i64..90];
    (sides, turn, prop::bool::weighted(0.2), prop::option::weighted(0.3, 1u32..4), prop::bool::weighted(0.15)).prop_map(
        |([a, b, c], turn, fragile, stack, by_wall)| Piece { sides: [a, b, c], turn, fragile, stack, by_wall },
    )
}

/// Cuts a box into pieces: whatever the search says of them in that box, "cannot" is wrong.
fn cut(room: Sides, cuts: &[(usize, u8)]) -> Vec<Piece> {
    let mut parts = vec![room];
    for &(axis, share) in cuts {
        // The largest part is cut.
        let largest = (0..parts.len()).max_by_key(|&i| parts[i].iter().product::<i64>()).unwrap_or(0);
        let part = parts.swap_remove(largest);
        let at = part[axis] * i64::from(share) / 255;
        if at == 0 || at == part[axis] {
            parts.push(part);
            continue;
        }
        for side in [at, part[axis] - at] {
            let mut piece = part;
            piece[axis] = side;
            parts.push(piece);
        }
    }
    parts.into_iter().map(|sides| Piece::plain(sides, Turning::Any)).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 120, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_is_said_to_fit_passes_the_independent_check(
        pieces in prop::collection::vec(a_piece(), 1..9),
        room in [40i64..220, 40i64..220, 40i64..220],
    ) {
        for laws in [Laws::Geometry, Laws::Bench] {
            let budget = Budget { starts: 8, nodes: 100, slice_steps: 500, loading_steps: 30_000, late_starts: 0 };
            if let Fit::Fits(placed) = fit(room, &pieces, laws, budget) {
                prop_assert_eq!(checker::complaint(room, &pieces, laws, &placed), None);
            }
        }
    }

    #[test]
    fn a_box_cut_into_pieces_is_never_said_not_to_hold_them(
        room in [20i64..300, 20i64..300, 20i64..300],
        cuts in prop::collection::vec((0usize..3, 40u8..215), 0..8),
    ) {
        let pieces = cut(room, &cuts);
        for laws in [Laws::Geometry, Laws::Bench] {
            let verdict = fit(room, &pieces, laws, Budget { starts: 2, nodes: 150, slice_steps: 750, loading_steps: 45_000, late_starts: 0 });
            prop_assert!(!matches!(verdict, Fit::Cannot(_)), "{:?} into {:?}: {:?}", pieces, room, verdict);
        }
    }

    #[test]
    fn the_order_of_the_pieces_and_the_day_change_nothing(
        pieces in prop::collection::vec(a_piece(), 1..6),
        room in [60i64..200, 60i64..200, 60i64..200],
    ) {
        let budget = Budget { starts: 8, nodes: 4_000, slice_steps: 20_000, loading_steps: 1_200_000, late_starts: 0 };
        let forward = fit(room, &pieces, Laws::Geometry, budget);
        prop_assert_eq!(&fit(room, &pieces, Laws::Geometry, budget), &forward);
        let backward: Vec<Piece> = pieces.iter().rev().cloned().collect();
        let backward = fit(room, &backward, Laws::Geometry, budget);
        // Few pieces are always decided, and alike.
        prop_assert!(!matches!(forward, Fit::Unknown));
        prop_assert_eq!(matches!(forward, Fit::Fits(_)), matches!(backward, Fit::Fits(_)));
    }
}
