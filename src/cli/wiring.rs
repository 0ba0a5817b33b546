//! Where commands meet the modules that do their work: each function turns options into one
//! call, and errors into words for people.

use super::bulk::answer_lines;
use super::client::Folder;
use super::screen::{Fault, Screen};
use super::{Ended, Folders, GalleyOptions, Outcome, QuoteOptions, TryOptions, galley, quote, repair};
use crate::book::Meaning;
use crate::clock::{Clock, SystemClock};
use crate::config::{Colour, read_folder};
use crate::daemon::{self, Exit, Place, Running, Sight, StartError, chain};
use crate::desk::{IndexLag, NoPaper, ReadState};
use crate::intake::mapping::Mapper;
use crate::intake::sender::{Envelope, Sender, Target};
use crate::intake::sources::{OpenSource, SecretPlaces};
use crate::ledger::damage::Survey;
use crate::ledger::{Disk, Ledger, Opened, RealDisk};
use crate::model::{SourceName, Workshop};
use crate::plan::choose::bulk;
use crate::print::galley::GalleyOptions as GalleyKind;
use crate::print::net::TcpNet;
use crate::slip::{Sheet, render_png, render_text};
use std::io::Read;
use std::path::Path;
use std::sync::{Arc, Mutex};

/// A file given on the command line is read up to this size.
const FILE_BYTES_MAX: u64 = 16 * 1024 * 1024;
/// Rules are evaluated on a thread with this stack.
const RULES_STACK_BYTES: usize = 64 * 1024 * 1024;

/// An error and its causes, with something to do. An error that says no more than `what` leaves that to its cause.
pub(super) fn fault(what: &str, error: &(impl std::error::Error + ?Sized), remedy: &str) -> Fault {
    let why = match error.source() {
        Some(cause) if error.to_string() == what => chain(cause),
        _ => chain(error),
    };
    Fault::new(what, why, remedy)
}

fn start_fault(error: &StartError) -> Fault {
    match error {
        StartError::Unreadable(_) => fault(
            "the configuration cannot be read",
            error,
            "name its folder: --config DIR (the sample is config/ of the source)",
        ),
        StartError::Config(_) => Fault::new("the configuration has mistakes", "", "look at each: dawnslip check"),
        StartError::Ledger { folder, cause } if cause.is_damage() => repair::damaged(folder, cause),
        StartError::Ledger { cause, .. } => {
            let otherwise = "name it: --data DIR; another daemon may hold it";
            let remedy = cause.refusal().map_or(otherwise, |refusal| refusal.remedy());
            fault("the data folder cannot be opened", error, remedy)
        }
        StartError::Listen { .. } => fault(
            "an address cannot be listened on",
            error,
            "end what listens there, or change listeners in workshop.toml",
        ),
        _ => fault("the daemon cannot start", error, "mend that, then start it again"),
    }
}

/// Runs something on a thread whose stack is large enough for rules.
pub(super) fn on_large_stack<T: Send>(work: impl FnOnce() -> T + Send) -> Result<T, Fault> {
    std::thread::scope(|scope| {
        let thread = std::thread::Builder::new().stack_size(RULES_STACK_BYTES).spawn_scoped(scope, work);
        let ended = thread.map_err(|error| fault("no thread could be started", &error, "try again"))?.join();
        ended.map_err(|_| Fault::new("this stopped the program's own work", "", "report it with what you typed"))
    })
}

/// The configuration, checked; complaints go to standard error.
pub(super) fn workshop(at: &Folders) -> Result<Workshop, Fault> {
    let place = Place { folder: at.config.clone() };
    let loaded = on_large_stack(|| place.load())?;
    loaded.map_err(|error| start_fault(&error))
}

/// The data folder while no daemon runs, under its lock.
pub(super) struct Stopped {
    pub ledger: Ledger,
    pub disk: Arc<dyn Disk>,
    pub opened: Opened,
}

