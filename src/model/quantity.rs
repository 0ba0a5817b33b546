//! Exact quantities: length in nanometres, weight in nanograms, volume in 128
//! bits, money in minor units. Outside they always carry a unit; a bare number is
//! an error that says so.
//!
//! Definitions: 1 in = 25.4 mm and 1 lb = 0.453 592 37 kg exactly (international
//! yard and pound agreement, 1959); 1 oz = 1/16 lb = 28 349 523 125 ng.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::iter::Sum;
use std::ops::{Add, Mul, Sub};
use std::str::FromStr;

/// Why a quantity could not be read; the text says what to write instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct QuantityError(pub String);

/// A length. 1/64 in is exact.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Length {
    /// Nanometres.
    pub nm: i64,
}

/// A weight (mass). 1 oz is exact.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Weight {
    /// Nanograms.
    pub ng: i64,
}

/// A volume in cubic nanometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Volume {
    /// Cubic nanometres.
    pub nm3: u128,
}

/// Nanometres in a millimetre.
pub const NM_PER_MM: i64 = 1_000_000;
/// Nanograms in a gram.
pub const NG_PER_G: i64 = 1_000_000_000;
/// Nanograms in an avoirdupois ounce, exactly.
pub const NG_PER_OZ: i64 = 28_349_523_125;

const LENGTH_UNITS: [(&str, i64); 6] = [
    ("mm", NM_PER_MM),
    ("cm", 10 * NM_PER_MM),
    ("m", 1000 * NM_PER_MM),
    ("in", 25_400_000),
    ("\"", 25_400_000),
    ("ft", 304_800_000),
];
const WEIGHT_UNITS: [(&str, i64); 6] = [
    ("g", NG_PER_G),
    ("mg", NG_PER_G / 1000),
    ("kg", 1000 * NG_PER_G),
    ("oz", NG_PER_OZ),
    ("lb", 16 * NG_PER_OZ),
    ("t", 1_000_000 * NG_PER_G),
];

/// Cubic nanometres in a cubic centimetre.
pub const NM3_PER_CM3: u128 = 1_000_000_000_000_000_000_000;

const VOLUME_UNITS: [(&str, u128); 7] = [
    ("cm3", NM3_PER_CM3),
    ("ml", NM3_PER_CM3),
    ("l", 1_000 * NM3_PER_CM3),
    ("dm3", 1_000 * NM3_PER_CM3),
    ("m3", 1_000_000 * NM3_PER_CM3),
    ("in3", 25_400_000 * 25_400_000 * 25_400_000),
    ("ft3", 304_800_000 * 304_800_000 * 304_800_000),
];

/// No workshop handles anything beyond this length or weight; keeps sums far from overflow.
const LENGTH_NM_MAX: i64 = 1_000_000 * NM_PER_MM;
const WEIGHT_NG_MAX: i64 = 1_000_000 * NG_PER_G;
/// A thousand cubic metres.
const VOLUME_NM3_MAX: u128 = 1_000_000_000 * NM3_PER_CM3;

/// Whole millimetres nearest to so many nanometres: for pictures.
pub const fn mm_near(nm: i64) -> i64 {
    (nm + NM_PER_MM / 2).div_euclid(NM_PER_MM)
}

impl Length {
    /// Nothing.
    pub const ZERO: Self = Self { nm: 0 };
    /// Whole millimetres.
    pub const fn from_mm(mm: i64) -> Self {
        Self { nm: mm * NM_PER_MM }
    }
    /// Whole millimetres, rounded up.
    pub const fn mm_up(self) -> i64 {
        (self.nm + NM_PER_MM - 1).div_euclid(NM_PER_MM)
    }
}

impl Weight {
    /// Nothing.
    pub const ZERO: Self = Self { ng: 0 };
    /// Whole grams.
    pub const fn from_g(g: i64) -> Self {
        Self { ng: g * NG_PER_G }
    }
    /// Whole grams, rounded up.
    pub const fn g_up(self) -> i64 {
        (self.ng + NG_PER_G - 1).div_euclid(NG_PER_G)
    }
    /// As `Display`, without an empty fraction: `1 kg`.
    pub fn short(self) -> String {
        self.to_string().replace(".00 kg", " kg")
    }
    /// Whole grams, rounded to nearest.
    pub const fn g_near(self) -> i64 {
        (self.ng + NG_PER_G / 2).div_euclid(NG_PER_G)
    }
    /// `count` times this, kept within the range of the type.
    pub const fn times(self, count: u32) -> Self {
        Self { ng: self.ng.saturating_mul(count as i64) }
    }
}

