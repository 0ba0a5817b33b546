//! `dawnslip quote` on the demo's workshop, in spirit as DESIGN sketches it.

mod plan_bench;

use dawnslip::cli::quote::{Asked, quote};
use jiff::civil::date;
use plan_bench::*;

fn text(what: &str, to: &str) -> String {
    let asked = Asked { what: Some(what.to_owned()), to: Some(to.to_owned()), ..Asked::default() };
    quote(&asked, &demo(), date(2026, 11, 25)).expect("a quote").text
}

#[test]
fn the_sketch_of_the_design_comes_true() {
    let told = text("2*mug,1*teapot", "Middle");
    println!("{told}");
    for piece in [
        "Medium by Road",
        "proved cheapest",
        "the Teapot is 190 mm long, inside are 180 mm, any way round",
        "Letter",
        "takes up to 1 kg, this weighs 1.71 kg",
        "fixed price",
        "(the step below)",
    ] {
        assert!(told.contains(piece), "{piece:?} is missing in\n{told}");
    }
}

#[test]
fn six_teapots_go_in_several_parcels() {
    let told = text("6*teapot", "Middle");
    println!("{told}");
    assert!(told.contains("parcels"), "{told}");
}
