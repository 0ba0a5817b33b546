//! What the book needs of the configuration.

use crate::book::Policy;
use crate::model::Workshop;

/// Closed orders stay in the state for so long before they are archived: messages are
/// remembered as long, since a sender may repeat one until then.
const ARCHIVE_AFTER_DAYS: u32 = 14;

/// The book's part of a configuration.
pub fn policy(workshop: &Workshop) -> Policy {
    let mut uncertain = std::collections::BTreeMap::new();
    // A job may go to a stand-in; the choice of the printer that it is routed to counts.
    for kind in crate::model::PaperKind::ALL {
        if let Some(then) = workshop.printer_for(kind).and_then(|printer| printer.uncertain.get(&kind)) {
            uncertain.insert(kind, *then);
        }
    }
    Policy {
        zone: workshop.zone.iana_name().unwrap_or("UTC").to_owned(),
        pick_list_at: workshop.day.pick_list_at,
        closed_weekdays: workshop.day.closed_weekdays.iter().map(|day| day.to_monday_one_offset()).collect(),
        closed_dates: workshop.day.closed_dates.clone(),
        parcels_a_day: workshop.day.parcels_a_day,
        burst_orders: workshop.day.burst.orders,
        burst_seconds: workshop.day.burst.within.as_secs(),
        gapless: workshop
            .sources
            .values()
            .filter_map(|source| Some((source.name.clone(), source.gapless_prefix.clone()?)))
            .collect(),
        print: workshop.sources.values().filter_map(|source| Some((source.name.clone(), source.print?))).collect(),
        uncertain,
        uncertain_at: match workshop.printers.as_slice() {
            [] | [_] => Default::default(),
            several => several.iter().map(|printer| (printer.name.clone(), printer.uncertain.clone())).collect(),
        },
        shop_printers: workshop
            .sources
            .values()
            .filter_map(|source| Some((source.name.clone(), source.printer.clone()?)))
            .collect(),
        prints: workshop
            .services
            .iter()
            .filter(|s| !s.prints.is_empty())
            .map(|s| (s.name.clone(), s.prints.clone()))
            .collect(),
        latest: workshop.services.iter().filter_map(|s| Some((s.name.clone(), s.latest?))).collect(),
        join: workshop.joins_orders,
        archive_after_days: ARCHIVE_AFTER_DAYS.min(workshop.retention_days),
    }
}
