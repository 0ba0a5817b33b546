//! Plans many orders on several threads; what comes out does not depend on how many.

use super::screen::{Fault, Screen};
use crate::daemon::PLANNER_STACK_BYTES;
use crate::plan::compare::{Answer, Job};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;

/// Signs in the bar.
const BAR: usize = 30;
/// The bar moves so often over its length.
const MOVES: usize = 200;

/// Does all the jobs, and gives the answers in their order. `doing` stands before the bar.
///
/// # Errors
/// Where no thread can be started, or one fails.
pub fn work(jobs: &[Job<'_>], threads: usize, doing: &str, screen: &Screen) -> Result<Vec<Answer>, Fault> {
    let next = AtomicUsize::new(0);
    let (tell, told) = mpsc::channel();
    let mut answers: Vec<Option<Answer>> = jobs.iter().map(|_| None).collect();
    std::thread::scope(|scope| {
        for _ in 0..threads.clamp(1, jobs.len().max(1)) {
            let (tell, next) = (tell.clone(), &next);
            let each = move || {
                while let Some((at, job)) = {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    jobs.get(at).map(|job| (at, job))
                } {
                    if tell.send((at, job.run())).is_err() {
                        return;
                    }
                }
            };
            let spawned = std::thread::Builder::new().stack_size(PLANNER_STACK_BYTES).spawn_scoped(scope, each);
            spawned.map_err(|error| Fault::new("no thread could be started", error.to_string(), "try again"))?;
        }
        drop(tell);
        let every = (jobs.len() / MOVES).max(1);
        for (done, (at, answer)) in told.iter().enumerate() {
            answers[at] = Some(answer);
            if done % every == 0 {
                screen.progress(&bar(doing, done + 1, jobs.len()));
            }
        }
        Ok::<(), Fault>(())
    })?;
    screen.progress("");
    let all: Option<Vec<Answer>> = answers.into_iter().collect();
    all.ok_or_else(|| Fault::new("not all orders were planned", "", "report it with what you typed"))
}

/// `planning [#########           ] 120 of 412`.
fn bar(doing: &str, done: usize, of: usize) -> String {
    let full = BAR * done / of.max(1);
    format!("{doing} [{:<BAR$}] {done} of {of}", "#".repeat(full))
}
