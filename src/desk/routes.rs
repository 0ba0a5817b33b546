//! From path to page or command. Every action is a command of the book; nothing is decided here.

use super::answer::{Problem, Reply, Wants, page, with_lines, with_type};
use super::form::{Form, decode};
use super::lookup::Unclear;
use super::{Backend, Forgot, NoPaper, PaperForm, PaperWanted, ReadState, TakenIn};
use super::{html, jobs, lookup, metrics, order, orders, status, words};
use crate::book::{Action, Answer, Decision, Fact, Mode, ModeWish, OpenOrder, Stage, Stamped, find, find_parcel};
use crate::ledger::copies::Holds;
use crate::model::*;
use hyper::body::Bytes;
use hyper::header::{HeaderName, HeaderValue};
use hyper::{Method, Request, StatusCode};
use serde_json::json;

/// Header of `/status`: how many things need a person, for scripts.
pub const NEEDS_YOU: HeaderName = HeaderName::from_static("dawnslip-needs-you");

/// Through which door a request came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Door {
    /// The Unix socket in the data folder: people on this machine.
    Socket,
    /// The TCP listener.
    Tcp,
}

/// Answers one request that the guard has let in.
pub async fn answer<B: Backend>(backend: &B, door: Door, request: Request<Bytes>) -> Reply {
    let wants = Wants::of(request.headers());
    match route(backend, door, wants, &request).await {
        Ok(reply) => reply,
        Err(problem) => problem.reply(wants),
    }
}

async fn route<B: Backend>(backend: &B, door: Door, wants: Wants, request: &Request<Bytes>) -> Result<Reply, Problem> {
    let path: Vec<String> = request.uri().path().split('/').filter(|part| !part.is_empty()).map(decode).collect();
    let path: Vec<&str> = path.iter().map(String::as_str).collect();
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    match (reads, *request.method() == Method::POST) {
        (true, _) if path == ["export"] => export(backend, door, request.uri().query().unwrap_or("")).await,
        (true, _) => read(backend, wants, &path, request.uri().query().unwrap_or("")).await,
        (_, true) => act(backend, door, wants, &path, request).await,
        _ => Err(Problem::new(
            StatusCode::METHOD_NOT_ALLOWED,
            "the desk knows GET and POST",
            "read with GET, act with POST",
        )),
    }
}

