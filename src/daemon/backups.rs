//! Copies while the daemon runs: the daily backup, one by hand, and the export through the desk.
//!
//! All of them read files that do not change, beside everything else and at leisure. Whoever moves
//! files of the data folder meanwhile (archiving) waits: [`Copier::files`].

use super::shared::Shared;
use super::start::chain;
use crate::clock::Clock;
use crate::desk::view::{Busy, Trouble};
use crate::desk::{Lines, LinesOut};
use crate::ledger::copies::{CopyError, Counts, Header, Holds, Step, Writer, backup};
use crate::ledger::{Disk, Installation, RealDisk};
use crate::model::{Backups, daytime};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::{OwnedMutexGuard, watch};

/// How often it is looked whether one is due.
const LOOK: Duration = Duration::from_secs(30);
/// After a start orders and papers come first.
const START_PAUSE: SignedDuration = SignedDuration::from_secs(60);
/// After one that failed the next one is tried this much later.
const RETRY: SignedDuration = SignedDuration::from_hours(1);
/// A person is told when the last one is older than this.
const OLD: SignedDuration = SignedDuration::from_hours(48);
/// At leisure: after each step so long a pause as the step took, but never longer than this.
const PAUSE_MAX: Duration = Duration::from_millis(250);
/// So long an export waits for a backup that is being made, or for archiving.
const FILES_WAIT: Duration = Duration::from_secs(10);

/// How a copy is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pace {
    /// Nobody waits for it.
    AtLeisure,
    /// A person does.
    Brisk,
}

/// What is known of the backups.
#[derive(Debug, Default)]
pub(super) struct BackupLog(Mutex<Known>);

#[derive(Debug, Default, Clone)]
struct Known {
    last_good: Option<Timestamp>,
    /// When it was tried last, and failed.
    failed: Option<Failed>,
}

#[derive(Debug, Clone)]
struct Failed {
    since: Timestamp,
    tried: Timestamp,
    why: String,
    remedy: String,
}

