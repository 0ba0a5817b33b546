//! The durable truth: a journal of sync groups, snapshots, archives, and sled as an index
//! that may be deleted at any time.
//!
//! May touch: files of the data directory, sled. Never: knows HTTP, printers or prices.
//!
//! | in the data directory | is |
//! |---|---|
//! | `journal/NNNN.log` | segments of sync groups: what was answered is in here first |
//! | `snapshot/SEQ.facts`, `.people` | the open state as of one fact; the newest two |
//! | `archive/YYYY-MM.NNNN.facts`, `.people` | closed orders, immutable |
//! | `keys/YYYY-MM.NNNN.keys` | which orders stand in an archive file; may be deleted at any time |
//! | `history/SEQ.facts`, `.people` | lines about open orders from segments that are gone |
//! | `installation`, `installation.second`, `lock`, `clean`, `alive` | identity and key, twice; who has it; ended cleanly; last sign of life |
//! | `index/` | sled; may be deleted at any time |
//! | `repair/`, `damaged-DATE/` | what a repair writes before it is put in place; what it replaced |
//! | `importing` | only while an import has not been finished |
//! | `sorting/` | pieces of a copy that is being made |
//! | `backups/` | daily copies, unless another folder is configured |
//! | `aside/` | cut tails, broken snapshots, the last index that was not trusted: for a person to look at |
//!
//! [`Ledger`] opens and writes; [`Writer`] owns it on a thread and syncs for many at once;
//! [`Indexer`] follows behind. [`record`] turns the book's records into lines and back.

pub mod archive;
pub mod copies;
pub mod damage;
mod directory;
pub mod disk;
pub mod forget;
mod frame;
pub mod index;
mod index_batch;
mod index_home;
pub mod indexer;
mod installation;
mod journal;
mod keeper;
mod look;
mod put_away;
pub mod record;
pub mod repair;
mod salvage;
mod sealed;
mod segment;
pub mod sim_disk;
pub mod sled_index;
pub mod snapshot;
pub mod spares;
mod store;
pub mod survey;
mod versions;
mod within;
pub mod writer;

pub use archive::{ArchiveDone, ArchivedOrder};
pub use disk::{Disk, DiskFile, RealDisk, Refusal};
pub use forget::{Erased, Erasure, OldPersons, Older};
pub use index::{Index, IndexError, MemIndex};
pub use index_home::{IndexHome, MemHome, SledHome};
pub use indexer::{IndexReader, Indexer, IndexerState};
pub use installation::{Installation, InstallationId};
pub use journal::{CutTail, SEGMENT_BYTES};
pub use keeper::Frozen;
pub use record::RecordError;
pub use segment::NumberedLine;
pub use sim_disk::{SimDisk, Trouble};
pub use sled_index::SledIndex;
pub use snapshot::Snapshot;
pub use store::{ArchiveReader, Ledger, Opened};
pub use writer::{Backlog, Unit, WriteFailure, Writer};

use std::io;

/// What a line holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tag {
    /// `F`: a fact; it has a sequence number.
    Fact,
    /// `P`: what tells of a person; it has none.
    Person,
}

impl Tag {
    /// The letter as written.
    pub fn letter(self) -> u8 {
        match self {
            Self::Fact => b'F',
            Self::Person => b'P',
        }
    }
}

/// One line of a frame: a tag and one JSON value without a line break.
#[derive(Clone, PartialEq, Eq)]
pub struct Line {
    /// What it holds.
    pub tag: Tag,
    /// Compact JSON.
    pub json: String,
}

impl std::fmt::Debug for Line {
    /// Lines of persons are not shown.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.tag {
            Tag::Fact => write!(f, "F {}", self.json),
            Tag::Person => f.write_str("P ‹hidden›"),
        }
    }
}

