//! The slip: the customer's part above a tear line, the stub for the bench below it.
//!
//! Nothing about prices stands on it, so that a gift needs no other paper; nothing of the
//! house's network, for the upper part leaves the house.

use super::brief::{self, ParcelBrief, Thing};
use super::document::*;
use super::packing;
use super::sizes::*;
use super::words::{Form, key};
use crate::model::CopyMark;
use jiff::Timestamp;

/// The slip of one parcel.
pub fn slip(brief: &ParcelBrief, copy: Option<&CopyMark>, form: &Form, shop: &str, now: Timestamp) -> Document {
    let mut paper = Document { language: brief.language.clone(), ..Document::default() };
    if let Some(mark) = copy {
        copy_head(&mut paper, mark, form, now);
        // The customer's part leaves the house without it.
        paper.push(Block::TearLine);
        paper.space(22);
    }
    customers_part(&mut paper, brief, form, shop, now);
    paper.space(26);
    paper.push(Block::TearLine);
    paper.space(22);
    stub(&mut paper, brief, copy, form);
    paper
}

/// COPY in large letters, why (in the words of the paper), and what to look for first.
pub(super) fn copy_head(paper: &mut Document, mark: &CopyMark, form: &Form, now: Timestamp) {
    let word = form.word(key::COPY);
    paper.push(Block::Band(Paragraph::plain(word, Face::Heavy, NUMBER).aligned(Align::Middle)));
    paper.space(8);
    paper.text(form.word(key::COPY_LOOK), Face::Bold, HEADING);
    let places = [("time", form.moment(mark.at, now)), ("why", mark.why.clone())];
    let places = places.each_ref().map(|(name, value)| (*name, value.as_str()));
    paper.text(form.fill(key::COPY_WHY, &places), Face::Sans, WORDS);
    paper.space(14);
}

fn customers_part(paper: &mut Document, brief: &ParcelBrief, form: &Form, shop: &str, now: Timestamp) {
    paper.sides(
        Run::new(shop.to_uppercase(), Face::Bold, SMALL),
        Run::new(form.date_and_year(form.day(now)), Face::Sans, SMALL),
    );
    paper.space(4);
    paper.rule(4);
    paper.space(14);
    let number = Run::new(&brief.number, Face::Heavy, NUMBER);
    paper.sides(number, Run::new(part(brief, form), Face::Sans, WORDS));
    paper.space(6);
    let name = brief.name.clone().unwrap_or_else(|| form.word(key::NAME_ERASED).to_owned());
    if !name.is_empty() {
        paper.text(form.word(key::PACKED_FOR), Face::Sans, SMALL);
        let name = Name { text: name, face: Face::Bold, largest: LARGE, smallest: WORDS, align: Align::Left };
        paper.space(9);
        paper.push(Block::Name(name));
        paper.space(18);
    }
    paper.rule(2);
    paper.space(8);
    paper.text(form.word(key::INSIDE), Face::Bold, WORDS);
    paper.space(4);
    let mut table = Table { gap: 18, row_gap: 6, ..Table::list([Column::FIT.right(), Column::FILL]) };
    for thing in &brief.things {
        let mut name = vec![Run::new(&thing.name, Face::Sans, WORDS)];
        if thing.extra {
            name.push(Run::new(format!("\n{}", form.word(key::EXTRA)), Face::Sans, SMALL));
        }
        name.extend(whose(thing));
        table.rows.push(vec![Cell::Quantity(thing.quantity), Cell::Text(name)]);
    }
    paper.push(Block::Table(table));
    paper.space(18);
    let thanks = form.word(key::THANKS).to_owned();
    paper.push(Block::Name(Name { text: thanks, face: Face::Italic, largest: 30, smallest: 24, align: Align::Left }));
}

