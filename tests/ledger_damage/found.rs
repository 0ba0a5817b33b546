//! Every kind of damage is found, named, and said to people.

use super::bench::*;
use dawnslip::ledger::damage::{DamageKind, Need};
use dawnslip::ledger::{Disk, LedgerError, SimDisk};

#[test]
fn a_whole_directory_has_nothing_to_tell() {
    for (disk, folded) in [small().killed(), small().stopped(), small().again().stopped()] {
        let survey = look(&disk);
        assert_eq!(survey.damage, [], "{}", survey.text());
        assert!(survey.text().contains("nothing is damaged"), "{}", survey.text());
        let (content, said) = Content::read(&disk).unwrap();
        assert_eq!((content.folded, said), (folded, vec![]));
        assert_eq!(content.archived.len(), 2);
        let names = files(&disk);
        for part in ["journal/", "snapshot/", "archive/", "history/"] {
            assert!(names.iter().filter(|name| name.starts_with(part)).count() > 1, "{part} in {names:?}");
        }
    }
}

/// Every byte with `DAWNSLIP_DAMAGE=all`; else every seventh, beginning anywhere.
fn places(length: u64) -> impl Iterator<Item = usize> {
    let step = if std::env::var("DAWNSLIP_DAMAGE").is_ok_and(|all| all == "all") { 1 } else { 7 };
    let first = (length as usize).wrapping_mul(31) % step;
    println!("from {first} in steps of {step}");
    (first..length as usize).step_by(step)
}

#[test]
fn a_flip_of_any_byte_is_told_or_harmless() {
    for disk in [small().stopped().0] {
        let truth = Content::read(&disk).unwrap().0;
        for file in files(&disk) {
            for at in places(disk.len(&file).unwrap()) {
                let damaged = disk.fork();
                damaged.damage(&file, |bytes| bytes[at] ^= 1 << (at % 8)).unwrap();
                told_or_harmless(&damaged, &truth, &format!("{file}, byte {at} of a flip"));
            }
        }
    }
}

#[test]
fn any_truncation_is_told_or_harmless() {
    for (disk, _) in [small().killed(), small().stopped()] {
        let truth = Content::read(&disk).unwrap().0;
        for file in files(&disk) {
            for length in places(disk.len(&file).unwrap()) {
                let damaged = disk.fork();
                damaged.damage(&file, |bytes| bytes.truncate(length)).unwrap();
                told_or_harmless(&damaged, &truth, &format!("{file} cut at {length}"));
            }
        }
    }
}

#[test]
fn any_removed_or_swapped_file_is_told_or_harmless() {
    for (disk, _) in [small().killed(), small().stopped()] {
        let truth = Content::read(&disk).unwrap().0;
        let names = files(&disk);
        for file in &names {
            let damaged = disk.fork();
            damaged.remove(file).unwrap();
            told_or_harmless(&damaged, &truth, &format!("{file} removed"));
            for other in &names {
                let (one, two) = (disk.read(file).unwrap(), disk.read(other).unwrap());
                let damaged = disk.fork();
                damaged.damage(file, |bytes| bytes.clone_from(&two)).unwrap();
                told_or_harmless(&damaged, &truth, &format!("{file} is a copy of {other}"));
                damaged.damage(other, |bytes| *bytes = one).unwrap();
                told_or_harmless(&damaged, &truth, &format!("{file} swapped with {other}"));
            }
        }
    }
}

#[test]
fn an_older_copy_of_any_file_is_told_or_harmless() {
    // The same days, stopped at several moments: copies of their files are put back later.
    let mut olds: Vec<SimDisk> = Vec::new();
    let mut days = Days::begin(700);
    for number in 1..=ORDERS {
        days.comes(number);
        if number % 3 == 0 {
            days.ends(number - 1);
            days.archive(&[number - 1]);
        }
        olds.push(days.disk.fork());
    }
    let (disk, _) = days.killed();
    let truth = Content::read(&disk).unwrap().0;
    for (day, old) in olds.iter().enumerate() {
        for file in files(old) {
            let damaged = disk.fork();
            let bytes = old.read(&file).unwrap();
            if damaged.damage(&file, |there| there.clone_from(&bytes)).is_err() {
                // It was removed since; now it lies there again.
                damaged.create(&file).unwrap().write_at(0, &bytes).unwrap();
            }
            told_or_harmless(&damaged, &truth, &format!("{file} as of day {day}"));
        }
    }
}

