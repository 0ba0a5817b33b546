//! Why this and nothing else: one short sentence for each way that was not taken, in words
//! for people.

use super::goods::Kind;
use super::packaging::tolerance;
use super::search::{Ask, Part};
use super::weigh::Weighing;
use crate::model::*;
use crate::plan::fit::Fit;
use crate::plan::tariff::Refusal;

/// Dearer ways that are shown.
const DEARER_MAX: usize = 8;
/// A step below is worth a sentence if so much less would reach it, in percent of the weight ...
const NEAR_STEP_PERCENT: i64 = 15;
/// ... or this much.
const NEAR_STEP: Weight = Weight::from_g(60);

/// What else was weighed for everything in one parcel: dearer ways by cost, then containers
/// and services that were refused. `though` says why what costs less is not taken.
pub fn alternatives(
    weighing: &mut Weighing<'_>,
    chosen: Option<&[Part]>,
    though: &str,
    out: &[(String, String)],
) -> Vec<Alternative> {
    let counts: Vec<u32> = weighing.kinds.iter().map(Kind::count).collect();
    let cost: Option<i64> = chosen.map(|parts| parts.iter().map(|part| part.how.cost).sum());
    let currency = weighing.workshop.currency;
    let wraps = weighing.wraps;
    let services = weighing.services;
    let mut dearer = Vec::new();
    for candidate in weighing.candidates(&counts) {
        let taken = chosen.is_some_and(|parts| {
            parts.len() == 1 && parts[0].how.wrap == candidate.wrap && parts[0].how.service == candidate.service
        });
        if taken || dearer.len() == DEARER_MAX || !matches!(weighing.glance(&counts, candidate.wrap), Fit::Fits(_)) {
            continue;
        }
        let service = services[candidate.service];
        let fixed = if matches!(service.on(weighing.on).price, Price::Fixed(_)) { ", fixed price" } else { "" };
        let why = match cost.map(|cost| candidate.cost - cost) {
            Some(0) => format!("costs the same{fixed}"),
            Some(more) if more > 0 => format!("{} more{fixed}", Money::new(more, currency).figure()),
            Some(less) => format!("{} less, but {though}", Money::new(-less, currency).figure()),
            None => fixed.trim_start_matches(", ").to_owned(),
        };
        let what = spoken(weighing, candidate.wrap, candidate.service);
        let parts = weighing.cost_parts(&counts, candidate.wrap, candidate.service);
        dearer.push(Alternative { what, cost: Some(Money::new(candidate.cost, currency)), parts, why });
    }
    let mut refused = Vec::new();
    let mut carrying = Vec::new();
    for (index, wrap) in wraps.iter().enumerate() {
        let packed = weighing.weighed(&counts, index);
        let why = match weighing.against(wrap, &packed) {
            Some(why) => Some(why),
            None => match weighing.glance(&counts, index) {
                Fit::Fits(_) => None,
                Fit::Cannot(reason) => Some(reason.say(weighing.workshop.locale.units, |kind| weighing.name(kind))),
                Fit::Unknown => Some("no way to lay everything in was found".to_owned()),
            },
        };
        match why {
            None => carrying.push((index, packed)),
            // A container in another one is refused for the same reason as alone: say it once.
            Some(why) if wrap.around.is_some() && refused.iter().any(|a: &Alternative| a.why == why) => {}
            Some(why) => refused.push(Alternative { what: wrap.spoken(), cost: None, parts: None, why }),
        }
    }
    refused.extend(out.iter().map(|(what, why)| Alternative {
        what: what.clone(),
        cost: None,
        parts: None,
        why: why.clone(),
    }));
    for (index, service) in services.iter().enumerate() {
        let why = (weighing.limits.against_service(service).map(str::to_owned))
            .or_else(|| weighing.against_contents(&counts, index))
            .or_else(|| refusal(weighing, index, &carrying));
        refused.extend(why.map(|why| Alternative { what: service.name.to_string(), cost: None, parts: None, why }));
    }
    dearer.extend(refused);
    dearer
}

