//! Data of older forms open and are read; data of newer ones are refused by name, and nothing of
//! them is changed. `cases/format_1` was written by the first version of the program.

use dawnslip::book::*;
use dawnslip::daemon::shared::Durable;
use dawnslip::ledger::copies::import::{Fold, import};
use dawnslip::ledger::copies::{CopyError, Reader, Source};
use dawnslip::ledger::{Disk, Erasure, Indexer, IndexerState, Ledger, LedgerError, MemHome, RealDisk, SimDisk};
use dawnslip::model::*;
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tempfile::TempDir;

fn now() -> Timestamp {
    "2027-01-10T07:00:00Z".parse().unwrap()
}

/// A copy of the golden data directory.
fn golden() -> TempDir {
    let to = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases/format_1");
    for (name, bytes) in contents(&from) {
        let file = to.path().join(name);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, bytes).unwrap();
    }
    fs::create_dir_all(to.path().join("aside")).unwrap();
    to
}

/// Every file with its bytes.
fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(at) = open.pop() {
        for entry in fs::read_dir(&at).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                found.insert(path.strip_prefix(folder).unwrap().to_owned(), fs::read(&path).unwrap());
            }
        }
    }
    found.remove(Path::new("lock"));
    found
}

fn open(folder: &Path) -> Result<(Ledger, dawnslip::ledger::Opened), LedgerError> {
    Ledger::open(Arc::new(RealDisk::new(folder).unwrap()), now())
}

#[test]
fn data_of_the_first_form_open_and_all_of_it_is_read() {
    let data = golden();
    let (mut ledger, opened) = open(data.path()).unwrap();
    assert!(opened.clean && opened.notices.is_empty() && opened.cut_tail.is_none());
    let durable = dawnslip::daemon::fold(&opened).unwrap();
    assert_eq!((durable.state.seq, durable.state.mode), (9, Mode::Trickle));
    let (open_one, archived) = (OrderKey::new("shop", "S-418"), OrderKey::new("shop", "S-417"));
    assert_eq!(durable.people.of(&open_one, 1).unwrap().recipient.reveal(), "佐藤 花子");
    assert!(durable.state.erasing.is_empty() && durable.state.program.is_none());
    let found = ledger.archive_reader().read(&archived).unwrap().unwrap();
    assert_eq!((found.facts.len(), found.persons.len()), (3, 2));
    let disk: Arc<dyn Disk> = Arc::new(RealDisk::new(data.path()).unwrap());
    let indexer = Indexer::spawn(disk, &opened, MemHome::default()).unwrap();
    let reader = indexer.reader();
    while reader.state() != IndexerState::Serving {
        assert!(!matches!(reader.state(), IndexerState::Broken(_)), "{:?}", reader.state());
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    assert!(reader.facts_of(&open_one).is_ok_and(|facts| !facts.is_empty()));
    indexer.close();

    // And it is written on, in today's form, also over the old files.
    let mut state = durable.state.clone();
    let started = step(&mut state, Command::Started { last_alive: None, clean: true }, now());
    let changed = state.upgraded.clone().unwrap();
    assert_eq!((changed.from, changed.to.as_str()), (None, env!("CARGO_PKG_VERSION")), "told once");
    let mut durable = durable;
    let lines: Vec<_> = started.records.iter().map(|r| dawnslip::ledger::record::to_line(r).unwrap()).collect();
    ledger.append(10, &lines).unwrap();
    started.records.iter().for_each(|record| durable.fold(record));
    let again = step(&mut state.clone(), Command::Started { last_alive: None, clean: true }, now());
    assert_eq!(again.records.len() + 1, started.records.len(), "and not again");
    let erasure = Erasure { orders: BTreeSet::from([archived.clone()]), older: None };
    ledger.erase(&erasure, &durable.snapshot().unwrap()).unwrap();
    assert_eq!(ledger.archive_reader().read(&archived).unwrap().unwrap().persons.len(), 0);
    ledger.close(now()).unwrap();
    let (_, opened) = open(data.path()).unwrap();
    let again = dawnslip::daemon::fold(&opened).unwrap();
    assert_eq!((&again.state, &again.people), (&durable.state, &durable.people));
}

#[test]
fn a_copy_of_the_first_form_is_taken_in() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases/format_1_copy.ndjson");
    let lines = Box::new(std::io::BufReader::new(fs::File::open(&file).unwrap()));
    let reader = Reader::one(Source { name: "format_1_copy.ndjson".into(), lines }).unwrap();
    let disk: Arc<dyn Disk> = Arc::new(SimDisk::new());
    let mut taken = Durable::default();
    import(&disk, reader, [0; 32], &mut taken, |_| Ok(())).unwrap();
    let data = golden();
    let golden = dawnslip::daemon::fold(&open(data.path()).unwrap().1).unwrap();
    // The copy's end is told to the book by one more fact; all else is as it was.
    assert_eq!(taken.state.seq, golden.state.seq + 1);
    (taken.state.seq, taken.state.at) = (golden.state.seq, golden.state.at);
    // A snapshot of the first form does not say what happened to an order last.
    for key in golden.state.orders.keys() {
        taken.state.orders.get_mut(key).unwrap().last_fact = golden.state.orders[key].last_fact;
    }
    assert_eq!((&taken.state, &taken.people), (&golden.state, &golden.people));
    // One of a newer form is refused, and so nothing is taken in.
    let newer = fs::read_to_string(&file).unwrap().replacen("\"v\":1,", "\"v\":7,", 1);
    let lines = Box::new(std::io::Cursor::new(newer.into_bytes()));
    let err = Reader::one(Source { name: "newer.ndjson".into(), lines }).err().unwrap();
    assert!(matches!(err, CopyError::Version { version: 7, .. }), "{err}");
}

