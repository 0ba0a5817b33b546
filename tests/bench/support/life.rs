//! A workshop's life of many years in a few minutes: the whole daemon in this process on a real
//! disk, only the clock is set by hand and the printers are none. Orders come in, are planned,
//! printed, packed, handed over and archived, day by day; at milestones everything is measured.

use super::{measure, received};
use dawnslip::book::{Action, Answer, Command, Received, Stage};
use dawnslip::clock::{Clock, SetClock};
use dawnslip::daemon::{House, Options, Place, Running, start, upkeep};
use dawnslip::model::{Confirmation, JobId, OrderKey, ParcelId, PrinterName};
use dawnslip::print::net::{Connecting, Net};
use jiff::{SignedDuration, Timestamp};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Orders of one day. Closed ones stay in the state for 14 days: some 4 000 orders are always in it.
pub const PER_DAY: usize = 250;
/// Orders that come within one moment.
const WAVE: usize = 50;
/// Between two waves.
const BETWEEN: SignedDuration = SignedDuration::from_mins(30);
/// The working day begins at this hour (UTC).
const MORNING: SignedDuration = SignedDuration::from_hours(8);
pub const DAY: SignedDuration = SignedDuration::from_hours(24);
const ANY_PORT: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(Ipv4Addr::LOCALHOST), 0);

/// No printer is reached: papers are confirmed by hand.
pub struct NoNet;

impl Net for NoNet {
    fn connect<'a>(&'a self, _: &'a str) -> Connecting<'a> {
        Box::pin(async { Err(std::io::ErrorKind::ConnectionRefused.into()) })
    }
}

/// Orders as the sample's shops would send them, as many as are wanted.
pub struct Invention {
    templates: Vec<Received>,
    made: usize,
}

impl Invention {
    pub fn new(place: &Place) -> Self {
        let workshop = place.load().unwrap_or_else(|error| panic!("the sample: {error}"));
        let table = place.sources(&workshop, [0; 32]).unwrap_or_else(|errors| panic!("the sources: {errors:?}"));
        let messages = super::ordinary(200, Timestamp::now());
        let shop: Vec<_> = messages.iter().filter(|message| message.source.as_str() == "shop").collect();
        Self { templates: shop.into_iter().map(|message| received(&table, message)).collect(), made: 0 }
    }
    /// The next order, with its key.
    pub fn next(&mut self) -> (OrderKey, Received) {
        self.made += 1;
        let mut message = self.templates[self.made % self.templates.len()].clone();
        message.message.id = format!("msg_{:012}", self.made);
        message.body_digest = format!("{:064x}", self.made);
        let key = OrderKey::new("shop", format!("S-{}", 1_000 + self.made));
        if let dawnslip::book::Meaning::Orders(orders) = &mut message.meaning {
            for (order, _) in orders {
                order.key = key.clone();
                order.content_digest.clone_from(&message.body_digest);
                order.destination.address_hash = format!("{:032x}", self.made);
                order.revision = None;
                order.not_before = None;
                order.placed = None;
            }
        }
        (key, message)
    }
}

/// The sample with secrets, and so much in stock that no order ever waits for more.
pub fn workshop_with_plenty(folder: &Path) -> Place {
    let (place, _) = super::sample(folder);
    // A day passes within a second here: a daily copy of everything would never end.
    let file = folder.join("workshop.toml");
    let text = std::fs::read_to_string(&file).expect("the sample has it");
    let whole = text.replace("# off = true", "off = true");
    assert_ne!(text, whole, "the sample says how to switch backups off");
    std::fs::write(&file, whole).expect("room");
    for (file, word) in [("products.toml", "made = "), ("packaging.toml", "stock = ")] {
        let file = folder.join(file);
        let text = std::fs::read_to_string(&file).expect("the sample has it");
        let more = |line: &str| match line.strip_prefix(word) {
            Some(figure) if figure.bytes().all(|byte| byte.is_ascii_digit()) => format!("{line}000\n"),
            _ => format!("{line}\n"),
        };
        std::fs::write(&file, text.lines().map(more).collect::<String>()).expect("room");
    }
    place
}

/// A workshop that lives.
pub struct Life {
    place: Place,
    data: PathBuf,
    clock: Arc<SetClock>,
    invention: Invention,
    running: Option<Running>,
    /// Midnight of the day that comes next.
    today: Timestamp,
}

/// The whole daemon on a data folder, with a clock of its own.
pub async fn open(place: &Place, data: &Path, clock: Arc<dyn Clock>) -> Running {
    let (place, data) = (place.clone(), data.to_owned());
    let options = Options { place, data, clock, net: Arc::new(NoNet), listen: Some((ANY_PORT, ANY_PORT)) };
    start(options).await.unwrap_or_else(|error| panic!("the daemon: {}", dawnslip::daemon::chain(&error)))
}

impl Life {
    /// Begins on `first`, a midnight, in an empty folder.
    pub async fn begin(place: Place, data: PathBuf, first: Timestamp) -> Self {
        let clock = Arc::new(SetClock::new(first));
        let running = open(&place, &data, clock.clone()).await;
        let invention = Invention::new(&place);
        Self { place, data, clock, invention, running: Some(running), today: first }
    }

