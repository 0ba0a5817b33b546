//! Tern & Thistle with a real book in memory: orders are received, planned (by hand: always
//! Small by Letter), printed and packed through the book's own commands.

use dawnslip::book::{Action, *};
use dawnslip::desk::receipt::Receipt;
use dawnslip::desk::{Busy, *};
use dawnslip::model::*;
use hyper::body::Bytes;
use jiff::civil::time;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex};

/// The invented island keeps the time of a real zone one hour east of Greenwich in winter.
pub const ZONE: &str = "Europe/Berlin";

/// An instant on Wednesday, 25 November 2026, local time.
pub fn at(clock: &str) -> Timestamp {
    on("2026-11-25", clock)
}

/// Likewise on any day.
pub fn on(day: &str, clock: &str) -> Timestamp {
    let local: jiff::civil::DateTime = format!("{day}T{clock}:00").parse().unwrap();
    TimeZone::get(ZONE).unwrap().to_timestamp(local).unwrap()
}

pub fn workshop() -> Workshop {
    let eur = |minor| Money::new(minor, Currency::EUR);
    let product = |sku: &str, name: &str| Product {
        sku: sku.into(),
        name: name.into(),
        dims: Some(Dims::from_mm(110, 90, 95)),
        weight: Some(Weight::from_g(340)),
        shelf: "A1".into(),
        turn: Turn::Any,
        fragile: true,
        stack: None,
        by_wall: false,
        cushion: Length::from_mm(10),
        softness_percent: 100,
        made_of: vec![],
        made_to_order: false,
        not_shipped: false,
        preparation: None,
        how_to_lay: None,
        supplies: vec![],
        care: None,
        ingredients: None,
        allergens: vec![],
        danger: None,
        customs: None,
        batches: vec![],
    };
    let service = |name: &str| Service {
        price: Price::Fixed(BTreeMap::from([("".to_owned(), eur(346))])),
        ..Service::plain(name)
    };
    let printer = Printer {
        uncertain: BTreeMap::from([(PaperKind::Slip, WhenUncertain::Ask)]),
        ..Printer::usual("bench", "127.0.0.1:9100")
    };
    Workshop {
        digest: ConfigDigest::new("0123456789abcdef"),
        name: "Tern & Thistle".into(),
        language: "en".into(),
        locale: Locale::default(),
        zone: TimeZone::get(ZONE).unwrap(),
        currency: Currency::EUR,
        country: "QS".parse().unwrap(),
        sender: vec!["Tern & Thistle".into(), "Quay Street 1".into()],
        day: Day {
            pick_list_at: time(7, 0, 0, 0),
            closed_weekdays: vec![],
            closed_dates: BTreeSet::new(),
            parcels_a_day: 40,
            quiet: None,
            burst: BurstSwitch { orders: 4, within: SignedDuration::from_mins(10) },
        },
        retention_days: 90,
        backups: Backups { off: false, at: jiff::civil::time(3, 30, 0, 0), keep_days: 14, folder: "backups".into() },
        labour: None,
        cn23_above: None,
        joins_orders: false,
        heavy_above: Weight::from_g(23_000),
        contracts: Contracts::default(),
        listeners: Listeners {
            intake: "127.0.0.1:7781".parse().unwrap(),
            desk: "127.0.0.1:7780".parse().unwrap(),
            desk_token: None,
            desk_hosts: vec![],
        },
        limits: Limits {
            body_bytes: 1 << 20,
            header_time: SignedDuration::from_secs(10),
            body_time: SignedDuration::from_secs(30),
            connections: 256,
            per_minute: 600,
        },
        sources: BTreeMap::new(),
        products: vec![product("MUG-T", "Mug, tide grey"), product("BOWL-S", "Bowl, sea")],
        containers: vec![],
        supplies: vec![],
        every_parcel: vec![],
        services: vec![service("Letter"), service("Road")],
        rules: vec![],
        printers: vec![printer],
        routes: BTreeMap::new(),
        cards: BTreeMap::new(),
        default_card: None,
        draw_packing_from: 3,
        words: Words::default(),
        fonts: None,
        logo: None,
        notes: Vec::new(),
        files: BTreeMap::new(),
    }
}

/// The workshop at work.
pub struct Morning {
    pub state: State,
    pub people: People,
    pub facts: Vec<Stamped>,
    pub workshop: Arc<Workshop>,
    pub now: Timestamp,
    pub printers: Vec<PrinterHealth>,
    pub refused_config: Option<RefusedConfig>,
    pub troubles: Vec<Trouble>,
}

