//! The data directory as a whole: opening it, writing to it, leaving it.

use super::archive::{self, ArchiveDone, ArchivedOrder, History};
use super::disk::LockGuard;
use super::installation::{Installation, InstallationId};
use super::journal::{self, CutTail, Journal};
use super::snapshot::{self, Snapshot};
use super::{AppendError, Disk, LedgerError, Line, sealed, segment, with_causes};
use crate::model::OrderKey;
use jiff::Timestamp;
use std::io::ErrorKind;
use std::sync::Arc;

const CLEAN: &str = "clean";
const ALIVE: &str = "alive";
const DIRS: [&str; 5] = [journal::DIR, snapshot::DIR, archive::DIR, archive::CARRY_DIR, journal::ASIDE_DIR];

/// What was found on opening.
#[derive(Debug)]
pub struct Opened {
    /// The newest whole snapshot.
    pub snapshot: Option<Snapshot>,
    /// Lines after the snapshot, in order. All of them are durable.
    pub lines: Vec<Line>,
    /// Number of the last fact; 0 in an empty ledger.
    pub last_seq: u64,
    /// The last run ended cleanly.
    pub clean: bool,
    /// The last sign of life before, if there was one.
    pub last_alive: Option<Timestamp>,
    /// A group that was being written when the last run ended; nobody was told that it was kept.
    pub cut_tail: Option<CutTail>,
    /// What a person should know: damage that could be got around. Sentences.
    pub notices: Vec<String>,
    /// Identity and key of this data directory.
    pub installation: Installation,
}

/// An open data directory. One writer; holds the lock until it is dropped.
pub struct Ledger {
    disk: Arc<dyn Disk>,
    id: InstallationId,
    journal: Journal,
    /// The last run had ended cleanly: [`Ledger::leave`] puts the marker back.
    found_clean: bool,
    _lock: LockGuard,
}

impl Ledger {
    /// Opens the data directory, makes it at its first opening, repairs what a crash may leave.
    /// `now` is noted as a sign of life.
    ///
    /// # Errors
    /// See [`LedgerError`]. Damage is named and nothing is changed then.
    pub fn open(disk: Arc<dyn Disk>, now: Timestamp) -> Result<(Self, Opened), LedgerError> {
        Self::open_with(disk, now, Installation::random)
    }

    /// As [`Self::open`]; a new data directory gets the installation that `fresh` gives (a
    /// simulation wants the same one every time).
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_with(
        disk: Arc<dyn Disk>,
        now: Timestamp,
        fresh: impl FnOnce() -> Result<Installation, LedgerError>,
    ) -> Result<(Self, Opened), LedgerError> {
        let lock = disk.lock().map_err(|cause| match cause.kind() {
            ErrorKind::WouldBlock => LedgerError::Locked,
            _ => LedgerError::disk("lock", "lock")(cause),
        })?;
        let installation = match Installation::read(disk.as_ref())? {
            Some(found) => {
                // After a kill, names that are seen here may not be durable yet.
                for dir in std::iter::once("").chain(DIRS) {
                    disk.sync_dir(dir).map_err(LedgerError::disk("sync", dir))?;
                }
                found
            }
            None => make_new(&disk, fresh()?)?,
        };
        let id = installation.id;
        let mut notices = Vec::new();
        let last_alive = read_alive(disk.as_ref());
        let marker = read_marker(disk.as_ref(), id, &mut notices)?;
        let (snapshot, mut broken) = newest_snapshot(disk.as_ref(), id, &mut notices)?;
        let after = snapshot.as_ref().map_or(0, |snapshot| snapshot.seq);
        let mut lines = Vec::new();
        let opened = Journal::open(Arc::clone(&disk), id, after, |line| lines.push(line.line));
        let (journal, cut_tail) = match opened {
            // The journal does not reach back beyond the broken snapshot: that one is to be named.
            Err(LedgerError::Incomplete { .. }) if !broken.is_empty() => return Err(broken.swap_remove(0).1),
            other => other?,
        };
        let last_seq = journal.next_seq() - 1;
        if last_seq < after.max(marker.unwrap_or(0)) {
            let what = format!(
                "the journal ends with record {last_seq}, record {} was there before",
                after.max(marker.unwrap_or(0))
            );
            return Err(LedgerError::Incomplete { what });
        }
        // A broken snapshot must not be counted as one to fall back to.
        for (seq, _) in &broken {
            snapshot::move_aside(disk.as_ref(), *seq)?;
        }
        let clean = marker == Some(last_seq);
        if marker.is_some() {
            disk.remove(CLEAN).map_err(LedgerError::disk("remove", CLEAN))?;
            disk.sync_dir("").map_err(LedgerError::disk("sync", "the data directory"))?;
        }
        let mut ledger = Self { disk, id, journal, found_clean: clean, _lock: lock };
        ledger.alive(now);
        Ok((ledger, Opened { snapshot, lines, last_seq, clean, last_alive, cut_tail, notices, installation }))
    }

