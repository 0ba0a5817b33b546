//! Constructive packing from many starts, each one order of the pieces. The first ones stand apart;
//! later ones climb: from the best order so far by small changes, judged by how much was placed
//! before a piece found no corner. Finds, never refutes.

use super::corners::Score;
use super::greedy::{GRID_PIECES_MAX, Packing};
use super::refute::{fitting_turns, volume};
use super::{At, Laws, Piece, Sides};
use std::collections::HashMap;

/// Of a room no fuller than this, in percent, extreme points are tried first: a tenth of the work.
const LOOSE_PERCENT: i128 = 75;

/// How a start scores corners is chosen by its number.
const SCORES: [Score; 4] = [Score::Touching, Score::Lowest, Score::Nearest, Score::Flush];

/// So many starts stand apart.
const STARTS_APART: usize = 24;

/// Nothing that failed weighs more than this, in percent.
const WEIGHT_MAX: u64 = 10_000;

/// How far a size may be off when an order is made, in percent, in turn.
const NOISES: [u64; 4] = [20, 60, 150, 400];

/// A climb ends after so many starts without gain ...
const IDLE_MAX: u32 = 80;

/// ... puts so often the piece that was stuck sooner, in percent, ...
const SOONER_PERCENT: u64 = 40;

/// ... and so often goes on from a little less.
const WORSE_PERCENT: u64 = 10;

/// Orders remembered at most: some ten megabytes.
const KNOWN_MAX: usize = 50_000;

/// A small generator with a seed (Steele, Lea, Flood: SplitMix64, 2014): the same starts
/// on every machine.
struct Seeded(u64);

impl Seeded {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    /// From 0 to `below` − 1.
    fn below(&mut self, below: u64) -> u64 {
        self.next() % below.max(1)
    }
}

/// A start that got no further: where its order was stuck, and how much was placed by then.
#[derive(Clone, Copy)]
struct Stuck {
    at: usize,
    placed: i64,
}

/// An order that is changed a little with each start, and kept where no less is placed.
struct Climb {
    order: Vec<usize>,
    stuck: Stuck,
    /// Starts since more was placed than ever before.
    idle: u32,
}

/// Starts that go on where they were left.
pub struct Starts<'a> {
    room: Sides,
    pieces: &'a [Piece],
    laws: Laws,
    turns: Vec<Vec<Sides>>,
    /// The first piece that is the same: which of them comes first changes nothing.
    like: Vec<usize>,
    next: usize,
    /// Pieces that failed come earlier in later starts.
    weight: Vec<u64>,
    known: HashMap<(usize, Vec<usize>), Stuck>,
    /// One for each score.
    climbs: [Option<Climb>; SCORES.len()],
    /// Orders from which climbs began.
    begun: usize,
    dice: Seeded,
}

impl<'a> Starts<'a> {
    /// None made yet.
    pub fn new(room: Sides, pieces: &'a [Piece], laws: Laws) -> Self {
        Self {
            room,
            pieces,
            laws,
            turns: pieces.iter().map(|piece| fitting_turns(room, piece)).collect(),
            like: pieces.iter().map(|piece| pieces.iter().position(|p| p == piece).unwrap_or(0)).collect(),
            next: 0,
            weight: vec![100; pieces.len()],
            known: HashMap::new(),
            climbs: [const { None }; SCORES.len()],
            begun: 0,
            dice: Seeded(0),
        }
    }

    /// Makes so many more; the first that places everything wins.
    pub fn go_on(&mut self, count: u32) -> Option<Vec<At>> {
        let count_of = self.pieces.len();
        if self.next == 0
            && count > 0
            && (4..=GRID_PIECES_MAX).contains(&count_of)
            && let Some(found) = self.loosely()
        {
            return Some(found);
        }
        for _ in 0..count {
            let start = self.next;
            self.next += 1;
            let found = if start < STARTS_APART { self.apart(start) } else { self.climb(start % SCORES.len()) };
            if found.is_some() {
                return found;
            }
        }
        None
    }

    /// A start that only learns from the others which pieces failed.
    fn apart(&mut self, start: usize) -> Option<Vec<At>> {
        let order = order_of(start, self.pieces, &self.turns, &self.weight);
        match self.place(&order, start % SCORES.len()) {
            Ok(found) => return Some(found),
            Err(stuck) => {
                let weight = &mut self.weight[order[stuck.at]];
                *weight = (*weight * 5 / 4).min(WEIGHT_MAX);
            }
        }
        None
    }

