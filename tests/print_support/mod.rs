//! A spool in memory that behaves as the book does, and jobs that can be told apart on paper.

use data_encoding::HEXLOWER;
use dawnslip::book::BytesLeft;
use dawnslip::model::{Confirmation, Confirms, JobId, Printer, PrinterName};
use dawnslip::print::galley::Paper;
use dawnslip::print::worker::{NextJob, Spooler, Which};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::sync::Mutex;
use tokio::sync::watch;

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum State {
    Queued,
    Sending,
    OnPaper(Confirmation),
    Uncertain(String),
    Dropped,
}

#[derive(Debug, Clone)]
pub struct Entry {
    pub job: NextJob,
    pub state: State,
    /// The uncertain job that this one is a COPY of.
    pub copy_of: Option<JobId>,
}

/// The spool: an uncertain job is printed again as COPY, a late answer cancels a queued COPY.
#[derive(Debug)]
pub struct Spool {
    entries: Mutex<BTreeMap<JobId, Entry>>,
    /// New rolls that were told.
    rolls: Mutex<usize>,
    changed: watch::Sender<()>,
}

impl Spool {
    pub fn new() -> Self {
        Self { entries: Mutex::default(), rolls: Mutex::default(), changed: watch::Sender::new(()) }
    }

    pub fn entries(&self) -> BTreeMap<JobId, Entry> {
        self.entries.lock().unwrap().clone()
    }

    /// Adds a job of so many rows of picture; gives its number.
    pub fn add(&self, title: &str, rows: u16) -> JobId {
        self.insert(title, rows, None)
    }

    fn insert(&self, title: &str, rows: u16, copy_of: Option<JobId>) -> JobId {
        let mut entries = self.entries.lock().unwrap();
        let id = JobId(entries.len() as u64 + 1);
        let bytes = paper_bytes(&format!("{title} {id}"), rows);
        let digest = HEXLOWER.encode(&Sha256::digest(&bytes));
        let job = NextJob { job: id, title: title.to_owned(), bytes, digest, rows: rows.into() };
        entries.insert(id, Entry { job, state: State::Queued, copy_of });
        drop(entries);
        self.changed.send_replace(());
        id
    }

    fn set(&self, id: JobId, state: State) {
        self.entries.lock().unwrap().get_mut(&id).unwrap().state = state;
        self.changed.send_replace(());
    }

    /// Takes a job out.
    #[allow(dead_code, reason = "not every test that shares this file does")]
    pub fn drop_job(&self, id: JobId) {
        self.set(id, State::Dropped);
    }

    pub async fn wait_until(&self, is_so: impl Fn(&BTreeMap<JobId, Entry>) -> bool) {
        let mut changed = self.changed.subscribe();
        while !is_so(&self.entries.lock().unwrap()) {
            changed.changed().await.unwrap();
        }
    }

    /// Waits until nothing is queued or under way.
    pub async fn wait_settled(&self) {
        let open = |entry: &Entry| matches!(entry.state, State::Queued | State::Sending);
        self.wait_until(|entries| !entries.values().any(open)).await;
    }

    #[allow(dead_code, reason = "not every test that shares this file does")]
    pub fn rolls(&self) -> usize {
        *self.rolls.lock().unwrap()
    }

    pub fn copies(&self) -> usize {
        self.entries().values().filter(|entry| entry.copy_of.is_some()).count()
    }

    /// The books balance: what is confirmed by process id lies there exactly once, nothing lies
    /// there twice, nothing that did not leave lies there, and every job or its copy is on paper.
    #[track_caller]
    pub fn check_books(&self, papers: &[Paper]) {
        let mut lying: BTreeMap<&str, usize> = BTreeMap::new();
        for paper in papers {
            *lying.entry(paper.digest.as_str()).or_default() += 1;
        }
        let entries = self.entries();
        for (id, entry) in &entries {
            let seen: Vec<&Paper> = papers.iter().filter(|p| p.text.contains(&format!(" {id}\n"))).collect();
            let count = lying.get(entry.job.digest.as_str()).copied().unwrap_or(0);
            match &entry.state {
                State::OnPaper(Confirmation::ProcessId) => assert_eq!(count, 1, "{id} is confirmed; {seen:?}"),
                // Weaker promises: that it was printed is believed, and never more than once.
                State::OnPaper(_) => assert!(count <= 1, "{id} lies there {count} times"),
                State::Uncertain(why) => assert!(count <= 1, "{id} lies there {count} times ({why})"),
                State::Dropped => assert_eq!(count, 0, "{id} was dropped"),
                state => panic!("{id} is {state:?}"),
            }
            let is_done = |entry: &Entry| matches!(entry.state, State::OnPaper(_));
            let has_copy = entries.values().any(|other| other.copy_of == Some(*id));
            let is_dropped = entry.state == State::Dropped;
            assert!(is_done(entry) || has_copy || is_dropped, "{id} is lost");
        }
    }
}

impl Spooler for Spool {
    async fn next(&self, _printer: &PrinterName, which: Which) -> NextJob {
        let is_due = |entry: &Entry| {
            entry.state == State::Queued && (which == Which::Any || entry.job.title.starts_with("stop note"))
        };
        self.wait_until(|entries| entries.values().any(is_due)).await;
        self.entries().into_values().find(is_due).unwrap().job
    }

    async fn may_send(&self, next: &NextJob, _printer: &PrinterName) -> bool {
        let job = next.job;
        let entry = self.entries()[&job].clone();
        assert_eq!(entry.job.digest, next.digest);
        let granted = entry.state == State::Queued;
        if granted {
            self.set(job, State::Sending);
        }
        granted
    }

    async fn printed(&self, job: JobId, by: Confirmation) {
        let before = self.entries()[&job].state.clone();
        assert!(matches!(before, State::Sending | State::Uncertain(_)), "{job} was {before:?}");
        self.set(job, State::OnPaper(by));
        let copy = self.entries().into_iter().find(|(_, other)| other.copy_of == Some(job));
        if let Some((copy, Entry { state: State::Queued, .. })) = copy {
            self.set(copy, State::Dropped);
        }
    }

    async fn roll_loaded(&self, _printer: &PrinterName) {
        *self.rolls.lock().unwrap() += 1;
    }

    async fn not_printed(&self, job: JobId, why: String, left: BytesLeft) {
        let entry = self.entries()[&job].clone();
        assert_eq!(entry.state, State::Sending);
        match left {
            BytesLeft::None => self.set(job, State::Queued),
            BytesLeft::Some => {
                self.set(job, State::Uncertain(why));
                self.insert("COPY", u16::try_from(entry.job.rows).unwrap(), Some(job));
            }
        }
    }
}

/// A paper with a line of text, a picture that differs from row to row, and a cut.
pub fn paper_bytes(title: &str, rows: u16) -> Vec<u8> {
    let mut bytes = [b"\x1B@".as_slice(), title.as_bytes(), b"\n\x1Dv0\0\x48\0", &rows.to_le_bytes()].concat();
    for y in 0..rows {
        // Never 10 04 or 10 14 in a row.
        bytes.extend((0..72u16).map(|x| ((x * 5 + y * 3) % 200 + 24) as u8));
    }
    bytes.extend(b"\x1DVA\0");
    bytes
}

pub fn printer(address: &str, confirms: Confirms) -> Printer {
    Printer { confirms, ..Printer::usual("bench", address) }
}
