//! A small workshop to plan in, built in code (the demo's people and places, invented).
#![allow(dead_code)] // Each test file uses its part.

use dawnslip::model::*;
use jiff::SignedDuration;
use jiff::civil::date;
use std::collections::{BTreeMap, BTreeSet};

pub fn eur(minor: i64) -> Money {
    Money::new(minor, Currency::EUR)
}
pub fn mm(l: i64, w: i64, h: i64) -> Dims {
    Dims::from_mm(l, w, h)
}
pub fn g(grams: i64) -> Weight {
    Weight::from_g(grams)
}

/// Tern & Thistle without goods, containers, services or rules.
pub fn empty() -> Workshop {
    let loopback = "127.0.0.1:0".parse().expect("an address");
    Workshop {
        digest: ConfigDigest::new("test"),
        name: "Tern & Thistle".into(),
        language: "en".into(),
        locale: Locale::default(),
        zone: jiff::tz::TimeZone::UTC,
        currency: Currency::EUR,
        country: "QS".parse().expect("a code for users"),
        sender: vec![],
        day: Day {
            pick_list_at: jiff::civil::time(7, 0, 0, 0),
            closed_weekdays: vec![],
            closed_dates: BTreeSet::new(),
            parcels_a_day: 40,
            quiet: None,
            burst: BurstSwitch { orders: 10, within: SignedDuration::from_mins(5) },
        },
        retention_days: 90,
        backups: Backups { off: false, at: jiff::civil::time(3, 30, 0, 0), keep_days: 14, folder: "backups".into() },
        labour: None,
        cn23_above: None,
        joins_orders: false,
        heavy_above: Weight::from_g(23_000),
        listeners: Listeners { intake: loopback, desk: loopback, desk_token: None, desk_hosts: vec![] },
        limits: Limits {
            body_bytes: 1024,
            header_time: SignedDuration::from_secs(1),
            body_time: SignedDuration::from_secs(1),
            connections: 1,
            per_minute: 1,
        },
        sources: BTreeMap::new(),
        products: vec![],
        containers: vec![],
        supplies: vec![],
        every_parcel: vec![],
        services: vec![],
        contracts: Contracts::default(),
        rules: vec![],
        printers: vec![],
        routes: BTreeMap::new(),
        cards: BTreeMap::new(),
        default_card: None,
        draw_packing_from: 3,
        words: Words::default(),
        fonts: None,
        logo: None,
        notes: Vec::new(),
        files: BTreeMap::new(),
    }
}

pub fn product(sku: &str, name: &str, dims: Dims, weight: Weight) -> Product {
    Product {
        sku: sku.into(),
        name: name.into(),
        dims: Some(dims),
        weight: Some(weight),
        shelf: "A1".into(),
        turn: Turn::Any,
        fragile: false,
        stack: None,
        by_wall: false,
        cushion: Length::ZERO,
        softness_percent: 100,
        made_of: vec![],
        made_to_order: false,
        not_shipped: false,
        preparation: None,
        how_to_lay: None,
        supplies: vec![],
        care: None,
        ingredients: None,
        allergens: vec![],
        danger: None,
        customs: None,
        batches: vec![],
    }
}

pub fn carton(name: &str, inner: Dims, wall_mm: i64, tare: Weight, cost: i64) -> Container {
    let [l, w, h] = inner.sides().map(|side| side + Length::from_mm(wall_mm) * 2);
    Container {
        name: name.into(),
        kind: ContainerKind::Box { inner, outer: Dims { length: l, width: w, height: h } },
        tare,
        cost: eur(cost),
        cushion: Length::ZERO,
        load_max: None,
        stock: None,
        carriers: false,
        takes: vec![],
        goods: true,
        holds: vec![],
        supplies: vec![],
        folding: None,
        fill: None,
    }
}

pub fn service(name: &str, price: Price) -> Service {
    Service { price, ..Service::plain(name) }
}

pub fn steps(zone: &str, rows: &[(i64, i64)]) -> Vec<WeightStep> {
    let step = |&(up_to, price): &(i64, i64)| WeightStep {
        zone: zone.into(),
        up_to: g(up_to),
        price: eur(price),
        for_each: None,
    };
    rows.iter().map(step).collect()
}

