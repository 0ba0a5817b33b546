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
    /// What gives way is to be no thicker than this, though it could be. `None`: as thick as it gets.
    pub thick_at_most: Option<Length>,
    /// If so: services that take it for that, or ask less.
    pub flat_for: Vec<&'w ServiceName>,
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
    /// `Medium`, `Medium in a Skipper` or `Mailer at most 25 mm thick`.
    pub fn spoken(&self, units: Units) -> String {
        match (self.around, self.thick_at_most) {
            (None, None) => self.container.name.to_string(),
            (None, Some(most)) => format!("{} at most {} thick", self.container.name, units.thickness(most)),
            (Some(around), _) => format!("{} in a {around}", self.container.name, around = around.name),
        }
    }
    /// The containers that one such parcel uses up.
    pub fn containers(&self) -> impl Iterator<Item = &'w Container> + Clone {
        std::iter::once(self.container).chain(self.around)
    }
    /// Room inside in nanometres, cushion taken off; for pouches their flat sides and their thickness.
    pub fn room(&self) -> Sides {
        room_of(self.container, self.thick_at_most)
    }
    /// Goods of more cubic nanometres do not go in; any go in where a person may know better.
    pub fn holds_at_most(&self) -> i128 {
        if self.container.holds.iter().any(|hint| self.trusts(hint)) {
            return i128::MAX;
        }
        self.room().iter().map(|side| i128::from((*side).max(0))).product()
    }
    /// A person's word counts above geometry, but nobody gave it for one that is pressed flat.
    fn trusts(&self, hint: &Holds) -> bool {
        hint.trust && self.thick_at_most.is_none()
    }
    /// Cubic nanometres outside, as thick as it gets: what is pressed flat is no smaller container.
    pub fn size(&self) -> u128 {
        let outer = if self.thick_at_most.is_some() { outer_of(self.container) } else { self.outer };
        outer.volume().nm3
    }
    /// May a service answer otherwise than for the same where that may be thicker? Always where there is no such.
    pub fn is_minded_by(&self, service: &Service) -> bool {
        self.thick_at_most.is_none() || self.flat_for.iter().any(|name| **name == service.name)
    }
    /// Pressed flat: are these surely too thick for it, or too much?
    pub fn is_too_flat_for(&self, goods: Least) -> bool {
        self.thick_at_most.is_some() && (goods.thick > self.room()[2] || goods.volume > self.holds_at_most())
    }
}

/// What any room for a set of things has at least.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Least {
    /// Cubic nanometres.
    volume: i128,
    /// Nanometres along its shortest side.
    thick: i64,
}

