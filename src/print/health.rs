//! How a printer is, as its worker publishes it.

use super::trouble::Trouble;
use crate::model::{JobId, PrinterName};
use jiff::Timestamp;

/// What a worker does at present.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PrinterState {
    /// Nothing to print.
    Idle,
    /// Quiet hours: only stop notes print.
    Quiet,
    /// Connects, or asks the printer how it is.
    Asking(JobId),
    /// Hands over bytes.
    Sending(JobId),
    /// Waits for the confirmation.
    Confirming(JobId),
    /// Waits before it tries again.
    Waiting,
    /// Stopped.
    Stopped,
}

impl PrinterState {
    /// The word for screen and JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Idle => "idle",
            Self::Quiet => "quiet hours",
            Self::Asking(_) => "asking",
            Self::Sending(_) => "sending",
            Self::Confirming(_) => "confirming",
            Self::Waiting => "waiting",
            Self::Stopped => "stopped",
        }
    }
}

/// How a printer is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PrinterHealth {
    /// Which.
    pub printer: PrinterName,
    /// Where.
    pub address: String,
    /// What its worker does.
    pub state: PrinterState,
    /// What is the matter, if anything.
    pub trouble: Option<Trouble>,
    /// The roll is near its end (as last heard).
    pub near_end: bool,
    /// When the last paper came out.
    pub last_paper: Option<Timestamp>,
    /// Papers since the program started.
    pub jobs_done: u64,
    /// Rows of dots printed since the program started.
    pub rows_printed: u64,
}

impl PrinterHealth {
    /// Nothing known yet.
    pub fn new(printer: PrinterName, address: String) -> Self {
        Self {
            printer,
            address,
            state: PrinterState::Idle,
            trouble: None,
            near_end: false,
            last_paper: None,
            jobs_done: 0,
            rows_printed: 0,
        }
    }
}
