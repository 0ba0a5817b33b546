//! The house: what all doors (intake, desk, printers, clock) share, and the seams that they
//! are served through. It loads, passes on and translates; it decides nothing.

use super::backups::Copier;
use super::core::{Aftermath, CoreHandle};
use super::damage::FoundDamage;
use super::paper_notices::PaperNotices;
use super::planner::{PlannerQueue, Request};
use super::shared::Shared;
use super::spool::{Healths, Spool};
use super::upkeep::Keeping;
use crate::book::{
    Action, Answer, Busy, Command, Effect, Meaning, MessageOutcome, Novelty, OpenOrder, People, Received, Record,
    State, rolls,
};
use crate::clock::Clock;
use crate::desk::view::{self, Counted, CountedKind, IndexLag, ReadState, RefusedConfig};
use crate::intake::listener::{Counters, Pending, Reason, Receiver};
use crate::intake::message::raw_body;
use crate::intake::sources::{SourceTable, Sources};
use crate::ledger::copies::Holds;
use crate::ledger::{ArchiveReader, IndexReader, Indexer, IndexerState, LedgerError, Writer};
use crate::model::{MessageKey, OrderKey, SourceName, Workshop};
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError, RwLock};
use std::time::Duration;
use tokio::sync::{Notify, watch};

/// Orders that wait longer than this for the disk are told of at the desk.
const SLOW_DISK: Duration = Duration::from_secs(5);
/// A question about the past waits so long for the index to catch up, and looks so often.
const INDEX_PATIENCE: Duration = Duration::from_millis(500);
const INDEX_LOOK: Duration = Duration::from_millis(2);

/// A copy of state and persons, with the number of its last fact.
type Seen = (u64, Arc<State>, Arc<People>);
/// Reads the configuration again; complaints one line each.
type Reloader = Box<dyn Fn() -> Result<(Arc<Workshop>, SourceTable), Vec<String>> + Send + Sync>;

/// Everything that runs shares this.
pub struct House {
    /// The durable state and the configuration.
    pub shared: Arc<Shared>,
    /// The core, once it runs.
    pub(super) core: OnceLock<CoreHandle>,
    pub(super) clock: Arc<dyn Clock>,
    pub(super) writer: Writer,
    pub(super) indexer: Mutex<Option<Indexer>>,
    pub(super) index: IndexReader,
    pub(super) archive: ArchiveReader,
    /// Copies of the data folder.
    pub copier: Arc<Copier>,
    pub(super) planner: PlannerQueue,
    pub(super) sources: Arc<Sources>,
    pub(super) counters: OnceLock<Arc<Counters>>,
    pub(super) spool: OnceLock<Arc<Spool>>,
    pub(super) spool_changed: Arc<Notify>,
    pub(super) healths: Healths,
    pub(super) refused_config: RwLock<Option<RefusedConfig>>,
    /// What opening the ledger had to say: damage that was got around.
    pub(super) notices: Vec<String>,
    /// Worth knowing about the last opening; nobody needs to do anything.
    pub(super) notes: Vec<String>,
    /// Damage that was found while running.
    pub(super) damage: FoundDamage,
    /// What is not as it should be on paper.
    pub(super) paper_notices: Arc<PaperNotices>,
    pub(super) opened_at: Timestamp,
    pub(super) stopping: AtomicBool,
    /// Set once the ledger has failed for good.
    pub(super) fatal: watch::Sender<Option<String>>,
    pub(super) runtime: tokio::runtime::Handle,
    pub(super) seen: Mutex<Option<Seen>>,
    /// Held while something is put away: one at a time.
    pub(super) keeping: tokio::sync::Mutex<Keeping>,
    /// Reads the configuration again and puts it in force.
    pub(super) reloader: Reloader,
    /// After a reload: listeners and printers that have changed are told here.
    pub(super) reloaded: Arc<Notify>,
}

impl House {
    /// The core. It runs from the start on; before that nothing can ask.
    pub fn core(&self) -> Result<&CoreHandle, Busy> {
        self.core.get().ok_or(Busy::Stopping)
    }

