//! The driver against scripts of events: every fault, step by step, without a socket or a clock.

use super::bytes::in_line_question;
use super::*;

const JOB: &[u8] = b"\x1B@one paper\x1DVB\0";
const ID: JobId = JobId(7);
/// Answers to the four questions: all is well.
const WELL: &[u8] = &[0x12];

fn settings(confirms: Confirms) -> Settings {
    Settings {
        confirms,
        cutter: true,
        must_answer: false,
        near_end: false,
        after_doubt: AfterDoubt::Nothing,
        times: Times::default(),
    }
}

/// A driver with a clock and a transcript.
struct Bench {
    driver: Driver<'static>,
    now: Duration,
    effects: Vec<Effect>,
    written: Vec<u8>,
}

impl Bench {
    fn new(settings: Settings) -> Self {
        let driver = Driver::new(settings, ID, JOB);
        let mut bench = Self { driver, now: Duration::ZERO, effects: Vec::new(), written: Vec::new() };
        bench.event(Event::Start);
        bench
    }

    fn event(&mut self, event: Event<'_>) {
        self.effects.extend(self.driver.step(event, self.now));
    }

    /// Lets the socket take up to so many bytes; gives how many it took.
    fn take(&mut self, most: usize) -> usize {
        let mut taken = 0;
        while taken < most && !self.driver.to_write().is_empty() {
            let piece = self.driver.to_write();
            let count = piece.len().min(most - taken);
            self.written.extend_from_slice(&piece[..count]);
            taken += count;
            self.event(Event::Wrote(count));
        }
        taken
    }

    /// Time passes, with ticks.
    fn pass(&mut self, seconds: u64) {
        for _ in 0..seconds * 4 {
            self.now += Duration::from_millis(250);
            self.event(Event::Tick { unsent: Some(0) });
        }
    }

    /// Connects and answers the four questions with these bytes.
    fn connect(&mut self, answers: [u8; 4]) {
        self.event(Event::Connected);
        self.answer_round(answers);
    }

    fn answer_round(&mut self, answers: [u8; 4]) {
        for (n, byte) in (1..).zip(answers) {
            let before = self.written.len();
            self.take(usize::MAX);
            assert_eq!(self.written[before..], [0x10, 4, n], "question {n}");
            self.event(Event::Read(&[byte]));
        }
    }

    /// Up to leave.
    fn well(confirms: Confirms) -> Self {
        let mut bench = Self::new(settings(confirms));
        bench.connect([WELL[0]; 4]);
        assert_eq!(bench.effects.last(), Some(&Effect::AskLeave));
        bench.written.clear();
        bench
    }

    /// Everything handed over.
    fn sent(confirms: Confirms) -> Self {
        let mut bench = Self::well(confirms);
        bench.event(Event::Leave(Leave::Granted));
        bench.take(usize::MAX);
        assert_eq!(bench.driver.phase(), Phase::Confirming);
        bench
    }

    fn outcome(&self) -> Option<Outcome> {
        match self.effects.last() {
            Some(Effect::Done(outcome)) => Some(*outcome),
            _ => None,
        }
    }

    fn troubles(&self) -> Vec<Option<TroubleKind>> {
        let told = self.effects.iter().filter_map(|effect| match effect {
            Effect::Trouble(trouble) => Some(*trouble),
            _ => None,
        });
        told.collect()
    }
}

fn confirmed(id: [u8; 4]) -> Vec<u8> {
    [b"\x37\x22".as_slice(), &id, b"\0"].concat()
}

#[test]
fn a_paper_is_confirmed_in_each_of_the_three_ways() {
    let cases: [(Confirms, Vec<u8>, Confirmation); 3] = [
        (Confirms::ProcessId, confirmed(ID.process_id()), Confirmation::ProcessId),
        (Confirms::InlineStatus, vec![0], Confirmation::InlineStatus),
        (Confirms::Nothing, vec![], Confirmation::Quiet),
    ];
    for (confirms, answer, by) in cases {
        let mut bench = Bench::sent(confirms);
        bench.event(Event::Read(&answer));
        if confirms == Confirms::Nothing {
            bench.pass(1);
            assert_eq!(bench.outcome(), None);
            bench.answer_polls(10);
        }
        assert_eq!(bench.outcome(), Some(Outcome::OnPaper(by)), "{confirms:?}");
        assert_eq!(bench.troubles(), []);
    }
}

