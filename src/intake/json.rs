//! JSON as it may come from anybody: UTF-8 only, a bounded depth, and no object that says
//! two things under one key.

use serde::de::{DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};
use std::fmt;

/// Levels of objects and arrays; orders need fewer than ten.
pub const DEPTH_MAX: usize = 64;

/// Why a body is not usable JSON. The words hold nothing of the body.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum JsonError {
    /// Nothing but white space.
    #[error("the body is empty")]
    Empty,
    /// Not UTF-8.
    #[error("the body is not UTF-8 from byte {0} on; the shop must send UTF-8")]
    NotUtf8(usize),
    /// Not JSON, too deep, a number beyond range, or a key that stands twice.
    #[error("the body is not usable JSON: {0}")]
    Syntax(String),
}

/// Reads one JSON value. A byte order mark in front is left out (RFC 8259, section 8.1).
///
/// # Errors
/// Says what is wrong and where.
pub fn parse(body: &[u8]) -> Result<Value, JsonError> {
    let text = std::str::from_utf8(body).map_err(|error| JsonError::NotUtf8(error.valid_up_to()))?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.trim_ascii().is_empty() {
        return Err(JsonError::Empty);
    }
    let mut reader = serde_json::Deserializer::from_str(text);
    let value = Node { depth: 0 }.deserialize(&mut reader);
    let value = value.and_then(|value| reader.end().map(|()| value));
    value.map_err(|error| JsonError::Syntax(error.to_string()))
}

/// Reads one value at a depth.
struct Node {
    depth: usize,
}

impl Node {
    fn deeper<E: Error>(&self) -> Result<Self, E> {
        if self.depth == DEPTH_MAX {
            return Err(E::custom(format_args!("more than {DEPTH_MAX} levels of nesting")));
        }
        Ok(Self { depth: self.depth + 1 })
    }
}

impl<'de> DeserializeSeed<'de> for Node {
    type Value = Value;
    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<Value, D::Error> {
        reader.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Node {
    type Value = Value;
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }
    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }
    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }
    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }
    fn visit_f64<E>(self, value: f64) -> Result<Value, E> {
        Ok(Number::from_f64(value).map_or(Value::Null, Value::Number))
    }
    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(Value::String(value.to_owned()))
    }
    fn visit_string<E>(self, value: String) -> Result<Value, E> {
        Ok(Value::String(value))
    }
    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Value, A::Error> {
        let mut list = Vec::new();
        while let Some(item) = items.next_element_seed(self.deeper()?)? {
            list.push(item);
        }
        Ok(Value::Array(list))
    }
    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Value, A::Error> {
        let mut map = Map::new();
        while let Some(key) = entries.next_key::<String>()? {
            let value = entries.next_value_seed(self.deeper()?)?;
            // RFC 8259, section 4: what a reader makes of a repeated name is unpredictable.
            if map.get(&key).is_some_and(|known| *known != value) {
                return Err(A::Error::custom("a key stands twice in one object, with different values"));
            }
            map.insert(key, value);
        }
        Ok(Value::Object(map))
    }
}

/// The same value always as the same text: keys sorted, members that are null left out, so
/// that a field added later does not change what older content hashes to.
pub fn canonical(value: &Value) -> String {
    let mut text = String::new();
    write_canonical(value, &mut text);
    text
}

fn write_canonical(value: &Value, text: &mut String) {
    match value {
        Value::Array(items) => {
            text.push('[');
            for (nth, item) in items.iter().enumerate() {
                if nth > 0 {
                    text.push(',');
                }
                write_canonical(item, text);
            }
            text.push(']');
        }
        Value::Object(map) => {
            let mut entries: Vec<_> = map.iter().filter(|(_, value)| !value.is_null()).collect();
            entries.sort_by_key(|(key, _)| key.as_str());
            text.push('{');
            for (nth, (key, value)) in entries.into_iter().enumerate() {
                if nth > 0 {
                    text.push(',');
                }
                text.push_str(&Value::String(key.clone()).to_string());
                text.push(':');
                write_canonical(value, text);
            }
            text.push('}');
        }
        plain => text.push_str(&plain.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn usable_json_is_read_as_it_is() {
        for (text, value) in [
            ("\u{feff}{\"a\":[1,-2,2.5,true,null,\"é\"]}", json!({"a": [1, -2, 2.5, true, null, "é"]})),
            (" [] \n", json!([])),
            ("{\"a\":1,\"a\":1}", json!({"a": 1})),
        ] {
            assert_eq!(parse(text.as_bytes()), Ok(value), "{text}");
        }
    }

    #[test]
    fn unusable_json_says_what_is_wrong_and_where() {
        for (body, told) in [
            (&b""[..], "the body is empty"),
            (b" \n\t", "the body is empty"),
            (b"{\"name\":\"M\xfcller\"}", "not UTF-8 from byte 10 on"),
            (b"{\"a\":1", "EOF while parsing an object at line 1 column 6"),
            (b"{\"a\":1}}", "trailing characters at line 1 column 8"),
            (b"\x00\x01\x02", "expected value at line 1 column 1"),
            (b"{\"a\":1e999}", "number out of range"),
            (b"{\"a\":1,\n\"a\":2}", "a key stands twice in one object, with different values at line 2 column 6"),
            (b"\"\\ud800\"", "at line 1 column"),
            (b"hello", "expected value"),
        ] {
            let error = parse(body).unwrap_err().to_string();
            assert!(error.contains(told), "{error:?} should say {told:?}");
        }
    }

    #[test]
    fn nesting_has_a_limit() {
        let nested = |levels: usize| "[".repeat(levels) + &"]".repeat(levels);
        assert!(parse(nested(DEPTH_MAX).as_bytes()).is_ok());
        for levels in [DEPTH_MAX + 1, 200, 100_000] {
            let error = parse(nested(levels).as_bytes()).unwrap_err().to_string();
            assert!(error.contains("64 levels"), "{error}");
        }
    }

    #[test]
    fn the_canonical_text_does_not_depend_on_order_or_on_nothing() {
        let one = json!({"b": [1, {"y": 2, "x": null}], "a": "ü\n"});
        let other = json!({"a": "ü\n", "c": null, "b": [1, {"y": 2}]});
        assert_eq!(canonical(&one), canonical(&other));
        assert_eq!(canonical(&one), "{\"a\":\"ü\\n\",\"b\":[1,{\"y\":2}]}");
    }
}
