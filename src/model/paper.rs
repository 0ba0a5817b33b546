//! Kinds of paper, jobs and their states (BOOK: printing).

use super::{CardName, OrderKey, ParcelId, PrinterName};
use jiff::Timestamp;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A job's identity: a sequence number. The four characters of the printer's process id derive from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct JobId(pub u64);

impl fmt::Display for JobId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "j{}", self.0)
    }
}

impl JobId {
    /// Four printable characters (each one of 64 from `0` to `o`), for the printer's process id.
    /// They repeat after 16 777 216 jobs, far beyond what any printer holds at once.
    pub fn process_id(self) -> [u8; 4] {
        [18, 12, 6, 0].map(|shift| b'0' + ((self.0 >> shift) & 63) as u8)
    }
}

/// Kinds of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PaperKind {
    /// The sheet of one parcel with its stub.
    Slip,
    /// The personal insert.
    Card,
    /// The morning sheet.
    PickList,
    /// What differs from a slip already printed.
    ChangeNote,
    /// Do not send: cancelled after printing.
    StopNote,
    /// Shows what a printer can.
    TestPage,
    /// The address of one parcel, for those that are franked by hand.
    Label,
    /// What one parcel's customs form asks for, to copy from.
    Customs,
}

impl PaperKind {
    /// All kinds.
    pub const ALL: [Self; 8] = [
        Self::Slip,
        Self::Card,
        Self::PickList,
        Self::ChangeNote,
        Self::StopNote,
        Self::TestPage,
        Self::Label,
        Self::Customs,
    ];
    /// The word used in files, commands and JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Slip => "slip",
            Self::Card => "card",
            Self::PickList => "pick list",
            Self::ChangeNote => "change note",
            Self::StopNote => "stop note",
            Self::TestPage => "test page",
            Self::Label => "label",
            Self::Customs => "customs sheet",
        }
    }
    /// Is it made from a parcel and its person?
    pub fn is_of_parcel(self) -> bool {
        match self {
            Self::Slip | Self::Card | Self::Label | Self::Customs => true,
            Self::PickList | Self::ChangeNote | Self::StopNote | Self::TestPage => false,
        }
    }
}

impl fmt::Display for PaperKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// What a paper is about.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Subject {
    /// A parcel's slip.
    Parcel(ParcelId),
    /// A parcel's card in this design.
    Card(ParcelId, CardName),
    /// A change or stop note about an order, counted per order.
    Note(OrderKey, u32),
    /// The pick list of a local date; `extra` counts those asked for by a person (0 = the scheduled one).
    List {
        /// Local date.
        date: Date,
        /// 0 for the scheduled one.
        extra: u32,
    },
    /// A test page, counted.
    Test(u32),
    /// A parcel's address label.
    Label(ParcelId),
    /// A parcel's customs sheet.
    Customs(ParcelId),
}

impl Subject {
    /// The parcel that it belongs to.
    pub fn parcel(&self) -> Option<ParcelId> {
        match self {
            Self::Parcel(id) | Self::Card(id, _) | Self::Label(id) | Self::Customs(id) => Some(*id),
            Self::Note(..) | Self::List { .. } | Self::Test(_) => None,
        }
    }
}

/// States of a job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum JobState {
    /// Waits for its turn.
    Queued,
    /// Was on disk as such before the first byte left.
    Sending {
        /// To which printer.
        printer: PrinterName,
    },
    /// Printed.
    OnPaper {
        /// How we know.
        by: Confirmation,
    },
    /// At least one byte left, and no answer says whether it was printed.
    Uncertain {
        /// Why, in words ("the printer went silent").
        why: String,
    },
    /// A person or a cancellation took it out.
    Dropped {
        /// Why, in words.
        why: String,
    },
}

impl JobState {
    /// The word used on screen and paper.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Queued => "queued",
            Self::Sending { .. } => "sending",
            Self::OnPaper { .. } => "on paper",
            Self::Uncertain { .. } => "uncertain",
            Self::Dropped { .. } => "dropped",
        }
    }
}

/// How a job came to count as printed. "Exactly once" is claimed for process ids only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Confirmation {
    /// The printer returned the job's process id.
    ProcessId,
    /// The printer answered an in-line status request that stood behind the job.
    InlineStatus,
    /// The printer can confirm nothing: it read everything, and no error came for some seconds.
    Quiet,
    /// A person looked and said so.
    Person,
}

/// Why a copy may be a second one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CopyMark {
    /// The first job.
    pub of: JobId,
    /// Since when it was uncertain, or when the reprint was asked for.
    pub at: Timestamp,
    /// Why, in words.
    pub why: String,
}

/// One printed thing on its way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Job {
    /// Identity.
    pub id: JobId,
    /// Kind of paper.
    pub kind: PaperKind,
    /// What it is about.
    pub subject: Subject,
    /// It carries COPY.
    pub copy: Option<CopyMark>,
    /// Smaller prints first; equal ones in order of `id`.
    pub rank: u32,
    /// Where it stands.
    pub state: JobState,
    /// Since when it stands there.
    pub since: Timestamp,
    /// SHA-256 (hex) of the bytes, from `sending` on.
    pub digest: Option<String>,
    /// Its length in rows of dots, from `sending` on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rows: Option<u32>,
    /// The printer it was last sent to, which may be a stand-in; jobs of older snapshots do not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sent_to: Option<PrinterName>,
    /// How often it was tried.
    pub tries: u32,
}