fn unopened(error: &dyn std::error::Error) -> Fault {
    let remedy = "name it: --data DIR; if a daemon holds it, its socket desk.sock is missing: restart it";
    fault("the data folder cannot be opened", error, remedy)
}

/// Opens the data folder under its lock, to look at it; [`Ledger::leave`] ends the look.
///
/// # Errors
/// Where it is not there, or cannot be opened.
pub(super) fn stopped_ledger(at: &Folders) -> Result<Stopped, Fault> {
    if !at.data.exists() {
        let what = format!("there is no data folder {}", at.data.display());
        return Err(Fault::new(what, "no daemon has run on it", "name it: --data DIR; or start one: dawnslip run"));
    }
    let disk: Arc<dyn Disk> = Arc::new(RealDisk::new(&at.data).map_err(|error| unopened(&error))?);
    let (ledger, opened) =
        Ledger::open(Arc::clone(&disk), SystemClock.now()).map_err(|error| match error.is_damage() {
            true => repair::damaged(&at.data, &error),
            false => unopened(&error),
        })?;
    Ok(Stopped { ledger, disk, opened })
}

/// Opens the data folder under its lock, for reading, while no daemon runs.
///
/// # Errors
/// Where it cannot be opened.
pub fn open_offline(at: &Folders) -> Result<Folder, Fault> {
    let workshop = Arc::new(workshop(at)?);
    let Stopped { ledger, opened, .. } = stopped_ledger(at)?;
    let durable = daemon::fold(&opened).map_err(|error| unopened(&error))?;
    let archive = ledger.archive_reader();
    ledger.leave().map_err(|error| unopened(&error))?;
    let written = durable.state.seq;
    let (state, people) = (Arc::new(durable.state), Arc::new(durable.people));
    let setter = Mutex::new(daemon::setup::typesetter(&workshop));
    let now = SystemClock.now();
    let read = Arc::new(ReadState {
        state: Arc::clone(&state),
        people: Arc::clone(&people),
        workshop: Arc::clone(&workshop),
        printers: Vec::new(),
        troubles: Vec::new(),
        notes: opened.cut_tail.iter().map(ToString::to_string).collect(),
        refused_config: None,
        last_backup: None,
        index: IndexLag { indexed: written, written, rebuilding: false },
        counted: Vec::new(),
        not_ready: Some("no daemon runs on this data; start it: dawnslip run".into()),
    });
    Ok(Folder {
        read,
        now,
        // What cannot be read shows as missing here; opening the folder has named damage.
        history: Box::new(move |order| archive.facts_of(order).unwrap_or_default()),
        paper: Box::new(move |what, form| {
            let sight = Sight { state: &state, people: &people, workshop: &workshop, setter: &setter, now };
            daemon::show(&sight, &what, form).map_err(|error: NoPaper| error)
        }),
    })
}

/// Starts writing the log to standard error: lines for people, or JSON.
fn start_log(json: bool) {
    use tracing_subscriber::EnvFilter;
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("info,sled=warn"));
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    // Colour for a terminal; a journal or a file would keep its codes.
    let log = log.with_ansi(std::io::IsTerminal::is_terminal(&std::io::stderr()));
    // A second start within one process (tests) keeps the first log.
    let _ = if json { log.json().try_init() } else { log.with_target(false).try_init() };
}

/// A runtime for commands and the daemon.
pub(super) fn runtime() -> Result<tokio::runtime::Runtime, Fault> {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|error| fault("the program cannot start", &error, "look at the limits of this user (ulimit)"))
}

