//! Payloads and what they mean.

use super::*;
use crate::model::*;
use jiff::SignedDuration;
use serde_json::{Value, json};

const KEY: [u8; 32] = [7; 32];

fn source(payload: Payload) -> Source {
    Source {
        name: "shop".into(),
        scheme: Scheme::StandardWebhooks { tolerance: SignedDuration::from_secs(300) },
        secrets: Vec::new(),
        payload,
        gapless_prefix: None,
        printer: None,
        print: None,
    }
}

fn native(body: &Value) -> Meaning {
    Mapper::compile(&source(Payload::SchemaOrg)).unwrap().read(body.to_string().as_bytes(), &KEY, Currency::EUR)
}

#[track_caller]
fn orders(meaning: Meaning) -> Vec<(Order, Person)> {
    match meaning {
        Meaning::Orders(orders) => orders,
        other => panic!("no orders: {other:?}"),
    }
}

#[track_caller]
fn one(meaning: Meaning) -> (Order, Person) {
    let mut orders = orders(meaning);
    assert_eq!(orders.len(), 1);
    orders.remove(0)
}

fn lines(order: &Order) -> Vec<(&str, &str, u32)> {
    order.lines.iter().map(|line| (line.sku.as_str(), line.name.as_str(), line.quantity)).collect()
}

fn kinds(order: &Order) -> Vec<FlawKind> {
    order.flaws.iter().map(|flaw| flaw.kind).collect()
}

/// schema.org, vocabulary 30.0, examples #eg-0376 and #eg-0375. The first names no number
/// and no address; its microdata twin says four pieces, the JSON-LD three.
#[test]
fn the_published_examples_work() {
    let table: Value = serde_json::from_str(include_str!("../../../tests/standards/schema_org_order.json")).unwrap();
    let (order, person) = one(native(&table["order_example"]));
    assert_eq!(lines(&order), [("abc123", "Widget", 1), ("def456", "Widget accessories", 3)]);
    assert!(order.key.number.starts_with("unnumbered-"), "{}", order.key);
    assert_eq!(person.recipient.reveal(), "Jane Doe");
    assert_eq!(kinds(&order), [FlawKind::NoNumber, FlawKind::NoAddress]);
    assert_eq!(one(native(&table["order_example"])).0, order);

    // Of the invoice's two orders one is a service: nothing to send.
    let (order, _) = one(native(&table["invoice_example_with_orders"]));
    assert_eq!(order.key, OrderKey::new("shop", "123ABC"));
    assert_eq!(lines(&order), [("ABC123", "ACME Furnace 3000", 1)]);
    assert_eq!(order.placed.unwrap().to_string(), "2014-12-01T00:00:00Z");
}

/// An order with everything, as the demo's shop sends it.
fn whole() -> Value {
    json!({
        "@context": "https://schema.org",
        "@type": "Order",
        "orderNumber": "S-417",
        "orderDate": "2026-11-25T06:41:12Z",
        "dateModified": "2026-11-25T06:42:00Z",
        "isGift": true,
        "inLanguage": "ja",
        "price": "65.40", "priceCurrency": "EUR",
        "customer": {"@type": "Person", "name": "Zoë Ångström", "email": "zoe@example.org", "telephone": "+298 1"},
        "orderDelivery": {
            "@type": "ParcelDelivery",
            "hasDeliveryMethod": "road",
            "deliveryAddress": {
                "@type": "PostalAddress", "name": "佐藤 花子",
                "streetAddress": "Quay Street 4\nFlat 2", "postalCode": "sk1 203",
                "addressLocality": "Port Haven", "addressRegion": "North", "addressCountry": "QS"
            }
        },
        "orderedItem": [{
            "@type": "OrderItem", "orderItemNumber": "1", "orderQuantity": 2,
            "orderedItem": {"@type": "Product", "sku": "mug", "name": "Mug, tide grey",
                            "offers": {"@type": "Offer", "price": 24.0, "priceCurrency": "EUR"}}
        }, {
            "@type": "OrderItem", "orderQuantity": 1, "orderedItem": {"@type": "Service", "name": "Tip"}
        }],
        "additionalProperty": [
            {"@type": "PropertyValue", "name": "wish", "value": "Please ring twice"},
            {"@type": "PropertyValue", "name": "giftMessage", "value": "Happy birthday,\nZoë"},
            {"@type": "PropertyValue", "name": "hideBuyer", "value": true},
            {"@type": "PropertyValue", "name": "notBefore", "value": "2026-12-01"}
        ]
    })
}

