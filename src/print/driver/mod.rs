//! The printer driver: one job on one connection, as a step machine. Pure: it is told what
//! happened and since when it runs, and says what is to be done; the shell around it is
//! [`super::worker`].
//!
//! ```text
//!            Connect                        every question answered, all is well
//!  New ─────────────▶ Connecting ──▶ Asking ───────────────────────┐
//!                        │             │ ▲ │                       ▼
//!                        │     trouble │ │ │ trouble gone:      Ending   only after a paper in doubt:
//!                        │             ▼ │ │ NotSent              │      pad, feed, cut; a question that
//!                        │           NotReady (ReadyAgain)        │      must be answered (also when
//!                        │             │                          │      Asking got no answer)
//!                        │             │                          ▼
//!        refused,        │             │ broken,              AwaitLeave ── no ──▶ NotSent (Withdrawn)
//!        unreachable     │             │ stopped                  │ yes: `sending` is on the disk
//!                        ▼             ▼                          ▼
//!                     NotSent ◀──────────── broken, no byte ── Sending ─┐ paper out, cover open, stalled:
//!                                                                 │  ▲  │ waits as long as the connection
//!                                                                 │  └──┘ lives, goes on by itself
//!                                                                 ▼
//!             InDoubt ◀── broken, silent, wrong answers ── Confirming ──▶ OnPaper (process id,
//!                                                                          in-line status, quiet)
//! ```
//! Three rules carry it. Not one byte of a job leaves before the printer said that it is well
//! (or has never in its life answered a status question) and the book gave leave. Success of
//! a write proves nothing, only an answer does (PAPER 3). And after a paper in doubt the next
//! job waits until the printer answered a question in line, so that one mute printer cannot
//! make a whole queue uncertain.

mod bytes;
mod events;
mod patience;
mod settings;
#[cfg(test)]
mod tests;

pub use bytes::{HALF_PAPER_PAD, PROOF_ID};
pub use events::{Doubt, Effect, Event, Leave, NotSent, Outcome};
pub use settings::{AfterDoubt, Settings, Times};

use super::answers::{Answer, Decoder, Status};
use super::trouble::TroubleKind;
use crate::model::{Confirmation, Confirms, JobId};
use std::time::Duration;

/// The most bytes that are handed to the socket at once.
pub const CHUNK_BYTES_MAX: usize = 2048;

/// Bytes that fit no pattern, before leave, from which on this is no printer.
pub const GARBAGE_BYTES_MAX: usize = 64;

/// After an answer that came too late, further late ones are let pass for so long.
const SETTLE: Duration = Duration::from_millis(300);

/// Where it stands (see the diagram above).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// Not begun.
    New,
    /// Waits for the connection.
    Connecting,
    /// Asks how the printer is.
    Asking,
    /// It is not well; asks again and again.
    NotReady,
    /// Ends half a paper and waits for a sign of life.
    Ending,
    /// Waits for the book.
    AwaitLeave,
    /// Hands over bytes.
    Sending,
    /// Waits for the confirmation.
    Confirming,
    /// Over.
    Done,
}

/// A round of the four real-time questions.
#[derive(Debug, Clone, Copy)]
struct Round {
    question: u8,
    asked_at: Duration,
    status: Status,
}

/// One job on one connection.
#[derive(Debug)]
pub struct Driver<'job> {
    settings: Settings,
    process_id: [u8; 4],
    /// `None`: only a look at how the printer is.
    job: Option<&'job [u8]>,
    phase: Phase,
    decoder: Decoder,
    /// What is being handed over, and how much of it is.
    stream: Vec<u8>,
    sent: usize,
    /// Real-time questions not handed over yet. They go first: the printer reads them out of turn.
    questions: Vec<u8>,
    /// What the printer last said of itself, if it ever did on this connection.
    status: Option<Status>,
    round: Option<Round>,
    next_round: Duration,
    settle_until: Duration,
    answers: bool,
    /// The last round of questions got no answer.
    mute: bool,
    trouble: Option<TroubleKind>,
    near_end: bool,
    /// Since when nothing has moved.
    progress_at: Duration,
    /// From when on the wait for a confirmation counts.
    confirm_from: Duration,
    /// The whole end of half a paper was handed over on this connection.
    end_has_left: bool,
    /// When the last in-line answer to the end of half a paper came.
    answered_at: Option<Duration>,
    recover_at: Duration,
    unsent_before: usize,
    wrong_answers: usize,
    /// Bytes that fit no pattern, since it last said something that can be understood.
    garbage: usize,
}

