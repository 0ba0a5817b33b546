//! Orders as intake hands them over, and the identities around them (BOOK: identities).
//!
//! What a fold needs ([`Order`]) and what tells of a person ([`Person`]) are kept
//! apart from here on: they go into different records of the ledger.

use super::{Destination, Hidden, Money, ServiceName, Sku, SourceName};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::fmt;

/// An order's identity: the source and the shop's own number, as written.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct OrderKey {
    /// The shop.
    pub source: SourceName,
    /// The shop's number as written, for example `S-417`.
    pub number: String,
}

impl OrderKey {
    /// Source and number.
    pub fn new(source: impl Into<String>, number: impl Into<String>) -> Self {
        Self { source: SourceName(source.into()), number: number.into() }
    }
}

impl fmt::Display for OrderKey {
    /// `shop/S-417`: a source's name never holds a slash.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{}/{}", self.source, self.number))
    }
}
impl std::str::FromStr for OrderKey {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        match text.split_once('/') {
            Some((source, number)) if !source.is_empty() && !number.is_empty() => Ok(Self::new(source, number)),
            _ => Err(format!("{text:?} is not SOURCE/NUMBER")),
        }
    }
}
impl Serialize for OrderKey {
    fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}
impl<'de> Deserialize<'de> for OrderKey {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(d)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// A message's identity: the scheme's signed id, else SHA-256 (hex) of the raw body
/// and the signed timestamp.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct MessageKey {
    /// The shop.
    pub source: SourceName,
    /// The id within that source.
    pub id: String,
}

/// What an order's revision is measured by. Ordered: the payload's own figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Revision {
    /// A counter in the payload.
    Number(u64),
    /// An instant in the payload.
    At(Timestamp),
}

/// One line of an order: so many of one product.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Line {
    /// The product's sku as the shop writes it.
    pub sku: Sku,
    /// What the shop calls it; printed where the product is unknown.
    pub name: String,
    /// How many, at least 1 and at most [`QUANTITY_MAX`].
    pub quantity: u32,
    /// Price of one, where the payload names it (customs, rules).
    pub unit_price: Option<Money>,
}

/// Lines of one order; more are refused as unmappable ("needs you").
pub const LINES_MAX: usize = 200;
/// Pieces in one line; more needs a person.
pub const QUANTITY_MAX: u32 = 10_000;

/// An order as mapped, without anything about a person: enough to plan and to fold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Order {
    /// Identity.
    pub key: OrderKey,
    /// The payload's own revision, if it names one.
    pub revision: Option<Revision>,
    /// When the customer placed it, if the payload says.
    pub placed: Option<Timestamp>,
    /// Goods; lines that are not goods are left out by the mapping.
    pub lines: Vec<Line>,
    /// Where it goes.
    pub destination: Destination,
    /// A gift: no prices on paper, the card greets the recipient.
    pub gift: bool,
    /// Who bought it wants to stay unnamed on everything that leaves the house.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub hide_buyer: bool,
    /// The service the customer asked for, as the shop calls it (mapped by `services.toml`).
    pub requested_service: Option<ServiceName>,
    /// What the goods cost together, if the payload says.
    pub total: Option<Money>,
    /// The shop says that this order is cancelled.
    pub cancelled: bool,
    /// Not before this date ("please send in December"), if the payload says.
    pub not_before: Option<jiff::civil::Date>,
    /// The customer left a wish; its text stands in [`Person`].
    pub has_wish: bool,
    /// What is wrong with the content, though it could be mapped (no address, quantity 0,
    /// unknown country): each becomes a question.
    pub flaws: Vec<Flaw>,
    /// The customer wants a parcel for this order alone.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub separate: bool,
    /// Recognises the recipient's name and e-mail without keeping them.
    #[serde(default, skip_serializing_if = "CustomerMarks::is_empty")]
    pub customer: CustomerMarks,
    /// SHA-256 (hex) of the canonical content incl. the person's part: two revisions that
    /// say the same have the same.
    pub content_digest: String,
}

/// Keyed hashes, made like that of an address ([`Destination::address_hash`]).
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct CustomerMarks {
    /// Of the recipient's normalised name; empty where nobody is named.
    #[serde(default)]
    pub name: String,
    /// Of the e-mail; empty where there is none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub email: String,
}

impl CustomerMarks {
    /// Is nothing known?
    pub fn is_empty(&self) -> bool {
        self.name.is_empty() && self.email.is_empty()
    }
}

/// Those whose orders may travel in one parcel: one name at one address.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Household {
    /// [`Destination::address_hash`].
    pub address: String,
    /// [`CustomerMarks::name`].
    pub name: String,
}

impl Order {
    /// With whose orders it may be joined; `None` for one that travels alone: a gift, a wish for a
    /// separate delivery, or nobody known by name and address.
    pub fn household(&self) -> Option<Household> {
        let (address, name) = (&self.destination.address_hash, &self.customer.name);
        let alone = self.gift || self.separate || address.is_empty() || name.is_empty();
        (!alone).then(|| Household { address: address.clone(), name: name.clone() })
    }
}

/// Something in a payload that a person has to settle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flaw {
    /// What kind; questions are grouped by it.
    pub kind: FlawKind,
    /// Where in the payload (an RFC 6901 pointer) or an empty text.
    pub pointer: String,
    /// In words for people, without personal data.
    pub detail: String,
}

/// Kinds of flaws.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FlawKind {
    /// The payload names no number for the order; one was made from its content.
    NoNumber,
    /// No address, or none with a street and a place.
    NoAddress,
    /// The country is missing or not in ISO 3166-1.
    UnknownCountry,
    /// No name for the recipient.
    NoName,
    /// A quantity that is not a whole number from 1 to [`QUANTITY_MAX`].
    BadQuantity,
    /// No line is goods.
    NoGoods,
    /// The name or address holds control or direction characters; they are not printed.
    OddCharacters,
}

/// All kinds of flaws.
pub const FLAW_KINDS: [FlawKind; 6] = [
    FlawKind::NoAddress,
    FlawKind::UnknownCountry,
    FlawKind::NoName,
    FlawKind::BadQuantity,
    FlawKind::NoGoods,
    FlawKind::OddCharacters,
];

/// Who gets it and who bought it: kept apart so that it can be forgotten.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Person {
    /// Name of who receives the parcel.
    pub recipient: Hidden,
    /// Name of who bought it, where it is somebody else (a gift).
    pub buyer: Option<Hidden>,
    /// Address lines without the name, in the order the shop sent them.
    pub street: Vec<Hidden>,
    /// Town.
    pub locality: Hidden,
    /// County, state, prefecture.
    pub region: Hidden,
    /// Whole postcode.
    pub postcode: Hidden,
    /// For questions and services that need it.
    pub email: Option<Hidden>,
    /// For services that need it.
    pub phone: Option<Hidden>,
    /// "Please leave it with the neighbour."
    pub wish: Option<Hidden>,
    /// Text for the gift's card.
    pub gift_message: Option<Hidden>,
    /// BCP 47 language or ISO country hint for the script's style (`ja`, `zh-Hant`), if known.
    pub language: Option<String>,
}
