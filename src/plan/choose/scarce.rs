//! What is not there without end: containers in stock, parcels that a service takes on one day.
//! What that costs, and when it is worth waiting for the next day.

use super::Shelf;
use super::goods::Kind;
use super::house::LimitsOfHouse;
use super::packaging::Wrap;
use super::search::{self, Ask, Part, Split};
use super::weigh::Weighing;
use crate::model::*;
use crate::plan::fit::{Budget, Fit};
use std::collections::BTreeMap;

/// Scarce things that are looked at together; from the next one on it is done without.
const TOGETHER_MAX: u32 = 3;

/// How many are left; what is missing is not counted.
#[derive(Debug, Clone, Default)]
pub struct Left {
    /// Containers.
    pub containers: BTreeMap<ContainerName, i64>,
    /// Parcels by service.
    pub services: BTreeMap<ServiceName, i64>,
}

/// One thing of which there are too few.
#[derive(Debug, Clone)]
pub enum Scarce {
    /// A container.
    Container(ContainerName),
    /// A service.
    Service(ServiceName),
}

impl std::fmt::Display for Scarce {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Container(name) => write!(f, "{name}"),
            Self::Service(name) => write!(f, "{name}"),
        }
    }
}

impl Scarce {
    fn uses(&self, weighing: &Weighing<'_>, part: &Part) -> i64 {
        let used = match self {
            Self::Container(name) => weighing.wraps[part.how.wrap].containers().filter(|c| c.name == *name).count(),
            Self::Service(name) => usize::from(weighing.services[part.how.service].name == *name),
        };
        i64::try_from(used).unwrap_or(i64::MAX)
    }
    /// Rules it out.
    pub fn forbid(&self, limits: &mut LimitsOfHouse) {
        let why = "too few are left".to_owned();
        match self {
            Self::Container(name) => limits.forbid_containers.push((name.clone(), why)),
            Self::Service(name) => limits.forbid_services.push((name.clone(), why)),
        }
    }
}

impl Left {
    /// What a shelf says.
    pub fn on(shelf: &Shelf) -> Self {
        Self { containers: shelf.containers_left.clone(), services: shelf.services_left.clone() }
    }

    fn without(mut self, weighing: &Weighing<'_>, parts: &[Part]) -> Self {
        for part in parts {
            for container in weighing.wraps[part.how.wrap].containers() {
                self.containers.entry(container.name.clone()).and_modify(|left| *left -= 1);
            }
            self.services.entry(weighing.services[part.how.service].name.clone()).and_modify(|left| *left -= 1);
        }
        self
    }

    /// Something of which these take more than there are, and how many there are.
    pub fn exceeded(&self, weighing: &Weighing<'_>, parts: &[Part]) -> Option<(Scarce, i64)> {
        let containers = self.containers.iter().map(|(name, left)| (Scarce::Container(name.clone()), *left));
        let services = self.services.iter().map(|(name, left)| (Scarce::Service(name.clone()), *left));
        containers
            .chain(services)
            .find(|(scarce, left)| parts.iter().map(|part| scarce.uses(weighing, part)).sum::<i64>() > (*left).max(0))
    }
}

/// The cheapest split that takes no more than is left. Where the cheapest of all takes more,
/// those parcels keep it for which doing without costs most, and the rest is split anew; or
/// all is; or all goes in one parcel. Proved where that costs no more than the cheapest of all.
pub fn within(weighing: &mut Weighing<'_>, counts: &[u32], left: &Left) -> Split {
    search_within(weighing, counts, left, TOGETHER_MAX)
}

fn search_within(weighing: &mut Weighing<'_>, counts: &[u32], left: &Left, together: u32) -> Split {
    let cheapest = search::split(counts, weighing);
    let Some(parts) = &cheapest.parts else { return cheapest };
    let Some((scarce, there_are)) = left.exceeded(weighing, parts) else { return cheapest };
    // One parcel takes one of it at most.
    let mut fits_left = search::FITS_MAX;
    let in_one = search::cheapest_of(counts, weighing, &|_| true, &mut fits_left, &mut None);
    let in_one = in_one.map(|how| vec![Part { counts: counts.to_vec(), how }]);
    let in_one = in_one.filter(|parts| left.exceeded(weighing, parts).is_none());
    let before = weighing.limits.clone();
    scarce.forbid(&mut weighing.limits);
    let all_anew = search_within(weighing, counts, left, together.saturating_sub(1)).parts;
    let some_keep = match together {
        0 => None,
        _ => keeping(weighing, counts, left, parts, (&scarce, there_are), together - 1),
    };
    let worth = |parts: &Vec<Part>| {
        let volume = parts.iter().fold(0u128, |sum, part| sum.saturating_add(part.how.volume));
        (parts.iter().map(|part| part.how.cost).sum::<i64>(), parts.len(), volume)
    };
    let found = some_keep.into_iter().chain(all_anew).chain(in_one).min_by_key(worth);
    // Where there is nothing, the limit stays as the reason.
    if found.is_some() {
        weighing.limits = before;
    }
    let proved = found.as_ref().is_some_and(|parts| worth(parts).0 == cheapest.least_possible);
    Split { parts: found, proved, ..cheapest }
}

