//! The only place that reads time.
//!
//! May touch: the system clock. Never: decides anything. Local time of day is computed by
//! [`crate::model::daytime`] from an instant that this module gave.

use jiff::Timestamp;
use std::sync::Mutex;

/// Tells the time.
pub trait Clock: Send + Sync {
    /// The present instant.
    fn now(&self) -> Timestamp;
}

/// The machine's clock.
#[derive(Debug, Default, Clone, Copy)]
pub struct SystemClock;

impl Clock for SystemClock {
    fn now(&self) -> Timestamp {
        Timestamp::now()
    }
}

/// A clock that a simulation sets.
#[derive(Debug)]
pub struct SetClock(Mutex<Timestamp>);

impl SetClock {
    /// Begins at `at`.
    pub fn new(at: Timestamp) -> Self {
        Self(Mutex::new(at))
    }
    /// Moves to `at`, forward or back.
    pub fn set(&self, at: Timestamp) {
        *self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner) = at;
    }
}

impl Clock for SetClock {
    fn now(&self) -> Timestamp {
        *self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

/// The machine's clock, moved: for a rehearsal, which plays a morning at any hour.
#[derive(Debug, Default)]
pub struct ShiftedClock(Mutex<jiff::SignedDuration>);

impl ShiftedClock {
    /// Shows `at` now, and runs on from there.
    pub fn starting_at(at: Timestamp) -> Self {
        Self(Mutex::new(at.duration_since(Timestamp::now())))
    }
    /// Shows `at` from now on.
    pub fn move_to(&self, at: Timestamp) {
        *self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner) = at.duration_since(Timestamp::now());
    }
}

impl Clock for ShiftedClock {
    fn now(&self) -> Timestamp {
        let shift = *self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        Timestamp::now().saturating_add(shift).unwrap_or(Timestamp::MAX)
    }
}
