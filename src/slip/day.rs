//! The day's work, gathered for the pick list.

use super::brief::{self, label, product_name, shelf_of};
use super::clean::{self, NOTE_MAX};
use super::words::{Form, key};
use crate::book::{ParcelEntry, People, Stage, State, StopKind};
use crate::model::{BatchName, ContainerName, OrderKey, ParcelId, Sku, SupplyName, Workshop};
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

/// Everything that the pick list says, in the order in which it says it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct DayBrief {
    /// The list's own date.
    pub date: String,
    /// Why it did not print at its hour, what was missed: whole sentences.
    pub remarks: Vec<String>,
    /// Parcels of the day, in pack order.
    pub parcels: usize,
    /// Their orders.
    pub orders: usize,
    /// Parcels that are ready but lie beyond the day's size.
    pub beyond: usize,
    /// Questions, most orders first.
    pub decide: Vec<Decide>,
    /// In shelf order.
    pub fetch: Vec<Fetch>,
    /// At the bench before packing: how many, of what, what to do.
    pub prepare: Vec<(u32, String, String)>,
    /// Containers to fold.
    pub fold: Vec<Fold>,
    /// What will not last the day: whole sentences, the second where it ends.
    pub runs_out: Vec<(String, String)>,
    /// In pack order, one container a time.
    pub pack: Vec<Group>,
    /// Parcels per service.
    pub tally: Vec<(String, usize)>,
    /// Whose promised day has passed: number, name, when.
    pub late: Vec<(String, String, String)>,
}

/// One question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decide {
    /// `12 orders`, or the one order's number, or nothing.
    pub whose: String,
    /// What is the matter.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

/// One pull from the shelf.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fetch {
    /// Where.
    pub shelf: String,
    /// How many.
    pub quantity: u32,
    /// Of what.
    pub name: String,
    /// From which batch, or empty.
    pub batch: String,
}

/// One size of container.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fold {
    /// How many.
    pub count: usize,
    /// Of which.
    pub container: String,
    /// How many of them go in which carrier's container: whole phrases.
    pub inside: Vec<String>,
}

/// Parcels in one size of container.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Group {
    /// Which.
    pub container: String,
    /// In pack order.
    pub parcels: Vec<PackLine>,
}

/// One parcel of the pack list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackLine {
    /// Order number.
    pub number: String,
    /// `1/2` where the order has several parcels, else empty.
    pub part: String,
    /// Recipient.
    pub name: String,
    /// "2 things".
    pub things: String,
    /// How it travels.
    pub service: String,
    /// Predicted.
    pub weight: String,
}

/// Gathers the list of `date`. `extra` is 0 for the scheduled one.
pub fn day(date: Date, extra: u32, state: &State, people: &People, workshop: &Workshop, now: Timestamp) -> DayBrief {
    let form = Form::of(workshop);
    let ready = ready(state);
    let size = workshop.day.parcels_a_day as usize;
    let (todays, beyond) = ready.split_at(ready.len().min(size));
    let parcels: Vec<(ParcelId, &ParcelEntry)> = pack_order(todays, state, workshop);
    let orders: BTreeSet<&OrderKey> = parcels.iter().flat_map(|(_, p)| &p.orders).collect();
    DayBrief {
        date: form.full(now),
        remarks: remarks(date, extra, state, workshop, &form, now),
        parcels: parcels.len(),
        orders: orders.len(),
        beyond: beyond.len(),
        decide: decide(state, &form),
        fetch: fetch(&parcels, state, workshop, &form),
        prepare: prepare(&parcels, workshop),
        fold: fold(&parcels, workshop, &form),
        runs_out: runs_out(&parcels, workshop, &form),
        pack: pack(&parcels, state, people, workshop, &form),
        tally: tally(&parcels, workshop),
        late: late(&parcels, state, people, &form, date),
    }
}

/// Parcels that may be packed and are not yet, oldest promise first; urgent ones before all.
fn ready(state: &State) -> Vec<ParcelId> {
    let open = |key: &OrderKey| state.orders.get(key).is_some_and(|o| o.cancelled.is_none() && o.stops.is_empty());
    let mut ready: Vec<_> = (state.parcels.iter())
        .filter(|(_, p)| matches!(p.stage, Stage::Planned | Stage::Printed) && p.orders.iter().all(open))
        .map(|(id, p)| {
            let lead = p.orders.first().and_then(|key| state.orders.get(key));
            let plan = lead.and_then(|o| o.plan.as_ref()).map(|(plan, _)| plan);
            (!plan.is_some_and(|p| p.urgent), plan.map(|p| p.pins.hand_over), lead.map(|o| o.received), *id)
        })
        .collect();
    ready.sort();
    ready.into_iter().map(|(.., id)| id).collect()
}

