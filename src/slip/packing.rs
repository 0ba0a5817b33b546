//! A packing as a picture: the box in outline, everything in its place, seen from the front, from
//! the right and from above. Each thing carries its number on the face of which most shows.
//!
//! Pure: numbers in, dots out. Faces are told apart by their dots: the top is white, the front has
//! few, the right side many, so that it reads on one-bit paper at arm's length.

use super::bitmap::Bitmap;
use std::collections::BTreeMap;

/// Width of the picture on 80 mm paper, in dots.
pub const WIDE: u32 = 576;

/// Dots around the picture.
const MARGIN: f64 = 10.0;
/// Steepest height of a picture, as a share of its width.
const TALLEST: f64 = 1.2;
/// Cosine and sine of the angle at which the sides run: 30 degrees.
const ALONG: (f64, f64) = (0.866_025_403_784, 0.5);

/// A thing in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Block {
    /// Its number in the list beside the picture.
    pub number: u32,
    /// The corner at the left, the front and the bottom, in millimetres: from the left wall, from
    /// the front wall, from the floor.
    pub at: [i64; 3],
    /// Its sides: across, to the back, up.
    pub size: [i64; 3],
}

impl Block {
    fn end(&self, axis: usize) -> i64 {
        self.at[axis] + self.size[axis]
    }
}

/// Draws it, so many dots wide.
pub fn drawing(room: [i64; 3], blocks: &[Block], width: u32) -> Bitmap {
    let view = View::of(room, width);
    let mut dots = Bitmap::new(width, view.height);
    // The walls behind, first.
    let [w, d, h] = room;
    let back = [[0, d, 0], [w, d, 0], [w, d, h], [0, d, h]];
    let left = [[0, 0, 0], [0, d, 0], [0, d, h], [0, 0, h]];
    for wall in [back, left, [[0, 0, 0], [w, 0, 0], [w, d, 0], [0, d, 0]]] {
        outline(&mut dots, &wall.map(|corner| view.spot(corner)), Stroke::Dotted);
    }
    let mut shown = Shown::new(&dots);
    for block in from_behind(blocks) {
        draw(&mut dots, &view, &block, &mut shown);
    }
    for (number, (x, y)) in shown.places() {
        write_number(&mut dots, number, x, y);
    }
    dots
}

/// Which face of which block each dot shows.
struct Shown {
    width: usize,
    face_at: Vec<u32>,
}

/// Faces of a block that may show.
const FACES: u32 = 3;
/// A number needs about so many dots of a face.
const NUMBER_DOTS: usize = 700;

impl Shown {
    fn new(dots: &Bitmap) -> Self {
        let (width, height) = (dots.width() as usize, dots.height() as usize);
        Self { width, face_at: vec![0; width * height] }
    }

    fn mark(&mut self, x: i32, y: i32, face: u32) {
        let spot = usize::try_from(x).ok().filter(|x| *x < self.width).zip(usize::try_from(y).ok());
        if let Some((x, y)) = spot
            && let Some(at) = self.face_at.get_mut(y * self.width + x)
        {
            *at = face;
        }
    }

    /// For each number the middle of what shows most of its block, if there is room for it.
    fn places(&self) -> Vec<(u32, (f64, f64))> {
        let mut sums: BTreeMap<u32, (usize, f64, f64)> = BTreeMap::new();
        for (at, face) in self.face_at.iter().enumerate().filter(|(_, face)| **face > 0) {
            let sum = sums.entry(*face).or_default();
            *sum = (sum.0 + 1, sum.1 + (at % self.width) as f64, sum.2 + (at / self.width) as f64);
        }
        let mut best: BTreeMap<u32, (usize, (f64, f64))> = BTreeMap::new();
        for (face, (count, x, y)) in sums {
            let of = best.entry(face / FACES).or_insert((NUMBER_DOTS, (f64::NAN, f64::NAN)));
            if count > of.0 {
                *of = (count, (x / count as f64, y / count as f64));
            }
        }
        best.into_iter().filter(|(_, (_, spot))| spot.0.is_finite()).map(|(number, (_, spot))| (number, spot)).collect()
    }
}

