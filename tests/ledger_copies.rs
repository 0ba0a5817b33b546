//! Copies: what is exported can be imported, and is the same; what is not whole is refused, with
//! its line.

mod book_bench;
mod copies_support;

use book_bench::{order, plan, policy};
use copies_support::*;
use dawnslip::book::{Action, *};
use dawnslip::daemon::shared::Durable;
use dawnslip::ledger::copies::import::import;
use dawnslip::ledger::copies::{CopyError, Item, Reader, backup};
use dawnslip::ledger::{Disk, Ledger, LedgerError, SimDisk};
use dawnslip::model::*;
use std::collections::BTreeSet;
use std::sync::Arc;

fn kind() -> Kind {
    let policy = Policy { burst_orders: 500, ..policy() };
    Kind {
        policy,
        order: |number| order(number, &["MUG"]),
        body: |number| format!("{{\"orderNumber\":\"{number}\",\"customer\":\"Zoë Ångström {number}\"}}"),
        plan,
        segment_bytes: 4000,
        remember: true,
    }
}

/// A workshop's two months: orders that are archived and orders that stay, one that was revised, one that
/// was cancelled before it came, a message that nobody can map, one message with two orders.
fn two_months(disk: Arc<dyn Disk>) -> Filled {
    let mut house = Filled::new(disk, kind());
    // Stays open while everything around it goes into archives.
    house.receive(&["S-1"]);
    house.plan_and_print();
    for week in 0..6 {
        let numbers: Vec<String> = (0..5).map(|n| format!("S-{}", 10 + week * 10 + n)).collect();
        for number in &numbers {
            house.receive(&[number]);
        }
        let two = [format!("S-{}", 16 + week * 10), format!("S-{}", 17 + week * 10)];
        house.receive(&[&two[0], &two[1]]);
        let unmappable = Meaning::Unmappable { reason: "no number".into(), pointer: "/order".into() };
        let message = house.message(&format!("odd-{week}"), unmappable);
        house.run(message);
        // What a person typed stands with the persons.
        let held = OrderKey::new("shop", numbers[2].as_str());
        house.run(Command::Person(Action::Hold { order: held.clone(), reason: format!("Zoë rang, week {week}") }));
        house.run(Command::Person(Action::Release { order: held }));
        let mut revised = order(&numbers[0], &["MUG", "JUG"]);
        revised.revision = Some(Revision::Number(2));
        let person = Person { recipient: Hidden::new(format!("佐藤 花子 {week}")), ..Person::default() };
        let message = house.message(&format!("revised-{week}"), Meaning::Orders(vec![(revised, person)]));
        house.run(message);
        house.plan_and_print();
        house.later(20);
        for number in numbers.iter().skip(1).chain(&two) {
            house.finish(number);
        }
        house.later(7 * 24);
        house.plan_and_print();
        house.archive();
        house.later(24);
        house.archive();
    }
    house
}

fn copy_into(bytes: Vec<u8>, disk: &Arc<dyn Disk>) -> Result<Durable, CopyError> {
    let mut state = Durable::default();
    import(disk, Reader::one(source(bytes))?, [1; 32], &mut state, |_| Ok(()))?;
    Ok(state)
}

fn reopened(disk: &Arc<dyn Disk>) -> (Ledger, Durable, dawnslip::ledger::Opened) {
    let (ledger, opened) = Ledger::open(Arc::clone(disk), at("2027-03-01T00:00:00Z")).unwrap();
    let durable = dawnslip::daemon::fold(&opened).unwrap();
    (ledger, durable, opened)
}

/// The state that was copied, and then told that it was.
fn restored(house: &Filled, durable: &Durable) -> State {
    let mut state = house.durable.state.clone();
    let made = durable.state.at.expect("it holds facts");
    state.apply(&Stamped { v: RECORD_VERSION, seq: state.seq + 1, at: made, fact: Fact::Restored { made } });
    state
}

