//! A table for every transition of the book, also for those that are refused.

mod book_bench;

use book_bench::*;
use dawnslip::book::{Action, *};
use dawnslip::model::*;

/// The states in which an order of number `S-1` can be, by how it gets there.
const ORDERS: [&str; 14] = [
    "asked",
    "planned",
    "sending",
    "uncertain",
    "printed",
    "packed",
    "handed over",
    "held",
    "rule holds",
    "asks",
    "made",
    "stock",
    "date",
    "cancelled",
];

fn bench_with(state: &str) -> Bench {
    let mut bench = Bench::new();
    let sku = match state {
        "rule holds" => "HOLD",
        "asks" => "GLZ-9",
        "made" => "MADE",
        "stock" => "OUT",
        "date" => "LATER",
        _ => "MUG",
    };
    bench.receive(&[order("S-1", &[sku])]);
    if state == "asked" {
        return bench;
    }
    bench.plan();
    match state {
        "sending" | "uncertain" => {
            let job = bench.slip("S-1");
            bench.send(job);
            if state == "uncertain" {
                bench.not_printed(job, BytesLeft::Some);
            }
        }
        "printed" | "packed" | "handed over" => {
            bench.print_all();
            let parcel = bench.parcel("S-1");
            if state != "printed" {
                bench.act(Action::Packed { parcel });
            }
            if state == "handed over" {
                bench.act(Action::HandedOver { parcels: vec![parcel] });
            }
        }
        "held" => {
            bench.act(Action::Hold { order: key("S-1"), reason: "a look".to_owned() });
        }
        "cancelled" => {
            bench.act(Action::Cancel { order: key("S-1"), reason: "a wish".to_owned() });
        }
        _ => {}
    }
    bench
}

/// Runs each action on each state and compares what the order looks like then; `no` means
/// refused, with nothing changed.
#[track_caller]
fn check(action: impl Fn(&Bench) -> Option<Action>, expected: &[(&str, &str)]) {
    assert_eq!(expected.iter().map(|(state, _)| *state).collect::<Vec<_>>(), ORDERS);
    let mut wrong = Vec::new();
    for (state, expected) in expected {
        let mut bench = bench_with(state);
        let before = bench.state.clone();
        let Some(action) = action(&bench) else {
            assert_eq!(*expected, "nothing to act on", "{state}");
            continue;
        };
        let got = match bench.act(action) {
            Answer::Refused { .. } => {
                assert!(bench.state == before, "refused, yet changed: {state}");
                "no".to_owned()
            }
            _ => bench.describe("S-1"),
        };
        if got != *expected {
            wrong.push(format!("        ({state:?}, {got:?}),"));
        }
    }
    assert!(wrong.is_empty(), "differs:\n{}", wrong.join("\n"));
}

#[test]
fn how_the_states_look_before_anything_is_done() {
    let expected = [
        "received, asked",
        "planned: slip queued",
        "planned: slip sending",
        "planned: slip uncertain, slip COPY queued",
        "printed: slip on paper",
        "packed: slip on paper",
        "handed over: slip on paper",
        "planned, held: slip dropped",
        "planned, held",
        "received, needs you unknown-product",
        "planned, waiting",
        "planned, waiting",
        "planned, waiting",
        "planned, cancelled: slip dropped",
    ];
    for (state, expected) in ORDERS.iter().zip(expected) {
        assert_eq!(bench_with(state).describe("S-1"), expected, "{state}");
    }
}

#[test]
fn hold_takes_back_what_is_queued() {
    check(
        |_| Some(Action::Hold { order: key("S-1"), reason: "ask first".to_owned() }),
        &[
            ("asked", "received, asked, held"),
            ("planned", "planned, held: slip dropped"),
            ("sending", "planned, held: slip sending"),
            ("uncertain", "planned, held: slip uncertain, slip COPY dropped"),
            ("printed", "printed, held: slip on paper"),
            ("packed", "packed, held: slip on paper"),
            ("handed over", "no"),
            ("held", "no"),
            ("rule holds", "planned, held, held"),
            ("asks", "received, needs you unknown-product, held"),
            ("made", "planned, waiting, held"),
            ("stock", "planned, waiting, held"),
            ("date", "planned, waiting, held"),
            ("cancelled", "no"),
        ],
    );
}

