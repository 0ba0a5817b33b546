//! How things stand: one view for people and programs. Pure.

use super::things::{Thing, things};
use super::{ReadState, jobs, lookup, words};
use crate::book::{Mode, Stage, StopKind};
use crate::model::*;
use crate::print::quiet::QuietHours;
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

/// Columns of the text.
pub const COLUMNS: usize = 78;
/// Times when the program was off are shown for so long.
const OUTAGES_SHOWN_FOR: SignedDuration = SignedDuration::from_hours(24);
/// So many of them.
const OUTAGES_MAX: usize = 3;

/// How things stand.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// The workshop's name.
    pub workshop: String,
    /// When this was asked.
    pub at: Timestamp,
    /// Likewise, local, in words.
    pub local: String,
    /// `all is well` or `needs you: 2 things`.
    pub headline: String,
    /// What needs a person.
    pub things: Vec<Thing>,
    /// Worth knowing, but nobody needs to do anything.
    pub notices: Vec<String>,
    /// Trickle or burst.
    pub mode: Mode,
    /// A person chose it.
    #[serde(default)]
    pub mode_held: bool,
    /// Since when.
    pub mode_since: Option<Timestamp>,
    /// Open orders by stage and stop.
    pub orders: OrderCounts,
    /// Open orders that share their parcels.
    #[serde(default)]
    pub joined: JoinedCounts,
    /// Papers that are not on paper.
    pub papers: PaperCounts,
    /// The last new order.
    pub last_order: Option<LastOrder>,
    /// The last paper.
    pub last_paper: Option<LastPaper>,
    /// When the last good backup was made.
    pub last_backup: Option<Timestamp>,
    /// When the program was off, within a day, latest last.
    pub off: Vec<Off>,
}

/// Open orders by stage, and how many of them are stopped (an order may count in several stops).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct OrderCounts {
    /// Not planned yet.
    pub received: usize,
    /// With a plan.
    pub planned: usize,
    /// With a slip.
    pub printed: usize,
    /// Packed.
    pub packed: usize,
    /// A question stands.
    pub needs_you: usize,
    /// A person or a rule holds them.
    pub held: usize,
    /// Made to order, stock, a date.
    pub waiting: usize,
}

/// Open orders that share their parcels, and what that saves.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct JoinedCounts {
    /// Orders.
    pub orders: usize,
    /// Groups of such orders: each would need so many parcels more if its orders went apart.
    pub groups: usize,
    /// In all, with its unit; none where nothing is joined.
    pub saves: Option<String>,
}

/// Papers by state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PaperCounts {
    /// Wait for their turn.
    pub queued: usize,
    /// On their way.
    pub sending: usize,
    /// In doubt.
    pub uncertain: usize,
}

/// The last new order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LastOrder {
    /// Its number.
    pub number: String,
    /// Its shop.
    pub source: SourceName,
    /// When.
    pub at: Timestamp,
}

/// The last paper.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LastPaper {
    /// What it was, in words.
    pub what: String,
    /// When.
    pub at: Timestamp,
}

/// A time when the program was off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Off {
    /// Last sign of life.
    pub from: Timestamp,
    /// Start.
    pub to: Timestamp,
    /// The last order before it.
    pub last_order: Option<String>,
}

