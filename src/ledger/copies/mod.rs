//! Copies of a whole ledger in a form that outlives it: lines of JSON, each with a checksum of
//! its own, and one over all. `export` and `import` speak it, and the daily backups are made of it.
//!
//! May touch: files of the data directory and of the backups' folder. Never: changes a ledger that
//! is in use.

pub mod backup;
mod form;
pub mod import;
mod read;
pub(super) mod sorter;
mod source;
mod write;

pub use form::{Counts, FORM_VERSION, Header, Holds, Item};
pub use read::{Reader, Source};
pub use source::{Copying, Step};
pub use write::{DiskOut, Writer};

use super::{LedgerError, RecordError};
use std::io;

/// Why a copy cannot be written, read or taken in.
#[derive(Debug, thiserror::Error)]
pub enum CopyError {
    /// The copy itself could not be read.
    #[error("{file} could not be read, from line {line} on")]
    Read {
        /// Which file.
        file: String,
        /// From which line on.
        line: u64,
        /// Why not.
        #[source]
        cause: io::Error,
    },
    /// It could not be written.
    #[error("{file} could not be written")]
    Write {
        /// Which file.
        file: String,
        /// Why not.
        #[source]
        cause: io::Error,
    },
    /// It is something else.
    #[error("{file} is no copy of a ledger: {what}")]
    NotACopy {
        /// Which file.
        file: String,
        /// What is wrong with its first line.
        what: String,
    },
    /// Written by a newer program.
    #[error(
        "{file}, line 1: the copy is written in version {version}, the newest known here is {newest}; use a newer dawnslip"
    )]
    Version {
        /// Which file.
        file: String,
        /// Its version.
        version: u32,
        /// The newest that this program knows.
        newest: u32,
    },
    /// A line is not as it was written, or not where it was.
    #[error("{file}, line {line}: {what}")]
    Line {
        /// Which file.
        file: String,
        /// Which line, from 1.
        line: u64,
        /// What is wrong with it.
        what: String,
    },
    /// A record of it cannot be understood.
    #[error("{file}, line {line}")]
    Record {
        /// Which file.
        file: String,
        /// Which line, from 1.
        line: u64,
        /// Why.
        #[source]
        cause: RecordError,
    },
    /// The file of facts and the file of persons are not of one copy.
    #[error("{facts} and {persons} are not two parts of one copy: {what}")]
    NotAPair {
        /// The file of facts.
        facts: String,
        /// The file of persons.
        persons: String,
        /// What differs.
        what: String,
    },
    /// The ledger that is copied, or made, has a problem.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// There is something where the copy should be taken in.
    #[error("the data directory is not empty: it holds {what}")]
    NotEmpty {
        /// What was found.
        what: String,
    },
    /// What was taken in reads back otherwise.
    #[error("what was taken in does not read back as it was given: {what}")]
    Differs {
        /// What differs.
        what: String,
    },
    /// Going on would leave too little room for orders.
    #[error("the disk would be left with less than {left_mb} MB, which is kept for orders")]
    Room {
        /// So much has to stay free.
        left_mb: u64,
    },
    /// The program was told to stop.
    #[error("it was interrupted")]
    Stopped,
}

impl CopyError {
    fn line(file: &str, line: u64, what: impl Into<String>) -> Self {
        Self::Line { file: file.to_owned(), line, what: what.into() }
    }
    fn write(file: &str) -> impl FnOnce(io::Error) -> Self {
        move |cause| Self::Write { file: file.to_owned(), cause }
    }
}
