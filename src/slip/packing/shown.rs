//! What each dot of a picture shows, and so where a number has room.

use super::super::bitmap::Bitmap;
use super::{Block, Field};

/// Where a number stands: the middle of its field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spot {
    /// Which.
    pub number: u32,
    /// From the left.
    pub x: i32,
    /// From above.
    pub y: i32,
    /// It stands on the top of its thing, where it reads best.
    pub on_top: bool,
}

impl Spot {
    /// Whitens a field of this size.
    pub fn clear(&self, dots: &mut Bitmap, (width, height): (i32, i32)) {
        for y in self.y - height / 2..self.y - height / 2 + height {
            for x in self.x - width / 2..self.x - width / 2 + width {
                dots.whiten(x, y);
            }
        }
    }
}

/// Faces of a block that may show, the top first.
const FACES: usize = 3;
pub(super) const TOP: usize = 0;
pub(super) const FRONT: usize = 1;
pub(super) const RIGHT: usize = 2;

/// Which face of which block each dot shows.
pub(super) struct Shown {
    width: usize,
    face_at: Vec<usize>,
}

/// A face as far as it shows: how much, its middle, and the rectangle around it.
#[derive(Clone)]
struct Part {
    count: usize,
    sum: (usize, usize),
    from: (usize, usize),
    to: (usize, usize),
}

impl Shown {
    pub(super) fn new(width: u32, height: u32) -> Self {
        Self { width: width as usize, face_at: vec![0; width as usize * height as usize] }
    }

    /// This dot shows that face of the block at this place.
    pub(super) fn mark(&mut self, x: i32, y: i32, block: usize, face: usize) {
        self.set(x, y, block * FACES + face + 1);
    }
    /// This dot shows nothing that carries a number, like a line.
    pub(super) fn unmark(&mut self, x: i32, y: i32) {
        self.set(x, y, 0);
    }
    fn set(&mut self, x: i32, y: i32, face: usize) {
        let spot = usize::try_from(x).ok().filter(|x| *x < self.width).zip(usize::try_from(y).ok());
        if let Some((x, y)) = spot
            && let Some(at) = self.face_at.get_mut(y * self.width + x)
        {
            *at = face;
        }
    }

    /// For each of these blocks where its number stands, or `None`.
    pub(super) fn spots(&self, blocks: &[Block], of: &[usize], field: Field<'_>) -> Vec<Option<Spot>> {
        // By face, since every dot of the picture is counted into one.
        let mut parts: Vec<Option<Part>> = vec![None; blocks.len() * FACES + 1];
        for (y, row) in self.face_at.chunks_exact(self.width.max(1)).enumerate() {
            for (x, face) in row.iter().enumerate().filter(|(_, face)| **face > 0) {
                let part = parts[*face].get_or_insert(Part { count: 0, sum: (0, 0), from: (x, y), to: (x, y) });
                part.count += 1;
                part.sum = (part.sum.0 + x, part.sum.1 + y);
                part.from = (part.from.0.min(x), part.from.1.min(y));
                part.to = (part.to.0.max(x), part.to.1.max(y));
            }
        }
        let spot = |block: &usize| {
            let number = blocks[*block].number;
            let mut faces: Vec<(usize, &Part)> =
                (0..FACES).filter_map(|face| Some((face, parts[block * FACES + face + 1].as_ref()?))).collect();
            // The white top; where it has no room, the side of which most shows.
            faces.sort_by_key(|(face, part)| (*face != TOP, std::cmp::Reverse(part.count)));
            faces.into_iter().find_map(|(face, part)| {
                let (x, y) = self.place(block * FACES + face + 1, part, field(number))?;
                Some(Spot { number, x, y, on_top: face == TOP })
            })
        };
        of.iter().map(spot).collect()
    }

    /// Of all places where a field of this size shows nothing but this face, the one nearest its middle.
    fn place(&self, face: usize, part: &Part, (width, height): (i32, i32)) -> Option<(i32, i32)> {
        let (width, height) = (width.max(1) as usize, height.max(1) as usize);
        let (across, down) = (part.to.0 - part.from.0 + 1, part.to.1 - part.from.1 + 1);
        if width > across || height > down {
            return None;
        }
        // Mostly there is room in the middle.
        let middle = (part.sum.0 / part.count, part.sum.1 / part.count);
        let from = (middle.0.saturating_sub(width / 2), middle.1.saturating_sub(height / 2));
        let is_free = |y: usize| {
            let row = y * self.width + from.0;
            self.face_at.get(row..row + width).is_some_and(|dots| dots.iter().all(|dot| *dot == face))
        };
        if from.0 + width <= self.width && (from.1..from.1 + height).all(is_free) {
            return Some(((from.0 + width / 2) as i32, (from.1 + height / 2) as i32));
        }
        // How many dots of the face lie above and to the left of each.
        let mut sums = vec![0_u32; (across + 1) * (down + 1)];
        for y in 0..down {
            for x in 0..across {
                let is_face = self.face_at[(part.from.1 + y) * self.width + part.from.0 + x] == face;
                let [above, left, both] = [(x + 1, y), (x, y + 1), (x, y)].map(|(x, y)| sums[y * (across + 1) + x]);
                sums[(y + 1) * (across + 1) + x + 1] = above + left - both + u32::from(is_face);
            }
        }
        let sum = |x: usize, y: usize| sums[y * (across + 1) + x];
        let places = (0..=down - height).flat_map(|y| (0..=across - width).map(move |x| (x, y)));
        let whole = places.filter(|(x, y)| {
            let inside = sum(x + width, y + height) + sum(*x, *y) - sum(x + width, *y) - sum(*x, y + height);
            inside as usize == width * height
        });
        let centre = |(x, y): (usize, usize)| (part.from.0 + x + width / 2, part.from.1 + y + height / 2);
        let away = |(x, y): (usize, usize)| x.abs_diff(middle.0).pow(2) + y.abs_diff(middle.1).pow(2);
        whole.map(centre).min_by_key(|spot| away(*spot)).map(|(x, y)| (x as i32, y as i32))
    }
}