/// Looks at everything. Same arguments, same answer.
pub fn status(read: &ReadState, now: Timestamp) -> Status {
    let state = &read.state;
    let things = things(read, now);
    let headline = match things.len() {
        0 => "all is well".to_owned(),
        n => format!("needs you: {}", words::count(n, "thing", "things")),
    };
    let last_order = state
        .shops
        .iter()
        .filter_map(|(source, shop)| shop.last_order.as_ref().map(|(number, at)| (source, number, *at)))
        .max_by_key(|(_, _, at)| *at)
        .map(|(source, number, at)| LastOrder { number: words::tame(number), source: source.clone(), at });
    let last_paper = state
        .jobs
        .values()
        .filter(|job| matches!(job.state, JobState::OnPaper { .. }))
        .max_by_key(|job| job.since)
        .map(|job| LastPaper { what: jobs::paper_name(state, job), at: job.since });
    let recent = state.outages.iter().filter(|off| now.duration_since(off.to) <= OUTAGES_SHOWN_FOR);
    let mut off: Vec<Off> = recent
        .map(|off| Off {
            from: off.from,
            to: off.to,
            last_order: off.last_order.as_ref().map(|key| lookup::shown(state, key)),
        })
        .collect();
    off.drain(..off.len().saturating_sub(OUTAGES_MAX));
    Status {
        workshop: read.workshop.name.clone(),
        at: now,
        local: words::day_and_time(&read.workshop.zone, now),
        headline,
        things,
        notices: notices(read, now),
        mode: state.mode,
        mode_held: state.mode_held,
        mode_since: state.mode_since,
        orders: count_orders(read),
        joined: count_joined(read),
        papers: count_papers(read),
        last_order,
        last_paper,
        last_backup: read.last_backup,
        off,
    }
}

fn notices(read: &ReadState, now: Timestamp) -> Vec<String> {
    let mut notices = Vec::new();
    notices.extend(upgraded(read, now));
    notices.extend(personal_data(read, now));
    notices.extend(quiet_hours(read, now));
    notices.extend(read.notes.iter().cloned());
    let lag = read.index;
    if lag.rebuilding {
        let (done, all) = (lag.indexed, lag.written);
        notices.push(format!(
            "the index is being rebuilt, {done} of {all} facts are in; nothing waits for it but searches in old orders"
        ));
    }
    for printer in &read.printers {
        let left = printer.slips_left.map(|slips| {
            format!("this roll ends after about {}", words::count(slips as usize, "more slip", "more slips"))
        });
        let told: Vec<&str> = [&printer.warning, &left].into_iter().flatten().map(String::as_str).collect();
        if !told.is_empty() {
            notices.push(format!("printer \"{}\": {}", printer.printer, told.join("; ")));
        }
    }
    notices
}

/// For a day: another version of the program has taken over.
fn upgraded(read: &ReadState, now: Timestamp) -> Option<String> {
    let change = read.state.upgraded.as_ref().filter(|change| now.duration_since(change.at) <= OUTAGES_SHOWN_FOR)?;
    let from = change.from.as_ref().map_or("an earlier version".to_owned(), |from| format!("version {from}"));
    let since = words::moment(&read.workshop.zone, change.at, now);
    Some(format!(
        "dawnslip {} took over from {from} at {since}: old records stay as they are and are read as before; snapshots are written in today's form from now on",
        change.to
    ))
}

/// When old personal data were last looked for, and what still has to be erased.
fn personal_data(read: &ReadState, now: Timestamp) -> Vec<String> {
    let (state, zone) = (&read.state, &read.workshop.zone);
    let mut lines = Vec::new();
    if let Some(since) = state.erasing.values().map(|erasing| erasing.at).min() {
        let orders = words::count(state.erasing.len(), "order", "orders");
        let since = words::moment(zone, since, now);
        lines.push(format!("personal data of {orders} are being erased since {since}; what failed is in the log"));
    }
    if let Some(last) = state.retention {
        let days = words::count(read.workshop.retention_days as usize, "day", "days");
        let found = match last.orders {
            0 => "nothing was older".to_owned(),
            n => format!("those of {} were erased", words::count(n as usize, "order", "orders")),
        };
        let at = words::moment(zone, last.at, now);
        lines.push(format!("personal data are kept for {days} after an order ends; last looked at {at}: {found}"));
    }
    lines
}

