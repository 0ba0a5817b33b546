//! The choice: cheapest, honest about it, explained, and never an error.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::choose::Overrides;
use dawnslip::plan::choose::Shelf;
use dawnslip::plan::fit::Budget;
use dawnslip::plan::{Planner, quote};
use jiff::SignedDuration;
use plan_bench::*;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

fn plan_on(workshop: &Workshop, order: &Order, shelf: &Shelf) -> Plan {
    Planner::new(workshop).with_budget(Budget::SMALL).decide(order, workshop, shelf, &BTreeSet::new(), &pins())
}

fn plan(workshop: &Workshop, order: &Order) -> Plan {
    plan_on(workshop, order, &Shelf::default())
}

fn refused<'p>(plan: &'p Plan, what: &str) -> &'p str {
    plan.alternatives.iter().find(|a| a.what == what).map_or("", |a| a.why.as_str())
}

#[test]
fn an_unknown_product_asks_once_and_by_its_name() {
    let plan = plan(&demo(), &order(&[("GLZ-9", 1), ("MUG-TG", 1), ("GLZ-9", 2)]));
    assert_eq!(plan.questions.len(), 1);
    assert_eq!(plan.questions[0].cause, Cause::UnknownProduct("GLZ-9".into()));
    assert_eq!(plan.questions[0].what, "product GLZ-9 is unknown");
    assert!(plan.parcels.is_empty());
}

#[test]
fn a_product_without_size_or_weight_asks_for_it() {
    let mut workshop = demo();
    workshop.products[0].weight = None;
    let plan = plan(&workshop, &order(&[("MUG-TG", 1)]));
    assert_eq!(plan.questions[0].cause, Cause::IncompleteProduct("MUG-TG".into()));
    assert!(plan.questions[0].what.ends_with("has no weight"), "{}", plan.questions[0].what);
}

#[test]
fn what_no_box_holds_is_a_question_with_the_size_in_it() {
    let mut workshop = demo();
    workshop.products.push(product("VASE", "Floor vase", mm(250, 250, 700), g(4000)));
    let plan = plan(&workshop, &order(&[("VASE", 1), ("MUG-TG", 1)]));
    assert_eq!(plan.questions[0].cause, Cause::NothingFits(order(&[]).key));
    let what = &plan.questions[0].what;
    assert!(
        what.contains("no container holds Floor vase") && what.contains("700 mm long, inside are 400 mm"),
        "{what}"
    );
}

#[test]
fn where_no_service_goes_is_a_question_too() {
    let mut abroad = order(&[("MUG-TG", 1)]);
    abroad.destination.country = "DE".parse().ok();
    let plan = plan(&demo(), &abroad);
    assert_eq!(plan.questions[0].cause, Cause::NoService(abroad.key.clone()));
    assert!(plan.questions[0].what.contains("does not go there"), "{}", plan.questions[0].what);
}

#[test]
fn bundles_unfold_and_what_is_not_shipped_is_left_out() {
    let mut workshop = demo();
    let mut set = product("SET", "Tea set", mm(1, 1, 1), g(1));
    set.made_of = vec![("POT-1".into(), 1), ("MUG-TG".into(), 2)];
    set.dims = None;
    let mut voucher = product("GIFT-20", "Voucher", mm(1, 1, 1), g(1));
    voucher.not_shipped = true;
    workshop.products.extend([set, voucher]);
    let made = plan(&workshop, &order(&[("GIFT-20", 1), ("SET", 1), ("MUG-TG", 1)]));
    let contents: Vec<(String, u32, Option<usize>)> =
        made.parcels[0].contents.iter().map(|c| (c.sku.to_string(), c.quantity, c.line)).collect();
    assert_eq!(
        contents,
        vec![("POT-1".into(), 1, Some(1)), ("MUG-TG".into(), 2, Some(1)), ("MUG-TG".into(), 1, Some(2))]
    );
    let only = plan(&workshop, &order(&[("GIFT-20", 1)]));
    assert_eq!(only.questions[0].cause, Cause::Flaw(order(&[]).key, FlawKind::NoGoods));
}

