//! What time brings: the book's tick, a sign of life, snapshots, archives.

use super::House;
use crate::book::{Busy, Command};
use crate::ledger::Snapshot;
use crate::ledger::archive::ORDERS_MAX;
use crate::model::OrderKey;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{oneshot, watch};

/// The book is told the time this often.
const TICK: Duration = Duration::from_secs(1);
/// Ticks between two signs of life.
const ALIVE_TICKS: u64 = 10;
/// Ticks between two looks whether something can be archived.
const ARCHIVE_TICKS: u64 = 600;
/// So many facts after a snapshot the next one is made: a start then reads at most so many.
const SNAPSHOT_FACTS: u64 = 20_000;

/// Runs until told to stop.
pub async fn tend(house: Arc<House>, mut stop: watch::Receiver<bool>) {
    let mut timer = tokio::time::interval(TICK);
    timer.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    let mut last_snapshot = house.shared.durable().state.seq;
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
        let seq = house.shared.durable().state.seq;
        if seq >= last_snapshot + SNAPSHOT_FACTS && checkpoint(&house).await {
            last_snapshot = seq;
        }
        if tick % ARCHIVE_TICKS == ARCHIVE_TICKS - 1 {
            archive(&house).await;
        }
    }
}

/// Writes a snapshot of the durable state. What is synced later stays in the journal.
pub async fn checkpoint(house: &House) -> bool {
    let snapshot = {
        let durable = house.shared.durable();
        let state = serde_json::to_vec(&durable.state);
        let people = serde_json::to_vec(&durable.people);
        match (state, people) {
            (Ok(state), Ok(people)) => Snapshot { seq: durable.state.seq, state, people },
            _ => return false,
        }
    };
    let (tell, told) = oneshot::channel();
    house.writer.checkpoint(snapshot, Box::new(move |done| drop(tell.send(done))));
    match told.await {
        Ok(Ok(())) => true,
        Ok(Err(error)) => {
            tracing::warn!(error = %super::start::chain(&error), "no snapshot was made");
            false
        }
        Err(_) => false,
    }
}

/// Puts orders that have been closed for long into the archive, then out of the state.
pub async fn archive(house: &House) {
    let mut closed: Vec<OrderKey> = house.shared.durable().state.closed_longer_than(house.clock.now());
    closed.truncate(ORDERS_MAX);
    // Segments go only below a snapshot, so one is made first.
    if closed.is_empty() || !checkpoint(house).await {
        return;
    }
    let (tell, told) = oneshot::channel();
    house.writer.archive(closed, Box::new(move |done| drop(tell.send(done))));
    match (told.await, house.core()) {
        (Ok(Ok(done)), Ok(core)) if !done.orders.is_empty() => {
            let archived = done.orders.len();
            if core.ask(Command::Archived(done.orders)).await.is_ok() {
                tracing::info!(archived, segments_removed = done.segments_removed, "archived");
            }
        }
        (Ok(Err(error)), _) => tracing::warn!(error = %super::start::chain(&error), "nothing was archived"),
        _ => {}
    }
}
