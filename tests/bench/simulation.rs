//! The simulated worlds of `tests/simulation`, for hours: `cargo bench --bench simulation -- 8h`,
//! or `30m`, or `100000` for so many seeds; `mistakes` shows that each planted mistake is noticed. Every run begins at another seed, which it prints;
//! `DAWNSLIP_FROM=…` begins at a chosen one. What fails is told with its seed, and the run goes on.

#[path = "../simulation/sim/mod.rs"]
mod sim;

use sim::Counts;
use sim::run::{Failed, Plan, live_all, notice_all, threads};
use std::process::ExitCode;
use std::time::{Duration, Instant, SystemTime};

/// Worlds between two reports.
const WORLDS_AT_ONCE: u64 = 500;
/// With so many failures the run ends.
const FAILURES_MAX: u64 = 20;
/// Without an argument.
const WORLDS: u64 = 2_000;

/// Worlds in which a planted mistake must be noticed.
const WORLDS_FOR_MISTAKE: u64 = 300;

/// How long to go on.
struct Span {
    worlds: u64,
    until: Option<Instant>,
}

fn span(text: Option<&str>) -> Result<Span, String> {
    let Some(text) = text else { return Ok(Span { worlds: WORLDS, until: None }) };
    let (figure, seconds) = match text.strip_suffix(['h', 'm', 's']) {
        Some(figure) if text.ends_with('h') => (figure, 3_600),
        Some(figure) if text.ends_with('m') => (figure, 60),
        Some(figure) => (figure, 1),
        None => (text, 0),
    };
    let figure: u64 =
        figure.parse().map_err(|_| format!("{text:?} is neither a time (8h, 30m) nor a count of seeds"))?;
    Ok(match seconds {
        0 => Span { worlds: figure, until: None },
        _ => Span { worlds: u64::MAX, until: Some(Instant::now() + Duration::from_secs(figure * seconds)) },
    })
}

fn first_seed() -> u64 {
    let given = std::env::var("DAWNSLIP_FROM").ok().and_then(|text| text.parse().ok());
    let now = || SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).map_or(0, |time| time.as_secs());
    // Far apart, so that no two runs share their seeds.
    given.unwrap_or_else(|| now() * 1_000_000)
}

fn main() -> ExitCode {
    // Cargo passes `--bench` along.
    let word = std::env::args().skip(1).find(|word| !word.starts_with('-'));
    if word.as_deref() == Some("mistakes") {
        let missed = notice_all(WORLDS_FOR_MISTAKE, threads()).into_iter().filter(Result::is_err).count();
        println!("{missed} mistakes were not noticed");
        return if missed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    }
    let span = match span(word.as_deref()) {
        Ok(span) => span,
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::FAILURE;
        }
    };
    let first = first_seed();
    println!("seeds from {first} on, {} threads", threads());
    let began = Instant::now();
    let (mut all, mut failures, mut done) = (Counts::default(), 0, 0);
    while done < span.worlds && span.until.is_none_or(|until| Instant::now() < until) && failures < FAILURES_MAX {
        let worlds = WORLDS_AT_ONCE.min(span.worlds - done);
        let plan = Plan { until: span.until, ..Plan::of(first.wrapping_add(done), worlds) };
        let (counts, failed) = live_all(plan, threads());
        all.add(&counts);
        done += worlds;
        if let Some(Failed { seed, failure }) = failed {
            failures += 1;
            println!("seed {seed}: {}\n{}", failure.what, failure.story);
            println!("again: DAWNSLIP_SEED={seed} cargo test --test simulation worlds\n");
        }
        let figures: Vec<String> = all.each().iter().map(|(what, count)| format!("{what} {count}")).collect();
        println!("{:.0} s: violations {failures}, {}", began.elapsed().as_secs_f64(), figures.join(", "));
    }
    if failures == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
