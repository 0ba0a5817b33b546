//! What has happened. Facts are the ledger's records: JSON with a version, closed, only
//! ever added to. A fixture per record in `tests/` keeps the written form readable.

use super::{Decision, PersonRecord, Policy};
use crate::model::*;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Version of the written form of [`Fact`] and [`PersonRecord`].
pub const RECORD_VERSION: u8 = 1;

/// A fact with its number and instant, as written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamped {
    /// Version of the written form; an unknown one is an error, not a guess.
    pub v: u8,
    /// Sequence number, from 1, without gaps.
    pub seq: u64,
    /// When.
    pub at: Timestamp,
    /// What.
    pub fact: Fact,
}

/// One record to be written: a fact, or what tells of a person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Record {
    /// Tagged `F`.
    Fact(Stamped),
    /// Tagged `P`; the fold never needs it.
    Person(PersonRecord),
}

/// What a message led to: remembered, so that a repeated one is answered alike.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MessageOutcome {
    /// It changed or confirmed these orders.
    Orders(Vec<OrderKey>),
    /// It was not about orders.
    NotAnOrder,
    /// It could not be mapped; a person is asked.
    Unmappable,
    /// The same id came before with another body; a person is asked.
    Contradicts,
}

/// Who did it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Actor {
    /// The shop's message.
    Shop,
    /// A person at the desk.
    Person,
    /// The program itself (a schedule, a plan).
    Program,
}

