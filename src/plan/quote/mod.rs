//! Quotes: what people type becomes an order to plan, and a plan becomes a table or JSON.

mod told;

pub use told::{spoken, table, to_json, verdict_in_words, wait_in_words};

use crate::model::*;
use crate::plan::choose::{Now, Overrides, Planner, RefusedWay, Shelf};
use crate::plan::rules::Tried;
use crate::plan::tariff;
use jiff::civil::Date;
use std::collections::BTreeSet;

/// Why a quote could not be made; each says what to write instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuoteError {
    /// `--what` cannot be read.
    #[error("{part:?} is not COUNT*PRODUCT; write it like 2*mug,1*teapot")]
    What {
        /// The part in question.
        part: String,
    },
    /// No product is called so.
    #[error("no product is called {name:?}{}", meant(.near))]
    NoProduct {
        /// As typed.
        name: String,
        /// Those that are close.
        near: Vec<String>,
    },
    /// Several are.
    #[error("{name:?} may be {}; write more of its name or its sku", .which.join(" or "))]
    SeveralProducts {
        /// As typed.
        name: String,
        /// Those that match.
        which: Vec<String>,
    },
    /// `--to` is neither zone nor country.
    #[error("{to:?} is neither a zone ({}) nor a country of two letters, with or without a postcode", .zones.join(", "))]
    To {
        /// As typed.
        to: String,
        /// Zones of the tariffs.
        zones: Vec<String>,
    },
    /// No such container.
    #[error("there is no container {name:?}; there are {}", .known.join(", "))]
    NoContainer {
        /// As typed.
        name: String,
        /// Those of the configuration.
        known: Vec<String>,
    },
    /// A weight cannot be read.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// Nothing to quote.
    #[error("say what is to be sent: an order file, --what 2*mug, or --weight and --container")]
    Nothing,
}

fn meant(near: &[String]) -> String {
    if near.is_empty() { String::new() } else { format!("; is {} meant?", near.join(" or ")) }
}

/// Kinds of product in one `--what`.
const WHAT_MAX: usize = LINES_MAX;

/// Reads `2*mug,1*teapot`: counts and skus, or pieces of names that only one product has,
/// upper and lower case alike. A missing count is 1.
pub fn parse_what(text: &str, workshop: &Workshop) -> Result<Vec<Line>, QuoteError> {
    let parts = text.split(',').map(str::trim).filter(|part| !part.is_empty());
    let mut lines = Vec::new();
    for part in parts.take(WHAT_MAX) {
        let (count, name) = part.split_once(['*', '×']).filter(|(n, _)| is_count(n)).unwrap_or(("1", part));
        let quantity: u32 = count
            .trim()
            .parse()
            .ok()
            .filter(|n| (1..=QUANTITY_MAX).contains(n))
            .ok_or_else(|| QuoteError::What { part: part.to_owned() })?;
        let product = product_called(name.trim(), workshop)?;
        lines.push(Line { sku: product.sku.clone(), name: product.name.clone(), quantity, unit_price: None });
    }
    if lines.is_empty() { Err(QuoteError::Nothing) } else { Ok(lines) }
}

fn is_count(text: &str) -> bool {
    let text = text.trim();
    !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit())
}

/// The product with that name or sku, or the only one whose name holds the words.
///
/// # Errors
/// None, with those that sound alike; or several.
pub fn product_called<'w>(name: &str, workshop: &'w Workshop) -> Result<&'w Product, QuoteError> {
    let wanted = name.to_lowercase();
    let exact = |p: &&Product| p.sku.as_str().to_lowercase() == wanted || p.name.to_lowercase() == wanted;
    if let Some(product) = workshop.products.iter().find(exact) {
        return Ok(product);
    }
    let holds =
        |p: &&Product| p.name.to_lowercase().contains(&wanted) || p.sku.as_str().to_lowercase().contains(&wanted);
    let found: Vec<&Product> = workshop.products.iter().filter(holds).collect();
    let spoken = |p: &&Product| format!("{} ({})", p.name, p.sku);
    match found[..] {
        [product] => Ok(product),
        [] => {
            let mut near: Vec<(f64, &Product)> = workshop
                .products
                .iter()
                .map(|p| (strsim::jaro_winkler(&p.name.to_lowercase(), &wanted), p))
                .filter(|(likeness, _)| *likeness > 0.75)
                .collect();
            near.sort_by(|a, b| b.0.total_cmp(&a.0));
            let near = near.iter().take(3).map(|(_, p)| spoken(p)).collect();
            Err(QuoteError::NoProduct { name: name.to_owned(), near })
        }
        _ => Err(QuoteError::SeveralProducts { name: name.to_owned(), which: found.iter().map(spoken).collect() }),
    }
}

/// Reads a zone's name (`Middle`), a country (`QS`), or a country and a postcode (`QS MD1`).
/// A zone stands for the first country and postcode that belong to it.
pub fn parse_to(text: &str, workshop: &Workshop) -> Result<Destination, QuoteError> {
    let wanted = text.trim();
    let at = |country: Option<CountryCode>, postcode: &str| Destination {
        country,
        postcode_head: postcode_head(postcode),
        address_hash: String::new(),
        post_box: false,
    };
    let zones: Vec<&ZoneRule> = workshop.services.iter().flat_map(|service| &service.zones).collect();
    if let Some(rule) = zones.iter().find(|rule| rule.zone.eq_ignore_ascii_case(wanted)) {
        let country = rule.countries.first().copied().unwrap_or(workshop.country);
        let first = rule.postcodes.first().map_or("", |some| match some {
            Postcodes::Begin(first) | Postcodes::Between(first, _) => first.as_str(),
        });
        return Ok(at(Some(country), first));
    }
    let (country, postcode) = wanted.split_once([' ', '-', '/']).unwrap_or((wanted, ""));
    if let Ok(country) = country.parse::<CountryCode>() {
        return Ok(at(Some(country), postcode));
    }
    let mut names: Vec<String> = zones.iter().map(|rule| rule.zone.clone()).collect();
    names.sort();
    names.dedup();
    Err(QuoteError::To { to: text.to_owned(), zones: names })
}

