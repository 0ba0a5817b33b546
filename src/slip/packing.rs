//! A packing as a picture: the box in outline, everything in its place. Seen from the front, from
//! the right and from above where that shows each thing; else layer by layer from straight above.
//! Each thing carries its number where most of it shows.
//!
//! Pure: numbers in, dots out. Faces are told apart by their dots: the top is white, the front has
//! few, the right side many, so that it reads on one-bit paper at arm's length.

use super::bitmap::Bitmap;
use view::{Canvas, View};

mod digits;
mod shown;
mod view;

pub use shown::Spot;

/// Width of the picture on 80 mm paper, in dots.
pub const WIDE: u32 = 576;
/// Pieces that are drawn at most: smaller ones could not carry a number.
pub const PIECES_MAX: usize = 64;

/// Layers that are told at most, alike ones above each other counted once.
pub const LAYERS_MAX: usize = 8;

/// Dots around a picture that stands alone.
const MARGIN: f64 = 10.0;
/// Dots around a picture on a slip: half a line's thickness.
const MARGIN_SMALL: f64 = 2.0;
/// Steepest height of a picture that stands alone, as a share of its width.
const TALLEST: f64 = 1.2;

/// A thing in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Block {
    /// Its number in the list beside the picture; equal things have the same.
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
    /// Stands somewhere above or below the other one.
    fn shares_floor(&self, other: &Self) -> bool {
        [0, 1].into_iter().all(|axis| self.at[axis] < other.end(axis) && other.at[axis] < self.end(axis))
    }
    /// Lies within the room, and is not flat.
    pub fn is_in(&self, room: [i64; 3]) -> bool {
        (0..3).all(|axis| self.at[axis] >= 0 && self.size[axis] > 0 && self.size[axis] <= room[axis] - self.at[axis])
    }
}

/// How much room a picture may take, in dots.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Most {
    /// Across.
    pub width: u32,
    /// Down.
    pub height: u32,
}

/// A picture, and where its numbers belong: whoever has letters writes them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drawn {
    /// Without the numbers.
    pub dots: Bitmap,
    /// Where each number stands.
    pub spots: Vec<Spot>,
    /// Places in the list of those things that carry none, since too little of them shows.
    pub bare: Vec<usize>,
}

impl Drawn {
    /// Numbers that have no room, then those that stand at a side.
    fn flaws(&self) -> (usize, usize) {
        (self.bare.len(), self.spots.iter().filter(|spot| !spot.on_top).count())
    }
}

/// Dots across and down that a number takes, with the white around it.
pub type Field<'a> = &'a dyn Fn(u32) -> (i32, i32);

/// Draws it so many dots wide, with its numbers.
pub fn drawing(room: [i64; 3], blocks: &[Block], width: u32) -> Bitmap {
    let inner = f64::from(width) - 2.0 * MARGIN;
    let view = View::aslant(room, (inner, inner * TALLEST), MARGIN).centred(width);
    let mut drawn = aslant(room, blocks, &view, &digits::field);
    for spot in &drawn.spots {
        digits::write(&mut drawn.dots, spot);
    }
    drawn.dots
}

/// Layers from the floor up, for each thing the one it is in: 0 stands on the floor or hangs over nothing,
/// others lie above something of the layer before. Things of one layer never lie above each other.
pub fn layers(blocks: &[Block]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..blocks.len()).collect();
    order.sort_by_key(|at| blocks[*at].at[2]);
    let mut layers = vec![0; blocks.len()];
    for (place, &at) in order.iter().enumerate() {
        let below = order[..place].iter().filter(|other| blocks[**other].shares_floor(&blocks[at]));
        layers[at] = below.map(|other| layers[*other] + 1).max().unwrap_or(0);
    }
    layers
}

/// Whether a picture shows how everything lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tells {
    /// It does.
    All,
    /// Something carries no number, and what else is in its layer is not all like it.
    Part,
}

