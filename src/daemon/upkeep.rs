//! What time brings: the book's tick, a sign of life, snapshots, archives.

use super::House;
use crate::book::{Busy, Command};
use crate::ledger::Frozen;
use crate::ledger::archive::ORDERS_MAX;
use crate::ledger::copies::import::Fold;
use crate::model::OrderKey;
use jiff::{SignedDuration, Timestamp};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{oneshot, watch};

/// The book is told the time this often.
const TICK: Duration = Duration::from_secs(1);
/// Ticks between two signs of life.
const ALIVE_TICKS: u64 = 10;
/// Ticks between two looks whether something can be put away.
const PUT_AWAY_TICKS: u64 = 60;
/// Ticks between two looks whether an erasure was left undone.
const ERASE_TICKS: u64 = 600;
/// Ticks between two looks whether a day has passed since old personal data were looked for.
const RETENTION_TICKS: u64 = 600;
/// The first of them after a start.
const RETENTION_TICK: u64 = 30;
/// So many facts after a snapshot the next one is made: a start then reads at most so many.
const SNAPSHOT_FACTS: u64 = 20_000;
/// The same for each order in the state, where that is more: a snapshot is as long as they are
/// many, and is not written more often than as much again has happened.
const SNAPSHOT_FACTS_AN_ORDER: u64 = 4;
/// A snapshot after so long, however little has happened: nothing stays in the journal for long.
const SNAPSHOT_AFTER: SignedDuration = SignedDuration::from_hours(7 * 24);
/// Closed orders are archived once a week, or as soon as a file is full of them: an archive file is
/// for good, and each archiving reads all that is open.
const ARCHIVE_AFTER: SignedDuration = SignedDuration::from_hours(7 * 24);

/// What was put away when.
#[derive(Debug, Default)]
pub struct Keeping {
    /// The last snapshot: its fact, and when.
    snapshot: Option<(u64, Timestamp)>,
    archived: Option<Timestamp>,
}

/// Runs until told to stop.
pub async fn tend(house: Arc<House>, mut stop: watch::Receiver<bool>) {
    let mut timer = tokio::time::interval(TICK);
    timer.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    for tick in 0u64.. {
        tokio::select! {
            _ = stop.wait_for(|stopped| *stopped) => return,
            _ = timer.tick() => {}
        }
        let Ok(core) = house.core() else { return };
        // Without room nothing of a tick is kept; the next one tries again.
        if core.ask(Command::Tick).await == Err(Busy::Stopping) {
            return;
        }
        if tick.is_multiple_of(ALIVE_TICKS) {
            house.writer.alive(house.clock.now());
        }
        if tick % PUT_AWAY_TICKS == PUT_AWAY_TICKS - 1 {
            put_away(&house).await;
        }
        if tick.is_multiple_of(ERASE_TICKS)
            && let Err(error) = house.erase_recorded().await
        {
            tracing::warn!(error = %super::start::chain(&error), "erasure is tried again");
        }
        if tick % RETENTION_TICKS == RETENTION_TICK
            && let Err(error) = house.look_for_old().await
        {
            tracing::warn!(error = %super::start::chain(&error), "old personal data are looked for again");
        }
    }
}

/// Makes a snapshot and archives closed orders, each if it is time. A start counts as a snapshot:
/// what it read is not read again soon.
pub async fn put_away(house: &House) {
    let mut keeping = house.keeping.lock().await;
    let now = house.clock.now();
    let long_ago =
        |last: Timestamp, after: SignedDuration| !(SignedDuration::ZERO..after).contains(&now.duration_since(last));
    let (seq, orders) = {
        let state = &house.shared.durable().state;
        (state.seq, state.orders.len() as u64)
    };
    let (last, at) = *keeping.snapshot.get_or_insert((seq, now));
    let due = seq >= last + SNAPSHOT_FACTS.max(orders * SNAPSHOT_FACTS_AN_ORDER);
    if (due || (seq > last && long_ago(at, SNAPSHOT_AFTER))) && checkpoint(house).await {
        keeping.snapshot = Some((seq, now));
    }
    loop {
        let closed = house.shared.durable().state.closed_longer_than(now).len();
        let due = closed >= ORDERS_MAX || keeping.archived.is_none_or(|last| long_ago(last, ARCHIVE_AFTER));
        if closed == 0 || !due || archive_closed(house, &mut keeping).await < ORDERS_MAX {
            return;
        }
    }
}

/// Writes a snapshot of the durable state. What is synced later stays in the journal. The writer
/// waits only for a copy.
pub async fn checkpoint(house: &House) -> bool {
    let shared = Arc::clone(&house.shared);
    let freeze = move || {
        let durable = shared.durable().clone();
        let seq = durable.state.seq;
        Frozen { seq, write_out: Box::new(move || durable.snapshot().ok()) }
    };
    let (tell, told) = oneshot::channel();
    house.writer.checkpoint(Box::new(freeze), Box::new(move |done| drop(tell.send(done))));
    match told.await {
        Ok(Ok(())) => true,
        Ok(Err(error)) => {
            tracing::warn!(error = %super::start::chain(&error), "no snapshot was made");
            false
        }
        Err(_) => false,
    }
}

/// Puts orders that have been closed for long into the archive, then out of the state; says how
/// many.
pub async fn archive(house: &House) -> usize {
    archive_closed(house, &mut *house.keeping.lock().await).await
}

async fn archive_closed(house: &House, keeping: &mut Keeping) -> usize {
    // While a copy reads the files, none of them moves; it is tried again later.
    let Ok(_alone) = house.copier.files.try_lock() else { return 0 };
    let now = house.clock.now();
    let mut closed: Vec<OrderKey> = house.shared.durable().state.closed_longer_than(now);
    if closed.is_empty() {
        return 0;
    }
    keeping.archived = Some(now);
    closed.truncate(ORDERS_MAX);
    let (tell, told) = oneshot::channel();
    house.writer.archive(closed, Box::new(move |done| drop(tell.send(done))));
    match (told.await, house.core()) {
        (Ok(Ok(done)), Ok(core)) if !done.orders.is_empty() => {
            let archived = done.orders.len();
            if core.ask(Command::Archived { orders: done.orders, upto: done.upto }).await.is_ok() {
                tracing::info!(archived, segments_removed = done.segments_removed, "archived");
                return archived;
            }
        }
        (Ok(Err(error)), _) => tracing::warn!(error = %super::start::chain(&error), "nothing was archived"),
        _ => {}
    }
    0
}
