//! Starting and stopping, in a listed order.

use super::House;
use super::backups::{self, BackupLog, Copier};
use super::core::{self, CoreHandle};
use super::damage::FoundDamage;
use super::house::Door;
use super::paper_notices::PaperNotices;
use super::planner::{self, PlannerQueue};
use super::printers;
use super::setup::{self, Place};
use super::shared::{Durable, Shared};
use super::spool::Spool;
use super::upkeep;
use crate::book::{Busy, Command, State};
use crate::clock::Clock;
use crate::config::Complaints;
use crate::desk::guard::{Guard, GuardError};
use crate::desk::server::{SOCKET_NAME, serve_tcp, serve_unix};
use crate::intake::listener::{Intake, Stopped};
use crate::intake::sources::{SourceError, Sources};
use crate::ledger::record::from_line;
use crate::ledger::{Disk, Indexer, Ledger, LedgerError, Opened, RealDisk, RecordError, SledHome, Writer};
use crate::print::net::Net;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::Duration;
use tokio::net::{TcpListener, UnixListener};
use tokio::sync::{Notify, watch};
use tokio::task::JoinHandle;

/// Everything ends within this time after being told to.
pub const STOP_WITHIN: Duration = Duration::from_secs(10);
/// Of that, so long for requests that have begun and for the paper that is printing.
const DRAIN_WITHIN: Duration = Duration::from_secs(7);

