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

/// As the file writes a length, in inches.
fn inch(number: &Value) -> Length {
    format!("{} in", number.as_str().map_or_else(|| number.to_string(), str::to_owned)).parse().expect("a length")
}

fn boxed(sides: &Value) -> Dims {
    let [length, width, height] = [0, 1, 2].map(|k| inch(&sides[k]));
    Dims { length, width, height }
}

/// QSG 201e and Postal Bulletin 22104, as the file names them; the limit of 108 in from QSG 201e. A tube is no box.
#[test]
fn length_and_girth_are_measured_and_limited_as_published() {
    let rules = measures()["length_plus_girth"].clone();
    let most = inch(&rules["limits_in"]["general"]);
    let mut road = service("Road", Price::Nothing);
    road.length_and_girth_max = Some(most);
    let (mut taken, mut refused) = (0, 0);
    for case in rules["cases"].as_array().expect("cases").iter().filter(|case| case["dims_in"].is_array()) {
        let outer = boxed(&case["dims_in"]);
        let is = inch(&case["length_plus_girth"]);
        assert_eq!(outer.length_and_girth(), is, "{case}");
        match on(DAY, &road, false, outer, g(500)) {
            Ok(_) => taken += usize::from(is <= most),
            Err(refusal) => refused += usize::from(refusal == Refusal::Girth(most, is) && is > most),
        }
    }
    assert_eq!((taken, refused), (5, 1), "36 x 18 x 18 in are 108 in and go, 36.01 in long they do not");
}

/// DMM P013 (archive 2003-08-10): the file's own words, in ten-thousandths, to whole hundredths.
#[test]
fn rounding_off_and_up_are_the_manuals() {
    let rules = measures()["rounding_words"].clone();
    let number = |text: &str| -> i128 {
        let (whole, part) = text.split_once('.').expect("a decimal");
        format!("{whole}{part:0<4}").parse().expect("digits")
    };
    let mut looked_at = 0;
    for (key, round) in [("round_off", Round::Near), ("round_up", Round::Up)] {
        let words = rules[key].as_str().expect("words");
        for case in words.split_once(": ").expect("examples").1.split(", ") {
            let (from, to) = case.split_once("->").expect("an arrow");
            for from in from.split(" and ") {
                assert_eq!(round.to_steps(number(from.trim()), 100) * 100, number(to.trim()), "{key}: {case}");
                looked_at += 1;
            }
        }
    }
    assert_eq!(looked_at, 4);
    assert_eq!(Round::Near.to_steps(33_750, 100), 338, "5 or greater");
}

/// QSG 280 (2021-08-29): "less than 16 ounces". 453.59 g are 15.999916 oz: a last step of 15.999 oz refuses them, one
/// written as under 16 oz, a nanogram less, does not.
#[test]
fn what_weighs_less_than_sixteen_ounces_goes_in_a_class_that_ends_under_them() {
    let step = |up_to: Weight| WeightStep { zone: String::new(), up_to, price: eur(533), for_each: None };
    let under = Weight { ng: pounds(1).ng - 1 };
    let light = |up_to: Weight| service("light", Price::ByWeight(vec![step(up_to)]));
    let mut looked_at = 0;
    for case in measures()["light_parcel"]["cases"].as_array().expect("cases") {
        let weight = match case["grams"].as_f64() {
            Some(_) => format!("{} g", case["grams"]),
            None => format!("{} oz", case["oz"].as_str().expect("ounces")),
        };
        let goes = cost(&light(under), mm(200, 100, 50), weight.parse().expect("a weight")).is_some();
        assert_eq!(goes, case["under_16"].as_bool().expect("a verdict"), "{weight}");
        looked_at += 1;
    }
    assert_eq!(looked_at, 4);
    let just_below = "453.59 g".parse().expect("a weight");
    assert_eq!(cost(&light(ounces("15.999")), mm(200, 100, 50), just_below), None);
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
            assert!(
                refusal.say(Units::Metric).starts_with("length and width of a mailer may be 914.4 mm"),
                "{}",
                refusal.say(Units::Metric)
            );
        }
    }
}

