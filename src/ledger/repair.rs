//! Restores a damaged data directory.
//!
//! Never changes an original in place: everything restored is written below `repair/`, synced, and
//! a plan of moves is written last. From then on the moves are carried out, by whoever opens the
//! directory next if need be: first what is replaced goes into `damaged-DATE/`, then, once that is
//! durable, what was restored goes to its place. Before the plan is there nothing has changed.

use super::archive::{self, History};
use super::copies::import::Fold;
use super::damage::{DamageKind, Need, Survey};
use super::installation::{self, Installation, InstallationId};
use super::journal::{self, Journal};
use super::look::seq_of;
use super::salvage::each_line;
use super::segment::{dir_of, list_or_empty};
use super::survey::{Findings, Spares, find};
use super::within::Within;
use super::{Disk, Ledger, LedgerError, Line, Snapshot, Tag, record, sealed, snapshot, store};
use crate::book::{Fact, LostRecords, RECORD_VERSION, Record, Stamped};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Where restored files are written.
const STAGING: &str = "repair";
const PLAN: &str = "repair/plan";
/// A group of the new journal takes no further line once it is this long.
const GROUP_BYTES: usize = 1024 * 1024;
/// So many facts are held at once while the state is folded anew.
const FOLD_FACTS: u64 = 50_000;

/// Folds the state anew where no snapshot is left to begin with.
pub trait Refold: Fold {
    /// Begins with a snapshot, or with nothing.
    ///
    /// # Errors
    /// Where it cannot be read.
    fn begin(&mut self, snapshot: Option<&Snapshot>) -> Result<(), serde_json::Error>;
}

/// What a repair came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Repaired {
    /// What was found before.
    pub survey: Survey,
    /// Where the files lie that were replaced.
    pub kept_in: String,
}

/// The moves that put restored files in place.
#[derive(Debug, Serialize, Deserialize)]
struct Plan {
    /// Where what is replaced goes.
    kept_in: String,
    /// What is replaced.
    away: Vec<String>,
    /// What was restored, by its final path.
    into: Vec<String>,
}

fn plan_kind() -> sealed::Kind<'static> {
    // It must be readable even where nobody knows whose the directory is.
    sealed::Kind { what: "repair plan", installation: InstallationId([0; 16]) }
}

/// Restores what can be restored; what cannot is marked as lost in the journal, where the book
/// finds it. `None` where nothing needs it. The caller has said yes to what a survey showed.
///
/// # Errors
/// Those of the disk; and where a newer program wrote the files. The directory is then as before.
pub fn repair(
    disk: &Arc<dyn Disk>,
    spares: &dyn Spares,
    now: Timestamp,
    refold: &mut dyn Refold,
) -> Result<Option<Repaired>, LedgerError> {
    let lock = store::lock(disk.as_ref())?;
    finish(disk.as_ref())?;
    let found = find(disk.as_ref(), spares)?;
    if !found.survey.needs_repair() {
        return Ok(None);
    }
    if let Some(newer) = found.look.damage.iter().find(|damage| damage.kind == DamageKind::Newer) {
        return Err(LedgerError::bad_file(&newer.file, newer.what.clone()));
    }
    let kept_in = free_name(disk.as_ref(), now)?;
    let work = Work { disk, found: &found, spares, now, kept_in: &kept_in };
    let told = work.told();
    let plan = work.stage(refold)?;
    let json = serde_json::to_vec(&plan)
        .map_err(|err| LedgerError::Misuse { what: format!("the plan of a repair could not be written: {err}") })?;
    plan_kind().write(disk.as_ref(), PLAN, 0, &json)?;
    finish(disk.as_ref())?;
    drop(lock);
    verify(disk, now, &found, &told)?;
    Ok(Some(Repaired { survey: found.survey, kept_in }))
}

/// Opens what was restored, and archives again what stood in archives that are gone.
fn verify(disk: &Arc<dyn Disk>, now: Timestamp, found: &Findings, told: &Stamped) -> Result<(), LedgerError> {
    let (ledger, opened) = Ledger::open(Arc::clone(disk), now)?;
    let history = History { disk: disk.as_ref(), id: found.look.id };
    history.archive_again(opened.last_seq, &found.look.unarchived, told)?;
    ledger.leave()
}

