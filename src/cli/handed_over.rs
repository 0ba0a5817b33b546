//! `dawnslip handed-over`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// These parcels are with the carrier, or were fetched
#[derive(Debug, clap::Args)]
#[command(after_help = "\
  dawnslip handed-over 417 418
  dawnslip handed-over --all                    everything that is packed
  dawnslip handed-over --all --service Road     of that, what goes by Road")]
pub struct HandedOver {
    /// Parcels as on their slips
    #[arg(value_name = "PARCEL", required_unless_present = "all", conflicts_with = "all")]
    parcels: Vec<String>,
    /// Everything that is packed
    #[arg(long)]
    all: bool,
    /// Only what goes by this service
    #[arg(long, value_name = "SERVICE", requires = "all", conflicts_with = "parcels")]
    service: Option<String>,
}

impl HandedOver {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let body = json!({ "parcels": self.parcels, "all": self.all, "service": self.service });
        client::tell(at, screen, "/handed-over", &body)
    }
}
