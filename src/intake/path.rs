//! Paths into a payload: RFC 6901 pointers and RFC 9535 queries, both from our own
//! configuration only.

use serde_json::Value;
use serde_json_path::{JsonPath, PathElement};

/// Longest path; nested filters are parsed in exponential time, so queries stay short.
pub const PATH_BYTES_MAX: usize = 200;
/// Brackets within brackets in a query.
pub const PATH_NESTING_MAX: usize = 4;

/// A value with the place where it stands.
#[derive(Debug, Clone)]
pub struct Spot<'v> {
    /// The value.
    pub value: &'v Value,
    /// RFC 6901 pointer from the whole body.
    pub pointer: String,
}

impl<'v> Spot<'v> {
    /// The whole body.
    pub fn whole(value: &'v Value) -> Self {
        Self { value, pointer: String::new() }
    }
    /// The member of an object, unless it is missing or null.
    pub fn member(&self, key: &str) -> Option<Self> {
        let value = self.value.get(key).filter(|value| !value.is_null())?;
        Some(Self { value, pointer: format!("{}/{}", self.pointer, escaped(key)) })
    }
    /// The elements of an array; anything else is its own only element.
    pub fn each(&self) -> Vec<Self> {
        match self.value {
            Value::Array(items) => items
                .iter()
                .enumerate()
                .map(|(nth, value)| Self { value, pointer: format!("{}/{nth}", self.pointer) })
                .collect(),
            _ => vec![self.clone()],
        }
    }
}

/// A member's name as a step of a pointer (RFC 6901, section 3).
fn escaped(key: &str) -> String {
    key.replace('~', "~0").replace('/', "~1")
}

/// A path that was checked.
#[derive(Debug, Clone)]
pub enum Path {
    /// RFC 6901.
    Pointer(String),
    /// RFC 9535.
    Query(Box<JsonPath>),
}

impl Path {
    /// Reads a path.
    ///
    /// # Errors
    /// A sentence for the person who wrote it.
    pub fn parse(text: &str) -> Result<Self, String> {
        if text.len() > PATH_BYTES_MAX {
            return Err(format!("the path is longer than {PATH_BYTES_MAX} bytes"));
        }
        if text.is_empty() || text.starts_with('/') {
            let bytes = text.as_bytes();
            let bad = (0..bytes.len()).any(|at| bytes[at] == b'~' && !matches!(bytes.get(at + 1), Some(b'0' | b'1')));
            return if bad {
                Err(format!("{text:?}: in a pointer (RFC 6901) a ~ is written ~0, and a / within a name ~1"))
            } else {
                Ok(Self::Pointer(text.to_owned()))
            };
        }
        if !text.starts_with('$') {
            return Err(format!(
                "{text:?} is no path: write a pointer like \"/order/number\" or a query like \"$.order.number\""
            ));
        }
        if nesting(text) > PATH_NESTING_MAX {
            return Err(format!("{text:?}: brackets stand more than {PATH_NESTING_MAX} deep"));
        }
        JsonPath::parse(text)
            .map(|query| Self::Query(Box::new(query)))
            .map_err(|error| format!("{text:?} is not a query of RFC 9535: {error}"))
    }

    /// Everything that the path finds from here, in order; nulls count as nothing.
    pub fn find<'v>(&self, from: &Spot<'v>) -> Vec<Spot<'v>> {
        match self {
            Self::Pointer(pointer) => from
                .value
                .pointer(pointer)
                .filter(|value| !value.is_null())
                .map(|value| Spot { value, pointer: format!("{}{pointer}", from.pointer) })
                .into_iter()
                .collect(),
            Self::Query(query) => query
                .query_located(from.value)
                .iter()
                .filter(|found| !found.node().is_null())
                .map(|found| {
                    let mut pointer = from.pointer.clone();
                    for step in found.location().iter() {
                        pointer.push('/');
                        match step {
                            PathElement::Name(name) => pointer.push_str(&escaped(name)),
                            PathElement::Index(index) => pointer.push_str(&index.to_string()),
                        }
                    }
                    Spot { value: found.node(), pointer }
                })
                .collect(),
        }
    }

    /// The first that it finds.
    pub fn first<'v>(&self, from: &Spot<'v>) -> Option<Spot<'v>> {
        self.find(from).into_iter().next()
    }
}

