//! The open orders in a list. Pure.

use super::{ReadState, lookup, order, status, words};
use crate::book::OrderEntry;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// So many orders are listed; the rest is counted.
pub const LISTED_MAX: usize = 500;

/// Which orders.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Wanted {
    /// Only those at this stage, or with this stop, in the words of the desk; `None`: all.
    pub word: Option<String>,
    /// Closed ones, too.
    pub closed_too: bool,
}

/// The words that [`Wanted::word`] may hold.
pub const WORDS: [&str; 9] =
    ["received", "planned", "printed", "packed", "handed over", "cancelled", "needs you", "held", "waiting"];

/// A list of orders.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Orders {
    /// Oldest first.
    pub orders: Vec<OrderLine>,
    /// So many more are not listed.
    pub more: usize,
}

/// An order in a line.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct OrderLine {
    /// As typed in `dawnslip order`.
    pub number: String,
    /// The shop.
    pub source: String,
    /// Where it stands.
    pub stage: String,
    /// What stops it, in words, each once.
    pub stops: Vec<String>,
    /// When it came.
    pub received: Timestamp,
    /// Pieces.
    pub pieces: u32,
    /// Parcels in short.
    pub parcels: Vec<String>,
    /// Orders in the same parcels, where there are any.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub with: Vec<String>,
    /// What that saves, all of them together.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub saves: Option<String>,
    /// The recipient's name; absent once forgotten.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recipient: Option<String>,
}

/// Lists the orders that are wanted.
pub fn orders(read: &ReadState, wanted: &Wanted) -> Orders {
    let state = &read.state;
    let word = wanted.word.as_deref();
    let by_word = |entry: &&OrderEntry| match word {
        None => wanted.closed_too || !entry.is_closed(&state.parcels),
        Some(word) => order::stage(state, entry) == word || entry.stops.iter().any(|s| s.kind.word() == word),
    };
    let mut found: Vec<&OrderEntry> = state.orders.values().filter(by_word).collect();
    found.sort_by(|a, b| (a.received, &a.order.key).cmp(&(b.received, &b.order.key)));
    let more = found.len().saturating_sub(LISTED_MAX);
    let orders = found.into_iter().take(LISTED_MAX).map(|entry| line(read, entry)).collect();
    Orders { orders, more }
}

fn line(read: &ReadState, entry: &OrderEntry) -> OrderLine {
    let state = &read.state;
    let key = &entry.order.key;
    let mut stops: Vec<String> = Vec::new();
    for s in &entry.stops {
        let word = s.kind.word().to_owned();
        if !stops.contains(&word) {
            stops.push(word);
        }
    }
    let common = entry.common_plan();
    let with = common.into_iter().flat_map(|plan| plan.orders()).filter(|other| *other != key);
    let parcels = entry.parcels.iter().filter_map(|id| state.parcels.get(id));
    OrderLine {
        number: lookup::shown(state, key),
        source: key.source.to_string(),
        stage: order::stage(state, entry).to_owned(),
        stops,
        received: entry.received,
        pieces: entry.order.lines.iter().map(|line| line.quantity).fold(0, u32::saturating_add),
        parcels: parcels.map(|parcel| parcel.planned.spoken()).collect(),
        with: with.map(|other| lookup::shown(state, other)).collect(),
        saves: common.and_then(|plan| plan.joined_saves).map(|saves| saves.to_string()),
        recipient: read.people.of(key, entry.version).map(|person| words::tame(person.recipient.reveal())),
    }
}

impl Orders {
    /// Text for a terminal: one line an order.
    pub fn text(&self, read: &ReadState, now: Timestamp) -> String {
        if self.orders.is_empty() {
            return "no such orders\n".to_owned();
        }
        let mut text = String::new();
        let width = |f: fn(&OrderLine) -> usize, least: usize| self.orders.iter().map(f).max().unwrap_or(0).max(least);
        let number_width = width(|o| o.number.chars().count(), 6).min(24);
        let standing: Vec<String> = self.orders.iter().map(OrderLine::standing).collect();
        let standing_width = standing.iter().map(|s| s.chars().count()).max().unwrap_or(0).max(8);
        for (order, standing) in self.orders.iter().zip(&standing) {
            let since = words::moment(&read.workshop.zone, order.received, now);
            let name = order.recipient.as_deref().unwrap_or("(forgotten)");
            let pieces = words::count(order.pieces as usize, "piece", "pieces");
            let parcels =
                if order.parcels.is_empty() { String::new() } else { format!(" · {}", order.parcels.join(" + ")) };
            let lead = format!("{:<number_width$}  {standing:<standing_width$}  ", order.number);
            let with = match (order.with.as_slice(), &order.saves) {
                ([], _) => String::new(),
                (with, Some(saves)) => format!(" · with {}: saves {saves}", with.join(" + ")),
                (with, None) => format!(" · with {}", with.join(" + ")),
            };
            let rest = format!("{since} · {name} · {pieces}{parcels}{with}");
            text.push_str(&words::hanging(&lead, &rest, status::COLUMNS.max(lead.chars().count() + 40)));
        }
        if self.more > 0 {
            text.push_str(&format!("and {} more\n", self.more));
        }
        text
    }
}

impl OrderLine {
    /// `planned, needs you`.
    pub fn standing(&self) -> String {
        let mut text = self.stage.clone();
        for s in &self.stops {
            text.push_str(", ");
            text.push_str(s);
        }
        text
    }
}
