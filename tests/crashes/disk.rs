//! A model of a disk with a volatile cache, written apart from the simulated one of the ledger: what
//! is durable, what is only written, and what a power cut may leave of it.
//!
//! Contents and length of a file are durable once a sync of it, begun after the write had ended,
//! has ended. A name is durable once its folder was synced likewise; a rename once both were.
//! All else may be there, be missing or be torn into sectors, in any order.

use super::calls::{Act, Step};
use super::load::Dice;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Disks write whole sectors.
const SECTOR: usize = 512;
/// The folder that holds the data folder.
const BASE: usize = 0;

/// Which syncs count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Syncs {
    /// As they were.
    Count,
    /// As if the program had made none: the check must then find losses.
    Ignored,
    /// As if it had forgotten the folders.
    OfFilesOnly,
}

/// What the cut does to unsynced changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Manner {
    AllLost,
    AllKept,
    /// Each change on its own.
    Each,
    /// Each sector on its own, and lengths.
    Sectors,
    /// All up to one, which is torn: a disk that keeps the order.
    InOrder,
    /// Lengths and names are kept, contents are not: zeros or rubbish lie there.
    LengthsOnly,
}

pub const MANNERS: [Manner; 6] =
    [Manner::AllLost, Manner::AllKept, Manner::Each, Manner::Sectors, Manner::InOrder, Manner::LengthsOnly];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Node {
    File(usize),
    Dir(usize),
}

type Names = BTreeMap<String, Node>;

#[derive(Debug, Clone)]
enum Change {
    Write { offset: u64, bytes: Vec<u8> },
    Truncate(u64),
}

#[derive(Debug, Default)]
struct File {
    durable: Vec<u8>,
    /// Changes since, with the step at which each ended.
    pending: Vec<(usize, Change)>,
}

#[derive(Debug, Default)]
struct Dir {
    durable: Names,
    live: Names,
}

/// A change of names: all of it or nothing.
#[derive(Debug)]
struct Renaming {
    ended: usize,
    sets: Vec<(usize, String, Option<Node>)>,
    /// Folders that were not synced since.
    unsynced: BTreeSet<usize>,
}

/// The disk.
pub struct Disk {
    syncs: Syncs,
    files: Vec<File>,
    dirs: Vec<Dir>,
    renamings: Vec<Renaming>,
    /// Calls that have begun: at which step.
    begun: BTreeMap<usize, usize>,
    now: usize,
}

impl Disk {
    pub fn new(syncs: Syncs) -> Self {
        let dirs = vec![Dir::default()];
        Self { syncs, files: Vec::new(), dirs, renamings: Vec::new(), begun: BTreeMap::new(), now: 0 }
    }

    /// Takes one step of a recording.
    pub fn step(&mut self, step: Step, acts: &[Act]) {
        self.now += 1;
        match step {
            Step::Begun(call) => drop(self.begun.insert(call, self.now)),
            Step::Failed(call) => drop(self.begun.remove(&call)),
            Step::Done(call) => {
                let begun = self.begun.remove(&call).expect("what ends has begun");
                match &acts[call] {
                    Act::Sync { path } => self.sync(path, begun),
                    Act::SyncAll if self.syncs == Syncs::Count => {
                        (0..self.files.len()).for_each(|file| self.sync_file(file, begun));
                        (0..self.dirs.len()).for_each(|dir| self.sync_dir(dir, begun));
                    }
                    act => self.change(act),
                }
            }
        }
    }

    /// Calls that a kill has left without an end took effect or did not; `took` says which did.
    pub fn forget_begun(&mut self, took: &[usize], acts: &[Act]) {
        self.now += 1;
        took.iter().for_each(|call| self.change(&acts[*call]));
        self.begun.clear();
    }

    /// Calls without an end so far that change something.
    pub fn open_changes(&self, acts: &[Act]) -> Vec<usize> {
        let changes = |call: &usize| !matches!(acts[*call], Act::Sync { .. } | Act::SyncAll | Act::Send { .. });
        self.begun.keys().copied().filter(changes).collect()
    }

    fn find_dir(&self, path: &str) -> usize {
        let mut at = BASE;
        for part in path.split('/').filter(|part| !part.is_empty()) {
            match self.dirs[at].live.get(part) {
                Some(Node::Dir(dir)) => at = *dir,
                other => panic!("{path}: {other:?} is no folder"),
            }
        }
        at
    }

