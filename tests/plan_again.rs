//! Planning once more: a plan stays while it holds, and what takes its place says why.

mod plan_bench;

use dawnslip::book::{Fact, State};
use dawnslip::model::*;
use dawnslip::plan::Planner;
use dawnslip::plan::choose::{Now, Shelf, Wanted};
use jiff::civil::{date, time};
use plan_bench::*;
use std::collections::{BTreeMap, BTreeSet};

/// Cubes of 100 mm and 500 g; `Two` holds two for 0.60, `Big` four for 0.90; Road asks 3.00 a parcel.
fn shop() -> Workshop {
    let road = Price::Fixed(BTreeMap::from([(String::new(), eur(300))]));
    Workshop {
        products: vec![product("CUBE", "Cube", mm(100, 100, 100), g(500))],
        containers: vec![
            carton("Two", mm(200, 100, 100), 3, g(60), 60),
            carton("Big", mm(200, 200, 100), 3, g(90), 90),
        ],
        services: vec![Service { latest: Some(time(16, 30, 0, 0)), ..service("Road", road) }],
        ..empty()
    }
}

fn two_cubes() -> Order {
    order(&[("CUBE", 2)])
}

/// Two cubes in a `Two` by Road.
fn before() -> Plan {
    let shop = shop();
    let plan = Planner::new(&shop).decide(&two_cubes(), &shop, &Shelf::default(), &BTreeSet::new(), &pins());
    assert_eq!((how(&plan), plan.cost), (vec!["Two by Road".to_owned()], Some(eur(360))));
    assert_eq!(plan.instead, None);
    plan
}

fn how(plan: &Plan) -> Vec<String> {
    plan.parcels.iter().map(PlannedParcel::spoken).collect()
}

fn again_on(shop: &Workshop, wanted: Wanted, order: &Order, shelf: &Shelf, pins: &Pins) -> Plan {
    let now = Now { order, workshop: shop, shelf, accepted: &BTreeSet::new(), pins };
    Planner::new(shop).decide_again(&before(), wanted, now)
}

fn again(shop: &Workshop) -> Plan {
    again_on(shop, Wanted::SameIfItHolds, &two_cubes(), &Shelf::default(), &pins())
}

/// What took the place of the plan, and why.
fn replaced(plan: &Plan) -> (Vec<String>, Vec<String>) {
    let instead = plan.instead.clone().unwrap_or_else(|| panic!("nothing was replaced: {:?}", how(plan)));
    assert_eq!(instead.before, ["Two by Road"]);
    assert_eq!((instead.now.clone(), instead.cost_before, instead.cost_now), (how(plan), Some(eur(360)), plan.cost));
    (instead.now, instead.why)
}

#[test]
fn nothing_has_changed_and_nothing_is_said() {
    let plan = again(&shop());
    assert!(plan.same_parcels(&before()));
    assert_eq!(plan.instead, None);
    let next_day = Pins { hand_over: date(2026, 11, 26), ..pins() };
    let plan = again_on(&shop(), Wanted::SameIfItHolds, &two_cubes(), &Shelf::default(), &next_day);
    assert_eq!((plan.pins, plan.instead), (next_day, None));
}

#[test]
fn another_tariff_is_charged_and_told_with_both_prices() {
    let mut dearer = shop();
    dearer.services[0].price = Price::Fixed(BTreeMap::from([(String::new(), eur(345))]));
    let plan = again(&dearer);
    assert_eq!((plan.cost, &plan.verdict), (Some(eur(405)), &Verdict::Proved));
    let (now, why) = replaced(&plan);
    assert_eq!(now, ["Two by Road"]);
    assert_eq!(why, ["the tariff has changed: Road asks 3.45 instead of 3.00"]);
}

#[test]
fn a_cheaper_way_is_told_but_not_taken_until_a_person_wants_it() {
    let mut cheaper = shop();
    cheaper.containers[1].cost = eur(10);
    let kept = again(&cheaper);
    assert_eq!((how(&kept), kept.cost), (vec!["Two by Road".to_owned()], Some(eur(360))));
    assert_eq!(kept.verdict, Verdict::BestFound { least_possible: eur(310) });
    let told = "planned anew it would cost 0.50 less (Big by Road): dawnslip replan S-451";
    assert_eq!(kept.what_would_change, [told]);
    let other = kept.alternatives.iter().find(|other| other.what == "Big by Road").expect("the cheaper one");
    assert_eq!(other.why, "0.50 less, but the plan that was made is kept");
    assert_eq!(kept.instead, None);
    let new = again_on(&cheaper, Wanted::New, &two_cubes(), &Shelf::default(), &pins());
    assert_eq!(new.verdict, Verdict::Proved);
    assert_eq!(replaced(&new), (vec!["Big by Road".to_owned()], vec!["a person wanted a new plan".to_owned()]));
}

/// What makes the plan fall, and the reason that is given.
#[track_caller]
fn falls(shop: &Workshop, shelf: &Shelf, now: &[&str], why: &str) {
    let plan = again_on(shop, Wanted::SameIfItHolds, &two_cubes(), shelf, &pins());
    let (parcels, reasons) = replaced(&plan);
    assert_eq!((parcels, reasons), (now.iter().map(|s| (*s).to_owned()).collect(), vec![why.to_owned()]));
}