#[track_caller]
fn check_same(house: &Filled, disk: &Arc<dyn Disk>) {
    let (ledger, durable, opened) = reopened(disk);
    assert!(durable.state == restored(house, &durable), "the state differs");
    let persons = |durable: &Durable| serde_json::to_string_pretty(&durable.people).unwrap();
    assert_eq!(persons(&durable), persons(&house.durable), "the persons differ");
    assert_eq!(opened.installation.id, ID);
    assert_eq!(opened.installation.key, KEY);
    let reader = ledger.archive_reader();
    let mut archived = 0;
    for (key, mut expected) in house.archived() {
        let mut found = reader.read(&key).unwrap();
        for order in [&mut expected, &mut found].into_iter().flatten() {
            order.persons.sort_by(|one, two| one.json.cmp(&two.json));
        }
        archived += usize::from(expected.is_some());
        assert_eq!(found.is_some(), expected.is_some(), "{key} is archived in one of them only");
        assert!(found == expected, "{key} differs in the archive");
    }
    assert!(archived > 20, "only {archived} orders are archived");
    // A message that comes again is answered as before.
    let mut state = durable.state.clone();
    for (source, messages) in &house.durable.state.messages {
        for (id, entry) in messages {
            let again = Received {
                message: MessageKey { source: source.clone(), id: id.clone() },
                body_digest: entry.body_digest.clone(),
                raw: Hidden::new("{}"),
                meaning: Meaning::NotAnOrder,
                archived: BTreeSet::new(),
            };
            let step = step(&mut state, Command::Receive(Box::new(again)), house.now);
            assert_eq!(step.answer, Answer::Kept { novelty: Novelty::Known, outcome: entry.outcome.clone() });
            assert!(step.records.is_empty());
        }
    }
}

#[test]
fn a_copy_holds_every_fact_once_in_order_and_every_person() {
    let house = two_months(Arc::new(SimDisk::new()));
    let items = items(Reader::one(source(house.export())).unwrap()).unwrap();
    let facts: Vec<&str> = items
        .iter()
        .filter_map(|item| match item {
            Item::Fact { json, .. } => Some(json.as_str()),
            Item::Person { .. } => None,
        })
        .collect();
    assert!(facts == house.facts, "facts differ from what was written");
    let persons: Vec<&String> = items
        .iter()
        .filter_map(|item| match item {
            Item::Person { json, .. } => Some(json),
            Item::Fact { .. } => None,
        })
        .collect();
    let unique: BTreeSet<&String> = persons.iter().copied().collect();
    assert_eq!((unique.len(), &unique), (persons.len(), &house.persons.iter().collect()));
    // Files moved on the way: this is no copy of a journal alone.
    assert!(house.disk.list("archive").unwrap().len() > 6, "{:?}", house.disk.list("archive"));
    assert!(!house.disk.list("history").unwrap().is_empty());
    assert_eq!(house.disk.list("sorting").unwrap_or_default(), [""; 0]);
}

#[test]
fn an_import_gives_the_same_house() {
    let house = two_months(Arc::new(SimDisk::new()));
    let target: Arc<dyn Disk> = Arc::new(SimDisk::new());
    let durable = copy_into(house.export(), &target).unwrap();
    assert!(durable.state == restored(&house, &durable));
    check_same(&house, &target);
}

#[test]
fn what_waited_to_be_printed_when_the_copy_was_made_prints_with_copy_after_it_was_taken_in() {
    let house = two_months(Arc::new(SimDisk::new()));
    let waiting: Vec<JobId> = house.durable.state.queued().map(|job| job.id).collect();
    assert!(!waiting.is_empty());
    let target: Arc<dyn Disk> = Arc::new(SimDisk::new());
    copy_into(house.export(), &target).unwrap();
    let (_, durable, opened) = reopened(&target);
    let mut state = durable.state;
    step(&mut state, Command::Started { last_alive: opened.last_alive, clean: opened.clean }, house.now);
    for id in &waiting {
        let first = &state.jobs[id];
        assert!(matches!(first.state, JobState::Uncertain { .. }), "{id}: {:?}", first.state);
        let again: Vec<&Job> = state.queued().filter(|job| job.subject == first.subject).collect();
        assert!(again.len() == 1 && again[0].copy.is_some(), "{id}: {again:?}");
    }
    assert!(state.queued().all(|job| job.copy.is_some()));
}

// ---- what is not whole ----