/// One container size at a time, in the order of the file; within it the oldest promise first.
fn pack_order<'a>(todays: &[ParcelId], state: &'a State, workshop: &Workshop) -> Vec<(ParcelId, &'a ParcelEntry)> {
    let place = |name: &ContainerName| workshop.containers.iter().position(|c| &c.name == name).unwrap_or(usize::MAX);
    let mut parcels: Vec<_> = todays.iter().filter_map(|id| state.parcels.get(id).map(|p| (*id, p))).collect();
    parcels.sort_by_key(|(_, p)| place(&p.planned.container));
    parcels
}

/// A list that comes later than its hour says so, and every list what was missed meanwhile.
fn remarks(date: Date, extra: u32, state: &State, workshop: &Workshop, form: &Form, now: Timestamp) -> Vec<String> {
    let mut remarks = Vec::new();
    let due = crate::model::daytime::instant_of(&workshop.zone, date, workshop.day.pick_list_at);
    let covering = state.outages.iter().rev().find(|o| o.from <= due && due <= o.to);
    if extra > 0 {
        remarks.push(form.word(key::ON_REQUEST).to_owned());
    } else if let Some(outage) = covering {
        let (time, from, to) = (form.time(now), form.moment(outage.from, now), form.moment(outage.to, now));
        remarks.push(form.fill(key::MADE_UP, &[("time", &time), ("from", &from), ("to", &to)]));
    } else if now.duration_since(due) > LATE_AFTER {
        remarks.push(form.fill(key::MADE_UP_LATE, &[("time", &form.time(now))]));
    }
    let day_before = now - jiff::SignedDuration::from_hours(24);
    for outage in state.outages.iter().filter(|o| o.to > day_before) {
        let is_told = extra == 0 && covering == Some(outage);
        let (from, to) = (form.moment(outage.from, now), form.moment(outage.to, now));
        match &outage.last_order {
            Some(order) => {
                let places = [("from", from.as_str()), ("to", &to), ("order", &label(&order.number))];
                remarks.push(form.fill(key::OFF_LAST, &places));
            }
            None if !is_told => remarks.push(form.fill(key::OFF, &[("from", &from), ("to", &to)])),
            None => {}
        }
    }
    remarks
}

/// A list that prints later than this after its hour was made up for.
const LATE_AFTER: jiff::SignedDuration = jiff::SignedDuration::from_mins(10);

fn decide(state: &State, form: &Form) -> Vec<Decide> {
    let mut causes: BTreeMap<String, (Vec<&OrderKey>, String, String)> = BTreeMap::new();
    let of_orders = state.orders.iter().flat_map(|(key, o)| o.stops.iter().map(move |stop| (Some(key), stop)));
    for (order, stop) in of_orders.chain(state.loose_stops.iter().map(|stop| (None, stop))) {
        let StopKind::NeedsYou(question) = &stop.kind else { continue };
        let entry = causes.entry(question.cause.to_string()).or_insert_with(|| {
            (Vec::new(), clean::line(&question.what, NOTE_MAX), clean::line(&question.remedy, NOTE_MAX))
        });
        entry.0.extend(order);
    }
    let mut all: Vec<(usize, Decide)> = causes
        .into_values()
        .map(|(orders, what, remedy)| {
            let whose = match orders[..] {
                [] => String::new(),
                [order] => label(&order.number),
                _ => form.count(orders.len(), key::ORDER, key::ORDERS),
            };
            (orders.len(), Decide { whose, what, remedy })
        })
        .collect();
    all.sort_by(|a, b| b.0.cmp(&a.0));
    let gaps = state.shops.values().flat_map(|shop| shop.gaps.values()).map(|gap| {
        let what = form.fill(key::NEVER_CAME, &[("before", &label(&gap.between.0)), ("after", &label(&gap.between.1))]);
        Decide { whose: label(&gap.number), what, remedy: String::new() }
    });
    all.into_iter().map(|(_, decide)| decide).chain(gaps).collect()
}

