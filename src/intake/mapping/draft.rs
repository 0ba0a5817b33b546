//! An order as a payload tells it, before it is checked, and the check that makes an
//! [`Order`] and a [`Person`] of it. Flaws of content never lose an order: they become
//! questions. Only what gives the order no identity or no lines is refused as unmappable.

use super::address;
use super::text::{self, Clean};
use super::value::Quantity;
use crate::intake::json::canonical;
use crate::model::*;
use jiff::Timestamp;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;

/// Longest order number in characters.
const NUMBER_CHARS_MAX: usize = 80;
/// Longest sku in characters.
const SKU_CHARS_MAX: usize = 120;

/// Why a payload cannot be mapped at all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Unmappable {
    /// What is wrong, without personal data.
    pub reason: String,
    /// Where (RFC 6901).
    pub pointer: String,
}

impl Unmappable {
    pub(super) fn new(reason: impl Into<String>, pointer: impl Into<String>) -> Self {
        Self { reason: reason.into(), pointer: pointer.into() }
    }
}

/// An order as told.
#[derive(Debug, Clone, Default)]
pub(super) struct Draft {
    /// Where the order stands.
    pub pointer: String,
    /// The shop's number.
    pub number: Option<String>,
    /// Say so where the number was made up.
    pub number_made: bool,
    pub revision: Option<Revision>,
    pub placed: Option<Timestamp>,
    pub cancelled: bool,
    pub lines: Vec<LineDraft>,
    /// Where the lines stand.
    pub lines_pointer: String,
    pub recipient: String,
    pub buyer: String,
    pub address: AddressDraft,
    pub email: String,
    pub phone: String,
    pub gift: bool,
    pub hide_buyer: bool,
    /// The customer wants a parcel for this order alone.
    pub separate: bool,
    pub gift_message: String,
    pub wish: String,
    pub service: Option<String>,
    pub total: Option<Money>,
    pub not_before: Option<jiff::civil::Date>,
    pub language: Option<String>,
}

/// An address as told.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct AddressDraft {
    /// Where it stands; where it should, if there is none.
    pub pointer: String,
    pub street: Vec<String>,
    pub locality: String,
    pub region: String,
    pub postcode: String,
    pub country: String,
    /// Where the country stands.
    pub country_pointer: String,
    /// The payload itself says that it is a post box.
    pub post_box: bool,
    /// Lines of one order go to several addresses, and only the first is kept here.
    pub several: bool,
}

/// A line as told; only goods become one.
#[derive(Debug, Clone)]
pub(super) struct LineDraft {
    pub pointer: String,
    pub sku: Option<String>,
    pub name: Option<String>,
    pub quantity: Quantity,
    /// Where the quantity stands.
    pub quantity_pointer: String,
    pub unit_price: Option<Money>,
}

/// What the check needs to know besides the payload.
pub(super) struct Setting<'a> {
    pub source: &'a SourceName,
    pub installation_key: &'a [u8; 32],
    /// The workshop's currency.
    pub currency: Currency,
    /// What customers ask for when they fetch it themselves, lower case.
    pub collect: &'a BTreeSet<String>,
}

impl Draft {
    /// Makes the order and the person of it.
    ///
    /// # Errors
    /// No usable number, a line without sku and name, or more than [`LINES_MAX`] lines.
    pub(super) fn check(self, setting: &Setting<'_>) -> Result<(Order, Person), Unmappable> {
        let mut flaws = Flaws::default();
        let number = self.number(&mut flaws)?;
        let lines = self.goods(&mut flaws, setting.currency)?;
        let person = self.person(&mut flaws);
        let fetched = self.service.as_ref().is_some_and(|asked| setting.collect.contains(&asked.to_lowercase()));
        let destination = self.destination(&person, fetched, setting, &mut flaws);
        let mut order = Order {
            key: OrderKey { source: setting.source.clone(), number },
            revision: self.revision,
            placed: self.placed,
            lines,
            destination,
            gift: self.gift,
            hide_buyer: self.hide_buyer,
            requested_service: self.service.as_deref().map(short).filter(|s| !s.is_empty()).map(ServiceName),
            total: self.total.filter(|total| total.currency == setting.currency),
            cancelled: self.cancelled,
            not_before: self.not_before,
            has_wish: person.wish.is_some(),
            separate: self.separate,
            customer: customer(&person, setting.installation_key),
            // A cancellation often comes without its content; nothing is packed for it.
            flaws: if self.cancelled { Vec::new() } else { flaws.0 },
            content_digest: String::new(),
        };
        order.content_digest = content_digest(&order, &person);
        Ok((order, person))
    }

