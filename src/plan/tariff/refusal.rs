//! Why a service does not take a parcel, in words.

use crate::model::*;
use jiff::civil::Date;

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
    /// Too heavy with limited quantities in it: most allowed, this weighs.
    LimitedQuantity(Weight, Weight),
    /// Too large for its weight: most allowed, this counts as.
    CountsAs(Weight, Weight),
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
    /// Volume beyond the last step: most, this is.
    Volume(Volume, Volume),
    /// Length and width of a mailer beyond the last step: most, these are.
    Soft(Length, Length),
}

impl Refusal {
    /// One short sentence whose subject is the service ("takes up to 1 kg, this weighs 1.84 kg").
    pub fn say(&self, units: Units) -> String {
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
            Self::Weight(most, is) => format!("takes up to {}, this weighs {}", units.limit(*most), units.limit(*is)),
            Self::LimitedQuantity(most, is) => format!(
                "takes limited quantities in parcels up to {}, this weighs {}",
                units.limit(*most),
                units.limit(*is)
            ),
            Self::CountsAs(most, is) => {
                format!("takes up to {}, this counts as {} for its size", units.limit(*most), units.limit(*is))
            }
            Self::Longest(most, is) => {
                format!("the longest side may be {}, this is {}", units.side(*most), units.side(*is))
            }
            Self::Girth(most, is) => {
                format!("length and girth may be {}, these are {}", units.side(*most), units.side(*is))
            }
            Self::Sum(most, is) => {
                format!("the three sides may add up to {}, these are {}", units.side(*most), units.side(*is))
            }
            Self::TooLarge(most, is) => format!("takes up to {}, this is {}", units.dims(*most), units.dims(*is)),
            Self::TooSmall(least, is) => {
                format!("takes nothing smaller than {}, this is {}", units.dims(*least), units.dims(*is))
            }
            Self::Volume(most, is) => format!("takes up to {most}, this is {is}"),
            Self::Soft(most, is) => {
                format!("length and width of a mailer may be {}, these are {}", units.side(*most), units.side(*is))
            }
        }
    }
}
