//! What `/status` says, word for word.

use super::support::*;
use dawnslip::book::{Answer, Command};
use dawnslip::desk::{RefusedConfig, Trouble, jobs, status::status, things::ThingKind};
use dawnslip::model::{Confirmation, Printer};
use dawnslip::print::trouble::TroubleKind;

#[track_caller]
fn same(got: &str, expected: &str) {
    assert!(got == expected, "got:\n{got}\nexpected:\n{expected}");
}

#[test]
fn all_is_well_is_said_in_one_line() {
    same(
        &all_well().status("08:12"),
        r#"all is well                                                   Wed 25 Nov 08:12

orders   2 printed
last     order 06:44 (S-443, shop) · paper 06:57 (the slip of S-443)
"#,
    );
}

#[test]
fn a_printer_without_paper_says_what_waits() {
    let mut morning = all_well();
    morning.printers[0].trouble = Some(Trouble {
        what: "nothing reached paper".into(),
        since: at("06:58"),
        why: "the paper is out".into(),
        remedy: "load a roll; it goes on by itself, nothing is printed twice".into(),
    });
    morning.order("07:40", "S-444", "MUG-T", "Zoë Ångström");
    same(
        &morning.status("08:12"),
        r#"needs you: 1 thing                                            Wed 25 Nov 08:12

1  printer "bench": nothing reached paper · since 06:58 (1 h 14 min)
   why  the paper is out; 1 paper waits, the slip of S-444
   do   load a roll; it goes on by itself, nothing is printed twice

orders   1 planned · 2 printed
papers   1 queued
last     order 07:40 (S-444, shop) · paper 06:57 (the slip of S-443)
"#,
    );
}

/// What must stand in `why` and `do` of each. A kind that is new does not compile without its own.
fn told(kind: TroubleKind) -> (&'static str, &'static str) {
    match kind {
        TroubleKind::Refused => ("nothing listens at its address", "wait until it has started"),
        TroubleKind::Unreachable => ("it cannot be reached", "look at its network cable"),
        TroubleKind::PaperOut => ("the paper is out", "load a roll"),
        TroubleKind::CoverOpen => ("the cover is open", "close the cover"),
        TroubleKind::Cutter => ("the cutter is stuck", "clear the paper from the cutter"),
        TroubleKind::Overheated => ("the head is too hot", "let it cool"),
        TroubleKind::Unrecoverable => ("an error that does not go away", "it needs repair"),
        TroubleKind::Offline => ("it is not ready, but not why", "look at its lamps"),
        TroubleKind::Stalled => ("it takes no more data", "look for paper and cover"),
        TroubleKind::Silent => ("it does not answer", "see whether another machine prints on it"),
        TroubleKind::Garbage => ("does not answer like a printer", "how it confirms"),
        TroubleKind::Broken => ("the connection broke", "if it was switched off on purpose"),
    }
}

#[test]
fn every_trouble_of_a_printer_says_what_is_stuck_since_when_why_and_what_to_do() {
    let mut sentences: Vec<(String, String)> = Vec::new();
    for kind in TroubleKind::ALL {
        let mut morning = all_well();
        let trouble = dawnslip::print::trouble::Trouble::new(kind, at("06:58"));
        morning.printers[0].trouble = Some(trouble.into());
        morning.order("07:40", "S-444", "MUG-T", "Zoë Ångström");
        let text = morning.status("08:12");
        let (head, rest) = text.split_once("   why  ").unwrap_or_else(|| panic!("{kind:?} has no why:\n{text}"));
        let (why, rest) = rest.split_once("\n   do   ").unwrap_or_else(|| panic!("{kind:?} has no remedy:\n{text}"));
        let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        let (why, remedy) = (flat(why), flat(rest.split("\n\n").next().unwrap()));
        assert!(head.contains("1  printer \"bench\": nothing reaches paper · since 06:58 (1 h 14 min)\n"), "{text}");
        let (its_why, its_remedy) = told(kind);
        assert!(why.contains(its_why) && why.ends_with("; 1 paper waits, the slip of S-444"), "{kind:?}:\n{text}");
        assert!(remedy.contains(its_remedy), "{kind:?}:\n{text}");
        let same = sentences.iter().find(|(known, cure)| *known == why || *cure == remedy);
        assert_eq!(same, None, "{kind:?} says what another kind says");
        sentences.push((why, remedy));
    }
}

