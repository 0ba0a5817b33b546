//! Countries and postcodes.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// An ISO 3166-1 alpha-2 country code: one that the standard lists, or one of `QM` to
/// `QZ`, which it leaves to its users (the demo's island of Skerry is `QS`).
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct CountryCode([u8; 2]);

/// ISO 3166-1 alpha-2 (as carried by iso-codes 4.15.0).
const COUNTRIES: [&str; 10] = [
    "AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ",
    "BL BM BN BO BQ BR BS BT BV BW BY BZ CA CC CD CF CG CH CI CK CL CM CN CO CR",
    "CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG EH ER ES ET FI FJ FK FM FO FR",
    "GA GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR HT HU",
    "ID IE IL IM IN IO IQ IR IS IT JE JM JO JP KE KG KH KI KM KN KP KR KW KY KZ",
    "LA LB LC LI LK LR LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ",
    "MR MS MT MU MV MW MX MY MZ NA NC NE NF NG NI NL NO NP NR NU NZ OM PA PE PF",
    "PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS RU RW SA SB SC SD SE SG SH SI",
    "SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO TR",
    "TT TV TW TZ UA UG UM US UY UZ VA VC VE VG VI VN VU WF WS YE YT ZA ZM ZW",
];

impl CountryCode {
    /// Does a list of countries mean this one? An empty list means any, an unknown country only that.
    pub fn is_meant_by(list: &[Self], to: Option<Self>) -> bool {
        list.is_empty() || to.is_some_and(|country| list.contains(&country))
    }
    /// The two letters.
    pub fn as_str(&self) -> &str {
        std::str::from_utf8(&self.0).unwrap_or("??")
    }
}

impl FromStr for CountryCode {
    type Err = String;
    /// Accepts lower case; refuses what the standard does not list.
    fn from_str(text: &str) -> Result<Self, String> {
        let code = text.trim().to_ascii_uppercase();
        let users_own = matches!(code.as_bytes(), [b'Q', b'M'..=b'Z']);
        if users_own || code.len() == 2 && COUNTRIES.iter().any(|row| row.split(' ').any(|c| c == code)) {
            let bytes = code.as_bytes();
            return Ok(Self([bytes[0], bytes[1]]));
        }
        Err(format!("{text:?} is not a country code of ISO 3166-1 (two letters, like \"GB\")"))
    }
}
impl fmt::Display for CountryCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}
impl fmt::Debug for CountryCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}
impl Serialize for CountryCode {
    fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(self.as_str())
    }
}
impl<'de> Deserialize<'de> for CountryCode {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(d)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// What deciding needs of an address and may be kept when the person is forgotten.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Destination {
    /// Where it goes; `None` where the payload named no country that ISO 3166-1 lists.
    pub country: Option<CountryCode>,
    /// The first characters of the postcode, upper case, spaces and hyphens removed;
    /// at most [`POSTCODE_HEAD_MAX`]. Zones are found by it.
    pub postcode_head: String,
    /// Keyed hash (installation key, HMAC-SHA-256, first 16 bytes in hex) of the whole
    /// normalised address: recognises the same address without keeping it.
    pub address_hash: String,
    /// The address is a post box, which some services do not reach.
    pub post_box: bool,
}

/// A sector, not a doorstep: enough for every zone table, too little for a house.
pub const POSTCODE_HEAD_MAX: usize = 5;

/// Cuts a postcode down to what zones need.
pub fn postcode_head(postcode: &str) -> String {
    postcode
        .chars()
        .filter(|c| c.is_ascii_alphanumeric())
        .take(POSTCODE_HEAD_MAX)
        .collect::<String>()
        .to_ascii_uppercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_listed_countries_are_countries() {
        for good in ["GB", "de", "JP", "ZW", "QS"] {
            assert!(good.parse::<CountryCode>().is_ok(), "{good}");
        }
        // ISO 3166-1 does not list these.
        for bad in ["UK", "XK", "EU", "EL", "", "GBR", "A B", "É"] {
            assert!(bad.parse::<CountryCode>().is_err(), "{bad}");
        }
    }

    #[test]
    fn a_postcode_keeps_only_its_head() {
        assert_eq!(postcode_head("sk1 7ab"), "SK17A");
        assert_eq!(postcode_head("10115"), "10115");
        assert_eq!(postcode_head("〒100-0001"), "10000");
    }
}
