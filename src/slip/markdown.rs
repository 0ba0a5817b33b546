//! Markdown (CommonMark with tables, by the crate pulldown-cmark) into blocks of a card.

use super::clean::{self, NAME_MAX};
use super::document::*;
use super::look::Look;
use pulldown_cmark::{Alignment, Event, HeadingLevel, Options, Parser, Tag, TagEnd};

/// What a card cannot hold.
#[derive(Debug, PartialEq, Eq)]
pub struct Mistake {
    /// A piece of the text by which its line is found.
    pub piece: String,
    /// What is wrong.
    pub what: String,
}

/// Width of the workshop's drawing where a template says nothing else.
const LOGO_PERCENT: u16 = 45;
/// A name wraps rather than being smaller.
const NAME_SMALLEST: u16 = 50;
/// Dots of white for a pen: some eleven millimetres, one line by hand.
const PEN: u32 = 92;

/// A name in the largest letters that fit.
pub fn large_name(text: String, look: &Look) -> Name {
    Name { text, face: look.name.face, largest: look.name.size, smallest: NAME_SMALLEST, align: look.align }
}

/// A heading within a card.
pub fn heading(text: &str, look: &Look) -> Paragraph {
    let (style, align) = look.heading;
    Paragraph::plain(text, style.face, style.size).aligned(align)
}

/// Room for a pen, with a line and words below it.
pub fn pen(caption: &str, look: &Look) -> Vec<Block> {
    let caption = Paragraph::plain(caption, look.pen.face, look.pen.size).aligned(look.align);
    vec![Block::Space(PEN), Block::Rule(Rule { thick: 1, percent: 100 }), Block::Space(6), Block::Text(caption)]
}

/// How wide the workshop's drawing is to be: `logo`, or `logo-80`.
fn logo_percent(name: &str) -> Option<u16> {
    match name.strip_prefix("logo")? {
        "" => Some(LOGO_PERCENT),
        percent => percent.strip_prefix('-')?.parse().ok().filter(|percent| (5..=100).contains(percent)),
    }
}

/// Turns a filled template into blocks.
pub fn blocks(markdown: &str, look: &Look) -> Result<Vec<Block>, Mistake> {
    let mut writer = Writer {
        look: *look,
        out: Vec::new(),
        runs: Vec::new(),
        styles: Vec::new(),
        open: Vec::new(),
        table: None,
        caption: None,
    };
    for (event, range) in Parser::new_ext(markdown, Options::ENABLE_TABLES).into_offset_iter() {
        writer.event(event, &markdown[range])?;
    }
    Ok(writer.out)
}

struct Writer {
    look: Look,
    out: Vec<Block>,
    runs: Vec<Run>,
    styles: Vec<Tone>,
    open: Vec<Open>,
    table: Option<TableDraft>,
    caption: Option<(String, String)>,
}

/// What the words are within.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Open {
    Name,
    Heading,
    Quote,
    /// The number of the next item, or none.
    List(Option<u64>),
}

/// How words are said.
#[derive(Clone, Copy)]
enum Tone {
    Emphasis,
    Strong,
}

struct TableDraft {
    aligns: Vec<Alignment>,
    rows: Vec<Vec<Vec<Run>>>,
}

impl Writer {
    fn event(&mut self, event: Event, source: &str) -> Result<(), Mistake> {
        let refuse = |what: &str| {
            let piece = source.lines().next().unwrap_or_default().trim().to_owned();
            Err(Mistake { piece, what: format!("a card cannot hold {what}") })
        };
        match event {
            Event::Start(tag) => return self.start(tag, source),
            Event::End(tag) => self.end(tag),
            Event::Text(text) => self.words(&text),
            Event::SoftBreak => self.words(" "),
            Event::HardBreak => self.push_run("\n".to_owned()),
            Event::Rule => {
                self.out.push(Block::Space(16));
                let (percent, thick) = self.look.rule;
                self.out.push(Block::Rule(Rule { thick, percent }));
                self.out.push(Block::Space(18));
            }
            Event::Code(_) | Event::InlineMath(_) | Event::DisplayMath(_) => return refuse("code"),
            Event::Html(_) | Event::InlineHtml(_) => return refuse("HTML"),
            Event::FootnoteReference(_) | Event::TaskListMarker(_) => return refuse("footnotes or task lists"),
        }
        Ok(())
    }

