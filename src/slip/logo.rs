//! The workshop's own drawing, from a PNG or a simple SVG: bytes into grey.
//!
//! May touch: the bytes it is given. Never: files.

use super::halftone::Gray;
use crate::model::Tone;

mod svg;

/// Pixels of a drawing across; a finer one shows nothing more on paper.
const SIDE_MAX: u32 = 4_096;
/// Bytes of a picture once unpacked.
const UNPACKED_MAX: usize = 64 * 1024 * 1024;

/// The drawing, and how it becomes dots.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Logo {
    /// As drawn.
    pub picture: Gray,
    /// How its greys print.
    pub tone: Tone,
    /// How dark, in percent.
    pub density_percent: u32,
}

/// Why a file is no drawing.
#[derive(Debug, thiserror::Error)]
pub enum LogoError {
    /// Neither of the two.
    #[error("it is neither a PNG nor an SVG file")]
    Unknown,
    /// A PNG that cannot be read.
    #[error("the PNG cannot be read")]
    Png(#[from] png::DecodingError),
    /// An SVG that cannot be read.
    #[error("the SVG cannot be read")]
    Xml(#[from] roxmltree::Error),
    /// An SVG with something beyond paths and simple shapes.
    #[error(
        "the SVG holds {what} in line {line}; only paths and simple shapes are drawn: save it as plain SVG, text as paths"
    )]
    Beyond {
        /// What.
        what: String,
        /// Where.
        line: u32,
    },
    /// Too large, or empty.
    #[error("a drawing has 1 to {SIDE_MAX} pixels a side")]
    Size,
}

/// Reads a drawing. What is transparent is white.
///
/// # Errors
/// [`LogoError`].
pub fn read(bytes: &[u8]) -> Result<Gray, LogoError> {
    if bytes.starts_with(b"\x89PNG") {
        return of_png(bytes);
    }
    match std::str::from_utf8(bytes) {
        Ok(text) if text.contains("<svg") => svg::draw(text),
        _ => Err(LogoError::Unknown),
    }
}

fn of_png(bytes: &[u8]) -> Result<Gray, LogoError> {
    let limits = png::Limits { bytes: UNPACKED_MAX };
    let mut decoder = png::Decoder::new_with_limits(std::io::Cursor::new(bytes), limits);
    decoder.set_transformations(png::Transformations::normalize_to_color8());
    let mut reader = decoder.read_info()?;
    let size = reader.output_buffer_size().filter(|size| *size <= UNPACKED_MAX).ok_or(LogoError::Size)?;
    let mut pixels = vec![0; size];
    let frame = reader.next_frame(&mut pixels)?;
    let (width, height) = (frame.width, frame.height);
    if width == 0 || height == 0 || width > SIDE_MAX || height > SIDE_MAX {
        return Err(LogoError::Size);
    }
    pixels.truncate(frame.buffer_size());
    let ink = pixels.chunks(frame.color_type.samples()).map(|pixel| match *pixel {
        [grey] => 255 - grey,
        [grey, alpha] => under(255 - grey, alpha),
        [red, green, blue] => 255 - luma(red, green, blue),
        [red, green, blue, alpha] => under(255 - luma(red, green, blue), alpha),
        _ => 0,
    });
    Ok(Gray { width, height, ink: ink.collect() })
}

fn under(ink: u8, alpha: u8) -> u8 {
    (u16::from(ink) * u16::from(alpha) / 255) as u8
}

/// Brightness of a colour (ITU-R BT.601, rounded to thousandths).
fn luma(red: u8, green: u8, blue: u8) -> u8 {
    ((u32::from(red) * 299 + u32::from(green) * 587 + u32::from(blue) * 114) / 1000) as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    fn png(colour: png::ColorType, pixels: &[u8]) -> Vec<u8> {
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, 2, 1);
        encoder.set_color(colour);
        encoder.write_header().unwrap().write_image_data(pixels).unwrap();
        file
    }

    #[test]
    fn pictures_of_every_kind_become_ink() {
        use png::ColorType::*;
        assert_eq!(read(&png(Grayscale, &[0, 255])).unwrap().ink, [255, 0]);
        assert_eq!(read(&png(GrayscaleAlpha, &[0, 255, 0, 0])).unwrap().ink, [255, 0]);
        assert_eq!(read(&png(Rgb, &[0, 0, 0, 255, 255, 255])).unwrap().ink, [255, 0]);
        assert_eq!(read(&png(Rgba, &[0, 0, 0, 0, 0, 0, 0, 255])).unwrap().ink, [0, 255]);
        for bad in [&b""[..], b"GIF89a", b"\x89PNG\r\n", b"\xff\xfe", b"<svg"] {
            assert!(read(bad).is_err(), "{bad:?}");
        }
    }
}
