//! Questions by the line: read, answered on all cores, and written in the order in which they came.

use super::screen::{Fault, Screen};
use super::{Ended, Outcome};
use crate::daemon::PLANNER_STACK_BYTES;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::sync::{Mutex, PoisonError, mpsc};

/// Answers that may wait for a slow one before them, for each core.
const AHEAD: usize = 64;

/// Answers every line of a file (- for standard input). A line without an answer is told with its
/// number, and the others go on.
///
/// # Errors
/// A file that cannot be read.
pub fn answer_lines(
    file: &Path,
    screen: &Screen,
    answer: impl Fn(&str) -> Result<String, String> + Send + Sync,
) -> Ended {
    let name = if file == Path::new("-") { "standard input".to_owned() } else { file.display().to_string() };
    let unread = |error: std::io::Error| {
        Fault::new(
            format!("{name} cannot be read"),
            error.to_string(),
            "name a file that is there, or - for standard input",
        )
    };
    let lines: Box<dyn BufRead + Send> = match file == Path::new("-") {
        true => Box::new(BufReader::new(std::io::stdin())),
        false => Box::new(BufReader::new(File::open(file).map_err(unread)?)),
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let lines = Mutex::new(lines.lines().enumerate());
    let (tell, told) = mpsc::sync_channel(threads * AHEAD);
    let next = || lines.lock().unwrap_or_else(PoisonError::into_inner).next();
    let work = |tell: mpsc::SyncSender<(usize, Result<String, String>)>| {
        while let Some((at, line)) = next() {
            let found = match line {
                Ok(line) if line.trim().is_empty() => Ok(String::new()),
                Ok(line) => answer(&line),
                Err(error) => Err(error.to_string()),
            };
            // Nobody listens any more: the reader of the answers has gone.
            if tell.send((at, found)).is_err() {
                return;
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..threads {
            let (tell, work) = (tell.clone(), &work);
            let spawned =
                std::thread::Builder::new().stack_size(PLANNER_STACK_BYTES).spawn_scoped(scope, move || work(tell));
            spawned.map_err(unread)?;
        }
        drop(tell);
        Ok(write_in_order(&told, &name, screen))
    })
}

fn write_in_order(told: &mpsc::Receiver<(usize, Result<String, String>)>, name: &str, screen: &Screen) -> Outcome {
    let (mut waiting, mut next, mut outcome) = (BTreeMap::new(), 0, Outcome::Well);
    while let Ok((at, found)) = told.recv() {
        waiting.insert(at, found);
        while let Some(found) = waiting.remove(&next) {
            next += 1;
            let written = match found {
                Ok(line) if line.is_empty() => Ok(()),
                Ok(line) => writeln!(std::io::stdout().lock(), "{line}"),
                Err(why) => {
                    outcome = Outcome::Problem;
                    screen.fault(&Fault::new(
                        format!("{name}:{next}: no answer"),
                        why,
                        "correct that line; the others are answered",
                    ));
                    Ok(())
                }
            };
            if written.is_err() {
                return outcome;
            }
        }
        screen.progress(&format!("{next} answered"));
    }
    screen.progress("");
    outcome
}
