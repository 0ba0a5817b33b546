//! The writer's thread: groups, order of answers, full disks, failed syncs, the end.

use dawnslip::ledger::{
    Disk, Frozen, Installation, InstallationId, Ledger, LedgerError, Line, Opened, Refusal, SimDisk, Snapshot, Tag,
    Trouble, Unit, WriteFailure, Writer,
};
use jiff::Timestamp;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::Duration;

type Told = (u64, Result<(), WriteFailure>);

fn now() -> Timestamp {
    "2026-11-25T07:00:00Z".parse().unwrap()
}

fn open(disk: &SimDisk) -> (Ledger, Opened) {
    let installation = Installation { id: InstallationId([7; 16]), key: [9; 32] };
    Ledger::open_with(Arc::new(disk.clone()), now(), || Ok(installation)).unwrap()
}

fn line(seq: u64) -> Line {
    Line { tag: Tag::Fact, json: format!("{{\"seq\":{seq}}}") }
}

fn unit(epoch: u64, seq: u64, tell: &Sender<Told>) -> Unit {
    let tell = tell.clone();
    Unit {
        epoch,
        first_seq: seq,
        lines: vec![line(seq)],
        done: Box::new(move |result| tell.send((seq, result)).unwrap()),
    }
}

/// Holds the writer's thread until the sender is dropped or used, so that units pile up behind it.
fn hold(writer: &Writer) -> Sender<()> {
    let (release, released) = channel::<()>();
    let done = Box::new(move |_| {
        let _ = released.recv();
    });
    writer.submit(Unit { epoch: 0, first_seq: 0, lines: vec![], done });
    while writer.backlog().units > 0 {
        std::thread::yield_now();
    }
    release
}

fn answers(told: &Receiver<Told>, count: usize) -> Vec<Told> {
    (0..count).map(|_| told.recv_timeout(Duration::from_secs(10)).unwrap()).collect()
}

#[test]
fn what_waits_goes_into_one_group_and_all_are_told_in_order_after_its_sync() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    let (tell, told) = channel();
    let release = hold(&writer);
    for seq in 1..=100 {
        writer.submit(unit(0, seq, &tell));
    }
    assert_eq!(writer.backlog().units, 100);
    let bytes: usize = (1..=100).map(|seq| line(seq).json.len()).sum();
    assert!(writer.backlog().bytes == bytes && !writer.backlog().is_full());
    disk.set_trouble(Trouble::default());
    drop(release);
    assert_eq!(answers(&told, 100), (1..=100).map(|seq| (seq, Ok(()))).collect::<Vec<_>>());
    assert_eq!((writer.groups(), writer.synced(), disk.syncs()), (1, 100, 1));
    assert_eq!((writer.backlog().units, writer.backlog().bytes), (0, 0));
    writer.close(now()).unwrap();
    let (_, opened) = open(&disk);
    assert_eq!((opened.lines, opened.clean), ((1..=100).map(line).collect(), true));
}

#[test]
fn the_answer_comes_after_the_sync() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    let (tell, told) = channel();
    for seq in 1..=20 {
        let copy = disk.clone();
        let tell = tell.clone();
        disk.set_trouble(Trouble::default());
        let done = Box::new(move |result| tell.send((copy.syncs(), result)).unwrap());
        writer.submit(Unit { epoch: 0, first_seq: seq, lines: vec![line(seq)], done });
        let (syncs, result) = answers(&told, 1)[0];
        assert_eq!(result, Ok(()));
        assert!(syncs >= 1, "unit {seq} was answered before its sync");
    }
}

#[test]
fn without_room_a_whole_epoch_is_refused_and_the_next_goes_on() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    let (tell, told) = channel();
    writer.submit(unit(0, 1, &tell));
    assert_eq!(answers(&told, 1), [(1, Ok(()))]);
    disk.set_trouble(Trouble { room: Some(0), ..Trouble::default() });
    let release = hold(&writer);
    writer.submit(unit(0, 2, &tell));
    writer.submit(unit(0, 3, &tell));
    drop(release);
    assert_eq!(answers(&told, 2), [(2, Err(WriteFailure::NoRoom)), (3, Err(WriteFailure::NoRoom))]);
    disk.set_trouble(Trouble::default());
    // Sent before the sender heard of it: it builds on what was not kept.
    writer.submit(unit(0, 4, &tell));
    assert_eq!(answers(&told, 1), [(4, Err(WriteFailure::NoRoom))]);
    writer.submit(unit(1, 2, &tell));
    assert_eq!(answers(&told, 1), [(2, Ok(()))]);
    assert_eq!((writer.failure(), writer.synced()), (None, 2));
    writer.close(now()).unwrap();
    assert_eq!(open(&disk).1.last_seq, 2);
}

