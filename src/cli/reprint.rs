//! `dawnslip reprint`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use crate::desk::form::encode;
use serde_json::json;

/// Print a paper once more; it carries COPY
#[derive(Debug, clap::Args)]
#[command(after_help = "\
`dawnslip order 417` shows its papers with their names: j12, j13. The reason of a
slip, card or note is kept with the order's personal data and erased with them; that
of a list is not, so write no names there.

  dawnslip reprint j12 coffee on it")]
pub struct Reprint {
    /// The paper: j12
    #[arg(value_name = "PAPER")]
    job: String,
    /// Why; it stands on the copy
    #[arg(value_name = "REASON")]
    reason: Vec<String>,
}

impl Reprint {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let body = json!({ "reason": self.reason.join(" ") });
        client::tell(at, screen, &format!("/jobs/{}/reprint", encode(&self.job)), &body)
    }
}