fn fetch(parcels: &[(ParcelId, &ParcelEntry)], state: &State, workshop: &Workshop, form: &Form) -> Vec<Fetch> {
    type Pull<'a> = (Vec<Piece>, &'a Sku, Option<Date>, Option<&'a BatchName>);
    let batch = |name: &BatchName| form.fill(key::BATCH, &[("batch", &label(name.as_str()))]);
    let mut pulls: BTreeMap<Pull, Fetch> = BTreeMap::new();
    for (_, parcel) in parcels {
        let lead = parcel.orders.first().and_then(|key| state.orders.get(key));
        for content in &parcel.planned.contents {
            let product = workshop.product(&content.sku);
            let shelf = shelf_of(content, product);
            let known = content.batch.as_ref().and_then(|b| product?.batches.iter().find(|known| &known.name == b));
            // Dates that are known go before those that are not: the first to expire is fetched first.
            let expires = known.and_then(|b| b.best_before).or(Some(Date::MAX));
            let pull = (natural(&shelf), &content.sku, expires, content.batch.as_ref());
            let fetch = pulls.entry(pull).or_insert_with(|| Fetch {
                shelf,
                quantity: 0,
                name: product_name(content, product, lead),
                batch: content.batch.as_ref().map(batch).unwrap_or_default(),
            });
            fetch.quantity = fetch.quantity.saturating_add(content.quantity);
        }
    }
    pulls.into_values().collect()
}

/// A shelf's label for sorting: A2 stands before A10.
fn natural(label: &str) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    for c in label.chars() {
        match (c.to_digit(10), pieces.last_mut()) {
            (Some(digit), Some(Piece::Number(n))) => *n = n.saturating_mul(10).saturating_add(u64::from(digit)),
            (Some(digit), _) => pieces.push(Piece::Number(u64::from(digit))),
            (None, Some(Piece::Letters(text))) => text.push(c),
            (None, _) => pieces.push(Piece::Letters(c.to_string())),
        }
    }
    pieces
}

#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Piece {
    Number(u64),
    Letters(String),
}

fn prepare(parcels: &[(ParcelId, &ParcelEntry)], workshop: &Workshop) -> Vec<(u32, String, String)> {
    let mut counts: BTreeMap<&Sku, u32> = BTreeMap::new();
    for content in parcels.iter().flat_map(|(_, p)| &p.planned.contents) {
        let count = counts.entry(&content.sku).or_default();
        *count = count.saturating_add(content.quantity);
    }
    let told = |(sku, count): (&Sku, u32)| {
        let product = workshop.product(sku)?;
        Some((count, label(&product.name), clean::line(product.preparation.as_deref()?, NOTE_MAX)))
    };
    counts.into_iter().filter_map(told).collect()
}

fn fold(parcels: &[(ParcelId, &ParcelEntry)], workshop: &Workshop, form: &Form) -> Vec<Fold> {
    let mut folds = Vec::new();
    for container in &workshop.containers {
        let of_it: Vec<_> = parcels.iter().filter(|(_, p)| p.planned.container == container.name).collect();
        if of_it.is_empty() {
            continue;
        }
        let mut outer: BTreeMap<&ContainerName, usize> = BTreeMap::new();
        for name in of_it.iter().filter_map(|(_, p)| p.planned.inside.as_ref()) {
            *outer.entry(name).or_default() += 1;
        }
        let go_in = |(name, n): (&ContainerName, usize)| {
            form.fill(key::GO_IN, &[("n", &n.to_string()), ("outer", &label(name.as_str()))])
        };
        folds.push(Fold {
            count: of_it.len(),
            container: label(container.name.as_str()),
            inside: outer.into_iter().map(go_in).collect(),
        });
    }
    folds
}