/// As many parcels as may keep what is scarce do, and what is in the others is split without it.
fn keeping(
    weighing: &mut Weighing<'_>,
    counts: &[u32],
    left: &Left,
    parts: &[Part],
    (scarce, mut there_are): (&Scarce, i64),
    together: u32,
) -> Option<Vec<Part>> {
    let mut takers: Vec<(i64, &Part)> = Vec::new();
    for part in parts {
        if scarce.uses(weighing, part) == 0 {
            continue;
        }
        // It is forbidden by now: this is what doing without would cost.
        let next = weighing.candidates(&part.counts);
        let next = next.iter().find(|other| matches!(weighing.fit(&part.counts, other.wrap), Fit::Fits(_)));
        takers.push((next.map_or(i64::MAX, |other| other.cost - part.how.cost), part));
    }
    takers.sort_by_key(|(more, _)| std::cmp::Reverse(*more));
    let mut kept: Vec<Part> = Vec::new();
    for (_, part) in takers {
        let uses = scarce.uses(weighing, part);
        if uses <= there_are {
            there_are -= uses;
            kept.push(part.clone());
        }
    }
    if kept.is_empty() {
        return None;
    }
    let mut rest = counts.to_vec();
    kept.iter().for_each(|part| rest.iter_mut().zip(&part.counts).for_each(|(all, taken)| *all -= taken));
    let left = left.clone().without(weighing, &kept);
    let others = search_within(weighing, &rest, &left, together).parts?;
    let all: Vec<Part> = kept.into_iter().chain(others).collect();
    Some(all)
}

/// Services with which a parcel may go on the day, and the others with the reason.
pub fn services_open<'w>(
    services: &[&'w Service],
    shelf: &Shelf,
    pins: &Pins,
) -> (Vec<&'w Service>, Vec<(String, String)>) {
    let day = pins.hand_over.strftime("%A");
    let why = |service: &Service| {
        if pins.too_late.contains(&service.name) {
            let latest = service.latest.map_or_else(String::new, |time| format!(" by {}", time.strftime("%H:%M")));
            return Some(format!("what goes by {} on {day} had to be planned{latest}", service.name));
        }
        let full = shelf.services_left.get(&service.name).is_some_and(|left| *left <= 0);
        let most =
            service.per_day.map_or_else(String::new, |most| format!("{most} a day at most go by {}, ", service.name));
        full.then(|| format!("{most}all are taken on {day}"))
    };
    let mut closed = Vec::new();
    let open = services.iter().copied().filter(|service| match why(service) {
        Some(why) => {
            closed.push((service.name.to_string(), why));
            false
        }
        None => true,
    });
    (open.collect(), closed)
}

/// What is short on one day.
pub struct Short<'a, 'w> {
    /// What the rules allow.
    pub limits: LimitsOfHouse,
    /// Services that come into question, those closed for the day among them.
    pub services: &'a [&'w Service],
    /// Those closed for the day, with the reason.
    pub closed: &'a [(String, String)],
    /// What is left.
    pub shelf: &'a Shelf,
}

/// A plan with more at hand: what it costs and uses.
struct Freed {
    cost: i64,
    containers: BTreeMap<ContainerName, i64>,
    services: BTreeMap<ServiceName, i64>,
}

