//! Damage of every kind to a data directory: it is reported, or it is harmless; never is the state
//! silently another one. And what a repair makes of it.

#[path = "ledger_damage/bench.rs"]
mod bench;
#[path = "ledger_damage/found.rs"]
mod found;
#[path = "ledger_damage/repaired.rs"]
mod repaired;
