//! Why this and nothing else: one short sentence for each way that was not taken, in words
//! for people.

use super::danger;
use super::goods::Kind;
use super::packaging::Weighed;
use super::runner_up::{self, RunnerUp};
use super::scarce::Left;
use super::search::{Ask, Part};
use super::weigh::Weighing;
use crate::model::*;
use crate::plan::fit::Fit;
use crate::plan::tariff::Refusal;

/// Dearer ways that are shown.
const DEARER_MAX: usize = 8;

/// What else was weighed: the runner-up, then everything in one parcel, dearer ways by cost, then
/// containers and services that were refused. `though` says why what costs less is not taken.
pub fn alternatives(
    weighing: &mut Weighing<'_>,
    chosen: Option<&[Part]>,
    second: Option<&RunnerUp>,
    though: &str,
    out: &[(String, String)],
) -> Vec<Alternative> {
    let counts: Vec<u32> = weighing.kinds.iter().map(Kind::count).collect();
    let cost: Option<i64> = chosen.map(|parts| parts.iter().map(|part| part.how.cost).sum());
    let currency = weighing.workshop.currency;
    let wraps = weighing.wraps;
    let services = weighing.services;
    let units = weighing.workshop.locale.units;
    let more = |other: i64, fixed: &str| match cost.map(|cost| other - cost) {
        Some(0) => format!("costs the same{fixed}"),
        Some(more) if more > 0 => format!("{} more{fixed}", Money::new(more, currency).figure()),
        Some(less) => format!("{} less, but {though}", Money::new(-less, currency).figure()),
        None => fixed.trim_start_matches(", ").to_owned(),
    };
    let mut dearer = Vec::new();
    dearer.extend(second.map(|second| told(weighing, second, more)));
    for candidate in weighing.candidates(&counts) {
        let taken = chosen.is_some_and(|parts| {
            parts.len() == 1 && parts[0].how.wrap == candidate.wrap && parts[0].how.service == candidate.service
        });
        let is_second = second.is_some_and(|second| second.parts.len() == 1 && second.parts[0].how == candidate);
        if taken
            || is_second
            || dearer.len() == DEARER_MAX
            || !matches!(weighing.glance(&counts, candidate.wrap), Fit::Fits(_))
        {
            continue;
        }
        let why = more(candidate.cost, fixed(weighing, candidate.service));
        let what = spoken(weighing, candidate.wrap, candidate.service);
        let parts = weighing.cost_parts(&counts, candidate.wrap, candidate.service);
        dearer.push(Alternative {
            what,
            cost: Some(Money::new(candidate.cost, currency)),
            parts,
            why,
            next_best: None,
        });
    }
    let mut refused = Vec::new();
    let mut carrying = Vec::new();
    let mut holds = false;
    for (index, wrap) in wraps.iter().enumerate() {
        // What does not go in as thick as it gets need not be asked, or told, once more.
        if wrap.thick_at_most.is_some() && !holds {
            continue;
        }
        let packed = weighing.weighed(&counts, index);
        let why = why_not_in(weighing, &counts, index, &packed);
        if wrap.thick_at_most.is_none() {
            holds = why.is_none();
        }
        match why {
            None => carrying.push((index, packed)),
            // Said with the service that wants it so flat.
            Some(_) if wrap.thick_at_most.is_some() => {}
            // A container in another one is refused for the same reason as alone: say it once.
            Some(why) if wrap.around.is_some() && refused.iter().any(|a: &Alternative| a.why == why) => {}
            Some(why) => {
                refused.push(Alternative { what: wrap.spoken(units), cost: None, parts: None, why, next_best: None })
            }
        }
    }
    refused.extend(out.iter().map(|(what, why)| Alternative {
        what: what.clone(),
        cost: None,
        parts: None,
        why: why.clone(),
        next_best: None,
    }));
    for (index, service) in services.iter().enumerate() {
        let why = (weighing.limits.against_service(service).map(str::to_owned))
            .or_else(|| weighing.against_contents(&counts, index))
            .or_else(|| refusal(weighing, index, &carrying));
        refused.extend(why.map(|why| Alternative {
            what: service.name.to_string(),
            cost: None,
            parts: None,
            why,
            next_best: None,
        }));
    }
    dearer.extend(refused);
    dearer
}

/// Why a wrap does not hold these goods, whatever the service.
pub fn why_not_in(weighing: &Weighing<'_>, counts: &[u32], wrap: usize, packed: &Weighed) -> Option<String> {
    if let Some(why) = weighing.against(&weighing.wraps[wrap], packed) {
        return Some(why);
    }
    match weighing.glance(counts, wrap) {
        Fit::Fits(_) => None,
        Fit::Cannot(reason) => Some(reason.say(weighing.workshop.locale.units, |kind| weighing.name(kind))),
        Fit::Unknown => Some("no way to lay everything in was found".to_owned()),
    }
}

