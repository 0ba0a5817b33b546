//! The shell around the driver: one task a printer. It fetches jobs, keeps the connection and
//! the time, tells the book how each job ended, waits longer after every failure, keeps quiet
//! hours, and publishes how the printer is.

use super::answers::{Answer, Decoder};
use super::driver::{AfterDoubt, Driver, Effect, Event, Leave, NotSent, Outcome, Phase, Settings, Times};
use super::health::{PrinterHealth, PrinterState};
use super::net::{Connection, Net};
use super::quiet::QuietHours;
use super::trouble::{Trouble, TroubleKind};
use crate::book::BytesLeft;
use crate::clock::Clock;
use crate::model::{Confirmation, JobId, Printer, PrinterName};
use std::collections::VecDeque;
use std::fmt;
use std::future::{Future, poll_fn};
use std::pin::Pin;
use std::sync::Arc;
use std::task::Poll;
use std::time::Duration;
use tokio::io::{AsyncWriteExt, ReadBuf};
use tokio::sync::watch;
use tokio::time::{Instant, sleep, sleep_until, timeout};

/// How often the driver is told that time passes.
const TICK: Duration = Duration::from_millis(200);
/// The first wait after a failure, and the longest: each is twice the one before.
const BACK_OFF: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(30));
/// An idle printer is looked at this often, so that an empty roll is known before it is needed.
const LOOK_EVERY: Duration = Duration::from_secs(300);
/// The book just took a job back: a short breath before asking for another.
const BREATH: Duration = Duration::from_millis(100);
/// A kept connection ends after so long without a paper: network cards close idle ones after five
/// minutes (PAPER 3), and other programs may want to print.
const KEEP_IDLE: Duration = Duration::from_secs(120);
/// Jobs in doubt whose late answer is still recognised.
const DOUBTS_MAX: usize = 256;

/// A job as the spool hands it out.
#[derive(Clone, PartialEq, Eq)]
pub struct NextJob {
    /// Which.
    pub job: JobId,
    /// For logs: kind and number, never a person's data.
    pub title: String,
    /// What goes to the printer, unchanged.
    pub bytes: Vec<u8>,
    /// SHA-256 (hex) of `bytes`.
    pub digest: String,
    /// Its length in rows of dots.
    pub rows: u32,
}

impl fmt::Debug for NextJob {
    /// Without the bytes: they carry what belongs to a person.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("NextJob").field("job", &self.job).field("title", &self.title).finish_non_exhaustive()
    }
}

/// Which jobs are wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// Any.
    Any,
    /// Quiet hours: stop notes only.
    StopNotes,
}

/// The durable spool, as the worker sees it: the book behind a seam.
pub trait Spooler: Send + Sync + 'static {
    /// Waits until there is a job for this printer and gives the first of the queue. It stays
    /// queued. Dropping the future must lose nothing.
    fn next(&self, printer: &PrinterName, which: Which) -> impl Future<Output = NextJob> + Send;
    /// May it be sent? True only when `sending` is on the disk.
    fn may_send(&self, job: &NextJob, printer: &PrinterName) -> impl Future<Output = bool> + Send;
    /// It is on paper. Also called for a job that was in doubt, when its answer came late.
    fn printed(&self, job: JobId, by: Confirmation) -> impl Future<Output = ()> + Send;
    /// Paper that was out or near its end is there again: a new roll.
    fn roll_loaded(&self, printer: &PrinterName) -> impl Future<Output = ()> + Send;
    /// It was `sending`, and is not known to be on paper.
    fn not_printed(&self, job: JobId, why: String, left: BytesLeft) -> impl Future<Output = ()> + Send;
}

/// What a worker is told besides its printer.
#[derive(Debug, Clone)]
pub struct WorkerOptions {
    /// When nothing but stop notes prints.
    pub quiet: QuietHours,
    /// Patience; `None` takes the printer's.
    pub times: Option<Times>,
    /// Jobs that an earlier run left in doubt on this printer: their late answers are
    /// recognised, and half a paper is cut off before the first job.
    pub in_doubt: Vec<JobId>,
}

impl Default for WorkerOptions {
    fn default() -> Self {
        Self { quiet: QuietHours::none(), times: None, in_doubt: Vec::new() }
    }
}

/// How urgently to stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Stop {
    No,
    AfterJob,
    Now,
}

