//! Wires everything together; reload and shutdown.
//!
//! May touch: every module. Never: decides anything about orders.
