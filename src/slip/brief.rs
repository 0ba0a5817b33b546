//! What a paper is about, gathered from the state: plain structs, already cleaned and in
//! the workshop's words, so that the papers only have to lay them out.

use super::address;
use super::clean::{self, LABEL_MAX, MESSAGE_MAX, NAME_MAX, NOTE_MAX, WISH_MAX};
use super::document::Lid;
use super::packing::{self, Block};
use super::said;
use super::words::{Form, key};
use crate::book::{OrderEntry, ParcelEntry, People, State};
use crate::model::{
    ContainerKind, ContainerName, Content, Length, Line, Money, NM_PER_MM, OrderKey, ParcelId, Person, Placed,
    PlannedParcel, Product, SupplyUnit, SupplyUse, Workshop,
};

/// One parcel, for its slip and card.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ParcelBrief {
    /// `S-417`; joined `S-417 + S-421`.
    pub number: String,
    /// Which of its order's parcels, and of how many.
    pub part: (u32, u32),
    /// What the code on the stub says: the parcel's number only.
    pub code: String,
    /// The recipient; `None` once forgotten.
    pub name: Option<String>,
    /// Who gives it, where that is somebody else who does not want to stay unnamed.
    pub buyer: Option<String>,
    /// A gift.
    pub gift: bool,
    /// The gift's text.
    pub gift_message: Option<String>,
    /// What the customer asked for in words.
    pub wish: Option<String>,
    /// Language or country for the style of letters.
    pub language: Option<String>,
    /// What lies in it.
    pub things: Vec<Thing>,
    /// The container.
    pub container: String,
    /// The room under the container's lid, for the card.
    pub lid: Option<Lid>,
    /// What it stands in: "in a Skipper"; or empty.
    pub outer: String,
    /// A rule says: first.
    pub urgent: bool,
    /// How it travels, with its zone.
    pub service: String,
    /// Predicted weight with tolerance.
    pub weight: String,
    /// Supplies with their amounts, beyond what this container and every parcel take anyway.
    pub supplies: Vec<String>,
    /// For the bench.
    pub notes: Vec<String>,
    /// How to lay what lies in it, product by product.
    pub lay: Vec<String>,
    /// Where each thing lies, if that is to be drawn.
    pub packing: Option<Packing>,
    /// Printed with a mark.
    pub cautions: Vec<String>,
    /// Several orders in one parcel.
    pub joined: bool,
    /// What that saves; or empty.
    pub saves: String,
    /// The address for a label, line by line.
    pub address: Vec<String>,
    /// Its goods for a customs form.
    pub wares: Vec<Ware>,
    /// What they cost together, where every price is known; or empty.
    pub value: String,
    /// Which customs form that asks for.
    pub customs_form: String,
}

/// How the things of a parcel lie in their box.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packing {
    /// The room inside, in millimetres: across, to the back, up.
    pub room: [i64; 3],
    /// Their numbers count [`ParcelBrief::things`] from 1; of equal things all have the first one's.
    pub blocks: Vec<Block>,
}

/// One kind of goods, as a customs form asks for it; empty texts are not known.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Ware {
    /// How many.
    pub quantity: u32,
    /// In plain words.
    pub description: String,
    /// Net, of all of them.
    pub weight: String,
    /// Of all of them.
    pub value: String,
    /// Harmonised System code.
    pub code: String,
    /// Country of origin.
    pub origin: String,
}

/// So many of one product.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Thing {
    /// How many.
    pub quantity: u32,
    /// On paper.
    pub name: String,
    /// Stock keeping unit.
    pub sku: String,
    /// Where it lies.
    pub shelf: String,
    /// From which batch, or empty.
    pub batch: String,
    /// That batch's date in words, or empty.
    pub best_before: String,
    /// The workshop's Markdown, or empty.
    pub care: String,
    /// Or empty.
    pub ingredients: String,
    /// For the card.
    pub allergens: Vec<String>,
    /// A rule added it (a sample).
    pub extra: bool,
    /// The number of its order, where the parcel holds several; else empty.
    pub of: String,
}

