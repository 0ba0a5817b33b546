//! schema.org `Order` as JSON-LD (vocabulary 30.0), read without a general JSON-LD
//! processor: plain, prefixed (`schema:`) and absolute terms, arrays or single values,
//! `@graph` and references by `@id`, `http` and `https` contexts.
//!
//! Own extensions, as `additionalProperty` (`PropertyValue`: name, value) of the order or as
//! plain members: `wish`, `giftMessage`, `hideBuyer`, `notBefore`, `separateDelivery`; of a line: `notGoods`.

use super::ORDERS_MAX;
use super::draft::{AddressDraft, Draft, LineDraft, Unmappable};
use super::value::{self, Quantity};
use crate::intake::json::canonical;
use crate::intake::path::Spot;
use crate::model::{Currency, LINES_MAX, Money, Revision};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::collections::HashMap;

/// An OrderItem within an OrderItem, at most so deep.
const ITEM_DEPTH_MAX: usize = 4;
/// Ordered items of one order that are looked at: references by `@id` can repeat a few
/// nodes without end.
const ITEMS_MAX: usize = 4 * LINES_MAX;
/// References by `@id` followed one after another.
const REFERENCES_MAX: usize = 4;
const PREFIXES: [&str; 3] = ["schema:", "https://schema.org/", "http://schema.org/"];

/// The orders of a document; `None` where it holds none.
pub(super) fn drafts(body: &Value, workshop: Currency) -> Result<Option<Vec<Draft>>, Unmappable> {
    let document = Document::new(body)?;
    let mut drafts = Vec::new();
    for node in &document.nodes {
        let orders = if document.is(node, "Order") {
            vec![node.clone()]
        } else if document.is(node, "Invoice") {
            document.all(node, "referencesOrder")
        } else {
            continue;
        };
        for order in &orders {
            let draft = document.order(order, workshop)?;
            // An invoice may list what was never goods ("installation") without a number.
            let nothing_to_send =
                draft.lines.is_empty() && draft.number_made && !document.all(order, "orderedItem").is_empty();
            if !nothing_to_send {
                drafts.push(draft);
            }
        }
        if drafts.len() > ORDERS_MAX {
            return Err(Unmappable::new(format!("the message holds more than {ORDERS_MAX} orders"), ""));
        }
    }
    Ok(Some(drafts).filter(|drafts| !drafts.is_empty()))
}

/// A JSON-LD document: its nodes, and where each `@id` is described.
struct Document<'v> {
    nodes: Vec<Spot<'v>>,
    by_id: HashMap<&'v str, Spot<'v>>,
}

impl<'v> Document<'v> {
    fn new(body: &'v Value) -> Result<Self, Unmappable> {
        let mut nodes = Vec::new();
        for top in Spot::whole(body).each() {
            if let Some(context) = top.member("@context")
                && !names_schema_org(context.value)
            {
                return Err(Unmappable::new("the @context is not schema.org", context.pointer));
            }
            match top.member("@graph") {
                Some(graph) => nodes.extend(graph.each()),
                None => nodes.push(top),
            }
        }
        nodes.retain(|node| node.value.is_object());
        if nodes.is_empty() {
            return Err(Unmappable::new("the message is not a JSON-LD object", ""));
        }
        let mut by_id = HashMap::new();
        for node in &nodes {
            if let Some(id) = node.value.get("@id").and_then(Value::as_str)
                && node.value.as_object().is_some_and(|map| map.len() > 1)
            {
                by_id.entry(id).or_insert_with(|| node.clone());
            }
        }
        Ok(Self { nodes, by_id })
    }

