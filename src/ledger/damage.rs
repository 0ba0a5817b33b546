//! What is wrong with a data directory, what it concerns, and the words for it.
//!
//! Only data and text; [`super::survey`] finds it, [`super::repair`] mends it.

use crate::model::OrderKey;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// Orders that are named at most, in a loss.
pub const ORDERS_NAMED_MAX: usize = 50;

/// Harmless finds that are shown one by one: with forgotten persons there may be one a month.
const HARMLESS_SHOWN_MAX: usize = 10;

/// What is the matter with a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DamageKind {
    /// Its bytes are not as they were written.
    Damaged,
    /// It should be there and is not.
    Missing,
    /// It is whole, but stands under the name of another, or where another should be.
    Misplaced,
    /// It belongs to another installation.
    Foreign,
    /// A newer program wrote it.
    Newer,
    /// The disk gives an error where it lies.
    Unreadable,
    /// A group that was being written when the power went; nobody was told that it was kept.
    Torn,
    /// No file of dawnslip's; it is left alone.
    Unknown,
}

/// For what the file is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Need {
    /// For nothing: worth knowing, harmless.
    Nothing,
    /// For looking back: the daemon starts without it, and says so.
    History,
    /// For the start: without it answered orders could be missing, so the daemon does not start.
    Start,
}

/// Records by number, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Span {
    /// The first.
    pub from: u64,
    /// The last.
    pub to: u64,
}

impl Span {
    /// How many.
    pub fn count(self) -> u64 {
        self.to + 1 - self.from
    }
}

impl std::fmt::Display for Span {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.from == self.to {
            write!(f, "record {}", self.from)
        } else {
            write!(f, "records {} to {}", self.from, self.to)
        }
    }
}

/// One file with something the matter.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Damage {
    /// Which file, within the data directory.
    pub file: String,
    /// What kind of damage.
    pub kind: DamageKind,
    /// For what it is needed.
    pub needed_for: Need,
    /// From which byte on, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset: Option<u64>,
    /// Which records cannot be read from it, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub records: Option<Span>,
    /// What is wrong, in words.
    pub what: String,
}

impl Damage {
    pub(super) fn new(file: impl Into<String>, kind: DamageKind, needed_for: Need, what: impl Into<String>) -> Self {
        Self { file: file.into(), kind, needed_for, offset: None, records: None, what: what.into() }
    }

    /// In one line: the file, where, which records, what.
    pub fn line(&self) -> String {
        let at = self.offset.map(|at| format!(" at byte {at}")).unwrap_or_default();
        let records = self.records.map(|span| format!(" ({span})")).unwrap_or_default();
        format!("{}{at}{records}: {}", self.file, self.what)
    }
}

/// Records that lie somewhere else as well.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Restorable {
    /// Where from, in words: `the archives`, `the backup of …`.
    pub source: String,
    /// Which records.
    pub records: Vec<Span>,
}

/// Records that are nowhere any more.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Loss {
    /// Which records.
    pub records: Span,
    /// Instant of the last record before them that is there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after: Option<Timestamp>,
    /// Instant of the first record behind them that is there, or of the last sign of life.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<Timestamp>,
    /// Orders that what is left of the damaged bytes still names.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub orders: Vec<OrderKey>,
    /// Open work is concerned: no snapshot was made after these records. Otherwise only the
    /// history of what is done is.
    pub open_work: bool,
}

impl Loss {
    /// `between Wed 25 Nov 06:41:00 and 06:44:12 UTC`, as far as it is known.
    pub fn time(&self) -> String {
        let shown = |at: Timestamp| at.strftime("%Y-%m-%d %H:%M:%S UTC").to_string();
        match (self.after, self.before) {
            (Some(after), Some(before)) => format!("between {} and {}", shown(after), shown(before)),
            (Some(after), None) => format!("after {}", shown(after)),
            (None, Some(before)) => format!("before {}", shown(before)),
            (None, None) => "at a time that is not known".to_owned(),
        }
    }
}