/// Gathers a parcel; `None` where the state has none of this identity.
pub fn parcel(id: ParcelId, state: &State, people: &People, workshop: &Workshop) -> Option<ParcelBrief> {
    let entry = state.parcels.get(&id)?;
    let sent = sent(entry, state);
    let known = |order: &&&OrderEntry| people.of(&order.order.key, order.version).is_some();
    let lead = *sent.iter().find(known).or(sent.first())?;
    let form = Form::of(workshop);
    let person = people.of(&lead.order.key, lead.version);
    let planned = &as_packed(entry, state);
    let supplies = planned.supplies.iter().filter(|used| is_told(used, planned, workshop));
    let supplies = supplies.map(|used| supply(used, workshop, &form));
    let (lay, notes) = lay_and_notes(planned, workshop);
    let (wares, value) = wares(planned, entry, state, workshop, &form);
    let joined = sent.len() > 1;
    Some(ParcelBrief {
        number: number_of(entry, state),
        part: entry.part,
        code: id.to_string(),
        name: person.map(|p| clean::line(p.recipient.reveal(), NAME_MAX)),
        buyer: person
            .filter(|_| !lead.order.hide_buyer)
            .and_then(|p| p.buyer.as_ref())
            .map(|b| clean::line(b.reveal(), NAME_MAX))
            .filter(|b| !b.is_empty()),
        gift: lead.order.gift,
        gift_message: all(&sent, people, MESSAGE_MAX, |p| p.gift_message.as_ref().map(|m| m.reveal())),
        wish: all(&sent, people, WISH_MAX, |p| p.wish.as_ref().map(|w| w.reveal())),
        language: language(person, lead),
        things: things(&planned.contents, entry, state, workshop, &form),
        container: label(planned.container.as_str()),
        lid: workshop.container(&planned.container).and_then(|container| lid(&container.kind)),
        outer: planned.inside.as_ref().map(|outer| in_outer(outer, &form)).unwrap_or_default(),
        urgent: lead.is_urgent(),
        service: match planned.zone.as_str() {
            "" => label(planned.service.as_str()),
            zone => {
                form.fill(key::SERVICE_ZONE, &[("service", &label(planned.service.as_str())), ("zone", &label(zone))])
            }
        },
        weight: form.fill(
            key::WEIGHT,
            &[("weight", &form.weight(planned.weight)), ("tolerance", &form.weight(planned.tolerance))],
        ),
        supplies: supplies.collect(),
        notes,
        lay,
        packing: packing(planned, workshop),
        cautions: planned.cautions.iter().map(|caution| said::caution(caution, &form)).collect(),
        joined,
        saves: if joined { saves(lead, &form) } else { String::new() },
        address: person.map(|person| addressed(person, lead, workshop)).unwrap_or_default(),
        wares,
        value: value.map(|value| form.money(value)).unwrap_or_default(),
        customs_form: customs_form(value, workshop.cn23_above, &form),
    })
}

/// `S-417`; joined `S-417 + S-421`, without those that are cancelled.
pub fn number_of(entry: &ParcelEntry, state: &State) -> String {
    sent(entry, state).iter().map(|order| label(&order.order.key.number)).collect::<Vec<_>>().join(" + ")
}

/// A parcel's orders without those that are cancelled; where all are, all of them.
pub fn sent<'s>(entry: &ParcelEntry, state: &'s State) -> Vec<&'s OrderEntry> {
    let all: Vec<&OrderEntry> = entry.orders.iter().filter_map(|key| state.orders.get(key)).collect();
    let rest: Vec<&OrderEntry> = all.iter().copied().filter(|order| order.cancelled.is_none()).collect();
    if rest.is_empty() { all } else { rest }
}

/// The parcel as it is packed: joined orders one after the other, without the things of those that
/// were cancelled since; how the rest lies nobody knows then.
fn as_packed(entry: &ParcelEntry, state: &State) -> PlannedParcel {
    let mut planned = entry.planned.clone();
    let mut numbered: Vec<(usize, Content)> = std::mem::take(&mut planned.contents).into_iter().enumerate().collect();
    numbered.retain(|(_, content)| is_sent(content, entry, state));
    numbered.sort_by_key(|(_, content)| content.order);
    if numbered.len() < entry.planned.contents.len() {
        planned.placement.clear();
    }
    for placed in &mut planned.placement {
        placed.content = numbered.iter().position(|(was, _)| *was == placed.content).unwrap_or(placed.content);
    }
    planned.contents = numbered.into_iter().map(|(_, content)| content).collect();
    planned
}