/// The three sides together 900 mm, the longest 600 mm, 2 kg, as postal operators publish it. Rolls are no boxes:
/// nothing here is round, so their two cases stay out.
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
        let weight = g(case["g"].as_i64().expect("grams"));
        assert_eq!(cost(&packet, mm(a, b, c), weight).is_some(), goes, "{case}");
        // Who wants the counter's tolerance writes limits that have it.
        let mut kind = packet.clone();
        let tolerance = limit("tolerance");
        kind.longest_max = Some(limit("longest") + tolerance);
        kind.sum_max = Some(limit("l_w_h_sum") + tolerance);
        if let Some(goes) = case["ok_with_tolerance"].as_bool() {
            assert_eq!(cost(&kind, mm(a, b, c), weight).is_some(), goes, "{case}");
            looked_at += 1;
        }
        looked_at += 1;
    }
    assert_eq!(looked_at, 6);
    // Its largest face: anything as thin as paper will do.
    let [short, long] = [0, 1].map(|k| Length::from_mm(rules["limits_mm"]["min_face"][k].as_i64().expect("a side")));
    packet.outer_min = Some(Dims { length: long, width: short, height: Length { nm: 1 } });
    for (outer, goes) in
        [(mm(140, 90, 1), true), (mm(5, 140, 90), true), (mm(139, 90, 20), false), (mm(140, 89, 89), false)]
    {
        assert_eq!(cost(&packet, outer, g(100)).is_some(), goes, "{outer}");
    }
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
        let nothing_less = least(&road, &order(&[]).destination, day, Weight::ZERO).expect("it goes there");
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
    assert!(least(&road, &order(&[]).destination, DAY, Weight::ZERO).expect("it goes there") <= 435);
}

#[test]
fn new_prices_count_from_their_day_on() {
    let mut road = service("Road", Price::ByWeight(steps("", &[(1000, 500)])));
    road.later = vec![
        (date(2027, 1, 1), service("Road", Price::ByWeight(steps("", &[(1000, 530)])))),
        (date(2027, 7, 1), service("Road", Price::ByWeight(steps("", &[(1000, 560)])))),
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
        assert_eq!(least(&road, &order(&[]).destination, day, Weight::ZERO), Some(expected), "{day}");
    }
}

/// 40 x 30 x 20 cm are 24 000 cm3, 4.8 kg at 5000 cm3 a kilogram: the third step.
#[test]
fn limits_minimum_tax_and_size_as_weight_change_with_the_prices() {
    let mut road = service("Road", Price::ByWeight(steps("", &[(1000, 500), (2000, 600), (5000, 900)])));
    road.weight_max = Some(g(2000));
    let mut next = road.clone();
    next.weight_max = Some(g(1000));
    next.minimum = Some(eur(550));
    next.vat = Some(2000);
    let size = "5000 cm3".parse().expect("a volume");
    next.dimensional = Some(Dimensional { size, weighs: g(1000), above: None, side_step: None, weight_step: None });
    let (before, after) = (date(2026, 12, 31), date(2027, 1, 1));
    road.later = vec![(after, next)];
    let small = mm(200, 100, 100);
    let asked = |day, outer, grams| on(day, &road, false, outer, g(grams)).map(|quoted| quoted.total().minor);
    assert_eq!((asked(before, small, 900), asked(after, small, 900)), (Ok(500), Ok(660)));
    assert_eq!(asked(before, small, 1500), Ok(600));
    assert_eq!(asked(after, small, 1500), Err(Refusal::Weight(g(1000), g(1500))));
    let large = mm(400, 300, 200);
    assert_eq!((asked(before, large, 900), asked(after, large, 900)), (Ok(500), Ok(1080)));
    let to = order(&[]).destination;
    assert_eq!(
        (least(&road, &to, before, Weight::ZERO), least(&road, &to, after, Weight::ZERO)),
        (Some(500), Some(660))
    );
}

/// Weight steps and all amounts of a service, in another currency.
fn foreign(of: &str, rows: &[(i64, i64)], rate: &str) -> (Service, impl Fn(i64) -> Money + use<>) {
    let currency: Currency = of.parse().expect("a currency");
    let step = |&(grams, minor): &(i64, i64)| WeightStep {
        zone: String::new(),
        up_to: g(grams),
        price: Money::new(minor, currency),
        for_each: None,
    };
    let price = Price::ByWeight(rows.iter().map(step).collect());
    let rate = Some(Rate::read(currency, rate).expect("a rate"));
    (Service { rate, ..service("Abroad", price) }, move |minor| Money::new(minor, currency))
}

/// The figures of `minimum_tax_and_rounding_come_last_and_in_this_order`, in pounds: 4.35 in all. At 1.17 the sums
/// 3.33, 2.67, 4.00, 4.32 and 4.35 are 3.8961, 3.1239, 4.68, 5.0544 and 5.0895.
#[test]
fn a_foreign_price_list_counts_in_its_own_currency_and_is_changed_once() {
    let (mut abroad, gbp) = foreign("GBP", &[(1000, 333), (5000, 700)], "1.17 EUR, 20 November 2026");
    abroad.surcharges = vec![Surcharge::plain("contract", SurchargeAmount::PerTenThousand(-2000))];
    abroad.minimum = Some(gbp(400));
    abroad.vat = Some(810);
    abroad.round = Some((gbp(5), Round::Up));
    let small = mm(200, 100, 100);
    let quoted = on(DAY, &abroad, false, small, g(500)).expect("a price");
    assert_eq!((quoted.total(), quoted.postage), (eur(509), eur(390)));
    let parts: Vec<(&str, Money)> = quoted.surcharges.iter().map(|(name, amount)| (name.as_str(), *amount)).collect();
    let expected = [("contract", -77), ("up to the minimum", 155), ("VAT 8.1 %", 38), ("rounding", 3)];
    assert_eq!(parts, expected.map(|(name, minor)| (name, eur(minor))));
    let (amount, rate) = quoted.foreign.expect("a foreign price list");
    assert_eq!((amount, rate.to_string().as_str()), (gbp(435), "1.17 EUR, 20 November 2026"));
    // 7.00 less 20 %, 5.60 with tax 6.0536 to the penny 6.05: 7.0785.
    assert_eq!(cost(&abroad, small, g(2000)), Some(708));
    let step = on(DAY, &abroad, false, small, g(2000)).expect("a price").below;
    assert_eq!(step, Some((g(1000), eur(390))));
}