/// A running worker.
#[derive(Debug)]
pub struct WorkerHandle {
    health: watch::Receiver<PrinterHealth>,
    stop: watch::Sender<Stop>,
    task: tokio::task::JoinHandle<()>,
}

impl WorkerHandle {
    /// How the printer is, and when that changes.
    pub fn health(&self) -> watch::Receiver<PrinterHealth> {
        self.health.clone()
    }

    /// Stops after the current job; after `grace` in the middle of it (it is in doubt then).
    /// Returns whether it ended within `grace`.
    pub async fn stop(mut self, grace: Duration) -> bool {
        self.stop.send_replace(Stop::AfterJob);
        if timeout(grace, &mut self.task).await.is_ok() {
            return true;
        }
        self.stop.send_replace(Stop::Now);
        if timeout(Duration::from_secs(1), &mut self.task).await.is_err() {
            self.task.abort();
        }
        false
    }
}

/// Starts the worker of a printer on the current runtime.
pub fn start<S: Spooler>(
    printer: Printer,
    spooler: Arc<S>,
    net: Arc<dyn Net>,
    clock: Arc<dyn Clock>,
    options: WorkerOptions,
) -> WorkerHandle {
    let (health, health_seen) = watch::channel(PrinterHealth::new(printer.name.clone(), printer.address.clone()));
    let (stop, stop_seen) = watch::channel(Stop::No);
    let mut settings = Settings::of(&printer);
    if let Some(times) = options.times {
        settings.times = times;
    }
    if !options.in_doubt.is_empty() {
        settings.after_doubt = AfterDoubt::EndPaper;
    }
    let worker = Worker {
        name: printer.name,
        address: printer.address,
        settings,
        keep: printer.keep_connection,
        kept: None,
        roll: Roll::default(),
        spooler,
        net,
        clock,
        quiet: options.quiet,
        health,
        stop: stop_seen,
        doubts: options.in_doubt.into(),
        pause: BACK_OFF.0,
    };
    WorkerHandle { health: health_seen, stop, task: tokio::spawn(worker.run()) }
}

struct Worker<S> {
    name: PrinterName,
    address: String,
    settings: Settings,
    /// The connection stays open between jobs.
    keep: bool,
    kept: Option<Kept>,
    roll: Roll,
    spooler: Arc<S>,
    net: Arc<dyn Net>,
    clock: Arc<dyn Clock>,
    quiet: QuietHours,
    health: watch::Sender<PrinterHealth>,
    stop: watch::Receiver<Stop>,
    doubts: VecDeque<JobId>,
    pause: Duration,
}

/// A connection between two jobs.
struct Kept {
    connection: Box<dyn Connection>,
    /// Reads what the printer says of itself meanwhile.
    decoder: Decoder,
    until: Instant,
}

/// What the printer said of its roll.
#[derive(Clone, Copy, Default)]
struct Roll {
    near_end: bool,
    out: bool,
}

impl Roll {
    fn is_low(&self) -> bool {
        self.near_end || self.out
    }
}

/// How an attempt ended, and whether the book had given leave.
struct Ended {
    outcome: Outcome,
    leave: bool,
}

impl<S: Spooler> Worker<S> {
    async fn run(mut self) {
        // A first look, so that a dead printer is known before the first paper is due.
        let mut look_at = Instant::now();
        // A lost handle asks to stop, too.
        while *self.stop.borrow() == Stop::No && self.stop.has_changed().is_ok() {
            let Some(job) = self.next_job(&mut look_at).await else {
                if *self.stop.borrow() == Stop::No && Instant::now() >= look_at {
                    let ended = self.look().await;
                    let well = matches!(ended, Some(Outcome::Well | Outcome::NotSent(NotSent::ReadyAgain)));
                    let wait = if well { LOOK_EVERY } else { self.longer_pause() };
                    look_at = Instant::now() + wait;
                }
                continue;
            };
            let ended = self.attempt(Some(&job)).await;
            self.settle(&job, &ended).await;
            match ended.outcome {
                Outcome::OnPaper(_) | Outcome::Well | Outcome::NotSent(NotSent::ReadyAgain) => {}
                Outcome::NotSent(NotSent::Withdrawn) => self.wait(BREATH).await,
                Outcome::NotSent(_) | Outcome::InDoubt(_) => {
                    self.publish(|health| health.state = PrinterState::Waiting);
                    let pause = self.longer_pause();
                    self.wait(pause).await;
                }
            }
            // With trouble left behind and nothing to print, look again soon.
            let soon = self.health.borrow().trouble.is_some();
            look_at = Instant::now() + if soon { self.settings.times.poll } else { LOOK_EVERY };
        }
        self.publish(|health| health.state = PrinterState::Stopped);
    }

