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

#[test]
fn a_full_disk_refuses_the_group_and_takes_the_next_one_once_there_is_room() {
    let disk = SimDisk::new();
    let (mut ledger, _) = open(&disk).unwrap();
    append(&mut ledger, 2).unwrap();
    let used = disk.list("").unwrap().iter().map(|file| disk.len(file).unwrap()).sum::<u64>()
        + disk.len("journal/0001.log").unwrap();
    for room in [used, used + 1, used + 43, used + 60, used + 200] {
        disk.set_trouble(Trouble { room: Some(room), ..Trouble::default() });
        assert!(matches!(append(&mut ledger, 9), Err(AppendError::NoRoom(_))), "room for {room}");
    }
    assert_eq!(ledger.next_seq(), 3, "nothing of it counts");
    disk.set_trouble(Trouble::default());
    append(&mut ledger, 1).unwrap();
    drop(ledger);
    let (_, opened) = open(&disk).unwrap();
    assert_eq!((opened.lines, opened.cut_tail), (expected(0, 3), None));
}

#[test]
fn after_a_failed_sync_or_write_nothing_more_is_ever_written() {
    for trouble in
        [Trouble { fail_sync: Some(0), ..Trouble::default() }, Trouble { fail_write: Some(0), ..Trouble::default() }]
    {
        let disk = SimDisk::new();
        let (mut ledger, _) = open(&disk).unwrap();
        append(&mut ledger, 2).unwrap();
        disk.set_trouble(trouble);
        assert!(matches!(append(&mut ledger, 1), Err(AppendError::Failed(_))));
        let operations = disk.operations();
        disk.set_trouble(Trouble::default());
        assert!(matches!(append(&mut ledger, 1), Err(AppendError::Failed(_))), "though the disk is well again");
        ledger.seal().unwrap();
        assert_eq!(disk.operations(), operations, "not even a sync");
        drop(ledger);
        disk.crash(1);
        let (_, opened) = open(&disk).unwrap();
        assert_eq!(opened.lines[..4], expected(0, 2));
    }
}

#[test]
fn only_one_process_has_it() {
    let disk = SimDisk::new();
    let (first, _) = open(&disk).unwrap();
    assert!(matches!(open(&disk), Err(LedgerError::Locked)));
    drop(first);
    open(&disk).unwrap();
}

#[test]
fn a_clean_stop_is_told_from_a_kill_and_a_look_changes_nothing() {
    let disk = SimDisk::new();
    let (mut ledger, opened) = open(&disk).unwrap();
    assert!(!opened.clean && opened.last_alive.is_none(), "there was no run before");
    append(&mut ledger, 2).unwrap();
    ledger.close(now()).unwrap();
    for _ in 0..2 {
        disk.crash(3);
        let (ledger, opened) = open(&disk).unwrap();
        assert!(opened.clean);
        ledger.leave().unwrap();
    }
    let (killed, _) = open(&disk).unwrap();
    drop(killed);
    for _ in 0..2 {
        let (ledger, opened) = open(&disk).unwrap();
        assert!(!opened.clean);
        ledger.leave().unwrap();
    }
}

#[test]
fn a_journal_that_lost_its_end_after_a_clean_stop_is_refused() {
    let (disk, start) = three_groups();
    open(&disk).unwrap().0.close(now()).unwrap();
    disk.damage("journal/0001.log", |bytes| bytes.truncate(start)).unwrap();
    let err = open(&disk).err().unwrap();
    assert!(matches!(&err, LedgerError::Incomplete { what } if what.contains("record 5")), "{err}");
}

#[test]
fn a_damaged_marker_counts_as_none() {
    let (disk, _) = three_groups();
    open(&disk).unwrap().0.close(now()).unwrap();
    disk.damage("clean", |bytes| bytes[30] ^= 1).unwrap();
    let (_, opened) = open(&disk).unwrap();
    assert!(!opened.clean && opened.notices[0].contains("marker"), "{:?}", opened.notices);
    assert_eq!(opened.lines, expected(0, 7));
}

