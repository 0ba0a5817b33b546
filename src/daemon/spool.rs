//! What the printers' workers ask for: the next job as bytes, leave to send it, and a place
//! to report to. The book decides; this renders and passes on.

use super::core::CoreHandle;
use super::paper_notices::PaperNotices;
use super::shared::Shared;
use crate::book::{Answer, Busy, BytesLeft, Command};
use crate::clock::Clock;
use crate::model::*;
use crate::print::health::PrinterHealth;
use crate::print::worker::{NextJob, Spooler, Which};
use crate::slip::{Paper, Typesetter, Wanted};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::time::Duration;
use tokio::sync::{Notify, watch};

/// Health of every printer, as its worker last told.
pub type Healths = Arc<RwLock<BTreeMap<PrinterName, watch::Receiver<PrinterHealth>>>>;

/// The spooler of all printers.
pub struct Spool {
    shared: Arc<Shared>,
    core: CoreHandle,
    clock: Arc<dyn Clock>,
    /// Sets the letters; one paper at a time.
    pub(super) setter: Arc<Mutex<Typesetter>>,
    healths: Healths,
    /// Woken when the queue of jobs has changed.
    changed: Arc<Notify>,
    notices: Arc<PaperNotices>,
}

/// How long a job that could not be rendered is left alone before it is tried again.
const RETRY: Duration = Duration::from_secs(30);
/// A look at the queue even without being woken: a printer's health may have changed the route.
const LOOK_AGAIN: Duration = Duration::from_secs(2);

impl Spool {
    /// Wires it up.
    pub fn new(
        shared: Arc<Shared>,
        core: CoreHandle,
        clock: Arc<dyn Clock>,
        setter: Arc<Mutex<Typesetter>>,
        healths: Healths,
        changed: Arc<Notify>,
        notices: Arc<PaperNotices>,
    ) -> Self {
        Self { shared, core, clock, setter, healths, changed, notices }
    }

    /// The first queued job that is routed to this printer at present.
    fn first_for(&self, printer: &PrinterName, which: Which) -> Option<Job> {
        let workshop = self.shared.workshop();
        let now = self.clock.now();
        let healths = self.healths.read().unwrap_or_else(PoisonError::into_inner);
        let health = |name: &PrinterName| healths.get(name).map(|h| h.borrow().clone());
        let durable = self.shared.durable();
        durable
            .state
            .next_job(|job| {
                if which == Which::StopNotes && job.kind != PaperKind::StopNote {
                    return false;
                }
                let Some(own) = durable.state.printer_of(&workshop, job.kind, &job.subject) else { return false };
                crate::print::routes::choose(own, &workshop.printers, health, now) == printer
            })
            .cloned()
    }

    /// Builds a job's paper from the durable state.
    pub fn build(&self, wanted: &Wanted<'_>) -> Result<Paper, crate::slip::SlipError> {
        let workshop = self.shared.workshop();
        // The setter first: the durable state is not held while waiting for another paper.
        let mut setter = self.setter.lock().unwrap_or_else(PoisonError::into_inner);
        let durable = self.shared.durable();
        crate::slip::paper(wanted, &durable.state, &durable.people, &workshop, &mut setter, self.clock.now())
    }

    fn render(&self, job: &Job, printer: &PrinterName) -> Result<Option<NextJob>, crate::slip::SlipError> {
        let workshop = self.shared.workshop();
        let profile = workshop.printers.iter().find(|p| &p.name == printer);
        // A reload has just taken the printer out: its worker will be told in a moment.
        let Some(profile) = profile else { return Ok(None) };
        let paper = self.build(&Wanted::of(job))?;
        let title = self.shared.durable().state.paper_name(job);
        let mut setter = self.setter.lock().unwrap_or_else(PoisonError::into_inner);
        let page = crate::slip::layout::layout(&paper.document, profile.into(), &mut setter);
        let warnings = paper.warnings.iter().cloned().chain(page.warning());
        for warning in warnings {
            tracing::warn!(job = %job.id, warning = %warning, "paper");
            self.notices.paper(&title, &warning);
        }
        // The driver asks for the confirmation itself, behind the job.
        let bytes = crate::slip::bytes::bytes(&page, profile, None).map_err(crate::slip::SlipError::from)?;
        let digest = data_encoding::HEXLOWER.encode(&Sha256::digest(&bytes));
        let rows = page.dots.height();
        Ok(Some(NextJob { job: job.id, title, bytes, digest, rows }))
    }

    async fn tell(&self, command: impl Fn() -> Command) -> Option<Answer> {
        loop {
            match self.core.ask(command()).await {
                Ok(answer) => return Some(answer),
                Err(Busy::Stopping) => return None,
                Err(Busy::Behind | Busy::NoRoom) => tokio::time::sleep(Duration::from_secs(1)).await,
            }
        }
    }
}

impl Spooler for Spool {
    async fn next(&self, printer: &PrinterName, which: Which) -> NextJob {
        loop {
            let woken = self.changed.notified();
            if let Some(job) = self.first_for(printer, which) {
                match tokio::task::block_in_place(|| self.render(&job, printer)) {
                    Ok(Some(next)) => return next,
                    Ok(None) => tokio::time::sleep(LOOK_AGAIN).await,
                    Err(error) => {
                        tracing::error!(job = %job.id, error = %error, "a paper could not be built");
                        tokio::time::sleep(RETRY).await;
                        continue;
                    }
                }
            }
            // Which of the two came first does not matter: the queue is looked at again.
            let _ = tokio::time::timeout(LOOK_AGAIN, woken).await;
        }
    }

    async fn may_send(&self, next: &NextJob, printer: &PrinterName) -> bool {
        let (job, digest, rows) = (next.job, next.digest.clone(), Some(next.rows));
        let command = || Command::Send { job, printer: printer.clone(), digest: digest.clone(), rows };
        matches!(self.tell(command).await, Some(Answer::Go))
    }

    async fn printed(&self, job: JobId, by: Confirmation) {
        self.tell(|| Command::Printed { job, by }).await;
    }

    async fn roll_loaded(&self, printer: &PrinterName) {
        self.tell(|| Command::RollLoaded(printer.clone())).await;
    }

    async fn not_printed(&self, job: JobId, why: String, left: BytesLeft) {
        self.tell(|| Command::NotPrinted { job, why: why.clone(), left }).await;
    }
}
