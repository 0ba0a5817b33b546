//! The document model: what a paper says and how it is laid, before any dot is set.
//!
//! Sizes are dots of a head with 203 dots an inch (8 a millimetre); a profile with another
//! density scales them.

use super::bitmap::Bitmap;
use super::packing;

/// A paper's content, from top to bottom.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Document {
    /// One after the other.
    pub blocks: Vec<Block>,
    /// BCP 47 language or ISO country of the person: chooses the style of Han letters.
    pub language: Option<String>,
    /// White at the left and right of everything.
    pub margin: u16,
    /// It lies under this lid: marks say where to fold it.
    pub lid: Option<Lid>,
    /// Lines around everything.
    pub frame: Option<Frame>,
}

/// The room under a container's lid, in whole millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lid {
    /// Its longer side.
    pub long_mm: u16,
    /// The other one.
    pub short_mm: u16,
}

/// Lines around a paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Frame {
    /// A strong one and a fine one within.
    Double,
}

/// One thing across the paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Block {
    /// Words, wrapped to the width.
    Text(Paragraph),
    /// A name in one line as large as it fits; several lines where it must.
    Name(Name),
    /// Aligned columns; a row wraps within its cells.
    Table(Table),
    /// Two texts in one line, left and right; where they do not fit, one
    /// below the other, the larger first.
    Sides(Sides),
    /// White on black across the whole width: cannot be overlooked.
    Band(Paragraph),
    /// A line.
    Rule(Rule),
    /// White rows.
    Space(u32),
    /// Our own drawing, and what the plain text shows in its place.
    Picture(Picture),
    /// How things lie in their box, and the words that explain the numbers in it.
    Packing(Packing),
    /// QR code.
    Qr(Code),
    /// Code 128 bars.
    Bars(Code),
    /// Dashes: tear here.
    TearLine,
    /// The printer cuts here (the end of every paper is cut anyway).
    Cut,
}

/// Faces that are embedded (`fonts/make.py` says where they come from).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Face {
    /// For lists.
    Sans,
    /// For what must be seen first.
    Bold,
    /// For order numbers.
    Heavy,
    /// A text face for cards.
    Text,
    /// The text face with room between its letters, for lines of capitals.
    Capitals,
    /// Its italic.
    Italic,
    /// Its cut for large sizes.
    Display,
}

/// Face and size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Style {
    /// Which face.
    pub face: Face,
    /// Height of the em.
    pub size: u16,
}

/// Words in one style.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Run {
    /// Cleaned text (see `clean`).
    pub text: String,
    /// How.
    pub style: Style,
}

/// Where lines stand. Left and right whatever the script's direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Align {
    /// Left.
    #[default]
    Left,
    /// Centred.
    Middle,
    /// Right.
    Right,
}

/// Words that wrap together.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Paragraph {
    /// In reading order.
    pub runs: Vec<Run>,
    /// Where its lines stand.
    pub align: Align,
}

/// A name in large letters.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Name {
    /// Whose; an address has several lines (`\n`), all of one size.
    pub text: String,
    /// In which face.
    pub face: Face,
    /// Never larger.
    pub largest: u16,
    /// Never smaller: wraps rather.
    pub smallest: u16,
    /// Where it stands.
    pub align: Align,
}

/// Columns with rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// From left to right.
    pub columns: Vec<Column>,
    /// Each with one cell a column; missing ones are empty.
    pub rows: Vec<Vec<Cell>>,
    /// Between columns.
    pub gap: u16,
    /// Between rows.
    pub row_gap: u16,
    /// A dotted line between rows leads the eye across them.
    pub dotted: bool,
    /// Tables of one grid share the widths of their columns, wherever they stand in the document.
    pub grid: Option<Grid>,
}

/// Grids of lists.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Grid {
    /// Tick, shelf, quantity, thing, remark.
    Goods,
    /// Tick, number, name, service, weight.
    Parcels,
}

/// Two texts in one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sides {
    /// At the left; may have several lines (`\n`).
    pub left: Vec<Run>,
    /// At the right edge, on the same baseline.
    pub right: Vec<Run>,
}

/// A column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    /// How wide.
    pub width: Width,
    /// Where its cells' lines stand.
    pub align: Align,
    /// On narrow paper its words go under those of the filling column.
    pub under: bool,
}

/// How wide a column is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Width {
    /// As its widest cell.
    Fit,
    /// What is left, shared.
    Fill,
    /// So many dots.
    Dots(u16),
}

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cell {
    /// Nothing.
    Empty,
    /// Words.
    Text(Vec<Run>),
    /// A box to tick, as large as the row's first words.
    Tick,
    /// So many: one is plain, more stand white on black, so that nobody packs one where two are due.
    Quantity(u32),
    /// A warning sign.
    Caution,
}

/// A line across.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rule {
    /// How thick.
    pub thick: u16,
    /// How long in percent of the width; centred.
    pub percent: u16,
}

/// A drawing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// Which.
    pub drawing: Drawing,
    /// What plain text shows.
    pub text: String,
}

/// A box with everything in its place. Plain text has the numbers layer by layer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packing {
    /// The room inside, in millimetres: across, to the back, up.
    pub room: [i64; 3],
    /// Each thing in its place, with its number.
    pub blocks: Vec<packing::Block>,
    /// What each number stands for.
    pub names: Vec<Numbered>,
    /// From the floor up, as `packing::layers` counts them; alike ones above each other as one.
    pub layers: Vec<Layer>,
}

