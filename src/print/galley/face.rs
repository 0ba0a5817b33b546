//! The face and the code pages that the head has built in.

use super::picture::Picture;
use noto_sans_mono_bitmap::{FontWeight, RasterHeight, get_raster};

/// Code pages by number: the letters of the bytes 80 to FF. The numbers are those of the common
/// command references (from memory), the tables those of the Python standard library's codecs.
#[rustfmt::skip]
const PAGES: [(u8, &str, &str); 9] = [
    (0, "cp437", "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜ¢£¥₧ƒáíóúñÑªº¿⌐¬½¼¡«»░▒▓│┤╡╢╖╕╣║╗╝╜╛┐└┴┬├─┼╞╟╚╔╩╦╠═╬╧╨╤╥╙╘╒╓╫╪┘┌█▄▌▐▀αßΓπΣσµτΦΘΩδ∞φε∩≡±≥≤⌠⌡÷≈°∙·√ⁿ²■\u{a0}"),
    (2, "cp850", "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜø£Ø×ƒáíóúñÑªº¿®¬½¼¡«»░▒▓│┤ÁÂÀ©╣║╗╝¢¥┐└┴┬├─┼ãÃ╚╔╩╦╠═╬¤ðÐÊËÈıÍÎÏ┘┌█▄¦Ì▀ÓßÔÒõÕµþÞÚÛÙýÝ¯´\u{ad}±‗¾¶§÷¸°¨·¹³²■\u{a0}"),
    (3, "cp860", "ÇüéâãàÁçêÊèÍÔìÃÂÉÀÈôõòÚùÌÕÜ¢£Ù₧ÓáíóúñÑªº¿Ò¬½¼¡«»░▒▓│┤╡╢╖╕╣║╗╝╜╛┐└┴┬├─┼╞╟╚╔╩╦╠═╬╧╨╤╥╙╘╒╓╫╪┘┌█▄▌▐▀αßΓπΣσµτΦΘΩδ∞φε∩≡±≥≤⌠⌡÷≈°∙·√ⁿ²■\u{a0}"),
    (4, "cp863", "ÇüéâÂà¶çêëèïî‗À§ÉÈÊôËÏûù¤ÔÜ¢£ÙÛƒ¦´óú¨¸³¯Î⌐¬½¼¾«»░▒▓│┤╡╢╖╕╣║╗╝╜╛┐└┴┬├─┼╞╟╚╔╩╦╠═╬╧╨╤╥╙╘╒╓╫╪┘┌█▄▌▐▀αßΓπΣσµτΦΘΩδ∞φε∩≡±≥≤⌠⌡÷≈°∙·√ⁿ²■\u{a0}"),
    (5, "cp865", "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜø£Ø₧ƒáíóúñÑªº¿⌐¬½¼¡«¤░▒▓│┤╡╢╖╕╣║╗╝╜╛┐└┴┬├─┼╞╟╚╔╩╦╠═╬╧╨╤╥╙╘╒╓╫╪┘┌█▄▌▐▀αßΓπΣσµτΦΘΩδ∞φε∩≡±≥≤⌠⌡÷≈°∙·√ⁿ²■\u{a0}"),
    (16, "cp1252", "€�‚ƒ„…†‡ˆ‰Š‹Œ�Ž��‘’“”•–—˜™š›œ�žŸ\u{a0}¡¢£¤¥¦§¨©ª«¬\u{ad}®¯°±²³´µ¶·¸¹º»¼½¾¿ÀÁÂÃÄÅÆÇÈÉÊËÌÍÎÏÐÑÒÓÔÕÖ×ØÙÚÛÜÝÞßàáâãäåæçèéêëìíîïðñòóôõö÷øùúûüýþÿ"),
    (17, "cp866", "АБВГДЕЖЗИЙКЛМНОПРСТУФХЦЧШЩЪЫЬЭЮЯабвгдежзийклмноп░▒▓│┤╡╢╖╕╣║╗╝╜╛┐└┴┬├─┼╞╟╚╔╩╦╠═╬╧╨╤╥╙╘╒╓╫╪┘┌█▄▌▐▀рстуфхцчшщъыьэюяЁёЄєЇїЎў°∙·√№¤■\u{a0}"),
    (18, "cp852", "ÇüéâäůćçłëŐőîŹÄĆÉĹĺôöĽľŚśÖÜŤťŁ×čáíóúĄąŽžĘę¬źČş«»░▒▓│┤ÁÂĚŞ╣║╗╝Żż┐└┴┬├─┼Ăă╚╔╩╦╠═╬¤đĐĎËďŇÍÎě┘┌█▄ŢŮ▀ÓßÔŃńňŠšŔÚŕŰýÝţ´\u{ad}˝˛ˇ˘§÷¸°¨˙űŘř■\u{a0}"),
    (19, "cp858", "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜø£Ø×ƒáíóúñÑªº¿®¬½¼¡«»░▒▓│┤ÁÂÀ©╣║╗╝¢¥┐└┴┬├─┼ãÃ╚╔╩╦╠═╬¤ðÐÊËÈ€ÍÎÏ┘┌█▄¦Ì▀ÓßÔÒõÕµþÞÚÛÙýÝ¯´\u{ad}±‗¾¶§÷¸°¨·¹³²■\u{a0}"),
];

