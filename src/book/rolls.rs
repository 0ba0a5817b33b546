//! How much of its roll a printer has used, and for how many more slips the rest will do.

use super::State;
use crate::model::*;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// From the head to the knife, which every paper pays for as white: from memory of common heads
/// (11 to 15 mm), common practice, no source.
const KNIFE_WAY_NM: i128 = 13 * NM_PER_MM as i128;
/// Nanometres of an inch.
const INCH_NM: i128 = 25_400_000;
/// What a slip takes is known after so many of them ...
const SLIPS_MIN: u64 = 5;
/// ... and from so many on the older half counts half, so that it follows the goods.
const SLIPS_MAX: u64 = 200;

/// What a printer has printed.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Roll {
    /// When a new roll was last seen to be put in; what was printed counts from then on.
    pub since: Option<Timestamp>,
    /// Since then.
    pub used: Paperwork,
    /// Lately, of all kinds: what a slip takes, with what prints beside it.
    pub usual: Paperwork,
}

/// An amount of paper, in what was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Paperwork {
    /// Rows of dots.
    pub rows: u64,
    /// Papers; each is fed on to the knife.
    pub papers: u64,
    /// How many of them are slips.
    pub slips: u64,
}

impl Paperwork {
    fn add(&mut self, rows: u32, kind: PaperKind) {
        self.rows += u64::from(rows);
        self.papers += 1;
        self.slips += u64::from(kind == PaperKind::Slip);
    }

    /// Its length on a printer with so many dots an inch.
    fn nm(self, dpi: u32) -> i128 {
        i128::from(self.rows) * INCH_NM / i128::from(dpi.max(1)) + i128::from(self.papers) * KNIFE_WAY_NM
    }
}

impl State {
    /// A job that was on its way lies on paper, or perhaps: either way its paper is used.
    pub(super) fn use_roll(&mut self, job: JobId) {
        let Some(job) = self.jobs.get(&job) else { return };
        let (JobState::Sending { printer }, Some(rows), kind) = (&job.state, job.rows, job.kind) else { return };
        let roll = self.rolls.entry(printer.clone()).or_default();
        roll.used.add(rows, kind);
        roll.usual.add(rows, kind);
        if roll.usual.slips >= SLIPS_MAX {
            let usual = &mut roll.usual;
            (usual.rows, usual.papers, usual.slips) = (usual.rows / 2, usual.papers / 2, usual.slips / 2);
        }
    }

    /// A new roll was put in.
    pub(super) fn new_roll(&mut self, printer: &PrinterName, at: Timestamp) {
        let roll = self.rolls.entry(printer.clone()).or_default();
        roll.since = Some(at);
        roll.used = Paperwork::default();
    }

    /// For about how many more slips this printer's roll will do, with what prints beside them.
    /// `None` where that is not known: no length in its profile, no new roll seen yet, too few
    /// slips to know what one takes, or a roll that must have been changed unseen.
    pub fn slips_left(&self, printer: &Printer) -> Option<u64> {
        let roll = self.rolls.get(&printer.name).filter(|roll| roll.since.is_some())?;
        let left = i128::from(printer.roll?.nm) - roll.used.nm(printer.dpi);
        if roll.usual.slips < SLIPS_MIN || left <= 0 {
            return None;
        }
        let each = roll.usual.nm(printer.dpi) / i128::from(roll.usual.slips);
        u64::try_from(left / each.max(1)).ok()
    }
}

/// As exactly as an estimate deserves: one by one below ten, then fives, then tens, then fifties.
pub fn about(slips: u64) -> u64 {
    let step = match slips {
        0..10 => 1,
        10..50 => 5,
        50..200 => 10,
        _ => 50,
    };
    slips / step * step
}

#[cfg(test)]
mod tests {
    use super::*;

    fn printer(dpi: u32) -> Printer {
        Printer { dpi, roll: Some(Length::from_mm(80_000)), ..Printer::usual("bench", "x:1") }
    }

    fn printed(state: &mut State, count: u64, rows: u32, kind: PaperKind) {
        for _ in 0..count {
            let id = JobId(state.last_job + 1);
            state.last_job += 1;
            let sending = JobState::Sending { printer: "bench".into() };
            let at = Timestamp::UNIX_EPOCH;
            let job = Job {
                id,
                kind,
                subject: Subject::Test(1),
                copy: None,
                rank: 1,
                state: sending,
                since: at,
                digest: None,
                rows: Some(rows),
                sent_to: None,
                tries: 1,
            };
            state.jobs.insert(id, job);
            state.use_roll(id);
        }
    }

    #[test]
    fn nothing_is_said_before_a_new_roll_was_seen_and_slips_are_known() {
        let mut state = State::default();
        printed(&mut state, 50, 1_000, PaperKind::Slip);
        assert_eq!(state.slips_left(&printer(203)), None, "nobody knows how much was on the roll");
        state.new_roll(&"bench".into(), Timestamp::UNIX_EPOCH);
        assert!(state.slips_left(&printer(203)).is_some());
        assert_eq!(state.slips_left(&Printer { roll: None, ..printer(203) }), None);
        let mut fresh = State::default();
        fresh.new_roll(&"bench".into(), Timestamp::UNIX_EPOCH);
        printed(&mut fresh, SLIPS_MIN - 1, 1_000, PaperKind::Slip);
        assert_eq!(fresh.slips_left(&printer(203)), None);
    }

    #[test]
    fn a_roll_is_rows_and_the_way_to_the_knife() {
        let mut state = State::default();
        state.new_roll(&"bench".into(), Timestamp::UNIX_EPOCH);
        // 2 030 rows at 203 dots an inch are 254 mm, with the way to the knife 267.
        printed(&mut state, 10, 2_030, PaperKind::Slip);
        assert_eq!(state.slips_left(&printer(203)), Some((80_000 - 2_670) / 267));
        // A card beside each takes its part: 100 rows at 100 dots an inch are 25.4 mm.
        let mut state = State::default();
        state.new_roll(&"bench".into(), Timestamp::UNIX_EPOCH);
        printed(&mut state, 10, 1_000, PaperKind::Slip);
        printed(&mut state, 10, 100, PaperKind::Card);
        let each = 254.0 + 13.0 + 25.4 + 13.0;
        assert_eq!(state.slips_left(&printer(100)), Some(((80_000.0 - 10.0 * each) / each) as u64));
    }

    #[test]
    fn a_roll_that_should_have_ended_long_ago_was_changed_unseen() {
        let mut state = State::default();
        state.new_roll(&"bench".into(), Timestamp::UNIX_EPOCH);
        printed(&mut state, 400, 2_030, PaperKind::Slip);
        assert_eq!(state.slips_left(&printer(203)), None);
        state.new_roll(&"bench".into(), Timestamp::UNIX_EPOCH);
        assert_eq!(state.slips_left(&printer(203)), Some(80_000 / 267));
        assert!(state.rolls[&PrinterName::from("bench")].usual.slips < SLIPS_MAX, "older ones fade");
    }

    #[test]
    fn estimates_are_round() {
        let rounded = [0, 7, 12, 49, 63, 199, 240, 318].map(about);
        assert_eq!(rounded, [0, 7, 10, 45, 60, 190, 200, 300]);
    }
}
