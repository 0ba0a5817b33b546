//! The simulated disk as a careless program would use it: leaves out syncs or writes.

use super::mistakes::Mistake;
use dawnslip::ledger::disk::LockGuard;
use dawnslip::ledger::{Disk, DiskFile, SimDisk};
use std::io;
use std::path::Path;

/// Passes everything on, but for what its mistake leaves out.
pub struct Careless {
    pub below: SimDisk,
    pub mistake: Option<Mistake>,
}

impl Careless {
    fn file(&self, path: &str, below: Box<dyn DiskFile>) -> Box<dyn DiskFile> {
        Box::new(CarelessFile { below, disk: self.below.clone(), mistake: self.mistake, path: path.to_owned() })
    }
}

impl Disk for Careless {
    fn create(&self, path: &str) -> io::Result<Box<dyn DiskFile>> {
        Ok(self.file(path, self.below.create(path)?))
    }
    fn open(&self, path: &str) -> io::Result<Box<dyn DiskFile>> {
        Ok(self.file(path, self.below.open(path)?))
    }
    fn read(&self, path: &str) -> io::Result<Vec<u8>> {
        self.below.read(path)
    }
    fn read_start(&self, path: &str, bytes: usize) -> io::Result<Vec<u8>> {
        self.below.read_start(path, bytes)
    }
    fn list(&self, dir: &str) -> io::Result<Vec<String>> {
        self.below.list(dir)
    }
    fn len(&self, path: &str) -> io::Result<u64> {
        self.below.len(path)
    }
    fn rename(&self, from: &str, to: &str) -> io::Result<()> {
        self.below.rename(from, to)
    }
    fn remove(&self, path: &str) -> io::Result<()> {
        match self.mistake {
            Some(Mistake::KeepsOldSnapshots) if path.starts_with("snapshot/") => Ok(()),
            _ => self.below.remove(path),
        }
    }
    fn create_dir(&self, dir: &str) -> io::Result<()> {
        self.below.create_dir(dir)
    }
    fn sync_dir(&self, dir: &str) -> io::Result<()> {
        match self.mistake {
            Some(Mistake::SkipsDirectorySync) => Ok(()),
            _ => self.below.sync_dir(dir),
        }
    }
    fn lock(&self) -> io::Result<LockGuard> {
        self.below.lock()
    }
    fn root(&self) -> Option<&Path> {
        None
    }
    fn reader(&self, path: &str) -> io::Result<Box<dyn io::Read + Send>> {
        self.below.reader(path)
    }
    fn room(&self) -> Option<u64> {
        self.below.room()
    }
}

struct CarelessFile {
    below: Box<dyn DiskFile>,
    disk: SimDisk,
    mistake: Option<Mistake>,
    path: String,
}

impl DiskFile for CarelessFile {
    fn write_at(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        if self.mistake == Some(Mistake::TrustsWhatItReads) {
            let there = self.disk.read(&self.path)?;
            let there = there.get(offset as usize..offset as usize + bytes.len());
            if there == Some(bytes) {
                return Ok(());
            }
        }
        self.below.write_at(offset, bytes)
    }
    fn sync_data(&mut self) -> io::Result<()> {
        match self.mistake {
            Some(Mistake::SkipsSync) => Ok(()),
            _ => self.below.sync_data(),
        }
    }
    fn sync_all(&mut self) -> io::Result<()> {
        match self.mistake {
            Some(Mistake::RenamesBeforeSync) if self.path.starts_with("snapshot/") => Ok(()),
            _ => self.below.sync_all(),
        }
    }
    fn truncate(&mut self, length: u64) -> io::Result<()> {
        self.below.truncate(length)
    }
    fn preallocate(&mut self, offset: u64, bytes: u64) -> io::Result<()> {
        self.below.preallocate(offset, bytes)
    }
}
