//! Worker and galley over real TCP on loopback, fault by fault: what `/status` would say, what
//! is printed again as COPY, and that nothing is lost or printed twice silently.

mod print_support;

use dawnslip::clock::{Clock, SetClock, SystemClock};
use dawnslip::model::{Confirms, Printer};
use dawnslip::print::galley::{Fault, Galley, GalleyOptions};
use dawnslip::print::health::{PrinterHealth, PrinterState};
use dawnslip::print::net::{Connecting, Net, TcpNet};
use dawnslip::print::quiet::QuietHours;
use dawnslip::print::trouble::{Trouble, TroubleKind};
use dawnslip::print::worker::{self, WorkerHandle, WorkerOptions};
use jiff::civil::time;
use jiff::tz::TimeZone;
use print_support::{Entry, Spool, State, printer};
use std::sync::Arc;
use std::time::Duration;
use tokio::time::timeout;

/// Far beyond anything that happens; only a hang reaches it.
const PATIENCE: Duration = Duration::from_secs(120);

struct Scene {
    galley: Galley,
    spool: Arc<Spool>,
    worker: WorkerHandle,
}

impl Scene {
    /// Over real TCP on loopback. Nothing is asserted about how long things take.
    async fn tcp(options: GalleyOptions) -> Self {
        let confirms = options.confirms;
        let galley = Galley::start("127.0.0.1:0".parse().unwrap(), options).await.unwrap();
        let address = galley.addr().unwrap().to_string();
        Self::with(galley, Arc::new(TcpNet), printer(&address, confirms))
    }

    /// In memory, for paused time.
    fn memory(options: GalleyOptions) -> Self {
        let confirms = options.confirms;
        let galley = Galley::offline(options).unwrap();
        let net = galley.net();
        Self::with(galley, net, printer("galley", confirms))
    }

    fn with(galley: Galley, net: Arc<dyn Net>, printer: Printer) -> Self {
        let spool = Arc::new(Spool::new());
        let worker = worker::start(printer, spool.clone(), net, Arc::new(SystemClock), WorkerOptions::default());
        Self { galley, spool, worker }
    }

    async fn health(&self, is_so: impl FnMut(&PrinterHealth) -> bool) -> PrinterHealth {
        let mut health = self.worker.health();
        let seen = timeout(PATIENCE, health.wait_for(is_so)).await;
        seen.unwrap_or_else(|_| panic!("{:?}", self.worker.health().borrow())).unwrap().clone()
    }

    async fn told(&self, kind: TroubleKind) -> Trouble {
        let health = self.health(|health| health.trouble.as_ref().is_some_and(|told| told.kind == kind)).await;
        health.trouble.unwrap()
    }

    async fn settled(&self) {
        let settled = timeout(PATIENCE, self.spool.wait_settled()).await;
        settled.unwrap_or_else(|_| panic!("{:?} {:?}", self.worker.health().borrow(), self.spool.entries()));
    }

    async fn in_doubt(&self) {
        let is_uncertain = |entry: &Entry| matches!(entry.state, State::Uncertain(_));
        let doubt = self.spool.wait_until(|entries| entries.values().any(is_uncertain));
        timeout(PATIENCE, doubt).await.unwrap_or_else(|_| panic!("nothing in doubt: {:?}", self.spool.entries()));
    }

