//! `dawnslip rehearse`: a whole morning on this machine, nothing short-cut. The real daemon
//! on loopback, the sample workshop, the galley as its printer, orders over HTTP.

use super::rehearse_account::{Account, Printed};
use super::rehearse_orders::{Moment, PlannedMessage, orders};
use super::screen::{Fault, Screen};
use super::wiring::{fault, on_large_stack, runtime};
use super::{Ended, Folders, Outcome, RehearseOptions, client};
use crate::book::Mode;
use crate::clock::{Clock, ShiftedClock};
use crate::config::embedded;
use crate::daemon::{self, House, Place, Running};
use crate::desk::{Backend, PaperForm, PaperWanted};
use crate::intake::sender::{Sender, Target};
use crate::intake::sources::SourceTable;
use crate::model::daytime::{date_of, instant_of};
use crate::model::{JobId, JobState, PaperKind, Workshop};
use crate::print::galley::{Galley, GalleyOptions};
use crate::print::net::TcpNet;
use jiff::{SignedDuration, Timestamp};
use serde_json::json;
use std::collections::BTreeMap;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The orders arrive so long before the pick list.
const BEFORE_LIST: SignedDuration = SignedDuration::from_mins(25);
/// A look at how far things are.
const LOOK: Duration = Duration::from_millis(20);
/// Nothing moves for so long: something is stuck, and the rehearsal says so.
const STUCK_AFTER: Duration = Duration::from_secs(60);
/// Papers on the contact sheet.
const SHEET_PAPERS_MAX: usize = 60;

/// Everything that plays.
struct Theatre {
    screen: Screen,
    runtime: tokio::runtime::Runtime,
    clock: Arc<ShiftedClock>,
    galley: Galley,
    running: Running,
    workshop: Arc<Workshop>,
    table: SourceTable,
    /// How commands reach the daemon.
    at: Folders,
    out: PathBuf,
    /// Papers of the galley by process id, as they came; and how many were looked at.
    came: BTreeMap<[u8; 4], Vec<Arc<[u8]>>>,
    looked_at: u64,
    printed: BTreeMap<JobId, Printed>,
}

/// Plays it.
///
/// # Errors
/// Where it cannot begin, or gets stuck.
pub fn rehearse(at: &Folders, options: RehearseOptions) -> Ended {
    let screen = Screen::of_terminal();
    let folder = tempfile::tempdir()
        .map_err(|error| fault("no temporary folder could be made", &error, "free some room in /tmp"))?;
    let out = options.out.clone().unwrap_or_else(|| PathBuf::from("rehearsal"));
    std::fs::create_dir_all(&out)
        .map_err(|error| fault("the folder for the pictures cannot be made", &error, "name another: --out DIR"))?;
    let mut theatre = raise(screen, folder.path(), out, at.json)?;
    theatre.say(&format!(
        "{}: rehearsal of a morning, {} local time\n  shops send to      http://{}/intake/...\n  people ask         http://{}/status\n  the printer is     {} (galley, {} dots)\n",
        theatre.workshop.name,
        theatre.workshop.zone.to_datetime(theatre.clock.now()).strftime("%a %d %b %Y, %H:%M"),
        theatre.running.intake,
        theatre.running.desk,
        theatre.workshop.printers.first().map_or("", |p| p.address.as_str()),
        theatre.workshop.printers.first().map_or(0, |p| p.dots),
    ));
    let account = theatre.play(options.orders as usize)?;
    if options.stay {
        theatre.say(&format!(
            "It stays up. Open http://{}/status, or in another terminal:\n  dawnslip status --config {} --data {}\nCtrl-C ends it.",
            theatre.running.desk,
            theatre.at.config.display(),
            theatre.at.data.display()
        ));
        // An unreadable signal is as good as a received one: it ends.
        let _ = theatre.runtime.block_on(tokio::signal::ctrl_c());
    }
    let Theatre { runtime, running, .. } = theatre;
    runtime.block_on(running.stop());
    Ok(if account.is_well() { Outcome::Well } else { Outcome::Problem })
}

/// Lays out the folder of a rehearsal and starts galley and daemon.
fn raise(screen: Screen, folder: &Path, out: PathBuf, json: bool) -> Result<Theatre, Fault> {
    let runtime = runtime()?;
    let any_port = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
    let galley = runtime
        .block_on(Galley::start(any_port, GalleyOptions::default()))
        .map_err(|error| fault("the galley cannot listen", &error, "try again"))?;
    let (config, data) = (folder.join("config"), folder.join("data"));
    let address = galley.addr().unwrap_or(any_port).to_string();
    write_config(&config, &address)
        .map_err(|error| fault("the sample cannot be written", &error, "free some room in /tmp"))?;

    let place = Place { folder: config.clone() };
    let told = |error: daemon::StartError| {
        fault("the daemon cannot start", &error, "this is a mistake of the sample; please report it")
    };
    let workshop = Arc::new(on_large_stack(|| place.load())?.map_err(told)?);
    let clock = Arc::new(ShiftedClock::starting_at(early(&workshop)));
    let options = daemon::Options {
        place: place.clone(),
        data: data.clone(),
        clock: Arc::clone(&clock) as Arc<dyn Clock>,
        net: Arc::new(TcpNet),
        listen: Some((any_port, any_port)),
    };
    let running = runtime.block_on(daemon::start(options)).map_err(told)?;
    let table = place.sources(&workshop, [0; 32]).map_err(|problems| {
        let why = problems.iter().map(daemon::chain).collect::<Vec<_>>().join("; ");
        Fault::new("the sample's sources cannot be opened", why, "this is a mistake of the sample; please report it")
    })?;
    Ok(Theatre {
        screen,
        runtime,
        clock,
        galley,
        running,
        workshop,
        table,
        at: Folders { config, data, json },
        out,
        came: BTreeMap::new(),
        looked_at: 0,
        printed: BTreeMap::new(),
    })
}