/// In quiet hours: until when papers wait, where any do.
fn quiet_hours(read: &ReadState, now: Timestamp) -> Option<String> {
    let zone = &read.workshop.zone;
    let hours = QuietHours { zone: zone.clone(), hours: read.workshop.day.quiet };
    let (is_quiet, until) = hours.at(now);
    // A stop note prints at any hour.
    let waits = |job: &&Job| job.kind != PaperKind::StopNote && matches!(job.state, JobState::Queued);
    let waiting = read.state.jobs.values().filter(waits).count();
    if !is_quiet || waiting == 0 {
        return None;
    }
    let until = until.map(|at| format!(" until {}", words::moment(zone, at, now))).unwrap_or_default();
    let wait = if waiting == 1 { "waits" } else { "wait" };
    Some(format!("quiet hours: nothing prints{until}; {} {wait}", words::count(waiting, "paper", "papers")))
}

fn count_orders(read: &ReadState) -> OrderCounts {
    let mut counts = OrderCounts::default();
    for entry in read.state.orders.values().filter(|entry| !entry.is_closed(&read.state.parcels)) {
        match entry.stage(&read.state.parcels) {
            Stage::Received => counts.received += 1,
            Stage::Planned => counts.planned += 1,
            Stage::Printed => counts.printed += 1,
            Stage::Packed => counts.packed += 1,
            Stage::HandedOver => {}
        }
        let has = |kind: fn(&StopKind) -> bool| usize::from(entry.stops.iter().any(|stop| kind(&stop.kind)));
        counts.needs_you += has(|kind| matches!(kind, StopKind::NeedsYou(_)));
        counts.held += has(|kind| matches!(kind, StopKind::Held { .. }));
        counts.waiting += has(|kind| matches!(kind, StopKind::Waiting(_)));
    }
    counts
}

fn count_joined(read: &ReadState) -> JoinedCounts {
    let state = &read.state;
    let open = state.orders.values().filter(|entry| !entry.is_closed(&state.parcels));
    let joined = open.filter_map(|entry| Some((entry, entry.common_plan()?)));
    let mut counts = JoinedCounts::default();
    let mut saves: Option<Money> = None;
    for (entry, plan) in joined {
        counts.orders += 1;
        // Each plan once, with its leading order.
        if let Some(saved) = plan.joined_saves.filter(|_| plan.order == entry.order.key) {
            counts.groups += 1;
            saves = Some(saves.map_or(saved, |sum| sum + saved));
        }
    }
    counts.saves = saves.map(|saves| saves.to_string());
    counts
}

fn count_papers(read: &ReadState) -> PaperCounts {
    let mut counts = PaperCounts::default();
    for job in read.state.jobs.values() {
        match job.state {
            JobState::Queued => counts.queued += 1,
            JobState::Sending { .. } => counts.sending += 1,
            JobState::Uncertain { .. } => counts.uncertain += 1,
            JobState::OnPaper { .. } | JobState::Dropped { .. } => {}
        }
    }
    counts
}

impl Status {
    /// Text for a terminal: the first line says it all, then each thing, then a short footer.
    pub fn text(&self, zone: &jiff::tz::TimeZone) -> String {
        let mut text = line_with_right_end(&self.headline, &self.local);
        for (index, thing) in self.things.iter().enumerate() {
            if index == 0 {
                text.push('\n');
            }
            thing_text(&mut text, index + 1, thing, &words::moment(zone, thing.since, self.at));
        }
        text.push('\n');
        for (name, line) in self.lines(zone) {
            text.push_str(&words::hanging(&format!("{name:<9}"), &line, COLUMNS));
        }
        text
    }

