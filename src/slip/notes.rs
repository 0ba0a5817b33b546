//! Change note and stop note: laid with a slip that is already on paper.

use super::brief::{self, label};
use super::clean::{self, NOTE_MAX};
use super::document::*;
use super::words::{Form, key};
use crate::book::{OrderEntry, People, Stage, State};
use crate::model::{Line, Workshop};
use jiff::Timestamp;

/// What differs from the slip on paper, and what is now to be packed.
pub fn change(order: &OrderEntry, state: &State, people: &People, workshop: &Workshop, now: Timestamp) -> Document {
    let form = Form::of(workshop);
    let mut paper = head(order, state, people, &form, key::CHANGE_NOTE, now);
    paper.text(form.word(key::CHANGE_DO), Face::Bold, 27);
    paper.space(12);
    paper.rule(2);
    paper.space(8);
    paper.text(form.word(key::CHANGE_DIFFERS), Face::Bold, 26);
    paper.space(4);
    let mut table = Table::list([Column::FIT, Column::FILL]);
    for difference in &order.differences {
        table.rows.push(vec![Cell::Tick, Cell::text(clean::line(difference, NOTE_MAX), Face::Sans, 26)]);
    }
    paper.push(Block::Table(table));
    paper.space(12);
    paper.rule(2);
    paper.space(8);
    paper.text(form.word(key::CHANGE_NEW), Face::Bold, 26);
    paper.space(4);
    let mut table = Table::list([Column::FIT.right(), Column::FILL]);
    let needs_parcel = |line: &&Line| workshop.product(&line.sku).is_none_or(|product| !product.not_shipped);
    for line in order.order.lines.iter().filter(needs_parcel) {
        let name = workshop.product(&line.sku).map_or_else(|| label(&line.name), |p| label(&p.name));
        let name = if name.is_empty() { label(line.sku.as_str()) } else { name };
        table.rows.push(vec![Cell::text(line.quantity.to_string(), Face::Heavy, 36), Cell::text(name, Face::Sans, 26)]);
    }
    paper.push(Block::Table(table));
    paper
}

/// Do not send: cannot be overlooked in a heap of slips.
pub fn stop(order: &OrderEntry, state: &State, people: &People, workshop: &Workshop, now: Timestamp) -> Document {
    let form = Form::of(workshop);
    let mut paper = head(order, state, people, &form, key::STOP_NOTE, now);
    paper.text(form.word(key::STOP_DO), Face::Bold, 36);
    if let Some(cancelled) = &order.cancelled {
        let why = clean::line(&cancelled.reason, NOTE_MAX);
        let time = form.moment(cancelled.at, now);
        paper.text(form.fill(key::STOP_WHY, &[("time", &time), ("why", &why)]), Face::Sans, 26);
    }
    let parcels: Vec<_> = order.parcels.iter().filter_map(|id| state.parcels.get(id).map(|p| (id, p))).collect();
    if !parcels.is_empty() {
        paper.space(12);
        paper.rule(2);
        paper.space(8);
        paper.text(form.word(key::STOP_PARCELS), Face::Bold, 26);
        paper.space(4);
        let mut table = Table::list([Column::FIT, Column::FIT, Column::FILL, Column::FIT.right()]);
        for (id, parcel) in parcels {
            table.rows.push(vec![
                Cell::Tick,
                Cell::text(id.to_string(), Face::Bold, 26),
                Cell::text(brief::container(parcel, &form), Face::Sans, 26),
                Cell::text(form.word(stage_key(parcel.stage)), Face::Bold, 26),
            ]);
        }
        paper.push(Block::Table(table));
    }
    paper.space(12);
    paper.text(form.word(key::STOP_BACK), Face::Sans, 26);
    paper.space(10);
    paper.push(Block::Band(Paragraph::plain(form.word(key::STOP_NOTE), Face::Heavy, 56).aligned(Align::Middle)));
    paper
}

fn head(
    order: &OrderEntry,
    state: &State,
    people: &People,
    form: &Form,
    word: &'static str,
    now: Timestamp,
) -> Document {
    let mut paper = Document::default();
    let size = if word == key::STOP_NOTE { 120 } else { 64 };
    paper.push(Block::Band(Paragraph::plain(form.word(word), Face::Heavy, size).aligned(Align::Middle)));
    paper.space(14);
    paper.sides(Run::new(label(&order.order.key.number), Face::Heavy, 72), Run::new(form.full(now), Face::Sans, 22));
    let name = brief::name_of(Some(&order.order.key), state, people, form);
    paper.push(Block::Name(Name { text: name, face: Face::Bold, largest: 36, smallest: 26, align: Align::Left }));
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
