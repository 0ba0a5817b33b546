//! A data directory in memory that can lose power, run full and fail.
//!
//! It keeps apart what is durable and what is only written. [`SimDisk::crash`] keeps, loses or
//! tears each write since the last sync on its own, and each change of a name since the last
//! sync of its directory, as a disk with a volatile cache may. Deterministic by its seed.

use super::disk::{Disk, DiskFile, LockGuard};
use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// A simulated data directory; clones share it.
#[derive(Clone, Default)]
pub struct SimDisk(Arc<Mutex<Inner>>);

/// What the next operations run into.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Trouble {
    /// The power goes before the operation of this number (see [`SimDisk::operations`]): it and
    /// all after it fail until [`SimDisk::crash`].
    pub cut_before: Option<u64>,
    /// Total bytes of files that fit; a write that does not fit writes a part and fails.
    pub room: Option<u64>,
    /// The write of this number (counted from 0 since [`SimDisk::set_trouble`]) fails half done.
    pub fail_write: Option<u64>,
    /// The sync (of a file or a directory) of this number fails, likewise counted. What was to be
    /// synced may be lost for good, as with a real disk.
    pub fail_sync: Option<u64>,
}

#[derive(Default)]
struct Inner {
    nodes: BTreeMap<u64, Node>,
    next_node: u64,
    dirs: BTreeSet<String>,
    live: BTreeMap<String, u64>,
    durable: BTreeMap<String, u64>,
    names_pending: Vec<NameChange>,
    trouble: Trouble,
    operations: u64,
    writes: u64,
    syncs: u64,
    dead: bool,
    /// Raised by a crash: files opened before are stale.
    life: u64,
    locked_in_life: Option<u64>,
}

#[derive(Default)]
struct Node {
    live: Vec<u8>,
    durable: Vec<u8>,
    pending: Vec<Change>,
}

#[derive(Clone)]
enum Change {
    Write { offset: u64, bytes: Vec<u8> },
    Truncate(u64),
}

#[derive(Clone)]
enum NameChange {
    Made { path: String, node: u64 },
    Moved { from: String, to: String, node: u64 },
    Removed { path: String },
}

/// Disks write whole sectors.
const SECTOR: usize = 512;

