//! Reads a data directory that may be damaged: takes everything that is whole, whatever lies
//! around it, and says what is not. Changes nothing.

use super::archive::{self, History};
use super::damage::{Damage, DamageKind, Need, Span};
use super::frame::{self, HEADER_BYTES, Header, HeaderError};
use super::index_batch::Seen;
use super::installation::{self, Installation, InstallationId};
use super::salvage::{SegmentLook, each_line};
use super::segment::{list_or_empty, number_of, segment_path};
use super::{Disk, LedgerError, Tag, journal, record, sealed, snapshot, store};
use crate::model::OrderKey;
use jiff::Timestamp;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};

/// Everything that was found.
pub(super) struct Look {
    pub id: InstallationId,
    pub installation: Option<Installation>,
    pub segments: Vec<SegmentLook>,
    /// Up to which fact the carry stands for removed segments; by its name, whole or not.
    pub carry: Option<u64>,
    pub carry_whole: bool,
    /// Whole snapshots, newest first.
    pub snapshots: Vec<u64>,
    pub damage: Vec<Damage>,
    pub in_archives: Seen,
    pub in_carry: Seen,
    pub in_journal: Seen,
    /// Number of the last fact that is known to have been there.
    pub last: u64,
    pub last_alive: Option<Timestamp>,
    /// Archived orders that stand in no archive.
    pub unarchived: Vec<OrderKey>,
    pub files: usize,
    pub bytes: u64,
}

#[derive(Deserialize)]
struct Numbered {
    seq: u64,
}

/// The number of a fact, without reading all of it.
pub(super) fn seq_of(json: &str) -> Option<u64> {
    serde_json::from_str::<Numbered>(json).ok().map(|fact| fact.seq)
}

fn hash(order: &OrderKey) -> u64 {
    let mut hasher = DefaultHasher::new();
    order.hash(&mut hasher);
    hasher.finish()
}

/// How often each order stands in archives, and how often facts say that it does; by hashes, for
/// there may be a million.
#[derive(Default)]
struct Ends {
    stand: Vec<u64>,
    /// With the fact's number: one may stand in several files.
    said: Vec<(u64, u64)>,
}

impl Ends {
    fn note(&mut self, seq: u64, json: &str) {
        self.said.extend(record::archived_by(json).iter().map(|order| (hash(order), seq)));
    }
    /// Hashes of the orders that stand in fewer files than facts say.
    fn missing(mut self) -> Vec<u64> {
        self.stand.sort_unstable();
        self.said.sort_unstable();
        self.said.dedup();
        let said = self.said.chunk_by(|one, two| one.0 == two.0);
        let count = |order: u64| {
            self.stand.partition_point(|stand| *stand <= order) - self.stand.partition_point(|stand| *stand < order)
        };
        said.filter(|facts| count(facts[0].0) < facts.len()).map(|facts| facts[0].0).collect()
    }
}

impl Look {
    /// Reads everything. In a directory that a daemon is writing to, `live` is the last fact that
    /// was durable before; what is behind it is left alone.
    ///
    /// # Errors
    /// Where a directory cannot be listed, or a newer program wrote the files.
    pub fn read(disk: &dyn Disk, live: Option<u64>, pause: &mut dyn FnMut()) -> Result<Self, LedgerError> {
        let mut look = Self {
            id: InstallationId([0; 16]),
            installation: None,
            segments: Vec::new(),
            carry: None,
            carry_whole: true,
            snapshots: Vec::new(),
            damage: Vec::new(),
            in_archives: Seen::default(),
            in_carry: Seen::default(),
            in_journal: Seen::default(),
            last: 0,
            last_alive: None,
            unarchived: Vec::new(),
            files: 0,
            bytes: 0,
        };
        look.installation(disk)?;
        look.signs(disk, live)?;
        let mut ends = Ends::default();
        look.snapshots(disk)?;
        look.segments(disk, live, &mut ends, pause)?;
        look.chain(live);
        look.carry(disk, &mut ends)?;
        look.archives(disk, &mut ends, pause)?;
        look.name_unarchived(disk, ends.missing())?;
        if let Some(live) = live {
            look.last = live;
        }
        Ok(look)
    }

