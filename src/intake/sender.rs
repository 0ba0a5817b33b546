//! A small sender of signed messages, for `dawnslip try` and `rehearse`: HTTP/1.1, one
//! connection that is kept and opened again when it was closed.

use super::secret::SecretBytes;
use super::signature;
use crate::model::{Scheme, SourceName};
use bytes::Bytes;
use http_body_util::{BodyExt, Full, Limited};
use hyper::client::conn::http1::{self, SendRequest};
use hyper::header::{CONTENT_TYPE, HOST, RETRY_AFTER};
use hyper::{Method, Request};
use hyper_util::rt::TokioIo;
use jiff::Timestamp;
use std::fmt;
use std::str::FromStr;
use std::time::{Duration, Instant};
use tokio::net::TcpStream;
use tokio::time::timeout;

/// Longest wait for an answer.
const ANSWER_TIME_MAX: Duration = Duration::from_secs(30);
/// Bytes of an answer that are read.
const ANSWER_BYTES_MAX: usize = 64 * 1024;

/// Why a message could not be sent.
#[derive(Debug, thiserror::Error)]
pub enum SendError {
    /// The address is no `http://host:port`.
    #[error("{0:?} is not an address like http://127.0.0.1:7781; for https use the printed curl command")]
    Address(String),
    /// Nobody listens there.
    #[error("nobody answers at {target}; is the daemon running?")]
    Connect {
        /// Where.
        target: Target,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// A header holds what HTTP does not allow.
    #[error("the message cannot be written as HTTP")]
    Header(#[source] hyper::http::Error),
    /// The connection broke before the answer.
    #[error("the connection to {target} broke before an answer came")]
    Broken {
        /// Where.
        target: Target,
        /// Why.
        #[source]
        cause: Box<dyn std::error::Error + Send + Sync>,
    },
    /// No answer in time.
    #[error("{target} did not answer within {} s", ANSWER_TIME_MAX.as_secs())]
    Silent {
        /// Where.
        target: Target,
    },
}

/// Where messages are sent to: `http://host:port`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Target(String);

impl Target {
    /// Host and port.
    pub fn authority(&self) -> &str {
        &self.0
    }
}
impl FromStr for Target {
    type Err = SendError;
    fn from_str(text: &str) -> Result<Self, SendError> {
        let wrong = || SendError::Address(text.to_owned());
        let authority = text.strip_prefix("http://").ok_or_else(wrong)?.trim_end_matches('/');
        let port = authority.rsplit_once(':').and_then(|(host, port)| Some((host, port.parse::<u16>().ok()?)));
        match port {
            Some((host, _)) if !host.is_empty() && !authority.contains('/') => Ok(Self(authority.to_owned())),
            _ => Err(wrong()),
        }
    }
}
impl From<std::net::SocketAddr> for Target {
    fn from(address: std::net::SocketAddr) -> Self {
        Self(address.to_string())
    }
}
impl fmt::Display for Target {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "http://{}", self.0)
    }
}

/// A message ready to be sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Envelope {
    /// `/intake/SOURCE`.
    pub path: String,
    /// Content type and the scheme's headers.
    pub headers: Vec<(String, String)>,
    /// The body, byte for byte as signed.
    pub body: Bytes,
}

impl Envelope {
    /// Signs a body as the source's shop would.
    pub fn signed(
        source: &SourceName,
        scheme: &Scheme,
        secret: &SecretBytes,
        id: &str,
        at: Timestamp,
        body: impl Into<Bytes>,
    ) -> Self {
        let body = body.into();
        let mut headers = vec![(CONTENT_TYPE.to_string(), "application/json".to_owned())];
        headers.extend(signature::sign(scheme, secret, id, at, &body));
        Self { path: format!("/intake/{source}"), headers, body }
    }

    /// The command that sends the same with curl: the signature is in it, no secret is.
    pub fn as_curl(&self, target: &Target) -> String {
        let mut command = String::from("curl --include --request POST");
        for (name, value) in &self.headers {
            command.push_str(&format!(" \\\n  --header {}", quoted(&format!("{name}: {value}"))));
        }
        command.push_str(&format!(" \\\n  --data-binary {}", quoted(&String::from_utf8_lossy(&self.body))));
        command.push_str(&format!(" \\\n  {}", quoted(&format!("{target}{}", self.path))));
        command
    }
}

/// A text as one word for a POSIX shell.
fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', r"'\''"))
}

/// Retry-After as seconds (RFC 9110, section 10.2.3). Its other form, a date, is left out:
/// the listener that this talks to never sends one.
fn delay_seconds(value: &str) -> Option<u64> {
    value.bytes().all(|b| b.is_ascii_digit()).then(|| value.parse().ok())?
}

/// What the other side said.
#[derive(Debug, Clone)]
pub struct Told {
    /// HTTP status.
    pub status: u16,
    /// The body as text.
    pub body: String,
    /// Retry-After in seconds, if it named one.
    pub retry_after: Option<u64>,
    /// From the first byte sent to the last one read.
    pub took: Duration,
}

/// Sends messages to one target, one after another.
#[derive(Debug)]
pub struct Sender {
    target: Target,
    open: Option<SendRequest<Full<Bytes>>>,
}