#[test]
fn what_makes_a_plan_impossible_stands_as_the_reason() {
    let none = Shelf::default();
    let left = |left: i64| Shelf { containers_left: BTreeMap::from([("Two".into(), left)]), ..Shelf::default() };
    falls(&shop(), &left(0), &["Big by Road"], "Two has run out");
    let mut gone = shop();
    gone.containers.remove(0);
    falls(&gone, &none, &["Big by Road"], "Two is not in packaging.toml any more");
    let mut small = shop();
    small.containers[0] = carton("Two", mm(190, 100, 100), 3, g(60), 60);
    falls(&small, &none, &["Big by Road"], "Two: together 2000 cm³ with cushion, inside are 1900 cm³");
    let mut weak = shop();
    weak.containers[0].load_max = Some(g(900));
    falls(&weak, &none, &["Big by Road"], "Two: Two carries up to 900 g, these are 1 kg");
    let mut forbidden = shop();
    forbidden.rules = vec![rule("no twos", "true", vec![Action::ForbidContainer(vec!["Two".into()])])];
    falls(&forbidden, &none, &["Big by Road"], "Two: the rule \"no twos\" forbids it");
    let other = || service("Other", Price::Fixed(BTreeMap::from([(String::new(), eur(400))])));
    let mut light = shop();
    light.services.push(other());
    light.services[0].weight_max = Some(g(1000));
    falls(&light, &none, &["Two by Other"], "Road: takes up to 1 kg, this weighs 1.06 kg");
    let mut over = shop();
    over.services.push(other());
    over.services[0].valid = (None, Some(date(2026, 11, 24)));
    falls(&over, &none, &["Two by Other"], "Road: its prices do not count on 2026-11-25");
    let mut renamed = shop();
    renamed.services[0].name = "Other".into();
    falls(&renamed, &none, &["Two by Other"], "Road is not offered any more");
    let mut full = shop();
    full.services.push(other());
    full.services[0].per_day = Some(30);
    let taken = Shelf { services_left: BTreeMap::from([("Road".into(), 0)]), ..Shelf::default() };
    falls(&full, &taken, &["Two by Other"], "30 a day at most go by Road, all are taken on Wednesday");
}

#[test]
fn what_was_planned_in_time_goes_on_its_day_and_the_hour_counts_on_the_next() {
    let late = Pins { too_late: BTreeSet::from(["Road".into()]), ..pins() };
    let kept = again_on(&shop(), Wanted::SameIfItHolds, &two_cubes(), &Shelf::default(), &late);
    assert_eq!((how(&kept), kept.instead), (vec!["Two by Road".to_owned()], None));
    let next = Pins { hand_over: date(2026, 11, 26), ..late };
    let waits = again_on(&shop(), Wanted::SameIfItHolds, &two_cubes(), &Shelf::default(), &next);
    let (now, why) = replaced(&waits);
    assert!(now.is_empty());
    assert_eq!(why, ["what goes by Road on Thursday had to be planned by 16:30"]);
    assert!(matches!(waits.waits[..], [Wait::Service { .. }]), "{:?}", waits.waits);
}

#[test]
fn another_content_or_another_batch_is_planned_anew() {
    let three = order(&[("CUBE", 3)]);
    let changed = Pins { order_version: 2, ..pins() };
    let plan = again_on(&shop(), Wanted::SameIfItHolds, &three, &Shelf::default(), &changed);
    assert_eq!(replaced(&plan), (vec!["Big by Road".to_owned()], vec!["the order has changed".to_owned()]));
    let mut sampled = shop();
    sampled.rules = vec![rule("one more", "true", vec![Action::Product("CUBE".into(), 1)])];
    let plan = again(&sampled);
    assert_eq!(replaced(&plan), (vec!["Big by Road".to_owned()], vec!["1 x CUBE go in as well".to_owned()]));
}

#[test]
fn a_rule_that_asks_now_asks_about_the_plan_that_is_kept() {
    let mut asking = shop();
    asking.rules = vec![rule("look", "true", vec![Action::NeedsYou("is it dry?".into())])];
    let plan = again(&asking);
    assert!(plan.same_parcels(&before()));
    assert_eq!(plan.questions.len(), 1);
    assert_eq!(plan.rules, ["look"]);
}

#[test]
fn the_orders_page_and_its_history_say_what_was_replaced_and_why() {
    let shelf = Shelf { containers_left: BTreeMap::from([("Two".into(), 0)]), ..Shelf::default() };
    let plan = again_on(&shop(), Wanted::SameIfItHolds, &two_cubes(), &shelf, &pins());
    let page = dawnslip::desk::order::explain(&plan, &shop());
    assert!(page.contains("\ninstead of Two by Road for 3.60 EUR: Two has run out\n"), "{page}");
    let fact = Fact::Planned { plan: Box::new(plan), parcels: vec![ParcelId(2)] };
    let told = dawnslip::desk::history::in_words(&State::default(), &fact);
    assert_eq!(told, "planned: Big by Road for 3.90 EUR; instead of Two by Road for 3.60 EUR: Two has run out");
    let mut dearer = shop();
    dearer.services[0].price = Price::Fixed(BTreeMap::from([(String::new(), eur(345))]));
    let page = dawnslip::desk::order::explain(&again(&dearer), &shop());
    let line = "instead of Two by Road for 3.60 EUR: the tariff has changed: Road asks 3.45\n";
    assert!(page.contains(line) && page.contains("; the parcels stay\n"), "{page}");
}
