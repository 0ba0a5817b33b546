//! The day's work, gathered for the pick list.

use super::brief::{self, label, product_name, shelf_of};
use super::clean::{self, NOTE_MAX};
use super::said;
use super::words::{Form, key};
use crate::book::{self, DayList, Matter, ParcelEntry, People, State};
use crate::model::{BatchName, Cause, ContainerName, ParcelId, PlannedParcel, Sku, Workshop};
use crate::supplies::{self, Needs};
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::BTreeMap;

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
    /// What the next day will take, where something is known of it.
    pub tomorrow: Option<Tomorrow>,
    /// Questions, most orders first.
    pub decide: Vec<Decide>,
    /// In shelf order.
    pub fetch: Vec<Fetch>,
    /// At the bench before packing: what to do, with how many of what; in shelf order.
    pub prepare: Vec<(String, Vec<(u32, String)>)>,
    /// Containers to fold.
    pub fold: Vec<Fold>,
    /// What will not last the day: whole sentences, the second where it ends.
    pub runs_out: Vec<(String, String)>,
    /// In pack order, one container a time.
    pub pack: Vec<Group>,
    /// Parcels per service.
    pub tally: Vec<(String, usize)>,
    /// Came after the day's list was printed: number, name, when. They stand in the pack order, too.
    pub late: Vec<(String, String, String)>,
}

/// What the day after this one will take: of what is ready now, as much as fits into a day.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Tomorrow {
    /// Its parcels.
    pub parcels: usize,
    /// In shelf order.
    pub fetch: Vec<Fetch>,
    /// Containers to fold.
    pub fold: Vec<Fold>,
    /// Supplies and containers that today's work leaves too few of.
    pub short: Vec<String>,
}

/// One question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decide {
    /// `12 orders`, or the one order's number, or "a message".
    pub whose: String,
    /// What is the matter.
    pub what: String,
    /// A short hint; the desk says what to type.
    pub hint: String,
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
    /// What it saves that several orders share it, or empty.
    pub saves: String,
    /// Recipient.
    pub name: String,
    /// How it travels.
    pub service: String,
    /// Predicted.
    pub weight: String,
}

/// Gathers the list of `date`. `extra` is 0 for the scheduled one.
pub fn day(date: Date, extra: u32, state: &State, people: &People, workshop: &Workshop, now: Timestamp) -> DayBrief {
    let form = Form::of(workshop);
    let list = book::day(state, date);
    let parcels: Vec<&ParcelEntry> = list.today.iter().filter_map(|id| state.parcels.get(id)).collect();
    let planned: Vec<&PlannedParcel> = parcels.iter().map(|p| &p.planned).collect();
    DayBrief {
        date: form.full(now),
        remarks: remarks(date, extra, state, &form, now),
        parcels: parcels.len(),
        orders: list.orders,
        beyond: list.later.len(),
        tomorrow: tomorrow(&list, &planned, state, workshop, &form),
        decide: decide(state, &form),
        fetch: fetch(&parcels, state, workshop, &form),
        prepare: prepare(&parcels, state, workshop),
        fold: fold(&parcels, workshop, &form),
        runs_out: runs_out(&supplies::needs(&planned, workshop), workshop, &form),
        pack: pack(&parcels, state, people, workshop, &form),
        tally: tally(&parcels, workshop),
        late: late(&list, state, people, &form, now),
    }
}

/// Of what waits beyond today, the oldest promises first, as many parcels as a day holds.
fn tomorrow(
    list: &DayList,
    today: &[&PlannedParcel],
    state: &State,
    workshop: &Workshop,
    form: &Form,
) -> Option<Tomorrow> {
    let mut waiting: Vec<&ParcelEntry> = list.later.iter().filter_map(|id| state.parcels.get(id)).collect();
    let age = |parcel: &&ParcelEntry| {
        let order = parcel.orders.first().and_then(|key| state.orders.get(key))?;
        Some((State::promised(order), order.received, order.order.key.clone()))
    };
    waiting.sort_by_cached_key(age);
    waiting.truncate(workshop.day.parcels_a_day.max(1) as usize);
    if waiting.is_empty() {
        return None;
    }
    let planned: Vec<&PlannedParcel> = waiting.iter().map(|p| &p.planned).collect();
    let needs = supplies::needs_after(today, &planned, workshop);
    let supplies = needs.supplies.iter().filter(|n| n.runs_out_at.is_some()).map(|n| label(n.supply.as_str()));
    let containers = needs.containers.iter().filter(|n| n.runs_out_at.is_some()).map(|n| label(n.container.as_str()));
    Some(Tomorrow {
        parcels: waiting.len(),
        fetch: fetch(&waiting, state, workshop, form),
        fold: fold(&waiting, workshop, form),
        short: supplies.chain(containers).collect(),
    })
}

