//! The journal: append-only segments of frames, one frame and one fdatasync a sync group.
//!
//! Format in [`super::frame`]. What may be torn and what is damage: see [`super::segment`].

use super::frame::{self, Chain, FrameBuilder, HEADER_BYTES, Header};
use super::installation::InstallationId;
use super::segment::{
    NumberedLine, Scan, header_damaged, read_header, read_headers, scan, segment_numbers, segment_path,
};
use super::{AppendError, Disk, DiskFile, LedgerError, Line, Refusal, Tag};
use std::sync::Arc;

/// Directory of the segments.
pub const DIR: &str = "journal";
/// Directory of what was cut off or moved aside.
pub const ASIDE_DIR: &str = "aside";
/// A segment that is longer than this gets a successor.
pub const SEGMENT_BYTES: u64 = 16 * 1024 * 1024;
/// Room is reserved in steps of this, so that a full disk shows before a frame is begun.
const RESERVE_BYTES: u64 = 4 * 1024 * 1024;

/// What was cut off at the journal's end: a group that was being written when the power went.
/// Nobody was told that it was kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutTail {
    /// The segment.
    pub file: String,
    /// From which byte.
    pub offset: u64,
    /// How many bytes.
    pub bytes: u64,
    /// Where they were put.
    pub kept_in: String,
    /// Number that the first fact of the group would have had.
    pub sequence: u64,
}

impl std::fmt::Display for CutTail {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { file, bytes, kept_in, sequence, .. } = self;
        write!(
            f,
            "what was being written when the program stopped was cut off ({bytes} bytes of {file}, kept in {kept_in}"
        )?;
        if *sequence > 0 {
            write!(f, "; it would have been record {sequence}")?;
        }
        f.write_str("); nobody had been told that it was kept")
    }
}

/// The journal, open for appending.
pub(super) struct Journal {
    disk: Arc<dyn Disk>,
    id: InstallationId,
    /// First sequence number of each segment that is there, ascending by number.
    segments: Vec<(u64, u64)>,
    file: Box<dyn DiskFile>,
    path: String,
    pub segment_bytes: u64,
    /// Good length of the last segment.
    end: u64,
    reserved: u64,
    /// A part of a refused frame may lie behind the end.
    uncut: bool,
    next_seq: u64,
    sealed: bool,
    chain: Chain,
    builder: FrameBuilder,
    /// Set by the first failure after which the file's content is uncertain; nothing is written then.
    failed: bool,
}

impl Journal {
    /// Makes a first segment; anything of that name held no frame.
    pub fn create(disk: &Arc<dyn Disk>, id: InstallationId, number: u64, first_seq: u64) -> Result<(), LedgerError> {
        let header = Header { number, installation: id.0, first_seq, before: [0; 32] };
        let path = segment_path(number);
        new_segment(disk.as_ref(), &path, &header).map(drop).map_err(LedgerError::disk("make", &path))
    }