/// Runs the daemon until it is told to stop; `--json` writes its log as JSON lines.
///
/// # Errors
/// Where it cannot start.
pub fn run(at: &Folders) -> Ended {
    start_log(at.json);
    let place = Place { folder: at.config.clone() };
    let data = at.data.clone();
    runtime()?.block_on(async move {
        let options =
            daemon::Options { place, data, clock: Arc::new(SystemClock), net: Arc::new(TcpNet), listen: None };
        let running = daemon::start(options).await.map_err(|error| {
            if let StartError::Config(complaints) = &error {
                eprint!("{}", complaints.render(Colour::Plain));
            }
            start_fault(&error)
        })?;
        // Outside systemd there is nobody to tell.
        let _ = sd_notify::notify(&[sd_notify::NotifyState::Ready]);
        match until_told(&running).await {
            None => {
                let _ = sd_notify::notify(&[sd_notify::NotifyState::Stopping]);
                match running.stop().await {
                    Exit::Clean => Ok(Outcome::Well),
                    Exit::Late => Ok(Outcome::Problem),
                }
            }
            // The memory knows more than the disk: nothing may be answered from it any more.
            Some(why) => {
                tracing::error!(why, "stopped; the next start verifies what is on the disk");
                std::process::exit(1);
            }
        }
    })
}

/// Ends with `None` on SIGTERM or SIGINT, with the reason where the ledger failed; SIGHUP reloads.
async fn until_told(running: &Running) -> Option<String> {
    use tokio::signal::unix::{SignalKind, signal};
    let (Ok(mut term), Ok(mut int), Ok(mut hup)) =
        (signal(SignalKind::terminate()), signal(SignalKind::interrupt()), signal(SignalKind::hangup()))
    else {
        return Some(running.failed().await);
    };
    loop {
        tokio::select! {
            _ = term.recv() => return None,
            _ = int.recv() => return None,
            _ = hup.recv() => {
                // A refusal stands at /status and in the log.
                let _ = running.house.reload_config().await;
            }
            why = running.failed() => return Some(why),
        }
    }
}

/// Checks the configuration and tells every complaint.
///
/// # Errors
/// Where the folder cannot be read at all.
pub fn check(at: &Folders) -> Ended {
    let remedy = "name its folder: --config DIR (the sample is config/ of the source)";
    let files = read_folder(&at.config).map_err(|error| fault("the configuration cannot be read", &error, remedy))?;
    let screen = Screen::of_terminal();
    let checked = on_large_stack(|| daemon::setup::checked(&files, &at.config))?;
    match checked {
        Err(complaints) => {
            let colour = if screen.has_colour() { Colour::Styled } else { Colour::Plain };
            let json = at.json.then(|| format!("{:#}", complaints.to_json()));
            screen.say(&json.unwrap_or_else(|| complaints.render(colour)));
            Ok(Outcome::Problem)
        }
        Ok(workshop) => {
            let mut notices = secrets_notices(at, &workshop);
            notices.extend(workshop.notes.iter().cloned());
            notices.extend(workshop.logo.as_ref().and_then(|place| daemon::setup::logo(place).err()));
            let damaged = repair::checked(&at.data).filter(Survey::needs_repair);
            let letters = if damaged.is_none() && at.data.exists() { open_letters(at) } else { OpenLetters::default() };
            notices.extend(letters.last_resort);
            let missing = letters.missing;
            if at.json {
                let damage = damaged.as_ref().map(|survey| &survey.damage);
                let told = serde_json::json!({
                    "complaints": [], "notices": notices, "missing_letters": missing, "damage": damage
                });
                screen.say(&told.to_string());
            } else {
                for notice in &notices {
                    screen.say(&format!("note: {notice}"));
                }
                let counts = [
                    (workshop.sources.len(), "source"),
                    (workshop.products.len(), "product"),
                    (workshop.containers.len(), "container"),
                    (workshop.services.len(), "service"),
                    (workshop.rules.len(), "rule"),
                    (workshop.printers.len(), "printer"),
                ];
                let counts = counts.map(|(n, what)| format!("{n} {what}{}", if n == 1 { "" } else { "s" }));
                let well = if missing.is_empty() { ": all is well" } else { "" };
                screen.say(&format!("{}: {}{well}", workshop.name, counts.join(", ")));
                for line in &missing {
                    screen.say(line);
                }
                if !missing.is_empty() {
                    screen.say("they print as empty boxes; add a font that has them: `fonts` in workshop.toml");
                }
                if let Some(survey) = &damaged {
                    let folder = at.data.display();
                    screen.say(&format!(
                        "the data folder {folder} is damaged\n{}to mend it: dawnslip repair",
                        survey.text()
                    ));
                }
            }
            Ok(if damaged.is_some() || !missing.is_empty() { Outcome::Problem } else { Outcome::Well })
        }
    }
}

