//! Counts for the desk's metrics.

use super::problem::Reason;
use std::sync::atomic::{AtomicU64, Ordering};

/// What the listener has done since it started. Read by the desk at any time.
#[derive(Debug, Default)]
pub struct Counters {
    /// Messages kept for the first time (202).
    pub accepted: AtomicU64,
    /// Messages that were known (200).
    pub known: AtomicU64,
    /// Connections that gave way to others, as all places were taken.
    pub gave_way: AtomicU64,
    refused: [AtomicU64; Reason::ALL.len()],
}

impl Counters {
    /// Counts one refusal.
    pub fn refuse(&self, reason: Reason) {
        self.refused[reason as usize].fetch_add(1, Ordering::Relaxed);
    }
    /// Refusals for this reason.
    pub fn refused(&self, reason: Reason) -> u64 {
        self.refused[reason as usize].load(Ordering::Relaxed)
    }
    /// Adds one.
    pub(super) fn count(counter: &AtomicU64) {
        counter.fetch_add(1, Ordering::Relaxed);
    }
}
