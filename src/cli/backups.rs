//! `dawnslip backups`.

use super::screen::{Fault, Screen};
use super::wiring::workshop;
use super::{Ended, Folders, Outcome};
use crate::daemon::backups::folder;
use crate::daemon::chain;
use crate::desk::words;
use crate::ledger::Disk;
use crate::ledger::copies::backup::{self, Kept};
use crate::model::Workshop;
use serde_json::{Value, json};

/// List the backups that there are
#[derive(Debug, clap::Args)]
#[command(after_help = "\
  dawnslip backups
  dawnslip backups --verify         reads each to its end and says whether it is whole
To bring one back, see: dawnslip import --help")]
pub struct Backups {
    /// Read each of them to its end
    #[arg(long)]
    verify: bool,
}

impl Backups {
    /// Looks into the folder.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let workshop = workshop(at)?;
        let place = at.data.join(&workshop.backups.folder);
        let failed = |error: &dyn std::error::Error| {
            let remedy = "name the data folder: --data DIR; or look at [backups] in workshop.toml";
            Fault::new(format!("the backups in {} cannot be read", place.display()), chain(error), remedy)
        };
        if !place.exists() {
            screen.say(&if at.json { json!([]).to_string() } else { format!("no backup yet in {}", place.display()) });
            return Ok(Outcome::Problem);
        }
        let disk = folder(&at.data, &workshop.backups).map_err(|error| failed(&error))?;
        let list = backup::list(disk.as_ref()).map_err(|error| failed(&error))?;
        let mut well = !list.is_empty();
        let mut seen = Vec::new();
        for kept in &list {
            screen.progress(&kept.name);
            let whole = self.check(disk.as_ref(), kept);
            well &= !matches!(whole, Some(Err(_)));
            seen.push((kept, whole));
        }
        screen.progress("");
        if at.json {
            let rows: Vec<Value> = seen.iter().map(|(kept, whole)| row(kept, whole)).collect();
            screen.say(&format!("{:#}", Value::from(rows)));
        } else {
            screen.say(&format!("in {}", place.display()));
            for (kept, whole) in &seen {
                screen.say(&line(&workshop, kept, whole));
            }
        }
        Ok(if well { Outcome::Well } else { Outcome::Problem })
    }

    /// Is it whole? `None` where it was not read.
    fn check(&self, disk: &dyn Disk, kept: &Kept) -> Option<Result<(), String>> {
        if kept.header.is_none() {
            return Some(Err("its first line cannot be read".to_owned()));
        }
        self.verify.then(|| backup::verify(disk, kept).map(drop).map_err(|error| chain(&error)))
    }
}

fn row(kept: &Kept, whole: &Option<Result<(), String>>) -> Value {
    json!({
        "name": kept.name,
        "made": kept.made,
        "facts": kept.header.as_ref().map(|header| header.upto),
        "persons": kept.persons,
        "bytes": kept.bytes,
        "whole": whole.as_ref().map(Result::is_ok),
        "why": whole.as_ref().and_then(|whole| whole.as_ref().err()),
    })
}

fn line(workshop: &Workshop, kept: &Kept, whole: &Option<Result<(), String>>) -> String {
    let facts = kept.header.as_ref().map_or("?".to_owned(), |header| header.upto.to_string());
    let size = format!("{:.1} MB", kept.bytes as f64 / 1e6);
    let persons = if kept.persons { "" } else { "  without persons" };
    let said = match whole {
        None => String::new(),
        Some(Ok(())) => "  whole".to_owned(),
        Some(Err(why)) => format!("  NOT WHOLE: {why}"),
    };
    let when = words::day_and_time(&workshop.zone, kept.made);
    format!("{}  {when}  {facts:>9} facts  {size:>9}{persons}{said}", kept.name)
}