#[test]
fn everything_that_an_order_says_is_taken_over() {
    let (order, person) = one(native(&whole()));
    assert_eq!(kinds(&order), []);
    assert_eq!(order.key, OrderKey::new("shop", "S-417"));
    assert_eq!(order.revision, Some(Revision::At("2026-11-25T06:42:00Z".parse().unwrap())));
    assert_eq!(order.placed, Some("2026-11-25T06:41:12Z".parse().unwrap()));
    assert_eq!(lines(&order), [("mug", "Mug, tide grey", 2)]);
    assert_eq!(order.lines[0].unit_price, Some(Money::new(2400, Currency::EUR)));
    assert_eq!(order.total, Some(Money::new(6540, Currency::EUR)));
    assert_eq!(order.requested_service, Some("road".into()));
    assert_eq!(order.not_before, Some(jiff::civil::date(2026, 12, 1)));
    assert!(order.gift && order.hide_buyer && order.has_wish && !order.cancelled);
    assert_eq!(order.destination.country, Some("QS".parse().unwrap()));
    assert_eq!(order.destination.postcode_head, "SK120");
    assert_eq!(order.destination.address_hash.len(), 32);
    let told = |text: &Option<Hidden>| text.as_ref().unwrap().reveal().to_owned();
    assert_eq!(person.recipient.reveal(), "佐藤 花子");
    assert_eq!(told(&person.buyer), "Zoë Ångström");
    assert_eq!(person.street.iter().map(Hidden::reveal).collect::<Vec<_>>(), ["Quay Street 4", "Flat 2"]);
    assert_eq!(told(&person.gift_message), "Happy birthday,\nZoë");
    assert_eq!((told(&person.email), told(&person.phone)), ("zoe@example.org".into(), "+298 1".into()));
    assert_eq!(told(&person.wish), "Please ring twice");
    assert_eq!(person.language.as_deref(), Some("ja"));
}

/// Changes one member of the whole order.
fn with(pointer: &str, value: Value) -> Value {
    let mut body = whole();
    let (parent, key) = pointer.rsplit_once('/').unwrap();
    let parent = body.pointer_mut(parent).unwrap();
    match parent {
        Value::Object(map) => drop(map.insert(key.to_owned(), value)),
        other => other[key.parse::<usize>().unwrap()] = value,
    }
    body
}

#[test]
fn json_ld_may_be_written_in_many_ways() {
    let order = whole();
    let mut prefixed = json!({"@context": {"schema": "http://schema.org/"}, "@type": ["schema:Order", "Thing"]});
    for (key, value) in order.as_object().unwrap().iter().filter(|(key, _)| !key.starts_with('@')) {
        prefixed[format!("schema:{key}")] = value.clone();
    }
    let mut referring = order.clone();
    let customer = referring["customer"].take();
    referring["customer"] = json!({"@id": "#zoe"});
    let mut described = customer;
    described["@id"] = json!("#zoe");
    let plain_quantity = "/orderedItem/0/orderQuantity";
    let bodies = [
        order.clone(),
        json!([order.clone()]),
        json!([{"@context": "http://www.schema.org", "@type": "Person", "name": "A"}, order.clone()]),
        prefixed,
        json!({"@context": "https://schema.org/", "@graph": [described, referring]}),
        with("/@type", json!("https://schema.org/Order")),
        with("/@context", json!(["https://example.org/own", "http://schema.org/"])),
        with("/orderNumber", json!({"@value": "S-417"})),
        with("/orderNumber", json!(["S-417"])),
        with(plain_quantity, json!("2")),
        with(plain_quantity, json!({"@type": "QuantitativeValue", "value": 2})),
        with(plain_quantity, json!({"@type": "QuantitativeValue", "value": "2.0"})),
        with("/orderedItem/0/orderedItem/sku", json!({"@value": "mug"})),
        with("/orderDelivery/deliveryAddress/addressCountry", json!({"@type": "Country", "name": "QS"})),
    ];
    let wanted = one(native(&order));
    for body in bodies {
        assert_eq!(one(native(&body)), wanted, "{body}");
    }
}

