//! The galley: a virtual printer. It takes the bytes that a printer would take, over TCP or in
//! memory, and gives back pictures and text of the paper; it answers as a printer would, and
//! can be told to fail in every way that printers fail.
//!
//! ```text
//!  socket ─▶ serve (reads into a small buffer, ─▶ head (one row after the other, halts ─▶ papers
//!            answers out of turn)                   without paper, answers in line)
//! ```
//! Its decoder ([`commands`], [`composer`]) shares no code with the encoder in `slip`.
//! One connection prints, others wait. What was read is printed even if the connection ends;
//! a half-printed paper stays in the slot until something is cut.

pub mod codes;
pub mod commands;
pub mod composer;
pub mod control;
pub mod face;
pub mod fault;
pub mod folder;
mod head;
pub mod picture;
mod serve;
mod state;
#[cfg(test)]
mod tests;

pub use fault::Fault;
pub use picture::{Picture, PictureError, contact_sheet};
pub use state::{Cut, Paper};

use super::net::{Connecting, Connection, Net};
use crate::model::Confirms;
use state::Shared;
use std::io;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::io::DuplexStream;
use tokio::sync::mpsc;
use tokio::task::JoinSet;

/// Bytes of the in-memory wire's buffer in each direction, about what small sockets hold.
const WIRE_BYTES: usize = 4096;
/// Callers that may wait in memory while one prints.
const WAITING_MAX: usize = 16;

/// What kind of printer the galley is.
#[derive(Debug, Clone)]
pub struct GalleyOptions {
    /// Dots across.
    pub dots: usize,
    /// A folder for PNG, text and an index page; it is made if it is not there.
    pub out_dir: Option<PathBuf>,
    /// Head speed in rows a second (80 mm/s at 203 dpi are 640); `None`: as fast as the machine.
    pub rows_a_second: Option<u64>,
    /// What it can confirm. A printer with process ids answers in-line status, too.
    pub confirms: Confirms,
    /// Bytes of its buffer.
    pub buffer_bytes: usize,
    /// When a connection ends, somebody tears off what has been printed but not cut.
    pub tear_at_close: bool,
}

impl Default for GalleyOptions {
    fn default() -> Self {
        Self {
            dots: 576,
            out_dir: None,
            rows_a_second: None,
            confirms: Confirms::ProcessId,
            buffer_bytes: 16 * 1024,
            tear_at_close: false,
        }
    }
}

/// A running galley; it ends when this is dropped.
#[derive(Debug)]
pub struct Galley {
    shared: Arc<Shared>,
    address: Option<SocketAddr>,
    callers: mpsc::Sender<DuplexStream>,
    /// Aborted on drop.
    _tasks: JoinSet<()>,
}

impl Galley {
    /// Starts a galley that listens at `address` (port 0 takes a free one) and in memory.
    ///
    /// # Errors
    /// The address cannot be bound, or the folder cannot be made.
    pub async fn start(address: SocketAddr, options: GalleyOptions) -> io::Result<Self> {
        let listener = serve::listen(address)?;
        let address = listener.local_addr()?;
        let mut galley = Self::offline(options)?;
        galley.address = Some(address);
        galley._tasks.spawn(serve::accept_all(galley.shared.clone(), listener, address));
        Ok(galley)
    }

    /// Starts a galley that is reached only in memory, through [`Galley::net`]: for tests and
    /// simulations with paused time.
    ///
    /// # Errors
    /// The folder cannot be made.
    pub fn offline(options: GalleyOptions) -> io::Result<Self> {
        if let Some(folder) = &options.out_dir {
            std::fs::create_dir_all(folder)?;
        }
        let shared = Arc::new(Shared::new(options));
        let (callers, waiting) = mpsc::channel(WAITING_MAX);
        let mut tasks = JoinSet::new();
        tasks.spawn(head::run(shared.clone()));
        tasks.spawn(serve::serve_memory(shared.clone(), waiting));
        Ok(Self { shared, address: None, callers, _tasks: tasks })
    }

    /// Where it listens; `None` for one in memory.
    pub fn addr(&self) -> Option<SocketAddr> {
        self.address
    }

    /// A network whose every address leads to this galley, in memory.
    pub fn net(&self) -> Arc<dyn Net> {
        Arc::new(MemoryNet { shared: self.shared.clone(), callers: self.callers.clone() })
    }

    /// The papers so far, oldest first (the last 5000 are kept).
    pub fn papers(&self) -> Vec<Paper> {
        self.shared.papers()
    }

    /// Waits until so many papers have been made since the start; gives those that are kept.
    pub async fn wait_for(&self, papers: u64) -> Vec<Paper> {
        self.shared.wait_until(|state| state.made() >= papers).await;
        self.papers()
    }

    /// Injects a fault, beside those that are there.
    pub fn set_fault(&self, fault: Fault) {
        self.shared.set_fault(fault);
    }

    /// Puts in a new roll.
    pub fn load_paper(&self) {
        self.shared.load_paper();
    }

    /// Ends every fault; switches it on again, puts in a new roll.
    pub fn mend(&self) {
        self.shared.mend();
    }

    /// Tears off what is half printed, if anything is.
    pub fn tear_off(&self) {
        self.shared.tear_off();
    }

    /// Obeys one line of the control protocol (see [`control`]).
    ///
    /// # Errors
    /// A sentence that says what was not understood, and what would be.
    pub fn obey(&self, line: &str) -> Result<String, String> {
        control::obey(self, line)
    }
}

struct MemoryNet {
    shared: Arc<Shared>,
    callers: mpsc::Sender<DuplexStream>,
}

impl Net for MemoryNet {
    fn connect<'a>(&'a self, _address: &'a str) -> Connecting<'a> {
        Box::pin(async move {
            if self.shared.is_off() {
                return Err(io::ErrorKind::ConnectionRefused.into());
            }
            let (ours, theirs) = tokio::io::duplex(WIRE_BYTES);
            // Like a backlog: the connection is there before anybody takes it.
            self.callers.try_send(theirs).map_err(|_| io::Error::from(io::ErrorKind::ConnectionRefused))?;
            Ok(Box::new(ours) as Box<dyn Connection>)
        })
    }
}

impl Connection for DuplexStream {
    fn unsent(&self) -> Option<usize> {
        None
    }
}