fn checkpoint(ledger: &mut Ledger, state: &str) {
    let seq = ledger.next_seq() - 1;
    ledger.checkpoint(&Snapshot { seq, state: state.into(), people: b"people".to_vec() }).unwrap();
}

/// A ledger with snapshots at 2 and 5, and facts up to 7.
fn two_snapshots() -> SimDisk {
    let disk = SimDisk::new();
    let (mut ledger, _) = open(&disk).unwrap();
    append(&mut ledger, 2).unwrap();
    checkpoint(&mut ledger, "first");
    append(&mut ledger, 3).unwrap();
    checkpoint(&mut ledger, "second");
    append(&mut ledger, 2).unwrap();
    disk
}

#[test]
fn a_snapshot_saves_reading_what_came_before_it() {
    let (_, opened) = open(&two_snapshots()).unwrap();
    assert_eq!(opened.snapshot.unwrap().state, b"second");
    assert_eq!(opened.lines, expected(5, 7));
}

#[test]
fn a_broken_snapshot_is_reported_moved_aside_and_the_one_before_is_used() {
    let name = |seq: u64, part: &str| format!("snapshot/{seq:020}.{part}");
    for part in ["facts", "people"] {
        let disk = two_snapshots();
        disk.damage(&name(5, part), |bytes| *bytes.last_mut().unwrap() ^= 1).unwrap();
        let (mut ledger, opened) = open(&disk).unwrap();
        assert_eq!(opened.snapshot.unwrap().state, b"first");
        assert_eq!(opened.lines, expected(2, 7));
        let [notice] = &opened.notices[..] else { panic!("{:?}", opened.notices) };
        assert!(notice.contains("snapshot at record 5") && notice.contains("checksum"), "{notice}");
        assert!(disk.len(&format!("aside/snapshot-5.{part}")).is_ok());
        // With the next snapshot there are again two whole ones.
        checkpoint(&mut ledger, "third");
        drop(ledger);
        disk.damage(&name(7, part), |bytes| bytes.truncate(10)).unwrap();
        assert_eq!(open(&disk).unwrap().1.snapshot.unwrap().state, b"first");
    }
    let disk = two_snapshots();
    for seq in [2, 5] {
        disk.damage(&name(seq, "facts"), |bytes| bytes.clear()).unwrap();
    }
    let (_, opened) = open(&disk).unwrap();
    assert_eq!((opened.snapshot, opened.lines), (None, expected(0, 7)));
}

#[test]
fn a_snapshot_that_is_not_true_at_the_last_fact_is_refused() {
    let disk = SimDisk::new();
    let (mut ledger, _) = open(&disk).unwrap();
    append(&mut ledger, 2).unwrap();
    let snapshot = Snapshot { seq: 1, state: vec![], people: vec![] };
    assert!(matches!(ledger.checkpoint(&snapshot), Err(LedgerError::Misuse { .. })));
}

#[test]
fn segments_follow_each_other_and_a_missing_or_changed_one_is_named() {
    let whole = SimDisk::new();
    let (mut ledger, _) = open(&whole).unwrap();
    ledger.set_segment_bytes(300);
    for _ in 0..9 {
        append(&mut ledger, 1).unwrap();
    }
    drop(ledger);
    let segments = whole.list("journal").unwrap();
    assert!(segments.len() > 3);
    assert_eq!(open(&whole).unwrap().1.lines, expected(0, 9));

    let gone = whole.fork();
    gone.remove("journal/0002.log").unwrap();
    let err = open(&gone).err().unwrap();
    assert!(matches!(&err, LedgerError::Incomplete { what } if what.contains("0002.log is missing")), "{err}");

    let cut = whole.fork();
    cut.damage("journal/0002.log", |bytes| bytes.truncate(bytes.len() - 1)).unwrap();
    let err = open(&cut).err().unwrap();
    assert!(matches!(&err, LedgerError::Damaged { file, .. } if file == "journal/0002.log"), "{err}");

    // A segment of the right number and installation that went another way.
    let other = SimDisk::new();
    let (mut ledger, _) = open(&other).unwrap();
    ledger.set_segment_bytes(300);
    for facts in [2, 1, 1, 1] {
        append(&mut ledger, facts).unwrap();
    }
    drop(ledger);
    let strange = other.read("journal/0001.log").unwrap();
    let swapped = whole.fork();
    swapped.damage("journal/0001.log", |bytes| *bytes = strange).unwrap();
    let err = open(&swapped).err().unwrap();
    assert!(matches!(&err, LedgerError::Incomplete { what } if what.contains("0002.log")), "{err}");
}

