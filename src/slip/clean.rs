//! Makes foreign text fit for paper: one normal form, nothing that steers a printer or
//! turns the reading direction, a bounded length. Everything a shop or customer wrote goes
//! through here before it becomes part of a document.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// Letters of a name.
pub const NAME_MAX: usize = 80;
/// Letters of a product's, batch's or container's name.
pub const LABEL_MAX: usize = 100;
/// Letters of a note.
pub const NOTE_MAX: usize = 300;
/// Letters of a reason or question: six lines or seven of 80 mm paper. More stands at the desk.
pub const REASON_MAX: usize = 200;
/// Letters of a wish.
pub const WISH_MAX: usize = 500;
/// Letters of a gift's message.
pub const MESSAGE_MAX: usize = 800;
/// Marks on one letter; more is play ("zalgo"), not writing. Hebrew with points and
/// cantillation needs four.
const MARKS_MAX: usize = 4;

/// Normal form C, without control and direction characters, white space drawn together,
/// at most `max` letters; a longer text ends with an ellipsis.
pub fn line(text: &str, max: usize) -> String {
    match beginning(text, max) {
        (whole, Longer::No) => whole,
        (begun, Longer::Yes) => begun + "…",
    }
}

/// Was the text longer than what was kept of it?
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Longer {
    /// All of it was kept.
    No,
    /// Something follows.
    Yes,
}

/// The same without the ellipsis.
pub fn beginning(text: &str, max: usize) -> (String, Longer) {
    let mut out = String::with_capacity(text.len().min(4 * max));
    let mut letters = 0;
    let mut marks = 0;
    let mut gap = false;
    // A bound on the input, too: nobody normalises a megabyte for a name.
    for c in text.chars().take(8 * max + 64).nfc() {
        if c.is_whitespace() || c.is_control() {
            gap = !out.is_empty();
            continue;
        }
        if is_invisible(c) {
            continue;
        }
        if is_combining_mark(c) || is_joiner(c) {
            marks += 1;
            // A mark needs a letter to stand on.
            if marks > MARKS_MAX || out.is_empty() || gap {
                continue;
            }
        } else {
            marks = 0;
            letters += 1;
            if letters > max {
                return (out, Longer::Yes);
            }
        }
        if gap {
            out.push(' ');
            gap = false;
        }
        out.push(c);
    }
    (out, Longer::No)
}

/// Keeps a number and its unit ("100 g", "4 %", "95 °C") in one line: the space between them
/// becomes one that does not break.
pub fn keep_units(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut before = ' ';
    for (at, c) in text.char_indices() {
        let unit =
            text[at + c.len_utf8()..].split(|c: char| c.is_whitespace() || matches!(c, ',' | ';' | ')' | '.')).next();
        let is_unit =
            unit.is_some_and(|u| (1..=UNIT_MAX).contains(&u.chars().count()) && !u.contains(char::is_numeric));
        out.push(if c == ' ' && before.is_ascii_digit() && is_unit { '\u{a0}' } else { c });
        before = c;
    }
    out
}

/// Letters of a unit: g, kg, cm, °C, %.
const UNIT_MAX: usize = 2;

/// Joiners shape Indic letters and families of emoji.
fn is_joiner(c: char) -> bool {
    matches!(c, '\u{200c}' | '\u{200d}' | '\u{fe0e}' | '\u{fe0f}')
}

/// Direction marks and overrides, invisible operators, tags, private use, non-characters:
/// nothing of a name, and some of it is used to deceive.
fn is_invisible(c: char) -> bool {
    matches!(c,
        '\u{00ad}' | '\u{034f}' | '\u{061c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}' | '\u{180b}'..='\u{180f}'
        | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{3164}'
        | '\u{fe00}'..='\u{fe0d}' | '\u{feff}' | '\u{ffa0}' | '\u{fff0}'..='\u{fffb}' | '\u{1bca0}'..='\u{1bca3}'
        | '\u{1d173}'..='\u{1d17a}' | '\u{e0000}'..='\u{e0fff}' | '\u{e000}'..='\u{f8ff}' | '\u{f0000}'..='\u{10ffff}')
        || (c as u32) & 0xfffe == 0xfffe
}

/// Pictographs: where no face has one it is dropped, as a letter never is.
pub fn is_pictograph(c: char) -> bool {
    matches!(c, '\u{1f000}'..='\u{1faff}' | '\u{2600}'..='\u{27bf}' | '\u{2b00}'..='\u{2bff}' | '\u{2300}'..='\u{23ff}'
        | '\u{200d}' | '\u{fe0e}' | '\u{fe0f}' | '\u{20e3}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_cleaned_before_it_reaches_paper() {
        let table = [
            ("Jose\u{301} Nu\u{301}n\u{303}ez", "José Núñez".nfc().collect::<String>()),
            ("  two  spaces  ", "two spaces".into()),
            ("\u{202e}evil\u{202c}", "evil".into()),
            ("a\u{200b}b", "ab".into()),
            ("Null\0byte", "Null byte".into()),
            ("CR\rLF\nTab\tend", "CR LF Tab end".into()),
            ("\u{1b}@\u{10}\u{04}\u{01}cut\u{1d}V\0", "@ cut V".into()),
            ("\u{301}", "".into()),
            ("", "".into()),
            ("க்\u{200d}ஷ", "க்\u{200d}ஷ".into()),
        ];
        for (raw, clean) in table {
            assert_eq!(line(raw, NAME_MAX).nfc().collect::<String>(), clean, "{raw:?}");
        }
    }

    #[test]
    fn a_number_keeps_its_unit_beside_it() {
        let table = [
            ("Heather smoke, 100 g", "Heather smoke, 100\u{a0}g"),
            ("birch (4 %), 95 °C, four", "birch (4\u{a0}%), 95\u{a0}°C, four"),
            ("2 mugs of 3", "2 mugs of 3"),
            ("5 6", "5 6"),
            ("", ""),
        ];
        for (plain, kept) in table {
            assert_eq!(keep_units(plain), kept);
        }
    }

    #[test]
    fn a_length_is_kept_and_one_more_is_cut() {
        assert_eq!(line(&"x".repeat(80), 80), "x".repeat(80));
        assert_eq!(line(&"x".repeat(81), 80), format!("{}…", "x".repeat(80)));
        assert!(line(&"\u{301}".repeat(1_000_000), 80).is_empty());
        let towering = format!("Z{}", "\u{335}".repeat(50));
        assert_eq!(line(&towering, 80).chars().count(), 1 + MARKS_MAX);
    }
}
