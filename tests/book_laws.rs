//! What holds whatever happens: random messages, plans, printers, people, clocks and stops
//! of the program, in any order. [`Bench::run`] checks every step (fold, snapshot, papers).

mod book_bench;

use book_bench::*;
use dawnslip::book::{Action, *};
use dawnslip::model::*;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// One random happening; the figures choose among what there is.
#[derive(Debug, Clone)]
enum Event {
    Message { id: u8, number: u8, sku: usize, revision: Option<u64>, cancelled: bool, flaw: Option<usize>, whose: u8 },
    Unmappable { id: u8 },
    Remap { nth: usize, number: u8, sku: usize },
    Plan { stale: bool },
    Send,
    SendSome { job: u8 },
    Printed { job: u8 },
    NotPrinted { job: u8, left: bool },
    Finish { how: u8 },
    Time { seconds: i32 },
    Restart { clean: bool },
    Adopt { digest: bool, ask: bool, late: bool },
    Order { action: u8, number: u8 },
    Parcel { action: u8, nth: usize },
    Job { reprint: bool, job: u8 },
    Decide { nth: usize, decision: usize },
    Bench { action: u8 },
    Archive { all: bool },
}

const SKUS: [&str; 14] = [
    "MUG", "MUG", "JUG", "TEAPOT", "CARD", "GLZ-9", "HUGE", "ASK", "FAIL", "MADE", "HOLD", "LATER", "VOUCHER", "URGENT",
];

fn event() -> impl Strategy<Value = Event> {
    use Event::*;
    let flaw = prop::option::weighted(0.1, 0..FLAW_KINDS.len());
    let revision = prop::option::weighted(0.7, 0..6u64);
    let message = (any::<u8>(), 0..6u8, 0..SKUS.len(), revision, prop::bool::weighted(0.2), flaw, 0..12u8);
    prop_oneof![
        6 => message.prop_map(|(id, number, sku, revision, cancelled, flaw, whose)| {
            Message { id, number, sku, revision, cancelled, flaw, whose }
        }),
        1 => any::<u8>().prop_map(|id| Unmappable { id }),
        1 => (any::<usize>(), 0..6u8, 0..SKUS.len()).prop_map(|(nth, number, sku)| Remap { nth, number, sku }),
        8 => prop::bool::weighted(0.1).prop_map(|stale| Plan { stale }),
        6 => Just(Send),
        1 => (0..40u8).prop_map(|job| SendSome { job }),
        2 => (0..40u8).prop_map(|job| Printed { job }),
        2 => (0..40u8, any::<bool>()).prop_map(|(job, left)| NotPrinted { job, left }),
        6 => any::<u8>().prop_map(|how| Finish { how }),
        3 => prop_oneof![-90_000..200_000i32, 0..60i32].prop_map(|seconds| Time { seconds }),
        1 => any::<bool>().prop_map(|clean| Restart { clean }),
        1 => (any::<bool>(), any::<bool>(), any::<bool>()).prop_map(|(digest, ask, late)| Adopt { digest, ask, late }),
        5 => (0..7u8, 0..7u8).prop_map(|(action, number)| Order { action, number }),
        4 => (0..3u8, any::<usize>()).prop_map(|(action, nth)| Parcel { action, nth }),
        2 => (any::<bool>(), 0..40u8).prop_map(|(reprint, job)| Job { reprint, job }),
        4 => (any::<usize>(), 0..Decision::WORDS.len()).prop_map(|(nth, decision)| Decide { nth, decision }),
        2 => (0..4u8).prop_map(|action| Bench { action }),
        1 => any::<bool>().prop_map(|all| Archive { all }),
    ]
}

fn nth<T: Clone>(all: impl Iterator<Item = T>, nth: usize) -> Option<T> {
    let all: Vec<T> = all.collect();
    (!all.is_empty()).then(|| all[nth % all.len()].clone())
}

fn random_policy(ask: bool, late: bool) -> Policy {
    let mut policy = policy();
    policy.gapless.insert(SHOP.into(), "S-".to_owned());
    policy.join = true;
    if ask {
        policy.uncertain = PaperKind::ALL.map(|kind| (kind, WhenUncertain::Ask)).into();
    }
    if late {
        policy.print.insert(SHOP.into(), PrintWhen::WhenPackingStarts);
    }
    policy
}

