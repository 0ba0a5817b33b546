//! Whole files that are written once: written aside, synced, renamed, the directory synced.
//! A first line of JSON says what the file is, whose, up to which fact it is true, how long it
//! is, and its checksum.

use super::installation::InstallationId;
use super::{Disk, LedgerError};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// Version of this envelope.
const SEALED_VERSION: u32 = 1;
/// End of the names of files that are not yet whole.
pub(super) const ASIDE: &str = ".aside";

#[derive(Serialize, Deserialize)]
struct Envelope {
    dawnslip: String,
    v: u32,
    installation: InstallationId,
    seq: u64,
    /// The file's name, without its directory: one file under the name of another is told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    bytes: usize,
    sha256: String,
    /// Version of the program that wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    by: Option<String>,
}

/// Only the version, for files of a newer program whose envelope may look otherwise.
#[derive(Deserialize)]
struct VersionOnly {
    v: u32,
    by: Option<String>,
}

/// Enough of a file to hold its first line.
const FIRST_LINE_BYTES: usize = 1024;

/// Is a file written by a newer program? Reads its first line only; what is no sealed file is
/// told by whoever reads it whole.
///
/// # Errors
/// [`LedgerError::Version`].
pub fn check_version(disk: &dyn Disk, path: &str) -> Result<(), LedgerError> {
    let Ok(start) = disk.read_start(path, FIRST_LINE_BYTES) else { return Ok(()) };
    newer(path, start.split(|byte| *byte == b'\n').next().unwrap_or_default()).map_or(Ok(()), Err)
}

fn newer(path: &str, first_line: &[u8]) -> Option<LedgerError> {
    let VersionOnly { v, by } = serde_json::from_slice(first_line).ok()?;
    (v > SEALED_VERSION).then(|| LedgerError::newer(path, v, by, SEALED_VERSION))
}

/// What a sealed file is and whose.
#[derive(Clone, Copy)]
pub struct Kind<'a> {
    /// For example `snapshot facts`.
    pub what: &'a str,
    /// The data directory's installation.
    pub installation: InstallationId,
}

impl Kind<'_> {
    fn digest(&self, seq: u64, name: Option<&str>, body: &[u8]) -> String {
        let mut hasher = Sha256::new_with_prefix(format!("{} {seq} {}", self.what, self.installation));
        if let Some(name) = name {
            hasher.update(format!(" {name}"));
        }
        hasher.update("\n");
        hasher.update(body);
        data_encoding::HEXLOWER.encode(&hasher.finalize())
    }

    /// Writes `path`; when this returns, the whole file is durable under its name.
    ///
    /// # Errors
    /// Those of the disk; the file aside is then removed if that can be done.
    pub fn write(&self, disk: &dyn Disk, path: &str, seq: u64, body: &[u8]) -> Result<(), LedgerError> {
        write_aside(disk, path, &[&self.first_line(path, seq, body)?, body])
    }

    /// Writes `path` without waiting for the disk: for what can be made again. One that a power cut
    /// leaves half is told by its checksum.
    ///
    /// # Errors
    /// Those of the disk.
    pub fn write_lazily(&self, disk: &dyn Disk, path: &str, seq: u64, body: &[u8]) -> Result<(), LedgerError> {
        let whole = [&self.first_line(path, seq, body)?, body].concat();
        let written = disk.create(path).and_then(|mut file| file.write_at(0, &whole));
        written.map_err(LedgerError::disk("write", path))
    }

    fn first_line(&self, path: &str, seq: u64, body: &[u8]) -> Result<Vec<u8>, LedgerError> {
        let envelope = Envelope {
            dawnslip: self.what.to_owned(),
            v: SEALED_VERSION,
            installation: self.installation,
            seq,
            name: Some(name_of(path).to_owned()),
            bytes: body.len(),
            sha256: self.digest(seq, Some(name_of(path)), body),
            by: Some(env!("CARGO_PKG_VERSION").to_owned()),
        };
        let mut start = serde_json::to_vec(&envelope)
            .map_err(|err| LedgerError::Misuse { what: format!("an envelope could not be written: {err}") })?;
        start.push(b'\n');
        Ok(start)
    }

    /// Reads `path` and checks all of it.
    ///
    /// # Errors
    /// See [`LedgerError`]; damage is named.
    pub fn read(&self, disk: &dyn Disk, path: &str) -> Result<(u64, Vec<u8>), LedgerError> {
        let mut bytes = disk.read(path).map_err(LedgerError::disk("read", path))?;
        let damaged = |what: &str| LedgerError::bad_file(path, what);
        let end = bytes.iter().position(|b| *b == b'\n').ok_or_else(|| damaged("it has no first line"))?;
        if let Some(err) = newer(path, &bytes[..end]) {
            return Err(err);
        }
        let envelope: Envelope =
            serde_json::from_slice(&bytes[..end]).map_err(|_| damaged("its first line does not say what it is"))?;
        let body = bytes.split_off(end + 1);
        if envelope.dawnslip != self.what {
            return Err(damaged(&format!("it should be a {}, it is a {}", self.what, envelope.dawnslip)));
        }
        if envelope.installation != self.installation {
            return Err(LedgerError::OtherInstallation {
                file: path.to_owned(),
                theirs: envelope.installation.to_string(),
                ours: self.installation.to_string(),
            });
        }
        if body.len() != envelope.bytes {
            return Err(damaged(&format!("it holds {} bytes of {}", body.len(), envelope.bytes)));
        }
        if self.digest(envelope.seq, envelope.name.as_deref(), &body) != envelope.sha256 {
            return Err(damaged("its checksum does not fit"));
        }
        if let Some(name) = envelope.name.filter(|name| name != name_of(path)) {
            return Err(damaged(&format!("it was written as {name}")));
        }
        Ok((envelope.seq, body))
    }
}

/// Whose a sealed file says it is, as far as its first line can be read.
pub fn installation_of(disk: &dyn Disk, path: &str) -> Option<InstallationId> {
    const FIRST_LINE_BYTES: usize = 512;
    let start = disk.read_start(path, FIRST_LINE_BYTES).ok()?;
    let line = start.split(|byte| *byte == b'\n').next()?;
    serde_json::from_slice::<Envelope>(line).ok().map(|envelope| envelope.installation)
}

fn name_of(path: &str) -> &str {
    path.rsplit_once('/').map_or(path, |(_, name)| name)
}

/// Writes a file aside, syncs it, renames it, syncs the directory.
///
/// # Errors
/// Those of the disk.
pub fn write_aside(disk: &dyn Disk, path: &str, parts: &[&[u8]]) -> Result<(), LedgerError> {
    let aside = format!("{path}{ASIDE}");
    let written = (|| {
        let mut file = disk.create(&aside)?;
        let mut offset = 0;
        for part in parts {
            file.write_at(offset, part)?;
            offset += part.len() as u64;
        }
        file.sync_all()
    })();
    if let Err(cause) = written {
        // Whatever is left of it is not needed; it is overwritten or ignored next time.
        let _ = disk.remove(&aside);
        return Err(LedgerError::disk("write", path)(cause));
    }
    disk.rename(&aside, path).map_err(LedgerError::disk("rename", path))?;
    disk.sync_dir(super::segment::dir_of(path)).map_err(LedgerError::disk("sync the directory of", path))
}
