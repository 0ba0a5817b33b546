//! Answers: which form is wanted, pages, and problem documents (RFC 9457). The only place
//! that turns what went wrong into a status code and a public sentence.

use super::lookup::{Kind, Unclear};
use super::{Busy, Lines, html};
use http_body_util::{Either, Full};
use hyper::body::Bytes;
use hyper::header::{self, HeaderMap, HeaderValue};
use hyper::{Response, StatusCode};
use serde::Serialize;
use serde_json::{Value, json};

/// What leaves the desk.
pub type Reply = Response<Either<Full<Bytes>, Lines>>;

/// In which form the caller wants to read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wants {
    /// Plain text: curl, and whoever names nothing.
    Text,
    /// JSON: programs.
    Json,
    /// A page: browsers.
    Html,
}

impl Wants {
    /// Reads `Accept` (RFC 9110, 12.5.1). Among equals text comes first; who accepts none of
    /// the three gets text all the same.
    pub fn of(headers: &HeaderMap) -> Self {
        let accept: Vec<&str> = headers.get_all(header::ACCEPT).iter().filter_map(|v| v.to_str().ok()).collect();
        let accept = accept.join(",");
        let offers = [(Self::Text, "text/plain"), (Self::Json, "application/json"), (Self::Html, "text/html")];
        let mut best = (Self::Text, 0);
        for (wants, media) in offers {
            let quality = quality(&accept, media);
            if quality > best.1 {
                best = (wants, quality);
            }
        }
        best.0
    }
}

/// The quality (in thousandths) that an `Accept` header gives a media type; the most specific range counts.
fn quality(accept: &str, media: &str) -> u32 {
    let group = media.split('/').next().unwrap_or("");
    let mut best = (0, 0);
    for range in accept.split(',') {
        let mut parts = range.split(';').map(str::trim);
        let name = parts.next().unwrap_or("").to_ascii_lowercase();
        let specific = match name.as_str() {
            "*/*" => 1,
            _ if name == format!("{group}/*") => 2,
            _ if name == media => 3,
            _ => continue,
        };
        let q = parts.find_map(|p| p.strip_prefix("q=").or(p.strip_prefix("Q=")));
        let q = q.map_or(1000, |q| q.parse::<f32>().map_or(0, |q| (q.clamp(0.0, 1.0) * 1000.0) as u32));
        if specific > best.0 {
            best = (specific, q);
        }
    }
    best.1
}

/// Something went wrong: what the caller is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The status code.
    pub status: StatusCode,
    /// What is the matter, one sentence.
    pub detail: String,
    /// What to do.
    pub remedy: String,
    /// What could have been meant.
    pub candidates: Vec<String>,
    /// Further complaints, one line each.
    pub complaints: Vec<String>,
}

impl Problem {
    /// A problem with a remedy.
    pub fn new(status: StatusCode, detail: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { status, detail: detail.into(), remedy: remedy.into(), candidates: Vec::new(), complaints: Vec::new() }
    }
    /// The caller said something that cannot be read.
    pub fn bad(detail: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::new(StatusCode::BAD_REQUEST, detail, remedy)
    }
    /// As an RFC 9457 document, or as a page for browsers.
    pub fn reply(&self, wants: Wants) -> Reply {
        let mut reply = if wants == Wants::Html {
            with_type(html::problem(self), "text/html; charset=utf-8")
        } else {
            with_type(self.document().to_string(), "application/problem+json")
        };
        *reply.status_mut() = self.status;
        if self.status == StatusCode::SERVICE_UNAVAILABLE {
            reply.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from_static("5"));
        }
        if self.status == StatusCode::UNAUTHORIZED {
            reply.headers_mut().insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer realm=\"dawnslip\""));
        }
        reply
    }
    /// `type` is absent, which means `about:blank`: the title is the status phrase. `do`,
    /// `candidates` and `complaints` are extensions.
    fn document(&self) -> Value {
        let mut document = json!({
            "title": self.status.canonical_reason().unwrap_or("Problem"),
            "status": self.status.as_u16(),
            "detail": self.detail,
            "do": self.remedy,
        });
        if !self.candidates.is_empty() {
            document["candidates"] = json!(self.candidates);
        }
        if !self.complaints.is_empty() {
            document["complaints"] = json!(self.complaints);
        }
        document
    }
}

