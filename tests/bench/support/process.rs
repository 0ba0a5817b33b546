//! The real program as a child on a data folder, and its desk asked over HTTP.

use super::measure::memory;
use dawnslip::daemon::Place;
use std::io::{Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_dawnslip");
/// Nothing waits longer than this for the program.
const PATIENCE: Duration = Duration::from_secs(120);

/// Where a program will listen.
#[derive(Clone, Copy)]
pub struct Doors {
    pub intake: SocketAddr,
    pub desk: SocketAddr,
}

impl Doors {
    /// Two free ports, written into the configuration.
    pub fn written_into(place: &Place) -> Self {
        let free = || {
            let bound = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
            bound.local_addr().expect("it is bound")
        };
        let doors = Self { intake: free(), desk: free() };
        let file = place.folder.join("workshop.toml");
        let text = std::fs::read_to_string(&file).expect("the sample has it");
        let text = text.replace("127.0.0.1:7781", &doors.intake.to_string());
        std::fs::write(&file, text.replace("127.0.0.1:7780", &doors.desk.to_string())).expect("room");
        doors
    }
}

/// Prints on the printer at this address at any hour, each slip as its order comes; further texts
/// are replaced in the files named.
pub fn prints_at_once(place: &Place, printer: SocketAddr, more: &[(&str, &str, &str)]) {
    let address = printer.to_string();
    let at_once = [
        ("printers.toml", "address = \"127.0.0.1:9100\"", format!("address = \"{address}\"")),
        ("workshop.toml", "quiet = {", "# quiet = {".to_owned()),
        ("workshop.toml", "orders = 12,", "orders = 10000,".to_owned()),
    ];
    let more = more.iter().map(|(file, from, to)| (*file, *from, (*to).to_owned()));
    for (file, from, to) in at_once.into_iter().chain(more) {
        let file = place.folder.join(file);
        let text = std::fs::read_to_string(&file).expect("the sample has it");
        assert!(text.contains(from), "{from} is in {}", file.display());
        std::fs::write(&file, text.replace(from, &to)).expect("room");
    }
}

/// A program that runs; killed when it is dropped.
pub struct Program {
    child: Child,
    pub doors: Doors,
    begun: Instant,
}

impl Program {
    pub fn start(place: &Place, data: &Path, doors: Doors) -> Self {
        let begun = Instant::now();
        let child = Command::new(PROGRAM)
            .args(["run", "--json", "--config"])
            .arg(&place.folder)
            .arg("--data")
            .arg(data)
            .env("RUST_LOG", "error")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .spawn()
            .expect("the program starts");
        Self { child, doors, begun }
    }
    pub fn memory(&self, figure: &str) -> u64 {
        memory(self.child.id(), figure)
    }
    /// What the desk says; nothing where it does not listen yet.
    pub fn get(&self, path: &str) -> Option<(u16, String)> {
        let mut stream = TcpStream::connect(self.doors.desk).ok()?;
        let host = self.doors.desk;
        let request = format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
        stream.write_all(request.as_bytes()).ok()?;
        let mut answer = String::new();
        stream.read_to_string(&mut answer).ok()?;
        let status = answer.split(' ').nth(1)?.parse().ok()?;
        Some((status, answer))
    }
    /// Time from its start until `holds` says so, asked every two milliseconds.
    pub fn until(&self, holds: impl Fn(&Self) -> bool) -> Duration {
        while !holds(self) {
            assert!(self.begun.elapsed() < PATIENCE, "the program takes too long");
            std::thread::sleep(Duration::from_millis(2));
        }
        self.begun.elapsed()
    }
    pub fn is_ready(&self) -> bool {
        self.get("/readyz").is_some_and(|(status, _)| status == 200)
    }
    /// The sum of a metric's lines that hold all of `parts`.
    pub fn metric(&self, parts: &[&str]) -> f64 {
        let Some((_, text)) = self.get("/metrics") else { return f64::NAN };
        let lines = text.lines().filter(|line| !line.starts_with('#') && parts.iter().all(|part| line.contains(part)));
        lines.filter_map(|line| line.rsplit(' ').next()?.parse::<f64>().ok()).sum()
    }
    /// SIGTERM; returns once it has ended.
    pub fn stop(mut self) {
        let told = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status().expect("kill");
        assert!(told.success(), "it is told to stop");
        assert!(self.child.wait().expect("it ends").success(), "it stops cleanly");
    }
    /// kill -9.
    pub fn kill(mut self) {
        self.child.kill().expect("it is ours");
        self.child.wait().expect("it ends");
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
