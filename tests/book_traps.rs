//! The traps of a working day: messages twice, late and out of order, changes after
//! printing, papers in doubt, clocks that jump, programs that stop.

mod book_bench;

use book_bench::*;
use dawnslip::book::{Action, *};
use dawnslip::model::*;
use std::collections::{BTreeMap, BTreeSet};

fn mug(revision_number: u64) -> Order {
    revision(order("S-1", &["MUG"]), revision_number)
}

#[test]
fn the_same_message_gets_the_same_answer_and_leaves_no_fact() {
    let mut bench = Bench::new();
    let meaning = Meaning::Orders(vec![(mug(1), Person::default())]);
    let outcome = MessageOutcome::Orders(vec![key("S-1")]);
    let first = bench.message("x", "body", meaning.clone());
    assert_eq!(first, Answer::Kept { novelty: Novelty::New, outcome: outcome.clone() });
    let seq = bench.state.seq;
    for _ in 0..3 {
        let again = bench.message("x", "body", meaning.clone());
        assert_eq!(again, Answer::Kept { novelty: Novelty::Known, outcome: outcome.clone() });
    }
    assert_eq!(bench.state.seq, seq);
}

#[test]
fn the_same_id_with_another_body_is_kept_and_asked_about_once() {
    let mut bench = Bench::new();
    bench.message("x", "body one", Meaning::Orders(vec![(mug(1), Person::default())]));
    let other = Meaning::Orders(vec![(revision(order("S-1", &["JUG"]), 2), Person::default())]);
    let answer = bench.message("x", "body two", other.clone());
    assert_eq!(answer, Answer::Kept { novelty: Novelty::New, outcome: MessageOutcome::Contradicts });
    let again = bench.message("x", "body two", other.clone());
    assert_eq!(again, Answer::Kept { novelty: Novelty::Known, outcome: MessageOutcome::Contradicts });
    let first = bench.message("x", "body one", other.clone());
    assert!(matches!(first, Answer::Kept { novelty: Novelty::Known, outcome: MessageOutcome::Orders(_) }));
    assert_eq!(questions(&bench.state).len(), 1);
    // Its body is kept under an identity of its own, from which it can be read again.
    let own = MessageKey { source: SHOP.into(), id: "x~body two".to_owned() };
    let raw = |record: &Record| matches!(record, Record::Person(PersonRecord::Raw { message, .. }) if *message == own);
    assert!(bench.history.iter().any(raw));
    bench.decide("message-changed:shop/x~body two", Decision::TakeNew);
    assert_eq!(bench.effects, [Effect::ReadAgain { message: own.clone() }]);
    bench.run(Command::Remapped { message: own, meaning: other, archived: Default::default() });
    assert!(questions(&bench.state).is_empty());
    assert_eq!(bench.state.orders[&key("S-1")].order.lines[0].sku.as_str(), "JUG");
}

#[test]
fn message_ids_are_remembered_for_fourteen_days_and_then_let_go() {
    let mut bench = Bench::new();
    bench.message("x", "body", Meaning::NotAnOrder);
    for _ in 0..14 {
        bench.later(24 * 3600);
        bench.tick();
    }
    let known = bench.message("x", "body", Meaning::NotAnOrder);
    assert!(matches!(known, Answer::Kept { novelty: Novelty::Known, .. }));
    bench.later(2 * 24 * 3600);
    bench.tick();
    assert!(bench.state.messages.is_empty());
    let swept = bench.facts().iter().filter(|fact| matches!(fact, Fact::Swept { .. })).count();
    assert!(swept <= 16, "at most once a day, not {swept} times");
}

