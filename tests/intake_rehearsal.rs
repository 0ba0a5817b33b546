//! The rehearsal's orders through the real listener: signed, sent, verified and mapped, each
//! with the answer and the meaning that it was planned to have.

mod intake_support;

use dawnslip::book::Meaning;
use dawnslip::cli::rehearse_orders::{Expect, Moment, ORDERS_MIN, PlannedMessage, orders};
use dawnslip::model::{FlawKind, Order, OrderKey, Person};
use intake_support::*;
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};

fn now() -> Timestamp {
    "2026-11-25T07:00:00Z".parse().unwrap()
}

/// What each message of a rehearsal means to its source.
fn read(planned: &[PlannedMessage]) -> Vec<(&PlannedMessage, Meaning)> {
    let table = table(&[SHOP_SECRET], limits());
    let meaning = |message: &PlannedMessage| {
        let source = table.get(message.source.as_str()).expect("one of the three shops");
        table.received_from_file(source, message.body.as_bytes()).meaning
    };
    planned.iter().map(|message| (message, meaning(message))).collect()
}

#[track_caller]
fn only(meaning: &Meaning) -> &(Order, Person) {
    match meaning {
        Meaning::Orders(orders) if orders.len() == 1 => &orders[0],
        other => panic!("not one order: {other:?}"),
    }
}

#[tokio::test]
async fn every_message_gets_the_answer_that_was_planned_for_it() {
    let intake = Running::start(limits()).await;
    let table = intake.sources.now();
    let mut sender = intake.sender();
    for message in orders(60, now()) {
        let source = table.get(message.source.as_str()).unwrap();
        let envelope = message.envelope(source, Timestamp::now()).unwrap();
        let told = sender.send(&envelope).await.unwrap();
        assert_eq!(told.status, message.expect.status(), "{}: {told:?}", message.tale);
    }
}

#[test]
fn every_message_means_what_was_planned() {
    let planned = orders(ORDERS_MIN, now());
    let mut seen = BTreeMap::new();
    for (message, meaning) in &read(&planned) {
        *seen.entry(message.tale).or_insert(0) += 1;
        match &message.expect {
            Expect::Unmappable => assert!(matches!(meaning, Meaning::Unmappable { .. })),
            Expect::Refused | Expect::Known => {}
            Expect::OnPaper { order, .. } | Expect::Waits { order } | Expect::ChangeNote { order } => {
                let (mapped, person) = only(meaning);
                assert_eq!(&mapped.key, order, "{}", message.tale);
                assert_eq!(mapped.flaws, [], "{}", message.tale);
                assert!(mapped.total.is_some() && mapped.lines.iter().all(|line| line.unit_price.is_some()));
                assert!(!person.recipient.is_blank() && mapped.revision.is_some() && mapped.placed.is_some());
            }
            Expect::Joined { orders } => {
                let Meaning::Orders(mapped) = meaning else { panic!("{meaning:?}") };
                assert!(mapped.iter().map(|(order, _)| &order.key).eq(orders), "{mapped:?}");
                assert!(mapped[0].0.household().is_some());
                assert_eq!(mapped[0].0.household(), mapped[1].0.household());
                assert_eq!(mapped[0].0.customer, mapped[1].0.customer);
            }
            Expect::StopNote { order } => {
                let (mapped, _) = only(meaning);
                assert!(mapped.cancelled && &mapped.key == order);
            }
            Expect::NeedsYou { order, cause } => {
                let (mapped, _) = only(meaning);
                assert_eq!(&mapped.key, order);
                let flawed: Vec<_> = mapped.flaws.iter().map(|flaw| flaw.kind).collect();
                let wanted = if cause.starts_with("no-address") { vec![FlawKind::NoAddress] } else { vec![] };
                assert_eq!(flawed, wanted, "{cause}");
            }
        }
    }
    assert_eq!(seen["an order of an unknown product"], 3, "{seen:?}");
    for tale in ["a gift with a message", "a line that is not goods", "an order that is fetched"] {
        assert_eq!(seen[tale], 1, "{seen:?}");
    }
}

