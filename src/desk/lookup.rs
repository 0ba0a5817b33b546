//! From what people type to identities and back. Pure.
//!
//! People type the shortest ending that is unique among open orders (`417`), the whole
//! number (`S-417`), or `shop/417`; parcels are `417`, `417/2`, joined `417+421`.

use crate::book::State;
use crate::model::*;

/// At most so many candidates are named.
const CANDIDATES_MAX: usize = 12;

/// Why a typed number means nothing yet.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unclear {
    /// Nothing ends like this.
    #[error("no {kind} is called {typed:?}")]
    Unknown {
        /// What was looked for.
        kind: &'static str,
        /// As typed.
        typed: String,
    },
    /// Several do.
    #[error("{typed:?} could be {}", super::words::list(candidates, CANDIDATES_MAX))]
    Ambiguous {
        /// As typed.
        typed: String,
        /// What it could be, as one would have to type it.
        candidates: Vec<String>,
    },
}

/// The number as people see it: with its shop only where two shops have the same number.
pub fn shown(state: &State, key: &OrderKey) -> String {
    let twin = state
        .shops
        .keys()
        .filter(|source| **source != key.source)
        .any(|source| state.orders.contains_key(&OrderKey { source: source.clone(), number: key.number.clone() }));
    super::words::tame(&if twin { key.to_string() } else { key.number.clone() })
}

/// The order that is meant: exactly as typed, else the shortest ending that is unique among
/// open orders, else among closed ones that are still known.
///
/// # Errors
/// [`Unclear`], with the candidates where there are several.
pub fn order(state: &State, typed: &str) -> Result<OrderKey, Unclear> {
    let typed = typed.trim();
    if let Ok(key) = typed.parse::<OrderKey>()
        && state.orders.contains_key(&key)
    {
        return Ok(key);
    }
    let (source, ending) = match typed.split_once('/') {
        Some((source, ending)) if state.shops.keys().any(|name| name.as_str() == source) => (Some(source), ending),
        _ => (None, typed),
    };
    let unknown = || Unclear::Unknown { kind: "order", typed: typed.to_owned() };
    if ending.is_empty() {
        return Err(unknown());
    }
    let of_source = |key: &OrderKey| source.is_none_or(|name| key.source.as_str() == name);
    let all = || state.orders.keys().filter(|key| of_source(key));
    let exact: Vec<&OrderKey> = all().filter(|key| key.number == ending).collect();
    let ends: Vec<&OrderKey> = all().filter(|key| ends_like(&key.number, ending)).collect();
    let open = |keys: &[&OrderKey]| -> Vec<OrderKey> {
        let is_open = |key: &&&OrderKey| state.orders.get(key).is_some_and(|entry| !entry.is_closed(&state.parcels));
        keys.iter().filter(is_open).map(|key| (*key).clone()).collect()
    };
    let closed_too = |keys: &[&OrderKey]| keys.iter().map(|key| (*key).clone()).collect();
    for found in [open(&exact), closed_too(&exact), open(&ends), closed_too(&ends)] {
        match found.as_slice() {
            [] => {}
            [only] => return Ok(only.clone()),
            several => {
                let candidates = several.iter().take(CANDIDATES_MAX).map(|key| shown(state, key)).collect();
                return Err(Unclear::Ambiguous { typed: typed.to_owned(), candidates });
            }
        }
    }
    Err(unknown())
}

/// `S-417` ends like `417`, `S-1417` does not: an ending of digits is the whole last figure.
fn ends_like(number: &str, ending: &str) -> bool {
    let Some(before) = number.strip_suffix(ending) else { return false };
    let splits_a_figure =
        ending.starts_with(|c: char| c.is_ascii_digit()) && before.ends_with(|c: char| c.is_ascii_digit());
    !splits_a_figure
}

/// What stands on a parcel: `S-417`, `S-417/2` of several, `S-417+S-421` joined.
pub fn label(state: &State, parcel: ParcelId) -> String {
    let Some(entry) = state.parcels.get(&parcel) else { return parcel.to_string() };
    let numbers: Vec<String> = entry.orders.iter().map(|key| shown(state, key)).collect();
    let joined = numbers.join("+");
    match entry.part {
        (part, all) if all > 1 => format!("{joined}/{part}"),
        _ => joined,
    }
}

/// The parcel that is meant.
///
/// # Errors
/// [`Unclear`], with the labels where an order has several parcels.
pub fn parcel(state: &State, typed: &str) -> Result<ParcelId, Unclear> {
    let typed = typed.trim();
    let (numbers, part) = match order(state, typed) {
        Ok(_) => (typed, None),
        Err(unclear) => match typed.rsplit_once('/').map(|(head, part)| (head, part.parse::<u32>())) {
            Some((head, Ok(part))) => (head, Some(part)),
            _ if typed.contains('+') => (typed, None),
            _ => return Err(unclear),
        },
    };
    let mut wanted = Vec::new();
    for number in numbers.split('+') {
        wanted.push(order(state, number)?);
    }
    let carries_all = |id: &&ParcelId| {
        state.parcels.get(id).is_some_and(|parcel| wanted.iter().all(|key| parcel.orders.contains(key)))
    };
    let of_first = wanted.first().and_then(|key| state.orders.get(key)).map_or(&[][..], |entry| &entry.parcels);
    let all: Vec<ParcelId> = of_first.iter().filter(carries_all).copied().collect();
    let is_part = |id: &ParcelId| state.parcels.get(id).is_some_and(|p| part.is_none_or(|part| p.part.0 == part));
    match all.iter().copied().filter(is_part).collect::<Vec<_>>().as_slice() {
        [] => Err(Unclear::Unknown { kind: "parcel", typed: typed.to_owned() }),
        [only] => Ok(*only),
        several => Err(Unclear::Ambiguous {
            typed: typed.to_owned(),
            candidates: several.iter().map(|id| label(state, *id)).collect(),
        }),
    }
}

/// The number that never came.
///
/// # Errors
/// [`Unclear`] where no gap has this number, or two shops have.
pub fn gap(state: &State, typed: &str) -> Result<(SourceName, String), Unclear> {
    let typed = typed.trim();
    let all = state.shops.iter().flat_map(|(source, shop)| shop.gaps.values().map(move |gap| (source, &gap.number)));
    let means = |(source, number): &(&SourceName, &String)| {
        *number == typed || ends_like(number, typed) || format!("{source}/{number}") == typed
    };
    match all.filter(means).collect::<Vec<_>>().as_slice() {
        [] => Err(Unclear::Unknown { kind: "missing number", typed: typed.to_owned() }),
        [(source, number)] => Ok(((*source).clone(), (*number).clone())),
        several => Err(Unclear::Ambiguous {
            typed: typed.to_owned(),
            candidates: several
                .iter()
                .take(CANDIDATES_MAX)
                .map(|(source, number)| format!("{source}/{number}"))
                .collect(),
        }),
    }
}

/// The job that is meant: `j12` or `12`.
///
/// # Errors
/// [`Unclear::Unknown`].
pub fn job(state: &State, typed: &str) -> Result<JobId, Unclear> {
    let typed = typed.trim();
    let id = typed.strip_prefix('j').unwrap_or(typed).parse().map(JobId);
    match id {
        Ok(id) if state.jobs.contains_key(&id) => Ok(id),
        _ => Err(Unclear::Unknown { kind: "paper", typed: typed.to_owned() }),
    }
}
