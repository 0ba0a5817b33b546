//! A workshop's bench for tests of the book: a state, a clock that is set by hand, and a
//! planner that answers by product. Every step is checked: the fold of its facts from the
//! state before gives the state after, and a snapshot goes on equally.
#![allow(dead_code)] // Each test binary uses its own part.

use dawnslip::book::{Action, *};
use dawnslip::model::*;
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

pub const SHOP: &str = "shop";

pub struct Bench {
    pub state: State,
    pub now: Timestamp,
    pub history: Vec<Record>,
    /// Plans that were asked for and not answered.
    pub to_plan: Vec<(OrderKey, Pins)>,
    pub effects: Vec<Effect>,
    messages: u32,
}

pub fn at(text: &str) -> Timestamp {
    text.parse().expect("an instant")
}

pub fn key(number: &str) -> OrderKey {
    OrderKey::new(SHOP, number)
}

pub fn policy() -> Policy {
    Policy {
        zone: "Europe/Berlin".to_owned(),
        pick_list_at: jiff::civil::time(7, 0, 0, 0),
        closed_weekdays: [7].into(),
        closed_dates: ["2026-12-25".parse().expect("a date")].into(),
        parcels_a_day: 3,
        burst_orders: 5,
        burst_seconds: 600,
        gapless: BTreeMap::new(),
        print: BTreeMap::new(),
        uncertain: BTreeMap::new(),
        uncertain_at: BTreeMap::new(),
        shop_printers: BTreeMap::new(),
        prints: BTreeMap::new(),
        latest: BTreeMap::new(),
        join: false,
        archive_after_days: 7,
    }
}

/// An order of these products, one each; its digest says what it holds.
pub fn order(number: &str, skus: &[&str]) -> Order {
    let lines = skus.iter().map(|sku| Line {
        sku: Sku::from(*sku),
        name: format!("a {}", sku.to_lowercase()),
        quantity: 1,
        unit_price: None,
    });
    let destination = Destination {
        country: "QS".parse().ok(),
        postcode_head: "SK17A".to_owned(),
        address_hash: "a1".to_owned(),
        post_box: false,
    };
    let mut order = Order {
        key: key(number),
        revision: None,
        placed: None,
        lines: lines.collect(),
        destination,
        gift: false,
        hide_buyer: false,
        requested_service: None,
        total: None,
        cancelled: false,
        not_before: None,
        has_wish: false,
        separate: false,
        customer: CustomerMarks::default(),
        flaws: Vec::new(),
        content_digest: String::new(),
    };
    order.content_digest = format!("{:?}", order.lines);
    order
}

pub fn revision(mut order: Order, number: u64) -> Order {
    order.revision = Some(Revision::Number(number));
    order
}

pub fn cancelled(mut order: Order) -> Order {
    order.cancelled = true;
    order
}

impl Bench {
    /// A new order of one parcel comes, is printed, packed and given to the carrier.
    pub fn hand_over(&mut self, order: &Order) -> ParcelId {
        self.receive_and_plan(std::slice::from_ref(order));
        self.print_all();
        let parcel = self.parcel(&order.key.number);
        self.act(Action::Packed { parcel });
        self.act(Action::HandedOver { parcels: vec![parcel] });
        parcel
    }
}

pub fn flawed(mut order: Order, kind: FlawKind) -> Order {
    order.flaws = vec![Flaw { kind, pointer: String::new(), detail: "look at this".to_owned() }];
    order
}

/// An order for which the planner asks each of its questions, by product.
pub fn question_of(sku: &str, key: &OrderKey) -> Option<Cause> {
    Some(match sku {
        "GLZ-9" => Cause::UnknownProduct(Sku::from("GLZ-9")),
        "BARE" => Cause::IncompleteProduct(Sku::from("BARE")),
        "HUGE" => Cause::NothingFits(key.clone()),
        "FAR" => Cause::NoService(key.clone()),
        "ASK" => Cause::Rule("ask".to_owned(), key.clone()),
        "FAIL" => Cause::RuleFailed("fail".to_owned()),
        _ => return None,
    })
}

