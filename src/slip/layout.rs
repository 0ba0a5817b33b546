//! One pass from a document to dots and lines of text. The picture, the printer's bytes and
//! the plain text are made of its result, so they agree.

use super::bitmap::{Area, Bitmap};
use super::document::*;
use super::fonts::Han;
use super::typeset::{Set, Typesetter};
use super::{codes, ornament, text};
use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

mod fold;
mod packing;
mod table;

use table::Widths;

/// Dots an inch that a document's sizes are written for.
const DPI: f32 = 203.0;
/// Rows of one paper: fifty metres, a whole roll. What lies beyond is not printed; a black band
/// with an ellipsis says so.
const HEIGHT_MAX: i32 = 400_000;
/// Dots of one column of plain text (the common font A is twelve dots wide).
const COLUMN_DOTS: f32 = 12.0;
/// A last line shorter than this share of the width, in percent, is a scrap.
const SCRAP: i32 = 24;
/// Lines are made no narrower than this share, in percent, to spare a scrap.
const NARROWED_MIN: i32 = 60;
/// Fewer columns are narrow paper.
const NARROW_COLUMNS: usize = 40;

/// A paper's width and density.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sheet {
    /// Dots across.
    pub dots: u32,
    /// Dots an inch.
    pub dpi: u32,
}

impl Sheet {
    /// 80 mm paper, 203 dots an inch.
    pub const WIDE: Self = Self { dots: 576, dpi: 203 };
    /// 58 mm paper, 203 dots an inch.
    pub const NARROW: Self = Self { dots: 384, dpi: 203 };

    /// How much a document's sizes are multiplied.
    pub fn scale(self) -> f32 {
        self.dpi as f32 / DPI
    }
    /// Columns of plain text: 48 for 576 dots, 32 for 384.
    pub fn columns(self) -> usize {
        ((self.dots as f32 / (COLUMN_DOTS * self.scale())) as usize).max(8)
    }
}

/// A laid-out paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// What prints.
    pub dots: Bitmap,
    /// The same in words.
    pub lines: Vec<String>,
    /// Rows after which the printer cuts, besides the end.
    pub cuts: Vec<u32>,
    /// Letters that no face has.
    pub missing: BTreeSet<char>,
    /// The document was longer than a paper may be, and was cut off.
    pub cut_off: bool,
}

impl Page {
    /// What is not as it should be once it is laid out.
    pub fn warning(&self) -> Option<super::Warning> {
        self.cut_off.then_some(super::Warning::CutOff)
    }
}

/// Lays a document out.
pub fn layout(document: &Document, sheet: Sheet, setter: &mut Typesetter) -> Page {
    let scale = sheet.scale();
    let margin = (f32::from(document.margin) * scale).round() as i32;
    let mut pass = Pass {
        document,
        grids: HashMap::new(),
        setter,
        scale,
        dpi: sheet.dpi,
        left: margin,
        width: (sheet.dots as i32 - 2 * margin).max(16),
        columns: sheet.columns(),
        han: Han::of(document.language.as_deref()),
        y: 0,
        page: Page {
            dots: Bitmap::new(sheet.dots, 0),
            lines: Vec::new(),
            cuts: Vec::new(),
            missing: BTreeSet::new(),
            cut_off: false,
        },
    };
    for block in &document.blocks {
        if pass.y > HEIGHT_MAX {
            pass.page.cut_off = true;
            break;
        }
        pass.block(block);
    }
    if pass.page.cut_off {
        pass.band(&Paragraph::plain("…", Face::Heavy, 60).aligned(Align::Middle));
    }
    pass.room(0);
    let mut page = pass.page;
    let folds = document.lid.map(|lid| fold::folds(&page.dots, sheet, lid)).unwrap_or_default();
    if let Some(frame) = document.frame {
        fold::frame(&mut page.dots, frame, scale);
    }
    folds.into_iter().for_each(|row| fold::mark(&mut page.dots, row, scale));
    for line in &mut page.lines {
        *line = line.replace('\u{a0}', " ").replace('\u{2011}', "-");
    }
    page.dots = page.dots.without_realtime_pairs();
    page
}

