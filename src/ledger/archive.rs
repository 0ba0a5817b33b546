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

use super::installation::InstallationId;
use super::record::{self, Links};
use super::segment::{self, NumberedLine, list_or_empty};
use super::{Disk, LedgerError, Line, RecordError, Tag, sealed};
use crate::book::{Record, Stamped};
use crate::model::OrderKey;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use std::collections::{BTreeMap, BTreeSet};

/// Directory of the archives.
pub const DIR: &str = "archive";
/// Directory of the carry file.
pub const CARRY_DIR: &str = "history";
/// So many orders are archived at once; the others wait for the next time.
pub const ORDERS_MAX: usize = 500;
/// Enough of a file to hold its first line.
const ENVELOPE_BYTES: usize = 512;

/// One order's part of an archive file.
#[derive(Serialize, Deserialize)]
struct Entry {
    /// `None`: the workshop as a whole.
    order: Option<OrderKey>,
    records: Vec<Box<RawValue>>,
}

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
    /// Segments that could be removed.
    pub segments_removed: usize,
}

/// Files of records, apart from the journal's open end.
#[derive(Clone, Copy)]
pub(super) struct History<'a> {
    pub disk: &'a dyn Disk,
    pub id: InstallationId,
}

/// Lines gathered for one order or for the house.
#[derive(Default)]
struct Gathered {
    facts: BTreeMap<u64, String>,
    persons: Vec<String>,
    month: String,
}

impl Gathered {
    fn add(&mut self, fact: &Stamped, json: String) {
        self.month = month_of(fact);
        self.facts.insert(fact.seq, json);
    }
}

/// Year and month (UTC) of a fact, for example `2026-11`.
fn month_of(fact: &Stamped) -> String {
    fact.at.to_string().chars().take(7).collect()
}

fn unreadable(file: &str, err: &RecordError) -> LedgerError {
    LedgerError::bad_file(file, err.to_string())
}