/// Secrets that are not there yet, or that others can read: told, but no mistake of the files.
fn secrets_notices(at: &Folders, workshop: &Workshop) -> Vec<String> {
    let place = Place { folder: at.config.clone() };
    let missing = place.sources(workshop, [0; 32]).err().unwrap_or_default();
    let mut notices: Vec<String> = missing.iter().map(chain).collect();
    let secrets = workshop.sources.values().flat_map(|source| &source.secrets);
    notices.extend(secrets.filter_map(crate::config::secret::warning));
    notices
}

/// Letters of open orders that want a look, one line an order.
#[derive(Default)]
struct OpenLetters {
    /// No font has them.
    missing: Vec<String>,
    /// The last resort draws them.
    last_resort: Vec<String>,
}

/// Asks the desk, or the data folder; nothing where there is no ledger to ask yet.
fn open_letters(at: &Folders) -> OpenLetters {
    let told = super::client::read(at, "/letters", "application/json").ok();
    let told: serde_json::Value = told.and_then(|reply| serde_json::from_str(&reply.text()).ok()).unwrap_or_default();
    let lines = |which: &str, says: &str| {
        let orders = told["letters"].as_array().into_iter().flatten();
        let line = |of: &serde_json::Value| {
            let letters: Vec<&str> = of[which].as_array()?.iter().filter_map(serde_json::Value::as_str).collect();
            let order = of["order"].as_str()?;
            (!letters.is_empty()).then(|| format!("order {order}: {says} {}", letters.join(", ")))
        };
        orders.filter_map(line).collect()
    };
    OpenLetters {
        missing: lines("missing", "no font has"),
        last_resort: lines("last_resort", "only the last resort has"),
    }
}

fn open_source(workshop: &Workshop, name: &str) -> Result<OpenSource, Fault> {
    let Some(source) = workshop.sources.get(&SourceName::from(name)) else {
        let known: Vec<_> = workshop.sources.keys().map(|name| name.as_str().to_owned()).collect();
        let remedy = format!("name one of sources.toml: {}", known.join(", "));
        return Err(Fault::new(format!("there is no source \"{name}\""), "", remedy));
    };
    let credentials = crate::config::secret::credentials_directory();
    let places = SecretPlaces { config: Default::default(), credentials };
    OpenSource::open(source, &workshop.services, &places).map_err(|problems| {
        let why = problems.iter().map(chain).collect::<Vec<_>>().join("; ");
        Fault::new(
            format!("source \"{name}\" cannot be opened"),
            why,
            "put the shop's signing secret into the file that sources.toml names",
        )
    })
}

