//! Plain HMAC-SHA-256 over the raw body, or over a template that holds it, in one header:
//! common practice, no standard.

use super::{Refusal, SecretBytes, Verified, id_value, mac_over, one_value, time_value};
use crate::model::{BodyHmac, SignatureEncoding};
use data_encoding::{BASE64, HEXLOWER, HEXLOWER_PERMISSIVE};
use hmac::Mac;
use hyper::HeaderMap;
use jiff::Timestamp;

const TIMESTAMP_PLACE: &str = "{timestamp}";
const ID_PLACE: &str = "{id}";
const BODY_PLACE: &str = "{body}";

pub(super) fn verify(
    how: &BodyHmac,
    secrets: &[SecretBytes],
    headers: &HeaderMap,
    body: &[u8],
    now: Timestamp,
) -> Result<Verified, Refusal> {
    let written = one_value(headers, &how.header)?;
    let time = match &how.timestamp {
        Some((name, tolerance)) => Some(time_value(headers, name, *tolerance, now)?),
        None => None,
    };
    let signs = |place| how.template.as_deref().is_some_and(|template| template.contains(place));
    let id = match &how.id_header {
        Some(name) if signs(ID_PLACE) => Some(id_value(headers, name)?),
        _ => None,
    };
    let time_text = time.map_or("", |(text, _)| text);
    let tag = written.strip_prefix(how.prefix.as_str()).and_then(|text| decode(how.encoding, text));
    let tag = tag.ok_or(Refusal::NoMatchingSignature)?;
    let parts = parts(how.template.as_deref(), id.unwrap_or(""), time_text, body);
    // `verify_slice` compares in constant time, and refuses another length.
    if !secrets.iter().any(|secret| mac_over(secret, &parts).verify_slice(&tag).is_ok()) {
        return Err(Refusal::NoMatchingSignature);
    }
    let timestamp = time.filter(|_| signs(TIMESTAMP_PLACE)).map(|(_, seconds)| seconds);
    Ok(Verified { message_id: id.map(str::to_owned), timestamp })
}

pub(super) fn sign(
    how: &BodyHmac,
    secret: &SecretBytes,
    id: &str,
    at: Timestamp,
    body: &[u8],
) -> Vec<(String, String)> {
    let time_text = at.as_second().to_string();
    let parts = parts(how.template.as_deref(), id, &time_text, body);
    let tag = mac_over(secret, &parts).finalize().into_bytes();
    let text = match how.encoding {
        SignatureEncoding::Hex => HEXLOWER.encode(&tag),
        SignatureEncoding::Base64 => BASE64.encode(&tag),
    };
    let mut headers = vec![(how.header.clone(), format!("{}{text}", how.prefix))];
    if let Some((name, _)) = &how.timestamp {
        headers.push((name.clone(), time_text));
    }
    if let Some(name) = &how.id_header {
        headers.push((name.clone(), id.to_owned()));
    }
    headers
}

pub(super) fn check(how: &BodyHmac) -> Result<(), String> {
    let Some(template) = &how.template else { return Ok(()) };
    if !template.contains(BODY_PLACE) {
        return Err("the signed template does not hold {body}, so the signature would not protect it".into());
    }
    if template.contains(TIMESTAMP_PLACE) && how.timestamp.is_none() {
        return Err("the signed template holds {timestamp}, but no header is named for it".into());
    }
    if template.contains(ID_PLACE) && how.id_header.is_none() {
        return Err("the signed template holds {id}, but no header is named for it".into());
    }
    Ok(())
}

fn decode(encoding: SignatureEncoding, text: &str) -> Option<Vec<u8>> {
    match encoding {
        SignatureEncoding::Hex => HEXLOWER_PERMISSIVE.decode(text.as_bytes()).ok(),
        SignatureEncoding::Base64 => BASE64.decode(text.as_bytes()).ok(),
    }
}

/// The signed content in pieces. What is filled in is never searched for places again, so
/// a body that holds `{id}` stays as it is.
fn parts<'a>(template: Option<&'a str>, id: &'a str, timestamp: &'a str, body: &'a [u8]) -> Vec<&'a [u8]> {
    let Some(mut rest) = template else { return vec![body] };
    let places = [(TIMESTAMP_PLACE, timestamp.as_bytes()), (ID_PLACE, id.as_bytes()), (BODY_PLACE, body)];
    let mut parts = Vec::new();
    while let Some((at, place, value)) =
        places.iter().filter_map(|(place, value)| Some((rest.find(place)?, place, value))).min_by_key(|(at, ..)| *at)
    {
        parts.push(&rest.as_bytes()[..at]);
        parts.push(value);
        rest = &rest[at + place.len()..];
    }
    parts.push(rest.as_bytes());
    parts
}

#[cfg(test)]
mod tests {
    use super::super::{sign, verify};
    use super::*;
    use crate::model::Scheme;
    use hyper::header::{HeaderName, HeaderValue};
    use jiff::SignedDuration;
    use serde_json::Value;

