//! One-bit pictures of paper, and their PNG files.

use std::io::Cursor;

/// White border around a paper in its PNG, in dots on each side.
pub const PAPER_MARGIN: usize = 24;

/// Most bytes of a PNG that is read back.
const PNG_BYTES_MAX: usize = 64 * 1024 * 1024;

/// A picture could not be written or read.
#[derive(Debug, thiserror::Error)]
pub enum PictureError {
    /// Writing.
    #[error("could not write the picture")]
    Write(#[from] png::EncodingError),
    /// Reading.
    #[error("could not read the picture")]
    Read(#[from] png::DecodingError),
    /// Not a picture of ours.
    #[error("the picture is not one that the galley wrote")]
    Foreign,
}

/// Rows of dots; a set bit is black, the highest bit of a byte is the left one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    dots: usize,
    rows: Vec<u8>,
}

impl Picture {
    /// No rows yet, `dots` wide.
    pub fn new(dots: usize) -> Self {
        Self { dots, rows: Vec::new() }
    }
    /// A white one.
    pub fn white(dots: usize, height: usize) -> Self {
        Self { dots, rows: vec![0; dots.div_ceil(8) * height] }
    }
    /// Width in dots.
    pub fn width(&self) -> usize {
        self.dots
    }
    /// Bytes of a row.
    pub fn stride(&self) -> usize {
        self.dots.div_ceil(8)
    }
    /// Height in rows.
    pub fn height(&self) -> usize {
        self.rows.len().checked_div(self.stride()).unwrap_or(0)
    }
    /// Is this dot black? Outside it is white.
    pub fn is_black(&self, x: usize, y: usize) -> bool {
        x < self.dots && self.rows.get(y * self.stride() + x / 8).is_some_and(|byte| byte & (0x80 >> (x % 8)) != 0)
    }
    /// Makes this dot black; outside nothing happens.
    pub fn set(&mut self, x: usize, y: usize) {
        let at = y * self.stride() + x / 8;
        if x < self.dots
            && let Some(byte) = self.rows.get_mut(at)
        {
            *byte |= 0x80 >> (x % 8);
        }
    }
    /// Blackens a rectangle.
    pub fn fill(&mut self, x: usize, y: usize, width: usize, height: usize) {
        for row in y..y + height {
            for column in x..x + width {
                self.set(column, row);
            }
        }
    }
    /// Inverts a rectangle.
    pub fn invert(&mut self, x: usize, y: usize, width: usize, height: usize) {
        for row in y..(y + height).min(self.height()) {
            for column in x..(x + width).min(self.dots) {
                let at = row * self.stride() + column / 8;
                self.rows[at] ^= 0x80 >> (column % 8);
            }
        }
    }
    /// Adds a row below: as many bytes as given, cut or filled up with white to the width.
    pub fn push_row(&mut self, row: &[u8]) {
        let stride = self.stride();
        self.rows.extend(row.iter().copied().chain(std::iter::repeat(0)).take(stride));
        // Dots beyond the head do not exist.
        if let Some(last) = self.rows.last_mut().filter(|_| !self.dots.is_multiple_of(8)) {
            *last &= 0xFF << (8 - self.dots % 8);
        }
    }
    /// The bytes of a row; empty outside.
    pub fn row(&self, y: usize) -> &[u8] {
        self.rows.get(y * self.stride()..(y + 1) * self.stride()).unwrap_or_default()
    }
    /// Nothing is printed on it.
    pub fn is_blank(&self) -> bool {
        self.rows.iter().all(|byte| *byte == 0)
    }

    /// Lays another picture over this one at (x, y), each dot `across` × `down` large.
    pub fn draw(&mut self, other: &Picture, x: usize, y: usize, across: usize, down: usize) {
        for row in 0..other.height() {
            for column in (0..other.dots).filter(|column| other.is_black(*column, row)) {
                self.fill(x + column * across, y + row * down, across, down);
            }
        }
    }

    /// As PNG, one bit a dot, with a margin of paper around.
    pub fn to_png(&self) -> Result<Vec<u8>, PictureError> {
        let margin = PAPER_MARGIN;
        let mut sheet = Picture::white(self.dots + 2 * margin, self.height() + 2 * margin);
        sheet.draw(self, margin, margin, 1, 1);
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, count(sheet.dots), count(sheet.height()));
        encoder.set_color(png::ColorType::Grayscale);
        encoder.set_depth(png::BitDepth::One);
        let inverted: Vec<u8> = sheet.rows.iter().map(|byte| !byte).collect();
        encoder.write_header()?.write_image_data(&inverted)?;
        Ok(bytes)
    }

    /// Reads a PNG that [`Picture::to_png`] wrote, without its margin.
    pub fn from_png(bytes: &[u8]) -> Result<Self, PictureError> {
        let gray = Gray::from_png(bytes)?;
        let margin = PAPER_MARGIN;
        let (Some(dots), Some(height)) =
            (gray.width.checked_sub(2 * margin), (gray.pixels.len() / gray.width.max(1)).checked_sub(2 * margin))
        else {
            return Err(PictureError::Foreign);
        };
        let mut picture = Self::white(dots, height);
        for y in 0..height {
            for x in (0..dots).filter(|x| gray.pixels[(y + margin) * gray.width + x + margin] < 128) {
                picture.set(x, y);
            }
        }
        Ok(picture)
    }
}

/// PNG counts in 32 bits; no paper of ours is longer.
fn count(length: usize) -> u32 {
    u32::try_from(length).unwrap_or(u32::MAX)
}

