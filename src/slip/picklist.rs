//! The pick list: the morning's one sheet.

use super::day::{DayBrief, Fetch, Fold};
use super::document::*;
use super::sizes::*;
use super::words::{Form, key};

/// Questions on paper; with more of them a person is better served at the desk.
const DECIDE_MAX: usize = 40;

/// Columns of a name that fits beside the rest of its line at full size.
const NAME_COLUMNS: usize = 19;

/// Lays the day's list.
pub fn pick_list(day: &DayBrief, form: &Form, shop: &str) -> Document {
    let mut paper = Document::default();
    paper.sides(Run::new(shop.to_uppercase(), Face::Bold, SMALL), Run::new(&day.date, Face::Sans, SMALL));
    paper.space(4);
    let parcels = form.count(day.parcels, key::PARCEL, key::PARCELS);
    let orders = form.count(day.orders, key::ORDER, key::ORDERS);
    let count = form.fill(key::PARCELS_OF_ORDERS, &[("parcels", &parcels), ("orders", &orders)]);
    paper.sides(Run::new(form.word(key::PICK_LIST), Face::Bold, LARGE), Run::new(count, Face::Sans, WORDS));
    paper.space(4);
    paper.rule(5);
    paper.space(10);
    for remark in &day.remarks {
        paper.text(remark, Face::Bold, WORDS);
        paper.space(4);
    }
    decide(&mut paper, day, form);
    if day.parcels == 0 {
        paper.text(form.word(key::NOTHING), Face::Sans, HEADING);
        paper.space(12);
    }
    fetch(&mut paper, day, form);
    prepare(&mut paper, day, form);
    fold(&mut paper, day, form);
    runs_out(&mut paper, day, form);
    late(&mut paper, day, form);
    pack(&mut paper, day, form);
    hand_over(&mut paper, day, form);
    tomorrow(&mut paper, day, form);
    paper
}

/// Tick, shelf, quantity, thing, remark: one grid for all that is fetched, prepared and folded.
fn goods() -> Table {
    let columns = [Column::FIT, Column::FIT, Column::FIT.right(), Column::FILL, Column::FIT.right().under()];
    Table { gap: 8, row_gap: 7, dotted: true, grid: Some(Grid::Goods), ..Table::list(columns) }
}

/// Opens a section, with a line above all but the first.
fn section(paper: &mut Document, words: &str) {
    if !matches!(paper.blocks.last(), Some(Block::Space(_)) | None) {
        paper.space(12);
        paper.rule(2);
        paper.space(10);
    }
    paper.text(words, Face::Bold, HEADING);
    paper.space(5);
}

fn decide(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.decide.is_empty() {
        return;
    }
    section(paper, form.word(key::DECIDE_FIRST));
    let mut table = Table { gap: 20, row_gap: 6, ..Table::list([Column::FIT, Column::FILL]) };
    for decide in day.decide.iter().take(DECIDE_MAX) {
        let mut what = vec![Run::new(&decide.what, Face::Sans, WORDS)];
        what.push(Run::new(format!("\n{}", decide.hint), Face::Sans, SMALL));
        table.rows.push(vec![Cell::text(&decide.whose, Face::Bold, WORDS), Cell::Text(what)]);
    }
    paper.push(Block::Table(table));
    let more = day.decide.len().saturating_sub(DECIDE_MAX);
    if more > 0 {
        paper.text(form.fill(key::DECIDE_MORE, &[("n", &more.to_string())]), Face::Bold, WORDS);
    }
    paper.space(6);
    paper.text(form.word(key::DECIDE_HOW), Face::Sans, SMALL);
}

fn fetch(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.fetch.is_empty() {
        return;
    }
    section(paper, form.word(key::FETCH));
    let mut table = goods();
    table.rows.extend(day.fetch.iter().map(|fetch| fetch_row(fetch, Cell::Tick)));
    paper.push(Block::Table(table));
}

fn fetch_row(fetch: &Fetch, tick: Cell) -> Vec<Cell> {
    vec![
        tick,
        Cell::text(&fetch.shelf, Face::Bold, WORDS),
        Cell::Quantity(fetch.quantity),
        Cell::text(&fetch.name, Face::Sans, WORDS),
        Cell::text(&fetch.batch, Face::Sans, SMALL),
    ]
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
        paper.text(what, Face::Bold, WORDS);
        paper.space(2);
        let mut table = goods();
        for (count, name) in products {
            let name = Cell::text(name, Face::Sans, WORDS);
            table.rows.push(vec![Cell::Tick, Cell::Empty, Cell::Quantity(*count), name]);
        }
        paper.push(Block::Table(table));
    }
}

