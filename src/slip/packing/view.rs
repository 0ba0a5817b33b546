//! Millimetres to dots, and the strokes.

use super::super::bitmap::Bitmap;
use super::shown::{FRONT, RIGHT, Shown, TOP};
use super::{Block, Drawn, Field};

/// Cosine and sine of the angle at which the sides run: 30 degrees.
const ALONG: (f64, f64) = (0.866_025_403_784, 0.5);

/// How a picture looks at the box.
pub(super) struct View {
    scale: f64,
    left: f64,
    /// Where the corner at the left, the front and the bottom lies.
    bottom: f64,
    width: u32,
    height: u32,
    look: Look,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Look {
    Aslant,
    FromAbove,
}

impl View {
    /// From the front, the right and above, as large as it goes into so much, with a margin around.
    pub(super) fn aslant([w, d, h]: [i64; 3], (width, height): (f64, f64), margin: f64) -> Self {
        let [w, d, h] = [w, d, h].map(|side| side.max(1) as f64);
        let (across, up) = ((w + d) * ALONG.0, (w + d) * ALONG.1 + h);
        let scale = (width / across).min(height / up);
        let whole = up * scale + 2.0 * margin;
        Self {
            scale,
            left: margin,
            bottom: whole - margin - w * ALONG.1 * scale,
            width: (across * scale + 2.0 * margin).floor() as u32,
            height: whole.floor() as u32,
            look: Look::Aslant,
        }
    }

    /// From straight above, the front at the bottom.
    pub(super) fn from_above([w, d, _]: [i64; 3], width: f64, margin: f64) -> Self {
        let scale = width / w.max(1) as f64;
        let height = d.max(1) as f64 * scale + 2.0 * margin;
        Self {
            scale,
            left: margin,
            bottom: height - margin,
            width: (width + 2.0 * margin).floor() as u32,
            height: height.floor() as u32,
            look: Look::FromAbove,
        }
    }

    /// In the middle of a wider picture.
    pub(super) fn centred(self, width: u32) -> Self {
        let more = width.saturating_sub(self.width);
        Self { left: self.left + f64::from(more) / 2.0, width: self.width + more, ..self }
    }

