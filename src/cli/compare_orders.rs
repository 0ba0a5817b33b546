//! The orders that `dawnslip compare` plans: the past ones of the data folder, those of an
//! export, or messages as a shop sends them.

use super::screen::{Fault, Screen};
use super::wiring::{Stopped, stopped_ledger};
use super::{Folders, client};
use crate::book::{Fact, Meaning};
use crate::clock::{Clock, SystemClock};
use crate::daemon::chain;
use crate::intake::file;
use crate::intake::mapping::Mapper;
use crate::ledger::copies::{CopyError, Header, Holds, Item, Reader, Source};
use crate::ledger::record;
use crate::model::{Order, OrderKey, SourceName, Workshop, daytime};
use crate::plan::compare::Dated;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek, Write};
use std::ops::ControlFlow;
use std::path::Path;

/// What an export's first line begins with, behind its checksum.
const EXPORT_HEAD: &str = "\"dawnslip\":";
/// A first line is looked at so far.
const HEAD_BYTES: u64 = 256;
/// So many lines that are no orders are told one by one.
const REFUSALS_TOLD_MAX: usize = 5;
/// Words without which a fact says nothing of what an order holds.
const TELLING: [&str; 5] = ["order_received", "order_revised", "order_cancelled", "order_reopened", "\"planned\""];

/// Orders by number, in the order in which they came.
#[derive(Debug)]
pub struct Gathered {
    zone: TimeZone,
    orders: Vec<Dated>,
    places: BTreeMap<OrderKey, usize>,
    cancelled: BTreeSet<OrderKey>,
}

impl Gathered {
    /// Nothing yet. `zone` is the workshop's: it tells on which day something was.
    pub fn new(workshop: &Workshop) -> Self {
        let zone = workshop.zone.clone();
        Self { zone, orders: Vec::new(), places: BTreeMap::new(), cancelled: BTreeSet::new() }
    }

    /// The newest content of an order. It counts on the day on which it was first placed.
    pub fn take(&mut self, order: Order) {
        match self.places.get(&order.key) {
            Some(&at) => self.orders[at].order = order,
            None => {
                let day = order.placed.map(|at| daytime::date_of(&self.zone, at));
                self.places.insert(order.key.clone(), self.orders.len());
                self.orders.push(Dated { order, day });
            }
        }
    }

    /// The day for which it was planned last.
    fn planned(&mut self, order: &OrderKey, day: Date) {
        if let Some(&at) = self.places.get(order) {
            self.orders[at].day = Some(day);
        }
    }

    /// What a fact says of orders.
    fn fact(&mut self, json: &str) -> Result<(), record::RecordError> {
        if !TELLING.iter().any(|word| json.contains(word)) {
            return Ok(());
        }
        let stamped = record::fact_from(json)?;
        match stamped.fact {
            Fact::OrderReceived { order, .. } => {
                let key = order.key.clone();
                let came = order.placed.is_none().then(|| daytime::date_of(&self.zone, stamped.at));
                self.take(*order);
                came.into_iter().for_each(|day| self.planned(&key, day));
            }
            Fact::OrderRevised { order, .. } => self.take(*order),
            Fact::Planned { plan, .. } => {
                let day = plan.pins.hand_over;
                let joined = plan.pins.joined.iter().map(|(order, _)| order);
                std::iter::once(&plan.order).chain(joined).for_each(|order| self.planned(order, day));
            }
            Fact::OrderCancelled { order, .. } => {
                self.cancelled.insert(order);
            }
            Fact::OrderReopened { order, .. } => {
                self.cancelled.remove(&order);
            }
            _ => {}
        }
        Ok(())
    }

    /// Those that were not cancelled.
    pub fn orders(self) -> Vec<Dated> {
        let Self { orders, cancelled, .. } = self;
        orders.into_iter().filter(|dated| !dated.order.cancelled && !cancelled.contains(&dated.order.key)).collect()
    }
}

/// The past orders, from the daemon or, where none runs, from the data folder.
///
/// # Errors
/// Where they cannot be read.
pub fn past(at: &Folders, workshop: &Workshop, screen: &Screen) -> Result<Vec<Dated>, Fault> {
    let aside = |error: std::io::Error| {
        Fault::new(
            "the orders could not be laid aside",
            error.to_string(),
            "make room in the folder for temporary files",
        )
    };
    let mut copy = tempfile::tempfile().map_err(aside)?;
    let asked = client::read_long(at, "/export?persons=no", |piece| copy.write_all(piece).map_err(aside))?;
    if asked {
        copy.rewind().map_err(aside)?;
        return exported("the daemon's export", Box::new(BufReader::new(copy)), workshop, screen);
    }
    let Stopped { ledger, disk, opened } = stopped_ledger(at)?;
    let header = Header::of(&opened.installation, Holds::Facts, opened.last_seq, SystemClock.now());
    let mut gathered = Gathered::new(workshop);
    let mut trouble = None;
    let read = header.copying(disk.as_ref(), disk.as_ref()).run(
        |item| {
            if let Item::Fact { json, .. } = &item {
                trouble = trouble.take().or(gathered.fact(json).err());
            }
            Ok(())
        },
        |step| {
            screen.progress(&format!("reading past orders: {step}"));
            Ok(())
        },
    );
    screen.progress("");
    let left = ledger.leave();
    let unread = |error: &dyn std::error::Error| {
        Fault::new("the past orders cannot be read", chain(error), "see: dawnslip check, dawnslip status")
    };
    read.map_err(|error| unread(&error))?;
    left.map_err(|error| unread(&error))?;
    trouble.map_or_else(|| Ok(gathered.orders()), |error| Err(unread(&error)))
}

