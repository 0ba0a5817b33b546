//! `dawnslip quote`: what would it cost to send this, and why so?

use crate::model::{Order, Weight, Workshop};
use crate::plan::choose::Overrides;
use crate::plan::quote::{self, QuoteError};
use jiff::civil::Date;
use serde_json::json;

/// What was asked on the command line.
#[derive(Debug, Clone, Default)]
pub struct Asked {
    /// `--what 2*mug,1*teapot`.
    pub what: Option<String>,
    /// An order from a file or from the book; `--to` overrules its destination.
    pub order: Option<Order>,
    /// `--to Middle`, `--to QS`, `--to "QS MD1"`; the workshop's own country if missing.
    pub to: Option<String>,
    /// `--weight "1.8 kg"`: of all goods together, or, without goods, of the parcel on the scale.
    pub weight: Option<String>,
    /// `--container Medium`: only this one.
    pub container: Option<String>,
    /// `--explain`: all parts, and every rule.
    pub explain: bool,
    /// `--json`.
    pub json: bool,
}

/// What to print, and whether everything found its parcel (exit 0) or not (exit 1).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quoted {
    /// Text for standard output, lines ended.
    pub text: String,
    /// There are parcels and no questions.
    pub settled: bool,
}

/// Makes a quote for handing over on that day.
pub fn quote(asked: &Asked, workshop: &Workshop, on: Date) -> Result<Quoted, QuoteError> {
    let to = asked.to.as_deref().map(|to| quote::parse_to(to, workshop)).transpose()?;
    let weight: Option<Weight> = asked.weight.as_deref().map(str::parse).transpose()?;
    let container = asked.container.as_deref().map(|name| quote::parse_container(name, workshop)).transpose()?;
    let home = || quote::parse_to(workshop.country.as_str(), workshop);
    let order = match (&asked.what, &asked.order) {
        (Some(what), _) => {
            let to = to.map_or_else(home, Ok)?;
            quote::order_of(quote::parse_what(what, workshop)?, to)
        }
        (None, Some(order)) => {
            let mut order = order.clone();
            order.destination = to.unwrap_or(order.destination);
            order
        }
        (None, None) => {
            let weight = weight.ok_or(QuoteError::Nothing)?;
            let to = to.map_or_else(home, Ok)?;
            let rows = quote::price_list(workshop, &to, weight, container.as_ref(), on);
            return Ok(price_list(&rows, asked.json));
        }
    };
    let overrides = Overrides { goods_weight: weight, containers: container.into_iter().collect() };
    let quoted = quote::plan_of(&order, workshop, &overrides, on, asked.explain);
    let text = match asked.json {
        true => format!("{:#}\n", quote::to_json(&quoted, asked.explain)),
        false => quote::table(&quoted, workshop, asked.explain),
    };
    Ok(Quoted { text, settled: !quoted.plan.parcels.is_empty() && quoted.plan.questions.is_empty() })
}

fn price_list(rows: &[quote::PriceRow], as_json: bool) -> Quoted {
    let text = if as_json {
        let row = |r: &quote::PriceRow| json!({ "what": r.what, "cost": r.cost.map(|c| c.to_string()), "why": r.why });
        format!("{:#}\n", json!(rows.iter().map(row).collect::<Vec<_>>()))
    } else {
        let width = rows.iter().map(|row| row.what.chars().count()).max().unwrap_or(0);
        rows.iter()
            .map(|row| {
                let cost = row.cost.map_or_else(|| "-".to_owned(), |cost| cost.figure());
                format!("{:<width$}  {cost:>6}   {}\n", row.what, row.why)
            })
            .collect()
    };
    Quoted { text, settled: rows.iter().any(|row| row.cost.is_some()) }
}