impl Bench {
    /// Time passes while the printer answers every question that it is well.
    fn answer_polls(&mut self, seconds: u64) {
        for _ in 0..seconds * 4 {
            self.now += Duration::from_millis(250);
            self.event(Event::Tick { unsent: Some(0) });
            while self.take(usize::MAX) > 0 {
                self.event(Event::Read(WELL));
            }
        }
    }
}

#[test]
fn the_job_goes_out_whole_and_unchanged_with_questions_around() {
    let bench = Bench::sent(Confirms::ProcessId);
    let expected =
        [b"\x1B@\x1Da\xFF".as_slice(), &JOB[2..], b"\x1Da\xFF\x1D(H\x06\0\x30\x30", &ID.process_id()].concat();
    assert_eq!(bench.written, expected);
    let bench = Bench::sent(Confirms::InlineStatus);
    assert!(bench.written.ends_with(b"\x1Dr\x01"));
}

#[test]
fn no_question_ever_stands_in_the_middle_of_a_job() {
    let settings = Settings { after_doubt: AfterDoubt::EndPaper, ..settings(Confirms::ProcessId) };
    let mut bench = Bench::new(settings);
    bench.connect([0x12; 4]);
    bench.take(usize::MAX);
    // A round of questions is under way when the proof of life comes.
    bench.pass(3);
    bench.take(usize::MAX);
    bench.event(Event::Read(&confirmed(PROOF_ID)));
    bench.event(Event::Leave(Leave::Granted));
    bench.written.clear();
    bench.take(5);
    bench.event(Event::Read(WELL));
    bench.pass(60);
    bench.take(usize::MAX);
    let expected = [b"\x1B@\x1Da\xFF".as_slice(), &JOB[2..]].concat();
    assert_eq!(bench.written[..expected.len()], expected);
}

#[test]
fn without_a_connection_nothing_leaves() {
    for kind in [TroubleKind::Refused, TroubleKind::Unreachable] {
        let mut bench = Bench::new(settings(Confirms::ProcessId));
        bench.event(Event::NoConnection(kind));
        assert_eq!(bench.outcome(), Some(Outcome::NotSent(NotSent::NoConnection(kind))));
        assert_eq!(bench.troubles(), [Some(kind)]);
    }
}

#[test]
fn trouble_before_the_job_is_told_waited_for_and_the_queue_is_asked_anew() {
    let cases = [
        ([0x1A, 0x32, 0x12, 0x7E], TroubleKind::PaperOut),
        ([0x1A, 0x16, 0x12, 0x12], TroubleKind::CoverOpen),
        ([0x1A, 0x52, 0x1A, 0x12], TroubleKind::Cutter),
        ([0x1A, 0x52, 0x32, 0x12], TroubleKind::Unrecoverable),
        ([0x1A, 0x52, 0x52, 0x12], TroubleKind::Overheated),
        ([0x1A, 0x12, 0x12, 0x12], TroubleKind::Offline),
    ];
    for (answers, kind) in cases {
        let mut bench = Bench::new(settings(Confirms::ProcessId));
        bench.connect(answers);
        assert_eq!(bench.troubles(), [Some(kind)]);
        bench.now += Duration::from_secs(3);
        bench.event(Event::Tick { unsent: None });
        bench.answer_round(answers);
        assert_eq!(bench.driver.phase(), Phase::NotReady);
        bench.now += Duration::from_secs(3);
        bench.event(Event::Tick { unsent: None });
        bench.answer_round([0x12; 4]);
        assert_eq!(bench.troubles(), [Some(kind), None]);
        assert_eq!(bench.outcome(), Some(Outcome::NotSent(NotSent::ReadyAgain)), "{kind:?}");
    }
}

#[test]
fn silence_before_the_job_means_nothing_unless_this_printer_has_answered_before() {
    let mut bench = Bench::new(settings(Confirms::ProcessId));
    bench.event(Event::Connected);
    bench.pass(3);
    assert_eq!(bench.effects.last(), Some(&Effect::AskLeave));

    let mut bench = Bench::new(Settings { must_answer: true, ..settings(Confirms::ProcessId) });
    bench.event(Event::Connected);
    bench.take(usize::MAX);
    bench.pass(3);
    assert_eq!(bench.troubles(), [Some(TroubleKind::Silent)]);
    // The other client has gone; the answer to the old question comes late.
    bench.event(Event::Read(WELL));
    bench.answer_polls(6);
    assert_eq!(bench.outcome(), Some(Outcome::NotSent(NotSent::ReadyAgain)));
}