#[test]
fn items_within_items_multiply_and_offers_count_as_items() {
    let nested = with(
        "/orderedItem",
        json!({"@type": "OrderItem", "orderQuantity": 2, "orderItemNumber": "7", "orderedItem": [
            {"@type": "OrderItem", "orderQuantity": 3, "orderedItem": {"@type": "Product", "productID": "tin", "name": "Tin"}},
            {"@type": "Product", "gtin13": "6291041500213", "name": "Tea"},
            {"@type": "Product", "name": "Jug"}
        ]}),
    );
    let (order, _) = one(native(&nested));
    assert_eq!(lines(&order), [("tin", "Tin", 6), ("6291041500213", "Tea", 2), ("7", "Jug", 2)]);

    let mut offered = with("/orderedItem", json!([]));
    offered["acceptedOffer"] = json!({"@type": "Offer", "price": "12.50", "priceCurrency": "EUR",
        "eligibleQuantity": {"value": 2}, "itemOffered": {"@type": "Product", "sku": "mug"}});
    let (order, _) = one(native(&offered));
    assert_eq!(lines(&order), [("mug", "mug", 2)]);
    assert_eq!(order.lines[0].unit_price, Some(Money::new(1250, Currency::EUR)));

    let mut gone = whole();
    gone["orderedItem"][0]["orderItemStatus"] = json!("https://schema.org/OrderCancelled");
    assert_eq!(kinds(&one(native(&gone)).0), [FlawKind::NoGoods]);

    // A few nodes that refer to each other a thousand times each are not followed for ever.
    let refer = |id: &str| json!(vec![json!({"@id": id}); 1000]);
    let mut graph = vec![json!({"@type": "Order", "orderNumber": "S-1", "orderedItem": refer("#a")})];
    for (id, next) in [("#a", "#b"), ("#b", "#c"), ("#c", "#d")] {
        graph.push(json!({"@id": id, "@type": "OrderItem", "orderedItem": refer(next)}));
    }
    graph.push(json!({"@id": "#d", "@type": "Service"}));
    let endless = json!({"@context": "https://schema.org", "@graph": graph});
    assert!(matches!(native(&endless), Meaning::Unmappable { .. }));

    let mut deep = json!({"@type": "Product", "sku": "mug"});
    for _ in 0..6 {
        deep = json!({"@type": "OrderItem", "orderedItem": deep});
    }
    assert!(matches!(native(&with("/orderedItem", deep)), Meaning::Unmappable { .. }));
}

#[test]
fn a_cancelled_order_needs_neither_lines_nor_an_address() {
    for status in ["https://schema.org/OrderCancelled", "http://schema.org/OrderCancelled", "OrderCancelled"] {
        let body =
            json!({"@context": "https://schema.org", "@type": "Order", "orderNumber": "S-1", "orderStatus": status});
        let (order, _) = one(native(&body));
        assert!(order.cancelled && order.flaws.is_empty(), "{status}");
    }
    // Every other OrderStatus of the vocabulary leaves it open.
    let table: Value = serde_json::from_str(include_str!("../../../tests/standards/schema_org_order.json")).unwrap();
    for status in table["order_status_values"].as_array().unwrap() {
        let cancelled = one(native(&with("/orderStatus", status.clone()))).0.cancelled;
        assert_eq!(cancelled, status == "OrderCancelled", "{status}");
    }
}

#[test]
fn flaws_of_content_become_questions_and_the_order_stays() {
    let address = "/orderDelivery/deliveryAddress";
    let quantity = "/orderedItem/0/orderQuantity";
    let cases = [
        (quantity, json!(0), vec![FlawKind::BadQuantity], quantity, 0),
        (quantity, json!(-1), vec![FlawKind::BadQuantity], quantity, 0),
        (quantity, json!(1_000_000_000), vec![FlawKind::BadQuantity], quantity, 1),
        (quantity, json!(1e300), vec![FlawKind::BadQuantity], quantity, 1),
        (quantity, json!(1.5), vec![FlawKind::BadQuantity], quantity, 1),
        (quantity, json!("many"), vec![FlawKind::BadQuantity], quantity, 1),
        ("/orderDelivery", json!(null), vec![FlawKind::NoAddress], "", 1),
        ("/orderDelivery/deliveryAddress/streetAddress", json!(""), vec![FlawKind::NoAddress], address, 1),
        (address, json!("Quay Street 4, Port Haven"), vec![FlawKind::NoAddress], address, 1),
        (
            "/orderDelivery/deliveryAddress/addressCountry",
            json!("Skerry"),
            vec![FlawKind::UnknownCountry],
            "/orderDelivery/deliveryAddress/addressCountry",
            1,
        ),
        ("/orderDelivery/deliveryAddress/addressCountry", json!(null), vec![FlawKind::UnknownCountry], address, 1),
        ("/orderDelivery/deliveryAddress/name", json!("Zoë\u{1b}@\u{0}"), vec![FlawKind::OddCharacters], "", 1),
        ("/orderDelivery/deliveryAddress/name", json!("Ann \u{202e}eilA"), vec![FlawKind::OddCharacters], "", 1),
        ("/orderedItem", json!([]), vec![FlawKind::NoGoods], "/orderedItem", 0),
    ];
    for (pointer, value, wanted, place, count) in cases {
        let (order, person) = one(native(&with(pointer, value.clone())));
        assert_eq!(kinds(&order), wanted, "{pointer} {value}");
        assert_eq!(order.flaws[0].pointer, place, "{pointer} {value}");
        assert_eq!(order.lines.len(), count, "{pointer} {value}");
        // A flaw says what is wrong without telling of the person.
        for text in [person.recipient.reveal(), person.locality.reveal()] {
            assert!(text.is_empty() || !order.flaws[0].detail.contains(text), "{}", order.flaws[0].detail);
        }
        let unprinted = |c: char| c.is_control() || ('\u{202a}'..='\u{202e}').contains(&c);
        assert!(!person.recipient.reveal().contains(unprinted));
    }
    let mut nameless = with("/customer", json!(null));
    nameless["orderDelivery"]["deliveryAddress"]["name"] = json!(null);
    assert_eq!(kinds(&one(native(&nameless)).0), [FlawKind::NoName]);
}