    /// The next job; `None` when it is time to look, to stop, or when quiet hours begin or end.
    async fn next_job(&mut self, look_at: &mut Instant) -> Option<NextJob> {
        let now = self.clock.now();
        let (is_quiet, until) = self.quiet.at(now);
        let (which, state) = match is_quiet {
            true => (Which::StopNotes, PrinterState::Quiet),
            false => (Which::Any, PrinterState::Idle),
        };
        self.publish(|health| health.state = state);
        let left = until.and_then(|until| Duration::try_from(until.duration_since(now)).ok());
        let wake = left.map_or(*look_at, |left| (*look_at).min(Instant::now() + left));
        let said = tokio::select! {
            biased;
            _ = stopped(&mut self.stop, Stop::AfterJob) => return None,
            job = self.spooler.next(&self.name, which) => return Some(job),
            said = idle(&mut self.kept) => said,
            () = sleep_until(wake) => return None,
        };
        for answer in said {
            match answer {
                Answer::ProcessId(id) => self.told(Effect::Heard(id)).await,
                // Something has changed: ask what.
                Answer::Automatic(_) => *look_at = Instant::now(),
                _ => {}
            }
        }
        None
    }

    /// The kept connection if it is as good as a new one.
    fn take_kept(&mut self) -> Option<Box<dyn Connection>> {
        let kept = self.kept.take()?;
        (kept.decoder.pending() == 0 && Instant::now() < kept.until).then_some(kept.connection)
    }

    /// Looks how the printer is until that is known or a job comes (`None`).
    async fn look(&mut self) -> Option<Outcome> {
        let which = if self.quiet.at(self.clock.now()).0 { Which::StopNotes } else { Which::Any };
        let (spooler, name) = (self.spooler.clone(), self.name.clone());
        tokio::select! {
            biased;
            _ = spooler.next(&name, which) => None,
            ended = self.attempt(None) => Some(ended.outcome),
        }
    }

    /// One connection: a job, or only a look.
    async fn attempt(&mut self, job: Option<&NextJob>) -> Ended {
        let began = Instant::now();
        let begin = |settings| match job {
            Some(job) => Driver::new(settings, job.job, &job.bytes),
            None => Driver::look(settings),
        };
        let mut driver = begin(self.settings);
        let kept_until = self.kept.as_ref().map(|kept| kept.until);
        let mut connection = self.take_kept();
        let mut reused = connection.is_some();
        let mut effects: VecDeque<Effect> = driver.step(Event::Start, began.elapsed()).into();
        let mut stop_told = Stop::No;
        let mut tick_at = began + TICK;
        let mut leave = false;
        let mut room = [0; 512];
        loop {
            while let Some(effect) = effects.pop_front() {
                let event = match effect {
                    Effect::Connect if reused => Event::Connected,
                    Effect::Connect => match self.connect().await {
                        Ok(made) => {
                            connection = Some(made);
                            Event::Connected
                        }
                        Err(kind) => Event::NoConnection(kind),
                    },
                    Effect::AskLeave => {
                        self.well();
                        leave = match job {
                            Some(job) => self.spooler.may_send(job, &self.name).await,
                            None => false,
                        };
                        Event::Leave(if leave { Leave::Granted } else { Leave::Refused })
                    }
                    Effect::Done(outcome) => {
                        if outcome == Outcome::Well {
                            self.well();
                        }
                        let until = match outcome {
                            Outcome::OnPaper(_) => Some(Instant::now() + KEEP_IDLE),
                            // A look alone keeps nobody else away any longer.
                            Outcome::Well => kept_until,
                            Outcome::NotSent(_) | Outcome::InDoubt(_) => None,
                        };
                        if let Some(until) = until.filter(|_| self.keep && driver.is_settled()) {
                            let kept = connection.take();
                            self.kept = kept.map(|connection| Kept { connection, decoder: Decoder::default(), until });
                        }
                        if let Some(mut connection) = connection {
                            // Nothing depends on how the goodbye ends.
                            let _ = connection.shutdown().await;
                        }
                        return Ended { outcome, leave };
                    }
                    told => {
                        self.told(told).await;
                        continue;
                    }
                };
                effects.extend(driver.step(event, began.elapsed()));
            }
            if let Some(job) = job {
                self.show(driver.phase(), job.job);
            }
            let Some(connection) = connection.as_mut() else {
                // The driver always connects first or ends; this cannot be reached.
                return Ended { outcome: Outcome::NotSent(NotSent::Broken), leave };
            };
            let next_stop = if stop_told == Stop::No { Stop::AfterJob } else { Stop::Now };
            let event = tokio::select! {
                biased;
                stop = stopped(&mut self.stop, next_stop), if stop_told < Stop::Now => {
                    stop_told = stop;
                    if stop == Stop::Now { Event::Abort } else { Event::Stop }
                }
                event = exchange(connection.as_mut(), driver.to_write(), &mut room) => event,
                () = sleep_until(tick_at) => {
                    tick_at = Instant::now() + TICK;
                    Event::Tick { unsent: connection.unsent() }
                }
            };
            if reused && driver.phase() == Phase::Asking && matches!(event, Event::Closed | Event::Failed) {
                // A network card may close an idle connection at any time. That is no fault, and not one
                // byte of the job has left.
                reused = false;
                driver = begin(self.settings);
                effects = driver.step(Event::Start, began.elapsed()).into();
                continue;
            }
            effects.extend(driver.step(event, began.elapsed()));
        }
    }

