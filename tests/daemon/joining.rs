//! Two orders of one customer: one parcel, one slip.

use super::support::*;
use serde_json::json;

/// A workshop that joins orders and prints when packing starts.
fn bench() -> Bench {
    let mut bench = Bench::new();
    bench.edit("workshop.toml", "join = false", "join = true");
    bench.edit("sources.toml", "# print = \"when packing starts\"", "print = \"when packing starts\"");
    bench.start();
    bench
}

#[test]
fn two_signed_orders_of_one_customer_come_out_as_one_slip() {
    let bench = bench();
    bench.order("A-417", &[("mug-dawn", 1)]);
    bench.until_stage("A-417", "planned");
    bench.order("A-421", &[("tea-towel", 1)]);
    bench.until("one parcel for both", || bench.json("/orders/A-421")["parcels"][0]["label"] == "A-417+A-421");
    let mut apart = order("A-430", &[("mug", 1)]);
    apart["additionalProperty"] = json!([{"@type": "PropertyValue", "name": "separateDelivery", "value": true}]);
    assert_eq!(bench.send("msg_430", apart.to_string()).status, 202);
    bench.until_stage("A-430", "planned");

    // What it saves is told wherever one looks.
    let view = bench.json("/orders/A-417");
    let saves = view["together"]["saves"].as_str().unwrap().to_owned();
    assert_eq!(view["together"]["with"], json!(["A-421"]));
    assert!(saves.ends_with(" EUR") && !saves.starts_with('-') && saves != "0.00 EUR", "{saves}");
    let told = format!("travels together with A-421: saves {saves}");
    bench.run(&["order", "417"]).expect(0, &[&told, &format!("A-417 + A-421 together: saves {saves}")]);
    bench.run(&["orders"]).expect(0, &[&format!("with A-421: saves {saves}")]);
    bench.run(&["status"]).expect(0, &[&format!("2 orders of 1 customer travel together: saves {saves}")]);
    bench.run(&["picklist"]).expect(0, &["2 parcels of 3 orders", "A-417 + A-421", &format!("saves {saves}")]);
    bench.run(&["order", "430"]).expect(0, &["the customer asks for a separate delivery"]);
    let page = bench.get("/orders/A-421", "text/html").body;
    assert!(page.contains("travels together with A-417") && page.contains("/apart"), "{page}");

    bench.run(&["start-packing"]).expect(0, &["print now"]);
    bench.until_stage("A-421", "printed");
    bench.until_still();
    assert_eq!(bench.papers_of("A-417"), bench.papers_of("A-421"), "they share their papers");
    assert_eq!(bench.galley.papers().len(), 4, "two slips and two cards: {:#?}", bench.jobs());
    bench.run(&["packed", "A-417+A-421"]).expect(0, &["A-417+A-421 is packed"]);
    bench.run(&["handed-over", "421"]).expect(0, &["1 parcel is handed over"]);
    for number in ["A-417", "A-421"] {
        assert_eq!(bench.json(&format!("/orders/{number}"))["stage"], "handed over");
    }
}

#[test]
fn a_person_takes_an_order_out_and_a_restart_changes_nothing() {
    let mut bench = bench();
    bench.order("A-417", &[("mug-dawn", 1)]);
    bench.order("A-421", &[("tea-towel", 1)]);
    let label = |bench: &Bench| bench.json("/orders/A-421")["parcels"][0]["label"].clone();
    bench.until("one parcel for both", || label(&bench) == "A-417+A-421");
    bench.kill();
    bench.start();
    assert_eq!(label(&bench), "A-417+A-421");
    bench.run(&["apart", "421"]).expect(0, &["order A-421 travels alone"]);
    bench.until("a parcel for each", || label(&bench) == "A-421");
    bench.run(&["order", "421"]).expect(0, &["no: a person keeps it apart", "go apart again"]);
    bench.run(&["apart", "421"]).expect(1, &["travels alone already"]);
    bench.run(&["apart", "421", "--undo"]).expect(0, &["may travel with others"]);
    bench.until("one parcel for both", || label(&bench) == "A-417+A-421");
    bench.run(&["cancel", "A-417", "a mistake"]).expect(0, &["is cancelled"]);
    bench.until("a parcel for the other", || label(&bench) == "A-421");
    bench.run(&["start-packing"]).expect(0, &[]);
    bench.until_stage("A-421", "printed");
    bench.until_still();
    assert_eq!(bench.galley.papers().len(), 2, "a slip and a card: {:#?}", bench.jobs());
}
