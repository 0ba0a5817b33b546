//! `dawnslip intake`.

use super::client;
use super::payloads::{Piece, pieces};
use super::screen::{Fault, Screen};
use super::{Ended, Folders, Outcome};
use crate::desk::form::encode;
use hyper::body::Bytes;
use serde_json::{Value, json};
use std::io::Read;
use std::path::{Path, PathBuf};

/// A file is read whole, so that it can be taken apart; a larger one wants splitting.
const FILE_BYTES_MAX: u64 = 256 * 1024 * 1024;
/// So many refusals are told one by one; the rest is counted.
const REFUSALS_TOLD_MAX: usize = 20;

/// Take in messages from a file instead of the network
#[derive(Debug, clap::Args)]
#[command(after_help = "\
The same messages that the shop would send, unsigned: one JSON object, an array of
them, or one a line (NDJSON). For a shop without webhooks, and to reconcile after an
outage: what is known already changes nothing.

  dawnslip intake missed.json --source shop
  shop-export | dawnslip intake - --source stall")]
pub struct Intake {
    /// The file; - for standard input
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The source whose mapping reads it
    #[arg(long, value_name = "SOURCE")]
    source: String,
}

#[derive(Debug, Default)]
struct Tally {
    new: usize,
    known: usize,
    needs_you: usize,
    refused: Vec<(usize, String)>,
}

impl Intake {
    /// Sends every message, then sums up.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let file = read(&self.file)?;
        let pieces = pieces(&file);
        if pieces.is_empty() {
            let what = format!("{} holds no message", self.file.display());
            return Err(Fault::new(what, "it is empty", "name a file with JSON in it"));
        }
        let path = format!("/intake/{}", encode(&self.source));
        let tally = client::wait(send_all(at, screen, &path, &pieces))?;
        screen.progress("");
        Ok(tell(at, screen, pieces.len(), &tally))
    }
}

fn read(file: &Path) -> Result<String, Fault> {
    let mut bytes = Vec::new();
    let read = |reader: &mut dyn Read, bytes: &mut Vec<u8>| reader.take(FILE_BYTES_MAX + 1).read_to_end(bytes);
    let done = if file == Path::new("-") {
        read(&mut std::io::stdin().lock(), &mut bytes)
    } else {
        std::fs::File::open(file).and_then(|mut file| read(&mut file, &mut bytes))
    };
    let what = || format!("{} cannot be read", file.display());
    done.map_err(|error| Fault::new(what(), error.to_string(), "name a file that is there, or - for standard input"))?;
    if bytes.len() as u64 > FILE_BYTES_MAX {
        return Err(Fault::new(what(), format!("it is larger than {FILE_BYTES_MAX} bytes"), "split it by lines"));
    }
    String::from_utf8(bytes).map_err(|error| {
        let why = format!("byte {} is not UTF-8", error.utf8_error().valid_up_to());
        Fault::new(what(), why, "save it as UTF-8")
    })
}

async fn send_all(at: &Folders, screen: &Screen, path: &str, pieces: &[Piece<'_>]) -> Result<Tally, Fault> {
    let mut tally = Tally::default();
    // The answer is read by this program, whatever the person wants to see.
    let at = Folders { json: true, ..at.clone() };
    for (index, piece) in pieces.iter().enumerate() {
        screen.progress(&format!("{} of {}", index + 1, pieces.len()));
        let text = match piece.text {
            Ok(text) => text,
            Err(_) => {
                tally.refused.push((piece.line, "this line is not JSON".to_owned()));
                continue;
            }
        };
        let reply = client::exchange(&at, path, Bytes::copy_from_slice(text.as_bytes())).await?;
        match reply.refusal() {
            // No room, shutting down: what comes after would fail as well, and can be sent again.
            Some(mut fault) if reply.status.is_server_error() => {
                fault
                    .remedy
                    .push(format!("then send the file again: {index} of its messages are in, twice does no harm"));
                return Err(fault);
            }
            Some(fault) => tally.refused.push((piece.line, format!("{}: {}", fault.what, fault.remedy.join("; ")))),
            None => {
                let said: Value = serde_json::from_slice(&reply.body).unwrap_or(Value::Null);
                match said["outcome"].as_str() {
                    Some("known") => tally.known += 1,
                    Some("needs you") => tally.needs_you += 1,
                    _ => tally.new += 1,
                }
            }
        }
    }
    Ok(tally)
}

fn tell(at: &Folders, screen: &Screen, all: usize, tally: &Tally) -> Outcome {
    if at.json {
        let refused: Vec<Value> = tally.refused.iter().map(|(line, why)| json!({ "line": line, "why": why })).collect();
        let summary = json!({
            "messages": all, "new": tally.new, "known": tally.known, "needs_you": tally.needs_you, "refused": refused,
        });
        screen.say(&summary.to_string());
    } else {
        for (line, why) in tally.refused.iter().take(REFUSALS_TOLD_MAX) {
            screen.say(&format!("line {line}: {why}"));
        }
        if let Some(more) = tally.refused.len().checked_sub(REFUSALS_TOLD_MAX).filter(|more| *more > 0) {
            screen.say(&format!("and {more} more lines"));
        }
        let (new, known) = (tally.new, tally.known);
        let mut text = format!("{all} read: {new} new, {known} known before");
        if tally.needs_you > 0 {
            text.push_str(&format!(", {} unclear (see dawnslip status)", tally.needs_you));
        }
        if !tally.refused.is_empty() {
            text.push_str(&format!(", {} not taken", tally.refused.len()));
        }
        screen.say(&text);
    }
    if tally.refused.is_empty() && tally.needs_you == 0 { Outcome::Well } else { Outcome::Problem }
}
