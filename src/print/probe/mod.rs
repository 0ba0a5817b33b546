//! Asks a printer what it can, as a step machine, and says what belongs into `printers.toml`. Pure: it is
//! told what came and since when it runs; the shell around it is [`ask`].
//!
//! One question at a time, each with its own patience. How wide the paper is and whether there is a
//! knife cannot be asked of a head: a ruler on paper ([`crate::slip::widths`]) shows both.
//! Code pages do not matter: every paper goes out as dots.

mod ask;
mod profile;
#[cfg(test)]
mod tests;

pub use ask::{ProbeError, ask};
pub use profile::Profile;

use super::answers::{Answer, Decoder, Status};
use std::time::Duration;

/// Most of a name that is kept: it goes into a file and onto a screen.
const NAME_LETTERS_MAX: usize = 40;
/// How long to wait for the answer to a question that is answered out of turn.
const SHORT: Duration = Duration::from_secs(2);
/// How long for one that waits for its turn behind what is being printed.
const LONG: Duration = Duration::from_secs(5);
/// No job has it: the answer cannot be about one.
const PROBE_ID: [u8; 4] = *b"}}}}";

/// What is asked, in this order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Question {
    /// Real-time status `n`.
    Status(u8),
    /// Automatic status on; heads that know it say at once how they are.
    Automatic,
    /// Status in line.
    InLine,
    /// The process id.
    ProcessId,
    /// Who made it.
    Maker,
    /// Which model it is.
    Model,
}

const QUESTIONS: [Question; 9] = [
    Question::Status(1),
    Question::Status(2),
    Question::Status(3),
    Question::Status(4),
    Question::Automatic,
    Question::InLine,
    Question::ProcessId,
    Question::Maker,
    Question::Model,
];

impl Question {
    /// Its bytes (PAPER 2). Automatic status is switched off again before the next question, so that
    /// its blocks do not come between.
    fn bytes(self) -> Vec<u8> {
        match self {
            Self::Status(n) => vec![0x10, 0x04, n],
            Self::Automatic => vec![0x1D, 0x61, 0xFF],
            Self::InLine => vec![0x1D, 0x61, 0, 0x1D, 0x72, 1],
            Self::ProcessId => [&[0x1D, 0x28, 0x48, 6, 0, 0x30, 0x30], PROBE_ID.as_slice()].concat(),
            Self::Maker => vec![0x1D, 0x49, 66],
            Self::Model => vec![0x1D, 0x49, 67],
        }
    }

    fn patience(self) -> Duration {
        match self {
            Self::InLine | Self::ProcessId => LONG,
            Self::Status(_) | Self::Automatic | Self::Maker | Self::Model => SHORT,
        }
    }
}

/// The questions, one after the other. All times count from when it began.
#[derive(Debug, Default)]
pub struct Probe {
    decoder: Decoder,
    /// Place in [`QUESTIONS`].
    at: usize,
    asked_at: Duration,
    unsent: Vec<u8>,
    status: Status,
    profile: Profile,
}

impl Probe {
    /// Begins with the first question.
    pub fn new() -> Self {
        let mut probe = Self::default();
        probe.ask(0, Duration::ZERO);
        probe
    }

    /// What is to be handed to the printer now; tell how much was taken with [`Self::wrote`].
    pub fn to_write(&self) -> &[u8] {
        &self.unsent
    }

    /// So many bytes were taken.
    pub fn wrote(&mut self, count: usize) {
        self.unsent.drain(..count.min(self.unsent.len()));
    }

    /// When waiting for the present answer is of no more use; `None` once all is asked.
    pub fn deadline(&self) -> Option<Duration> {
        QUESTIONS.get(self.at).map(|question| self.asked_at + question.patience())
    }

    /// What was learned.
    pub fn into_profile(self) -> Profile {
        self.profile
    }

    /// Bytes came.
    pub fn hear(&mut self, bytes: &[u8], now: Duration) {
        for answer in self.decoder.take(bytes) {
            self.hear_one(answer, now);
        }
    }

    /// Time passes: a question without an answer is given up. Of four status questions the others
    /// are then not asked; of a name that is not known the next may be.
    pub fn tick(&mut self, now: Duration) {
        if self.deadline().is_none_or(|deadline| now < deadline) {
            return;
        }
        match QUESTIONS[self.at] {
            Question::Status(n) => self.ask(self.at + usize::from(5 - n), now),
            _ => self.ask(self.at + 1, now),
        }
    }

    fn ask(&mut self, at: usize, now: Duration) {
        self.at = at;
        self.asked_at = now;
        if let Some(question) = QUESTIONS.get(at) {
            self.unsent.extend(question.bytes());
        }
    }

    fn hear_one(&mut self, answer: Answer, now: Duration) {
        let profile = &mut self.profile;
        let next = match (QUESTIONS.get(self.at), answer) {
            (Some(Question::Status(n)), Answer::RealTime(byte)) => {
                self.status.take_real_time(*n, byte);
                if *n == 4 {
                    profile.status = Some(self.status);
                    if !self.status.is_ready() {
                        // Without paper or with an open cover nothing in line is answered: that would
                        // be taken for a printer that cannot.
                        return self.ask(QUESTIONS.len(), now);
                    }
                }
                true
            }
            (Some(Question::Automatic), Answer::Automatic(_)) => {
                profile.automatic = true;
                true
            }
            (Some(Question::InLine), Answer::InLine { .. }) => {
                profile.in_line = true;
                true
            }
            (Some(Question::ProcessId), Answer::ProcessId(id)) => {
                profile.process_id = id == PROBE_ID;
                profile.odd += usize::from(id != PROBE_ID);
                true
            }
            (Some(Question::Maker), Answer::Name(name)) => {
                profile.maker = readable(&name);
                true
            }
            (Some(Question::Model), Answer::Name(name)) => {
                profile.model = readable(&name);
                true
            }
            // A change of its own is told by itself.
            (_, Answer::Automatic(_)) => false,
            // Not what was asked now: an answer that came too late, or none at all.
            (_, Answer::Garbage(_)) => {
                profile.odd += 1;
                false
            }
            (_, _) => {
                profile.late += 1;
                false
            }
        };
        if next {
            self.ask(self.at + 1, now);
        }
    }
}

/// The name without anything that a terminal or a file could take for more than letters.
fn readable(name: &[u8]) -> Option<String> {
    let letters = name.iter().filter(|byte| byte.is_ascii_graphic() || **byte == b' ').map(|byte| char::from(*byte));
    let letters: String = letters.filter(|letter| !matches!(letter, '"' | '\\')).take(NAME_LETTERS_MAX).collect();
    let trimmed = letters.trim();
    (!trimmed.is_empty()).then(|| trimmed.to_owned())
}
