//! The desk's pages: no scripts, readable on a phone beside the tape. Pure.

use super::answer::Problem;
use super::form::encode;
use super::jobs::JobView;
use super::order::{OrderView, explain};
use super::orders::Orders;
use super::status::Status;
use super::{ReadState, words};
use jiff::Timestamp;
use std::fmt::Write as _;

/// Seconds after which the status page asks again.
const REFRESH_SECONDS: u32 = 20;

const STYLE: &str = "\
:root{color-scheme:light dark;--ink:#23201b;--paper:#fffdf7;--desk:#e9e3d6;--line:#b9ae98;--alarm:#a3320b;--calm:#2f6b3c}\
@media(prefers-color-scheme:dark){:root{--ink:#ece6d8;--paper:#26231e;--desk:#171512;--line:#5d5546;--alarm:#ff9a6e;--calm:#8fd19e}}\
*{box-sizing:border-box}body{margin:0;background:var(--desk);color:var(--ink);font:17px/1.45 Georgia,'Noto Serif',serif}\
main{max-width:44rem;margin:0 auto;background:var(--paper);padding:1rem 1.1rem 3rem;min-height:100vh;border-inline:1px dashed var(--line)}\
nav{display:flex;gap:1.2rem;flex-wrap:wrap;border-bottom:1px dashed var(--line);padding-bottom:.6rem;font-size:.95rem}\
nav b{margin-right:auto}a{color:inherit}h1{font-size:1.7rem;line-height:1.15;margin:1.1rem 0 .2rem}h2{font-size:1.05rem;margin:1.6rem 0 .4rem;letter-spacing:.02em}\
.alarm{color:var(--alarm)}.calm{color:var(--calm)}.when,dt{opacity:.72;font-size:.9rem}\
ol.things{padding-left:1.4rem}ol.things>li{margin:1rem 0;padding-bottom:1rem;border-bottom:1px dashed var(--line)}\
dl{display:grid;grid-template-columns:max-content 1fr;gap:.25rem .9rem;margin:.4rem 0}dd{margin:0;overflow-wrap:anywhere}\
pre{overflow-x:auto;font:14px/1.4 'DejaVu Sans Mono',Consolas,monospace;white-space:pre-wrap}\
table{border-collapse:collapse;width:100%}td{padding:.35rem .5rem .35rem 0;border-bottom:1px dashed var(--line);vertical-align:top}\
form{display:inline-block;margin:.25rem .4rem .25rem 0}button,input{font:inherit;padding:.45rem .8rem;border:1px solid var(--line);border-radius:2px;background:transparent;color:inherit}\
button{background:var(--ink);color:var(--paper);border-color:var(--ink)}img{max-width:100%;border:1px dashed var(--line)}";

/// Text as text: nothing that a customer typed becomes markup.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

fn shell(title: &str, head: &str, body: &str) -> String {
    let title = escape(title);
    format!(
        "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">{head}\
         <title>{title}</title><style>{STYLE}</style><main>\
         <nav><b>dawnslip</b><a href=\"/status\">status</a><a href=\"/orders\">orders</a>\
         <a href=\"/picklist\">pick list</a><a href=\"/jobs\">papers</a></nav>{body}</main></html>\n"
    )
}

/// How things stand.
pub fn status(status: &Status, read: &ReadState) -> String {
    let zone = &read.workshop.zone;
    let mood = if status.things.is_empty() { "calm" } else { "alarm" };
    let mut body = format!(
        "<h1 class=\"{mood}\">{}</h1><p class=\"when\">{} · {}</p>",
        escape(&status.headline),
        escape(&status.workshop),
        escape(&status.local)
    );
    if !status.things.is_empty() {
        body.push_str("<ol class=\"things\">");
        for thing in &status.things {
            let since = words::moment(zone, thing.since, status.at);
            let _ = write!(
                body,
                "<li><strong>{}</strong><div class=\"when\">since {since} ({})</div><dl>",
                escape(&thing.what),
                thing.age
            );
            if !thing.why.is_empty() {
                let _ = write!(body, "<dt>why</dt><dd>{}</dd>", escape(&thing.why));
            }
            let remedy: Vec<String> = thing.remedy.iter().map(|line| escape(line)).collect();
            let _ = write!(body, "<dt>do</dt><dd>{}</dd></dl>", remedy.join("<br>"));
            if let Some(cause) = &thing.cause {
                for decision in &thing.decisions {
                    let fields = [("cause", cause.as_str()), ("decision", decision.as_str())];
                    body.push_str(&button("/decide", decision_in_words(decision), &fields));
                }
            }
            for number in thing.orders.iter().take(12) {
                let _ = write!(body, "<a href=\"/orders/{}\">{}</a> ", encode(number), escape(number));
            }
            body.push_str("</li>");
        }
        body.push_str("</ol>");
    }
    body.push_str("<dl>");
    for (name, line) in status.lines(zone) {
        let _ = write!(body, "<dt>{name}</dt><dd>{}</dd>", escape(&line));
    }
    body.push_str("</dl>");
    if status.mode == crate::book::Mode::Burst {
        body.push_str(&button("/packing/start", "packing starts: print what waits", &[]));
    }
    shell(&status.headline, &format!("<meta http-equiv=\"refresh\" content=\"{REFRESH_SECONDS}\">"), &body)
}

