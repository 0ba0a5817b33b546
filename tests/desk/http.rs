//! The desk over real sockets: who may ask, what each path answers, in which form.

use super::support::*;
use dawnslip::desk::guard::Guard;
use dawnslip::desk::routes::{Door, answer};
use dawnslip::desk::server;
use http_body_util::BodyExt;
use hyper::Request;
use hyper::body::Bytes;
use serde_json::Value;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

const TOKEN: &str = "a-token-of-24-characters";

/// A desk on a free port; it ends with the sender.
async fn open(token: Option<&str>, morning: Morning) -> (SocketAddr, watch::Sender<bool>, tokio::task::JoinHandle<()>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = watch::channel(false);
    let guard = Guard::new(address, &[], token).unwrap();
    let task = tokio::spawn(server::serve_tcp(listener, guard, Play::new(morning), stopped));
    (address, stop, task)
}

/// One request, byte for byte; the answer's status, head and body.
async fn raw(address: SocketAddr, request: &str) -> (u16, String, String) {
    let mut stream = TcpStream::connect(address).await.unwrap();
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.unwrap();
    let answer = String::from_utf8_lossy(&answer).into_owned();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    (head[9..12].parse().unwrap(), head.to_ascii_lowercase(), body.to_owned())
}

async fn get(address: SocketAddr, path: &str, headers: &str) -> (u16, String, String) {
    raw(address, &format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n{headers}\r\n")).await
}

async fn post(address: SocketAddr, path: &str, headers: &str, body: &str) -> (u16, String, String) {
    let length = body.len();
    let head = format!("POST {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nContent-Length: {length}\r\n");
    raw(address, &format!("{head}{headers}\r\n{body}")).await
}

#[tokio::test]
async fn curl_gets_text_programs_json_and_browsers_a_page() {
    let (address, _stop, _task) = open(None, all_well()).await;
    for path in
        ["/", "/status", "/orders", "/orders/S-442", "/orders/shop/442", "/orders/shop%2FS-442", "/jobs", "/picklist"]
    {
        let (status, head, body) = get(address, path, "Accept: */*\r\n").await;
        assert_eq!(status, 200, "{path}: {body}");
        assert!(head.contains("content-type: text/plain; charset=utf-8"), "{path}: {head}");
        let (status, head, body) = get(address, path, "Accept: application/json\r\n").await;
        assert_eq!(status, 200, "{path}");
        assert!(head.contains("content-type: application/json"), "{path}");
        assert!(serde_json::from_str::<Value>(&body).is_ok(), "{path}: {body}");
        let (status, head, body) = get(address, path, "Accept: text/html,*/*;q=0.8\r\n").await;
        assert_eq!(status, 200, "{path}");
        assert!(head.contains("content-type: text/html"), "{path}");
        assert!(body.contains("<!doctype html>") && !body.contains("<script"), "{path}");
        assert!(head.contains("content-security-policy: default-src 'none'"), "{path}");
        assert!(head.contains("cache-control: no-store"), "{path}");
    }
    let (status, head, _) = get(address, "/orders/442/slip.png", "").await;
    assert_eq!((status, head.contains("content-type: image/png")), (200, true));
    assert_eq!(get(address, "/orders/442/slip.png?parcel=2", "").await.0, 404);
    assert_eq!(get(address, "/healthz", "").await.0, 200);
    assert_eq!(get(address, "/readyz", "").await.0, 200);
    assert_eq!(get(address, "/nothing", "").await.0, 404);
    let (status, head, _) = get(address, "/status", "").await;
    assert_eq!((status, head.contains("dawnslip-needs-you: 0")), (200, true));
}

#[tokio::test]
async fn metrics_are_figures_without_people() {
    let (address, _stop, _task) = open(None, all_well()).await;
    let (status, _, body) = get(address, "/metrics", "").await;
    assert_eq!(status, 200);
    for line in [
        "dawnslip_open_orders{stage=\"printed\"} 2",
        "dawnslip_printer_works{printer=\"bench\"} 1",
        "dawnslip_messages_total{outcome=\"new\"} 7",
        "# EOF",
    ] {
        assert!(body.lines().any(|l| l == line), "{line} is missing in\n{body}");
    }
    assert!(!body.contains("Zoë") && !body.contains("S-442"));
}

#[tokio::test]
async fn foreign_hosts_and_foreign_posts_are_turned_away() {
    let (address, _stop, _task) = open(None, all_well()).await;
    let rebound = "GET /orders HTTP/1.1\r\nHost: evil.example\r\nConnection: close\r\n\r\n";
    let (status, head, body) = raw(address, rebound).await;
    assert_eq!(status, 421);
    assert!(head.contains("application/problem+json") && !body.contains("S-442"));
    let json = "Content-Type: application/json\r\n";
    let hold = r#"{"reason":"a test"}"#;
    let evil = format!("{json}Origin: http://evil.example\r\n");
    assert_eq!(post(address, "/orders/442/hold", &evil, hold).await.0, 403);
    let (_, _, order) = get(address, "/orders/442", "Accept: application/json\r\n").await;
    assert_eq!(serde_json::from_str::<Value>(&order).unwrap()["stops"].as_array().unwrap().len(), 0);
    let own = format!("{json}Origin: http://{address}\r\n");
    assert_eq!(post(address, "/orders/442/hold", &own, hold).await.0, 200);
}

#[tokio::test]
async fn with_a_token_nobody_reads_without_it() {
    let (address, _stop, _task) = open(Some(TOKEN), all_well()).await;
    for path in ["/status", "/orders", "/metrics", "/healthz", "/login?token=guess"] {
        let (status, head, _) = get(address, path, "").await;
        assert_eq!(status, 401, "{path}");
        assert!(head.contains("www-authenticate: bearer"), "{path}");
    }
    let (status, _, _) = get(address, "/status", &format!("Authorization: Bearer {TOKEN}\r\n")).await;
    assert_eq!(status, 200);
    let (status, head, _) = get(address, &format!("/login?token={TOKEN}"), "").await;
    assert_eq!(status, 303);
    assert!(head.contains("location: /status"));
    let cookie = head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    let cookie = cookie.split(';').next().unwrap();
    assert_eq!(get(address, "/orders", &format!("Cookie: {cookie}\r\n")).await.0, 200);
    assert_eq!(
        post(address, "/orders/442/release", &format!("Cookie: {cookie}\r\nOrigin: http://x.example\r\n"), "").await.0,
        403
    );
}

#[tokio::test]
async fn actions_reach_the_book_and_refusals_say_what_to_do() {
    let (address, _stop, _task) = open(None, all_well()).await;
    let json = "Content-Type: application/json\r\n";
    let form = "Content-Type: application/x-www-form-urlencoded\r\n";
    for (path, headers, body, expected) in [
        ("/parcels/442/packed", "", "", 200),
        ("/parcels/442/packed", "", "", 409),
        ("/parcels/shop%2FS-442/unpack", "", "", 200),
        ("/parcels/442/1/packed", "", "", 200),
        ("/parcels/442/3/packed", "", "", 404),
        ("/handed-over", json, r#"{"all":true,"service":"Letter"}"#, 200),
        ("/handed-over", json, r#"{"all":true}"#, 409),
        ("/handed-over", json, r#"{"all":true,"service":"Rocket"}"#, 400),
        ("/handed-over", json, "{}", 400),
        ("/orders/443/hold", form, "reason=paid+late", 200),
        ("/orders/443/hold", json, "{}", 400),
        ("/orders/443/hold", json, "not json", 400),
        ("/orders/443/hold", "Content-Type: text/xml\r\n", "<a/>", 415),
        ("/orders/443/release", "", "", 200),
        ("/orders/443/dance", "", "", 404),
        ("/orders/999/hold", form, "reason=x", 404),
        ("/decide", json, r#"{"cause":"unknown-product:GLZ-9","decision":"retry"}"#, 409),
        ("/decide", json, r#"{"cause":"unknown-product:GLZ-9","decision":"perhaps"}"#, 400),
        ("/nosuch", json, r#"{"number":"S-999"}"#, 404),
        ("/jobs/j1/reprint", json, r#"{"reason":"coffee on it"}"#, 200),
        ("/jobs/j99/reprint", "", "", 404),
        ("/orders/442/replan", "", "", 409),
        ("/replan", "", "", 409),
        ("/picklist/print", "", "", 200),
        ("/test-page", "", "", 200),
        ("/reload", "", "", 409),
        ("/remap", "", "", 200),
        ("/status", "", "", 404),
    ] {
        let (status, head, answer) = post(address, path, headers, body).await;
        assert_eq!(status, expected, "{path} {body}: {answer}");
        if status >= 400 {
            let problem: Value = serde_json::from_str(&answer).unwrap();
            assert!(head.contains("application/problem+json"), "{path}");
            assert_eq!(problem["status"], status, "{path}");
            assert!(!problem["detail"].as_str().unwrap().is_empty(), "{path}");
            assert!(!problem["do"].as_str().unwrap().is_empty(), "{path}: no remedy");
        }
    }
    assert_eq!(
        raw(address, &format!("PUT /status HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n")).await.0,
        405
    );
}

#[tokio::test]
async fn an_ambiguous_number_is_answered_with_all_it_could_be() {
    let mut morning = all_well();
    morning.order("07:00", "F-442", "MUG-T", "Zoë Ångström");
    let (address, _stop, _task) = open(None, morning).await;
    let (status, _, body) = get(address, "/orders/442", "").await;
    assert_eq!(status, 409);
    let problem: Value = serde_json::from_str(&body).unwrap();
    assert_eq!(problem["candidates"], serde_json::json!(["fair/F-442", "shop/S-442"]));
    assert_eq!(get(address, "/orders/F-442", "").await.0, 200);
}

#[tokio::test]
async fn what_customers_typed_is_never_markup_nor_a_command_of_the_terminal() {
    let mut morning = all_well();
    morning.order("07:00", "S-444", "MUG-T", "<script>alert(1)</script>\u{1b}[2J");
    let (address, _stop, _task) = open(None, morning).await;
    for path in ["/orders", "/orders/444"] {
        let (_, _, page) = get(address, path, "Accept: text/html\r\n").await;
        assert!(page.contains("&lt;script&gt;") && !page.contains("<script>"), "{path}");
        let (_, _, text) = get(address, path, "").await;
        assert!(text.contains("<script>") && !text.contains('\u{1b}'), "{path}");
    }
}

#[tokio::test]
async fn bodies_have_a_limit() {
    let (address, _stop, _task) = open(None, all_well()).await;
    let json = "Content-Type: application/json\r\n";
    let of = |length: usize| format!("{{\"reason\":\"{}\"}}", "x".repeat(length - 13));
    assert_eq!(of(100).len(), 100);
    assert_eq!(post(address, "/orders/442/hold", json, &of(server::ACTION_BYTES_MAX)).await.0, 200);
    let (status, _, _) = raw(
        address,
        &format!(
            "POST /orders/442/hold HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n{json}Content-Length: {}\r\n\r\n",
            server::ACTION_BYTES_MAX + 1
        ),
    )
    .await;
    assert_eq!(status, 413);
}

#[tokio::test]
async fn unsigned_messages_come_through_the_socket_only() {
    let play = Play::new(all_well());
    let ask = |door, source: &str, body: &'static str| {
        let request = Request::post(format!("/intake/{source}")).body(Bytes::from_static(body.as_bytes())).unwrap();
        let play: Arc<Play> = play.clone();
        async move {
            let reply = answer(&*play, door, request).await;
            let status = reply.status().as_u16();
            (status, String::from_utf8(reply.into_body().collect().await.unwrap().to_bytes().to_vec()).unwrap())
        }
    };
    assert_eq!(ask(Door::Tcp, "shop", "{}").await.0, 403);
    assert_eq!(ask(Door::Socket, "shop", "{}").await, (202, "new: 1 order\n".to_owned()));
    assert_eq!(ask(Door::Socket, "full", "{}").await.0, 503);
}

#[tokio::test]
async fn stopping_ends_idle_connections_at_once() {
    let (address, stop, task) = open(None, all_well()).await;
    let mut idle = TcpStream::connect(address).await.unwrap();
    idle.write_all(format!("GET /healthz HTTP/1.1\r\nHost: {address}\r\n\r\n").as_bytes()).await.unwrap();
    let mut first = [0; 12];
    idle.read_exact(&mut first).await.unwrap();
    assert_eq!(&first, b"HTTP/1.1 200");
    stop.send(true).unwrap();
    tokio::time::timeout(Duration::from_secs(2), task).await.expect("the desk did not stop").unwrap();
}
