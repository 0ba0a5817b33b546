//! Crashes of the real program: kill -9 (crashes/kills.rs), and power cuts.
//!
//! The power is cut, as far as a program can tell: strace records every write and every sync of
//! the real daemon below its data folder, and every byte that it sends. A model of a disk with a
//! volatile cache plays the recording up to any instant and leaves what such a disk may leave.
//! Opened again, that must hold every order that was answered, and must not queue any paper of
//! which a byte had left.
//!
//! `DAWNSLIP_CUTS=300 cargo test --test crashes` for more cuts; `DAWNSLIP_SEED=n` for others;
//! `DAWNSLIP_PROGRAM` names the binary.

#[path = "crashes/calls.rs"]
mod calls;
#[path = "crashes/disk.rs"]
mod disk;
#[path = "crashes/house.rs"]
mod house;
#[path = "crashes/kills.rs"]
mod kills;
#[allow(dead_code, reason = "shared with the daemon's tests, which use more of it")]
#[path = "daemon/load.rs"]
mod load;
#[path = "crashes/promise.rs"]
mod promise;
#[allow(dead_code, reason = "shared with the daemon's tests, which use more of it")]
#[path = "daemon/support.rs"]
mod support;

use calls::{Act, Calls, Reader, Step, TRACED};
use disk::{Disk, MANNERS, Manner, Syncs};
use load::{Dice, number_of};
use promise::{Promises, broken};
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};
use support::{Bench, order, program};

/// Cuts that are opened by the ledger within this process.
const CUTS: usize = 40;
/// So many of them at once.
const AT_ONCE: usize = 3;
/// Cuts that the real program is started on.
const STARTS: usize = 3;
/// A body of nearly the limit, so that a segment is soon full.
const LARGE: usize = 240_000;
/// So many of them fill one.
const FILLING: usize = 74;

/// A day of the daemon: four processes, one after the other on the same folder.
struct Recording {
    calls: Calls,
    /// Steps at which a process had ended, and which of its last calls took effect.
    ends: BTreeMap<usize, Vec<usize>>,
    promises: Promises,
}

/// The clock of the house goes so far ahead: what was closed before can be archived.
const DAYS: i64 = 20;
/// The test below.
const HOUSE: &str = "a_house_that_archives_when_it_is_told_to";

/// This process as a house, if it was started as one; see house.rs.
#[test]
fn a_house_that_archives_when_it_is_told_to() {
    house::live_if_told();
}

fn seed() -> u64 {
    number_of("DAWNSLIP_SEED", 417) as u64
}

fn can_record() -> bool {
    let traced = Command::new("strace").args(["-f", "-o", "/dev/null", "true"]).output();
    traced.is_ok_and(|out| out.status.success())
}

/// One recording serves all tests of this file; `None` where strace is missing or not allowed.
fn recording() -> Option<&'static Recording> {
    static RECORDING: OnceLock<Option<Recording>> = OnceLock::new();
    let recorded = RECORDING.get_or_init(|| can_record().then(record)).as_ref();
    if recorded.is_none() {
        assert!(std::env::var_os("DAWNSLIP_CUTS").is_none(), "strace does not work here, and cuts were asked for");
        println!("SKIPPED: strace does not work here, so nothing can be recorded");
    }
    recorded
}

/// Starts `command` under strace; its log.
fn start(bench: &mut Bench, command: &Command) -> std::path::PathBuf {
    let log = bench.folder.path().join(format!("calls-{}", bench.starts()));
    let mut traced = Command::new("strace");
    // -D: the daemon is our child, and strace lives beside it.
    traced.args(["-D", "-f", "-yy", "-xx", "-s", "40000000", "--seccomp-bpf", "-e", TRACED, "-o"]).arg(&log);
    traced.arg(command.get_program()).args(command.get_args());
    traced.envs(command.get_envs().filter_map(|(name, value)| Some((name, value?))));
    bench.start_by(traced);
    log
}

