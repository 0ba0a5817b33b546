//! A quote as a table for people, and as JSON.

use super::Quote;
use crate::model::Verdict as Sure;
use crate::model::*;
use crate::plan::rules::{Tried, Verdict};
use serde_json::{Value, json};
use std::fmt::Write;

/// Columns of the first column of a table.
const FIRST_COLUMN: usize = 36;

/// The quote as a table for people; in full also with the parts of all dearer ways and with every rule.
pub fn table(quote: &Quote, workshop: &Workshop, in_full: bool) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = write_table(&mut out, quote, workshop, in_full);
    if in_full {
        let _ = write_rules(&mut out, &quote.tried);
    }
    out
}

fn write_table(out: &mut String, quote: &Quote, workshop: &Workshop, in_full: bool) -> std::fmt::Result {
    let plan = &quote.plan;
    for question in &plan.questions {
        writeln!(out, "needs you: {}\n   do   {}", question.what, question.remedy)?;
    }
    for wait in &plan.waits {
        writeln!(out, "waiting: {}", wait_in_words(wait))?;
    }
    let verdict = verdict_in_words(plan);
    if let [_, _, ..] = plan.parcels[..]
        && let Some(cost) = plan.cost
    {
        let what = format!("{} parcels", plan.parcels.len());
        writeln!(out, "{what:<FIRST_COLUMN$} {:>5}   {verdict}", cost.figure())?;
    }
    let units = workshop.locale.units;
    for parcel in &plan.parcels {
        let verdict = if plan.parcels.len() == 1 { verdict.as_str() } else { "" };
        let line =
            format!("{:<FIRST_COLUMN$} {:>5}   {verdict}", spoken(parcel, workshop), parcel.cost.total().figure());
        writeln!(out, "{}", line.trim_end())?;
        let contents: Vec<String> = parcel.contents.iter().map(|c| content_in_words(c, workshop)).collect();
        writeln!(out, "   {}", contents.join(", "))?;
        let cost = cost_in_words(&parcel.cost, &parcel.surcharged);
        writeln!(out, "   {cost:<48} {} ± {}", units.weight(parcel.weight), units.weight(parcel.tolerance))?;
        if let Some(counts) = parcel.counts_as {
            writeln!(out, "   charged as {} for its size", units.limit(counts))?;
        }
        if let Some(foreign) = &parcel.foreign {
            writeln!(out, "   {} asks {foreign}", parcel.service)?;
        }
        for line in
            parcel.cautions.iter().map(|c| format!("   ! {c}")).chain(parcel.notes.iter().map(|n| format!("   {n}")))
        {
            writeln!(out, "{line}")?;
        }
    }
    let told = plan.alternatives.iter().map(|other| &other.what).chain(quote.refused.iter().map(|other| &other.what));
    let width = told.map(|what| what.chars().count()).max().unwrap_or(0).min(FIRST_COLUMN);
    let (dearer, refused): (Vec<_>, Vec<_>) = plan.alternatives.iter().partition(|other| other.cost.is_some());
    for (index, other) in dearer.into_iter().enumerate() {
        if let Some(heading) = other.heading(index) {
            writeln!(out, "{heading}")?;
        }
        let cost = other.cost.map_or_else(|| "-".to_owned(), |cost| cost.figure());
        writeln!(out, "   {:<width$}  {cost:>6}   {}", other.what, other.why)?;
        if let Some(parts) = other.parts.filter(|_| index == 0 || in_full) {
            writeln!(out, "   {:<width$}           {}", "", cost_in_words(&parts, &[]))?;
        }
    }
    let in_short = refused.into_iter().map(|other| (&other.what, &other.why));
    let refused: Vec<_> = match in_full {
        true => quote.refused.iter().map(|refused| (&refused.what, &refused.why)).collect(),
        false => in_short.collect(),
    };
    if !refused.is_empty() {
        writeln!(out, "{}", if in_full { "refused, all in one parcel" } else { "refused" })?;
    }
    for (what, why) in refused {
        writeln!(out, "   {what:<width$}       -   {why}")?;
    }
    if !plan.what_would_change.is_empty() {
        writeln!(out, "what would change it")?;
        plan.what_would_change.iter().try_for_each(|sentence| writeln!(out, "   {sentence}"))?;
    }
    if !plan.rules.is_empty() && !in_full {
        writeln!(out, "rules that took part: {}", plan.rules.join(", "))?;
    }
    Ok(())
}