/// A whole copy as lines, without their line breaks.
fn lines_of(bytes: &[u8]) -> Vec<String> {
    String::from_utf8(bytes.to_vec()).unwrap().lines().map(str::to_owned).collect()
}
fn joined(lines: &[String]) -> Vec<u8> {
    lines.iter().flat_map(|line| [line.as_bytes(), b"\n"].concat()).collect()
}

/// What an import of these bytes says; nothing that a daemon would take for whole may be left.
#[track_caller]
fn refused(bytes: Vec<u8>) -> String {
    let target: Arc<dyn Disk> = Arc::new(SimDisk::new());
    let Err(error) = copy_into(bytes, &target) else { panic!("it was taken in") };
    if target.len("importing").is_ok() {
        let opened = Ledger::open(Arc::clone(&target), at("2027-03-01T00:00:00Z"));
        assert!(matches!(opened, Err(LedgerError::Unfinished)), "a daemon would open it");
    } else {
        assert_eq!(target.list("journal").unwrap_or_default(), [""; 0], "without a marker there must be nothing");
    }
    error.to_string()
}

#[test]
fn a_file_that_is_cut_anywhere_is_refused_with_its_line() {
    let whole = two_months(Arc::new(SimDisk::new())).export();
    let lines = lines_of(&whole);
    for kept in [1, 2, lines.len() / 2, lines.len() - 1] {
        let said = refused(joined(&lines[..kept]));
        assert_eq!(said, format!("copy.ndjson, line {}: the file is cut off: its last line is missing", kept + 1));
    }
    let in_line_one = refused(whole[..40].to_vec());
    assert_eq!(in_line_one, "copy.ndjson is no copy of a ledger: its first line does not say what it is");
    let said = refused(whole[..whole.len() / 2].to_vec());
    let line = whole[..whole.len() / 2].iter().filter(|byte| **byte == b'\n').count() + 1;
    assert_eq!(said, format!("copy.ndjson, line {line}: the file is cut off in the middle of this line"));
    assert_eq!(refused(Vec::new()), "copy.ndjson is no copy of a ledger: it is empty");
}

#[test]
fn no_flipped_bit_passes_and_its_line_is_named() {
    let mut house = Filled::new(Arc::new(SimDisk::new()), kind());
    house.receive(&["S-1"]);
    let whole = house.export();
    let is_refused = |bytes: &[u8]| match Reader::one(source(bytes.to_vec())) {
        Err(error) => Err(error),
        Ok(reader) => items(reader).map(drop),
    };
    is_refused(&whole).unwrap();
    for bit in (0..whole.len() * 8).step_by(3) {
        let mut flipped = whole.clone();
        flipped[bit / 8] ^= 1 << (bit % 8);
        let Err(error) = is_refused(&flipped) else { panic!("bit {bit} passes") };
        // Behind the first line, which may then say anything, each is told by number; a line break
        // that is gone or new is told where the line begins.
        let line = 1 + whole[..bit / 8].iter().filter(|byte| **byte == b'\n').count();
        let said = error.to_string();
        assert!(line == 1 || said.contains(&format!("line {line}")), "bit {bit} of line {line}: {said}");
    }
}

#[test]
fn lines_that_were_swapped_doubled_or_taken_out_are_refused() {
    let whole = two_months(Arc::new(SimDisk::new())).export();
    let lines = lines_of(&whole);
    let is_person = |line: &String| line.contains("\"person\":");
    let facts = |upto: usize| lines[1..=upto].iter().filter(|line| !is_person(line)).count();
    // Two facts beside each other, from the middle on.
    let one = (lines.len() / 2..).find(|at| !is_person(&lines[*at]) && !is_person(&lines[at + 1])).unwrap();
    let number = facts(one);
    let mut swapped = lines.clone();
    swapped.swap(one, one + 1);
    let expected = format!("copy.ndjson, line {}: record {} stands where record {number} should", one + 1, number + 1);
    assert_eq!(refused(joined(&swapped)), expected);

    let mut doubled = lines.clone();
    doubled.insert(one, lines[one].clone());
    assert_eq!(
        refused(joined(&doubled)),
        format!("copy.ndjson, line {}: record {number} stands where record {} should", one + 2, number + 1)
    );

    let mut missing = lines.clone();
    missing.remove(one);
    assert_eq!(refused(joined(&missing)), expected);

    // A person's line that is missing shows at the end, one in another place at once.
    let person = (lines.len() / 2..).find(|at| is_person(&lines[*at])).unwrap();
    let mut forgotten = lines.clone();
    forgotten.remove(person);
    let said = refused(joined(&forgotten));
    assert!(said.contains(&format!("line {}: lines are missing or too many", lines.len() - 1)), "{said}");
    let mut moved = lines.clone();
    let line = moved.remove(person);
    moved.insert(2, line);
    let said = refused(joined(&moved));
    assert!(said.starts_with("copy.ndjson, line 3: a person's record from behind record"), "{said}");
    // Equal places: only the checksum of the whole knows their order.
    let two = (1..lines.len() - 1).find(|at| is_person(&lines[*at]) && is_person(&lines[at + 1]));
    if let Some(two) = two {
        let mut exchanged = lines.clone();
        exchanged.swap(two, two + 1);
        let said = refused(joined(&exchanged));
        assert!(said.contains("the checksum of the whole does not fit") || said.contains("behind record"), "{said}");
    }
    let mut more = lines.clone();
    more.push(lines[1].clone());
    assert!(refused(joined(&more)).contains("there is something behind the end"));
}

