//! `dawnslip fit`: do these things go into that box, and how?

use super::bulk::answer_lines;
use super::screen::{Fault, Screen};
use super::wiring;
use super::{Ended, Folders, Outcome};
use crate::model::{Dims, Length, NM_PER_MM, QUANTITY_MAX, QuantityError, Units, mm_near};
use crate::plan::fit::bulk::{Answer, Instance};
use crate::plan::fit::loading::LOADED_MAX;
use crate::plan::fit::{At, Fit, Laws, Piece, ROUNDS_LONG, Sides, Turning, exact, prove};
use crate::plan::quote;
use crate::slip::packing::{self, Block};
use serde_json::json;
use std::path::PathBuf;
use std::time::Instant;

/// Whether things go into a box, and how they lie in it
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Says yes with a drawing, no with the reason (proved), or that it could not find out.
Things are products of the configuration, or sides; cushions are not counted here.

  dawnslip fit --box 230x130x80mm 4*bowl 2*tin
  dawnslip fit --box 12x9x4in 3*5x4x2in
  dawnslip fit --box 230x130x80mm 4*bowl --picture packing.png

By the line, for programs: bare geometry in whole millimetres, an answer a line.
  {\"id\":\"a\",\"container\":[230,130,80],\"items\":[{\"dims\":[90,90,70],\"turn\":\"any\"}]}
  turn: any, or upright (the third number stays upright)

  dawnslip fit --ndjson questions.ndjson")]
pub struct FitOptions {
    /// Sides inside: 230x130x80mm
    #[arg(long = "box", value_name = "SIDES", required_unless_present = "ndjson")]
    room: Option<String>,
    /// What is to go in: COUNT*PRODUCT or COUNT*SIDES
    #[arg(value_name = "THINGS", required_unless_present = "ndjson")]
    things: Vec<String>,
    /// Draw how it lies into a picture
    #[arg(long, value_name = "FILE.png")]
    picture: Option<PathBuf>,
    /// Questions by the line; - for standard input
    #[arg(long, value_name = "FILE", conflicts_with_all = ["room", "things", "picture"])]
    ndjson: Option<PathBuf>,
}

impl FitOptions {
    /// Decides it.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        if let Some(file) = &self.ndjson {
            return answer_lines(file, screen, |line| {
                let instance = Instance::read(line)?;
                let begun = Instant::now();
                let answer = instance.decide();
                let mut answer = serde_json::to_value(answer).map_err(|error| error.to_string())?;
                answer["micros"] = json!(u64::try_from(begun.elapsed().as_micros()).unwrap_or(u64::MAX));
                Ok(answer.to_string())
            });
        }
        let room = sides(self.room.as_deref().unwrap_or_default())?.sides().map(|side| side.nm);
        let mut named = Vec::new();
        for thing in &self.things {
            named.extend(read_things(thing, at)?);
        }
        let pieces: Vec<Piece> = named.iter().map(|(_, piece)| piece.clone()).collect();
        let mut nodes = 0;
        let verdict = exact::in_nanometres(room, &pieces, |room, pieces| {
            let (verdict, more) = prove(room, &pieces, Laws::Bench, ROUNDS_LONG);
            nodes += more;
            verdict
        });
        if at.json {
            screen.say(&as_json(&Answer::new(None, &verdict, nodes)).to_string());
        } else {
            screen.say_with_head(&told(&verdict, room, &named), matches!(verdict, Fit::Fits(_)));
        }
        if let (Fit::Fits(placed), Some(file)) = (&verdict, &self.picture) {
            let drawn = packing::drawing(room.map(mm_near), &blocks(placed), packing::WIDE);
            let png = crate::slip::picture::png(&drawn)
                .map_err(|error| Fault::new("the picture cannot be made", error.to_string(), "leave out --picture"))?;
            std::fs::write(file, png).map_err(|error| {
                Fault::new(format!("{} cannot be written", file.display()), error.to_string(), "name another file")
            })?;
        }
        Ok(if matches!(verdict, Fit::Fits(_)) { Outcome::Well } else { Outcome::Problem })
    }
}

/// `230x130x80mm`, in any unit of length.
fn sides(text: &str) -> Result<Dims, Fault> {
    text.parse().map_err(|error: QuantityError| {
        Fault::new(format!("{text:?} are no three sides"), error.to_string(), "write them like 230x130x80mm")
    })
}

