//! The one thread that writes: gathers what waits into one group, syncs it, then tells everybody.

use super::archive::ArchiveDone;
use super::forget::{Erased, Erasure};
use super::keeper::{Chore, Frozen, Keeper};
use super::store::Due;
use super::{AppendError, Ledger, LedgerError, Line, Refusal, Snapshot, with_causes};
use crate::model::OrderKey;
use jiff::Timestamp;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Waiting units from which on nothing new should be begun (callers answer 503).
pub const UNITS_WAITING_MAX: usize = 4096;
/// Waiting bytes, likewise.
pub const BYTES_WAITING_MAX: usize = 64 * 1024 * 1024;
/// A group takes no further unit once it is this long.
pub const GROUP_BYTES_MAX: usize = 4 * 1024 * 1024;
/// Quiet after which the last group is sealed.
pub const SEAL_AFTER: Duration = Duration::from_secs(1);

/// Told when a request is done.
pub type Done<T> = Box<dyn FnOnce(T) + Send>;

/// Says what is to be erased, and gives the snapshot without it; called on the writer's thread
/// when all units before are done, so that both are true at the last fact.
pub type Prepare = Box<dyn FnOnce() -> Result<(Erasure, Snapshot), LedgerError> + Send>;

/// Lines that belong together: all of them are kept, or none.
pub struct Unit {
    /// Raised by the sender each time it has rolled its memory back after [`WriteFailure::NoRoom`].
    pub epoch: u64,
    /// Number of the first fact among the lines.
    pub first_seq: u64,
    /// The lines; none for a sender that only waits until all before it is durable.
    pub lines: Vec<Line>,
    /// Called on the writer's thread, in order, after the sync: it should only wake somebody.
    pub done: Done<Result<(), WriteFailure>>,
}

/// Why a unit was not kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum WriteFailure {
    /// The disk takes nothing at present (see [`Writer::refusal`]). Units of this epoch are all
    /// refused; the sender rolls back and goes on in the next.
    #[error("nothing can be written to the disk of the data directory at present")]
    NoRoom,
    /// What is on disk is uncertain: the process must stop, and start again from the disk.
    #[error("the ledger could not be written")]
    Failed,
    /// The writer has ended.
    #[error("the ledger is closed")]
    Closed,
}

/// What waits to be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Backlog {
    /// Units.
    pub units: usize,
    /// Bytes of their lines.
    pub bytes: usize,
}

impl Backlog {
    /// Nothing new should be begun.
    pub fn is_full(self) -> bool {
        self.units >= UNITS_WAITING_MAX || self.bytes >= BYTES_WAITING_MAX
    }
}

pub(super) enum Request {
    Unit(Unit),
    Checkpoint(Box<dyn FnOnce() -> Frozen + Send>, Done<Result<(), LedgerError>>),
    Archive(Vec<OrderKey>, Done<Result<ArchiveDone, LedgerError>>, Sender<Request>),
    /// The keeper has archived these; what it made superfluous may go.
    Archived(Due, Vec<OrderKey>, Done<Result<ArchiveDone, LedgerError>>),
    Erase(Prepare, Done<Result<Erased, LedgerError>>),
    Alive(Timestamp),
    Close(Timestamp, Done<Result<(), LedgerError>>),
}

#[derive(Default)]
pub(super) struct Shared {
    units: AtomicUsize,
    bytes: AtomicUsize,
    synced: AtomicU64,
    groups: AtomicU64,
    failed: AtomicBool,
    why: Mutex<Option<String>>,
    /// Why the disk takes nothing, and since when.
    refusal: Mutex<Option<(Refusal, Instant)>>,
    /// Since when a group is being written.
    busy_since: Mutex<Option<Instant>>,
}

/// Handle on the writer's thread; clones share it.
#[derive(Clone)]
pub struct Writer {
    requests: Sender<Request>,
    shared: Arc<Shared>,
    thread: Arc<Mutex<Option<JoinHandle<()>>>>,
}

