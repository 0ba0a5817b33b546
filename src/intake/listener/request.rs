//! One request: every check in its order, cheapest first, and nothing is parsed before its
//! signature was believed.

use super::problem::{Problem, Reason, Reply, kept, outcome_word};
use super::{Intake, problem, word};
use crate::book::{Answer, Busy, Novelty};
use crate::intake::signature::Verified;
use crate::intake::sources::{OpenSource, SourceTable};
use bytes::Bytes;
use http_body_util::{BodyExt, LengthLimitError, Limited};
use hyper::body::{Body, Incoming};
use hyper::header::{CONTENT_ENCODING, CONTENT_LENGTH, CONTENT_TYPE, EXPECT, HeaderMap};
use hyper::{Method, Request};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::time::{Instant, timeout};

use super::counters::Counters;
use super::places::Seat;

/// Where messages are sent to, before the source's name.
const PATH: &str = "/intake/";
/// Bytes of a refused body that are still read, so that the refusal reaches its sender
/// before the connection closes.
const DISCARD_BYTES_MAX: usize = 8 * 1024 * 1024;
/// Time for that.
const DISCARD_TIME_MAX: Duration = Duration::from_secs(5);

/// Answers one request. Never fails: whatever is wrong becomes a problem document.
pub(super) async fn answer(intake: Arc<Intake>, seat: Arc<Seat>, request: Request<Incoming>) -> Reply {
    let table = intake.sources.now();
    let reply = match take_in(&intake, &table, &seat, request).await {
        Ok(reply) => reply,
        Err(problem) => {
            intake.counters.refuse(problem.reason);
            problem.reply()
        }
    };
    seat.waits(Instant::now());
    reply
}

async fn take_in(
    intake: &Arc<Intake>,
    table: &Arc<SourceTable>,
    seat: &Seat,
    request: Request<Incoming>,
) -> Result<Reply, Problem> {
    let (head, body) = request.into_parts();
    let limit = table.limits.body_bytes;
    let source = match admit(intake, table, head.uri.path(), &head.method, &head.headers, limit) {
        Ok(source) => source.clone(),
        Err(problem) => {
            discard(&head.headers, body);
            return Err(problem);
        }
    };
    let body_time = table.limits.body_time.unsigned_abs();
    let body = read(body, limit, body_time).await.inspect_err(|problem| {
        tracing::info!(source = %source.name, reason = problem.reason.word(), "message refused");
    })?;
    seat.works();

    let now = (intake.now)();
    let verified = source.verify(&head.headers, &body, now).map_err(|refusal| {
        tracing::warn!(source = %source.name, reason = refusal.word(), "signature refused");
        Problem::new(Reason::Signature, refusal.to_string())
    })?;
    intake.buckets.take(&source.name.0, table.limits.per_minute, Instant::now()).map_err(|seconds| {
        tracing::warn!(source = %source.name, reason = Reason::TooMany.word(), "message refused");
        let detail = format!("this source may send {} messages a minute", table.limits.per_minute);
        Problem { retry_after: Some(seconds), ..Problem::new(Reason::TooMany, detail) }
    })?;
    store(intake, table, source, verified, body).await
}

/// Everything that can be decided before the body is read.
fn admit<'t>(
    intake: &Intake,
    table: &'t SourceTable,
    path: &str,
    method: &Method,
    headers: &HeaderMap,
    limit: usize,
) -> Result<&'t Arc<OpenSource>, Problem> {
    let name = path.strip_prefix(PATH).unwrap_or("");
    let source = table.get(name).ok_or_else(|| {
        Problem::new(
            Reason::Unknown,
            "messages go to /intake/SOURCE, with the name of a source that is configured here",
        )
    })?;
    if method != Method::POST {
        return Err(Problem::new(Reason::Method, "messages are sent by POST"));
    }
    if intake.stopping.load(Ordering::Relaxed) {
        return Err(problem(Busy::Stopping));
    }
    media_type(headers)?;
    let announced = headers.get(CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse::<u64>().ok());
    if announced.is_some_and(|length| length > limit as u64) {
        return Err(too_large(limit));
    }
    Ok(source)
}

/// JSON in UTF-8, not compressed (RFC 8259, section 8.1; RFC 6839 for `+json`).
fn media_type(headers: &HeaderMap) -> Result<(), Problem> {
    let refuse = |detail: &str| Err(Problem::new(Reason::MediaType, detail));
    if headers.get(CONTENT_ENCODING).is_some_and(|coding| !coding.as_bytes().eq_ignore_ascii_case(b"identity")) {
        return refuse("send the body as it is, without Content-Encoding");
    }
    let mut values = headers.get_all(CONTENT_TYPE).iter();
    let (Some(value), None) = (values.next(), values.next()) else {
        return refuse("one Content-Type is needed: application/json");
    };
    let text = value.to_str().unwrap_or("").to_ascii_lowercase();
    let mut parts = text.split(';').map(str::trim);
    let essence = parts.next().unwrap_or("");
    let json = essence == "application/json" || essence.ends_with("+json") && essence.contains('/');
    if !json {
        return refuse("send JSON: Content-Type: application/json (or application/ld+json, or another +json)");
    }
    let mut charsets = parts.filter_map(|part| part.strip_prefix("charset=")).map(|charset| charset.trim_matches('"'));
    if charsets.any(|charset| !matches!(charset, "utf-8" | "utf8")) {
        return refuse("send UTF-8; JSON has no other charset (RFC 8259)");
    }
    Ok(())
}