/// Revisions in any order: which content counts in the end, and what is asked.
#[test]
fn revisions_count_by_their_own_figure_else_by_arrival() {
    let jug = |n: u64| revision(order("S-1", &["JUG"]), n);
    let plain = |sku: &str| order("S-1", &[sku]);
    let table: Vec<(&str, Vec<Order>, &str, &str)> = vec![
        ("newer", vec![mug(1), jug(2)], "JUG", "received, asked"),
        ("older", vec![mug(2), jug(1)], "MUG", "received, asked"),
        ("equal, same", vec![mug(1), mug(1)], "MUG", "received, asked"),
        ("equal, different", vec![mug(1), jug(1)], "MUG", "received, asked, needs you same-revision"),
        ("equal, different, twice", vec![mug(1), jug(1), jug(1)], "MUG", "received, asked, needs you same-revision"),
        ("equal, then newer", vec![mug(1), jug(1), mug(2)], "MUG", "received, asked"),
        ("no figures: arrival", vec![plain("MUG"), plain("JUG")], "JUG", "received, asked"),
        ("no figures, same", vec![plain("MUG"), plain("MUG")], "MUG", "received, asked"),
        ("figure lost: arrival", vec![mug(1), plain("JUG")], "JUG", "received, asked"),
        ("cancelled", vec![mug(1), cancelled(mug(2))], "MUG", "received, cancelled"),
        ("cancelled late by an old word", vec![mug(2), cancelled(mug(1))], "MUG", "received, asked"),
        ("cancelled before it came", vec![cancelled(mug(2)), mug(1)], "MUG", "received, cancelled"),
        ("cancelled before, newer", vec![cancelled(mug(2)), mug(3)], "MUG", "received, asked"),
        (
            "cancelled before, then stale, then newer",
            vec![cancelled(mug(5)), mug(1), jug(3)],
            "MUG",
            "received, cancelled",
        ),
        ("cancelled before, un-cancelled", vec![cancelled(mug(5)), mug(1), jug(6)], "JUG", "received, asked"),
        ("cancelled before, no figures", vec![cancelled(plain("MUG")), plain("MUG")], "MUG", "received, cancelled"),
        ("un-cancelled", vec![mug(1), cancelled(mug(2)), mug(3)], "MUG", "received, asked"),
        ("cancelled twice", vec![mug(1), cancelled(mug(2)), cancelled(mug(3)), mug(2)], "MUG", "received, cancelled"),
    ];
    for (name, messages, sku, expected) in table {
        let mut bench = Bench::new();
        for message in messages {
            bench.receive(&[message]);
        }
        assert_eq!(bench.describe("S-1"), expected, "{name}");
        assert_eq!(bench.state.orders[&key("S-1")].order.lines[0].sku.as_str(), sku, "{name}");
    }
}

#[test]
fn what_a_person_cancelled_no_shop_opens_again() {
    let mut bench = Bench::new();
    bench.receive(&[mug(1)]);
    bench.act(Action::Cancel { order: key("S-1"), reason: "a wish".to_owned() });
    bench.receive(&[mug(2)]);
    bench.receive(&[cancelled(mug(3))]);
    bench.receive(&[mug(4)]);
    assert_eq!(bench.describe("S-1"), "received, cancelled");
}

#[test]
fn a_change_before_printing_plans_anew_and_after_printing_prints_a_note() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[mug(1)]);
    bench.receive_and_plan(&[revision(order("S-1", &["JUG"]), 2)]);
    assert_eq!(bench.print_all(), ["slip of S-1"]);
    assert_eq!(bench.state.parcels[&bench.parcel("S-1")].planned.container.as_str(), "Medium");

    let mut gift = revision(order("S-1", &["JUG", "TEAPOT"]), 3);
    gift.gift = true;
    bench.receive(&[gift]);
    assert_eq!(bench.describe("S-1"), "printed: slip on paper, change note queued");
    let differences = &bench.state.orders[&key("S-1")].differences;
    let told: Vec<String> = differences.iter().map(ToString::to_string).collect();
    assert_eq!(told, ["added: 1 x a teapot (TEAPOT)", "it is a gift now"]);
    // A second change before the note is printed stands on the same note.
    bench.receive(&[revision(order("S-1", &["JUG", "TEAPOT"]), 4)]);
    assert_eq!(bench.print_all(), ["change note of S-1"]);
    assert!(bench.to_plan.is_empty());
}

#[test]
fn a_change_while_the_slip_is_on_its_way_waits_for_the_printers_answer() {
    for (left, expected) in [
        (BytesLeft::None, "planned, asked: slip dropped, change note dropped"),
        (BytesLeft::Some, "planned: slip uncertain, slip COPY queued, change note queued"),
    ] {
        let mut bench = Bench::new();
        bench.receive_and_plan(&[mug(1)]);
        let job = bench.slip("S-1");
        bench.send(job);
        bench.receive(&[revision(order("S-1", &["JUG"]), 2)]);
        bench.not_printed(job, left);
        assert_eq!(bench.describe("S-1"), expected);
    }
}

#[test]
fn a_change_between_an_orders_two_slips_asks_unless_the_first_never_left() {
    for (left, expected) in [
        (BytesLeft::None, "planned, asked: slip dropped, slip dropped, change note dropped"),
        (BytesLeft::Some, "planned, needs you after-printing: slip uncertain, slip dropped, change note queued"),
    ] {
        let mut bench = Bench::new();
        bench.receive_and_plan(&[revision(order("S-1", &["TEAPOT"]), 1)]);
        let job = bench.slip("S-1/1");
        bench.send(job);
        bench.receive(&[revision(order("S-1", &["JUG"]), 2)]);
        bench.not_printed(job, left);
        assert_eq!(bench.describe("S-1"), expected);
    }
}

#[test]
fn the_same_content_again_neither_replans_nor_prints() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[mug(1)]);
    bench.receive(&[mug(2)]);
    assert_eq!(bench.describe("S-1"), "planned: slip queued");
    bench.print_all();
    bench.receive(&[mug(3)]);
    assert_eq!(bench.describe("S-1"), "printed: slip on paper");
    assert_eq!(bench.state.orders[&key("S-1")].version, 1);
}

