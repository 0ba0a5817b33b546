//! `dawnslip import`.

use super::screen::{Fault, Screen};
use super::{Ended, Folders, Outcome};
use crate::daemon::chain;
use crate::daemon::shared::Durable;
use crate::ledger::copies::import::{Imported, import};
use crate::ledger::copies::{CopyError, Reader, Source};
use crate::ledger::{Disk, Installation, RealDisk};
use crate::model::JobState;
use serde_json::json;
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Read an export or a backup into a new, empty data folder
#[derive(Debug, clap::Args)]
#[command(after_help = "\
The data folder must be empty or not exist, and no daemon may run on it. Everything is
read back and compared before it counts; an import that was interrupted begins anew.

  dawnslip import everything.ndjson --data /var/lib/dawnslip
  gunzip -c everything.ndjson.gz | dawnslip import -
A backup has two files; without the second there are no names and addresses:
  dawnslip import 2026-11-25T033000Z.facts.ndjson 2026-11-25T033000Z.persons.ndjson")]
pub struct Import {
    /// The export, or a backup's file of facts; - for standard input
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// A backup's file of persons
    #[arg(value_name = "PERSONS")]
    persons: Option<PathBuf>,
}

impl Import {
    /// Reads it.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let facts = source(&self.file)?;
        let persons = self.persons.as_deref().map(source).transpose()?;
        let reader = Reader::pair(facts, persons).map_err(|error| failed(at, &error))?;
        let without_persons = !reader.header().holds.persons();
        let disk = RealDisk::new(&at.data).map_err(|error| {
            let remedy = "make the folder above it, or name another: --data DIR";
            Fault::new(format!("{} cannot be made", at.data.display()), error.to_string(), remedy)
        })?;
        let disk: Arc<dyn Disk> = Arc::new(disk);
        let fresh = Installation::random().map_err(|error| failed(at, &CopyError::Ledger(error)))?;
        let mut state = Durable::default();
        let done = import(&disk, reader, fresh.key, &mut state, |step| {
            screen.progress(&step.to_string());
            Ok(())
        });
        screen.progress("");
        let imported = done.map_err(|error| failed(at, &error))?;
        tell(at, screen, &imported, &state, without_persons);
        Ok(Outcome::Well)
    }
}

fn source(file: &Path) -> Result<Source, Fault> {
    if file == Path::new("-") {
        return Ok(Source { name: "standard input".into(), lines: Box::new(BufReader::new(std::io::stdin())) });
    }
    let name = file.display().to_string();
    let opened = File::open(file).map_err(|error| {
        let remedy = "name a file that is there, or - for standard input";
        Fault::new(format!("{name} cannot be read"), error.to_string(), remedy)
    })?;
    Ok(Source { name, lines: Box::new(BufReader::new(opened)) })
}

fn failed(at: &Folders, error: &CopyError) -> Fault {
    let data = at.data.display();
    let remedy = match error {
        CopyError::NotEmpty { .. } => {
            format!("name a folder that does not exist yet (--data DIR), or move {data} away first")
        }
        CopyError::Ledger(_) => format!("see to that, then import again: it begins anew in {data}"),
        CopyError::NotAPair { .. } | CopyError::NotACopy { .. } => {
            "name an export, or a backup's file of facts and then its file of persons: dawnslip import --help"
                .to_owned()
        }
        CopyError::Version { .. } => "use the newer program, or a copy that this one made".to_owned(),
        _ => "take another copy, such as the backup of the day before: dawnslip backups".to_owned(),
    };
    Fault::new("nothing was imported", chain(error), remedy)
}

fn tell(at: &Folders, screen: &Screen, imported: &Imported, state: &Durable, without_persons: bool) {
    let Imported { header, counts } = imported;
    let unprinted = |job: &crate::model::Job| matches!(job.state, JobState::Queued | JobState::Sending { .. });
    let waiting = state.state.jobs.values().filter(|job| unprinted(job)).count();
    if at.json {
        let said = json!({
            "made": header.made, "installation": header.installation, "facts": counts.facts, "persons": counts.persons,
            "orders": state.state.orders.len(), "papers_waiting": waiting,
        });
        return screen.say(&said.to_string());
    }
    screen.say(&format!(
        "{} facts and {} persons' records are in {}, read back and compared; as of {:.0}\n",
        counts.facts,
        counts.persons,
        at.data.display(),
        header.made
    ));
    if without_persons {
        screen.say("there are no names and addresses in it: slips of open orders print without them\n");
    }
    if waiting > 0 {
        screen.say(&format!(
            "{waiting} papers waited to print then. If the workshop went on after the copy was made, they may lie on\n\
             paper already: they print with COPY, or you are asked, as workshop.toml says of papers in doubt\n"
        ));
    }
    screen
        .say("next: start the daemon (dawnslip run); then bring in what the shops sent since: dawnslip intake --help");
}
