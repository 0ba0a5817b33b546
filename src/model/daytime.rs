//! Local time of day in IANA zones. Pure: the zone rules come with the crate jiff, the
//! instant comes from the caller.

use jiff::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::{AmbiguousOffset, TimeZone};

/// The instant at which `time` happens on `date` in `zone`: once a day, whatever the clocks do.
///
/// In a gap (clocks go forward): the first instant that exists after it. In an overlap
/// (clocks go back): the first of the two. A date that a zone skips altogether (Apia,
/// 2011-12-30) gives the first instant of the day after.
pub fn instant_of(zone: &TimeZone, date: Date, time: Time) -> Timestamp {
    let local = date.to_datetime(time);
    let ambiguous = zone.to_ambiguous_timestamp(local);
    match ambiguous.offset() {
        AmbiguousOffset::Unambiguous { offset } => offset.to_timestamp(local).unwrap_or(Timestamp::MAX),
        AmbiguousOffset::Fold { before, .. } => before.to_timestamp(local).unwrap_or(Timestamp::MAX),
        AmbiguousOffset::Gap { after, .. } => {
            // With the later offset the local time falls before the change: the next
            // transition after it is the first instant that exists.
            let before_change = after.to_timestamp(local).unwrap_or(Timestamp::MIN);
            zone.following(before_change).next().map_or(before_change, |change| change.timestamp())
        }
    }
}

/// The local date of an instant.
pub fn date_of(zone: &TimeZone, at: Timestamp) -> Date {
    zone.to_datetime(at).date()
}

/// Closed days in a row that are looked over; a longer row is taken as open.
const CLOSED_DAYS_MAX: usize = 60;

/// The first day from `first` on that is not closed.
pub fn open_day(first: Date, is_closed: impl Fn(Date) -> bool) -> Date {
    let days = std::iter::successors(Some(first), |day| day.tomorrow().ok());
    days.take(CLOSED_DAYS_MAX).find(|day| !is_closed(*day)).unwrap_or(first)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `time_dst.json`: computed with the IANA database 2026f by an independent library.
    #[test]
    fn a_daily_time_happens_once_whatever_the_clocks_do() {
        let text = include_str!("../../tests/standards/time_dst.json");
        let table: serde_json::Value = serde_json::from_str(text).unwrap();
        let mut seen = 0;
        for case in table["cases"].as_array().unwrap() {
            let zone = TimeZone::get(case["zone"].as_str().unwrap()).unwrap();
            let local: jiff::civil::DateTime = case["local"].as_str().unwrap().parse().unwrap();
            let expected = match case["kind"].as_str().unwrap() {
                "gap" => &case["transition_utc"],
                "overlap" => &case["utc_first"],
                _ => &case["utc"],
            };
            let expected: Timestamp = expected.as_str().unwrap().parse().unwrap();
            assert_eq!(instant_of(&zone, local.date(), local.time()), expected, "{case}");
            seen += 1;
        }
        assert_eq!(seen, 19);
    }
}
