//! Where facts go when segments end: closed orders once into archives by month, the rest along
//! into one carry file.
//!
//! - `archive/2026-11.0001.facts`: immutable, checksummed; one JSON line an order with all its
//!   facts, and one for the facts that belong to no order. `….people` beside it holds what tells
//!   of persons: deleting that file forgets them.
//! - `history/UPTO.facts` and `.people`, the carry: what stood in removed segments about orders
//!   that are still open. So a segment can go although an order in it waits for months.
//!
//! Archives + carry + segments hold every fact at least once; equal numbers are the same fact.
//! Everything is read from these files, never from the index.

use super::directory::Directory;
use super::indexer::FACTS_MAX;
use super::installation::InstallationId;
use super::record::{self, Links};
use super::segment::{self, NumberedLine, list_or_empty};
use super::{Disk, LedgerError, Line, RecordError, Tag, sealed};
use crate::book::{PersonRecord, Record, Stamped};
use crate::model::OrderKey;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use std::collections::{BTreeMap, BTreeSet};

/// Directory of the archives.
pub const DIR: &str = "archive";
/// Directory of the carry file.
pub const CARRY_DIR: &str = "history";
/// So many orders are archived at once; the others wait for the next time.
pub const ORDERS_MAX: usize = 1_000;

/// One order's part of an archive file.
#[derive(Serialize, Deserialize)]
struct Entry {
    /// `None`: the workshop as a whole.
    order: Option<OrderKey>,
    records: Vec<Box<RawValue>>,
}

/// Of one entry of an archive's file: the order, and each line's JSON.
pub(in crate::ledger) type LinesOf = (Option<OrderKey>, Vec<String>);

/// Of one entry of an archive's file of persons: the order, and each line with its JSON.
pub(super) type PersonsOf = (Option<OrderKey>, Vec<(PersonRecord, String)>);

/// An order as archived: JSON of its facts (by number) and of what tells of its persons.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ArchivedOrder {
    /// Facts, by number.
    pub facts: Vec<Stamped>,
    /// JSON lines of persons; none once they are forgotten.
    pub persons: Vec<Line>,
}

/// What an archive request came to.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ArchiveDone {
    /// Orders that are in the archive now.
    pub orders: Vec<OrderKey>,
    /// Number of the last fact that it holds of them.
    pub upto: u64,
    /// Segments that could be removed.
    pub segments_removed: usize,
}

/// Files of records, apart from the journal's open end.
#[derive(Clone, Copy)]
pub(in crate::ledger) struct History<'a> {
    pub disk: &'a dyn Disk,
    pub id: InstallationId,
}

fn unreadable(file: &str, err: &RecordError) -> LedgerError {
    LedgerError::bad_file(file, err.to_string())
}