impl<'job> Driver<'job> {
    /// A driver for this job. The bytes are never changed, only handed over.
    pub fn new(settings: Settings, id: JobId, job: &'job [u8]) -> Self {
        Self::with(settings, id.process_id(), Some(job))
    }

    /// A driver that only looks how the printer is; ends `Well`, or `NotSent` with the reason.
    pub fn look(settings: Settings) -> Self {
        Self::with(settings, PROOF_ID, None)
    }

    fn with(settings: Settings, process_id: [u8; 4], job: Option<&'job [u8]>) -> Self {
        Self {
            settings,
            process_id,
            job,
            phase: Phase::New,
            decoder: Decoder::default(),
            stream: Vec::new(),
            sent: 0,
            questions: Vec::new(),
            status: None,
            round: None,
            next_round: Duration::ZERO,
            settle_until: Duration::ZERO,
            answers: false,
            mute: false,
            trouble: None,
            near_end: settings.near_end,
            progress_at: Duration::ZERO,
            confirm_from: Duration::ZERO,
            end_has_left: false,
            answered_at: None,
            recover_at: Duration::ZERO,
            unsent_before: 0,
            wrong_answers: 0,
            garbage: 0,
        }
    }

    /// Where it stands.
    pub fn phase(&self) -> Phase {
        self.phase
    }

    /// Is nothing open between it and the printer: no question, no half answer, no trouble? Then its
    /// connection is as good as a new one.
    pub fn is_settled(&self) -> bool {
        self.round.is_none() && self.questions.is_empty() && self.decoder.pending() == 0 && self.trouble.is_none()
    }

    /// The bytes to hand to the socket next; empty if there are none now. Tell how many were
    /// taken with [`Event::Wrote`].
    pub fn to_write(&self) -> &[u8] {
        if self.phase == Phase::Done {
            return &[];
        }
        if self.is_asking() {
            return &self.questions;
        }
        if matches!(self.phase, Phase::Ending | Phase::Sending) {
            let end = self.stream.len().min(self.sent + CHUNK_BYTES_MAX);
            return &self.stream[self.sent..end];
        }
        &[]
    }

    /// Questions go first, but never into the middle of the stream: heads take them for data there.
    fn is_asking(&self) -> bool {
        !self.is_in_stream() && !self.questions.is_empty()
    }

    fn is_in_stream(&self) -> bool {
        self.sent > 0 && self.sent < self.stream.len()
    }

    /// Takes one event at `now` (since the driver began); gives what is to be done, in order.
    pub fn step(&mut self, event: Event<'_>, now: Duration) -> Vec<Effect> {
        let mut effects = Vec::new();
        if self.phase == Phase::Done {
            return effects;
        }
        match event {
            Event::Start => {
                self.phase = Phase::Connecting;
                effects.push(Effect::Connect);
            }
            Event::NoConnection(kind) => {
                self.tell(Some(kind), &mut effects);
                self.end(Outcome::NotSent(NotSent::NoConnection(kind)), &mut effects);
            }
            Event::Connected => {
                self.phase = Phase::Asking;
                self.ask(1, Status::default(), now);
            }
            Event::Read(bytes) => {
                for answer in self.decoder.take(bytes) {
                    self.hear(answer, now, &mut effects);
                }
            }
            Event::Wrote(count) => self.wrote(count, now, &mut effects),
            Event::Tick { unsent } => self.tick(unsent, now, &mut effects),
            Event::Closed | Event::Failed => self.broken(&mut effects),
            Event::Leave(Leave::Granted) => {
                let job = self.job.unwrap_or_default();
                self.stream = bytes::job_stream(job, self.settings.confirms, self.process_id, self.answers);
                self.sent = 0;
                // A round that is still open ends here.
                self.round = None;
                self.progress_at = now;
                self.phase = Phase::Sending;
            }
            Event::Leave(Leave::Refused) => self.end(Outcome::NotSent(NotSent::Withdrawn), &mut effects),
            Event::Stop if self.before_leave() => self.end(Outcome::NotSent(NotSent::Stopped), &mut effects),
            Event::Stop => {}
            Event::Abort if self.has_left() => self.end(Outcome::InDoubt(Doubt::Stopped), &mut effects),
            Event::Abort => self.end(Outcome::NotSent(NotSent::Stopped), &mut effects),
        }
        effects
    }

