//! The order book: a deterministic machine, `(state, command, now) → facts, effects`, and
//! the fold that turns facts back into state. It decides about duplicates, revisions,
//! stages, stops, questions, jobs and stock.
//!
//! May touch: its arguments. Never: I/O, clocks, async, randomness.

pub mod command;
pub mod fact;
pub mod people;
pub mod state;

pub use command::*;
pub use fact::*;
pub use people::*;
pub use state::*;
