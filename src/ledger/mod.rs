//! The durable truth: a journal of sync groups, snapshots, archives, and sled as an index
//! that may be deleted at any time.
//!
//! May touch: files of the data directory, sled. Never: knows HTTP, printers or prices.