    fn plain(encoding: SignatureEncoding, prefix: &str) -> BodyHmac {
        BodyHmac {
            header: "x-signature".into(),
            encoding,
            prefix: prefix.into(),
            timestamp: None,
            template: None,
            id_header: None,
        }
    }
    fn now() -> Timestamp {
        Timestamp::from_second(1_764_050_000).unwrap()
    }
    fn told(how: &BodyHmac, secret: &str, values: &[&str], body: &[u8]) -> Result<Verified, Refusal> {
        let mut headers = HeaderMap::new();
        for value in values {
            headers.append("x-signature", HeaderValue::from_str(value).unwrap());
        }
        verify(&Scheme::BodyHmac(how.clone()), &[SecretBytes::from_bytes(secret)], &headers, body, now())
    }

    /// `hmac_generic_raw_body.json`: common practice, values made for this project.
    #[test]
    fn a_signature_over_the_raw_body_is_read_as_configured_and_in_no_other_way() {
        let table: Value =
            serde_json::from_str(include_str!("../../../tests/standards/hmac_generic_raw_body.json")).unwrap();
        let text = |name: &str| table[name].as_str().unwrap().to_owned();
        let (secret, body) = (text("secret_utf8"), text("body_utf8"));
        let hex = plain(SignatureEncoding::Hex, "");
        let base64 = plain(SignatureEncoding::Base64, "");
        let prefixed = plain(SignatureEncoding::Hex, "sha256=");
        let accepted = [
            (&hex, text("hex_lower")),
            (&hex, text("hex_upper")),
            (&base64, text("base64")),
            (&prefixed, text("prefixed_hex")),
        ];
        for (how, value) in accepted {
            assert!(told(how, &secret, &[&value], body.as_bytes()).is_ok(), "{value}");
        }
        let refused = [
            (&hex, text("base64")),
            (&hex, text("hex_lower")[..62].to_owned()),
            (&hex, text("hex_lower") + " "),
            (&hex, text("prefixed_hex")),
            (&prefixed, text("hex_lower")),
            (&base64, text("base64url_nopad")),
            (&hex, "3d7f5dbc55a3c03fcca03a3dc3ca97007cc3be296eeebf186ae7b434d96ac0a8".into()),
        ];
        for (how, value) in refused {
            assert_eq!(told(how, &secret, &[&value], body.as_bytes()), Err(Refusal::NoMatchingSignature), "{value}");
        }
        let missing = Err(Refusal::MissingHeader("x-signature".into()));
        assert_eq!(told(&hex, &secret, &[""], body.as_bytes()), missing);
        assert_eq!(told(&hex, &secret, &[], body.as_bytes()), missing);
        let two = [&*text("hex_lower"), &*text("hex_upper")];
        assert_eq!(told(&hex, &secret, &two, body.as_bytes()), Err(Refusal::Ambiguous("x-signature".into())));
        let escaped = body.replace('é', "\\u00e9");
        assert_eq!(told(&hex, &secret, &[&text("hex_lower")], escaped.as_bytes()), Err(Refusal::NoMatchingSignature));
    }

    fn with_template(template: &str) -> BodyHmac {
        BodyHmac {
            timestamp: Some(("x-time".into(), SignedDuration::from_secs(300))),
            template: Some(template.into()),
            id_header: Some("x-id".into()),
            ..plain(SignatureEncoding::Base64, "")
        }
    }

    #[test]
    fn id_and_time_count_only_where_the_template_signs_them() {
        let secret = SecretBytes::from_bytes("shared secret for tests only");
        let body = b"{\"looks like\": \"{id}.{body}\"}";
        for (template, id, time) in [
            ("{id}.{timestamp}.{body}", Some("m-1"), Some(now().as_second())),
            ("{timestamp}:{body}", None, Some(now().as_second())),
            ("{body}", None, None),
        ] {
            let scheme = Scheme::BodyHmac(with_template(template));
            let mut headers = HeaderMap::new();
            for (name, value) in sign(&scheme, &secret, "m-1", now(), body) {
                headers.insert(HeaderName::try_from(name).unwrap(), HeaderValue::try_from(value).unwrap());
            }
            let verified = verify(&scheme, std::slice::from_ref(&secret), &headers, body, now()).unwrap();
            assert_eq!(verified.message_id.as_deref(), id, "{template}");
            assert_eq!(verified.timestamp, time, "{template}");
            let later = now() + SignedDuration::from_secs(301);
            let late = verify(&scheme, std::slice::from_ref(&secret), &headers, body, later);
            assert_eq!(late, Err(Refusal::TooOld), "{template}");
        }
    }

    #[test]
    fn a_template_must_hold_the_body_and_name_its_headers() {
        assert!(check(&with_template("{id}.{timestamp}.{body}")).is_ok());
        assert!(check(&with_template("{timestamp}")).unwrap_err().contains("{body}"));
        let nameless = BodyHmac { id_header: None, timestamp: None, ..with_template("") };
        for template in ["{timestamp}{body}", "{id}{body}"] {
            assert!(check(&BodyHmac { template: Some(template.into()), ..nameless.clone() }).is_err());
        }
    }
}
