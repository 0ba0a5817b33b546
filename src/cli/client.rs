//! The desk as commands see it: through the Unix socket of the daemon, or, for reading, in
//! the data folder itself while no daemon runs.

use super::screen::{Fault, Screen};
use super::{Ended, Folders, Outcome, wiring};
use crate::book::{Action, Answer, OpenOrder, Stamped};
use crate::desk::routes::{Door, NEEDS_YOU, answer};
use crate::desk::server::SOCKET_NAME;
use crate::desk::{Backend, Busy, Forgot, NoPaper, PaperForm, PaperWanted, ReadState, Remapped, TakenIn};
use crate::model::{OrderKey, SourceName};
use http_body_util::{BodyExt, Full, Limited};
use hyper::body::{Body, Bytes, Incoming};
use hyper::header::{ACCEPT, CONTENT_TYPE, HOST};
use hyper::{Method, Request, Response, StatusCode};
use hyper_util::rt::TokioIo;
use jiff::Timestamp;
use serde_json::Value;
use std::future::Future;
use std::io::ErrorKind;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::UnixStream;

/// An answer is at most so large (a picture of a long pick list).
const ANSWER_BYTES_MAX: usize = 64 * 1024 * 1024;
/// The daemon answers within this time, or something is wrong with it.
const ANSWER_TIME: Duration = Duration::from_secs(60);

/// In which form a command wants its answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// For people.
    Text,
    /// For programs.
    Json,
}

impl From<&Folders> for Form {
    fn from(at: &Folders) -> Self {
        if at.json { Self::Json } else { Self::Text }
    }
}

/// Reads the facts about an order.
pub type ReadHistory = Box<dyn Fn(&OrderKey) -> Vec<Stamped> + Send + Sync>;
/// Shows a paper in a form.
pub type ShowPaper = Box<dyn Fn(PaperWanted, PaperForm) -> Result<Bytes, NoPaper> + Send + Sync>;

/// A data folder without a daemon: reads all, changes nothing.
pub struct Folder {
    /// What the desk shows.
    pub read: Arc<ReadState>,
    /// The present instant.
    pub now: Timestamp,
    /// The facts about an order.
    pub history: ReadHistory,
    /// Shows a paper.
    pub paper: ShowPaper,
}

fn not_running() -> Busy {
    Busy { why: "no daemon runs on this data".into(), remedy: "start it: dawnslip run".into() }
}

impl Backend for Folder {
    fn now(&self) -> Timestamp {
        self.now
    }
    fn read(&self) -> Arc<ReadState> {
        self.read.clone()
    }
    async fn act(&self, _: Action) -> Result<Answer, Busy> {
        Err(not_running())
    }
    async fn forget(&self, _: OrderKey, _: OpenOrder) -> Result<Forgot, Busy> {
        Err(not_running())
    }
    async fn history(&self, order: &OrderKey) -> Vec<Stamped> {
        (self.history)(order)
    }
    async fn paper(&self, what: PaperWanted, form: PaperForm) -> Result<Bytes, NoPaper> {
        (self.paper)(what, form)
    }
    async fn reload(&self) -> Result<String, Vec<String>> {
        Err(vec![not_running().why])
    }
    async fn remap(&self, _: Option<SourceName>) -> Result<Remapped, Busy> {
        Err(not_running())
    }
    async fn take_in(&self, _: SourceName, _: Bytes) -> Result<TakenIn, Busy> {
        Err(not_running())
    }
}

/// What the desk answered.
#[derive(Debug)]
pub struct Reply {
    /// The status code.
    pub status: StatusCode,
    /// The body.
    pub body: Bytes,
    /// Of `/status`: how many things need a person.
    pub needs_you: usize,
}

impl Reply {
    /// The body as text.
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// Refused by the desk: what a problem document says, in words for people.
    pub fn refusal(&self) -> Option<Fault> {
        if self.status.is_success() {
            return None;
        }
        let document: Value = serde_json::from_slice(&self.body).unwrap_or(Value::Null);
        let field = |name: &str| document[name].as_str().unwrap_or("").to_owned();
        let list = |name: &str| -> Vec<String> {
            document[name].as_array().into_iter().flatten().filter_map(|v| v.as_str().map(str::to_owned)).collect()
        };
        let what = match field("detail") {
            detail if detail.is_empty() => format!("the desk answered {}", self.status),
            detail => detail,
        };
        Some(Fault { what, why: list("complaints").join("\n"), remedy: vec![field("do")] })
    }
}

