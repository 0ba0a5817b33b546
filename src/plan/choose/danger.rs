//! Dangerous goods: which service takes them, as far as the configuration says.
//!
//! Words alone keep a product from services that refuse them. Where a product says how much is in it, it goes as
//! a limited quantity with services that say they take such, and with no service if more is in it. What is
//! fetched is handed to no carrier.

use super::goods::Kind;
use super::weigh::Weighing;
use crate::model::*;
use crate::plan::tariff::{Quoted, Refusal};

/// Why a service does not take these goods, said of the service.
pub fn against(service: &Service, kinds: &[Kind<'_>], counts: &[u32], to: Option<CountryCode>) -> Option<String> {
    let mut net: Vec<NetQuantity> = Vec::new();
    for (kind, &count) in kinds.iter().zip(counts).filter(|(_, count)| **count > 0) {
        let Some(danger) = &kind.product.danger else { continue };
        if let Some(why) = against_one(service, kind.product, danger, to) {
            return Some(why);
        }
        if let Some(inner) = danger.inner.filter(InnerPacking::is_limited) {
            let more = inner.net.times(count);
            match net.iter_mut().find_map(|known| known.plus(more).map(|sum| (known, sum))) {
                Some((known, sum)) => *known = sum,
                None => net.push(more),
            }
        }
    }
    let takes = service.limited_quantity.as_ref()?;
    net.iter().find_map(|&is| {
        let most = *takes.net_max.iter().find(|most| is.at_most(**most) == Some(false))?;
        Some(format!("takes {most} in limited quantities in one parcel, these are {is}; the carrier's own list counts"))
    })
}

fn against_one(service: &Service, product: &Product, danger: &Danger, to: Option<CountryCode>) -> Option<String> {
    let name = &product.name;
    if service.refuses.iter().any(|refused| refused.keeps_away(danger, to)) {
        return Some(format!("does not carry {name} ({danger}); the carrier's own list counts"));
    }
    let inner = danger.inner.filter(|_| !service.collect)?;
    if !inner.is_limited() {
        let InnerPacking { net, limited_up_to } = inner;
        return Some(format!(
            "{net} in one {name} are more than the {limited_up_to} of a limited quantity: all rules for dangerous goods count ({danger})"
        ));
    }
    let takes = service.limited_quantity.as_ref();
    let goes = takes.is_some_and(|takes| CountryCode::is_meant_by(&takes.countries, to));
    let there = if takes.is_some() { " to there" } else { "" };
    let why = || format!("takes no limited quantities{there}, as {name} is ({danger}); the carrier's own list counts");
    (!goes).then(why)
}

/// A price of a parcel with limited quantities, unless it is too heavy for them; it counts up to there at most.
pub fn within_gross<'s>(service: &Service, weight: Weight, quoted: Quoted<'s>) -> Result<Quoted<'s>, Refusal> {
    let takes = service.limited_quantity.as_ref().filter(|_| !service.collect);
    let Some(most) = takes.map(|takes| takes.gross_max) else { return Ok(quoted) };
    if weight > most {
        return Err(Refusal::LimitedQuantity(most, weight));
    }
    // Beyond it there is no dearer step: it would be too heavy.
    Ok(match quoted.ends {
        Some(ends) if ends <= most => quoted,
        _ => Quoted { ends: Some(most), above: None, ..quoted },
    })
}

/// The mark that a parcel needs.
pub fn needs_mark(weighing: &Weighing<'_>, counts: &[u32], service: usize) -> Option<Caution> {
    let takes = weighing.services[service].limited_quantity.as_ref();
    let takes = takes.filter(|_| !weighing.services[service].collect)?;
    let held = weighing.kinds.iter().zip(counts).filter(|(_, count)| **count > 0);
    let limited = held.filter_map(|(kind, _)| kind.product.danger.as_ref()).filter(|danger| danger.is_limited());
    let mut un: Vec<String> = limited.map(|danger| danger.un.clone().unwrap_or_else(|| danger.words.clone())).collect();
    un.sort();
    un.dedup();
    (!un.is_empty()).then(|| Caution::LimitedQuantity { un, mark: takes.mark.clone() })
}

/// A product of which more is in one piece than goes as a limited quantity.
pub fn beyond_limited<'k>(kinds: &'k [Kind<'_>]) -> Option<&'k Product> {
    let beyond = |kind: &&Kind<'_>| kind.product.danger.as_ref().is_some_and(Danger::is_beyond_limited);
    kinds.iter().find(beyond).map(|kind| kind.product)
}
