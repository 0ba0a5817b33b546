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
    /// What happens to uncertain jobs, as the printer to which their kind is routed says; a missing kind prints a copy.
    pub uncertain: BTreeMap<PaperKind, WhenUncertain>,
    /// The same as each printer says, where there are several: shops and rules may choose another than the kind's.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub uncertain_at: BTreeMap<PrinterName, BTreeMap<PaperKind, WhenUncertain>>,
    /// Shops with a printer of their own.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub shop_printers: BTreeMap<SourceName, PrinterName>,
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
