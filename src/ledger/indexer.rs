//! Keeps the index behind the journal: takes synced facts in order, catches up from the journal
//! where it was fed too fast, rebuilds everything from carry and journal: that is as much as is
//! open, however much is archived.

use super::archive::History;
use super::index::{Index, IndexError, keys};
use super::index_batch::{Batch, Seen, read_fact, read_number};
use super::index_home::IndexHome;
use super::installation::InstallationId;
use super::{Disk, LedgerError, NumberedLine, Opened, Tag, record, segment, with_causes};
use crate::book::Stamped;
use crate::model::OrderKey;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Feedings that wait at most; beyond that the indexer reads the journal itself.
const WAITING_MAX: usize = 1024;
/// Facts in one batch.
const BATCH_FACTS: usize = 256;
/// Facts that come within this time share a commit.
const GATHER: Duration = Duration::from_millis(20);
/// Facts of one order that are given at most.
pub const FACTS_MAX: usize = 10_000;
/// Quiet after which it looks whether something was missed.
const LOOK_AFTER: Duration = Duration::from_millis(200);
/// What could not be rebuilt is tried again after at most so long.
const PATIENCE_MAX: Duration = Duration::from_secs(60);
/// How often files may change under a rebuild before it is left for later.
const TRIES_MAX: u32 = 5;

/// How the index is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum IndexerState {
    /// It answers.
    Serving,
    /// It is being rebuilt: records read, of so many.
    Rebuilding {
        /// So far.
        read: u64,
        /// Of.
        of: u64,
    },
    /// It could not be rebuilt; the reason. Tried again when something new comes.
    Broken(String),
}

struct Shared {
    index: RwLock<Option<Arc<dyn Index>>>,
    state: Mutex<IndexerState>,
    applied: AtomicU64,
    fed: AtomicU64,
    distrusted: AtomicBool,
    gap: Mutex<Option<String>>,
    closing: AtomicBool,
}

