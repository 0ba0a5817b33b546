//! Consumption of packing supplies, pure: what a day needs and what runs out when.
//!
//! May touch: its arguments. Never: I/O, clocks; buys or corrects anything in secret.
