//! Prices: steps, limits, zones, surcharges, dates, at and beside their edges.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::tariff::{Parcel, Quoted, Refusal, price};
use jiff::civil::date;
use plan_bench::*;
use std::collections::BTreeMap;

fn asked(service: &Service, outer: Dims, weight: Weight) -> Result<Quoted<'_>, Refusal> {
    let own = ContainerName::new("Small");
    let parcel = Parcel { outermost: &own, carriers: false, soft: false, outer, weight };
    price(service, &parcel, &order(&[]).destination, date(2026, 11, 25), Currency::EUR)
}

fn cost(service: &Service, outer: Dims, weight: Weight) -> Option<i64> {
    asked(service, outer, weight).ok().map(|quoted| quoted.total().minor)
}

const SMALL: Dims = mm_const(200, 150, 100);
const fn mm_const(l: i64, w: i64, h: i64) -> Dims {
    Dims::from_mm(l, w, h)
}

#[test]
fn a_step_still_holds_at_its_bound_and_not_a_nanogram_beyond() {
    let letter = service("Letter", Price::ByWeight(steps("", &[(500, 350), (1000, 460)])));
    let nano = |weight: Weight, more: i64| Weight { ng: weight.ng + more };
    let table = [
        (Weight::ZERO, Some(350)),
        (g(500), Some(350)),
        (nano(g(500), 1), Some(460)),
        (g(1000), Some(460)),
        (nano(g(1000), 1), None),
    ];
    for (weight, expected) in table {
        assert_eq!(cost(&letter, SMALL, weight), expected, "{weight:?}");
    }
    let quoted = asked(&letter, SMALL, g(700)).expect("a price");
    assert_eq!(quoted.below, Some((g(500), eur(350))));
    assert_eq!((quoted.ends, quoted.above), (Some(g(1000)), None));
    let refused = asked(&letter, SMALL, g(1840)).expect_err("too heavy");
    assert_eq!(refused.say(Units::Metric), "takes up to 1 kg, this weighs 1.84 kg");
}

/// USPS Quick Service Guide 280 (2021-08-29): "less than 16 ounces"; 15.999 oz as the last
/// step from memory.
#[test]
fn a_class_that_ends_below_sixteen_ounces_refuses_sixteen() {
    let up_to = "15.999 oz".parse().expect("a weight");
    let row = WeightStep { zone: String::new(), up_to, price: eur(346), for_each: None };
    let light = service("light", Price::ByWeight(vec![row]));
    assert_eq!(cost(&light, SMALL, "15.99 oz".parse().expect("a weight")), Some(346));
    assert_eq!(cost(&light, SMALL, "15.999 oz".parse().expect("a weight")), Some(346));
    assert_eq!(cost(&light, SMALL, "16 oz".parse().expect("a weight")), None);
}

/// Length and girth: 10 x 8 x 5 in gives 36 in (USPS Quick Service Guide 201e, 2016-06-06);
/// 18 x 16 x 16 gives 82 and 18 x 17 x 17 gives 86 (Postal Bulletin 22104, 2003); limits of
/// 108 and 130 in (QSG 201e, 2021-01-24).
#[test]
fn length_and_girth_are_measured_as_published() {
    let mut road = service("Road", Price::Nothing);
    for (dims, inches) in
        [("10 x 8 x 5 in", 36), ("18 x 16 x 16 in", 82), ("18 x 17 x 17 in", 86), ("5 x 10 x 8 in", 36)]
    {
        let outer: Dims = dims.parse().expect("sides");
        road.length_and_girth_max = Some(format!("{inches} in").parse().expect("a length"));
        assert!(asked(&road, outer, g(1)).is_ok(), "{dims}");
        road.length_and_girth_max = Some(format!("{} in", inches - 1).parse().expect("a length"));
        assert!(matches!(asked(&road, outer, g(1)), Err(Refusal::Girth(..))), "{dims}");
    }
}

