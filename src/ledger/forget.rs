//! Erasing what tells of persons, from every file of the data directory: at once for orders
//! that are to be forgotten, and daily for those that ended long ago.
//!
//! Facts stay; only lines of persons go. Every step leaves a data directory that opens and is
//! whole, and doing all of them again does no harm, so that a crash in between costs nothing
//! but the repetition. Archived persons go last: as long as one is there, the next look finds it.
//!
//! 1. A new segment begins, so that all that was written so far lies in closed ones.
//! 2. A snapshot without the persons is written and read back; all older ones are removed.
//! 3. What the closed segments hold goes into a new carry (see [`super::archive`]), without the
//!    lines that go; the old carry and the segments are removed.
//! 4. The archive's files of persons are written anew without those lines, or removed.
//! 5. Leftovers of interrupted writing are removed, and what was set aside for a look.

use super::archive::{self, History};
use super::copies::sorter;
use super::directory::Directory;
use super::segment::list_or_empty;
use super::{Disk, Ledger, LedgerError, Snapshot, journal, sealed, snapshot};
use crate::book::{Fact, MessageOutcome, OTHER_BODY, PersonRecord, Record, Stage, Stamped};
use crate::model::{MessageKey, OrderKey};
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};

/// What is to go.
#[derive(Debug, Clone, Default)]
pub struct Erasure {
    /// All that tells of the persons of these orders, whatever their stage.
    pub orders: BTreeSet<OrderKey>,
    /// What is older than the retention.
    pub older: Option<Older>,
}

/// Which persons are to go because their orders ended long ago.
#[derive(Debug, Clone)]
pub struct Older {
    /// Ended, or came without an order, before this.
    pub before: Timestamp,
    /// Orders that the state holds: they stay.
    pub open: BTreeSet<OrderKey>,
    /// Messages that belong to no order and about which a person is still asked: they stay.
    pub asked: BTreeSet<MessageKey>,
}

/// What went, and from where.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Erased {
    /// Orders of which something went.
    pub orders: BTreeSet<OrderKey>,
    /// Lines of the journal's segments and the carry.
    pub journal_lines: u64,
    /// Segments that were removed.
    pub segments: u64,
    /// Lines of the archive.
    pub archive_lines: u64,
    /// The archive's files that were written anew or removed.
    pub archive_files: u64,
    /// Snapshots that were removed.
    pub snapshots: u64,
    /// Files that were set aside for a look, and leftovers of interrupted writing.
    pub leftovers: u64,
}

impl Erased {
    /// Lines, wherever they stood. One that stood in two files counts twice.
    pub fn lines(&self) -> u64 {
        self.journal_lines + self.archive_lines
    }
}

impl Ledger {
    /// Erases from every file. `snapshot` must be true at the last fact that was appended, and no
    /// longer hold what goes. Reads and writes all segments and all files of persons.
    ///
    /// # Errors
    /// Damage, and those of the disk; the next call does what is left.
    pub fn erase(&mut self, erasure: &Erasure, snapshot: &Snapshot) -> Result<Erased, LedgerError> {
        self.begin_segment()?;
        self.checkpoint(snapshot)?;
        let (disk, id) = (self.disk().as_ref(), self.id());
        // With the older ones gone there is nothing to fall back to: it must be whole.
        snapshot::read(disk, id, snapshot.seq)?;
        let mut erased = Erased { snapshots: snapshot::remove_but(disk, snapshot.seq)?, ..Erased::default() };
        let history = self.history();
        let goes = Goes::gather(&history, erasure, snapshot.seq)?;
        let closed = self.closed_upto();
        if let Some(upto) = closed.map_or_else(|| history.carry_upto(), |upto| Ok(Some(upto)))? {
            history.compact(self.directory(), upto, |person| {
                let goes = goes.goes(person);
                if goes {
                    erased.journal_lines += 1;
                    erased.orders.extend(goes_about(person));
                }
                goes
            })?;
        }
        erased.segments = self.remove_closed()? as u64;
        let history = self.history();
        for pair in history.pairs_with_people()? {
            let lines = history.thin_out(&pair, |person| {
                let goes = goes.goes(person);
                if goes {
                    erased.orders.extend(goes_about(person));
                }
                goes
            })?;
            erased.archive_lines += lines;
            erased.archive_files += u64::from(lines > 0);
        }
        erased.leftovers = remove_leftovers(history.disk, erasure.older.as_ref().map(|older| older.before))?;
        Ok(erased)
    }
}