    /// Number that the next fact must have.
    pub fn next_seq(&self) -> u64 {
        self.journal.next_seq()
    }

    /// Segments get a successor at this length instead of [`super::SEGMENT_BYTES`]; for
    /// simulations, which are short.
    pub fn set_segment_bytes(&mut self, bytes: u64) {
        self.journal.segment_bytes = bytes;
    }

    /// The disk below, for readers of history.
    pub fn disk(&self) -> &Arc<dyn Disk> {
        &self.disk
    }

    /// Writes lines as one group and syncs it (fdatasync). The facts among them are numbered
    /// from `first_seq` on, without gaps. When this returns `Ok`, all of them are durable.
    ///
    /// # Errors
    /// [`AppendError::NoRoom`]: nothing was kept, later calls may succeed.
    /// [`AppendError::Failed`]: what is on disk is uncertain; every later call fails.
    pub fn append(&mut self, first_seq: u64, lines: &[Line]) -> Result<(), AppendError> {
        self.journal.append(first_seq, lines)
    }

    /// Makes damage to the last group tellable from a torn one; to be called after a quiet second.
    ///
    /// # Errors
    /// [`AppendError::Failed`].
    pub fn seal(&mut self) -> Result<(), AppendError> {
        self.journal.seal()
    }

    /// Makes a snapshot durable, which must be true at the last fact that was appended. The one
    /// before is kept to fall back to.
    ///
    /// # Errors
    /// Those of the disk, also [`LedgerError::is_no_room`]; the journal is not concerned.
    pub fn checkpoint(&mut self, snapshot: &Snapshot) -> Result<(), LedgerError> {
        let last = self.journal.next_seq() - 1;
        if snapshot.seq != last {
            let what = format!("a snapshot at record {} was given, the last one is {last}", snapshot.seq);
            return Err(LedgerError::Misuse { what });
        }
        snapshot::write(self.disk.as_ref(), self.id, snapshot)
    }

    /// Archives closed orders (at most [`archive::ORDERS_MAX`] at once; the answer says which), and
    /// removes the segments that lie below the older snapshot, whose lines about open orders are
    /// carried along. Orders without any fact are left out. Reads all segments: some milliseconds a
    /// megabyte.
    ///
    /// # Errors
    /// Damage, and those of the disk; nothing is lost then, and the next call goes on.
    pub fn archive(&mut self, orders: &[OrderKey]) -> Result<ArchiveDone, LedgerError> {
        // Only with something to fall back to may what is below it go.
        let floor = snapshot::list(self.disk.as_ref())?.get(1).copied();
        let removable = floor.and_then(|seq| self.journal.last_seq_below(seq));
        let last_seq = self.journal.next_seq() - 1;
        let orders = self.history().run(last_seq, removable, orders)?;
        let segments_removed = removable.map_or(Ok(0), |seq| self.journal.remove_below(seq))?;
        Ok(ArchiveDone { orders, segments_removed })
    }

    /// Reads archived orders from any thread.
    pub fn archive_reader(&self) -> ArchiveReader {
        ArchiveReader { disk: Arc::clone(&self.disk), id: self.id }
    }

    fn history(&self) -> History<'_> {
        History { disk: self.disk.as_ref(), id: self.id }
    }

    /// Notes a sign of life. Cheap: not synced, and a failure is of no consequence.
    pub fn alive(&mut self, now: Timestamp) {
        // Always of the same length, so that it can be overwritten in place.
        let text = now.strftime("%Y-%m-%dT%H:%M:%SZ\n").to_string();
        let file = self.disk.open(ALIVE).or_else(|_| self.disk.create(ALIVE));
        let written = file.and_then(|mut file| file.write_at(0, text.as_bytes()));
        if let Err(err) = written {
            tracing::debug!(error = %err, "sign of life not written");
        }
    }

    /// Ends cleanly: seals, syncs, sets the marker.
    ///
    /// # Errors
    /// Those of the disk; the next start then counts as after an unclean stop.
    pub fn close(mut self, now: Timestamp) -> Result<(), LedgerError> {
        self.alive(now);
        self.finish()?;
        self.set_marker()
    }

    /// Ends a mere look: the next start finds the marker as this one did.
    ///
    /// # Errors
    /// Those of the disk.
    pub fn leave(mut self) -> Result<(), LedgerError> {
        self.finish()?;
        if self.found_clean { self.set_marker() } else { Ok(()) }
    }

    fn finish(&mut self) -> Result<(), LedgerError> {
        self.journal.close().map_err(|err| match err {
            AppendError::NoRoom(cause) => LedgerError::disk("close", journal::DIR)(cause),
            AppendError::Failed(err) => err,
        })
    }

    fn set_marker(&self) -> Result<(), LedgerError> {
        marker_kind(self.id).write(self.disk.as_ref(), CLEAN, self.journal.next_seq() - 1, b"")
    }
}

