//! Reads what strace wrote about a daemon: its calls in the order in which they began and ended,
//! with all bytes. strace sees the system calls themselves, whatever library makes them.
//!
//! Assumed, and checked where it can be: files below the data folder are written by the calls
//! of [`TRACED`] only (no writable mapping, no io_uring), and nobody reads from a descriptor
//! and then writes at its position.

use std::collections::HashMap;
use std::path::Path;

/// Calls that change files, make changes durable, or send. A question mark: not on every machine.
pub const TRACED: &str = "trace=?open,openat,?openat2,?creat,write,pwrite64,writev,pwritev,?pwritev2,lseek,ftruncate,\
    ?truncate,fallocate,fsync,fdatasync,sync_file_range,sync,syncfs,?rename,?renameat,renameat2,?unlink,unlinkat,\
    ?mkdir,mkdirat,?rmdir,?link,linkat,?symlink,symlinkat,mmap,sendto,sendmsg,copy_file_range,sendfile,\
    ?io_uring_setup";

/// What a call does, as far as a power cut is concerned. Paths are relative to the folder that
/// holds the data folder; that folder itself is "".
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Act {
    /// Makes the file if it is missing; empties it.
    Open {
        path: String,
        create: bool,
        empty: bool,
    },
    Write {
        path: String,
        offset: u64,
        bytes: Vec<u8>,
    },
    Truncate {
        path: String,
        length: u64,
    },
    /// Contents and length of a file, or the names in a folder.
    Sync {
        path: String,
    },
    SyncAll,
    Rename {
        from: String,
        to: String,
    },
    Remove {
        path: String,
    },
    MakeDir {
        path: String,
    },
    /// Bytes handed to a socket; with the other side's port.
    Send {
        connection: String,
        peer: u16,
        bytes: Vec<u8>,
    },
}

/// One end of a call, in the order of all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    Begun(usize),
    /// It worked.
    Done(usize),
    /// It failed.
    Failed(usize),
}

/// A recording: calls, and when each began and ended. One without an end was cut off by a kill.
#[derive(Debug, Default)]
pub struct Calls {
    pub acts: Vec<Act>,
    pub steps: Vec<Step>,
}

/// A call as it is written, in one piece.
struct Raw {
    name: String,
    arguments: String,
    /// Its number among the acts, once it is known to be one.
    act: Option<usize>,
}

/// Reads one process's log.
pub struct Reader<'a> {
    base: &'a Path,
    data: String,
    open: HashMap<String, Raw>,
    /// Where each descriptor stands.
    positions: HashMap<u64, u64>,
    pub calls: Calls,
}

impl<'a> Reader<'a> {
    /// `base` holds the folder `data`.
    pub fn new(base: &'a Path) -> Self {
        let data = format!("{}/data", base.display());
        Self { base, data, open: HashMap::new(), positions: HashMap::new(), calls: Calls::default() }
    }

    /// Takes a whole log in. Afterwards all descriptors are forgotten: the process has ended.
    pub fn read(&mut self, log: &str) {
        for line in log.lines() {
            self.line(line);
        }
        self.open.clear();
        self.positions.clear();
    }

    fn line(&mut self, line: &str) {
        let Some((thread, rest)) = line.split_once(' ') else { return };
        let rest = rest.trim_start();
        if rest.starts_with("+++") || rest.starts_with("---") {
            return;
        }
        if let Some(resumed) = rest.strip_prefix("<... ") {
            let Some((_, rest)) = resumed.split_once(" resumed>") else { panic!("odd line: {}", short(line)) };
            let Some(mut raw) = self.open.remove(thread) else { return };
            let (arguments, result) = split_result(rest);
            raw.arguments.push_str(arguments);
            self.end(raw, result);
            return;
        }
        // The process was killed before strace had looked at the call.
        if rest.starts_with("???") {
            return;
        }
        let Some((name, rest)) = rest.split_once('(') else { panic!("odd line: {}", short(line)) };
        if let Some(arguments) = rest.strip_suffix("<unfinished ...>") {
            let mut raw = Raw { name: name.to_owned(), arguments: arguments.to_owned(), act: None };
            self.begin(&mut raw);
            self.open.insert(thread.to_owned(), raw);
            return;
        }
        let (arguments, result) = split_result(rest);
        let mut raw = Raw { name: name.to_owned(), arguments: arguments.to_owned(), act: None };
        self.begin(&mut raw);
        self.end(raw, result);
    }