fn part(brief: &ParcelBrief, form: &Form) -> String {
    match brief.part {
        (_, 0 | 1) => String::new(),
        (part, parts) => form.fill(key::PART, &[("part", &part.to_string()), ("parts", &parts.to_string())]),
    }
}

fn stub(paper: &mut Document, brief: &ParcelBrief, copy: Option<&CopyMark>, form: &Form) {
    if copy.is_some() {
        let words = format!("{}  {}", form.word(key::COPY), form.word(key::COPY_LOOK));
        paper.push(Block::Band(Paragraph::plain(words, Face::Bold, WORDS).aligned(Align::Middle)));
        paper.space(12);
    }
    if brief.urgent {
        paper.push(Block::Band(Paragraph::plain(form.word(key::URGENT), Face::Heavy, HEADING).aligned(Align::Middle)));
        paper.space(12);
    }
    let mut left = vec![Run::new(&brief.container, Face::Bold, LARGE)];
    if !brief.outer.is_empty() {
        left.push(Run::new(format!("\n{}", brief.outer), Face::Bold, HEADING));
    }
    let part = part(brief, form);
    if !part.is_empty() {
        left.push(Run::new(format!("\n{part}"), Face::Bold, HEADING));
    }
    left.push(Run::new(format!("\n{}\n{}", brief.service, brief.weight), Face::Sans, WORDS));
    paper.push(Block::Sides(Sides { left, right: vec![Run::new(&brief.number, Face::Heavy, NUMBER)] }));
    paper.space(10);
    if !brief.cautions.is_empty() || brief.gift || brief.joined {
        paper.push(Block::Table(cautions(brief, form)));
        paper.space(10);
    }
    paper.rule(2);
    paper.space(8);
    paper.push(Block::Table(goods(brief, form)));
    paper.space(10);
    paper.rule(2);
    if let Some(packing) = brief.packing.as_ref().and_then(|packing| drawn(packing, brief, form)) {
        paper.space(12);
        paper.push(Block::Packing(packing));
        paper.space(4);
    }
    let told = told(brief, form);
    if !told.rows.is_empty() {
        paper.space(8);
        paper.push(Block::Table(told));
    }
    paper.space(18);
    paper.push(Block::Bars(Code {
        data: brief.code.clone(),
        module: 3,
        height: 64,
        caption: Some(Run::new(&brief.code, Face::Bold, WORDS)),
    }));
}

fn cautions(brief: &ParcelBrief, form: &Form) -> Table {
    let mut table = Table::list([Column::FIT, Column::FILL]);
    let gift = brief.gift.then(|| form.word(key::GIFT).to_owned());
    let joined = brief.joined.then(|| match brief.saves.as_str() {
        "" => form.word(key::JOINED).to_owned(),
        saves => saves.to_owned(),
    });
    for text in brief.cautions.iter().cloned().chain(gift).chain(joined) {
        table.rows.push(vec![Cell::Caution, Cell::text(text, Face::Bold, WORDS)]);
    }
    table
}

/// Of which order it is, where several lie in the parcel.
fn whose(thing: &Thing) -> Option<Run> {
    (!thing.of.is_empty()).then(|| Run::new(format!("\n{}", thing.of), Face::Sans, SMALL))
}

/// Tick box, shelf, quantity, thing, batch: the quantity stands before the thing, and more
/// than one stands out, so that nobody packs one where two are due.
fn goods(brief: &ParcelBrief, form: &Form) -> Table {
    let columns = [Column::FIT, Column::FIT, Column::FIT.right(), Column::FILL, Column::FIT.right().under()];
    let mut table = Table { row_gap: 10, dotted: true, ..Table::list(columns) };
    for thing in &brief.things {
        let batch = match thing.batch.as_str() {
            "" => String::new(),
            batch => form.fill(key::BATCH, &[("batch", batch)]),
        };
        table.rows.push(vec![
            Cell::Tick,
            Cell::text(&thing.shelf, Face::Bold, WORDS),
            Cell::Quantity(thing.quantity),
            Cell::Text(std::iter::once(Run::new(&thing.name, Face::Sans, WORDS)).chain(whose(thing)).collect()),
            Cell::text(batch, Face::Sans, SMALL),
        ]);
    }
    table
}

