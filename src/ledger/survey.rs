//! Surveys a data directory: what is damaged, what of it lies elsewhere as well, what is lost.
//! Changes nothing.

use super::damage::{Damage, DamageKind, Loss, Need, ORDERS_NAMED_MAX, Restorable, Span, Survey};
use super::index_batch::Seen;
use super::look::Look;
use super::record::fact_from;
use super::segment::segment_path;
use super::{Disk, LedgerError, Line, Tag, archive, snapshot};
use crate::book::{About, about};
use crate::model::OrderKey;
use jiff::Timestamp;
use serde::Deserialize;
use std::collections::BTreeMap;

/// How often files may change under a survey before it is left for later.
const TRIES_MAX: u32 = 5;

/// One record of a backup.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpareLine {
    /// A fact's own number; a person's line belongs behind this fact.
    pub seq: u64,
    /// The record.
    pub line: Line,
}

/// Where records lie besides the data directory: its backups.
pub trait Spares {
    /// Gives every record of this installation in every backup that proves whole, the newest
    /// backup first; `take` gets the backup's name in words.
    ///
    /// # Errors
    /// Where the backups cannot be listed; one that is damaged is left out.
    fn each(&self, installation: [u8; 16], take: &mut dyn FnMut(&str, SpareLine)) -> Result<(), LedgerError>;
    /// The installation's key, as a backup holds it.
    fn key(&self, installation: [u8; 16]) -> Option<[u8; 32]>;
}

/// No backups.
pub struct NoSpares;

impl Spares for NoSpares {
    fn each(&self, _: [u8; 16], _: &mut dyn FnMut(&str, SpareLine)) -> Result<(), LedgerError> {
        Ok(())
    }
    fn key(&self, _: [u8; 16]) -> Option<[u8; 32]> {
        None
    }
}

/// What a look found, and what is to be done about it.
pub(super) struct Findings {
    pub look: Look,
    pub survey: Survey,
    /// The journal is to begin behind this fact; archives and carry hold what is up to it.
    pub carry_upto: u64,
    /// A new carry is needed.
    pub new_carry: bool,
    /// Records that are not where they belong.
    pub displaced: Seen,
    /// Records that are only in backups.
    pub spared: Seen,
}

/// Surveys a directory that nobody writes to.
///
/// # Errors
/// Where it cannot be read at all.
pub fn survey(disk: &dyn Disk, spares: &dyn Spares) -> Result<Survey, LedgerError> {
    Ok(find(disk, spares)?.survey)
}

/// Surveys a directory that a daemon is writing to; `upto` is a fact that is durable. `pause` is
/// called after each file, to leave disk and processor to those who need them.
///
/// # Errors
/// Where it cannot be read, or files never stood still long enough.
pub fn survey_live(disk: &dyn Disk, upto: u64, pause: &mut dyn FnMut()) -> Result<Survey, LedgerError> {
    for _ in 0..TRIES_MAX {
        let before = files_now(disk)?;
        let look = Look::read(disk, Some(upto), pause)?;
        if files_now(disk)? == before {
            return Ok(Findings::of(look, disk, &NoSpares)?.survey);
        }
    }
    Err(LedgerError::Incomplete { what: "files changed while they were read".to_owned() })
}

fn files_now(disk: &dyn Disk) -> Result<Vec<Vec<String>>, LedgerError> {
    let dirs = [super::journal::DIR, snapshot::DIR, archive::DIR, archive::CARRY_DIR];
    dirs.into_iter().map(|dir| super::segment::list_or_empty(disk, dir)).collect()
}

pub(super) fn find(disk: &dyn Disk, spares: &dyn Spares) -> Result<Findings, LedgerError> {
    Findings::of(Look::read(disk, None, &mut || {})?, disk, spares)
}

