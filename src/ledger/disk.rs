//! The seam to the data directory: a small trait, and the real one.
//!
//! Paths are relative to the data directory, with `/` between names. The simulated one
//! is [`super::sim_disk::SimDisk`].

use jiff::Timestamp;
use std::any::Any;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read};
use std::os::unix::fs::{DirBuilderExt, FileExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

/// What the ledger needs of a file system. Nothing is durable before a sync says so:
/// contents need [`DiskFile::sync_data`] or [`DiskFile::sync_all`], names need [`Disk::sync_dir`].
pub trait Disk: Send + Sync {
    /// Makes an empty file, readable by this user only; an old one of that name is emptied.
    fn create(&self, path: &str) -> io::Result<Box<dyn DiskFile>>;
    /// Opens an existing file for writing.
    fn open(&self, path: &str) -> io::Result<Box<dyn DiskFile>>;
    /// The whole content of a file; `NotFound` where there is none.
    fn read(&self, path: &str) -> io::Result<Vec<u8>>;
    /// The first `bytes` of a file, or all of it where it is shorter.
    fn read_start(&self, path: &str, bytes: usize) -> io::Result<Vec<u8>>;
    /// Reads a file piece by piece, from its beginning.
    fn reader(&self, path: &str) -> io::Result<Box<dyn Read + Send>>;
    /// Names of the files directly in `dir`, sorted; `NotFound` where there is no such directory.
    fn list(&self, dir: &str) -> io::Result<Vec<String>>;
    /// Length in bytes.
    fn len(&self, path: &str) -> io::Result<u64>;
    /// When a file was last changed, where that is known.
    fn modified(&self, path: &str) -> Option<Timestamp> {
        let _ = path;
        None
    }
    /// Gives a file another name; a file that had it is replaced at once.
    fn rename(&self, from: &str, to: &str) -> io::Result<()>;
    /// Removes a file.
    fn remove(&self, path: &str) -> io::Result<()>;
    /// Makes a directory, open to this user only; one that exists is fine.
    fn create_dir(&self, dir: &str) -> io::Result<()>;
    /// Makes the names in a directory durable; the data directory itself is `""`.
    fn sync_dir(&self, dir: &str) -> io::Result<()>;
    /// Takes the lock on the whole data directory, held until the guard is dropped;
    /// `WouldBlock` where another holds it.
    fn lock(&self) -> io::Result<LockGuard>;
    /// Where the data directory lies, for sled; `None` for a simulated one.
    fn root(&self) -> Option<&Path>;
    /// Bytes that may still be written; `None` where nobody can say.
    fn room(&self) -> Option<u64>;
}

/// An open file.
pub trait DiskFile: Send {
    /// Writes all of `bytes` at `offset`.
    fn write_at(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()>;
    /// Makes contents and length durable (fdatasync).
    fn sync_data(&mut self) -> io::Result<()>;
    /// Makes contents and all else about the file durable (fsync).
    fn sync_all(&mut self) -> io::Result<()>;
    /// Cuts or lengthens it.
    fn truncate(&mut self, length: u64) -> io::Result<()>;
    /// Reserves room for `bytes` from `offset` on, without changing the length. Where the file
    /// system cannot do that it does nothing.
    fn preallocate(&mut self, offset: u64, bytes: u64) -> io::Result<()>;
}

/// Holds the lock on a data directory.
pub struct LockGuard(#[expect(dead_code, reason = "held for its drop")] Box<dyn Any + Send + Sync>);

impl LockGuard {
    /// Keeps `held` until it is dropped.
    pub fn new(held: impl Any + Send + Sync) -> Self {
        Self(Box::new(held))
    }
}

/// Why a file system takes nothing at present, though nothing is broken. It goes on by itself
/// once that has changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// Full, or over quota.
    NoRoom,
    /// It may only be read.
    ReadOnly,
    /// This user may not write.
    NoAccess,
    /// No further file can be opened.
    NoDescriptors,
}

impl Refusal {
    /// The refusal behind an error; `None` where something is broken or missing.
    pub fn of(err: &io::Error) -> Option<Self> {
        use rustix::io::Errno;
        match err.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Some(Self::NoRoom),
            io::ErrorKind::ReadOnlyFilesystem => Some(Self::ReadOnly),
            io::ErrorKind::PermissionDenied => Some(Self::NoAccess),
            _ => {
                let code = err.raw_os_error()?;
                let none_left = [Errno::MFILE, Errno::NFILE].map(Errno::raw_os_error).contains(&code);
                none_left.then_some(Self::NoDescriptors)
            }
        }
    }
    /// Why, in words.
    pub fn why(self) -> &'static str {
        match self {
            Self::NoRoom => "there is no room on the disk of the data folder",
            Self::ReadOnly => "the disk of the data folder can only be read at present",
            Self::NoAccess => "this user may not write in the data folder",
            Self::NoDescriptors => "no further file can be opened: too many are open",
        }
    }
    /// What to do.
    pub fn remedy(self) -> &'static str {
        match self {
            Self::NoRoom => "free some room",
            Self::ReadOnly => "look into the system's log why (dmesg), and mount it for writing again",
            Self::NoAccess => "give the data folder back to the user that runs dawnslip",
            Self::NoDescriptors => "end some connections, or raise the limit (LimitNOFILE, ulimit -n)",
        }
    }
}

