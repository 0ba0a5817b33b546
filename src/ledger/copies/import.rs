//! Takes a copy into an empty data directory.
//!
//! The copy is written through the ledger itself, as the daemon would have written it: groups into
//! the journal, snapshots, archived orders into archives. Then all of it is read back and compared
//! with what was given. A marker stands from before the first byte until that is done; while it
//! stands no daemon opens the directory, and the next import begins anew.

use super::source::{Copying, Step, record_of};
use super::{CopyError, Counts, Header, Item, Reader, sorter};
use crate::book::{Fact, RECORD_VERSION, Record, Stamped};
use crate::ledger::archive::ORDERS_MAX;
use crate::ledger::record;
use crate::ledger::segment::list_or_empty;
use crate::ledger::store::{DIRS, IMPORTING};
use crate::ledger::writer::GROUP_BYTES_MAX;
use crate::ledger::{Disk, Installation, Ledger, LedgerError, Line, Snapshot, Tag, sealed};
use crate::model::OrderKey;
use sha2::{Digest, Sha256};
use std::io::ErrorKind;
use std::sync::Arc;

/// The state that a caller folds while records are taken in.
pub trait Fold {
    /// Takes in one record.
    fn fold(&mut self, record: &Record);
    /// What a snapshot of it holds, at the last fact that was folded.
    ///
    /// # Errors
    /// Where it cannot be written as JSON.
    fn snapshot(&self) -> Result<Snapshot, serde_json::Error>;
}

/// What was taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Imported {
    /// What the copy said of itself.
    pub header: Header,
    /// How much it held.
    pub counts: Counts,
}

/// A digest that tells facts with their order, and persons' records without: where exactly a
/// person's record stands between facts says nothing.
#[derive(Default)]
struct Content {
    facts: Sha256,
    persons: [u64; 4],
    counts: Counts,
}

impl Content {
    fn add(&mut self, item: &Item) {
        match item {
            Item::Fact { json, .. } => {
                self.counts.facts += 1;
                self.facts.update(json.as_bytes());
                self.facts.update(b"\n");
            }
            Item::Person { json, .. } => {
                self.counts.persons += 1;
                for (sum, part) in self.persons.iter_mut().zip(Sha256::digest(json.as_bytes()).chunks_exact(8)) {
                    let part = part.iter().fold(0, |sum, byte| sum << 8 | u64::from(*byte));
                    *sum = sum.wrapping_add(part);
                }
            }
        }
    }
}

/// Reads a copy into the directory of `disk`, verifies it, and leaves the directory as after an
/// interruption at the instant at which the copy was made. A copy without persons has no key: it
/// gets `fresh_key`.
///
/// # Errors
/// Where the directory holds something, the copy is not whole, or what was written does not read
/// back; the directory then does not count as one.
pub fn import(
    disk: &Arc<dyn Disk>,
    mut reader: Reader,
    fresh_key: [u8; 32],
    state: &mut impl Fold,
    mut step: impl FnMut(Step) -> Result<(), CopyError>,
) -> Result<Imported, CopyError> {
    begin(disk.as_ref())?;
    let header = reader.header();
    let installation = Installation { id: header.installation, key: header.key.unwrap_or(fresh_key) };
    let (ledger, opened) = Ledger::open_importing(Arc::clone(disk), header.made, installation)?;
    if opened.last_seq > 0 {
        return Err(CopyError::NotEmpty { what: format!("{} records", opened.last_seq) });
    }
    let mut taking = Taking { ledger, lines: Vec::new(), bytes: 0, last_seq: 0, archived: Vec::new() };
    let mut given = Content::default();
    while let Some(item) = reader.next() {
        let item = item?;
        let record = record_of(&item).map_err(|cause| reader.unreadable(&item, cause))?;
        taking.take(&item, &record, state)?;
        given.add(&item);
        if let Item::Fact { seq, .. } = item
            && seq.is_multiple_of(super::source::STEP_FACTS)
        {
            step(Step::Given { seq, of: header.upto })?;
        }
    }
    taking.archive(state)?;
    taking.ledger.checkpoint(&snapshot_of(state)?)?;
    taking.ledger.leave_as_at(header.made)?;

    let mut ledger = verify(disk, &header, &given, state, &mut step)?;
    tell_the_book(&mut ledger, &header, state)?;
    ledger.leave_as_at(header.made)?;
    disk.remove(IMPORTING).map_err(LedgerError::disk("remove", IMPORTING))?;
    disk.sync_dir("").map_err(LedgerError::disk("sync", "the data directory"))?;
    Ok(Imported { header, counts: reader.counts() })
}

