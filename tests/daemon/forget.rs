//! Forgetting with the real program: no byte is left, papers and desk say so, a receipt is given;
//! and at no level does a log tell of a person.

use super::support::*;
use dawnslip::book::Action;
use dawnslip::clock::{Clock, ShiftedClock};
use dawnslip::daemon;
use dawnslip::desk::{Backend, TakenIn};
use dawnslip::model::{JobState, OrderKey};
use dawnslip::print::net::TcpNet;
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};
use std::fs;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Marked words: name, street, mail, phone, what the customer wishes, what is typed at the bench.
const MARKS: [&str; 6] =
    ["Qqanna Qqmarked", "Qqstreet 17", "qqmail@example.org", "+99 778811", "qqwish by the door", "qqtyped reason"];

/// An order of the marked person.
fn marked_order(number: &str, sku: &str) -> Value {
    let [name, street, mail, phone, wish, _] = MARKS;
    let mut order = order(number, &[(sku, 1)]);
    order["customer"] = json!({"@type": "Person", "name": name, "email": mail, "telephone": phone});
    let address = &mut order["orderDelivery"]["deliveryAddress"];
    address["name"] = json!(name);
    address["streetAddress"] = json!(street);
    address["telephone"] = json!(phone);
    order["orderDelivery"]["deliveryNotes"] = json!(wish);
    order["description"] = json!(wish);
    order
}

/// Every file below a folder.
fn all_files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_owned()];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let entry = entry.unwrap();
            match entry.file_type().unwrap() {
                kind if kind.is_dir() => open.push(entry.path()),
                kind if kind.is_file() => found.push(entry.path()),
                _ => {}
            }
        }
    }
    found
}

/// Which marked words stand in which files.
fn marked(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for file in all_files(folder) {
        // One that goes while we look is not there any more.
        let Ok(bytes) = fs::read(&file) else { continue };
        for mark in MARKS {
            if bytes.windows(mark.len()).any(|part| part == mark.as_bytes()) {
                found.push(format!("{mark} in {}", file.display()));
            }
        }
    }
    found
}

#[test]
fn no_byte_is_left_and_everybody_says_since_when() {
    let mut bench = Bench::running();
    bench.order("A-2", &[("mug-dawn", 1)]);
    assert_eq!(bench.send("msg_A-1", marked_order("A-1", "mug-dawn").to_string()).status, 202);
    bench.until_stage("A-1", "printed");
    bench.until_still();
    bench.run(&["hold", "A-1", MARKS[5]]).expect(0, &[]);
    bench.run(&["order", "A-1"]).expect(0, &["held: qqtyped reason", "Qqstreet 17"]);
    bench.run(&["backup"]).expect(0, &[]);
    let before = marked(&bench.data());
    for mark in [MARKS[0], MARKS[1], MARKS[2], MARKS[5]] {
        assert!(before.iter().any(|line| line.starts_with(mark)), "{mark} was never there: {before:?}");
    }
    assert!(before.iter().any(|line| line.contains("backups")), "{before:?}");

    // Not by mistake.
    bench.run(&["forget", "A-1"]).expect(1, &["is open", "--yes"]);
    bench.run(&["forget", "Z-9", "--yes"]).expect(1, &["Z-9"]);
    assert_eq!(marked(&bench.data()).len(), before.len());

    let receipt = bench.folder.path().join("receipt.txt");
    let said = bench.run(&["forget", "A-1", "--yes", "--out", receipt.to_str().unwrap()]);
    let said = said.expect(
        0,
        &["personal data of order shop/A-1 are erased", "backups", "STAYS", "OUT OF REACH", "record", "digest"],
    );
    assert_eq!(fs::read_to_string(&receipt).unwrap().trim(), said.out.trim());
    assert_eq!(marked(&bench.data()), Vec::<String>::new());

    // The ledger can prove the receipt.
    let digest = said.out.split_whitespace().last().unwrap().to_owned();
    bench.until_indexed();
    let view = bench.json("/orders/A-1");
    let erased = view["history"].as_array().unwrap().iter().find(|h| h["fact"]["erased"].is_object()).unwrap().clone();
    assert_eq!(erased["fact"]["erased"]["receipt"], json!(digest));
    assert!(erased["fact"]["erased"]["lines"].as_u64().unwrap() >= 3, "{erased}");

    // Desk and papers say so instead of failing.
    bench.run(&["order", "A-1"]).expect(0, &["cancelled", "personal data erased on"]);
    assert!(view["erased"].is_string() && view["recipient"].is_null());
    bench.run(&["order", "A-1", "--slip"]).expect(0, &["name erased"]);
    let slip = view["papers"].as_array().unwrap().iter().find(|paper| paper["kind"] == "slip").unwrap().clone();
    bench.run(&["reprint", slip["job"].as_str().unwrap()]).expect(1, &["were erased on"]);
    bench.until_still();
    let notes: Vec<_> = bench.papers_of("A-1").into_iter().filter(|paper| paper["kind"] == "stop_note").collect();
    assert_eq!(notes.len(), 1, "what lies at the bench must not be sent");

    // The shop tries again: the same answer, and nothing comes back.
    assert_eq!(bench.send("msg_A-1", marked_order("A-1", "mug-dawn").to_string()).status, 200);
    let mut changed = marked_order("A-1", "bowl-dusk");
    changed["orderedItem"].as_array_mut().unwrap().push(item("mug-dawn", json!(2)));
    assert_eq!(bench.send("msg_A-1b", changed.to_string()).status, 202);
    bench.run(&["status"]).expect(1, &["whose personal data were erased on"]);
    assert_eq!(marked(&bench.data()), Vec::<String>::new());

    bench.restart();
    bench.kill();
    bench.start();
    bench.run(&["order", "A-1"]).expect(0, &["personal data erased on"]);
    bench.run(&["order", "A-2"]).expect(0, &["Zoë Ångström", "Quay Street 4"]);
    // Once more gives a receipt once more.
    bench.run(&["forget", "A-1"]).expect(0, &["personal data of order shop/A-1 are erased"]);
    let (status, _) = bench.terminate();
    assert!(status.success());
    assert_eq!(marked(&bench.data()), Vec::<String>::new());
    bench.run(&["order", "A-1"]).expect(0, &["personal data erased on"]);
}