/// Is it to be packed: does it stem from an order of the parcel that is not cancelled, or from none?
pub fn is_sent(content: &Content, entry: &ParcelEntry, state: &State) -> bool {
    let order = order_of(content, entry, state).filter(|order| content.line.is_some() && order.cancelled.is_some());
    order.is_none() || sent(entry, state).iter().all(|order| order.cancelled.is_some())
}

/// The order that a content stems from.
pub fn order_of<'s>(content: &Content, entry: &ParcelEntry, state: &'s State) -> Option<&'s OrderEntry> {
    state.orders.get(entry.orders.get(content.order)?)
}

/// "S-417 + S-421 together: saves 4.80"; empty where it costs the same.
fn saves(order: &OrderEntry, form: &Form) -> String {
    let Some(plan) = order.common_plan() else { return String::new() };
    let Some(saves) = plan.joined_saves.filter(|saves| saves.minor > 0) else { return String::new() };
    let orders = plan.orders().map(|key| label(&key.number)).collect::<Vec<_>>().join(" + ");
    form.fill(key::JOINED_SAVES, &[("orders", &orders), ("amount", &form.money(saves))])
}

/// `Medium in a Skipper`.
pub fn container(entry: &ParcelEntry, form: &Form) -> String {
    let container = label(entry.planned.container.as_str());
    match &entry.planned.inside {
        None => container,
        Some(outer) => form.fill(key::CONTAINER_IN, &[("container", &container), ("outer", &label(outer.as_str()))]),
    }
}

fn addressed(person: &Person, order: &OrderEntry, workshop: &Workshop) -> Vec<String> {
    let to = order.order.destination.country;
    address::label(&address::Parts::of(person), to, workshop.country, &workshop.language)
}

/// The goods as customs want to know them, and their value together.
fn wares(
    planned: &PlannedParcel,
    entry: &ParcelEntry,
    state: &State,
    workshop: &Workshop,
    form: &Form,
) -> (Vec<Ware>, Option<Money>) {
    let mut total: Option<Money> = None;
    let mut whole = true;
    let mut wares = Vec::new();
    for content in planned.contents.iter().filter(|content| content.quantity > 0) {
        let product = workshop.product(&content.sku);
        let customs = product.and_then(|product| product.customs.as_ref());
        let order = order_of(content, entry, state);
        let price = line_of(content, order).and_then(|line| line.unit_price);
        let value =
            price.map(|price| Money::new(price.minor.saturating_mul(i64::from(content.quantity)), price.currency));
        let sums = value.zip(total).is_none_or(|(value, sum)| value.currency == sum.currency);
        whole &= value.is_some() && sums;
        total = match (total, value) {
            (Some(sum), Some(value)) if sums => Some(sum + value),
            (sum, value) => sum.or(value),
        };
        let weight = product.and_then(|product| product.weight);
        let weight = weight.map(|one| one * i64::from(content.quantity));
        wares.push(Ware {
            quantity: content.quantity,
            description: customs.map_or_else(|| product_name(content, product, order), |c| label(&c.description)),
            weight: weight.map(|weight| form.weight(weight)).unwrap_or_default(),
            value: value.map(|value| form.money(value)).unwrap_or_default(),
            code: customs.map(|customs| label(&customs.hs_code)).unwrap_or_default(),
            origin: customs.map(|c| address::country_name(c.origin, &workshop.language)).unwrap_or_default(),
        });
    }
    (wares, total.filter(|_| whole))
}

/// A value within so many percent of the limit is close to it: the limit moves with the markets.
const CLOSE_PERCENT: i64 = 5;

/// Which form goods of this value need, as far as that can be said.
fn customs_form(value: Option<Money>, cn23_above: Option<Money>, form: &Form) -> String {
    let same = |(value, most): &(Money, Money)| value.currency == most.currency;
    let Some((value, most)) = value.zip(cn23_above).filter(same) else {
        return form.word(key::CUSTOMS_FORM).to_owned();
    };
    let away = (i128::from(value.minor) - i128::from(most.minor)).abs();
    let word = if away * 100 <= i128::from(most.minor) * i128::from(CLOSE_PERCENT) {
        key::CUSTOMS_NEAR
    } else if value > most {
        key::CUSTOMS_CN23
    } else {
        key::CUSTOMS_CN22
    };
    form.fill(word, &[("most", &form.money(most))])
}

