//! Erasing what tells of persons: nothing of it is left in any byte of any file, whatever stage
//! the order is at, whenever the power goes, and nothing else is touched.

use dawnslip::book::{Action, *};
use dawnslip::daemon::shared::Durable;
use dawnslip::ledger::copies::import::Fold;
use dawnslip::ledger::{
    Disk, Erased, Erasure, Installation, InstallationId, Ledger, LedgerError, Older, Opened, SimDisk, Trouble, record,
};
use dawnslip::model::*;
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeSet;
use std::sync::Arc;

type Failed = Box<dyn std::error::Error>;

/// Marked words that stand nowhere but in what tells of a person.
const MARKS: [&str; 5] = ["Zoë Qqname", "Qqstreet 4", "qqmail@example.org", "qqraw", "qqtyped"];
const DIRS: [&str; 6] = ["", "journal", "snapshot", "archive", "history", "aside"];

fn start() -> Timestamp {
    "2026-11-25T07:00:00Z".parse().unwrap()
}
fn key(number: &str) -> OrderKey {
    OrderKey::new("shop", number)
}
fn message(number: &str) -> MessageKey {
    MessageKey { source: "shop".into(), id: format!("msg-{number}") }
}

fn open(disk: &SimDisk) -> Result<(Ledger, Opened), LedgerError> {
    let installation = Installation { id: InstallationId([3; 16]), key: [4; 32] };
    let (mut ledger, opened) = Ledger::open_with(Arc::new(disk.clone()), start(), || Ok(installation))?;
    ledger.set_segment_bytes(900);
    Ok((ledger, opened))
}

/// A workshop's ledger and what is known in memory.
struct House {
    disk: SimDisk,
    ledger: Ledger,
    durable: Durable,
    now: Timestamp,
}