impl Morning {
    /// The first start, at five in the morning.
    pub fn new() -> Self {
        let workshop = workshop();
        let policy = Policy {
            zone: ZONE.into(),
            pick_list_at: workshop.day.pick_list_at,
            closed_weekdays: BTreeSet::new(),
            closed_dates: BTreeSet::new(),
            parcels_a_day: 40,
            burst_orders: workshop.day.burst.orders,
            burst_seconds: workshop.day.burst.within.as_secs(),
            gapless: BTreeMap::from([("shop".into(), "S-".to_owned())]),
            print: BTreeMap::new(),
            uncertain: BTreeMap::from([(PaperKind::Slip, WhenUncertain::Ask)]),
            uncertain_at: BTreeMap::new(),
            shop_printers: BTreeMap::new(),
            prints: BTreeMap::new(),
            latest: BTreeMap::new(),
            join: false,
            archive_after_days: 14,
        };
        let digest = workshop.digest.clone();
        let printers = vec![PrinterHealth { printer: "bench".into(), trouble: None, warning: None, slips_left: None }];
        let mut morning = Self {
            state: State::default(),
            people: People::default(),
            facts: Vec::new(),
            workshop: Arc::new(workshop),
            now: at("05:00"),
            printers,
            refused_config: None,
            troubles: Vec::new(),
        };
        morning.tell(Command::Started { last_alive: None, clean: true });
        morning.tell(Command::Adopt { digest, policy: Box::new(policy), files: BTreeMap::new() });
        morning
    }

    /// Works off a command and plans what it asks to be planned.
    pub fn tell(&mut self, command: Command) -> Answer {
        let mut step = step(&mut self.state, command, self.now);
        for record in std::mem::take(&mut step.records) {
            match record {
                Record::Fact(stamped) => self.facts.push(stamped),
                Record::Person(person) => self.people.apply(&person),
            }
        }
        for effect in step.effects {
            if let Effect::PlanThis { order, pins } = effect {
                let plan = self.plan(&order, pins);
                self.tell(Command::Planned(Box::new(plan)));
            }
        }
        step.answer
    }

    fn plan(&self, key: &OrderKey, pins: Pins) -> Plan {
        let order = &self.state.orders[key].order;
        let unknown = order.lines.iter().find(|line| self.workshop.product(&line.sku).is_none());
        let questions: Vec<Question> = unknown
            .map(|line| Question {
                cause: Cause::UnknownProduct(line.sku.clone()),
                what: format!("the product {} is unknown", line.sku),
                remedy: "add it to products.toml; then: dawnslip reload".into(),
                detail: None,
            })
            .into_iter()
            .collect();
        let eur = |minor| Money::new(minor, Currency::EUR);
        let contents = order.lines.iter().enumerate().map(|(index, line)| Content {
            sku: line.sku.clone(),
            quantity: line.quantity,
            batch: None,
            line: Some(index),
            order: 0,
        });
        let parcel = PlannedParcel {
            container: "Small".into(),
            inside: None,
            thick_at_most: None,
            service: "Letter".into(),
            zone: String::new(),
            contents: contents.collect(),
            weight: Weight::from_g(410),
            tolerance: Weight::from_g(20),
            cost: CostParts {
                postage: eur(346),
                surcharges: eur(0),
                container: eur(40),
                supplies: eur(11),
                labour: None,
            },
            supplies: vec![],
            surcharged: Vec::new(),
            counts_as: None,
            foreign: None,
            placement: vec![],
            inner_mm: [200, 150, 100],
            notes: vec![],
            cautions: vec![],
            cards: vec![],
            printer: None,
        };
        let parcels = if questions.is_empty() { vec![parcel] } else { vec![] };
        Plan {
            order: key.clone(),
            pins,
            cost: (!parcels.is_empty()).then(|| eur(397)),
            verdict: if parcels.is_empty() { Verdict::Nothing } else { Verdict::Proved },
            parcels,
            questions,
            waits: vec![],
            alternatives: vec![
                Alternative {
                    what: "Medium by Road".into(),
                    cost: Some(eur(720)),
                    parts: None,
                    why: "dearer".into(),
                    next_best: None,
                },
                Alternative {
                    what: "Letter box".into(),
                    cost: None,
                    parts: None,
                    why: "takes up to 1 kg".into(),
                    next_best: None,
                },
            ],
            what_would_change: vec!["110 g less would cost 3.10 (the step below)".into()],
            rules: vec![],
            urgent: false,
            instead: None,
            joined: Vec::new(),
            joined_saves: None,
        }
    }

    /// An order comes in.
    pub fn order(&mut self, clock: &str, number: &str, sku: &str, name: &str) {
        self.now = at(clock);
        let source = if number.starts_with('F') { "fair" } else { "shop" };
        let order = Order {
            key: OrderKey::new(source, number),
            revision: None,
            placed: None,
            lines: vec![Line { sku: sku.into(), name: "as the shop calls it".into(), quantity: 2, unit_price: None }],
            destination: Destination {
                country: Some("QS".parse().unwrap()),
                postcode_head: "1203".into(),
                address_hash: number.into(),
                post_box: false,
            },
            gift: false,
            hide_buyer: false,
            requested_service: None,
            total: None,
            cancelled: false,
            not_before: None,
            has_wish: false,
            separate: false,
            customer: CustomerMarks::default(),
            flaws: vec![],
            content_digest: number.into(),
        };
        let person = Person {
            recipient: Hidden::new(name),
            street: vec![Hidden::new("Harbour Street 4")],
            locality: Hidden::new("Tern Haven"),
            ..Person::default()
        };
        let received = Received {
            message: MessageKey { source: source.into(), id: number.into() },
            body_digest: number.into(),
            raw: Hidden::new("{}"),
            meaning: Meaning::Orders(vec![(order, person)]),
            archived: BTreeSet::new(),
        };
        let answer = self.tell(Command::Receive(Box::new(received)));
        assert!(matches!(answer, Answer::Kept { novelty: Novelty::New, .. }), "{answer:?}");
    }