#[test]
fn lines_that_go_to_different_addresses_need_a_person() {
    let delivered =
        |street: &str| json!({"deliveryAddress": {"streetAddress": street, "postalCode": "1", "addressCountry": "QS"}});
    for (second, flaws) in [("Quay Street 4", vec![]), ("Hill Street 1", vec![FlawKind::NoAddress])] {
        let mut body = with("/orderDelivery", json!(null));
        body["orderedItem"] = json!([
            {"@type": "OrderItem", "orderedItem": {"sku": "mug"}, "orderDelivery": delivered("Quay Street 4")},
            {"@type": "OrderItem", "orderedItem": {"sku": "bowl"}, "orderDelivery": delivered(second)}
        ]);
        assert_eq!(kinds(&one(native(&body)).0), flaws, "{second}");
    }
}

#[test]
fn what_is_no_order_is_left_alone_and_what_has_no_identity_is_unmappable() {
    for body in [
        json!({"@context": "https://schema.org", "@type": "Person", "name": "A"}),
        json!({"@type": "Event"}),
        json!({"hello": 1}),
    ] {
        assert!(matches!(native(&body), Meaning::NotAnOrder), "{body}");
    }
    let many: Vec<_> = (0..=LINES_MAX).map(|nth| json!({"@type": "Product", "sku": nth.to_string()})).collect();
    for (body, place, told) in [
        (json!("text"), "", "not a JSON-LD object"),
        (json!([]), "", "not a JSON-LD object"),
        (with("/@context", json!("https://example.org/")), "/@context", "not schema.org"),
        (with("/orderedItem/0/orderedItem", json!({"@type": "Product"})), "", ""),
        (with("/orderedItem", json!([{"@type": "Product"}])), "/orderedItem/0", "neither a sku nor a name"),
        (with("/orderedItem", json!(many)), "/orderedItem", "more than 200"),
        (with("/orderNumber", json!("S-1\u{0}")), "", "odd ones"),
        (with("/orderNumber", json!("9".repeat(100))), "", "longer than 80"),
    ] {
        match native(&body) {
            Meaning::Unmappable { reason, pointer } => {
                assert_eq!(pointer, place, "{reason}");
                assert!(reason.contains(told), "{reason}");
            }
            // An item's own number stands in for a product's sku.
            Meaning::Orders(orders) => assert_eq!((told, lines(&orders[0].0)), ("", vec![("1", "1", 2)])),
            other => panic!("{body}: {other:?}"),
        }
    }
    let just: Vec<_> = (0..LINES_MAX).map(|nth| json!({"@type": "Product", "sku": nth.to_string()})).collect();
    assert_eq!(one(native(&with("/orderedItem", json!(just)))).0.lines.len(), LINES_MAX);
}

#[test]
fn bytes_that_are_no_json_are_unmappable() {
    let mapper = Mapper::compile(&source(Payload::SchemaOrg)).unwrap();
    for body in [&b""[..], b"\xff\xfe{\0}\0", b"{\"a\":", b"\x1b@garbage", b"null", &[b'['; 100_000]] {
        assert!(matches!(mapper.read(body, &KEY, Currency::EUR), Meaning::Unmappable { .. }));
    }
}

