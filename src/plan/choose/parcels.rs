//! From the chosen split to planned parcels: contents by line, places, notes and cautions.

use super::danger;
use super::goods::{Goods, Kind, as_ordered};
use super::house::{self, House};
use super::packaging::{Packed, tolerance};
use super::search::Part;
use super::weigh::Weighing;
use crate::model::*;
use crate::plan::fit::{At, Fit};
use crate::plan::rules::{Rules, Tried, facts::ParcelFacts};

/// Builds the parcels, those with the most pieces first.
pub fn build(weighing: &mut Weighing<'_>, parts: &[Part], house: &House) -> Vec<PlannedParcel> {
    let mut ordered: Vec<&Part> = parts.iter().collect();
    ordered.sort_by_key(|part| std::cmp::Reverse((part.counts.iter().sum::<u32>(), part.counts.clone())));
    // How much of each kind is still to be given to which line.
    let mut open: Vec<Vec<(Option<usize>, u32)>> = weighing.kinds.iter().map(|kind| kind.wanted.clone()).collect();
    let mut parcels: Vec<PlannedParcel> = Vec::with_capacity(ordered.len());
    for part in ordered {
        parcels.extend(parcel(weighing, part, &mut open, house));
    }
    parcels
}

fn parcel(
    weighing: &mut Weighing<'_>,
    part: &Part,
    open: &mut [Vec<(Option<usize>, u32)>],
    house: &House,
) -> Option<PlannedParcel> {
    let (wrap, service) = (part.how.wrap, part.how.service);
    let Packed { weighed: packed, supplies } = weighing.packed(&part.counts, wrap);
    // The search priced exactly this; it cannot be refused now.
    let quoted = weighing.quoted(&packed, wrap, service).ok()?;
    let (zone, surcharged, counts_as) = (quoted.zone.to_owned(), quoted.surcharges.clone(), quoted.counts_as);
    let (cost, ends) = (packed.cost_parts(&quoted), quoted.ends);
    let foreign = quoted.foreign.map(|(amount, rate)| Foreign { amount, rate: rate.clone() });
    let (contents, content_of) = contents(weighing.kinds, &part.counts, open);
    let wraps = weighing.wraps;
    let is_box = matches!(wraps[wrap].container.kind, ContainerKind::Box { .. });
    let placement = match weighing.fit(&part.counts, wrap) {
        Fit::Fits(places) if is_box => {
            places.iter().filter_map(|place| Some(placed(*content_of.get(place.piece)?, place))).collect()
        }
        _ => Vec::new(),
    };
    let tolerance = tolerance(packed.weight);
    let mut notes: Vec<String> = Vec::new();
    let mut cautions: Vec<Caution> = Vec::new();
    for kind in as_ordered(weighing.kinds).into_iter().filter(|&kind| part.counts[kind] > 0) {
        let product = weighing.kinds[kind].product;
        notes.extend(product.how_to_lay.iter().map(|how| format!("{}: {how}", product.name)));
        let name = || product.name.clone();
        if product.fragile {
            cautions.push(Caution::Fragile { product: name() });
        }
        cautions.extend(
            product.danger.iter().map(|danger| Caution::Danger { product: name(), danger: danger.to_string() }),
        );
        if !product.allergens.is_empty() {
            cautions.push(Caution::Contains { product: name(), allergens: product.allergens.clone() });
        }
    }
    cautions.extend(danger::needs_mark(weighing, &part.counts, service));
    if packed.weight > weighing.workshop.heavy_above {
        cautions.push(Caution::Heavy { above: weighing.workshop.heavy_above });
    }
    if let Some(most) = wraps[wrap].thick_at_most {
        cautions.push(Caution::PressFlat { most, service: weighing.services[service].name.clone() });
    }
    cautions.extend(customs_missing(weighing, service, &contents));
    notes.extend(house.notes.iter().cloned());
    cautions.extend(house.cautions.iter().cloned().map(Caution::Said));
    if let Some(ends) = ends.filter(|ends| packed.weight + tolerance > *ends) {
        cautions.push(match weighing.dearer_above(&packed, wrap, service, ends) {
            Some(more) => Caution::DearerAbove { ends, more },
            None => Caution::TooHeavyAbove { ends, service: weighing.services[service].name.clone() },
        });
    }
    // Each parcel is opened by itself, so each has its card.
    let cards = match house.cards.is_empty() {
        true => weighing.workshop.default_card.iter().cloned().collect(),
        false => house.cards.clone(),
    };
    Some(PlannedParcel {
        container: wraps[wrap].container.name.clone(),
        inside: wraps[wrap].around.map(|around| around.name.clone()),
        thick_at_most: wraps[wrap].thick_at_most,
        service: weighing.services[service].name.clone(),
        zone,
        contents,
        weight: packed.weight,
        tolerance,
        cost,
        supplies,
        surcharged,
        counts_as,
        foreign,
        placement,
        inner_mm: wraps[wrap].room().map(mm_near),
        notes: once(notes),
        cautions: once(cautions),
        cards: once(cards),
        printer: house.printer.clone(),
    })
}

