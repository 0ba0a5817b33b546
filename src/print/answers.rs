//! Reads what a printer says: one stream in which single status bytes, four-byte automatic
//! status blocks and longer answers are mixed. Pure.
//!
//! The bit patterns are those of the public ESC/POS command references (PAPER 2, from
//! memory there; a printer's own manual overrules them):
//! real-time status has bits 1 and 4 set, 0 and 7 clear; an automatic block begins with a
//! byte that has bit 4 set and 0, 1, 7 clear, and its other three have bits 4 and 7 clear;
//! the in-line answer has bits 4 and 7 clear; `37 22 d1 d2 d3 d4 00` returns a process id;
//! `5F … 00` answers "who are you".

/// The longest "who are you" text we keep; a longer one is garbage.
pub const NAME_BYTES_MAX: usize = 80;

/// One thing that a printer said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// The answer to a real-time status request (`10 04 n`); it does not say to which.
    RealTime(u8),
    /// Automatic status.
    Automatic(Status),
    /// The answer to an in-line status request (`1D 72 01`).
    InLine {
        /// Paper near its end.
        near_end: bool,
        /// No paper.
        paper_out: bool,
    },
    /// The process id of what has been printed.
    ProcessId([u8; 4]),
    /// The text of a "who are you" answer.
    Name(Vec<u8>),
    /// A byte that belongs to nothing we know.
    Garbage(u8),
}

/// What a status tells, gathered from automatic blocks or from four real-time answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Status {
    /// It does not print at present.
    pub offline: bool,
    /// The cover is open.
    pub cover_open: bool,
    /// There is no paper.
    pub paper_out: bool,
    /// The roll is near its end.
    pub near_end: bool,
    /// The cutter is stuck.
    pub cutter: bool,
    /// An error that only switching off mends.
    pub unrecoverable: bool,
    /// An error that goes by itself (the head is too hot).
    pub recovers: bool,
    /// Some other error.
    pub other_error: bool,
}

impl Status {
    /// Can it print now?
    pub fn is_ready(&self) -> bool {
        let Self { offline, cover_open, paper_out, near_end: _, cutter, unrecoverable, recovers, other_error } = *self;
        !(offline || cover_open || paper_out || cutter || unrecoverable || recovers || other_error)
    }

    /// Takes in the answer to real-time question `n` (1 to 4).
    pub fn take_real_time(&mut self, n: u8, byte: u8) {
        match n {
            1 => self.offline = bit(byte, 3),
            2 => {
                self.cover_open = bit(byte, 2);
                self.paper_out = bit(byte, 5);
                self.other_error = bit(byte, 6);
            }
            3 => {
                self.cutter = bit(byte, 3);
                self.unrecoverable = bit(byte, 5);
                self.recovers = bit(byte, 6);
                // Question 2 only said "an error"; this one says which.
                self.other_error &= !(self.cutter || self.unrecoverable || self.recovers);
            }
            _ => {
                self.near_end = bit(byte, 2) || bit(byte, 3);
                self.paper_out |= bit(byte, 5) || bit(byte, 6);
            }
        }
    }

    fn from_block(block: [u8; 4]) -> Self {
        Self {
            offline: bit(block[0], 3),
            cover_open: bit(block[0], 5),
            cutter: bit(block[1], 3),
            unrecoverable: bit(block[1], 5),
            recovers: bit(block[1], 6),
            other_error: bit(block[1], 2),
            near_end: bit(block[2], 0) || bit(block[2], 1),
            paper_out: bit(block[2], 2) || bit(block[2], 3),
        }
    }
}

/// Bit `n` of a byte.
fn bit(byte: u8, n: u8) -> bool {
    byte & (1 << n) != 0
}

/// Takes bytes as they come and gives answers as they become whole.
#[derive(Debug, Clone, Default)]
pub struct Decoder {
    part: Vec<u8>,
}

impl Decoder {
    /// Takes some bytes; gives what became whole. Any bytes do; none is lost: what fits no
    /// pattern comes back as [`Answer::Garbage`].
    pub fn take(&mut self, bytes: &[u8]) -> Vec<Answer> {
        let mut answers = Vec::new();
        for byte in bytes {
            self.part.push(*byte);
            while let Some((answer, used)) = first_of(&self.part) {
                answers.push(answer);
                self.part.drain(..used);
            }
        }
        answers
    }

    /// Bytes of an answer that is not whole yet.
    pub fn pending(&self) -> usize {
        self.part.len()
    }
}

