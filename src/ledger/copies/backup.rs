//! Copies that are kept in a folder: each a file of facts and a file of persons, so that persons
//! can be forgotten in them without touching the facts.
//!
//! A copy counts once its file of facts has its name: that is renamed last, after both files have
//! been read back. Files under another name are left alone.

use super::source::{Copying, Step};
use super::write::DiskOut;
use super::{CopyError, Counts, Header, Holds, Item, Reader, Source, Writer};
use crate::book::{OTHER_BODY, PersonRecord};
use crate::ledger::record;
use crate::ledger::segment::list_or_empty;
use crate::ledger::{Disk, InstallationId, LedgerError};
use crate::model::{MessageKey, OrderKey};
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeSet;
use std::io::BufReader;

const FACTS: &str = ".facts.ndjson";
const PERSONS: &str = ".persons.ndjson";
/// End of the names of files that are not yet whole.
const ASIDE: &str = ".aside";
const NAME_FORM: &str = "%Y-%m-%dT%H%M%SZ";
/// Enough of a file to hold its first line.
const FIRST_LINE_BYTES: usize = 1024;
/// So much of the disk is left to orders.
const ROOM_KEPT: u64 = 256 * 1024 * 1024;

/// A copy in the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// How its files begin: the instant at which it was made.
    pub name: String,
    /// That instant.
    pub made: Timestamp,
    /// Of its first line; `None` where that cannot be read.
    pub header: Option<Header>,
    /// Length of its files.
    pub bytes: u64,
    /// Its file of persons is there.
    pub persons: bool,
}

impl Kept {
    fn facts_file(&self) -> String {
        format!("{}{FACTS}", self.name)
    }
    fn persons_file(&self) -> String {
        format!("{}{PERSONS}", self.name)
    }
}

fn no_read(file: &str) -> impl FnOnce(std::io::Error) -> CopyError {
    move |cause| CopyError::Read { file: file.to_owned(), line: 1, cause }
}

fn source(disk: &dyn Disk, file: String) -> Result<Source, CopyError> {
    let lines = disk.reader(&file).map_err(no_read(&file))?;
    Ok(Source { name: file, lines: Box::new(BufReader::new(lines)) })
}

/// The copies in the folder, newest first. Only first lines are read; see [`verify`].
///
/// # Errors
/// Those of the disk. A folder that is missing is an empty one.
pub fn list(disk: &dyn Disk) -> Result<Vec<Kept>, CopyError> {
    let mut found = Vec::new();
    for file in list_or_empty(disk, "")? {
        let Some(name) = file.strip_suffix(FACTS) else { continue };
        let Ok(made) = jiff::civil::DateTime::strptime(NAME_FORM, name) else { continue };
        let Ok(made) = jiff::tz::TimeZone::UTC.to_timestamp(made) else { continue };
        let start = disk.read_start(&file, FIRST_LINE_BYTES).map_err(no_read(&file))?;
        let lines = Box::new(std::io::Cursor::new(start));
        let header = Reader::one(Source { name: file.clone(), lines }).ok().map(|reader| reader.header());
        let persons = disk.len(&format!("{name}{PERSONS}")).ok();
        let bytes = disk.len(&file).map_err(no_read(&file))? + persons.unwrap_or(0);
        found.push(Kept { name: name.to_owned(), made, header, bytes, persons: persons.is_some() });
    }
    found.sort_by_key(|kept| std::cmp::Reverse(kept.made));
    Ok(found)
}

/// Reads a copy: its facts, and its persons where they are still there.
///
/// # Errors
/// Where its files are no copy, or not two parts of one.
pub fn read(disk: &dyn Disk, kept: &Kept) -> Result<Reader, CopyError> {
    let persons = kept.persons.then(|| source(disk, kept.persons_file())).transpose()?;
    Reader::pair(source(disk, kept.facts_file())?, persons)
}

/// Reads a copy wholly.
///
/// # Errors
/// What is wrong with it.
pub fn verify(disk: &dyn Disk, kept: &Kept) -> Result<Counts, CopyError> {
    let mut reader = read(disk, kept)?;
    reader.try_for_each(|item| item.map(drop))?;
    Ok(reader.counts())
}

/// The newest copy that is whole, of this installation if one is named. Reads it to its end.
///
/// # Errors
/// Those of the disk; copies that are not whole are passed over.
pub fn newest_good(disk: &dyn Disk, ours: Option<InstallationId>) -> Result<Option<Kept>, CopyError> {
    let is_ours =
        |kept: &Kept| kept.header.as_ref().is_some_and(|header| ours.is_none_or(|ours| header.installation == ours));
    let good = |kept: &Kept| match verify(disk, kept) {
        Ok(_) => true,
        Err(error) => {
            tracing::warn!(error = %crate::ledger::with_causes(&error), "a backup is not whole");
            false
        }
    };
    Ok(list(disk)?.into_iter().filter(is_ours).find(good))
}

