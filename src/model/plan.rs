//! What the planner answers: parcels, their cost, and why.

use super::{
    BatchName, CardName, Caution, ConfigDigest, ContainerName, Detail, Foreign, LabourCost, Length, Money, OrderKey,
    PrinterName, Revision, ServiceName, Sku, SupplyName, Weight,
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::fmt;

/// A parcel's identity: its own; it may carry several orders (joined), and an order may need several.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct ParcelId(pub u64);

impl fmt::Display for ParcelId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "p{}", self.0)
    }
}

/// What a plan was made for; a result for something that has changed meanwhile is refused.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pins {
    /// How often the order's content has changed when the plan was asked for (counted by the book from 1).
    pub order_version: u32,
    /// The payload's own revision, for people.
    pub revision: Option<Revision>,
    /// The configuration.
    pub config: ConfigDigest,
    /// Sequence number of the last change of stock.
    pub stock: u64,
    /// The day on which the parcel is to be handed over.
    pub hand_over: Date,
    /// Services whose hour has passed on that day when the plan was asked for.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub too_late: BTreeSet<ServiceName>,
    /// Other orders that are to travel with it, if that is no dearer, each with its version.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub joined: Vec<(OrderKey, u32)>,
}

/// The planner's answer for one order. It cannot fail: what it could not settle is data.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Plan {
    /// The order.
    pub order: OrderKey,
    /// What it was made for.
    pub pins: Pins,
    /// The parcels; empty where a question stands in the way.
    pub parcels: Vec<PlannedParcel>,
    /// Cost of all parcels; `None` without parcels.
    pub cost: Option<Money>,
    /// Is it the least possible?
    pub verdict: Verdict,
    /// What a person must settle before anything is printed.
    pub questions: Vec<Question>,
    /// Reasons to wait that are no questions: made to order, a rule's hold, a date.
    pub waits: Vec<Wait>,
    /// What else was weighed, best first, with what it would have cost or why it failed.
    pub alternatives: Vec<Alternative>,
    /// "110 g less would save 0.40 (the step below)" and the like: near misses, one sentence each.
    pub what_would_change: Vec<String>,
    /// Names of the rules that took part, in file order.
    pub rules: Vec<String>,
    /// A rule says that this goes first.
    pub urgent: bool,
    /// The plan before it for the same order, where this one differs in parcels or price.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instead: Option<Instead>,
    /// Other orders whose goods lie in these parcels, too.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub joined: Vec<OrderKey>,
    /// What that saves against a parcel for each; `None` where nothing is joined.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joined_saves: Option<Money>,
}

impl Plan {
    /// Has another plan the same parcels, whatever they cost?
    pub fn same_parcels(&self, other: &Self) -> bool {
        self.parcels.len() == other.parcels.len()
            && self.parcels.iter().zip(&other.parcels).all(|(one, two)| one.is_same(two))
    }
    /// Its order and those joined with it, as [`Content::order`] counts them.
    pub fn orders(&self) -> impl Iterator<Item = &OrderKey> {
        std::iter::once(&self.order).chain(&self.joined)
    }
    /// The version for which it was made of one of its orders; `None` for any other order.
    pub fn version_of(&self, key: &OrderKey) -> Option<u32> {
        if *key == self.order {
            return Some(self.pins.order_version);
        }
        let pinned = self.pins.joined.iter().filter(|_| self.joined.contains(key));
        pinned.into_iter().find(|(order, _)| order == key).map(|(_, version)| *version)
    }
}

/// What a plan took the place of, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Instead {
    /// The parcels before, in short.
    pub before: Vec<String>,
    /// The parcels now.
    pub now: Vec<String>,
    /// What all came to before.
    pub cost_before: Option<Money>,
    /// What all comes to now.
    pub cost_now: Option<Money>,
    /// Why, one short sentence each.
    pub why: Vec<String>,
}

/// How sure the planner is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// No cheaper set of parcels exists.
    Proved,
    /// The best that was found; nothing can cost less than `least_possible`.
    BestFound {
        /// A lower bound.
        least_possible: Money,
    },
    /// There are no parcels.
    Nothing,
}

/// One parcel of a plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlannedParcel {
    /// What closes around the goods.
    pub container: ContainerName,
    /// The carrier's own container around it (a fixed-price mailer), if any.
    pub inside: Option<ContainerName>,
    /// A mailer or an envelope is to be no thicker than this, which is less than it could be, since that is what
    /// the service takes it for. `None`: as thick as it gets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thick_at_most: Option<Length>,
    /// How it travels.
    pub service: ServiceName,
    /// The zone that the tariff found, as the tariff calls it; empty for services without zones.
    pub zone: String,
    /// What lies in it.
    pub contents: Vec<Content>,
    /// Predicted weight with everything.
    pub weight: Weight,
    /// Plus or minus.
    pub tolerance: Weight,
    /// What it costs, in parts.
    pub cost: CostParts,
    /// Supplies that packing uses, in base units of each supply.
    pub supplies: Vec<SupplyUse>,
    /// Surcharges, discounts, tax and rounding by name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub surcharged: Vec<(String, Money)>,
    /// The weight that was charged, where that is its size and not what it weighs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counts_as: Option<Weight>,
    /// What the service asks in the currency of its price list, where that is not the workshop's, and at which rate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub foreign: Option<Foreign>,
    /// Where each piece lies, for the picture; empty where only a hint or a mailer says that it fits.
    pub placement: Vec<Placed>,
    /// Inner size in whole millimetres that `placement` refers to.
    pub inner_mm: [i64; 3],
    /// For the bench: things to know, from rules and products ("how to lay it", wishes stand in the person's part).
    pub notes: Vec<String>,
    /// Dangers and duties: heavy, fragile, allergens, dangerous goods words. Printed with a mark.
    pub cautions: Vec<Caution>,
    /// Cards to print.
    pub cards: Vec<CardName>,
    /// Where a rule wants its papers printed; none: where their kinds are routed to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub printer: Option<PrinterName>,
}

