//! Filling of a container by the sets of Bischoff and Ratcliff (Omega 23, 1995), seven classes of 100
//! problems with some 130 boxes of 3 to 20 kinds, within about a second a problem. The baseline is one
//! greedy pass, largest box first, each into the lowest corner that takes it. The best known means are
//! without support. Every packing is confirmed by the checker.
//!
//! `cargo bench --bench loading [-- PROBLEMS [WORK [BAR]]]`: problems of each class (5), work of each in
//! hundredths of a second's (100), and the mean filling of all classes in percent below which it fails, with
//! the laws of the bench as without.

use dawnslip::plan::fit::loading::{WORK_OF_A_SECOND, fill};
use dawnslip::plan::fit::{At, Laws, Piece, Sides, Turning, checker};
use std::collections::BTreeMap;
use std::path::Path;
use std::time::{Duration, Instant};

/// Best known mean filling of each class in percent, as published with the sets.
const BEST_KNOWN: [f64; 7] = [96.1, 96.5, 96.7, 96.7, 96.7, 96.6, 96.4];

/// The baseline is held to no bar.
const ONE_PASS: &str = "one pass";

fn main() {
    let mut numbers = std::env::args().filter_map(|word| word.parse::<u64>().ok());
    let problems = usize::try_from(numbers.next().unwrap_or(5)).unwrap_or(usize::MAX);
    let work = numbers.next().unwrap_or(100) * WORK_OF_A_SECOND / 100;
    let bar = numbers.next();
    let mut reached: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    println!("class  problems  how            mean %  lowest %  best known %  s a problem");
    for (class, best_known) in (1..).zip(BEST_KNOWN) {
        let file = format!("tests/checks/thpack/thpack{class}.txt");
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(&file);
        let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{file}: {error}"));
        let mut all = read(&text);
        all.truncate(problems);
        let mut line = |how: &'static str, laws: Laws, fill: &dyn Fn(Sides, &[Piece]) -> Vec<At>| {
            let shares: Vec<(f64, Duration)> =
                all.iter().map(|(room, pieces)| filled(*room, pieces, laws, fill)).collect();
            let count = shares.len().max(1) as f64;
            let mean = shares.iter().map(|(share, _)| share).sum::<f64>() / count * 100.0;
            reached.entry(how).or_default().extend(shares.iter().map(|(share, _)| share * 100.0));
            let lowest = shares.iter().map(|(share, _)| *share).fold(1.0, f64::min) * 100.0;
            let seconds = shares.iter().map(|(_, took)| took.as_secs_f64()).sum::<f64>() / count;
            println!(
                "{class:>5}  {:>8}  {how:<13}  {mean:>6.2}  {lowest:>8.2}  {best_known:>12.1}  {seconds:>11.3}",
                shares.len()
            );
        };
        line(ONE_PASS, Laws::Geometry, &one_pass);
        line("geometry", Laws::Geometry, &|room, pieces| fill(room, pieces, Laws::Geometry, work));
        line("on the bench", Laws::Bench, &|room, pieces| fill(room, pieces, Laws::Bench, work));
    }
    for (how, shares) in &reached {
        let mean = shares.iter().sum::<f64>() / shares.len().max(1) as f64;
        println!("  all  {:>8}  {how:<13}  {mean:>6.2}", shares.len());
        // No figure at all is below any bar.
        if let Some(bar) = bar.filter(|bar| *how != ONE_PASS && (shares.is_empty() || mean < *bar as f64)) {
            eprintln!("{how}: the containers are filled to {mean:.2} %, the bar is {bar} %");
            std::process::exit(1);
        }
    }
}

/// The share of the room that is filled, confirmed, and the time that it took.
fn filled(room: Sides, pieces: &[Piece], laws: Laws, fill: &dyn Fn(Sides, &[Piece]) -> Vec<At>) -> (f64, Duration) {
    let start = Instant::now();
    let placed = fill(room, pieces);
    let took = start.elapsed();
    assert_eq!(checker::complaint_of_some(room, pieces, laws, &placed), None);
    let packed: i128 = placed.iter().map(|place| pieces[place.piece].volume()).sum();
    (packed as f64 / room.iter().product::<i64>() as f64, took)
}

/// All problems of a file: number and seed; container; then for each type its number, its sides with
/// marks for those that may stand upright, and how many.
fn read(text: &str) -> Vec<(Sides, Vec<Piece>)> {
    let mut numbers = text.split_whitespace().map(|word| word.parse::<i64>().expect("a number"));
    let mut next = || numbers.next().expect("a whole file");
    let count = next();
    let problem = |_| {
        let [_, _, x, y, z, types] = std::array::from_fn(|_| next());
        let mut pieces = Vec::new();
        for _ in 0..types {
            let [_, a, may_a, b, may_b, c, may_c, count] = std::array::from_fn(|_| next());
            let standing = Turning::Standing([may_a, may_b, may_c].map(|may| may == 1));
            pieces.extend((0..count).map(|_| Piece::plain([a, b, c], standing)));
        }
        ([x, y, z], pieces)
    };
    (0..count).map(problem).collect()
}

/// The baseline.
fn one_pass(room: Sides, pieces: &[Piece]) -> Vec<At> {
    let mut order: Vec<usize> = (0..pieces.len()).collect();
    order.sort_by_key(|&piece| std::cmp::Reverse(pieces[piece].volume()));
    let mut corners: Vec<Sides> = vec![[0; 3]];
    let mut placed: Vec<At> = Vec::new();
    for piece in order {
        corners.sort_unstable_by_key(|&[x, y, z]| (x, z, y));
        corners.dedup();
        let turns = pieces[piece].turns();
        let ways = corners.iter().flat_map(|&at| turns.iter().map(move |&size| At { piece, at, size }));
        let mut free = ways.filter(|way| {
            let apart = |other: &At| (0..3).any(|a| way.end(a) <= other.at[a] || other.end(a) <= way.at[a]);
            (0..3).all(|axis| way.end(axis) <= room[axis]) && placed.iter().all(apart)
        });
        if let Some(place) = free.next() {
            drop(free);
            for axis in 0..3 {
                let mut corner = place.at;
                corner[axis] = place.end(axis);
                corners.push(corner);
            }
            placed.push(place);
        }
    }
    placed
}
