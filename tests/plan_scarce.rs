//! What is not there without end: containers in stock, places of a service on one day.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::Planner;
use dawnslip::plan::choose::Shelf;
use jiff::civil::{Date, Weekday, date, time};
use plan_bench::*;
use std::collections::{BTreeMap, BTreeSet};

/// Cubes of 100 mm; `One` holds one for 0.50, `Two` two for 0.60; Road asks 3.00 a parcel, Letter 5.00.
fn shop() -> Workshop {
    let flat = |name: &str, price: i64| service(name, Price::Fixed(BTreeMap::from([(String::new(), eur(price))])));
    Workshop {
        products: vec![product("CUBE", "Cube", mm(100, 100, 100), g(500))],
        containers: vec![
            carton("One", mm(100, 100, 100), 3, g(50), 50),
            carton("Two", mm(200, 100, 100), 3, g(60), 60),
        ],
        services: vec![
            Service { per_day: Some(30), latest: Some(time(16, 30, 0, 0)), ..flat("Road", 300) },
            flat("Letter", 500),
        ],
        ..empty()
    }
}

fn without(mut workshop: Workshop, name: &str) -> Workshop {
    workshop.services.retain(|service| service.name.as_str() != name);
    workshop.containers.retain(|container| container.name.as_str() != name);
    workshop
}

fn shelf(containers: &[(&str, i64)], services: &[(&str, i64)]) -> Shelf {
    Shelf {
        containers_left: containers.iter().map(|(name, left)| ((*name).into(), *left)).collect(),
        services_left: services.iter().map(|(name, left)| ((*name).into(), *left)).collect(),
        ..Shelf::default()
    }
}

fn plan_with(workshop: &Workshop, cubes: u32, shelf: &Shelf, pins: &Pins) -> Plan {
    Planner::new(workshop).decide(&order(&[("CUBE", cubes)]), workshop, shelf, &BTreeSet::new(), pins)
}

fn plan(workshop: &Workshop, cubes: u32, shelf: &Shelf) -> Plan {
    plan_with(workshop, cubes, shelf, &pins())
}

/// `Two by Road, One by Letter`, sorted.
fn how(plan: &Plan) -> String {
    let mut all: Vec<String> = plan.parcels.iter().map(|p| format!("{} by {}", p.container, p.service)).collect();
    all.sort();
    all.join(", ")
}

fn why<'p>(plan: &'p Plan, what: &str) -> &'p str {
    plan.alternatives.iter().find(|other| other.what == what && other.cost.is_none()).map_or("", |a| a.why.as_str())
}

#[test]
fn a_full_service_is_passed_over_with_the_reason_and_what_the_next_day_would_save() {
    let full = plan(&shop(), 1, &shelf(&[], &[("Road", 0)]));
    assert_eq!((how(&full).as_str(), full.cost), ("One by Letter", Some(eur(550))));
    assert_eq!(why(&full, "Road"), "30 a day at most go by Road, all are taken on Wednesday");
    assert_eq!(full.what_would_change, ["by Road on Thursday it would cost 2.00 less"]);
    assert_eq!(full.verdict, Verdict::Proved);
    let one_left = plan(&shop(), 1, &shelf(&[], &[("Road", 1)]));
    assert_eq!((how(&one_left).as_str(), one_left.cost), ("One by Road", Some(eur(350))));
    assert!(one_left.what_would_change.is_empty(), "{:?}", one_left.what_would_change);
}

#[test]
fn after_its_hour_a_service_is_passed_over_with_the_hour() {
    let late = Pins { too_late: BTreeSet::from(["Road".into()]), ..pins() };
    let plan = plan_with(&shop(), 1, &Shelf::default(), &late);
    assert_eq!(how(&plan), "One by Letter");
    assert_eq!(why(&plan, "Road"), "what goes by Road on Wednesday had to be planned by 16:30");
    assert_eq!(plan.what_would_change, ["by Road on Thursday it would cost 2.00 less"]);
}

#[test]
fn where_nothing_else_carries_it_the_plan_waits_for_the_next_open_day() {
    let mut workshop = without(shop(), "Letter");
    workshop.day.closed_weekdays = vec![Weekday::Sunday, Weekday::Saturday];
    workshop.day.closed_dates = BTreeSet::from([date(2026, 12, 1)]);
    let waits = |on: Date| {
        let pins = Pins { hand_over: on, ..pins() };
        let plan = plan_with(&workshop, 1, &shelf(&[], &[("Road", 0)]), &pins);
        assert!(plan.parcels.is_empty() && plan.questions.is_empty(), "{:?}", plan.questions);
        plan.waits
    };
    let until = |day: Date, name: &str| {
        let why = format!("30 a day at most go by Road, all are taken on {name}");
        vec![Wait::Service { until: day, why }]
    };
    assert_eq!(waits(date(2026, 11, 25)), until(date(2026, 11, 26), "Wednesday"));
    assert_eq!(waits(date(2026, 11, 27)), until(date(2026, 11, 30), "Friday"));
    assert_eq!(waits(date(2026, 11, 30)), until(date(2026, 12, 2), "Monday"));
}

