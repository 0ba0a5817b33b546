//! Whatever comes in, reading it never panics, loses nothing, and gives orders that keep
//! their promises.

mod intake_support;

use dawnslip::book::Meaning;
use dawnslip::intake::message::{raw_body, raw_text};
use dawnslip::intake::sources::SourceTable;
use dawnslip::model::{Hidden, LINES_MAX, Order, Person, QUANTITY_MAX};
use intake_support::*;
use proptest::prelude::*;
use serde_json::{Value, json};

/// What an order promises to everything behind intake.
fn keeps_its_promises(order: &Order, person: &Person) {
    assert!(!order.key.number.is_empty() && order.lines.len() <= LINES_MAX);
    for line in &order.lines {
        assert!((1..=QUANTITY_MAX).contains(&line.quantity) && !line.sku.as_str().is_empty() && !line.name.is_empty());
    }
    let one_line = |text: &Hidden| !text.reveal().contains(char::is_control);
    assert!(one_line(&person.recipient) && person.street.iter().all(one_line) && one_line(&person.locality));
    let longer = [&person.wish, &person.gift_message];
    assert!(longer.into_iter().flatten().all(|text| !text.reveal().contains(|c: char| c.is_control() && c != '\n')));
    assert_eq!(order.content_digest.len(), 64);
}

fn read_by_all(table: &SourceTable, body: &[u8]) {
    for name in ["shop", "fair", "stall"] {
        let received = table.received_from_file(table.get(name).unwrap(), body);
        assert_eq!(raw_body(&received.raw), body);
        if let Meaning::Orders(orders) = &received.meaning {
            orders.iter().for_each(|(order, person)| keeps_its_promises(order, person));
        }
    }
}

/// Any JSON that is built of the words that mappings look for.
fn wordy_json() -> impl Strategy<Value = Value> {
    let words = [
        "@type",
        "@graph",
        "@id",
        "Order",
        "OrderItem",
        "Product",
        "Invoice",
        "orderNumber",
        "orderedItem",
        "orderQuantity",
        "customer",
        "name",
        "orderDelivery",
        "deliveryAddress",
        "streetAddress",
        "addressCountry",
        "sale",
        "ref",
        "goods",
        "code",
        "count",
        "to",
        "lines",
        "tickets",
        "no",
        "basket",
        "sku",
        "qty",
        "price",
        "value",
        "QS",
        "#a",
        "\u{1b}@\u{202e}",
    ];
    let word = prop::sample::select(words.to_vec());
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<f64>().prop_map(|number| json!(number)),
        word.clone().prop_map(Value::from),
        ".{0,12}".prop_map(Value::from),
    ];
    leaf.prop_recursive(6, 64, 8, move |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
            prop::collection::vec((word.clone(), inner), 0..8)
                .prop_map(|entries| entries.into_iter().map(|(key, value)| (key.to_owned(), value)).collect()),
        ]
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_are_read(body in prop::collection::vec(any::<u8>(), 0..200)) {
        read_by_all(&table(&[SHOP_SECRET], limits()), &body);
        prop_assert_eq!(raw_body(&raw_text(&body)), body);
    }

    #[test]
    fn any_json_of_the_right_words_is_read(value in wordy_json()) {
        read_by_all(&table(&[SHOP_SECRET], limits()), value.to_string().as_bytes());
    }

    #[test]
    fn an_order_with_anything_in_one_place_is_read(value in wordy_json(), nth in 0usize..12) {
        let mut body: Value = serde_json::from_str(&order("S-1")).unwrap();
        let places = [
            "/@type", "/orderNumber", "/customer", "/customer/name", "/orderDelivery", "/orderDelivery/deliveryAddress",
            "/orderDelivery/deliveryAddress/streetAddress", "/orderDelivery/deliveryAddress/addressCountry",
            "/orderedItem", "/orderedItem/orderQuantity", "/orderedItem/orderedItem", "/orderedItem/orderedItem/sku",
        ];
        *body.pointer_mut(places[nth]).unwrap() = value;
        read_by_all(&table(&[SHOP_SECRET], limits()), body.to_string().as_bytes());
    }

    #[test]
    fn an_order_cut_or_changed_anywhere_is_read(at in 0usize..600, byte in any::<u8>(), cut in any::<bool>()) {
        let mut body = order("S-1").into_bytes();
        let at = at % body.len();
        if cut { body.truncate(at) } else { body[at] = byte }
        read_by_all(&table(&[SHOP_SECRET], limits()), &body);
    }
}
