//! What a repair makes of damage: everything that lies somewhere is there again, what is lost is
//! said and marked, originals are kept, and a power cut at any moment does no harm.

use super::bench::*;
use dawnslip::book::*;
use dawnslip::ledger::damage::Need;
use dawnslip::ledger::survey::{SpareLine, Spares};
use dawnslip::ledger::{Disk, LedgerError, Line, SimDisk, Trouble};
use dawnslip::model::Cause;

/// A backup that holds these lines.
struct Backup(Vec<(u64, Line)>);

impl Spares for Backup {
    fn each(&self, id: [u8; 16], take: &mut dyn FnMut(&str, SpareLine)) -> Result<(), LedgerError> {
        assert_eq!(id, ID);
        for (seq, line) in &self.0 {
            take("the backup of 2026-11-25", SpareLine { seq: *seq, line: line.clone() });
        }
        Ok(())
    }
    fn key(&self, _: [u8; 16]) -> Option<[u8; 32]> {
        Some([6; 32])
    }
}

/// Ways to damage each file of a directory, one at a time.
fn damaged_ones(disk: &SimDisk) -> Vec<(String, SimDisk)> {
    let mut all = Vec::new();
    for file in files(disk) {
        let length = disk.len(&file).unwrap() as usize;
        let mut damaged = |what: &str, change: &dyn Fn(&SimDisk)| {
            let copy = disk.fork();
            change(&copy);
            all.push((format!("{file} {what}"), copy));
        };
        damaged("removed", &|copy| copy.remove(&file).unwrap());
        damaged("emptied", &|copy| copy.damage(&file, |bytes| bytes.clear()).unwrap());
        for at in [length / 5, length / 2, length * 4 / 5] {
            damaged(&format!("flipped at {at}"), &|copy| copy.damage(&file, |bytes| bytes[at] ^= 4).unwrap());
            damaged(&format!("cut at {at}"), &|copy| copy.damage(&file, |bytes| bytes.truncate(at)).unwrap());
        }
    }
    all
}

#[test]
fn with_a_backup_everything_is_there_again() {
    let days = small();
    let backup = Backup(days.all.clone());
    let (disk, _) = days.killed();
    let truth = Content::read(&disk).unwrap().0;
    let mut repaired = 0;
    for (what, damaged) in damaged_ones(&disk) {
        let before = look(&damaged);
        let Some(done) = mend(&damaged, &backup) else {
            assert!(!before.needs_repair(), "{what}");
            continue;
        };
        repaired += 1;
        assert_eq!(done.survey.lost, [], "{what}\n{}", done.survey.text());
        let after = look(&damaged);
        assert!(!after.needs_repair(), "{what}: still\n{}", after.text());
        let (content, said) = Content::read(&damaged).unwrap_or_else(|why| panic!("{what}: {why}"));
        assert_eq!(said, Vec::<String>::new(), "{what}");
        let content = content.without_repair();
        assert_eq!(content.folded, truth.folded, "{what}");
        assert_eq!(content.history, truth.history, "{what}");
        assert_eq!((content.house, content.key), (truth.house.clone(), truth.key), "{what}");
        for (key, (facts, persons)) in &truth.archived {
            let found = content.archived.get(key).unwrap_or_else(|| panic!("{what}: {key} is in no archive"));
            assert_eq!(&found.0, facts, "{what}");
            // Persons of what is done are not taken out of backups again: they may have been forgotten since.
            if !what.starts_with("archive/") || !what.contains(".people") {
                assert_eq!(&found.1, persons, "{what}");
            }
        }
        // A second time there is nothing to do.
        assert_eq!(mend(&damaged, &backup), None, "{what}");
    }
    assert!(repaired > 40, "{repaired}");
}

#[test]
fn without_a_backup_what_is_lost_is_said_and_the_rest_is_there() {
    let (disk, _) = small().killed();
    let truth = Content::read(&disk).unwrap().0;
    let mut losses = 0;
    for (what, damaged) in damaged_ones(&disk) {
        let Some(done) = mend(&damaged, &dawnslip::ledger::survey::NoSpares) else { continue };
        let (content, _) = Content::read(&damaged).unwrap_or_else(|why| panic!("{what}: {why}"));
        assert!(!look(&damaged).needs_repair(), "{what}");
        let lost = |seq: u64| done.survey.lost.iter().any(|loss| (loss.records.from..=loss.records.to).contains(&seq));
        losses += usize::from(!done.survey.lost.is_empty());
        let told: Vec<&Fact> = content.house.iter().map(|stamped| &stamped.fact).collect();
        assert!(matches!(told.last(), Some(Fact::Repaired { lost, .. }) if lost.len() == done.survey.lost.len()));
        for (key, facts) in &truth.history {
            let kept: Vec<&Stamped> = facts.iter().filter(|stamped| !lost(stamped.seq)).collect();
            assert_eq!(content.history[key].iter().collect::<Vec<_>>(), kept, "{what}: {key}\n{}", done.survey.text());
        }
        let open_work = done.survey.lost.iter().any(|loss| loss.open_work);
        if !open_work {
            let folded = content.without_repair().folded;
            assert_eq!(folded.state.orders, truth.folded.state.orders, "{what}\n{}", done.survey.text());
            assert_eq!(folded.state.messages, truth.folded.state.messages, "{what}");
        }
    }
    assert!(losses > 10, "{losses}");
}

