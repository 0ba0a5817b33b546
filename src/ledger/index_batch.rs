//! Facts as changes of the index.

use super::damage::Span;
use super::index::{Change, Index, IndexError, keys};
use super::record;
use crate::book::{About, Fact, Stamped, about};
use crate::model::OrderKey;
use std::collections::BTreeMap;

pub(super) fn read_number(value: Option<Vec<u8>>) -> Result<Option<u64>, IndexError> {
    let Some(value) = value else { return Ok(None) };
    let bytes = value.try_into().map_err(|_| IndexError::Broken("a number in it is none".to_owned()))?;
    Ok(Some(u64::from_be_bytes(bytes)))
}

pub(super) fn read_fact(json: &[u8]) -> Result<Stamped, IndexError> {
    let text = std::str::from_utf8(json).map_err(|err| IndexError::Broken(err.to_string()))?;
    record::fact_from(text).map_err(|err| IndexError::Broken(err.to_string()))
}

/// Numbers that were seen, one bit each.
#[derive(Default)]
pub(super) struct Seen {
    bits: Vec<u64>,
    pub count: u64,
}

impl Seen {
    /// Notes a number; false where it was there.
    pub fn add(&mut self, seq: u64) -> bool {
        let (word, bit) = ((seq / 64) as usize, 1 << (seq % 64));
        if self.bits.len() <= word {
            self.bits.resize(word + 1, 0);
        }
        let new = self.bits[word] & bit == 0;
        self.bits[word] |= bit;
        self.count += u64::from(new);
        new
    }
    pub fn has(&self, seq: u64) -> bool {
        self.bits.get((seq / 64) as usize).is_some_and(|word| word & (1 << (seq % 64)) != 0)
    }
    pub fn first_missing(&self, upto: u64) -> Option<u64> {
        (1..=upto).find(|seq| !self.has(*seq))
    }
    /// The numbers up to `upto`, in order.
    pub fn iter(&self, upto: u64) -> impl Iterator<Item = u64> {
        (0..=upto).filter(|seq| self.has(*seq))
    }
    /// Likewise, in rows.
    pub fn spans(&self, upto: u64) -> Vec<Span> {
        let mut spans: Vec<Span> = Vec::new();
        for seq in self.iter(upto) {
            match spans.last_mut() {
                Some(span) if span.to + 1 == seq => span.to = seq,
                _ => spans.push(Span { from: seq, to: seq }),
            }
        }
        spans
    }
}

impl Extend<u64> for Seen {
    fn extend<I: IntoIterator<Item = u64>>(&mut self, numbers: I) {
        for seq in numbers {
            self.add(seq);
        }
    }
}
impl FromIterator<u64> for Seen {
    fn from_iter<I: IntoIterator<Item = u64>>(numbers: I) -> Self {
        let mut seen = Self::default();
        seen.extend(numbers);
        seen
    }
}

/// Changes for one commit; what is in it can already be asked.
pub(super) struct Batch<'a> {
    index: &'a dyn Index,
    changes: BTreeMap<Vec<u8>, Option<Vec<u8>>>,
    pub facts: usize,
    archived: BTreeMap<OrderKey, u64>,
}

impl<'a> Batch<'a> {
    pub fn new(index: &'a dyn Index) -> Self {
        Self::leaving_out(index, BTreeMap::new())
    }
    /// Takes in nothing of these orders up to the fact that says that they are archived.
    pub fn leaving_out(index: &'a dyn Index, archived: BTreeMap<OrderKey, u64>) -> Self {
        Self { index, changes: BTreeMap::new(), facts: 0, archived }
    }
    fn get(&self, key: &[u8]) -> Result<Option<Vec<u8>>, IndexError> {
        match self.changes.get(key) {
            Some(value) => Ok(value.clone()),
            None => self.index.get(key),
        }
    }
    fn put(&mut self, key: Vec<u8>, value: Vec<u8>) {
        self.changes.insert(key, Some(value));
    }
    fn orders_at(&self, key: &[u8]) -> Result<Vec<OrderKey>, IndexError> {
        let Some(value) = self.get(key)? else { return Ok(Vec::new()) };
        serde_json::from_slice(&value).map_err(|err| IndexError::Broken(err.to_string()))
    }

    /// Takes in a fact that is not in the index.
    pub fn add(&mut self, fact: &Stamped, json: &str) -> Result<(), IndexError> {
        let mut orders = match about(&fact.fact) {
            About::Orders(orders) => orders,
            About::Parcel(parcel) => self.orders_at(&keys::parcel(parcel))?,
            About::Job(job) => self.orders_at(&keys::job(job))?,
            About::House => Vec::new(),
        };
        orders.retain(|order| !self.is_over(order, fact.seq));
        self.facts += 1;
        for order in &orders {
            let count = read_number(self.get(&keys::count_of(order))?)?.unwrap_or(0);
            self.put(keys::count_of(order), (count + 1).to_be_bytes().to_vec());
            self.put(keys::fact_of(order, fact.seq), json.as_bytes().to_vec());
        }
        let links = || serde_json::to_vec(&orders).map_err(|err| IndexError::Broken(err.to_string()));
        match &fact.fact {
            Fact::Planned { parcels, .. } if !orders.is_empty() => {
                let links = links()?;
                parcels.iter().for_each(|parcel| self.put(keys::parcel(*parcel), links.clone()));
            }
            Fact::JobQueued { job, .. } if !orders.is_empty() => self.put(keys::job(*job), links()?),
            Fact::Archived { orders } => {
                for order in orders {
                    if !self.is_over(order, fact.seq) {
                        self.take_out(order)?;
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn is_over(&self, order: &OrderKey, seq: u64) -> bool {
        self.archived.get(order).is_some_and(|upto| seq <= *upto)
    }

    /// An archived order is found by the archive from now on.
    fn take_out(&mut self, order: &OrderKey) -> Result<(), IndexError> {
        let prefix = keys::facts_of(order);
        let mut facts: BTreeMap<Vec<u8>, Option<Vec<u8>>> = BTreeMap::new();
        facts.extend(self.index.range(&prefix, usize::MAX)?.into_iter().map(|(key, json)| (key, Some(json))));
        let fresh = self.changes.range(prefix.clone()..).take_while(|(key, _)| key.starts_with(&prefix));
        facts.extend(fresh.map(|(key, json)| (key.clone(), json.clone())));
        for (key, json) in facts {
            let Some(json) = json else { continue };
            match read_fact(&json)?.fact {
                Fact::Planned { parcels, .. } => {
                    self.changes.extend(parcels.into_iter().map(|parcel| (keys::parcel(parcel), None)));
                }
                Fact::JobQueued { job, .. } => drop(self.changes.insert(keys::job(job), None)),
                _ => {}
            }
            self.changes.insert(key, None);
        }
        self.changes.insert(keys::count_of(order), None);
        Ok(())
    }

    pub fn commit(&mut self, upto: u64) -> Result<(), IndexError> {
        let changes = std::mem::take(&mut self.changes);
        let changes: Vec<Change> = changes.into_iter().map(|(key, value)| Change { key, value }).collect();
        self.index.commit(upto, &changes)?;
        self.facts = 0;
        Ok(())
    }
}