impl PlannedParcel {
    /// The same goods in the same container, as thick, by the same service?
    pub fn is_same(&self, other: &Self) -> bool {
        (&self.container, &self.inside, &self.thick_at_most, &self.service, &self.contents)
            == (&other.container, &other.inside, &other.thick_at_most, &other.service, &other.contents)
    }
    /// `Small by Letter`, `Medium in a Skipper`, `Mailer at most 25 mm thick by Letter`.
    pub fn spoken(&self) -> String {
        if let Some(most) = self.thick_at_most {
            return format!("{} at most {most} thick by {}", self.container, self.service);
        }
        match &self.inside {
            Some(outer) if outer.as_str() == self.service.as_str() => format!("{} in a {outer}", self.container),
            Some(outer) => format!("{} in a {outer} by {}", self.container, self.service),
            None => format!("{} by {}", self.container, self.service),
        }
    }
}

/// So many of one product in a parcel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Content {
    /// The product (parts of a bundle are listed by their own sku).
    pub sku: Sku,
    /// How many.
    pub quantity: u32,
    /// From which batch, if the stock says.
    pub batch: Option<BatchName>,
    /// The order's line (from 0) it stems from; `None` for what a rule added (a sample).
    pub line: Option<usize>,
    /// Which of the parcel's orders (from 0: the leading one) that is.
    #[serde(default, skip_serializing_if = "is_first")]
    pub order: usize,
}

fn is_first(index: &usize) -> bool {
    *index == 0
}

/// What a parcel costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct CostParts {
    /// The tariff's price.
    pub postage: Money,
    /// Surcharges of the service.
    pub surcharges: Money,
    /// The container.
    pub container: Money,
    /// Supplies.
    pub supplies: Money,
    /// Working time, where the workshop says what it costs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub labour: Option<LabourCost>,
}

impl CostParts {
    /// Each part with its name, surcharges one by one where they are known; what is nothing is left out.
    pub fn named<'n>(&self, surcharged: &'n [(String, Money)]) -> Vec<(&'n str, Money)> {
        let mut parts = vec![("postage", self.postage)];
        match surcharged {
            [] => parts.push(("surcharges", self.surcharges)),
            named => parts.extend(named.iter().map(|(name, amount)| (name.as_str(), *amount))),
        }
        parts.extend([("container", self.container), ("supplies", self.supplies)]);
        parts.extend(self.labour.filter(|labour| labour.weighed).map(|labour| ("labour", labour.amount)));
        parts.retain(|(_, amount)| amount.minor != 0);
        parts
    }
    /// Working time that is shown beside the total and is no part of it.
    pub fn labour_beside(&self) -> Option<Money> {
        self.labour.filter(|labour| !labour.weighed).map(|labour| labour.amount)
    }
    /// All parts; working time only where it is weighed.
    pub fn total(&self) -> Money {
        let sum = self.postage + self.surcharges + self.container + self.supplies;
        self.labour.filter(|labour| labour.weighed).map_or(sum, |labour| sum + labour.amount)
    }
}

impl std::ops::Add for CostParts {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let both = |one: LabourCost, two: LabourCost| LabourCost { amount: one.amount + two.amount, ..one };
        Self {
            postage: self.postage + other.postage,
            surcharges: self.surcharges + other.surcharges,
            container: self.container + other.container,
            supplies: self.supplies + other.supplies,
            labour: self.labour.zip(other.labour).map(|(one, two)| both(one, two)).or(self.labour).or(other.labour),
        }
    }
}

/// How much of a supply something uses.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SupplyUse {
    /// Which.
    pub supply: SupplyName,
    /// Amount in the supply's base unit: nanometres of tape, nanograms of fill, pieces.
    pub amount: i64,
}

/// A piece in its place, whole millimetres, origin at the inner left front floor corner.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Placed {
    /// Index into the parcel's `contents`.
    pub content: usize,
    /// Corner nearest the origin.
    pub at: [i64; 3],
    /// Sides as turned.
    pub size: [i64; 3],
}

/// Something that was weighed and not taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Alternative {
    /// In short: `Medium in a Skipper`, `2 x Small by Road`.
    pub what: String,
    /// What it would cost; `None` where it cannot be done.
    pub cost: Option<Money>,
    /// That, part by part.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts: Option<CostParts>,
    /// Why not: one short sentence.
    pub why: String,
    /// It is the best set of parcels besides the plan's own; older records do not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next_best: Option<NextBest>,
}