async fn read<B: Backend>(backend: &B, wants: Wants, path: &[&str], query: &str) -> Result<Reply, Problem> {
    let read = backend.read();
    let now = backend.now();
    match path {
        [] | ["status"] => {
            let status = status::status(&read, now);
            let zone = &read.workshop.zone;
            let mut reply = page(wants, || &status, || status.text(zone), || html::status(&status, &read));
            reply.headers_mut().insert(NEEDS_YOU, HeaderValue::from(status.things.len()));
            Ok(reply)
        }
        ["orders"] => {
            let query = Form::from_encoded(query);
            let word = query.get("only").map(|word| word.replace(['-', '_'], " "));
            if let Some(word) = &word
                && !orders::WORDS.contains(&word.as_str())
            {
                let remedy = format!("say one of: {}", orders::WORDS.join(", "));
                return Err(Problem::bad(format!("no order is ever {word:?}"), remedy));
            }
            let list = orders::orders(&read, &orders::Wanted { word, closed_too: query.is_set("all") });
            Ok(page(wants, || &list, || list.text(&read, now), || html::orders(&list, &read, now)))
        }
        ["orders", number @ .., file] if !number.is_empty() && of_parcel(file).is_some() => {
            let (kind, form) = of_parcel(file).ok_or_else(|| nothing_here(path))?;
            paper_of(backend, &read, &number.join("/"), query, kind, form).await
        }
        ["orders", number @ ..] => {
            let key = known(backend, &read, &number.join("/")).await?;
            let history = backend.history(&key).await;
            let entry = read.state.orders.get(&key).ok_or_else(|| in_the_archive(&read, &key, &history))?;
            let view = order::view(&read, entry, history);
            Ok(page(wants, || &view, || view.text(&read, now), || html::order(&view, &read, now)))
        }
        ["picklist"] => match wants {
            Wants::Json => paper(backend, PaperWanted::PickList, PaperForm::Json).await,
            Wants::Text => paper(backend, PaperWanted::PickList, PaperForm::Text).await,
            Wants::Html => {
                let text = backend.paper(PaperWanted::PickList, PaperForm::Text).await.map_err(no_paper)?;
                let text = String::from_utf8_lossy(&text).into_owned();
                let page = html::paper("pick list", &text, &[("/picklist/print", "print it")]);
                Ok(with_type(page, "text/html; charset=utf-8"))
            }
        },
        ["letters"] if wants == Wants::Json => paper(backend, PaperWanted::Letters, PaperForm::Json).await,
        ["letters"] => paper(backend, PaperWanted::Letters, PaperForm::Text).await,
        ["picklist.png"] => paper(backend, PaperWanted::PickList, PaperForm::Png).await,
        ["jobs"] => {
            let list = jobs::all(&read);
            Ok(page(
                wants,
                || json!({ "jobs": list }),
                || jobs::text(&read, &list, now),
                || html::jobs(&list, &read, now),
            ))
        }
        ["jobs", id, "paper.png"] => {
            paper(backend, PaperWanted::Job(lookup::job(&read.state, id)?), PaperForm::Png).await
        }
        ["jobs", id, "paper.txt"] => {
            paper(backend, PaperWanted::Job(lookup::job(&read.state, id)?), PaperForm::Text).await
        }
        ["jobs", id] => {
            let id = lookup::job(&read.state, id)?;
            let job = read.state.jobs.get(&id).ok_or_else(not_here)?;
            let view = jobs::view(&read.state, &read.workshop, job);
            let list = std::slice::from_ref(&view);
            Ok(page(wants, || &view, || jobs::line(&read, &view, now), || html::jobs(list, &read, now)))
        }
        ["healthz"] => Ok(with_type("ok\n", "text/plain; charset=utf-8")),
        ["readyz"] => match &read.not_ready {
            None => Ok(with_type("ready\n", "text/plain; charset=utf-8")),
            Some(why) => Err(Problem::new(StatusCode::SERVICE_UNAVAILABLE, why.clone(), "ask again in a few seconds")),
        },
        ["metrics"] => match metrics::text(&read, now) {
            Ok(text) => Ok(with_type(text, "application/openmetrics-text; version=1.0.0; charset=utf-8")),
            Err(error) => {
                let detail = format!("the figures could not be written: {error}");
                Err(Problem::new(StatusCode::INTERNAL_SERVER_ERROR, detail, "look into the log"))
            }
        },
        // Who has no token set comes here, too.
        ["login"] => Ok(see_other("/status")),
        _ => Err(nothing_here(path)),
    }
}

fn not_here() -> Problem {
    Problem::new(
        StatusCode::NOT_FOUND,
        "it is no longer among the known orders",
        "see which there are: dawnslip orders",
    )
}

/// The order that is meant: an open one by any ending of its number, an archived one by the whole.
async fn known<B: Backend>(backend: &B, read: &ReadState, typed: &str) -> Result<OrderKey, Problem> {
    let error = match find(&read.state, typed) {
        Ok(key) => return Ok(key),
        Err(error) => error,
    };
    let whole = read.state.shops.keys().map(|source| OrderKey { source: source.clone(), number: typed.to_owned() });
    for key in typed.parse::<OrderKey>().into_iter().chain(whole) {
        if !backend.history(&key).await.is_empty() {
            return Ok(key);
        }
    }
    Err(Unclear::from(error).into())
}

/// An order of which only history knows.
fn in_the_archive(read: &ReadState, key: &OrderKey, history: &[Stamped]) -> Problem {
    let local = |at| words::day_and_time(&read.workshop.zone, at);
    let last = |which: fn(&Fact) -> bool| history.iter().rev().find(|stamped| which(&stamped.fact));
    let detail = match last(|fact| matches!(fact, Fact::Forgotten { .. })) {
        Some(forgotten) => {
            format!("order {key} is in the archive; its personal data were erased on {}", local(forgotten.at))
        }
        None => format!("order {key} is in the archive"),
    };
    Problem::new(
        StatusCode::GONE,
        words::tame(&detail),
        "see which are open: dawnslip orders; its facts: dawnslip export",
    )
}