    /// How the index is.
    pub fn index_state(&self) -> IndexerState {
        self.index.state()
    }

    /// The state and persons as of one instant, copied once per change.
    fn snapshot(&self) -> (Arc<State>, Arc<People>) {
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let durable = self.shared.durable();
        match &*seen {
            Some((seq, state, people)) if *seq == durable.state.seq => (Arc::clone(state), Arc::clone(people)),
            _ => {
                let fresh = (Arc::new(durable.state.clone()), Arc::new(durable.people.clone()));
                *seen = Some((durable.state.seq, Arc::clone(&fresh.0), Arc::clone(&fresh.1)));
                fresh
            }
        }
    }

    /// Drops the copy that readers were given last.
    pub(super) fn drop_seen(&self) {
        *self.seen.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }

    /// Orders of a message that stand in the archive; the book knows which of them it holds still.
    fn archived_among(&self, meaning: &Meaning) -> Result<BTreeSet<OrderKey>, Busy> {
        let Meaning::Orders(orders) = meaning else { return Ok(BTreeSet::new()) };
        // Not only those that the durable state lacks: the book runs ahead of it, and may have let one go.
        let mut archived = BTreeSet::new();
        for (order, _) in orders {
            if self.is_archived(&order.key)? {
                archived.insert(order.key.clone());
            }
        }
        Ok(archived)
    }

    /// Does this order stand in the archive? Only the archive takes one out of the state. Where the
    /// disk gives no answer there is none: the order could come twice. What a damaged file hides is
    /// told of, and holds up nothing else.
    fn is_archived(&self, order: &OrderKey) -> Result<bool, Busy> {
        self.archive.holds(order).or_else(|error| {
            tracing::warn!(order = %order, error = %super::start::chain(&error), "the archive cannot be asked");
            match error {
                LedgerError::Disk { .. } => Err(Busy::Behind),
                damaged => {
                    self.damage.note(self.clock.now(), damaged.to_string());
                    Ok(false)
                }
            }
        })
    }

    /// Lets the index, which follows a little behind, take in what the durable state holds.
    async fn wait_for_index(&self) {
        let durable = self.shared.durable().state.seq;
        let until = tokio::time::Instant::now() + INDEX_PATIENCE;
        let follows = || self.index.state() == IndexerState::Serving && self.index.applied() < durable;
        while follows() && tokio::time::Instant::now() < until {
            tokio::time::sleep(INDEX_LOOK).await;
        }
    }

    /// Hands a received message to the core; ends after the sync.
    pub async fn keep(&self, mut received: Received) -> Result<Answer, Busy> {
        if self.writer.backlog().is_full() {
            return Err(Busy::Behind);
        }
        received.archived = self.archived_among(&received.meaning)?;
        self.core()?.ask_now(Command::Receive(Box::new(received))).await
    }

    /// Maps a kept message again with the mapping in force.
    async fn read_again(&self, message: MessageKey) -> Result<bool, Busy> {
        let raw = self.shared.durable().people.raw(&message).cloned();
        let table = self.sources.now();
        let (Some(raw), Some(source)) = (raw, table.get(message.source.as_str())) else { return Ok(false) };
        let meaning = table.read(source, message.clone(), &raw_body(&raw)).meaning;
        let mapped = !matches!(meaning, Meaning::Unmappable { .. });
        let archived = tokio::task::block_in_place(|| self.archived_among(&meaning))?;
        self.core()?.ask(Command::Remapped { message, meaning, archived }).await?;
        Ok(mapped)
    }

