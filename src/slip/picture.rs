//! A page as a PNG of one bit a dot.

use super::bitmap::Bitmap;

/// Why a picture could not be written: never in practice, memory takes everything.
#[derive(Debug, thiserror::Error)]
#[error("could not write the picture")]
pub struct PictureError(#[from] png::EncodingError);

/// The PNG file. An empty page gives one white row, for PNG knows no empty picture.
pub fn png(dots: &Bitmap) -> Result<Vec<u8>, PictureError> {
    let height = dots.height().max(1);
    let mut rows: Vec<u8> = dots.bytes().iter().map(|byte| !byte).collect();
    rows.resize(dots.stride() * height as usize, 0xff);
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, dots.width(), height);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&rows)?;
    writer.finish()?;
    Ok(file)
}
