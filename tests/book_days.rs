//! Days and hours: what is too late today, what waits for the next day, what counts on which day.

mod book_bench;

use book_bench::*;
use dawnslip::book::{Action, *};
use dawnslip::model::*;
use jiff::civil::{Date, date, time};
use std::collections::{BTreeMap, BTreeSet};

/// Letter goes at half past four.
fn bench() -> Bench {
    Bench::with(Policy { latest: BTreeMap::from([("Letter".into(), time(16, 30, 0, 0))]), ..policy() })
}

fn pins_at(now: &str) -> Pins {
    let mut bench = bench();
    bench.now = at(now);
    bench.receive(&[order("S-1", &["MUG"])]);
    bench.to_plan.pop().expect("a plan was asked for").1
}

#[test]
fn a_service_is_too_late_from_its_hour_on_and_only_on_the_day() {
    let letter = BTreeSet::from(["Letter".into()]);
    assert_eq!(pins_at("2026-11-25T15:29:59Z").too_late, BTreeSet::new());
    assert_eq!(pins_at("2026-11-25T15:30:00Z").too_late, letter);
    assert_eq!(pins_at("2026-11-25T22:59:59Z").too_late, letter);
    let next_day = pins_at("2026-11-25T23:00:00Z");
    assert_eq!((next_day.hand_over, next_day.too_late), (date(2026, 11, 26), BTreeSet::new()));
    // On Sunday nothing goes: what is planned then goes on Monday, with everything.
    let sunday = pins_at("2026-11-29T17:00:00Z");
    assert_eq!((sunday.hand_over, sunday.too_late), (date(2026, 11, 30), BTreeSet::new()));
}

/// The planner finds that nothing goes today.
fn answer_with_wait(bench: &mut Bench) {
    for (key, pins) in std::mem::take(&mut bench.to_plan) {
        let until = pins.hand_over.tomorrow().expect("a day");
        let mut plan = plan(&bench.state, &key, pins);
        plan.parcels.clear();
        plan.waits = vec![Wait::Service { until, why: "all are taken".to_owned() }];
        bench.run(Command::Planned(Box::new(plan)));
    }
}

#[test]
fn what_waits_for_a_service_is_planned_on_the_next_day_oldest_promise_first() {
    let mut bench = bench();
    for number in ["S-3", "S-1", "S-2"] {
        bench.receive(&[order(number, &["MUG"])]);
        bench.later(60);
    }
    answer_with_wait(&mut bench);
    assert_eq!(bench.describe("S-3"), "received, waiting");
    let advice = bench.state.orders[&key("S-3")].stops[0].kind.advice("S-3");
    assert_eq!(advice, "all are taken: it goes on by itself on 2026-11-26");
    bench.tick();
    assert!(bench.to_plan.is_empty(), "not on the same day");
    bench.now = at("2026-11-25T23:00:00Z");
    bench.tick();
    let asked: Vec<(String, Date)> =
        bench.to_plan.iter().map(|(key, pins)| (key.number.clone(), pins.hand_over)).collect();
    let day = date(2026, 11, 26);
    assert_eq!(asked, [("S-3".to_owned(), day), ("S-1".to_owned(), day), ("S-2".to_owned(), day)]);
    bench.plan();
    assert_eq!(bench.describe("S-3"), "planned: slip queued");
}

#[test]
fn a_parcel_takes_its_place_from_the_plan_until_the_day_it_was_handed_over() {
    let mut bench = bench();
    let (wednesday, thursday, friday) = (date(2026, 11, 25), date(2026, 11, 26), date(2026, 11, 27));
    let other = key("S-9");
    let places = |bench: &Bench| {
        let taken = bench.state.taken_by_others(std::slice::from_ref(&other));
        [wednesday, thursday, friday].map(|day| taken.parcels_by(&"Letter".into(), day))
    };
    bench.receive(&[order("S-1", &["MUG"])]);
    assert_eq!(places(&bench), [0, 0, 0]);
    bench.plan();
    assert_eq!(places(&bench), [1, 1, 1], "it goes on Wednesday, or later");
    assert_eq!(
        bench.state.taken_by_others(&[key("S-1")]).parcels_by(&"Letter".into(), wednesday),
        0,
        "its own is free"
    );
    assert_eq!(bench.state.taken_by_others(std::slice::from_ref(&other)).parcels_by(&"Road".into(), wednesday), 0);
    bench.act(Action::Hold { order: key("S-1"), reason: "a look".to_owned() });
    assert_eq!(places(&bench), [1, 0, 0], "held, it takes no other day's place");
    bench.act(Action::Release { order: key("S-1") });
    bench.print_all();
    let parcel = bench.parcel("S-1");
    bench.act(Action::Packed { parcel });
    assert_eq!(places(&bench), [1, 1, 1]);
    bench.now = at("2026-11-26T09:00:00Z");
    bench.act(Action::HandedOver { parcels: vec![parcel] });
    assert_eq!(places(&bench), [0, 1, 0], "on the day on which it went");
    bench.act(Action::Unpack { parcel });
    assert_eq!(places(&bench), [0, 1, 1]);
    bench.receive_and_plan(&[order("S-2", &["TEAPOT"])]);
    assert_eq!(places(&bench), [0, 3, 3]);
    bench.act(Action::Cancel { order: key("S-2"), reason: String::new() });
    assert_eq!(places(&bench), [0, 1, 1]);
    let counted = bench.state.clone().counted();
    assert!(counted.tally == bench.state.tally);
}
