//! `dawnslip repair`.

use super::screen::{Fault, Screen};
use super::wiring::fault;
use super::{Ended, Folders, Outcome};
use crate::clock::{Clock, SystemClock};
use crate::daemon::shared::Durable;
use crate::ledger::damage::Survey;
use crate::ledger::spares::Backups;
use crate::ledger::survey::{NoSpares, Spares, survey};
use crate::ledger::{Disk, LedgerError, RealDisk, repair};
use serde_json::json;
use std::io::{BufRead, IsTerminal};
use std::path::Path;
use std::sync::Arc;

/// What a person types to have it done.
const YES: &str = "repair";

/// See what is damaged in the data folder, and restore it
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Without --yes it only looks: what is damaged, what would be restored and from where (whole
parts of the journal, archives, snapshots, daily backups), and what is lost for good, with its
time, so that you can ask the shop for those orders again. With --yes, or after you have typed
\"repair\", it does so. What is replaced is kept in damaged-DATE inside the data folder; delete
that once you no longer need it, for it holds names and addresses. The daemon must not run.

  systemctl stop dawnslip
  dawnslip repair --data /var/lib/dawnslip
  dawnslip repair --data /var/lib/dawnslip --yes")]
pub struct Repair {
    /// Do it without asking
    #[arg(long)]
    yes: bool,
}

impl Repair {
    /// Looks, tells, and repairs where a person says so.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let disk = disk_of(&at.data)?;
        let spares = spares_of(at);
        let spares = spares.as_ref();
        let found = {
            let _lock = disk.lock().map_err(|error| match error.kind() {
                std::io::ErrorKind::WouldBlock => in_use(),
                _ => fault("the data folder cannot be locked", &error, "run it as the user that runs the daemon"),
            })?;
            survey(disk.as_ref(), spares).map_err(|error| cannot(&error))?
        };
        if !at.json {
            screen.say(&found.text());
        }
        if !found.needs_repair() {
            if at.json {
                screen.say(&json!({ "survey": found, "repaired": null }).to_string());
            }
            return Ok(Outcome::Well);
        }
        if !self.yes && (at.json || !confirmed(screen)) {
            if at.json {
                screen.say(&json!({ "survey": found, "repaired": null }).to_string());
            } else {
                screen.say("nothing was changed; to restore what can be restored: dawnslip repair --yes");
            }
            return Ok(Outcome::Problem);
        }
        mend(at, screen, &disk, spares)
    }
}

fn mend(at: &Folders, screen: &Screen, disk: &Arc<dyn Disk>, spares: &dyn Spares) -> Ended {
    let done = repair::repair(disk, spares, SystemClock.now(), &mut Durable::default());
    let done = done.map_err(|error| match error {
        LedgerError::Locked => in_use(),
        error => cannot(&error),
    })?;
    let Some(done) = done else { return Ok(Outcome::Well) };
    if at.json {
        let repaired = json!({ "kept_in": done.kept_in });
        screen.say(&json!({ "survey": done.survey, "repaired": repaired }).to_string());
        return Ok(Outcome::Well);
    }
    let kept = at.data.join(&done.kept_in);
    let next = if done.survey.lost.is_empty() {
        "start the daemon again; everything is there".to_owned()
    } else {
        "start the daemon again; dawnslip status asks you about what is lost until you have settled it".to_owned()
    };
    screen.say(&format!("repaired; what was replaced is kept in {}\n{next}", kept.display()));
    Ok(Outcome::Well)
}

/// A folder that is there; none is made here.
fn disk_of(data: &Path) -> Result<Arc<dyn Disk>, Fault> {
    if !data.is_dir() {
        let what = format!("there is no data folder {}", data.display());
        return Err(Fault::new(what, "nothing can be looked at", "name it: --data DIR"));
    }
    let disk =
        RealDisk::new(data).map_err(|error| fault("the data folder cannot be read", &error, "name it: --data DIR"))?;
    Ok(Arc::new(disk))
}

/// The folder of backups that workshop.toml names; where that cannot be read, the usual one.
fn spares_of(at: &Folders) -> Box<dyn Spares> {
    let configured = super::wiring::workshop(at).map(|workshop| workshop.backups.folder);
    let folder = at.data.join(configured.unwrap_or_else(|_| "backups".into()));
    match RealDisk::new(&folder) {
        Ok(disk) if folder.is_dir() => Box::new(Backups::new(Arc::new(disk))),
        _ => Box::new(NoSpares),
    }
}

fn in_use() -> Fault {
    let why = "a daemon runs on this data folder";
    Fault::new("nothing was looked at", why, "stop it first: systemctl stop dawnslip")
}

fn cannot(error: &LedgerError) -> Fault {
    fault("the data folder cannot be repaired", error, "its files are as they were; look at the disk itself (dmesg)")
}

fn confirmed(screen: &Screen) -> bool {
    if !std::io::stdin().is_terminal() {
        return false;
    }
    screen.say(&format!("\ntype {YES} to do it; anything else leaves everything as it is"));
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line).is_ok() && line.trim() == YES
}

/// Why the daemon does not start on a damaged folder, with all that a survey finds.
pub(super) fn damaged(data: &Path, cause: &LedgerError) -> Fault {
    let found = disk_of(data).ok().and_then(|disk| survey(disk.as_ref(), &NoSpares).ok());
    Fault {
        what: "the data folder is damaged; the daemon does not start, so that no answered order is lost unseen".into(),
        why: found.as_ref().map_or_else(|| cause.to_string(), reasons),
        remedy: vec!["see what can be restored, and from where: dawnslip repair".into()],
    }
}

/// Each damaged file, and what would be lost, in one paragraph.
fn reasons(found: &Survey) -> String {
    let real = found.damage.iter().filter(|damage| damage.needed_for > crate::ledger::damage::Need::Nothing);
    let mut reasons: Vec<String> = real.map(crate::ledger::damage::Damage::line).collect();
    for loss in &found.lost {
        let orders: Vec<String> = loss.orders.iter().map(ToString::to_string).collect();
        let named = if orders.is_empty() { String::new() } else { format!(", among them of {}", orders.join(", ")) };
        reasons.push(format!("{} {} cannot be read{named}", loss.records, loss.time()));
    }
    reasons.join("; ")
}

/// What `dawnslip check` says about the data folder; `None` where there is none, or a daemon has it.
pub(super) fn checked(data: &Path) -> Option<Survey> {
    let disk = disk_of(data).ok()?;
    let _lock = disk.lock().ok()?;
    survey(disk.as_ref(), &NoSpares).ok()
}