    /// A start a step from the best one in its climb, or the first of a new climb.
    fn climb(&mut self, score: usize) -> Option<Vec<At>> {
        let climb = self.climbs[score].take();
        let order = match &climb {
            Some(climb) => self.step_from(climb),
            None => {
                self.begun += 1;
                order_of((self.begun - 1) * SCORES.len() + score, self.pieces, &self.turns, &self.weight)
            }
        };
        let stuck = match self.place(&order, score) {
            Ok(found) => return Some(found),
            Err(stuck) => stuck,
        };
        let next = match climb {
            None => Climb { order, stuck, idle: 0 },
            Some(known) => {
                let idle = if stuck.placed > known.stuck.placed { 0 } else { known.idle + 1 };
                let little_less = stuck.placed * 10 > known.stuck.placed * 9 && self.dice.below(100) < WORSE_PERCENT;
                if stuck.placed >= known.stuck.placed || little_less {
                    Climb { order, stuck, idle }
                } else {
                    Climb { idle, ..known }
                }
            }
        };
        self.climbs[score] = (next.idle <= IDLE_MAX).then_some(next);
        None
    }

    /// Either the piece that was stuck comes sooner, or one or two of those up to it change places with others.
    fn step_from(&mut self, climb: &Climb) -> Vec<usize> {
        let mut order = climb.order.clone();
        let tried = climb.stuck.at as u64 + 1;
        if self.dice.below(100) < SOONER_PERCENT {
            let piece = order.remove(climb.stuck.at);
            order.insert(self.dice.below(tried) as usize, piece);
        } else {
            for _ in 0..=self.dice.below(2) {
                let (one, other) = (self.dice.below(tried), self.dice.below(order.len() as u64));
                order.swap(one as usize, other as usize);
            }
        }
        order
    }

    /// Places the pieces in this order, each where it scores best.
    fn place(&mut self, order: &[usize], score: usize) -> Result<Vec<At>, Stuck> {
        let tried = (score, order.iter().map(|&piece| self.like[piece]).collect());
        if let Some(stuck) = self.known.get(&tried) {
            return Err(*stuck);
        }
        let mut packing = Packing::new(self.room, self.pieces, self.laws);
        let stuck = order.iter().position(|&piece| !packing.put_best(piece, &self.turns[piece], SCORES[score]));
        match stuck {
            None => Ok(packing.by_piece()),
            Some(at) => {
                let stuck =
                    Stuck { at, placed: packing.placed().iter().map(|place| place.size.iter().product::<i64>()).sum() };
                if self.known.len() < KNOWN_MAX {
                    self.known.insert(tried, stuck);
                }
                Err(stuck)
            }
        }
    }

    /// Where there is much room over, few corners do: one quick try.
    fn loosely(&self) -> Option<Vec<At>> {
        let needed: i128 = self.pieces.iter().map(Piece::volume).sum();
        if needed * 100 > volume(self.room) * LOOSE_PERCENT {
            return None;
        }
        let mut packing = Packing::with_few_corners(self.room, self.pieces, self.laws);
        let order = order_of(0, self.pieces, &self.turns, &self.weight);
        order
            .into_iter()
            .all(|piece| packing.put_best(piece, &self.turns[piece], SCORES[0]))
            .then(|| packing.by_piece())
    }
}

/// Pieces by size with some noise: by volume, longest side, largest face or fewest turns.
fn order_of(start: usize, pieces: &[Piece], turns: &[Vec<Sides>], weight: &[u64]) -> Vec<usize> {
    let mut seeded = Seeded(start as u64);
    // The first starts of each kind are without noise, then it grows and falls.
    let noise = match start / (4 * SCORES.len()) {
        0 => 1,
        round => NOISES[round % NOISES.len()],
    };
    let mut keyed: Vec<(i128, usize)> = pieces
        .iter()
        .enumerate()
        .map(|(index, piece)| {
            let mut sides = piece.sides;
            sides.sort_unstable();
            let [low, mid, high] = sides.map(i128::from);
            let size = match (start / SCORES.len()) % 4 {
                0 => low * mid * high,
                1 => high * 1_000_000 + low * mid,
                2 => mid * high,
                _ => low * mid * high / turns[index].len().max(1) as i128,
            };
            let jitter = 100 + i128::from(seeded.below(noise));
            // Fragile things last: they end up on top. Of what needs a wall every other one comes first, to lie
            // on the floor, and every other one late, to lie under the lid.
            let last = match (piece.by_wall, piece.fragile) {
                (true, _) if (index + start / SCORES.len()).is_multiple_of(2) => 1_000_000_000_000,
                (true, _) => 1_000,
                (false, false) => 1_000_000,
                (false, true) => 1,
            };
            (size * jitter * i128::from(weight[index]) * last, index)
        })
        .collect();
    keyed.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
    keyed.into_iter().map(|(_, index)| index).collect()
}