/// Those that others stand before come first.
fn from_behind(blocks: &[Block]) -> Vec<Block> {
    let mut left: Vec<Block> = blocks.to_vec();
    let mut sorted = Vec::with_capacity(left.len());
    // Looked at from the front, the right and above: nearer is farther right, farther to the front, higher.
    let hides =
        |near: &Block, far: &Block| near.at[0] >= far.end(0) || near.end(1) <= far.at[1] || near.at[2] >= far.end(2);
    while !left.is_empty() {
        let is_last = |one: &Block| left.iter().all(|other| other == one || !hides(one, other) || hides(other, one));
        // In a circle of three, which boxes can form, any will do.
        let next = left.iter().position(is_last).unwrap_or(0);
        sorted.push(left.remove(next));
    }
    sorted
}

/// Millimetres to dots.
struct View {
    scale: f64,
    left: f64,
    bottom: f64,
    height: u32,
}

impl View {
    fn of([w, d, h]: [i64; 3], width: u32) -> Self {
        let [w, d, h] = [w, d, h].map(|side| side.max(1) as f64);
        let (across, up) = ((w + d) * ALONG.0, (w + d) * ALONG.1 + h);
        let inner = f64::from(width) - 2.0 * MARGIN;
        let scale = (inner / across).min(inner * TALLEST / up);
        let left = (f64::from(width) - across * scale) / 2.0;
        let height = up * scale + 2.0 * MARGIN;
        Self { scale, left, bottom: height - MARGIN - w * ALONG.1 * scale, height: height.ceil() as u32 }
    }

    /// The front's lower left corner is at the left; width runs down to the right, depth up to the right.
    fn spot(&self, [x, y, z]: [i64; 3]) -> (f64, f64) {
        let [x, y, z] = [x as f64, y as f64, z as f64];
        let across = (x + y) * ALONG.0 * self.scale;
        let down = ((x - y) * ALONG.1 - z) * self.scale;
        (self.left + across, self.bottom + down)
    }
}

/// How a line looks.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Stroke {
    Bold,
    Dotted,
}

/// How a face is filled: a dot in so many, in each direction; none.
type Grain = Option<i32>;

fn draw(dots: &mut Bitmap, view: &View, block: &Block, shown: &mut Shown) {
    let ([x, y, z], [w, d, h]) = (block.at, block.size);
    let front = [[x, y, z], [x + w, y, z], [x + w, y, z + h], [x, y, z + h]];
    let right = [[x + w, y, z], [x + w, y + d, z], [x + w, y + d, z + h], [x + w, y, z + h]];
    let top = [[x, y, z + h], [x + w, y, z + h], [x + w, y + d, z + h], [x, y + d, z + h]];
    let faces: [([[i64; 3]; 4], Grain); 3] = [(front, Some(6)), (right, Some(3)), (top, None)];
    for ((face, grain), place) in faces.into_iter().zip(0..) {
        let corners = face.map(|corner| view.spot(corner));
        fill(dots, &corners, grain, |x, y| shown.mark(x, y, block.number * FACES + place));
        outline(dots, &corners, Stroke::Bold);
    }
}

/// Whitens a convex face, then strews its dots.
fn fill(dots: &mut Bitmap, corners: &[(f64, f64); 4], grain: Grain, mut mark: impl FnMut(i32, i32)) {
    let (low, high) = bounds(corners, |spot| spot.1);
    for row in low..=high {
        let height = f64::from(row);
        let mut crossings: Vec<f64> = Vec::with_capacity(2);
        for k in 0..4 {
            let ((ax, ay), (bx, by)) = (corners[k], corners[(k + 1) % 4]);
            if (ay <= height) != (by <= height) {
                crossings.push(ax + (height - ay) / (by - ay) * (bx - ax));
            }
        }
        crossings.sort_by(f64::total_cmp);
        let [from, to] = crossings[..] else { continue };
        for column in from.ceil() as i32..=to.floor() as i32 {
            mark(column, row);
            let is_dot =
                grain.is_some_and(|step| row.rem_euclid(step) == 0 && (column + row / step).rem_euclid(step) == 0);
            if is_dot {
                dots.blacken(column, row);
            } else {
                dots.whiten(column, row);
            }
        }
    }
}

