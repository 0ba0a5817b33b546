//! `dawnslip check`.

use super::{Ended, Folders, wiring};

/// Look for mistakes in the configuration
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Tells every mistake at once, each with its file, line and column, and what to write
instead; where no daemon runs, also what is damaged in the data folder; and each letter of
an open order that no font has (add one: `fonts` in workshop.toml). Changes nothing.
Exit code 1 where there is something; notes alone are nothing.

  dawnslip check
  dawnslip check --config /etc/dawnslip")]
pub struct Check {}

impl Check {
    /// Checks.
    pub fn run(self, at: &Folders) -> Ended {
        wiring::check(at)
    }
}
