//! The card: a Markdown template of the workshop, filled for one parcel.
//!
//! What a customer typed is escaped, so that it stays words; a template that cannot be used
//! is reported with its place and replaced by a plain card: it never stops the papers.

use super::brief::{ParcelBrief, Thing};
use super::clean::{self, MESSAGE_MAX};
use super::document::*;
use super::look::{Look, WAVES};
use super::markdown;
use super::words::{Form, key};
use crate::model::{CardTemplate, Workshop};
use jiff::Timestamp;
use minijinja::syntax::SyntaxConfig;
use minijinja::value::Value;
use minijinja::{AutoEscape, Environment, UndefinedBehavior, context};

/// Steps of one template; a card of two hundred things takes some 5 000.
const FUEL: u64 = 100_000;
/// Calls within calls of one template.
const DEPTH: usize = 32;
/// Letters of a filled template: a card of three metres.
const FILLED_MAX: usize = 20_000;

/// A template that cannot be used as it is.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{place}: {what}")]
pub struct TemplateMistake {
    /// File and line: `cards/thanks.md:14`.
    pub place: String,
    /// The line within the file.
    pub line: usize,
    /// What is wrong.
    pub what: String,
}

/// The card of one parcel; with the mistake, where a plain card had to stand in.
pub fn card(
    brief: &ParcelBrief,
    template: Option<&CardTemplate>,
    form: &Form,
    shop: &str,
    now: Timestamp,
) -> (Document, Option<TemplateMistake>) {
    let look = template.and_then(|template| Look::named(&template.design)).unwrap_or(WAVES);
    let Some(template) = template else { return (plain(brief, &look, form, shop), None) };
    match filled(brief, template, form, shop, now) {
        Ok(paper) => (paper, None),
        Err(mistake) => (plain(brief, &look, form, shop), Some(mistake)),
    }
}

/// Fills a template with an invented parcel and says what is wrong with it.
pub fn check(template: &CardTemplate, workshop: &Workshop) -> Result<(), TemplateMistake> {
    let now = Timestamp::UNIX_EPOCH;
    let thing = Thing {
        quantity: 2,
        name: "*Bowl* | 1".into(),
        batch: "2611".into(),
        best_before: "1 Jan".into(),
        care: "By hand.".into(),
        ingredients: "Tea".into(),
        allergens: vec!["nuts".into()],
        ..Thing::default()
    };
    let full = ParcelBrief {
        number: "S-1".into(),
        part: (1, 2),
        name: Some("Zoë".into()),
        buyer: Some("Ada".into()),
        gift: true,
        gift_message: Some("For you".into()),
        things: vec![thing],
        ..ParcelBrief::default()
    };
    // Both ways through every condition: with everything, and with nothing.
    for brief in [full, ParcelBrief { number: "S-1".into(), part: (1, 1), ..ParcelBrief::default() }] {
        filled(&brief, template, &Form::of(workshop), &workshop.name, now)?;
    }
    Ok(())
}

fn filled(
    brief: &ParcelBrief,
    template: &CardTemplate,
    form: &Form,
    shop: &str,
    now: Timestamp,
) -> Result<Document, TemplateMistake> {
    let at = |line: usize, what: String| {
        let line = template.first_line + line.saturating_sub(1);
        TemplateMistake { place: format!("cards/{}.md:{line}", template.name), line, what }
    };
    let look = Look::named(&template.design).ok_or_else(|| TemplateMistake {
        place: format!("cards/{}.md:1", template.name),
        line: 1,
        what: format!("the design {:?} is not one of {}", template.design, super::look::DESIGNS.join(", ")),
    })?;
    let markdown = fill(brief, template, form, shop, now).map_err(|error| {
        let detail = error.detail().map_or_else(|| error.kind().to_string(), |d| format!("{}: {d}", error.kind()));
        at(error.line().unwrap_or(1), detail)
    })?;
    if markdown.chars().count() > FILLED_MAX {
        return Err(at(1, format!("the filled card is longer than {FILLED_MAX} letters")));
    }
    let blocks = markdown::blocks(&markdown, &look).map_err(|mistake| {
        // The filled text has other lines than the template: find the piece there.
        let line = template.body.lines().position(|line| line.contains(&mistake.piece)).map_or(1, |n| n + 1);
        at(line, mistake.what)
    })?;
    let mut paper = head(brief, &look, shop);
    paper.blocks.extend(blocks);
    foot(&mut paper, &look);
    Ok(paper)
}