impl SimDisk {
    /// An empty one.
    pub fn new() -> Self {
        Self::default()
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Sets what goes wrong from now on, and counts writes and syncs from 0 again.
    pub fn set_trouble(&self, trouble: Trouble) {
        let mut inner = self.inner();
        inner.trouble = trouble;
        (inner.writes, inner.syncs) = (0, 0);
    }

    /// So many operations that change something (writes, syncs, names) were begun so far.
    pub fn operations(&self) -> u64 {
        self.inner().operations
    }

    /// So many syncs were begun since [`Self::set_trouble`].
    pub fn syncs(&self) -> u64 {
        self.inner().syncs
    }

    /// The power goes and comes back: unsynced changes are kept, lost or torn by `seed`;
    /// trouble ends; the lock is free; files opened before are stale.
    pub fn crash(&self, seed: u64) {
        let mut dice = Dice(seed ^ 0x9e37_79b9_7f4a_7c15);
        let mut inner = self.inner();
        for node in inner.nodes.values_mut() {
            let mut bytes = std::mem::take(&mut node.durable);
            for change in std::mem::take(&mut node.pending) {
                dice.maybe(&change, &mut bytes);
            }
            node.live.clone_from(&bytes);
            node.durable = bytes;
        }
        let pending = std::mem::take(&mut inner.names_pending);
        let mut names = std::mem::take(&mut inner.durable);
        for change in pending {
            if dice.roll(2) == 0 {
                change.apply(&mut names);
            }
        }
        inner.live.clone_from(&names);
        let kept: BTreeSet<u64> = names.values().copied().collect();
        inner.durable = names;
        inner.nodes.retain(|id, _| kept.contains(id));
        drop(inner);
        self.kill();
    }

    /// The process dies and the power stays: everything written is still to be seen, synced or
    /// not. Trouble ends; the lock is free; files opened before are stale.
    pub fn kill(&self) {
        let mut inner = self.inner();
        inner.trouble = Trouble::default();
        inner.dead = false;
        inner.life += 1;
        inner.locked_in_life = None;
    }

    /// Changes a durable file behind everybody's back, to simulate damage.
    ///
    /// # Errors
    /// `NotFound` where there is no such file.
    pub fn damage(&self, path: &str, change: impl FnOnce(&mut Vec<u8>)) -> io::Result<()> {
        let mut inner = self.inner();
        let id = *inner.live.get(path).ok_or(io::ErrorKind::NotFound)?;
        let node = inner.nodes.get_mut(&id).ok_or(io::ErrorKind::NotFound)?;
        change(&mut node.live);
        node.durable = node.live.clone();
        node.pending.clear();
        Ok(())
    }

    /// A copy of its own, as durable as this one is live.
    pub fn fork(&self) -> Self {
        let inner = self.inner();
        let mut copy = Inner { dirs: inner.dirs.clone(), next_node: inner.next_node, ..Inner::default() };
        for (path, id) in &inner.live {
            let bytes = inner.nodes[id].live.clone();
            copy.nodes.insert(*id, Node { durable: bytes.clone(), live: bytes, pending: Vec::new() });
            copy.live.insert(path.clone(), *id);
        }
        copy.durable.clone_from(&copy.live);
        Self(Arc::new(Mutex::new(copy)))
    }
}

/// A small seeded generator (splitmix64, by Sebastiano Vigna, public domain).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % sides
    }

    /// Keeps, loses or tears one unsynced change.
    fn maybe(&mut self, change: &Change, bytes: &mut Vec<u8>) {
        match (self.roll(3), change) {
            (0, _) => change.apply(bytes),
            (1, _) | (_, Change::Truncate(_)) => {}
            (_, Change::Write { offset, bytes: new }) => {
                // Torn: cut at any byte, or any of its sectors missing.
                if self.roll(2) == 0 {
                    let part = self.roll(new.len() as u64 + 1) as usize;
                    put(bytes, *offset, &new[..part]);
                } else {
                    let mut at = *offset;
                    let mut rest = &new[..];
                    while !rest.is_empty() {
                        let part = (SECTOR - at as usize % SECTOR).min(rest.len());
                        if self.roll(2) == 0 {
                            put(bytes, at, &rest[..part]);
                        }
                        at += part as u64;
                        rest = &rest[part..];
                    }
                }
            }
        }
    }
}

fn put(bytes: &mut Vec<u8>, offset: u64, new: &[u8]) {
    let end = offset as usize + new.len();
    if bytes.len() < end {
        bytes.resize(end, 0);
    }
    bytes[offset as usize..end].copy_from_slice(new);
}

impl Change {
    fn apply(&self, bytes: &mut Vec<u8>) {
        match self {
            Self::Write { offset, bytes: new } => put(bytes, *offset, new),
            Self::Truncate(length) => bytes.resize(*length as usize, 0),
        }
    }
}

impl NameChange {
    fn dirs(&self) -> Vec<&str> {
        match self {
            Self::Made { path, .. } | Self::Removed { path } => vec![dir_of(path)],
            Self::Moved { from, to, .. } => vec![dir_of(from), dir_of(to)],
        }
    }
    fn apply(&self, names: &mut BTreeMap<String, u64>) {
        match self {
            Self::Made { path, node } => drop(names.insert(path.clone(), *node)),
            Self::Removed { path } => drop(names.remove(path)),
            Self::Moved { from, to, node } => {
                if names.get(from) == Some(node) {
                    names.remove(from);
                }
                names.insert(to.clone(), *node);
            }
        }
    }
}

fn dir_of(path: &str) -> &str {
    path.rsplit_once('/').map_or("", |(dir, _)| dir)
}

fn power_is_off() -> io::Error {
    io::Error::other("the power is off")
}