impl Writer {
    /// Hands the ledger over to a thread of its own.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub fn spawn(ledger: Ledger) -> std::io::Result<Self> {
        let (requests, incoming) = channel();
        let shared = Arc::new(Shared::default());
        shared.synced.store(ledger.next_seq() - 1, Ordering::Release);
        let keeper = Keeper::spawn(ledger.shelves(), Arc::clone(&shared))?;
        let worker = Worker {
            ledger,
            keeper,
            incoming,
            held: None,
            unsealed: false,
            refused_epoch: None,
            shared: Arc::clone(&shared),
        };
        let thread = std::thread::Builder::new().name("ledger".to_owned()).spawn(move || worker.run())?;
        Ok(Self { requests, shared, thread: Arc::new(Mutex::new(Some(thread))) })
    }

    /// Queues a unit. It is always taken; ask [`Self::backlog`] before beginning something new.
    pub fn submit(&self, unit: Unit) {
        self.shared.units.fetch_add(1, Ordering::AcqRel);
        self.shared.bytes.fetch_add(bytes_of(&unit), Ordering::AcqRel);
        self.send(Request::Unit(unit));
    }
    /// Queues a snapshot. `freeze` is called on the writer's thread once all units queued so far
    /// are done, and gives a state that is true at the last fact of them: it should only copy. All
    /// else happens beside.
    pub fn checkpoint(&self, freeze: Box<dyn FnOnce() -> Frozen + Send>, done: Done<Result<(), LedgerError>>) {
        self.send(Request::Checkpoint(freeze, done));
    }
    /// Queues the archiving of closed orders, beside the writer's thread; see [`Ledger::archive`].
    pub fn archive(&self, orders: Vec<OrderKey>, done: Done<Result<ArchiveDone, LedgerError>>) {
        self.send(Request::Archive(orders, done, self.requests.clone()));
    }
    /// Queues an erasure; see [`Ledger::erase`].
    pub fn erase(&self, prepare: Prepare, done: Done<Result<Erased, LedgerError>>) {
        self.send(Request::Erase(prepare, done));
    }
    /// Notes a sign of life.
    pub fn alive(&self, now: Timestamp) {
        self.send(Request::Alive(now));
    }

    /// Writes what waits, closes the ledger cleanly, ends the thread; returns when that is done.
    ///
    /// # Errors
    /// Those of [`Ledger::close`]; [`LedgerError::Misuse`] after a failure or a close before.
    pub fn close(&self, now: Timestamp) -> Result<(), LedgerError> {
        let (tell, told) = channel();
        let done = Box::new(move |result| drop(tell.send(result)));
        self.send(Request::Close(now, done));
        let result = told.recv().unwrap_or_else(|_| Err(closed()));
        if let Some(thread) = self.thread.lock().unwrap_or_else(PoisonError::into_inner).take() {
            let _ = thread.join();
        }
        result
    }

    /// What waits now.
    pub fn backlog(&self) -> Backlog {
        Backlog { units: self.shared.units.load(Ordering::Acquire), bytes: self.shared.bytes.load(Ordering::Acquire) }
    }
    /// Number of the last fact that is durable.
    pub fn synced(&self) -> u64 {
        self.shared.synced.load(Ordering::Acquire)
    }
    /// Groups written so far.
    pub fn groups(&self) -> u64 {
        self.shared.groups.load(Ordering::Acquire)
    }
    /// Why the ledger failed, if it did: the process must stop.
    pub fn failure(&self) -> Option<String> {
        self.shared.why.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Why the disk takes nothing at present, and for how long already.
    pub fn refusal(&self) -> Option<(Refusal, Duration)> {
        let refusal = *self.shared.refusal.lock().unwrap_or_else(PoisonError::into_inner);
        refusal.map(|(refusal, since)| (refusal, since.elapsed()))
    }
    /// For how long the disk has been working on one group.
    pub fn busy_for(&self) -> Option<Duration> {
        let since = *self.shared.busy_since.lock().unwrap_or_else(PoisonError::into_inner);
        since.map(|since| since.elapsed())
    }

    fn send(&self, request: Request) {
        if let Err(back) = self.requests.send(request) {
            refuse(back.0, &self.shared, WriteFailure::Closed);
        }
    }
}

