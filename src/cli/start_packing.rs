//! `dawnslip start-packing`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// Packing starts: print the slips and cards that wait
#[derive(Debug, clap::Args)]
#[command(after_help = "\
While orders trickle in, slips print one by one. In a burst they wait, so that they
come out in the order in which to pack: one box size at a time.

  dawnslip start-packing")]
pub struct StartPacking {}

impl StartPacking {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        client::tell(at, screen, "/packing/start", &json!({}))
    }
}