#[test]
fn a_change_after_handing_over_asks_without_wasting_paper() {
    let mut bench = Bench::new();
    bench.hand_over(&mug(1));
    bench.receive(&[revision(order("S-1", &["JUG"]), 2)]);
    assert_eq!(bench.describe("S-1"), "handed over, needs you after-printing: slip on paper");
    bench.receive(&[cancelled(mug(3))]);
    assert_eq!(bench.describe("S-1"), "handed over, cancelled, needs you after-printing: slip on paper");
    assert!(bench.state.closed_longer_than(at("2027-11-25T00:00:00Z")).is_empty(), "a question keeps it");
    bench.decide("after-printing:shop/S-1", Decision::GoOn);
    assert_eq!(bench.state.closed_longer_than(at("2027-11-25T00:00:00Z")), [key("S-1")]);
}

#[test]
fn a_stop_note_prints_before_all_else_and_once() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[mug(1)]);
    bench.print_all();
    bench.receive_and_plan(&[order("S-2", &["MUG"])]);
    bench.act(Action::ListNow);
    bench.receive(&[cancelled(mug(2))]);
    bench.receive(&[cancelled(mug(3))]);
    assert_eq!(bench.print_all(), ["stop note of S-1", "pick list of 2026-11-25", "slip of S-2"]);
}

#[test]
fn a_slip_in_doubt_counts_as_printed_even_when_a_person_takes_it_out() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[mug(1)]);
    let job = bench.slip("S-1");
    bench.send(job);
    bench.not_printed(job, BytesLeft::Some);
    bench.act(Action::Drop { job });
    assert_eq!(bench.describe("S-1"), "planned: slip dropped, slip COPY queued");
    refused(bench.act(Action::Replan { order: key("S-1") }));
    bench.receive(&[cancelled(mug(2))]);
    let stopped = "cancelled: slip dropped, slip COPY dropped, stop note queued";
    assert_eq!(bench.describe("S-1"), format!("planned, {stopped}"));
    bench.printed(job);
    assert_eq!(bench.describe("S-1"), "printed, cancelled: slip on paper, slip COPY dropped, stop note queued");
}

#[test]
fn a_late_confirmation_drops_the_queued_copy() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[mug(1)]);
    let job = bench.slip("S-1");
    bench.send(job);
    bench.not_printed(job, BytesLeft::Some);
    let mark = bench.state.jobs[&bench.slip("S-1")].copy.clone().expect("a mark");
    assert_eq!((mark.of, mark.why.as_str()), (job, "the printer went silent"));
    bench.printed(job);
    assert_eq!(bench.describe("S-1"), "printed: slip on paper, slip COPY dropped");
}

#[test]
fn a_copy_that_never_left_is_dropped_once_the_first_is_confirmed() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[mug(1)]);
    let job = bench.slip("S-1");
    bench.send(job);
    bench.not_printed(job, BytesLeft::Some);
    let copy = bench.slip("S-1");
    bench.send(copy);
    bench.later(5);
    bench.printed(job);
    bench.not_printed(copy, BytesLeft::None);
    assert_eq!(bench.describe("S-1"), "printed: slip on paper, slip COPY dropped");
}

#[test]
fn a_printer_that_always_fails_does_not_eat_the_roll() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[mug(1)]);
    let mut papers = 0;
    while let Some(job) = bench.next() {
        papers += 1;
        bench.send(job);
        bench.not_printed(job, BytesLeft::Some);
        assert!(papers < 10, "no end");
    }
    assert_eq!(papers, 3);
    assert!(bench.describe("S-1").starts_with("planned, needs you uncertain-paper"));
}

#[test]
fn after_a_stop_of_the_program_what_was_being_sent_is_in_doubt() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[mug(1), order("S-2", &["MUG"])]);
    let job = bench.slip("S-1");
    bench.send(job);
    bench.later(60);
    bench.run(Command::Started { last_alive: Some(at("2026-11-25T08:30:30Z")), clean: false });
    assert_eq!(bench.describe("S-1"), "planned: slip uncertain, slip COPY queued");
    // The copy goes before what nobody has seen yet.
    assert_eq!(bench.queued(), ["slip of S-1 COPY", "slip of S-2"]);
    let outage = bench.state.outages.last().expect("a time off");
    assert_eq!((outage.from, outage.to), (at("2026-11-25T08:30:30Z"), bench.now));
    assert_eq!(outage.last_order, Some(key("S-2")));
}

