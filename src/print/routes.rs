//! Which printer gets a job: the route of its kind, or a stand-in while that one is in trouble. Pure.

use super::health::PrinterHealth;
use crate::model::{Printer, PrinterName};
use jiff::{SignedDuration, Timestamp};

/// So long may a printer be in trouble before its stand-in takes over.
pub const STAND_IN_AFTER: SignedDuration = SignedDuration::from_secs(120);

/// The printer for jobs whose route leads to `own`. Follows stand-ins until one is well; if
/// none is, the route stays with its own printer.
pub fn choose<'w>(
    own: &'w Printer,
    printers: &'w [Printer],
    health: impl Fn(&PrinterName) -> Option<PrinterHealth>,
    now: Timestamp,
) -> &'w PrinterName {
    let fails = |name: &PrinterName| {
        let trouble = health(name).and_then(|health| health.trouble);
        trouble.is_some_and(|trouble| now.duration_since(trouble.since) >= STAND_IN_AFTER)
    };
    let mut current = own;
    // As many steps as there are printers: a ring of stand-ins ends, too.
    for _ in printers {
        if !fails(&current.name) {
            return &current.name;
        }
        let next = current.stand_in.as_ref().and_then(|name| printers.iter().find(|p| &p.name == name));
        match next {
            Some(printer) => current = printer,
            None => break,
        }
    }
    &own.name
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::print::trouble::{Trouble, TroubleKind};

    fn printer(name: &str, stand_in: Option<&str>) -> Printer {
        Printer { stand_in: stand_in.map(PrinterName::from), ..Printer::usual(name, "") }
    }

    #[test]
    fn a_stand_in_takes_over_when_the_trouble_lasts() {
        let printers = [printer("bench", Some("desk")), printer("desk", Some("bench")), printer("alone", None)];
        let now = Timestamp::UNIX_EPOCH + SignedDuration::from_hours(1);
        // Seconds of trouble at bench, at desk; the printer that gets jobs for bench.
        let cases = [
            (None, None, "bench"),
            (Some(119), None, "bench"),
            (Some(120), None, "desk"),
            (Some(500), Some(500), "bench"),
        ];
        for (bench, desk, expected) in cases {
            let health = |name: &PrinterName| {
                let seconds: Option<i64> = if name.as_str() == "desk" { desk } else { bench };
                let mut health = PrinterHealth::new(name.clone(), String::new());
                health.trouble =
                    seconds.map(|s| Trouble::new(TroubleKind::PaperOut, now - SignedDuration::from_secs(s)));
                Some(health)
            };
            assert_eq!(choose(&printers[0], &printers, health, now).as_str(), expected, "{bench:?} {desk:?}");
            let alone = choose(&printers[2], &printers, health, now);
            assert_eq!(alone.as_str(), "alone");
        }
    }
}
