//! `dawnslip test-page`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use serde_json::json;

/// Print a page that shows what the printer can
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Sizes of letters, many scripts, patterns of dots, a ruler over the whole width.
Where the ruler is cut off at an edge, write another number of `dots` into
printers.toml. It goes to the printer that printers.toml names for test_page, else
to the first.

  dawnslip test-page")]
pub struct TestPage {}

impl TestPage {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        client::tell(at, screen, "/test-page", &json!({}))
    }
}
