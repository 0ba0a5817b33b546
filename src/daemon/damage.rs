//! Damage that shows while the daemon runs: a survey in the background after the start and once a
//! day, and what readers run into. It is told, and nothing else is done about it.

use super::House;
use crate::desk::view::Trouble;
use crate::ledger::Disk;
use crate::ledger::damage::{Damage, Need};
use crate::ledger::survey::survey_live;
use jiff::Timestamp;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Between two surveys.
const SURVEY_EVERY: Duration = Duration::from_secs(24 * 3600);
/// After each file it rests as long as the file took, but not longer than this.
const REST_MAX: Duration = Duration::from_millis(500);
/// How often a waiting survey looks whether the daemon ends.
const LOOK_AGAIN: Duration = Duration::from_millis(500);

/// What was found, and since when.
#[derive(Default)]
pub struct FoundDamage(Mutex<Found>);

#[derive(Default)]
struct Found {
    surveyed: Vec<String>,
    met: Vec<String>,
    since: Option<Timestamp>,
}

impl FoundDamage {
    fn with<T>(&self, use_it: impl FnOnce(&mut Found) -> T) -> T {
        use_it(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Somebody who read something ran into it.
    pub fn note(&self, now: Timestamp, what: String) {
        self.with(|found| {
            if !found.met.contains(&what) {
                tracing::error!(why = %what, "damage");
                found.met.push(what);
            }
            found.since.get_or_insert(now);
        });
    }

    fn surveyed(&self, now: Timestamp, lines: Vec<String>) {
        self.with(|found| {
            // A whole survey knows better than what was met before it.
            found.met.clear();
            found.since = if lines.is_empty() { None } else { found.since.or(Some(now)) };
            found.surveyed = lines;
        });
    }

    /// In words for people; `None` where nothing was found.
    pub fn trouble(&self) -> Option<Trouble> {
        self.with(|found| {
            let lines: Vec<&String> = found.surveyed.iter().chain(&found.met).collect();
            let (first, others) = lines.split_first()?;
            let more = if others.is_empty() { String::new() } else { format!(" (and {} more)", others.len()) };
            Some(Trouble {
                what: "the data folder is damaged; work goes on, looking back is concerned".into(),
                since: found.since?,
                why: format!("{first}{more}"),
                remedy: "when it suits you: stop the daemon, then: dawnslip repair (it first says what it would do)"
                    .into(),
            })
        })
    }
}

/// Begins the surveys, on a thread that ends with the daemon.
///
/// # Errors
/// Where the system gives no thread.
pub fn watch(house: Arc<House>, disk: Arc<dyn Disk>, upto: u64) -> std::io::Result<()> {
    let survey = move || {
        let mut upto = upto;
        while !house.stopping.load(Ordering::Relaxed) {
            look(&house, disk.as_ref(), upto);
            let begun = Instant::now();
            while begun.elapsed() < SURVEY_EVERY {
                if house.stopping.load(Ordering::Relaxed) {
                    return;
                }
                std::thread::sleep(LOOK_AGAIN);
            }
            upto = house.shared.durable().state.seq;
        }
    };
    std::thread::Builder::new().name("survey".into()).spawn(survey).map(drop)
}

fn look(house: &House, disk: &dyn Disk, upto: u64) {
    let mut begun = Instant::now();
    let mut rest = || {
        std::thread::sleep(begun.elapsed().min(REST_MAX));
        begun = Instant::now();
    };
    match survey_live(disk, upto, &mut rest) {
        Ok(survey) => {
            let real = survey.damage.iter().filter(|damage| damage.needed_for > Need::Nothing);
            let lines: Vec<String> = real.map(Damage::line).collect();
            for line in &lines {
                tracing::error!(why = %line, "damage");
            }
            house.damage.surveyed(house.clock.now(), lines);
        }
        // Next time; what is needed was read at the start.
        Err(error) => tracing::warn!(error = %super::start::chain(&error), "the data folder could not be surveyed"),
    }
}
