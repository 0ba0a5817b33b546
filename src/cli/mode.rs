//! `dawnslip mode`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// Say whether slips and cards print at once or wait for packing to start
#[derive(Debug, clap::Args)]
#[command(after_help = "\
The program finds out by itself when orders rush in, and lets slips and cards wait then,
so that they print in pack order once packing starts. Say so yourself before an announced
sale, or against it. A shop with its own `print` in sources.toml does as it says there.

  dawnslip mode burst      before a sale: from now on they wait
  dawnslip start-packing   print what waits; what comes later waits again
  dawnslip mode trickle    print each as it comes, also in a rush
  dawnslip mode auto       the number of orders decides again")]
pub struct Mode {
    /// What holds from now on
    #[arg(value_name = "MODE", value_enum)]
    mode: Wish,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Wish {
    /// Slips and cards wait for packing to start
    Burst,
    /// They print as orders come
    Trickle,
    /// The number of orders decides
    Auto,
}

impl Mode {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let mode = match self.mode {
            Wish::Burst => "burst",
            Wish::Trickle => "trickle",
            Wish::Auto => "auto",
        };
        client::tell(at, screen, "/mode", &json!({ "mode": mode }))
    }
}
