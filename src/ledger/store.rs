//! The data directory as a whole: opening it, writing to it, leaving it.

use super::archive::{self, ArchiveDone, ArchivedOrder, History};
use super::directory::Directory;
use super::disk::LockGuard;
use super::forget::{self, OldPersons, Older};
use super::installation::{Installation, InstallationId};
use super::journal::{self, CutTail, Journal};
use super::snapshot::{self, Snapshot};
use super::{AppendError, Disk, LedgerError, Line, repair, sealed, segment, versions, with_causes};
use crate::book::Stamped;
use crate::model::{MessageKey, OrderKey};
use jiff::Timestamp;
use std::collections::BTreeSet;
use std::io::ErrorKind;
use std::sync::Arc;

pub(super) const CLEAN: &str = "clean";
const ALIVE: &str = "alive";
/// Stands while an import has not been finished; the directory counts for nothing then.
pub(super) const IMPORTING: &str = "importing";
pub(super) const DIRS: [&str; 5] = [journal::DIR, snapshot::DIR, archive::DIR, archive::CARRY_DIR, journal::ASIDE_DIR];

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
    shelves: Shelves,
    journal: Journal,
    /// The last run had ended cleanly: [`Ledger::leave`] puts the marker back.
    found_clean: bool,
    /// The last sign of life: when, and how many facts were synced then.
    noted: (Timestamp, u64),
    /// Written in the first form, without its checksum and second copy: they come with a clean stop.
    upgrade: Option<Installation>,
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
        if disk.len(IMPORTING).is_ok() {
            return Err(LedgerError::Unfinished);
        }
        Self::open_any(disk, now, fresh)
    }

    /// As [`Self::open_with`], for the import itself.
    pub(super) fn open_importing(
        disk: Arc<dyn Disk>,
        now: Timestamp,
        installation: Installation,
    ) -> Result<(Self, Opened), LedgerError> {
        Self::open_any(disk, now, || Ok(installation))
    }

    fn open_any(
        disk: Arc<dyn Disk>,
        now: Timestamp,
        fresh: impl FnOnce() -> Result<Installation, LedgerError>,
    ) -> Result<(Self, Opened), LedgerError> {
        let lock = lock(disk.as_ref())?;
        let mut notices = Vec::new();
        if repair::finish(disk.as_ref())? {
            notices.push("a repair that was interrupted was finished".to_owned());
        }
        let mut upgrade = None;
        let installation = match Installation::read(disk.as_ref())? {
            Some((found, checked)) => {
                upgrade = (!checked).then(|| found.clone());
                versions::check(disk.as_ref(), found.id)?;
                // After a kill, names that are seen here may not be durable yet.
                for dir in std::iter::once("").chain(DIRS) {
                    disk.sync_dir(dir).map_err(LedgerError::disk("sync", dir))?;
                }
                found
            }
            None => make_new(&disk, fresh()?)?,
        };
        let id = installation.id;
        let sign = read_alive(disk.as_ref());
        let marker = read_marker(disk.as_ref(), id, &mut notices)?;
        let (snapshot, mut broken) = newest_snapshot(disk.as_ref(), id, &mut notices)?;
        let after = snapshot.as_ref().map_or(0, |snapshot| snapshot.seq);
        let mut lines = Vec::new();
        let must_reach = after.max(marker.unwrap_or(0)).max(sign.and_then(|sign| sign.synced).unwrap_or(0));
        let opened = Journal::open(Arc::clone(&disk), id, after, must_reach, |line| lines.push(line.line));
        let (journal, cut_tail) = match opened {
            // The journal does not reach back beyond the broken snapshot: that one is to be named.
            Err(LedgerError::Incomplete { .. }) if !broken.is_empty() => return Err(broken.swap_remove(0).1),
            other => other?,
        };
        let last_seq = journal.next_seq() - 1;
        // A broken snapshot must not be counted as one to fall back to.
        for (seq, _) in &broken {
            snapshot::move_aside(disk.as_ref(), *seq)?;
        }
        let clean = marker == Some(last_seq);
        if marker.is_some() {
            disk.remove(CLEAN).map_err(LedgerError::disk("remove", CLEAN))?;
            disk.sync_dir("").map_err(LedgerError::disk("sync", "the data directory"))?;
        }
        let shelves = Shelves { disk, id, directory: Arc::default() };
        let mut ledger = Self { shelves, journal, found_clean: clean, noted: (now, 0), upgrade, _lock: lock };
        ledger.alive(now);
        let last_alive = sign.map(|sign| sign.at);
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
        &self.shelves.disk
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
        self.journal.seal()?;
        // With the sign of life a journal that lost its end at a frame's border can be told as well.
        if self.journal.is_well() && self.noted.1 + 1 != self.journal.next_seq() {
            self.alive(self.noted.0);
        }
        Ok(())
    }

    /// True where a group could be written now, as far as can be told without writing one; to be
    /// asked after [`AppendError::NoRoom`].
    pub fn could_write(&mut self) -> bool {
        self.journal.could_write()
    }

    /// Makes a snapshot durable, which must be true at the last fact that was appended. The one
    /// before is kept to fall back to.
    ///
    /// # Errors
    /// Those of the disk, also [`LedgerError::refusal`]; the journal is not concerned.
    pub fn checkpoint(&mut self, snapshot: &Snapshot) -> Result<(), LedgerError> {
        self.check_end(snapshot.seq)?;
        self.shelves.keep(snapshot)
    }

    /// A snapshot must be true at the journal's end: only there do persons' lines, which have no
    /// number of their own, stand on one side or the other.
    ///
    /// # Errors
    /// [`LedgerError::Misuse`].
    pub(super) fn check_end(&self, seq: u64) -> Result<(), LedgerError> {
        let last = self.journal.next_seq() - 1;
        if seq == last {
            return Ok(());
        }
        let what = format!("a snapshot at record {seq} was given, the last one is {last}");
        Err(LedgerError::Misuse { what })
    }

    /// Archives closed orders (at most [`archive::ORDERS_MAX`] at once; the answer says which), and
    /// removes the segments that lie below the older snapshot, whose lines about open orders are
    /// carried along. Orders without any fact are left out. Reads all segments: some milliseconds a
    /// megabyte.
    ///
    /// # Errors
    /// Damage, and those of the disk; nothing is lost then, and the next call goes on.
    pub fn archive(&mut self, orders: &[OrderKey]) -> Result<ArchiveDone, LedgerError> {
        let due = self.due()?;
        let orders = self.shelves.archive(&due, orders)?;
        let segments_removed = self.remove(&due)?;
        Ok(ArchiveDone { orders, upto: due.last_seq, segments_removed })
    }

    /// What can be put away at this moment.
    pub(super) fn due(&self) -> Result<Due, LedgerError> {
        // Only with something to fall back to may what is below it go.
        let floor = snapshot::list(self.shelves.disk.as_ref())?.get(1).copied();
        let removable = floor.and_then(|seq| self.journal.last_seq_below(seq));
        Ok(Due { last_seq: self.journal.next_seq() - 1, removable })
    }

    /// Removes the segments that [`Shelves::archive`] made superfluous.
    pub(super) fn remove(&mut self, due: &Due) -> Result<usize, LedgerError> {
        due.removable.map_or(Ok(0), |seq| self.journal.remove_below(seq))
    }

    /// What lies beside the journal, for the thread that keeps it in order.
    pub(super) fn shelves(&self) -> Shelves {
        self.shelves.clone()
    }

    /// Whose data directory it is.
    pub(super) fn id(&self) -> InstallationId {
        self.shelves.id
    }
    /// The journal takes nothing more: the program must stop, and verify what there is at its next start.
    pub fn has_failed(&self) -> bool {
        self.journal.has_failed()
    }
    /// Goes on in a new segment; what was written so far lies in closed ones.
    pub(super) fn begin_segment(&mut self) -> Result<(), AppendError> {
        self.journal.begin_segment()
    }
    /// The last fact of the closed segments; `None` where there is none.
    pub(super) fn closed_upto(&self) -> Option<u64> {
        self.journal.last_seq_below(self.journal.next_seq())
    }
    /// Removes the closed segments: what they hold must stand elsewhere.
    pub(super) fn remove_closed(&mut self) -> Result<usize, LedgerError> {
        self.journal.remove_below(self.journal.next_seq())
    }

    /// Reads archived orders from any thread.
    pub fn archive_reader(&self) -> ArchiveReader {
        ArchiveReader(self.shelves())
    }

    /// Which archive file holds which order.
    pub(super) fn directory(&self) -> &Directory {
        &self.shelves.directory
    }

    pub(super) fn history(&self) -> History<'_> {
        self.shelves.history()
    }

    /// Notes a sign of life, and how far the journal was synced then. Cheap: not synced, and a
    /// failure is of no consequence.
    pub fn alive(&mut self, now: Timestamp) {
        self.noted = (now, self.journal.next_seq() - 1);
        // Always of the same length, so that it can be overwritten in place.
        let text = format!("{} {:020}", now.strftime("%Y-%m-%dT%H:%M:%SZ"), self.noted.1);
        let text = format!("{text} {:08x}\n", crc32c::crc32c(text.as_bytes()));
        let file = self.shelves.disk.open(ALIVE).or_else(|_| self.shelves.disk.create(ALIVE));
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
        if let Some(installation) = self.upgrade.take() {
            installation.write(self.shelves.disk.as_ref())?;
        }
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

    /// Ends an import: the last sign of life is the instant of the copy, so that the next start
    /// tells since when nothing was taken in; and it counts as an unclean stop, since nobody knows
    /// what was on its way to paper then.
    pub(super) fn leave_as_at(mut self, at: Timestamp) -> Result<(), LedgerError> {
        self.alive(at);
        self.finish()
    }

    fn finish(&mut self) -> Result<(), LedgerError> {
        Ok(self.journal.close()?)
    }

    fn set_marker(&self) -> Result<(), LedgerError> {
        marker_kind(self.shelves.id).write(self.shelves.disk.as_ref(), CLEAN, self.journal.next_seq() - 1, b"")
    }
}

