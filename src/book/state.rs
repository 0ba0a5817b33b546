//! The state of all that is open: a fold of facts, nothing else.

use super::{MessageOutcome, Mode, Policy, Stage, StopKind};
use crate::model::*;
use jiff::Timestamp;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// All that is open. Serialised as the ledger's snapshot (versioned by [`super::RECORD_VERSION`]).
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
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
    #[serde(with = "pairs")]
    pub orders: BTreeMap<OrderKey, OrderEntry>,
    /// Cancellations that came before their orders.
    pub cancelled_before: BTreeSet<OrderKey>,
    /// Parcels of those orders.
    #[serde(with = "pairs")]
    pub parcels: BTreeMap<ParcelId, ParcelEntry>,
    /// Jobs that are not done, and done ones until their order is archived.
    #[serde(with = "pairs")]
    pub jobs: BTreeMap<JobId, Job>,
    /// Stops that belong to no order.
    pub loose_stops: Vec<Stop>,
    /// What is known of each shop.
    pub shops: BTreeMap<SourceName, Shop>,
    /// Trickle or burst, and since when.
    pub mode: Mode,
    /// Since when.
    pub mode_since: Option<Timestamp>,
    /// Instants of the latest new orders, oldest first: what the burst switch counts.
    pub arrivals: VecDeque<Timestamp>,
    /// Local date of the last scheduled pick list.
    pub last_list: Option<Date>,
    /// Times when the program was off, latest last.
    pub outages: Vec<Outage>,
    /// Number of the last fact that changed the stock.
    pub stock_seq: u64,
    /// Last identity given to a parcel.
    pub last_parcel: u64,
    /// Last identity given to a job.
    pub last_job: u64,
    /// Count of papers that are not about a parcel (test pages, extra lists).
    pub last_extra: u32,
}

/// A map whose keys are no strings, written as a list of pairs.
mod pairs {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};
    use std::collections::BTreeMap;

    pub fn serialize<K: Serialize, V: Serialize, S: Serializer>(map: &BTreeMap<K, V>, s: S) -> Result<S::Ok, S::Error> {
        s.collect_seq(map.iter())
    }
    pub fn deserialize<'de, K: Deserialize<'de> + Ord, V: Deserialize<'de>, D: Deserializer<'de>>(
        d: D,
    ) -> Result<BTreeMap<K, V>, D::Error> {
        Ok(Vec::<(K, V)>::deserialize(d)?.into_iter().collect())
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
    /// The planner began on it and has not answered; counts unclean stops meanwhile.
    pub plan_started: bool,
    /// So many times the program stopped while it worked on this.
    pub stopped_program: u32,
    /// Its parcels.
    pub parcels: Vec<ParcelId>,
    /// Cancelled: since when, by whom, why.
    pub cancelled: Option<Cancelled>,
    /// Version that is on paper, once something is.
    pub version_on_paper: Option<u32>,
    /// What differs from what is on paper, since then; for the change note.
    pub differences: Vec<String>,
    /// Notes printed so far (counts change and stop notes).
    pub notes: u32,
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
    pub fn is_closed(&self, parcels: &BTreeMap<ParcelId, ParcelEntry>) -> bool {
        self.cancelled.is_some() || self.stage(parcels) == Stage::HandedOver
    }
    /// The stage of the least advanced parcel.
    pub fn stage(&self, parcels: &BTreeMap<ParcelId, ParcelEntry>) -> Stage {
        self.parcels.iter().filter_map(|id| parcels.get(id)).map(|p| p.stage).min().unwrap_or(Stage::Received)
    }
}