impl Inner {
    /// Counts an operation that changes something; fails when the power is off.
    fn begin(&mut self) -> io::Result<()> {
        if !self.dead && self.trouble.cut_before == Some(self.operations) {
            self.dead = true;
        }
        self.alive()?;
        self.operations += 1;
        Ok(())
    }
    fn alive(&self) -> io::Result<()> {
        if self.dead { Err(power_is_off()) } else { Ok(()) }
    }
    fn count_sync(&mut self) -> bool {
        self.syncs += 1;
        self.trouble.fail_sync == Some(self.syncs - 1)
    }
    fn used(&self) -> u64 {
        self.live.values().filter_map(|id| self.nodes.get(id)).map(|node| node.live.len() as u64).sum()
    }
    fn id(&self, path: &str) -> io::Result<u64> {
        self.alive()?;
        self.live.get(path).copied().ok_or_else(|| io::ErrorKind::NotFound.into())
    }
    fn need_dir(&self, dir: &str) -> io::Result<()> {
        if dir.is_empty() || self.dirs.contains(dir) { Ok(()) } else { Err(io::ErrorKind::NotFound.into()) }
    }
    fn rename_now(&mut self, change: NameChange) {
        change.apply(&mut self.live);
        self.names_pending.push(change);
    }
}

impl Disk for SimDisk {
    fn create(&self, path: &str) -> io::Result<Box<dyn DiskFile>> {
        let mut inner = self.inner();
        inner.begin()?;
        inner.need_dir(dir_of(path))?;
        let node = match inner.live.get(path).copied() {
            Some(node) => {
                let file = inner.nodes.entry(node).or_default();
                file.live.clear();
                file.pending.push(Change::Truncate(0));
                node
            }
            None => {
                inner.next_node += 1;
                let node = inner.next_node;
                inner.nodes.insert(node, Node::default());
                inner.rename_now(NameChange::Made { path: path.to_owned(), node });
                node
            }
        };
        Ok(Box::new(SimFile { disk: self.clone(), node, life: inner.life }))
    }
    fn open(&self, path: &str) -> io::Result<Box<dyn DiskFile>> {
        let inner = self.inner();
        Ok(Box::new(SimFile { disk: self.clone(), node: inner.id(path)?, life: inner.life }))
    }
    fn read(&self, path: &str) -> io::Result<Vec<u8>> {
        let inner = self.inner();
        Ok(inner.nodes[&inner.id(path)?].live.clone())
    }
    fn read_start(&self, path: &str, bytes: usize) -> io::Result<Vec<u8>> {
        let mut start = self.read(path)?;
        start.truncate(bytes);
        Ok(start)
    }
    fn reader(&self, path: &str) -> io::Result<Box<dyn io::Read + Send>> {
        Ok(Box::new(io::Cursor::new(self.read(path)?)))
    }
    fn list(&self, dir: &str) -> io::Result<Vec<String>> {
        let inner = self.inner();
        inner.alive()?;
        inner.need_dir(dir)?;
        let names = inner.live.keys().filter(|path| dir_of(path) == dir);
        Ok(names.map(|path| path.rsplit_once('/').map_or(path.as_str(), |(_, name)| name).to_owned()).collect())
    }
    fn len(&self, path: &str) -> io::Result<u64> {
        let inner = self.inner();
        Ok(inner.nodes[&inner.id(path)?].live.len() as u64)
    }
    fn rename(&self, from: &str, to: &str) -> io::Result<()> {
        let mut inner = self.inner();
        inner.begin()?;
        inner.need_dir(dir_of(to))?;
        let node = inner.id(from)?;
        inner.rename_now(NameChange::Moved { from: from.to_owned(), to: to.to_owned(), node });
        Ok(())
    }
    fn remove(&self, path: &str) -> io::Result<()> {
        let mut inner = self.inner();
        inner.begin()?;
        inner.id(path)?;
        inner.rename_now(NameChange::Removed { path: path.to_owned() });
        Ok(())
    }
    fn create_dir(&self, dir: &str) -> io::Result<()> {
        // Directories are made once, at the first start; losing one loses nothing that was
        // acknowledged, so they are durable at once here.
        let mut inner = self.inner();
        inner.begin()?;
        inner.dirs.insert(dir.to_owned());
        Ok(())
    }
    fn sync_dir(&self, dir: &str) -> io::Result<()> {
        let mut inner = self.inner();
        inner.begin()?;
        inner.need_dir(dir)?;
        if inner.count_sync() {
            return Err(io::Error::other("simulated: the directory could not be synced"));
        }
        let pending = std::mem::take(&mut inner.names_pending);
        for change in pending {
            if change.dirs().contains(&dir) {
                change.apply(&mut inner.durable);
            } else {
                inner.names_pending.push(change);
            }
        }
        Ok(())
    }
    fn lock(&self) -> io::Result<LockGuard> {
        let mut inner = self.inner();
        inner.alive()?;
        if inner.locked_in_life == Some(inner.life) {
            return Err(io::ErrorKind::WouldBlock.into());
        }
        inner.locked_in_life = Some(inner.life);
        Ok(LockGuard::new(SimLock { disk: self.clone(), life: inner.life }))
    }
    fn root(&self) -> Option<&Path> {
        None
    }
    fn room(&self) -> Option<u64> {
        let inner = self.inner();
        inner.trouble.room.map(|room| room.saturating_sub(inner.used()))
    }
}