/// Deepest brackets of a query. Those within quotes are counted too, which is only stricter.
fn nesting(text: &str) -> usize {
    let (mut open, mut deepest) = (0usize, 0);
    for byte in text.bytes() {
        match byte {
            b'[' | b'(' => open += 1,
            b']' | b')' => open = open.saturating_sub(1),
            _ => {}
        }
        deepest = deepest.max(open);
    }
    deepest
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6901, sections 4 and 5: the published document and table.
    #[test]
    fn pointers_find_what_rfc_6901_says() {
        let table: Value =
            serde_json::from_str(include_str!("../../tests/standards/json_pointer_rfc6901.json")).unwrap();
        let document = Spot::whole(&table["document"]);
        for case in table["pointers"].as_array().unwrap() {
            let pointer = case["pointer"].as_str().unwrap();
            let found = Path::parse(pointer).unwrap().first(&document).unwrap();
            assert_eq!((found.value, found.pointer.as_str()), (&case["value"], pointer));
        }
        let order = &table["escape_order"];
        let path = Path::parse(order["pointer"].as_str().unwrap()).unwrap();
        assert_eq!(path.first(&Spot::whole(&order["document"])).unwrap().value, &order["value"]);
        for case in table["errors"].as_array().unwrap() {
            let told = Path::parse(case["pointer"].as_str().unwrap());
            assert!(told.is_err() || told.unwrap().first(&document).is_none(), "{case}");
        }
    }

    /// RFC 9535, section 1.5, table 2: the published document and queries. The order of an
    /// object's children is free there, so values are compared as sets.
    #[test]
    fn queries_find_what_rfc_9535_says() {
        let table: Value = serde_json::from_str(include_str!("../../tests/standards/jsonpath_rfc9535.json")).unwrap();
        let document = Spot::whole(&table["document"]);
        for case in table["queries"].as_array().unwrap() {
            let found = Path::parse(case["query"].as_str().unwrap()).unwrap().find(&document);
            assert_eq!(found.len() as u64, case["count"].as_u64().unwrap(), "{case}");
            for spot in &found {
                // The pointer beside each value leads to that very value.
                assert!(std::ptr::eq(document.value.pointer(&spot.pointer).unwrap(), spot.value));
            }
            if let Some(values) = case["values"].as_array() {
                assert!(values.iter().all(|value| found.iter().any(|spot| spot.value == value)), "{case}");
            }
        }
    }

    #[test]
    fn a_path_that_is_none_says_how_to_write_one() {
        for (path, told) in [
            ("order/number", "write a pointer like"),
            ("/a~b", "~0"),
            ("$.order[", "RFC 9535"),
            ("$[?@[?@[?@[?@[?@.a]]]]]", "more than 4 deep"),
            (&*format!("/{}", "a".repeat(PATH_BYTES_MAX)), "longer than 200 bytes"),
        ] {
            let error = Path::parse(path).unwrap_err();
            assert!(error.contains(told), "{error}");
        }
        assert!(Path::parse(&format!("/{}", "a".repeat(PATH_BYTES_MAX - 1))).is_ok());
    }

    #[test]
    fn a_null_is_nothing() {
        let value = serde_json::json!({"a": null, "b": [null, 1], "c/d": 2});
        let whole = Spot::whole(&value);
        assert!(Path::parse("/a").unwrap().first(&whole).is_none());
        assert_eq!(Path::parse("$.b[*]").unwrap().find(&whole)[0].pointer, "/b/1");
        assert_eq!(whole.member("c/d").unwrap().pointer, "/c~1d");
    }
}
