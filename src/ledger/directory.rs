//! Which archive file holds which order.
//!
//! Beside the archive, in `keys/`, lies one small file for each archive file of facts: the keys of
//! the orders in it. They are made from the archive and may be deleted at any time. In memory
//! stands a fingerprint of each archived order, so that to know an order of years ago takes a
//! search among numbers, and to read it takes one file.

use super::archive::History;
use super::segment::list_or_empty;
use super::{LedgerError, sealed};
use crate::model::OrderKey;
use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Enough of a file to hold its first line.
const FIRST_LINE_BYTES: usize = 512;
/// Directory of the key files.
pub const DIR: &str = "keys";
const KIND: &str = "archive keys";

/// A fingerprint and the place of the file's name.
type Entry = (u64, u32);

/// What is known of the archive's files; `None` before it is asked for the first time.
#[derive(Default)]
pub(super) struct Directory(Mutex<Option<Known>>);

#[derive(Default)]
struct Known {
    /// Paths of the archive's files of facts, with the fact up to which each is true.
    files: Vec<(String, u64)>,
    /// Sorted.
    entries: Vec<Entry>,
    /// Files that could not be read: any order may stand in them.
    unreadable: Vec<String>,
}

fn fingerprint(key: &OrderKey) -> u64 {
    let mut hasher = DefaultHasher::new();
    key.hash(&mut hasher);
    hasher.finish()
}

impl Known {
    fn add(&mut self, path: String, seq: u64, keys: &BTreeSet<OrderKey>) {
        // So many files would be four thousand million.
        let Ok(place) = u32::try_from(self.files.len()) else { return };
        self.files.push((path, seq));
        self.entries.extend(keys.iter().map(|key| (fingerprint(key), place)));
    }
    fn sort(&mut self) {
        self.entries.sort_unstable();
    }
    /// Files that hold the order, or at least one with the same fingerprint.
    fn files_of(&self, key: &OrderKey) -> Vec<String> {
        let wanted = fingerprint(key);
        let from = self.entries.partition_point(|(print, _)| *print < wanted);
        let alike = self.entries[from..].iter().take_while(|(print, _)| *print == wanted);
        let files = alike.filter_map(|(_, place)| Some(self.files.get(*place as usize)?.0.clone()));
        files.chain(self.unreadable.iter().cloned()).collect()
    }
}

impl Directory {
    /// Paths of the archive files (of facts) that an order may stand in, oldest first.
    pub fn files_of(&self, history: &History<'_>, key: &OrderKey) -> Result<Vec<String>, LedgerError> {
        let mut known = self.known();
        let mut files = filled(&mut known, history)?.files_of(key);
        files.sort_unstable();
        Ok(files)
    }

    /// Is this order archived?
    pub fn holds(&self, history: &History<'_>, key: &OrderKey) -> Result<bool, LedgerError> {
        let mut damage = None;
        for path in self.files_of(history, key)? {
            match read(history, &path) {
                Ok((_, keys)) if keys.contains(key) => return Ok(true),
                Ok(_) => {}
                Err(err) => damage = Some(err),
            }
        }
        damage.map_or(Ok(false), Err)
    }

    /// Orders in archive files written after the fact `after`, with the fact up to which each is archived.
    pub fn since(&self, history: &History<'_>, after: u64) -> Result<BTreeMap<OrderKey, u64>, LedgerError> {
        let files = {
            let mut known = self.known();
            filled(&mut known, history)?.files.clone()
        };
        let mut found = BTreeMap::new();
        for (path, seq) in files.into_iter().filter(|(_, seq)| *seq > after) {
            for key in read(history, &path)?.1 {
                let upto = found.entry(key).or_insert(seq);
                *upto = seq.max(*upto);
            }
        }
        Ok(found)
    }

    /// A new archive file is durable.
    pub fn note(&self, history: &History<'_>, path: &str, seq: u64, keys: &BTreeSet<OrderKey>) {
        write(history, path, seq, keys);
        let mut known = self.known();
        // One that was not asked for anything yet finds the file by itself.
        if let Some(known) = &mut *known {
            known.add(path.to_owned(), seq, keys);
            known.sort();
        }
    }

    fn known(&self) -> MutexGuard<'_, Option<Known>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn filled<'k>(known: &'k mut Option<Known>, history: &History<'_>) -> Result<&'k mut Known, LedgerError> {
    if known.is_none() {
        let mut fresh = Known::default();
        for path in history.archive_files()? {
            match read(history, &path) {
                Ok((seq, keys)) => fresh.add(path, seq, &keys),
                Err(err) => {
                    tracing::warn!(error = %super::with_causes(&err), "an archive cannot be read");
                    fresh.unreadable.push(path);
                }
            }
        }
        fresh.sort();
        *known = Some(fresh);
    }
    Ok(known.get_or_insert_default())
}

fn path_of(archive: &str) -> String {
    let name = archive.rsplit('/').next().unwrap_or(archive);
    format!("{DIR}/{}.keys", name.trim_end_matches(".facts"))
}

fn kind(history: &History<'_>) -> sealed::Kind<'static> {
    sealed::Kind { what: KIND, installation: history.id }
}

/// The keys of an archive file; from that file itself where its own list is not there or not whole.
fn read(history: &History<'_>, archive: &str) -> Result<(u64, BTreeSet<OrderKey>), LedgerError> {
    let listed = kind(history).read(history.disk, &path_of(archive)).ok().and_then(|(seq, body)| {
        let mut lines = std::str::from_utf8(&body).ok()?.lines();
        // A repair may have put another file in the place of the one that was listed.
        if lines.next()? != first_line(history, archive)? {
            return None;
        }
        Some((seq, lines.map(serde_json::from_str).collect::<Result<_, _>>().ok()?))
    });
    if let Some(listed) = listed {
        return Ok(listed);
    }
    let (seq, keys) = history.keys_in(archive)?;
    write(history, archive, seq, &keys);
    Ok((seq, keys))
}

/// An archive file's first line: it holds the checksum of the rest.
fn first_line(history: &History<'_>, archive: &str) -> Option<String> {
    let start = history.disk.read_start(archive, FIRST_LINE_BYTES).ok()?;
    let line = start.split(|byte| *byte == b'\n').next()?;
    String::from_utf8(line.to_vec()).ok()
}

/// Writes the list of an archive file's keys. A failure costs time at the next start, nothing else.
fn write(history: &History<'_>, archive: &str, seq: u64, keys: &BTreeSet<OrderKey>) {
    let Some(first) = first_line(history, archive) else { return };
    let mut body = format!("{first}\n").into_bytes();
    for key in keys {
        if serde_json::to_writer(&mut body, key).is_err() {
            return;
        }
        body.push(b'\n');
    }
    let there = list_or_empty(history.disk, DIR).is_ok_and(|names| !names.is_empty());
    let made = if there { Ok(()) } else { history.disk.create_dir(DIR).map_err(LedgerError::disk("make", DIR)) };
    let written = made.and_then(|()| kind(history).write_lazily(history.disk, &path_of(archive), seq, &body));
    if let Err(err) = written {
        tracing::debug!(error = %super::with_causes(&err), "list of archived orders not written");
    }
}