/// Rewrites the first line of a file that is written as a whole.
fn newer_envelope(bytes: &[u8]) -> Vec<u8> {
    let text = String::from_utf8(bytes.to_vec()).unwrap();
    text.replacen("\"v\":1,", "\"v\":7,\"by\":\"7.2.0\",\"more\":{\"of\":\"it\"},", 1).into_bytes()
}

/// Gives a segment another version and its program, with a checksum that fits.
fn newer_header(bytes: &[u8]) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    bytes[8] = 7;
    bytes[76..80].copy_from_slice(&[7, 2, 0, 0]);
    let crc = crc32c::crc32c(&bytes[..80]);
    bytes[80..84].copy_from_slice(&crc.to_le_bytes());
    bytes
}

/// Raises the version of one record in a segment of one frame, with checksums that fit.
fn newer_record(bytes: &[u8], from: &str, to: &str) -> Vec<u8> {
    const FRAME: usize = 84;
    let mut bytes = bytes.to_vec();
    let at = bytes.windows(from.len()).position(|part| part == from.as_bytes()).unwrap();
    bytes[at..at + from.len()].copy_from_slice(to.as_bytes());
    let length = u32::from_le_bytes(bytes[FRAME + 8..FRAME + 12].try_into().unwrap()) as usize;
    let payload = crc32c::crc32c(&bytes[FRAME + 44..FRAME + 44 + length]);
    bytes[FRAME + 12..FRAME + 16].copy_from_slice(&payload.to_le_bytes());
    let head = crc32c::crc32c(&bytes[FRAME..FRAME + 40]);
    bytes[FRAME + 40..FRAME + 44].copy_from_slice(&head.to_le_bytes());
    bytes
}

#[test]
fn data_of_a_newer_form_are_refused_by_name_and_stay_as_they_are() {
    let newest = "journal/0007.log";
    let record = |bytes: &[u8]| newer_record(bytes, "\"v\":1,\"seq\":9", "\"v\":7,\"seq\":9");
    type Newer<'a> = &'a dyn Fn(&[u8]) -> Vec<u8>;
    let cases: [(&str, Newer<'_>, &str); 8] = [
        ("journal/0006.log", &newer_header, "journal/0006.log is written in version 7 by dawnslip 7.2.0"),
        (newest, &newer_header, "journal/0007.log is written in version 7 by dawnslip 7.2.0"),
        (newest, &record, "record 9 in journal/0007.log is written in version 7"),
        ("snapshot/00000000000000000008.facts", &newer_envelope, "version 7 by dawnslip 7.2.0"),
        ("snapshot/00000000000000000007.people", &newer_envelope, "version 7 by dawnslip 7.2.0"),
        ("archive/2026-11.0001.facts", &newer_envelope, "archive/2026-11.0001.facts is written in version 7"),
        ("archive/2026-11.0002.people", &newer_envelope, "version 7 by dawnslip 7.2.0"),
        ("history/00000000000000000007.facts", &newer_envelope, "version 7 by dawnslip 7.2.0"),
    ];
    for (file, change, told) in cases {
        let data = golden();
        let path = data.path().join(file);
        let bytes = fs::read(&path).unwrap();
        fs::write(&path, change(&bytes)).unwrap();
        let before = contents(data.path());
        let err = open(data.path()).err().unwrap_or_else(|| panic!("{file}: it was opened"));
        assert!(matches!(err, LedgerError::Version { version: 7, newest: 1, .. }), "{file}: {err:?}");
        let text = err.to_string();
        assert!(text.contains(told) && text.contains("the newest known here is 1"), "{file}: {text}");
        assert!(text.contains("Nothing was changed") && text.contains("newer one"), "{file}: {text}");
        assert!(contents(data.path()) == before, "{file}: something was changed");
    }
}

#[test]
fn a_record_that_only_a_newer_program_knows_leaves_the_data_as_they_are() {
    let data = golden();
    let path = data.path().join("journal/0007.log");
    // The same version, but a kind of fact that is not known here.
    let strange = newer_record(&fs::read(&path).unwrap(), "mode_changed", "moon_changed");
    fs::write(&path, strange).unwrap();
    let before = contents(data.path());
    let program = env!("CARGO_BIN_EXE_dawnslip");
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let mut command = std::process::Command::new(program);
    command.args(["run", "--config"]).arg(config).arg("--data").arg(data.path()).env_remove("RUST_LOG");
    let output = command.output().unwrap();
    let told = String::from_utf8_lossy(&output.stderr).split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(output.status.code(), Some(1), "{told}");
    assert!(told.contains("record 9 cannot be read") && told.contains("newer dawnslip"), "{told}");
    let after = contents(data.path());
    // The sign of life is no record, and the marker of the clean stop was put back.
    let differ = before.keys().chain(after.keys()).filter(|name| before.get(*name) != after.get(*name));
    let differ: BTreeSet<_> = differ.map(|name| name.to_string_lossy()).collect();
    assert!(differ.iter().all(|name| name == "alive" || name == "clean"), "{differ:?}");
    assert!(after.contains_key(Path::new("clean")));
}