impl History<'_> {
    pub(super) fn kind<'k>(&self, what: &'k str) -> sealed::Kind<'k> {
        sealed::Kind { what, installation: self.id }
    }

    /// Every fact up to `upto` and every person's line: carry, then segments, in order.
    pub fn each_open(&self, upto: u64, mut take: impl FnMut(NumberedLine)) -> Result<(), LedgerError> {
        let after = self.each_carried(&mut take)?;
        // What is between the carry and the first segment would silently be left out of archives.
        if let Some(first) = segment::read_headers(self.disk, self.id)?.first().map(|header| header.first_seq)
            && first > after + 1
        {
            let what = format!("records {} to {} stand in no file", after + 1, first - 1);
            return Err(LedgerError::Incomplete { what });
        }
        segment::read_lines(self.disk, self.id, after, upto, take)
    }

    /// The archive's files of facts, by name.
    pub fn archive_files(&self) -> Result<Vec<String>, LedgerError> {
        Ok(self.files("facts")?.into_iter().map(|(path, _)| path).collect())
    }

    /// What stands in an archive's file of facts, or in the file of persons beside it, by order.
    pub fn entries(&self, facts: &str, tag: Tag) -> Result<Vec<LinesOf>, LedgerError> {
        let people = people_beside(facts);
        let (path, what) = match tag {
            Tag::Fact => (facts, "archive facts"),
            Tag::Person => (people.as_str(), "archive people"),
        };
        let mut entries = Vec::new();
        // Persons that were forgotten as a whole leave no file.
        if tag == Tag::Fact || self.disk.len(path).is_ok() {
            self.each_entry(path, what, |entry| {
                entries.push((entry.order, entry.records.iter().map(|json| json.get().to_owned()).collect()));
                Ok(())
            })?;
        }
        Ok(entries)
    }

    /// Every line of the carry, facts first; says for the facts up to which number it stands.
    pub fn each_carried(&self, mut take: impl FnMut(NumberedLine)) -> Result<u64, LedgerError> {
        let Some(upto) = self.carry_upto()? else { return Ok(0) };
        for (part, tag) in [("facts", Tag::Fact), ("people", Tag::Person)] {
            for json in self.read_carry(upto, part)? {
                let seq = match tag {
                    Tag::Fact => record::fact_from(&json).map_err(|err| unreadable(&carry_path(upto, part), &err))?.seq,
                    Tag::Person => upto,
                };
                take(NumberedLine { seq, line: Line { tag, json } });
            }
        }
        Ok(upto)
    }

    /// The lines of a carry's part.
    pub fn read_carry(&self, upto: u64, part: &str) -> Result<Vec<String>, LedgerError> {
        let path = carry_path(upto, part);
        let (at, body) = self.kind(&format!("history {part}")).read(self.disk, &path)?;
        if at != upto {
            return Err(LedgerError::bad_file(&path, format!("its name says {upto}, it is true at {at}")));
        }
        Ok(text_of(&path, &body)?.lines().map(str::to_owned).collect())
    }

    /// An archive file's facts with the orders under which they stand; gives the fact up to which
    /// it goes.
    pub fn read_archive(
        &self,
        path: &str,
        mut take: impl FnMut(Option<&OrderKey>, &str) -> Result<(), LedgerError>,
    ) -> Result<u64, LedgerError> {
        self.each_entry(path, "archive facts", |entry| {
            entry.records.iter().try_for_each(|json| take(entry.order.as_ref(), json.get()))
        })
    }

    /// Checks an archive's file of persons.
    pub fn read_people(&self, path: &str) -> Result<(), LedgerError> {
        self.each_entry(path, "archive people", |_| Ok(())).map(drop)
    }

    /// Writes a carry that stands for everything up to the fact `upto`.
    pub fn write_carry(&self, upto: u64, facts: &[u8], people: &[u8]) -> Result<(), LedgerError> {
        self.kind("history people").write(self.disk, &carry_path(upto, "people"), upto, people)?;
        self.kind("history facts").write(self.disk, &carry_path(upto, "facts"), upto, facts)
    }

    /// The facts of one archive file, with the orders under which they stand.
    pub fn facts_of(&self, path: &str, mut take: impl FnMut(Option<OrderKey>, Stamped)) -> Result<(), LedgerError> {
        self.each_entry(path, "archive facts", |entry| {
            for json in &entry.records {
                let fact = record::fact_from(json.get()).map_err(|err| unreadable(path, &err))?;
                take(entry.order.clone(), fact);
            }
            Ok(())
        })
        .map(drop)
    }

    /// Files of archived facts beside which there still is one of persons.
    pub fn pairs_with_people(&self) -> Result<Vec<String>, LedgerError> {
        let mut pairs: Vec<String> = self.files("facts")?.into_iter().map(|(path, _)| path).collect();
        let people: BTreeSet<String> = self.files("people")?.into_iter().map(|(path, _)| path).collect();
        pairs.retain(|path| people.contains(&people_beside(path)));
        Ok(pairs)
    }

    /// The persons beside one file of archived facts, and up to which fact they are archived.
    pub fn people_of(&self, facts: &str) -> Result<(u64, Vec<PersonsOf>), LedgerError> {
        let path = people_beside(facts);
        let mut all = Vec::new();
        let seq = self.each_entry(&path, "archive people", |entry| {
            let records = entry.records.iter().map(|json| {
                let person = record::person_from(json.get()).map_err(|err| unreadable(&path, &err))?;
                Ok((person, json.get().to_owned()))
            });
            all.push((entry.order.clone(), records.collect::<Result<_, LedgerError>>()?));
            Ok(())
        })?;
        Ok((seq, all))
    }

    /// Takes lines out of the persons beside one file of archived facts; says how many. The file is
    /// replaced as a whole, or removed where nothing is left.
    pub fn thin_out(&self, facts: &str, mut goes: impl FnMut(&PersonRecord) -> bool) -> Result<u64, LedgerError> {
        let (seq, all) = self.people_of(facts)?;
        let mut gone = 0;
        let mut body = Vec::new();
        for (order, mut lines) in all {
            let before = lines.len();
            lines.retain(|(person, _)| !goes(person));
            gone += (before - lines.len()) as u64;
            if !lines.is_empty() {
                put_entry(&mut body, order, lines.into_iter().map(|(_, json)| json))?;
            }
        }
        let path = people_beside(facts);
        if body.is_empty() {
            self.disk.remove(&path).map_err(LedgerError::disk("remove", &path))?;
            self.disk.sync_dir(DIR).map_err(LedgerError::disk("sync", DIR))?;
        } else if gone > 0 {
            self.kind("archive people").write(self.disk, &path, seq, &body)?;
        }
        Ok(gone)
    }

    /// Everything that is archived about one order; reads the files that it stands in. A damaged
    /// file hides only what is in it: its error is given where the order is in no other.
    pub fn archived(&self, directory: &Directory, key: &OrderKey) -> Result<Option<ArchivedOrder>, LedgerError> {
        let mut facts = BTreeMap::new();
        let mut persons = Vec::new();
        let mut damage = None;
        for path in directory.files_of(self, key)? {
            let mut here = false;
            let read = self.each_entry(&path, "archive facts", |entry| {
                if entry.order.as_ref() == Some(key) {
                    here = true;
                    for json in &entry.records {
                        let fact = record::fact_from(json.get()).map_err(|err| unreadable(&path, &err))?;
                        facts.insert(fact.seq, fact);
                    }
                }
                Ok(())
            });
            damage = damage.or(read.err());
            let people = people_beside(&path);
            if here && self.disk.len(&people).is_ok() {
                self.each_entry(&people, "archive people", |entry| {
                    if entry.order.as_ref() == Some(key) {
                        let lines = entry.records.iter();
                        persons.extend(lines.map(|json| Line { tag: Tag::Person, json: json.get().to_owned() }));
                    }
                    Ok(())
                })?;
            }
        }
        // Archived twice where nobody took note of it the first time.
        let mut seen = BTreeSet::new();
        persons.retain(|line: &Line| seen.insert(line.json.clone()));
        let facts: Vec<_> = facts.into_values().collect();
        if let Some(damage) = damage.filter(|_| facts.is_empty()) {
            return Err(damage);
        }
        Ok((!facts.is_empty()).then_some(ArchivedOrder { facts, persons }))
    }

    /// The facts about one order, from everywhere; what is damaged is left out. At most
    /// [`FACTS_MAX`], the newest.
    pub fn everything_of(&self, directory: &Directory, order: &OrderKey) -> Result<Vec<Stamped>, LedgerError> {
        let archived = self.archived(directory, order).ok().flatten().map(|found| found.facts).unwrap_or_default();
        let mut links = Links::default();
        archived.iter().for_each(|fact| links.take_in(&fact.fact));
        let mut facts: BTreeMap<u64, Stamped> = archived.into_iter().map(|fact| (fact.seq, fact)).collect();
        let mut take = |line: NumberedLine| {
            let Some(fact) = (line.line.tag == Tag::Fact).then(|| record::fact_from(&line.line.json).ok()).flatten()
            else {
                return;
            };
            links.take_in(&fact.fact);
            if links.of_fact(&fact.fact).contains(order) {
                facts.insert(fact.seq, fact);
                if facts.len() > FACTS_MAX {
                    facts.pop_first();
                }
            }
        };
        let after = self.each_carried(&mut take).unwrap_or(0);
        segment::read_lines_around(self.disk, self.id, after, u64::MAX, take)?;
        Ok(facts.into_values().collect())
    }

    /// What there is to read; differs once something has moved from one file to another.
    pub fn files_now(&self) -> Result<(Option<u64>, Option<u64>), LedgerError> {
        let first_segment = segment::segment_numbers(self.disk)?.first().copied();
        Ok((self.carry_upto()?, first_segment))
    }

    /// Orders in one archive file, and the fact up to which it is true.
    pub fn keys_in(&self, path: &str) -> Result<(u64, BTreeSet<OrderKey>), LedgerError> {
        let mut keys = BTreeSet::new();
        let seq = self.each_entry(path, "archive facts", |entry| {
            keys.extend(entry.order);
            Ok(())
        })?;
        Ok((seq, keys))
    }

    fn each_entry(
        &self,
        path: &str,
        what: &str,
        mut take: impl FnMut(Entry) -> Result<(), LedgerError>,
    ) -> Result<u64, LedgerError> {
        let (upto, body) = self.kind(what).read(self.disk, path)?;
        for line in text_of(path, &body)?.lines() {
            let entry = serde_json::from_str(line)
                .map_err(|_| LedgerError::bad_file(path, "a line of it is no archived order"))?;
            take(entry)?;
        }
        Ok(upto)
    }

    /// Archive files with their number in the month, sorted.
    fn files(&self, part: &str) -> Result<Vec<(String, u32)>, LedgerError> {
        let names = list_or_empty(self.disk, DIR)?;
        Ok(names
            .iter()
            .filter_map(|name| {
                name.strip_suffix(&format!(".{part}"))?;
                Some((format!("{DIR}/{name}"), number_of(name)?))
            })
            .collect())
    }

    /// Up to which fact the carry stands for removed segments; `None` before the first.
    pub fn carry_upto(&self) -> Result<Option<u64>, LedgerError> {
        let names = list_or_empty(self.disk, CARRY_DIR)?;
        Ok(names.iter().filter(|name| name.ends_with(".facts")).filter_map(|name| carry_upto_of(name)).max())
    }

    /// As [`Self::each_open`], each line with its record.
    pub fn each_record(&self, upto: u64, mut take: impl FnMut(u64, String, Record)) -> Result<(), LedgerError> {
        let mut trouble = None;
        self.each_open(upto, |NumberedLine { seq, line }| match record::from_line(&line) {
            Ok(record) => take(seq, line.json, record),
            Err(err) => trouble = trouble.take().or(Some(err)),
        })?;
        trouble.map_or(Ok(()), |err| Err(unreadable(super::journal::DIR, &err)))
    }
}