    /// Checks the segments from the one that holds the fact after `after` on, cuts a torn tail
    /// (kept aside), makes durable what was found, and gives every line after `after` to `take`.
    /// Up to the fact `must_reach` all is known to have been durable: a journal that ends before
    /// it is damaged, and is left as it is.
    pub fn open(
        disk: Arc<dyn Disk>,
        id: InstallationId,
        after: u64,
        must_reach: u64,
        mut take: impl FnMut(NumberedLine),
    ) -> Result<(Self, Option<CutTail>), LedgerError> {
        let unfinished = unfinished_segment(disk.as_ref(), id)?;
        let mut torn_tail = None;
        let headers = read_headers(disk.as_ref(), id)?;
        let first = headers.iter().rposition(|header| header.first_seq <= after + 1);
        let Some(first) = first else {
            let begins = headers.first().map_or(0, |header| header.first_seq);
            let what = format!("the journal begins with record {begins}, record {} is needed", after + 1);
            return Err(LedgerError::Incomplete { what });
        };
        let mut last: Option<Scan> = None;
        let mut unsure = Vec::new();
        for header in &headers[first..] {
            let file = segment_path(header.number);
            let bytes = disk.read(&file).map_err(LedgerError::disk("read", &file))?;
            if let Some(before) = &last {
                check_successor(&file, header, before)?;
            }
            let found = scan(&file, &bytes, header, |line| {
                if line.seq > after {
                    take(line);
                }
            })?;
            let is_last = Some(header) == headers.last();
            if found.torn && !is_last {
                let what = "a frame is broken, though another segment was begun after it".to_owned();
                return Err(LedgerError::Damaged { file, offset: found.end, sequence: found.next_seq, what });
            }
            if found.next_seq <= must_reach && is_last {
                let what = format!(
                    "the journal ends with record {}, record {must_reach} was there before",
                    found.next_seq - 1
                );
                return Err(if found.torn {
                    LedgerError::Damaged { file, offset: found.end, sequence: found.next_seq, what }
                } else {
                    LedgerError::Incomplete { what }
                });
            }
            if is_last {
                unsure = bytes[found.last as usize..found.end as usize].to_vec();
            }
            if found.torn {
                torn_tail = Some((file, bytes));
            }
            last = Some(found);
        }
        let (Some(found), Some(header)) = (last, headers.last()) else {
            return Err(LedgerError::Incomplete { what: "the journal has no segment".to_owned() });
        };
        let mut cut = unfinished.map(|file| move_aside(disk.as_ref(), file)).transpose()?;
        if let Some((file, bytes)) = torn_tail {
            cut = Some(keep_tail(disk.as_ref(), &file, &bytes, &found)?);
        }
        let path = segment_path(header.number);
        let sync = || {
            let mut file = disk.open(&path)?;
            file.truncate(found.end)?;
            // What was read may so far stand in the machine's memory only: after a kill, or, and then
            // no sync would write it, after a sync that failed (fsync(2)). Before the last frame all was synced.
            file.write_at(found.last, &unsure)?;
            file.sync_all()?;
            disk.sync_dir(DIR)?;
            Ok(file)
        };
        let file = sync().map_err(LedgerError::disk("sync", &path))?;
        let journal = Self {
            id,
            segments: headers.iter().map(|header| (header.number, header.first_seq)).collect(),
            file,
            path,
            segment_bytes: SEGMENT_BYTES,
            end: found.end,
            reserved: found.end,
            uncut: false,
            next_seq: found.next_seq,
            sealed: found.sealed,
            chain: found.chain,
            builder: FrameBuilder::default(),
            failed: false,
            disk,
        };
        Ok((journal, cut))
    }

    /// Nothing has failed so far: what was appended is durable.
    pub fn is_well(&self) -> bool {
        !self.failed
    }

    /// Number that the next fact gets.
    pub fn next_seq(&self) -> u64 {
        self.next_seq
    }

    /// Writes one group and syncs it.
    pub fn append(&mut self, first_seq: u64, lines: &[Line]) -> Result<(), AppendError> {
        let misuse = |what: String| Err(AppendError::Failed(LedgerError::Misuse { what }));
        if self.failed {
            return misuse("the journal failed before".to_owned());
        }
        if first_seq != self.next_seq {
            return misuse(format!("a group begins with record {first_seq}, the next one is {}", self.next_seq));
        }
        if lines.iter().any(|line| line.json.contains('\n')) {
            return misuse(format!("a line of the group from record {first_seq} on holds a line break"));
        }
        if self.end >= self.segment_bytes && self.end > HEADER_BYTES as u64 {
            self.roll()?;
        }
        let facts = lines.iter().filter(|line| line.tag == Tag::Fact).count() as u64;
        let mut builder = std::mem::take(&mut self.builder);
        let written = match builder.group(first_seq, lines) {
            None => misuse(format!("the group from record {first_seq} on is too long for a frame")),
            Some(frame) => self.write(frame),
        };
        self.builder = builder;
        written?;
        self.next_seq += facts;
        self.sealed = false;
        Ok(())
    }

    /// Writes a seal if the last frame is none, so that damage to the last group can be told from
    /// a torn tail. Without room it is left out.
    pub fn seal(&mut self) -> Result<(), AppendError> {
        if self.failed || self.sealed {
            return Ok(());
        }
        let mut builder = std::mem::take(&mut self.builder);
        let written = self.write(builder.seal(self.next_seq));
        self.builder = builder;
        match written {
            Err(AppendError::NoRoom(_)) => Ok(()),
            Err(failed) => Err(failed),
            Ok(()) => {
                self.sealed = true;
                Ok(())
            }
        }
    }

