//! Loading many pieces, held against the checker. The work is small, since tests run unoptimised.

use dawnslip::plan::fit::loading::{self, LOADED_MAX, SIDE_MAX};
use dawnslip::plan::fit::{At, Laws, Piece, Sides, Turning, checker};

const WORK: u64 = 1_000_000;
const SIZES: std::ops::Range<i64> = 20..140;

/// A small generator with a seed (SplitMix64), so that a failing mix comes again.
struct Seeded(u64);

impl Seeded {
    fn below(&mut self, below: i64) -> i64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) % below.max(1).unsigned_abs()).cast_signed()
    }
}

/// The first problem of a file: container, then for each type its sides with marks for those that may
/// stand upright, and how many.
fn first_problem(text: &str) -> (Sides, Vec<Piece>) {
    let mut numbers = text.split_whitespace().map(|word| word.parse::<i64>().expect("a number")).skip(3);
    let mut next = || numbers.next().expect("a whole problem");
    let room = [next(), next(), next()];
    let mut pieces = Vec::new();
    for _ in 0..next() {
        let [_, a, may_a, b, may_b, c, may_c, count] = std::array::from_fn(|_| next());
        let standing = Turning::Standing([may_a, may_b, may_c].map(|may| may == 1));
        pieces.extend((0..count).map(|_| Piece::plain([a, b, c], standing)));
    }
    (room, pieces)
}

/// Things as in a workshop: some fragile, some of which only so many stand on each other.
fn mix(seed: u64, count: usize) -> Vec<Piece> {
    let mut seeded = Seeded(seed);
    let mut pieces: Vec<Piece> = Vec::new();
    while pieces.len() < count {
        let sides = [0; 3].map(|_| SIZES.start + seeded.below(SIZES.end - SIZES.start));
        let turn = [Turning::Any, Turning::Upright, Turning::Flat][seeded.below(3) as usize];
        let stack = [None, None, Some(1), Some(2), Some(3)][seeded.below(5) as usize];
        let piece = Piece { sides, turn, fragile: seeded.below(4) == 0, stack, by_wall: false };
        let times = (1 + seeded.below(6) as usize).min(count - pieces.len());
        pieces.extend(std::iter::repeat_n(piece, times));
    }
    pieces
}

/// The pieces that cuts through the whole of a block make of it, turned at random.
fn cut(block: Sides, count: usize, seed: u64) -> Vec<Piece> {
    let mut seeded = Seeded(seed);
    let mut parts = vec![block];
    while parts.len() < count {
        parts.sort_by_key(|sides| sides.iter().product::<i64>());
        let mut one = parts.pop().expect("a part");
        let mut other = one;
        let axis = (0..3).max_by_key(|&axis| one[axis] * (50 + seeded.below(100))).expect("three axes");
        one[axis] = one[axis] / 4 + seeded.below(one[axis] / 2);
        other[axis] -= one[axis];
        parts.extend([one, other]);
    }
    let mut turned = |mut sides: Sides| {
        sides.rotate_left(seeded.below(3) as usize);
        Piece::plain(sides, Turning::Any)
    };
    parts.into_iter().map(&mut turned).collect()
}

/// Fills, lets the checker confirm it, and gives the share that is filled.
#[track_caller]
fn filled(room: Sides, pieces: &[Piece], laws: Laws, work: u64) -> f64 {
    let placed = loading::fill(room, pieces, laws, work);
    assert_eq!(checker::complaint_of_some(room, pieces, laws, &placed), None);
    share(room, pieces, &placed)
}

fn share(room: Sides, pieces: &[Piece], placed: &[At]) -> f64 {
    let packed: i128 = placed.iter().map(|place| pieces[place.piece].volume()).sum();
    packed as f64 / room.iter().product::<i64>() as f64
}

#[test]
fn containers_of_the_literature_are_filled_well() {
    let files = [
        include_str!("checks/thpack/thpack1.txt"),
        include_str!("checks/thpack/thpack4.txt"),
        include_str!("checks/thpack/thpack7.txt"),
    ];
    for (text, least) in files.into_iter().zip(LEAST) {
        let (room, pieces) = first_problem(text);
        for (laws, least) in [Laws::Geometry, Laws::Bench].into_iter().zip(least) {
            let share = filled(room, &pieces, laws, 3 * WORK);
            assert!(share >= least, "{laws:?}: {share} of the container");
        }
    }
}

/// Filling of the first problems by three times [`WORK`], without and with the laws of the bench.
const LEAST: [[f64; 2]; 3] = [[0.92, 0.90], [0.92, 0.90], [0.92, 0.90]];

#[test]
fn fragile_things_and_low_piles_are_loaded_lawfully() {
    for seed in 0..12 {
        let pieces = mix(seed, 20 + 5 * seed as usize);
        for laws in [Laws::Geometry, Laws::Bench] {
            let share = filled([400, 300, 250], &pieces, laws, WORK / 4);
            assert!(share > 0.2, "seed {seed}, {laws:?}: {share}");
        }
    }
}

#[test]
fn the_same_goods_are_loaded_the_same_way_again() {
    let pieces = mix(7, 40);
    for laws in [Laws::Geometry, Laws::Bench] {
        let once = loading::fill([300, 250, 200], &pieces, laws, WORK / 4);
        assert_eq!(once, loading::fill([300, 250, 200], &pieces, laws, WORK / 4));
    }
}

#[test]
fn a_block_that_was_cut_into_pieces_goes_into_a_box_a_little_larger() {
    for (count, room) in [(20, [370, 310, 260]), (30, [380, 318, 264]), (40, [384, 322, 268])] {
        let pieces = cut([360, 300, 250], count, count as u64);
        let placed = loading::pack(room, &pieces, Laws::Geometry, 20 * WORK).expect("it came out of a smaller block");
        assert_eq!(checker::complaint(room, &pieces, Laws::Geometry, &placed), None);
    }
}

#[test]
fn all_or_none_are_packed() {
    let eight = vec![Piece::plain([50, 50, 50], Turning::Any); 8];
    for laws in [Laws::Geometry, Laws::Bench] {
        let placed = loading::pack([100, 100, 100], &eight, laws, WORK).expect("eight cubes in a cube");
        assert_eq!(checker::complaint([100, 100, 100], &eight, laws, &placed), None);
        assert_eq!(loading::pack([100, 100, 99], &eight, laws, WORK), None);
        assert_eq!(loading::fill([100, 100, 99], &eight, laws, WORK).len(), 4);
        assert_eq!(loading::pack([1, 1, 1], &[], laws, WORK), Some(Vec::new()));
    }
}

#[test]
fn limits_are_kept() {
    let flat = |count: usize| vec![Piece::plain([10, 10, 10], Turning::Upright); count];
    let room = [1_000, 100, 100];
    assert!(loading::pack(room, &flat(LOADED_MAX), Laws::Geometry, WORK).is_some());
    assert!(loading::pack(room, &flat(LOADED_MAX + 1), Laws::Geometry, WORK).is_none());
    assert_eq!(loading::fill(room, &flat(LOADED_MAX + 1), Laws::Geometry, WORK).len(), LOADED_MAX);
    assert_eq!(loading::fill([SIDE_MAX, 10, 10], &flat(2), Laws::Geometry, WORK).len(), 2);
    assert!(loading::fill([SIDE_MAX + 1, 10, 10], &flat(2), Laws::Geometry, WORK).is_empty());
    // No work is no excuse for a wrong answer.
    let none = loading::fill(room, &flat(3), Laws::Bench, 0);
    assert_eq!(checker::complaint_of_some(room, &flat(3), Laws::Bench, &none), None);
}
