//! A packing: its picture, the numbers in it, and beside or below it the words that explain them.

use super::super::bitmap::Bitmap;
use super::super::document::{Align, Cell, Column, Packing, Paragraph, Run, Table};
use super::super::packing::{self, Drawn, Most, Tells};
use super::super::typeset::Set;
use super::Pass;
use std::collections::HashMap;
use std::sync::Arc;

/// Highest picture, in dots: 35 mm.
const HEIGHT: f32 = 280.0;
/// Widest picture from the side, in percent of the width.
const WIDEST: i32 = 48;
/// Words go beside a picture where so many dots are left for them.
const BESIDE_MIN: f32 = 150.0;
/// Between a picture and its words, and between two layers.
const GAP: f32 = 20.0;
/// White around a number in the picture.
const AROUND: f32 = 3.0;
/// Widths that layers are tried in, in percent of the paper's.
const LAYERS: [i32; 6] = [22, 26, 30, 36, 42, 48];

/// The numbers, set, with the rows of their ink above and below the baseline.
type Numbers = HashMap<u32, (Arc<Set>, (i32, i32))>;

/// A picture in dots, numbers and all.
struct Laid {
    dots: Bitmap,
    /// Where the words stand that tell its layers, if it has such.
    baseline: Option<i32>,
}

impl Pass<'_> {
    pub(super) fn packing(&mut self, packing: &Packing) {
        let numbers = self.numbers(packing);
        let around = self.scaled(AROUND);
        let field = |number: u32| match numbers.get(&number) {
            Some((set, (top, bottom))) => (set.width + 2 * around, bottom - top + 2 * around),
            None => (1, 1),
        };
        let most = Most { width: (self.width * WIDEST / 100) as u32, height: self.scaled(HEIGHT) as u32 };
        let (whole, tells) = packing::whole(packing.room, &packing.blocks, most, &field);
        let by_layers = match tells {
            Tells::All => None,
            Tells::Part => self.by_layers(packing, &numbers, &field),
        };
        // Where the layers have no room either, the words must do what the picture does not.
        let picture = by_layers.unwrap_or_else(|| Laid { dots: numbered(whole, &numbers, &field), baseline: None });
        self.lay_beside(&picture, packing);
    }

    fn numbers(&mut self, packing: &Packing) -> Numbers {
        let mut numbers = Numbers::new();
        for named in &packing.names {
            let set = self.set(std::slice::from_ref(&named.number), None);
            let ink = set.lines.first().map_or((0, 0), |line| line.ink());
            if let Ok(number) = named.number.text.parse() {
                numbers.insert(number, (set, ink));
            }
        }
        numbers
    }

    /// All layers from the floor up, each with its words above it, at the smallest size at which all numbers
    /// have room; `None` where this would take too much paper.
    fn by_layers(&mut self, packing: &Packing, numbers: &Numbers, field: packing::Field<'_>) -> Option<Laid> {
        let (room, blocks) = packing::broad(packing.room, &packing.blocks);
        let words: Vec<Arc<Set>> =
            packing.layers.iter().map(|layer| self.set(std::slice::from_ref(&layer.word), None)).collect();
        let head = words.iter().map(|set| set.height).max().unwrap_or(0);
        let longest = words.iter().map(|set| set.width).max().unwrap_or(0);
        let gap = self.scaled(GAP);
        let mut best: Option<(usize, Bitmap)> = None;
        for percent in LAYERS {
            let width = (self.width * percent / 100).max(16);
            let drawn: Vec<Drawn> = (packing.layers.iter())
                .map(|layer| packing::layer(room, &blocks, layer.first, width as u32, field))
                .collect();
            let bare: usize = drawn.iter().map(|drawn| drawn.bare.len()).sum();
            let (across, down) = (width.max(longest), head + drawn.first().map_or(0, |one| one.dots.height() as i32));
            let columns = ((self.width + gap) / (across + gap)).clamp(1, drawn.len().max(1) as i32);
            let rows = (drawn.len() as i32 + columns - 1) / columns;
            let height = rows * (down + gap / 2) - gap / 2;
            let is_too_large = height > self.scaled(HEIGHT) || across > self.width;
            if is_too_large || best.as_ref().is_some_and(|(least, _)| *least <= bare) {
                continue;
            }
            let mut dots =
                Bitmap::new((columns * (across + gap) - gap).clamp(1, self.width) as u32, height.max(1) as u32);
            for ((at, drawn), words) in (0..).zip(drawn).zip(&words) {
                let (x, y) = (at % columns * (across + gap), at / columns * (down + gap / 2));
                words.lines.iter().for_each(|line| line.draw(&mut dots, x, y + line.baseline));
                dots.lay(&numbered(drawn, numbers, field), x, y + head);
            }
            best = Some((bare, dots));
            if bare == 0 {
                break;
            }
        }
        best.map(|(_, dots)| Laid { dots, baseline: words.iter().map(|set| first(set)).max() })
    }

    /// The picture at the left, its words at the right where they have room there, else below.
    fn lay_beside(&mut self, picture: &Laid, packing: &Packing) {
        let (width, height) = (picture.dots.width() as i32, picture.dots.height() as i32);
        // The first line of words stands beside those in the picture.
        let names_baseline = packing.names.first().map_or(0, |named| {
            [&named.number, &named.name]
                .map(|run| first(&self.set(std::slice::from_ref(run), None)))
                .into_iter()
                .max()
                .unwrap_or(0)
        });
        let lower = picture.baseline.map_or(0, |baseline| names_baseline - baseline);
        self.y += lower.max(0);
        self.room(height);
        self.page.dots.lay(&picture.dots, self.left, self.y);
        let gap = self.scaled(GAP);
        let (left, right, bottom) = (self.left, self.width, self.y + height);
        let is_beside = right - width - gap >= self.scaled(BESIDE_MIN);
        if is_beside {
            (self.left, self.width) = (left + width + gap, right - width - gap);
            self.y -= lower;
            self.table(&names(packing));
        } else {
            self.y = bottom + self.scaled(6.0);
            self.paragraph(&in_line(packing));
        }
        let layers = layers(packing);
        if picture.baseline.is_some() {
            // The picture has their words and numbers already.
            self.table_in_words(&layers);
        } else {
            self.y += self.scaled(8.0);
            self.table(&layers);
        }
        (self.left, self.width) = (left, right);
        self.y = self.y.max(bottom);
    }
}