#[test]
fn a_bundle_that_holds_itself_ends() {
    let mut workshop = demo();
    let mut circle = product("LOOP", "Loop", mm(50, 50, 50), g(10));
    circle.made_of = vec![("LOOP".into(), 1)];
    workshop.products.push(circle);
    assert_eq!(plan(&workshop, &order(&[("LOOP", 1)])).parcels.len(), 1);
}

#[test]
fn first_expiring_batches_go_first_and_missing_stock_waits() {
    let mut workshop = demo();
    let batch = |name: &str, best_before: Option<jiff::civil::Date>, made: u32| Batch {
        name: name.into(),
        dims: None,
        weight: None,
        best_before,
        made: Some(made),
        shelf: None,
    };
    workshop.products[2].batches = vec![
        batch("2611", Some(jiff::civil::date(2027, 11, 1)), 5),
        batch("2609", Some(jiff::civil::date(2027, 9, 1)), 2),
    ];
    let made = plan(&workshop, &order(&[("TEA-HS", 3)]));
    let batches: Vec<(String, u32)> = made.parcels[0]
        .contents
        .iter()
        .map(|c| (c.batch.as_ref().map_or_else(String::new, ToString::to_string), c.quantity))
        .collect();
    assert_eq!(batches, vec![("2609".into(), 2), ("2611".into(), 1)]);
    let shelf = Shelf { batches_left: BTreeMap::from([(("TEA-HS".into(), "2611".into()), 0)]), ..Shelf::default() };
    let short = plan_on(&workshop, &order(&[("TEA-HS", 3)]), &shelf);
    assert_eq!(short.waits, vec![Wait::Stock { sku: "TEA-HS".into(), missing: 1 }]);
    let settled = Shelf { settled: BTreeSet::from(["TEA-HS".into()]), ..shelf };
    assert!(plan_on(&workshop, &order(&[("TEA-HS", 3)]), &settled).waits.is_empty());
}

#[test]
fn made_to_order_and_dates_wait_with_a_plan_ready() {
    let mut workshop = demo();
    workshop.products[0].made_to_order = true;
    let mut later = order(&[("MUG-TG", 1)]);
    later.not_before = Some(jiff::civil::date(2026, 12, 1));
    let plan = plan(&workshop, &later);
    assert_eq!(plan.waits, vec![Wait::MadeToOrder("MUG-TG".into()), Wait::Date(jiff::civil::date(2026, 12, 1))]);
    assert_eq!(plan.parcels.len(), 1);
}

#[test]
fn the_service_asked_for_is_taken_and_an_unknown_wish_asks() {
    let wish = |text: &str| Order { requested_service: Some(text.into()), ..order(&[("MUG-TG", 1)]) };
    assert_eq!(plan(&demo(), &wish("standard PARCEL")).parcels[0].service.as_str(), "Road");
    let collected = plan(&demo(), &wish("pick-up"));
    assert_eq!(collected.parcels[0].service.as_str(), "collect at the quay");
    assert_eq!(collected.parcels[0].cost.postage, eur(0));
    let asked = plan(&demo(), &wish("by balloon"));
    assert_eq!(asked.questions[0].cause, Cause::NoService(order(&[]).key));
    assert!(asked.questions[0].what.contains("by balloon"));
    let accepted = BTreeSet::from([asked.questions[0].cause.to_string()]);
    let workshop = demo();
    let sent = Planner::new(&workshop).decide(&wish("by balloon"), &workshop, &Shelf::default(), &accepted, &pins());
    assert!(sent.questions.is_empty());
    assert_eq!(sent.parcels[0].service.as_str(), "Letter");
}

#[test]
fn a_container_that_has_run_out_is_not_offered() {
    let shelf = Shelf { containers_left: BTreeMap::from([("Small".into(), 0)]), ..Shelf::default() };
    let plan = plan_on(&demo(), &order(&[("MUG-TG", 1)]), &shelf);
    assert_eq!(plan.parcels[0].container.as_str(), "Medium");
    assert_eq!(refused(&plan, "Small"), "has run out");
}

#[test]
fn a_split_never_takes_more_containers_than_there_are() {
    let mut workshop = demo();
    workshop.containers.retain(|c| c.name.as_str() != "Large");
    let shelf = Shelf { containers_left: BTreeMap::from([("Medium".into(), 2)]), ..Shelf::default() };
    let plan = plan_on(&workshop, &order(&[("POT-1", 6)]), &shelf);
    let medium = plan.parcels.iter().filter(|p| p.container.as_str() == "Medium").count();
    assert!(medium <= 2, "{medium}");
    assert!(!plan.questions.is_empty() || plan.parcels.len() > 2);
}