/// Reads a log once strace has written its last line.
fn whole(log: &Path, pid: u32) -> String {
    let begun = Instant::now();
    loop {
        let text = std::fs::read_to_string(log).unwrap();
        let ended = |line: &&str| line.starts_with(&format!("{pid} ")) && line.contains(" +++ ");
        if text.lines().rev().take(200).any(|line| ended(&line)) {
            return text;
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "strace does not end");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Every file of the data folder, as it is.
fn files(base: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![base.join("data")];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let entry = entry.unwrap();
            let kind = entry.file_type().unwrap();
            if kind.is_dir() {
                open.push(entry.path());
            } else if kind.is_file() {
                let name = entry.path().strip_prefix(base).unwrap().to_str().unwrap().to_owned();
                found.insert(name, std::fs::read(entry.path()).unwrap());
            }
        }
    }
    found
}

/// The model after a whole recording, and what its last process left open.
fn played(calls: &Calls, ends: &BTreeMap<usize, Vec<usize>>) -> Disk {
    let mut disk = Disk::new(Syncs::Count);
    for (at, step) in calls.steps.iter().enumerate() {
        if let Some(took) = ends.get(&at) {
            disk.forget_begun(took, &calls.acts);
        }
        disk.step(*step, &calls.acts);
    }
    disk
}

/// Which of the calls that a kill cut off took effect: those with which the model holds what the
/// folder holds. This proves as well that the recording tells everything.
fn what_took(calls: &Calls, ends: &BTreeMap<usize, Vec<usize>>, base: &Path) -> Vec<usize> {
    let real = files(base);
    let open = played(calls, ends).open_changes(&calls.acts);
    assert!(open.len() < 7, "{} calls were under way", open.len());
    let mut differs = String::new();
    let mut but_for_index = None;
    for choice in 0..1u32 << open.len() {
        let took: Vec<usize> = (0..open.len()).filter(|nth| choice & (1 << nth) != 0).map(|nth| open[nth]).collect();
        let mut disk = played(calls, ends);
        disk.forget_begun(&took, &calls.acts);
        let live = disk.live();
        if live == real {
            return took;
        }
        let odd: Vec<_> = live.keys().chain(real.keys()).filter(|name| live.get(*name) != real.get(*name)).collect();
        // sled writes from several threads at once, and of two overlapping calls nobody can tell which came last.
        if odd.iter().all(|name| name.contains("/index/")) && but_for_index.is_none() {
            but_for_index = Some(took);
        }
        differs = format!("{odd:?}");
    }
    if let Some(took) = but_for_index {
        return took;
    }
    panic!("the recording does not lead to what is in the folder: {differs}");
}

fn record() -> Recording {
    let mut bench = Bench::new();
    let base = bench.folder.path().to_owned();
    let daemon = bench.command();
    let mut reader = Reader::new(&base);
    let mut ends = BTreeMap::new();
    let mut end = |reader: &mut Reader<'_>, log: &Path, pid: u32| {
        reader.read(&whole(log, pid));
        let took = what_took(&reader.calls, &ends, &base);
        ends.insert(reader.calls.steps.len(), took);
    };

    // From nothing; killed while orders come and papers print.
    let log = start(&mut bench, &daemon);
    for index in 0..6 {
        bench.order(&format!("A-{index}"), &[(if index % 2 == 0 { "sea-mint" } else { "GLZ-9" }, 1)]);
    }
    bench.until("papers", || bench.galley.papers().len() >= 3);
    let told = Arc::new(load::Told::default());
    let senders = load::load(&bench, 0, &told);
    bench.until("some answers", || told.count() >= 25);
    let pid = bench.pid();
    bench.kill();
    load::wait_for(&bench, senders);
    end(&mut reader, &log, pid);

    // After the kill; people act; a clean stop.
    let log = start(&mut bench, &daemon);
    bench.order("B-1", &[("mug-dawn", 1)]);
    bench.until_still();
    bench.run(&["packed", "A-0"]).expect(0, &[]);
    bench.run(&["cancel", "A-1"]).expect(0, &[]);
    bench.run(&["cancel", "A-3"]).expect(0, &[]);
    bench.until_still();
    let pid = bench.pid();
    assert!(bench.terminate().0.success());
    end(&mut reader, &log, pid);

    // After the clean stop, weeks later: a segment runs full, two snapshots, an archive, which
    // lets the first segment go; a clean stop.
    let house = house::command(&base, HOUSE, DAYS);
    let log = start(&mut bench, &house);
    bench.ahead = house::ahead(DAYS);
    for index in 0..FILLING {
        let mut large = order(&format!("L-{index}"), &[("GLZ-9", 1)]);
        large["remark"] = "x".repeat(LARGE).into();
        let told = bench.send(&format!("msg_L-{index}"), large.to_string());
        assert_eq!(told.status, 202, "{}", told.body);
    }
    for (index, word) in ["checkpoint", "checkpoint", "archive", "checkpoint"].into_iter().enumerate() {
        house::tell(&base, word);
        bench.order(&format!("C-{index}"), &[("sea-mint", 1)]);
        bench.until_still();
    }
    let pid = bench.pid();
    assert!(bench.terminate().0.success());
    end(&mut reader, &log, pid);

    // And once more in its own time.
    bench.ahead = Default::default();
    let log = start(&mut bench, &daemon);
    for index in 0..4 {
        bench.order(&format!("D-{index}"), &[("sea-mint", 1)]);
    }
    bench.until_still();
    let pid = bench.pid();
    bench.kill();
    end(&mut reader, &log, pid);

    let calls = reader.calls;
    let promises = Promises::of(&calls, bench.galley.addr().unwrap().port());
    let identified = promises.papers.iter().filter(|paper| paper.process_id.is_some()).count();
    println!(
        "recorded: {} steps, {} answers, {} papers begun ({identified} by name)",
        calls.steps.len(),
        promises.answered.len(),
        promises.papers.len()
    );
    assert!(promises.answered.len() > FILLING + 30 && identified >= 15, "the recording shows too little");
    let removed = |act: &Act| matches!(act, Act::Remove { path } if path == "data/journal/0001.log");
    assert!(calls.acts.iter().any(removed), "no segment went: the archive was not recorded");
    Recording { calls, ends, promises }
}