fn bytes_of(unit: &Unit) -> usize {
    unit.lines.iter().map(|line| line.json.len()).sum()
}

pub(super) fn closed() -> LedgerError {
    LedgerError::Misuse { what: "the ledger is closed, or it failed before".to_owned() }
}

/// Tells a unit's owner, and takes it off the backlog.
fn tell(unit: Unit, bytes: usize, shared: &Shared, result: Result<(), WriteFailure>) {
    shared.units.fetch_sub(1, Ordering::AcqRel);
    shared.bytes.fetch_sub(bytes, Ordering::AcqRel);
    (unit.done)(result);
}

pub(super) fn refuse(request: Request, shared: &Shared, why: WriteFailure) {
    match request {
        Request::Unit(unit) => {
            let bytes = bytes_of(&unit);
            tell(unit, bytes, shared, Err(why));
        }
        Request::Checkpoint(_, done) => done(Err(closed())),
        Request::Archive(_, done, _) | Request::Archived(_, _, done) => done(Err(closed())),
        Request::Erase(_, done) => done(Err(closed())),
        Request::Close(_, done) => done(Err(closed())),
        Request::Alive(_) => {}
    }
}

struct Worker {
    ledger: Ledger,
    keeper: Keeper,
    incoming: Receiver<Request>,
    /// Taken from the queue, but not for the group that was being gathered.
    held: Option<Request>,
    /// A group was written since the last seal.
    unsealed: bool,
    /// Units up to this epoch build on something that could not be written.
    refused_epoch: Option<u64>,
    shared: Arc<Shared>,
}

impl Worker {
    fn run(mut self) {
        while let Some(request) = self.next() {
            if self.shared.failed.load(Ordering::Acquire) {
                let ends = matches!(request, Request::Close(..));
                refuse(request, &self.shared, WriteFailure::Failed);
                if ends {
                    return;
                }
                continue;
            }
            match request {
                Request::Unit(unit) => self.write(unit),
                Request::Checkpoint(freeze, done) => self.freeze(freeze(), done),
                Request::Archive(orders, done, back) => match self.ledger.due() {
                    Ok(due) => self.keeper.give(Chore::Archive(due, orders, done, back)),
                    Err(err) => done(Err(err)),
                },
                Request::Archived(due, orders, done) => {
                    let (upto, removed) = (due.last_seq, self.ledger.remove(&due));
                    done(removed.map(|segments_removed| ArchiveDone { orders, upto, segments_removed }));
                }
                Request::Erase(prepare, done) => done(self.erase(prepare)),
                Request::Alive(now) => {
                    self.ledger.alive(now);
                    // Without orders nobody else would find out that it goes again.
                    if self.refusal().is_some() && self.ledger.could_write() {
                        *self.refusal() = None;
                    }
                }
                Request::Close(now, done) => return self.close(now, done),
            }
        }
    }

    fn freeze(&self, frozen: Frozen, done: Done<Result<(), LedgerError>>) {
        match self.ledger.check_end(frozen.seq) {
            Ok(()) => self.keeper.give(Chore::Checkpoint(frozen, done)),
            Err(err) => done(Err(err)),
        }
    }

    fn erase(&mut self, prepare: Prepare) -> Result<Erased, LedgerError> {
        let _alone = self.keeper.alone();
        let (erasure, snapshot) = prepare()?;
        let erased = self.ledger.erase(&erasure, &snapshot);
        if let Err(err) = &erased
            && self.ledger.has_failed()
        {
            self.fail(err);
        }
        erased
    }

