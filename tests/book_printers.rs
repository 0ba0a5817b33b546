//! Which printer a paper goes to and what that printer says of doubt; when slips and cards wait;
//! and what prints first.

mod book_bench;

use book_bench::*;
use dawnslip::book::{Action, *};
use dawnslip::config;
use dawnslip::model::*;
use std::path::Path;

/// The sample with two more printers: "office", which the shop "fair" chooses, and "side", to which a
/// rule may send a parcel.
fn workshop() -> Workshop {
    let mut files = config::embedded();
    let append = |text: &str, more: &str| format!("{text}\n{more}\n");
    let printers = append(
        &files["printers.toml"],
        "[printer.office]\naddress = \"127.0.0.1:9101\"\nuncertain = { slip = \"ask\" }\n\
         [printer.side]\naddress = \"127.0.0.1:9102\"\nuncertain = { card = \"ask\" }",
    );
    files.insert("printers.toml".into(), printers);
    let sources = files["sources.toml"].replace("[source.fair]\n", "[source.fair]\nprinter = \"office\"\n");
    files.insert("sources.toml".into(), sources);
    config::load(&files, Path::new("config")).unwrap_or_else(|complaints| panic!("{complaints}"))
}

fn of_fair(number: &str, skus: &[&str]) -> Order {
    let mut order = order(number, skus);
    order.key = OrderKey::new("fair", number);
    order
}

#[test]
fn a_rule_chooses_the_printer_before_the_shop_and_the_shop_before_the_kind() {
    let workshop = workshop();
    let mut bench = Bench::with(config::policy(&workshop));
    let orders = [
        order("S-1", &["CARD"]),
        of_fair("F-1", &["CARD"]),
        order("S-2", &["SIDE"]),
        of_fair("F-2", &["SIDE", "CARD"]),
    ];
    bench.receive_and_plan(&orders);
    bench.act(Action::ListNow);
    let routed: Vec<String> = bench
        .state
        .queued()
        .map(|job| {
            let printer = bench.state.printer_of(&workshop, job.kind, &job.subject).expect("a printer");
            format!("{} at {}", bench.state.paper_name(job), printer.name)
        })
        .collect();
    assert_eq!(
        routed,
        [
            "pick list of 2026-11-25 at bench",
            "slip of S-1 at bench",
            "card of S-1 at bench",
            "slip of F-1 at office",
            "card of F-1 at office",
            "slip of S-2 at side",
            "slip of F-2 at side",
            "card of F-2 at side",
        ]
    );
    // A printer that is taken out of the configuration is passed over.
    let mut without = workshop;
    without.printers.retain(|printer| printer.name.as_str() != "side");
    let parcel = bench.state.orders[&OrderKey::new("fair", "F-2")].parcels[0];
    let printer = bench.state.printer_of(&without, PaperKind::Slip, &Subject::Parcel(parcel));
    assert_eq!(printer.map(|printer| printer.name.as_str()), Some("office"));
}

#[test]
fn in_doubt_counts_what_the_papers_own_printer_says() {
    // Printer "bench" prints copies, "office" asks about slips, "side" about cards.
    let cases = [
        (order("S-1", &["CARD"]), "slip COPY queued, card COPY queued"),
        (of_fair("S-1", &["CARD"]), "slip asked, card COPY queued"),
        (of_fair("S-1", &["CARD", "SIDE"]), "slip COPY queued, card asked"),
        (order("S-1", &["CARD", "SIDE"]), "slip COPY queued, card asked"),
    ];
    for (order, expected) in cases {
        let mut became = Vec::new();
        for kind in [PaperKind::Slip, PaperKind::Card] {
            let mut bench = Bench::with(config::policy(&workshop()));
            bench.receive_and_plan(std::slice::from_ref(&order));
            let job = bench.state.queued().find(|job| job.kind == kind).expect("it waits").id;
            bench.send(job);
            bench.not_printed(job, BytesLeft::Some);
            let asked = questions(&bench.state).iter().any(|question| question.cause.starts_with("uncertain-paper:"));
            let copy = bench.state.queued().any(|job| job.kind == kind && job.copy.is_some());
            assert_ne!(asked, copy, "one of the two");
            became.push(format!("{kind} {}", if asked { "asked" } else { "COPY queued" }));
        }
        assert_eq!(became.join(", "), expected, "{:?}", order.key);
    }
}