    /// Reads the configuration anew and puts it in force, or says what is wrong with it.
    ///
    /// # Errors
    /// The complaints, one line each; the old configuration stays in force.
    pub async fn reload_config(&self) -> Result<String, Vec<String>> {
        let outcome = tokio::task::block_in_place(|| (self.reloader)());
        let (workshop, table) = match outcome {
            Ok(fresh) => fresh,
            Err(complaints) => {
                tracing::warn!(complaints = complaints.len(), "configuration refused");
                let refused = RefusedConfig { since: self.clock.now(), complaints: complaints.clone() };
                *self.refused_config.write().unwrap_or_else(PoisonError::into_inner) = Some(refused);
                return Err(complaints);
            }
        };
        let same = workshop.digest == self.shared.workshop().digest;
        self.shared.adopt(Arc::clone(&workshop));
        // Secrets may have changed though the files that name them have not.
        self.sources.swap(table);
        *self.refused_config.write().unwrap_or_else(PoisonError::into_inner) = None;
        // With a mistake in a card it would have been refused.
        self.paper_notices.cards(Vec::new());
        let adopted = self.adopt_command(&workshop);
        let told = match self.core() {
            Ok(core) => core.ask(adopted).await,
            Err(busy) => Err(busy),
        };
        told.map_err(|busy| vec![busy.to_string()])?;
        self.reloaded.notify_waiters();
        self.spool_changed.notify_waiters();
        tracing::info!(config = %workshop.digest, "configuration in force");
        Ok(if same {
            "nothing has changed but, perhaps, the secrets".into()
        } else {
            "the new configuration is in force".into()
        })
    }

    /// The command that tells the book of a configuration.
    pub(super) fn adopt_command(&self, workshop: &Workshop) -> Command {
        Command::Adopt {
            digest: workshop.digest.clone(),
            policy: Box::new(crate::config::policy(workshop)),
            files: workshop.files.clone(),
        }
    }

    fn counted(&self) -> Vec<Counted> {
        let mut counted = Vec::new();
        if let Some(counters) = self.counters.get() {
            let refused = Reason::ALL.map(|reason| (reason.word(), counters.refused(reason)));
            let kept = [("kept", &counters.accepted), ("known", &counters.known)];
            let kept = kept.map(|(outcome, count)| (outcome, count.load(Ordering::Relaxed)));
            for (outcome, value) in kept.into_iter().chain(refused) {
                counted.push(Counted {
                    name: "messages",
                    help: "Messages answered by intake, by outcome.",
                    labels: vec![("outcome", outcome.to_owned())],
                    value,
                    kind: CountedKind::Counter,
                });
            }
        }
        counted.push(Counted {
            name: "ledger_groups",
            help: "Groups synced to the journal.",
            labels: Vec::new(),
            value: self.writer.groups(),
            kind: CountedKind::Counter,
        });
        counted.push(Counted {
            name: "ledger_waiting",
            help: "Units that wait to be written.",
            labels: Vec::new(),
            value: self.writer.backlog().units as u64,
            kind: CountedKind::Gauge,
        });
        counted
    }

    fn troubles(&self) -> Vec<view::Trouble> {
        let mut troubles = Vec::new();
        let ago = |time: Duration| self.clock.now() - SignedDuration::try_from(time).unwrap_or_default();
        if let Some((refusal, time)) = self.writer.refusal() {
            troubles.push(view::Trouble {
                what: "orders cannot be kept; shops are told to send them again".into(),
                since: ago(time),
                why: refusal.why().into(),
                remedy: format!("{}; it goes on by itself", refusal.remedy()),
            });
        }
        if let Some(time) = self.writer.busy_for().filter(|time| *time >= SLOW_DISK) {
            troubles.push(view::Trouble {
                what: "orders wait for the disk; shops get no answer, or are told to send them again".into(),
                since: ago(time),
                why: "the disk of the data folder has not confirmed what was written".into(),
                remedy: "look into the system's log (dmesg) whether the disk is well; it goes on by itself".into(),
            });
        }
        for notice in &self.notices {
            troubles.push(view::Trouble {
                what: "the ledger was mended when it was opened".into(),
                since: self.opened_at,
                why: notice.clone(),
                remedy: "look whether the last orders are all there; this line is gone after the next clean start"
                    .into(),
            });
        }
        troubles.extend(self.damage.trouble());
        troubles.extend(self.copier.trouble());
        troubles
    }

