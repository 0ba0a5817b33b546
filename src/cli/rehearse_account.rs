//! The account at the end of a rehearsal: what came, what was refused and why, what is on
//! paper, and whether all of it is as it should be.

use super::rehearse_orders::{Expect, PlannedMessage};
use crate::book::questions;
use crate::daemon::House;
use crate::intake::sender::Told;
use crate::model::{JobId, JobState, OrderKey, PaperKind, Subject};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

/// A paper as it was written to the folder.
#[derive(Debug, Clone)]
pub struct Printed {
    /// Its kind.
    pub kind: PaperKind,
    /// Its picture.
    pub file: PathBuf,
}

/// What happened.
#[derive(Debug, Default)]
pub struct Account {
    answers: BTreeMap<u16, usize>,
    slowest: Duration,
    refused: Vec<String>,
    stories: Vec<&'static str>,
    papers: BTreeMap<PaperKind, usize>,
    copies: usize,
    orders: usize,
    parcels: usize,
    waiting: Vec<String>,
    wrong: Vec<String>,
    took: Duration,
}

impl Account {
    /// Notes how a message was answered.
    pub fn answered(&mut self, message: &PlannedMessage, told: &Told) {
        *self.answers.entry(told.status).or_default() += 1;
        self.slowest = self.slowest.max(told.took);
        if !(200..300).contains(&told.status) {
            let detail = serde_json::from_str::<Value>(&told.body).ok();
            let detail = detail.and_then(|body| body["detail"].as_str().map(str::to_owned)).unwrap_or_default();
            self.refused.push(format!("{}: {} {detail}", message.tale, told.status));
        }
        if told.status != message.expect.status() {
            self.wrong.push(format!("{}: answered {}, not {}", message.tale, told.status, message.expect.status()));
        }
    }

    /// Compares what should have become of each message with what the book and the galley hold.
    pub fn close(
        &mut self,
        house: &House,
        messages: &[PlannedMessage],
        came: &BTreeMap<[u8; 4], Vec<Arc<[u8]>>>,
        printed: &BTreeMap<JobId, Printed>,
        took: Duration,
    ) {
        let durable = house.shared.durable();
        let state = &durable.state;
        self.took = took;
        self.orders = state.orders.len();
        self.parcels = state.parcels.len();
        let asked = questions(state);
        self.waiting = asked.iter().map(|q| format!("{} ({} orders)", q.what, q.orders.len())).collect();
        for job in state.jobs.values() {
            let times = came.get(&job.id.process_id()).map_or(0, Vec::len);
            let is_printed = matches!(job.state, JobState::OnPaper { .. });
            if is_printed {
                *self.papers.entry(job.kind).or_default() += 1;
                self.copies += usize::from(job.copy.is_some());
            }
            let name = state.paper_name(job);
            match (is_printed, times) {
                (true, 1) if printed.contains_key(&job.id) => {}
                (true, 1) => self.wrong.push(format!("{name}: no picture was written")),
                (true, times) => self.wrong.push(format!("{name}: lies {times} times in the tray")),
                (false, 0) if matches!(job.state, JobState::Dropped { .. }) => {}
                (false, times) => {
                    self.wrong.push(format!("{name}: {}, lies {times} times in the tray", job.state.word()))
                }
            }
        }
        let on_paper = |kind: PaperKind, order: &OrderKey| {
            state.jobs.values().any(|job| {
                job.kind == kind
                    && matches!(job.state, JobState::OnPaper { .. })
                    && match &job.subject {
                        Subject::Note(key, _) => key == order,
                        other => state.order_of(other).as_ref() == Some(order),
                    }
            })
        };
        let causes = |order: &OrderKey| {
            asked.iter().filter(|q| q.orders.contains(order)).map(|q| q.cause.to_string()).collect::<Vec<_>>()
        };
        // Parcels of an order, if slip and card of each are on paper.
        let out = |order: &OrderKey| {
            let parcels = state.orders.get(order).map(|entry| entry.parcels.as_slice()).unwrap_or_default();
            let each = parcels.iter().all(|parcel| {
                let has = |kind| {
                    state.jobs.values().any(|job| {
                        job.kind == kind
                            && job.subject.parcel() == Some(*parcel)
                            && matches!(job.state, JobState::OnPaper { .. })
                    })
                };
                has(PaperKind::Slip) && has(PaperKind::Card)
            });
            if each { parcels } else { &[] }
        };
        for message in messages {
            let as_should = match &message.expect {
                Expect::OnPaper { order, parcels_at_least } => out(order).len() >= (*parcels_at_least).max(1) as usize,
                Expect::Joined { orders: [one, other] } => !out(one).is_empty() && out(one) == out(other),
                Expect::Known | Expect::Refused => true,
                Expect::Unmappable => asked.iter().any(|q| q.cause.to_string().starts_with("unmappable:")),
                Expect::NeedsYou { order, cause } => causes(order).contains(cause) && !on_paper(PaperKind::Slip, order),
                Expect::Waits { order } => state.orders.contains_key(order) && !on_paper(PaperKind::Slip, order),
                Expect::ChangeNote { order } => on_paper(PaperKind::ChangeNote, order),
                Expect::StopNote { order } => on_paper(PaperKind::StopNote, order),
            };
            if as_should {
                if !self.stories.contains(&message.tale) {
                    self.stories.push(message.tale);
                }
            } else {
                self.wrong.push(format!("{}: not as it should be ({:?})", message.tale, message.expect));
            }
        }
        if self.papers.get(&PaperKind::PickList) != Some(&1) {
            self.wrong.push("the pick list: not on paper exactly once".into());
        }
    }

