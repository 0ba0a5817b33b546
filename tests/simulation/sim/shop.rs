//! The simulated shops: one counts its orders and their revisions, one does neither. They send
//! each message until it is answered, and some of them again after that.

use super::dice::Dice;
use dawnslip::book::{Meaning, MessageOutcome};
use dawnslip::model::*;
use jiff::Timestamp;
use std::collections::BTreeMap;

/// Counts revisions.
pub const COUNTING: &str = "shop";
/// Sends no revision: the later message wins.
pub const PLAIN: &str = "fair";

/// What is ordered: of the sample workshop, and one that it does not know at first.
const SKUS: [&str; 14] = [
    "mug",
    "mug-kelp",
    "bowl",
    "plate",
    "teapot",
    "jug",
    "heather-smoke",
    "sea-mint",
    "tea-towel",
    "tea-for-two",
    "tasting",
    "voucher",
    "mug-dawn",
    UNKNOWN,
];
/// Known only after a change of the configuration.
pub const UNKNOWN: &str = "glz-9";

/// One message.
#[derive(Clone)]
pub struct Letter {
    pub message: MessageKey,
    pub body_digest: String,
    /// What it says, once it can be mapped.
    pub meaning: Meaning,
    /// Its mapping is not right yet.
    pub unmappable: bool,
    /// What the shop was answered.
    pub answered: Option<MessageOutcome>,
    /// It was mapped again since, so that a repeated one is answered otherwise.
    pub remapped: bool,
}

impl Letter {
    pub fn orders(&self) -> &[(Order, Person)] {
        match &self.meaning {
            Meaning::Orders(orders) => orders,
            Meaning::NotAnOrder | Meaning::Unmappable { .. } => &[],
        }
    }

    pub fn keys(&self) -> Vec<OrderKey> {
        self.orders().iter().map(|(order, _)| order.key.clone()).collect()
    }
}

/// An order as the shop has it.
struct Truth {
    order: Order,
    revision: u64,
    older: Vec<Order>,
}

#[derive(Default)]
pub struct Shop {
    pub letters: Vec<Letter>,
    orders: Vec<Truth>,
    next_number: u64,
    /// Who gets which content, by its digest.
    pub recipients: BTreeMap<String, String>,
}

impl Shop {
    /// Something happens in a shop that it writes about.
    pub fn write(&mut self, dice: &mut Dice, now: Timestamp) {
        match dice.roll(100) {
            0..50 => {
                let order = self.order(dice, now);
                self.send(dice, vec![order]);
            }
            50..54 => {
                let orders = vec![self.order(dice, now), self.order(dice, now)];
                self.send(dice, orders);
            }
            54..69 => self.change(dice, |order, dice, shop| shop.fill(order, dice)),
            69..79 => self.change(dice, |order, _, _| order.cancelled = true),
            79..84 => self.change(dice, |order, _, _| order.cancelled = false),
            84..88 => {
                let Some(at) = self.some_order(dice) else { return };
                if let Some(older) = dice.pick(&self.orders[at].older) {
                    self.send(dice, vec![older]);
                }
            }
            88..91 => {
                let Some(at) = self.some_order(dice) else { return };
                let mut other = self.orders[at].order.clone();
                self.fill(&mut other, dice);
                self.send(dice, vec![other]);
            }
            91..94 => self.post(dice, Meaning::NotAnOrder, false),
            94..97 => {
                let order = self.order(dice, now);
                let meaning = self.meaning(vec![order]);
                self.post(dice, meaning, true);
            }
            _ => {
                // The same id with another body.
                let Some(first) = dice.pick(&self.letters) else { return };
                let order = self.order(dice, now);
                let meaning = self.meaning(vec![order]);
                self.post(dice, meaning, false);
                if let Some(last) = self.letters.last_mut() {
                    last.message.id = first.message.id;
                    last.message.source = first.message.source;
                }
            }
        }
    }

    fn some_order(&self, dice: &mut Dice) -> Option<usize> {
        // Late orders are changed more often: they are open.
        let recent = self.orders.len().min(12);
        (recent > 0).then(|| self.orders.len() - 1 - dice.roll(recent as u64) as usize)
    }

    fn change(&mut self, dice: &mut Dice, change: impl FnOnce(&mut Order, &mut Dice, &mut Self)) {
        let Some(at) = self.some_order(dice) else { return };
        let before = self.orders[at].order.clone();
        let mut order = before.clone();
        change(&mut order, dice, self);
        let truth = &mut self.orders[at];
        truth.older.push(before);
        truth.revision += 1;
        order.revision = order.revision.map(|_| Revision::Number(truth.revision));
        truth.order = order.clone();
        self.send(dice, vec![order]);
    }

