//! The written form of every record: `cases/records_v1.ndjson` holds one example of each. A
//! released form must stay readable for ever, so lines of that file are only ever added.

use dawnslip::book::*;
use dawnslip::ledger::{self, RecordError, Tag, record};
use dawnslip::model::{Line as OrderLine, *};
use jiff::Timestamp;
use jiff::civil::{date, time};
use std::collections::{BTreeMap, BTreeSet};

const WRITTEN: &str = include_str!("cases/records_v1.ndjson");

fn at() -> Timestamp {
    "2026-11-25T06:41:00.123456789Z".parse().unwrap()
}
fn key() -> OrderKey {
    OrderKey::new("shop", "S-417")
}
fn message() -> MessageKey {
    MessageKey { source: "shop".into(), id: "msg-0417".into() }
}
fn eur(minor: i64) -> Money {
    Money::new(minor, Currency::EUR)
}
fn pins() -> Pins {
    Pins {
        order_version: 2,
        revision: Some(Revision::Number(7)),
        config: ConfigDigest::new("c0ffee"),
        stock: 5,
        hand_over: date(2026, 11, 26),
        too_late: Default::default(),
        joined: Vec::new(),
    }
}

fn an_order() -> Box<Order> {
    Box::new(Order {
        key: key(),
        revision: Some(Revision::At(at())),
        placed: Some(at()),
        lines: vec![OrderLine {
            sku: "MUG-1".into(),
            name: "Mug, tide grey".into(),
            quantity: 2,
            unit_price: Some(eur(2800)),
        }],
        destination: Destination {
            country: "QS".parse().ok(),
            postcode_head: "SK17A".into(),
            address_hash: "00112233445566778899aabbccddeeff".into(),
            post_box: false,
        },
        gift: true,
        hide_buyer: false,
        requested_service: Some("Letter".into()),
        total: Some(eur(5600)),
        cancelled: false,
        not_before: Some(date(2026, 12, 1)),
        has_wish: true,
        separate: false,
        customer: CustomerMarks::default(),
        flaws: vec![Flaw {
            kind: FlawKind::NoAddress,
            pointer: "/customer/address".into(),
            detail: "the address has no house number".into(),
        }],
        content_digest: "ab12".into(),
    })
}

fn a_plan() -> Box<Plan> {
    let parcel = PlannedParcel {
        container: "Medium".into(),
        inside: Some("Skipper".into()),
        thick_at_most: None,
        service: "Road".into(),
        zone: "Middle".into(),
        contents: vec![Content {
            sku: "MUG-1".into(),
            quantity: 2,
            batch: Some("2611".into()),
            line: Some(0),
            order: 0,
        }],
        weight: Weight::from_g(1840),
        tolerance: Weight::from_g(60),
        cost: CostParts { postage: eur(640), surcharges: eur(0), container: eur(62), supplies: eur(18), labour: None },
        supplies: vec![SupplyUse { supply: "paper tape".into(), amount: 1_200_000_000 }],
        surcharged: Vec::new(),
        counts_as: None,
        foreign: None,
        placement: vec![Placed { content: 0, at: [0, 0, 10], size: [120, 90, 95] }],
        inner_mm: [300, 200, 150],
        notes: vec!["mugs upside down".into()],
        cautions: vec![Caution::Said("fragile".into())],
        cards: vec!["mugs".into()],
        printer: None,
    };
    Box::new(Plan {
        order: key(),
        pins: pins(),
        parcels: vec![parcel],
        cost: Some(eur(720)),
        verdict: Verdict::BestFound { least_possible: eur(700) },
        questions: vec![question()],
        waits: vec![
            Wait::Rule { rule: "glaze dries".into(), reason: "fired today".into() },
            Wait::MadeToOrder("TEAPOT".into()),
            Wait::Date(date(2026, 12, 1)),
            Wait::Stock { sku: "MUG-1".into(), missing: 3 },
        ],
        alternatives: vec![Alternative {
            what: "Small by Letter".into(),
            cost: None,
            parts: None,
            why: "takes up to 1 kg, this weighs 1.84 kg".into(),
            next_best: None,
        }],
        what_would_change: vec!["110 g less would cost 6.90 (the step below)".into()],
        rules: vec!["samples".into()],
        urgent: true,
        instead: None,
        joined: Vec::new(),
        joined_saves: None,
    })
}

/// After the hour of a service.
fn late_pins() -> Pins {
    Pins { too_late: BTreeSet::from(["Road".into()]), ..pins() }
}