#[test]
fn the_digest_tells_contents_apart_and_not_revisions() {
    let digest = |body: &Value| one(native(body)).0.content_digest;
    let first = digest(&whole());
    assert_eq!(first.len(), 64);
    assert_eq!(digest(&with("/dateModified", json!("2026-11-26T00:00:00Z"))), first);
    for changed in [
        with("/orderedItem/0/orderQuantity", json!(3)),
        with("/orderDelivery/deliveryAddress/name", json!("佐藤 太郎")),
        with("/isGift", json!(false)),
        with("/orderDelivery/deliveryAddress/streetAddress", json!("Quay Street 5")),
    ] {
        assert_ne!(digest(&changed), first);
    }
    // Another installation hashes addresses with another key, and digests contents alike.
    let mapper = Mapper::compile(&source(Payload::SchemaOrg)).unwrap();
    let (elsewhere, _) = one(mapper.read(whole().to_string().as_bytes(), &[9; 32], Currency::EUR));
    assert_eq!(elsewhere.content_digest, first);
    assert_ne!(elsewhere.destination.address_hash, one(native(&whole())).0.destination.address_hash);
}

#[test]
fn prices_in_another_currency_are_left_out() {
    let (order, _) = one(native(&with("/priceCurrency", json!("SEK"))));
    assert_eq!(order.total, None);
    assert!(order.lines[0].unit_price.is_some());
}

#[test]
fn an_order_that_is_fetched_needs_no_address() {
    let mut body = with("/orderDelivery", json!({"hasDeliveryMethod": "At the Quay"}));
    let read = |body: &Value, services: &[Service]| {
        let mapper = Mapper::compile(&source(Payload::SchemaOrg)).unwrap().with_services(services);
        one(mapper.read(body.to_string().as_bytes(), &KEY, Currency::EUR)).0
    };
    let collect = Service {
        asked_as: vec!["at the quay".into()],
        only_when_asked: true,
        collect: true,
        ..Service::plain("collect")
    };
    assert_eq!(kinds(&read(&body, std::slice::from_ref(&collect))), []);
    assert_eq!(kinds(&read(&body, &[])), [FlawKind::NoAddress]);
    body["orderDelivery"]["hasDeliveryMethod"] = json!("road");
    assert_eq!(kinds(&read(&body, &[collect])), [FlawKind::NoAddress]);
}

#[test]
fn a_post_box_is_recognised_by_its_field_or_its_words() {
    let address = "/orderDelivery/deliveryAddress";
    for (street, boxed) in [("Quay Street 4", false), ("P.O. Box 12", true)] {
        let (order, _) = one(native(&with(&format!("{address}/streetAddress"), json!(street))));
        assert_eq!(order.destination.post_box, boxed, "{street}");
    }
    let only_box = json!({"postOfficeBoxNumber": "12", "postalCode": "1", "addressCountry": "QS"});
    let (order, person) = one(native(&with(address, only_box)));
    assert!(order.destination.post_box && order.flaws.is_empty());
    assert_eq!(person.street[0].reveal(), "PO Box 12");
}

#[test]
fn a_test_message_orders_nothing_whatever_the_mapping() {
    let body = test_body("2026-11-25T07:00:00Z".parse().unwrap());
    let strict = Mapping { number: "/no".into(), lines: "/lines".into(), ..Mapping::default() };
    for payload in [Payload::SchemaOrg, Payload::Mapped(Box::new(strict))] {
        let mapper = Mapper::compile(&source(payload)).unwrap();
        assert!(matches!(mapper.read(body.as_bytes(), &KEY, Currency::EUR), Meaning::NotAnOrder));
    }
}

