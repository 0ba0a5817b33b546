//! Bytes of the journal: segment headers and frames. Pure; little endian throughout.

use super::{Line, Tag};
use crc32c::crc32c;
use sha2::{Digest, Sha256};

/// Version of the segment format; in every segment's header.
pub const FORMAT_VERSION: u32 = 1;
/// Length of a segment's header.
pub const HEADER_BYTES: usize = 84;
/// Length of a frame's head.
pub const HEAD_BYTES: usize = 44;
/// Longest payload of a frame; a head that claims more is not a head.
pub const PAYLOAD_BYTES_MAX: usize = 64 * 1024 * 1024;

const SEGMENT_MAGIC: [u8; 8] = *b"dawnslip";
/// Begins with a byte that UTF-8 never holds, so that no payload can hold a frame.
const FRAME_MAGIC: [u8; 4] = [0xff, b'g', b'r', b'p'];

const KIND_GROUP: u32 = 1;
const KIND_SEAL: u32 = 2;

/// SHA-256 over a segment's header and the heads of its frames, which hold the checksums of
/// the payloads: chains segments without reading all of them again.
pub type ChainDigest = [u8; 32];

/// A segment's header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Header {
    /// Number of the segment, from 1.
    pub number: u64,
    /// To which installation it belongs.
    pub installation: [u8; 16],
    /// Sequence number of the first fact in it.
    pub first_seq: u64,
    /// Of the segment before; zeros for the first.
    pub before: ChainDigest,
}

/// Why bytes are no header.
#[derive(Debug, PartialEq, Eq)]
pub enum HeaderError {
    /// Too short, or the checksum does not fit.
    Torn,
    /// Another version of the format.
    Version(u32),
}

impl Header {
    /// As written.
    pub fn to_bytes(&self) -> [u8; HEADER_BYTES] {
        let mut bytes = [0; HEADER_BYTES];
        bytes[..8].copy_from_slice(&SEGMENT_MAGIC);
        bytes[8..12].copy_from_slice(&FORMAT_VERSION.to_le_bytes());
        bytes[12..28].copy_from_slice(&self.installation);
        bytes[28..36].copy_from_slice(&self.number.to_le_bytes());
        bytes[36..44].copy_from_slice(&self.first_seq.to_le_bytes());
        bytes[44..76].copy_from_slice(&self.before);
        bytes[76..80].copy_from_slice(&program());
        let crc = crc32c(&bytes[..80]);
        bytes[80..84].copy_from_slice(&crc.to_le_bytes());
        bytes
    }

    /// Reads the header at the beginning of a segment.
    ///
    /// # Errors
    /// See [`HeaderError`].
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, HeaderError> {
        let bytes = bytes.get(..HEADER_BYTES).ok_or(HeaderError::Torn)?;
        if bytes[..8] != SEGMENT_MAGIC {
            return Err(HeaderError::Torn);
        }
        let version = u32_at(bytes, 8);
        if version != FORMAT_VERSION && version != 0 {
            // Where the checksum fits once the version is read as ours, its bytes are damaged: a
            // newer program would have put its own version under the checksum.
            let mut ours = bytes.to_vec();
            ours[8..12].copy_from_slice(&FORMAT_VERSION.to_le_bytes());
            let damaged = u32_at(&ours, 80) == crc32c(&ours[..80]);
            return Err(if damaged { HeaderError::Torn } else { HeaderError::Version(version) });
        }
        if u32_at(bytes, 80) != crc32c(&bytes[..80]) {
            return Err(HeaderError::Torn);
        }
        Ok(Self {
            number: u64_at(bytes, 28),
            installation: array_at(bytes, 12),
            first_seq: u64_at(bytes, 36),
            before: array_at(bytes, 44),
        })
    }
}

/// The version of this program in a header: major, minor, patch.
fn program() -> [u8; 4] {
    let [low, high] = env!("CARGO_PKG_VERSION_PATCH").parse::<u16>().unwrap_or(0).to_le_bytes();
    let part = |text: &str| text.parse().unwrap_or(0);
    [part(env!("CARGO_PKG_VERSION_MAJOR")), part(env!("CARGO_PKG_VERSION_MINOR")), low, high]
}