#[test]
fn hints_overrule_geometry_down_always_and_up_only_with_trust() {
    let mut workshop = demo();
    let hint = |at_most: u32, trust: bool| vec![Holds { sku: "MUG-TG".into(), at_most, trust }];
    workshop.containers[1].holds = hint(1, false);
    let made = plan(&workshop, &order(&[("MUG-TG", 2)]));
    assert_eq!(refused(&made, "Medium"), "holds at most 1 of the Mug, tide grey, these are 2 (as packaging.toml says)");
    workshop.containers[1].holds = hint(40, false);
    assert_ne!(plan(&workshop, &order(&[("MUG-TG", 20)])).parcels[0].container.as_str(), "Medium");
    workshop.containers[1].holds = hint(40, true);
    let trusted = plan(&workshop, &order(&[("MUG-TG", 20)]));
    assert_eq!(trusted.parcels[0].container.as_str(), "Medium");
    assert!(trusted.parcels[0].placement.is_empty());
}

#[test]
fn near_a_step_the_parcel_says_weigh_it() {
    let mut workshop = demo();
    workshop.products[0].weight = Some(g(405));
    let plan = plan(&workshop, &order(&[("MUG-TG", 1)]));
    // 405 + 90 + tape: just below 500 g.
    assert!(plan.parcels[0].weight < g(500));
    assert_eq!(plan.parcels[0].cautions[0].to_string(), "weigh it: above 500 g it costs 1.10 more");
    assert_eq!(plan.parcels[0].cautions.len(), 1);
    assert!(
        plan.what_would_change.iter().any(|s| s.contains("would cost 1.10 more: weigh it")),
        "{:?}",
        plan.what_would_change
    );
}

#[test]
fn predicted_weight_counts_goods_containers_supplies_and_filling() {
    let mut workshop = demo();
    workshop.supplies.push(Supply {
        name: "crumpled paper".into(),
        unit: SupplyUnit::Weight,
        price: eur(200),
        price_for: 1000 * NG_PER_G,
        stock: None,
        weight: g(1),
        weight_for: NG_PER_G,
    });
    workshop.containers[0].fill =
        Some(Fill { supply: "crumpled paper".into(), share_percent: 80, grams_per_litre: 20 });
    let parcel = &plan(&workshop, &order(&[("MUG-TG", 1)])).parcels[0];
    // Inside 180 x 120 x 120 = 2.592 l, the mug 0.76 l: 1.832 l x 0.8 x 20 g/l = 29.312 g;
    // tape 0.8 m of 2 g/m = 1.6 g; mug 380 g; box 90 g.
    assert_eq!(parcel.weight.ng, 380 * NG_PER_G + 90 * NG_PER_G + 29_312_000_000 + 1_600_000_000);
    let paper = parcel.supplies.iter().find(|s| s.supply.as_str() == "crumpled paper").expect("paper");
    assert_eq!(paper.amount, 29_312_000_000);
    // 0.8 m of tape at 3.00 for 50 m are 4.8 cents, paper 5.8624 cents: together rounded up once.
    assert_eq!(parcel.cost.supplies, eur(11));
}

#[test]
fn ties_go_to_fewer_parcels_then_smaller_containers_then_file_order() {
    let mut workshop = demo();
    workshop.services = vec![service("Flat", Price::Nothing)];
    workshop.containers = vec![
        carton("Roomy", mm(300, 300, 300), 0, g(1), 50),
        carton("Snug", mm(120, 120, 120), 0, g(1), 50),
        carton("Snug too", mm(120, 120, 120), 0, g(1), 50),
    ];
    workshop.containers.iter_mut().for_each(|c| c.supplies.clear());
    let one = plan(&workshop, &order(&[("MUG-TG", 1)]));
    assert_eq!(one.parcels[0].container.as_str(), "Snug");
    workshop.containers[0].cost = eur(100);
    let two = plan(&workshop, &order(&[("MUG-TG", 2)]));
    assert_eq!((two.parcels.len(), two.parcels[0].container.as_str()), (1, "Roomy"));
    assert_eq!(two.verdict, Verdict::Proved);
}