#[test]
fn a_broken_connection_is_in_doubt_from_the_first_byte_on() {
    let doubt = Outcome::InDoubt(Doubt::Broken);
    let not_sent = Outcome::NotSent(NotSent::Broken);
    for (bytes, expected) in [(0, not_sent), (1, doubt), (20, doubt), (usize::MAX, doubt)] {
        for end in [Event::Closed, Event::Failed] {
            let mut bench = Bench::well(Confirms::ProcessId);
            bench.event(Event::Leave(Leave::Granted));
            bench.take(bytes);
            bench.event(end);
            assert_eq!(bench.outcome(), Some(expected), "after {bytes} bytes");
        }
    }
}

#[test]
fn the_book_may_take_the_job_back() {
    let mut bench = Bench::well(Confirms::ProcessId);
    bench.event(Event::Leave(Leave::Refused));
    assert_eq!(bench.outcome(), Some(Outcome::NotSent(NotSent::Withdrawn)));
    assert!(bench.written.is_empty());
}

#[test]
fn trouble_in_the_middle_is_told_and_waited_for_as_long_as_it_takes() {
    let cases = [
        (vec![0x18, 0, 0x0C, 0], TroubleKind::PaperOut),
        (vec![0x38, 0, 0, 0], TroubleKind::CoverOpen),
        (vec![0x18, 0x08, 0, 0], TroubleKind::Cutter),
        (vec![0x18, 0x40, 0, 0], TroubleKind::Overheated),
        (vec![0x18, 0x20, 0, 0], TroubleKind::Unrecoverable),
    ];
    for (block, kind) in cases {
        for bytes in [10, usize::MAX] {
            let mut bench = Bench::well(Confirms::ProcessId);
            bench.event(Event::Leave(Leave::Granted));
            bench.take(bytes);
            bench.event(Event::Read(&block));
            bench.pass(3600);
            assert_eq!((bench.troubles(), bench.outcome()), (vec![Some(kind)], None), "{kind:?} {bytes}");
            bench.event(Event::Read(&[0x10, 0, 0, 0]));
            bench.take(usize::MAX);
            bench.event(Event::Read(&confirmed(ID.process_id())));
            assert_eq!(bench.troubles(), [Some(kind), None]);
            assert_eq!(bench.outcome(), Some(Outcome::OnPaper(Confirmation::ProcessId)));
        }
    }
}

#[test]
fn paper_that_ends_behind_the_job_does_not_put_it_in_doubt() {
    let mut bench = Bench::sent(Confirms::ProcessId);
    bench.event(Event::Read(&[0x18, 0, 0x0F, 0]));
    bench.event(Event::Read(&confirmed(ID.process_id())));
    assert_eq!(bench.outcome(), Some(Outcome::OnPaper(Confirmation::ProcessId)));
    assert_eq!(bench.troubles(), [Some(TroubleKind::PaperOut)]);
    assert!(bench.effects.contains(&Effect::NearEnd(true)));
}

#[test]
fn the_near_end_of_the_roll_is_told_early_and_is_no_trouble() {
    let mut bench = Bench::new(settings(Confirms::ProcessId));
    bench.connect([0x12, 0x12, 0x12, 0x1E]);
    assert!(bench.effects.contains(&Effect::NearEnd(true)));
    assert_eq!(bench.effects.last(), Some(&Effect::AskLeave));
    assert_eq!(bench.troubles(), []);
}

#[test]
fn a_printer_that_takes_no_more_is_called_stalled_and_goes_on() {
    let mut bench = Bench::well(Confirms::ProcessId);
    bench.event(Event::Leave(Leave::Granted));
    bench.take(10);
    bench.pass(9);
    assert_eq!(bench.troubles(), []);
    bench.pass(2);
    assert_eq!(bench.troubles(), [Some(TroubleKind::Stalled)]);
    bench.pass(3600);
    assert_eq!(bench.outcome(), None);
    bench.take(usize::MAX);
    assert_eq!(bench.troubles(), [Some(TroubleKind::Stalled), None]);
}

