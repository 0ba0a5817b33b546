//! What a service asks for a parcel, or why it does not take it.
//!
//! Figures that change with the years (limits, steps, zones, dates) are data of the
//! configuration; only the way of measuring stands here.

mod measure;
mod refusal;
mod surcharge;
mod thickness;

pub use refusal::Refusal;
pub use thickness::{LEVELS_MAX, Level, thinner};

use crate::model::*;
use jiff::civil::Date;

/// A parcel as a tariff sees it.
#[derive(Debug, Clone)]
pub struct Parcel<'a> {
    /// What closes around everything, by name.
    pub outermost: &'a ContainerName,
    /// The outermost container belongs to the carrier.
    pub carriers: bool,
    /// It gives way: a mailer or an envelope.
    pub soft: bool,
    /// Size outside.
    pub outer: Dims,
    /// Predicted weight.
    pub weight: Weight,
}

/// A service's answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quoted<'s> {
    /// As the tariff calls it; empty without zones.
    pub zone: &'s str,
    /// The price.
    pub postage: Money,
    /// The weight that was charged, where that is the parcel's size and not what it weighs.
    pub counts_as: Option<Weight>,
    /// Surcharges and discounts that apply, a minimum, tax and rounding, by name.
    pub surcharges: Vec<(String, Money)>,
    /// The step below: up to this weight, at this price.
    pub below: Option<(Weight, Money)>,
    /// Where this step ends: up to this weight it costs the same.
    pub ends: Option<Weight>,
    /// The price of the step after that; `None` where there is none.
    pub above: Option<Money>,
    /// What all comes to in the currency of the price list, where that is not the workshop's, and its rate.
    pub foreign: Option<(Money, &'s Rate)>,
}

impl Quoted<'_> {
    /// All surcharges.
    pub fn surcharges_sum(&self) -> Money {
        self.surcharges.iter().map(|(_, amount)| *amount).fold(Money::new(0, self.postage.currency), |a, b| a + b)
    }
    /// Price and surcharges.
    pub fn total(&self) -> Money {
        self.postage + self.surcharges_sum()
    }
}

/// The zone of a destination: the first rule that matches. Without rules everywhere is zone "".
pub fn zone_of<'s>(service: &'s Service, to: &Destination) -> Option<&'s str> {
    if service.zones.is_empty() {
        return Some("");
    }
    let matches = |rule: &&ZoneRule| {
        let country = CountryCode::is_meant_by(&rule.countries, to.country);
        let postcode = rule.postcodes.is_empty() || rule.postcodes.iter().any(|some| some.hold(&to.postcode_head));
        country && postcode
    };
    service.zones.iter().find(matches).map(|rule| rule.zone.as_str())
}

/// Is any side of `is` longer than the same rank of `most`, both sorted?
fn exceeds(is: &Dims, most: &Dims) -> bool {
    is.sorted().iter().zip(most.sorted()).any(|(a, b)| *a > b)
}

/// Price of a parcel to a destination on a day, or the first reason against it.
///
/// Weights count as predicted; a step's bound still belongs to it. In this order: the price, surcharges
/// and discounts (shares are shares of the price), the minimum, tax, rounding; a price list in another
/// currency does all that in its own, and what all comes to is changed once. `currency` is the workshop's.
pub fn price<'s>(
    service: &'s Service,
    parcel: &Parcel<'_>,
    to: &Destination,
    on: Date,
    currency: Currency,
) -> Result<Quoted<'s>, Refusal> {
    let service = service.on(on);
    let zone = welcome(service, parcel, to, on)?;
    limits(service, parcel)?;
    let mut quoted = match &service.price {
        Price::Nothing => priced(zone, Money::new(0, service.rate.as_ref().map_or(currency, |rate| rate.of))),
        Price::Fixed(prices) => {
            let price = *prices.get(zone).ok_or_else(|| Refusal::ZonePrice(zone.to_owned()))?;
            priced(zone, price)
        }
        Price::ByWeight(steps) => {
            let counts_as = service.dimensional.as_ref().and_then(|rule| measure::dimensional(rule, parcel.outer));
            by_weight(steps, zone, parcel.weight, counts_as.filter(|counts| *counts > parcel.weight))?
        }
        Price::ByVolume(steps) => priced(zone, volume_step(steps, zone, parcel, service.side_step)?.price),
    };
    surcharge::add(service, &mut quoted, parcel, to, on);
    Ok(match &service.rate {
        Some(rate) => at_home(quoted, rate),
        None => quoted,
    })
}