/// A number of a picture, and what it stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Numbered {
    /// In the picture.
    pub number: Run,
    /// Beside it.
    pub name: Run,
}

/// What lies in one layer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layer {
    /// The first of the layers that it stands for.
    pub first: usize,
    /// "On the floor".
    pub word: Run,
    /// Its things: "1, 1, 2".
    pub numbers: Run,
}

/// Drawings that are made for the paper's width.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Drawing {
    /// An ornament across the paper, and whether it closes the page.
    Ornament(Ornament, End),
    /// Dots as they are, centred.
    Dots(Bitmap),
    /// The workshop's own drawing, this wide in percent; nothing where there is none.
    Logo(u16),
    /// A ruler in millimetres.
    Ruler,
    /// Stripes, checks and fine lines for a test page.
    Patterns,
}

/// Ornaments of our own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Ornament {
    /// Four waves that swell in the middle.
    Waves,
    /// A stem with leaves to both sides.
    Leaves,
    /// A double line.
    Plain,
}

/// Which end of the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum End {
    /// It opens the page.
    Head,
    /// It closes it, turned over.
    Foot,
}

/// A code to be scanned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Code {
    /// ASCII only.
    pub data: String,
    /// Dots of one module or the thinnest bar.
    pub module: u16,
    /// Dots down (bars only).
    pub height: u16,
    /// Words below.
    pub caption: Option<Run>,
}

impl Run {
    /// Words in one style.
    pub fn new(text: impl Into<String>, face: Face, size: u16) -> Self {
        Self { text: text.into(), style: Style { face, size } }
    }
}

impl Paragraph {
    /// One run, to the left.
    pub fn plain(text: impl Into<String>, face: Face, size: u16) -> Self {
        Self { runs: vec![Run::new(text, face, size)], align: Align::Left }
    }
    /// The same, elsewhere.
    pub fn aligned(self, align: Align) -> Self {
        Self { align, ..self }
    }
    /// Its words without styles.
    pub fn words(&self) -> String {
        self.runs.iter().map(|run| run.text.as_str()).collect()
    }
}

impl Column {
    /// As wide as its widest cell, to the left.
    pub const FIT: Self = Self { width: Width::Fit, align: Align::Left, under: false };
    /// What is left, to the left.
    pub const FILL: Self = Self { width: Width::Fill, align: Align::Left, under: false };
    /// The same, to the right.
    pub const fn right(self) -> Self {
        Self { align: Align::Right, ..self }
    }
    /// The same, under the filling column on narrow paper.
    pub const fn under(self) -> Self {
        Self { under: true, ..self }
    }
}

impl Cell {
    /// Words in one style.
    pub fn text(text: impl Into<String>, face: Face, size: u16) -> Self {
        Self::Text(vec![Run::new(text, face, size)])
    }
}

impl Table {
    /// Columns without rows yet, with the gaps of a list.
    pub fn list(columns: impl Into<Vec<Column>>) -> Self {
        Self { columns: columns.into(), rows: Vec::new(), gap: 14, row_gap: 4, dotted: false, grid: None }
    }
    /// The same for narrow paper: columns that may, go under the filling one.
    pub fn narrowed(&self) -> Self {
        let Some(fill) = self.columns.iter().position(|c| c.width == Width::Fill && !c.under) else {
            return self.clone();
        };
        let mut rows = self.rows.clone();
        for row in &mut rows {
            let under: Vec<Run> = (self.columns.iter().zip(row.iter()))
                .filter_map(|(column, cell)| match cell {
                    Cell::Text(runs) if column.under => Some(runs.clone()),
                    _ => None,
                })
                .flatten()
                .filter(|run| !run.text.is_empty())
                .collect();
            if let Some(Cell::Text(runs)) = row.get_mut(fill) {
                for (at, run) in under.into_iter().enumerate() {
                    let before = if at == 0 { "\n" } else { " · " };
                    runs.push(Run { text: format!("{before}{}", run.text), style: run.style });
                }
            }
            let mut column = 0;
            row.retain(|_| {
                column += 1;
                !self.columns.get(column - 1).is_some_and(|c| c.under)
            });
        }
        let columns = self.columns.iter().copied().filter(|c| !c.under).collect();
        Self { columns, rows, gap: self.gap * 2 / 3, ..self.clone() }
    }
}

impl Document {
    /// Adds a block.
    pub fn push(&mut self, block: Block) {
        self.blocks.push(block);
    }
    /// Adds words.
    pub fn text(&mut self, text: impl Into<String>, face: Face, size: u16) {
        self.push(Block::Text(Paragraph::plain(text, face, size)));
    }
    /// Adds a line of two texts.
    pub fn sides(&mut self, left: Run, right: Run) {
        self.push(Block::Sides(Sides { left: vec![left], right: vec![right] }));
    }
    /// Adds white rows.
    pub fn space(&mut self, dots: u32) {
        self.push(Block::Space(dots));
    }
    /// Adds a line across the whole width.
    pub fn rule(&mut self, thick: u16) {
        self.push(Block::Rule(Rule { thick, percent: 100 }));
    }
}
