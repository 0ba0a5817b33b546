//! What the galley's tasks share: its buffer, its faults, the paper in the slot, the papers made.

use super::GalleyOptions;
use super::commands::{Command, Item, Parser, RealTime};
use super::fault::{Fault, Wrong};
use super::folder;
use super::picture::Picture;
use crate::model::Confirms;
use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};
use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::{mpsc, watch};

/// Papers kept in memory; older ones remain on the disk only.
pub const PAPERS_MAX: usize = 5000;
/// Notes kept of one paper.
const NOTES_MAX: usize = 20;
/// What a printer that lies says.
const NONSENSE: [u8; 3] = [0xFF, 0xA5, 0xC1];

/// How a paper left the printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut {
    /// Cut through.
    Full,
    /// Cut but for a bridge.
    Partial,
    /// Torn off by hand.
    Torn,
}

/// One paper.
#[derive(Debug, Clone)]
pub struct Paper {
    /// Counted from 1.
    pub number: u64,
    /// Its length in rows of dots.
    pub rows: usize,
    /// The words that the galley could read: native text and codes, not letters in pictures.
    pub text: String,
    /// What was odd about its bytes.
    pub notes: Vec<String>,
    /// How it left.
    pub cut: Cut,
    /// Process ids that stood in or right behind it.
    pub process_ids: Vec<[u8; 4]>,
    /// SHA-256 (hex) of the bytes that printed it, questions left out.
    pub digest: String,
    /// Its picture, with a margin; see [`Picture::from_png`].
    pub png: Arc<[u8]>,
    /// The picture's file, if the galley has a folder.
    pub file: Option<PathBuf>,
    /// Nothing is on it.
    pub is_blank: bool,
}

/// The paper in the slot.
struct Making {
    picture: Picture,
    words: Vec<String>,
    notes: Vec<String>,
    digest: Sha256,
    ids: Vec<[u8; 4]>,
}

impl Making {
    fn new(dots: usize) -> Self {
        Self { picture: Picture::new(dots), words: vec![], notes: vec![], digest: Sha256::new(), ids: vec![] }
    }
}

/// One thing for the head to do.
#[derive(Debug)]
pub(super) enum Work {
    /// A command and its bytes.
    Command(Command, Vec<u8>),
    /// Somebody tears off what is there.
    Tear,
}

impl Work {
    /// Bytes that it takes up in the buffer.
    pub fn size(&self) -> usize {
        match self {
            Self::Command(_, bytes) => bytes.len(),
            Self::Tear => 0,
        }
    }
}

pub(super) struct State {
    pub wrong: Wrong,
    parser: Parser,
    queue: VecDeque<Work>,
    /// Bytes in the queue and in the head's hands.
    queued: usize,
    /// Counts how often it was switched off: work begun before is forgotten.
    pub life: u64,
    reply: Option<mpsc::UnboundedSender<Vec<u8>>>,
    automatic: bool,
    told: [u8; 4],
    making: Making,
    papers: VecDeque<Paper>,
    made: u64,
}

impl State {
    pub fn made(&self) -> u64 {
        self.made
    }
}

pub(super) struct Shared {
    pub options: GalleyOptions,
    state: Mutex<State>,
    changed: watch::Sender<()>,
}

impl std::fmt::Debug for Shared {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Shared").field("options", &self.options).finish_non_exhaustive()
    }
}

impl Shared {
    pub fn new(options: GalleyOptions) -> Self {
        let state = State {
            wrong: Wrong::default(),
            parser: Parser::default(),
            queue: VecDeque::new(),
            queued: 0,
            life: 0,
            reply: None,
            automatic: false,
            told: Wrong::default().automatic(),
            making: Making::new(options.dots),
            papers: VecDeque::new(),
            made: 0,
        };
        Self { options, state: Mutex::new(state), changed: watch::Sender::new(()) }
    }

    /// The state is whole after every change, so a panic elsewhere does not spoil it.
    pub fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Wakes everybody who waits.
    pub fn notify(&self) {
        self.changed.send_replace(());
    }