impl Shared {
    fn set_gap(&self, gap: Option<String>) {
        *self.gap.lock().unwrap_or_else(PoisonError::into_inner) = gap;
    }
    fn gap(&self) -> Option<String> {
        self.gap.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
    fn set_state(&self, state: IndexerState) {
        *self.state.lock().unwrap_or_else(PoisonError::into_inner) = state;
    }
    fn state(&self) -> IndexerState {
        self.state.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

/// Asks the index; clones share it.
#[derive(Clone)]
pub struct IndexReader {
    shared: Arc<Shared>,
}

impl IndexReader {
    /// All facts of an order by number, at most [`FACTS_MAX`]; none for one that never was, and only
    /// those since then for one that is archived.
    ///
    /// # Errors
    /// [`IndexError`]; damage that shows here has the index rebuilt.
    pub fn facts_of(&self, order: &OrderKey) -> Result<Vec<Stamped>, IndexError> {
        self.ask(|index| {
            let found = index.range(&keys::facts_of(order), FACTS_MAX)?;
            let count = read_number(index.get(&keys::count_of(order))?)?.unwrap_or(0);
            if (found.len() as u64) < count.min(FACTS_MAX as u64) {
                let what = format!("of order {order} it holds {} facts of {count}", found.len());
                return Err(IndexError::Broken(what));
            }
            found.into_iter().map(|(_, json)| read_fact(&json)).collect()
        })
    }

    /// Number of the fact up to which answers are true.
    pub fn applied(&self) -> u64 {
        self.shared.applied.load(Ordering::Acquire)
    }
    /// So many durable facts are not in the index yet.
    pub fn lag(&self) -> u64 {
        self.shared.fed.load(Ordering::Acquire).saturating_sub(self.applied())
    }
    /// What it lacks, because files from which it was rebuilt are damaged or missing.
    pub fn gap(&self) -> Option<String> {
        self.shared.gap()
    }
    /// How it is.
    pub fn state(&self) -> IndexerState {
        self.shared.state()
    }

    fn ask<T>(&self, question: impl FnOnce(&dyn Index) -> Result<T, IndexError>) -> Result<T, IndexError> {
        match self.shared.state() {
            IndexerState::Serving => {}
            IndexerState::Rebuilding { read, of } => return Err(IndexError::Rebuilding { read, of }),
            IndexerState::Broken(why) => return Err(IndexError::Broken(why)),
        }
        let index = self.shared.index.read().unwrap_or_else(PoisonError::into_inner).clone();
        let Some(index) = index else { return Err(IndexError::Rebuilding { read: 0, of: 0 }) };
        let answer = question(index.as_ref());
        if matches!(answer, Err(IndexError::Broken(_))) {
            self.shared.distrusted.store(true, Ordering::Release);
        }
        answer
    }
}

enum Message {
    Facts(Vec<Stamped>),
    Close,
}

/// Handle on the indexer's thread.
pub struct Indexer {
    messages: SyncSender<Message>,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

impl Indexer {
    /// Starts behind a ledger that was just opened. After a clean stop it opens the index and lets
    /// it catch up; otherwise it rebuilds it, while everything else already works.
    ///
    /// # Errors
    /// Where the system gives no thread.
    pub fn spawn(disk: Arc<dyn Disk>, opened: &Opened, home: impl IndexHome + 'static) -> std::io::Result<Self> {
        let (messages, incoming) = sync_channel(WAITING_MAX);
        let shared = Arc::new(Shared {
            index: RwLock::new(None),
            state: Mutex::new(IndexerState::Rebuilding { read: 0, of: opened.last_seq }),
            applied: AtomicU64::new(0),
            fed: AtomicU64::new(opened.last_seq),
            distrusted: AtomicBool::new(false),
            gap: Mutex::new(None),
            closing: AtomicBool::new(false),
        });
        let worker = Worker {
            disk,
            id: opened.installation.id,
            home: Box::new(home),
            may_open: opened.clean,
            incoming,
            shared: Arc::clone(&shared),
        };
        let thread = std::thread::Builder::new().name("indexer".to_owned()).spawn(move || worker.run())?;
        Ok(Self { messages, shared, thread: Some(thread) })
    }

    /// Gives facts that are durable, in order. Never waits: what does not fit is read from the
    /// journal later.
    pub fn feed(&self, facts: Vec<Stamped>) {
        if let Some(last) = facts.last() {
            self.shared.fed.fetch_max(last.seq, Ordering::AcqRel);
            let _ = self.messages.try_send(Message::Facts(facts));
        }
    }

    /// For asking.
    pub fn reader(&self) -> IndexReader {
        IndexReader { shared: Arc::clone(&self.shared) }
    }

    /// Takes in what was fed, flushes, lets go of the files, ends; to be called before the ledger is
    /// closed. Afterwards nothing can be asked, and the index can be opened again.
    pub fn close(mut self) {
        self.shared.closing.store(true, Ordering::Release);
        let _ = self.messages.send(Message::Close);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
        // Readers live on for a while; with the index they would keep its lock.
        *self.shared.index.write().unwrap_or_else(PoisonError::into_inner) = None;
    }
}

/// Why the indexer cannot go on with the index it has.
#[derive(Debug, thiserror::Error)]
enum Trouble {
    #[error(transparent)]
    Index(#[from] IndexError),
    #[error(transparent)]
    Ledger(#[from] LedgerError),
}

/// A new index, the facts that stand in carry and journal, and up to which fact.
type Rebuilt = (Arc<dyn Index>, Seen, u64);

struct Worker {
    disk: Arc<dyn Disk>,
    id: InstallationId,
    home: Box<dyn IndexHome>,
    /// The index that lies there was left cleanly, and nothing was said against it since.
    may_open: bool,
    incoming: Receiver<Message>,
    shared: Arc<Shared>,
}

impl Worker {
    fn run(mut self) {
        let mut index = None;
        let (mut patience, mut next_try) = (LOOK_AFTER, Instant::now());
        loop {
            let wanted = index.is_none() && Instant::now() >= next_try;
            if self.shared.distrusted.swap(false, Ordering::AcqRel) || wanted {
                index = self.begin();
                patience = if index.is_some() { LOOK_AFTER } else { (patience * 2).min(PATIENCE_MAX) };
                next_try = Instant::now() + patience;
            }
            let message = self.incoming.recv_timeout(LOOK_AFTER);
            let closes = matches!(message, Ok(Message::Close) | Err(RecvTimeoutError::Disconnected));
            let Some(serving) = &index else {
                if closes {
                    return;
                }
                continue;
            };
            let (done, closes) = match message {
                Ok(Message::Facts(facts)) => {
                    let (facts, closes) = self.gather(facts);
                    let taken = self.take(serving.as_ref(), &facts);
                    // What came too fast was not queued, and is read from the journal.
                    (if closes { taken.and_then(|()| self.catch_up(serving.as_ref())) } else { taken }, closes)
                }
                _ => (self.catch_up(serving.as_ref()), closes),
            };
            if closes {
                let flushed = done.and_then(|()| Ok(serving.flush()?));
                if let Err(err) = &flushed {
                    tracing::warn!(error = %with_causes(err), "index not flushed");
                }
                let distrusted = self.shared.distrusted.load(Ordering::Acquire) || self.shared.gap().is_some();
                if flushed.is_err() || distrusted {
                    // The next start must not take it for a whole one.
                    let _ = self.home.fresh();
                }
                return;
            }
            if let Err(err) = done {
                tracing::warn!(error = %with_causes(&err), "index is rebuilt");
                self.shared.distrusted.store(true, Ordering::Release);
            }
        }
    }

    /// Opens or rebuilds the index and publishes it; `None` where that failed, to be tried again.
    fn begin(&mut self) -> Option<Arc<dyn Index>> {
        *self.shared.index.write().unwrap_or_else(PoisonError::into_inner) = None;
        self.shared.distrusted.store(false, Ordering::Release);
        let opened = if std::mem::take(&mut self.may_open) { self.open() } else { None };
        let built = match opened {
            Some(index) => Ok((index, None)),
            None => self.rebuild().map(|(index, seen, upto)| (index, Some((seen, upto)))),
        };
        match built {
            Ok((index, seen)) => {
                *self.shared.index.write().unwrap_or_else(PoisonError::into_inner) = Some(Arc::clone(&index));
                self.shared.set_state(IndexerState::Serving);
                if let Some((seen, upto)) = seen {
                    self.look_at_archive(seen, upto);
                }
                Some(index)
            }
            Err(err) => {
                let why = with_causes(&err);
                tracing::warn!(error = %why, "index not rebuilt");
                self.shared.set_state(IndexerState::Broken(why));
                None
            }
        }
    }

    /// The index that is there, caught up; `None` where it is not to be trusted.
    fn open(&mut self) -> Option<Arc<dyn Index>> {
        let of = self.shared.fed.load(Ordering::Acquire);
        let opened = self.home.open().map_err(Trouble::from).and_then(|index| {
            let applied = index.applied()?;
            // One that knows more than the journal, or was never finished, is not this journal's.
            if applied > of || (applied == 0 && of > 0) {
                return Err(
                    IndexError::Broken(format!("it is true at record {applied}, the journal ends at {of}")).into()
                );
            }
            self.shared.applied.store(applied, Ordering::Release);
            self.catch_up(index.as_ref())?;
            Ok(index)
        });
        opened.inspect_err(|err| tracing::warn!(error = %with_causes(err), "index not opened")).ok()
    }

    /// Waits a moment and adds what has come: a commit costs the same for one fact as for many, and
    /// would take the cores from those whose orders are being stored. Also says whether it is time
    /// to end.
    fn gather(&self, mut facts: Vec<Stamped>) -> (Vec<Stamped>, bool) {
        std::thread::sleep(GATHER);
        for message in self.incoming.try_iter().take(WAITING_MAX) {
            match message {
                Message::Facts(more) => facts.extend(more),
                Message::Close => return (facts, true),
            }
        }
        (facts, false)
    }

    /// Takes fed facts in; where some are missing in between, reads the journal.
    fn take(&self, index: &dyn Index, facts: &[Stamped]) -> Result<(), Trouble> {
        let applied = self.shared.applied.load(Ordering::Acquire);
        let news: Vec<&Stamped> = facts.iter().filter(|fact| fact.seq > applied).collect();
        let (Some(first), Some(last)) = (news.first(), news.last()) else { return Ok(()) };
        let gapless = first.seq == applied + 1 && last.seq - applied == news.len() as u64;
        if !gapless {
            return self.catch_up(index);
        }
        let mut batch = Batch::new(index);
        for fact in &news {
            let json = serde_json::to_string(fact).map_err(|err| IndexError::Broken(err.to_string()))?;
            batch.add(fact, &json)?;
        }
        batch.commit(last.seq)?;
        self.shared.applied.store(last.seq, Ordering::Release);
        Ok(())
    }

    /// Reads from the journal what was fed but is not in the index.
    fn catch_up(&self, index: &dyn Index) -> Result<(), Trouble> {
        let applied = self.shared.applied.load(Ordering::Acquire);
        let upto = self.shared.fed.load(Ordering::Acquire);
        if applied >= upto {
            return Ok(());
        }
        let mut batch = Batch::new(index);
        let mut next = applied + 1;
        let mut trouble = None;
        segment::read_lines(self.disk.as_ref(), self.id, applied, upto, |line| {
            if trouble.is_none() && line.line.tag == Tag::Fact {
                trouble = self.take_line(&mut batch, &line, &mut next).err();
            }
        })?;
        if let Some(trouble) = trouble {
            return Err(trouble.into());
        }
        batch.commit(next - 1)?;
        self.shared.applied.store(next - 1, Ordering::Release);
        if next <= upto {
            return Err(IndexError::Broken(format!("record {next} is no longer in the journal")).into());
        }
        Ok(())
    }

    fn take_line(&self, batch: &mut Batch<'_>, line: &NumberedLine, next: &mut u64) -> Result<(), IndexError> {
        if line.seq != *next {
            return Err(IndexError::Broken(format!("record {next} is no longer in the journal")));
        }
        batch.add(&read_fact(line.line.json.as_bytes())?, &line.line.json)?;
        *next += 1;
        if batch.facts >= BATCH_FACTS {
            batch.commit(line.seq)?;
            self.shared.applied.store(line.seq, Ordering::Release);
        }
        Ok(())
    }

    /// Is every archive whole, and every fact up to `upto` in some file? `seen` are those that stand
    /// in carry and journal. Reads all archives, which may take its time: the index serves meanwhile.
    fn look_at_archive(&self, mut seen: Seen, upto: u64) {
        let history = History { disk: self.disk.as_ref(), id: self.id };
        let mut look = || -> Result<(), LedgerError> {
            let mut damage = None;
            for path in history.archive_files()? {
                if self.shared.closing.load(Ordering::Acquire) {
                    return Ok(());
                }
                let read = history.read_archive(&path, |_, json| {
                    if let Ok(Number { seq }) = serde_json::from_str(json)
                        && seq <= upto
                    {
                        seen.add(seq);
                    }
                    Ok(())
                });
                damage = damage.or(read.err());
            }
            let missing = |seq| LedgerError::Incomplete { what: format!("record {seq} is in no file") };
            damage.or_else(|| seen.first_missing(upto).map(missing)).map_or(Ok(()), Err)
        };
        if let Err(err) = look() {
            let why = with_causes(&err);
            tracing::warn!(why = %why, "archives lack what is damaged");
            self.shared.set_gap(Some(self.shared.gap().unwrap_or(why)));
        }
    }

    /// The orders that carry and journal say are archived, with the number of the last fact that says
    /// so; what is damaged is told by who reads it in earnest.
    fn archived_since(&self, history: &History<'_>, upto: u64) -> Result<BTreeMap<OrderKey, u64>, LedgerError> {
        let mut archived = BTreeMap::new();
        let mut take = |NumberedLine { seq, line }: NumberedLine| {
            if line.tag == Tag::Fact {
                archived.extend(record::archived_by(&line.json).into_iter().map(|order| (order, seq)));
            }
        };
        let after = history.each_carried(&mut take).unwrap_or(0);
        segment::read_lines_around(self.disk.as_ref(), self.id, after, upto, take)?;
        Ok(archived)
    }

    /// Makes a new index of all that is not archived: carry, journal.
    fn rebuild(&mut self) -> Result<Rebuilt, Trouble> {
        let history = History { disk: self.disk.as_ref(), id: self.id };
        for _ in 0..TRIES_MAX {
            let upto = self.shared.fed.load(Ordering::Acquire);
            self.shared.applied.store(0, Ordering::Release);
            self.shared.set_state(IndexerState::Rebuilding { read: 0, of: upto });
            let before = history.files_now()?;
            let index = self.home.fresh()?;
            // What was archived meanwhile need not be put in and taken out again.
            let archived = self.archived_since(&history, upto)?;
            let batch = Batch::leaving_out(index.as_ref(), archived);
            let mut rebuild = Rebuild { batch, seen: Seen::default(), shared: &self.shared, of: upto };
            let mut trouble = None;
            let mut damaged = Vec::new();
            // Damage hides only what is in the damaged file: the rest can be asked for all the same.
            let mut take = |line: NumberedLine| {
                if trouble.is_none() && line.line.tag == Tag::Fact {
                    trouble = rebuild.add(&line).err();
                }
            };
            let carried = history.each_carried(&mut take);
            let after = *carried.as_ref().unwrap_or(&0);
            damaged.extend(carried.err());
            damaged.extend(segment::read_lines_around(self.disk.as_ref(), self.id, after, upto, take)?);
            if let Some(trouble) = trouble {
                return Err(trouble.into());
            }
            // Segments may have ended, and their lines moved, while this was reading.
            if history.files_now()? != before {
                continue;
            }
            let missing = (after + 1..=upto).find(|seq| !rebuild.seen.has(*seq));
            let missing = missing.map(|seq| LedgerError::Incomplete { what: format!("record {seq} is in no file") });
            let gap = damaged.first().or(missing.as_ref()).map(|err| with_causes(err));
            if let Some(gap) = &gap {
                tracing::warn!(why = %gap, "index lacks what is damaged");
            }
            self.shared.set_gap(gap);
            rebuild.batch.commit(upto)?;
            self.shared.applied.store(upto, Ordering::Release);
            let seen = rebuild.seen;
            return Ok((index, seen, upto));
        }
        Err(IndexError::Broken("files changed while they were read".to_owned()).into())
    }
}

/// Only a fact's number.
#[derive(Deserialize)]
struct Number {
    seq: u64,
}

struct Rebuild<'a> {
    batch: Batch<'a>,
    seen: Seen,
    shared: &'a Shared,
    of: u64,
}

impl Rebuild<'_> {
    /// Takes in a fact's line of the carry or of the journal.
    fn add(&mut self, line: &NumberedLine) -> Result<(), IndexError> {
        if line.seq > self.of || !self.seen.add(line.seq) {
            return Ok(());
        }
        self.batch.add(&read_fact(line.line.json.as_bytes())?, &line.line.json)?;
        if self.batch.facts >= BATCH_FACTS {
            // Not finished: it counts for nothing until the last commit says a number.
            self.batch.commit(0)?;
            self.shared.set_state(IndexerState::Rebuilding { read: line.seq, of: self.of });
        }
        Ok(())
    }
}