fn bounds(corners: &[(f64, f64); 4], pick: fn(&(f64, f64)) -> f64) -> (i32, i32) {
    let low = corners.iter().map(pick).fold(f64::INFINITY, f64::min);
    let high = corners.iter().map(pick).fold(f64::NEG_INFINITY, f64::max);
    (low.ceil() as i32, high.floor() as i32)
}

fn outline(dots: &mut Bitmap, corners: &[(f64, f64); 4], stroke: Stroke) {
    for k in 0..4 {
        line(dots, corners[k], corners[(k + 1) % 4], stroke);
    }
}

fn line(dots: &mut Bitmap, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
    let steps = (to.0 - from.0).abs().max((to.1 - from.1).abs()).ceil().max(1.0);
    for step in 0..=steps as i32 {
        let share = f64::from(step) / steps;
        let (x, y) = (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1));
        let (x, y) = (x.round() as i32, y.round() as i32);
        match stroke {
            Stroke::Dotted if step % 6 > 1 => {}
            Stroke::Dotted => dots.blacken(x, y),
            Stroke::Bold => {
                for (right, down) in [(0, 0), (1, 0), (0, 1)] {
                    dots.blacken(x + right, y + down);
                }
            }
        }
    }
}

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

/// A number in a white field, about a point.
fn write_number(dots: &mut Bitmap, number: u32, x: f64, y: f64) {
    let digits: Vec<usize> = number.to_string().bytes().map(|digit| usize::from(digit - b'0')).collect();
    let across = (digits.len() as i32 * 4 - 1) * SQUARE;
    let (left, top) = (x.round() as i32 - across / 2, y.round() as i32 - 5 * SQUARE / 2);
    for row in -SQUARE..6 * SQUARE {
        for column in -SQUARE..across + SQUARE {
            dots.whiten(left + column, top + row);
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    fn block(number: u32, at: [i64; 3], size: [i64; 3]) -> Block {
        Block { number, at, size }
    }

    #[test]
    fn what_stands_before_is_drawn_after_what_it_hides() {
        let behind = block(1, [0, 100, 0], [100, 100, 100]);
        let before = block(2, [0, 0, 0], [100, 100, 100]);
        let above = block(3, [0, 0, 100], [100, 200, 50]);
        let right = block(4, [100, 0, 0], [50, 200, 100]);
        for all in [[behind, before, above, right], [right, above, before, behind]] {
            let order: Vec<u32> = from_behind(&all).iter().map(|block| block.number).collect();
            let place = |number: u32| order.iter().position(|one| *one == number);
            assert!(place(1) < place(2) && place(2) < place(3) && place(1) < place(4), "{order:?}");
        }
    }

    #[test]
    fn the_whole_box_lies_within_the_picture_whatever_its_shape() {
        for room in [[230, 130, 80], [10, 10, 900], [900, 10, 10], [10, 900, 10], [1, 1, 1]] {
            for width in [384, 576] {
                let view = View::of(room, width);
                for corner in
                    [[0, 0, 0], [room[0], 0, 0], [0, room[1], 0], [0, 0, room[2]], room, [0, room[1], room[2]]]
                {
                    let (x, y) = view.spot(corner);
                    let height = f64::from(view.height);
                    assert!((0.0..f64::from(width)).contains(&x) && (0.0..=height).contains(&y), "{room:?} {corner:?}");
                }
            }
        }
    }
}