impl BackupLog {
    fn with<T>(&self, act: impl FnOnce(&mut Known) -> T) -> T {
        act(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn note(&self, now: Timestamp, outcome: &Result<(backup::Kept, Counts), CopyError>) {
        self.with(|known| match outcome {
            Ok((kept, _)) => *known = Known { last_good: Some(kept.made), failed: None },
            Err(CopyError::Stopped) => {}
            Err(error) => {
                let since = known.failed.as_ref().map_or(now, |failed| failed.since);
                let remedy = remedy(error).to_owned();
                known.failed = Some(Failed { since, tried: now, why: chain(error), remedy });
            }
        });
    }

    /// What a person should be told.
    fn trouble(&self, settings: &Backups, opened_at: Timestamp, now: Timestamp) -> Option<Trouble> {
        let known = self.with(|known| known.clone());
        if settings.off {
            return None;
        }
        let last = known.last_good.map_or("none was ever made".to_owned(), |at| format!("the last one is of {at:.0}"));
        if let Some(Failed { since, why, remedy, .. }) = known.failed {
            let what = "the daily backup failed".to_owned();
            return Some(Trouble { what, since, why: format!("{why}; {last}"), remedy });
        }
        // After a start there is a while to make up for one.
        let from = known.last_good.unwrap_or(opened_at);
        let late = now.duration_since(from) > OLD && now.duration_since(opened_at) > RETRY;
        late.then(|| Trouble {
            what: "no backup was made for more than two days".into(),
            since: from,
            why: last,
            remedy: "make one: dawnslip backup; it says what is in the way".into(),
        })
    }

    /// Is one to be made now?
    fn is_due(&self, settings: &Backups, zone: &TimeZone, opened_at: Timestamp, now: Timestamp) -> bool {
        let known = self.with(|known| known.clone());
        let resting = known.failed.is_some_and(|failed| now.duration_since(failed.tried) < RETRY);
        if settings.off || resting || now.duration_since(opened_at) < START_PAUSE {
            return false;
        }
        known.last_good.is_none_or(|last| last < last_hour(settings, zone, now))
    }
}

/// The latest instant at which a backup should have been made.
fn last_hour(settings: &Backups, zone: &TimeZone, now: Timestamp) -> Timestamp {
    let today = daytime::date_of(zone, now);
    let at = daytime::instant_of(zone, today, settings.at);
    match today.yesterday() {
        Ok(yesterday) if at > now => daytime::instant_of(zone, yesterday, settings.at),
        _ => at,
    }
}

/// What to do about one that failed.
pub fn remedy(error: &CopyError) -> &'static str {
    match error {
        CopyError::Room { .. } => {
            "free some room, or name another folder in workshop.toml, [backups]; then: dawnslip backup"
        }
        CopyError::Write { .. } | CopyError::Read { .. } => {
            "look whether the folder of workshop.toml, [backups], is there and this user may write to it; then: dawnslip backup"
        }
        _ => "look into the log; then: dawnslip backup",
    }
}

/// What was made, in words.
pub fn told(kept: &backup::Kept, counts: Counts) -> String {
    format!("backup {} made and read back: {} facts, {} persons' records", kept.name, counts.facts, counts.persons)
}

/// The folder of the backups as a disk of its own; made where it is missing.
///
/// # Errors
/// Those of the file system.
pub fn folder(data: &Path, settings: &Backups) -> Result<Arc<dyn Disk>, CopyError> {
    let folder = data.join(&settings.folder);
    let disk = RealDisk::new(&folder);
    Ok(Arc::new(disk.map_err(|cause| CopyError::Write { file: folder.display().to_string(), cause })?))
}

/// What has to be removed: copies after their days, persons after theirs.
/// # Errors
/// Those of the disk.
pub fn tidy(disk: &dyn Disk, settings: &Backups, retention_days: u32, now: Timestamp) -> Result<(), CopyError> {
    let days = |days: u32| SignedDuration::from_hours(24 * i64::from(days));
    let removed = backup::rotate(disk, now, days(settings.keep_days))?;
    let persons = backup::expire_persons(disk, now, days(retention_days))?;
    if removed + persons > 0 {
        tracing::info!(removed, persons, "old backups removed");
    }
    Ok(())
}

/// Runs until told to stop.
pub async fn tend(copier: Arc<Copier>, mut stop: watch::Receiver<bool>) {
    copier.look_for_backups().await;
    let mut timer = tokio::time::interval(LOOK);
    timer.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    loop {
        tokio::select! {
            _ = stop.wait_for(|stopped| *stopped) => return,
            _ = timer.tick() => {}
        }
        let workshop = copier.shared.workshop();
        if copier.log.is_due(&workshop.backups, &workshop.zone, copier.opened_at, copier.clock.now()) {
            // What went wrong stands at /status.
            let _ = copier.back_up(Pace::AtLeisure).await;
        }
    }
}

/// Copies the data folder of a running daemon.
pub struct Copier {
    /// The durable state and the configuration.
    pub(super) shared: Arc<Shared>,
    pub(super) clock: Arc<dyn Clock>,
    /// The data folder, as a disk and as a path.
    pub(super) disk: Arc<dyn Disk>,
    pub(super) data: PathBuf,
    pub(super) installation: Installation,
    pub(super) opened_at: Timestamp,
    pub(super) runtime: tokio::runtime::Handle,
    /// Held by whoever moves, rewrites or copies files of the data folder other than the journal's end.
    pub files: Arc<tokio::sync::Mutex<()>>,
    pub(super) log: BackupLog,
    pub(super) stopping: AtomicBool,
}

impl Copier {
    /// Ends copies that are being made.
    pub fn stop(&self) {
        self.stopping.store(true, Ordering::Relaxed);
    }

    /// When the last good backup was made.
    pub fn last_good(&self) -> Option<Timestamp> {
        self.log.with(|known| known.last_good)
    }

    /// The folder of the backups; also where none are made any more, old ones may lie there.
    ///
    /// # Errors
    /// Those of the file system.
    pub fn backups_disk(&self) -> Result<Arc<dyn Disk>, CopyError> {
        folder(&self.data, &self.shared.workshop().backups)
    }

    /// What a person should be told about backups.
    pub fn trouble(&self) -> Option<Trouble> {
        self.log.trouble(&self.shared.workshop().backups, self.opened_at, self.clock.now())
    }

    /// Notes when the last one was made, as the folder says.
    async fn look_for_backups(self: &Arc<Self>) {
        let copier = Arc::clone(self);
        let looked = tokio::task::spawn_blocking(move || {
            let workshop = copier.shared.workshop();
            if !copier.data.join(&workshop.backups.folder).exists() {
                return Ok(());
            }
            let disk = copier.backups_disk()?;
            let ours =
                |kept: &backup::Kept| kept.header.as_ref().is_some_and(|h| h.installation == copier.installation.id);
            let last = backup::list(disk.as_ref())?.into_iter().find(ours).map(|kept| kept.made);
            copier.log.with(|known| known.last_good = last);
            Ok::<(), CopyError>(())
        });
        if let Ok(Err(error)) = looked.await {
            tracing::warn!(error = %chain(&error), "the folder of backups cannot be read");
        }
    }

    /// Waits for its turn to read files that nobody moves.
    async fn hold_files(&self) -> Result<OwnedMutexGuard<()>, Busy> {
        let held = tokio::time::timeout(FILES_WAIT, Arc::clone(&self.files).lock_owned()).await;
        held.map_err(|_| Busy {
            why: "a copy is being made, or orders are being archived".into(),
            remedy: "try again in a minute".into(),
        })
    }