    /// The member of this name, as one value or a list of them, references followed.
    fn all(&self, node: &Spot<'v>, name: &str) -> Vec<Spot<'v>> {
        let member =
            node.member(name).or_else(|| PREFIXES.iter().find_map(|prefix| node.member(&format!("{prefix}{name}"))));
        let listed = member.map(|member| match member.member("@list").or_else(|| member.member("@set")) {
            Some(list) => list.each(),
            None => member.each(),
        });
        listed
            .unwrap_or_default()
            .into_iter()
            .filter(|spot| !spot.value.is_null())
            .map(|spot| self.resolved(spot))
            .collect()
    }
    fn first(&self, node: &Spot<'v>, name: &str) -> Option<Spot<'v>> {
        self.all(node, name).into_iter().next()
    }
    fn text(&self, node: &Spot<'v>, name: &str) -> Option<String> {
        let text = self.all(node, name).iter().find_map(|spot| value::text(spot.value))?;
        Some(text).filter(|text| !text.trim().is_empty())
    }
    fn any_text(&self, node: &Spot<'v>, names: &[&str]) -> Option<String> {
        names.iter().find_map(|name| self.text(node, name))
    }
    /// A node that is only an `@id` stands for the one described elsewhere.
    fn resolved(&self, mut spot: Spot<'v>) -> Spot<'v> {
        for _ in 0..REFERENCES_MAX {
            let only_id = spot.value.as_object().filter(|map| map.len() == 1).and_then(|map| map.get("@id")?.as_str());
            match only_id.and_then(|id| self.by_id.get(id)) {
                Some(described) => spot = described.clone(),
                None => break,
            }
        }
        spot
    }
    /// Has the node this type, among others perhaps?
    fn is(&self, node: &Spot<'v>, class: &str) -> bool {
        let types = node.member("@type").map(|types| types.each()).unwrap_or_default();
        types.iter().any(|of| of.value.as_str().is_some_and(|of| term(of) == class))
    }
    /// An own extension: a plain member, or an `additionalProperty` of this name.
    fn extension(&self, node: &Spot<'v>, name: &str) -> Option<Spot<'v>> {
        node.member(name).or_else(|| {
            let properties = self.all(node, "additionalProperty");
            let named =
                properties.iter().find(|p| self.any_text(p, &["name", "propertyID"]).is_some_and(|n| n == name));
            named.and_then(|property| self.first(property, "value"))
        })
    }
    fn extension_text(&self, node: &Spot<'v>, name: &str) -> String {
        self.extension(node, name).and_then(|spot| value::text(spot.value)).unwrap_or_default()
    }
    /// Is it an enumeration's member of this name, written as a term, an IRI or an `@id`?
    fn says(&self, node: &Spot<'v>, name: &str, member: &str) -> bool {
        self.all(node, name).iter().any(|spot| {
            let written = spot.value.get("@id").unwrap_or(spot.value);
            written.as_str().is_some_and(|written| term(written) == member)
        })
    }

    fn order(&self, node: &Spot<'v>, workshop: Currency) -> Result<Draft, Unmappable> {
        if !node.value.is_object() {
            return Err(Unmappable::new("an order is not an object", &*node.pointer));
        }
        let given = self.any_text(node, &["orderNumber", "confirmationNumber"]).or_else(|| self.identifier(node));
        let number_made = given.is_none();
        let customer = self.first(node, "customer");
        let customer_name = customer.as_ref().map(|c| self.person_name(c)).unwrap_or_default();
        let items: Vec<_> = self.all(node, "orderedItem").into_iter().chain(self.all(node, "acceptedOffer")).collect();
        let mut found = Found { workshop, items: 0, lines: Vec::new() };
        for item in &items {
            self.item(item, Item { times: None, price: None, number: None }, 0, &mut found)?;
        }
        let lines = found.lines;
        let delivery = self.first(node, "orderDelivery");
        let (address, address_name) = self.destination(node, &items, customer.as_ref());
        let recipient = address_name.unwrap_or_else(|| customer_name.clone());
        let currency = self.currency(node, workshop);
        let service = delivery.as_ref().and_then(|delivery| self.first(delivery, "hasDeliveryMethod"));
        let revision = self.first(node, "dateModified").and_then(|spot| value::instant(spot.value));
        Ok(Draft {
            pointer: node.pointer.clone(),
            number: Some(given.unwrap_or_else(|| made_number(node.value))),
            number_made,
            revision: revision.map(Revision::At),
            placed: self.first(node, "orderDate").and_then(|spot| value::instant(spot.value)),
            cancelled: self.says(node, "orderStatus", "OrderCancelled"),
            lines,
            lines_pointer: node.member("orderedItem").map_or_else(|| node.pointer.clone(), |spot| spot.pointer),
            recipient,
            buyer: customer_name,
            address,
            email: customer.as_ref().and_then(|c| self.text(c, "email")).unwrap_or_default(),
            phone: customer.as_ref().and_then(|c| self.text(c, "telephone")).unwrap_or_default(),
            gift: self.first(node, "isGift").is_some_and(|spot| value::is_true(spot.value)),
            hide_buyer: self.extension(node, "hideBuyer").is_some_and(|spot| value::is_true(spot.value)),
            gift_message: self.extension_text(node, "giftMessage"),
            separate: self.extension(node, "separateDelivery").is_some_and(|spot| value::is_true(spot.value)),
            wish: self.extension_text(node, "wish"),
            service: service.and_then(|spot| self.method(&spot)),
            total: currency.and_then(|currency| value::money(self.first(node, "price")?.value, currency, false)),
            not_before: self.extension(node, "notBefore").and_then(|spot| value::date(spot.value)),
            language: self.text(node, "inLanguage").or_else(|| self.text(customer.as_ref()?, "knowsLanguage")),
        })
    }

    /// `identifier` as text or as a `PropertyValue`, else the node's own `@id`.
    fn identifier(&self, node: &Spot<'v>) -> Option<String> {
        let told = self.first(node, "identifier");
        let told = told.and_then(|spot| value::text(spot.value).or_else(|| self.text(&spot, "value")));
        told.or_else(|| node.value.get("@id").and_then(Value::as_str).map(str::to_owned))
    }

    fn currency(&self, node: &Spot<'v>, workshop: Currency) -> Option<Currency> {
        match self.text(node, "priceCurrency") {
            Some(code) => code.trim().parse().ok(),
            None => Some(workshop),
        }
    }

    /// A price of the node itself, or of its offer or price specification.
    fn price(&self, node: &Spot<'v>, workshop: Currency) -> Option<Money> {
        if let Some(price) = self.first(node, "price") {
            return value::money(price.value, self.currency(node, workshop)?, false);
        }
        let within = ["offers", "priceSpecification"].iter().find_map(|name| self.first(node, name));
        within.filter(|spot| spot.value.is_object()).and_then(|spot| {
            let deeper = self.first(&spot, "priceSpecification").unwrap_or(spot);
            value::money(self.first(&deeper, "price")?.value, self.currency(&deeper, workshop)?, false)
        })
    }

    fn person_name(&self, person: &Spot<'v>) -> String {
        if let Some(name) = value::text(person.value).or_else(|| self.any_text(person, &["name", "legalName"])) {
            return name;
        }
        let parts = ["givenName", "familyName"].iter().filter_map(|name| self.text(person, name));
        parts.collect::<Vec<_>>().join(" ")
    }

    /// How it should travel: a text, a name, or the last part of an IRI.
    fn method(&self, spot: &Spot<'v>) -> Option<String> {
        let written = value::text(spot.value)
            .or_else(|| self.text(spot, "name"))
            .or_else(|| spot.value.get("@id").and_then(Value::as_str).map(str::to_owned))?;
        Some(if written.contains("://") { term(&written).to_owned() } else { written })
    }

    /// One ordered item: an OrderItem, an Offer, a Product, or a Service, which is no goods.
    fn item(&self, node: &Spot<'v>, outer: Item, depth: usize, found: &mut Found) -> Result<(), Unmappable> {
        found.items += 1;
        if depth > ITEM_DEPTH_MAX || found.items > ITEMS_MAX {
            let why =
                format!("there are more than {ITEMS_MAX} ordered items, or they stand more than {ITEM_DEPTH_MAX} deep");
            return Err(Unmappable::new(why, &*node.pointer));
        }
        let gone = ["OrderCancelled", "OrderReturned"].iter().any(|status| self.says(node, "orderItemStatus", status));
        let marked = self.extension(node, "notGoods").is_some_and(|spot| value::is_true(spot.value));
        if gone || marked || self.is(node, "Service") {
            return Ok(());
        }
        let inner: Vec<_> = ["orderedItem", "itemOffered"].iter().flat_map(|name| self.all(node, name)).collect();
        let written = ["orderQuantity", "eligibleQuantity"].iter().find_map(|name| self.first(node, name));
        let own = Item {
            times: match written {
                Some(spot) => Some(outer.times(self.quantity(&spot), &spot.pointer)),
                None => outer.times,
            },
            price: self.price(node, found.workshop).or(outer.price),
            number: self.text(node, "orderItemNumber").or(outer.number),
        };
        if inner.is_empty() {
            found.lines.push(self.line(node, own));
            return Ok(());
        }
        for spot in &inner {
            self.item(spot, own.clone(), depth + 1, found)?;
        }
        Ok(())
    }

    /// A number, a text, or a QuantitativeValue.
    fn quantity(&self, spot: &Spot<'v>) -> Quantity {
        match self.first(spot, "value").filter(|_| spot.value.get("@value").is_none()) {
            Some(inner) => Quantity::read(inner.value),
            None => Quantity::read(spot.value),
        }
    }

    fn line(&self, product: &Spot<'v>, item: Item) -> LineDraft {
        const SKUS: [&str; 9] =
            ["sku", "productID", "gtin", "gtin13", "gtin12", "gtin14", "gtin8", "mpn", "serialNumber"];
        let name = value::text(product.value).or_else(|| self.any_text(product, &["name", "description"]));
        let (quantity, quantity_pointer) = item.times.unwrap_or((Quantity::Good(1), product.pointer.clone()));
        LineDraft {
            pointer: product.pointer.clone(),
            sku: self.any_text(product, &SKUS).or(item.number),
            name,
            quantity,
            quantity_pointer,
            unit_price: item.price,
        }
    }

    /// Where the parcel goes and whose name stands there: the delivery's address of the
    /// order, else of its items, else the customer's, else the one for the bill.
    fn destination(
        &self,
        node: &Spot<'v>,
        items: &[Spot<'v>],
        customer: Option<&Spot<'v>>,
    ) -> (AddressDraft, Option<String>) {
        let delivered = |of: &Spot<'v>| {
            let deliveries = self.all(of, "orderDelivery");
            deliveries.iter().find_map(|delivery| self.first(delivery, "deliveryAddress"))
        };
        let mut several = false;
        let of_items = || {
            let addresses: Vec<_> = items.iter().filter_map(delivered).collect();
            (addresses.first().cloned(), addresses.windows(2).any(|pair| pair[0].value != pair[1].value))
        };
        let found = delivered(node).or_else(|| {
            let (first, differ) = of_items();
            several = differ;
            first
        });
        let found = found.or_else(|| self.first(customer?, "address")).or_else(|| self.first(node, "billingAddress"));
        match found {
            Some(spot) => {
                let name = self.text(&spot, "name");
                (AddressDraft { several, ..self.address(&spot) }, name)
            }
            None => (AddressDraft { pointer: node.pointer.clone(), ..AddressDraft::default() }, None),
        }
    }

    fn address(&self, spot: &Spot<'v>) -> AddressDraft {
        // An address as one text has no parts: its lines are kept, and a person is asked.
        if let Some(text) = value::text(spot.value) {
            return AddressDraft { pointer: spot.pointer.clone(), street: vec![text], ..AddressDraft::default() };
        }
        let texts =
            |name: &str| self.all(spot, name).into_iter().filter_map(|s| value::text(s.value)).collect::<Vec<_>>();
        let mut street = texts("streetAddress");
        street.extend(texts("extendedAddress"));
        let boxed = self.text(spot, "postOfficeBoxNumber");
        if let Some(number) = &boxed {
            let bare = number.chars().all(|c| c.is_ascii_digit() || c == ' ');
            street.push(if bare { format!("PO Box {number}") } else { number.clone() });
        }
        let country = self.first(spot, "addressCountry");
        let country_text = country.as_ref().and_then(|country| {
            let named =
                value::text(country.value).or_else(|| self.any_text(country, &["identifier", "alternateName", "name"]));
            named.map(|text| if text.contains("://") { term(&text).to_owned() } else { text })
        });
        AddressDraft {
            pointer: spot.pointer.clone(),
            street,
            locality: self.text(spot, "addressLocality").unwrap_or_default(),
            region: self.text(spot, "addressRegion").unwrap_or_default(),
            postcode: self.text(spot, "postalCode").unwrap_or_default(),
            country: country_text.unwrap_or_default(),
            country_pointer: country.map(|country| country.pointer).unwrap_or_default(),
            post_box: boxed.is_some(),
            several: false,
        }
    }
}

/// What was found in an order so far.
struct Found {
    workshop: Currency,
    items: usize,
    lines: Vec<LineDraft>,
}

/// What an OrderItem says about what stands within it.
#[derive(Debug, Clone)]
struct Item {
    times: Option<(Quantity, String)>,
    price: Option<Money>,
    number: Option<String>,
}

impl Item {
    /// Two packs of three are six.
    fn times(&self, inner: Quantity, pointer: &str) -> (Quantity, String) {
        let product = match (self.times.as_ref().map(|(quantity, _)| quantity), inner) {
            (None, inner) => inner,
            (Some(Quantity::Good(a)), Quantity::Good(b)) => Quantity::read(&Value::from(u64::from(*a) * u64::from(b))),
            (Some(Quantity::Good(_)), flawed) => flawed,
            (Some(flawed), _) => flawed.clone(),
        };
        (product, pointer.to_owned())
    }
}

/// The last part of a term or IRI: `https://schema.org/OrderCancelled` → `OrderCancelled`.
fn term(written: &str) -> &str {
    let written = written.trim().trim_end_matches('/');
    written.rsplit(['/', '#', ':']).next().unwrap_or(written)
}

fn names_schema_org(context: &Value) -> bool {
    let is = |text: &str| {
        let bare = text.trim().trim_start_matches("https://").trim_start_matches("http://");
        bare.trim_start_matches("www.").split(['/', '#']).next() == Some("schema.org")
    };
    match context {
        Value::String(text) => is(text),
        Value::Array(items) => items.iter().any(names_schema_org),
        Value::Object(map) => map.values().any(|value| value.as_str().is_some_and(is)),
        _ => false,
    }
}

/// A number for an order without one: the same content gets the same.
fn made_number(order: &Value) -> String {
    let digest = Sha256::digest(canonical(order));
    format!("unnumbered-{}", data_encoding::HEXLOWER.encode(&digest[..4]))
}
