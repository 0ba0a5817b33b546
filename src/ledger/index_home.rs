//! Where an index lives: sled in a folder that may be deleted at any time, or memory.

use super::index::{Index, IndexError, MemIndex};
use super::sled_index::SledIndex;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Where an index lives.
pub trait IndexHome: Send {
    /// Opens the one that is there; only asked after a clean stop.
    ///
    /// # Errors
    /// [`IndexError::Broken`].
    fn open(&mut self) -> Result<Arc<dyn Index>, IndexError>;
    /// An empty one; what was there is moved aside without being opened.
    ///
    /// # Errors
    /// [`IndexError::Broken`].
    fn fresh(&mut self) -> Result<Arc<dyn Index>, IndexError>;
}

/// sled in the folder `index` of the data directory.
pub struct SledHome {
    folder: PathBuf,
    aside: PathBuf,
}

impl SledHome {
    /// In the data directory `root`.
    pub fn new(root: &Path) -> Self {
        Self { folder: root.join("index"), aside: root.join("aside/index") }
    }
    fn clear(&self) -> std::io::Result<()> {
        let gone = |result: std::io::Result<()>| match result {
            Err(err) if err.kind() == std::io::ErrorKind::NotFound => Ok(()),
            other => other,
        };
        // One is kept for a person to look at; everything in it can be rebuilt.
        gone(std::fs::remove_dir_all(&self.aside))?;
        gone(std::fs::rename(&self.folder, &self.aside))
    }
}

impl IndexHome for SledHome {
    fn open(&mut self) -> Result<Arc<dyn Index>, IndexError> {
        Ok(Arc::new(SledIndex::open(&self.folder)?))
    }
    fn fresh(&mut self) -> Result<Arc<dyn Index>, IndexError> {
        self.clear().map_err(|err| IndexError::Broken(format!("its folder cannot be moved aside: {err}")))?;
        self.open()
    }
}

/// An index in memory, for simulations; forgotten with it.
#[derive(Default)]
pub struct MemHome(Option<Arc<MemIndex>>);

impl IndexHome for MemHome {
    fn open(&mut self) -> Result<Arc<dyn Index>, IndexError> {
        Ok(Arc::clone(self.0.get_or_insert_default()) as Arc<dyn Index>)
    }
    fn fresh(&mut self) -> Result<Arc<dyn Index>, IndexError> {
        self.0 = None;
        self.open()
    }
}