    // `async fn connect(&self) -> Resultmut`, since a kept connection may be sent to another thread but not shared with one.
    async fn connect(&mut self) -> Result<Box<dyn Connection>, TroubleKind> {
        match timeout(self.settings.times.connect, self.net.connect(&self.address)).await {
            Ok(Ok(connection)) => Ok(connection),
            Ok(Err(error)) => {
                tracing::debug!(printer = %self.name, %error, "printer not connected");
                Err(match error.kind() {
                    std::io::ErrorKind::ConnectionRefused => TroubleKind::Refused,
                    _ => TroubleKind::Unreachable,
                })
            }
            Err(_) => Err(TroubleKind::Unreachable),
        }
    }

    async fn told(&mut self, effect: Effect) {
        match effect {
            Effect::Trouble(None) => {
                self.well();
                self.note_roll(Roll { out: false, ..self.roll }).await;
            }
            Effect::Trouble(Some(kind)) => {
                self.trouble(kind);
                // The cover is opened to put in a roll: paper that was out stays out until all is well.
                let out = self.roll.out || kind == TroubleKind::PaperOut;
                self.note_roll(Roll { out, ..self.roll }).await;
            }
            Effect::NearEnd(near_end) => {
                self.settings.near_end = near_end;
                self.publish(|health| health.near_end = near_end);
                self.note_roll(Roll { near_end, ..self.roll }).await;
            }
            Effect::Answers => self.settings.must_answer = true,
            Effect::Ended => self.settings.after_doubt = AfterDoubt::Nothing,
            Effect::Heard(id) => {
                let known = self.doubts.iter().position(|job| job.process_id() == id);
                if let Some(job) = known.and_then(|at| self.doubts.remove(at)) {
                    tracing::info!(printer = %self.name, %job, "late confirmation");
                    self.spooler.printed(job, Confirmation::ProcessId).await;
                }
            }
            Effect::Connect | Effect::AskLeave | Effect::Done(_) => {}
        }
    }

    /// What is known of the roll changes; a new one is told to the book.
    async fn note_roll(&mut self, roll: Roll) {
        let was_low = self.roll.is_low();
        self.roll = roll;
        if was_low && !roll.is_low() {
            tracing::info!(printer = %self.name, "new roll");
            self.spooler.roll_loaded(&self.name).await;
        }
    }

    async fn settle(&mut self, job: &NextJob, ended: &Ended) {
        let (name, id) = (&self.name, job.job);
        match ended.outcome {
            Outcome::OnPaper(by) => {
                tracing::info!(printer = %name, job = %id, by = ?by, "on paper");
                self.spooler.printed(id, by).await;
                let now = self.clock.now();
                self.publish(|health| {
                    health.last_paper = Some(now);
                    health.jobs_done += 1;
                    health.rows_printed += u64::from(job.rows);
                });
            }
            Outcome::InDoubt(doubt) => {
                tracing::warn!(printer = %name, job = %id, why = doubt.why(), "job in doubt");
                self.settings.after_doubt = AfterDoubt::EndPaper;
                self.doubts.push_back(id);
                if self.doubts.len() > DOUBTS_MAX {
                    self.doubts.pop_front();
                }
                self.spooler.not_printed(id, doubt.why().to_owned(), BytesLeft::Some).await;
            }
            Outcome::NotSent(why) if ended.leave => {
                tracing::info!(printer = %name, job = %id, why = why.why(), "job not sent");
                self.spooler.not_printed(id, why.why().to_owned(), BytesLeft::None).await;
            }
            Outcome::NotSent(_) | Outcome::Well => {}
        }
    }

