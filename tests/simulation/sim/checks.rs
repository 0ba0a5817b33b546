//! What must hold: the promises that were made to shops and people, held against the disk's
//! state and the printer's tray. The checker keeps its own books; it asks the program for nothing
//! but its state.

use super::head::Sheet;
use super::shop::Letter;
use super::story::{Checked, Wrong, wrong, wrong_with};
use super::workshop::pieces;
use super::world::World;
use dawnslip::book::{Answer, MessageOutcome};
use dawnslip::book::{Fact, Novelty, OrderEntry, ParcelEntry, Stage, Stamped, State, day};
use dawnslip::daemon::shared::Durable;
use dawnslip::model::*;
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

/// So many groups lie between two looks at everything.
const GROUPS_BETWEEN_LOOKS: u64 = 32;

/// What was seen and promised.
#[derive(Default)]
pub struct Witness {
    /// Messages that were answered: the identity under which each is kept, and its letter.
    kept: BTreeMap<MessageKey, usize>,
    /// The newest revision of an order that was answered, and whether it is a cancellation.
    newest: BTreeMap<OrderKey, (u64, bool)>,
    /// Orders that an answered message spoke of.
    known: BTreeSet<OrderKey>,
    archived: BTreeSet<OrderKey>,
    /// What tells of persons and is older than this went.
    kept_from: Timestamp,
    /// Orders of which a parcel was with the carrier at some time.
    gone: BTreeSet<OrderKey>,
    lists: BTreeMap<Date, JobId>,
    sent: BTreeSet<JobId>,
    seen_sheets: usize,
    in_tray: BTreeSet<JobId>,
    first_papers: BTreeMap<String, JobId>,
    about: BTreeSet<String>,
    /// Orders that the group at hand tells of.
    pub touched: BTreeSet<OrderKey>,
    groups: u64,
}

/// What a subject is called in the tray.
fn written(subject: &Subject) -> String {
    serde_json::to_string(subject).expect("a subject can be written")
}

impl Witness {
    /// Orders that an answered message spoke of.
    pub fn known(&self) -> impl Iterator<Item = &OrderKey> {
        self.known.iter()
    }

    /// Looks at a fact before the state takes it in.
    pub fn see(&mut self, state: &State, stamped: &Stamped) -> Checked {
        if stamped.seq != state.seq + 1 {
            return wrong(format!("fact {} follows fact {}", stamped.seq, state.seq));
        }
        match &stamped.fact {
            Fact::JobSending { job, .. } => {
                self.sent.insert(*job);
                self.see_sending(state, *job)
            }
            Fact::JobQueued { job, subject: Subject::List { date, extra: 0 }, copy: None, .. } => {
                // A person may want a list after all that had been taken out before it was sent.
                let never_left = |first: &JobId| {
                    let first = state.jobs.get(first);
                    first.is_some_and(|job| job.tries == 0 && matches!(job.state, JobState::Dropped { .. }))
                };
                match self.lists.insert(*date, *job) {
                    Some(first) if !never_left(&first) => {
                        wrong(format!("two scheduled lists of {date}: {first} and {job}"))
                    }
                    _ => Ok(()),
                }
            }
            Fact::ParcelMoved { parcel, to: Stage::HandedOver, .. } => {
                self.gone.extend(state.parcels.get(parcel).into_iter().flat_map(|parcel| parcel.orders.clone()));
                Ok(())
            }
            Fact::Planned { plan, .. } => see_plan(state, plan),
            Fact::RetentionBegun { before } => {
                self.kept_from = self.kept_from.max(*before);
                Ok(())
            }
            Fact::Archived { orders } => {
                self.archived.extend(orders.iter().cloned());
                Ok(())
            }
            _ => Ok(()),
        }
    }

