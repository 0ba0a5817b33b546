//! Two contents of one order: which is newer, and what differs.

use crate::model::*;
use std::collections::BTreeMap;

/// How a content that came stands to the one that is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Age {
    /// The payload's revision, or else its arrival, says that it is newer.
    Newer,
    /// The same revision.
    Equal,
    /// An older revision.
    Older,
}

/// Compares revisions. Figures of different kinds (a counter and an instant), and missing
/// ones, cannot be compared: then the later arrival is the newer one.
pub(super) fn age(known: Option<Revision>, came: Option<Revision>) -> Age {
    let order = match (known, came) {
        (Some(Revision::Number(known)), Some(Revision::Number(came))) => came.cmp(&known),
        (Some(Revision::At(known)), Some(Revision::At(came))) => came.cmp(&known),
        _ => return Age::Newer,
    };
    match order {
        std::cmp::Ordering::Greater => Age::Newer,
        std::cmp::Ordering::Equal => Age::Equal,
        std::cmp::Ordering::Less => Age::Older,
    }
}

/// Does it say the same?
pub(super) fn same_content(one: &Order, two: &Order) -> bool {
    one.content_digest == two.content_digest && one.cancelled == two.cancelled && one.flaws == two.flaws
}

/// What differs, one line each, without personal data; at least one line.
pub(super) fn differences(old: &Order, new: &Order) -> Vec<Difference> {
    let mut lines = Vec::new();
    let (before, after) = (pieces(old), pieces(new));
    for (sku, (name, count)) in &after {
        match before.get(sku) {
            None => lines.push(Difference::Added { count: *count, name: (*name).to_owned(), sku: (*sku).clone() }),
            Some((_, was)) if was != count => {
                let (name, sku) = ((*name).to_owned(), (*sku).clone());
                lines.push(Difference::Count { count: *count, was: *was, name, sku });
            }
            Some(_) => {}
        }
    }
    for (sku, (name, count)) in &before {
        if !after.contains_key(sku) {
            lines.push(Difference::TakenOut { count: *count, name: (*name).to_owned(), sku: (*sku).clone() });
        }
    }
    if old.destination != new.destination {
        lines.push(Difference::Address);
    }
    if old.requested_service != new.requested_service {
        let (now, was) = (new.requested_service.clone(), old.requested_service.clone());
        lines.push(Difference::Service { now, was });
    }
    if old.gift != new.gift {
        lines.push(Difference::Gift(new.gift));
    }
    if old.not_before != new.not_before {
        lines.push(Difference::NotBefore(new.not_before));
    }
    if lines.is_empty() {
        lines.push(Difference::Words);
    }
    lines
}

/// Pieces by product, as the shop calls them.
fn pieces(order: &Order) -> BTreeMap<&Sku, (&str, u64)> {
    let mut sum: BTreeMap<&Sku, (&str, u64)> = BTreeMap::new();
    for line in &order.lines {
        sum.entry(&line.sku).or_insert((&line.name, 0)).1 += u64::from(line.quantity);
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::Timestamp;

    #[test]
    fn revisions_of_one_kind_compare_and_all_else_goes_by_arrival() {
        let number = |n| Some(Revision::Number(n));
        let instant = |s| Some(Revision::At(Timestamp::from_second(s).expect("an instant")));
        for (known, came, expected) in [
            (number(1), number(2), Age::Newer),
            (number(2), number(2), Age::Equal),
            (number(2), number(1), Age::Older),
            (instant(1), instant(2), Age::Newer),
            (instant(2), instant(2), Age::Equal),
            (instant(2), instant(1), Age::Older),
            (number(9), instant(1), Age::Newer),
            (instant(9), number(1), Age::Newer),
            (number(9), None, Age::Newer),
            (None, number(1), Age::Newer),
            (None, None, Age::Newer),
        ] {
            assert_eq!(age(known, came), expected, "{known:?} {came:?}");
        }
    }

    fn order(lines: &[(&str, u32)]) -> Order {
        let lines = lines.iter().map(|(sku, quantity)| Line {
            sku: (*sku).into(),
            name: sku.to_lowercase(),
            quantity: *quantity,
            unit_price: None,
        });
        Order {
            key: OrderKey::new("shop", "S-1"),
            revision: None,
            placed: None,
            lines: lines.collect(),
            destination: Destination {
                country: None,
                postcode_head: String::new(),
                address_hash: "one".to_owned(),
                post_box: false,
            },
            gift: false,
            hide_buyer: false,
            requested_service: None,
            total: None,
            cancelled: false,
            not_before: None,
            has_wish: false,
            separate: false,
            customer: CustomerMarks::default(),
            flaws: Vec::new(),
            content_digest: String::new(),
        }
    }

    fn told(old: &Order, new: &Order) -> Vec<String> {
        differences(old, new).iter().map(ToString::to_string).collect()
    }

    #[test]
    fn differences_name_what_changed_and_no_person() {
        let old = order(&[("MUG", 2), ("JUG", 1), ("MUG", 1)]);
        let mut new = order(&[("MUG", 1), ("TEA", 4)]);
        assert_eq!(told(&old, &new), ["mug (MUG): 1 instead of 3", "added: 4 x tea (TEA)", "taken out: 1 x jug (JUG)"]);
        new.lines = old.lines.clone();
        assert_eq!(told(&old, &new), ["something the customer wrote is different: name, address, wish or gift text"]);
        new.destination.address_hash = "two".to_owned();
        new.requested_service = Some("Express".into());
        new.gift = true;
        new.not_before = Some(jiff::civil::date(2026, 12, 1));
        assert_eq!(
            told(&old, &new),
            [
                "the address is another one",
                "service asked for: Express instead of none",
                "it is a gift now",
                "not before 2026-12-01",
            ]
        );
        assert_eq!(
            told(&new, &old)[1..],
            ["service asked for: none instead of Express", "it is no gift any more", "it may go at any time"]
        );
    }
}