    fn start(&mut self, tag: Tag, source: &str) -> Result<(), Mistake> {
        let refuse = |what: &str| {
            let piece = source.lines().next().unwrap_or_default().trim().to_owned();
            Err(Mistake { piece, what: format!("a card cannot hold {what}") })
        };
        match tag {
            Tag::Paragraph => {}
            Tag::TableHead | Tag::TableRow => self.table.iter_mut().for_each(|table| table.rows.push(Vec::new())),
            Tag::Heading { level: HeadingLevel::H1, .. } => self.open.push(Open::Name),
            Tag::Heading { .. } => self.open.push(Open::Heading),
            Tag::BlockQuote(_) => self.open.push(Open::Quote),
            Tag::List(first) => self.open.push(Open::List(first)),
            Tag::Item => self.runs.clear(),
            Tag::Emphasis => self.styles.push(Tone::Emphasis),
            Tag::Strong => self.styles.push(Tone::Strong),
            Tag::Table(aligns) => self.table = Some(TableDraft { aligns, rows: Vec::new() }),
            Tag::TableCell => self.runs.clear(),
            Tag::Image { dest_url, .. } => {
                if !matches!(&*dest_url, "pen" | "ornament") && logo_percent(&dest_url).is_none() {
                    return refuse("pictures other than (pen), (ornament) and (logo)");
                }
                self.caption = Some((dest_url.to_string(), String::new()));
            }
            Tag::Link { .. } => return refuse("links"),
            Tag::CodeBlock(_) => return refuse("code (is a line indented by four spaces?)"),
            _ => return refuse("this"),
        }
        Ok(())
    }

    fn end(&mut self, tag: TagEnd) {
        match tag {
            TagEnd::Paragraph => self.close_paragraph(),
            TagEnd::Heading(_) => {
                let words: String = self.take_runs().into_iter().map(|run| run.text).collect();
                match self.open.pop() {
                    Some(Open::Name) => self.close_name(words),
                    _ => {
                        self.space_before(16);
                        self.out.push(Block::Text(heading(words.trim(), &self.look)));
                        self.out.push(Block::Space(2));
                    }
                }
            }
            TagEnd::BlockQuote(_) | TagEnd::List(_) => {
                self.open.pop();
            }
            TagEnd::Item => self.close_item(),
            TagEnd::Emphasis | TagEnd::Strong => {
                self.styles.pop();
            }
            TagEnd::TableCell => {
                let runs = self.take_runs();
                if let Some(row) = self.table.as_mut().and_then(|t| t.rows.last_mut()) {
                    row.push(runs);
                }
            }
            TagEnd::Table => {
                if let Some(draft) = self.table.take() {
                    self.out.push(Block::Table(draft.finish(&self.look)));
                }
            }
            TagEnd::Image => match self.caption.take() {
                Some((kind, caption)) if kind == "pen" => self.out.extend(pen(&caption, &self.look)),
                Some((kind, caption)) => {
                    self.space_before(14);
                    let (drawing, text) = match logo_percent(&kind) {
                        Some(percent) => (Drawing::Logo(percent), caption),
                        None => (Drawing::Ornament(self.look.ornament, End::Head), "~ ~ ~".to_owned()),
                    };
                    self.out.push(Block::Picture(Picture { drawing, text }));
                    self.out.push(Block::Space(14));
                }
                None => {}
            },
            _ => {}
        }
    }

    fn words(&mut self, text: &str) {
        if let Some((_, caption)) = &mut self.caption {
            caption.push_str(text);
            return;
        }
        self.push_run(text.to_owned());
    }

