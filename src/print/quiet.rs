//! Quiet hours: when nothing but stop notes prints. Pure.

use crate::model::daytime::{date_of, instant_of};
use jiff::Timestamp;
use jiff::civil::Time;
use jiff::tz::TimeZone;

/// Quiet hours in local time.
#[derive(Debug, Clone, PartialEq)]
pub struct QuietHours {
    /// Where.
    pub zone: TimeZone,
    /// From and until; may cross midnight. `None`: never quiet.
    pub hours: Option<(Time, Time)>,
}

impl QuietHours {
    /// Never quiet.
    pub fn none() -> Self {
        Self { zone: TimeZone::UTC, hours: None }
    }

    /// Is it quiet at `now`, and until when does that stay so (`None`: for ever)?
    pub fn at(&self, now: Timestamp) -> (bool, Option<Timestamp>) {
        let Some((from, until)) = self.hours.filter(|(from, until)| from != until) else {
            return (false, None);
        };
        let today = date_of(&self.zone, now);
        let days = [today.yesterday().ok(), Some(today), today.tomorrow().ok()];
        let mut turns: Vec<(Timestamp, bool)> = days
            .into_iter()
            .flatten()
            .flat_map(|day| [(instant_of(&self.zone, day, from), true), (instant_of(&self.zone, day, until), false)])
            .collect();
        turns.sort();
        let is_quiet = turns.iter().rev().find(|(at, _)| *at <= now).is_some_and(|(_, quiet)| *quiet);
        let next = turns.iter().find(|(at, quiet)| *at > now && *quiet != is_quiet).map(|(at, _)| *at);
        (is_quiet, next)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::time;

    #[test]
    fn quiet_hours_begin_and_end_also_across_midnight() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let night = QuietHours { zone: zone.clone(), hours: Some((time(20, 0, 0, 0), time(6, 30, 0, 0))) };
        let noon = QuietHours { zone, hours: Some((time(12, 0, 0, 0), time(13, 0, 0, 0))) };
        let cases = [
            (&night, "2026-11-25T18:59:59Z", false, "2026-11-25T19:00:00Z"),
            (&night, "2026-11-25T19:00:00Z", true, "2026-11-26T05:30:00Z"),
            (&night, "2026-11-26T05:29:59Z", true, "2026-11-26T05:30:00Z"),
            (&night, "2026-11-26T05:30:00Z", false, "2026-11-26T19:00:00Z"),
            (&noon, "2026-11-25T11:30:00Z", true, "2026-11-25T12:00:00Z"),
            (&noon, "2026-11-25T12:30:00Z", false, "2026-11-26T11:00:00Z"),
        ];
        for (hours, now, quiet, next) in cases {
            let expected = (quiet, Some(next.parse().unwrap()));
            assert_eq!(hours.at(now.parse().unwrap()), expected, "{now}");
        }
        assert_eq!(QuietHours::none().at(Timestamp::UNIX_EPOCH), (false, None));
    }
}
