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
    assert!(found + refuted >= 300, "{found} + {refuted} of 511");
}
