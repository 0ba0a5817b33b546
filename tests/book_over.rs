//! What is over: orders that go into the archive, and those that are forgotten.

mod book_bench;

use book_bench::*;
use dawnslip::book::{Action, *};
use dawnslip::model::*;

fn mug(revision_number: u64) -> Order {
    revision(order("S-1", &["MUG"]), revision_number)
}

#[test]
fn a_message_that_is_mapped_late_opens_no_archived_order_again() {
    let mut bench = Bench::new();
    let unmappable = Meaning::Unmappable { reason: "there is no number".to_owned(), pointer: "/id".to_owned() };
    bench.message("x", "body", unmappable);
    let message = MessageKey { source: SHOP.into(), id: "x".to_owned() };
    let meaning = Meaning::Orders(vec![(order("S-9", &["JUG"]), Person::default())]);
    bench.run(Command::Remapped { message, meaning, archived: [key("S-9")].into() });
    assert!(!bench.state.orders.contains_key(&key("S-9")));
    let stale = |record: &Record| matches!(record, Record::Fact(stamped) if matches!(&stamped.fact, Fact::OrderStale { order, .. } if *order == key("S-9")));
    assert!(bench.history.iter().any(stale));
    assert!(questions(&bench.state).is_empty());
}

#[test]
fn an_archived_order_never_comes_in_again() {
    let mut bench = Bench::new();
    bench.hand_over(&mug(1));
    assert!(bench.state.closed_longer_than(bench.now).is_empty());
    bench.later(8 * 24 * 3600);
    let closed = bench.state.closed_longer_than(bench.now);
    let upto = bench.state.seq;
    bench.run(Command::Archived { orders: closed, upto });
    assert_eq!(bench.describe("S-1"), "-");
    assert!(bench.state.parcels.is_empty());
    assert_eq!(bench.state.jobs.len(), 1, "only the pick list");
    let orders = vec![(mug(1), Person::default())];
    bench.run(Command::Receive(Box::new(Received {
        message: MessageKey { source: SHOP.into(), id: "late".to_owned() },
        body_digest: "d".to_owned(),
        raw: Hidden::default(),
        meaning: Meaning::Orders(orders),
        archived: [key("S-1")].into(),
    })));
    assert_eq!(bench.describe("S-1"), "-");
    assert!(matches!(bench.facts().iter().rev().nth(1), Some(Fact::OrderStale { .. })));
}

#[test]
fn an_order_that_changed_while_it_was_archived_stays_until_the_next_time() {
    let mut bench = Bench::new();
    let cancelled = |content: Order, number: u64| Order { cancelled: true, ..revision(content, number) };
    bench.receive_and_plan(&[mug(1)]);
    bench.receive(&[cancelled(mug(1), 2)]);
    bench.later(8 * 24 * 3600);
    let closed = bench.state.closed_longer_than(bench.now);
    assert_eq!(closed, [key("S-1")]);
    let upto = bench.state.seq;
    bench.receive(&[cancelled(order("S-1", &["JUG"]), 3)]);
    assert!(bench.state.seq > upto, "the shop has sent it once more");
    refused(bench.run(Command::Archived { orders: closed.clone(), upto }));
    assert!(bench.state.orders.contains_key(&key("S-1")));
    let upto = bench.state.seq;
    assert_eq!(bench.run(Command::Archived { orders: closed, upto }), Answer::Done);
    assert!(!bench.state.orders.contains_key(&key("S-1")));
}

#[test]
fn what_is_asked_about_a_forgotten_orders_message_goes_with_its_bodies() {
    let mut bench = Bench::new();
    bench.message("x", "body one", Meaning::Orders(vec![(mug(1), Person::default())]));
    bench.message("x", "body two", Meaning::Orders(vec![(mug(2), Person::default())]));
    assert_eq!(questions(&bench.state).len(), 1);
    bench.act(Action::Forget { order: key("S-1"), open: OpenOrder::Cancel, archived: false });
    assert!(questions(&bench.state).is_empty(), "{:?}", questions(&bench.state));
}