#[test]
fn gifts_wishes_and_lines_that_are_no_goods_come_through_every_form() {
    let planned = orders(ORDERS_MIN, now());
    let read = read(&planned);
    let told = |tale: &str| only(&read.iter().find(|(message, _)| message.tale == tale).unwrap().1).clone();
    for tale in ["a gift with a message", "a gift through another shop"] {
        let (order, person) = told(tale);
        assert!(order.gift && person.gift_message.is_some() && person.buyer.is_some(), "{tale}");
    }
    let (order, person) = told("an order with a wish");
    assert!(order.has_wish && person.wish.is_some());
    let (order, _) = told("a line that is not goods");
    assert!(order.lines.iter().all(|line| line.sku.as_str() != "TIP"));
    let goods: i64 = order.lines.iter().map(|line| line.unit_price.unwrap().minor * i64::from(line.quantity)).sum();
    assert!(order.total.unwrap().minor > goods, "the tip is in the total only");
    let (order, _) = told("an order that is fetched");
    assert_eq!(order.requested_service.unwrap().as_str(), "quay");
}

/// Blocks as in the Unicode character database's Blocks.txt.
#[test]
fn names_are_written_in_at_least_eight_scripts() {
    let planned = orders(40, now());
    let names: String = read(&planned)
        .iter()
        .filter_map(|(_, meaning)| match meaning {
            Meaning::Orders(orders) => Some(orders[0].1.recipient.reveal().to_owned()),
            _ => None,
        })
        .collect();
    let scripts = [
        ('\u{100}', '\u{17f}'),
        ('\u{370}', '\u{3ff}'),
        ('\u{400}', '\u{4ff}'),
        ('\u{590}', '\u{5ff}'),
        ('\u{600}', '\u{6ff}'),
        ('\u{900}', '\u{97f}'),
        ('\u{e00}', '\u{e7f}'),
        ('\u{1e00}', '\u{1eff}'),
        ('\u{3040}', '\u{309f}'),
        ('\u{4e00}', '\u{9fff}'),
        ('\u{ac00}', '\u{d7a3}'),
    ];
    for (first, last) in scripts {
        assert!(names.chars().any(|c| (first..=last).contains(&c)), "{first:?}");
    }
}

#[test]
fn a_rehearsal_is_always_the_same_and_as_large_as_asked_for() {
    let first_wave = |count| orders(count, now()).iter().filter(|m| m.moment == Moment::First).count();
    assert_eq!(orders(50, now()), orders(50, now()));
    assert_eq!((first_wave(0), first_wave(40), first_wave(500)), (ORDERS_MIN, 40, 500));
    let planned = orders(500, now());
    let split = planned.iter().position(|message| message.moment == Moment::AfterPrinting).unwrap();
    assert!(planned[split..].iter().all(|message| message.moment == Moment::AfterPrinting));

    // The shop's numbers have no gaps, and nothing but the doubled message comes twice.
    let keys: BTreeSet<OrderKey> = planned
        .iter()
        .filter_map(|message| match &message.expect {
            Expect::OnPaper { order, .. } | Expect::NeedsYou { order, .. } | Expect::Waits { order } => {
                Some(order.clone())
            }
            _ => None,
        })
        .collect();
    let shop: Vec<u32> =
        keys.iter().filter(|key| key.source.as_str() == "shop").map(|key| key.number[2..].parse().unwrap()).collect();
    let shop: BTreeSet<u32> = shop.into_iter().collect();
    assert_eq!(*shop.last().unwrap() - *shop.first().unwrap() + 1, shop.len() as u32);
    let ids: BTreeSet<_> = planned.iter().map(|message| (&message.source, &message.id)).collect();
    assert_eq!(ids.len(), planned.len() - 1);
}