#[test]
fn another_version_another_kind_and_a_foreign_file_are_told_apart() {
    let house = two_months(Arc::new(SimDisk::new()));
    let newer = String::from_utf8(house.export()).unwrap().replacen("\"v\":1", "\"v\":2", 1);
    assert_eq!(
        refused(newer.into_bytes()),
        "copy.ndjson, line 1: the copy is written in version 2, the newest known here is 1; use a newer dawnslip"
    );
    let other = b"{\"dawnslip\":\"shopping list\",\"v\":1}\n".to_vec();
    assert_eq!(refused(other), "copy.ndjson is no copy of a ledger: it says that it is a \"shopping list\"");
    assert_eq!(
        refused(b"order,number\n1,2\n".to_vec()),
        "copy.ndjson is no copy of a ledger: its first line does not say what it is"
    );
}

#[test]
fn only_an_empty_data_folder_takes_an_import() {
    let house = two_months(Arc::new(SimDisk::new()));
    let before = house.durable.state.clone();
    let Err(error) = copy_into(house.export(), &house.disk) else { panic!("it was taken in") };
    assert!(matches!(&error, CopyError::NotEmpty { what } if what == "alive"), "{error}");
    let whole = house.export();
    drop(house.ledger);
    let (_, durable, _) = reopened(&house.disk);
    assert!(durable.state == before, "the folder has changed");

    // Twice into the same: the second finds the first.
    let target: Arc<dyn Disk> = Arc::new(SimDisk::new());
    copy_into(whole.clone(), &target).unwrap();
    assert!(matches!(copy_into(whole, &target), Err(CopyError::NotEmpty { .. })));
}

#[test]
fn an_import_that_was_interrupted_anywhere_leaves_nothing_that_counts_and_begins_anew() {
    let mut house = Filled::new(Arc::new(SimDisk::new()), kind());
    for number in ["S-1", "S-2", "S-3"] {
        house.receive(&[number]);
    }
    house.plan_and_print();
    house.later(20);
    house.finish("S-2");
    house.later(8 * 24);
    house.archive();
    let whole = house.export();
    let operations = {
        let disk = SimDisk::new();
        let target: Arc<dyn Disk> = Arc::new(disk.clone());
        copy_into(whole.clone(), &target).unwrap();
        disk.operations()
    };
    assert!(operations > 30, "{operations}");
    for cut in 0..operations {
        let disk = SimDisk::new();
        disk.set_trouble(dawnslip::ledger::Trouble { cut_before: Some(cut), ..Default::default() });
        let target: Arc<dyn Disk> = Arc::new(disk.clone());
        let done = copy_into(whole.clone(), &target).is_ok();
        assert!(!done, "before operation {cut} of {operations} it was done");
        disk.crash(cut);
        match Ledger::open(Arc::clone(&target), at("2027-03-01T00:00:00Z")) {
            Err(LedgerError::Unfinished) => {}
            // The marker's removal was the last thing: what it guarded is whole then.
            Ok((_, opened)) if opened.last_seq == house.durable.state.seq + 1 => continue,
            // Nothing had begun: an empty folder, as new.
            Ok((_, opened)) => {
                assert_eq!(opened.last_seq, 0, "cut before operation {cut}");
                continue;
            }
            Err(error) => panic!("cut before operation {cut}: {error}"),
        }
        let durable = copy_into(whole.clone(), &target).unwrap_or_else(|error| panic!("after cut {cut}: {error}"));
        assert!(durable.state == restored(&house, &durable) && durable.people == house.durable.people);
        assert_eq!(reopened(&target).2.last_seq, house.durable.state.seq + 1);
    }
}

