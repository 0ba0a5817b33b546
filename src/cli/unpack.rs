//! `dawnslip unpack`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// These parcels are not packed (or handed over) after all
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Goes back one step: from handed over to packed, from packed to printed.

  dawnslip unpack 417")]
pub struct Unpack {
    /// Parcels as on their slips
    #[arg(value_name = "PARCEL", required = true)]
    parcels: Vec<String>,
}

impl Unpack {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        client::tell_each(at, screen, &self.parcels, |parcel| format!("/parcels/{parcel}/unpack"), &json!({}))
    }
}
