//! A file of messages taken apart: JSON, several JSON values in a row, or NDJSON. Pure.

use serde_json::value::RawValue;

/// One message of a file, byte for byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Piece<'a> {
    /// Where it begins: line, from 1.
    pub line: usize,
    /// The message, or why it is none.
    pub text: Result<&'a str, &'a str>,
}

/// Takes a file apart. One JSON object is one message; of one array each element is; else
/// every value is, and where the whole does not parse, every line by itself, so that one bad
/// line costs no other.
pub fn pieces(file: &str) -> Vec<Piece<'_>> {
    // Some programs put a byte order mark in front.
    let file = file.strip_prefix('\u{feff}').unwrap_or(file);
    let values: Result<Vec<&RawValue>, _> = serde_json::Deserializer::from_str(file).into_iter().collect();
    match values.as_deref() {
        Ok([array]) if array.get().starts_with('[') => {
            let elements: Vec<&RawValue> = serde_json::from_str(array.get()).unwrap_or_default();
            elements.iter().map(|element| piece(file, element)).collect()
        }
        Ok(values) => values.iter().map(|value| piece(file, value)).collect(),
        Err(_) => {
            let lines = file.lines().enumerate().filter(|(_, line)| !line.trim().is_empty());
            lines
                .map(|(index, line)| {
                    let text = serde_json::from_str::<&RawValue>(line).map(RawValue::get).map_err(|_| line);
                    Piece { line: index + 1, text }
                })
                .collect()
        }
    }
}

fn piece<'a>(file: &'a str, value: &'a RawValue) -> Piece<'a> {
    let text = value.get();
    // The value borrows from the file, so the distance of their beginnings is its place.
    let offset = (text.as_ptr() as usize).saturating_sub(file.as_ptr() as usize);
    let before = file.get(..offset).unwrap_or("");
    Piece { line: before.matches('\n').count() + 1, text: Ok(text) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shape_of_file_comes_apart_and_no_byte_changes() {
        let good = |line, text| Piece { line, text: Ok(text) };
        for (file, expected) in [
            ("", vec![]),
            (" \n ", vec![]),
            ("{\"a\": 1 }\n", vec![good(1, "{\"a\": 1 }")]),
            ("\u{feff}{\n \"a\":1}", vec![good(1, "{\n \"a\":1}")]),
            ("[\n{\"a\":1},\n{\"a\": 2}]", vec![good(2, "{\"a\":1}"), good(3, "{\"a\": 2}")]),
            ("{\"a\":1}\n\n{\"a\":2}\n", vec![good(1, "{\"a\":1}"), good(3, "{\"a\":2}")]),
            (
                "{\"a\":1}\n{\"a\":\n{\"a\":3}\n",
                vec![good(1, "{\"a\":1}"), Piece { line: 2, text: Err("{\"a\":") }, good(3, "{\"a\":3}")],
            ),
        ] {
            assert_eq!(pieces(file), expected, "{file:?}");
        }
    }
}
