//! Messages from shops: duplicates, revisions, cancellations, gaps in numbers.

use super::compare::{Age, age, differences, same_content};
use super::step::{Reply, Work, refuse};
use super::*;
use crate::model::*;
use jiff::Timestamp;

/// A jump over more numbers than this is no gap but a new start of the shop's counter.
const GAP_MAX: u64 = 50;
/// Missing numbers of one shop that are remembered at once; more say nothing new.
const GAPS_MAX: usize = 200;
/// Hexadecimal digits of a body's digest that tell a contradicting message from the first one.
const DIGEST_HEAD: usize = 16;

/// What a content comes from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Reading {
    /// A new message.
    First,
    /// A message that could not be mapped when it came, at this instant.
    Late(Timestamp),
    /// A message that was mapped before, or contradicts another: a person wants it to count.
    Again,
}

impl Work<'_> {
    pub fn receive(&mut self, received: Received) -> Reply {
        let Received { message, body_digest, raw, meaning, archived } = received;
        let known = |id: &str| self.state.messages.get(&message.source)?.get(id);
        if let Some(first) = known(&message.id) {
            if first.body_digest == body_digest {
                return Ok(Answer::Kept { novelty: Novelty::Known, outcome: first.outcome.clone() });
            }
            let head: String = body_digest.chars().take(DIGEST_HEAD).collect();
            let other = MessageKey { source: message.source.clone(), id: format!("{}{OTHER_BODY}{head}", message.id) };
            if let Some(known) = known(&other.id) {
                return Ok(Answer::Kept { novelty: Novelty::Known, outcome: known.outcome.clone() });
            }
            return self.contradicting(&message, other, body_digest, raw);
        }
        let outcome = match meaning {
            Meaning::NotAnOrder => MessageOutcome::NotAnOrder,
            Meaning::Unmappable { reason, pointer } => {
                self.keep_raw(&message, raw);
                self.ask_about_unmappable(&message, &reason, &pointer);
                MessageOutcome::Unmappable
            }
            Meaning::Orders(orders) => {
                // Nobody maps it again where an order of it is history; and of a forgotten one
                // nothing is kept.
                // One that is archived and held all the same changed, or the program ended, amid it.
                let is_history = |key: &OrderKey| archived.contains(key) && !self.state.orders.contains_key(key);
                let over = |order: &Order| is_history(&order.key) || self.state.forgotten(&order.key).is_some();
                if !orders.iter().any(|(order, _)| over(order)) {
                    self.keep_raw(&message, raw);
                }
                let keys = orders.iter().map(|(order, _)| order.key.clone()).collect();
                for (order, person) in orders {
                    self.take(order, person, &message, Reading::First, &archived);
                }
                MessageOutcome::Orders(keys)
            }
        };
        self.fact(Fact::MessageKept { message, body_digest, outcome: outcome.clone() });
        Ok(Answer::Kept { novelty: Novelty::New, outcome })
    }

    /// A message that was kept is mapped again.
    pub fn remapped(
        &mut self,
        message: &MessageKey,
        meaning: Meaning,
        archived: &std::collections::BTreeSet<OrderKey>,
    ) -> Reply {
        let known = self.state.messages.get(&message.source).and_then(|of| of.get(&message.id)).cloned();
        let Some(known) = known else {
            return refuse(
                format!("no message {} of {} is remembered", message.id, message.source),
                "let the shop send it again, or bring it in with: dawnslip intake FILE",
            );
        };
        let outcome = match meaning {
            Meaning::Unmappable { reason, .. } => {
                return refuse(
                    format!("it still cannot be mapped: {reason}"),
                    "correct the mapping in sources.toml, then: dawnslip reload, dawnslip remap",
                );
            }
            Meaning::NotAnOrder => MessageOutcome::NotAnOrder,
            Meaning::Orders(orders) => {
                let reading = match known.outcome {
                    MessageOutcome::Unmappable => Reading::Late(known.at),
                    _ => Reading::Again,
                };
                let keys: Vec<OrderKey> = orders.iter().map(|(order, _)| order.key.clone()).collect();
                for (order, person) in orders {
                    self.take(order, person, message, reading, archived);
                }
                self.forget_again(&keys);
                MessageOutcome::Orders(keys)
            }
        };
        for cause in [unmappable(message), message_changed(message)] {
            let mut standing = self.state.loose_stops.iter().map(|stop| &stop.kind);
            let standing = standing.find(|kind| kind.cause() == Some(&cause)).cloned();
            if let Some(stop) = standing {
                self.lift(None, stop, Actor::Program);
            }
        }
        let said = match &outcome {
            MessageOutcome::Orders(keys) => {
                let keys: Vec<String> = keys.iter().map(OrderKey::to_string).collect();
                format!("mapped: {}", keys.join(", "))
            }
            _ => "mapped: it is not about orders".to_owned(),
        };
        if known.outcome != outcome {
            let body_digest = known.body_digest;
            self.fact(Fact::MessageKept { message: message.clone(), body_digest, outcome });
        }
        Ok(Answer::Said(said))
    }

    /// The same id with another body: kept under an identity of its own, and a person is asked.
    fn contradicting(&mut self, first: &MessageKey, own: MessageKey, body_digest: String, raw: Hidden) -> Reply {
        let outcome = MessageOutcome::Contradicts;
        let about = self.state.orders_of_message(&first.source, &first.id);
        if about.iter().any(|key| self.state.forgotten(key).is_some()) {
            // With the first one gone there is nothing to compare, and nothing of it is to be kept.
            self.fact(Fact::MessageKept { message: own, body_digest, outcome: outcome.clone() });
            return Ok(Answer::Kept { novelty: Novelty::New, outcome });
        }
        self.keep_raw(&own, raw);
        let cause = message_changed(&own);
        let what = format!("message {} of {} came again with another body", first.id, first.source);
        let remedy = format!(
            "compare it with the shop, then: dawnslip decide {cause} take-new (its orders are taken in), or … keep-old"
        );
        self.fact(Fact::MessageKept { message: own, body_digest, outcome: outcome.clone() });
        self.ask(None, cause, what, remedy);
        Ok(Answer::Kept { novelty: Novelty::New, outcome })
    }

    fn keep_raw(&mut self, message: &MessageKey, body: Hidden) {
        self.person(PersonRecord::Raw { v: RECORD_VERSION, message: message.clone(), body });
    }

    fn keep_person(&mut self, order: &OrderKey, version: u32, person: Person) {
        let record = PersonRecord::Of { v: RECORD_VERSION, order: order.clone(), version, person: Box::new(person) };
        self.person(record);
    }

    fn ask_about_unmappable(&mut self, message: &MessageKey, reason: &str, pointer: &str) {
        let place = if pointer.is_empty() { String::new() } else { format!(" at {pointer}") };
        let what = format!("a message of {} could not be mapped{place}: {reason}", message.source);
        let cause = unmappable(message);
        let remedy = format!(
            "correct its mapping in sources.toml, then: dawnslip reload, dawnslip remap; or set it aside: dawnslip decide {cause} cancel"
        );
        self.ask(None, cause, what, remedy);
    }

    fn take(
        &mut self,
        order: Order,
        person: Person,
        message: &MessageKey,
        reading: Reading,
        archived: &std::collections::BTreeSet<OrderKey>,
    ) {
        let key = order.key.clone();
        let Some(entry) = self.state.orders.get(&key) else {
            return match (archived.contains(&key), order.cancelled) {
                (true, _) => self.fact(Fact::OrderStale { order: key, revision: order.revision }),
                (false, true) => self.remember_cancellation(order),
                (false, false) => self.take_new(order, person, message),
            };
        };
        if entry.forgotten.is_some() {
            return self.came_after_forgetting(&order);
        }
        let known = entry.order.revision.max_comparable(self.state.cancelled_before.get(&key));
        let again = reading == Reading::Again;
        if same_content(&entry.order, &order) && (again || order.revision.is_none()) {
            return;
        }
        // A corrected mapping may read another revision in the message that is in force.
        let corrects = again && entry.message == *message;
        let age = match (age(known, order.revision), reading) {
            // Without revisions the arrival counts, not the day on which it could be mapped.
            (Age::Newer, Reading::Late(arrived)) if arrived < entry.revised && !is_newer(known, order.revision) => {
                Age::Older
            }
            (age, _) => age,
        };
        match age {
            Age::Older if !corrects => self.fact(Fact::OrderStale { order: key, revision: order.revision }),
            Age::Equal if !again => {
                if !same_content(&entry.order, &order) {
                    self.contradicted(order, person);
                }
            }
            _ => self.revised(order, Some(person), message),
        }
    }

    fn take_new(&mut self, order: Order, person: Person, message: &MessageKey) {
        let key = order.key.clone();
        let before = self.state.cancelled_before.get(&key).map(|before| before.revision);
        self.report_gaps(&key);
        self.fact(Fact::OrderReceived { order: Box::new(order.clone()), message: message.clone() });
        self.keep_person(&key, 1, person);
        self.watch_for_burst();
        // Without comparable revisions the cancellation, which came first, is taken as the later word.
        if before.is_some_and(|before| before.is_none() || !is_newer(before, order.revision)) {
            let reason = "the shop had cancelled it before it came".to_owned();
            return self.fact(Fact::OrderCancelled { order: key, by: Actor::Shop, reason });
        }
        self.ask_about_flaws(&order);
        self.ask_plan(&key);
    }

    fn remember_cancellation(&mut self, order: Order) {
        let known = self.state.cancelled_before.get(&order.key);
        if known.is_some_and(|known| known.revision == order.revision || !is_newer(known.revision, order.revision)) {
            return;
        }
        self.report_gaps(&order.key);
        self.fact(Fact::CancellationRemembered { order: order.key, revision: order.revision });
    }

    fn contradicted(&mut self, order: Order, person: Person) {
        let key = order.key.clone();
        let Some(entry) = self.state.orders.get(&key) else { return };
        if entry.contender.as_ref().is_some_and(|(contender, _)| same_content(contender, &order)) {
            return;
        }
        let version = entry.next_version();
        let cause = Cause::SameRevision(key.clone());
        let what = format!("order {} came twice with the same revision and different content", key.number);
        let remedy = format!("look at it in the shop, then: dawnslip decide {cause} take-new, or … keep-old");
        self.fact(Fact::OrderContradicted { order: Box::new(order), version });
        self.keep_person(&key, version, person);
        self.ask(Some(&key), cause, what, remedy);
    }

    /// A newer content replaces the older one; with all that follows from it.
    pub fn revised(&mut self, order: Order, person: Option<Person>, message: &MessageKey) {
        let key = order.key.clone();
        let Some(entry) = self.state.orders.get(&key) else { return };
        let old = entry.order.clone();
        let changed = old.content_digest != order.content_digest || old.flaws != order.flaws;
        let cancelled_by = entry.cancelled.as_ref().map(|c| c.by);
        let before = self.state.cancelled_before.get(&key);
        let before = before.is_some_and(|before| is_newer(before.revision, order.revision));
        // The person of a contender was kept when it came.
        let version = match (&entry.contender, &person) {
            (Some((_, version)), None) => *version,
            _ if changed => entry.next_version(),
            _ => entry.version,
        };
        let lines = if changed { differences(&old, &order) } else { Vec::new() };
        self.fact(Fact::OrderRevised {
            order: Box::new(order.clone()),
            version,
            message: message.clone(),
            differences: lines,
        });
        if let (Some(person), true) = (person, changed) {
            self.keep_person(&key, version, person);
        }
        self.lift_where(&key, Actor::Program, |_, kind| match kind.cause() {
            Some(Cause::SameRevision(_)) => true,
            // Cancelled again before somebody answered: there is nothing to open any more.
            Some(Cause::Uncancelled(_)) => order.cancelled,
            _ => false,
        });
        match (cancelled_by, order.cancelled) {
            (None, true) => self.cancel(&key, Actor::Shop, Reason::ShopCancelled.words()),
            (Some(Actor::Shop), false) if old.cancelled || before => self.uncancelled(&key),
            (Some(_), _) => {}
            (None, false) if changed => self.content_changed(&order),
            (None, false) => self.go_on(&key),
        }
    }

    fn uncancelled(&mut self, key: &OrderKey) {
        if self.state.paper_out(key) {
            let cause = Cause::Uncancelled(key.clone());
            let what = format!("the shop opened order {} again, but papers of it had been printed", key.number);
            let remedy = format!(
                "if it is to be sent: dawnslip decide {cause} take-new; if it stays cancelled: dawnslip decide {cause} keep-old"
            );
            return self.ask(Some(key), cause, what, remedy);
        }
        self.reopen(key, Actor::Shop);
    }

    /// Opens a cancelled order again and goes on with it.
    pub fn reopen(&mut self, key: &OrderKey, by: Actor) {
        let Some(order) = self.state.orders.get(key).map(|entry| entry.order.clone()) else { return };
        self.fact(Fact::OrderReopened { order: key.clone(), by });
        self.reconsider_notes(key);
        self.ask_about_flaws(&order);
        if self.state.paper_out(key) {
            self.queue_change_note(key);
        }
        self.go_on(key);
    }

    /// What follows from another content: questions and plan of the old one no longer count.
    fn content_changed(&mut self, order: &Order) {
        let key = &order.key;
        self.lift_where(key, Actor::Program, OrderEntry::is_planners);
        self.ask_about_flaws(order);
        if !self.state.paper_out(key) {
            self.drop_queued(key, "the order has changed");
            return self.ask_plan(key);
        }
        let Some(entry) = self.state.orders.get(key) else { return };
        let closed = entry.is_closed(&self.state.parcels);
        // With a slip at the bench the change note says all; what is packed already, or has
        // no slip yet and an old plan, a person must see to.
        let unsettled = self.state.parcels_of(entry).any(|(id, parcel)| match parcel.stage {
            Stage::Printed => false,
            Stage::Packed | Stage::HandedOver => true,
            Stage::Received | Stage::Planned => !self.state.slip_out(id),
        });
        if !closed {
            self.queue_change_note(key);
        }
        if unsettled {
            let (state, detail) = match closed {
                true => ("was handed over", Detail::ChangedAfterHandOver),
                false => ("was partly printed or packed", Detail::ChangedAfterPacking),
            };
            let cause = Cause::AfterPrinting(key.clone());
            let what = format!("the shop changed order {} after it {state}", key.number);
            let remedy =
                format!("see what differs: dawnslip order {key}; when it is settled: dawnslip decide {cause} go-on");
            self.ask_after_printing(key, what, remedy, detail);
        }
        self.go_on(key);
    }

    /// Each flaw that nobody has accepted becomes a question.
    fn ask_about_flaws(&mut self, order: &Order) {
        for flaw in &order.flaws {
            let key = &order.key;
            let cause = Cause::Flaw(key.clone(), flaw.kind);
            let accepted = self.state.orders.get(key).is_some_and(|e| e.accepted.contains(&cause.to_string()));
            if accepted {
                continue;
            }
            let what = format!("order {}: {}", key.number, flaw.detail);
            let remedy = match flaw.kind {
                FlawKind::BadQuantity | FlawKind::NoGoods => format!(
                    "correct it in the shop, which then sends it again; or cancel it: dawnslip decide {cause} cancel"
                ),
                _ => format!(
                    "correct it in the shop, which then sends it again; or, if it is right: dawnslip decide {cause} go-on"
                ),
            };
            self.ask(Some(key), cause, what, remedy);
        }
    }

    /// Reports numbers that this one has jumped over, or closes the gap that it fills.
    fn report_gaps(&mut self, key: &OrderKey) {
        let Some(n) = self.state.gapless_number(key) else { return };
        let Some(shop) = self.state.shops.get(&key.source) else { return };
        if let Some(gap) = shop.gaps.get(&n) {
            let number = gap.number.clone();
            return self.fact(Fact::GapClosed { source: key.source.clone(), number, by: Actor::Shop });
        }
        let Some(highest) = shop.highest else { return };
        let missing = n.saturating_sub(highest).saturating_sub(1);
        if missing == 0 || missing > GAP_MAX {
            return;
        }
        let room = GAPS_MAX.saturating_sub(shop.gaps.len());
        let before = numbered_like(&key.number, highest);
        for absent in (highest + 1..n).take(room) {
            let number = numbered_like(&key.number, absent);
            let between = (before.clone(), key.number.clone());
            self.fact(Fact::GapSeen { source: key.source.clone(), number, between });
        }
    }
}

