//! Tables: columns that share the paper's width, rows on one baseline, the same in text.

use super::super::bitmap::{Area, Bitmap};
use super::super::document::{Block, Cell, Column, Face, Run, Table, Width};
use super::super::typeset::Set;
use super::super::{ornament, text};
use super::{COLUMN_DOTS, HEIGHT_MAX, Pass, shift};
use std::sync::Arc;

/// Share of a table's width that a filling column keeps, in percent.
const FILL_KEEPS: i32 = 27;
/// Side of a tick box, and height of capitals beside it, in dots.
const SIGN: f32 = 24.0;
const CAPITALS: f32 = 18.0;
/// Height of the em of a quantity, and of the sign after it.
const QUANTITY: u16 = 32;
const TIMES: u16 = 22;
/// Height of its digits, in percent of the em.
const DIGITS: f32 = 0.73;
/// White around a quantity's digits, within the black where there is one.
const AROUND: f32 = 5.0;
/// From one dot of a dotted line to the next.
const DOTTED_STEP: i32 = 6;

/// A cell, set.
enum Laid {
    Empty,
    Words(Arc<Set>),
    Sign(Bitmap),
    Quantity { number: Arc<Set>, times: Arc<Set>, several: bool },
}

/// Widths of a table's columns.
#[derive(Clone)]
pub(super) struct Widths {
    /// In dots.
    dots: Vec<i32>,
    /// In columns of text.
    text: Vec<i32>,
}