/// The file of persons that stands beside one of facts.
fn people_beside(facts: &str) -> String {
    format!("{}.people", facts.trim_end_matches(".facts"))
}

/// Where a carry's part lies.
pub(super) fn carry_path(upto: u64, part: &str) -> String {
    format!("{CARRY_DIR}/{upto:020}.{part}")
}

/// Up to which fact a file of this name stands for removed segments; `None` for a file that is
/// called otherwise.
pub(super) fn carry_upto_of(name: &str) -> Option<u64> {
    let (upto, part) = name.split_once('.')?;
    let upto = upto.parse().ok()?;
    let ours = ["facts", "people"].contains(&part) && carry_path(upto, part).ends_with(&format!("/{name}"));
    ours.then_some(upto)
}

/// The number in its month of an archive file of this name; `None` for one that is called otherwise.
pub(super) fn number_of(name: &str) -> Option<u32> {
    let (month, rest) = name.split_once('.')?;
    let (number, part) = rest.split_once('.')?;
    let number: u32 = number.parse().ok()?;
    let is_month = month.len() == 7 && month.bytes().enumerate().all(|(at, b)| (at == 4) == (b == b'-'));
    (is_month && ["facts", "people"].contains(&part) && format!("{number:04}.{part}") == rest).then_some(number)
}

fn text_of<'b>(path: &str, body: &'b [u8]) -> Result<&'b str, LedgerError> {
    std::str::from_utf8(body).map_err(|_| LedgerError::bad_file(path, "it is not UTF-8"))
}

pub(super) fn put_entry(
    body: &mut Vec<u8>,
    order: Option<OrderKey>,
    records: impl Iterator<Item = String>,
) -> Result<(), LedgerError> {
    let entry = records
        .map(RawValue::from_string)
        .collect::<Result<Vec<_>, _>>()
        .map(|records| Entry { order, records })
        .and_then(|entry| serde_json::to_vec(&entry))
        .map_err(|err| LedgerError::Misuse { what: format!("an archived order could not be written: {err}") })?;
    body.extend_from_slice(&entry);
    body.push(b'\n');
    Ok(())
}
