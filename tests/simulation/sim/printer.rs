//! The printer's worker: the real driver, stepped by hand, between the book and the simulated
//! head. What `print::worker` does with tasks and timers is done here with the world's clock.

use super::head::{self, bytes_of};
use super::mistakes::Mistake;
use super::story::{Checked, Wrong, wrong, wrong_with};
use super::world::World;
use dawnslip::book::{Answer, BytesLeft, Command};
use dawnslip::daemon::shared::Durable;
use dawnslip::model::*;
use dawnslip::print::driver::{AfterDoubt, Driver, Effect, Event, Leave, NotSent, Outcome, Phase, Settings};
use dawnslip::print::trouble::TroubleKind;
use dawnslip::slip::{self, Fonts, Sheet, Typesetter, Wanted};
use std::cell::RefCell;
use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;

/// The first wait after a failure, and the longest.
const BACK_OFF: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(30));

pub struct Worker {
    name: PrinterName,
    settings: Settings,
    /// Jobs in doubt whose late answer is still recognised.
    doubts: Vec<JobId>,
    pause: Duration,
    resting_until: Duration,
    life: u64,
}

/// A paper with what the book has to know of it.
struct Next {
    job: JobId,
    bytes: Vec<u8>,
}

/// How an attempt ended; `None`: the program ended first.
type Ended = Option<(Outcome, bool)>;

impl Worker {
    /// Begins with what an earlier life left in doubt.
    pub fn new(world: &World) -> Self {
        let printer = world.bench.plain.printers.first().expect("the sample has a printer");
        let doubtful = world.durable.state.jobs.values().filter(|job| matches!(job.state, JobState::Uncertain { .. }));
        let doubts: Vec<JobId> = doubtful.map(|job| job.id).collect();
        let mut settings = Settings::of(printer);
        if !doubts.is_empty() {
            settings.after_doubt = AfterDoubt::EndPaper;
        }
        Self {
            name: printer.name.clone(),
            settings,
            doubts,
            pause: BACK_OFF.0,
            resting_until: Duration::ZERO,
            life: world.life,
        }
    }

    /// Prints the next paper, looks at the printer now and then, or waits while other things happen.
    pub fn work(&mut self, world: &mut World) -> Checked {
        if world.running < self.resting_until {
            return world.happen();
        }
        let next = match world.durable.state.next_job(|_| true) {
            Some(job) => {
                check_list(world, job)?;
                check_words(world, job)?;
                Some(next_of(job, world.has(Mistake::CopyWithoutMark)))
            }
            // Late answers come on the next connection, also without a paper.
            None if world.dice.one_in(40) => None,
            None => return world.happen(),
        };
        let Some((outcome, leave)) = self.attempt(world, next.as_ref())? else { return Ok(()) };
        if let Some(next) = &next {
            self.settle(world, next.job, outcome, leave)?;
        }
        match outcome {
            Outcome::OnPaper(_) | Outcome::Well | Outcome::NotSent(NotSent::ReadyAgain) => self.pause = BACK_OFF.0,
            _ => {
                self.resting_until = world.running + self.pause;
                self.pause = (self.pause * 2).min(BACK_OFF.1);
            }
        }
        Ok(())
    }

