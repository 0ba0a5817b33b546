//! Bad input against the real listener on loopback: each gets a clear answer, nothing
//! panics, what is signed is kept whole, and honest senders are served meanwhile.

mod intake_support;

use dawnslip::book::Meaning;
use dawnslip::intake::listener::Reason;
use dawnslip::intake::message::raw_body;
use dawnslip::model::{FlawKind, Limits};
use intake_support::*;
use jiff::SignedDuration;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

const JSON: &str = "Content-Type: application/json\r\n";

#[tokio::test]
async fn signed_garbage_is_kept_byte_for_byte_and_asks_a_person() {
    let intake = Running::start(limits()).await;
    let whole = order("S-1");
    let deep = format!("{{\"@type\":\"Order\",\"orderNumber\":{}1{}}}", "[".repeat(20_000), "]".repeat(20_000));
    let bodies: [&[u8]; 8] = [
        b"",
        b"\x00\x01\x02\x1b@",
        b"not json at all",
        &whole.as_bytes()[..whole.len() / 2],
        deep.as_bytes(),
        b"{\"orderNumber\":\"M\xfcller\"}",
        &[0xff, 0xfe, b'{', 0, b'}', 0],
        b"{\"@type\":\"Order\",\"@type\":\"Person\"}",
    ];
    for (nth, body) in bodies.into_iter().enumerate() {
        let told = intake.send(&shop_bytes(&format!("msg_{nth}"), body)).await;
        assert_eq!(told.status, 202, "{nth}: {told:?}");
        assert!(told.body.contains("could not be mapped"), "{nth}: {}", told.body);
    }
    let kept = intake.shelf.kept.lock().unwrap();
    assert_eq!(kept.len(), bodies.len());
    for (nth, body) in bodies.into_iter().enumerate() {
        let received = kept.values().find(|received| received.message.id == format!("msg_{nth}")).unwrap();
        assert_eq!(raw_body(&received.raw), body, "{nth}");
        let Meaning::Unmappable { reason, .. } = &received.meaning else { panic!("{nth}") };
        assert!(!reason.is_empty() && !reason.contains('\u{1b}'), "{reason}");
    }
}

#[tokio::test]
async fn odd_content_stays_an_order_with_questions() {
    let intake = Running::start(limits()).await;
    let cases = [
        ("\"orderQuantity\":2", "\"orderQuantity\":0", FlawKind::BadQuantity),
        ("\"orderQuantity\":2", "\"orderQuantity\":-1", FlawKind::BadQuantity),
        ("\"orderQuantity\":2", "\"orderQuantity\":1000000000", FlawKind::BadQuantity),
        ("\"orderQuantity\":2", "\"orderQuantity\":1.5", FlawKind::BadQuantity),
        ("\"QS\"", "\"XX\"", FlawKind::UnknownCountry),
        ("Zoë", "Zo\\u001b@ë", FlawKind::OddCharacters),
        ("Zoë", "\\u0000Zoë", FlawKind::OddCharacters),
        ("Zoë", "\\u202eZoë", FlawKind::OddCharacters),
        ("Quay Street 4", "", FlawKind::NoAddress),
    ];
    for (nth, (from, to, wanted)) in cases.into_iter().enumerate() {
        let body = order("S-1").replace(from, to);
        let id = format!("msg_{nth}");
        assert_eq!(intake.send(&shop(&id, &body)).await.status, 202);
        let kept = intake.shelf.kept.lock().unwrap();
        let received = kept.values().find(|received| received.message.id == id).unwrap();
        let Meaning::Orders(orders) = &received.meaning else { panic!("{body}: {:?}", received.meaning) };
        assert_eq!(orders[0].0.flaws[0].kind, wanted, "{body}");
    }
}

#[tokio::test]
async fn garbage_in_place_of_http_is_refused_and_others_are_served() {
    let intake = Running::start(limits()).await;
    let long_head = format!("POST /intake/shop HTTP/1.1\r\nX: {}\r\n\r\n", "a".repeat(200_000));
    let cases: [(&[u8], &str); 6] = [
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", "400"),
        (b"hello\r\n\r\n", "400"),
        (b"POST /intake/shop HTTP/1.1\r\nHost: x\r\nContent-Length: 2\r\nContent-Length: 3\r\n\r\n{}", "400"),
        (b"POST /intake/shop HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n", "400"),
        (
            b"POST /intake/shop HTTP/1.1\r\nTransfer-Encoding: chunked\r\nContent-Type: application/json\r\n\r\nzz\r\n",
            "400",
        ),
        (long_head.as_bytes(), "431"),
    ];
    for (nth, (bytes, status)) in cases.into_iter().enumerate() {
        let answer = intake.raw(bytes).await;
        assert!(answer.starts_with(&format!("HTTP/1.1 {status}")), "{nth}: {answer:?}");
        intake.honest(&format!("msg_{nth}")).await;
    }
}

#[tokio::test]
async fn a_body_that_breaks_off_is_400_and_nothing_is_kept() {
    let intake = Running::start(limits()).await;
    let head = format!("{JSON}Content-Length: 1000\r\n");
    let (status, _, body) = parted(&intake.raw(&request("POST", "/intake/shop", &head, "{\"half\":")).await);
    assert_eq!((status, body["status"].as_u64()), (400, Some(400)));
    // The same, hung up altogether.
    let mut stream = intake.connect().await;
    stream.write_all(&request("POST", "/intake/shop", &head, "{\"half\":")).await.unwrap();
    drop(stream);
    intake.honest("msg_1").await;
    assert_eq!(intake.shelf.count(), 1);
}