    fn before_leave(&self) -> bool {
        !matches!(self.phase, Phase::Sending | Phase::Confirming)
    }

    /// Did at least one byte of the job leave?
    fn has_left(&self) -> bool {
        match self.phase {
            Phase::Sending => self.sent > 0,
            phase => phase == Phase::Confirming,
        }
    }

    fn end(&mut self, outcome: Outcome, effects: &mut Vec<Effect>) {
        self.phase = Phase::Done;
        effects.push(Effect::Done(outcome));
    }

    fn tell(&mut self, trouble: Option<TroubleKind>, effects: &mut Vec<Effect>) {
        if self.trouble != trouble {
            self.trouble = trouble;
            effects.push(Effect::Trouble(trouble));
        }
    }

    fn broken(&mut self, effects: &mut Vec<Effect>) {
        self.tell(Some(TroubleKind::Broken), effects);
        let outcome = match self.has_left() {
            true => Outcome::InDoubt(Doubt::Broken),
            false => Outcome::NotSent(NotSent::Broken),
        };
        self.end(outcome, effects);
    }

    fn ask(&mut self, question: u8, status: Status, now: Duration) {
        self.questions.extend(bytes::real_time_question(question));
        self.round = Some(Round { question, asked_at: now, status });
    }

    fn hear(&mut self, answer: Answer, now: Duration, effects: &mut Vec<Effect>) {
        match answer {
            Answer::RealTime(byte) => self.hear_real_time(byte, now, effects),
            Answer::Automatic(status) => self.learn(status, now, effects),
            Answer::ProcessId(id) => self.hear_process_id(id, now, effects),
            Answer::InLine { near_end, paper_out } => self.hear_in_line(near_end, paper_out, now, effects),
            Answer::Name(_) => {}
            Answer::Garbage(_) => {
                self.wrong_answers += 1;
                self.garbage += 1;
                if self.before_leave() && self.wrong_answers > GARBAGE_BYTES_MAX {
                    self.tell(Some(TroubleKind::Garbage), effects);
                    self.end(Outcome::NotSent(NotSent::Garbage), effects);
                }
            }
        }
    }

    fn hear_real_time(&mut self, byte: u8, now: Duration, effects: &mut Vec<Effect>) {
        let Some(mut round) = self.round.filter(|_| now >= self.settle_until) else {
            // Too late for its question. It is a sign of life; ask anew when the rest has passed.
            self.settle_until = now + SETTLE;
            self.next_round = self.settle_until;
            return;
        };
        if !self.answers {
            self.answers = true;
            effects.push(Effect::Answers);
        }
        self.garbage = 0;
        round.status.take_real_time(round.question, byte);
        if round.question < 4 {
            return self.ask(round.question + 1, round.status, now);
        }
        self.round = None;
        self.next_round = now + self.settings.times.poll;
        self.learn(round.status, now, effects);
    }

    /// A whole status has come, by answers or by itself.
    fn learn(&mut self, status: Status, now: Duration, effects: &mut Vec<Effect>) {
        self.status = Some(status);
        self.mute = false;
        self.garbage = 0;
        if self.near_end != status.near_end {
            self.near_end = status.near_end;
            effects.push(Effect::NearEnd(status.near_end));
        }
        let trouble = trouble_of(&status);
        match self.phase {
            Phase::Asking | Phase::NotReady if trouble.is_some() => {
                self.tell(trouble, effects);
                self.phase = Phase::NotReady;
            }
            // Half a round may still be open when an automatic block comes: wait for its end.
            Phase::Asking | Phase::NotReady if self.round.is_some() => {}
            Phase::Asking => self.go_on(now, effects),
            Phase::NotReady => {
                self.tell(None, effects);
                self.end(Outcome::NotSent(NotSent::ReadyAgain), effects);
            }
            // Well, but it has still not answered the question in line.
            Phase::Ending
                if trouble.is_none() && matches!(self.trouble, Some(TroubleKind::Silent | TroubleKind::Garbage)) => {}
            Phase::Ending | Phase::Sending | Phase::Confirming => {
                self.tell(trouble, effects);
                // After a trouble the printer gets its full time anew.
                self.progress_at = now;
                if trouble.is_some() {
                    self.confirm_from = now;
                }
            }
            Phase::New | Phase::Connecting | Phase::AwaitLeave | Phase::Done => {}
        }
    }