    /// Seals, gives reserved room back, syncs.
    pub fn close(&mut self) -> Result<(), AppendError> {
        if self.failed {
            return Ok(());
        }
        self.seal()?;
        self.file.truncate(self.end).and_then(|()| self.file.sync_all()).map_err(|err| self.fail(err))
    }

    /// Segments (number, first fact) of which every fact is at most `seq`; never the last one.
    pub fn segments_below(&self, seq: u64) -> Vec<(u64, u64)> {
        let followed = self.segments.windows(2).filter(|pair| pair[1].1 <= seq + 1);
        followed.map(|pair| pair[0]).collect()
    }

    /// Number of the last fact in the segments that [`Self::segments_below`] names.
    pub fn last_seq_below(&self, seq: u64) -> Option<u64> {
        let gone = self.segments_below(seq).len();
        (gone > 0).then(|| self.segments[gone].1 - 1)
    }

    /// Removes the segments that [`Self::segments_below`] names.
    pub fn remove_below(&mut self, seq: u64) -> Result<usize, LedgerError> {
        let gone = self.segments_below(seq);
        for (number, _) in &gone {
            // Oldest first: what is left is always without a gap.
            let path = segment_path(*number);
            self.disk.remove(&path).map_err(LedgerError::disk("remove", &path))?;
            self.disk.sync_dir(DIR).map_err(LedgerError::disk("sync", DIR))?;
            self.segments.retain(|(there, _)| there != number);
        }
        Ok(gone.len())
    }

    fn fail(&mut self, cause: std::io::Error) -> AppendError {
        self.failed = true;
        AppendError::Failed(LedgerError::disk("write", &self.path)(cause))
    }

    /// Writes a frame at the end and syncs it; or cuts back to the last good length.
    fn write(&mut self, frame: &[u8]) -> Result<(), AppendError> {
        if let Err(err) = self.put(frame) {
            self.reserved = self.end;
            self.uncut = true;
            // The next group's sync makes the cut durable together with the group.
            return Err(match self.cut_back() {
                Err(worse) if Refusal::of(&worse).is_none() => self.fail(worse),
                _ => self.refused(err),
            });
        }
        // After a failed sync nobody knows what is on disk, and a second sync would say that all
        // is well (fsync(2)): never again in this process.
        self.file.sync_data().map_err(|err| self.fail(err))?;
        self.chain.add(frame);
        self.end += frame.len() as u64;
        Ok(())
    }

    /// Writes a frame at the end, where room for it is reserved first.
    fn put(&mut self, frame: &[u8]) -> std::io::Result<()> {
        self.cut_back()?;
        self.reserve(frame.len() as u64)?;
        self.file.write_at(self.end, frame)
    }

    fn reserve(&mut self, bytes: u64) -> std::io::Result<()> {
        let after = self.end + bytes;
        if after > self.reserved {
            let bytes = RESERVE_BYTES.max(after - self.reserved);
            self.file.preallocate(self.reserved, bytes)?;
            self.reserved += bytes;
        }
        Ok(())
    }

    /// Takes away what a refused frame may have left.
    fn cut_back(&mut self) -> std::io::Result<()> {
        if self.uncut {
            self.file.truncate(self.end)?;
            self.uncut = false;
        }
        Ok(())
    }

    /// True where a group could be written now, as far as can be told without writing one; asked
    /// after a refusal.
    pub fn could_write(&mut self) -> bool {
        let due = self.end >= self.segment_bytes && self.end > HEADER_BYTES as u64;
        !self.failed && if due { self.roll().is_ok() } else { self.cut_back().and_then(|()| self.reserve(1)).is_ok() }
    }

    /// A refusal is passed on; anything else is the end of writing.
    fn refused(&mut self, err: std::io::Error) -> AppendError {
        match Refusal::of(&err) {
            Some(_) => AppendError::NoRoom(err),
            None => self.fail(err),
        }
    }

    /// A write or sync failed in a manner after which nothing more may be appended.
    pub fn has_failed(&self) -> bool {
        self.failed
    }