    fn report(&mut self, file: &str, kind: DamageKind, need: Need, what: impl Into<String>) -> &mut Damage {
        let at = self.damage.len();
        self.damage.push(Damage::new(file, kind, need, what));
        &mut self.damage[at]
    }

    /// Turns an error about a whole file into damage.
    fn report_error(&mut self, file: &str, need: Need, err: &LedgerError) {
        let (kind, what) = match err {
            LedgerError::Disk { cause, .. } if cause.kind() == std::io::ErrorKind::NotFound => {
                (DamageKind::Missing, "it is missing".to_owned())
            }
            LedgerError::Disk { cause, .. } => (DamageKind::Unreadable, format!("it cannot be read: {cause}")),
            LedgerError::OtherInstallation { theirs, .. } => {
                (DamageKind::Foreign, format!("it belongs to another installation ({theirs})"))
            }
            LedgerError::Version { version, by, .. } => {
                (DamageKind::Newer, format!("it is written in version {version}{by}; use a newer dawnslip"))
            }
            LedgerError::BadFile { what, .. } if what.starts_with("it was written as") => {
                (DamageKind::Misplaced, what.clone())
            }
            LedgerError::BadFile { what, .. } => (DamageKind::Damaged, what.clone()),
            other => (DamageKind::Damaged, other.to_string()),
        };
        self.report(file, kind, need, what);
    }

    /// Whose directory is this? What most files say counts: the file that says so may be the damaged one.
    fn installation(&mut self, disk: &dyn Disk) -> Result<(), LedgerError> {
        let mut says: BTreeMap<[u8; 16], usize> = BTreeMap::new();
        for name in list_or_empty(disk, journal::DIR)? {
            let start = disk.read_start(&format!("{}/{name}", journal::DIR), HEADER_BYTES).unwrap_or_default();
            if let Ok(header) = Header::from_bytes(&start) {
                *says.entry(header.installation).or_default() += 1;
            }
        }
        for dir in [snapshot::DIR, archive::DIR, archive::CARRY_DIR] {
            for name in list_or_empty(disk, dir)? {
                if let Some(id) = sealed::installation_of(disk, &format!("{dir}/{name}")) {
                    *says.entry(id.0).or_default() += 1;
                }
            }
        }
        let most = says.iter().max_by_key(|(_, files)| **files).map(|(id, _)| InstallationId(*id));
        let mut copies = Vec::new();
        for file in [installation::FILE, installation::SECOND] {
            match Installation::read_from(disk, file) {
                // Before the second copy there was one only.
                Ok(None) if file == installation::SECOND && matches!(copies.first(), Some((_, false))) => {}
                Ok(None) if most.is_none() => {}
                Ok(None) => drop(self.report(file, DamageKind::Missing, Need::Start, "it is missing")),
                Ok(Some((_, false))) if file == installation::SECOND => {
                    self.report(file, DamageKind::Damaged, Need::Start, "it has no checksum");
                }
                Ok(Some(found)) => copies.push(found),
                Err(err) => self.report_error(file, Need::Start, &err),
            }
        }
        let copies: Vec<Installation> = copies.into_iter().map(|(found, _)| found).collect();
        let fits = |found: &&Installation| most.is_none_or(|most| found.id == most);
        self.installation = copies.iter().find(fits).cloned();
        self.id = self.installation.as_ref().map(|found| found.id).or(most).unwrap_or(InstallationId([0; 16]));
        for (file, found) in [installation::FILE, installation::SECOND].into_iter().zip(&copies) {
            if Some(found) != self.installation.as_ref() {
                let what = format!("it belongs to another installation ({}), all other files to {}", found.id, self.id);
                self.report(file, DamageKind::Foreign, Need::Start, what);
            }
        }
        Ok(())
    }