#[test]
fn an_order_that_stops_the_program_twice_is_set_aside_and_the_others_go_on() {
    let mut bench = Bench::new();
    bench.receive(&[order("S-1", &["MUG"]), order("S-2", &["MUG"]), order("S-3", &["MUG"])]);
    let mut stops = 0;
    // S-1 takes the program down whenever it is planned.
    while !bench.to_plan.is_empty() {
        let (order, pins) = bench.to_plan.remove(0);
        if order == key("S-1") {
            bench.to_plan.clear();
            bench.run(Command::Started { last_alive: Some(bench.now), clean: false });
            stops += 1;
            assert!(stops < 10, "no end");
            assert!(bench.to_plan.len() <= 1, "one at a time");
        } else {
            let plan = plan(&bench.state, &order, pins);
            bench.run(Command::Planned(Box::new(plan)));
        }
    }
    // Once before anything was marked, then twice with the mark.
    assert_eq!(stops, 3);
    assert_eq!(bench.describe("S-1"), "received, needs you stopped-program");
    assert_eq!(bench.describe("S-2"), "planned: slip queued");
    assert_eq!(bench.describe("S-3"), "planned: slip queued");
    assert!(!bench.state.careful);
    // Tried once more: marked at once, and set aside after one more stop.
    bench.decide("stopped-program:shop/S-1", Decision::Retry);
    assert!(bench.state.orders[&key("S-1")].plan_started);
    bench.run(Command::Started { last_alive: Some(bench.now), clean: false });
    assert_eq!(bench.describe("S-1"), "received, needs you stopped-program");
}

#[test]
fn a_plan_for_something_else_is_refused_and_asked_for_again() {
    let mut bench = Bench::new();
    bench.receive(&[mug(1)]);
    let (order_key, old) = bench.to_plan.remove(0);
    bench.receive(&[revision(order("S-1", &["JUG"]), 2)]);
    bench.to_plan.clear();
    let late = plan(&bench.state, &order_key, old);
    refused(bench.run(Command::Planned(Box::new(late.clone()))));
    assert!(bench.facts().iter().any(|fact| matches!(fact, Fact::PlanRefused { .. })));
    assert_eq!(bench.to_plan.len(), 1, "asked for again");
    bench.plan();
    assert_eq!(bench.describe("S-1"), "planned: slip queued");
    refused(bench.run(Command::Planned(Box::new(late))));
}

#[test]
fn many_orders_wait_for_one_thing_and_all_go_on() {
    let mut bench = Bench::new();
    let orders: Vec<Order> = (1..=4).map(|n| order(&format!("S-{n}"), &["GLZ-9"])).collect();
    bench.receive_and_plan(&orders);
    let asked = questions(&bench.state);
    assert_eq!(asked.len(), 1);
    assert_eq!((asked[0].cause.as_str(), asked[0].orders.len()), ("unknown-product:GLZ-9", 4));
    // Still unknown: the question stays, and is not put twice.
    bench.decide("unknown-product:GLZ-9", Decision::Retry);
    bench.plan();
    assert_eq!(questions(&bench.state)[0].orders.len(), 4);
    bench.adopt("c2", policy());
    bench.plan();
    assert!(questions(&bench.state).is_empty());
    assert_eq!(bench.queued().len(), 4);
}

#[test]
fn a_new_configuration_asks_again_about_all_that_is_not_printed() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[order("P-1", &["MUG"])]);
    bench.print_all();
    bench.receive_and_plan(&[order("S-1", &["MUG"]), order("S-2", &["GLZ-9"]), order("S-3", &["MADE"])]);
    bench.adopt("c2", policy());
    let asked: BTreeSet<&OrderKey> = bench.to_plan.iter().map(|(order, _)| order).collect();
    assert_eq!(asked, [&key("S-1"), &key("S-2"), &key("S-3")].into());
    bench.plan();
    assert_eq!(bench.describe("S-1"), "planned: slip queued", "the same parcel");
    assert_eq!(bench.describe("S-2"), "planned: slip queued");
    bench.adopt("c1", policy());
    let kept = bench.facts().into_iter().filter_map(|fact| match fact {
        Fact::ConfigAdopted { files, .. } => Some(files.len()),
        _ => None,
    });
    assert_eq!(kept.collect::<Vec<_>>(), [1, 1, 0], "the text of a digest is kept once");
    let seq = bench.state.seq;
    bench.adopt("c1", policy());
    assert_eq!(bench.state.seq, seq);
}

#[test]
fn an_accepted_flaw_is_asked_again_only_about_another_content() {
    let mut bench = Bench::new();
    bench.receive(&[flawed(mug(1), FlawKind::NoName)]);
    bench.decide("no-name:shop/S-1", Decision::GoOn);
    bench.plan();
    assert_eq!(bench.describe("S-1"), "planned: slip queued");
    bench.receive(&[flawed(mug(2), FlawKind::NoName)]);
    assert_eq!(bench.describe("S-1"), "planned: slip queued", "the same content");
    bench.receive(&[flawed(revision(order("S-1", &["JUG"]), 3), FlawKind::NoName)]);
    assert_eq!(bench.describe("S-1"), "planned, needs you no-name: slip dropped");
    bench.receive_and_plan(&[revision(order("S-1", &["JUG"]), 4)]);
    assert_eq!(bench.describe("S-1"), "planned: slip queued");
}

