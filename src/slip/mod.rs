//! Paper, pure: the document model, every paper built from state, and three renderers
//! that agree: bytes, picture, text.
//!
//! May touch: its arguments, font bytes. Never: sockets, files, clocks, async, randomness.

pub mod address;
pub mod bitmap;
pub mod brief;
pub mod bytes;
pub mod card;
pub mod clean;
pub mod codes;
pub mod day;
pub mod document;
pub mod fonts;
pub mod halftone;
pub mod label;
pub mod layout;
pub mod letters;
pub mod logo;
pub mod look;
pub mod markdown;
pub mod notes;
pub mod ornament;
pub mod packing;
pub mod picklist;
pub mod picture;
pub mod said;
pub mod sample;
pub mod sheet;
pub mod sizes;
pub mod testpage;
pub mod text;
pub mod typeset;
pub mod widths;
pub mod words;

pub use card::TemplateMistake;
pub use document::Document;
pub use fonts::Fonts;
pub use layout::{Page, Sheet};
pub use typeset::{Coverage, Typesetter};

use crate::book::{People, State};
use crate::model::{CopyMark, Job, OrderKey, PaperKind, ParcelId, Printer, Subject, Workshop};
use document::{Block, Cell, Run};
use jiff::Timestamp;
use words::Form;

/// Why a paper could not be made. The caller keeps the job and says so; a paper that is only
/// not as it should be has [`Warning`]s instead.
#[derive(Debug, thiserror::Error)]
pub enum SlipError {
    /// The state has no such parcel (it was planned anew, or archived).
    #[error("parcel {0} is no longer in the book")]
    NoParcel(ParcelId),
    /// The state has no such order.
    #[error("order {0} is no longer in the book")]
    NoOrder(OrderKey),
    /// A kind that is about something else: a slip of a pick list.
    #[error("a {kind} cannot be about {subject:?}")]
    Mismatch {
        /// The kind.
        kind: PaperKind,
        /// The subject.
        subject: Subject,
    },
    /// The picture.
    #[error(transparent)]
    Picture(#[from] picture::PictureError),
    /// The bytes.
    #[error(transparent)]
    Bytes(#[from] bytes::BytesError),
}

/// What is wanted.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    /// Kind of paper.
    pub kind: PaperKind,
    /// About what.
    pub subject: &'a Subject,
    /// It is a second one.
    pub copy: Option<&'a CopyMark>,
}

impl<'a> Wanted<'a> {
    /// What a job prints.
    pub fn of(job: &'a Job) -> Self {
        Self { kind: job.kind, subject: &job.subject, copy: job.copy.as_ref() }
    }
}

/// A paper, ready to be rendered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paper {
    /// What it says.
    pub document: Document,
    /// What is not as it should be; told at the desk, never a reason not to print.
    pub warnings: Vec<Warning>,
}

/// What is not as it should be. `Display` is for people and holds no personal data but the
/// letters that are missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Warning {
    /// No face has these letters; they print as empty boxes.
    MissingLetters(Vec<char>),
    /// A card's template could not be used; a plain card was printed.
    Template(TemplateMistake),
    /// No template of this name; a plain card was printed.
    NoTemplate(String),
    /// The person was erased meanwhile.
    NameErased,
    /// It is longer than a roll; what lies beyond is not printed.
    CutOff,
}

impl std::fmt::Display for Warning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::MissingLetters(letters) => {
                let codes: Vec<String> = letters.iter().map(|c| format!("U+{:04X}", *c as u32)).collect();
                write!(f, "no font has {}; add one to the fonts folder", codes.join(" "))
            }
            Self::Template(mistake) => write!(f, "{mistake}; a plain card was printed"),
            Self::NoTemplate(name) => write!(f, "there is no cards/{name}.md; a plain card was printed"),
            Self::NameErased => f.write_str("the person's data were erased"),
            Self::CutOff => f.write_str("it is longer than a roll of paper; its end was left out"),
        }
    }
}

