//! A comparison as a picture: one bar a situation, in parts, on a common scale from nothing.

use super::account::{Account, Comparison, Parts};
use std::fmt::Write;

const WIDTH: f64 = 860.0;
const MARGIN: f64 = 32.0;
/// Room for the total and the difference beside the longest bar.
const BESIDE: f64 = 150.0;
const TOP: f64 = 96.0;
/// From one bar to the next, its name above it.
const STEP: f64 = 62.0;
const BAR: f64 = 26.0;
const FOOT: f64 = 54.0;
/// Letters of a situation's name; more would run out of the picture.
const NAME_CHARS_MAX: usize = 100;

/// A part of the cost.
type Of = fn(&Parts) -> i64;

/// Parts with their inks, told apart in grey, too.
const PARTS: [(&str, &str, Of); 6] = [
    ("postage", "#1f4e79", |parts| parts.postage),
    ("surcharges", "#c8642b", |parts| parts.surcharges),
    ("containers", "#6fa287", |parts| parts.containers),
    ("supplies", "#d9b44a", |parts| parts.supplies),
    ("labour", "#444444", |parts| parts.labour),
    ("contract", "#8a6a9e", |parts| parts.contract),
];

/// The picture as SVG.
pub fn svg(comparison: &Comparison, workshop: &str) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = draw(&mut out, comparison, workshop);
    out
}

fn draw(out: &mut String, comparison: &Comparison, workshop: &str) -> std::fmt::Result {
    let bars = comparison.accounts.len() as f64;
    let foot = TOP + bars * STEP;
    let height = foot + FOOT;
    let most = comparison.accounts.iter().map(|account| account.cost.total()).max().unwrap_or(0).max(1);
    let step = round_step(most);
    let room = WIDTH - 2.0 * MARGIN - BESIDE;
    let scale = room / most as f64;
    let currency = comparison.currency;
    writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height}\" viewBox=\"0 0 {WIDTH} {height}\" \
         font-family=\"Helvetica, Arial, 'DejaVu Sans', sans-serif\" font-size=\"13\" fill=\"#222\">"
    )?;
    writeln!(out, "<rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#fffdf8\"/>")?;
    let orders = super::table::count(comparison.orders as i64, "order");
    text(out, MARGIN, 34.0, "font-size=\"19\" font-weight=\"bold\"", &format!("What {orders} cost, in {currency}"))?;
    let placed = match comparison.placed {
        Some((first, last)) if first != last => format!("{workshop}, orders placed from {first} to {last}"),
        Some((day, _)) => format!("{workshop}, orders placed on {day}"),
        None => workshop.to_owned(),
    };
    text(out, MARGIN, 54.0, "fill=\"#666\"", &placed)?;
    legend(out, comparison)?;
    // Lines of the scale lie behind the bars.
    let mut value = 0;
    while value <= most {
        let x = MARGIN + value as f64 * scale;
        writeln!(
            out,
            "<line x1=\"{x:.1}\" y1=\"{TOP}\" x2=\"{x:.1}\" y2=\"{:.1}\" stroke=\"{}\"/>",
            foot + 4.0,
            if value == 0 { "#555" } else { "#e2ddd0" }
        )?;
        let anchor = "font-size=\"11\" fill=\"#666\" text-anchor=\"middle\"";
        text(out, x, foot + 20.0, anchor, &comparison.figure(value))?;
        value = value.saturating_add(step);
    }
    for (index, account) in comparison.accounts.iter().enumerate() {
        bar(out, comparison, account, TOP + index as f64 * STEP, scale)?;
    }
    today(out, comparison, foot, scale)?;
    writeln!(out, "</svg>")
}

fn legend(out: &mut String, comparison: &Comparison) -> std::fmt::Result {
    let mut x = MARGIN;
    for (name, ink, of) in PARTS {
        if comparison.accounts.iter().all(|account| of(&account.cost) == 0) {
            continue;
        }
        writeln!(out, "<rect x=\"{x:.1}\" y=\"68\" width=\"12\" height=\"12\" fill=\"{ink}\"/>")?;
        text(out, x + 18.0, 79.0, "", name)?;
        x += 46.0 + name.len() as f64 * 7.2;
    }
    Ok(())
}

fn bar(out: &mut String, comparison: &Comparison, account: &Account, top: f64, scale: f64) -> std::fmt::Result {
    let name: String = account.name.chars().take(NAME_CHARS_MAX).collect();
    let middle = top + 24.0 + BAR / 2.0 + 4.5;
    let mut x = MARGIN;
    for (part, ink, of) in PARTS {
        let value = of(&account.cost).max(0);
        if value == 0 {
            continue;
        }
        let wide = value as f64 * scale;
        let money = comparison.figure(value);
        writeln!(
            out,
            "<rect x=\"{x:.2}\" y=\"{:.1}\" width=\"{wide:.2}\" height=\"{BAR}\" fill=\"{ink}\"><title>{part} {money}</title></rect>",
            top + 24.0
        )?;
        // Only where it has room.
        if wide > money.len() as f64 * 7.5 + 12.0 {
            let light = if matches!(part, "postage" | "contract" | "surcharges") { "#fff" } else { "#222" };
            text(
                out,
                x + wide / 2.0,
                middle,
                &format!("font-size=\"11.5\" fill=\"{light}\" text-anchor=\"middle\""),
                &money,
            )?;
        }
        x += wide;
    }
    text(out, MARGIN + 5.0, top + 17.0, "", &name)?;
    text(out, x + 8.0, middle, "font-weight=\"bold\"", &comparison.figure(account.cost.total()))?;
    if account.unplanned > 0 {
        let lacking = format!("{} without a parcel", super::table::count(account.unplanned, "order"));
        text(out, x + 8.0, top + 17.0, "font-size=\"11\" fill=\"#a3371f\"", &lacking)?;
    }
    let Some(against) = &account.against else { return Ok(()) };
    let ink = match against.difference {
        0 => "#666",
        more if more > 0 => "#a3371f",
        _ => "#2c6e49",
    };
    let beside = x + 16.0 + comparison.figure(account.cost.total()).len() as f64 * 8.0;
    text(out, beside, middle, &format!("fill=\"{ink}\""), &comparison.signed(against.difference))?;
    Ok(())
}

/// Where today's bar ends, across all others.
fn today(out: &mut String, comparison: &Comparison, foot: f64, scale: f64) -> std::fmt::Result {
    let Some(first) = comparison.accounts.first() else { return Ok(()) };
    let x = MARGIN + first.cost.total() as f64 * scale;
    writeln!(
        out,
        "<line x1=\"{x:.1}\" y1=\"{:.1}\" x2=\"{x:.1}\" y2=\"{foot:.1}\" stroke=\"#222\" stroke-dasharray=\"3 4\" opacity=\"0.55\"/>",
        TOP + 24.0 + BAR
    )
}

/// A round step of the scale: four to nine of them.
fn round_step(most: i64) -> i64 {
    let mut power = 1_i64;
    while most / power >= 10 {
        power *= 10;
    }
    let steps = most / power;
    match steps {
        0 | 1 => (power / 4).max(1),
        2 | 3 => (power / 2).max(1),
        _ => power,
    }
}

fn text(out: &mut String, x: f64, y: f64, how: &str, words: &str) -> std::fmt::Result {
    let how = if how.is_empty() { String::new() } else { format!(" {how}") };
    writeln!(out, "<text x=\"{x:.1}\" y=\"{y:.1}\"{how}>{}</text>", escaped(words))
}

/// Names are the workshop's own words, which may hold anything.
fn escaped(text: &str) -> String {
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    plain.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
