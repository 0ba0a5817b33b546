//! What happens: messages come, the planner answers, time passes, the disk and the printer fail,
//! the configuration changes. One event at a time, drawn by the world's dice.

use super::mistakes::Mistake;
use super::story::{Checked, wrong};
use super::world::{Asker, World};
use dawnslip::book::{Command, Meaning, Received, State};
use dawnslip::ledger::{Disk, Snapshot, Trouble};
use dawnslip::model::*;
use jiff::SignedDuration;
use std::collections::BTreeSet;

/// After so many events without coming to rest, something hangs.
const REST_EVENTS_MAX: u64 = 30_000;

impl World {
    /// One event, other than the printer's worker's own doing.
    pub fn happen(&mut self) -> Checked {
        self.counts.events += 1;
        let (least, most) = if self.calm { (200, 2_000) } else { (20, 1_500) };
        let milliseconds = self.dice.between(least, most);
        self.pass(milliseconds);
        let commands = self.dice.roll(6);
        self.head.work(commands);
        if self.calm { self.happen_calmly() } else { self.happen_wildly() }
    }

    fn happen_wildly(&mut self) -> Checked {
        match self.dice.roll(1000) {
            0..110 => {
                self.shop.write(&mut self.dice, self.now);
                Ok(())
            }
            110..330 => self.deliver(),
            330..480 => self.plan_one(),
            480..640 => self.commit(),
            640..720 => self.tick(),
            720..890 => self.person(),
            890..910 => self.hours(),
            910..916 => {
                self.jump();
                Ok(())
            }
            916..936 => self.printer_trouble(),
            936..956 => {
                self.head.mend();
                Ok(())
            }
            956..962 => self.disk_trouble(),
            962..970 => {
                self.make_room();
                Ok(())
            }
            970..975 => self.die("the power goes", true),
            975..978 => self.die("the process is killed", false),
            978..981 => {
                self.wants_stop = true;
                Ok(())
            }
            981..985 => self.checkpoint(),
            985..988 => self.archive(),
            988..990 => self.seal(),
            990..992 => self.reload(),
            992..994 => self.read_back(),
            994..996 => self.forget_someone(),
            996..998 => self.look_for_old(),
            _ => self.read_again(),
        }
    }

    /// No new trouble: what was begun comes to its end.
    fn happen_calmly(&mut self) -> Checked {
        if self.counts.events > REST_EVENTS_MAX {
            let state = &self.durable.state;
            let under_way =
                state.jobs.values().filter(|job| matches!(job.state, JobState::Queued | JobState::Sending { .. }));
            let queued: Vec<String> = under_way.map(|job| format!("{} {:?}", job.id, job.state)).collect();
            let (plans, letter) = (self.to_plan.len(), self.shop.unanswered());
            let (erasing, doubts) = (state.erasing.len(), self.has_doubts());
            let asked: Vec<&OrderKey> =
                state.orders.iter().filter(|(_, entry)| entry.asked.is_some()).map(|(key, _)| key).collect();
            return wrong(format!(
                "it does not come to rest: papers {queued:?}, plans {plans}, letter {letter:?}, asked {asked:?}, \
                 erasing {erasing}, messages to read {}, papers in doubt: {doubts}, \
                 the printer is busy: {}",
                self.to_read.len(),
                self.head.is_busy()
            ));
        }
        match self.dice.roll(10) {
            0..3 => self.deliver(),
            3..6 => self.plan_one(),
            6 => self.tick(),
            7 => self.settle_doubts(),
            8 if self.dice.one_in(2) => self.erase_recorded(),
            8 => self.read_again(),
            _ => self.commit(),
        }
    }

    /// From now on nothing new.
    pub fn calm_down(&mut self) {
        self.tell(&[], "from here on nothing new happens");
        self.calm = true;
        self.head.mend();
        self.disk.set_trouble(Trouble::default());
        self.full = false;
    }

    /// Is there nothing left to do?
    pub fn is_at_rest(&self) -> bool {
        let state = &self.durable.state;
        let under_way = |job: &Job| matches!(job.state, JobState::Queued | JobState::Sending { .. });
        self.waiting.is_empty()
            && self.to_plan.is_empty()
            && self.planned.is_empty()
            && self.to_read.is_empty()
            && state.erasing.is_empty()
            && self.shop.unanswered().is_none()
            && !self.head.is_busy()
            && !state.jobs.values().any(under_way)
            && !state.orders.values().any(|entry| entry.asked.is_some())
            && !self.has_doubts()
    }