/// Where the power goes: anywhere, and often beside what is rare (names, syncs of folders).
fn instants(recording: &Recording, count: usize, dice: &mut Dice) -> Vec<usize> {
    let Calls { acts, steps } = &recording.calls;
    let is_rare = |step: &Step| {
        let (Step::Begun(call) | Step::Done(call) | Step::Failed(call)) = step;
        match &acts[*call] {
            Act::Send { .. } | Act::Write { .. } => false,
            Act::Sync { path } => !path.starts_with("data/journal/"),
            _ => true,
        }
    };
    let rare: Vec<usize> = (0..steps.len()).filter(|at| is_rare(&steps[*at])).collect();
    let mut chosen: Vec<usize> = (0..count)
        .map(|nth| match nth % 5 {
            0 | 1 => rare[dice.below(rare.len())] + dice.below(2),
            _ => dice.below(steps.len()) + 1,
        })
        .collect();
    // Right after each process has ended as well, in every manner perhaps.
    let ends = recording.ends.keys().flat_map(|at| std::iter::repeat_n(*at, 1 + count / 30));
    chosen.extend(ends);
    chosen.sort_unstable();
    chosen
}

/// Plays the recording, and at each of these instants leaves in a fresh folder what a cut may leave.
fn each_cut(
    recording: &Recording,
    syncs: Syncs,
    at: &[usize],
    dice: &mut Dice,
    mut look: impl FnMut(tempfile::TempDir, usize, Manner, Promises),
) {
    let Recording { calls, ends, promises } = recording;
    let mut disk = Disk::new(syncs);
    let mut next = at.iter().peekable();
    for step in 0..=calls.steps.len() {
        while next.next_if(|at| **at == step).is_some() {
            let manner = MANNERS[dice.below(MANNERS.len())];
            let folder = tempfile::tempdir().unwrap();
            disk.cut(folder.path(), manner, dice, &calls.acts);
            look(folder, step, manner, promises.before(step));
        }
        if let Some(took) = ends.get(&step) {
            disk.forget_begun(took, &calls.acts);
        }
        if let Some(now) = calls.steps.get(step) {
            disk.step(*now, &calls.acts);
        }
    }
}

