//! The private listener for people: status, orders, actions, metrics, over loopback TCP and
//! a Unix socket.
//!
//! May touch: read views, commands, sockets. Never: holds a business rule, bypasses the book.