/// Reads archived orders.
#[derive(Clone)]
pub struct ArchiveReader {
    disk: Arc<dyn Disk>,
    id: InstallationId,
}

impl ArchiveReader {
    /// All that is archived about an order; `None` for one that is not archived. Goes through the
    /// archive's files one after the other.
    ///
    /// # Errors
    /// Damage, and those of the disk.
    pub fn read(&self, order: &OrderKey) -> Result<Option<ArchivedOrder>, LedgerError> {
        History { disk: self.disk.as_ref(), id: self.id }.archived(order)
    }
}

fn marker_kind(installation: InstallationId) -> sealed::Kind<'static> {
    sealed::Kind { what: "clean stop", installation }
}

/// First opening. The installation's file is written last: with it, the directory counts as made.
fn make_new(disk: &Arc<dyn Disk>, installation: Installation) -> Result<Installation, LedgerError> {
    let missing = |what: &str| LedgerError::Incomplete { what: what.to_owned() };
    for (file, name) in [(CLEAN, "a marker of a clean stop"), (ALIVE, "a sign of life")] {
        if disk.len(file).is_ok() {
            return Err(missing(&format!("the file \"installation\" is missing, though there is {name}")));
        }
    }
    if segment::has_frames(disk.as_ref())? || !snapshot::list(disk.as_ref())?.is_empty() {
        return Err(missing("the file \"installation\" is missing, though there are records"));
    }
    for dir in DIRS {
        disk.create_dir(dir).map_err(LedgerError::disk("make", dir))?;
    }
    disk.sync_dir("").map_err(LedgerError::disk("sync", "the data directory"))?;
    Journal::create(disk, installation.id)?;
    installation.write(disk.as_ref())?;
    Ok(installation)
}

/// The fact up to which the last run said that it had ended cleanly.
fn read_marker(disk: &dyn Disk, id: InstallationId, notices: &mut Vec<String>) -> Result<Option<u64>, LedgerError> {
    match marker_kind(id).read(disk, CLEAN) {
        Ok((seq, _)) => Ok(Some(seq)),
        Err(LedgerError::Disk { cause, .. }) if cause.kind() == ErrorKind::NotFound => Ok(None),
        Err(LedgerError::BadFile { what, .. }) => {
            notices.push(format!("the marker of a clean stop does not count: {what}"));
            Ok(None)
        }
        Err(err) => Err(err),
    }
}

fn read_alive(disk: &dyn Disk) -> Option<Timestamp> {
    String::from_utf8(disk.read(ALIVE).ok()?).ok()?.trim().parse().ok()
}

/// Snapshots that are not whole, and why not.
type Broken = Vec<(u64, LedgerError)>;

/// The newest whole snapshot, and the broken ones that are newer with what is wrong.
fn newest_snapshot(
    disk: &dyn Disk,
    id: InstallationId,
    notices: &mut Vec<String>,
) -> Result<(Option<Snapshot>, Broken), LedgerError> {
    let mut broken = Vec::new();
    for seq in snapshot::list(disk)? {
        match snapshot::read(disk, id, seq) {
            Ok(snapshot) => return Ok((Some(snapshot), broken)),
            Err(err @ (LedgerError::Version { .. } | LedgerError::OtherInstallation { .. })) => return Err(err),
            Err(err) => {
                let what = match &err {
                    LedgerError::BadFile { what, .. } => what.clone(),
                    other => with_causes(other),
                };
                notices.push(format!(
                    "the snapshot at record {seq} was left out ({what}); an older one and the journal served, it lies in {}",
                    journal::ASIDE_DIR
                ));
                broken.push((seq, err));
            }
        }
    }
    Ok((None, broken))
}
