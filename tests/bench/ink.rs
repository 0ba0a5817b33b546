//! How a letter becomes dots: the same words at several cuts, hinted or not, averaged from outlines
//! of one or four times the size; as one enlarged sheet for the eye, and in figures.
//!
//! `cargo bench --bench ink` (a dev build does: `cargo bench --profile dev --bench ink`) draws
//! `target/ink.png` and tells, for each way: how far stems of one face differ in width, how many
//! letters come out in other pieces than an outline drawn eight times as large, and how dark they are.

use cosmic_text::fontdb::{Database, Source};
use cosmic_text::{
    Attrs, Buffer, CacheKey, CacheKeyFlags, Family, FontSystem, Metrics, Shaping, SwashCache, SwashContent,
};
use dawnslip::slip::bitmap::Bitmap;
use dawnslip::slip::picture;
use std::collections::BTreeMap;
use std::sync::Arc;

const FACES: [(&str, &[u8], f32); 3] = [
    ("Slip Sans", include_bytes!("../../src/slip/fonts/slip_sans.otf.zlib"), 25.0),
    ("Slip Text", include_bytes!("../../src/slip/fonts/slip_text.otf.zlib"), 27.0),
    ("Slip Italic", include_bytes!("../../src/slip/fonts/slip_italic.otf.zlib"), 30.0),
];
const WORDS: &str = "Ångström 640 g field";
const LETTERS: &str = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789ÅÖøßéñ&";
/// Letters with upright stems: what is black in the middle of their x-height is a stem.
const STEMS: &str = "hlnmiur";
const CUTS: [u8; 4] = [64, 96, 128, 160];
/// So much larger is the outline that says how many pieces a letter has.
const REFERENCE: u32 = 8;
const ENLARGED: i32 = 4;

/// One way from outline to dots.
#[derive(Clone, Copy)]
struct Way {
    cut: u8,
    hinted: bool,
    times: u32,
}

struct Pen {
    fonts: FontSystem,
    scaler: SwashCache,
}

impl Pen {
    fn new() -> Self {
        let mut faces = Database::new();
        for (_, packed, _) in FACES {
            let bytes = miniz_oxide::inflate::decompress_to_vec_zlib(packed).expect("an embedded face");
            faces.load_font_source(Source::Binary(Arc::new(bytes)));
        }
        Self { fonts: FontSystem::new_with_locale_and_db("en".to_owned(), faces), scaler: SwashCache::new() }
    }

    /// The words as dots, feet at row `size`.
    fn draw(&mut self, words: &str, family: &str, size: f32, way: Way) -> Bitmap {
        let mut buffer = Buffer::new(&mut self.fonts, Metrics::new(size, size * 1.3));
        buffer.set_text(words, &Attrs::new().family(Family::Name(family)), Shaping::Advanced, None);
        buffer.shape_until_scroll(&mut self.fonts, false);
        let run = buffer.layout_runs().next().expect("a line");
        let glyphs: Vec<_> = run.glyphs.iter().map(|g| (g.font_id, g.glyph_id, g.x, g.font_weight)).collect();
        let mut dots = Bitmap::new(run.line_w.ceil() as u32 + 8, (size * 1.5) as u32);
        let flags = if way.hinted { CacheKeyFlags::empty() } else { CacheKeyFlags::DISABLE_HINTING };
        let times = way.times as i32;
        for (font, glyph, x, weight) in glyphs {
            let (key, ..) = CacheKey::new(font, glyph, size * way.times as f32, (0.0, 0.0), weight, flags);
            let Some(image) = self.scaler.get_image_uncached(&mut self.fonts, key) else { continue };
            if image.content != SwashContent::Mask {
                continue;
            }
            // Ink of each dot: the mean of what lies in it.
            let mut ink: BTreeMap<(i32, i32), u32> = BTreeMap::new();
            for (at, of) in image.data.iter().enumerate() {
                let (dx, dy) = (at as u32 % image.placement.width, at as u32 / image.placement.width);
                let place = (dx as i32 + image.placement.left, dy as i32 - image.placement.top);
                *ink.entry((place.0.div_euclid(times), place.1.div_euclid(times))).or_default() += u32::from(*of);
            }
            for ((dx, dy), sum) in ink {
                if sum / (way.times * way.times) >= u32::from(way.cut) {
                    dots.blacken(x.round() as i32 + 2 + dx, size as i32 + dy);
                }
            }
        }
        dots
    }
}

fn size_of(dots: &Bitmap) -> (i32, i32) {
    (dots.width() as i32, dots.height() as i32)
}

