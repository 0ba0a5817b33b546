//! What happened, for a person who wants to know why a seed fails.

use dawnslip::book::{Fact, Stamped};
use dawnslip::ledger::record::Links;
use dawnslip::model::OrderKey;
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};

/// So many of the last lines about the order concerned are told, and so many of the last of all.
const ABOUT_ORDER: usize = 60;
const ABOUT_ALL: usize = 25;
/// A fact's text is cut here: a plan explains itself at length.
const WIDTH: usize = 260;

/// Something that must not be.
#[derive(Debug)]
pub struct Wrong {
    pub order: Option<OrderKey>,
    pub what: String,
}

pub type Checked<T = ()> = Result<T, Wrong>;

/// Something is wrong with the world as a whole.
pub fn wrong<T>(what: impl Into<String>) -> Checked<T> {
    Err(Wrong { order: None, what: what.into() })
}

/// Something is wrong with this order.
pub fn wrong_with<T>(order: &OrderKey, what: impl Into<String>) -> Checked<T> {
    Err(Wrong { order: Some(order.clone()), what: what.into() })
}

enum What {
    Told(String),
    Fact(Box<Stamped>),
}

#[derive(Default)]
pub struct Story {
    lines: Vec<(Timestamp, Vec<OrderKey>, What)>,
    links: Links,
}

impl Story {
    pub fn tell(&mut self, at: Timestamp, orders: &[OrderKey], what: impl Into<String>) {
        self.lines.push((at, orders.to_vec(), What::Told(what.into())));
    }

    /// A fact that the disk has confirmed; gives the orders that it is about.
    pub fn fact(&mut self, stamped: &Stamped) -> Vec<OrderKey> {
        self.links.take_in(&stamped.fact);
        let orders = self.links.of_fact(&stamped.fact);
        if let Fact::Archived { orders } = &stamped.fact {
            self.tell(stamped.at, orders, "archived");
        }
        self.lines.push((stamped.at, orders.clone(), What::Fact(Box::new(stamped.clone()))));
        orders
    }

    /// All facts, in order.
    pub fn facts(&self) -> impl Iterator<Item = &Stamped> {
        self.lines.iter().filter_map(|(.., what)| match what {
            What::Fact(stamped) => Some(stamped.as_ref()),
            What::Told(_) => None,
        })
    }

    /// The facts about each order, in order.
    pub fn facts_by_order(&self) -> BTreeMap<&OrderKey, Vec<&Stamped>> {
        let mut all: BTreeMap<_, Vec<_>> = BTreeMap::new();
        for (_, orders, what) in &self.lines {
            let What::Fact(stamped) = what else { continue };
            for order in orders.iter().collect::<BTreeSet<_>>() {
                all.entry(order).or_default().push(stamped.as_ref());
            }
        }
        all
    }

    /// The last lines: about the order (with what concerned everybody), then all.
    pub fn end(&self, order: Option<&OrderKey>) -> String {
        let mut text = String::new();
        if let Some(key) = order {
            let about = |orders: &[OrderKey]| orders.contains(key);
            text += &format!("\nabout {key}:\n{}", self.last(ABOUT_ORDER, about));
        }
        let most = if std::env::var_os("DAWNSLIP_STORY").is_some() { usize::MAX } else { ABOUT_ALL };
        text + &format!("\nat the end:\n{}", self.last(most, |_| true))
    }

    fn last(&self, most: usize, which: impl Fn(&[OrderKey]) -> bool) -> String {
        let lines: Vec<_> = self.lines.iter().filter(|(_, orders, _)| which(orders)).collect();
        lines[lines.len().saturating_sub(most)..].iter().map(|line| line_of(line)).collect()
    }
}

fn line_of((at, _, what): &(Timestamp, Vec<OrderKey>, What)) -> String {
    match what {
        What::Told(text) => format!("  {at:.0}      {text}\n"),
        What::Fact(stamped) => {
            let fact = serde_json::to_string(&stamped.fact).unwrap_or_default();
            let cut: String = fact.chars().take(WIDTH).collect();
            format!("  {at:.0} #{:<4} {cut}\n", stamped.seq)
        }
    }
}
