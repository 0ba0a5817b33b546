//! One world from a seed: see the head of `tests/simulation/main.rs`.

mod careless;
mod checks;
mod dice;
mod ends;
mod events;
mod forgetting;
mod head;
mod lives;
mod mistakes;
mod people;
mod printer;
pub mod run;
mod shop;
mod story;
mod workshop;
mod world;

pub use lives::{Failure, live};
pub use world::Counts;
