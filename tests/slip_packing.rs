//! The picture on a slip's stub of how things lie in their box: where it stands, when there is none, what
//! its words say.

mod slip_demo;

use dawnslip::model::*;
use dawnslip::slip::document::{Block, Document};
use dawnslip::slip::layout::layout;
use dawnslip::slip::packing;
use dawnslip::slip::{self, *};
use slip_demo::*;

const SHEETS: [Sheet; 3] = [Sheet::WIDE, Sheet { dots: 512, dpi: 180 }, Sheet::NARROW];

fn slip(book: &Book, parcel: u64, from: u32, setter: &mut Typesetter) -> Paper {
    let workshop = Workshop { draw_packing_from: from, ..workshop() };
    let subject = Subject::Parcel(ParcelId(parcel));
    let wanted = Wanted { kind: PaperKind::Slip, subject: &subject, copy: None };
    paper(&wanted, &book.state, &book.people, &workshop, setter, now()).unwrap()
}

fn setter() -> Typesetter {
    Typesetter::new(Fonts::embedded())
}

fn pictures(paper: &Paper) -> usize {
    paper.document.blocks.iter().filter(|block| matches!(block, Block::Packing(_))).count()
}

/// What the block says in words, its numbers and layers.
fn told(paper: &Paper) -> Vec<String> {
    let block = paper.document.blocks.iter().find(|block| matches!(block, Block::Packing(_))).unwrap().clone();
    let alone = Document { blocks: vec![block], ..Document::default() };
    layout(&alone, Sheet::WIDE, &mut setter()).lines
}

#[test]
fn the_picture_stands_on_the_stub_and_never_on_the_customers_part() {
    let mut setter = setter();
    let mut book = morning();
    riddle(&mut book);
    for parcel in [401, 404, 409] {
        let paper = slip(&book, parcel, 3, &mut setter);
        let at = |wanted: fn(&Block) -> bool| paper.document.blocks.iter().position(wanted).unwrap();
        assert!(at(|block| matches!(block, Block::Packing(_))) > at(|block| matches!(block, Block::TearLine)));
        for sheet in SHEETS {
            let text = render_text(&paper, sheet, &mut setter);
            let (customers, stub) = text.split_once("- - - -").unwrap();
            assert!(!customers.contains("On the floor") && stub.contains("On the floor"), "{text}");
        }
    }
}

#[test]
fn few_pieces_have_none_and_nought_switches_it_off() {
    let mut setter = setter();
    let book = morning();
    // 401 has three pieces, 406 two, of 402 the plan does not say how they lie.
    for (parcel, from, expected) in [
        (401, 3, 1),
        (401, 4, 0),
        (401, 0, 0),
        (401, 1, 1),
        (406, 3, 0),
        (406, 2, 1),
        (406, 0, 0),
        (402, 3, 0),
        (402, 1, 0),
    ] {
        assert_eq!(pictures(&slip(&book, parcel, from, &mut setter)), expected, "parcel {parcel}, from {from}");
    }
}

#[test]
fn words_say_what_each_number_is_and_what_lies_where_from_the_floor_up() {
    let mut book = morning();
    riddle(&mut book);
    let mut setter = setter();
    assert_eq!(
        told(&slip(&book, 401, 3, &mut setter)),
        ["1 Mug, tide grey", "2 Heather smoke, 100 g", "On the floor: 1, 1, 2"]
    );
    assert_eq!(
        told(&slip(&book, 409, 3, &mut setter)),
        [
            "1 Mug, tide grey",
            "2 Teapot, peat black",
            "3 Heather smoke, 100 g",
            "On the floor: 1, 1, 1, 1, 2",
            "On top: 3, 3"
        ]
    );
    // Many alike are counted, and a third layer has a number.
    let cans: Vec<_> = (0..27).map(|n| (0, [n % 3 * 40, n / 3 % 3 * 40, n / 9 * 60], [40, 40, 60])).collect();
    book.lay(402, [120, 120, 180], &cans);
    let nine = "1\u{a0}(9\u{a0}×)".replace('\u{a0}', " ");
    assert_eq!(
        told(&slip(&book, 402, 3, &mut setter)),
        [
            "1 Heather smoke, 100 g".to_owned(),
            format!("On the floor: {nine}"),
            format!("On top: {nine}"),
            format!("Layer 3: {nine}")
        ]
    );
}

#[test]
fn equal_things_have_one_number_whatever_their_batch() {
    let mut book = morning();
    let planned = &mut book.state.parcels.get_mut(&ParcelId(401)).unwrap().planned;
    planned.contents[1] = Content { batch: None, line: Some(1), quantity: 1, ..planned.contents[0].clone() };
    planned.contents.push(Content { sku: "POT-PB".into(), quantity: 1, batch: None, line: None, order: 0 });
    planned.placement[1].content = 2;
    let said = told(&slip(&book, 401, 3, &mut setter()));
    assert_eq!(said, ["1 Mug, tide grey", "3 Teapot, peat black", "On the floor: 1, 1, 3"]);
}

