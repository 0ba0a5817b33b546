//! The test page: what this printer can do, to be looked at by a person.

use super::document::*;
use super::words::{Form, key};
use crate::model::{Confirms, Printer, Workshop};
use jiff::Timestamp;

/// Words in many scripts: "good morning", as commonly written; common practice, no source.
/// The same greeting in many scripts.
pub const SCRIPTS: [&str; 16] = [
    "Good morning",
    "Bună dimineața",
    "Chào buổi sáng",
    "Dzień dobry",
    "Καλημέρα",
    "Доброе утро",
    "Բարի լույս",
    "დილა მშვიდობისა",
    "בוקר טוב",
    "صباح الخير",
    "सुप्रभात",
    "காலை வணக்கம்",
    "อรุณสวัสดิ์",
    "おはようございます",
    "早上好",
    "좋은 아침",
];

/// The page for the printer that test pages go to; without printers only the general part.
pub fn test_page(printer: Option<&Printer>, workshop: &Workshop, count: u32, now: Timestamp) -> Document {
    let form = Form::of(workshop);
    let mut paper = Document::default();
    paper.sides(Run::new(workshop.name.to_uppercase(), Face::Bold, 23), Run::new(form.full(now), Face::Sans, 23));
    paper.text(form.word(key::TEST_PAGE), Face::Bold, 52);
    if let Some(printer) = printer {
        profile(&mut paper, printer, &form);
    }
    heading(&mut paper, form.word(key::TEST_SIZES));
    for (face, size) in [
        (Face::Sans, 20),
        (Face::Sans, 24),
        (Face::Bold, 28),
        (Face::Heavy, 36),
        (Face::Text, 24),
        (Face::Text, 28),
        (Face::Italic, 30),
        (Face::Display, 44),
    ] {
        paper.text(form.word(key::TEST_DIGITS), face, size);
    }
    heading(&mut paper, form.word(key::TEST_SCRIPTS));
    let mut table = Table::list([Column::FILL, Column::FILL]);
    for pair in SCRIPTS.chunks(2) {
        table.rows.push(pair.iter().map(|text| Cell::text(*text, Face::Sans, 26)).collect());
    }
    paper.push(Block::Table(table));
    heading(&mut paper, form.word(key::TEST_DOTS));
    let text = String::new();
    paper.push(Block::Picture(Picture { drawing: Drawing::Patterns, text: text.clone() }));
    heading(&mut paper, form.word(key::TEST_RULER));
    paper.push(Block::Picture(Picture { drawing: Drawing::Ruler, text: text.clone() }));
    heading(&mut paper, form.word(key::TEST_CODES));
    let data = format!("test-{count}");
    paper.push(Block::Qr(Code { data: data.clone(), module: 6, height: 0, caption: None }));
    paper.space(8);
    let caption = Some(Run::new(&data, Face::Sans, 22));
    paper.push(Block::Bars(Code { data, module: 2, height: 56, caption }));
    paper.space(12);
    for ornament in [Ornament::Waves, Ornament::Leaves, Ornament::Plain] {
        paper.space(10);
        paper.push(Block::Picture(Picture { drawing: Drawing::Ornament(ornament, End::Head), text: text.clone() }));
    }
    paper
}

fn profile(paper: &mut Document, printer: &Printer, form: &Form) {
    let width = [("dots", printer.dots.to_string()), ("dpi", printer.dpi.to_string())];
    let width = width.each_ref().map(|(name, value)| (*name, value.as_str()));
    let knife = if printer.cutter { key::TEST_KNIFE } else { key::TEST_NO_KNIFE };
    let confirms = match printer.confirms {
        Confirms::ProcessId => key::TEST_PROCESS_ID,
        Confirms::InlineStatus => key::TEST_INLINE,
        Confirms::Nothing => key::TEST_NOTHING,
    };
    paper.text(printer.name.as_str(), Face::Bold, 30);
    let words = [form.fill(key::TEST_WIDTH, &width), form.word(knife).to_owned(), form.word(confirms).to_owned()];
    paper.text(words.join(" · "), Face::Sans, 24);
}

fn heading(paper: &mut Document, words: &str) {
    paper.space(14);
    paper.rule(2);
    paper.space(6);
    paper.text(words, Face::Bold, 26);
    paper.space(6);
}
