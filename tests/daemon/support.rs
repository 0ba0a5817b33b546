//! A workshop in a temporary folder: the embedded sample with secrets of its own, a galley in
//! this process, and the real program as a child. Only this test's own children are ended.

use data_encoding::BASE64;
use dawnslip::intake::secret::SecretBytes;
use dawnslip::intake::sender::{Envelope, Sender, Target, Told};
use dawnslip::model::{BodyHmac, JobId, Scheme, SignatureEncoding, SourceName};
use dawnslip::print::galley::{Galley, GalleyOptions};
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};
use std::fs::{self, File};
use std::io::{Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Output, Stdio};
use std::time::{Duration, Instant};
use tokio::runtime::Runtime;

/// The program: this build's, or the one that DAWNSLIP_PROGRAM names.
pub fn program() -> String {
    std::env::var("DAWNSLIP_PROGRAM").unwrap_or_else(|_| env!("CARGO_BIN_EXE_dawnslip").to_owned())
}
/// Nothing that these tests wait for takes longer, also where other tests take the machine.
pub const PATIENCE: Duration = Duration::from_secs(100);

/// A child that is listening.
pub struct Daemon {
    child: Child,
    log: PathBuf,
    pub intake: SocketAddr,
    pub desk: SocketAddr,
}

/// The folder, the printer, and the daemon if it runs.
pub struct Bench {
    pub folder: tempfile::TempDir,
    pub galley: Galley,
    pub runtime: Runtime,
    shop: SecretBytes,
    fair: SecretBytes,
    daemon: Option<Daemon>,
    starts: u32,
    /// How far the daemon's clock goes before the machine's.
    pub ahead: SignedDuration,
}

pub fn shop_scheme() -> Scheme {
    Scheme::StandardWebhooks { tolerance: SignedDuration::from_secs(300) }
}
pub fn fair_scheme() -> Scheme {
    Scheme::BodyHmac(BodyHmac {
        header: "fair-signature".into(),
        encoding: SignatureEncoding::Hex,
        prefix: "sha256=".into(),
        timestamp: None,
        template: None,
        id_header: None,
    })
}

/// What a command said.
pub struct Said {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Said {
    #[track_caller]
    pub fn expect(self, code: i32, parts: &[&str]) -> Self {
        let all = format!("{}{}", self.out, self.err);
        assert_eq!(self.code, code, "exit code; it said:\n{all}");
        // Text is broken into lines anywhere.
        let flat = all.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in parts {
            assert!(flat.contains(part), "{part:?} is missing in:\n{all}");
        }
        assert!(!all.contains("panicked"), "{all}");
        self
    }
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error} in {}{}", self.out, self.err))
    }
}

impl From<Output> for Said {
    fn from(output: Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}

/// An HTTP answer.
#[derive(Debug)]
pub struct Reply {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Reply {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error} in {}", self.body))
    }
}

