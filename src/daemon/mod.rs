//! Wires everything together; reload and shutdown.
//!
//! May touch: every module. Never: decides anything about orders.

pub mod backups;
pub mod core;
mod damage;
mod house;
mod paper;
mod paper_notices;
mod planner;
mod printers;
mod retention;
pub mod setup;
pub mod shared;
mod spool;
pub mod start;
pub mod upkeep;

pub use house::{Door, House};
pub use paper::{Sight, show};
pub use planner::PLANNER_STACK_BYTES;
pub use setup::Place;
pub use start::{Exit, Options, Running, StartError, chain, fold, start};
