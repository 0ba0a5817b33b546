//! Services: how a parcel travels, and what that costs.

use super::{
    ContainerName, CountryCode, Danger, Dims, Length, Money, PaperKind, Rate, ServiceName, TakesLimited, Volume, Weight,
};
use jiff::civil::{Date, Time};
use std::collections::BTreeMap;

/// How a parcel travels.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Service {
    /// Identity.
    pub name: ServiceName,
    /// As customers may ask for it at the shop; any of these.
    pub asked_as: Vec<String>,
    /// Only when asked for (express, collect).
    pub only_when_asked: bool,
    /// It is fetched: no postage, no address needed.
    pub collect: bool,
    /// Containers it takes; empty: all that are not the carrier's.
    pub containers: Vec<ContainerName>,
    /// Most it carries.
    pub weight_max: Option<Weight>,
    /// Longest side allowed.
    pub longest_max: Option<Length>,
    /// Length plus girth allowed.
    pub length_and_girth_max: Option<Length>,
    /// For prices by volume: each side counts in whole steps of this, what is over is dropped.
    pub side_step: Option<Length>,
    /// Light things count as heavy as their size.
    pub dimensional: Option<Dimensional>,
    /// Sum of the three sides allowed.
    pub sum_max: Option<Length>,
    /// Largest outer size, any way round (a letter slot); compared side by side, sorted.
    pub outer_max: Option<Dims>,
    /// Smallest outer size, likewise.
    pub outer_min: Option<Dims>,
    /// Does not deliver to post boxes.
    pub no_post_box: bool,
    /// Contents that it does not carry.
    pub refuses: Vec<Refused>,
    /// How it takes dangerous goods in limited quantities; `None`: it does not, as far as the workshop says.
    pub limited_quantity: Option<TakesLimited>,
    /// Its amounts stand in another currency, which costs so much; `None`: in the workshop's.
    pub rate: Option<Rate>,
    /// How it is priced.
    pub price: Price,
    /// What is in force in its place from a day on: other prices, limits, minimum, tax; days rise.
    pub later: Vec<(Date, Service)>,
    /// Price and surcharges come to this at least.
    pub minimum: Option<Money>,
    /// Added to the price.
    pub surcharges: Vec<Surcharge>,
    /// The prices are without this tax, in hundredths of a percent; it is added.
    pub vat: Option<u32>,
    /// What all comes to is rounded to a multiple of this.
    pub round: Option<(Money, Round)>,
    /// Zones by destination; the first that matches counts. Empty: everywhere is zone "".
    pub zones: Vec<ZoneRule>,
    /// Only with this contract, which is in force (`workshop` lists those it has; config drops services whose contract is missing).
    pub contract: Option<String>,
    /// First and last day on which this table counts.
    pub valid: (Option<Date>, Option<Date>),
    /// What prints with the slip of each parcel that travels by it: labels, customs sheets.
    pub prints: Vec<PaperKind>,
    /// So many parcels are handed over with it on one day at most.
    pub per_day: Option<u32>,
    /// Local time from which a parcel that is planned no longer goes with it on that day.
    pub latest: Option<Time>,
}

impl Service {
    /// Free, and takes everything to everywhere.
    pub fn plain(name: &str) -> Self {
        Self {
            name: name.into(),
            asked_as: Vec::new(),
            only_when_asked: false,
            collect: false,
            containers: Vec::new(),
            weight_max: None,
            longest_max: None,
            length_and_girth_max: None,
            side_step: None,
            dimensional: None,
            sum_max: None,
            outer_max: None,
            outer_min: None,
            no_post_box: false,
            refuses: Vec::new(),
            limited_quantity: None,
            rate: None,
            price: Price::Nothing,
            later: Vec::new(),
            minimum: None,
            surcharges: Vec::new(),
            vat: None,
            round: None,
            zones: Vec::new(),
            contract: None,
            valid: (None, None),
            prints: Vec::new(),
            per_day: None,
            latest: None,
        }
    }

    /// As it is on a day: itself, or what is in its place by then.
    pub fn on(&self, day: Date) -> &Self {
        self.later.iter().rev().find(|(from, _)| *from <= day).map_or(self, |(_, service)| service)
    }
}

/// Contents that a service does not carry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// What stands in a product's dangerous-goods words or is its number, upper and lower case alike.
    pub danger: String,
    /// It takes them where they go as a limited quantity.
    pub but_limited: bool,
    /// Only to these countries; empty: to any.
    pub countries: Vec<CountryCode>,
}

impl Refused {
    /// Does this keep a product with such a danger away from there?
    pub fn keeps_away(&self, danger: &Danger, to: Option<CountryCode>) -> bool {
        danger.to_string().to_lowercase().contains(&self.danger.to_lowercase())
            && !(self.but_limited && danger.is_limited())
            && CountryCode::is_meant_by(&self.countries, to)
    }
}

