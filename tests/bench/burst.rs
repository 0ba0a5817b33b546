//! A burst against the real program with planner, spool and a printer: how its answers, its
//! memory, its planner and its index take it, and that nothing is lost. Sender, printer and
//! program share the machine's cores.
//!
//! `cargo bench --bench burst [-- ORDERS]` (5 000): once within 60 s, once as fast as it goes.

mod support;

use dawnslip::clock::{Clock, SystemClock};
use dawnslip::daemon::fold;
use dawnslip::intake::sender::Sender;
use dawnslip::intake::sources::SourceTable;
use dawnslip::ledger::{Ledger, RealDisk};
use dawnslip::print::galley::{Galley, GalleyOptions};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use support::Figures;
use support::life::workshop_with_plenty;
use support::process::{Doors, Program, prints_at_once};

/// Within so long all of them come.
const WITHIN: Duration = Duration::from_secs(60);
/// Connections of the shops.
const SENDERS: usize = 32;
/// Dot rows that the printer's head does in a second.
const ROWS_A_SECOND: u64 = 640;
/// Between two looks at the program.
const LOOK: Duration = Duration::from_millis(500);

fn main() {
    support::on_a_large_stack(bench);
}

/// What was seen from outside.
#[derive(Default)]
struct Seen {
    unplanned: f64,
    lag: f64,
}

fn bench() {
    let orders = support::argument(5_000);
    for within in [Some(WITHIN), None] {
        let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
        once(folder.path(), orders, within);
    }
}

fn once(folder: &Path, orders: usize, within: Option<Duration>) {
    let place = workshop_with_plenty(&folder.join("config"));
    let doors = Doors::written_into(&place);
    let printing =
        tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().expect("a runtime");
    let options = GalleyOptions { rows_a_second: Some(ROWS_A_SECOND), ..GalleyOptions::default() };
    let any = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
    let galley = printing.block_on(Galley::start(any, options)).expect("a printer");
    // More work than waiting for packing to start.
    prints_at_once(&place, galley.addr().expect("it listens"), &[]);
    let workshop = place.load().unwrap_or_else(|error| panic!("the sample: {error}"));
    let table = place.sources(&workshop, [0; 32]).unwrap_or_else(|errors| panic!("the sources: {errors:?}"));
    let messages = support::ordinary(orders, SystemClock.now());
    assert_eq!(messages.len(), orders, "the sample has enough ordinary orders");
    let data = folder.join("data");
    let program = Program::start(&place, &data, doors);
    program.until(Program::is_ready);

    let over = AtomicBool::new(false);
    let begun = Instant::now();
    let (took, sent_in, seen) = std::thread::scope(|scope| {
        let watching = scope.spawn(|| watch(&program, &over));
        let took = send(&table, &messages, doors.intake, within);
        let sent_in = begun.elapsed();
        over.store(true, Ordering::Relaxed);
        (took, sent_in, watching.join().expect("it only looks"))
    });
    let all_planned = loop {
        if unplanned(&program) == 0.0 {
            break begun.elapsed() - sent_in;
        }
        assert!(begun.elapsed() < Duration::from_secs(600), "the planner does not come to an end");
        std::thread::sleep(Duration::from_millis(50));
    };
    let peak = program.memory("VmHWM");
    let papers = galley.papers().len();
    program.kill();
    let kept = kept(&data, &messages);
    let figures = Figures::of(took);
    println!(
        "{orders} orders in {:.1} s ({:.0} a second{}): lost {}; answer p50 {:.2} ms, p99 {:.2} ms, at most {:.1} ms; \
         memory at most {:.1} MB; at most {:.0} orders without a plan, all planned {:.1} s after the last answer; \
         index at most {:.0} facts behind; {papers} papers meanwhile",
        sent_in.as_secs_f64(),
        orders as f64 / sent_in.as_secs_f64(),
        if within.is_some() { "" } else { ", as fast as it goes" },
        orders - kept,
        figures.ms(0.5),
        figures.ms(0.99),
        figures.ms(1.0),
        peak as f64 / 1e6,
        seen.unplanned,
        all_planned.as_secs_f64(),
        seen.lag,
    );
    assert_eq!(kept, orders, "answered, and not there");
}

/// Orders that have no plan yet.
fn unplanned(program: &Program) -> f64 {
    program.metric(&["open_orders", "stage=\"received\""])
}

fn watch(program: &Program, over: &AtomicBool) -> Seen {
    let mut seen = Seen::default();
    while !over.load(Ordering::Relaxed) {
        seen.unplanned = seen.unplanned.max(unplanned(program));
        seen.lag = seen.lag.max(program.metric(&["index_lag_facts"]));
        std::thread::sleep(LOOK);
    }
    seen
}

/// Sends all messages, evenly within a time or as fast as it goes; how long each answer took.
fn send(
    table: &SourceTable,
    messages: &[dawnslip::cli::rehearse_orders::PlannedMessage],
    to: SocketAddr,
    within: Option<Duration>,
) -> Vec<Duration> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let next = AtomicUsize::new(0);
    let begun = tokio::time::Instant::now();
    let one = |_| async {
        let mut sender = Sender::new(to.into());
        let mut took = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            let Some(message) = messages.get(number) else { return took };
            if let Some(within) = within {
                tokio::time::sleep_until(begun + within.mul_f64(number as f64 / messages.len() as f64)).await;
            }
            let source = table.get(message.source.as_str()).expect("a source");
            let envelope = message.envelope(source, SystemClock.now()).expect("a secret");
            let sent = Instant::now();
            let told = sender.send(&envelope).await.expect("an answer");
            assert_eq!(told.status, 202, "{}", told.body);
            took.push(sent.elapsed());
        }
    };
    runtime.block_on(support::life::together((0..SENDERS).map(one).collect())).into_iter().flatten().collect()
}

/// So many of the messages are in the data folder.
fn kept(data: &Path, messages: &[dawnslip::cli::rehearse_orders::PlannedMessage]) -> usize {
    let disk = Arc::new(RealDisk::new(data).expect("the data folder"));
    let (_ledger, opened) = Ledger::open(disk, SystemClock.now()).expect("it opens after a kill");
    let durable = fold(&opened).expect("it can be read");
    // A source without ids in its scheme has the digest for one: then the count says it.
    let held: usize = durable.state.messages.values().map(|ids| ids.len()).sum();
    held.min(messages.len())
}
