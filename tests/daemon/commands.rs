//! The commands: with a daemon and without one, what they say and with which exit code.

use super::support::*;
use serde_json::json;
use std::fs;
use std::process::Command;

#[test]
fn every_command_does_its_work_with_a_daemon() {
    let bench = Bench::running();
    for number in 1..=4 {
        bench.order(&format!("A-{number}"), &[("mug-dawn", 1)]);
    }
    bench.order("A-5", &[("GLZ-9", 1)]);
    bench.order("A-6", &[("jug", 1)]);
    // The shop's numbers with S- have no gaps.
    bench.order("S-1", &[("mug-dawn", 1)]);
    bench.order("S-3", &[("mug-dawn", 1)]);
    bench.until_still();

    bench.run(&["status"]).expect(1, &["needs you: 2 things", "GLZ-9", "S-2 never came", "waiting: 1"]);
    let status = bench.run(&["status", "--json"]).expect(1, &[]).json();
    assert_eq!(status["things"].as_array().unwrap().len(), 2, "{status}");
    bench.run(&["orders"]).expect(0, &["A-1", "S-3", "Zoë Ångström"]);
    let waiting = bench.run(&["orders", "--only", "waiting", "--json"]).expect(0, &[]).json();
    assert_eq!(waiting["orders"][0]["number"], "A-6");
    bench.run(&["order", "A-1"]).expect(0, &["A-1", "printed", "Quay Street 4"]);
    bench.run(&["order", "shop/A-1", "--slip"]).expect(0, &["A-1", "Zoë Ångström"]);
    let picture = bench.folder.path().join("slip.png");
    bench.run(&["order", "A-1", "--png", picture.to_str().unwrap()]).expect(0, &["drawn into"]);
    assert!(fs::read(&picture).unwrap().starts_with(b"\x89PNG\r\n"));
    bench.run(&["order", "Z-9"]).expect(1, &["Z-9"]);

    bench.run(&["picklist"]).expect(0, &["Pick list", "A-1"]);
    let before = bench.galley.papers().len();
    bench.run(&["picklist", "--print"]).expect(0, &[]);
    bench.until("pick list on the galley", || bench.galley.papers().len() > before);

    bench.run(&["packed", "A-1", "A-2"]).expect(0, &[]);
    bench.until_stage("A-1", "packed");
    bench.run(&["unpack", "A-1"]).expect(0, &[]);
    bench.until_stage("A-1", "printed");
    bench.run(&["unpack", "A-1"]).expect(1, &["A-1"]);
    bench.run(&["handed-over", "A-2"]).expect(0, &[]);
    bench.until_stage("A-2", "handed over");
    bench.run(&["handed-over", "--all"]).expect(1, &["no such parcel is packed"]);

    bench.run(&["hold", "A-3", "paid", "late"]).expect(0, &[]);
    bench.run(&["order", "A-3"]).expect(0, &["held", "paid late"]);
    bench.run(&["release", "A-3"]).expect(0, &[]);
    assert!(!bench.run(&["order", "A-3"]).expect(0, &[]).out.contains("paid late\n   do"));
    bench.run(&["cancel", "A-4", "ordered", "twice"]).expect(0, &[]);
    bench.until_stage("A-4", "cancelled");
    bench.until_still();
    let notes: Vec<_> = bench.papers_of("A-4").into_iter().filter(|paper| paper["kind"] == "stop_note").collect();
    assert_eq!(notes.len(), 1);
    assert_eq!(bench.on_galley(&notes[0]), 1);

    bench.run(&["ready", "A-6"]).expect(0, &[]);
    bench.until_stage("A-6", "printed");
    bench.run(&["nosuch", "S-2"]).expect(0, &[]);
    bench.run(&["nosuch", "S-2"]).expect(1, &["S-2"]);
    bench.run(&["decide", "unknown-product:GLZ-9", "retry"]).expect(0, &[]);
    bench.until("question again", || bench.status().contains("GLZ-9"));
    bench.run(&["decide", "unknown-product:GLZ-9", "cancel"]).expect(0, &[]);
    bench.until_stage("A-5", "cancelled");
    bench.run(&["decide", "unknown-product:GLZ-9", "cancel"]).expect(1, &["unknown-product:GLZ-9"]);

    let slip = bench.papers_of("A-3").into_iter().find(|paper| paper["kind"] == "slip").unwrap();
    bench.run(&["reprint", slip["job"].as_str().unwrap(), "coffee", "on", "it"]).expect(0, &["queued as j"]);
    bench.until_still();
    let copies: Vec<_> = bench.papers_of("A-3").into_iter().filter(|paper| paper["copy"] == true).collect();
    assert_eq!(copies.len(), 1);
    assert_eq!(bench.on_galley(&copies[0]), 1);
    bench.run(&["start-packing"]).expect(0, &[]);
    bench.run(&["status"]).expect(0, &["all is well"]);

    // Wrong usage.
    for words in [&["ordres"][..], &["packed"], &["decide", "x", "perhaps"], &["quote"], &["hold", "A-1"]] {
        bench.run(words).expect(2, &["--help"]);
    }
}