/// A plan that took the place of another and waits for the next day.
fn a_second_plan() -> Box<Plan> {
    let instead = Instead {
        before: vec!["Medium by Road".into()],
        now: Vec::new(),
        cost_before: Some(eur(720)),
        cost_now: None,
        why: vec!["Medium has run out".into()],
    };
    let wait = Wait::Service { until: date(2026, 11, 27), why: "all are taken on Thursday".into() };
    let first = *a_plan();
    let elsewhere = PlannedParcel { printer: Some("bench 2".into()), ..first.parcels[0].clone() };
    Box::new(Plan {
        pins: late_pins(),
        parcels: vec![elsewhere],
        cost: None,
        verdict: Verdict::Nothing,
        waits: vec![wait],
        instead: Some(instead),
        ..first
    })
}

/// A plan whose service counts in another currency, with its labour.
fn a_foreign_plan() -> Box<Plan> {
    let mut plan = a_plan();
    let pounds = "5.47 GBP".parse::<Money>().unwrap();
    let rate = Rate::read(pounds.currency, "1.17 EUR, 20 November 2026").unwrap();
    plan.parcels[0].foreign = Some(Foreign { amount: pounds, rate });
    plan.parcels[0].cost.labour = Some(LabourCost { amount: eur(160), weighed: false });
    plan
}

/// Cautions and every detail of a question.
fn a_plan_with_cautions() -> Box<Plan> {
    let mut plan = a_plan();
    plan.parcels[0].cautions = vec![
        Caution::Fragile { product: "Teapot".into() },
        Caution::Danger { product: "Lacquer".into(), danger: "flammable".into() },
        Caution::Contains { product: "Tea".into(), allergens: vec!["nuts".into()] },
        Caution::Heavy { above: Weight::from_g(23_000) },
        Caution::DearerAbove { ends: Weight::from_g(640), more: eur(160) },
        Caution::TooHeavyAbove { ends: Weight::from_g(1_000), service: "Letter".into() },
        Caution::Customs { missing: vec![CustomsGap { product: "Tea".into(), facts: true, value: false }] },
    ];
    let details = [
        Detail::Lacks { product: "Teapot".into(), size: true, weight: false },
        Detail::TooLarge { product: "Teapot".into() },
        Detail::TooMany { pieces: 612, most: 500 },
        Detail::Wish("Express".into()),
        Detail::Rule("is it glazed?".into()),
        Detail::Conflict,
        Detail::CancelledAfterHandOver(2),
        Detail::ChangedAfterHandOver,
        Detail::ChangedAfterPacking,
        Detail::CameAfterForgetting,
    ];
    plan.questions = details.map(|detail| Question { detail: Some(detail), ..question() }).into();
    plan
}

fn question() -> Question {
    Question {
        cause: Cause::UnknownProduct("GLZ-9".into()),
        what: "the product GLZ-9 is unknown".into(),
        remedy: "add it to products.toml".into(),
        detail: None,
    }
}

fn a_policy() -> Box<Policy> {
    Box::new(Policy {
        zone: "Europe/Dublin".into(),
        pick_list_at: time(7, 0, 0, 0),
        closed_weekdays: BTreeSet::from([6, 7]),
        closed_dates: BTreeSet::from([date(2026, 12, 25)]),
        parcels_a_day: 60,
        burst_orders: 12,
        burst_seconds: 300,
        gapless: BTreeMap::from([("shop".into(), "S-".into())]),
        print: BTreeMap::from([("shop".into(), PrintWhen::WhenPackingStarts)]),
        uncertain: BTreeMap::from([(PaperKind::Card, WhenUncertain::Ask)]),
        uncertain_at: BTreeMap::new(),
        shop_printers: BTreeMap::new(),
        prints: BTreeMap::new(),
        latest: BTreeMap::new(),
        join: false,
        archive_after_days: 14,
    })
}

