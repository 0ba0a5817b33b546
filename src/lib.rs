//! dawnslip turns signed web-shop orders into packing slips, insert cards and a morning
//! pick list. The flow goes one way: intake → book → ledger → plan → slip → print.

pub mod book;
pub mod cli;
pub mod clock;
pub mod config;
pub mod daemon;
pub mod desk;
pub mod intake;
pub mod ledger;
pub mod model;
pub mod plan;
pub mod print;
pub mod slip;
pub mod supplies;
