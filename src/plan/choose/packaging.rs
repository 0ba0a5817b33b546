//! Ways to close around goods: a container alone, or an own one in a carrier's. What they
//! weigh, cost and use up.

use super::goods::Kind;
use super::memory::{Memory, Room};
use crate::model::*;
use crate::plan::fit::{self, Budget, Fit, Laws, Piece, Pouch, Reason, Sides};
use crate::plan::tariff;

/// Predicted weights are off by about this share of themselves (common practice, no source) ...
const TOLERANCE_PERCENT: i64 = 3;
/// ... and by this much, whatever they are: tape, label, scale.
const TOLERANCE_BASE: Weight = Weight::from_g(5);

/// One way to close around goods.
#[derive(Debug, Clone)]
pub struct Wrap<'w> {
    /// Goods go into this.
    pub container: &'w Container,
    /// And this goes around it.
    pub around: Option<&'w Container>,
    /// Size outside.
    pub outer: Dims,
}

impl<'w> Wrap<'w> {
    /// What is seen from outside.
    pub fn outermost(&self) -> &'w Container {
        self.around.unwrap_or(self.container)
    }
    /// It gives way: a mailer or an envelope, with nothing stiff in it.
    pub fn is_soft(&self) -> bool {
        self.containers().all(|container| !matches!(container.kind, ContainerKind::Box { .. }))
    }
    /// As a tariff sees it, so heavy.
    pub fn as_parcel(&self, weight: Weight) -> tariff::Parcel<'w> {
        let outermost = self.outermost();
        tariff::Parcel {
            outermost: &outermost.name,
            carriers: outermost.carriers,
            soft: self.is_soft(),
            outer: self.outer,
            weight,
        }
    }
    /// `Medium` or `Medium in a Skipper`.
    pub fn spoken(&self) -> String {
        match self.around {
            None => self.container.name.to_string(),
            Some(around) => format!("{} in a {around}", self.container.name, around = around.name),
        }
    }
    /// The containers that one such parcel uses up.
    pub fn containers(&self) -> impl Iterator<Item = &'w Container> + Clone {
        std::iter::once(self.container).chain(self.around)
    }
    /// Room inside in nanometres, cushion taken off; for pouches their flat sides and their thickness.
    pub fn room(&self) -> Sides {
        room_of(self.container)
    }
    /// Goods of more cubic nanometres do not go in; any go in where a person may know better.
    pub fn holds_at_most(&self) -> i128 {
        if self.container.holds.iter().any(|hint| hint.trust) {
            return i128::MAX;
        }
        self.room().iter().map(|side| i128::from((*side).max(0))).product()
    }
}

fn room_of(container: &Container) -> Sides {
    let (sides, allowance) = match &container.kind {
        ContainerKind::Box { inner, .. } => (inner.sides(), [Length::ZERO; 2]),
        ContainerKind::PaddedMailer { flat: [along, across], allowance, thickness_max, .. } => {
            ([*along, *across, *thickness_max], *allowance)
        }
        ContainerKind::Envelope { flat: [along, across], thickness_max } => {
            ([*along, *across, *thickness_max], [Length::ZERO; 2])
        }
    };
    let lost = [allowance[0], allowance[1], Length::ZERO].map(|side| side + container.cushion * 2);
    std::array::from_fn(|axis| (sides[axis] - lost[axis]).nm.max(0))
}

/// Size outside; for pouches flat, as thick as they may get: services never find them thicker.
fn outer_of(container: &Container) -> Dims {
    match &container.kind {
        ContainerKind::Box { outer, .. } => *outer,
        ContainerKind::PaddedMailer { outer: [length, width], thickness_max, .. }
        | ContainerKind::Envelope { flat: [length, width], thickness_max } => {
            Dims { length: *length, width: *width, height: *thickness_max }
        }
    }
}

/// What lies around the goods, as a fit sees it; `sides` as of [`room_of`], in any unit.
fn as_room(container: &Container, sides: Sides) -> Room {
    let [along, across, thick] = sides;
    match container.kind {
        ContainerKind::Box { .. } => Room::Box(sides),
        _ => Room::Pouch(Pouch { along, across, thick }),
    }
}

/// All ways, in file order, and those that were left out with the reason.
pub fn wraps<'w>(
    workshop: &'w Workshop,
    left: impl Fn(&ContainerName) -> Option<i64>,
) -> (Vec<Wrap<'w>>, Vec<(String, String)>) {
    let mut all = Vec::new();
    let mut refused = Vec::new();
    let out_of_stock = |container: &Container| left(&container.name).is_some_and(|n| n <= 0);
    for container in &workshop.containers {
        if container.goods {
            if out_of_stock(container) {
                refused.push((container.name.to_string(), "has run out".to_owned()));
            } else {
                all.push(Wrap { container, around: None, outer: outer_of(container) });
            }
        }
        for inner in container.takes.iter().filter_map(|name| workshop.container(name)).filter(|inner| inner.goods) {
            let wrap = Wrap { container: inner, around: Some(container), outer: outer_of(container) };
            if out_of_stock(container) || out_of_stock(inner) {
                let gone = if out_of_stock(container) { container } else { inner };
                refused.push((wrap.spoken(), format!("{} has run out", gone.name)));
            } else if let Err(why) = goes_in(inner, container, workshop.locale.units) {
                refused.push((wrap.spoken(), why));
            } else {
                all.push(wrap);
            }
        }
    }
    (all, refused)
}