    /// The printer is well, or has never been able to say so.
    fn go_on(&mut self, now: Duration, effects: &mut Vec<Effect>) {
        self.tell(None, effects);
        if self.job.is_none() {
            self.end(Outcome::Well, effects);
        } else if self.settings.after_doubt == AfterDoubt::EndPaper {
            self.stream = bytes::end_of_half_paper(self.settings.confirms, self.settings.cutter);
            self.sent = 0;
            self.progress_at = now;
            self.phase = Phase::Ending;
        } else {
            self.phase = Phase::AwaitLeave;
            effects.push(Effect::AskLeave);
        }
    }

    /// Half a paper is ended. An answer in line is proof enough of life; a printer that gives
    /// none is asked anew how it is.
    fn ended(&mut self, now: Duration, effects: &mut Vec<Effect>) {
        self.settings.after_doubt = AfterDoubt::Nothing;
        effects.push(Effect::Ended);
        if self.settings.confirms == Confirms::Nothing {
            self.phase = Phase::Asking;
            self.ask(1, Status::default(), now);
        } else {
            self.go_on(now, effects);
        }
    }

    fn hear_process_id(&mut self, id: [u8; 4], now: Duration, effects: &mut Vec<Effect>) {
        let asked = self.settings.confirms == Confirms::ProcessId;
        if self.phase == Phase::Ending && asked && id == PROOF_ID {
            // Of a question that was asked again a part may have left: the head would take the job's
            // first bytes for its rest. It is answered, too. And what answers a question from an earlier
            // connection says nothing of what the head has taken since.
            if self.end_has_left && !self.is_in_stream() {
                self.ended(now, effects);
            }
        } else if self.phase == Phase::Confirming && asked && id == self.process_id {
            // The roll may have ended just behind the cut: that trouble stays told.
            self.tell(self.status.as_ref().and_then(trouble_of), effects);
            self.end(Outcome::OnPaper(Confirmation::ProcessId), effects);
        } else if id != PROOF_ID {
            self.wrong_answers += 1;
            self.progress_at = now;
            effects.push(Effect::Heard(id));
        }
    }

    fn hear_in_line(&mut self, near_end: bool, paper_out: bool, now: Duration, effects: &mut Vec<Effect>) {
        let asked = self.settings.confirms == Confirms::InlineStatus;
        match self.phase {
            // An older question may have been answered: believe it only when no more answers come.
            Phase::Ending if asked && self.sent == self.stream.len() => self.answered_at = Some(now),
            Phase::Confirming if asked => {
                if self.near_end != near_end {
                    self.near_end = near_end;
                    effects.push(Effect::NearEnd(near_end));
                }
                self.tell(paper_out.then_some(TroubleKind::PaperOut), effects);
                self.end(Outcome::OnPaper(Confirmation::InlineStatus), effects);
            }
            _ => {
                self.wrong_answers += 1;
                self.progress_at = now;
            }
        }
    }

    fn wrote(&mut self, count: usize, now: Duration, effects: &mut Vec<Effect>) {
        if count == 0 {
            return;
        }
        self.progress_at = now;
        if self.trouble == Some(TroubleKind::Stalled) {
            self.tell(self.status.as_ref().and_then(trouble_of), effects);
        }
        if self.is_asking() {
            self.questions.drain(..count.min(self.questions.len()));
            return;
        }
        self.sent = self.stream.len().min(self.sent + count);
        if self.sent < self.stream.len() {
            return;
        }
        match self.phase {
            Phase::Ending if self.settings.confirms == Confirms::Nothing => self.ended(now, effects),
            Phase::Ending => {
                self.end_has_left = true;
                self.confirm_from = now;
            }
            Phase::Sending => {
                self.phase = Phase::Confirming;
                self.confirm_from = now;
                self.next_round = now + self.settings.times.poll;
            }
            _ => {}
        }
    }
}

/// The trouble that a status tells of, the most telling first.
pub fn trouble_of(status: &Status) -> Option<TroubleKind> {
    let told = [
        (status.cover_open, TroubleKind::CoverOpen),
        (status.paper_out, TroubleKind::PaperOut),
        (status.cutter, TroubleKind::Cutter),
        (status.unrecoverable, TroubleKind::Unrecoverable),
        (status.recovers, TroubleKind::Overheated),
        (status.offline || status.other_error, TroubleKind::Offline),
    ];
    told.into_iter().find_map(|(is_so, kind)| is_so.then_some(kind))
}
