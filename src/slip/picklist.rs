//! The pick list: the morning's one sheet.

use super::day::DayBrief;
use super::document::*;
use super::words::{Form, key};

/// Questions on paper; with more of them a person is better served at the desk.
const DECIDE_MAX: usize = 40;

/// Columns of a name that fits beside the rest of its line at full size.
const NAME_COLUMNS: usize = 15;

/// Lays the day's list.
pub fn pick_list(day: &DayBrief, form: &Form, shop: &str) -> Document {
    let mut paper = Document::default();
    paper.sides(Run::new(shop.to_uppercase(), Face::Bold, 23), Run::new(&day.date, Face::Sans, 23));
    paper.space(4);
    let parcels = form.count(day.parcels, key::PARCEL, key::PARCELS);
    let orders = form.count(day.orders, key::ORDER, key::ORDERS);
    let count = form.fill(key::PARCELS_OF_ORDERS, &[("parcels", &parcels), ("orders", &orders)]);
    paper.sides(Run::new(form.word(key::PICK_LIST), Face::Bold, 50), Run::new(count, Face::Sans, 25));
    paper.space(4);
    paper.rule(5);
    paper.space(10);
    for remark in &day.remarks {
        paper.text(remark, Face::Bold, 25);
        paper.space(4);
    }
    decide(&mut paper, day, form);
    if day.parcels == 0 {
        paper.text(form.word(key::NOTHING), Face::Sans, 28);
        paper.space(12);
    }
    fetch(&mut paper, day, form);
    prepare(&mut paper, day, form);
    fold(&mut paper, day, form);
    runs_out(&mut paper, day, form);
    late(&mut paper, day, form);
    pack(&mut paper, day, form);
    hand_over(&mut paper, day, form);
    if day.beyond > 0 {
        let parcels = form.count(day.beyond, key::PARCEL, key::PARCELS);
        paper.text(form.fill(key::BEYOND, &[("parcels", &parcels)]), Face::Sans, 24);
    }
    paper
}

/// Opens a section, with a line above all but the first.
fn section(paper: &mut Document, words: &str) {
    if !matches!(paper.blocks.last(), Some(Block::Space(_)) | None) {
        paper.space(12);
        paper.rule(2);
        paper.space(10);
    }
    paper.text(words, Face::Bold, 29);
    paper.space(5);
}

fn decide(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.decide.is_empty() {
        return;
    }
    section(paper, form.word(key::DECIDE_FIRST));
    let mut table = Table { gap: 20, row_gap: 6, ..Table::list([Column::FIT, Column::FILL]) };
    for decide in day.decide.iter().take(DECIDE_MAX) {
        let mut what = vec![Run::new(&decide.what, Face::Sans, 25)];
        what.push(Run::new(format!("\n{}", decide.hint), Face::Sans, 21));
        table.rows.push(vec![Cell::text(&decide.whose, Face::Bold, 25), Cell::Text(what)]);
    }
    paper.push(Block::Table(table));
    let more = day.decide.len().saturating_sub(DECIDE_MAX);
    if more > 0 {
        paper.text(form.fill(key::DECIDE_MORE, &[("n", &more.to_string())]), Face::Bold, 25);
    }
    paper.space(6);
    paper.text(form.word(key::DECIDE_HOW), Face::Sans, 21);
}

fn fetch(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.fetch.is_empty() {
        return;
    }
    section(paper, form.word(key::FETCH));
    let columns = [Column::FIT, Column::FIT, Column::FIT.right(), Column::FILL, Column::FIT.right().under()];
    let mut table = Table { row_gap: 6, ..Table::list(columns) };
    for fetch in &day.fetch {
        table.rows.push(vec![
            Cell::Tick,
            Cell::text(&fetch.shelf, Face::Bold, 25),
            Cell::text(fetch.quantity.to_string(), Face::Bold, 34),
            Cell::text(&fetch.name, Face::Sans, 26),
            Cell::text(&fetch.batch, Face::Sans, 22),
        ]);
    }
    paper.push(Block::Table(table));
}

