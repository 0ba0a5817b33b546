//! A workshop that counts in inches and ounces, through the whole planner: light class,
//! standard parcels, a fixed-price mailer, and a contract with volume tiers.
//!
//! Common practice, no source. Sizes of bar and mailer are ours, from memory; so are the
//! prices that no case names (marked "ours").

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::Planner;
use dawnslip::plan::choose::Shelf;
use plan_bench::*;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

const BOXES: [(&str, [i64; 3]); 4] =
    [("5x4x2", [5, 4, 2]), ("6x5x3", [6, 5, 3]), ("9x5x3", [9, 5, 3]), ("6x6x6", [6, 6, 6])];

#[derive(Clone, Copy, PartialEq, Eq)]
enum Contract {
    Neither,
    Mailer,
    Tiers,
    Both,
}

fn inches(sides: [i64; 3]) -> Dims {
    let [l, w, h] = sides;
    format!("{l} x {w} x {h} in").parse().expect("sides")
}

fn workshop(contract: Contract) -> Workshop {
    let mut shop = empty();
    shop.containers = BOXES
        .iter()
        .map(|(name, sides)| {
            let mut one = carton(name, inches(*sides), 0, g(0), 0);
            let at_most = match *name {
                "5x4x2" => 2,
                "6x5x3" => 5,
                _ => return one,
            };
            one.holds = vec![Holds { sku: "BAR".into(), at_most, trust: false }];
            one
        })
        .collect();
    let mut envelope = carton("envelope", inches([1, 1, 1]), 0, g(0), 0);
    envelope.kind = ContainerKind::Envelope {
        flat: [Length::from_mm(250), Length::from_mm(150)],
        thickness_max: Length::from_mm(19),
    };
    let mut mailer = carton("mailer", inches([1, 1, 1]), 0, g(0), 0);
    let flat = ["12.5 in", "9.5 in"].map(|side| side.parse().expect("a side"));
    mailer.kind = ContainerKind::PaddedMailer {
        flat,
        outer: flat,
        allowance: [Length::ZERO; 2],
        thickness_max: Length::from_mm(150),
    };
    mailer.carriers = true;
    mailer.goods = false;
    mailer.takes = BOXES.iter().map(|(name, _)| (*name).into()).collect();
    shop.containers.extend([envelope, mailer]);

    let own: Vec<ContainerName> = BOXES.iter().map(|(name, _)| (*name).into()).collect();
    let mut flat = service("light, flat", by_ounces(&[("3", 140)]));
    flat.containers = vec!["envelope".into()];
    let mut light = service("light", by_ounces(&[("8", 346), ("15.999", 533)])); // The second is ours.
    light.containers.clone_from(&own);
    // All but the first are ours.
    let mut standard =
        service("standard", by_ounces(&[("8", 716), ("16", 780), ("32", 905), ("80", 1290), ("320", 2100)]));
    standard.containers.clone_from(&own);
    shop.services = vec![flat, light, standard];
    if matches!(contract, Contract::Mailer | Contract::Both) {
        let mut fixed = service("mailer", Price::Fixed(BTreeMap::from([(String::new(), eur(800))])));
        fixed.containers = vec!["mailer".into()];
        shop.services.push(fixed);
    }
    if matches!(contract, Contract::Tiers | Contract::Both) {
        let mut tiers = service("tiers", by_tenths(&[690, 732, 810, 905, 990])); // All but the second are ours.
        tiers.containers = own;
        tiers.weight_max = Some(ounces("320"));
        tiers.longest_max = "18 in".parse().ok();
        shop.services.push(tiers);
    }
    shop
}

/// Plans one thing of this size and weight; the boxes' own size fills the box exactly.
fn plan_of(contract: Contract, dims: Dims, weight: Weight) -> Plan {
    let mut shop = workshop(contract);
    shop.products = vec![product("GOODS", "Goods", dims, weight)];
    plan_in(&shop, &[("GOODS", 1)])
}

fn plan_in(shop: &Workshop, lines: &[(&str, u32)]) -> Plan {
    Planner::new(shop).decide(&order(lines), shop, &Shelf::default(), &BTreeSet::new(), &pins())
}

