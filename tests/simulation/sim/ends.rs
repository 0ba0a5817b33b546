//! When a world has come to rest: everything is folded again in other ways, the index is rebuilt
//! from what the disk holds, and damage must be seen.

use super::mistakes::Mistake;
use super::story::{Checked, Wrong, wrong, wrong_with};
use super::world::World;
use dawnslip::book::{Stamped, State};
use dawnslip::daemon::fold;
use dawnslip::ledger::{Disk, Indexer, IndexerState, LedgerError, MemHome, SimDisk};
use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

impl World {
    /// All of it. What is read here is a copy of the disk.
    pub fn look_back(&mut self) -> Checked {
        self.fold_again()?;
        self.rebuild_index()?;
        self.see_damage()
    }

    /// From the first fact, and from each snapshot that was ever made, the facts lead to the same state.
    fn fold_again(&self) -> Checked {
        let first = (0, State::default());
        let made = self.snapshots.iter().map(|(seq, json)| {
            let state: State = serde_json::from_slice(json).expect("a snapshot that was written can be read");
            (*seq, state)
        });
        for (seq, mut state) in std::iter::once(first).chain(made) {
            for stamped in self.story.facts().filter(|stamped| stamped.seq > seq) {
                state.apply(stamped);
            }
            if state != self.durable.state {
                return wrong(format!("the fold from fact {seq} on is not the state"));
            }
        }
        Ok(())
    }

    /// The index knows every fact about every order, archived or open, and every message.
    fn rebuild_index(&self) -> Checked {
        let copy = self.disk.fork();
        let (ledger, opened) = match self.open(&copy) {
            Ok(opened) => opened,
            Err(error) => return wrong(format!("a copy of the data cannot be opened: {error}")),
        };
        let indexer = Indexer::spawn(Arc::new(copy), &opened, MemHome::default()).expect("a thread");
        let reader = indexer.reader();
        let archive = ledger.archive_reader();
        while reader.lag() > 0 || matches!(reader.state(), IndexerState::Rebuilding { .. }) {
            if let IndexerState::Broken(_) = reader.state() {
                break;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        if let IndexerState::Broken(why) = reader.state() {
            return wrong(format!("the index cannot be rebuilt: {why}"));
        }
        for (order, facts) in self.story.facts_by_order() {
            let unread = |what: String| Wrong { order: Some(order.clone()), what };
            let archived =
                archive.read(order).map_err(|error| unread(format!("the archive cannot be read: {error}")))?;
            let mut known = archived.map(|found| found.facts).unwrap_or_default();
            let upto = known.last().map_or(0, |fact| fact.seq);
            let later =
                reader.facts_of(order).map_err(|error| unread(format!("the index cannot be asked: {error}")))?;
            known.extend(later.into_iter().filter(|fact| fact.seq > upto));
            if !known.iter().eq(facts.iter().copied()) {
                let seqs =
                    |facts: &mut dyn Iterator<Item = &Stamped>| facts.map(|fact| fact.seq).collect::<BTreeSet<_>>();
                let (there, known) = (seqs(&mut facts.iter().copied()), seqs(&mut known.iter()));
                let (missing, added) = (&there - &known, &known - &there);
                let what = format!("archive and index lack its facts {missing:?} and have {added:?} besides");
                return wrong_with(order, what);
            }
        }
        Ok(())
    }

    /// One flipped bit in the journal: it is refused by name, or it lies where nothing is read.
    fn see_damage(&mut self) -> Checked {
        let copy = self.disk.fork();
        // After a clean stop not even the last group may be missing.
        let closed = self.open(&copy).and_then(|(ledger, _)| ledger.close(self.now));
        let names = copy.list("journal").unwrap_or_default();
        let Some(name) = self.dice.pick(&names).filter(|_| closed.is_ok()) else {
            return wrong("a copy of the data cannot be opened and closed");
        };
        let path = format!("journal/{name}");
        let length = copy.len(&path).unwrap_or(0);
        let (at, bit) = (self.dice.roll(length) as usize, self.dice.roll(8));
        copy.damage(&path, |bytes| bytes[at] ^= 1 << bit).expect("the file is there");
        let opened = match self.open(&copy) {
            Err(LedgerError::Damaged { file, offset, .. }) if self.has(Mistake::DropsBadFrames) => {
                self.drop_bad_frame(&copy, &file, offset)
            }
            opened => opened,
        };
        let Ok((_, opened)) = opened else { return Ok(()) };
        match fold(&opened).is_ok_and(|found| found.state == self.durable.state) {
            true => Ok(()),
            false => wrong(format!("damage at byte {at} of {path} is passed over in silence")),
        }
    }

    /// What a careless program would do about it.
    fn drop_bad_frame(
        &self,
        copy: &SimDisk,
        file: &str,
        offset: u64,
    ) -> Result<(dawnslip::ledger::Ledger, dawnslip::ledger::Opened), LedgerError> {
        copy.damage(file, |bytes| bytes.truncate(offset as usize)).expect("the file is there");
        let later = copy.list("journal").unwrap_or_default().into_iter().map(|name| format!("journal/{name}"));
        // The sign of life says how far the journal went: it must go with what it knows.
        for path in later.filter(|path| path.as_str() > file).chain(["clean".to_owned(), "alive".to_owned()]) {
            copy.remove(&path).expect("the file is there");
        }
        self.open(copy)
    }
}