fn nothing_here(path: &[&str]) -> Problem {
    let detail = format!("there is nothing at /{}", path.join("/"));
    Problem::new(StatusCode::NOT_FOUND, detail, "begin at /status, /orders, /picklist or /jobs")
}

/// Sends a browser on.
pub fn see_other(path: &'static str) -> Reply {
    let mut reply = with_type("", "text/plain; charset=utf-8");
    *reply.status_mut() = StatusCode::SEE_OTHER;
    reply.headers_mut().insert(hyper::header::LOCATION, HeaderValue::from_static(path));
    reply
}

fn no_paper(NoPaper(why): NoPaper) -> Problem {
    Problem::new(StatusCode::NOT_FOUND, why, "see how it stands: dawnslip order NUMBER, dawnslip status")
}

async fn paper<B: Backend>(backend: &B, what: PaperWanted, form: PaperForm) -> Result<Reply, Problem> {
    let bytes = backend.paper(what, form).await.map_err(no_paper)?;
    let media = match form {
        PaperForm::Text => "text/plain; charset=utf-8",
        PaperForm::Png => "image/png",
        PaperForm::Json => "application/json",
    };
    Ok(with_type(bytes, media))
}

/// Which paper of a parcel a file's name means, and in which form.
fn of_parcel(file: &str) -> Option<(PaperKind, PaperForm)> {
    let (name, form) = file.rsplit_once('.')?;
    let form = match form {
        "png" => PaperForm::Png,
        "txt" => PaperForm::Text,
        _ => return None,
    };
    match name {
        "slip" => Some((PaperKind::Slip, form)),
        "label" => Some((PaperKind::Label, form)),
        "customs" => Some((PaperKind::Customs, form)),
        _ => None,
    }
}

/// A paper of an order's first parcel, or of the one that `?parcel=2` names.
async fn paper_of<B: Backend>(
    b: &B,
    read: &ReadState,
    number: &str,
    query: &str,
    kind: PaperKind,
    form: PaperForm,
) -> Result<Reply, Problem> {
    let key = find(&read.state, number).map_err(Unclear::from)?;
    let part = Form::from_encoded(query).get("parcel").and_then(|part| part.parse::<usize>().ok()).unwrap_or(1);
    let parcels = read.state.orders.get(&key).map_or(&[][..], |entry| &entry.parcels);
    let Some(parcel) = part.checked_sub(1).and_then(|index| parcels.get(index)) else {
        return Err(no_paper(NoPaper(format!("{} has no parcel {part} yet", lookup::shown(&read.state, &key)))));
    };
    let subject = match kind {
        PaperKind::Label => Subject::Label(*parcel),
        PaperKind::Customs => Subject::Customs(*parcel),
        _ => Subject::Parcel(*parcel),
    };
    paper(b, PaperWanted::OfParcel(subject, kind), form).await
}

