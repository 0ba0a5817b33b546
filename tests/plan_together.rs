//! Orders of one customer in one parcel: what that saves is shown, and it is never dearer than
//! a parcel for each.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::Planner;
use dawnslip::plan::choose::Shelf;
use dawnslip::plan::fit::Budget;
use plan_bench::*;
use proptest::prelude::*;
use std::collections::BTreeSet;

fn numbered(number: &str, lines: &[(&str, u32)]) -> Order {
    Order { key: OrderKey::new("shop", number), ..order(lines) }
}

fn planner(workshop: &Workshop) -> Planner {
    Planner::new(workshop).with_budget(Budget::SMALL)
}

fn together(workshop: &Workshop, orders: &[Order]) -> Plan {
    planner(workshop).decide_together(orders, workshop, &Shelf::default(), &BTreeSet::new(), &pins())
}

fn alone(workshop: &Workshop, order: &Order) -> Plan {
    planner(workshop).decide(order, workshop, &Shelf::default(), &BTreeSet::new(), &pins())
}

fn cost(plan: &Plan) -> i64 {
    plan.cost.expect("it can be sent").minor
}

#[test]
fn two_orders_in_one_parcel_say_what_that_saves() {
    let workshop = demo();
    let orders = [numbered("S-417", &[("MUG-TG", 1)]), numbered("S-421", &[("TEA-HS", 1), ("MUG-TG", 1)])];
    let plan = together(&workshop, &orders);
    let apart: i64 = orders.iter().map(|order| cost(&alone(&workshop, order))).sum();
    assert_eq!(plan.joined, [OrderKey::new("shop", "S-421")]);
    assert_eq!(plan.joined_saves, Some(eur(apart - cost(&plan))));
    assert!(plan.joined_saves.expect("a saving").minor > 200, "a part of one postage: {:?}", plan.joined_saves);
    assert_eq!(plan.parcels.len(), 1);
    // Each thing stems from the line of its own order.
    let stems: Vec<(&str, u32, usize, Option<usize>)> =
        plan.parcels[0].contents.iter().map(|c| (c.sku.as_str(), c.quantity, c.order, c.line)).collect();
    assert_eq!(stems, [("MUG-TG", 1, 0, Some(0)), ("MUG-TG", 1, 1, Some(1)), ("TEA-HS", 1, 1, Some(0))]);
    assert_eq!(plan.version_of(&orders[0].key), Some(1));
}

#[test]
fn where_it_would_be_dearer_they_stay_apart_and_the_plan_says_so() {
    // A rule wants the dear service for so many pieces.
    let mut workshop = demo();
    let forbids = vec![Action::ForbidService(vec!["Letter".into(), "Skipper".into()])];
    workshop.rules = vec![rule("many", "order.quantity > 3", forbids)];
    workshop.services[0].price = Price::ByWeight(steps("Middle", &[(500, 100)]));
    let orders = [numbered("S-417", &[("TEA-HS", 2)]), numbered("S-421", &[("TEA-HS", 2)])];
    let plan = together(&workshop, &orders);
    assert!(plan.parcels.is_empty() && plan.joined.is_empty() && plan.joined_saves.is_none());
    let why = &plan.what_would_change[0];
    assert!(why.starts_with("together it would cost ") && why.ends_with(" more"), "{why}");
}

#[test]
fn where_nothing_is_gained_they_stay_apart() {
    // A letter each; both together are too heavy for one.
    let mut workshop = demo();
    workshop.services.truncate(1);
    workshop.services[0].price = Price::ByWeight(steps("Middle", &[(500, 100)]));
    let orders = [numbered("S-417", &[("TEA-HS", 2)]), numbered("S-421", &[("TEA-HS", 2)])];
    let plan = together(&workshop, &orders);
    assert!(plan.parcels.is_empty());
    assert_eq!(plan.what_would_change, ["together it would cost the same and need as many parcels"]);
}

#[test]
fn an_order_that_adds_nothing_is_left_out() {
    let mut workshop = demo();
    workshop.services.retain(|service| service.name.as_str() == "Letter");
    // Two go into one letter; the third is too heavy for it.
    let orders =
        [numbered("S-417", &[("TEA-HS", 1)]), numbered("S-421", &[("TEA-HS", 1)]), numbered("S-423", &[("POT-1", 1)])];
    let plan = together(&workshop, &orders);
    assert_eq!(plan.joined, [OrderKey::new("shop", "S-421")]);
    assert!(plan.parcels.iter().flat_map(|parcel| &parcel.contents).all(|content| content.order < 2));
}

#[test]
fn a_question_about_the_sum_keeps_them_apart() {
    let mut workshop = demo();
    let many = "order.quantity > 2";
    workshop.rules = vec![rule("many", many, vec![Action::NeedsYou("are so many right?".to_owned())])];
    let orders = [numbered("S-417", &[("MUG-TG", 2)]), numbered("S-421", &[("MUG-TG", 2)])];
    assert!(orders.iter().all(|order| alone(&workshop, order).questions.is_empty()), "rules: {many}");
    let plan = together(&workshop, &orders);
    assert!(plan.parcels.is_empty());
    assert_eq!(plan.what_would_change, ["together: are so many right?"]);
}

#[test]
fn the_goods_keep_their_value_and_the_customs_their_lines() {
    let mut orders = [numbered("S-417", &[("MUG-TG", 1)]), numbered("S-421", &[("MUG-TG", 1)])];
    orders[0].total = Some(eur(2_800));
    orders[1].total = Some(eur(2_600));
    let mut workshop = demo();
    let dear = "order.total == 54.0";
    workshop.rules = vec![rule("dear", dear, vec![Action::Note("insure it".to_owned())])];
    let plan = together(&workshop, &orders);
    assert_eq!(plan.rules, ["dear"], "rules see the sum of both");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn it_is_never_dearer_than_apart_and_loses_nothing(
        wanted in prop::collection::vec(prop::collection::vec((0..3usize, 1..4u32), 1..3), 2..4),
    ) {
        let workshop = demo();
        let skus = ["MUG-TG", "POT-1", "TEA-HS"];
        let orders: Vec<Order> = wanted.iter().enumerate().map(|(nth, lines)| {
            let lines: Vec<(&str, u32)> = lines.iter().map(|(sku, count)| (skus[*sku], *count)).collect();
            numbered(&format!("S-{nth}"), &lines)
        }).collect();
        let plan = together(&workshop, &orders);
        if plan.parcels.is_empty() {
            prop_assert!(plan.joined_saves.is_none() && !plan.what_would_change.is_empty());
            return Ok(());
        }
        let joined = &orders[..=plan.joined.len()];
        prop_assert!(plan.orders().eq(joined.iter().map(|order| &order.key)));
        let apart: i64 = joined.iter().map(|order| cost(&alone(&workshop, order))).sum();
        prop_assert!(cost(&plan) <= apart, "together {} apart {apart}", cost(&plan));
        prop_assert_eq!(plan.joined_saves, Some(eur(apart - cost(&plan))));
        for (nth, order) in joined.iter().enumerate() {
            for (at, line) in order.lines.iter().enumerate() {
                let contents = plan.parcels.iter().flat_map(|parcel| &parcel.contents);
                let packed: u32 =
                    contents.filter(|c| c.order == nth && c.line == Some(at)).map(|c| c.quantity).sum();
                prop_assert_eq!(packed, line.quantity);
            }
        }
    }
}
