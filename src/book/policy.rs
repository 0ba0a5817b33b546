//! What the book needs of the configuration.

use crate::model::*;
use jiff::civil::{Date, Time};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// What the book needs of the configuration; part of a fact, so that the fold needs nothing else.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Policy {
    /// IANA name.
    pub zone: String,
    /// Local time of the pick list.
    pub pick_list_at: Time,
    /// ISO weekday numbers (1 = Monday) without a pick list.
    pub closed_weekdays: BTreeSet<i8>,
    /// Dates without one.
    pub closed_dates: BTreeSet<Date>,
    /// Size of a day.
    pub parcels_a_day: u32,
    /// So many new orders ...
    pub burst_orders: u32,
    /// ... within so many seconds are a burst.
    pub burst_seconds: i64,
    /// Sources whose numbers have no gaps, with the text before the digits.
    pub gapless: BTreeMap<SourceName, String>,
    /// Sources with their own moment of printing.
    pub print: BTreeMap<SourceName, PrintWhen>,
    /// What happens to uncertain jobs; a missing kind prints a copy.
    pub uncertain: BTreeMap<PaperKind, WhenUncertain>,
    /// What prints beside the slip of each parcel, by service.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub prints: BTreeMap<ServiceName, Vec<PaperKind>>,
    /// From when on a parcel that is planned no longer goes today, local time, by service.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub latest: BTreeMap<ServiceName, Time>,
    /// Orders of one customer to one address may travel together.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub join: bool,
    /// Days for which closed orders stay in the state before they are archived.
    pub archive_after_days: u32,
}
