//! The commands, one file each.
//!
//! May touch: the terminal, the desk socket. Never: holds logic that a test could not reach without it.

mod rehearse_cast;
pub mod rehearse_orders;