impl Least {
    /// For these.
    pub fn of(kinds: &[Kind<'_>], counts: &[u32]) -> Self {
        let mut least = Self { volume: 0, thick: 0 };
        for (kind, &count) in kinds.iter().zip(counts).filter(|(_, count)| **count > 0) {
            let [a, b, c] = kind.piece.sides;
            least.volume += kind.piece.volume() * i128::from(count);
            least.thick = least.thick.max(a.min(b).min(c));
        }
        least
    }
}

/// `thick_at_most`: of what gives way, if not as thick as it gets.
fn room_of(container: &Container, thick_at_most: Option<Length>) -> Sides {
    let thick = |thickness_max: &Length| thick_at_most.unwrap_or(*thickness_max);
    let (sides, allowance) = match &container.kind {
        ContainerKind::Box { inner, .. } => (inner.sides(), [Length::ZERO; 2]),
        ContainerKind::PaddedMailer { flat: [along, across], allowance, thickness_max, .. } => {
            ([*along, *across, thick(thickness_max)], *allowance)
        }
        ContainerKind::Envelope { flat: [along, across], thickness_max } => {
            ([*along, *across, thick(thickness_max)], [Length::ZERO; 2])
        }
    };
    let lost = [allowance[0], allowance[1], Length::ZERO].map(|side| side + container.cushion * 2);
    std::array::from_fn(|axis| (sides[axis] - lost[axis]).nm.max(0))
}

/// Size outside; for pouches flat, as thick as they may get.
fn outer_of(container: &Container) -> Dims {
    match &container.kind {
        ContainerKind::Box { outer, .. } => *outer,
        ContainerKind::PaddedMailer { outer: [length, width], thickness_max, .. }
        | ContainerKind::Envelope { flat: [length, width], thickness_max } => {
            Dims { length: *length, width: *width, height: *thickness_max }
        }
    }
}

/// Size outside of a container with another one in it. What gives way is as thick as that makes it: a block goes
/// into a pouch with its shortest side upright if it goes in at all (see [`Pouch::takes_block`]).
fn outer_around(around: &Container, inner: &Container) -> Dims {
    let outer = outer_of(around);
    if let ContainerKind::Box { .. } = around.kind {
        return outer;
    }
    let [.., shortest] = outer_of(inner).sorted();
    Dims { height: shortest + around.cushion * 2, ..outer }
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
    let units = workshop.locale.units;
    let out_of_stock = |container: &Container| left(&container.name).is_some_and(|n| n <= 0);
    for container in &workshop.containers {
        if container.goods {
            if out_of_stock(container) {
                refused.push((container.name.to_string(), "has run out".to_owned()));
            } else {
                all.push(Wrap {
                    container,
                    around: None,
                    outer: outer_of(container),
                    thick_at_most: None,
                    flat_for: Vec::new(),
                });
            }
        }
        for inner in container.takes.iter().filter_map(|name| workshop.container(name)).filter(|inner| inner.goods) {
            let outer = outer_around(container, inner);
            let wrap =
                Wrap { container: inner, around: Some(container), outer, thick_at_most: None, flat_for: Vec::new() };
            if out_of_stock(container) || out_of_stock(inner) {
                let gone = if out_of_stock(container) { container } else { inner };
                refused.push((wrap.spoken(units), format!("{} has run out", gone.name)));
            } else if let Err(why) = goes_in(inner, container, units) {
                refused.push((wrap.spoken(units), why));
            } else {
                all.push(wrap);
            }
        }
    }
    (all, refused)
}

/// The same, each mailer and envelope also thinner than it may get, where one of the services then takes it or asks
/// less; thickest first, one right behind the other, so that of equals the thickest counts: nobody presses flat for
/// nothing.
pub fn at_each_thickness<'w>(
    wraps: Vec<Wrap<'w>>,
    services: &[&'w Service],
    to: &Destination,
    on: jiff::civil::Date,
) -> Vec<Wrap<'w>> {
    let mut all = Vec::with_capacity(wraps.len());
    for wrap in wraps {
        let levels = match (&wrap.container.kind, wrap.around) {
            (ContainerKind::Box { .. }, _) | (_, Some(_)) => Vec::new(),
            _ => tariff::thinner(services, &wrap.as_parcel(Weight::ZERO), wrap.container.cushion * 2, to, on),
        };
        let thinner = |level: tariff::Level<'w>| Wrap {
            outer: Dims { height: level.most, ..wrap.outer },
            thick_at_most: Some(level.most),
            flat_for: level.minded_by,
            ..wrap.clone()
        };
        let pressed: Vec<Wrap<'w>> = levels.into_iter().map(thinner).collect();
        all.push(wrap);
        all.extend(pressed);
    }
    all
}

/// Does one container, closed, go into another?
fn goes_in(inner: &Container, around: &Container, units: Units) -> Result<(), String> {
    let block = Piece::plain(outer_of(inner).sides().map(|side| side.nm), fit::Turning::Any);
    let verdict =
        fit::exact::in_nanometres(room_of(around, None), &[block], |sides, block| match as_room(around, sides) {
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
    let trusted = wrap
        .container
        .holds
        .iter()
        .any(|hint| wrap.trusts(hint) && present.iter().all(|&k| kinds[k].product.sku == hint.sku));
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
    /// Some of the goods go as a limited quantity.
    pub holds_limited: bool,
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
    let of_these = kinds.iter().zip(counts).filter(|(_, count)| **count > 0);
    let holds_limited = of_these.filter_map(|(kind, _)| kind.product.danger.as_ref()).any(Danger::is_limited);
    (Weighed { weight, container_cost, supplies_cost, labour, holds_limited }, amounts)
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