#[test]
fn without_a_daemon_reading_works_and_changing_says_how_to_start_one() {
    let mut bench = Bench::new();
    bench.run(&["status"]).expect(1, &["there is no data folder", "dawnslip run"]);
    bench.start();
    bench.order("A-1", &[("mug-dawn", 1)]);
    bench.order("A-2", &[("GLZ-9", 1)]);
    bench.until_still();
    let online = bench.run(&["order", "A-1", "--json"]).json();
    bench.terminate();
    bench.run(&["status"]).expect(1, &["needs you: 1 thing", "GLZ-9"]);
    bench.run(&["orders"]).expect(0, &["A-1", "A-2"]);
    let offline = bench.run(&["order", "A-1", "--json"]).expect(0, &[]).json();
    assert_eq!(offline["history"], online["history"]);
    assert_eq!(offline, online);
    bench.run(&["order", "A-1", "--slip"]).expect(0, &["Zoë Ångström"]);
    bench.run(&["picklist"]).expect(0, &["Pick list"]);
    let file = bench.folder.path().join("order.json");
    fs::write(&file, order("A-3", &[("mug", 1)]).to_string()).unwrap();
    let changing = [
        &["packed", "A-1"][..],
        &["unpack", "A-1"],
        &["handed-over", "A-1"],
        &["hold", "A-1", "why"],
        &["release", "A-1"],
        &["cancel", "A-1"],
        &["ready", "A-1"],
        &["nosuch", "S-2"],
        &["decide", "unknown-product:GLZ-9", "retry"],
        &["reprint", "j1"],
        &["start-packing"],
        &["picklist", "--print"],
        &["remap"],
        &["reload"],
        &["test-page"],
        &["intake", file.to_str().unwrap(), "--source", "shop"],
    ];
    for words in changing {
        bench.run(words).expect(1, &["nothing was changed", "dawnslip run"]);
    }
    // It has changed nothing, and the next start is a clean one.
    bench.start();
    bench.until_indexed();
    assert_eq!(bench.run(&["order", "A-1", "--json"]).json(), online);
}

#[test]
fn a_test_page_shows_what_the_printer_can() {
    let bench = Bench::running();
    bench.run(&["test-page"]).expect(0, &["queued as j1"]);
    bench.until_still();
    let jobs = bench.jobs();
    let [job] = jobs.as_slice() else { panic!("{jobs:?}") };
    assert_eq!((&job["kind"], &job["state"]), (&json!("test_page"), &json!("on paper")), "{job}");
    assert_eq!(bench.on_galley(job), 1, "{job}");
}

#[test]
fn messages_come_from_files_too() {
    let bench = Bench::running();
    let file = |name: &str, text: String| {
        let file = bench.folder.path().join(name);
        fs::write(&file, text).unwrap();
        file.to_str().unwrap().to_owned()
    };
    let one = file("one.json", serde_json::to_string_pretty(&order("A-1", &[("mug-dawn", 1)])).unwrap());
    bench.run(&["intake", &one, "--source", "shop"]).expect(0, &["1 new"]);
    bench.run(&["intake", &one, "--source", "shop"]).expect(0, &["0 new", "1 known"]);
    let line = |number: &str| order(number, &[("mug-dawn", 1)]).to_string();
    let many = file("many.ndjson", format!("{}\n{{\"broken\": \n{}\n", line("A-2"), line("A-3")));
    bench.run(&["intake", &many, "--source", "shop"]).expect(1, &["2 new", "many.ndjson:2:"]);
    let told = bench.run(&["intake", &many, "--source", "shop", "--json"]).expect(1, &[]).json();
    assert_eq!((&told["new"], &told["known"]), (&json!(0), &json!(2)), "{told}");
    bench.run(&["intake", &one, "--source", "shopp"]).expect(1, &["shopp"]);
    bench.run(&["intake", "/nowhere/x.json", "--source", "shop"]).expect(1, &["/nowhere/x.json"]);
    bench.until_still();
    for number in ["A-1", "A-2", "A-3"] {
        bench.until_stage(number, "printed");
    }
    assert_eq!(bench.galley.papers().len(), 6);
}