    fn place<'p>(&self, path: &'p str) -> (usize, &'p str) {
        let (dir, name) = path.rsplit_once('/').unwrap_or(("", path));
        (self.find_dir(dir), name)
    }

    fn find(&self, path: &str) -> Option<Node> {
        if path.is_empty() {
            return Some(Node::Dir(BASE));
        }
        let (dir, name) = self.place(path);
        self.dirs[dir].live.get(name).copied()
    }

    fn file_at(&self, path: &str) -> Option<usize> {
        match self.find(path) {
            Some(Node::File(file)) => Some(file),
            Some(Node::Dir(_)) => panic!("{path} is a folder"),
            None => None,
        }
    }

    fn set(&mut self, sets: Vec<(usize, String, Option<Node>)>) {
        for (dir, name, node) in &sets {
            match node {
                Some(node) => drop(self.dirs[*dir].live.insert(name.clone(), *node)),
                None => drop(self.dirs[*dir].live.remove(name)),
            }
        }
        let unsynced = sets.iter().map(|(dir, ..)| *dir).collect();
        self.renamings.push(Renaming { ended: self.now, sets, unsynced });
    }

    fn change(&mut self, act: &Act) {
        match act {
            Act::Open { path, create, empty } => {
                let there = self.find(path);
                match there {
                    Some(Node::File(file)) if *empty => self.files[file].pending.push((self.now, Change::Truncate(0))),
                    None if *create => {
                        self.files.push(File::default());
                        let (dir, name) = self.place(path);
                        self.set(vec![(dir, name.to_owned(), Some(Node::File(self.files.len() - 1)))]);
                    }
                    _ => {}
                }
            }
            Act::Write { path, offset, bytes } => {
                if let Some(file) = self.file_at(path) {
                    let change = Change::Write { offset: *offset, bytes: bytes.clone() };
                    self.files[file].pending.push((self.now, change));
                } else {
                    // It was removed while it was open: nobody can find it any more.
                    assert!(path.contains("(deleted)") || path.contains("/index"), "write to an unknown file {path}");
                }
            }
            Act::Truncate { path, length } => {
                if let Some(file) = self.file_at(path) {
                    self.files[file].pending.push((self.now, Change::Truncate(*length)));
                }
            }
            Act::Rename { from, to } => {
                let node = self.find(from).unwrap_or_else(|| panic!("{from} is renamed and unknown"));
                let ((dir, name), (to_dir, to_name)) = (self.place(from), self.place(to));
                self.set(vec![(dir, name.to_owned(), None), (to_dir, to_name.to_owned(), Some(node))]);
            }
            Act::Remove { path } => {
                let (dir, name) = self.place(path);
                self.set(vec![(dir, name.to_owned(), None)]);
            }
            Act::MakeDir { path } => {
                self.dirs.push(Dir::default());
                let (dir, name) = self.place(path);
                self.set(vec![(dir, name.to_owned(), Some(Node::Dir(self.dirs.len() - 1)))]);
            }
            Act::Sync { .. } | Act::SyncAll | Act::Send { .. } => {}
        }
    }

    fn sync(&mut self, path: &str, begun: usize) {
        match (self.find(path), self.syncs) {
            (_, Syncs::Ignored) | (None, _) | (Some(Node::Dir(_)), Syncs::OfFilesOnly) => {}
            (Some(Node::File(file)), _) => self.sync_file(file, begun),
            (Some(Node::Dir(dir)), Syncs::Count) => self.sync_dir(dir, begun),
        }
    }

    fn sync_file(&mut self, file: usize, begun: usize) {
        let File { durable, pending } = &mut self.files[file];
        // In the order in which they ended, so the early ones come first.
        let covered = pending.iter().take_while(|(ended, _)| *ended < begun).count();
        pending.drain(..covered).for_each(|(_, change)| apply(&change, durable));
    }

    fn sync_dir(&mut self, dir: usize, begun: usize) {
        for renaming in self.renamings.iter_mut().filter(|renaming| renaming.ended < begun) {
            renaming.unsynced.remove(&dir);
        }
        // An earlier change of the same names must not overwrite a later one.
        let settled = self.renamings.iter().take_while(|renaming| renaming.unsynced.is_empty()).count();
        for renaming in self.renamings.drain(..settled) {
            set_names(&mut self.dirs, &renaming.sets, |dir| &mut dir.durable);
        }
    }

    /// All files as the running system shows them.
    pub fn live(&self) -> BTreeMap<String, Vec<u8>> {
        let content = |file: &File| {
            let mut bytes = file.durable.clone();
            file.pending.iter().for_each(|(_, change)| apply(change, &mut bytes));
            bytes
        };
        let mut found = BTreeMap::new();
        let mut open = vec![(BASE, String::new())];
        while let Some((dir, path)) = open.pop() {
            for (name, node) in &self.dirs[dir].live {
                match node {
                    Node::Dir(dir) => open.push((*dir, format!("{path}{name}/"))),
                    Node::File(file) => drop(found.insert(format!("{path}{name}"), content(&self.files[*file]))),
                }
            }
        }
        found
    }

    /// Writes into `folder` what a power cut at this instant may leave.
    pub fn cut(&self, folder: &Path, manner: Manner, dice: &mut Dice, acts: &[Act]) {
        let mut names: Vec<Dir> =
            self.dirs.iter().map(|dir| Dir { durable: dir.durable.clone(), live: Names::new() }).collect();
        let upto = if manner == Manner::InOrder { dice.below(self.renamings.len() + 1) } else { 0 };
        for (nth, renaming) in self.renamings.iter().enumerate() {
            let kept = renaming.unsynced.is_empty()
                || match manner {
                    Manner::AllLost => false,
                    Manner::AllKept | Manner::LengthsOnly => true,
                    Manner::Each | Manner::Sectors => dice.coin(),
                    Manner::InOrder => nth < upto,
                };
            if kept {
                set_names(&mut names, &renaming.sets, |dir| &mut dir.durable);
            }
        }
        // Writes under way may have got anywhere.
        let mut under_way: BTreeMap<usize, Vec<Change>> = BTreeMap::new();
        for call in self.begun.keys() {
            let (path, change) = match &acts[*call] {
                Act::Write { path, offset, bytes } => (path, Change::Write { offset: *offset, bytes: bytes.clone() }),
                Act::Truncate { path, length } => (path, Change::Truncate(*length)),
                _ => continue,
            };
            if let Some(file) = self.file_at(path) {
                under_way.entry(file).or_default().push(change);
            }
        }
        let mut open = vec![(BASE, folder.to_owned())];
        while let Some((dir, path)) = open.pop() {
            for (name, node) in &names[dir].durable {
                let path = path.join(name);
                match node {
                    Node::Dir(dir) => {
                        std::fs::create_dir_all(&path).unwrap();
                        open.push((*dir, path));
                    }
                    Node::File(file) => {
                        let more = under_way.get(file).map_or(&[][..], Vec::as_slice);
                        std::fs::write(path, left_of(&self.files[*file], more, manner, dice)).unwrap();
                    }
                }
            }
        }
    }
}