    /// The lines below the things: a name and what stands behind it.
    pub fn lines(&self, zone: &jiff::tz::TimeZone) -> Vec<(&'static str, String)> {
        let clock = |at: Timestamp| words::moment(zone, at, self.at);
        let mut lines: Vec<(&'static str, String)> = Vec::new();
        let orders = joined(&[
            (self.orders.received, "received"),
            (self.orders.planned, "planned"),
            (self.orders.printed, "printed"),
            (self.orders.packed, "packed"),
        ]);
        lines.push(("orders", if orders.is_empty() { "none are open".into() } else { orders }));
        let stops =
            [(self.orders.needs_you, "needs you"), (self.orders.held, "held"), (self.orders.waiting, "waiting")];
        let stopped = stops.iter().filter(|(count, _)| *count > 0).map(|(count, word)| format!("{word}: {count}"));
        let stopped = stopped.collect::<Vec<_>>().join(" · ");
        if !stopped.is_empty() {
            lines.push(("stopped", stopped));
        }
        if let Some(saves) = &self.joined.saves {
            let orders = words::count(self.joined.orders, "order", "orders");
            let groups = words::count(self.joined.groups, "customer", "customers");
            lines.push(("joined", format!("{orders} of {groups} travel together: saves {saves}")));
        }
        let papers = joined(&[
            (self.papers.queued, "queued"),
            (self.papers.sending, "sending"),
            (self.papers.uncertain, "uncertain"),
        ]);
        if !papers.is_empty() {
            lines.push(("papers", papers));
        }
        let since = self.mode_since.map(|at| format!(" since {}", clock(at))).unwrap_or_default();
        let start = "print them in pack order: dawnslip start-packing";
        match (self.mode, self.mode_held) {
            (Mode::Trickle, false) => {}
            (Mode::Burst, false) => {
                lines.push(("burst", format!("orders rush in{since}; slips and cards wait, {start}")));
            }
            (Mode::Burst, true) => lines.push((
                "burst",
                format!("you said so{since}; slips and cards wait, {start}; to end this: dawnslip mode auto"),
            )),
            (Mode::Trickle, true) => lines.push((
                "trickle",
                format!("you said so{since}; slips print at once, also in a rush; to end this: dawnslip mode auto"),
            )),
        }
        let order = self.last_order.as_ref();
        let order =
            order.map_or("no order yet".to_owned(), |o| format!("order {} ({}, {})", clock(o.at), o.number, o.source));
        let paper = self.last_paper.as_ref();
        let paper = paper.map_or("no paper yet".to_owned(), |p| format!("paper {} ({})", clock(p.at), p.what));
        lines.push(("last", format!("{order} · {paper}")));
        lines.extend(self.last_backup.map(|at| ("backup", clock(at))));
        for off in &self.off {
            let before =
                off.last_order.as_ref().map(|n| format!("; the last order before was {n}")).unwrap_or_default();
            lines.push(("off", format!("from {} to {}{before}", clock(off.from), clock(off.to))));
        }
        for notice in &self.notices {
            lines.push(("note", notice.clone()));
        }
        lines
    }
}

/// `12 planned · 20 printed`, without what is none.
fn joined(parts: &[(usize, &str)]) -> String {
    let some = parts.iter().filter(|(count, _)| *count > 0);
    some.map(|(count, word)| format!("{count} {word}")).collect::<Vec<_>>().join(" · ")
}

/// Left text, and a right one that ends at the last column.
pub fn line_with_right_end(left: &str, right: &str) -> String {
    let space = COLUMNS.saturating_sub(left.chars().count() + right.chars().count()).max(2);
    format!("{left}{}{right}\n", " ".repeat(space))
}

fn thing_text(text: &mut String, number: usize, thing: &Thing, since: &str) {
    let head = format!("{} {}", thing.what, words::unbroken(&format!("· since {since} ({})", thing.age)));
    text.push_str(&words::hanging(&format!("{number:<3}"), &head, COLUMNS));
    if !thing.why.is_empty() {
        text.push_str(&words::hanging("   why  ", &thing.why, COLUMNS));
    }
    for (index, line) in thing.remedy.iter().enumerate() {
        text.push_str(&words::hanging(if index == 0 { "   do   " } else { "        " }, line, COLUMNS));
    }
}
