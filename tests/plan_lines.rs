//! Questions by the line: `dawnslip fit --ndjson` and `dawnslip quote --ndjson`, against answers
//! of an independent exact solver (`checks/README.md`).

use dawnslip::plan::choose::bulk;
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Output, Stdio};

fn ask(command: &str, lines: &str) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_dawnslip"))
        .args([command, "--ndjson", "-"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

fn answers(output: &Output) -> Vec<Value> {
    String::from_utf8_lossy(&output.stdout).lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// What each parcel costs by the question's own figures; every unit is in one.
fn sum_of(question: &Value, parcels: &[Value]) -> i64 {
    let mut sent: Vec<usize> = Vec::new();
    let mut sum = 0;
    for parcel in parcels {
        let named = |list: &str, name: &Value| {
            question[list].as_array().unwrap().iter().find(|one| one["name"] == *name).unwrap().clone()
        };
        let (container, service) = (named("containers", &parcel["container"]), named("services", &parcel["service"]));
        let units: Vec<usize> =
            parcel["units"].as_array().unwrap().iter().map(|at| at.as_u64().unwrap() as usize).collect();
        let grams: i64 = units.iter().map(|at| question["units"][at]["grams"].as_i64().unwrap()).sum::<i64>()
            + container["tare_grams"].as_i64().unwrap();
        assert!(grams <= container["max_grams"].as_i64().unwrap() && grams <= service["max_grams"].as_i64().unwrap());
        let allowed = service["containers"].as_array();
        assert!(allowed.is_none_or(|names| names.contains(&container["name"])));
        let volume: i64 = container["outer"].as_array().unwrap().iter().map(|side| side.as_i64().unwrap()).product();
        let measure = if service["by"] == "volume" { (volume + 999) / 1000 } else { grams };
        let step =
            service["steps"].as_array().unwrap().iter().find(|step| step[0].as_i64().unwrap() >= measure).unwrap();
        let cost = step[1].as_i64().unwrap() + container["cost"].as_i64().unwrap();
        assert_eq!(parcel["cost"], cost);
        sum += cost;
        sent.extend(units);
    }
    sent.sort_unstable();
    assert!(sent.iter().copied().eq(0..question["units"].as_array().unwrap().len()), "{sent:?}");
    sum
}

#[test]
fn every_least_cost_agrees_with_the_exact_solver_and_is_proved() {
    let all: Vec<Value> = serde_json::from_str(include_str!("checks/parcels.json")).unwrap();
    assert_eq!(all.len(), 60);
    let lines: String = all.iter().map(|question| format!("{question}\n")).collect();
    let output = ask("quote", &lines);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let found = answers(&output);
    assert_eq!(found.len(), 60);
    for (question, answer) in all.iter().zip(&found) {
        let id = &question["id"];
        assert_eq!(answer["id"], *id);
        assert_eq!(answer["least_cost"], question["least_cost"], "{id}");
        assert_eq!(answer["verdict"], "proved", "{id}");
        let parcels = answer["parcels"].as_array().unwrap();
        match answer["least_cost"].as_i64() {
            Some(least) => assert_eq!(sum_of(question, parcels), least, "{id}"),
            None => assert!(parcels.is_empty(), "{id}"),
        }
    }
}

#[test]
fn many_equal_units_are_divided_exactly() {
    // Six go into a box of 300 x 200 x 100, two into one of 200 x 100 x 100: 20 go as 3 large and a small.
    let question = json!({
        "id": "twenty",
        "units": vec![json!({"dims": [100, 100, 100], "turn": "any", "grams": 100}); 20],
        "containers": [
            {"name": "large", "inner": [300, 200, 100], "outer": [300, 200, 100], "tare_grams": 50, "max_grams": 5000, "cost": 50},
            {"name": "small", "inner": [200, 100, 100], "outer": [200, 100, 100], "tare_grams": 20, "max_grams": 5000, "cost": 20},
        ],
        "services": [{"name": "way", "by": "weight", "max_grams": 1000, "containers": null, "steps": [[300, 200], [1000, 400]]}],
    });
    let answer = bulk::Instance::read(&question.to_string()).unwrap().decide();
    assert_eq!((answer.least_cost, answer.verdict), (Some(3 * 450 + 220), "proved"));
    let parcels: Vec<Value> = answer.parcels.iter().map(|parcel| serde_json::to_value(parcel).unwrap()).collect();
    assert_eq!(sum_of(&question, &parcels), 1570);
}

#[test]
fn what_nothing_can_carry_has_no_least_cost() {
    let question = json!({
        "id": "long",
        "units": [{"dims": [500, 10, 10], "turn": "any", "grams": 100}, {"dims": [10, 10, 10], "turn": "any", "grams": 1}],
        "containers": [{"name": "c", "inner": [300, 200, 100], "outer": [300, 200, 100], "tare_grams": 50, "max_grams": 5000, "cost": 50}],
        "services": [{"name": "way", "by": "weight", "max_grams": 1000, "containers": null, "steps": [[1000, 400]]}],
    });
    let output = ask("quote", &question.to_string());
    assert_eq!(answers(&output), [json!({"id": "long", "least_cost": null, "verdict": "proved", "parcels": []})]);
}

#[test]
fn fits_are_answered_in_order_and_a_wrong_line_is_named_while_the_others_go_on() {
    let line = |id: &str, sides: &str| {
        format!("{{\"id\":\"{id}\",\"container\":[230,130,80],\"items\":[{{\"dims\":{sides},\"turn\":\"any\"}}]}}\n")
    };
    let whole: Vec<String> = (0..40).map(|at| line(&format!("q{at}"), "[90,90,70]")).collect();
    let output = ask(
        "fit",
        &format!("{}\n{{\"id\":3}}\n{}{}", whole.concat(), line("long", "[90,90,300]"), line("nothing", "[0,9,9]")),
    );
    assert_eq!(output.status.code(), Some(1));
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(told.contains("standard input:42") && told.contains("standard input:44"), "{told}");
    assert!(told.contains("/items/0/dims"), "{told}");
    let found = answers(&output);
    let ids: Vec<&str> = found.iter().map(|answer| answer["id"].as_str().unwrap()).collect();
    let expected: Vec<String> = (0..40).map(|at| format!("q{at}")).chain(["long".to_owned()]).collect();
    assert_eq!(ids, expected);
    assert_eq!(found[0]["placement"], json!([{"item": 0, "at": [0, 0, 0], "size": [90, 90, 70]}]));
    assert_eq!((&found[40]["verdict"], &found[40]["placement"]), (&json!("cannot"), &json!([])));
    assert!(found[0]["micros"].is_u64() && found[0]["nodes"].is_u64());
}
