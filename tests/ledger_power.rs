//! The power goes at every single operation of a scripted run. Whatever the disk keeps, loses or
//! tears of what was not synced: what was acknowledged is there, and the data directory opens.

use dawnslip::book::{Actor, Fact, PersonRecord, Record, Stamped};
use dawnslip::ledger::{
    Indexer, IndexerState, Installation, InstallationId, Ledger, LedgerError, Line, MemHome, Opened, SimDisk, Snapshot,
    Tag, Trouble, record,
};
use dawnslip::model::{Hidden, OrderKey, Person};
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

const SEEDS: u64 = 3;

fn now() -> Timestamp {
    "2026-11-25T07:00:00Z".parse().unwrap()
}

fn open(disk: &SimDisk) -> Result<(Ledger, Opened), LedgerError> {
    let installation = Installation { id: InstallationId([3; 16]), key: [4; 32] };
    let (mut ledger, opened) = Ledger::open_with(Arc::new(disk.clone()), now(), || Ok(installation))?;
    ledger.set_segment_bytes(900);
    Ok((ledger, opened))
}

fn order(number: u64) -> OrderKey {
    OrderKey::new("shop", format!("S-{}", 417 + number % 4))
}

/// The fact of this number: every fifth belongs to the workshop, the others to four orders.
fn fact(seq: u64) -> Stamped {
    let fact = match seq % 5 {
        0 => Fact::Started { off_since: None, clean: true },
        _ => Fact::OrderReopened { order: order(seq), by: Actor::Person },
    };
    Stamped { v: 1, seq, at: now() + SignedDuration::from_secs(seq as i64), fact }
}

fn person(seq: u64) -> PersonRecord {
    let person = Person { recipient: Hidden::new(format!("Zoë {seq}")), ..Person::default() };
    PersonRecord::Of { v: 1, order: order(seq), version: seq as u32, person: Box::new(person) }
}

fn lines(from: u64, to: u64) -> Vec<Line> {
    let records = (from..=to).flat_map(|seq| [Record::Fact(fact(seq)), Record::Person(person(seq))]);
    records.map(|record| record::to_line(&record).unwrap()).collect()
}

/// Groups, seals, snapshots, archives and a clean stop in between. Returns at the first failure;
/// `acknowledged` is then the last fact of which somebody was told.
fn run(disk: &SimDisk, acknowledged: &mut u64) -> Result<(), Box<dyn std::error::Error>> {
    let mut ledger = open(disk)?.0;
    for round in 0..12 {
        let first = ledger.next_seq();
        let last = first + round % 3;
        ledger.append(first, &lines(first, last))?;
        *acknowledged = last;
        match round {
            2 => ledger.seal()?,
            3 | 5 | 8 => {
                let state = format!("state at {last}").into_bytes();
                ledger.checkpoint(&Snapshot { seq: last, state, people: b"people".to_vec() })?;
            }
            6 => drop(ledger.archive(&[order(1)])?),
            9 => drop(ledger.archive(&[order(2), order(3)])?),
            7 => {
                ledger.close(now())?;
                ledger = open(disk)?.0;
            }
            _ => {}
        }
    }
    Ok(())
}

/// All facts by order: from the archive, and from the index once it was rebuilt from what is there.
fn history(disk: &SimDisk, ledger: &Ledger, opened: &Opened) -> BTreeMap<OrderKey, Vec<u64>> {
    let indexer = Indexer::spawn(Arc::new(disk.clone()), opened, MemHome::default()).unwrap();
    let reader = indexer.reader();
    loop {
        match reader.state() {
            IndexerState::Serving => break,
            IndexerState::Broken(why) => panic!("the index could not be rebuilt: {why}"),
            IndexerState::Rebuilding { .. } => std::thread::yield_now(),
        }
    }
    let numbers = |key: OrderKey| {
        let mut facts = ledger.archive_reader().read(&key).unwrap().map(|found| found.facts).unwrap_or_default();
        facts.extend(reader.facts_of(&key).unwrap());
        facts.iter().for_each(|found| assert_eq!(*found, fact(found.seq)));
        let numbers: BTreeSet<u64> = facts.iter().map(|fact| fact.seq).collect();
        (key, numbers.into_iter().collect())
    };
    let found = (0..4).map(|number| numbers(order(number))).collect();
    indexer.close();
    found
}