/// An order of one who has others to the same address.
pub fn of_customer(mut order: Order, name: &str) -> Order {
    order.customer.name = name.to_owned();
    order
}

/// What the planner of these tests answers about several orders: one parcel for all without a JUG,
/// which saves something; with a JUG nothing is gained.
fn plan_together(state: &State, order: &OrderKey, pins: Pins) -> Plan {
    let alone = plan(state, order, Pins { joined: Vec::new(), ..pins.clone() });
    let keys = std::iter::once(order).chain(pins.joined.iter().map(|(key, _)| key));
    let with_jug = |key: &OrderKey| state.orders[key].order.lines.iter().any(|line| line.sku.as_str() == "JUG");
    let joined: Vec<OrderKey> = keys.skip(1).filter(|key| !with_jug(key)).cloned().collect();
    if with_jug(order) || joined.is_empty() {
        let why = vec!["together it would cost 1.00 more".to_owned()];
        return Plan { pins, parcels: Vec::new(), what_would_change: why, ..alone };
    }
    Plan { pins, joined, joined_saves: alone.cost, ..alone }
}

/// What the planner of these tests answers: a parcel in a Small box, two for a TEAPOT, a
/// Medium one for a JUG, on the printer "side" with a SIDE, and by product the questions and waits that there are.
pub fn plan(state: &State, order: &OrderKey, pins: Pins) -> Plan {
    if !pins.joined.is_empty() {
        return plan_together(state, order, pins);
    }
    let entry = &state.orders[order];
    let skus: Vec<&str> = entry.order.lines.iter().map(|line| line.sku.as_str()).collect();
    // The second configuration knows every product, weighs it, and has boxes and services for it.
    let mended = pins.config.as_str() == "c2";
    let causes = skus.iter().filter(|_| !mended).filter_map(|sku| question_of(sku, order));
    let causes: Vec<Cause> = causes.collect();
    let money = Money { minor: 100, currency: "EUR".parse().expect("a currency") };
    let parcel = |container: &str| PlannedParcel {
        container: container.into(),
        inside: None,
        thick_at_most: None,
        service: "Letter".into(),
        zone: String::new(),
        contents: Vec::new(),
        weight: Weight { ng: 1 },
        tolerance: Weight { ng: 1 },
        cost: CostParts { postage: money, surcharges: money, container: money, supplies: money, labour: None },
        supplies: Vec::new(),
        surcharged: Vec::new(),
        counts_as: None,
        foreign: None,
        placement: Vec::new(),
        inner_mm: [0; 3],
        notes: Vec::new(),
        cautions: Vec::new(),
        cards: if skus.contains(&"CARD") { vec!["care".into()] } else { Vec::new() },
        printer: skus.contains(&"SIDE").then(|| "side".into()),
    };
    let hopeless = causes.iter().any(|cause| !matches!(cause, Cause::Rule(..) | Cause::RuleFailed(_)));
    let nothing = hopeless || skus == ["VOUCHER"];
    let container = if skus.contains(&"JUG") { "Medium" } else { "Small" };
    let count = if nothing { 0 } else { 1 + usize::from(skus.contains(&"TEAPOT")) };
    let waits = skus.iter().filter_map(|sku| match *sku {
        "MADE" => Some(Wait::MadeToOrder(Sku::from("MADE"))),
        "OUT" => Some(Wait::Stock { sku: Sku::from("OUT"), missing: 2 }),
        "HOLD" => Some(Wait::Rule { rule: "hold".to_owned(), reason: "a look first".to_owned() }),
        "LATER" => Some(Wait::Date("2026-12-01".parse().expect("a date"))),
        _ => None,
    });
    let questions = causes.into_iter().map(|cause| Question {
        what: format!("about {cause}"),
        remedy: "do something".to_owned(),
        cause,
        detail: None,
    });
    Plan {
        order: order.clone(),
        pins,
        parcels: (0..count).map(|_| parcel(container)).collect(),
        cost: Some(money),
        verdict: Verdict::Proved,
        questions: questions.collect(),
        waits: waits.collect(),
        alternatives: Vec::new(),
        what_would_change: Vec::new(),
        rules: Vec::new(),
        urgent: skus.contains(&"URGENT"),
        instead: None,
        joined: Vec::new(),
        joined_saves: None,
    }
}

