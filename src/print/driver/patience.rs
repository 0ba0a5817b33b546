//! What the driver does when time passes: it asks again, calls silence and standstill by their
//! names, and stops waiting only where waiting is of no use.

use super::*;

/// A stuck cutter is asked to go on this often.
const RECOVER_EVERY: Duration = Duration::from_secs(30);

impl Driver<'_> {
    /// Time passes.
    pub(super) fn tick(&mut self, unsent: Option<usize>, now: Duration, effects: &mut Vec<Effect>) {
        let times = self.settings.times;
        if let Some(round) = self.round
            && now.saturating_sub(round.asked_at) >= times.status
        {
            self.round = None;
            self.mute = true;
            self.next_round = now + times.poll;
            self.no_answer(now, effects);
        }
        match self.phase {
            Phase::NotReady => self.start_round(now),
            Phase::Sending => self.watch_for_stall(now, effects),
            Phase::Ending if self.sent < self.stream.len() => self.watch_for_stall(now, effects),
            Phase::Ending => self.wait_for_life(now, effects),
            Phase::Confirming => self.confirm(unsent, now, effects),
            _ => {}
        }
    }

    fn start_round(&mut self, now: Duration) {
        // A printer that takes no bytes is not asked the same again and again.
        let is_free = self.round.is_none() && self.questions.is_empty();
        if is_free && now >= self.next_round && now >= self.settle_until {
            self.ask(1, Status::default(), now);
        }
    }

    /// It does not answer, or not like a printer.
    fn unanswered(&self) -> TroubleKind {
        if self.garbage > 0 { TroubleKind::Garbage } else { TroubleKind::Silent }
    }

    /// A status question got no answer: neither good nor bad, unless this printer can answer.
    fn no_answer(&mut self, now: Duration, effects: &mut Vec<Effect>) {
        let told = self.unanswered();
        self.garbage = 0;
        match self.phase {
            // A head that still waits for the rest of a picture may have swallowed the question.
            Phase::Asking if self.settings.after_doubt == AfterDoubt::EndPaper => self.go_on(now, effects),
            // What answers nonsense is not given a job, even if it has never answered anything else.
            Phase::Asking if self.settings.must_answer || self.answers || told == TroubleKind::Garbage => {
                self.phase = Phase::NotReady;
                self.tell(Some(told), effects);
            }
            Phase::Asking => self.go_on(now, effects),
            // The nonsense has ended, and it has never answered: it is as any printer that cannot.
            Phase::NotReady if told == TroubleKind::Silent && !self.settings.must_answer && !self.answers => {
                self.tell(None, effects);
                self.end(Outcome::NotSent(NotSent::ReadyAgain), effects);
            }
            Phase::NotReady => self.tell(Some(told), effects),
            _ => {}
        }
    }

    /// Everything for the end of half a paper is handed over; the answer in line must come.
    fn wait_for_life(&mut self, now: Duration, effects: &mut Vec<Effect>) {
        let times = self.settings.times;
        if self.answered_at.is_some_and(|at| now.saturating_sub(at) >= times.status) {
            return self.ended(now, effects);
        }
        if self.answers {
            self.start_round(now);
        }
        let is_unexplained = matches!(self.trouble, None | Some(TroubleKind::Silent | TroubleKind::Garbage));
        if is_unexplained && now.saturating_sub(self.confirm_from) >= times.answer {
            self.tell(Some(self.unanswered()), effects);
            self.garbage = 0;
            // The answer may have been lost: ask again.
            self.confirm_from = now;
            self.stream = bytes::in_line_question(self.settings.confirms, PROOF_ID);
            self.sent = 0;
        }
    }

    fn watch_for_stall(&mut self, now: Duration, effects: &mut Vec<Effect>) {
        if self.trouble.is_none() && now.saturating_sub(self.progress_at) >= self.settings.times.stall {
            self.tell(Some(TroubleKind::Stalled), effects);
        }
    }

    fn confirm(&mut self, unsent: Option<usize>, now: Duration, effects: &mut Vec<Effect>) {
        let times = self.settings.times;
        let unsent = unsent.unwrap_or(0);
        if unsent > 0 {
            // The printer has not even taken it all: no wait for an answer counts yet.
            self.confirm_from = now;
            if unsent != self.unsent_before {
                self.progress_at = now;
            }
            self.unsent_before = unsent;
            return self.watch_for_stall(now, effects);
        }
        self.unsent_before = 0;
        if self.trouble == Some(TroubleKind::Stalled) {
            self.tell(self.status.as_ref().and_then(trouble_of), effects);
        }
        if self.answers {
            self.start_round(now);
        }
        if let Some(trouble) = self.trouble {
            // Known trouble: a person will see to it, and then the printer goes on.
            self.confirm_from = now;
            if trouble == TroubleKind::Cutter && now >= self.recover_at {
                self.recover_at = now + RECOVER_EVERY;
                self.questions.extend(bytes::RECOVER);
            }
            return;
        }
        let waited = now.saturating_sub(self.confirm_from);
        if self.settings.confirms == Confirms::Nothing {
            if waited >= times.quiet && self.round.is_none() {
                self.end(Outcome::OnPaper(Confirmation::Quiet), effects);
            }
        } else if waited >= times.answer {
            let silent = !self.answers || self.mute;
            let doubt = match self.wrong_answers {
                0 if silent => Doubt::Silent,
                0 => Doubt::Unconfirmed,
                _ => Doubt::WrongAnswer,
            };
            let kind = if doubt == Doubt::WrongAnswer { TroubleKind::Garbage } else { TroubleKind::Silent };
            self.tell(Some(kind), effects);
            self.end(Outcome::InDoubt(doubt), effects);
        }
    }
}
