//! The public listener: limits, signature schemes, mapping of a raw request to a checked
//! [`crate::model::Order`].
//!
//! May touch: sockets, bytes, secrets. Never: decides anything about an order; stores or
//! prints anything; answers 2xx before the ledger said "on disk".

pub mod file;
mod json;
pub mod listener;
pub mod mapping;
pub mod message;
pub mod path;
pub mod secret;
pub mod sender;
pub mod signature;
pub mod sources;