impl Bench {
    /// The sample in a fresh folder, nothing started. It prints at any hour, slips at once.
    pub fn new() -> Self {
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        let any = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
        let galley = runtime.block_on(Galley::start(any, GalleyOptions::default())).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let printer = galley.addr().unwrap().to_string();
        for (name, text) in dawnslip::config::embedded() {
            let file = folder.path().join("config").join(&name);
            fs::create_dir_all(file.parent().unwrap()).unwrap();
            fs::write(file, text.replace("127.0.0.1:9100", &printer)).unwrap();
        }
        let chance = |text: u8| -> Vec<u8> { (0..32).map(|index| text.wrapping_mul(31).wrapping_add(index)).collect() };
        let texts = [("shop", "whsec_"), ("fair", ""), ("stall", "")]
            .map(|(name, prefix)| (name, format!("{prefix}{}", BASE64.encode(&chance(name.as_bytes()[0])))));
        fs::create_dir_all(folder.path().join("config/secrets")).unwrap();
        for (name, text) in &texts {
            let file = folder.path().join("config/secrets").join(name);
            fs::write(&file, format!("{text}\n")).unwrap();
            fs::set_permissions(&file, std::os::unix::fs::PermissionsExt::from_mode(0o600)).unwrap();
        }
        let bench = Self {
            shop: SecretBytes::read(&shop_scheme(), texts[0].1.as_bytes()).unwrap(),
            fair: SecretBytes::read(&fair_scheme(), texts[1].1.as_bytes()).unwrap(),
            folder,
            galley,
            runtime,
            daemon: None,
            starts: 0,
            ahead: SignedDuration::ZERO,
        };
        bench.edit("workshop.toml", "quiet = {", "# quiet = {");
        bench.edit("workshop.toml", "orders = 12,", "orders = 5000,");
        bench.edit("workshop.toml", "per_minute = 600", "per_minute = 600000");
        bench.edit("workshop.toml", "127.0.0.1:7781", "127.0.0.1:0");
        bench.edit("workshop.toml", "127.0.0.1:7780", "127.0.0.1:0");
        // The orders of these tests are all of one customer; each is to have its own papers.
        bench.edit("workshop.toml", "join = true", "join = false");
        // Made when a test says so.
        bench.edit("workshop.toml", "# off = true", "off = true");
        // Closed these days, so that no pick list comes by itself.
        let day =
            |days: i64| (Timestamp::now() + SignedDuration::from_hours(24 * days)).strftime("%Y-%m-%d").to_string();
        let closed = [-1, 0, 1, 2].map(|days| format!("\"{}\", ", day(days))).concat();
        bench.edit("workshop.toml", "closed_dates = [", &format!("closed_dates = [{closed}"));
        bench.edit("printers.toml", "answer_time = \"30 s\"", "answer_time = \"5 s\"");
        bench
    }

    /// Likewise, with a daemon that runs.
    pub fn running() -> Self {
        let mut bench = Self::new();
        bench.start();
        bench
    }

    pub fn config(&self) -> PathBuf {
        self.folder.path().join("config")
    }
    pub fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    /// Replaces a text that must be there in a file of the configuration.
    #[track_caller]
    pub fn edit(&self, file: &str, from: &str, to: &str) {
        let file = self.config().join(file);
        let text = fs::read_to_string(&file).unwrap();
        assert!(text.contains(from), "{from:?} is not in {}", file.display());
        fs::write(&file, text.replace(from, to)).unwrap();
    }

    pub fn append(&self, file: &str, more: &str) {
        let mut file = fs::OpenOptions::new().append(true).open(self.config().join(file)).unwrap();
        file.write_all(more.as_bytes()).unwrap();
    }

    // ---- the process ----

    /// The command line that runs the daemon here.
    pub fn command(&self) -> Command {
        let mut command = Command::new(program());
        command.args(["run", "--json"]);
        self.at(&mut command);
        command
    }
    fn at(&self, command: &mut Command) {
        command.arg("--config").arg(self.config()).arg("--data").arg(self.data()).env_remove("RUST_LOG");
    }

    /// Starts the daemon; returns once it listens.
    #[track_caller]
    pub fn start(&mut self) {
        let command = self.command();
        self.start_by(command);
    }

    /// Starts what `wrapper` makes of the command line.
    #[track_caller]
    pub fn start_wrapped(&mut self, wrapper: &[&str]) {
        let inner = self.command();
        let mut command = Command::new(wrapper[0]);
        command.args(&wrapper[1..]).arg(inner.get_program()).args(inner.get_args());
        self.start_by(command);
    }

    /// Starts a daemon by a command line; returns once it listens.
    #[track_caller]
    pub fn start_by(&mut self, mut command: Command) {
        assert!(self.daemon.is_none(), "it runs already");
        self.starts += 1;
        let log = self.folder.path().join(format!("log-{}.ndjson", self.starts));
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(File::create(&log).unwrap());
        let mut child = command.spawn().unwrap();
        let begun = Instant::now();
        let (intake, desk) = loop {
            let text = fs::read_to_string(&log).unwrap_or_default();
            if let Some(found) = text.lines().find_map(listening) {
                break found;
            }
            if let Ok(Some(status)) = child.try_wait() {
                panic!("the daemon ended at once ({status}):\n{text}");
            }
            if begun.elapsed() > PATIENCE {
                let _ = child.kill();
                let _ = child.wait();
                panic!("the daemon did not listen within {PATIENCE:?}:\n{text}");
            }
            std::thread::sleep(Duration::from_millis(10));
        };
        self.daemon = Some(Daemon { child, log, intake, desk });
    }

