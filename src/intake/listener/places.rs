//! Places for connections. When all are taken, the connection that has waited longest for
//! its client gives way, so that slow or hostile clients cannot shut the others out. One
//! whose message is being stored never does.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::Notify;
use tokio::time::Instant;

/// All places.
#[derive(Debug, Default)]
pub(super) struct Places(Mutex<Taken>);

#[derive(Debug, Default)]
struct Taken {
    next: u64,
    places: BTreeMap<u64, Place>,
}

#[derive(Debug)]
struct Place {
    /// Since when it waits for its client; `None` while we work for it.
    waiting: Option<Instant>,
    leave: Arc<Notify>,
}

/// One connection's place; free again when dropped.
#[derive(Debug)]
pub(super) struct Seat {
    places: Arc<Places>,
    id: u64,
    leave: Arc<Notify>,
}

/// How a place was found.
#[derive(Debug)]
pub(super) enum Entry {
    /// There was one.
    Free(Seat),
    /// Another connection gives way.
    InsteadOf(Seat),
    /// All others are being worked for.
    Full,
}

impl Places {
    /// Takes a place among `max`.
    pub(super) fn enter(self: &Arc<Self>, max: usize, now: Instant) -> Entry {
        let mut taken = self.taken();
        let full = taken.places.len() >= max.max(1);
        if full {
            let waits = |(id, place): (&u64, &Place)| place.waiting.map(|since| (since, *id));
            let Some((_, longest)) = taken.places.iter().filter_map(waits).min() else {
                return Entry::Full;
            };
            if let Some(place) = taken.places.remove(&longest) {
                place.leave.notify_one();
            }
        }
        let id = taken.next;
        taken.next += 1;
        let leave = Arc::new(Notify::new());
        taken.places.insert(id, Place { waiting: Some(now), leave: leave.clone() });
        let seat = Seat { places: self.clone(), id, leave };
        if full { Entry::InsteadOf(seat) } else { Entry::Free(seat) }
    }
    fn taken(&self) -> std::sync::MutexGuard<'_, Taken> {
        // Every change below is a single insert, remove or assignment.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Seat {
    /// We have all we need from the client.
    pub(super) fn works(&self) {
        self.set(None);
    }
    /// It is the client's turn.
    pub(super) fn waits(&self, now: Instant) {
        self.set(Some(now));
    }
    /// Ends when the connection must give way.
    pub(super) async fn must_leave(&self) {
        self.leave.notified().await;
    }
    fn set(&self, waiting: Option<Instant>) {
        if let Some(place) = self.places.taken().places.get_mut(&self.id) {
            place.waiting = waiting;
        }
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.places.taken().places.remove(&self.id);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn seat(entry: Entry) -> Seat {
        match entry {
            Entry::Free(seat) | Entry::InsteadOf(seat) => seat,
            Entry::Full => panic!("no place"),
        }
    }

    #[tokio::test]
    async fn the_one_that_waited_longest_gives_way_and_none_that_is_worked_for() {
        let places = Arc::new(Places::default());
        let start = Instant::now();
        let at = |seconds| start + Duration::from_secs(seconds);
        let stored = seat(places.enter(3, at(0)));
        stored.works();
        let slow = seat(places.enter(3, at(1)));
        let quick = seat(places.enter(3, at(2)));
        let Entry::InsteadOf(newcomer) = places.enter(3, at(3)) else { panic!("all places are taken") };
        slow.must_leave().await;
        drop(slow);
        quick.works();
        newcomer.works();
        assert!(matches!(places.enter(3, at(4)), Entry::Full));
        drop(quick);
        assert!(matches!(places.enter(3, at(4)), Entry::Free(_)));
        assert_eq!(places.taken().places.len(), 2);
    }

    #[test]
    fn a_connection_that_is_the_clients_turn_again_may_have_to_leave() {
        let places = Arc::new(Places::default());
        let start = Instant::now();
        let only = seat(places.enter(1, start));
        only.works();
        assert!(matches!(places.enter(1, start), Entry::Full));
        only.waits(start);
        assert!(matches!(places.enter(1, start), Entry::InsteadOf(_)));
    }
}
