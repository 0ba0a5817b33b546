//! The process is killed or told to stop while orders come in: what was answered stays, and
//! what is in the data folder besides the journal can be lost.

use super::support::*;
use dawnslip::intake::sender::Sender;
use std::fs;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Senders at once.
const SENDERS: usize = 3;

/// What the senders have been told: orders answered 2xx, and how often there was no answer.
#[derive(Default)]
struct Told {
    kept: Mutex<Vec<String>>,
    refused: Mutex<Vec<(u16, String)>>,
    stop: AtomicBool,
}

/// Sends orders until told to stop or until nobody answers.
fn load(bench: &Bench, round: usize, told: &Arc<Told>) -> Vec<tokio::task::JoinHandle<()>> {
    (0..SENDERS)
        .map(|sender| {
            let told = Arc::clone(told);
            let target = bench.target();
            let envelopes: Vec<_> = (0..400)
                .map(|index| {
                    let number = format!("K-{round}-{sender}-{index}");
                    let sku = if is_printable(&number) { "sea-mint" } else { "GLZ-9" };
                    let body = order(&number, &[(sku, 1)]).to_string();
                    (bench.sign("shop", &format!("msg_{number}"), body), number)
                })
                .collect();
            bench.runtime.spawn(async move {
                let mut sender = Sender::new(target);
                for (envelope, number) in envelopes {
                    if told.stop.load(Ordering::Relaxed) {
                        return;
                    }
                    match sender.send(&envelope).await {
                        Ok(answer) if (200..300).contains(&answer.status) => told.kept.lock().unwrap().push(number),
                        Ok(answer) => told.refused.lock().unwrap().push((answer.status, answer.body)),
                        Err(_) => return,
                    }
                    tokio::time::sleep(Duration::from_millis(4)).await;
                }
            })
        })
        .collect()
}

/// Every seventh order of a sender gets paper, the others wait for a product that nobody knows:
/// printing takes longer than keeping.
fn is_printable(number: &str) -> bool {
    number.rsplit('-').next().and_then(|index| index.parse::<usize>().ok()).is_some_and(|index| index % 7 == 0)
}

fn wait_for(bench: &Bench, senders: Vec<tokio::task::JoinHandle<()>>) {
    for sender in senders {
        bench.runtime.block_on(sender).unwrap();
    }
}

/// Every paper is on the galley once; more often only if it was made again as a COPY.
fn each_paper_once(bench: &Bench, numbers: &[String]) {
    let printable = numbers.iter().filter(|number| is_printable(number));
    assert!(printable.clone().count() > 0);
    for number in printable {
        let papers = bench.papers_of(number);
        for kind in ["slip", "card"] {
            let of_kind: Vec<_> = papers.iter().filter(|paper| paper["kind"] == kind).collect();
            let originals = of_kind.iter().filter(|paper| paper["copy"] == false).count();
            assert_eq!(originals, 1, "{number}: {of_kind:?}");
            let on_paper = of_kind.iter().filter(|paper| paper["state"] == "on paper").count();
            // Three times killed in the middle of it: then a person is asked.
            let asked = of_kind.len() >= 3
                && bench.get(&format!("/orders/{number}"), "application/json").body.contains("uncertain-paper:");
            assert!(on_paper >= 1 || asked, "{number} is not on paper: {of_kind:?}");
            for paper in &of_kind {
                let lies = bench.on_galley(paper);
                assert!(lies <= 1, "{number}: the same paper {lies} times without COPY: {paper}");
                assert!(paper["state"] != "on paper" || lies == 1, "{number}: said to be on paper, is not: {paper}");
            }
        }
    }
}

