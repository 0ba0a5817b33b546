//! `dawnslip orders`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use crate::desk::form::encode;
use crate::desk::orders::WORDS;

/// The open orders, oldest first
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Stages: received, planned, printed, packed, handed over. Stops: needs you, held,
waiting. `cancelled` ends an order.

  dawnslip orders
  dawnslip orders --only held
  dawnslip orders --only 'needs you' --json
  dawnslip orders --all             with those handed over or cancelled lately")]
pub struct Orders {
    /// Only those at this stage or with this stop
    #[arg(long, value_name = "WORD", value_parser = word)]
    only: Option<String>,
    /// Closed ones, too
    #[arg(long)]
    all: bool,
}

/// `needs-you` is `needs you`.
fn word(text: &str) -> Result<String, String> {
    let plain = text.replace(['-', '_'], " ");
    if WORDS.contains(&plain.as_str()) { Ok(plain) } else { Err(format!("say one of: {}", WORDS.join(", "))) }
}

impl Orders {
    /// Lists them.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let only = self.only.map(|word| format!("&only={}", encode(&word))).unwrap_or_default();
        client::show(at, screen, &format!("/orders?all={}{only}", self.all))
    }
}