#[test]
fn an_order_of_nothing_that_ships_asks_instead_of_vanishing() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[order("S-1", &["VOUCHER"])]);
    assert_eq!(bench.describe("S-1"), "received, needs you no-goods");
    bench.decide("no-goods:shop/S-1", Decision::Retry);
    assert_eq!(bench.describe("S-1"), "received, asked, needs you no-goods");
    bench.plan();
    bench.decide("no-goods:shop/S-1", Decision::Cancel);
    assert_eq!(bench.describe("S-1"), "received, cancelled");
}

#[test]
fn an_unmappable_message_is_mapped_again_or_set_aside() {
    let mut bench = Bench::new();
    let bad = || Meaning::Unmappable { reason: "no number".to_owned(), pointer: "/id".to_owned() };
    let message = MessageKey { source: SHOP.into(), id: "x".to_owned() };
    bench.message("x", "body", bad());
    assert_eq!(
        bench.message("x", "body", bad()),
        Answer::Kept { novelty: Novelty::Known, outcome: MessageOutcome::Unmappable }
    );
    refused(bench.run(Command::Remapped { message: message.clone(), meaning: bad(), archived: Default::default() }));
    assert_eq!(questions(&bench.state).len(), 1);
    let meaning = Meaning::Orders(vec![(mug(1), Person::default())]);
    bench.run(Command::Remapped { message, meaning, archived: Default::default() });
    assert!(questions(&bench.state).is_empty());
    assert_eq!(bench.describe("S-1"), "received, asked");
    let again = bench.message("x", "body", bad());
    assert!(matches!(again, Answer::Kept { novelty: Novelty::Known, outcome: MessageOutcome::Orders(_) }));
    bench.message("y", "body", bad());
    bench.decide("unmappable:shop/y", Decision::Cancel);
    assert!(questions(&bench.state).is_empty());
}

#[test]
fn a_message_that_is_mapped_late_counts_as_old_as_it_is() {
    let bad = || Meaning::Unmappable { reason: "no number".to_owned(), pointer: "/id".to_owned() };
    let of = |order: Order| Meaning::Orders(vec![(order, Person::default())]);
    let message = MessageKey { source: SHOP.into(), id: "early".to_owned() };
    // With revisions, and without them, where the arrival counts.
    for (early, late) in [
        (revision(order("S-1", &["JUG"]), 1), revision(order("S-1", &["BOWL"]), 2)),
        (order("S-1", &["JUG"]), order("S-1", &["BOWL"])),
    ] {
        let mut bench = Bench::new();
        bench.message("early", "body", bad());
        bench.later(60);
        bench.message("late", "another body", of(late));
        bench.later(60);
        bench.run(Command::Remapped { message: message.clone(), meaning: of(early), archived: Default::default() });
        assert!(questions(&bench.state).is_empty());
        assert_eq!(bench.state.orders[&key("S-1")].order.lines[0].sku.as_str(), "BOWL");
    }
    // A later one counts, also where the order had no revision before.
    let mut bench = Bench::new();
    bench.message("first", "another body", of(order("S-1", &["BOWL"])));
    bench.later(60);
    bench.message("early", "body", bad());
    bench.run(Command::Remapped { message, meaning: of(order("S-1", &["JUG"])), archived: Default::default() });
    assert_eq!(bench.state.orders[&key("S-1")].order.lines[0].sku.as_str(), "JUG");
}

#[test]
fn a_plan_for_the_old_content_does_not_count_where_the_new_one_cannot_be_planned() {
    let mut bench = Bench::new();
    bench.receive(&[revision(order("S-1", &["JUG"]), 1)]);
    bench.receive(&[flawed(revision(order("S-1", &["BOWL"]), 2), FlawKind::NoName)]);
    bench.plan();
    assert!(bench.state.parcels.is_empty(), "{}", bench.describe("S-1"));
    assert_eq!(bench.describe("S-1"), "received, needs you no-name");
    bench.decide("no-name:shop/S-1", Decision::GoOn);
    bench.plan();
    assert_eq!(bench.state.orders[&key("S-1")].plan.as_ref().map(|(plan, _)| plan.pins.order_version), Some(2));
}

