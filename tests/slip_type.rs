//! Letters and their sizes, what stands out, and what never leaves the house.

mod slip_demo;

use dawnslip::model::*;
use dawnslip::slip::bitmap::Bitmap;
use dawnslip::slip::document::{Block, Cell, Column, Document, Face, Paragraph, Run, Table};
use dawnslip::slip::fonts::Han;
use dawnslip::slip::layout::layout;
use dawnslip::slip::*;
use slip_demo::papers::*;
use slip_demo::*;
use std::collections::BTreeSet;

/// Larger letters are display: a number, a name, a heading.
const WORDS_MAX: u16 = 26;

fn setter() -> Typesetter {
    Typesetter::new(Fonts::embedded())
}

#[test]
fn a_slip_and_a_pick_list_use_two_sizes_of_words_and_three_of_display() {
    let mut setter = setter();
    let mut checked = 0;
    for (name, paper) in all_papers(&workshop(), &mut setter) {
        if !(name.starts_with("slip") || name == "pick_list" || name.ends_with("note")) {
            continue;
        }
        // The line of thanks has a face of its own. A note's great word is not read but seen.
        let blocks: Vec<Block> =
            paper.document.blocks.iter().filter(|b| !matches!(b, Block::Band(_))).cloned().collect();
        let sizes: BTreeSet<u16> =
            runs_of(&blocks).iter().filter(|run| run.style.face != Face::Italic).map(|run| run.style.size).collect();
        let (words, display): (Vec<u16>, Vec<u16>) = sizes.into_iter().partition(|size| *size <= WORDS_MAX);
        assert!(words.len() <= 2, "{name}: {words:?}");
        assert!(display.len() <= 3, "{name}: {display:?}");
        checked += 1;
    }
    assert_eq!(checked, 8);
}

/// The dots of a quantity's cell alone.
fn quantity(n: u32, setter: &mut Typesetter) -> Bitmap {
    let mut table = Table::list([Column::FIT]);
    table.rows.push(vec![Cell::Quantity(n)]);
    let document = Document { blocks: vec![Block::Table(table)], ..Document::default() };
    layout(&document, Sheet::WIDE, setter).dots
}

/// Left, top, right and bottom of what is black, and the share of it in percent.
fn ink(dots: &Bitmap) -> ([i32; 4], i32) {
    let (width, height) = (dots.width() as i32, dots.height() as i32);
    let black = (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).filter(|(x, y)| dots.is_black(*x, *y));
    let (mut edges, mut count) = ([i32::MAX, i32::MAX, 0, 0], 0);
    for (x, y) in black {
        edges = [edges[0].min(x), edges[1].min(y), edges[2].max(x + 1), edges[3].max(y + 1)];
        count += 1;
    }
    let area = (edges[2] - edges[0]) * (edges[3] - edges[1]);
    (edges, count * 100 / area.max(1))
}

#[test]
fn more_than_one_stands_white_on_black_and_two_never_looks_like_twelve() {
    let mut setter = setter();
    // The sign × stands beside the figure, so only the figure's box is looked at: the left part.
    let boxed = |dots: &Bitmap| {
        let rows = 0..dots.height() as i32;
        // In a box the middle of the upper edge is black all the way.
        let longest = rows.map(|y| {
            let (mut run, mut best) = (0, 0);
            for x in 0..dots.width() as i32 {
                run = if dots.is_black(x, y) { run + 1 } else { 0 };
                best = best.max(run);
            }
            best
        });
        longest.max().unwrap_or(0)
    };
    let one = quantity(1, &mut setter);
    assert!(boxed(&one) < 16, "one has no box");
    let mut seen: Vec<(u32, Vec<u8>, i32)> = Vec::new();
    for n in [2, 3, 4, 12, 20, 22, 112] {
        let dots = quantity(n, &mut setter);
        assert!(boxed(&dots) >= 20, "{n} stands in a box");
        assert!(ink(&dots).1 > 35, "{n} is mostly black");
        seen.push((n, dots.bytes().to_vec(), boxed(&dots)));
    }
    for (at, (n, bytes, box_width)) in seen.iter().enumerate() {
        for (m, others, other_width) in &seen[at + 1..] {
            assert_ne!(bytes, others, "{n} and {m}");
            if n.to_string().len() != m.to_string().len() {
                assert!(other_width - box_width >= 8, "{n} and {m}: {box_width} and {other_width} dots wide");
            }
        }
    }
}

#[test]
fn the_customers_part_holds_nothing_of_the_house() {
    let mut setter = setter();
    let book = troubled();
    let mut checked = 0;
    for (id, parcel) in book.state.parcels.iter() {
        for copy in [None, Some(CopyMark { of: JobId(7), at: now(), why: Reason::Silent.words().into() })] {
            let paper = make_in(&workshop(), &book, PaperKind::Slip, &Subject::Parcel(*id), copy.as_ref(), &mut setter);
            let tears: Vec<usize> =
                (0..).zip(&paper.document.blocks).filter(|(_, b)| **b == Block::TearLine).map(|(at, _)| at).collect();
            // Above a copy's first tear line stands its reason, which stays in the house.
            let from = if copy.is_some() { tears[0] } else { 0 };
            let customers = &paper.document.blocks[from..*tears.last().unwrap()];
            assert_eq!(tears.len(), 1 + usize::from(copy.is_some()));
            assert!(!customers.iter().any(|block| matches!(block, Block::Bars(_) | Block::Qr(_) | Block::Packing(_))));
            let text = runs_of(customers).iter().map(|run| run.text.clone()).collect::<Vec<_>>().join("\n");
            let planned = &parcel.planned;
            let mut house = vec![id.to_string(), planned.container.to_string(), planned.service.to_string()];
            house.extend([planned.zone.clone()].into_iter().filter(|zone| !zone.is_empty()));
            house.extend(planned.inside.iter().map(ToString::to_string));
            house.extend(planned.cautions.iter().map(ToString::to_string));
            house.extend(planned.notes.iter().cloned());
            house.extend(planned.supplies.iter().map(|used| used.supply.to_string()));
            house.extend(planned.contents.iter().filter_map(|content| Some(content.batch.as_ref()?.to_string())));
            house.extend(["COPY", "EUR", "kg", "A1", "B3", "B10", "C2"].map(str::to_owned));
            for word in house {
                assert!(!text.contains(&word), "{word:?} in {text}");
                checked += 1;
            }
        }
    }
    assert!(checked > 150, "{checked}");
}

