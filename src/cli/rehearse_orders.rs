//! The rehearsal's orders: invented, in many scripts, through three shops and both
//! signature schemes, each with what should become of it. The same count and instant give
//! the same orders.

use super::rehearse_cast::{ABROAD, BASKETS, CUSTOMERS, Customer, PLACES, Place, price_and_name};
use crate::intake::sender::Envelope;
use crate::intake::sources::OpenSource;
use crate::model::{Cause, FlawKind, OrderKey, Sku, SourceName};
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};

/// Messages of the first wave that tell a story of their own; fewer cannot be asked for.
pub const ORDERS_MIN: usize = 24;

/// The product that no file of the demo knows.
const UNKNOWN_SKU: &str = "GLZ-9";
/// Ordinary orders begin with this seed, so that every rehearsal is the same.
const SEED: u64 = 0x7e41_7415;

/// One message, and what should become of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedMessage {
    /// What it is about, for the account at the end.
    pub tale: &'static str,
    /// To which source.
    pub source: SourceName,
    /// The message's id, where the scheme carries one.
    pub id: String,
    /// The payload.
    pub body: String,
    /// Rightly or wrongly.
    pub signed: Signed,
    /// When it is sent.
    pub moment: Moment,
    /// What should become of it.
    pub expect: Expect,
}

/// Is the signature right?
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signed {
    /// Yes.
    Rightly,
    /// It belongs to another body.
    Wrongly,
}

/// When a message is sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moment {
    /// In the first wave, in order.
    First,
    /// After the slips of the first wave are on paper.
    AfterPrinting,
}

/// What should become of a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Expect {
    /// Slip and card of each of its parcels are on paper, of which there are at least so many.
    OnPaper {
        /// The order.
        order: OrderKey,
        /// Parcels.
        parcels_at_least: u32,
    },
    /// Two orders of one customer: they share their parcels, of which slip and card are on paper.
    Joined {
        /// Both.
        orders: [OrderKey; 2],
    },
    /// It came before: answered alike, nothing new.
    Known,
    /// Refused: the signature does not fit.
    Refused,
    /// Kept whole; a person is asked, as it cannot be mapped.
    Unmappable,
    /// Nothing of it is on paper; a person is asked, with this cause.
    NeedsYou {
        /// The order.
        order: OrderKey,
        /// As typed ([`Cause`]).
        cause: String,
    },
    /// Nothing of it is on paper yet: it is made to order.
    Waits {
        /// The order.
        order: OrderKey,
    },
    /// A change note about it is on paper.
    ChangeNote {
        /// The order.
        order: OrderKey,
    },
    /// A stop note about it is on paper.
    StopNote {
        /// The order.
        order: OrderKey,
    },
}

impl Expect {
    /// The HTTP status of the answer.
    pub fn status(&self) -> u16 {
        match self {
            Self::Refused => 401,
            Self::Known => 200,
            _ => 202,
        }
    }
}

impl PlannedMessage {
    /// The message signed as planned.
    pub fn envelope(&self, source: &OpenSource, at: Timestamp) -> Option<Envelope> {
        let secret = source.secrets.first()?;
        let sign = |body: String| Envelope::signed(&source.name, &source.scheme, secret, &self.id, at, body);
        Some(match self.signed {
            Signed::Rightly => sign(self.body.clone()),
            Signed::Wrongly => Envelope { body: self.body.clone().into(), ..sign(format!("{} ", self.body)) },
        })
    }
}

/// Messages of a rehearsal: `count` of the first wave (at least [`ORDERS_MIN`]), then a
/// change and a cancellation of orders that are on paper by then.
pub fn orders(count: usize, now: Timestamp) -> Vec<PlannedMessage> {
    let mut wave = Wave { messages: Vec::new(), chance: SEED, taken: 0, numbers: [400, 2070, 87], now };
    wave.stories();
    let stories = wave.messages.iter().filter(|message| message.moment == Moment::First).count();
    for _ in stories..count.max(ORDERS_MIN) {
        wave.ordinary();
    }
    // The first wave in full before what comes after printing; the sort is stable.
    wave.messages.sort_by_key(|message| message.moment == Moment::AfterPrinting);
    wave.messages
}

/// Through which of the three shops.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Via {
    /// schema.org, Standard Webhooks.
    Shop = 0,
    /// Its own JSON, HMAC in hex.
    Fair = 1,
    /// Another JSON, HMAC in base64 over id, time and body.
    Stall = 2,
}

