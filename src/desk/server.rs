//! The desk's two doors: a TCP listener behind a guard, and the Unix socket in the data folder.

use super::Backend;
use super::answer::{Problem, Reply, Wants};
use super::guard::{Entry, Guard};
use super::routes::{self, Door};
use http_body_util::{BodyExt, LengthLimitError, Limited};
use hyper::body::{Body, Bytes, Incoming};
use hyper::header::{self, HeaderName, HeaderValue};
use hyper::service::service_fn;
use hyper::{Request, StatusCode};
use hyper_util::rt::{TokioIo, TokioTimer};
use std::convert::Infallible;
use std::io;
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, UnixListener};
use tokio::sync::{Semaphore, watch};
use tokio::time::{sleep, timeout};

/// The Unix socket's name in the data folder.
pub const SOCKET_NAME: &str = "desk.sock";
/// An action is a few words. Messages from files have the limit of intake, given by the caller.
pub const ACTION_BYTES_MAX: usize = 64 * 1024;
/// So many connections at once on each door; more wait in the backlog.
pub const CONNECTIONS_MAX: u32 = 64;
/// Time for a request's head.
const HEAD_TIME: Duration = Duration::from_secs(10);
/// Time for its body.
const BODY_TIME: Duration = Duration::from_secs(30);
/// Requests that have begun may take so long when the program stops.
const DRAIN_TIME: Duration = Duration::from_secs(5);
/// After a failed accept (no file handles left), wait before the next.
const ACCEPT_PAUSE: Duration = Duration::from_millis(200);

/// Serves people over TCP until `stop` says so; then ends what has begun.
pub async fn serve_tcp<B: Backend>(listener: TcpListener, guard: Guard, backend: Arc<B>, stop: watch::Receiver<bool>) {
    let desk = Desk { backend, guard: Some(guard), body_bytes_max: ACTION_BYTES_MAX };
    serve(desk, stop, || async { listener.accept().await.map(|(stream, _)| stream) }).await;
}

/// Serves the commands over the Unix socket until `stop` says so. `body_bytes_max`: intake's
/// limit of one message, since files come this way.
pub async fn serve_unix<B: Backend>(
    listener: UnixListener,
    body_bytes_max: usize,
    backend: Arc<B>,
    stop: watch::Receiver<bool>,
) {
    let desk = Desk { backend, guard: None, body_bytes_max: body_bytes_max.max(ACTION_BYTES_MAX) };
    serve(desk, stop, || async { listener.accept().await.map(|(stream, _)| stream) }).await;
}

/// One door.
struct Desk<B> {
    backend: Arc<B>,
    /// `None` on the Unix socket.
    guard: Option<Guard>,
    body_bytes_max: usize,
}

async fn serve<B, S, F>(desk: Desk<B>, mut stop: watch::Receiver<bool>, accept: impl Fn() -> F)
where
    B: Backend,
    S: AsyncRead + AsyncWrite + Send + Unpin + 'static,
    F: Future<Output = io::Result<S>>,
{
    let desk = Arc::new(desk);
    let free = Arc::new(Semaphore::new(CONNECTIONS_MAX as usize));
    loop {
        let place = tokio::select! {
            place = free.clone().acquire_owned() => place,
            _ = stopped(&mut stop) => break,
        };
        // The semaphore is never closed; should it be, there is nobody left to serve.
        let Ok(place) = place else { break };
        let stream = tokio::select! {
            stream = accept() => stream,
            _ = stopped(&mut stop) => break,
        };
        let stream = match stream {
            Ok(stream) => stream,
            Err(error) => {
                tracing::warn!(%error, "desk could not accept");
                sleep(ACCEPT_PAUSE).await;
                continue;
            }
        };
        let desk = desk.clone();
        let service = service_fn(move |request| handle(desk.clone(), request));
        let connection = hyper::server::conn::http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_TIME)
            .serve_connection(TokioIo::new(stream), service);
        let mut stop = stop.clone();
        tokio::spawn(async move {
            let mut connection = pin!(connection);
            let ended = tokio::select! {
                ended = connection.as_mut() => ended,
                _ = stopped(&mut stop) => {
                    connection.as_mut().graceful_shutdown();
                    connection.await
                }
            };
            if let Err(error) = ended {
                tracing::debug!(%error, "desk connection ended early");
            }
            drop(place);
        });
    }
    // All places are free again when every connection has ended.
    if timeout(DRAIN_TIME, free.acquire_many(CONNECTIONS_MAX)).await.is_err() {
        tracing::warn!("desk requests were still open at the end");
    }
}

