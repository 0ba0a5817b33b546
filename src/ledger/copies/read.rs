//! Reads a copy, and takes no line on trust.

use super::form::{End, HeaderStart, LINE_START, LINE_START_BYTES, NAME, WrittenHeader};
use super::{CopyError, Counts, FORM_VERSION, Header, Holds, Item};
use crc32c::crc32c;
use serde::Deserialize;
use serde_json::value::RawValue;
use sha2::{Digest, Sha256};
use std::io::{BufRead, Read};

/// A longer line is none: no group of the journal is longer.
const LINE_BYTES_MAX: u64 = 65 * 1024 * 1024;

/// Where a copy is read from, and what to call it in an error.
pub struct Source {
    /// For people.
    pub name: String,
    /// The lines.
    pub lines: Box<dyn BufRead + Send>,
}

/// A line behind the first one.
#[derive(Deserialize)]
struct Line<'a> {
    #[serde(borrow)]
    fact: Option<&'a RawValue>,
    after: Option<u64>,
    #[serde(borrow)]
    person: Option<&'a RawValue>,
    end: Option<End>,
}

/// Only a fact's number.
#[derive(Deserialize)]
pub(super) struct Numbered {
    pub seq: u64,
}

/// One file of a copy.
struct File {
    name: String,
    lines: Box<dyn BufRead + Send>,
    header: Header,
    sha: Sha256,
    counts: Counts,
    /// Lines read so far.
    line: u64,
    /// Place of the last record.
    place: u64,
    buffer: Vec<u8>,
    ended: bool,
}

impl File {
    fn open(source: Source) -> Result<Self, CopyError> {
        let Source { name, lines } = source;
        let header = Header {
            holds: Holds::All,
            installation: crate::ledger::InstallationId([0; 16]),
            key: None,
            upto: 0,
            made: jiff::Timestamp::UNIX_EPOCH,
        };
        let mut file = Self {
            name,
            lines,
            header,
            sha: Sha256::new(),
            counts: Counts::default(),
            line: 0,
            place: 0,
            buffer: Vec::new(),
            ended: false,
        };
        let not_a_copy = |file: &Self, what: &str| CopyError::NotACopy { file: file.name.clone(), what: what.into() };
        if !file.fill()? {
            return Err(not_a_copy(&file, "it is empty"));
        }
        let start: HeaderStart = serde_json::from_slice(&file.buffer)
            .map_err(|_| not_a_copy(&file, "its first line does not say what it is"))?;
        if start.dawnslip != NAME {
            return Err(not_a_copy(&file, &format!("it says that it is a {:?}", start.dawnslip)));
        }
        if start.v != FORM_VERSION {
            return Err(CopyError::Version { file: file.name, version: start.v, newest: FORM_VERSION });
        }
        file.check_line()?;
        let written: WrittenHeader =
            serde_json::from_slice(&file.buffer).map_err(|err| file.broken(format!("it cannot be read: {err}")))?;
        file.header = Header::meant(written).ok_or_else(|| file.broken("the key is no key"))?;
        file.sha.update(&file.buffer);
        Ok(file)
    }

    fn broken(&self, what: impl Into<String>) -> CopyError {
        CopyError::line(&self.name, self.line, what)
    }

    /// Reads the next line; false at the end.
    fn fill(&mut self) -> Result<bool, CopyError> {
        self.buffer.clear();
        self.line += 1;
        let read = (&mut self.lines).take(LINE_BYTES_MAX).read_until(b'\n', &mut self.buffer);
        let read = read.map_err(|cause| CopyError::Read { file: self.name.clone(), line: self.line, cause })?;
        Ok(read > 0)
    }

