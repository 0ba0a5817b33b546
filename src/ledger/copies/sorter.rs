//! Puts records into the order of the journal that come by order and month, in bounded memory:
//! by pieces of so many numbers, each kept in memory while there are few, else in a file until its
//! turn comes.

use super::{CopyError, Item};
use crate::ledger::Disk;
use std::collections::BTreeMap;

/// Directory of the pieces, on the disk that is given; emptied before and after.
pub const DIR: &str = "sorting";
/// Numbers a piece.
const PIECE_FACTS: u64 = 8192;
/// So much is held in memory before it is written to the pieces' files.
const HELD_BYTES_MAX: usize = 16 * 1024 * 1024;
const FACT: u8 = b'F';
const PERSON: u8 = b'P';

/// Takes records in any order, gives them in the journal's.
pub struct Sorter<'a> {
    disk: &'a dyn Disk,
    held: BTreeMap<u64, Vec<u8>>,
    held_bytes: usize,
    /// Lengths of the pieces' files.
    written: BTreeMap<u64, u64>,
}

impl<'a> Sorter<'a> {
    /// Begins; what an interrupted run left is removed.
    pub fn new(disk: &'a dyn Disk) -> Result<Self, CopyError> {
        let sorter = Self { disk, held: BTreeMap::new(), held_bytes: 0, written: BTreeMap::new() };
        clear(disk)?;
        Ok(sorter)
    }

    /// Takes a record.
    pub fn add(&mut self, item: &Item) -> Result<(), CopyError> {
        let (tag, json) = match item {
            Item::Fact { json, .. } => (FACT, json),
            Item::Person { json, .. } => (PERSON, json),
        };
        let piece = self.held.entry(item.place() / PIECE_FACTS).or_default();
        piece.push(tag);
        piece.extend_from_slice(&item.place().to_le_bytes());
        // A record is shorter than a frame.
        piece.extend_from_slice(&(json.len() as u32).to_le_bytes());
        piece.extend_from_slice(json.as_bytes());
        self.held_bytes += json.len() + HEAD_BYTES;
        if self.held_bytes >= HELD_BYTES_MAX { self.put_down() } else { Ok(()) }
    }

    fn put_down(&mut self) -> Result<(), CopyError> {
        if self.written.is_empty() {
            self.disk.create_dir(DIR).map_err(CopyError::write(DIR))?;
        }
        for (piece, bytes) in std::mem::take(&mut self.held) {
            let path = path_of(piece);
            let length = self.written.entry(piece).or_default();
            let file = if *length == 0 { self.disk.create(&path) } else { self.disk.open(&path) };
            file.and_then(|mut file| file.write_at(*length, &bytes)).map_err(CopyError::write(&path))?;
            *length += bytes.len() as u64;
        }
        self.held_bytes = 0;
        Ok(())
    }

    /// Gives all records to `take`, each once, in order, and removes the files.
    pub fn each(mut self, mut take: impl FnMut(Item) -> Result<(), CopyError>) -> Result<(), CopyError> {
        let pieces: Vec<u64> = self.held.keys().chain(self.written.keys()).copied().collect();
        let pieces: std::collections::BTreeSet<u64> = pieces.into_iter().collect();
        for piece in pieces {
            let mut bytes = Vec::new();
            if self.written.remove(&piece).is_some() {
                let path = path_of(piece);
                bytes = self.disk.read(&path).map_err(read_failed(&path))?;
                self.disk.remove(&path).map_err(CopyError::write(&path))?;
            }
            bytes.extend(self.held.remove(&piece).unwrap_or_default());
            let mut records = records_of(&bytes);
            // Facts before persons of the same place; the same record twice stands side by side.
            records.sort_unstable();
            records.dedup();
            for (place, tag, json) in records {
                take(match tag {
                    Tag::Fact => Item::Fact { seq: place, json: json.to_owned() },
                    Tag::Person => Item::Person { after: place, json: json.to_owned() },
                })?;
            }
        }
        Ok(())
    }
}

impl Drop for Sorter<'_> {
    fn drop(&mut self) {
        // What is left holds names; the next run would remove it, too.
        if !self.written.is_empty() && clear(self.disk).is_err() {
            tracing::warn!("files of an interrupted copy could not be removed");
        }
    }
}

/// Removes what an interrupted run left.
pub fn clear(disk: &dyn Disk) -> Result<(), CopyError> {
    for name in crate::ledger::segment::list_or_empty(disk, DIR)? {
        let path = format!("{DIR}/{name}");
        disk.remove(&path).map_err(CopyError::write(&path))?;
    }
    Ok(())
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Tag {
    Fact,
    Person,
}

const HEAD_BYTES: usize = 1 + 8 + 4;

fn path_of(piece: u64) -> String {
    format!("{DIR}/{piece:012}")
}

fn read_failed(path: &str) -> impl FnOnce(std::io::Error) -> CopyError {
    move |cause| CopyError::Read { file: path.to_owned(), line: 1, cause }
}

/// Records of a piece. It was written by this process a moment ago: what does not read back is
/// left out here, and is missed when the numbers are counted.
fn records_of(bytes: &[u8]) -> Vec<(u64, Tag, &str)> {
    let mut records = Vec::new();
    let mut rest = bytes;
    while let Some((head, behind)) = rest.split_at_checked(HEAD_BYTES) {
        let mut place = [0; 8];
        place.copy_from_slice(&head[1..9]);
        let mut length = [0; 4];
        length.copy_from_slice(&head[9..13]);
        let Some((json, next)) = behind.split_at_checked(u32::from_le_bytes(length) as usize) else { break };
        let Ok(json) = std::str::from_utf8(json) else { break };
        let tag = if head[0] == FACT { Tag::Fact } else { Tag::Person };
        records.push((u64::from_le_bytes(place), tag, json));
        rest = next;
    }
    records
}