/// The first answer in `part` and how many bytes it took; `None` if more must come.
fn first_of(part: &[u8]) -> Option<(Answer, usize)> {
    let garbage = |byte: u8| Some((Answer::Garbage(byte), 1));
    let &first = part.first()?;
    match first {
        // A block's letters may look like status bytes, so blocks are read whole.
        0x37 => {
            if let Some(&kind) = part.get(1)
                && kind != 0x22
            {
                return garbage(first);
            }
            if part.len() < 7 {
                return None;
            }
            let id = [part[2], part[3], part[4], part[5]];
            if part[6] == 0 { Some((Answer::ProcessId(id), 7)) } else { garbage(first) }
        }
        0x5F => match part.iter().position(|b| *b == 0) {
            Some(end) => Some((Answer::Name(part[1..end].to_vec()), end + 1)),
            None if part.len() > NAME_BYTES_MAX => garbage(first),
            None => None,
        },
        byte if byte & 0x93 == 0x12 => Some((Answer::RealTime(byte), 1)),
        byte if byte & 0x93 == 0x10 => {
            if part[1..].iter().take(3).any(|b| b & 0x90 != 0) {
                return garbage(byte);
            }
            let block: [u8; 4] = part.get(..4)?.try_into().ok()?;
            Some((Answer::Automatic(Status::from_block(block)), 4))
        }
        // Both bits of a pair say the same thing (the paper sensors).
        byte if byte & 0x90 == 0 && matches!(byte & 3, 0 | 3) && matches!(byte & 12, 0 | 12) => {
            Some((Answer::InLine { near_end: byte & 3 == 3, paper_out: byte & 12 == 12 }, 1))
        }
        byte => garbage(byte),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn decode(bytes: &[u8]) -> Vec<Answer> {
        Decoder::default().take(bytes)
    }

    #[test]
    fn each_pattern_is_read_as_what_it_is() {
        let fine = Status::default();
        let cases: [(&[u8], Answer); 10] = [
            (&[0x12], Answer::RealTime(0x12)),
            (&[0x1A], Answer::RealTime(0x1A)),
            (&[0x72], Answer::RealTime(0x72)),
            (&[0x10, 0, 0, 0], Answer::Automatic(fine)),
            (
                &[0x38, 0, 0x0C, 0x0F],
                Answer::Automatic(Status { offline: true, cover_open: true, paper_out: true, ..fine }),
            ),
            (&[0x18, 0x08, 0x03, 0], Answer::Automatic(Status { offline: true, cutter: true, near_end: true, ..fine })),
            (&[0x00], Answer::InLine { near_end: false, paper_out: false }),
            (&[0x0F], Answer::InLine { near_end: true, paper_out: true }),
            (b"\x37\x220Ro2\0", Answer::ProcessId(*b"0Ro2")),
            (b"\x5Fmaker\0", Answer::Name(b"maker".to_vec())),
        ];
        for (bytes, expected) in cases {
            assert_eq!(decode(bytes), [expected], "{bytes:02x?}");
        }
    }

    #[test]
    fn mixed_answers_come_apart_again() {
        // The letters "2" and "R" (0x32, 0x52) look like real-time answers inside an id.
        let bytes = b"\x12\x10\0\0\0\x37\x22022R\0\0\x5Fx\0\x1A";
        let expected = [
            Answer::RealTime(0x12),
            Answer::Automatic(Status::default()),
            Answer::ProcessId(*b"022R"),
            Answer::InLine { near_end: false, paper_out: false },
            Answer::Name(b"x".to_vec()),
            Answer::RealTime(0x1A),
        ];
        assert_eq!(decode(bytes), expected);
    }

    #[test]
    fn real_time_answers_fill_a_status() {
        type Says = fn(&Status) -> bool;
        let rows: [(u8, u8, Says); 7] = [
            (1, 0x1A, |s| s.offline),
            (2, 0x16, |s| s.cover_open),
            (2, 0x32, |s| s.paper_out),
            (3, 0x1A, |s| s.cutter),
            (3, 0x32, |s| s.unrecoverable),
            (3, 0x52, |s| s.recovers),
            (4, 0x72, |s| s.paper_out),
        ];
        for (n, byte, says) in rows {
            let mut status = Status::default();
            status.take_real_time(n, byte);
            assert!(says(&status), "{n} {byte:02x}");
            assert!(!status.is_ready(), "{n} {byte:02x}");
        }
        let mut low = Status::default();
        low.take_real_time(4, 0x1E);
        assert!(low.near_end && low.is_ready());
    }

    #[test]
    fn a_name_that_never_ends_becomes_garbage() {
        let mut long = vec![0x5F];
        long.extend([b'x'; NAME_BYTES_MAX]);
        assert!(decode(&long).contains(&Answer::Garbage(0x5F)));
        let just = &long[..NAME_BYTES_MAX];
        assert!(decode(just).is_empty());
    }

    fn an_answer() -> impl Strategy<Value = (Vec<u8>, Answer)> {
        let id = prop::array::uniform4(b'0'..=b'o');
        prop_oneof![
            any::<u8>().prop_map(|b| (b & 0x6C) | 0x12).prop_map(|b| (vec![b], Answer::RealTime(b))),
            (any::<u8>(), any::<[u8; 3]>()).prop_map(|(first, rest)| {
                let block = [(first & 0x6C) | 0x10, rest[0] & 0x6F, rest[1] & 0x6F, rest[2] & 0x6F];
                (block.to_vec(), Answer::Automatic(Status::from_block(block)))
            }),
            (any::<bool>(), any::<bool>()).prop_map(|(near_end, paper_out)| {
                let byte = if near_end { 3 } else { 0 } | if paper_out { 12 } else { 0 };
                (vec![byte], Answer::InLine { near_end, paper_out })
            }),
            id.prop_map(|id| ([b"\x37\x22", id.as_slice(), b"\0"].concat(), Answer::ProcessId(id))),
            prop::collection::vec(1u8..=255, 0..20)
                .prop_map(|text| { ([b"\x5F".as_slice(), &text, b"\0"].concat(), Answer::Name(text)) }),
        ]
    }

    proptest! {
        #[test]
        fn any_mix_in_any_pieces_decodes_to_what_was_said(
            said in prop::collection::vec(an_answer(), 0..30), piece in 1usize..9
        ) {
            let bytes: Vec<u8> = said.iter().flat_map(|(bytes, _)| bytes.clone()).collect();
            let expected: Vec<Answer> = said.into_iter().map(|(_, answer)| answer).collect();
            let mut decoder = Decoder::default();
            let heard: Vec<Answer> = bytes.chunks(piece).flat_map(|part| decoder.take(part)).collect();
            prop_assert_eq!(heard, expected);
            prop_assert_eq!(decoder.pending(), 0);
        }

        #[test]
        fn any_bytes_at_all_are_taken_and_nothing_grows(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
            let mut decoder = Decoder::default();
            decoder.take(&bytes);
            prop_assert!(decoder.pending() <= NAME_BYTES_MAX);
        }
    }
}
