//! People ask that an order be forgotten, and what ended long ago goes by itself: as
//! `daemon::retention` does it, with what fails in between. Afterwards no byte of any file
//! tells of those persons.

use super::mistakes::Mistake;
use super::story::{Checked, wrong_with};
use super::world::{Asker, World};
use dawnslip::book::{Action, Command, OpenOrder, State};
use dawnslip::ledger::{Disk, Erasure, LedgerError, Older, Snapshot};
use dawnslip::model::OrderKey;
use jiff::SignedDuration;
use std::collections::BTreeSet;

/// Folders of the data directory in which a file may tell of a person.
const FOLDERS: [&str; 7] = ["", "journal", "snapshot", "archive", "history", "aside", "sorting"];
/// Kept after its end for so many hours. The book archives after a day.
const RETENTION_HOURS: i64 = 30;

impl World {
    /// Somebody asks that an order be forgotten, open or not.
    pub fn forget_someone(&mut self) -> Checked {
        if self.ledger.is_none() {
            return Ok(());
        }
        let known: Vec<OrderKey> = self.witness.known().cloned().collect();
        let Some(order) = self.dice.pick(&known) else { return Ok(()) };
        let reader = self.ledger.as_ref().map(|ledger| ledger.archive_reader());
        let in_state = self.durable.state.orders.contains_key(&order);
        let archived = match reader.map(|reader| reader.holds(&order)) {
            _ if in_state => false,
            Some(Ok(archived)) => archived,
            _ => return Ok(()),
        };
        let open = if self.dice.one_in(2) { OpenOrder::Refuse } else { OpenOrder::Cancel };
        self.tell(std::slice::from_ref(&order), format!("somebody asks that it be forgotten ({open:?})"));
        self.submit(Command::Person(Action::Forget { order, open, archived }), Asker::Nobody)?;
        self.commit()?;
        self.erase_recorded()
    }

    /// Cleans the files of what is recorded, also what an earlier life did not finish.
    pub fn erase_recorded(&mut self) -> Checked {
        let orders: BTreeSet<OrderKey> = self.durable.state.erasing.keys().cloned().collect();
        if orders.is_empty() || !self.erase(&Erasure { orders: orders.clone(), older: None })? {
            return Ok(());
        }
        self.nothing_tells_of(&orders)?;
        for order in orders {
            self.submit(Command::Erased { order, lines: 1, receipt: String::new() }, Asker::Nobody)?;
        }
        self.commit()
    }

    /// The daily look.
    pub fn look_for_old(&mut self) -> Checked {
        let Some(ledger) = &self.ledger else { return Ok(()) };
        let before = self.now - SignedDuration::from_hours(RETENTION_HOURS);
        let state = &self.durable.state;
        let older = |state: &State| Older {
            before,
            open: state.orders.keys().cloned().collect(),
            asked: state.asked_messages(),
        };
        let Ok(old) = ledger.archive_reader().older(&older(state), state.seq) else { return Ok(()) };
        if old.is_empty() {
            return Ok(());
        }
        let life = self.life;
        let found: Vec<OrderKey> = old.orders.iter().cloned().collect();
        self.tell(&found, "it is older than the retention");
        self.submit(Command::RetentionBegun { before }, Asker::Nobody)?;
        self.commit()?;
        if self.life != life || !self.waiting.is_empty() {
            return Ok(());
        }
        let erasure = Erasure { orders: BTreeSet::new(), older: Some(older(&self.durable.state)) };
        if !self.erase(&erasure)? {
            return Ok(());
        }
        self.nothing_tells_of(&old.orders)?;
        let orders = old.orders.len() as u64;
        self.submit(Command::RetentionDone { before, orders, lines: orders }, Asker::Nobody)?;
        self.commit()
    }

    /// Whether it was done; not where a group waits, the disk fails or the program is down.
    fn erase(&mut self, erasure: &Erasure) -> Checked<bool> {
        self.commit()?;
        let Some(ledger) = self.ledger.as_mut().filter(|_| self.waiting.is_empty()) else { return Ok(false) };
        let state = serde_json::to_vec(&self.durable.state).expect("a state can be written");
        let people = serde_json::to_vec(&self.durable.people).expect("persons can be written");
        let snapshot = Snapshot { seq: self.durable.state.seq, state, people };
        if self.mistake == Some(Mistake::ErasesInMemoryOnly) {
            return Ok(true);
        }
        match ledger.erase(erasure, &snapshot) {
            Ok(erased) => {
                self.counts.erased += erased.lines();
                self.tell(&[], format!("erased: {} lines", erased.lines()));
                Ok(true)
            }
            Err(error @ LedgerError::Misuse { .. }) => super::story::wrong(error.to_string()).map(|()| false),
            Err(error) => {
                let failed = ledger.has_failed();
                self.tell(&[], format!("nothing was erased: {error}"));
                if failed {
                    self.die("the ledger failed", false)?;
                }
                Ok(false)
            }
        }
    }

    /// Reads every file as it is.
    fn nothing_tells_of(&self, orders: &BTreeSet<OrderKey>) -> Checked {
        for order in orders {
            // What came after its order was gone is none of it.
            let names: Vec<&String> = self.shop.recipients_of(order).collect();
            for folder in FOLDERS {
                for name in self.disk.list(folder).unwrap_or_default() {
                    let path = if folder.is_empty() { name } else { format!("{folder}/{name}") };
                    let bytes = self.disk.read(&path).unwrap_or_default();
                    let text = String::from_utf8_lossy(&bytes);
                    if let Some(name) = names.iter().find(|name| text.contains(name.as_str())) {
                        return wrong_with(order, format!("it was erased, and {path} still tells of {name}"));
                    }
                }
            }
        }
        Ok(())
    }
}