#[test]
fn bytes_that_only_lie_in_the_socket_are_not_waited_for_as_an_answer() {
    let mut bench = Bench::sent(Confirms::ProcessId);
    for _ in 0..400 {
        bench.now += Duration::from_secs(1);
        bench.event(Event::Tick { unsent: Some(900) });
    }
    assert_eq!((bench.troubles(), bench.outcome()), (vec![Some(TroubleKind::Stalled)], None));
    bench.event(Event::Tick { unsent: Some(0) });
    assert_eq!(bench.troubles(), [Some(TroubleKind::Stalled), None]);
}

#[test]
fn no_confirmation_is_in_doubt_and_says_why() {
    let mut silent = Bench::sent(Confirms::ProcessId);
    silent.pass(40);
    assert_eq!(silent.outcome(), Some(Outcome::InDoubt(Doubt::Silent)));

    let mut well = Bench::sent(Confirms::ProcessId);
    well.answer_polls(40);
    assert_eq!(well.outcome(), Some(Outcome::InDoubt(Doubt::Unconfirmed)));

    let mut wrong = Bench::sent(Confirms::ProcessId);
    wrong.event(Event::Read(&confirmed(*b"0000")));
    assert!(wrong.effects.contains(&Effect::Heard(*b"0000")));
    wrong.pass(40);
    assert_eq!(wrong.outcome(), Some(Outcome::InDoubt(Doubt::WrongAnswer)));

    let mut garbage = Bench::sent(Confirms::InlineStatus);
    garbage.event(Event::Read(&[0xFF, 0x80, 0x99]));
    garbage.pass(40);
    assert_eq!(garbage.outcome(), Some(Outcome::InDoubt(Doubt::WrongAnswer)));
}

#[test]
fn what_talks_like_no_printer_gets_no_job() {
    for (count, is_over) in [(GARBAGE_BYTES_MAX, false), (GARBAGE_BYTES_MAX + 1, true)] {
        let mut bench = Bench::new(settings(Confirms::ProcessId));
        bench.event(Event::Connected);
        bench.event(Event::Read(&vec![0xFF; count]));
        assert_eq!(bench.outcome().is_some(), is_over, "{count}");
    }
}

#[test]
fn after_a_doubt_half_a_paper_is_ended_and_a_sign_of_life_is_waited_for() {
    for (confirms, answer) in [(Confirms::ProcessId, confirmed(PROOF_ID)), (Confirms::InlineStatus, vec![0])] {
        let mut bench = Bench::new(Settings { after_doubt: AfterDoubt::EndPaper, ..settings(confirms) });
        bench.connect([0x12; 4]);
        bench.written.clear();
        bench.take(usize::MAX);
        assert!(bench.written.starts_with(&[0; HALF_PAPER_PAD]));
        assert!(bench.written[HALF_PAPER_PAD..].starts_with(b"\x1B@\x1Bd\x02\x1DVB\0"));
        bench.pass(600);
        assert_eq!(bench.driver.phase(), Phase::Ending, "no job leaves before the answer");
        assert_eq!(bench.troubles(), [Some(TroubleKind::Silent)]);
        // The answer may have been lost, so the question is asked again.
        bench.written.clear();
        bench.take(usize::MAX);
        assert!(bench.written.len() < 20 && bench.written.ends_with(&in_line_question(confirms, PROOF_ID)));
        bench.event(Event::Read(&answer));
        bench.pass(3);
        assert!(bench.effects.contains(&Effect::Ended));
        assert_eq!(bench.effects.last(), Some(&Effect::AskLeave));
        assert_eq!(bench.troubles(), [Some(TroubleKind::Silent), None]);
    }
    // A printer that can confirm nothing is asked anew how it is.
    let mut mute = Bench::new(Settings { after_doubt: AfterDoubt::EndPaper, ..settings(Confirms::Nothing) });
    mute.connect([0x12; 4]);
    while mute.driver.phase() == Phase::Ending {
        mute.take(1);
    }
    assert_eq!(mute.effects.last(), Some(&Effect::Ended));
    mute.answer_round([0x12; 4]);
    assert_eq!(mute.effects.last(), Some(&Effect::AskLeave));
}