fn too_large(limit: usize) -> Problem {
    Problem::new(Reason::TooLarge, format!("at most {limit} bytes are read"))
}

/// The whole body, if it is not too large and not too slow.
async fn read(body: Incoming, limit: usize, time: Duration) -> Result<Bytes, Problem> {
    match timeout(time, Limited::new(body, limit).collect()).await {
        Ok(Ok(body)) => Ok(body.to_bytes()),
        Ok(Err(error)) if error.is::<LengthLimitError>() => Err(too_large(limit)),
        Ok(Err(_)) => {
            Err(Problem::new(Reason::Malformed, "the body broke off, or its framing is wrong; send it again"))
        }
        Err(_) => {
            let detail = format!("the body must be here within {} s", time.as_secs());
            Err(Problem::new(Reason::Slow, detail))
        }
    }
}

/// Reads on for a while beside the answer and forgets what it reads: a sender that is
/// still writing would otherwise see a reset connection in place of the refusal.
fn discard(headers: &HeaderMap, body: Incoming) {
    // Who expects "100 Continue" has not begun to send, and reading would tell it to.
    if body.is_end_stream() || headers.contains_key(EXPECT) {
        return;
    }
    tokio::spawn(async move {
        let mut body = Limited::new(body, DISCARD_BYTES_MAX);
        let all = async { while let Some(Ok(_)) = body.frame().await {} };
        // What is not here by then is cut off, as intended.
        let _ = timeout(DISCARD_TIME_MAX, all).await;
    });
}

/// Maps the message and hands it on, detached from the connection: a client that hangs up
/// does not undo it.
async fn store(
    intake: &Arc<Intake>,
    table: &Arc<SourceTable>,
    source: Arc<OpenSource>,
    verified: Verified,
    body: Bytes,
) -> Result<Reply, Problem> {
    let (intake, table) = (intake.clone(), table.clone());
    let open = intake.open_tasks();
    let task = tokio::spawn(async move {
        let _open = open;
        let received = table.received(&source, &verified, &body);
        let id = received.message.id.clone();
        let told = intake.receiver.receive(received).await;
        conclude(&intake, &source, &id, told)
    });
    task.await.unwrap_or_else(|_| {
        tracing::error!("taking in a message failed");
        Err(Problem::new(Reason::Failed, "the message was not kept, because of a mistake here; send it again later"))
    })
}

fn conclude(intake: &Intake, source: &OpenSource, id: &str, told: Result<Answer, Busy>) -> Result<Reply, Problem> {
    let answer = told.map_err(|busy| {
        tracing::warn!(source = %source.name, reason = word(busy), "message refused");
        problem(busy)
    })?;
    let Answer::Kept { novelty, outcome } = &answer else {
        tracing::error!(source = %source.name, "a message got an answer that no message gets");
        return Err(Problem::new(Reason::Failed, "the message was not kept; send it again later"));
    };
    let (counter, status) = match novelty {
        Novelty::New => (&intake.counters.accepted, 202),
        Novelty::Known => (&intake.counters.known, 200),
    };
    Counters::count(counter);
    tracing::info!(source = %source.name, status, outcome = outcome_word(outcome), "message kept");
    kept(id, &answer).ok_or_else(|| Problem::new(Reason::Failed, "the message was not kept; send it again later"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use hyper::header::HeaderValue;

    #[test]
    fn only_json_in_utf_8_is_read() {
        for (value, good) in [
            ("application/json", true),
            ("Application/JSON; charset=UTF-8", true),
            ("application/ld+json;profile=\"http://www.w3.org/ns/json-ld#compacted\"", true),
            ("application/vnd.example+json; charset=\"utf-8\"", true),
            ("application/json; charset=iso-8859-1", false),
            ("application/json; charset=utf-16", false),
            ("text/plain", false),
            ("application/x-www-form-urlencoded", false),
            ("+json", false),
            ("", false),
        ] {
            let mut headers = HeaderMap::new();
            headers.insert(CONTENT_TYPE, HeaderValue::from_static(value));
            assert_eq!(media_type(&headers).is_ok(), good, "{value:?}");
            headers.insert(CONTENT_ENCODING, HeaderValue::from_static("gzip"));
            assert!(media_type(&headers).is_err());
        }
        assert!(media_type(&HeaderMap::new()).is_err());
    }
}
