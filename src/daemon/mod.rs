//! Wires everything together; reload and shutdown.
//!
//! May touch: every module. Never: decides anything about orders.

pub mod core;
mod house;
mod paper;
mod planner;
mod printers;
pub mod setup;
pub mod shared;
mod spool;
pub mod start;
mod upkeep;

pub use house::{Door, House};
pub use paper::{Sight, show};
pub use setup::Place;
pub use start::{Exit, Options, Running, StartError, chain, facts_about, fold, start};
