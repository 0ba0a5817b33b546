//! Services that take so many parcels a day: who comes later on a full day goes another way.

use super::Crew;
use super::cases::Case;
use super::days::{Dated, Days};
use super::sent::{Answer, Job, Ready, Sent};
use crate::model::*;
use jiff::civil::Date;
use std::collections::BTreeMap;

/// What services still take.
pub(super) type Left = BTreeMap<ServiceName, i64>;

/// The orders of one day in one situation, in the order in which they came.
#[derive(Debug, Clone)]
pub(super) struct Day {
    situation: usize,
    orders: Vec<usize>,
    next: usize,
    left: Left,
}

impl Day {
    /// Goes on through the day as far as plans are known. `plan` tells how an order goes, as ever or with so much
    /// left; `goes` is told which of both it is. An order that nothing else takes goes as ever: the next day, in life.
    /// Comes back with the order whose plan is not known yet, and what is left then.
    pub(super) fn go_on<'p>(
        &mut self,
        plan: impl Fn(usize, Option<&Left>) -> Option<&'p Answer>,
        mut goes: impl FnMut(usize, Option<&Left>),
    ) -> Option<(usize, Option<Left>)> {
        while let Some(&order) = self.orders.get(self.next) {
            let Some(mut answer) = plan(order, None) else { return Some((order, None)) };
            let mut with = None;
            if !takes(answer, &self.left) {
                let Some(other) = plan(order, Some(&self.left)) else { return Some((order, Some(self.left.clone()))) };
                if other.is_ok() {
                    (answer, with) = (other, Some(&self.left));
                }
            }
            goes(order, with);
            if let Ok(sent) = answer
                && takes(answer, &self.left)
            {
                self.left.iter_mut().for_each(|(service, left)| *left -= used(sent, service));
            }
            self.next += 1;
        }
        None
    }
}

/// Cases and answers with the limits of the days minded; `answers` were made without them. Orders
/// that were alike and go different ways now become cases of their own. An order that no other
/// service takes waits for the next day in life: it keeps its way and its price.
///
/// Only where orders count on their own days: all at once on one day would fill any service.
///
/// # Errors
/// Those of the crew.
pub(super) fn mind<E>(
    orders: &[Dated],
    cases: Vec<Case>,
    ready: &[Ready],
    mut answers: Vec<Vec<Answer>>,
    crew: &mut Crew<'_, E>,
) -> Result<(Vec<Case>, Vec<Vec<Answer>>), E> {
    let mut days = days(orders, ready);
    if days.is_empty() {
        return Ok((cases, answers));
    }
    let case_of = case_of(orders.len(), &cases);
    // Where in the situation's answers each order finds its own.
    let mut own = vec![case_of.clone(); ready.len()];
    let mut known: BTreeMap<(usize, usize, Left), usize> = BTreeMap::new();
    loop {
        let mut missing: Vec<(usize, usize, Left)> = Vec::new();
        for day in &mut days {
            let at = day.situation;
            let place = |order: usize, left: Option<&Left>| match left {
                None => Some(case_of[order]),
                Some(left) => known.get(&(at, case_of[order], left.clone())).copied(),
            };
            let plan = |order: usize, left: Option<&Left>| place(order, left).map(|place| &answers[at][place]);
            let goes = |order: usize, left: Option<&Left>| {
                if let Some(place) = place(order, left) {
                    own[at][order] = place;
                }
            };
            if let Some((order, Some(left))) = day.go_on(plan, goes) {
                missing.push((at, case_of[order], left));
            }
        }
        missing.sort();
        missing.dedup();
        if missing.is_empty() {
            break;
        }
        let job = |(at, case, left): &(usize, usize, Left)| {
            Job::new(&ready[*at], &orders[cases[*case].first()]).with_left(left.clone())
        };
        let made = crew(&missing.iter().map(job).collect::<Vec<_>>())?;
        for (key, answer) in missing.into_iter().zip(made) {
            let at = key.0;
            known.insert(key, answers[at].len());
            answers[at].push(answer);
        }
    }
    Ok(regroup(orders.len(), &own, &answers))
}

/// The case of each order.
pub(super) fn case_of(orders: usize, cases: &[Case]) -> Vec<usize> {
    let mut case_of = vec![0; orders];
    for (case, all) in cases.iter().enumerate() {
        all.members.iter().for_each(|member| case_of[*member] = case);
    }
    case_of
}

/// The days on which some service takes only so many, in all these situations.
pub(super) fn days(orders: &[Dated], ready: &[Ready]) -> Vec<Day> {
    let mut days: BTreeMap<(usize, Date), Vec<usize>> = BTreeMap::new();
    for (situation, one) in ready.iter().enumerate() {
        if matches!(one.days, Days::Own(_)) && one.workshop.services.iter().any(|service| service.per_day.is_some()) {
            for (at, order) in orders.iter().enumerate() {
                days.entry((situation, one.days.of(order))).or_default().push(at);
            }
        }
    }
    let left = |situation: usize| -> Left {
        let services = ready[situation].workshop.services.iter();
        services.filter_map(|service| Some((service.name.clone(), i64::from(service.per_day?)))).collect()
    };
    let all = days.into_iter();
    all.map(|((situation, _), orders)| Day { situation, orders, next: 0, left: left(situation) }).collect()
}

fn used(sent: &Sent, service: &ServiceName) -> i64 {
    sent.services.get(service).copied().unwrap_or(0)
}

/// Is there room for all its parcels? What cannot go at all needs none.
fn takes(answer: &Answer, left: &Left) -> bool {
    answer.as_ref().map_or(true, |sent| left.iter().all(|(service, left)| used(sent, service) <= *left))
}

/// Orders with the same answers in all situations.
fn regroup(orders: usize, own: &[Vec<usize>], answers: &[Vec<Answer>]) -> (Vec<Case>, Vec<Vec<Answer>>) {
    let mut places: BTreeMap<Vec<usize>, usize> = BTreeMap::new();
    let mut cases: Vec<Case> = Vec::new();
    let mut theirs: Vec<Vec<Answer>> = vec![Vec::new(); answers.len()];
    for order in 0..orders {
        let key: Vec<usize> = own.iter().map(|own| own[order]).collect();
        let next = cases.len();
        match *places.entry(key.clone()).or_insert(next) {
            at if at == next => {
                cases.push(Case { members: vec![order] });
                theirs.iter_mut().zip(answers).zip(key).for_each(|((to, from), at)| to.push(from[at].clone()));
            }
            at => cases[at].members.push(order),
        }
    }
    (cases, theirs)
}
