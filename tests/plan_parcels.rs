//! Splitting into parcels against an independent exact solver.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::Planner;
use dawnslip::plan::choose::Shelf;
use dawnslip::plan::fit::Budget;
use plan_bench::*;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

fn sides(value: &Value) -> Dims {
    let side = |i: usize| value[i].as_i64().expect("whole millimetres");
    mm(side(0), side(1), side(2))
}

/// The instance as a workshop: no supplies, no cushion.
fn workshop(instance: &Value) -> Workshop {
    let mut workshop = empty();
    let units = instance["units"].as_array().expect("units");
    // Equal units are pieces of one product, as in an order.
    for unit in units {
        let sku = unit.to_string();
        if workshop.product(&Sku::new(sku.as_str())).is_none() {
            let mut one = product(&sku, "thing", sides(&unit["dims"]), g(unit["grams"].as_i64().expect("grams")));
            one.turn = if unit["turn"] == "upright" { Turn::ThisSideUp } else { Turn::Any };
            workshop.products.push(one);
        }
    }
    for container in instance["containers"].as_array().expect("containers") {
        let name = container["name"].as_str().expect("name");
        let mut one = carton(
            name,
            sides(&container["inner"]),
            0,
            g(container["tare_grams"].as_i64().expect("tare")),
            container["cost"].as_i64().expect("cost"),
        );
        one.kind = ContainerKind::Box { inner: sides(&container["inner"]), outer: sides(&container["outer"]) };
        // The data's limit counts the container itself, ours only what lies in it.
        one.load_max = container["max_grams"].as_i64().map(|most| g(most) - one.tare);
        workshop.containers.push(one);
    }
    for of in instance["services"].as_array().expect("services") {
        let rows: Vec<(i64, i64)> = of["steps"]
            .as_array()
            .expect("steps")
            .iter()
            .map(|step| (step[0].as_i64().expect("bound"), step[1].as_i64().expect("price")))
            .collect();
        let price = if of["by"] == "volume" {
            let step = |&(up_to, price): &(i64, i64)| VolumeStep {
                zone: String::new(),
                up_to: Volume::from_cm3(up_to as u64),
                soft_up_to: None,
                price: eur(price),
            };
            Price::ByVolume(rows.iter().map(step).collect())
        } else {
            Price::ByWeight(steps("", &rows))
        };
        let mut one = service(of["name"].as_str().expect("name"), price);
        one.weight_max = of["max_grams"].as_i64().map(g);
        one.containers = of["containers"].as_array().map_or_else(Vec::new, |names| {
            names.iter().map(|name| ContainerName::new(name.as_str().expect("name"))).collect()
        });
        workshop.services.push(one);
    }
    workshop
}

/// `parcels.json`: least costs by OR-Tools CP-SAT and exact partition, see `checks/README.md`.
/// What is proved must be equal; what is best found may not be cheaper than the least, nor may
/// its bound be above it.
#[test]
fn least_costs_agree_with_the_exact_solver() {
    let all: Vec<Value> = serde_json::from_str(include_str!("checks/parcels.json")).expect("parcels.json");
    assert_eq!(all.len(), 60);
    let budget = match std::env::var("PLAN_BUDGET").as_deref() {
        Ok("thorough") => Budget::THOROUGH,
        Ok("usual") => Budget::USUAL,
        _ => Budget::SMALL,
    };
    let (mut proved, mut optimal, mut none) = (0, 0, 0);
    for instance in &all {
        let id = &instance["id"];
        let workshop = workshop(instance);
        let mut lines: BTreeMap<String, u32> = BTreeMap::new();
        for unit in instance["units"].as_array().expect("units") {
            *lines.entry(unit.to_string()).or_default() += 1;
        }
        let lines: Vec<(&str, u32)> = lines.iter().map(|(sku, n)| (sku.as_str(), *n)).collect();
        let planner = Planner::new(&workshop).with_budget(budget);
        let plan = planner.decide(&order(&lines), &workshop, &Shelf::default(), &BTreeSet::new(), &pins());
        match (instance["least_cost"].as_i64(), plan.cost.map(|cost| cost.minor), &plan.verdict) {
            (Some(least), Some(cost), Verdict::Proved) => {
                assert_eq!(cost, least, "{id}: {plan:#?}");
                proved += 1;
            }
            (Some(least), Some(cost), Verdict::BestFound { least_possible }) => {
                assert!(
                    cost >= least && least_possible.minor <= least,
                    "{id}: {cost}, {least_possible}, least {least}"
                );
                optimal += usize::from(cost == least);
            }
            (None, None, Verdict::Nothing) => none += 1,
            (Some(_), None, Verdict::Nothing) => {}
            other => panic!("{id}: {other:?}"),
        }
    }
    println!("proved {proved}, best found and least {optimal}, cannot be sent {none}, of 60");
    assert!(proved + none >= 50, "{proved} + {none} of 60");
}
