//! The command line: what is wrong usage, and the commands as clients of a real socket.

use super::support::*;
use dawnslip::cli::help;
use dawnslip::desk::server::{SOCKET_NAME, serve_unix};
use std::path::Path;
use std::process::{Command, Output};
use tokio::net::UnixListener;
use tokio::sync::watch;

fn parses(line: &str) -> Result<(), i32> {
    let words = shell_words(line);
    help::command().try_get_matches_from(words).map(|_| ()).map_err(|error| error.exit_code())
}

/// Words apart at spaces, `'…'` held together.
fn shell_words(line: &str) -> Vec<String> {
    let parts = line.split('\'').enumerate();
    let words = parts.flat_map(|(index, part)| match index % 2 {
        0 => part.split_whitespace().map(str::to_owned).collect::<Vec<_>>(),
        _ => vec![part.to_owned()],
    });
    std::iter::once("dawnslip".to_owned()).chain(words).collect()
}

#[test]
fn right_usage_is_taken_and_wrong_usage_is_2() {
    for line in [
        "status",
        "status --json --data /var/lib/dawnslip",
        "--config etc status",
        "orders --only needs-you --all",
        "order shop/S-417 --slip",
        "packed 417 418/2 421",
        "handed-over --all --service Road",
        "handed-over 417",
        "hold 417 paid late",
        "replan 417 shop/S-418",
        "replan --all",
        "decide unknown-product:GLZ-9 retry",
        "intake - --source shop",
        "quote --what 2*mug,1*teapot --to Middle",
        "quote --weight '1.2 kg' --container Medium",
        "quote order.json --source shop",
        "try shop --curl",
        "rehearse --orders 12 --stay",
        "galley --dots 384",
        "mode burst",
        "probe 192.168.1.40:9100 --ruler --name office",
    ] {
        assert_eq!(parses(line), Ok(()), "{line}");
    }
    for line in [
        "",
        "dance",
        "status 417",
        "order",
        "orders --only sleeping",
        "packed",
        "hold 417",
        "replan",
        "replan 417 --all",
        "handed-over",
        "handed-over 417 --all",
        "handed-over 417 --service Road",
        "decide unknown-product:GLZ-9",
        "decide unknown-product:GLZ-9 perhaps",
        "intake file.json",
        "quote",
        "quote --source shop",
        "quote order.json --what mug",
        "rehearse --orders many",
        "galley --listen nowhere",
        "probe",
        "mode",
        "mode sideways",
        "probe 192.168.1.40:9100 --name [routes]",
        "picklist --print --png list.png",
    ] {
        assert_eq!(parses(line), Err(2), "{line}");
    }
    for line in ["--help", "--version", "status --help", "help order"] {
        assert_eq!(parses(line), Err(0), "{line}");
    }
}

#[test]
fn every_example_in_the_help_is_right_usage() {
    let mut seen = 0;
    for command in help::command().get_subcommands() {
        let examples = command.get_after_help().map(ToString::to_string).unwrap_or_default();
        for line in examples.lines().filter_map(|line| line.strip_prefix("  dawnslip ")) {
            // What stands behind two spaces is an explanation, behind | or && another command.
            let line = line.split("  ").next().unwrap().split(" |").next().unwrap().split(" &&").next().unwrap();
            assert_eq!(parses(line), Ok(()), "{line}");
            seen += 1;
        }
    }
    assert!(seen > 30, "only {seen} examples");
}

#[test]
fn the_overview_groups_commands_by_who_needs_them() {
    let text = help::command().render_help().to_string();
    let place = |word: &str| text.find(word).unwrap_or_else(|| panic!("{word} is missing in\n{text}"));
    assert!(place("For the bench") < place("packed"));
    assert!(place("For the owner") < place("decide"));
    assert!(place("For the machine") < place("rehearse"));
}

/// Runs the real binary against a desk on a socket in `data`.
async fn dawnslip(data: &Path, words: &[&str]) -> (i32, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_dawnslip"));
    command.arg("--data").arg(data).args(words).env("NO_COLOR", "1");
    let Output { status, stdout, stderr } =
        tokio::task::spawn_blocking(move || command.output()).await.unwrap().unwrap();
    (status.code().unwrap(), String::from_utf8(stdout).unwrap(), String::from_utf8(stderr).unwrap())
}