/// What a customs form would ask for and nobody has said, where a parcel leaves the country.
fn customs_missing(weighing: &Weighing<'_>, service: usize, contents: &[Content]) -> Option<Caution> {
    let (order, workshop) = (weighing.order, weighing.workshop);
    let stays = order.destination.country.is_none_or(|country| country == workshop.country);
    if stays || weighing.services[service].collect {
        return None;
    }
    let mut missing: Vec<CustomsGap> = Vec::new();
    for content in contents {
        let product = workshop.product(&content.sku);
        // A bundle has one price for all of its parts: each part's own is not known.
        let line = content.line.and_then(|line| order.lines.get(line)).filter(|line| line.sku == content.sku);
        let facts = product.is_none_or(|product| product.customs.is_none());
        let value = line.is_none_or(|line| line.unit_price.is_none());
        if facts || value {
            let product = product.map_or(content.sku.as_str(), |product| product.name.as_str()).to_owned();
            missing.push(CustomsGap { product, facts, value });
        }
    }
    let missing = once(missing);
    (!missing.is_empty()).then_some(Caution::Customs { missing })
}

/// For the picture.
fn placed(content: usize, place: &At) -> Placed {
    let (at, size) = place.near_mm();
    Placed { content, at, size }
}

/// Without repetitions, order kept.
fn once<T: PartialEq>(all: Vec<T>) -> Vec<T> {
    let mut kept: Vec<T> = Vec::with_capacity(all.len());
    for one in all {
        if !kept.contains(&one) {
            kept.push(one);
        }
    }
    kept
}

/// What lies in a parcel, by line; and for each piece (in the order of kinds) its content.
fn contents(kinds: &[Kind<'_>], counts: &[u32], open: &mut [Vec<(Option<usize>, u32)>]) -> (Vec<Content>, Vec<usize>) {
    let mut contents = Vec::new();
    let mut content_of: Vec<Vec<usize>> = vec![Vec::new(); kinds.len()];
    for index in as_ordered(kinds) {
        let (kind, mut rest) = (&kinds[index], counts[index]);
        for (line, left) in open[index].iter_mut() {
            let take = rest.min(*left);
            if take > 0 {
                content_of[index].extend(std::iter::repeat_n(contents.len(), take as usize));
                contents.push(Content {
                    sku: kind.product.sku.clone(),
                    quantity: take,
                    batch: kind.batch.map(|batch| batch.name.clone()),
                    line: *line,
                    order: 0,
                });
                *left -= take;
                rest -= take;
            }
        }
    }
    (contents, content_of.concat())
}

fn facts_of(parcel: &PlannedParcel, index: usize, parts: i64) -> ParcelFacts {
    ParcelFacts {
        grams: parcel.weight.g_up(),
        container: parcel.container.to_string(),
        inside: parcel.inside.as_ref().map_or_else(String::new, ToString::to_string),
        service: parcel.service.to_string(),
        zone: parcel.zone.clone(),
        pieces: parcel.contents.iter().map(|content| i64::from(content.quantity)).sum(),
        part: index as i64 + 1,
        parts,
        limited_quantity: parcel.cautions.iter().any(|caution| matches!(caution, Caution::LimitedQuantity { .. })),
    }
}

/// Every rule about parcels, asked about each parcel of a plan (from 1).
pub fn try_rules(
    rules: &Rules,
    order: &Order,
    workshop: &Workshop,
    goods: &Goods<'_>,
    plan: &Plan,
) -> Vec<(usize, Tried)> {
    let mut facts = house::facts_of(order, workshop, goods, plan.pins.hand_over);
    let mut all = Vec::new();
    for (index, parcel) in plan.parcels.iter().enumerate() {
        facts.parcel = Some(facts_of(parcel, index, plan.parcels.len() as i64));
        all.extend(rules.try_all(&facts).into_iter().map(|tried| (index + 1, tried)));
    }
    all
}

/// Asks the rules that are about parcels, once for each.
pub fn ask_rules(
    rules: &Rules,
    order: &Order,
    workshop: &Workshop,
    goods: &Goods<'_>,
    plan: &mut Plan,
    house: &mut House,
) {
    let mut facts = house::facts_of(order, workshop, goods, plan.pins.hand_over);
    let parts = plan.parcels.len() as i64;
    for (index, parcel) in plan.parcels.iter_mut().enumerate() {
        facts.parcel = Some(facts_of(parcel, index, parts));
        let mut said = House::default();
        for (rule, verdict) in rules.about_parcel(&facts) {
            said.take(rule, verdict);
        }
        parcel.notes.append(&mut said.notes);
        parcel.cautions.extend(said.cautions.into_iter().map(Caution::Said));
        parcel.cards.append(&mut said.cards);
        parcel.printer = said.printer.or_else(|| parcel.printer.take());
        house.urgent |= said.urgent;
        house.applied.append(&mut said.applied);
        house.questions.append(&mut said.questions);
        house.holds.append(&mut said.holds);
        house.failed.append(&mut said.failed);
    }
    house.applied = once(std::mem::take(&mut house.applied));
    house.questions = once(std::mem::take(&mut house.questions));
    house.holds = once(std::mem::take(&mut house.holds));
    house.failed = once(std::mem::take(&mut house.failed));
}
