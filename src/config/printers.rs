//! `printers.toml`: printers and which paper goes to which.

use super::draft::{Given, Section};
use super::names::{Kind, Names};
use super::shape;
use super::workshop::positive;
use crate::model::*;
use std::collections::BTreeMap;

/// Where the galley listens if nothing else is said: the printer of who has none yet.
const GALLEY: &str = "127.0.0.1:9100";
/// Dots across of real heads: 384 (58 mm), 512 and 576 (80 mm), up to a wide one.
const DOTS: (u32, u32) = (200, 2_000);

/// All printers in the order of the file; the galley where none is named.
pub(super) fn printers(section: &Section<'_>, names: &Names) -> Vec<Printer> {
    let tables = section.named("printer", &shape::PRINTER);
    let mut printers: Vec<Printer> = tables.iter().map(|(name, table)| printer(name, table, names)).collect();
    if tables.is_empty() {
        printers.push(Printer::usual("galley", GALLEY));
    }
    printers
}

/// Which printer gets which kind of paper.
pub(super) fn routes(section: &Section<'_>, names: &Names) -> BTreeMap<PaperKind, PrinterName> {
    let mut routes = BTreeMap::new();
    let Some(table) = section.sub("routes", &shape::PAPERS) else { return routes };
    for (key, kind) in PAPERS {
        if let Some(name) = table.text(key).filter(|name| names.check(&table, Kind::Printer, name)) {
            routes.insert(kind, PrinterName(name.value));
        }
    }
    routes
}

/// Kinds of paper as they are written in this file.
const PAPERS: [(&str, PaperKind); 8] = [
    ("slip", PaperKind::Slip),
    ("card", PaperKind::Card),
    ("pick_list", PaperKind::PickList),
    ("change_note", PaperKind::ChangeNote),
    ("stop_note", PaperKind::StopNote),
    ("test_page", PaperKind::TestPage),
    ("label", PaperKind::Label),
    ("customs", PaperKind::Customs),
];

fn printer(name: &Given<String>, table: &Section<'_>, names: &Names) -> Printer {
    let mut meant = Printer::usual(name.value.as_str(), GALLEY);
    if !table.has("address") {
        table.missing("address", "\"192.168.1.40:9100\"");
    }
    if let Some(address) = table.text("address") {
        if !is_address(&address.value) {
            let remedy = "write host and port, like \"bench-printer.lan:9100\" or \"192.168.1.40:9100\"";
            table.complain(&address.at, "this is no address of a printer", remedy);
        }
        meant.address = address.value;
    }
    if let Some(dots) = table.whole("dots", DOTS.0, DOTS.1) {
        meant.dots = dots.value;
    }
    if let Some(dpi) = table.whole("dpi", 100, 600) {
        meant.dpi = dpi.value;
    }
    meant.cutter = table.yes_or("cutter", true);
    let words =
        [("process id", Confirms::ProcessId), ("status", Confirms::InlineStatus), ("nothing", Confirms::Nothing)];
    meant.confirms = table.word("confirms", &words).unwrap_or(Confirms::ProcessId);
    if let Some(stand_in) = table.text("stand_in").filter(|stand_in| names.check(table, Kind::Printer, stand_in)) {
        if stand_in.value == name.value {
            table.complain(&stand_in.at, "a printer cannot stand in for itself", "name another one, or take this out");
        }
        meant.stand_in = Some(PrinterName(stand_in.value));
    }
    if let Some(time) = positive(table, "quiet_after") {
        meant.quiet_after = time;
    }
    if let Some(time) = positive(table, "answer_time") {
        meant.answer_time = time;
    }
    meant.keep_connection = table.yes_or("keep_connection", false);
    meant.roll = table.written("roll").map(|given| given.value);
    if let Some(uncertain) = table.sub("uncertain", &shape::PAPERS) {
        for (key, kind) in PAPERS {
            let words = [("copy", WhenUncertain::Copy), ("ask", WhenUncertain::Ask)];
            if let Some(then) = uncertain.word(key, &words) {
                meant.uncertain.insert(kind, then);
            }
        }
    }
    meant
}

/// A host (or an IPv6 address in brackets) and a port.
fn is_address(text: &str) -> bool {
    let Some((host, port)) = text.rsplit_once(':') else { return false };
    let host_is_fine = match host.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')) {
        Some(inner) => inner.parse::<std::net::Ipv6Addr>().is_ok(),
        None => !host.is_empty() && host.bytes().all(|b| b.is_ascii_alphanumeric() || b"-._".contains(&b)),
    };
    host_is_fine && port.parse::<u16>().is_ok_and(|port| port != 0)
}
