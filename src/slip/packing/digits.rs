//! Numbers for a picture that stands alone, without letters at hand.

use super::super::bitmap::Bitmap;
use super::Spot;

/// Digits of three by five squares, a row of bits each, from above.
const DIGITS: [[u8; 5]; 10] = [
    [7, 5, 5, 5, 7],
    [2, 6, 2, 2, 7],
    [7, 1, 7, 4, 7],
    [7, 1, 3, 1, 7],
    [5, 5, 7, 1, 1],
    [7, 4, 7, 1, 7],
    [7, 4, 7, 5, 7],
    [7, 1, 1, 2, 2],
    [7, 5, 7, 5, 7],
    [7, 5, 7, 1, 7],
];
/// Dots of one such square.
const SQUARE: i32 = 4;

fn across(number: u32) -> i32 {
    (number.to_string().len() as i32 * 4 - 1) * SQUARE
}

/// Dots that a number takes, with a square of white around it.
pub(super) fn field(number: u32) -> (i32, i32) {
    (across(number) + 2 * SQUARE, 7 * SQUARE)
}

/// Writes a number in a white field.
pub(super) fn write(dots: &mut Bitmap, spot: &Spot) {
    let digits: Vec<usize> = spot.number.to_string().bytes().map(|digit| usize::from(digit - b'0')).collect();
    spot.clear(dots, field(spot.number));
    let (left, top) = (spot.x - across(spot.number) / 2, spot.y - 5 * SQUARE / 2);
    for (place, digit) in digits.into_iter().enumerate() {
        for (row, bits) in DIGITS[digit].into_iter().enumerate() {
            for column in (0..3).filter(|column| bits >> (2 - column) & 1 == 1) {
                let (from_x, from_y) = (left + (place as i32 * 4 + column) * SQUARE, top + row as i32 * SQUARE);
                for (right, down) in (0..SQUARE).flat_map(|right| (0..SQUARE).map(move |down| (right, down))) {
                    dots.blacken(from_x + right, from_y + down);
                }
            }
        }
    }
}
