//! Services that take so many parcels a day: who comes later on a full day goes another way.

use super::Crew;
use super::cases::Case;
use super::days::{Dated, Days};
use super::sent::{Answer, Job, Ready, Sent};
use crate::model::*;
use jiff::civil::Date;
use std::collections::BTreeMap;

/// What services still take.
type Left = BTreeMap<ServiceName, i64>;

/// The orders of one day in one situation, in the order in which they came.
struct Day {
    situation: usize,
    orders: Vec<usize>,
    next: usize,
    left: Left,
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
    let mut case_of = vec![0; orders.len()];
    for (case, all) in cases.iter().enumerate() {
        all.members.iter().for_each(|member| case_of[*member] = case);
    }
    // Where in the situation's answers each order finds its own.
    let mut own = vec![case_of.clone(); ready.len()];
    let mut known: BTreeMap<(usize, usize, Left), usize> = BTreeMap::new();
    loop {
        let mut missing: Vec<(usize, usize, Left)> = Vec::new();
        for day in &mut days {
            while let Some(&order) = day.orders.get(day.next) {
                let (at, case) = (day.situation, case_of[order]);
                let mut chosen = case;
                if !takes(&answers[at][case], &day.left) {
                    let key = (at, case, day.left.clone());
                    let Some(other) = known.get(&key) else {
                        missing.push(key);
                        break;
                    };
                    // Nothing else takes it: it goes the next day.
                    chosen = if answers[at][*other].is_ok() { *other } else { case };
                }
                if let Ok(sent) = &answers[at][chosen]
                    && takes(&answers[at][chosen], &day.left)
                {
                    day.left.iter_mut().for_each(|(service, left)| *left -= used(sent, service));
                }
                own[at][order] = chosen;
                day.next += 1;
            }
        }
        missing.sort();
        missing.dedup();
        if missing.is_empty() {
            break;
        }
        let job = |(at, case, left): &(usize, usize, Left)| {
            Job::with_left(&ready[*at], &orders[cases[*case].first()], left.clone())
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

fn days(orders: &[Dated], ready: &[Ready]) -> Vec<Day> {
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