    /// Waits until the state is so.
    pub async fn wait_until(&self, is_so: impl Fn(&State) -> bool) {
        let mut changed = self.changed.subscribe();
        while !is_so(&self.lock()) {
            if changed.changed().await.is_err() {
                return;
            }
        }
    }

    pub fn papers(&self) -> Vec<Paper> {
        self.lock().papers.iter().cloned().collect()
    }

    pub fn is_off(&self) -> bool {
        self.lock().wrong.off
    }

    // ---- faults ----

    pub fn set_fault(&self, fault: Fault) {
        self.change(|state| state.wrong.add(fault));
        if fault == Fault::PowerOff {
            self.power_off();
        }
    }

    pub fn load_paper(&self) {
        self.change(|state| {
            state.wrong.paper_left = None;
            state.wrong.near_end = false;
        });
    }

    pub fn mend(&self) {
        self.change(|state| state.wrong = Wrong::default());
    }

    pub fn tear_off(&self) {
        self.lock().queue.push_back(Work::Tear);
        self.notify();
    }

    /// What was read is lost; what is printed stays in the slot.
    pub fn power_off(&self) {
        self.change(|state| {
            state.wrong.off = true;
            state.wrong.off_after = None;
            state.life += 1;
            state.queue.clear();
            state.queued = 0;
            state.parser = Parser::default();
            state.automatic = false;
            state.reply = None;
        });
    }

    /// Changes what is wrong, and tells so if automatic status is on.
    pub fn change(&self, change: impl FnOnce(&mut State)) {
        {
            let mut state = self.lock();
            change(&mut state);
            let now = state.wrong.automatic();
            if state.told != now {
                state.told = now;
                if state.automatic {
                    self.say(&state, &now);
                }
            }
        }
        self.notify();
    }

    // ---- what comes in and goes out ----

    /// A connection begins; gives what is to be written to it.
    pub fn open(&self) -> mpsc::UnboundedReceiver<Vec<u8>> {
        let (reply, replies) = mpsc::unbounded_channel();
        let mut state = self.lock();
        state.reply = Some(reply);
        state.automatic = false;
        replies
    }

    /// It has ended.
    pub fn close(&self) {
        let mut state = self.lock();
        state.reply = None;
        if self.options.tear_at_close {
            // Half a command of one caller must not swallow the next one's.
            state.parser = Parser::default();
            state.queue.push_back(Work::Tear);
        }
        drop(state);
        self.notify();
    }

    /// May more be read?
    pub fn has_room(&self, state: &State) -> bool {
        let room = state.queued < self.options.buffer_bytes;
        room && !state.wrong.stalled && !state.wrong.off
    }

    /// Takes bytes from the connection; answers what is to be answered at once.
    pub fn take_in(&self, bytes: &[u8]) {
        let mut state = self.lock();
        for item in state.parser.take(bytes) {
            match item {
                Item::InLine(command, raw) => {
                    state.queued += raw.len();
                    state.queue.push_back(Work::Command(command, raw));
                }
                Item::RealTime(RealTime::Status(n)) if (1..=4).contains(&n) => {
                    if !state.wrong.no_status {
                        self.say(&state, &[state.wrong.real_time(n)]);
                    }
                }
                Item::RealTime(RealTime::Recover(2)) => {
                    state.queue.clear();
                    state.queued = 0;
                }
                Item::RealTime(_) => {}
            }
        }
        drop(state);
        self.notify();
    }

    /// Says something, if it can and is honest.
    fn say(&self, state: &State, bytes: &[u8]) {
        let bytes = if state.wrong.nonsense { &NONSENSE } else { bytes };
        if let Some(reply) = state.reply.as_ref().filter(|_| !state.wrong.silent) {
            // Nobody listens any more: as with a real printer, the answer is lost.
            let _ = reply.send(bytes.to_vec());
        }
    }

    // ---- the head ----

    /// The next thing to do, and in which life it was read.
    pub async fn next_work(&self) -> (Work, u64) {
        loop {
            self.wait_until(|state| !state.queue.is_empty() && !state.wrong.halts()).await;
            let mut state = self.lock();
            if let Some(work) = state.queue.pop_front() {
                return (work, state.life);
            }
        }
    }

