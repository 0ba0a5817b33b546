//! `dawnslip remap`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// Read messages again that could not be understood
#[derive(Debug, clap::Args)]
#[command(after_help = "\
A signed message that the mapping cannot read is kept whole. Correct the mapping in
sources.toml, take it with `dawnslip reload`, then:

  dawnslip remap
  dawnslip remap stall              of one source only")]
pub struct Remap {
    /// Only of this source
    #[arg(value_name = "SOURCE")]
    source: Option<String>,
}

impl Remap {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        client::tell(at, screen, "/remap", &json!({ "source": self.source }))
    }
}
