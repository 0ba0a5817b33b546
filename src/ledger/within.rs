//! A part of a data directory as a disk of its own: paths go below a folder.

use super::disk::{Disk, DiskFile, LockGuard};
use std::io;
use std::path::Path;
use std::sync::Arc;

/// A folder of another disk.
pub(super) struct Within {
    disk: Arc<dyn Disk>,
    folder: &'static str,
}

impl Within {
    /// The folder `folder` of `disk`.
    pub fn new(disk: Arc<dyn Disk>, folder: &'static str) -> Self {
        Self { disk, folder }
    }
    fn at(&self, path: &str) -> String {
        if path.is_empty() { self.folder.to_owned() } else { format!("{}/{path}", self.folder) }
    }
}

impl Disk for Within {
    fn create(&self, path: &str) -> io::Result<Box<dyn DiskFile>> {
        self.disk.create(&self.at(path))
    }
    fn open(&self, path: &str) -> io::Result<Box<dyn DiskFile>> {
        self.disk.open(&self.at(path))
    }
    fn read(&self, path: &str) -> io::Result<Vec<u8>> {
        self.disk.read(&self.at(path))
    }
    fn read_start(&self, path: &str, bytes: usize) -> io::Result<Vec<u8>> {
        self.disk.read_start(&self.at(path), bytes)
    }
    fn reader(&self, path: &str) -> io::Result<Box<dyn io::Read + Send>> {
        self.disk.reader(&self.at(path))
    }
    fn list(&self, dir: &str) -> io::Result<Vec<String>> {
        self.disk.list(&self.at(dir))
    }
    fn len(&self, path: &str) -> io::Result<u64> {
        self.disk.len(&self.at(path))
    }
    fn rename(&self, from: &str, to: &str) -> io::Result<()> {
        self.disk.rename(&self.at(from), &self.at(to))
    }
    fn remove(&self, path: &str) -> io::Result<()> {
        self.disk.remove(&self.at(path))
    }
    fn create_dir(&self, dir: &str) -> io::Result<()> {
        self.disk.create_dir(&self.at(dir))
    }
    fn sync_dir(&self, dir: &str) -> io::Result<()> {
        self.disk.sync_dir(&self.at(dir))
    }
    fn lock(&self) -> io::Result<LockGuard> {
        self.disk.lock()
    }
    fn root(&self) -> Option<&Path> {
        None
    }
    fn room(&self) -> Option<u64> {
        self.disk.room()
    }
}
