//! Group commit through the writer against its ceiling: the same frames, reserved room and batch
//! rule straight to a file with fdatasync. Both in one run, in turns, with the same senders.
//!
//! `cargo bench --bench journal [-- SECONDS]`

use crc32c::crc32c;
use dawnslip::ledger::{Ledger, Line, RealDisk, Tag, Unit, Writer};
use jiff::Timestamp;
use std::fs::File;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, channel, sync_channel};
use std::time::{Duration, Instant};

/// Bytes of one fact's JSON: an order with a plan is about so long.
const FACT_BYTES: usize = 2048;
/// Short turns, many of them: what else the machine does then meets both alike.
const ROUNDS: usize = 10;
/// As in the ledger.
const RESERVE_BYTES: u64 = 4 * 1024 * 1024;
const GROUP_BYTES_MAX: usize = 4 * 1024 * 1024;
const HEAD_BYTES: usize = 44;

/// Hands over one fact; the answer comes through the channel.
type Submit = Arc<dyn Fn(SyncSender<()>) + Send + Sync>;

fn line() -> Line {
    Line { tag: Tag::Fact, json: format!("{{\"pad\":\"{}\"}}", "x".repeat(FACT_BYTES - 10)) }
}

/// Runs `senders` threads for `time`, each waiting for its answer before it goes on; gives all latencies.
fn measure(senders: usize, time: Duration, submit: &Submit) -> Vec<Duration> {
    let threads: Vec<_> = (0..senders)
        .map(|_| {
            let submit = Arc::clone(submit);
            std::thread::spawn(move || {
                let (tell, told) = sync_channel(1);
                let (begin, mut latencies) = (Instant::now(), Vec::new());
                while begin.elapsed() < time {
                    let sent = Instant::now();
                    submit(tell.clone());
                    told.recv().expect("an answer comes");
                    latencies.push(sent.elapsed());
                }
                latencies
            })
        })
        .collect();
    threads.into_iter().flat_map(|thread| thread.join().expect("a sender ends well")).collect()
}

/// Through the ledger's writer.
fn through_the_writer(root: &Path) -> (Submit, Writer) {
    let disk = Arc::new(RealDisk::new(root).expect("a data directory"));
    let (ledger, _) = Ledger::open(disk, Timestamp::UNIX_EPOCH).expect("a new ledger");
    let writer = Writer::spawn(ledger).expect("a thread");
    let (handle, line) = (writer.clone(), line());
    // One core numbers the facts and queues them, in order: the lock stands for it.
    let next = std::sync::Mutex::new(1);
    let submit = move |tell: SyncSender<()>| {
        let lines = vec![line.clone()];
        let done = Box::new(move |result: Result<(), _>| {
            result.expect("it is kept");
            tell.send(()).expect("the sender waits");
        });
        let mut next = next.lock().expect("no sender panics");
        handle.submit(Unit { epoch: 0, first_seq: *next, lines, done });
        *next += 1;
    };
    (Arc::new(submit), writer)
}

/// Straight to a file.
fn straight(path: &Path) -> Submit {
    let file = File::create(path).expect("a file");
    let (requests, incoming) = channel::<(Line, SyncSender<()>)>();
    std::thread::spawn(move || write_groups(&file, &incoming));
    let line = line();
    Arc::new(move |tell| requests.send((line.clone(), tell)).expect("the writer is there"))
}

fn write_groups(file: &File, incoming: &Receiver<(Line, SyncSender<()>)>) {
    let (mut end, mut reserved, mut frame) = (0u64, 0u64, Vec::new());
    while let Ok(first) = incoming.recv() {
        frame.clear();
        frame.resize(HEAD_BYTES, 0);
        let mut waiting = Vec::new();
        let mut next = Some(first);
        while let Some((line, tell)) = next.take() {
            frame.extend_from_slice(&[line.tag.letter(), b' ']);
            frame.extend_from_slice(line.json.as_bytes());
            frame.push(b'\n');
            waiting.push(tell);
            if frame.len() < GROUP_BYTES_MAX {
                next = incoming.try_recv().ok();
            }
        }
        let crc = crc32c(&frame[HEAD_BYTES..]).to_le_bytes();
        frame[12..16].copy_from_slice(&crc);
        let crc = crc32c(&frame[..HEAD_BYTES - 4]).to_le_bytes();
        frame[HEAD_BYTES - 4..HEAD_BYTES].copy_from_slice(&crc);
        if end + frame.len() as u64 > reserved {
            let keep = rustix::fs::FallocateFlags::KEEP_SIZE;
            rustix::fs::fallocate(file, keep, reserved, RESERVE_BYTES).expect("room");
            reserved += RESERVE_BYTES;
        }
        file.write_all_at(&frame, end).expect("a write");
        file.sync_data().expect("a sync");
        end += frame.len() as u64;
        for tell in waiting {
            tell.send(()).expect("the sender waits");
        }
    }
}

struct Figures {
    latencies: Vec<Duration>,
    time: Duration,
}

impl Figures {
    fn per_second(&self) -> f64 {
        self.latencies.len() as f64 / self.time.as_secs_f64()
    }
    fn at(&self, share: f64) -> f64 {
        let at = ((self.latencies.len() - 1) as f64 * share) as usize;
        self.latencies[at].as_secs_f64() * 1000.0
    }
}

fn main() {
    // cargo passes `--bench`; a number is ours.
    let seconds = std::env::args().skip(1).find_map(|arg| arg.parse().ok()).unwrap_or(0.5);
    let time = Duration::from_secs_f64(seconds);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let (ours, writer) = through_the_writer(&folder.path().join("data"));
    let ceiling = straight(&folder.path().join("ceiling"));
    println!("facts of {FACT_BYTES} bytes; {ROUNDS} rounds of {seconds} s each, in turns; latencies in ms");
    println!("senders  writer/s  p50    p99     ceiling/s  p50    p99     ratio  facts a group");
    for senders in [1, 16, 64] {
        let mut figures = [(); 2].map(|()| Figures { latencies: Vec::new(), time: Duration::ZERO });
        let facts_before = writer.synced();
        let groups_before = writer.groups();
        for round in 0..ROUNDS * 2 {
            // ABBA: a disk that slows down meanwhile slows both.
            let which = usize::from(matches!(round % 4, 1 | 2));
            let begin = Instant::now();
            figures[which].latencies.extend(measure(senders, time, [&ours, &ceiling][which]));
            figures[which].time += begin.elapsed();
        }
        for figure in &mut figures {
            figure.latencies.sort_unstable();
        }
        let [writer_is, ceiling_is] = &figures;
        println!(
            "{senders:>7}  {:>8.0}  {:<5.2}  {:<6.2}  {:>9.0}  {:<5.2}  {:<6.2}  {:>5.2}  {:.1}",
            writer_is.per_second(),
            writer_is.at(0.5),
            writer_is.at(0.99),
            ceiling_is.per_second(),
            ceiling_is.at(0.5),
            ceiling_is.at(0.99),
            writer_is.per_second() / ceiling_is.per_second(),
            (writer.synced() - facts_before) as f64 / (writer.groups() - groups_before).max(1) as f64,
        );
    }
    writer.close(Timestamp::UNIX_EPOCH).expect("a clean stop");
}
