//! Words into dots: shaping and line breaking by the crate cosmic-text, cut to one bit here.
//!
//! Outlines are averaged to dots without hinting and cut at [`INK_MIN`]: chosen by figures and by eye
//! (`cargo bench --bench ink`; DEVELOPERS.md has both). Letters of the sans stand on whole dots, so that all stems are equally thick;
//! those of the text faces on quarters, for their words would fall apart otherwise.

use super::bitmap::Bitmap;
use super::clean::is_pictograph;
use super::document::{End, Face, Ornament, Run};
use super::fonts::{Fonts, Han, LAST_RESORT, family};
use super::halftone;
use super::logo::Logo;
use super::ornament;
use cosmic_text::fontdb::{ID, Weight};
use cosmic_text::{
    Align, Attrs, Buffer, CacheKey, CacheKeyFlags, Family, FeatureTag, FontFeatures, FontSystem, Metrics, Shaping,
    SwashCache, SwashContent, Wrap,
};
use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

/// A dot is black where ink covers at least so much of it, of 255.
const INK_MIN: u8 = 96;
/// Marks a run whose letters stand on whole dots.
const WHOLE_DOTS: usize = 1;
/// Glyphs kept; beyond that the cache starts afresh.
const GLYPHS_MAX: usize = 16_384;
/// Letters of paragraphs kept, likewise: some 10 MB, so that the numbers of a day of ten thousand orders, which are set
/// to find their column's width, need not be set again to be drawn.
const KEPT_LETTERS_MAX: usize = 400_000;
/// How often lines that came out too long are broken anew, each time for a narrower column.
const NARROWER_MAX: usize = 6;
/// Ornaments kept, likewise: a few for each width of paper.
const ORNAMENTS_MAX: usize = 32;

/// Sets words in dots, and remembers what it has set.
pub struct Typesetter {
    fonts: Fonts,
    systems: HashMap<Han, FontSystem>,
    scaler: SwashCache,
    glyphs: HashMap<CacheKey, Option<Arc<Glyph>>>,
    paragraphs: HashMap<Asked, Arc<Set>>,
    kept_letters: usize,
    coverage: HashMap<char, Coverage>,
    ornaments: HashMap<(Ornament, End, u32, u32), Arc<Bitmap>>,
    logo: Option<Logo>,
    logos: HashMap<u32, Arc<Bitmap>>,
}

/// Which faces have a letter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coverage {
    /// A face made for its script.
    Full,
    /// Only the embedded last resort: one style for all languages.
    LastResort,
    /// None.
    Missing,
}

/// Words set in lines.
#[derive(Debug, Default)]
pub struct Set {
    /// From top to bottom.
    pub lines: Vec<SetLine>,
    /// Dots from the first line's top to the last one's bottom.
    pub height: i32,
    /// Dots of the longest line.
    pub width: i32,
    /// Letters that no face has; they print as an empty box.
    pub missing: BTreeSet<char>,
}

/// One line.
#[derive(Debug, Default)]
pub struct SetLine {
    /// Dots from the set's top to the line's feet.
    pub baseline: i32,
    /// Dots from its first to its last letter.
    pub width: i32,
    glyphs: Vec<(Arc<Glyph>, i32, i32)>,
}

#[derive(Debug)]
struct Glyph {
    left: i32,
    top: i32,
    dots: Bitmap,
}

#[derive(PartialEq, Eq, Hash)]
struct Asked {
    runs: Vec<Run>,
    width: Option<u32>,
    scale_permille: u32,
    han: Han,
}

impl Typesetter {
    /// With these fonts.
    pub fn new(fonts: Fonts) -> Self {
        Self {
            fonts,
            systems: HashMap::new(),
            scaler: SwashCache::new(),
            glyphs: HashMap::new(),
            paragraphs: HashMap::new(),
            kept_letters: 0,
            coverage: HashMap::new(),
            ornaments: HashMap::new(),
            logo: None,
            logos: HashMap::new(),
        }
    }

    /// The same with the workshop's own drawing.
    pub fn with_logo(self, logo: Option<Logo>) -> Self {
        Self { logo, logos: HashMap::new(), ..self }
    }

    /// The workshop's drawing this wide; made into dots once for each width.
    pub fn logo(&mut self, width: u32) -> Option<Arc<Bitmap>> {
        let logo = self.logo.as_ref()?;
        if self.logos.len() >= ORNAMENTS_MAX {
            self.logos.clear();
        }
        let drawn = || Arc::new(halftone::dots(&logo.picture.scaled(width), logo.tone, logo.density_percent));
        Some(Arc::clone(self.logos.entry(width).or_insert_with(drawn)))
    }