#[test]
fn what_could_not_be_mapped_is_mapped_after_the_mapping_is_mended() {
    let bench = Bench::running();
    let sale = json!({"event": "sale", "sale": {"reference": "F-9", "goods": [{"code": "mug-dawn", "count": 1, "kind": "thing"}],
        "currency": "EUR", "to": {"name": "Ελένη Θαλασσινού", "lines": ["Fold 7"], "town": "Northfold", "code": "3055", "land": "QS"}}});
    let told = bench.send_as("fair", "", sale.to_string());
    assert_eq!(told.status, 202, "{}", told.body);
    assert!(told.body.contains("could not be mapped"), "{}", told.body);
    bench.run(&["status"]).expect(1, &["needs you: 1 thing", "fair"]);
    bench.run(&["remap"]).expect(0, &["1 still cannot be"]);
    bench.edit("sources.toml", "number = \"/ref\"", "number = \"/reference\"");
    bench.run(&["reload"]).expect(0, &["in force"]);
    bench.run(&["remap", "fair"]).expect(0, &["1 mapped, none is left"]);
    bench.until_stage("F-9", "printed");
    bench.until_still();
    bench.run(&["status"]).expect(0, &["all is well"]);
    bench.run(&["remap"]).expect(0, &["no message waits"]);
}

#[test]
fn a_trial_message_goes_the_whole_way_also_as_a_curl_command() {
    let bench = Bench::running();
    let to = bench.target().to_string();
    for source in ["shop", "fair", "stall"] {
        bench
            .run(&["try", source, "--to", &to])
            .expect(0, &["secret", "signed", "sent", "answered 202", "the way is open"]);
        let command =
            bench.run(&["try", source, "--to", &to, "--curl"]).expect(0, &["curl --include --request POST"]).out;
        match Command::new("sh").arg("-c").arg(&command).output() {
            Ok(said) if said.status.code() != Some(127) => {
                let said = String::from_utf8_lossy(&said.stdout).into_owned();
                assert!(said.contains(" 202 ") || said.contains(" 200 "), "{source}: {said}\n{command}");
            }
            _ => eprintln!("there is no curl on this machine: the printed command was not run"),
        }
    }
    bench.edit("secrets/fair", "\n", "changed\n");
    bench.run(&["try", "fair", "--to", &to]).expect(1, &["answered 401", "not accepted"]);
    bench.run(&["try", "market", "--to", &to]).expect(1, &["there is no source \"market\"", "shop"]);
    bench.run(&["try", "shop", "--to", "http://127.0.0.1:1"]).expect(1, &["nobody answers"]);
    bench.run(&["status"]).expect(0, &["all is well"]);
}

#[test]
fn check_and_quote_need_no_daemon() {
    let bench = Bench::new();
    bench.run(&["check"]).expect(0, &["Tern & Thistle", "all is well"]);
    assert_eq!(bench.run(&["check", "--json"]).expect(0, &[]).json()["complaints"], json!([]));
    bench.run(&["quote", "--what", "2*mug,1*teapot", "--to", "Middle"]).expect(0, &["proved cheapest", "postage"]);
    let quoted = bench.run(&["quote", "--what", "4*mug", "--to", "QS/1203", "--json"]).expect(0, &[]).json();
    assert!(quoted.is_object(), "{quoted}");
    bench.run(&["quote", "--what", "4*mugg", "--to", "Middle"]).expect(1, &["mugg"]);
    let file = bench.folder.path().join("order.json");
    fs::write(&file, order("A-1", &[("mug", 2)]).to_string()).unwrap();
    bench.run(&["quote", file.to_str().unwrap(), "--source", "shop"]).expect(0, &["proved cheapest"]);
    bench.edit("products.toml", "weight = \"360 g\"", "weight = 360");
    bench.edit("workshop.toml", "currency = \"EUR\"", "curency = \"EUR\"");
    let said = bench.run(&["check"]).expect(1, &["products.toml:", "360 g", "workshop.toml:", "currency"]);
    assert!(said.err.is_empty(), "{}", said.err);
    let found = bench.run(&["check", "--json"]).expect(1, &[]).json();
    assert!(found.to_string().contains("products.toml"), "{found}");
    bench.run(&["run"]).expect(1, &["products.toml:", "dawnslip check"]);
    bench.run(&["quote", "--what", "4*mug"]).expect(1, &["mistakes"]);
}