impl Pass<'_> {
    pub(super) fn table(&mut self, table: &Table) {
        let gap = self.scaled(f32::from(table.gap));
        let widths = self.widths(table, gap);
        let row_gap = self.scaled(f32::from(table.row_gap));
        for (number, row) in table.rows.iter().enumerate() {
            if self.y > HEIGHT_MAX {
                self.page.cut_off = true;
                return;
            }
            if number > 0 {
                self.y += row_gap;
                if table.dotted {
                    self.dotted_line(self.y - row_gap / 2);
                }
            }
            self.row(table, row, &widths.dots, gap);
        }
        self.table_text(table, widths.text);
    }

    /// Only in words.
    pub(super) fn table_in_words(&mut self, table: &Table) {
        let widths = self.text_widths(table, &table.rows.iter().collect::<Vec<_>>());
        self.table_text(table, widths);
    }

    /// The widths of its columns, the same for every table of its grid.
    fn widths(&mut self, table: &Table, gap: i32) -> Widths {
        let of = |pass: &mut Self, rows: &[&Vec<Cell>]| Widths {
            dots: pass.column_widths(table, rows, gap),
            text: pass.text_widths(table, rows),
        };
        let Some(grid) = table.grid else { return of(self, &table.rows.iter().collect::<Vec<_>>()) };
        if let Some(known) = self.grids.get(&grid) {
            return known.clone();
        }
        let document = self.document;
        let kin = document.blocks.iter().filter_map(|block| match block {
            Block::Table(other) if other.grid == Some(grid) => Some(other),
            _ => None,
        });
        let narrow: Vec<Table> = if self.is_narrow() { kin.clone().map(Table::narrowed).collect() } else { Vec::new() };
        let rows: Vec<&Vec<Cell>> = match self.is_narrow() {
            true => narrow.iter().flat_map(|other| &other.rows).collect(),
            false => kin.flat_map(|other| &other.rows).collect(),
        };
        let found = of(self, &rows);
        self.grids.insert(grid, found.clone());
        found
    }

    fn dotted_line(&mut self, y: i32) {
        self.room(0);
        self.page.dots.grow((y + 1).max(0) as u32);
        for x in (self.left..self.left + self.width).step_by(self.scaled(DOTTED_STEP as f32).max(2) as usize) {
            self.page.dots.fill(Area { x, y, width: self.scaled(1.0).max(1), height: self.scaled(1.0).max(1) });
        }
    }

    fn laid(&mut self, cell: Option<&Cell>, width: Option<i32>) -> Laid {
        let sign = self.scaled(SIGN) as u32;
        match cell {
            None | Some(Cell::Empty) => Laid::Empty,
            Some(Cell::Text(runs)) => {
                // Mostly it fits as it is, and as it is it has been set for the columns' widths.
                let natural = self.set(runs, None);
                Laid::Words(match width {
                    Some(width) if natural.width > width => self.set_even(runs, width),
                    _ => natural,
                })
            }
            Some(Cell::Tick) => Laid::Sign(ornament::tick_box(sign, self.scale)),
            Some(Cell::Caution) => Laid::Sign(ornament::caution(sign)),
            Some(Cell::Quantity(n)) => {
                let face = if *n > 1 { Face::Heavy } else { Face::Sans };
                Laid::Quantity {
                    number: self.set(&[Run::new(n.to_string(), face, QUANTITY)], None),
                    times: self.set(&[Run::new("×", Face::Sans, TIMES)], None),
                    several: *n > 1,
                }
            }
        }
    }

    fn row(&mut self, table: &Table, row: &[Cell], widths: &[i32], gap: i32) {
        let cells: Vec<Laid> = (0..table.columns.len()).map(|at| self.laid(row.get(at), Some(widths[at]))).collect();
        let around = self.scaled(AROUND);
        let sign = self.scaled(SIGN);
        // All cells stand on the baseline of the row's first line.
        let above = cells.iter().map(|cell| match cell {
            Laid::Empty => 0,
            Laid::Words(set) => first(set),
            Laid::Sign(_) => sign + 2,
            Laid::Quantity { number, .. } => first(number),
        });
        let baseline = above.max().unwrap_or(0);
        let below = cells.iter().map(|cell| match cell {
            Laid::Empty => 0,
            Laid::Words(set) => baseline - first(set) + set.height,
            Laid::Sign(_) => baseline + self.scaled(4.0),
            Laid::Quantity { .. } => baseline + around + 1,
        });
        let height = below.max().unwrap_or(0);
        self.room(height);
        let mut x = self.left;
        for ((column, cell), width) in table.columns.iter().zip(&cells).zip(widths) {
            let feet = self.y + baseline;
            match cell {
                Laid::Empty => {}
                Laid::Words(set) => {
                    for line in &set.lines {
                        let at = x + shift(*width, line.width, column.align);
                        line.draw(&mut self.page.dots, at, feet - first(set) + line.baseline);
                    }
                }
                // Centred on the height of capitals of common list text.
                Laid::Sign(map) => self.page.dots.lay(map, x, feet - sign + (sign - self.scaled(CAPITALS)) / 2),
                Laid::Quantity { number, times, several } => {
                    let at = x + shift(*width, self.quantity_width(number, times), column.align);
                    for (set, at) in [(number, at + around), (times, at + 3 * around + number.width)] {
                        set.lines.iter().for_each(|line| line.draw(&mut self.page.dots, at, feet));
                    }
                    if *several {
                        let digits = (f32::from(QUANTITY) * DIGITS * self.scale).round() as i32;
                        let (y, height) = (feet - digits - around, digits + 2 * around);
                        self.invert_rounded(Area { x: at, y, width: number.width + 2 * around, height });
                    }
                }
            }
            x += width + gap;
        }
        self.y += height;
    }

    fn quantity_width(&self, number: &Set, times: &Set) -> i32 {
        number.width + 3 * self.scaled(AROUND) + times.width
    }

    fn invert_rounded(&mut self, area: Area) {
        for row in 0..area.height {
            let inset = match row.min(area.height - 1 - row) {
                0 => 4,
                1 => 2,
                2 | 3 => 1,
                _ => 0,
            };
            let (x, width) = (area.x + inset, area.width - 2 * inset);
            self.page.dots.invert(Area { x, y: area.y + row, width, height: 1 });
        }
    }

    fn column_widths(&mut self, table: &Table, rows: &[&Vec<Cell>], gap: i32) -> Vec<i32> {
        let gaps = gap * (table.columns.len() as i32 - 1).max(0);
        let room = (self.width - gaps).max(table.columns.len() as i32);
        let mut widths = vec![0; table.columns.len()];
        for (at, column) in table.columns.iter().enumerate() {
            widths[at] = match column.width {
                Width::Dots(dots) => self.scaled(f32::from(dots)),
                Width::Fill => 0,
                Width::Fit => {
                    let mut widest = 0;
                    for cell in rows.iter().map(|row| row.get(at)) {
                        widest = widest.max(match self.laid(cell, None) {
                            Laid::Empty => 0,
                            Laid::Words(set) => set.width,
                            Laid::Sign(map) => map.width() as i32,
                            Laid::Quantity { number, times, .. } => self.quantity_width(&number, &times),
                        });
                    }
                    widest
                }
            };
        }
        share(&mut widths, &table.columns, room);
        widths
    }

    fn text_widths(&self, table: &Table, rows: &[&Vec<Cell>]) -> Vec<i32> {
        let count = table.columns.len();
        let room = (self.columns as i32 - (count as i32 - 1)).max(count as i32);
        let mut widths: Vec<i32> = (0..count)
            .map(|at| match table.columns[at].width {
                Width::Dots(dots) => (f32::from(dots) / COLUMN_DOTS).ceil() as i32,
                Width::Fill => 0,
                Width::Fit => rows.iter().map(|row| text::width(&words(row.get(at))) as i32).max().unwrap_or(0),
            })
            .collect();
        share(&mut widths, &table.columns, room);
        widths
    }

    /// The same table in columns of text.
    fn table_text(&mut self, table: &Table, widths: Vec<i32>) {
        let count = table.columns.len();
        for row in &table.rows {
            let cells: Vec<Vec<String>> =
                (0..count).map(|at| text::wrap(&words(row.get(at)), widths[at].max(1) as usize)).collect();
            let height = cells.iter().map(Vec::len).max().unwrap_or(0);
            for line in 0..height {
                let parts: Vec<String> = (0..count)
                    .filter(|at| widths[*at] > 0)
                    .map(|at| {
                        let part = cells[at].get(line).map_or("", String::as_str);
                        text::pad(part, widths[at] as usize, table.columns[at].align)
                    })
                    .collect();
                self.page.lines.push(parts.join(" ").trim_end().to_owned());
            }
        }
    }
}