    /// Which faces have this letter?
    pub fn coverage(&mut self, letter: char) -> Coverage {
        if letter.is_ascii() {
            return Coverage::Full;
        }
        if let Some(known) = self.coverage.get(&letter) {
            return *known;
        }
        let faces: Vec<(ID, bool)> =
            self.fonts.faces.faces().map(|f| (f.id, f.families.iter().any(|(name, _)| name == LAST_RESORT))).collect();
        let system = system(&mut self.systems, &self.fonts, Han::default());
        let mut found = Coverage::Missing;
        for (id, last_resort) in faces {
            let has = system.get_font(id, Weight::NORMAL).is_some_and(|f| f.as_swash().charmap().map(letter) != 0);
            if has && !last_resort {
                found = Coverage::Full;
                break;
            }
            if has {
                found = Coverage::LastResort;
            }
        }
        self.coverage.insert(letter, found);
        found
    }

    /// Letters of a text that no face has. Pictographs do not count: they are left out.
    pub fn missing(&mut self, text: &str) -> Vec<char> {
        let letters: BTreeSet<char> = text.chars().filter(|c| !is_pictograph(*c) && !c.is_whitespace()).collect();
        letters.into_iter().filter(|c| self.coverage(*c) == Coverage::Missing).collect()
    }

    /// The text without pictographs that no face has.
    pub fn without_unknown_pictographs(&mut self, text: &str) -> String {
        text.chars().filter(|c| !is_pictograph(*c) || self.coverage(*c) != Coverage::Missing).collect()
    }

    /// An ornament for this width; drawn once, for every card bears it twice.
    pub fn ornament(&mut self, kind: Ornament, end: End, width: u32, scale: f32) -> Arc<Bitmap> {
        if self.ornaments.len() >= ORNAMENTS_MAX {
            self.ornaments.clear();
        }
        let known = self.ornaments.entry((kind, end, width, permille(scale)));
        Arc::clone(known.or_insert_with(|| Arc::new(ornament::ornament(kind, end, width, scale))))
    }

    /// Sets runs in lines of at most `width` dots (`None`: one line). `scale` multiplies sizes.
    pub fn set(&mut self, runs: &[Run], width: Option<u32>, scale: f32, han: Han) -> Arc<Set> {
        let han = if self.fonts.has_extra { han } else { Han::default() };
        let asked = Asked { runs: runs.to_vec(), width, scale_permille: permille(scale), han };
        if let Some(known) = self.paragraphs.get(&asked) {
            return Arc::clone(known);
        }
        let set = Arc::new(self.shape(runs, width, scale, han));
        // A paragraph without a letter takes room, too.
        let letters = 1 + set.lines.iter().map(|line| line.glyphs.len()).sum::<usize>();
        if self.kept_letters + letters > KEPT_LETTERS_MAX {
            self.paragraphs.clear();
            self.kept_letters = 0;
        }
        self.kept_letters += letters;
        self.paragraphs.insert(asked, Arc::clone(&set));
        set
    }

    fn shape(&mut self, runs: &[Run], width: Option<u32>, scale: f32, han: Han) -> Set {
        let Some(first) = runs.first() else { return Set::default() };
        let mut attrs = runs.iter().map(|run| (run.text.as_str(), attrs_of(run, scale))).collect::<Vec<_>>();
        attrs.retain(|(text, _)| !text.is_empty());
        if attrs.is_empty() {
            return Set::default();
        }
        let system = system(&mut self.systems, &self.fonts, han);
        let mut buffer = Buffer::new_empty(metrics(first, scale));
        buffer.set_wrap(if width.is_some() { Wrap::WordOrGlyph } else { Wrap::None });
        buffer.set_size(width.map(|w| w as f32), None);
        buffer.set_rich_text(attrs, &attrs_of(first, scale), Shaping::Advanced, Some(Align::Left));
        buffer.shape_until_scroll(system, false);
        if let Some(width) = width {
            keep_within(&mut buffer, system, width as f32);
        }

        let mut set = Set::default();
        for run in buffer.layout_runs() {
            let mut line = SetLine { baseline: run.line_y.round() as i32, ..SetLine::default() };
            let left = run.glyphs.iter().map(|g| g.x).fold(f32::INFINITY, f32::min);
            for glyph in run.glyphs {
                if glyph.glyph_id == 0 {
                    set.missing.extend(run.text[glyph.start..glyph.end].chars().filter(|c| !is_pictograph(*c)));
                }
                let exact = glyph.x - left + glyph.font_size * glyph.x_offset;
                let exact = if glyph.metadata == WHOLE_DOTS { exact.round() } else { exact };
                let y = (glyph.y - glyph.font_size * glyph.y_offset).round() as i32;
                let (key, x, _) = CacheKey::new(
                    glyph.font_id,
                    glyph.glyph_id,
                    glyph.font_size,
                    (exact, 0.0),
                    glyph.font_weight,
                    CacheKeyFlags::DISABLE_HINTING,
                );
                if let Some(dots) = glyph_of(&mut self.glyphs, &mut self.scaler, system, key) {
                    line.glyphs.push((dots, x, y));
                }
            }
            line.width = run.line_w.ceil() as i32;
            set.width = set.width.max(line.width);
            set.height = set.height.max((run.line_top + run.line_height).ceil() as i32);
            set.lines.push(line);
        }
        set
    }
}

