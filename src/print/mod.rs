//! Connections, timing, routes, the printer driver, and the galley (a virtual printer).
//!
//! May touch: one socket a printer. Never: changes what is printed, owns a durable state.
//! [`driver`] decides about one job on one connection and is pure; [`worker`] is the shell
//! around it, one a printer; [`answers`] reads what a printer says; [`net`] is the socket;
//! [`routes`] chooses the printer; [`probe`] asks one what it can; [`galley`] is the printer of those who have none.

pub mod answers;
pub mod driver;
pub mod galley;
pub mod health;
pub mod net;
pub mod probe;
pub mod quiet;
pub mod routes;
pub mod trouble;
pub mod worker;
