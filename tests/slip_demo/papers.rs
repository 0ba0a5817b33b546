//! One paper of each kind from the demo's morning, and where its golden text and picture lie.

use super::*;
use dawnslip::slip::document::{Block, Cell, Run};
use dawnslip::slip::*;
use std::path::{Path, PathBuf};

pub fn make_in(
    workshop: &Workshop,
    book: &Book,
    kind: PaperKind,
    subject: &Subject,
    copy: Option<&CopyMark>,
    setter: &mut Typesetter,
) -> Paper {
    let wanted = Wanted { kind, subject, copy };
    paper(&wanted, &book.state, &book.people, workshop, setter, now()).unwrap()
}

pub fn list() -> Subject {
    Subject::List { date: today(), extra: 0 }
}

pub fn card(parcel: u64) -> Subject {
    Subject::Card(ParcelId(parcel), "thanks".into())
}

/// The demo's morning after some trouble: addresses, a changed and a cancelled order.
pub fn troubled() -> Book {
    let mut book = morning();
    riddle(&mut book);
    let changed = OrderKey::new("shop", "S-418");
    let cancelled = OrderKey::new("shop", "S-421");
    let order = book.state.orders.get_mut(&changed).unwrap();
    let (name, sku) = ("Heather smoke, 100 g".into(), "TEA-HS".into());
    order.differences = vec![Difference::Count { count: 3, was: 2, name, sku }, Difference::Address];
    let order = book.state.orders.get_mut(&cancelled).unwrap();
    order.cancelled =
        Some(Cancelled { at: a_while_ago(), by: Actor::Shop, reason: Reason::ShopCancelled.words().into() });
    book.state.parcels.get_mut(&ParcelId(405)).unwrap().stage = Stage::Packed;
    book.send_to("S-417", "DE", ["Möwenweg 4, Hinterhaus", "10115", "Berlin", ""]);
    book.send_to("S-418", "JP", ["皿ヶ浜 2-7-2", "999-0000", "", "潮県"]);
    let lines = &mut book.state.orders.get_mut(&OrderKey::new("shop", "S-417")).unwrap().order.lines;
    lines[0].unit_price = Some(Money::new(2_450, Currency::EUR));
    lines[1].unit_price = Some(Money::new(980, Currency::EUR));
    book
}

fn a_while_ago() -> Timestamp {
    now() - SignedDuration::from_mins(12)
}

/// The demo's papers, one of each kind and of each that looks different, in a workshop's own words.
pub fn all_papers(workshop: &Workshop, setter: &mut Typesetter) -> Vec<(&'static str, Paper)> {
    let list = make_in(workshop, &morning(), PaperKind::PickList, &list(), None, setter);
    let book = troubled();
    let at = a_while_ago();
    let [changed, cancelled] = ["S-418", "S-421"].map(|number| OrderKey::new("shop", number));
    let mark = CopyMark { of: JobId(7), at, why: "the printer went silent".into() };
    [
        ("slip", PaperKind::Slip, Subject::Parcel(ParcelId(401)), None),
        ("slip_gift", PaperKind::Slip, Subject::Parcel(ParcelId(404)), None),
        ("slip_copy", PaperKind::Slip, Subject::Parcel(ParcelId(406)), Some(&mark)),
        ("slip_nested", PaperKind::Slip, Subject::Parcel(ParcelId(405)), None),
        ("slip_layers", PaperKind::Slip, Subject::Parcel(ParcelId(409)), None),
        ("card", PaperKind::Card, card(401), None),
        ("card_gift", PaperKind::Card, card(404), None),
        ("card_leaves", PaperKind::Card, Subject::Card(ParcelId(404), "present".into()), None),
        ("card_plain", PaperKind::Card, Subject::Card(ParcelId(401), "poster".into()), None),
        ("card_plain_han", PaperKind::Card, Subject::Card(ParcelId(402), "poster".into()), None),
        ("card_han", PaperKind::Card, card(402), None),
        ("card_arabic", PaperKind::Card, card(405), None),
        ("change_note", PaperKind::ChangeNote, Subject::Note(changed, 1), None),
        ("stop_note", PaperKind::StopNote, Subject::Note(cancelled, 1), None),
        ("label", PaperKind::Label, Subject::Label(ParcelId(401)), None),
        ("label_han", PaperKind::Label, Subject::Label(ParcelId(402)), None),
        ("customs", PaperKind::Customs, Subject::Customs(ParcelId(401)), None),
        ("test_page", PaperKind::TestPage, Subject::Test(1), None),
    ]
    .into_iter()
    .map(|(name, kind, subject, copy)| (name, make_in(workshop, &book, kind, &subject, copy, setter)))
    .chain([("pick_list", list)])
    .collect()
}

/// All words of a paper with their style, run by run.
pub fn runs(document: &Document) -> Vec<Run> {
    runs_of(&document.blocks)
}

