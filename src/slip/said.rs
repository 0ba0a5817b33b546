//! What the program says, in the words of the workshop's language: cautions, differences,
//! questions and reasons. The desk says the same in English.

use super::brief::label;
use super::clean::{self, Longer, NOTE_MAX, REASON_MAX};
use super::words::{Form, key};
use crate::book::{GroupedQuestion, Matter, State};
use crate::model::{
    Cause, Caution, CustomsGap, Detail, Difference, FlawKind, Job, JobId, JobState, PaperKind, Reason, Subject,
};

/// A caution; a rule's words stay as they are.
pub fn caution(caution: &Caution, form: &Form) -> String {
    let text = match caution {
        Caution::Fragile { product } => form.fill(key::CAUTION_FRAGILE, &[("product", product)]),
        Caution::Danger { product, danger } => {
            form.fill(key::CAUTION_DANGER, &[("product", product), ("danger", danger)])
        }
        Caution::LimitedQuantity { un, mark: None } => form.fill(key::CAUTION_LIMITED, &[("un", &un.join(", "))]),
        Caution::LimitedQuantity { un, mark: Some(mark) } => {
            form.fill(key::CAUTION_LIMITED_MARK, &[("un", &un.join(", ")), ("mark", mark)])
        }
        Caution::Contains { product, allergens } => {
            form.fill(key::CAUTION_CONTAINS, &[("product", product), ("allergens", &allergens.join(", "))])
        }
        Caution::Heavy { above } => form.fill(key::CAUTION_HEAVY, &[("weight", &form.limit(*above))]),
        Caution::DearerAbove { ends, more } => {
            let places = [("weight", form.limit(*ends)), ("more", form.money(*more))];
            form.fill(key::CAUTION_DEARER, &places.each_ref().map(|(name, value)| (*name, value.as_str())))
        }
        Caution::TooHeavyAbove { ends, service } => {
            form.fill(key::CAUTION_TOO_HEAVY, &[("weight", &form.limit(*ends)), ("service", service.as_str())])
        }
        Caution::PressFlat { most, service } => {
            form.fill(key::CAUTION_FLAT, &[("thick", &form.thickness(*most)), ("service", service.as_str())])
        }
        Caution::Customs { missing } => {
            let gap = |gap: &CustomsGap| {
                let key = match (gap.facts, gap.value) {
                    (true, true) => key::CAUTION_CUSTOMS_ALL,
                    (true, false) => key::CAUTION_CUSTOMS_FACTS,
                    (false, _) => key::CAUTION_CUSTOMS_VALUE,
                };
                form.fill(key, &[("product", &gap.product)])
            };
            let missing: Vec<String> = missing.iter().map(gap).collect();
            form.fill(key::CAUTION_CUSTOMS, &[("missing", &missing.join("; "))])
        }
        Caution::Said(text) => text.clone(),
    };
    clean::line(&text, NOTE_MAX)
}

/// A difference from the slip on paper.
pub fn difference(difference: &Difference, form: &Form) -> String {
    let goods = |key: &str, count: &u64, name: &str, sku: &str, was: &u64| {
        let (count, was) = (count.to_string(), was.to_string());
        form.fill(key, &[("n", &count), ("was", &was), ("name", name), ("sku", sku)])
    };
    let text = match difference {
        Difference::Added { count, name, sku } => goods(key::DIFFERS_ADDED, count, name, sku.as_str(), &0),
        Difference::Count { count, was, name, sku } => goods(key::DIFFERS_COUNT, count, name, sku.as_str(), was),
        Difference::TakenOut { count, name, sku } => goods(key::DIFFERS_TAKEN_OUT, count, name, sku.as_str(), &0),
        Difference::Address => form.word(key::DIFFERS_ADDRESS).to_owned(),
        Difference::Service { now, was } => {
            let named = |service: &Option<crate::model::ServiceName>| {
                service.as_ref().map_or_else(|| form.word(key::DIFFERS_NO_SERVICE).to_owned(), ToString::to_string)
            };
            form.fill(key::DIFFERS_SERVICE, &[("now", &named(now)), ("was", &named(was))])
        }
        Difference::Gift(true) => form.word(key::DIFFERS_GIFT).to_owned(),
        Difference::Gift(false) => form.word(key::DIFFERS_NO_GIFT).to_owned(),
        Difference::NotBefore(Some(day)) => form.fill(key::DIFFERS_NOT_BEFORE, &[("date", &form.date(*day))]),
        Difference::NotBefore(None) => form.word(key::DIFFERS_ANY_TIME).to_owned(),
        Difference::Words => form.word(key::DIFFERS_WORDS).to_owned(),
        Difference::OpenAgain => form.word(key::DIFFERS_OPEN_AGAIN).to_owned(),
        Difference::Said(text) => text.clone(),
    };
    clean::line(&text, NOTE_MAX)
}