    /// One paper without a fault, so that the printer is known.
    async fn warm_up(&self) {
        self.spool.add("first", 30);
        self.settled().await;
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Expect {
    /// Nothing is printed again.
    NoCopy,
    /// What was under way is printed again, as COPY.
    Copy,
}

/// The fault comes before a job of 150 rows.
async fn fault_before(fault: Fault, trouble: TroubleKind, expect: Expect) {
    let scene = Scene::memory(GalleyOptions::default());
    scene.warm_up().await;
    scene.galley.set_fault(fault);
    scene.spool.add("second", 150);
    scene.spool.add("third", 40);
    let told = scene.told(trouble).await;
    assert!(!told.what.is_empty() && !told.why.is_empty() && !told.remedy.is_empty());
    if expect == Expect::Copy {
        scene.in_doubt().await;
    }
    scene.galley.mend();
    scene.settled().await;
    scene.health(|health| health.trouble.is_none()).await;
    scene.spool.check_books(&scene.galley.papers());
    assert_eq!(scene.spool.copies(), usize::from(expect == Expect::Copy), "{fault:?} {:?}", scene.spool.entries());
    assert!(scene.worker.stop(PATIENCE).await);
}

#[tokio::test(start_paused = true)]
async fn every_fault_is_told_and_the_books_balance() {
    use Expect::{Copy, NoCopy};
    use TroubleKind as Told;
    let cases = [
        (Fault::PaperOut { after_rows: 0 }, Told::PaperOut, NoCopy),
        (Fault::PaperOut { after_rows: 80 }, Told::PaperOut, NoCopy),
        (Fault::CoverOpen, Told::CoverOpen, NoCopy),
        (Fault::CutterStuck, Told::Cutter, NoCopy),
        (Fault::TooHot, Told::Overheated, NoCopy),
        (Fault::Unrecoverable, Told::Unrecoverable, NoCopy),
        (Fault::PowerOff, Told::Refused, NoCopy),
        (Fault::Stall, Told::Silent, NoCopy),
        (Fault::Silent, Told::Silent, NoCopy),
        (Fault::Nonsense, Told::Garbage, NoCopy),
        (Fault::CloseAfter { bytes: 5000 }, Told::Broken, Copy),
        (Fault::ResetAfter { bytes: 5000 }, Told::Broken, Copy),
        (Fault::ResetAfter { bytes: 6 }, Told::Broken, NoCopy),
        (Fault::PowerOffAfter { rows: 80 }, Told::Broken, Copy),
        (Fault::NoConfirmation, Told::Silent, Copy),
        (Fault::WrongId, Told::Garbage, Copy),
    ];
    for (fault, told, expect) in cases {
        fault_before(fault, told, expect).await;
    }
}

#[tokio::test]
async fn a_printer_that_stalls_in_the_middle_goes_on_without_a_copy() {
    let scene = Scene::tcp(GalleyOptions { rows_a_second: Some(1000), ..GalleyOptions::default() }).await;
    scene.warm_up().await;
    // Longer than all buffers on the way together.
    scene.spool.add("long", 4000);
    scene.health(|health| matches!(health.state, PrinterState::Sending(_))).await;
    scene.galley.set_fault(Fault::Stall);
    scene.told(TroubleKind::Stalled).await;
    scene.galley.mend();
    scene.settled().await;
    scene.spool.check_books(&scene.galley.papers());
    assert_eq!(scene.spool.copies(), 0);
}

#[tokio::test]
async fn paper_that_ends_in_the_middle_goes_on_in_the_same_paper() {
    let scene = Scene::tcp(GalleyOptions::default()).await;
    scene.galley.set_fault(Fault::PaperOut { after_rows: 500 });
    let job = scene.spool.add("long", 2000);
    scene.told(TroubleKind::PaperOut).await;
    assert_eq!(scene.spool.entries()[&job].state, State::Sending);
    scene.galley.load_paper();
    scene.settled().await;
    let papers = scene.galley.papers();
    assert_eq!((papers.len(), papers[0].rows), (1, 2000 + 30 + 24));
    scene.spool.check_books(&papers);
    let health = scene.health(|health| health.jobs_done == 1).await;
    assert_eq!((health.rows_printed, health.trouble), (2000, None));
}

#[tokio::test]
async fn a_printer_that_is_off_is_refused_and_prints_when_it_is_on_again() {
    let scene = Scene::tcp(GalleyOptions::default()).await;
    scene.warm_up().await;
    scene.galley.set_fault(Fault::PowerOff);
    let job = scene.spool.add("second", 100);
    scene.told(TroubleKind::Refused).await;
    assert_eq!(scene.spool.entries()[&job].state, State::Queued);
    scene.galley.mend();
    scene.settled().await;
    scene.spool.check_books(&scene.galley.papers());
    assert_eq!(scene.spool.copies(), 0);
}

#[tokio::test]
async fn two_clients_at_one_printer_take_turns() {
    let scene = Scene::tcp(GalleyOptions::default()).await;
    scene.warm_up().await;
    let address = scene.galley.addr().unwrap().to_string();
    let other = TcpNet.connect(&address).await.unwrap();
    let job = scene.spool.add("second", 100);
    scene.told(TroubleKind::Silent).await;
    assert_eq!(scene.spool.entries()[&job].state, State::Queued, "not one byte of it has left");
    drop(other);
    scene.settled().await;
    scene.spool.check_books(&scene.galley.papers());
    assert_eq!(scene.spool.copies(), 0);
}

#[tokio::test]
async fn printers_that_confirm_less_are_believed_less() {
    for (confirms, by) in [(Confirms::InlineStatus, "InlineStatus"), (Confirms::Nothing, "Quiet")] {
        let scene = Scene::tcp(GalleyOptions { confirms, ..GalleyOptions::default() }).await;
        let job = scene.spool.add("slip", 120);
        scene.settled().await;
        let papers = scene.galley.wait_for(1).await;
        assert_eq!((papers.len(), &papers[0].digest), (1, &scene.spool.entries()[&job].job.digest));
        assert_eq!(format!("{:?}", scene.spool.entries()[&job].state), format!("OnPaper({by})"));
    }
}

#[tokio::test]
async fn half_a_paper_is_cut_off_before_the_next_one() {
    let scene = Scene::tcp(GalleyOptions::default()).await;
    scene.warm_up().await;
    // It breaks in the middle of a picture: the head still waits for the rest of it, and
    // swallows every question until it is complete.
    scene.galley.set_fault(Fault::ResetAfter { bytes: 7000 });
    scene.spool.add("torn", 300);
    scene.settled().await;
    let papers = scene.galley.papers();
    assert_eq!(papers.len(), 3, "{papers:?}");
    assert!(papers[1].text.starts_with("torn") && papers[2].text.starts_with("COPY"));
    scene.spool.check_books(&papers);
}

/// The fault comes while a long paper is half printed; it is told, and when it is mended the same
/// paper goes on: no copy.
async fn fault_amid(fault: Fault, trouble: TroubleKind) {
    let scene = Scene::memory(GalleyOptions { rows_a_second: Some(640), ..GalleyOptions::default() });
    scene.warm_up().await;
    let job = scene.spool.add("long", 1500);
    scene.health(|health| matches!(health.state, PrinterState::Sending(_))).await;
    tokio::time::sleep(Duration::from_millis(700)).await;
    scene.galley.set_fault(fault);
    scene.told(trouble).await;
    assert_eq!((scene.galley.papers().len(), scene.spool.copies()), (1, 0), "{fault:?} comes amid the second");
    scene.galley.mend();
    scene.settled().await;
    scene.health(|health| health.trouble.is_none() && health.jobs_done == 2).await;
    let papers = scene.galley.papers();
    assert_eq!((papers.len(), papers[1].rows, scene.spool.copies()), (2, 1500 + 30 + 24, 0), "{fault:?}");
    assert!(matches!(scene.spool.entries()[&job].state, State::OnPaper(_)));
    scene.spool.check_books(&papers);
}

#[tokio::test(start_paused = true)]
async fn a_fault_amid_a_paper_is_told_and_the_paper_goes_on() {
    for (fault, told) in [
        (Fault::PaperOut { after_rows: 100 }, TroubleKind::PaperOut),
        (Fault::CoverOpen, TroubleKind::CoverOpen),
        (Fault::CutterStuck, TroubleKind::Cutter),
        (Fault::TooHot, TroubleKind::Overheated),
        (Fault::Unrecoverable, TroubleKind::Unrecoverable),
    ] {
        fault_amid(fault, told).await;
    }
}

#[tokio::test(start_paused = true)]
async fn a_roll_that_ends_with_the_paper_is_told_and_the_paper_counts() {
    let scene = Scene::memory(GalleyOptions { rows_a_second: Some(640), ..GalleyOptions::default() });
    scene.warm_up().await;
    // The paper that is measured here: a line, a picture, the way to the knife.
    scene.galley.set_fault(Fault::PaperOut { after_rows: 30 + 200 + 24 });
    let last = scene.spool.add("last", 200);
    scene.told(TroubleKind::PaperOut).await;
    let next = scene.spool.add("next", 50);
    tokio::time::sleep(Duration::from_secs(600)).await;
    assert_eq!(scene.spool.entries()[&next].state, State::Queued, "not one byte of it has left");
    scene.galley.load_paper();
    scene.settled().await;
    scene.spool.check_books(&scene.galley.papers());
    assert!(matches!(scene.spool.entries()[&last].state, State::OnPaper(_)));
    assert_eq!((scene.spool.copies(), scene.spool.rolls()), (0, 1));
}

#[tokio::test(start_paused = true)]
async fn a_roll_near_its_end_prints_on_and_is_told_until_there_is_a_new_one() {
    let scene = Scene::memory(GalleyOptions::default());
    scene.warm_up().await;
    scene.galley.set_fault(Fault::NearEnd);
    scene.spool.add("second", 100);
    scene.settled().await;
    let health = scene.health(|health| health.near_end && health.jobs_done == 2).await;
    assert_eq!(health.trouble, None, "a roll near its end is no trouble yet");
    scene.galley.load_paper();
    scene.spool.add("third", 100);
    scene.settled().await;
    scene.health(|health| !health.near_end && health.jobs_done == 3).await;
    assert_eq!(scene.spool.rolls(), 1, "a new roll, once");
    scene.spool.check_books(&scene.galley.papers());
}

/// Nobody listens; keeps the instants at which somebody tried.
#[derive(Default)]
struct ClosedDoor(std::sync::Mutex<Vec<tokio::time::Instant>>);

impl Net for ClosedDoor {
    fn connect<'a>(&'a self, _address: &'a str) -> Connecting<'a> {
        self.0.lock().unwrap().push(tokio::time::Instant::now());
        Box::pin(async { Err(std::io::ErrorKind::ConnectionRefused.into()) })
    }
}

#[tokio::test(start_paused = true)]
async fn a_printer_that_refuses_is_tried_again_ever_more_seldom() {
    let door = Arc::new(ClosedDoor::default());
    let spool = Arc::new(Spool::new());
    let job = spool.add("slip", 10);
    let printer = printer("off:9100", Confirms::ProcessId);
    let worker = worker::start(printer, spool.clone(), door.clone(), Arc::new(SystemClock), WorkerOptions::default());
    tokio::time::sleep(Duration::from_secs(150)).await;
    let tries = door.0.lock().unwrap().clone();
    let pauses: Vec<u64> = tries.windows(2).map(|pair| (pair[1] - pair[0]).as_millis() as u64).collect();
    let seconds: Vec<u64> = pauses.iter().map(|millis| (millis + 500) / 1000).collect();
    assert_eq!(seconds, [1, 2, 4, 8, 16, 30, 30, 30], "{pauses:?} ms");
    assert_eq!(spool.entries()[&job].state, State::Queued);
    assert!(worker.stop(PATIENCE).await);
}

/// Nothing ever comes back from it.
struct DeepSea;

impl Net for DeepSea {
    fn connect<'a>(&'a self, _address: &'a str) -> Connecting<'a> {
        Box::pin(std::future::pending())
    }
}

#[tokio::test(start_paused = true)]
async fn an_unreachable_printer_is_known_before_the_first_job_and_since_when() {
    let start = "2026-11-25T06:00:00Z".parse().unwrap();
    let clock = Arc::new(SetClock::new(start));
    let spool = Arc::new(Spool::new());
    let worker = worker::start(
        printer("nowhere:9100", Confirms::ProcessId),
        spool.clone(),
        Arc::new(DeepSea),
        clock.clone(),
        WorkerOptions::default(),
    );
    let mut health = worker.health();
    health.wait_for(|health| health.trouble.is_some()).await.unwrap();
    clock.set("2026-11-25T07:00:00Z".parse().unwrap());
    let job = spool.add("slip", 10);
    tokio::time::sleep(Duration::from_secs(600)).await;
    let told = health.borrow().trouble.clone().unwrap();
    assert_eq!((told.kind, told.since), (TroubleKind::Unreachable, start));
    assert_eq!(spool.entries()[&job].state, State::Queued);
    assert!(worker.stop(PATIENCE).await);
}

#[tokio::test(start_paused = true)]
async fn in_quiet_hours_only_stop_notes_print() {
    let clock = Arc::new(SetClock::new("2026-11-25T23:00:00Z".parse().unwrap()));
    let quiet = QuietHours { zone: TimeZone::UTC, hours: Some((time(20, 0, 0, 0), time(6, 0, 0, 0))) };
    let galley = Galley::offline(GalleyOptions::default()).unwrap();
    let spool = Arc::new(Spool::new());
    let slip = spool.add("slip", 10);
    let note = spool.add("stop note", 10);
    let options = WorkerOptions { quiet, ..WorkerOptions::default() };
    let worker =
        worker::start(printer("galley", Confirms::ProcessId), spool.clone(), galley.net(), clock.clone(), options);
    spool.wait_until(|entries| matches!(entries[&note].state, State::OnPaper(_))).await;
    tokio::time::sleep(Duration::from_secs(3600)).await;
    assert_eq!(spool.entries()[&slip].state, State::Queued);
    assert_eq!(worker.health().borrow().state, PrinterState::Quiet);
    clock.set("2026-11-26T06:00:00Z".parse().unwrap());
    assert!(clock.now() > jiff::Timestamp::UNIX_EPOCH);
    timeout(Duration::from_secs(8 * 3600), spool.wait_settled()).await.unwrap();
    spool.check_books(&galley.papers());
}

#[tokio::test(start_paused = true)]
async fn a_stop_waits_for_the_paper_under_way_and_no_other() {
    for (grace, in_time) in [(Duration::from_secs(600), true), (Duration::from_secs(1), false)] {
        let options = GalleyOptions { rows_a_second: Some(50), ..GalleyOptions::default() };
        let galley = Galley::offline(options).unwrap();
        let spool = Arc::new(Spool::new());
        let (first, second) = (spool.add("first", 300), spool.add("second", 300));
        let worker = worker::start(
            printer("galley", Confirms::ProcessId),
            spool.clone(),
            galley.net(),
            Arc::new(SystemClock),
            WorkerOptions::default(),
        );
        spool.wait_until(|entries| entries[&first].state == State::Sending).await;
        assert_eq!(worker.stop(grace).await, in_time);
        let entries = spool.entries();
        assert_eq!(matches!(entries[&first].state, State::OnPaper(_)), in_time);
        assert_eq!(matches!(entries[&first].state, State::Uncertain(_)), !in_time);
        assert_eq!(entries[&second].state, State::Queued);
    }
}

#[tokio::test(start_paused = true)]
async fn a_late_answer_cancels_the_copy() {
    let scene = Scene::memory(GalleyOptions::default());
    scene.warm_up().await;
    // The paper ends in the picture, everything is in the printer's buffer, the connection breaks ...
    scene.galley.set_fault(Fault::PaperOut { after_rows: 60 });
    let job = scene.spool.add("slip", 100);
    scene.told(TroubleKind::PaperOut).await;
    scene.galley.set_fault(Fault::CloseAfter { bytes: 0 });
    scene.in_doubt().await;
    // ... and when there is paper again, the printer goes on and says so on the new connection.
    scene.told(TroubleKind::PaperOut).await;
    scene.galley.load_paper();
    scene.settled().await;
    assert!(matches!(scene.spool.entries()[&job].state, State::OnPaper(_)));
    assert_eq!(scene.spool.copies(), 1, "a copy was queued, and dropped");
    let papers = scene.galley.papers();
    assert_eq!(papers.iter().filter(|paper| !paper.is_blank).count(), 2);
    scene.spool.check_books(&papers);
}
