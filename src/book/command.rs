//! What can be asked of the book, and what it answers. Closed enums.

use super::{MessageOutcome, Mode, Policy, Record};
use crate::model::*;
use jiff::Timestamp;

/// Everything that changes anything.
#[derive(Debug, Clone)]
pub enum Command {
    /// Intake: one verified message.
    Receive(Box<Received>),
    /// Intake again, after a mapping was corrected: a message that was kept as unmappable.
    Remapped {
        /// The message.
        message: MessageKey,
        /// What it now means.
        meaning: Meaning,
        /// Those of its orders that are closed and in the archive, as of [`Received::archived`].
        archived: std::collections::BTreeSet<OrderKey>,
    },
    /// The planner's result.
    Planned(Box<Plan>),
    /// The planner is about to work on this order: marked on disk after an unclean stop.
    Planning(OrderKey),
    /// A printer's worker wants to send this job; answered `Go` only when `sending` is on disk.
    Send {
        /// Which job.
        job: JobId,
        /// To which printer.
        printer: PrinterName,
        /// SHA-256 (hex) of the bytes.
        digest: String,
        /// Its length in rows of dots, if known.
        rows: Option<u32>,
    },
    /// The job is on paper.
    Printed {
        /// Which job.
        job: JobId,
        /// How the worker knows.
        by: Confirmation,
    },
    /// A printer's worker has seen a new roll being put in.
    RollLoaded(PrinterName),
    /// Sending failed.
    NotPrinted {
        /// Which job.
        job: JobId,
        /// In words.
        why: String,
        /// Did at least one byte leave the house?
        left: BytesLeft,
    },
    /// Time passes: scheduled lists, dates that stops wait for, end of a burst, old message ids.
    Tick,
    /// The process has started.
    Started {
        /// Instant of the last sign of life before, if there was one.
        last_alive: Option<Timestamp>,
        /// Did the last run end cleanly?
        clean: bool,
    },
    /// A valid configuration is in force from now on.
    Adopt {
        /// Its digest.
        digest: ConfigDigest,
        /// What the book needs of it.
        policy: Box<Policy>,
        /// The text of its files, kept with the digest.
        files: std::collections::BTreeMap<String, String>,
    },
    /// A person.
    Person(Action),
    /// Closed orders stand in the archive; the state drops those that nothing happened to since.
    Archived {
        /// Which.
        orders: Vec<OrderKey>,
        /// Number of the last fact that the archive holds of them.
        upto: u64,
    },
    /// Of these forgotten orders no file tells anything of persons any more.
    Erased {
        /// Which order.
        order: OrderKey,
        /// So many lines went.
        lines: u64,
        /// SHA-256 (hex) of the receipt.
        receipt: String,
    },
    /// Retention: what tells of persons of orders that ended before this goes now.
    RetentionBegun {
        /// Closed before.
        before: Timestamp,
    },
    /// It is gone, or nothing was that old.
    RetentionDone {
        /// Closed before.
        before: Timestamp,
        /// Orders concerned.
        orders: u64,
        /// Lines that went.
        lines: u64,
    },
}

/// Did bytes leave?
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BytesLeft {
    /// Not one: it may simply be sent again.
    None,
    /// At least one: in doubt.
    Some,
}

/// One verified message.
#[derive(Debug, Clone)]
pub struct Received {
    /// Identity.
    pub message: MessageKey,
    /// SHA-256 (hex) of the raw body.
    pub body_digest: String,
    /// The raw body as text (lossless for UTF-8; other bodies are unmappable and kept as base64).
    pub raw: Hidden,
    /// What it means.
    pub meaning: Meaning,
    /// Orders in it that stand in the archive (looked up by the caller): those that the state does
    /// not hold are history, and never come in as new ones.
    pub archived: std::collections::BTreeSet<OrderKey>,
}

/// What a message means.
#[derive(Debug, Clone)]
pub enum Meaning {
    /// Orders, in the order of the payload.
    Orders(Vec<(Order, Person)>),
    /// Not about orders: acknowledged, nothing to do.
    NotAnOrder,
    /// Signed, but it could not be mapped.
    Unmappable {
        /// What is wrong, without personal data.
        reason: String,
        /// RFC 6901 pointer, or empty.
        pointer: String,
    },
}