    /// Nothing goes out for an order that is stopped or cancelled.
    fn see_sending(&self, state: &State, id: JobId) -> Checked {
        let Some(job) = state.jobs.get(&id) else { return wrong(format!("{id} is sent, and unknown")) };
        let is_slip_or_card = matches!(job.kind, PaperKind::Slip | PaperKind::Card);
        let Some(key) = state.order_of(&job.subject).filter(|_| is_slip_or_card) else { return Ok(()) };
        let Some(entry) = state.orders.get(&key) else { return wrong_with(&key, format!("{id} has no order")) };
        if entry.cancelled.is_some() || !entry.stops.is_empty() {
            return wrong_with(&key, format!("{id} is sent, though the order is stopped or cancelled"));
        }
        // By the shop's own words, whatever the book says; a newer revision may have come whose answer was lost.
        match self.newest.get(&key) {
            Some((revision, true)) if entry.order.revision <= Some(Revision::Number(*revision)) => {
                let what = format!("{id} is sent, though revision {revision}, a cancellation, was answered before");
                wrong_with(&key, what)
            }
            _ => Ok(()),
        }
    }

    fn learn(&mut self, orders: &[(Order, Person)]) {
        for (order, _) in orders {
            self.known.insert(order.key.clone());
            let Some(Revision::Number(revision)) = order.revision else { continue };
            let newest = self.newest.entry(order.key.clone()).or_insert((0, false));
            if revision > newest.0 {
                *newest = (revision, order.cancelled);
            }
        }
    }
}

impl World {
    /// The shop gets its answer, unless that is lost on its way.
    pub fn answer_shop(&mut self, at: usize, answer: &Answer) -> Checked {
        let letter = &self.shop.letters[at];
        let (message, keys) = (letter.message.clone(), letter.keys());
        let Answer::Kept { novelty, outcome } = answer else {
            return wrong(format!("message {} of {} was answered {answer:?}", message.id, message.source));
        };
        let said = format!("letter {at} ({}/{}) is answered {novelty:?}: {outcome:?}", message.source, message.id);
        self.tell(&keys, said);
        if self.dice.one_in(4) && !self.calm {
            self.tell(&keys, format!("the answer to letter {at} is lost"));
            return Ok(());
        }
        let letter = &mut self.shop.letters[at];
        if let Some(first) = &letter.answered {
            let alike = first == outcome || letter.remapped;
            if !alike || *novelty != Novelty::Known {
                return wrong(format!("letter {at} is answered otherwise than before ({first:?})"));
            }
            return Ok(());
        }
        letter.answered = Some(outcome.clone());
        self.counts.messages += 1;
        let kept_as = kept_as(&self.durable.state, letter);
        if matches!(outcome, MessageOutcome::Orders(_)) {
            self.witness.learn(letter.orders());
        }
        self.witness.kept.insert(kept_as, at);
        Ok(())
    }

    /// A kept message was mapped after all: from now on it counts as answered so.
    pub fn mapped_again(&mut self, at: usize) {
        let orders = self.shop.letters[at].orders().to_vec();
        self.witness.learn(&orders);
    }

    /// What must hold after every group: what it touched is looked at each time, everything now
    /// and then (each time where one seed is replayed, so that the story ends where it went wrong).
    pub fn look_after_group(&mut self) -> Checked {
        self.witness.groups += 1;
        if self.each_time || self.witness.groups.is_multiple_of(GROUPS_BETWEEN_LOOKS) {
            return self.look_over();
        }
        self.look_into_the_tray()?;
        for key in std::mem::take(&mut self.witness.touched) {
            if self.witness.known.contains(&key) {
                self.look_at_order(&key)?;
            }
        }
        Ok(())
    }

    /// What must hold at every instant.
    pub fn look_over(&mut self) -> Checked {
        self.witness.touched.clear();
        if self.waiting.is_empty() && self.ahead != self.durable.state {
            return wrong("the fold of the facts is not the state that ran ahead");
        }
        self.look_at_messages()?;
        self.look_into_the_tray()?;
        for key in &self.witness.known {
            self.look_at_order(key)?;
        }
        self.look_at_parcels()?;
        for job in self.durable.state.jobs.values() {
            if matches!(job.state, JobState::OnPaper { by: Confirmation::ProcessId | Confirmation::Person })
                && !self.witness.in_tray.contains(&job.id)
            {
                return wrong(format!("{} is said to be on paper, and does not lie in the tray", job.id));
            }
        }
        self.look_at_the_day()
    }

