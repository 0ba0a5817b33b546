//! Codes that a head draws by itself: QR and Code 128.

use super::picture::Picture;
use qrcodegen::{QrCode, QrCodeEcc};

/// A QR code with `module` dots a module; `None` if the data do not fit into one.
pub fn qr(data: &[u8], correction: u8, module: usize) -> Option<Picture> {
    let level = match correction {
        49 => QrCodeEcc::Medium,
        50 => QrCodeEcc::Quartile,
        51 => QrCodeEcc::High,
        _ => QrCodeEcc::Low,
    };
    let code = QrCode::encode_binary(data, level).ok()?;
    let size = usize::try_from(code.size()).ok()?;
    let module = module.clamp(1, 16);
    let mut picture = Picture::white(size * module, size * module);
    for (y, row) in (0..code.size()).enumerate() {
        for (x, column) in (0..code.size()).enumerate() {
            if code.get_module(column, row) {
                picture.fill(x * module, y * module, module, module);
            }
        }
    }
    Some(picture)
}

/// Code 128 from data as sent to a head: `{A`, `{B`, `{C` choose the set, `{{` is a brace, in
/// set C each byte is a pair of digits. Gives the bars and the text that stands beside them.
pub fn code128(data: &[u8], module: usize, height: usize) -> Option<(Picture, String)> {
    let (mut symbols, mut text) = (String::new(), String::new());
    let mut set = b'B';
    let mut bytes = data.iter().copied();
    if data.first() != Some(&b'{') {
        symbols.push('\u{0181}');
    }
    while let Some(byte) = bytes.next() {
        if byte == b'{' {
            match bytes.next()? {
                b'{' => {
                    symbols.push('{');
                    text.push('{');
                }
                // The crate's letters for "go to set A, B, C" and the function codes.
                choice @ (b'A' | b'B' | b'C') => {
                    set = choice;
                    symbols.push(['\u{00C0}', '\u{0181}', '\u{0106}'][usize::from(choice - b'A')]);
                }
                function @ b'1'..=b'4' => {
                    symbols.push(['\u{0179}', '\u{017A}', '\u{017B}', '\u{017C}'][usize::from(function - b'1')]);
                }
                _ => return None,
            }
        } else if set == b'C' {
            let pair = format!("{byte:02}");
            symbols.push_str(&pair);
            text.push_str(&pair);
        } else {
            symbols.push(char::from(byte));
            text.push(char::from(byte));
        }
    }
    let modules = barcoders::sym::code128::Code128::new(symbols).ok()?.encode();
    let module = module.clamp(1, 8);
    let mut picture = Picture::white(modules.len() * module, height.max(1));
    for (at, _) in modules.iter().enumerate().filter(|(_, bar)| **bar == 1) {
        picture.fill(at * module, 0, module, height.max(1));
    }
    Some((picture, text))
}