/// Where questions go.
enum Desk {
    Socket(UnixStream),
    Folder(Folder),
}

/// Reads a page, from the daemon or, without one, from the data folder.
///
/// # Errors
/// Where neither can be opened, or the desk refuses.
pub fn read(at: &Folders, path: &str, accept: &str) -> Result<Reply, Fault> {
    wait(async {
        let desk = match connect(&at.data).await? {
            Some(stream) => Desk::Socket(stream),
            None => Desk::Folder(wiring::open_offline(at)?),
        };
        let reply = ask(desk, request(Method::GET, path, accept, None)?).await?;
        reply.refusal().map_or(Ok(reply), Err)
    })
}

/// Reads a page and shows it.
///
/// # Errors
/// As [`read`].
pub fn show(at: &Folders, screen: &Screen, path: &str) -> Ended {
    let reply = read(at, path, accept(at.into()))?;
    screen.say(&reply.text());
    Ok(Outcome::Well)
}

/// `Accept` for a form.
pub fn accept(form: Form) -> &'static str {
    match form {
        Form::Text => "text/plain",
        Form::Json => "application/json",
    }
}

/// Sends an action to the daemon.
///
/// # Errors
/// Where no daemon runs, or the desk refuses.
pub fn act(at: &Folders, path: &str, body: &Value) -> Result<Reply, Fault> {
    wait(async { send(at, path, body.to_string().into()).await })
}

/// Likewise, for what takes its time.
///
/// # Errors
/// As [`act`].
pub fn act_slowly(at: &Folders, path: &str, within: Duration) -> Result<Option<Reply>, Fault> {
    wait(async {
        let Some(stream) = connect(&at.data).await? else { return Ok(None) };
        let request = request(Method::POST, path, accept(at.into()), Some(Bytes::from_static(b"{}")))?;
        let reply = within_time(within, over_socket(stream, request)).await?;
        reply.refusal().map_or(Ok(Some(reply)), Err)
    })
}

/// Reads an answer of any length piece by piece; false where no daemon runs.
///
/// # Errors
/// Where the desk refuses, the answer breaks off, or `take` fails.
pub fn read_long(at: &Folders, path: &str, mut take: impl FnMut(&[u8]) -> Result<(), Fault>) -> Result<bool, Fault> {
    wait(async {
        let Some(stream) = connect(&at.data).await? else { return Ok(false) };
        let response = respond(stream, request(Method::GET, path, "*/*", None)?).await?;
        if !response.status().is_success() {
            let refused = collect(response).await?.refusal();
            return refused.map_or(Ok(true), Err);
        }
        let mut body = response.into_body();
        while let Some(frame) = body.frame().await {
            let frame = frame.map_err(|error| {
                let remedy = "look into the daemon's log: it says why; then try again";
                Fault::new("the answer broke off", error.to_string(), remedy)
            })?;
            if let Some(bytes) = frame.data_ref() {
                take(bytes)?;
            }
        }
        Ok(true)
    })
}

/// Sends an action and tells what the desk said.
///
/// # Errors
/// As [`act`].
pub fn tell(at: &Folders, screen: &Screen, path: &str, body: &Value) -> Ended {
    screen.say(&act(at, path, body)?.text());
    Ok(Outcome::Well)
}

/// Sends the same action about each of several, tells each, and goes on where one is refused.
///
/// # Errors
/// Where no daemon runs.
pub fn tell_each(at: &Folders, screen: &Screen, each: &[String], path: impl Fn(&str) -> String, body: &Value) -> Ended {
    let mut outcome = Outcome::Well;
    for one in each {
        let reply = wait(exchange(at, &path(&crate::desk::form::encode(one)), body.to_string().into()))?;
        match reply.refusal() {
            None if each.len() > 1 && !at.json => screen.say(&format!("{one}: {}", reply.text())),
            None => screen.say(&reply.text()),
            Some(mut fault) => {
                if each.len() > 1 {
                    fault.what = format!("{one}: {}", fault.what);
                }
                screen.fault(&fault);
                outcome = Outcome::Problem;
            }
        }
    }
    Ok(outcome)
}

