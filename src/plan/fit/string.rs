//! Strings out pieces along one axis: those that must be apart may not overlap, the others may.
//!
//! Each pair that must be apart gets an order. Orders draw others after them: how far from the
//! front a piece begins at least, and how far from the end it ends at least, leave many pairs one
//! order only, or none. What is left is tried. Exact, as scheduling on one line is for few pieces.

/// Pieces beyond this number are left to the constructive starts.
pub const PIECES_MAX: usize = 16;

/// A set of pieces, one bit each.
type Set = u16;

/// Pairs of pieces.
#[derive(Clone, Copy, Default)]
pub struct Pairs([Set; PIECES_MAX]);

impl Pairs {
    /// One more pair.
    pub fn add(&mut self, a: usize, b: usize) {
        self.0[a] |= 1 << b;
        self.0[b] |= 1 << a;
    }
}

fn members(set: Set) -> impl Iterator<Item = usize> {
    (0..PIECES_MAX).filter(move |k| set >> k & 1 == 1)
}

/// What an axis came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Strung {
    /// Where each begins.
    At([i64; PIECES_MAX]),
    /// There is no order.
    Never,
    /// The steps were used up.
    Spent,
}

/// For each piece the set of those that come before it.
type Orders = [u16; PIECES_MAX];

/// Looks for places on a side, within so many steps.
pub fn string(apart: &Pairs, lengths: &[i64], side: i64, mut steps: u32) -> Strung {
    let mut line = Line { apart, lengths, side, steps: &mut steps };
    match line.go([0; PIECES_MAX], true) {
        Some(starts) => Strung::At(starts),
        None if steps == 0 => Strung::Spent,
        None => Strung::Never,
    }
}

struct Line<'a> {
    apart: &'a Pairs,
    lengths: &'a [i64],
    side: i64,
    steps: &'a mut u32,
}

impl Line<'_> {
    /// `free`: no order is decided yet, so that a mirror image is as good.
    fn go(&mut self, mut before: Orders, free: bool) -> Option<[i64; PIECES_MAX]> {
        if *self.steps == 0 {
            return None;
        }
        *self.steps -= 1;
        let n = self.lengths.len();
        let mut heads = [0i64; PIECES_MAX];
        let mut tails = [0i64; PIECES_MAX];
        loop {
            if !self.reach(&before, &mut heads, &mut tails) {
                return None;
            }
            let mut changed = false;
            let mut tightest: Option<(i64, usize, usize)> = None;
            for b in 1..n {
                for a in members(self.apart.0[b] & ((1 << b) - 1)) {
                    if before[b] >> a & 1 == 1 || before[a] >> b & 1 == 1 {
                        continue;
                    }
                    let both = self.lengths[a] + self.lengths[b];
                    // What is left of the side if one comes right before the other.
                    let room_ab = self.side - heads[a] - both - tails[b];
                    let room_ba = self.side - heads[b] - both - tails[a];
                    match (room_ab >= 0, room_ba >= 0) {
                        (false, false) => return None,
                        (true, false) => {
                            before[b] |= 1 << a;
                            changed = true;
                        }
                        (false, true) => {
                            before[a] |= 1 << b;
                            changed = true;
                        }
                        (true, true) => {
                            let room = room_ab.min(room_ba);
                            if tightest.is_none_or(|(least, ..)| room < least) {
                                let (first, second) = if room_ab >= room_ba { (a, b) } else { (b, a) };
                                tightest = Some((room, first, second));
                            }
                        }
                    }
                }
            }
            if changed {
                continue;
            }
            let Some((_, first, second)) = tightest else { return Some(heads) };
            let mut one = before;
            one[second] |= 1 << first;
            if let found @ Some(_) = self.go(one, false) {
                return found;
            }
            if free || *self.steps == 0 {
                return None;
            }
            before[first] |= 1 << second;
        }
    }

    /// Longest ways from both ends; false if one is longer than the side, or goes in a circle.
    fn reach(&self, before: &Orders, heads: &mut [i64; PIECES_MAX], tails: &mut [i64; PIECES_MAX]) -> bool {
        let n = self.lengths.len();
        // Longer than the longest way without a circle.
        for _ in 0..=n {
            let mut changed = false;
            for k in 0..n {
                for other in members(before[k]) {
                    let head = heads[other] + self.lengths[other];
                    if head > heads[k] {
                        heads[k] = head;
                        changed = true;
                    }
                    let tail = tails[k] + self.lengths[k];
                    if tail > tails[other] {
                        tails[other] = tail;
                        changed = true;
                    }
                }
                if heads[k] + self.lengths[k] + tails[k] > self.side {
                    return false;
                }
            }
            if !changed {
                return true;
            }
        }
        false
    }
}
