//! The program's lives: it dies, with or without the machine's power; it ends cleanly; it starts
//! from what the disk holds.

use super::careless::Careless;
use super::mistakes::Mistake;
use super::printer::Worker;
use super::story::{Checked, Wrong, wrong};
use super::world::{Asker, Counts, World};
use dawnslip::book::{Command, State};
use dawnslip::daemon::fold;
use dawnslip::ledger::{Disk, Installation, InstallationId, Ledger, LedgerError, Opened, SimDisk, Trouble};
use dawnslip::model::JobState;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

/// Events of a world before it calms down; of one in ten it is the third figure.
const EVENTS: (u64, u64, u64) = (80, 350, 900);
/// Segments are short, so that there are several.
const SEGMENT_BYTES: u64 = 60_000;

/// A world that went wrong, told.
pub struct Failure {
    pub what: String,
    pub story: String,
}

/// Lives one world from its seed to its rest.
pub fn live(seed: u64, mistake: Option<Mistake>, each_time: bool) -> Result<Counts, Failure> {
    let mut world = World::new(seed, mistake);
    world.each_time = each_time;
    // The program must not panic, whatever happens; the story is wanted then, too.
    let lived = catch_unwind(AssertUnwindSafe(|| world.run())).unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<String>().cloned();
        let text = text.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()));
        wrong(format!("it panicked: {}", text.unwrap_or_default()))
    });
    match lived {
        Ok(()) => Ok(Counts { worlds: 1, scraps: world.head.scraps as u64, ..world.counts }),
        Err(Wrong { order, what }) => {
            let about = order.as_ref().map_or(String::new(), |order| format!("{order}: "));
            Err(Failure { what: format!("{about}{what}"), story: world.story.end(order.as_ref()) })
        }
    }
}

impl World {
    fn run(&mut self) -> Checked {
        let events = if self.dice.one_in(10) { EVENTS.2 } else { self.dice.between(EVENTS.0, EVENTS.1) };
        self.start()?;
        let mut packing_started = None;
        loop {
            let mut worker = Worker::new(self);
            let life = self.life;
            while self.life == life {
                worker.work(self)?;
                if self.wants_stop && !self.calm && self.life == life {
                    self.stop()?;
                }
                if self.counts.events >= events && !self.calm {
                    self.calm_down();
                }
                if !self.calm || !self.is_at_rest() {
                    continue;
                }
                let state = &self.durable.state;
                let since = Some((state.date(self.now), state.last_job));
                if packing_started == since {
                    self.look_over()?;
                    self.look_at_the_end()?;
                    self.stop()?;
                    return self.look_back();
                }
                // What waited for packing to start is printed now; after that, as on the next day, more may have
                // come to it: what is planned together meanwhile.
                packing_started = since;
                self.tick()?;
                self.submit(Command::Person(dawnslip::book::Action::StartPacking), Asker::Nobody)?;
                self.commit()?;
            }
        }
    }

    pub fn open(&self, disk: &SimDisk) -> Result<(Ledger, Opened), LedgerError> {
        let installation = Installation { id: InstallationId([3; 16]), key: [4; 32] };
        let disk: Arc<dyn Disk> = match self.mistake {
            None => Arc::new(disk.clone()),
            mistake => Arc::new(Careless { below: disk.clone(), mistake }),
        };
        let (mut ledger, opened) = Ledger::open_with(disk, self.now, || Ok(installation))?;
        ledger.set_segment_bytes(SEGMENT_BYTES);
        Ok((ledger, opened))
    }

    /// The process ends here, in the middle of whatever it did; what was written and not synced
    /// is kept, lost or torn if the power goes, too.
    pub fn die(&mut self, why: &str, power: bool) -> Checked {
        self.counts.crashes += 1;
        self.tell(&[], format!("the program ends: {why}"));
        // A group that waited to be written was not even begun.
        self.end_life();
        if power || self.dice.one_in(2) {
            let seed = self.dice.seed();
            self.disk.crash(seed);
        } else {
            self.disk.kill();
        }
        self.stay_down();
        self.start()
    }