#[test]
fn orders_with_one_cause_are_one_thing() {
    let mut morning = all_well();
    for number in ["S-444", "S-445", "S-446"] {
        morning.order("07:30", number, "GLZ-9", "Zoë Ångström");
    }
    same(
        &morning.status("08:12"),
        r#"needs you: 1 thing                                            Wed 25 Nov 08:12

1  3 orders wait for one thing: the product GLZ-9 is unknown
   · since 07:30 (42 min)
   why  S-444, S-445 and S-446 wait for it
   do   add it to products.toml; then: dawnslip reload
        then: dawnslip decide unknown-product:GLZ-9 retry (or cancel)

orders   3 received · 2 printed
stopped  needs you: 3
last     order 07:30 (S-446, shop) · paper 06:57 (the slip of S-443)
"#,
    );
}

#[test]
fn a_number_that_never_came_is_told() {
    let mut morning = all_well();
    morning.order("07:30", "S-445", "MUG-T", "Zoë Ångström");
    morning.print_all("07:31");
    same(
        &morning.status("08:12"),
        r#"needs you: 1 thing                                            Wed 25 Nov 08:12

1  order S-444 never came · since 07:30 (42 min)
   why  S-443 and S-445 came from "shop" at 06:44 and 07:30, S-444 did not
   do   look it up in the shop; then: dawnslip intake FILE --source shop
        or, if there is none: dawnslip nosuch S-444

orders   3 printed
last     order 07:30 (S-445, shop) · paper 07:31 (the slip of S-445)
"#,
    );
}

#[test]
fn a_time_when_it_was_off_is_told_for_a_day() {
    let mut morning = all_well();
    morning.now = at("07:14");
    morning.tell(Command::Started { last_alive: Some(at("07:10")), clean: false });
    same(
        &morning.status("08:12"),
        r#"all is well                                                   Wed 25 Nov 08:12

orders   2 printed
last     order 06:44 (S-443, shop) · paper 06:57 (the slip of S-443)
off      from 07:10 to 07:14; the last order before was S-443
"#,
    );
    let read = morning.read();
    assert!(status(&read, on("2026-11-26", "07:15")).off.is_empty());
}

#[test]
fn a_burst_says_what_waits_and_how_to_begin() {
    let mut morning = all_well();
    for (clock, number) in [("08:00", "S-444"), ("08:01", "S-445"), ("08:02", "S-446"), ("08:03", "S-447")] {
        morning.order(clock, number, "MUG-T", "Zoë Ångström");
    }
    morning.print_all("08:04");
    same(
        &morning.status("08:12"),
        r#"all is well                                                   Wed 25 Nov 08:12

orders   1 planned · 5 printed
burst    orders rush in since 08:03; slips and cards wait, print them in pack
         order: dawnslip start-packing
last     order 08:03 (S-447, shop) · paper 08:04 (the slip of S-446)
"#,
    );
}

#[test]
fn other_troubles_are_things_too() {
    let mut morning = all_well();
    morning.refused_config = Some(RefusedConfig {
        since: at("08:00"),
        complaints: vec!["products.toml:12:8: a bare number; say \"230 mm\"".into(), "another".into()],
    });
    morning.troubles.push(Trouble {
        what: "the disk has no room".into(),
        since: at("08:10"),
        why: "data is full; shops are answered 503 and send again later".into(),
        remedy: "make room; it goes on by itself".into(),
    });
    let read = morning.read();
    let status = status(&read, at("08:12"));
    let kinds: Vec<ThingKind> = status.things.iter().map(|thing| thing.kind).collect();
    assert_eq!(kinds, [ThingKind::Program, ThingKind::Config]);
    assert_eq!(status.headline, "needs you: 2 things");
    assert!(status.things[1].why.ends_with("(and 1 more)"));
}