    pub fn house(&self) -> Arc<House> {
        Arc::clone(&self.running.as_ref().expect("it runs").house)
    }
    pub fn now(&self) -> Timestamp {
        self.clock.now()
    }
    pub fn made(&self) -> usize {
        self.invention.made
    }
    /// Orders that are no longer in the state.
    pub fn past(&self) -> usize {
        self.invention.made - self.house().shared.durable().state.orders.len()
    }

    /// Stops cleanly, lets `look` see the folder, goes on.
    pub async fn pause<T>(&mut self, look: impl AsyncFnOnce(&Place, &Path, Timestamp) -> T) -> T {
        let running = self.running.take().expect("it runs");
        running.stop().await;
        let seen = look(&self.place, &self.data, self.clock.now()).await;
        self.running = Some(open(&self.place, &self.data, self.clock.clone()).await);
        seen
    }
    pub async fn end(mut self) {
        self.running.take().expect("it runs").stop().await;
    }

    /// One working day.
    pub async fn day(&mut self, orders: usize) {
        let house = self.house();
        self.clock.set(self.today + MORNING);
        ask(&house, Command::Tick).await;
        let mut keys = Vec::new();
        for wave in 0..orders.div_ceil(WAVE) {
            let now = self.today + MORNING + BETWEEN * i32::try_from(wave + 1).expect("a day is short");
            self.clock.set(now);
            let new: Vec<_> = (0..WAVE.min(orders - wave * WAVE)).map(|_| self.invention.next()).collect();
            let (new, messages): (Vec<_>, Vec<_>) = new.into_iter().unzip();
            let kept = messages.into_iter().map(|message| house.keep(message));
            for answer in together(kept.collect()).await {
                assert!(matches!(answer, Ok(Answer::Kept { .. })), "{answer:?}");
            }
            until_planned(&house, &new).await;
            keys.extend(new);
        }
        ask(&house, Command::Person(Action::StartPacking)).await;
        let jobs: Vec<JobId> = house.shared.durable().state.queued().map(|job| job.id).collect();
        print(&house, &jobs).await;
        let parcels: Vec<ParcelId> = {
            let durable = house.shared.durable();
            let entries = keys.iter().filter_map(|key| durable.state.orders.get(key));
            entries.flat_map(|entry| entry.parcels.clone()).collect()
        };
        for some in parcels.chunks(WAVE) {
            let packed = some.iter().map(|parcel| ask(&house, Command::Person(Action::Packed { parcel: *parcel })));
            together(packed.collect()).await;
        }
        ask(&house, Command::Person(Action::HandedOver { parcels })).await;
        {
            let durable = house.shared.durable();
            for key in &keys {
                let stage = durable.state.orders.get(key).map(|entry| entry.stage(&durable.state.parcels));
                assert_eq!(stage, Some(Stage::HandedOver), "{key} is left over");
            }
        }
        self.today += DAY;
        self.clock.set(self.today);
        upkeep::put_away(&house).await;
    }
}

async fn ask(house: &House, command: Command) {
    let answer = house.core().expect("it runs").ask(command).await.expect("it is kept");
    assert!(!matches!(answer, Answer::Refused { .. }), "{answer:?}");
}

/// All at once, as many clients would.
pub async fn together<T>(futures: Vec<impl Future<Output = T>>) -> Vec<T> {
    let mut futures: Vec<_> = futures.into_iter().map(|future| (Box::pin(future), None)).collect();
    std::future::poll_fn(|context| {
        let mut waits = false;
        for (future, done) in &mut futures {
            if done.is_none() {
                match future.as_mut().poll(context) {
                    std::task::Poll::Ready(value) => *done = Some(value),
                    std::task::Poll::Pending => waits = true,
                }
            }
        }
        if waits { std::task::Poll::Pending } else { std::task::Poll::Ready(()) }
    })
    .await;
    futures.into_iter().filter_map(|(_, done)| done).collect()
}

async fn until_planned(house: &House, keys: &[OrderKey]) {
    let begun = Instant::now();
    loop {
        let planned = {
            let durable = house.shared.durable();
            keys.iter().all(|key| durable.state.orders.get(key).is_some_and(|entry| entry.plan.is_some()))
        };
        if planned {
            return;
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "the planner does not answer");
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
}

async fn print(house: &House, jobs: &[JobId]) {
    let printer = PrinterName("bench".to_owned());
    for some in jobs.chunks(WAVE) {
        let printed = some.iter().map(|job| {
            let printer = printer.clone();
            async move {
                let digest = format!("{:064x}", job.0);
                ask(house, Command::Send { job: *job, printer, digest, rows: None }).await;
                ask(house, Command::Printed { job: *job, by: Confirmation::ProcessId }).await;
            }
        });
        together(printed.collect()).await;
    }
}

/// What a milestone says.
#[derive(Debug, Clone)]
pub struct Milestone {
    pub past: usize,
    pub open: usize,
    pub disk: measure::DiskUse,
    pub cost: measure::Cost,
    pub clean: measure::Start,
    pub unclean: measure::Start,
}
