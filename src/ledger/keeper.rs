//! The thread beside the writer's that writes snapshots and archives, one after the other: no
//! answer waits for them.

use super::archive::ArchiveDone;
use super::store::{Due, Shelves};
use super::writer::{Done, Request, Shared, WriteFailure, closed, refuse};
use super::{LedgerError, Snapshot};
use crate::model::OrderKey;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

/// A state held fast at one fact, still to be written out; `None` where that fails.
pub struct Frozen {
    /// Number of the last fact in it.
    pub seq: u64,
    /// Writes it out as a snapshot at that fact. Runs beside the writer's thread, and may take its time.
    pub write_out: Box<dyn FnOnce() -> Option<Snapshot> + Send>,
}

/// Work of the keeper.
pub(super) enum Chore {
    Checkpoint(Frozen, Done<Result<(), LedgerError>>),
    /// The last one hears when it is done.
    Archive(Due, Vec<OrderKey>, Done<Result<ArchiveDone, LedgerError>>, Sender<Request>),
}

impl Chore {
    fn refuse(self, why: LedgerError) {
        match self {
            Self::Checkpoint(_, done) => done(Err(why)),
            Self::Archive(_, _, done, _) => done(Err(why)),
        }
    }
}

/// When the keeper may work.
#[derive(Default)]
struct Turn {
    /// Held while somebody works beside the journal: the keeper, or who erases.
    busy: Mutex<()>,
    /// Chores from before an erasure are left: they may hold what was erased.
    erasures: AtomicU64,
    closing: AtomicBool,
}

impl Turn {
    fn take(&self) -> MutexGuard<'_, ()> {
        self.busy.lock().unwrap_or_else(PoisonError::into_inner)
    }
    /// Why a chore that was given after so many erasures is not done.
    fn refuses(&self, erasures: u64) -> Option<LedgerError> {
        if self.closing.load(Ordering::Acquire) {
            return Some(closed());
        }
        let what = "personal data were erased before it was its turn; it is done the next time".to_owned();
        (self.erasures.load(Ordering::Acquire) != erasures).then_some(LedgerError::Misuse { what })
    }
}

/// Handle on the thread.
pub(super) struct Keeper {
    chores: Sender<(u64, Chore)>,
    turn: Arc<Turn>,
    thread: JoinHandle<()>,
}

impl Keeper {
    pub fn spawn(shelves: Shelves, shared: Arc<Shared>) -> std::io::Result<Self> {
        let (chores, incoming) = channel::<(u64, Chore)>();
        let turn = Arc::new(Turn::default());
        let own = Arc::clone(&turn);
        let keep = move || {
            for (erasures, chore) in incoming {
                let _busy = own.take();
                match own.refuses(erasures) {
                    Some(why) => chore.refuse(why),
                    None => work(chore, &shelves, &shared),
                }
            }
        };
        let thread = std::thread::Builder::new().name("keeper".to_owned()).spawn(keep)?;
        Ok(Self { chores, turn, thread })
    }

    pub fn give(&self, chore: Chore) {
        let erasures = self.turn.erasures.load(Ordering::Acquire);
        if let Err(back) = self.chores.send((erasures, chore)) {
            back.0.1.refuse(closed());
        }
    }

    /// For an erasure: waits for the chore at hand; those that were given before are left.
    pub fn alone(&self) -> MutexGuard<'_, ()> {
        self.turn.erasures.fetch_add(1, Ordering::AcqRel);
        self.turn.take()
    }

    /// Ends after the chore at hand; those that wait are left.
    pub fn close(self) {
        let Self { chores, turn, thread } = self;
        turn.closing.store(true, Ordering::Release);
        drop(chores);
        let _ = thread.join();
    }
}

fn work(chore: Chore, shelves: &Shelves, shared: &Shared) {
    match chore {
        Chore::Checkpoint(frozen, done) => done(keep_snapshot(shelves, frozen)),
        Chore::Archive(due, orders, done, back) => match shelves.archive(&due, &orders) {
            Ok(orders) => {
                if let Err(late) = back.send(Request::Archived(due, orders, done)) {
                    refuse(late.0, shared, WriteFailure::Closed);
                }
            }
            Err(err) => done(Err(err)),
        },
    }
}

fn keep_snapshot(shelves: &Shelves, frozen: Frozen) -> Result<(), LedgerError> {
    let seq = frozen.seq;
    match (frozen.write_out)() {
        Some(snapshot) if snapshot.seq == seq => shelves.keep(&snapshot),
        _ => Err(LedgerError::Misuse { what: format!("the state at record {seq} could not be written out") }),
    }
}