/// Does one container, closed, go into another?
fn goes_in(inner: &Container, around: &Container, units: Units) -> Result<(), String> {
    let block = Piece::plain(outer_of(inner).sides().map(|side| side.nm), fit::Turning::Any);
    let verdict = fit::exact::in_nanometres(room_of(around), &[block], |sides, block| match as_room(around, sides) {
        Room::Pouch(pouch) => fit::fit_pouch(pouch, &block, Laws::Geometry, Budget::ONE_START),
        Room::Box(room) => fit::fit(room, &block, Laws::Geometry, Budget::ONE_START),
    });
    let name = |_| format!("the {}", inner.name);
    match verdict {
        Fit::Fits(_) => Ok(()),
        Fit::Cannot(reason) => Err(reason.say(units, name)),
        Fit::Unknown => Err(format!("{} may not go in", name(0))),
    }
}

/// Does a choice of pieces go in? `counts` has one figure for each kind. Hints by a person
/// overrule geometry downwards always, upwards only where they say `trust`.
pub fn fits(wrap: &Wrap<'_>, kinds: &[Kind<'_>], counts: &[u32], budget: Budget, memory: &Memory) -> Fit {
    for hint in &wrap.container.holds {
        let asked: u32 = kinds.iter().zip(counts).filter(|(k, _)| k.product.sku == hint.sku).map(|(_, n)| n).sum();
        if asked > hint.at_most {
            // The hint's product is among the kinds, since some of it was asked for.
            let piece = kinds.iter().position(|k| k.product.sku == hint.sku).unwrap_or(0);
            return Fit::Cannot(Reason::HoldsAtMost { piece, most: hint.at_most, asked });
        }
    }
    let present: Vec<usize> = (0..kinds.len()).filter(|&k| counts[k] > 0).collect();
    let trusted =
        wrap.container.holds.iter().any(|hint| hint.trust && present.iter().all(|&k| kinds[k].product.sku == hint.sku));
    if trusted {
        return Fit::Fits(Vec::new());
    }
    let pieces: Vec<Piece> =
        present.iter().flat_map(|&k| std::iter::repeat_n(kinds[k].piece.clone(), counts[k] as usize)).collect();
    let kind_of: Vec<usize> = present.iter().flat_map(|&k| std::iter::repeat_n(k, counts[k] as usize)).collect();
    let verdict = fit::exact::in_nanometres(wrap.room(), &pieces, |sides, pieces| {
        let room = as_room(wrap.container, sides);
        memory.ask(room, pieces, budget, |pieces| match room {
            Room::Pouch(pouch) => fit::fit_pouch(pouch, pieces, Laws::Bench, budget),
            Room::Box(room) => fit::fit(room, pieces, Laws::Bench, budget),
        })
    });
    // Reasons speak of kinds, placements of pieces in the order of kinds.
    match verdict {
        Fit::Cannot(reason) => Fit::Cannot(by_kind(reason, &kind_of)),
        other => other,
    }
}

fn by_kind(reason: Reason, kind_of: &[usize]) -> Reason {
    let kind = |piece: usize| kind_of.get(piece).copied().unwrap_or(0);
    match reason {
        Reason::TooLong { piece, long, room } => Reason::TooLong { piece: kind(piece), long, room },
        Reason::NoWayRound { piece, sides, room } => Reason::NoWayRound { piece: kind(piece), sides, room },
        Reason::Pair(a, b) => Reason::Pair(kind(a), kind(b)),
        Reason::Girth { piece, sides, flat, thick } => Reason::Girth { piece: piece.map(kind), sides, flat, thick },
        other => other,
    }
}

/// What a packed parcel weighs and costs, postage apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weighed {
    /// Goods, containers, supplies and filling.
    pub weight: Weight,
    /// Of the containers.
    pub container_cost: Money,
    /// Of the supplies, summed exactly and rounded up once.
    pub supplies_cost: Money,
    /// Of the working time.
    pub labour: Option<LabourCost>,
}

impl Weighed {
    /// All parts, with what a service asks for it.
    pub fn cost_parts(&self, quoted: &tariff::Quoted<'_>) -> CostParts {
        CostParts {
            postage: quoted.postage,
            surcharges: quoted.surcharges_sum(),
            container: self.container_cost,
            supplies: self.supplies_cost,
            labour: self.labour,
        }
    }
}

