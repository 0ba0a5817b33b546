//! What lies in a parcel decides as well: contents that a service does not carry, and loads for two.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::{Planner, choose::Shelf};
use plan_bench::*;
use std::collections::BTreeSet;

fn plan(workshop: &Workshop, order: &Order) -> Plan {
    Planner::new(workshop).decide(order, workshop, &Shelf::default(), &BTreeSet::new(), &pins())
}

/// Letter is the cheapest for a mug; it takes no spirits abroad, Road takes them nowhere.
fn with_spirits() -> Workshop {
    let mut workshop = demo();
    workshop.products[0].danger = Some(Danger::words("Contains Spirit, 40 %"));
    let refused = |countries: &[&str]| Refused {
        danger: "spirit".into(),
        but_limited: false,
        countries: countries.iter().map(|code| code.parse().expect("a country")).collect(),
    };
    for service in &mut workshop.services {
        match service.name.as_str() {
            "Letter" => service.refuses = vec![refused(&["NO"])],
            "Road" => service.refuses = vec![refused(&[])],
            _ => {}
        }
    }
    workshop
}

#[test]
fn what_a_service_does_not_carry_goes_another_way_or_asks() {
    let workshop = with_spirits();
    let spirits = order(&[("MUG-TG", 1)]);
    let found = plan(&workshop, &spirits);
    assert_eq!(found.parcels[0].service.as_str(), "Letter");
    let refused = |plan: &Plan, what: &str| {
        plan.alternatives.iter().find(|other| other.what == what).map_or(String::new(), |other| other.why.clone())
    };
    assert!(refused(&found, "Road").starts_with("does not carry"), "{}", refused(&found, "Road"));
    assert!(refused(&found, "Road").contains("Contains Spirit, 40 %"), "{}", refused(&found, "Road"));
    // Without the dangerous thing Road is open again.
    let plain = plan(&workshop, &order(&[("POT-1", 2)]));
    assert_eq!(plain.parcels[0].service.as_str(), "Road");
    // Both ways closed, for the same reason.
    let mut abroad = with_spirits();
    for service in &mut abroad.services {
        service.zones.clear();
        if let Price::ByWeight(steps) = &mut service.price {
            steps.iter_mut().for_each(|step| step.zone.clear());
        }
    }
    abroad.services.retain(|service| matches!(service.name.as_str(), "Letter" | "Road"));
    let mut to_norway = spirits;
    to_norway.destination.country = "NO".parse().ok();
    let found = plan(&abroad, &to_norway);
    assert!(found.parcels.is_empty());
    assert!(matches!(found.questions[0].cause, Cause::NoService(_)), "{:?}", found.questions);
    assert!(found.questions[0].what.contains("Letter, Road: does not carry"), "{}", found.questions[0].what);
}

/// NIOSH 94-110 (rev. 9/2021): the load constant is 23 kg, the most that one person lifts where all else is ideal; see
/// `standards/safety_lifting.json`. The figure is a setting, since it is rarely ideal.
#[test]
fn a_parcel_over_the_published_load_says_that_two_lift_it() {
    let lifting: serde_json::Value =
        serde_json::from_str(include_str!("standards/safety_lifting.json")).expect("safety_lifting.json");
    assert!(lifting["equation"].as_str().is_some_and(|equation| equation.contains("LC 23 kg")));
    let told = |most: Weight, grams: i64| {
        let mut workshop = demo();
        workshop.heavy_above = most;
        workshop.products[0].weight = Some(g(grams));
        let steps = steps("Middle", &[(50_000, 1000)]);
        workshop.services.iter_mut().for_each(|service| {
            service.weight_max = None;
            service.price = Price::ByWeight(steps.clone());
        });
        workshop.containers.iter_mut().for_each(|container| container.load_max = None);
        let found = plan(&workshop, &order(&[("MUG-TG", 1)]));
        let cautions = found.parcels[0].cautions.clone();
        (found.parcels[0].weight, cautions.into_iter().find(|caution| matches!(caution, Caution::Heavy { .. })))
    };
    let (weight, caution) = told(Weight::from_g(23_000), 24_000);
    assert!(weight > Weight::from_g(23_000));
    assert_eq!(
        caution.map(|caution| caution.to_string()).as_deref(),
        Some("heavy, more than 23 kg: two people lift it; local rules count")
    );
    assert_eq!(told(Weight::from_g(23_000), 22_000).1, None);
    // Exactly as heavy is not heavier.
    let (weight, _) = told(Weight::from_g(23_000), 9_000);
    assert_eq!(told(weight, 9_000).1, None);
    assert!(told(Weight { ng: weight.ng - 1 }, 9_000).1.is_some());
}
