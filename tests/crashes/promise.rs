//! What the program had promised before the power went, as the recording shows it, and whether
//! the ledger keeps it.

use super::calls::{Act, Calls, Step};
use dawnslip::book::State;
use dawnslip::daemon::fold;
use dawnslip::ledger::{Indexer, IndexerState, Ledger, MemHome, RealDisk, SledHome};
use dawnslip::model::{JobState, OrderKey, SourceName};
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// How a job's bytes begin: initialise, then automatic status.
const JOB_BEGINS: [u8; 5] = [0x1B, 0x40, 0x1D, 0x61, 0xFF];
/// The question for a process id, before the id itself.
const ID_QUESTION: [u8; 7] = [0x1D, 0x28, 0x48, 6, 0, 0x30, 0x30];
/// That id belongs to no job.
const NO_JOB: &[u8] = b"~~~~";
/// The index is there by then, also where other tests take the machine.
const INDEX_PATIENCE: Duration = Duration::from_secs(60);

/// A message that was answered 2xx.
#[derive(Debug, Clone)]
pub struct Answered {
    pub step: usize,
    pub message: String,
    pub orders: Vec<String>,
}

/// A paper of which at least one byte has left.
#[derive(Debug, Clone)]
pub struct Begun {
    pub step: usize,
    /// Unknown where the program was killed in the middle.
    pub process_id: Option<[u8; 4]>,
}

/// All promises of a recording, by the step at which they were made.
#[derive(Debug, Default)]
pub struct Promises {
    pub answered: Vec<Answered>,
    pub papers: Vec<Begun>,
}

impl Promises {
    /// Finds them; `printer` is the galley's port.
    pub fn of(calls: &Calls, printer: u16) -> Self {
        let mut found = Self::default();
        // By connection: the paper under way, and the last bytes of its stream.
        let mut streams: BTreeMap<&str, (Option<usize>, Vec<u8>)> = BTreeMap::new();
        for (at, step) in calls.steps.iter().enumerate() {
            let Step::Begun(call) = step else { continue };
            let Act::Send { connection, peer, bytes } = &calls.acts[*call] else { continue };
            if *peer != printer {
                found.answered.extend(answer(at, bytes));
                continue;
            }
            let (paper, tail) = streams.entry(connection).or_default();
            if bytes.starts_with(&JOB_BEGINS) {
                *paper = Some(found.papers.len());
                found.papers.push(Begun { step: at, process_id: None });
                tail.clear();
            }
            tail.extend(bytes);
            if let Some(id) = process_id(tail).filter(|id| id != NO_JOB)
                && let Some(paper) = paper.take()
            {
                found.papers[paper].process_id = Some(id);
            }
            tail.drain(..tail.len().saturating_sub(ID_QUESTION.len() + 4));
        }
        found
    }

    /// Those that were made before a cut at this step.
    pub fn before(&self, step: usize) -> Self {
        Self {
            answered: self.answered.iter().filter(|answered| answered.step < step).cloned().collect(),
            papers: self.papers.iter().filter(|begun| begun.step < step).cloned().collect(),
        }
    }
}

/// A socket's bytes as an answer that promises something.
fn answer(step: usize, bytes: &[u8]) -> Option<Answered> {
    let text = std::str::from_utf8(bytes).ok()?.strip_prefix("HTTP/1.1 20")?;
    let body: serde_json::Value = serde_json::from_str(text.split_once("\r\n\r\n")?.1).ok()?;
    let orders = body["orders"].as_array()?.iter().filter_map(|number| Some(number.as_str()?.to_owned())).collect();
    Some(Answered { step, message: body["message"].as_str()?.to_owned(), orders })
}

fn process_id(stream: &[u8]) -> Option<[u8; 4]> {
    let at = stream.windows(ID_QUESTION.len()).rposition(|window| window == ID_QUESTION)? + ID_QUESTION.len();
    stream.get(at..at + 4)?.try_into().ok()
}

