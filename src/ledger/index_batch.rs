//! Facts as changes of the index.

use super::index::{Index, IndexError, Put, keys};
use super::record::{self, About, about};
use crate::book::{Fact, Stamped};
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
    pub fn first_missing(&self, upto: u64) -> Option<u64> {
        (1..=upto).find(|seq| self.bits.get((seq / 64) as usize).is_none_or(|word| word & (1 << (seq % 64)) == 0))
    }
}

/// Changes for one commit; what is in it can already be asked.
pub(super) struct Batch<'a> {
    index: &'a dyn Index,
    puts: BTreeMap<Vec<u8>, Vec<u8>>,
    pub facts: usize,
}

impl<'a> Batch<'a> {
    pub fn new(index: &'a dyn Index) -> Self {
        Self { index, puts: BTreeMap::new(), facts: 0 }
    }
    fn get(&self, key: &[u8]) -> Result<Option<Vec<u8>>, IndexError> {
        match self.puts.get(key) {
            Some(value) => Ok(Some(value.clone())),
            None => self.index.get(key),
        }
    }
    fn orders_at(&self, key: &[u8]) -> Result<Vec<OrderKey>, IndexError> {
        let Some(value) = self.get(key)? else { return Ok(Vec::new()) };
        serde_json::from_slice(&value).map_err(|err| IndexError::Broken(err.to_string()))
    }

    /// Takes in a fact that is not in the index; `archived_under` is the order under which the
    /// archive has it.
    pub fn add(&mut self, fact: &Stamped, json: &str, archived_under: Option<&OrderKey>) -> Result<(), IndexError> {
        let mut orders = match about(&fact.fact) {
            About::Orders(orders) => orders,
            About::Parcel(parcel) => self.orders_at(&keys::parcel(parcel))?,
            About::Job(job) => self.orders_at(&keys::job(job))?,
            About::House => Vec::new(),
        };
        orders.extend(archived_under.cloned());
        orders.sort_unstable();
        orders.dedup();
        self.facts += 1;
        for order in &orders {
            let count = read_number(self.get(&keys::count_of(order))?)?.unwrap_or(0);
            self.puts.insert(keys::count_of(order), (count + 1).to_be_bytes().to_vec());
            self.puts.insert(keys::fact_of(order, fact.seq), json.as_bytes().to_vec());
        }
        if orders.is_empty() {
            self.puts.insert(keys::house(fact.seq), json.as_bytes().to_vec());
        }
        let links = || serde_json::to_vec(&orders).map_err(|err| IndexError::Broken(err.to_string()));
        match &fact.fact {
            Fact::Planned { parcels, .. } => {
                let links = links()?;
                self.puts.extend(parcels.iter().map(|parcel| (keys::parcel(*parcel), links.clone())));
            }
            Fact::JobQueued { job, .. } => drop(self.puts.insert(keys::job(*job), links()?)),
            // The first one counts: a later one with this id only contradicts it.
            Fact::MessageKept { message, .. } if self.get(&keys::message(message))?.is_none() => {
                self.puts.insert(keys::message(message), fact.seq.to_be_bytes().to_vec());
            }
            _ => {}
        }
        Ok(())
    }

    pub fn commit(&mut self, upto: u64) -> Result<(), IndexError> {
        let puts = std::mem::take(&mut self.puts);
        let puts: Vec<Put> = puts.into_iter().map(|(key, value)| Put { key, value }).collect();
        self.index.commit(upto, &puts)?;
        self.facts = 0;
        Ok(())
    }
}
