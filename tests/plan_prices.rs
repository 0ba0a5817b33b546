//! What makes a price beside its table: size as weight, mailers' tiers, prices in proportion, discounts,
//! months, remote places, a minimum, tax, rounding, prices from a day on. Published cases come from
//! `standards/postal_measures.json`, where each names its manual.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::tariff::{Parcel, Quoted, Refusal, least, price};
use jiff::civil::{Date, date};
use plan_bench::*;
use serde_json::Value;
use std::collections::BTreeMap;

const DAY: Date = date(2026, 11, 25);

fn on(day: Date, service: &Service, soft: bool, outer: Dims, weight: Weight) -> Result<Quoted<'_>, Refusal> {
    let own = ContainerName::new("Small");
    let parcel = Parcel { outermost: &own, carriers: false, soft, outer, weight };
    price(service, &parcel, &order(&[]).destination, day, Currency::EUR)
}

fn cost(service: &Service, outer: Dims, weight: Weight) -> Option<i64> {
    on(DAY, service, false, outer, weight).ok().map(|quoted| quoted.total().minor)
}

fn measures() -> Value {
    serde_json::from_str(include_str!("standards/postal_measures.json")).expect("postal_measures.json")
}

fn inches(sides: &Value) -> Dims {
    let [a, b, c] = [0, 1, 2].map(|k| sides[k].as_str().expect("a side"));
    format!("{a} x {b} x {c} in").parse().expect("sides")
}

fn pounds(pounds: i64) -> Weight {
    format!("{pounds} lb").parse().expect("a weight")
}

/// A table whose price tells the step in pounds.
fn by_the_pound() -> Service {
    let step = |n: i64| WeightStep { zone: String::new(), up_to: pounds(n), price: eur(n), for_each: None };
    service("pounds", Price::ByWeight((1..=70).map(step).collect()))
}

/// DMM 123.1.4 and 423.1.3 (archives 2007, 2008), DMM Advisory 2006-10-30; the rest named in the file.
/// Only boxes: what is not rectangular is measured by hand.
#[test]
fn large_light_parcels_weigh_what_the_manual_says() {
    let mut looked_at = 0;
    for case in measures()["dimensional_weight"]["cases"].as_array().expect("cases") {
        if case["rectangular"] != true {
            continue;
        }
        let mut road = by_the_pound();
        road.dimensional = Some(Dimensional {
            size: format!("{} in3", case["divisor"]).parse().expect("a volume"),
            weighs: pounds(1),
            above: "1728 in3".parse().ok(),
            side_step: Some(("1 in".parse().expect("a length"), Round::Near)),
            weight_step: Some(pounds(1)),
        });
        let quoted = on(DAY, &road, false, inches(&case["inches"]), pounds(2)).expect("a price");
        let counts = case["dimensional_weight_lb"].as_i64();
        assert_eq!(quoted.counts_as, counts.map(pounds), "{case}");
        assert_eq!(quoted.total().minor, counts.unwrap_or(2), "{case}");
        // What weighs more than its size counts as what it weighs.
        let heavy = on(DAY, &road, false, inches(&case["inches"]), pounds(40)).expect("a price");
        assert_eq!((heavy.counts_as, heavy.total().minor), (None, 40), "{case}");
        looked_at += 1;
    }
    assert_eq!(looked_at, 6);
}

/// DMM 423.1.1 and 223.1.1a: a part of a pound is charged as a whole one.
#[test]
fn parts_of_a_pound_are_charged_as_a_whole_one() {
    for case in measures()["price_weight"].as_array().expect("cases") {
        let weight = format!("{} lb", case["pounds"].as_str().expect("pounds")).parse().expect("a weight");
        assert_eq!(cost(&by_the_pound(), mm(200, 100, 50), weight), case["charged"].as_i64(), "{case}");
    }
}

