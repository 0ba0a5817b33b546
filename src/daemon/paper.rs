//! Shows a paper to people: as text, as a picture, as JSON.

use crate::book::{People, State};
use crate::desk::view::{NoPaper, PaperForm, PaperWanted};
use crate::model::*;
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
        PaperWanted::Slip(parcel) => {
            subject = Subject::Parcel(*parcel);
            Wanted { kind: PaperKind::Slip, subject: &subject, copy: None }
        }
        PaperWanted::PickList => {
            subject = Subject::List { date: sight.state.date(sight.now), extra: 1 };
            Wanted { kind: PaperKind::PickList, subject: &subject, copy: None }
        }
    };
    let mut setter = sight.setter.lock().unwrap_or_else(PoisonError::into_inner);
    let told = |error: crate::slip::SlipError| NoPaper(error.to_string());
    let paper: Paper =
        crate::slip::paper(&wanted, sight.state, sight.people, sight.workshop, &mut setter, sight.now).map_err(told)?;
    let sheet = sight.workshop.printer_for(wanted.kind).map_or(Sheet::WIDE, Sheet::from);
    match form {
        PaperForm::Text => Ok(Bytes::from(render_text(&paper, sheet, &mut setter))),
        PaperForm::Png => render_png(&paper, sheet, &mut setter).map(Bytes::from).map_err(told),
        PaperForm::Json => {
            let day = crate::book::day(sight.state, sight.state.date(sight.now));
            Ok(Bytes::from(day_json(sight, &day).to_string()))
        }
    }
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