impl Volume {
    /// Cubic centimetres (millilitres), rounded up.
    pub const fn cm3_up(self) -> u128 {
        self.nm3.div_ceil(NM3_PER_CM3)
    }
    /// Whole cubic centimetres.
    pub const fn from_cm3(cm3: u64) -> Self {
        Self { nm3: cm3 as u128 * NM3_PER_CM3 }
    }
}

impl fmt::Display for Volume {
    /// In cubic centimetres, rounded up.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} cm³", self.cm3_up()))
    }
}

impl FromStr for Volume {
    type Err = QuantityError;
    /// `900 cm3`, `750 ml`, `1.5 l`, `1728 in3`, `0.1 ft3`; exact, what is below a cubic nanometre is left out.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        let trimmed = text.trim();
        let wrong = |why: &str| QuantityError(format!("{trimmed:?}: {why}; write it like \"1.5 l\" or \"1728 in3\""));
        let split = trimmed.find(|c: char| c.is_ascii_alphabetic());
        let Some(split) = split else { return Err(wrong(&format!("a number without a unit; say \"{trimmed} l\""))) };
        let (number, unit) = trimmed.split_at(split);
        let unit = unit.replace('³', "3");
        let (n, d) = ratio(number).ok_or_else(|| wrong(&format!("{:?} is not a number", number.trim())))?;
        let Some((_, size)) = VOLUME_UNITS.iter().find(|(name, _)| *name == unit) else {
            let known: Vec<_> = VOLUME_UNITS.iter().map(|(name, _)| *name).collect();
            return Err(wrong(&format!("the unit {unit:?} is not one of {}", known.join(", "))));
        };
        let (n, d) = (n.unsigned_abs(), d.unsigned_abs());
        match n.checked_mul(*size).map(|exact| exact / d) {
            Some(nm3) if nm3 <= VOLUME_NM3_MAX => Ok(Self { nm3 }),
            _ => Err(wrong("larger than anything a workshop handles")),
        }
    }
}

macro_rules! arithmetic {
    ($name:ident, $field:ident) => {
        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self { $field: self.$field.saturating_add(other.$field) }
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self { $field: self.$field.saturating_sub(other.$field) }
            }
        }
        impl Mul<i64> for $name {
            type Output = Self;
            fn mul(self, by: i64) -> Self {
                Self { $field: self.$field.saturating_mul(by) }
            }
        }
        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
                all.fold(Self { $field: 0 }, |a, b| a + b)
            }
        }
        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(self, f)
            }
        }
    };
}
arithmetic!(Length, nm);
arithmetic!(Weight, ng);

/// Up to six decimals without trailing zeros.
fn decimal(value: i64, unit: i64) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let value = value.unsigned_abs() as u128;
    let unit = unit as u128;
    let millionths = (value * 1_000_000 + unit / 2) / unit;
    let text = format!("{}.{:06}", millionths / 1_000_000, millionths % 1_000_000);
    format!("{sign}{}", text.trim_end_matches('0').trim_end_matches('.'))
}

impl fmt::Display for Length {
    /// In millimetres: `230 mm`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} mm", decimal(self.nm, NM_PER_MM)))
    }
}

impl fmt::Display for Weight {
    /// Grams below one kilogram (`640 g`), else kilograms with two decimals (`1.84 kg`).
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.ng.abs() < 1000 * NG_PER_G {
            return f.pad(&format!("{} g", decimal(self.g_near(), 1)));
        }
        let hundredths = (self.ng + 5 * NG_PER_G).div_euclid(10 * NG_PER_G);
        f.pad(&format!("{}.{:02} kg", hundredths / 100, hundredths % 100))
    }
}

/// Reads a plain decimal (`12`, `12.5`) or a fraction (`3/8`, `12 3/8`) as a ratio.
fn ratio(text: &str) -> Option<(i128, i128)> {
    let text = text.trim();
    if let Some((whole, rest)) = text.split_once(' ') {
        let (n, d) = fraction(rest.trim())?;
        let whole: i128 = digits(whole)?;
        return Some((whole * d + n, d));
    }
    if text.contains('/') {
        return fraction(text);
    }
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    if part.len() > 12 || (part.is_empty() && text.contains('.')) {
        return None;
    }
    let scale = 10i128.pow(part.len() as u32);
    let part = if part.is_empty() { 0 } else { digits(part)? };
    Some((digits(whole)? * scale + part, scale))
}