    fn deliver(&mut self) -> Checked {
        if self.ledger.is_none() {
            return Ok(());
        }
        // The power may have gone in an operation whose failure stops nobody.
        if self.disk.list("journal").is_err() {
            return self.die("the power goes", true);
        }
        let at = match self.shop.unanswered().filter(|_| self.calm) {
            Some(at) => at,
            None => match self.shop.next(&mut self.dice) {
                Some(at) => at,
                None => return Ok(()),
            },
        };
        let letter = self.shop.letters[at].clone();
        let keys = letter.keys();
        let Some(archived) = self.archived_among(&keys) else { return Ok(()) };
        let meaning = match letter.unmappable {
            true => Meaning::Unmappable { reason: "there is no number".to_owned(), pointer: "/id".to_owned() },
            false => letter.meaning,
        };
        self.tell(&keys, format!("letter {at} comes ({}/{})", letter.message.source, letter.message.id));
        let received = Received {
            message: letter.message,
            body_digest: letter.body_digest,
            raw: Hidden::new(format!("letter {at}")),
            meaning,
            archived,
        };
        self.submit(Command::Receive(Box::new(received)), Asker::Shop(at))
    }

    /// Orders that came before and that the state no longer holds; none where the archive cannot be
    /// read: then there is no answer at all.
    fn archived_among(&mut self, keys: &[OrderKey]) -> Option<BTreeSet<OrderKey>> {
        let reader = self.ledger.as_ref()?.archive_reader();
        let mut archived = BTreeSet::new();
        for key in keys {
            if reader.holds(key).ok()? {
                archived.insert(key.clone());
            }
        }
        Some(archived)
    }

    /// The planner makes a plan, or one that it has made reaches the book; seldom in the order in
    /// which they were asked for.
    fn plan_one(&mut self) -> Checked {
        if self.planned.is_empty() || (!self.to_plan.is_empty() && self.dice.one_in(2)) {
            if self.to_plan.is_empty() {
                return Ok(());
            }
            let at = self.dice.roll(self.to_plan.len() as u64) as usize;
            let (order, pins) = self.to_plan.remove(at);
            self.planned.extend(self.plan(&order, &pins)?);
            return Ok(());
        }
        let at = self.dice.roll(self.planned.len() as u64) as usize;
        let mut plan = self.planned.remove(at);
        let asker = Asker::Planner(plan.order.clone(), plan.pins.clone());
        if self.has(Mistake::StalePlanWins)
            && let Some(pins) = self.ahead.orders.get(&plan.order).and_then(|entry| entry.asked.clone())
        {
            plan.pins = pins;
        }
        self.submit(Command::Planned(Box::new(plan)), asker)
    }

    pub fn tick(&mut self) -> Checked {
        if let Some(ledger) = &mut self.ledger {
            ledger.alive(self.now);
        }
        let wall = self.durable.state.zone().to_datetime(self.now);
        let goes_back = self.last_tick.is_some_and(|(at, shown)| at < self.now && shown > wall);
        if goes_back && self.has(Mistake::ListTwiceInAutumn) {
            (self.ahead.last_list, self.durable.state.last_list) = (None, None);
        }
        self.last_tick = Some((self.now, wall));
        self.submit(Command::Tick, Asker::Nobody)
    }

    /// A quiet time: only the clock ticks.
    fn hours(&mut self) -> Checked {
        let life = self.life;
        for _ in 0..self.dice.between(2, 24) {
            self.pass(20 * 60 * 1000);
            self.tick()?;
            self.commit()?;
            if self.life != life {
                break;
            }
        }
        Ok(())
    }

    /// Somebody sets the clock, or the machine slept.
    fn jump(&mut self) {
        let seconds = match self.dice.roll(4) {
            0 => -(self.dice.between(1, 7_200) as i64),
            1 => self.dice.between(1, 90_000) as i64,
            _ => self.dice.between(1, 7_200) as i64,
        };
        self.now += SignedDuration::from_secs(seconds);
        self.tell(&[], format!("the clock jumps by {seconds} s"));
    }

    fn printer_trouble(&mut self) -> Checked {
        let what = self.dice.roll(7);
        match what {
            0 => self.head.power_off(),
            1 => self.head.paper = false,
            2 => self.head.mute = true,
            3 => self.head.stalled = true,
            4 | 5 => self.head.breaks_after = Some(self.dice.roll(160)),
            _ => self.head.breaks_before_answer = true,
        }
        let words = ["no power", "no paper", "mute", "stalled", "will break", "will break", "will lose an answer"];
        self.tell(&[], format!("the printer: {}", words[what as usize]));
        Ok(())
    }

    fn disk_trouble(&mut self) -> Checked {
        let dice = &mut self.dice;
        let trouble = match dice.roll(4) {
            0 => Trouble { cut_before: Some(self.disk.operations() + dice.roll(40)), ..Trouble::default() },
            1 => Trouble { fail_write: Some(dice.roll(4)), ..Trouble::default() },
            2 => Trouble { fail_sync: Some(dice.roll(4)), ..Trouble::default() },
            _ => {
                self.full = true;
                // Less than there is: not one more byte fits.
                Trouble { room: Some(dice.roll(2) * 1_000), ..Trouble::default() }
            }
        };
        self.disk.set_trouble(trouble);
        self.tell(&[], format!("the disk: {trouble:?}"));
        Ok(())
    }

