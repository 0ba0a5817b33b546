//! `dawnslip nosuch`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// There never was an order with this number: close the gap
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Where a shop's numbers have no gaps, `dawnslip status` tells of one that never came.
Look it up in the shop first; if it is there, bring it with `dawnslip intake`.

  dawnslip nosuch S-447")]
pub struct Nosuch {
    /// The number
    #[arg(value_name = "NUMBER")]
    number: String,
}

impl Nosuch {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        client::tell(at, screen, "/nosuch", &json!({ "number": self.number }))
    }
}