/// Words of any length: whole up to [`REASON_MAX`] letters, of longer ones the whole words up to there and
/// `rest`, which says where they stand to their end.
fn at_length(text: &str, rest: &str) -> String {
    let (kept, longer) = clean::beginning(text, REASON_MAX);
    if longer == Longer::No {
        return kept;
    }
    // Some scripts part no words with spaces: there it ends after any letter.
    let words = kept.rsplit_once(' ').map(|(words, _)| words).filter(|words| words.len() * 2 > kept.len());
    format!("{}… {rest}", words.unwrap_or(&kept)).trim_end().to_owned()
}

/// Where all of it stands that was said about an order.
fn rest_of(order: &str, form: &Form) -> String {
    form.fill(key::REST_ORDER, &[("number", &label(order))])
}

/// Why a paper is printed again or an order is cancelled; people's own words stay as they are. Too many of them
/// are found with the order of this number, if it is about one.
pub fn reason(sentence: &str, order: Option<&str>, form: &Form) -> String {
    let Some((reason, what)) = Reason::of(sentence) else {
        return at_length(sentence, &order.map(|number| rest_of(number, form)).unwrap_or_default());
    };
    let key = match reason {
        Reason::Broken => key::WHY_BROKEN,
        Reason::Silent => key::WHY_SILENT,
        Reason::Unconfirmed => key::WHY_UNCONFIRMED,
        Reason::WrongAnswer => key::WHY_WRONG_ANSWER,
        Reason::Stopped => key::WHY_STOPPED,
        Reason::Ended => key::WHY_ENDED,
        Reason::RecordsLost => key::WHY_RECORDS_LOST,
        Reason::ShopCancelled => key::WHY_SHOP_CANCELLED,
        Reason::Decided => key::WHY_DECIDED,
    };
    form.fill(key, &[("printer", &label(what))])
}

/// What a question is about, without whose it is: that stands in the margin.
pub fn question(question: &GroupedQuestion, state: &State, form: &Form) -> String {
    let text = match &question.matter {
        Matter::NeverCame { source, between: (before, after), .. } => form.fill(
            key::ASK_NEVER_CAME,
            &[("source", source.as_str()), ("before", &label(before)), ("after", &label(after))],
        ),
        Matter::Asked(cause, detail) => asked(cause, detail.as_ref(), state, form),
    };
    match &question.orders[..] {
        [order] => at_length(&text, &rest_of(&order.number, form)),
        _ => at_length(&text, form.word(key::REST_STATUS)),
    }
}

fn asked(cause: &Cause, detail: Option<&Detail>, state: &State, form: &Form) -> String {
    if let Some(text) = detail.map(|detail| detailed(cause, detail, form)) {
        return text;
    }
    // What a cause names stands in one place of its sentence, if it names anything.
    let (key, what) = match cause {
        Cause::UnknownProduct(sku) => (key::ASK_UNKNOWN_PRODUCT, sku.to_string()),
        Cause::IncompleteProduct(sku) => (key::ASK_NO_SIZE_OR_WEIGHT, sku.to_string()),
        Cause::Unmappable(message) => (key::ASK_UNMAPPABLE, source_of(message)),
        Cause::MessageChanged(message) => (key::ASK_MESSAGE_CHANGED, source_of(message)),
        Cause::Flaw(_, kind) => (flaw_key(*kind), String::new()),
        Cause::NothingFits(_) => (key::ASK_NOTHING_FITS, String::new()),
        Cause::NoService(_) => (key::ASK_NO_SERVICE, String::new()),
        Cause::Rule(rule, _) => (key::ASK_RULE, rule.clone()),
        Cause::RuleFailed(rule) => (key::ASK_RULE_FAILED, rule.clone()),
        Cause::SameRevision(_) => (key::ASK_SAME_REVISION, String::new()),
        Cause::AfterPrinting(_) => (key::ASK_AFTER_PRINTING, String::new()),
        Cause::Uncancelled(_) => (key::ASK_UNCANCELLED, String::new()),
        Cause::StoppedProgram(_) => (key::ASK_STOPPED_PROGRAM, String::new()),
        Cause::UncertainPaper(job) => return uncertain(state.jobs.get(&JobId(*job)), state, form),
        Cause::RecordsLost(..) => (key::ASK_RECORDS_LOST, String::new()),
    };
    form.fill(key, &[("what", &label(&what))])
}

