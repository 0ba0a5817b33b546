//! The public listener as a shop sees it: on a real socket, with real signatures.

mod intake_support;

use dawnslip::book::Busy;
use dawnslip::intake::listener::{Reason, Stopped};
use dawnslip::intake::sender::Envelope;
use dawnslip::model::OrderKey;
use intake_support::*;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::io::AsyncWriteExt;

#[tokio::test]
async fn a_new_message_is_202_and_the_same_again_200_with_the_same_body() {
    let intake = Running::start(limits()).await;
    let mut sender = intake.sender();
    let fair_body = "{\"sale\":{\"ref\":\"F-1\",\"goods\":[{\"code\":\"mug\",\"count\":1}],\"to\":{\"name\":\"A\"}}}";
    for envelope in [shop("msg_1", &order("S-417")), fair(fair_body)] {
        let first = sender.send(&envelope).await.unwrap();
        let again = sender.send(&envelope).await.unwrap();
        assert_eq!((first.status, again.status), (202, 200), "{first:?}");
        assert_eq!(first.body, again.body);
    }
    let kept = intake.shelf.kept.lock().unwrap();
    let shop = kept.keys().find(|key| key.source.as_str() == "shop").unwrap();
    assert_eq!(shop.id, "msg_1");
    let fair = kept.values().find(|received| received.message.source.as_str() == "fair").unwrap();
    // Nothing signs an id there: the message is known by its body.
    assert_eq!(fair.message.id, fair.body_digest);
    assert_eq!(fair.raw.reveal(), fair_body);
    assert_eq!(intake.counters.accepted.load(Ordering::Relaxed), 2);
    assert_eq!(intake.counters.known.load(Ordering::Relaxed), 2);
}

#[tokio::test]
async fn the_answer_names_the_orders_and_nothing_about_people() {
    let intake = Running::start(limits()).await;
    let told = intake.send(&shop("msg_1", &order("S-417"))).await;
    let body: serde_json::Value = serde_json::from_str(&told.body).unwrap();
    assert_eq!(body, serde_json::json!({"message": "msg_1", "outcome": "orders", "orders": ["S-417"]}));
}

#[tokio::test]
async fn a_message_whose_signature_does_not_fit_is_401_and_not_kept() {
    let intake = Running::start(limits()).await;
    let good = shop("msg_1", &order("S-417"));
    let tampered = Envelope { body: order("S-418").into(), ..good.clone() };
    let mut other_id = good.clone();
    other_id.headers[1].1 = "msg_2".into();
    let mut unsigned = good.clone();
    unsigned.headers.truncate(1);
    let mut old = good.clone();
    old.headers[2].1 = "1614265330".into();
    for envelope in [tampered, other_id, unsigned, old] {
        let told = intake.send(&envelope).await;
        assert_eq!(told.status, 401, "{told:?}");
        assert!(!told.body.contains(SHOP_SECRET) && !told.body.contains("v1,"), "{}", told.body);
        let body: serde_json::Value = serde_json::from_str(&told.body).unwrap();
        assert_eq!(body["status"], 401);
    }
    assert_eq!(intake.shelf.count(), 0);
    assert_eq!(intake.counters.refused(Reason::Signature), 4);
}