    fn check_line(&self) -> Result<(), CopyError> {
        if self.buffer.last() != Some(&b'\n') {
            return Err(self.broken("the file is cut off in the middle of this line"));
        }
        let rest = &self.buffer[..self.buffer.len() - 1];
        let digits = rest.get(LINE_START.len()..LINE_START.len() + 8);
        let whole = match (rest.get(LINE_START_BYTES..), digits) {
            // Compared as written: a digit in capitals would be another file.
            (Some(rest), Some(digits)) => {
                self.buffer.starts_with(LINE_START) && format!("{:08x}", crc32c(rest)).as_bytes() == digits
            }
            _ => false,
        };
        if whole { Ok(()) } else { Err(self.broken("its checksum does not fit: the line is not as it was written")) }
    }

    /// The next record with its line.
    fn next(&mut self) -> Result<Option<(u64, Item)>, CopyError> {
        if self.ended {
            return Ok(None);
        }
        if !self.fill()? {
            return Err(self.broken("the file is cut off: its last line is missing"));
        }
        self.check_line()?;
        let line: Line<'_> =
            serde_json::from_slice(&self.buffer).map_err(|err| self.broken(format!("it cannot be read: {err}")))?;
        let item = match line {
            Line { fact: Some(fact), after: None, person: None, end: None } => self.fact(fact.get())?,
            Line { after: Some(after), person: Some(person), fact: None, end: None } => {
                self.person(after, person.get())?
            }
            Line { end: Some(end), fact: None, after: None, person: None } => {
                self.check_end(&end)?;
                self.ended = true;
                return Ok(None);
            }
            _ => return Err(self.broken("it is no record")),
        };
        self.sha.update(&self.buffer);
        self.place = item.place();
        match item {
            Item::Fact { .. } => self.counts.facts += 1,
            Item::Person { .. } => self.counts.persons += 1,
        }
        Ok(Some((self.line, item)))
    }

    fn fact(&self, json: &str) -> Result<Item, CopyError> {
        let Numbered { seq } =
            serde_json::from_str(json).map_err(|err| self.broken(format!("the record has no number: {err}")))?;
        if !self.header.holds.facts() || seq > self.header.upto {
            return Err(self.broken(format!("record {seq} does not belong into this file")));
        }
        let expected = self.counts.facts + 1;
        if seq != expected {
            return Err(self.broken(format!("record {seq} stands where record {expected} should")));
        }
        Ok(Item::Fact { seq, json: json.to_owned() })
    }

    fn person(&self, after: u64, json: &str) -> Result<Item, CopyError> {
        let misplaced = match self.header.holds {
            Holds::All => after != self.place,
            Holds::Persons => after < self.place || after > self.header.upto,
            Holds::Facts => true,
        };
        if misplaced {
            return Err(self.broken(format!("a person's record from behind record {after} does not belong here")));
        }
        Ok(Item::Person { after, json: json.to_owned() })
    }

    fn check_end(&mut self, end: &End) -> Result<(), CopyError> {
        let Counts { facts, persons } = self.counts;
        if (end.facts, end.persons) != (facts, persons) {
            return Err(self.broken(format!(
                "lines are missing or too many: {facts} facts and {persons} persons' records were read, it says {} and {}",
                end.facts, end.persons
            )));
        }
        if self.header.holds.facts() && facts != self.header.upto {
            return Err(self.broken(format!("the first line promises {} facts, there are {facts}", self.header.upto)));
        }
        if end.sha256 != data_encoding::HEXLOWER.encode(&self.sha.clone().finalize()) {
            return Err(self.broken(
                "the checksum of the whole does not fit: each line is whole, but they are not those that were written",
            ));
        }
        if self.fill()? {
            return Err(self.broken("there is something behind the end"));
        }
        Ok(())
    }
}

/// Reads a copy: one file, or a file of facts and one of persons as if they were one. What it
/// gives counts only once it has ended without an error: the last line vouches for all others.
pub struct Reader {
    facts: File,
    persons: Option<File>,
    /// Read ahead, from the file of persons and from that of facts.
    person: Option<(u64, Item)>,
    fact: Option<(u64, Item)>,
    begun: bool,
    /// Line of the record that was given last.
    line: u64,
    over: bool,
}

