//! From an order's lines to the pieces that are packed: bundles unfolded, lines that are not
//! shipped left out, batches assigned first-expiring first.

use super::Shelf;
use crate::model::*;
use crate::plan::fit::{Piece, Turning};
use std::collections::BTreeMap;

/// Bundles within bundles; `config` refuses circles, this keeps a wrong one from looping.
const BUNDLE_DEPTH_MAX: u32 = 8;

/// Equal pieces: one product of one batch.
#[derive(Debug, Clone)]
pub struct Kind<'w> {
    /// The product.
    pub product: &'w Product,
    /// From which batch, if the stock says.
    pub batch: Option<&'w Batch>,
    /// How many, and for which lines (`None`: added by a rule).
    pub wanted: Vec<(Option<usize>, u32)>,
    /// As it goes into a container.
    pub piece: Piece,
    /// Weight of one.
    pub weight: Weight,
    /// Exact size of one, for free room.
    pub dims: Dims,
    /// Its place among the kinds as the lines name them, from 0: people read in this order.
    pub place: usize,
}

impl Kind<'_> {
    /// How many in all.
    pub fn count(&self) -> u32 {
        self.wanted.iter().map(|(_, n)| n).sum()
    }
    /// How people call it in a sentence.
    pub fn spoken(&self) -> String {
        let cushion = if self.product.cushion.nm > 0 { " with its cushion" } else { "" };
        format!("the {}{cushion}", self.product.name)
    }
}

/// The places of kinds in the order in which the lines name them.
pub fn as_ordered(kinds: &[Kind<'_>]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..kinds.len()).collect();
    order.sort_by_key(|&index| kinds[index].place);
    order
}

/// What the lines come to.
#[derive(Debug, Default)]
pub struct Goods<'w> {
    /// Pieces by kind, the largest first, then by sku and batch: what is planned does not depend on the order of lines.
    pub kinds: Vec<Kind<'w>>,
    /// Lines as ordered that are shipped: index, product, quantity.
    pub shipped: Vec<(usize, &'w Product, u32)>,
    /// Unknown and incomplete products.
    pub questions: Vec<Question>,
    /// Made to order, missing stock.
    pub waits: Vec<Wait>,
}

/// Counts by product and line, in the order of the lines.
type Wanted<'w> = Vec<(&'w Product, Option<usize>, u32)>;

/// Unfolds an order.
pub fn of_order<'w>(order: &Order, workshop: &'w Workshop, shelf: &Shelf) -> Goods<'w> {
    let mut goods = Goods::default();
    let mut wanted: Wanted<'w> = Vec::new();
    for (index, line) in order.lines.iter().enumerate() {
        match workshop.product(&line.sku) {
            None => unknown(&line.sku, &mut goods.questions),
            Some(product) if product.not_shipped => {}
            Some(product) => {
                goods.shipped.push((index, product, line.quantity));
                unfold(workshop, product, Some(index), line.quantity, 0, &mut wanted, &mut goods.questions);
            }
        }
    }
    add(&mut goods, wanted, shelf);
    goods
}

/// Adds what a rule puts in as well.
pub fn add_sample<'w>(goods: &mut Goods<'w>, workshop: &'w Workshop, product: &'w Product, count: u32, shelf: &Shelf) {
    let mut wanted: Wanted<'w> = Vec::new();
    unfold(workshop, product, None, count, 0, &mut wanted, &mut goods.questions);
    add(goods, wanted, shelf);
}

/// Asks about a product that is in no file; once.
pub fn unknown(sku: &Sku, questions: &mut Vec<Question>) {
    let question = Question {
        cause: Cause::UnknownProduct(sku.clone()),
        what: format!("product {sku} is unknown"),
        remedy: format!("add it to products.toml and reload; then: dawnslip decide unknown-product:{sku} retry"),
        detail: None,
    };
    if !questions.contains(&question) {
        questions.push(question);
    }
}

fn unfold<'w>(
    workshop: &'w Workshop,
    product: &'w Product,
    line: Option<usize>,
    count: u32,
    depth: u32,
    wanted: &mut Wanted<'w>,
    questions: &mut Vec<Question>,
) {
    if product.made_of.is_empty() || depth >= BUNDLE_DEPTH_MAX {
        wanted.push((product, line, count));
        return;
    }
    for (sku, each) in &product.made_of {
        match workshop.product(sku) {
            Some(part) => unfold(workshop, part, line, count.saturating_mul(*each), depth + 1, wanted, questions),
            None => unknown(sku, questions),
        }
    }
}