fn expected_history(last: u64) -> BTreeMap<OrderKey, Vec<u64>> {
    let of = |number: u64| (1..=last).filter(move |seq| seq % 5 != 0 && seq % 4 == number % 4).collect();
    (0..4).map(|number| (order(number), of(number))).collect()
}

/// Opens after a crash, checks that everything up to `acknowledged` is there, and says what the
/// last fact is.
fn check(disk: &SimDisk, acknowledged: u64, what: &str) -> u64 {
    let (mut ledger, opened) = open(disk).unwrap_or_else(|err| panic!("{what}: {err}"));
    let last = opened.last_seq;
    assert!(last >= acknowledged, "{what}: {acknowledged} was acknowledged, {last} is the last that is there");
    let after = opened.snapshot.as_ref().map_or(0, |snapshot| snapshot.seq);
    assert_eq!(opened.lines, lines(after + 1, last), "{what}");
    if let Some(snapshot) = &opened.snapshot {
        assert_eq!(snapshot.state, format!("state at {after}").into_bytes(), "{what}");
    }
    assert_eq!(history(disk, &ledger, &opened), expected_history(last), "{what}");
    // It goes on: with the next group, and with what the crash interrupted.
    ledger.append(last + 1, &lines(last + 1, last + 1)).unwrap();
    ledger.archive(&[order(1), order(2)]).unwrap();
    last + 1
}

#[test]
fn what_was_acknowledged_survives_a_power_cut_at_any_operation() {
    let counted = SimDisk::new();
    let mut all = 0;
    run(&counted, &mut all).unwrap();
    let operations = counted.operations();
    assert!(operations > 100, "the script is long enough to mean something: {operations}");
    for cut in 0..operations {
        for seed in 0..SEEDS {
            let disk = SimDisk::new();
            disk.set_trouble(Trouble { cut_before: Some(cut), ..Trouble::default() });
            let mut acknowledged = 0;
            assert!(run(&disk, &mut acknowledged).is_err());
            disk.crash(seed);
            let what = format!("cut before operation {cut}, seed {seed}");
            let last = check(&disk, acknowledged, &what);
            // What was found and acted on must survive the next cut as well.
            disk.crash(seed + 100);
            let last = check(&disk, last, &format!("{what}, second cut"));
            assert!(last >= acknowledged);
        }
    }
}

#[test]
fn what_was_found_after_a_kill_survives_a_power_cut_at_once() {
    let counted = SimDisk::new();
    run(&counted, &mut 0).unwrap();
    for cut in 0..counted.operations() {
        for seed in 0..SEEDS {
            let disk = SimDisk::new();
            disk.set_trouble(Trouble { cut_before: Some(cut), ..Trouble::default() });
            let _ = run(&disk, &mut 0);
            // The last group may be whole in memory and not on disk; it is acted on from here on.
            disk.kill();
            let (ledger, opened) = open(&disk).unwrap();
            drop(ledger);
            disk.crash(seed);
            let (_, again) = open(&disk).unwrap();
            assert_eq!(again.last_seq, opened.last_seq, "killed before operation {cut}, seed {seed}");
        }
    }
}

#[test]
fn what_was_acknowledged_survives_a_power_cut_right_after_a_failed_sync() {
    let counted = SimDisk::new();
    run(&counted, &mut 0).unwrap();
    for failing in 0..counted.syncs() {
        for seed in 0..SEEDS {
            let disk = SimDisk::new();
            disk.set_trouble(Trouble { fail_sync: Some(failing), ..Trouble::default() });
            let mut acknowledged = 0;
            assert!(run(&disk, &mut acknowledged).is_err(), "sync {failing}");
            disk.crash(seed);
            check(&disk, acknowledged, &format!("sync {failing} failed, seed {seed}"));
        }
    }
}

