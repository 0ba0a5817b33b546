//! The simulated disk must be as unkind as a real one, or the tests on it mean nothing; the real
//! one must do the same where nothing goes wrong.

use dawnslip::ledger::{Disk, RealDisk, SimDisk, Trouble};
use std::collections::BTreeSet;
use std::io::ErrorKind;

/// A disk with one file: `synced` is durable, `written` (over it, from byte 0 on) is not.
fn half_synced(synced: &[u8], written: &[u8]) -> SimDisk {
    let disk = SimDisk::new();
    let mut file = disk.create("f").unwrap();
    file.write_at(0, synced).unwrap();
    file.sync_data().unwrap();
    disk.sync_dir("").unwrap();
    file.write_at(0, written).unwrap();
    disk
}

#[test]
fn an_unsynced_write_is_kept_lost_or_torn_and_a_synced_one_stays() {
    let (old, new) = (vec![1; 2000], vec![2; 2000]);
    let (mut kept, mut lost, mut torn) = (0, 0, 0);
    for seed in 0..200 {
        let disk = half_synced(&old, &new);
        disk.crash(seed);
        let found = disk.read("f").unwrap();
        assert!(found.len() == 2000 && found.iter().all(|byte| [1, 2].contains(byte)));
        match () {
            () if found == new => kept += 1,
            () if found == old => lost += 1,
            () => torn += 1,
        }
        let again = half_synced(&old, &new);
        again.crash(seed);
        assert_eq!(again.read("f").unwrap(), found, "the same seed does the same");
    }
    assert!(kept > 20 && lost > 20 && torn > 20, "{kept} kept, {lost} lost, {torn} torn");
}

#[test]
fn a_name_lasts_only_once_its_directory_is_synced() {
    let mut seen = BTreeSet::new();
    for seed in 0..50 {
        let disk = half_synced(b"old", b"old");
        let mut file = disk.create("aside").unwrap();
        file.write_at(0, b"new").unwrap();
        file.sync_all().unwrap();
        disk.rename("aside", "f").unwrap();
        disk.crash(seed);
        seen.insert(disk.read("f").unwrap());
    }
    assert_eq!(seen, BTreeSet::from([b"old".to_vec(), b"new".to_vec()]), "the old or the new one, never neither");
}

#[test]
fn what_a_failed_sync_dropped_no_later_sync_brings_back() {
    let disk = half_synced(b"old", b"");
    let mut file = disk.open("f").unwrap();
    file.write_at(0, b"new").unwrap();
    disk.set_trouble(Trouble { fail_sync: Some(0), ..Trouble::default() });
    assert!(file.sync_data().is_err());
    file.sync_data().unwrap();
    assert_eq!(disk.read("f").unwrap(), b"new", "reading still shows it");
    disk.crash(0);
    assert_eq!(disk.read("f").unwrap(), b"old");
}

#[test]
fn a_full_disk_takes_a_part_and_says_so() {
    let disk = half_synced(b"four", b"");
    disk.set_trouble(Trouble { room: Some(6), ..Trouble::default() });
    let mut file = disk.open("f").unwrap();
    assert_eq!(file.write_at(4, b"more").unwrap_err().kind(), ErrorKind::StorageFull);
    assert_eq!(disk.read("f").unwrap(), b"fourmo");
    file.truncate(4).unwrap();
    file.write_at(4, b"ok").unwrap();
}

#[test]
fn after_a_crash_old_handles_are_of_no_use() {
    let disk = half_synced(b"old", b"");
    let mut file = disk.open("f").unwrap();
    let lock = disk.lock().unwrap();
    disk.crash(0);
    assert!(file.write_at(0, b"late").is_err());
    let _second = disk.lock().unwrap();
    drop(lock);
    assert!(disk.lock().is_err(), "the old guard frees nothing of the new one");
}

#[test]
fn both_disks_do_the_same_where_nothing_goes_wrong() {
    let folder = tempfile::tempdir().unwrap();
    let disks: [Box<dyn Disk>; 2] =
        [Box::new(SimDisk::new()), Box::new(RealDisk::new(folder.path().join("data")).unwrap())];
    for disk in disks {
        assert_eq!(disk.list("d").unwrap_err().kind(), ErrorKind::NotFound);
        assert_eq!(disk.create("d/a").err().unwrap().kind(), ErrorKind::NotFound);
        disk.create_dir("d").unwrap();
        disk.create_dir("d").unwrap();
        let mut file = disk.create("d/a").unwrap();
        file.preallocate(0, 10_000).unwrap();
        file.write_at(0, b"abc").unwrap();
        file.write_at(5, b"f").unwrap();
        assert_eq!(disk.len("d/a").unwrap(), 6);
        assert_eq!(disk.read("d/a").unwrap(), b"abc\0\0f");
        assert_eq!(disk.read_start("d/a", 2).unwrap(), b"ab");
        assert_eq!(disk.read_start("d/a", 99).unwrap(), b"abc\0\0f");
        file.truncate(2).unwrap();
        file.sync_data().unwrap();
        disk.create("d/b").unwrap();
        assert_eq!(disk.list("d").unwrap(), ["a", "b"]);
        disk.rename("d/a", "d/b").unwrap();
        disk.sync_dir("d").unwrap();
        assert_eq!((disk.list("d").unwrap(), disk.read("d/b").unwrap()), (vec!["b".to_owned()], b"ab".to_vec()));
        drop(disk.create("d/b").unwrap());
        assert_eq!(disk.len("d/b").unwrap(), 0, "made anew, it is empty");
        disk.remove("d/b").unwrap();
        for missing in [disk.read("d/b").err(), disk.open("d/b").err(), disk.remove("d/b").err()] {
            assert_eq!(missing.unwrap().kind(), ErrorKind::NotFound);
        }
        let lock = disk.lock().unwrap();
        assert_eq!(disk.lock().err().unwrap().kind(), ErrorKind::WouldBlock);
        drop(lock);
        disk.lock().unwrap();
    }
}