#[test]
fn after_a_failed_sync_everybody_is_told_and_nothing_is_written_again() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    let (tell, told) = channel();
    writer.submit(unit(0, 1, &tell));
    assert_eq!(answers(&told, 1), [(1, Ok(()))]);
    disk.set_trouble(Trouble { fail_sync: Some(0), ..Trouble::default() });
    writer.submit(unit(0, 2, &tell));
    assert_eq!(answers(&told, 1), [(2, Err(WriteFailure::Failed))]);
    let operations = disk.operations();
    disk.set_trouble(Trouble::default());
    for epoch in 0..3 {
        writer.submit(unit(epoch, 2, &tell));
        assert_eq!(answers(&told, 1), [(2, Err(WriteFailure::Failed))]);
    }
    let why = writer.failure().unwrap();
    assert!(why.contains("journal/0001.log") && why.contains("could not be synced"), "{why}");
    assert!(writer.close(now()).is_err());
    assert_eq!(disk.operations(), operations, "no marker of a clean stop either");
    disk.crash(5);
    let (_, opened) = open(&disk);
    assert_eq!((&opened.lines[..1], opened.clean), (&[line(1)][..], false));
}

#[test]
fn a_snapshot_is_true_at_the_units_queued_before_it() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    let (tell, told) = channel();
    let (tell_snapshot, told_snapshot) = channel();
    let release = hold(&writer);
    for seq in 1..=3 {
        writer.submit(unit(0, seq, &tell));
    }
    let snapshot = Snapshot { seq: 3, state: b"state".to_vec(), people: b"people".to_vec() };
    let given = snapshot.clone();
    let freeze = move || Frozen { seq: 3, write_out: Box::new(move || Some(given)) };
    writer.checkpoint(Box::new(freeze), Box::new(move |result| tell_snapshot.send(result.is_ok()).unwrap()));
    writer.submit(unit(0, 4, &tell));
    drop(release);
    assert!(answers(&told, 4).iter().all(|(_, result)| result.is_ok()));
    assert!(told_snapshot.recv().unwrap());
    assert_eq!(writer.groups(), 2);
    writer.close(now()).unwrap();
    let (_, opened) = open(&disk);
    assert_eq!((opened.snapshot, opened.lines), (Some(snapshot), vec![line(4)]));
}

#[test]
fn groups_are_written_while_a_snapshot_is_written_out() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    let (tell, told) = channel();
    let (tell_snapshot, told_snapshot) = channel();
    let (go_on, wait) = channel::<()>();
    writer.submit(unit(0, 1, &tell));
    let write_out = move || {
        wait.recv().ok()?;
        Some(Snapshot { seq: 1, state: b"state".to_vec(), people: b"people".to_vec() })
    };
    let freeze = move || Frozen { seq: 1, write_out: Box::new(write_out) };
    writer.checkpoint(Box::new(freeze), Box::new(move |result| tell_snapshot.send(result.is_ok()).unwrap()));
    writer.submit(unit(0, 2, &tell));
    assert!(answers(&told, 2).iter().all(|(_, result)| result.is_ok()), "they are answered while it waits");
    assert!(told_snapshot.try_recv().is_err());
    go_on.send(()).unwrap();
    assert!(told_snapshot.recv().unwrap());
    writer.close(now()).unwrap();
    let (_, opened) = open(&disk);
    assert_eq!((opened.snapshot.map(|snapshot| snapshot.seq), opened.lines), (Some(1), vec![line(2)]));
}

#[test]
fn a_snapshot_of_another_fact_than_the_last_is_refused() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    let (tell, told) = channel();
    writer.submit(unit(0, 1, &tell));
    answers(&told, 1);
    for seq in [0, 2] {
        let (tell, told) = channel();
        let freeze = move || Frozen { seq, write_out: Box::new(|| None) };
        writer.checkpoint(Box::new(freeze), Box::new(move |result| tell.send(result).unwrap()));
        assert!(matches!(told.recv().unwrap(), Err(LedgerError::Misuse { .. })));
    }
    writer.close(now()).unwrap();
}

