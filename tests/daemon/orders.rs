//! The main way: a signed order becomes paper.

use super::support::*;

#[test]
fn a_signed_order_becomes_a_slip_and_a_card() {
    let bench = Bench::running();
    bench.order("A-1", &[("mug-dawn", 1)]);
    bench.until_stage("A-1", "printed");
    bench.until_still();
    let papers = bench.papers_of("A-1");
    let kinds: Vec<_> = papers.iter().map(|paper| paper["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["slip", "card"]);
    for paper in &papers {
        assert_eq!(paper["state"], "on paper");
        assert_eq!(bench.on_galley(paper), 1, "{paper}");
    }
    assert_eq!(bench.galley.papers().len(), 2, "{:#?}", bench.jobs());
    assert!(bench.galley.papers().iter().all(|paper| paper.notes.is_empty() && !paper.is_blank));
    let status = bench.status();
    assert!(status.starts_with("all is well"), "{status}");
    assert!(status.contains("A-1, shop"), "{status}");
    assert_eq!(bench.get("/healthz", "*/*").status, 200);
    assert_eq!(bench.get("/readyz", "*/*").status, 200);
    assert!(bench.get("/metrics", "*/*").body.contains("dawnslip_messages_total{outcome=\"kept\"} 1"));
    assert!(bench.get("/status", "text/html").body.starts_with("<!doctype html>"));
}

#[test]
fn the_same_order_five_times_is_answered_alike_and_printed_once() {
    let mut bench = Bench::running();
    let body = order("A-7", &[("tea-towel", 1)]).to_string();
    let first = bench.send("msg_7", body.clone());
    assert_eq!(first.status, 202);
    for _ in 0..2 {
        let again = bench.send("msg_7", body.clone());
        assert_eq!((again.status, &again.body), (200, &first.body));
    }
    bench.until_stage("A-7", "printed");
    // Also after a restart, clean or not: ids are remembered on the disk.
    bench.restart();
    assert_eq!(bench.send("msg_7", body.clone()).status, 200);
    bench.kill();
    bench.start();
    assert_eq!(bench.send("msg_7", body).status, 200);
    bench.until_still();
    assert_eq!(bench.galley.papers().len(), 2, "one slip and one card: {:#?}", bench.jobs());
    assert_eq!(bench.numbers(), ["A-7"]);
}

#[test]
fn who_cannot_sign_is_refused_and_leaves_no_trace() {
    let bench = Bench::running();
    let right = bench.sign("shop", "msg_1", order("A-1", &[("mug", 1)]).to_string());
    let wrong = dawnslip::intake::sender::Envelope { body: order("A-2", &[("mug", 1)]).to_string().into(), ..right };
    let mut sender = dawnslip::intake::sender::Sender::new(bench.target());
    let told = bench.runtime.block_on(sender.send(&wrong)).unwrap();
    assert_eq!(told.status, 401, "{}", told.body);
    assert!(bench.numbers().is_empty());
    let status = bench.status();
    assert!(status.starts_with("all is well"), "{status}");
}
