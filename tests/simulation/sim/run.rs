//! Many worlds, on as many threads as there are cores; each world is lived on one thread.

use super::mistakes::{self, Mistake, Planted};
use super::{Counts, Failure, live};
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Instant;

/// The worlds to live.
#[derive(Debug, Clone, Copy)]
pub struct Plan {
    /// The first seed.
    pub from: u64,
    /// So many seeds.
    pub worlds: u64,
    /// No new world is begun after this.
    pub until: Option<Instant>,
    pub mistake: Option<Mistake>,
    /// Look at everything after each group, so that a story ends where it went wrong.
    pub each_time: bool,
}

impl Plan {
    /// So many worlds from a seed on, without a mistake.
    pub fn of(from: u64, worlds: u64) -> Self {
        Self { from, worlds, until: None, mistake: None, each_time: false }
    }
}

/// A seed that failed.
pub struct Failed {
    pub seed: u64,
    pub failure: Failure,
}

/// Lives them all, or until one fails: of those that failed, the one with the lowest seed is told.
pub fn live_all(plan: Plan, threads: usize) -> (Counts, Option<Failed>) {
    let next = AtomicU64::new(0);
    let all = Mutex::new(Counts::default());
    let failed: Mutex<Option<Failed>> = Mutex::new(None);
    let has_failed = || failed.lock().unwrap_or_else(PoisonError::into_inner).is_some();
    let work = || {
        while !has_failed() && plan.until.is_none_or(|until| Instant::now() < until) {
            let at = next.fetch_add(1, Ordering::Relaxed);
            if at >= plan.worlds {
                return;
            }
            let seed = plan.from.wrapping_add(at);
            match live(seed, plan.mistake, plan.each_time) {
                Ok(counts) => all.lock().unwrap_or_else(PoisonError::into_inner).add(&counts),
                Err(failure) => {
                    let mut failed = failed.lock().unwrap_or_else(PoisonError::into_inner);
                    if failed.as_ref().is_none_or(|other| seed < other.seed) {
                        *failed = Some(Failed { seed, failure });
                    }
                    return;
                }
            }
        }
    };
    std::thread::scope(|scope| {
        for thread in 0..threads.max(1) {
            // As large as the planner's own.
            let stack = dawnslip::daemon::PLANNER_STACK_BYTES;
            let builder = std::thread::Builder::new().name(format!("worlds {thread}")).stack_size(stack);
            builder.spawn_scoped(scope, work).expect("a thread");
        }
    });
    let all = all.into_inner().unwrap_or_else(PoisonError::into_inner);
    (all, failed.into_inner().unwrap_or_else(PoisonError::into_inner))
}

/// For each planted mistake how it was noticed, by the words that belong to it; or that it was not.
pub fn notice_all(worlds: u64, threads: usize) -> Vec<Result<String, String>> {
    let next = AtomicUsize::new(0);
    let results = Mutex::new(Vec::new());
    let work = || {
        while let Some(planted) = mistakes::ALL.get(next.fetch_add(1, Ordering::Relaxed)) {
            let result = notice(planted, worlds);
            println!("{}", result.as_ref().unwrap_or_else(|missed| missed));
            results.lock().unwrap_or_else(PoisonError::into_inner).push(result);
        }
    };
    std::thread::scope(|scope| (0..threads.max(1)).for_each(|_| drop(scope.spawn(work))));
    results.into_inner().unwrap_or_else(PoisonError::into_inner)
}

fn notice(Planted { mistake, what, shows_as }: &Planted, worlds: u64) -> Result<String, String> {
    let mut otherwise = Vec::new();
    for seed in 0..worlds {
        let plan = Plan { mistake: Some(*mistake), ..Plan::of(seed, 1) };
        let (_, Some(Failed { failure, .. })) = live_all(plan, 1) else { continue };
        if shows_as.iter().any(|word| failure.what.contains(word)) {
            return Ok(format!("noticed: {what} ({mistake:?}), by seed {seed}: {}", failure.what));
        }
        otherwise.push(format!("seed {seed}: {}", failure.what));
    }
    Err(format!("NOT noticed in {worlds} worlds: {what} ({mistake:?}), but {otherwise:#?}"))
}

/// So many as there are cores.
pub fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}
