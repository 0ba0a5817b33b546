//! What a service asks for a parcel, or why it does not take it.
//!
//! Figures that change with the years (limits, steps, zones, dates) are data of the
//! configuration; only the way of measuring stands here.

use crate::model::*;
use jiff::civil::Date;

/// A parcel as a tariff sees it.
#[derive(Debug, Clone)]
pub struct Parcel<'a> {
    /// What closes around everything, by name.
    pub outermost: &'a ContainerName,
    /// The outermost container belongs to the carrier.
    pub carriers: bool,
    /// Size outside.
    pub outer: Dims,
    /// Predicted weight.
    pub weight: Weight,
}

/// A service's answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quoted {
    /// As the tariff calls it; empty without zones.
    pub zone: String,
    /// The price.
    pub postage: Money,
    /// Surcharges that apply, by name.
    pub surcharges: Vec<(String, Money)>,
    /// The step below: up to this weight, at this price.
    pub below: Option<(Weight, Money)>,
    /// Where this step ends: up to this weight it costs the same.
    pub ends: Option<Weight>,
    /// The price of the step after that; `None` where there is none.
    pub above: Option<Money>,
}

impl Quoted {
    /// All surcharges.
    pub fn surcharges_sum(&self) -> Money {
        self.surcharges.iter().map(|(_, amount)| *amount).fold(Money::new(0, self.postage.currency), |a, b| a + b)
    }
    /// Price and surcharges.
    pub fn total(&self) -> Money {
        self.postage + self.surcharges_sum()
    }
}

/// Why a service does not take a parcel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    /// Not (yet, any more) valid on this date.
    Date(Date),
    /// It takes only these containers.
    Containers(Vec<ContainerName>),
    /// The carrier's container goes only with services that name it.
    CarriersOnly(ContainerName),
    /// It reaches no post boxes.
    PostBox,
    /// No zone covers the destination.
    Destination(Option<CountryCode>),
    /// No price is given for the zone.
    ZonePrice(String),
    /// Too heavy: most allowed, this weighs.
    Weight(Weight, Weight),
    /// The longest side: most allowed, this is.
    Longest(Length, Length),
    /// Length and girth: most allowed, this is.
    Girth(Length, Length),
    /// Sum of sides: most allowed, this is.
    Sum(Length, Length),
    /// Larger than allowed any way round.
    TooLarge(Dims, Dims),
    /// Smaller than allowed any way round.
    TooSmall(Dims, Dims),
    /// Volume beyond the last step: most, this is, cm³.
    Volume(u64, u128),
}

/// `1 kg` rather than `1.00 kg`.
pub fn short(weight: Weight) -> String {
    weight.to_string().replace(".00 kg", " kg")
}

impl Refusal {
    /// One short sentence whose subject is the service ("takes up to 1 kg, this weighs 1.84 kg").
    pub fn say(&self) -> String {
        match self {
            Self::Date(date) => format!("its prices do not count on {date}"),
            Self::Containers(names) => {
                let names: Vec<&str> = names.iter().map(ContainerName::as_str).collect();
                format!("takes only {}", names.join(", "))
            }
            Self::CarriersOnly(name) => format!("does not take the carrier's {name}"),
            Self::PostBox => "does not deliver to post boxes".to_owned(),
            Self::Destination(Some(country)) => format!("does not go there ({country}, this postcode)"),
            Self::Destination(None) => "the country is not known".to_owned(),
            Self::ZonePrice(zone) => format!("names no price for zone {zone}"),
            Self::Weight(most, is) => format!("takes up to {}, this weighs {}", short(*most), short(*is)),
            Self::Longest(most, is) => format!("the longest side may be {most}, this is {is}"),
            Self::Girth(most, is) => format!("length and girth may be {most}, these are {is}"),
            Self::Sum(most, is) => format!("the three sides may add up to {most}, these are {is}"),
            Self::TooLarge(most, is) => format!("takes up to {most}, this is {is}"),
            Self::TooSmall(least, is) => format!("takes nothing smaller than {least}, this is {is}"),
            Self::Volume(most, is) => format!("takes up to {most} cm³, this is {is} cm³"),
        }
    }
}

/// The zone of a destination: the first rule that matches. Without rules everywhere is zone "".
pub fn zone_of(service: &Service, to: &Destination) -> Option<String> {
    if service.zones.is_empty() {
        return Some(String::new());
    }
    let matches = |rule: &&ZoneRule| {
        let country = rule.countries.is_empty() || to.country.is_some_and(|c| rule.countries.contains(&c));
        let postcode =
            rule.postcodes.is_empty() || rule.postcodes.iter().any(|head| to.postcode_head.starts_with(head.as_str()));
        country && postcode
    };
    service.zones.iter().find(matches).map(|rule| rule.zone.clone())
}

/// Is any side of `is` longer than the same rank of `most`, both sorted?
fn exceeds(is: &Dims, most: &Dims) -> bool {
    is.sorted().iter().zip(most.sorted()).any(|(a, b)| *a > b)
}

