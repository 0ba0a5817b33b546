//! The machine refuses something: the disk may only be read, a sync fails, the disk hangs, no
//! descriptor is left, memory is short. Shops are told to come again, the desk says why, and
//! it goes on by itself; only a failed sync stops the program, which then verifies.
//!
//! Troubles of the disk are made by trouble.c, which stands before the C library's calls.

use super::support::*;
use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::Command;
use std::time::{Duration, Instant};

/// A disk whose calls can be made to fail.
pub struct Shim {
    library: PathBuf,
    rules: PathBuf,
}

impl Shim {
    /// Compiles it into the bench's folder.
    pub fn new(bench: &Bench) -> Self {
        let library = bench.folder.path().join("trouble.so");
        let source = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/daemon/trouble.c");
        let mut compiler = Command::new("cc");
        compiler.args(["-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o"]).arg(&library).arg(source).arg("-ldl");
        let made = compiler.output().unwrap();
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        Self { library, rules: bench.folder.path().join("trouble") }
    }
    /// The command line of a daemon on it.
    pub fn command(&self, bench: &Bench) -> Command {
        let mut command = bench.command();
        command.env("LD_PRELOAD", &self.library).env("DAWNSLIP_TROUBLE", &self.rules);
        command
    }
    /// Starts the daemon on it.
    #[track_caller]
    pub fn start(&self, bench: &mut Bench) {
        let command = self.command(bench);
        bench.start_by(command);
    }
    /// From now on these rules hold; see trouble.c.
    pub fn make(&self, rules: &str) {
        fs::write(&self.rules, rules).unwrap();
    }
    /// All is well again.
    pub fn end(&self) {
        fs::remove_file(&self.rules).unwrap();
    }
}

/// Kilobytes of memory of the daemon, as /proc names them: `VmRSS` now, `VmHWM` at most.
fn memory(bench: &Bench, what: &str) -> u64 {
    let status = fs::read_to_string(format!("/proc/{}/status", bench.pid())).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix(what)?.strip_prefix(':')).unwrap();
    line.trim().trim_end_matches(" kB").parse().unwrap()
}

/// Processor time that the daemon has used; a hundredth of a second is the kernel's unit (proc(5)).
fn processor_time(bench: &Bench) -> Duration {
    let stat = fs::read_to_string(format!("/proc/{}/stat", bench.pid())).unwrap();
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap().split_whitespace().collect();
    let ticks: u64 = fields[11..13].iter().map(|ticks| ticks.parse::<u64>().unwrap()).sum();
    Duration::from_millis(ticks * 10)
}

/// An order with a body of so many bytes more, for a product that nobody knows.
fn large(number: &str, bytes: usize) -> String {
    let mut told = order(number, &[("GLZ-9", 1)]);
    told["remark"] = "x".repeat(bytes).into();
    told.to_string()
}

