//! A map whose copies share their values until one of them changes a value: a copy of all that is
//! open is made while the ledger's writer waits.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Borrow;
use std::collections::BTreeMap;
use std::ops::Index;
use std::sync::Arc;

/// As a [`BTreeMap`]; written as a list of pairs, since its keys need not be strings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SharedMap<K, V>(BTreeMap<K, Arc<V>>);

impl<K, V> Default for SharedMap<K, V> {
    fn default() -> Self {
        Self(BTreeMap::new())
    }
}

impl<K: Ord, V: Clone> SharedMap<K, V> {
    /// The value of a key.
    pub fn get<Q: Ord + ?Sized>(&self, key: &Q) -> Option<&V>
    where
        K: Borrow<Q>,
    {
        self.0.get(key).map(|value| &**value)
    }
    /// The value of a key, to be changed in this copy alone.
    pub fn get_mut(&mut self, key: &K) -> Option<&mut V> {
        self.0.get_mut(key).map(Arc::make_mut)
    }
    /// Is there one?
    pub fn contains_key(&self, key: &K) -> bool {
        self.0.contains_key(key)
    }
    /// Puts a value; the one before, if there was one.
    pub fn insert(&mut self, key: K, value: V) -> Option<V> {
        self.0.insert(key, Arc::new(value)).map(Arc::unwrap_or_clone)
    }
    /// Takes a value out.
    pub fn remove(&mut self, key: &K) -> Option<V> {
        self.0.remove(key).map(Arc::unwrap_or_clone)
    }
    /// All values, to be changed in this copy alone.
    pub fn values_mut(&mut self) -> impl Iterator<Item = &mut V> {
        self.0.values_mut().map(Arc::make_mut)
    }
    /// Keeps those of which `wanted` says so.
    pub fn retain(&mut self, mut wanted: impl FnMut(&K, &V) -> bool) {
        self.0.retain(|key, value| wanted(key, value));
    }
    /// All keys, in order.
    pub fn keys(&self) -> impl DoubleEndedIterator<Item = &K> {
        self.0.keys()
    }
    /// All values, in the order of their keys.
    pub fn values(&self) -> impl DoubleEndedIterator<Item = &V> {
        self.0.values().map(|value| &**value)
    }
    /// All pairs, in the order of the keys.
    pub fn iter(&self) -> Iter<'_, K, V> {
        self.0.iter().map(|(key, value)| (key, &**value))
    }
    /// How many there are.
    pub fn len(&self) -> usize {
        self.0.len()
    }
    /// Is there none?
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// Pairs of a [`SharedMap`].
pub type Iter<'a, K, V> =
    std::iter::Map<std::collections::btree_map::Iter<'a, K, Arc<V>>, fn((&'a K, &'a Arc<V>)) -> (&'a K, &'a V)>;

impl<'a, K: Ord, V: Clone> IntoIterator for &'a SharedMap<K, V> {
    type Item = (&'a K, &'a V);
    type IntoIter = Iter<'a, K, V>;
    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

impl<K: Ord, V> FromIterator<(K, V)> for SharedMap<K, V> {
    fn from_iter<I: IntoIterator<Item = (K, V)>>(pairs: I) -> Self {
        Self(pairs.into_iter().map(|(key, value)| (key, Arc::new(value))).collect())
    }
}

impl<K: Ord, V> Index<&K> for SharedMap<K, V> {
    type Output = V;
    /// As for the map of the standard library: panics where there is none.
    fn index(&self, key: &K) -> &V {
        &self.0[key]
    }
}

impl<K: Serialize, V: Serialize> Serialize for SharedMap<K, V> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.0.iter().map(|(key, value)| (key, &**value)))
    }
}
impl<'de, K: Deserialize<'de> + Ord, V: Deserialize<'de>> Deserialize<'de> for SharedMap<K, V> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Ok(Vec::<(K, V)>::deserialize(deserializer)?.into_iter().collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_in_one_copy_leaves_the_other_as_it_was() {
        let mut first: SharedMap<u64, String> = (1..=3).map(|key| (key, format!("value {key}"))).collect();
        let second = first.clone();
        first.get_mut(&2).unwrap().push_str(", changed");
        first.remove(&3);
        assert_eq!((first[&2].as_str(), first.len()), ("value 2, changed", 2));
        assert_eq!((second[&2].as_str(), second[&3].as_str()), ("value 2", "value 3"));
    }

    #[test]
    fn it_is_written_as_a_list_of_pairs() {
        let map: SharedMap<u64, u64> = [(7, 1), (5, 2)].into_iter().collect();
        let text = serde_json::to_string(&map).unwrap();
        assert_eq!(text, "[[5,2],[7,1]]");
        assert_eq!(serde_json::from_str::<SharedMap<u64, u64>>(&text).unwrap(), map);
    }
}