#[tokio::test]
async fn a_hundred_megabytes_are_413_announced_or_not() {
    const MEGABYTES: usize = 100;
    let intake = Running::start(limits()).await;
    let announced = format!("{JSON}Content-Length: {}\r\n", MEGABYTES << 20);
    let chunked = format!("{JSON}Transfer-Encoding: chunked\r\n");
    for (headers, is_chunked) in [(announced, false), (chunked, true)] {
        let (mut reader, mut writer) = intake.connect().await.into_split();
        let head = request("POST", "/intake/shop", &headers, "");
        let writing = tokio::spawn(async move {
            let mut sent = 0;
            let megabyte = vec![b'a'; 1 << 20];
            let mut written = writer.write_all(&head).await;
            while written.is_ok() && sent < MEGABYTES {
                if is_chunked {
                    written = writer.write_all(b"100000\r\n").await;
                }
                written = written.and(writer.write_all(&megabyte).await);
                if is_chunked {
                    written = written.and(writer.write_all(b"\r\n").await);
                }
                sent += 1;
            }
            sent
        });
        let mut first = vec![0; 16];
        reader.read_exact(&mut first).await.unwrap();
        assert!(first.starts_with(b"HTTP/1.1 413"), "{}", String::from_utf8_lossy(&first));
        intake.honest("msg_1").await;
        drop(reader);
        let sent = tokio::time::timeout(Duration::from_secs(20), writing).await.unwrap().unwrap();
        assert!(sent < MEGABYTES, "all of it was read");
    }
}

#[tokio::test]
async fn a_client_that_waits_for_100_continue_is_told_413_at_once() {
    let intake = Running::start(limits()).await;
    let headers = format!("{JSON}Expect: 100-continue\r\nContent-Length: 99999999\r\n");
    let mut stream = intake.connect().await;
    stream.write_all(&request("POST", "/intake/shop", &headers, "")).await.unwrap();
    assert!(rest(&mut stream).await.starts_with("HTTP/1.1 413"));
}

#[tokio::test]
async fn a_body_that_trickles_is_408() {
    let intake = Running::start(Limits { body_time: SignedDuration::from_millis(300), ..limits() }).await;
    let mut stream = intake.connect().await;
    let headers = format!("{JSON}Content-Length: 1000\r\n");
    stream.write_all(&request("POST", "/intake/shop", &headers, "{")).await.unwrap();
    let (status, head, body) = parted(&rest(&mut stream).await);
    assert_eq!((status, body["status"].as_u64()), (408, Some(408)));
    assert!(head.contains("connection: close"), "{head}");
    assert_eq!(intake.counters.refused(Reason::Slow), 1);
}

#[tokio::test]
async fn a_head_that_never_ends_is_cut_off() {
    let intake = Running::start(Limits { header_time: SignedDuration::from_millis(300), ..limits() }).await;
    let mut stream = intake.connect().await;
    stream.write_all(b"POST /intake/shop HTTP/1.1\r\nHost: x\r\nX-Slow: ").await.unwrap();
    let begun = std::time::Instant::now();
    rest(&mut stream).await;
    assert!(begun.elapsed() < Duration::from_secs(3));
}

#[tokio::test]
async fn a_connection_without_a_next_request_is_closed() {
    let intake = Running::start(Limits { header_time: SignedDuration::from_millis(300), ..limits() }).await;
    for first in [&b""[..], &request("GET", "/intake/shop", "", "")] {
        let mut stream = intake.connect().await;
        stream.write_all(first).await.unwrap();
        let begun = std::time::Instant::now();
        let answer = rest(&mut stream).await;
        assert_eq!(answer.starts_with("HTTP/1.1 405"), !first.is_empty(), "{answer}");
        assert!(begun.elapsed() < Duration::from_secs(3));
    }
}

#[tokio::test]
async fn slow_clients_on_every_place_do_not_shut_the_others_out() {
    let long = SignedDuration::from_secs(60);
    let intake = Running::start(Limits { connections: 16, header_time: long, body_time: long, ..limits() }).await;
    let mut slow = Vec::new();
    for nth in 0..64 {
        let mut stream = intake.connect().await;
        let headers = format!("{JSON}Content-Length: 1000\r\n");
        let part: &[u8] = if nth % 2 == 0 {
            b"POST /intake/shop HTTP/1.1\r\nX: "
        } else {
            &request("POST", "/intake/shop", &headers, "{")
        };
        let _ = stream.write_all(part).await;
        slow.push(stream);
        if nth % 8 == 7 {
            intake.honest(&format!("msg_{nth}")).await;
        }
    }
    assert!(intake.counters.gave_way.load(std::sync::atomic::Ordering::Relaxed) >= 48);
    assert_eq!(intake.shelf.count(), 8);
}

#[tokio::test]
async fn when_every_place_is_being_worked_for_the_next_is_told_503() {
    let intake = Running::start(Limits { connections: 2, ..limits() }).await;
    intake.shelf.set(Mood::Waits);
    let mut begun = tokio::task::JoinSet::new();
    for nth in 0..2 {
        let mut sender = intake.sender();
        begun.spawn(async move { sender.send(&shop(&format!("msg_{nth}"), &order("S-1"))).await.unwrap().status });
    }
    tokio::time::sleep(Duration::from_millis(300)).await;
    let (status, head, body) = parted(&rest(&mut intake.connect().await).await);
    assert_eq!((status, body["status"].as_u64()), (503, Some(503)));
    assert!(head.contains("retry-after: 2"), "{head}");
    for _ in 0..2 {
        intake.shelf.go_on.notify_one();
        assert_eq!(begun.join_next().await.unwrap().unwrap(), 202);
    }
}