fn fraction(text: &str) -> Option<(i128, i128)> {
    let (n, d) = text.split_once('/')?;
    let d = digits(d)?;
    if d == 0 { None } else { Some((digits(n)?, d)) }
}

fn digits(text: &str) -> Option<i128> {
    if text.is_empty() || text.len() > 12 || !text.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    text.parse().ok()
}

/// Splits `1 lb 4 oz` into number and unit pairs and adds them up, exactly;
/// a remainder below the base unit rounds up (things that vary round up).
fn read(text: &str, units: &[(&str, i64)], example: &str, max: i64) -> Result<i64, QuantityError> {
    let trimmed = text.trim();
    let wrong = |why: &str| Err(QuantityError(format!("{trimmed:?}: {why}; write it like \"{example}\"")));
    if trimmed.is_empty() {
        return wrong("nothing is written here");
    }
    let mut rest = trimmed;
    let mut sum: i128 = 0;
    while !rest.is_empty() {
        let split = rest.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '/' || c == ' '));
        let Some(split) = split else {
            return wrong(&format!("a number without a unit; say \"{trimmed} {}\"", units[0].0));
        };
        let (number, tail) = rest.split_at(split);
        let end = tail.find(|c: char| c.is_ascii_digit() || c == ' ').unwrap_or(tail.len());
        let (unit, tail) = tail.split_at(end);
        let Some((n, d)) = ratio(number) else {
            return wrong(&format!("{:?} is not a number", number.trim()));
        };
        let Some((_, size)) = units.iter().find(|(name, _)| *name == unit.trim()) else {
            let known: Vec<_> = units.iter().map(|(name, _)| *name).collect();
            return wrong(&format!("the unit {:?} is not one of {}", unit.trim(), known.join(", ")));
        };
        let exact = n * i128::from(*size);
        sum += exact.div_euclid(d) + i128::from(exact.rem_euclid(d) != 0);
        rest = tail.trim_start();
    }
    match i64::try_from(sum) {
        Ok(value) if value <= max => Ok(value),
        _ => wrong("larger than anything a workshop handles"),
    }
}

impl FromStr for Length {
    type Err = QuantityError;
    /// `230 mm`, `23 cm`, `9 in`, `12 3/8 in`, `1 ft 2 in`.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        read(text, &LENGTH_UNITS, "230 mm", LENGTH_NM_MAX).map(|nm| Self { nm })
    }
}

impl FromStr for Weight {
    type Err = QuantityError;
    /// `640 g`, `1.84 kg`, `15.999 oz`, `1 lb 4 oz`.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        read(text, &WEIGHT_UNITS, "640 g", WEIGHT_NG_MAX).map(|ng| Self { ng })
    }
}

/// Length, width and height of a thing; the third is the one that stands upright.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Dims {
    /// First side.
    pub length: Length,
    /// Second side.
    pub width: Length,
    /// Upright side.
    pub height: Length,
}

impl Dims {
    /// From whole millimetres.
    pub const fn from_mm(length: i64, width: i64, height: i64) -> Self {
        Self { length: Length::from_mm(length), width: Length::from_mm(width), height: Length::from_mm(height) }
    }
    /// The three sides in the order given.
    pub const fn sides(&self) -> [Length; 3] {
        [self.length, self.width, self.height]
    }
    /// The three sides, longest first.
    pub fn sorted(&self) -> [Length; 3] {
        let mut sides = self.sides();
        sides.sort_by(|a, b| b.cmp(a));
        sides
    }
    /// Exact volume; nothing where a side is not positive.
    pub fn volume(&self) -> Volume {
        let side = |l: Length| l.nm.max(0) as u128;
        Volume { nm3: side(self.length).saturating_mul(side(self.width)).saturating_mul(side(self.height)) }
    }
    /// Longest side plus twice the sum of the other two (length plus girth, USPS Quick Service Guide 201e).
    pub fn length_and_girth(&self) -> Length {
        let [a, b, c] = self.sorted();
        a + (b + c) * 2
    }
}