#[test]
fn every_limit_counts_any_way_round() {
    let outer = mm(100, 300, 200);
    let base = service("Road", Price::Nothing);
    let with = |change: &dyn Fn(&mut Service)| {
        let mut one = base.clone();
        change(&mut one);
        asked(&one, outer, g(900)).map(|quoted| quoted.total())
    };
    let length = Length::from_mm;
    assert!(with(&|s| s.longest_max = Some(length(300))).is_ok());
    assert!(matches!(with(&|s| s.longest_max = Some(length(299))), Err(Refusal::Longest(..))));
    assert!(with(&|s| s.sum_max = Some(length(600))).is_ok());
    assert!(matches!(with(&|s| s.sum_max = Some(length(599))), Err(Refusal::Sum(..))));
    assert!(with(&|s| s.outer_max = Some(mm(300, 200, 100))).is_ok());
    assert!(matches!(with(&|s| s.outer_max = Some(mm(400, 199, 100))), Err(Refusal::TooLarge(..))));
    assert!(with(&|s| s.outer_min = Some(mm(200, 100, 300))).is_ok());
    assert!(matches!(with(&|s| s.outer_min = Some(mm(101, 101, 101))), Err(Refusal::TooSmall(..))));
    assert!(with(&|s| s.weight_max = Some(g(900))).is_ok());
    assert!(matches!(with(&|s| s.weight_max = Some(g(899))), Err(Refusal::Weight(..))));
    assert!(with(&|s| s.valid = (Some(date(2026, 11, 25)), Some(date(2026, 11, 25)))).is_ok());
    assert!(matches!(with(&|s| s.valid = (Some(date(2026, 11, 26)), None)), Err(Refusal::Date(_))));
    assert!(matches!(with(&|s| s.valid = (None, Some(date(2026, 11, 24)))), Err(Refusal::Date(_))));
}

#[test]
fn volume_is_the_outer_one_in_whole_cubic_centimetres_rounded_up() {
    let rows = [(1000, 500), (2000, 600)];
    let step = |&(up_to, price): &(u64, i64)| VolumeStep {
        zone: String::new(),
        up_to: Volume::from_cm3(up_to),
        soft_up_to: None,
        price: eur(price),
    };
    let compact = service("Compact", Price::ByVolume(rows.iter().map(step).collect()));
    assert_eq!(cost(&compact, mm(100, 100, 100), g(1)), Some(500));
    assert_eq!(cost(&compact, mm(101, 100, 100), g(1)), Some(600));
    assert_eq!(cost(&compact, mm(200, 100, 100), g(1)), Some(600));
    let refused = asked(&compact, mm(201, 100, 100), g(1)).expect_err("too large");
    assert_eq!(refused.say(Units::Metric), "takes up to 2000 cm³, this is 2010 cm³");
}

#[test]
fn the_first_zone_that_matches_counts() {
    let zones = demo().services[0].zones.clone();
    let mut road = service(
        "Road",
        Price::Fixed(BTreeMap::from([("North".into(), eur(1)), ("Middle".into(), eur(2)), ("South".into(), eur(3))])),
    );
    road.zones = zones;
    let own = ContainerName::new("Small");
    let parcel = Parcel { outermost: &own, carriers: false, soft: false, outer: SMALL, weight: g(1) };
    for (country, postcode, expected) in [
        (Some("QS"), "NO17A", Some(1)),
        (Some("QS"), "MD", Some(2)),
        (Some("QS"), "XX", Some(3)),
        (Some("QS"), "", Some(3)),
        (Some("DE"), "NO1", None),
        (None, "NO1", None),
    ] {
        let mut to = order(&[]).destination;
        to.country = country.map(|code| code.parse().expect("a country"));
        to.postcode_head = postcode.into();
        let found = price(&road, &parcel, &to, date(2026, 11, 25), Currency::EUR).ok().map(|q| q.total().minor);
        assert_eq!(found, expected, "{country:?} {postcode}");
    }
}

#[test]
fn surcharges_add_up_and_percents_round_up() {
    let mut road = service("Road", Price::ByWeight(steps("", &[(5000, 333)])));
    let fuel = Surcharge::plain("fuel", SurchargeAmount::PerTenThousand(425)); // 4.25 % of 3.33 = 0.1415
    let mut long = Surcharge::plain("long", SurchargeAmount::Fixed(eur(100)));
    long.above_longest = Some(Length::from_mm(200));
    let mut season = Surcharge::plain("season", SurchargeAmount::Fixed(eur(50)));
    season.between = (Some(date(2026, 12, 1)), Some(date(2026, 12, 24)));
    let mut heavy = Surcharge::plain("heavy", SurchargeAmount::Fixed(eur(10)));
    heavy.above_weight = Some(g(1000));
    road.surcharges = vec![fuel, long, season, heavy];
    assert_eq!(cost(&road, SMALL, g(1000)), Some(333 + 15));
    assert_eq!(cost(&road, SMALL, g(1001)), Some(333 + 15 + 10));
    assert_eq!(cost(&road, mm(201, 100, 100), g(1)), Some(333 + 15 + 100));
}

