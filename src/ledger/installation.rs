//! The identity and the secret key of one data directory, made at its first opening.

use super::{Disk, LedgerError, sealed};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fmt;
use std::io::ErrorKind;

/// The file.
pub(super) const FILE: &str = "installation";
/// Its second copy: the key stands nowhere else.
pub(super) const SECOND: &str = "installation.second";
const INSTALLATION_VERSION: u32 = 1;

/// Tells the files of one data directory from those of another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InstallationId(pub [u8; 16]);

impl fmt::Display for InstallationId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&data_encoding::HEXLOWER.encode(&self.0))
    }
}
impl Serialize for InstallationId {
    fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}
impl<'de> Deserialize<'de> for InstallationId {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        hex_array(&String::deserialize(d)?).map(Self).ok_or_else(|| serde::de::Error::custom("not 32 hex digits"))
    }
}

fn hex_array<const N: usize>(text: &str) -> Option<[u8; N]> {
    data_encoding::HEXLOWER.decode(text.as_bytes()).ok()?.try_into().ok()
}

/// Identity and key.
#[derive(Clone, PartialEq, Eq)]
pub struct Installation {
    /// In every file of the data directory.
    pub id: InstallationId,
    /// For keyed hashes (addresses); never leaves the machine, never logged.
    pub key: [u8; 32],
}

impl fmt::Debug for Installation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Installation").field("id", &self.id).field("key", &"‹hidden›").finish()
    }
}

#[derive(Serialize, Deserialize)]
struct Written {
    v: u32,
    id: InstallationId,
    key: String,
    /// Beginning of the SHA-256 of both; the first files had none.
    #[serde(default)]
    check: Option<String>,
}

impl Installation {
    /// A new one from the system's randomness.
    ///
    /// # Errors
    /// [`LedgerError::Random`].
    pub fn random() -> Result<Self, LedgerError> {
        let mut id = [0; 16];
        let mut key = [0; 32];
        getrandom::fill(&mut id).map_err(LedgerError::Random)?;
        getrandom::fill(&mut key).map_err(LedgerError::Random)?;
        Ok(Self { id: InstallationId(id), key })
    }

    /// Sixteen hex digits that vouch for id and key.
    fn check(&self) -> String {
        let digest = Sha256::new_with_prefix("installation").chain_update(self.id.0).chain_update(self.key).finalize();
        data_encoding::HEXLOWER.encode(&digest[..8])
    }

    /// Makes this one durable, the second copy first: with the first, the directory counts as made.
    pub(super) fn write(&self, disk: &dyn Disk) -> Result<(), LedgerError> {
        let written = Written {
            v: INSTALLATION_VERSION,
            id: self.id,
            key: data_encoding::HEXLOWER.encode(&self.key),
            check: Some(self.check()),
        };
        let json = serde_json::to_vec(&written)
            .map_err(|err| LedgerError::Misuse { what: format!("the installation could not be written: {err}") })?;
        sealed::write_aside(disk, SECOND, &[&json])?;
        sealed::write_aside(disk, FILE, &[&json])
    }

    /// The data directory's own; `None` before its first opening. Also says whether its checksum
    /// vouched for it: one from before there were two copies has none.
    pub(super) fn read(disk: &dyn Disk) -> Result<Option<(Self, bool)>, LedgerError> {
        Self::read_from(disk, FILE)
    }

    /// Reads one of the two copies; also says whether its checksum vouched for it.
    pub(super) fn read_from(disk: &dyn Disk, file: &str) -> Result<Option<(Self, bool)>, LedgerError> {
        let bytes = match disk.read(file) {
            Ok(bytes) => bytes,
            Err(err) if err.kind() == ErrorKind::NotFound => return Ok(None),
            Err(err) => return Err(LedgerError::disk("read", file)(err)),
        };
        let damaged = || LedgerError::bad_file(file, "it holds no id and key");
        let written: Written = serde_json::from_slice(&bytes).map_err(|_| damaged())?;
        let key = hex_array(&written.key).ok_or_else(damaged)?;
        let found = Self { id: written.id, key };
        let checked = written.check.is_some();
        if written.check.is_some_and(|check| check != found.check()) {
            return Err(LedgerError::bad_file(file, "its checksum does not fit"));
        }
        if written.v != INSTALLATION_VERSION {
            return Err(LedgerError::newer(file, written.v, None, INSTALLATION_VERSION));
        }
        Ok(Some((found, checked)))
    }
}