    fn begin(&mut self, raw: &mut Raw) {
        let Some(act) = self.act(&raw.name, &raw.arguments) else { return };
        raw.act = Some(self.calls.acts.len());
        self.calls.steps.push(Step::Begun(self.calls.acts.len()));
        self.calls.acts.push(act);
    }

    fn end(&mut self, mut raw: Raw, result: &str) {
        let worked = !result.starts_with("-1") && !result.starts_with('?');
        let value = result.split(|c: char| !c.is_ascii_digit()).next().and_then(|text| text.parse::<u64>().ok());
        let descriptor = descriptor(&raw.arguments);
        match raw.name.as_str() {
            "open" | "openat" | "openat2" | "creat" if worked => {
                assert!(
                    !raw.arguments.contains("SYNC") && !raw.arguments.contains("O_APPEND"),
                    "{}",
                    short(&raw.arguments)
                );
                self.positions.insert(value.unwrap_or(u64::MAX), 0);
            }
            "lseek" if worked => drop(descriptor.zip(value).map(|(fd, at)| self.positions.insert(fd, at))),
            "write" | "writev" if worked => {
                if let (Some(fd), Some(count)) = (descriptor, value) {
                    *self.positions.entry(fd).or_default() += count;
                }
            }
            _ => {}
        }
        // Some arguments are only told at the end.
        if raw.act.is_none() {
            self.begin(&mut raw);
        }
        let Some(number) = raw.act else { return };
        if result.starts_with('?') {
            return;
        }
        if let (Act::Write { bytes, .. } | Act::Send { bytes, .. }, Some(count)) = (&mut self.calls.acts[number], value)
        {
            bytes.truncate(count as usize);
        }
        self.calls.steps.push(if worked { Step::Done(number) } else { Step::Failed(number) });
    }

    /// The path below the folder, if it is one of ours.
    fn ours(&self, path: &str) -> Option<String> {
        let base = self.base.to_str()?;
        let inside = path.strip_prefix(base)?.trim_matches('/');
        (path == base || inside == "data" || inside.starts_with("data/")).then(|| inside.to_owned())
    }

    fn act(&mut self, name: &str, arguments: &str) -> Option<Act> {
        let path_of = |nth: usize| quoted(arguments).into_iter().nth(nth).and_then(|path| String::from_utf8(path).ok());
        let ours = |path: Option<String>| path.and_then(|path| self.resolve(arguments, &path));
        match name {
            "open" | "openat" | "openat2" | "creat" => {
                let path = ours(path_of(0))?;
                let (create, empty) = match name {
                    "creat" => (true, true),
                    _ => (arguments.contains("O_CREAT"), arguments.contains("O_TRUNC")),
                };
                (create || empty).then_some(Act::Open { path, create, empty })
            }
            "write" | "writev" | "pwrite64" | "pwritev" | "pwritev2" | "sendto" | "sendmsg" => {
                let (target, fd) = (fd_path(arguments)?, descriptor(arguments)?);
                if let Some(peer) = peer_port(&target) {
                    return Some(Act::Send { connection: target, peer, bytes: quoted(arguments).concat() });
                }
                let path = self.ours(&target)?;
                let offset = match name {
                    "write" | "writev" => self.positions.get(&fd).copied().unwrap_or(0),
                    _ => last_number(arguments)?,
                };
                Some(Act::Write { path, offset, bytes: quoted(arguments).concat() })
            }
            "ftruncate" => Some(Act::Truncate { path: self.fd_ours(arguments)?, length: last_number(arguments)? }),
            "fsync" | "fdatasync" => Some(Act::Sync { path: self.fd_ours(arguments)? }),
            "sync" | "syncfs" => Some(Act::SyncAll),
            "rename" | "renameat" | "renameat2" => Some(Act::Rename { from: ours(path_of(0))?, to: ours(path_of(1))? }),
            "unlink" | "unlinkat" | "rmdir" => Some(Act::Remove { path: ours(path_of(0))? }),
            "mkdir" | "mkdirat" => Some(Act::MakeDir { path: ours(path_of(0))? }),
            // Flushes neither metadata nor the disk's cache (sync_file_range(2)): no promise at all.
            "sync_file_range" | "lseek" => None,
            "fallocate" if arguments.contains("FALLOC_FL_KEEP_SIZE") => None,
            "mmap" => {
                let writes = arguments.contains("MAP_SHARED") && arguments.contains("PROT_WRITE");
                assert!(!(writes && self.fd_ours(arguments).is_some()), "a data file is mapped: {}", short(arguments));
                None
            }
            "io_uring_setup" => panic!("io_uring is not recorded"),
            "sendfile" | "copy_file_range" | "fallocate" | "truncate" | "link" | "linkat" | "symlink" | "symlinkat" => {
                assert!(!hexed(arguments).contains(&self.data), "{name} on a data file is not recorded");
                None
            }
            other => panic!("{other} was not asked for"),
        }
    }