#[test]
fn files_of_another_installation_or_a_newer_program_are_refused_by_name() {
    let (disk, _) = three_groups();
    let theirs = SimDisk::new();
    Ledger::open_with(Arc::new(theirs.clone()), now(), || {
        Ok(Installation { id: InstallationId([8; 16]), key: [0; 32] })
    })
    .unwrap();
    let strange = theirs.read("journal/0001.log").unwrap();
    let mixed = disk.fork();
    mixed.damage("journal/0001.log", |bytes| *bytes = strange).unwrap();
    let err = open(&mixed).err().unwrap();
    assert!(matches!(&err, LedgerError::OtherInstallation { file, .. } if file == "journal/0001.log"), "{err}");

    let newer = disk.fork();
    let rewrite = |bytes: &mut Vec<u8>| {
        bytes[8] = 2;
        let crc = crc32c::crc32c(&bytes[..80]);
        bytes[80..84].copy_from_slice(&crc.to_le_bytes());
    };
    newer.damage("journal/0001.log", rewrite).unwrap();
    let err = open(&newer).err().unwrap();
    assert!(matches!(err, LedgerError::Version { version: 2, newest: 1, .. }), "{err}");

    let headless = disk.fork();
    headless.damage("journal/0001.log", |bytes| bytes[40] ^= 1).unwrap();
    let err = open(&headless).err().unwrap();
    assert!(matches!(&err, LedgerError::BadFile { what, .. } if what.contains("header")), "{err}");

    let orphaned = disk.fork();
    orphaned.remove("installation").unwrap();
    let err = open(&orphaned).err().unwrap();
    assert!(matches!(&err, LedgerError::Incomplete { what } if what.contains("installation")), "{err}");
}

#[test]
fn lines_that_do_not_fit_the_numbering_or_break_are_refused() {
    let disk = SimDisk::new();
    let (mut ledger, _) = open(&disk).unwrap();
    let broken = Line { tag: Tag::Fact, json: "{}\nF {}".into() };
    for (first, line) in [(2, fact(2)), (0, fact(0)), (1, broken)] {
        assert!(matches!(ledger.append(first, &[line]), Err(AppendError::Failed(LedgerError::Misuse { .. }))));
    }
    assert_eq!(ledger.next_seq(), 1);
}

#[test]
fn on_a_real_disk_it_works_alike_and_is_closed_to_others() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("data");
    let open = || Ledger::open(Arc::new(RealDisk::new(&root).unwrap()), now());
    let (mut ledger, first) = open().unwrap();
    assert!(matches!(open(), Err(LedgerError::Locked)));
    append(&mut ledger, 3).unwrap();
    checkpoint(&mut ledger, "state");
    append(&mut ledger, 2).unwrap();
    drop(ledger);
    let (ledger, opened) = open().unwrap();
    assert_eq!((opened.lines, opened.clean), (expected(3, 5), false));
    assert_eq!(opened.installation, first.installation);
    assert_ne!(opened.installation.key, [0; 32]);
    ledger.close(now()).unwrap();
    assert!(open().unwrap().1.clean);
    for (path, mode) in [("", 0o700), ("journal", 0o700), ("journal/0001.log", 0o600), ("installation", 0o600)] {
        assert_eq!(std::fs::metadata(root.join(path)).unwrap().permissions().mode() & 0o777, mode, "{path}");
    }
}
