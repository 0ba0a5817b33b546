//! What the rules of the house ask of one order.

use super::goods::{Goods, as_ordered};
use crate::model::*;
use crate::plan::rules::{Rules, Verdict, conflict, facts};
use std::collections::BTreeSet;

/// Everything that rules which apply have said.
#[derive(Debug, Default)]
pub struct House {
    /// Names of rules that apply, in file order.
    pub applied: Vec<String>,
    /// Only these, by rule.
    pub require_containers: Vec<(Vec<ContainerName>, String)>,
    /// Not these, by rule.
    pub forbid_containers: Vec<(ContainerName, String)>,
    /// Only these, by rule.
    pub require_services: Vec<(Vec<ServiceName>, String)>,
    /// Not these, by rule.
    pub forbid_services: Vec<(ServiceName, String)>,
    /// In file order.
    pub preferences: Vec<Preference>,
    /// Holds: rule and reason.
    pub holds: Vec<(String, String)>,
    /// Questions: rule and question.
    pub questions: Vec<(String, String)>,
    /// Rules that failed, and how.
    pub failed: Vec<(String, String)>,
    /// Lines on every stub.
    pub notes: Vec<String>,
    /// Marked lines on every stub.
    pub cautions: Vec<String>,
    /// For every parcel.
    pub supplies: Vec<SupplyUse>,
    /// Put in as well.
    pub samples: Vec<(Sku, u32)>,
    /// In place of the default card.
    pub cards: Vec<CardName>,
    /// Where papers print; the last rule that names one counts.
    pub printer: Option<PrinterName>,
    /// Goes first.
    pub urgent: bool,
}

/// One container or service that is taken where it costs at most so much more.
#[derive(Debug, Clone)]
pub struct Preference {
    /// Which.
    pub what: Preferred,
    /// Minor units.
    pub worth: i64,
    /// The rule.
    pub rule: String,
}

/// What is preferred.
#[derive(Debug, Clone)]
pub enum Preferred {
    /// A container.
    Container(ContainerName),
    /// A service.
    Service(ServiceName),
}

/// What may be used, with reasons against the rest.
#[derive(Debug, Clone, Default)]
pub struct LimitsOfHouse {
    /// Only these, with the reason.
    pub require_containers: Vec<(Vec<ContainerName>, String)>,
    /// Not these, with the reason.
    pub forbid_containers: Vec<(ContainerName, String)>,
    /// Only these, with the reason.
    pub require_services: Vec<(Vec<ServiceName>, String)>,
    /// Not these, with the reason.
    pub forbid_services: Vec<(ServiceName, String)>,
}

impl LimitsOfHouse {
    /// Narrows to what is preferred.
    pub fn only(&mut self, preference: &Preference) {
        let why = format!("the rule \"{}\" prefers another", preference.rule);
        match &preference.what {
            Preferred::Container(name) => self.require_containers.push((vec![name.clone()], why)),
            Preferred::Service(name) => self.require_services.push((vec![name.clone()], why)),
        }
    }

    /// Why a parcel made of these containers is not allowed.
    pub fn against_containers<'c>(&self, used: impl Iterator<Item = &'c Container> + Clone) -> Option<&str> {
        let missing = self
            .require_containers
            .iter()
            .find(|(names, _)| !used.clone().any(|container| names.contains(&container.name)));
        let forbids = |(name, _): &&(ContainerName, String)| used.clone().any(|container| container.name == *name);
        let forbidden = self.forbid_containers.iter().find(forbids);
        missing.map(|(_, why)| why.as_str()).or(forbidden.map(|(_, why)| why.as_str()))
    }

    /// Why a service is not allowed.
    pub fn against_service(&self, service: &Service) -> Option<&str> {
        let missing = self.require_services.iter().find(|(names, _)| !names.contains(&service.name));
        let forbidden = self.forbid_services.iter().find(|(name, _)| *name == service.name);
        missing.map(|(_, why)| why.as_str()).or(forbidden.map(|(_, why)| why.as_str()))
    }
}

