//! Puts closed orders into the archive, and carries what is open out of segments that end.
//!
//! May touch: the disk, by way of [`History`]. Writes new files only, and removes carries that a
//! newer one stands in for; segments are removed by who asked.

use super::LedgerError;
use super::archive::{CARRY_DIR, DIR, History, ORDERS_MAX, carry_upto_of, number_of, put_entry};
use super::directory::Directory;
use super::record::Links;
use super::segment::list_or_empty;
use crate::book::{Fact, PersonRecord, Record, Stamped};
use crate::model::{MessageKey, OrderKey};
use std::collections::{BTreeMap, BTreeSet};

/// Lines gathered for one order or for the house.
#[derive(Default)]
struct Gathered {
    facts: BTreeMap<u64, String>,
    /// By their place among all lines.
    persons: BTreeMap<u64, String>,
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

/// What facts tell of others.
#[derive(Default)]
struct Ties {
    links: Links,
    /// Orders of which a fact says that they are archived, with its number.
    noted: BTreeMap<OrderKey, u64>,
}

impl Ties {
    fn take_in(&mut self, stamped: &Stamped) {
        self.links.take_in(&stamped.fact);
        if let Fact::Archived { orders } = &stamped.fact {
            self.noted.extend(orders.iter().map(|order| (order.clone(), stamped.seq)));
        }
    }
}

impl History<'_> {
    /// Archives `wanted` orders. `last_seq` is the journal's last fact. Of the segments, those whose
    /// facts all have numbers up to `removable` are made superfluous: what they hold is then in an
    /// archive or in the carry.
    pub fn run(
        &self,
        directory: &Directory,
        last_seq: u64,
        removable: Option<u64>,
        wanted: &[OrderKey],
    ) -> Result<Vec<OrderKey>, LedgerError> {
        let wanted: BTreeSet<&OrderKey> = wanted.iter().take(ORDERS_MAX).collect();
        let archived = directory.since(self, self.carry_upto()?.unwrap_or(0))?;
        let (gathered, ties) = self.gather(last_seq, &wanted, &archived)?;
        let is_there =
            |order: &&&OrderKey| archived.contains_key(**order) || gathered.contains_key(&Some(OrderKey::clone(order)));
        let done = wanted.iter().filter(is_there).map(|order| OrderKey::clone(order)).collect();
        self.write(directory, last_seq, gathered)?;
        if let Some(upto) = removable
            && self.carry_upto()? < Some(upto)
        {
            self.carry_over(directory, upto, &ties, |_| false)?;
            self.remove_carries_before(upto)?;
        }
        Ok(done)
    }

    /// Archives orders anew from what the carry and the segments hold of them, whatever archives
    /// hold. One of which nothing is left stands there with `stand_in`.
    pub fn archive_again(&self, last_seq: u64, orders: &[OrderKey], stand_in: &Stamped) -> Result<(), LedgerError> {
        for some in orders.chunks(ORDERS_MAX) {
            let (mut gathered, _) = self.gather(last_seq, &some.iter().collect(), &BTreeMap::new())?;
            for order in some.iter().filter(|order| !gathered.contains_key(&Some((*order).clone()))).collect::<Vec<_>>()
            {
                let json = serde_json::to_string(stand_in)
                    .map_err(|err| LedgerError::Misuse { what: format!("a fact could not be written: {err}") })?;
                gathered.entry(Some(order.clone())).or_default().add(stand_in, json);
            }
            self.write(&Directory::default(), last_seq, gathered)?;
        }
        Ok(())
    }

    /// Writes the carry up to the fact `upto` anew, without the lines of persons that go; makes
    /// segments up to there superfluous.
    pub fn compact(
        &self,
        directory: &Directory,
        upto: u64,
        goes: impl FnMut(&PersonRecord) -> bool,
    ) -> Result<(), LedgerError> {
        self.carry_over(directory, upto, &self.ties(upto)?, goes)?;
        self.remove_carries_before(upto)
    }

    /// What the facts up to `upto` tell of others.
    fn ties(&self, upto: u64) -> Result<Ties, LedgerError> {
        let mut ties = Ties::default();
        self.each_record(upto, |_, _, record| {
            if let Record::Fact(fact) = record {
                ties.take_in(&fact);
            }
        })?;
        Ok(ties)
    }