impl Bench {
    /// Wednesday, 25 November 2026, half past nine in Berlin; the day's list is on paper.
    pub fn new() -> Self {
        Self::with(policy())
    }

    pub fn with(policy: Policy) -> Self {
        let mut bench = Self::empty();
        bench.run(Command::Started { last_alive: None, clean: true });
        bench.adopt("c1", policy);
        bench.tick();
        bench.print_all();
        bench
    }

    /// Nothing has happened yet.
    pub fn empty() -> Self {
        Self {
            state: State::default(),
            now: at("2026-11-25T08:30:00Z"),
            history: Vec::new(),
            to_plan: Vec::new(),
            effects: Vec::new(),
            messages: 0,
        }
    }

    /// One step, with all that must hold of every step.
    #[track_caller]
    pub fn run(&mut self, command: Command) -> Answer {
        let before = self.state.clone();
        let told = format!("{command:?}");
        let step = step(&mut self.state, command.clone(), self.now);
        let mut folded = before.clone();
        for record in &step.records {
            if let Record::Fact(stamped) = record {
                assert_eq!(stamped.seq, folded.seq + 1, "numbers without gaps: {told}");
                let written = serde_json::to_string(stamped).expect("a fact can be written");
                let read: Stamped = serde_json::from_str(&written).expect("and read again");
                assert_eq!(&read, stamped, "{told}");
                folded.apply(&read);
            }
        }
        assert!(folded == self.state, "the fold gives another state than the step: {told}");
        let snapshot = serde_json::to_string(&before).expect("a state can be written");
        let mut revived: State = serde_json::from_str(&snapshot).expect("and read again");
        assert!(revived == before, "the snapshot differs: {told}");
        let again = dawnslip::book::step(&mut revived, command, self.now);
        assert!(revived == self.state && again.records == step.records, "from the snapshot it goes on differently");
        if matches!(step.answer, Answer::Refused { .. }) {
            let facts = facts(&step.records).into_iter();
            let harmless = |fact: &Fact| {
                matches!(
                    fact,
                    Fact::PlanRefused { .. }
                        | Fact::PlanAsked { .. }
                        | Fact::NotJoined { .. }
                        | Fact::Parted { .. }
                        | Fact::PlanStarted { .. }
                        | Fact::JobDropped { .. }
                        | Fact::Archived { .. }
                )
            };
            assert!(facts.filter(|fact| !harmless(fact)).count() == 0, "refused, and yet something happened: {told}");
        }
        self.look_over(&told);
        self.history.extend(step.records);
        for effect in &step.effects {
            if let Effect::PlanThis { order, pins } = effect {
                self.to_plan.push((order.clone(), pins.clone()));
            }
        }
        self.effects = step.effects;
        step.answer
    }

    /// What holds in every state.
    #[track_caller]
    fn look_over(&self, told: &str) {
        let state = &self.state;
        let queued = state.jobs.values().filter(|job| job.state == JobState::Queued);
        let queued: BTreeSet<(u32, JobId)> = queued.map(|job| (job.rank, job.id)).collect();
        assert_eq!(queued, state.queue, "the queue is what is queued: {told}");
        let mut first = BTreeSet::new();
        for job in state.jobs.values() {
            if job.copy.is_none() && !matches!(job.state, JobState::Dropped { .. }) {
                assert!(first.insert(&job.subject), "two papers about one thing without COPY: {told}");
            }
            if job.state == JobState::Queued && matches!(job.kind, PaperKind::Slip | PaperKind::Card) {
                let order = state.order_of(&job.subject).expect("a queued slip has its order");
                assert!(state.orders[&order].cancelled.is_none(), "queued, though cancelled: {told}");
                let parcel = &state.parcels[&job.subject.parcel().expect("a slip has a parcel")];
                for entry in parcel.orders.iter().map(|key| &state.orders[key]).filter(|it| it.cancelled.is_none()) {
                    assert!(entry.stops.is_empty(), "queued, though stopped: {told}\n{:?}", entry.stops);
                }
            }
        }
        for (id, parcel) in &state.parcels {
            let listed = state.orders.values().filter(|entry| entry.parcels.contains(id));
            let listed: BTreeSet<&OrderKey> = listed.map(|entry| &entry.order.key).collect();
            assert_eq!(listed, parcel.orders.iter().collect(), "those who list it are those it belongs to: {told}");
            self.look_at_joined(parcel, told);
        }
        for (key, entry) in &state.orders {
            for id in &entry.parcels {
                assert!(state.parcels[id].orders.contains(key), "{told}");
            }
            let causes = entry.stops.iter().filter_map(|stop| stop.kind.cause());
            let unique: BTreeSet<&Cause> = causes.clone().collect();
            assert_eq!(unique.len(), causes.count(), "one question twice: {told}");
        }
    }