#[test]
fn a_quiet_second_seals_the_last_group_once() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    let (tell, told) = channel();
    writer.submit(unit(0, 1, &tell));
    answers(&told, 1);
    let before = disk.len("journal/0001.log").unwrap();
    std::thread::sleep(Duration::from_millis(2500));
    let after = disk.len("journal/0001.log").unwrap();
    assert_eq!(after - before, 44, "one seal frame");
    writer.close(now()).unwrap();
    assert_eq!(disk.len("journal/0001.log").unwrap(), after, "a clean stop needs no second one");
}

#[test]
fn after_the_end_units_are_refused() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    writer.clone().close(now()).unwrap();
    let (tell, told) = channel();
    writer.submit(unit(0, 1, &tell));
    assert_eq!(answers(&told, 1), [(1, Err(WriteFailure::Closed))]);
    assert!(writer.close(now()).is_err());
    assert_eq!(writer.backlog().units, 0);
}

#[test]
fn the_backlog_is_full_at_its_limits_and_not_before() {
    use dawnslip::ledger::writer::{BYTES_WAITING_MAX, UNITS_WAITING_MAX};
    let full = |units, bytes| dawnslip::ledger::Backlog { units, bytes }.is_full();
    assert!(!full(UNITS_WAITING_MAX - 1, BYTES_WAITING_MAX - 1));
    assert!(full(UNITS_WAITING_MAX, 0) && full(0, BYTES_WAITING_MAX));
}

#[test]
fn a_snapshot_made_on_the_writers_thread_is_true_while_units_go_on_coming() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    let (tell, told) = channel();
    let synced = Arc::new(AtomicU64::new(0));
    let count = |seq| {
        let (synced, tell) = (Arc::clone(&synced), tell.clone());
        let done = Box::new(move |result: Result<(), WriteFailure>| {
            synced.store(seq, Ordering::SeqCst);
            tell.send((seq, result)).unwrap();
        });
        writer.submit(Unit { epoch: 0, first_seq: seq, lines: vec![line(seq)], done });
    };
    let (tell_snapshot, told_snapshot) = channel();
    for seq in 1..=40 {
        count(seq);
        if seq % 10 == 5 {
            let (synced, tell) = (Arc::clone(&synced), tell_snapshot.clone());
            let freeze = move || {
                let seq = synced.load(Ordering::SeqCst);
                let snapshot = Snapshot { seq, state: seq.to_string().into_bytes(), people: Vec::new() };
                Frozen { seq, write_out: Box::new(move || Some(snapshot)) }
            };
            writer.checkpoint(Box::new(freeze), Box::new(move |done| tell.send(done.is_ok()).unwrap()));
        }
    }
    assert!(answers(&told, 40).iter().all(|(_, result)| result.is_ok()));
    assert!((0..4).all(|_| told_snapshot.recv().unwrap()));
    writer.close(now()).unwrap();
    let snapshot = open(&disk).1.snapshot.unwrap();
    assert_eq!(snapshot.state, snapshot.seq.to_string().into_bytes());
    assert_eq!(snapshot.seq, 35);
}

#[test]
fn a_refusal_is_told_with_its_reason_and_forgotten_when_it_goes_again_without_any_order() {
    let disk = SimDisk::new();
    let writer = Writer::spawn(open(&disk).0).unwrap();
    let (tell, told) = channel();
    assert!(writer.refusal().is_none());
    disk.set_trouble(Trouble { room: Some(0), ..Trouble::default() });
    writer.submit(unit(0, 1, &tell));
    assert_eq!(answers(&told, 1)[0].1, Err(WriteFailure::NoRoom));
    assert_eq!(writer.refusal().map(|(refusal, _)| refusal), Some(Refusal::NoRoom));
    disk.set_trouble(Trouble::default());
    writer.alive(now());
    let begun = std::time::Instant::now();
    while writer.refusal().is_some() {
        assert!(begun.elapsed().as_secs() < 10, "a sign of life does not find out");
        std::thread::yield_now();
    }
    writer.submit(unit(1, 1, &tell));
    assert_eq!(answers(&told, 1)[0].1, Ok(()));
    writer.close(now()).unwrap();
}
