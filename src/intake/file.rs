//! Messages from a file or stdin, for `dawnslip intake`: one JSON document (an array is a
//! message for each element) or NDJSON (one message a line). Read as a stream: a file may be
//! larger than memory, one message may not.

use serde::Deserialize;
use serde::de::{Deserializer, Error as _, SeqAccess, Visitor};
use serde_json::value::RawValue;
use std::cell::Cell;
use std::fmt;
use std::io::{self, BufRead, Read};
use std::ops::ControlFlow;

/// Bytes of one message in a file.
pub const MESSAGE_BYTES_MAX: usize = 4 * 1024 * 1024;

/// Why a part of a file cannot be taken in.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The file itself cannot be read.
    #[error("the file cannot be read any further")]
    Read(#[source] io::Error),
    /// Neither JSON nor NDJSON.
    #[error("this is not JSON: {0}")]
    NotJson(String),
    /// One message without end.
    #[error("this is longer than {MESSAGE_BYTES_MAX} bytes; split the file, one order a line")]
    TooLong,
    /// There is nothing in it.
    #[error("the file is empty")]
    Empty,
}

impl FileError {
    /// The parser counts lines from where it began; the line of the file stands in [`Piece`].
    fn not_json(error: &serde_json::Error) -> Self {
        let told = error.to_string();
        let what = told.rsplit_once(" at line ").map_or(told.as_str(), |(what, _)| what);
        Self::NotJson(format!("{what}, column {}", error.column()))
    }
}

/// One message of a file, or what is wrong at this place.
#[derive(Debug)]
pub struct Piece {
    /// Line on which it begins, from 1.
    pub line: u64,
    /// The message's bytes as they stand in the file.
    pub message: Result<Vec<u8>, FileError>,
}

impl Piece {
    /// `orders.ndjson:17`, for messages to people.
    pub fn place(&self, file: &str) -> String {
        format!("{file}:{}", self.line)
    }
}

/// Reads messages and gives each to `take`, in order, until it breaks off. In NDJSON a bad
/// line does not stop the rest; in a document what follows a mistake cannot be read.
pub fn read(input: impl Read, mut take: impl FnMut(Piece) -> ControlFlow<()>) {
    let mut input = Lines { input: io::BufReader::new(input), line: 1 };
    let first = match input.first_byte() {
        Ok(Some(first)) => first,
        Ok(None) => {
            let _ = take(Piece { line: 1, message: Err(FileError::Empty) });
            return;
        }
        Err(cause) => {
            let _ = take(Piece { line: input.line, message: Err(FileError::Read(cause)) });
            return;
        }
    };
    if first == b'[' {
        let line = input.line;
        return read_document(input.input, line, Shape::Arrays, &mut take);
    }
    let Some((line, text)) = input.next() else { return };
    match text {
        // An object that its first line does not close spans several lines.
        Ok(text)
            if first == b'{' && serde_json::from_slice::<&RawValue>(text.trim_ascii()).is_err_and(|e| e.is_eof()) =>
        {
            read_document(io::Cursor::new(text).chain(input.input), line, Shape::Objects, &mut take);
        }
        text => read_lines((line, text), input, &mut take),
    }
}

fn read_lines<R: Read>(
    first: (u64, Result<Vec<u8>, FileError>),
    mut rest: Lines<R>,
    take: &mut impl FnMut(Piece) -> ControlFlow<()>,
) {
    let mut next = Some(first);
    while let Some((line, text)) = next {
        let failed = matches!(text, Err(FileError::Read(_)));
        let message = text.and_then(|text| match text.trim_ascii() {
            b"" => Ok(None),
            text => match serde_json::from_slice::<&RawValue>(text) {
                Ok(_) => Ok(Some(text.to_vec())),
                Err(error) => Err(FileError::not_json(&error)),
            },
        });
        let stopped = message.transpose().is_some_and(|message| take(Piece { line, message }).is_break());
        if stopped || failed {
            return;
        }
        next = rest.next();
    }
}

/// Lines of bounded length, counted.
struct Lines<R> {
    input: io::BufReader<R>,
    /// The line that is read next, from 1.
    line: u64,
}