fn facts() -> Vec<Fact> {
    let (order, source, job, parcel) = (key(), SourceName::from("shop"), JobId(88), ParcelId(17));
    let held = StopKind::Held { reason: "gift comes later".into(), rule: Some("gifts".into()) };
    let digest = ConfigDigest::new("c0ffee");
    vec![
        Fact::MessageKept {
            message: message(),
            body_digest: "d1".into(),
            outcome: MessageOutcome::Orders(vec![key()]),
        },
        Fact::OrderReceived { order: an_order(), message: message() },
        Fact::OrderRevised {
            order: an_order(),
            version: 2,
            message: message(),
            differences: vec![Difference::Said("2 x MUG-1, was 1".into())],
        },
        Fact::OrderStale { order: order.clone(), revision: Some(Revision::Number(1)) },
        Fact::OrderContradicted { order: an_order(), version: 3 },
        Fact::CancellationRemembered { order: order.clone(), revision: Some(Revision::Number(2)) },
        Fact::OrderCancelled { order: order.clone(), by: Actor::Shop, reason: "changed their mind".into() },
        Fact::OrderReopened { order: order.clone(), by: Actor::Person },
        Fact::PlanAsked { order: order.clone(), pins: pins(), anew: false },
        Fact::PlanStarted { order: order.clone() },
        Fact::Planned { plan: a_plan(), parcels: vec![parcel] },
        Fact::PlanRefused { order: order.clone(), why: "the order changed meanwhile".into() },
        Fact::StopPut { order: Some(order.clone()), stop: StopKind::NeedsYou(question()) },
        Fact::StopLifted { order: None, stop: held, by: Actor::Person },
        Fact::Decided { cause: "unknown-product:GLZ-9".into(), decision: Decision::Retry },
        Fact::ParcelMoved { parcel, from: Stage::Printed, to: Stage::Packed, by: Actor::Person },
        Fact::JobQueued {
            job,
            kind: PaperKind::Card,
            subject: Subject::Card(parcel, "mugs".into()),
            copy: Some(CopyMark { of: JobId(87), at: at(), why: "the printer went silent".into() }),
            rank: 4,
        },
        Fact::JobSending { job, printer: "bench".into(), digest: "b17e".into(), rows: None },
        Fact::JobRequeued { job, why: "no connection".into() },
        Fact::JobUncertain { job, why: "the printer went silent".into() },
        Fact::JobOnPaper { job, by: Confirmation::ProcessId },
        Fact::JobDropped { job, why: "the order was cancelled".into(), by: Actor::Program },
        Fact::GapSeen { source: source.clone(), number: "S-447".into(), between: ("S-446".into(), "S-448".into()) },
        Fact::GapClosed { source, number: "S-447".into(), by: Actor::Person },
        Fact::ConfigAdopted {
            digest,
            policy: a_policy(),
            files: BTreeMap::from([("workshop.toml".into(), "name = \"Tern & Thistle\"\n".into())]),
        },
        Fact::Started { off_since: Some(at()), clean: false },
        Fact::ModeChanged { mode: Mode::Burst, held: false },
        Fact::PackingStarted { by: Actor::Program },
        Fact::Swept { before: at() },
        Fact::Archived { orders: vec![order.clone()] },
        Fact::ProgramChanged { from: None, to: "0.1.0".into() },
        Fact::Forgotten { order: order.clone(), by: Actor::Person },
        Fact::Erased { order, lines: 3, receipt: "5e7a".into() },
        Fact::RetentionBegun { before: at() },
        Fact::RetentionDone { before: at(), orders: 12, lines: 24 },
        Fact::RecordsLost { from: 4, to: 9 },
        Fact::Repaired {
            lost: vec![LostRecords { from: 4, to: 9, after: Some(at()), before: None, open_work: true }],
            kept_in: "damaged-2026-11-25".into(),
        },
        Fact::Restored { made: at() },
        Fact::Planned { plan: a_foreign_plan(), parcels: vec![parcel] },
        Fact::PlanAsked { order: key(), pins: late_pins(), anew: true },
        Fact::Planned { plan: a_second_plan(), parcels: vec![parcel] },
        Fact::ReplanAsked { by: Actor::Person },
        Fact::ConfigAdopted {
            digest: ConfigDigest::new("decade"),
            policy: Box::new(Policy { latest: BTreeMap::from([("Road".into(), time(16, 30, 0, 0))]), ..*a_policy() }),
            files: BTreeMap::new(),
        },
        Fact::OrderRevised {
            order: Box::new(Order { hide_buyer: true, ..*an_order() }),
            version: 3,
            message: message(),
            differences: vec![
                Difference::Added { count: 1, name: "Teapot".into(), sku: "TEAPOT".into() },
                Difference::Count { count: 3, was: 2, name: "Mug".into(), sku: "MUG-1".into() },
                Difference::TakenOut { count: 1, name: "Bowl".into(), sku: "BOWL".into() },
                Difference::Address,
                Difference::Service { now: Some("Road".into()), was: None },
                Difference::Gift(true),
                Difference::NotBefore(Some(date(2026, 12, 1))),
                Difference::Words,
                Difference::OpenAgain,
            ],
        },
        Fact::Planned { plan: a_plan_with_cautions(), parcels: vec![parcel] },
        Fact::JobSending { job, printer: "bench".into(), digest: "b17e".into(), rows: Some(1043) },
        Fact::RollLoaded { printer: "bench".into() },
        Fact::ModeChanged { mode: Mode::Trickle, held: true },
    ]
    .into_iter()
    .chain(joined_facts())
    .collect()
}