/// Yen have no minor unit (ISO 4217): 851 and 10 % of it, 85.1, are 936, to the next ten 940. At 0.0061 that is 5.734.
#[test]
fn currencies_without_a_minor_unit_are_changed_both_ways() {
    let (mut yen, jpy) = foreign("JPY", &[(1000, 851)], "0.0061 EUR");
    yen.vat = Some(1000);
    yen.round = Some((jpy(10), Round::Near));
    let small = mm(200, 100, 100);
    assert_eq!(cost(&yen, small, g(500)), Some(574));
    let (euros, _) = foreign("EUR", &[(1000, 435)], "163.934 JPY");
    let own = ContainerName::new("Small");
    let parcel = Parcel { outermost: &own, carriers: false, soft: false, outer: small, weight: g(500) };
    let to = order(&[]).destination;
    let at_home = price(&euros, &parcel, &to, DAY, jpy(0).currency).expect("a price");
    // 4.35 x 163.934 = 713.1129.
    assert_eq!(at_home.total(), jpy(714));
    let free = Service { price: Price::Nothing, ..yen };
    assert_eq!(on(DAY, &free, false, small, g(500)).expect("a price").total(), eur(0));
}

#[test]
fn nothing_costs_less_than_the_least_in_any_currency() {
    for (of, rate) in [("GBP", "1.17 EUR"), ("JPY", "0.0061 EUR"), ("KWD", "2.999999999 EUR")] {
        let (mut abroad, money) = foreign(of, &[(1000, 333), (3000, 555), (5000, 701)], rate);
        abroad.surcharges = vec![Surcharge::plain("contract", SurchargeAmount::PerTenThousand(-1999))];
        abroad.vat = Some(1900);
        abroad.round = Some((money(5), Round::Near));
        let nothing_less = least(&abroad, &order(&[]).destination, DAY, Weight::ZERO).expect("it goes there");
        let all = [1, 999, 1001, 2999, 3001].map(|grams| cost(&abroad, mm(200, 100, 100), g(grams)).expect("a price"));
        let cheapest = all.into_iter().min().expect("some");
        // Near enough to be of use: at most two minor units and one step of rounding below.
        let slack = 2 + abroad.rate.as_ref().map_or(0, |rate| rate.at_home(money(5)).minor);
        assert!((cheapest - slack..=cheapest).contains(&nothing_less), "{of}: {nothing_less}, {cheapest}");
    }
}

/// A bound for splits: what it says of a weight holds for all heavier parcels, too, and it refuses only
/// what the service refuses.
#[test]
fn the_least_for_a_weight_is_never_more_than_a_price() {
    // Dearer and cheaper in turn, as some published lists are.
    let rows = [(100, 300), (500, 290), (1_000, 610), (2_000, 550), (5_000, 1_200)];
    let mut road = service("Road", Price::ByWeight(steps("", &rows)));
    road.weight_max = Some(g(4_000));
    let to = order(&[]).destination;
    let weights: Vec<i64> =
        (1..=52).map(|step| step * 100 - 1).chain([100, 101, 500, 501, 2_000, 2_001, 4_000, 4_001]).collect();
    let (mut carried, mut refused) = (0, 0);
    for &weight in &weights {
        let bound = least(&road, &to, DAY, g(weight));
        for &heavier in weights.iter().filter(|heavier| **heavier >= weight) {
            match on(DAY, &road, false, mm(200, 150, 100), g(heavier)) {
                Ok(quoted) => {
                    carried += 1;
                    assert!(
                        bound.is_some_and(|bound| bound <= quoted.total().minor),
                        "{weight} g, {heavier} g: {bound:?}"
                    );
                }
                Err(_) => refused += 1,
            }
        }
        assert_eq!(bound.is_none(), weight > 4_000, "{weight} g");
    }
    assert!(carried > 500 && refused > 100, "{carried} {refused}");
    assert_eq!(least(&road, &to, DAY, g(600)), Some(550), "two kilograms cost less than one");
    assert_eq!(weights_of(&road), [100, 500, 1_000, 2_000, 5_000, 4_000].map(g));
}

fn weights_of(service: &Service) -> Vec<Weight> {
    dawnslip::plan::tariff::weights(service, DAY).collect()
}
