//! `dawnslip apart`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// Send an order alone, though it may travel with another one
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Where workshop.toml says so, open orders of one customer to one address share a
parcel. This takes orders out of it; all concerned are planned anew, as long as
no paper of theirs is out.

  dawnslip apart 417
  dawnslip apart 417 --undo         and it may be joined again")]
pub struct Apart {
    /// Orders: 417, S-417 or shop/S-417
    #[arg(value_name = "ORDER", required = true)]
    orders: Vec<String>,
    /// Let them be joined again
    #[arg(long)]
    undo: bool,
}

impl Apart {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let verb = if self.undo { "join" } else { "apart" };
        client::tell_each(at, screen, &self.orders, |order| format!("/orders/{order}/{verb}"), &json!({}))
    }
}