#[test]
fn release_lifts_holds_of_persons_and_rules() {
    check(
        |_| Some(Action::Release { order: key("S-1") }),
        &[
            ("asked", "no"),
            ("planned", "no"),
            ("sending", "no"),
            ("uncertain", "no"),
            ("printed", "no"),
            ("packed", "no"),
            ("handed over", "no"),
            ("held", "planned: slip dropped, slip queued"),
            ("rule holds", "planned: slip queued"),
            ("asks", "no"),
            ("made", "no"),
            ("stock", "no"),
            ("date", "no"),
            ("cancelled", "no"),
        ],
    );
}

#[test]
fn ready_lifts_waiting_for_goods() {
    check(
        |_| Some(Action::Ready { order: key("S-1") }),
        &[
            ("asked", "no"),
            ("planned", "no"),
            ("sending", "no"),
            ("uncertain", "no"),
            ("printed", "no"),
            ("packed", "no"),
            ("handed over", "no"),
            ("held", "no"),
            ("rule holds", "no"),
            ("asks", "no"),
            ("made", "planned: slip queued"),
            ("stock", "planned: slip queued"),
            ("date", "no"),
            ("cancelled", "no"),
        ],
    );
}

#[test]
fn cancel_drops_what_is_queued_and_stops_what_is_on_paper() {
    check(
        |_| Some(Action::Cancel { order: key("S-1"), reason: "a wish".to_owned() }),
        &[
            ("asked", "received, cancelled"),
            ("planned", "planned, cancelled: slip dropped"),
            ("sending", "planned, cancelled: slip sending, stop note queued"),
            ("uncertain", "planned, cancelled: slip uncertain, slip COPY dropped, stop note queued"),
            ("printed", "printed, cancelled: slip on paper, stop note queued"),
            ("packed", "packed, cancelled: slip on paper, stop note queued"),
            ("handed over", "no"),
            ("held", "planned, cancelled: slip dropped"),
            ("rule holds", "planned, cancelled"),
            ("asks", "received, cancelled"),
            ("made", "planned, cancelled"),
            ("stock", "planned, cancelled"),
            ("date", "planned, cancelled"),
            ("cancelled", "no"),
        ],
    );
}

#[test]
fn replan_asks_anew_unless_paper_is_out() {
    check(
        |_| Some(Action::Replan { order: key("S-1") }),
        &[
            ("asked", "received, asked"),
            ("planned", "planned, asked: slip dropped"),
            ("sending", "no"),
            ("uncertain", "no"),
            ("printed", "no"),
            ("packed", "no"),
            ("handed over", "no"),
            ("held", "planned, asked, held: slip dropped"),
            ("rule holds", "planned, asked, held"),
            ("asks", "received, asked, needs you unknown-product"),
            ("made", "planned, asked, waiting"),
            ("stock", "planned, asked, waiting"),
            ("date", "planned, asked, waiting"),
            ("cancelled", "no"),
        ],
    );
}

fn only_parcel(bench: &Bench) -> Option<ParcelId> {
    bench.state.orders[&key("S-1")].parcels.first().copied()
}

#[test]
fn packed_needs_a_slip_on_paper() {
    check(
        |bench| Some(Action::Packed { parcel: only_parcel(bench)? }),
        &[
            ("asked", "nothing to act on"),
            ("planned", "no"),
            ("sending", "no"),
            ("uncertain", "no"),
            ("printed", "packed: slip on paper"),
            ("packed", "no"),
            ("handed over", "no"),
            ("held", "no"),
            ("rule holds", "no"),
            ("asks", "nothing to act on"),
            ("made", "no"),
            ("stock", "no"),
            ("date", "no"),
            ("cancelled", "no"),
        ],
    );
}

