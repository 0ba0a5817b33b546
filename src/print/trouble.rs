//! What can be the matter with a printer, in sentences for people.

use jiff::Timestamp;
use std::fmt;

// A kind that is not in `ALL` would have no test. `Broken` stays the last one.
const _: () = assert!(TroubleKind::ALL.len() == TroubleKind::Broken as usize + 1);

/// Kinds of trouble. Each has a name for programs, a what, a why and a remedy.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TroubleKind {
    /// Nobody listens at the address.
    Refused,
    /// The address cannot be reached, or its name cannot be found.
    Unreachable,
    /// No paper.
    PaperOut,
    /// The cover is open.
    CoverOpen,
    /// The cutter is stuck.
    Cutter,
    /// The head is too hot; it goes on by itself.
    Overheated,
    /// An error that only switching off mends.
    Unrecoverable,
    /// It says that it does not print, but not why.
    Offline,
    /// It takes no more bytes and says nothing.
    Stalled,
    /// It takes bytes and answers nothing.
    Silent,
    /// It answers, but nothing that a printer would say.
    Garbage,
    /// The connection broke.
    Broken,
}

impl TroubleKind {
    /// All, for tables and tests.
    pub const ALL: [Self; 12] = [
        Self::Refused,
        Self::Unreachable,
        Self::PaperOut,
        Self::CoverOpen,
        Self::Cutter,
        Self::Overheated,
        Self::Unrecoverable,
        Self::Offline,
        Self::Stalled,
        Self::Silent,
        Self::Garbage,
        Self::Broken,
    ];

    /// A short name for programs (JSON, metrics, logs).
    pub fn word(self) -> &'static str {
        match self {
            Self::Refused => "refused",
            Self::Unreachable => "unreachable",
            Self::PaperOut => "paper_out",
            Self::CoverOpen => "cover_open",
            Self::Cutter => "cutter",
            Self::Overheated => "overheated",
            Self::Unrecoverable => "unrecoverable",
            Self::Offline => "offline",
            Self::Stalled => "stalled",
            Self::Silent => "silent",
            Self::Garbage => "garbage",
            Self::Broken => "broken",
        }
    }

    /// What is the matter, for people.
    pub fn why(self) -> &'static str {
        match self {
            Self::Refused => "nothing listens at its address: it is off, starting, or the address is another machine's",
            Self::Unreachable => "it cannot be reached: it is off, not on the network, or its address is wrong",
            Self::PaperOut => "the paper is out",
            Self::CoverOpen => "the cover is open",
            Self::Cutter => "the cutter is stuck",
            Self::Overheated => "the head is too hot",
            Self::Unrecoverable => "it reports an error that does not go away by itself",
            Self::Offline => "it says that it is not ready, but not why",
            Self::Stalled => "it takes no more data and does not say why",
            Self::Silent => "it does not answer; another machine may be printing on it",
            Self::Garbage => "what answers at its address does not answer like a printer",
            Self::Broken => "the connection broke",
        }
    }

    /// What to do.
    pub fn remedy(self) -> &'static str {
        match self {
            Self::Refused => {
                "switch it on, or wait until it has started; compare its address with printers.toml; it is tried again by itself"
            }
            Self::Unreachable => {
                "switch it on, look at its network cable, compare its address with printers.toml; it is tried again by itself"
            }
            Self::PaperOut => "load a roll; it goes on by itself",
            Self::CoverOpen => "close the cover; it goes on by itself",
            Self::Cutter => "clear the paper from the cutter, open and close the cover; it goes on by itself",
            Self::Overheated => "let it cool; it goes on by itself",
            Self::Unrecoverable => "switch it off and on again; if that does not help it needs repair",
            Self::Offline => "look at its lamps: paper, cover, feed button",
            Self::Stalled => "look for paper and cover; if both are fine, switch it off and on again",
            Self::Silent => "see whether another machine prints on it; if not, switch it off and on again",
            Self::Garbage => {
                "compare its address and how it confirms with printers.toml; if both are right, switch it off and on again"
            }
            Self::Broken => "nothing, if it was switched off on purpose; else look at the network cable",
        }
    }
}

impl fmt::Display for TroubleKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.why())
    }
}

/// A trouble as told to people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// Which kind.
    pub kind: TroubleKind,
    /// What, said of the printer: `nothing reaches paper`.
    pub what: String,
    /// Since when.
    pub since: Timestamp,
    /// Why.
    pub why: String,
    /// What to do.
    pub remedy: String,
}

impl Trouble {
    /// The sentences for this kind.
    pub fn new(kind: TroubleKind, since: Timestamp) -> Self {
        Self {
            kind,
            what: "nothing reaches paper".to_owned(),
            since,
            why: kind.why().to_owned(),
            remedy: kind.remedy().to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_trouble_has_its_own_name_reason_and_a_remedy() {
        let mut words: Vec<_> = TroubleKind::ALL.map(TroubleKind::word).to_vec();
        let mut reasons: Vec<_> = TroubleKind::ALL.map(TroubleKind::why).to_vec();
        words.sort_unstable();
        words.dedup();
        reasons.sort_unstable();
        reasons.dedup();
        assert_eq!((words.len(), reasons.len()), (TroubleKind::ALL.len(), TroubleKind::ALL.len()));
        assert!(TroubleKind::ALL.iter().all(|kind| !kind.remedy().is_empty()));
    }
}
