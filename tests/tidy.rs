//! Rules about the source itself: what the pure modules may not name, what stands where, how
//! long a file may be. Each rule reads files; none needs the program.

use std::fs;
use std::path::{Path, PathBuf};

/// A source file that is longer wants to be two.
const SOURCE_LINES_MAX: usize = 700;
/// Tests are tables, which may be a little longer.
const TEST_LINES_MAX: usize = 800;
/// Modules that are functions of their arguments.
const PURE: [&str; 5] = ["model", "book", "plan", "slip", "supplies"];
/// What a pure module may not name, not even in a comment: files, sockets, processes, clocks,
/// tasks, threads, chance.
const BANNED: [&str; 12] = [
    "std::fs",
    "std::process",
    "std::thread",
    "std::time",
    "Instant::",
    "SystemTime",
    "Timestamp::now",
    "Zoned::now",
    "tokio",
    "async fn",
    "thread::",
    "getrandom",
];
/// All that may lie at the top.
const TOP: [&str; 9] =
    ["Cargo.toml", "Cargo.lock", "README.md", "DEVELOPERS.md", "LICENSE", "src", "deploy", "tests", "systemd"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn text(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// Every file below a folder of the project, by its path from the top, sorted.
fn files(folder: &str) -> Vec<(String, PathBuf)> {
    let mut found = Vec::new();
    let mut open = vec![root().join(folder)];
    while let Some(folder) = open.pop() {
        let Ok(entries) = fs::read_dir(&folder) else { continue };
        for entry in entries {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(root()).unwrap().to_string_lossy().into_owned();
                found.push((name, path));
            }
        }
    }
    found.sort();
    found
}

fn sources(folder: &str) -> Vec<(String, String)> {
    let all = files(folder).into_iter().filter(|(name, _)| name.ends_with(".rs"));
    let read: Vec<(String, String)> = all.map(|(name, path)| (name, fs::read_to_string(path).unwrap())).collect();
    assert!(!read.is_empty(), "no source in {folder}");
    read
}

#[track_caller]
fn none(complaints: Vec<String>) {
    assert!(complaints.is_empty(), "\n{}", complaints.join("\n"));
}

/// Every place in `folder` where a line breaks `rule`.
fn places(folder: &str, rule: impl Fn(&str) -> Option<String>) -> Vec<String> {
    let mut complaints = Vec::new();
    for (name, source) in sources(folder) {
        for (index, line) in source.lines().enumerate() {
            if let Some(what) = rule(line) {
                complaints.push(format!("{name}:{}: {what}", index + 1));
            }
        }
    }
    complaints
}

#[test]
fn pure_modules_are_pure() {
    let impure = |line: &str| {
        let named = BANNED.iter().find(|word| line.contains(**word)).map(|word| format!("names {word}"));
        // Addresses are plain values; sockets are not.
        let socket = line.match_indices("std::net::").any(|(at, head)| {
            let name = &line[at + head.len()..];
            !["SocketAddr", "IpAddr", "Ipv4Addr", "Ipv6Addr"].iter().any(|plain| name.starts_with(plain))
        });
        let chance = line.contains("rand::") && !line.contains("operand::");
        named.or(socket.then(|| "names a socket".to_owned())).or(chance.then(|| "names chance".to_owned()))
    };
    none(PURE.iter().flat_map(|module| places(&format!("src/{module}"), impure)).collect());
}

#[test]
fn the_core_knows_no_shell() {
    // From the inside out: who may name whom. `model` names nobody, `book` only `model`, and so on.
    let core: [(&str, &[&str]); 5] = [
        ("model", &[]),
        ("book", &["model"]),
        ("plan", &["model"]),
        ("supplies", &["model", "book"]),
        ("slip", &["model", "book", "supplies", "plan"]),
    ];
    let mut complaints = Vec::new();
    for (module, may) in core {
        complaints.extend(places(&format!("src/{module}"), |line| {
            line.match_indices("crate::").find_map(|(at, head)| {
                let rest = &line[at + head.len()..];
                let named: String = rest.chars().take_while(|c| c.is_ascii_lowercase() || *c == '_').collect();
                let allowed = named.is_empty() || named == module || may.contains(&named.as_str());
                (!allowed).then(|| format!("{module} names {named}"))
            })
        }));
    }
    none(complaints);
}

#[test]
fn every_module_says_what_it_may_touch_and_what_it_never_does() {
    let mut heads = sources("src");
    heads.retain(|(name, _)| name.ends_with("/mod.rs") && name.matches('/').count() == 2);
    assert_eq!(heads.len(), 12, "the map of the modules has changed: tell DEVELOPERS.md and this test");
    let mut complaints = Vec::new();
    for (name, source) in heads {
        let head: Vec<&str> = source.lines().take_while(|line| line.starts_with("//!")).collect();
        let head = head.join("\n");
        for word in ["May touch", "Never"] {
            if !head.contains(word) {
                complaints.push(format!("{name}: its head does not say {word:?}"));
            }
        }
    }
    none(complaints);
}

#[test]
fn nothing_else_lies_at_the_top() {
    // What builds and runs leave behind is named in .gitignore.
    let ignored = text(".gitignore");
    let ignored: Vec<&str> = ignored.lines().map(|line| line.trim().trim_matches('/')).collect();
    let mut complaints = Vec::new();
    for entry in fs::read_dir(root()).unwrap() {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        let known = name.starts_with('.') || name == "config" || TOP.contains(&name.as_str());
        if !known && !ignored.contains(&name.as_str()) {
            complaints.push(format!("{name} has no place at the top"));
        }
    }
    none(complaints);
}

#[test]
fn no_file_is_too_long() {
    let mut complaints = Vec::new();
    for (folder, most) in [("src", SOURCE_LINES_MAX), ("tests", TEST_LINES_MAX)] {
        for (name, source) in sources(folder) {
            let lines = source.lines().count();
            if lines > most {
                complaints.push(format!("{name} has {lines} lines, {most} are allowed"));
            }
        }
    }
    none(complaints);
}

#[test]
fn no_work_is_left_as_a_note_to_oneself() {
    // Written apart, so that this file does not name them.
    let words = [["to", "do!("], ["unimpl", "emented!("], ["FIX", "ME"], ["TO", "DO"], ["#[ig", "nore"], ["db", "g!("]];
    let words: Vec<String> = words.iter().map(|parts| parts.concat()).collect();
    let rule = |line: &str| words.iter().find(|word| line.contains(*word)).map(|word| format!("holds {word}"));
    none(["src", "tests"].into_iter().flat_map(|folder| places(folder, rule)).collect());
}

#[test]
fn no_path_of_one_machine_is_written_down() {
    let heads = [["/wo", "rk/"], ["/ro", "ot/"], ["/ho", "me/"], ["/Us", "ers/"]].map(|parts| parts.concat());
    let mut complaints = Vec::new();
    let top = ["README.md", "DEVELOPERS.md", "Cargo.toml"].map(|name| (name.to_owned(), root().join(name)));
    let below = ["src", "tests", "config", "deploy", "systemd", ".ci"].into_iter().flat_map(files);
    for (name, path) in below.chain(top) {
        // Pictures and fonts are no text; published vectors are quoted as they are.
        let Ok(text) = fs::read_to_string(&path) else { continue };
        if name.starts_with("tests/standards/") {
            continue;
        }
        for (index, line) in text.lines().enumerate() {
            // As a path begins: `${root}/srv/…` of a script or `example/home/` is none.
            let begins = |head: &String| {
                line.match_indices(head.as_str()).any(|(at, _)| {
                    !line[..at].ends_with(|c: char| c.is_alphanumeric() || matches!(c, '}' | '.' | '_' | '-'))
                })
            };
            if heads.iter().any(begins) {
                complaints.push(format!("{name}:{}: {line}", index + 1));
            }
        }
    }
    none(complaints);
}

#[test]
fn every_dependency_has_its_reason_beside_it() {
    let manifest = text("Cargo.toml");
    let (mut within, mut before) = (false, "");
    let mut complaints = Vec::new();
    for (index, line) in manifest.lines().enumerate() {
        if line.starts_with('[') {
            within = line.contains("dependencies");
        } else if within && line.contains('=') && !line.starts_with('#') {
            let reasoned = before.starts_with('#') || line.contains(" # ");
            if !reasoned {
                complaints.push(format!("Cargo.toml:{}: {line}", index + 1));
            }
        }
        before = line;
    }
    none(complaints);
}

#[test]
fn the_two_commands_are_the_ones_that_are_checked() {
    let readme = text("README.md");
    for command in ["cargo run --release -- rehearse", "cargo test"] {
        assert!(readme.contains(command), "README.md does not show `{command}`");
    }
    let ci = text(".ci/run");
    for command in ["cargo fmt --check", "cargo clippy --all-targets -- -D warnings", "cargo test", "-- rehearse"] {
        assert!(ci.contains(command), ".ci/run does not call `{command}`");
    }
}
