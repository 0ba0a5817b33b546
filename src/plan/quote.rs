//! Quotes: what people type becomes an order to plan, and a plan becomes a table or JSON.

use crate::model::*;
use crate::plan::choose::{Overrides, Planner, Shelf};
use crate::plan::tariff;
use jiff::civil::Date;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fmt::Write;

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
        return Ok(at(Some(country), rule.postcodes.first().map_or("", String::as_str)));
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
        requested_service: None,
        total: None,
        cancelled: false,
        not_before: None,
        has_wish: false,
        flaws: Vec::new(),
        content_digest: String::new(),
    }
}

/// Plans an order for a quote: everything on the shelf, nothing accepted.
pub fn plan_of(order: &Order, workshop: &Workshop, overrides: &Overrides, on: Date) -> Plan {
    let pins =
        Pins { order_version: 1, revision: order.revision, config: workshop.digest.clone(), stock: 0, hand_over: on };
    Planner::new(workshop).decide_with(order, workshop, &Shelf::default(), &BTreeSet::new(), &pins, overrides)
}

/// Columns of the first column of a table.
const FIRST_COLUMN: usize = 36;

/// The plan as a table for people.
pub fn table(plan: &Plan, workshop: &Workshop) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = write_table(&mut out, plan, workshop);
    out
}

fn write_table(out: &mut String, plan: &Plan, workshop: &Workshop) -> std::fmt::Result {
    for question in &plan.questions {
        writeln!(out, "needs you: {}\n   do   {}", question.what, question.remedy)?;
    }
    for wait in &plan.waits {
        writeln!(out, "waiting: {}", wait_in_words(wait))?;
    }
    let verdict = verdict_in_words(plan);
    if let [_, _, ..] = plan.parcels[..]
        && let Some(cost) = plan.cost
    {
        let what = format!("{} parcels", plan.parcels.len());
        writeln!(out, "{what:<FIRST_COLUMN$} {:>5}   {verdict}", cost.figure())?;
    }
    for parcel in &plan.parcels {
        let verdict = if plan.parcels.len() == 1 { verdict.as_str() } else { "" };
        let line =
            format!("{:<FIRST_COLUMN$} {:>5}   {verdict}", spoken(parcel, workshop), parcel.cost.total().figure());
        writeln!(out, "{}", line.trim_end())?;
        let contents: Vec<String> = parcel.contents.iter().map(|c| content_in_words(c, workshop)).collect();
        writeln!(out, "   {}", contents.join(", "))?;
        writeln!(out, "   {:<48} {} ± {}", cost_in_words(&parcel.cost), parcel.weight, parcel.tolerance)?;
        for line in
            parcel.cautions.iter().map(|c| format!("   ! {c}")).chain(parcel.notes.iter().map(|n| format!("   {n}")))
        {
            writeln!(out, "{line}")?;
        }
    }
    if !plan.alternatives.is_empty() {
        writeln!(out, "dearer or refused")?;
        let width = plan.alternatives.iter().map(|a| a.what.chars().count()).max().unwrap_or(0).min(FIRST_COLUMN);
        for other in &plan.alternatives {
            let cost = other.cost.map_or_else(|| "-".to_owned(), |cost| cost.figure());
            writeln!(out, "   {:<width$}  {cost:>6}   {}", other.what, other.why)?;
        }
    }
    if !plan.what_would_change.is_empty() {
        writeln!(out, "what would change it")?;
        plan.what_would_change.iter().try_for_each(|sentence| writeln!(out, "   {sentence}"))?;
    }
    if !plan.rules.is_empty() {
        writeln!(out, "rules that took part: {}", plan.rules.join(", "))?;
    }
    Ok(())
}

/// `proved cheapest` or `best found (at most 4 % above the least possible)`.
pub fn verdict_in_words(plan: &Plan) -> String {
    match (&plan.verdict, plan.cost) {
        (Verdict::Proved, _) => "proved cheapest".to_owned(),
        (Verdict::BestFound { least_possible }, Some(cost)) if least_possible.minor > 0 => {
            let above = i128::from(cost.minor - least_possible.minor) * 100;
            let percent =
                above / i128::from(least_possible.minor) + i128::from(above % i128::from(least_possible.minor) != 0);
            format!("best found (at most {percent} % above the least possible)")
        }
        (Verdict::BestFound { .. }, _) => "best found".to_owned(),
        (Verdict::Nothing, _) => "no parcel".to_owned(),
    }
}

/// `Medium by Road`, `Medium in a Skipper`.
pub fn spoken(parcel: &PlannedParcel, workshop: &Workshop) -> String {
    let what = match &parcel.inside {
        None => parcel.container.to_string(),
        Some(around) => format!("{} in a {around}", parcel.container),
    };
    let outermost = parcel.inside.as_ref().unwrap_or(&parcel.container);
    let collect = workshop.service(&parcel.service).is_some_and(|service| service.collect);
    if outermost.as_str() == parcel.service.as_str() {
        what
    } else if collect {
        format!("{what}, {}", parcel.service)
    } else {
        format!("{what} by {}", parcel.service)
    }
}