    fn fd_ours(&self, arguments: &str) -> Option<String> {
        self.ours(&fd_path(arguments)?)
    }

    /// A path as a call names it: absolute, or below the folder of the descriptor before it.
    fn resolve(&self, arguments: &str, path: &str) -> Option<String> {
        if path.starts_with('/') {
            return self.ours(path);
        }
        let folder = fd_path(arguments)?;
        self.ours(&format!("{folder}/{path}"))
    }
}

fn short(line: &str) -> &str {
    &line[..line.len().min(300)]
}

/// `...) = 0` into arguments and result.
fn split_result(rest: &str) -> (&str, &str) {
    let Some(at) = rest.rfind(") = ").or_else(|| rest.rfind(" = ")) else { return (rest, "?") };
    let (arguments, result) = rest.split_at(at);
    (arguments, result.trim_start_matches(')').trim_start_matches(" = "))
}

/// `12<path>, ...` has 12 before its first bracket.
fn descriptor(arguments: &str) -> Option<u64> {
    arguments.split(['<', ',', ')']).next()?.trim().parse().ok()
}

/// The path or address of the first descriptor among the arguments.
fn fd_path(arguments: &str) -> Option<String> {
    let (_, rest) = arguments.split_once('<')?;
    if let Some(address) = rest.strip_prefix("TCP:[") {
        return Some(format!("TCP:{}", address.split(']').next()?));
    }
    let (path, after) = rest.split_once('>')?;
    // A file that was removed while it was open is nowhere any more.
    if after.starts_with("(deleted)") {
        return None;
    }
    String::from_utf8(unhex(path)).ok()
}

/// `TCP:127.0.0.1:4000->127.0.0.1:9100` leads to 9100.
fn peer_port(target: &str) -> Option<u16> {
    target.strip_prefix("TCP:")?.rsplit(':').next()?.parse().ok()
}

/// All strings among the arguments.
fn quoted(arguments: &str) -> Vec<Vec<u8>> {
    assert!(!arguments.contains("\"..."), "strace left bytes out: {}", short(arguments));
    arguments.split('"').skip(1).step_by(2).map(unhex).collect()
}

/// `\x41\x42` as bytes; what is not so written stays as it is.
fn unhex(text: &str) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(text.len() / 4 + 1);
    let mut rest = text.as_bytes();
    while let [first, behind @ ..] = rest {
        let code = rest.strip_prefix(b"\\x").and_then(|code| code.split_at_checked(2));
        let coded = code.and_then(|(code, behind)| {
            let byte = u8::from_str_radix(std::str::from_utf8(code).ok()?, 16).ok()?;
            Some((byte, behind))
        });
        let (byte, behind) = coded.unwrap_or((*first, behind));
        bytes.push(byte);
        rest = behind;
    }
    bytes
}

fn hexed(arguments: &str) -> String {
    String::from_utf8_lossy(&unhex(arguments)).into_owned()
}

/// The last argument, a number.
fn last_number(arguments: &str) -> Option<u64> {
    let text = arguments.rsplit(',').next()?.trim().trim_end_matches(')');
    text.strip_prefix("0x").map_or_else(|| text.parse().ok(), |hex| u64::from_str_radix(hex, 16).ok())
}