/// What a cell says in text.
fn words(cell: Option<&Cell>) -> String {
    match cell {
        None | Some(Cell::Empty) => String::new(),
        Some(Cell::Text(runs)) => runs.iter().map(|run| run.text.as_str()).collect(),
        Some(Cell::Tick) => "[ ]".to_owned(),
        Some(Cell::Quantity(n)) => format!("{n}\u{a0}×"),
        Some(Cell::Caution) => "(!)".to_owned(),
    }
}

fn first(set: &Set) -> i32 {
    set.lines.first().map_or(0, |line| line.baseline)
}

/// Makes columns fill `room` exactly: too wide fitting ones give way, the widest first, and
/// filling ones share the rest.
fn share(widths: &mut [i32], columns: &[Column], room: i32) {
    let fills = columns.iter().filter(|c| c.width == Width::Fill).count() as i32;
    let bound = if fills > 0 { room * (100 - FILL_KEEPS) / 100 } else { room };
    while widths.iter().sum::<i32>() > bound {
        let over = widths.iter().sum::<i32>() - bound;
        let Some(widest) = (0..widths.len()).max_by_key(|at| widths[*at]) else { return };
        if widths[widest] <= 1 {
            return;
        }
        let next = widths.iter().enumerate().filter(|(at, _)| *at != widest).map(|(_, w)| *w).max().unwrap_or(0);
        widths[widest] -= over.min((widths[widest] - next).max(1)).min(widths[widest] - 1);
    }
    if fills == 0 {
        return;
    }
    let rest = room - widths.iter().sum::<i32>();
    for (at, column) in columns.iter().enumerate() {
        if column.width == Width::Fill {
            widths[at] = rest / fills;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_share_the_width_and_never_exceed_it() {
        let column = |width| Column { width, ..Column::FIT };
        let table = [
            (vec![40, 0], vec![Width::Fit, Width::Fill], vec![40, 60]),
            (vec![500, 0], vec![Width::Fit, Width::Fill], vec![73, 27]),
            (vec![90, 20, 0], vec![Width::Fit, Width::Fit, Width::Fill], vec![53, 20, 27]),
            (vec![90, 90], vec![Width::Fit, Width::Fit], vec![50, 50]),
        ];
        for (mut widths, kinds, expected) in table {
            let columns: Vec<Column> = kinds.into_iter().map(column).collect();
            share(&mut widths, &columns, 100);
            assert_eq!(widths, expected);
        }
    }
}
