//! Tables: columns that share the paper's width, rows on one baseline, the same in text.

use super::super::document::{Cell, Column, Table, Width};
use super::super::typeset::Set;
use super::super::{ornament, text};
use super::{COLUMN_DOTS, HEIGHT_MAX, Pass, shift};
use std::sync::Arc;

/// Share of a table's width that a filling column keeps, in percent.
const FILL_KEEPS: i32 = 27;
/// Side of a tick box, and height of capitals beside it, in dots.
const SIGN: f32 = 24.0;
const CAPITALS: f32 = 18.0;

impl Pass<'_> {
    pub(super) fn table(&mut self, table: &Table) {
        let gap = self.scaled(f32::from(table.gap));
        let widths = self.column_widths(table, gap);
        let row_gap = self.scaled(f32::from(table.row_gap));
        for (number, row) in table.rows.iter().enumerate() {
            if self.y > HEIGHT_MAX {
                self.page.cut_off = true;
                return;
            }
            if number > 0 {
                self.y += row_gap;
            }
            self.row(table, row, &widths, gap);
        }
        self.table_text(table);
    }

    fn row(&mut self, table: &Table, row: &[Cell], widths: &[i32], gap: i32) {
        let sets: Vec<Option<Arc<Set>>> = table
            .columns
            .iter()
            .enumerate()
            .map(|(at, _)| match row.get(at) {
                Some(Cell::Text(runs)) => Some(self.set_even(runs, widths[at])),
                _ => None,
            })
            .collect();
        let first = |set: &Set| set.lines.first().map_or(0, |line| line.baseline);
        // All cells stand on the baseline of the row's first line.
        let signs = row.iter().any(|c| matches!(c, Cell::Tick | Cell::Caution));
        let sign = self.scaled(SIGN);
        let baseline = sets.iter().flatten().map(|s| first(s)).max().unwrap_or(0).max(if signs { sign + 2 } else { 0 });
        let height = sets.iter().flatten().map(|s| baseline - first(s) + s.height).max().unwrap_or(0);
        let height = height.max(if signs { baseline + self.scaled(4.0) } else { 0 });
        self.room(height);
        let mut x = self.left;
        for (at, column) in table.columns.iter().enumerate() {
            if let Some(set) = &sets[at] {
                for line in &set.lines {
                    let lx = x + shift(widths[at], line.width, column.align);
                    line.draw(&mut self.page.dots, lx, self.y + baseline - first(set) + line.baseline);
                }
            }
            let map = match row.get(at) {
                Some(Cell::Tick) => Some(ornament::tick_box(sign as u32, self.scale)),
                Some(Cell::Caution) => Some(ornament::caution(sign as u32)),
                _ => None,
            };
            if let Some(map) = map {
                // Centred on the height of capitals of common list text.
                let drop = (sign - self.scaled(CAPITALS)) / 2;
                self.page.dots.lay(&map, x, self.y + baseline - sign + drop);
            }
            x += widths[at] + gap;
        }
        self.y += height;
    }

    fn column_widths(&mut self, table: &Table, gap: i32) -> Vec<i32> {
        let gaps = gap * (table.columns.len() as i32 - 1).max(0);
        let room = (self.width - gaps).max(table.columns.len() as i32);
        let mut widths = vec![0; table.columns.len()];
        for (at, column) in table.columns.iter().enumerate() {
            widths[at] = match column.width {
                Width::Dots(dots) => self.scaled(f32::from(dots)),
                Width::Fill => 0,
                Width::Fit => {
                    let cells = table.rows.iter().filter_map(|row| row.get(at));
                    let mut widest = 0;
                    for cell in cells {
                        widest = widest.max(match cell {
                            Cell::Text(runs) => self.set(runs, None).width,
                            Cell::Tick | Cell::Caution => self.scaled(SIGN),
                            Cell::Empty => 0,
                        });
                    }
                    widest
                }
            };
        }
        share(&mut widths, &table.columns, room);
        widths
    }

    /// The same table in columns of text.
    fn table_text(&mut self, table: &Table) {
        let count = table.columns.len();
        let words = |cell: Option<&Cell>| match cell {
            None | Some(Cell::Empty) => String::new(),
            Some(Cell::Text(runs)) => runs.iter().map(|run| run.text.as_str()).collect(),
            Some(Cell::Tick) => "[ ]".to_owned(),
            Some(Cell::Caution) => "(!)".to_owned(),
        };
        let room = (self.columns as i32 - (count as i32 - 1)).max(count as i32);
        let mut widths: Vec<i32> = (0..count)
            .map(|at| match table.columns[at].width {
                Width::Dots(dots) => (f32::from(dots) / COLUMN_DOTS).ceil() as i32,
                Width::Fill => 0,
                Width::Fit => table.rows.iter().map(|r| text::width(&words(r.get(at))) as i32).max().unwrap_or(0),
            })
            .collect();
        share(&mut widths, &table.columns, room);
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