impl Findings {
    fn of(mut look: Look, disk: &dyn Disk, spares: &dyn Spares) -> Result<Self, LedgerError> {
        judge_start(&mut look);
        let carry_upto = look.carry.unwrap_or(0);
        let mut displaced = Seen::default();
        let mut nowhere = Seen::default();
        let mut new_carry = !look.carry_whole && carry_upto > 0;
        for seq in 1..=look.last {
            let placed = if seq > carry_upto {
                look.in_journal.has(seq)
            } else {
                look.in_archives.has(seq) || look.in_carry.has(seq)
            };
            if placed {
                continue;
            }
            displaced.add(seq);
            new_carry |= seq <= carry_upto;
            if !(look.in_archives.has(seq) || look.in_carry.has(seq) || look.in_journal.has(seq)) {
                nowhere.add(seq);
            }
        }
        name_what_is_missing(&mut look, &displaced);
        let mut restorable = Vec::new();
        let mut spared = Seen::default();
        if displaced.count > nowhere.count {
            let others: Seen = displaced.iter(look.last).filter(|seq| !nowhere.has(*seq)).collect();
            let source = "other files of the data folder".to_owned();
            restorable.push(Restorable { source, records: others.spans(look.last) });
        }
        let damaged = look.damage.iter().any(|damage| damage.needed_for > Need::Nothing);
        if damaged && nowhere.count > 0 {
            let mut sources: BTreeMap<String, Seen> = BTreeMap::new();
            spares.each(look.id.0, &mut |name, spare| {
                if spare.line.tag == Tag::Fact && nowhere.has(spare.seq) && spared.add(spare.seq) {
                    sources.entry(name.to_owned()).or_default().add(spare.seq);
                }
            })?;
            let last = look.last;
            restorable
                .extend(sources.into_iter().map(|(source, seen)| Restorable { source, records: seen.spans(last) }));
        }
        let lost: Seen = nowhere.iter(look.last).filter(|seq| !spared.has(*seq)).collect();
        let lost = losses(&look, disk, lost.spans(look.last))?;
        let mut notes = Vec::new();
        if look.installation.is_none() && damaged {
            notes.push(match spares.key(look.id.0) {
                Some(_) => "the secret key of this data folder comes from a backup".to_owned(),
                None => "the secret key of this data folder is lost and made anew: orders to an address of before are \
                         no longer recognised as going to the same one"
                    .to_owned(),
            });
        }
        if displaced.count == 0 && damaged {
            notes.push("every record stands in a whole file: the state is restored in full".to_owned());
        }
        if look
            .damage
            .iter()
            .any(|d| d.needed_for > Need::Nothing && d.file.starts_with(archive::DIR) && d.file.ends_with(".people"))
        {
            notes.push(
                "names and addresses of archived orders in damaged files stay lost; their figures are kept".to_owned(),
            );
        }
        let survey = Survey {
            files: look.files,
            bytes: look.bytes,
            last: look.last,
            damage: look.damage.clone(),
            restorable,
            lost,
            notes,
        };
        Ok(Self { look, survey, carry_upto, new_carry, displaced, spared })
    }
}

/// Says of damaged snapshots, and of missing ones, whether the start can do without them; and of
/// damage below the newest whole one that it cannot stop the start.
fn judge_start(look: &mut Look) {
    let begins = look.segments.iter().filter_map(|s| s.header.as_ref()).map(|header| header.first_seq).min();
    let newest = look.snapshots.first().copied();
    let reaches = begins.is_some_and(|first| first <= newest.unwrap_or(0) + 1);
    let mut told = false;
    for damage in &mut look.damage {
        if damage.file.starts_with(snapshot::DIR) && damage.needed_for > Need::Nothing && !reaches {
            damage.needed_for = Need::Start;
            told = true;
        }
    }
    if !reaches && !told && newest.is_none() && begins.is_some() {
        let what = format!("there is none, and the journal begins with record {} only", begins.unwrap_or(0));
        look.damage.push(Damage::new(format!("{}/…", snapshot::DIR), DamageKind::Missing, Need::Start, what));
    }
}

