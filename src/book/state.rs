//! The state of all that is open: a fold of facts, nothing else.

use super::shared_map::SharedMap;
use super::tally::Tally;
use super::{MessageOutcome, Mode, Policy, Stage, StopKind};
use crate::model::*;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// Between the id of a message and what tells another body that came under the same id.
pub const OTHER_BODY: char = '~';

/// All that is open. Serialised as the ledger's snapshot (versioned by [`super::RECORD_VERSION`]).
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(remote = "Self")]
pub struct State {
    /// Number of the last fact that is in here.
    pub seq: u64,
    /// Instant of that fact.
    pub at: Option<Timestamp>,
    /// The configuration in force.
    pub config: Option<ConfigDigest>,
    /// Digests whose file texts are in the ledger.
    pub configs_kept: BTreeSet<ConfigDigest>,
    /// What the book needs of it.
    pub policy: Option<Policy>,
    /// Messages of the last 14 days and more, as `source` → `id`.
    pub messages: BTreeMap<SourceName, BTreeMap<String, MessageEntry>>,
    /// Open orders, and closed ones until they are archived.
    pub orders: SharedMap<OrderKey, OrderEntry>,
    /// Cancellations that came before their orders; kept while the order stands cancelled by it.
    pub cancelled_before: BTreeMap<OrderKey, CancelledBefore>,
    /// Parcels of those orders.
    pub parcels: SharedMap<ParcelId, ParcelEntry>,
    /// Jobs that are not done, and done ones until their order is archived.
    pub jobs: SharedMap<JobId, Job>,
    /// Those of them that are `queued`, in the order in which they print.
    pub queue: BTreeSet<(u32, JobId)>,
    /// Stops that belong to no order.
    pub loose_stops: Vec<Stop>,
    /// What is known of each shop.
    pub shops: BTreeMap<SourceName, Shop>,
    /// Trickle or burst, and since when.
    pub mode: Mode,
    /// A person chose it: no rush begins or ends it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub mode_held: bool,
    /// Since when.
    pub mode_since: Option<Timestamp>,
    /// Instants of the latest new orders, oldest first: what the burst switch counts.
    pub arrivals: VecDeque<Timestamp>,
    /// Local date of the last scheduled pick list.
    pub last_list: Option<Date>,
    /// When that list was queued: much later than its hour if the program was off.
    pub last_list_at: Option<Timestamp>,
    /// After an unclean stop: orders are planned one at a time, each marked before.
    pub careful: bool,
    /// When old message ids and finished lists were last swept out.
    pub swept: Option<Timestamp>,
    /// Times when the program was off, latest last.
    pub outages: Vec<Outage>,
    /// Lost records about which nobody was asked yet.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lost: Vec<super::LostRecords>,
    /// Number of the last fact that changed the counted stock (a configuration).
    pub stock_seq: u64,
    /// Last identity given to a parcel.
    pub last_parcel: u64,
    /// Last identity given to a job.
    pub last_job: u64,
    /// Count of papers that are not about a parcel (test pages, extra lists).
    pub last_extra: u32,
    /// Orders whose personal data are to be erased and may still stand in a file.
    #[serde(default)]
    pub erasing: BTreeMap<OrderKey, Erasing>,
    /// When old personal data were last looked for.
    #[serde(default)]
    pub retention: Option<RetentionRun>,
    /// Version of the program that started last.
    #[serde(default)]
    pub program: Option<String>,
    /// The last change of the program's version.
    #[serde(default)]
    pub upgraded: Option<Upgrade>,
    /// What each printer's roll has given.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub rolls: BTreeMap<PrinterName, super::rolls::Roll>,
    /// Counts over the orders and parcels above.
    #[serde(skip)]
    pub tally: Tally,
}

/// An erasure that has begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Erasing {
    /// Number of its fact.
    pub seq: u64,
    /// Since when.
    pub at: Timestamp,
}

/// The last look for personal data that are older than the retention.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct RetentionRun {
    /// When.
    pub at: Timestamp,
    /// Orders concerned.
    pub orders: u64,
    /// Lines that went.
    pub lines: u64,
}

/// Another version of the program took over.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Upgrade {
    /// When.
    pub at: Timestamp,
    /// The version before; none before versions were noted.
    pub from: Option<String>,
    /// The version since.
    pub to: String,
}