    /// Until a paper of them is out, only what belongs together shares a parcel.
    #[track_caller]
    fn look_at_joined(&self, parcel: &ParcelEntry, told: &str) {
        let state = &self.state;
        if parcel.orders.len() < 2 || parcel.orders.iter().any(|key| state.paper_out(key)) {
            return;
        }
        let entries: Vec<&OrderEntry> = parcel.orders.iter().map(|key| &state.orders[key]).collect();
        let household = entries[0].order.household();
        for entry in entries {
            let order = &entry.order;
            assert!(household.is_some() && order.household() == household, "another customer's: {told}");
            assert!(!order.separate && !order.gift && !entry.apart, "joined against a wish: {told}");
            assert!(entry.cancelled.is_none() && entry.stops.is_empty(), "joined, though stopped: {told}");
            let (plan, _) = entry.plan.as_ref().expect("a joined order has a plan");
            assert_eq!(plan.version_of(&order.key), Some(entry.version), "joined with an old content: {told}");
            assert!(plan.joined_saves.is_some_and(|saves| saves.minor >= 0), "dearer than apart: {told}");
        }
    }

    #[track_caller]
    pub fn adopt(&mut self, digest: &str, policy: Policy) {
        let files = BTreeMap::from([("workshop.toml".to_owned(), format!("# {digest}"))]);
        self.run(Command::Adopt { digest: ConfigDigest::from(digest), policy: Box::new(policy), files });
    }

    #[track_caller]
    pub fn tick(&mut self) {
        self.run(Command::Tick);
    }

    pub fn later(&mut self, seconds: i64) {
        self.now += jiff::SignedDuration::from_secs(seconds);
    }

    /// A message with these orders; its own id each time.
    #[track_caller]
    pub fn receive(&mut self, orders: &[Order]) -> Answer {
        self.messages += 1;
        let id = format!("m{}", self.messages);
        self.message(&id, "d", Meaning::Orders(orders.iter().map(|o| (o.clone(), Person::default())).collect()))
    }

    #[track_caller]
    pub fn message(&mut self, id: &str, body: &str, meaning: Meaning) -> Answer {
        self.run(Command::Receive(Box::new(Received {
            message: MessageKey { source: SHOP.into(), id: id.to_owned() },
            body_digest: body.to_owned(),
            raw: Hidden::new("{}"),
            meaning,
            archived: BTreeSet::new(),
        })))
    }

    /// The planner answers all that was asked for.
    #[track_caller]
    pub fn plan(&mut self) {
        while !self.to_plan.is_empty() {
            let (order, pins) = self.to_plan.remove(0);
            if self.holds_all(&order, &pins) {
                let plan = plan(&self.state, &order, pins);
                self.run(Command::Planned(Box::new(plan)));
            }
        }
    }

    /// Are all orders of a question to the planner still there? It leaves others unanswered.
    pub fn holds_all(&self, order: &OrderKey, pins: &Pins) -> bool {
        let mut keys = std::iter::once(order).chain(pins.joined.iter().map(|(key, _)| key));
        keys.all(|key| self.state.orders.contains_key(key))
    }

    #[track_caller]
    pub fn receive_and_plan(&mut self, orders: &[Order]) {
        self.receive(orders);
        self.plan();
    }

