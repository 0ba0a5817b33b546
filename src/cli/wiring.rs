//! Where commands meet the modules that do their work. To be filled in by the wiring.

use super::client::Folder;
use super::screen::Fault;
use super::{Ended, Folders, GalleyOptions, QuoteOptions, RehearseOptions, TryOptions};

fn not_wired(what: &str) -> Fault {
    Fault::new(format!("`dawnslip {what}` is not part of this build"), "", "build it whole: cargo build --release")
}

/// Opens the data folder under its lock, for reading, while no daemon runs.
///
/// # Errors
/// Where it cannot be opened.
pub fn open_offline(_at: &Folders) -> Result<Folder, Fault> {
    Err(not_wired("status"))
}

/// Runs the daemon until it is told to stop; `--json` writes its log as JSON lines.
///
/// # Errors
/// Where it cannot start.
pub fn run(_at: &Folders) -> Ended {
    Err(not_wired("run"))
}

/// Checks the configuration and tells every complaint.
///
/// # Errors
/// Where the folder cannot be read at all.
pub fn check(_at: &Folders) -> Ended {
    Err(not_wired("check"))
}

/// Sends a signed test message to a source.
///
/// # Errors
/// Where it cannot be signed or sent.
pub fn try_source(_at: &Folders, _options: TryOptions) -> Ended {
    Err(not_wired("try"))
}

/// Plans an order that does not exist.
///
/// # Errors
/// Where the order or the configuration cannot be read.
pub fn quote(_at: &Folders, _options: QuoteOptions) -> Ended {
    Err(not_wired("quote"))
}

/// Rehearses the whole path.
///
/// # Errors
/// Where it cannot begin.
pub fn rehearse(_at: &Folders, _options: RehearseOptions) -> Ended {
    Err(not_wired("rehearse"))
}

/// Runs the virtual printer.
///
/// # Errors
/// Where it cannot listen.
pub fn galley(_at: &Folders, _options: GalleyOptions) -> Ended {
    Err(not_wired("galley"))
}