impl OrderEntry {
    /// The version that another content would get.
    fn next_version(&self) -> u32 {
        let contender = self.contender.as_ref().map_or(0, |(_, version)| *version);
        self.version.max(contender).saturating_add(1)
    }
}

/// The later of an order's own revision and that of a cancellation that came before it.
trait MaxComparable {
    fn max_comparable(self, before: Option<&CancelledBefore>) -> Self;
}

impl MaxComparable for Option<Revision> {
    fn max_comparable(self, before: Option<&CancelledBefore>) -> Self {
        match before.and_then(|before| before.revision) {
            Some(before) if is_newer(self, Some(before)) => Some(before),
            _ => self,
        }
    }
}

/// Do both name revisions of one kind, and is `came` the later one?
fn is_newer(known: Option<Revision>, came: Option<Revision>) -> bool {
    age(known, came) == Age::Newer && age(came, known) == Age::Older
}

/// Which question asks about an unmappable message.
pub(super) fn unmappable(message: &MessageKey) -> Cause {
    Cause::Unmappable(format!("{}/{}", message.source, message.id))
}

/// Which question asks about a contradicting message.
pub(super) fn message_changed(message: &MessageKey) -> Cause {
    Cause::MessageChanged(format!("{}/{}", message.source, message.id))
}

/// Another number in the writing of this one: the same text before, the same leading noughts.
fn numbered_like(number: &str, n: u64) -> String {
    let digits = number.len() - number.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    let (prefix, figure) = number.split_at(number.len() - digits);
    let width = if figure.starts_with('0') { figure.len() } else { 0 };
    format!("{prefix}{n:0width$}")
}