/// Where records are missing though no file that is there is damaged.
fn name_what_is_missing(look: &mut Look, displaced: &Seen) {
    let told = look.damage.iter().any(|damage| damage.needed_for > Need::Nothing);
    if displaced.count == 0 || told {
        return;
    }
    let spans = displaced.spans(look.last);
    let Some(span) = spans.first().copied() else { return };
    let first = look.segments.first();
    let (file, need) = match first {
        Some(first) if look.carry.unwrap_or(0) < span.from && first.number > 1 && span.to < first.end => {
            (segment_path(first.number - 1), Need::History)
        }
        None => (segment_path(1), Need::Start),
        _ => (format!("{}/…", archive::DIR), Need::History),
    };
    let mut damage = Damage::new(file, DamageKind::Missing, need, "it is missing");
    damage.records = Some(span);
    look.damage.push(damage);
}

#[derive(Deserialize)]
struct Dated {
    seq: u64,
    at: Timestamp,
}

/// When was that, and what is left of it?
fn losses(look: &Look, disk: &dyn Disk, spans: Vec<Span>) -> Result<Vec<Loss>, LedgerError> {
    let mut lost: Vec<(Loss, u64, u64)> = Vec::new();
    for records in spans {
        let open_work = !look.snapshots.iter().any(|seq| *seq >= records.to);
        let loss = Loss { records, after: None, before: None, orders: Vec::new(), open_work };
        lost.push((loss, 0, u64::MAX));
    }
    if lost.is_empty() {
        return Ok(Vec::new());
    }
    look.each_fact(disk, &mut |seq, json| {
        // The losses next to it: the last one that begins behind it, the first one that ends before.
        let behind = lost.partition_point(|(loss, ..)| loss.records.from <= seq);
        let nearer_after = lost.get(behind).is_some_and(|(_, after, _)| seq > *after);
        let nearer_before = behind > 0 && seq < lost[behind - 1].2 && seq > lost[behind - 1].0.records.to;
        if !(nearer_after || nearer_before) {
            return;
        }
        let Ok(Dated { seq, at }) = serde_json::from_str(json) else { return };
        if nearer_after && let Some((loss, after, _)) = lost.get_mut(behind) {
            (loss.after, *after) = (Some(at), seq);
        }
        if nearer_before && let Some((loss, _, before)) = lost.get_mut(behind - 1) {
            (loss.before, *before) = (Some(at), seq);
        }
    })?;
    let mut losses: Vec<Loss> = lost.into_iter().map(|(loss, ..)| loss).collect();
    for loss in &mut losses {
        loss.before = loss.before.or(look.last_alive.filter(|alive| loss.after.is_none_or(|after| after <= *alive)));
    }
    for damage in &look.damage {
        if damage.kind == DamageKind::Damaged
            && let Ok(bytes) = disk.read(&damage.file)
        {
            name_orders(&bytes, &mut losses);
        }
    }
    Ok(losses)
}

/// Names orders by lines of damaged bytes that still read as records. They prove nothing, so they
/// are named and not used.
fn name_orders(bytes: &[u8], losses: &mut [Loss]) {
    #[derive(Deserialize)]
    struct Entry {
        order: Option<OrderKey>,
        records: Vec<Box<serde_json::value::RawValue>>,
    }
    let mut name = |seq: u64, orders: &[OrderKey]| {
        let Some(loss) = losses.iter_mut().find(|loss| (loss.records.from..=loss.records.to).contains(&seq)) else {
            return;
        };
        for order in orders {
            if loss.orders.len() < ORDERS_NAMED_MAX && !loss.orders.contains(order) {
                loss.orders.push(order.clone());
            }
        }
    };
    for line in bytes.split(|byte| *byte == b'\n') {
        if let Ok(entry) = serde_json::from_slice::<Entry>(line) {
            for seq in entry.records.iter().filter_map(|json| super::look::seq_of(json.get())) {
                entry.order.iter().for_each(|order| name(seq, std::slice::from_ref(order)));
            }
            continue;
        }
        // A frame's head may stand ahead of the first line.
        const START: &[u8] = b"{\"v\":";
        let Some(start) = line.windows(START.len()).position(|window| window == START) else { continue };
        if let Ok(text) = std::str::from_utf8(&line[start..])
            && let Ok(stamped) = fact_from(text)
            && let About::Orders(orders) = about(&stamped.fact)
        {
            name(stamped.seq, &orders);
        }
    }
}