    /// What a copy of this instant says of itself.
    fn copy_header(&self, holds: Holds) -> Header {
        let upto = self.shared.durable().state.seq;
        Header::of(&self.installation, holds, upto, self.clock.now())
    }

    /// Takes its time after each step; ends where the program stops.
    fn paced(self: &Arc<Self>, pace: Pace) -> impl FnMut(Step) -> Result<(), CopyError> + use<> {
        let copier = Arc::clone(self);
        let mut begun = Instant::now();
        move |_| {
            if copier.stopping.load(Ordering::Relaxed) {
                return Err(CopyError::Stopped);
            }
            if pace == Pace::AtLeisure {
                std::thread::sleep(begun.elapsed().min(PAUSE_MAX));
                begun = Instant::now();
            }
            Ok(())
        }
    }

    /// Makes a backup by hand; says what was made.
    ///
    /// # Errors
    /// Where it cannot be made, with what to do.
    pub async fn back_up_now(self: &Arc<Self>) -> Result<String, Busy> {
        match self.back_up(Pace::Brisk).await? {
            Ok((kept, counts)) => Ok(told(&kept, counts)),
            Err(error) => Err(Busy { why: chain(&error), remedy: remedy(&error).into() }),
        }
    }

    async fn back_up(self: &Arc<Self>, pace: Pace) -> Result<Result<(backup::Kept, Counts), CopyError>, Busy> {
        let held = self.hold_files().await?;
        let copier = Arc::clone(self);
        let made = tokio::task::spawn_blocking(move || {
            let _held = held;
            let now = copier.clock.now();
            let made = copier.make_backup(now, pace);
            match &made {
                Ok((kept, counts)) => {
                    tracing::info!(seq = counts.facts, bytes = kept.bytes, "backup made and read back")
                }
                Err(error) => tracing::warn!(error = %chain(error), "no backup was made"),
            }
            copier.log.note(now, &made);
            made
        });
        made.await.map_err(|error| {
            tracing::error!(error = %error, "a backup ended early");
            Busy { why: "the backup ended early".into(), remedy: "look into the log".into() }
        })
    }

    fn make_backup(self: &Arc<Self>, now: Timestamp, pace: Pace) -> Result<(backup::Kept, Counts), CopyError> {
        let workshop = self.shared.workshop();
        let disk = self.backups_disk()?;
        let tidied = || tidy(disk.as_ref(), &workshop.backups, workshop.retention_days, now);
        // Persons must go in time, whether a new copy succeeds or not.
        tidied()?;
        let header = self.copy_header(Holds::All);
        let made =
            backup::make(disk.as_ref(), &header.copying(self.disk.as_ref(), disk.as_ref()), &header, self.paced(pace))?;
        tidied()?;
        Ok(made)
    }

    /// Writes everything to whoever reads the other end.
    ///
    /// # Errors
    /// Where another copy is being made.
    pub async fn export_lines(self: &Arc<Self>, holds: Holds) -> Result<Lines, Busy> {
        let held = self.hold_files().await?;
        let copier = Arc::clone(self);
        let (out, lines) = LinesOut::new(self.runtime.clone());
        tokio::task::spawn_blocking(move || {
            let _held = held;
            if let Err(error) = copier.write_copy(out, holds) {
                tracing::warn!(error = %chain(&error), "an export ended early");
            }
        });
        Ok(lines)
    }