#[test]
fn a_person_has_slips_wait_and_print_at_once_whatever_the_orders_do() {
    let wish = |mode| Action::Mode(ModeWish::Always(mode));
    let mut bench = Bench::new();
    // One order, no rush: it waits since a person said so, for longer than any burst.
    bench.act(wish(Mode::Burst));
    bench.receive_and_plan(&[order("S-1", &["MUG"])]);
    bench.later(3600);
    bench.tick();
    assert_eq!((bench.state.mode, bench.state.mode_held, bench.queued().len()), (Mode::Burst, true, 0));
    bench.act(Action::StartPacking);
    assert_eq!(bench.print_all(), ["slip of S-1"]);
    bench.receive_and_plan(&[order("S-2", &["MUG"])]);
    assert!(bench.queued().is_empty(), "what comes later waits again");
    // What waits prints as soon as it is said.
    bench.act(wish(Mode::Trickle));
    assert_eq!(bench.print_all(), ["slip of S-2"]);
    // A rush changes nothing now.
    let rush: Vec<Order> = (10..20).map(|n| order(&format!("S-{n}"), &["MUG"])).collect();
    bench.receive_and_plan(&rush);
    assert_eq!((bench.state.mode, bench.state.mode_held, bench.queued().len()), (Mode::Trickle, true, 10));
    // The number of orders decides again: ten have just come.
    bench.act(Action::Mode(ModeWish::Auto));
    assert_eq!((bench.state.mode, bench.state.mode_held), (Mode::Burst, false));
    bench.receive_and_plan(&[order("S-30", &["MUG"])]);
    assert_eq!(bench.queued().len(), 10, "S-30 waits");
    bench.later(601);
    bench.tick();
    assert_eq!((bench.state.mode, bench.queued().len()), (Mode::Trickle, 11));
}

#[test]
fn five_hundred_slips_do_not_bury_the_pick_list() {
    let mut bench = Bench::with(Policy { burst_orders: 10_000, ..policy() });
    // The next morning, before seven o’clock there.
    bench.now = at("2026-11-26T05:00:00Z");
    // By the bare book: the bench looks over everything after each step.
    let now = bench.now;
    for n in 0..500 {
        let meaning = Meaning::Orders(vec![(order(&format!("S-{n}"), &["MUG"]), Person::default())]);
        let received = Received {
            message: MessageKey { source: SHOP.into(), id: format!("m{n}") },
            body_digest: n.to_string(),
            raw: Hidden::new(""),
            meaning,
            archived: Default::default(),
        };
        for effect in step(&mut bench.state, Command::Receive(Box::new(received)), now).effects {
            let Effect::PlanThis { order, pins } = effect else { continue };
            let planned = plan(&bench.state, &order, pins);
            step(&mut bench.state, Command::Planned(Box::new(planned)), now);
        }
    }
    assert_eq!(bench.queued().len(), 500);
    let first = bench.next().expect("a slip waits");
    step(&mut bench.state, Command::Send { job: first, printer: "bench".into(), digest: "b".into(), rows: None }, now);
    // One slip is on its way when the hour comes.
    step(&mut bench.state, Command::Tick, at("2026-11-26T06:00:01Z"));
    assert_eq!(bench.name(bench.next().expect("the next")), "pick list of 2026-11-26");
    // So does one that a person asks for.
    step(&mut bench.state, Command::Printed { job: first, by: Confirmation::ProcessId }, now);
    let list = bench.next().expect("the list");
    step(&mut bench.state, Command::Send { job: list, printer: "bench".into(), digest: "b".into(), rows: None }, now);
    assert_eq!(bench.name(bench.next().expect("the next")), "slip of S-1");
    step(&mut bench.state, Command::Person(Action::ListNow), now);
    assert!(bench.name(bench.next().expect("the next")).starts_with("pick list"));
    assert_eq!(bench.queued().len(), 500);
}