    pub fn make_room(&mut self) {
        if self.full {
            self.full = false;
            self.disk.set_trouble(Trouble::default());
            self.tell(&[], "there is room again");
        }
    }

    /// A snapshot of what the disk has confirmed.
    fn checkpoint(&mut self) -> Checked {
        let seq = self.durable.state.seq;
        let mut state = self.durable.state.clone();
        if self.has(Mistake::SnapshotRunsAhead) {
            state = State { seq, ..self.ahead.clone() };
        }
        let Some(ledger) = &mut self.ledger else { return Ok(()) };
        let state = serde_json::to_vec(&state).expect("a state can be written");
        let people = serde_json::to_vec(&self.durable.people).expect("persons can be written");
        let done = ledger.checkpoint(&Snapshot { seq, state: state.clone(), people });
        self.tell(&[], format!("a snapshot: {}", done.map_or_else(|error| error.to_string(), |()| "made".to_owned())));
        self.snapshots.push((seq, state));
        Ok(())
    }

    fn archive(&mut self) -> Checked {
        let closed = self.durable.state.closed_longer_than(self.now);
        let Some(ledger) = self.ledger.as_mut().filter(|_| !closed.is_empty()) else { return Ok(()) };
        match ledger.archive(&closed) {
            Ok(done) => {
                if self.has(Mistake::RemovesSegmentsTooEarly) {
                    self.remove_segments();
                }
                self.counts.archived += done.orders.len() as u64;
                self.tell(&done.orders, format!("archived; {} segments are gone", done.segments_removed));
                self.submit(Command::Archived { orders: done.orders, upto: done.upto }, Asker::Nobody)
            }
            Err(error) => {
                self.tell(&[], format!("nothing was archived: {error}"));
                Ok(())
            }
        }
    }

    /// All segments but the one in use, whatever still needs them.
    fn remove_segments(&self) {
        let mut names = self.disk.list("journal").unwrap_or_default();
        names.pop();
        for name in names {
            let _ = self.disk.remove(&format!("journal/{name}"));
        }
    }

    fn seal(&mut self) -> Checked {
        let Some(ledger) = &mut self.ledger else { return Ok(()) };
        match ledger.seal() {
            Ok(()) => Ok(()),
            Err(error) => self.die(&format!("the seal failed ({error})"), false),
        }
    }

    /// The configuration is changed: the product that was missing is known now, or is taken out
    /// again; the list comes at another hour. Or the change is wrong, and nothing happens.
    fn reload(&mut self) -> Checked {
        if self.dice.one_in(3) {
            let complaints = self.bench.broken;
            self.tell(&[], format!("a configuration with {complaints} mistakes is refused"));
            return Ok(());
        }
        match self.dice.roll(4) {
            0 => {
                let quarters = self.dice.roll(96);
                self.policy.pick_list_at = jiff::civil::time((quarters / 4) as i8, (quarters % 4 * 15) as i8, 0, 0);
            }
            1 => self.policy.parcels_a_day = 2 + self.dice.roll(40) as u32,
            _ => self.mended = !self.mended,
        }
        self.reloads += 1;
        self.adopt()
    }

    pub fn adopt(&mut self) -> Checked {
        let digest = ConfigDigest::new(format!("configuration {}", self.reloads));
        let files = [("workshop.toml".to_owned(), format!("# {digest}"))].into();
        self.submit(Command::Adopt { digest, policy: Box::new(self.policy.clone()), files }, Asker::Nobody)
    }

    /// A kept message is mapped again, by a mapping that is right now.
    fn read_again(&mut self) -> Checked {
        let Some(message) = self.to_read.pop() else { return Ok(()) };
        let raw = self.durable.people.raw(&message).map(|raw| raw.reveal().to_owned());
        let at = raw.as_deref().and_then(|raw| raw.strip_prefix("letter ")?.parse::<usize>().ok());
        let Some(at) = at else {
            // It went with its order, or with the years, between the wish and now.
            let state = &self.durable.state;
            let mut orders = state.orders_of_message(&message.source, &message.id).iter();
            let forgotten = orders.any(|key| state.forgotten(key).is_some() || state.erasing.contains_key(key));
            let erased = self.counts.erased > 0 || forgotten;
            let gone = || wrong(format!("the body of {}/{} is not kept", message.source, message.id));
            return if erased { Ok(()) } else { gone() };
        };
        let letter = self.shop.letters[at].clone();
        let Some(archived) = self.archived_among(&letter.keys()) else {
            self.to_read.push(message);
            return Ok(());
        };
        self.tell(&letter.keys(), format!("letter {at} is mapped again"));
        // From now on, for the program may end between the sync and its answer.
        self.shop.letters[at].remapped = true;
        self.submit(Command::Remapped { message, meaning: letter.meaning, archived }, Asker::Mapper(at))
    }
}