/// Sets the marker in a directory that is empty, or holds what an import left that was not finished.
fn begin(disk: &dyn Disk) -> Result<(), CopyError> {
    let unfinished = disk.len(IMPORTING).is_ok();
    let mut found = Vec::new();
    for dir in std::iter::once("").chain(DIRS).chain([sorter::DIR]) {
        for name in list_or_empty(disk, dir)? {
            let path = if dir.is_empty() { name } else { format!("{dir}/{name}") };
            // The lock's file is made by whoever looks, and says nothing.
            if path != IMPORTING && path != "lock" {
                found.push(path);
            }
        }
    }
    if !unfinished {
        if let Some(what) = found.into_iter().next() {
            return Err(CopyError::NotEmpty { what });
        }
        sealed::write_aside(disk, IMPORTING, &[b"an import into this directory has not been finished\n"])?;
        return Ok(());
    }
    for path in found {
        match disk.remove(&path) {
            Err(err) if err.kind() != ErrorKind::NotFound => return Err(LedgerError::disk("remove", &path)(err).into()),
            _ => {}
        }
    }
    Ok(())
}

fn snapshot_of(state: &impl Fold) -> Result<Snapshot, CopyError> {
    state
        .snapshot()
        .map_err(|err| LedgerError::Misuse { what: format!("a snapshot could not be written: {err}") }.into())
}

/// Writes records as the daemon would.
struct Taking {
    ledger: Ledger,
    lines: Vec<Line>,
    bytes: usize,
    last_seq: u64,
    /// Orders that the facts say are archived, and that are still to be put there.
    archived: Vec<OrderKey>,
}

impl Taking {
    fn take(&mut self, item: &Item, record: &Record, state: &mut impl Fold) -> Result<(), CopyError> {
        state.fold(record);
        let (tag, json) = match item {
            Item::Fact { seq, json } => {
                self.last_seq = *seq;
                (Tag::Fact, json)
            }
            Item::Person { json, .. } => (Tag::Person, json),
        };
        self.bytes += json.len();
        self.lines.push(Line { tag, json: json.clone() });
        if self.bytes >= GROUP_BYTES_MAX {
            self.flush()?;
        }
        if let Record::Fact(stamped) = record
            && let Fact::Archived { orders } = &stamped.fact
        {
            if self.archived.len() + orders.len() > ORDERS_MAX {
                self.archive(state)?;
            }
            self.archived.extend(orders.iter().cloned());
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<(), CopyError> {
        if !self.lines.is_empty() {
            let first_seq = self.ledger.next_seq();
            self.ledger.append(first_seq, &self.lines).map_err(LedgerError::from)?;
        }
        self.lines.clear();
        self.bytes = 0;
        Ok(())
    }

    /// Puts into the archive what the facts so far say is there; with a snapshot ahead of it, so
    /// that segments can go.
    fn archive(&mut self, state: &impl Fold) -> Result<(), CopyError> {
        self.flush()?;
        if !self.archived.is_empty() {
            self.ledger.checkpoint(&snapshot_of(state)?)?;
        }
        for orders in std::mem::take(&mut self.archived).chunks(ORDERS_MAX) {
            self.ledger.archive(orders)?;
        }
        Ok(())
    }
}

/// Opens the directory as a daemon would and reads everything back.
fn verify(
    disk: &Arc<dyn Disk>,
    header: &Header,
    given: &Content,
    state: &impl Fold,
    step: &mut impl FnMut(Step) -> Result<(), CopyError>,
) -> Result<Ledger, CopyError> {
    let differs = |what: &str| Err(CopyError::Differs { what: what.to_owned() });
    let installation = Installation { id: header.installation, key: [0; 32] };
    let (ledger, opened) = Ledger::open_importing(Arc::clone(disk), header.made, installation)?;
    if opened.last_seq != header.upto || opened.snapshot != Some(snapshot_of(state)?) || !opened.lines.is_empty() {
        return differs("the state");
    }
    let mut found = Content::default();
    let copying =
        Copying { disk: disk.as_ref(), installation: header.installation, upto: header.upto, scratch: disk.as_ref() };
    copying.run(
        |item| {
            found.add(&item);
            Ok(())
        },
        step,
    )?;
    if found.facts.finalize() != given.facts.clone().finalize() {
        return differs("the facts");
    }
    if (found.counts, found.persons) != (given.counts, given.persons) {
        return differs("the persons");
    }
    Ok(ledger)
}

/// The workshop may have gone on after the copy was made: what waits to be printed is in doubt from here on.
fn tell_the_book(ledger: &mut Ledger, header: &Header, state: &mut impl Fold) -> Result<(), CopyError> {
    let seq = ledger.next_seq();
    let restored = Fact::Restored { made: header.made };
    let stamped = Stamped { v: RECORD_VERSION, seq, at: header.made, fact: restored };
    let line = Line { tag: Tag::Fact, json: record::fact_json(stamped.clone())? };
    ledger.append(seq, &[line]).map_err(LedgerError::from)?;
    state.fold(&Record::Fact(stamped));
    Ok(())
}