    /// Every parcel belongs to the orders that list it, and nobody else lists it.
    fn look_at_parcels(&self) -> Checked {
        let state = &self.durable.state;
        let listed = state.orders.iter().flat_map(|(key, entry)| entry.parcels.iter().map(move |id| (id, key)));
        let mut owners: BTreeMap<&ParcelId, Vec<&OrderKey>> = BTreeMap::new();
        listed.for_each(|(id, key)| owners.entry(id).or_default().push(key));
        for (id, parcel) in &state.parcels {
            let owners = owners.get(id).map_or(&[][..], Vec::as_slice);
            if parcel.orders.iter().collect::<BTreeSet<_>>() != owners.iter().copied().collect() {
                return wrong(format!("parcel {id} says that it belongs to {:?}, {owners:?} list it", parcel.orders));
            }
            self.look_at_joined(*id, parcel)?;
        }
        Ok(())
    }

    /// Until a paper of it is out, a shared parcel holds open orders of one customer that nothing stops.
    fn look_at_joined(&self, id: ParcelId, parcel: &ParcelEntry) -> Checked {
        let state = &self.durable.state;
        let entries: Vec<&OrderEntry> = parcel.orders.iter().filter_map(|key| state.orders.get(key)).collect();
        if entries.len() < 2 || parcel.orders.iter().any(|key| state.paper_out(key)) {
            return Ok(());
        }
        for entry in &entries {
            let order = &entry.order;
            let one_customer = order.destination.address_hash == entries[0].order.destination.address_hash
                && order.customer.name == entries[0].order.customer.name;
            let right = one_customer
                && !(order.separate || order.gift || entry.apart)
                && entry.cancelled.is_none()
                && entry.stops.is_empty();
            if !right {
                return wrong_with(&order.key, format!("it shares parcel {id}, and must not"));
            }
        }
        Ok(())
    }

    fn look_at_messages(&self) -> Checked {
        let state = &self.durable.state;
        for (message, at) in &self.witness.kept {
            let letter = &self.shop.letters[*at];
            let entry = state.messages.get(&message.source).and_then(|of| of.get(&message.id));
            let order = letter.keys().into_iter().next();
            let Some(entry) = entry.filter(|entry| entry.body_digest == letter.body_digest) else {
                let what =
                    format!("letter {at} ({}/{}) was answered and is not in the state", message.source, message.id);
                return Err(Wrong { order, what });
            };
            let is_about_orders = matches!(letter.answered, Some(MessageOutcome::Orders(_)));
            // Nothing is kept of a late message about an order that is history.
            let is_late = letter.keys().iter().any(|key| self.witness.archived.contains(key));
            let is_late = is_late || letter.keys().iter().any(|key| state.forgotten(key).is_some());
            let is_old = entry.at < self.witness.kept_from;
            if is_about_orders && !is_late && !is_old && self.durable.people.raw(message).is_none() {
                return Err(Wrong { order, what: format!("the body of letter {at} was answered and is gone") });
            }
        }
        Ok(())
    }

