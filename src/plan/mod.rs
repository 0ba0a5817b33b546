//! The planner, pure: geometry (`fit`), prices (`tariff`), rules (`rules`), the choice
//! (`choose`) and its explanation.
//!
//! May touch: its arguments. Never: I/O, clocks, async, randomness.

pub mod choose;
pub mod compare;
pub mod fit;
pub mod rules;
pub mod tariff;
pub use choose::{Planner, Shelf};
pub mod quote;