    /// The lines of the wanted orders that do not stand in an archive yet (where nobody took note of
    /// it, or the order changed meanwhile), and what belongs to what.
    fn gather(
        &self,
        last_seq: u64,
        wanted: &BTreeSet<&OrderKey>,
        archived: &BTreeMap<OrderKey, u64>,
    ) -> Result<(BTreeMap<Option<OrderKey>, Gathered>, Ties), LedgerError> {
        let mut ties = Ties::default();
        let mut gathered: BTreeMap<Option<OrderKey>, Gathered> = BTreeMap::new();
        // In the journal a raw body comes ahead of the fact that says whose it is, in the carry behind it.
        let mut raw: BTreeMap<MessageKey, (u64, u64, String)> = BTreeMap::new();
        let of_wanted = |orders: Vec<OrderKey>, seq: u64| {
            let wanted = orders.into_iter().filter(|order| wanted.contains(&order));
            wanted.filter(move |order| archived.get(order).is_none_or(|upto| seq > *upto)).map(Some)
        };
        let mut place = 0;
        self.each_record(last_seq, |seq, json, record| {
            place += 1;
            let orders = match &record {
                Record::Fact(fact) => {
                    ties.take_in(fact);
                    ties.links.of_fact(&fact.fact)
                }
                Record::Person(_) => ties.links.of_record(&record),
            };
            match record {
                Record::Fact(fact) => {
                    if let Fact::MessageKept { message, .. } = &fact.fact
                        && !orders.is_empty()
                        && let Some((seq, place, json)) = raw.remove(message)
                    {
                        for order in of_wanted(orders.clone(), seq) {
                            gathered.entry(order).or_default().persons.insert(place, json.clone());
                        }
                    }
                    for order in of_wanted(orders, seq) {
                        gathered.entry(order).or_default().add(&fact, json.clone());
                    }
                }
                Record::Person(PersonRecord::Raw { message, .. }) if orders.is_empty() => {
                    raw.insert(message, (seq, place, json));
                }
                Record::Person(_) => {
                    for order in of_wanted(orders, seq) {
                        gathered.entry(order).or_default().persons.insert(place, json.clone());
                    }
                }
            }
        })?;
        // A person's line alone says nothing about when: it waits for a fact.
        gathered.retain(|_, lines| !lines.facts.is_empty());
        Ok((gathered, ties))
    }

    /// Writes a new carry that stands for everything up to the fact `upto`, and archives the
    /// house's lines of it. Lines of persons that go are left out.
    ///
    /// An order's lines are left out once a fact up to there says that it is archived: until then, a
    /// program that ended amid it may find it open again. So an order's lines stand in carry and
    /// journal all together or not at all, and what belongs to what can be told from them alone.
    fn carry_over(
        &self,
        directory: &Directory,
        upto: u64,
        ties: &Ties,
        mut goes: impl FnMut(&PersonRecord) -> bool,
    ) -> Result<(), LedgerError> {
        let archived = self.held(directory, upto, &ties.noted)?;
        let mut house: BTreeMap<String, Gathered> = BTreeMap::new();
        let (mut facts, mut people) = (Vec::new(), Vec::new());
        let (mut month, mut place) = (String::new(), 0);
        self.each_record(upto, |seq, json, record| {
            place += 1;
            let orders = ties.links.of_record(&record);
            match &record {
                Record::Fact(fact) => month = month_of(fact),
                Record::Person(person) if goes(person) => return,
                Record::Person(_) => {}
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
                    Record::Person(_) => drop(lines.persons.insert(place, json)),
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
            self.write(directory, upto, BTreeMap::from([(None, lines)]))?;
        }
        self.write_carry(upto, &facts, &people)
    }

    /// Those that facts up to `upto` say are archived, and that are: an import has such facts before
    /// it has the archive.
    fn held<'n>(
        &self,
        directory: &Directory,
        upto: u64,
        noted: &'n BTreeMap<OrderKey, u64>,
    ) -> Result<BTreeMap<&'n OrderKey, u64>, LedgerError> {
        let mut held = BTreeMap::new();
        let written = directory.since(self, self.carry_upto()?.unwrap_or(0))?;
        for (order, seq) in noted.iter().filter(|(_, seq)| **seq <= upto) {
            if written.contains_key(order) || directory.holds(self, order)? {
                held.insert(order, *seq);
            }
        }
        Ok(held)
    }

    fn remove_carries_before(&self, upto: u64) -> Result<(), LedgerError> {
        for name in list_or_empty(self.disk, CARRY_DIR)? {
            if carry_upto_of(&name).is_some_and(|number| number < upto) {
                let path = format!("{CARRY_DIR}/{name}");
                self.disk.remove(&path).map_err(LedgerError::disk("remove", &path))?;
            }
        }
        self.disk.sync_dir(CARRY_DIR).map_err(LedgerError::disk("sync", CARRY_DIR))
    }

    /// Writes what was gathered into new files, one pair a month.
    fn write(
        &self,
        directory: &Directory,
        last_seq: u64,
        gathered: BTreeMap<Option<OrderKey>, Gathered>,
    ) -> Result<(), LedgerError> {
        #[derive(Default)]
        struct Month {
            facts: Vec<u8>,
            people: Vec<u8>,
            keys: BTreeSet<OrderKey>,
        }
        let mut months: BTreeMap<String, Month> = BTreeMap::new();
        for (order, lines) in gathered {
            let month = months.entry(lines.month).or_default();
            put_entry(&mut month.facts, order.clone(), lines.facts.into_values())?;
            if !lines.persons.is_empty() {
                put_entry(&mut month.people, order.clone(), lines.persons.into_values())?;
            }
            month.keys.extend(order);
        }
        for (month, Month { facts, people, keys }) in months {
            // Persons whose facts were lost keep their name, too.
            let there = list_or_empty(self.disk, DIR)?;
            let taken = there.iter().filter(|name| name.starts_with(&format!("{month}.")));
            let number = taken.filter_map(|name| number_of(name)).max().unwrap_or(0) + 1;
            let path = |part: &str| format!("{DIR}/{month}.{number:04}.{part}");
            // The facts part makes the pair count, so it comes last.
            self.kind("archive people").write(self.disk, &path("people"), last_seq, &people)?;
            self.kind("archive facts").write(self.disk, &path("facts"), last_seq, &facts)?;
            directory.note(self, &path("facts"), last_seq, &keys);
        }
        Ok(())
    }
}