/// Price of a parcel to a destination on a day, or the first reason against it.
///
/// Weights count as predicted; a step's bound still belongs to it. Volume is the outer
/// volume in whole cubic centimetres, rounded up. `currency` is that of free services.
pub fn price(
    service: &Service,
    parcel: &Parcel<'_>,
    to: &Destination,
    on: Date,
    currency: Currency,
) -> Result<Quoted, Refusal> {
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
    let zone = zone_of(service, to).ok_or(Refusal::Destination(to.country))?;
    limits(service, parcel)?;
    let mut quoted = match &service.price {
        Price::Nothing => priced(zone, Money::new(0, currency)),
        Price::Fixed(prices) => {
            let price = *prices.get(&zone).ok_or_else(|| Refusal::ZonePrice(zone.clone()))?;
            priced(zone, price)
        }
        Price::ByWeight(steps) => by_weight(steps, zone, parcel.weight)?,
        Price::ByVolume(steps) => {
            let volume = counted(parcel.outer, service.side_step).volume().cm3_up();
            let mut of_zone: Vec<&VolumeStep> = steps.iter().filter(|step| step.zone == zone).collect();
            of_zone.sort_by_key(|step| step.up_to_cm3);
            let most = of_zone.last().ok_or_else(|| Refusal::ZonePrice(zone.clone()))?.up_to_cm3;
            let step = of_zone.iter().find(|step| u128::from(step.up_to_cm3) >= volume);
            let price = step.ok_or(Refusal::Volume(most, volume))?.price;
            priced(zone, price)
        }
    };
    for surcharge in &service.surcharges {
        if applies(surcharge, &quoted.zone, parcel, on) {
            let amount = match surcharge.amount {
                SurchargeAmount::Fixed(amount) => amount,
                SurchargeAmount::PerTenThousand(rate) => per_ten_thousand(quoted.postage, rate),
            };
            quoted.surcharges.push((surcharge.name.clone(), amount));
        }
    }
    Ok(quoted)
}

/// The sides as prices by volume count them: whole steps, at least one, so that nothing thin
/// has no volume.
fn counted(outer: Dims, step: Option<Length>) -> Dims {
    let Some(step) = step.filter(|step| *step > Length::ZERO) else { return outer };
    let [length, width, height] = outer.sides().map(|side| Length { nm: (side.nm / step.nm).max(1) * step.nm });
    Dims { length, width, height }
}

fn priced(zone: String, postage: Money) -> Quoted {
    Quoted { zone, postage, surcharges: Vec::new(), below: None, ends: None, above: None }
}

fn by_weight(steps: &[WeightStep], zone: String, weight: Weight) -> Result<Quoted, Refusal> {
    let mut of_zone: Vec<&WeightStep> = steps.iter().filter(|step| step.zone == zone).collect();
    of_zone.sort_by_key(|step| step.up_to);
    let Some(most) = of_zone.last() else { return Err(Refusal::ZonePrice(zone)) };
    let Some(index) = of_zone.iter().position(|step| step.up_to >= weight) else {
        return Err(Refusal::Weight(most.up_to, weight));
    };
    let below = index.checked_sub(1).map(|i| (of_zone[i].up_to, of_zone[i].price));
    let above = of_zone.get(index + 1).map(|step| step.price);
    Ok(Quoted {
        zone,
        postage: of_zone[index].price,
        surcharges: Vec::new(),
        below,
        ends: Some(of_zone[index].up_to),
        above,
    })
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

fn applies(surcharge: &Surcharge, zone: &str, parcel: &Parcel<'_>, on: Date) -> bool {
    let (from, until) = surcharge.between;
    let longest = parcel.outer.sorted()[0];
    surcharge.above_weight.is_none_or(|above| parcel.weight > above)
        && surcharge.above_longest.is_none_or(|above| longest > above)
        && (surcharge.zones.is_empty() || surcharge.zones.iter().any(|z| z == zone))
        && from.is_none_or(|from| on >= from)
        && until.is_none_or(|until| on <= until)
}

/// Hundredths of a percent, rounded up to a whole minor unit.
fn per_ten_thousand(price: Money, rate: u32) -> Money {
    let exact = i128::from(price.minor) * i128::from(rate);
    let minor = exact.div_euclid(10_000) + i128::from(exact.rem_euclid(10_000) != 0);
    Money::new(i64::try_from(minor).unwrap_or(i64::MAX), price.currency)
}

/// The least that a service can ask of any parcel to this destination on this day: the
/// cheapest step of the zone and every surcharge that lowers the price. A lower bound for
/// splits; `None` where the service does not go there at all.
pub fn least(service: &Service, to: &Destination, on: Date) -> Option<i64> {
    let zone = zone_of(service, to)?;
    let postage = match &service.price {
        Price::Nothing => 0,
        Price::Fixed(prices) => prices.get(&zone)?.minor,
        Price::ByWeight(steps) => steps.iter().filter(|s| s.zone == zone).map(|s| s.price.minor).min()?,
        Price::ByVolume(steps) => steps.iter().filter(|s| s.zone == zone).map(|s| s.price.minor).min()?,
    };
    let (from, until) = service.valid;
    if from.is_some_and(|from| on < from) || until.is_some_and(|until| on > until) {
        return None;
    }
    let discounts: i64 = service
        .surcharges
        .iter()
        .filter_map(|surcharge| match surcharge.amount {
            SurchargeAmount::Fixed(amount) if amount.minor < 0 => Some(amount.minor),
            _ => None,
        })
        .sum();
    Some(postage + discounts)
}
