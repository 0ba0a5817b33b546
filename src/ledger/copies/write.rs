//! Writes a copy line by line.

use super::form::{End, Header, LINE_START, LINE_START_BYTES};
use super::{Counts, Item};
use crate::ledger::{Disk, DiskFile};
use crc32c::crc32c;
use sha2::{Digest, Sha256};
use std::io::{self, Write};

/// Writes one file of a copy.
pub struct Writer<W> {
    out: W,
    sha: Sha256,
    counts: Counts,
    line: Vec<u8>,
}

impl<W: Write> Writer<W> {
    /// Begins with the first line.
    ///
    /// # Errors
    /// Those of `out`.
    pub fn new(out: W, header: &Header) -> io::Result<Self> {
        let mut writer = Self { out, sha: Sha256::new(), counts: Counts::default(), line: Vec::new() };
        let json = serde_json::to_string(&header.written())?;
        // The object's own opening brace is replaced by the line's beginning.
        writer.put(&[&json[1..]])?;
        Ok(writer)
    }

    /// Writes a record.
    ///
    /// # Errors
    /// Those of `out`.
    pub fn item(&mut self, item: &Item) -> io::Result<()> {
        match item {
            Item::Fact { json, .. } => {
                self.counts.facts += 1;
                self.put(&["\"fact\":", json, "}"])
            }
            Item::Person { after, json } => {
                self.counts.persons += 1;
                self.put(&["\"after\":", &after.to_string(), ",\"person\":", json, "}"])
            }
        }
    }

    /// Writes the last line; gives back what was written to.
    ///
    /// # Errors
    /// Those of `out`.
    pub fn end(mut self) -> io::Result<(W, Counts)> {
        let sha256 = data_encoding::HEXLOWER.encode(&self.sha.clone().finalize());
        let end = End { facts: self.counts.facts, persons: self.counts.persons, sha256 };
        self.put(&["\"end\":", &serde_json::to_string(&end)?, "}"])?;
        self.out.flush()?;
        Ok((self.out, self.counts))
    }

    fn put(&mut self, rest: &[&str]) -> io::Result<()> {
        self.line.clear();
        self.line.resize(LINE_START_BYTES, 0);
        for part in rest {
            self.line.extend_from_slice(part.as_bytes());
        }
        let (start, rest) = self.line.split_at_mut(LINE_START_BYTES);
        start[..LINE_START.len()].copy_from_slice(LINE_START);
        start[LINE_START.len()..LINE_START_BYTES - 2].copy_from_slice(format!("{:08x}", crc32c(rest)).as_bytes());
        start[LINE_START_BYTES - 2..].copy_from_slice(b"\",");
        self.line.push(b'\n');
        self.sha.update(&self.line);
        self.out.write_all(&self.line)
    }
}

/// Written to a file of a [`Disk`] in pieces of this size.
const PIECE_BYTES: usize = 256 * 1024;

/// A file of a [`Disk`] that is written from its beginning to its end.
pub struct DiskOut {
    file: Box<dyn DiskFile>,
    offset: u64,
    waiting: Vec<u8>,
}

impl DiskOut {
    /// Makes the file.
    ///
    /// # Errors
    /// Those of the disk.
    pub fn create(disk: &dyn Disk, path: &str) -> io::Result<Self> {
        Ok(Self { file: disk.create(path)?, offset: 0, waiting: Vec::new() })
    }

    /// Makes the content durable; says how long it is. The name is not durable yet.
    ///
    /// # Errors
    /// Those of the disk.
    pub fn sync(mut self) -> io::Result<u64> {
        self.flush()?;
        self.file.sync_all()?;
        Ok(self.offset)
    }
}

impl Write for DiskOut {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.waiting.extend_from_slice(bytes);
        if self.waiting.len() >= PIECE_BYTES {
            self.flush()?;
        }
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        self.file.write_at(self.offset, &self.waiting)?;
        self.offset += self.waiting.len() as u64;
        self.waiting.clear();
        Ok(())
    }
}