/// What people do. Orders are named by key; the desk resolves short numbers before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Action {
    /// Nothing more is printed for it.
    Hold { order: OrderKey, reason: String },
    /// Lifts every hold of a person or a rule.
    Release { order: OrderKey },
    /// Ends it.
    Cancel { order: OrderKey, reason: String },
    /// The goods that it waited for are there.
    Ready { order: OrderKey },
    /// Answers a question; all orders with the same cause go on.
    Decide { cause: String, decision: Decision },
    /// A parcel is packed.
    Packed { parcel: ParcelId },
    /// It is not, after all: one step back.
    Unpack { parcel: ParcelId },
    /// Parcels are with the carrier.
    HandedOver { parcels: Vec<ParcelId> },
    /// There never was such an order: closes a gap.
    NoSuch { source: SourceName, number: String },
    /// Prints a paper again; it carries COPY.
    Reprint { job: JobId, reason: String },
    /// Takes a queued or uncertain job out.
    Drop { job: JobId },
    /// Prints a parcel's label or customs sheet.
    PrintBesideSlip {
        /// The parcel.
        parcel: ParcelId,
        /// Which of them.
        kind: PaperKind,
    },
    /// Prints a pick list now.
    ListNow,
    /// In a burst: packing starts, so waiting slips and cards print in pack order.
    StartPacking,
    /// Whether slips and cards wait for packing to start, whatever the orders do.
    Mode(ModeWish),
    /// Prints a test page.
    TestPage,
    /// It travels alone from now on, or (`apart: false`) may be joined again.
    KeepApart { order: OrderKey, apart: bool },
    /// Plans it anew, unless something is printed.
    Replan { order: OrderKey },
    /// Plans all anew of which nothing is printed.
    ReplanAll,
    /// Erases all that tells of its persons. An open order is cancelled first, if that is wanted.
    /// `archived`: the caller has found it in the archive.
    Forget { order: OrderKey, open: OpenOrder, archived: bool },
}

/// Who decides whether slips and cards wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ModeWish {
    /// A person: it is so until a person says otherwise.
    Always(Mode),
    /// The number of orders that come.
    Auto,
}

/// What becomes of an order that is still open when it is to be forgotten.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OpenOrder {
    /// It stays, and nothing is erased.
    Refuse,
    /// It is cancelled first: without a name nothing more can be printed for it.
    Cancel,
}

/// Answers to a question.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Decision {
    /// The cause is mended (a product added, a mapping corrected): try again.
    Retry,
    /// It is right as it is: go on.
    GoOn,
    /// Cancel the orders concerned.
    Cancel,
    /// The newer content counts (same revision, un-cancelled, changed message).
    TakeNew,
    /// The older content counts.
    KeepOld,
    /// The uncertain paper lies in the tray.
    OnPaper,
    /// The uncertain paper is not there: print it again as COPY.
    Copy,
}

impl Decision {
    /// All, with the word that people type.
    pub const WORDS: [(&'static str, Self); 7] = [
        ("retry", Self::Retry),
        ("go-on", Self::GoOn),
        ("cancel", Self::Cancel),
        ("take-new", Self::TakeNew),
        ("keep-old", Self::KeepOld),
        ("on-paper", Self::OnPaper),
        ("copy", Self::Copy),
    ];
}

/// What a command leads to.
#[derive(Debug, Default)]
pub struct Step {
    /// To be written as one unit, in this order, before `answer` or any effect leaves.
    pub records: Vec<Record>,
    /// To be done after the sync.
    pub effects: Vec<Effect>,
    /// To be told after the sync.
    pub answer: Answer,
}

/// To be done after the facts are on disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Effect {
    /// Ask the planner; its answer comes back as [`Command::Planned`].
    PlanThis {
        /// Which order.
        order: OrderKey,
        /// For what.
        pins: Pins,
    },
    /// Map a kept message again; its answer comes back as [`Command::Remapped`].
    ReadAgain {
        /// Which message; its raw body was kept under this identity.
        message: MessageKey,
    },
    /// The queue of jobs has changed: wake the printers' workers.
    Spool,
}

/// What the caller is told.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Answer {
    /// Done; a sentence for people (may be empty).
    #[default]
    Done,
    /// Done, with a sentence for people.
    Said(String),
    /// Intake: kept; with what it led to.
    Kept {
        /// New, or known before.
        novelty: Novelty,
        /// The outcome, the same for a repeated message.
        outcome: MessageOutcome,
    },
    /// A job may be sent.
    Go,
    /// A new job was queued.
    Queued(JobId),
    /// Refused, with the reason and what to do.
    Refused {
        /// What is the matter.
        why: String,
        /// What to do.
        remedy: String,
    },
}

/// Why a command was not carried out. Nothing of it was kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Busy {
    /// Too much waits to be written.
    #[error("too much waits to be written")]
    Behind,
    /// The disk takes nothing at present: it is full, read-only, or the like.
    #[error("nothing can be written to the disk at present")]
    NoRoom,
    /// The program is stopping.
    #[error("the program is stopping")]
    Stopping,
}

impl Busy {
    /// What to do about it.
    pub fn remedy(self) -> &'static str {
        match self {
            Self::Behind => "try again in a few seconds",
            Self::NoRoom => "dawnslip status says why and what to do; it goes on by itself",
            Self::Stopping => "try again once it runs",
        }
    }
}

/// Is the message new?
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Novelty {
    /// 202.
    New,
    /// 200.
    Known,
}