    fn push_run(&mut self, text: String) {
        let quoted = self.open.contains(&Open::Quote);
        let style = match self.styles.last() {
            Some(Tone::Strong) => self.look.strong,
            _ if quoted => self.look.quote.0,
            Some(Tone::Emphasis) => self.look.emphasis,
            None => self.look.text,
        };
        match self.runs.last_mut() {
            // Escaped letters come one by one; they belong to the words around them.
            Some(last) if last.style == style => last.text.push_str(&text),
            _ => self.runs.push(Run { text, style }),
        }
    }

    fn take_runs(&mut self) -> Vec<Run> {
        let kept = |run: Run| Run { text: clean::keep_units(&run.text), ..run };
        std::mem::take(&mut self.runs).into_iter().map(kept).collect()
    }

    fn space_before(&mut self, dots: u32) {
        if !matches!(self.out.last(), None | Some(Block::Space(_))) {
            self.out.push(Block::Space(dots));
        }
    }

    fn close_paragraph(&mut self) {
        if self.open.iter().any(|o| matches!(o, Open::List(_))) {
            return;
        }
        let runs = self.take_runs();
        if runs.iter().all(|run| run.text.trim().is_empty()) {
            return;
        }
        let quoted = self.open.contains(&Open::Quote);
        self.space_before(if quoted { 16 } else { 8 });
        let align = if quoted { self.look.quote.1 } else { Align::Left };
        self.out.push(Block::Text(Paragraph { runs, align }));
        if quoted {
            self.out.push(Block::Space(16));
        }
    }

    /// Nobody is greeted by an empty name.
    fn close_name(&mut self, words: String) {
        let words = clean::line(&words, NAME_MAX);
        if !words.is_empty() {
            self.space_before(14);
            self.out.push(Block::Name(large_name(words, &self.look)));
            self.out.push(Block::Space(20));
        }
    }

    fn close_item(&mut self) {
        let runs = self.take_runs();
        let mark = match self.open.last_mut() {
            Some(Open::List(Some(n))) => {
                *n += 1;
                format!("{}.", *n - 1)
            }
            _ => "•".to_owned(),
        };
        if !runs.is_empty() {
            let mut table = Table::list([Column::FIT, Column::FILL]);
            table.rows.push(vec![Cell::text(mark, self.look.text.face, self.look.text.size), Cell::Text(runs)]);
            self.out.push(Block::Table(table));
        }
    }
}

impl TableDraft {
    /// The first column that is not aligned right takes the room that is left. Quantities, in a
    /// right-aligned first column, are set in the sturdy sans; so is a right-aligned last one, small.
    fn finish(self, look: &Look) -> Table {
        let fill = self.aligns.iter().position(|a| *a != Alignment::Right).unwrap_or(0);
        let last = self.aligns.len().saturating_sub(1);
        let columns: Vec<Column> = (self.aligns.iter().enumerate())
            .map(|(at, align)| {
                let column = if at == fill { Column::FILL } else { Column::FIT };
                let column = if at == last && at != fill { column.under() } else { column };
                match align {
                    Alignment::Right => column.right(),
                    Alignment::Center => Column { align: Align::Middle, ..column },
                    Alignment::None | Alignment::Left => column,
                }
            })
            .collect();
        let style = |at: usize| match (at, columns.get(at).map(|c| c.align)) {
            (0, Some(Align::Right)) => Some((Face::Bold, look.text.size)),
            (at, Some(Align::Right)) if at == last => Some((Face::Sans, 21)),
            _ => None,
        };
        let is_blank = |row: &Vec<Vec<Run>>| row.iter().flatten().all(|run| run.text.trim().is_empty());
        let rows = self.rows.iter().filter(|row| !is_blank(row)).map(|row| {
            let cells = row.iter().enumerate().map(|(at, runs)| {
                let styled = runs.iter().map(|run| match style(at) {
                    Some((face, size)) => Run::new(run.text.clone(), face, size),
                    None => run.clone(),
                });
                Cell::Text(styled.collect())
            });
            cells.collect()
        });
        Table { gap: 18, row_gap: 3, rows: rows.collect(), ..Table::list(columns) }
    }
}