/// Waits for the word to stop; that nobody is left who could say it counts as the word.
async fn stopped(stop: &mut watch::Receiver<bool>) {
    let _ = stop.wait_for(|stopped| *stopped).await;
}

async fn handle<B: Backend>(desk: Arc<Desk<B>>, request: Request<Incoming>) -> Result<Reply, Infallible> {
    let mut reply = admit(desk, request).await;
    for (name, value) in FIXED_HEADERS {
        reply.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    Ok(reply)
}

/// Nothing of a foreign site runs in our pages, nothing of ours is shown in foreign ones, and
/// nothing with a customer's name stays in a cache. `same-origin` as referrer policy, since
/// with `no-referrer` browsers would send `Origin: null` with our own forms.
const FIXED_HEADERS: [(HeaderName, &str); 6] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; style-src 'unsafe-inline'; img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (header::CACHE_CONTROL, "no-store"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (header::X_FRAME_OPTIONS, "DENY"),
];

async fn admit<B: Backend>(desk: Arc<Desk<B>>, request: Request<Incoming>) -> Reply {
    let wants = Wants::of(request.headers());
    if let Some(guard) = &desk.guard {
        let uri = request.uri();
        match guard.check(request.method(), uri.path(), uri.query().unwrap_or(""), request.headers()) {
            Ok(Entry::Open) => {}
            Ok(Entry::SetCookie(cookie)) => {
                let mut reply = routes::see_other("/status");
                // The cookie is hex and fixed words, which a header can always carry.
                if let Ok(cookie) = HeaderValue::from_str(&cookie) {
                    reply.headers_mut().insert(header::SET_COOKIE, cookie);
                }
                return reply;
            }
            Err(problem) => return problem.reply(wants),
        }
    }
    let (head, body) = request.into_parts();
    let body = match read_body(body, desk.body_bytes_max).await {
        Ok(body) => body,
        Err(problem) => return problem.reply(wants),
    };
    let door = if desk.guard.is_some() { Door::Tcp } else { Door::Socket };
    // On its own task: who hangs up does not undo what is being stored.
    let task = tokio::spawn(async move { routes::answer(&*desk.backend, door, Request::from_parts(head, body)).await });
    task.await.unwrap_or_else(|error| {
        tracing::error!(%error, "desk request failed");
        let remedy = "look into the log; nothing is lost by asking again";
        Problem::new(StatusCode::INTERNAL_SERVER_ERROR, "the desk failed on this request", remedy).reply(wants)
    })
}

async fn read_body(body: Incoming, bytes_max: usize) -> Result<Bytes, Problem> {
    let too_large = || {
        let detail = format!("the body is larger than {bytes_max} bytes");
        Problem::new(StatusCode::PAYLOAD_TOO_LARGE, detail, "send less at once")
    };
    if body.size_hint().lower() > bytes_max as u64 {
        return Err(too_large());
    }
    match timeout(BODY_TIME, Limited::new(body, bytes_max).collect()).await {
        Ok(Ok(body)) => Ok(body.to_bytes()),
        Ok(Err(error)) if error.is::<LengthLimitError>() => Err(too_large()),
        Ok(Err(_)) => Err(Problem::bad("the body broke off", "send it again")),
        Err(_) => Err(Problem::new(StatusCode::REQUEST_TIMEOUT, "the body did not arrive in time", "send it again")),
    }
}