/// Service and price; where nothing goes, the question.
fn told(plan: &Plan) -> String {
    match (plan.parcels.as_slice(), plan.cost) {
        ([parcel], Some(cost)) => format!("{} {}", parcel.service, cost.minor),
        (parcels, _) => format!("{} parcels, {:?}", parcels.len(), plan.questions),
    }
}

#[test]
fn what_a_helper_knows_by_heart_comes_out_of_the_planner() {
    let table = [
        ("3", mm(200, 120, 10), Contract::Neither, "light, flat 140"),
        ("8", inches([5, 4, 2]), Contract::Neither, "light 346"),
        ("15.999", inches([5, 4, 2]), Contract::Neither, "light 533"),
        ("16", inches([5, 4, 2]), Contract::Neither, "standard 780"),
        ("26", inches([9, 5, 3]), Contract::Mailer, "mailer 800"),
        ("26", inches([6, 6, 6]), Contract::Mailer, "standard 905"),
        ("65", inches([6, 6, 6]), Contract::Tiers, "tiers 732"),
        ("80", inches([6, 6, 6]), Contract::Tiers, "tiers 732"),
        ("65", inches([6, 6, 6]), Contract::Mailer, "standard 1290"),
        ("80", inches([6, 6, 6]), Contract::Mailer, "standard 1290"),
    ];
    for (weight, dims, contract, expected) in table {
        let plan = plan_of(contract, dims, ounces(weight));
        assert_eq!(told(&plan), expected, "{weight} oz, {dims}");
        assert_eq!(plan.verdict, Verdict::Proved, "{weight} oz, {dims}");
    }
    let plan = plan_of(Contract::Neither, inches([5, 4, 2]), ounces("8"));
    let standard = plan.alternatives.iter().find(|other| other.what.contains("standard")).expect("an alternative");
    assert_eq!(standard.cost, Some(eur(716)));
}

#[test]
fn so_many_bars_go_in_so_large_a_box() {
    let bar = mm(88, 63, 25); // Some 3½ x 2½ x 1 in.
    for (bars, expected) in [(1, "5x4x2"), (2, "5x4x2"), (3, "6x5x3"), (5, "6x5x3"), (6, "9x5x3")] {
        let mut shop = workshop(Contract::Neither);
        shop.products = vec![product("BAR", "Bar", bar, ounces("2"))];
        // The smaller box costs less, so that the choice shows what fits.
        for (container, cost) in shop.containers.iter_mut().zip(1..) {
            container.cost = eur(cost);
        }
        let plan = plan_in(&shop, &[("BAR", bars)]);
        let first = plan.parcels.first().expect("a parcel");
        assert_eq!((plan.parcels.len(), first.container.as_str()), (1, expected), "{bars} bars");
    }
}

/// The carrier's own box with one price whatever it weighs: 11 x 8 1/2 x 5 1/2 in, ours from memory as its price is.
#[test]
fn a_medium_fixed_price_box_is_for_really_big_orders() {
    let mut shop = workshop(Contract::Neither);
    shop.products = vec![product("BAR", "Bar", mm(88, 63, 25), ounces("6"))];
    let mut medium = carton("medium", mm(1, 1, 1), 0, g(0), 0);
    medium.kind = ContainerKind::Box {
        inner: "11 x 8.5 x 5.5 in".parse().expect("sides"),
        outer: "11.25 x 8.75 x 6 in".parse().expect("sides"),
    };
    medium.carriers = true;
    shop.containers.push(medium);
    let mut fixed = service("medium, fixed price", Price::Fixed(BTreeMap::from([(String::new(), eur(1700))])));
    fixed.containers = vec!["medium".into()];
    shop.services.push(fixed);
    // Twelve weigh 72 oz: 12.90. 24 weigh 144 oz, for which any box of ours costs 21.00 and two cost 25.80.
    for (bars, expected) in
        [(2, "1 of light"), (12, "1 of standard"), (24, "1 of medium, fixed price"), (40, "1 of medium, fixed price")]
    {
        let plan = plan_in(&shop, &[("BAR", bars)]);
        assert_eq!(plan.verdict, Verdict::Proved, "{bars} bars");
        let found = format!("{} of {}", plan.parcels.len(), plan.parcels[0].service);
        assert_eq!(found, expected, "{bars} bars");
    }
    shop.services.pop();
    for bars in [24, 40] {
        assert!(plan_in(&shop, &[("BAR", bars)]).cost > Some(eur(1700)), "{bars} bars");
    }
}