/// An order before it is written in its shop's form.
#[derive(Debug, Clone)]
struct Told {
    shop: Via,
    number: String,
    revision: i64,
    customer: Customer,
    /// Receives it as a gift, with this text.
    gift: Option<(Customer, &'static str)>,
    place: Option<Place>,
    lines: Vec<(String, u32)>,
    /// A tip: no goods.
    tip: bool,
    wish: Option<&'static str>,
    service: Option<&'static str>,
    cancelled: bool,
}

impl Told {
    fn key(&self) -> OrderKey {
        OrderKey::new(["shop", "fair", "stall"][self.shop as usize], &*self.number)
    }
    fn total(&self) -> i64 {
        let goods: i64 = self.lines.iter().map(|(sku, count)| price_and_name(sku).0 * i64::from(*count)).sum();
        goods + if self.tip { price_and_name("TIP").0 } else { 0 }
    }
    fn recipient(&self) -> Customer {
        self.gift.map_or(self.customer, |(recipient, _)| recipient)
    }
    fn body(&self, now: Timestamp) -> String {
        self.json(now).to_string()
    }
    fn json(&self, now: Timestamp) -> Value {
        let placed = now - SignedDuration::from_mins(20);
        let revised = placed + SignedDuration::from_secs(self.revision);
        match self.shop {
            Via::Shop => self.as_schema_org(placed, revised),
            Via::Fair => self.as_sale(placed),
            Via::Stall => json!({ "kind": "tickets", "tickets": [self.as_ticket(placed, revised)] }),
        }
    }

    fn as_schema_org(&self, placed: Timestamp, revised: Timestamp) -> Value {
        let mut items: Vec<Value> = self.lines.iter().map(|(sku, count)| schema_org_item(sku, *count)).collect();
        if self.tip {
            items.push(json!({"@type": "OrderItem", "orderQuantity": 1,
                "orderedItem": {"@type": "Service", "name": price_and_name("TIP").1}}));
        }
        let mut delivery = json!({"@type": "ParcelDelivery"});
        if let Some(place) = self.place {
            delivery["deliveryAddress"] = json!({"@type": "PostalAddress", "name": self.recipient().name(),
                "streetAddress": place.street, "postalCode": place.postcode, "addressLocality": place.town,
                "addressCountry": place.country});
        }
        if let Some(service) = self.service {
            delivery["hasDeliveryMethod"] = json!(service);
        }
        let mut order = json!({
            "@context": "https://schema.org", "@type": "Order",
            "orderNumber": self.number, "orderDate": placed, "dateModified": revised,
            "customer": {"@type": "Person", "name": self.customer.name(), "email": mail(&self.number)},
            "inLanguage": self.recipient().language,
            "orderDelivery": delivery, "orderedItem": items,
            "price": decimal(self.total()), "priceCurrency": "EUR",
            "orderStatus": if self.cancelled { "https://schema.org/OrderCancelled" } else { "https://schema.org/OrderProcessing" }
        });
        if let Some((_, words)) = self.gift {
            order["isGift"] = json!(true);
            order["giftMessage"] = json!(words);
        }
        if let Some(wish) = self.wish {
            order["additionalProperty"] = json!([{"@type": "PropertyValue", "name": "wish", "value": wish}]);
        }
        order
    }

    fn as_sale(&self, placed: Timestamp) -> Value {
        let good = |sku: &str, count: u32, kind: &str| {
            let (price, name) = price_and_name(sku);
            json!({"code": sku, "label": name, "count": count, "each": price, "kind": kind})
        };
        let mut goods: Vec<Value> = self.lines.iter().map(|(sku, count)| good(sku, *count, "thing")).collect();
        if self.tip {
            goods.push(good("TIP", 1, "tip"));
        }
        let to = self.place.map_or_else(
            || json!({"name": self.recipient().name()}),
            |place| {
                json!({"name": self.recipient().name(), "lines": place.street.split('\n').collect::<Vec<_>>(),
                    "town": place.town, "code": place.postcode, "land": place.country})
            },
        );
        json!({"event": "sale", "sale": {
            "ref": self.number, "rev": self.revision, "at": placed, "withdrawn": self.cancelled,
            "goods": goods, "sum": self.total(), "currency": "EUR", "to": to,
            "by": {"name": self.customer.name(), "mail": mail(&self.number), "tongue": self.recipient().language},
            "present": {"is": self.gift.is_some(), "words": self.gift.map(|(_, words)| words)},
            "wish": self.wish, "travels": self.service
        }})
    }

