//! The commands, one file each.
//!
//! May touch: the terminal, the desk socket. Never: holds logic that a test could not reach without it.

pub mod galley;