#[test]
fn a_packing_that_cannot_be_is_not_drawn() {
    let mut setter = setter();
    let piece = |at, size| (0, at, size);
    let good = piece([0, 0, 0], [10, 10, 10]);
    let beyond = piece([95, 0, 0], [10, 10, 10]);
    let flat = piece([20, 0, 0], [10, 10, 0]);
    let before = piece([-1, 0, 0], [10, 10, 10]);
    let huge = piece([i64::MAX, 0, 0], [i64::MAX, 1, 1]);
    let unknown = (9, [20, 0, 0], [10, 10, 10]);
    for bad in [beyond, flat, before, huge, unknown] {
        let mut book = morning();
        book.lay(401, [100, 100, 100], &[good, bad, good]);
        assert_eq!(pictures(&slip(&book, 401, 3, &mut setter)), 0, "{bad:?}");
    }
    for (count, expected) in [(packing::PIECES_MAX, 1), (packing::PIECES_MAX + 1, 0)] {
        let mut book = morning();
        let row: Vec<_> = (0..count as i64).map(|n| piece([n, 0, 0], [1, 10, 10])).collect();
        book.lay(401, [100, 100, 100], &row);
        assert_eq!(pictures(&slip(&book, 401, 3, &mut setter)), expected, "{count}");
    }
}

/// The picture is small, nothing of it is cut off, and paper is dear.
#[test]
fn the_picture_fits_every_paper_and_costs_little_of_it() {
    let mut setter = setter();
    let mut book = morning();
    riddle(&mut book);
    let towers: Vec<_> = (0..12).map(|n| (0, [n % 4 * 50, n / 4 % 3 * 40, 0], [50, 40, 390 - n * 20])).collect();
    book.lay(402, [200, 120, 400], &towers);
    let flat: Vec<_> = (0..24).map(|n| (0, [n % 4 * 75, n / 4 % 3 * 90, n / 12 * 20], [75, 90, 20])).collect();
    book.lay(403, [300, 270, 40], &flat);
    // Thin things of two kinds by turns, each a little aside: neither view shows all.
    let mut stack: Vec<_> =
        (0..8_i64).map(|n| ((n % 2) as usize, [n % 3 * 4, n % 2 * 300, n / 2 * 9], [280, 290, 9])).collect();
    stack.push((1, [20, 100, 36], [200, 300, 8]));
    book.lay(407, [300, 600, 80], &stack);
    book.state.parcels.get_mut(&ParcelId(407)).unwrap().planned.contents.push(Content {
        sku: "MUG-TG".into(),
        quantity: 5,
        batch: None,
        line: None,
        order: 0,
    });
    for parcel in [401, 402, 403, 404, 407, 409] {
        let paper = slip(&book, parcel, 3, &mut setter);
        let block = paper.document.blocks.iter().find(|block| matches!(block, Block::Packing(_))).unwrap();
        for sheet in SHEETS {
            let alone = Document { blocks: vec![block.clone()], ..Document::default() };
            let page = layout(&alone, sheet, &mut setter);
            let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("packing");
            std::fs::create_dir_all(&folder).unwrap();
            let png = slip::picture::png(&page.dots).unwrap();
            std::fs::write(folder.join(format!("{parcel}_{}.png", sheet.dots)), png).unwrap();
            let mm = page.dots.height() as f32 * 25.4 / sheet.dpi as f32;
            // On narrow paper the words of many layers are longer than the picture.
            let most = if sheet == Sheet::NARROW && parcel == 407 { 45.0 } else { 36.0 };
            assert!((8.0..=most).contains(&mm), "parcel {parcel}: {mm} mm on {} dots", sheet.dots);
            // What was cut off would blacken the last column.
            let right = (0..page.dots.height() as i32).any(|y| page.dots.is_black(sheet.dots as i32 - 1, y));
            assert!(!right, "parcel {parcel}: ink at the edge of {} dots", sheet.dots);
            assert!(page.lines.iter().all(|line| slip::text::width(line) <= sheet.columns()));
        }
    }
}

#[test]
fn alike_layers_are_told_once_and_too_many_not_at_all() {
    let mut setter = setter();
    let plates = |count: i64, shifted: i64| -> Vec<_> {
        (0..count).map(|n| (0, [n % 2 * shifted, 0, n * 20], [100, 100, 20])).collect()
    };
    let mut book = morning();
    book.lay(402, [200, 100, 240], &plates(12, 0));
    assert_eq!(
        told(&slip(&book, 402, 3, &mut setter)),
        ["1 Heather smoke, 100 g", "On the floor: 1", "On top: 1", "Layer 3–12: 1"]
    );
    for (count, expected) in [(packing::LAYERS_MAX as i64, 1), (packing::LAYERS_MAX as i64 + 1, 0)] {
        book.lay(402, [200, 100, 240], &plates(count, 10));
        assert_eq!(pictures(&slip(&book, 402, 3, &mut setter)), expected, "{count} layers");
    }
}