// ---- while orders keep coming ----

#[test]
fn what_comes_while_it_is_copied_is_left_out_and_the_copy_is_whole() {
    let mut house = two_months(Arc::new(SimDisk::new()));
    let header = house.header();
    let before = house.durable.clone();
    let disk = Arc::clone(&house.disk);
    let mut writer = dawnslip::ledger::copies::Writer::new(Vec::new(), &header).unwrap();
    let mut more = 0;
    let copying = header.copying(disk.as_ref(), disk.as_ref());
    copying
        .run(
            |item| {
                if item.place().is_multiple_of(10) && more < 30 {
                    more += 1;
                    let number = format!("S-{}", 900 + more);
                    house.receive(&[&number]);
                }
                writer.item(&item).map_err(|error| panic!("{error}"))
            },
            |_| Ok(()),
        )
        .unwrap();
    assert_eq!(more, 30);
    assert!(house.durable.state.seq > header.upto + 30);
    let target: Arc<dyn Disk> = Arc::new(SimDisk::new());
    let durable = copy_into(writer.end().unwrap().0, &target).unwrap();
    house.durable = before;
    let (state, people) = (restored(&house, &durable), &house.durable.people);
    assert!(durable.state == state, "the state is not that of the instant of the copy");
    assert!(durable.people == *people);
}

// ---- backups ----

fn folder() -> SimDisk {
    SimDisk::new()
}

fn back_up(house: &Filled, folder: &SimDisk) -> backup::Kept {
    let header = house.header();
    backup::make(folder, &header.copying(house.disk.as_ref(), folder), &header, |_| Ok(())).unwrap().0
}

#[test]
fn a_backup_restores_the_same_house_and_without_persons_the_same_facts() {
    let house = two_months(Arc::new(SimDisk::new()));
    let folder = folder();
    let kept = back_up(&house, &folder);
    assert_eq!(
        backup::list(&folder).unwrap(),
        [backup::Kept { made: backup::list(&folder).unwrap()[0].made, ..kept.clone() }]
    );
    assert_eq!(backup::newest_good(&folder, Some(ID)).unwrap().map(|kept| kept.name), Some(kept.name.clone()));
    assert_eq!(backup::newest_good(&folder, Some(dawnslip::ledger::InstallationId([1; 16]))).unwrap(), None);

    let target: Arc<dyn Disk> = Arc::new(SimDisk::new());
    let mut state = Durable::default();
    let found = backup::list(&folder).unwrap().remove(0);
    import(&target, backup::read(&folder, &found).unwrap(), [1; 32], &mut state, |_| Ok(())).unwrap();
    check_same(&house, &target);

    folder.remove(&format!("{}.persons.ndjson", kept.name)).unwrap();
    let found = backup::list(&folder).unwrap().remove(0);
    assert!(!found.persons);
    let target: Arc<dyn Disk> = Arc::new(SimDisk::new());
    import(&target, backup::read(&folder, &found).unwrap(), [1; 32], &mut Durable::default(), |_| Ok(())).unwrap();
    let (_, durable, opened) = reopened(&target);
    assert!(durable.state == restored(&house, &durable));
    assert_eq!(durable.people, People::default());
    // The key went with the persons.
    assert_eq!((opened.installation.id, opened.installation.key), (ID, [1; 32]));
}