    fn as_ticket(&self, placed: Timestamp, revised: Timestamp) -> Value {
        let mut basket: Vec<Value> = self.lines.iter().map(|(sku, count)| ticket_line(sku, *count, "goods")).collect();
        if self.tip {
            basket.push(ticket_line("TIP", 1, "voucher"));
        }
        let parts = |customer: Customer| match customer.family_first {
            true => (customer.last, customer.first),
            false => (customer.first, customer.last),
        };
        let (first, last) = parts(self.recipient());
        let mut ship = json!({"first": first, "last": last, "how": self.service});
        if let Some(place) = self.place {
            let mut street = place.street.split('\n');
            ship["street"] = json!(street.next());
            ship["street2"] = json!(street.next());
            ship["postcode"] = json!(place.postcode);
            ship["place"] = json!(place.town);
            ship["country"] = json!(place.country);
        }
        let (first, last) = parts(self.customer);
        json!({
            "no": self.number, "taken": placed, "changed": revised,
            "state": if self.cancelled { "called off" } else { "open" },
            "guest": {"first": first, "last": last, "email": mail(&self.number)}, "ship": ship,
            "gift": self.gift.map(|(_, words)| json!({"text": words})), "basket": basket, "remark": self.wish,
            "total": decimal(self.total()), "currency": "EUR", "language": self.recipient().language
        })
    }
}

fn schema_org_item(sku: &str, count: u32) -> Value {
    let (price, name) = price_and_name(sku);
    json!({"@type": "OrderItem", "orderQuantity": count, "orderedItem": {"@type": "Product", "sku": sku, "name": name,
        "offers": {"@type": "Offer", "price": decimal(price), "priceCurrency": "EUR"}}})
}

fn ticket_line(sku: &str, count: u32, kind: &str) -> Value {
    let (price, name) = price_and_name(sku);
    json!({"sku": sku, "title": name, "qty": count.to_string(), "price": decimal(price), "type": kind})
}

fn decimal(cents: i64) -> String {
    format!("{}.{:02}", cents / 100, cents % 100)
}

/// A mailbox that nobody has (RFC 2606).
fn mail(number: &str) -> String {
    format!("{}@example.org", number.to_ascii_lowercase())
}

/// Collects messages.
struct Wave {
    messages: Vec<PlannedMessage>,
    chance: u64,
    /// Customers so far.
    taken: usize,
    /// Last number of each shop.
    numbers: [u32; 3],
    now: Timestamp,
}

impl Wave {
    /// The next order of a shop, by the next customer, to the next place.
    fn told(&mut self, shop: Via, lines: &[(&str, u32)]) -> Told {
        self.numbers[shop as usize] += 1;
        let number = self.numbers[shop as usize];
        self.taken += 1;
        let abroad = self.taken % 13 == 2;
        let place = if abroad { ABROAD[self.taken / 13 % ABROAD.len()] } else { PLACES[self.taken % PLACES.len()] };
        Told {
            shop,
            number: format!("{}{number}", ["S-", "F-", "T-"][shop as usize]),
            revision: 1,
            customer: CUSTOMERS[(self.taken - 1) % CUSTOMERS.len()],
            gift: None,
            place: Some(place),
            lines: lines.iter().map(|(sku, count)| ((*sku).to_owned(), *count)).collect(),
            tip: false,
            wish: None,
            service: None,
            cancelled: false,
        }
    }

    fn send(&mut self, tale: &'static str, told: &Told, moment: Moment, expect: Expect) {
        let id = format!("msg_{}_{}", told.number, told.revision);
        let (source, body) = (told.key().source, told.body(self.now));
        self.messages.push(PlannedMessage { tale, source, id, body, signed: Signed::Rightly, moment, expect });
    }
    fn on_paper(&mut self, tale: &'static str, told: &Told, parcels_at_least: u32) {
        self.send(tale, told, Moment::First, Expect::OnPaper { order: told.key(), parcels_at_least });
    }

