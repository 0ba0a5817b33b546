//! `dawnslip reload`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// Take the changed configuration, without a pause
#[derive(Debug, clap::Args)]
#[command(after_help = "\
A configuration with a mistake is refused as a whole, and the one from before stays
in force. Look first:

  dawnslip check && dawnslip reload")]
pub struct Reload {}

impl Reload {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        client::tell(at, screen, "/reload", &json!({}))
    }
}