impl House {
    fn new() -> Self {
        Self::on(&SimDisk::new(), start()).unwrap()
    }
    /// Opened, and what is there folded.
    fn on(disk: &SimDisk, now: Timestamp) -> Result<Self, Failed> {
        let (ledger, opened) = open(disk)?;
        let durable = dawnslip::daemon::fold(&opened)?;
        Ok(Self { disk: disk.clone(), ledger, durable, now })
    }
    fn write(&mut self, records: Vec<Record>) -> Result<(), Failed> {
        let lines: Vec<_> = records.iter().map(|record| record::to_line(record).unwrap()).collect();
        self.ledger.append(self.durable.state.seq + 1, &lines)?;
        records.iter().for_each(|record| self.durable.fold(record));
        Ok(())
    }
    /// Works a command off as the core does, and keeps what comes of it.
    fn tell(&mut self, command: Command) -> Result<Answer, Failed> {
        self.now += SignedDuration::from_mins(1);
        let mut ahead = self.durable.state.clone();
        let Step { records, answer, .. } = step(&mut ahead, command, self.now);
        if !records.is_empty() {
            self.write(records)?;
        }
        Ok(answer)
    }
    /// An order comes in; the marked person's, or somebody else's.
    fn receive(&mut self, number: &str, marked: bool) -> Result<Answer, Failed> {
        self.receive_as(number, &message(number).id, 1, marked)
    }
    fn receive_as(&mut self, number: &str, id: &str, revision: u64, marked: bool) -> Result<Answer, Failed> {
        let [name, street, mail, raw, _] = if marked { MARKS } else { ["Anna Other", "Hill 1", "a@b.c", "{}", ""] };
        let person = Person {
            recipient: Hidden::new(name),
            street: vec![Hidden::new(street)],
            email: Some(Hidden::new(mail)),
            ..Person::default()
        };
        let mut order = order(number);
        order.revision = Some(Revision::Number(revision));
        order.content_digest = format!("{number} as of {revision}");
        self.tell(Command::Receive(Box::new(Received {
            message: MessageKey { source: "shop".into(), id: id.into() },
            body_digest: format!("digest of {id} {revision}"),
            raw: Hidden::new(format!("{raw} of {number}")),
            meaning: Meaning::Orders(vec![(order, person)]),
            archived: Default::default(),
        })))
    }
    fn checkpoint(&mut self) -> Result<(), Failed> {
        Ok(self.ledger.checkpoint(&self.durable.snapshot()?)?)
    }
    fn archive(&mut self, number: &str) -> Result<(), Failed> {
        self.checkpoint()?;
        let done = self.ledger.archive(&[key(number)])?;
        self.tell(Command::Archived { orders: done.orders, upto: done.upto }).map(drop)
    }
    /// What the daemon does once an erasure is recorded, also at its next start.
    fn carry_out(&mut self) -> Result<Erased, Failed> {
        let orders: BTreeSet<OrderKey> = self.durable.state.erasing.keys().cloned().collect();
        let erased = self.ledger.erase(&Erasure { orders: orders.clone(), older: None }, &self.durable.snapshot()?)?;
        for order in orders {
            self.tell(Command::Erased { order, lines: erased.lines(), receipt: "receipt".into() })?;
        }
        self.checkpoint()?;
        Ok(erased)
    }
    fn forget(&mut self, number: &str) -> Result<Erased, Failed> {
        let archived = !self.durable.state.orders.contains_key(&key(number));
        let action = Action::Forget { order: key(number), open: OpenOrder::Cancel, archived };
        assert_eq!(self.tell(Command::Person(action))?, Answer::Done);
        self.carry_out()
    }
    fn older(&self, before: Timestamp) -> Older {
        let open = self.durable.state.orders.keys().cloned().collect();
        Older { before, open, asked: self.durable.state.asked_messages() }
    }
    fn finds_older(&self, before: Timestamp) -> bool {
        !self.ledger.archive_reader().older(&self.older(before), self.durable.state.seq).unwrap().is_empty()
    }
    fn erase_older(&mut self, before: Timestamp) -> Result<Erased, Failed> {
        self.tell(Command::RetentionBegun { before })?;
        let erasure = Erasure { orders: BTreeSet::new(), older: Some(self.older(before)) };
        let erased = self.ledger.erase(&erasure, &self.durable.snapshot()?)?;
        let (orders, lines) = (erased.orders.len() as u64, erased.lines());
        self.tell(Command::RetentionDone { before, orders, lines })?;
        Ok(erased)
    }
    /// Everything about an order in the archive.
    fn archived(&self, number: &str) -> (usize, usize) {
        let found = self.ledger.archive_reader().read(&key(number)).unwrap().unwrap_or_default();
        (found.facts.len(), found.persons.len())
    }
}

