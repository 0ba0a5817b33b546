//! Paper, pure: the document model, every paper built from state, and three renderers
//! that agree: bytes, picture, text.
//!
//! May touch: its arguments, font bytes. Never: sockets, files, clocks, async, randomness.