#[test]
fn an_order_that_is_cancelled_again_asks_no_more_whether_it_is_open() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[revision(order("S-1", &["MUG"]), 1)]);
    bench.print_all();
    bench.receive(&[cancelled(revision(order("S-1", &["MUG"]), 2))]);
    bench.receive(&[revision(order("S-1", &["MUG"]), 3)]);
    assert_eq!(questions(&bench.state).len(), 1);
    bench.receive(&[cancelled(revision(order("S-1", &["MUG"]), 4))]);
    assert!(questions(&bench.state).is_empty());
    assert!(bench.state.orders[&key("S-1")].cancelled.is_some());
}

#[test]
fn gaps_in_numbers_are_reported_and_closed() {
    let mut gapless = policy();
    gapless.gapless.insert(SHOP.into(), "S-".to_owned());
    gapless.burst_orders = 0;
    let missing = |bench: &Bench| -> Vec<String> {
        let asked = questions(&bench.state).into_iter();
        asked.filter_map(|q| Some(q.cause.strip_prefix("never-came:shop/")?.to_owned())).collect()
    };
    let mut bench = Bench::with(gapless.clone());
    for number in ["S-0098", "S-0101", "X-7", "S-"] {
        bench.receive(&[order(number, &["MUG"])]);
    }
    assert_eq!(missing(&bench), ["S-0099", "S-0100"]);
    bench.receive(&[order("S-0100", &["MUG"])]);
    assert_eq!(missing(&bench), ["S-0099"]);
    bench.act(Action::NoSuch { source: SHOP.into(), number: "S-0099".to_owned() });
    assert!(missing(&bench).is_empty());
    refused(bench.act(Action::NoSuch { source: SHOP.into(), number: "S-0100".to_owned() }));
    // A cancellation before its order shows that the number exists.
    bench.receive(&[cancelled(order("S-0102", &["MUG"]))]);
    bench.receive(&[order("S-0103", &["MUG"])]);
    assert!(missing(&bench).is_empty());

    // Just at the limit of a jump, and just over it.
    for (number, count) in [("S-51", 50), ("S-52", 0), ("S-0", 0), ("S-18446744073709551615", 0)] {
        let mut bench = Bench::with(gapless.clone());
        bench.receive(&[order("S-0", &["MUG"]), order(number, &["MUG"])]);
        assert_eq!(missing(&bench).len(), count, "{number}");
    }
}

#[test]
fn in_a_burst_slips_wait_and_print_in_pack_order() {
    let mut bench = Bench::new();
    let numbers: Vec<String> = (1..=6).map(|n| format!("S-{n}")).collect();
    for (number, sku) in numbers.iter().zip(["MUG", "JUG", "MUG", "CARD", "JUG", "URGENT"]) {
        bench.receive(&[order(number, &[sku])]);
        bench.later(1);
    }
    assert_eq!(bench.state.mode, Mode::Burst);
    bench.plan();
    assert!(bench.queued().is_empty());
    bench.act(Action::StartPacking);
    let packed =
        ["slip of S-6", "slip of S-2", "slip of S-5", "slip of S-1", "slip of S-3", "slip of S-4", "card of S-4"];
    assert_eq!(bench.print_all(), packed);
    // What comes later in the same burst waits for the next start, or for the end of the burst.
    bench.receive_and_plan(&[order("S-7", &["MUG"])]);
    assert!(bench.queued().is_empty());
    bench.later(600);
    bench.tick();
    assert_eq!(bench.state.mode, Mode::Burst);
    bench.later(1);
    bench.tick();
    assert_eq!(bench.state.mode, Mode::Trickle);
    assert_eq!(bench.queued(), ["slip of S-7"]);
}

#[test]
fn a_burst_is_counted_within_its_time() {
    // Four within the time are a trickle, five a burst; the figure is from `policy()`.
    for (orders, apart, mode) in [(4, 1, Mode::Trickle), (5, 150, Mode::Burst), (9, 151, Mode::Trickle)] {
        let mut bench = Bench::new();
        for n in 0..orders {
            bench.receive(&[order(&format!("S-{n}"), &["MUG"])]);
            bench.later(apart);
        }
        assert_eq!(bench.state.mode, mode, "{orders} orders, {apart} s apart");
    }
}

#[test]
fn a_source_can_print_at_its_own_moment() {
    let mut own = policy();
    own.print.insert("fair".into(), PrintWhen::WhenPackingStarts);
    let mut bench = Bench::with(own.clone());
    let mut fair = order("F-1", &["MUG"]);
    fair.key = OrderKey::new("fair", "F-1");
    bench.receive_and_plan(&[order("S-1", &["MUG"]), fair]);
    assert_eq!(bench.queued(), ["slip of S-1"]);
    own.print = BTreeMap::new();
    bench.adopt("c2", own);
    bench.plan();
    assert_eq!(bench.queued(), ["slip of F-1", "slip of S-1"]);
}

