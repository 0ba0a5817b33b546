//! `dawnslip probe`: asks a printer what it can.

use super::screen::{Fault, Screen};
use super::wiring::{fault, runtime, workshop};
use super::{Ended, Folders, Outcome};
use crate::daemon::setup;
use crate::model::{Locale, Words};
use crate::print::net::TcpNet;
use crate::print::probe::{self, ProbeError, Profile};
use crate::slip::words::{Form, english};
use crate::slip::{Fonts, Typesetter, widths};
use jiff::tz::TimeZone;
use serde_json::json;
use std::fs::OpenOptions;
use std::io::{ErrorKind, Write};
use std::path::Path;

/// The file that profiles belong into, in the folder of the configuration.
const FILE: &str = "printers.toml";

/// Ask a printer what it can, and write its table for printers.toml
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Asks over the network: does it answer at once how it is, does it tell changes by itself,
how can it confirm that a paper is printed, what does it call itself. That takes from a
second to half a minute; nobody else should print on it meanwhile. A very plain printer
may print a few odd letters, since it does not know the questions.

Its width and whether it has a knife cannot be asked of any printer: --ruler prints a
page. The last number with a whole black bar behind it is its width in dots; a page that
falls off by itself was cut. Its code pages do not matter: papers are sent as pictures.

  dawnslip probe 192.168.1.40:9100
  dawnslip probe 192.168.1.40:9100 --ruler --name office
  dawnslip probe 192.168.1.40:9100 --save    appends the table to config/printers.toml
Then look at the result with: dawnslip check")]
pub struct Probe {
    /// Host and port; most network printers listen on 9100
    #[arg(value_name = "ADDRESS")]
    address: String,
    /// What to call it in printers.toml
    #[arg(long, value_name = "NAME", default_value = "bench", value_parser = a_name)]
    name: String,
    /// Print the page that shows its width and its knife
    #[arg(long)]
    ruler: bool,
    /// Append the table to printers.toml
    #[arg(long)]
    save: bool,
}

/// A key that TOML takes as it stands.
fn a_name(text: &str) -> Result<String, String> {
    let is_plain = |letter: char| letter.is_ascii_alphanumeric() || matches!(letter, '-' | '_');
    match !text.is_empty() && text.chars().all(is_plain) {
        true => Ok(text.to_owned()),
        false => Err("write letters, digits, - or _, like bench".to_owned()),
    }
}

impl Probe {
    /// Asks, tells, and saves if that is wanted.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let ruler = if self.ruler { Some(ruler(at)?) } else { None };
        let asked = runtime()?.block_on(probe::ask(&TcpNet, &self.address, ruler.as_deref()));
        let profile = asked.map_err(|error| not_asked(&error))?;
        let table = profile.table(&self.name, &self.address);
        if at.json {
            screen.say(&as_json(&profile, table.as_deref()).to_string());
        } else {
            screen.say(&self.told(&profile, table.as_deref()));
        }
        let Some(table) = table else { return Ok(Outcome::Problem) };
        if self.save {
            let file = at.config.join(FILE);
            append(&file, &self.name, &table)?;
            if !at.json {
                screen.say(&format!("appended to {}; look at it: dawnslip check", file.display()));
            }
        }
        Ok(Outcome::Well)
    }

    fn told(&self, profile: &Profile, table: Option<&str>) -> String {
        let mut lines = vec![format!("printer at {}", self.address)];
        lines.extend(profile.sentences().into_iter().map(|line| format!("  {line}")));
        if let Some(table) = table {
            if self.ruler {
                lines.push("  the ruler was sent: the last number with a whole bar behind it is `dots`".to_owned());
            }
            lines.push(format!("\nfor {FILE}:\n\n{table}"));
        }
        lines.join("\n")
    }
}

fn as_json(profile: &Profile, table: Option<&str>) -> serde_json::Value {
    json!({
        "status": profile.status.is_some(),
        "automatic_status": profile.automatic,
        "in_line_status": profile.in_line,
        "process_id": profile.process_id,
        "maker": profile.maker,
        "model": profile.model,
        "trouble": profile.trouble().map(|trouble| trouble.word()),
        "table": table,
    })
}

fn not_asked(error: &ProbeError) -> Fault {
    let remedy = match error {
        ProbeError::NoConnection { .. } => {
            "switch it on, look at its cable; its own test page shows its address; the port is mostly 9100"
        }
        ProbeError::Broken(_) => "ask again while nobody else prints on it",
        ProbeError::NotTaken(_) => "look for paper and cover, then ask again",
    };
    fault("the printer was not asked", error, remedy)
}

/// The ruler in the workshop's language, or in English where there is no configuration yet.
fn ruler(at: &Folders) -> Result<Vec<u8>, Fault> {
    let made = match workshop(at) {
        Ok(workshop) => widths::ruler_bytes(&Form::of(&workshop), &mut setup::typesetter(&workshop)),
        Err(_) => {
            let words = Words { table: english() };
            let locale = Locale::default();
            let zone = TimeZone::UTC;
            let form = Form::with(&words, &locale, &zone);
            widths::ruler_bytes(&form, &mut Typesetter::new(Fonts::embedded()))
        }
    };
    made.map_err(|error| fault("the ruler was not made", &error, "ask without --ruler"))
}

/// Appends the table unless one of that name is there.
fn append(file: &Path, name: &str, table: &str) -> Result<(), Fault> {
    let remedy = format!("copy the table into {} by hand", file.display());
    let failed = |error: std::io::Error| fault("the table was not saved", &error, &remedy);
    let before = match std::fs::read_to_string(file) {
        Err(error) if error.kind() == ErrorKind::NotFound => String::new(),
        read => read.map_err(failed)?,
    };
    let head = format!("[printer.{name}]");
    if before.lines().any(|line| line.trim() == head) {
        let why = format!("{} has a printer \"{name}\" already", file.display());
        return Err(Fault::new(
            "the table was not saved",
            why,
            "take another name (--name), or change that table by hand",
        ));
    }
    let gap = if before.is_empty() {
        ""
    } else if before.ends_with('\n') {
        "\n"
    } else {
        "\n\n"
    };
    let mut open = OpenOptions::new().create(true).append(true).open(file).map_err(failed)?;
    open.write_all(format!("{gap}{table}").as_bytes()).map_err(failed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_is_appended_once() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(FILE);
        let table = Profile { process_id: true, ..Profile::default() }.table("bench", "127.0.0.1:9100").unwrap();
        append(&file, "bench", &table).unwrap();
        let refused = append(&file, "bench", &table).unwrap_err();
        assert!(refused.why.contains("already"), "{refused:?}");
        append(&file, "office", &table.replace("bench", "office")).unwrap();
        let read: toml::Table = std::fs::read_to_string(&file).unwrap().parse().unwrap();
        assert_eq!(read["printer"].as_table().unwrap().len(), 2);
    }
}