/// The box as it is seen best from the side, as small as all numbers allow.
pub fn whole(room: [i64; 3], blocks: &[Block], most: Most, field: Field<'_>) -> (Drawn, Tells) {
    let side = |quarters: usize, percent: u32| {
        let (room, blocks) = turned(room, blocks, quarters);
        let share = |dots: u32| f64::from(dots * percent / 100) - 2.0 * MARGIN_SMALL;
        let view = View::aslant(room, (share(most.width), f64::from(most.height) - 2.0 * MARGIN_SMALL), MARGIN_SMALL);
        aslant(room, &blocks, &view, field)
    };
    let mut best = (0, side(0, 100));
    for quarters in 1..4 {
        if best.1.flaws() == (0, 0) {
            break;
        }
        let other = side(quarters, 100);
        if other.flaws() < best.1.flaws() {
            best = (quarters, other);
        }
    }
    let (quarters, largest) = best;
    let layers = layers(blocks);
    let is_told = |bare: &usize| {
        let mut kin = blocks.iter().zip(&layers).filter(|(_, layer)| **layer == layers[*bare]);
        kin.all(|(other, _)| (other.number, other.size) == (blocks[*bare].number, blocks[*bare].size))
    };
    if !largest.bare.iter().all(is_told) {
        return (largest, Tells::Part);
    }
    let smaller = SIZES.iter().map(|percent| side(quarters, *percent));
    let small = smaller.into_iter().find(|drawn| drawn.bare.len() <= largest.bare.len());
    (small.unwrap_or(largest), Tells::All)
}

/// Sizes that a picture is tried in, in percent of the largest.
const SIZES: [u32; 3] = [70, 80, 90];

/// One layer from straight above, front at the bottom, so many dots wide: its things are white, what lies below them is
/// dotted.
pub fn layer(room: [i64; 3], blocks: &[Block], layer: usize, width: u32, field: Field<'_>) -> Drawn {
    let layers = layers(blocks);
    let view = View::from_above(room, f64::from(width) - 2.0 * MARGIN_SMALL, MARGIN_SMALL);
    let mut canvas = Canvas::new(&view);
    canvas.floor(&view, room);
    for (block, _) in blocks.iter().zip(&layers).filter(|(_, of)| **of < layer) {
        canvas.lid(&view, block, None);
    }
    for (at, block) in blocks.iter().enumerate().filter(|(at, _)| layers[*at] == layer) {
        canvas.lid(&view, block, Some(at));
    }
    canvas.walls_around(&view, room);
    let here: Vec<usize> = (0..blocks.len()).filter(|at| layers[*at] == layer).collect();
    canvas.drawn(blocks, &here, field)
}

/// With the longer side of its floor across: that takes less paper.
pub fn broad(room: [i64; 3], blocks: &[Block]) -> ([i64; 3], Vec<Block>) {
    turned(room, blocks, usize::from(room[1] > room[0]))
}

fn aslant(room: [i64; 3], blocks: &[Block], view: &View, field: Field<'_>) -> Drawn {
    let mut canvas = Canvas::new(view);
    canvas.walls_behind(view, room);
    for at in from_behind(blocks) {
        canvas.faces(view, &blocks[at], at);
    }
    let all: Vec<usize> = (0..blocks.len()).collect();
    canvas.drawn(blocks, &all, field)
}

/// The box turned on its floor by so many quarters, to the left.
fn turned(room: [i64; 3], blocks: &[Block], quarters: usize) -> ([i64; 3], Vec<Block>) {
    let mut turned = (room, blocks.to_vec());
    for _ in 0..quarters % 4 {
        let (room, blocks) = &mut turned;
        for block in blocks.iter_mut() {
            // What was at the left comes to the front, what was at the front to the right.
            block.at = [room[1] - block.end(1), block.at[0], block.at[2]];
            block.size.swap(0, 1);
        }
        room.swap(0, 1);
    }
    turned
}

