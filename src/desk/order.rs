//! One order with everything around it: stops, parcels, why this box and service, papers,
//! history. Pure.

use super::history::{Happened, history, stop};
use super::jobs::JobView;
use super::{ReadState, jobs, lookup, status, words};
use crate::book::{OrderEntry, Stamped, State, StopKind};
use crate::model::*;
use jiff::Timestamp;
use serde::Serialize;

/// Everything about an order. Field names are stable.
#[derive(Debug, Clone, Serialize)]
pub struct OrderView {
    /// The shop's number.
    pub number: String,
    /// The shop.
    pub source: SourceName,
    /// `received`, `planned`, `printed`, `packed`, `handed over`, or `cancelled`.
    pub stage: String,
    /// What stops it.
    pub stops: Vec<StopView>,
    /// When it came.
    pub received: Timestamp,
    /// When the content in force came.
    pub revised: Timestamp,
    /// Version of the content in force, from 1.
    pub version: u32,
    /// Who receives it; `null` once forgotten.
    pub recipient: Option<Vec<String>>,
    /// Since when its personal data are erased.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub erased: Option<Timestamp>,
    /// Where it goes, as far as zones need it.
    pub destination: Destination,
    /// A gift.
    pub gift: bool,
    /// The customer's wish.
    pub wish: Option<String>,
    /// The goods as ordered.
    pub lines: Vec<LineView>,
    /// The parcels.
    pub parcels: Vec<ParcelView>,
    /// The plan with its explanation, as kept.
    pub plan: Option<Plan>,
    /// Whether it shares its parcels with other orders of the customer, or why not; `null` where
    /// that never was the question.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub together: Option<TogetherView>,
    /// Its papers.
    pub papers: Vec<JobView>,
    /// What has happened.
    pub history: Vec<Happened>,
}

/// A stop.
#[derive(Debug, Clone, Serialize)]
pub struct StopView {
    /// `needs you`, `held`, `waiting`.
    pub kind: &'static str,
    /// In words.
    pub what: String,
    /// Since when.
    pub since: Timestamp,
    /// What to do.
    #[serde(rename = "do")]
    pub remedy: String,
    /// Questions: as typed in `dawnslip decide`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cause: Option<String>,
}

/// Several orders in one parcel, or why not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TogetherView {
    /// Numbers of the other orders in its parcels.
    pub with: Vec<String>,
    /// What that saves, with its unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub saves: Option<String>,
    /// Those of them that are stopped: this order waits with them.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub stopped: Vec<String>,
    /// Why it travels alone; empty where it does not.
    pub why_not: String,
    /// A person keeps it apart.
    pub apart: bool,
}

/// A line of goods.
#[derive(Debug, Clone, Serialize)]
pub struct LineView {
    /// How many.
    pub quantity: u32,
    /// The sku.
    pub sku: Sku,
    /// What it is called.
    pub name: String,
}

/// A parcel.
#[derive(Debug, Clone, Serialize)]
pub struct ParcelView {
    /// As on its slip.
    pub label: String,
    /// Where it stands.
    pub stage: &'static str,
    /// Since when.
    pub since: Timestamp,
    /// Container and service in short.
    pub how: String,
    /// Numbers of all its orders.
    pub orders: Vec<String>,
}

/// The order's stage in a word; `cancelled` ends it.
pub fn stage(state: &State, entry: &OrderEntry) -> &'static str {
    if entry.cancelled.is_some() { "cancelled" } else { entry.stage(&state.parcels).word() }
}

