//! Every way to send all in one parcel that was refused, with the first reason against it: by a container whatever
//! the service, by a service whatever the container, or by both together.

use super::explain::{spoken, why_not_in};
use super::goods::Kind;
use super::packaging::Weighed;
use super::weigh::Weighing;
use crate::model::*;

/// Ways that were refused for one reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedWay {
    /// `Small`, `Letter`, `Medium, Large by Letter`.
    pub what: String,
    /// Why: one short sentence.
    pub why: String,
}

/// All of them: containers, services, then pairs of both in the order of the services. `out` and `closed` were
/// left out before, with their reasons.
pub fn all(
    weighing: &Weighing<'_>,
    out: &[(String, String)],
    closed: &[(String, String)],
    services: &[&Service],
) -> Vec<RefusedWay> {
    let counts: Vec<u32> = weighing.kinds.iter().map(Kind::count).collect();
    let told = |(what, why): &(String, String)| RefusedWay { what: what.clone(), why: why.clone() };
    let units = weighing.workshop.locale.units;
    let mut refused: Vec<RefusedWay> = Vec::new();
    let mut carrying: Vec<(usize, Weighed)> = Vec::new();
    for (index, wrap) in weighing.wraps.iter().enumerate() {
        let packed = weighing.weighed(&counts, index);
        match why_not_in(weighing, &counts, index, &packed) {
            Some(why) => refused.push(RefusedWay { what: wrap.spoken(units), why }),
            None => carrying.push((index, packed)),
        }
    }
    refused.extend(out.iter().chain(closed).map(told));
    refused.extend(not_in_question(weighing.workshop, services));
    let mut pairs: Vec<RefusedWay> = Vec::new();
    for (index, service) in weighing.services.iter().enumerate() {
        let whole = weighing.limits.against_service(service).map(str::to_owned);
        if let Some(why) = whole.or_else(|| weighing.against_contents(&counts, index)) {
            refused.push(RefusedWay { what: service.name.to_string(), why });
            continue;
        }
        let mut of_service: Vec<(Vec<usize>, String)> = Vec::new();
        // Pressed flat it is only for those that ask it: to the others it is the same as when thick.
        let minded = |(wrap, _): &&(usize, Weighed)| weighing.wraps[*wrap].is_minded_by(service);
        let all = carrying.iter().filter(minded).count();
        for (wrap, packed) in carrying.iter().filter(minded) {
            let Err(refusal) = weighing.quoted(packed, *wrap, index) else { continue };
            let why = refusal.say(units);
            match of_service.iter_mut().find(|(_, known)| *known == why) {
                Some((wraps, _)) => wraps.push(*wrap),
                None => of_service.push((vec![*wrap], why)),
            }
        }
        for (wraps, why) in of_service {
            let what = match wraps.as_slice() {
                wraps if wraps.len() == all && all > 1 => service.name.to_string(),
                [one] => spoken(weighing, *one, index),
                several => {
                    let names: Vec<String> = several.iter().map(|wrap| weighing.wraps[*wrap].spoken(units)).collect();
                    format!("{} by {}", names.join(", "), service.name)
                }
            };
            pairs.push(RefusedWay { what, why });
        }
    }
    refused.extend(pairs);
    refused
}

/// Services that were never asked: nobody wished for them, or something else was wished for; and those whose
/// contract the workshop does not have.
fn not_in_question(workshop: &Workshop, asked: &[&Service]) -> Vec<RefusedWay> {
    let unasked = workshop.services.iter().filter(|service| !asked.iter().any(|one| one.name == service.name));
    let why = |service: &Service| match service.only_when_asked {
        true => "goes only where it is asked for".to_owned(),
        false => "another service is asked for".to_owned(),
    };
    let unasked = unasked.map(|service| RefusedWay { what: service.name.to_string(), why: why(service) });
    let absent = workshop.contracts.absent.iter().map(|(_, service)| RefusedWay {
        what: service.name.to_string(),
        why: format!("needs the contract {:?}", service.contract.as_deref().unwrap_or_default()),
    });
    unasked.chain(absent).collect()
}