/// Builds a paper from the state.
pub fn paper(
    wanted: &Wanted,
    state: &State,
    people: &People,
    workshop: &Workshop,
    setter: &mut Typesetter,
    now: Timestamp,
) -> Result<Paper, SlipError> {
    let form = Form::of(workshop);
    let shop = clean::line(&workshop.name, clean::LABEL_MAX);
    let sender: Vec<String> = workshop.sender.iter().map(|line| clean::line(line, clean::LABEL_MAX)).collect();
    let mut warnings = Vec::new();
    let copy = wanted.copy.map(|mark| in_words(mark, wanted.subject, state, people, &form));
    let copy = copy.as_ref();
    let mut parcel = |id: ParcelId| {
        let brief = brief::parcel(id, state, people, workshop).ok_or(SlipError::NoParcel(id))?;
        if brief.name.is_none() {
            warnings.push(Warning::NameErased);
        }
        Ok::<_, SlipError>(brief)
    };
    let order = |key: &OrderKey| state.orders.get(key).ok_or_else(|| SlipError::NoOrder(key.clone()));
    let mut document = match (wanted.kind, wanted.subject) {
        (PaperKind::Slip, Subject::Parcel(id)) => sheet::slip(&parcel(*id)?, copy, &form, &shop, now),
        (PaperKind::Card, Subject::Card(id, name)) => {
            let brief = parcel(*id)?;
            let template = workshop.cards.get(name);
            let (document, mistake) = card::card(&brief, template, &form, &shop, now);
            warnings.extend(mistake.map(Warning::Template));
            if template.is_none() {
                warnings.push(Warning::NoTemplate(name.to_string()));
            }
            document
        }
        (PaperKind::Label, Subject::Label(id)) => label::label(&parcel(*id)?, &form, &sender),
        (PaperKind::Customs, Subject::Customs(id)) => label::customs(&parcel(*id)?, &form, &sender),
        (PaperKind::PickList, Subject::List { date, extra }) => {
            picklist::pick_list(&day::day(*date, *extra, state, people, workshop, now), &form, &shop)
        }
        (PaperKind::ChangeNote, Subject::Note(key, _)) => notes::change(order(key)?, state, people, workshop, now),
        (PaperKind::StopNote, Subject::Note(key, _)) => notes::stop(order(key)?, state, people, workshop, now),
        (PaperKind::TestPage, Subject::Test(count)) => {
            testpage::test_page(workshop.printer_for(PaperKind::TestPage), workshop, *count, now)
        }
        (kind, subject) => return Err(SlipError::Mismatch { kind, subject: subject.clone() }),
    };
    // The slip marks its own halves. A second card or label leaves the house like the first: it
    // carries no mark, the bench learns of it from the slip beside it.
    if let Some(mark) = copy
        && !matches!(wanted.kind, PaperKind::Slip | PaperKind::Card | PaperKind::Label)
    {
        let mut head = Document::default();
        sheet::copy_head(&mut head, mark, &form, now);
        head.blocks.append(&mut document.blocks);
        document.blocks = head.blocks;
    }
    Ok(settled(document, warnings, setter))
}

/// The paper of a document: without pictographs that no face has, with a warning for each letter that none has.
pub fn settled(mut document: Document, mut warnings: Vec<Warning>, setter: &mut Typesetter) -> Paper {
    let missing = settle_letters(&mut document, setter);
    if !missing.is_empty() {
        warnings.push(Warning::MissingLetters(missing));
    }
    Paper { document, warnings }
}

/// The mark with its reason in the words of the paper, or as a person typed it, as long as that is kept.
fn in_words(mark: &CopyMark, subject: &Subject, state: &State, people: &People, form: &Form) -> CopyMark {
    let order = state.order_of(subject);
    let said = order.as_ref().and_then(|order| people.said(order, mark.at)).filter(|_| mark.why.is_empty());
    let why = said.map_or(mark.why.as_str(), |text| text.reveal());
    CopyMark { why: said::reason(why, order.as_ref().map(|order| order.number.as_str()), form), ..mark.clone() }
}

/// Takes out pictographs that no face has, and names the letters that none has.
fn settle_letters(document: &mut Document, setter: &mut Typesetter) -> Vec<char> {
    let mut missing = Vec::new();
    let mut settle = |text: &mut String| {
        if text.is_ascii() {
            return;
        }
        *text = setter.without_unknown_pictographs(text);
        missing.extend(setter.missing(text));
    };
    let mut runs = |runs: &mut [Run]| runs.iter_mut().for_each(|run| settle(&mut run.text));
    for block in &mut document.blocks {
        match block {
            Block::Text(paragraph) | Block::Band(paragraph) => runs(&mut paragraph.runs),
            Block::Name(name) => {
                let mut of_name = [Run::new(std::mem::take(&mut name.text), name.face, name.largest)];
                runs(&mut of_name);
                let [run] = of_name;
                name.text = run.text;
            }
            Block::Sides(sides) => {
                runs(&mut sides.left);
                runs(&mut sides.right);
            }
            Block::Table(table) => {
                for cell in table.rows.iter_mut().flatten() {
                    if let Cell::Text(words) = cell {
                        runs(words);
                    }
                }
            }
            Block::Packing(packing) => {
                // The other words are digits and the workshop's own.
                packing.names.iter_mut().for_each(|named| runs(std::slice::from_mut(&mut named.name)));
                packing.layers.iter_mut().for_each(|layer| runs(std::slice::from_mut(&mut layer.word)));
            }
            Block::Qr(_) | Block::Bars(_) | Block::Rule(_) | Block::Space(_) => {}
            Block::Picture(_) | Block::TearLine | Block::Cut => {}
        }
    }
    missing.sort_unstable();
    missing.dedup();
    missing
}

impl From<&Printer> for Sheet {
    fn from(printer: &Printer) -> Self {
        Self { dots: printer.dots, dpi: printer.dpi }
    }
}

/// The bytes for a printer; with a process id they end with the question whose answer says
/// that all of it is on paper, as the printer's profile can answer it.
pub fn render_bytes(
    paper: &Paper,
    printer: &Printer,
    process_id: Option<[u8; 4]>,
    setter: &mut Typesetter,
) -> Result<Vec<u8>, SlipError> {
    let page = layout::layout(&paper.document, printer.into(), setter);
    Ok(bytes::bytes(&page, printer, process_id)?)
}

/// The picture: the same dots as in the bytes, as PNG.
pub fn render_png(paper: &Paper, sheet: Sheet, setter: &mut Typesetter) -> Result<Vec<u8>, SlipError> {
    Ok(picture::png(&layout::layout(&paper.document, sheet, setter).dots)?)
}

/// The words: 48 columns for 576 dots, 32 for 384; each line ends with a line feed.
pub fn render_text(paper: &Paper, sheet: Sheet, setter: &mut Typesetter) -> String {
    layout::layout(&paper.document, sheet, setter).lines.iter().map(|line| format!("{line}\n")).collect()
}
