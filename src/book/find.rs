//! What people type and read: short numbers, labels.

use super::*;
use crate::model::*;

/// Why what was typed names nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FindError {
    /// Nothing ends so.
    #[error("no open order ends in {typed:?}; look at: dawnslip orders")]
    NotFound {
        /// As typed.
        typed: String,
    },
    /// Several do.
    #[error("{typed:?} can be {}; type more of it", list(.orders))]
    Ambiguous {
        /// As typed.
        typed: String,
        /// All of them.
        orders: Vec<OrderKey>,
    },
    /// The order has several parcels, or not this one, or none yet.
    #[error("order {} has {}", .order.number, parts(.order, *.parcels))]
    WhichParcel {
        /// The order.
        order: OrderKey,
        /// How many parcels it has.
        parcels: usize,
    },
}

fn list(orders: &[OrderKey]) -> String {
    orders.iter().map(OrderKey::to_string).collect::<Vec<_>>().join(" or ")
}

fn parts(order: &OrderKey, parcels: usize) -> String {
    match parcels {
        0 => "no parcel yet: it is not planned".to_owned(),
        1 => format!("one parcel: {}", order.number),
        _ => format!("{parcels} parcels: say {0}/1 to {0}/{parcels}", order.number),
    }
}

/// How well an ending names an order; the best ones win.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Match {
    /// The whole number.
    Whole,
    /// Its last figure: `17` names S-17 rather than S-417.
    Figure,
    /// Just an ending.
    Ending,
}

fn matches(number: &str, typed: &str) -> Option<Match> {
    let split = number.len().checked_sub(typed.len())?;
    let ending = number.get(split..)?;
    if typed.is_empty() || !ending.eq_ignore_ascii_case(typed) {
        return None;
    }
    Some(match number[..split].chars().next_back() {
        None => Match::Whole,
        Some(before) if before.is_ascii_digit() && typed.starts_with(|c: char| c.is_ascii_digit()) => Match::Ending,
        Some(_) => Match::Figure,
    })
}

/// The order that people mean by `417`, `S-417` or `shop/417`: the shortest ending that is
/// unique among open orders; closed ones that the state still holds are found where no open one is.
///
/// # Errors
/// Nothing or several orders end so.
pub fn find(state: &State, typed: &str) -> Result<OrderKey, FindError> {
    let typed = typed.trim();
    let candidates = |open: bool| {
        let of_kind = move |entry: &&OrderEntry| entry.is_closed(&state.parcels) != open;
        best(state.orders.values().filter(of_kind).map(|entry| &entry.order.key), typed)
    };
    let mut found = candidates(true);
    if found.is_empty() {
        found = candidates(false);
    }
    match found.as_slice() {
        [] => Err(FindError::NotFound { typed: typed.to_owned() }),
        [one] => Ok((*one).clone()),
        _ => Err(FindError::Ambiguous { typed: typed.to_owned(), orders: found.into_iter().cloned().collect() }),
    }
}

fn best<'a>(keys: impl Iterator<Item = &'a OrderKey>, typed: &str) -> Vec<&'a OrderKey> {
    let with_source = typed.split_once('/');
    let mut found: Vec<(Match, &OrderKey)> = keys
        .filter_map(|key| {
            let of_source = with_source.filter(|(source, _)| key.source.as_str() == *source);
            let how = of_source.and_then(|(_, rest)| matches(&key.number, rest));
            Some((how.or_else(|| matches(&key.number, typed))?, key))
        })
        .collect();
    let least = found.iter().map(|(how, _)| *how).min();
    found.retain(|(how, _)| Some(*how) == least);
    found.into_iter().map(|(_, key)| key).collect()
}

