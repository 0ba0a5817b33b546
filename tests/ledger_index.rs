//! The index: deleting it, damaging it or leaving it behind loses nothing.

use dawnslip::book::{Actor, Fact, MessageOutcome, Record, Stage, Stamped, StopKind};
use dawnslip::ledger::{
    Disk, Index, IndexError, IndexHome, IndexReader, Indexer, IndexerState, Installation, InstallationId, Ledger,
    LedgerError, MemHome, MemIndex, Opened, RealDisk, SimDisk, SledHome, Snapshot, record,
};
use dawnslip::model::*;
use jiff::Timestamp;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

fn now() -> Timestamp {
    "2026-11-25T07:00:00Z".parse().unwrap()
}
fn order(number: &str) -> OrderKey {
    OrderKey::new("shop", number)
}
fn message(id: &str) -> MessageKey {
    MessageKey { source: "shop".into(), id: id.into() }
}

/// An order's way from message to paper, and something that belongs to no order.
fn way_of(first: u64, number: &str, id: u64) -> Vec<Stamped> {
    let (parcel, job) = (ParcelId(id), JobId(id));
    let kept = MessageOutcome::Orders(vec![order(number)]);
    let plan = Plan {
        order: order(number),
        pins: Pins {
            order_version: 1,
            revision: None,
            config: "c".into(),
            stock: 0,
            hand_over: "2026-11-26".parse().unwrap(),
            too_late: Default::default(),
            joined: Vec::new(),
        },
        parcels: vec![],
        cost: None,
        verdict: Verdict::Nothing,
        questions: vec![],
        waits: vec![],
        alternatives: vec![],
        what_would_change: vec![],
        rules: vec![],
        urgent: false,
        instead: None,
        joined: Vec::new(),
        joined_saves: None,
    };
    let facts = vec![
        Fact::MessageKept { message: message(number), body_digest: "d".into(), outcome: kept },
        Fact::StopPut { order: Some(order(number)), stop: StopKind::Held { reason: "dries".into(), rule: None } },
        Fact::Planned { plan: Box::new(plan), parcels: vec![parcel] },
        Fact::PackingStarted { by: Actor::Person },
        Fact::JobQueued { job, kind: PaperKind::Slip, subject: Subject::Parcel(parcel), copy: None, rank: 0 },
        Fact::JobOnPaper { job, by: Confirmation::Quiet },
        Fact::ParcelMoved { parcel, from: Stage::Planned, to: Stage::Printed, by: Actor::Program },
    ];
    let stamp = |(at, fact)| Stamped { v: 1, seq: first + at as u64, at: now(), fact };
    facts.into_iter().enumerate().map(stamp).collect()
}

fn append(ledger: &mut Ledger, facts: &[Stamped]) {
    let lines: Vec<_> = facts.iter().map(|fact| record::to_line(&Record::Fact(fact.clone())).unwrap()).collect();
    ledger.append(facts[0].seq, &lines).unwrap();
}

fn checkpoint(ledger: &mut Ledger) {
    let seq = ledger.next_seq() - 1;
    ledger.checkpoint(&Snapshot { seq, state: vec![], people: vec![] }).unwrap();
}

