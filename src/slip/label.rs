//! The address label of a parcel that is franked by hand, and the facts for its customs form.
//!
//! A sorting machine reads the address: one plain face, one size, flush left, nothing beside or below
//! it but white. What the bench needs stands behind a tear line.

use super::brief::ParcelBrief;
use super::document::*;
use super::words::{Form, key};

/// Letters of the address: capitals of 2.6 to 3.8 mm.
const LARGEST: u16 = 42;
const SMALLEST: u16 = 28;
/// White around the address: machines want it clear.
const CLEAR: u32 = 56;
const MARGIN: u16 = 40;

/// The label: sender small above, address, and behind a tear line which parcel it is for.
pub fn label(brief: &ParcelBrief, form: &Form, sender: &[String]) -> Document {
    let mut paper = Document { language: brief.language.clone(), margin: MARGIN, ..Document::default() };
    paper.space(10);
    // Each of its lines stays whole, and a dot ends a line rather than begins one.
    let sender: Vec<String> = sender.iter().map(|line| line.replace(' ', "\u{a0}")).collect();
    paper.text(sender.join("\u{a0}· "), Face::Sans, 20);
    paper.space(CLEAR);
    let address = match &brief.address[..] {
        [] => form.word(key::NAME_ERASED).to_owned(),
        lines => lines.join("\n"),
    };
    let (largest, smallest) = (LARGEST, SMALLEST);
    paper.push(Block::Name(Name { text: address, face: Face::Sans, largest, smallest, align: Align::Left }));
    paper.space(CLEAR);
    paper.push(Block::TearLine);
    paper.space(12);
    let parcel = Run::new(format!("{}\n{}", brief.service, brief.weight), Face::Sans, 24);
    paper.sides(parcel, Run::new(&brief.number, Face::Heavy, 56));
    paper
}

/// What a CN 22 or CN 23 asks for, in its order, to copy from. The fields are those of the
/// forms as posts reproduce them; which form is due, and what it must say, the post decides.
pub fn customs(brief: &ParcelBrief, form: &Form, sender: &[String]) -> Document {
    let mut paper = Document { language: brief.language.clone(), ..Document::default() };
    paper.sides(Run::new(form.word(key::CUSTOMS), Face::Bold, 40), Run::new(&brief.number, Face::Heavy, 44));
    paper.space(6);
    let mut caution = Table::list([Column::FIT, Column::FILL]);
    caution.rows.push(vec![Cell::Caution, Cell::text(form.word(key::CUSTOMS_CAUTION), Face::Bold, 24)]);
    paper.push(Block::Table(caution));
    paper.space(10);
    paper.rule(2);
    paper.space(8);
    let mut both = Table { row_gap: 10, ..Table::list([Column::FIT, Column::FILL]) };
    for (word, lines) in [(key::CUSTOMS_FROM, sender), (key::CUSTOMS_TO, &brief.address)] {
        both.rows.push(vec![Cell::text(form.word(word), Face::Bold, 24), Cell::text(lines.join("\n"), Face::Sans, 24)]);
    }
    paper.push(Block::Table(both));
    paper.space(10);
    paper.rule(2);
    paper.space(8);
    let mut kinds = Table { row_gap: 4, ..Table::list([Column::FIT, Column::FILL]) };
    let likely = if brief.gift { key::CUSTOMS_GIFT } else { key::CUSTOMS_SALE };
    kinds.rows.push(vec![Cell::Tick, Cell::text(form.word(likely), Face::Bold, 26)]);
    kinds.rows.push(vec![Cell::Tick, Cell::text(form.word(key::CUSTOMS_OTHER), Face::Sans, 24)]);
    paper.push(Block::Table(kinds));
    paper.space(10);
    paper.rule(2);
    paper.space(8);
    let mut goods = Table { row_gap: 8, dotted: true, ..Table::list([Column::FIT.right(), Column::FILL]) };
    for ware in &brief.wares {
        let said = |word: &'static str, text: &str| {
            let text = if text.is_empty() { form.word(key::CUSTOMS_MISSING) } else { text };
            format!("\n{} {text}", form.word(word))
        };
        let mut words = vec![Run::new(&ware.description, Face::Bold, 26)];
        let rest = [
            said(key::CUSTOMS_WEIGHT, &ware.weight),
            said(key::CUSTOMS_VALUE, &ware.value),
            said(key::CUSTOMS_CODE, &ware.code),
            said(key::CUSTOMS_ORIGIN, &ware.origin),
        ];
        words.push(Run::new(rest.concat(), Face::Sans, 24));
        goods.rows.push(vec![Cell::Quantity(ware.quantity), Cell::Text(words)]);
    }
    paper.push(Block::Table(goods));
    paper.space(10);
    paper.rule(2);
    paper.space(8);
    let mut totals = Table::list([Column::FILL, Column::FIT.right()]);
    for (word, text) in [(key::CUSTOMS_GROSS, &brief.weight), (key::CUSTOMS_TOTAL, &brief.value)] {
        let text = if text.is_empty() { form.word(key::CUSTOMS_MISSING) } else { text };
        totals.rows.push(vec![Cell::text(form.word(word), Face::Sans, 26), Cell::text(text, Face::Bold, 26)]);
    }
    paper.push(Block::Table(totals));
    paper.space(8);
    paper.text(&brief.customs_form, Face::Sans, 22);
    paper
}