/// Carries out the moves of a repair that was committed; false where there is none. May be called
/// again wherever it was interrupted.
pub(super) fn finish(disk: &dyn Disk) -> Result<bool, LedgerError> {
    if disk.len(PLAN).is_err() {
        return Ok(false);
    }
    let (_, json) = plan_kind().read(disk, PLAN)?;
    let plan: Plan = serde_json::from_slice(&json).map_err(|_| LedgerError::bad_file(PLAN, "it is no plan"))?;
    let make = |dir: &str| disk.create_dir(dir).map_err(LedgerError::disk("make", dir));
    store::DIRS.into_iter().try_for_each(make)?;
    make(&plan.kept_in)?;
    let below = |dir: &str, path: &str| format!("{dir}/{path}");
    let mut dirs = BTreeSet::from(["".to_owned(), plan.kept_in.clone()]);
    for path in &plan.away {
        let to = below(&plan.kept_in, path);
        make(dir_of(&to))?;
        dirs.extend([dir_of(path).to_owned(), dir_of(&to).to_owned()]);
        // With a file there already, this one is the restored one.
        if disk.len(&to).is_err() && disk.len(path).is_ok() {
            disk.rename(path, &to).map_err(LedgerError::disk("move aside", path))?;
        }
    }
    let sync = |dirs: &BTreeSet<String>| -> Result<(), LedgerError> {
        dirs.iter().try_for_each(|dir| disk.sync_dir(dir).map_err(LedgerError::disk("sync", dir)))
    };
    // What is replaced is durable in its new place before anything takes the old one.
    sync(&dirs)?;
    dirs.clear();
    for path in &plan.into {
        let from = below(STAGING, path);
        if disk.len(&from).is_ok() {
            disk.rename(&from, path).map_err(LedgerError::disk("put in place", path))?;
        }
        dirs.extend([dir_of(path).to_owned(), dir_of(&from).to_owned()]);
    }
    sync(&dirs)?;
    disk.remove(PLAN).map_err(LedgerError::disk("remove", PLAN))?;
    disk.sync_dir(STAGING).map_err(LedgerError::disk("sync", STAGING))?;
    Ok(true)
}

/// A folder that is not there yet: `damaged-2026-11-25`, then `damaged-2026-11-25-2`, ...
fn free_name(disk: &dyn Disk, now: Timestamp) -> Result<String, LedgerError> {
    let day = now.strftime("damaged-%Y-%m-%d").to_string();
    let names = std::iter::once(day.clone()).chain((2u32..).map(|count| format!("{day}-{count}")));
    for name in names {
        let dirs = store::DIRS.into_iter().map(|dir| format!("{name}/{dir}")).chain([name.clone()]);
        let mut used = false;
        for dir in dirs {
            used |= !list_or_empty(disk, &dir)?.is_empty();
        }
        if !used {
            return Ok(name);
        }
    }
    Err(LedgerError::Misuse { what: "no name is left for a folder".to_owned() })
}

struct Work<'a> {
    disk: &'a Arc<dyn Disk>,
    found: &'a Findings,
    spares: &'a dyn Spares,
    now: Timestamp,
    kept_in: &'a str,
}

/// Records that are not where they belong, by number, and what goes with them.
#[derive(Default)]
struct Patches {
    facts: BTreeMap<u64, String>,
    /// Persons' lines by the fact behind which they belong, each once.
    persons: BTreeSet<(u64, String)>,
}

