//! A picture of one-bit dots: what prints, exactly.

/// Dots in rows; a set bit is black. Rows are padded to whole bytes with white.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Bitmap {
    width: u32,
    stride: usize,
    data: Vec<u8>,
}

/// One rectangle of dots, for filling and turning over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Area {
    /// Left edge.
    pub x: i32,
    /// Upper edge.
    pub y: i32,
    /// Dots across.
    pub width: i32,
    /// Dots down.
    pub height: i32,
}

impl Bitmap {
    /// A white picture.
    pub fn new(width: u32, height: u32) -> Self {
        let stride = width.div_ceil(8) as usize;
        Self { width, stride, data: vec![0; stride * height as usize] }
    }
    /// Dots across.
    pub fn width(&self) -> u32 {
        self.width
    }
    /// Dots down.
    pub fn height(&self) -> u32 {
        self.data.len().checked_div(self.stride).unwrap_or(0) as u32
    }
    /// Bytes of one row.
    pub fn stride(&self) -> usize {
        self.stride
    }
    /// The rows, one after the other.
    pub fn bytes(&self) -> &[u8] {
        &self.data
    }
    /// Adds white rows until there are `height`.
    pub fn grow(&mut self, height: u32) {
        let wanted = self.stride * height as usize;
        if wanted > self.data.len() {
            self.data.resize(wanted, 0);
        }
    }
    /// Is this dot black? White outside.
    pub fn is_black(&self, x: i32, y: i32) -> bool {
        self.index(x, y).is_some_and(|(at, bit)| self.data[at] & bit != 0)
    }
    /// Blackens a dot; outside nothing happens.
    pub fn blacken(&mut self, x: i32, y: i32) {
        if let Some((at, bit)) = self.index(x, y) {
            self.data[at] |= bit;
        }
    }
    /// Whitens a dot; outside nothing happens.
    pub fn whiten(&mut self, x: i32, y: i32) {
        if let Some((at, bit)) = self.index(x, y) {
            self.data[at] &= !bit;
        }
    }
    /// Blackens a rectangle, as far as it lies inside.
    pub fn fill(&mut self, area: Area) {
        self.each(area, |byte, bit| *byte |= bit);
    }
    /// Turns black to white and white to black in a rectangle.
    pub fn invert(&mut self, area: Area) {
        self.each(area, |byte, bit| *byte ^= bit);
    }
    /// Lays another picture over this one (black stays black), as far as it lies inside.
    pub fn lay(&mut self, other: &Self, x: i32, y: i32) {
        let fits = x >= 0 && x as u32 + other.width <= self.width;
        for row in 0..other.height() as i32 {
            let to = y + row;
            if to < 0 || to as u32 >= self.height() {
                continue;
            }
            if fits {
                self.lay_row(&other.data[row as usize * other.stride..][..other.stride], x as usize, to as usize);
            } else {
                (0..other.width as i32).filter(|at| other.is_black(*at, row)).for_each(|at| self.blacken(x + at, to));
            }
        }
    }
    /// Whole bytes at a time: the padding of a row is white, so nothing reaches beyond the edge.
    fn lay_row(&mut self, source: &[u8], x: usize, y: usize) {
        let row = &mut self.data[y * self.stride..(y + 1) * self.stride];
        let (first, shift) = (x / 8, x % 8);
        for (at, byte) in source.iter().enumerate() {
            if *byte == 0 {
                continue;
            }
            row[first + at] |= byte >> shift;
            let over = u16::from(*byte) << (8 - shift) & 0xff;
            if over != 0 {
                row[first + at + 1] |= over as u8;
            }
        }
    }
    /// Some heads read the byte pairs 10 04, 10 05 and 10 14 as commands even within a picture
    /// (PAPER 1). Such a pair needs a lone black dot in a byte of white; it gets a neighbour,
    /// an eighth of a millimetre that nobody sees. So the picture stays what prints.
    pub fn without_realtime_pairs(mut self) -> Self {
        for at in 1..self.data.len() {
            if self.data[at - 1] == 0x10 && matches!(self.data[at], 0x04 | 0x05 | 0x14) {
                self.data[at - 1] = 0x18;
            }
        }
        self
    }

    fn index(&self, x: i32, y: i32) -> Option<(usize, u8)> {
        if x < 0 || y < 0 || x as u32 >= self.width || y as u32 >= self.height() {
            return None;
        }
        Some((y as usize * self.stride + x as usize / 8, 0x80 >> (x % 8)))
    }

    fn each(&mut self, area: Area, mut change: impl FnMut(&mut u8, u8)) {
        let right = (area.x + area.width).clamp(0, self.width as i32);
        let bottom = (area.y + area.height).clamp(0, self.height() as i32);
        for y in area.y.max(0)..bottom {
            for x in area.x.max(0)..right {
                change(&mut self.data[y as usize * self.stride + x as usize / 8], 0x80 >> (x % 8));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drawing_outside_changes_nothing_and_panics_never() {
        let mut map = Bitmap::new(10, 3);
        map.blacken(-1, 0);
        map.blacken(10, 0);
        map.fill(Area { x: -5, y: -5, width: 3, height: 3 });
        map.lay(&Bitmap::new(4, 4), 100, -100);
        assert!(map.bytes().iter().all(|b| *b == 0));
        map.fill(Area { x: 8, y: 2, width: 50, height: 50 });
        assert_eq!(map.bytes(), [0, 0, 0, 0, 0, 0b1100_0000]);
    }

    #[test]
    fn laying_whole_bytes_gives_what_laying_single_dots_gives() {
        let mut stamp = Bitmap::new(11, 2);
        for (x, y) in [(0, 0), (3, 0), (7, 0), (8, 0), (10, 0), (10, 1), (4, 1)] {
            stamp.blacken(x, y);
        }
        for x in -12..32 {
            for y in -3..5 {
                let (mut fast, mut slow) = (Bitmap::new(29, 4), Bitmap::new(29, 4));
                fast.lay(&stamp, x, y);
                for (dx, dy) in (0..11).flat_map(|dx| (0..2).map(move |dy| (dx, dy))) {
                    if stamp.is_black(dx, dy) {
                        slow.blacken(x + dx, y + dy);
                    }
                }
                assert_eq!(fast, slow, "at {x}, {y}");
            }
        }
    }

    #[test]
    fn no_pair_of_bytes_reads_as_a_realtime_command() {
        let mut map = Bitmap::new(16, 3);
        for y in 0..3 {
            map.blacken(3, y); // 0x10
        }
        map.blacken(13, 0); // 0x04
        map.blacken(11, 1);
        map.blacken(13, 1); // 0x14
        let map = map.without_realtime_pairs();
        assert_eq!(map.bytes(), [0x18, 0x04, 0x18, 0x14, 0x10, 0x00]);
    }
}
