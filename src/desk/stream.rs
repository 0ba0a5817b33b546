//! Answers that are too long to be held in memory: written by a thread, piece by piece, as fast as
//! they are read.

use hyper::body::{Body, Bytes, Frame};
use std::io::{self, Write};
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::runtime::Handle;
use tokio::sync::mpsc;

/// Pieces of this size leave.
const PIECE_BYTES: usize = 64 * 1024;
/// Pieces that wait for the reader.
const PIECES_WAITING_MAX: usize = 8;
/// A reader that takes nothing for so long is given up.
const STALL_MAX: Duration = Duration::from_secs(60);

/// The reading end: the body of an answer.
pub struct Lines {
    pieces: mpsc::Receiver<io::Result<Bytes>>,
}

impl Body for Lines {
    type Data = Bytes;
    type Error = io::Error;

    fn poll_frame(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<io::Result<Frame<Bytes>>>> {
        self.pieces.poll_recv(context).map(|piece| piece.map(|piece| piece.map(Frame::data)))
    }
}

/// The writing end, for a thread outside the runtime. Dropped without more it ends the answer.
pub struct LinesOut {
    pieces: mpsc::Sender<io::Result<Bytes>>,
    runtime: Handle,
    waiting: Vec<u8>,
}

/// Breaks an answer off, so that its reader does not take it for whole.
pub struct Breaker {
    pieces: mpsc::Sender<io::Result<Bytes>>,
}

impl Breaker {
    /// Breaks off. A reader that has gone needs not be told.
    pub fn break_off(self, why: &str) {
        let _ = self.pieces.blocking_send(Err(io::Error::other(why.to_owned())));
    }
}

impl LinesOut {
    /// Both ends.
    pub fn new(runtime: Handle) -> (Self, Lines) {
        let (sender, pieces) = mpsc::channel(PIECES_WAITING_MAX);
        (Self { pieces: sender, runtime, waiting: Vec::new() }, Lines { pieces })
    }

    /// For breaking off later.
    pub fn breaker(&self) -> Breaker {
        Breaker { pieces: self.pieces.clone() }
    }
}

impl Write for LinesOut {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.waiting.extend_from_slice(bytes);
        if self.waiting.len() >= PIECE_BYTES {
            self.flush()?;
        }
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        let piece = Bytes::from(std::mem::take(&mut self.waiting));
        let sending = tokio::time::timeout(STALL_MAX, self.pieces.send(Ok(piece)));
        match self.runtime.block_on(sending) {
            Ok(Ok(())) => Ok(()),
            Ok(Err(_)) => Err(io::ErrorKind::BrokenPipe.into()),
            Err(_) => Err(io::ErrorKind::TimedOut.into()),
        }
    }
}
