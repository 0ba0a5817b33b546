//! What the benches share: the sample workshop in a folder, its orders, figures.
#![allow(dead_code, reason = "each bench uses its own part")]

pub mod file;
pub mod life;
pub mod measure;
pub mod picture;
pub mod process;

use dawnslip::book::Received;
use dawnslip::cli::rehearse_orders::{Expect, PlannedMessage, Signed, orders};
use dawnslip::config::{embedded, policy};
use dawnslip::daemon::Place;
use dawnslip::intake::sources::SourceTable;
use dawnslip::model::Workshop;
use jiff::Timestamp;
use std::path::Path;
use std::time::Duration;

/// Rules are compiled and evaluated on this much.
const STACK_BYTES: usize = 64 * 1024 * 1024;
/// Any secret serves.
const SECRET: &str = "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=";

/// Runs a bench on the stack that the planner has in the program.
pub fn on_a_large_stack(bench: impl FnOnce() + Send + 'static) {
    let thread = std::thread::Builder::new().stack_size(STACK_BYTES).spawn(bench).expect("a thread");
    if let Err(panic) = thread.join() {
        std::panic::resume_unwind(panic);
    }
}

/// How long this thread has been at work.
pub fn processor_time() -> Duration {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    Duration::new(time.tv_sec.unsigned_abs(), time.tv_nsec as u32)
}

/// The number among the arguments (cargo passes `--bench` as well), or `otherwise`.
pub fn argument(otherwise: usize) -> usize {
    std::env::args().skip(1).find_map(|arg| arg.parse().ok()).unwrap_or(otherwise)
}

/// Writes the sample with secrets and without a limit of messages a minute; reads it back.
pub fn sample(folder: &Path) -> (Place, Workshop) {
    for (name, text) in embedded() {
        let file = folder.join(&name);
        std::fs::create_dir_all(file.parent().expect("a file in a folder")).expect("room");
        std::fs::write(file, text.replace("per_minute = 600", "per_minute = 1000000")).expect("room");
    }
    std::fs::create_dir_all(folder.join("secrets")).expect("room");
    for name in ["shop", "fair", "stall"] {
        let file = folder.join("secrets").join(name);
        let prefix = if name == "shop" { "whsec_" } else { "" };
        std::fs::write(&file, format!("{prefix}{SECRET}\n")).expect("room");
        std::fs::set_permissions(&file, std::os::unix::fs::PermissionsExt::from_mode(0o600)).expect("our own file");
    }
    let place = Place { folder: folder.to_owned() };
    let workshop = place.load().unwrap_or_else(|error| panic!("the sample: {error}"));
    assert_eq!(workshop.limits.per_minute, 1_000_000, "the sample names its limit otherwise");
    (place, workshop)
}

/// So many ordinary orders of the sample's shops, each once, rightly signed.
pub fn ordinary(count: usize, now: Timestamp) -> Vec<PlannedMessage> {
    // The stories before them are some thirty.
    let all = orders(count + 60, now).into_iter();
    all.filter(|message| {
        message.tale == "an ordinary order"
            && message.signed == Signed::Rightly
            && matches!(message.expect, Expect::OnPaper { .. })
    })
    .take(count)
    .collect()
}

/// A message as the book gets it.
pub fn received(table: &SourceTable, message: &PlannedMessage) -> Received {
    let source = table.get(message.source.as_str()).expect("a source of the sample");
    let mut received = table.received_from_file(source, message.body.as_bytes());
    received.message.id.clone_from(&message.id);
    received
}

/// The command that puts a workshop's policy in force.
pub fn adopt(workshop: &Workshop) -> dawnslip::book::Command {
    dawnslip::book::Command::Adopt {
        digest: workshop.digest.clone(),
        policy: Box::new(policy(workshop)),
        files: workshop.files.clone(),
    }
}

/// Sorted durations.
#[derive(Debug, Default, Clone)]
pub struct Figures(Vec<Duration>);

impl Figures {
    pub fn of(mut times: Vec<Duration>) -> Self {
        times.sort_unstable();
        Self(times)
    }
    /// Milliseconds below which this share lies (0.5: the median).
    pub fn ms(&self, share: f64) -> f64 {
        let last = self.0.len().saturating_sub(1);
        self.0.get((last as f64 * share).round() as usize).map_or(f64::NAN, |time| time.as_secs_f64() * 1000.0)
    }
    pub fn mean_ms(&self) -> f64 {
        self.0.iter().sum::<Duration>().as_secs_f64() * 1000.0 / self.0.len().max(1) as f64
    }
}