    fn number(&self, flaws: &mut Flaws) -> Result<String, Unmappable> {
        let clean = text::line(self.number.as_deref().unwrap_or(""));
        if clean.text.is_empty() {
            return Err(Unmappable::new("the order has no number", &*self.pointer));
        }
        if clean.text.chars().count() > NUMBER_CHARS_MAX || !clean.odd.is_empty() {
            let why = format!("the order's number is longer than {NUMBER_CHARS_MAX} characters or holds odd ones");
            return Err(Unmappable::new(why, &*self.pointer));
        }
        if self.number_made {
            let why = "the shop gave no number; one was made from the content";
            flaws.add(FlawKind::NoNumber, &self.pointer, why);
        }
        Ok(clean.text)
    }

    fn goods(&self, flaws: &mut Flaws, currency: Currency) -> Result<Vec<Line>, Unmappable> {
        if self.lines.len() > LINES_MAX {
            let why = format!("the order has {} lines, more than {LINES_MAX}", self.lines.len());
            return Err(Unmappable::new(why, &*self.lines_pointer));
        }
        if self.lines.is_empty() {
            flaws.add(FlawKind::NoGoods, &self.lines_pointer, "no line of it is goods");
        }
        let mut goods = Vec::new();
        for (nth, line) in self.lines.iter().enumerate() {
            let name = text::line(line.name.as_deref().unwrap_or("")).text;
            let sku = text::line(line.sku.as_deref().unwrap_or("")).text;
            let sku: String = if sku.is_empty() { name.clone() } else { sku }.chars().take(SKU_CHARS_MAX).collect();
            if sku.is_empty() {
                return Err(Unmappable::new("a line has neither a sku nor a name", &*line.pointer));
            }
            let place = &line.quantity_pointer;
            let quantity = match &line.quantity {
                Quantity::Good(quantity) => *quantity,
                Quantity::NothingOf(why) => {
                    let why = format!("line {}: {why} is less than one; the line is left out", nth + 1);
                    flaws.add(FlawKind::BadQuantity, place, &why);
                    continue;
                }
                Quantity::Unclear(why) => {
                    let why = format!("line {}: {why}; it is counted as one piece", nth + 1);
                    flaws.add(FlawKind::BadQuantity, place, &why);
                    1
                }
            };
            // Sums stay within one currency, so a price in another one is left out.
            let unit_price = line.unit_price.filter(|price| price.currency == currency);
            let name = if name.is_empty() { sku.clone() } else { name };
            goods.push(Line { sku: Sku(sku), name, quantity, unit_price });
        }
        Ok(goods)
    }

    fn person(&self, flaws: &mut Flaws) -> Person {
        let mut odd = Vec::new();
        let mut kept = |clean: Clean| {
            odd.extend(clean.odd);
            Hidden::new(clean.text)
        };
        let recipient = kept(text::line(&self.recipient));
        let buyer = kept(text::line(&self.buyer));
        let street = self.address.street.iter().flat_map(|part| text::lines(part));
        let street: Vec<Hidden> = street.map(&mut kept).filter(|line| !line.is_blank()).collect();
        let locality = kept(text::line(&self.address.locality));
        let region = kept(text::line(&self.address.region));
        let postcode = kept(text::line(&self.address.postcode));
        let wish = kept(text::note(&self.wish));
        let gift_message = kept(text::note(&self.gift_message));
        let some = |text: Hidden| Some(text).filter(|text| !text.is_blank());
        let mut person = Person {
            buyer: some(buyer).filter(|buyer| *buyer != recipient),
            recipient,
            street,
            locality,
            region,
            postcode,
            email: some(kept(text::line(&self.email))),
            phone: some(kept(text::line(&self.phone))),
            wish: some(wish),
            gift_message: some(gift_message),
            language: self.language.as_deref().map(short).filter(|s| !s.is_empty()),
        };
        if person.recipient.is_blank() {
            flaws.add(FlawKind::NoName, &self.pointer, "nobody is named who gets it");
            // Somebody bought it: a name is better than none, but not one that is to be kept back.
            if let Some(buyer) = person.buyer.take_if(|_| !self.hide_buyer) {
                person.recipient = buyer;
            }
        }
        if person.street.len() > text::STREET_LINES_MAX {
            let why = format!("the address has more than {} lines", text::STREET_LINES_MAX);
            flaws.add(FlawKind::OddCharacters, &self.address.pointer, &why);
            person.street.truncate(text::STREET_LINES_MAX);
        }
        if !odd.is_empty() {
            let mut seen = BTreeSet::new();
            odd.retain(|name| seen.insert(name.clone()));
            let why = format!("a name, address or text held what is not printed: {}", odd.join(", "));
            flaws.add(FlawKind::OddCharacters, &self.pointer, &why);
        }
        person
    }