    /// A new order; sometimes a number is left out.
    fn order(&mut self, dice: &mut Dice, now: Timestamp) -> Order {
        self.next_number += 1 + u64::from(dice.one_in(15));
        let source = if dice.one_in(4) { PLAIN } else { COUNTING };
        let key = OrderKey::new(source, format!("S-{}", 400 + self.next_number));
        let mut order = Order {
            key,
            revision: (source == COUNTING).then_some(Revision::Number(1)),
            placed: dice.one_in(2).then_some(now),
            lines: Vec::new(),
            destination: Destination {
                country: "QS".parse().ok(),
                postcode_head: "4170".to_owned(),
                address_hash: String::new(),
                post_box: false,
            },
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
        };
        self.fill(&mut order, dice);
        if dice.one_in(25) {
            order.not_before =
                Some(daytime::date_of(&jiff::tz::TimeZone::UTC, now + jiff::SignedDuration::from_hours(24)));
        }
        self.orders.push(Truth { order: order.clone(), revision: 1, older: Vec::new() });
        order
    }

    /// Gives it another content.
    fn fill(&mut self, order: &mut Order, dice: &mut Dice) {
        // Most want what lies on the shelf.
        let (shelf, all) = (4, SKUS.len() as u64);
        let most = if dice.one_in(2) { shelf } else { all };
        let line = |dice: &mut Dice, most: u64, quantity: u32| {
            let sku = SKUS[dice.roll(most) as usize];
            Line { sku: sku.into(), name: format!("the {sku}"), quantity, unit_price: None }
        };
        order.lines = vec![line(dice, most, 1)];
        match dice.roll(6) {
            0 | 1 => order.lines.push(line(dice, shelf, 1)),
            2 => order.lines[0].quantity = 2,
            _ => {}
        }
        order.gift = dice.one_in(6);
        // Some customers order again before their first order is packed.
        let among = if dice.one_in(3) { 4 } else { 1000 };
        let address = dice.roll(among);
        order.destination.address_hash = format!("a{address}");
        order.customer = CustomerMarks { name: format!("n{address}"), email: String::new() };
        if dice.one_in(4) {
            order.customer.email = format!("e{}", dice.roll(2));
        }
        order.separate = dice.one_in(12);
        let flaw = Flaw { kind: FlawKind::NoName, pointer: String::new(), detail: "there is no name".to_owned() };
        order.flaws = if dice.one_in(20) { vec![flaw] } else { Vec::new() };
        let count = self.recipients.len();
        order.content_digest = format!("content {count} of {}", order.key);
        self.recipients.insert(order.content_digest.clone(), format!("Zoë the {count}th"));
    }

    /// Everybody to whom an order ever was to go.
    pub fn recipients_of(&self, order: &OrderKey) -> impl Iterator<Item = &String> {
        let ending = format!(" of {order}");
        self.recipients.iter().filter(move |(content, _)| content.ends_with(&ending)).map(|(_, name)| name)
    }

    fn meaning(&self, orders: Vec<Order>) -> Meaning {
        let of = |order: &Order| Hidden::new(self.recipients[&order.content_digest].clone());
        let with = |order: Order| {
            let person = Person { recipient: of(&order), ..Person::default() };
            (order, person)
        };
        Meaning::Orders(orders.into_iter().map(with).collect())
    }

    fn send(&mut self, dice: &mut Dice, orders: Vec<Order>) {
        let meaning = self.meaning(orders);
        self.post(dice, meaning, false);
    }

    fn post(&mut self, dice: &mut Dice, meaning: Meaning, unmappable: bool) {
        let number = self.letters.len();
        let source = match &meaning {
            Meaning::Orders(orders) => orders[0].0.key.source.clone(),
            _ if dice.one_in(3) => PLAIN.into(),
            _ => COUNTING.into(),
        };
        let message = MessageKey { source, id: format!("m{number}") };
        let body_digest = format!("{number:016} is the digest of this letter");
        self.letters.push(Letter { message, body_digest, meaning, unmappable, answered: None, remapped: false });
    }

    /// The next letter to deliver: mostly one without an answer, sometimes any.
    pub fn next(&self, dice: &mut Dice) -> Option<usize> {
        let all: Vec<usize> = (0..self.letters.len()).collect();
        let open: Vec<usize> = all.iter().copied().filter(|at| self.letters[*at].answered.is_none()).collect();
        if dice.one_in(8) || open.is_empty() { dice.pick(&all) } else { dice.pick(&open) }
    }

    pub fn unanswered(&self) -> Option<usize> {
        self.letters.iter().position(|letter| letter.answered.is_none())
    }
}
