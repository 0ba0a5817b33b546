//! A damaged data folder: the real program says so, does not start where orders could be lost, and
//! mends it when a person says yes.

use super::support::*;
use std::fs;

/// A folder with two orders, the daemon stopped.
fn stopped() -> Bench {
    let mut bench = Bench::running();
    bench.order("A-1", &[("GLZ-9", 1)]);
    bench.order("A-2", &[("GLZ-9", 1)]);
    bench.until_indexed();
    let (ended, _) = bench.terminate();
    assert!(ended.success(), "{ended}");
    bench
}

/// Flips a byte of the fact that brings this order.
fn damage(bench: &Bench, number: &str) {
    let file = bench.data().join("journal/0001.log");
    let mut bytes = fs::read(&file).unwrap();
    let needle = format!("\"order_received\":{{\"order\":{{\"key\":\"shop/{number}\"");
    let at = bytes.windows(needle.len()).position(|window| window == needle.as_bytes()).unwrap();
    bytes[at] ^= 1;
    fs::write(&file, bytes).unwrap();
}

#[test]
fn a_damaged_journal_does_not_start_and_is_repaired_on_request() {
    let mut bench = stopped();
    bench.run(&["repair"]).expect(0, &["nothing is damaged"]);
    damage(&bench, "A-1");
    let before = fs::read(bench.data().join("journal/0001.log")).unwrap();
    let told = ["data folder is damaged", "journal/0001.log at byte", "shop/A-1", "dawnslip repair"];
    bench.run(&["run"]).expect(1, &told);
    bench.run(&["status"]).expect(1, &told);
    bench.run(&["check"]).expect(1, &["data folder", "journal/0001.log"]);
    bench.run(&["repair"]).expect(1, &["LOST FOR GOOD", "shop/A-1", "ask the shop", "nothing was changed"]);
    let found = bench.run(&["repair", "--json"]).expect(1, &[]).json();
    assert_eq!(found["survey"]["damage"][0]["file"], "journal/0001.log");
    assert_eq!(fs::read(bench.data().join("journal/0001.log")).unwrap(), before, "only looked at");
    bench.run(&["repair", "--yes"]).expect(0, &["repaired", "damaged-", "dawnslip status asks you"]);
    bench.run(&["repair"]).expect(0, &["nothing is damaged"]);

    bench.start();
    bench.run(&["repair"]).expect(1, &["a daemon runs", "stop it first"]);
    let status = bench.json("/status");
    let things = status["things"].as_array().unwrap();
    let asked = things.iter().find(|thing| thing["cause"].as_str().is_some_and(|c| c.starts_with("records-lost:")));
    let asked = asked.unwrap_or_else(|| panic!("{status}"));
    assert_eq!(asked["decisions"][0], "go-on", "{asked}");
    assert!(bench.knows("A-2"), "what stands behind the damage is there");
    // The shop sends it again; the question is settled.
    bench.order("A-1", &[("GLZ-9", 1)]);
    let cause = asked["cause"].as_str().unwrap().to_owned();
    bench.run(&["decide", &cause, "go-on"]).expect(0, &["decided"]);
    bench.until("no question about lost records", || !bench.status().contains("records-lost"));
    assert!(bench.knows("A-1") && bench.knows("A-2"));
    // Nothing is printed twice, and the index is whole again.
    bench.until_indexed();
    bench.restart();
    assert!(!bench.status().contains("damaged"), "{}", bench.status());
}

#[test]
fn with_a_backup_nothing_is_lost() {
    let mut bench = Bench::running();
    bench.order("A-1", &[("GLZ-9", 1)]);
    bench.order("A-2", &[("GLZ-9", 1)]);
    bench.run(&["backup"]).expect(0, &[]);
    bench.kill();
    damage(&bench, "A-1");
    bench.run(&["repair"]).expect(1, &["IS RESTORED", "the backup of", "nothing is lost"]);
    bench.run(&["repair", "--yes"]).expect(0, &["everything is there"]);
    bench.start();
    assert!(bench.knows("A-1") && bench.knows("A-2"));
    assert!(!bench.status().contains("records-lost"), "{}", bench.status());
}
