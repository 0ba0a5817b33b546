//! The journal against everything that a disk may do: torn tails, damage, power cuts at every
//! operation, full disks, failed syncs.

use dawnslip::ledger::{
    AppendError, Disk, Installation, InstallationId, Ledger, LedgerError, Line, Opened, RealDisk, SimDisk, Snapshot,
    Tag, Trouble,
};
use jiff::Timestamp;
use std::sync::Arc;

fn now() -> Timestamp {
    "2026-11-25T07:00:00Z".parse().unwrap()
}

fn fact(seq: u64) -> Line {
    Line { tag: Tag::Fact, json: format!("{{\"seq\":{seq},\"pad\":\"{}\"}}", "tea ".repeat(seq as usize % 40)) }
}

fn person(seq: u64) -> Line {
    Line { tag: Tag::Person, json: format!("{{\"of\":{seq},\"name\":\"Zoë 佐藤\"}}") }
}

fn fixed() -> Result<Installation, LedgerError> {
    Ok(Installation { id: InstallationId([7; 16]), key: [9; 32] })
}

fn open(disk: &SimDisk) -> Result<(Ledger, Opened), LedgerError> {
    Ledger::open_with(Arc::new(disk.clone()), now(), fixed)
}

/// Appends a group of `facts` facts, each followed by a person's line.
fn append(ledger: &mut Ledger, facts: u64) -> Result<(), AppendError> {
    let first = ledger.next_seq();
    let lines: Vec<Line> = (first..first + facts).flat_map(|seq| [fact(seq), person(seq)]).collect();
    ledger.append(first, &lines)
}

/// The lines that a ledger with facts up to `last` holds after the fact `after`.
fn expected(after: u64, last: u64) -> Vec<Line> {
    (after + 1..=last).flat_map(|seq| [fact(seq), person(seq)]).collect()
}

/// A ledger of three groups, left without a clean stop, and where the last frame begins.
fn three_groups() -> (SimDisk, usize) {
    let disk = SimDisk::new();
    let (mut ledger, _) = open(&disk).unwrap();
    append(&mut ledger, 2).unwrap();
    append(&mut ledger, 3).unwrap();
    let start = disk.len("journal/0001.log").unwrap() as usize;
    append(&mut ledger, 2).unwrap();
    (disk, start)
}

#[test]
fn what_was_appended_is_there_again() {
    let (disk, _) = three_groups();
    let (ledger, opened) = open(&disk).unwrap();
    assert_eq!((opened.lines, opened.last_seq, opened.clean), (expected(0, 7), 7, false));
    assert_eq!((opened.cut_tail, opened.notices, ledger.next_seq()), (None, vec![], 8));
    assert_eq!(opened.last_alive, Some(now()));
}

#[test]
fn a_tail_torn_at_any_byte_is_cut_and_kept_aside() {
    let (whole, start) = three_groups();
    let end = whole.len("journal/0001.log").unwrap() as usize;
    for cut in start..end {
        let disk = whole.fork();
        disk.damage("journal/0001.log", |bytes| bytes.truncate(cut)).unwrap();
        let (mut ledger, opened) = open(&disk).unwrap();
        assert_eq!((opened.lines, opened.last_seq), (expected(0, 5), 5), "cut at {cut}");
        if cut == start {
            assert_eq!(opened.cut_tail, None);
        } else {
            let tail = opened.cut_tail.unwrap();
            assert_eq!((tail.offset, tail.bytes, tail.sequence), (start as u64, (cut - start) as u64, 6));
            assert_eq!(disk.read(&tail.kept_in).unwrap().len(), cut - start);
        }
        append(&mut ledger, 1).unwrap();
        drop(ledger);
        let (_, again) = open(&disk).unwrap();
        assert_eq!((again.lines, again.cut_tail), (expected(0, 6), None), "cut at {cut}");
    }
}

#[test]
fn a_flipped_bit_in_a_frame_that_was_durable_is_refused_and_named() {
    let (whole, start) = three_groups();
    let header = 84;
    for at in header..start {
        let disk = whole.fork();
        disk.damage("journal/0001.log", |bytes| bytes[at] ^= 0x10).unwrap();
        let before = disk.read("journal/0001.log").unwrap();
        let err = open(&disk).err().unwrap_or_else(|| panic!("byte {at} was let through"));
        let LedgerError::Damaged { file, offset, sequence, .. } = &err else { panic!("byte {at}: {err}") };
        assert_eq!(file, "journal/0001.log");
        assert!(*offset as usize <= at && [1, 3].contains(sequence), "byte {at}: {err}");
        assert_eq!(disk.read("journal/0001.log").unwrap(), before, "nothing is changed");
    }
}

#[test]
fn a_seal_makes_damage_to_the_last_group_tellable() {
    let (disk, start) = three_groups();
    let (mut ledger, _) = open(&disk).unwrap();
    ledger.seal().unwrap();
    drop(ledger);
    disk.damage("journal/0001.log", |bytes| bytes[start + 60] ^= 1).unwrap();
    let err = open(&disk).err().unwrap();
    assert!(matches!(err, LedgerError::Damaged { sequence: 6, .. }), "{err}");
}
