//! `dawnslip packed`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// These parcels are packed
#[derive(Debug, clap::Args)]
#[command(after_help = "\
  dawnslip packed 417
  dawnslip packed 417/2             the second parcel of an order
  dawnslip packed 417 418 421

A slip of the hand is undone with `dawnslip unpack`.")]
pub struct Packed {
    /// Parcels as on their slips
    #[arg(value_name = "PARCEL", required = true)]
    parcels: Vec<String>,
}

impl Packed {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        client::tell_each(at, screen, &self.parcels, |parcel| format!("/parcels/{parcel}/packed"), &json!({}))
    }
}