#[test]
fn carriers_containers_go_only_with_services_that_name_them() {
    let workshop = demo();
    let destination = order(&[]).destination;
    let skipper = ContainerName::new("Skipper");
    let own = ContainerName::new("Medium");
    for (service, outermost, carriers, goes) in [
        ("Road", &skipper, true, false),
        ("Skipper", &skipper, true, true),
        ("Skipper", &own, false, false),
        ("Road", &own, false, true),
    ] {
        let parcel = Parcel { outermost, carriers, soft: false, outer: SMALL, weight: g(500) };
        let service = workshop.service(&service.into()).expect("a service");
        let found = price(service, &parcel, &destination, date(2026, 11, 25), Currency::EUR);
        assert_eq!(found.is_ok(), goes, "{} {outermost}", service.name);
    }
}

/// Sides rounded down to a quarter of an inch, tiers of a tenth of a cubic foot, at most 18 in
/// long: DMM 223.1.1c (archive 2024-01-21), DMM Advisory 2010-12-03, Postal Bulletin 22326
/// (2011). That the 18 in are measured before rounding is our reading, not stated there; so
/// 18.2 in is left out. The first case is the manual's example, its figures from memory; the
/// others were made for this table.
#[test]
fn volume_tiers_round_each_side_down_as_published() {
    let step = |tenths: i64| VolumeStep {
        zone: String::new(),
        up_to: format!("0.{tenths} ft3").parse().expect("a volume"),
        soft_up_to: None,
        price: eur(tenths),
    };
    let mut tiers = service("tiers", Price::ByVolume((1..=5).map(step).collect()));
    tiers.side_step = "0.25 in".parse().ok();
    tiers.longest_max = "18 in".parse().ok();
    tiers.weight_max = "20 lb".parse().ok();
    let measures: serde_json::Value =
        serde_json::from_str(include_str!("standards/postal_measures.json")).expect("postal_measures.json");
    let cubic = &measures["cubic"];
    assert!(cubic["rule"].as_str().is_some_and(|rule| rule.contains("0.50 cubic foot, 20 lb, longest side 18 in")));
    let mut looked_at = 0;
    for case in cubic["cases"].as_array().expect("cases").iter().filter(|case| case["inches"][0] != "18.2") {
        let [a, b, c] = [0, 1, 2].map(|k| case["inches"][k].as_str().expect("a side"));
        let outer = format!("{a} x {b} x {c} in").parse().expect("sides");
        let tier = case["tier"].as_f64().map(|tier| (tier * 10.0).round() as i64);
        assert_eq!(cost(&tiers, outer, g(500)), tier, "{case}");
        // Up to 20 lb it does not matter what it weighs.
        let most = "20 lb".parse::<Weight>().expect("a weight");
        assert_eq!(cost(&tiers, outer, most), tier, "{case}");
        assert_eq!(cost(&tiers, outer, Weight { ng: most.ng + 1 }), None, "{case}");
        looked_at += 1;
    }
    assert_eq!(looked_at, 10);
}

#[test]
fn an_ounces_workshop_is_refused_in_ounces_and_inches() {
    let oz = |text: &str| text.parse::<Weight>().unwrap();
    let too_heavy = Refusal::Weight(oz("16 oz"), oz("16.4 oz"));
    assert_eq!(too_heavy.say(Units::Ounces), "takes up to 16 oz, this weighs 16.4 oz");
    let too_long = Refusal::Longest("12 in".parse().unwrap(), "300 mm".parse().unwrap());
    assert_eq!(too_long.say(Units::Ounces), "the longest side may be 12 in, this is 11.81 in");
    let too_large = Refusal::TooLarge(Dims::from_mm(254, 127, 51), Dims::from_mm(254, 127, 254));
    assert_eq!(too_large.say(Units::Ounces), "takes up to 10 x 5 x 2.01 in, this is 10 x 5 x 10 in");
}
