//! The core thread: works off commands one at a time on a state that may run ahead of the
//! disk, and hands their records to the ledger's writer. Answers and effects leave only
//! after the writer has synced them.
//!
//! When the disk takes nothing (full, read-only, ...) the writer refuses a group; the core then falls back to the
//! durable state, and every command that was built on the lost one is answered `Busy`.

use super::shared::Shared;
use crate::book::{Answer, Busy, Command, Effect, Record, State, Step, step};
use crate::clock::Clock;
use crate::ledger::record::to_line;
use crate::ledger::writer::{Unit, WriteFailure, Writer};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use tokio::sync::{mpsc, oneshot};

/// Commands that may wait for the core; beyond it the caller is told to come again.
pub const COMMANDS_WAITING_MAX: usize = 4096;

type Reply = oneshot::Sender<Result<Answer, Busy>>;

enum Message {
    Ask(Box<Command>, Reply),
    Stop,
}

/// What the core needs of its surroundings after a sync.
pub trait Aftermath: Send + Sync {
    /// Carries out an effect; must not wait.
    fn effect(&self, effect: Effect);
    /// Synced records, for the index.
    fn synced(&self, records: Vec<Record>);
    /// The ledger failed for good: the process must end and start again from the disk.
    fn fatal(&self, why: String);
}

/// Sends commands to the core.
#[derive(Clone)]
pub struct CoreHandle {
    messages: mpsc::Sender<Message>,
}

impl CoreHandle {
    /// Asks; returns once the answer may leave. Waits for a place in the queue.
    pub async fn ask(&self, command: Command) -> Result<Answer, Busy> {
        let (reply, answer) = oneshot::channel();
        self.messages.send(Message::Ask(Box::new(command), reply)).await.map_err(|_| Busy::Stopping)?;
        answer.await.unwrap_or(Err(Busy::Stopping))
    }

    /// Asks; `Busy::Behind` at once where the queue is full: for callers that can come again.
    pub async fn ask_now(&self, command: Command) -> Result<Answer, Busy> {
        let (reply, answer) = oneshot::channel();
        self.messages.try_send(Message::Ask(Box::new(command), reply)).map_err(|refused| match refused {
            mpsc::error::TrySendError::Full(_) => Busy::Behind,
            mpsc::error::TrySendError::Closed(_) => Busy::Stopping,
        })?;
        answer.await.unwrap_or(Err(Busy::Stopping))
    }

    /// Asks from a thread outside the runtime.
    pub fn ask_blocking(&self, command: Command) -> Result<Answer, Busy> {
        let (reply, answer) = oneshot::channel();
        self.messages.blocking_send(Message::Ask(Box::new(command), reply)).map_err(|_| Busy::Stopping)?;
        answer.blocking_recv().unwrap_or(Err(Busy::Stopping))
    }

    /// So many commands wait; for metrics.
    pub fn waiting(&self) -> usize {
        COMMANDS_WAITING_MAX - self.messages.capacity()
    }

    /// Ends the core after what already waits.
    pub async fn stop(&self) {
        let _ = self.messages.send(Message::Stop).await;
    }
}

/// Starts the core thread on the restored state.
pub fn start(
    shared: Arc<Shared>,
    writer: Writer,
    clock: Arc<dyn Clock>,
    aftermath: Arc<dyn Aftermath>,
) -> std::io::Result<(CoreHandle, std::thread::JoinHandle<()>)> {
    let (messages, inbox) = mpsc::channel(COMMANDS_WAITING_MAX);
    let handle = CoreHandle { messages };
    let ahead = shared.durable().state.clone();
    let core = Core { ahead, epoch: 0, shared, writer, clock, aftermath, refused: Arc::default() };
    let thread = std::thread::Builder::new().name("core".into()).spawn(move || core.run(inbox))?;
    Ok((handle, thread))
}

struct Core {
    ahead: State,
    epoch: u64,
    shared: Arc<Shared>,
    writer: Writer,
    clock: Arc<dyn Clock>,
    aftermath: Arc<dyn Aftermath>,
    /// Epochs below this were refused.
    refused: Arc<AtomicU64>,
}

impl Core {
    fn run(mut self, mut inbox: mpsc::Receiver<Message>) {
        while let Some(message) = inbox.blocking_recv() {
            match message {
                Message::Ask(command, reply) => {
                    self.fall_back_if_refused();
                    self.work(*command, reply);
                }
                Message::Stop => break,
            }
        }
    }

    /// After a refused group the state in memory knows more than the disk: forget that.
    /// Everything synced before was folded before the refusal was told, in order.
    fn fall_back_if_refused(&mut self) {
        if self.refused.load(Ordering::Acquire) > self.epoch {
            self.ahead = self.shared.durable().state.clone();
            self.epoch += 1;
            tracing::warn!(seq = self.ahead.seq, "fell back to what the disk holds");
        }
    }

    fn work(&mut self, command: Command, reply: Reply) {
        let first_seq = self.ahead.seq + 1;
        let Step { records, effects, answer } = step(&mut self.ahead, command, self.clock.now());
        let lines: Result<Vec<_>, _> = records.iter().map(to_line).collect();
        let lines = match lines {
            Ok(lines) => lines,
            Err(error) => {
                // Cannot happen with the types as they are; if it does, the disk must not
                // fall behind the memory.
                self.aftermath.fatal(error.to_string());
                let _ = reply.send(Err(Busy::Stopping));
                return;
            }
        };
        let shared = Arc::clone(&self.shared);
        let aftermath = Arc::clone(&self.aftermath);
        let refused = Arc::clone(&self.refused);
        let epoch = self.epoch;
        let done = move |outcome: Result<(), WriteFailure>| match outcome {
            Ok(()) => {
                if !records.is_empty() {
                    shared.fold(&records);
                    aftermath.synced(records);
                }
                for effect in effects {
                    aftermath.effect(effect);
                }
                // The caller may have gone: what was stored stays stored.
                let _ = reply.send(Ok(answer));
            }
            Err(WriteFailure::NoRoom) => {
                // No message to the core: its queue may be full while it waits for us.
                refused.fetch_max(epoch + 1, Ordering::Release);
                let _ = reply.send(Err(Busy::NoRoom));
            }
            Err(WriteFailure::Closed) => {
                let _ = reply.send(Err(Busy::Stopping));
            }
            Err(WriteFailure::Failed) => {
                let _ = reply.send(Err(Busy::Stopping));
                aftermath.fatal(WriteFailure::Failed.to_string());
            }
        };
        self.writer.submit(Unit { epoch, first_seq, lines, done: Box::new(done) });
    }
}
