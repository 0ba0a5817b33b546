//! Questions by the line: `dawnslip fit --ndjson` and `dawnslip quote --ndjson`, against answers
//! of an independent exact solver (`checks/README.md`).

use dawnslip::plan::choose::bulk;
use serde_json::{Value, json};
use std::io::{BufReader, Write};
use std::path::Path;
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

/// Runs a command on the sample configuration.
fn on_the_sample(words: &[&str]) -> (bool, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_dawnslip"));
    command.args(["--config", concat!(env!("CARGO_MANIFEST_DIR"), "/config")]).args(words).env("NO_COLOR", "1");
    let output = command.output().unwrap();
    (output.status.success(), String::from_utf8(output.stdout).unwrap())
}

/// How many dots a picture has across, and how many of them are black.
fn dots(file: &Path) -> (u32, u64) {
    let mut reader = png::Decoder::new(BufReader::new(std::fs::File::open(file).unwrap())).read_info().unwrap();
    let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut bytes).unwrap();
    assert_eq!(info.bit_depth, png::BitDepth::One);
    let all = u64::from(info.width.next_multiple_of(8)) * u64::from(info.height);
    let white: u64 = bytes.iter().map(|byte| u64::from(byte.count_ones())).sum();
    (info.width, all - white)
}

/// Mugs of 120 x 90 x 100 mm, kept upright: two side by side need 240 mm.
#[test]
fn fit_says_how_things_lie_and_draws_it_only_where_they_go_in() {
    let folder = tempfile::tempdir().unwrap();
    let picture = |name: &str| folder.path().join(name);
    let fit = |room: &str, things: &str, name: &str| {
        on_the_sample(&["fit", "--box", room, things, "--picture", picture(name).to_str().unwrap()])
    };
    let (went_in, told) = fit("240x90x100mm", "2*mug", "two.png");
    assert!(went_in && told.starts_with("fits: 2 pieces in 240 x 90 x 100 mm, 100 % filled\n"), "{told}");
    assert_eq!(told.matches("120 across, 90 to the back, 100 up").count(), 2, "{told}");
    let (width, black) = dots(&picture("two.png"));
    assert_eq!(width, 576);
    let (went_in, _) = fit("240x180x100mm", "4*mug", "four.png");
    assert!(went_in);
    let (_, more) = dots(&picture("four.png"));
    assert!(black > 1000 && more > black, "{black} dots for two, {more} for four");
    let (went_in, told) = fit("239x90x100mm", "2*mug", "none.png");
    assert!(!went_in && told.starts_with("does not fit, proved\n"), "{told}");
    assert!(!picture("none.png").exists());
}

/// The sample's figures: 6.40 to Middle up to 2 kg, a Medium 0.62, and what tissue, tape and card come to.
#[test]
fn quote_explains_parts_of_dearer_ways_and_every_rule() {
    let asked = ["quote", "--what", "2*mug,1*teapot", "--to", "Middle"];
    let (settled, told) = on_the_sample(&asked);
    assert!(settled && told.starts_with("Medium by Road"), "{told}");
    assert!(told.contains("postage 6.40  container 0.62  supplies 0.18"), "{told}");
    assert!(!told.contains("rules.toml:"), "only where asked for: {told}");
    let (_, in_full) = on_the_sample(&[&asked[..], &["--explain"]].concat());
    // In full each container is refused with each service: the reasons are the same.
    let squeezed = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let all = squeezed(&in_full);
    for line in told.lines() {
        let (_, said) = line.split_once("  -   ").unwrap_or(("", line));
        assert!(all.contains(&squeezed(said)), "{line:?} is missing in\n{in_full}");
    }
    assert!(in_full.contains("postage 7.20  container 0.62  supplies 0.18"), "the mailer's parts: {in_full}");
    let rules = include_str!("../config/rules.toml");
    let named: Vec<(usize, &str)> = rules
        .lines()
        .zip(1..)
        .filter_map(|(line, at)| Some((at, line.strip_prefix("[rule.\"")?.strip_suffix("\"]")?)))
        .collect();
    assert_eq!(named.len(), 5);
    for (at, name) in named {
        let told = format!("\"{name}\" does not apply");
        let line = in_full.lines().find(|line| line.contains(&told)).unwrap_or_else(|| panic!("{told}: {in_full}"));
        assert!(line.ends_with(&format!("(rules.toml:{at})")), "{line}");
    }
    assert!(in_full.contains("      goods.sku: mug, teapot\n") && in_full.contains("order.quantity: 3\n"), "{in_full}");
}