/// The same of a part of it.
pub fn runs_of(blocks: &[Block]) -> Vec<Run> {
    let mut out: Vec<Run> = Vec::new();
    for block in blocks {
        match block {
            Block::Text(paragraph) | Block::Band(paragraph) => out.extend(paragraph.runs.iter().cloned()),
            Block::Name(name) => out.push(Run::new(&name.text, name.face, name.largest)),
            Block::Sides(sides) => out.extend(sides.left.iter().chain(&sides.right).cloned()),
            Block::Table(table) => {
                for cell in table.rows.iter().flatten() {
                    if let Cell::Text(runs) = cell {
                        out.extend(runs.iter().cloned());
                    }
                }
            }
            Block::Packing(packing) => {
                out.extend(packing.names.iter().flat_map(|named| [&named.number, &named.name]).cloned());
                out.extend(packing.layers.iter().flat_map(|layer| [&layer.word, &layer.numbers]).cloned());
            }
            Block::Qr(code) | Block::Bars(code) => out.extend(code.caption.iter().cloned()),
            Block::Rule(_) | Block::Space(_) | Block::Picture(_) | Block::TearLine | Block::Cut => {}
        }
    }
    out
}

/// The sample's own cards in a language.
pub fn sample_cards(language: &str) -> BTreeMap<CardName, CardTemplate> {
    let mut files = dawnslip::config::embedded();
    let house = files.get_mut("workshop.toml").unwrap();
    *house = house.replace("language = \"en\"", &format!("language = \"{language}\""));
    dawnslip::config::load(&files, Path::new("config")).unwrap().cards
}

/// One question of every kind, with all that a question can say beyond its kind.
pub fn full_of_questions(book: &mut Book) {
    let key = |number: &str| OrderKey::new("shop", number);
    let product = || "Teapot, peat black".to_owned();
    let lacks = |size, weight| Detail::Lacks { product: product(), size, weight };
    let mut asked: Vec<(Cause, Option<Detail>)> = vec![
        (Cause::IncompleteProduct("POT-PB".into()), Some(lacks(true, true))),
        (Cause::IncompleteProduct("MUG-TG".into()), Some(lacks(true, false))),
        (Cause::IncompleteProduct("TEA-HS".into()), Some(lacks(false, true))),
        (Cause::Unmappable("shop/m-1".into()), None),
        (Cause::MessageChanged("shop/m-2".into()), None),
        (Cause::NothingFits(key("S-417")), None),
        (Cause::NothingFits(key("S-418")), Some(Detail::TooLarge { product: product() })),
        (Cause::NothingFits(key("S-419")), Some(Detail::TooMany { pieces: 612, most: 500 })),
        (Cause::NoService(key("S-417")), None),
        (Cause::NoService(key("S-418")), Some(Detail::Wish("Road".into()))),
        (Cause::Rule("collect".into(), key("S-417")), Some(Detail::Rule("Teapot, peat black?".into()))),
        (Cause::Rule("collect".into(), key("S-418")), None),
        (Cause::Rule("collect".into(), key("S-419")), Some(Detail::Rule("Teapot, peat black? ".repeat(40)))),
        (Cause::RuleFailed("collect".into()), None),
        (Cause::RuleFailed("collect / Letter".into()), Some(Detail::Conflict)),
        (Cause::SameRevision(key("S-417")), None),
        (Cause::AfterPrinting(key("S-417")), None),
        (Cause::AfterPrinting(key("S-418")), Some(Detail::CancelledAfterHandOver(2))),
        (Cause::AfterPrinting(key("S-419")), Some(Detail::ChangedAfterHandOver)),
        (Cause::AfterPrinting(key("S-420")), Some(Detail::ChangedAfterPacking)),
        (Cause::AfterPrinting(key("S-421")), Some(Detail::CameAfterForgetting)),
        (Cause::Uncancelled(key("S-417")), None),
        (Cause::StoppedProgram(key("S-417")), None),
        (Cause::UncertainPaper(1), None),
        (Cause::UncertainPaper(99), None),
        (Cause::RecordsLost(7, 9), None),
    ];
    asked.extend(FLAW_KINDS.map(|kind| (Cause::Flaw(key("S-417"), kind), None)));
    for (cause, detail) in asked {
        let question = Question { cause, what: "in English".into(), remedy: "to be typed".into(), detail };
        book.state.loose_stops.push(Stop { kind: StopKind::NeedsYou(question), since: now() });
    }
    let job = Job {
        rows: None,
        sent_to: None,
        id: JobId(1),
        kind: PaperKind::Slip,
        subject: Subject::Parcel(ParcelId(401)),
        copy: None,
        rank: 0,
        state: JobState::Uncertain { why: Reason::Ended.about("bench") },
        since: now(),
        digest: None,
        tries: 1,
    };
    book.state.jobs.insert(JobId(1), job);
}

pub const SHEETS: [(&str, Sheet); 3] =
    [("576", Sheet::WIDE), ("512", Sheet { dots: 512, dpi: 180 }), ("384", Sheet::NARROW)];

/// Where pictures go for people and for `outside/codes.py` to look at.
pub fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("paper");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

#[track_caller]
pub fn check_golden(name: &str, text: &str) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases/paper").join(format!("{name}.txt"));
    if std::env::var_os("DAWNSLIP_WRITE_CASES").is_some() {
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(&file, text).unwrap();
    }
    let golden = std::fs::read_to_string(&file).unwrap_or_else(|_| panic!("{} is missing", file.display()));
    assert_eq!(text, golden, "{name}");
}
