//! `dawnslip ready`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// What these orders waited for is there
#[derive(Debug, clap::Args)]
#[command(after_help = "\
For orders that are `waiting`: goods made to order, a stock that ran out, a date.

  dawnslip orders --only waiting
  dawnslip ready 417")]
pub struct Ready {
    /// Orders: 417, S-417 or shop/S-417
    #[arg(value_name = "ORDER", required = true)]
    orders: Vec<String>,
}

impl Ready {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        client::tell_each(at, screen, &self.orders, |order| format!("/orders/{order}/ready"), &json!({}))
    }
}
