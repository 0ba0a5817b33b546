//! `dawnslip run`.

use super::{Ended, Folders, wiring};

/// Run the daemon
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Listens for shops and for you where workshop.toml says, prints, and keeps everything
in the data folder. SIGTERM ends it within 10 s, SIGHUP is `dawnslip reload`.
With --json its log is lines of JSON.

  dawnslip run --config /etc/dawnslip --data /var/lib/dawnslip")]
pub struct Run {}

impl Run {
    /// Runs until told to stop.
    pub fn run(self, at: &Folders) -> Ended {
        wiring::run(at)
    }
}
