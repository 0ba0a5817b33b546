//! A first simulation of the whole: book, ledger on a simulated disk, printer, shop, people and
//! clock in one thread, from a seed. Nothing here reads the time or waits.
//!
//! `DAWNSLIP_SEEDS=1000` runs more of them, `DAWNSLIP_SEED=7` one; a failing one tells its story.
//! Plans come from the book tests' stand-in planner: what matters here is what is kept and
//! printed, not which box.

#[path = "../book_bench/mod.rs"]
mod book_bench;
mod world;

use dawnslip::book::Stage;
use dawnslip::model::*;
use std::collections::{BTreeMap, BTreeSet};
use std::panic::{AssertUnwindSafe, catch_unwind};
use world::{Mistake, World};

/// Things that happen in one life.
const EVENTS: usize = 400;
/// Lines of the story that a failure tells.
const STORY_LINES: usize = 40;

/// What must hold at every instant.
fn check(world: &World) {
    let state = &world.durable.state;
    for sent in world.sent.iter().filter(|sent| sent.answered) {
        let message = &sent.received.message;
        let known = state.messages.get(&message.source).is_some_and(|ids| ids.contains_key(&message.id));
        assert!(known, "message {} was answered and is not there", message.id);
    }
    for (key, entry) in &state.orders {
        let person = world.durable.people.of(key, entry.version);
        assert!(person.is_some(), "the person of {key} is not there");
        for parcel in &entry.parcels {
            assert!(state.parcels.contains_key(parcel), "{parcel} of {key} is not there");
        }
        let on_paper = entry.parcels.iter().filter_map(|id| state.parcels.get(id)).any(|p| p.stage >= Stage::Printed);
        assert!(!on_paper || entry.version_on_paper.is_some(), "{key} is printed without a version");
    }
    let mut firsts: BTreeMap<(PaperKind, &Subject), JobId> = BTreeMap::new();
    let mut seen: BTreeSet<JobId> = BTreeSet::new();
    for paper in &world.tray {
        assert!(seen.insert(paper.job), "{} {} was printed twice by the same job", paper.kind, paper.job);
        if !paper.is_copy
            && let Some(first) = firsts.insert((paper.kind, &paper.subject), paper.job)
        {
            panic!("{} {:?} came out as {first} and again as {}, without COPY", paper.kind, paper.subject, paper.job);
        }
    }
}

/// What must hold once everything has come to rest.
fn check_at_rest(world: &World) {
    check(world);
    let state = &world.durable.state;
    let out: BTreeSet<JobId> = world.tray.iter().map(|paper| paper.job).collect();
    for job in state.jobs.values() {
        match job.state {
            JobState::OnPaper { by: Confirmation::ProcessId } => {
                assert!(out.contains(&job.id), "{} counts as printed and is not in the tray", job.id);
            }
            JobState::Queued | JobState::Sending { .. } => panic!("{} is still {}", job.id, job.state.word()),
            _ => {}
        }
    }
    for (key, entry) in &state.orders {
        let at_rest = entry.stops.is_empty() && entry.cancelled.is_none() && entry.contender.is_none();
        if !at_rest {
            continue;
        }
        assert!(!entry.parcels.is_empty(), "{key} has neither parcels nor a stop");
        for parcel in &entry.parcels {
            let subject = Subject::Parcel(*parcel);
            let printed = world.tray.iter().any(|paper| paper.subject == subject);
            let dropped = state.jobs.values().any(|job| {
                job.subject == subject && matches!(job.state, JobState::Dropped { .. } | JobState::Uncertain { .. })
            });
            assert!(printed || dropped, "the slip of {parcel} of {key} is not in the tray");
        }
    }
    let day = dawnslip::book::day(state, state.date(world.now));
    let on_list: BTreeSet<ParcelId> = day.today.iter().chain(&day.later).copied().collect();
    assert_eq!(on_list.len(), day.today.len() + day.later.len(), "a parcel stands twice on the list");
}

/// Lives one life; the panic's text and the story where it fails.
fn live(seed: u64, mistake: Mistake) -> Result<usize, String> {
    let mut world = None;
    let lived = catch_unwind(AssertUnwindSafe(|| {
        let world = world.insert(World::new(seed, mistake));
        for _ in 0..EVENTS {
            world.happen();
            check(world);
        }
        world.settle();
        check_at_rest(world);
    }));
    lived.map(|()| world.as_ref().map_or(0, |w| w.tray.len())).map_err(|panic| {
        let text = panic.downcast_ref::<String>().cloned();
        let text = text.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned())).unwrap_or_default();
        let story = world.map(|world| world.story).unwrap_or_default();
        let from = story.len().saturating_sub(STORY_LINES);
        format!("seed {seed}: {text}\n{}", story[from..].join("\n"))
    })
}

fn number(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

#[test]
fn whatever_happens_what_was_answered_is_kept_and_each_paper_comes_once_or_as_copy() {
    let seeds = match number("DAWNSLIP_SEED") {
        Some(seed) => seed..seed + 1,
        None => 1..number("DAWNSLIP_SEEDS").unwrap_or(20) + 1,
    };
    let mut papers = 0;
    for seed in seeds.clone() {
        papers += live(seed, Mistake::None).unwrap_or_else(|story| panic!("{story}"));
    }
    assert!(papers > 10 * (seeds.end - seeds.start) as usize, "hardly anything was printed: {papers}");
}

/// Each mistake made on purpose is caught by some seed among the first.
fn is_caught(mistake: Mistake) -> bool {
    (1..=20).any(|seed| {
        live(seed, mistake).inspect_err(|story| eprintln!("{}", story.lines().next().unwrap_or(""))).is_err()
    })
}

#[test]
fn an_answer_before_the_sync_is_caught() {
    assert!(is_caught(Mistake::AnswersBeforeSync));
}

#[test]
fn bytes_that_leave_before_the_sync_are_caught() {
    assert!(is_caught(Mistake::SendsBeforeSync));
}

#[test]
fn a_doubt_that_is_forgotten_is_caught() {
    assert!(is_caught(Mistake::ForgetsDoubt));
}

#[test]
fn persons_that_are_not_written_are_caught() {
    assert!(is_caught(Mistake::LosesPersons));
}

#[test]
fn the_same_seed_lives_the_same_life() {
    let story = |seed| {
        let mut world = World::new(seed, Mistake::None);
        (0..EVENTS).for_each(|_| world.happen());
        (world.story, world.durable.state)
    };
    assert_eq!(story(3), story(3));
}
