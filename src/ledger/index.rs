//! The seam to the index of what happened to the orders that are not archived yet, and the one in
//! memory. What is archived is found by the archive itself ([`super::directory`]): so the index
//! does not grow with the years.
//!
//! Keys: `f/SOURCE/NUMBER/SEQ` a fact of an order; `n/SOURCE/NUMBER` how many it has;
//! `p/PARCEL` and `j/JOB` the orders they belong to.

use crate::model::{JobId, OrderKey, ParcelId};
use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Why the index gives no answer. The truth lies in the journal; it can always be rebuilt.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum IndexError {
    /// The store below refuses or has lost something.
    #[error("the index is damaged: {0}; it is rebuilt from the ledger")]
    Broken(String),
    /// Not yet.
    #[error("the index is being rebuilt, {read} of {of} records are read; ask again in a moment")]
    Rebuilding {
        /// Records read so far.
        read: u64,
        /// Of so many.
        of: u64,
    },
}

/// One change of the index.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// Key.
    pub key: Vec<u8>,
    /// New value; `None` takes it out.
    pub value: Option<Vec<u8>>,
}

/// A key with its value.
pub type Pair = (Vec<u8>, Vec<u8>);

/// An ordered key-value store, written behind the journal.
pub trait Index: Send + Sync {
    /// Number of the fact up to which it is true; 0 for one that is empty or was never finished.
    ///
    /// # Errors
    /// [`IndexError::Broken`].
    fn applied(&self) -> Result<u64, IndexError>;
    /// Takes all changes, or none, together with the number up to which they make it true.
    ///
    /// # Errors
    /// [`IndexError::Broken`].
    fn commit(&self, upto_seq: u64, changes: &[Change]) -> Result<(), IndexError>;
    /// One value.
    ///
    /// # Errors
    /// [`IndexError::Broken`].
    fn get(&self, key: &[u8]) -> Result<Option<Vec<u8>>, IndexError>;
    /// Pairs whose key begins with `prefix`, in order of keys, at most `limit`.
    ///
    /// # Errors
    /// [`IndexError::Broken`].
    fn range(&self, prefix: &[u8], limit: usize) -> Result<Vec<Pair>, IndexError>;
    /// Writes what is held back in memory, before a clean stop.
    ///
    /// # Errors
    /// [`IndexError::Broken`].
    fn flush(&self) -> Result<(), IndexError>;
}

/// An index in memory.
#[derive(Debug, Default)]
pub struct MemIndex(Mutex<Memory>);

#[derive(Debug, Default)]
struct Memory {
    applied: u64,
    map: BTreeMap<Vec<u8>, Vec<u8>>,
}

impl MemIndex {
    fn memory(&self) -> MutexGuard<'_, Memory> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Index for MemIndex {
    fn applied(&self) -> Result<u64, IndexError> {
        Ok(self.memory().applied)
    }
    fn commit(&self, upto_seq: u64, changes: &[Change]) -> Result<(), IndexError> {
        let mut memory = self.memory();
        memory.applied = upto_seq;
        for Change { key, value } in changes {
            match value {
                Some(value) => drop(memory.map.insert(key.clone(), value.clone())),
                None => drop(memory.map.remove(key)),
            }
        }
        Ok(())
    }
    fn get(&self, key: &[u8]) -> Result<Option<Vec<u8>>, IndexError> {
        Ok(self.memory().map.get(key).cloned())
    }
    fn range(&self, prefix: &[u8], limit: usize) -> Result<Vec<Pair>, IndexError> {
        let memory = self.memory();
        let from = memory.map.range(prefix.to_vec()..);
        let pairs = from.take_while(|(key, _)| key.starts_with(prefix)).take(limit);
        Ok(pairs.map(|(key, value)| (key.clone(), value.clone())).collect())
    }
    fn flush(&self) -> Result<(), IndexError> {
        Ok(())
    }
}

/// Keys of the index.
pub(super) mod keys {
    use super::{JobId, OrderKey, ParcelId};

    /// A slash within a name would end it too early.
    fn name(text: &str) -> String {
        text.replace('%', "%25").replace('/', "%2F")
    }
    /// Sixteen hex digits hold every u64, so keys sort like numbers.
    fn number(value: u64) -> String {
        format!("{value:016x}")
    }
    fn order(key: &OrderKey) -> String {
        format!("{}/{}", name(key.source.as_str()), name(&key.number))
    }
    pub fn facts_of(key: &OrderKey) -> Vec<u8> {
        format!("f/{}/", order(key)).into_bytes()
    }
    pub fn fact_of(key: &OrderKey, seq: u64) -> Vec<u8> {
        format!("f/{}/{}", order(key), number(seq)).into_bytes()
    }
    pub fn count_of(key: &OrderKey) -> Vec<u8> {
        format!("n/{}", order(key)).into_bytes()
    }
    pub fn parcel(id: ParcelId) -> Vec<u8> {
        format!("p/{}", number(id.0)).into_bytes()
    }
    pub fn job(id: JobId) -> Vec<u8> {
        format!("j/{}", number(id.0)).into_bytes()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_order_whose_number_holds_a_slash_never_mixes_with_another() {
        let plain = keys::facts_of(&OrderKey::new("shop", "1"));
        let other = keys::fact_of(&OrderKey::new("shop", "1/2"), 3);
        assert!(!other.starts_with(&plain));
        assert_ne!(keys::count_of(&OrderKey::new("shop", "a/b")), keys::count_of(&OrderKey::new("shop", "a%2Fb")));
    }

    #[test]
    fn a_range_gives_what_begins_alike_in_order_up_to_the_limit() {
        let index = MemIndex::default();
        let put = |key: &str| Change { key: key.into(), value: Some(vec![1]) };
        index.commit(2, &[put("a/2"), put("a/1"), put("b/1"), put("a/3"), put("a/0")]).unwrap();
        index.commit(3, &[Change { key: "a/0".into(), value: None }]).unwrap();
        let keys: Vec<_> = index.range(b"a/", 2).unwrap().into_iter().map(|(key, _)| key).collect();
        assert_eq!(keys, [b"a/1", b"a/2"]);
        assert_eq!(index.applied(), Ok(3));
    }
}