impl SetLine {
    /// Draws the line with its first letter at `x` and its feet at `y`.
    pub fn draw(&self, onto: &mut Bitmap, x: i32, y: i32) {
        for (glyph, dx, dy) in &self.glyphs {
            onto.lay(&glyph.dots, x + dx + glyph.left, y + dy - glyph.top);
        }
    }
    /// First and last inked row, counted from its feet (upwards is negative).
    pub fn ink(&self) -> (i32, i32) {
        let top = self.glyphs.iter().map(|(g, _, dy)| dy - g.top).min().unwrap_or(0);
        let bottom = self.glyphs.iter().map(|(g, _, dy)| dy - g.top + g.dots.height() as i32).max().unwrap_or(0);
        (top, bottom)
    }
}

/// Where a line mixes directions the breaker may put more on it than fits: it is asked for a
/// narrower column then. A single letter wider than the column stays as it is.
fn keep_within(buffer: &mut Buffer, system: &mut FontSystem, width: f32) {
    let mut column = width;
    for _ in 0..NARROWER_MAX {
        let long = buffer.layout_runs().filter(|run| run.glyphs.iter().any(|g| g.start != run.glyphs[0].start));
        let over = long.map(|run| run.line_w - width).fold(0.0, f32::max);
        if over <= 0.0 || over >= column {
            return;
        }
        column -= over;
        buffer.set_size(Some(column), None);
        buffer.shape_until_scroll(system, false);
    }
}

fn system<'a>(systems: &'a mut HashMap<Han, FontSystem>, fonts: &Fonts, han: Han) -> &'a mut FontSystem {
    systems.entry(han).or_insert_with(|| fonts.system(han))
}

fn permille(scale: f32) -> u32 {
    (scale * 1000.0).round() as u32
}

fn metrics(run: &Run, scale: f32) -> Metrics {
    let size = f32::from(run.style.size) * scale;
    let leading = match run.style.face {
        Face::Sans | Face::Bold | Face::Heavy => 1.28,
        Face::Text | Face::Capitals | Face::Italic | Face::Display => 1.24,
    };
    Metrics::new(size, (size * leading).round())
}

fn attrs_of(run: &Run, scale: f32) -> Attrs<'static> {
    // The italic has Latin letters only: other alphabets stand upright, from its own family.
    let face = match run.style.face {
        Face::Italic if run.text.chars().any(|c| matches!(c, '\u{370}'..='\u{52f}' | '\u{1f00}'..='\u{1fff}')) => {
            Face::Text
        }
        face => face,
    };
    let attrs = Attrs::new().family(Family::Name(family(face))).metrics(metrics(run, scale));
    let attrs = match run.style.face {
        Face::Sans | Face::Bold | Face::Heavy => attrs.metadata(WHOLE_DOTS),
        Face::Text | Face::Capitals | Face::Italic | Face::Display => attrs,
    };
    // Quantities below each other: each digit as wide as the next.
    let attrs = match !run.text.is_empty() && run.text.bytes().all(|b| b.is_ascii_digit()) {
        true => attrs.font_features(tabular()),
        false => attrs,
    };
    if run.style.face == Face::Capitals { attrs.letter_spacing(0.08) } else { attrs }
}

fn tabular() -> FontFeatures {
    let mut features = FontFeatures::new();
    features.enable(FeatureTag::new(b"tnum"));
    features
}

fn glyph_of(
    known: &mut HashMap<CacheKey, Option<Arc<Glyph>>>,
    scaler: &mut SwashCache,
    system: &mut FontSystem,
    key: CacheKey,
) -> Option<Arc<Glyph>> {
    if let Some(glyph) = known.get(&key) {
        return glyph.clone();
    }
    let image = scaler.get_image_uncached(system, key);
    let glyph = image.filter(|i| i.content == SwashContent::Mask && i.placement.width > 0).map(|image| {
        let placement = image.placement;
        let mut dots = Bitmap::new(placement.width, placement.height);
        for (at, ink) in image.data.iter().enumerate() {
            if *ink >= INK_MIN {
                dots.blacken((at as u32 % placement.width) as i32, (at as u32 / placement.width) as i32);
            }
        }
        Arc::new(Glyph { left: placement.left, top: placement.top, dots })
    });
    if known.len() >= GLYPHS_MAX {
        known.clear();
    }
    known.insert(key, glyph.clone());
    glyph
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_letter_leaves_ink_in_every_face() {
        let mut setter = Typesetter::new(Fonts::embedded());
        let faces = [Face::Sans, Face::Bold, Face::Heavy, Face::Text, Face::Capitals, Face::Italic, Face::Display];
        for letter in "Aßøğ†ΑΔβώἈДЕЛОАГопсЖёאبकஅก佐한ア&–".chars() {
            for face in faces {
                let set = setter.set(&[Run::new(letter, face, 40)], None, 1.0, Han::default());
                let black = set.lines.iter().flat_map(|line| &line.glyphs).any(|(glyph, ..)| {
                    let (width, height) = (glyph.dots.width() as i32, glyph.dots.height() as i32);
                    (0..height).any(|y| (0..width).any(|x| glyph.dots.is_black(x, y)))
                });
                assert!(black, "{letter} in {face:?}");
            }
        }
    }
}
