//! On which day each order counts: prices have their times, rates their months, some services a
//! number of parcels a day.

use super::Situation;
use crate::model::*;
use jiff::civil::Date;
use std::collections::BTreeSet;

/// An order and its day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dated {
    /// What is sent.
    pub order: Order,
    /// When it was handed over, or came; nothing where nobody said.
    pub day: Option<Date>,
}

impl From<Order> for Dated {
    fn from(order: Order) -> Self {
        Self { order, day: None }
    }
}

/// The days of a situation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Days {
    /// Each order counts on its own day; one without a day on this one.
    Own(Date),
    /// All orders count on this day.
    One(Date),
}

impl Days {
    /// The day of an order.
    pub fn of(self, order: &Dated) -> Date {
        match self {
            Self::Own(otherwise) => order.day.unwrap_or(otherwise),
            Self::One(day) => day,
        }
    }

    /// `prices of 2026-11-25`, `prices of each order's own day`.
    pub fn in_words(self) -> String {
        match self {
            Self::Own(_) => "prices of each order's own day".to_owned(),
            Self::One(day) => format!("prices of {day}"),
        }
    }
}

/// Days between which no situation that goes by the orders' own days changes anything.
#[derive(Debug)]
pub(super) struct Periods {
    starts: BTreeSet<Date>,
    /// Every day is a period: a rule looks at the date, or a service takes so many a day.
    each: bool,
}

impl Periods {
    /// Those of all these situations together.
    pub(super) fn of(situations: &[Situation]) -> Self {
        let mut periods = Self { starts: BTreeSet::new(), each: false };
        for situation in situations.iter().filter(|situation| matches!(situation.days, Days::Own(_))) {
            let Workshop { rules, services, .. } = &situation.workshop;
            periods.each |= rules.iter().any(|rule| rule.when.contains("date"))
                || services.iter().any(|service| service.per_day.is_some());
            services.iter().for_each(|service| periods.take(service));
        }
        periods
    }

    fn take(&mut self, service: &Service) {
        self.between(service.valid);
        for surcharge in &service.surcharges {
            self.between(surcharge.between);
            if let SurchargeAmount::ByMonth(rates) = &surcharge.amount {
                self.starts.extend(rates.keys().filter_map(|(year, month)| Date::new(*year, *month, 1).ok()));
            }
        }
        for (from, later) in &service.later {
            self.starts.insert(*from);
            self.take(later);
        }
    }

    fn between(&mut self, (from, until): (Option<Date>, Option<Date>)) {
        self.starts.extend(from);
        self.starts.extend(until.and_then(|last| last.tomorrow().ok()));
    }

    /// The first day of the period of `day`; nothing before all of them.
    pub(super) fn start(&self, day: Date) -> Option<Date> {
        if self.each { Some(day) } else { self.starts.range(..=day).next_back().copied() }
    }
}