fn until(what: &str, holds: impl Fn() -> bool) {
    let begin = Instant::now();
    while !holds() {
        assert!(begin.elapsed() < Duration::from_secs(20), "never: {what}");
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// Facts 1, 2, 3, 5, 6, 7 of a way are the order's, the fourth is the workshop's.
#[track_caller]
fn check(reader: &IndexReader, first: u64, number: &str, id: u64) {
    let mut expected = way_of(first, number, id);
    expected.remove(3);
    assert_eq!(reader.facts_of(&order(number)).unwrap(), expected);
}

fn serving(indexer: &Indexer, upto: u64) -> IndexReader {
    let reader = indexer.reader();
    until("it serves", || reader.state() == IndexerState::Serving && reader.applied() == upto);
    reader
}

/// An index that the test can look into.
struct Given(Arc<MemIndex>);

impl IndexHome for Given {
    fn open(&mut self) -> Result<Arc<dyn Index>, IndexError> {
        Ok(Arc::clone(&self.0) as Arc<dyn Index>)
    }
    fn fresh(&mut self) -> Result<Arc<dyn Index>, IndexError> {
        self.open()
    }
}

fn open_real(root: &Path) -> (Ledger, Opened, Arc<RealDisk>) {
    let disk = Arc::new(RealDisk::new(root).unwrap());
    let (ledger, opened) = Ledger::open(disk.clone(), now()).unwrap();
    (ledger, opened, disk)
}

fn open_sim(disk: &SimDisk) -> (Ledger, Opened) {
    let installation = Installation { id: InstallationId([7; 16]), key: [9; 32] };
    Ledger::open_with(Arc::new(disk.clone()), now(), || Ok::<_, LedgerError>(installation)).unwrap()
}

#[test]
fn deleting_the_folder_of_the_index_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let (mut ledger, opened, disk) = open_real(root);
    ledger.set_segment_bytes(100);
    let indexer = Indexer::spawn(disk, &opened, SledHome::new(root)).unwrap();
    for (id, number) in [(0, "S-417"), (1, "S/418"), (2, "S-419")] {
        let facts = way_of(1 + id * 7, number, id);
        append(&mut ledger, &facts);
        indexer.feed(facts);
        checkpoint(&mut ledger);
    }
    let reader = serving(&indexer, 21);
    check(&reader, 1, "S-417", 0);
    // Part of it lies in an archive, part in the carry, part in the journal.
    let done = ledger.archive(&[order("S-417")]).unwrap();
    assert_eq!((done.orders.clone(), done.segments_removed), (vec![order("S-417")], 2));
    let noted = [Stamped { v: 1, seq: 22, at: now(), fact: Fact::Archived { orders: done.orders } }];
    append(&mut ledger, &noted);
    indexer.feed(noted.to_vec());
    indexer.close();
    ledger.close(now()).unwrap();

    std::fs::remove_dir_all(root.join("index")).unwrap();
    let (ledger, opened, disk) = open_real(root);
    assert!(opened.clean);
    let indexer = Indexer::spawn(disk, &opened, SledHome::new(root)).unwrap();
    let reader = serving(&indexer, 22);
    assert_eq!(reader.facts_of(&order("S-417")).unwrap(), [], "the archive has it, the index need not");
    let mut expected = way_of(1, "S-417", 0);
    expected.remove(3);
    assert_eq!(ledger.archive_reader().read(&order("S-417")).unwrap().unwrap().facts, expected);
    for (id, number) in [(1, "S/418"), (2, "S-419")] {
        check(&reader, 1 + id * 7, number, id);
    }
    assert_eq!(reader.facts_of(&order("S-4")).unwrap(), []);
    indexer.close();
    ledger.close(now()).unwrap();
}

#[test]
fn an_archived_order_leaves_nothing_in_the_index() {
    let disk = SimDisk::new();
    let (mut ledger, opened) = open_sim(&disk);
    let whole = Arc::new(MemIndex::default());
    let indexer = Indexer::spawn(Arc::new(disk.clone()), &opened, Given(Arc::clone(&whole))).unwrap();
    for (id, number) in [(0, "S-1"), (1, "S-10")] {
        let facts = way_of(1 + id * 7, number, id);
        append(&mut ledger, &facts);
        indexer.feed(facts);
    }
    serving(&indexer, 14);
    assert_eq!(whole.range(b"", 100).unwrap().len(), 2 * (6 + 3), "facts, their count, a parcel, a job");
    assert_eq!(ledger.archive(&[order("S-1")]).unwrap().orders, [order("S-1")]);
    let archived = Stamped { v: 1, seq: 15, at: now(), fact: Fact::Archived { orders: vec![order("S-1")] } };
    append(&mut ledger, std::slice::from_ref(&archived));
    indexer.feed(vec![archived]);
    let reader = serving(&indexer, 15);
    assert_eq!(whole.range(b"", 100).unwrap().len(), 6 + 3);
    assert_eq!(reader.facts_of(&order("S-1")).unwrap(), []);
    check(&reader, 8, "S-10", 1);
    // The same once it is rebuilt from the journal, where all of it still stands.
    drop(indexer);
    let again = Arc::new(MemIndex::default());
    drop(ledger);
    let (_ledger, opened) = open_sim(&disk);
    let indexer = Indexer::spawn(Arc::new(disk.clone()), &opened, Given(Arc::clone(&again))).unwrap();
    serving(&indexer, 15);
    assert_eq!(again.range(b"", 100), whole.range(b"", 100));
}

#[test]
fn the_archive_knows_its_orders_without_its_lists_of_keys_and_with_them() {
    let disk = SimDisk::new();
    let mut ledger = open_sim(&disk).0;
    for id in 0..4 {
        append(&mut ledger, &way_of(1 + id * 7, &format!("S-{id}"), id));
    }
    let archive = ledger.archive_reader();
    assert!(!archive.holds(&order("S-1")).unwrap());
    ledger.archive(&[order("S-0"), order("S-1")]).unwrap();
    ledger.archive(&[order("S-2")]).unwrap();
    let check = |archive: &dawnslip::ledger::ArchiveReader, what: &str| {
        let held: Vec<bool> = (0..4).map(|id| archive.holds(&order(&format!("S-{id}"))).unwrap()).collect();
        assert_eq!(held, [true, true, true, false], "{what}");
        assert_eq!(archive.read(&order("S-2")).unwrap().unwrap().facts.len(), 6, "{what}");
    };
    check(&archive, "as it was archived");
    drop(ledger);
    check(&open_sim(&disk).0.archive_reader(), "opened again");
    let lists = disk.list("keys").unwrap();
    assert_eq!(lists, ["2026-11.0001.keys", "2026-11.0002.keys"]);
    disk.damage("keys/2026-11.0001.keys", |bytes| *bytes.last_mut().unwrap() ^= 1).unwrap();
    disk.remove("keys/2026-11.0002.keys").unwrap();
    check(&open_sim(&disk).0.archive_reader(), "one list damaged, one gone");
    assert_eq!(disk.list("keys").unwrap(), lists, "they are made again");
}

#[test]
fn after_a_clean_stop_it_is_opened_and_caught_up_after_another_it_is_moved_aside() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let (mut ledger, opened, disk) = open_real(root);
    let indexer = Indexer::spawn(disk, &opened, SledHome::new(root)).unwrap();
    let facts = way_of(1, "S-417", 0);
    append(&mut ledger, &facts);
    indexer.feed(facts);
    serving(&indexer, 7);
    indexer.close();
    let _ = std::fs::remove_dir_all(root.join("aside/index"));
    // Written by a run without an index: it catches up from the journal.
    append(&mut ledger, &way_of(8, "S-418", 1));
    ledger.close(now()).unwrap();

    let (ledger, opened, disk) = open_real(root);
    let indexer = Indexer::spawn(disk, &opened, SledHome::new(root)).unwrap();
    check(&serving(&indexer, 14), 8, "S-418", 1);
    assert!(!root.join("aside/index").exists(), "it was only opened");
    indexer.close();
    drop(ledger);

    let (_ledger, opened, disk) = open_real(root);
    assert!(!opened.clean);
    let indexer = Indexer::spawn(disk, &opened, SledHome::new(root)).unwrap();
    let reader = serving(&indexer, 14);
    assert!(root.join("aside/index").exists(), "it was moved aside unopened");
    check(&reader, 1, "S-417", 0);
    check(&reader, 8, "S-418", 1);
}