fn order(number: &str) -> Order {
    Order {
        key: key(number),
        revision: None,
        placed: None,
        lines: vec![Line { sku: "MUG".into(), name: "Mug".into(), quantity: 1, unit_price: None }],
        destination: Destination {
            country: "QS".parse().ok(),
            postcode_head: "SK1".into(),
            address_hash: String::new(),
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
        flaws: Vec::new(),
        content_digest: String::new(),
    }
}

/// Every file of the data directory.
fn files(disk: &SimDisk) -> Vec<(String, Vec<u8>)> {
    let mut all = Vec::new();
    for dir in DIRS {
        for name in disk.list(dir).unwrap_or_default() {
            let path = if dir.is_empty() { name } else { format!("{dir}/{name}") };
            all.push((path.clone(), disk.read(&path).unwrap()));
        }
    }
    all
}

/// Files that hold one of the marked words.
fn marked(disk: &SimDisk) -> Vec<String> {
    let holds = |bytes: &[u8]| MARKS.iter().any(|mark| bytes.windows(mark.len()).any(|part| part == mark.as_bytes()));
    files(disk).into_iter().filter(|(_, bytes)| holds(bytes)).map(|(path, _)| path).collect()
}

/// Three orders; 417 is the marked one, held and cancelled with typed reasons.
fn three_orders() -> House {
    let mut house = House::new();
    house.tell(Command::Started { last_alive: None, clean: true }).unwrap();
    house.receive("S-416", false).unwrap();
    house.receive("S-417", true).unwrap();
    house.receive("S-418", false).unwrap();
    let reason = || MARKS[4].to_owned();
    house.tell(Command::Person(Action::Hold { order: key("S-417"), reason: reason() })).unwrap();
    house.tell(Command::Person(Action::Cancel { order: key("S-417"), reason: reason() })).unwrap();
    house
}

/// The marked order at every place where its data may lie.
fn stages() -> Vec<(&'static str, House)> {
    let mut all = vec![("in the journal only", three_orders())];
    let mut house = House::new();
    house.receive("S-418", false).unwrap();
    house.receive("S-417", true).unwrap();
    house.receive_as("S-417", "msg-two", 2, true).unwrap();
    all.push(("open, and changed by the shop", house));
    let mut house = three_orders();
    house.checkpoint().unwrap();
    house.receive("S-419", false).unwrap();
    house.checkpoint().unwrap();
    all.push(("in two snapshots", house));
    let mut house = three_orders();
    for number in 420..426 {
        house.receive(&format!("S-{number}"), false).unwrap();
        house.checkpoint().unwrap();
        house.ledger.archive(&[]).unwrap();
    }
    all.push(("in the carry", house));
    let mut house = three_orders();
    house.archive("S-417").unwrap();
    all.push(("archived, and still in the journal", house));
    let mut house = three_orders();
    house.archive("S-417").unwrap();
    for number in 420..426 {
        house.receive(&format!("S-{number}"), false).unwrap();
        house.checkpoint().unwrap();
        house.ledger.archive(&[]).unwrap();
    }
    all.push(("archived alone", house));
    let mut house = three_orders();
    house.disk.create("aside/0001-84.tail").unwrap().write_at(0, MARKS[0].as_bytes()).unwrap();
    house.disk.create("archive/2026-11.0009.people.aside").unwrap().write_at(0, MARKS[1].as_bytes()).unwrap();
    house.disk.create("snapshot/00000000000000000001.people").unwrap().write_at(0, MARKS[2].as_bytes()).unwrap();
    house.disk.create("history/00000000000000000002.people").unwrap().write_at(0, MARKS[3].as_bytes()).unwrap();
    house.checkpoint().unwrap();
    all.push(("in leftovers of interrupted writing", house));
    all
}

/// The other orders, and what is known of the marked one's facts.
#[track_caller]
fn others_are_whole(house: &House, what: &str) {
    for (key, entry) in house.durable.state.orders.iter().filter(|(key, _)| key.number != "S-417") {
        let person = house.durable.people.of(key, entry.version).map(|person| person.recipient.reveal());
        assert_eq!(person, Some("Anna Other"), "{what}: {key}");
    }
}

#[test]
fn no_byte_of_a_forgotten_order_is_left_wherever_it_lay() {
    for (what, mut house) in stages() {
        assert!(!marked(&house.disk).is_empty(), "{what}: nothing was there before");
        let facts = house.durable.state.seq;
        let erased = house.forget("S-417").unwrap();
        assert_eq!(marked(&house.disk), Vec::<String>::new(), "{what}");
        assert!(erased.lines() > 0, "{what}: {erased:?}");
        others_are_whole(&house, what);
        let (state, people) = (house.durable.state.clone(), house.durable.people.clone());
        assert!(!serde_json::to_string(&people).unwrap().contains("Qq"), "{what}");

        // Opened again it is the same; and every fact from the first on is in some file.
        drop(house.ledger);
        let again = House::on(&house.disk, start()).unwrap();
        assert_eq!((&again.durable.state, &again.durable.people), (&state, &people), "{what}");
        assert!(state.seq > facts && state.erasing.is_empty());
        every_fact_is_there(&again, what);
    }
}

/// The index, made anew from all files, misses no number.
#[track_caller]
fn every_fact_is_there(house: &House, what: &str) {
    use dawnslip::ledger::{Indexer, IndexerState, MemHome};
    let fork = house.disk.fork();
    let (_ledger, opened) = open(&fork).unwrap();
    let indexer = Indexer::spawn(Arc::new(fork), &opened, MemHome::default()).unwrap();
    let reader = indexer.reader();
    for _ in 0..1000 {
        match reader.state() {
            IndexerState::Serving => {
                assert_eq!(reader.applied(), opened.last_seq, "{what}");
                indexer.close();
                return;
            }
            IndexerState::Broken(why) => panic!("{what}: {why}"),
            IndexerState::Rebuilding { .. } => std::thread::sleep(std::time::Duration::from_millis(10)),
        }
    }
    panic!("{what}: the index was not rebuilt");
}

#[test]
fn the_power_goes_before_each_operation_and_it_is_either_not_begun_or_complete() {
    let mut cuts = 0;
    for (what, house) in stages() {
        let House { disk, ledger, now, .. } = house;
        drop(ledger);
        for seed in 0..2 {
            for cut in 0.. {
                let disk = disk.fork();
                let mut house = House::on(&disk, now).unwrap();
                disk.set_trouble(Trouble { cut_before: Some(disk.operations() + cut), ..Trouble::default() });
                let ended = house.forget("S-417").is_ok();
                drop(house);
                if ended {
                    break;
                }
                cuts += 1;
                disk.crash(seed * 1000 + cut);
                let at = format!("{what}, cut before operation {cut}, seed {seed}");
                let mut again = House::on(&disk, now).unwrap_or_else(|err| panic!("{at}: {err}"));
                let begun = again.durable.state.orders.get(&key("S-417")).map_or_else(
                    || again.durable.state.erasing.contains_key(&key("S-417")) || marked(&disk).is_empty(),
                    |entry| entry.forgotten.is_some(),
                );
                if !again.durable.state.erasing.is_empty() {
                    again.carry_out().unwrap_or_else(|err| panic!("{at}: {err}"));
                }
                if begun {
                    assert_eq!(marked(&disk), Vec::<String>::new(), "{at}");
                } else {
                    let kept = again.durable.people.of(&key("S-417"), 1).is_some() || again.archived("S-417").1 > 0;
                    assert!(kept, "{at}: nothing was asked for, and something is gone");
                }
                others_are_whole(&again, &at);
                // Making an index takes its time.
                if cut % 8 == seed {
                    every_fact_is_there(&again, &at);
                }
            }
        }
    }
    assert!(cuts > 200, "{cuts}");
}

#[test]
fn the_retention_erases_what_ended_before_it_and_nothing_else() {
    let mut house = three_orders();
    house.archive("S-417").unwrap();
    let ended = house.durable.state.at.unwrap();
    // Nobody could read this one; its question stands until somebody sets it aside.
    let unread = MessageKey { source: "shop".into(), id: "unread".into() };
    let told = house.tell(Command::Receive(Box::new(Received {
        message: unread.clone(),
        body_digest: "d".into(),
        raw: Hidden::new("qqraw that nobody could read"),
        meaning: Meaning::Unmappable { reason: "no number".into(), pointer: String::new() },
        archived: Default::default(),
    })));
    told.unwrap();
    house.now += SignedDuration::from_hours(60 * 24);
    house.receive("S-420", false).unwrap();
    let cancel = Action::Cancel { order: key("S-420"), reason: String::new() };
    house.tell(Command::Person(cancel)).unwrap();
    house.archive("S-420").unwrap();

    let day = SignedDuration::from_hours(24);
    assert!(!house.finds_older(start() - day), "nothing is that old");
    assert!(house.finds_older(ended + day));
    let erased = house.erase_older(ended + day).unwrap();
    assert_eq!(erased.orders, BTreeSet::from([key("S-417")]));
    // The young one keeps its person, the old one its facts; the question keeps its message.
    assert_eq!(house.archived("S-417").1, 0);
    assert!(house.archived("S-417").0 >= 4);
    assert!(house.archived("S-420").1 > 0);
    assert!(house.durable.people.raw(&unread).is_some());
    let left: BTreeSet<_> = marked(&house.disk).into_iter().collect();
    assert!(!left.is_empty() && left.iter().all(|path| !path.starts_with("archive/2026-11.0001")), "{left:?}");
    assert!(!house.finds_older(ended + day), "once is enough");
    others_are_whole(&house, "after the retention");

    let decide = Action::Decide { cause: "unmappable:shop/unread".into(), decision: Decision::Cancel };
    house.tell(Command::Person(decide)).unwrap();
    assert!(house.finds_older(ended + day));
    house.erase_older(ended + day).unwrap();
    assert_eq!(marked(&house.disk), Vec::<String>::new());
    assert!(house.durable.people.raw(&unread).is_none());
    assert_eq!(house.durable.state.retention.unwrap().orders, 0);
    every_fact_is_there(&house, "after the retention");
}

#[test]
fn the_retention_interrupted_anywhere_is_made_up_for_by_the_next_look() {
    let mut house = three_orders();
    house.archive("S-417").unwrap();
    house.receive("S-420", false).unwrap();
    let before = house.durable.state.at.unwrap() + SignedDuration::from_hours(24);
    let House { disk, ledger, now, .. } = house;
    drop(ledger);
    for cut in 0.. {
        let disk = disk.fork();
        let mut house = House::on(&disk, now).unwrap();
        disk.set_trouble(Trouble { cut_before: Some(disk.operations() + cut), ..Trouble::default() });
        let ended = house.erase_older(before).is_ok();
        drop(house);
        if ended {
            assert!(cut > 20, "{cut}");
            return;
        }
        disk.crash(cut);
        let mut again = House::on(&disk, now).unwrap();
        if again.finds_older(before) {
            again.erase_older(before).unwrap();
        }
        assert_eq!(marked(&disk), Vec::<String>::new(), "cut before operation {cut}");
        others_are_whole(&again, &format!("cut {cut}"));
        if cut % 4 == 0 {
            every_fact_is_there(&again, &format!("cut {cut}"));
        }
    }
}

#[test]
fn a_forgotten_order_that_comes_again_stays_forgotten() {
    let mut house = three_orders();
    house.forget("S-417").unwrap();
    // The same message: the same answer.
    let again = house.receive("S-417", true).unwrap();
    assert!(matches!(again, Answer::Kept { novelty: Novelty::Known, .. }), "{again:?}");
    // The same content under another id, an older one, and another body under a known id.
    house.receive_as("S-417", "msg-late", 1, true).unwrap();
    house.receive_as("S-417", "msg-late", 7, true).unwrap();
    house.receive_as("S-417", "msg-older", 0, true).unwrap();
    assert!(house.durable.state.orders[&key("S-417")].stops.is_empty());
    // A newer one: a person must know; nothing of it is kept.
    house.receive_as("S-417", "msg-newer", 2, true).unwrap();
    let stops = &house.durable.state.orders[&key("S-417")].stops;
    let [Stop { kind: StopKind::NeedsYou(question), .. }] = stops.as_slice() else { panic!("{stops:?}") };
    assert!(question.what.contains("erased on 2026-11-25"), "{}", question.what);
    assert_eq!(marked(&house.disk), Vec::<String>::new());
    let decide = Action::Decide { cause: question.cause.to_string(), decision: Decision::GoOn };
    assert!(!matches!(house.tell(Command::Person(decide)).unwrap(), Answer::Refused { .. }));
    assert!(house.durable.state.orders[&key("S-417")].stops.is_empty());
}

#[test]
fn an_open_order_is_forgotten_only_if_it_may_be_cancelled() {
    let mut house = House::new();
    house.receive("S-417", true).unwrap();
    let forget = |open| Command::Person(Action::Forget { order: key("S-417"), open, archived: false });
    let seq = house.durable.state.seq;
    let Answer::Refused { why, remedy } = house.tell(forget(OpenOrder::Refuse)).unwrap() else { panic!() };
    assert!(why.contains("open") && remedy.contains("--yes"), "{why} {remedy}");
    assert_eq!(house.durable.state.seq, seq, "a refusal leaves no fact");
    assert_eq!(house.tell(forget(OpenOrder::Cancel)).unwrap(), Answer::Done);
    let entry = &house.durable.state.orders[&key("S-417")];
    assert!(entry.cancelled.is_some() && entry.forgotten.is_some());
    let unknown = Command::Person(Action::Forget { order: key("S-9"), open: OpenOrder::Cancel, archived: false });
    assert!(matches!(house.tell(unknown).unwrap(), Answer::Refused { .. }));
}