/// What is written where orders of one customer travel together.
fn joined_facts() -> [Fact; 11] {
    let other = OrderKey::new("shop", "S-421");
    let pins = Pins { joined: vec![(other.clone(), 1)], ..pins() };
    let marks = CustomerMarks { name: "0f".into(), email: "f0".into() };
    let mut plan = Plan { joined: vec![other.clone()], joined_saves: Some(eur(480)), ..*a_plan() };
    plan.pins = pins.clone();
    plan.parcels[0].contents[0].order = 1;
    [
        Fact::OrderReceived {
            order: Box::new(Order { separate: true, customer: marks, ..*an_order() }),
            message: message(),
        },
        Fact::PlanAsked { order: key(), pins: pins.clone(), anew: false },
        Fact::Planned { plan: Box::new(plan), parcels: vec![ParcelId(18)] },
        Fact::NotJoined {
            order: key(),
            pins: Box::new(pins),
            why: "together it would cost 1.20 more".into(),
            settled: true,
        },
        Fact::Parted { orders: vec![key(), other.clone()], why: "one of the orders has changed".into() },
        Fact::KeptApart { order: other, apart: true },
        Fact::ConfigAdopted {
            digest: ConfigDigest::new("c0ffee"),
            policy: Box::new(Policy { join: true, ..*a_policy() }),
            files: BTreeMap::new(),
        },
        Fact::ConfigAdopted {
            digest: ConfigDigest::new("facade"),
            policy: Box::new(Policy {
                uncertain_at: BTreeMap::from([(
                    "side".into(),
                    BTreeMap::from([(PaperKind::Slip, WhenUncertain::Ask)]),
                )]),
                shop_printers: BTreeMap::from([("fair".into(), "side".into())]),
                ..*a_policy()
            }),
            files: BTreeMap::new(),
        },
        Fact::Planned { plan: a_plan_with_a_runner_up(), parcels: vec![ParcelId(18)] },
        Fact::Planned { plan: a_flat_plan(), parcels: vec![ParcelId(18)] },
        Fact::Planned { plan: a_plan_with_a_mark(), parcels: vec![ParcelId(19)] },
    ]
}

/// A mailer that a service takes for a letter as long as it is flat.
fn a_flat_plan() -> Box<Plan> {
    let mut plan = a_plan();
    let most = Length::from_mm(25);
    let parcel = &mut plan.parcels[0];
    (parcel.container, parcel.inside, parcel.thick_at_most) = ("Mailer".into(), None, Some(most));
    parcel.cautions = vec![Caution::PressFlat { most, service: parcel.service.clone() }];
    plan
}

/// A plan whose parcels go as limited quantities.
fn a_plan_with_a_mark() -> Box<Plan> {
    let mut plan = a_plan();
    let un = || vec!["UN1263".to_owned()];
    plan.parcels[0].cautions = vec![
        Caution::LimitedQuantity { un: un(), mark: Some("diamond".into()) },
        Caution::LimitedQuantity { un: un(), mark: None },
    ];
    plan
}

/// A plan that says what the best of all other sets of parcels is.
fn a_plan_with_a_runner_up() -> Box<Plan> {
    let mut plan = a_plan();
    plan.alternatives = vec![Alternative {
        what: "2 x Small by Road".into(),
        cost: Some(eur(880)),
        parts: None,
        why: "1.60 more: 1 x Mug in each".into(),
        next_best: Some(NextBest::OfAll),
    }];
    plan
}