/// Why the daemon could not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The configuration folder cannot be read.
    #[error("the configuration cannot be read")]
    Unreadable(#[source] crate::config::ReadError),
    /// The configuration has mistakes.
    #[error("the configuration has mistakes:\n{0}")]
    Config(Complaints),
    /// Secrets or mappings of sources are unusable.
    #[error("{}", .0.iter().map(chain).collect::<Vec<_>>().join("\n"))]
    Sources(Vec<SourceError>),
    /// The ledger cannot be opened.
    #[error("the data in {folder} cannot be opened")]
    Ledger {
        /// The data folder.
        folder: PathBuf,
        /// Why.
        #[source]
        cause: LedgerError,
    },
    /// A record of the ledger cannot be read.
    #[error(
        "a record of the ledger cannot be read; nothing was changed. If a newer dawnslip has run on these data, use that one"
    )]
    Record(#[source] RecordError),
    /// The snapshot cannot be read.
    #[error(
        "the snapshot at {seq} cannot be read; nothing was changed. If a newer dawnslip has run on these data, use that one"
    )]
    Snapshot {
        /// Number of its last fact.
        seq: u64,
        /// Why.
        #[source]
        cause: serde_json::Error,
    },
    /// An address cannot be listened on.
    #[error("cannot listen on {at} ({door})")]
    Listen {
        /// Address or socket.
        at: String,
        /// Which listener.
        door: &'static str,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// The desk would be open to others.
    #[error(transparent)]
    Desk(#[from] GuardError),
    /// The desk's token cannot be read.
    #[error("the desk's token cannot be read")]
    Token(#[source] crate::config::secret::SecretError),
    /// The system gave no thread.
    #[error("the system gave no thread")]
    Thread(#[source] std::io::Error),
    /// The first command was refused.
    #[error("the ledger took no record")]
    Busy(#[source] Busy),
}

/// An error with its causes in one line.
pub fn chain(error: &(impl std::error::Error + ?Sized)) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        let more = error.to_string();
        if !text.ends_with(&more) {
            text.push_str(": ");
            text.push_str(&more);
        }
        cause = error.source();
    }
    text
}

/// How to start.
pub struct Options {
    /// Where the configuration comes from.
    pub place: Place,
    /// The data folder; made where it is missing.
    pub data: PathBuf,
    /// The clock.
    pub clock: Arc<dyn Clock>,
    /// How printers are reached.
    pub net: Arc<dyn Net>,
    /// Listen here instead of where the configuration says: (intake, desk).
    pub listen: Option<(SocketAddr, SocketAddr)>,
}

/// How the daemon ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Everything was drained in time.
    Clean,
    /// Something had to be cut off; what was answered is on the disk.
    Late,
}

/// A running daemon.
pub struct Running {
    /// The house.
    pub house: Arc<House>,
    /// Where shops send.
    pub intake: SocketAddr,
    /// Where people ask.
    pub desk: SocketAddr,
    core_thread: std::thread::JoinHandle<()>,
    planner_thread: std::thread::JoinHandle<()>,
    intake_task: JoinHandle<Stopped>,
    tasks: Vec<JoinHandle<()>>,
    printers: printers::Printers,
    stop_intake: Arc<Notify>,
    stop_rest: watch::Sender<bool>,
}

/// What the ledger restored.
struct Restored {
    durable: Durable,
    opened: Opened,
    ledger: Ledger,
}

/// Opens the data folder and folds what is in it.
fn restore(data: &Path, clock: &dyn Clock) -> Result<(Restored, Arc<RealDisk>), StartError> {
    let told = |cause| StartError::Ledger { folder: data.to_owned(), cause };
    let unmade = |cause| told(LedgerError::Disk { doing: "make", file: ".".to_owned(), cause });
    let disk = Arc::new(RealDisk::new(data).map_err(unmade)?);
    let (ledger, opened) = Ledger::open(disk.clone(), clock.now()).map_err(told)?;
    let durable = match fold(&opened) {
        Ok(durable) => durable,
        Err(error) => {
            // As it was found, for the program that can read it.
            ledger.leave().map_err(told)?;
            return Err(error);
        }
    };
    Ok((Restored { durable, opened, ledger }, disk))
}

/// Folds a snapshot and the lines after it.
///
/// # Errors
/// [`StartError::Snapshot`], [`StartError::Record`].
pub fn fold(opened: &Opened) -> Result<Durable, StartError> {
    let mut durable = Durable::default();
    if let Some(snapshot) = &opened.snapshot {
        let told = |cause| StartError::Snapshot { seq: snapshot.seq, cause };
        durable.state = serde_json::from_slice::<State>(&snapshot.state).map_err(told)?;
        durable.people = serde_json::from_slice(&snapshot.people).map_err(told)?;
    }
    for line in &opened.lines {
        durable.fold(&from_line(line).map_err(StartError::Record)?);
    }
    Ok(durable)
}

/// Starts everything; returns once both listeners serve.
///
/// # Errors
/// See [`StartError`]; nothing runs then.
pub async fn start(options: Options) -> Result<Running, StartError> {
    let Options { place, data, clock, net, listen } = options;
    let (workshop, card_mistakes) = place.load_but_cards()?;
    let workshop = Arc::new(workshop);
    for mistake in &card_mistakes {
        tracing::warn!(warning = mistake.as_str(), "a plain card prints instead");
    }
    let paper_notices = Arc::new(PaperNotices::default());
    paper_notices.cards(card_mistakes);
    let (restored, disk) = restore(&data, clock.as_ref())?;
    let Restored { durable, mut opened, ledger } = restored;
    if let Some(cut) = &opened.cut_tail {
        tracing::warn!(cut = ?cut, "a group that was being written was cut off");
    }
    let key = opened.installation.key;
    let table = place.sources(&workshop, key).map_err(StartError::Sources)?;
    let archive = ledger.archive_reader();
    let surveyed: (Arc<dyn Disk>, u64) = (disk.clone(), opened.last_seq);
    let indexer = Indexer::spawn(disk.clone(), &opened, SledHome::new(&data)).map_err(StartError::Thread)?;
    let writer = Writer::spawn(ledger).map_err(StartError::Thread)?;
    let shared = Arc::new(Shared::new(durable, Arc::clone(&workshop)));
    let (planner, requests) = PlannerQueue::new();
    let setter = Arc::new(Mutex::new(setup::typesetter(&workshop)));

    let copier = Arc::new(Copier {
        shared: Arc::clone(&shared),
        clock: Arc::clone(&clock),
        disk,
        data: data.clone(),
        installation: opened.installation.clone(),
        opened_at: clock.now(),
        runtime: tokio::runtime::Handle::current(),
        files: Arc::default(),
        log: BackupLog::default(),
        stopping: Default::default(),
    });
    let house = Arc::new(House {
        shared: Arc::clone(&shared),
        core: OnceLock::new(),
        clock: Arc::clone(&clock),
        writer: writer.clone(),
        index: indexer.reader(),
        indexer: Mutex::new(Some(indexer)),
        archive,
        copier: Arc::clone(&copier),
        planner,
        sources: Arc::new(Sources::new(table)),
        counters: OnceLock::new(),
        spool: OnceLock::new(),
        spool_changed: Arc::new(Notify::new()),
        healths: Arc::default(),
        refused_config: Default::default(),
        notices: std::mem::take(&mut opened.notices),
        notes: opened.cut_tail.iter().map(ToString::to_string).collect(),
        damage: FoundDamage::default(),
        paper_notices: Arc::clone(&paper_notices),
        opened_at: clock.now(),
        stopping: Default::default(),
        fatal: watch::channel(None).0,
        runtime: tokio::runtime::Handle::current(),
        seen: Mutex::new(None),
        keeping: Default::default(),
        reloader: {
            let place = place.clone();
            Box::new(move || place.reload(key))
        },
        reloaded: Arc::new(Notify::new()),
    });

    let (core, core_thread) =
        core::start(Arc::clone(&shared), writer, Arc::clone(&clock), Arc::new(Arc::clone(&house)))
            .map_err(StartError::Thread)?;
    let _ = house.core.set(core.clone());
    let planner_thread = planner::start(Arc::clone(&shared), core.clone(), requests).map_err(StartError::Thread)?;
    begin(&house, &core, &workshop, &opened).await?;

    let spool = Arc::new(Spool::new(
        Arc::clone(&shared),
        core,
        Arc::clone(&clock),
        setter,
        Arc::clone(&house.healths),
        Arc::clone(&house.spool_changed),
        paper_notices,
    ));
    let _ = house.spool.set(Arc::clone(&spool));

    let (intake_at, desk_at) = listen.unwrap_or((workshop.listeners.intake, workshop.listeners.desk));
    let intake_listener = bind(intake_at, "intake").await?;
    let desk_listener = bind(desk_at, "desk").await?;
    let intake_at = intake_listener.local_addr().unwrap_or(intake_at);
    let desk_at = desk_listener.local_addr().unwrap_or(desk_at);
    let token = setup::desk_token(&workshop).map_err(StartError::Token)?;
    let guard = Guard::new(desk_at, &workshop.listeners.desk_hosts, token.as_ref().map(|t| t.reveal()))?;
    let socket = data.join(SOCKET_NAME);
    // We hold the folder's lock: a socket that lies there belongs to nobody.
    let _ = std::fs::remove_file(&socket);
    let listening = |cause| StartError::Listen { at: socket.display().to_string(), door: "desk socket", cause };
    let unix_listener = UnixListener::bind(&socket).map_err(listening)?;

    let (stop_rest, stopped) = watch::channel(false);
    let stop_intake = Arc::new(Notify::new());
    let now = {
        let clock = Arc::clone(&clock);
        Arc::new(move || clock.now())
    };
    let intake = Intake::new(Arc::clone(&house.sources), Arc::new(Door(Arc::clone(&house))), now);
    let _ = house.counters.set(intake.counters());
    let intake_task = {
        let stop = Arc::clone(&stop_intake);
        tokio::spawn(
            async move { intake.serve(intake_listener, async move { stop.notified().await }, DRAIN_WITHIN).await },
        )
    };
    let body_max = workshop.limits.body_bytes;
    let tasks = vec![
        tokio::spawn(serve_tcp(desk_listener, guard, Arc::clone(&house), stopped.clone())),
        tokio::spawn(serve_unix(unix_listener, body_max, Arc::clone(&house), stopped.clone())),
        tokio::spawn(backups::tend(copier, stopped.clone())),
        tokio::spawn(upkeep::tend(Arc::clone(&house), stopped)),
    ];
    super::damage::watch(Arc::clone(&house), surveyed.0, surveyed.1).map_err(StartError::Thread)?;
    let printers = printers::Printers::start(Arc::clone(&house), spool, net);
    tracing::info!(intake = %intake_at, desk = %desk_at, "running");
    Ok(Running {
        house,
        intake: intake_at,
        desk: desk_at,
        core_thread,
        planner_thread,
        intake_task,
        tasks,
        printers,
        stop_intake,
        stop_rest,
    })
}

async fn bind(at: SocketAddr, door: &'static str) -> Result<TcpListener, StartError> {
    TcpListener::bind(at).await.map_err(|cause| StartError::Listen { at: at.to_string(), door, cause })
}

/// Tells the book that the process has started, and with which configuration.
async fn begin(
    house: &Arc<House>,
    core: &CoreHandle,
    workshop: &crate::model::Workshop,
    opened: &Opened,
) -> Result<(), StartError> {
    let started = Command::Started { last_alive: opened.last_alive, clean: opened.clean };
    for command in [started, house.adopt_command(workshop), Command::Tick] {
        core.ask(command).await.map_err(StartError::Busy)?;
    }
    let upgraded = house.shared.durable().state.upgraded.clone().filter(|change| change.at >= house.opened_at);
    if let Some(change) = upgraded {
        // What it means stands at the desk's status for a day.
        tracing::info!(from = change.from.as_deref().unwrap_or("an earlier version"), to = change.to, "upgraded");
    }
    Ok(())
}

impl Running {
    /// Why the ledger failed for good; ends only if it does.
    pub async fn failed(&self) -> String {
        let mut fatal = self.house.fatal.subscribe();
        let told = fatal.wait_for(Option::is_some).await.ok().and_then(|why| why.clone());
        match told {
            Some(why) => why,
            None => std::future::pending().await,
        }
    }

    /// Stops in order; see the comments.
    pub async fn stop(self) -> Exit {
        let mut exit = Exit::Clean;
        self.house.stopping.store(true, Ordering::Relaxed);
        self.house.copier.stop();
        // 1. No new messages; those begun are answered.
        self.stop_intake.notify_one();
        // 2. No half paper: the printers end after the job at hand. Both at once.
        let (drained, printed) = tokio::join!(self.intake_task, self.printers.stop(DRAIN_WITHIN));
        if !matches!(drained, Ok(Stopped::Clean)) || !printed {
            exit = Exit::Late;
        }
        // 3. No more questions, no more ticks.
        self.stop_rest.send_replace(true);
        for task in self.tasks {
            if tokio::time::timeout(Duration::from_secs(1), task).await.is_err() {
                exit = Exit::Late;
            }
        }
        // 4. The planner ends after the order at hand, the core after what waits for it.
        self.house.planner.close();
        let house = Arc::clone(&self.house);
        if let Ok(core) = house.core() {
            core.stop().await;
        }
        let closing = tokio::task::spawn_blocking(move || {
            let _ = self.core_thread.join();
            let _ = self.planner_thread.join();
            // 5. The index, then the ledger: last, when nobody writes any more.
            if let Some(indexer) = house.indexer.lock().unwrap_or_else(PoisonError::into_inner).take() {
                indexer.close();
            }
            house.writer.close(house.clock.now())
        });
        match closing.await {
            Ok(Ok(())) => exit,
            Ok(Err(error)) => {
                tracing::error!(error = %chain(&error), "the ledger was not closed cleanly");
                Exit::Late
            }
            Err(_) => Exit::Late,
        }
    }
}