#[test]
fn placements_name_contents_and_lie_inside() {
    let plan = plan(&demo(), &order(&[("MUG-TG", 2), ("POT-1", 1)]));
    let parcel = &plan.parcels[0];
    assert_eq!(parcel.placement.len(), 3);
    for place in &parcel.placement {
        assert!(place.content < parcel.contents.len());
        assert!((0..3).all(|axis| place.at[axis] + place.size[axis] <= parcel.inner_mm[axis]));
    }
    let pots = parcel.placement.iter().filter(|p| parcel.contents[p.content].sku.as_str() == "POT-1");
    assert_eq!(pots.map(|p| p.size[2]).collect::<Vec<_>>(), vec![110]);
}

#[test]
fn huge_and_mixed_orders_end_with_an_answer() {
    let mut workshop = demo();
    let many = plan(&workshop, &order(&[("MUG-TG", QUANTITY_MAX)]));
    assert_eq!(many.questions[0].cause, Cause::NothingFits(order(&[]).key));
    for n in 0..12 {
        workshop.products.push(product(&format!("T-{n}"), "Tin", mm(60 + n, 60, 70), g(200 + n)));
    }
    let skus: Vec<String> = (0..12).map(|n| format!("T-{n}")).collect();
    let lines: Vec<(&str, u32)> = skus.iter().map(|sku| (sku.as_str(), 4)).collect();
    let mixed = plan(&workshop, &order(&lines));
    let packed: u32 = mixed.parcels.iter().flat_map(|p| &p.contents).map(|c| c.quantity).sum();
    assert_eq!(packed, 48);
    let Verdict::BestFound { least_possible } = mixed.verdict else { panic!("{:?}", mixed.verdict) };
    assert!(least_possible < mixed.cost.expect("a cost"));
    assert!(quote::verdict_in_words(&mixed).starts_with("best found (at most "));
}

#[test]
fn a_planner_may_live_on_any_thread() {
    fn on_any_thread<T: Send + Sync + 'static>(_: &T) {}
    on_any_thread(&Planner::new(&demo()));
}

#[test]
fn a_workshop_with_nothing_in_it_asks() {
    let mut workshop = demo();
    workshop.containers.clear();
    assert_eq!(plan(&workshop, &order(&[("MUG-TG", 1)])).questions[0].cause, Cause::NothingFits(order(&[]).key));
    let mut workshop = demo();
    workshop.services.clear();
    assert_eq!(plan(&workshop, &order(&[("MUG-TG", 1)])).questions[0].cause, Cause::NoService(order(&[]).key));
}

#[test]
fn a_post_box_is_reached_only_by_services_that_go_there() {
    let mut workshop = demo();
    let mut boxed = order(&[("MUG-TG", 4)]);
    assert_eq!(plan(&workshop, &boxed).parcels[0].service.as_str(), "Road");
    boxed.destination.post_box = true;
    workshop.services.iter_mut().filter(|s| s.name.as_str() == "Road").for_each(|s| s.no_post_box = true);
    let made = plan(&workshop, &boxed);
    assert_eq!(made.parcels.iter().map(|p| p.service.as_str()).collect::<Vec<_>>(), ["Skipper"]);
    assert_eq!(refused(&made, "Road"), "does not deliver to post boxes");
    workshop.services.iter_mut().for_each(|service| service.no_post_box = true);
    let question = &plan(&workshop, &boxed).questions[0];
    assert_eq!(question.cause, Cause::NoService(boxed.key.clone()));
    assert!(question.what.contains("Letter, Road, Skipper: does not deliver to post boxes"), "{}", question.what);
}