/// What stands on the button of a decision.
fn decision_in_words(decision: &str) -> &str {
    match decision {
        "retry" => "try again",
        "go-on" => "it is right so, go on",
        "cancel" => "cancel",
        "take-new" => "the newer one counts",
        "keep-old" => "the older one counts",
        "on-paper" => "the paper is there",
        "copy" => "print a copy",
        other => other,
    }
}

/// The open orders.
pub fn orders(orders: &Orders, read: &ReadState, now: Timestamp) -> String {
    let mut body = String::from("<h1>orders</h1><table>");
    for order in &orders.orders {
        let _ = write!(
            body,
            "<tr><td><a href=\"/orders/{}\">{}</a><td>{}<td>{}<td class=\"when\">{}",
            encode(&order.number),
            escape(&order.number),
            escape(order.recipient.as_deref().unwrap_or("(forgotten)")),
            escape(&order.standing()),
            words::moment(&read.workshop.zone, order.received, now),
        );
    }
    body.push_str("</table>");
    if orders.orders.is_empty() {
        body.push_str("<p>no such orders</p>");
    }
    if orders.more > 0 {
        let _ = write!(body, "<p>and {} more</p>", orders.more);
    }
    shell("orders", "", &body)
}

/// One order.
pub fn order(view: &OrderView, read: &ReadState, now: Timestamp) -> String {
    let zone = &read.workshop.zone;
    let clock = |at: Timestamp| words::moment(zone, at, now);
    let base = format!("/orders/{}", encode(&format!("{}/{}", view.source, view.number)));
    let mut body = format!("<h1>{}</h1><p>{}</p>", escape(&view.number), escape(&view.headline()));
    for stop in &view.stops {
        let _ = write!(
            body,
            "<p class=\"alarm\">{} <span class=\"when\">since {}</span><br>{}</p>",
            escape(&stop.what),
            clock(stop.since),
            escape(&stop.remedy)
        );
    }
    body.push_str("<dl>");
    if let Some(to) = view.address_line() {
        let _ = write!(body, "<dt>to</dt><dd>{}</dd>", escape(&to));
    }
    if let Some(at) = view.erased {
        let _ = write!(body, "<dt>erased</dt><dd>{}</dd>", super::order::erased(zone, at));
    }
    let _ = write!(body, "<dt>came</dt><dd>{}</dd><dt>goods</dt><dd>", clock(view.received));
    for line in &view.lines {
        let _ = write!(body, "{} × {}<br>", line.quantity, escape(&line.name));
    }
    body.push_str("</dd>");
    if let Some(wish) = &view.wish {
        let _ = write!(body, "<dt>wish</dt><dd>{}</dd>", escape(wish));
    }
    if let Some(together) = &view.together {
        let _ = write!(body, "<dt>joined</dt><dd>{}</dd>", escape(&together.in_words()));
    }
    body.push_str("</dl>");
    for (index, parcel) in view.parcels.iter().enumerate() {
        let several = if view.parcels.len() > 1 { format!("/{}", index + 1) } else { String::new() };
        let typed = encode(&format!("{}/{}{several}", view.source, view.number));
        let _ = write!(
            body,
            "<h2>{} · {}</h2><p>{} <span class=\"when\">since {}</span></p>",
            escape(&parcel.label),
            parcel.stage,
            escape(&parcel.how),
            clock(parcel.since)
        );
        let next: &[(&str, &str)] = match parcel.stage {
            "printed" => &[("packed", "packed")],
            "packed" => &[("handed-over", "handed over"), ("unpack", "not packed after all")],
            "handed over" => &[("unpack", "not handed over after all")],
            _ => &[],
        };
        for (action, word) in next {
            body.push_str(&button(&format!("/parcels/{typed}/{action}"), word, &[]));
        }
    }
    let held = view.stops.iter().any(|stop| stop.kind != "needs you");
    body.push_str("<p>");
    if held {
        body.push_str(&button(&format!("{base}/release"), "release", &[]));
        body.push_str(&button(&format!("{base}/ready"), "the goods are ready", &[]));
    }
    if view.parcels.iter().any(|parcel| parcel.stage == "planned") {
        body.push_str(&button(&format!("{base}/replan"), "choose box and service anew", &[]));
    }
    match &view.together {
        Some(together) if together.apart => body.push_str(&button(&format!("{base}/join"), "may be joined again", &[])),
        Some(together) if !together.with.is_empty() => {
            body.push_str(&button(&format!("{base}/apart"), "send it alone", &[]));
        }
        _ => {}
    }
    let _ = write!(
        body,
        "<form method=\"post\" action=\"{base}/hold\"><input name=\"reason\" required placeholder=\"why hold it\" aria-label=\"why hold it\"> <button>hold</button></form></p>"
    );
    if let Some(plan) = &view.plan {
        let _ = write!(body, "<pre>{}</pre>", escape(&explain(plan, &read.workshop)));
        if !view.parcels.is_empty() {
            let _ = write!(body, "<p><img src=\"{base}/slip.png\" alt=\"the slip\" loading=\"lazy\"></p>");
        }
    }
    body.push_str("<h2>papers</h2>");
    body.push_str(&job_table(&view.papers, &clock));
    body.push_str("<h2>history</h2><dl>");
    for entry in &view.history {
        let _ = write!(body, "<dt>{}</dt><dd>{}</dd>", clock(entry.at), escape(&entry.what));
    }
    body.push_str("</dl>");
    shell(&view.number, "", &body)
}