/// Which version of the program wrote a header; `None` for one from before that was noted.
pub fn program_of(header: &[u8]) -> Option<String> {
    let [major, minor, low, high] = *header.get(76..80)? else { return None };
    let patch = u16::from_le_bytes([low, high]);
    (major > 0 || minor > 0 || patch > 0).then(|| format!("{major}.{minor}.{patch}"))
}

/// What a frame is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A sync group of lines.
    Group,
    /// Written after a quiet moment: makes the last group checkable.
    Seal,
}

/// A frame's head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// What it is for.
    pub kind: Kind,
    /// Bytes of payload.
    pub length: usize,
    payload_crc: u32,
    /// Sequence number of the first fact in it.
    pub first_seq: u64,
    /// Sequence number after the last fact in it.
    pub next_seq: u64,
    /// Facts up to here were known to be synced when this was written.
    pub durable_up_to: u64,
}

impl Head {
    /// The head at the beginning of `bytes`; `None` where there is no whole one.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let bytes = bytes.get(..HEAD_BYTES)?;
        if bytes[..4] != FRAME_MAGIC || u32_at(bytes, 40) != crc32c(&bytes[..40]) {
            return None;
        }
        let kind = match u32_at(bytes, 4) {
            KIND_GROUP => Kind::Group,
            KIND_SEAL => Kind::Seal,
            _ => return None,
        };
        let length = u32_at(bytes, 8) as usize;
        (length <= PAYLOAD_BYTES_MAX).then(|| Self {
            kind,
            length,
            payload_crc: u32_at(bytes, 12),
            first_seq: u64_at(bytes, 16),
            next_seq: u64_at(bytes, 24),
            durable_up_to: u64_at(bytes, 32),
        })
    }
    /// The payload behind this head, if it is whole.
    pub fn payload<'a>(&self, behind: &'a [u8]) -> Option<&'a [u8]> {
        behind.get(..self.length).filter(|payload| crc32c(payload) == self.payload_crc)
    }
}

/// The first whole head in `bytes` and where it is.
pub fn find_head(bytes: &[u8]) -> Option<(usize, Head)> {
    let mut from = 0;
    while let Some(found) = bytes[from..].windows(4).position(|w| w == FRAME_MAGIC) {
        let at = from + found;
        if let Some(head) = Head::from_bytes(&bytes[at..]) {
            return Some((at, head));
        }
        from = at + 1;
    }
    None
}

/// Puts frames together; keeps its buffer from one to the next.
#[derive(Default)]
pub struct FrameBuilder {
    bytes: Vec<u8>,
}

impl FrameBuilder {
    /// A frame of a sync group; `None` where it would be too long.
    pub fn group(&mut self, first_seq: u64, lines: &[Line]) -> Option<&[u8]> {
        self.bytes.clear();
        self.bytes.resize(HEAD_BYTES, 0);
        let mut facts = 0;
        for line in lines {
            facts += u64::from(line.tag == Tag::Fact);
            self.bytes.extend_from_slice(&[line.tag.letter(), b' ']);
            self.bytes.extend_from_slice(line.json.as_bytes());
            self.bytes.push(b'\n');
        }
        (self.bytes.len() - HEAD_BYTES <= PAYLOAD_BYTES_MAX).then(|| self.finish(KIND_GROUP, first_seq, facts))
    }

    /// A seal behind the fact before `next_seq`.
    pub fn seal(&mut self, next_seq: u64) -> &[u8] {
        self.bytes.clear();
        self.bytes.resize(HEAD_BYTES, 0);
        self.finish(KIND_SEAL, next_seq, 0)
    }