/// The embedded sample, with the galley as its printer, and secrets made for this rehearsal.
fn write_config(config: &Path, printer: &str) -> std::io::Result<()> {
    for (name, text) in embedded() {
        let file = config.join(&name);
        if let Some(parent) = file.parent() {
            std::fs::create_dir_all(parent)?;
        }
        std::fs::write(file, text.replace("127.0.0.1:9100", printer))?;
    }
    std::fs::create_dir_all(config.join("secrets"))?;
    for name in ["shop", "fair", "stall"] {
        let mut bytes = [0u8; 32];
        getrandom::fill(&mut bytes).map_err(|error| std::io::Error::other(error.to_string()))?;
        // Base64 text serves both schemes; the prefix belongs to Standard Webhooks.
        let prefix = if name == "shop" { "whsec_" } else { "" };
        let text = format!("{prefix}{}\n", data_encoding::BASE64.encode(&bytes));
        let file = config.join("secrets").join(name);
        std::fs::write(&file, text)?;
        std::fs::set_permissions(&file, std::os::unix::fs::PermissionsExt::from_mode(0o600))?;
    }
    Ok(())
}

/// Some time before the pick list of the next open day.
fn early(workshop: &Workshop) -> Timestamp {
    let day = &workshop.day;
    let today = date_of(&workshop.zone, Timestamp::now());
    let closed =
        |date: &jiff::civil::Date| day.closed_weekdays.contains(&date.weekday()) || day.closed_dates.contains(date);
    let date = today.series(jiff::Span::new().days(1)).take(60).find(|date| !closed(date)).unwrap_or(today);
    instant_of(&workshop.zone, date, day.pick_list_at) - BEFORE_LIST
}

impl Theatre {
    fn say(&self, text: &str) {
        if !self.at.json {
            self.screen.say(text);
        }
    }
    fn house(&self) -> &House {
        &self.running.house
    }

    /// The acts, in order.
    fn play(&mut self, count: usize) -> Result<Account, Fault> {
        let messages = orders(count, self.clock.now());
        let mut account = Account::default();
        let begun = Instant::now();

        self.say("1  orders arrive");
        self.send(&messages, Moment::First, &mut account)?;
        self.until("planning", |house| house.shared.durable().state.orders.values().all(|e| e.asked.is_none()))?;
        let burst = self.house().shared.durable().state.mode == Mode::Burst;
        if burst {
            self.say("2  it is a burst: slips and cards wait, so packing is started (dawnslip start-packing)");
            let reply = client::act(&self.at, "/packing/start", &json!({}))?;
            if let Some(refused) = reply.refusal() {
                return Err(refused);
            }
        } else {
            self.say("2  they trickle in: slips and cards print as orders arrive");
        }
        self.until_printed()?;
        self.say("3  one order is changed and one cancelled, after their slips were printed");
        self.send(&messages, Moment::AfterPrinting, &mut account)?;
        self.until_printed()?;

        let list_at = instant_of(
            &self.workshop.zone,
            date_of(&self.workshop.zone, self.clock.now()),
            self.workshop.day.pick_list_at,
        );
        self.say(&format!(
            "4  the clock is put to {}: the pick list",
            self.workshop.day.pick_list_at.strftime("%H:%M")
        ));
        self.clock.move_to(list_at);
        self.until("the pick list", |house| {
            house.shared.durable().state.jobs.values().any(|job| job.kind == PaperKind::PickList)
        })?;
        self.until_printed()?;

        self.say("5  what people see (curl the desk's /status)\n");
        let status = client::read(&self.at, "/status", "text/plain")?;
        self.say(&indented(&String::from_utf8_lossy(&status.body)));
        self.write_sheet()?;
        account.close(self.house(), &messages, &self.came, &self.printed, begun.elapsed());
        if self.at.json {
            self.screen.say(&account.to_json(&self.out).to_string());
        } else {
            self.screen.say(&account.text(&self.out));
        }
        Ok(account)
    }