async fn act<B: Backend>(
    backend: &B,
    door: Door,
    wants: Wants,
    path: &[&str],
    request: &Request<Bytes>,
) -> Result<Reply, Problem> {
    if let ["intake", source] = path {
        return take_in(backend, door, wants, source, request.body().clone()).await;
    }
    let form = Form::read(request.headers(), request.body())?;
    match path {
        ["reload"] => match backend.reload().await {
            Ok(said) => Ok(said_so(wants, &said)),
            Err(complaints) => Err(Problem {
                complaints,
                ..Problem::new(
                    StatusCode::CONFLICT,
                    "the new configuration was refused; the one from before stays in force",
                    "mend it, look with: dawnslip check",
                )
            }),
        },
        ["orders", number @ .., "forget"] if !number.is_empty() => {
            let read = backend.read();
            let key = known(backend, &read, &number.join("/")).await?;
            let open = if form.is_set("cancel") { OpenOrder::Cancel } else { OpenOrder::Refuse };
            match backend.forget(key, open).await? {
                Forgot::Refused { why, remedy } => Err(Problem::new(StatusCode::CONFLICT, why, remedy)),
                Forgot::Later(why) => Err(Problem::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    format!("it is recorded and no longer shown, but a file could not be cleaned: {why}"),
                    "mend that; it is tried again every ten minutes and at each start; asked again, a receipt comes",
                )),
                Forgot::Erased(receipt) => {
                    let text = receipt.text(&read.workshop.zone);
                    Ok(page(wants, || receipt.json(), || text.clone(), || html::paper("receipt", &text, &[])))
                }
            }
        }
        ["backup"] => Ok(said_so(wants, &backend.back_up().await?)),
        ["remap"] => {
            let done = backend.remap(form.get("source").map(SourceName::new)).await?;
            let said = match (done.mapped, done.still_not) {
                (0, 0) => "no message waits for a better mapping".to_owned(),
                (mapped, 0) => format!("{mapped} mapped, none is left"),
                (mapped, left) => format!("{mapped} mapped, {left} still cannot be: see dawnslip status"),
            };
            Ok(said_so(wants, &said))
        }
        _ => {
            let read = backend.read();
            let action = action(&read, path, &form)?;
            match backend.act(action).await? {
                Answer::Refused { why, remedy } => Err(Problem::new(StatusCode::CONFLICT, why, remedy)),
                Answer::Said(said) => Ok(said_so(wants, &said)),
                Answer::Queued(job) => Ok(said_so(wants, &format!("queued as {job}"))),
                Answer::Done | Answer::Go | Answer::Kept { .. } => Ok(said_so(wants, "done")),
            }
        }
    }
}

fn said_so(wants: Wants, said: &str) -> Reply {
    page(wants, || json!({ "done": true, "said": said }), || format!("{said}\n"), || html::done(said))
}

/// Which action a path means.
fn action(read: &ReadState, path: &[&str], form: &Form) -> Result<Action, Problem> {
    let state = &read.state;
    let reason = || form.get("reason").unwrap_or("").to_owned();
    Ok(match path {
        ["orders", number @ .., verb] if !number.is_empty() => {
            let order = || find(state, &number.join("/")).map_err(Unclear::from);
            match *verb {
                "hold" => Action::Hold { order: order()?, reason: form.need("reason", "paid late")?.to_owned() },
                "release" => Action::Release { order: order()? },
                "cancel" => Action::Cancel { order: order()?, reason: reason() },
                "ready" => Action::Ready { order: order()? },
                "apart" => Action::KeepApart { order: order()?, apart: true },
                "join" => Action::KeepApart { order: order()?, apart: false },
                "replan" => Action::Replan { order: order()? },
                _ => return Err(nothing_here(path)),
            }
        }
        ["parcels", label @ .., verb] if !label.is_empty() => {
            let parcel = || find_parcel(state, &label.join("/")).map_err(Unclear::from);
            match *verb {
                "packed" => Action::Packed { parcel: parcel()? },
                "unpack" => Action::Unpack { parcel: parcel()? },
                "handed-over" => Action::HandedOver { parcels: vec![parcel()?] },
                "label" => Action::PrintBesideSlip { parcel: parcel()?, kind: PaperKind::Label },
                "customs" => Action::PrintBesideSlip { parcel: parcel()?, kind: PaperKind::Customs },
                _ => return Err(nothing_here(path)),
            }
        }
        ["handed-over"] => Action::HandedOver { parcels: handed_over(read, form)? },
        ["decide"] => {
            let cause = form.need("cause", "unknown-product:GLZ-9")?.to_owned();
            Action::Decide { cause, decision: decision(form.need("decision", "retry")?)? }
        }
        ["nosuch"] => {
            let (source, number) = lookup::gap(state, form.need("number", "S-447")?)?;
            Action::NoSuch { source, number }
        }
        ["replan"] => Action::ReplanAll,
        ["jobs", id, "reprint"] => Action::Reprint { job: lookup::job(state, id)?, reason: reason() },
        ["jobs", id, "drop"] => Action::Drop { job: lookup::job(state, id)? },
        ["picklist", "print"] => Action::ListNow,
        ["packing", "start"] => Action::StartPacking,
        ["mode"] => Action::Mode(mode(form.need("mode", "burst")?)?),
        ["test-page"] => Action::TestPage,
        _ => return Err(nothing_here(path)),
    })
}