#[test]
fn the_pick_list_prints_once_a_day_whatever_the_clock_does() {
    let mut bench = Bench::empty();
    bench.now = at("2026-11-26T05:00:00Z");
    bench.adopt("c1", policy());
    let lists = |bench: &mut Bench, now: &str| {
        bench.now = at(now);
        bench.tick();
        bench.print_all()
    };
    assert!(lists(&mut bench, "2026-11-26T05:59:59Z").is_empty());
    assert_eq!(lists(&mut bench, "2026-11-26T06:00:00Z"), ["pick list of 2026-11-26"]);
    assert!(lists(&mut bench, "2026-11-26T06:00:01Z").is_empty());
    assert_eq!(bench.state.list_came_late(bench.today()), None);
    // The clock jumps back: neither this day's nor an earlier day's list prints again.
    assert!(lists(&mut bench, "2026-11-26T05:59:00Z").is_empty());
    assert!(lists(&mut bench, "2026-11-25T12:00:00Z").is_empty());
    assert!(lists(&mut bench, "2026-11-26T06:00:00Z").is_empty());
    // The program was off at the hour: made up for once, and it says so.
    assert_eq!(lists(&mut bench, "2026-11-27T09:30:00Z"), ["pick list of 2026-11-27"]);
    assert_eq!(bench.state.list_came_late(bench.today()), Some(at("2026-11-27T06:00:00Z")));
    // Closed: Sundays and one holiday.
    assert!(lists(&mut bench, "2026-11-29T12:00:00Z").is_empty());
    assert!(lists(&mut bench, "2026-12-25T12:00:00Z").is_empty());
    // On request, at any time, as often as one likes.
    bench.act(Action::ListNow);
    bench.act(Action::ListNow);
    assert_eq!(bench.print_all().len(), 2);
}

#[test]
fn a_list_that_never_printed_gives_way_to_the_next_days() {
    let mut bench = Bench::new();
    bench.later(24 * 3600);
    bench.tick();
    bench.later(24 * 3600);
    bench.tick();
    assert_eq!(bench.queued(), ["pick list of 2026-11-27"]);
}

#[test]
fn a_date_that_comes_lets_the_order_go_on() {
    let mut bench = Bench::new();
    let mut asked = order("S-2", &["MUG"]);
    asked.not_before = Some("2026-12-02".parse().expect("a date"));
    bench.receive_and_plan(&[order("S-1", &["LATER"]), asked]);
    bench.now = at("2026-11-30T22:59:59Z");
    bench.tick();
    assert_eq!(bench.describe("S-1"), "planned, waiting");
    bench.now = at("2026-11-30T23:00:00Z");
    bench.tick();
    assert_eq!(bench.describe("S-1"), "planned, asked", "its plan was made for another day");
    bench.plan();
    assert_eq!(bench.describe("S-1"), "planned: slip queued");
    assert_eq!(bench.describe("S-2"), "planned, waiting");
    bench.now = at("2026-12-01T23:00:00Z");
    bench.tick();
    bench.plan();
    assert_eq!(bench.describe("S-2"), "planned: slip queued");
}

#[test]
fn orders_that_come_before_the_first_configuration_are_planned_with_it() {
    let mut bench = Bench::empty();
    bench.receive(&[order("S-1", &["MUG"])]);
    assert_eq!(bench.describe("S-1"), "received");
    bench.adopt("c1", policy());
    bench.plan();
    assert_eq!(bench.describe("S-1"), "planned: slip queued");
}

#[test]
fn a_day_takes_the_oldest_promises_and_keeps_an_orders_parcels_together() {
    let mut bench = Bench::new();
    let placed = |mut order: Order, at_: &str| {
        order.placed = Some(at(at_));
        order
    };
    bench.receive_and_plan(&[
        placed(order("S-1", &["MUG"]), "2026-11-25T08:00:00Z"),
        placed(order("S-2", &["TEAPOT"]), "2026-11-25T06:00:00Z"),
        placed(order("S-3", &["JUG"]), "2026-11-25T07:00:00Z"),
        order("S-4", &["GLZ-9"]),
    ]);
    bench.receive_and_plan(&[placed(order("S-5", &["URGENT"]), "2026-11-25T08:20:00Z")]);
    let labels = |parcels: &[ParcelId]| -> Vec<String> { parcels.iter().map(|id| bench.state.label(*id)).collect() };
    let list = day(&bench.state, bench.today());
    assert_eq!(labels(&list.today), ["S-5", "S-2/1", "S-2/2"]);
    assert_eq!(labels(&list.later), ["S-3", "S-1"]);
    assert_eq!(list.orders, 2);
    bench.print_all();
    let parcel = bench.parcel("S-2/1");
    bench.act(Action::Packed { parcel });
    let labels = |parcels: &[ParcelId]| -> Vec<String> { parcels.iter().map(|id| bench.state.label(*id)).collect() };
    let list = day(&bench.state, bench.today());
    assert_eq!(labels(&list.today), ["S-5", "S-3", "S-2/2"]);
    assert_eq!(labels(&list.packed), ["S-2/1"]);
    bench.later(3600);
    bench.receive_and_plan(&[order("S-6", &["URGENT"])]);
    let list = day(&bench.state, bench.today());
    assert_eq!(list.since_list.len(), 1);
}

