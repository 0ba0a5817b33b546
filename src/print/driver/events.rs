//! What the driver is told, what it wants done, and how a job ends.

use crate::model::{Confirmation, Reason};
use crate::print::trouble::TroubleKind;

/// What happened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event<'a> {
    /// Begin.
    Start,
    /// The connection is there.
    Connected,
    /// It could not be made.
    NoConnection(TroubleKind),
    /// Bytes came from the printer.
    Read(&'a [u8]),
    /// So many bytes of [`super::Driver::to_write`] were handed to the socket.
    Wrote(usize),
    /// Time passes; with the bytes that the printer's side has not taken yet, if known.
    Tick {
        /// Bytes in the socket's own queue.
        unsent: Option<usize>,
    },
    /// The printer closed the connection.
    Closed,
    /// The connection failed.
    Failed,
    /// The answer to [`Effect::AskLeave`].
    Leave(Leave),
    /// No new job, please: ends unless leave was given.
    Stop,
    /// At once, whatever it costs.
    Abort,
}

/// Does the book let this job go?
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Leave {
    /// `sending` is on the disk.
    Granted,
    /// It is not to be sent any more.
    Refused,
}

/// What is to be done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Effect {
    /// Connect.
    Connect,
    /// Ask the book for leave; [`Event::Leave`] is the answer.
    AskLeave,
    /// The printer's trouble has changed.
    Trouble(Option<TroubleKind>),
    /// The roll is near its end, or no longer.
    NearEnd(bool),
    /// It answered a real-time status question: this printer can.
    Answers,
    /// The paper that was in doubt is cut off; the next may begin.
    Ended,
    /// A process id of another job: a late answer.
    Heard([u8; 4]),
    /// The end; no event after it has any effect.
    Done(Outcome),
}

/// How a job ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// There was no job, only a look; the printer is well, or cannot say.
    Well,
    /// Printed.
    OnPaper(Confirmation),
    /// Not one byte of it left the house.
    NotSent(NotSent),
    /// At least one byte left, and nothing says whether it was printed.
    InDoubt(Doubt),
}

/// Why nothing was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotSent {
    /// No connection.
    NoConnection(TroubleKind),
    /// The connection broke before the first byte.
    Broken,
    /// What answers is no printer.
    Garbage,
    /// The book took the job back.
    Withdrawn,
    /// The printer was in trouble and is well again: take the head of the queue anew.
    ReadyAgain,
    /// The worker was asked to stop.
    Stopped,
}

/// Why it is in doubt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    /// The connection broke in the middle.
    Broken,
    /// It answers nothing at all any more.
    Silent,
    /// It is well but did not confirm.
    Unconfirmed,
    /// It answered, but not with what was asked.
    WrongAnswer,
    /// The worker was stopped in the middle.
    Stopped,
}

impl NotSent {
    /// In words for people.
    pub fn why(self) -> &'static str {
        match self {
            Self::NoConnection(kind) => kind.why(),
            Self::Broken => "the connection broke before the first byte",
            Self::Garbage => TroubleKind::Garbage.why(),
            Self::Withdrawn => "it was taken back before the first byte",
            Self::ReadyAgain => "the printer was not ready and now is",
            Self::Stopped => "the program was stopping",
        }
    }
}

impl Doubt {
    /// In words for people; it goes onto the copy.
    pub fn why(self) -> &'static str {
        match self {
            Self::Broken => Reason::Broken,
            Self::Silent => Reason::Silent,
            Self::Unconfirmed => Reason::Unconfirmed,
            Self::WrongAnswer => Reason::WrongAnswer,
            Self::Stopped => Reason::Stopped,
        }
        .words()
    }
}
