//! Papers a minute, against what the head alone would allow: the real program with its spool and
//! its ledger, TCP, and the galley, whose head is held to a speed. The head's time is that of all
//! rows of dots, with those that it feeds to cut; it is counted from the end of the first paper to
//! the end of the last, so that no start and no trouble is in it.
//!
//! `cargo bench --bench spool [-- PAPERS]` (60), a slip and a card an order. It fails below 0.95.

mod support;

use dawnslip::clock::{Clock, SystemClock};
use dawnslip::intake::sender::Sender;
use dawnslip::model::Confirms;
use dawnslip::print::galley::{Fault, Galley, GalleyOptions};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;
use std::time::{Duration, Instant};
use support::life::workshop_with_plenty;
use support::process::{Doors, Program, prints_at_once};

/// Dot rows that the head does in a second: 250 mm/s at 203 dpi. The faster it is, the more a pause costs.
const ROWS_A_SECOND: u64 = 2000;
/// What must be reached where the printer confirms.
const GOAL: f64 = 0.95;
/// All papers have come out by then.
const PATIENCE: Duration = Duration::from_secs(300);

/// How a printer confirms, as its configuration says it.
const CONFIRMS: [(Confirms, &str); 3] =
    [(Confirms::ProcessId, "process id"), (Confirms::InlineStatus, "status"), (Confirms::Nothing, "nothing")];
/// A paper counts as printed some quiet seconds after its bytes where the printer confirms nothing: few
/// papers show it, and a short run leaves it out.
const QUIET_PAPERS: usize = 4;
const SHORT_RUN: usize = 40;

fn main() {
    support::on_a_large_stack(bench);
}

fn bench() {
    let papers = support::argument(60).max(4);
    println!("{papers} papers, {ROWS_A_SECOND} rows a second");
    println!("confirms by   connection     papers a minute   the head allows   of it");
    let mut short = Vec::new();
    for (confirms, word) in CONFIRMS {
        for (keep, connection) in [(true, "kept"), (false, "one a paper")] {
            let is_quiet = confirms == Confirms::Nothing;
            if is_quiet && papers < SHORT_RUN {
                continue;
            }
            let papers = if is_quiet { QUIET_PAPERS } else { papers };
            let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
            let pace = once(folder.path(), papers, confirms, word, keep);
            println!("{word:<13} {connection:<12} {:>17.1} {:>17.1}   {:.3}", pace.reached, pace.allowed, pace.share());
            if !is_quiet && pace.share() < GOAL {
                short.push(format!("{word}, {connection}"));
            }
        }
    }
    assert!(short.is_empty(), "less than {GOAL} of what the head allows: {}", short.join("; "));
}

/// Papers a minute.
struct Pace {
    reached: f64,
    allowed: f64,
}

impl Pace {
    fn share(&self) -> f64 {
        self.reached / self.allowed
    }
}

fn once(folder: &Path, papers: usize, confirms: Confirms, word: &str, keep: bool) -> Pace {
    let place = workshop_with_plenty(&folder.join("config"));
    let doors = Doors::written_into(&place);
    let printing =
        tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().expect("a runtime");
    let options = GalleyOptions { rows_a_second: Some(ROWS_A_SECOND), confirms, ..GalleyOptions::default() };
    let any = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
    let galley = printing.block_on(Galley::start(any, options)).expect("a printer");
    let printer = [
        ("printers.toml", "confirms = \"process id\"\n", format!("confirms = \"{word}\"\n")),
        ("printers.toml", "keep_connection = false\n", format!("keep_connection = {keep}\n")),
    ];
    let printer = printer.each_ref().map(|(file, from, to)| (*file, *from, to.as_str()));
    prints_at_once(&place, galley.addr().expect("it listens"), &printer);
    // Nothing prints until all of it is planned and queued.
    galley.set_fault(Fault::CoverOpen);
    let program = Program::start(&place, &folder.join("data"), doors);
    program.until(Program::is_ready);
    send(&place, papers.div_ceil(2), doors.intake);
    program.until(|program| {
        program.metric(&["open_orders", "stage=\"received\""]) == 0.0
            && program.metric(&["papers", "state=\"queued\""]) >= papers as f64
    });
    let queued = program.metric(&["papers", "state=\"queued\""]) as u64;

    galley.mend();
    let reached = |count| {
        let all = printing.block_on(async { tokio::time::timeout(PATIENCE, galley.wait_for(count)).await });
        all.unwrap_or_else(|_| panic!("{count} papers did not come out within {PATIENCE:?}"));
        Instant::now()
    };
    let took = {
        let begun = reached(1);
        reached(queued) - begun
    };
    program.until(|program| program.metric(&["papers"]) == 0.0);
    let made = galley.papers();
    assert_eq!(made.len() as u64, queued, "each once");
    program.kill();
    let rows: usize = made[1..].iter().map(|paper| paper.rows).sum();
    let a_minute = |time: f64| (queued - 1) as f64 * 60.0 / time;
    Pace { reached: a_minute(took.as_secs_f64()), allowed: a_minute(rows as f64 / ROWS_A_SECOND as f64) }
}

/// So many ordinary orders, one after the other.
fn send(place: &dawnslip::daemon::Place, orders: usize, to: SocketAddr) {
    let workshop = place.load().unwrap_or_else(|error| panic!("the sample: {error}"));
    let table = place.sources(&workshop, [0; 32]).unwrap_or_else(|errors| panic!("the sources: {errors:?}"));
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let mut sender = Sender::new(to.into());
    for message in support::ordinary(orders, SystemClock.now()) {
        let source = table.get(message.source.as_str()).expect("a source");
        let envelope = message.envelope(source, SystemClock.now()).expect("a secret");
        let told = runtime.block_on(sender.send(&envelope)).expect("an answer");
        assert_eq!(told.status, 202, "{}", told.body);
    }
}
