//! The daemon as people run it: the real program in a process of its own, with real sockets,
//! a real disk and real signals, and a galley in the test's process as its printer.

#[path = "daemon/commands.rs"]
mod commands;
#[path = "daemon/damage.rs"]
mod damage;
#[path = "daemon/forget.rs"]
mod forget;
#[path = "daemon/hostile.rs"]
mod hostile;
#[path = "daemon/joining.rs"]
mod joining;
#[path = "daemon/keeping.rs"]
mod keeping;
#[path = "daemon/kills.rs"]
mod kills;
#[allow(dead_code, reason = "shared with the test of crashes")]
#[path = "daemon/load.rs"]
mod load;
#[path = "daemon/orders.rs"]
mod orders;
#[path = "daemon/paper.rs"]
mod paper;
#[path = "daemon/printer.rs"]
mod printer;
#[path = "daemon/reload.rs"]
mod reload;
#[path = "daemon/rolls.rs"]
mod rolls;
#[path = "daemon/room.rs"]
mod room;
#[path = "daemon/stopper.rs"]
mod stopper;
#[allow(dead_code, reason = "shared with the test of crashes")]
#[path = "daemon/support.rs"]
mod support;
#[path = "daemon/trouble.rs"]
mod trouble;
