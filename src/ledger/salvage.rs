//! Finds the whole frames of a segment, also behind damage. Only reads bytes.

use super::damage::Span;
use super::frame::{self, Chain, ChainDigest, HEAD_BYTES, HEADER_BYTES, Head, Header};
use super::{NumberedLine, Tag};

/// Whole frames in a row.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run {
    pub from: usize,
    pub to: usize,
    /// Number of the first fact.
    pub first: u64,
    /// Number after the last fact.
    pub next: u64,
}

/// Bytes that are no whole frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bad {
    pub from: usize,
    /// Numbers that should be there: the first, and the one after the last, where it is known.
    pub first: u64,
    pub next: Option<u64>,
}

/// A segment of this installation as found.
pub(super) struct SegmentLook {
    pub file: String,
    pub number: u64,
    pub header: Option<Header>,
    pub runs: Vec<Run>,
    pub bad: Vec<Bad>,
    /// Number after its last whole fact.
    pub end: u64,
    /// Of all its heads, where all of them are whole.
    pub chain: Option<ChainDigest>,
}

/// The lines of whole frames.
pub(super) fn each_line(bytes: &[u8], runs: &[Run], mut take: impl FnMut(NumberedLine)) {
    for run in runs {
        let mut at = run.from;
        while at < run.to {
            let Some(head) = bytes.get(at..).and_then(Head::from_bytes) else { break };
            let Some(payload) = bytes.get(at + HEAD_BYTES..).and_then(|behind| head.payload(behind)) else { break };
            let mut next = head.first_seq;
            for line in frame::lines_of(payload).unwrap_or_default() {
                let seq = match line.tag {
                    Tag::Fact => {
                        next += 1;
                        next - 1
                    }
                    Tag::Person => (next - 1).max(head.first_seq),
                };
                take(NumberedLine { seq, line });
            }
            at += HEAD_BYTES + head.length;
        }
    }
}

impl SegmentLook {
    /// The records that its whole frames hold.
    pub fn span(&self) -> Option<Span> {
        let first = self.runs.first()?.first;
        (self.end > first).then(|| Span { from: first, to: self.end - 1 })
    }

    /// Finds the whole frames, also behind damage.
    pub fn scan(&mut self, bytes: &[u8]) {
        let mut chain = self.header.as_ref().map(|header| Chain::new(&header.to_bytes()));
        let mut at = HEADER_BYTES.min(bytes.len());
        loop {
            let rest = &bytes[at..];
            let head = Head::from_bytes(rest);
            let whole = head.as_ref().filter(|head| self.is_whole(head, &rest[HEAD_BYTES..]));
            if let Some(head) = whole {
                let to = at + HEAD_BYTES + head.length;
                if head.first_seq > self.end && self.end > 0 {
                    // Frames were cut out, and nothing is left where they were.
                    self.bad.push(Bad { from: at, first: self.end, next: Some(head.first_seq) });
                    chain = None;
                }
                match self.runs.last_mut() {
                    Some(run) if run.to == at && run.next == head.first_seq => (run.to, run.next) = (to, head.next_seq),
                    _ => self.runs.push(Run { from: at, to, first: head.first_seq, next: head.next_seq }),
                }
                self.end = head.next_seq;
                if let Some(chain) = &mut chain {
                    chain.add(rest);
                }
                at = to;
                continue;
            }
            if rest.iter().all(|byte| *byte == 0) {
                break;
            }
            let behind = if head.is_some() { HEAD_BYTES } else { 1 };
            let later = frame::find_head(&rest[behind..]);
            // A head that is whole still says which records its lost payload held, and belongs to the chain.
            let own = head.as_ref().filter(|head| head.first_seq == self.end && later.is_some());
            match (own, &mut chain) {
                (Some(_), Some(chain)) => chain.add(rest),
                _ => chain = None,
            }
            let next = own.map(|head| head.next_seq).or(later.as_ref().map(|(_, later)| later.first_seq));
            let to = later.as_ref().map_or(bytes.len(), |(found, _)| at + behind + found);
            self.bad.push(Bad { from: at, first: self.end.max(1), next });
            if let Some(next) = next.filter(|next| self.end > 0 && *next > self.end) {
                self.end = next;
            }
            if later.is_none() {
                break;
            }
            at = to;
        }
        self.chain = chain.map(|chain| chain.digest());
    }

    fn is_whole(&self, head: &Head, behind: &[u8]) -> bool {
        let Some(lines) = head.payload(behind).and_then(frame::lines_of) else { return false };
        let facts = lines.iter().filter(|line| line.tag == Tag::Fact).count() as u64;
        head.first_seq + facts == head.next_seq && head.first_seq >= self.end
    }
}