/// The orders of a file, or of standard input.
///
/// # Errors
/// Where it cannot be read, or a line of it is no order.
pub fn of_file(file: &Path, source: Option<&str>, workshop: &Workshop, screen: &Screen) -> Result<Vec<Dated>, Fault> {
    let name = if file == Path::new("-") { "standard input".to_owned() } else { file.display().to_string() };
    let input: Box<dyn Read + Send> = if file == Path::new("-") {
        Box::new(std::io::stdin())
    } else {
        Box::new(File::open(file).map_err(|error| {
            let remedy = "name a file that is there, or - for standard input";
            Fault::new(format!("{name} cannot be read"), error.to_string(), remedy)
        })?)
    };
    let mut lines = BufReader::new(input);
    let mut head = Vec::new();
    let read = lines.by_ref().take(HEAD_BYTES).read_until(b'\n', &mut head);
    read.map_err(|error| Fault::new(format!("{name} cannot be read"), error.to_string(), "look at the file"))?;
    let is_export = String::from_utf8_lossy(&head).contains(EXPORT_HEAD);
    let whole = std::io::Cursor::new(head).chain(lines);
    if is_export {
        return exported(&name, Box::new(whole), workshop, screen);
    }
    messages(&name, whole, source, workshop, screen)
}

fn exported(
    name: &str,
    lines: Box<dyn BufRead + Send>,
    workshop: &Workshop,
    screen: &Screen,
) -> Result<Vec<Dated>, Fault> {
    let mut gathered = Gathered::new(workshop);
    let read = (|| {
        let mut reader = Reader::one(Source { name: name.to_owned(), lines })?;
        let mut facts = 0_u64;
        while let Some(item) = reader.next() {
            let item = item?;
            if let Item::Fact { json, .. } = &item {
                gathered.fact(json).map_err(|cause| reader.unreadable(&item, cause))?;
                facts += 1;
                if facts.is_multiple_of(1024) {
                    screen.progress(&format!("reading past orders: {facts} facts"));
                }
            }
        }
        Ok(())
    })();
    screen.progress("");
    read.map_err(|error: CopyError| {
        Fault::new(format!("{name} cannot be read as an export"), chain(&error), "export again: dawnslip export FILE")
    })?;
    Ok(gathered.orders())
}

fn messages(
    name: &str,
    input: impl Read,
    source: Option<&str>,
    workshop: &Workshop,
    screen: &Screen,
) -> Result<Vec<Dated>, Fault> {
    let mapper = mapper(source, workshop)?;
    let mut gathered = Gathered::new(workshop);
    let mut refused: Vec<String> = Vec::new();
    let mut read = 0_u64;
    file::read(input, |piece| {
        read += 1;
        if read.is_multiple_of(256) {
            screen.progress(&format!("{read} read"));
        }
        let line = piece.line;
        match piece.message {
            Err(error) => refused.push(format!("line {line}: {error}")),
            Ok(message) => match mapper.read(&message, &[0; 32], workshop.currency) {
                Meaning::Orders(orders) => orders.into_iter().for_each(|(order, _)| gathered.take(order)),
                Meaning::NotAnOrder => {}
                Meaning::Unmappable { reason, pointer } => {
                    refused.push(format!("line {line}: {reason} (at {pointer})"));
                }
            },
        }
        ControlFlow::Continue(())
    });
    screen.progress("");
    if refused.is_empty() {
        return Ok(gathered.orders());
    }
    // Figures of a part would look like those of the whole.
    let more = refused.len().saturating_sub(REFUSALS_TOLD_MAX);
    refused.truncate(REFUSALS_TOLD_MAX);
    if more > 0 {
        refused.push(format!("and {more} more"));
    }
    Err(Fault::new(
        format!("{name} holds something that is no order"),
        refused.join("; "),
        "correct these lines or take them out; name the shop whose mapping reads them: --source NAME",
    ))
}

fn mapper(source: Option<&str>, workshop: &Workshop) -> Result<Mapper, Fault> {
    let name = source.or(workshop.sources.keys().next().map(SourceName::as_str)).unwrap_or("");
    let Some(source) = workshop.sources.get(&SourceName::from(name)) else {
        let known: Vec<&str> = workshop.sources.keys().map(SourceName::as_str).collect();
        let remedy = format!("name one of sources.toml: {}", known.join(", "));
        return Err(Fault::new(format!("there is no source \"{name}\""), "", remedy));
    };
    let mapper = Mapper::compile(source)
        .map_err(|problems| Fault::new("the mapping is wrong", format!("{problems:?}"), "dawnslip check"))?;
    Ok(mapper.with_services(&workshop.services))
}