/// `proved cheapest` or `best found (at most 4 % above the least possible)`.
pub fn verdict_in_words(plan: &Plan) -> String {
    match (&plan.verdict, plan.cost) {
        (Sure::Proved, _) => "proved cheapest".to_owned(),
        (Sure::BestFound { least_possible }, Some(cost)) if least_possible.minor > 0 => {
            let above = i128::from(cost.minor - least_possible.minor) * 100;
            let percent =
                above / i128::from(least_possible.minor) + i128::from(above % i128::from(least_possible.minor) != 0);
            format!("best found (at most {percent} % above the least possible)")
        }
        (Sure::BestFound { .. }, _) => "best found".to_owned(),
        (Sure::Nothing, _) => "no parcel".to_owned(),
    }
}

/// `Medium by Road`, `Medium in a Skipper`, `Mailer at most 25 mm thick by Letter`.
pub fn spoken(parcel: &PlannedParcel, workshop: &Workshop) -> String {
    let what = match (&parcel.inside, parcel.thick_at_most) {
        (None, None) => parcel.container.to_string(),
        (None, Some(most)) => {
            format!("{} at most {} thick", parcel.container, workshop.locale.units.thickness(most))
        }
        (Some(around), _) => format!("{} in a {around}", parcel.container),
    };
    let outermost = parcel.inside.as_ref().unwrap_or(&parcel.container);
    let collect = workshop.service(&parcel.service).is_some_and(|service| service.collect);
    if outermost.as_str() == parcel.service.as_str() {
        what
    } else if collect {
        format!("{what}, {}", parcel.service)
    } else {
        format!("{what} by {}", parcel.service)
    }
}

fn content_in_words(content: &Content, workshop: &Workshop) -> String {
    let name = workshop.product(&content.sku).map_or(content.sku.as_str(), |product| product.name.as_str());
    let batch = content.batch.as_ref().map_or_else(String::new, |batch| format!(" (batch {batch})"));
    format!("{} x {name}{batch}", content.quantity)
}

/// Every rule with what it looked at, in the order of the file.
fn write_rules(out: &mut String, tried: &[(Option<usize>, Tried)]) -> std::fmt::Result {
    if tried.is_empty() {
        return writeln!(out, "rules.toml has no rules");
    }
    writeln!(out, "rules, in the order in which they are asked")?;
    for (parcel, Tried { rule, verdict, seen }) in tried {
        let verdict = match verdict {
            Verdict::Applies => "applies".to_owned(),
            Verdict::Not => "does not apply".to_owned(),
            Verdict::Failed(why) => format!("failed: {why}"),
        };
        let about = parcel.map_or_else(String::new, |parcel| format!(" to parcel {parcel}"));
        writeln!(out, "   \"{}\" {verdict}{about}   ({})", rule.name, rule.place)?;
        writeln!(out, "      when {}", rule.when.trim())?;
        for (fact, value) in seen {
            writeln!(out, "      {fact}: {value}")?;
        }
    }
    Ok(())
}

/// `postage 6.40  container 0.62`; postage even where it is nothing.
fn cost_in_words(cost: &CostParts, surcharged: &[(String, Money)]) -> String {
    let mut parts = cost.named(surcharged);
    if cost.postage.minor == 0 {
        parts.insert(0, ("postage", cost.postage));
    }
    let mut parts: Vec<String> = parts.iter().map(|(name, amount)| format!("{name} {}", amount.figure())).collect();
    parts.extend(cost.labour_beside().map(|amount| format!("(and labour {})", amount.figure())));
    parts.join("  ")
}

/// A wait in words.
pub fn wait_in_words(wait: &Wait) -> String {
    match wait {
        Wait::Rule { rule, reason } => format!("{reason} (rule \"{rule}\")"),
        Wait::MadeToOrder(sku) => format!("{sku} is made to order"),
        Wait::Date(date) => format!("not before {date}"),
        Wait::Service { until, why } => format!("{why}: not before {until}"),
        Wait::Stock { sku, missing } => format!("{missing} of {sku} are missing"),
    }
}