/// Those that others stand before come first.
fn from_behind(blocks: &[Block]) -> Vec<usize> {
    let mut left: Vec<usize> = (0..blocks.len()).collect();
    let mut sorted = Vec::with_capacity(left.len());
    // Looked at from the front, the right and above: nearer is farther right, farther to the front, higher.
    let hides = |near: usize, far: usize| {
        let (near, far) = (&blocks[near], &blocks[far]);
        near.at[0] >= far.end(0) || near.end(1) <= far.at[1] || near.at[2] >= far.end(2)
    };
    while !left.is_empty() {
        let is_last =
            |one: &usize| left.iter().all(|other| other == one || !hides(*one, *other) || hides(*other, *one));
        // In a circle of three, which boxes can form, any will do.
        let next = left.iter().position(is_last).unwrap_or(0);
        sorted.push(left.remove(next));
    }
    sorted
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
            let order: Vec<u32> = from_behind(&all).iter().map(|at| all[*at].number).collect();
            let place = |number: u32| order.iter().position(|one| *one == number);
            assert!(place(1) < place(2) && place(2) < place(3) && place(1) < place(4), "{order:?}");
        }
    }

    #[test]
    fn layers_go_from_the_floor_up_and_nothing_lies_above_its_own() {
        let all = [
            block(3, [0, 0, 150], [200, 100, 20]),
            block(2, [0, 0, 100], [100, 100, 50]),
            block(1, [0, 0, 0], [100, 100, 100]),
            block(4, [100, 0, 0], [100, 100, 150]),
        ];
        assert_eq!(layers(&all), [2, 1, 0, 0]);
        assert_eq!(layers(&[]), [0; 0]);
    }

    #[test]
    fn a_turned_box_holds_the_same_and_four_quarters_are_a_whole_turn() {
        let room = [230, 130, 80];
        let all = [block(1, [0, 0, 0], [100, 30, 80]), block(2, [130, 30, 0], [100, 100, 10])];
        let once = turned(room, &all, 1);
        assert_eq!(
            once,
            ([130, 230, 80], vec![block(1, [100, 0, 0], [30, 100, 80]), block(2, [0, 130, 0], [100, 100, 10])])
        );
        assert!(once.1.iter().all(|block| block.is_in(once.0)));
        assert_eq!(turned(once.0, &once.1, 3), (room, all.to_vec()));
        assert_eq!(broad([130, 230, 80], &once.1).0, room);
    }

    #[test]
    fn what_is_hidden_among_others_is_never_left_to_guess() {
        let field = |_: u32| (20, 26);
        let most = Most { width: 288, height: 280 };
        // A small thing in the middle of four tall ones, and the same without it.
        let mut all = vec![
            block(1, [0, 0, 0], [150, 50, 150]),
            block(1, [150, 0, 0], [50, 150, 150]),
            block(1, [50, 150, 0], [150, 50, 150]),
            block(1, [0, 50, 0], [50, 150, 150]),
        ];
        assert_eq!(whole([200, 200, 150], &all, most, &field).1, Tells::All);
        all.push(block(2, [70, 70, 0], [30, 30, 20]));
        assert_eq!(whole([200, 200, 150], &all, most, &field).1, Tells::Part);
        let drawn = layer([200, 200, 150], &all, 0, 240, &field);
        assert_eq!((drawn.spots.len(), drawn.bare.len()), (5, 0));
    }

    #[test]
    fn no_picture_is_larger_than_it_may_be() {
        let field = |_: u32| (20, 26);
        for room in [[230, 130, 80], [10, 10, 900], [900, 10, 10], [10, 900, 10], [1, 1, 1]] {
            for most in [Most { width: 192, height: 280 }, Most { width: 288, height: 280 }] {
                let (drawn, _) = whole(room, &[block(1, [0, 0, 0], room)], most, &field);
                let dots = drawn.dots;
                assert!(dots.width() <= most.width && dots.height() <= most.height, "{room:?} {most:?}");
            }
        }
    }
}
