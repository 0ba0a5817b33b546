//! Plain text: lines of a fixed number of columns, counted as terminals do.

use super::document::Align;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Columns of a text's widest line.
pub fn width(text: &str) -> usize {
    text.split('\n').map(UnicodeWidthStr::width).max().unwrap_or(0)
}

/// Breaks at line ends and spaces into lines of at most `columns`; a longer word is cut.
pub fn wrap(text: &str, columns: usize) -> Vec<String> {
    text.split('\n').flat_map(|line| wrap_line(line, columns.max(2))).collect()
}

fn wrap_line(text: &str, columns: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split(' ') {
        let gap = usize::from(!line.is_empty());
        if width(&line) + gap + width(word) <= columns {
            if gap == 1 {
                line.push(' ');
            }
            line.push_str(word);
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        let mut rest = word;
        while width(rest) > columns {
            let at = cut_at(rest, columns);
            lines.push(rest[..at].to_owned());
            rest = &rest[at..];
        }
        line.push_str(rest);
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

/// The byte at which a text no longer fits; always beyond the first letter.
fn cut_at(text: &str, columns: usize) -> usize {
    let mut used = 0;
    for (at, c) in text.char_indices() {
        used += c.width().unwrap_or(0);
        if used > columns && at > 0 {
            return at;
        }
    }
    text.len()
}

/// Fills a line up to `columns`; trailing white is kept.
pub fn pad(line: &str, columns: usize, align: Align) -> String {
    let free = columns.saturating_sub(width(line));
    let before = match align {
        Align::Left => 0,
        Align::Middle => free / 2,
        Align::Right => free,
    };
    format!("{}{line}{}", " ".repeat(before), " ".repeat(free - before))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_at_spaces_and_long_words_are_cut() {
        assert_eq!(wrap("one two three", 7), ["one two", "three"]);
        assert_eq!(wrap("abcdefghij", 4), ["abcd", "efgh", "ij"]);
        assert_eq!(wrap("佐藤花子", 4), ["佐藤", "花子"]);
        assert_eq!(wrap("", 4), [""]);
    }

    #[test]
    fn wide_letters_count_twice() {
        assert_eq!(pad("佐藤", 6, Align::Right), "  佐藤");
        assert_eq!(pad("a", 4, Align::Middle), " a  ");
    }
}