/// Length and width of at most 21, 27, 31, 34, 36 in for the five tiers: from memory, as the file says (DMM 223.1.3.4).
#[test]
fn mailers_have_tiers_of_their_own() {
    let tiers = measures()["cubic"]["soft_pack_from_memory"]["tiers_max_sum_in"].clone();
    let step = |(index, tier): (usize, &Value)| VolumeStep {
        zone: String::new(),
        up_to: format!("{} ft3", tier[0]).parse().expect("a volume"),
        soft_up_to: format!("{} in", tier[1]).parse().ok(),
        price: eur(index as i64 + 1),
    };
    let mut compact =
        service("tiers", Price::ByVolume(tiers.as_array().expect("tiers").iter().enumerate().map(step).collect()));
    compact.side_step = "0.25 in".parse().ok();
    for (sides, soft, tier) in [
        ("12.5 x 9.5 x 2 in", true, Some(2)),
        ("12.5 x 8.5 x 2 in", true, Some(1)),
        // 12.24 counts as 12, 9.24 as 9: 21 in.
        ("12.24 x 9.24 x 2 in", true, Some(1)),
        ("20 x 16 x 2 in", true, Some(5)),
        ("20 x 16.25 x 2 in", true, None),
        ("12.5 x 8.5 x 2 in", false, Some(2)),
    ] {
        let found = on(DAY, &compact, soft, sides.parse().expect("sides"), g(500)).map(|quoted| quoted.total().minor);
        assert_eq!(found.as_ref().ok().copied(), tier, "{sides} {soft}");
        if let Err(refusal) = found {
            assert!(refusal.say().starts_with("length and width of a mailer may be 914.4 mm"), "{}", refusal.say());
        }
    }
}

/// The three sides together 900 mm, the longest 600 mm, 2 kg, as postal operators publish it. Rolls are no boxes; the
/// tolerance of 2 mm is the counter's, not ours.
#[test]
fn a_small_packet_ends_where_the_postal_union_says() {
    let rules = measures()["upu_small_packet"].clone();
    let limit = |key: &str| Length::from_mm(rules["limits_mm"][key].as_i64().expect("a limit"));
    let mut packet = service("packet", Price::Nothing);
    packet.sum_max = Some(limit("l_w_h_sum"));
    packet.longest_max = Some(limit("longest"));
    packet.weight_max = Some(g(rules["max_kg"].as_i64().expect("kilograms") * 1000));
    let mut looked_at = 0;
    for case in rules["cases"].as_array().expect("cases").iter().filter(|case| case["mm"].is_array()) {
        let [a, b, c] = [0, 1, 2].map(|k| case["mm"][k].as_i64().expect("a side"));
        let goes = case["ok"].as_bool().or(case["ok_strict"].as_bool()).expect("a verdict");
        assert_eq!(cost(&packet, mm(a, b, c), g(case["g"].as_i64().expect("grams"))).is_some(), goes, "{case}");
        looked_at += 1;
    }
    assert_eq!(looked_at, 5);
}

#[test]
fn a_price_in_proportion_is_exact_and_rounds_up_once() {
    let step = WeightStep {
        zone: String::new(),
        up_to: g(2000),
        price: eur(310),
        for_each: Some((eur(905), Weight::from_g(1000))),
    };
    let world = service("World", Price::ByWeight(vec![step]));
    for (grams, expected) in [(0, 310), (1, 311), (100, 310 + 91), (1000, 310 + 905), (2000, 310 + 1810)] {
        assert_eq!(cost(&world, mm(100, 100, 50), g(grams)), Some(expected), "{grams} g");
    }
    assert_eq!(cost(&world, mm(100, 100, 50), g(2001)), None);
    // No step to speak of: a gram less saves a cent, not a step.
    assert_eq!(on(DAY, &world, false, mm(100, 100, 50), g(900)).expect("a price").below, None);
}