#[test]
fn unpack_goes_one_step_back() {
    check(
        |bench| Some(Action::Unpack { parcel: only_parcel(bench)? }),
        &[
            ("asked", "nothing to act on"),
            ("planned", "no"),
            ("sending", "no"),
            ("uncertain", "no"),
            ("printed", "no"),
            ("packed", "printed: slip on paper"),
            ("handed over", "packed: slip on paper"),
            ("held", "no"),
            ("rule holds", "no"),
            ("asks", "nothing to act on"),
            ("made", "no"),
            ("stock", "no"),
            ("date", "no"),
            ("cancelled", "no"),
        ],
    );
}

#[test]
fn only_packed_parcels_are_handed_over() {
    check(
        |bench| Some(Action::HandedOver { parcels: vec![only_parcel(bench)?] }),
        &[
            ("asked", "nothing to act on"),
            ("planned", "no"),
            ("sending", "no"),
            ("uncertain", "no"),
            ("printed", "no"),
            ("packed", "handed over: slip on paper"),
            ("handed over", "no"),
            ("held", "no"),
            ("rule holds", "no"),
            ("asks", "nothing to act on"),
            ("made", "no"),
            ("stock", "no"),
            ("date", "no"),
            ("cancelled", "no"),
        ],
    );
}

#[test]
fn handing_over_is_all_or_none_and_heeds_stops() {
    let mut bench = bench_with("packed");
    bench.receive_and_plan(&[order("S-2", &["MUG"])]);
    bench.print_all();
    let (one, two) = (bench.parcel("S-1"), bench.parcel("S-2"));
    assert_eq!(
        refused(bench.act(Action::HandedOver { parcels: vec![one, two] })),
        "S-2 is printed; no parcel was moved"
    );
    assert_eq!(refused(bench.act(Action::HandedOver { parcels: vec![] })), "no parcel was named");
    bench.act(Action::Packed { parcel: two });
    bench.act(Action::Hold { order: key("S-2"), reason: "a look".to_owned() });
    assert_eq!(
        refused(bench.act(Action::HandedOver { parcels: vec![one, two] })),
        "S-2 is stopped; no parcel was moved"
    );
    bench.act(Action::Release { order: key("S-2") });
    let said = bench.act(Action::HandedOver { parcels: vec![two, one, two] });
    assert_eq!(said, Answer::Said("2 parcels are handed over".to_owned()));
    bench.act(Action::Unpack { parcel: one });
    bench.act(Action::Cancel { order: key("S-1"), reason: "a wish".to_owned() });
    assert_eq!(refused(bench.act(Action::HandedOver { parcels: vec![one] })), "order S-1 is cancelled");
    assert_eq!(refused(bench.act(Action::Packed { parcel: one })), "order S-1 is cancelled");
}

#[test]
fn what_is_not_there_is_refused() {
    let mut bench = Bench::new();
    let (order, parcel, job) = (key("S-9"), ParcelId(99), JobId(99));
    let reason = String::new;
    for action in [
        Action::Hold { order: order.clone(), reason: reason() },
        Action::Release { order: order.clone() },
        Action::Cancel { order: order.clone(), reason: reason() },
        Action::Ready { order: order.clone() },
        Action::Replan { order: order.clone() },
        Action::Decide { cause: "unknown-product:GLZ-9".to_owned(), decision: Decision::Retry },
        Action::Packed { parcel },
        Action::Unpack { parcel },
        Action::HandedOver { parcels: vec![parcel] },
        Action::NoSuch { source: SHOP.into(), number: "S-9".to_owned() },
        Action::Reprint { job, reason: reason() },
        Action::Drop { job },
    ] {
        refused(bench.act(action));
    }
    refused(bench.send(job));
    refused(bench.printed(job));
    refused(bench.not_printed(job, BytesLeft::Some));
    refused(bench.run(Command::Planning(order.clone())));
    refused(bench.run(Command::Archived { orders: vec![order], upto: u64::MAX }));
    let message = MessageKey { source: SHOP.into(), id: "m99".to_owned() };
    refused(bench.run(Command::Remapped { message, meaning: Meaning::NotAnOrder, archived: Default::default() }));
}