#[test]
fn no_job_follows_half_a_question_that_was_asked_again() {
    let mut bench = Bench::new(Settings { after_doubt: AfterDoubt::EndPaper, ..settings(Confirms::ProcessId) });
    bench.connect([0x12; 4]);
    bench.take(usize::MAX);
    while bench.driver.to_write().first() != Some(&0x1D) {
        bench.take(usize::MAX);
        bench.pass(1);
    }
    bench.written.clear();
    bench.take(3);
    // Now the first question is answered.
    bench.event(Event::Read(&confirmed(PROOF_ID)));
    assert_eq!(bench.driver.phase(), Phase::Ending);
    bench.take(usize::MAX);
    assert!(bench.written.starts_with(&in_line_question(Confirms::ProcessId, PROOF_ID)));
    bench.event(Event::Read(&confirmed(PROOF_ID)));
    assert_eq!(bench.effects.last(), Some(&Effect::AskLeave));
}

#[test]
fn an_answer_from_an_earlier_connection_ends_no_half_paper() {
    let mut bench = Bench::new(Settings { after_doubt: AfterDoubt::EndPaper, ..settings(Confirms::ProcessId) });
    bench.connect([0x12; 4]);
    for taken in [0, HALF_PAPER_PAD / 2] {
        assert_eq!(bench.take(taken), taken);
        bench.event(Event::Read(&confirmed(PROOF_ID)));
        assert_eq!(bench.driver.phase(), Phase::Ending, "the head may still wait for the rest of a command");
    }
    bench.take(usize::MAX);
    bench.event(Event::Read(&confirmed(PROOF_ID)));
    assert_eq!(bench.effects.last(), Some(&Effect::AskLeave));
}

#[test]
fn after_a_doubt_silence_may_come_from_half_a_picture_so_that_is_ended_first() {
    let settings = Settings { after_doubt: AfterDoubt::EndPaper, must_answer: true, ..settings(Confirms::ProcessId) };
    let mut bench = Bench::new(settings);
    bench.event(Event::Connected);
    bench.take(usize::MAX);
    bench.pass(3);
    assert_eq!(bench.driver.phase(), Phase::Ending);
    bench.take(usize::MAX);
    bench.event(Event::Read(&confirmed(PROOF_ID)));
    assert_eq!(bench.effects.last(), Some(&Effect::AskLeave));
}

#[test]
fn stopping_ends_a_job_only_before_leave() {
    let mut before = Bench::well(Confirms::ProcessId);
    before.event(Event::Stop);
    assert_eq!(before.outcome(), Some(Outcome::NotSent(NotSent::Stopped)));

    let mut middle = Bench::sent(Confirms::ProcessId);
    middle.event(Event::Stop);
    assert_eq!(middle.outcome(), None);
    middle.event(Event::Abort);
    assert_eq!(middle.outcome(), Some(Outcome::InDoubt(Doubt::Stopped)));

    let mut no_byte = Bench::well(Confirms::ProcessId);
    no_byte.event(Event::Leave(Leave::Granted));
    no_byte.event(Event::Abort);
    assert_eq!(no_byte.outcome(), Some(Outcome::NotSent(NotSent::Stopped)));
}

#[test]
fn a_stuck_cutter_is_asked_to_go_on_now_and_then() {
    let mut bench = Bench::sent(Confirms::ProcessId);
    bench.event(Event::Read(&[0x18, 0x08, 0, 0]));
    bench.written.clear();
    for _ in 0..70 {
        bench.pass(1);
        bench.take(usize::MAX);
    }
    let asked = bench.written.windows(3).filter(|bytes| *bytes == [0x10, 5, 1]).count();
    assert_eq!(asked, 3);
}

#[test]
fn a_look_ends_well_or_with_the_trouble() {
    let mut look = Driver::look(settings(Confirms::ProcessId));
    look.step(Event::Start, Duration::ZERO);
    look.step(Event::Connected, Duration::ZERO);
    let effects: Vec<Effect> = (0..4).flat_map(|_| look.step(Event::Read(WELL), Duration::ZERO)).collect();
    assert_eq!(effects.last(), Some(&Effect::Done(Outcome::Well)));
}

#[test]
fn nothing_happens_after_the_end() {
    let mut bench = Bench::sent(Confirms::ProcessId);
    bench.event(Event::Closed);
    let count = bench.effects.len();
    bench.event(Event::Read(&confirmed(ID.process_id())));
    bench.event(Event::Tick { unsent: None });
    assert_eq!(bench.effects.len(), count);
    assert!(bench.driver.to_write().is_empty());
}