/// Asks every rule that is about orders.
pub fn ask(rules: &Rules, order: &Order, workshop: &Workshop, goods: &Goods<'_>, on: jiff::civil::Date) -> House {
    let mut house = House::default();
    for (rule, verdict) in rules.about_order(&facts_of(order, workshop, goods, on)) {
        house.take(rule, verdict);
    }
    house
}

/// The facts of an order for its rules.
pub fn facts_of(order: &Order, workshop: &Workshop, goods: &Goods<'_>, on: jiff::civil::Date) -> facts::Facts {
    let lines = goods
        .shipped
        .iter()
        .map(|(index, product, quantity)| facts::row(product, *quantity, order.lines[*index].unit_price))
        .collect();
    let packed = as_ordered(&goods.kinds).into_iter().map(|kind| &goods.kinds[kind]);
    let packed = packed.map(|kind| facts::row(kind.product, kind.count(), None)).collect();
    facts::of_order(workshop, order, lines, packed, on)
}

impl House {
    /// Takes in one rule's answer.
    pub fn take(&mut self, rule: &Rule, verdict: Verdict) {
        match verdict {
            Verdict::Not => {}
            Verdict::Failed(why) => self.failed.push((rule.name.clone(), why)),
            Verdict::Applies => {
                self.applied.push(rule.name.clone());
                rule.then.iter().for_each(|action| self.act(&rule.name, action));
            }
        }
    }

    fn act(&mut self, rule: &str, action: &Action) {
        let name = rule.to_owned();
        let wants = format!("the rule \"{rule}\" wants another");
        let forbids = format!("the rule \"{rule}\" forbids it");
        match action {
            Action::RequireContainer(names) => self.require_containers.push((names.clone(), wants)),
            Action::ForbidContainer(names) => {
                self.forbid_containers.extend(names.iter().map(|n| (n.clone(), forbids.clone())));
            }
            Action::PreferContainer(of, worth) => {
                self.preferences.push(Preference {
                    what: Preferred::Container(of.clone()),
                    worth: worth.minor,
                    rule: name,
                });
            }
            Action::RequireService(names) => self.require_services.push((names.clone(), wants)),
            Action::ForbidService(names) => {
                self.forbid_services.extend(names.iter().map(|n| (n.clone(), forbids.clone())));
            }
            Action::PreferService(of, worth) => {
                self.preferences.push(Preference {
                    what: Preferred::Service(of.clone()),
                    worth: worth.minor,
                    rule: name,
                });
            }
            Action::Hold(reason) => self.holds.push((name, reason.clone())),
            Action::NeedsYou(question) => self.questions.push((name, question.clone())),
            Action::Note(text) => self.notes.push(text.clone()),
            Action::Caution(text) => self.cautions.push(text.clone()),
            Action::Supply(used) => self.supplies.push(used.clone()),
            Action::Product(sku, count) => self.samples.push((sku.clone(), *count)),
            Action::Card(card) => self.cards.push(card.clone()),
            Action::Printer(printer) => self.printer = Some(printer.clone()),
            Action::Urgent => self.urgent = true,
        }
    }

    /// What may be used.
    pub fn limits(&self) -> LimitsOfHouse {
        LimitsOfHouse {
            require_containers: self.require_containers.clone(),
            forbid_containers: self.forbid_containers.clone(),
            require_services: self.require_services.clone(),
            forbid_services: self.forbid_services.clone(),
        }
    }

    /// Writes into the plan what rules ask of people, unless they have answered already.
    pub fn settle(self, order: &Order, accepted: &BTreeSet<String>, plan: &mut Plan) {
        for (rule, why) in self.failed {
            let cause = Cause::RuleFailed(rule.clone());
            if !accepted.contains(&cause.to_string()) {
                plan.questions.push(Question {
                    what: format!("the rule \"{rule}\" failed: {why}"),
                    remedy: format!("correct it in rules.toml and reload; then: dawnslip decide {cause} retry"),
                    cause,
                    detail: None,
                });
            }
        }
        for (rule, what) in self.questions {
            let cause = Cause::Rule(rule, order.key.clone());
            if !accepted.contains(&cause.to_string()) {
                let remedy = format!("if it is right as it is: dawnslip decide {cause} go-on");
                let detail = Some(Detail::Rule(what.clone()));
                plan.questions.push(Question { cause, what, remedy, detail });
            }
        }
        for (rule, reason) in self.holds {
            if !accepted.contains(&format!("hold:{rule}")) {
                plan.waits.push(Wait::Rule { rule, reason });
            }
        }
        plan.rules = self.applied;
        plan.urgent = self.urgent;
    }
}