fn prepare(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.prepare.is_empty() {
        return;
    }
    section(paper, form.word(key::PREPARE));
    for (number, (what, products)) in day.prepare.iter().enumerate() {
        if number > 0 {
            paper.space(8);
        }
        paper.text(what, Face::Bold, 25);
        paper.space(2);
        let mut table = Table { row_gap: 6, ..Table::list([Column::FIT, Column::FIT.right(), Column::FILL]) };
        for (count, name) in products {
            let count = Cell::text(count.to_string(), Face::Bold, 34);
            table.rows.push(vec![Cell::Tick, count, Cell::text(name, Face::Sans, 26)]);
        }
        paper.push(Block::Table(table));
    }
}

fn fold(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.fold.is_empty() {
        return;
    }
    section(paper, form.word(key::FOLD));
    let columns = [Column::FIT, Column::FIT.right(), Column::FILL, Column::FIT.right().under()];
    let mut table = Table { row_gap: 6, ..Table::list(columns) };
    for fold in &day.fold {
        table.rows.push(vec![
            Cell::Tick,
            Cell::text(fold.count.to_string(), Face::Bold, 34),
            Cell::text(&fold.container, Face::Sans, 26),
            Cell::text(fold.inside.join(", "), Face::Sans, 24),
        ]);
    }
    paper.push(Block::Table(table));
}

fn runs_out(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.runs_out.is_empty() {
        return;
    }
    section(paper, form.word(key::RUNS_OUT));
    for (what, end) in &day.runs_out {
        paper.text(what, Face::Sans, 25);
        paper.text(end, Face::Bold, 25);
        paper.space(4);
    }
    // A section closes with words, not with white.
    paper.blocks.pop();
}

fn late(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.late.is_empty() {
        return;
    }
    section(paper, form.word(key::LATE));
    let mut table = Table::list([Column::FIT, Column::FILL, Column::FIT.right().under()]);
    for (number, name, when) in &day.late {
        table.rows.push(vec![
            Cell::text(number, Face::Bold, 28),
            Cell::text(name, Face::Sans, 25),
            Cell::text(when, Face::Sans, 22),
        ]);
    }
    paper.push(Block::Table(table));
}

fn pack(paper: &mut Document, day: &DayBrief, form: &Form) {
    for group in &day.pack {
        let n = group.parcels.len().to_string();
        section(paper, &form.fill(key::PACK, &[("container", &group.container), ("n", &n)]));
        let columns = [
            Column::FIT,
            Column::FIT,
            Column::FILL,
            Column::FIT.under(),
            Column::FIT.under(),
            Column::FIT.right().under(),
        ];
        let mut table = Table { gap: 9, row_gap: 6, ..Table::list(columns) };
        for line in &group.parcels {
            let mut number = vec![Run::new(&line.number, Face::Bold, 27)];
            if !line.part.is_empty() {
                number.push(Run::new(format!("\n{}", line.part), Face::Sans, 21));
            }
            let small = |words: &str| Cell::text(words, Face::Sans, 20);
            // A long name rather a little smaller than in three lines.
            let name_size = if super::text::width(&line.name) > NAME_COLUMNS { 20 } else { 24 };
            table.rows.push(vec![
                Cell::Tick,
                Cell::Text(number),
                Cell::text(&line.name, Face::Sans, name_size),
                small(&line.things),
                small(&line.service),
                small(&line.weight),
            ]);
        }
        paper.push(Block::Table(table));
    }
}

fn hand_over(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.tally.is_empty() {
        return;
    }
    section(paper, form.word(key::HAND_OVER));
    let mut table = Table::list([Column::FIT.right(), Column::FILL]);
    for (service, count) in &day.tally {
        table.rows.push(vec![Cell::text(count.to_string(), Face::Bold, 34), Cell::text(service, Face::Sans, 26)]);
    }
    paper.push(Block::Table(table));
    paper.space(10);
}