impl Short<'_, '_> {
    /// What more of each would have saved, one sentence each. `cost`: what it costs as it is.
    pub fn would_save(&self, weighing: &Weighing<'_>, cost: Option<i64>) -> Vec<String> {
        let pieces: i64 = weighing.kinds.iter().map(|kind| i64::from(kind.count())).sum();
        let left = Left::on(self.shelf);
        let saves = |with: &Freed| cost.map(|cost| Money::new(cost - with.cost, weighing.workshop.currency));
        let mut sentences = Vec::new();
        // Nobody takes more containers or parcels than there are pieces.
        if left.containers.values().any(|left| *left < pieces) {
            let any_out = left.containers.values().any(|left| *left <= 0);
            let budget = if any_out { Budget::GLANCE } else { weighing.budget };
            let more = Left { containers: BTreeMap::new(), ..left.clone() };
            let to = &weighing.order.destination;
            let wraps = super::wraps_for(weighing.workshop, weighing.services, to, weighing.on);
            if let Some(with) = self.freed(weighing, &wraps, weighing.services, &more, budget) {
                let short = beyond(&with.containers, &left.containers).join(" and ");
                match saves(&with) {
                    _ if short.is_empty() => {}
                    None => sentences.push(format!("more {short} in stock would do")),
                    Some(saved) if saved.minor > 0 => {
                        sentences.push(format!("more {short} in stock would save {}", saved.figure()));
                    }
                    Some(_) => {}
                }
            }
        }
        if (!self.closed.is_empty() || left.services.values().any(|left| *left < pieces))
            && let Some(with) = self.another_day(weighing)
            && let Some(saved) = saves(&with).filter(|saved| saved.minor > 0)
        {
            let day = self.next_day(weighing).strftime("%A");
            let short = self.short_services(&with).join(" and ");
            if !short.is_empty() {
                sentences.push(format!("by {short} on {day} it would cost {} less", saved.figure()));
            }
        }
        sentences
    }

    /// Where nothing goes on this day that would go on the next: the wait for it.
    pub fn wait(&self, weighing: &Weighing<'_>) -> Option<Wait> {
        let with = self.another_day(weighing)?;
        let short = self.short_services(&with);
        let day = weighing.on.strftime("%A");
        let reasons = short.iter().map(|name| {
            let closed = self.closed.iter().find(|(closed, _)| closed == name);
            closed.map_or_else(|| format!("too few parcels may still go by {name} on {day}"), |(_, why)| why.clone())
        });
        let why = reasons.collect::<Vec<_>>().join("; ");
        (!why.is_empty()).then(|| Wait::Service { until: self.next_day(weighing), why })
    }

    fn next_day(&self, weighing: &Weighing<'_>) -> jiff::civil::Date {
        weighing.workshop.day.open_after(weighing.on)
    }

    /// The plan on a day that nothing was taken of yet.
    fn another_day(&self, weighing: &Weighing<'_>) -> Option<Freed> {
        let most = self.services.iter().filter_map(|s| Some((s.name.clone(), i64::from(s.per_day?))));
        let left = Left { services: most.collect(), ..Left::on(self.shelf) };
        self.freed(weighing, weighing.wraps, self.services, &left, weighing.budget)
    }

    fn short_services(&self, with: &Freed) -> Vec<String> {
        let closed = |name: &ServiceName| self.closed.iter().any(|(closed, _)| closed == name.as_str());
        let mut short: Vec<String> =
            with.services.keys().filter(|name| closed(name)).map(ToString::to_string).collect();
        short.extend(beyond(&with.services, &self.shelf.services_left));
        short.sort_unstable();
        short.dedup();
        short
    }

    /// Plans once more with these.
    fn freed(
        &self,
        weighing: &Weighing<'_>,
        wraps: &[Wrap<'_>],
        services: &[&Service],
        left: &Left,
        budget: Budget,
    ) -> Option<Freed> {
        let counts: Vec<u32> = weighing.kinds.iter().map(Kind::count).collect();
        let limits = self.limits.clone();
        let mut other = Weighing { wraps, services, budget, limits, of_order: BTreeMap::new(), ..*weighing };
        let split = within(&mut other, &counts, left);
        let mut freed = Freed { cost: split.cost()?, containers: BTreeMap::new(), services: BTreeMap::new() };
        for part in split.parts.iter().flatten() {
            for container in wraps[part.how.wrap].containers() {
                *freed.containers.entry(container.name.clone()).or_default() += 1;
            }
            *freed.services.entry(services[part.how.service].name.clone()).or_default() += 1;
        }
        Some(freed)
    }
}

/// Of which it takes more than are left.
fn beyond<K: Ord + std::fmt::Display>(used: &BTreeMap<K, i64>, left: &BTreeMap<K, i64>) -> Vec<String> {
    let short = used.iter().filter(|(name, count)| left.get(name).is_some_and(|left| *count > left));
    short.map(|(name, _)| name.to_string()).collect()
}