/// Rules that apply to the same order and cannot both have their way: a person decides which.
pub fn conflicts(house: &House, workshop: &Workshop, accepted: &BTreeSet<String>) -> Vec<Question> {
    let applied: Vec<&Rule> =
        house.applied.iter().filter_map(|name| workshop.rules.iter().find(|rule| rule.name == *name)).collect();
    let pairs = applied.iter().enumerate().flat_map(|(index, first)| {
        let later = applied[index + 1..].iter();
        later.filter_map(|second| {
            Some((vec![*first, *second], format!("{}: no parcel could obey both", conflict::between(first, second)?)))
        })
    });
    let mut quarrels: Vec<(Vec<&Rule>, String)> = pairs.collect();
    if quarrels.is_empty() && applied.len() > 1 {
        let wraps = super::wraps_of(workshop);
        let containers: Vec<conflict::Way<'_>> =
            wraps.iter().map(|wrap| wrap.containers().map(|container| container.name.as_str()).collect()).collect();
        let services: Vec<conflict::Way<'_>> = workshop.services.iter().map(|s| vec![s.name.as_str()]).collect();
        let of = |about, ways: &[conflict::Way<'_>]| conflict::among(&applied, ways, about);
        let found = of(conflict::About::Containers, &containers).into_iter();
        let found = found.chain(of(conflict::About::Services, &services));
        quarrels.extend(found.map(|(rules, what)| (rules, format!("{what}: no parcel could obey all"))));
    }
    let question = |(rules, what): (Vec<&Rule>, String)| {
        let names: Vec<&str> = rules.iter().map(|rule| rule.name.as_str()).collect();
        let places: Vec<&str> = rules.iter().map(|rule| rule.place.as_str()).collect();
        let cause = Cause::RuleFailed(names.join(" / "));
        let remedy = format!(
            "change one of them in rules.toml ({}) and reload; then: dawnslip decide {cause} retry",
            places.join(", ")
        );
        let detail = Some(Detail::Conflict);
        (!accepted.contains(&cause.to_string())).then_some(Question { cause, what, remedy, detail })
    };
    quarrels.into_iter().filter_map(question).collect()
}

/// The services that come into question: the one asked for, else all that need not be asked
/// for or are required by a rule. A wish that no service answers to is a question.
pub fn services<'w>(
    workshop: &'w Workshop,
    order: &Order,
    house: &House,
    accepted: &BTreeSet<String>,
) -> (Vec<&'w Service>, Option<Question>) {
    let required = |service: &Service| house.require_services.iter().any(|(names, _)| names.contains(&service.name));
    let usual = || workshop.services.iter().filter(|s| !s.only_when_asked || required(s)).collect();
    let Some(wish) = &order.requested_service else { return (usual(), None) };
    let same = |text: &str| text.trim().eq_ignore_ascii_case(wish.as_str().trim());
    let answering: Vec<&Service> =
        workshop.services.iter().filter(|s| same(s.name.as_str()) || s.asked_as.iter().any(|t| same(t))).collect();
    if !answering.is_empty() {
        return (answering, None);
    }
    let cause = Cause::NoService(order.key.clone());
    let question = (!accepted.contains(&cause.to_string())).then(|| Question {
        what: format!("{} asks for the service \"{wish}\", which none in services.toml answers to", order.key.number),
        remedy: format!(
            "write it under asked_as of a service and reload, or send it the usual way: dawnslip decide {cause} go-on"
        ),
        cause,
        detail: Some(Detail::Wish(wish.clone())),
    });
    (usual(), question)
}