/// What can be put away at one moment.
#[derive(Debug, Clone, Copy)]
pub(super) struct Due {
    /// The journal's last fact.
    pub(super) last_seq: u64,
    /// Segments whose facts all have numbers up to this one may go.
    removable: Option<u64>,
}

/// What lies beside the journal's open end: snapshots, archives, the carry. Written by one thread.
#[derive(Clone)]
pub(super) struct Shelves {
    disk: Arc<dyn Disk>,
    id: InstallationId,
    directory: Arc<Directory>,
}

impl Shelves {
    /// Makes a snapshot durable.
    pub fn keep(&self, snapshot: &Snapshot) -> Result<(), LedgerError> {
        snapshot::write(self.disk.as_ref(), self.id, snapshot)
    }
    /// Archives orders, as far as the journal went when `due` was made; those that are archived now.
    pub fn archive(&self, due: &Due, orders: &[OrderKey]) -> Result<Vec<OrderKey>, LedgerError> {
        self.history().run(&self.directory, due.last_seq, due.removable, orders)
    }
    fn history(&self) -> History<'_> {
        History { disk: self.disk.as_ref(), id: self.id }
    }
}

/// Reads archived orders.
#[derive(Clone)]
pub struct ArchiveReader(Shelves);

impl ArchiveReader {
    /// All that is archived about an order; `None` for one that is not archived. Reads the files
    /// that it stands in.
    ///
    /// # Errors
    /// Damage, and those of the disk.
    pub fn read(&self, order: &OrderKey) -> Result<Option<ArchivedOrder>, LedgerError> {
        self.0.history().archived(&self.0.directory, order)
    }