/// Burst, trickle, or what the number of orders says.
fn mode(word: &str) -> Result<ModeWish, Problem> {
    match word {
        "burst" => Ok(ModeWish::Always(Mode::Burst)),
        "trickle" => Ok(ModeWish::Always(Mode::Trickle)),
        "auto" => Ok(ModeWish::Auto),
        other => Err(Problem::bad(format!("there is no mode {other:?}"), "say burst, trickle or auto")),
    }
}

/// The parcels named, or every packed one (of a service).
fn handed_over(read: &ReadState, form: &Form) -> Result<Vec<ParcelId>, Problem> {
    let state = &read.state;
    let named = form.all("parcels");
    if !form.is_set("all") {
        if named.is_empty() {
            form.need("parcels", "417")?;
        }
        return named.iter().map(|label| Ok(find_parcel(state, label).map_err(Unclear::from)?)).collect();
    }
    let service = form.get("service");
    if let Some(service) = service
        && read.workshop.service(&service.into()).is_none()
    {
        let known: Vec<&str> = read.workshop.services.iter().map(|s| s.name.as_str()).collect();
        return Err(Problem::bad(
            format!("no service is called {service:?}"),
            format!("say one of: {}", known.join(", ")),
        ));
    }
    let packed = state.parcels.iter().filter(|(_, parcel)| {
        parcel.stage == Stage::Packed && service.is_none_or(|service| parcel.planned.service.as_str() == service)
    });
    let parcels: Vec<ParcelId> = packed.map(|(id, _)| *id).collect();
    if parcels.is_empty() {
        let remedy = "say which parcels are packed first: dawnslip packed 417";
        return Err(Problem::new(StatusCode::CONFLICT, "no such parcel is packed", remedy));
    }
    Ok(parcels)
}

fn decision(word: &str) -> Result<Decision, Problem> {
    Decision::from_word(word).ok_or_else(|| {
        let words = Decision::WORDS.map(|(word, _)| word).join(", ");
        Problem::bad(format!("{word:?} is no decision"), format!("say one of: {words}"))
    })
}

/// Everything there is, for people on this machine only.
async fn export<B: Backend>(backend: &B, door: Door, query: &str) -> Result<Reply, Problem> {
    if door != Door::Socket {
        return Err(Problem::new(
            StatusCode::FORBIDDEN,
            "everything at once is given through the Unix socket only",
            "run it on the machine itself: dawnslip export FILE",
        ));
    }
    let holds = if Form::from_encoded(query).get("persons") == Some("no") { Holds::Facts } else { Holds::All };
    Ok(with_lines(backend.export(holds).await?, "application/x-ndjson"))
}

/// A message from a file carries no signature, so only people on this machine may bring one.
async fn take_in<B: Backend>(b: &B, door: Door, wants: Wants, source: &str, body: Bytes) -> Result<Reply, Problem> {
    if door != Door::Socket {
        return Err(Problem::new(
            StatusCode::FORBIDDEN,
            "unsigned messages are taken through the Unix socket only",
            "run it on the machine itself: dawnslip intake FILE --source SHOP",
        ));
    }
    let (outcome, said, status) = match b.take_in(source.into(), body).await? {
        TakenIn::New(said) => ("new", said, StatusCode::ACCEPTED),
        TakenIn::Known(said) => ("known", said, StatusCode::OK),
        TakenIn::NeedsYou(said) => ("needs you", said, StatusCode::ACCEPTED),
        TakenIn::Refused { why, remedy } => return Err(Problem::new(StatusCode::UNPROCESSABLE_ENTITY, why, remedy)),
    };
    let mut reply = page(
        wants,
        || json!({ "outcome": outcome, "said": said }),
        || format!("{outcome}: {said}\n"),
        || html::done(&said),
    );
    *reply.status_mut() = status;
    Ok(reply)
}
