//! Durable intake over HTTP against both its ceilings, in one run, in turns, with the same
//! senders on the same cores:
//!
//! - `intake`: the listener, the core, the ledger and the index; nobody plans.
//! - `daemon`: the whole program; it plans every order on the same cores, which is work that
//!   neither ceiling does.
//! - `file`: the same records straight to a file, with reserved room, a frame's check sums, the
//!   same rule for groups and fdatasync. No HTTP.
//! - `http`: the same listener with its signature check and mapping; the receiver answers at once.
//!
//! `cargo bench --bench intake [-- ROUNDS]`

mod support;

use dawnslip::book::{Answer, Command, Effect, Meaning, MessageOutcome, Novelty, Received, Record, State, step};
use dawnslip::clock::{Clock, SystemClock};
use dawnslip::daemon::core::{Aftermath, CoreHandle};
use dawnslip::daemon::shared::{Durable, Shared};
use dawnslip::daemon::{Options, core, start};
use dawnslip::intake::listener::{Intake, Pending, Receiver};
use dawnslip::intake::sender::{Envelope, Sender, Target};
use dawnslip::intake::sources::{SourceTable, Sources};
use dawnslip::ledger::record::to_line;
use dawnslip::ledger::{IndexReader, Indexer, Ledger, Line, RealDisk, SledHome, Writer};
use dawnslip::model::Workshop;
use dawnslip::print::net::TcpNet;
use jiff::Timestamp;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use support::measure::processor_time;
use support::{Figures, file};
use tokio::net::TcpListener;

/// Senders, and messages of one turn.
const TURNS: [(usize, usize); 3] = [(1, 150), (16, 1500), (64, 3000)];
const ANY_PORT: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(Ipv4Addr::LOCALHOST), 0);
const DRAIN: Duration = Duration::from_secs(5);

/// What is measured; the names are those of the module's head.
const WAYS: [&str; 4] = ["intake", "file", "http", "daemon"];

/// Where a sender's messages go.
#[derive(Clone)]
enum Way {
    Http(Target),
    File(Arc<file::Straight>),
}

fn main() {
    support::on_a_large_stack(bench);
}

/// Facts go to the index; nothing else follows.
struct ToIndex(Indexer);

impl Aftermath for ToIndex {
    fn effect(&self, _: Effect) {}
    fn synced(&self, records: Vec<Record>) {
        let facts = records.into_iter().filter_map(|record| match record {
            Record::Fact(stamped) => Some(stamped),
            Record::Person(_) => None,
        });
        self.0.feed(facts.collect());
    }
    fn fatal(&self, why: String) {
        panic!("the ledger failed: {why}");
    }
}

/// Hands messages to the core, as the house does: orders that the state does not know are
/// looked up in the index.
struct ToCore {
    core: CoreHandle,
    shared: Arc<Shared>,
    index: IndexReader,
}

impl Receiver for ToCore {
    fn receive(&self, received: Received) -> Pending {
        if let Meaning::Orders(orders) = &received.meaning {
            for (order, _) in orders {
                let known = self.shared.durable().state.orders.contains_key(&order.key);
                assert!(known || self.index.facts_of(&order.key).is_ok_and(|facts| facts.is_empty()), "it is new");
            }
        }
        let core = self.core.clone();
        Box::pin(async move { core.ask_now(Command::Receive(Box::new(received))).await })
    }
}

/// Answers at once.
struct AtOnce;

impl Receiver for AtOnce {
    fn receive(&self, _: Received) -> Pending {
        Box::pin(async { Ok(Answer::Kept { novelty: Novelty::New, outcome: MessageOutcome::NotAnOrder }) })
    }
}

/// Starts a listener in front of a receiver.
async fn listen(table: SourceTable, receiver: Arc<dyn Receiver>) -> Target {
    let listener = TcpListener::bind(ANY_PORT).await.expect("a port");
    let target = listener.local_addr().expect("it is bound").into();
    let intake = Intake::new(Arc::new(Sources::new(table)), receiver, Arc::new(Timestamp::now));
    tokio::spawn(intake.serve(listener, std::future::pending(), DRAIN));
    target
}