    fn write_copy(self: &Arc<Self>, out: LinesOut, holds: Holds) -> Result<(), CopyError> {
        let header = self.copy_header(holds);
        let failed = |cause| CopyError::Write { file: "the answer".into(), cause };
        let broken = out.breaker();
        let written = (|| {
            let mut writer = Writer::new(out, &header).map_err(failed)?;
            let copying = header.copying(self.disk.as_ref(), self.disk.as_ref());
            copying.run(
                |item| if holds.takes(&item) { writer.item(&item).map_err(failed) } else { Ok(()) },
                self.paced(Pace::Brisk),
            )?;
            writer.end().map_err(failed)
        })();
        match written {
            Ok(_) => Ok(()),
            Err(error) => {
                // Without this the answer would merely end, as if it were whole.
                broken.break_off(&chain(&error));
                Err(error)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::time;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn settings() -> Backups {
        Backups { off: false, at: time(3, 30, 0, 0), keep_days: 14, folder: "backups".into() }
    }

    fn log(last_good: Option<&str>) -> BackupLog {
        let log = BackupLog::default();
        log.with(|known| known.last_good = last_good.map(at));
        log
    }

    /// Whether one is due at each instant, for a program that was started at the first.
    fn due(last_good: Option<&str>, opened: &str, now: &str) -> bool {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        log(last_good).is_due(&settings(), &zone, at(opened), at(now))
    }

    #[test]
    fn one_is_made_at_its_local_hour_and_made_up_for_once() {
        let long_ago = "2026-11-01T00:00:00Z";
        // Half past three in Berlin is half past two in Greenwich, in winter.
        assert!(!due(Some("2026-11-24T02:30:10Z"), long_ago, "2026-11-25T02:29:59Z"));
        assert!(due(Some("2026-11-24T02:30:10Z"), long_ago, "2026-11-25T02:30:00Z"));
        assert!(!due(Some("2026-11-25T02:30:10Z"), long_ago, "2026-11-25T23:00:00Z"));
        // Off at that hour, for days: one, a minute after the start.
        assert!(!due(Some("2026-11-20T02:30:10Z"), "2026-11-25T09:00:00Z", "2026-11-25T09:00:59Z"));
        assert!(due(Some("2026-11-20T02:30:10Z"), "2026-11-25T09:00:00Z", "2026-11-25T09:01:00Z"));
        assert!(!due(Some("2026-11-25T09:01:05Z"), "2026-11-25T09:00:00Z", "2026-11-25T09:02:00Z"));
        // The first of all.
        assert!(due(None, "2026-11-25T09:00:00Z", "2026-11-25T09:01:00Z"));
        // The hour that the clocks leave out (29 March 2026 in Berlin: two becomes three).
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let early = Backups { at: time(2, 30, 0, 0), ..settings() };
        assert_eq!(last_hour(&early, &zone, at("2026-03-29T12:00:00Z")), at("2026-03-29T01:00:00Z"));
    }

    #[test]
    fn one_that_failed_is_told_at_once_and_tried_again_after_an_hour() {
        let log = log(Some("2026-11-24T02:30:10Z"));
        let zone = TimeZone::UTC;
        let (opened, failed) = (at("2026-11-01T00:00:00Z"), at("2026-11-25T03:30:00Z"));
        assert!(log.is_due(&settings(), &zone, opened, failed));
        log.note(failed, &Err(CopyError::Room { left_mb: 268 }));
        let trouble = log.trouble(&settings(), opened, failed).expect("a trouble");
        assert_eq!(
            (trouble.what.as_str(), trouble.since, trouble.why.as_str()),
            (
                "the daily backup failed",
                failed,
                "the disk would be left with less than 268 MB, which is kept for orders; the last one is of 2026-11-24T02:30:10Z"
            )
        );
        assert!(trouble.remedy.contains("free some room"), "{}", trouble.remedy);
        assert!(!log.is_due(&settings(), &zone, opened, at("2026-11-25T04:29:59Z")));
        assert!(log.is_due(&settings(), &zone, opened, at("2026-11-25T04:30:00Z")));
        // A second failure keeps the first one's time; being stopped is none.
        log.note(at("2026-11-25T04:30:00Z"), &Err(CopyError::Room { left_mb: 268 }));
        assert_eq!(log.trouble(&settings(), opened, at("2026-11-25T05:00:00Z")).unwrap().since, failed);
        let header = None;
        let name = "2026-11-25T053000Z".to_owned();
        let kept = backup::Kept { name, made: at("2026-11-25T05:30:00Z"), header, bytes: 1, persons: true };
        log.note(at("2026-11-25T05:30:00Z"), &Ok((kept, Counts::default())));
        log.note(at("2026-11-25T05:40:00Z"), &Err(CopyError::Stopped));
        assert_eq!(log.trouble(&settings(), opened, at("2026-11-25T06:00:00Z")), None);
    }

    #[test]
    fn more_than_two_days_without_one_are_told_unless_it_was_just_started_or_is_off() {
        let (opened, now) = ("2026-11-01T00:00:00Z", "2026-11-25T12:00:00Z");
        let trouble = |last: Option<&str>, opened: &str, settings: &Backups| {
            log(last).trouble(settings, at(opened), at(now)).map(|trouble| (trouble.what, trouble.since))
        };
        let old = Some("2026-11-23T11:59:59Z");
        let told = Some(("no backup was made for more than two days".to_owned(), at("2026-11-23T11:59:59Z")));
        assert_eq!(trouble(old, opened, &settings()), told);
        assert_eq!(trouble(Some("2026-11-23T12:00:00Z"), opened, &settings()), None);
        assert_eq!(trouble(old, "2026-11-25T11:30:00Z", &settings()), None);
        assert_eq!(trouble(None, "2026-11-25T08:00:00Z", &settings()), None);
        assert_eq!(trouble(None, opened, &settings()).map(|told| told.1), Some(at(opened)));
        assert_eq!(trouble(old, opened, &Backups { off: true, ..settings() }), None);
    }
}
