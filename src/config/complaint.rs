//! What is wrong with a configuration: where, what, and what to write instead; shown the
//! way compilers show it.

use super::Files;
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use serde_json::{Value, json};
use std::fmt;
use std::ops::Range;

/// So many complaints are shown at once; a file of another kind could give thousands.
pub const COMPLAINTS_MAX: usize = 200;

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Complaint {
    /// File, relative to the configuration folder.
    pub file: String,
    /// Bytes of the file that it is about.
    pub span: Range<usize>,
    /// What is wrong: one sentence without a full stop.
    pub what: String,
    /// What to write instead; may be empty.
    pub remedy: String,
    /// Another place in the same file that explains it, with a word on why.
    pub also: Option<(Range<usize>, String)>,
}

impl Complaint {
    /// A complaint about these bytes of a file.
    pub fn new(file: &str, span: Range<usize>, what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { file: file.to_owned(), span, what: what.into(), remedy: remedy.into(), also: None }
    }
    /// Names a second place in the same file.
    pub fn and(mut self, span: Range<usize>, why: impl Into<String>) -> Self {
        self.also = Some((span, why.into()));
        self
    }
}

/// Colours, or none where the output is no terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colour {
    /// ANSI colours.
    Styled,
    /// Plain text.
    Plain,
}

/// Everything that is wrong with a configuration, in order of file and place. `Display` is
/// the plain rendering. Secrets that were written into a file are blacked out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Complaints {
    list: Vec<Complaint>,
    /// So many more were found than are kept.
    more: usize,
    texts: Files,
    folder: String,
}

impl Complaints {
    /// Sorts the complaints and blacks out `secrets` (file and bytes) in the texts shown.
    pub(super) fn new(
        mut list: Vec<Complaint>,
        files: &Files,
        folder: String,
        secrets: &[(String, Range<usize>)],
    ) -> Self {
        list.sort_by(|a, b| (&a.file, a.span.start, &a.what).cmp(&(&b.file, b.span.start, &b.what)));
        list.dedup();
        let more = list.len().saturating_sub(COMPLAINTS_MAX);
        list.truncate(COMPLAINTS_MAX);
        let concerned = |name: &String| list.iter().any(|complaint| &complaint.file == name);
        let mut texts: Files =
            files.iter().filter(|(name, _)| concerned(name)).map(|(n, t)| (n.clone(), t.clone())).collect();
        for (file, span) in secrets {
            if let Some(text) = texts.get_mut(file) {
                black_out(text, span.clone());
            }
        }
        Self { list, more, texts, folder }
    }

    /// The complaints, in order of file and place, at most [`COMPLAINTS_MAX`].
    pub fn list(&self) -> &[Complaint] {
        &self.list
    }

    /// Line and column of a complaint, both from 1; columns count characters.
    pub fn place(&self, complaint: &Complaint) -> (usize, usize) {
        place_in(self.texts.get(&complaint.file).map_or("", String::as_str), complaint.span.start)
    }

    /// The line that a complaint is about, without its line break.
    pub fn line(&self, complaint: &Complaint) -> &str {
        let text = self.texts.get(&complaint.file).map_or("", String::as_str);
        text.lines().nth(self.place(complaint).0 - 1).unwrap_or("")
    }

    /// All complaints for people, with the lines that they are about.
    pub fn render(&self, colour: Colour) -> String {
        let renderer = match colour {
            Colour::Styled => Renderer::styled(),
            Colour::Plain => Renderer::plain(),
        };
        let mut shown = Vec::new();
        for complaint in &self.list {
            let path = format!("{}{}", self.folder, complaint.file);
            let Some(text) = self.texts.get(&complaint.file).filter(|text| !text.is_empty()) else {
                let remedy =
                    if complaint.remedy.is_empty() { String::new() } else { format!(": {}", complaint.remedy) };
                shown.push(format!("error: {}\n --> {path}{remedy}", complaint.what));
                continue;
            };
            let mut snippet = Snippet::source(text.as_str()).path(path).fold(true);
            let mut mark = AnnotationKind::Primary.span(within(text, complaint.span.clone()));
            if !complaint.remedy.is_empty() {
                mark = mark.label(complaint.remedy.as_str());
            }
            snippet = snippet.annotation(mark);
            if let Some((span, why)) = &complaint.also {
                snippet =
                    snippet.annotation(AnnotationKind::Context.span(within(text, span.clone())).label(why.as_str()));
            }
            let report = [Level::ERROR.primary_title(complaint.what.as_str()).element(snippet)];
            shown.push(renderer.render(&report));
        }
        let count = match (self.list.len(), self.more) {
            (1, _) => "1 thing to mend".to_owned(),
            (n, 0) => format!("{n} things to mend"),
            (n, more) => format!("the first {n} of {} things to mend", n + more),
        };
        format!("{}\n\n{count} in the configuration", shown.join("\n\n"))
    }