    /// Everything that can happen to an order, once.
    fn stories(&mut self) {
        for (shop, lines) in [
            (Via::Shop, BASKETS[0]),
            (Via::Shop, BASKETS[1]),
            (Via::Fair, BASKETS[2]),
            (Via::Stall, BASKETS[3]),
            (Via::Shop, BASKETS[4]),
        ] {
            let told = self.told(shop, lines);
            self.on_paper("an ordinary order", &told, 1);
        }
        let doubled = self.told(Via::Shop, &[("tasting", 1)]);
        self.on_paper("a message that is sent twice", &doubled, 1);
        self.send("the same message again", &doubled, Moment::First, Expect::Known);

        let forged = self.told(Via::Fair, &[("teapot", 3)]);
        self.send("a bad signature", &forged, Moment::First, Expect::Refused);
        if let Some(message) = self.messages.last_mut() {
            message.signed = Signed::Wrongly;
        }
        self.unmappable();

        let large = self.told(Via::Shop, &[("mug", 10)]);
        self.on_paper("an order that needs two parcels", &large, 2);

        let fetched = Told { place: None, service: Some("quay"), ..self.told(Via::Stall, &[("bowl", 2), ("tin", 1)]) };
        self.on_paper("an order that is fetched", &fetched, 1);

        for shop in [Via::Shop, Via::Fair, Via::Stall] {
            let told = self.told(shop, &[(UNKNOWN_SKU, 1), ("sea-mint", 1)]);
            let cause = Cause::UnknownProduct(Sku::new(UNKNOWN_SKU)).to_string();
            let expect = Expect::NeedsYou { order: told.key(), cause };
            self.send("an order of an unknown product", &told, Moment::First, expect);
        }

        let mut gift = self.told(Via::Shop, &[("tea-for-two", 1)]);
        gift.gift = Some((CUSTOMERS[1], "Alles Gute zum Geburtstag!\nMay the kettle always sing."));
        self.on_paper("a gift with a message", &gift, 1);
        let mut gift = self.told(Via::Stall, &[("mug-kelp", 1), ("heather-smoke", 1)]);
        gift.gift = Some((CUSTOMERS[2], "Χρόνια πολλά"));
        self.on_paper("a gift through another shop", &gift, 1);

        self.at_once();

        let wish = Told { wish: Some("Please leave it behind the blue boat."), ..self.told(Via::Fair, BASKETS[9]) };
        self.on_paper("an order with a wish", &wish, 1);
        let tip = Told { tip: true, ..self.told(Via::Fair, BASKETS[7]) };
        self.on_paper("a line that is not goods", &tip, 1);

        let homeless = self.told(Via::Shop, BASKETS[2]);
        let homeless = Told { place: homeless.place.map(|place| Place { street: "", ..place }), ..homeless };
        let cause = Cause::Flaw(homeless.key(), FlawKind::NoAddress).to_string();
        let expect = Expect::NeedsYou { order: homeless.key(), cause };
        self.send("an address without a street", &homeless, Moment::First, expect);

        let jug = self.told(Via::Shop, &[("jug", 1)]);
        self.send("something made to order", &jug, Moment::First, Expect::Waits { order: jug.key() });

        let changed = self.told(Via::Fair, &[("mug-dawn", 1), ("tea-towel", 1)]);
        self.on_paper("an order that changes after printing", &changed, 1);
        let newer = Told { revision: 2, lines: vec![("mug-dawn".into(), 2), ("tea-towel".into(), 1)], ..changed };
        let expect = Expect::ChangeNote { order: newer.key() };
        self.send("the change, after printing", &newer, Moment::AfterPrinting, expect);

        let cancelled = self.told(Via::Stall, &[("teapot", 1)]);
        self.on_paper("an order that is cancelled after printing", &cancelled, 1);
        let newer = Told { revision: 2, cancelled: true, ..cancelled };
        let expect = Expect::StopNote { order: newer.key() };
        self.send("the cancellation, after printing", &newer, Moment::AfterPrinting, expect);
    }

    /// Somebody buys two tickets one after the other, and the stall sends both in one message.
    fn at_once(&mut self) {
        let first = self.told(Via::Stall, &[("bowl", 1)]);
        let second = self.told(Via::Stall, &[("sea-mint", 2)]);
        let second = Told { customer: first.customer, place: first.place, ..second };
        let orders = [first.key(), second.key()];
        let mut body = first.json(self.now);
        let mut ticket = second.json(self.now)["tickets"][0].take();
        ticket["guest"]["email"] = json!(mail(&first.number));
        if let Some(tickets) = body["tickets"].as_array_mut() {
            tickets.push(ticket);
        }
        self.send("two orders of one customer at once", &first, Moment::First, Expect::Joined { orders });
        if let Some(message) = self.messages.last_mut() {
            message.body = body.to_string();
        }
    }

    /// A ticket without its number: the shop has changed its form.
    fn unmappable(&mut self) {
        let told = self.told(Via::Stall, BASKETS[0]);
        let body = told.body(self.now).replacen("\"no\":", "\"ticket_no\":", 1);
        self.send("a message that cannot be mapped", &told, Moment::First, Expect::Unmappable);
        if let Some(message) = self.messages.last_mut() {
            message.body = body;
        }
    }

    /// One more, from the generator.
    fn ordinary(&mut self) {
        let shop = [Via::Shop, Via::Shop, Via::Fair, Via::Stall][self.below(4)];
        let basket = BASKETS[self.below(BASKETS.len())];
        let told = self.told(shop, basket);
        self.on_paper("an ordinary order", &told, 1);
    }

    /// A number below `bound` (splitmix64, from memory; only variety is asked of it).
    fn below(&mut self, bound: usize) -> usize {
        self.chance = self.chance.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.chance;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) % bound as u64) as usize
    }
}