    /// That work is done.
    pub fn done(&self, size: usize, life: u64) {
        let mut state = self.lock();
        if state.life == life {
            state.queued = state.queued.saturating_sub(size);
        }
        drop(state);
        self.notify();
    }

    /// Adds the bytes of a printing command to the paper's digest.
    pub fn digest(&self, raw: &[u8]) {
        self.lock().making.digest.update(raw);
    }

    /// One row goes past the head. False if it halts, or was switched off meanwhile.
    pub fn print_row(&self, row: &[u8], life: u64) -> bool {
        let mut state = self.lock();
        if state.wrong.halts() || state.life != life {
            return false;
        }
        state.making.picture.push_row(row);
        let paper_left = state.wrong.paper_left.map(|left| left.saturating_sub(1));
        let off_after = state.wrong.off_after.map(|left| left.saturating_sub(1));
        let turns = paper_left == Some(0) || off_after == Some(0);
        if !turns {
            state.wrong.paper_left = paper_left;
            state.wrong.off_after = off_after;
            return true;
        }
        drop(state);
        self.change(|state| state.wrong.paper_left = paper_left);
        if off_after == Some(0) {
            self.power_off();
        }
        true
    }

    pub fn add_words(&self, words: String) {
        self.lock().making.words.push(words);
    }

    pub fn add_note(&self, note: String) {
        let mut state = self.lock();
        let notes = &mut state.making.notes;
        if notes.len() < NOTES_MAX && !notes.contains(&note) {
            notes.push(note);
        }
    }

    pub fn set_automatic(&self, on: bool) {
        let mut state = self.lock();
        state.automatic = on;
        if on {
            let now = state.wrong.automatic();
            state.told = now;
            self.say(&state, &now);
        }
    }

    pub fn say_in_line(&self) {
        let state = self.lock();
        if self.options.confirms != Confirms::Nothing && !state.wrong.no_confirmation {
            self.say(&state, &[state.wrong.in_line()]);
        }
    }

    pub fn say_process_id(&self, id: [u8; 4]) {
        let mut state = self.lock();
        // It stands behind the cut: it belongs to the paper that has just left.
        if state.making.picture.height() == 0
            && let Some(last) = state.papers.back_mut()
        {
            last.process_ids.push(id);
        } else {
            state.making.ids.push(id);
        }
        if self.options.confirms == Confirms::ProcessId && !state.wrong.no_confirmation {
            let [a, b, c, d] = if state.wrong.wrong_id { id.map(|letter| letter ^ 1) } else { id };
            self.say(&state, &[0x37, 0x22, a, b, c, d, 0]);
        }
        drop(state);
        self.notify();
    }

    pub fn say_who(&self, n: u8) {
        let name: &[u8] = match n {
            65 => b"_1\0",
            66 => b"_dawnslip\0",
            67 => b"_galley\0",
            _ => return,
        };
        self.say(&self.lock(), name);
    }

    /// The paper leaves.
    pub fn finish_paper(&self, cut: Cut) {
        let mut state = self.lock();
        let making = std::mem::replace(&mut state.making, Making::new(self.options.dots));
        if making.picture.height() == 0 {
            return;
        }
        state.made += 1;
        let mut notes = making.notes;
        let png = making.picture.to_png().unwrap_or_else(|error| {
            notes.push(format!("{error}"));
            Vec::new()
        });
        let mut paper = Paper {
            number: state.made,
            rows: making.picture.height(),
            text: making.words.join("\n"),
            notes,
            cut,
            process_ids: making.ids,
            digest: HEXLOWER.encode(&making.digest.finalize()),
            png: png.into(),
            file: None,
            is_blank: making.picture.is_blank(),
        };
        if let Some(folder) = &self.options.out_dir {
            match folder::write_paper(folder, &paper) {
                Ok(file) => paper.file = Some(file),
                Err(error) => {
                    tracing::warn!(%error, "paper not written");
                    paper.notes.push(format!("the files of this paper could not be written: {error}"));
                }
            }
        }
        state.papers.push_back(paper);
        if state.papers.len() > PAPERS_MAX {
            state.papers.pop_front();
        }
        drop(state);
        self.notify();
    }
}
