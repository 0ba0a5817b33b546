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
//! | `history/SEQ.facts`, `.people` | lines about open orders from segments that are gone |
//! | `installation`, `lock`, `clean`, `alive` | identity and key; who has it; ended cleanly; last sign of life |
//! | `index/` | sled; may be deleted at any time |
//! | `aside/` | cut tails, broken snapshots, the last index that was not trusted: for a person to look at |
//!
//! [`Ledger`] opens and writes; [`Writer`] owns it on a thread and syncs for many at once;
//! [`Indexer`] follows behind. [`record`] turns the book's records into lines and back.

pub mod archive;
pub mod disk;
mod frame;
pub mod index;
mod index_batch;
mod index_home;
pub mod indexer;
mod installation;
mod journal;
pub mod record;
mod sealed;
mod segment;
pub mod sim_disk;
pub mod sled_index;
pub mod snapshot;
mod store;
pub mod writer;

pub use archive::{ArchiveDone, ArchivedOrder};
pub use disk::{Disk, DiskFile, RealDisk};
pub use index::{Index, IndexError, MemIndex};
pub use index_home::{IndexHome, MemHome, SledHome};
pub use indexer::{IndexReader, Indexer, IndexerState};
pub use installation::{Installation, InstallationId};
pub use journal::{CutTail, SEGMENT_BYTES};
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
         Nothing was changed. Restore this file from a backup, or the whole data directory"
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
    #[error("{file} is damaged: {what}. Nothing was changed. Restore it from a backup, or the whole data directory")]
    BadFile {
        /// Which file.
        file: String,
        /// What is wrong.
        what: String,
    },
    /// Files are missing, or do not belong together.
    #[error("the data directory is incomplete: {what}. Nothing was changed. Restore it from a backup")]
    Incomplete {
        /// What is missing.
        what: String,
    },
    /// Written by a newer program.
    #[error("{file} is written in version {version}, the newest known here is {newest}; use a newer dawnslip")]
    Version {
        /// Which file.
        file: String,
        /// Its version.
        version: u32,
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
    fn bad_file(file: &str, what: impl Into<String>) -> Self {
        Self::BadFile { file: file.to_owned(), what: what.into() }
    }
    /// The disk is full (or a quota is used up): worth another try once there is room.
    pub fn is_no_room(&self) -> bool {
        matches!(self, Self::Disk { cause, .. } if disk::is_no_room(cause))
    }
}

/// Why a group was not written.
#[derive(Debug, thiserror::Error)]
pub enum AppendError {
    /// There is no room. The journal was cut back to its last good length; later groups may succeed.
    #[error("there is no room left for the journal")]
    NoRoom(#[source] io::Error),
    /// Nothing more may be written by this process: what is on disk is uncertain until it is
    /// read again at the next start.
    #[error("the journal could not be written; stopping, the next start reads what is there")]
    Failed(#[source] LedgerError),
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
