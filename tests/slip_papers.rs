//! Papers as a whole: golden texts, pictures, bytes, warnings.

mod slip_demo;

use dawnslip::book::*;
use dawnslip::model::*;
use dawnslip::slip::{Fonts, Paper, Sheet, Typesetter, Wanted, paper, render_png, render_text};
use slip_demo::*;
use std::path::PathBuf;

fn setter() -> Typesetter {
    Typesetter::new(Fonts::embedded())
}

fn make(book: &Book, kind: PaperKind, subject: &Subject, copy: Option<&CopyMark>, setter: &mut Typesetter) -> Paper {
    let wanted = Wanted { kind, subject, copy };
    paper(&wanted, &book.state, &book.people, &workshop(), setter, now()).unwrap()
}

fn papers(setter: &mut Typesetter) -> Vec<(&'static str, Paper)> {
    let list = make(&morning(), PaperKind::PickList, &Subject::List { date: today(), extra: 0 }, None, setter);
    let mut book = morning();
    let changed = OrderKey::new("shop", "S-418");
    let cancelled = OrderKey::new("shop", "S-421");
    let order = book.state.orders.get_mut(&changed).unwrap();
    order.differences = vec!["3 × TEA-HS instead of 2".into(), "the address is another one".into()];
    let order = book.state.orders.get_mut(&cancelled).unwrap();
    let at = now() - jiff::SignedDuration::from_mins(12);
    order.cancelled = Some(Cancelled { at, by: Actor::Shop, reason: "the customer cancelled at the shop".into() });
    book.state.parcels.get_mut(&ParcelId(405)).unwrap().stage = Stage::Packed;
    let mark = CopyMark { of: JobId(7), at, why: "the printer went silent".into() };
    let card = |n| Subject::Card(ParcelId(n), "thanks".into());
    [
        ("slip", PaperKind::Slip, Subject::Parcel(ParcelId(401)), None),
        ("slip_gift", PaperKind::Slip, Subject::Parcel(ParcelId(404)), None),
        ("slip_copy", PaperKind::Slip, Subject::Parcel(ParcelId(406)), Some(&mark)),
        ("card", PaperKind::Card, card(401), None),
        ("card_gift", PaperKind::Card, card(404), None),
        ("card_han", PaperKind::Card, card(402), None),
        ("card_arabic", PaperKind::Card, card(405), None),
        ("change_note", PaperKind::ChangeNote, Subject::Note(changed, 1), None),
        ("stop_note", PaperKind::StopNote, Subject::Note(cancelled, 1), None),
        ("test_page", PaperKind::TestPage, Subject::Test(1), None),
    ]
    .into_iter()
    .map(|(name, kind, subject, copy)| (name, make(&book, kind, &subject, copy, setter)))
    .chain([("pick_list", list)])
    .collect()
}

const SHEETS: [(&str, Sheet); 3] =
    [("576", Sheet::WIDE), ("512", Sheet { dots: 512, dpi: 180 }), ("384", Sheet::NARROW)];

/// Where pictures go for people to look at: printed by the test.
fn folder() -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("paper");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

#[test]
fn every_paper_is_drawn_at_every_width() {
    let mut setter = setter();
    for (name, paper) in papers(&mut setter) {
        for (width, sheet) in SHEETS {
            let file = folder().join(format!("{name}_{width}.png"));
            std::fs::write(&file, render_png(&paper, sheet, &mut setter).unwrap()).unwrap();
            std::fs::write(file.with_extension("txt"), render_text(&paper, sheet, &mut setter)).unwrap();
        }
    }
    println!("{}", folder().display());
}