fn happen(bench: &mut Bench, event: Event) {
    match event {
        Event::Message { id, number, sku, revision, cancelled, flaw, whose } => {
            let mut order = order(&format!("S-{number}"), &[SKUS[sku]]);
            order.revision = revision.map(Revision::Number);
            order.cancelled = cancelled;
            // Most are of one customer; some of another, some by another e-mail, some not to be joined.
            order.customer.name = if whose == 0 { "c2" } else { "c1" }.to_owned();
            order.customer.email = ["", "e1", "e2"].get(usize::from(whose)).copied().unwrap_or_default().to_owned();
            order.separate = whose == 3;
            order.gift = whose == 4;
            order.requested_service = (whose == 5).then(|| "Express".into());
            order.content_digest += &whose.to_string();
            if let Some(kind) = flaw {
                order = flawed(order, FLAW_KINDS[kind]);
            }
            let body = format!("{number} {sku} {revision:?} {cancelled} {flaw:?} {whose}");
            let first = bench.message(&format!("m{id}"), &body, Meaning::Orders(vec![(order, Person::default())]));
            let seq = bench.state.seq;
            let again = bench.message(&format!("m{id}"), &body, Meaning::NotAnOrder);
            let (Answer::Kept { outcome, .. }, Answer::Kept { outcome: same, novelty }) = (first, again) else {
                panic!("a message is always kept")
            };
            assert!(outcome == same && novelty == Novelty::Known && bench.state.seq == seq, "answered alike");
        }
        Event::Unmappable { id } => {
            let meaning = Meaning::Unmappable { reason: "no".to_owned(), pointer: String::new() };
            bench.message(&format!("m{id}"), "unmappable", meaning);
        }
        Event::Remap { nth: which, number, sku } => {
            let messages = bench
                .state
                .messages
                .iter()
                .flat_map(|(source, of)| of.keys().map(|id| MessageKey { source: source.clone(), id: id.clone() }));
            if let Some(message) = nth(messages, which) {
                let order = order(&format!("S-{number}"), &[SKUS[sku]]);
                bench.run(Command::Remapped {
                    message,
                    meaning: Meaning::Orders(vec![(order, Person::default())]),
                    archived: Default::default(),
                });
            }
        }
        Event::Plan { stale } => {
            if bench.to_plan.is_empty() {
                return;
            }
            let (order, mut pins) = bench.to_plan.remove(0);
            if stale {
                pins.order_version += 1;
            }
            if bench.holds_all(&order, &pins) {
                let plan = plan(&bench.state, &order, pins);
                bench.run(Command::Planned(Box::new(plan)));
            }
        }
        Event::Send => {
            if let Some(job) = bench.next() {
                assert_eq!(bench.send(job), Answer::Go, "what is queued may be sent");
            }
        }
        Event::SendSome { job } => {
            bench.send(JobId(job.into()));
        }
        Event::Printed { job } => {
            bench.printed(JobId(job.into()));
        }
        Event::NotPrinted { job, left } => {
            let left = if left { BytesLeft::Some } else { BytesLeft::None };
            bench.not_printed(JobId(job.into()), left);
        }
        Event::Finish { how } => {
            let sending = bench.state.jobs.values().find(|job| matches!(job.state, JobState::Sending { .. }));
            let Some(job) = sending.map(|job| job.id) else { return };
            match how % 4 {
                0 => bench.not_printed(job, BytesLeft::None),
                1 => bench.not_printed(job, BytesLeft::Some),
                _ => bench.printed(job),
            };
        }
        Event::Time { seconds } => {
            bench.later(seconds.into());
            bench.tick();
        }
        Event::Restart { clean } => {
            bench.to_plan.clear();
            bench.run(Command::Started { last_alive: Some(bench.now), clean });
            let sending = |job: &dawnslip::model::Job| matches!(job.state, JobState::Sending { .. });
            assert!(!bench.state.jobs.values().any(sending), "nothing is being sent after a start");
        }
        Event::Adopt { digest, ask, late } => {
            bench.adopt(if digest { "c2" } else { "c1" }, random_policy(ask, late));
        }
        Event::Order { action, number } => {
            let order = key(&format!("S-{number}"));
            let reason = "so it is".to_owned();
            bench.act(match action {
                0 => Action::Hold { order, reason },
                1 => Action::Release { order },
                2 => Action::Cancel { order, reason },
                3 => Action::Ready { order },
                4 => Action::KeepApart { order, apart: true },
                5 => Action::KeepApart { order, apart: false },
                _ => Action::Replan { order },
            });
        }
        Event::Parcel { action, nth: which } => {
            let Some(parcel) = nth(bench.state.parcels.keys().copied(), which) else { return };
            bench.act(match action {
                0 => Action::Packed { parcel },
                1 => Action::Unpack { parcel },
                _ => Action::HandedOver { parcels: vec![parcel] },
            });
        }
        Event::Job { reprint, job } => {
            let job = JobId(job.into());
            let reason = "it got wet".to_owned();
            bench.act(if reprint { Action::Reprint { job, reason } } else { Action::Drop { job } });
        }
        Event::Decide { nth: which, decision } => {
            if let Some(question) = nth(questions(&bench.state).into_iter(), which) {
                bench.decide(&question.cause, Decision::WORDS[decision].1);
            }
        }
        Event::Bench { action } => {
            bench.act(match action {
                0 => Action::ListNow,
                1 => Action::TestPage,
                2 => Action::StartPacking,
                _ => Action::NoSuch { source: SHOP.into(), number: "S-3".to_owned() },
            });
        }
        Event::Archive { all } => {
            let orders = match all {
                true => bench.state.orders.keys().cloned().collect(),
                false => bench.state.closed_longer_than(bench.now),
            };
            let upto = bench.state.seq;
            bench.run(Command::Archived { orders, upto });
        }
    }
}