/// Opens what the cut left, as the daemon does, and says what is missing of the promises.
pub fn broken(folder: &Path, promises: &Promises, now: Timestamp) -> Vec<String> {
    match look(folder, promises, now) {
        Ok(broken) => broken,
        Err(why) => vec![why],
    }
}

fn look(folder: &Path, promises: &Promises, now: Timestamp) -> Result<Vec<String>, String> {
    let chain = |error: &dyn std::error::Error| format!("it does not open: {}", dawnslip::daemon::chain(error));
    let data = folder.join("data");
    let disk = Arc::new(RealDisk::new(&data).map_err(|error| chain(&error))?);
    let (ledger, opened) = Ledger::open(disk.clone(), now).map_err(|error| chain(&error))?;
    let durable = fold(&opened).map_err(|error| chain(&error))?;
    let state = &durable.state;
    let archive = ledger.archive_reader();
    let mut missing = Vec::new();

    let orders: BTreeSet<_> = promises.answered.iter().flat_map(|answered| &answered.orders).collect();
    for number in &orders {
        let key = OrderKey::new("shop", number.as_str());
        match state.orders.get(&key) {
            Some(entry) if durable.people.of(&key, entry.version).is_none() => {
                missing.push(format!("{number} has no person"));
            }
            Some(_) => {}
            None => match archive.read(&key) {
                Ok(Some(_)) => {}
                other => missing.push(format!("{number} was answered and is lost (archive: {other:?})")),
            },
        }
    }
    if state.swept.is_none() {
        let known = state.messages.get(&SourceName::from("shop"));
        let lost = |answered: &&Answered| known.is_none_or(|known| !known.contains_key(&answered.message));
        let lost = promises.answered.iter().filter(lost);
        missing.extend(lost.map(|answered| format!("message {} would be taken for a new one", answered.message)));
    }
    missing.extend(papers_missing(state, promises));

    // The index is what it would be if it were made anew, whatever is left of its files.
    let index = Indexer::spawn(disk.clone(), &opened, SledHome::new(&data)).map_err(|error| chain(&error))?;
    let anew = Indexer::spawn(disk, &opened, MemHome::default()).map_err(|error| chain(&error))?;
    let readers = [index.reader(), anew.reader()];
    let begun = Instant::now();
    while readers.iter().any(|reader| reader.state() != IndexerState::Serving) && begun.elapsed() < INDEX_PATIENCE {
        std::thread::sleep(Duration::from_millis(2));
    }
    for number in orders {
        let key = OrderKey::new("shop", number.as_str());
        let [found, expected] = readers.each_ref().map(|reader| reader.facts_of(&key));
        // Of what the archive holds it need hold nothing.
        let archived = matches!(archive.read(&key), Ok(Some(_)));
        match (&found, &expected) {
            (Ok(facts), Ok(expected)) if facts == expected && (archived || !facts.is_empty()) => {}
            _ => missing.push(format!("the index is wrong about {number}: {found:?} for {expected:?}")),
        }
    }
    index.close();
    anew.close();
    Ok(missing)
}

/// A paper of which a byte has left is never queued as if nothing had happened.
fn papers_missing(state: &State, promises: &Promises) -> Vec<String> {
    let sent = |id: &[u8; 4]| {
        let job = state.jobs.values().find(|job| job.id.process_id() == *id);
        match job.map(|job| &job.state) {
            Some(JobState::Queued) => {
                Some(format!("job {} was begun and would be printed again without COPY", word(id)))
            }
            Some(_) => None,
            // Those of archived orders are gone with them; a job's number is never given twice.
            None if state.last_job >= number(id) => None,
            None => Some(format!("job {} was begun and is unknown", word(id))),
        }
    };
    promises.papers.iter().filter_map(|paper| paper.process_id.as_ref().and_then(sent)).collect()
}

fn word(id: &[u8; 4]) -> String {
    String::from_utf8_lossy(id).into_owned()
}

/// The job's number, which its process id spells in base 64 from '0' on.
fn number(id: &[u8; 4]) -> u64 {
    id.iter().fold(0, |number, digit| number * 64 + u64::from(digit - b'0'))
}
