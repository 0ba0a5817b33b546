//! Orders of one customer to one address: joined where that is no dearer, parted again by whatever
//! happens to one of them before a paper is out, and kept together afterwards.

mod book_bench;

use book_bench::*;
use dawnslip::book::{Action, *};
use dawnslip::model::*;

/// Papers wait for packing to start, so that orders can meet.
fn bench() -> Bench {
    let mut policy = Policy { join: true, ..policy() };
    policy.print.insert(SHOP.into(), PrintWhen::WhenPackingStarts);
    Bench::with(policy)
}

/// An order of the customer `ada`.
fn adas(number: &str, skus: &[&str]) -> Order {
    of_customer(order(number, skus), "ada")
}

/// Which orders share which parcels: `S-1+S-2, S-3`.
fn parcels(bench: &Bench) -> String {
    let labels = bench.state.parcels.keys().map(|id| bench.state.label(*id));
    labels.collect::<Vec<_>>().join(", ")
}

/// The planner answers the first of what it was asked.
#[track_caller]
fn plan_one(bench: &mut Bench) {
    let (order, pins) = bench.to_plan.remove(0);
    bench.run(Command::Planned(Box::new(plan(&bench.state, &order, pins))));
}

/// Two planned orders whose common plan has not come yet.
fn asked_together() -> Bench {
    let mut bench = bench();
    bench.receive_and_plan(&[adas("S-1", &["MUG"])]);
    bench.receive(&[adas("S-2", &["MUG"])]);
    plan_one(&mut bench);
    bench
}

/// Two orders that share their parcel.
fn joined() -> Bench {
    let mut bench = bench();
    bench.receive_and_plan(&[adas("S-1", &["MUG"])]);
    bench.receive_and_plan(&[adas("S-2", &["MUG"])]);
    assert_eq!(parcels(&bench), "S-1+S-2");
    bench
}

/// The same, with its slip on paper.
fn printed() -> Bench {
    let mut bench = joined();
    bench.act(Action::StartPacking);
    assert_eq!(bench.print_all(), ["slip of S-1+S-2"]);
    bench
}

fn not_joined(bench: &Bench, number: &str) -> String {
    bench.state.orders[&key(number)].not_joined.as_ref().map(|(_, why)| why.clone()).unwrap_or_default()
}

#[test]
fn two_orders_of_one_customer_share_a_parcel_a_slip_and_their_stages() {
    let mut bench = joined();
    let plan = bench.state.orders[&key("S-2")].plan.clone().expect("a plan").0;
    assert_eq!(plan.orders().cloned().collect::<Vec<_>>(), [key("S-1"), key("S-2")]);
    assert_eq!(plan.joined_saves.expect("a saving").minor, 100);
    bench.act(Action::StartPacking);
    assert_eq!(bench.print_all(), ["slip of S-1+S-2"]);
    for number in ["S-1", "S-2"] {
        assert_eq!(bench.describe(number), "printed: slip on paper");
        assert!(bench.state.paper_out(&key(number)));
        assert_eq!(bench.state.orders[&key(number)].version_on_paper, Some(1));
    }
    let list = day(&bench.state, bench.today());
    assert_eq!((list.today.len(), list.orders), (1, 2), "one parcel of two orders");
    // The parcel is named by either order, or by both.
    let parcel = bench.parcel("1+2");
    assert_eq!((bench.parcel("S-1"), bench.parcel("S-2"), bench.parcel("S-1+S-2")), (parcel, parcel, parcel));
    bench.act(Action::Packed { parcel });
    bench.act(Action::HandedOver { parcels: vec![parcel] });
    for number in ["S-1", "S-2"] {
        assert_eq!(bench.describe(number), "handed over: slip on paper");
    }
}

