//! The sample configuration: it loads, it teaches, and it is the demo.

use dawnslip::config;
use dawnslip::model::*;
use std::path::Path;

fn sample() -> Workshop {
    match config::load(&config::embedded(), Path::new("config")) {
        Ok(workshop) => workshop,
        Err(complaints) => panic!("{complaints}"),
    }
}

#[test]
fn the_sample_loads_without_a_complaint() {
    let workshop = sample();
    assert_eq!(workshop.name, "Tern & Thistle");
    assert_eq!(workshop.products.len(), 18);
}