impl Sender {
    /// Connects when the first message is sent.
    pub fn new(target: Target) -> Self {
        Self { target, open: None }
    }

    /// Sends one message and waits for the answer.
    ///
    /// # Errors
    /// No connection, or no answer; whether the message was kept is then unknown, and it may
    /// be sent again with the same id.
    pub async fn send(&mut self, envelope: &Envelope) -> Result<Told, SendError> {
        let begun = Instant::now();
        let answered = timeout(ANSWER_TIME_MAX, self.exchange(envelope, begun)).await;
        let told = answered.unwrap_or_else(|_| Err(SendError::Silent { target: self.target.clone() }));
        if told.is_err() {
            self.open = None;
        }
        told
    }

    async fn exchange(&mut self, envelope: &Envelope, begun: Instant) -> Result<Told, SendError> {
        let mut request =
            Request::builder().method(Method::POST).uri(&envelope.path).header(HOST, self.target.authority());
        for (name, value) in &envelope.headers {
            request = request.header(name, value);
        }
        let request = request.body(Full::new(envelope.body.clone())).map_err(SendError::Header)?;
        let target = self.target.clone();
        let broken = |cause: Box<dyn std::error::Error + Send + Sync>| SendError::Broken { target, cause };
        let connection = self.connection().await?;
        let answer = match connection.send_request(request).await {
            Ok(answer) => answer,
            Err(error) => return Err(broken(error.into())),
        };
        let (head, body) = answer.into_parts();
        let body = match Limited::new(body, ANSWER_BYTES_MAX).collect().await {
            Ok(body) => body.to_bytes(),
            Err(error) => return Err(broken(error)),
        };
        Ok(Told {
            status: head.status.as_u16(),
            body: String::from_utf8_lossy(&body).into_owned(),
            retry_after: head.headers.get(RETRY_AFTER).and_then(|value| delay_seconds(value.to_str().ok()?)),
            took: begun.elapsed(),
        })
    }

    async fn connection(&mut self) -> Result<&mut SendRequest<Full<Bytes>>, SendError> {
        let usable = match &mut self.open {
            Some(open) => open.ready().await.is_ok(),
            None => false,
        };
        if !usable {
            let connect = |cause| SendError::Connect { target: self.target.clone(), cause };
            let stream = TcpStream::connect(self.target.authority()).await.map_err(connect)?;
            stream.set_nodelay(true).map_err(connect)?;
            let (open, connection) = http1::handshake(TokioIo::new(stream))
                .await
                .map_err(|cause| SendError::Broken { target: self.target.clone(), cause: cause.into() })?;
            // Ends by itself when either side closes; errors reach the request that waits.
            tokio::spawn(async move {
                let _ = connection.await;
            });
            self.open = Some(open);
        }
        self.open.as_mut().ok_or_else(|| SendError::Silent { target: self.target.clone() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::SignedDuration;

    #[test]
    fn addresses_are_plain_http_with_a_port() {
        for (text, good) in [
            ("http://127.0.0.1:7781", true),
            ("http://localhost:7781/", true),
            ("http://[::1]:7781", true),
            ("https://shop.example:443", false),
            ("http://localhost", false),
            ("http://localhost:x", false),
            ("http://localhost:1/intake", false),
            ("localhost:7781", false),
        ] {
            assert_eq!(text.parse::<Target>().is_ok(), good, "{text}");
        }
    }

    /// RFC 9110, section 10.2.3 and 5.6.7.
    #[test]
    fn seconds_to_wait_are_digits_and_nothing_else() {
        let table: serde_json::Value =
            serde_json::from_str(include_str!("../../tests/standards/retry_after_rfc9110.json")).unwrap();
        for case in table["cases"].as_array().unwrap() {
            assert_eq!(delay_seconds(case["value"].as_str().unwrap()), case["delay_seconds"].as_u64(), "{case}");
        }
    }

    #[test]
    fn the_curl_command_holds_the_signature_and_not_the_secret() {
        let scheme = Scheme::StandardWebhooks { tolerance: SignedDuration::from_secs(300) };
        let secret = SecretBytes::read(&scheme, b"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").unwrap();
        let at = Timestamp::from_second(1_614_265_330).unwrap();
        let id = "msg_p5jXN8AQM9LWM0D4loKWxJek";
        let envelope = Envelope::signed(&"shop".into(), &scheme, &secret, id, at, "{\"test\": 2432232314}");
        let command = envelope.as_curl(&"http://127.0.0.1:7781".parse().unwrap());
        assert_eq!(
            command,
            "curl --include --request POST \\\n  --header 'content-type: application/json' \\\n  \
             --header 'webhook-id: msg_p5jXN8AQM9LWM0D4loKWxJek' \\\n  --header 'webhook-timestamp: 1614265330' \\\n  \
             --header 'webhook-signature: v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=' \\\n  \
             --data-binary '{\"test\": 2432232314}' \\\n  'http://127.0.0.1:7781/intake/shop'"
        );
        assert_eq!(quoted("it's"), r"'it'\''s'");
    }
}