impl fmt::Display for Dims {
    /// `230 x 130 x 80 mm`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [a, b, c] = self.sides().map(|l| decimal(l.nm, NM_PER_MM));
        f.pad(&format!("{a} x {b} x {c} mm"))
    }
}

impl fmt::Debug for Dims {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Dims {
    type Err = QuantityError;
    /// `230 x 130 x 80 mm`, `230x130x80mm`, `9 x 5 1/2 x 3 in`, or a unit at each side.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        let wrong = |why: &str| QuantityError(format!("{text:?}: {why}; write it like \"230 x 130 x 80 mm\""));
        let parts: Vec<&str> = text.split(['x', '×', '*']).map(str::trim).collect();
        let [a, b, c] = parts[..] else {
            return Err(wrong("three sides are needed, with an x between them"));
        };
        let unit_at =
            c.find(|ch: char| ch.is_ascii_alphabetic() || ch == '"').ok_or_else(|| wrong("the unit is missing"))?;
        let unit = &c[unit_at..];
        let side = |s: &str| -> Result<Length, QuantityError> {
            let bare = s.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'/' | b' '));
            let length: Length = if bare { format!("{s} {unit}").parse()? } else { s.parse()? };
            if length.nm <= 0 { Err(wrong("a side must be more than nothing")) } else { Ok(length) }
        };
        Ok(Self { length: side(a)?, width: side(b)?, height: side(c)? })
    }
}

/// An ISO 4217 currency code.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Currency([u8; 3]);

/// Codes whose minor unit is not 1/100 (ISO 4217 list one, published 2026-01-01).
const NO_MINOR: [&str; 17] = [
    "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "UYI", "VND", "VUV", "XAF", "XOF",
    "XPF",
];
const THREE_MINOR: [&str; 7] = ["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"];
const FOUR_MINOR: [&str; 2] = ["CLF", "UYW"];

impl Currency {
    /// Euro.
    pub const EUR: Self = Self(*b"EUR");
    /// The three letters.
    pub fn code(&self) -> &str {
        std::str::from_utf8(&self.0).unwrap_or("???")
    }
    /// Decimal places of the minor unit (ISO 4217; 2 where the list says nothing else).
    pub fn decimals(&self) -> u32 {
        let code = self.code();
        if NO_MINOR.contains(&code) {
            0
        } else if THREE_MINOR.contains(&code) {
            3
        } else if FOUR_MINOR.contains(&code) {
            4
        } else {
            2
        }
    }
}

impl FromStr for Currency {
    type Err = QuantityError;
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        match <[u8; 3]>::try_from(text.as_bytes()) {
            Ok(code) if code.iter().all(u8::is_ascii_uppercase) => Ok(Self(code)),
            _ => Err(QuantityError(format!("{text:?} is not a currency code of three capital letters, like \"EUR\""))),
        }
    }
}
impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.code())
    }
}
impl fmt::Debug for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}
impl Serialize for Currency {
    fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(self.code())
    }
}
impl<'de> Deserialize<'de> for Currency {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(d)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// An amount in minor units of one currency. Sums of different currencies are
/// refused by the configuration before they can be asked for.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Money {
    /// Minor units (cents for EUR).
    pub minor: i64,
    /// The currency.
    pub currency: Currency,
}

impl Money {
    /// So many minor units.
    pub const fn new(minor: i64, currency: Currency) -> Self {
        Self { minor, currency }
    }
    /// The figure alone, with the currency's decimals: `3.46`.
    pub fn figure(&self) -> String {
        let decimals = self.currency.decimals();
        let unit = 10i64.pow(decimals);
        let sign = if self.minor < 0 { "-" } else { "" };
        let minor = self.minor.unsigned_abs();
        let unit = unit as u64;
        if decimals == 0 {
            format!("{sign}{minor}")
        } else {
            format!("{sign}{}.{:0width$}", minor / unit, minor % unit, width = decimals as usize)
        }
    }
    /// Reads a figure in this currency (`3.46`); more decimals than the currency has are an error.
    pub fn parse_figure(text: &str, currency: Currency) -> Result<Self, QuantityError> {
        let wrong = |why: &str| QuantityError(format!("{text:?}: {why}; write it like \"3.46 {currency}\""));
        let trimmed = text.trim();
        let (negative, unsigned) = match trimmed.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, trimmed),
        };
        let (n, d) =
            ratio(unsigned).filter(|_| !unsigned.contains(['/', ' '])).ok_or_else(|| wrong("not an amount"))?;
        let exact = n * 10i128.pow(currency.decimals());
        if exact % d != 0 {
            return Err(wrong("more decimals than the currency has"));
        }
        let minor = i64::try_from(exact / d).map_err(|_| wrong("too large"))?;
        if minor > 100_000_000_000 {
            return Err(wrong("too large"));
        }
        Ok(Self { minor: if negative { -minor } else { minor }, currency })
    }
}

