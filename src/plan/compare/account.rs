//! From answers to figures: what each situation costs, and who changes from what to what.

use super::boxes::BestBoxes;
use super::cases::Case;
use super::days::{Dated, Days};
use super::sent::Answer;
use super::situation::Situation;
use crate::model::*;
use jiff::civil::Date;
use std::collections::BTreeMap;

/// Single orders that are shown.
const SINGLES_MAX: usize = 20;

/// Sums in minor units.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Parts {
    /// The tariffs' prices.
    pub postage: i64,
    /// Surcharges.
    pub surcharges: i64,
    /// Containers.
    pub containers: i64,
    /// Supplies.
    pub supplies: i64,
    /// Working time, where it counts.
    pub labour: i64,
    /// What contracts cost over all the orders.
    pub contract: i64,
}

impl Parts {
    /// All parts.
    pub fn total(&self) -> i64 {
        [self.surcharges, self.containers, self.supplies, self.labour, self.contract]
            .iter()
            .fold(self.postage, |sum, part| sum.saturating_add(*part))
    }

    fn add(&mut self, cost: &CostParts, times: i64) {
        let into = |sum: &mut i64, one: Money| *sum = sum.saturating_add(one.minor.saturating_mul(times));
        into(&mut self.postage, cost.postage);
        into(&mut self.surcharges, cost.surcharges);
        into(&mut self.containers, cost.container);
        into(&mut self.supplies, cost.supplies);
        if let Some(labour) = cost.labour.filter(|labour| labour.weighed) {
            into(&mut self.labour, labour.amount);
        }
    }
}

/// All situations held against the first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    /// Of all amounts.
    pub currency: Currency,
    /// So many orders.
    pub orders: usize,
    /// Of which so many are different.
    pub different: usize,
    /// Besides these: orders of nothing that is shipped.
    pub nothing_to_send: usize,
    /// Days of the first and the last of them, as far as they say when they were placed.
    pub placed: Option<(Date, Date)>,
    /// So many of them say no day, where orders count on their own.
    pub undated: usize,
    /// One for each situation, today's first.
    pub accounts: Vec<Account>,
}

/// What one situation comes to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Account {
    /// In words.
    pub name: String,
    /// Prices of these days.
    pub days: Days,
    /// What all orders cost that could be planned.
    pub cost: Parts,
    /// Their parcels.
    pub parcels: i64,
    /// Orders that could not be planned.
    pub unplanned: i64,
    /// Orders whose plan is the best found but not proved the cheapest.
    pub unproved: i64,
    /// Parcels by service, in the order of the file.
    pub services: Vec<(ServiceName, i64)>,
    /// Parcels by container, in the order of the file.
    pub containers: Vec<(ContainerName, i64)>,
    /// It is about a contract that the workshop does not have.
    pub asks_contract: bool,
    /// How its boxes were chosen.
    pub boxes: Option<BestBoxes>,
    /// What differs from today; nothing for today itself.
    pub against: Option<Against>,
}

/// What differs from today.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Against {
    /// Orders that could be planned in both: only these are held against each other.
    pub in_both: i64,
    /// So much more they cost, contracts included; below nothing where they cost less.
    pub difference: i64,
    /// Orders that go another way, or the same at another price.
    pub changed: i64,
    /// From what to what, the largest sums first.
    pub groups: Vec<Group>,
    /// The orders with the largest differences.
    pub singles: Vec<Single>,
}

/// Orders that change from one way to another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// Today; nothing where no parcel was found.
    pub from: Option<String>,
    /// Then.
    pub to: Option<String>,
    /// So many.
    pub orders: i64,
    /// So much more they cost together; nothing where they are planned in one of both only.
    pub difference: Option<i64>,
}

/// One order that changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Single {
    /// Which.
    pub order: OrderKey,
    /// Today: the way and its cost.
    pub from: (String, i64),
    /// Then.
    pub to: (String, i64),
}

impl Single {
    /// So much more it costs.
    pub fn difference(&self) -> i64 {
        self.to.1 - self.from.1
    }
}

impl Comparison {
    /// `answers` hold one for each case, situation by situation.
    pub(super) fn of(orders: &[Dated], cases: &[Case], situations: &[Situation], answers: &[Answer]) -> Self {
        let shipped = |line: &Line| {
            let workshop = situations.first().map(|first| &first.workshop);
            workshop.and_then(|workshop| workshop.product(&line.sku)).is_none_or(|product| !product.not_shipped)
        };
        // A rule may have put something in all the same.
        let idle = |index: usize, order: &Order| {
            !order.lines.iter().any(shipped)
                && answers.iter().skip(index).step_by(cases.len().max(1)).all(Result::is_err)
        };
        let counts: Vec<bool> =
            cases.iter().enumerate().map(|(index, case)| !idle(index, &orders[case.first()].order)).collect();
        let sent_in = |answers: &[Answer]| -> Vec<Answer> {
            answers.iter().zip(&counts).filter(|(_, counts)| **counts).map(|(answer, _)| answer.clone()).collect()
        };
        let answers: Vec<Answer> = answers.chunks(cases.len().max(1)).flat_map(sent_in).collect();
        let all = orders.len();
        let cases: Vec<Case> =
            cases.iter().zip(&counts).filter(|(_, counts)| **counts).map(|(case, _)| case.clone()).collect();
        let cases = cases.as_slice();
        let counted: usize = cases.iter().map(|case| case.members.len()).sum();
        let by_situation: Vec<&[Answer]> = answers.chunks(cases.len().max(1)).collect();
        let today = by_situation.first().copied().unwrap_or_default();
        let mut accounts = Vec::with_capacity(situations.len());
        for (index, (situation, sent)) in situations.iter().zip(&by_situation).enumerate() {
            let mut account = account(situation, cases, sent);
            if index > 0 {
                let costs = account.cost.contract;
                account.against = Some(against(orders, cases, today, sent, costs));
            }
            accounts.push(account);
        }
        // Days as the workshop counts them.
        let days = situations.first().map(|first| {
            orders.iter().filter_map(|order| order.order.placed).map(|at| daytime::date_of(&first.workshop.zone, at))
        });
        let placed = days.and_then(|days| Some((days.clone().min()?, days.max()?)));
        let currency = situations.first().map_or(Currency::EUR, |first| first.workshop.currency);
        let nothing_to_send = all - counted;
        let own = situations.iter().any(|situation| matches!(situation.days, Days::Own(_)));
        let members = cases.iter().flat_map(|case| &case.members);
        let undated = members.filter(|member| own && orders[**member].day.is_none()).count();
        Self { currency, orders: counted, different: cases.len(), nothing_to_send, placed, undated, accounts }
    }

