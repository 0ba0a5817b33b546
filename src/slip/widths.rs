//! A ruler that shows how wide a head prints: it cannot be asked. For each width that heads have a
//! line that ends in a bar exactly there; the last bar that can be seen is the width.

use super::bitmap::{Area, Bitmap};
use super::document::{Align, Block, Document, Face, Paragraph, Run};
use super::layout::{Page, layout};
use super::words::{Form, key};
use super::{Sheet, SlipError, Typesetter, bytes};
use crate::model::Printer;

/// Dots across of heads that there are (PAPER 2), and two more beyond.
pub const WIDTHS: [u32; 8] = [360, 384, 420, 424, 512, 576, 640, 832];
/// The bar at the end of a line is as thick as two widths at least lie apart.
const BAR: u32 = 4;
/// Between the number and its bar.
const GAP: u32 = 8;
const NUMBER: u16 = 34;
const BELOW: u32 = 6;

/// The ruler as a page; what to do with it stands above, within the narrowest width.
pub fn page(form: &Form<'_>, setter: &mut Typesetter) -> Page {
    let [narrowest, .., widest] = WIDTHS;
    let mut words = Document::default();
    words.text(form.word(key::WIDTHS_HOW), Face::Sans, 24);
    words.text(form.word(key::WIDTHS_KNIFE), Face::Sans, 24);
    words.space(10);
    let mut set = layout(&words, Sheet { dots: narrowest, dpi: Sheet::WIDE.dpi }, setter);
    let mut dots = Bitmap::new(widest, set.dots.height());
    dots.lay(&set.dots, 0, 0);
    for width in WIDTHS {
        let mut number = Document::default();
        let runs = vec![Run::new(width.to_string(), Face::Bold, NUMBER)];
        number.push(Block::Text(Paragraph { runs, align: Align::Right }));
        let line = layout(&number, Sheet { dots: width - BAR - GAP, dpi: Sheet::WIDE.dpi }, setter);
        let (top, height) = (dots.height(), line.dots.height());
        dots.grow(top + height + BELOW);
        dots.lay(&line.dots, 0, top as i32);
        dots.fill(Area { x: (width - BAR) as i32, y: top as i32, width: BAR as i32, height: height as i32 });
        set.lines.extend(line.lines);
    }
    Page { dots, ..set }
}

/// Its bytes, ended by a cut that a head without a knife passes over.
///
/// # Errors
/// As [`bytes::bytes`].
pub fn ruler_bytes(form: &Form<'_>, setter: &mut Typesetter) -> Result<Vec<u8>, SlipError> {
    Ok(bytes::bytes(&page(form, setter), &Printer::usual("any", ""), None)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Locale, Words};
    use crate::slip::Fonts;
    use jiff::tz::TimeZone;

    #[test]
    fn each_line_ends_in_a_bar_exactly_at_its_width() {
        let words = Words { table: super::super::words::english() };
        let (locale, zone) = (Locale::default(), TimeZone::UTC);
        let form = Form::with(&words, &locale, &zone);
        let mut setter = Typesetter::new(Fonts::embedded());
        let page = page(&form, &mut setter);
        let ink_at = |x: u32| (0..page.dots.height()).filter(|y| page.dots.is_black(x as i32, *y as i32)).count();
        for (at, width) in WIDTHS.into_iter().enumerate() {
            assert!(ink_at(width - 1) >= 30, "no bar ends at {width}");
            assert!(page.lines.iter().any(|line| line.trim() == width.to_string()));
            // Wider ones show nothing on a head of the width before: their bars lie beyond it.
            if let Some(next) = WIDTHS.get(at + 1) {
                assert!(next - BAR >= width, "{next}");
            }
        }
        assert_eq!(page.dots.width(), 832);
        let ends = (0..page.dots.height()).map(|y| (0..832).rev().find(|x| page.dots.is_black(*x, y as i32)));
        let mut ends: Vec<u32> = ends.flatten().map(|x| x as u32 + 1).filter(|x| WIDTHS.contains(x)).collect();
        ends.dedup();
        assert_eq!(ends, WIDTHS, "from the narrowest down to the widest");
    }
}