/// That, and what it uses up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packed {
    /// Weight and costs.
    pub weighed: Weighed,
    /// Supplies in base units, in file order.
    pub supplies: Vec<SupplyUse>,
}

/// The margin of a predicted weight.
pub fn tolerance(weight: Weight) -> Weight {
    Weight { ng: weight.ng / 100 * TOLERANCE_PERCENT } + TOLERANCE_BASE
}

/// Adds up a parcel. `extra` are supplies that rules add.
pub fn packed(workshop: &Workshop, wrap: &Wrap<'_>, kinds: &[Kind<'_>], counts: &[u32], extra: &[SupplyUse]) -> Packed {
    let (weighed, amounts) = weighed(workshop, wrap, kinds, counts, extra);
    let used = workshop.supplies.iter().zip(&amounts).filter(|(_, amount)| **amount != 0);
    let supplies = used
        .map(|(supply, &amount)| SupplyUse {
            supply: supply.name.clone(),
            amount: i64::try_from(amount).unwrap_or(i64::MAX),
        })
        .collect();
    Packed { weighed, supplies }
}

/// Its weight and costs, and how much of each supply it uses, in file order.
pub fn weighed(
    workshop: &Workshop,
    wrap: &Wrap<'_>,
    kinds: &[Kind<'_>],
    counts: &[u32],
    extra: &[SupplyUse],
) -> (Weighed, Vec<i128>) {
    let mut amounts = vec![0i128; workshop.supplies.len()];
    let mut add = |used: &SupplyUse, times: u32| {
        if let Some(index) = workshop.supplies.iter().position(|s| s.name == used.supply) {
            amounts[index] += i128::from(used.amount) * i128::from(times);
        }
    };
    workshop.every_parcel.iter().chain(extra).for_each(|used| add(used, 1));
    let mut weight = Weight::ZERO;
    let mut goods_nm3 = 0u128;
    for (kind, &count) in kinds.iter().zip(counts).filter(|(_, count)| **count > 0) {
        kind.product.supplies.iter().for_each(|used| add(used, count));
        weight = weight + kind.weight.times(count);
        goods_nm3 = goods_nm3.saturating_add(kind.dims.volume().nm3.saturating_mul(u128::from(count)));
    }
    let mut container_cost = Money::new(0, workshop.currency);
    for container in wrap.containers() {
        container.supplies.iter().for_each(|used| add(used, 1));
        weight = weight + container.tare;
        container_cost = container_cost + container.cost;
    }
    if let (Some(fill), ContainerKind::Box { inner, .. }) = (&wrap.container.fill, &wrap.container.kind) {
        let filling = filling(fill, inner.volume().nm3.saturating_sub(goods_nm3));
        weight = weight + filling;
        let by_weight = |s: &Supply| s.name == fill.supply && s.unit == SupplyUnit::Weight;
        if let Some(index) = workshop.supplies.iter().position(by_weight) {
            amounts[index] += i128::from(filling.ng);
            // Counted just now; its weight must not count a second time below.
            weight = weight - weight_of(&workshop.supplies[index], i128::from(filling.ng));
        }
    }
    let mut millionths = 0i128;
    for (supply, &amount) in workshop.supplies.iter().zip(&amounts).filter(|(_, amount)| **amount != 0) {
        millionths += i128::from(supply.price.minor) * amount * 1_000_000 / i128::from(supply.price_for.max(1));
        weight = weight + weight_of(supply, amount);
    }
    let minor = i64::try_from((millionths + 999_999).div_euclid(1_000_000)).unwrap_or(i64::MAX);
    let supplies_cost = Money::new(minor, workshop.currency);
    let pieces = counts.iter().fold(0u32, |sum, count| sum.saturating_add(*count));
    let labour = workshop.labour.as_ref().map(|labour| labour.cost(wrap.containers(), pieces));
    (Weighed { weight, container_cost, supplies_cost, labour }, amounts)
}

fn weight_of(supply: &Supply, amount: i128) -> Weight {
    let ng = i128::from(supply.weight.ng) * amount / i128::from(supply.weight_for.max(1));
    Weight { ng: i64::try_from(ng).unwrap_or(i64::MAX) }
}

/// Grams a litre, times the share filled, times the free room.
fn filling(fill: &Fill, free_nm3: u128) -> Weight {
    // Cubic millimetres: a millionth of a litre each, so that nothing overflows.
    let mm3 = free_nm3 / 1_000_000_000_000_000_000;
    let ng_per_mm3 = i128::from(fill.grams_per_litre) * i128::from(NG_PER_G) / 1_000_000;
    let ng =
        i128::try_from(mm3).unwrap_or(i128::MAX / 4).saturating_mul(ng_per_mm3) * i128::from(fill.share_percent) / 100;
    Weight { ng: i64::try_from(ng).unwrap_or(i64::MAX) }
}
