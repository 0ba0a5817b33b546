//! `dawnslip label`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// Print a parcel's address label, or the facts for its customs form
#[derive(Debug, clap::Args)]
#[command(after_help = "\
For parcels and envelopes that you frank yourself. The lines stand as the country wants
them, the country itself in capitals on the last one. What a service always needs may
print by itself: `prints` in services.toml.

  dawnslip label 417
  dawnslip label 417/2 --customs   what CN 22 or CN 23 asks for, to copy from; the
                                   post's own form counts")]
pub struct Label {
    /// The parcel as on its slip
    #[arg(value_name = "PARCEL")]
    parcel: String,
    /// The customs sheet instead of the label
    #[arg(long)]
    customs: bool,
}

impl Label {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let which = if self.customs { "customs" } else { "label" };
        client::tell(at, screen, &format!("/parcels/{}/{which}", self.parcel), &json!({}))
    }
}