/// A list that comes later than its hour says so, and every list when the program was off
/// during the day before.
fn remarks(date: Date, extra: u32, state: &State, form: &Form, now: Timestamp) -> Vec<String> {
    let mut remarks = Vec::new();
    if extra > 0 {
        remarks.push(form.word(key::ON_REQUEST).to_owned());
    } else if let Some(due) = state.list_came_late(date) {
        remarks.push(form.fill(key::MADE_UP, &[("due", &form.time(due)), ("time", &form.time(now))]));
    }
    for outage in state.off_since(now - LOOK_BACK) {
        let (from, to) = (form.moment(outage.from, now), form.moment(outage.to, now));
        remarks.push(match &outage.last_order {
            Some(order) => form.fill(key::OFF_LAST, &[("from", &from), ("to", &to), ("order", &label(&order.number))]),
            None => form.fill(key::OFF, &[("from", &from), ("to", &to)]),
        });
    }
    remarks
}

/// Outages that ended longer ago stood on an earlier list.
const LOOK_BACK: jiff::SignedDuration = jiff::SignedDuration::from_hours(24);

/// What stops most orders comes first.
fn decide(state: &State, form: &Form) -> Vec<Decide> {
    let mut groups = book::questions(state);
    groups.sort_by_key(|group| std::cmp::Reverse(group.orders.len()));
    groups.into_iter().map(|group| told(&group, state, form)).collect()
}

fn told(group: &book::GroupedQuestion, state: &State, form: &Form) -> Decide {
    let whose = match (&group.orders[..], &group.matter) {
        ([], Matter::NeverCame { number, .. }) => label(number),
        ([], Matter::Asked(Cause::Unmappable(_) | Cause::MessageChanged(_), _)) => form.word(key::A_MESSAGE).to_owned(),
        ([], Matter::Asked(..)) => form.word(key::THE_HOUSE).to_owned(),
        ([order], _) => label(&order.number),
        (orders, _) => form.count(orders.len(), key::ORDER, key::ORDERS),
    };
    let what = said::question(group, state, form);
    Decide { whose, what, hint: form.word(hint_key(&group.matter)).to_owned() }
}

/// The hint for a kind of question.
fn hint_key(matter: &Matter) -> &'static str {
    let Matter::Asked(cause, _) = matter else { return key::HINT_GAP };
    match cause {
        Cause::UnknownProduct(_) => key::HINT_PRODUCT,
        Cause::IncompleteProduct(_) => key::HINT_MEASURES,
        Cause::Unmappable(_) => key::HINT_MAPPING,
        Cause::MessageChanged(_) | Cause::SameRevision(_) => key::HINT_TWO,
        Cause::NothingFits(_) => key::HINT_FITS,
        Cause::NoService(_) => key::HINT_SERVICE,
        Cause::Rule(..) => key::HINT_RULE,
        Cause::RuleFailed(_) => key::HINT_RULE_FAILED,
        Cause::AfterPrinting(_) => key::HINT_CHANGED,
        Cause::Uncancelled(_) => key::HINT_REOPENED,
        Cause::StoppedProgram(_) => key::HINT_PROGRAM,
        Cause::UncertainPaper(_) => key::HINT_PAPER,
        Cause::RecordsLost(..) => key::HINT_LOST,
        Cause::Flaw(..) => key::HINT_FLAW,
    }
}