    /// Sends every message of a moment, one connection, in order.
    fn send(&mut self, messages: &[PlannedMessage], moment: Moment, account: &mut Account) -> Result<(), Fault> {
        let target: Target = format!("http://{}", self.running.intake)
            .parse()
            .map_err(|error| fault("the intake's address", &error, "please report it"))?;
        let mut sender = Sender::new(target);
        let wanted: Vec<&PlannedMessage> = messages.iter().filter(|message| message.moment == moment).collect();
        for (index, message) in wanted.iter().enumerate() {
            self.screen.progress(&format!("   {} of {}", index + 1, wanted.len()));
            let envelope = self.table.get(message.source.as_str()).and_then(|s| message.envelope(s, self.clock.now()));
            let Some(envelope) = envelope else {
                return Err(Fault::new("the sample lacks a source", message.source.as_str(), "please report it"));
            };
            let told = self.runtime.block_on(sender.send(&envelope));
            let told = told.map_err(|error| fault("a message was not answered", &error, "please report it"))?;
            account.answered(message, &told);
        }
        self.screen.progress("");
        Ok(())
    }

    /// Waits until nothing is planned or printed any more.
    fn until_printed(&mut self) -> Result<(), Fault> {
        self.until("printing", |house| {
            let durable = house.shared.durable();
            let on_its_way = |state: &JobState| matches!(state, JobState::Queued | JobState::Sending { .. });
            durable.state.orders.values().all(|entry| entry.asked.is_none())
                && !durable.state.jobs.values().any(|job| on_its_way(&job.state))
        })?;
        self.write_papers()
    }

    /// Waits for something, showing progress; a standstill is an error that says what is stuck.
    fn until(&mut self, what: &str, done: impl Fn(&House) -> bool) -> Result<(), Fault> {
        let (mut moved, mut last) = (Instant::now(), (0, 0));
        loop {
            self.looked_at = self.galley.papers().last().map_or(0, |paper| paper.number);
            if done(self.house()) {
                self.screen.progress("");
                return Ok(());
            }
            let now = (self.house().shared.durable().state.seq, self.looked_at);
            if now != last {
                (moved, last) = (Instant::now(), now);
                self.screen.progress(&format!("   {what}: {} papers so far", self.looked_at));
            }
            if moved.elapsed() > STUCK_AFTER {
                let status = client::read(&self.at, "/status", "text/plain")?;
                let why = String::from_utf8_lossy(&status.body).into_owned();
                return Err(Fault::new(format!("the rehearsal is stuck at {what}"), why, "please report it"));
            }
            std::thread::sleep(LOOK);
        }
    }

    /// Takes the galley's papers. The answer to a process id belongs to the paper before it,
    /// so they are read anew each time, not only the latest.
    fn collect(&mut self) {
        let papers = self.galley.papers();
        self.looked_at = papers.last().map_or(0, |paper| paper.number);
        self.came.clear();
        for paper in papers {
            for id in &paper.process_ids {
                self.came.entry(*id).or_default().push(Arc::clone(&paper.png));
            }
        }
    }

    /// Writes picture and text of each paper that has come since the last time.
    fn write_papers(&mut self) -> Result<(), Fault> {
        self.collect();
        let state = Arc::clone(&self.house().read().state);
        for job in state.jobs.values().filter(|job| matches!(job.state, JobState::OnPaper { .. })) {
            if self.printed.contains_key(&job.id) {
                continue;
            }
            let Some(png) = self.came.get(&job.id.process_id()).and_then(|papers| papers.first()) else { continue };
            let text = self.runtime.block_on(self.house().paper(PaperWanted::Job(job.id), PaperForm::Text));
            let text = text.map_err(|error| fault("a paper's text", &error, "please report it"))?;
            let name = format!("{:03} {}", self.printed.len() + 1, state.paper_name(job)).replace(['/', ' '], "-");
            let file = self.out.join(format!("{name}.png"));
            let unwritten = |error: std::io::Error| {
                fault("a picture cannot be written", &error, "free some room, or name another folder: --out DIR")
            };
            std::fs::write(&file, png).map_err(unwritten)?;
            std::fs::write(file.with_extension("txt"), &text).map_err(unwritten)?;
            self.printed.insert(job.id, Printed { kind: job.kind, file });
        }
        Ok(())
    }

    /// One picture of all papers, the pick list first.
    fn write_sheet(&self) -> Result<(), Fault> {
        let mut papers: Vec<&Printed> = self.printed.values().collect();
        papers.sort_by_key(|paper| paper.kind != PaperKind::PickList);
        let pngs: Vec<Vec<u8>> =
            papers.iter().take(SHEET_PAPERS_MAX).filter_map(|paper| std::fs::read(&paper.file).ok()).collect();
        let sheet = crate::print::galley::contact_sheet(&pngs)
            .map_err(|error| fault("the contact sheet cannot be drawn", &error, "please report it"))?;
        std::fs::write(self.out.join("contact-sheet.png"), sheet)
            .map_err(|error| fault("the contact sheet cannot be written", &error, "free some room"))
    }
}

fn indented(text: &str) -> String {
    text.lines().map(|line| format!("   {line}\n")).collect()
}