#[test]
fn what_the_next_start_read_after_a_failed_sync_survives_a_power_cut() {
    let counted = SimDisk::new();
    run(&counted, &mut 0).unwrap();
    for failing in 0..counted.syncs() {
        for seed in 0..SEEDS {
            let disk = SimDisk::new();
            disk.set_trouble(Trouble { fail_sync: Some(failing), ..Trouble::default() });
            assert!(run(&disk, &mut 0).is_err(), "sync {failing}");
            // The service manager starts it again; the machine's memory still shows what is on no disk.
            disk.kill();
            let (ledger, opened) = open(&disk).unwrap();
            drop(ledger);
            disk.crash(seed);
            let (_, again) = open(&disk).unwrap();
            assert_eq!(again.last_seq, opened.last_seq, "sync {failing} failed, seed {seed}");
        }
    }
}

#[test]
fn segments_end_in_archives_and_nothing_of_them_is_lost() {
    let disk = SimDisk::new();
    let mut last = 0;
    run(&disk, &mut last).unwrap();
    let (ledger, opened) = open(&disk).unwrap();
    assert_eq!(history(&disk, &ledger, &opened), expected_history(last));
    let reader = ledger.archive_reader();
    let archived = reader.read(&order(1)).unwrap().unwrap();
    // It was archived after round 6, whose last fact is the twelfth.
    let upto = archived.facts.last().unwrap().seq;
    let expected: Vec<u64> = (1..=upto).filter(|seq| seq % 4 == 1 && seq % 5 != 0).collect();
    assert_eq!(archived.facts.iter().map(|fact| fact.seq).collect::<Vec<_>>(), expected);
    let persons: Vec<_> = archived.persons.iter().map(|line| record::from_line(line).unwrap()).collect();
    let expected: Vec<_> = (1..=upto).filter(|seq| seq % 4 == 1).map(|seq| Record::Person(person(seq))).collect();
    assert_eq!(persons, expected);
    assert!(archived.persons.iter().all(|line| line.tag == Tag::Person));
    assert_eq!(reader.read(&order(0)).unwrap(), None);
    use dawnslip::ledger::Disk;
    assert!(disk.read("journal/0001.log").is_err(), "the first segment is gone");
}

#[test]
fn an_order_goes_once_into_the_archive_and_again_only_with_what_is_new() {
    use dawnslip::ledger::Disk;
    let disk = SimDisk::new();
    let mut ledger = open(&disk).unwrap().0;
    ledger.append(1, &lines(1, 8)).unwrap();
    let wanted = [order(1), order(2), OrderKey::new("shop", "S-999")];
    for _ in 0..2 {
        let done = ledger.archive(&wanted).unwrap();
        assert_eq!(done.orders, [order(1), order(2)], "the third never was");
        assert_eq!(disk.list("archive").unwrap(), ["2026-11.0001.facts", "2026-11.0001.people"]);
    }
    // A late fact about an archived order opens it again.
    ledger.append(9, &lines(9, 9)).unwrap();
    assert_eq!(ledger.archive(&wanted).unwrap().orders, [order(1), order(2)]);
    assert_eq!(disk.list("archive").unwrap().len(), 4);
    let archived = ledger.archive_reader().read(&order(1)).unwrap().unwrap();
    assert_eq!(archived.facts, [fact(1), fact(9)], "the fifth is the workshop's");
    assert_eq!(archived.persons.len(), 3);
    // Forgetting: the person files of the month go, the facts stay.
    disk.remove("archive/2026-11.0001.people").unwrap();
    disk.remove("archive/2026-11.0002.people").unwrap();
    let archived = ledger.archive_reader().read(&order(1)).unwrap().unwrap();
    assert_eq!((archived.facts.len(), archived.persons.len()), (2, 0));
}

#[test]
fn a_damaged_archive_is_named() {
    let disk = SimDisk::new();
    let mut ledger = open(&disk).unwrap().0;
    ledger.append(1, &lines(1, 8)).unwrap();
    ledger.archive(&[order(1)]).unwrap();
    disk.damage("archive/2026-11.0001.facts", |bytes| *bytes.last_mut().unwrap() ^= 1).unwrap();
    let err = ledger.archive_reader().read(&order(1)).unwrap_err();
    assert!(matches!(&err, LedgerError::BadFile { file, .. } if file == "archive/2026-11.0001.facts"), "{err}");
}
