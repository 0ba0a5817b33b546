//! What a person sent along with an action: a JSON object, an HTML form, or nothing.

use super::answer::Problem;
use hyper::StatusCode;
use hyper::header::{self, HeaderMap};
use std::collections::BTreeMap;

/// Fields by name; a field may hold several values.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Form(BTreeMap<String, Vec<String>>);

impl Form {
    /// Reads a body by its media type. Without a body and without a type: no fields.
    ///
    /// # Errors
    /// 415 for other media types, 400 for a body that is not what its type says.
    pub fn read(headers: &HeaderMap, body: &[u8]) -> Result<Self, Problem> {
        let media = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or("");
        let media = media.split(';').next().unwrap_or("").trim().to_ascii_lowercase();
        match media.as_str() {
            _ if body.is_empty() => Ok(Self::default()),
            "application/json" => Self::from_json(body),
            "application/x-www-form-urlencoded" => {
                let text =
                    std::str::from_utf8(body).map_err(|_| Problem::bad("the form is not UTF-8", "send UTF-8"))?;
                Ok(Self::from_encoded(text))
            }
            _ => Err(Problem::new(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "an action takes a JSON object or a form",
                "send Content-Type: application/json",
            )),
        }
    }

    fn from_json(body: &[u8]) -> Result<Self, Problem> {
        let remedy = "send an object of texts and lists of texts, such as {\"reason\":\"paid late\"}";
        let object: serde_json::Map<String, serde_json::Value> = serde_json::from_slice(body)
            .map_err(|error| Problem::bad(format!("this is not a JSON object: {error}"), remedy))?;
        let mut fields = BTreeMap::new();
        for (name, value) in object {
            let values = match value {
                serde_json::Value::Null => Vec::new(),
                serde_json::Value::Array(items) => {
                    items.iter().map(scalar).collect::<Option<Vec<_>>>().unwrap_or_default()
                }
                other => scalar(&other).into_iter().collect(),
            };
            fields.insert(name, values);
        }
        Ok(Self(fields))
    }

    /// `a=1&b=two+words` (WHATWG URL, application/x-www-form-urlencoded).
    pub fn from_encoded(text: &str) -> Self {
        let mut fields: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for pair in text.split('&').filter(|pair| !pair.is_empty()) {
            let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
            let plain = |part: &str| decode(&part.replace('+', " "));
            fields.entry(plain(name)).or_default().push(plain(value));
        }
        Self(fields)
    }

    /// The first value of a field that is not blank.
    pub fn get(&self, name: &str) -> Option<&str> {
        self.all(name).iter().map(|value| value.trim()).find(|value| !value.is_empty())
    }

    /// All values of a field.
    pub fn all(&self, name: &str) -> &[String] {
        self.0.get(name).map_or(&[], Vec::as_slice)
    }

    /// A field that must be there.
    ///
    /// # Errors
    /// 400 that names it.
    pub fn need(&self, name: &str, example: &str) -> Result<&str, Problem> {
        self.get(name).ok_or_else(|| {
            Problem::bad(
                format!("the field \"{name}\" is missing"),
                format!("send it along, for example {{\"{name}\":\"{example}\"}}"),
            )
        })
    }

    /// Is a field set to `true`, `on`, `yes` or `1`?
    pub fn is_set(&self, name: &str) -> bool {
        matches!(self.get(name), Some("true" | "on" | "yes" | "1"))
    }
}

fn scalar(value: &serde_json::Value) -> Option<String> {
    match value {
        serde_json::Value::String(text) => Some(text.clone()),
        serde_json::Value::Number(number) => Some(number.to_string()),
        serde_json::Value::Bool(flag) => Some(flag.to_string()),
        _ => None,
    }
}

/// Undoes percent-encoding (RFC 3986, 2.1). What is no valid encoding stays as it is; bytes
/// that are no UTF-8 become replacement characters.
pub fn decode(text: &str) -> String {
    let bytes = text.as_bytes();
    let mut plain = Vec::with_capacity(bytes.len());
    let mut index = 0;
    while index < bytes.len() {
        let pair = bytes.get(index + 1..index + 3).filter(|pair| pair.iter().all(u8::is_ascii_hexdigit));
        let code = pair.and_then(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok());
        match (bytes[index], code) {
            (b'%', Some(code)) => {
                plain.push(code);
                index += 3;
            }
            (byte, _) => {
                plain.push(byte);
                index += 1;
            }
        }
    }
    String::from_utf8_lossy(&plain).into_owned()
}

/// Percent-encodes all but unreserved characters (RFC 3986, 2.3): safe as one path segment.
pub fn encode(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'.' | b'_' | b'~') {
            out.push(byte as char);
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use hyper::header::HeaderValue;

    fn read(media: &'static str, body: &str) -> Result<Form, Problem> {
        let mut headers = HeaderMap::new();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(media));
        Form::read(&headers, body.as_bytes())
    }

    #[test]
    fn forms_and_json_say_the_same() {
        let json =
            read("application/json; charset=utf-8", r#"{"reason":"a & b","parcels":["1","2"],"all":true}"#).unwrap();
        let form = read("application/x-www-form-urlencoded", "reason=a+%26+b&parcels=1&parcels=2&all=true").unwrap();
        assert_eq!(json, form);
        assert_eq!(form.get("reason"), Some("a & b"));
        assert_eq!(form.all("parcels"), ["1", "2"]);
        assert!(form.is_set("all"));
        assert_eq!(form.need("cause", "x").unwrap_err().status, 400);
    }

    #[test]
    fn other_bodies_are_refused() {
        assert_eq!(read("text/xml", "<a/>").unwrap_err().status, 415);
        assert_eq!(read("application/json", "[1]").unwrap_err().status, 400);
        assert_eq!(read("application/json", "{").unwrap_err().status, 400);
        assert_eq!(read("", "").unwrap(), Form::default());
    }

    #[test]
    fn encoding_goes_there_and_back() {
        for text in ["S-417", "shop/S-417", "417+421", "Zoë 佐藤", "100 %", "%zz", "%"] {
            assert_eq!(decode(&encode(text)), text);
        }
        assert_eq!(decode("%2"), "%2");
        assert_eq!(decode("%ff"), "\u{fffd}");
    }
}