/// The room under a box's lid, or in a flat container.
fn lid(kind: &ContainerKind) -> Option<Lid> {
    let sides = match kind {
        ContainerKind::Box { inner, .. } => [inner.length, inner.width],
        ContainerKind::PaddedMailer { flat, allowance, .. } => {
            [0, 1].map(|at| Length { nm: flat[at].nm.saturating_sub(allowance[at].nm) })
        }
        ContainerKind::Envelope { flat, .. } => *flat,
    };
    let [a, b] = sides.map(|side| u16::try_from(side.nm.div_euclid(NM_PER_MM)).ok());
    let (a, b) = (a?, b?);
    Some(Lid { long_mm: a.max(b), short_mm: a.min(b) })
}

/// How it lies, where the plan knows it, the workshop wants so many pieces drawn, and they can be.
fn packing(planned: &PlannedParcel, workshop: &Workshop) -> Option<Packing> {
    let (room, pieces) = (planned.inner_mm, &planned.placement);
    let from = usize::try_from(workshop.draw_packing_from).ok().filter(|from| *from > 0)?;
    if pieces.len() < from || pieces.len() > packing::PIECES_MAX {
        return None;
    }
    let listed: Vec<&Content> = planned.contents.iter().filter(|content| content.quantity > 0).collect();
    let block = |placed: &Placed| {
        let sku = &planned.contents.get(placed.content)?.sku;
        let number = u32::try_from(listed.iter().position(|content| content.sku == *sku)? + 1).ok()?;
        Some(Block { number, at: placed.at, size: placed.size }).filter(|block| block.is_in(room))
    };
    Some(Packing { room, blocks: pieces.iter().map(block).collect::<Option<_>>()? })
}

fn in_outer(outer: &ContainerName, form: &Form) -> String {
    form.fill(key::IN_OUTER, &[("outer", &label(outer.as_str()))])
}

/// The recipient of a parcel; words that say so once it is forgotten.
pub fn name_of_parcel(entry: &ParcelEntry, state: &State, people: &People, form: &Form) -> String {
    let sent = sent(entry, state);
    let known = sent.iter().find(|order| people.of(&order.order.key, order.version).is_some());
    name_of(known.or(sent.first()).map(|order| &order.order.key), state, people, form)
}

/// The recipient of an order; words that say so once it is forgotten.
pub fn name_of(key: Option<&OrderKey>, state: &State, people: &People, form: &Form) -> String {
    let person = key.and_then(|key| state.orders.get(key)).and_then(|e| people.of(&e.order.key, e.version));
    person.map_or_else(|| form.word(key::NAME_ERASED).to_owned(), |p| clean::line(p.recipient.reveal(), NAME_MAX))
}

/// The product's name; unknown ones as the shop calls them.
pub fn product_name(content: &Content, product: Option<&Product>, order: Option<&OrderEntry>) -> String {
    if let Some(product) = product {
        return label(&product.name);
    }
    line_of(content, order)
        .map(|l| label(&l.name))
        .filter(|n| !n.is_empty())
        .unwrap_or_else(|| label(content.sku.as_str()))
}

/// The order's line that names this very product: a part of a bundle has none, and where the order
/// changed since it was planned, something else may stand there now.
fn line_of<'o>(content: &Content, order: Option<&'o OrderEntry>) -> Option<&'o Line> {
    content.line.and_then(|at| order?.order.lines.get(at)).filter(|line| line.sku == content.sku)
}

/// Where it lies: the batch's own shelf, else the product's.
pub fn shelf_of(content: &Content, product: Option<&Product>) -> String {
    let Some(product) = product else { return String::new() };
    let batch = content.batch.as_ref().and_then(|name| product.batches.iter().find(|b| &b.name == name));
    label(batch.and_then(|b| b.shelf.as_deref()).unwrap_or(&product.shelf))
}

/// Cleans a short name; a unit stays with its number.
pub fn label(text: &str) -> String {
    clean::keep_units(&clean::line(text, LABEL_MAX))
}