    /// An order that was answered is in exactly one place, as new as the shop was told, with its person.
    fn look_at_order(&self, key: &OrderKey) -> Checked {
        let state = &self.durable.state;
        let Some(entry) = state.orders.get(key) else {
            let is_remembered = state.cancelled_before.contains_key(key);
            return match (self.witness.archived.contains(key), is_remembered) {
                (true, _) | (false, true) => Ok(()),
                (false, false) => wrong_with(key, "the order was answered and is nowhere"),
            };
        };
        if self.witness.archived.contains(key) {
            return wrong_with(key, "the order is in the archive and is open as well");
        }
        if entry.forgotten.is_some() {
            // Nothing that the shop sends about it changes it any more.
            return match self.durable.people.of(key, entry.version) {
                Some(_) => wrong_with(key, "the order is forgotten, and its person is known"),
                None => Ok(()),
            };
        }
        if let Some((newest, _)) = self.witness.newest.get(key) {
            let before = state.cancelled_before.get(key).and_then(|before| before.revision);
            let known = entry.order.revision.max(before);
            if known < Some(Revision::Number(*newest)) {
                return wrong_with(key, format!("revision {newest} was answered, {known:?} is in force"));
            }
        }
        let expected = self.shop.recipients.get(&entry.order.content_digest);
        let person = self.durable.people.of(key, entry.version);
        if person.map(|person| person.recipient.reveal()) != expected.map(String::as_str) {
            return wrong_with(key, "the person of the content in force is missing, or another one");
        }
        let stages = entry.parcels.iter().filter_map(|id| state.parcels.get(id)).count();
        if stages != entry.parcels.len() {
            return wrong_with(key, "one of its parcels is missing");
        }
        self.look_at_pieces(key, entry)?;
        match entry.cancelled.is_none() && stands_still(entry) {
            true => wrong_with(key, "nothing stops it, nobody plans it, and it has no parcel"),
            false => Ok(()),
        }
    }

    /// Every paper once; what comes twice says COPY.
    fn look_into_the_tray(&mut self) -> Checked {
        let fresh: Vec<Sheet> = self.head.tray[self.witness.seen_sheets..].to_vec();
        for sheet in fresh {
            self.witness.seen_sheets += 1;
            let subject: Subject = match serde_json::from_str(&sheet.subject) {
                Ok(subject) => subject,
                Err(error) => return wrong(format!("an unreadable paper in the tray: {error}")),
            };
            let order = self.durable.state.order_of(&subject);
            self.story.tell(self.now, order.as_slice(), format!("in the tray: {sheet:?}"));
            let told = |what: String| Err(Wrong { order: order.clone(), what });
            let Sheet { job, .. } = sheet;
            if !self.witness.sent.contains(&job) {
                return told(format!("{job} lies in the tray, and was never sending on the disk"));
            }
            if !self.witness.in_tray.insert(job) {
                return told(format!("{job} lies in the tray twice"));
            }
            if sheet.copy {
                self.counts.copies += 1;
            } else if let Some(first) = self.witness.first_papers.insert(sheet.subject.clone(), job) {
                return told(format!("{job} and {first} are about the same, and neither says COPY"));
            }
            self.counts.lists += u64::from(matches!(subject, Subject::List { extra: 0, .. }) && !sheet.copy);
            let parcel = subject.parcel().and_then(|id| self.durable.state.parcels.get(&id));
            self.counts.joined += u64::from(parcel.is_some_and(|parcel| parcel.orders.len() > 1));
            self.counts.sheets += 1;
            self.witness.about.insert(sheet.subject);
        }
        Ok(())
    }

    /// The day's list holds each parcel that may be packed, once, and all pieces of its order.
    fn look_at_the_day(&self) -> Checked {
        let state = &self.durable.state;
        let list = day(state, state.date(self.now));
        let listed: Vec<ParcelId> = [&list.today, &list.later, &list.packed].into_iter().flatten().copied().collect();
        let unique: BTreeSet<ParcelId> = listed.iter().copied().collect();
        if unique.len() != listed.len() {
            return wrong("a parcel stands on the day's list twice");
        }
        if list.since_list.iter().any(|id| !list.today.contains(id)) {
            return wrong("a parcel since the list is not of today");
        }
        for (key, entry) in &state.orders {
            for id in &entry.parcels {
                let Some(parcel) = state.parcels.get(id).filter(|it| it.stage < Stage::HandedOver) else { continue };
                let others = parcel.orders.iter().filter_map(|key| state.orders.get(key));
                let are_free = others.into_iter().all(|entry| entry.cancelled.is_some() || is_free(entry));
                // While another order of the customer is planned it may come into this parcel.
                let waits = state.orders.values().any(|other| {
                    other.asked.is_some()
                        && other.order.destination.address_hash == entry.order.destination.address_hash
                });
                if is_free(entry) && are_free && !waits && !unique.contains(id) {
                    return wrong_with(key, format!("parcel {id} may be packed and is on no list"));
                }
            }
        }
        Ok(())
    }

