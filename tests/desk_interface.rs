//! The desk and the commands, from outside: what people read, what HTTP answers, what the
//! command line takes. The book behind them is the real one; only plans are made by hand.

#[path = "desk/cli.rs"]
mod cli;
#[path = "desk/http.rs"]
mod http;
#[path = "desk/status.rs"]
mod status;
#[path = "desk/support.rs"]
mod support;