/// The letter of a byte in a code page, and whether the galley knows that page.
pub fn letter(page: u8, byte: u8) -> (char, bool) {
    if byte < 0x80 {
        return (char::from(byte), true);
    }
    let known = PAGES.iter().find(|(number, ..)| *number == page);
    let (_, _, letters) = known.unwrap_or(&PAGES[0]);
    (letters.chars().nth(usize::from(byte) - 0x80).unwrap_or('\u{FFFD}'), known.is_some())
}

/// The two sizes of native text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Face {
    /// 12 × 24 dots.
    #[default]
    A,
    /// 9 × 17 dots.
    B,
}

impl Face {
    /// Width and height of a letter's cell.
    pub fn cell(self) -> (usize, usize) {
        match self {
            Self::A => (12, 24),
            Self::B => (9, 17),
        }
    }

    /// The letter's picture, one cell large. A letter that the face lacks is a hollow box.
    pub fn draw(self, letter: char) -> Picture {
        let (width, height) = self.cell();
        let mut cell = Picture::white(width, height);
        let size = if self == Self::A { RasterHeight::Size24 } else { RasterHeight::Size16 };
        if let Some(lines) = line_letter(letter) {
            draw_lines(&mut cell, lines);
        } else if let Some(glyph) = get_raster(letter, FontWeight::Regular, size) {
            let left = width.saturating_sub(glyph.width()) / 2;
            for (y, row) in glyph.rows().enumerate() {
                for (x, _) in row.iter().enumerate().filter(|(_, ink)| **ink > INK) {
                    cell.set(left + x, y);
                }
            }
        } else if letter != '\u{a0}' {
            cell.fill(1, 3, width - 3, height - 7);
            cell.invert(2, 4, width - 5, height - 9);
        }
        cell
    }
}

/// Grey from which on a dot is black.
const INK: u8 = 100;

/// Arms of a line letter: up, right, down, left.
fn line_letter(letter: char) -> Option<[bool; 4]> {
    let arms = match letter {
        '─' | '═' => "rl",
        '│' | '║' => "ud",
        '┌' | '╔' | '╒' | '╓' => "rd",
        '┐' | '╗' | '╕' | '╖' => "dl",
        '└' | '╚' | '╘' | '╙' => "ur",
        '┘' | '╝' | '╛' | '╜' => "ul",
        '├' | '╠' | '╞' | '╟' => "urd",
        '┤' | '╣' | '╡' | '╢' => "udl",
        '┬' | '╦' | '╤' | '╥' => "rdl",
        '┴' | '╩' | '╧' | '╨' => "url",
        '┼' | '╬' | '╪' | '╫' => "urdl",
        _ => return None,
    };
    Some(['u', 'r', 'd', 'l'].map(|arm| arms.contains(arm)))
}

fn draw_lines(cell: &mut Picture, [up, right, down, left]: [bool; 4]) {
    let (width, height) = (cell.width(), cell.height());
    let (x, y) = (width / 2 - 1, height / 2 - 1);
    let arms = [
        (up, (x, 0, 2, y + 2)),
        (down, (x, y, 2, height - y)),
        (left, (0, y, x + 2, 2)),
        (right, (x, y, width - x, 2)),
    ];
    for (_, (x, y, width, height)) in arms.into_iter().filter(|(is_there, _)| *is_there) {
        cell.fill(x, y, width, height);
    }
}
