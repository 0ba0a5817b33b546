//! The head: works off what was read, row by row, and stops where a real one would.

use super::composer::{Composer, Out};
use super::state::{Cut, Shared, Work};
use std::sync::Arc;
use std::time::Duration;
use tokio::time::{Instant, sleep_until};

/// The head sleeps no shorter than this; quicker rows go in groups.
const PACE: Duration = Duration::from_millis(5);

/// Prints until its galley is dropped.
pub(super) async fn run(shared: Arc<Shared>) {
    let mut composer = Composer::new(shared.options.dots);
    let mut life = 0;
    let mut due = Instant::now();
    loop {
        let (work, begun_in) = shared.next_work().await;
        if begun_in != life {
            // Switched off and on: it has forgotten its line and its styles.
            life = begun_in;
            composer = Composer::new(shared.options.dots);
        }
        let size = work.size();
        let torn = matches!(work, Work::Tear);
        let outs = match work {
            Work::Command(command, raw) => {
                if command.is_print() {
                    shared.digest(&raw);
                }
                composer.take(command)
            }
            Work::Tear => composer.finish(),
        };
        for out in outs {
            if !perform(&shared, out, life, &mut due).await {
                break;
            }
        }
        if torn {
            shared.finish_paper(Cut::Torn);
        }
        shared.done(size, life);
        // Nothing above need ever wait: let the others have their turn.
        tokio::task::yield_now().await;
    }
}

/// Does one thing, waiting while the head halts. False if the printer was switched off meanwhile.
async fn perform(shared: &Shared, out: Out, life: u64, due: &mut Instant) -> bool {
    match out {
        Out::Row(row) => {
            while !shared.print_row(&row, life) {
                if !ready(shared, life).await {
                    return false;
                }
            }
            pace(shared, due).await;
            return true;
        }
        Out::Words(words) => shared.add_words(words),
        Out::Note(note) => shared.add_note(note),
        Out::Cut { partial } => {
            if shared.lock().wrong.cutter_will_stick {
                shared.change(|state| {
                    state.wrong.cutter_will_stick = false;
                    state.wrong.cutter_stuck = true;
                });
            }
            if !ready(shared, life).await {
                return false;
            }
            shared.finish_paper(if partial { Cut::Partial } else { Cut::Full });
        }
        Out::AutoStatus(on) => shared.set_automatic(on),
        answer => {
            // A head that halts works nothing off, not even questions.
            if !ready(shared, life).await {
                return false;
            }
            match answer {
                Out::StatusInLine => shared.say_in_line(),
                Out::ProcessId(id) => shared.say_process_id(id),
                Out::WhoAreYou(n) => shared.say_who(n),
                _ => {}
            }
        }
    }
    true
}

/// Waits until the head may move. False if it was switched off meanwhile.
async fn ready(shared: &Shared, life: u64) -> bool {
    shared.wait_until(|state| !state.wrong.halts() || state.life != life).await;
    shared.lock().life == life
}

/// Holds the head to its speed.
async fn pace(shared: &Shared, due: &mut Instant) {
    let speed = shared.lock().wrong.rows_a_second.or(shared.options.rows_a_second);
    let Some(rows) = speed.filter(|rows| *rows > 0) else { return };
    let now = Instant::now();
    *due = (*due).max(now - PACE) + Duration::from_nanos(1_000_000_000 / rows);
    if *due > now + PACE {
        sleep_until(*due).await;
    }
}
