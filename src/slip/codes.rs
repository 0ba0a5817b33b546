//! Codes to be scanned, as our own dots: QR (ISO/IEC 18004, by the crate qrcodegen) and
//! Code 128 (ISO/IEC 15417, by the crate barcoders). A printer's own code commands differ
//! too much, and dots can be tested.

use super::bitmap::{Area, Bitmap};
use barcoders::sym::code128::Code128;
use qrcodegen::{QrCode, QrCodeEcc};

/// White around a QR code, in modules (ISO/IEC 18004: four).
const QR_QUIET: u32 = 4;
/// White beside bars, in modules (ISO/IEC 15417: ten).
const BARS_QUIET: u32 = 10;
/// Letters of a code; longer ones would not fit a receipt's width anyway.
const DATA_MAX: usize = 80;

/// A QR code with its quiet zone; `None` where the data are not printable ASCII, too long or
/// wider than `widest`.
pub fn qr(data: &str, module: u32, widest: u32) -> Option<Bitmap> {
    if !is_plain(data) {
        return None;
    }
    let code = QrCode::encode_text(data, QrCodeEcc::Medium).ok()?;
    let size = code.size() as u32 + 2 * QR_QUIET;
    let mut map = Bitmap::new(size * module, size * module);
    if map.width() > widest {
        return None;
    }
    let at = |n: i32| ((n as u32 + QR_QUIET) * module) as i32;
    for y in 0..code.size() {
        for x in 0..code.size() {
            if code.get_module(x, y) {
                map.fill(Area { x: at(x), y: at(y), width: module as i32, height: module as i32 });
            }
        }
    }
    Some(map)
}

/// Code 128 bars with their quiet zones; `None` as above. Set B, which holds all of ASCII's
/// letters.
pub fn bars(data: &str, module: u32, height: u32, widest: u32) -> Option<Bitmap> {
    if !is_plain(data) {
        return None;
    }
    // The crate names the sets by letters: `Ɓ` starts with set B.
    let modules = Code128::new(format!("\u{0181}{data}")).ok()?.encode();
    let mut map = Bitmap::new((modules.len() as u32 + 2 * BARS_QUIET) * module, height);
    if map.width() > widest {
        return None;
    }
    for (at, black) in modules.iter().enumerate() {
        if *black == 1 {
            let x = (at as u32 + BARS_QUIET) * module;
            map.fill(Area { x: x as i32, y: 0, width: module as i32, height: height as i32 });
        }
    }
    Some(map)
}

fn is_plain(data: &str) -> bool {
    !data.is_empty() && data.len() <= DATA_MAX && data.bytes().all(|b| (0x20..0x7f).contains(&b))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_plain_ascii_or_too_wide_gives_no_code() {
        for bad in ["", "é", "a\nb", &"x".repeat(DATA_MAX + 1)] {
            assert!(qr(bad, 4, 10_000).is_none() && bars(bad, 2, 60, 10_000).is_none(), "{bad:?}");
        }
        assert!(qr("p412", 4, 100).is_none());
        assert!(bars("p412", 3, 60, 576).is_some());
    }

    #[test]
    fn a_qr_code_is_read_back() {
        let map = qr("p412", 4, 576).unwrap();
        let mut image =
            rqrr::PreparedImage::prepare_from_greyscale(map.width() as usize, map.height() as usize, |x, y| {
                if map.is_black(x as i32, y as i32) { 0 } else { 255 }
            });
        let grids = image.detect_grids();
        assert_eq!(grids.len(), 1);
        assert_eq!(grids[0].decode().unwrap().1, "p412");
    }
}