impl Alternative {
    /// What stands above it, by its place among those that have a cost; the same as above the one
    /// before it says nothing.
    pub fn heading(&self, place: usize) -> Option<&'static str> {
        match (self.next_best, place) {
            (Some(NextBest::OfAll), _) => Some("next best"),
            (Some(NextBest::OfTried), _) => Some("next best of those tried"),
            (None, 0) => Some("next best in one parcel"),
            (None, 1) => Some("dearer in one parcel"),
            (None, _) => None,
        }
    }
}

/// Of what something is the next best.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NextBest {
    /// Of all other sets of parcels.
    OfAll,
    /// Of those that were tried: there were too many, or not all fits were decided.
    OfTried,
}

/// Something that a person must settle; orders with the same `cause` share one question.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Question {
    /// What groups it.
    pub cause: Cause,
    /// What is the matter: one sentence without personal data.
    pub what: String,
    /// What to do about it: one sentence, naming the command or the file.
    pub remedy: String,
    /// What paper says beyond the cause.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detail: Option<Detail>,
}

/// What a question is about. Closed; `Display` is its stable key, as typed in `dawnslip decide`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// This product is in no `products.toml`.
    UnknownProduct(Sku),
    /// This product has no weight or dims.
    IncompleteProduct(Sku),
    /// The payload could not be mapped to an order (the message's id).
    Unmappable(String),
    /// The same message id came with another body.
    MessageChanged(String),
    /// The order has a flaw.
    Flaw(OrderKey, super::FlawKind),
    /// No container holds it, or none that a service takes.
    NothingFits(OrderKey),
    /// No service goes there.
    NoService(OrderKey),
    /// A rule asks.
    Rule(String, OrderKey),
    /// A rule failed while it was evaluated.
    RuleFailed(String),
    /// Two contents with the same revision.
    SameRevision(OrderKey),
    /// Cancelled or changed in a way that needs a person after printing.
    AfterPrinting(OrderKey),
    /// Un-cancelled after something was printed.
    Uncancelled(OrderKey),
    /// The program stopped twice while it worked on this order.
    StoppedProgram(OrderKey),
    /// A job is `uncertain` and its kind says `ask`.
    UncertainPaper(u64),
    /// Records from this number to that one are lost.
    RecordsLost(u64, u64),
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownProduct(sku) => write!(f, "unknown-product:{sku}"),
            Self::IncompleteProduct(sku) => write!(f, "incomplete-product:{sku}"),
            Self::Unmappable(id) => write!(f, "unmappable:{id}"),
            Self::MessageChanged(id) => write!(f, "message-changed:{id}"),
            Self::Flaw(key, kind) => {
                let kind = match kind {
                    super::FlawKind::NoAddress => "no-address",
                    super::FlawKind::UnknownCountry => "unknown-country",
                    super::FlawKind::NoName => "no-name",
                    super::FlawKind::BadQuantity => "bad-quantity",
                    super::FlawKind::NoGoods => "no-goods",
                    super::FlawKind::OddCharacters => "odd-characters",
                    super::FlawKind::NoNumber => "no-number",
                };
                write!(f, "{kind}:{key}")
            }
            Self::NothingFits(key) => write!(f, "nothing-fits:{key}"),
            Self::NoService(key) => write!(f, "no-service:{key}"),
            Self::Rule(rule, key) => write!(f, "rule:{rule}:{key}"),
            Self::RuleFailed(rule) => write!(f, "rule-failed:{rule}"),
            Self::SameRevision(key) => write!(f, "same-revision:{key}"),
            Self::AfterPrinting(key) => write!(f, "after-printing:{key}"),
            Self::Uncancelled(key) => write!(f, "uncancelled:{key}"),
            Self::StoppedProgram(key) => write!(f, "stopped-program:{key}"),
            Self::UncertainPaper(job) => write!(f, "uncertain-paper:{job}"),
            Self::RecordsLost(from, to) => write!(f, "records-lost:{from}-{to}"),
        }
    }
}

/// A reason to wait that is no question.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Wait {
    /// A rule holds it until a person releases it.
    Rule {
        /// The rule's name.
        rule: String,
        /// Its reason, in words.
        reason: String,
    },
    /// Made to order: waits until a person says `ready`.
    MadeToOrder(Sku),
    /// Not before this date.
    Date(Date),
    /// So many are missing from the stock.
    Stock {
        /// Which product.
        sku: Sku,
        /// How many are missing.
        missing: u32,
    },
    /// No service takes it before this date that would take it then.
    Service {
        /// The next open day.
        until: Date,
        /// Why not before, in words.
        why: String,
    },
}

impl Wait {
    /// The date with which it ends by itself.
    pub fn until(&self) -> Option<Date> {
        match self {
            Self::Date(day) | Self::Service { until: day, .. } => Some(*day),
            Self::Rule { .. } | Self::MadeToOrder(_) | Self::Stock { .. } => None,
        }
    }
}