fn first(set: &Set) -> i32 {
    set.lines.first().map_or(0, |line| line.baseline)
}

/// Writes the numbers into a picture.
fn numbered(drawn: Drawn, numbers: &Numbers, field: packing::Field<'_>) -> Bitmap {
    let mut dots = drawn.dots;
    for spot in &drawn.spots {
        let Some((set, (top, bottom))) = numbers.get(&spot.number) else { continue };
        spot.clear(&mut dots, field(spot.number));
        for line in &set.lines {
            line.draw(&mut dots, spot.x - set.width / 2, spot.y - (top + bottom) / 2);
        }
    }
    dots
}

/// A number and its thing in each row.
fn names(packing: &Packing) -> Table {
    let mut table = Table { gap: 10, row_gap: 2, ..Table::list([Column::FIT.right(), Column::FILL]) };
    table.rows.extend(packing.names.iter().map(|named| vec![cell(&named.number), cell(&named.name)]));
    table
}

/// "1 Mug, tide grey · 2 Teapot".
fn in_line(packing: &Packing) -> Paragraph {
    let mut runs = Vec::new();
    for (at, named) in packing.names.iter().enumerate() {
        let style = named.name.style;
        if at > 0 {
            runs.push(Run { text: "\u{a0}· ".to_owned(), style });
        }
        runs.push(named.number.clone());
        runs.push(Run { text: format!("\u{a0}{}", named.name.text), style });
    }
    Paragraph { runs, align: Align::Left }
}

/// What lies in each layer, from the floor up.
fn layers(packing: &Packing) -> Table {
    let mut table = Table { row_gap: 2, ..Table::list([Column::FILL]) };
    table.rows.extend(packing.layers.iter().map(|layer| {
        let numbers = Run { text: format!(": {}", layer.numbers.text), style: layer.numbers.style };
        vec![Cell::Text(vec![layer.word.clone(), numbers])]
    }));
    table
}

fn cell(run: &Run) -> Cell {
    Cell::Text(vec![run.clone()])
}