/// What [`Ledger::erase`] would find that is older than the retention.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OldPersons {
    /// Orders whose persons go.
    pub orders: BTreeSet<OrderKey>,
    /// Messages whose bodies go.
    pub messages: BTreeSet<MessageKey>,
    /// Files that were set aside for a look.
    pub leftovers: usize,
}

impl OldPersons {
    /// There is nothing to do.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
    fn note(&mut self, person: &PersonRecord) {
        match person {
            PersonRecord::Of { order, .. } | PersonRecord::Said { order, .. } => self.orders.insert(order.clone()),
            PersonRecord::Raw { message, .. } => self.messages.insert(message.clone()),
        };
    }
}

/// Looks for what is older than the retention; reads all that [`Ledger::erase`] would, from any thread.
pub(super) fn look(history: &History<'_>, older: &Older, upto: u64) -> Result<OldPersons, LedgerError> {
    let erasure = Erasure { orders: BTreeSet::new(), older: Some(older.clone()) };
    let goes = Goes::gather(history, &erasure, upto)?;
    let mut found = OldPersons::default();
    history.each_record(upto, |_, _, record| {
        if let Record::Person(person) = &record
            && goes.goes(person)
        {
            found.note(person);
        }
    })?;
    for pair in history.pairs_with_people()? {
        let (_, people) = history.people_of(&pair)?;
        let all = people.iter().flat_map(|(_, lines)| lines).map(|(person, _)| person);
        all.filter(|person| goes.goes(person)).for_each(|person| found.note(person));
    }
    for name in list_or_empty(history.disk, journal::ASIDE_DIR)? {
        let path = format!("{}/{name}", journal::ASIDE_DIR);
        found.leftovers += usize::from(history.disk.modified(&path).is_some_and(|at| at < older.before));
    }
    Ok(found)
}

/// The messages that meant an order, as far as closed segments, carry and archive tell.
pub(super) fn messages_of(
    history: &History<'_>,
    directory: &Directory,
    order: &OrderKey,
    upto: u64,
) -> Result<BTreeSet<MessageKey>, LedgerError> {
    let mut messages = BTreeSet::new();
    let mut note = |fact: &Fact| {
        if let Fact::MessageKept { message, outcome: MessageOutcome::Orders(orders), .. } = fact
            && orders.contains(order)
        {
            messages.insert(message.clone());
        }
    };
    history.each_record(upto, |_, _, record| {
        if let Record::Fact(stamped) = &record {
            note(&stamped.fact);
        }
    })?;
    for stamped in history.archived(directory, order)?.unwrap_or_default().facts {
        note(&stamped.fact);
    }
    Ok(messages)
}

/// The order that a person's line names.
fn goes_about(person: &PersonRecord) -> Option<OrderKey> {
    match person {
        PersonRecord::Of { order, .. } | PersonRecord::Said { order, .. } => Some(order.clone()),
        PersonRecord::Raw { .. } => None,
    }
}

/// Decides which lines go, from what the facts say.
struct Goes<'a> {
    erasure: &'a Erasure,
    /// When archived orders ended, of which something is still there.
    ended: BTreeMap<OrderKey, Timestamp>,
    /// When messages came, and which orders they meant.
    messages: BTreeMap<MessageKey, (Timestamp, Vec<OrderKey>)>,
}

impl<'a> Goes<'a> {
    fn gather(history: &History<'_>, erasure: &'a Erasure, upto: u64) -> Result<Self, LedgerError> {
        let mut goes = Self { erasure, ended: BTreeMap::new(), messages: BTreeMap::new() };
        for pair in history.pairs_with_people()? {
            history.facts_of(&pair, |order, fact| {
                goes.note_message(&fact);
                if let Some(order) = order {
                    goes.note_end(order, &fact);
                }
            })?;
        }
        history.each_record(upto, |_, _, record| {
            if let Record::Fact(fact) = record {
                goes.note_message(&fact);
            }
        })?;
        Ok(goes)
    }

