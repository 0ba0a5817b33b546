//! Dangerous goods, as far as the workshop says: words, a number, and what goes as a limited quantity.
//!
//! Regulations let small inner packings travel with fewer duties. Which sizes those are, and what such a
//! parcel may weigh, stands in the list of dangerous goods and with the carrier, and so in the configuration.
//! Nothing here says that a thing is safe: it is a reminder, and the carrier's and local rules count.

use super::{CountryCode, Volume, Weight};
use std::fmt;

/// What is dangerous about a product.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Danger {
    /// In the workshop's words, shown as a caution.
    pub words: String,
    /// Its number in the list of dangerous goods, `UN1263`.
    pub un: Option<String>,
    /// What decides whether it goes as a limited quantity; `None`: nobody has said.
    pub inner: Option<InnerPacking>,
}

/// How much is in one piece, which is one inner packing (a can, a bottle).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InnerPacking {
    /// What is in it.
    pub net: NetQuantity,
    /// The most that may be in it where it goes as a limited quantity; of the same kind as `net`.
    pub limited_up_to: NetQuantity,
}

impl InnerPacking {
    /// Is it small enough for a limited quantity?
    pub fn is_limited(&self) -> bool {
        self.net.at_most(self.limited_up_to) == Some(true)
    }
}

impl Danger {
    /// Words alone.
    pub fn words(words: &str) -> Self {
        Self { words: words.to_owned(), un: None, inner: None }
    }
    /// It may go as a limited quantity.
    pub fn is_limited(&self) -> bool {
        self.inner.is_some_and(|inner| inner.is_limited())
    }
    /// More is in it than a limited quantity allows: all the rules for dangerous goods count.
    pub fn is_beyond_limited(&self) -> bool {
        self.inner.is_some_and(|inner| !inner.is_limited())
    }
}

impl fmt::Display for Danger {
    /// `lacquer, flammable, UN1263`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.un {
            Some(un) => write!(f, "{}, {un}", self.words),
            None => f.write_str(&self.words),
        }
    }
}

/// How much of a substance: liquids by volume, the rest by weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NetQuantity {
    /// Of a liquid.
    Volume(Volume),
    /// Of anything else.
    Weight(Weight),
}

impl NetQuantity {
    /// Is it no more than that? `None`: one is a volume and the other a weight.
    pub fn at_most(self, most: Self) -> Option<bool> {
        match (self, most) {
            (Self::Volume(is), Self::Volume(most)) => Some(is.nm3 <= most.nm3),
            (Self::Weight(is), Self::Weight(most)) => Some(is <= most),
            _ => None,
        }
    }
    /// So many times this.
    pub fn times(self, count: u32) -> Self {
        match self {
            Self::Volume(volume) => Self::Volume(Volume { nm3: volume.nm3.saturating_mul(u128::from(count)) }),
            Self::Weight(weight) => Self::Weight(weight.times(count)),
        }
    }
    /// Both together; `None`: one is a volume and the other a weight.
    pub fn plus(self, other: Self) -> Option<Self> {
        match (self, other) {
            (Self::Volume(a), Self::Volume(b)) => Some(Self::Volume(Volume { nm3: a.nm3.saturating_add(b.nm3) })),
            (Self::Weight(a), Self::Weight(b)) => Some(Self::Weight(Weight { ng: a.ng.saturating_add(b.ng) })),
            _ => None,
        }
    }
}

impl fmt::Display for NetQuantity {
    /// `5 l`, `750 ml`, `1 kg`; rounded up.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Weight(weight) => f.write_str(&weight.short()),
            Self::Volume(volume) => match volume.cm3_up() {
                ml if ml >= 1_000 && ml.is_multiple_of(100) => {
                    let (litres, tenths) = (ml / 1_000, ml % 1_000 / 100);
                    if tenths == 0 { write!(f, "{litres} l") } else { write!(f, "{litres}.{tenths} l") }
                }
                ml => write!(f, "{ml} ml"),
            },
        }
    }
}

/// How a service takes limited quantities.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakesLimited {
    /// The most that a parcel with any may weigh, with all that is in it and around it.
    pub gross_max: Weight,
    /// The most of them in one parcel, by volume and by weight; empty: no bound of its own.
    pub net_max: Vec<NetQuantity>,
    /// The mark that must be on the parcel, in the workshop's words, for the slip.
    pub mark: Option<String>,
    /// Only to these countries; empty: to any.
    pub countries: Vec<CountryCode>,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ml(ml: u64) -> NetQuantity {
        NetQuantity::Volume(Volume::from_cm3(ml))
    }

    #[test]
    fn quantities_are_told_as_they_stand_on_cans() {
        let said = [ml(1), ml(750), ml(1_000), ml(1_500), ml(1_525), ml(5_000)].map(|one| one.to_string());
        assert_eq!(said, ["1 ml", "750 ml", "1 l", "1.5 l", "1525 ml", "5 l"]);
        assert_eq!(NetQuantity::Weight(Weight::from_g(1_000)).to_string(), "1 kg");
    }

    #[test]
    fn just_as_much_is_limited_and_the_least_more_is_not() {
        let of = |net: NetQuantity, most: NetQuantity| Danger {
            inner: Some(InnerPacking { net, limited_up_to: most }),
            ..Danger::words("lacquer")
        };
        assert!(of(ml(500), ml(500)).is_limited());
        let more = NetQuantity::Volume(Volume { nm3: Volume::from_cm3(500).nm3 + 1 });
        assert!(of(more, ml(500)).is_beyond_limited() && !of(more, ml(500)).is_limited());
        let plain = Danger::words("lacquer");
        assert!(!plain.is_limited() && !plain.is_beyond_limited(), "nobody has said how much is in it");
    }
}