impl<R: Read> Lines<R> {
    /// Skips a byte order mark and blank lines, and looks at what comes then.
    fn first_byte(&mut self) -> io::Result<Option<u8>> {
        if self.input.fill_buf()?.starts_with(b"\xef\xbb\xbf") {
            self.input.consume(3);
        }
        loop {
            let Some(&byte) = self.input.fill_buf()?.first() else { return Ok(None) };
            if !byte.is_ascii_whitespace() {
                return Ok(Some(byte));
            }
            self.input.consume(1);
            self.line += u64::from(byte == b'\n');
        }
    }

    /// The next line with its number; one that is too long is skipped to its end and reported.
    fn next(&mut self) -> Option<(u64, Result<Vec<u8>, FileError>)> {
        let line = self.line;
        self.line += 1;
        let mut text = Vec::new();
        let limit = MESSAGE_BYTES_MAX as u64 + 1;
        match (&mut self.input).take(limit).read_until(b'\n', &mut text) {
            Err(error) => return Some((line, Err(FileError::Read(error)))),
            Ok(0) => return None,
            Ok(_) => {}
        }
        if text.last() != Some(&b'\n') && text.len() as u64 == limit {
            let skipped = self.input.skip_until(b'\n');
            return Some((line, Err(skipped.map_or_else(FileError::Read, |_| FileError::TooLong))));
        }
        Some((line, Ok(text)))
    }
}

/// What a document that spans lines consists of.
#[derive(Clone, Copy)]
enum Shape {
    /// Arrays (mostly one): each element is a message.
    Arrays,
    /// Objects one after another (mostly one): each is a message.
    Objects,
}

fn read_document(input: impl BufRead, line: u64, shape: Shape, take: &mut impl FnMut(Piece) -> ControlFlow<()>) {
    let place = Place { line: Cell::new(line), taken: Cell::new(0) };
    let mut reader = serde_json::Deserializer::from_reader(Counted { input: input.bytes(), place: &place });
    let mut stopped = false;
    let mut each = |raw: Box<RawValue>| {
        let text = raw.get();
        let breaks = text.bytes().filter(|byte| *byte == b'\n').count() as u64;
        place.taken.set(0);
        stopped = take(Piece { line: place.line.get() - breaks, message: Ok(text.as_bytes().to_vec()) }).is_break();
        if stopped { Err(serde_json::Error::custom("stopped by the caller")) } else { Ok(()) }
    };
    let read = loop {
        let part = match shape {
            Shape::Arrays => (&mut reader).deserialize_seq(Elements(&mut each)),
            Shape::Objects => Box::<RawValue>::deserialize(&mut reader).and_then(&mut each),
        };
        // Something more may follow; only the end of the file is the end.
        match part.map(|()| reader.end()) {
            Ok(Ok(())) => break Ok(()),
            Ok(Err(error)) if error.is_syntax() => {}
            Ok(Err(error)) | Err(error) => break Err(error),
        }
    };
    if let (Err(error), false) = (read, stopped) {
        let message = match error.is_io() {
            true if place.taken.get() > MESSAGE_BYTES_MAX => FileError::TooLong,
            true => FileError::Read(error.into()),
            false => FileError::not_json(&error),
        };
        let _ = take(Piece { line: place.line.get(), message: Err(message) });
    }
}

/// Where the parser is.
struct Place {
    line: Cell<u64>,
    /// Bytes since the last message ended.
    taken: Cell<usize>,
}

/// The parser reads byte by byte, and so the count is where the parser is.
struct Counted<'p, R> {
    input: io::Bytes<R>,
    place: &'p Place,
}

impl<R: Read> Read for Counted<'_, R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let Some(first) = into.first_mut() else { return Ok(0) };
        let Some(byte) = self.input.next() else { return Ok(0) };
        *first = byte?;
        self.place.line.set(self.place.line.get() + u64::from(*first == b'\n'));
        self.place.taken.set(self.place.taken.get() + 1);
        if self.place.taken.get() > MESSAGE_BYTES_MAX {
            return Err(io::Error::other("one message is too long"));
        }
        Ok(1)
    }
}

/// Gives each element of an array on as its text.
struct Elements<'e, F>(&'e mut F);