/// The states in which a slip's job can be.
const JOBS: [&str; 6] = ["queued", "sending", "on paper", "uncertain", "dropped", "late"];

/// A bench with the slip's job in this state; `late`: dropped by a person while in doubt.
fn bench_with_job(state: &str) -> (Bench, JobId) {
    let mut policy = policy();
    policy.uncertain.insert(PaperKind::Slip, WhenUncertain::Ask);
    let mut bench = Bench::with(policy);
    bench.receive_and_plan(&[order("S-1", &["MUG"])]);
    let job = bench.slip("S-1");
    if state == "dropped" {
        bench.act(Action::Drop { job });
    } else if state != "queued" {
        bench.send(job);
    }
    match state {
        "on paper" => {
            bench.printed(job);
        }
        "uncertain" | "late" => {
            bench.not_printed(job, BytesLeft::Some);
            if state == "late" {
                bench.act(Action::Drop { job });
            }
        }
        _ => {}
    }
    (bench, job)
}

#[track_caller]
fn check_job(run: impl Fn(&mut Bench, JobId) -> Answer, expected: [&str; 6]) {
    for (state, expected) in JOBS.iter().zip(expected) {
        let (mut bench, job) = bench_with_job(state);
        let before = bench.state.clone();
        let answer = run(&mut bench, job);
        let got = match answer {
            Answer::Refused { .. } => {
                assert!(bench.state == before, "refused, yet changed: {state}");
                "no".to_owned()
            }
            _ => bench.describe("S-1"),
        };
        assert_eq!(got, expected, "{state}");
    }
}

#[test]
fn only_a_queued_job_may_be_sent() {
    check_job(Bench::send, ["planned: slip sending", "no", "no", "no", "no", "no"]);
}

#[test]
fn paper_is_the_truth_whatever_was_decided_meanwhile() {
    let done = "printed: slip on paper";
    check_job(Bench::printed, ["no", done, done, done, "no", done]);
}

#[test]
fn only_what_is_being_sent_can_fail() {
    let expected = ["no", "planned: slip queued", "no", "no", "no", "no"];
    check_job(|bench, job| bench.not_printed(job, BytesLeft::None), expected);
    let expected = ["no", "planned, needs you uncertain-paper: slip uncertain", "no", "no", "no", "no"];
    check_job(|bench, job| bench.not_printed(job, BytesLeft::Some), expected);
}

#[test]
fn a_reprint_carries_copy_unless_nothing_was_ever_sent() {
    check_job(
        |bench, job| bench.act(Action::Reprint { job, reason: "it got wet".to_owned() }),
        [
            "no",
            "no",
            "printed: slip on paper, slip COPY queued",
            "planned: slip uncertain, slip COPY queued",
            "planned: slip dropped, slip queued",
            "planned: slip dropped, slip COPY queued",
        ],
    );
}

#[test]
fn a_label_prints_beside_the_slip_where_the_service_says_so_or_a_person() {
    let mut policy = policy();
    policy.prints = [("Letter".into(), vec![PaperKind::Label])].into();
    let mut bench = Bench::with(policy);
    bench.receive_and_plan(&[order("S-1", &["MUG"])]);
    let of_parcel = |job: &&Job| job.kind.is_of_parcel();
    let kinds =
        |bench: &Bench| bench.state.jobs.values().filter(of_parcel).map(|job| job.kind.word()).collect::<Vec<_>>();
    assert_eq!(kinds(&bench), ["slip", "label"]);
    // One is not taken for the other: the slip still prints, and only it moves the parcel on.
    let parcel = bench.state.orders[&key("S-1")].parcels[0];
    let label = bench.state.jobs_about(&Subject::Label(parcel))[0].id;
    bench.send(label);
    bench.printed(label);
    assert_eq!(bench.state.parcels[&parcel].stage, Stage::Planned);
    let wanted = |kind| Action::PrintBesideSlip { parcel, kind };
    assert!(matches!(bench.act(wanted(PaperKind::Customs)), Answer::Queued(_)));
    assert!(matches!(bench.act(wanted(PaperKind::Customs)), Answer::Refused { .. }), "one waits already");
    assert!(matches!(bench.act(wanted(PaperKind::Label)), Answer::Queued(_)));
    assert!(matches!(bench.act(wanted(PaperKind::PickList)), Answer::Refused { .. }));
    assert_eq!(kinds(&bench), ["slip", "label", "customs sheet", "label"]);
    bench.act(Action::Hold { order: key("S-1"), reason: "paid late".to_owned() });
    assert!(bench.state.jobs_about(&Subject::Customs(parcel)).iter().all(|job| job.state.word() == "dropped"));
    assert!(matches!(bench.act(wanted(PaperKind::Customs)), Answer::Refused { .. }), "a stopped order");
}