    /// What is to be packed is what was ordered.
    fn look_at_pieces(&self, key: &OrderKey, entry: &OrderEntry) -> Checked {
        let Some((plan, _)) = &entry.plan else { return Ok(()) };
        let orders: Vec<&OrderEntry> = plan.orders().filter_map(|key| self.durable.state.orders.get(key)).collect();
        let current = orders.iter().all(|it| plan.version_of(&it.order.key) == Some(it.version));
        if !is_free(entry) || entry.parcels.is_empty() || !current {
            return Ok(());
        }
        let mut planned: BTreeMap<Sku, u32> = BTreeMap::new();
        for id in &entry.parcels {
            let Some(parcel) = self.durable.state.parcels.get(id) else { continue };
            // What a rule put in belongs to no line.
            for content in parcel.planned.contents.iter().filter(|content| content.line.is_some()) {
                // Each line is found in its own order again.
                let line = parcel.orders.get(content.order).and_then(|key| self.durable.state.orders.get(key));
                if line.and_then(|it| it.order.lines.get(content.line?)).is_none() {
                    return wrong_with(key, format!("{content:?} stems from no line"));
                }
                *planned.entry(content.sku.clone()).or_insert(0) += content.quantity;
            }
        }
        let mut ordered: BTreeMap<Sku, u32> = BTreeMap::new();
        for (sku, count) in orders.iter().flat_map(|it| pieces(&self.bench.mended, &it.order)) {
            *ordered.entry(sku).or_insert(0) += count;
        }
        match planned == ordered {
            true => Ok(()),
            false => wrong_with(key, format!("ordered are {ordered:?}, planned {planned:?}")),
        }
    }

    /// What the disk gives is what was confirmed, and perhaps the one group whose append failed.
    pub fn compare(&mut self, found: Durable) -> Checked {
        let attempted = std::mem::take(&mut self.attempted);
        if found.state.seq == self.durable.state.seq {
            return self.must_be(&found);
        }
        for record in &attempted {
            if let dawnslip::book::Record::Fact(stamped) = record {
                self.story.fact(stamped);
                self.witness.see(&self.durable.state, stamped)?;
            }
            self.durable.fold(record);
        }
        self.must_be(&found)
    }

    pub fn must_be(&self, found: &Durable) -> Checked {
        let (there, here) = (found.state.seq, self.durable.state.seq);
        if there != here {
            return wrong(format!("the disk holds facts up to {there}, up to {here} were confirmed"));
        }
        if found.state != self.durable.state {
            return wrong("the fold of snapshot and journal is not the state");
        }
        match found.people == self.durable.people {
            true => Ok(()),
            false => wrong("the persons on the disk are not those that were confirmed"),
        }
    }

