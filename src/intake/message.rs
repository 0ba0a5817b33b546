//! A verified body as the book takes it: its identity, its digest, its text, its meaning.

use super::signature::Verified;
use crate::model::{Hidden, MessageKey, SourceName};
use sha2::{Digest, Sha256};

/// What stands before a raw body that is kept as base64, because it is not UTF-8 (or is a
/// text that begins just so).
pub const BASE64_MARK: &str = "base64:";

/// A message's identity (BOOK: identities): the signed id, else SHA-256 (hex) of the
/// signed timestamp, if there is one, and the raw body.
pub fn message_key(source: &SourceName, verified: &Verified, body: &[u8]) -> MessageKey {
    let id = verified.message_id.clone().unwrap_or_else(|| {
        let mut digest = Sha256::new();
        if let Some(timestamp) = verified.timestamp {
            digest.update(format!("{timestamp}."));
        }
        digest.update(body);
        data_encoding::HEXLOWER.encode(&digest.finalize())
    });
    MessageKey { source: source.clone(), id }
}

/// SHA-256 (hex) of a raw body.
pub fn body_digest(body: &[u8]) -> String {
    data_encoding::HEXLOWER.encode(&Sha256::digest(body))
}

/// A raw body as text that loses nothing: UTF-8 as it is, anything else as base64 with a mark.
pub fn raw_text(body: &[u8]) -> Hidden {
    match std::str::from_utf8(body) {
        Ok(text) if !text.starts_with(BASE64_MARK) => Hidden::new(text),
        _ => Hidden::new(format!("{BASE64_MARK}{}", data_encoding::BASE64.encode(body))),
    }
}

/// The raw body again, for `remap`. A text whose mark is followed by no base64 was not
/// written by [`raw_text`], and counts as it is.
pub fn raw_body(kept: &Hidden) -> Vec<u8> {
    let text = kept.reveal();
    text.strip_prefix(BASE64_MARK)
        .and_then(|base64| data_encoding::BASE64.decode(base64.as_bytes()).ok())
        .unwrap_or_else(|| text.as_bytes().to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_raw_body_comes_back_byte_for_byte() {
        for body in [&b"{\"a\": 1}\n"[..], b"", b"\xff\x00\x1b@", b"base64:AAAA", "Zoë".as_bytes()] {
            assert_eq!(raw_body(&raw_text(body)), body);
        }
        assert_eq!(raw_text(b"\xff").reveal(), "base64:/w==");
    }

    #[test]
    fn a_message_is_known_by_its_signed_id_else_by_body_and_time() {
        let source = SourceName::from("shop");
        let key = |id: Option<&str>, timestamp, body: &[u8]| {
            message_key(&source, &Verified { message_id: id.map(str::to_owned), timestamp }, body).id
        };
        assert_eq!(key(Some("msg_1"), Some(5), b"{}"), "msg_1");
        // SHA-256 of "abc": FIPS 180-4, appendix (example of the one-block message).
        assert_eq!(key(None, None, b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_ne!(key(None, Some(5), b"{}"), key(None, Some(6), b"{}"));
        assert_eq!(key(None, Some(5), b"{}"), key(None, Some(5), b"{}"));
    }
}
