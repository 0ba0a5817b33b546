//! Secrets: read from files or systemd credentials when they are needed, never part of the
//! configuration, never in a log.

use crate::model::SecretRef;
use std::fmt;
use std::path::{Path, PathBuf};

/// Bytes of one secret; a Standard Webhooks one has at most 96.
const SECRET_BYTES_MAX: u64 = 4 * 1024;

/// The text of a secret. `Debug` hides it; it cannot be cloned or printed, only revealed.
pub struct Secret(String);

impl Secret {
    /// Wraps the text of a secret.
    pub fn new(text: impl Into<String>) -> Self {
        Self(text.into())
    }
    /// The text itself, to sign and compare with. Never for a log.
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("‹hidden›")
    }
}

/// Why a secret could not be read.
#[derive(Debug, thiserror::Error)]
pub enum SecretError {
    /// The file could not be read.
    #[error("could not read the secret in {path}; put it there, readable for the program alone (chmod 600)")]
    Io {
        /// Which file.
        path: PathBuf,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// Too long, empty, or not UTF-8.
    #[error("{path} holds no secret: {why}")]
    NotASecret {
        /// Which file.
        path: PathBuf,
        /// Why.
        why: &'static str,
    },
    /// A credential is named, but systemd gave none.
    #[error(
        "the credential {name:?} is not there: the program was not started by systemd with LoadCredential={name}:..."
    )]
    NoCredentials {
        /// The credential's name.
        name: String,
    },
}

/// The folder in which systemd puts credentials (`$CREDENTIALS_DIRECTORY`, systemd.exec(5)).
pub fn credentials_directory() -> Option<PathBuf> {
    std::env::var_os("CREDENTIALS_DIRECTORY").filter(|dir| !dir.is_empty()).map(PathBuf::from)
}

/// Reads a secret as text, without one line break at its end (editors add it).
pub fn read(place: &SecretRef, credentials: Option<&Path>) -> Result<Secret, SecretError> {
    use std::io::Read;
    let path = path_of(place, credentials)?;
    let failed = |cause| SecretError::Io { path: path.clone(), cause };
    let mut bytes = Vec::new();
    let file = std::fs::File::open(&path).map_err(failed)?;
    file.take(SECRET_BYTES_MAX + 1).read_to_end(&mut bytes).map_err(failed)?;
    let refused = |why| SecretError::NotASecret { path: path.clone(), why };
    if bytes.len() as u64 > SECRET_BYTES_MAX {
        return Err(refused("longer than 4096 bytes"));
    }
    let mut text = String::from_utf8(bytes).map_err(|_| refused("it is not UTF-8 text"))?;
    if text.ends_with('\n') {
        text.pop();
        if text.ends_with('\r') {
            text.pop();
        }
    }
    if text.trim().is_empty() { Err(refused("the file is empty")) } else { Ok(Secret(text)) }
}

/// A warning where others than its owner may read a secret's file.
pub fn warning(place: &SecretRef) -> Option<String> {
    use std::os::unix::fs::PermissionsExt;
    // A credential's folder is private to the service by itself.
    let SecretRef::File(path) = place else { return None };
    let mode = std::fs::metadata(path).ok()?.permissions().mode();
    (mode & 0o077 != 0).then(|| {
        let path = path.display();
        format!("{path} can be read by others than its owner (mode {:o}); say: chmod 600 {path}", mode & 0o777)
    })
}

fn path_of(place: &SecretRef, credentials: Option<&Path>) -> Result<PathBuf, SecretError> {
    match (place, credentials) {
        (SecretRef::File(path), _) => Ok(path.clone()),
        (SecretRef::Credential(name), Some(folder)) => Ok(folder.join(name)),
        (SecretRef::Credential(name), None) => Err(SecretError::NoCredentials { name: name.clone() }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn a_secret_loses_one_line_break_and_is_never_shown() {
        let dir = tempfile::tempdir().unwrap();
        for (written, read_back) in
            [("abc", "abc"), ("abc\n", "abc"), ("abc\r\n", "abc"), ("abc\n\n", "abc\n"), (" a ", " a ")]
        {
            std::fs::write(dir.path().join("s"), written).unwrap();
            let by_file = read(&SecretRef::File(dir.path().join("s")), None).unwrap();
            let by_name = read(&SecretRef::Credential("s".into()), Some(dir.path())).unwrap();
            assert_eq!((by_file.reveal(), by_name.reveal()), (read_back, read_back));
            assert_eq!(format!("{by_file:?}"), "‹hidden›");
        }
    }

    #[test]
    fn what_is_no_secret_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("s");
        let place = SecretRef::File(path.clone());
        assert!(matches!(read(&place, None), Err(SecretError::Io { .. })));
        for bad in [&b""[..], b"\n", b" \n", &[0xff], &[b'a'; SECRET_BYTES_MAX as usize + 1]] {
            std::fs::write(&path, bad).unwrap();
            assert!(matches!(read(&place, None), Err(SecretError::NotASecret { .. })));
        }
        std::fs::write(&path, [b'a'; SECRET_BYTES_MAX as usize]).unwrap();
        assert!(read(&place, None).is_ok());
        assert!(matches!(read(&SecretRef::Credential("s".into()), None), Err(SecretError::NoCredentials { .. })));
    }

    #[test]
    fn a_file_that_others_may_read_is_warned_of() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("s");
        std::fs::write(&path, "abc").unwrap();
        for (mode, warned) in [(0o600, false), (0o400, false), (0o640, true), (0o604, true)] {
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(mode)).unwrap();
            let told = warning(&SecretRef::File(path.clone()));
            assert_eq!(told.is_some(), warned, "{mode:o}: {told:?}");
        }
    }
}
