//! Looks, before anything is changed, whether a newer program has written here.
//!
//! The forms of segments, of whole files and of records each have a version; a newer program
//! that writes another form raises it. Only reads. Damage is told by whoever reads for good.

use super::archive::{CARRY_DIR, DIR as ARCHIVE_DIR};
use super::frame::{self, HEADER_BYTES};
use super::installation::InstallationId;
use super::segment::{self, list_or_empty};
use super::{Disk, LedgerError, Line, RecordError, Tag, record, sealed, snapshot};

/// How records of the version known here begin; what begins otherwise is read to tell.
const KNOWN: [&str; 4] = ["{\"v\":1,", "{\"of\":{\"v\":1,", "{\"raw\":{\"v\":1,", "{\"said\":{\"v\":1,"];

/// Refuses a data directory in which something is written in a newer form.
///
/// # Errors
/// [`LedgerError::Version`] with the file, its version and, where it is known, the program's.
pub(super) fn check(disk: &dyn Disk, id: InstallationId) -> Result<(), LedgerError> {
    let numbers = segment::segment_numbers(disk)?;
    let mut headers = Vec::new();
    for number in &numbers {
        let file = segment::segment_path(*number);
        let start = disk.read_start(&file, HEADER_BYTES).map_err(LedgerError::disk("read", &file))?;
        match segment::read_header(&file, &start, *number, id) {
            Err(err @ LedgerError::Version { .. }) => return Err(err),
            Ok(Some(header)) => headers.push((file, header, start)),
            _ => {}
        }
    }
    for dir in [snapshot::DIR, CARRY_DIR, ARCHIVE_DIR] {
        for name in list_or_empty(disk, dir)? {
            sealed::check_version(disk, &format!("{dir}/{name}"))?;
        }
    }
    let after = snapshot::list(disk)?.first().copied().unwrap_or(0);
    let begins_later = |at: usize| headers.get(at).is_none_or(|(_, header, _)| header.first_seq > after + 1);
    for at in (0..headers.len()).filter(|at| begins_later(at + 1)) {
        let (file, header, start) = &headers[at];
        let Ok(bytes) = disk.read(file) else { continue };
        let mut newer = None;
        // What is damaged is told when it is read for good.
        let _ = segment::scan(file, &bytes, header, |line| {
            newer = newer.take().or_else(|| newer_record(&line.line, frame::program_of(start), file));
        });
        if let Some(err) = newer {
            return Err(err);
        }
    }
    Ok(())
}

fn newer_record(line: &Line, program: Option<String>, file: &str) -> Option<LedgerError> {
    if KNOWN.iter().any(|begin| line.json.starts_with(begin)) {
        return None;
    }
    let err = match line.tag {
        Tag::Fact => record::fact_from(&line.json).err()?,
        Tag::Person => record::person_from(&line.json).err()?,
    };
    match err {
        RecordError::Version { what, version, newest } => {
            Some(LedgerError::newer(&format!("{what} in {file}"), version.into(), program, newest.into()))
        }
        _ => None,
    }
}