/// Sends a signed test message to a source.
///
/// # Errors
/// Where it cannot be signed or sent.
pub fn try_source(at: &Folders, options: TryOptions) -> Ended {
    let workshop = workshop(at)?;
    let source = open_source(&workshop, &options.source)?;
    let Some(secret) = source.secrets.first() else {
        return Err(Fault::new("this source has no secret", "", "name one in sources.toml"));
    };
    let to = options.to.unwrap_or_else(|| format!("http://{}", workshop.listeners.intake));
    let target: Target =
        to.parse().map_err(|error| fault("that is no address", &error, "write it like http://127.0.0.1:7781"))?;
    let now = SystemClock.now();
    let id = format!("try_{}", now.as_millisecond());
    let body = crate::intake::mapping::test_body(now);
    let envelope = Envelope::signed(&source.name, &source.scheme, secret, &id, now, body);
    let screen = Screen::of_terminal();
    if options.curl {
        screen.say(&envelope.as_curl(&target));
        return Ok(Outcome::Well);
    }
    let told = runtime()?.block_on(Sender::new(target.clone()).send(&envelope));
    let told = told.map_err(|error| {
        fault(
            "the message was not answered",
            &error,
            "is the daemon running? dawnslip status; or see the command: --curl",
        )
    })?;
    let well = (200..300).contains(&told.status);
    if at.json {
        let said = serde_json::json!({ "source": options.source, "to": to, "status": told.status,
            "milliseconds": told.took.as_millis() as u64, "answer": told.body });
        screen.say(&said.to_string());
    } else {
        let headers: Vec<&str> = envelope.headers.iter().map(|(name, _)| name.as_str()).collect();
        screen.say(&format!(
            "1  secret    the first of {} for source \"{}\"\n2  signed    {} bytes as {id}; headers {}\n3  sent      POST {target}{}\n4  answered  {} in {} ms: {}\n{}",
            source.secrets.len(),
            options.source,
            envelope.body.len(),
            headers.join(", "),
            envelope.path,
            told.status,
            told.took.as_millis(),
            told.body.trim(),
            if well {
                "the way is open: signature, disk and answer all work (it was no order, so nothing prints)"
            } else {
                "not accepted: compare the secret and the scheme in sources.toml with the shop's"
            }
        ));
    }
    Ok(if well { Outcome::Well } else { Outcome::Problem })
}

fn read_small(file: &Path) -> Result<Vec<u8>, Fault> {
    let mut bytes = Vec::new();
    let done = if file == Path::new("-") {
        std::io::stdin().lock().take(FILE_BYTES_MAX).read_to_end(&mut bytes)
    } else {
        std::fs::File::open(file).and_then(|file| file.take(FILE_BYTES_MAX).read_to_end(&mut bytes))
    };
    let what = format!("{} cannot be read", file.display());
    done.map_err(|error| fault(&what, &error, "name a file that is there, or - for standard input"))?;
    Ok(bytes)
}

/// Plans an order that does not exist.
///
/// # Errors
/// Where the order or the configuration cannot be read.
pub fn quote(at: &Folders, screen: &Screen, options: QuoteOptions) -> Ended {
    if let Some(file) = &options.ndjson {
        return answer_lines(file, screen, |line| {
            let answer = bulk::Instance::read(line)?.decide();
            serde_json::to_string(&answer).map_err(|error| error.to_string())
        });
    }
    let workshop = workshop(at)?;
    let order = match &options.file {
        None => None,
        Some(file) => {
            let name =
                options.source.as_deref().or(workshop.sources.keys().next().map(SourceName::as_str)).unwrap_or("");
            let Some(source) = workshop.sources.get(&SourceName::from(name)) else {
                return Err(Fault::new(
                    format!("there is no source \"{name}\""),
                    "",
                    "name one of sources.toml: --source NAME",
                ));
            };
            let mapper = Mapper::compile(source)
                .map_err(|problems| Fault::new("the mapping is wrong", format!("{problems:?}"), "dawnslip check"))?
                .with_services(&workshop.services);
            match mapper.read(&read_small(file)?, &[0; 32], workshop.currency) {
                Meaning::Orders(orders) => orders.into_iter().next().map(|(order, _)| order),
                Meaning::NotAnOrder => None,
                Meaning::Unmappable { reason, pointer } => {
                    let why = format!("{reason} (at {pointer})");
                    return Err(Fault::new(
                        "the file is no order that this source's mapping reads",
                        why,
                        "name the right source: --source NAME",
                    ));
                }
            }
        }
    };
    if options.file.is_some() && order.is_none() {
        return Err(Fault::new("the file holds no order", "", "name the right source: --source NAME"));
    }
    let asked = quote::Asked {
        what: options.what,
        order,
        to: options.to,
        weight: options.weight,
        container: options.container,
        explain: options.explain,
        json: at.json,
    };
    let today = crate::model::daytime::date_of(&workshop.zone, SystemClock.now());
    let quoted = on_large_stack(|| quote::quote(&asked, &workshop, today))?;
    let quoted = quoted.map_err(|error| fault("that cannot be quoted", &error, "see dawnslip quote --help"))?;
    Screen::of_terminal().say(&quoted.text);
    Ok(if quoted.settled { Outcome::Well } else { Outcome::Problem })
}