    fn publish(&self, change: impl FnOnce(&mut PrinterHealth)) {
        self.health.send_if_modified(|health| {
            let before = health.clone();
            change(health);
            *health != before
        });
    }

    fn show(&self, phase: Phase, job: JobId) {
        let state = match phase {
            Phase::Sending => PrinterState::Sending(job),
            Phase::Confirming => PrinterState::Confirming(job),
            _ => PrinterState::Asking(job),
        };
        self.publish(|health| health.state = state);
    }

    fn trouble(&self, kind: TroubleKind) {
        let now = self.clock.now();
        tracing::warn!(printer = %self.name, trouble = kind.word(), "printer in trouble");
        self.publish(|health| {
            // One trouble may follow from another: people want to know since when nothing works.
            let since = health.trouble.as_ref().map_or(now, |trouble| trouble.since);
            health.trouble = Some(Trouble::new(kind, since));
        });
    }

    fn well(&mut self) {
        self.pause = BACK_OFF.0;
        self.publish(|health| health.trouble = None);
    }

    fn longer_pause(&mut self) -> Duration {
        let pause = self.pause;
        self.pause = (pause * 2).min(BACK_OFF.1);
        pause
    }

    async fn wait(&mut self, pause: Duration) {
        tokio::select! {
            _ = stopped(&mut self.stop, Stop::AfterJob) => {}
            () = sleep(pause) => {}
        }
    }
}

/// Listens to a kept connection while there is nothing to print, and lets it go when it has been
/// idle for long, or the printer ends it.
async fn idle(kept: &mut Option<Kept>) -> Vec<Answer> {
    let Some(open) = kept.as_mut() else { return std::future::pending().await };
    let mut room = [0; 64];
    let said = tokio::select! {
        biased;
        event = exchange(open.connection.as_mut(), &[], &mut room) => match event {
            Event::Read(bytes) => Some(open.decoder.take(bytes)),
            _ => None,
        },
        () = sleep_until(open.until) => {
            // Nothing depends on how the goodbye ends.
            let _ = open.connection.shutdown().await;
            None
        }
    };
    if said.is_none() {
        *kept = None;
    }
    said.unwrap_or_default()
}

/// Waits until a stop at least as urgent as `least` is asked for. A lost handle asks for `Now`.
async fn stopped(stop: &mut watch::Receiver<Stop>, least: Stop) -> Stop {
    match stop.wait_for(|stop| *stop >= least).await {
        Ok(stop) => *stop,
        Err(_) => Stop::Now,
    }
}

/// Reads or writes, whichever is possible first.
pub(super) async fn exchange<'room>(
    connection: &mut dyn Connection,
    bytes: &[u8],
    room: &'room mut [u8],
) -> Event<'room> {
    let read = poll_fn(|context| {
        let mut buffer = ReadBuf::new(room);
        match Pin::new(&mut *connection).poll_read(context, &mut buffer) {
            Poll::Ready(Ok(())) => return Poll::Ready(Ok(Exchanged::Read(buffer.filled().len()))),
            Poll::Ready(Err(error)) => return Poll::Ready(Err(error)),
            Poll::Pending => {}
        }
        if bytes.is_empty() {
            return Poll::Pending;
        }
        Pin::new(&mut *connection).poll_write(context, bytes).map_ok(Exchanged::Wrote)
    })
    .await;
    match read {
        Ok(Exchanged::Read(0)) => Event::Closed,
        Ok(Exchanged::Read(count)) => {
            connection.acknowledge();
            Event::Read(&room[..count])
        }
        Ok(Exchanged::Wrote(0)) | Err(_) => Event::Failed,
        Ok(Exchanged::Wrote(count)) => Event::Wrote(count),
    }
}

enum Exchanged {
    Read(usize),
    Wrote(usize),
}
