//! Limited quantities: which service takes them, up to which amount and weight, and what the slip must say. The plan
//! never says that a parcel is safe.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::{Planner, choose::Shelf};
use plan_bench::*;
use std::collections::BTreeSet;

fn plan(workshop: &Workshop, order: &Order) -> Plan {
    Planner::new(workshop).decide(order, workshop, &Shelf::default(), &BTreeSet::new(), &pins())
}

fn amount(text: &str) -> NetQuantity {
    text.parse().map(NetQuantity::Volume).or_else(|_| text.parse().map(NetQuantity::Weight)).expect("an amount")
}

fn lacquer(net: &str, limited_up_to: &str) -> Danger {
    Danger {
        un: Some("UN1263".into()),
        inner: Some(InnerPacking { net: amount(net), limited_up_to: amount(limited_up_to) }),
        ..Danger::words("lacquer, flammable")
    }
}

fn takes(gross_kg: i64) -> TakesLimited {
    TakesLimited { gross_max: g(gross_kg * 1_000), net_max: vec![], mark: Some("diamond".into()), countries: vec![] }
}

/// Mugs become cans of 380 g; of the services only Road takes limited quantities, and Letter would be cheaper.
fn with_cans(danger: Danger, road: TakesLimited) -> Workshop {
    let mut workshop = demo();
    workshop.products[0].danger = Some(danger);
    let service = workshop.services.iter_mut().find(|service| service.name.as_str() == "Road").expect("Road");
    service.limited_quantity = Some(road);
    workshop
}

fn refused(plan: &Plan, what: &str) -> String {
    let same = |other: &&Alternative| other.cost.is_none() && other.what.contains(what);
    plan.alternatives.iter().find(same).map_or(String::new(), |other| other.why.clone())
}

fn marks(plan: &Plan) -> Vec<String> {
    let cautions = plan.parcels.iter().flat_map(|parcel| &parcel.cautions);
    cautions.filter(|c| matches!(c, Caution::LimitedQuantity { .. })).map(ToString::to_string).collect()
}

#[test]
fn a_limited_quantity_goes_by_who_takes_such_and_its_parcel_says_that_it_needs_the_mark() {
    let workshop = with_cans(lacquer("500 ml", "5 l"), takes(30));
    let found = plan(&workshop, &order(&[("MUG-TG", 1), ("TEA-HS", 1)]));
    assert_eq!(found.parcels[0].service.as_str(), "Road");
    assert_eq!(
        marks(&found),
        ["goes as limited quantity, UN1263: put the mark on it (diamond); the carrier's and local rules count"]
    );
    assert!(refused(&found, "Letter").starts_with("takes no limited quantities"), "{}", refused(&found, "Letter"));
    assert!(found.parcels[0].cautions.iter().any(|caution| {
        caution.to_string() == "Mug, tide grey: lacquer, flammable, UN1263; the carrier's rules count"
    }));
    // Goods of another kind go as ever, and need no mark.
    let tea = plan(&workshop, &order(&[("TEA-HS", 1)]));
    assert_eq!((tea.parcels[0].service.as_str(), marks(&tea).len()), ("Letter", 0));
    // Nor does a word alone: nobody has said how much is in it.
    let words = plan(&with_cans(Danger::words("lacquer"), takes(30)), &order(&[("MUG-TG", 1)]));
    assert_eq!((words.parcels[0].service.as_str(), marks(&words).len()), ("Letter", 0));
}

#[test]
fn each_parcel_of_an_order_says_it_for_itself() {
    let mut workshop = with_cans(lacquer("500 ml", "5 l"), takes(30));
    // A mug by itself in Small; a pot fits no Small, and nothing else holds both.
    workshop.containers.truncate(2);
    workshop.containers[1].holds = vec![Holds { sku: "MUG-TG".into(), at_most: 0, trust: false }];
    let found = plan(&workshop, &order(&[("MUG-TG", 1), ("POT-1", 1)]));
    assert_eq!(found.parcels.len(), 2);
    for parcel in &found.parcels {
        let cans = parcel.contents.iter().any(|content| content.sku.as_str() == "MUG-TG");
        let marked = parcel.cautions.iter().any(|caution| matches!(caution, Caution::LimitedQuantity { .. }));
        assert_eq!(cans, marked, "{parcel:?}");
    }
}

#[test]
fn more_in_one_than_the_limit_is_no_limited_quantity_and_a_person_is_asked() {
    let most = plan(&with_cans(lacquer("5 l", "5 l"), takes(30)), &order(&[("MUG-TG", 1)]));
    assert_eq!(most.parcels.len(), 1);
    let workshop = with_cans(lacquer("5001 ml", "5 l"), takes(30));
    let found = plan(&workshop, &order(&[("MUG-TG", 1), ("TEA-HS", 1)]));
    assert!(found.parcels.is_empty());
    let question = &found.questions[0];
    assert!(matches!(question.cause, Cause::NoService(_)), "{question:?}");
    assert!(
        question.what.contains(
            "Letter, Road, Skipper: 5001 ml in one Mug, tide grey are more than the 5 l of a limited quantity: all rules for dangerous goods count"
        ),
        "{}",
        question.what
    );
    assert!(question.remedy.contains("settle with the carrier how Mug, tide grey may travel"), "{}", question.remedy);
    // What is fetched is handed to no carrier; the words stay on the slip.
    let mut fetched = order(&[("MUG-TG", 1)]);
    fetched.requested_service = Some("Pick-up".into());
    let found = plan(&workshop, &fetched);
    assert_eq!(found.parcels[0].service.as_str(), "collect at the quay");
    assert!(matches!(found.parcels[0].cautions[0], Caution::Danger { .. }) && marks(&found).is_empty());
}

