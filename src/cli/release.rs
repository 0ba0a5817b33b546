//! `dawnslip release`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// Let held orders go on
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Lifts every hold, a person's and a rule's. Questions stay: they want `decide`.

  dawnslip release 417 418")]
pub struct Release {
    /// Orders: 417, S-417 or shop/S-417
    #[arg(value_name = "ORDER", required = true)]
    orders: Vec<String>,
}

impl Release {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        client::tell_each(at, screen, &self.orders, |order| format!("/orders/{order}/release"), &json!({}))
    }
}