/// Listener, core, ledger and index on a real disk.
async fn intake_alone(data: &Path, workshop: &Workshop, table: SourceTable) -> (Target, IndexReader, Writer) {
    let disk = Arc::new(RealDisk::new(data).expect("a data folder"));
    let (ledger, opened) = Ledger::open(disk.clone(), Timestamp::now()).expect("a new ledger");
    let indexer = Indexer::spawn(disk, &opened, SledHome::new(data)).expect("a thread");
    let index = indexer.reader();
    let writer = Writer::spawn(ledger).expect("a thread");
    let shared = Arc::new(Shared::new(Durable::default(), Arc::new(workshop.clone())));
    let clock: Arc<dyn Clock> = Arc::new(SystemClock);
    let aftermath = Arc::new(ToIndex(indexer));
    let (core, _) = core::start(Arc::clone(&shared), writer.clone(), clock, aftermath).expect("a thread");
    core.ask(support::adopt(workshop)).await.expect("it is kept");
    let receiver = Arc::new(ToCore { core, shared, index: index.clone() });
    (listen(table, receiver).await, index, writer)
}

/// The records of each message, as the core would write them.
fn lines_of(messages: &[Received], workshop: &Workshop) -> Vec<Arc<[Line]>> {
    let (mut state, now) = (State::default(), Timestamp::now());
    step(&mut state, support::adopt(workshop), now);
    let lines = |message: &Received| {
        let done = step(&mut state, Command::Receive(Box::new(message.clone())), now);
        done.records.iter().map(|record| to_line(record).expect("it can be written")).collect()
    };
    messages.iter().map(lines).collect()
}

/// Sends the messages of one turn; each sender takes the next one once it has its answer.
fn measure(
    way: &Way,
    senders: usize,
    envelopes: &Arc<[Envelope]>,
    lines: &Arc<[Arc<[Line]>]>,
) -> (Duration, Vec<Duration>) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let next = Arc::new(AtomicUsize::new(0));
    let (begin, mut took) = (Instant::now(), Vec::new());
    runtime.block_on(async {
        let send = |_| {
            let (way, next) = (way.clone(), Arc::clone(&next));
            let (envelopes, lines) = (Arc::clone(envelopes), Arc::clone(lines));
            tokio::spawn(async move {
                let mut took = Vec::new();
                let mut sender = match &way {
                    Way::Http(target) => Some(Sender::new(target.clone())),
                    Way::File(_) => None,
                };
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    let Some(envelope) = envelopes.get(number) else { return took };
                    let sent = Instant::now();
                    match (&mut sender, &way) {
                        (Some(sender), _) => {
                            let told = sender.send(envelope).await.expect("an answer");
                            assert_eq!(told.status, 202, "{}", told.body);
                        }
                        (None, Way::File(file)) => file.keep(Arc::clone(&lines[number])).await,
                        (None, Way::Http(_)) => unreachable!("a sender was made for it"),
                    }
                    took.push(sent.elapsed());
                }
            })
        };
        let tasks: Vec<_> = (0..senders).map(send).collect();
        for task in tasks {
            took.extend(task.await.expect("a sender ends well"));
        }
    });
    (begin.elapsed(), took)
}

/// The longest lag of the index in a turn, and how long it took to catch up after it.
struct Lag {
    most: u64,
    after: Duration,
}

/// Measures, and looks at the index meanwhile.
fn measure_with_lag(
    index: &IndexReader,
    measured: impl FnOnce() -> (Duration, Vec<Duration>),
) -> ((Duration, Vec<Duration>), Lag) {
    let done = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|scope| {
        let watch = scope.spawn(|| {
            let mut most = 0;
            while !done.load(Ordering::Relaxed) {
                most = most.max(index.lag());
                std::thread::sleep(Duration::from_millis(5));
            }
            most
        });
        let measured = measured();
        let ended = Instant::now();
        while index.lag() > 0 {
            std::thread::sleep(Duration::from_millis(1));
        }
        let after = ended.elapsed();
        done.store(true, Ordering::Relaxed);
        (measured, Lag { most: watch.join().expect("it only looks"), after })
    })
}