impl Add for Money {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        debug_assert_eq!(self.currency, other.currency, "sums stay within one currency");
        Self { minor: self.minor.saturating_add(other.minor), currency: self.currency }
    }
}
impl Sub for Money {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        debug_assert_eq!(self.currency, other.currency, "differences stay within one currency");
        Self { minor: self.minor.saturating_sub(other.minor), currency: self.currency }
    }
}
impl fmt::Display for Money {
    /// `3.46 EUR`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} {}", self.figure(), self.currency))
    }
}
impl fmt::Debug for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}
impl FromStr for Money {
    type Err = QuantityError;
    /// `3.46 EUR`.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        let Some((figure, code)) = text.trim().rsplit_once(' ') else {
            return Err(QuantityError(format!("{text:?}: an amount needs its currency; write it like \"3.46 EUR\"")));
        };
        Self::parse_figure(figure, code.parse()?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_are_read_exactly() {
        assert_eq!("9 in".parse::<Length>().unwrap().nm, 228_600_000);
        assert_eq!("12 3/8 in".parse::<Length>().unwrap().nm, 314_325_000);
        assert_eq!("1/64 in".parse::<Length>().unwrap().nm, 396_875);
        assert_eq!("1 lb 4 oz".parse::<Weight>().unwrap().ng, 20 * NG_PER_OZ);
        assert_eq!("15.999 oz".parse::<Weight>().unwrap().ng, 453_564_020_477); // 453.564 g, USPS QSG 280; rounded up
        assert_eq!("640g".parse::<Weight>().unwrap(), Weight::from_g(640));
        assert_eq!("230x130x80mm".parse::<Dims>().unwrap(), Dims::from_mm(230, 130, 80));
        assert_eq!("3.46 EUR".parse::<Money>().unwrap(), Money::new(346, Currency::EUR));
        assert_eq!("346 JPY".parse::<Money>().unwrap().minor, 346);
        assert_eq!("1.234 KWD".parse::<Money>().unwrap().minor, 1234);
    }

    #[test]
    fn a_bare_number_is_told_what_is_missing() {
        let told = "230".parse::<Length>().unwrap_err().to_string();
        assert!(told.contains("say \"230 mm\""), "{told}");
        for bad in ["", "mm", "-3 mm", "1..2 mm", "3 parsecs", "1/0 in", "99999999999 m", "1e3 mm"] {
            assert!(bad.parse::<Length>().is_err(), "{bad}");
        }
        for bad in ["3.46", "3.465 EUR", "1.5 JPY", "EUR", "3,46 EUR", "3.46 eur"] {
            assert!(bad.parse::<Money>().is_err(), "{bad}");
        }
    }

    #[test]
    fn length_and_girth_follow_the_published_examples() {
        // USPS Quick Service Guide 201e (2016-06-06): 10 x 8 x 5 in gives 36 in.
        let dims: Dims = "10 x 8 x 5 in".parse().unwrap();
        assert_eq!(dims.length_and_girth(), "36 in".parse().unwrap());
        // Postal Bulletin 22104 (2003): 18 x 16 x 16 in gives 82 in.
        let dims: Dims = "18 x 16 x 16 in".parse().unwrap();
        assert_eq!(dims.length_and_girth(), "82 in".parse().unwrap());
    }

    #[test]
    fn weights_print_as_people_say_them() {
        assert_eq!(Weight::from_g(640).to_string(), "640 g");
        assert_eq!(Weight::from_g(1840).to_string(), "1.84 kg");
        assert_eq!(Length::from_mm(230).to_string(), "230 mm");
        assert_eq!(Money::new(-5, Currency::EUR).to_string(), "-0.05 EUR");
    }
}