/// Opens what is left of several cuts at once; says what is broken.
fn look_at(left: &mut Vec<(tempfile::TempDir, usize, Manner, Promises)>) -> Vec<String> {
    std::thread::scope(|scope| {
        let looks = left.drain(..).map(|(folder, step, manner, promises)| {
            scope.spawn(move || {
                let broken = broken(folder.path(), &promises, house::later(DAYS));
                (!broken.is_empty()).then(|| format!("cut before step {step}, {manner:?}: {broken:#?}"))
            })
        });
        let looks: Vec<_> = looks.collect();
        looks.into_iter().filter_map(|look| look.join().unwrap()).collect()
    })
}

#[test]
fn what_was_answered_or_begun_survives_a_power_cut_at_any_instant() {
    let Some(recording) = recording() else { return };
    let (cuts, seed) = (number_of("DAWNSLIP_CUTS", CUTS), seed());
    let mut dice = Dice(seed);
    let at = instants(recording, cuts, &mut dice);
    let (mut waiting, mut failures) = (Vec::new(), Vec::new());
    let (mut orders, mut papers) = (0, 0);
    each_cut(recording, Syncs::Count, &at, &mut dice, |folder, step, manner, promises| {
        orders += promises.answered.len();
        papers += promises.papers.len();
        waiting.push((folder, step, manner, promises));
        if waiting.len() == AT_ONCE {
            failures.extend(look_at(&mut waiting));
        }
    });
    failures.extend(look_at(&mut waiting));
    let held = at.len() - failures.len();
    println!(
        "power cuts, seed {seed}: {held} of {} keep everything; {orders} answers and {papers} papers were looked for",
        at.len()
    );
    assert!(failures.is_empty(), "seed {seed}: {} of {}:\n{}", failures.len(), at.len(), failures.join("\n"));
}

#[test]
fn the_check_of_a_power_cut_finds_losses_where_nothing_is_synced_or_folders_are_forgotten() {
    let Some(recording) = recording() else { return };
    for syncs in [Syncs::Ignored, Syncs::OfFilesOnly] {
        let mut dice = Dice(seed());
        let at = instants(recording, 12, &mut dice);
        let (mut lost, mut twice) = (0, 0);
        each_cut(recording, syncs, &at, &mut dice, |folder, _, _, promises| {
            let broken = broken(folder.path(), &promises, house::later(DAYS));
            lost += usize::from(!broken.is_empty());
            twice += usize::from(broken.iter().any(|what| what.starts_with("job")));
        });
        println!("{syncs:?}: {lost} of {} cuts lose something, {twice} of them a paper", at.len());
        assert!(lost >= 3, "{syncs:?}: of {} cuts only {lost} lose something", at.len());
    }
}

#[test]
fn the_real_program_starts_on_what_a_power_cut_leaves_and_prints_nothing_twice() {
    let Some(recording) = recording() else { return };
    let starts = number_of("DAWNSLIP_STARTS", STARTS);
    let mut dice = Dice(seed() ^ 0x5eed);
    let mut at = instants(recording, starts, &mut dice);
    at.truncate(starts.max(3));
    let (mut orders, mut papers) = (0, 0);
    each_cut(recording, Syncs::Count, &at, &mut dice, |left, step, manner, promises| {
        let what = format!("cut before step {step}, {manner:?}");
        let mut bench = Bench::new();
        if left.path().join("data").exists() {
            std::fs::rename(left.path().join("data"), bench.data()).unwrap();
        }
        bench.start();
        bench.until_still();
        let begun: Vec<[u8; 4]> = promises.papers.iter().filter_map(|paper| paper.process_id).collect();
        let printed = bench.galley.papers();
        let printed: Vec<&[u8; 4]> = printed.iter().flat_map(|paper| &paper.process_ids).collect();
        let twice: Vec<_> = printed.iter().filter(|id| begun.contains(id)).collect();
        assert!(twice.is_empty(), "{what}: printed before the cut, and again without COPY: {twice:?}");
        papers += printed.len();
        assert!(bench.terminate().0.success(), "{what}");
        let broken = broken(bench.folder.path(), &promises, house::later(DAYS));
        assert!(broken.is_empty(), "{what}, started and stopped: {broken:#?}");
        orders += promises.answered.len();
    });
    println!(
        "the real program ({}) on {} cuts: {orders} orders there, {papers} papers, none twice",
        program(),
        at.len()
    );
}
