//! The daemon with its clock moved, which makes snapshots and archives when it is told to: the
//! daemon itself does so after many thousand facts. A process of its own, made of this test's file.

use dawnslip::clock::ShiftedClock;
use dawnslip::daemon::{self, Place, upkeep};
use dawnslip::print::net::TcpNet;
use jiff::{SignedDuration, Timestamp};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};

/// Names the folder of configuration and data, and makes a house of the process.
const FOLDER: &str = "DAWNSLIP_TEST_HOUSE";
/// Says by how many days its clock goes before the machine's: what was closed long before may be archived.
const DAYS: &str = "DAWNSLIP_TEST_DAYS";

/// So many days.
pub fn ahead(days: i64) -> SignedDuration {
    SignedDuration::from_hours(24 * days)
}

/// The instant that such a house takes for now.
pub fn later(days: i64) -> Timestamp {
    Timestamp::now() + ahead(days)
}

/// The command line of a house; `test` is the test that calls [`live_if_told`].
pub fn command(folder: &Path, test: &str, days: i64) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args([test, "--exact", "--nocapture"]).env(FOLDER, folder).env(DAYS, days.to_string());
    command
}

/// Has a house begin something.
pub fn begin(folder: &Path, word: &str) {
    // In one step: half a word would be no word.
    std::fs::write(folder.join("telling"), word).unwrap();
    std::fs::rename(folder.join("telling"), folder.join("told")).unwrap();
}

/// Has a house do something, and returns when it has.
pub fn tell(folder: &Path, word: &str) {
    begin(folder, word);
    let file = folder.join("told");
    let begun = std::time::Instant::now();
    while file.exists() {
        assert!(begun.elapsed() < Duration::from_secs(60), "{word} was told and not done");
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Runs a house until SIGTERM, if this process is to be one.
pub fn live_if_told() {
    let Some(folder) = std::env::var_os(FOLDER).map(PathBuf::from) else { return };
    let days = std::env::var(DAYS).unwrap().parse().unwrap();
    tracing_subscriber::fmt().with_writer(std::io::stderr).json().init();
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let options = daemon::Options {
            place: Place { folder: folder.join("config") },
            data: folder.join("data"),
            clock: Arc::new(ShiftedClock::starting_at(later(days))),
            net: Arc::new(TcpNet),
            listen: None,
        };
        let running = daemon::start(options).await.unwrap();
        let mut term = signal(SignalKind::terminate()).unwrap();
        let told = folder.join("told");
        loop {
            tokio::select! {
                _ = term.recv() => break,
                () = tokio::time::sleep(Duration::from_millis(10)) => {}
            }
            let Ok(word) = std::fs::read_to_string(&told) else { continue };
            match word.as_str() {
                "checkpoint" | "snapshot" => drop(upkeep::checkpoint(&running.house).await),
                "archive" => drop(upkeep::archive(&running.house).await),
                other => panic!("{other} is no word"),
            }
            std::fs::remove_file(&told).unwrap();
        }
        assert_eq!(running.stop().await, daemon::Exit::Clean);
    });
}
