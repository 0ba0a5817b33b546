//! Plain types that every other module shares: quantities, orders, the workshop
//! as configured, plans, papers.
//!
//! May touch: its arguments. Never: any other module of this crate, I/O, clocks,
//! async, randomness.

pub mod danger;
pub mod daytime;
pub mod goods;
pub mod labour;
pub mod locale;
pub mod order;
pub mod paper;
pub mod place;
pub mod plan;
pub mod quantity;
pub mod rate;
pub mod said;
pub mod service;
pub mod text;
pub mod workshop;

pub use danger::*;
pub use goods::*;
pub use labour::*;
pub use locale::*;
pub use order::*;
pub use paper::*;
pub use place::*;
pub use plan::*;
pub use quantity::*;
pub use rate::*;
pub use said::*;
pub use service::*;
pub use text::*;
pub use workshop::*;