impl From<Unclear> for Problem {
    fn from(unclear: Unclear) -> Self {
        let detail = unclear.to_string();
        match unclear {
            Unclear::Unknown { kind, .. } => {
                let remedy = match kind {
                    Kind::Order => "see which there are: dawnslip orders --all",
                    Kind::MissingNumber => "see which are missing: dawnslip status",
                    Kind::Paper => "see its papers: dawnslip order NUMBER",
                };
                Self::new(StatusCode::NOT_FOUND, detail, remedy)
            }
            Unclear::NoParcel { order } => {
                Self::new(StatusCode::NOT_FOUND, detail, format!("see how it stands: dawnslip order {order}"))
            }
            Unclear::Ambiguous { candidates, .. } => Self {
                candidates,
                ..Self::new(StatusCode::CONFLICT, detail, "type more of the number, or SHOP/NUMBER")
            },
        }
    }
}

impl From<Busy> for Problem {
    fn from(busy: Busy) -> Self {
        Self::new(StatusCode::SERVICE_UNAVAILABLE, busy.why, busy.remedy)
    }
}

/// The three forms of one page; only the wanted one is built.
pub fn page<J: Serialize>(
    wants: Wants,
    json: impl FnOnce() -> J,
    text: impl FnOnce() -> String,
    page: impl FnOnce() -> String,
) -> Reply {
    match wants {
        Wants::Text => with_type(text(), "text/plain; charset=utf-8"),
        Wants::Html => with_type(page(), "text/html; charset=utf-8"),
        // Values without maps of odd keys always serialise; should one not, say so rather than panic.
        Wants::Json => match serde_json::to_string_pretty(&json()) {
            Ok(text) => with_type(text + "\n", "application/json"),
            Err(error) => {
                let detail = format!("this cannot be written as JSON: {error}");
                Problem::new(StatusCode::INTERNAL_SERVER_ERROR, detail, "ask for text instead").reply(Wants::Json)
            }
        },
    }
}

/// A body with its media type, status 200.
pub fn with_type(body: impl Into<Bytes>, media: &'static str) -> Reply {
    with_body(Either::Left(Full::new(body.into())), media)
}

/// A body that is written while it is read.
pub fn with_lines(lines: Lines, media: &'static str) -> Reply {
    with_body(Either::Right(lines), media)
}

fn with_body(body: Either<Full<Bytes>, Lines>, media: &'static str) -> Reply {
    let mut reply = Response::new(body);
    reply.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(media));
    reply.headers_mut().insert(header::VARY, HeaderValue::from_static("Accept"));
    reply
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_form_follows_accept() {
        for (accept, expected) in [
            (None, Wants::Text),
            (Some("*/*"), Wants::Text),
            (Some("text/*"), Wants::Text),
            (Some("text/plain"), Wants::Text),
            (Some("application/json"), Wants::Json),
            (Some("application/*"), Wants::Json),
            (Some("APPLICATION/JSON; q=1.0"), Wants::Json),
            // As browsers send it.
            (Some("text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"), Wants::Html),
            (Some("application/json;q=0.5, text/html;q=0.4"), Wants::Json),
            (Some("text/html;q=0, */*"), Wants::Text),
            (Some("image/png"), Wants::Text),
            (Some("text/html;q=nonsense"), Wants::Text),
        ] {
            let mut headers = HeaderMap::new();
            if let Some(accept) = accept {
                headers.insert(header::ACCEPT, HeaderValue::from_str(accept).unwrap());
            }
            assert_eq!(Wants::of(&headers), expected, "{accept:?}");
        }
    }

    /// RFC 9457, 3.1: `status` equals the HTTP status; `title` with `about:blank` is its phrase.
    #[test]
    fn a_problem_is_a_problem_document() {
        let problem =
            Problem::from(Unclear::Ambiguous { typed: "7".into(), candidates: vec!["a/7".into(), "b/7".into()] });
        let reply = problem.reply(Wants::Text);
        assert_eq!(reply.status(), 409);
        assert_eq!(reply.headers()[header::CONTENT_TYPE], "application/problem+json");
        let document = problem.document();
        assert_eq!(document["title"], "Conflict");
        assert_eq!(document["status"], 409);
        assert_eq!(document["candidates"], json!(["a/7", "b/7"]));
    }
}