fn content_in_words(content: &Content, workshop: &Workshop) -> String {
    let name = workshop.product(&content.sku).map_or(content.sku.as_str(), |product| product.name.as_str());
    let batch = content.batch.as_ref().map_or_else(String::new, |batch| format!(" (batch {batch})"));
    format!("{} x {name}{batch}", content.quantity)
}

fn cost_in_words(cost: &CostParts) -> String {
    let parts = [
        ("postage", cost.postage),
        ("surcharges", cost.surcharges),
        ("container", cost.container),
        ("supplies", cost.supplies),
    ];
    let shown: Vec<String> = parts
        .iter()
        .filter(|(word, amount)| *word == "postage" || amount.minor != 0)
        .map(|(word, amount)| format!("{word} {}", amount.figure()))
        .collect();
    shown.join("  ")
}

/// A wait in words.
pub fn wait_in_words(wait: &Wait) -> String {
    match wait {
        Wait::Rule { rule, reason } => format!("{reason} (rule \"{rule}\")"),
        Wait::MadeToOrder(sku) => format!("{sku} is made to order"),
        Wait::Date(date) => format!("not before {date}"),
        Wait::Stock { sku, missing } => format!("{missing} of {sku} are missing"),
    }
}

/// The plan as JSON: money as text with its unit, weights in grams, lengths in millimetres.
pub fn to_json(plan: &Plan) -> Value {
    let (verdict, least) = match &plan.verdict {
        Verdict::Proved => ("proved", None),
        Verdict::BestFound { least_possible } => ("best found", Some(least_possible.to_string())),
        Verdict::Nothing => ("nothing", None),
    };
    let parcel = |parcel: &PlannedParcel| {
        json!({
            "container": parcel.container,
            "inside": parcel.inside,
            "service": parcel.service,
            "zone": parcel.zone,
            "contents": parcel.contents,
            "grams": parcel.weight.g_near(),
            "tolerance_grams": parcel.tolerance.g_up(),
            "cost": {
                "total": parcel.cost.total().to_string(),
                "postage": parcel.cost.postage.to_string(),
                "surcharges": parcel.cost.surcharges.to_string(),
                "container": parcel.cost.container.to_string(),
                "supplies": parcel.cost.supplies.to_string(),
            },
            "inner_mm": parcel.inner_mm,
            "placement": parcel.placement,
            "notes": parcel.notes,
            "cautions": parcel.cautions,
        })
    };
    let other = |other: &Alternative| json!({ "what": other.what, "cost": other.cost.map(|cost| cost.to_string()), "why": other.why });
    let question = |q: &Question| json!({ "cause": q.cause.to_string(), "what": q.what, "remedy": q.remedy });
    json!({
        "order": plan.order,
        "verdict": verdict,
        "cost": plan.cost.map(|cost| cost.to_string()),
        "least_possible": least,
        "parcels": plan.parcels.iter().map(parcel).collect::<Vec<_>>(),
        "questions": plan.questions.iter().map(question).collect::<Vec<_>>(),
        "waits": plan.waits.iter().map(wait_in_words).collect::<Vec<_>>(),
        "dearer_or_refused": plan.alternatives.iter().map(other).collect::<Vec<_>>(),
        "what_would_change": plan.what_would_change,
        "rules": plan.rules,
    })
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
    for wrap in crate::plan::choose::wraps_of(workshop) {
        if container.is_some_and(|name| !wrap.containers().any(|c| c.name == *name)) {
            continue;
        }
        let outermost = wrap.outermost();
        let parcel =
            tariff::Parcel { outermost: &outermost.name, carriers: outermost.carriers, outer: wrap.outer, weight };
        for service in &workshop.services {
            let what = format!("{} by {}", wrap.spoken(), service.name);
            match tariff::price(service, &parcel, to, on, workshop.currency) {
                Ok(quoted) => {
                    let own = wrap.containers().map(|c| c.cost).fold(Money::new(0, workshop.currency), |a, b| a + b);
                    let why = format!("postage {}  container {}", quoted.total().figure(), own.figure());
                    rows.push(PriceRow { what, cost: Some(quoted.total() + own), why });
                }
                Err(tariff::Refusal::Containers(_) | tariff::Refusal::CarriersOnly(_)) => {}
                Err(refusal) => rows.push(PriceRow { what, cost: None, why: refusal.say() }),
            }
        }
    }
    rows.sort_by_key(|row| (row.cost.is_none(), row.cost.map(|cost| cost.minor)));
    rows
}