    fn finish(&mut self, kind: u32, first_seq: u64, facts: u64) -> &[u8] {
        let (head, payload) = self.bytes.split_at_mut(HEAD_BYTES);
        head[..4].copy_from_slice(&FRAME_MAGIC);
        head[4..8].copy_from_slice(&kind.to_le_bytes());
        // Checked against PAYLOAD_BYTES_MAX before.
        head[8..12].copy_from_slice(&(payload.len() as u32).to_le_bytes());
        head[12..16].copy_from_slice(&crc32c(payload).to_le_bytes());
        head[16..24].copy_from_slice(&first_seq.to_le_bytes());
        head[24..32].copy_from_slice(&(first_seq + facts).to_le_bytes());
        // No frame is written before the one ahead of it is synced.
        head[32..40].copy_from_slice(&(first_seq - 1).to_le_bytes());
        let crc = crc32c(&head[..40]);
        head[40..44].copy_from_slice(&crc.to_le_bytes());
        &self.bytes
    }
}

/// Lines of a group's payload; `None` where it is none.
pub fn lines_of(payload: &[u8]) -> Option<Vec<Line>> {
    let text = std::str::from_utf8(payload).ok()?;
    text.split_terminator('\n')
        .map(|line| {
            let tag = match line.as_bytes().get(..2)? {
                b"F " => Tag::Fact,
                b"P " => Tag::Person,
                _ => return None,
            };
            Some(Line { tag, json: line[2..].to_owned() })
        })
        .collect()
}

/// Computes a segment's [`ChainDigest`] while it grows.
#[derive(Clone)]
pub struct Chain(Sha256);

impl Chain {
    /// Begins with the header.
    pub fn new(header: &[u8]) -> Self {
        Self(Sha256::new_with_prefix(header))
    }
    /// Takes in a frame by its head.
    pub fn add(&mut self, frame: &[u8]) {
        self.0.update(&frame[..HEAD_BYTES]);
    }
    /// The digest of what was taken in.
    pub fn digest(&self) -> ChainDigest {
        self.0.clone().finalize().into()
    }
}

fn array_at<const N: usize>(bytes: &[u8], at: usize) -> [u8; N] {
    let mut array = [0; N];
    array.copy_from_slice(&bytes[at..at + N]);
    array
}
fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(array_at(bytes, at))
}
fn u64_at(bytes: &[u8], at: usize) -> u64 {
    u64::from_le_bytes(array_at(bytes, at))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_reads_back_and_no_flipped_bit_passes() {
        let lines =
            [Line { tag: Tag::Fact, json: "{\"a\":1}".into() }, Line { tag: Tag::Person, json: "\"Zoë\"".into() }];
        let mut builder = FrameBuilder::default();
        let frame = builder.group(7, &lines).unwrap().to_vec();
        let head = Head::from_bytes(&frame).unwrap();
        assert_eq!((head.first_seq, head.next_seq, head.durable_up_to), (7, 8, 6));
        assert_eq!(lines_of(head.payload(&frame[HEAD_BYTES..]).unwrap()).unwrap(), lines);
        for bit in 0..frame.len() * 8 {
            let mut flipped = frame.clone();
            flipped[bit / 8] ^= 1 << (bit % 8);
            let whole = Head::from_bytes(&flipped).is_some_and(|h| h.payload(&flipped[HEAD_BYTES..]).is_some());
            assert!(!whole, "bit {bit}");
        }
    }

    #[test]
    fn a_header_reads_back_and_names_another_version() {
        let header = Header { number: 3, installation: [9; 16], first_seq: 44, before: [5; 32] };
        let mut bytes = header.to_bytes();
        assert_eq!(Header::from_bytes(&bytes), Ok(header));
        assert_eq!(Header::from_bytes(&bytes[..50]), Err(HeaderError::Torn));
        bytes[8] = 2;
        assert_eq!(Header::from_bytes(&bytes), Err(HeaderError::Torn), "only the version's byte is damaged");
        let crc = crc32c(&bytes[..80]);
        bytes[80..84].copy_from_slice(&crc.to_le_bytes());
        assert_eq!(Header::from_bytes(&bytes), Err(HeaderError::Version(2)));
        bytes[8] = 1;
        bytes[30] ^= 1;
        assert_eq!(Header::from_bytes(&bytes), Err(HeaderError::Torn));
    }
}