#[tokio::test]
async fn every_wrong_request_gets_its_own_problem_document() {
    let intake = Running::start(limits()).await;
    let json = "Content-Type: application/json\r\nConnection: close\r\n";
    let large = limits().body_bytes + 1;
    let chunk = "a".repeat(large);
    let cases = [
        (request("POST", "/intake/unknown", &format!("{json}Content-Length: 2\r\n"), "{}"), 404, ""),
        (request("POST", "/", &format!("{json}Content-Length: 2\r\n"), "{}"), 404, ""),
        (request("POST", "/intake/shop/more", &format!("{json}Content-Length: 2\r\n"), "{}"), 404, ""),
        (request("GET", "/intake/shop", "Connection: close\r\n", ""), 405, "allow: post"),
        (request("DELETE", "/intake/shop", "Connection: close\r\n", ""), 405, "allow: post"),
        (
            request(
                "POST",
                "/intake/shop",
                "Content-Type: text/plain\r\nConnection: close\r\nContent-Length: 2\r\n",
                "{}",
            ),
            415,
            "",
        ),
        (
            request("POST", "/intake/shop", &format!("{json}Content-Encoding: gzip\r\nContent-Length: 2\r\n"), "{}"),
            415,
            "",
        ),
        (request("POST", "/intake/shop", &format!("{json}Content-Length: {large}\r\n"), ""), 413, "connection: close"),
        (
            request(
                "POST",
                "/intake/shop",
                &format!("{json}Transfer-Encoding: chunked\r\n"),
                &format!("{large:x}\r\n{chunk}\r\n0\r\n\r\n"),
            ),
            413,
            "connection: close",
        ),
        (request("POST", "/intake/shop", &format!("{json}Content-Length: 2\r\n"), "{}"), 401, "www-authenticate: "),
    ];
    for (bytes, wanted, header) in cases {
        let (status, head, body) = parted(&intake.raw(&bytes).await);
        assert_eq!(status, wanted, "{head}");
        assert!(head.contains("content-type: application/problem+json"), "{head}");
        assert!(head.contains(header), "{head}");
        assert_eq!(body["status"], wanted, "{body}");
        assert!(body["title"].is_string() && body["detail"].is_string(), "{body}");
    }
    assert_eq!(intake.shelf.count(), 0);
}

#[tokio::test]
async fn a_body_of_exactly_the_limit_is_read() {
    let intake = Running::start(limits()).await;
    let mut body = order("S-1");
    body.push_str(&" ".repeat(limits().body_bytes - body.len()));
    assert_eq!(intake.send(&shop("msg_1", &body)).await.status, 202);
    body.push(' ');
    assert_eq!(intake.send(&shop("msg_2", &body)).await.status, 413);
}

/// RFC 9110, section 10.2.3: Retry-After in seconds; section 15.6.4: 503.
#[tokio::test]
async fn who_cannot_keep_anything_says_when_to_come_again() {
    let intake = Running::start(limits()).await;
    for busy in [Busy::Behind, Busy::NoRoom, Busy::Stopping] {
        intake.shelf.set(Mood::Refuses(busy));
        let told = intake.send(&shop("msg_1", &order("S-1"))).await;
        assert_eq!(told.status, 503, "{busy:?}");
        assert!(told.retry_after.is_some_and(|seconds| seconds >= 1), "{busy:?}");
    }
    intake.shelf.set(Mood::Keeps);
    assert_eq!(intake.send(&shop("msg_1", &order("S-1"))).await.status, 202);
}

#[tokio::test]
async fn a_mistake_of_ours_is_500_and_the_next_message_is_served() {
    let intake = Running::start(limits()).await;
    intake.shelf.set(Mood::Panics);
    assert_eq!(intake.send(&shop("msg_1", &order("S-1"))).await.status, 500);
    intake.shelf.set(Mood::Keeps);
    assert_eq!(intake.send(&shop("msg_1", &order("S-1"))).await.status, 202);
}

#[tokio::test]
async fn a_source_that_sends_too_much_is_429_and_only_signed_messages_count() {
    let intake = Running::start(dawnslip::model::Limits { per_minute: 3, ..limits() }).await;
    for _ in 0..20 {
        let mut forged = shop("msg_0", &order("S-0"));
        forged.headers[1].1 = "msg_forged".into();
        assert_eq!(intake.send(&forged).await.status, 401);
    }
    for nth in 1..=3 {
        assert_eq!(intake.send(&shop(&format!("msg_{nth}"), &order("S-1"))).await.status, 202);
    }
    let told = intake.send(&shop("msg_4", &order("S-1"))).await;
    assert_eq!(told.status, 429);
    assert!(told.retry_after.is_some_and(|seconds| (1..=20).contains(&seconds)), "{told:?}");
    // Another source has its own allowance.
    assert_eq!(intake.send(&fair("{\"ping\":1}")).await.status, 202);
}

