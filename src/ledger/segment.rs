//! Segments of the journal as files: finding them, reading them, telling torn from damaged.

use super::frame::{self, Chain, HEAD_BYTES, HEADER_BYTES, Head, Header, HeaderError, Kind};
use super::installation::InstallationId;
use super::journal::DIR;
use super::{Disk, LedgerError, Line, Tag};
use std::io::ErrorKind;

/// A line with the number it belongs to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NumberedLine {
    /// A fact's own number; for a person's line that of the fact before it in its group, or of
    /// the group's first fact.
    pub seq: u64,
    /// The line.
    pub line: Line,
}

/// The directory part of a path.
pub fn dir_of(path: &str) -> &str {
    path.rsplit_once('/').map_or("", |(dir, _)| dir)
}

/// Names in a directory; none where there is no such directory.
pub fn list_or_empty(disk: &dyn Disk, dir: &str) -> Result<Vec<String>, LedgerError> {
    match disk.list(dir) {
        Err(err) if err.kind() == ErrorKind::NotFound => Ok(Vec::new()),
        other => other.map_err(LedgerError::disk("list", dir)),
    }
}

pub fn segment_path(number: u64) -> String {
    format!("{DIR}/{number:04}.log")
}

/// Numbers of the segments that are there, ascending.
pub fn segment_numbers(disk: &dyn Disk) -> Result<Vec<u64>, LedgerError> {
    let mut numbers: Vec<u64> = list_or_empty(disk, DIR)?.iter().filter_map(|name| number_of(name)).collect();
    numbers.sort_unstable();
    Ok(numbers)
}

/// The number of the segment of this name; `None` for a file that is called otherwise, however alike.
pub fn number_of(name: &str) -> Option<u64> {
    let number = name.strip_suffix(".log")?.parse().ok()?;
    (segment_path(number).strip_prefix(DIR)?.strip_prefix('/')? == name).then_some(number)
}

/// A segment as found in a file.
pub struct Scan {
    /// Length up to and with the last whole frame.
    pub end: u64,
    /// Where the last whole frame begins; 0, the header, where there is none.
    pub last: u64,
    /// Number of the fact after the last one.
    pub next_seq: u64,
    /// The last frame is a seal, or there is none.
    pub sealed: bool,
    pub chain: Chain,
    /// Something that is no whole frame stands behind `end`.
    pub torn: bool,
}

/// Reads a segment's frames and gives every line to `take`.
///
/// A frame is bad if its head or payload does not fit its checksum. No frame is written before
/// the one ahead of it is synced (the later head's `durable_up_to` says so), hence: a bad frame
/// with a whole head anywhere behind it was durable, and is damage. Without one it is what a
/// power cut leaves of the last group, of which nobody was told. Zeros are reserved room.
pub fn scan(
    file: &str,
    bytes: &[u8],
    header: &Header,
    mut take: impl FnMut(NumberedLine),
) -> Result<Scan, LedgerError> {
    let mut scan = Scan {
        end: HEADER_BYTES as u64,
        last: 0,
        next_seq: header.first_seq,
        sealed: true,
        chain: Chain::new(&bytes[..HEADER_BYTES]),
        torn: false,
    };
    loop {
        let rest = &bytes[scan.end as usize..];
        let damaged = |what: String| {
            let (file, offset, sequence) = (file.to_owned(), scan.end, scan.next_seq);
            Err(LedgerError::Damaged { file, offset, sequence, what })
        };
        let head = Head::from_bytes(rest);
        let whole = head.as_ref().and_then(|head| Some((head, head.payload(&rest[HEAD_BYTES..])?)));
        let Some((head, payload)) = whole else {
            let behind = if head.is_some() { HEAD_BYTES } else { 1.min(rest.len()) };
            if let Some((at, later)) = frame::find_head(&rest[behind..]) {
                return damaged(format!(
                    "a frame is broken, though one that was written later (at byte {}) says that facts up to {} were on disk",
                    scan.end + (behind + at) as u64,
                    later.durable_up_to
                ));
            }
            scan.torn = rest.iter().any(|byte| *byte != 0);
            return Ok(scan);
        };
        if head.first_seq != scan.next_seq {
            return damaged(format!("the frame here begins with record {}", head.first_seq));
        }
        let Some(lines) = frame::lines_of(payload) else {
            return damaged("the frame is whole but holds something else than lines".to_owned());
        };
        let facts = lines.iter().filter(|line| line.tag == Tag::Fact).count() as u64;
        if head.first_seq + facts != head.next_seq {
            return damaged("the frame is whole but does not hold as many facts as it says".to_owned());
        }
        for line in lines {
            let seq = match line.tag {
                Tag::Fact => {
                    scan.next_seq += 1;
                    scan.next_seq - 1
                }
                Tag::Person => (scan.next_seq - 1).max(head.first_seq),
            };
            take(NumberedLine { seq, line });
        }
        scan.chain.add(rest);
        scan.sealed = head.kind == Kind::Seal;
        scan.last = scan.end;
        scan.end += (HEAD_BYTES + head.length) as u64;
    }
}