    #[track_caller]
    pub fn act(&mut self, action: Action) -> Answer {
        let answer = self.run(Command::Person(action));
        if let Answer::Refused { why, remedy } = &answer {
            assert!(!why.is_empty() && !remedy.is_empty(), "a refusal says why and what to do");
        }
        answer
    }

    #[track_caller]
    pub fn decide(&mut self, cause: &str, decision: Decision) -> Answer {
        self.act(Action::Decide { cause: cause.to_owned(), decision })
    }

    pub fn next(&self) -> Option<JobId> {
        self.state.next_job(|_| true).map(|job| job.id)
    }

    #[track_caller]
    pub fn send(&mut self, job: JobId) -> Answer {
        self.run(Command::Send { job, printer: "bench".into(), digest: "b".to_owned(), rows: None })
    }

    #[track_caller]
    pub fn printed(&mut self, job: JobId) -> Answer {
        self.run(Command::Printed { job, by: Confirmation::ProcessId })
    }

    #[track_caller]
    pub fn not_printed(&mut self, job: JobId, left: BytesLeft) -> Answer {
        self.run(Command::NotPrinted { job, why: "the printer went silent".to_owned(), left })
    }

    /// The printer takes all that is queued.
    #[track_caller]
    pub fn print_all(&mut self) -> Vec<String> {
        let mut papers = Vec::new();
        while let Some(job) = self.next() {
            papers.push(self.name(job));
            assert_eq!(self.send(job), Answer::Go);
            self.printed(job);
        }
        papers
    }

    /// `slip of S-1`, `slip of S-1 COPY`.
    pub fn name(&self, id: JobId) -> String {
        let job = &self.state.jobs[&id];
        format!("{}{}", self.state.paper_name(job), if job.copy.is_some() { " COPY" } else { "" })
    }

    pub fn queued(&self) -> Vec<String> {
        self.state.queued().map(|job| self.name(job.id)).collect()
    }

    pub fn parcel(&self, typed: &str) -> ParcelId {
        find_parcel(&self.state, typed).unwrap_or_else(|why| panic!("{why}"))
    }

    /// The job about a parcel's slip that was queued last.
    pub fn slip(&self, typed: &str) -> JobId {
        let subject = Subject::Parcel(self.parcel(typed));
        self.state.jobs_about(&subject).last().map(|job| job.id).expect("a slip")
    }

    /// Everything about an order in one line: `printed, held: slip on paper`.
    pub fn describe(&self, number: &str) -> String {
        let Some(entry) = self.state.orders.get(&key(number)) else { return "-".to_owned() };
        let mut words = vec![entry.stage(&self.state.parcels).word().to_owned()];
        words.extend(entry.asked.iter().map(|_| "asked".to_owned()));
        words.extend(entry.cancelled.iter().map(|_| "cancelled".to_owned()));
        words.extend(entry.stops.iter().map(|stop| match stop.kind.cause() {
            Some(cause) => format!("needs you {}", cause.to_string().split(':').next().unwrap_or_default()),
            None => stop.kind.word().to_owned(),
        }));
        let parcels = self.state.parcels_of(entry).flat_map(|(_, parcel)| &parcel.jobs);
        let jobs = parcels.chain(&entry.note_jobs).filter_map(|id| self.state.jobs.get(id));
        let jobs: Vec<String> = jobs
            .map(|job| format!("{}{} {}", job.kind, if job.copy.is_some() { " COPY" } else { "" }, job.state.word()))
            .collect();
        let jobs = if jobs.is_empty() { String::new() } else { format!(": {}", jobs.join(", ")) };
        format!("{}{jobs}", words.join(", "))
    }

    pub fn facts(&self) -> Vec<Fact> {
        facts(&self.history)
    }

    pub fn today(&self) -> Date {
        self.state.date(self.now)
    }
}

pub fn facts(records: &[Record]) -> Vec<Fact> {
    let facts = records.iter().filter_map(|record| match record {
        Record::Fact(stamped) => Some(stamped.fact.clone()),
        Record::Person(_) => None,
    });
    facts.collect()
}

#[track_caller]
pub fn refused(answer: Answer) -> String {
    match answer {
        Answer::Refused { why, .. } => why,
        other => panic!("not refused: {other:?}"),
    }
}