impl Reader {
    /// A copy in one file.
    ///
    /// # Errors
    /// Where its first line is not that of a copy with facts.
    pub fn one(source: Source) -> Result<Self, CopyError> {
        Self::pair(source, None)
    }

    /// A copy whose persons stand in a file of their own.
    ///
    /// # Errors
    /// As [`Self::one`], and where the two do not belong together.
    pub fn pair(facts: Source, persons: Option<Source>) -> Result<Self, CopyError> {
        let facts = File::open(facts)?;
        if !facts.header.holds.facts() {
            let what = "it holds the persons of a copy; name the file of its facts first".to_owned();
            return Err(CopyError::NotACopy { file: facts.name, what });
        }
        let persons = persons.map(File::open).transpose()?;
        if let Some(persons) = &persons {
            let (one, two) = (&facts.header, &persons.header);
            let differs = if one.holds != Holds::Facts || two.holds != Holds::Persons {
                Some("the first must hold facts, the second persons".to_owned())
            } else if one.installation != two.installation {
                Some(format!("the first is of installation {}, the second of {}", one.installation, two.installation))
            } else if (one.upto, one.made) != (two.upto, two.made) {
                let told = |h: &Header| format!("made {} up to record {}", h.made, h.upto);
                Some(format!("the first was {}, the second {}", told(one), told(two)))
            } else {
                None
            };
            if let Some(what) = differs {
                return Err(CopyError::NotAPair { facts: facts.name, persons: persons.name.clone(), what });
            }
        }
        Ok(Self { facts, persons, person: None, fact: None, begun: false, line: 0, over: false })
    }

    /// The persons of a copy alone.
    ///
    /// # Errors
    /// Where its first line is not that of a file of persons.
    pub(super) fn persons(source: Source) -> Result<Self, CopyError> {
        let facts = File::open(source)?;
        if facts.header.holds != Holds::Persons {
            let what = "it holds no persons alone".to_owned();
            return Err(CopyError::NotACopy { file: facts.name, what });
        }
        Ok(Self { facts, persons: None, person: None, fact: None, begun: false, line: 0, over: false })
    }

    /// What the copy is; the key is there where persons are.
    pub fn header(&self) -> Header {
        let mut header = self.facts.header.clone();
        if let Some(persons) = &self.persons {
            header.holds = Holds::All;
            header.key = persons.header.key;
        }
        header
    }

    /// What was read so far.
    pub fn counts(&self) -> Counts {
        let persons = self.persons.as_ref().map_or(0, |persons| persons.counts.persons);
        Counts { facts: self.facts.counts.facts, persons: self.facts.counts.persons + persons }
    }

    /// Wraps what is wrong with the record that was given last.
    pub fn unreadable(&self, item: &Item, cause: crate::ledger::RecordError) -> CopyError {
        let file = match (item, &self.persons) {
            (Item::Person { .. }, Some(persons)) => persons,
            _ => &self.facts,
        };
        CopyError::Record { file: file.name.clone(), line: self.line, cause }
    }

    fn advance(&mut self) -> Result<Option<(u64, Item)>, CopyError> {
        let Some(persons) = &mut self.persons else { return self.facts.next() };
        if !self.begun {
            self.begun = true;
            self.fact = self.facts.next()?;
            self.person = persons.next()?;
        }
        let person_first = match (&self.fact, &self.person) {
            (Some((_, fact)), Some((_, person))) => person.place() < fact.place(),
            (None, Some(_)) => true,
            (_, None) => false,
        };
        Ok(if person_first {
            std::mem::replace(&mut self.person, persons.next()?)
        } else {
            std::mem::replace(&mut self.fact, self.facts.next()?)
        })
    }
}

impl Iterator for Reader {
    type Item = Result<Item, CopyError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.over {
            return None;
        }
        let next = self.advance().transpose();
        self.over = !matches!(next, Some(Ok(_)));
        next.map(|next| {
            next.map(|(line, item)| {
                self.line = line;
                item
            })
        })
    }
}
