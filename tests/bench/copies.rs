//! Speed and memory of copies: so many past orders of the sample workshop, each planned, printed,
//! packed, handed over and archived, are exported, backed up and imported.
//!
//! `cargo bench --bench copies [-- ORDERS]`; with `cargo test --bench copies` as built for tests.

#[path = "../copies_support/mod.rs"]
mod copies_support;
mod support;

use copies_support::{Filled, Kind};
use dawnslip::book::{Meaning, State};
use dawnslip::daemon::shared::Durable;
use dawnslip::ledger::copies::import::import;
use dawnslip::ledger::copies::{DiskOut, Reader, Source, Writer, backup};
use dawnslip::ledger::{Disk, RealDisk, SEGMENT_BYTES};
use dawnslip::model::{Order, OrderKey, Pins, Plan};
use dawnslip::plan::{Planner, Shelf};
use std::collections::BTreeSet;
use std::io::BufReader;
use std::path::Path;
use std::sync::{Arc, OnceLock};
use std::time::Instant;

const ORDERS: usize = 20_000;
const ORDERS_A_DAY: usize = 100;
/// Archived in so many days' orders at once.
const DAYS_A_ROUND: usize = 5;

/// What every order looks like but for its number.
struct Pattern {
    order: Order,
    body: String,
    plan: Plan,
}

static PATTERN: OnceLock<Pattern> = OnceLock::new();

fn pattern() -> &'static Pattern {
    PATTERN.get().expect("made at the beginning")
}

fn order(number: &str) -> Order {
    Order { key: OrderKey::new("shop", number), ..pattern().order.clone() }
}

fn plan(_: &State, order: &OrderKey, pins: Pins) -> Plan {
    Plan { order: order.clone(), pins, ..pattern().plan.clone() }
}

fn body(number: &str) -> String {
    pattern().body.replace("S-417", number)
}

fn main() {
    support::on_a_large_stack(bench);
}

/// Megabytes of memory at most since [`forget_peak`].
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.trim().trim_end_matches(" kB").parse::<f64>().ok()).unwrap_or(f64::NAN) / 1000.0
}

fn forget_peak() {
    let _ = std::fs::write("/proc/self/clear_refs", "5");
}

fn measured<T>(what: &str, orders: usize, bytes: impl FnOnce(&T) -> u64, work: impl FnOnce() -> T) -> T {
    forget_peak();
    let before = peak_mb();
    let begin = Instant::now();
    let made = work();
    let took = begin.elapsed().as_secs_f64();
    println!(
        "{what:<8} {took:>7.1} s  {:>8.0} orders/s  {:>6.1} MB  memory {before:>5.0} → {:>5.0} MB",
        orders as f64 / took,
        bytes(&made) as f64 / 1e6,
        peak_mb()
    );
    made
}

fn disk(folder: &Path) -> Arc<dyn Disk> {
    Arc::new(RealDisk::new(folder).expect("a folder"))
}

fn bench() {
    let count = support::argument(ORDERS);
    let folder = tempfile::tempdir().expect("a folder");
    let (place, workshop) = support::sample(&folder.path().join("config"));
    let table = place.sources(&workshop, [0; 32]).unwrap_or_else(|errors| panic!("{errors:?}"));
    let messages = support::ordinary(40, copies_support::at("2026-11-20T08:00:00Z"));
    // One of middling size stands for all.
    let message = messages.iter().max_by_key(|message| message.body.len().min(1200)).expect("an order");
    let received = support::received(&table, message);
    let Meaning::Orders(orders) = received.meaning else { panic!("no order") };
    let order_pattern = orders.into_iter().next().expect("an order").0;
    let pins = Pins {
        order_version: 1,
        revision: None,
        config: workshop.digest.clone(),
        stock: 0,
        hand_over: "2026-11-26".parse().expect("a date"),
        too_late: Default::default(),
        joined: Vec::new(),
    };
    let planned = Planner::new(&workshop).decide(&order_pattern, &workshop, &Shelf::default(), &BTreeSet::new(), &pins);
    let made = Pattern { order: order_pattern, body: message.body.clone(), plan: planned };
    assert!(PATTERN.set(made).is_ok(), "only once");

    let policy = dawnslip::config::policy(&workshop);
    let policy = dawnslip::book::Policy { burst_orders: 100_000, archive_after_days: 3, ..policy };
    let kind = Kind { policy, order, body, plan, segment_bytes: SEGMENT_BYTES, remember: false };
    let mut house = Filled::new(disk(&folder.path().join("data")), kind);
    for day in 0..count.div_ceil(ORDERS_A_DAY) {
        let numbers = (day * ORDERS_A_DAY..count.min((day + 1) * ORDERS_A_DAY)).map(|n| format!("S-{n}"));
        let numbers: Vec<String> = numbers.collect();
        for number in &numbers {
            house.receive(&[number]);
        }
        house.plan_and_print();
        for number in &numbers {
            house.finish(number);
        }
        house.later(24);
        house.plan_and_print();
        if day % DAYS_A_ROUND == DAYS_A_ROUND - 1 {
            while house.archive() > 0 {}
        }
    }
    house.write_waiting();
    let (facts, open) = (house.durable.state.seq, house.durable.state.orders.len());
    println!("{count} orders, {open} of them not archived; {facts} facts");

    let kept = disk(&folder.path().join("backups"));
    let header = house.header();
    let export = folder.path().join("export.ndjson");
    let length = |path: &Path| std::fs::metadata(path).map_or(0, |data| data.len());
    measured(
        "export",
        count,
        |()| length(&export),
        || {
            let top = disk(folder.path());
            let out = DiskOut::create(top.as_ref(), "export.ndjson").expect("room");
            let mut writer = Writer::new(out, &header).expect("room");
            let copying = header.copying(house.disk.as_ref(), house.disk.as_ref());
            let write = |item| {
                writer.item(&item).expect("room");
                Ok(())
            };
            copying.run(write, |_| Ok(())).expect("exported");
            writer.end().expect("room").0.sync().expect("room");
        },
    );
    measured(
        "backup",
        count,
        |made: &u64| *made,
        || {
            let copying = header.copying(house.disk.as_ref(), kept.as_ref());
            backup::make(kept.as_ref(), &copying, &header, |_| Ok(())).expect("made").0.bytes
        },
    );
    measured(
        "import",
        count,
        |()| length(&export),
        || {
            let lines = Box::new(BufReader::new(std::fs::File::open(&export).expect("the export")));
            let reader = Reader::one(Source { name: "export.ndjson".into(), lines }).expect("a copy");
            let mut state = Durable::default();
            let target = disk(&folder.path().join("other"));
            import(&target, reader, [0; 32], &mut state, |_| Ok(())).expect("taken in");
            assert!(state.state == house.durable.state, "the state differs");
        },
    );
}