    fn attempt(&mut self, world: &mut World, next: Option<&Next>) -> Checked<Ended> {
        let began = world.running;
        let mut driver = match next {
            Some(next) => Driver::new(self.settings, next.job, &next.bytes),
            None => Driver::look(self.settings),
        };
        let mut effects: VecDeque<Effect> = driver.step(Event::Start, Duration::ZERO).into();
        let mut leave = false;
        loop {
            while let Some(effect) = effects.pop_front() {
                let event = match effect {
                    Effect::Connect if world.head.connect() => Event::Connected,
                    Effect::Connect => Event::NoConnection(TroubleKind::Refused),
                    Effect::AskLeave => {
                        leave = match next {
                            Some(next) => self.may_send(world, next.job)?,
                            None => false,
                        };
                        Event::Leave(if leave { Leave::Granted } else { Leave::Refused })
                    }
                    Effect::Done(outcome) => {
                        world.head.disconnect();
                        return Ok((world.life == self.life).then_some((outcome, leave)));
                    }
                    told => {
                        self.told(world, &told)?;
                        if world.life != self.life {
                            return Ok(None);
                        }
                        continue;
                    }
                };
                if world.life != self.life {
                    return Ok(None);
                }
                effects.extend(driver.step(event, world.running - began));
            }
            let heard = world.head.read();
            let event = match &heard {
                Err(_) => Event::Closed,
                Ok(Some(bytes)) => Event::Read(bytes),
                Ok(None) => {
                    let piece = driver.to_write().to_vec();
                    if let (Some(next), Phase::Sending, false) = (next, driver.phase(), piece.is_empty()) {
                        check_may_leave(world, next.job)?;
                    }
                    match world.head.write(&piece, &mut world.dice) {
                        Err(_) => Event::Failed,
                        Ok(0) => Event::Tick { unsent: Some(0) },
                        Ok(count) => Event::Wrote(count),
                    }
                }
            };
            let is_idle = matches!(event, Event::Tick { .. });
            effects.extend(driver.step(event, world.running - began));
            if is_idle || world.dice.one_in(4) {
                world.happen()?;
            }
            if world.life != self.life {
                world.head.disconnect();
                return Ok(None);
            }
        }
    }

    fn may_send(&self, world: &mut World, job: JobId) -> Checked<bool> {
        let (printer, digest) = (self.name.clone(), format!("bytes of {job}"));
        let command = || Command::Send { job, printer: printer.clone(), digest: digest.clone(), rows: None };
        if world.has(Mistake::SendsBeforeAppend) {
            world.submit(command(), super::world::Asker::Nobody)?;
            return Ok(true);
        }
        match world.ask(command)? {
            Some(Answer::Go) => Ok(true),
            Some(_) => Ok(world.has(Mistake::PrintsWhatWasRefused)),
            None => Ok(false),
        }
    }

