//! A long life: what one order costs, what lies on the disk, what a start takes and how much
//! memory a daemon at rest has, from the first thousand past orders on.
//!
//! `cargo bench --bench life [-- ORDERS]` (100 000; the whole life is 1 000 000). Writes
//! `target/life.csv` and `target/life.svg`.

mod support;

use dawnslip::clock::SetClock;
use dawnslip::daemon::Place;
use dawnslip::ledger::IndexerState;
use jiff::Timestamp;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};
use support::life::{DAY, Life, Milestone, PER_DAY, open, workshop_with_plenty};
use support::measure::{DiskUse, Start, Stretch, memory};
use support::picture;

/// Past orders at which everything is measured.
const MILESTONES: [usize; 6] = [1_000, 10_000, 100_000, 300_000, 600_000, 1_000_000];
/// Days over which the cost of an order is measured.
const DAYS_MEASURED: usize = 8;
/// A daemon that has been left alone for so long is at rest.
const REST: Duration = Duration::from_secs(3);
const AT_REST: &str = "--at-rest";

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if arguments.get(1).is_some_and(|first| first == AT_REST) {
        return support::on_a_large_stack(be_at_rest);
    }
    support::on_a_large_stack(bench);
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().expect("a runtime")
}

/// In a process of its own: starts, says so, stops when told to.
fn be_at_rest() {
    let arguments: Vec<String> = std::env::args().skip(2).collect();
    let [config, data, now] = &arguments[..] else { panic!("{arguments:?}") };
    let now: Timestamp = now.parse().expect("an instant");
    let say = |word: &str| {
        println!("{word}");
        std::io::stdout().flush().expect("somebody listens");
    };
    let runtime = runtime();
    let running =
        runtime.block_on(open(&Place { folder: config.into() }, Path::new(data), Arc::new(SetClock::new(now))));
    say("ready");
    while running.house.index_state() != IndexerState::Serving {
        std::thread::sleep(Duration::from_millis(2));
    }
    say("indexed");
    let mut told = String::new();
    std::io::stdin().read_line(&mut told).expect("somebody tells");
    runtime.block_on(running.stop());
}

/// Starts a daemon on this folder in a process of its own, and measures it.
fn start_child(place: &Place, data: &Path, now: Timestamp) -> (Child, Start) {
    let begun = Instant::now();
    let mut child = Command::new(std::env::current_exe().expect("this program"))
        .arg(AT_REST)
        .args([place.folder.as_os_str(), data.as_os_str()])
        .arg(now.to_string())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("a process");
    let mut lines = BufReader::new(child.stdout.take().expect("it is piped")).lines();
    let mut until = |word: &str| {
        let said = lines.next().expect("it says something").expect("it is text");
        assert_eq!(said, word);
        begun.elapsed().as_secs_f64() * 1000.0
    };
    let (ready_ms, index_ms) = (until("ready"), until("indexed"));
    std::thread::sleep(REST);
    let id = child.id();
    let start = Start { ready_ms, index_ms, rest_bytes: memory(id, "VmRSS"), peak_bytes: memory(id, "VmHWM") };
    (child, start)
}

/// A start after a clean stop, and one after a kill.
fn measure_starts(place: &Place, data: &Path, now: Timestamp) -> (Start, Start) {
    let (mut first, clean) = start_child(place, data, now);
    // kill -9: nothing is closed.
    first.kill().expect("it is ours");
    first.wait().expect("it ends");
    let (mut second, unclean) = start_child(place, data, now);
    writeln!(second.stdin.take().expect("it is piped"), "stop").expect("it reads");
    assert!(second.wait().expect("it ends").success(), "it stops cleanly");
    (clean, unclean)
}

fn bench() {
    let most = support::argument(100_000);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let place = workshop_with_plenty(&folder.path().join("config"));
    let data = folder.path().join("data");
    // The life ends about now.
    let days = i64::try_from(most.div_ceil(PER_DAY) + 40).expect("some years");
    let today = Timestamp::from_second(Timestamp::now().as_second() / 86_400 * 86_400).expect("a midnight");
    let first = today - DAY * i32::try_from(days).expect("some years");
    let begun = Instant::now();
    let found = runtime().block_on(async {
        let mut life = Life::begin(place, data.clone(), first).await;
        let mut found = Vec::new();
        let milestones = MILESTONES.into_iter().filter(|past| *past < most).chain([most]);
        for past in milestones {
            while life.past() < past {
                life.day(PER_DAY).await;
            }
            let stretch = Stretch::begin();
            for _ in 0..DAYS_MEASURED {
                life.day(PER_DAY).await;
            }
            let cost = stretch.over(DAYS_MEASURED * PER_DAY);
            let past = life.past();
            let open = life.made() - past;
            let (disk, (clean, unclean)) = life
                .pause(async |place, data, now| {
                    let disk = DiskUse::of(data);
                    (disk, tokio::task::block_in_place(|| measure_starts(place, data, now)))
                })
                .await;
            let milestone = Milestone { past, open, disk, cost, clean, unclean };
            tell(&milestone, found.is_empty());
            found.push(milestone);
        }
        life.end().await;
        found
    });
    println!("{:.0} s in all", begun.elapsed().as_secs_f64());
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).parent().expect("it lies in target/");
    for (name, text) in [("life.csv", picture::csv(&found)), ("life.svg", picture::svg(&found))] {
        std::fs::write(target.join(name), text).expect("room");
        println!("{}", target.join(name).display());
    }
}

fn tell(milestone: &Milestone, first: bool) {
    if first {
        println!(
            "{:>8} {:>6} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8} {:>7} | {:>8} {:>8} | {:>14} | {:>14} | {:>10}",
            "past",
            "open",
            "journal",
            "snapshot",
            "facts",
            "people",
            "keys",
            "history",
            "index",
            "all MB",
            "files",
            "cpu us",
            "wall us",
            "clean ms index",
            "kill ms index",
            "rest peak MB"
        );
    }
    let mb = |bytes: u64| format!("{:.1}", bytes as f64 / 1e6);
    let Milestone { past, open, disk, cost, clean, unclean } = milestone;
    println!(
        "{past:>8} {open:>6} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8} {:>7} | {:>8.0} {:>8.0} | {:>6.0} {:>7.0} | {:>6.0} {:>7.0} | {} {} / {} {}",
        mb(disk.journal),
        mb(disk.snapshot),
        mb(disk.facts),
        mb(disk.people),
        mb(disk.keys),
        mb(disk.history),
        mb(disk.index),
        mb(disk.sum()),
        disk.files,
        cost.processor_us,
        cost.wall_us,
        clean.ready_ms,
        clean.index_ms,
        unclean.ready_ms,
        unclean.index_ms,
        mb(clean.rest_bytes),
        mb(clean.peak_bytes),
        mb(unclean.rest_bytes),
        mb(unclean.peak_bytes),
    );
}
