//! Answers: RFC 9457 problem documents for refusals, small JSON for what was kept.

use crate::book::{Answer, MessageOutcome, Novelty};
use bytes::Bytes;
use http_body_util::Full;
use hyper::header::{ALLOW, CONNECTION, CONTENT_TYPE, HeaderValue, RETRY_AFTER, WWW_AUTHENTICATE};
use hyper::{Response, StatusCode};
use serde_json::{Value, json};

/// An answer as it is sent.
pub type Reply = Response<Full<Bytes>>;

/// The media type of problem documents (RFC 9457, section 3).
const PROBLEM_JSON: HeaderValue = HeaderValue::from_static("application/problem+json");
const JSON: HeaderValue = HeaderValue::from_static("application/json");

/// Why a request is refused: one variant for each thing that a sender does differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Reason {
    /// 400: the request's body broke off, or its target cannot be read.
    Malformed,
    /// 401: the signature is not believed.
    Signature,
    /// 404: no such source, or another path.
    Unknown,
    /// 405: not a POST.
    Method,
    /// 408: the body came too slowly.
    Slow,
    /// 413: the body is too large.
    TooLarge,
    /// 415: not JSON in UTF-8.
    MediaType,
    /// 429: more messages than agreed.
    TooMany,
    /// 500: a mistake of ours; it was not kept.
    Failed,
    /// 503: cannot keep anything now.
    Busy,
}

impl Reason {
    /// All, in the order of their status.
    pub const ALL: [Self; 10] = [
        Self::Malformed,
        Self::Signature,
        Self::Unknown,
        Self::Method,
        Self::Slow,
        Self::TooLarge,
        Self::MediaType,
        Self::TooMany,
        Self::Failed,
        Self::Busy,
    ];
    /// The HTTP status (RFC 9110; 429: RFC 6585).
    pub fn status(self) -> StatusCode {
        match self {
            Self::Malformed => StatusCode::BAD_REQUEST,
            Self::Signature => StatusCode::UNAUTHORIZED,
            Self::Unknown => StatusCode::NOT_FOUND,
            Self::Method => StatusCode::METHOD_NOT_ALLOWED,
            Self::Slow => StatusCode::REQUEST_TIMEOUT,
            Self::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
            Self::MediaType => StatusCode::UNSUPPORTED_MEDIA_TYPE,
            Self::TooMany => StatusCode::TOO_MANY_REQUESTS,
            Self::Failed => StatusCode::INTERNAL_SERVER_ERROR,
            Self::Busy => StatusCode::SERVICE_UNAVAILABLE,
        }
    }
    /// A constant word for logs and metrics.
    pub fn word(self) -> &'static str {
        match self {
            Self::Malformed => "malformed",
            Self::Signature => "signature",
            Self::Unknown => "unknown",
            Self::Method => "method",
            Self::Slow => "slow",
            Self::TooLarge => "too_large",
            Self::MediaType => "media_type",
            Self::TooMany => "too_many",
            Self::Failed => "failed",
            Self::Busy => "busy",
        }
    }
    fn title(self) -> &'static str {
        match self {
            Self::Malformed => "The request cannot be read",
            Self::Signature => "The signature is not accepted",
            Self::Unknown => "There is nothing here",
            Self::Method => "Only POST is possible here",
            Self::Slow => "The body came too slowly",
            Self::TooLarge => "The body is too large",
            Self::MediaType => "Only JSON in UTF-8 is read here",
            Self::TooMany => "Too many messages",
            Self::Failed => "Something went wrong here",
            Self::Busy => "Nothing can be kept at the moment",
        }
    }
    /// After such a refusal the rest of the connection is not worth reading.
    fn closes(self) -> bool {
        matches!(self, Self::Malformed | Self::Slow | Self::TooLarge | Self::Busy)
    }
}

/// A refusal with what the sender should know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Why.
    pub reason: Reason,
    /// In words; never a secret, a signature or personal data.
    pub detail: String,
    /// Seconds after which another try makes sense.
    pub retry_after: Option<u64>,
}

