//! Signature schemes: one file each, chosen by the closed [`Scheme`]. A message is verified
//! byte for byte, before anything looks into it.

mod body_hmac;
mod standard_webhooks;

use super::secret::SecretBytes;
use crate::model::Scheme;
use hmac::{Hmac, KeyInit, Mac};
use hyper::HeaderMap;
use jiff::{SignedDuration, Timestamp};
use sha2::Sha256;

/// Longest message id; it is kept for 14 days at least, so it has a limit.
pub const MESSAGE_ID_BYTES_MAX: usize = 200;

/// What a verified message says under its signature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verified {
    /// The id, if the signature covers one.
    pub message_id: Option<String>,
    /// The unix timestamp (seconds), if the signature covers one.
    pub timestamp: Option<i64>,
}

/// Why a message is refused. The words go to the sender: they name headers, never values.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// A header that the scheme needs is not there, or empty.
    #[error("the header {0} is missing")]
    MissingHeader(String),
    /// A header stands there twice with different values.
    #[error("the header {0} stands there more than once, with different values")]
    Ambiguous(String),
    /// A header holds bytes that no sender writes, or an id longer than [`MESSAGE_ID_BYTES_MAX`].
    #[error("the header {0} cannot be read")]
    BadHeader(String),
    /// The timestamp is not a whole number of seconds.
    #[error("the header {0} is not a unix time in whole seconds")]
    BadTimestamp(String),
    /// Signed too long ago: a replay, or a clock that is wrong.
    #[error("the message was signed longer ago than is accepted; compare the clocks")]
    TooOld,
    /// Signed in the future.
    #[error("the message was signed in the future; compare the clocks")]
    TooNew,
    /// No signature fits any secret.
    #[error("no signature fits: another secret, or the body was changed on its way")]
    NoMatchingSignature,
}

impl Refusal {
    /// A constant word for logs and metrics.
    pub fn word(&self) -> &'static str {
        match self {
            Self::MissingHeader(_) => "missing_header",
            Self::Ambiguous(_) => "ambiguous_header",
            Self::BadHeader(_) => "bad_header",
            Self::BadTimestamp(_) => "bad_timestamp",
            Self::TooOld => "timestamp_too_old",
            Self::TooNew => "timestamp_too_new",
            Self::NoMatchingSignature => "no_matching_signature",
        }
    }
}

/// Checks a message against its source's scheme; any of `secrets` will do (rotation).
///
/// # Errors
/// The reason for which the message is not believed.
pub fn verify(
    scheme: &Scheme,
    secrets: &[SecretBytes],
    headers: &HeaderMap,
    body: &[u8],
    now: Timestamp,
) -> Result<Verified, Refusal> {
    match scheme {
        Scheme::StandardWebhooks { tolerance } => standard_webhooks::verify(*tolerance, secrets, headers, body, now),
        Scheme::BodyHmac(how) => body_hmac::verify(how, secrets, headers, body, now),
    }
}

/// The headers with which a sender would send this message: for `try`, `rehearse` and tests.
pub fn sign(scheme: &Scheme, secret: &SecretBytes, id: &str, at: Timestamp, body: &[u8]) -> Vec<(String, String)> {
    match scheme {
        Scheme::StandardWebhooks { .. } => standard_webhooks::sign(secret, id, at, body),
        Scheme::BodyHmac(how) => body_hmac::sign(how, secret, id, at, body),
    }
}

/// What a scheme cannot do, found on loading.
///
/// # Errors
/// A sentence for the person who wrote `sources.toml`.
pub fn check(scheme: &Scheme) -> Result<(), String> {
    match scheme {
        Scheme::StandardWebhooks { .. } => Ok(()),
        Scheme::BodyHmac(how) => body_hmac::check(how),
    }
}

/// HMAC-SHA-256 (RFC 2104, RFC 4231) over some parts, ready to be compared or written.
fn mac_over(secret: &SecretBytes, parts: &[&[u8]]) -> Hmac<Sha256> {
    // An HMAC takes a key of any length (RFC 2104, section 2), so this cannot fail.
    let mut mac = Hmac::<Sha256>::new_from_slice(secret.bytes()).expect("HMAC takes any key");
    for part in parts {
        mac.update(part);
    }
    mac
}

/// HMAC-SHA-256 of some bytes: for hashing addresses with the installation's key.
pub(super) fn hmac_sha256(key: &[u8], data: &[u8]) -> [u8; 32] {
    mac_over(&SecretBytes::from_bytes(key), &[data]).finalize().into_bytes().into()
}

/// The one value of a header that must be there.
fn one_value<'a>(headers: &'a HeaderMap, name: &str) -> Result<&'a str, Refusal> {
    let mut values = headers.get_all(name).iter();
    let first = values.next().ok_or_else(|| Refusal::MissingHeader(name.to_owned()))?;
    if values.any(|other| other != first) {
        return Err(Refusal::Ambiguous(name.to_owned()));
    }
    let text = first.to_str().map_err(|_| Refusal::BadHeader(name.to_owned()))?;
    if text.is_empty() { Err(Refusal::MissingHeader(name.to_owned())) } else { Ok(text) }
}

/// The message id of a header.
fn id_value<'a>(headers: &'a HeaderMap, name: &str) -> Result<&'a str, Refusal> {
    let id = one_value(headers, name)?;
    if id.len() > MESSAGE_ID_BYTES_MAX { Err(Refusal::BadHeader(name.to_owned())) } else { Ok(id) }
}

/// The timestamp of a header, checked against the clock: as written, and as a number.
/// A difference of exactly `tolerance` is accepted, as the reference libraries of
/// Standard Webhooks do.
fn time_value<'a>(
    headers: &'a HeaderMap,
    name: &str,
    tolerance: SignedDuration,
    now: Timestamp,
) -> Result<(&'a str, i64), Refusal> {
    let text = one_value(headers, name)?;
    let bad = || Refusal::BadTimestamp(name.to_owned());
    if !text.bytes().all(|b| b.is_ascii_digit()) {
        return Err(bad());
    }
    let seconds: i64 = text.parse().map_err(|_| bad())?;
    let age = now.as_second().saturating_sub(seconds);
    if age > tolerance.as_secs() {
        Err(Refusal::TooOld)
    } else if age < -tolerance.as_secs() {
        Err(Refusal::TooNew)
    } else {
        Ok((text, seconds))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4231, section 4: test cases 1 to 7 (5 is cut to 16 bytes there).
    #[test]
    fn the_published_hmacs_come_out() {
        let text = include_str!("../../../tests/standards/hmac_sha256_rfc4231.json");
        let table: serde_json::Value = serde_json::from_str(text).unwrap();
        let hex = |v: &serde_json::Value| data_encoding::HEXLOWER.decode(v.as_str().unwrap().as_bytes()).unwrap();
        let cases = table["cases"].as_array().unwrap();
        for case in cases {
            let mac = hmac_sha256(&hex(&case["key_hex"]), &hex(&case["data_hex"]));
            let kept = case["truncated_to_bytes"].as_u64().unwrap() as usize;
            assert_eq!(mac[..kept], hex(&case["hmac_sha256_hex"]), "case {}", case["case"]);
        }
        assert_eq!(cases.len(), 7);
    }
}