impl Work<'_> {
    /// Writes everything restored below the staging directory.
    fn stage(&self, refold: &mut dyn Refold) -> Result<Plan, LedgerError> {
        let disk = self.disk.as_ref();
        let staged_dirs =
            || std::iter::once(STAGING.to_owned()).chain(store::DIRS.map(|dir| format!("{STAGING}/{dir}")));
        for dir in staged_dirs() {
            disk.create_dir(&dir).map_err(LedgerError::disk("make", &dir))?;
            // What an attempt before left.
            for name in list_or_empty(disk, &dir)? {
                let path = format!("{dir}/{name}");
                disk.remove(&path).map_err(LedgerError::disk("remove", &path))?;
            }
        }
        let staging: Arc<dyn Disk> = Arc::new(Within::new(Arc::clone(self.disk), STAGING));
        let look = &self.found.look;
        let patches = self.patches()?;
        let mut away: BTreeSet<String> = BTreeSet::new();
        for damage in look.damage.iter().filter(|damage| damage.needed_for > Need::Nothing) {
            away.insert(damage.file.clone());
            // A snapshot with one part broken goes as a whole.
            if let Some(seq) = damage.file.strip_prefix("snapshot/").and_then(|name| name.get(..20)?.parse().ok()) {
                away.extend(snapshot::names(seq).map(|name| format!("{}/{name}", snapshot::DIR)));
            }
        }
        for name in list_or_empty(disk, journal::DIR)? {
            if super::segment::number_of(&name).is_some() {
                away.insert(format!("{}/{name}", journal::DIR));
            }
        }
        away.insert(store::CLEAN.to_owned());
        let replaced = away.iter().any(|file| file == installation::FILE || file == installation::SECOND);
        if look.installation.is_none() || replaced {
            let key = match &look.installation {
                Some(found) => found.key,
                None => match self.spares.key(look.id.0) {
                    Some(key) => key,
                    None => Installation::random()?.key,
                },
            };
            Installation { id: look.id, key }.write(staging.as_ref())?;
            away.extend([installation::FILE, installation::SECOND].map(str::to_owned));
        }
        if self.found.new_carry {
            self.stage_carry(staging.as_ref(), &patches)?;
            away.extend(["facts", "people"].map(|part| archive::carry_path(self.found.carry_upto, part)));
        }
        let last = self.stage_journal(&staging, &patches)?;
        if look.snapshots.first().is_none_or(|seq| *seq < self.found.carry_upto) && self.found.carry_upto > 0 {
            self.stage_snapshot(&staging, last, refold)?;
        }
        let mut into = Vec::new();
        for dir in staged_dirs() {
            disk.sync_dir(&dir).map_err(LedgerError::disk("sync", &dir))?;
            for name in list_or_empty(disk, &dir)? {
                let path = format!("{dir}/{name}");
                into.extend(path.strip_prefix("repair/").map(str::to_owned));
            }
        }
        let away = away.into_iter().filter(|path| disk.len(path).is_ok()).collect();
        Ok(Plan { kept_in: self.kept_in.to_owned(), away, into })
    }

    /// Gathers what is not where it belongs: from other files here, then from backups.
    fn patches(&self) -> Result<Patches, LedgerError> {
        let look = &self.found.look;
        let mut patches = Patches::default();
        if self.found.displaced.count == 0 && !self.found.new_carry {
            return Ok(patches);
        }
        let upto = self.found.carry_upto;
        let wanted = |seq: u64| self.found.displaced.has(seq);
        look.each_fact(self.disk.as_ref(), &mut |seq, json| {
            if wanted(seq) {
                patches.facts.entry(seq).or_insert_with(|| json.to_owned());
            }
        })?;
        // Persons whose records stood up to the carry: from the segments that still hold some.
        for segment in &look.segments {
            let bytes = self.disk.read(&segment.file).map_err(LedgerError::disk("read", &segment.file))?;
            each_line(&bytes, &segment.runs, |line| {
                if line.line.tag == Tag::Person && line.seq <= upto {
                    patches.persons.insert((line.seq, line.line.json));
                }
            });
        }
        let carry_people = History { disk: self.disk.as_ref(), id: look.id }.read_carry(upto, "people");
        let persons_of_carry = self.found.new_carry && carry_people.is_err();
        patches.persons.extend(carry_people.into_iter().flatten().map(|json| (upto, json)));
        if self.found.spared.count > 0 || persons_of_carry {
            self.spares.each(look.id.0, &mut |_, spare| match spare.line.tag {
                Tag::Fact if self.found.spared.has(spare.seq) => {
                    patches.facts.entry(spare.seq).or_insert(spare.line.json);
                }
                Tag::Person if wanted(spare.seq) || (persons_of_carry && spare.seq <= upto) => {
                    patches.persons.insert((spare.seq, spare.line.json));
                }
                _ => {}
            })?;
        }
        Ok(patches)
    }

    /// The line that stands for a record that is lost.
    fn stand_in(&self, seq: u64) -> Result<String, LedgerError> {
        let loss = self.found.survey.lost.iter().find(|loss| (loss.records.from..=loss.records.to).contains(&seq));
        let (from, to) = loss.map_or((seq, seq), |loss| (loss.records.from, loss.records.to));
        let at = loss.and_then(|loss| loss.after.or(loss.before)).unwrap_or(self.now);
        record::fact_json(Stamped { v: RECORD_VERSION, seq, at, fact: Fact::RecordsLost { from, to } })
    }

    fn stage_carry(&self, staging: &dyn Disk, patches: &Patches) -> Result<(), LedgerError> {
        let look = &self.found.look;
        let upto = self.found.carry_upto;
        let (mut facts, mut people, mut body) = (BTreeMap::new(), Vec::new(), Vec::new());
        for json in (History { disk: self.disk.as_ref(), id: look.id }).read_carry(upto, "facts").unwrap_or_default() {
            facts.extend(seq_of(&json).map(|seq| (seq, json)));
        }
        for seq in self.found.displaced.iter(upto) {
            let line = patches.facts.get(&seq).cloned().map_or_else(|| self.stand_in(seq), Ok)?;
            facts.insert(seq, line);
        }
        let persons = patches.persons.iter().filter(|(seq, _)| *seq <= upto);
        persons.for_each(|(_, json)| put_line(&mut people, json));
        facts.values().for_each(|json| put_line(&mut body, json));
        History { disk: staging, id: look.id }.write_carry(upto, &body, &people)
    }

    /// Writes the journal anew, from behind the carry on: whole frames, what was found elsewhere,
    /// stand-ins for what is lost, and last the fact that tells of it. Gives that fact's number.
    fn stage_journal(&self, staging: &Arc<dyn Disk>, patches: &Patches) -> Result<u64, LedgerError> {
        let look = &self.found.look;
        let upto = self.found.carry_upto;
        let numbers = list_or_empty(self.disk.as_ref(), journal::DIR)?;
        let number = numbers.iter().filter_map(|name| super::segment::number_of(name)).max().unwrap_or(0) + 1;
        Journal::create(staging, look.id, number, upto + 1)?;
        let (journal, _) = Journal::open(Arc::clone(staging), look.id, upto, upto, |_| {})?;
        let mut writing = Writing { journal, lines: Vec::new(), bytes: 0, next: upto + 1 };
        for segment in &look.segments {
            let bytes = self.disk.read(&segment.file).map_err(LedgerError::disk("read", &segment.file))?;
            let mut lines = Vec::new();
            each_line(&bytes, &segment.runs, |line| lines.push(line));
            for numbered in lines {
                match numbered.line.tag {
                    Tag::Fact if numbered.seq >= writing.next => {
                        self.fill(&mut writing, patches, numbered.seq)?;
                        writing.put(numbered.line)?;
                    }
                    // What a person's line belongs to stands before it, or right behind it.
                    Tag::Person if numbered.seq + 1 >= writing.next && numbered.seq > upto => {
                        writing.put(numbered.line)?;
                    }
                    _ => {}
                }
            }
        }
        self.fill(&mut writing, patches, look.last + 1)?;
        let told = self.told();
        let last = told.seq;
        writing.put(Line { tag: Tag::Fact, json: record::fact_json(told)? })?;
        writing.close()?;
        Ok(last)
    }

    /// The fact that tells the book, and whoever looks back, of this repair.
    fn told(&self) -> Stamped {
        let lost = self.found.survey.lost.iter().map(|loss| LostRecords {
            from: loss.records.from,
            to: loss.records.to,
            after: loss.after,
            before: loss.before,
            open_work: loss.open_work,
        });
        let fact = Fact::Repaired { lost: lost.collect(), kept_in: self.kept_in.to_owned() };
        Stamped { v: RECORD_VERSION, seq: self.found.look.last + 1, at: self.now, fact }
    }

    /// Puts what stands for the records before `seq`.
    fn fill(&self, writing: &mut Writing, patches: &Patches, seq: u64) -> Result<(), LedgerError> {
        while writing.next < seq {
            let missing = writing.next;
            let json = patches.facts.get(&missing).cloned().map_or_else(|| self.stand_in(missing), Ok)?;
            writing.put(Line { tag: Tag::Fact, json })?;
            for (_, json) in patches.persons.range((missing, String::new())..(missing + 1, String::new())) {
                writing.put(Line { tag: Tag::Person, json: json.clone() })?;
            }
        }
        Ok(())
    }

    /// Folds everything from the newest whole snapshot on, or from the beginning, and makes a
    /// snapshot of it. Holds a part of the facts at a time.
    fn stage_snapshot(&self, staging: &Arc<dyn Disk>, last: u64, refold: &mut dyn Refold) -> Result<(), LedgerError> {
        let look = &self.found.look;
        let disk = self.disk.as_ref();
        let upto = self.found.carry_upto;
        let unusable = |err: serde_json::Error| LedgerError::bad_file(snapshot::DIR, err.to_string());
        let unreadable = |err: super::RecordError| LedgerError::bad_file("a record", super::with_causes(&err));
        let start = look.snapshots.first().map(|seq| snapshot::read(disk, look.id, *seq)).transpose()?;
        refold.begin(start.as_ref()).map_err(unusable)?;
        let source: &dyn Disk = if self.found.new_carry { staging.as_ref() } else { disk };
        let carry = History { disk: source, id: look.id };
        let mut after = start.map_or(0, |snapshot| snapshot.seq);
        while after < upto {
            let end = upto.min(after + FOLD_FACTS);
            let mut facts: BTreeMap<u64, String> = BTreeMap::new();
            let mut take = |seq: u64, json: &str| {
                if seq > after && seq <= end {
                    facts.entry(seq).or_insert_with(|| json.to_owned());
                }
            };
            look.each_fact(disk, &mut take)?;
            for json in carry.read_carry(upto, "facts")? {
                seq_of(&json).into_iter().for_each(|seq| take(seq, &json));
            }
            for json in facts.values() {
                refold.fold(&Record::Fact(record::fact_from(json).map_err(unreadable)?));
            }
            after = end;
        }
        for json in carry.read_carry(upto, "people")? {
            refold.fold(&Record::Person(record::person_from(&json).map_err(unreadable)?));
        }
        let mut trouble = None;
        super::segment::read_lines(staging.as_ref(), look.id, upto, last, |line| {
            match record::from_line(&line.line) {
                Ok(record) => refold.fold(&record),
                Err(err) => trouble = trouble.take().or(Some(err)),
            }
        })?;
        if let Some(err) = trouble {
            return Err(unreadable(err));
        }
        snapshot::write(staging.as_ref(), look.id, &refold.snapshot().map_err(unusable)?)
    }
}

fn put_line(body: &mut Vec<u8>, json: &str) {
    body.extend_from_slice(json.as_bytes());
    body.push(b'\n');
}

/// The new journal while it is written.
struct Writing {
    journal: Journal,
    lines: Vec<Line>,
    bytes: usize,
    /// Number of the next fact.
    next: u64,
}

impl Writing {
    fn put(&mut self, line: Line) -> Result<(), LedgerError> {
        self.next += u64::from(line.tag == Tag::Fact);
        self.bytes += line.json.len();
        self.lines.push(line);
        if self.bytes >= GROUP_BYTES { self.flush() } else { Ok(()) }
    }

    fn flush(&mut self) -> Result<(), LedgerError> {
        if self.lines.is_empty() {
            return Ok(());
        }
        let first = self.journal.next_seq();
        self.bytes = 0;
        Ok(self.journal.append(first, &std::mem::take(&mut self.lines))?)
    }

    fn close(mut self) -> Result<(), LedgerError> {
        self.flush()?;
        Ok(self.journal.close()?)
    }
}