struct SimLock {
    disk: SimDisk,
    life: u64,
}

impl Drop for SimLock {
    fn drop(&mut self) {
        let mut inner = self.disk.inner();
        if inner.locked_in_life == Some(self.life) {
            inner.locked_in_life = None;
        }
    }
}

struct SimFile {
    disk: SimDisk,
    node: u64,
    life: u64,
}

impl SimFile {
    /// Runs `act` on a live file; a file from before a crash only fails.
    fn with<T>(&self, act: impl FnOnce(&mut Inner, u64) -> io::Result<T>) -> io::Result<T> {
        let mut inner = self.disk.inner();
        if inner.life != self.life {
            return Err(power_is_off());
        }
        inner.begin()?;
        act(&mut inner, self.node)
    }
    fn sync(&self) -> io::Result<()> {
        self.with(|inner, node| {
            let fails = inner.count_sync();
            let Some(file) = inner.nodes.get_mut(&node) else { return Ok(()) };
            if fails {
                // Like a kernel that drops dirty pages after a failed write-back: what was to be
                // synced is gone from the disk, though reading still shows it.
                file.pending.clear();
                return Err(io::Error::other("simulated: the file could not be synced"));
            }
            for change in std::mem::take(&mut file.pending) {
                change.apply(&mut file.durable);
            }
            Ok(())
        })
    }
}

impl DiskFile for SimFile {
    fn write_at(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        self.with(|inner, node| {
            inner.writes += 1;
            let fails = inner.trouble.fail_write == Some(inner.writes - 1);
            let (used, room) = (inner.used(), inner.trouble.room);
            let Some(file) = inner.nodes.get_mut(&node) else { return Ok(()) };
            let grows = (offset + bytes.len() as u64).saturating_sub(file.live.len() as u64);
            let lacking = room.map_or(0, |room| (used + grows).saturating_sub(room)).min(grows) as usize;
            let part = if fails { bytes.len() / 2 } else { bytes.len().saturating_sub(lacking) };
            put(&mut file.live, offset, &bytes[..part]);
            file.pending.push(Change::Write { offset, bytes: bytes[..part].to_vec() });
            match (fails, lacking) {
                (true, _) => Err(io::Error::other("simulated: the write failed")),
                (false, 0) => Ok(()),
                (false, _) => Err(io::ErrorKind::StorageFull.into()),
            }
        })
    }
    fn sync_data(&mut self) -> io::Result<()> {
        self.sync()
    }
    fn sync_all(&mut self) -> io::Result<()> {
        self.sync()
    }
    fn truncate(&mut self, length: u64) -> io::Result<()> {
        self.with(|inner, node| {
            let Some(file) = inner.nodes.get_mut(&node) else { return Ok(()) };
            file.live.resize(length as usize, 0);
            file.pending.push(Change::Truncate(length));
            Ok(())
        })
    }
    fn preallocate(&mut self, _offset: u64, _bytes: u64) -> io::Result<()> {
        // Room that is reserved shows in nothing that a reader could see.
        self.with(|_, _| Ok(()))
    }
}
