//! Papers and their states, for people and programs. Pure.

use super::{ReadState, status, words};
use crate::book::State;
use crate::model::*;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// Papers that are done are shown up to so many, the latest first.
const DONE_SHOWN_MAX: usize = 30;

/// One paper on its way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobView {
    /// `j12`, as typed in `dawnslip reprint`.
    pub job: String,
    /// Kind of paper.
    pub kind: PaperKind,
    /// What it is, in words.
    pub what: String,
    /// `queued`, `sending`, `on paper`, `uncertain`, `dropped`.
    pub state: String,
    /// What else there is to say about the state: by what we know, why.
    pub detail: String,
    /// Since when.
    pub since: Timestamp,
    /// It carries COPY.
    pub copy: bool,
    /// Its length in millimetres without the way to the knife, once it was sent, while the printer it was sent to
    /// is configured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub millimetres: Option<u32>,
    /// How often it was tried.
    pub tries: u32,
}

/// `the slip of S-442`, `the pick list of 2026-11-25`.
pub fn paper_name(state: &State, job: &Job) -> String {
    words::tame(&format!("the {}", state.paper_name(job)))
}

/// How one job stands.
pub fn view(state: &State, workshop: &Workshop, job: &Job) -> JobView {
    let detail = match &job.state {
        JobState::Queued => String::new(),
        JobState::Sending { printer } => format!("to printer \"{printer}\""),
        JobState::OnPaper { by } => match by {
            Confirmation::ProcessId => "the printer confirmed this very paper",
            Confirmation::InlineStatus => "the printer answered after it",
            Confirmation::Quiet => "the printer read it and reported no error; it can confirm nothing more",
            Confirmation::Person => "a person looked",
        }
        .to_owned(),
        JobState::Uncertain { why } | JobState::Dropped { why } => why.clone(),
    };
    let mut what = paper_name(state, job);
    if job.copy.is_some() {
        what.push_str(", COPY");
    }
    JobView {
        job: job.id.to_string(),
        kind: job.kind,
        what,
        state: job.state.word().to_owned(),
        detail,
        since: job.since,
        copy: job.copy.is_some(),
        millimetres: job.rows.zip(printer_of(state, workshop, job)).map(|(rows, printer)| millimetres(rows, printer)),
        tries: job.tries,
    }
}

/// The printer a paper was sent to; of one from before that was noted, the one it is routed to.
fn printer_of<'w>(state: &State, workshop: &'w Workshop, job: &Job) -> Option<&'w Printer> {
    match &job.sent_to {
        Some(name) => workshop.printers.iter().find(|printer| printer.name == *name),
        None => state.printer_of(workshop, job.kind, &job.subject),
    }
}

/// Rows of dots as a length on that printer.
fn millimetres(rows: u32, printer: &Printer) -> u32 {
    u32::try_from(u64::from(rows) * 254 / (u64::from(printer.dpi.max(1)) * 10)).unwrap_or(u32::MAX)
}

/// All that are not done in the order in which they print, then the latest that are.
pub fn all(read: &ReadState) -> Vec<JobView> {
    let state = &read.state;
    let is_done = |job: &&Job| matches!(job.state, JobState::OnPaper { .. } | JobState::Dropped { .. });
    let (mut done, mut open): (Vec<&Job>, Vec<&Job>) = state.jobs.values().partition(is_done);
    open.sort_by_key(|job| (!matches!(job.state, JobState::Sending { .. }), job.rank, job.id));
    done.sort_by_key(|job| std::cmp::Reverse((job.since, job.id)));
    done.truncate(DONE_SHOWN_MAX);
    open.into_iter().chain(done).map(|job| view(state, &read.workshop, job)).collect()
}

/// Text for a terminal.
pub fn text(read: &ReadState, jobs: &[JobView], now: Timestamp) -> String {
    if jobs.is_empty() {
        return "no papers yet\n".to_owned();
    }
    jobs.iter().map(|job| line(read, job, now)).collect()
}

/// One line (or more) about a job.
pub fn line(read: &ReadState, job: &JobView, now: Timestamp) -> String {
    let since = words::moment(&read.workshop.zone, job.since, now);
    let mut text = format!("{} · {} since {since}", job.what, job.state);
    if !job.detail.is_empty() {
        text.push_str(&format!(" ({})", job.detail));
    }
    if let Some(mm) = job.millimetres {
        text.push_str(&format!(" · {mm} mm"));
    }
    words::hanging(&format!("{:<7}", job.job), &text, status::COLUMNS)
}
