//! Times, ages and counts in words, as the desk writes them.

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

/// English short names, Monday first.
const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
/// English short names.
const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// `Wed 25 Nov 08:12`, local.
pub fn day_and_time(zone: &TimeZone, at: Timestamp) -> String {
    let local = zone.to_datetime(at);
    let weekday = WEEKDAYS[(local.weekday().to_monday_zero_offset() as usize).min(6)];
    let month = MONTHS[(local.month() as usize).clamp(1, 12) - 1];
    format!("{weekday} {} {month} {:02}:{:02}", local.day(), local.hour(), local.minute())
}

/// `08:12` on the day of `now`; with the day before it on another day; with the year in another year.
pub fn moment(zone: &TimeZone, at: Timestamp, now: Timestamp) -> String {
    let (local, today) = (zone.to_datetime(at), zone.to_datetime(now));
    if local.date() == today.date() {
        return format!("{:02}:{:02}", local.hour(), local.minute());
    }
    let text = day_and_time(zone, at);
    if local.year() == today.year() {
        return text;
    }
    format!(
        "{} {} {:02}:{:02}",
        text.rsplit_once(' ').map_or("", |(day, _)| day),
        local.year(),
        local.hour(),
        local.minute()
    )
}

/// `8 s`, `12 min`, `1 h 14 min`, `3 days`. Nothing is younger than `0 s` (a clock that went back).
pub fn age(since: Timestamp, now: Timestamp) -> String {
    duration(now.duration_since(since))
}

/// Likewise, for a length of time.
pub fn duration(length: SignedDuration) -> String {
    let seconds = length.as_secs().max(0);
    match seconds {
        0..60 => format!("{seconds} s"),
        60..3600 => format!("{} min", seconds / 60),
        3600..172_800 => match (seconds / 3600, seconds / 60 % 60) {
            (hours, 0) => format!("{hours} h"),
            (hours, minutes) => format!("{hours} h {minutes} min"),
        },
        _ => format!("{} days", seconds / 86_400),
    }
}

/// `1 order`, `2 orders`.
pub fn count(number: usize, one: &str, many: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {many}") }
}

/// `S-1, S-2 and S-3`; more than `most` are cut: `S-1, S-2 and 5 more`.
pub fn list<T: std::fmt::Display>(items: &[T], most: usize) -> String {
    let shown: Vec<String> = items.iter().take(most).map(ToString::to_string).collect();
    match (items.len(), shown.split_last()) {
        (_, None) => String::new(),
        (all, _) if all > most => format!("{} and {} more", shown.join(", "), all - most),
        (_, Some((last, []))) => last.clone(),
        (_, Some((last, before))) => format!("{} and {last}", before.join(", ")),
    }
}

/// Breaks a text into lines of at most `width` characters at spaces; a longer word stands
/// alone. A no-break space holds its words together and then becomes a space.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split([' ', '\n', '\t']).filter(|word| !word.is_empty()) {
        let last = lines.len() - 1;
        let used = lines[last].chars().count();
        if used == 0 {
            lines[last] = word.to_owned();
        } else if used + 1 + word.chars().count() <= width {
            lines[last].push(' ');
            lines[last].push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines.into_iter().map(|line| line.replace('\u{a0}', " ")).collect()
}

/// Holds a short text together when lines are broken.
pub fn unbroken(text: &str) -> String {
    text.replace(' ', "\u{a0}")
}

/// A lead, and a text that is broken into lines that stand under its own beginning.
pub fn hanging(lead: &str, text: &str, columns: usize) -> String {
    let indent = lead.chars().count();
    let mut block = String::new();
    for (index, line) in wrap(text, columns.saturating_sub(indent)).into_iter().enumerate() {
        if index == 0 {
            block.push_str(lead);
        } else {
            block.push_str(&" ".repeat(indent));
        }
        block.push_str(&line);
        block.push('\n');
    }
    block
}

/// Foreign text (a customer's name, a shop's number) on a terminal: control and direction
/// characters become `·`, so that nobody can paint on the owner's screen.
pub fn tame(text: &str) -> String {
    let odd = |c: char| {
        c.is_control() || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    text.chars().map(|c| if odd(c) { '·' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn ages_read_like_speech() {
        let now = at("2026-11-25T08:12:00Z");
        for (since, expected) in [
            ("2026-11-25T08:12:05Z", "0 s"),
            ("2026-11-25T08:11:52Z", "8 s"),
            ("2026-11-25T08:11:00Z", "1 min"),
            ("2026-11-25T07:12:01Z", "59 min"),
            ("2026-11-25T07:12:00Z", "1 h"),
            ("2026-11-25T06:58:00Z", "1 h 14 min"),
            ("2026-11-23T08:12:01Z", "47 h 59 min"),
            ("2026-11-23T08:12:00Z", "2 days"),
            ("2025-11-25T08:12:00Z", "365 days"),
        ] {
            assert_eq!(age(at(since), now), expected, "{since}");
        }
    }

    #[test]
    fn a_moment_names_its_day_only_when_it_is_another_one() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let now = at("2026-11-25T07:12:00Z");
        for (when, expected) in [
            ("2026-11-25T05:58:00Z", "06:58"),
            // 23:30 UTC is already the 25th in Berlin.
            ("2026-11-24T23:30:00Z", "00:30"),
            ("2026-11-24T17:02:00Z", "Tue 24 Nov 18:02"),
            ("2025-11-24T17:02:00Z", "Mon 24 Nov 2025 18:02"),
        ] {
            assert_eq!(moment(&zone, at(when), now), expected, "{when}");
        }
        assert_eq!(day_and_time(&zone, now), "Wed 25 Nov 08:12");
    }

    #[test]
    fn lists_are_cut_and_say_so() {
        assert_eq!(list::<&str>(&[], 3), "");
        assert_eq!(list(&["a"], 3), "a");
        assert_eq!(list(&["a", "b", "c"], 3), "a, b and c");
        assert_eq!(list(&["a", "b", "c", "d", "e"], 3), "a, b, c and 2 more");
    }

    #[test]
    fn foreign_text_cannot_paint_on_the_screen() {
        assert_eq!(tame("Zoë\x1b[31m\u{202e}x"), "Zoë·[31m·x");
    }
}