#[test]
fn old_personal_data_go_by_themselves_and_open_orders_stay() {
    let bench = Bench::new();
    let begun = Timestamp::now();
    let clock = Arc::new(ShiftedClock::starting_at(begun));
    let after = |days: i64| begun + SignedDuration::from_hours(24 * days);
    let any = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
    let options = daemon::Options {
        place: daemon::Place { folder: bench.config() },
        data: bench.data(),
        clock: Arc::clone(&clock) as Arc<dyn Clock>,
        net: Arc::new(TcpNet),
        listen: Some((any, any)),
    };
    bench.runtime.block_on(async {
        let running = daemon::start(options).await.unwrap();
        let house = Arc::clone(&running.house);
        for body in [marked_order("A-1", "mug-dawn"), order("A-2", &[("GLZ-9", 1)])] {
            let told = house.take_in("shop".into(), body.to_string().into()).await.unwrap();
            assert!(matches!(told, TakenIn::New(_)), "{told:?}");
        }
        let cancel = Action::Cancel { order: OrderKey::new("shop", "A-1"), reason: MARKS[5].into() };
        house.act(cancel).await.unwrap();
        let still = || {
            house
                .read()
                .state
                .jobs
                .values()
                .all(|job| matches!(job.state, JobState::OnPaper { .. } | JobState::Dropped { .. }))
        };
        let patient = std::time::Instant::now();
        while !still() {
            assert!(patient.elapsed() < PATIENCE, "papers do not come");
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        // 90 days are kept.
        clock.move_to(after(80));
        daemon::upkeep::put_away(&house).await;
        house.look_for_old().await.unwrap();
        assert!(!house.read().state.orders.contains_key(&OrderKey::new("shop", "A-1")), "it is archived");
        assert!(!marked(&bench.data()).is_empty());
        clock.move_to(after(92));
        house.look_for_old().await.unwrap();
        assert_eq!(marked(&bench.data()), Vec::<String>::new());
        let read = house.read();
        assert_eq!(read.state.retention.unwrap().orders, 1);
        let open = read.people.of(&OrderKey::new("shop", "A-2"), 1).unwrap();
        assert_eq!(open.recipient.reveal(), "Zoë Ångström", "an open order is never touched");
        let status = dawnslip::desk::status::status(&read, house.now()).text(&read.workshop.zone);
        let status = status.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(status.contains("kept for 90 days") && status.contains("those of 1 order were erased"), "{status}");
        // Facts stay, and the desk says that they are all.
        let facts = house.history(&OrderKey::new("shop", "A-1")).await;
        assert!(facts.len() > 3, "{facts:?}");
        running.stop().await;
    });
}

/// Everything that people and shops do, with a marked person; then no line of the log tells of it.
fn a_day_with_a_marked_person(bench: &mut Bench) {
    let said = |id: &str, body: String| bench.send(id, body).status;
    assert_eq!(said("good", marked_order("A-1", "mug-dawn").to_string()), 202);
    assert_eq!(said("unknown", marked_order("A-2", "GLZ-9").to_string()), 202);
    // Cannot be mapped: an order whose lines are no list.
    let mut broken = marked_order("A-3", "mug-dawn");
    broken["orderedItem"] = json!(MARKS[0]);
    broken["orderNumber"] = json!({ "is": MARKS[1] });
    assert_eq!(said("broken", broken.to_string()), 202);
    assert_eq!(said("no json", format!("{{ {} ", MARKS[2])), 202);
    // Odd values where a figure belongs.
    let mut odd = marked_order("A-4", "mug-dawn");
    odd["orderedItem"][0]["orderQuantity"] = json!(MARKS[0]);
    odd["orderDelivery"]["deliveryAddress"]["addressCountry"] = json!(MARKS[1]);
    said("odd", odd.to_string());
    // The same id with another body.
    assert_eq!(said("good", marked_order("A-1", "bowl-dusk").to_string()), 202);
    // Refused: a signature that does not fit, a name in the path, nonsense.
    let mut forged = bench.sign("shop", "forged", marked_order("A-9", "mug-dawn").to_string());
    forged.body = marked_order("A-8", "mug-dawn").to_string().into();
    let refused = bench.runtime.block_on(dawnslip::intake::sender::Sender::new(bench.target()).send(&forged));
    assert_eq!(refused.unwrap().status, 401);
    let intake = bench.daemon().intake;
    let path = MARKS[1].replace(' ', "%20");
    for raw in [
        format!("POST /intake/{path} HTTP/1.1\r\nHost: x\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"),
        format!("{}\r\n\r\n", MARKS[0]),
    ] {
        let _ = exchange(intake, raw);
    }
    bench.until_stage("A-1", "printed");
    bench.until_still();
    for words in [
        &["hold", "A-1", MARKS[5]][..],
        &["release", "A-1"],
        &["order", "A-1"],
        &["orders"],
        &["order", MARKS[0]],
        &["decide", MARKS[2], "retry"],
        &["picklist"],
        &["remap"],
        &["cancel", "A-2", MARKS[5]],
        &["export", "-"],
        &["backup"],
        &["forget", "A-1", "--yes"],
        &["status"],
    ] {
        bench.run(words);
    }
    let desk = bench.daemon().desk;
    let _ = exchange(desk, format!("GET /orders/{path} HTTP/1.1\r\nHost: {desk}\r\nConnection: close\r\n\r\n"));
    bench.until_still();
}

fn log_tells_of_nobody(bench: &Bench) {
    let log = bench.log();
    assert!(log.contains("message kept") && log.contains("on paper") && log.contains("personal data erased"), "{log}");
    for mark in MARKS {
        for part in [mark, mark.split(' ').next().unwrap()] {
            let line = log.lines().find(|line| line.contains(part));
            assert_eq!(line, None, "{part:?} stands in the log");
        }
    }
}

#[test]
fn the_log_tells_of_no_person_by_default() {
    let mut bench = Bench::running();
    a_day_with_a_marked_person(&mut bench);
    log_tells_of_nobody(&bench);
    bench.restart();
}

#[test]
fn the_log_tells_of_no_person_when_all_is_told() {
    let mut bench = Bench::new();
    bench.start_wrapped(&["env", "RUST_LOG=debug"]);
    a_day_with_a_marked_person(&mut bench);
    log_tells_of_nobody(&bench);
    assert!(bench.log().lines().any(|line| line.contains("\"DEBUG\"")), "nothing was told at that level");
}