/// The zone of a parcel that a service goes for on a day, size and weight apart, or the first reason against it.
fn welcome<'s>(service: &'s Service, parcel: &Parcel<'_>, to: &Destination, on: Date) -> Result<&'s str, Refusal> {
    let (from, until) = service.valid;
    if from.is_some_and(|from| on < from) || until.is_some_and(|until| on > until) {
        return Err(Refusal::Date(on));
    }
    if service.containers.is_empty() {
        if parcel.carriers {
            return Err(Refusal::CarriersOnly(parcel.outermost.clone()));
        }
    } else if !service.containers.contains(parcel.outermost) {
        return Err(Refusal::Containers(service.containers.clone()));
    }
    if service.no_post_box && to.post_box {
        return Err(Refusal::PostBox);
    }
    zone_of(service, to).ok_or(Refusal::Destination(to.country))
}

/// In the workshop's currency. Sums are changed and not their parts: each part is what it adds, so
/// that the parts make up the whole and nothing is rounded twice.
fn at_home<'s>(quoted: Quoted<'s>, rate: &'s Rate) -> Quoted<'s> {
    let foreign = Some((quoted.total(), rate));
    let (mut sum, mut sum_at_home) = (quoted.postage, rate.at_home(quoted.postage));
    let postage = sum_at_home;
    let surcharges = quoted.surcharges.into_iter().map(|(name, amount)| {
        sum = sum + amount;
        let before = std::mem::replace(&mut sum_at_home, rate.at_home(sum));
        (name, sum_at_home - before)
    });
    Quoted {
        surcharges: surcharges.collect(),
        postage,
        below: quoted.below.map(|(weight, price)| (weight, rate.at_home(price))),
        above: quoted.above.map(|price| rate.at_home(price)),
        foreign,
        ..quoted
    }
}

fn priced(zone: &str, postage: Money) -> Quoted<'_> {
    Quoted {
        zone,
        postage,
        counts_as: None,
        surcharges: Vec::new(),
        below: None,
        ends: None,
        above: None,
        foreign: None,
    }
}

/// Asked thousands of times for one order: looks at each step once, and keeps none.
fn by_weight<'s>(
    steps: &[WeightStep],
    zone: &'s str,
    weight: Weight,
    counts_as: Option<Weight>,
) -> Result<Quoted<'s>, Refusal> {
    let charged = counts_as.unwrap_or(weight);
    let of_zone = || steps.iter().filter(|step| step.zone == zone);
    let Some(step) = of_zone().filter(|step| step.up_to >= charged).min_by_key(|step| step.up_to) else {
        let most = of_zone().map(|step| step.up_to).max().ok_or_else(|| Refusal::ZonePrice(zone.to_owned()))?;
        return Err(match counts_as {
            Some(counts) => Refusal::CountsAs(most, counts),
            None => Refusal::Weight(most, weight),
        });
    };
    let priced = Quoted { counts_as, ..priced(zone, measure::at_step(step, charged)) };
    // What is charged by size does not change with some grams, and in proportion there is no step.
    if counts_as.is_some() || step.for_each.is_some() {
        return Ok(priced);
    }
    let told = |step: &WeightStep| (step.up_to, measure::at_step(step, step.up_to));
    let below = of_zone().filter(|other| other.up_to < step.up_to).max_by_key(|step| step.up_to).map(told);
    let above = of_zone().filter(|other| other.up_to > step.up_to).min_by_key(|step| step.up_to).map(told);
    Ok(Quoted { below, ends: Some(step.up_to), above: above.map(|(_, price)| price), ..priced })
}

