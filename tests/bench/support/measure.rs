//! What a process and a folder cost.

use std::path::Path;
use std::time::{Duration, Instant};

/// Processor time of this process so far, all threads (proc(5): the kernel's ticks are 10 ms
/// here; good enough for a sum over seconds).
pub fn processor_time() -> Duration {
    let text = std::fs::read_to_string("/proc/self/stat").expect("Linux");
    // Behind the name in brackets: utime and stime are fields 14 and 15 of the whole line.
    let after_name = text.rsplit_once(')').expect("a name in brackets").1;
    let ticks = after_name.split_whitespace().skip(11).take(2).map(|field| field.parse::<u64>().expect("a number"));
    Duration::from_millis(ticks.sum::<u64>() * 10)
}

/// A figure of `/proc/PID/status` in bytes: `VmRSS`, `VmHWM`.
pub fn memory(process: u32, figure: &str) -> u64 {
    let text = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = text.lines().find_map(|line| line.strip_prefix(figure)?.strip_prefix(':')).unwrap_or("0 kB");
    line.trim().trim_end_matches(" kB").trim().parse::<u64>().expect("a number") * 1024
}

/// Bytes and files of a data folder by kind.
#[derive(Debug, Clone, Copy, Default)]
pub struct DiskUse {
    pub journal: u64,
    pub snapshot: u64,
    /// Both snapshots are kept; this is the newer one.
    pub one_snapshot: u64,
    pub facts: u64,
    pub people: u64,
    pub keys: u64,
    pub history: u64,
    pub index: u64,
    pub aside: u64,
    pub files: usize,
}

impl DiskUse {
    pub fn of(data: &Path) -> Self {
        let mut found = Self::default();
        let mut snapshots = std::collections::BTreeMap::<String, u64>::new();
        for (path, bytes) in files_below(data) {
            let inside = path.strip_prefix(data).expect("below it").to_string_lossy().into_owned();
            let (dir, name) = inside.split_once('/').unwrap_or(("", &inside));
            let end = name.rsplit_once('.').map_or("", |(_, end)| end);
            let kind = match (dir, end) {
                ("journal", _) => &mut found.journal,
                ("snapshot", _) => {
                    *snapshots.entry(name.split('.').next().unwrap_or_default().to_owned()).or_default() += bytes;
                    &mut found.snapshot
                }
                ("archive", "facts") => &mut found.facts,
                ("archive", "people") => &mut found.people,
                ("archive", _) => &mut found.keys,
                ("history", _) => &mut found.history,
                ("index", _) => &mut found.index,
                _ => &mut found.aside,
            };
            *kind += bytes;
            found.files += 1;
        }
        found.one_snapshot = snapshots.last_key_value().map_or(0, |(_, bytes)| *bytes);
        found
    }
    pub fn sum(&self) -> u64 {
        self.journal + self.snapshot + self.facts + self.people + self.keys + self.history + self.index + self.aside
    }
}

/// Files with what they take on the disk (reserved room counts).
fn files_below(folder: &Path) -> Vec<(std::path::PathBuf, u64)> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        match entry.metadata() {
            Ok(meta) if meta.is_dir() => found.extend(files_below(&entry.path())),
            Ok(meta) if meta.is_file() => {
                found.push((entry.path(), std::os::unix::fs::MetadataExt::blocks(&meta) * 512));
            }
            _ => {}
        }
    }
    found
}

/// What orders cost while something was going on.
#[derive(Debug, Clone, Copy)]
pub struct Cost {
    pub wall_us: f64,
    pub processor_us: f64,
}

/// Measures until [`Stretch::over`].
pub struct Stretch(Instant, Duration);

impl Stretch {
    pub fn begin() -> Self {
        Self(Instant::now(), processor_time())
    }
    pub fn over(&self, orders: usize) -> Cost {
        let each = |time: Duration| time.as_secs_f64() * 1e6 / orders.max(1) as f64;
        Cost { wall_us: each(self.0.elapsed()), processor_us: each(processor_time() - self.1) }
    }
}

/// How a start went.
#[derive(Debug, Clone, Copy, Default)]
pub struct Start {
    pub ready_ms: f64,
    /// Until the index answers as well.
    pub index_ms: f64,
    /// Resident once everything has come to rest.
    pub rest_bytes: u64,
    /// At most.
    pub peak_bytes: u64,
}