    /// At rest: everything is answered, and every paper that should be there is there.
    pub fn look_at_the_end(&self) -> Checked {
        let state = &self.durable.state;
        if let Some(at) = self.shop.unanswered() {
            return wrong(format!("letter {at} was never answered"));
        }
        if state.list_due(state.date(self.now)).is_some_and(|due| due <= self.now)
            && state.last_list < Some(state.date(self.now))
        {
            return wrong("today's list is due and was not queued");
        }
        let missing = |subject: &Subject| !self.witness.about.contains(&written(subject));
        for (key, entry) in &state.orders {
            if entry.asked.is_some() {
                return wrong_with(key, "a plan was asked for and never came");
            }
            if entry.cancelled.is_some() {
                let slips = entry.parcels.iter().map(|id| Subject::Parcel(*id));
                let is_out = slips.clone().any(|slip| !missing(&slip));
                // A parcel that was with the carrier is asked about instead.
                let gone = self.witness.gone.contains(key);
                let notes = (1..=entry.notes).map(|n| Subject::Note(key.clone(), n));
                let told = notes.clone().any(|note| !missing(&note));
                if is_out && !gone && !told {
                    return wrong_with(key, "it is cancelled, its slip lies in the tray, and no note does");
                }
            } else if entry.stops.is_empty() {
                for id in &entry.parcels {
                    let Some(parcel) = state.parcels.get(id) else { continue };
                    // What is packed already needs no card any more.
                    let open = parcel.stage <= Stage::Printed;
                    let cards = parcel.planned.cards.iter().filter(|_| open);
                    let cards = cards.map(|card| Subject::Card(*id, card.clone()));
                    for subject in cards.chain([Subject::Parcel(*id)]) {
                        if missing(&subject) && !entry.declined.contains(&subject) {
                            return wrong_with(key, format!("{subject:?} should be in the tray and is not"));
                        }
                    }
                }
            }
        }
        for date in self.witness.lists.keys() {
            let subject = Subject::List { date: *date, extra: 0 };
            // A list that had not come out when the next one was due makes room for it.
            let is_replaced = self.witness.lists.range(*date..).nth(1).is_some();
            let jobs = state.jobs_about(&subject);
            let is_dropped = jobs.iter().all(|job| matches!(job.state, JobState::Dropped { .. }));
            if missing(&subject) && !is_dropped && !is_replaced {
                return wrong(format!("the list of {date} should be in the tray and is not"));
            }
        }
        Ok(())
    }
}

/// Under which identity a letter is kept: its own, or, if another one has that, with its digest.
fn kept_as(state: &State, letter: &Letter) -> MessageKey {
    let own = letter.message.clone();
    let of_source = state.messages.get(&own.source);
    let holds_it = of_source.and_then(|of| of.get(&own.id)).is_some_and(|it| it.body_digest == letter.body_digest);
    match holds_it {
        true => own,
        false => MessageKey { id: format!("{}~{}", own.id, &letter.body_digest[..16]), ..own },
    }
}

/// A plan counts only for what it was asked for, and that is still so; of several orders only where
/// that is no dearer than what they had.
fn see_plan(state: &State, plan: &Plan) -> Checked {
    for key in &plan.joined {
        let current = state.orders.get(key).is_some_and(|entry| plan.version_of(key) == Some(entry.version));
        if !current {
            return wrong_with(key, "it is joined with a content that is not in force");
        }
    }
    if !plan.joined.is_empty() {
        let apart: Option<i64> =
            plan.orders().map(|key| Some(state.orders.get(key)?.plan.as_ref()?.0.cost?.minor)).sum();
        // What was joined before is counted with each of its orders; on another day prices may be others.
        let alone = plan.orders().filter_map(|key| state.orders.get(key)?.plan.as_ref()).all(|(one, _)| {
            one.joined.is_empty() && one.pins.hand_over == plan.pins.hand_over && one.pins.config == plan.pins.config
        });
        if alone && plan.cost.map(|cost| cost.minor) > apart {
            return wrong_with(&plan.order, format!("joined for {:?}, apart {apart:?}", plan.cost));
        }
    }
    let Some(entry) = state.orders.get(&plan.order) else {
        return wrong_with(&plan.order, "a plan counts for an order that is not open");
    };
    let pins = &plan.pins;
    let holds = entry.asked.as_ref() == Some(pins)
        && pins.order_version == entry.version
        && state.config.as_ref() == Some(&pins.config)
        && pins.stock == state.stock_seq;
    match holds {
        true => Ok(()),
        false => wrong_with(&plan.order, format!("a stale plan counts: {pins:?}")),
    }
}

fn is_free(entry: &OrderEntry) -> bool {
    entry.cancelled.is_none() && entry.stops.is_empty() && entry.asked.is_none()
}

/// Open, with nothing that stops it and nothing to be done.
fn stands_still(entry: &OrderEntry) -> bool {
    entry.stops.is_empty() && entry.asked.is_none() && entry.parcels.is_empty()
}