fn volume_step<'s>(
    steps: &'s [VolumeStep],
    zone: &str,
    parcel: &Parcel<'_>,
    side_step: Option<Length>,
) -> Result<&'s VolumeStep, Refusal> {
    let of_zone = || steps.iter().filter(|step| step.zone == zone);
    let most = of_zone().map(|step| step.up_to).max().ok_or_else(|| Refusal::ZonePrice(zone.to_owned()))?;
    let outer = measure::counted(parcel.outer, side_step);
    let soft_most = of_zone().filter_map(|step| step.soft_up_to).max().filter(|_| parcel.soft);
    if let Some(soft_most) = soft_most {
        let sides = outer.sorted();
        let sum = sides[0] + sides[1];
        let holding = of_zone().filter(|step| step.soft_up_to.is_some_and(|up_to| up_to >= sum));
        holding.min_by_key(|step| step.soft_up_to).ok_or(Refusal::Soft(soft_most, sum))
    } else {
        let volume = outer.volume();
        let holding = of_zone().filter(|step| step.up_to >= volume);
        holding.min_by_key(|step| step.up_to).ok_or(Refusal::Volume(most, volume))
    }
}

fn limits(service: &Service, parcel: &Parcel<'_>) -> Result<(), Refusal> {
    let outer = parcel.outer;
    let sides = outer.sorted();
    if let Some(most) = service.weight_max.filter(|most| parcel.weight > *most) {
        return Err(Refusal::Weight(most, parcel.weight));
    }
    if let Some(most) = service.longest_max.filter(|most| sides[0] > *most) {
        return Err(Refusal::Longest(most, sides[0]));
    }
    if let Some(most) = service.length_and_girth_max.filter(|most| outer.length_and_girth() > *most) {
        return Err(Refusal::Girth(most, outer.length_and_girth()));
    }
    let sum: Length = sides.into_iter().sum();
    if let Some(most) = service.sum_max.filter(|most| sum > *most) {
        return Err(Refusal::Sum(most, sum));
    }
    if let Some(most) = service.outer_max.filter(|most| exceeds(&outer, most)) {
        return Err(Refusal::TooLarge(most, outer));
    }
    if let Some(least) = service.outer_min.filter(|least| exceeds(least, &outer)) {
        return Err(Refusal::TooSmall(least, outer));
    }
    Ok(())
}

/// The least that a service can ask of any parcel of at least this weight to this destination on this
/// day: the cheapest step of the zone that could carry it and everything that lowers the price. A lower
/// bound for splits; `None` where the service does not go there, or carries nothing so heavy.
pub fn least(service: &Service, to: &Destination, on: Date, weight: Weight) -> Option<i64> {
    let service = service.on(on);
    let zone = zone_of(service, to)?;
    if service.weight_max.is_some_and(|most| weight > most) {
        return None;
    }
    let postage = match &service.price {
        Price::Nothing => 0,
        Price::Fixed(prices) => prices.get(zone)?.minor,
        Price::ByWeight(steps) => {
            let carrying = steps.iter().filter(|s| s.zone == zone && s.up_to >= weight);
            carrying.map(|s| s.price.minor).min()?
        }
        Price::ByVolume(steps) => steps.iter().filter(|s| s.zone == zone).map(|s| s.price.minor).min()?,
    };
    let (from, until) = service.valid;
    if from.is_some_and(|from| on < from) || until.is_some_and(|until| on > until) {
        return None;
    }
    let least = surcharge::least(service, postage, on);
    // Changing never makes the lesser of two amounts the greater one.
    Some(service.rate.as_ref().map_or(least, |rate| rate.at_home(Money::new(least, rate.of)).minor))
}

/// All weights at which a service may ask something else on this day, or takes no more.
pub fn bounds(service: &Service, on: Date) -> impl Iterator<Item = Weight> {
    let today = service.on(on);
    let surcharges = today.surcharges.iter().filter_map(|surcharge| surcharge.above_weight);
    let limited = today.limited_quantity.iter().map(|takes| takes.gross_max);
    weights(service, on).chain(surcharges).chain(limited)
}

/// All weights at which what [`least`] says of a service on this day may change.
pub fn weights(service: &Service, on: Date) -> impl Iterator<Item = Weight> {
    let service = service.on(on);
    let steps = match &service.price {
        Price::ByWeight(steps) => steps.as_slice(),
        _ => &[],
    };
    steps.iter().map(|step| step.up_to).chain(service.weight_max)
}