    /// Goes on in a new segment, unless nothing stands in this one yet.
    pub fn begin_segment(&mut self) -> Result<(), AppendError> {
        if self.failed {
            return Err(AppendError::Failed(LedgerError::Misuse { what: "the journal failed before".to_owned() }));
        }
        if self.end > HEADER_BYTES as u64 { self.roll() } else { Ok(()) }
    }

    /// Goes on in a new segment. The old one is whole and durable before the new one exists.
    fn roll(&mut self) -> Result<(), AppendError> {
        self.file.truncate(self.end).map_err(|err| self.refused(err))?;
        self.uncut = false;
        self.file.sync_all().map_err(|err| self.fail(err))?;
        self.reserved = self.end;
        let number = self.segments.last().map_or(1, |(number, _)| number + 1);
        let header = Header { number, installation: self.id.0, first_seq: self.next_seq, before: self.chain.digest() };
        let path = segment_path(number);
        let file = match new_segment(self.disk.as_ref(), &path, &header) {
            Ok(file) => file,
            Err(err) => {
                let _ = self.disk.remove(&path);
                // That it is gone may not last: a seal in the old segment would then stand between
                // the two, and the new one would not follow any more.
                self.sealed = true;
                return Err(self.refused(err));
            }
        };
        self.file = file;
        self.path = path;
        self.end = HEADER_BYTES as u64;
        self.reserved = self.end;
        self.chain = Chain::new(&header.to_bytes());
        self.segments.push((number, self.next_seq));
        Ok(())
    }
}

/// Makes a segment, its header and its name durable.
fn new_segment(disk: &dyn Disk, path: &str, header: &Header) -> std::io::Result<Box<dyn DiskFile>> {
    let mut file = disk.create(path)?;
    file.write_at(0, &header.to_bytes())?;
    file.sync_all()?;
    disk.sync_dir(DIR)?;
    Ok(file)
}

fn check_successor(file: &str, header: &Header, before: &Scan) -> Result<(), LedgerError> {
    if header.first_seq == before.next_seq && header.before == before.chain.digest() {
        return Ok(());
    }
    let what = format!(
        "{file} (from record {}) does not follow the segment before it, which ends before record {}",
        header.first_seq, before.next_seq
    );
    Err(LedgerError::Incomplete { what })
}

/// A last segment without a whole header was being made when the power went, and holds nothing.
/// With a frame in it, it is damaged.
fn unfinished_segment(disk: &dyn Disk, id: InstallationId) -> Result<Option<u64>, LedgerError> {
    let numbers = segment_numbers(disk)?;
    let (Some(number), true) = (numbers.last(), numbers.len() > 1) else { return Ok(None) };
    let file = segment_path(*number);
    let bytes = disk.read(&file).map_err(LedgerError::disk("read", &file))?;
    if read_header(&file, &bytes, *number, id)?.is_some() {
        return Ok(None);
    }
    if frame::find_head(&bytes).is_some() {
        return Err(header_damaged(&file));
    }
    Ok(Some(*number))
}

fn move_aside(disk: &dyn Disk, number: u64) -> Result<CutTail, LedgerError> {
    let file = segment_path(number);
    let bytes = disk.len(&file).map_err(LedgerError::disk("read", &file))?;
    let kept_in = format!("{ASIDE_DIR}/{number:04}.log");
    disk.rename(&file, &kept_in).map_err(LedgerError::disk("move aside", &file))?;
    for dir in [ASIDE_DIR, DIR] {
        disk.sync_dir(dir).map_err(LedgerError::disk("sync", dir))?;
    }
    Ok(CutTail { file, offset: 0, bytes, kept_in, sequence: 0 })
}

fn keep_tail(disk: &dyn Disk, file: &str, bytes: &[u8], found: &Scan) -> Result<CutTail, LedgerError> {
    let name = file.trim_start_matches(DIR).trim_matches('/').trim_end_matches(".log");
    let kept_in = format!("{ASIDE_DIR}/{name}-{}.tail", found.end);
    let tail = &bytes[found.end as usize..];
    super::sealed::write_aside(disk, &kept_in, &[tail])?;
    Ok(CutTail {
        file: file.to_owned(),
        offset: found.end,
        bytes: tail.len() as u64,
        kept_in,
        sequence: found.next_seq,
    })
}