    /// The marker of a clean stop and the sign of life: up to where the journal must reach.
    fn signs(&mut self, disk: &dyn Disk, live: Option<u64>) -> Result<(), LedgerError> {
        let sign = store::read_alive(disk);
        self.last_alive = sign.map(|sign| sign.at);
        self.last = sign.and_then(|sign| sign.synced).unwrap_or(0);
        let mut notices = Vec::new();
        match store::read_marker(disk, self.id, &mut notices) {
            Ok(marker) => self.last = self.last.max(marker.unwrap_or(0)),
            Err(err) => self.report_error("clean", Need::Start, &err),
        }
        for notice in notices.iter().filter(|_| live.is_none()) {
            self.report("clean", DamageKind::Damaged, Need::Nothing, notice.clone());
        }
        Ok(())
    }

    fn unknown(&mut self, dir: &str, name: &str) {
        // What was being written aside when the power went is overwritten next time.
        if !name.ends_with(".aside") {
            let what = "it is no file of dawnslip's; it is left alone";
            self.report(&format!("{dir}/{name}"), DamageKind::Unknown, Need::Nothing, what);
        }
    }

    fn snapshots(&mut self, disk: &dyn Disk) -> Result<(), LedgerError> {
        let seqs = snapshot::list(disk)?;
        for name in list_or_empty(disk, snapshot::DIR)? {
            self.files += 1;
            self.bytes += disk.len(&format!("{}/{name}", snapshot::DIR)).unwrap_or(0);
            // One whose facts part is not there was never finished, or lost it.
            let known = seqs.iter().any(|seq| snapshot::names(*seq).contains(&name));
            if !known && snapshot::seq_of_people(&name).is_some() {
                let what = "the part with the facts is missing; it counts for nothing";
                self.report(&format!("{}/{name}", snapshot::DIR), DamageKind::Unknown, Need::Nothing, what);
            } else if !known {
                self.unknown(snapshot::DIR, &name);
            }
        }
        for seq in seqs {
            match snapshot::read(disk, self.id, seq) {
                Ok(_) => self.snapshots.push(seq),
                Err(err) => {
                    let file = match &err {
                        LedgerError::BadFile { file, .. }
                        | LedgerError::Disk { file, .. }
                        | LedgerError::Version { file, .. }
                        | LedgerError::OtherInstallation { file, .. } => file.clone(),
                        _ => format!("{}/{seq:020}.facts", snapshot::DIR),
                    };
                    // Whether the start can do without it is seen at the end.
                    self.report_error(&file, Need::History, &err);
                    // One that was whole once proves that its fact was durable.
                    if !matches!(err, LedgerError::OtherInstallation { .. }) {
                        self.last = self.last.max(seq);
                    }
                }
            }
        }
        self.last = self.last.max(self.snapshots.first().copied().unwrap_or(0));
        Ok(())
    }

    fn segments(
        &mut self,
        disk: &dyn Disk,
        live: Option<u64>,
        ends: &mut Ends,
        pause: &mut dyn FnMut(),
    ) -> Result<(), LedgerError> {
        let mut names: Vec<(Option<u64>, String)> =
            list_or_empty(disk, journal::DIR)?.into_iter().map(|name| (number_of(&name), name)).collect();
        names.sort();
        let highest = names.iter().filter_map(|(number, _)| *number).max();
        for (number, name) in names {
            let Some(number) = number else {
                self.unknown(journal::DIR, &name);
                continue;
            };
            let file = segment_path(number);
            self.files += 1;
            let bytes = match disk.len(&file).and_then(|length| disk.read_start(&file, length as usize)) {
                Ok(bytes) => bytes,
                Err(cause) => {
                    let err = LedgerError::disk("read", &file)(cause);
                    self.report_error(&file, Need::Start, &err);
                    continue;
                }
            };
            self.bytes += bytes.len() as u64;
            let is_last = Some(number) == highest;
            if let Some(segment) = self.segment(&file, number, &bytes, is_last) {
                each_line(&bytes, &segment.runs, |line| {
                    if line.line.tag == Tag::Fact && live.is_none_or(|live| line.seq <= live) {
                        ends.note(line.seq, &line.line.json);
                    }
                });
                self.segments.push(segment);
            }
            pause();
        }
        self.segments.sort_by_key(|segment| (segment.number, segment.file != segment_path(segment.number)));
        self.last = self.last.max(self.segments.iter().map(|segment| segment.end - 1).max().unwrap_or(0));
        Ok(())
    }