#[test]
fn a_damaged_folder_is_rebuilt_though_the_stop_was_clean() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let (mut ledger, opened, disk) = open_real(root);
    let indexer = Indexer::spawn(disk, &opened, SledHome::new(root)).unwrap();
    let facts = way_of(1, "S-417", 0);
    append(&mut ledger, &facts);
    indexer.feed(facts);
    serving(&indexer, 7);
    indexer.close();
    ledger.close(now()).unwrap();
    for name in ["db", "conf"] {
        std::fs::write(root.join("index").join(name), b"not what was here").unwrap();
    }
    let (_ledger, opened, disk) = open_real(root);
    let indexer = Indexer::spawn(disk, &opened, SledHome::new(root)).unwrap();
    check(&serving(&indexer, 7), 1, "S-417", 0);
}

#[test]
fn what_is_fed_too_fast_or_not_at_all_is_read_from_the_journal() {
    let disk = SimDisk::new();
    let (mut ledger, opened) = open_sim(&disk);
    let indexer = Indexer::spawn(Arc::new(disk.clone()), &opened, MemHome::default()).unwrap();
    let ways: Vec<_> = (0..40).map(|id| way_of(1 + id * 7, &format!("S-{id}"), id)).collect();
    for facts in &ways {
        append(&mut ledger, facts);
    }
    // Only every third is fed, the last two not.
    for facts in ways.iter().step_by(3).take(13) {
        indexer.feed(facts.clone());
    }
    let reader = serving(&indexer, 37 * 7);
    assert_eq!(reader.lag(), 0);
    for id in 0..37 {
        check(&reader, 1 + id * 7, &format!("S-{id}"), id);
    }
}

