//! Input that is wrong by accident or on purpose: a clear answer or a question to a person;
//! the daemon lives, and nothing that a customer typed commands the printer.

use super::support::*;
use dawnslip::intake::sender::Envelope;
use serde_json::{Value, json};
use std::io::{Read, Write};
use std::net::TcpStream;

pub fn request(envelope: &Envelope, more: &str) -> Vec<u8> {
    let mut head = format!("POST {} HTTP/1.1\r\nHost: x\r\nConnection: close\r\n{more}", envelope.path);
    for (name, value) in &envelope.headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    [format!("{head}Content-Length: {}\r\n\r\n", envelope.body.len()).as_bytes(), &envelope.body[..]].concat()
}

#[test]
fn every_broken_request_gets_a_clear_answer() {
    let mut bench = Bench::running();
    let body = order("A-1", &[("mug-dawn", 1)]).to_string();
    let at = bench.daemon().intake;
    let signed = bench.sign("shop", "msg_a", body.clone());
    let with = |name: &str, value: &str| {
        let mut envelope = signed.clone();
        envelope.headers.retain(|(known, _)| !known.eq_ignore_ascii_case(name));
        envelope.headers.push((name.to_owned(), value.to_owned()));
        request(&envelope, "")
    };
    let cases: Vec<(&str, Vec<u8>, &[u16])> = vec![
        ("noise", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n".to_vec(), &[400]),
        ("no HTTP", b"HELLO\r\n\r\n".to_vec(), &[400]),
        ("GET", b"GET /intake/shop HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n".to_vec(), &[405]),
        (
            "another path",
            b"POST /orders HTTP/1.1\r\nHost: x\r\nContent-Length: 0\r\nConnection: close\r\n\r\n".to_vec(),
            &[404],
        ),
        ("no such source", request(&Envelope { path: "/intake/nobody".into(), ..signed.clone() }, ""), &[404]),
        ("not JSON by its type", with("content-type", "text/plain"), &[415]),
        ("another charset", with("content-type", "application/json; charset=iso-8859-1"), &[415]),
        ("no signature", with("webhook-signature", ""), &[401]),
        ("a signature of something", with("webhook-signature", "v1,AAAA"), &[401]),
        ("an old timestamp", with("webhook-timestamp", "1"), &[401]),
    ];
    for (what, bytes, expected) in cases {
        let reply = exchange(at, bytes).unwrap_or_else(|error| panic!("{what}: {error}"));
        assert!(expected.contains(&reply.status), "{what}: {reply:?}");
        // Where it was HTTP at all, the refusal is a problem document (RFC 9457).
        assert!(reply.status == 400 || reply.head.contains("application/problem+json"), "{what}: {reply:?}");
    }
    assert!(bench.numbers().is_empty());

    // Signed rightly, but no order that anybody could read: kept, and a person is asked.
    let deep = format!("{}{}", "[".repeat(60_000), "]".repeat(60_000));
    let latin: Vec<u8> =
        body.replace("Zoë Ångström", "Zo@").bytes().map(|b| if b == b'@' { 0xEB } else { b }).collect();
    let kept: Vec<(&str, Vec<u8>)> = vec![
        ("garbage", b"\x00\x01\x02\xff\xfe not json".to_vec()),
        ("truncated JSON", body.as_bytes()[..body.len() / 2].to_vec()),
        ("deep nesting", deep.into_bytes()),
        ("Latin-1 in a JSON body", latin),
        ("nothing at all", Vec::new()),
        ("a bare number", b"17".to_vec()),
    ];
    let mut needs = 0;
    for (what, bytes) in kept {
        let told = bench.send(&format!("msg_{what}").replace(' ', "_"), bytes);
        assert!([202, 400, 415].contains(&told.status), "{what}: {} {}", told.status, told.body);
        needs += usize::from(told.status == 202);
    }
    let things = bench.json("/status")["things"].as_array().unwrap().len();
    assert!(things >= usize::from(needs > 0), "{things} things of {needs} kept messages");
    assert!(needs > 0 && bench.status().starts_with("needs you"), "{}", bench.status());

    // 100 MB, announced and sent: refused, and not read to its end.
    let mut stream = TcpStream::connect(at).unwrap();
    let head = format!(
        "POST /intake/shop HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n",
        100_000_000
    );
    stream.write_all(head.as_bytes()).unwrap();
    let chunk = vec![b'x'; 1 << 20];
    let mut sent = 0;
    while sent < 100 && stream.write_all(&chunk).is_ok() {
        sent += 1;
    }
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    assert!(
        answer.is_empty() || String::from_utf8_lossy(&answer).contains(" 413 "),
        "{}",
        String::from_utf8_lossy(&answer)
    );
    assert!(sent < 100, "it read 100 MB");
    // Likewise without a length.
    let chunked = b"POST /intake/shop HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n";
    let mut stream = TcpStream::connect(at).unwrap();
    stream.write_all(chunked).unwrap();
    let piece = [b"80000\r\n".as_slice(), &vec![b'x'; 0x80000], b"\r\n"].concat();
    let refused = (0..200).any(|_| stream.write_all(&piece).is_err());
    assert!(refused, "it read 100 MB in chunks");
    // A client that stops in the middle does not stop others.
    let mut half = TcpStream::connect(at).unwrap();
    half.write_all(&request(&signed, "")[..200]).unwrap();

    assert!(bench.is_alive());
    bench.order("A-2", &[("mug-dawn", 1)]);
    bench.until_stage("A-2", "printed");
}

#[test]
fn nothing_that_a_customer_types_commands_the_printer() {
    let bench = Bench::running();
    // ESC @, ESC p (drawer), GS V (cut), DLE DC4, NUL, GS ( H, bidi override and isolate, newlines.
    let nasty = "\u{1b}@\u{1b}p\u{0}2\u{fa}\u{1d}V\u{0}\u{10}\u{14}\u{1}\u{0}\u{0}\u{1d}(H\u{202e}dlrow\u{2066}\r\n\n\n\u{9b}2J\u{7}";
    let mut told = order("A-1", &[("mug-dawn", 1)]);
    told["customer"]["name"] = json!(nasty);
    let address = &mut told["orderDelivery"]["deliveryAddress"];
    address["name"] = json!(format!("Ada {nasty} Lovely"));
    address["streetAddress"] = json!(format!("Quay {nasty} 4"));
    told["giftMessage"] = json!(format!("For you {nasty}"));
    told["isGift"] = json!(true);
    told["additionalProperty"] = json!([{"@type": "PropertyValue", "name": "wish", "value": nasty}]);
    assert_eq!(bench.send("msg_nasty", told.to_string()).status, 202);
    bench.order("A-2", &[("mug-dawn", 1)]);
    bench.until_stage("A-2", "printed");
    bench.until_still();
    // A person is asked, and says that it is right as it is.
    bench.run(&["status"]).expect(1, &["needs you: 1 thing", "U+001B", "odd-characters:shop/A-1 go-on"]);
    assert_eq!(bench.galley.papers().len(), 2);
    bench.run(&["decide", "odd-characters:shop/A-1", "go-on"]).expect(0, &[]);
    bench.until_stage("A-1", "printed");
    bench.until_still();
    let papers = bench.galley.papers();
    // A cut, a reset or a drawer kick of theirs would make more papers, or leave notes.
    assert_eq!(papers.len(), 4, "{papers:?}");
    assert!(papers.iter().all(|paper| paper.notes.is_empty()), "{papers:?}");
    for path in ["/orders/A-1", "/orders/A-1/slip.txt", "/orders", "/status"] {
        let page = bench.get(path, "text/plain").body;
        let control = page.chars().find(|c| (c.is_control() && *c != '\n') || ('\u{202a}'..='\u{202e}').contains(c));
        assert!(control.is_none(), "{path} carries {control:?}: {page:?}");
    }
    bench.run(&["order", "A-1"]).expect(0, &["Lovely"]);
}

#[test]
fn odd_orders_ask_a_person_and_print_nothing() {
    let bench = Bench::new();
    // A product without a weight.
    bench.append(
        "products.toml",
        "\n[product.feather]\nname = \"Feather\"\nsize = \"100 x 20 x 5 mm\"\nshelf = \"D1\"\n",
    );
    let mut bench = bench;
    bench.start();
    let odd = |number: &str, change: &dyn Fn(&mut Value)| {
        let mut told = order(number, &[("mug-dawn", 1)]);
        change(&mut told);
        told
    };
    let quantity = |value: Value| move |told: &mut Value| told["orderedItem"][0]["orderQuantity"] = value.clone();
    let delivery = |field: &'static str, value: Value| {
        move |told: &mut Value| told["orderDelivery"]["deliveryAddress"][field] = value.clone()
    };
    let cases: Vec<(&str, Value)> = vec![
        ("quantity 0", odd("B-1", &quantity(json!(0)))),
        ("quantity -1", odd("B-2", &quantity(json!(-1)))),
        ("quantity a billion", odd("B-3", &quantity(json!(1_000_000_000)))),
        ("unknown sku", odd("B-4", &|told| told["orderedItem"][0]["orderedItem"]["sku"] = json!("no-such-thing"))),
        ("unknown country", odd("B-5", &delivery("addressCountry", json!("ZZ")))),
        ("no address", odd("B-6", &|told| told["orderDelivery"] = json!({"@type": "ParcelDelivery"}))),
        ("no street", odd("B-7", &delivery("streetAddress", json!("")))),
        ("weight missing", order("B-8", &[("feather", 1)])),
        ("no lines", odd("B-9", &|told| told["orderedItem"] = json!([]))),
        ("quantity in words", odd("B-10", &quantity(json!("a few")))),
    ];
    let count = cases.len();
    for (what, told) in &cases {
        let answer = bench.send(&format!("msg_{}", told["orderNumber"].as_str().unwrap()), told.to_string());
        assert_eq!(answer.status, 202, "{what}: {}", answer.body);
    }
    bench.until_still();
    let things = bench.json("/status")["things"].as_array().unwrap().clone();
    for (what, told) in &cases {
        let number = told["orderNumber"].as_str().unwrap();
        let asked = things.iter().any(|thing| {
            thing["cause"].as_str().is_some_and(|cause| cause.ends_with(number))
                || thing["orders"]
                    .as_array()
                    .is_some_and(|orders| orders.iter().any(|o| o.as_str().is_some_and(|o| o.ends_with(number))))
        });
        assert!(asked, "{what}: nobody is asked about {number}: {things:#?}");
    }
    assert!(things.iter().all(|thing| !thing["do"].as_array().unwrap().is_empty()), "{things:#?}");
    assert!(things.len() <= count, "more questions than orders: {things:#?}");
    assert!(bench.galley.papers().is_empty(), "{:?}", bench.galley.papers());
    assert!(bench.is_alive());
    bench.restart();
    assert_eq!(bench.json("/status")["things"].as_array().unwrap().len(), things.len());
}