impl History<'_> {
    fn kind<'k>(&self, what: &'k str) -> sealed::Kind<'k> {
        sealed::Kind { what, installation: self.id }
    }

    /// Every fact up to `upto` and every person's line: carry, then segments, in order.
    pub fn each_open(&self, upto: u64, mut take: impl FnMut(NumberedLine)) -> Result<(), LedgerError> {
        let after = self.carry_upto()?;
        if let Some(after) = after {
            for (what, part, tag) in [("history facts", "facts", Tag::Fact), ("history people", "people", Tag::Person)]
            {
                let path = carry_path(after, part);
                let (_, body) = self.kind(what).read(self.disk, &path)?;
                for json in text_of(&path, &body)?.lines() {
                    let seq = match tag {
                        Tag::Fact => record::fact_from(json).map_err(|err| unreadable(&path, &err))?.seq,
                        Tag::Person => after,
                    };
                    take(NumberedLine { seq, line: Line { tag, json: json.to_owned() } });
                }
            }
        }
        segment::read_lines(self.disk, self.id, after.unwrap_or(0), upto, take)
    }

    /// Every archived fact with the order under which it stands, file by file.
    pub fn each_archived(&self, mut take: impl FnMut(Option<OrderKey>, Stamped)) -> Result<(), LedgerError> {
        for (path, _) in self.files("facts")? {
            self.each_entry(&path, "archive facts", |entry| {
                for json in &entry.records {
                    let fact = record::fact_from(json.get()).map_err(|err| unreadable(&path, &err))?;
                    take(entry.order.clone(), fact);
                }
                Ok(())
            })?;
        }
        Ok(())
    }

    /// Everything that is archived about one order; reads the files one after the other.
    pub fn archived(&self, key: &OrderKey) -> Result<Option<ArchivedOrder>, LedgerError> {
        let mut facts = BTreeMap::new();
        let mut persons = Vec::new();
        for (path, _) in self.files("facts")? {
            let mut here = false;
            self.each_entry(&path, "archive facts", |entry| {
                if entry.order.as_ref() == Some(key) {
                    here = true;
                    for json in &entry.records {
                        let fact = record::fact_from(json.get()).map_err(|err| unreadable(&path, &err))?;
                        facts.insert(fact.seq, fact);
                    }
                }
                Ok(())
            })?;
            let people = path.replace(".facts", ".people");
            if here && self.disk.len(&people).is_ok() {
                self.each_entry(&people, "archive people", |entry| {
                    if entry.order.as_ref() == Some(key) {
                        persons.extend(
                            entry.records.iter().map(|json| Line { tag: Tag::Person, json: json.get().to_owned() }),
                        );
                    }
                    Ok(())
                })?;
            }
        }
        let facts: Vec<_> = facts.into_values().collect();
        Ok((!facts.is_empty()).then_some(ArchivedOrder { facts, persons }))
    }

    /// What there is to read; differs once something has moved from one file to another.
    pub fn files_now(&self) -> Result<(Option<u64>, usize, Option<u64>), LedgerError> {
        let first_segment = segment::segment_numbers(self.disk)?.first().copied();
        Ok((self.carry_upto()?, self.files("facts")?.len(), first_segment))
    }

    fn each_entry(
        &self,
        path: &str,
        what: &str,
        mut take: impl FnMut(Entry) -> Result<(), LedgerError>,
    ) -> Result<(), LedgerError> {
        let (_, body) = self.kind(what).read(self.disk, path)?;
        for line in text_of(path, &body)?.lines() {
            let entry = serde_json::from_str(line)
                .map_err(|_| LedgerError::bad_file(path, "a line of it is no archived order"))?;
            take(entry)?;
        }
        Ok(())
    }

    /// Archive files with their number in the month, sorted.
    fn files(&self, part: &str) -> Result<Vec<(String, u32)>, LedgerError> {
        let names = list_or_empty(self.disk, DIR)?;
        Ok(names
            .iter()
            .filter_map(|name| {
                let (_, number) = name.strip_suffix(&format!(".{part}"))?.split_once('.')?;
                Some((format!("{DIR}/{name}"), number.parse().ok()?))
            })
            .collect())
    }

    /// Up to which fact the carry stands for removed segments; `None` before the first.
    pub fn carry_upto(&self) -> Result<Option<u64>, LedgerError> {
        let names = list_or_empty(self.disk, CARRY_DIR)?;
        Ok(names.iter().filter_map(|name| name.strip_suffix(".facts")?.parse().ok()).max())
    }

    /// Orders in archive files written after the fact `after`, with the fact up to which each is archived.
    fn archived_since(&self, after: u64) -> Result<BTreeMap<OrderKey, u64>, LedgerError> {
        #[derive(Deserialize)]
        struct Start {
            seq: u64,
        }
        let mut found = BTreeMap::new();
        for (path, _) in self.files("facts")? {
            let start = self.disk.read_start(&path, ENVELOPE_BYTES).map_err(LedgerError::disk("read", &path))?;
            let line = start.split(|byte| *byte == b'\n').next().unwrap_or_default();
            if serde_json::from_slice::<Start>(line).is_ok_and(|start| start.seq <= after) {
                continue;
            }
            let (seq, _) = self.kind("archive facts").read(self.disk, &path)?;
            self.each_entry(&path, "archive facts", |entry| {
                if let Some(order) = entry.order {
                    let upto = found.entry(order).or_insert(seq);
                    *upto = seq.max(*upto);
                }
                Ok(())
            })?;
        }
        Ok(found)
    }

    /// Writes what was gathered into new files, one pair a month.
    fn write(&self, last_seq: u64, gathered: BTreeMap<Option<OrderKey>, Gathered>) -> Result<(), LedgerError> {
        let mut months: BTreeMap<String, [Vec<u8>; 2]> = BTreeMap::new();
        for (order, lines) in gathered {
            let [facts, people] = months.entry(lines.month).or_default();
            put_entry(facts, order.clone(), lines.facts.into_values())?;
            if !lines.persons.is_empty() {
                put_entry(people, order, lines.persons.into_iter())?;
            }
        }
        for (month, [facts, people]) in months {
            let there = self.files("facts")?;
            let taken = there.iter().filter(|(path, _)| path.starts_with(&format!("{DIR}/{month}.")));
            let number = taken.map(|(_, number)| *number).max().unwrap_or(0) + 1;
            let path = |part: &str| format!("{DIR}/{month}.{number:04}.{part}");
            // The facts part makes the pair count, so it comes last.
            self.kind("archive people").write(self.disk, &path("people"), last_seq, &people)?;
            self.kind("archive facts").write(self.disk, &path("facts"), last_seq, &facts)?;
        }
        Ok(())
    }

    /// Archives `wanted` orders. `last_seq` is the journal's last fact. Of the segments, those whose
    /// facts all have numbers up to `removable` are made superfluous: what they hold is then in an
    /// archive or in the carry.
    pub fn run(
        &self,
        last_seq: u64,
        removable: Option<u64>,
        wanted: &[OrderKey],
    ) -> Result<Vec<OrderKey>, LedgerError> {
        let wanted: BTreeSet<&OrderKey> = wanted.iter().take(ORDERS_MAX).collect();
        let before = self.carry_upto()?;
        let mut archived = self.archived_since(before.unwrap_or(0))?;
        let mut links = Links::default();
        self.each_record(last_seq, |_, _, record| {
            if let Record::Fact(fact) = record {
                links.take_in(&fact.fact);
            }
        })?;
        let gathered = self.gather(last_seq, &wanted, &links, &archived)?;
        archived.extend(gathered.keys().flatten().map(|order| (order.clone(), last_seq)));
        self.write(last_seq, gathered)?;
        if let Some(upto) = removable
            && before < Some(upto)
        {
            self.carry_over(upto, &links, &archived)?;
            self.remove_carries_before(upto)?;
        }
        let mut done = Vec::new();
        for order in wanted {
            // One that was archived long ago, though nobody took note of it, is done as well.
            if archived.contains_key(order) || self.archived(order)?.is_some() {
                done.push(order.clone());
            }
        }
        Ok(done)
    }

    /// As [`Self::each_open`], each line with its record.
    fn each_record(&self, upto: u64, mut take: impl FnMut(u64, String, Record)) -> Result<(), LedgerError> {
        let mut trouble = None;
        self.each_open(upto, |NumberedLine { seq, line }| match record::from_line(&line) {
            Ok(record) => take(seq, line.json, record),
            Err(err) => trouble = trouble.take().or(Some(err)),
        })?;
        trouble.map_or(Ok(()), |err| Err(unreadable(super::journal::DIR, &err)))
    }

    /// The lines of the wanted orders that are not archived yet.
    fn gather(
        &self,
        last_seq: u64,
        wanted: &BTreeSet<&OrderKey>,
        links: &Links,
        archived: &BTreeMap<OrderKey, u64>,
    ) -> Result<BTreeMap<Option<OrderKey>, Gathered>, LedgerError> {
        let mut gathered: BTreeMap<Option<OrderKey>, Gathered> = BTreeMap::new();
        self.each_record(last_seq, |seq, json, record| {
            for order in links.of_record(&record) {
                if !wanted.contains(&order) || archived.get(&order).is_some_and(|upto| seq <= *upto) {
                    continue;
                }
                let lines = gathered.entry(Some(order)).or_default();
                match &record {
                    Record::Fact(fact) => lines.add(fact, json.clone()),
                    Record::Person(_) => lines.persons.push(json.clone()),
                }
            }
        })?;
        // A person's line alone says nothing about when: it waits for a fact.
        gathered.retain(|_, lines| !lines.facts.is_empty());
        Ok(gathered)
    }

    /// Writes a new carry that stands for everything up to the fact `upto`, and archives the
    /// house's lines of it.
    fn carry_over(&self, upto: u64, links: &Links, archived: &BTreeMap<OrderKey, u64>) -> Result<(), LedgerError> {
        let mut house: BTreeMap<String, Gathered> = BTreeMap::new();
        let (mut facts, mut people) = (Vec::new(), Vec::new());
        let mut month = String::new();
        self.each_record(upto, |seq, json, record| {
            let orders = links.of_record(&record);
            if let Record::Fact(fact) = &record {
                month = month_of(fact);
            }
            if orders.iter().any(|order| archived.get(order).is_none_or(|archived| seq > *archived)) {
                let body = if matches!(record, Record::Fact(_)) { &mut facts } else { &mut people };
                body.extend_from_slice(json.as_bytes());
                body.push(b'\n');
            } else if orders.is_empty() {
                let lines = house.entry(month.clone()).or_default();
                lines.month.clone_from(&month);
                match &record {
                    Record::Fact(fact) => lines.add(fact, json),
                    Record::Person(_) => lines.persons.push(json),
                }
            }
        })?;
        // A person's line ahead of the very first fact goes with that fact's month.
        if let Some(early) = house.remove("")
            && let Some(first) = house.values_mut().next()
        {
            first.persons.extend(early.persons);
        }
        for lines in house.into_values() {
            self.write(upto, BTreeMap::from([(None, lines)]))?;
        }
        self.kind("history people").write(self.disk, &carry_path(upto, "people"), upto, &people)?;
        self.kind("history facts").write(self.disk, &carry_path(upto, "facts"), upto, &facts)
    }

    fn remove_carries_before(&self, upto: u64) -> Result<(), LedgerError> {
        for name in list_or_empty(self.disk, CARRY_DIR)? {
            let number = name.split('.').next().and_then(|number| number.parse::<u64>().ok());
            if number.is_some_and(|number| number < upto) {
                let path = format!("{CARRY_DIR}/{name}");
                self.disk.remove(&path).map_err(LedgerError::disk("remove", &path))?;
            }
        }
        self.disk.sync_dir(CARRY_DIR).map_err(LedgerError::disk("sync", CARRY_DIR))
    }
}

fn carry_path(upto: u64, part: &str) -> String {
    format!("{CARRY_DIR}/{upto:020}.{part}")
}

fn text_of<'b>(path: &str, body: &'b [u8]) -> Result<&'b str, LedgerError> {
    std::str::from_utf8(body).map_err(|_| LedgerError::bad_file(path, "it is not UTF-8"))
}

fn put_entry(
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