    fn note_message(&mut self, fact: &Stamped) {
        if let Fact::MessageKept { message, outcome, .. } = &fact.fact {
            let orders = match outcome {
                MessageOutcome::Orders(orders) => orders.clone(),
                _ => Vec::new(),
            };
            let known = self.messages.entry(message.clone()).or_insert((fact.at, Vec::new()));
            if !orders.is_empty() {
                known.1 = orders;
            }
        }
    }

    /// An order has ended with the last fact that moved it; papers, and what the shop sends about
    /// it afterwards, do not count.
    fn note_end(&mut self, order: OrderKey, fact: &Stamped) {
        let moves = matches!(
            fact.fact,
            Fact::OrderReceived { .. }
                | Fact::OrderRevised { .. }
                | Fact::OrderCancelled { .. }
                | Fact::ParcelMoved { to: Stage::HandedOver | Stage::Packed, .. }
        );
        if moves {
            let ended = self.ended.entry(order).or_insert(fact.at);
            *ended = fact.at.max(*ended);
        }
    }

    fn order_goes(&self, order: &OrderKey) -> bool {
        let old = |older: &Older| {
            !older.open.contains(order) && self.ended.get(order).is_none_or(|ended| *ended < older.before)
        };
        self.erasure.orders.contains(order) || self.erasure.older.as_ref().is_some_and(old)
    }

    fn goes(&self, person: &PersonRecord) -> bool {
        let message = match person {
            PersonRecord::Of { order, .. } | PersonRecord::Said { order, .. } => return self.order_goes(order),
            PersonRecord::Raw { message, .. } => message,
        };
        let Some((came, orders)) = self.messages.get(message) else { return false };
        if !orders.is_empty() {
            // One body tells of all its orders' persons.
            return orders.iter().any(|order| self.order_goes(order));
        }
        let first = message.id.split_once(OTHER_BODY).map(|(first, _)| first.to_owned());
        let first = first.map(|id| MessageKey { source: message.source.clone(), id });
        let first = first.and_then(|first| self.messages.get(&first)).map(|(_, orders)| orders);
        let forgotten = first.into_iter().flatten().any(|order| self.erasure.orders.contains(order));
        let old = |older: &Older| *came < older.before && !older.asked.contains(message);
        forgotten || self.erasure.older.as_ref().is_some_and(old)
    }
}

/// Removes what interrupted writing left behind, and what was set aside before `before`, or at
/// any time.
fn remove_leftovers(disk: &dyn Disk, before: Option<Timestamp>) -> Result<u64, LedgerError> {
    let mut removed = 0;
    // Copies that are being made hold the lock on files that whoever erases has now: what lies in
    // their folder was interrupted.
    for dir in [journal::DIR, snapshot::DIR, archive::DIR, archive::CARRY_DIR, journal::ASIDE_DIR, sorter::DIR] {
        let names = list_or_empty(disk, dir)?;
        let path = |name: &str| format!("{dir}/{name}");
        let is_leftover = |name: &&String| {
            let stem = name.strip_suffix(".people");
            // Files of persons are written before those of facts: alone they count for nothing.
            let alone = stem.is_some_and(|stem| !names.contains(&format!("{stem}.facts")));
            match dir {
                journal::ASIDE_DIR => {
                    let set_aside = before.and_then(|before| Some((disk.modified(&path(name))?, before)));
                    set_aside.is_none_or(|(at, before)| at < before)
                }
                sorter::DIR => true,
                _ => alone || name.ends_with(sealed::ASIDE),
            }
        };
        let leftovers: Vec<&String> = names.iter().filter(is_leftover).collect();
        for name in &leftovers {
            disk.remove(&path(name)).map_err(LedgerError::disk("remove", &path(name)))?;
        }
        if !leftovers.is_empty() {
            disk.sync_dir(dir).map_err(LedgerError::disk("sync", dir))?;
        }
        removed += leftovers.len() as u64;
    }
    Ok(removed)
}