/// Sends a body as it is to the daemon.
///
/// # Errors
/// As [`act`].
pub async fn send(at: &Folders, path: &str, body: Bytes) -> Result<Reply, Fault> {
    let reply = exchange(at, path, body).await?;
    reply.refusal().map_or(Ok(reply), Err)
}

/// Likewise, but a refusal is a reply, too.
///
/// # Errors
/// Where no daemon runs.
pub async fn exchange(at: &Folders, path: &str, body: Bytes) -> Result<Reply, Fault> {
    let Some(stream) = connect(&at.data).await? else {
        let start = format!("start it: dawnslip run --config {} --data {}", at.config.display(), at.data.display());
        return Err(Fault::new("nothing was changed", format!("no daemon runs on {}", at.data.display()), start));
    };
    ask(Desk::Socket(stream), request(Method::POST, path, accept(at.into()), Some(body))?).await
}

/// Runs one exchange on this thread.
///
/// # Errors
/// Those of the exchange, and where the machine gives no runtime.
pub fn wait<T>(exchange: impl Future<Output = Result<T, Fault>>) -> Result<T, Fault> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|error| {
        Fault::new("the command could not begin", error.to_string(), "look whether the machine has file handles left")
    })?;
    runtime.block_on(exchange)
}

/// A connection to the daemon; `None` where none runs.
async fn connect(data: &Path) -> Result<Option<UnixStream>, Fault> {
    let socket = data.join(SOCKET_NAME);
    match UnixStream::connect(&socket).await {
        Ok(stream) => Ok(Some(stream)),
        // No file, or one that a killed daemon left behind.
        Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::ConnectionRefused) => Ok(None),
        Err(error) => Err(Fault::new(
            format!("the desk at {} cannot be reached", socket.display()),
            error.to_string(),
            "run it as the user that runs the daemon, or name its data folder: --data DIR",
        )),
    }
}

fn request(method: Method, path: &str, accept: &str, body: Option<Bytes>) -> Result<Request<Bytes>, Fault> {
    let builder = Request::builder().method(method).uri(path).header(HOST, "localhost").header(ACCEPT, accept);
    let builder = if body.is_some() { builder.header(CONTENT_TYPE, "application/json") } else { builder };
    builder.body(body.unwrap_or_default()).map_err(|error| {
        Fault::new("this cannot be asked", error.to_string(), "look at what you typed: it may be too long")
    })
}

async fn ask(desk: Desk, request: Request<Bytes>) -> Result<Reply, Fault> {
    match desk {
        Desk::Folder(folder) => collect(answer(&folder, Door::Socket, request).await).await,
        Desk::Socket(stream) => within_time(ANSWER_TIME, over_socket(stream, request)).await,
    }
}

async fn within_time<T>(within: Duration, exchange: impl Future<Output = Result<T, Fault>>) -> Result<T, Fault> {
    tokio::time::timeout(within, exchange).await.unwrap_or_else(|_| {
        let why = format!("nothing came within {} s", within.as_secs());
        Err(Fault::new("the daemon does not answer", why, "look into its log; asking again is safe"))
    })
}

async fn over_socket(stream: UnixStream, request: Request<Bytes>) -> Result<Reply, Fault> {
    collect(respond(stream, request).await?).await
}

async fn respond(stream: UnixStream, request: Request<Bytes>) -> Result<Response<Incoming>, Fault> {
    let broken = |error: hyper::Error| {
        Fault::new("the daemon hung up", error.to_string(), "look into its log; asking again is safe")
    };
    let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(broken)?;
    // Ends by itself when the answer is read; its error shows at the sender's side, too.
    tokio::spawn(async move {
        let _ = connection.await;
    });
    sender.send_request(request.map(Full::new)).await.map_err(broken)
}

async fn collect<B>(response: Response<B>) -> Result<Reply, Fault>
where
    B: Body<Data = Bytes>,
    B::Error: Into<Box<dyn std::error::Error + Send + Sync>>,
{
    let status = response.status();
    let needs_you = response.headers().get(NEEDS_YOU).and_then(|v| v.to_str().ok()?.parse().ok()).unwrap_or(0);
    let body = Limited::new(response.into_body(), ANSWER_BYTES_MAX).collect().await;
    let body = body.map_err(|error| Fault::new("the answer broke off", error.to_string(), "ask again"))?;
    Ok(Reply { status, body: body.to_bytes(), needs_you })
}