    /// Everything that may be sent comes out of the printer.
    pub fn print_all(&mut self, clock: &str) {
        self.now = at(clock);
        while let Some(job) = self.state.next_job(|_| true).map(|job| job.id) {
            let digest = "0".repeat(64);
            assert_eq!(self.tell(Command::Send { job, printer: "bench".into(), digest, rows: None }), Answer::Go);
            self.tell(Command::Printed { job, by: Confirmation::ProcessId });
        }
    }

    /// Time passes without anything else.
    pub fn tick(&mut self, clock: &str) {
        self.now = at(clock);
        self.tell(Command::Tick);
    }

    pub fn read(&self) -> ReadState {
        ReadState {
            notes: Vec::new(),
            state: Arc::new(self.state.clone()),
            people: Arc::new(self.people.clone()),
            workshop: self.workshop.clone(),
            printers: self.printers.clone(),
            troubles: self.troubles.clone(),
            refused_config: self.refused_config.clone(),
            last_backup: None,
            index: IndexLag::default(),
            counted: vec![Counted {
                name: "messages",
                help: "Messages by outcome",
                labels: vec![("outcome", "new".into())],
                value: 7,
                kind: CountedKind::Counter,
            }],
            not_ready: None,
        }
    }

    /// What `/status` says at a time of this day.
    pub fn status(&self, clock: &str) -> String {
        let read = self.read();
        status::status(&read, at(clock)).text(&read.workshop.zone)
    }
}

/// Two orders that are printed: nothing is the matter.
pub fn all_well() -> Morning {
    let mut morning = Morning::new();
    morning.order("06:41", "S-442", "MUG-T", "Zoë Ångström");
    morning.order("06:44", "S-443", "BOWL-S", "佐藤 花子");
    morning.print_all("06:57");
    morning
}

/// The desk's other side in tests.
pub struct Play(pub Mutex<Morning>);

impl Play {
    pub fn new(morning: Morning) -> Arc<Self> {
        Arc::new(Self(Mutex::new(morning)))
    }
}

impl Backend for Play {
    fn now(&self) -> Timestamp {
        self.0.lock().unwrap().now
    }
    fn read(&self) -> Arc<ReadState> {
        Arc::new(self.0.lock().unwrap().read())
    }
    async fn act(&self, action: Action) -> Result<Answer, Busy> {
        Ok(self.0.lock().unwrap().tell(Command::Person(action)))
    }
    async fn forget(&self, order: OrderKey, open: OpenOrder) -> Result<Forgot, Busy> {
        let forget = Action::Forget { order: order.clone(), open, archived: false };
        let mut morning = self.0.lock().unwrap();
        let receipt = |morning: &Morning| Receipt::new(order.to_string(), morning.now, morning.state.seq, Vec::new());
        Ok(match morning.tell(Command::Person(forget)) {
            Answer::Refused { why, remedy } => Forgot::Refused { why, remedy },
            _ => Forgot::Erased(Box::new(receipt(&morning))),
        })
    }
    async fn history(&self, order: &OrderKey) -> Vec<Stamped> {
        let morning = self.0.lock().unwrap();
        let about = |stamped: &&Stamped| serde_json::to_string(stamped).unwrap().contains(&format!("\"{order}\""));
        morning.facts.iter().filter(about).cloned().collect()
    }
    async fn paper(&self, what: PaperWanted, form: PaperForm) -> Result<Bytes, NoPaper> {
        match (what, form) {
            (PaperWanted::PickList, PaperForm::Json) => Ok(Bytes::from("{\"parcels\":2}")),
            (PaperWanted::PickList, PaperForm::Text) => Ok(Bytes::from("PICK LIST\n")),
            (PaperWanted::OfParcel(..), PaperForm::Png) => Ok(Bytes::from_static(b"\x89PNG")),
            (what, form) => Err(NoPaper(format!("no {form:?} of {what:?}"))),
        }
    }
    async fn reload(&self) -> Result<String, Vec<String>> {
        Err(vec!["products.toml:12:8: a bare number; say \"230 mm\"".into()])
    }
    async fn remap(&self, _: Option<SourceName>) -> Result<Remapped, Busy> {
        Ok(Remapped { mapped: 2, still_not: 1 })
    }
    async fn take_in(&self, source: SourceName, body: Bytes) -> Result<TakenIn, Busy> {
        match (source.as_str(), body.first()) {
            ("full", _) => Err(Busy { why: "the disk has no room".into(), remedy: "make room".into() }),
            (_, Some(b'{')) => Ok(TakenIn::New("1 order".into())),
            _ => Ok(TakenIn::NeedsYou("it is no object".into())),
        }
    }
}
