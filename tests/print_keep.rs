//! A connection that is kept between papers: how many there are, when it ends, and that its ending is no fault.

mod print_support;

use dawnslip::clock::SystemClock;
use dawnslip::model::{Confirms, Printer};
use dawnslip::print::galley::{Fault, Galley, GalleyOptions};
use dawnslip::print::net::{Connecting, Net};
use dawnslip::print::worker::{self, WorkerHandle, WorkerOptions};
use print_support::{Spool, State, printer};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::time::{sleep, timeout};

const PATIENCE: Duration = Duration::from_secs(3600);

/// Counts the connections that the worker asks for.
struct Counting {
    inner: Arc<dyn Net>,
    made: AtomicUsize,
}

impl Net for Counting {
    fn connect<'a>(&'a self, address: &'a str) -> Connecting<'a> {
        self.made.fetch_add(1, Ordering::SeqCst);
        self.inner.connect(address)
    }
}

struct Scene {
    galley: Galley,
    net: Arc<Counting>,
    spool: Arc<Spool>,
    worker: WorkerHandle,
    /// Every trouble that was ever told.
    troubles: Arc<Mutex<Vec<String>>>,
}

impl Scene {
    fn new(keep_connection: bool, confirms: Confirms) -> Self {
        let galley = Galley::offline(GalleyOptions { confirms, ..GalleyOptions::default() }).unwrap();
        let net = Arc::new(Counting { inner: galley.net(), made: AtomicUsize::new(0) });
        let spool = Arc::new(Spool::new());
        // There from the start, so that no look comes before it.
        spool.add("first", 30);
        let printer = Printer { keep_connection, ..printer("galley", confirms) };
        let worker =
            worker::start(printer, spool.clone(), net.clone(), Arc::new(SystemClock), WorkerOptions::default());
        let troubles = Arc::new(Mutex::new(Vec::new()));
        let (mut health, heard) = (worker.health(), troubles.clone());
        tokio::spawn(async move {
            while health.changed().await.is_ok() {
                let told = health.borrow_and_update().trouble.as_ref().map(|trouble| trouble.kind.word().to_owned());
                heard.lock().unwrap().extend(told);
            }
        });
        Self { galley, net, spool, worker, troubles }
    }

    async fn print(&self, title: &str) {
        self.spool.add(title, 60);
        self.settled().await;
    }

    async fn settled(&self) {
        let settled = timeout(PATIENCE, self.spool.wait_settled()).await;
        settled.unwrap_or_else(|_| panic!("{:?} {:?}", self.worker.health().borrow(), self.spool.entries()));
    }

    fn connections(&self) -> usize {
        self.net.made.load(Ordering::SeqCst)
    }

    /// All is printed once, nothing was the matter at any time.
    async fn ends_well(self, papers: usize) {
        self.spool.check_books(&self.galley.papers());
        assert_eq!((self.galley.papers().len(), self.spool.copies()), (papers, 0));
        assert_eq!(*self.troubles.lock().unwrap(), Vec::<String>::new());
        assert!(self.worker.stop(PATIENCE).await);
    }
}

#[tokio::test(start_paused = true)]
async fn ten_papers_take_one_connection_where_it_is_kept_and_ten_where_not() {
    for (keep, expected) in [(true, 1), (false, 10)] {
        let scene = Scene::new(keep, Confirms::ProcessId);
        scene.settled().await;
        for _ in 0..9 {
            sleep(Duration::from_secs(7)).await;
            scene.print("slip").await;
        }
        assert_eq!(scene.connections(), expected, "kept: {keep}");
        scene.ends_well(10).await;
    }
}

#[tokio::test(start_paused = true)]
async fn printers_that_confirm_less_can_keep_theirs_too() {
    for confirms in [Confirms::InlineStatus, Confirms::Nothing] {
        let scene = Scene::new(true, confirms);
        scene.settled().await;
        for _ in 0..4 {
            scene.print("slip").await;
        }
        assert_eq!((scene.connections(), scene.galley.papers().len()), (1, 5), "{confirms:?}");
        assert_eq!(*scene.troubles.lock().unwrap(), Vec::<String>::new());
    }
}

#[tokio::test(start_paused = true)]
async fn a_network_card_that_closes_an_idle_connection_is_no_fault() {
    // Closed while nothing happens, and only when the next question comes: both at once and in a reset.
    for fault in [
        Fault::CloseAfter { bytes: 0 },
        Fault::CloseAfter { bytes: 1 },
        Fault::CloseAfter { bytes: 3 },
        Fault::ResetAfter { bytes: 2 },
    ] {
        let scene = Scene::new(true, Confirms::ProcessId);
        scene.settled().await;
        scene.galley.set_fault(fault);
        sleep(Duration::from_secs(20)).await;
        scene.print("second").await;
        assert_eq!(scene.connections(), 2, "{fault:?}");
        scene.ends_well(2).await;
    }
}

#[tokio::test(start_paused = true)]
async fn after_some_idle_time_others_can_print() {
    let scene = Scene::new(true, Confirms::ProcessId);
    scene.settled().await;
    let mut other = scene.galley.net().connect("galley").await.unwrap();
    other.write_all(b"other\n\x1DVA\0").await.unwrap();
    sleep(Duration::from_secs(60)).await;
    assert_eq!(scene.galley.papers().len(), 1, "ours is still open");
    timeout(Duration::from_secs(100), scene.galley.wait_for(2)).await.unwrap();
    drop(other);
    scene.print("third").await;
    assert_eq!(*scene.troubles.lock().unwrap(), Vec::<String>::new());
}

#[tokio::test(start_paused = true)]
async fn what_the_printer_tells_between_two_papers_is_heard() {
    let scene = Scene::new(true, Confirms::ProcessId);
    scene.settled().await;
    sleep(Duration::from_secs(10)).await;
    scene.galley.set_fault(Fault::CoverOpen);
    let mut health = scene.worker.health();
    let told = health.wait_for(|health| health.trouble.is_some());
    timeout(Duration::from_secs(5), told).await.expect("long before the next look").unwrap();
    scene.galley.mend();
    scene.print("second").await;
    scene.spool.check_books(&scene.galley.papers());
}

#[tokio::test(start_paused = true)]
async fn after_a_paper_in_doubt_the_connection_is_a_new_one() {
    let scene = Scene::new(true, Confirms::ProcessId);
    scene.settled().await;
    scene.galley.set_fault(Fault::NoConfirmation);
    let job = scene.spool.add("second", 60);
    let doubt = scene.spool.wait_until(|entries| matches!(entries[&job].state, State::Uncertain(_)));
    timeout(PATIENCE, doubt).await.unwrap();
    scene.galley.mend();
    scene.settled().await;
    assert_eq!((scene.connections(), scene.spool.copies()), (2, 1));
    scene.spool.check_books(&scene.galley.papers());
}

#[tokio::test(start_paused = true)]
async fn a_worker_whose_handle_is_lost_ends() {
    let scene = Scene::new(true, Confirms::ProcessId);
    scene.settled().await;
    let mut health = scene.worker.health();
    drop(scene);
    timeout(PATIENCE, async { while health.changed().await.is_ok() {} }).await.expect("it goes on for ever");
}