/// The parcel that people mean by `417` (an order's only one), `417/2`, `shop/417/2` or, of joined
/// orders, `417+421`.
///
/// # Errors
/// As [`find`]; or the order has several parcels, none yet, or not so many.
pub fn find_parcel(state: &State, typed: &str) -> Result<ParcelId, FindError> {
    let typed = typed.trim();
    let (order, part) = match find(state, typed) {
        Ok(order) => (order, None),
        Err(ambiguous @ FindError::Ambiguous { .. }) => return Err(ambiguous),
        Err(not_found) => {
            let split = typed.rsplit_once('/').and_then(|(head, part)| Some((head, part.parse::<usize>().ok()?)));
            match split {
                Some((head, part)) => (find(state, head).or_else(|_| find_joined(state, head))?, Some(part)),
                None => (find_joined(state, typed).map_err(|_| not_found)?, None),
            }
        }
    };
    let parcels = state.orders.get(&order).map(|entry| entry.parcels.as_slice()).unwrap_or_default();
    let id = match (part, parcels) {
        (None, [only]) => Some(only),
        (None, _) => None,
        (Some(part), _) => part.checked_sub(1).and_then(|at| parcels.get(at)),
    };
    id.copied().ok_or(FindError::WhichParcel { parcels: parcels.len(), order })
}

/// The first of the orders that `417+421` names; all of them must lie in one parcel.
fn find_joined(state: &State, typed: &str) -> Result<OrderKey, FindError> {
    let not_found = || FindError::NotFound { typed: typed.to_owned() };
    let keys = typed.split('+').map(|number| find(state, number)).collect::<Result<Vec<_>, _>>()?;
    let parcels = |key: &OrderKey| state.orders.get(key).map(|entry| &entry.parcels);
    let first = keys.first().filter(|_| keys.len() > 1).ok_or_else(not_found)?;
    match keys.iter().all(|key| parcels(key) == parcels(first)) {
        true => Ok(first.clone()),
        false => Err(not_found()),
    }
}

impl State {
    /// A parcel's name on paper: `S-417`, or `S-417/2` where its order has several; joined
    /// orders are named with `+`. The parcel's identity where the state no longer holds it.
    pub fn label(&self, id: ParcelId) -> String {
        let Some(parcel) = self.parcels.get(&id) else { return id.to_string() };
        let numbers: Vec<&str> = parcel.orders.iter().map(|key| key.number.as_str()).collect();
        let name = numbers.join("+");
        match parcel.part {
            (part, of) if of > 1 => format!("{name}/{part}"),
            _ => name,
        }
    }
    /// Jobs that may be sent, in the order in which they print.
    pub fn queued(&self) -> impl Iterator<Item = &Job> {
        self.queue.iter().filter_map(|(_, id)| self.jobs.get(id))
    }
    /// The next job of those that a printer takes.
    pub fn next_job(&self, takes: impl Fn(&Job) -> bool) -> Option<&Job> {
        self.queued().find(|job| takes(job))
    }
    /// What happens when it is in doubt whether this paper was printed: as its printer says, chosen by a
    /// rule, else its shop, else its kind.
    pub fn when_uncertain(&self, kind: PaperKind, subject: &Subject) -> WhenUncertain {
        let Some(policy) = &self.policy else { return WhenUncertain::Copy };
        let parcel = subject.parcel().and_then(|parcel| self.parcels.get(&parcel));
        let ruled = parcel.and_then(|parcel| parcel.planned.printer.as_ref());
        let of_shop = || policy.shop_printers.get(&self.order_of(subject)?.source);
        let at = |name: &PrinterName| policy.uncertain_at.get(name);
        let says = ruled.and_then(at).or_else(|| of_shop().and_then(at)).unwrap_or(&policy.uncertain);
        says.get(&kind).copied().unwrap_or(WhenUncertain::Copy)
    }
    /// The printer to which a paper is routed.
    pub fn printer_of<'w>(&self, workshop: &'w Workshop, kind: PaperKind, subject: &Subject) -> Option<&'w Printer> {
        let order = self.order_of(subject);
        let parcel = subject.parcel().and_then(|parcel| self.parcels.get(&parcel));
        let ruled = parcel.and_then(|parcel| parcel.planned.printer.as_ref());
        workshop.printer_of(kind, order.as_ref().map(|key| &key.source), ruled)
    }
    /// Times when the program was off that ended after this instant, oldest first.
    pub fn off_since(&self, since: jiff::Timestamp) -> impl Iterator<Item = &Outage> {
        self.outages.iter().filter(move |outage| outage.to > since)
    }
}
