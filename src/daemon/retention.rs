//! Forgetting orders, and the daily look for personal data that are too old.
//!
//! Both record first what is to go, then clean the files (see [`crate::ledger::forget`]), then
//! record that it is done. What was recorded and not done is taken up again by itself.

use super::House;
use super::start::chain;
use super::upkeep;
use crate::book::{Action, Answer, Busy, Command, OpenOrder};
use crate::desk::Forgot;
use crate::desk::receipt::{Place, Receipt};
use crate::ledger::copies::import::Fold;
use crate::ledger::copies::{CopyError, backup};
use crate::ledger::{Erased, Erasure, LedgerError, Older};
use crate::model::{MessageKey, OrderKey};
use jiff::SignedDuration;
use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::oneshot;

/// Old personal data are looked for so often.
const LOOK_EVERY: SignedDuration = SignedDuration::from_hours(24);
/// So long a wish to forget waits for a copy that is being made.
const FILES_WAIT: Duration = Duration::from_secs(45);
/// So many rounds of archiving come before a look at most; what is left waits for the next day.
const ARCHIVE_ROUNDS_MAX: usize = 1000;

/// Why files could not be cleaned.
#[derive(Debug, thiserror::Error)]
pub enum EraseError {
    /// The ledger's files.
    #[error("personal data could not be erased")]
    Ledger(#[from] LedgerError),
    /// The backups.
    #[error("personal data could not be erased from the backups")]
    Backups(#[from] CopyError),
    /// The book took no command.
    #[error("the erasure could not be recorded")]
    Busy(#[from] Busy),
}

impl House {
    /// Forgets an order at once, and gives the receipt. `archived`: it is known to history only.
    ///
    /// # Errors
    /// [`Busy`] where nothing was begun. Once it is recorded it is carried through, if not at once
    /// then by itself later: [`Forgot::Later`].
    pub async fn forget_order(&self, order: OrderKey, open: OpenOrder, archived: bool) -> Result<Forgot, Busy> {
        // A copy may be being made, and at leisure.
        let held = tokio::time::timeout(FILES_WAIT, self.copier.files.lock()).await;
        let Ok(_alone) = held else { return Err(Busy::Behind) };
        let forget = Action::Forget { order: order.clone(), open, archived };
        if let Answer::Refused { why, remedy } = self.core()?.ask(Command::Person(forget)).await? {
            return Ok(Forgot::Refused { why, remedy });
        }
        match self.erase_pending().await {
            Ok(receipts) => match receipts.into_iter().find(|receipt| receipt.order == order.to_string()) {
                Some(receipt) => Ok(Forgot::Erased(Box::new(receipt))),
                None => Ok(Forgot::Later("it is recorded, and not in memory yet".into())),
            },
            Err(error) => {
                tracing::warn!(error = %chain(&error), "erasure is tried again");
                Ok(Forgot::Later(chain(&error)))
            }
        }
    }

    /// Carries out every erasure that is recorded and not done.
    ///
    /// # Errors
    /// [`EraseError`]; what is left stays recorded.
    pub async fn erase_recorded(&self) -> Result<Vec<Receipt>, EraseError> {
        // Not waited for: the caller keeps time. While a copy is being made it is for the next time.
        let Ok(_alone) = self.copier.files.try_lock() else { return Ok(Vec::new()) };
        self.erase_pending().await
    }

    /// Likewise, with the files in hand.
    async fn erase_pending(&self) -> Result<Vec<Receipt>, EraseError> {
        let pending = self.shared.durable().state.erasing.clone();
        if pending.is_empty() {
            return Ok(Vec::new());
        }
        let orders: BTreeSet<OrderKey> = pending.keys().cloned().collect();
        let erased = self.erase(Erasure { orders: orders.clone(), older: None }).await?;
        let seq = self.shared.durable().state.seq;
        let cleaned = tokio::task::block_in_place(|| {
            let mut messages = BTreeSet::new();
            for order in &orders {
                messages.extend(self.archive.messages_of(order, seq)?);
            }
            self.clean_backups(&orders, &messages)
        })?;
        let mut receipts = Vec::new();
        for (order, begun) in pending {
            let receipt = Receipt::new(order.to_string(), begun.at, begun.seq, places(&erased, &cleaned));
            let (lines, digest) = (erased.lines(), receipt.digest());
            self.core()?.ask(Command::Erased { order, lines, receipt: digest }).await?;
            receipts.push(receipt);
        }
        tracing::info!(orders = receipts.len(), lines = erased.lines(), "personal data erased");
        // A second snapshot to fall back to; without it the next one comes by itself.
        upkeep::checkpoint(self).await;
        Ok(receipts)
    }

    /// Once a day: erases what tells of persons whose orders ended longer ago than the retention.
    ///
    /// # Errors
    /// [`EraseError`]; the next look goes on.
    pub async fn look_for_old(self: &Arc<Self>) -> Result<(), EraseError> {
        let now = self.clock.now();
        let days = self.shared.workshop().retention_days;
        let Ok(before) = now.checked_sub(SignedDuration::from_hours(i64::from(days) * 24)) else { return Ok(()) };
        let due = |at| now.duration_since(at) >= LOOK_EVERY || now < at;
        if !self.shared.durable().state.retention.is_none_or(|last| due(last.at)) {
            return Ok(());
        }
        // Only what is archived is looked at, so that nothing of an open order can be touched.
        for _ in 0..ARCHIVE_ROUNDS_MAX {
            let waiting = !self.shared.durable().state.closed_before(before).is_empty();
            if !waiting || upkeep::archive(self).await == 0 {
                break;
            }
        }
        let Ok(_alone) = self.copier.files.try_lock() else { return Ok(()) };
        let older = self.older_than(before);
        let seq = self.shared.durable().state.seq;
        let old = tokio::task::block_in_place(|| self.archive.older(&older, seq))?;
        let mut erased = Erased::default();
        if !old.is_empty() {
            // The backups first: as long as something is left here, the next look finds it.
            tokio::task::block_in_place(|| self.clean_backups(&old.orders, &old.messages))?;
            self.core()?.ask(Command::RetentionBegun { before }).await?;
            erased = self.erase(Erasure { orders: BTreeSet::new(), older: Some(older) }).await?;
        }
        let (orders, lines) = (erased.orders.len() as u64, erased.lines());
        self.core()?.ask(Command::RetentionDone { before, orders, lines }).await?;
        tracing::info!(orders, lines, "looked for old personal data");
        if !old.is_empty() {
            upkeep::checkpoint(self).await;
        }
        Ok(())
    }

    fn clean_backups(
        &self,
        orders: &BTreeSet<OrderKey>,
        messages: &BTreeSet<MessageKey>,
    ) -> Result<backup::Forgotten, EraseError> {
        let disk = self.copier.backups_disk()?;
        Ok(backup::forget(disk.as_ref(), orders, messages)?)
    }

    fn older_than(&self, before: jiff::Timestamp) -> Older {
        let durable = self.shared.durable();
        let open = durable.state.orders.keys().cloned().collect();
        Older { before, open, asked: durable.state.asked_messages() }
    }

    /// Cleans the files of the data folder. Which orders are open is looked up again when nothing
    /// more can come between.
    async fn erase(&self, mut erasure: Erasure) -> Result<Erased, EraseError> {
        let shared = Arc::clone(&self.shared);
        let prepare = move || {
            let durable = shared.durable();
            if let Some(older) = &mut erasure.older {
                older.open = durable.state.orders.keys().cloned().collect();
                older.asked = durable.state.asked_messages();
            }
            let misuse = |err| LedgerError::Misuse { what: format!("the state could not be written: {err}") };
            Ok((erasure, durable.snapshot().map_err(misuse)?))
        };
        let (tell, told) = oneshot::channel();
        self.writer.erase(Box::new(prepare), Box::new(move |done| drop(tell.send(done))));
        let erased = told.await.map_err(|_| Busy::Stopping)??;
        // Copies in memory that readers were given.
        self.drop_seen();
        Ok(erased)
    }
}

/// What went, in words.
fn places(erased: &Erased, backups: &backup::Forgotten) -> Vec<Place> {
    let count = |n: u64, one: &str, many: &str| crate::desk::words::count(n as usize, one, many);
    let journal = format!(
        "{} (names, addresses, texts, messages as they came), {}",
        count(erased.journal_lines, "line", "lines"),
        count(erased.segments, "segment written anew", "segments written anew")
    );
    let archive = format!(
        "{} in {}",
        count(erased.archive_lines, "line", "lines"),
        count(erased.archive_files, "month's file", "months' files")
    );
    let unread = match backups.removed {
        0 => String::new(),
        n => format!(
            "; {} that could not be read removed as a whole",
            count(n as u64, "file of persons", "files of persons")
        ),
    };
    let copies = format!(
        "{} in {}{unread}",
        count(backups.records, "record", "records"),
        count(backups.files as u64, "file", "files")
    );
    vec![
        Place { place: "backups", what: copies },
        Place { place: "journal and history", what: journal },
        Place { place: "archive", what: archive },
        Place {
            place: "snapshots",
            what: format!("{}; a new one stands for all", count(erased.snapshots, "removed", "removed")),
        },
        Place {
            place: "set aside",
            what: count(erased.leftovers, "file removed (cut tails, broken or unfinished files)", "files removed"),
        },
        Place { place: "memory", what: "dropped when the erasure was recorded".into() },
        Place { place: "index, logs", what: "never held any".into() },
    ]
}