#[tokio::test]
async fn commands_are_clients_of_the_socket() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path();
    let listener = UnixListener::bind(data.join(SOCKET_NAME)).unwrap();
    let (_stop, stopped) = watch::channel(false);
    tokio::spawn(serve_unix(listener, 1 << 20, Play::new(all_well()), stopped));

    let (code, out, _) = dawnslip(data, &["status"]).await;
    assert_eq!((code, out.lines().next().unwrap().starts_with("all is well")), (0, true), "{out}");
    let (code, out, _) = dawnslip(data, &["orders", "--only", "printed"]).await;
    assert_eq!((code, out.contains("S-443") && out.contains("佐藤 花子")), (0, true), "{out}");

    let (code, out, _) = dawnslip(data, &["packed", "442", "443", "999"]).await;
    assert_eq!((code, out.lines().count()), (1, 2), "two are packed, one is unknown: {out}");
    let (code, _, err) = dawnslip(data, &["packed", "442"]).await;
    assert_eq!((code, err.contains("   do   ")), (1, true), "{err}");

    let (code, out, _) = dawnslip(data, &["order", "442"]).await;
    assert_eq!(code, 0);
    for part in [
        "order S-442 from \"shop\"",
        "packed",
        "WHY THIS BOX AND SERVICE",
        "Medium by Road",
        "PAPERS",
        "HISTORY",
        "Zoë Ångström",
    ] {
        assert!(out.contains(part), "{part} is missing in\n{out}");
    }
    let (code, out, _) = dawnslip(data, &["order", "442", "--json"]).await;
    assert_eq!((code, serde_json::from_str::<serde_json::Value>(&out).unwrap()["stage"].as_str()), (0, Some("packed")));

    let picture = data.join("slip.png");
    let (code, _, _) = dawnslip(data, &["order", "442", "--png", picture.to_str().unwrap()]).await;
    assert_eq!((code, std::fs::read(&picture).unwrap().starts_with(b"\x89PNG")), (0, true));

    let (code, _, err) = dawnslip(data, &["reload"]).await;
    assert_eq!((code, err.contains("products.toml:12:8")), (1, true), "{err}");
}

#[tokio::test]
async fn a_file_is_taken_in_message_by_message() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path();
    let listener = UnixListener::bind(data.join(SOCKET_NAME)).unwrap();
    let (_stop, stopped) = watch::channel(false);
    tokio::spawn(serve_unix(listener, 1 << 20, Play::new(all_well()), stopped));

    let file = data.join("missed.ndjson");
    std::fs::write(&file, "{\"a\":1}\n{broken\n{\"a\":2}\n17\n").unwrap();
    let file = file.to_str().unwrap();
    let (code, out, err) = dawnslip(data, &["intake", file, "--source", "shop"]).await;
    assert_eq!(code, 1, "{err}");
    assert!(out.contains("missed.ndjson:2: this is not JSON"), "{out}");
    let summary = "\n4 read: 2 new, 0 known before, 1 unclear (see dawnslip status), 1 not taken\n";
    assert!(out.ends_with(summary), "{out}");
    let (code, _, err) = dawnslip(data, &["intake", file, "--source", "full"]).await;
    assert_eq!((code, err.contains("the disk has no room")), (1, true), "{err}");
    let (code, _, err) = dawnslip(data, &["intake", "/nowhere/file", "--source", "shop"]).await;
    assert_eq!((code, err.contains("cannot be read")), (1, true), "{err}");
}

#[tokio::test]
async fn without_a_daemon_an_action_says_how_to_start_it() {
    let folder = tempfile::tempdir().unwrap();
    let (code, out, err) = dawnslip(folder.path(), &["hold", "442", "paid late"]).await;
    assert_eq!((code, out.as_str()), (1, ""));
    assert!(err.contains("no daemon runs") && err.contains("dawnslip run"), "{err}");
    // A socket that a killed daemon left behind is no daemon.
    drop(UnixListener::bind(folder.path().join(SOCKET_NAME)).unwrap());
    let (code, _, err) = dawnslip(folder.path(), &["start-packing"]).await;
    assert_eq!((code, err.contains("dawnslip run")), (1, true), "{err}");
}

/// Whichever command reads it: what, why and what to do, each said once.
#[tokio::test(flavor = "multi_thread")]
async fn a_folder_that_is_not_there_is_told_once_with_its_cause() {
    let folder = tempfile::tempdir().unwrap();
    let missing = folder.path().join("etc").display().to_string();
    let commands: [&[&str]; 5] =
        [&["status"], &["quote", "--what", "2*mug"], &["check"], &["run"], &["compare", "--boxes", "2"]];
    for command in commands {
        let (code, said, told) = dawnslip(folder.path(), &[command, &["--config", &missing]].concat()).await;
        assert_eq!((code, said.as_str()), (1, ""), "{command:?}: {told}");
        let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
        let expected = format!(
            "the configuration cannot be read why could not read {missing}: No such file or directory (os error 2) do name its folder: --config DIR"
        );
        assert!(told.starts_with(&expected), "{command:?}: {told}");
    }
}
