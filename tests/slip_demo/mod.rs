//! Tern & Thistle on one morning, built in code: a workshop, a state and its people for the
//! tests of paper. All of it is invented.

#![allow(dead_code, reason = "each test program uses its own part")]

pub mod papers;

use dawnslip::book::*;
use dawnslip::model::*;
use dawnslip::slip::words;
use jiff::civil::{Date, date, time};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};

pub const THANKS_CARD: &str = "# {{ name }}

---

{% if gift_message %}
> {{ gift_message }}
{% endif %}

Your mug was thrown on a wet Tuesday and fired twice. Small differences from its sisters are the hand, *not* a fault.

## In this parcel

| | | |
|-:|:-|-:|
{% for item in items %}
| {{ item.quantity }} | {{ item.name }} | {% if item.batch %}batch {{ item.batch }}{% endif %} |
{% endfor %}

{% for entry in care %}
## {{ entry.name }}

{{ entry.text }}

{% endfor %}
{% if ingredients %}
## Ingredients

{% for entry in ingredients %}
{{ entry.text }}

{% endfor %}
{% endif %}
{% if allergens %}
Packed where **{{ allergens | join(\", \") }}** are handled.
{% endif %}

![and a word by hand](pen)
";

pub fn now() -> Timestamp {
    "2026-11-25T07:00:00Z".parse().unwrap()
}

pub fn today() -> Date {
    date(2026, 11, 25)
}

fn product(sku: &str, name: &str, shelf: &str, grams: i64) -> Product {
    Product {
        sku: sku.into(),
        name: name.into(),
        dims: Some(Dims::from_mm(120, 90, 100)),
        weight: Some(Weight::from_g(grams)),
        shelf: shelf.into(),
        turn: Turn::ThisSideUp,
        fragile: false,
        stack: None,
        by_wall: false,
        cushion: Length::from_mm(10),
        softness_percent: 100,
        made_of: Vec::new(),
        made_to_order: false,
        not_shipped: false,
        preparation: None,
        how_to_lay: None,
        supplies: Vec::new(),
        care: None,
        ingredients: None,
        allergens: Vec::new(),
        danger: None,
        customs: None,
        batches: Vec::new(),
    }
}

fn batch(name: &str, best_before: Option<Date>, shelf: Option<&str>) -> Batch {
    Batch { name: name.into(), dims: None, weight: None, best_before, made: None, shelf: shelf.map(str::to_owned) }
}

fn container(name: &str, side: i64, stock: Option<u32>, carriers: bool) -> Container {
    Container {
        name: name.into(),
        kind: ContainerKind::Box {
            inner: Dims::from_mm(side, side, side),
            outer: Dims::from_mm(side + 6, side + 6, side + 6),
        },
        tare: Weight::from_g(80),
        cost: Money::new(62, Currency::EUR),
        cushion: Length::from_mm(5),
        load_max: None,
        stock,
        carriers,
        takes: Vec::new(),
        goods: !carriers,
        holds: Vec::new(),
        supplies: Vec::new(),
        folding: None,
        fill: None,
    }
}

fn service(name: &str, collect: bool) -> Service {
    Service { only_when_asked: collect, collect, ..Service::plain(name) }
}

pub fn printer(dots: u32, dpi: u32, confirms: Confirms, cutter: bool) -> Printer {
    Printer {
        dots,
        dpi,
        cutter,
        confirms,
        quiet_after: SignedDuration::from_secs(3),
        answer_time: SignedDuration::from_secs(5),
        ..Printer::usual("bench", "127.0.0.1:9100")
    }
}

fn supply(name: &str, unit: SupplyUnit, stock: Option<i64>) -> Supply {
    Supply {
        name: name.into(),
        unit,
        price: Money::new(100, Currency::EUR),
        price_for: 1,
        stock,
        weight: Weight::ZERO,
        weight_for: 1,
    }
}

pub fn workshop() -> Workshop {
    let mug = Product {
        care: Some("Dishwasher yes, open flame no. Warm it before pouring boiling water.".into()),
        preparation: Some("wrap in tissue".into()),
        customs: Some(Customs {
            hs_code: "6912.00".into(),
            origin: "QS".parse().unwrap(),
            description: "stoneware mug".into(),
        }),
        how_to_lay: Some("Handles to the middle.".into()),
        batches: vec![batch("2611", None, None)],
        ..product("MUG-TG", "Mug, tide grey", "A1", 340)
    };
    let tea = Product {
        care: Some("3 g to a cup, 95 °C, four minutes; keep it dry and dark.".into()),
        ingredients: Some("Black tea, heather flowers (4 %), smoked birch.".into()),
        allergens: vec!["nuts".into()],
        batches: vec![
            batch("2611", Some(date(2027, 11, 30)), None),
            batch("2609", Some(date(2027, 9, 30)), Some("B10")),
        ],
        ..product("TEA-HS", "Heather smoke, 100 g", "B3", 112)
    };
    let teapot = Product { fragile: true, ..product("POT-PB", "Teapot, peat black", "C2", 980) };
    let card = |name: &str, design: &str| {
        let (name, design) = (CardName::new(name), design.to_owned());
        (name.clone(), CardTemplate { name, design, body: THANKS_CARD.into(), first_line: 4 })
    };
    Workshop {
        digest: ConfigDigest::new("0"),
        name: "Tern & Thistle".into(),
        language: "en".into(),
        locale: Locale::default(),
        zone: TimeZone::UTC,
        currency: Currency::EUR,
        country: "QS".parse().unwrap(),
        sender: vec!["Tern & Thistle".into(), "Kiln Yard 3".into(), "Skerry".into()],
        day: Day {
            pick_list_at: time(7, 0, 0, 0),
            closed_weekdays: Vec::new(),
            closed_dates: BTreeSet::new(),
            parcels_a_day: 8,
            quiet: None,
            burst: BurstSwitch { orders: 20, within: SignedDuration::from_mins(10) },
        },
        retention_days: 365,
        backups: Backups { off: false, at: jiff::civil::time(3, 30, 0, 0), keep_days: 14, folder: "backups".into() },
        labour: None,
        cn23_above: None,
        joins_orders: false,
        heavy_above: Weight::from_g(23_000),
        contracts: Contracts::default(),
        listeners: Listeners {
            intake: "127.0.0.1:0".parse().unwrap(),
            desk: "127.0.0.1:0".parse().unwrap(),
            desk_token: None,
            desk_hosts: Vec::new(),
        },
        limits: Limits {
            body_bytes: 1 << 20,
            header_time: SignedDuration::from_secs(5),
            body_time: SignedDuration::from_secs(5),
            connections: 10,
            per_minute: 600,
        },
        sources: BTreeMap::new(),
        products: vec![mug, tea, teapot],
        containers: vec![
            container("Small", 180, None, false),
            container("Medium", 250, Some(2), false),
            container("Skipper", 300, None, true),
        ],
        supplies: vec![
            supply("paper tape", SupplyUnit::Length, Some(4_000 * NM_PER_MM)),
            supply("tissue", SupplyUnit::Piece, None),
            supply("paper fill", SupplyUnit::Weight, None),
        ],
        every_parcel: Vec::new(),
        services: vec![service("Letter", false), service("Road", false), service("collect", true)],
        rules: Vec::new(),
        printers: vec![printer(576, 203, Confirms::ProcessId, true)],
        routes: BTreeMap::new(),
        cards: BTreeMap::from([card("thanks", "waves"), card("present", "leaves"), card("poster", "plain")]),
        default_card: Some("thanks".into()),
        draw_packing_from: 3,
        words: Words { table: words::english() },
        fonts: None,
        logo: None,
        notes: Vec::new(),
        files: BTreeMap::new(),
    }
}

/// Adds orders one by one; numbers and identities follow from the calls.
pub struct Book {
    pub state: State,
    pub people: People,
}

pub struct Parcel<'a> {
    pub contents: &'a [(&'a str, u32, Option<&'a str>)],
    pub container: &'a str,
    pub inside: Option<&'a str>,
    pub service: &'a str,
    pub zone: &'a str,
    pub grams: i64,
}

impl Book {
    pub fn new() -> Self {
        let policy = Policy {
            zone: "UTC".into(),
            pick_list_at: time(7, 0, 0, 0),
            closed_weekdays: BTreeSet::new(),
            closed_dates: BTreeSet::new(),
            parcels_a_day: 8,
            burst_orders: 20,
            burst_seconds: 600,
            gapless: BTreeMap::new(),
            print: BTreeMap::new(),
            uncertain: BTreeMap::new(),
            uncertain_at: BTreeMap::new(),
            shop_printers: BTreeMap::new(),
            prints: BTreeMap::new(),
            latest: BTreeMap::new(),
            join: false,
            archive_after_days: 14,
        };
        Self { state: State { policy: Some(policy), ..State::default() }, people: People::default() }
    }

    /// Says where an order goes.
    pub fn send_to(&mut self, number: &str, country: &str, [street, postcode, locality, region]: [&str; 4]) {
        let key = OrderKey::new("shop", number);
        let entry = self.state.orders.get_mut(&key).unwrap();
        entry.order.destination.country = country.parse().ok();
        let person = Person {
            street: vec![Hidden::new(street)],
            postcode: Hidden::new(postcode),
            locality: Hidden::new(locality),
            region: Hidden::new(region),
            ..self.people.of(&key, entry.version).unwrap().clone()
        };
        self.people.apply(&PersonRecord::Of { v: 1, order: key, version: entry.version, person: Box::new(person) });
    }

    pub fn order(&mut self, number: &str, person: Person, parcels: &[Parcel]) -> OrderKey {
        let key = OrderKey::new("shop", number);
        let at = now() - SignedDuration::from_hours(10);
        let lines = parcels.iter().flat_map(|p| p.contents).map(|(sku, quantity, _)| Line {
            sku: (*sku).into(),
            name: format!("{sku} as the shop calls it"),
            quantity: *quantity,
            unit_price: None,
        });
        let order = Order {
            key: key.clone(),
            revision: None,
            placed: None,
            lines: lines.collect(),
            destination: Destination {
                country: "QS".parse().ok(),
                postcode_head: "SK1".into(),
                address_hash: "0".into(),
                post_box: false,
            },
            gift: person.gift_message.is_some(),
            hide_buyer: false,
            requested_service: None,
            total: None,
            cancelled: false,
            not_before: None,
            has_wish: person.wish.is_some(),
            separate: false,
            customer: CustomerMarks::default(),
            flaws: Vec::new(),
            content_digest: "0".into(),
        };
        let pins = Pins {
            order_version: 1,
            revision: None,
            config: ConfigDigest::new("0"),
            stock: 0,
            hand_over: today(),
            too_late: Default::default(),
            joined: Vec::new(),
        };
        let planned: Vec<PlannedParcel> = parcels.iter().map(planned).collect();
        let plan = Plan {
            order: key.clone(),
            pins,
            parcels: planned.clone(),
            cost: None,
            verdict: Verdict::Proved,
            questions: Vec::new(),
            waits: Vec::new(),
            alternatives: Vec::new(),
            what_would_change: Vec::new(),
            rules: Vec::new(),
            urgent: false,
            instead: None,
            joined: Vec::new(),
            joined_saves: None,
        };
        let count = planned.len() as u32;
        let mut ids = Vec::new();
        for (at_part, planned) in planned.into_iter().enumerate() {
            self.state.last_parcel += 1;
            let id = ParcelId(400 + self.state.last_parcel);
            let part = (at_part as u32 + 1, count);
            let entry = ParcelEntry {
                orders: vec![key.clone()],
                part,
                stage: Stage::Planned,
                since: at,
                planned,
                hand_over: None,
                jobs: Default::default(),
            };
            self.state.parcels.insert(id, entry);
            ids.push(id);
        }
        let entry = OrderEntry {
            order,
            version: 1,
            received: at,
            revised: at,
            message: MessageKey { source: "shop".into(), id: number.into() },
            contender: None,
            stops: Vec::new(),
            accepted: BTreeSet::new(),
            plan: Some((plan, 1)),
            anew: false,
            asked: None,
            plan_started: false,
            stopped_program: 0,
            parcels: ids,
            apart: false,
            not_joined: None,
            cancelled: None,
            version_on_paper: None,
            differences: Vec::new(),
            notes: 0,
            note_jobs: Vec::new(),
            declined: BTreeSet::new(),
            forgotten: None,
            last_fact: 0,
        };
        self.state.orders.insert(key.clone(), entry);
        self.people.apply(&PersonRecord::Of { v: 1, order: key.clone(), version: 1, person: Box::new(person) });
        key
    }

    /// Says where the things of a parcel lie: which content, its corner and its sides.
    pub fn lay(&mut self, parcel: u64, room: [i64; 3], pieces: &[(usize, [i64; 3], [i64; 3])]) {
        let planned = &mut self.state.parcels.get_mut(&ParcelId(parcel)).unwrap().planned;
        planned.inner_mm = room;
        planned.placement =
            pieces.iter().map(|(content, at, size)| Placed { content: *content, at: *at, size: *size }).collect();
    }

    /// Puts the things of the second order into the first one's parcel, which saves so many cents.
    pub fn join(&mut self, lead: &OrderKey, other: &OrderKey, saves: i64) -> ParcelId {
        let id = self.state.orders[lead].parcels[0];
        let gone = self.state.orders[other].parcels[0];
        let more = self.state.parcels.remove(&gone).unwrap().planned;
        let parcel = self.state.parcels.get_mut(&id).unwrap();
        parcel.orders = vec![lead.clone(), other.clone()];
        parcel.planned.contents.extend(more.contents.into_iter().map(|content| Content { order: 1, ..content }));
        // As the planner lists them: by product.
        parcel.planned.contents.sort_by_key(|content| content.sku.clone());
        parcel.planned.weight = parcel.planned.weight + more.weight;
        let (mut plan, _) = self.state.orders[lead].plan.clone().unwrap();
        plan.pins.joined = vec![(other.clone(), 1)];
        plan.joined = vec![other.clone()];
        plan.joined_saves = Some(Money::new(saves, Currency::EUR));
        for key in [lead, other] {
            let entry = self.state.orders.get_mut(key).unwrap();
            (entry.plan, entry.parcels) = (Some((plan.clone(), 1)), vec![id]);
        }
        id
    }

    pub fn stop(&mut self, key: &OrderKey, cause: Cause, what: &str, remedy: &str) {
        let kind = StopKind::NeedsYou(Question { cause, what: what.into(), remedy: remedy.into(), detail: None });
        self.state.orders.get_mut(key).unwrap().stops.push(Stop { kind, since: now() });
    }
}

fn planned(parcel: &Parcel) -> PlannedParcel {
    let zero = Money::new(0, Currency::EUR);
    let contents = parcel.contents.iter().enumerate().map(|(line, (sku, quantity, batch))| Content {
        sku: (*sku).into(),
        quantity: *quantity,
        batch: batch.map(Into::into),
        line: Some(line),
        order: 0,
    });
    PlannedParcel {
        container: parcel.container.into(),
        inside: parcel.inside.map(Into::into),
        thick_at_most: None,
        service: parcel.service.into(),
        zone: parcel.zone.into(),
        contents: contents.collect(),
        weight: Weight::from_g(parcel.grams),
        tolerance: Weight::from_g(20 + parcel.grams / 40),
        cost: CostParts { postage: zero, surcharges: zero, container: zero, supplies: zero, labour: None },
        supplies: vec![
            SupplyUse { supply: "paper tape".into(), amount: 1_240 * NM_PER_MM },
            SupplyUse { supply: "tissue".into(), amount: 2 },
            SupplyUse { supply: "paper fill".into(), amount: 35 * NG_PER_G },
        ],
        surcharged: Vec::new(),
        counts_as: None,
        foreign: None,
        placement: Vec::new(),
        inner_mm: [0; 3],
        notes: Vec::new(),
        cautions: Vec::new(),
        cards: vec!["thanks".into()],
        printer: None,
    }
}

pub fn person(name: &str) -> Person {
    Person { recipient: Hidden::new(name), ..Person::default() }
}

/// A morning with something of everything.
pub fn morning() -> Book {
    let mut book = Book::new();
    let small = |contents, grams| Parcel {
        contents,
        container: "Small",
        inside: None,
        service: "Letter",
        zone: "North",
        grams,
    };
    let medium =
        |contents, grams| Parcel { container: "Medium", service: "Road", zone: "South", ..small(contents, grams) };
    let zoe = Person {
        wish: Some(Hidden::new("Please leave it with the neighbour in the blue house, she is always in.")),
        ..person("Zoë Ångström")
    };
    book.order("S-417", zoe, &[small(&[("MUG-TG", 2, Some("2611")), ("TEA-HS", 1, Some("2609"))], 910)]);
    let hanako = Person { language: Some("ja".into()), ..person("佐藤 花子") };
    book.order("S-418", hanako, &[small(&[("TEA-HS", 3, Some("2611"))], 430)]);
    book.order("S-419", person("Νίκος Παππάς"), &[small(&[("MUG-TG", 1, Some("2611"))], 450)]);
    let gift = Person {
        buyer: Some(Hidden::new("Łukasz Wójcik")),
        gift_message: Some(Hidden::new("Happy birthday, dear aunt! Put the kettle on, we are coming on Sunday.")),
        ..person("Marie-Thérèse de Montmorency-Lévis")
    };
    let gift = book.order("S-420", gift, &[medium(&[("POT-PB", 1, None), ("MUG-TG", 4, Some("2611"))], 2_690)]);
    book.order(
        "S-421",
        person("محمد علي"),
        &[Parcel { inside: Some("Skipper"), ..medium(&[("POT-PB", 1, None)], 1_210) }],
    );
    book.order(
        "S-422",
        person("क्षितिज शर्मा"),
        &[medium(&[("POT-PB", 2, None)], 2_320), small(&[("TEA-HS", 12, Some("2609"))], 1_490)],
    );
    // Seen from the side each shows; of the parcel that has two things nobody needs a picture.
    book.lay(
        401,
        [180, 130, 100],
        &[(0, [0, 0, 0], [90, 90, 95]), (0, [90, 0, 0], [90, 90, 95]), (1, [0, 90, 0], [160, 40, 60])],
    );
    let mug = [80, 80, 95];
    let beside = [[160, 0, 0], [160, 80, 0], [0, 120, 0], [80, 120, 0]].map(|at| (1, at, mug));
    book.lay(404, [250, 200, 150], &[&[(0, [0, 0, 0], [160, 120, 140])][..], &beside].concat());
    book.lay(406, [250, 200, 150], &[(0, [0, 0, 0], [160, 120, 140]), (0, [0, 120, 0], [250, 80, 150])]);
    let late = book.order("S-409", person("Nguyễn Thị Ánh"), &[small(&[("TEA-HS", 2, Some("2609"))], 310)]);
    book.state.orders.get_mut(&late).unwrap().received = now() - SignedDuration::from_hours(60);
    for number in ["S-430", "S-431", "S-432"] {
        let key = book.order(number, person("Somebody"), &[]);
        book.stop(
            &key,
            Cause::UnknownProduct("GLZ-9".into()),
            "the product GLZ-9 is unknown",
            "add it to products.toml, then: dawnslip decide unknown-product:GLZ-9 retry",
        );
    }
    let stopped = book.order("S-433", person("Somebody"), &[]);
    let what = "the address has no house number";
    let remedy = "ask the customer, then: dawnslip decide no-address:shop/S-433 go-on";
    book.stop(&stopped, Cause::Flaw(stopped.clone(), FlawKind::NoAddress), what, remedy);
    let shop = book.state.shops.entry("shop".into()).or_default();
    let between = ("S-423".into(), "S-425".into());
    shop.gaps.insert(424, Gap { number: "S-424".into(), between, since: now() });
    let lead = book.state.orders[&gift].parcels[0];
    let parcel = &mut book.state.parcels.get_mut(&lead).unwrap().planned;
    parcel.cautions = vec![
        Caution::Fragile { product: "Teapot, peat black".into() },
        Caution::DearerAbove { ends: Weight::from_g(2_700), more: Money::new(160, Currency::EUR) },
        Caution::Said("The glaze is soft: no tape on it.".into()),
    ];
    parcel.notes = vec!["Second thank-you card for the hundredth order.".into()];
    parcel.contents.push(Content {
        sku: "TEA-HS".into(),
        quantity: 1,
        batch: Some("2611".into()),
        line: None,
        order: 0,
    });
    book
}

/// Two orders of one customer in one parcel.
pub fn shared() -> (Book, ParcelId, [OrderKey; 2]) {
    let mut book = Book::new();
    let part =
        |contents, grams| Parcel { contents, container: "Medium", inside: None, service: "Road", zone: "South", grams };
    let wishing = Person { wish: Some(Hidden::new("Ring twice.")), ..person("Ida Fjällräv") };
    let lead = book.order("S-417", wishing, &[part(&[("MUG-TG", 2, Some("2611")), ("TEA-HS", 1, Some("2609"))], 910)]);
    let asking = Person { wish: Some(Hidden::new("No plastic, please.")), ..person("Ida Fjällräv") };
    let other = book.order("S-421", asking, &[part(&[("POT-PB", 1, None), ("MUG-TG", 1, Some("2611"))], 1_530)]);
    for (key, prices) in [(&lead, [2_450, 980]), (&other, [5_900, 2_300])] {
        let lines = &mut book.state.orders.get_mut(key).unwrap().order.lines;
        for (line, price) in lines.iter_mut().zip(prices) {
            line.unit_price = Some(Money::new(price, Currency::EUR));
        }
        let number = key.number.clone();
        book.send_to(&number, "DE", ["Möwenweg 4, Hinterhaus", "10115", "Berlin", ""]);
    }
    let parcel = book.join(&lead, &other, 480);
    let mug = [90, 90, 95];
    book.lay(
        parcel.0,
        [250, 200, 150],
        &[
            (0, [160, 0, 0], mug),
            (0, [160, 90, 0], mug),
            (3, [0, 120, 0], [160, 40, 60]),
            (2, [0, 0, 0], [160, 120, 140]),
            (1, [0, 120, 60], [90, 80, 90]),
        ],
    );
    (book, parcel, [lead, other])
}

/// One more order whose parcel has a thing in the middle of others, which none of its sides shows.
pub fn riddle(book: &mut Book) {
    let mixed = [Parcel {
        contents: &[("MUG-TG", 4, Some("2611")), ("POT-PB", 1, None), ("TEA-HS", 2, Some("2609"))],
        container: "Medium",
        inside: None,
        service: "Road",
        zone: "South",
        grams: 2_480,
    }];
    book.order("S-424", person("Ainhoa Etxeberria"), &mixed);
    let around = [
        ([0, 0, 0], [150, 50, 110]),
        ([150, 0, 0], [50, 150, 110]),
        ([50, 150, 0], [150, 50, 110]),
        ([0, 50, 0], [50, 150, 110]),
    ];
    let around = around.map(|(at, size)| (0, at, size));
    let inside =
        [(1, [50, 50, 0], [100, 100, 110]), (2, [0, 0, 110], [160, 70, 60]), (2, [20, 110, 110], [160, 70, 60])];
    book.lay(409, [200, 200, 180], &[&around[..], &inside].concat());
}