/// Which way to round what is between two steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Round {
    /// To the larger.
    Up,
    /// To the nearer; halfway to the larger.
    Near,
    /// To the smaller.
    Down,
}

impl Round {
    /// `value` in whole steps; `step` is more than nothing.
    pub fn to_steps(self, value: i128, step: i128) -> i128 {
        let over = value.rem_euclid(step);
        let up = match self {
            Self::Up => over > 0,
            Self::Near => over * 2 >= step,
            Self::Down => false,
        };
        value.div_euclid(step) + i128::from(up)
    }
}

/// How a size becomes a weight: a parcel is charged as if it weighed so much, where that is more than it does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dimensional {
    /// This size ...
    pub size: Volume,
    /// ... counts as this weight.
    pub weighs: Weight,
    /// Only parcels larger than this are looked at.
    pub above: Option<Volume>,
    /// Sides count in whole steps of this.
    pub side_step: Option<(Length, Round)>,
    /// The weight counts in whole steps of this, rounded up.
    pub weight_step: Option<Weight>,
}

/// How a service is priced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Price {
    /// Free.
    Nothing,
    /// One price per zone, whatever it weighs.
    Fixed(BTreeMap<String, Money>),
    /// Steps by weight: the first whose bound is at least the weight counts.
    ByWeight(Vec<WeightStep>),
    /// Steps by outer volume: the first whose bound is at least the volume counts.
    ByVolume(Vec<VolumeStep>),
}

/// A row of a tariff by weight.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeightStep {
    /// Zone.
    pub zone: String,
    /// Up to and with this weight.
    pub up_to: Weight,
    /// Price of one parcel.
    pub price: Money,
    /// And so much for each so much that it weighs, in proportion, rounded up to a whole minor unit.
    pub for_each: Option<(Money, Weight)>,
}

/// A row of a tariff by volume.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VolumeStep {
    /// Zone.
    pub zone: String,
    /// Up to and with this volume.
    pub up_to: Volume,
    /// For mailers and envelopes in its place: up to and with this length and width together.
    pub soft_up_to: Option<Length>,
    /// Price.
    pub price: Money,
}

/// Added to a service's price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Surcharge {
    /// On paper.
    pub name: String,
    /// How much; a discount is less than nothing.
    pub amount: SurchargeAmount,
    /// Only for parcels heavier than this.
    pub above_weight: Option<Weight>,
    /// Only where the longest side is longer than this.
    pub above_longest: Option<Length>,
    /// Only where length and girth together are more than this.
    pub above_length_and_girth: Option<Length>,
    /// Only where it is larger than this outside.
    pub above_volume: Option<Volume>,
    /// Only in these zones; empty: all.
    pub zones: Vec<String>,
    /// Only to these countries; empty: all.
    pub countries: Vec<CountryCode>,
    /// Only to these postcodes; empty: all.
    pub postcodes: Vec<Postcodes>,
    /// Only between these dates.
    pub between: (Option<Date>, Option<Date>),
}

/// How much a surcharge is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SurchargeAmount {
    /// So much.
    Fixed(Money),
    /// Hundredths of a percent of the price, rounded up to a whole minor unit.
    PerTenThousand(i32),
    /// Likewise, by month (year and month): one that is not named has what the last one before it has,
    /// and nothing if there is none.
    ByMonth(BTreeMap<(i16, i8), i32>),
}

impl Surcharge {
    /// Such an amount for every parcel.
    pub fn plain(name: &str, amount: SurchargeAmount) -> Self {
        Self {
            name: name.to_owned(),
            amount,
            above_weight: None,
            above_longest: None,
            above_length_and_girth: None,
            above_volume: None,
            zones: Vec::new(),
            countries: Vec::new(),
            postcodes: Vec::new(),
            between: (None, None),
        }
    }
}

/// Postcodes that belong together. Compared with the start of [`Destination::postcode_head`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Postcodes {
    /// All that begin so.
    Begin(String),
    /// All that begin with something from the first to the last, both of the same length.
    Between(String, String),
}

impl Postcodes {
    /// Is a postcode one of them?
    pub fn hold(&self, head: &str) -> bool {
        match self {
            Self::Begin(begin) => head.starts_with(begin.as_str()),
            Self::Between(first, last) => {
                head.get(..first.len()).is_some_and(|begin| (first.as_str()..=last.as_str()).contains(&begin))
            }
        }
    }
}

/// Which destinations belong to a zone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ZoneRule {
    /// Zone.
    pub zone: String,
    /// Countries; empty: any.
    pub countries: Vec<CountryCode>,
    /// Postcodes; empty: any.
    pub postcodes: Vec<Postcodes>,
}
