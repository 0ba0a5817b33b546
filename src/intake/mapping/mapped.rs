//! Any JSON, read by the paths of `sources.toml`.

use super::draft::{AddressDraft, Draft, LineDraft, Unmappable};
use super::value::{self, Quantity};
use super::{MappingProblem, ORDERS_MAX};
use crate::intake::path::{Path, Spot};
use crate::model::{Currency, LineMapping, Mapping};
use serde_json::Value;

/// A mapping whose paths were checked.
#[derive(Debug, Clone)]
pub(super) struct Compiled {
    order: Option<Path>,
    only_if: Option<Path>,
    number: Path,
    revision: Option<Path>,
    placed: Option<Path>,
    cancelled: Option<Path>,
    cancelled_values: Vec<String>,
    lines: Path,
    sku: Path,
    name: Option<Path>,
    quantity: Option<Path>,
    unit_price: Option<Path>,
    skip: Option<Path>,
    skip_values: Vec<String>,
    recipient: Vec<Path>,
    buyer: Vec<Path>,
    street: Vec<Path>,
    locality: Option<Path>,
    region: Option<Path>,
    postcode: Option<Path>,
    country: Option<Path>,
    email: Option<Path>,
    phone: Option<Path>,
    gift: Option<Path>,
    hide_buyer: Option<Path>,
    gift_message: Option<Path>,
    separate: Option<Path>,
    wish: Option<Path>,
    service: Option<Path>,
    total: Option<Path>,
    currency: Option<CurrencyAt>,
    prices_minor: bool,
    not_before: Option<Path>,
    language: Option<Path>,
}

/// Where prices have their currency from.
#[derive(Debug, Clone)]
enum CurrencyAt {
    Always(Currency),
    Path(Path),
}

/// Collects every problem, so that a person mends them all at once.
struct Reader {
    problems: Vec<MappingProblem>,
}

impl Reader {
    fn path(&mut self, key: &str, text: &str) -> Option<Path> {
        Path::parse(text).map_err(|problem| self.problems.push(MappingProblem { key: key.into(), problem })).ok()
    }
    fn maybe(&mut self, key: &str, text: &Option<String>) -> Option<Path> {
        text.as_ref().and_then(|text| self.path(key, text))
    }
    fn all(&mut self, key: &str, texts: &[String]) -> Vec<Path> {
        texts.iter().filter_map(|text| self.path(key, text)).collect()
    }
}

impl Compiled {
    /// Checks every path.
    ///
    /// # Errors
    /// All problems, each with the key that holds it.
    pub(super) fn new(mapping: &Mapping) -> Result<Self, Vec<MappingProblem>> {
        let mut reader = Reader { problems: Vec::new() };
        let currency = match &mapping.currency {
            Some(text) => match text.parse() {
                Ok(code) => Some(CurrencyAt::Always(code)),
                Err(_) => reader.path("currency", text).map(CurrencyAt::Path),
            },
            None => None,
        };
        // Destructured, so that a key added to the mapping cannot be forgotten here.
        let LineMapping { sku, name, quantity, unit_price, skip, skip_values } = &mapping.line;
        let compiled = Self {
            order: reader.maybe("order", &mapping.order),
            only_if: reader.maybe("only_if", &mapping.only_if),
            number: reader.path("number", &mapping.number).unwrap_or(Path::Pointer(String::new())),
            revision: reader.maybe("revision", &mapping.revision),
            placed: reader.maybe("placed", &mapping.placed),
            cancelled: reader.maybe("cancelled", &mapping.cancelled),
            cancelled_values: mapping.cancelled_values.clone(),
            lines: reader.path("lines", &mapping.lines).unwrap_or(Path::Pointer(String::new())),
            sku: reader.path("line.sku", sku).unwrap_or(Path::Pointer(String::new())),
            name: reader.maybe("line.name", name),
            quantity: reader.maybe("line.quantity", quantity),
            unit_price: reader.maybe("line.unit_price", unit_price),
            skip: reader.maybe("line.skip", skip),
            skip_values: skip_values.clone(),
            recipient: reader.all("recipient", &mapping.recipient),
            buyer: reader.all("buyer", &mapping.buyer),
            street: reader.all("street", &mapping.street),
            locality: reader.maybe("locality", &mapping.locality),
            region: reader.maybe("region", &mapping.region),
            postcode: reader.maybe("postcode", &mapping.postcode),
            country: reader.maybe("country", &mapping.country),
            email: reader.maybe("email", &mapping.email),
            phone: reader.maybe("phone", &mapping.phone),
            gift: reader.maybe("gift", &mapping.gift),
            hide_buyer: reader.maybe("hide_buyer", &mapping.hide_buyer),
            gift_message: reader.maybe("gift_message", &mapping.gift_message),
            separate: reader.maybe("separate", &mapping.separate),
            wish: reader.maybe("wish", &mapping.wish),
            service: reader.maybe("service", &mapping.service),
            total: reader.maybe("total", &mapping.total),
            currency,
            prices_minor: mapping.prices_minor,
            not_before: reader.maybe("not_before", &mapping.not_before),
            language: reader.maybe("language", &mapping.language),
        };
        if reader.problems.is_empty() { Ok(compiled) } else { Err(reader.problems) }
    }