pub fn order(lines: &[(&str, u32)]) -> Order {
    Order {
        key: OrderKey::new("shop", "S-451"),
        revision: None,
        placed: None,
        lines: lines
            .iter()
            .map(|(sku, quantity)| Line {
                sku: (*sku).into(),
                name: (*sku).to_owned(),
                quantity: *quantity,
                unit_price: None,
            })
            .collect(),
        destination: Destination {
            country: Some("QS".parse().expect("a code for users")),
            postcode_head: "MD1".into(),
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
        flaws: vec![],
        content_digest: String::new(),
    }
}

pub fn pins() -> Pins {
    Pins {
        order_version: 1,
        revision: None,
        config: ConfigDigest::new("test"),
        stock: 0,
        hand_over: date(2026, 11, 25),
        too_late: Default::default(),
        joined: Vec::new(),
    }
}

pub fn rule(name: &str, when: &str, then: Vec<Action>) -> Rule {
    Rule { name: name.into(), when: when.into(), then, place: "rules.toml:1".into() }
}

/// The demo: mugs, teapots and tea; three boxes; Letter, Road and a Skipper mailer.
pub fn demo() -> Workshop {
    let mut workshop = empty();
    workshop.products = vec![
        product("MUG-TG", "Mug, tide grey", mm(100, 80, 95), g(380)),
        product("POT-1", "Teapot", mm(190, 120, 110), g(760)),
        product("TEA-HS", "Heather smoke, 100 g", mm(120, 80, 60), g(120)),
    ];
    workshop.products[1].turn = Turn::ThisSideUp;
    workshop.supplies = vec![Supply {
        name: "paper tape".into(),
        unit: SupplyUnit::Length,
        price: eur(300),
        price_for: 50_000 * NM_PER_MM,
        stock: None,
        weight: g(100),
        weight_for: 50_000 * NM_PER_MM,
    }];
    let tape = |mm: i64| vec![SupplyUse { supply: "paper tape".into(), amount: mm * NM_PER_MM }];
    workshop.containers = vec![
        carton("Small", mm(180, 120, 120), 3, g(90), 38),
        carton("Medium", mm(300, 220, 130), 3, g(190), 62),
        carton("Large", mm(400, 300, 250), 4, g(420), 120),
    ];
    for container in &mut workshop.containers {
        container.supplies = tape(800);
    }
    let mut skipper = carton("Skipper", mm(1, 1, 1), 0, g(40), 0);
    skipper.kind = ContainerKind::PaddedMailer {
        flat: [Length::from_mm(480), Length::from_mm(390)],
        outer: [Length::from_mm(500), Length::from_mm(400)],
        allowance: [Length::from_mm(20), Length::from_mm(20)],
        thickness_max: Length::from_mm(150),
    };
    skipper.carriers = true;
    skipper.goods = false;
    skipper.takes = vec!["Small".into(), "Medium".into()];
    workshop.containers.push(skipper);
    let zones = vec![
        ZoneRule {
            zone: "North".into(),
            countries: vec!["QS".parse().expect("code")],
            postcodes: vec![Postcodes::Begin("NO".into())],
        },
        ZoneRule {
            zone: "Middle".into(),
            countries: vec!["QS".parse().expect("code")],
            postcodes: vec![Postcodes::Begin("MD".into())],
        },
        ZoneRule { zone: "South".into(), countries: vec!["QS".parse().expect("code")], postcodes: vec![] },
    ];
    let mut letter = service("Letter", Price::ByWeight(steps("Middle", &[(500, 350), (1000, 460)])));
    letter.outer_max = Some(mm(353, 250, 150));
    letter.zones = zones.clone();
    let mut road =
        service("Road", Price::ByWeight(steps("Middle", &[(1000, 520), (1700, 590), (3000, 640), (10_000, 900)])));
    road.zones = zones.clone();
    road.asked_as = vec!["Standard parcel".into()];
    let mut fixed = service("Skipper", Price::Fixed(BTreeMap::from([("Middle".to_owned(), eur(730))])));
    fixed.zones = zones;
    fixed.containers = vec!["Skipper".into()];
    let mut collect = service("collect at the quay", Price::Nothing);
    collect.collect = true;
    collect.only_when_asked = true;
    collect.asked_as = vec!["Pick-up".into()];
    workshop.services = vec![letter, road, fixed, collect];
    workshop
}

/// So many ounces.
pub fn ounces(text: &str) -> Weight {
    format!("{text} oz").parse().expect("a weight")
}

/// Steps by ounces, one zone.
pub fn by_ounces(rows: &[(&str, i64)]) -> Price {
    let step = |&(up_to, price): &(&str, i64)| WeightStep {
        zone: String::new(),
        up_to: ounces(up_to),
        price: eur(price),
        for_each: None,
    };
    Price::ByWeight(rows.iter().map(step).collect())
}

/// Tiers of tenths of a cubic foot.
pub fn by_tenths(prices: &[i64]) -> Price {
    let step = |(index, &price): (usize, &i64)| {
        let up_to = format!("0.{} ft3", index + 1).parse().expect("a volume");
        VolumeStep { zone: String::new(), up_to, soft_up_to: None, price: eur(price) }
    };
    Price::ByVolume(prices.iter().enumerate().map(step).collect())
}