/// What stands behind the difference for a service with one price for all weights.
fn fixed(weighing: &Weighing<'_>, service: usize) -> &'static str {
    if matches!(weighing.services[service].on(weighing.on).price, Price::Fixed(_)) { ", fixed price" } else { "" }
}

/// The runner-up: `2 x Small by Road`, and what is in each where that is not all.
fn told(weighing: &Weighing<'_>, second: &RunnerUp, more: impl Fn(i64, &str) -> String) -> Alternative {
    let currency = weighing.workshop.currency;
    let mut ways: Vec<(String, usize)> = Vec::new();
    for part in &second.parts {
        let way = spoken(weighing, part.how.wrap, part.how.service);
        match ways.iter_mut().find(|(known, _)| *known == way) {
            Some((_, times)) => *times += 1,
            None => ways.push((way, 1)),
        }
    }
    let ways = ways.into_iter().map(|(way, times)| if times == 1 { way } else { format!("{times} x {way}") });
    let what = ways.collect::<Vec<_>>().join(" + ");
    let cost = second.parts.iter().map(|part| part.how.cost).sum();
    let mut why = match second.parts.as_slice() {
        [part] => more(cost, fixed(weighing, part.how.service)),
        _ => more(cost, ""),
    };
    if let [first, _, ..] = second.parts.as_slice() {
        let contents = |part: &Part| {
            let held = part.counts.iter().enumerate().filter(|(_, count)| **count > 0);
            held.map(|(kind, count)| format!("{count} x {}", weighing.kinds[kind].product.name))
                .collect::<Vec<_>>()
                .join(", ")
        };
        let each: Vec<String> = second.parts.iter().map(contents).collect();
        let all_alike = second.parts.iter().all(|part| part.counts == first.counts);
        let held = if all_alike { format!("{} in each", each[0]) } else { each.join(" | ") };
        why = format!("{why}: {held}");
    }
    let of_part = |part: &Part| weighing.cost_parts(&part.counts, part.how.wrap, part.how.service);
    let parts = second.parts.iter().map(of_part).reduce(|all, one| all.zip(one).map(|(all, one)| all + one));
    let next_best = Some(if second.of_all { NextBest::OfAll } else { NextBest::OfTried });
    Alternative { what, cost: Some(Money::new(cost, currency)), parts: parts.flatten(), why, next_best }
}

/// The runner-up of what was chosen, with what is left. Where the best takes more than that, it is
/// sought again without what is scarce.
pub fn second(weighing: &mut Weighing<'_>, chosen: &[Part], left: &Left) -> Option<RunnerUp> {
    let counts: Vec<u32> = weighing.kinds.iter().map(Kind::count).collect();
    let before = weighing.limits.clone();
    let mut found = runner_up::runner_up(&counts, chosen, weighing);
    while let Some(second) = found.as_mut() {
        let Some((scarce, _)) = left.exceeded(weighing, &second.parts) else { break };
        scarce.forbid(&mut weighing.limits);
        found = runner_up::runner_up(&counts, chosen, weighing).map(|second| RunnerUp { of_all: false, ..second });
    }
    weighing.limits = before;
    found
}

/// `Medium by Road`; a carrier's container that is named like its service says it alone.
pub fn spoken(weighing: &Weighing<'_>, wrap: usize, service: usize) -> String {
    let (wrap, service) = (&weighing.wraps[wrap], weighing.services[service]);
    let closed = wrap.spoken(weighing.workshop.locale.units);
    if service.collect {
        format!("{closed}, {}", service.name)
    } else if wrap.outermost().name.as_str() == service.name.as_str() {
        closed
    } else {
        format!("{closed} by {}", service.name)
    }
}

/// Why a service takes none of the wraps that hold everything; a reason about the parcel
/// itself says more than one about whose container it is.
fn refusal(weighing: &Weighing<'_>, service: usize, carrying: &[(usize, Weighed)]) -> Option<String> {
    let mut first: Option<Refusal> = None;
    if carrying.iter().any(|(wrap, packed)| weighing.quoted(packed, *wrap, service).is_ok()) {
        return None;
    }
    let units = weighing.workshop.locale.units;
    for (wrap, packed) in carrying {
        // Each that is pressed flat stands behind what it is when thick: none of them carries this, or it would do.
        let flat = weighing.thinner(*wrap).find(|flat| weighing.quoted(packed, *flat, service).is_ok());
        if let Some(most) = flat.and_then(|flat| weighing.wraps[flat].thick_at_most) {
            let name = &weighing.wraps[*wrap].container.name;
            let most = units.thickness(most);
            return Some(format!("takes {name} at most {most} thick, and no way to lay this so flat was found"));
        }
        match weighing.quoted(packed, *wrap, service) {
            Ok(_) => {}
            Err(refusal) => {
                let about_container = |r: &Refusal| matches!(r, Refusal::Containers(_) | Refusal::CarriersOnly(_));
                if first.as_ref().is_none_or(|known| about_container(known) && !about_container(&refusal)) {
                    first = Some(refusal);
                }
            }
        }
    }
    first.map(|refusal| match refusal {
        // Its own containers are listed above with the reason why they hold it not.
        Refusal::Containers(names) if names.len() == 1 => {
            format!("takes only its {}, which does not hold this", names[0])
        }
        Refusal::Containers(_) => "none of the containers that it takes holds this".to_owned(),
        other => other.say(units),
    })
}

/// Nothing holds it, or nobody takes it: what is the matter, and what to do.
pub fn why_nothing(weighing: &mut Weighing<'_>, proved: bool) -> Question {
    let order = weighing.order;
    let number = &order.key.number;
    for kind in 0..weighing.kinds.len() {
        let counts: Vec<u32> = (0..weighing.kinds.len()).map(|k| u32::from(k == kind)).collect();
        let mut holds = false;
        let mut closest: Option<(u128, String)> = None;
        for index in 0..weighing.wraps.len() {
            let wrap = &weighing.wraps[index];
            let packed = weighing.weighed(&counts, index);
            let why = match weighing.against(wrap, &packed) {
                Some(why) => why,
                None => match weighing.fit(&counts, index) {
                    Fit::Cannot(reason) => reason.say(weighing.workshop.locale.units, |k| weighing.name(k)),
                    _ => {
                        holds = true;
                        break;
                    }
                },
            };
            let size = weighing.wraps[index].outer.volume().nm3;
            if closest.as_ref().is_none_or(|(largest, _)| size > *largest) {
                let closed = weighing.wraps[index].spoken(weighing.workshop.locale.units);
                closest = Some((size, format!("{closed}: {why}")));
            }
        }
        if !holds {
            let cause = Cause::NothingFits(order.key.clone());
            let product = weighing.kinds[kind].product;
            let why = closest.map_or_else(|| "there is no container".to_owned(), |(_, why)| why);
            return Question {
                what: format!(
                    "{number}: no container holds {} ({}); {why}",
                    product.name,
                    weighing.workshop.locale.units.dims(weighing.kinds[kind].dims)
                ),
                remedy: format!(
                    "add a larger container to packaging.toml or correct the size in products.toml, reload; then: dawnslip decide {cause} retry"
                ),
                cause,
                detail: Some(Detail::TooLarge { product: product.name.clone() }),
            };
        }
    }
    let mut reasons: Vec<(String, String)> = Vec::new();
    let mut refusing = 0;
    for service in 0..weighing.services.len() {
        let alone = |kind: usize| (0..weighing.kinds.len()).map(|k| u32::from(k == kind)).collect::<Vec<u32>>();
        let counts = alone(0);
        let mut carrying = Vec::new();
        for wrap in 0..weighing.wraps.len() {
            // As thick as it gets it may be thought to hold them, pressed flat only where it does.
            if weighing.wraps[wrap].thick_at_most.is_none() || matches!(weighing.fit(&counts, wrap), Fit::Fits(_)) {
                carrying.push((wrap, weighing.weighed(&counts, wrap)));
            }
        }
        let why = (weighing.limits.against_service(weighing.services[service]).map(str::to_owned))
            // What it does not take of one piece it does not take in any parcel.
            .or_else(|| (0..weighing.kinds.len()).find_map(|kind| weighing.against_contents(&alone(kind), service)))
            .or_else(|| refusal(weighing, service, &carrying));
        let Some(why) = why else { continue };
        refusing += 1;
        let name = weighing.services[service].name.as_str();
        match reasons.iter_mut().find(|(_, known)| *known == why) {
            Some((names, _)) => *names = format!("{names}, {name}"),
            None => reasons.push((name.to_owned(), why)),
        }
    }
    if refusing == weighing.services.len() {
        let cause = Cause::NoService(order.key.clone());
        let reasons: Vec<String> = reasons.iter().map(|(names, why)| format!("{names}: {why}")).collect();
        let reasons = if reasons.is_empty() { "there is no service".to_owned() } else { reasons.join("; ") };
        let mend = match danger::beyond_limited(weighing.kinds) {
            Some(product) => format!(
                "settle with the carrier how {} may travel, or correct `danger` of {} in products.toml and reload",
                product.name, product.sku
            ),
            None => "mend services.toml or the order's address".to_owned(),
        };
        return Question {
            what: format!("{number}: no service takes it; {reasons}"),
            remedy: format!("{mend}; then: dawnslip decide {cause} retry"),
            cause,
            detail: None,
        };
    }
    let cause = Cause::NothingFits(order.key.clone());
    let sure = if proved { "" } else { " was found within the work allowed" };
    Question {
        what: format!("{number}: no set of containers and services that takes everything{sure}"),
        remedy: format!("see dawnslip quote {number} for each one's reason; then: dawnslip decide {cause} retry"),
        cause,
        detail: None,
    }
}