/// Refused so that the shop sends it again; the desk says why.
#[track_caller]
fn refused(bench: &Bench, number: &str, why: &[&str]) {
    let told = bench.send(&format!("msg_{number}"), order(number, &[("sea-mint", 1)]).to_string());
    assert_eq!(told.status, 503, "{}", told.body);
    assert!(told.retry_after.is_some(), "no Retry-After: {told:?}");
    let status = bench.status();
    for part in why {
        assert!(flat(&status).contains(part), "{part:?} is not in:\n{status}");
    }
    assert_eq!(bench.get("/healthz", "*/*").status, 200);
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_disk_that_may_only_be_read_refuses_orders_says_so_and_goes_on_when_it_may_be_written() {
    let mut bench = Bench::new();
    let shim = Shim::new(&bench);
    shim.start(&mut bench);
    bench.order("A-1", &[("sea-mint", 1)]);
    bench.until_still();
    // EROFS is 30: as after a remount that the kernel does when a disk begins to fail.
    shim.make("pwrite 30 /data/\nftruncate 30 /data/\nopen 30 /data/\n");
    for index in 0..3 {
        let why = ["orders cannot be kept", "can only be read", "mount it for writing again; it goes on by itself"];
        refused(&bench, &format!("B-{index}"), &why);
    }
    assert!(bench.is_alive(), "{}", bench.log());
    shim.end();
    // Without any order, too: the next sign of life finds out.
    bench.until("word that all is well", || !bench.status().contains("cannot be kept"));
    for index in 0..3 {
        bench.order(&format!("B-{index}"), &[("sea-mint", 1)]);
    }
    bench.until_still();
    assert_eq!(bench.galley.papers().len(), 8);
    bench.kill();
    bench.start();
    assert!(["A-1", "B-0", "B-1", "B-2"].iter().all(|number| bench.knows(number)));
}

#[test]
fn a_start_on_a_disk_that_takes_nothing_says_what_to_do() {
    let bench = Bench::new();
    let shim = Shim::new(&bench);
    for (code, remedy) in
        [(30, "mount it for writing again"), (13, "give the data folder back"), (24, "raise the limit")]
    {
        shim.make(&format!("open {code} /data/\n"));
        let said: Said = shim.command(&bench).output().unwrap().into();
        said.expect(1, &["the data folder cannot be opened", remedy]);
    }
}

#[test]
fn half_a_group_that_was_refused_leaves_no_trace_behind_the_next_one() {
    let mut bench = Bench::new();
    let shim = Shim::new(&bench);
    shim.start(&mut bench);
    bench.order("A-1", &[("GLZ-9", 1)]);
    // The write is refused, and so is cutting back what it may have left.
    shim.make("pwrite 28 /journal/ L-1\nftruncate 30 /journal/\n");
    let told = bench.send("msg_L-1", large("L-1", 100_000));
    assert_eq!(told.status, 503, "{}", told.body);
    shim.end();
    bench.order("A-2", &[("GLZ-9", 1)]);
    bench.kill();
    bench.start();
    assert!(bench.knows("A-1") && bench.knows("A-2") && !bench.knows("L-1"));
    assert!(!bench.log().contains("cut off"), "{}", bench.log());
}

#[test]
fn a_failed_sync_stops_the_program_and_the_next_start_verifies() {
    let mut bench = Bench::new();
    let shim = Shim::new(&bench);
    shim.start(&mut bench);
    for index in 0..4 {
        bench.order(&format!("A-{index}"), &[("sea-mint", 1)]);
    }
    bench.until_still();
    shim.make("sync 5 /journal/\n"); // EIO
    let envelope = bench.sign("shop", "msg_lost", order("L-1", &[("sea-mint", 1)]).to_string());
    let target = bench.target();
    let mut sender = dawnslip::intake::sender::Sender::new(target);
    // A refusal or no answer at all; never a promise.
    if let Ok(told) = bench.runtime.block_on(sender.send(&envelope)) {
        assert_eq!(told.status, 503, "{}", told.body);
    }
    let status = bench.until_ended();
    assert_eq!(status.code(), Some(1), "{status}");
    let log = fs::read_to_string(bench.folder.path().join("log-1.ndjson")).unwrap();
    assert!(log.contains("the next start verifies"), "{log}");
    shim.end();
    bench.start();
    assert!((0..4).all(|index| bench.knows(&format!("A-{index}"))));
    bench.until_still();
    assert_eq!(bench.send("msg_lost", order("L-1", &[("sea-mint", 1)]).to_string()).status / 100, 2);
    bench.until_still();
    assert!(bench.knows("L-1"));
    assert_eq!(bench.galley.papers().len(), 10, "each of five orders has a slip and a card");
}

#[test]
fn a_disk_that_hangs_fills_the_backlog_to_its_limit_and_everything_kept_is_there_afterwards() {
    let mut bench = Bench::new();
    let shim = Shim::new(&bench);
    shim.start(&mut bench);
    bench.order("A-1", &[("GLZ-9", 1)]);
    let before = memory(&bench, "VmRSS");
    shim.make("sync stall /journal/\n");
    // Senders who hang up without waiting for their answer: what is being stored stays.
    let mut sent = 0;
    let refusal = (0..600).find_map(|index| {
        let number = format!("L-{index}");
        let envelope = bench.sign("shop", &format!("msg_{number}"), large(&number, 240_000));
        let mut stream = TcpStream::connect(bench.daemon().intake).unwrap();
        stream.set_read_timeout(Some(Duration::from_millis(60))).unwrap();
        stream.write_all(&super::hostile::request(&envelope, "")).unwrap();
        sent += 1;
        let mut answer = [0; 4096];
        match stream.read(&mut answer) {
            Ok(length) if length > 0 => Some(String::from_utf8_lossy(&answer[..length]).into_owned()),
            _ => None,
        }
    });
    let refusal = refusal.unwrap_or_else(|| panic!("{sent} messages of 240 kB wait, and none was refused"));
    assert!(refusal.starts_with("HTTP/1.1 503 "), "{refusal}");
    assert!(refusal.to_ascii_lowercase().contains("retry-after: "), "{refusal}");
    let grown = memory(&bench, "VmRSS") - before;
    println!("disk hangs: {sent} messages of 240 kB until the first refusal, {} MB more memory", grown / 1024);
    assert!(grown < 600 * 1024, "{grown} kB");
    bench.until("word of the disk", || flat(&bench.status()).contains("orders wait for the disk"));
    shim.end();
    bench.until("order that is kept again", || {
        [200, 202].contains(&bench.send("msg_A-2", order("A-2", &[("GLZ-9", 1)]).to_string()).status)
    });
    assert!(!bench.status().contains("wait for the disk"));
    assert!(bench.knows("A-1") && bench.knows("A-2") && bench.knows("L-0"));
}

#[test]
fn without_a_descriptor_left_those_inside_are_served_nobody_spins_and_it_goes_on_by_itself() {
    let mut bench = Bench::new();
    bench.start_wrapped(&["sh", "-c", "ulimit -n 64 && exec \"$0\" \"$@\""]);
    bench.order("A-1", &[("sea-mint", 1)]);
    bench.until_still();
    let intake = bench.daemon().intake;
    let mut inside = TcpStream::connect(intake).unwrap();
    inside.set_read_timeout(Some(PATIENCE)).unwrap();
    let mut send = |bench: &Bench, number: &str| {
        let envelope = bench.sign("shop", &format!("msg_{number}"), order(number, &[("sea-mint", 1)]).to_string());
        let request = super::hostile::request(&envelope, "");
        let request = String::from_utf8(request).unwrap().replace("Connection: close\r\n", "");
        inside.write_all(request.as_bytes()).unwrap();
        let mut answer = [0; 4096];
        let length = inside.read(&mut answer).unwrap();
        String::from_utf8_lossy(&answer[..length]).into_owned()
    };
    assert!(send(&bench, "A-2").starts_with("HTTP/1.1 202"));
    // The kernel takes them in, the program cannot.
    let idle: Vec<TcpStream> = (0..120).map(|_| TcpStream::connect(intake).unwrap()).collect();
    bench.until("word of the limit", || bench.log().contains("accepting a connection failed"));
    let (begun, before) = (Instant::now(), processor_time(&bench));
    std::thread::sleep(Duration::from_secs(2));
    let busy = (processor_time(&bench) - before).as_secs_f64() / begun.elapsed().as_secs_f64();
    assert!(busy < 0.3, "it spins: {busy:.2} of a core");
    let lines = bench.log().lines().filter(|line| line.contains("accepting a connection failed")).count();
    assert!(lines < 200, "{lines} lines of the same");
    // Who is inside is served: the journal's file is open.
    let told = send(&bench, "A-3");
    assert!(told.starts_with("HTTP/1.1 202"), "{told}");
    drop(idle);
    bench.until("connection", || bench.knows("A-3"));
    bench.order("A-4", &[("sea-mint", 1)]);
    bench.until_still();
    assert!((1..=4).all(|index| bench.knows(&format!("A-{index}"))));
    assert_eq!(bench.galley.papers().len(), 8);
    println!("no descriptors: {busy:.3} of a core meanwhile, {lines} lines in the log");
    assert!(bench.terminate().0.success());
}

#[test]
fn a_full_segment_without_a_descriptor_for_the_next_one_refuses_and_goes_on() {
    let mut bench = Bench::new();
    let shim = Shim::new(&bench);
    shim.start(&mut bench);
    shim.make("open 24 /journal/\n"); // EMFILE
    let mut kept = Vec::new();
    let told = (0..120).find_map(|index| {
        let number = format!("L-{index}");
        let told = bench.send(&format!("msg_{number}"), large(&number, 240_000));
        if told.status == 202 {
            kept.push(number);
            return None;
        }
        Some(told)
    });
    let told = told.expect("no segment was full");
    assert_eq!((told.status, told.retry_after.is_some()), (503, true), "{}", told.body);
    refused(&bench, "A-1", &["orders cannot be kept", "too many are open"]);
    shim.end();
    bench.until("word that all is well", || !bench.status().contains("cannot be kept"));
    bench.order("A-1", &[("sea-mint", 1)]);
    bench.until_still();
    kept.push("A-1".into());
    bench.kill();
    bench.start();
    assert!(bench.data().join("journal/0002.log").exists());
    assert!(kept.iter().all(|number| bench.knows(number)));
}

#[test]
fn bodies_that_never_end_cost_no_more_memory_than_the_limits_say() {
    let bench = Bench::running();
    bench.order("A-1", &[("GLZ-9", 1)]);
    let before = memory(&bench, "VmRSS");
    let envelope = bench.sign("shop", "msg_big", large("L-1", 240_000));
    let request = super::hostile::request(&envelope, "");
    // More than there are places; each all but its last byte.
    let held: Vec<TcpStream> = (0..400)
        .filter_map(|_| {
            let mut stream = TcpStream::connect(bench.daemon().intake).ok()?;
            stream.write_all(&request[..request.len() - 1]).ok()?;
            Some(stream)
        })
        .collect();
    // An honest one gets through all the same.
    bench.order("A-2", &[("sea-mint", 1)]);
    bench.until_still();
    let grown = memory(&bench, "VmHWM").saturating_sub(before);
    println!("{} bodies of 240 kB held open: {} MB more memory at most", held.len(), grown / 1024);
    // 256 places of 256 KiB are 64 MiB; buffers double them at worst.
    assert!(grown < 200 * 1024, "{grown} kB");
}
