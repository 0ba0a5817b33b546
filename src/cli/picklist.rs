//! `dawnslip picklist`.

use super::client;
use super::screen::{Fault, Screen};
use super::{Ended, Folders, Outcome};
use serde_json::json;
use std::path::PathBuf;

/// The pick list as it would print now
#[derive(Debug, clap::Args)]
#[command(after_help = "\
It prints by itself at the hour that workshop.toml names. What came since then
prints as a second, short list.

  dawnslip picklist                 shows it here
  dawnslip picklist --print         prints it now
  dawnslip picklist --png list.png  draws it, dot by dot as on paper")]
pub struct Picklist {
    /// Print it now
    #[arg(long, conflicts_with = "png")]
    print: bool,
    /// Draw it into this file
    #[arg(long, value_name = "FILE")]
    png: Option<PathBuf>,
}

impl Picklist {
    /// Shows, prints or draws it.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        match self.png {
            Some(file) => save_picture(at, screen, "/picklist.png", &file),
            None if self.print => client::tell(at, screen, "/picklist/print", &json!({})),
            None => client::show(at, screen, "/picklist"),
        }
    }
}

/// Saves the picture at `path` into `file`.
pub fn save_picture(at: &Folders, screen: &Screen, path: &str, file: &std::path::Path) -> Ended {
    let picture = client::read(at, path, "image/png")?;
    std::fs::write(file, &picture.body).map_err(|error| {
        Fault::new(
            format!("{} was not written", file.display()),
            error.to_string(),
            "name a file in a folder that you may write to",
        )
    })?;
    screen.say(&format!("drawn into {}", file.display()));
    Ok(Outcome::Well)
}
