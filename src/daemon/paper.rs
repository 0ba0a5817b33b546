//! Shows a paper to people: as text, as a picture, as JSON.

use crate::book::{People, State};
use crate::desk::view::{NoPaper, PaperForm, PaperWanted};
use crate::model::*;
use crate::slip::letters::{Uncovered, uncovered};
use crate::slip::{Paper, Sheet, Typesetter, Wanted, render_png, render_text};
use hyper::body::Bytes;
use jiff::Timestamp;
use std::sync::{Mutex, PoisonError};

/// What a paper is built from.
pub struct Sight<'a> {
    /// The state.
    pub state: &'a State,
    /// Its persons.
    pub people: &'a People,
    /// The configuration.
    pub workshop: &'a Workshop,
    /// Sets the letters.
    pub setter: &'a Mutex<Typesetter>,
    /// The present instant.
    pub now: Timestamp,
}

/// Builds the paper that is wanted and shows it in this form.
///
/// # Errors
/// Where there is no such paper.
pub fn show(sight: &Sight<'_>, what: &PaperWanted, form: PaperForm) -> Result<Bytes, NoPaper> {
    let job;
    let subject;
    let wanted = match what {
        PaperWanted::Job(id) => {
            job = sight.state.jobs.get(id).ok_or_else(|| NoPaper(format!("there is no paper {id}")))?;
            Wanted::of(job)
        }
        PaperWanted::OfParcel(subject, kind) => Wanted { kind: *kind, subject, copy: None },
        PaperWanted::Letters => return Ok(letters(sight, form)),
        PaperWanted::PickList => {
            subject = Subject::List { date: sight.state.date(sight.now), extra: 1 };
            Wanted { kind: PaperKind::PickList, subject: &subject, copy: None }
        }
    };
    let mut setter = sight.setter.lock().unwrap_or_else(PoisonError::into_inner);
    let told = |error: crate::slip::SlipError| NoPaper(error.to_string());
    let paper: Paper =
        crate::slip::paper(&wanted, sight.state, sight.people, sight.workshop, &mut setter, sight.now).map_err(told)?;
    let sheet = sight.state.printer_of(sight.workshop, wanted.kind, wanted.subject).map_or(Sheet::WIDE, Sheet::from);
    match form {
        PaperForm::Text => Ok(Bytes::from(render_text(&paper, sheet, &mut setter))),
        PaperForm::Png => render_png(&paper, sheet, &mut setter).map(Bytes::from).map_err(told),
        PaperForm::Json => {
            let day = crate::book::day(sight.state, sight.state.date(sight.now));
            Ok(Bytes::from(day_json(sight, &day).to_string()))
        }
    }
}

/// Which letters of open orders no face has, order by order.
fn letters(sight: &Sight<'_>, form: PaperForm) -> Bytes {
    let mut setter = sight.setter.lock().unwrap_or_else(PoisonError::into_inner);
    let found = uncovered(sight.state, sight.people, &mut setter);
    let named = |letters: &[char]| letters.iter().map(|c| format!("U+{:04X} {c}", *c as u32)).collect::<Vec<_>>();
    if form == PaperForm::Json {
        let one = |of: &Uncovered| {
            let (missing, last_resort) = (named(&of.missing), named(&of.last_resort));
            serde_json::json!({ "order": of.order, "missing": missing, "last_resort": last_resort })
        };
        return Bytes::from(serde_json::json!({ "letters": found.iter().map(one).collect::<Vec<_>>() }).to_string());
    }
    let mut text = String::new();
    for of in &found {
        let number = &of.order.number;
        if !of.missing.is_empty() {
            text += &format!("{number}: no font has {}\n", named(&of.missing).join(", "));
        }
        if !of.last_resort.is_empty() {
            text += &format!("{number}: only the last resort has {}\n", named(&of.last_resort).join(", "));
        }
    }
    Bytes::from(text)
}

/// The day's parcels for programs: numbers, containers and services, in pack order.
fn day_json(sight: &Sight<'_>, day: &crate::book::DayList) -> serde_json::Value {
    let parcel = |id: &ParcelId| {
        let planned = sight.state.parcels.get(id).map(|entry| &entry.planned);
        serde_json::json!({
            "parcel": sight.state.label(*id),
            "container": planned.map(|p| p.container.as_str()),
            "service": planned.map(|p| p.service.as_str()),
            "grams": planned.map(|p| p.weight.g_near()),
        })
    };
    let list = |ids: &[ParcelId]| ids.iter().map(parcel).collect::<Vec<_>>();
    serde_json::json!({ "date": day.date.to_string(), "today": list(&day.today), "later": list(&day.later) })
}
