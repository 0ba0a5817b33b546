//! The printers' workers: one a printer, started anew where a reload has changed one.

use super::House;
use super::spool::Spool;
use crate::model::{JobState, Printer};
use crate::print::net::Net;
use crate::print::quiet::QuietHours;
use crate::print::worker::{self, WorkerHandle, WorkerOptions};
use std::sync::{Arc, PoisonError};
use std::time::Duration;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

/// All workers, and the task that keeps them in step with the configuration.
pub struct Printers {
    stop: oneshot::Sender<Duration>,
    task: JoinHandle<bool>,
}

struct Keeper {
    house: Arc<House>,
    spool: Arc<Spool>,
    net: Arc<dyn Net>,
    running: Vec<(Printer, QuietHours, WorkerHandle)>,
}

impl Printers {
    /// Starts a worker for each printer of the configuration in force.
    pub fn start(house: Arc<House>, spool: Arc<Spool>, net: Arc<dyn Net>) -> Self {
        let (stop, mut stopped) = oneshot::channel::<Duration>();
        let mut keeper = Keeper { house, spool, net, running: Vec::new() };
        keeper.start_missing();
        let task = tokio::spawn(async move {
            loop {
                let reloaded = keeper.house.reloaded.clone();
                tokio::select! {
                    grace = &mut stopped => return keeper.stop_all(grace.unwrap_or_default()).await,
                    () = reloaded.notified() => keeper.follow().await,
                }
            }
        });
        Self { stop, task }
    }

    /// Stops each after its current job, all within `grace`; true if all ended in time.
    pub async fn stop(self, grace: Duration) -> bool {
        let _ = self.stop.send(grace);
        self.task.await.unwrap_or(false)
    }
}

impl Keeper {
    /// Stops the workers of printers that have changed or gone, and starts what is missing.
    async fn follow(&mut self) {
        let workshop = self.house.shared.workshop();
        let quiet = quiet_hours(&workshop);
        let same = |(printer, hours, _): &(Printer, QuietHours, WorkerHandle)| {
            *hours == quiet && workshop.printers.contains(printer)
        };
        let (keep, gone): (Vec<_>, Vec<_>) = std::mem::take(&mut self.running).into_iter().partition(same);
        self.running = keep;
        for (printer, _, worker) in gone {
            self.house.healths.write().unwrap_or_else(PoisonError::into_inner).remove(&printer.name);
            // The paper at hand may finish; half a paper would only be printed again.
            worker.stop(Duration::from_secs(60)).await;
        }
        self.start_missing();
    }

    fn start_missing(&mut self) {
        let workshop = self.house.shared.workshop();
        let quiet = quiet_hours(&workshop);
        for printer in &workshop.printers {
            if self.running.iter().any(|(running, ..)| running.name == printer.name) {
                continue;
            }
            let in_doubt = {
                let durable = self.house.shared.durable();
                let doubtful =
                    durable.state.jobs.values().filter(|job| matches!(job.state, JobState::Uncertain { .. }));
                doubtful.map(|job| job.id).collect()
            };
            let options = WorkerOptions { quiet: quiet.clone(), times: None, in_doubt };
            let worker = worker::start(
                printer.clone(),
                Arc::clone(&self.spool),
                Arc::clone(&self.net),
                Arc::clone(&self.house.clock),
                options,
            );
            let health = worker.health();
            self.house.healths.write().unwrap_or_else(PoisonError::into_inner).insert(printer.name.clone(), health);
            self.running.push((printer.clone(), quiet.clone(), worker));
        }
    }

    async fn stop_all(self, grace: Duration) -> bool {
        let stops: Vec<_> = self.running.into_iter().map(|(_, _, worker)| tokio::spawn(worker.stop(grace))).collect();
        let mut in_time = true;
        for stop in stops {
            in_time &= stop.await.unwrap_or(false);
        }
        in_time
    }
}

fn quiet_hours(workshop: &crate::model::Workshop) -> QuietHours {
    QuietHours { zone: workshop.zone.clone(), hours: workshop.day.quiet }
}