/// Gathers everything.
pub fn view(read: &ReadState, entry: &OrderEntry, facts: Vec<Stamped>) -> OrderView {
    let state = &read.state;
    let order = &entry.order;
    let person = read.people.of(&order.key, entry.version);
    let recipient = person.map(|person| {
        let parts = [&person.recipient].into_iter().chain(&person.street).chain([
            &person.locality,
            &person.region,
            &person.postcode,
        ]);
        parts.filter(|part| !part.is_blank()).map(|part| words::tame(part.reveal())).collect()
    });
    let parcels = entry.parcels.iter().filter_map(|id| Some((id, state.parcels.get(id)?)));
    let parcel_view = |(id, parcel): (&ParcelId, &crate::book::ParcelEntry)| ParcelView {
        label: words::tame(&state.label(*id)),
        stage: parcel.stage.word(),
        since: parcel.since,
        how: parcel.planned.spoken(),
        orders: parcel.orders.iter().map(|key| lookup::shown(state, key)).collect(),
    };
    let parcel_jobs = entry.parcels.iter().filter_map(|id| state.parcels.get(id)).flat_map(|parcel| &parcel.jobs);
    let papers = parcel_jobs.chain(&entry.note_jobs).filter_map(|id| state.jobs.get(id));
    OrderView {
        number: words::tame(&order.key.number),
        source: order.key.source.clone(),
        stage: stage(state, entry).to_owned(),
        stops: entry.stops.iter().map(|s| stop_view(read, &order.key, s)).collect(),
        received: entry.received,
        revised: entry.revised,
        version: entry.version,
        recipient,
        erased: entry.forgotten,
        destination: order.destination.clone(),
        gift: order.gift,
        wish: person.and_then(|p| p.wish.as_ref()).map(|wish| words::tame(wish.reveal())),
        lines: order.lines.iter().map(|line| line_view(&read.workshop, line)).collect(),
        parcels: parcels.map(parcel_view).collect(),
        plan: entry.plan.as_ref().map(|(plan, _)| in_words(plan)),
        together: together(state, entry),
        papers: papers.map(|job| jobs::view(state, &read.workshop, job)).collect(),
        history: history(state, &read.people, &order.key, facts),
    }
}

/// Does it share its parcels, with whom, and what does that save?
fn together(state: &State, entry: &OrderEntry) -> Option<TogetherView> {
    let key = &entry.order.key;
    if let Some(plan) = entry.common_plan() {
        let others = || plan.orders().filter(|other| *other != key);
        let is_stopped = |other: &&OrderKey| state.orders.get(*other).is_some_and(|other| !other.stops.is_empty());
        return Some(TogetherView {
            with: others().map(|other| lookup::shown(state, other)).collect(),
            saves: plan.joined_saves.map(|saves| saves.to_string()),
            stopped: others().filter(is_stopped).map(|other| lookup::shown(state, other)).collect(),
            why_not: String::new(),
            apart: false,
        });
    }
    let alone = |why_not: String| TogetherView {
        with: Vec::new(),
        saves: None,
        stopped: Vec::new(),
        why_not,
        apart: entry.apart,
    };
    if entry.apart {
        return Some(alone("a person keeps it apart".to_owned()));
    }
    if entry.order.separate {
        return Some(alone("the customer asks for a separate delivery".to_owned()));
    }
    let (pins, why) = entry.not_joined.as_ref()?;
    let others: Vec<String> = pins.joined.iter().map(|(other, _)| lookup::shown(state, other)).collect();
    Some(alone(words::tame(&format!("with {}: {why}", others.join(" and ")))))
}

fn line_view(workshop: &Workshop, line: &Line) -> LineView {
    let name = workshop.product(&line.sku).map_or(&line.name, |product| &product.name);
    LineView { quantity: line.quantity, sku: line.sku.clone(), name: words::tame(name) }
}

fn stop_view(read: &ReadState, order: &OrderKey, s: &crate::book::Stop) -> StopView {
    let number = lookup::shown(&read.state, order);
    let (remedy, cause) = match &s.kind {
        StopKind::NeedsYou(question) => (question.remedy.clone(), Some(question.cause.to_string())),
        StopKind::Held { .. } | StopKind::Waiting(Wait::Rule { .. }) => (format!("dawnslip release {number}"), None),
        StopKind::Waiting(Wait::MadeToOrder(_)) => (format!("when it is made: dawnslip ready {number}"), None),
        StopKind::Waiting(Wait::Date(_)) => {
            (format!("goes on by itself; to print it now: dawnslip ready {number}"), None)
        }
        StopKind::Waiting(Wait::Service { .. }) => ("goes on by itself".to_owned(), None),
        StopKind::Waiting(Wait::Stock { .. }) => {
            (format!("when there is more, correct the batch in products.toml; or: dawnslip ready {number}"), None)
        }
    };
    let said = read.people.said(order, s.since).filter(|_| matches!(s.kind, StopKind::Held { rule: None, .. }));
    let what = stop(&s.kind) + &said.map(|text| format!(": {}", text.reveal())).unwrap_or_default();
    StopView { kind: s.kind.word(), what: words::tame(&what), since: s.since, remedy, cause }
}

