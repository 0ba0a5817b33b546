//! The order book: a deterministic machine, `(state, command, now) → facts, effects`, and
//! the fold that turns facts back into state. It decides about duplicates, revisions,
//! stages, stops, questions, jobs and stock.
//!
//! May touch: its arguments. Never: I/O, clocks, async, randomness.

pub mod about;
mod acting;
pub mod command;
mod compare;
pub mod day;
mod deciding;
pub mod fact;
pub mod find;
mod fold;
mod forget;
mod joining;
mod passing;
pub mod people;
mod person_record;
mod planning;
mod policy;
mod printing;
pub mod questions;
mod receive;
pub mod rolls;
pub mod shared_map;
pub mod state;
mod step;
pub mod tally;

pub use about::{About, about};
pub use command::*;
pub use day::*;
pub use deciding::decisions;
pub use fact::*;
pub use find::*;
pub use passing::LIST_LATE_AFTER;
pub use people::*;
pub use person_record::PersonRecord;
pub use policy::Policy;
pub use questions::*;
pub use shared_map::SharedMap;
pub use state::*;
pub use step::step;