fn persons() -> Vec<PersonRecord> {
    let person = Person {
        recipient: Hidden::new("Zoë Ångström"),
        buyer: Some(Hidden::new("佐藤 花子")),
        street: vec![Hidden::new("Quay Cottage"), Hidden::new("7 Thrift Lane")],
        locality: Hidden::new("Ternhaven"),
        region: Hidden::new("Middle"),
        postcode: Hidden::new("SK1 7AB"),
        email: Some(Hidden::new("zoe@example.org")),
        phone: Some(Hidden::new("+00 100")),
        wish: Some(Hidden::new("by the back door")),
        gift_message: Some(Hidden::new("For\nyou")),
        language: Some("ja".into()),
    };
    vec![
        PersonRecord::Of { v: 1, order: key(), version: 1, person: Box::new(person) },
        PersonRecord::Raw { v: 1, message: message(), body: Hidden::new("{\"orderNumber\":\"S-417\"}\n") },
        PersonRecord::Said { v: 1, order: key(), at: at(), text: Hidden::new("Zoë calls back on Friday") },
    ]
}

fn samples() -> Vec<Record> {
    let stamp = |(at_index, fact)| Record::Fact(Stamped { v: 1, seq: at_index as u64 + 1, at: at(), fact });
    facts().into_iter().enumerate().map(stamp).chain(persons().into_iter().map(Record::Person)).collect()
}

fn written() -> Vec<ledger::Line> {
    let line = |text: &str| {
        let tag = match &text[..2] {
            "F " => Tag::Fact,
            "P " => Tag::Person,
            other => panic!("a line begins with {other:?}"),
        };
        ledger::Line { tag, json: text[2..].to_owned() }
    };
    WRITTEN.lines().map(line).collect()
}

#[test]
fn every_released_line_is_read_back_to_the_same_value_and_written_identically() {
    let (lines, samples) = (written(), samples());
    assert_eq!(lines.len(), samples.len());
    for (line, sample) in lines.iter().zip(&samples) {
        assert_eq!(&record::from_line(line).unwrap(), sample);
        assert_eq!(record::to_line(sample).unwrap().json, line.json);
    }
}

/// serde names all variants when it meets one that it does not know.
fn variants(err: serde_json::Error) -> BTreeSet<String> {
    let text = err.to_string();
    let names = text.split("expected").nth(1).unwrap_or_else(|| panic!("{text}"));
    names.split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

#[test]
fn no_kind_of_record_is_without_an_example() {
    let mut seen = [BTreeSet::new(), BTreeSet::new()];
    for line in written() {
        let value: serde_json::Value = serde_json::from_str(&line.json).unwrap();
        let (kind, object) = match line.tag {
            Tag::Fact => (0, &value["fact"]),
            Tag::Person => (1, &value),
        };
        seen[kind].insert(object.as_object().unwrap().keys().next().unwrap().clone());
    }
    let of_facts = variants(serde_json::from_str::<Fact>("{\"no such\":{}}").unwrap_err());
    let of_persons = variants(serde_json::from_str::<PersonRecord>("{\"no such\":{}}").unwrap_err());
    assert!(of_facts.len() > 20 && of_persons.len() == 3);
    assert_eq!(seen, [of_facts, of_persons]);
}

#[test]
fn a_record_of_a_newer_version_is_named_and_not_guessed_at() {
    let persons = written().iter().position(|line| line.tag == Tag::Person).unwrap();
    let cases = [
        (0, "record 1 is stored as version 2, the newest known here is 1; use a newer dawnslip"),
        (
            persons,
            "the person of order shop/S-417 is stored as version 2, the newest known here is 1; use a newer dawnslip",
        ),
    ];
    for (at, message) in cases {
        let mut line = written().remove(at);
        line.json = line.json.replacen("\"v\":1", "\"v\":2", 1);
        let err = record::from_line(&line).unwrap_err();
        assert!(matches!(err, RecordError::Version { version: 2, newest: 1, .. }));
        assert_eq!(err.to_string(), message);
    }
}

#[test]
fn what_is_no_record_is_refused_and_a_persons_text_stays_out_of_the_message() {
    for (tag, json) in [
        (Tag::Fact, ""),
        (Tag::Fact, "{\"v\":1}"),
        (Tag::Fact, "{\"v\":1,\"seq\":5,\"at\":\"2026-11-25T07:00:00Z\",\"fact\":{\"nonsense\":{}}}"),
        (Tag::Person, "{\"of\":{\"v\":1,\"order\":\"shop/S-1\",\"version\":\"Zoë Ångström\",\"person\":{}}}"),
        (Tag::Person, "Zoë"),
    ] {
        let err = record::from_line(&ledger::Line { tag, json: json.into() }).unwrap_err();
        assert!(matches!(err, RecordError::Form { .. }), "{err}");
        assert!(!format!("{err} {err:?}").contains("Zoë"), "{err:?}");
    }
}
