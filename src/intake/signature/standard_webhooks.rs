//! Standard Webhooks 1.0.0 (spec/standard-webhooks.md): HMAC-SHA-256 over
//! `{id}.{timestamp}.{body}`, base64, in a space-separated list of `v1,…`. Other versions
//! in the list (`v1a` is ed25519) are left alone.

use super::{Refusal, SecretBytes, Verified, id_value, mac_over, one_value, time_value};
use data_encoding::BASE64;
use hmac::Mac;
use hyper::HeaderMap;
use jiff::{SignedDuration, Timestamp};

const ID: &str = "webhook-id";
const TIMESTAMP: &str = "webhook-timestamp";
const SIGNATURE: &str = "webhook-signature";

/// Signatures of one message that are tried: a sender that rotates sends two.
const SIGNATURES_MAX: usize = 16;

pub(super) fn verify(
    tolerance: SignedDuration,
    secrets: &[SecretBytes],
    headers: &HeaderMap,
    body: &[u8],
    now: Timestamp,
) -> Result<Verified, Refusal> {
    let id = id_value(headers, ID)?;
    let signatures = one_value(headers, SIGNATURE)?;
    let (written, seconds) = time_value(headers, TIMESTAMP, tolerance, now)?;

    let candidates: Vec<Vec<u8>> = signatures
        .split(' ')
        .filter_map(|entry| entry.strip_prefix("v1,"))
        .filter_map(|base64| BASE64.decode(base64.as_bytes()).ok())
        .take(SIGNATURES_MAX)
        .collect();
    for secret in secrets {
        let mac = signed(secret, id, written, body);
        // `verify_slice` compares in constant time, and refuses another length.
        if candidates.iter().any(|tag| mac.clone().verify_slice(tag).is_ok()) {
            return Ok(Verified { message_id: Some(id.to_owned()), timestamp: Some(seconds) });
        }
    }
    Err(Refusal::NoMatchingSignature)
}

pub(super) fn sign(secret: &SecretBytes, id: &str, at: Timestamp, body: &[u8]) -> Vec<(String, String)> {
    let written = at.as_second().to_string();
    let tag = signed(secret, id, &written, body).finalize().into_bytes();
    vec![(ID.into(), id.into()), (TIMESTAMP.into(), written), (SIGNATURE.into(), format!("v1,{}", BASE64.encode(&tag)))]
}

fn signed(secret: &SecretBytes, id: &str, timestamp: &str, body: &[u8]) -> hmac::Hmac<sha2::Sha256> {
    mac_over(secret, &[id.as_bytes(), b".", timestamp.as_bytes(), b".", body])
}

#[cfg(test)]
mod tests {
    use super::super::{sign, verify};
    use super::*;
    use crate::model::Scheme;
    use hyper::header::{HeaderName, HeaderValue};
    use serde_json::Value;

    const VECTORS: &str = include_str!("../../../tests/standards/standard_webhooks.json");

    fn scheme() -> Scheme {
        Scheme::StandardWebhooks { tolerance: SignedDuration::from_secs(300) }
    }
    fn secret(text: &Value) -> SecretBytes {
        SecretBytes::read(&scheme(), text.as_str().unwrap().as_bytes()).unwrap()
    }

    /// Vectors A and B of the specification's repository (go and rust libraries' tests).
    #[test]
    fn the_published_signatures_come_out() {
        let table: Value = serde_json::from_str(VECTORS).unwrap();
        for case in table["sign"].as_array().unwrap() {
            let at = Timestamp::from_second(case["timestamp"].as_i64().unwrap()).unwrap();
            let body = case["payload"].as_str().unwrap().as_bytes();
            let headers = sign(&scheme(), &secret(&case["secret"]), case["id"].as_str().unwrap(), at, body);
            assert_eq!(headers[2], (SIGNATURE.into(), case["signature"].as_str().unwrap().into()));
        }
    }

    /// 24 cases after libraries/java `TestScenario` and the rule of the specification.
    #[test]
    fn the_24_cases_are_accepted_or_refused_with_the_right_word() {
        let table: Value = serde_json::from_str(VECTORS).unwrap();
        let cases = table["verify"].as_array().unwrap();
        assert_eq!(cases.len(), 24);
        for case in cases {
            let secrets: Vec<_> = case["secrets"].as_array().unwrap().iter().map(secret).collect();
            let mut headers = HeaderMap::new();
            for (name, value) in case["headers"].as_object().unwrap() {
                let name = HeaderName::from_bytes(name.as_bytes()).unwrap();
                headers.insert(name, HeaderValue::from_str(value.as_str().unwrap()).unwrap());
            }
            let now = Timestamp::from_second(case["now"].as_i64().unwrap()).unwrap();
            let told = match verify(&scheme(), &secrets, &headers, case["body"].as_str().unwrap().as_bytes(), now) {
                Ok(verified) => {
                    assert_eq!(verified.message_id.as_deref(), Some("msg_p5jXN8AQM9LWM0D4loKWxJek"));
                    "accept"
                }
                Err(refusal) => refusal.word(),
            };
            assert_eq!(told, case["expect"].as_str().unwrap(), "{}", case["name"]);
        }
    }

    #[test]
    fn an_id_without_end_is_refused() {
        let secret = SecretBytes::from_bytes([7; 32]);
        let now = Timestamp::from_second(1_700_000_000).unwrap();
        for (length, good) in
            [(super::super::MESSAGE_ID_BYTES_MAX, true), (super::super::MESSAGE_ID_BYTES_MAX + 1, false)]
        {
            let mut headers = HeaderMap::new();
            for (name, value) in sign(&scheme(), &secret, &"m".repeat(length), now, b"{}") {
                headers.insert(HeaderName::try_from(name).unwrap(), HeaderValue::try_from(value).unwrap());
            }
            let told = verify(&scheme(), std::slice::from_ref(&secret), &headers, b"{}", now);
            assert_eq!(told.is_ok(), good, "{length}: {told:?}");
        }
    }
}