/// Supplies and containers that will not last, counted along the pack order.
fn runs_out(parcels: &[(ParcelId, &ParcelEntry)], workshop: &Workshop, form: &Form) -> Vec<(String, String)> {
    let mut told = Vec::new();
    let mut check = |name: &str, left: i64, needs: Vec<i64>, amount: &dyn Fn(i64) -> String| {
        let needed: i64 = needs.iter().sum();
        if needed <= left {
            return;
        }
        let mut used = 0;
        let last = needs.iter().take_while(|need| {
            used += **need;
            used <= left
        });
        let last = last.count();
        let what = [("supply", label(name)), ("left", amount(left)), ("needed", amount(needed))];
        let what = what.each_ref().map(|(place, text)| (*place, text.as_str()));
        let end = [("n", (last + 1).to_string()), ("parcels", needs.len().to_string())];
        let end = end.each_ref().map(|(place, text)| (*place, text.as_str()));
        told.push((form.fill(key::LEFT_NEEDED, &what), form.fill(key::ENDS_AT, &end)));
    };
    for supply in &workshop.supplies {
        let Some(left) = supply.stock else { continue };
        let need = |p: &ParcelEntry, name: &SupplyName| {
            p.planned.supplies.iter().filter(|u| &u.supply == name).map(|u| u.amount.max(0)).sum::<i64>()
        };
        let needs = parcels.iter().map(|(_, p)| need(p, &supply.name)).collect();
        check(supply.name.as_str(), left, needs, &|amount| form.amount(Some(supply), amount));
    }
    for container in &workshop.containers {
        let Some(left) = container.stock else { continue };
        let uses = |p: &ParcelEntry| {
            i64::from(p.planned.container == container.name || p.planned.inside.as_ref() == Some(&container.name))
        };
        let needs = parcels.iter().map(|(_, p)| uses(p)).collect();
        check(container.name.as_str(), i64::from(left), needs, &|amount| amount.to_string());
    }
    told
}

fn pack(
    parcels: &[(ParcelId, &ParcelEntry)],
    state: &State,
    people: &People,
    workshop: &Workshop,
    form: &Form,
) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (_, parcel) in parcels {
        let container = label(parcel.planned.container.as_str());
        if groups.last().is_none_or(|g| g.container != container) {
            groups.push(Group { container, parcels: Vec::new() });
        }
        let Some(group) = groups.last_mut() else { continue };
        let things: u32 = parcel.planned.contents.iter().map(|c| c.quantity).fold(0, u32::saturating_add);
        group.parcels.push(PackLine {
            number: brief::number_of(parcel),
            part: part(parcel, form),
            name: brief::name_of(parcel.orders.first(), state, people, form),
            things: form.count(things as usize, key::THING, key::THINGS),
            service: service_name(parcel, workshop),
            weight: form.weight(parcel.planned.weight),
        });
    }
    groups
}

fn part(parcel: &ParcelEntry, form: &Form) -> String {
    match parcel.part {
        (_, 0 | 1) => String::new(),
        (part, parts) => form.fill(key::PART_SHORT, &[("part", &part.to_string()), ("parts", &parts.to_string())]),
    }
}

/// The carrier's container says more than the service it travels by.
fn service_name(parcel: &ParcelEntry, workshop: &Workshop) -> String {
    let carriers = parcel.planned.inside.as_ref().and_then(|name| workshop.container(name)).filter(|c| c.carriers);
    label(carriers.map_or(parcel.planned.service.as_str(), |c| c.name.as_str()))
}

fn tally(parcels: &[(ParcelId, &ParcelEntry)], workshop: &Workshop) -> Vec<(String, usize)> {
    let count = |name: &str| parcels.iter().filter(|(_, p)| p.planned.service.as_str() == name).count();
    workshop.services.iter().map(|s| (label(s.name.as_str()), count(s.name.as_str()))).filter(|(_, n)| *n > 0).collect()
}

fn late(
    parcels: &[(ParcelId, &ParcelEntry)],
    state: &State,
    people: &People,
    form: &Form,
    today: Date,
) -> Vec<(String, String, String)> {
    let promised = |p: &ParcelEntry| Some(state.orders.get(p.orders.first()?)?.plan.as_ref()?.0.pins.hand_over);
    let late = parcels.iter().filter_map(|(_, p)| {
        let date = promised(p).filter(|date| *date < today)?;
        let name = brief::name_of(p.orders.first(), state, people, form);
        Some((date, brief::number_of(p), name))
    });
    let mut late: Vec<_> = late.collect();
    late.sort();
    late.into_iter()
        .map(|(date, number, name)| (number, name, form.fill(key::PROMISED, &[("date", &form.date(date))])))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shelves_are_walked_in_the_order_in_which_they_stand() {
        let mut shelves = ["B3", "A10", "A2", "", "A1"];
        shelves.sort_by_key(|s| natural(s));
        assert_eq!(shelves, ["", "A1", "A2", "A10", "B3"]);
    }
}
