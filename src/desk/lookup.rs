//! From what people type to identities and back. Pure. Orders and parcels are found by the
//! book ([`crate::book::find`]); missing numbers and papers here.

use super::words;
use crate::book::{FindError, State};
use crate::model::*;

/// At most so many candidates are named.
pub const CANDIDATES_MAX: usize = 12;

/// Why a typed number means nothing yet.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unclear {
    /// Nothing is called like this.
    #[error("no {kind} is called {typed:?}")]
    Unknown {
        /// What was looked for.
        kind: Kind,
        /// As typed.
        typed: String,
    },
    /// Several are.
    #[error("{typed:?} could be {}", words::list(candidates, CANDIDATES_MAX))]
    Ambiguous {
        /// As typed.
        typed: String,
        /// What it could be, as one would have to type it.
        candidates: Vec<String>,
    },
    /// The order is clear, but it has no such parcel (yet).
    #[error("{order} has no such parcel")]
    NoParcel {
        /// The order.
        order: String,
    },
}

/// What was looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// An order (or its parcel).
    Order,
    /// A number that never came.
    MissingNumber,
    /// A paper on its way.
    Paper,
}

impl std::fmt::Display for Kind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(match self {
            Self::Order => "order",
            Self::MissingNumber => "missing number",
            Self::Paper => "paper",
        })
    }
}

impl From<FindError> for Unclear {
    fn from(error: FindError) -> Self {
        match error {
            FindError::NotFound { typed } => Self::Unknown { kind: Kind::Order, typed },
            FindError::Ambiguous { typed, orders } => {
                let candidates = orders.iter().take(CANDIDATES_MAX).map(OrderKey::to_string).collect();
                Self::Ambiguous { typed, candidates }
            }
            FindError::WhichParcel { order, parcels: several @ 2.. } => {
                let candidates =
                    (1..=several.min(CANDIDATES_MAX)).map(|part| format!("{}/{part}", order.number)).collect();
                Self::Ambiguous { typed: order.number, candidates }
            }
            FindError::WhichParcel { order, .. } => Self::NoParcel { order: order.number },
        }
    }
}

/// The number as people see it: with its shop only where two shops have the same number.
pub fn shown(state: &State, key: &OrderKey) -> String {
    let twin = state
        .shops
        .keys()
        .filter(|source| **source != key.source)
        .any(|source| state.orders.contains_key(&OrderKey { source: source.clone(), number: key.number.clone() }));
    words::tame(&if twin { key.to_string() } else { key.number.clone() })
}

/// The number that never came.
///
/// # Errors
/// [`Unclear`] where no gap has this number, or two shops have.
pub fn gap(state: &State, typed: &str) -> Result<(SourceName, String), Unclear> {
    let typed = typed.trim();
    let all = state.shops.iter().flat_map(|(source, shop)| shop.gaps.values().map(move |gap| (source, &gap.number)));
    let means = |(source, number): &(&SourceName, &String)| {
        number.as_str() == typed || figure(number) == typed || format!("{source}/{number}") == typed
    };
    match all.filter(means).collect::<Vec<_>>().as_slice() {
        [] => Err(Unclear::Unknown { kind: Kind::MissingNumber, typed: typed.to_owned() }),
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

/// The digits at the end: `447` of `S-447`.
fn figure(number: &str) -> &str {
    number.rsplit(|c: char| !c.is_ascii_digit()).next().unwrap_or(number)
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
        _ => Err(Unclear::Unknown { kind: Kind::Paper, typed: typed.to_owned() }),
    }
}
