//! What a tariff measures: sides in steps, size as weight, prices in proportion.

use crate::model::*;

/// The sides as prices by volume count them: whole steps, at least one, so that nothing thin
/// has no volume.
pub fn counted(outer: Dims, step: Option<Length>) -> Dims {
    match step.filter(|step| *step > Length::ZERO) {
        Some(step) => in_steps(outer, step, Round::Down),
        None => outer,
    }
}

fn in_steps(outer: Dims, step: Length, round: Round) -> Dims {
    let [length, width, height] = outer.sides().map(|side| {
        let steps = round.to_steps(i128::from(side.nm), i128::from(step.nm)).max(1);
        Length { nm: i64::try_from(steps).unwrap_or(i64::MAX).saturating_mul(step.nm) }
    });
    Dims { length, width, height }
}

/// How heavy a parcel counts for its size; `None` where it is too small to be looked at.
///
/// volume / divisor, in whole steps of weight, rounded up; the sides rounded first (DMM 123.1.4, and
/// the customs of carriers: common practice, no source).
pub fn dimensional(rule: &Dimensional, outer: Dims) -> Option<Weight> {
    let outer = rule.side_step.map_or(outer, |(step, round)| in_steps(outer, step, round));
    let volume = outer.volume();
    if rule.size.nm3 == 0 || rule.above.is_some_and(|above| volume <= above) {
        return None;
    }
    let weighs = u128::from(rule.weighs.ng.unsigned_abs());
    // Whole divisors first: their product with the rest alone could be too large for the type.
    let whole = (volume.nm3 / rule.size.nm3).saturating_mul(weighs);
    let rest = (volume.nm3 % rule.size.nm3).saturating_mul(weighs).div_ceil(rule.size.nm3);
    let step = rule.weight_step.map_or(1, |step| i128::from(step.ng.max(1)));
    let ng = i128::try_from(whole.saturating_add(rest)).unwrap_or(i128::MAX / 4);
    let ng = Round::Up.to_steps(ng, step).saturating_mul(step);
    Some(Weight { ng: i64::try_from(ng).unwrap_or(i64::MAX) })
}

/// The price of a step, with what it asks in proportion to the weight.
pub fn at_step(step: &WeightStep, weight: Weight) -> Money {
    let Some((each, per)) = step.for_each else { return step.price };
    let exact = i128::from(each.minor) * i128::from(weight.ng.max(0));
    let minor = Round::Up.to_steps(exact, i128::from(per.ng.max(1)));
    step.price + Money::new(i64::try_from(minor).unwrap_or(i64::MAX), step.price.currency)
}
