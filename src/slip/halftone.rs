//! Grey pictures into dots that thermal paper shows as meant.

use super::bitmap::Bitmap;
use crate::model::Tone;

/// A grey picture: ink from 0 (white) to 255 (black), as the eye sees it (the tone curve of sRGB).
#[derive(Clone, PartialEq, Eq)]
pub struct Gray {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Row after row.
    pub ink: Vec<u8>,
}

/// sRGB's curve, near enough (IEC 61966-2-1 is 2.4 with a linear foot).
const GAMMA: f32 = 2.2;
/// Heat spreads: dots print larger than they are, most so in the middle tones (common practice, no source;
/// chosen on the look of ramps).
const SPREAD: f32 = 0.16;
/// Ordered dither, 8 by 8 (B. E. Bayer, 1973): each number says when its dot turns black.
const BAYER: [[u8; 8]; 8] = [
    [0, 32, 8, 40, 2, 34, 10, 42],
    [48, 16, 56, 24, 50, 18, 58, 26],
    [12, 44, 4, 36, 14, 46, 6, 38],
    [60, 28, 52, 20, 62, 30, 54, 22],
    [3, 35, 11, 43, 1, 33, 9, 41],
    [51, 19, 59, 27, 49, 17, 57, 25],
    [15, 47, 7, 39, 13, 45, 5, 37],
    [63, 31, 55, 23, 61, 29, 53, 21],
];

impl std::fmt::Debug for Gray {
    /// Its size; nobody reads a million pixels.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Gray({} x {})", self.width, self.height)
    }
}

impl Gray {
    /// A white picture.
    pub fn white(width: u32, height: u32) -> Self {
        Self { width, height, ink: vec![0; width as usize * height as usize] }
    }

    /// Smaller or larger, each pixel the mean of what it covers.
    pub fn scaled(&self, width: u32) -> Self {
        let width = width.max(1);
        let height = ((u64::from(self.height) * u64::from(width)).div_ceil(u64::from(self.width.max(1))) as u32).max(1);
        let mut out = Self::white(width, height);
        if self.ink.is_empty() {
            return out;
        }
        // From which to which pixel, always at least one.
        let span = |at: u32, of: u32, from: u32| {
            let first = (u64::from(at) * u64::from(from) / u64::from(of)) as usize;
            let end = (u64::from(at + 1) * u64::from(from)).div_ceil(u64::from(of)) as usize;
            first.min(from as usize - 1)..end.clamp(first + 1, from as usize)
        };
        for y in 0..height {
            let rows = span(y, height, self.height);
            for x in 0..width {
                let columns = span(x, width, self.width);
                let count = (rows.len() * columns.len()).max(1);
                let cells = rows.clone().flat_map(|row| columns.clone().map(move |column| (row, column)));
                let sum: usize =
                    cells.map(|(row, column)| usize::from(self.ink[row * self.width as usize + column])).sum();
                out.ink[y as usize * width as usize + x as usize] = (sum / count) as u8;
            }
        }
        out
    }
}

/// Which share of a spot must be dots so that it looks as dark as this.
fn coverage(ink: u8, density_percent: u32) -> f32 {
    let reflected = (1.0 - f32::from(ink) / 255.0).powf(GAMMA);
    let dark = 1.0 - reflected;
    let printed = dark - 4.0 * SPREAD * dark * (1.0 - dark);
    (printed * density_percent as f32 / 100.0).clamp(0.0, 1.0)
}

