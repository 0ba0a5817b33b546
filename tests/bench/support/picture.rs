//! Milestones as a table for programs, and as a picture: small panels over the count of past
//! orders, which runs by powers of ten.

use super::life::Milestone;
use std::fmt::Write as _;

const PANEL: (f64, f64) = (420.0, 250.0);
const MARGIN: (f64, f64, f64, f64) = (62.0, 34.0, 30.0, 40.0);
const INKS: [&str; 4] = ["#20466b", "#b3541e", "#3f7d4e", "#7a5195"];

/// A line of a panel: its name, and a value for each milestone.
type Line<'a> = (&'a str, fn(&Milestone) -> f64);

/// One panel: title, unit, lines.
type Panel<'a> = (&'a str, &'a str, Vec<Line<'a>>);

fn mb(bytes: u64) -> f64 {
    bytes as f64 / 1e6
}

fn panels() -> Vec<Panel<'static>> {
    vec![
        (
            "what one order costs",
            "ms",
            vec![("processor", |m| m.cost.processor_us / 1000.0), ("time on the clock", |m| m.cost.wall_us / 1000.0)],
        ),
        (
            "from start to serving",
            "ms",
            vec![
                ("clean stop", |m| m.clean.ready_ms),
                ("kill -9", |m| m.unclean.ready_ms),
                ("index, after kill -9", |m| m.unclean.index_ms),
            ],
        ),
        (
            "memory",
            "MB",
            vec![("at rest", |m| mb(m.clean.rest_bytes)), ("at rest after kill -9", |m| mb(m.unclean.rest_bytes))],
        ),
        (
            "disk: what stays the same",
            "MB",
            vec![
                ("journal and carry", |m| mb(m.disk.journal + m.disk.history)),
                ("one snapshot", |m| mb(m.disk.one_snapshot)),
                ("index", |m| mb(m.disk.index)),
            ],
        ),
        (
            "disk: a past order",
            "kB",
            vec![
                ("facts", |m| m.disk.facts as f64 / 1e3 / m.past.max(1) as f64),
                ("persons", |m| m.disk.people as f64 / 1e3 / m.past.max(1) as f64),
            ],
        ),
        ("files", "thousands", vec![("all", |m| m.disk.files as f64 / 1e3)]),
    ]
}

/// The figures, one line a milestone.
pub fn csv(found: &[Milestone]) -> String {
    let mut text = "past,open,journal,snapshots,one_snapshot,facts,people,keys,history,index,aside,files,\
                    processor_us,wall_us,clean_ready_ms,clean_index_ms,clean_rest,clean_peak,\
                    kill_ready_ms,kill_index_ms,kill_rest,kill_peak\n"
        .to_owned();
    for Milestone { past, open, disk: d, cost, clean, unclean } in found {
        let _ = write!(text, "{past},{open},{},{},{},{},{},", d.journal, d.snapshot, d.one_snapshot, d.facts, d.people);
        let _ = write!(text, "{},{},{},{},{},", d.keys, d.history, d.index, d.aside, d.files);
        let _ = write!(text, "{:.0},{:.0}", cost.processor_us, cost.wall_us);
        for start in [clean, unclean] {
            let _ =
                write!(text, ",{:.0},{:.0},{},{}", start.ready_ms, start.index_ms, start.rest_bytes, start.peak_bytes);
        }
        text.push('\n');
    }
    text
}

/// The picture.
pub fn svg(found: &[Milestone]) -> String {
    let panels = panels();
    let (columns, rows) = (2, panels.len().div_ceil(2));
    let (width, height) = (PANEL.0 * columns as f64, PANEL.1 * rows as f64 + 30.0);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" font-family=\"sans-serif\" font-size=\"11\">\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#fbfaf7\"/>\n\
         <text x=\"{}\" y=\"22\" font-size=\"14\" fill=\"#222\">A long life: {} past orders</text>\n",
        MARGIN.0,
        found.last().map_or(0, |last| last.past)
    );
    for (at, panel) in panels.iter().enumerate() {
        let corner = ((at % columns) as f64 * PANEL.0, (at / columns) as f64 * PANEL.1 + 30.0);
        draw(&mut out, corner, panel, found);
    }
    out.push_str("</svg>\n");
    out
}

/// A round figure at or above `value`.
fn round_up(value: f64) -> f64 {
    let power = 10f64.powf(value.max(1e-9).log10().floor());
    [1.0, 2.0, 2.5, 5.0, 10.0].iter().map(|step| step * power).find(|top| *top >= value).unwrap_or(value)
}

fn draw(out: &mut String, corner: (f64, f64), (title, unit, lines): &Panel<'_>, found: &[Milestone]) {
    let (left, top) = (corner.0 + MARGIN.0, corner.1 + MARGIN.1);
    let (width, height) = (PANEL.0 - MARGIN.0 - MARGIN.2, PANEL.1 - MARGIN.1 - MARGIN.3);
    let most = lines.iter().flat_map(|(_, of)| found.iter().map(of)).fold(0.0, f64::max);
    let ceiling = round_up(most * 1.15);
    let logs: Vec<f64> = found.iter().map(|m| (m.past.max(1) as f64).log10()).collect();
    let (first, last) = (logs.first().copied().unwrap_or(0.0).floor(), logs.last().copied().unwrap_or(1.0).ceil());
    let x = |log: f64| left + (log - first) / (last - first).max(1.0) * width;
    let y = |value: f64| top + height - value / ceiling * height;
    let _ = writeln!(
        out,
        "<text x=\"{left}\" y=\"{}\" fill=\"#222\" font-weight=\"bold\">{title}, {unit}</text>",
        top - 12.0
    );
    for step in 0..=4 {
        let value = ceiling * f64::from(step) / 4.0;
        let at = y(value);
        let _ = writeln!(out, "<path d=\"M{left} {at:.1}h{width}\" stroke=\"#ddd\"/>");
        let figure = format!("{value:.2}");
        let figure = figure.trim_end_matches('0').trim_end_matches('.');
        let _ = writeln!(
            out,
            "<text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\" fill=\"#555\">{figure}</text>",
            left - 6.0,
            at + 4.0
        );
    }
    let mut power = first;
    while power <= last {
        let at = x(power);
        let _ = writeln!(
            out,
            "<text x=\"{at:.1}\" y=\"{:.1}\" text-anchor=\"middle\" fill=\"#555\">{}</text>",
            top + height + 16.0,
            10f64.powf(power)
        );
        power += 1.0;
    }
    for (number, (name, of)) in lines.iter().enumerate() {
        let ink = INKS[number % INKS.len()];
        let points: Vec<String> =
            found.iter().zip(&logs).map(|(m, log)| format!("{:.1},{:.1}", x(*log), y(of(m)))).collect();
        let _ = writeln!(
            out,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{ink}\" stroke-width=\"2\"/>",
            points.join(" ")
        );
        for point in &points {
            let (px, py) = point.split_once(',').unwrap_or(("0", "0"));
            let _ = writeln!(out, "<circle cx=\"{px}\" cy=\"{py}\" r=\"2.6\" fill=\"{ink}\"/>");
        }
        let at = left + number as f64 * width / lines.len() as f64;
        let below = top + height + 32.0;
        let _ = writeln!(out, "<path d=\"M{at:.1} {:.1}h14\" stroke=\"{ink}\" stroke-width=\"2\"/>", below - 4.0);
        let _ = writeln!(out, "<text x=\"{:.1}\" y=\"{below:.1}\" fill=\"#333\">{name}</text>", at + 18.0);
    }
}