/// What was found in a data directory.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, Default)]
pub struct Survey {
    /// Files that were read.
    pub files: usize,
    /// Their bytes.
    pub bytes: u64,
    /// Number of the last record that was there.
    pub last: u64,
    /// What is the matter, file by file.
    pub damage: Vec<Damage>,
    /// What of it lies elsewhere as well.
    pub restorable: Vec<Restorable>,
    /// What is nowhere any more.
    pub lost: Vec<Loss>,
    /// Something a person should know besides.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub notes: Vec<String>,
}

impl Survey {
    /// Is there something to mend?
    pub fn needs_repair(&self) -> bool {
        self.need() > Need::Nothing
    }

    /// The most that any of the damage is needed for.
    pub fn need(&self) -> Need {
        self.damage.iter().map(|damage| damage.needed_for).max().unwrap_or(Need::Nothing)
    }

    /// What is the matter, in words for people; what to do about it is said elsewhere.
    pub fn text(&self) -> String {
        let megabytes = self.bytes.div_ceil(1_000_000);
        let mut text = format!("read {} files, {megabytes} MB, records up to {}\n", self.files, self.last);
        let (harmless, real): (Vec<&Damage>, Vec<&Damage>) =
            self.damage.iter().partition(|damage| damage.needed_for == Need::Nothing);
        if real.is_empty() {
            text.push_str("nothing is damaged\n");
        } else {
            text.push_str("\nDAMAGED\n");
            for damage in &real {
                text.push_str(&format!("  {}\n", damage.line()));
            }
            text.push_str(match self.need() {
                Need::Start => "  the daemon does not start on this: answered orders could be missing unseen\n",
                _ => "  the daemon starts all the same: only looking back is concerned\n",
            });
        }
        if !self.restorable.is_empty() {
            text.push_str("\nIS RESTORED\n");
            for restorable in &self.restorable {
                text.push_str(&format!("  {} from {}\n", spans(&restorable.records), restorable.source));
            }
        }
        if !self.lost.is_empty() {
            text.push_str("\nIS LOST FOR GOOD\n");
            for loss in &self.lost {
                text.push_str(&format!("  {}, {}\n", loss.records, loss.time()));
                let whose =
                    if loss.open_work { "open orders may be among them" } else { "only the history of what is done" };
                text.push_str(&format!("     {whose}\n"));
                if !loss.orders.is_empty() {
                    let named: Vec<String> = loss.orders.iter().map(ToString::to_string).collect();
                    text.push_str(&format!("     what is left of them names: {}\n", named.join(", ")));
                }
                if loss.open_work {
                    text.push_str(&format!(
                        "     ask the shop to send the orders of that time again ({}); or: dawnslip intake FILE\n",
                        loss.time()
                    ));
                }
            }
        } else if !real.is_empty() {
            text.push_str("\nnothing is lost\n");
        }
        if !harmless.is_empty() || !self.notes.is_empty() {
            text.push_str("\nWORTH KNOWING\n");
            for damage in harmless.iter().take(HARMLESS_SHOWN_MAX) {
                text.push_str(&format!("  {}\n", damage.line()));
            }
            if let Some(more) = harmless.len().checked_sub(HARMLESS_SHOWN_MAX).filter(|more| *more > 0) {
                text.push_str(&format!("  and {more} more of that kind\n"));
            }
            for note in &self.notes {
                text.push_str(&format!("  {note}\n"));
            }
        }
        text
    }
}

/// `records 4 to 9, record 12`, the first few of them.
fn spans(records: &[Span]) -> String {
    const SHOWN_MAX: usize = 6;
    let mut text: Vec<String> = records.iter().take(SHOWN_MAX).map(ToString::to_string).collect();
    if let Some(more) = records.len().checked_sub(SHOWN_MAX).filter(|more| *more > 0) {
        text.push(format!("and {more} more spans"));
    }
    text.join(", ")
}