/// The dots of a picture.
pub fn dots(picture: &Gray, tone: Tone, density_percent: u32) -> Bitmap {
    let table: Vec<f32> = (0..=255).map(|ink| coverage(ink, density_percent)).collect();
    let mut map = Bitmap::new(picture.width, picture.height);
    match tone {
        Tone::Line => {
            // Lines are drawn like letters: as dark as the eye says, cut where half is covered.
            let cut = 255 * 50 / density_percent.max(1);
            each(picture, |x, y, ink| {
                if u32::from(ink) >= cut.max(1) {
                    map.blacken(x, y)
                }
            });
        }
        Tone::Ordered => each(picture, |x, y, ink| {
            let threshold = (f32::from(BAYER[y as usize % 8][x as usize % 8]) + 0.5) / 64.0;
            if table[usize::from(ink)] > threshold {
                map.blacken(x, y);
            }
        }),
        Tone::Diffused => diffuse(picture, &table, &mut map),
    }
    map
}

fn each(picture: &Gray, mut visit: impl FnMut(i32, i32, u8)) {
    for (at, ink) in picture.ink.iter().enumerate() {
        visit((at % picture.width as usize) as i32, (at / picture.width as usize) as i32, *ink);
    }
}

/// Error diffusion (R. W. Floyd and L. Steinberg, 1976), to and fro so that no worms lean one way.
fn diffuse(picture: &Gray, table: &[f32], map: &mut Bitmap) {
    let width = picture.width as usize;
    let (mut here, mut below) = (vec![0.0; width + 2], vec![0.0; width + 2]);
    for y in 0..picture.height as usize {
        let back = y % 2 == 1;
        for step in 0..width {
            let x = if back { width - 1 - step } else { step };
            // Slot x + 1, so that both neighbours exist.
            let wanted = table[usize::from(picture.ink[y * width + x])] + here[x + 1];
            let black = wanted > 0.5;
            if black {
                map.blacken(x as i32, y as i32);
            }
            let error = wanted - f32::from(u8::from(black));
            let (ahead, behind) = if back { (x, x + 2) } else { (x + 2, x) };
            here[ahead] += error * 7.0 / 16.0;
            below[behind] += error * 3.0 / 16.0;
            below[x + 1] += error * 5.0 / 16.0;
            below[ahead] += error / 16.0;
        }
        std::mem::swap(&mut here, &mut below);
        below.fill(0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn share(map: &Bitmap) -> f32 {
        let all = (0..map.height() as i32).flat_map(|y| (0..map.width() as i32).map(move |x| (x, y)));
        all.filter(|(x, y)| map.is_black(*x, *y)).count() as f32 / (map.width() * map.height()) as f32
    }

    #[test]
    fn a_flat_grey_gets_its_share_of_dots_and_black_and_white_stay() {
        for ink in [0, 30, 90, 128, 200, 255] {
            let flat = Gray { width: 64, height: 64, ink: vec![ink; 64 * 64] };
            for tone in [Tone::Diffused, Tone::Ordered] {
                let (found, wanted) = (share(&dots(&flat, tone, 100)), coverage(ink, 100));
                assert!((found - wanted).abs() < 0.03, "{tone:?} of {ink}: {found} for {wanted}");
            }
        }
        assert_eq!((coverage(0, 100), coverage(255, 100)), (0.0, 1.0));
        assert!((0..255).all(|ink| coverage(ink, 100) <= coverage(ink + 1, 100)), "darker never prints lighter");
    }

    #[test]
    fn density_makes_all_of_it_lighter() {
        let flat = Gray { width: 64, height: 64, ink: vec![180; 64 * 64] };
        for tone in [Tone::Diffused, Tone::Ordered] {
            assert!(share(&dots(&flat, tone, 60)) < share(&dots(&flat, tone, 100)) - 0.1, "{tone:?}");
        }
    }

    #[test]
    fn a_line_drawing_keeps_clean_edges() {
        let mut picture = Gray::white(40, 10);
        picture.ink.iter_mut().enumerate().filter(|(at, _)| at % 40 >= 20).for_each(|(_, ink)| *ink = 255);
        let small = dots(&picture.scaled(20), Tone::Line, 100);
        for y in 0..5 {
            for x in 0..20 {
                assert_eq!(small.is_black(x, y), x >= 10);
            }
        }
    }
}