/// The quote as JSON: money as text with its unit, weights in grams, lengths in millimetres; in full
/// with every rule.
pub fn to_json(quote: &Quote, in_full: bool) -> Value {
    let mut all = plan_to_json(&quote.plan);
    if in_full {
        let tried = |(parcel, tried): &(Option<usize>, Tried)| {
            let (applies, failed) = match &tried.verdict {
                Verdict::Applies => (true, None),
                Verdict::Not => (false, None),
                Verdict::Failed(why) => (false, Some(why)),
            };
            let seen: serde_json::Map<String, Value> =
                tried.seen.iter().map(|(fact, value)| (fact.clone(), json!(value))).collect();
            json!({
                "rule": tried.rule.name, "place": tried.rule.place, "when": tried.rule.when, "parcel": parcel,
                "applies": applies, "failed": failed, "seen": seen,
            })
        };
        let refused = quote.refused.iter().map(|refused| json!({ "what": refused.what, "why": refused.why }));
        all["refused_in_one_parcel"] = refused.collect();
        all["rules_tried"] = quote.tried.iter().map(tried).collect();
    }
    all
}

fn plan_to_json(plan: &Plan) -> Value {
    let (verdict, least) = match &plan.verdict {
        Sure::Proved => ("proved", None),
        Sure::BestFound { least_possible } => ("best found", Some(least_possible.to_string())),
        Sure::Nothing => ("nothing", None),
    };
    let parts = |parts: &CostParts| {
        json!({
            "total": parts.total().to_string(),
            "postage": parts.postage.to_string(),
            "surcharges": parts.surcharges.to_string(),
            "container": parts.container.to_string(),
            "supplies": parts.supplies.to_string(),
            "labour": parts.labour.map(|labour| labour.amount.to_string()),
            "labour_is_weighed": parts.labour.map(|labour| labour.weighed),
        })
    };
    let parcel = |parcel: &PlannedParcel| {
        json!({
            "container": parcel.container,
            "inside": parcel.inside,
            "thick_at_most_mm": parcel.thick_at_most.map(|most| most.nm as f64 / NM_PER_MM as f64),
            "service": parcel.service,
            "zone": parcel.zone,
            "contents": parcel.contents,
            "grams": parcel.weight.g_near(),
            "tolerance_grams": parcel.tolerance.g_up(),
            "cost": parts(&parcel.cost),
            "surcharges": parcel.surcharged.iter().map(|(name, amount)| json!({ "name": name, "amount": amount.to_string() })).collect::<Vec<_>>(),
            "counts_as_grams": parcel.counts_as.map(Weight::g_up),
            "foreign": parcel.foreign.as_ref().map(|foreign| json!({ "amount": foreign.amount.to_string(), "rate": foreign.rate.to_string() })),
            "inner_mm": parcel.inner_mm,
            "placement": parcel.placement,
            "notes": parcel.notes,
            "cautions": parcel.cautions.iter().map(ToString::to_string).collect::<Vec<_>>(),
        })
    };
    let other = |other: &Alternative| json!({ "what": other.what, "cost": other.cost.map(|cost| cost.to_string()), "parts": other.parts.as_ref().map(parts), "why": other.why, "next_best": other.next_best });
    let question = |q: &Question| json!({ "cause": q.cause.to_string(), "what": q.what, "remedy": q.remedy });
    json!({
        "order": plan.order,
        "verdict": verdict,
        "cost": plan.cost.map(|cost| cost.to_string()),
        "least_possible": least,
        "parcels": plan.parcels.iter().map(parcel).collect::<Vec<_>>(),
        "questions": plan.questions.iter().map(question).collect::<Vec<_>>(),
        "waits": plan.waits.iter().map(wait_in_words).collect::<Vec<_>>(),
        "dearer_or_refused": plan.alternatives.iter().map(other).collect::<Vec<_>>(),
        "what_would_change": plan.what_would_change,
        "rules": plan.rules,
    })
}
