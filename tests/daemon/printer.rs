//! A printer in trouble: the desk says so, and nothing prints twice when it works again.

use super::support::*;
use dawnslip::print::galley::Fault;
use jiff::{SignedDuration, Timestamp};

/// Every paper lies on the galley once, and none was made again.
fn nothing_twice(bench: &Bench, orders: &[&str]) {
    for number in orders {
        for paper in bench.papers_of(number) {
            assert_eq!((&paper["state"], &paper["copy"]), (&"on paper".into(), &false.into()), "{number}: {paper}");
            assert_eq!(bench.on_galley(&paper), 1, "{number}: {paper}");
        }
    }
    assert_eq!(bench.galley.papers().len(), 2 * orders.len());
}

#[test]
fn an_empty_roll_is_told_with_since_why_and_do_and_goes_on_by_itself() {
    let bench = Bench::running();
    bench.order("A-1", &[("mug-dawn", 1)]);
    bench.until_stage("A-1", "printed");
    bench.until_still();
    // In the middle of the next slip.
    bench.galley.set_fault(Fault::PaperOut { after_rows: 100 });
    bench.order("A-2", &[("mug-dawn", 1)]);
    bench.order("A-3", &[("mug-dawn", 1)]);
    bench.until("word of the empty roll", || bench.status().contains("the paper is out"));
    let thing = &bench.json("/status")["things"][0];
    assert_eq!(thing["kind"], "printer");
    assert!(thing["what"].as_str().unwrap().contains("printer \"bench\""), "{thing}");
    assert!(thing["why"].as_str().unwrap().contains("wait"), "says what waits: {thing}");
    assert!(thing["since"].is_string() && !thing["do"].as_array().unwrap().is_empty(), "{thing}");
    bench.run(&["status"]).expect(1, &["needs you: 1 thing", "since", "why", "do"]);
    bench.galley.load_paper();
    bench.galley.mend();
    bench.until_stage("A-3", "printed");
    bench.until_still();
    bench.until("word that all is well", || bench.status().starts_with("all is well"));
    nothing_twice(&bench, &["A-1", "A-2", "A-3"]);
}

#[test]
fn a_printer_that_is_off_is_told_and_found_again_also_after_a_restart() {
    let mut bench = Bench::new();
    bench.galley.set_fault(Fault::PowerOff);
    bench.start();
    bench.order("A-1", &[("mug-dawn", 1)]);
    bench.until("word of the printer", || bench.status().contains("printer \"bench\""));
    let status = bench.status();
    assert!(status.contains("off") && status.contains("2 papers wait") && status.contains("A-1"), "{status}");
    bench.restart();
    bench.until("word of the printer", || bench.status().contains("printer \"bench\""));
    bench.galley.mend();
    bench.until_stage("A-1", "printed");
    bench.until_still();
    bench.until("word that all is well", || bench.status().starts_with("all is well"));
    nothing_twice(&bench, &["A-1"]);
}

#[test]
fn in_quiet_hours_papers_wait_and_status_says_so_calmly() {
    let mut bench = Bench::new();
    // Local time of the sample's zone; an hour before and after now.
    let zone = jiff::tz::TimeZone::get("Atlantic/Faroe").unwrap();
    let clock = |hours: i64| {
        zone.to_datetime(Timestamp::now() + SignedDuration::from_hours(hours)).strftime("%H:%M").to_string()
    };
    let (from, until) = (clock(-1), clock(1));
    bench.edit(
        "workshop.toml",
        "# quiet = { from = \"21:00\", until = \"06:30\" }",
        &format!("quiet = {{ from = \"{from}\", until = \"{until}\" }}"),
    );
    bench.start();
    bench.order("A-1", &[("mug-dawn", 1)]);
    bench.until_stage("A-1", "planned");
    bench.until("queued papers", || bench.json("/status")["papers"]["queued"] == 2);
    let status = bench.status();
    assert!(status.starts_with("all is well"), "{status}");
    let flat = status.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("quiet hours: nothing prints until") && flat.contains(&until), "{status}");
    assert!(flat.contains("2 papers wait"), "{status}");
    assert!(bench.galley.papers().is_empty());
    // Without quiet hours they print.
    bench.edit("workshop.toml", "quiet = { from", "# quiet = { from");
    bench.run(&["reload"]).expect(0, &["in force"]);
    bench.until_stage("A-1", "printed");
    bench.until_still();
    assert!(!bench.status().contains("quiet hours"));
    nothing_twice(&bench, &["A-1"]);
}