/// `DAWNSLIP_KILLS=200 cargo test kill` for more.
#[test]
fn nothing_answered_is_lost_by_kill_9_and_no_paper_comes_twice_without_saying_so() {
    let rounds = std::env::var("DAWNSLIP_KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(5);
    let mut bench = Bench::new();
    let mut chance = 0x5eed_u64;
    let told = Arc::new(Told::default());
    let mut sent_before = 0;
    for round in 0..rounds {
        bench.start();
        let senders = load(&bench, round, &told);
        // After at least one answer, then within 0 to 200 ms (Lehmer's generator, from memory).
        bench.until("answer", || told.kept.lock().unwrap().len() > sent_before);
        chance = chance * 48271 % 0x7fff_ffff;
        std::thread::sleep(Duration::from_millis(chance % 200));
        bench.kill();
        wait_for(&bench, senders);
        sent_before = told.kept.lock().unwrap().len();
        assert!(told.refused.lock().unwrap().is_empty(), "{:?}", told.refused);
    }
    bench.start();
    let kept = told.kept.lock().unwrap().clone();
    let lost: Vec<_> = kept.iter().filter(|number| !bench.knows(number)).collect();
    assert!(lost.is_empty(), "of {} answered orders these are lost: {lost:?}", kept.len());
    let status = bench.json("/status");
    assert!(!status["off"].as_array().unwrap().is_empty(), "it does not say that it was off: {status}");
    bench.until_still();
    each_paper_once(&bench, &kept);
}

#[test]
fn sigterm_under_load_ends_in_time_and_cleanly() {
    let mut bench = Bench::running();
    let told = Arc::new(Told::default());
    let senders = load(&bench, 0, &told);
    bench.until("twenty answers", || told.kept.lock().unwrap().len() >= 20);
    let (status, took) = bench.terminate();
    assert_eq!(status.code(), Some(0), "{status}");
    assert!(took < Duration::from_secs(10), "it took {took:?}");
    wait_for(&bench, senders);
    // Who came too late was told to come again, or found the door closed.
    assert!(told.refused.lock().unwrap().iter().all(|(status, _)| *status == 503), "{:?}", told.refused);
    bench.start();
    let kept = told.kept.lock().unwrap().clone();
    let lost: Vec<_> = kept.iter().filter(|number| !bench.knows(number)).collect();
    assert!(lost.is_empty(), "{lost:?}");
    assert!(!bench.log().contains("cut off"), "{}", bench.log());
    bench.until_still();
    each_paper_once(&bench, &kept);
    // A clean stop leaves no doubt about any paper.
    assert!(bench.jobs().iter().all(|job| job["copy"] == false), "{:?}", bench.jobs());
    let status = bench.status();
    assert!(status.starts_with("needs you: 1 thing") && status.contains("GLZ-9"), "{status}");
}

#[test]
fn a_second_daemon_on_the_same_data_is_refused_and_the_socket_is_taken_over() {
    let mut bench = Bench::running();
    bench.order("A-1", &[("mug-dawn", 1)]);
    let begun = Instant::now();
    let second = bench.run(&["run"]);
    second.expect(1, &["the data folder cannot be opened", "another daemon"]);
    assert!(begun.elapsed() < PATIENCE);
    // The first goes on, its socket with it.
    bench.run(&["orders"]).expect(0, &["A-1"]);
    // A killed daemon leaves its socket; the next one takes it over, and meanwhile commands read the folder.
    bench.kill();
    assert!(bench.data().join("desk.sock").exists());
    bench.run(&["orders"]).expect(0, &["A-1"]);
    bench.start();
    bench.until_still();
    bench.run(&["orders"]).expect(0, &["A-1"]);
    bench.terminate();
    bench.run(&["orders"]).expect(0, &["A-1"]);
}

#[test]
fn the_index_is_worth_nothing_without_it_or_with_garbage_in_it_nothing_is_lost() {
    let mut bench = Bench::running();
    for number in 1..=6 {
        bench.order(&format!("A-{number}"), &[("mug-dawn", 1)]);
    }
    bench.order("A-7", &[("GLZ-9", 1)]);
    bench.until_still();
    bench.run(&["packed", "A-2"]).expect(0, &[]);
    bench.until_indexed();
    let seen = |bench: &Bench| {
        bench.until_indexed();
        let orders: Vec<_> = (1..=7).map(|number| bench.json(&format!("/orders/A-{number}"))).collect();
        let mut status = bench.json("/status");
        for passing in ["at", "local", "off"] {
            status[passing] = serde_json::Value::Null;
        }
        for thing in status["things"].as_array_mut().unwrap() {
            thing["age"] = serde_json::Value::Null;
        }
        (orders, status)
    };
    let before = seen(&bench);
    assert!(before.0[1]["history"].as_array().unwrap().len() >= 4, "{}", before.0[1]["history"]);

    let index = bench.data().join("index");
    let (ended, _) = bench.terminate();
    assert!(ended.success());
    assert!(index.is_dir(), "the index lies elsewhere; this test must know where");
    fs::remove_dir_all(&index).unwrap();
    bench.start();
    assert_eq!(seen(&bench), before, "without the index");

    bench.terminate();
    let mut spoilt = 0;
    let mut open = vec![index];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                fs::write(&path, b"\xff\x00garbage \xf0\x9f".repeat(500)).unwrap();
                spoilt += 1;
            }
        }
    }
    assert!(spoilt > 0);
    bench.start();
    assert_eq!(seen(&bench), before, "with garbage in the index");
    assert_eq!(bench.send("msg_A-1", order("A-1", &[("mug-dawn", 1)]).to_string()).status, 200);
}
