//! The three renderers agree: what the galley draws of the bytes is our picture dot for dot, and
//! the text carries every word; and the codes on the picture survive a smear.

mod slip_demo;

use dawnslip::model::*;
use dawnslip::print::galley::{Galley, GalleyOptions, Picture};
use dawnslip::slip::bitmap::Bitmap;
use dawnslip::slip::document::{Block, Cell, Document, Run};
use dawnslip::slip::layout::layout;
use dawnslip::slip::{self, *};
use slip_demo::*;
use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;
use tokio::io::AsyncWriteExt;

const SHEETS: [Sheet; 3] = [Sheet::WIDE, Sheet { dots: 512, dpi: 180 }, Sheet::NARROW];

fn samples(setter: &mut Typesetter) -> Vec<(String, Paper)> {
    let documents = sample::papers(&workshop(), now());
    assert!(documents.len() > 20);
    // Of each script one card is enough here; every design of each stands on the contact sheet.
    let documents = documents.into_iter().filter(|(name, _)| !name.contains("script") || name.ends_with("-plain"));
    documents.map(|(name, document)| (name, settled(document, Vec::new(), setter))).collect()
}

#[tokio::test]
async fn what_the_galley_draws_of_the_bytes_is_our_picture_dot_for_dot() {
    let mut setter = Typesetter::new(Fonts::embedded());
    let papers = samples(&mut setter);
    for sheet in SHEETS {
        let dots = sheet.dots as usize;
        let galley = Galley::offline(GalleyOptions { dots, ..GalleyOptions::default() }).unwrap();
        let mut connection = galley.net().connect("galley").await.unwrap();
        for (number, (name, paper)) in papers.iter().enumerate() {
            let profile = printer(sheet.dots, sheet.dpi, Confirms::ProcessId, true);
            connection.write_all(&render_bytes(paper, &profile, None, &mut setter).unwrap()).await.unwrap();
            let drawn =
                tokio::time::timeout(Duration::from_secs(60), galley.wait_for(number as u64 + 1)).await.unwrap();
            let drawn = Picture::from_png(&drawn[number].png).unwrap();
            let ours = layout(&paper.document, sheet, &mut setter).dots;
            assert_eq!(drawn.width(), dots, "{name}");
            assert!(drawn.height() >= ours.height() as usize, "{name}");
            for y in 0..drawn.height() {
                for x in 0..dots {
                    let black = ours.is_black(x as i32, y as i32);
                    assert_eq!(drawn.is_black(x, y), black, "{name}, {} dots wide: dot {x}, {y}", sheet.dots);
                }
            }
        }
    }
}

/// Every run of words in a document.
fn words(document: &Document) -> Vec<String> {
    let mut words = Vec::new();
    let mut add = |runs: &[Run]| words.extend(runs.iter().map(|run| run.text.clone()));
    for block in &document.blocks {
        match block {
            Block::Text(paragraph) | Block::Band(paragraph) => add(&paragraph.runs),
            Block::Name(name) => add(&[Run::new(&name.text, name.face, name.largest)]),
            Block::Sides(sides) => {
                add(&sides.left);
                add(&sides.right);
            }
            Block::Table(table) => {
                for cell in table.rows.iter().flatten() {
                    match cell {
                        Cell::Text(runs) => add(runs),
                        Cell::Quantity(n) => add(&[Run::new(format!("{n} ×"), document::Face::Sans, 20)]),
                        Cell::Empty | Cell::Tick | Cell::Caution => {}
                    }
                }
            }
            Block::Packing(packing) => {
                packing.names.iter().for_each(|named| add(&[named.number.clone(), named.name.clone()]));
                packing.layers.iter().for_each(|layer| add(&[layer.word.clone(), layer.numbers.clone()]));
            }
            Block::Bars(code) | Block::Qr(code) => add(&[Run::new(&code.data, document::Face::Sans, 20)]),
            Block::Picture(_) | Block::Rule(_) | Block::Space(_) | Block::TearLine | Block::Cut => {}
        }
    }
    words
}

fn count(text: &str) -> BTreeMap<char, usize> {
    let mut letters = BTreeMap::new();
    text.chars().filter(|c| !c.is_whitespace()).for_each(|c| *letters.entry(c).or_default() += 1);
    letters
}

#[test]
fn the_text_carries_every_word() {
    let mut setter = Typesetter::new(Fonts::embedded());
    for (name, paper) in samples(&mut setter) {
        let said = words(&paper.document);
        assert!(!said.is_empty(), "{name}");
        // Wide enough for every line: each word stands there whole.
        let text = render_text(&paper, Sheet { dots: 12_000, dpi: 203 }, &mut setter);
        for word in said.iter().flat_map(|run| run.split_whitespace()) {
            assert!(text.contains(word), "{name}: {word:?} is missing in\n{text}");
        }
        // On real paper words may be broken between lines and columns; no letter is lost.
        for sheet in SHEETS {
            let text = count(&render_text(&paper, sheet, &mut setter));
            for (letter, times) in count(&said.concat()) {
                assert!(text.get(&letter).is_some_and(|found| *found >= times), "{name}: {letter:?} is lost");
            }
        }
    }
}

/// Ink that runs: every black dot blackens its neighbours this far.
fn smeared(dots: &Bitmap, right: i32, down: i32) -> Bitmap {
    let mut out = Bitmap::new(dots.width() + right as u32, dots.height() + down as u32);
    for dy in 0..=down {
        for dx in 0..=right {
            out.lay(dots, dx, dy);
        }
    }
    out
}

/// Writes codes of several sizes with and without a smear, for `outside/codes.py`; QR codes are also
/// read here.
#[test]
fn codes_can_be_read_after_a_smear_of_one_dot() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("codes");
    std::fs::create_dir_all(&folder).unwrap();
    let mut expected = String::new();
    let smears = [("clean", 0, 0), ("right", 1, 0), ("down", 0, 1), ("both", 1, 1)];
    for width in [576, 384] {
        for (smear, right, down) in smears {
            let mut save = |kind: &str, size: u32, data: &str, dots: &Bitmap| {
                let file = format!("{kind}-{width}-{size}-{smear}.png");
                std::fs::write(folder.join(&file), slip::picture::png(&smeared(dots, right, down)).unwrap()).unwrap();
                expected += &format!("{file}\t{kind}\t{data}\n");
            };
            for module in [2, 3, 4] {
                let data = format!("p{}", 401 + width);
                let bars = slip::codes::bars(&data, module, 64, width);
                assert!(bars.is_some() || module == 4 && width == 384, "module {module} on {width} dots");
                bars.iter().for_each(|bars| save("Code128", module, &data, bars));
            }
            for module in [3, 4, 6, 8] {
                let data = format!("test-{width}-{module}");
                let dots = slip::codes::qr(&data, module, width).unwrap();
                save("QRCode", module, &data, &dots);
                let ink = smeared(&dots, right, down);
                let gray = |x: usize, y: usize| if ink.is_black(x as i32, y as i32) { 0 } else { 255 };
                let (across, high) = (ink.width() as usize, ink.height() as usize);
                let mut image = rqrr::PreparedImage::prepare_from_greyscale(across, high, gray);
                let grids = image.detect_grids();
                let read = grids.first().and_then(|grid| grid.decode().ok()).map(|(_, text)| text);
                assert_eq!(read, Some(data), "module {module}, {smear}");
            }
        }
    }
    std::fs::write(folder.join("expected.tsv"), expected).unwrap();
}
