//! Reading the configuration folder, and the sample that the program carries with it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The text of every configuration file by its name relative to the folder, with `/`.
pub type Files = BTreeMap<String, String>;

/// Bytes of one file: a price table of ten thousand rows has some 300 000.
pub const FILE_BYTES_MAX: u64 = 1024 * 1024;
/// Files in one folder with its subfolders.
pub const FILES_MAX: usize = 500;

/// Folders below the configuration, and the ending of the files that count in each.
const PLACES: [(&str, &str); 4] = [("", "toml"), ("tariffs", "csv"), ("cards", "md"), ("words", "toml")];

/// Why a folder could not be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The folder or a file in it could not be read.
    #[error("could not read {path}")]
    Io {
        /// Which.
        path: PathBuf,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// A file is too large to be a configuration.
    #[error("{path} has more than {FILE_BYTES_MAX} bytes; is it a configuration file?")]
    TooLarge {
        /// Which.
        path: PathBuf,
    },
    /// A file is not UTF-8.
    #[error("{path} is not UTF-8 text; save it as UTF-8")]
    NotText {
        /// Which.
        path: PathBuf,
    },
    /// Too many files.
    #[error("{path} holds more than {FILES_MAX} configuration files; is it the right folder?")]
    TooMany {
        /// The folder.
        path: PathBuf,
    },
}

/// Reads every configuration file of a folder: `*.toml`, `tariffs/*.csv`, `cards/*.md` and
/// `words/*.toml`. Other files (fonts, secrets, notes) and hidden ones are left alone.
pub fn read_folder(dir: &Path) -> Result<Files, ReadError> {
    let mut files = Files::new();
    for (below, ending) in PLACES {
        // Joined with nothing its name would end in a slash.
        let folder = if below.is_empty() { dir.to_owned() } else { dir.join(below) };
        let entries = match std::fs::read_dir(&folder) {
            Ok(entries) => entries,
            // Only the folder itself must exist: a workshop without cards is one.
            Err(cause) if !below.is_empty() && cause.kind() == std::io::ErrorKind::NotFound => continue,
            Err(cause) => return Err(ReadError::Io { path: folder, cause }),
        };
        for entry in entries {
            let entry = entry.map_err(|cause| ReadError::Io { path: folder.clone(), cause })?;
            let path = entry.path();
            let Some(name) = entry.file_name().to_str().map(str::to_owned) else { continue };
            if name.starts_with('.') || path.extension().is_none_or(|found| found != ending) || path.is_dir() {
                continue;
            }
            if files.len() == FILES_MAX {
                return Err(ReadError::TooMany { path: dir.to_owned() });
            }
            let name = if below.is_empty() { name } else { format!("{below}/{name}") };
            files.insert(name, read_text(&path)?);
        }
    }
    Ok(files)
}

fn read_text(path: &Path) -> Result<String, ReadError> {
    use std::io::Read;
    let failed = |cause| ReadError::Io { path: path.to_owned(), cause };
    let file = std::fs::File::open(path).map_err(failed)?;
    let mut bytes = Vec::new();
    file.take(FILE_BYTES_MAX + 1).read_to_end(&mut bytes).map_err(failed)?;
    if bytes.len() as u64 > FILE_BYTES_MAX {
        return Err(ReadError::TooLarge { path: path.to_owned() });
    }
    String::from_utf8(bytes).map_err(|_| ReadError::NotText { path: path.to_owned() })
}

macro_rules! sample {
    ($($name:literal),+ $(,)?) => {
        [$(($name, include_str!(concat!("../../config/", $name)))),+]
    };
}

/// The sample configuration (Tern & Thistle), as it lies in `config/`: it travels in the
/// program, so that a rehearsal needs no files.
pub fn embedded() -> Files {
    sample![
        "cards/everyday.de.md",
        "cards/everyday.md",
        "cards/gift.de.md",
        "cards/gift.md",
        "packaging.toml",
        "printers.toml",
        "products.toml",
        "rules.toml",
        "services.toml",
        "sources.toml",
        "tariffs/compact.csv",
        "tariffs/letter.csv",
        "tariffs/road.csv",
        "words/de.toml",
        "words/en.toml",
        "workshop.toml",
    ]
    .into_iter()
    .map(|(name, text)| (name.to_owned(), text.to_owned()))
    .collect()
}

/// The embedded English words: what a file in `words/` leaves out is taken from here.
pub(super) const ENGLISH: &str = include_str!("../../config/words/en.toml");

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_sample_is_the_folder() {
        let folder = read_folder(&Path::new(env!("CARGO_MANIFEST_DIR")).join("config")).unwrap();
        assert_eq!(embedded().keys().collect::<Vec<_>>(), folder.keys().collect::<Vec<_>>());
        assert_eq!(embedded(), folder);
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        let dir = tempfile::tempdir().unwrap();
        assert!(matches!(read_folder(&dir.path().join("none")), Err(ReadError::Io { .. })));
        std::fs::write(dir.path().join("a.toml"), [0xff, 0xfe]).unwrap();
        assert!(matches!(read_folder(dir.path()), Err(ReadError::NotText { .. })));
        std::fs::write(dir.path().join("a.toml"), vec![b' '; FILE_BYTES_MAX as usize]).unwrap();
        assert_eq!(read_folder(dir.path()).unwrap().len(), 1);
        std::fs::write(dir.path().join("a.toml"), vec![b' '; FILE_BYTES_MAX as usize + 1]).unwrap();
        assert!(matches!(read_folder(dir.path()), Err(ReadError::TooLarge { .. })));
    }

    #[test]
    fn only_configuration_files_are_read() {
        let dir = tempfile::tempdir().unwrap();
        for (name, counts) in [("workshop.toml", true), (".hidden.toml", false), ("notes.txt", false)] {
            std::fs::write(dir.path().join(name), "").unwrap();
            assert_eq!(read_folder(dir.path()).unwrap().contains_key(name), counts, "{name}");
        }
        for n in 0..FILES_MAX {
            std::fs::write(dir.path().join(format!("{n}.toml")), "").unwrap();
        }
        assert!(matches!(read_folder(dir.path()), Err(ReadError::TooMany { .. })));
    }
}
