//! TOML files into one validated, immutable [`crate::model::Workshop`]; every complaint at
//! once, each with file, line, column and a remedy.
//!
//! May touch: files of the configuration folder. Never: read by the core while it decides.
