//! `dawnslip replan`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// Choose box and service anew, as prices, stock and rules are now
#[derive(Debug, clap::Args)]
#[command(after_help = "\
An order keeps its plan as long as that can be sent; its page says what a new one would save. What is on
paper stays as it is.

  dawnslip replan 417
  dawnslip replan --all")]
pub struct Replan {
    /// Orders: 417, S-417 or shop/S-417
    #[arg(value_name = "ORDER", required_unless_present = "all", conflicts_with = "all")]
    orders: Vec<String>,
    /// Everything of which nothing is on paper
    #[arg(long)]
    all: bool,
}

impl Replan {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        match self.all {
            true => client::tell(at, screen, "/replan", &json!({})),
            false => client::tell_each(at, screen, &self.orders, |order| format!("/orders/{order}/replan"), &json!({})),
        }
    }
}
