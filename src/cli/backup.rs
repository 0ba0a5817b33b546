//! `dawnslip backup`.

use super::screen::{Fault, Screen};
use super::wiring::{Stopped, stopped_ledger, workshop};
use super::{Ended, Folders, Outcome, client};
use crate::clock::{Clock, SystemClock};
use crate::daemon::backups::{folder, remedy, tidy, told};
use crate::daemon::chain;
use crate::ledger::copies::{CopyError, Header, Holds, backup};
use serde_json::json;
use std::time::Duration;

/// A backup of a million orders takes minutes.
const WITHIN: Duration = Duration::from_secs(4 * 3600);

/// Make a backup now, as is done every day
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Copies everything into the folder that workshop.toml names in [backups], reads the copy
back, and removes backups that are too old. While the daemon runs, it goes on working.

  dawnslip backup
  dawnslip backups                  which there are
To bring one back, see: dawnslip import --help")]
pub struct Backup {}

impl Backup {
    /// Has the daemon make it, or makes it where none runs.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let said = match client::act_slowly(at, "/backup", WITHIN)? {
            Some(reply) => reply.text(),
            None => {
                let made = offline(at, screen)?;
                if at.json { json!({ "done": true, "said": made }).to_string() } else { made }
            }
        };
        screen.say(&said);
        Ok(Outcome::Well)
    }
}

fn offline(at: &Folders, screen: &Screen) -> Result<String, Fault> {
    let workshop = workshop(at)?;
    let failed = |error: CopyError| Fault::new("no backup was made", chain(&error), remedy(&error));
    let Stopped { ledger, disk, opened } = stopped_ledger(at)?;
    let now = SystemClock.now();
    let made = (|| {
        let folder = folder(&at.data, &workshop.backups)?;
        let header = Header::of(&opened.installation, Holds::All, opened.last_seq, now);
        let copying = header.copying(disk.as_ref(), folder.as_ref());
        let made = backup::make(folder.as_ref(), &copying, &header, |step| {
            screen.progress(&step.to_string());
            Ok(())
        })?;
        tidy(folder.as_ref(), &workshop.backups, workshop.retention_days, now)?;
        Ok(made)
    })();
    screen.progress("");
    let left = ledger.leave().map_err(|error| Fault::new("the data folder was not left cleanly", chain(&error), ""));
    let (kept, counts) = made.map_err(failed)?;
    left?;
    Ok(told(&kept, counts))
}
