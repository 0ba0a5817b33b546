//! The private listener for people: status, orders, actions, metrics, over loopback TCP and
//! a Unix socket.
//!
//! May touch: read views, commands, sockets. Never: holds a business rule, bypasses the book.

pub mod answer;
pub mod form;
pub mod guard;
pub mod history;
pub mod html;
pub mod jobs;
pub mod lookup;
pub mod metrics;
pub mod order;
pub mod orders;
pub mod receipt;
pub mod routes;
pub mod server;
pub mod status;
mod stream;
pub mod things;
pub mod view;
pub mod words;

pub use stream::{Lines, LinesOut};
pub use view::*;