impl Serialize for State {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        // The derived one, which `remote` makes a plain function.
        Self::serialize(self, serializer)
    }
}
impl<'de> Deserialize<'de> for State {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Ok(Self::deserialize(deserializer)?.counted())
    }
}

/// A message that was answered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MessageEntry {
    /// When.
    pub at: Timestamp,
    /// SHA-256 (hex) of its body.
    pub body_digest: String,
    /// What it led to.
    pub outcome: MessageOutcome,
}

/// An order with all that stands around it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OrderEntry {
    /// The content in force.
    pub order: Order,
    /// Its version, counted from 1.
    pub version: u32,
    /// When the first content came.
    pub received: Timestamp,
    /// When the content in force came.
    pub revised: Timestamp,
    /// The message of the content in force.
    pub message: MessageKey,
    /// Another content with the same revision, until a person decides.
    pub contender: Option<(Order, u32)>,
    /// Stops, oldest first.
    pub stops: Vec<Stop>,
    /// Flaws and rules that a person has accepted (causes as typed), and releases of rule holds.
    pub accepted: BTreeSet<String>,
    /// The plan in force, with the number of its fact.
    pub plan: Option<(Plan, u64)>,
    /// What the planner was asked for and has not answered.
    pub asked: Option<Pins>,
    /// A person wants a new plan, even where the one in force holds.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub anew: bool,
    /// The planner began on it and has not answered; counts unclean stops meanwhile.
    pub plan_started: bool,
    /// So many times the program stopped while it worked on this.
    pub stopped_program: u32,
    /// Its parcels; joined orders have the same ones.
    pub parcels: Vec<ParcelId>,
    /// A person wants it to travel alone.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub apart: bool,
    /// For what a common plan was asked that came to nothing, and why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_joined: Option<(Pins, String)>,
    /// Cancelled: since when, by whom, why.
    pub cancelled: Option<Cancelled>,
    /// Version that is on paper, once something is.
    pub version_on_paper: Option<u32>,
    /// What differs from what is on paper, since then; for the change note.
    pub differences: Vec<Difference>,
    /// Notes queued so far (counts change and stop notes).
    pub notes: u32,
    /// Jobs of those notes.
    pub note_jobs: Vec<JobId>,
    /// Papers that a person took out: not queued again by themselves.
    pub declined: BTreeSet<Subject>,
    /// Since when its personal data are erased by a person's wish.
    #[serde(default)]
    pub forgotten: Option<Timestamp>,
    /// Number of the last fact about it, its parcels or its papers.
    #[serde(default)]
    pub last_fact: u64,
}

/// A cancellation that came before its order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CancelledBefore {
    /// The payload's revision: an order that is newer arrives open.
    pub revision: Option<Revision>,
    /// When it came.
    pub at: Timestamp,
}

/// A cancellation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cancelled {
    /// Since when.
    pub at: Timestamp,
    /// By whom.
    pub by: super::Actor,
    /// Why.
    pub reason: String,
}

/// A stop with its beginning.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stop {
    /// What.
    pub kind: StopKind,
    /// Since when.
    pub since: Timestamp,
}

impl Stop {
    /// The message that a question is about: what it means, or which of its bodies counts.
    pub fn message(&self) -> Option<MessageKey> {
        let (Cause::Unmappable(message) | Cause::MessageChanged(message)) = self.kind.cause()? else { return None };
        let (source, id) = message.split_once('/')?;
        Some(MessageKey { source: source.into(), id: id.to_owned() })
    }
}

/// A parcel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ParcelEntry {
    /// Its orders (several when joined), the first one leads.
    pub orders: Vec<OrderKey>,
    /// Which of its leading order's parcels it is, from 1, and of how many.
    pub part: (u32, u32),
    /// Where it stands.
    pub stage: Stage,
    /// Since when.
    pub since: Timestamp,
    /// As planned.
    pub planned: PlannedParcel,
    /// The day for which it is planned, once handed over the day on which it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hand_over: Option<Date>,
    /// Its papers' jobs, oldest first.
    pub jobs: Vec<JobId>,
}

