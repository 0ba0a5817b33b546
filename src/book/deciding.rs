//! Answers to questions: each cause with each decision has its effect, or a refusal that
//! says what to do instead.

use super::Action;
use super::receive::{message_changed, unmappable};
use super::step::{Reply, Work, refuse};
use super::*;
use crate::model::*;

/// What a question about a missing number begins with, as typed.
pub(super) const NEVER_CAME: &str = "never-came:";

impl Decision {
    /// The word that people type.
    pub fn word(self) -> &'static str {
        let found = Self::WORDS.iter().find(|(_, decision)| *decision == self);
        found.map_or("", |(word, _)| word)
    }
    /// The decision for a word that people type.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::WORDS.iter().find(|(known, _)| *known == word).map(|(_, decision)| *decision)
    }
}

/// What a decision does to a question.
enum Consequence {
    /// Plan its orders again; the planner's answer lifts it.
    PlanAgain,
    /// Map the message again; its answer lifts it.
    ReadAgain,
    /// Lift it (accepted as it is) and go on.
    Lift,
    /// Cancel its orders.
    CancelOrders,
    /// The contender replaces the content.
    TakeContender,
    /// Open the cancelled order again.
    Reopen,
    /// The paper is there.
    PaperIsThere,
    /// Print a COPY.
    PrintCopy,
    /// Not so, but so.
    No(&'static str),
}

fn consequence(cause: &Cause, decision: Decision) -> Consequence {
    use Consequence::*;
    use Decision as D;
    match cause {
        Cause::UnknownProduct(_) | Cause::IncompleteProduct(_) => match decision {
            D::Retry => PlanAgain,
            D::Cancel => CancelOrders,
            _ => No("mend products.toml, then: dawnslip reload; or decide retry or cancel"),
        },
        Cause::NothingFits(_) | Cause::NoService(_) => match decision {
            D::Retry => PlanAgain,
            D::Cancel => CancelOrders,
            _ => No("mend packaging.toml or services.toml, then: dawnslip reload; or decide retry or cancel"),
        },
        Cause::Rule(..) | Cause::RuleFailed(_) => match decision {
            D::Retry => PlanAgain,
            D::GoOn => Lift,
            D::Cancel => CancelOrders,
            _ => No("decide go-on, cancel or retry"),
        },
        Cause::Flaw(_, FlawKind::BadQuantity | FlawKind::NoGoods) => match decision {
            D::Retry => ReadAgain,
            D::Cancel => CancelOrders,
            _ => No("there is nothing to send as it is: correct it in the shop, or decide retry or cancel"),
        },
        Cause::Flaw(..) => match decision {
            D::Retry => ReadAgain,
            D::GoOn => Lift,
            D::Cancel => CancelOrders,
            _ => No("decide go-on, cancel or retry"),
        },
        Cause::Unmappable(_) => match decision {
            D::Retry => ReadAgain,
            D::Cancel => Lift,
            _ => No("correct its mapping in sources.toml and decide retry; or set it aside: cancel"),
        },
        Cause::MessageChanged(_) => match decision {
            D::TakeNew | D::Retry => ReadAgain,
            D::KeepOld => Lift,
            _ => No("decide take-new or keep-old"),
        },
        Cause::SameRevision(_) => match decision {
            D::TakeNew => TakeContender,
            D::KeepOld => Lift,
            D::Cancel => CancelOrders,
            _ => No("say which content counts: take-new or keep-old"),
        },
        Cause::AfterPrinting(_) => match decision {
            D::GoOn => Lift,
            D::Cancel => CancelOrders,
            _ => No("settle it at the bench, then decide go-on; or cancel"),
        },
        Cause::Uncancelled(_) => match decision {
            D::TakeNew | D::GoOn => Reopen,
            D::KeepOld | D::Cancel => Lift,
            _ => No("decide take-new (it is sent) or keep-old (it stays cancelled)"),
        },
        Cause::StoppedProgram(_) => match decision {
            D::Retry => Lift,
            D::Cancel => CancelOrders,
            _ => No("it cannot go on without a plan: decide retry or cancel"),
        },
        Cause::RecordsLost(..) => match decision {
            D::GoOn => Lift,
            _ => No("ask the shop for the orders of that time, then decide go-on"),
        },
        Cause::UncertainPaper(_) => match decision {
            D::OnPaper => PaperIsThere,
            D::Copy => PrintCopy,
            _ => No("look in the tray, then decide on-paper or copy"),
        },
    }
}

/// The decisions that a question about this cause takes.
pub fn decisions(cause: &Cause) -> Vec<Decision> {
    let taken = |decision: &Decision| !matches!(consequence(cause, *decision), Consequence::No(_));
    Decision::WORDS.iter().map(|(_, decision)| *decision).filter(taken).collect()
}

impl Work<'_> {
    pub fn decide(&mut self, cause: &str, decision: Decision) -> Reply {
        if let Some(missing) = cause.strip_prefix(NEVER_CAME) {
            return self.decide_gap(missing, decision);
        }
        let asked = |stop: &Stop| match &stop.kind {
            StopKind::NeedsYou(question) if question.cause.to_string() == cause => Some(question.clone()),
            _ => None,
        };
        let loose = self.state.loose_stops.iter().filter_map(asked).map(|question| (None, question));
        let of_orders = self.state.orders.values().flat_map(|entry| {
            entry.stops.iter().filter_map(asked).map(|question| (Some(entry.order.key.clone()), question))
        });
        let standing: Vec<(Option<OrderKey>, Question)> = loose.chain(of_orders).collect();
        let Some((_, question)) = standing.first() else {
            return refuse(format!("nobody asks about {cause}"), "the open questions stand in: dawnslip status");
        };
        let consequence = consequence(&question.cause, decision);
        if let Consequence::No(remedy) = consequence {
            return refuse(format!("{} does not answer it: {}", decision.word(), question.what), remedy);
        }
        if matches!(consequence, Consequence::CancelOrders)
            && let [(Some(key), _)] = standing.as_slice()
            && self.entry(key)?.cancelled.is_some()
        {
            return refuse(format!("order {} is cancelled already", key.number), "decide go-on when it is settled");
        }
        self.fact(Fact::Decided { cause: cause.to_owned(), decision });
        let count = standing.len();
        for (order, question) in standing {
            self.carry_out(&consequence, order, question);
        }
        Ok(Answer::Said(match count {
            1 => "decided".to_owned(),
            _ => format!("decided for {count} orders"),
        }))
    }