fn bench() {
    let rounds = support::argument(6);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let (place, workshop) = support::sample(&folder.path().join("config"));
    let table =
        || place.sources(&workshop, [0; 32]).unwrap_or_else(|errors| panic!("the sample's sources: {errors:?}"));
    let all: usize = TURNS.iter().map(|(_, messages)| messages * rounds).sum();
    let messages = support::ordinary(all, Timestamp::now());
    assert_eq!(messages.len(), all, "the sample has enough ordinary orders");
    let reader = table();
    let received: Vec<Received> = messages.iter().map(|message| support::received(&reader, message)).collect();
    let lines = lines_of(&received, &workshop);
    let bodies: usize = messages.iter().map(|message| message.body.len()).sum();
    let written: usize = lines.iter().flat_map(|of| of.iter()).map(|line| line.json.len()).sum();
    println!(
        "{all} orders of the sample: {} bytes of body, {} bytes in {:.1} records each, on the mean; {rounds} rounds in turns; \
         latencies in ms",
        bodies / all,
        written / all,
        lines.iter().map(|of| of.len()).sum::<usize>() as f64 / all as f64
    );

    let server = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    let (alone, index, writer) = server.block_on(intake_alone(&folder.path().join("alone"), &workshop, table()));
    let at_once = server.block_on(listen(table(), Arc::new(AtOnce)));
    let options = Options {
        place: place.clone(),
        data: folder.path().join("whole"),
        clock: Arc::new(SystemClock),
        net: Arc::new(TcpNet),
        listen: Some((ANY_PORT, ANY_PORT)),
    };
    let running = server.block_on(start(options)).unwrap_or_else(|error| panic!("the daemon: {error}"));
    let straight = Arc::new(file::Straight::create(&folder.path().join("straight")));
    let ways = [Way::Http(alone), Way::File(straight), Way::Http(at_once), Way::Http(running.intake.into())];

    println!("senders  way     per s   p50    p99    of the lower ceiling  processor µs per order");
    let mut from = 0;
    for (senders, count) in TURNS {
        let mut times = [Duration::ZERO; 4];
        let mut latencies: [Vec<Duration>; 4] = Default::default();
        let (mut most, mut after) = (0, Duration::ZERO);
        let mut worked = [Duration::ZERO; 4];
        let groups_before = writer.groups();
        for round in 0..rounds {
            let part = from..from + count;
            from += count;
            let lines: Arc<[_]> = lines[part.clone()].into();
            let envelopes: Arc<[Envelope]> = messages[part]
                .iter()
                .map(|m| {
                    m.envelope(reader.get(m.source.as_str()).expect("a source"), Timestamp::now()).expect("a secret")
                })
                .collect();
            // Each way comes first, second, third and last in turn.
            for place in 0..ways.len() {
                let which = (round + place) % ways.len();
                let before = processor_time();
                let measured = || measure(&ways[which], senders, &envelopes, &lines);
                let (time, took) = if which == 0 {
                    let (measured, lag) = measure_with_lag(&index, measured);
                    (most, after) = (most.max(lag.most), after.max(lag.after));
                    measured
                } else {
                    measured()
                };
                times[which] += time;
                latencies[which].extend(took);
                if which == 3 {
                    settle(&running);
                }
                worked[which] += processor_time() - before;
            }
        }
        let sent = (count * rounds) as f64;
        let per_second = times.map(|time| sent / time.as_secs_f64());
        let ceiling = per_second[1].min(per_second[2]);
        for which in 0..ways.len() {
            let figures = Figures::of(std::mem::take(&mut latencies[which]));
            println!(
                "{senders:>7}  {:<6}  {:>6.0}  {:<5.2}  {:<5.2}  {:<20.2}  {:.0}",
                WAYS[which],
                per_second[which],
                figures.ms(0.5),
                figures.ms(0.99),
                per_second[which] / ceiling,
                worked[which].as_secs_f64() * 1e6 / sent
            );
        }
        println!(
            "         index: at most {most} facts behind, caught up {:.0} ms after the last answer; {:.1} orders a group",
            after.as_secs_f64() * 1000.0,
            sent / (writer.groups() - groups_before).max(1) as f64
        );
    }
    server.block_on(running.stop());
    writer.close(Timestamp::now()).expect("a clean stop");
}

/// Lets the daemon plan what it has taken in: the next turn is another way's.
fn settle(running: &dawnslip::daemon::Running) {
    while running.house.shared.durable().state.orders.values().any(|entry| entry.asked.is_some()) {
        std::thread::sleep(Duration::from_millis(20));
    }
}