    /// One segment's frames; `None` where nothing of it may be used.
    fn segment(&mut self, file: &str, number: u64, bytes: &[u8], is_last: bool) -> Option<SegmentLook> {
        let header = match Header::from_bytes(bytes) {
            Ok(header) => Some(header),
            Err(HeaderError::Version(version)) => {
                let what = format!("it is written in version {version}; use a newer dawnslip");
                self.report(file, DamageKind::Newer, Need::Start, what);
                return None;
            }
            Err(HeaderError::Torn) => None,
        };
        if let Some(header) = &header {
            if header.installation != self.id.0 {
                let theirs = InstallationId(header.installation);
                let what = format!("it belongs to another installation ({theirs})");
                self.report(file, DamageKind::Foreign, Need::Start, what);
                return None;
            }
            if header.number != number {
                let what = format!("it was written as segment {}", segment_path(header.number));
                self.report(file, DamageKind::Misplaced, Need::Start, what);
            }
        } else if frame::find_head(bytes).is_none() && is_last && number > 1 {
            self.report(file, DamageKind::Torn, Need::Nothing, "it was only being made, and holds nothing");
            return None;
        } else {
            self.report(file, DamageKind::Damaged, Need::Start, "its header is broken").offset = Some(0);
        }
        let mut segment = SegmentLook {
            file: file.to_owned(),
            number: header.as_ref().map_or(number, |header| header.number),
            runs: Vec::new(),
            bad: Vec::new(),
            end: header.as_ref().map_or(0, |header| header.first_seq),
            chain: None,
            header,
        };
        segment.scan(bytes);
        (segment.end > 0).then_some(segment)
    }

    /// Does each segment follow the one before? And what of the bytes that are no frames?
    fn chain(&mut self, live: Option<u64>) {
        let mut distrusted = Vec::new();
        let mut found = Vec::new();
        let snapshot = self.snapshots.first().copied().unwrap_or(0);
        for at in 0..self.segments.len() {
            let segment = &self.segments[at];
            let next = self.segments.get(at + 1);
            // The same segment a second time, under another name: told already, and used for nothing.
            if at > 0 && self.segments[at - 1].number == segment.number {
                distrusted.push(at);
                continue;
            }
            let next_header = next.and_then(|next| next.header.as_ref()).filter(|n| n.number == segment.number + 1);
            // The start reads from the segment on that holds what is behind the snapshot.
            let read = next_header.is_none_or(|next| next.first_seq > snapshot + 1);
            let need_of_content = if read { Need::Start } else { Need::History };
            if let Some(next) = next
                && next.number > segment.number + 1
            {
                let missing = segment_path(segment.number + 1);
                found.push(Damage::new(missing, DamageKind::Missing, Need::Start, "it is missing"));
            }
            for bad in &segment.bad {
                let is_tail = next.is_none() && segment.bad.last().is_some_and(|last| last.from == bad.from);
                let torn = is_tail && bad.next.is_none() && bad.first > self.last && bad.first >= segment.end;
                if torn && live.is_some() {
                    continue;
                }
                let (kind, need, what) = if torn {
                    let what = "a group that was being written when the power went; nobody was told that it was kept";
                    (DamageKind::Torn, Need::Nothing, what)
                } else {
                    (DamageKind::Damaged, need_of_content, "what stands here is no longer what was written")
                };
                let mut damage = Damage::new(&segment.file, kind, need, what);
                damage.offset = Some(bad.from as u64);
                let to = bad.next.or(next_header.map(|next| next.first_seq)).unwrap_or(bad.first + 1);
                damage.records = (to > bad.first).then(|| Span { from: bad.first, to: to - 1 });
                found.push(damage);
            }
            if let (Some(next), Some(chain)) = (next_header, segment.chain) {
                if segment.end == next.first_seq && chain != next.before {
                    let what = "it is whole, but not the one that stood before the next segment";
                    let mut damage = Damage::new(&segment.file, DamageKind::Misplaced, need_of_content, what);
                    damage.records = segment.span();
                    found.push(damage);
                    distrusted.push(at);
                } else if segment.end < next.first_seq && segment.bad.is_empty() {
                    let what = "it ends too early: its end was cut off, or it is an older copy";
                    let mut damage = Damage::new(&segment.file, DamageKind::Damaged, need_of_content, what);
                    damage.records = Some(Span { from: segment.end, to: next.first_seq - 1 });
                    found.push(damage);
                }
            }
            if next.is_none() && segment.end <= self.last && live.is_none() && segment.bad.is_empty() {
                let what = format!("it ends with record {}, record {} was there before", segment.end - 1, self.last);
                let mut damage = Damage::new(&segment.file, DamageKind::Damaged, Need::Start, what);
                damage.records = Some(Span { from: segment.end, to: self.last });
                found.push(damage);
            }
        }
        self.damage.extend(found);
        for at in distrusted.into_iter().rev() {
            self.segments.remove(at);
        }
        // Numbers count only where something that is trusted holds them.
        let upto = live.unwrap_or(u64::MAX);
        let runs = self.segments.iter().flat_map(|segment| &segment.runs);
        self.in_journal = runs.flat_map(|run| run.first..run.next.min(upto.saturating_add(1))).collect();
    }