/// Goods fill their boxes to the nanometre above. A nanometre more on each side goes into no box of that size.
#[test]
fn what_is_a_nanometre_larger_takes_the_next_box() {
    let more = |sides: [i64; 3]| {
        let [length, width, height] = inches(sides).sides().map(|side| Length { nm: side.nm + 1 });
        Dims { length, width, height }
    };
    let large = plan_of(Contract::Neither, more([6, 6, 6]), ounces("26"));
    assert!(large.parcels.is_empty() && !large.questions.is_empty(), "{:?}", large.parcels);
    let small = plan_of(Contract::Neither, more([5, 4, 2]), ounces("8"));
    assert_eq!(small.parcels[0].container.as_str(), "6x5x3");
}

/// A bar of 3 1/2 x 2 1/2 x 1 in, and as many as geometry alone puts into the boxes without hints.
#[test]
fn bars_in_true_inches_fill_true_boxes() {
    let bar: Dims = "3.5 x 2.5 x 1 in".parse().expect("sides");
    // 9 x 5 x 3 in: two lie side by side across 5 in, two along 9 in, three layers: twelve. 6 x 6 x 6 in: a ring of
    // four of them, 3 1/2 + 2 1/2 = 6 in, and six layers: 24.
    for (container, bars) in [("9x5x3", 12), ("6x6x6", 24)] {
        let mut shop = workshop(Contract::Neither);
        shop.products = vec![product("BAR", "Bar", bar, ounces("1"))];
        shop.containers.retain(|one| one.name.as_str() == container);
        let all = plan_in(&shop, &[("BAR", bars)]);
        assert_eq!((all.parcels.len(), all.questions.len()), (1, 0), "{bars} bars in {container}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// A wider contract is never dearer, and a heavier parcel never cheaper.
    #[test]
    fn with_both_contracts_nothing_is_dearer_than_with_either(
        which in 0..BOXES.len(), weight_g in 30_i64..2000, more_g in 0_i64..2000,
    ) {
        let dims = inches(BOXES[which].1);
        let cost = |contract, grams| plan_of(contract, dims, g(grams)).cost.map(|cost| cost.minor);
        let both = cost(Contract::Both, weight_g);
        prop_assert!(both.is_some());
        for one in [Contract::Mailer, Contract::Tiers] {
            prop_assert!(both <= cost(one, weight_g));
            prop_assert!(cost(one, weight_g) <= cost(Contract::Neither, weight_g));
        }
        prop_assert!(both <= cost(Contract::Both, weight_g + more_g));
    }

    /// A weight that was counted in sixteenths of an ounce, and the same one written in grams, get the
    /// same plan.
    #[test]
    fn ounces_and_grams_agree(sixteenths in 1_i64..512) {
        let in_oz = Weight { ng: sixteenths * 28_349_523_125 / 16 };
        let in_g: Weight = format!("{}.{:09} g", in_oz.ng / 1_000_000_000, in_oz.ng % 1_000_000_000)
            .parse()
            .expect("a weight");
        let dims = inches([6, 5, 3]);
        prop_assert_eq!(told(&plan_of(Contract::Both, dims, in_oz)), told(&plan_of(Contract::Both, dims, in_g)));
    }

    /// A lower price of any step never makes a plan dearer.
    #[test]
    fn a_lower_price_never_makes_a_plan_dearer(
        which in 0..BOXES.len(), weight_g in 30_i64..2200, step in 0_usize..5, off in 1_i64..200,
    ) {
        let mut shop = workshop(Contract::Both);
        shop.products = vec![product("GOODS", "Goods", inches(BOXES[which].1), g(weight_g))];
        let before = plan_in(&shop, &[("GOODS", 1)]).cost;
        let Price::ByWeight(steps) = &mut shop.services[2].price else { panic!("standard goes by weight") };
        steps[step].price.minor -= off;
        let after = plan_in(&shop, &[("GOODS", 1)]).cost;
        prop_assert!(after.map(|cost| cost.minor) <= before.map(|cost| cost.minor));
    }
}