/// A data directory of the machine.
#[derive(Debug)]
pub struct RealDisk {
    root: PathBuf,
}

/// Name of the lock's file.
const LOCK: &str = "lock";

impl RealDisk {
    /// Uses `root`, which is made if it does not exist (its parent directory must).
    ///
    /// # Errors
    /// Those of the file system.
    pub fn new(root: impl Into<PathBuf>) -> io::Result<Self> {
        let root = root.into();
        // A data directory that was just made must itself survive a power cut.
        if make_dir(&root)?
            && let Some(parent) = root.parent()
        {
            let parent = if parent.as_os_str().is_empty() { Path::new(".") } else { parent };
            File::open(parent)?.sync_all()?;
        }
        Ok(Self { root })
    }

    fn at(&self, path: &str) -> PathBuf {
        self.root.join(path)
    }
}

/// Makes a directory; false where it was there.
fn make_dir(path: &Path) -> io::Result<bool> {
    match fs::DirBuilder::new().mode(0o700).create(path) {
        Err(err) if err.kind() == io::ErrorKind::AlreadyExists && path.is_dir() => Ok(false),
        other => other.map(|()| true),
    }
}

impl Disk for RealDisk {
    fn create(&self, path: &str) -> io::Result<Box<dyn DiskFile>> {
        let file = OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(self.at(path))?;
        Ok(Box::new(RealFile(file)))
    }
    fn open(&self, path: &str) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(RealFile(OpenOptions::new().write(true).open(self.at(path))?)))
    }
    fn read(&self, path: &str) -> io::Result<Vec<u8>> {
        fs::read(self.at(path))
    }
    fn read_start(&self, path: &str, bytes: usize) -> io::Result<Vec<u8>> {
        let mut start = Vec::with_capacity(bytes);
        File::open(self.at(path))?.take(bytes as u64).read_to_end(&mut start)?;
        Ok(start)
    }
    fn reader(&self, path: &str) -> io::Result<Box<dyn Read + Send>> {
        Ok(Box::new(File::open(self.at(path))?))
    }
    fn list(&self, dir: &str) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for entry in fs::read_dir(self.at(dir))? {
            let entry = entry?;
            if entry.file_type()?.is_file()
                && let Ok(name) = entry.file_name().into_string()
            {
                names.push(name);
            }
        }
        names.sort();
        Ok(names)
    }
    fn len(&self, path: &str) -> io::Result<u64> {
        Ok(fs::metadata(self.at(path))?.len())
    }
    fn modified(&self, path: &str) -> Option<Timestamp> {
        fs::metadata(self.at(path)).ok()?.modified().ok()?.try_into().ok()
    }
    fn rename(&self, from: &str, to: &str) -> io::Result<()> {
        fs::rename(self.at(from), self.at(to))
    }
    fn remove(&self, path: &str) -> io::Result<()> {
        fs::remove_file(self.at(path))
    }
    fn create_dir(&self, dir: &str) -> io::Result<()> {
        make_dir(&self.at(dir)).map(drop)
    }
    fn sync_dir(&self, dir: &str) -> io::Result<()> {
        File::open(self.at(dir))?.sync_all()
    }
    fn lock(&self) -> io::Result<LockGuard> {
        let file = OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(self.at(LOCK))?;
        match file.try_lock() {
            Ok(()) => Ok(LockGuard::new(file)),
            Err(fs::TryLockError::WouldBlock) => Err(io::ErrorKind::WouldBlock.into()),
            Err(fs::TryLockError::Error(err)) => Err(err),
        }
    }
    fn root(&self) -> Option<&Path> {
        Some(&self.root)
    }
    fn room(&self) -> Option<u64> {
        let stat = rustix::fs::statvfs(&self.root).ok()?;
        Some(stat.f_bavail.saturating_mul(stat.f_frsize))
    }
}

struct RealFile(File);

impl DiskFile for RealFile {
    fn write_at(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all_at(bytes, offset)
    }
    fn sync_data(&mut self) -> io::Result<()> {
        self.0.sync_data()
    }
    fn sync_all(&mut self) -> io::Result<()> {
        self.0.sync_all()
    }
    fn truncate(&mut self, length: u64) -> io::Result<()> {
        self.0.set_len(length)
    }
    #[cfg(target_os = "linux")]
    fn preallocate(&mut self, offset: u64, bytes: u64) -> io::Result<()> {
        match rustix::fs::fallocate(&self.0, rustix::fs::FallocateFlags::KEEP_SIZE, offset, bytes) {
            Ok(()) | Err(rustix::io::Errno::OPNOTSUPP | rustix::io::Errno::NOSYS) => Ok(()),
            Err(err) => Err(err.into()),
        }
    }
    #[cfg(not(target_os = "linux"))]
    fn preallocate(&mut self, _offset: u64, _bytes: u64) -> io::Result<()> {
        Ok(())
    }
}