/// Pieces that hang together, corners too.
fn pieces(dots: &Bitmap) -> usize {
    let (width, height) = size_of(dots);
    let mut seen = Bitmap::new(dots.width(), dots.height());
    let mut count = 0;
    for start in (0..height).flat_map(|y| (0..width).map(move |x| (x, y))) {
        if !dots.is_black(start.0, start.1) || seen.is_black(start.0, start.1) {
            continue;
        }
        count += 1;
        let mut open = vec![start];
        while let Some((x, y)) = open.pop() {
            if !dots.is_black(x, y) || seen.is_black(x, y) {
                continue;
            }
            seen.blacken(x, y);
            open.extend((-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (x + dx, y + dy))));
        }
    }
    count
}

/// Widths of what is black in one row.
fn runs(dots: &Bitmap, y: i32) -> Vec<f64> {
    let mut widths = Vec::new();
    let mut run = 0;
    for x in 0..=size_of(dots).0 {
        match dots.is_black(x, y) {
            true => run += 1,
            false if run > 0 => {
                widths.push(f64::from(std::mem::take(&mut run)));
            }
            false => {}
        }
    }
    widths
}

fn black(dots: &Bitmap) -> f64 {
    let ones: u32 = dots.bytes().iter().map(|byte| byte.count_ones()).sum();
    f64::from(ones)
}

fn main() {
    let mut pen = Pen::new();
    let ways = [false, true]
        .into_iter()
        .flat_map(|hinted| [1, 4].into_iter().flat_map(move |times| CUTS.map(move |cut| Way { cut, hinted, times })));
    let reference = Way { cut: 128, hinted: false, times: 1 };
    let mut rows: Vec<(String, Vec<Bitmap>)> = Vec::new();
    println!("{:<24} {:>12} {:>8} {:>8}   for each of {}", "", "stems", "broken", "ink", FACES.map(|f| f.0).join(", "));
    for way in ways {
        let hinting = if way.hinted { "hinted" } else { "not hinted" };
        let name = format!("{} ×{} {hinting}", way.cut, way.times);
        let mut told = String::new();
        let mut drawn = Vec::new();
        for (family, _, size) in FACES {
            let (mut stems, mut broken, mut ink, mut true_ink) = (Vec::new(), 0, 0.0, 0.0);
            for letter in LETTERS.chars() {
                let text = letter.to_string();
                let dots = pen.draw(&text, family, size, way);
                let large = pen.draw(&text, family, size * REFERENCE as f32, reference);
                broken += usize::from(pieces(&dots) != pieces(&large));
                ink += black(&dots);
                true_ink += black(&large) / f64::from(REFERENCE * REFERENCE);
                if STEMS.contains(letter) {
                    stems.extend(runs(&dots, (size * 0.75) as i32));
                }
            }
            let mean = stems.iter().sum::<f64>() / stems.len().max(1) as f64;
            let spread = stems.iter().map(|width| (width - mean).powi(2)).sum::<f64>() / stems.len().max(1) as f64;
            told += &format!("  {mean:>5.2} ± {:>4.2} {broken:>8} {:>7.0} %", spread.sqrt(), 100.0 * ink / true_ink);
            drawn.push(pen.draw(WORDS, family, size, way));
        }
        println!("{name:<20}{told}");
        rows.push((name, drawn));
    }
    // One row a way: its name, then the words in each face, enlarged.
    let label = Way { cut: 96, hinted: false, times: 1 };
    let columns = [190, 470, 730, 1010];
    let mut sheet = Bitmap::new((columns[3] * ENLARGED) as u32, (rows.len() as i32 * 40 * ENLARGED) as u32);
    let mut lay = |dots: &Bitmap, left: i32, top: i32| {
        let (width, height) = size_of(dots);
        for (x, y) in (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).filter(|(x, y)| dots.is_black(*x, *y)) {
            let at = ((left + x) * ENLARGED, (top + y) * ENLARGED);
            (0..ENLARGED)
                .flat_map(|dy| (0..ENLARGED).map(move |dx| (dx, dy)))
                .for_each(|(dx, dy)| sheet.blacken(at.0 + dx, at.1 + dy));
        }
    };
    for (at, (name, drawn)) in (0..).zip(&rows) {
        lay(&pen.draw(name, FACES[0].0, 20.0, label), 0, at * 40 + 4);
        for (dots, left) in drawn.iter().zip(columns) {
            lay(dots, left, at * 40);
        }
    }
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/target/ink.png");
    std::fs::write(file, picture::png(&sheet).expect("a picture")).expect("written");
    println!("\nthe same words, enlarged: {file}");
}