#[test]
fn files_of_two_backups_or_of_two_installations_are_no_pair() {
    let mut house = two_months(Arc::new(SimDisk::new()));
    let folder = folder();
    let one = back_up(&house, &folder);
    house.later(24);
    let two = back_up(&house, &folder);
    let open = |file: String| {
        let lines = Box::new(std::io::BufReader::new(folder.reader(&file).unwrap()));
        dawnslip::ledger::copies::Source { name: file, lines }
    };
    let (facts, persons) = (format!("{}.facts.ndjson", two.name), format!("{}.persons.ndjson", one.name));
    let Err(error) = Reader::pair(open(facts.clone()), Some(open(persons))) else { panic!("taken for a pair") };
    assert!(error.to_string().contains("are not two parts of one copy: the first was made"), "{error}");

    let other = format!("{}.persons.ndjson", two.name);
    let mut bytes = folder.read(&other).unwrap();
    let theirs =
        String::from_utf8(bytes.clone()).unwrap().lines().next().unwrap().replace(&ID.to_string(), &"a".repeat(32));
    // A header with its own checksum, as another installation would have written it.
    let rest = &theirs[theirs.find(',').unwrap() + 1..];
    let header = format!("{{\"crc\":\"{:08x}\",{rest}\n", crc32c::crc32c(rest.as_bytes()));
    let first = bytes.iter().position(|byte| *byte == b'\n').unwrap();
    bytes.splice(..=first, header.into_bytes());
    let foreign = source(bytes);
    let Err(error) = Reader::pair(open(facts.clone()), Some(foreign)) else { panic!("taken for a pair") };
    assert!(error.to_string().contains(&format!("the first is of installation {ID}, the second of aaaa")), "{error}");
    // The other way round, and facts twice.
    let (p, f) = (open(other.clone()), open(facts.clone()));
    let Err(error) = Reader::pair(p, Some(f)) else { panic!("taken for a pair") };
    assert!(error.to_string().contains("name the file of its facts first"), "{error}");
    let Err(error) = Reader::pair(open(facts.clone()), Some(open(facts))) else { panic!("taken for a pair") };
    assert!(error.to_string().contains("the first must hold facts, the second persons"), "{error}");
}

#[test]
fn forgetting_takes_the_persons_out_of_every_backup_and_leaves_them_whole() {
    let mut house = two_months(Arc::new(SimDisk::new()));
    let folder = folder();
    back_up(&house, &folder);
    house.later(24);
    house.receive(&["S-700"]);
    back_up(&house, &folder);
    let text = |disk: &SimDisk| -> String {
        let files = disk.list("").unwrap();
        files.iter().map(|file| String::from_utf8(disk.read(file).unwrap()).unwrap()).collect()
    };
    assert!(text(&folder).contains("Zoë Ångström S-12") && text(&folder).contains("Zoë Ångström S-700"));
    let orders = BTreeSet::from([OrderKey::new("shop", "S-12"), OrderKey::new("shop", "S-700")]);
    let messages = orders.iter().map(|order| MessageKey { source: "shop".into(), id: format!("msg_{}", order.number) });
    let forgotten = backup::forget(&folder, &orders, &messages.collect()).unwrap();
    // The person, the message and the remark about S-12 in two backups, the first two of S-700 in one.
    assert_eq!(forgotten, backup::Forgotten { records: 8, files: 2, removed: 0 });
    assert!(!text(&folder).contains("Ångström S-12") && !text(&folder).contains("Ångström S-700"));
    assert!(text(&folder).contains("Zoë Ångström S-13"));
    for kept in backup::list(&folder).unwrap() {
        backup::verify(&folder, &kept).unwrap();
    }
    assert_eq!(backup::forget(&folder, &orders, &BTreeSet::new()).unwrap(), backup::Forgotten::default());

    // Nobody can say whom a broken file names: it goes as a whole.
    let newest = backup::list(&folder).unwrap().remove(0);
    folder.damage(&format!("{}.persons.ndjson", newest.name), |bytes| bytes[600] ^= 1).unwrap();
    assert_eq!(
        backup::newest_good(&folder, None).unwrap().map(|kept| kept.name),
        Some(backup::list(&folder).unwrap()[1].name.clone())
    );
    let forgotten = backup::forget(&folder, &orders, &BTreeSet::new()).unwrap();
    assert_eq!(forgotten, backup::Forgotten { records: 0, files: 0, removed: 1 });
    assert!(!backup::list(&folder).unwrap()[0].persons);
}