    fn end_life(&mut self) {
        self.life += 1;
        self.ledger = None;
        self.waiting.clear();
        self.to_plan.clear();
        self.planned.clear();
        self.to_read.clear();
        self.told.clear();
        self.wants_stop = false;
        self.full = false;
        self.head.disconnect();
    }

    fn stay_down(&mut self) {
        let seconds = if self.dice.one_in(4) { self.dice.between(60, 40_000) } else { self.dice.between(1, 60) };
        self.pass(seconds * 1000);
        self.head.work(1_000);
    }

    /// A clean stop and the next start.
    fn stop(&mut self) -> Checked {
        self.wants_stop = false;
        let life = self.life;
        self.commit()?;
        if self.life != life {
            return Ok(());
        }
        let Some(ledger) = self.ledger.take() else { return Ok(()) };
        let closed = ledger.close(self.now);
        self.tell(&[], format!("a clean stop: {closed:?}"));
        self.counts.clean_stops += 1;
        self.end_life();
        self.disk.kill();
        self.stay_down();
        self.start()
    }

    /// Starts from the disk; again where it fails at once. As `daemon::start` does it.
    fn start(&mut self) -> Checked {
        for _ in 0..20 {
            if !self.calm && self.dice.one_in(6) {
                let cut_before = Some(self.disk.operations() + self.dice.roll(30));
                self.disk.set_trouble(Trouble { cut_before, ..Trouble::default() });
            } else {
                self.disk.set_trouble(Trouble::default());
            }
            match self.open(&self.disk) {
                Ok((ledger, opened)) => return self.begin(ledger, &opened),
                Err(LedgerError::Disk { .. }) => {
                    self.tell(&[], "the power goes while the data are opened");
                    let seed = self.dice.seed();
                    self.disk.crash(seed);
                    self.stay_down();
                }
                Err(error) => return wrong(format!("the data cannot be opened: {error}")),
            }
        }
        wrong("it never started")
    }

    fn begin(&mut self, ledger: Ledger, opened: &Opened) -> Checked {
        let found = match fold(opened) {
            Ok(found) => found,
            Err(error) => return wrong(format!("what was opened cannot be folded: {error}")),
        };
        self.compare(found)?;
        let cut = opened.cut_tail.as_ref().map_or("", |_| ", a group that was being written is cut off");
        self.tell(&[], format!("the program starts at fact {}{cut}", opened.last_seq));
        if let Some(notice) = opened.notices.first() {
            return wrong(format!("though nothing was damaged: {notice}"));
        }
        let state = &mut self.durable.state;
        match self.mistake {
            Some(Mistake::ForgetsTheList) => state.last_list = None,
            Some(Mistake::ForgetsDoubtAfterCrash) => forget_doubts(state),
            _ => {}
        }
        self.ahead = self.durable.state.clone();
        self.ledger = Some(ledger);
        let life = self.life;
        let started = Command::Started { last_alive: opened.last_alive, clean: opened.clean };
        self.submit(started, Asker::Nobody)?;
        for command in 0..2 {
            if self.life != life {
                return Ok(());
            }
            if command == 0 { self.adopt()? } else { self.tick()? }
        }
        if self.life == life { self.commit() } else { Ok(()) }
    }

    /// Reads a copy of the disk back, snapshot and journal, while the program runs.
    pub fn read_back(&mut self) -> Checked {
        if self.ledger.is_none() {
            return Ok(());
        }
        let copy = self.disk.fork();
        let (_, opened) = match self.open(&copy) {
            Ok(opened) => opened,
            Err(error) => return wrong(format!("a copy of the data cannot be opened: {error}")),
        };
        match fold(&opened) {
            Ok(found) => self.must_be(&found),
            Err(error) => wrong(format!("a copy of the data cannot be folded: {error}")),
        }
    }
}

/// What was being sent stands in the queue, as if it had never left it.
fn forget_doubts(state: &mut State) {
    for job in state.jobs.values_mut().filter(|job| matches!(job.state, JobState::Sending { .. })) {
        job.state = JobState::Queued;
        state.queue.insert((job.rank, job.id));
    }
}
