//! kill -9 while orders come and papers print, and where the daemon is about something rare:
//! starting, writing a snapshot, archiving and letting a segment go, stopping. After each the
//! folder is copied and looked through.

use super::house;
use super::load::*;
use super::promise::{Answered, Promises, broken};
use super::support::{Bench, order};
use jiff::Timestamp;
use std::path::Path;
use std::process::Stdio;
use std::sync::Arc;
use std::time::Duration;

/// Rounds without another wish.
const ROUNDS: usize = 4;
/// Messages of 240 kB that fill more than a segment, in the first round.
const FILLING: usize = 74;

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let (kind, to) = (entry.file_type().unwrap(), to.join(entry.file_name()));
        if kind.is_dir() {
            copy(&entry.path(), &to);
        } else if kind.is_file() {
            std::fs::copy(entry.path(), to).unwrap();
        }
    }
}

/// Everything that was answered so far.
#[derive(Default)]
struct Kept(Promises);

impl Kept {
    /// Adds what the senders were told since, and looks whether a copy of the folder holds it all;
    /// nor does any paper lie there twice.
    fn look(&mut self, bench: &Bench, told: &Told, now: Timestamp, what: &str) {
        let answered = |number: String| Answered { step: 0, message: format!("msg_{number}"), orders: vec![number] };
        self.0.answered.extend(told.kept.lock().unwrap().drain(..).map(answered));
        let seen = tempfile::tempdir().unwrap();
        copy(&bench.data(), &seen.path().join("data"));
        let broken = broken(seen.path(), &self.0, now);
        assert!(broken.is_empty(), "{what}: {broken:#?}");
        nothing_twice(bench, what);
    }
    fn numbers(&self) -> Vec<String> {
        self.0.answered.iter().flat_map(|answered| answered.orders.clone()).collect()
    }
}

/// `DAWNSLIP_KILLS=200 cargo test --test crashes kill_9` for more, `DAWNSLIP_SEED=n` for others.
#[test]
fn kill_9_under_load_loses_nothing_answered_and_no_paper_comes_twice_without_saying_so() {
    let (rounds, seed) = (number_of("DAWNSLIP_KILLS", ROUNDS), number_of("DAWNSLIP_SEED", 417));
    let mut bench = Bench::new();
    let mut dice = Dice(seed as u64);
    let told = Arc::new(Told::default());
    let mut kept = Kept::default();
    for round in 0..rounds {
        bench.start();
        let senders = load(&bench, round, &told);
        // After at least one answer, then within 0 to 200 ms.
        bench.until("answer", || told.count() > 0);
        std::thread::sleep(Duration::from_millis(dice.next() % 200));
        bench.kill();
        wait_for(&bench, senders);
        assert!(told.refused.lock().unwrap().is_empty(), "{:?}", told.refused);
        kept.look(&bench, &told, Timestamp::now(), &format!("seed {seed}, round {round}"));
    }
    bench.start();
    let status = bench.json("/status");
    assert!(!status["off"].as_array().unwrap().is_empty(), "it does not say that it was off: {status}");
    let numbers = kept.numbers();
    let lost: Vec<_> = numbers.iter().filter(|number| !bench.knows(number)).collect();
    assert!(lost.is_empty(), "seed {seed}: of {} answered orders these are lost: {lost:?}", numbers.len());
    let set_aside = until_printed(&bench, &numbers);
    each_paper_once(&bench, &numbers);
    nothing_twice(&bench, &format!("seed {seed}, at the end"));
    println!(
        "kill -9 under load, seed {seed}: {rounds} rounds; of {} answered orders lost 0; of {} papers doubled without COPY 0; \
         {set_aside} orders were being planned at two kills and were set aside until tried again",
        numbers.len(),
        bench.galley.papers().len()
    );
}

/// Works for a while and is killed in the middle of `word`.
fn killed_at(bench: &mut Bench, word: &str, round: usize, told: &Arc<Told>, dice: &mut Dice) {
    let base = bench.folder.path().to_owned();
    let senders = load(bench, round, told);
    bench.until("some answers", || told.count() >= 4);
    // Something for the archive of a later round.
    let closed: Vec<String> =
        told.kept.lock().unwrap().iter().filter(|number| !is_printable(number)).take(2).cloned().collect();
    for number in closed {
        bench.run(&["cancel", &number]).expect(0, &[]);
    }
    match word {
        "stop" => bench.signal("TERM"),
        _ => house::begin(&base, word),
    }
    // About as long as it takes.
    let milliseconds = if word == "archive" { 2000 } else { 200 };
    std::thread::sleep(Duration::from_millis(dice.next() % milliseconds));
    bench.kill();
    wait_for(bench, senders);
}

#[test]
fn kill_9_at_start_snapshot_archive_and_stop_loses_nothing() {
    let (rounds, seed) = (number_of("DAWNSLIP_KILLS", ROUNDS), number_of("DAWNSLIP_SEED", 417));
    let mut dice = Dice(seed as u64);
    let mut bench = Bench::new();
    let base = bench.folder.path().to_owned();
    let told = Arc::new(Told::default());
    let mut kept = Kept::default();
    let mut archived = 0;
    for round in 0..rounds {
        let days = 20 * round as i64;
        bench.ahead = house::ahead(days);
        let mut command = house::command(&base, super::HOUSE, days);
        let word = ["snapshot", "archive", "start", "stop"][round % 4];
        if word == "start" {
            let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
            std::thread::sleep(Duration::from_millis(dice.next() % 400));
            child.kill().unwrap();
            child.wait().unwrap();
        } else {
            bench.start_by(command);
            for index in 0..if round == 0 { FILLING } else { 0 } {
                let mut large = order(&format!("L-{index}"), &[("GLZ-9", 1)]);
                large["remark"] = "x".repeat(super::LARGE).into();
                assert_eq!(bench.send(&format!("msg_L-{index}"), large.to_string()).status, 202);
                told.kept.lock().unwrap().push(format!("L-{index}"));
            }
            killed_at(&mut bench, word, round, &told, &mut dice);
        }
        let _ = std::fs::remove_file(base.join("told"));
        kept.look(&bench, &told, house::later(days), &format!("seed {seed}, round {round}, killed at {word}"));
        archived = std::fs::read_dir(bench.data().join("archive")).unwrap().count();
    }
    println!(
        "kill -9 at rare moments, seed {seed}: {rounds} rounds; of {} answered orders lost 0, doubled papers 0; {archived} files of archives",
        kept.numbers().len()
    );
}
