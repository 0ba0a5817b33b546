//! What rules are asked about: plain maps and lists with every field always there. Money is
//! a number in main units, weight whole grams rounded up, length whole millimetres rounded
//! up: figures to compare with, never to add up.

use crate::model::*;
use serde::Serialize;

/// Everything that a condition can name.
#[derive(Debug, Clone)]
pub struct Facts {
    /// The order.
    pub order: OrderFacts,
    /// As ordered; lines that are not shipped are left out.
    pub lines: Vec<RowFacts>,
    /// As packed; bundles unfolded.
    pub goods: Vec<RowFacts>,
    /// The day of handing over.
    pub date: DateFacts,
    /// The workshop.
    pub workshop: WorkshopFacts,
    /// One planned parcel, once there is one.
    pub parcel: Option<ParcelFacts>,
}

impl Facts {
    /// As the conditions see them, by name.
    pub fn as_json(&self) -> serde_json::Value {
        serde_json::json!({
            "order": self.order,
            "lines": self.lines,
            "goods": self.goods,
            "date": self.date,
            "workshop": self.workshop,
            "parcel": self.parcel,
        })
    }
}

/// `order`.
#[derive(Debug, Clone, Serialize)]
pub struct OrderFacts {
    /// The shop's number, `S-417`.
    pub number: String,
    /// The shop.
    pub source: String,
    /// It is a gift.
    pub gift: bool,
    /// The customer left a wish.
    pub has_wish: bool,
    /// Two letters; empty if unknown.
    pub country: String,
    /// The postcode's head, upper case, without spaces.
    pub postcode: String,
    /// It goes to a post box.
    pub post_box: bool,
    /// The service asked for, as the shop calls it; empty if none.
    pub requested: String,
    /// The payload names a total.
    pub has_total: bool,
    /// It, in main units; 0 if there is none.
    pub total: f64,
    /// Its currency; empty if there is none.
    pub currency: String,
    /// Pieces of all lines that are shipped.
    pub quantity: i64,
    /// Different products.
    pub kinds: i64,
    /// Goods alone.
    pub grams: i64,
    /// Local date, `2026-11-24`; empty if unknown.
    pub placed: String,
}

/// One entry of `lines` and `goods`.
#[derive(Debug, Clone, Serialize)]
pub struct RowFacts {
    /// The product.
    pub sku: String,
    /// Its name.
    pub name: String,
    /// How many.
    pub quantity: i64,
    /// Grams of one.
    pub grams: i64,
    /// Price of one in main units; 0 if unknown.
    pub price: f64,
    /// Longest side, mm.
    pub longest: i64,
    /// Where it lies.
    pub shelf: String,
    /// Nothing may stand on it.
    pub fragile: bool,
    /// Made to order.
    pub made_to_order: bool,
    /// `any`, `this side up` or `flat only`.
    pub turn: &'static str,
    /// Allergens.
    pub allergens: Vec<String>,
    /// Dangerous-goods words; empty if none.
    pub danger: String,
    /// Its number in the list of dangerous goods, `UN1263`; empty if none.
    pub un: String,
    /// It goes as a limited quantity.
    pub limited_quantity: bool,
    /// More is in it than a limited quantity allows.
    pub beyond_limited: bool,
    /// There are customs data.
    pub has_customs: bool,
}

/// `date`.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct DateFacts {
    /// `2026-11-25`.
    #[serde(serialize_with = "as_text")]
    pub iso: jiff::civil::Date,
    /// Year.
    pub year: i64,
    /// 1 to 12.
    pub month: i64,
    /// 1 to 31.
    pub day: i64,
    /// 1 = Monday to 7 = Sunday (ISO 8601).
    pub weekday: i64,
}

fn as_text<S: serde::Serializer>(date: &jiff::civil::Date, s: S) -> Result<S::Ok, S::Error> {
    s.collect_str(date)
}

/// `workshop`.
#[derive(Debug, Clone, Serialize)]
pub struct WorkshopFacts {
    /// The sender's country.
    pub country: String,
    /// Currency of prices.
    pub currency: String,
}

/// `parcel`.
#[derive(Debug, Clone, Serialize)]
pub struct ParcelFacts {
    /// Predicted weight.
    pub grams: i64,
    /// The container.
    pub container: String,
    /// The carrier's container around it; empty if none.
    pub inside: String,
    /// The service.
    pub service: String,
    /// The tariff's zone.
    pub zone: String,
    /// Pieces in it.
    pub pieces: i64,
    /// Which of the order's parcels, from 1.
    pub part: i64,
    /// Of how many.
    pub parts: i64,
    /// It holds goods that go as a limited quantity.
    pub limited_quantity: bool,
}

/// In main units, for comparing only.
fn main_units(money: Money) -> f64 {
    money.minor as f64 / 10f64.powi(money.currency.decimals() as i32)
}