#[test]
fn what_does_not_belong_together_never_shares_a_parcel() {
    let other_address = |mut order: Order| {
        order.destination.address_hash = "elsewhere".to_owned();
        order
    };
    let with = |change: fn(&mut Order)| {
        let mut order = adas("S-2", &["MUG"]);
        change(&mut order);
        order
    };
    for (why, second) in [
        ("another name", of_customer(order("S-2", &["MUG"]), "bo")),
        ("no name", order("S-2", &["MUG"])),
        ("another address", other_address(adas("S-2", &["MUG"]))),
        ("a separate delivery is asked for", with(|order| order.separate = true)),
        ("a gift", with(|order| order.gift = true)),
        ("another service", with(|order| order.requested_service = Some("Express".into()))),
        ("another e-mail", with(|order| order.customer.email = "e2".to_owned())),
        ("a question stands", adas("S-2", &["GLZ-9"])),
        ("it waits for goods", adas("S-2", &["MADE"])),
        ("a rule holds it", adas("S-2", &["HOLD"])),
        ("not before a date", with(|order| order.not_before = "2026-12-01".parse().ok())),
        ("its flaw is not settled", flawed(adas("S-2", &["MUG"]), FlawKind::NoName)),
    ] {
        let mut bench = bench();
        let mut first = adas("S-1", &["MUG"]);
        first.customer.email = "e1".to_owned();
        bench.receive_and_plan(&[first, second]);
        assert!(!parcels(&bench).contains('+'), "{why}: {}", parcels(&bench));
        assert!(bench.to_plan.is_empty(), "{why}");
    }
    // Without the setting nobody is joined.
    let mut bench = Bench::new();
    bench.receive_and_plan(&[adas("S-1", &["MUG"]), adas("S-2", &["MUG"])]);
    assert!(!parcels(&bench).contains('+'));
}

#[test]
fn an_email_that_one_order_does_not_name_stands_in_nobodys_way() {
    let mut bench = bench();
    let mut orders = [adas("S-1", &["MUG"]), adas("S-2", &["MUG"]), adas("S-3", &["MUG"])];
    orders[0].customer.email = "e1".to_owned();
    orders[2].customer.email = "e2".to_owned();
    bench.receive_and_plan(&orders);
    assert_eq!(parcels(&bench), "S-3, S-1+S-2", "the third one names another e-mail than the first");
}

#[test]
fn a_common_plan_that_is_dearer_comes_to_nothing_and_is_not_asked_for_again() {
    let mut bench = bench();
    bench.receive_and_plan(&[adas("S-1", &["JUG"]), adas("S-2", &["MUG"])]);
    assert_eq!(parcels(&bench), "S-1, S-2");
    assert_eq!(not_joined(&bench, "S-1"), "together it would cost 1.00 more");
    let asked = bench.facts().len();
    bench.act(Action::Hold { order: key("S-2"), reason: String::new() });
    bench.act(Action::Release { order: key("S-2") });
    bench.plan();
    let again = bench.facts()[asked..].iter().filter(|fact| matches!(fact, Fact::PlanAsked { .. })).count();
    assert_eq!(again, 0, "nothing has changed");
    // Another content is another question.
    bench.receive_and_plan(&[revision(adas("S-1", &["MUG"]), 2)]);
    assert_eq!(parcels(&bench), "S-1+S-2");
    // And another configuration: prices may be others.
    bench.receive_and_plan(&[revision(adas("S-1", &["JUG"]), 3)]);
    assert_eq!(parcels(&bench), "S-1, S-2");
    let before = bench.facts().len();
    bench.adopt("c2", Policy { join: true, ..policy() });
    bench.plan();
    let asked = |fact: &Fact| matches!(fact, Fact::PlanAsked { pins, .. } if !pins.joined.is_empty());
    assert_eq!(bench.facts()[before..].iter().filter(|fact| asked(fact)).count(), 1);
}