#[tokio::test]
async fn a_reload_changes_secrets_without_dropping_a_connection() {
    let intake = Running::start(limits()).await;
    let mut sender = intake.sender();
    assert_eq!(sender.send(&shop("msg_1", &order("S-1"))).await.unwrap().status, 202);
    let new = "whsec_/////////////////////////////////////////w==";
    intake.sources.swap(table(&[new], limits()));
    assert_eq!(sender.send(&shop("msg_2", &order("S-2"))).await.unwrap().status, 401);
    intake.sources.swap(table(&[new, SHOP_SECRET], limits()));
    assert_eq!(sender.send(&shop("msg_2", &order("S-2"))).await.unwrap().status, 202);
}

#[tokio::test]
async fn a_client_that_hangs_up_does_not_undo_what_is_being_stored() {
    let intake = Running::start(limits()).await;
    intake.shelf.set(Mood::Waits);
    let envelope = shop("msg_1", &order("S-417"));
    let mut stream = intake.connect().await;
    let mut headers = String::new();
    for (name, value) in &envelope.headers {
        headers.push_str(&format!("{name}: {value}\r\n"));
    }
    headers.push_str(&format!("Content-Length: {}\r\n", envelope.body.len()));
    let mut bytes = request("POST", &envelope.path, &headers, "");
    bytes.extend_from_slice(&envelope.body);
    stream.write_all(&bytes).await.unwrap();
    tokio::time::sleep(Duration::from_millis(200)).await;
    drop(stream);
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert_eq!(intake.shelf.count(), 0);
    intake.shelf.go_on.notify_one();
    for _ in 0..50 {
        tokio::time::sleep(Duration::from_millis(20)).await;
        if intake.shelf.count() == 1 {
            return;
        }
    }
    panic!("the message was dropped together with its connection");
}

#[tokio::test]
async fn stopping_answers_what_has_begun_and_takes_nothing_new() {
    let mut intake = Running::start(limits()).await;
    intake.shelf.set(Mood::Waits);
    let mut sender = intake.sender();
    let envelope = shop("msg_1", &order("S-1"));
    let begun = tokio::spawn(async move { sender.send(&envelope).await });
    tokio::time::sleep(Duration::from_millis(200)).await;
    intake.begin_to_stop();
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert!(intake.sender().send(&shop("msg_2", &order("S-2"))).await.is_err());
    intake.shelf.go_on.notify_one();
    assert_eq!(begun.await.unwrap().unwrap().status, 202);
    let shelf = intake.shelf.clone();
    assert_eq!(intake.stopped().await, Stopped::Clean);
    assert_eq!(shelf.count(), 1);
}

#[tokio::test]
async fn stopping_waits_no_longer_than_its_grace() {
    let mut intake = Running::start(limits()).await;
    intake.shelf.set(Mood::Waits);
    let mut sender = intake.sender();
    let envelope = shop("msg_1", &order("S-1"));
    let stuck = tokio::spawn(async move { sender.send(&envelope).await });
    tokio::time::sleep(Duration::from_millis(200)).await;
    intake.begin_to_stop();
    assert_eq!(intake.stopped().await, Stopped::Late);
    stuck.abort();
}

#[tokio::test]
async fn sixty_senders_at_once_are_all_served() {
    let intake = Running::start(limits()).await;
    let mut tasks = tokio::task::JoinSet::new();
    for sender_nth in 0..60 {
        let mut sender = intake.sender();
        tasks.spawn(async move {
            for nth in 0..5 {
                let id = format!("msg_{sender_nth}_{nth}");
                let told = sender.send(&shop(&id, &order(&format!("S-{sender_nth}{nth}")))).await.unwrap();
                assert_eq!(told.status, 202);
            }
        });
    }
    tasks.join_all().await;
    assert_eq!(intake.shelf.count(), 300);
    let kept = intake.shelf.kept.lock().unwrap();
    let numbers: std::collections::BTreeSet<_> = kept
        .values()
        .filter_map(|received| match &received.meaning {
            dawnslip::book::Meaning::Orders(orders) => Some(orders[0].0.key.clone()),
            _ => None,
        })
        .collect();
    assert_eq!(numbers.len(), 300);
    assert!(numbers.contains(&OrderKey::new("shop", "S-594")));
}
