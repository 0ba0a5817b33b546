//! Secrets of signature schemes: read from files or systemd credentials, never shown.

use crate::model::Scheme;
use std::fmt;

/// Bytes that a message is signed with. `Debug` prints `‹secret›`; there is no `Display`.
#[derive(Clone, PartialEq, Eq)]
pub struct SecretBytes(Vec<u8>);

/// Fewest bytes of a shared text: shorter ones can be guessed.
pub const SHARED_TEXT_BYTES_MIN: usize = 16;
/// Fewest and most bytes behind `whsec_` (Standard Webhooks 1.0.0, "Signature scheme").
pub const WEBHOOK_SECRET_BYTES: std::ops::RangeInclusive<usize> = 24..=64;
/// What a Standard Webhooks secret begins with.
pub const WEBHOOK_SECRET_PREFIX: &str = "whsec_";

/// What is wrong with a secret; never what it is.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SecretError {
    /// Not text.
    #[error("the secret is not plain text; save it as one line of text")]
    NotText,
    /// Not base64 behind the prefix.
    #[error("the secret is not base64 after \"whsec_\"; copy it again from the shop, whole")]
    NotBase64,
    /// Too short or too long.
    #[error("the secret has {found} bytes; {wanted} are needed")]
    Size {
        /// So many.
        found: usize,
        /// In words.
        wanted: &'static str,
    },
}

impl SecretBytes {
    /// Reads a secret as its file holds it, one trailing line break aside: base64 after
    /// `whsec_` for Standard Webhooks (the prefix may be missing), the text itself for a
    /// plain HMAC.
    ///
    /// # Errors
    /// What is wrong with it, without a character of it.
    pub fn read(scheme: &Scheme, file: &[u8]) -> Result<Self, SecretError> {
        let text = std::str::from_utf8(file).map_err(|_| SecretError::NotText)?;
        let text = text.strip_suffix('\n').unwrap_or(text);
        let text = text.strip_suffix('\r').unwrap_or(text);
        match scheme {
            Scheme::StandardWebhooks { .. } => {
                let text = text.trim();
                let base64 = text.strip_prefix(WEBHOOK_SECRET_PREFIX).unwrap_or(text);
                let bytes = data_encoding::BASE64.decode(base64.as_bytes()).map_err(|_| SecretError::NotBase64)?;
                if !WEBHOOK_SECRET_BYTES.contains(&bytes.len()) {
                    return Err(SecretError::Size { found: bytes.len(), wanted: "24 to 64" });
                }
                Ok(Self(bytes))
            }
            Scheme::BodyHmac(_) if text.len() < SHARED_TEXT_BYTES_MIN => {
                Err(SecretError::Size { found: text.len(), wanted: "16 or more" })
            }
            Scheme::BodyHmac(_) => Ok(Self(text.as_bytes().to_vec())),
        }
    }
    /// A secret of these bytes, without a check: for test vectors.
    pub fn from_bytes(bytes: impl Into<Vec<u8>>) -> Self {
        Self(bytes.into())
    }
    /// The bytes, for the HMAC only.
    pub(super) fn bytes(&self) -> &[u8] {
        &self.0
    }
}

impl fmt::Debug for SecretBytes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("‹secret›")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{BodyHmac, SignatureEncoding};
    use jiff::SignedDuration;

    fn webhooks() -> Scheme {
        Scheme::StandardWebhooks { tolerance: SignedDuration::from_secs(300) }
    }
    fn plain() -> Scheme {
        Scheme::BodyHmac(BodyHmac {
            header: "x".into(),
            encoding: SignatureEncoding::Hex,
            prefix: String::new(),
            timestamp: None,
            template: None,
            id_header: None,
        })
    }

    #[test]
    fn a_webhook_secret_is_base64_of_the_right_size() {
        let good = b"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw\r\n";
        assert_eq!(SecretBytes::read(&webhooks(), good).unwrap().bytes().len(), 24);
        assert_eq!(SecretBytes::read(&webhooks(), &good[6..]).unwrap().bytes().len(), 24);
        assert_eq!(SecretBytes::read(&webhooks(), b"whsec_###"), Err(SecretError::NotBase64));
        assert_eq!(
            SecretBytes::read(&webhooks(), b"whsec_AAAA"),
            Err(SecretError::Size { found: 3, wanted: "24 to 64" })
        );
    }

    #[test]
    fn a_shared_text_keeps_all_but_its_last_line_break() {
        let secret = SecretBytes::read(&plain(), b" a secret with spaces \n").unwrap();
        assert_eq!(secret.bytes(), b" a secret with spaces ");
        assert!(matches!(SecretBytes::read(&plain(), b"short\n"), Err(SecretError::Size { found: 5, .. })));
        assert_eq!(SecretBytes::read(&plain(), b"\xff\xfe"), Err(SecretError::NotText));
    }

    #[test]
    fn no_secret_is_ever_shown() {
        let secret = SecretBytes::from_bytes(*b"do not print me, please");
        assert_eq!(format!("{secret:?}"), "‹secret›");
    }
}