#[test]
fn what_is_replaced_is_kept_and_nothing_else_is_touched() {
    let (disk, _) = small().killed();
    let file = files(&disk).into_iter().find(|file| file.ends_with(".facts") && file.starts_with("archive")).unwrap();
    disk.damage(&file, |bytes| bytes[300] ^= 1).unwrap();
    disk.create("journal/notes.txt").unwrap().write_at(0, b"mine").unwrap();
    let before: Vec<(String, Vec<u8>)> =
        files(&disk).into_iter().map(|file| (file.clone(), disk.read(&file).unwrap())).collect();
    let done = mend(&disk, &dawnslip::ledger::survey::NoSpares).unwrap();
    assert_eq!(done.kept_in, "damaged-2026-11-25");
    for (file, bytes) in before.iter().filter(|(file, _)| file != "alive" && file != "clean") {
        let kept = disk.read(&format!("{}/{file}", done.kept_in));
        let there = disk.read(file);
        let found = kept.as_ref().is_ok_and(|kept| kept == bytes) || there.is_ok_and(|there| there == *bytes);
        assert!(found, "{file} is neither in its place nor kept");
    }
    assert_eq!(disk.read("journal/notes.txt").unwrap(), b"mine");
}

#[test]
fn a_power_cut_at_any_moment_leaves_it_as_before_or_is_resumed() {
    let days = small();
    let backup = Backup(days.all.clone());
    let (whole, _) = days.killed();
    let truth = Content::read(&whole).unwrap().0;
    // Damage that needs all that a repair can do: the journal, an archive, the carry, the snapshots.
    let disk = whole.fork();
    for file in files(&whole) {
        let number = file.bytes().filter(u8::is_ascii_digit).map(u32::from).sum::<u32>();
        let hit = file.starts_with("snapshot") || file.starts_with("history") || number.is_multiple_of(3);
        if hit && !file.starts_with("alive") {
            disk.damage(&file, |bytes| bytes.iter_mut().skip(100).for_each(|byte| *byte ^= 0x55)).unwrap();
        }
    }
    let counted = disk.fork();
    let begun = counted.operations();
    mend(&counted, &backup).unwrap();
    let operations = counted.operations() - begun;
    for cut in 0..operations {
        let cutting = disk.fork();
        cutting.set_trouble(Trouble { cut_before: Some(cutting.operations() + cut), ..Trouble::default() });
        let shared: std::sync::Arc<dyn Disk> = std::sync::Arc::new(cutting.clone());
        let ended = dawnslip::ledger::repair::repair(&shared, &backup, now(), &mut Folded::default());
        assert!(ended.is_err(), "cut {cut}");
        cutting.crash(cut);
        // Whoever comes next finds the damage as it was, or a directory that is whole.
        let opened = open(&cutting).is_ok();
        let what = format!("cut before operation {cut} of {operations}");
        if !opened {
            assert!(look(&cutting).need() == Need::Start, "{what}");
        }
        mend(&cutting, &backup);
        assert!(!look(&cutting).needs_repair(), "{what}:\n{}", look(&cutting).text());
        let (content, _) = Content::read(&cutting).unwrap_or_else(|why| panic!("{what}: {why}"));
        let content = content.without_repair();
        assert_eq!(content.folded.state.orders, truth.folded.state.orders, "{what}");
        assert_eq!(content.history, truth.history, "{what}");
    }
}

#[test]
fn a_person_is_asked_about_what_is_lost_until_it_is_acknowledged() {
    let (disk, _) = small().killed();
    let needle = format!("\"order_received\":{{\"order\":{{\"key\":\"shop/S-{ORDERS}\"");
    let (file, at) = holding_file(&disk, "journal/", &needle);
    disk.damage(&file, |bytes| bytes[at] ^= 1).unwrap();
    let done = mend(&disk, &dawnslip::ledger::survey::NoSpares).unwrap();
    let [loss] = &done.survey.lost[..] else { panic!("{:?}", done.survey.lost) };
    assert!(loss.open_work);
    let (_, opened) = open(&disk).unwrap();
    let mut state = Folded::of(&opened).state;
    assert_eq!(state.lost.len(), 1);
    let before = (state.last_job, state.last_parcel);
    assert!(before.0 > 0 && before.1 > 0, "numbers that may have been given are not given again");
    step(&mut state, Command::Started { last_alive: None, clean: false }, now());
    assert_eq!(state.lost, []);
    let cause = Cause::RecordsLost(loss.records.from, loss.records.to);
    let asked = questions(&state);
    let [question] = &asked[..] else { panic!("{asked:?}") };
    assert_eq!(question.cause, cause.to_string());
    assert!(question.what.contains("could not be restored") && question.remedy.contains("dawnslip intake FILE"));
    // Orders that may have been printed or cancelled meanwhile wait for it as well.
    assert!(!question.orders.is_empty());
    // It stands after the next start, once.
    step(&mut state, Command::Started { last_alive: None, clean: true }, now());
    assert_eq!(questions(&state), asked);
    let action = Action::Decide { cause: question.cause.clone(), decision: Decision::GoOn };
    step(&mut state, Command::Person(action), now());
    assert_eq!(questions(&state), []);
}