/// Makes a copy in the folder and reads it back. Its place among the others is the instant in `header`.
///
/// # Errors
/// Those of reading and writing, and of `step`; then nothing of it is left in the folder.
pub fn make(
    disk: &dyn Disk,
    copying: &Copying<'_>,
    header: &Header,
    step: impl FnMut(Step) -> Result<(), CopyError>,
) -> Result<(Kept, Counts), CopyError> {
    clear(disk)?;
    let name = header.made.strftime(NAME_FORM).to_string();
    let kept = Kept { made: header.made, header: Some(header.holding(Holds::Facts)), bytes: 0, persons: true, name };
    let made = write(disk, copying, header, &kept, step);
    if made.is_err() {
        clear(disk)?;
    }
    let (bytes, counts) = made?;
    Ok((Kept { bytes, ..kept }, counts))
}

fn write(
    disk: &dyn Disk,
    copying: &Copying<'_>,
    header: &Header,
    kept: &Kept,
    mut step: impl FnMut(Step) -> Result<(), CopyError>,
) -> Result<(u64, Counts), CopyError> {
    let files = [kept.facts_file(), kept.persons_file()];
    let aside = files.clone().map(|file| format!("{file}{ASIDE}"));
    let begin = |at: usize, holds| {
        DiskOut::create(disk, &aside[at])
            .and_then(|out| Writer::new(out, &header.holding(holds)))
            .map_err(CopyError::write(&files[at]))
    };
    let (mut facts, mut persons) = (begin(0, Holds::Facts)?, begin(1, Holds::Persons)?);
    copying.run(
        |item| match item {
            Item::Fact { .. } => facts.item(&item).map_err(CopyError::write(&files[0])),
            Item::Person { .. } => persons.item(&item).map_err(CopyError::write(&files[1])),
        },
        |at| {
            if disk.room().is_some_and(|room| room < ROOM_KEPT) {
                return Err(CopyError::Room { left_mb: ROOM_KEPT / 1_000_000 });
            }
            step(at)
        },
    )?;
    let mut bytes = 0;
    let mut written = Counts::default();
    for (writer, file) in [(facts, &files[0]), (persons, &files[1])] {
        let (out, counts) = writer.end().map_err(CopyError::write(file))?;
        bytes += out.sync().map_err(CopyError::write(file))?;
        written.facts += counts.facts;
        written.persons += counts.persons;
    }
    // What counts is what can be read, not what was written.
    let [facts, persons] = aside.clone();
    let mut reader = Reader::pair(source(disk, facts)?, Some(source(disk, persons)?))?;
    let mut read = 0;
    for item in &mut reader {
        item?;
        read += 1;
        if u64::is_multiple_of(read, super::source::STEP_FACTS) {
            step(Step::Given { seq: header.upto, of: header.upto })?;
        }
    }
    if reader.counts() != written {
        return Err(CopyError::Differs { what: "the counts".to_owned() });
    }
    // The file of facts makes the copy count, so it comes last.
    for at in [1, 0] {
        disk.rename(&aside[at], &files[at]).map_err(CopyError::write(&files[at]))?;
        disk.sync_dir("").map_err(CopyError::write(&files[at]))?;
    }
    Ok((bytes, written))
}

/// Removes what an interrupted run left.
fn clear(disk: &dyn Disk) -> Result<(), CopyError> {
    for file in list_or_empty(disk, "")? {
        if file.ends_with(&format!("{FACTS}{ASIDE}")) || file.ends_with(&format!("{PERSONS}{ASIDE}")) {
            remove(disk, &file)?;
        }
    }
    Ok(())
}

fn remove(disk: &dyn Disk, file: &str) -> Result<(), CopyError> {
    disk.remove(file).map_err(|cause| LedgerError::disk("remove", file)(cause).into())
}

/// Removes copies that are older than `keep`; the newest one stays, however old it is. Says how many.
///
/// # Errors
/// Those of the disk.
pub fn rotate(disk: &dyn Disk, now: Timestamp, keep: SignedDuration) -> Result<usize, CopyError> {
    let mut removed = 0;
    for kept in list(disk)?.into_iter().skip(1).filter(|kept| now.duration_since(kept.made) >= keep) {
        // Facts first: without them the other counts for nothing, and is found below.
        remove(disk, &kept.facts_file())?;
        if kept.persons {
            remove(disk, &kept.persons_file())?;
        }
        removed += 1;
    }
    sync(disk, removed)?;
    Ok(removed)
}