#[test]
fn an_index_that_lost_a_fact_says_so_and_is_rebuilt() {
    /// The first one it gives loses every fact of an order's packing.
    struct Leaky(Arc<MemIndex>);
    impl Index for Leaky {
        fn applied(&self) -> Result<u64, IndexError> {
            self.0.applied()
        }
        fn commit(&self, upto_seq: u64, changes: &[dawnslip::ledger::index::Change]) -> Result<(), IndexError> {
            let kept: Vec<_> = changes.iter().filter(|change| !change.key.ends_with(b"0007")).cloned().collect();
            self.0.commit(upto_seq, &kept)
        }
        fn get(&self, key: &[u8]) -> Result<Option<Vec<u8>>, IndexError> {
            self.0.get(key)
        }
        fn range(&self, prefix: &[u8], limit: usize) -> Result<Vec<dawnslip::ledger::index::Pair>, IndexError> {
            self.0.range(prefix, limit)
        }
        fn flush(&self) -> Result<(), IndexError> {
            self.0.flush()
        }
    }
    struct Home(u32);
    impl IndexHome for Home {
        fn open(&mut self) -> Result<Arc<dyn Index>, IndexError> {
            self.fresh()
        }
        fn fresh(&mut self) -> Result<Arc<dyn Index>, IndexError> {
            self.0 += 1;
            let whole = Arc::new(MemIndex::default());
            Ok(if self.0 == 1 { Arc::new(Leaky(whole)) } else { whole })
        }
    }
    let disk = SimDisk::new();
    let (mut ledger, _) = open_sim(&disk);
    append(&mut ledger, &way_of(1, "S-417", 0));
    drop(ledger);
    let (_ledger, opened) = open_sim(&disk);
    let indexer = Indexer::spawn(Arc::new(disk.clone()), &opened, Home(0)).unwrap();
    let reader = serving(&indexer, 7);
    let err = reader.facts_of(&order("S-417")).unwrap_err();
    assert!(err.to_string().contains("order shop/S-417 it holds 5 facts of 6"), "{err}");
    until("it is rebuilt", || reader.facts_of(&order("S-417")).is_ok());
    check(&reader, 1, "S-417", 0);
}