#[test]
fn what_waits_or_is_in_doubt_can_be_taken_out() {
    check_job(
        |bench, job| bench.act(Action::Drop { job }),
        ["planned: slip dropped", "no", "no", "planned: slip dropped", "no", "no"],
    );
}

#[test]
fn every_cause_has_an_answer_to_every_decision() {
    use Decision as D;
    let decisions = [D::Retry, D::GoOn, D::Cancel, D::TakeNew, D::KeepOld, D::OnPaper, D::Copy];
    // What the order looks like afterwards; `no` where the decision is refused. Messages have no order (`-`).
    let table: &[(&str, [&str; 7])] = &[
        (
            "unknown-product:GLZ-9",
            ["received, asked, needs you unknown-product", "no", "received, cancelled", "no", "no", "no", "no"],
        ),
        (
            "incomplete-product:BARE",
            ["received, asked, needs you incomplete-product", "no", "received, cancelled", "no", "no", "no", "no"],
        ),
        (
            "nothing-fits:shop/S-1",
            ["received, asked, needs you nothing-fits", "no", "received, cancelled", "no", "no", "no", "no"],
        ),
        (
            "no-service:shop/S-1",
            ["received, asked, needs you no-service", "no", "received, cancelled", "no", "no", "no", "no"],
        ),
        (
            "rule:ask:shop/S-1",
            ["planned, asked, needs you rule", "planned: slip queued", "planned, cancelled", "no", "no", "no", "no"],
        ),
        (
            "rule-failed:fail",
            [
                "planned, asked, needs you rule-failed",
                "planned: slip queued",
                "planned, cancelled",
                "no",
                "no",
                "no",
                "no",
            ],
        ),
        (
            "no-address:shop/S-1",
            ["received, needs you no-address", "received, asked", "received, cancelled", "no", "no", "no", "no"],
        ),
        (
            "unknown-country:shop/S-1",
            ["received, needs you unknown-country", "received, asked", "received, cancelled", "no", "no", "no", "no"],
        ),
        (
            "no-name:shop/S-1",
            ["received, needs you no-name", "received, asked", "received, cancelled", "no", "no", "no", "no"],
        ),
        (
            "odd-characters:shop/S-1",
            ["received, needs you odd-characters", "received, asked", "received, cancelled", "no", "no", "no", "no"],
        ),
        (
            "bad-quantity:shop/S-1",
            ["received, needs you bad-quantity", "no", "received, cancelled", "no", "no", "no", "no"],
        ),
        ("no-goods:shop/S-1", ["received, needs you no-goods", "no", "received, cancelled", "no", "no", "no", "no"]),
        ("unmappable:shop/u1", ["-", "no", "-", "no", "no", "no", "no"]),
        ("message-changed:shop/u2~d2", ["-", "no", "no", "-", "-", "no", "no"]),
        (
            "same-revision:shop/S-1",
            [
                "no",
                "no",
                "planned, cancelled: slip dropped",
                "planned, asked: slip dropped",
                "planned: slip dropped, slip queued",
                "no",
                "no",
            ],
        ),
        (
            "after-printing:shop/S-1",
            [
                "no",
                "packed: slip on paper, change note queued",
                "packed, cancelled: slip on paper, change note dropped, stop note queued",
                "no",
                "no",
                "no",
                "no",
            ],
        ),
        (
            "uncancelled:shop/S-1",
            [
                "no",
                "printed: slip on paper, stop note dropped, change note queued",
                "printed, cancelled: slip on paper, stop note queued",
                "printed: slip on paper, stop note dropped, change note queued",
                "printed, cancelled: slip on paper, stop note queued",
                "no",
                "no",
            ],
        ),
        ("stopped-program:shop/S-1", ["received, asked", "no", "received, cancelled", "no", "no", "no", "no"]),
        (
            "uncertain-paper:2",
            ["no", "no", "no", "no", "no", "printed: slip on paper", "planned: slip uncertain, slip COPY queued"],
        ),
        ("never-came:shop/S-1", ["no", "-", "-", "no", "no", "no", "no"]),
    ];
    let mut wrong = Vec::new();
    for (cause, expected) in table {
        for (decision, expected) in decisions.into_iter().zip(expected) {
            let mut bench = bench_asking(cause);
            assert!(
                questions(&bench.state).iter().any(|q| q.cause == *cause),
                "{cause} is not asked: {:?}",
                questions(&bench.state)
            );
            let before = bench.state.clone();
            let got = match bench.decide(cause, decision) {
                Answer::Refused { .. } => {
                    assert!(bench.state == before, "refused, yet changed: {cause}");
                    "no".to_owned()
                }
                _ => bench.describe("S-1"),
            };
            if got != *expected {
                wrong.push(format!("{cause} {}: {got}, not {expected}", decision.word()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A bench on which exactly this is asked.
fn bench_asking(cause: &str) -> Bench {
    let mut bench = Bench::new();
    let (head, _) = cause.split_once(':').unwrap();
    let sku = match head {
        "unknown-product" => "GLZ-9",
        "incomplete-product" => "BARE",
        "nothing-fits" => "HUGE",
        "no-service" => "FAR",
        "rule" => "ASK",
        "rule-failed" => "FAIL",
        _ => "MUG",
    };
    let first = revision(order("S-1", &[sku]), 1);
    let flaw = FLAW_KINDS.into_iter().find(|kind| Cause::Flaw(key("S-1"), *kind).to_string() == cause);
    match head {
        "unmappable" => {
            let meaning = Meaning::Unmappable { reason: "no number".to_owned(), pointer: "/number".to_owned() };
            bench.message("u1", "d1", meaning);
        }
        "message-changed" => {
            bench.message("u2", "d1", Meaning::NotAnOrder);
            bench.message("u2", "d2", Meaning::NotAnOrder);
        }
        "same-revision" => {
            bench.receive_and_plan(&[first]);
            bench.receive(&[revision(order("S-1", &["JUG"]), 1)]);
        }
        "after-printing" => {
            bench.receive_and_plan(&[first]);
            bench.print_all();
            let parcel = bench.parcel("S-1");
            bench.act(Action::Packed { parcel });
            bench.receive(&[revision(order("S-1", &["JUG"]), 2)]);
        }
        "uncancelled" => {
            bench.receive_and_plan(std::slice::from_ref(&first));
            bench.print_all();
            bench.receive(&[revision(cancelled(first.clone()), 2)]);
            bench.receive(&[revision(first, 3)]);
        }
        "stopped-program" => {
            bench.receive(&[first]);
            for _ in 0..3 {
                bench.run(Command::Started { last_alive: Some(bench.now), clean: false });
            }
        }
        "uncertain-paper" => {
            let mut ask = policy();
            ask.uncertain.insert(PaperKind::Slip, WhenUncertain::Ask);
            bench = Bench::with(ask);
            bench.receive_and_plan(&[first]);
            let job = bench.slip("S-1");
            bench.send(job);
            bench.not_printed(job, BytesLeft::Some);
        }
        "never-came" => {
            let mut gapless = policy();
            gapless.gapless.insert(SHOP.into(), "S-".to_owned());
            bench = Bench::with(gapless);
            bench.receive(&[order("S-0", &["MUG"]), order("S-2", &["MUG"])]);
        }
        _ => match flaw {
            Some(kind) => {
                bench.receive(&[flawed(first, kind)]);
            }
            None => bench.receive_and_plan(&[first]),
        },
    }
    bench
}