/// Finds a container by name, upper and lower case alike.
pub fn parse_container(text: &str, workshop: &Workshop) -> Result<ContainerName, QuoteError> {
    let same = |c: &&Container| c.name.as_str().eq_ignore_ascii_case(text.trim());
    workshop.containers.iter().find(same).map(|c| c.name.clone()).ok_or_else(|| QuoteError::NoContainer {
        name: text.to_owned(),
        known: workshop.containers.iter().map(|c| c.name.to_string()).collect(),
    })
}

/// An order that was never placed.
pub fn order_of(lines: Vec<Line>, destination: Destination) -> Order {
    Order {
        key: OrderKey::new("quote", "quote"),
        revision: None,
        placed: None,
        lines,
        destination,
        gift: false,
        hide_buyer: false,
        requested_service: None,
        total: None,
        cancelled: false,
        not_before: None,
        has_wish: false,
        separate: false,
        customer: CustomerMarks::default(),
        flaws: Vec::new(),
        content_digest: String::new(),
    }
}

/// A quote, and every rule with what it looked at.
#[derive(Debug, Clone)]
pub struct Quote {
    /// The plan.
    pub plan: Plan,
    /// Rules about the order, then about each parcel (from 1); none unless they were asked for.
    pub tried: Vec<(Option<usize>, Tried)>,
    /// Every way in one parcel that was refused; none unless they were asked for.
    pub refused: Vec<RefusedWay>,
}

/// Plans an order for a quote: everything on the shelf, nothing accepted. In full the rules are tried, too,
/// and every refused way is told.
pub fn plan_of(order: &Order, workshop: &Workshop, overrides: &Overrides, on: Date, in_full: bool) -> Quote {
    let pins = Pins {
        order_version: 1,
        revision: order.revision,
        config: workshop.digest.clone(),
        stock: 0,
        hand_over: on,
        too_late: BTreeSet::new(),
        joined: Vec::new(),
    };
    let (planner, shelf) = (Planner::new(workshop), Shelf::default());
    let accepted = BTreeSet::new();
    let plan = planner.decide_with(order, workshop, &shelf, &accepted, &pins, overrides);
    if !in_full {
        return Quote { plan, tried: Vec::new(), refused: Vec::new() };
    }
    let tried = planner.try_rules(order, workshop, &shelf, &plan);
    let now = Now { order, workshop, shelf: &shelf, accepted: &accepted, pins: &pins };
    let refused = planner.refused(now, overrides);
    Quote { plan, tried, refused }
}

/// One line of a price list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PriceRow {
    /// Container and service.
    pub what: String,
    /// Postage, surcharges and containers; supplies are not known without goods.
    pub cost: Option<Money>,
    /// Why not, or the parts.
    pub why: String,
}

/// What each service asks for a packed parcel of this weight on the scale, cheapest first.
pub fn price_list(
    workshop: &Workshop,
    to: &Destination,
    weight: Weight,
    container: Option<&ContainerName>,
    on: Date,
) -> Vec<PriceRow> {
    let mut rows = Vec::new();
    let services: Vec<&Service> = workshop.services.iter().collect();
    let units = workshop.locale.units;
    // What each asks for the same container where it may be thicker.
    let mut thicker = vec![None; services.len()];
    for wrap in crate::plan::choose::wraps_for(workshop, &services, to, on) {
        if container.is_some_and(|name| !wrap.containers().any(|c| c.name == *name)) {
            continue;
        }
        let parcel = wrap.as_parcel(weight);
        let minding = services.iter().zip(&mut thicker).filter(|(service, _)| wrap.is_minded_by(service));
        for (service, thicker) in minding {
            let what = format!("{} by {}", wrap.spoken(units), service.name);
            let priced = tariff::price(service, &parcel, to, on, workshop.currency);
            let total = priced.as_ref().ok().map(tariff::Quoted::total);
            let before = std::mem::replace(thicker, total);
            if wrap.thick_at_most.is_some() && before == total {
                continue;
            }
            match priced {
                Ok(quoted) => {
                    let own = wrap.containers().map(|c| c.cost).fold(Money::new(0, workshop.currency), |a, b| a + b);
                    let foreign =
                        quoted.foreign.map_or_else(String::new, |(amount, rate)| format!(" ({amount} at {rate})"));
                    let why = format!("postage {}{foreign}  container {}", quoted.total().figure(), own.figure());
                    rows.push(PriceRow { what, cost: Some(quoted.total() + own), why });
                }
                Err(tariff::Refusal::Containers(_) | tariff::Refusal::CarriersOnly(_)) => {}
                Err(refusal) => rows.push(PriceRow { what, cost: None, why: refusal.say(units) }),
            }
        }
    }
    rows.sort_by_key(|row| (row.cost.is_none(), row.cost.map(|cost| cost.minor)));
    rows
}
