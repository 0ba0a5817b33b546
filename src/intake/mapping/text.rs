//! Text that a customer typed, made fit to be kept: line breaks become lines, what could
//! steer a printer or turn the writing direction is taken out and reported.

/// Longest name or address line in characters: more than three lines of a slip.
pub const LINE_CHARS_MAX: usize = 200;
/// Longest wish or gift message in characters.
pub const NOTE_CHARS_MAX: usize = 2_000;
/// Address lines of one order.
pub const STREET_LINES_MAX: usize = 8;

/// A text with what was wrong with it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Clean {
    /// Without odd characters, white space at its ends, or runs of blanks.
    pub text: String,
    /// Characters that were taken out, as `U+001B`, each once; or that it was cut.
    pub odd: Vec<String>,
}

/// One line: line breaks and tabs become blanks.
pub(super) fn line(text: &str) -> Clean {
    let mut clean = strip(text);
    clean.text = clean.text.split_whitespace().collect::<Vec<_>>().join(" ");
    cut(&mut clean, LINE_CHARS_MAX);
    clean
}

/// Several lines, none of them blank.
pub(super) fn lines(text: &str) -> Vec<Clean> {
    text.split(is_line_break).map(line).filter(|clean| !clean.text.is_empty() || !clean.odd.is_empty()).collect()
}

/// A longer text that keeps its line breaks.
pub(super) fn note(text: &str) -> Clean {
    let mut clean = strip(&text.replace("\r\n", "\n"));
    let joined: Vec<String> =
        clean.text.split(is_line_break).map(|l| l.split_whitespace().collect::<Vec<_>>().join(" ")).collect();
    clean.text = joined.join("\n").trim().to_owned();
    cut(&mut clean, NOTE_CHARS_MAX);
    clean
}

fn is_line_break(c: char) -> bool {
    matches!(c, '\n' | '\r' | '\u{b}' | '\u{c}' | '\u{85}' | '\u{2028}' | '\u{2029}')
}

/// Takes out controls and characters that override the writing direction (Unicode UAX #9:
/// embeddings, overrides, isolates). Marks of direction (U+200E, U+200F, U+061C) and joiners
/// are ordinary in several scripts, and stay; a byte order mark goes without a word.
fn strip(text: &str) -> Clean {
    let mut clean = Clean::default();
    for c in text.chars() {
        let odd = match c {
            '\u{feff}' => continue,
            '\t' => false,
            c if is_line_break(c) => false,
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => true,
            c => c.is_control(),
        };
        if odd {
            let name = format!("U+{:04X}", u32::from(c));
            if !clean.odd.contains(&name) {
                clean.odd.push(name);
            }
        } else {
            clean.text.push(c);
        }
    }
    clean
}

fn cut(clean: &mut Clean, max: usize) {
    if let Some((at, _)) = clean.text.char_indices().nth(max) {
        clean.text.truncate(at);
        clean.text.push('…');
        clean.odd.push(format!("more than {max} characters, cut"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ordinary_names_of_any_script_stay_as_they_are() {
        let table: serde_json::Value =
            serde_json::from_str(include_str!("../../../tests/standards/text_names.json")).unwrap();
        let mut seen = 0;
        for name in table["names"].as_array().unwrap() {
            let text = name["text"].as_str().unwrap();
            let marked = |key: &str| name[key].as_bool().unwrap();
            if marked("has_control") || marked("has_bidi_control") {
                continue;
            }
            let clean = line(text);
            assert_eq!(clean.odd, Vec::<String>::new(), "{text}");
            assert_eq!(clean.text, text.split_whitespace().collect::<Vec<_>>().join(" "));
            seen += 1;
        }
        assert!(seen >= 30, "{seen}");
    }

    #[test]
    fn what_steers_a_printer_or_turns_the_text_is_taken_out_and_named() {
        for (text, left, odd) in [
            ("Zoë\u{1b}@\u{1d}V\0", "Zoë@V", vec!["U+001B", "U+001D", "U+0000"]),
            ("Ann \u{202e}eilA\u{202c}", "Ann eilA", vec!["U+202E", "U+202C"]),
            ("a\u{9b}1m", "a1m", vec!["U+009B"]),
            ("  two\tblanks \n here ", "two blanks here", vec![]),
            ("سارا\u{200c}\u{200f}", "سارا\u{200c}\u{200f}", vec![]),
        ] {
            assert_eq!(line(text), Clean { text: left.into(), odd: odd.into_iter().map(str::to_owned).collect() });
        }
    }

    #[test]
    fn long_text_is_cut_and_says_so() {
        assert!(line(&"é".repeat(LINE_CHARS_MAX)).odd.is_empty());
        let cut = line(&"é".repeat(LINE_CHARS_MAX + 1));
        assert_eq!(cut.text.chars().count(), LINE_CHARS_MAX + 1);
        assert_eq!(cut.odd, ["more than 200 characters, cut"]);
    }

    #[test]
    fn a_street_of_several_lines_becomes_several_lines() {
        let texts: Vec<_> =
            lines("Harbour Street 4\r\n\r\n Flat 2\u{2028}Back door").into_iter().map(|c| c.text).collect();
        assert_eq!(texts, ["Harbour Street 4", "Flat 2", "Back door"]);
        assert_eq!(note(" Dear Ann,\r\n\n  happy   day\n").text, "Dear Ann,\n\nhappy day");
    }
}