/// Draws one paper of each kind, design and script, at both widths, into the folder: with it, all of them
/// on one contact sheet.
fn sample_sheet(at: &Folders, options: &GalleyOptions) -> Ended {
    let remedy = "name a folder that you may write to: --out DIR";
    let workshop = workshop(at)?;
    let mut setter = daemon::setup::typesetter(&workshop);
    std::fs::create_dir_all(&options.out).map_err(|error| fault("the folder cannot be made", &error, remedy))?;
    let written = |name: &str, bytes: &[u8]| {
        std::fs::write(options.out.join(name), bytes)
            .map_err(|error| fault("a picture was not written", &error, remedy))
    };
    // As they come out in the morning, whenever somebody looks at them.
    let now = SystemClock.now();
    let morning = crate::model::daytime::date_of(&workshop.zone, now).to_datetime(workshop.day.pick_list_at);
    let morning = workshop.zone.to_timestamp(morning).unwrap_or(now);
    let mut pictures = Vec::new();
    for (name, document) in crate::slip::sample::papers(&workshop, morning) {
        let paper = crate::slip::settled(document, Vec::new(), &mut setter);
        for (width, sheet) in [(80, Sheet::WIDE), (58, Sheet::NARROW)] {
            let drawn = render_png(&paper, sheet, &mut setter);
            let drawn =
                drawn.map_err(|error| fault("a paper was not drawn", &error, "report it with your configuration"))?;
            let text = render_text(&paper, sheet, &mut setter);
            written(&format!("{name}-{width}mm.png"), &drawn)?;
            written(&format!("{name}-{width}mm.txt"), text.as_bytes())?;
            pictures.push(drawn);
        }
    }
    let sheet = crate::print::galley::contact_sheet(&pictures);
    let sheet = sheet.map_err(|error| fault("the contact sheet was not made", &error, "try again"))?;
    written("sheet.png", &sheet)?;
    let screen = Screen::of_terminal();
    screen.say(&format!("{} pictures in {}; all on one: sheet.png", pictures.len(), options.out.display()));
    Ok(Outcome::Well)
}

/// Runs the virtual printer.
///
/// # Errors
/// Where it cannot listen.
pub fn galley(at: &Folders, options: GalleyOptions) -> Ended {
    if options.sheet {
        return sample_sheet(at, &options);
    }
    let kind = GalleyKind {
        dots: options.dots as usize,
        out_dir: Some(options.out),
        rows_a_second: options.rows_a_second,
        confirms: options.confirms.into(),
        // Programs that never cut still get their paper.
        tear_at_close: true,
        ..GalleyKind::default()
    };
    let request =
        galley::Request { listen: options.listen, control: options.control, options: kind, keep_days: options.keep };
    let (tell, words) = tokio::sync::mpsc::channel(16);
    runtime()?.block_on(async move {
        if let Some(line) = options.fail {
            // The channel is new and has room.
            let _ = tell.try_send(line.replace('-', " "));
        }
        let mut typed = galley::typed_words();
        tokio::spawn(async move {
            while let Some(line) = typed.recv().await {
                if tell.send(line).await.is_err() {
                    return;
                }
            }
        });
        let stop = async {
            // An unreadable signal is as good as a received one: it ends.
            let _ = tokio::signal::ctrl_c().await;
        };
        let ran = galley::run(request, &mut std::io::stdout(), words, stop).await;
        ran.map(|()| Outcome::Well).map_err(|error| fault("the galley has ended", &error, "see dawnslip galley --help"))
    })
}