#[test]
fn a_mapping_tells_where_it_finds_nothing_and_all_its_wrong_paths() {
    let mapping = Mapping {
        order: Some("$.orders[*]".into()),
        number: "/no".into(),
        lines: "/lines".into(),
        line: LineMapping { sku: "/sku".into(), quantity: Some("/n".into()), ..LineMapping::default() },
        ..Mapping::default()
    };
    let mapper = Mapper::compile(&source(Payload::Mapped(Box::new(mapping.clone())))).unwrap();
    let read = |body: Value| mapper.read(body.to_string().as_bytes(), &KEY, Currency::EUR);
    for (body, place, told) in [
        (json!({"other": 1}), "", "\"order\" finds nothing"),
        (json!({"orders": [{"no": 1, "lines": []}, {"no": 2}]}), "/orders/1", "\"lines\" finds nothing"),
        (json!({"orders": [{"lines": [{"sku": "a", "n": 1}]}]}), "/orders/0", "no number"),
        (json!({"orders": [{"no": 1, "lines": [{"n": 1}]}]}), "/orders/0/lines/0", "neither a sku nor a name"),
        (json!({"orders": vec![json!({"no": 1, "lines": []}); ORDERS_MAX + 1]}), "", "more than 200 orders"),
    ] {
        let Meaning::Unmappable { reason, pointer } = read(body.clone()) else { panic!("{body}") };
        assert!(reason.contains(told) && pointer == place, "{reason} at {pointer:?}");
    }
    // A quantity that the path does not find is a question, not a one.
    let (order, _) = one(read(json!({"orders": [{"no": 7, "lines": [{"sku": "a"}]}]})));
    assert_eq!(order.key.number, "7");
    assert!(kinds(&order).contains(&FlawKind::BadQuantity));
    assert_eq!(order.flaws[0].pointer, "/orders/0/lines/0");

    let wrong = Mapping {
        number: "no".into(),
        street: vec!["/a".into(), "b".into()],
        currency: Some("eur".into()),
        line: LineMapping { sku: "$.".into(), ..LineMapping::default() },
        ..mapping
    };
    let told = Mapper::compile(&source(Payload::Mapped(Box::new(wrong)))).unwrap_err();
    let keys: Vec<_> = told.iter().map(|problem| problem.key.as_str()).collect();
    assert_eq!(keys, ["currency", "number", "line.sku", "street"]);
}

#[test]
fn one_customer_is_recognised_by_name_and_address_and_no_name_is_kept() {
    let with = |pointer: &str, value: Value| {
        let mut body = with(pointer, value);
        body["isGift"] = json!(false);
        body
    };
    let (first, _) = one(native(&with("/orderNumber", json!("S-1"))));
    let marks = &first.customer;
    assert_eq!(first.household(), one(native(&with("/orderNumber", json!("S-2")))).0.household());
    assert!(first.household().is_some() && marks.name.len() == 32, "{marks:?}");
    let recipient = "/orderDelivery/deliveryAddress/name";
    // The same name in another writing, another name, nobody.
    let written = |name: &str| one(native(&with(recipient, json!(name)))).0.customer.name;
    assert_eq!(written("zoë  ÅNGSTRÖM"), written("Zoë Ångström"));
    assert_ne!(written("Zoë Ångström"), written("Bo Ångström"));
    let other = one(native(&with("/customer/email", json!("else@example.org")))).0.customer;
    assert!(other.email != marks.email && other.name == marks.name);
    // The keyed hashes say nothing about the content.
    let told = Mapper::compile(&source(Payload::SchemaOrg)).unwrap();
    let body = with("/orderNumber", json!("S-1")).to_string();
    let (elsewhere, _) = one(told.read(body.as_bytes(), &[8; 32], Currency::EUR));
    assert_ne!(elsewhere.customer, first.customer);
    assert_eq!(elsewhere.content_digest, first.content_digest);
}

#[test]
fn who_asks_for_a_separate_delivery_is_joined_with_nobody() {
    let asked = |value: Value| {
        let property = json!([{"@type": "PropertyValue", "name": "separateDelivery", "value": value}]);
        let mut body = with("/additionalProperty", property);
        body["isGift"] = json!(false);
        one(native(&body)).0
    };
    let may = asked(json!(false));
    assert!(!may.separate && may.household().is_some());
    let order = asked(json!(true));
    assert!(order.separate && order.household().is_none());
    let mapping = Mapping {
        number: "/no".into(),
        lines: "/lines".into(),
        line: LineMapping { sku: "/sku".into(), ..LineMapping::default() },
        separate: Some("/apart".into()),
        ..Mapping::default()
    };
    let mapper = Mapper::compile(&source(Payload::Mapped(Box::new(mapping)))).unwrap();
    for (value, separate) in [
        (json!(true), true),
        (json!("yes, please"), true),
        (json!("no"), false),
        (json!(false), false),
        (json!(null), false),
    ] {
        let body = json!({"no": 1, "lines": [{"sku": "a"}], "apart": value});
        let (order, _) = one(mapper.read(body.to_string().as_bytes(), &KEY, Currency::EUR));
        assert_eq!(order.separate, separate, "{body}");
    }
}
