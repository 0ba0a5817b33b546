//! `dawnslip export`.

use super::screen::{Fault, Screen};
use super::wiring::{Stopped, stopped_ledger};
use super::{Ended, Folders, Outcome, client};
use crate::clock::{Clock, SystemClock};
use crate::daemon::chain;
use crate::ledger::copies::{CopyError, Counts, Header, Holds, Reader, Source, Writer};
use serde_json::json;
use std::fs::File;
use std::io::{BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Write everything into one file: to keep it, or to move to another machine
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Lines of JSON, each with a checksum, up to the instant at which it begins; orders may keep
coming. The file holds names and addresses: keep it as safe as the data folder.

  dawnslip export everything.ndjson
  dawnslip export - | gzip > everything.ndjson.gz
  dawnslip export figures.ndjson --without-persons
To read it again, see: dawnslip import --help")]
pub struct Export {
    /// The file, which must not exist yet; - for standard output
    #[arg(value_name = "FILE", default_value = "-")]
    file: PathBuf,
    /// Leave out names, addresses and the shops' messages
    #[arg(long)]
    without_persons: bool,
    /// Replace the file if it exists
    #[arg(long)]
    replace: bool,
}

impl Export {
    /// Writes it.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        if self.file == Path::new("-") {
            let mut out = BufWriter::new(std::io::stdout().lock());
            self.write(at, screen, &mut out)?;
            out.flush().map_err(|error| not_written("-", &error))?;
            return Ok(Outcome::Well);
        }
        let name = self.file.display().to_string();
        if self.file.exists() && !self.replace {
            let remedy = "name another file, or say --replace";
            return Err(Fault::new("nothing was exported", format!("{name} exists"), remedy));
        }
        let failed = |error: &dyn std::error::Error| not_written(&name, error);
        let folder = self.file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let mut aside = tempfile::NamedTempFile::new_in(folder).map_err(|error| failed(&error))?;
        let mut out = BufWriter::new(aside.as_file_mut());
        self.write(at, screen, &mut out)?;
        out.flush().map_err(|error| failed(&error))?;
        drop(out);
        aside.as_file().sync_all().map_err(|error| failed(&error))?;
        // What counts is what can be read.
        let counts = read_back(aside.path(), &name, screen).map_err(|error| failed(&error))?;
        let kept = if self.replace { aside.persist(&self.file) } else { aside.persist_noclobber(&self.file) };
        kept.map_err(|error| failed(&error.error))?;
        File::open(folder).and_then(|folder| folder.sync_all()).map_err(|error| failed(&error))?;
        let Counts { facts, persons } = counts;
        screen.say(&if at.json {
            json!({ "file": name, "facts": facts, "persons": persons }).to_string()
        } else {
            format!("{name}: {facts} facts and {persons} persons' records, written and read back")
        });
        Ok(Outcome::Well)
    }

    /// Writes the lines, from the daemon or, where none runs, from the data folder.
    fn write(&self, at: &Folders, screen: &Screen, out: &mut impl Write) -> Result<(), Fault> {
        let holds = if self.without_persons { Holds::Facts } else { Holds::All };
        let path = if holds.persons() { "/export" } else { "/export?persons=no" };
        let mut bytes = 0;
        let asked = client::read_long(at, path, |piece| {
            bytes += piece.len();
            screen.progress(&format!("{} MB", bytes / 1_000_000));
            out.write_all(piece).map_err(|error| not_written("the output", &error))
        })?;
        if !asked {
            offline(at, screen, holds, out)?;
        }
        screen.progress("");
        Ok(())
    }
}

fn not_written(name: &str, error: &(impl std::error::Error + ?Sized)) -> Fault {
    let remedy = "look whether the folder is there, has room, and may be written to";
    Fault::new(format!("the export to {name} failed; nothing was left there"), chain(error), remedy)
}

fn offline(at: &Folders, screen: &Screen, holds: Holds, out: &mut impl Write) -> Result<(), Fault> {
    let Stopped { ledger, disk, opened } = stopped_ledger(at)?;
    let header = Header::of(&opened.installation, holds, opened.last_seq, SystemClock.now());
    let failed = |cause| CopyError::Write { file: "the output".into(), cause };
    let written = (|| {
        let mut writer = Writer::new(out, &header).map_err(failed)?;
        header.copying(disk.as_ref(), disk.as_ref()).run(
            |item| if holds.takes(&item) { writer.item(&item).map_err(failed) } else { Ok(()) },
            |step| {
                screen.progress(&step.to_string());
                Ok(())
            },
        )?;
        writer.end().map(drop).map_err(failed)
    })();
    let left = ledger.leave();
    written.map_err(|error: CopyError| {
        Fault::new("the export failed", chain(&error), "see: dawnslip check, dawnslip status")
    })?;
    left.map_err(|error| Fault::new("the data folder was not left cleanly", chain(&error), ""))
}

fn read_back(path: &Path, name: &str, screen: &Screen) -> Result<Counts, CopyError> {
    let opened = File::open(path).map_err(|cause| CopyError::Read { file: name.to_owned(), line: 1, cause })?;
    let mut reader = Reader::one(Source { name: name.to_owned(), lines: Box::new(BufReader::new(opened)) })?;
    screen.progress("reading it back");
    reader.try_for_each(|item| item.map(drop))?;
    screen.progress("");
    Ok(reader.counts())
}
