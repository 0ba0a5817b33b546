//! How fast the real program serves again with many past orders, after a clean stop and after a
//! kill, and what memory it rests with.
//!
//! `cargo bench --bench start [-- ORDERS]` (100 000; making them takes some minutes)

mod support;

use dawnslip::daemon::Place;
use jiff::Timestamp;
use std::path::Path;
use std::time::Duration;
use support::Figures;
use support::life::{DAY, Life, PER_DAY, workshop_with_plenty};
use support::measure::{DiskUse, Start};
use support::process::{Doors, Program};

/// Each kind of start is measured so often.
const ROUNDS: usize = 5;
/// A program that has been left alone for so long is at rest.
const REST: Duration = Duration::from_secs(3);
/// After the many orders so many days of everyday trade, so that the state holds what a workshop's
/// does: what closed before the last fortnight is archived.
const CALM_DAYS: usize = 22;
/// Orders on each of them.
const CALM_PER_DAY: usize = 20;

fn main() {
    support::on_a_large_stack(bench);
}

/// Starts the program and measures until it rests.
fn start(place: &Place, data: &Path, doors: Doors) -> (Program, Start) {
    let ms = |time: Duration| time.as_secs_f64() * 1000.0;
    let program = Program::start(place, data, doors);
    let ready_ms = ms(program.until(Program::is_ready));
    let index_ms = ms(program.until(|program| program.metric(&["index_lag_facts"]) == 0.0));
    std::thread::sleep(REST);
    let (rest_bytes, peak_bytes) = (program.memory("VmRSS"), program.memory("VmHWM"));
    (program, Start { ready_ms, index_ms, rest_bytes, peak_bytes })
}

fn tell(what: &str, starts: &[Start]) {
    let of = |figure: fn(&Start) -> f64| {
        Figures::of(starts.iter().map(|start| Duration::from_secs_f64(figure(start) / 1000.0)).collect())
    };
    let (ready, index) = (of(|start| start.ready_ms), of(|start| start.index_ms));
    let most = |figure: fn(&Start) -> u64| starts.iter().map(figure).max().unwrap_or(0) as f64 / 1e6;
    println!(
        "after {what}: ready in {:.0} ms (median; at most {:.0}), index in {:.0} ms ({:.0}); at rest {:.1} MB, at most {:.1} MB",
        ready.ms(0.5),
        ready.ms(1.0),
        index.ms(0.5),
        index.ms(1.0),
        most(|start| start.rest_bytes),
        most(|start| start.peak_bytes)
    );
}

fn bench() {
    let past = support::argument(100_000);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let place = workshop_with_plenty(&folder.path().join("config"));
    let doors = Doors::written_into(&place);
    let data = folder.path().join("data");
    let days = i32::try_from(past.div_ceil(PER_DAY) + 20 + CALM_DAYS).expect("some years");
    let today = Timestamp::from_second(Timestamp::now().as_second() / 86_400 * 86_400).expect("a midnight");
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let mut life = Life::begin(place.clone(), data.clone(), today - DAY * days).await;
        while life.past() < past {
            life.day(PER_DAY).await;
        }
        for _ in 0..CALM_DAYS {
            life.day(CALM_PER_DAY).await;
        }
        println!("{} past orders, {} in the state", life.past(), life.made() - life.past());
        life.end().await;
    });
    drop(runtime);
    println!("{:.1} MB on the disk", DiskUse::of(&data).sum() as f64 / 1e6);
    let (mut clean, mut unclean) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        let (program, found) = start(&place, &data, doors);
        clean.push(found);
        program.kill();
        let (program, found) = start(&place, &data, doors);
        unclean.push(found);
        program.stop();
    }
    tell("a clean stop", &clean);
    tell("a kill", &unclean);
}