/// Removes files of persons that are older than `retention`, also those that are the newest, and
/// those whose facts are gone. Says how many.
///
/// # Errors
/// Those of the disk.
pub fn expire_persons(disk: &dyn Disk, now: Timestamp, retention: SignedDuration) -> Result<usize, CopyError> {
    let kept: BTreeSet<String> = list(disk)?
        .into_iter()
        .filter(|kept| now.duration_since(kept.made) < retention)
        .map(|kept| kept.persons_file())
        .collect();
    let mut removed = 0;
    for file in persons_files(disk)?.into_iter().filter(|file| !kept.contains(file)) {
        remove(disk, &file)?;
        removed += 1;
    }
    sync(disk, removed)?;
    Ok(removed)
}

fn sync(disk: &dyn Disk, changed: usize) -> Result<(), CopyError> {
    if changed == 0 {
        return Ok(());
    }
    disk.sync_dir("").map_err(|cause| LedgerError::disk("sync", "the folder of backups")(cause).into())
}

fn persons_files(disk: &dyn Disk) -> Result<Vec<String>, CopyError> {
    Ok(list_or_empty(disk, "")?.into_iter().filter(|file| file.ends_with(PERSONS)).collect())
}

/// What forgetting came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Forgotten {
    /// Persons' records that are gone, over all copies.
    pub records: u64,
    /// Files that were written anew.
    pub files: usize,
    /// Files that were not whole and therefore removed as a whole: nobody can say whom they named.
    pub removed: usize,
}

/// Takes the persons of these orders and the bodies of these messages out of every copy.
///
/// # Errors
/// Those of the disk; what was done until then stays done, and a second call goes on.
pub fn forget(
    disk: &dyn Disk,
    orders: &BTreeSet<OrderKey>,
    messages: &BTreeSet<MessageKey>,
) -> Result<Forgotten, CopyError> {
    keep_persons(disk, |person| match person {
        PersonRecord::Of { order, .. } | PersonRecord::Said { order, .. } => !orders.contains(order),
        PersonRecord::Raw { message, .. } => {
            // With another body under the same id.
            let first = message.id.split_once(OTHER_BODY).map_or(&*message.id, |(first, _)| first);
            let first = MessageKey { source: message.source.clone(), id: first.to_owned() };
            !messages.contains(message) && !messages.contains(&first)
        }
    })
}

/// Takes every person's record out of every copy that `keep` does not want.
///
/// # Errors
/// As [`forget`].
pub fn keep_persons(disk: &dyn Disk, mut keep: impl FnMut(&PersonRecord) -> bool) -> Result<Forgotten, CopyError> {
    clear(disk)?;
    super::sorter::clear(disk)?;
    let mut forgotten = Forgotten::default();
    for file in persons_files(disk)? {
        let aside = format!("{file}{ASIDE}");
        match rewrite(disk, &file, &aside, &mut keep) {
            Ok(0) => remove(disk, &aside)?,
            Ok(records) => {
                forgotten.records += records;
                forgotten.files += 1;
                disk.rename(&aside, &file).map_err(CopyError::write(&file))?;
            }
            Err(error @ (CopyError::Write { .. } | CopyError::Read { .. })) => {
                clear(disk)?;
                return Err(error);
            }
            Err(error) => {
                tracing::warn!(error = %crate::ledger::with_causes(&error), "persons of a backup removed");
                clear(disk)?;
                remove(disk, &file)?;
                forgotten.removed += 1;
            }
        }
    }
    sync(disk, forgotten.files + forgotten.removed)?;
    Ok(forgotten)
}

/// Writes what is to be kept of a file of persons; says how many records are not.
fn rewrite(
    disk: &dyn Disk,
    file: &str,
    aside: &str,
    keep: &mut impl FnMut(&PersonRecord) -> bool,
) -> Result<u64, CopyError> {
    let mut reader = Reader::persons(source(disk, file.to_owned())?)?;
    let out = DiskOut::create(disk, aside).map_err(CopyError::write(file))?;
    let mut writer = Writer::new(out, &reader.header()).map_err(CopyError::write(file))?;
    let mut gone = 0;
    while let Some(item) = reader.next() {
        let item = item?;
        let Item::Person { json, .. } = &item else { continue };
        let person = record::person_from(json).map_err(|cause| reader.unreadable(&item, cause))?;
        if keep(&person) {
            writer.item(&item).map_err(CopyError::write(file))?;
        } else {
            gone += 1;
        }
    }
    let (out, _) = writer.end().map_err(CopyError::write(file))?;
    out.sync().map_err(CopyError::write(file))?;
    Ok(gone)
}