    /// All complaints for programs: file, line, column, what, remedy, and the line itself.
    pub fn to_json(&self) -> Value {
        let one = |complaint: &Complaint| {
            let (line, column) = self.place(complaint);
            json!({
                "file": complaint.file, "line": line, "column": column,
                "what": complaint.what, "remedy": complaint.remedy, "text": self.line(complaint),
            })
        };
        Value::Array(self.list.iter().map(one).collect())
    }
}

impl fmt::Display for Complaints {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.render(Colour::Plain))
    }
}

impl std::error::Error for Complaints {}

/// Line and column (from 1) of a byte.
pub(super) fn place_in(text: &str, byte: usize) -> (usize, usize) {
    let before = &text[..floor(text, byte)];
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    (line, column)
}

/// The nearest start of a character at or before `byte`.
fn floor(text: &str, byte: usize) -> usize {
    (0..=byte.min(text.len())).rev().find(|&at| text.is_char_boundary(at)).unwrap_or(0)
}

/// A range that surely lies within the text, cut to its first line: long values would
/// otherwise be drawn over many lines.
fn within(text: &str, span: Range<usize>) -> Range<usize> {
    let start = floor(text, span.start);
    let end = floor(text, span.end).max(start);
    let end = text[start..end].find('\n').map_or(end, |line_break| start + line_break);
    if end > start {
        return start..end;
    }
    // Nothing but the end of a line: its last character, or the place itself.
    let next = text[start..].chars().next().filter(|c| !matches!(c, '\n' | '\r'));
    let last = text[..start].chars().next_back().filter(|c| *c != '\n');
    match (next, last) {
        (Some(next), _) => start..start + next.len_utf8(),
        (None, Some(last)) => start - last.len_utf8()..start,
        (None, None) => start..start,
    }
}

fn black_out(text: &mut String, span: Range<usize>) {
    let span = floor(text, span.start)..floor(text, span.end);
    let stars: String = text[span.clone()].bytes().map(|byte| if byte == b'\n' { '\n' } else { '*' }).collect();
    text.replace_range(span, &stars);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn about(text: &str, complaint: Complaint, secrets: &[(String, Range<usize>)]) -> Complaints {
        let files = Files::from([(complaint.file.clone(), text.to_owned())]);
        Complaints::new(vec![complaint], &files, "config/".to_owned(), secrets)
    }

    #[test]
    fn a_complaint_shows_file_line_column_the_line_and_the_remedy() {
        let text = "name = \"Tërn\"\ninner = \"1 x 2 x 3 mm\"\n";
        let at = text.find("\"1 x").unwrap();
        let all = about(text, Complaint::new("p.toml", at..at + 14, "too small", "did you swap the two?"), &[]);
        let shown = all.to_string();
        assert!(shown.contains("error: too small"), "{shown}");
        assert!(shown.contains("config/p.toml:2:9"), "{shown}");
        assert!(shown.contains("2 | inner = \"1 x 2 x 3 mm\""), "{shown}");
        assert!(shown.contains("^^^^^^^^^^^^^^ did you swap the two?"), "{shown}");
        assert!(!shown.contains('\u{1b}'));
        assert!(all.render(Colour::Styled).contains('\u{1b}'));
        let json = all.to_json();
        assert_eq!((json[0]["line"].as_u64(), json[0]["column"].as_u64()), (Some(2), Some(9)));
        assert_eq!(json[0]["text"], "inner = \"1 x 2 x 3 mm\"");
    }

    #[test]
    fn a_secret_is_never_shown_again() {
        let text = "secret = \"hunter\"\n";
        let all =
            about(text, Complaint::new("s.toml", 9..17, "a secret", "put it in a file"), &[("s.toml".into(), 9..17)]);
        assert!(!all.to_string().contains("hunter") && !all.to_json().to_string().contains("hunter"));
    }

    #[test]
    fn odd_places_do_not_break_the_rendering() {
        for (text, span) in [("", 0..0), ("é", 1..1), ("a\n", 2..2), ("ab", 5..9), ("a\nb\nc", 0..5)] {
            assert!(about(text, Complaint::new("x.toml", span, "odd", ""), &[]).to_string().contains("odd"));
        }
    }
}
