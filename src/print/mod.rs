//! Connections, timing, routes, the printer driver, and the galley (a virtual printer).
//!
//! May touch: one socket a printer. Never: changes what is printed, owns a durable state.