/// `4*bowl` or `3*5x4x2in`: each piece with its name.
fn read_things(text: &str, at: &Folders) -> Result<Vec<(String, Piece)>, Fault> {
    let (count, what) = text.split_once('*').unwrap_or(("1", text));
    let count: u32 = count.trim().parse().ok().filter(|count| (1..=QUANTITY_MAX).contains(count)).ok_or_else(|| {
        Fault::new(format!("{text:?} is no COUNT*PRODUCT"), "", "write it like 4*bowl, or 3*90x90x70mm")
    })?;
    let is_sides = what.contains('x') && what.starts_with(|c: char| c.is_ascii_digit());
    let (name, piece) = if is_sides {
        let sides = sides(what)?;
        (sides.to_string(), Piece::plain(sides.sides().map(|side| side.nm), Turning::Any))
    } else {
        let workshop = wiring::workshop(at)?;
        let unknown =
            |error: quote::QuoteError| Fault::new("no such thing", error.to_string(), "look into products.toml");
        let product = quote::product_called(what.trim(), &workshop).map_err(unknown)?;
        let dims = product.dims.ok_or_else(|| {
            Fault::new(format!("{} has no sides", product.name), "", "measure it and write dims into products.toml")
        })?;
        let mut piece = Piece::plain(dims.sides().map(|side| side.nm), product.turn.into());
        (piece.fragile, piece.stack, piece.by_wall) = (product.fragile, product.stack, product.by_wall);
        (product.name.clone(), piece)
    };
    Ok(vec![(name, piece); count as usize])
}

/// In whole millimetres: a picture is no closer.
fn blocks(placed: &[At]) -> Vec<Block> {
    let block = |place: &At| {
        let (at, size) = place.near_mm();
        Block { number: u32::try_from(place.piece + 1).unwrap_or(u32::MAX), at, size }
    };
    placed.iter().map(block).collect()
}

/// The answer, its nanometres as millimetres.
fn as_json(answer: &Answer) -> serde_json::Value {
    let mm = |nm: i64| match nm % NM_PER_MM {
        0 => json!(nm / NM_PER_MM),
        _ => json!(nm as f64 / NM_PER_MM as f64),
    };
    let placed =
        answer.placement.iter().map(|it| json!({ "item": it.item, "at": it.at.map(mm), "size": it.size.map(mm) }));
    json!({ "verdict": answer.verdict, "placement": placed.collect::<Vec<_>>(), "nodes": answer.nodes })
}

/// `88.9`: every length of a drawing in words is in millimetres.
fn in_mm(nm: i64) -> String {
    Length { nm }.to_string().trim_end_matches(" mm").to_owned()
}

/// The answer, and how to lay things: from the floor up.
fn told(verdict: &Fit, room: Sides, named: &[(String, Piece)]) -> String {
    let name = |piece: usize| named.get(piece).map_or_else(|| "a piece".to_owned(), |(name, _)| format!("the {name}"));
    let placed = match verdict {
        Fit::Cannot(reason) => return format!("does not fit, proved\n{}\n", reason.say(Units::Metric, name)),
        Fit::Unknown if named.len() > LOADED_MAX => {
            return format!("not found out\nmore than {LOADED_MAX} pieces are not tried in one box\n");
        }
        Fit::Unknown => return "not found out\nno way was found, and that there is none is not proved\n".to_owned(),
        Fit::Fits(placed) => placed,
    };
    let goods: i128 = named.iter().map(|(_, piece)| piece.volume()).sum();
    let inside: i128 = room.iter().map(|side| i128::from(*side)).product();
    let [length, width, height] = room.map(|nm| Length { nm });
    let mut text = format!("fits: {} in {}", count(named.len()), Dims { length, width, height });
    text.push_str(&format!(", {} % filled\n", goods * 100 / inside.max(1)));
    let mut order: Vec<&At> = placed.iter().collect();
    order.sort_by_key(|at| (at.at[2], at.at[1], at.at[0]));
    let mut level = None;
    for at in order {
        if level != Some(at.at[2]) {
            level = Some(at.at[2]);
            text.push_str(&match at.at[2] {
                0 => "on the floor\n".to_owned(),
                height => format!("{} above the floor\n", Length { nm: height }),
            });
        }
        let [across, back, up] = at.size.map(in_mm);
        text.push_str(&format!(
            "{:>4}  {:<24} {across} across, {back} to the back, {up} up; {} from the left, {} from the front\n",
            at.piece + 1,
            named.get(at.piece).map_or("", |(name, _)| name.as_str()),
            in_mm(at.at[0]),
            in_mm(at.at[1])
        ));
    }
    text
}

fn count(pieces: usize) -> String {
    crate::desk::words::count(pieces, "piece", "pieces")
}
