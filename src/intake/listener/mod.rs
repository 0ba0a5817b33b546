//! The public listener: HTTP/1.1 with keep-alive, `POST /intake/{source}`, limits on
//! everything that a stranger can spend.

mod bucket;
mod counters;
mod places;
mod problem;
mod request;

pub use counters::Counters;
pub use problem::{Problem, Reason, Reply};

use super::sources::Sources;
use crate::book::{Answer, Busy, Received};
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use jiff::Timestamp;
use places::{Entry, Places, Seat};
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};
use tokio::time::{Instant, sleep, timeout};

/// Bytes of a request's head; hyper answers 431 beyond.
const HEAD_BYTES_MAX: usize = 32 * 1024;
/// Wait after a failed accept (no file descriptors left), so as not to spin.
const ACCEPT_PAUSE: Duration = Duration::from_millis(100);
/// So many of those that are turned away are listened to.
const LINGERING_MAX: usize = 64;
/// Time for a question to come, and again for its rest.
const LINGER_TIME: Duration = Duration::from_secs(1);

/// Takes messages on behalf of the book. Its future ends only when the ledger has synced.
pub trait Receiver: Send + Sync + 'static {
    /// Hands one verified message on.
    fn receive(&self, received: Received) -> Pending;
}

/// What [`Receiver::receive`] returns.
pub type Pending = Pin<Box<dyn Future<Output = Result<Answer, Busy>> + Send>>;

/// A constant word for logs.
fn word(busy: Busy) -> &'static str {
    match busy {
        Busy::Behind => "behind",
        Busy::NoRoom => "no_room",
        Busy::Stopping => "stopping",
    }
}

/// Each reason for being busy is a 503 with Retry-After.
fn problem(busy: Busy) -> Problem {
    let (seconds, detail) = match busy {
        Busy::Behind => (2, "many messages are being stored; send it again"),
        Busy::NoRoom => (60, "it cannot be kept at present; send it again later"),
        Busy::Stopping => (10, "this is being restarted; send it again"),
    };
    Problem { retry_after: Some(seconds), ..Problem::new(Reason::Busy, detail) }
}

/// Reads the time; the system's or a simulated one.
pub type Now = Arc<dyn Fn() -> Timestamp + Send + Sync>;

/// What all connections share.
pub struct Intake {
    sources: Arc<Sources>,
    receiver: Arc<dyn Receiver>,
    now: Now,
    counters: Arc<Counters>,
    buckets: bucket::Buckets,
    places: Arc<Places>,
    lingering: Arc<Semaphore>,
    stopping: AtomicBool,
    /// Each message that is being stored holds one of its receivers.
    storing: watch::Sender<()>,
}

/// How a listener ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stopped {
    /// Every request was answered.
    Clean,
    /// Some had to be cut off; what was answered is on the disk.
    Late,
}

impl Intake {
    /// Puts the parts together; nothing runs yet.
    pub fn new(sources: Arc<Sources>, receiver: Arc<dyn Receiver>, now: Now) -> Arc<Self> {
        Arc::new(Self {
            sources,
            receiver,
            now,
            counters: Arc::default(),
            buckets: bucket::Buckets::default(),
            places: Arc::default(),
            lingering: Arc::new(Semaphore::new(LINGERING_MAX)),
            stopping: AtomicBool::new(false),
            storing: watch::channel(()).0,
        })
    }
    /// Counts for the desk.
    pub fn counters(&self) -> Arc<Counters> {
        self.counters.clone()
    }
    fn open_tasks(&self) -> watch::Receiver<()> {
        self.storing.subscribe()
    }

    /// Serves until `stop` ends, then drains: no new connections, requests that have begun
    /// are answered, what is being stored is stored, all within `grace`.
    pub async fn serve(
        self: Arc<Self>,
        listener: TcpListener,
        stop: impl Future<Output = ()>,
        grace: Duration,
    ) -> Stopped {
        let graceful = GracefulShutdown::new();
        let mut stop = std::pin::pin!(stop);
        loop {
            tokio::select! {
                () = &mut stop => break,
                accepted = listener.accept() => match accepted {
                    Ok((stream, _)) => self.admit(stream, &graceful),
                    Err(error) => {
                        tracing::warn!(error = %error, "accepting a connection failed");
                        sleep(ACCEPT_PAUSE).await;
                    }
                }
            }
        }
        drop(listener);
        self.stopping.store(true, Ordering::Relaxed);
        let drained = timeout(grace, async {
            graceful.shutdown().await;
            self.storing.closed().await;
        });
        match drained.await {
            Ok(()) => Stopped::Clean,
            Err(_) => Stopped::Late,
        }
    }

    /// Gives a connection its place and serves it beside the others.
    fn admit(self: &Arc<Self>, stream: TcpStream, graceful: &GracefulShutdown) {
        let limits = self.sources.now().limits.clone();
        let seat = match self.places.enter(limits.connections, Instant::now()) {
            Entry::Free(seat) => seat,
            Entry::InsteadOf(seat) => {
                Counters::count(&self.counters.gave_way);
                seat
            }
            Entry::Full => {
                self.counters.refuse(Reason::Busy);
                tokio::spawn(turn_away(stream, self.lingering.clone()));
                return;
            }
        };
        let seat = Arc::new(seat);
        // Answers are small and single: waiting to fill a packet only delays them.
        let _ = stream.set_nodelay(true);
        let (intake, place) = (self.clone(), seat.clone());
        let service = service_fn(move |request| {
            let (intake, place) = (intake.clone(), place.clone());
            async move { Ok::<_, Infallible>(request::answer(intake, place, request).await) }
        });
        let connection = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(limits.header_time.unsigned_abs())
            .max_buf_size(HEAD_BYTES_MAX)
            .half_close(true)
            .serve_connection(TokioIo::new(stream), service);
        let watched = graceful.watch(connection);
        tokio::spawn(async move {
            serve_one(watched, &seat).await;
        });
    }
}

async fn serve_one(connection: impl Future<Output = hyper::Result<()>>, seat: &Seat) {
    tokio::select! {
        served = connection => if let Err(error) = served {
            // Broken framing, a head that never ended, a client that went away.
            tracing::debug!(error = %error, "connection ended");
        },
        () = seat.must_leave() => tracing::debug!("connection gave way"),
    }
}

/// Every place is being worked for: says so without looking at what comes. If few enough are being
/// turned away, in good manners: an answer ahead of its question, or a connection closed with
/// something unread, looks to many clients as if it had broken.
async fn turn_away(mut stream: TcpStream, lingering: Arc<Semaphore>) {
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    let body = "{\"title\":\"Nothing can be kept at the moment\",\"status\":503,\"detail\":\"too many connections\"}\n";
    let answer = format!(
        "HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/problem+json\r\nRetry-After: 2\r\n\
         Connection: close\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let mut unread = [0; 4096];
    let permit = lingering.try_acquire();
    if permit.is_ok() {
        // Who asks nothing for so long is told all the same.
        let _ = timeout(LINGER_TIME, stream.read(&mut unread)).await;
    }
    // It is being turned away; whether it hears why is its own affair.
    let told = timeout(ACCEPT_PAUSE, async {
        stream.write_all(answer.as_bytes()).await?;
        stream.shutdown().await
    });
    if matches!(told.await, Ok(Ok(()))) && permit.is_ok() {
        let rest = async { while matches!(stream.read(&mut unread).await, Ok(1..)) {} };
        let _ = timeout(LINGER_TIME, rest).await;
    }
}