/// Where papers of an order may be out, its parcels stay what they are.
fn printed_parcels(state: &State) -> BTreeMap<OrderKey, Vec<ParcelId>> {
    let out = state.orders.iter().filter(|(key, _)| state.paper_out(key));
    out.map(|(key, entry)| (key.clone(), entry.parcels.clone())).collect()
}

proptest! {
    // More cases: PROPTEST_CASES=5000 cargo test --test book_laws
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_happens_the_fold_holds_and_no_order_is_forgotten(events in prop::collection::vec(event(), 1..90)) {
        let mut bench = Bench::empty();
        bench.adopt("c1", random_policy(false, false));
        let mut lists = BTreeSet::new();
        for event in events {
            let before = printed_parcels(&bench.state);
            let received: BTreeSet<OrderKey> = bench.state.orders.keys().cloned().collect();
            let from = bench.history.len();
            let by_schedule = !matches!(event, Event::Job { .. });
            happen(&mut bench, event);
            let after = printed_parcels(&bench.state);
            for (key, parcels) in &before {
                prop_assert!(after.get(key).is_none_or(|now| now == parcels), "{key} was planned anew after printing");
            }
            for fact in facts(&bench.history[from..]) {
                if let Fact::JobQueued { subject: Subject::List { date, extra: 0 }, copy: None, .. } = fact
                    && by_schedule
                {
                    prop_assert!(lists.insert(date), "the list of {date} twice");
                }
            }
            let archived = facts(&bench.history[from..]).into_iter().any(|fact| matches!(fact, Fact::Archived { .. }));
            if !archived {
                let held: BTreeSet<OrderKey> = bench.state.orders.keys().cloned().collect();
                prop_assert!(received.is_subset(&held), "an order vanished");
            }
        }

        // A quiet ending: every product is known, the planner answers, the printer prints.
        bench.adopt("c2", random_policy(false, false));
        bench.run(Command::Started { last_alive: None, clean: true });
        bench.later(400_000);
        for _ in 0..4 {
            bench.tick();
            bench.plan();
            bench.act(Action::StartPacking);
            bench.print_all();
        }
        for (key, entry) in &bench.state.orders {
            let told = bench.describe(&key.number);
            prop_assert!(entry.asked.is_none() || !entry.stops.is_empty(), "{key} waits for the planner: {told}");
            if entry.cancelled.is_some() || !entry.stops.is_empty() {
                continue;
            }
            prop_assert!(!entry.parcels.is_empty(), "{key} has neither a parcel nor a question: {told}");
            for (id, parcel) in bench.state.parcels_of(entry) {
                // What shares its parcel with an order that is stopped waits with it.
                if parcel.orders.iter().any(|key| !bench.state.orders[key].stops.is_empty()) {
                    continue;
                }
                let declined = entry.declined.contains(&Subject::Parcel(id));
                prop_assert!(parcel.stage >= Stage::Printed || declined, "{key} has no slip and no reason: {told}");
            }
        }
        for (key, entry) in &bench.state.orders {
            let stays = entry.parcels.iter().any(|id| bench.state.parcels[id].stage < Stage::HandedOver);
            if entry.cancelled.is_some() && entry.stops.is_empty() && stays && bench.state.paper_out(key) {
                let jobs = entry.note_jobs.iter().map(|id| &bench.state.jobs[id]);
                let stopped = jobs.filter(|job| job.kind == PaperKind::StopNote).count();
                prop_assert!(stopped > 0, "{key} is cancelled, its slip is out, and no stop note tells: {}", bench.describe(&key.number));
            }
        }
    }
}