/// What has happened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Fact {
    /// A message was kept.
    MessageKept {
        /// Identity.
        message: MessageKey,
        /// SHA-256 (hex) of its body.
        body_digest: String,
        /// What it led to.
        outcome: MessageOutcome,
    },
    /// An order came for the first time.
    OrderReceived {
        /// Its content, version 1.
        order: Box<Order>,
        /// The message.
        message: MessageKey,
    },
    /// A newer content replaced the older one.
    OrderRevised {
        /// The content.
        order: Box<Order>,
        /// Its version, counted from 1.
        version: u32,
        /// The message.
        message: MessageKey,
        /// What differs, one line each, without personal data.
        differences: Vec<Difference>,
    },
    /// An older content came late: history, no effect.
    OrderStale {
        /// Which.
        order: OrderKey,
        /// Its revision.
        revision: Option<Revision>,
    },
    /// Another content with the same revision came; it is kept until a person decides.
    OrderContradicted {
        /// The other content.
        order: Box<Order>,
        /// Its version, if it is taken.
        version: u32,
    },
    /// A cancellation came before its order.
    CancellationRemembered {
        /// Which.
        order: OrderKey,
        /// The cancellation's own revision.
        revision: Option<Revision>,
    },
    /// It is cancelled.
    OrderCancelled {
        /// Which.
        order: OrderKey,
        /// Who.
        by: Actor,
        /// Why, in words.
        reason: String,
    },
    /// It is open again.
    OrderReopened {
        /// Which.
        order: OrderKey,
        /// Who.
        by: Actor,
    },
    /// The planner was asked.
    PlanAsked {
        /// Which.
        order: OrderKey,
        /// For what.
        pins: Pins,
        /// A person wants a new plan, even where the old one holds.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        anew: bool,
    },
    /// A person wants a new plan for everything that is not printed.
    ReplanAsked {
        /// Who.
        by: Actor,
    },
    /// The planner is about to work on it (after an unclean stop only).
    PlanStarted {
        /// Which.
        order: OrderKey,
    },
    /// A plan is in force; its parcels got these identities.
    Planned {
        /// The plan with its explanation.
        plan: Box<Plan>,
        /// One for each of its parcels.
        parcels: Vec<ParcelId>,
    },
    /// A common plan that was asked for comes to nothing: its orders go on apart.
    NotJoined {
        /// The order that would have led.
        order: OrderKey,
        /// What the plan was asked for.
        pins: Box<Pins>,
        /// Why, in words.
        why: String,
        /// It is not asked for again until something of this changes; else one of the orders has
        /// changed already.
        settled: bool,
    },
    /// Orders that were to share parcels go apart again: they have neither these parcels nor a plan now.
    Parted {
        /// All of them, the leading one first.
        orders: Vec<OrderKey>,
        /// Why, in words.
        why: String,
    },
    /// A person wants it to travel alone, or no longer.
    KeptApart {
        /// Which.
        order: OrderKey,
        /// Alone?
        apart: bool,
    },
    /// A plan came for something that had changed meanwhile.
    PlanRefused {
        /// Which.
        order: OrderKey,
        /// Why.
        why: String,
    },
    /// A stop stands.
    StopPut {
        /// Which order; `None` for a question about no order (an unmappable message).
        order: Option<OrderKey>,
        /// The stop.
        stop: StopKind,
    },
    /// A stop is gone.
    StopLifted {
        /// Which order.
        order: Option<OrderKey>,
        /// The stop.
        stop: StopKind,
        /// Who.
        by: Actor,
    },
    /// A question was answered.
    Decided {
        /// Its cause, as typed.
        cause: String,
        /// The answer.
        decision: Decision,
    },
    /// A parcel moved from stage to stage.
    ParcelMoved {
        /// Which.
        parcel: ParcelId,
        /// From.
        from: Stage,
        /// To.
        to: Stage,
        /// Who.
        by: Actor,
    },
    /// A job was queued.
    JobQueued {
        /// Identity.
        job: JobId,
        /// Kind.
        kind: PaperKind,
        /// About what.
        subject: Subject,
        /// A second one.
        copy: Option<CopyMark>,
        /// Order within the queue.
        rank: u32,
    },
    /// It is about to be sent; on disk before the first byte leaves.
    JobSending {
        /// Which.
        job: JobId,
        /// To which printer.
        printer: PrinterName,
        /// SHA-256 (hex) of the bytes.
        digest: String,
        /// Its length in rows of dots; older records do not say.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rows: Option<u32>,
    },
    /// Paper that was out or near its end is there again: a new roll.
    RollLoaded {
        /// In which printer.
        printer: PrinterName,
    },
    /// Not one byte left: queued again.
    JobRequeued {
        /// Which.
        job: JobId,
        /// Why.
        why: String,
    },
    /// In doubt.
    JobUncertain {
        /// Which.
        job: JobId,
        /// Why.
        why: String,
    },
    /// Printed.
    JobOnPaper {
        /// Which.
        job: JobId,
        /// How we know.
        by: Confirmation,
    },
    /// Taken out.
    JobDropped {
        /// Which.
        job: JobId,
        /// Why.
        why: String,
        /// Who: what a person takes out is not queued again by itself.
        by: Actor,
    },
    /// A number is missing.
    GapSeen {
        /// The shop.
        source: SourceName,
        /// The number that never came.
        number: String,
        /// The numbers around it that did.
        between: (String, String),
    },
    /// It came, or a person said that there is none.
    GapClosed {
        /// The shop.
        source: SourceName,
        /// The number.
        number: String,
        /// Who.
        by: Actor,
    },
    /// A configuration is in force.
    ConfigAdopted {
        /// Its digest.
        digest: ConfigDigest,
        /// What the book needs of it.
        policy: Box<Policy>,
        /// The text of its files, where this digest was not kept before.
        files: BTreeMap<String, String>,
    },
    /// The process started.
    Started {
        /// Off from and since when, and how it ended.
        off_since: Option<Timestamp>,
        /// Ended cleanly.
        clean: bool,
    },
    /// A sale's rush began or ended.
    ModeChanged {
        /// Which mode from now on.
        mode: Mode,
        /// A person said so: it stays until a person says otherwise.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        held: bool,
    },
    /// Packing starts: what waits prints in pack order.
    PackingStarted {
        /// Who.
        by: Actor,
    },
    /// Message ids and finished lists and test pages from before this are no longer held.
    Swept {
        /// Older than this.
        before: Timestamp,
    },
    /// Closed orders went into the archive; the state no longer holds them.
    Archived {
        /// Which.
        orders: Vec<OrderKey>,
    },
    /// Stands in for one of these records, which are lost; written by a repair.
    RecordsLost {
        /// The first of them.
        from: u64,
        /// The last.
        to: u64,
    },
    /// The ledger was damaged and repaired.
    Repaired {
        /// What could not be restored.
        lost: Vec<LostRecords>,
        /// The folder in the data folder with the files that were replaced.
        kept_in: String,
    },
    /// All before this was taken in from a copy. The workshop may have gone on after the copy was made.
    Restored {
        /// When the copy was made.
        made: Timestamp,
    },
    /// Another version of the program writes from here on.
    ProgramChanged {
        /// The version before; none before versions were noted.
        from: Option<String>,
        /// The version since.
        to: String,
    },
    /// All that tells of the persons of an order is to go from every file, at once.
    Forgotten {
        /// Which.
        order: OrderKey,
        /// Who wants it.
        by: Actor,
    },
    /// It is gone.
    Erased {
        /// Of which order.
        order: OrderKey,
        /// So many lines went.
        lines: u64,
        /// SHA-256 (hex) of the receipt that was given.
        receipt: String,
    },
    /// What tells of persons is to go where their order ended before this.
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

/// Records that are lost for good.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LostRecords {
    /// The first.
    pub from: u64,
    /// The last.
    pub to: u64,
    /// Instant of the last record before them.
    pub after: Option<Timestamp>,
    /// Instant of the first record behind them.
    pub before: Option<Timestamp>,
    /// Open orders may be among them; otherwise only the history of what is done is.
    pub open_work: bool,
}