fn fetch(parcels: &[&ParcelEntry], state: &State, workshop: &Workshop, form: &Form) -> Vec<Fetch> {
    type Pull<'a> = (Vec<Piece>, &'a Sku, Option<Date>, Option<&'a BatchName>);
    let batch = |name: &BatchName| form.fill(key::BATCH, &[("batch", &label(name.as_str()))]);
    let mut pulls: BTreeMap<Pull, Fetch> = BTreeMap::new();
    for parcel in parcels {
        for content in parcel.planned.contents.iter().filter(|content| brief::is_sent(content, parcel, state)) {
            let product = workshop.product(&content.sku);
            let shelf = shelf_of(content, product);
            let known = content.batch.as_ref().and_then(|b| product?.batches.iter().find(|known| &known.name == b));
            // Dates that are known go before those that are not: the first to expire is fetched first.
            let expires = known.and_then(|b| b.best_before).or(Some(Date::MAX));
            let pull = (natural(&shelf), &content.sku, expires, content.batch.as_ref());
            let fetch = pulls.entry(pull).or_insert_with(|| Fetch {
                shelf,
                quantity: 0,
                name: product_name(content, product, brief::order_of(content, parcel, state)),
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

fn prepare(parcels: &[&ParcelEntry], state: &State, workshop: &Workshop) -> Vec<(String, Vec<(u32, String)>)> {
    let mut counts: BTreeMap<(Vec<Piece>, &Sku), u32> = BTreeMap::new();
    let contents = parcels.iter().flat_map(|parcel| parcel.planned.contents.iter().map(move |it| (it, *parcel)));
    for (content, _) in contents.filter(|(content, parcel)| brief::is_sent(content, parcel, state)) {
        let shelf = workshop.product(&content.sku).map_or("", |product| &product.shelf);
        let count = counts.entry((natural(shelf), &content.sku)).or_default();
        *count = count.saturating_add(content.quantity);
    }
    let mut groups: Vec<(String, Vec<(u32, String)>)> = Vec::new();
    for ((_, sku), count) in counts {
        let Some(product) = workshop.product(sku) else { continue };
        let Some(what) = product.preparation.as_deref().map(|what| clean::line(what, NOTE_MAX)) else { continue };
        let of_product = (count, label(&product.name));
        match groups.iter_mut().find(|(known, _)| *known == what) {
            Some((_, products)) => products.push(of_product),
            None => groups.push((what, vec![of_product])),
        }
    }
    groups
}

fn fold(parcels: &[&ParcelEntry], workshop: &Workshop, form: &Form) -> Vec<Fold> {
    let mut folds = Vec::new();
    for container in &workshop.containers {
        let of_it: Vec<_> = parcels.iter().filter(|p| p.planned.container == container.name).collect();
        if of_it.is_empty() {
            continue;
        }
        let mut outer: BTreeMap<&ContainerName, usize> = BTreeMap::new();
        for name in of_it.iter().filter_map(|p| p.planned.inside.as_ref()) {
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
fn runs_out(needs: &Needs, workshop: &Workshop, form: &Form) -> Vec<(String, String)> {
    let told = |name: &str, left: String, needed: String, at: usize| {
        let what = form.fill(key::LEFT_NEEDED, &[("supply", &label(name)), ("left", &left), ("needed", &needed)]);
        let places = [("n", at.to_string()), ("parcels", needs.parcels.to_string())];
        (what, form.fill(key::ENDS_AT, &places.each_ref().map(|(name, value)| (*name, value.as_str()))))
    };
    let supplies = needs.supplies.iter().filter_map(|need| {
        let amount = |amount| form.amount(workshop.supply(&need.supply), amount);
        Some(told(need.supply.as_str(), amount(need.stock?), amount(need.needed), need.runs_out_at?))
    });
    let containers = needs.containers.iter().filter_map(|need| {
        Some(told(need.container.as_str(), need.stock?.to_string(), need.needed.to_string(), need.runs_out_at?))
    });
    supplies.chain(containers).collect()
}

fn pack(parcels: &[&ParcelEntry], state: &State, people: &People, workshop: &Workshop, form: &Form) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for parcel in parcels {
        let container = label(parcel.planned.container.as_str());
        if groups.last().is_none_or(|g| g.container != container) {
            groups.push(Group { container, parcels: Vec::new() });
        }
        let Some(group) = groups.last_mut() else { continue };
        group.parcels.push(PackLine {
            number: brief::number_of(parcel, state),
            part: part(parcel, form),
            saves: saves(parcel, state, form),
            name: brief::name_of_parcel(parcel, state, people, form),
            service: service_name(parcel, workshop),
            weight: form.weight(parcel.planned.weight),
        });
    }
    groups
}

/// "saves 4.80", on the first parcel of joined orders.
fn saves(parcel: &ParcelEntry, state: &State, form: &Form) -> String {
    let orders = brief::sent(parcel, state);
    let plan = orders.first().filter(|_| orders.len() > 1 && parcel.part.0 == 1).and_then(|order| order.common_plan());
    let saves = plan.and_then(|plan| plan.joined_saves).filter(|saves| saves.minor > 0);
    saves.map(|saves| form.fill(key::SAVES, &[("amount", &form.money(saves))])).unwrap_or_default()
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

fn tally(parcels: &[&ParcelEntry], workshop: &Workshop) -> Vec<(String, usize)> {
    let count = |name: &str| parcels.iter().filter(|p| p.planned.service.as_str() == name).count();
    workshop.services.iter().map(|s| (label(s.name.as_str()), count(s.name.as_str()))).filter(|(_, n)| *n > 0).collect()
}

fn late(list: &DayList, state: &State, people: &People, form: &Form, now: Timestamp) -> Vec<(String, String, String)> {
    let told = |id: &ParcelId| {
        let parcel = state.parcels.get(id)?;
        let came = brief::sent(parcel, state).iter().map(|order| order.received).max()?;
        let name = brief::name_of_parcel(parcel, state, people, form);
        Some((brief::number_of(parcel, state), name, form.fill(key::CAME, &[("time", &form.moment(came, now))])))
    };
    list.since_list.iter().filter_map(told).collect()
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