/// So many times a number stands in a row; more are counted.
const REPEATED_MAX: usize = 6;

/// How it lies, with its words: each number's thing, and from the floor up what lies in each layer;
/// `None` where these are too many to be told.
fn drawn(lying: &brief::Packing, brief: &ParcelBrief, form: &Form) -> Option<Packing> {
    let levels = packing::layers(&lying.blocks);
    let height = levels.iter().max().map_or(0, |top| top + 1);
    // What a layer is: of each thing its number, its sides and where it stands.
    let of_layer = |layer: usize| {
        let here = lying.blocks.iter().zip(&levels).filter(|(_, level)| **level == layer);
        let mut here: Vec<_> = here.map(|(block, _)| (block.number, block.size, block.at[0], block.at[1])).collect();
        here.sort_unstable();
        here
    };
    let all: Vec<_> = (0..height).map(of_layer).collect();
    let mut layers: Vec<Layer> = Vec::new();
    let mut first = 0;
    while first < height {
        // Layers from the third on that are alike are told once.
        let alike = if first < 2 { 1 } else { all[first..].iter().take_while(|other| **other == all[first]).count() };
        let last = first + alike;
        let numbers = all[first].chunk_by(|one, other| one.0 == other.0).map(|things| {
            let number = things[0].0.to_string();
            match things.len() {
                count @ ..=REPEATED_MAX => vec![number; count].join(", "),
                count => format!("{number}\u{a0}({count}\u{a0}×)"),
            }
        });
        let numbers = numbers.collect::<Vec<_>>().join(", ");
        let word = match (first, alike) {
            (0, _) => form.word(key::PACKING_FLOOR).to_owned(),
            (1, _) => form.word(key::PACKING_ABOVE).to_owned(),
            (_, 1) => form.fill(key::PACKING_LAYER, &[("n", &last.to_string())]),
            _ => form.fill(key::PACKING_LAYER, &[("n", &format!("{}–{last}", first + 1))]),
        };
        let numbers = Run::new(numbers, Face::Sans, SMALL);
        layers.push(Layer { first, word: Run::new(word, Face::Bold, SMALL), numbers });
        first = last;
    }
    if layers.len() > packing::LAYERS_MAX {
        return None;
    }
    let named = (1..).zip(&brief.things).filter(|(number, _)| lying.blocks.iter().any(|block| block.number == *number));
    let names = named.map(|(number, thing): (u32, &Thing)| Numbered {
        number: Run::new(number.to_string(), Face::Heavy, WORDS),
        name: Run::new(&thing.name, Face::Sans, WORDS),
    });
    Some(Packing { room: lying.room, blocks: lying.blocks.clone(), names: names.collect(), layers })
}

/// What else the bench is told, each with its word before it.
fn told(brief: &ParcelBrief, form: &Form) -> Table {
    let mut table = Table { row_gap: 6, ..Table::list([Column::FIT, Column::FILL]) };
    let mut add = |word: &'static str, text: &str, face: Face| {
        table.rows.push(vec![Cell::text(form.word(word), Face::Bold, SMALL), Cell::text(text, face, WORDS)]);
    };
    if let Some(wish) = &brief.wish {
        add(key::WISH, wish, Face::Bold);
    }
    for note in &brief.notes {
        add(key::NOTE, note, Face::Sans);
    }
    for lay in &brief.lay {
        add(key::LAY, lay, Face::Sans);
    }
    if !brief.supplies.is_empty() {
        // A dot that parts two of them ends a line, it never begins one.
        add(key::SUPPLIES, &brief.supplies.join("\u{a0}· "), Face::Sans);
    }
    table
}