    /// Is this order archived? Reads a file only where it is (or another one looks alike).
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn holds(&self, order: &OrderKey) -> Result<bool, LedgerError> {
        self.0.directory.holds(&self.0.history(), order)
    }

    /// What there is to erase that is older than the retention. Reads all open segments, the carry,
    /// and the archive as far as there are persons in it. `upto`: the last durable fact.
    ///
    /// # Errors
    /// As [`Self::read`]; also where files moved meanwhile: ask again later.
    pub fn older(&self, older: &Older, upto: u64) -> Result<OldPersons, LedgerError> {
        forget::look(&self.0.history(), older, upto)
    }

    /// The messages that meant an order. `upto`: the last durable fact.
    ///
    /// # Errors
    /// As [`Self::older`].
    pub fn messages_of(&self, order: &OrderKey, upto: u64) -> Result<BTreeSet<MessageKey>, LedgerError> {
        forget::messages_of(&self.0.history(), &self.0.directory, order, upto)
    }

    /// All facts about an order by number, archived or not, from the files themselves: slower than
    /// the index, and as true. What is damaged is left out.
    ///
    /// # Errors
    /// Where the files cannot be listed or read.
    pub fn facts_of(&self, order: &OrderKey) -> Result<Vec<Stamped>, LedgerError> {
        self.0.history().everything_of(&self.0.directory, order)
    }
}

/// Takes the lock on the data directory.
pub(super) fn lock(disk: &dyn Disk) -> Result<LockGuard, LedgerError> {
    disk.lock().map_err(|cause| match cause.kind() {
        ErrorKind::WouldBlock => LedgerError::Locked,
        _ => LedgerError::disk("lock", "lock")(cause),
    })
}

fn marker_kind(installation: InstallationId) -> sealed::Kind<'static> {
    sealed::Kind { what: "clean stop", installation }
}

/// First opening. The installation's file is written last: with it, the directory counts as made.
/// Its second copy alone, without any record, is what a power cut leaves of that.
fn make_new(disk: &Arc<dyn Disk>, fresh: Installation) -> Result<Installation, LedgerError> {
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
    Journal::create(disk, fresh.id, 1, 1)?;
    fresh.write(disk.as_ref())?;
    Ok(fresh)
}

/// The fact up to which the last run said that it had ended cleanly.
pub(super) fn read_marker(
    disk: &dyn Disk,
    id: InstallationId,
    notices: &mut Vec<String>,
) -> Result<Option<u64>, LedgerError> {
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

/// The last sign of life.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sign {
    /// When.
    pub at: Timestamp,
    /// The journal was synced up to this fact; `None` where the file does not vouch for it.
    pub synced: Option<u64>,
}

pub(super) fn read_alive(disk: &dyn Disk) -> Option<Sign> {
    let text = String::from_utf8(disk.read(ALIVE).ok()?).ok()?;
    let at = text.split_whitespace().next()?.parse().ok()?;
    let vouched = || {
        let (signed, crc) = text.trim_end().rsplit_once(' ')?;
        let crc = u32::from_str_radix(crc, 16).ok()?;
        let (_, synced) = signed.rsplit_once(' ').filter(|_| crc == crc32c::crc32c(signed.as_bytes()))?;
        synced.parse().ok()
    };
    Some(Sign { at, synced: vouched() })
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
