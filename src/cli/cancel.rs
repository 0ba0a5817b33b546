//! `dawnslip cancel`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use crate::desk::form::encode;
use serde_json::json;

/// End an order: nothing is sent
#[derive(Debug, clap::Args)]
#[command(after_help = "\
If a slip is already on paper, a stop note prints and goes to the bench. The shop
is not told: cancel it there, too. What you type as the reason is kept with the
order's personal data and erased with them.

  dawnslip cancel 417 ordered twice by mistake")]
pub struct Cancel {
    /// The order: 417, S-417 or shop/S-417
    #[arg(value_name = "ORDER")]
    order: String,
    /// Why
    #[arg(value_name = "REASON")]
    reason: Vec<String>,
}

impl Cancel {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let body = json!({ "reason": self.reason.join(" ") });
        client::tell(at, screen, &format!("/orders/{}/cancel", encode(&self.order)), &body)
    }
}