impl LostRecords {
    /// What a person is asked about them.
    pub fn question(&self) -> Question {
        let shown = |at: Timestamp| at.strftime("%Y-%m-%d %H:%M:%S UTC").to_string();
        let time = match (self.after, self.before) {
            (Some(after), Some(before)) => format!("from between {} and {}", shown(after), shown(before)),
            (Some(after), None) => format!("from after {}", shown(after)),
            (None, Some(before)) => format!("from before {}", shown(before)),
            (None, None) => "from a time that is not known".to_owned(),
        };
        let Self { from, to, .. } = self;
        let records = if from == to { format!("record {from}") } else { format!("records {from} to {to}") };
        let remedy = if self.open_work {
            "ask the shop for the orders of that time and take them in: dawnslip intake FILE; look in the tray whether \
             a waiting slip has come out"
        } else {
            "orders that are done may have lost a part of their history; nothing open is concerned"
        };
        Question {
            cause: Cause::RecordsLost(*from, *to),
            what: format!("the ledger was damaged: {records} {time} could not be restored"),
            remedy: remedy.to_owned(),
            detail: None,
        }
    }
}

/// Modes of printing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mode {
    /// One by one, as orders arrive.
    #[default]
    Trickle,
    /// Slips and cards wait until packing starts.
    Burst,
}

impl Mode {
    /// The word used in commands and on screen.
    pub fn word(self) -> &'static str {
        match self {
            Self::Trickle => "trickle",
            Self::Burst => "burst",
        }
    }
}

/// Stages of a parcel; an order's stage is that of its least advanced parcel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// No parcels yet (orders only).
    Received,
    /// It has a plan.
    Planned,
    /// Its slip is on paper.
    Printed,
    /// It is packed.
    Packed,
    /// The carrier has it.
    HandedOver,
}

impl Stage {
    /// The word used on screen and paper.
    pub fn word(self) -> &'static str {
        match self {
            Self::Received => "received",
            Self::Planned => "planned",
            Self::Printed => "printed",
            Self::Packed => "packed",
            Self::HandedOver => "handed over",
        }
    }
}

/// Kinds of stops; with any of them nothing more is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StopKind {
    /// A question.
    NeedsYou(Question),
    /// A person or a rule holds it.
    Held {
        /// Why. What a person typed stands in [`PersonRecord::Said`].
        reason: String,
        /// The rule, if it was one.
        rule: Option<String>,
    },
    /// Made to order, stock, a date.
    Waiting(Wait),
}

impl StopKind {
    /// The word used on screen and paper.
    pub fn word(&self) -> &'static str {
        match self {
            Self::NeedsYou(_) => "needs you",
            Self::Held { .. } => "held",
            Self::Waiting(_) => "waiting",
        }
    }
    /// What a question is about; `None` for other stops.
    pub fn cause(&self) -> Option<&Cause> {
        match self {
            Self::NeedsYou(question) => Some(&question.cause),
            Self::Held { .. } | Self::Waiting(_) => None,
        }
    }
    /// Is it the same stop, however its sentences are worded?
    pub fn is_same(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::NeedsYou(one), Self::NeedsYou(two)) => one.cause == two.cause,
            (Self::Held { rule: Some(one), .. }, Self::Held { rule: Some(two), .. }) => one == two,
            (Self::Waiting(Wait::Service { until: one, .. }), Self::Waiting(Wait::Service { until: two, .. })) => {
                one == two
            }
            _ => self == other,
        }
    }
    /// What stands in the way of the order of this number, and what to do, in one sentence.
    pub fn advice(&self, number: &str) -> String {
        match self {
            Self::NeedsYou(question) => format!("it needs you: {}; {}", question.what, question.remedy),
            Self::Held { reason, .. } if reason.is_empty() => format!("it is held: dawnslip release {number}"),
            Self::Held { reason, .. } => format!("it is held ({reason}): dawnslip release {number}"),
            Self::Waiting(Wait::MadeToOrder(sku)) => {
                format!("it waits until {sku} is made: dawnslip ready {number}")
            }
            Self::Waiting(Wait::Stock { sku, missing }) => {
                format!("it waits for {missing} x {sku}: dawnslip ready {number}")
            }
            Self::Waiting(Wait::Date(day)) => format!("it waits until {day}; then it goes on by itself"),
            Self::Waiting(Wait::Service { until, why }) => format!("{why}: it goes on by itself on {until}"),
            Self::Waiting(Wait::Rule { rule, reason }) => {
                format!("the rule {rule:?} holds it ({reason}): dawnslip release {number}")
            }
        }
    }
    /// What an order remembers once a person has lifted this, so that planning it anew does
    /// not put it again; `None` where it would have to be put again.
    pub fn acceptance(&self) -> Option<String> {
        match self {
            Self::NeedsYou(question) => match question.cause {
                Cause::Flaw(..) | Cause::Rule(..) | Cause::RuleFailed(_) => Some(question.cause.to_string()),
                _ => None,
            },
            Self::Held { rule, .. } => rule.as_ref().map(|rule| format!("hold:{rule}")),
            Self::Waiting(Wait::MadeToOrder(sku) | Wait::Stock { sku, .. }) => Some(format!("ready:{sku}")),
            Self::Waiting(Wait::Rule { rule, .. }) => Some(format!("hold:{rule}")),
            Self::Waiting(Wait::Date(_) | Wait::Service { .. }) => None,
        }
    }
}
