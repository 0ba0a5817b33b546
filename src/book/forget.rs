//! Forgetting: what is decided before the files are cleaned, and what comes of an order
//! that is forgotten.
//!
//! The fact comes first and is on disk before any file is touched; while its order stands in
//! [`State::erasing`], the erasure is taken up again at every start. A forgotten order stays
//! forgotten: its facts remain, no paper with a name is made for it, and nothing of what
//! the shop sends about it later is kept.

use super::compare::{Age, age, same_content};
use super::step::{Reply, Work, refuse};
use super::*;
use crate::model::*;

impl State {
    /// Since when an order that the state holds is forgotten.
    pub fn forgotten(&self, key: &OrderKey) -> Option<jiff::Timestamp> {
        self.orders.get(key)?.forgotten
    }
}

impl Work<'_> {
    /// Erases what tells of an order's persons. Asked once more it is done once more: a copy that
    /// could not be reached the first time may be within reach now.
    pub fn forget(&mut self, key: &OrderKey, open: OpenOrder, archived: bool) -> Reply {
        let is_open = match self.state.orders.get(key) {
            Some(entry) => !entry.is_closed(&self.state.parcels),
            None if archived => false,
            None => {
                return refuse(format!("there is no order {key}"), "look at: dawnslip orders --all");
            }
        };
        match (is_open, open) {
            (true, OpenOrder::Refuse) => {
                return refuse(
                    format!("order {key} is open, and without name and address nothing more can be printed for it"),
                    format!("to cancel it and then erase them: dawnslip forget {key} --yes"),
                );
            }
            (true, OpenOrder::Cancel) => self.cancel(key, Actor::Person, "its personal data are erased"),
            (false, _) => self.drop_queued(key, "its personal data are erased"),
        }
        // What was asked about its content can no longer be looked at. What lies at the bench or
        // with the carrier still needs a person.
        self.lift_where(key, Actor::Program, |_, kind| {
            !matches!(kind.cause(), Some(Cause::AfterPrinting(_) | Cause::UncertainPaper(_)))
        });
        for kind in self.asked_about_messages_of(key) {
            self.lift(None, kind, Actor::Program);
        }
        self.fact(Fact::Forgotten { order: key.clone(), by: Actor::Person });
        Ok(Answer::Done)
    }

    /// Questions which of two bodies of a message counts that meant this order: both go with it.
    fn asked_about_messages_of(&self, key: &OrderKey) -> Vec<StopKind> {
        let meant = |stop: &&Stop| {
            stop.message().is_some_and(|it| self.state.orders_of_message(&it.source, &it.id).contains(key))
        };
        self.state.loose_stops.iter().filter(meant).map(|stop| stop.kind.clone()).collect()
    }

    /// The files are clean.
    pub fn erased(&mut self, order: OrderKey, lines: u64, receipt: String) -> Reply {
        if self.state.erasing.contains_key(&order) {
            self.fact(Fact::Erased { order, lines, receipt });
        }
        Ok(Answer::Done)
    }

    /// Notes something that needs no decision.
    pub fn noted(&mut self, fact: Fact) -> Reply {
        self.fact(fact);
        Ok(Answer::Done)
    }

    /// The shop sends a forgotten order again. What it sent before is an old story; a new content
    /// means that somebody still reckons with the order, and a person must know. Its data do
    /// not come back: nobody asked for that, and somebody asked for the contrary.
    pub fn came_after_forgetting(&mut self, order: &Order) {
        let key = &order.key;
        let Some(entry) = self.state.orders.get(key) else { return };
        let Some(since) = entry.forgotten else { return };
        if same_content(&entry.order, order) {
            return;
        }
        let news = !order.cancelled && age(entry.order.revision, order.revision) != Age::Older;
        self.fact(Fact::OrderStale { order: key.clone(), revision: order.revision });
        if news {
            let cause = Cause::AfterPrinting(key.clone());
            let date = self.state.date(since);
            let what = format!(
                "the shop sent order {} again, whose personal data were erased on {date}; nothing of it was kept",
                key.number
            );
            let remedy = format!(
                "if it is to be sent, let the shop send it as a new order; when it is settled: dawnslip decide {cause} go-on"
            );
            self.ask_after_printing(key, what, remedy, Detail::CameAfterForgetting);
        }
    }

    /// A message that was kept because nobody could read it turned out to be about orders that
    /// are forgotten: their files are cleaned once more.
    pub fn forget_again(&mut self, orders: &[OrderKey]) {
        for key in orders {
            if self.state.forgotten(key).is_some() {
                self.fact(Fact::Forgotten { order: key.clone(), by: Actor::Program });
            }
        }
    }
}
