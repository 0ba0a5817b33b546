//! Change note and stop note: laid with a slip that is already on paper.

use super::brief::{self, label};
use super::document::*;
use super::said::{difference, reason};
use super::sizes::*;
use super::words::{Form, key};
use crate::book::{OrderEntry, ParcelEntry, People, Stage, State};
use crate::model::{Line, OrderKey, ParcelId, Workshop};
use jiff::Timestamp;
use std::collections::BTreeSet;

/// What a note is about.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct About {
    /// The order's number.
    pub number: String,
    /// Its recipient.
    pub name: String,
}

/// What differs from the slip on paper, and what is now to be packed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ChangeBrief {
    /// Of which order.
    pub about: About,
    /// In words.
    pub differences: Vec<String>,
    /// So many of what.
    pub now: Vec<(u32, String)>,
}

/// Do not send it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct StopBrief {
    /// Which order.
    pub about: About,
    /// When and why, in words; or empty.
    pub why: String,
    /// Orders that lie in its parcels and are still to be sent, or empty.
    pub others: String,
    /// Its parcels: number, container, how far it is.
    pub parcels: Vec<[String; 3]>,
}

/// Gathers a change note.
pub fn change(order: &OrderEntry, state: &State, people: &People, workshop: &Workshop, now: Timestamp) -> Document {
    let form = Form::of(workshop);
    let needs_parcel = |line: &&Line| workshop.product(&line.sku).is_none_or(|product| !product.not_shipped);
    let named = |line: &Line| {
        let name = workshop.product(&line.sku).map_or_else(|| label(&line.name), |p| label(&p.name));
        (line.quantity, if name.is_empty() { label(line.sku.as_str()) } else { name })
    };
    let brief = ChangeBrief {
        about: about(order, state, people, &form),
        differences: order.differences.iter().map(|one| difference(one, &form)).collect(),
        now: order.order.lines.iter().filter(needs_parcel).map(named).collect(),
    };
    change_note(&brief, &form, now)
}

/// Lays a change note.
pub fn change_note(brief: &ChangeBrief, form: &Form, now: Timestamp) -> Document {
    let mut paper = head(&brief.about, form, key::CHANGE_NOTE, now);
    paper.text(form.word(key::CHANGE_DO), Face::Bold, WORDS);
    section(&mut paper, form.word(key::CHANGE_DIFFERS));
    let mut table = Table::list([Column::FIT, Column::FILL]);
    table.rows.extend(brief.differences.iter().map(|text| vec![Cell::Tick, Cell::text(text, Face::Sans, WORDS)]));
    paper.push(Block::Table(table));
    section(&mut paper, form.word(key::CHANGE_NEW));
    let mut table = Table { row_gap: 6, ..Table::list([Column::FIT.right(), Column::FILL]) };
    for (quantity, name) in &brief.now {
        table.rows.push(vec![Cell::Quantity(*quantity), Cell::text(name, Face::Sans, WORDS)]);
    }
    paper.push(Block::Table(table));
    paper
}

/// Gathers a stop note.
pub fn stop(order: &OrderEntry, state: &State, people: &People, workshop: &Workshop, now: Timestamp) -> Document {
    let form = Form::of(workshop);
    let why = order.cancelled.as_ref().map(|cancelled| {
        let said = people.said(&order.order.key, cancelled.at).filter(|_| cancelled.reason.is_empty());
        let typed = said.map_or(cancelled.reason.as_str(), |text| text.reveal());
        let why = reason(typed, Some(&order.order.key.number), &form);
        form.fill(key::STOP_WHY, &[("time", &form.moment(cancelled.at, now)), ("why", &why)])
    });
    let parcels = order.parcels.iter().filter_map(|id| state.parcels.get(id).map(|parcel| (id, parcel)));
    let told = |(id, parcel): (&ParcelId, &ParcelEntry)| {
        [id.to_string(), brief::container(parcel, &form), form.word(stage_key(parcel.stage)).to_owned()]
    };
    let others = order.parcels.iter().filter_map(|id| state.parcels.get(id)).flat_map(|parcel| &parcel.orders);
    let open = |key: &&OrderKey| state.orders.get(*key).is_some_and(|other| other.cancelled.is_none());
    let others: BTreeSet<String> = others.filter(open).map(|key| label(&key.number)).collect();
    let brief = StopBrief {
        about: about(order, state, people, &form),
        why: why.unwrap_or_default(),
        others: others.into_iter().collect::<Vec<_>>().join(" + "),
        parcels: parcels.map(told).collect(),
    };
    stop_note(&brief, &form, now)
}

/// Lays a stop note: it cannot be overlooked in a heap of slips.
pub fn stop_note(brief: &StopBrief, form: &Form, now: Timestamp) -> Document {
    let mut paper = head(&brief.about, form, key::STOP_NOTE, now);
    paper.text(form.word(key::STOP_DO), Face::Bold, HEADING);
    if !brief.others.is_empty() {
        paper.space(4);
        paper.text(form.fill(key::STOP_TAKE_OUT, &[("orders", &brief.others)]), Face::Bold, HEADING);
        paper.space(4);
    }
    if !brief.why.is_empty() {
        paper.text(&brief.why, Face::Sans, WORDS);
    }
    if !brief.parcels.is_empty() {
        section(&mut paper, form.word(key::STOP_PARCELS));
        let mut table = Table::list([Column::FIT, Column::FIT, Column::FILL, Column::FIT.right()]);
        for [number, container, stage] in &brief.parcels {
            let (number, stage) = (Cell::text(number, Face::Bold, WORDS), Cell::text(stage, Face::Bold, WORDS));
            table.rows.push(vec![Cell::Tick, number, Cell::text(container, Face::Sans, WORDS), stage]);
        }
        paper.push(Block::Table(table));
    }
    paper.space(12);
    paper.text(form.word(key::STOP_BACK), Face::Sans, WORDS);
    paper.space(10);
    paper.push(Block::Band(Paragraph::plain(form.word(key::STOP_NOTE), Face::Heavy, 56).aligned(Align::Middle)));
    paper
}

fn section(paper: &mut Document, words: &str) {
    paper.space(12);
    paper.rule(2);
    paper.space(8);
    paper.text(words, Face::Bold, WORDS);
    paper.space(4);
}

fn about(order: &OrderEntry, state: &State, people: &People, form: &Form) -> About {
    let key = &order.order.key;
    About { number: label(&key.number), name: brief::name_of(Some(key), state, people, form) }
}

fn head(about: &About, form: &Form, word: &'static str, now: Timestamp) -> Document {
    let mut paper = Document::default();
    let size = if word == key::STOP_NOTE { 120 } else { 64 };
    paper.push(Block::Band(Paragraph::plain(form.word(word), Face::Heavy, size).aligned(Align::Middle)));
    paper.space(14);
    paper.sides(Run::new(&about.number, Face::Heavy, NUMBER), Run::new(form.full(now), Face::Sans, SMALL));
    let (text, align) = (about.name.clone(), Align::Left);
    paper.push(Block::Name(Name { text, face: Face::Bold, largest: LARGE, smallest: WORDS, align }));
    paper.space(14);
    paper
}

fn stage_key(stage: Stage) -> &'static str {
    match stage {
        Stage::Received => key::STAGE_RECEIVED,
        Stage::Planned => key::STAGE_PLANNED,
        Stage::Printed => key::STAGE_PRINTED,
        Stage::Packed => key::STAGE_PACKED,
        Stage::HandedOver => key::STAGE_HANDED_OVER,
    }
}