/// 49 CFR 173.306 (stored copy of the eCFR; see `standards/safety_pointers.json`): a package of limited quantities weighs
/// at most 30 kg gross. ADR 3.4.2 says the same, from memory. The figure is a setting.
#[test]
fn a_parcel_with_limited_quantities_weighs_no_more_than_the_published_gross() {
    let pointers = include_str!("standards/safety_pointers.json");
    assert!(pointers.contains("package <= 30 kg (66 lb) gross"));
    let told = |can: i64| {
        let mut workshop = with_cans(lacquer("500 ml", "5 l"), takes(30));
        workshop.products[0].weight = Some(g(can));
        for service in &mut workshop.services {
            service.weight_max = None;
            service.price = Price::ByWeight(steps("Middle", &[(50_000, 1_000)]));
        }
        workshop.containers.iter_mut().for_each(|container| container.load_max = None);
        plan(&workshop, &order(&[("MUG-TG", 1)]))
    };
    let light = told(1_000);
    let around = light.parcels[0].weight - g(1_000);
    let just = told((g(30_000) - around).g_near() - 1);
    assert_eq!(just.parcels.len(), 1);
    // So near to it the scale decides, though the price list goes on.
    let caution = Caution::TooHeavyAbove { ends: g(30_000), service: "Road".into() };
    assert!(just.parcels[0].cautions.contains(&caution), "{:?}", just.parcels[0].cautions);
    assert!(!light.parcels[0].cautions.contains(&caution));
    let over = told((g(30_000) - around).g_near() + 1);
    assert!(over.parcels.is_empty());
    let why = refused(&over, "Road");
    assert!(why.starts_with("takes limited quantities in parcels up to 30 kg"), "{why}");
}

#[test]
fn more_than_a_service_takes_in_one_parcel_goes_in_two() {
    let two_litres = TakesLimited { net_max: vec![amount("2 kg"), amount("2 l")], ..takes(30) };
    let parcels = |net: &str, limit: TakesLimited, cans: u32| {
        let found = plan(&with_cans(lacquer(net, "5 l"), limit), &order(&[("MUG-TG", cans)]));
        let pieces = |parcel: &PlannedParcel| parcel.contents.iter().map(|content| content.quantity).sum::<u32>();
        (found.parcels.iter().map(pieces).collect::<Vec<u32>>(), refused(&found, "Road"))
    };
    assert_eq!(parcels("500 ml", two_litres.clone(), 4).0, [4]);
    let (split, why) = parcels("500 ml", two_litres.clone(), 5);
    assert_eq!((split.len(), split.iter().sum::<u32>()), (2, 5));
    assert!(split.iter().all(|cans| *cans <= 4), "{split:?}");
    assert_eq!(why, "takes 2 l in limited quantities in one parcel, these are 2.5 l; the carrier's own list counts");
    // No parcel, where one can alone is too much.
    assert_eq!(parcels("3 l", two_litres, 1).0, [0u32; 0]);
}

#[test]
fn a_service_that_refuses_a_thing_takes_it_as_a_limited_quantity_where_it_says_so() {
    let refusing = |danger: &str, but_limited: bool, net: &str| {
        let mut workshop = with_cans(lacquer(net, "5 l"), takes(30));
        let refused = Refused { danger: danger.into(), but_limited, countries: vec![] };
        workshop.services.iter_mut().for_each(|service| service.refuses = vec![refused.clone()]);
        plan(&workshop, &order(&[("MUG-TG", 1)])).parcels.len()
    };
    assert_eq!(refusing("flammable", false, "500 ml"), 0);
    assert_eq!(refusing("un1263", false, "500 ml"), 0, "its number is as good as a word");
    assert_eq!(refusing("flammable", true, "500 ml"), 1);
    assert_eq!(refusing("flammable", true, "6 l"), 0);
    assert_eq!(refusing("lithium", false, "500 ml"), 1);
}

#[test]
fn limited_quantities_go_only_to_the_countries_that_a_service_names() {
    let only = |code: &str| TakesLimited { countries: vec![code.parse().expect("a country")], ..takes(30) };
    let mug = order(&[("MUG-TG", 1)]);
    assert_eq!(plan(&with_cans(lacquer("500 ml", "5 l"), only("QS")), &mug).parcels.len(), 1);
    let found = plan(&with_cans(lacquer("500 ml", "5 l"), only("NO")), &mug);
    assert!(refused(&found, "Road").starts_with("takes no limited quantities to there"), "{}", refused(&found, "Road"));
}

#[test]
fn rules_see_what_goes_as_a_limited_quantity() {
    let told = |when: &str, net: &str| {
        let mut workshop = with_cans(lacquer(net, "5 l"), takes(30));
        workshop.rules = vec![rule("lacquer", when, vec![Action::Urgent])];
        let mut fetched = order(&[("MUG-TG", 1)]);
        fetched.requested_service = if net == "6 l" { Some("Pick-up".into()) } else { None };
        plan(&workshop, &fetched).urgent
    };
    for when in ["goods.exists(g, g.limited_quantity)", "parcel.limited_quantity", "!lines.exists(l, l.beyond_limited)"]
    {
        assert!(told(when, "500 ml"), "{when}");
        assert!(!told(when, "6 l"), "{when}");
    }
    assert!(told("goods.all(g, g.un == 'UN1263')", "6 l"));
}