struct Pass<'a> {
    document: &'a Document,
    /// Widths of columns that several tables share, found once.
    grids: HashMap<Grid, Widths>,
    setter: &'a mut Typesetter,
    scale: f32,
    dpi: u32,
    left: i32,
    width: i32,
    columns: usize,
    han: Han,
    y: i32,
    page: Page,
}

impl Pass<'_> {
    fn block(&mut self, block: &Block) {
        match block {
            Block::Text(paragraph) => self.paragraph(paragraph),
            Block::Name(name) => self.name(name),
            Block::Table(table) if self.is_narrow() => self.table(&table.narrowed()),
            Block::Table(table) => self.table(table),
            Block::Sides(sides) => self.sides(sides),
            Block::Band(paragraph) => self.band(paragraph),
            Block::Rule(rule) => self.rule(*rule),
            Block::Space(dots) => {
                self.y += self.scaled(*dots as f32);
                if *dots >= 24 {
                    self.page.lines.push(String::new());
                }
            }
            Block::Picture(picture) => self.picture(picture),
            Block::Packing(packing) => self.packing(packing),
            Block::Qr(code) => {
                let map = codes::qr(&code.data, self.module(code), self.width as u32);
                self.code(code, map);
            }
            Block::Bars(code) => {
                let height = self.scaled(f32::from(code.height)) as u32;
                let mut module = self.module(code);
                let mut map = None;
                while map.is_none() && module >= 2 {
                    map = codes::bars(&code.data, module, height, self.width as u32);
                    module -= 1;
                }
                self.code(code, map);
            }
            Block::TearLine => self.tear_line(),
            Block::Cut => {
                self.room(0);
                self.page.cuts.push(self.y as u32);
            }
        }
    }

    fn is_narrow(&self) -> bool {
        self.columns < NARROW_COLUMNS
    }
    fn scaled(&self, dots: f32) -> i32 {
        (dots * self.scale).round() as i32
    }
    fn module(&self, code: &Code) -> u32 {
        (self.scaled(f32::from(code.module)) as u32).max(2)
    }
    /// Makes sure that so many rows exist below the pen.
    fn room(&mut self, rows: i32) {
        self.page.dots.grow((self.y + rows).max(0) as u32);
    }
    fn say(&mut self, words: &str, align: Align) {
        for line in text::wrap(words, self.columns) {
            self.page.lines.push(text::pad(&line, self.columns, align).trim_end().to_owned());
        }
    }
    fn set(&mut self, runs: &[Run], width: Option<i32>) -> Arc<Set> {
        let set = self.setter.set(runs, width.map(|w| w.max(1) as u32), self.scale, self.han);
        self.page.missing.extend(&set.missing);
        set
    }

    /// Sets running words without leaving a scrap in the last line: where it would be short,
    /// the lines above give it some of theirs, as long as no line is added.
    fn set_even(&mut self, runs: &[Run], width: i32) -> Arc<Set> {
        let set = self.set(runs, Some(width));
        let is_scrap =
            |set: &Set| set.lines.len() > 1 && set.lines.last().is_some_and(|l| l.width < width * SCRAP / 100);
        if !is_scrap(&set) || runs.iter().any(|run| run.text.contains('\n')) {
            return set;
        }
        for percent in (NARROWED_MIN..100).rev().step_by(4) {
            let narrower = self.set(runs, Some(width * percent / 100));
            if narrower.lines.len() > set.lines.len() {
                break;
            }
            if !is_scrap(&narrower) {
                return narrower;
            }
        }
        set
    }

    fn paragraph(&mut self, paragraph: &Paragraph) {
        let set = self.set_even(&paragraph.runs, self.width);
        self.room(set.height);
        for line in &set.lines {
            let x = self.left + shift(self.width, line.width, paragraph.align);
            line.draw(&mut self.page.dots, x, self.y + line.baseline);
        }
        self.y += set.height;
        self.say(&paragraph.words(), paragraph.align);
    }

    /// Its lines (one, mostly) as large as they fit; its height is that of its ink, so that a name without
    /// descenders stands as close to the next block as one with.
    fn name(&mut self, name: &Name) {
        let lines = name.text.split('\n').count();
        let run = |size: u16| [Run::new(name.text.clone(), name.face, size)];
        let largest = i32::from(name.largest);
        let natural = self.set(&run(name.largest), None).width.max(1);
        // No word is broken while letters can still be read: the longest one bounds the size.
        let longest =
            name.text.split([' ', '\n']).map(|word| self.set(&[Run::new(word, name.face, name.largest)], None).width);
        let longest = longest.max().unwrap_or(1).max(1);
        let smallest = (largest * (self.width - 1) / longest).clamp(NAME_MIN, i32::from(name.smallest));
        let fitting = largest * self.width / natural;
        let mut size = fitting.clamp(smallest, largest) as u16;
        let mut set = self.set(&run(size), Some(self.width));
        while set.lines.len() > lines && i32::from(size) > smallest {
            size -= 1;
            set = self.set(&run(size), Some(self.width));
        }
        let (Some(first), Some(last)) = (set.lines.first(), set.lines.last()) else { return };
        let top = first.baseline + first.ink().0;
        let bottom = last.baseline + last.ink().1;
        self.room(bottom - top);
        for line in &set.lines {
            let x = self.left + shift(self.width, line.width, name.align);
            line.draw(&mut self.page.dots, x, self.y + line.baseline - top);
        }
        self.y += bottom - top;
        self.say(&name.text, name.align);
    }

    fn sides(&mut self, sides: &Sides) {
        let (left, right) = (self.set(&sides.left, None), self.set(&sides.right, None));
        let gap = self.scaled(20.0);
        if left.width + gap + right.width > self.width {
            let size = |runs: &[Run]| runs.iter().map(|run| run.style.size).max();
            let mut both = [(&sides.left, Align::Left), (&sides.right, Align::Right)];
            if size(&sides.right) > size(&sides.left) {
                both.reverse();
            }
            for (runs, align) in both {
                self.paragraph(&Paragraph { runs: runs.clone(), align });
            }
            return;
        }
        let first = |set: &Set| set.lines.first().map_or(0, |line| line.baseline);
        let baseline = first(&left).max(first(&right));
        let height = [&left, &right].map(|s| baseline - first(s) + s.height).into_iter().max().unwrap_or(0);
        self.room(height);
        for (set, align) in [(&left, Align::Left), (&right, Align::Right)] {
            for line in &set.lines {
                let x = self.left + shift(self.width, line.width, align);
                line.draw(&mut self.page.dots, x, self.y + baseline - first(set) + line.baseline);
            }
        }
        self.y += height;
        let words = |runs: &[Run]| runs.iter().map(|run| run.text.as_str()).collect::<String>();
        let (left, right) = (words(&sides.left), words(&sides.right));
        let mut lines = left.split('\n');
        let top = lines.next().unwrap_or_default();
        let free = self.columns.saturating_sub(text::width(top) + text::width(&right));
        if free == 0 {
            self.say(&right, Align::Right);
            self.say(&left, Align::Left);
            return;
        }
        self.page.lines.push(format!("{top}{}{right}", " ".repeat(free)).trim_end().to_owned());
        for line in lines {
            self.say(line, Align::Left);
        }
    }

    fn band(&mut self, paragraph: &Paragraph) {
        let inset = self.scaled(14.0);
        let set = self.set_even(&paragraph.runs, self.width - 2 * inset);
        let pad = self.scaled(9.0);
        let height = set.height + 2 * pad;
        self.room(height);
        for line in &set.lines {
            let x = self.left + inset + shift(self.width - 2 * inset, line.width, paragraph.align);
            line.draw(&mut self.page.dots, x, self.y + pad + line.baseline);
        }
        self.page.dots.invert(Area { x: self.left, y: self.y, width: self.width, height });
        self.y += height;
        let columns = self.columns;
        for line in text::wrap(&paragraph.words(), columns.saturating_sub(8)) {
            let line = format!(" {line} ");
            let free = columns.saturating_sub(text::width(&line));
            self.page.lines.push(format!("{}{line}{}", "#".repeat(free / 2), "#".repeat(free - free / 2)));
        }
    }

    fn rule(&mut self, rule: Rule) {
        let thick = self.scaled(f32::from(rule.thick)).max(1);
        let width = self.width * i32::from(rule.percent.min(100)) / 100;
        self.room(thick);
        let x = self.left + (self.width - width) / 2;
        self.page.dots.fill(Area { x, y: self.y, width, height: thick });
        self.y += thick;
        let dash = if rule.thick >= 4 { "=" } else { "-" };
        let line = dash.repeat(self.columns * usize::from(rule.percent.min(100)) / 100);
        self.say(&line, Align::Middle);
    }

    fn tear_line(&mut self) {
        let (dash, gap, thick) = (self.scaled(10.0), self.scaled(8.0), self.scaled(2.0).max(1));
        self.room(thick);
        let mut x = 0;
        while x < self.page.dots.width() as i32 {
            self.page.dots.fill(Area { x, y: self.y, width: dash, height: thick });
            x += dash + gap;
        }
        self.y += thick;
        let line = "- ".repeat(self.columns / 2);
        self.page.lines.push(line.trim_end().to_owned());
    }

    fn picture(&mut self, picture: &Picture) {
        let width = self.width as u32;
        match &picture.drawing {
            Drawing::Ornament(kind, end) => {
                let map = self.setter.ornament(*kind, *end, width, self.scale);
                self.lay(&map);
            }
            Drawing::Dots(map) => self.lay(map),
            Drawing::Logo(percent) => {
                if let Some(map) = self.setter.logo(width * u32::from(*percent) / 100) {
                    self.lay(&map);
                }
            }
            Drawing::Ruler => self.lay(&ornament::ruler(width, self.dpi)),
            Drawing::Patterns => self.lay(&ornament::patterns(width)),
        }
        if !picture.text.is_empty() {
            self.say(&picture.text, Align::Middle);
        }
    }

    fn lay(&mut self, map: &Bitmap) {
        self.room(map.height() as i32);
        let x = self.left + shift(self.width, map.width() as i32, Align::Middle);
        self.page.dots.lay(map, x, self.y);
        self.y += map.height() as i32;
    }

    /// A code that cannot be drawn prints its text, so that nothing is lost.
    fn code(&mut self, code: &Code, map: Option<Bitmap>) {
        match map {
            Some(map) => {
                self.lay(&map);
                self.say(&format!("[{}]", code.data), Align::Middle);
            }
            None => self.paragraph(&Paragraph::plain(code.data.clone(), Face::Bold, 32).aligned(Align::Middle)),
        }
        if let Some(caption) = &code.caption {
            self.paragraph(&Paragraph { runs: vec![caption.clone()], align: Align::Middle });
        }
    }
}

/// Smallest size of a name whose one word is very long.
const NAME_MIN: i32 = 22;

fn shift(room: i32, width: i32, align: Align) -> i32 {
    match align {
        Align::Left => 0,
        Align::Middle => (room - width) / 2,
        Align::Right => room - width,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_of_plain_text_follow_the_paper() {
        assert_eq!(Sheet::WIDE.columns(), 48);
        assert_eq!(Sheet::NARROW.columns(), 32);
        assert_eq!(Sheet { dots: 512, dpi: 180 }.columns(), 48);
    }
}