    fn printers(&self, workshop: &Workshop, state: &State) -> Vec<view::PrinterHealth> {
        let healths = self.healths.read().unwrap_or_else(PoisonError::into_inner);
        let mut printers = Vec::new();
        for printer in &workshop.printers {
            let Some(health) = healths.get(&printer.name).map(|h| h.borrow().clone()) else { continue };
            printers.push(view::PrinterHealth {
                printer: printer.name.clone(),
                trouble: health.trouble.map(view::Trouble::from),
                warning: health.near_end.then(|| "the roll is near its end".into()),
                slips_left: state.slips_left(printer).map(rolls::about),
            });
        }
        printers
    }

    fn paper_now(&self, what: view::PaperWanted, form: view::PaperForm) -> Result<hyper::body::Bytes, view::NoPaper> {
        let (state, people) = self.snapshot();
        let spool = self.spool.get().ok_or_else(|| view::NoPaper("the program is just starting".into()))?;
        super::paper::show(
            &super::paper::Sight {
                state: &state,
                people: &people,
                workshop: &self.shared.workshop(),
                setter: &spool.setter,
                now: self.clock.now(),
            },
            &what,
            form,
        )
    }
}

impl Aftermath for Arc<House> {
    fn effect(&self, effect: Effect) {
        match effect {
            Effect::PlanThis { order, pins } => self.planner.ask(Request { order, pins }),
            Effect::Spool => self.spool_changed.notify_waiters(),
            Effect::ReadAgain { message } => {
                let house = Arc::clone(self);
                self.runtime.spawn(async move {
                    // Refused while the disk is full: the question stays, a person may ask again.
                    let _ = house.read_again(message).await;
                });
            }
        }
    }

    fn synced(&self, records: Vec<Record>) {
        let facts = records.into_iter().filter_map(|record| match record {
            Record::Fact(stamped) => Some(stamped),
            Record::Person(_) => None,
        });
        let facts: Vec<_> = facts.collect();
        if let Some(indexer) = &*self.indexer.lock().unwrap_or_else(PoisonError::into_inner) {
            indexer.feed(facts);
        }
    }

    fn fatal(&self, why: String) {
        tracing::error!(why, "the ledger failed; stopping at once");
        self.fatal.send_replace(Some(why));
    }
}

/// The intake's way into the house.
pub struct Door(pub Arc<House>);

impl Receiver for Door {
    fn receive(&self, received: Received) -> Pending {
        let house = Arc::clone(&self.0);
        Box::pin(async move { house.keep(received).await })
    }
}

impl view::Backend for House {
    fn now(&self) -> Timestamp {
        self.clock.now()
    }

    fn read(&self) -> Arc<ReadState> {
        let (state, people) = self.snapshot();
        let workshop = self.shared.workshop();
        let written = state.seq;
        Arc::new(ReadState {
            printers: self.printers(&workshop, &state),
            state,
            people,
            workshop,
            troubles: self.troubles(),
            notes: self.notes.iter().cloned().chain(self.paper_notices.lines()).collect(),
            last_backup: self.copier.last_good(),
            refused_config: self.refused_config.read().unwrap_or_else(PoisonError::into_inner).clone(),
            index: IndexLag {
                indexed: self.index.applied(),
                written,
                rebuilding: matches!(self.index.state(), IndexerState::Rebuilding { .. }),
            },
            counted: self.counted(),
            not_ready: self.stopping.load(Ordering::Relaxed).then(|| "the program is stopping".into()),
        })
    }

    async fn act(&self, action: Action) -> Result<Answer, view::Busy> {
        Ok(self.core()?.ask(Command::Person(action)).await?)
    }

    async fn forget(&self, order: OrderKey, open: OpenOrder) -> Result<view::Forgot, view::Busy> {
        let archived = tokio::task::block_in_place(|| self.is_archived(&order))?;
        Ok(self.forget_order(order, open, archived).await?)
    }