#[test]
fn a_label_has_one_upright_face_above_its_tear_line() {
    let mut setter = setter();
    for (name, paper) in all_papers(&workshop(), &mut setter).into_iter().filter(|(name, _)| name.starts_with("label"))
    {
        let tear = paper.document.blocks.iter().position(|block| *block == Block::TearLine).unwrap();
        let faces: BTreeSet<String> =
            runs_of(&paper.document.blocks[..tear]).iter().map(|run| format!("{:?}", run.style.face)).collect();
        assert_eq!(faces.into_iter().collect::<Vec<_>>(), ["Sans"], "{name}");
    }
}

/// Dots of a line's width.
fn width(text: &str, face: Face, setter: &mut Typesetter) -> i32 {
    setter.set(&[Run::new(text, face, 80)], None, 1.0, Han::default()).width
}

#[test]
fn pairs_of_letters_stand_closer_where_the_face_says_so() {
    let mut setter = setter();
    for face in [Face::Sans, Face::Bold, Face::Heavy, Face::Text, Face::Display] {
        for pair in ["AV", "To", "Te"] {
            let alone: i32 = pair.chars().map(|c| width(&c.to_string(), face, &mut setter)).sum();
            let together = width(pair, face, &mut setter);
            // Rounding of each width up makes one dot.
            assert!(together < alone - 2, "{pair} in {face:?}: {together} of {alone}");
        }
    }
}

#[test]
fn the_text_face_joins_letters_that_would_collide() {
    let mut setter = setter();
    let dots = |text: &str, setter: &mut Typesetter| {
        let run = Paragraph::plain(text, Face::Text, 60);
        let document = Document { blocks: vec![Block::Text(run)], ..Document::default() };
        layout(&document, Sheet::WIDE, setter).dots
    };
    // A word joiner's absence of ink keeps the letters apart: the same two, unjoined.
    for pair in ["fi", "fl", "ff"] {
        let apart: String = pair.chars().map(String::from).collect::<Vec<_>>().join("\u{200c}");
        assert_ne!(dots(pair, &mut setter).bytes(), dots(&apart, &mut setter).bytes(), "{pair}");
    }
    assert_eq!(dots("ab", &mut setter).bytes(), dots("a\u{200c}b", &mut setter).bytes(), "others are not touched");
}

#[test]
fn a_paper_longer_than_a_roll_is_cut_off_and_says_so() {
    let mut setter = setter();
    let mut document = Document::default();
    let page = |document: &Document, setter: &mut Typesetter| layout(document, Sheet { dots: 64, dpi: 203 }, setter);
    document.push(Block::Space(400_000));
    document.text("the last words", Face::Sans, 25);
    let just = page(&document, &mut setter);
    assert_eq!(just.warning(), None);
    document.text("one more", Face::Sans, 25);
    let over = page(&document, &mut setter);
    assert_eq!(over.warning(), Some(Warning::CutOff));
    assert!(!over.lines.iter().any(|line| line.contains("one more")), "{:?}", over.lines);
    assert!(over.lines.iter().any(|line| line.contains('…')), "on the paper, too");
}

#[test]
fn the_contact_sheet_shows_every_kind_and_every_script_in_every_design_and_lacks_no_letter() {
    let mut setter = setter();
    let workshop = workshop();
    let papers = sample::papers(&workshop, now());
    let with = |part: &str| papers.iter().filter(|(name, _)| name.contains(part)).count();
    // One for each family of letters that is embedded, less the two people of the Latin one.
    let scripts = 24;
    assert_eq!(with("card-script-"), scripts * look::DESIGNS.len());
    assert_eq!((with("slip-script-"), with("label-script-")), (scripts, scripts));
    let cards = workshop.cards.len() * look::DESIGNS.len();
    assert_eq!(papers.len(), scripts * (look::DESIGNS.len() + 2) + cards + 9);
    for kind in [
        "pick-list",
        "slip",
        "slip-gift",
        "slip-copy",
        "label",
        "customs-sheet",
        "change-note",
        "stop-note",
        "test-page",
    ] {
        assert_eq!(papers.iter().filter(|(name, _)| name == kind).count(), 1, "{kind}");
    }
    let mut letters = BTreeSet::new();
    for (name, document) in papers {
        letters.extend(runs(&document).iter().flat_map(|run| run.text.chars().collect::<Vec<_>>()));
        let paper = settled(document, Vec::new(), &mut setter);
        assert_eq!(paper.warnings, [], "{name}");
        let page = layout(&paper.document, Sheet::NARROW, &mut setter);
        assert_eq!((page.missing.len(), page.cut_off), (0, false), "{name}");
    }
    // Every embedded face is used: a letter of each script stands on some paper.
    for letter in "Åκк花김عנकสნ–সਕદସුሰகలಕ അສအសԱ".chars().filter(|c| c.is_alphabetic())
    {
        let near =
            |c: &char| unicode_script::UnicodeScript::script(c) == unicode_script::UnicodeScript::script(&letter);
        assert!(letters.iter().any(near), "{letter}");
    }
}