#[test]
fn a_third_order_joins_those_that_are_joined_and_one_that_makes_it_dearer_stays_out() {
    let mut bench = joined();
    bench.receive_and_plan(&[adas("S-3", &["MUG"])]);
    assert_eq!(parcels(&bench), "S-1+S-2+S-3");
    bench.receive_and_plan(&[adas("S-4", &["JUG"])]);
    assert_eq!(parcels(&bench), "S-4, S-1+S-2+S-3");
    bench.act(Action::StartPacking);
    assert_eq!(bench.print_all().len(), 2);
}

#[test]
fn whatever_happens_to_one_of_them_before_printing_parts_them_and_both_are_planned_anew() {
    let held = |bench: &mut Bench| drop(bench.act(Action::Hold { order: key("S-1"), reason: String::new() }));
    let cancelled = |bench: &mut Bench| drop(bench.act(Action::Cancel { order: key("S-1"), reason: String::new() }));
    let apart = |bench: &mut Bench| drop(bench.act(Action::KeepApart { order: key("S-1"), apart: true }));
    let forget = |bench: &mut Bench| {
        drop(bench.act(Action::Forget { order: key("S-1"), open: OpenOrder::Cancel, archived: false }));
    };
    let moved = |bench: &mut Bench| {
        let mut order = revision(adas("S-1", &["MUG", "MUG"]), 2);
        order.destination.address_hash = "elsewhere".to_owned();
        bench.receive(&[order]);
    };
    let separate = |bench: &mut Bench| {
        let order = Order { separate: true, ..revision(adas("S-1", &["MUG", "MUG"]), 2) };
        bench.receive(&[order]);
    };
    let asked = |bench: &mut Bench| drop(bench.receive(&[revision(adas("S-1", &["GLZ-9"]), 2)]));
    type Happening<'h> = &'h dyn Fn(&mut Bench);
    let all: [(&str, Happening<'_>, &str, &str); 7] = [
        ("held", &held, "planned, held", "planned"),
        ("cancelled", &cancelled, "received, cancelled", "planned"),
        ("apart", &apart, "planned", "planned"),
        ("forgotten", &forget, "received, cancelled", "planned"),
        ("another address", &moved, "planned", "planned"),
        ("separate", &separate, "planned", "planned"),
        ("a question", &asked, "received, needs you unknown-product", "planned"),
    ];
    for (what, happens, first, second) in all {
        for is_first in [true, false] {
            // The one concerned leads, or does not.
            let mut bench = bench();
            let orders = [adas("S-1", &["MUG"]), adas("S-2", &["MUG"])];
            let sorted: Vec<Order> = if is_first { orders.to_vec() } else { orders.into_iter().rev().collect() };
            for order in sorted {
                bench.later(5);
                bench.receive_and_plan(&[order]);
            }
            assert!(parcels(&bench).contains('+'), "{what}");
            happens(&mut bench);
            bench.plan();
            assert_eq!((bench.describe("S-1"), bench.describe("S-2")), (first.to_owned(), second.to_owned()), "{what}");
            assert!(!parcels(&bench).contains('+'), "{what}: {}", parcels(&bench));
            bench.act(Action::StartPacking);
            let slips = bench.print_all();
            assert!(slips.contains(&"slip of S-2".to_owned()), "{what}: {slips:?}");
        }
    }
}

#[test]
fn what_was_parted_is_joined_again_once_nothing_stands_in_the_way() {
    let mut bench = joined();
    bench.act(Action::Hold { order: key("S-2"), reason: String::new() });
    bench.plan();
    bench.act(Action::Release { order: key("S-2") });
    bench.plan();
    assert_eq!(parcels(&bench), "S-1+S-2");
    bench.act(Action::KeepApart { order: key("S-2"), apart: true });
    bench.plan();
    assert_eq!(parcels(&bench).matches('+').count(), 0);
    let again = refused(bench.act(Action::KeepApart { order: key("S-2"), apart: true }));
    assert_eq!(again, "order S-2 travels alone already");
    bench.act(Action::KeepApart { order: key("S-2"), apart: false });
    bench.plan();
    assert_eq!(parcels(&bench), "S-1+S-2");
    bench.act(Action::Replan { order: key("S-2") });
    bench.plan();
    assert_eq!(parcels(&bench), "S-1+S-2", "planned anew, apart and then together");
}

#[test]
fn a_change_while_the_common_plan_is_made_counts() {
    let mut bench = asked_together();
    let (lead, pins) = bench.to_plan.remove(0);
    assert_eq!((lead.clone(), pins.joined.clone()), (key("S-1"), vec![(key("S-2"), 1)]));
    let late = plan(&bench.state, &lead, pins);
    bench.act(Action::Cancel { order: key("S-2"), reason: String::new() });
    assert!(refused(bench.run(Command::Planned(Box::new(late)))).contains("nobody waits"));
    bench.act(Action::StartPacking);
    assert_eq!(bench.print_all(), ["slip of S-1"]);
}

#[test]
fn a_common_plan_that_comes_while_one_of_them_is_planned_anew_is_made_again_after_that() {
    let mut bench = asked_together();
    bench.act(Action::ReplanAll);
    let asked: Vec<OrderKey> = bench.to_plan.iter().map(|(order, _)| order.clone()).collect();
    assert_eq!(asked, [key("S-1"), key("S-2")], "together, and the second one anew");
    plan_one(&mut bench);
    assert_eq!(not_joined(&bench, "S-1"), "", "nothing is settled");
    assert_eq!(parcels(&bench), "S-1, S-2");
    bench.plan();
    assert_eq!(parcels(&bench), "S-1+S-2");
    let own = |number: &str| bench.state.orders[&key(number)].parcels.clone();
    assert_eq!(own("S-1"), own("S-2"), "nothing is sent twice");
}

#[test]
fn while_a_partner_is_planned_no_slip_prints() {
    let mut bench = Bench::with(Policy { join: true, burst_orders: 100, ..policy() });
    bench.receive(&[adas("S-1", &["MUG"]), adas("S-2", &["MUG"])]);
    plan_one(&mut bench);
    assert_eq!(bench.queued(), [""; 0], "the other one may come into its parcel");
    bench.plan();
    assert_eq!(bench.print_all(), ["slip of S-1+S-2"]);
    // What comes after the slip is out has a parcel of its own.
    bench.receive_and_plan(&[adas("S-3", &["MUG"])]);
    assert_eq!(bench.print_all(), ["slip of S-3"]);
    // A partner that turns out to be a question holds up nobody.
    bench.receive_and_plan(&[adas("S-4", &["MUG"]), adas("S-5", &["GLZ-9"])]);
    assert_eq!(bench.print_all(), ["slip of S-4"]);
}

#[test]
fn what_is_queued_since_packing_started_keeps_its_place() {
    let mut bench = bench();
    bench.receive_and_plan(&[adas("S-1", &["MUG"])]);
    bench.act(Action::StartPacking);
    bench.receive_and_plan(&[adas("S-2", &["MUG"])]);
    assert_eq!(bench.queued(), ["slip of S-1"]);
    assert_eq!(bench.print_all(), ["slip of S-1"]);
    assert_eq!(parcels(&bench), "S-1, S-2");
    // Of two shops the one that waits for packing to start counts for both.
    let mut bench =
        Bench::with(Policy { join: true, print: bench.state.policy.clone().expect("one").print, ..policy() });
    let mut other = adas("F-2", &["MUG"]);
    other.key = OrderKey::new("fair", "F-2");
    bench.receive_and_plan(&[adas("S-1", &["MUG"])]);
    bench.later(5);
    bench.receive_and_plan(&[other]);
    assert_eq!((parcels(&bench), bench.queued().len()), ("S-1+F-2".to_owned(), 0));
    bench.act(Action::StartPacking);
    assert_eq!(bench.print_all(), ["slip of S-1+F-2"]);
    // A slip that only waits for the printer gives way.
    let mut bench = Bench::with(Policy { join: true, ..policy() });
    bench.receive_and_plan(&[adas("S-1", &["MUG"])]);
    assert_eq!(bench.queued(), ["slip of S-1"]);
    bench.receive_and_plan(&[adas("S-2", &["MUG"])]);
    assert_eq!(bench.print_all(), ["slip of S-1+S-2"]);
}

#[test]
fn when_a_burst_ends_what_kept_its_place_may_be_joined() {
    let mut bench = Bench::with(Policy { join: true, burst_orders: 2, burst_seconds: 60, ..policy() });
    bench.receive_and_plan(&[of_customer(order("S-0", &["MUG"]), "bo"), adas("S-1", &["MUG"])]);
    bench.act(Action::StartPacking);
    bench.receive_and_plan(&[adas("S-2", &["MUG"])]);
    assert_eq!((bench.queued().len(), parcels(&bench).contains('+')), (2, false));
    bench.later(100);
    bench.tick();
    bench.plan();
    assert_eq!(parcels(&bench), "S-0, S-1+S-2");
    assert_eq!(bench.print_all(), ["slip of S-0", "slip of S-1+S-2"]);
}

#[test]
fn after_printing_a_cancellation_stops_one_and_asks_about_the_other() {
    for gone in ["S-1", "S-2"] {
        let stays = if gone == "S-1" { "S-2" } else { "S-1" };
        let mut bench = printed();
        bench.act(Action::Cancel { order: key(gone), reason: String::new() });
        assert_eq!(bench.print_all(), [format!("stop note of {gone}")]);
        assert_eq!(parcels(&bench), "S-1+S-2", "what is on paper stays as it is");
        let asked = questions(&bench.state);
        assert_eq!(asked.len(), 1);
        assert_eq!(
            asked[0].what,
            format!("order {gone} was cancelled, and {stays} was to travel in one parcel with it")
        );
        let parcel = bench.parcel(stays);
        assert_eq!(refused(bench.act(Action::Packed { parcel })), format!("order {gone} is cancelled"));
        bench.decide(&format!("after-printing:shop/{stays}"), Decision::GoOn);
        // The slip can be printed again for the one that goes on.
        let job = bench.slip(stays);
        assert!(matches!(bench.act(Action::Reprint { job, reason: String::new() }), Answer::Queued(_)));
        assert_eq!(bench.print_all(), ["slip of S-1+S-2 COPY"]);
        bench.act(Action::Packed { parcel });
        bench.act(Action::HandedOver { parcels: vec![parcel] });
        assert!(bench.describe(stays).starts_with("handed over"), "{}", bench.describe(stays));
    }
}

#[test]
fn after_printing_a_change_prints_a_note_and_nobody_is_parted() {
    let mut bench = printed();
    bench.receive_and_plan(&[revision(adas("S-2", &["MUG", "CARD"]), 2)]);
    assert_eq!(bench.print_all(), ["change note of S-2"]);
    assert_eq!(parcels(&bench), "S-1+S-2");
    assert_eq!(refused(bench.act(Action::KeepApart { order: key("S-1"), apart: true })), {
        "papers of order S-1 are out, and it shares its parcel"
    });
    bench.act(Action::Hold { order: key("S-2"), reason: String::new() });
    assert_eq!(parcels(&bench), "S-1+S-2");
    let job = bench.slip("S-1");
    let reprint = Action::Reprint { job, reason: String::new() };
    assert_eq!(refused(bench.act(reprint)), "order S-2 is stopped", "with a stop of either nothing more prints");
}

#[test]
fn a_slip_in_doubt_counts_as_out_for_both_and_is_asked_about_once() {
    let mut bench = joined();
    bench.act(Action::StartPacking);
    let job = bench.slip("S-2");
    bench.send(job);
    bench.act(Action::Cancel { order: key("S-1"), reason: String::new() });
    // Not one byte had left: nothing is out, and the other goes alone.
    bench.not_printed(job, BytesLeft::None);
    bench.plan();
    assert_eq!(parcels(&bench), "S-2");
    assert_eq!(questions(&bench.state).len(), 0);
    bench.act(Action::StartPacking);
    assert_eq!(bench.print_all(), ["slip of S-2"]);
}

#[test]
fn joined_orders_go_into_the_archive_together() {
    let mut bench = printed();
    bench.act(Action::Cancel { order: key("S-1"), reason: String::new() });
    bench.print_all();
    bench.later(8 * 86_400);
    assert_eq!(bench.state.closed_longer_than(bench.now), [], "the other one is still open");
    bench.decide("after-printing:shop/S-2", Decision::GoOn);
    let parcel = bench.parcel("S-2");
    bench.act(Action::Packed { parcel });
    bench.act(Action::HandedOver { parcels: vec![parcel] });
    bench.later(8 * 86_400);
    assert_eq!(bench.state.closed_longer_than(bench.now), [key("S-1"), key("S-2")]);
    let upto = bench.state.seq;
    let alone = bench.run(Command::Archived { orders: vec![key("S-1")], upto });
    assert!(refused(alone).contains("is open again"), "one of them alone would take the parcel's history apart");
    bench.run(Command::Archived { orders: vec![key("S-1"), key("S-2")], upto });
    assert!(bench.state.orders.is_empty() && bench.state.parcels.is_empty() && bench.state.jobs.len() <= 1);
}

#[test]
fn a_common_plan_that_stops_the_program_is_given_up_and_each_goes_alone() {
    let mut bench = asked_together();
    // A start without a mark: it is asked for once more, now with a mark.
    bench.to_plan.clear();
    bench.run(Command::Started { last_alive: Some(bench.now), clean: false });
    assert_eq!(bench.to_plan.len(), 1);
    assert!(bench.state.orders[&key("S-1")].plan_started);
    // It stops the program.
    bench.to_plan.clear();
    bench.run(Command::Started { last_alive: Some(bench.now), clean: false });
    bench.plan();
    assert_eq!(parcels(&bench), "S-1, S-2");
    assert_eq!(not_joined(&bench, "S-1"), "the program stopped while it planned them together");
    assert!(questions(&bench.state).is_empty(), "nobody needs to be asked");
    bench.act(Action::StartPacking);
    assert_eq!(bench.print_all(), ["slip of S-1", "slip of S-2"]);
}

#[test]
fn what_joined_orders_take_from_the_stock_counts_once() {
    let bench = joined();
    let small = ContainerName::from("Small");
    assert_eq!(bench.state.taken_by_others(&[]).containers(&small), 1);
    assert_eq!(bench.state.taken_by_others(&[key("S-1"), key("S-2")]).containers(&small), 0);
    let bench = {
        let mut bench = printed();
        bench.act(Action::Cancel { order: key("S-1"), reason: String::new() });
        bench
    };
    assert_eq!(bench.state.taken_by_others(&[]).containers(&small), 1, "the box is still used");
}

#[test]
fn a_trader_with_many_orders_gets_each_by_itself() {
    let mut bench = Bench::with(Policy { join: true, ..policy() });
    let orders: Vec<Order> = (1..=70).map(|number| adas(&format!("S-{number}"), &["MUG"])).collect();
    bench.receive_and_plan(&orders);
    assert_eq!(parcels(&bench).matches('+').count(), 0);
    // Up to eight share one slip.
    let mut bench = Bench::with(Policy { join: true, ..policy() });
    bench.receive_and_plan(&orders[..10]);
    let mut sizes: Vec<usize> = parcels(&bench).split(", ").map(|label| label.split('+').count()).collect();
    sizes.sort_unstable();
    assert_eq!(sizes, [2, 8]);
}
