//! What the desk needs of the rest of the program: a view to read, and a few calls.

use super::Lines;
use crate::book::{Action, Answer, OpenOrder, People, Stamped, State};
use crate::ledger::copies::Holds;
use crate::model::*;
use hyper::body::Bytes;
use jiff::Timestamp;
use std::future::Future;
use std::sync::Arc;

/// Something is the matter: in words for people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// What: a short sentence without a full stop ("nothing reached paper").
    pub what: String,
    /// Since when.
    pub since: Timestamp,
    /// Why, as far as it is known ("the paper is out").
    pub why: String,
    /// What to do about it.
    pub remedy: String,
}

impl From<crate::print::trouble::Trouble> for Trouble {
    fn from(trouble: crate::print::trouble::Trouble) -> Self {
        let crate::print::trouble::Trouble { kind: _, what, since, why, remedy } = trouble;
        Self { what, since, why, remedy }
    }
}

/// How a printer is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PrinterHealth {
    /// Which.
    pub printer: PrinterName,
    /// What is the matter; `None`: all is well.
    pub trouble: Option<Trouble>,
    /// A word of warning that stops nothing yet ("the roll is near its end").
    pub warning: Option<String>,
    /// For about so many more slips its roll will do, where that is known.
    pub slips_left: Option<u64>,
}

/// How far the index is behind the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct IndexLag {
    /// Number of the last fact that the index knows.
    pub indexed: u64,
    /// Number of the last fact of the ledger.
    pub written: u64,
    /// It is being rebuilt from the beginning.
    pub rebuilding: bool,
}

/// A figure for `/metrics` that somebody else counts. Without the prefix `dawnslip_`, which is added.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counted {
    /// In snake case, without `_total` ("messages").
    pub name: &'static str,
    /// One sentence.
    pub help: &'static str,
    /// Labels by name; never personal data.
    pub labels: Vec<(&'static str, String)>,
    /// The figure.
    pub value: u64,
    /// Does it only ever grow?
    pub kind: CountedKind,
}

/// Kinds of figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CountedKind {
    /// It only grows while the program runs.
    Counter,
    /// It goes up and down.
    Gauge,
}

/// All that the desk shows, at one instant.
#[derive(Debug, Clone)]
pub struct ReadState {
    /// The state as far as it is on the disk.
    pub state: Arc<State>,
    /// The persons of its orders.
    pub people: Arc<People>,
    /// The configuration in force.
    pub workshop: Arc<Workshop>,
    /// The printers, in file order.
    pub printers: Vec<PrinterHealth>,
    /// What else is the matter and known to the program only: no room on the disk, damage.
    pub troubles: Vec<Trouble>,
    /// Worth knowing, but nobody needs to do anything.
    pub notes: Vec<String>,
    /// When the last good backup was made.
    pub last_backup: Option<Timestamp>,
    /// A new configuration that was refused: its complaints, first one first.
    pub refused_config: Option<RefusedConfig>,
    /// How far the index is.
    pub index: IndexLag,
    /// Figures of other modules.
    pub counted: Vec<Counted>,
    /// Why no traffic should come now (starting, stopping); `None`: ready.
    pub not_ready: Option<String>,
}

/// A configuration that was not taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedConfig {
    /// When it was refused.
    pub since: Timestamp,
    /// Its complaints, one line each ("products.toml:12:8: …").
    pub complaints: Vec<String>,
}

/// A command was not taken, and nothing has changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{why}")]
pub struct Busy {
    /// Why ("the disk has no room").
    pub why: String,
    /// What to do.
    pub remedy: String,
}

/// Which paper to show.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PaperWanted {
    /// The pick list as it would print now.
    PickList,
    /// What a parcel would have printed now: a slip, label or customs sheet.
    OfParcel(Subject, PaperKind),
    /// A job's paper.
    Job(JobId),
    /// No paper: the letters of open orders that no face has.
    Letters,
}

/// In which form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PaperForm {
    /// Plain text, UTF-8.
    Text,
    /// A picture.
    Png,
    /// What it says, as JSON (pick list and letters only).
    Json,
}

/// A paper cannot be shown.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct NoPaper(
    /// Why, in words.
    pub String,
);

/// What became of a message that came from a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TakenIn {
    /// Kept, and new.
    New(String),
    /// Known before; nothing has changed.
    Known(String),
    /// Kept, but a person must look; why.
    NeedsYou(String),
    /// Not kept: what is wrong, and what to do.
    Refused {
        /// What is wrong.
        why: String,
        /// What to do.
        remedy: String,
    },
}

/// What mapping again led to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Remapped {
    /// Messages that now mean something.
    pub mapped: u32,
    /// Messages that still cannot be mapped.
    pub still_not: u32,
}

/// What became of the wish to forget an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Forgot {
    /// Its personal data are gone from every file.
    Erased(Box<super::receipt::Receipt>),
    /// It is recorded, nothing shows the data any more, but some file could not be cleaned yet: why.
    /// That is tried again until it is done.
    Later(String),
    /// Nothing was done.
    Refused {
        /// What is the matter.
        why: String,
        /// What to do.
        remedy: String,
    },
}

/// What the program does for the desk. The daemon implements it; so does a data folder that
/// is opened without a daemon, which refuses everything that would change something.
pub trait Backend: Send + Sync + 'static {
    /// The present instant, by the program's clock.
    fn now(&self) -> Timestamp;

    /// All that the desk shows. Only what is on the disk.
    fn read(&self) -> Arc<ReadState>;

    /// A person's action as a command of the book; answered after the sync.
    fn act(&self, action: Action) -> impl Future<Output = Result<Answer, Busy>> + Send;

    /// Erases all that tells of an order's persons, also of an archived one.
    fn forget(&self, order: OrderKey, open: OpenOrder) -> impl Future<Output = Result<Forgot, Busy>> + Send;

    /// The facts about an order, oldest first, also of an archived one.
    fn history(&self, order: &OrderKey) -> impl Future<Output = Vec<Stamped>> + Send;

    /// Shows a paper.
    fn paper(&self, what: PaperWanted, form: PaperForm) -> impl Future<Output = Result<Bytes, NoPaper>> + Send;

    /// Reads the configuration anew; refused with its complaints, one line each.
    fn reload(&self) -> impl Future<Output = Result<String, Vec<String>>> + Send;

    /// Makes a backup now; says what was made.
    fn back_up(&self) -> impl Future<Output = Result<String, Busy>> + Send {
        async { Err(Busy { why: "no daemon runs here".into(), remedy: "start it: dawnslip run".into() }) }
    }

    /// Everything, as the lines of a copy.
    fn export(&self, holds: Holds) -> impl Future<Output = Result<Lines, Busy>> + Send {
        let _ = holds;
        async { Err(Busy { why: "no daemon runs here".into(), remedy: "start it: dawnslip run".into() }) }
    }

    /// Maps the messages again that could not be mapped, of one source or of all.
    fn remap(&self, source: Option<SourceName>) -> impl Future<Output = Result<Remapped, Busy>> + Send;

    /// Takes in one unsigned message from a file: only people on this machine can get here.
    fn take_in(&self, source: SourceName, body: Bytes) -> impl Future<Output = Result<TakenIn, Busy>> + Send;
}
