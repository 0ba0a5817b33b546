//! Snapshots of the open state: one file of facts (the state), one of persons.

use super::installation::InstallationId;
use super::journal::ASIDE_DIR;
use super::segment::list_or_empty;
use super::{Disk, LedgerError, sealed};
use std::io::ErrorKind;

/// Directory of the snapshots.
pub const DIR: &str = "snapshot";
/// So many are kept: the newest, and the one to fall back to.
const KEPT: usize = 2;

/// The open state as of one fact.
#[derive(Clone, PartialEq, Eq)]
pub struct Snapshot {
    /// Number of the last fact that is in it.
    pub seq: u64,
    /// The state, as JSON.
    pub state: Vec<u8>,
    /// The persons, as JSON.
    pub people: Vec<u8>,
}

impl std::fmt::Debug for Snapshot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Snapshot at {} ({} + {} bytes)", self.seq, self.state.len(), self.people.len())
    }
}

fn path(seq: u64, part: &str) -> String {
    // Twenty digits hold every u64, so names sort like numbers.
    format!("{DIR}/{seq:020}.{part}")
}

fn kind(part: &str, installation: InstallationId) -> sealed::Kind<'_> {
    sealed::Kind { what: part, installation }
}

const STATE: &str = "facts";
const PEOPLE: &str = "people";

/// Sequence numbers of the snapshots that are there, newest first. One counts once its facts
/// part is there: that is written last.
pub(super) fn list(disk: &dyn Disk) -> Result<Vec<u64>, LedgerError> {
    let mut found: Vec<u64> = list_or_empty(disk, DIR)?
        .iter()
        .filter_map(|name| {
            let seq = name.strip_suffix(&format!(".{STATE}"))?.parse().ok()?;
            (path(seq, STATE) == format!("{DIR}/{name}")).then_some(seq)
        })
        .collect();
    found.sort_unstable_by(|a, b| b.cmp(a));
    Ok(found)
}

/// Names of a snapshot's files: people, facts.
pub(super) fn names(seq: u64) -> [String; 2] {
    [PEOPLE, STATE].map(|part| format!("{seq:020}.{part}"))
}

/// The snapshot of which a file of this name is the persons' part.
pub(super) fn seq_of_people(name: &str) -> Option<u64> {
    let seq = name.strip_suffix(&format!(".{PEOPLE}"))?.parse().ok()?;
    names(seq).iter().any(|ours| ours == name).then_some(seq)
}

/// Makes a snapshot durable, then removes all but the newest two.
pub(super) fn write(disk: &dyn Disk, id: InstallationId, snapshot: &Snapshot) -> Result<(), LedgerError> {
    let Snapshot { seq, state, people } = snapshot;
    kind("snapshot people", id).write(disk, &path(*seq, PEOPLE), *seq, people)?;
    kind("snapshot facts", id).write(disk, &path(*seq, STATE), *seq, state)?;
    for old in list(disk)?.into_iter().skip(KEPT) {
        for part in [STATE, PEOPLE] {
            let old = path(old, part);
            match disk.remove(&old) {
                // A power cut may keep the second removal and lose the first.
                Err(err) if err.kind() == ErrorKind::NotFound => {}
                other => other.map_err(LedgerError::disk("remove", &old))?,
            }
        }
    }
    disk.sync_dir(DIR).map_err(LedgerError::disk("sync", DIR))
}

/// Removes every other one, also what is left of one that was not written or removed to its
/// end; says how many there were.
pub(super) fn remove_but(disk: &dyn Disk, kept: u64) -> Result<u64, LedgerError> {
    let mut removed = 0;
    for name in list_or_empty(disk, DIR)? {
        let stem = name.split('.').next().and_then(|seq| seq.parse::<u64>().ok());
        if stem == Some(kept) && !name.ends_with(sealed::ASIDE) {
            continue;
        }
        let old = format!("{DIR}/{name}");
        disk.remove(&old).map_err(LedgerError::disk("remove", &old))?;
        removed += u64::from(name.ends_with(&format!(".{STATE}")));
    }
    disk.sync_dir(DIR).map_err(LedgerError::disk("sync", DIR))?;
    Ok(removed)
}

/// Reads one, both parts whole.
pub(super) fn read(disk: &dyn Disk, id: InstallationId, seq: u64) -> Result<Snapshot, LedgerError> {
    let part = |what: &str, part: &str| {
        let path = path(seq, part);
        let (at, body) = kind(what, id).read(disk, &path)?;
        if at == seq {
            Ok(body)
        } else {
            let what = format!("its name says {seq}, it is true at {at}");
            Err(LedgerError::bad_file(&path, what))
        }
    };
    Ok(Snapshot { seq, state: part("snapshot facts", STATE)?, people: part("snapshot people", PEOPLE)? })
}

/// Moves a broken one out of the way; it is kept for a person to look at.
pub(super) fn move_aside(disk: &dyn Disk, seq: u64) -> Result<(), LedgerError> {
    for part in [PEOPLE, STATE] {
        let from = path(seq, part);
        if disk.len(&from).is_ok() {
            let to = format!("{ASIDE_DIR}/snapshot-{seq}.{part}");
            disk.rename(&from, &to).map_err(LedgerError::disk("move aside", &from))?;
        }
    }
    for dir in [ASIDE_DIR, DIR] {
        disk.sync_dir(dir).map_err(LedgerError::disk("sync", dir))?;
    }
    Ok(())
}
