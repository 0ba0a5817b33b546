//! The sample workshop with its real planner, loaded once for all worlds.

use super::shop::UNKNOWN;
use super::story::{Checked, wrong_with};
use super::world::World;
use dawnslip::book::OrderEntry;
use dawnslip::model::*;
use dawnslip::plan::Planner;
use dawnslip::plan::choose::Shelf;
use dawnslip::plan::fit::Budget;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::{Mutex, OnceLock, PoisonError};

/// Stands for an order's own name in plans that are remembered; the shops use no such names. Of
/// joined orders each has its own.
fn stand_in(nth: usize) -> OrderKey {
    OrderKey::new("any-shop", format!("S-00{nth}"))
}
/// One of so many remembered plans is asked of the planner again.
const COMPARED: u64 = 60;

/// Two configurations: the sample, and the sample with the product that was missing.
pub struct Bench {
    pub plain: Workshop,
    pub mended: Workshop,
    /// What the reader says against a third one.
    pub broken: usize,
    planner: Planner,
    /// The planner's answers by what they depend on: the same question gets the same answer, in
    /// all worlds. It is the slowest part by far.
    plans: Mutex<BTreeMap<String, String>>,
}

/// Loads it at the first call.
pub fn bench() -> &'static Bench {
    static BENCH: OnceLock<Bench> = OnceLock::new();
    BENCH.get_or_init(|| {
        let files = dawnslip::config::embedded();
        let plain = dawnslip::config::load(&files, Path::new("")).expect("the sample is without fault");
        let mut mended = plain.clone();
        let mug = plain.product(&"mug-dawn".into()).expect("a product of the sample");
        mended.products.push(Product { sku: UNKNOWN.into(), name: "Glaze, nine".to_owned(), ..mug.clone() });
        mended.digest = ConfigDigest::new("mended");
        let mut wrong = files.clone();
        wrong.values_mut().for_each(|text| text.push_str("\nno-such-key = 1\n"));
        let broken = dawnslip::config::load(&wrong, Path::new("")).expect_err("every file has a mistake").list().len();
        // The rules are those of both. A small budget for each fit: the least cost is not the point here.
        let planner = Planner::new(&plain).with_budget(Budget {
            starts: 4,
            nodes: 100,
            slice_steps: 0,
            loading_steps: 30_000,
            late_starts: 4,
        });
        Bench { plain, mended, broken, planner, plans: Mutex::default() }
    })
}

impl World {
    /// The real planner's answer; `None` for an order that the state no longer holds. Stock is
    /// taken as endless.
    pub fn plan(&self, order: &OrderKey, pins: &Pins) -> Checked<Option<Plan>> {
        let state = &self.durable.state;
        let names: Vec<OrderKey> =
            std::iter::once(order).chain(pins.joined.iter().map(|(key, _)| key)).cloned().collect();
        let entries: Option<Vec<&OrderEntry>> = names.iter().map(|key| state.orders.get(key)).collect();
        let Some(entries) = entries else { return Ok(None) };
        let accepted: BTreeSet<String> = entries.iter().flat_map(|entry| entry.accepted.iter().cloned()).collect();
        let orders: Vec<Order> = entries.iter().map(|entry| entry.order.clone()).collect();
        let mut shelf = Shelf::default();
        let ready = accepted.iter().filter_map(|cause| cause.strip_prefix("ready:"));
        shelf.settled = ready.map(Sku::from).collect();
        let decide = |orders: &[Order], accepted: &BTreeSet<String>, pins: &Pins| match orders {
            [order] => self.bench.planner.decide(order, self.workshop(), &shelf, accepted, pins),
            several => self.bench.planner.decide_together(several, self.workshop(), &shelf, accepted, pins),
        };
        let any_names: Vec<OrderKey> = (0..names.len()).map(stand_in).collect();
        let any_orders: Vec<Order> = orders.iter().zip(&any_names).map(|(order, name)| any(order, name)).collect();
        let any_pins = any_pins(pins, &any_orders);
        let any_accepted: BTreeSet<String> = accepted.iter().map(|cause| renamed(cause, &names, &any_names)).collect();
        let question =
            serde_json::to_string(&(&any_orders, &any_pins, &any_accepted, self.mended)).expect("it can be written");
        let known = self.bench.plans.lock().unwrap_or_else(PoisonError::into_inner).get(&question).cloned();
        let was_known = known.is_some();
        let answer = known.unwrap_or_else(|| {
            let plan = decide(&any_orders, &any_accepted, &any_pins);
            serde_json::to_string(&plan).expect("a plan can be written")
        });
        let mut plan: Plan = serde_json::from_str(&renamed(&answer, &any_names, &names)).expect("a plan can be read");
        plan.pins = pins.clone();
        if !was_known {
            self.bench.plans.lock().unwrap_or_else(PoisonError::into_inner).insert(question, answer);
        }
        // By the order, not by the dice: whether it was known differs from run to run.
        let compared = order.number.bytes().map(u64::from).sum::<u64>() + u64::from(pins.order_version) + state.seq;
        if compared.is_multiple_of(COMPARED) && decide(&orders, &accepted, pins) != plan {
            return wrong_with(order, "the planner answers the same question otherwise than before");
        }
        Ok(Some(plan))
    }
}

/// The order without what no plan of the sample depends on.
fn any(order: &Order, name: &OrderKey) -> Order {
    let mut any = Order {
        key: name.clone(),
        revision: None,
        placed: None,
        content_digest: String::new(),
        cancelled: false,
        flaws: Vec::new(),
        separate: false,
        customer: CustomerMarks::default(),
        ..order.clone()
    };
    any.destination.address_hash.clear();
    any
}

/// The pins likewise.
fn any_pins(pins: &Pins, orders: &[Order]) -> Pins {
    // Tariffs change with a month's beginning or, in December, with a season.
    let day = pins.hand_over;
    let is_plain = orders.iter().all(|order| order.not_before.is_none()) && day.month() != 12;
    Pins {
        order_version: 1,
        revision: None,
        config: ConfigDigest::new(""),
        stock: 0,
        hand_over: if is_plain { day.first_of_month() } else { day },
        too_late: Default::default(),
        joined: orders[1..].iter().map(|order| (order.key.clone(), 1)).collect(),
    }
}

/// The same text about others: each order with its shop, and its number alone.
fn renamed(text: &str, from: &[OrderKey], to: &[OrderKey]) -> String {
    let renamed =
        from.iter().zip(to).fold(text.to_owned(), |text, (from, to)| text.replace(&from.to_string(), &to.to_string()));
    from.iter().zip(to).fold(renamed, |text, (from, to)| text.replace(&from.number, &to.number))
}

/// Pieces of each product that an order's goods come to, bundles taken apart.
pub fn pieces(workshop: &Workshop, order: &Order) -> BTreeMap<Sku, u32> {
    let mut sum = BTreeMap::new();
    let mut open: Vec<(Sku, u32)> = order.lines.iter().map(|line| (line.sku.clone(), line.quantity)).collect();
    while let Some((sku, count)) = open.pop() {
        let Some(product) = workshop.product(&sku) else { continue };
        if product.not_shipped {
            continue;
        }
        if product.made_of.is_empty() {
            *sum.entry(sku).or_insert(0) += count;
        }
        open.extend(product.made_of.iter().map(|(part, of)| (part.clone(), of * count)));
    }
    sum
}