    /// An amount with its currency's decimals.
    pub fn figure(&self, minor: i64) -> String {
        Money::new(minor, self.currency).figure()
    }
}

fn account(situation: &Situation, cases: &[Case], sent: &[Answer]) -> Account {
    let mut cost = Parts { contract: situation.contract_costs.map_or(0, |money| money.minor), ..Parts::default() };
    let (mut parcels, mut unplanned, mut unproved) = (0, 0, 0);
    let mut services: BTreeMap<&ServiceName, i64> = BTreeMap::new();
    let mut containers: BTreeMap<&ContainerName, i64> = BTreeMap::new();
    for (case, sent) in cases.iter().zip(sent) {
        let times = case.times();
        let Ok(sent) = sent else {
            unplanned += times;
            continue;
        };
        cost.add(&sent.cost, times);
        parcels += sent.parcels() * times;
        unproved += if sent.is_proved() { 0 } else { times };
        sent.services.iter().for_each(|(name, count)| *services.entry(name).or_default() += count * times);
        sent.containers.iter().for_each(|(name, count)| *containers.entry(name).or_default() += count * times);
    }
    let workshop = &situation.workshop;
    let of_service = |service: &Service| Some((service.name.clone(), *services.get(&service.name)?));
    // A box that was chosen and is never used shows that fewer would do.
    let of_container = |container: &Container| {
        let chosen = situation.boxes.as_ref().is_some_and(|best| best.names.contains(&container.name));
        let count = containers.get(&container.name).copied().or(chosen.then_some(0))?;
        Some((container.name.clone(), count))
    };
    Account {
        name: situation.name.clone(),
        days: situation.days,
        cost,
        parcels,
        unplanned,
        unproved,
        services: workshop.services.iter().filter_map(of_service).collect(),
        containers: workshop.containers.iter().filter_map(of_container).collect(),
        asks_contract: situation.asks_contract,
        boxes: situation.boxes.clone(),
        against: None,
    }
}

/// The way today, and the way then.
type Ways<'a> = (Option<&'a str>, Option<&'a str>);

fn against(orders: &[Dated], cases: &[Case], today: &[Answer], then: &[Answer], contract: i64) -> Against {
    let mut all = Against { in_both: 0, difference: contract, changed: 0, groups: Vec::new(), singles: Vec::new() };
    let mut groups: BTreeMap<Ways<'_>, (i64, Option<i64>)> = BTreeMap::new();
    // Cases by how much they change, before single orders are named.
    let mut largest: Vec<(i64, usize)> = Vec::new();
    for (index, ((case, from), to)) in cases.iter().zip(today).zip(then).enumerate() {
        let times = case.times();
        let cost = |sent: &Answer| sent.as_ref().ok().map(|sent| sent.cost.total().minor);
        let key = (way(from), way(to));
        let more = cost(to).zip(cost(from)).map(|(to, from)| to - from);
        if let Some(more) = more {
            all.in_both += times;
            all.difference = all.difference.saturating_add(more.saturating_mul(times));
        }
        if key.0 == key.1 && more.unwrap_or(0) == 0 {
            continue;
        }
        all.changed += times;
        let group = groups.entry(key).or_insert((0, more.map(|_| 0)));
        group.0 += times;
        group.1 = group.1.zip(more).map(|(sum, more)| sum.saturating_add(more.saturating_mul(times)));
        if let Some(more) = more.filter(|more| *more != 0) {
            largest.push((more, index));
        }
    }
    all.groups = groups
        .into_iter()
        .map(|((from, to), (orders, difference))| Group {
            from: from.map(str::to_owned),
            to: to.map(str::to_owned),
            orders,
            difference,
        })
        .collect();
    // Those that can be planned in one of both only come first: that is what a person must know.
    all.groups.sort_by_key(|group| (group.difference.is_some(), -group.difference.unwrap_or(0).abs(), -group.orders));
    largest.sort_by_key(|(more, index)| (-more.abs(), *index));
    let singles = largest.iter().flat_map(|(_, index)| cases[*index].members.iter().map(move |order| (*index, *order)));
    all.singles = singles
        .take(SINGLES_MAX)
        .filter_map(|(case, order)| {
            let told = |sent: &Answer| sent.as_ref().ok().map(|sent| (sent.way.clone(), sent.cost.total().minor));
            Some(Single { order: orders[order].order.key.clone(), from: told(&today[case])?, to: told(&then[case])? })
        })
        .collect();
    all
}

fn way(answer: &Answer) -> Option<&str> {
    answer.as_ref().ok().map(|sent| sent.way.as_str())
}
