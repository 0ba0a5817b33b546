//! What the driver must know of its printer.

use crate::model::{Confirms, Printer};
use std::time::Duration;

/// What the last job left behind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum AfterDoubt {
    /// Nothing.
    #[default]
    Nothing,
    /// Perhaps half a paper: it must be cut off, and the printer must show a sign of life, first.
    EndPaper,
}

/// Settings of one connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings {
    /// How it confirms.
    pub confirms: Confirms,
    /// It can cut.
    pub cutter: bool,
    /// It has answered real-time status before, so that silence now means something.
    pub must_answer: bool,
    /// It said last that its roll is near the end.
    pub near_end: bool,
    /// What the last job left behind.
    pub after_doubt: AfterDoubt,
    /// Patience.
    pub times: Times,
}

/// How long the driver waits for what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Times {
    /// For a connection (kept by the shell).
    pub connect: Duration,
    /// For the answer to one real-time question.
    pub status: Duration,
    /// For the confirmation, counted from when the printer has taken everything and is well.
    pub answer: Duration,
    /// Without an error, until a printer that confirms nothing counts as done.
    pub quiet: Duration,
    /// Between two rounds of status questions.
    pub poll: Duration,
    /// Without a byte taken, until it is called stalled.
    pub stall: Duration,
}

impl Default for Times {
    fn default() -> Self {
        Self {
            connect: Duration::from_secs(5),
            status: Duration::from_secs(2),
            answer: Duration::from_secs(30),
            quiet: Duration::from_secs(5),
            poll: Duration::from_secs(2),
            stall: Duration::from_secs(10),
        }
    }
}

impl Settings {
    /// The settings for a printer as configured, nothing known of it yet.
    pub fn of(printer: &Printer) -> Self {
        let usual = Times::default();
        Self {
            confirms: printer.confirms,
            cutter: printer.cutter,
            must_answer: false,
            near_end: false,
            after_doubt: AfterDoubt::Nothing,
            times: Times {
                answer: Duration::try_from(printer.answer_time).unwrap_or(usual.answer),
                quiet: Duration::try_from(printer.quiet_after).unwrap_or(usual.quiet),
                ..usual
            },
        }
    }
}