/// An 8-bit gray picture, white = 255.
struct Gray {
    width: usize,
    pixels: Vec<u8>,
}

impl Gray {
    /// Reads any gray PNG of up to eight bits.
    fn from_png(bytes: &[u8]) -> Result<Self, PictureError> {
        let mut decoder = png::Decoder::new_with_limits(Cursor::new(bytes), png::Limits { bytes: PNG_BYTES_MAX });
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info()?;
        let size = reader.output_buffer_size().filter(|size| *size <= PNG_BYTES_MAX).ok_or(PictureError::Foreign)?;
        let mut pixels = vec![0; size];
        let frame = reader.next_frame(&mut pixels)?;
        if frame.color_type != png::ColorType::Grayscale || frame.bit_depth != png::BitDepth::Eight {
            return Err(PictureError::Foreign);
        }
        pixels.truncate(frame.buffer_size());
        Ok(Self { width: frame.width as usize, pixels })
    }

    fn height(&self) -> usize {
        self.pixels.len().checked_div(self.width).unwrap_or(0)
    }

    /// Smaller by a whole number, each pixel the mean of the ones it stands for.
    fn shrunk(&self, by: usize) -> Self {
        let (width, height) = ((self.width / by).max(1), (self.height() / by).max(1));
        let mean = |x: usize, y: usize| {
            let rows = (y * by..(y + 1) * by).filter(|row| *row < self.height());
            let all = rows.flat_map(|row| (x * by..(x + 1) * by).map(move |column| (row, column)));
            let (sum, count) =
                all.filter(|(_, column)| *column < self.width).fold((0, 0), |(sum, count), (row, column)| {
                    (sum + usize::from(self.pixels[row * self.width + column]), count + 1)
                });
            // A mean of bytes is a byte.
            sum.checked_div(count).unwrap_or(255) as u8
        };
        let pixels = (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).map(|(x, y)| mean(x, y)).collect();
        Self { width, pixels }
    }
}

/// Papers on a contact sheet shrink to a third.
const SHEET_SHRINK: usize = 3;
/// Columns of a contact sheet of few papers, and of many.
const SHEET_COLUMNS: usize = 6;
const SHEET_COLUMNS_MANY: usize = 18;
/// So many papers are many.
const SHEET_MANY: usize = 60;
/// A longer paper is cut off on the contact sheet (pixels, after shrinking): three metres, as long as a
/// card may be.
const SHEET_HEIGHT_MAX: usize = 8_000;
/// Space between papers.
const SHEET_GAP: usize = 16;
/// The table under the papers.
const SHEET_GROUND: u8 = 200;

/// One picture of many papers (gray PNGs as [`Picture::to_png`] writes them), in columns.
pub fn contact_sheet<B: AsRef<[u8]>>(pngs: &[B]) -> Result<Vec<u8>, PictureError> {
    let papers: Vec<Gray> = pngs
        .iter()
        .map(|png| Gray::from_png(png.as_ref()).map(|paper| paper.shrunk(SHEET_SHRINK)))
        .collect::<Result<_, _>>()?;
    let column_width = papers.iter().map(|paper| paper.width).max().unwrap_or(1) + SHEET_GAP;
    let columns = if papers.len() < SHEET_MANY { SHEET_COLUMNS } else { SHEET_COLUMNS_MANY };
    let columns = columns.min(papers.len()).max(1);
    let mut bottoms = vec![SHEET_GAP; columns];
    let mut places = Vec::new();
    for paper in &papers {
        // Each paper goes to the column that is shortest so far.
        let column = (0..columns).min_by_key(|column| bottoms[*column]).unwrap_or(0);
        let height = paper.height().min(SHEET_HEIGHT_MAX);
        places.push((SHEET_GAP + column * column_width, bottoms[column], height));
        bottoms[column] += height + SHEET_GAP;
    }
    let width = SHEET_GAP + columns * column_width;
    let height = bottoms.iter().copied().max().unwrap_or(SHEET_GAP);
    let mut pixels = vec![SHEET_GROUND; width * height];
    for (paper, (left, top, height)) in papers.iter().zip(places) {
        for y in 0..height {
            let to = (top + y) * width + left;
            pixels[to..to + paper.width].copy_from_slice(&paper.pixels[y * paper.width..(y + 1) * paper.width]);
        }
    }
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, count(width), count(height));
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.write_header()?.write_image_data(&pixels)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_comes_back_from_its_png_dot_for_dot() {
        for dots in [384, 420, 576] {
            let mut picture = Picture::new(dots);
            for y in 0..9u8 {
                picture.push_row(&[0xA5 ^ y; 80]);
            }
            assert_eq!(picture.height(), 9);
            let again = Picture::from_png(&picture.to_png().unwrap()).unwrap();
            assert!(again == picture, "{dots}");
        }
    }

    #[test]
    fn a_contact_sheet_holds_papers_of_any_length() {
        let pngs: Vec<_> = [10, 30_000, 1, 300].map(|rows| Picture::white(576, rows).to_png().unwrap()).into();
        let sheet = Gray::from_png(&contact_sheet(&pngs).unwrap()).unwrap();
        assert!(sheet.height() <= SHEET_HEIGHT_MAX + 400);
        assert!(sheet.pixels.contains(&255) && sheet.pixels.contains(&SHEET_GROUND));
        assert!(contact_sheet::<Vec<u8>>(&[]).is_ok());
        assert!(matches!(contact_sheet(&[b"no picture"]), Err(PictureError::Read(_))));
    }
}