impl TogetherView {
    /// `with S-421 in one parcel: saves 4.80 EUR`.
    pub fn in_words(&self) -> String {
        if self.with.is_empty() {
            return format!("no: {}", self.why_not);
        }
        let saves = self.saves.as_ref().map(|saves| format!(": saves {saves}")).unwrap_or_default();
        let waits = match self.stopped.as_slice() {
            [] => String::new(),
            stopped => format!("; nothing more prints until {} may go on", stopped.join(" and ")),
        };
        format!("travels together with {}{saves}{waits}", self.with.join(" and "))
    }
}

impl OrderView {
    /// Text for a terminal.
    pub fn text(&self, read: &ReadState, now: Timestamp) -> String {
        let zone = &read.workshop.zone;
        let clock = |at: Timestamp| words::moment(zone, at, now);
        let columns = status::COLUMNS;
        let mut text = status::line_with_right_end(
            &format!("order {} from \"{}\"", self.number, self.source),
            &words::day_and_time(zone, now),
        );
        text.push_str(&format!("{}\n\n", self.headline()));
        if let Some(to) = self.address_line() {
            text.push_str(&words::hanging("to      ", &to, columns));
        }
        if let Some(at) = self.erased {
            text.push_str(&words::hanging("erased  ", &erased(zone, at), columns));
        }
        let version = if self.version > 1 {
            format!(", changed {} (version {})", clock(self.revised), self.version)
        } else {
            String::new()
        };
        text.push_str(&words::hanging("came    ", &format!("{}{version}", clock(self.received)), columns));
        for (index, line) in self.lines.iter().enumerate() {
            let lead = if index == 0 { "goods   " } else { "        " };
            text.push_str(&words::hanging(lead, &format!("{} x {} ({})", line.quantity, line.name, line.sku), columns));
        }
        if let Some(wish) = &self.wish {
            text.push_str(&words::hanging("wish    ", wish, columns));
        }
        if let Some(together) = &self.together {
            text.push_str(&words::hanging("joined  ", &together.in_words(), columns));
        }
        for s in &self.stops {
            text.push_str(&format!(
                "\n{}",
                words::hanging("! ", &format!("{} · since {}", s.what, clock(s.since)), columns)
            ));
            text.push_str(&words::hanging("  do  ", &s.remedy, columns));
        }
        if !self.parcels.is_empty() {
            text.push_str("\nPARCELS\n");
        }
        for parcel in &self.parcels {
            let line = format!("{} since {} · {}", parcel.stage, clock(parcel.since), parcel.how);
            text.push_str(&words::hanging(&format!("{:<10}", parcel.label), &line, columns));
        }
        if let Some(plan) = &self.plan {
            text.push('\n');
            text.push_str(&explain(plan, &read.workshop));
        }
        if !self.papers.is_empty() {
            text.push_str("\nPAPERS\n");
        }
        for job in &self.papers {
            text.push_str(&jobs::line(read, job, now));
        }
        if !self.history.is_empty() {
            text.push_str("\nHISTORY\n");
        }
        for entry in &self.history {
            text.push_str(&words::hanging(&format!("{}  ", clock(entry.at)), &entry.what, columns));
        }
        text
    }

    /// `printed · needs you · a gift`.
    pub fn headline(&self) -> String {
        let mut parts = vec![self.stage.clone()];
        for s in &self.stops {
            if !parts.iter().any(|part| part == s.kind) {
                parts.push(s.kind.to_owned());
            }
        }
        if self.gift {
            parts.push("a gift".into());
        }
        parts.join(" · ")
    }

    /// Name, street, place and country in one line; the rest of a forgotten person.
    pub fn address_line(&self) -> Option<String> {
        let country = self.destination.country.map(|code| code.to_string());
        let known: Vec<String> = match &self.recipient {
            Some(parts) => parts.iter().cloned().chain(country).collect(),
            None => [Some("(forgotten)".to_owned()), country].into_iter().flatten().collect(),
        };
        if known.is_empty() { None } else { Some(known.join(", ")) }
    }
}

/// That nothing tells of the person any more.
pub fn erased(zone: &jiff::tz::TimeZone, at: Timestamp) -> String {
    format!("personal data erased on {}; no slip or card can be made", words::day_and_time(zone, at))
}

/// `postage 6.40, fuel 0.22, container 0.62`: what is not nothing.
fn in_parts(cost: &CostParts, surcharged: &[(String, Money)]) -> String {
    let parts = cost.named(surcharged).into_iter().map(|(name, amount)| format!("{name} {}", amount.figure()));
    parts
        .chain(cost.labour_beside().map(|amount| format!("and labour {}", amount.figure())))
        .collect::<Vec<_>>()
        .join(", ")
}

