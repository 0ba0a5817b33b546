//! sled as the index: fast to open and to ask, never trusted (STORAGE: measured).
//!
//! It may panic where its files are damaged: each call is guarded, and a panic counts as damage.
//! Panics in its own threads cannot be caught, so after an unclean stop its folder is never
//! opened, only moved aside (see [`super::SledHome`]).

use super::index::{Change, Index, IndexError, Pair};
use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// Bytes of page cache; sled's own choice would be 1 GiB.
const CACHE_BYTES: u64 = 16 * 1024 * 1024;
/// Begins with a byte that no other key begins with.
const APPLIED: &[u8] = b"!applied";

/// An index in a folder.
pub struct SledIndex {
    db: sled::Db,
    folder: PathBuf,
}

/// Makes a folder and everything in it durable.
fn sync_folder(folder: &Path) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() { sync_folder(&path)? } else { File::open(path)?.sync_all()? }
    }
    File::open(folder)?.sync_all()
}

/// Runs something of sled's; an error or a panic is damage.
fn guarded<T>(what: &str, act: impl FnOnce() -> sled::Result<T>) -> Result<T, IndexError> {
    match catch_unwind(AssertUnwindSafe(act)) {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(err)) => Err(IndexError::Broken(format!("{what}: {err}"))),
        Err(_) => Err(IndexError::Broken(format!("{what}: sled stopped within"))),
    }
}

impl SledIndex {
    /// Opens the index in `folder`, or makes it.
    ///
    /// # Errors
    /// [`IndexError::Broken`].
    pub fn open(folder: &Path) -> Result<Self, IndexError> {
        let config = sled::Config::new().path(folder).cache_capacity(CACHE_BYTES).flush_every_ms(None);
        Ok(Self { db: guarded("opening", || config.open())?, folder: folder.to_owned() })
    }
}

impl Index for SledIndex {
    fn applied(&self) -> Result<u64, IndexError> {
        let Some(value) = self.get(APPLIED)? else { return Ok(0) };
        let bytes = value.try_into().map_err(|_| IndexError::Broken("its own number is no number".to_owned()))?;
        Ok(u64::from_be_bytes(bytes))
    }
    fn commit(&self, upto_seq: u64, changes: &[Change]) -> Result<(), IndexError> {
        let mut batch = sled::Batch::default();
        for Change { key, value } in changes {
            match value {
                Some(value) => batch.insert(key.as_slice(), value.as_slice()),
                None => batch.remove(key.as_slice()),
            }
        }
        batch.insert(APPLIED, &upto_seq.to_be_bytes());
        guarded("writing", || self.db.apply_batch(batch))
    }
    fn get(&self, key: &[u8]) -> Result<Option<Vec<u8>>, IndexError> {
        guarded("reading", || Ok(self.db.get(key)?.map(|value| value.to_vec())))
    }
    fn range(&self, prefix: &[u8], limit: usize) -> Result<Vec<Pair>, IndexError> {
        guarded("reading", || {
            // Stops at the first error: on a damaged leaf the same one comes for ever.
            let pairs = self.db.scan_prefix(prefix).take(limit);
            pairs.map(|pair| pair.map(|(key, value)| (key.to_vec(), value.to_vec()))).collect()
        })
    }
    fn flush(&self) -> Result<(), IndexError> {
        guarded("flushing", || self.db.flush().map(drop))?;
        // sled leaves its last words in the machine's memory (STORAGE: sync_file_range). Behind a clean
        // stop its folder is opened again, so it must be whole also if the power goes right after.
        let parent = self.folder.parent().map_or(Ok(()), |parent| File::open(parent).and_then(|dir| dir.sync_all()));
        let synced = sync_folder(&self.folder).and(parent);
        synced.map_err(|err| IndexError::Broken(format!("syncing: {err}")))
    }
}