    /// Is everything as it should be?
    pub fn is_well(&self) -> bool {
        self.wrong.is_empty()
    }

    /// For people.
    pub fn text(&self, out: &Path) -> String {
        let mut text = String::from("ACCOUNT\n");
        let sent: usize = self.answers.values().sum();
        let of = |status: u16| self.answers.get(&status).copied().unwrap_or(0);
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "  came       {sent} messages: {} new, {} known before; slowest answer {} ms, each after its sync",
            of(202),
            of(200),
            self.slowest.as_millis()
        );
        for refused in &self.refused {
            let _ = writeln!(text, "  refused    {refused}");
        }
        let _ = writeln!(text, "  in book    {} orders, {} parcels", self.orders, self.parcels);
        for waiting in &self.waiting {
            let _ = writeln!(text, "  needs you  {waiting}");
        }
        let papers: Vec<String> =
            self.papers.iter().map(|(kind, count)| format!("{count} {}", plural(*kind, *count))).collect();
        let _ =
            writeln!(text, "  on paper   {}; {} copies; each confirmed by process id", papers.join(", "), self.copies);
        let _ = writeln!(text, "  stories    {}", self.stories.join("; "));
        let _ = writeln!(text, "  pictures   {}/ (a .png and a .txt each; all on contact-sheet.png)", out.display());
        let _ = writeln!(text, "  took       {:.1} s", self.took.as_secs_f32());
        if self.wrong.is_empty() {
            text.push_str("all is as it should be\n");
        } else {
            for wrong in &self.wrong {
                let _ = writeln!(text, "  WRONG      {wrong}");
            }
        }
        text
    }

    /// For programs.
    pub fn to_json(&self, out: &Path) -> Value {
        let papers: BTreeMap<&str, usize> = self.papers.iter().map(|(kind, count)| (kind.word(), *count)).collect();
        json!({
            "answers": self.answers, "refused": self.refused, "orders": self.orders, "parcels": self.parcels,
            "needs_you": self.waiting, "papers": papers, "copies": self.copies, "pictures": out,
            "seconds": self.took.as_secs_f32(), "wrong": self.wrong,
        })
    }
}

fn plural(kind: PaperKind, count: usize) -> String {
    if count == 1 { kind.word().to_owned() } else { format!("{}s", kind.word()) }
}
