//! What working time costs.

use super::{Container, Money, Round};
use jiff::SignedDuration;
use serde::{Deserialize, Serialize};

/// How long packing takes and what an hour costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Labour {
    /// Of one hour.
    pub wage: Money,
    /// For each parcel, whatever is in it.
    pub per_parcel: SignedDuration,
    /// For each container that says nothing else.
    pub per_container: SignedDuration,
    /// For each piece.
    pub per_piece: SignedDuration,
    /// It takes part in the choice of parcels; else it is only shown.
    pub weighed: bool,
}

/// What packing one parcel costs in working time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LabourCost {
    /// So much.
    pub amount: Money,
    /// It counts among the parcel's costs; else it is only shown beside them.
    pub weighed: bool,
}

/// Nanoseconds of an hour.
const NS_PER_HOUR: i128 = 3600 * 1_000_000_000;

impl Labour {
    /// For a parcel in these containers with so many pieces: the time summed exactly, its cost rounded up once.
    pub fn cost<'c>(&self, containers: impl Iterator<Item = &'c Container>, pieces: u32) -> LabourCost {
        let folding: i128 = containers.map(|it| it.folding.unwrap_or(self.per_container).as_nanos()).sum();
        let time = self.per_parcel.as_nanos() + folding + self.per_piece.as_nanos() * i128::from(pieces);
        let minor = Round::Up.to_steps(i128::from(self.wage.minor).saturating_mul(time), NS_PER_HOUR);
        let amount = Money::new(i64::try_from(minor).unwrap_or(i64::MAX), self.wage.currency);
        LabourCost { amount, weighed: self.weighed }
    }
}
