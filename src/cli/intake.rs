//! `dawnslip intake`.

use super::client;
use super::screen::{Fault, Screen};
use super::wiring::runtime;
use super::{Ended, Folders, Outcome};
use crate::desk::form::encode;
use crate::intake::file;
use hyper::body::Bytes;
use serde_json::{Value, json};
use std::io::Read;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

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
    read: usize,
    new: usize,
    known: usize,
    needs_you: usize,
    refused: Vec<(u64, String)>,
}

impl Intake {
    /// Sends every message as it is read, then sums up.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let name = self.file.display().to_string();
        let file: Box<dyn Read> = if self.file == Path::new("-") {
            Box::new(std::io::stdin().lock())
        } else {
            let opened = std::fs::File::open(&self.file);
            Box::new(opened.map_err(|error| {
                let remedy = "name a file that is there, or - for standard input";
                Fault::new(format!("{name} cannot be read"), error.to_string(), remedy)
            })?)
        };
        // The answers are read by this program, whatever the person wants to see.
        let json = Folders { json: true, ..at.clone() };
        let path = format!("/intake/{}", encode(&self.source));
        let runtime = runtime()?;
        let mut tally = Tally::default();
        let mut broken = None;
        file::read(file, |piece| {
            tally.read += 1;
            screen.progress(&format!("{} read", tally.read));
            let message = match piece.message {
                Ok(message) => Bytes::from(message),
                Err(error) => {
                    tally.refused.push((piece.line, error.to_string()));
                    return ControlFlow::Continue(());
                }
            };
            match runtime.block_on(client::exchange(&json, &path, message)) {
                Ok(reply) => match tally.note(piece.line, &reply) {
                    None => ControlFlow::Continue(()),
                    Some(fault) => {
                        broken = Some(fault);
                        ControlFlow::Break(())
                    }
                },
                Err(fault) => {
                    broken = Some(fault);
                    ControlFlow::Break(())
                }
            }
        });
        screen.progress("");
        match broken {
            Some(fault) => Err(fault),
            None => Ok(tell(at, screen, &name, &tally)),
        }
    }
}

impl Tally {
    /// Counts an answer; gives the fault after which going on is of no use.
    fn note(&mut self, line: u64, reply: &client::Reply) -> Option<Fault> {
        match reply.refusal() {
            // No room, shutting down: what comes after would fail as well, and can be sent again.
            Some(mut fault) if reply.status.is_server_error() => {
                let done = self.new + self.known + self.needs_you;
                fault
                    .remedy
                    .push(format!("then send the file again: {done} of its messages are in, twice does no harm"));
                return Some(fault);
            }
            Some(fault) => self.refused.push((line, format!("{}: {}", fault.what, fault.remedy.join("; ")))),
            None => {
                let said: Value = serde_json::from_slice(&reply.body).unwrap_or(Value::Null);
                match said["outcome"].as_str() {
                    Some("known") => self.known += 1,
                    Some("needs you") => self.needs_you += 1,
                    _ => self.new += 1,
                }
            }
        }
        None
    }
}

fn tell(at: &Folders, screen: &Screen, file: &str, tally: &Tally) -> Outcome {
    let all = tally.read;
    if at.json {
        let refused: Vec<Value> = tally.refused.iter().map(|(line, why)| json!({ "line": line, "why": why })).collect();
        let summary = json!({
            "messages": all, "new": tally.new, "known": tally.known, "needs_you": tally.needs_you, "refused": refused,
        });
        screen.say(&summary.to_string());
    } else {
        for (line, why) in tally.refused.iter().take(REFUSALS_TOLD_MAX) {
            screen.say(&format!("{file}:{line}: {why}"));
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
