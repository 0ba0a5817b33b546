//! The process is told to stop while orders come in: what was answered stays, and what is in
//! the data folder besides the journal can be lost. kill -9 itself: tests/crashes.

use super::load::*;
use super::support::*;
use std::fs;
use std::sync::Arc;
use std::time::{Duration, Instant};

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