/// A product as a row.
pub fn row(product: &Product, quantity: u32, price: Option<Money>) -> RowFacts {
    let danger = product.danger.as_ref();
    RowFacts {
        sku: product.sku.to_string(),
        name: product.name.clone(),
        quantity: i64::from(quantity),
        grams: product.weight.map_or(0, Weight::g_up),
        price: price.map_or(0.0, main_units),
        longest: product.dims.map_or(0, |dims| dims.sorted()[0].mm_up()),
        shelf: product.shelf.clone(),
        fragile: product.fragile,
        made_to_order: product.made_to_order,
        turn: match product.turn {
            Turn::Any => "any",
            Turn::ThisSideUp => "this side up",
            Turn::FlatOnly => "flat only",
        },
        allergens: product.allergens.clone(),
        danger: danger.map_or_else(String::new, |danger| danger.words.clone()),
        un: danger.and_then(|danger| danger.un.clone()).unwrap_or_default(),
        limited_quantity: danger.is_some_and(Danger::is_limited),
        beyond_limited: danger.is_some_and(Danger::is_beyond_limited),
        has_customs: product.customs.is_some(),
    }
}

/// The facts of an order whose products are all known. `lines` and `goods` are cut at
/// [`super::ROWS_MAX`] entries.
pub fn of_order(
    workshop: &Workshop,
    order: &Order,
    lines: Vec<RowFacts>,
    goods: Vec<RowFacts>,
    on: jiff::civil::Date,
) -> Facts {
    let mut skus: Vec<&str> = lines.iter().map(|row| row.sku.as_str()).collect();
    skus.sort_unstable();
    skus.dedup();
    let facts = OrderFacts {
        number: order.key.number.clone(),
        source: order.key.source.to_string(),
        gift: order.gift,
        has_wish: order.has_wish,
        country: order.destination.country.map_or_else(String::new, |c| c.to_string()),
        postcode: order.destination.postcode_head.clone(),
        post_box: order.destination.post_box,
        requested: order.requested_service.as_ref().map_or_else(String::new, |s| s.to_string()),
        has_total: order.total.is_some(),
        total: order.total.map_or(0.0, main_units),
        currency: order.total.map_or_else(String::new, |t| t.currency.to_string()),
        quantity: lines.iter().map(|row| row.quantity).sum(),
        kinds: skus.len() as i64,
        grams: goods.iter().map(|row| row.grams.saturating_mul(row.quantity)).sum(),
        placed: order
            .placed
            .map_or_else(String::new, |at| crate::model::daytime::date_of(&workshop.zone, at).to_string()),
    };
    let cut = |mut rows: Vec<RowFacts>| {
        rows.truncate(super::ROWS_MAX);
        rows
    };
    Facts {
        order: facts,
        lines: cut(lines),
        goods: cut(goods),
        date: DateFacts {
            iso: on,
            year: i64::from(on.year()),
            month: i64::from(on.month()),
            day: i64::from(on.day()),
            weekday: i64::from(on.weekday().to_monday_one_offset()),
        },
        workshop: WorkshopFacts { country: workshop.country.to_string(), currency: workshop.currency.to_string() },
        parcel: None,
    }
}

/// Orders to try a rule on: nothing known, and everything known, over all products.
pub fn samples(workshop: &Workshop) -> Vec<Facts> {
    let day = jiff::civil::date(2026, 11, 25);
    let rows: Vec<RowFacts> = workshop.products.iter().map(|product| row(product, 1, None)).collect();
    let mut order = Order {
        key: OrderKey::new("shop", "S-1"),
        revision: None,
        placed: None,
        lines: Vec::new(),
        destination: Destination {
            country: None,
            postcode_head: String::new(),
            address_hash: String::new(),
            post_box: false,
        },
        gift: false,
        hide_buyer: false,
        requested_service: None,
        total: None,
        cancelled: false,
        not_before: None,
        has_wish: false,
        separate: false,
        customer: CustomerMarks::default(),
        flaws: Vec::new(),
        content_digest: String::new(),
    };
    let bare = of_order(workshop, &order, Vec::new(), Vec::new(), day);
    order.gift = true;
    order.has_wish = true;
    order.destination.country = Some(workshop.country);
    order.destination.postcode_head = "SK1".to_owned();
    order.total = Some(Money::new(5_000, workshop.currency));
    order.requested_service = workshop.services.first().map(|service| service.name.clone());
    let full = of_order(workshop, &order, rows.clone(), rows, day);
    let parcel = ParcelFacts {
        grams: 1_000,
        container: workshop.containers.first().map_or_else(String::new, |c| c.name.to_string()),
        inside: String::new(),
        service: workshop.services.first().map_or_else(String::new, |s| s.name.to_string()),
        zone: String::new(),
        pieces: 1,
        part: 1,
        parts: 1,
        limited_quantity: false,
    };
    [bare, full].into_iter().map(|facts| Facts { parcel: Some(parcel.clone()), ..facts }).collect()
}
