//! `dawnslip order`.

use super::client;
use super::picklist::save_picture;
use super::screen::Screen;
use super::{Ended, Folders};
use crate::desk::form::encode;
use std::path::PathBuf;

/// Everything about one order
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Where it stands and what stops it, its parcels, why this box and this service and
what the others would have cost, its papers, and what has happened to it.

  dawnslip order 417
  dawnslip order shop/S-417 --json
  dawnslip order 417 --slip         the slip as text
  dawnslip order 417 --png 417.png  the slip as it looks on paper")]
pub struct Order {
    /// The order: 417, S-417 or shop/S-417
    #[arg(value_name = "ORDER")]
    order: String,
    /// Show the slip of its first parcel
    #[arg(long, conflicts_with = "png")]
    slip: bool,
    /// Draw that slip into this file
    #[arg(long, value_name = "FILE")]
    png: Option<PathBuf>,
    /// Another parcel of it: 2 for 417/2
    #[arg(long, value_name = "N", default_value_t = 1)]
    parcel: u32,
}

impl Order {
    /// Shows it.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let order = encode(&self.order);
        match self.png {
            Some(file) => save_picture(at, screen, &format!("/orders/{order}/slip.png?parcel={}", self.parcel), &file),
            None if self.slip => client::show(at, screen, &format!("/orders/{order}/slip.txt?parcel={}", self.parcel)),
            None => client::show(at, screen, &format!("/orders/{order}")),
        }
    }
}