/// Are there records? Asked only where nothing says whose they are.
pub fn has_frames(disk: &dyn Disk) -> Result<bool, LedgerError> {
    let numbers = segment_numbers(disk)?;
    let [number] = numbers[..] else { return Ok(!numbers.is_empty()) };
    let file = segment_path(number);
    let bytes = disk.read(&file).map_err(LedgerError::disk("read", &file))?;
    Ok(frame::find_head(&bytes).is_some())
}

pub fn read_header(file: &str, bytes: &[u8], number: u64, id: InstallationId) -> Result<Option<Header>, LedgerError> {
    let header = match Header::from_bytes(bytes) {
        Ok(header) => header,
        Err(HeaderError::Torn) => return Ok(None),
        Err(HeaderError::Version(version)) => {
            return Err(LedgerError::newer(file, version, frame::program_of(bytes), frame::FORMAT_VERSION));
        }
    };
    if header.installation != id.0 {
        return Err(LedgerError::OtherInstallation {
            file: file.to_owned(),
            theirs: InstallationId(header.installation).to_string(),
            ours: id.to_string(),
        });
    }
    if header.number != number {
        return Err(LedgerError::Incomplete { what: format!("{file} was written as segment {}", header.number) });
    }
    Ok(Some(header))
}

pub fn header_damaged(file: &str) -> LedgerError {
    LedgerError::bad_file(file, "its header is broken")
}

/// Reads the lines after the fact `after` up to the fact `upto`, in order, from whatever segments
/// there are. What stands behind the last whole frame is left alone: another thread may be
/// writing it.
///
/// # Errors
/// Damage and what the disk says; where the journal begins later than `after`, the lines that
/// are there are given.
pub fn read_lines(
    disk: &dyn Disk,
    id: InstallationId,
    after: u64,
    upto: u64,
    take: impl FnMut(NumberedLine),
) -> Result<(), LedgerError> {
    read_lines_around(disk, id, after, upto, take)?.into_iter().next().map_or(Ok(()), Err)
}

/// Likewise; a segment that is damaged gives the lines before its damage, and its error is
/// among those returned.
pub fn read_lines_around(
    disk: &dyn Disk,
    id: InstallationId,
    after: u64,
    upto: u64,
    mut take: impl FnMut(NumberedLine),
) -> Result<Vec<LedgerError>, LedgerError> {
    let headers = read_headers(disk, id)?;
    let mut damaged = Vec::new();
    for (at, header) in headers.iter().enumerate() {
        let next_first = headers.get(at + 1).map_or(u64::MAX, |next| next.first_seq);
        if next_first <= after + 1 || header.first_seq > upto {
            continue;
        }
        let file = segment_path(header.number);
        // Only what stood there before reading began: the end may grow meanwhile, and a group seen
        // half with one seen whole behind it would look like damage.
        let length = disk.len(&file).map_err(LedgerError::disk("read", &file))?;
        let bytes = disk.read_start(&file, length as usize).map_err(LedgerError::disk("read", &file))?;
        let scanned = scan(&file, &bytes, header, |line| {
            if line.seq > after && line.seq <= upto {
                take(line);
            }
        });
        damaged.extend(scanned.err());
    }
    Ok(damaged)
}

/// Headers of all segments, ascending; one that was only being made (the last, torn) is left out.
pub fn read_headers(disk: &dyn Disk, id: InstallationId) -> Result<Vec<Header>, LedgerError> {
    let numbers = segment_numbers(disk)?;
    let mut headers: Vec<Header> = Vec::with_capacity(numbers.len());
    for (at, number) in numbers.iter().enumerate() {
        let file = segment_path(*number);
        if at > 0 && *number != numbers[at - 1] + 1 {
            let what = format!("{} is missing", segment_path(numbers[at - 1] + 1));
            return Err(LedgerError::Incomplete { what });
        }
        let start = disk.read_start(&file, HEADER_BYTES).map_err(LedgerError::disk("read", &file))?;
        match read_header(&file, &start, *number, id)? {
            Some(header) => headers.push(header),
            None if at > 0 && at + 1 == numbers.len() => {}
            None => return Err(header_damaged(&file)),
        }
    }
    Ok(headers)
}