#[test]
fn random_damage_to_a_larger_directory_is_told_or_harmless() {
    let seed = std::env::var("DAWNSLIP_SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(0x5eed_u64);
    println!("DAWNSLIP_SEED={seed}");
    let mut dice = seed;
    let mut roll = move |sides: u64| {
        dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (dice >> 33) % sides
    };
    let mut days = Days::begin(20_000);
    for number in 1..=400 {
        days.comes(number);
        if number % 50 == 0 {
            let closed: Vec<u64> = (number - 49..number).filter(|n| n % 3 != 0).collect();
            closed.iter().for_each(|n| days.ends(*n));
            days.archive(&closed);
        }
    }
    let (disk, _) = days.killed();
    let truth = Content::read(&disk).unwrap().0;
    let names = files(&disk);
    assert!(names.len() > 20, "{names:?}");
    for round in 0..150 {
        let damaged = disk.fork();
        let file = &names[roll(names.len() as u64) as usize];
        let length = disk.len(file).unwrap();
        let (kind, at) = (roll(4), roll(length.max(1)) as usize);
        let bits = roll(255) as u8 + 1;
        match kind {
            0 | 1 if length > 0 => damaged.damage(file, |bytes| bytes[at] ^= bits).unwrap(),
            2 => damaged.damage(file, |bytes| bytes.truncate(at)).unwrap(),
            _ => damaged.remove(file).unwrap(),
        }
        told_or_harmless(&damaged, &truth, &format!("seed {seed}, round {round}: kind {kind}, {file}, byte {at}"));
    }
}

#[test]
fn damage_is_named_with_file_place_records_time_and_orders() {
    let (disk, _) = small().killed();
    // The fact that brings the last order, which came after the last snapshot.
    let needle = format!("\"order_received\":{{\"order\":{{\"key\":\"shop/S-{ORDERS}\"");
    let (last, at) = holding_file(&disk, "journal/", &needle);
    disk.damage(&last, |bytes| bytes[at + 5] ^= 1).unwrap();
    let survey = look(&disk);
    assert_eq!(survey.need(), Need::Start);
    let [damage] = &survey.damage[..] else { panic!("{:?}", survey.damage) };
    assert_eq!((damage.file.as_str(), damage.kind), (last.as_str(), DamageKind::Damaged));
    assert!(damage.offset.unwrap() as usize <= at);
    let [loss] = &survey.lost[..] else { panic!("{:?}", survey.lost) };
    assert_eq!(Some(loss.records), damage.records);
    assert!(loss.after < loss.before && loss.after.is_some(), "{loss:?}");
    assert_eq!(loss.orders, [order(ORDERS)], "the message's fact can still be read");
    let text = survey.text();
    for part in ["LOST FOR GOOD", "does not start", "between 2026-11-25", "ask the shop", "dawnslip intake FILE"] {
        assert!(text.contains(part), "{part} is missing in\n{text}");
    }
    let err = open(&disk).err().unwrap();
    assert!(err.is_damage() && err.to_string().contains("dawnslip repair"), "{err}");
}

#[test]
fn a_damaged_archive_does_not_hinder_the_start_and_is_told() {
    let (disk, folded) = small().killed();
    let file = files(&disk).into_iter().find(|file| file.starts_with("archive/") && file.ends_with(".facts")).unwrap();
    disk.damage(&file, |bytes| *bytes.last_mut().unwrap() ^= 1).unwrap();
    assert_eq!(look(&disk).need(), Need::History);
    assert!(look(&disk).text().contains("starts all the same"), "{}", look(&disk).text());
    let (ledger, opened) = open(&disk).unwrap();
    assert_eq!(Folded::of(&opened), folded);
    // The other archive's order is found all the same.
    let reader = ledger.archive_reader();
    let read = [1, 3].map(|number| reader.read(&order(number)));
    assert_eq!(read.iter().filter(|read| matches!(read, Ok(Some(_)))).count(), 1);
    assert!(read.iter().any(|read| matches!(read, Err(LedgerError::BadFile { file: named, .. }) if *named == file)));
}

#[test]
fn a_file_of_another_installation_and_one_that_is_nobodys_are_told() {
    let (disk, folded) = small().killed();
    disk.create("journal/notes.txt").unwrap().write_at(0, b"mine").unwrap();
    disk.create("journal/7.log").unwrap().write_at(0, b"mine").unwrap();
    let survey = look(&disk);
    let kinds: Vec<DamageKind> = survey.damage.iter().map(|damage| damage.kind).collect();
    assert_eq!(kinds, [DamageKind::Unknown, DamageKind::Unknown]);
    assert!(!survey.needs_repair() && survey.text().contains("left alone"), "{}", survey.text());
    assert_eq!(Folded::of(&open(&disk).unwrap().1), folded, "it is harmless");
}