    #[track_caller]
    pub fn daemon(&self) -> &Daemon {
        self.daemon.as_ref().expect("a daemon runs")
    }
    /// Daemons started so far.
    pub fn starts(&self) -> u32 {
        self.starts
    }
    pub fn pid(&self) -> u32 {
        self.daemon().child.id()
    }
    /// What the daemon has logged since its start.
    pub fn log(&self) -> String {
        self.daemon.as_ref().map(|d| fs::read_to_string(&d.log).unwrap_or_default()).unwrap_or_default()
    }
    /// What a complaint shows of it: its last lines, without the many of a usual kind.
    fn log_end(&self) -> String {
        let log = self.log();
        let odd = log.lines().filter(|line| !line.contains("\"message kept\""));
        odd.collect::<Vec<_>>().iter().rev().take(30).rev().map(|line| format!("{line}\n")).collect()
    }
    pub fn is_alive(&mut self) -> bool {
        self.daemon.as_mut().is_some_and(|d| matches!(d.child.try_wait(), Ok(None)))
    }

    /// Waits until it ends by itself; how it ended.
    #[track_caller]
    pub fn until_ended(&mut self) -> ExitStatus {
        let begun = Instant::now();
        let mut daemon = self.daemon.take().expect("a daemon runs");
        loop {
            if let Some(status) = daemon.child.try_wait().unwrap() {
                return status;
            }
            if begun.elapsed() > PATIENCE {
                let _ = daemon.child.kill();
                let _ = daemon.child.wait();
                panic!("it did not end within {PATIENCE:?}:\n{}", fs::read_to_string(&daemon.log).unwrap());
            }
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// kill -9.
    pub fn kill(&mut self) {
        let mut daemon = self.daemon.take().expect("a daemon runs");
        daemon.child.kill().unwrap();
        daemon.child.wait().unwrap();
        no_panic(&daemon.log);
    }

    /// A signal by name, to the child only.
    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill").args([&format!("-{name}"), "--", &self.pid().to_string()]).status().unwrap();
        assert!(sent.success(), "kill -{name}");
    }

    /// SIGTERM, then waits; how it ended and how long that took.
    #[track_caller]
    pub fn terminate(&mut self) -> (ExitStatus, Duration) {
        self.signal("TERM");
        let (begun, log) = (Instant::now(), self.daemon().log.clone());
        let status = self.until_ended();
        no_panic(&log);
        (status, begun.elapsed())
    }

    /// Ends it in an orderly way and starts it again.
    #[track_caller]
    pub fn restart(&mut self) {
        let (status, _) = self.terminate();
        assert!(status.success(), "{status}");
        self.start();
    }

    // ---- orders in ----

    pub fn target(&self) -> Target {
        self.daemon().intake.into()
    }
    pub fn sign(&self, source: &str, id: &str, body: impl Into<bytes::Bytes>) -> Envelope {
        let (scheme, secret) = if source == "shop" { (shop_scheme(), &self.shop) } else { (fair_scheme(), &self.fair) };
        Envelope::signed(&SourceName::from(source), &scheme, secret, id, Timestamp::now() + self.ahead, body)
    }
    /// Sends one signed message to the shop's door.
    #[track_caller]
    pub fn send(&self, id: &str, body: impl Into<bytes::Bytes>) -> Told {
        self.send_as("shop", id, body)
    }
    #[track_caller]
    pub fn send_as(&self, source: &str, id: &str, body: impl Into<bytes::Bytes>) -> Told {
        let envelope = self.sign(source, id, body);
        let mut sender = Sender::new(self.target());
        let told = self.runtime.block_on(sender.send(&envelope));
        told.unwrap_or_else(|error| panic!("{id} was not answered: {error}\n{}", self.log_end()))
    }
    /// An order that must be taken.
    #[track_caller]
    pub fn order(&self, number: &str, lines: &[(&str, i64)]) {
        let told = self.send(&format!("msg_{number}"), order(number, lines).to_string());
        assert_eq!(told.status, 202, "{number}: {}", told.body);
    }

    // ---- the desk ----

    #[track_caller]
    pub fn get(&self, path: &str, accept: &str) -> Reply {
        let desk = self.daemon().desk;
        exchange(desk, format!("GET {path} HTTP/1.1\r\nHost: {desk}\r\nAccept: {accept}\r\nConnection: close\r\n\r\n"))
            .unwrap_or_else(|error| panic!("GET {path}: {error}\n{}", self.log_end()))
    }
    #[track_caller]
    pub fn json(&self, path: &str) -> Value {
        let reply = self.get(path, "application/json");
        assert_eq!(reply.status, 200, "{path}: {}", reply.body);
        reply.json()
    }
    #[track_caller]
    pub fn status(&self) -> String {
        self.get("/status", "text/plain").body
    }
    fn jobs_underway(&self) -> Vec<Value> {
        self.jobs().into_iter().filter(|job| job["state"] != "on paper").collect()
    }
    /// The papers: all on their way, and the latest of those done.
    pub fn jobs(&self) -> Vec<Value> {
        self.json("/jobs")["jobs"].as_array().unwrap().clone()
    }
    /// Numbers of all orders, where they are few.
    #[track_caller]
    pub fn numbers(&self) -> Vec<String> {
        let list = self.json("/orders?all=true");
        assert_eq!(list["more"], 0, "more orders than a list holds");
        list["orders"].as_array().unwrap().iter().map(|o| o["number"].as_str().unwrap().to_owned()).collect()
    }
    /// Is an order there?
    #[track_caller]
    pub fn knows(&self, number: &str) -> bool {
        self.get(&format!("/orders/{number}"), "application/json").status == 200
    }
    /// Waits until the index knows what the journal knows.
    #[track_caller]
    pub fn until_indexed(&self) {
        self.until("index that has caught up", || {
            let figures = self.get("/metrics", "*/*").body;
            let figure =
                |name: &str| figures.lines().find_map(|line| line.strip_prefix(name)?.trim().parse::<f64>().ok());
            figure("dawnslip_index_lag_facts") == Some(0.0) && !self.status().contains("being rebuilt")
        });
    }

    /// Runs a command of the program on this folder.
    pub fn run(&self, words: &[&str]) -> Said {
        let mut command = Command::new(program());
        command.args(words).stdin(Stdio::null());
        self.at(&mut command);
        command.output().unwrap().into()
    }

    // ---- waiting ----

    /// Waits for something, or says what it was, with the status and the log.
    #[track_caller]
    pub fn until(&self, what: &str, mut done: impl FnMut() -> bool) {
        let begun = Instant::now();
        while !done() {
            if begun.elapsed() > PATIENCE {
                panic!("no {what} within {PATIENCE:?}; status:\n{}\nlog:\n{}", self.status(), self.log_end());
            }
            std::thread::sleep(Duration::from_millis(30));
        }
    }

    /// Waits until nothing is being planned or printed; patient for as long as papers come.
    #[track_caller]
    pub fn until_still(&self) {
        loop {
            let (begun, papers) = (Instant::now(), self.galley.papers().len());
            while self.galley.papers().len() == papers {
                // In this order: what is planned between the two questions has its papers queued in the second.
                let received = self.json("/orders?only=received");
                let status = self.json("/status");
                let orders = &status["orders"];
                let count = |name: &str| orders[name].as_u64().unwrap_or(0);
                // A long list is cut short; then the counts tell, as long as planned orders have no stops.
                let unplanned = received["orders"].as_array().unwrap().iter().any(unstopped)
                    || received["more"] != 0
                        && count("received") > count("needs_you") + count("held") + count("waiting");
                if !unplanned && status["papers"]["queued"] == 0 && status["papers"]["sending"] == 0 {
                    return;
                }
                assert!(
                    begun.elapsed() < PATIENCE,
                    "no rest; jobs: {:?}\nstatus:\n{}\nlog:\n{}",
                    self.jobs_underway(),
                    self.status(),
                    self.log_end()
                );
                std::thread::sleep(Duration::from_millis(30));
            }
        }
    }

    /// Waits until an order stands at a stage.
    #[track_caller]
    pub fn until_stage(&self, number: &str, stage: &str) {
        self.until(&format!("{number} that is {stage}"), || self.json(&format!("/orders/{number}"))["stage"] == stage);
    }

    /// How many papers of the galley a job has, by its process id.
    pub fn on_galley(&self, job: &Value) -> usize {
        let number: u64 = job["job"].as_str().unwrap()[1..].parse().unwrap();
        let id = JobId(number).process_id();
        self.galley.papers().iter().flat_map(|paper| &paper.process_ids).filter(|seen| **seen == id).count()
    }

    /// The papers of an order: each on the galley once, or headed COPY.
    #[track_caller]
    pub fn papers_of(&self, number: &str) -> Vec<Value> {
        self.json(&format!("/orders/{number}"))["papers"].as_array().unwrap().clone()
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        if let Some(mut daemon) = self.daemon.take() {
            let _ = daemon.child.kill();
            let _ = daemon.child.wait();
            if !std::thread::panicking() {
                no_panic(&daemon.log);
            }
        }
    }
}

#[track_caller]
fn no_panic(log: &Path) {
    let text = fs::read_to_string(log).unwrap_or_default();
    assert!(!text.contains("panicked"), "something panicked:\n{text}");
}

/// Nothing stops this order in a list.
fn unstopped(order: &Value) -> bool {
    order["stops"].as_array().is_none_or(Vec::is_empty)
}

/// The addresses from the log's line that says that it runs.
fn listening(line: &str) -> Option<(SocketAddr, SocketAddr)> {
    let line: Value = serde_json::from_str(line).ok()?;
    let fields = &line["fields"];
    let at = |name: &str| fields[name].as_str()?.parse().ok();
    (fields["message"] == "running").then(|| Some((at("intake")?, at("desk")?)))?
}

/// Sends bytes, reads until the other side closes.
pub fn exchange(to: SocketAddr, request: impl AsRef<[u8]>) -> std::io::Result<Reply> {
    let mut stream = TcpStream::connect(to)?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    // A refusal may come, and the connection go, before all is sent.
    let sent = stream.write_all(request.as_ref());
    let mut answer = Vec::new();
    let read = stream.read_to_end(&mut answer);
    if answer.is_empty() {
        sent?;
        read?;
    }
    let text = String::from_utf8_lossy(&answer).into_owned();
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
    let status = head.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0);
    Ok(Reply { status, head: head.to_owned(), body: body.to_owned() })
}

/// A schema.org order of somebody on Skerry.
pub fn order(number: &str, lines: &[(&str, i64)]) -> Value {
    let items: Vec<Value> = lines.iter().map(|(sku, count)| item(sku, json!(count))).collect();
    json!({
        "@context": "https://schema.org", "@type": "Order", "orderNumber": number,
        "customer": {"@type": "Person", "name": "Zoë Ångström", "email": "zoe@example.org"},
        "orderDelivery": {"@type": "ParcelDelivery", "deliveryAddress": {"@type": "PostalAddress",
            "name": "Zoë Ångström", "streetAddress": "Quay Street 4", "postalCode": "1203",
            "addressLocality": "Port Haven", "addressCountry": "QS"}},
        "orderedItem": items, "orderStatus": "https://schema.org/OrderProcessing"
    })
}

pub fn item(sku: &str, count: Value) -> Value {
    json!({"@type": "OrderItem", "orderQuantity": count,
        "orderedItem": {"@type": "Product", "sku": sku, "name": format!("The {sku}")}})
}
