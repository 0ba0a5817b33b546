//! What lies on the disk grows with the orders that have been, by the same for each of them, and
//! by nothing else. Times are the bench's business (`cargo bench --bench life`).
//!
//! `DAWNSLIP_LIFE_DAYS=250` lets 5 000 orders pass.

#[path = "bench/support/mod.rs"]
mod support;

use jiff::Timestamp;
use support::life::{Life, workshop_with_plenty};
use support::measure::DiskUse;

/// Orders of one day.
const PER_DAY: usize = 20;
/// After so many days as many orders leave the state as come in.
const SETTLED_DAYS: usize = 28;
const DAYS: usize = 28;
/// Closed orders stay for 14 days, and are archived once a week.
const DAYS_IN_STATE_MAX: usize = 24;

/// Past orders, open ones, and what lies on the disk.
async fn look(life: &mut Life) -> (usize, usize, DiskUse) {
    let past = life.past();
    let disk = life.pause(async |_, data, _| DiskUse::of(data)).await;
    (past, life.made() - past, disk)
}

#[test]
fn years_of_orders_add_their_archive_and_nothing_else() {
    let days = std::env::var("DAWNSLIP_LIFE_DAYS").ok().and_then(|days| days.parse().ok()).unwrap_or(DAYS);
    support::on_a_large_stack(move || {
        let folder = tempfile::tempdir().unwrap();
        let place = workshop_with_plenty(&folder.path().join("config"));
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        runtime.block_on(async {
            let first: Timestamp = "2020-01-01T00:00:00Z".parse().unwrap();
            let mut life = Life::begin(place, folder.path().join("data"), first).await;
            for _ in 0..SETTLED_DAYS {
                life.day(PER_DAY).await;
            }
            let (past, open, before) = look(&mut life).await;
            for _ in 0..days {
                life.day(PER_DAY).await;
            }
            let (past_now, open_now, after) = look(&mut life).await;
            life.end().await;
            let went = past_now - past;
            println!("{past} past, {open} open: {before:?}\n{past_now} past, {open_now} open: {after:?}");

            assert!(open.max(open_now) <= DAYS_IN_STATE_MAX * PER_DAY, "{open}, then {open_now} orders in the state");
            assert_eq!(went + open_now, days * PER_DAY + open, "each is in the state or in the archive");
            let each = |disk: &DiskUse, past: usize| (disk.facts + disk.people + disk.keys) as f64 / past as f64;
            let (one, later) = (each(&before, past), each(&after, past_now));
            assert!(later < one * 1.1, "an archived order took {one:.0} bytes, now {later:.0}");
            // A file of facts, one of persons and one of keys a week, the same at the turn of a month;
            // besides, what is always there.
            let most = before.files + 3 * (days / 7 + days / 28 + 2) + 20;
            assert!(after.files <= most, "{} files", after.files);
            // Message ids are remembered for 15 days, whatever was before.
            let (state, state_now) = (before.one_snapshot as f64, after.one_snapshot as f64);
            assert!(state == 0.0 || state_now < state * 1.5, "a snapshot took {state} bytes, now {state_now}");
            assert!(after.journal + after.history < 64 * 1024 * 1024, "what is open, and two snapshots' way");
            assert!(after.index < 64 * 1024 * 1024, "the index holds what is open");
        });
    });
}