#[test]
fn a_pick_list_that_does_not_come_out_is_told_after_ten_minutes() {
    let mut morning = all_well();
    morning.tick("07:00");
    let kinds = |morning: &Morning, clock: &str| -> Vec<ThingKind> {
        status(&morning.read(), at(clock)).things.iter().map(|thing| thing.kind).collect()
    };
    assert_eq!(kinds(&morning, "07:10"), []);
    assert_eq!(kinds(&morning, "07:11"), [ThingKind::PickList]);
    morning.print_all("07:12");
    assert_eq!(kinds(&morning, "07:12"), []);
}

#[test]
fn an_uncertain_slip_is_asked_about_once() {
    let mut morning = Morning::new();
    morning.order("06:41", "S-442", "MUG-T", "Zoë Ångström");
    let job = morning.state.next_job(|_| true).unwrap().id;
    morning.tell(Command::Send { job, printer: "bench".into(), digest: "0".repeat(64), rows: None });
    morning.tell(Command::NotPrinted {
        job,
        why: "the printer went silent".into(),
        left: dawnslip::book::BytesLeft::Some,
    });
    let status = status(&morning.read(), at("08:12"));
    assert_eq!(status.things.len(), 1, "{:?}", status.things);
    assert_eq!(status.papers.uncertain, 1);
    assert!(status.things[0].decisions.contains(&"on-paper".to_owned()));
}

#[test]
fn a_paper_from_a_stand_in_is_as_long_as_that_printer_makes_it() {
    let mut morning = Morning::new();
    let mut workshop = (*morning.workshop).clone();
    workshop.printers.push(Printer { dpi: 180, ..Printer::usual("spare", "127.0.0.1:9101") });
    workshop.printers[0].stand_in = Some("spare".into());
    morning.workshop = workshop.into();
    for (number, printer) in [("S-442", "bench"), ("S-443", "spare"), ("S-444", "sold")] {
        morning.order("06:41", number, "MUG-T", "Zoë Ångström");
        while let Some(job) = morning.state.next_job(|_| true).map(|job| job.id) {
            let (digest, rows) = ("0".repeat(64), Some(1_800));
            assert_eq!(morning.tell(Command::Send { job, printer: printer.into(), digest, rows }), Answer::Go);
            morning.tell(Command::Printed { job, by: Confirmation::ProcessId });
        }
    }
    let jobs = jobs::all(&morning.read());
    let length = |number: &str| {
        jobs.iter().find(|job| job.what.contains("slip") && job.what.contains(number)).unwrap().millimetres
    };
    assert_eq!(length("S-442"), Some(1_800 * 254 / 2_030));
    assert_eq!(length("S-443"), Some(254));
    assert_eq!(length("S-444"), None, "nobody knows how fine a printer was that is gone");
    assert!(jobs::text(&morning.read(), &jobs, at("08:12")).contains("· 254 mm"));
}

/// Programs rely on these names.
#[test]
fn the_json_of_status_keeps_its_names() {
    let mut morning = all_well();
    morning.order("07:30", "S-444", "GLZ-9", "Zoë Ångström");
    let status = status(&morning.read(), at("08:12"));
    let json = serde_json::to_value(&status).unwrap();
    let names = |value: &serde_json::Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>().join(" ");
    assert_eq!(
        names(&json),
        "workshop at local headline things notices mode mode_held mode_since orders joined papers last_order last_paper last_backup off"
    );
    assert_eq!(names(&json["things"][0]), "kind what since age why do cause decisions orders");
    assert_eq!(json["things"][0]["cause"], "unknown-product:GLZ-9");
    assert_eq!(json["things"][0]["since"], "2026-11-25T06:30:00Z");
    assert_eq!(serde_json::from_value::<dawnslip::desk::status::Status>(json).unwrap(), status);
}