/// `Medium by Road for 7.20 EUR: Medium has run out`.
pub fn replaced(instead: &Instead) -> String {
    let cost = instead.cost_before.map(|cost| format!(" for {cost}")).unwrap_or_default();
    let now = if instead.before == instead.now { "; the parcels stay" } else { "" };
    format!("{}{cost}: {}{now}", instead.before.join(" and "), instead.why.join("; "))
}

/// The plan as programs read it: cautions in words.
fn in_words(plan: &Plan) -> Plan {
    let mut plan = plan.clone();
    let cautions = plan.parcels.iter_mut().flat_map(|parcel| &mut parcel.cautions);
    cautions.for_each(|caution| *caution = Caution::Said(caution.to_string()));
    plan
}

/// Why this container and this service, in words.
pub fn explain(plan: &Plan, workshop: &Workshop) -> String {
    let columns = status::COLUMNS;
    let mut text = String::from("WHY THIS BOX AND SERVICE\n");
    for parcel in &plan.parcels {
        let cost = parcel.cost;
        text.push_str(&status::line_with_right_end(&parcel.spoken(), &cost.total().to_string()));
        let parts = in_parts(&cost, &parcel.surcharged);
        let units = workshop.locale.units;
        let weight = format!("{} ± {}", units.weight(parcel.weight), units.weight(parcel.tolerance));
        let charged = parcel.counts_as.map_or_else(String::new, |counts| format!("charged as {counts} for its size"));
        let foreign = parcel.foreign.as_ref().map_or_else(String::new, |foreign| format!("asks {foreign}"));
        let parts = [parts, foreign, weight, charged]
            .into_iter()
            .filter(|part| !part.is_empty())
            .collect::<Vec<_>>()
            .join(" · ");
        text.push_str(&words::hanging("   ", &parts, columns));
        let contents: Vec<String> = parcel
            .contents
            .iter()
            .map(|content| {
                let name = workshop.product(&content.sku).map_or(content.sku.as_str(), |product| &product.name);
                let batch = content.batch.as_ref().map(|batch| format!(" (batch {batch})")).unwrap_or_default();
                format!("{} x {name}{batch}", content.quantity)
            })
            .collect();
        text.push_str(&words::hanging("   ", &contents.join(", "), columns));
        for note in parcel.cautions.iter().map(|c| format!("caution: {c}")).chain(parcel.notes.iter().cloned()) {
            text.push_str(&words::hanging("   ", &note, columns));
        }
    }
    if let Some(saves) = plan.joined_saves {
        let line =
            format!("{} together: saves {saves} against a parcel for each", super::history::together(plan.orders()));
        text.push_str(&words::hanging("   ", &line, columns));
    }
    text.push_str(&match &plan.verdict {
        Verdict::Proved => "proved cheapest: no other choice costs less\n".to_owned(),
        Verdict::BestFound { least_possible } => {
            format!("best found; nothing can cost less than {least_possible}\n")
        }
        Verdict::Nothing => "nothing can be packed until a person decides\n".to_owned(),
    });
    if let Some(instead) = &plan.instead {
        text.push_str(&words::hanging("instead of ", &replaced(instead), columns));
    }
    let (dearer, refused): (Vec<_>, Vec<_>) = plan.alternatives.iter().partition(|other| other.cost.is_some());
    let told = |text: &mut String, other: &Alternative| {
        let cost = other.cost.map_or("-".to_owned(), |money| money.figure());
        let lead = format!("   {:<24} {cost:>7}  ", other.what);
        text.push_str(&words::hanging(&lead, &other.why, columns.max(lead.chars().count() + 24)));
    };
    for (index, other) in dearer.into_iter().enumerate() {
        if let Some(heading) = other.heading(index) {
            text.push_str(heading);
            text.push('\n');
        }
        told(&mut text, other);
        if let Some(parts) = &other.parts {
            text.push_str(&words::hanging("   ", &in_parts(parts, &[]), columns));
        }
    }
    if !refused.is_empty() {
        text.push_str("refused\n");
    }
    refused.into_iter().for_each(|other| told(&mut text, other));
    if !plan.what_would_change.is_empty() {
        text.push_str("what would change it\n");
    }
    for change in &plan.what_would_change {
        text.push_str(&words::hanging("   ", change, columns));
    }
    if !plan.rules.is_empty() {
        text.push_str(&words::hanging("rules that took part: ", &plan.rules.join(", "), columns));
    }
    text
}
