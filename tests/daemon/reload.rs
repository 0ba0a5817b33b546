//! A new configuration while the daemon runs.

use super::support::*;
use dawnslip::intake::sender::Sender;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

const GLAZE: &str =
    "\n[product.GLZ-9]\nname = \"Glaze sampler\"\nsize = \"120 x 80 x 20 mm\"\nweight = \"90 g\"\nshelf = \"C4\"\n";

#[test]
fn a_new_product_lets_all_the_orders_go_on_that_waited_for_it() {
    let bench = Bench::running();
    for number in 1..=3 {
        bench.order(&format!("A-{number}"), &[("GLZ-9", 1), ("sea-mint", 1)]);
    }
    bench.until_still();
    let status = bench.status();
    assert!(status.starts_with("needs you: 1 thing"), "one question for all three: {status}");
    assert!(status.contains("GLZ-9"), "{status}");
    assert!(bench.galley.papers().is_empty());
    bench.append("products.toml", GLAZE);
    bench.run(&["reload"]).expect(0, &["the new configuration is in force"]);
    for number in 1..=3 {
        bench.until_stage(&format!("A-{number}"), "printed");
    }
    bench.until_still();
    let status = bench.status();
    assert!(status.starts_with("all is well"), "{status}");
    assert!(!bench.galley.papers().is_empty());
    bench.run(&["reload"]).expect(0, &["nothing has changed"]);
}

#[test]
fn a_configuration_with_a_mistake_is_refused_and_the_old_one_stays() {
    let bench = Bench::running();
    bench.edit("products.toml", "size = \"120 x 90 x 100 mm\"", "size = \"120 x 90 x 100\"");
    bench.run(&["reload"]).expect(1, &["the new configuration was refused", "products.toml:", "dawnslip check"]);
    let status = bench.status();
    assert!(status.starts_with("needs you: 1 thing"), "{status}");
    let thing = &bench.json("/status")["things"][0];
    assert_eq!(thing["kind"], "config");
    let why = format!("{}{}", thing["why"].as_str().unwrap(), thing["do"]);
    let line = std::fs::read_to_string(bench.config().join("products.toml")).unwrap();
    let line = 1 + line.lines().position(|line| line.contains("120 x 90 x 100\"")).unwrap();
    assert!(why.contains(&format!("products.toml:{line}:")), "{why}");
    // The old one is in force: an order with that product is planned as ever.
    bench.order("A-1", &[("mug", 1)]);
    bench.until_stage("A-1", "printed");
    // The same by a signal; mended, it is taken, and the thing is gone.
    bench.signal("HUP");
    bench.edit("products.toml", "size = \"120 x 90 x 100\"", "size = \"120 x 90 x 100 mm\"");
    bench.signal("HUP");
    bench.until("word that all is well", || bench.status().starts_with("all is well"));
}

#[test]
fn no_request_is_dropped_while_the_configuration_changes() {
    let bench = Bench::running();
    let (stop, answered) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicUsize::new(0)));
    let senders: Vec<_> = (0..3)
        .map(|sender| {
            let (stop, answered, target) = (stop.clone(), answered.clone(), bench.target());
            let envelopes: Vec<_> = (0..3000)
                .map(|index| {
                    let number = format!("R-{sender}-{index}");
                    bench.sign("shop", &format!("msg_{number}"), order(&number, &[("GLZ-9", 1)]).to_string())
                })
                .collect();
            bench.runtime.spawn(async move {
                let mut sender = Sender::new(target);
                for envelope in envelopes {
                    if stop.load(Ordering::Relaxed) {
                        break;
                    }
                    match sender.send(&envelope).await {
                        Ok(told) if told.status == 202 => answered.fetch_add(1, Ordering::Relaxed),
                        Ok(told) => return Err(format!("{}: {}", told.status, told.body)),
                        Err(error) => return Err(error.to_string()),
                    };
                    tokio::time::sleep(std::time::Duration::from_millis(5)).await;
                }
                Ok(())
            })
        })
        .collect();
    for round in 0..4 {
        bench.append("workshop.toml", &format!("\n# change {round}\n"));
        let before = answered.load(Ordering::Relaxed);
        if round % 2 == 0 {
            bench.run(&["reload"]).expect(0, &["in force"]);
        } else {
            let taken = bench.log().matches("configuration in force").count();
            bench.signal("HUP");
            bench.until("configuration in force", || bench.log().matches("configuration in force").count() > taken);
        }
        bench.until("more answers", || answered.load(Ordering::Relaxed) > before + 5);
    }
    stop.store(true, Ordering::Relaxed);
    for sender in senders {
        bench.runtime.block_on(sender).unwrap().unwrap();
    }
    let told = answered.load(Ordering::Relaxed);
    let status = bench.json("/status");
    assert_eq!(status["orders"]["received"].as_u64(), Some(told as u64), "{status}");
}

#[test]
fn plans_are_looked_at_again_with_new_prices_and_limits() {
    let mut bench = Bench::new();
    bench.append("rules.toml", "\n[rule.\"not yet\"]\nwhen = \"true\"\nhold = \"the kiln is hot\"\n");
    bench.edit("services.toml", "asked_as = [\"letter\"]\n", "asked_as = [\"letter\"]\nper_day = 1\n");
    bench.start();
    let plan = |number: &str| bench.json(&format!("/orders/{number}"))["plan"].clone();
    let service = |number: &str| plan(number)["parcels"][0]["service"].as_str().map(str::to_owned);
    bench.order("A-1", &[("mug", 1)]);
    bench.until("a plan", || service("A-1").is_some());
    bench.order("A-2", &[("mug", 1)]);
    bench.until("a plan", || service("A-2").is_some());
    assert_eq!(service("A-1").as_deref(), Some("Letter"));
    assert_ne!(service("A-2").as_deref(), Some("Letter"));
    let told = plan("A-2")["alternatives"].to_string();
    assert!(told.contains("1 a day at most go by Letter, all are taken on "), "{told}");
    // The tariff changes: A-1 keeps its parcel, and its place among those of the day.
    for (before, now) in [("3.80 EUR", "3.85 EUR"), ("4.60 EUR", "4.65 EUR")] {
        bench.edit("tariffs/letter.csv", before, now);
    }
    bench.run(&["reload"]).expect(0, &["in force"]);
    bench.until("a price of today", || !plan("A-1")["instead"].is_null());
    assert_eq!(service("A-1").as_deref(), Some("Letter"));
    bench.run(&["order", "A-1"]).expect(0, &["the tariff has changed: Letter asks", "the parcels stay"]);
    // More may go by Letter: what has a plan keeps it until a person wants another.
    bench.edit("services.toml", "per_day = 1\n", "per_day = 2\n");
    bench.run(&["reload"]).expect(0, &["in force"]);
    bench.until("word of what is cheaper", || {
        plan("A-2")["what_would_change"].to_string().contains("dawnslip replan A-2")
    });
    assert_ne!(service("A-2").as_deref(), Some("Letter"));
    bench.run(&["replan", "A-2"]).expect(0, &["order A-2 is planned anew"]);
    bench.until("the cheaper one", || service("A-2").as_deref() == Some("Letter"));
    bench.run(&["order", "A-2"]).expect(0, &["a person wanted a new plan"]);
    bench.run(&["replan", "--all"]).expect(0, &["2 orders are planned anew"]);
    bench.until_still();
    bench.run(&["replan", "A-9"]).expect(1, &["A-9"]);
}