    /// The orders of a payload; `None` where it is about something else.
    pub(super) fn drafts(&self, body: &Value, workshop: Currency) -> Result<Option<Vec<Draft>>, Unmappable> {
        let whole = Spot::whole(body);
        if self.only_if.as_ref().is_some_and(|path| path.first(&whole).is_none()) {
            return Ok(None);
        }
        let nodes: Vec<Spot<'_>> = match &self.order {
            Some(path) => path.find(&whole).iter().flat_map(Spot::each).collect(),
            None => whole.each(),
        };
        if nodes.is_empty() {
            return Err(Unmappable::new("the mapping's path \"order\" finds nothing in the message", ""));
        }
        if nodes.len() > ORDERS_MAX {
            return Err(Unmappable::new(format!("the message holds more than {ORDERS_MAX} orders"), ""));
        }
        nodes.iter().map(|node| self.draft(node, workshop)).collect::<Result<_, _>>().map(Some)
    }

    fn draft(&self, node: &Spot<'_>, workshop: Currency) -> Result<Draft, Unmappable> {
        let currency = match &self.currency {
            Some(CurrencyAt::Always(code)) => Some(*code),
            Some(CurrencyAt::Path(path)) => match one_text(Some(path), node) {
                Some(code) => code.trim().parse().ok(),
                None => Some(workshop),
            },
            None => Some(workshop),
        };
        let money =
            |path: Option<&Path>, at: &Spot<'_>| value::money(path?.first(at)?.value, currency?, self.prices_minor);
        let found_lines = self.lines.find(node);
        let lines_pointer = found_lines.first().map_or_else(|| node.pointer.clone(), |spot| spot.pointer.clone());
        let cancelled = self.cancelled.as_ref().is_some_and(|path| {
            path.find(node).iter().any(|spot| match self.cancelled_values.is_empty() {
                true => value::is_true(spot.value),
                false => is_among(spot.value, &self.cancelled_values),
            })
        });
        if found_lines.is_empty() && !cancelled {
            return Err(Unmappable::new("the mapping's path \"lines\" finds nothing in the order", &*node.pointer));
        }
        let lines = found_lines.iter().flat_map(Spot::each).filter(|line| !self.is_skipped(line));
        let lines = lines.map(|line| self.line(&line, money(self.unit_price.as_ref(), &line))).collect();
        let gift_message = one_text(self.gift_message.as_ref(), node).unwrap_or_default();
        Ok(Draft {
            pointer: node.pointer.clone(),
            number: one_text(Some(&self.number), node),
            number_made: false,
            revision: one(self.revision.as_ref(), node).and_then(value::revision),
            placed: one(self.placed.as_ref(), node).and_then(value::instant),
            cancelled,
            lines,
            lines_pointer,
            recipient: joined(&self.recipient, node),
            buyer: joined(&self.buyer, node),
            address: self.address(node),
            email: one_text(self.email.as_ref(), node).unwrap_or_default(),
            phone: one_text(self.phone.as_ref(), node).unwrap_or_default(),
            gift: one(self.gift.as_ref(), node).is_some_and(is_given),
            hide_buyer: one(self.hide_buyer.as_ref(), node).is_some_and(is_given),
            gift_message,
            separate: one(self.separate.as_ref(), node).is_some_and(is_given),
            wish: one_text(self.wish.as_ref(), node).unwrap_or_default(),
            service: one_text(self.service.as_ref(), node),
            total: money(self.total.as_ref(), node),
            not_before: one(self.not_before.as_ref(), node).and_then(value::date),
            language: one_text(self.language.as_ref(), node),
        })
    }

    fn is_skipped(&self, line: &Spot<'_>) -> bool {
        let Some(path) = &self.skip else { return false };
        path.find(line).iter().any(|spot| match self.skip_values.is_empty() {
            true => spot.value != &Value::Bool(false),
            false => is_among(spot.value, &self.skip_values),
        })
    }

    fn line(&self, line: &Spot<'_>, unit_price: Option<crate::model::Money>) -> LineDraft {
        let quantity = self.quantity.as_ref().map(|path| path.first(line));
        let (quantity, quantity_pointer) = match quantity {
            None => (Quantity::Good(1), line.pointer.clone()),
            Some(Some(spot)) => (Quantity::read(spot.value), spot.pointer),
            Some(None) => (Quantity::Unclear("the quantity is missing".into()), line.pointer.clone()),
        };
        LineDraft {
            pointer: line.pointer.clone(),
            sku: one_text(Some(&self.sku), line),
            name: one_text(self.name.as_ref(), line),
            quantity,
            quantity_pointer,
            unit_price,
        }
    }

    fn address(&self, node: &Spot<'_>) -> AddressDraft {
        let street = self.street.iter().flat_map(|path| path.find(node));
        let country = self.country.as_ref().and_then(|path| path.first(node));
        AddressDraft {
            pointer: node.pointer.clone(),
            street: street.flat_map(|spot| spot.each()).filter_map(|spot| value::text(spot.value)).collect(),
            locality: one_text(self.locality.as_ref(), node).unwrap_or_default(),
            region: one_text(self.region.as_ref(), node).unwrap_or_default(),
            postcode: one_text(self.postcode.as_ref(), node).unwrap_or_default(),
            country: country.as_ref().and_then(|spot| value::text(spot.value)).unwrap_or_default(),
            country_pointer: country.map(|spot| spot.pointer).unwrap_or_default(),
            post_box: false,
            several: false,
        }
    }
}

fn one<'v>(path: Option<&Path>, from: &Spot<'v>) -> Option<&'v Value> {
    path?.first(from).map(|spot| spot.value)
}

fn one_text(path: Option<&Path>, from: &Spot<'_>) -> Option<String> {
    one(path, from).and_then(value::text)
}

fn joined(paths: &[Path], from: &Spot<'_>) -> String {
    let parts: Vec<String> = paths.iter().filter_map(|path| one_text(Some(path), from)).collect();
    parts.join(" ")
}

/// Wanted: true, an object, or any text that is not a no.
fn is_given(value: &Value) -> bool {
    match value {
        Value::Object(_) => true,
        Value::String(text) => !matches!(text.trim().to_ascii_lowercase().as_str(), "" | "false" | "no" | "0"),
        other => value::is_true(other),
    }
}

fn is_among(value: &Value, words: &[String]) -> bool {
    let found = match value {
        Value::Bool(yes) => yes.to_string(),
        other => value::text(other).unwrap_or_default(),
    };
    words.iter().any(|word| word.trim().to_lowercase() == found.trim().to_lowercase())
}
