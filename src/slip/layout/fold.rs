//! What is added once a paper's length is known: marks where it folds so that it lies under
//! the lid, and a frame around it.

use super::super::bitmap::{Area, Bitmap};
use super::super::document::{Frame, Lid};
use super::Sheet;

/// Paper is wider than its print: 4 mm at each side on 58 and 80 mm rolls (common practice, no source).
const EDGES_MM: f32 = 8.0;
/// White between the knife and the first row: the way from head to knife (common practice, no source).
const LEAD_MM: f32 = 12.0;
/// A folded card is not pressed against the walls.
const PLAY_MM: f32 = 4.0;
/// More folds make a wad, not a card.
const PANELS_MAX: i32 = 6;
/// Length of a mark from the edge inwards, in dots.
const MARK: f32 = 14.0;
const MM_PER_INCH: f32 = 25.4;

/// Rows at which a paper of this height folds; none where it lies flat, or where its width
/// does not fit under the lid either way.
pub(super) fn folds(dots: &Bitmap, sheet: Sheet, lid: Lid) -> Vec<i32> {
    let rows_per_mm = sheet.dpi as f32 / MM_PER_INCH;
    let across = sheet.dots as f32 / rows_per_mm + EDGES_MM;
    let (long, short) = (f32::from(lid.long_mm) - PLAY_MM, f32::from(lid.short_mm) - PLAY_MM);
    let room = if across <= short {
        long
    } else if across <= long {
        short
    } else {
        return Vec::new();
    };
    let lead = (LEAD_MM * rows_per_mm) as i32;
    let (height, room) = (dots.height() as i32, (room * rows_per_mm) as i32);
    let total = height + lead;
    if room <= 0 || total <= room {
        return Vec::new();
    }
    let panels = (total + room - 1) / room;
    if panels > PANELS_MAX {
        return Vec::new();
    }
    // A fold may move into white as long as no part grows beyond the lid.
    let slack = (room - total / panels) / 2;
    let is_white = |row: i32| (0..dots.width() as i32).all(|x| !dots.is_black(x, row));
    let fold = |number: i32| {
        let even = total * number / panels - lead;
        let near = (0..slack.max(1)).flat_map(|away| [even - away, even + away]);
        near.into_iter().find(|row| is_white(*row)).unwrap_or(even)
    };
    (1..panels).map(fold).filter(|row| (1..height).contains(row)).collect()
}

/// A small triangle at each edge, pointing inwards.
pub(super) fn mark(dots: &mut Bitmap, row: i32, scale: f32) {
    let length = (MARK * scale).round() as i32;
    let width = dots.width() as i32;
    for step in 0..length {
        let half = (length - step) / 2;
        for x in [step, width - 1 - step] {
            dots.fill(Area { x, y: row - half, width: 1, height: 2 * half + 1 });
        }
    }
}

/// Lines along all four edges.
pub(super) fn frame(dots: &mut Bitmap, frame: Frame, scale: f32) {
    let (width, height) = (dots.width() as i32, dots.height() as i32);
    let Frame::Double = frame;
    for (inset, thick) in [(0.0, 3.0), (8.0, 1.0)] {
        let (inset, thick) = ((inset * scale).round() as i32, (thick * scale).round().max(1.0) as i32);
        let (across, down) = (width - 2 * inset, height - 2 * inset);
        for (x, y) in [(inset, inset), (inset, height - inset - thick)] {
            dots.fill(Area { x, y, width: across, height: thick });
        }
        for (x, y) in [(inset, inset), (width - inset - thick, inset)] {
            dots.fill(Area { x, y, width: thick, height: down });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_card_folds_only_where_it_would_not_lie_under_the_lid() {
        let lid = |long_mm, short_mm| Lid { long_mm, short_mm };
        // 800 rows are 100 mm; with the way to the knife 112.
        let card = Bitmap::new(576, 800);
        assert!(folds(&card, Sheet::WIDE, lid(180, 120)).is_empty());
        assert_eq!(folds(&card, Sheet::WIDE, lid(100, 90)).len(), 1);
        // The 80 mm lie along the only side that takes them; the other is 60 mm.
        assert_eq!(folds(&card, Sheet::WIDE, lid(100, 60)).len(), 2);
        assert!(folds(&card, Sheet::WIDE, lid(70, 60)).is_empty(), "no way to lay it");
        assert_eq!(folds(&card, Sheet::NARROW, lid(70, 62)).len(), 1);
        assert!(folds(&Bitmap::new(576, 80_000), Sheet::WIDE, lid(100, 90)).is_empty(), "a wad");
    }

    #[test]
    fn a_fold_moves_into_white_and_no_part_outgrows_the_lid() {
        let mut card = Bitmap::new(576, 1000);
        // Words all over but for a gap below the middle.
        card.fill(Area { x: 40, y: 0, width: 400, height: 470 });
        card.fill(Area { x: 40, y: 480, width: 400, height: 520 });
        let lid = Lid { long_mm: 100, short_mm: 90 };
        let rows = folds(&card, Sheet::WIDE, lid);
        assert_eq!(rows.len(), 1);
        assert!((470..480).contains(&rows[0]), "{rows:?}");
    }
}