    fn destination(&self, person: &Person, fetched: bool, setting: &Setting<'_>, flaws: &mut Flaws) -> Destination {
        let address = &self.address;
        let country: Option<CountryCode> = address.country.parse().ok();
        let street = person.street.iter().map(Hidden::reveal).collect::<Vec<_>>().join("\n");
        let has_place = !person.locality.is_blank() || !person.postcode.is_blank();
        if fetched {
            // Nothing is sent, so no address is needed.
        } else if address.several {
            let why = "its lines go to several addresses; the first one is shown";
            flaws.add(FlawKind::NoAddress, &address.pointer, why);
        } else if street.is_empty() || !has_place {
            let why = match (street.is_empty(), has_place) {
                (true, false) => "there is no address",
                (true, true) => "the address has no street or box",
                (false, _) => "the address has neither a town nor a postcode",
            };
            flaws.add(FlawKind::NoAddress, &address.pointer, why);
        } else if country.is_none() {
            let why = match address.country.trim() {
                "" => "the address names no country".to_owned(),
                _ => "the country is not a code of ISO 3166-1 (two letters, like GB)".to_owned(),
            };
            let place = if address.country_pointer.is_empty() { &address.pointer } else { &address.country_pointer };
            flaws.add(FlawKind::UnknownCountry, place, &why);
        }
        let parts = [
            address.country.trim(),
            person.postcode.reveal(),
            person.region.reveal(),
            person.locality.reveal(),
            &street,
        ];
        let nothing = street.is_empty() && !has_place;
        Destination {
            country,
            postcode_head: postcode_head(person.postcode.reveal()),
            address_hash: if nothing { String::new() } else { address::hash(setting.installation_key, &parts) },
            post_box: address.post_box || person.street.iter().any(|line| address::is_post_box(line.reveal())),
        }
    }
}

/// Who it is, as far as that can be told without keeping a name.
fn customer(person: &Person, installation_key: &[u8; 32]) -> CustomerMarks {
    let email = person.email.as_ref().map_or("", |email| email.reveal());
    CustomerMarks {
        name: address::hash(installation_key, &[person.recipient.reveal()]),
        email: address::hash(installation_key, &[email]),
    }
}

/// A word as asked for, on one line and of bounded length.
fn short(text: &str) -> String {
    text::line(text).text
}

#[derive(Default)]
struct Flaws(Vec<Flaw>);

impl Flaws {
    fn add(&mut self, kind: FlawKind, pointer: &str, detail: &str) {
        self.0.push(Flaw { kind, pointer: pointer.to_owned(), detail: detail.to_owned() });
    }
}

/// SHA-256 (hex) of what an order says, as canonical JSON: order and person without the
/// revision (two revisions may say the same) and without the keyed hashes (which another
/// installation would compute differently).
fn content_digest(order: &Order, person: &Person) -> String {
    let order = Order {
        revision: None,
        content_digest: String::new(),
        destination: Destination { address_hash: String::new(), ..order.destination.clone() },
        customer: CustomerMarks::default(),
        ..order.clone()
    };
    // Plain structs with text keys: both always serialise.
    let value = serde_json::json!({ "order": order, "person": person });
    data_encoding::HEXLOWER.encode(&Sha256::digest(canonical(&value)))
}