#[test]
fn short_numbers_name_orders_and_parcels() {
    let mut bench = Bench::new();
    let mut other = order("S-417", &["MUG"]);
    other.key = OrderKey::new("fair", "S-417");
    bench.receive_and_plan(&[
        order("S-417", &["MUG"]),
        order("S-17", &["TEAPOT"]),
        order("T-99", &["GLZ-9"]),
        order("2026/5", &["MUG"]),
        other,
    ]);
    let found = |typed: &str| match find(&bench.state, typed) {
        Ok(key) => key.to_string(),
        Err(why) => why.to_string(),
    };
    for (typed, expected) in [
        ("17", "shop/S-17"),
        ("s-17", "shop/S-17"),
        ("shop/417", "shop/S-417"),
        ("fair/S-417", "fair/S-417"),
        ("99", "shop/T-99"),
        (" T-99 ", "shop/T-99"),
        ("2026/5", "shop/2026/5"),
        ("shop/2026/5", "shop/2026/5"),
        ("417", "\"417\" can be fair/S-417 or shop/S-417; type more of it"),
        ("7", "\"7\" can be fair/S-417 or shop/S-17 or shop/S-417; type more of it"),
        ("", "no open order ends in \"\"; look at: dawnslip orders"),
        ("ü", "no open order ends in \"ü\"; look at: dawnslip orders"),
    ] {
        assert_eq!(found(typed), expected, "{typed}");
    }
    let parcel = |typed: &str| match find_parcel(&bench.state, typed) {
        Ok(id) => bench.state.label(id),
        Err(why) => why.to_string(),
    };
    for (typed, expected) in [
        ("17/2", "S-17/2"),
        ("shop/S-17/1", "S-17/1"),
        ("17", "order S-17 has 2 parcels: say S-17/1 to S-17/2"),
        ("17/3", "order S-17 has 2 parcels: say S-17/1 to S-17/2"),
        ("17/0", "order S-17 has 2 parcels: say S-17/1 to S-17/2"),
        ("shop/417", "S-417"),
        ("shop/417/1", "S-417"),
        ("shop/417/2", "order S-417 has one parcel: S-417"),
        ("99", "order T-99 has no parcel yet: it is not planned"),
        ("2026/5", "2026/5"),
        ("5", "2026/5"),
    ] {
        assert_eq!(parcel(typed), expected, "{typed}");
    }
    // A closed order is found where no open one is meant.
    bench.act(Action::Cancel { order: key("T-99"), reason: String::new() });
    assert_eq!(find(&bench.state, "99"), Ok(key("T-99")));
    bench.receive(&[order("U-99", &["MUG"])]);
    assert_eq!(find(&bench.state, "99"), Ok(key("U-99")));
}

#[test]
fn persons_go_into_records_of_their_own() {
    let mut bench = Bench::new();
    let person = Person { recipient: Hidden::new("Zoë Ångström"), ..Person::default() };
    bench.message("x", "body", Meaning::Orders(vec![(mug(1), person.clone())]));
    let mut people = People::default();
    for record in &bench.history {
        match record {
            Record::Person(record) => people.apply(record),
            Record::Fact(fact) => assert!(!serde_json::to_string(fact).expect("JSON").contains("Zoë")),
        }
    }
    assert_eq!(people.of(&key("S-1"), 1), Some(&person));
    assert!(people.raw(&MessageKey { source: SHOP.into(), id: "x".to_owned() }).is_some());
}

#[test]
fn what_was_in_doubt_and_was_taken_out_says_copy_whenever_it_comes_again() {
    let mut bench = Bench::new();
    bench.receive_and_plan(&[order("S-1", &["MUG"])]);
    let slip = bench.slip("S-1");
    bench.send(slip);
    bench.not_printed(slip, BytesLeft::Some);
    bench.act(Action::Drop { job: slip });
    let hold = |bench: &mut Bench| {
        bench.act(Action::Hold { order: key("S-1"), reason: String::new() });
        assert_eq!(bench.queued(), [""; 0], "a held order prints nothing");
        bench.act(Action::Release { order: key("S-1") });
    };
    hold(&mut bench);
    bench.act(Action::Reprint { job: slip, reason: String::new() });
    assert_eq!(bench.queued(), ["slip of S-1 COPY"], "a person wants it after all");
    hold(&mut bench);
    assert_eq!(bench.queued(), ["slip of S-1 COPY"], "the first one may lie in the tray");
}
