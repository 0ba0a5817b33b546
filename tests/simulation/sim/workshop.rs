//! The sample workshop with its real planner, loaded once for all worlds.

use super::shop::UNKNOWN;
use super::story::{Checked, wrong_with};
use super::world::World;
use dawnslip::model::*;
use dawnslip::plan::Planner;
use dawnslip::plan::choose::Shelf;
use dawnslip::plan::fit::Budget;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::{Mutex, OnceLock, PoisonError};

/// Stands for the order's own name in plans that are remembered. The shops use neither.
const ANY: (&str, &str) = ("any-shop", "S-000");
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
        let planner = Planner::new(&plain).with_budget(Budget { starts: 4, nodes: 100, late_starts: 4 });
        Bench { plain, mended, broken, planner, plans: Mutex::default() }
    })
}

impl World {
    /// The real planner's answer; `None` for an order that the state no longer holds. Stock is
    /// taken as endless.
    pub fn plan(&self, order: &OrderKey, pins: &Pins) -> Checked<Option<Plan>> {
        let state = &self.durable.state;
        let Some(entry) = state.orders.get(order) else { return Ok(None) };
        let mut shelf = Shelf::default();
        let ready = entry.accepted.iter().filter_map(|cause| cause.strip_prefix("ready:"));
        shelf.settled = ready.map(Sku::from).collect();
        let decide = |order: &Order, accepted: &BTreeSet<String>, pins: &Pins| {
            self.bench.planner.decide(order, self.workshop(), &shelf, accepted, pins)
        };
        let named = (order.source.as_str(), order.number.as_str());
        let (any_order, any_pins) = any(&entry.order, pins);
        let any_accepted: BTreeSet<String> = entry.accepted.iter().map(|cause| renamed(cause, named, ANY)).collect();
        let question =
            serde_json::to_string(&(&any_order, &any_pins, &any_accepted, self.mended)).expect("it can be written");
        let known = self.bench.plans.lock().unwrap_or_else(PoisonError::into_inner).get(&question).cloned();
        let was_known = known.is_some();
        let answer = known.unwrap_or_else(|| {
            let plan = decide(&any_order, &any_accepted, &any_pins);
            serde_json::to_string(&plan).expect("a plan can be written")
        });
        let mut plan: Plan = serde_json::from_str(&renamed(&answer, ANY, named)).expect("a plan can be read");
        plan.pins = pins.clone();
        if !was_known {
            self.bench.plans.lock().unwrap_or_else(PoisonError::into_inner).insert(question, answer);
        }
        // By the order, not by the dice: whether it was known differs from run to run.
        let compared = order.number.bytes().map(u64::from).sum::<u64>() + u64::from(pins.order_version) + state.seq;
        if compared.is_multiple_of(COMPARED) && decide(&entry.order, &entry.accepted, pins) != plan {
            return wrong_with(order, "the planner answers the same question otherwise than before");
        }
        Ok(Some(plan))
    }
}

/// The order and its pins without what no plan of the sample depends on.
fn any(order: &Order, pins: &Pins) -> (Order, Pins) {
    let mut any = Order {
        key: OrderKey::new(ANY.0, ANY.1),
        revision: None,
        placed: None,
        content_digest: String::new(),
        cancelled: false,
        flaws: Vec::new(),
        ..order.clone()
    };
    any.destination.address_hash.clear();
    // Tariffs change with a month's beginning or, in December, with a season.
    let day = pins.hand_over;
    let is_plain = any.not_before.is_none() && day.month() != 12;
    let hand_over = if is_plain { day.first_of_month() } else { day };
    (
        any,
        Pins {
            order_version: 1,
            revision: None,
            config: ConfigDigest::new(""),
            stock: 0,
            hand_over,
            too_late: Default::default(),
        },
    )
}

fn renamed(text: &str, from: (&str, &str), to: (&str, &str)) -> String {
    let key = |(source, number): (&str, &str)| OrderKey::new(source, number).to_string();
    text.replace(&key(from), &key(to)).replace(from.1, to.1)
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
