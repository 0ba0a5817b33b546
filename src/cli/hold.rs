//! `dawnslip hold`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use crate::desk::form::encode;
use serde_json::json;

/// Print nothing more for an order until it is released
#[derive(Debug, clap::Args)]
#[command(after_help = "\
What you type is kept with the order's personal data and erased with them.

  dawnslip hold 417 the customer wants to add a bowl
  dawnslip release 417              and it goes on")]
pub struct Hold {
    /// The order: 417, S-417 or shop/S-417
    #[arg(value_name = "ORDER")]
    order: String,
    /// Why; it is shown wherever the order is
    #[arg(value_name = "REASON", required = true)]
    reason: Vec<String>,
}

impl Hold {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let body = json!({ "reason": self.reason.join(" ") });
        client::tell(at, screen, &format!("/orders/{}/hold", encode(&self.order)), &body)
    }
}