fn things(contents: &[Content], entry: &ParcelEntry, state: &State, workshop: &Workshop, form: &Form) -> Vec<Thing> {
    let joined = sent(entry, state).len() > 1;
    let thing = |content: &Content| {
        let order = order_of(content, entry, state);
        let product = workshop.product(&content.sku);
        let batch = content.batch.as_ref().and_then(|b| product?.batches.iter().find(|known| &known.name == b));
        Thing {
            quantity: content.quantity,
            name: product_name(content, product, order),
            sku: label(content.sku.as_str()),
            shelf: shelf_of(content, product),
            batch: content.batch.as_ref().map(|b| label(b.as_str())).unwrap_or_default(),
            best_before: batch.and_then(|b| b.best_before).map(|date| form.date_and_year(date)).unwrap_or_default(),
            care: product.and_then(|p| p.care.clone()).unwrap_or_default(),
            ingredients: product
                .and_then(|p| p.ingredients.as_deref())
                .map(|t| clean::line(t, MESSAGE_MAX))
                .unwrap_or_default(),
            allergens: product.map(|p| p.allergens.iter().map(|a| label(a)).collect()).unwrap_or_default(),
            extra: content.line.is_none(),
            of: order
                .filter(|_| joined && content.line.is_some())
                .map(|order| label(&order.order.key.number))
                .unwrap_or_default(),
        }
    };
    contents.iter().filter(|c| c.quantity > 0).map(thing).collect()
}

/// Tape and fill of the container, and what every parcel gets, are known at the bench; more
/// or other than that is told.
fn is_told(used: &SupplyUse, planned: &PlannedParcel, workshop: &Workshop) -> bool {
    let containers = [Some(&planned.container), planned.inside.as_ref()];
    let containers: Vec<_> = containers.into_iter().flatten().filter_map(|name| workshop.container(name)).collect();
    if containers.iter().filter_map(|c| c.fill.as_ref()).any(|fill| fill.supply == used.supply) {
        return false;
    }
    let usual = containers.iter().flat_map(|c| &c.supplies).chain(&workshop.every_parcel);
    let usual =
        usual.filter(|known| known.supply == used.supply).map(|known| known.amount).fold(0, i64::saturating_add);
    used.amount > 0 && used.amount != usual
}

/// "2 × tissue", "60 cm paper tape": each in one line.
fn supply(used: &SupplyUse, workshop: &Workshop, form: &Form) -> String {
    let known = workshop.supply(&used.supply);
    let key = match known.map(|supply| supply.unit) {
        Some(SupplyUnit::Length | SupplyUnit::Weight) => key::EACH_SUPPLY,
        Some(SupplyUnit::Piece) | None => key::PIECES_SUPPLY,
    };
    let places = [("amount", form.amount(known, used.amount)), ("supply", label(used.supply.as_str()))];
    form.fill(key, &places.each_ref().map(|(name, value)| (*name, value.as_str()))).replace(' ', "\u{a0}")
}

/// How to lay each product, and the other notes. The planner's notes hold both.
fn lay_and_notes(planned: &PlannedParcel, workshop: &Workshop) -> (Vec<String>, Vec<String>) {
    let mut lay: Vec<String> = Vec::new();
    let mut notes: Vec<&String> = planned.notes.iter().collect();
    for content in &planned.contents {
        let Some(product) = workshop.product(&content.sku) else { continue };
        let Some(how) = product.how_to_lay.as_deref() else { continue };
        notes.retain(|note| note.strip_prefix(&product.name).and_then(|rest| rest.strip_prefix(": ")) != Some(how));
        let text = clean::line(&format!("{}: {how}", product.name), NOTE_MAX);
        if !lay.contains(&text) {
            lay.push(text);
        }
    }
    (lay, notes.into_iter().map(|note| clean::line(note, NOTE_MAX)).collect())
}

/// The texts of all joined orders.
fn all(orders: &[&OrderEntry], people: &People, max: usize, pick: impl Fn(&Person) -> Option<&str>) -> Option<String> {
    let texts = orders.iter().filter_map(|order| {
        let text = clean::line(pick(people.of(&order.order.key, order.version)?)?, max);
        (!text.is_empty()).then_some(text)
    });
    let joined = texts.collect::<Vec<_>>().join(" / ");
    (!joined.is_empty()).then_some(joined)
}

fn language(person: Option<&Person>, order: &OrderEntry) -> Option<String> {
    let told = person.and_then(|p| p.language.clone());
    told.or_else(|| order.order.destination.country.map(|c| c.as_str().to_owned()))
}
