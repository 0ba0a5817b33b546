//! The seam to the network: a connection to a printer, the real one over TCP.

use std::future::Future;
use std::io;
use std::pin::Pin;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpSocket, TcpStream};

/// Bytes of the socket's send buffer (the kernel doubles it). Small, so that a printer that
/// does not take our bytes is noticed while most of the job is still in the house (PAPER 3).
pub const SEND_BUFFER_BYTES: u32 = 4096;

/// Idle time after which keep-alive probes begin, between probes, and probes before giving up:
/// a printer that was switched off is noticed after about a minute.
const KEEP_ALIVE: (Duration, Duration, u32) = (Duration::from_secs(20), Duration::from_secs(10), 4);

/// A connection to a printer.
pub trait Connection: AsyncRead + AsyncWrite + Send + Unpin {
    /// Bytes in the socket's own queue that the other side has not acknowledged, if that can be known.
    fn unsent(&self) -> Option<usize>;

    /// Acknowledges at once what was read. Heads answer in small pieces and hold each back until
    /// the one before is acknowledged; systems wait 40 ms with that, and a paper waits for its answer.
    fn acknowledge(&self) {}
}

/// What [`Net::connect`] gives.
pub type Connecting<'a> = Pin<Box<dyn Future<Output = io::Result<Box<dyn Connection>>> + Send + 'a>>;

/// Makes connections.
pub trait Net: Send + Sync {
    /// Connects to `host:port`. Errors are the system's; the caller keeps the time.
    fn connect<'a>(&'a self, address: &'a str) -> Connecting<'a>;
}

/// The real network.
#[derive(Debug, Clone, Copy, Default)]
pub struct TcpNet;

impl Net for TcpNet {
    fn connect<'a>(&'a self, address: &'a str) -> Connecting<'a> {
        Box::pin(async move {
            let mut last = io::Error::new(io::ErrorKind::NotFound, "the name has no address");
            for address in tokio::net::lookup_host(address).await? {
                let socket = if address.is_ipv4() { TcpSocket::new_v4()? } else { TcpSocket::new_v6()? };
                socket.set_send_buffer_size(SEND_BUFFER_BYTES)?;
                socket.set_nodelay(true)?;
                set_keep_alive(&socket)?;
                match socket.connect(address).await {
                    Ok(stream) => return Ok(Box::new(stream) as Box<dyn Connection>),
                    Err(error) => last = error,
                }
            }
            Err(last)
        })
    }
}

/// No user time-out is set beside it: on Linux that would also end the connection to a printer
/// that only waits for a new roll with its window closed.
fn set_keep_alive(socket: &TcpSocket) -> io::Result<()> {
    use rustix::net::sockopt;
    let (idle, between, probes) = KEEP_ALIVE;
    socket.set_keepalive(true)?;
    sockopt::set_tcp_keepidle(socket, idle)?;
    sockopt::set_tcp_keepintvl(socket, between)?;
    sockopt::set_tcp_keepcnt(socket, probes)?;
    Ok(())
}

impl Connection for TcpStream {
    #[cfg(target_os = "linux")]
    fn unsent(&self) -> Option<usize> {
        use rustix::ioctl::{Getter, Opcode, ioctl};
        /// `SIOCOUTQ` of `linux/sockios.h` (the number of `TIOCOUTQ`).
        const UNSENT_QUEUE: Opcode = 0x5411;
        // SAFETY: on a TCP socket this request writes exactly one C int, which is what the getter reserves.
        let bytes = unsafe { ioctl(self, Getter::<UNSENT_QUEUE, std::ffi::c_int>::new()) };
        bytes.ok().and_then(|count| usize::try_from(count).ok())
    }

    #[cfg(target_os = "linux")]
    fn acknowledge(&self) {
        // It is only slower without.
        let _ = rustix::net::sockopt::set_tcp_quickack(self, true);
    }

    #[cfg(not(target_os = "linux"))]
    fn unsent(&self) -> Option<usize> {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    #[tokio::test]
    async fn bytes_that_the_other_side_does_not_take_are_seen_in_the_queue() {
        let listener = TcpSocket::new_v4().unwrap();
        listener.set_recv_buffer_size(4096).unwrap();
        listener.bind("127.0.0.1:0".parse().unwrap()).unwrap();
        let listener = listener.listen(1).unwrap();
        let mut ours = TcpNet.connect(&listener.local_addr().unwrap().to_string()).await.unwrap();
        let (mut theirs, _) = listener.accept().await.unwrap();

        let mut handed = 0;
        while let Ok(count) = tokio::time::timeout(Duration::from_millis(200), ours.write(&[0; 2048])).await {
            handed += count.unwrap();
        }
        assert!(handed < 100_000, "small buffers on both sides hold little, not {handed} bytes");
        assert!(ours.unsent().is_some_and(|count| count > 0));

        let mut room = vec![0; handed];
        theirs.read_exact(&mut room).await.unwrap();
        for _ in 0..100 {
            if ours.unsent() == Some(0) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        panic!("the queue did not empty: {:?}", ours.unsent());
    }

    /// Of a connection on which both sides talk in turn, the system would hold an acknowledgement back.
    #[cfg(target_os = "linux")]
    #[tokio::test]
    async fn what_was_read_is_acknowledged_at_once() {
        use crate::print::{driver::Event, worker::exchange};
        use rustix::net::sockopt;
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let mut ours = TcpStream::connect(listener.local_addr().unwrap()).await.unwrap();
        let (mut theirs, _) = listener.accept().await.unwrap();
        let mut room = [0; 8];
        for answer in [b"one", b"two"] {
            sockopt::set_tcp_quickack(&ours, false).unwrap();
            assert!(!sockopt::tcp_quickack(&ours).unwrap(), "the system holds nothing back");
            theirs.write_all(answer).await.unwrap();
            let read = exchange(&mut ours, &[], &mut room).await;
            assert!(matches!(read, Event::Read(bytes) if bytes == answer), "{read:?}");
            assert!(sockopt::tcp_quickack(&ours).unwrap());
        }
    }
}