/// The papers.
pub fn jobs(jobs: &[JobView], read: &ReadState, now: Timestamp) -> String {
    let table = job_table(jobs, &|at| words::moment(&read.workshop.zone, at, now));
    shell("papers", "", &format!("<h1>papers</h1>{table}"))
}

fn job_table(jobs: &[JobView], clock: &dyn Fn(Timestamp) -> String) -> String {
    let mut table = String::from("<table>");
    for job in jobs {
        let _ = write!(
            table,
            "<tr><td>{}<td>{}<td>{} <span class=\"when\">{} {}</span><td>",
            job.job,
            escape(&job.what),
            job.state,
            clock(job.since),
            escape(&job.detail)
        );
        if matches!(job.state.as_str(), "on paper" | "uncertain") {
            table.push_str(&button(&format!("/jobs/{}/reprint", job.job), "print a copy", &[]));
        }
    }
    table.push_str("</table>");
    table
}

/// A paper's text as a page.
pub fn paper(title: &str, text: &str, actions: &[(&str, &str)]) -> String {
    let buttons: String = actions.iter().map(|(path, word)| button(path, word, &[])).collect();
    shell(title, "", &format!("<h1>{}</h1><pre>{}</pre>{buttons}", escape(title), escape(text)))
}

/// An action was done.
pub fn done(said: &str) -> String {
    shell("done", "", &format!("<h1 class=\"calm\">done</h1><p>{}</p>", escape(said)))
}

/// Something went wrong.
pub fn problem(problem: &Problem) -> String {
    let mut body = format!("<h1 class=\"alarm\">{}</h1><p>{}</p>", escape(&problem.detail), escape(&problem.remedy));
    for line in &problem.complaints {
        let _ = write!(body, "<pre>{}</pre>", escape(line));
    }
    if !problem.candidates.is_empty() {
        body.push_str("<p>");
        for candidate in &problem.candidates {
            let _ = write!(body, "<a href=\"/orders/{}\">{}</a> ", encode(candidate), escape(candidate));
        }
        body.push_str("</p>");
    }
    shell("not done", "", &body)
}

fn button(path: &str, word: &str, fields: &[(&str, &str)]) -> String {
    let mut form = format!("<form method=\"post\" action=\"{}\">", escape(path));
    for (name, value) in fields {
        let _ = write!(form, "<input type=\"hidden\" name=\"{}\" value=\"{}\">", escape(name), escape(value));
    }
    let _ = write!(form, "<button>{}</button></form>", escape(word));
    form
}