#[test]
fn what_customs_will_ask_and_nobody_has_said_is_a_caution() {
    let mut workshop = demo();
    workshop.services[1].zones.clear();
    workshop.services[1].price = Price::ByWeight(steps("", &[(10_000, 900)]));
    let mut set = product("SET", "Tea set", mm(1, 1, 1), g(1));
    set.made_of = vec![("TEA-HS".into(), 1)];
    workshop.products.push(set);
    workshop.products[0].customs =
        Some(Customs { hs_code: "6912.00".into(), origin: workshop.country, description: "stoneware mug".into() });
    let customs = |workshop: &Workshop, order: &Order| -> Vec<String> {
        let cautions = plan(workshop, order).parcels.remove(0).cautions;
        cautions.iter().map(ToString::to_string).filter(|caution| caution.starts_with("customs")).collect()
    };
    let mut abroad = order(&[("MUG-TG", 1), ("POT-1", 1), ("SET", 1)]);
    assert_eq!(customs(&workshop, &abroad), [""; 0], "it stays in the country");
    abroad.destination.country = "DE".parse().ok();
    abroad.lines[0].unit_price = Some(eur(2450));
    abroad.lines[2].unit_price = Some(eur(980));
    let expected = "customs data missing: Teapot (HS code, origin, description, value); \
                    Heather smoke, 100 g (HS code, origin, description, value)";
    assert_eq!(customs(&workshop, &abroad), [expected]);
    abroad.lines.truncate(1);
    assert_eq!(customs(&workshop, &abroad), [""; 0], "all is known");
    abroad.lines[0].unit_price = None;
    assert_eq!(customs(&workshop, &abroad), ["customs data missing: Mug, tide grey (value)"]);
    workshop.services[1].collect = true;
    assert_eq!(customs(&workshop, &abroad), [""; 0], "who fetches it takes it abroad");
}

/// An hour costs 18.00, so that two seconds are a cent.
fn paid(workshop: &mut Workshop, weighed: bool) {
    workshop.labour = Some(Labour {
        wage: eur(1800),
        per_parcel: SignedDuration::from_mins(3),
        per_container: SignedDuration::from_secs(40),
        per_piece: SignedDuration::from_secs(50),
        weighed,
    });
}

fn labour_of(plan: &Plan) -> i64 {
    plan.parcels.iter().filter_map(|parcel| parcel.cost.labour).map(|labour| labour.amount.minor).sum()
}

/// 3 min, 40 s for the Medium and twice 50 s are 320 s: 1.60. With a second more to fold it 160.5 cents.
#[test]
fn labour_is_shown_beside_the_cost_and_rounded_up_once() {
    let two_mugs = order(&[("MUG-TG", 2)]);
    let mut workshop = demo();
    workshop.containers.retain(|container| container.name.as_str() == "Medium");
    let without = plan(&workshop, &two_mugs);
    assert_eq!(without.parcels[0].cost.labour, None);
    paid(&mut workshop, false);
    for (folding, expected) in [(None, 160), (Some(41), 161), (Some(0), 140)] {
        workshop.containers[0].folding = folding.map(SignedDuration::from_secs);
        let beside = plan(&workshop, &two_mugs);
        assert_eq!((beside.cost, labour_of(&beside)), (without.cost, expected), "{folding:?}");
        let mut weighed = workshop.clone();
        paid(&mut weighed, true);
        let weighed = plan(&weighed, &two_mugs);
        assert_eq!(weighed.cost.map(|cost| cost - eur(expected)), without.cost, "{folding:?}");
        assert_eq!((labour_of(&weighed), &weighed.verdict), (expected, &Verdict::Proved));
    }
}

/// Small by Letter at 2.00 and Large by Road, each with its box at 0.10; a Small holds one mug.
fn letter_or_road(road: i64) -> Workshop {
    let mut workshop = demo();
    workshop.containers =
        vec![carton("Small", mm(120, 100, 100), 3, g(90), 10), carton("Large", mm(240, 200, 100), 3, g(190), 10)];
    let fixed = |name: &str, price: i64, container: &str| Service {
        containers: vec![container.into()],
        ..service(name, Price::Fixed(BTreeMap::from([(String::new(), eur(price))])))
    };
    workshop.services = vec![fixed("Letter", 200, "Small"), fixed("Road", road, "Large")];
    workshop
}