    fn history<'d>(&self, disk: &'d dyn Disk) -> History<'d> {
        History { disk, id: self.id }
    }

    fn carry(&mut self, disk: &dyn Disk, ends: &mut Ends) -> Result<(), LedgerError> {
        let mut newest = None;
        for name in list_or_empty(disk, archive::CARRY_DIR)? {
            self.files += 1;
            self.bytes += disk.len(&format!("{}/{name}", archive::CARRY_DIR)).unwrap_or(0);
            match archive::carry_upto_of(&name) {
                Some(upto) => newest = newest.max(Some(upto)),
                None => self.unknown(archive::CARRY_DIR, &name),
            }
        }
        let history = self.history(disk);
        // Only people: the facts are written behind them, and were not, or are gone. While the
        // segments are still there, it counts for nothing.
        let counted = history.carry_upto()?;
        let first = self.segments.iter().filter_map(|s| s.header.as_ref()).map(|header| header.first_seq).min();
        let needed = newest.filter(|upto| first.is_none_or(|first| first > counted.unwrap_or(0) + 1) && *upto > 0);
        self.carry = counted.max(needed);
        let Some(upto) = self.carry else {
            if first.is_some_and(|first| first > 1) {
                self.carry = first.map(|first| first - 1);
                self.carry_whole = false;
                let what = format!("what stood in the segments before {} is missing", first.unwrap_or(0));
                let file = format!("{}/…", archive::CARRY_DIR);
                self.report(&file, DamageKind::Missing, Need::History, what);
            }
            return Ok(());
        };
        for part in ["facts", "people"] {
            let read = history.read_carry(upto, part);
            let file = archive::carry_path(upto, part);
            match read {
                Ok(lines) if part == "facts" => {
                    for json in &lines {
                        match seq_of(json) {
                            Some(seq) => {
                                self.in_carry.add(seq);
                                ends.note(seq, json);
                            }
                            None => {
                                self.carry_whole = false;
                                self.report(&file, DamageKind::Damaged, Need::History, "a line of it is no record");
                            }
                        }
                    }
                }
                Ok(_) => {}
                Err(err) => {
                    self.carry_whole = false;
                    self.report_error(&file, Need::History, &err);
                }
            }
        }
        Ok(())
    }

    fn archives(&mut self, disk: &dyn Disk, ends: &mut Ends, pause: &mut dyn FnMut()) -> Result<(), LedgerError> {
        let history = self.history(disk);
        let names = list_or_empty(disk, archive::DIR)?;
        for name in &names {
            let path = format!("{}/{name}", archive::DIR);
            self.files += 1;
            self.bytes += disk.len(&path).unwrap_or(0);
            let part = name.rsplit_once('.').map_or("", |(_, part)| part);
            if archive::number_of(name).is_none() {
                self.unknown(archive::DIR, name);
                continue;
            }
            let beside = |other: &str| name.replace(&format!(".{part}"), &format!(".{other}"));
            if part == "people" {
                if let Err(err) = history.read_people(&path) {
                    self.report_error(&path, Need::History, &err);
                }
                if !names.contains(&beside("facts")) {
                    let what = "the file of facts beside it is not there; it was never finished, or is lost";
                    self.report(&path, DamageKind::Unknown, Need::Nothing, what);
                }
                pause();
                continue;
            }
            if !names.contains(&beside("people")) {
                let what = "the file of persons beside it is not there; they were forgotten, or it is lost";
                self.report(&path, DamageKind::Missing, Need::Nothing, what);
            }
            // Counted only once all of it has proved whole.
            let mut entries: Vec<(Option<u64>, u64)> = Vec::new();
            let mut said = Ends::default();
            let read = history.read_archive(&path, |order, json| {
                let seq = seq_of(json).ok_or_else(|| LedgerError::bad_file(&path, "a line of it is no record"))?;
                entries.push((order.map(hash), seq));
                said.note(seq, json);
                Ok(())
            });
            match read {
                Ok(_) => {
                    ends.said.append(&mut said.said);
                    let mut last = None;
                    for (order, seq) in entries {
                        self.in_archives.add(seq);
                        if order != last {
                            ends.stand.extend(order);
                            last = order;
                        }
                    }
                }
                Err(err) => self.report_error(&path, Need::History, &err),
            }
            pause();
        }
        Ok(())
    }

    /// Finds the names of orders that are in no archive though a fact says so.
    fn name_unarchived(&mut self, disk: &dyn Disk, missing: Vec<u64>) -> Result<(), LedgerError> {
        if missing.is_empty() {
            return Ok(());
        }
        let mut named = BTreeMap::new();
        let mut take = |json: &str| {
            for order in record::archived_by(json) {
                let hash = hash(&order);
                if missing.contains(&hash) {
                    named.insert(hash, order);
                }
            }
        };
        self.each_fact(disk, &mut |_, json| take(json))?;
        self.unarchived = named.into_values().collect();
        let some: Vec<String> = self.unarchived.iter().take(6).map(ToString::to_string).collect();
        let what = format!(
            "{} archived {} in no archive: {}{}",
            self.unarchived.len(),
            if self.unarchived.len() == 1 { "order stands" } else { "orders stand" },
            some.join(", "),
            if self.unarchived.len() > some.len() { ", …" } else { "" }
        );
        self.report(&format!("{}/…", archive::DIR), DamageKind::Missing, Need::History, what);
        Ok(())
    }

    /// Every fact in whatever is whole and trusted, file by file; a number may come more than once.
    pub fn each_fact(&self, disk: &dyn Disk, take: &mut dyn FnMut(u64, &str)) -> Result<(), LedgerError> {
        let history = self.history(disk);
        for name in list_or_empty(disk, archive::DIR)?.iter().filter(|name| name.ends_with(".facts")) {
            let path = format!("{}/{name}", archive::DIR);
            let mut facts = Vec::new();
            let read = history.read_archive(&path, |_, json| {
                facts.extend(seq_of(json).map(|seq| (seq, json.to_owned())));
                Ok(())
            });
            if read.is_ok() {
                facts.iter().for_each(|(seq, json)| take(*seq, json));
            }
        }
        if let Some(upto) = self.carry
            && let Ok(lines) = history.read_carry(upto, "facts")
        {
            lines.iter().for_each(|json| seq_of(json).into_iter().for_each(|seq| take(seq, json)));
        }
        for segment in &self.segments {
            let bytes = disk.read(&segment.file).map_err(LedgerError::disk("read", &segment.file))?;
            each_line(&bytes, &segment.runs, |line| {
                if line.line.tag == Tag::Fact {
                    take(line.seq, &line.line.json);
                }
            });
        }
        Ok(())
    }
}