#[test]
fn what_not_even_an_empty_day_takes_is_a_question() {
    let mut workshop = without(without(shop(), "Letter"), "Two");
    workshop.services[0].per_day = Some(1);
    let never = plan(&workshop, 2, &shelf(&[], &[("Road", 1)]));
    assert!(never.waits.is_empty(), "{:?}", never.waits);
    assert_eq!(never.questions.len(), 1);
    workshop.services[0].per_day = Some(2);
    let tomorrow = plan(&workshop, 2, &shelf(&[], &[("Road", 1)]));
    let why = "too few parcels may still go by Road on Wednesday".to_owned();
    assert_eq!(tomorrow.waits, [Wait::Service { until: date(2026, 11, 26), why }]);
    assert!(tomorrow.questions.is_empty());
}

#[test]
fn the_last_place_is_taken_and_the_rest_goes_otherwise() {
    let plan = plan(&without(shop(), "Two"), 2, &shelf(&[], &[("Road", 1)]));
    assert_eq!((how(&plan).as_str(), plan.cost), ("One by Letter, One by Road", Some(eur(350 + 550))));
    assert_eq!(plan.verdict, Verdict::BestFound { least_possible: eur(700) });
    assert_eq!(plan.what_would_change, ["by Road on Thursday it would cost 2.00 less"]);
}

#[test]
fn as_many_containers_are_taken_as_are_left() {
    let road = without(shop(), "Letter");
    let all = plan(&road, 4, &shelf(&[("Two", 2)], &[]));
    assert_eq!((how(&all).as_str(), all.cost), ("Two by Road, Two by Road", Some(eur(720))));
    assert_eq!(all.verdict, Verdict::Proved);
    let one = plan(&road, 4, &shelf(&[("Two", 1)], &[]));
    assert_eq!((how(&one).as_str(), one.cost), ("One by Road, One by Road, Two by Road", Some(eur(360 + 700))));
    assert_eq!(one.verdict, Verdict::BestFound { least_possible: eur(720) });
    assert_eq!(one.what_would_change, ["more Two in stock would save 3.40"]);
}

#[test]
fn where_doing_wholly_without_is_cheaper_that_is_taken() {
    let mut workshop = without(shop(), "Letter");
    workshop.containers.push(carton("Big", mm(200, 200, 100), 3, g(90), 500));
    // Two and two Ones come to 10.60, a Two and a Big to 11.60, one Big to 8.00.
    let plan = plan(&workshop, 4, &shelf(&[("Two", 1), ("One", 1)], &[]));
    assert_eq!((how(&plan).as_str(), plan.cost), ("Big by Road", Some(eur(800))));
    assert_eq!(plan.verdict, Verdict::BestFound { least_possible: eur(720) });
    assert_eq!(plan.what_would_change, ["more Two in stock would save 0.80"]);
}

#[test]
fn two_scarce_things_at_once_are_both_minded() {
    // Without a limit two Twos by Road; one of each is left.
    let plan = plan(&shop(), 4, &shelf(&[("Two", 1)], &[("Road", 1)]));
    let two = plan.parcels.iter().filter(|p| p.container.as_str() == "Two").count();
    let road = plan.parcels.iter().filter(|p| p.service.as_str() == "Road").count();
    assert_eq!((two, road), (1, 1), "{}", how(&plan));
    // A Two by Road and two Ones by Letter.
    assert_eq!(plan.cost, Some(eur(360 + 550 + 550)));
}

#[test]
fn what_has_run_out_says_what_it_would_have_saved() {
    let road = without(shop(), "Letter");
    let out = plan(&road, 2, &shelf(&[("Two", 0)], &[]));
    assert_eq!((how(&out).as_str(), out.cost), ("One by Road, One by Road", Some(eur(700))));
    assert_eq!(out.verdict, Verdict::Proved, "of what there is, it is the cheapest");
    assert_eq!(why(&out, "Two"), "has run out");
    assert_eq!(out.what_would_change, ["more Two in stock would save 3.40"]);
    // Fewer than none, since the stock was corrected, is none.
    assert_eq!(plan(&road, 2, &shelf(&[("Two", -3)], &[("Road", -1), ("Letter", 5)])).waits.len(), 1);
    // For one cube nobody misses it.
    assert!(plan(&road, 1, &shelf(&[("Two", 0)], &[])).what_would_change.is_empty());
    let nothing = plan(&without(road, "One"), 2, &shelf(&[("Two", 0)], &[]));
    assert_eq!(nothing.questions.len(), 1);
    assert_eq!(nothing.what_would_change, ["more Two in stock would do"]);
}

#[test]
fn a_preference_minds_what_is_left_too() {
    let mut workshop = shop();
    let worth = Action::PreferService("Letter".into(), eur(1000));
    workshop.rules = vec![rule("letters", "true", vec![worth])];
    let preferred = plan(&workshop, 2, &Shelf::default());
    assert_eq!(how(&preferred), "Two by Letter");
    let full = plan(&workshop, 2, &shelf(&[], &[("Letter", 0)]));
    assert_eq!(how(&full), "Two by Road");
}