    fn carry_out(&mut self, consequence: &Consequence, order: Option<OrderKey>, question: Question) {
        let cause = question.cause.clone();
        let stop = StopKind::NeedsYou(question);
        match consequence {
            Consequence::No(_) => {}
            Consequence::Lift => {
                self.lift(order.as_ref(), stop, Actor::Person);
                if let Some(key) = &order {
                    self.go_on(key);
                }
            }
            Consequence::PlanAgain => order.iter().for_each(|key| self.ask_plan(key)),
            Consequence::ReadAgain => match &order {
                Some(key) => self.read_order_again(key, &cause),
                None => self.read_message_again(&cause),
            },
            Consequence::CancelOrders => {
                if let Some(key) = &order {
                    self.cancel(key, Actor::Person, &Reason::Decided.about(&cause.to_string()));
                }
            }
            Consequence::TakeContender => {
                let Some(key) = &order else { return };
                let entry = self.state.orders.get(key);
                let found = entry.and_then(|entry| Some((entry.contender.clone()?.0, entry.message.clone())));
                match found {
                    Some((contender, message)) => self.revised(contender, None, &message),
                    None => self.lift(order.as_ref(), stop, Actor::Person),
                }
            }
            Consequence::Reopen => {
                self.lift(order.as_ref(), stop, Actor::Person);
                if let Some(key) = &order {
                    self.reopen(key, Actor::Person);
                }
            }
            Consequence::PaperIsThere => {
                if let Cause::UncertainPaper(id) = cause {
                    // Refused only for a job that is gone: then nothing is in doubt any more.
                    if self.printed(JobId(id), Confirmation::Person).is_err() {
                        self.lift(order.as_ref(), stop, Actor::Person);
                    }
                }
            }
            Consequence::PrintCopy => {
                self.lift(order.as_ref(), stop, Actor::Person);
                let Cause::UncertainPaper(id) = cause else { return };
                let Some(job) = self.state.jobs.get(&JobId(id)).cloned() else { return };
                let JobState::Uncertain { why } = job.state.clone() else { return };
                // With another stop it waits until that is gone, and is then settled again.
                if !self.state.is_right(&job) {
                    return;
                }
                self.queue_job(job.kind, job.subject, Some(CopyMark { of: job.id, at: job.since, why }));
                if let Some(key) = &order {
                    self.go_on(key);
                }
            }
        }
    }

    /// A flaw of the content: its message is mapped again; one that the planner saw: planned again.
    fn read_order_again(&mut self, key: &OrderKey, cause: &Cause) {
        let Some(entry) = self.state.orders.get(key) else { return };
        let message = entry.message.clone();
        match cause {
            Cause::Flaw(_, kind) if entry.has_flaw(*kind) => self.effect(Effect::ReadAgain { message }),
            _ => self.ask_plan(key),
        }
    }

    fn read_message_again(&mut self, cause: &Cause) {
        let named = self.state.messages.iter().flat_map(|(source, of_source)| {
            of_source.keys().map(|id| MessageKey { source: source.clone(), id: id.clone() })
        });
        let mut named = named.filter(|message| unmappable(message) == *cause || message_changed(message) == *cause);
        if let Some(message) = named.next() {
            self.effect(Effect::ReadAgain { message });
        }
    }

    fn decide_gap(&mut self, missing: &str, decision: Decision) -> Reply {
        let Ok(key) = missing.parse::<OrderKey>() else {
            return refuse(
                format!("nobody asks about {NEVER_CAME}{missing}"),
                "the open questions stand in: dawnslip status",
            );
        };
        match decision {
            Decision::Cancel | Decision::GoOn => self.act(Action::NoSuch { source: key.source, number: key.number }),
            _ => refuse(
                format!("order {} never came; {} does not answer that", key.number, decision.word()),
                format!(
                    "bring it in: dawnslip intake FILE --source {}; or, if there is none: dawnslip nosuch {}",
                    key.source, key.number
                ),
            ),
        }
    }
}