fn add<'w>(goods: &mut Goods<'w>, wanted: Wanted<'w>, shelf: &Shelf) {
    let mut totals: BTreeMap<&Sku, u32> = BTreeMap::new();
    for (product, _, count) in &wanted {
        let total = totals.entry(&product.sku).or_default();
        *total = total.saturating_add(*count);
    }
    // What is left of each batch while it is given out, this order's earlier kinds taken off.
    let mut left: BTreeMap<(&Sku, &BatchName), u32> = BTreeMap::new();
    for (product, line, count) in wanted {
        if product.made_to_order && !shelf.settled.contains(&product.sku) {
            let wait = Wait::MadeToOrder(product.sku.clone());
            if !goods.waits.contains(&wait) {
                goods.waits.push(wait);
            }
        }
        let mut rest = count;
        for batch in first_expiring(product) {
            let key = (&product.sku, &batch.name);
            let used: u32 = goods
                .kinds
                .iter()
                .filter(|k| k.product.sku == product.sku && k.batch.is_some_and(|b| b.name == batch.name))
                .map(Kind::count)
                .sum();
            let available =
                match shelf.batches_left.get(&(product.sku.clone(), batch.name.clone())).copied().or(batch.made) {
                    None => rest,
                    Some(stock) => *left.entry(key).or_insert(stock.saturating_sub(used)),
                };
            let take = rest.min(available);
            if take > 0 {
                if let Some(remaining) = left.get_mut(&key) {
                    *remaining -= take;
                }
                put(goods, product, Some(batch), line, take);
                rest -= take;
            }
        }
        if rest > 0 {
            if !product.batches.is_empty() && !shelf.settled.contains(&product.sku) {
                missing(goods, &product.sku, rest);
            }
            put(goods, product, None, line, rest);
        }
    }
    goods.kinds.sort_by(|one, two| {
        let key = |kind: &Kind<'w>| (kind.product.sku.clone(), kind.batch.map(|batch| batch.name.clone()));
        two.piece.volume().cmp(&one.piece.volume()).then_with(|| key(one).cmp(&key(two)))
    });
}

/// Batches in the order in which they should go: first-expiring first, then file order.
fn first_expiring(product: &Product) -> Vec<&Batch> {
    let mut batches: Vec<&Batch> = product.batches.iter().collect();
    batches.sort_by_key(|batch| (batch.best_before.is_none(), batch.best_before));
    batches
}

fn missing(goods: &mut Goods<'_>, sku: &Sku, count: u32) {
    for wait in &mut goods.waits {
        if let Wait::Stock { sku: known, missing } = wait
            && known == sku
        {
            *missing = missing.saturating_add(count);
            return;
        }
    }
    goods.waits.push(Wait::Stock { sku: sku.clone(), missing: count });
}

fn put<'w>(goods: &mut Goods<'w>, product: &'w Product, batch: Option<&'w Batch>, line: Option<usize>, count: u32) {
    let same =
        |kind: &&mut Kind<'w>| kind.product.sku == product.sku && kind.batch.map(|b| &b.name) == batch.map(|b| &b.name);
    if let Some(kind) = goods.kinds.iter_mut().find(same) {
        match kind.wanted.iter_mut().find(|(known, _)| *known == line) {
            Some((_, n)) => *n = n.saturating_add(count),
            None => kind.wanted.push((line, count)),
        }
        return;
    }
    let dims = batch.and_then(|b| b.dims).or(product.dims);
    let weight = batch.and_then(|b| b.weight).or(product.weight);
    let (Some(dims), Some(weight)) = (dims, weight) else {
        let what = match (dims, weight) {
            (None, None) => "size or weight",
            (None, _) => "size",
            _ => "weight",
        };
        let question = Question {
            cause: Cause::IncompleteProduct(product.sku.clone()),
            what: format!("product {} ({}) has no {what}", product.sku, product.name),
            remedy: format!(
                "write it into products.toml and reload; then: dawnslip decide incomplete-product:{} retry",
                product.sku
            ),
            detail: Some(Detail::Lacks {
                product: product.name.clone(),
                size: dims.is_none(),
                weight: weight.is_none(),
            }),
        };
        if !goods.questions.contains(&question) {
            goods.questions.push(question);
        }
        return;
    };
    let piece = piece_of(product, dims);
    let place = goods.kinds.len();
    goods.kinds.push(Kind { product, batch, wanted: vec![(line, count)], piece, weight, dims, place });
}

/// Soft things are pressed to a whole number of these, upwards: nobody presses closer, and lengths keep
/// a unit in common.
const PRESSED_TO_NM: i64 = NM_PER_MM / 10;

/// As it goes into a container, in nanometres: pressed, with its cushion on every side.
fn piece_of(product: &Product, dims: Dims) -> Piece {
    let height = match product.softness_percent.clamp(1, 100) {
        100 => dims.height.nm,
        percent => {
            let exact = i128::from(dims.height.nm) * i128::from(percent);
            let steps = (exact as u128).div_ceil(100 * PRESSED_TO_NM as u128);
            i64::try_from(steps).unwrap_or(i64::MAX).saturating_mul(PRESSED_TO_NM).min(dims.height.nm)
        }
    };
    let cushion = product.cushion * 2;
    Piece {
        sides: [dims.length, dims.width, Length { nm: height }].map(|side| (side + cushion).nm),
        turn: Turning::from(product.turn),
        fragile: product.fragile,
        stack: product.stack,
        by_wall: product.by_wall,
    }
}