    fn told(&mut self, world: &mut World, effect: &Effect) -> Checked {
        match effect {
            Effect::Answers => self.settings.must_answer = true,
            Effect::Ended => self.settings.after_doubt = AfterDoubt::Nothing,
            Effect::Heard(id) => {
                if let Some(at) = self.doubts.iter().position(|job| job.process_id() == *id) {
                    let job = self.doubts.remove(at);
                    world.tell(&[], format!("a late answer: {job} is on paper"));
                    world.ask(|| Command::Printed { job, by: Confirmation::ProcessId })?;
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn settle(&mut self, world: &mut World, job: JobId, outcome: Outcome, leave: bool) -> Checked {
        let not_printed = |why: &str, left| Command::NotPrinted { job, why: why.to_owned(), left };
        match outcome {
            Outcome::OnPaper(by) => drop(world.ask(|| Command::Printed { job, by })?),
            Outcome::InDoubt(doubt) => {
                self.settings.after_doubt = AfterDoubt::EndPaper;
                self.doubts.push(job);
                let left = if world.has(Mistake::DoubtIsNoDoubt) { BytesLeft::None } else { BytesLeft::Some };
                world.ask(|| not_printed(doubt.why(), left))?;
            }
            Outcome::NotSent(why) if leave => drop(world.ask(|| not_printed(why.why(), BytesLeft::None))?),
            Outcome::NotSent(_) | Outcome::Well => {}
        }
        Ok(())
    }
}

/// A short text instead of a typeset paper, so that many worlds can be looked at.
fn next_of(job: &Job, forgets_copy: bool) -> Next {
    let subject = serde_json::to_string(&job.subject).expect("a subject can be written");
    let copy = job.copy.is_some() && !forgets_copy;
    Next { job: job.id, bytes: bytes_of(&head::Sheet { job: job.id, subject, copy }) }
}

/// `sending` is on the disk before the first byte leaves.
fn check_may_leave(world: &World, id: JobId) -> Checked {
    let state = &world.durable.state;
    let job = state.jobs.get(&id);
    if job.is_some_and(|job| matches!(job.state, JobState::Sending { .. })) {
        return Ok(());
    }
    let word = job.map_or("gone", |job| job.state.word());
    let what = format!("bytes of {id} go to the printer, though on the disk it is {word}");
    match job.and_then(|job| state.order_of(&job.subject)) {
        Some(order) => wrong_with(&order, what),
        None => wrong(what),
    }
}

/// One of so many papers is set in words, too.
const SET: u64 = 40;

thread_local! {
    static SETTER: RefCell<Typesetter> = RefCell::new(Typesetter::new(Fonts::embedded()));
}

/// The real paper says COPY if it is one, and the slip names its recipient.
fn check_words(world: &World, job: &Job) -> Checked {
    if !job.id.0.is_multiple_of(SET) {
        return Ok(());
    }
    let Durable { state, people } = &world.durable;
    let text = SETTER.with_borrow_mut(|setter| {
        let paper = slip::paper(&Wanted::of(job), state, people, world.workshop(), setter, world.now)?;
        Ok::<_, slip::SlipError>(slip::render_text(&paper, Sheet::WIDE, setter))
    });
    let order = state.order_of(&job.subject);
    let told = |what: String| Err(Wrong { order: order.clone(), what });
    let text = match text {
        Ok(text) => text,
        Err(error) => return told(format!("{} cannot be set: {error}", job.id)),
    };
    let says_copy = text.contains("COPY") && !world.has(Mistake::CopyWithoutMark);
    // A second card goes to the customer like the first.
    if job.kind != PaperKind::Card && says_copy != job.copy.is_some() {
        return told(format!("{} says COPY: {says_copy}, its mark is {:?}", job.id, job.copy));
    }
    let entry = order.as_ref().and_then(|key| state.orders.get(key));
    let name = entry.and_then(|entry| world.shop.recipients.get(&entry.order.content_digest));
    match name {
        Some(name) if job.kind == PaperKind::Slip && !text.contains(name.as_str()) => {
            told(format!("the slip {} does not name {name}:\n{text}", job.id))
        }
        _ => Ok(()),
    }
}

/// The pick list asks for as much of each product as the parcels that stand on it.
fn check_list(world: &World, job: &Job) -> Checked {
    let Subject::List { date, extra } = job.subject else { return Ok(()) };
    let (state, workshop) = (&world.durable.state, world.workshop());
    let list = dawnslip::slip::day::day(date, extra, state, &world.durable.people, workshop, world.now);
    let mut fetched: BTreeMap<String, u32> = BTreeMap::new();
    for fetch in &list.fetch {
        // A unit stays on the line of its figure.
        *fetched.entry(fetch.name.replace('\u{a0}', " ")).or_insert(0) += fetch.quantity;
    }
    if world.has(Mistake::MissesPiecesOnList) {
        fetched.pop_last();
    }
    let mut wanted: BTreeMap<String, u32> = BTreeMap::new();
    let parcels = dawnslip::book::day(state, date).today;
    for parcel in parcels.iter().filter_map(|id| state.parcels.get(id)) {
        for content in &parcel.planned.contents {
            // A product that was taken out of the configuration is called as the shops call it; where the
            // order no longer has it, by its number.
            let order = parcel.orders.get(content.order).and_then(|key| state.orders.get(key));
            let line = content.line.and_then(|at| order?.order.lines.get(at));
            // What was joined and is cancelled since stays on the shelf.
            if content.line.is_some() && order.is_some_and(|order| order.cancelled.is_some()) {
                continue;
            }
            let name = match (workshop.product(&content.sku), line.is_some_and(|line| line.sku == content.sku)) {
                (Some(product), _) => product.name.clone(),
                (None, true) => format!("the {}", content.sku),
                (None, false) => content.sku.to_string(),
            };
            *wanted.entry(name).or_insert(0) += content.quantity;
        }
    }
    match fetched == wanted {
        true => Ok(()),
        false => wrong(format!("the pick list says {fetched:?}, its parcels hold {wanted:?}")),
    }
}