fn detailed(cause: &Cause, detail: &Detail, form: &Form) -> String {
    match detail {
        Detail::Lacks { product, size, weight } => {
            let key = match (size, weight) {
                (true, false) => key::ASK_NO_SIZE,
                (false, true) => key::ASK_NO_WEIGHT,
                _ => key::ASK_NO_SIZE_OR_WEIGHT,
            };
            form.fill(key, &[("what", &label(product))])
        }
        Detail::TooLarge { product } => form.fill(key::ASK_TOO_LARGE, &[("what", &label(product))]),
        Detail::TooMany { pieces, most } => {
            form.fill(key::ASK_TOO_MANY, &[("n", &pieces.to_string()), ("most", &most.to_string())])
        }
        Detail::Wish(service) => form.fill(key::ASK_WISH, &[("what", &label(service.as_str()))]),
        Detail::Rule(text) => text.clone(),
        Detail::Conflict => {
            let rules = if let Cause::RuleFailed(rules) = cause { rules.as_str() } else { "" };
            form.fill(key::ASK_CONFLICT, &[("what", rules)])
        }
        Detail::CancelledAfterHandOver(parcels) => {
            let parcels = form.count(*parcels as usize, key::PARCEL, key::PARCELS);
            form.fill(key::ASK_CANCELLED_GONE, &[("parcels", &parcels)])
        }
        Detail::ChangedAfterHandOver => form.word(key::ASK_CHANGED_GONE).to_owned(),
        Detail::ChangedAfterPacking => form.word(key::ASK_CHANGED_PACKED).to_owned(),
        Detail::CameAfterForgetting => form.word(key::ASK_CAME_FORGOTTEN).to_owned(),
    }
}

/// The source of `source/id`.
fn source_of(message: &str) -> String {
    message.split_once('/').map_or(message, |(source, _)| source).to_owned()
}

fn flaw_key(kind: FlawKind) -> &'static str {
    match kind {
        FlawKind::NoNumber => key::ASK_NO_NUMBER,
        FlawKind::NoAddress => key::ASK_NO_ADDRESS,
        FlawKind::UnknownCountry => key::ASK_UNKNOWN_COUNTRY,
        FlawKind::NoName => key::ASK_NO_NAME,
        FlawKind::BadQuantity => key::ASK_BAD_QUANTITY,
        FlawKind::NoGoods => key::ASK_NO_GOODS,
        FlawKind::OddCharacters => key::ASK_ODD_CHARACTERS,
    }
}

/// A paper that may have been printed or not: which, and why nobody knows.
fn uncertain(job: Option<&Job>, state: &State, form: &Form) -> String {
    let Some(job) = job else { return form.word(key::ASK_PAPER_GONE).to_owned() };
    let why = match &job.state {
        JobState::Uncertain { why } => reason(why, None, form),
        _ => String::new(),
    };
    let kind = form.word(match job.kind {
        PaperKind::Slip => key::PAPER_SLIP,
        PaperKind::Card => key::PAPER_CARD,
        PaperKind::PickList => key::PAPER_PICK_LIST,
        PaperKind::ChangeNote => key::PAPER_CHANGE_NOTE,
        PaperKind::StopNote => key::PAPER_STOP_NOTE,
        PaperKind::TestPage => key::PAPER_TEST_PAGE,
        PaperKind::Label => key::PAPER_LABEL,
        PaperKind::Customs => key::PAPER_CUSTOMS,
    });
    let of = match &job.subject {
        Subject::List { date, .. } => form.date(*date),
        Subject::Note(key, _) => label(&key.number),
        subject => subject.parcel().map(|id| label(&state.label(id))).unwrap_or_default(),
    };
    let paper = format!("{kind} {of}");
    form.fill(key::ASK_PAPER, &[("paper", paper.trim_end()), ("why", &why)])
}

#[cfg(test)]
mod tests;