#[test]
fn the_power_may_go_at_any_moment_of_a_backup_or_of_forgetting() {
    let mut house = Filled::new(Arc::new(SimDisk::new()), kind());
    house.receive(&["S-1"]);
    house.receive(&["S-2"]);
    let orders = BTreeSet::from([OrderKey::new("shop", "S-1")]);
    let run = |disk: &SimDisk, house: &Filled| -> Result<(), CopyError> {
        let header = house.header();
        backup::make(disk, &header.copying(house.disk.as_ref(), disk), &header, |_| Ok(()))?;
        backup::forget(disk, &orders, &BTreeSet::new())?;
        Ok(())
    };
    let operations = {
        let disk = folder();
        run(&disk, &house).unwrap();
        disk.operations()
    };
    for cut in 0..operations {
        for seed in 0..3 {
            let disk = folder();
            disk.set_trouble(dawnslip::ledger::Trouble { cut_before: Some(cut), ..Default::default() });
            run(&disk, &house).unwrap_err();
            disk.crash(seed);
            // What has its name is whole.
            for kept in backup::list(&disk).unwrap() {
                let counts = backup::verify(&disk, &kept).unwrap_or_else(|error| panic!("cut {cut}: {error}"));
                assert_eq!(counts.facts, house.durable.state.seq);
            }
            run(&disk, &house).unwrap();
            let names = disk.list("").unwrap();
            assert_eq!(names.len(), 2, "cut {cut}: {names:?}");
            let persons = String::from_utf8(disk.read(&names[1]).unwrap()).unwrap();
            assert!(!persons.contains("\"recipient\":\"Zoë Ångström S-1\"") && persons.contains("Ångström S-2"));
        }
    }
}

#[test]
fn old_backups_go_and_persons_go_in_time_even_of_the_newest() {
    let mut house = Filled::new(Arc::new(SimDisk::new()), kind());
    house.receive(&["S-1"]);
    let folder = folder();
    for _ in 0..6 {
        house.later(24);
        back_up(&house, &folder);
    }
    let days = |days: i64| jiff::SignedDuration::from_hours(24 * days);
    assert_eq!(backup::rotate(&folder, house.now, days(4)).unwrap(), 2);
    let made: Vec<i64> =
        backup::list(&folder).unwrap().iter().map(|kept| house.now.duration_since(kept.made).as_hours() / 24).collect();
    assert_eq!(made, [0, 1, 2, 3]);
    // The newest stays, however old it is; its persons do not.
    house.later(100 * 24);
    assert_eq!(backup::expire_persons(&folder, house.now, days(90)).unwrap(), 4);
    assert_eq!(backup::rotate(&folder, house.now, days(4)).unwrap(), 3);
    let left = backup::list(&folder).unwrap();
    assert_eq!((left.len(), left[0].persons), (1, false));
    backup::verify(&folder, &left[0]).unwrap();
}

#[test]
fn a_backup_without_room_says_so_and_leaves_nothing() {
    let house = two_months(Arc::new(SimDisk::new()));
    let folder = folder();
    folder.set_trouble(dawnslip::ledger::Trouble { room: Some(20_000), ..Default::default() });
    let header = house.header();
    let made = backup::make(&folder, &header.copying(house.disk.as_ref(), &folder), &header, |_| Ok(()));
    assert!(matches!(made, Err(CopyError::Room { .. } | CopyError::Write { .. })), "{made:?}");
    assert_eq!(folder.list("").unwrap(), [""; 0]);
}

#[test]
fn damage_in_the_data_folder_is_named_and_no_backup_comes_of_it() {
    let house = two_months(Arc::new(SimDisk::new()));
    let file = house.disk.list("archive").unwrap().into_iter().find(|name| name.ends_with(".facts")).unwrap();
    let disk = house.disk.clone();
    let path = format!("archive/{file}");
    let mut bytes = disk.read(&path).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    disk.open(&path).unwrap().write_at(0, &bytes).unwrap();
    let said = house.try_export().unwrap_err().to_string();
    assert!(said.contains(&path) && said.contains("damaged"), "{said}");
    let folder = folder();
    let header = house.header();
    backup::make(&folder, &header.copying(disk.as_ref(), &folder), &header, |_| Ok(())).unwrap_err();
    assert_eq!(folder.list("").unwrap(), [""; 0]);
}