/// What is known of a shop.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Shop {
    /// Instant of the last message.
    pub last_message: Option<Timestamp>,
    /// Last new order and its instant.
    pub last_order: Option<(String, Timestamp)>,
    /// Highest number of a gapless source.
    pub highest: Option<u64>,
    /// Numbers that never came, with the numbers around them, and since when.
    pub gaps: BTreeMap<u64, Gap>,
}

/// A number that never came.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gap {
    /// As the shop would write it.
    pub number: String,
    /// Those around it.
    pub between: (String, String),
    /// Since when.
    pub since: Timestamp,
}

/// A time when the program was off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outage {
    /// Last sign of life.
    pub from: Timestamp,
    /// Start.
    pub to: Timestamp,
    /// The last order before it.
    pub last_order: Option<OrderKey>,
}

impl OrderEntry {
    /// Has it ended: cancelled, or every parcel handed over?
    pub fn is_closed(&self, parcels: &SharedMap<ParcelId, ParcelEntry>) -> bool {
        self.cancelled.is_some() || self.stage(parcels) == Stage::HandedOver
    }
    /// The stage of the least advanced parcel.
    pub fn stage(&self, parcels: &SharedMap<ParcelId, ParcelEntry>) -> Stage {
        self.parcels.iter().filter_map(|id| parcels.get(id)).map(|p| p.stage).min().unwrap_or(Stage::Received)
    }
}

impl ParcelEntry {
    /// The order that leads it.
    pub fn leading(&self) -> Option<&OrderKey> {
        self.orders.first()
    }
}

impl State {
    /// The figure in an order's number, where its source counts without gaps.
    pub fn gapless_number(&self, key: &OrderKey) -> Option<u64> {
        let prefix = self.policy.as_ref()?.gapless.get(&key.source)?;
        let digits = key.number.strip_prefix(prefix.as_str())?;
        if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        digits.parse().ok()
    }
    /// May a paper of this order's parcels lie somewhere: on paper, on its way, or in doubt?
    pub fn paper_out(&self, key: &OrderKey) -> bool {
        let Some(entry) = self.orders.get(key) else { return false };
        entry.version_on_paper.is_some()
            || self
                .parcels_of(entry)
                .any(|(_, parcel)| parcel.stage > Stage::Planned || self.jobs_out(parcel, |_| true))
    }
    /// May this parcel's slip lie somewhere?
    pub(super) fn slip_out(&self, id: ParcelId) -> bool {
        self.parcels.get(&id).is_some_and(|parcel| self.jobs_out(parcel, |job| job.kind == PaperKind::Slip))
    }
    fn jobs_out(&self, parcel: &ParcelEntry, which: impl Fn(&Job) -> bool) -> bool {
        let mut jobs = parcel.jobs.iter().filter_map(|id| self.jobs.get(id));
        jobs.any(|job| which(job) && !matches!(job.state, JobState::Queued | JobState::Dropped { .. }))
    }
    /// The orders of a message that was answered; none for one that meant none.
    pub fn orders_of_message(&self, source: &SourceName, id: &str) -> &[OrderKey] {
        // What came under a known id with another body is kept beside it (see `receive`).
        let first = id.split_once(OTHER_BODY).map_or(id, |(first, _)| first);
        let ids = self.messages.get(source);
        let of = |id: &str| match &ids?.get(id)?.outcome {
            MessageOutcome::Orders(orders) => Some(orders.as_slice()),
            _ => None,
        };
        of(id).or_else(|| of(first)).unwrap_or_default()
    }
    /// Messages about which a person is still asked.
    pub fn asked_messages(&self) -> BTreeSet<MessageKey> {
        self.loose_stops.iter().filter_map(Stop::message).collect()
    }
    /// An order's parcels that the state holds.
    pub fn parcels_of<'a>(&'a self, entry: &'a OrderEntry) -> impl Iterator<Item = (ParcelId, &'a ParcelEntry)> {
        entry.parcels.iter().filter_map(|id| Some((*id, self.parcels.get(id)?)))
    }
    /// The workshop's zone; UTC before the first configuration.
    pub fn zone(&self) -> TimeZone {
        let name = self.policy.as_ref().map(|policy| policy.zone.as_str());
        name.and_then(|name| TimeZone::get(name).ok()).unwrap_or(TimeZone::UTC)
    }
    /// The local date of an instant.
    pub fn date(&self, at: Timestamp) -> Date {
        daytime::date_of(&self.zone(), at)
    }
}
