//! How a copy is written. Every line is a JSON object that begins with the checksum of the rest:
//!
//! ```text
//! {"crc":"9c0e1f22","dawnslip":"copy","v":1,"holds":"facts and persons","installation":"…","key":"…","upto":17,"made":"…"}
//! {"crc":"51d3a0b7","fact":{"v":1,"seq":1,"at":"…","fact":{…}}}
//! {"crc":"0b7731ac","after":1,"person":{"of":{…}}}
//! {"crc":"77aa02de","end":{"facts":17,"persons":4,"sha256":"…"}}
//! ```
//!
//! Records stand as they stand in the journal. The checksum (CRC-32C, eight hexadecimal digits) is
//! over everything behind its comma up to the line's end, the SHA-256 over every line before the
//! last. So a changed byte is named with its line, and a file that was cut has no last line.

use super::Copying;
use crate::ledger::{Disk, Installation, InstallationId};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// Version of the form.
pub const FORM_VERSION: u32 = 1;
/// What the first line says that this is.
pub(super) const NAME: &str = "copy";
/// How every line begins; eight digits, a quote and a comma follow.
pub(super) const LINE_START: &[u8] = b"{\"crc\":\"";
/// Bytes ahead of what the checksum covers.
pub(super) const LINE_START_BYTES: usize = LINE_START.len() + 8 + 2;

/// What a copy holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Holds {
    /// Everything.
    #[serde(rename = "facts and persons")]
    All,
    /// All but the persons.
    #[serde(rename = "facts")]
    Facts,
    /// The persons alone.
    #[serde(rename = "persons")]
    Persons,
}

impl Holds {
    /// Are there facts in it?
    pub fn facts(self) -> bool {
        self != Self::Persons
    }
    /// Are there persons in it?
    pub fn persons(self) -> bool {
        self != Self::Facts
    }
    /// Does this record belong into it?
    pub fn takes(self, item: &Item) -> bool {
        match item {
            Item::Fact { .. } => self.facts(),
            Item::Person { .. } => self.persons(),
        }
    }
}

/// The first line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Header {
    /// What the copy holds.
    pub holds: Holds,
    /// Of which installation it is.
    pub installation: InstallationId,
    /// The installation's key. It goes with the persons: with it alone, facts would tell of addresses.
    pub key: Option<[u8; 32]>,
    /// Number of the last fact.
    pub upto: u64,
    /// When it was made.
    pub made: Timestamp,
}

/// As written.
#[derive(Serialize, Deserialize)]
pub(super) struct WrittenHeader {
    pub dawnslip: String,
    pub v: u32,
    pub holds: Holds,
    pub installation: InstallationId,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
    pub upto: u64,
    pub made: Timestamp,
}

/// Only what every version has.
#[derive(Deserialize)]
pub(super) struct HeaderStart {
    pub dawnslip: String,
    pub v: u32,
}

impl Header {
    /// Of a copy up to one fact.
    pub fn of(installation: &Installation, holds: Holds, upto: u64, made: Timestamp) -> Self {
        let key = Some(installation.key).filter(|_| holds.persons());
        Self { holds, installation: installation.id, key, upto, made }
    }

    /// The copy itself: from the data directory `disk`, with pieces on `scratch`.
    pub fn copying<'a>(&self, disk: &'a dyn Disk, scratch: &'a dyn Disk) -> Copying<'a> {
        Copying { disk, installation: self.installation, upto: self.upto, scratch }
    }

    /// The same for another part of the copy.
    #[must_use]
    pub fn holding(&self, holds: Holds) -> Self {
        Self { holds, key: self.key.filter(|_| holds.persons()), ..self.clone() }
    }

    pub(super) fn written(&self) -> WrittenHeader {
        WrittenHeader {
            dawnslip: NAME.to_owned(),
            v: FORM_VERSION,
            holds: self.holds,
            installation: self.installation,
            key: self.key.map(|key| data_encoding::HEXLOWER.encode(&key)),
            upto: self.upto,
            made: self.made,
        }
    }

    pub(super) fn meant(written: WrittenHeader) -> Option<Self> {
        let key = match written.key {
            None => None,
            Some(hex) => Some(data_encoding::HEXLOWER.decode(hex.as_bytes()).ok()?.try_into().ok()?),
        };
        let WrittenHeader { holds, installation, upto, made, .. } = written;
        Some(Self { holds, installation, key, upto, made })
    }
}

/// One record of a copy.
#[derive(Clone, PartialEq, Eq)]
pub enum Item {
    /// A fact, by number.
    Fact {
        /// Its number.
        seq: u64,
        /// The record.
        json: String,
    },
    /// What tells of a person.
    Person {
        /// It stood in the journal about there: behind this fact, and before anything that drops it.
        after: u64,
        /// The record.
        json: String,
    },
}

impl Item {
    /// Where it stands: a fact's number, or that of the fact before.
    pub fn place(&self) -> u64 {
        match self {
            Self::Fact { seq, .. } => *seq,
            Self::Person { after, .. } => *after,
        }
    }
}

impl std::fmt::Debug for Item {
    /// Persons are not shown.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Fact { seq, json } => write!(f, "fact {seq} {json}"),
            Self::Person { after, .. } => write!(f, "person after {after} ‹hidden›"),
        }
    }
}

/// How much a copy holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Facts.
    pub facts: u64,
    /// Persons' records.
    pub persons: u64,
}

/// What the last line says.
#[derive(Serialize, Deserialize)]
pub(super) struct End {
    pub facts: u64,
    pub persons: u64,
    pub sha256: String,
}
