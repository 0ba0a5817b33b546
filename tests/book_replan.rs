//! Plans that grow old: a new configuration, another day, a person who wants another one.

mod book_bench;

use book_bench::*;
use dawnslip::book::{Action, *};
use dawnslip::model::*;
use std::collections::BTreeSet;

fn many(count: u32) -> Vec<Order> {
    (1..=count).map(|n| order(&format!("S-{n}"), &["MUG"])).collect()
}

/// In a burst nothing prints before packing starts.
fn burst(count: u32) -> Bench {
    let mut bench = Bench::new();
    bench.receive_and_plan(&many(count));
    assert_eq!(bench.state.mode, Mode::Burst);
    assert!(bench.queued().is_empty());
    bench
}

#[test]
fn many_orders_are_asked_again_some_at_a_time_and_new_ones_wait_for_no_more() {
    let mut bench = burst(100);
    bench.adopt("c2", policy());
    assert_eq!(bench.to_plan.len(), 32);
    bench.receive(&[order("N-1", &["MUG"])]);
    assert_eq!(bench.to_plan.last().map(|(key, _)| key.clone()), Some(key("N-1")), "it stands behind the first 32");
    bench.tick();
    assert_eq!(bench.to_plan.len(), 33, "the planner has enough to do");
    let mut asked: Vec<OrderKey> = Vec::new();
    while !bench.to_plan.is_empty() {
        assert!(bench.to_plan.len() <= 33);
        let (key, pins) = bench.to_plan.remove(0);
        assert_eq!(pins.config.as_str(), "c2");
        let plan = plan(&bench.state, &key, pins);
        bench.run(Command::Planned(Box::new(plan)));
        asked.push(key);
    }
    assert_eq!(asked.len(), 101);
    assert_eq!(asked.iter().collect::<BTreeSet<_>>().len(), 101, "each once");
    bench.tick();
    assert!(bench.to_plan.is_empty());
}

#[test]
fn on_another_day_what_nothing_stops_is_asked_again_and_the_rest_when_it_goes_on() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[order("P-1", &["MUG"])]);
    bench.print_all();
    bench.receive_and_plan(&[order("S-1", &["MUG"]), order("S-2", &["MADE"]), order("S-3", &["MUG"])]);
    bench.act(Action::Hold { order: key("S-3"), reason: "a look".to_owned() });
    // Sunday: what goes then goes on Monday, as does what is planned on Monday.
    bench.now = at("2026-11-29T12:00:00Z");
    bench.tick();
    let asked: Vec<OrderKey> = bench.to_plan.iter().map(|(key, _)| key.clone()).collect();
    assert_eq!(asked, [key("S-1")]);
    bench.plan();
    bench.now = at("2026-11-30T12:00:00Z");
    bench.tick();
    assert!(bench.to_plan.is_empty(), "Monday's plan stands on Monday");
    bench.act(Action::Ready { order: key("S-2") });
    bench.act(Action::Release { order: key("S-3") });
    let asked: Vec<OrderKey> = bench.to_plan.iter().map(|(key, _)| key.clone()).collect();
    assert_eq!(asked, [key("S-2"), key("S-3")], "nothing prints by a plan of last week");
    assert!(!bench.queued().contains(&"slip of S-2".to_owned()));
    bench.plan();
    assert_eq!(bench.describe("S-2"), "planned: slip queued");
}

#[test]
fn what_was_about_to_print_prints_after_it_was_planned_again() {
    let mut bench = burst(6);
    bench.act(Action::StartPacking);
    let before = bench.queued();
    assert_eq!(before.len(), 6);
    bench.adopt("c2", policy());
    assert!(bench.queued().is_empty());
    let parcel = bench.parcel("S-1");
    bench.plan();
    assert_eq!(bench.queued().len(), 6, "packing had started for these");
    assert_eq!(bench.parcel("S-1"), parcel, "the same parcel keeps its identity");
    bench.print_all();
    assert_eq!(bench.describe("S-1"), "printed: slip on paper");
}

#[test]
fn other_parcels_get_identities_of_their_own() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[order("S-1", &["MUG"])]);
    let before = bench.parcel("S-1");
    bench.act(Action::Replan { order: key("S-1") });
    let (key, pins) = bench.to_plan.remove(0);
    let mut other = plan(&bench.state, &key, pins);
    other.parcels[0].container = "Medium".into();
    bench.run(Command::Planned(Box::new(other)));
    assert_ne!(bench.parcel("S-1"), before);
    assert_eq!(bench.describe("S-1"), "planned: slip queued");
}

#[test]
fn a_paper_that_a_person_took_out_stays_out_as_long_as_the_parcel_is_the_same() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[order("S-1", &["MUG"])]);
    let job = bench.slip("S-1");
    bench.act(Action::Drop { job });
    bench.adopt("c2", policy());
    bench.plan();
    assert_eq!(bench.describe("S-1"), "planned: slip dropped");
}

#[test]
fn a_person_wants_one_anew_or_all_and_the_wish_stands_until_the_answer() {
    let mut bench = burst(6);
    let wants = |bench: &Bench| bench.state.orders.values().filter(|entry| entry.anew).count();
    bench.act(Action::Replan { order: key("S-1") });
    assert!(bench.state.orders[&key("S-1")].anew);
    bench.plan();
    assert_eq!(wants(&bench), 0);
    let said = bench.act(Action::ReplanAll);
    assert_eq!(said, Answer::Said("6 orders are planned anew, some at a time".to_owned()));
    assert_eq!((wants(&bench), bench.to_plan.len()), (6, 6));
    bench.plan();
    assert_eq!(wants(&bench), 0);
    bench.act(Action::StartPacking);
    bench.print_all();
    assert_eq!(refused(bench.act(Action::ReplanAll)), "nothing is planned that is not printed");
    assert_eq!(refused(bench.act(Action::Replan { order: key("S-1") })), "papers of order S-1 are out");
}

#[test]
fn a_plan_of_another_configuration_or_day_that_comes_late_is_asked_for_again() {
    for (adopt, now, why) in [
        (true, "2026-11-25T08:30:00Z", "the configuration has changed since the plan of order shop/S-1 was asked for"),
        (
            false,
            "2026-11-26T08:30:00Z",
            "the day of handing over has changed since the plan of order shop/S-1 was asked for",
        ),
    ] {
        let mut bench = Bench::new();
        bench.receive(&[order("S-1", &["MUG"])]);
        let (key, pins) = bench.to_plan.remove(0);
        if adopt {
            bench.adopt("c2", policy());
        }
        bench.now = at(now);
        let late = plan(&bench.state, &key, pins.clone());
        assert_eq!(refused(bench.run(Command::Planned(Box::new(late)))), why);
        let (_, again) = bench.to_plan.pop().expect("asked again");
        assert_ne!(again, pins);
        let plan = plan(&bench.state, &key, again);
        bench.run(Command::Planned(Box::new(plan)));
        assert_eq!(bench.describe("S-1"), "planned: slip queued");
    }
}

#[test]
fn after_a_start_old_plans_are_looked_for_again() {
    let mut bench = burst(6);
    bench.now = at("2026-11-26T08:00:00Z");
    bench.to_plan.clear();
    bench.run(Command::Started { last_alive: None, clean: true });
    assert_eq!(bench.to_plan.len(), 6);
}