fn set_names(dirs: &mut [Dir], sets: &[(usize, String, Option<Node>)], of: impl Fn(&mut Dir) -> &mut Names) {
    for (dir, name, node) in sets {
        match node {
            Some(node) => drop(of(&mut dirs[*dir]).insert(name.clone(), *node)),
            None => drop(of(&mut dirs[*dir]).remove(name)),
        }
    }
}

fn apply(change: &Change, bytes: &mut Vec<u8>) {
    match change {
        Change::Truncate(length) => bytes.resize(*length as usize, 0),
        Change::Write { offset, bytes: new } => {
            let (from, to) = (*offset as usize, *offset as usize + new.len());
            if bytes.len() < to {
                bytes.resize(to, 0);
            }
            bytes[from..to].copy_from_slice(new);
        }
    }
}

/// Writes those sectors of a change that the dice keep.
fn tear(change: &Change, bytes: &mut Vec<u8>, dice: &mut Dice) {
    let Change::Write { offset, bytes: new } = change else {
        if dice.coin() {
            apply(change, bytes);
        }
        return;
    };
    let mut from = 0;
    while from < new.len() {
        let at = *offset as usize + from;
        let to = (from + SECTOR - at % SECTOR).min(new.len());
        if dice.coin() {
            apply(&Change::Write { offset: at as u64, bytes: new[from..to].to_vec() }, bytes);
        }
        from = to;
    }
}

fn left_of(file: &File, under_way: &[Change], manner: Manner, dice: &mut Dice) -> Vec<u8> {
    let mut bytes = file.durable.clone();
    let changes: Vec<&Change> = file.pending.iter().map(|(_, change)| change).chain(under_way).collect();
    let upto = if manner == Manner::InOrder { dice.below(changes.len() + 1) } else { 0 };
    for (nth, change) in changes.into_iter().enumerate() {
        match manner {
            Manner::AllLost => {}
            Manner::AllKept => apply(change, &mut bytes),
            Manner::Each if dice.coin() => apply(change, &mut bytes),
            Manner::Each => {}
            Manner::Sectors => tear(change, &mut bytes, dice),
            Manner::InOrder if nth < upto => apply(change, &mut bytes),
            Manner::InOrder if nth == upto => tear(change, &mut bytes, dice),
            Manner::InOrder => {}
            Manner::LengthsOnly => match change {
                Change::Truncate(_) => apply(change, &mut bytes),
                Change::Write { offset, bytes: new } => {
                    let rubbish = dice.coin();
                    let end = *offset as usize + new.len();
                    while bytes.len() < end {
                        bytes.push(if rubbish { dice.next() as u8 } else { 0 });
                    }
                }
            },
        }
    }
    // The length may stand anywhere between the durable one and the last.
    if manner == Manner::Sectors && bytes.len() > file.durable.len() && dice.coin() {
        let more = bytes.len() - file.durable.len();
        bytes.truncate(file.durable.len() + dice.below(more + 1));
    }
    bytes
}