/// `Medium by Road`; a carrier's container that is named like its service says it alone.
fn spoken(weighing: &Weighing<'_>, wrap: usize, service: usize) -> String {
    let (wrap, service) = (&weighing.wraps[wrap], weighing.services[service]);
    if service.collect {
        format!("{}, {}", wrap.spoken(), service.name)
    } else if wrap.outermost().name.as_str() == service.name.as_str() {
        wrap.spoken()
    } else {
        format!("{} by {}", wrap.spoken(), service.name)
    }
}

/// Why a service takes none of the wraps that hold everything; a reason about the parcel
/// itself says more than one about whose container it is.
fn refusal(weighing: &Weighing<'_>, service: usize, carrying: &[(usize, super::packaging::Weighed)]) -> Option<String> {
    let mut first: Option<Refusal> = None;
    for (wrap, packed) in carrying {
        match weighing.quoted(packed, *wrap, service) {
            Ok(_) => return None,
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
        other => other.say(weighing.workshop.locale.units),
    })
}

/// Near misses of each parcel, one sentence each.
pub fn what_would_change(weighing: &mut Weighing<'_>, parts: &[Part]) -> Vec<String> {
    let mut sentences = Vec::new();
    let units = weighing.workshop.locale.units;
    for part in parts {
        let packed = weighing.weighed(&part.counts, part.how.wrap);
        let Ok(quoted) = weighing.quoted(&packed, part.how.wrap, part.how.service) else { continue };
        let of_parcel = if parts.len() > 1 {
            format!("{}: ", spoken(weighing, part.how.wrap, part.how.service))
        } else {
            String::new()
        };
        if let Some((bound, _)) = quoted.below {
            let less = packed.weight - bound;
            let near = less <= NEAR_STEP || less.ng <= packed.weight.ng / 100 * NEAR_STEP_PERCENT;
            let saves = weighing.difference_at(&packed, part.how.wrap, part.how.service, bound);
            if let Some(saves) = saves.filter(|saves| near && saves.minor < 0) {
                let total = Money::new(part.how.cost, saves.currency) + saves;
                let less = units.weight(Weight::from_g(less.g_up()));
                sentences.push(format!("{of_parcel}{less} less would cost {} (the step below)", total.figure()));
            }
        }
        if let Some(ends) = quoted.ends {
            let spare = ends - packed.weight;
            if packed.weight + tolerance(packed.weight) > ends {
                let then = match weighing.dearer_above(&packed, part.how.wrap, part.how.service, ends) {
                    Some(more) => format!("would cost {} more", more.figure()),
                    None => format!("would be too heavy for {}", weighing.services[part.how.service].name),
                };
                sentences.push(format!(
                    "{of_parcel}more than {} above what is predicted {then}: weigh it",
                    units.limit(spare)
                ));
            }
        }
    }
    sentences.dedup();
    sentences
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
                closest = Some((size, format!("{}: {why}", weighing.wraps[index].spoken())));
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
    let mut reasons: Vec<String> = Vec::new();
    for service in 0..weighing.services.len() {
        let counts: Vec<u32> = (0..weighing.kinds.len()).map(|k| u32::from(k == 0)).collect();
        let all: Vec<u32> = weighing.kinds.iter().map(Kind::count).collect();
        let carrying: Vec<_> = (0..weighing.wraps.len()).map(|w| (w, weighing.weighed(&counts, w))).collect();
        let why = (weighing.limits.against_service(weighing.services[service]).map(str::to_owned))
            .or_else(|| weighing.against_contents(&all, service))
            .or_else(|| refusal(weighing, service, &carrying));
        if let Some(why) = why {
            reasons.push(format!("{}: {why}", weighing.services[service].name));
        }
    }
    if reasons.len() == weighing.services.len() {
        let cause = Cause::NoService(order.key.clone());
        let reasons = if reasons.is_empty() { "there is no service".to_owned() } else { reasons.join("; ") };
        return Question {
            what: format!("{number}: no service takes it; {reasons}"),
            remedy: format!("mend services.toml or the order's address; then: dawnslip decide {cause} retry"),
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
