//! Connections to the galley: one prints, others wait.

use super::fault::Break;
use super::state::Shared;
use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, DuplexStream};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::sync::mpsc;

/// Small, so that back-pressure is felt as with a real printer.
const RECEIVE_BUFFER_BYTES: u32 = 4096;
/// Read at once.
const READ_BYTES: usize = 1024;
/// Callers in the backlog.
const BACKLOG: u32 = 16;
/// Pause before an address that is still taken is tried again.
const AGAIN: Duration = Duration::from_millis(100);

/// A connection that can be broken.
trait Wire: AsyncRead + AsyncWrite + Unpin {
    /// Lets the other side see a reset instead of an orderly end.
    fn make_reset(&mut self);
}

impl Wire for TcpStream {
    fn make_reset(&mut self) {
        // If that fails the connection ends in an orderly way instead.
        let _ = self.set_zero_linger();
    }
}

impl Wire for DuplexStream {
    fn make_reset(&mut self) {}
}

/// Binds with small buffers.
pub(super) fn listen(address: SocketAddr) -> io::Result<TcpListener> {
    let socket = if address.is_ipv4() { TcpSocket::new_v4()? } else { TcpSocket::new_v6()? };
    socket.set_reuseaddr(true)?;
    socket.set_recv_buffer_size(RECEIVE_BUFFER_BYTES)?;
    socket.bind(address)?;
    socket.listen(BACKLOG)
}

/// Serves one caller after the other; while it is off nobody listens.
pub(super) async fn accept_all(shared: Arc<Shared>, listener: TcpListener, address: SocketAddr) {
    let mut listener = Some(listener);
    loop {
        let Some(open) = &listener else {
            shared.wait_until(|state| !state.wrong.off).await;
            match listen(address) {
                Ok(again) => listener = Some(again),
                Err(error) => {
                    tracing::warn!(%address, %error, "galley cannot listen yet");
                    tokio::time::sleep(AGAIN).await;
                }
            }
            continue;
        };
        tokio::select! {
            accepted = open.accept() => match accepted {
                Ok((stream, _)) => serve(&shared, stream).await,
                Err(error) => {
                    tracing::warn!(%error, "galley cannot accept");
                    tokio::time::sleep(AGAIN).await;
                }
            },
            () = shared.wait_until(|state| state.wrong.off) => {}
        }
        if shared.is_off() {
            listener = None;
        }
    }
}

/// The same in memory.
pub(super) async fn serve_memory(shared: Arc<Shared>, mut callers: mpsc::Receiver<DuplexStream>) {
    while let Some(stream) = callers.recv().await {
        if !shared.is_off() {
            serve(&shared, stream).await;
        }
    }
}

async fn serve(shared: &Shared, mut stream: impl Wire) {
    let mut replies = shared.open();
    let mut room = [0; READ_BYTES];
    loop {
        let armed = shared.lock().wrong.break_after;
        if let Some((0, how)) = armed {
            shared.lock().wrong.break_after = None;
            if how == Break::Reset {
                stream.make_reset();
            }
            break;
        }
        if shared.is_off() {
            stream.make_reset();
            break;
        }
        // Not one byte beyond the place where it breaks is read.
        let limit = armed.map_or(READ_BYTES, |(left, _)| READ_BYTES.min(usize::try_from(left).unwrap_or(READ_BYTES)));
        let broken_now =
            |state: &super::state::State| state.wrong.off || state.wrong.break_after.is_some() != armed.is_some();
        tokio::select! {
            biased;
            () = shared.wait_until(broken_now) => {}
            reply = replies.recv() => match reply {
                Some(bytes) if stream.write_all(&bytes).await.is_ok() => {}
                _ => break,
            },
            read = read_with_room(shared, &mut stream, &mut room[..limit]) => match read {
                Ok(count) if count > 0 => {
                    if let Some((left, _)) = &mut shared.lock().wrong.break_after {
                        *left = left.saturating_sub(count as u64);
                    }
                    shared.take_in(&room[..count]);
                }
                _ => break,
            },
        }
    }
    shared.close();
}

/// Reads as soon as the buffer has room.
async fn read_with_room(shared: &Shared, stream: &mut impl Wire, room: &mut [u8]) -> io::Result<usize> {
    shared.wait_until(|state| shared.has_room(state)).await;
    stream.read(room).await
}