fn fill(
    brief: &ParcelBrief,
    template: &CardTemplate,
    form: &Form,
    shop: &str,
    now: Timestamp,
) -> Result<String, minijinja::Error> {
    let mut engine = Environment::new();
    // A line that holds only a tag leaves no empty line behind: rows of a table stay together.
    engine.set_syntax(SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build()?);
    engine.set_fuel(Some(FUEL));
    engine.set_recursion_limit(DEPTH);
    engine.set_undefined_behavior(UndefinedBehavior::Strict);
    engine.set_auto_escape_callback(|_| AutoEscape::Custom("markdown".into()));
    engine.set_formatter(|out, _, value| {
        if value.is_undefined() {
            return Err(minijinja::Error::from(minijinja::ErrorKind::UndefinedError));
        }
        let text = value.to_string();
        let text = if value.is_safe() { text } else { escaped(&text) };
        out.write_str(&text).map_err(|_| minijinja::Error::from(minijinja::ErrorKind::WriteFailure))
    });
    let item = |thing: &Thing| {
        context! {
            quantity => thing.quantity,
            name => &thing.name,
            sku => &thing.sku,
            batch => &thing.batch,
            best_before => &thing.best_before,
            care => Value::from_safe_string(thing.care.clone()),
            ingredients => &thing.ingredients,
            allergens => &thing.allergens,
        }
    };
    let care = grouped(&brief.things, |t| &t.care).into_iter();
    let ingredients = grouped(&brief.things, |t| &t.ingredients).into_iter();
    let mut allergens: Vec<String> = Vec::new();
    for allergen in brief.things.iter().flat_map(|t| &t.allergens) {
        if !allergens.contains(allergen) {
            allergens.push(allergen.clone());
        }
    }
    let values = context! {
        name => brief.name.as_deref().unwrap_or_default(),
        workshop => clean::line(shop, clean::LABEL_MAX),
        order => &brief.number,
        part => brief.part.0,
        parts => brief.part.1,
        gift => brief.gift,
        gift_message => brief.gift_message.as_deref().unwrap_or_default(),
        buyer => brief.buyer.as_deref().unwrap_or_default(),
        today => form.date(form.day(now)),
        items => brief.things.iter().map(item).collect::<Vec<_>>(),
        care => care.map(|(name, text)| context! { name, text => Value::from_safe_string(text) }).collect::<Vec<_>>(),
        ingredients => ingredients.map(|(name, text)| context! { name, text }).collect::<Vec<_>>(),
        allergens,
    };
    engine.template_from_str(&template.body)?.render(values)
}

/// Products with the same text stand together: "Mug, tide grey; Bowl".
fn grouped<'a>(things: &'a [Thing], text: impl Fn(&'a Thing) -> &'a String) -> Vec<(String, String)> {
    let mut groups: Vec<(Vec<&str>, &String)> = Vec::new();
    for thing in things.iter().filter(|t| !text(t).trim().is_empty()) {
        match groups.iter_mut().find(|(_, known)| *known == text(thing)) {
            Some((names, _)) if names.contains(&thing.name.as_str()) => {}
            Some((names, _)) => names.push(&thing.name),
            None => groups.push((vec![&thing.name], text(thing))),
        }
    }
    groups.into_iter().map(|(names, text)| (names.join("; "), text.clone())).collect()
}

/// Words that Markdown takes as words: CommonMark lets a backslash stand before any ASCII
/// punctuation (CommonMark 0.31, section 2.4).
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in clean::line(text, MESSAGE_MAX).chars() {
        if c.is_ascii_punctuation() {
            out.push('\\');
        }
        out.push(c);
    }
    out
}

fn head(brief: &ParcelBrief, look: &Look, shop: &str) -> Document {
    let (lid, frame) = (brief.lid, look.frame);
    let mut paper =
        Document { language: brief.language.clone(), margin: look.margin, lid, frame, ..Document::default() };
    paper.space(if frame.is_some() { 26 } else { 6 });
    paper.push(Block::Picture(Picture { drawing: Drawing::Ornament(look.ornament, End::Head), text: "~ ~ ~".into() }));
    paper.space(12);
    let shop = Paragraph::plain(shop.to_uppercase(), look.shop.face, look.shop.size).aligned(look.align);
    paper.push(Block::Text(shop));
    paper.space(30);
    paper
}

fn foot(paper: &mut Document, look: &Look) {
    paper.space(20);
    let drawing = Drawing::Ornament(look.ornament, look.end(End::Foot));
    paper.push(Block::Picture(Picture { drawing, text: "~ ~ ~".into() }));
    paper.space(if look.frame.is_some() { 26 } else { 6 });
}

/// Where no template can be used.
fn plain(brief: &ParcelBrief, look: &Look, form: &Form, shop: &str) -> Document {
    let mut paper = head(brief, look, shop);
    if let Some(name) = brief.name.clone().filter(|name| !name.is_empty()) {
        paper.push(Block::Name(markdown::large_name(name, look)));
        paper.space(24);
    }
    paper.push(Block::Text(markdown::heading(form.word(key::CARD_INSIDE), look)));
    let mut table = Table::list([Column::FIT.right(), Column::FILL]);
    for thing in &brief.things {
        let quantity = Cell::text(thing.quantity.to_string(), Face::Bold, look.text.size);
        table.rows.push(vec![quantity, Cell::text(&thing.name, look.text.face, look.text.size)]);
    }
    paper.push(Block::Table(table));
    if let Some(message) = &brief.gift_message {
        let (style, align) = look.quote;
        paper.space(16);
        paper.push(Block::Text(Paragraph::plain(message, style.face, style.size).aligned(align)));
    }
    paper.blocks.extend(markdown::pen(form.word(key::CARD_PEN), look));
    foot(&mut paper, look);
    paper
}