#[test]
fn discounts_months_and_places_change_a_price() {
    let mut road = service("Road", Price::ByWeight(steps("", &[(5000, 1000)])));
    let fuel = BTreeMap::from([((2026, 10), 350), ((2026, 12), 425)]);
    let mut remote = Surcharge::plain("remote", SurchargeAmount::Fixed(eur(200)));
    remote.postcodes = vec![Postcodes::Between("1000".into(), "1999".into()), Postcodes::Begin("MD9".into())];
    let mut bulky = Surcharge::plain("bulky", SurchargeAmount::Fixed(eur(150)));
    bulky.above_volume = "20 l".parse().ok();
    let mut long = Surcharge::plain("girth", SurchargeAmount::Fixed(eur(70)));
    long.above_length_and_girth = Some(Length::from_mm(1000));
    road.surcharges = vec![
        Surcharge::plain("fuel", SurchargeAmount::ByMonth(fuel)),
        Surcharge::plain("contract", SurchargeAmount::PerTenThousand(-1000)),
        remote,
        bulky,
        long,
    ];
    let small = mm(200, 100, 100);
    for (day, expected) in [
        (date(2026, 9, 30), 1000 - 100),
        (date(2026, 10, 1), 1000 - 100 + 35),
        // November is not named: what October had counts.
        (date(2026, 11, 30), 1000 - 100 + 35),
        (date(2026, 12, 1), 1000 - 100 + 43),
        (date(2027, 7, 1), 1000 - 100 + 43),
    ] {
        let quoted = on(day, &road, false, small, g(100)).expect("a price");
        assert_eq!(quoted.total().minor, expected, "{day}");
        let nothing_less = least(&road, &order(&[]).destination, day).expect("it goes there");
        assert!(nothing_less <= expected && nothing_less > expected - 60, "{day}: {nothing_less}");
    }
    assert_eq!(cost(&road, mm(300, 250, 266), g(100)), Some(935 + 70), "19.95 l, length and girth 1 332 mm");
    assert_eq!(cost(&road, mm(300, 250, 267), g(100)), Some(935 + 70 + 150), "20.025 l");
    let own = ContainerName::new("Small");
    let parcel = Parcel { outermost: &own, carriers: false, soft: false, outer: small, weight: g(100) };
    for (postcode, is_remote) in [
        ("1000", true),
        ("19991", true),
        ("2000", false),
        ("0999", false),
        ("100", false),
        ("MD9A", true),
        ("MD8", false),
        ("", false),
    ] {
        let mut to = order(&[]).destination;
        to.postcode_head = postcode.into();
        let found = price(&road, &parcel, &to, DAY, Currency::EUR).expect("a price").total().minor;
        assert_eq!(found, 935 + if is_remote { 200 } else { 0 }, "{postcode}");
    }
}

#[test]
fn minimum_tax_and_rounding_come_last_and_in_this_order() {
    let mut road = service("Road", Price::ByWeight(steps("", &[(1000, 333), (5000, 700)])));
    road.surcharges = vec![Surcharge::plain("contract", SurchargeAmount::PerTenThousand(-2000))];
    road.minimum = Some(eur(400));
    let small = mm(200, 100, 100);
    assert_eq!(cost(&road, small, g(500)), Some(400));
    assert_eq!(cost(&road, small, g(2000)), Some(560));
    road.vat = Some(810);
    // 4.00 and 8.1 % of it, 0.324: to the nearest cent.
    assert_eq!(cost(&road, small, g(500)), Some(432));
    road.round = Some((eur(5), Round::Near));
    assert_eq!(cost(&road, small, g(500)), Some(430));
    road.round = Some((eur(5), Round::Up));
    let quoted = on(DAY, &road, false, small, g(500)).expect("a price");
    let parts: Vec<(&str, i64)> =
        quoted.surcharges.iter().map(|(name, amount)| (name.as_str(), amount.minor)).collect();
    assert_eq!(parts, [("contract", -66), ("up to the minimum", 133), ("VAT 8.1 %", 32), ("rounding", 3)]);
    assert_eq!(quoted.total().minor, 435);
    assert!(least(&road, &order(&[]).destination, DAY).expect("it goes there") <= 435);
}

#[test]
fn new_prices_count_from_their_day_on() {
    let mut road = service("Road", Price::ByWeight(steps("", &[(1000, 500)])));
    road.later = vec![
        (date(2027, 1, 1), Price::ByWeight(steps("", &[(1000, 530)]))),
        (date(2027, 7, 1), Price::ByWeight(steps("", &[(1000, 560)]))),
    ];
    for (day, expected) in [
        (date(2026, 12, 31), 500),
        (date(2027, 1, 1), 530),
        (date(2027, 6, 30), 530),
        (date(2027, 7, 1), 560),
        (date(2030, 1, 1), 560),
    ] {
        let quoted = on(day, &road, false, mm(200, 100, 100), g(500)).expect("a price");
        assert_eq!(quoted.total().minor, expected, "{day}");
        assert_eq!(least(&road, &order(&[]).destination, day), Some(expected), "{day}");
    }
}