impl Problem {
    /// A refusal that another try does not mend.
    pub fn new(reason: Reason, detail: impl Into<String>) -> Self {
        Self { reason, detail: detail.into(), retry_after: None }
    }
    /// The document: `type` is left out, which means `about:blank` (RFC 9457, section 3.1.1), and
    /// `status` equals the status line's.
    pub fn reply(&self) -> Reply {
        let status = self.reason.status();
        let body = json!({ "title": self.reason.title(), "status": status.as_u16(), "detail": self.detail });
        let mut reply = reply(status, PROBLEM_JSON, &body);
        let headers = reply.headers_mut();
        if let Some(seconds) = self.retry_after {
            headers.insert(RETRY_AFTER, HeaderValue::from(seconds));
        }
        if self.reason == Reason::Method {
            headers.insert(ALLOW, HeaderValue::from_static("POST"));
        }
        if self.reason == Reason::Signature {
            // RFC 9110, section 11.6.1 wants a challenge with every 401. No registered scheme
            // means "sign the body"; this word is our own.
            headers.insert(WWW_AUTHENTICATE, HeaderValue::from_static("Signed-Message"));
        }
        if self.reason.closes() {
            headers.insert(CONNECTION, HeaderValue::from_static("close"));
        }
        reply
    }
}

/// The answer to a message that is on the disk; a repeated message gets the same body.
/// `None` for answers that a message never gets.
pub fn kept(id: &str, answer: &Answer) -> Option<Reply> {
    let Answer::Kept { novelty, outcome } = answer else { return None };
    let status = match novelty {
        Novelty::New => StatusCode::ACCEPTED,
        Novelty::Known => StatusCode::OK,
    };
    let mut body = json!({ "message": id, "outcome": outcome_word(outcome) });
    if let MessageOutcome::Orders(orders) = outcome {
        body["orders"] = orders.iter().map(|order| Value::from(order.number.as_str())).collect();
    }
    Some(reply(status, JSON, &body))
}

/// The word for an outcome, in answers and logs.
pub fn outcome_word(outcome: &MessageOutcome) -> &'static str {
    match outcome {
        MessageOutcome::Orders(_) => "orders",
        MessageOutcome::NotAnOrder => "not an order",
        MessageOutcome::Unmappable => "kept, needs a person: it could not be mapped",
        MessageOutcome::Contradicts => "kept, needs a person: this id came before with another body",
    }
}

fn reply(status: StatusCode, media_type: HeaderValue, body: &Value) -> Reply {
    let mut reply = Response::new(Full::new(Bytes::from(format!("{body}\n"))));
    *reply.status_mut() = status;
    reply.headers_mut().insert(CONTENT_TYPE, media_type);
    reply
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::OrderKey;
    use http_body_util::BodyExt;

    fn body_of(reply: Reply) -> Value {
        let body = futures_free(reply.into_body().collect());
        serde_json::from_slice(&body.unwrap().to_bytes()).unwrap()
    }
    /// A full body is ready at once.
    fn futures_free<F: Future>(future: F) -> F::Output {
        tokio::runtime::Builder::new_current_thread().build().unwrap().block_on(future)
    }

    /// RFC 9457, section 3.1: the members and their types; 3.1.2: `status` equals the HTTP
    /// status. RFC 9110, section 10.2.3: Retry-After in whole seconds.
    #[test]
    fn every_refusal_is_a_problem_document() {
        for reason in Reason::ALL {
            let problem = Problem { retry_after: Some(120), ..Problem::new(reason, "what is the matter") };
            let reply = problem.reply();
            assert_eq!(reply.headers()[CONTENT_TYPE], "application/problem+json");
            assert_eq!(reply.headers()[RETRY_AFTER], "120");
            assert_eq!(reply.headers().contains_key(ALLOW), reason == Reason::Method);
            assert_eq!(reply.headers().contains_key(WWW_AUTHENTICATE), reason == Reason::Signature);
            let status = reply.status();
            let body = body_of(reply);
            assert_eq!(body["status"], status.as_u16());
            assert!(body["title"].as_str().is_some_and(|title| !title.is_empty()));
            assert_eq!(body["detail"], "what is the matter");
            assert!(body.get("type").is_none());
        }
    }

    #[test]
    fn a_known_message_gets_the_same_body_as_when_it_was_new() {
        let outcome = MessageOutcome::Orders(vec![OrderKey::new("shop", "S-417")]);
        let told = |novelty| kept("msg_1", &Answer::Kept { novelty, outcome: outcome.clone() }).unwrap();
        let (new, known) = (told(Novelty::New), told(Novelty::Known));
        assert_eq!((new.status().as_u16(), known.status().as_u16()), (202, 200));
        let body = body_of(new);
        assert_eq!(body, body_of(known));
        assert_eq!(body, json!({ "message": "msg_1", "outcome": "orders", "orders": ["S-417"] }));
        assert!(kept("msg_1", &Answer::Done).is_none());
    }
}