fn fold(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.fold.is_empty() {
        return;
    }
    section(paper, form.word(key::FOLD));
    let mut table = goods();
    table.rows.extend(day.fold.iter().map(|fold| fold_row(fold, Cell::Tick)));
    paper.push(Block::Table(table));
}

fn fold_row(fold: &Fold, tick: Cell) -> Vec<Cell> {
    vec![
        tick,
        Cell::Empty,
        Cell::Quantity(u32::try_from(fold.count).unwrap_or(u32::MAX)),
        Cell::text(&fold.container, Face::Sans, WORDS),
        Cell::text(fold.inside.join(", "), Face::Sans, SMALL),
    ]
}

fn runs_out(paper: &mut Document, day: &DayBrief, form: &Form) {
    if day.runs_out.is_empty() {
        return;
    }
    section(paper, form.word(key::RUNS_OUT));
    for (what, end) in &day.runs_out {
        paper.text(what, Face::Sans, WORDS);
        paper.text(end, Face::Bold, WORDS);
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
            Cell::text(number, Face::Bold, WORDS),
            Cell::text(name, Face::Sans, WORDS),
            Cell::text(when, Face::Sans, SMALL),
        ]);
    }
    paper.push(Block::Table(table));
}

fn pack(paper: &mut Document, day: &DayBrief, form: &Form) {
    for group in &day.pack {
        let n = group.parcels.len().to_string();
        section(paper, &form.fill(key::PACK, &[("container", &group.container), ("n", &n)]));
        let columns = [Column::FIT, Column::FIT, Column::FILL, Column::FIT.under(), Column::FIT.right().under()];
        let grid = Some(Grid::Parcels);
        let mut table = Table { gap: 10, row_gap: 7, dotted: true, grid, ..Table::list(columns) };
        for line in &group.parcels {
            let mut number = vec![Run::new(&line.number, Face::Bold, WORDS)];
            for below in [&line.part, &line.saves].into_iter().filter(|below| !below.is_empty()) {
                number.push(Run::new(format!("\n{below}"), Face::Sans, SMALL));
            }
            let small = |words: &str| Cell::text(words, Face::Sans, SMALL);
            // A long name rather a little smaller than in three lines.
            let name_size = if super::text::width(&line.name) > NAME_COLUMNS { SMALL } else { WORDS };
            table.rows.push(vec![
                Cell::Tick,
                Cell::Text(number),
                Cell::text(&line.name, Face::Sans, name_size),
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
    let mut table = goods();
    for (service, count) in &day.tally {
        let count = Cell::Quantity(u32::try_from(*count).unwrap_or(u32::MAX));
        table.rows.push(vec![Cell::Tick, Cell::Empty, count, Cell::text(service, Face::Sans, WORDS)]);
    }
    paper.push(Block::Table(table));
}

/// What the next day will take, as far as its orders are there already. Nothing to tick: it is not today's work.
fn tomorrow(paper: &mut Document, day: &DayBrief, form: &Form) {
    let Some(next) = &day.tomorrow else {
        paper.space(10);
        return;
    };
    section(paper, form.word(key::TOMORROW));
    let parcels = form.count(next.parcels, key::PARCEL, key::PARCELS);
    paper.text(form.fill(key::BEYOND, &[("parcels", &parcels)]), Face::Sans, WORDS);
    if day.beyond > next.parcels {
        let parcels = form.count(day.beyond - next.parcels, key::PARCEL, key::PARCELS);
        paper.text(form.fill(key::BEYOND_MORE, &[("parcels", &parcels)]), Face::Sans, SMALL);
    }
    paper.space(4);
    let mut table = goods();
    table.rows.extend(next.fetch.iter().map(|fetch| fetch_row(fetch, Cell::Empty)));
    table.rows.extend(next.fold.iter().map(|fold| fold_row(fold, Cell::Empty)));
    paper.push(Block::Table(table));
    if !next.short.is_empty() {
        paper.space(4);
        paper.text(form.fill(key::TOMORROW_SHORT, &[("supplies", &next.short.join(", "))]), Face::Bold, WORDS);
    }
    paper.space(10);
}