/// Why a ledger cannot be opened, or a file of it cannot be read or written.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// Another process has it.
    #[error("the data directory is in use by another dawnslip; stop that one first, or ask it through its desk")]
    Locked,
    /// The file system refuses.
    #[error("could not {doing} {file} of the data directory")]
    Disk {
        /// What we were doing: `read`, `write`, ...
        doing: &'static str,
        /// Which file.
        file: String,
        /// Why not.
        #[source]
        cause: io::Error,
    },
    /// A part of the journal that was durable is no longer as it was written.
    #[error(
        "{file} is damaged at byte {offset}, where record {sequence} should be: {what}. \
         Nothing was changed. What can be restored says: dawnslip repair"
    )]
    Damaged {
        /// Which file.
        file: String,
        /// Byte offset.
        offset: u64,
        /// Sequence number of the first fact that cannot be read.
        sequence: u64,
        /// What is wrong.
        what: String,
    },
    /// A file that is written as a whole is no longer as it was written.
    #[error("{file} is damaged: {what}. Nothing was changed. What can be restored says: dawnslip repair")]
    BadFile {
        /// Which file.
        file: String,
        /// What is wrong.
        what: String,
    },
    /// Files are missing, or do not belong together.
    #[error(
        "the data directory is incomplete: {what}. Nothing was changed. What can be restored says: dawnslip repair"
    )]
    Incomplete {
        /// What is missing.
        what: String,
    },
    /// Written by a newer program.
    #[error(
        "{file} is written in version {version}{by}, the newest known here is {newest}. Nothing was changed. \
         Use that dawnslip or a newer one; an older one cannot read these data, only a backup that it made itself"
    )]
    Version {
        /// Which file.
        file: String,
        /// Its version.
        version: u32,
        /// ` by dawnslip 2.0.0`, where that is known.
        by: String,
        /// The newest that this program knows.
        newest: u32,
    },
    /// A file of another data directory.
    #[error("{file} belongs to another installation ({theirs}, this one is {ours}); put it back where it came from")]
    OtherInstallation {
        /// Which file.
        file: String,
        /// Its installation.
        theirs: String,
        /// This data directory's.
        ours: String,
    },
    /// An import stopped half-way.
    #[error("an import into this data directory has not been finished; run `dawnslip import` again, it begins anew")]
    Unfinished,
    /// No randomness for the installation's key.
    #[error("the operating system gave no random bytes for the key of this installation")]
    Random(#[source] getrandom::Error),
    /// The caller numbers facts otherwise than the journal.
    #[error("{what}: this is an error in the program, nothing was written")]
    Misuse {
        /// What does not fit.
        what: String,
    },
}

impl LedgerError {
    /// For `map_err`: names the file and what was being done.
    fn disk(doing: &'static str, file: &str) -> impl FnOnce(io::Error) -> Self {
        move |cause| Self::Disk { doing, file: file.to_owned(), cause }
    }
    /// Something is damaged or missing: `dawnslip repair` says what can be done.
    pub fn is_damage(&self) -> bool {
        matches!(
            self,
            Self::Damaged { .. } | Self::BadFile { .. } | Self::Incomplete { .. } | Self::OtherInstallation { .. }
        )
    }
    fn newer(file: &str, version: u32, by: Option<String>, newest: u32) -> Self {
        let by = by.map(|by| format!(" by dawnslip {by}")).unwrap_or_default();
        Self::Version { file: file.to_owned(), version, by, newest }
    }
    fn bad_file(file: &str, what: impl Into<String>) -> Self {
        Self::BadFile { file: file.to_owned(), what: what.into() }
    }
    /// Why the disk takes nothing, where that is all: worth another try later.
    pub fn refusal(&self) -> Option<Refusal> {
        match self {
            Self::Disk { cause, .. } => Refusal::of(cause),
            _ => None,
        }
    }
}

/// Why a group was not written.
#[derive(Debug, thiserror::Error)]
pub enum AppendError {
    /// The disk takes nothing at present (see [`Refusal`]). The journal ends where it ended before;
    /// later groups may succeed.
    #[error("nothing can be written to the journal at present")]
    NoRoom(#[source] io::Error),
    /// Nothing more may be written by this process: what is on disk is uncertain until it is
    /// read again at the next start.
    #[error("the journal could not be written; stopping, the next start reads what is there")]
    Failed(#[source] LedgerError),
}

impl From<AppendError> for LedgerError {
    fn from(err: AppendError) -> Self {
        match err {
            AppendError::NoRoom(cause) => Self::disk("write", journal::DIR)(cause),
            AppendError::Failed(err) => err,
        }
    }
}

/// An error with its causes, for one log line.
fn with_causes(err: &dyn std::error::Error) -> String {
    let mut text = err.to_string();
    let mut cause = err.source();
    while let Some(below) = cause {
        text = format!("{text}: {below}");
        cause = below.source();
    }
    text
}