    fn close(self, now: Timestamp, done: Done<Result<(), LedgerError>>) {
        let Self { ledger, keeper, incoming, held, shared, .. } = self;
        keeper.close();
        done(ledger.close(now));
        for late in held.into_iter().chain(incoming.try_iter()) {
            refuse(late, &shared, WriteFailure::Closed);
        }
    }

    /// The next request; seals after a quiet moment. `None` once all handles are gone.
    fn next(&mut self) -> Option<Request> {
        if let Some(held) = self.held.take() {
            return Some(held);
        }
        if self.unsealed {
            match self.incoming.recv_timeout(SEAL_AFTER) {
                Ok(request) => return Some(request),
                Err(RecvTimeoutError::Disconnected) => return None,
                Err(RecvTimeoutError::Timeout) => {
                    self.unsealed = false;
                    if let Err(err) = self.ledger.seal() {
                        self.fail(&err);
                    }
                }
            }
        }
        self.incoming.recv().ok()
    }

    fn refusal(&self) -> MutexGuard<'_, Option<(Refusal, Instant)>> {
        self.shared.refusal.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn set_busy(&self, since: Option<Instant>) {
        *self.shared.busy_since.lock().unwrap_or_else(PoisonError::into_inner) = since;
    }

    fn fail(&self, err: &dyn std::error::Error) {
        let why = with_causes(err);
        tracing::error!(error = %why, "ledger failed");
        *self.shared.why.lock().unwrap_or_else(PoisonError::into_inner) = Some(why);
        self.shared.failed.store(true, Ordering::Release);
    }

    /// Writes one group: this unit and all that wait behind it, as far as they fit.
    fn write(&mut self, first: Unit) {
        if self.refused_epoch.is_some_and(|refused| first.epoch <= refused) {
            return refuse(Request::Unit(first), &self.shared, WriteFailure::NoRoom);
        }
        let (epoch, first_seq) = (first.epoch, first.first_seq);
        let mut lines = Vec::new();
        let mut bytes = 0;
        let mut units = Vec::new();
        let mut next = Some(first);
        while let Some(mut unit) = next.take() {
            let own = bytes_of(&unit);
            bytes += own;
            lines.append(&mut unit.lines);
            units.push((unit, own));
            if bytes < GROUP_BYTES_MAX {
                match self.incoming.try_recv() {
                    Ok(Request::Unit(unit)) if unit.epoch == epoch => next = Some(unit),
                    Ok(other) => self.held = Some(other),
                    Err(_) => {}
                }
            }
        }
        // Without lines it is only the wish to be told when all before it is durable: it is.
        self.set_busy(Some(Instant::now()));
        let written = if lines.is_empty() { Ok(()) } else { self.ledger.append(first_seq, &lines) };
        self.set_busy(None);
        let result = match written {
            Ok(()) => Ok(()),
            Err(AppendError::NoRoom(cause)) => {
                tracing::warn!(error = %cause, units = units.len(), "nothing can be written to the journal");
                self.refused_epoch = Some(epoch);
                if let Some(refusal) = Refusal::of(&cause) {
                    let mut told = self.refusal();
                    let since = told.map_or_else(Instant::now, |(_, since)| since);
                    *told = Some((refusal, since));
                }
                Err(WriteFailure::NoRoom)
            }
            Err(err @ AppendError::Failed(_)) => {
                self.fail(&err);
                Err(WriteFailure::Failed)
            }
        };
        if result.is_ok() && !lines.is_empty() {
            self.unsealed = true;
            *self.refusal() = None;
            self.shared.synced.store(self.ledger.next_seq() - 1, Ordering::Release);
            self.shared.groups.fetch_add(1, Ordering::AcqRel);
        }
        for (unit, bytes) in units {
            tell(unit, bytes, &self.shared, result);
        }
    }
}