    async fn history(&self, order: &OrderKey) -> Vec<crate::book::Stamped> {
        self.wait_for_index().await;
        tokio::task::block_in_place(|| {
            let told = |error: LedgerError| {
                self.damage.note(self.clock.now(), error.to_string());
                Vec::new()
            };
            // While the index is being rebuilt, all files are read.
            let Ok(later) = self.index.facts_of(order) else {
                return self.archive.facts_of(order).unwrap_or_else(told);
            };
            let archived = self.archive.read(order).map(|found| found.map(|found| found.facts).unwrap_or_default());
            let mut facts = archived.unwrap_or_else(told);
            let archived_upto = facts.last().map_or(0, |fact| fact.seq);
            facts.extend(later.into_iter().filter(|fact| fact.seq > archived_upto));
            facts
        })
    }

    async fn paper(&self, what: view::PaperWanted, form: view::PaperForm) -> Result<hyper::body::Bytes, view::NoPaper> {
        tokio::task::block_in_place(|| self.paper_now(what, form))
    }

    async fn reload(&self) -> Result<String, Vec<String>> {
        self.reload_config().await
    }

    async fn back_up(&self) -> Result<String, view::Busy> {
        self.copier.back_up_now().await
    }

    async fn export(&self, holds: Holds) -> Result<crate::desk::Lines, view::Busy> {
        self.copier.export_lines(holds).await
    }

    async fn remap(&self, source: Option<SourceName>) -> Result<view::Remapped, view::Busy> {
        let wanted: Vec<MessageKey> = {
            let durable = self.shared.durable();
            let of_source = |name: &SourceName| source.as_ref().is_none_or(|wanted| wanted == name);
            let entries = durable.state.messages.iter().filter(|(name, _)| of_source(name));
            entries
                .flat_map(|(name, ids)| ids.iter().map(move |(id, entry)| (name, id, entry)))
                .filter(|(_, _, entry)| entry.outcome == MessageOutcome::Unmappable)
                .map(|(name, id, _)| MessageKey { source: name.clone(), id: id.clone() })
                .collect()
        };
        let mut remapped = view::Remapped::default();
        for message in wanted {
            if self.read_again(message).await? {
                remapped.mapped += 1;
            } else {
                remapped.still_not += 1;
            }
        }
        Ok(remapped)
    }

    async fn take_in(&self, source: SourceName, body: hyper::body::Bytes) -> Result<view::TakenIn, view::Busy> {
        let table = self.sources.now();
        let Some(open) = table.get(source.as_str()) else {
            let known: Vec<_> = table.names().map(|name| name.as_str().to_owned()).collect();
            return Ok(view::TakenIn::Refused {
                why: format!("there is no source \"{source}\""),
                remedy: format!("name one of sources.toml: {}", known.join(", ")),
            });
        };
        let received = table.received_from_file(open, &body);
        let reason = match &received.meaning {
            Meaning::Unmappable { reason, .. } => reason.clone(),
            _ => String::new(),
        };
        Ok(match self.keep(received).await? {
            Answer::Kept { novelty: Novelty::Known, outcome } => view::TakenIn::Known(outcome_text(&outcome)),
            Answer::Kept { outcome: MessageOutcome::Unmappable, .. } => view::TakenIn::NeedsYou(reason),
            Answer::Kept { outcome, .. } => view::TakenIn::New(outcome_text(&outcome)),
            Answer::Refused { why, remedy } => view::TakenIn::Refused { why, remedy },
            _ => view::TakenIn::New(String::new()),
        })
    }
}

fn outcome_text(outcome: &MessageOutcome) -> String {
    match outcome {
        MessageOutcome::Orders(keys) => keys.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
        MessageOutcome::NotAnOrder => "not about an order".into(),
        MessageOutcome::Unmappable => "it could not be mapped".into(),
        MessageOutcome::Contradicts => "the same id came before with another body".into(),
    }
}

impl From<Busy> for view::Busy {
    fn from(busy: Busy) -> Self {
        Self { why: busy.to_string(), remedy: busy.remedy().into() }
    }
}