    /// The front's lower left corner is at the left; width runs down to the right, depth up to the right.
    fn spot(&self, [x, y, z]: [i64; 3]) -> (f64, f64) {
        let [x, y, z] = [x as f64, y as f64, z as f64];
        let (across, down) = match self.look {
            Look::Aslant => ((x + y) * ALONG.0, (x - y) * ALONG.1 - z),
            Look::FromAbove => (x, -y),
        };
        (self.left + across * self.scale, self.bottom + down * self.scale)
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
/// What lies below a layer, and where nothing lies.
const BELOW: Grain = Some(5);

/// The dots so far.
pub(super) struct Canvas {
    dots: Bitmap,
    shown: Shown,
}

impl Canvas {
    pub(super) fn new(view: &View) -> Self {
        Self { dots: Bitmap::new(view.width, view.height), shown: Shown::new(view.width, view.height) }
    }

    /// The walls behind and the floor.
    pub(super) fn walls_behind(&mut self, view: &View, [w, d, h]: [i64; 3]) {
        let back = [[0, d, 0], [w, d, 0], [w, d, h], [0, d, h]];
        let left = [[0, 0, 0], [0, d, 0], [0, d, h], [0, 0, h]];
        for wall in [back, left, [[0, 0, 0], [w, 0, 0], [w, d, 0], [0, d, 0]]] {
            self.outline(&wall.map(|corner| view.spot(corner)), Stroke::Dotted);
        }
    }

    /// The floor, before anything else.
    pub(super) fn floor(&mut self, view: &View, room: [i64; 3]) {
        self.fill(&floor(view, room), BELOW, Shown::unmark);
    }

    /// The four walls around it, after everything else.
    pub(super) fn walls_around(&mut self, view: &View, room: [i64; 3]) {
        self.outline(&floor(view, room), Stroke::Bold);
    }

    /// The three faces of a block that can be seen aslant.
    pub(super) fn faces(&mut self, view: &View, block: &Block, place: usize) {
        let ([x, y, z], [w, d, h]) = (block.at, block.size);
        let front = [[x, y, z], [x + w, y, z], [x + w, y, z + h], [x, y, z + h]];
        let right = [[x + w, y, z], [x + w, y + d, z], [x + w, y + d, z + h], [x + w, y, z + h]];
        let faces: [([[i64; 3]; 4], Grain); 3] = [(front, Some(6)), (right, Some(3)), (top(block), None)];
        for ((face, grain), number) in faces.into_iter().zip([FRONT, RIGHT, TOP]) {
            let corners = face.map(|corner| view.spot(corner));
            self.fill(&corners, grain, |shown, x, y| shown.mark(x, y, place, number));
            self.outline(&corners, Stroke::Bold);
        }
    }

    /// The top of a block; one without a place lies below others and is dotted.
    pub(super) fn lid(&mut self, view: &View, block: &Block, place: Option<usize>) {
        let corners = top(block).map(|corner| view.spot(corner));
        let (grain, stroke) = if place.is_some() { (None, Stroke::Bold) } else { (BELOW, Stroke::Dotted) };
        self.fill(&corners, grain, |shown, x, y| match place {
            Some(place) => shown.mark(x, y, place, TOP),
            None => shown.unmark(x, y),
        });
        self.outline(&corners, stroke);
    }

    /// What came of it, with places for the numbers of some blocks.
    pub(super) fn drawn(self, blocks: &[Block], of: &[usize], field: Field<'_>) -> Drawn {
        let spots = self.shown.spots(blocks, of, field);
        let bare = of.iter().zip(&spots).filter(|(_, spot)| spot.is_none()).map(|(at, _)| *at).collect();
        Drawn { dots: self.dots, spots: spots.into_iter().flatten().collect(), bare }
    }

    /// Whitens a convex face, then strews its dots.
    fn fill(&mut self, corners: &[(f64, f64); 4], grain: Grain, mark: impl Fn(&mut Shown, i32, i32)) {
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
                mark(&mut self.shown, column, row);
                let is_dot =
                    grain.is_some_and(|step| row.rem_euclid(step) == 0 && (column + row / step).rem_euclid(step) == 0);
                if is_dot {
                    self.dots.blacken(column, row);
                } else {
                    self.dots.whiten(column, row);
                }
            }
        }
    }

    fn outline(&mut self, corners: &[(f64, f64); 4], stroke: Stroke) {
        for k in 0..4 {
            self.line(corners[k], corners[(k + 1) % 4], stroke);
        }
    }

    fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
        let steps = (to.0 - from.0).abs().max((to.1 - from.1).abs()).ceil().max(1.0);
        for step in 0..=steps as i32 {
            let share = f64::from(step) / steps;
            let (x, y) = (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1));
            let (x, y) = (x.round() as i32, y.round() as i32);
            match stroke {
                Stroke::Dotted if step % 6 > 1 => {}
                Stroke::Dotted => self.dots.blacken(x, y),
                Stroke::Bold => {
                    for (right, down) in [(0, 0), (1, 0), (0, 1)] {
                        self.dots.blacken(x + right, y + down);
                        self.shown.unmark(x + right, y + down);
                    }
                }
            }
        }
    }
}

fn floor(view: &View, [w, d, _]: [i64; 3]) -> [(f64, f64); 4] {
    [[0, 0, 0], [w, 0, 0], [w, d, 0], [0, d, 0]].map(|corner| view.spot(corner))
}

fn top(block: &Block) -> [[i64; 3]; 4] {
    let ([x, y, z], [w, d, h]) = (block.at, block.size);
    [[x, y, z + h], [x + w, y, z + h], [x + w, y + d, z + h], [x, y + d, z + h]]
}

fn bounds(corners: &[(f64, f64); 4], pick: fn(&(f64, f64)) -> f64) -> (i32, i32) {
    let low = corners.iter().map(pick).fold(f64::INFINITY, f64::min);
    let high = corners.iter().map(pick).fold(f64::NEG_INFINITY, f64::max);
    (low.ceil() as i32, high.floor() as i32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_whole_box_lies_within_the_picture_whatever_its_shape() {
        for room in [[230, 130, 80], [10, 10, 900], [900, 10, 10], [10, 900, 10], [1, 1, 1]] {
            for width in [384, 576] {
                let view = View::aslant(room, (f64::from(width) - 20.0, f64::from(width)), 10.0).centred(width);
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