/// Two mugs: two Small are 4.20. Who asks is told the best other set of parcels, a split too.
#[test]
fn the_runner_up_may_be_several_parcels() {
    let two_mugs = order(&[("MUG-TG", 2)]);
    for (road, parcels, second, why, kept) in [
        (450, 2, "Large by Road", "0.40 more", Some(NextBest::OfAll)),
        (380, 1, "2 x Small by Letter", "0.30 more: 1 x Mug", None),
    ] {
        let workshop = letter_or_road(road);
        let planner = Planner::new(&workshop);
        let asked = planner.decide_with(
            &two_mugs,
            &workshop,
            &Shelf::default(),
            &BTreeSet::new(),
            &pins(),
            &Overrides::default(),
        );
        let first = &asked.alternatives[0];
        assert_eq!(
            (asked.parcels.len(), first.what.as_str(), first.next_best),
            (parcels, second, Some(NextBest::OfAll))
        );
        assert!(first.why.starts_with(why), "{first:?}");
        assert_eq!(first.cost, first.parts.map(|parts| parts.total()));
        assert_eq!(parcels == 1, first.why.ends_with(" in each"), "{first:?}");
        // What is kept of each order says it where that takes next to no time.
        assert_eq!(plan(&workshop, &two_mugs).alternatives[0].next_best, kept);
        // One Small is left: two cannot be the next best, and what is instead is the best of some.
        let shelf = Shelf { containers_left: BTreeMap::from([("Small".into(), 1)]), ..Shelf::default() };
        let scarce =
            planner.decide_with(&two_mugs, &workshop, &shelf, &BTreeSet::new(), &pins(), &Overrides::default());
        assert_eq!(scarce.parcels.len(), 1);
        let first = &scarce.alternatives[0];
        assert_eq!((first.what.as_str(), first.next_best), ("2 x Large by Road", Some(NextBest::OfTried)));
    }
}

/// Two Small by a letter are 2.10 each, one Large by road 4.60. A parcel's 3 min and 40 s cost 1.10.
#[test]
fn two_cheap_parcels_become_one_where_labour_counts() {
    let mut workshop = letter_or_road(450);
    for (weighed, parcels, cost) in [(None, 2, 420), (Some(false), 2, 420), (Some(true), 1, 460 + 110 + 50)] {
        match weighed {
            Some(weighed) => paid(&mut workshop, weighed),
            None => workshop.labour = None,
        }
        let made = plan(&workshop, &order(&[("MUG-TG", 2)]));
        let found = (made.parcels.len(), made.cost, &made.verdict);
        assert_eq!(found, (parcels, Some(eur(cost)), &Verdict::Proved), "{weighed:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// The same question has the same answer, whose parcels hold all that was ordered and add up to its cost.
    #[test]
    fn everything_is_packed_once_and_costs_what_its_parcels_cost(mugs in 0u32..4, pots in 0u32..3, teas in 1u32..4) {
        let lines = [("MUG-TG", mugs), ("POT-1", pots), ("TEA-HS", teas)];
        let lines: Vec<(&str, u32)> = lines.into_iter().filter(|(_, n)| *n > 0).collect();
        let base = plan(&demo(), &order(&lines));
        prop_assert_eq!(&plan(&demo(), &order(&lines)), &base);
        let cost = base.cost.expect("a cost").minor;
        let packed: u32 = base.parcels.iter().flat_map(|p| &p.contents).map(|c| c.quantity).sum();
        prop_assert_eq!(packed, mugs + pots + teas);
        prop_assert_eq!(base.parcels.iter().map(|p| p.cost.total().minor).sum::<i64>(), cost);
    }

    /// Where labour counts, a proved plan costs no more than the plan made without it and the labour of that, and no
    /// less than that plan alone.
    #[test]
    fn what_is_proved_with_labour_is_no_dearer_than_any_other_plan(
        mugs in 0u32..4, pots in 0u32..3, teas in 1u32..4, wage in 0i64..20_000,
    ) {
        let lines = order(&[("MUG-TG", mugs), ("POT-1", pots), ("TEA-HS", teas)].into_iter().filter(|(_, n)| *n > 0).collect::<Vec<_>>());
        let planned = |weighed: bool| {
            let mut workshop = demo();
            paid(&mut workshop, weighed);
            workshop.labour.as_mut().expect("labour").wage = eur(wage);
            workshop.containers[1].folding = Some(SignedDuration::from_mins(4));
            plan(&workshop, &lines)
        };
        let (beside, weighed) = (planned(false), planned(true));
        prop_assume!(beside.verdict == Verdict::Proved && weighed.verdict == Verdict::Proved);
        let (without, with) = (beside.cost.expect("a cost").minor, weighed.cost.expect("a cost").minor);
        prop_assert!(with <= without + labour_of(&beside));
        prop_assert!(with - labour_of(&weighed) >= without);
    }
}