impl<'de, F: FnMut(Box<RawValue>) -> Result<(), serde_json::Error>> Visitor<'de> for Elements<'_, F> {
    type Value = ();
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an array of messages")
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<(), A::Error> {
        while let Some(raw) = items.next_element::<Box<RawValue>>()? {
            (self.0)(raw).map_err(A::Error::custom)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every piece as `LINE=message` or `LINE!error`.
    fn pieces(text: &[u8]) -> Vec<String> {
        let mut told = Vec::new();
        read(text, |piece| {
            told.push(match piece.message {
                Ok(message) => format!("{}={}", piece.line, String::from_utf8_lossy(&message)),
                Err(error) => format!("{}!{error}", piece.line),
            });
            ControlFlow::Continue(())
        });
        told
    }

    #[test]
    fn a_file_holds_one_message_a_line_or_one_document() {
        for (text, wanted) in [
            ("{\"a\":1}\n\n{\"a\":2}\r\n", vec!["1={\"a\":1}", "3={\"a\":2}"]),
            ("\u{feff}\n {\"a\":1}", vec!["2={\"a\":1}"]),
            ("{\n \"a\": 1\n}\n", vec!["1={\n \"a\": 1\n}"]),
            ("{\n \"a\": 1\n}\n{\n \"a\": 2\n}", vec!["1={\n \"a\": 1\n}", "4={\n \"a\": 2\n}"]),
            ("[{\"a\":1}, {\"a\":2}]", vec!["1={\"a\":1}", "1={\"a\":2}"]),
            ("[\n  {\"a\":1},\n  {\"a\":\n2}\n]\n", vec!["2={\"a\":1}", "3={\"a\":\n2}"]),
            ("[1]\n[2]\n", vec!["1=1", "2=2"]),
            ("[]", vec![]),
        ] {
            assert_eq!(pieces(text.as_bytes()), wanted, "{text:?}");
        }
    }

    #[test]
    fn a_bad_line_is_told_and_does_not_stop_the_rest() {
        let told = pieces(b"{\"a\":1}\nnot json\n{\"a\":\xff\"}\n{\"a\":2}\n");
        assert_eq!(told.len(), 4, "{told:?}");
        assert!(told[1].starts_with("2!this is not JSON"), "{told:?}");
        assert!(told[2].starts_with("3!this is not JSON"), "{told:?}");
        assert_eq!(told[3], "4={\"a\":2}");
    }

    #[test]
    fn a_document_that_breaks_off_says_where() {
        for (text, last) in [
            ("[\n{\"a\":1},\n{\"a\":", "3!this is not JSON: EOF while parsing"),
            ("{\n\"a\":1,\n", "3!this is not JSON: EOF while parsing"),
            ("[1] x", "1!this is not JSON: expected value, column 5"),
            ("garbage", "1!this is not JSON: expected value"),
            ("", "1!the file is empty"),
            (" \n\n", "1!the file is empty"),
        ] {
            let told = pieces(text.as_bytes());
            assert!(told.last().unwrap().starts_with(last), "{text:?}: {told:?}");
        }
    }

    #[test]
    fn one_message_has_a_limit_and_a_file_has_none() {
        let fits = format!("\"{}\"", "a".repeat(MESSAGE_BYTES_MAX - 10));
        let long = format!("\"{}\"", "a".repeat(MESSAGE_BYTES_MAX + 10));
        let told = pieces(format!("{fits}\n{long}\n{fits}\n1").as_bytes());
        let kinds: Vec<_> = told.iter().map(|piece| &piece[..2]).collect();
        assert_eq!(kinds, ["1=", "2!", "3=", "4="]);
        let told = pieces(format!("[{fits},\n{fits},{long},1]").as_bytes());
        assert_eq!(told.len(), 3);
        assert!(told[2].starts_with("2!this is longer than"), "{}", &told[2][..40]);
    }

    #[test]
    fn the_caller_can_break_off() {
        for text in ["1\n2\n3\n", "[1,2,3]"] {
            let mut seen = 0;
            read(text.as_bytes(), |_| {
                seen += 1;
                ControlFlow::Break(())
            });
            assert_eq!(seen, 1, "{text:?}");
        }
    }

    #[test]
    fn a_place_is_file_and_line() {
        let piece = Piece { line: 17, message: Err(FileError::TooLong) };
        assert_eq!(piece.place("orders.ndjson"), "orders.ndjson:17");
    }
}
