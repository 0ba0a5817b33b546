//! The daemon as people run it: the real program in a process of its own, with real sockets,
//! a real disk and real signals, and a galley in the test's process as its printer.

#[path = "daemon/commands.rs"]
mod commands;
#[path = "daemon/hostile.rs"]
mod hostile;
#[path = "daemon/kills.rs"]
mod kills;
#[path = "daemon/orders.rs"]
mod orders;
#[path = "daemon/printer.rs"]
mod printer;
#[path = "daemon/reload.rs"]
mod reload;
#[path = "daemon/room.rs"]
mod room;
#[path = "daemon/support.rs"]
mod support;
