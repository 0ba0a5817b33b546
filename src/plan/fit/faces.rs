//! Which rectangles lie beside each other in a face? Exact for few, and remembered.

use super::string::{PIECES_MAX, Pairs, Strung, string};
use std::collections::HashMap;

/// Steps for one question; what is not refuted by then is taken to go.
const STEPS_MAX: u64 = 4_000;

/// Steps for stringing out the rectangles of one sweep.
const STRING_STEPS_MAX: u32 = 500;

/// Remembers the answers for one face.
pub struct Faces {
    face: [i64; 2],
    known: HashMap<Vec<[i64; 2]>, bool>,
}

impl Faces {
    /// Of this face.
    pub fn new(face: [i64; 2]) -> Self {
        Self { face, known: HashMap::new() }
    }

    /// False only if they cannot all lie in the face (as they are: none is turned); and how many
    /// steps it took to find out.
    pub fn hold(&mut self, mut flat: Vec<[i64; 2]>) -> (bool, u64) {
        if flat.iter().map(|[a, b]| a * b).sum::<i64>() > self.face[0] * self.face[1] {
            return (false, 0);
        }
        if let [one] = flat[..] {
            return (one[0] <= self.face[0] && one[1] <= self.face[1], 0);
        }
        flat.sort_unstable_by(|a, b| b.cmp(a));
        if let Some(known) = self.known.get(&flat) {
            return (*known, 0);
        }
        let spare = self.face[0] * self.face[1] - flat.iter().map(|[a, b]| a * b).sum::<i64>();
        let mut sweep = Sweep { face: self.face, flat: &flat, begun: vec![None; flat.len()], steps: 0 };
        let goes = sweep.begin(0, 0, spare);
        let steps = sweep.steps;
        self.known.insert(flat, goes);
        (goes, steps)
    }
}

/// Along the first side, as the search for slices goes along the room.
struct Sweep<'a> {
    face: [i64; 2],
    flat: &'a [[i64; 2]],
    /// Where each begins.
    begun: Vec<Option<i64>>,
    steps: u64,
}

impl Sweep<'_> {
    fn ends(&self, here: i64) -> impl Iterator<Item = (usize, i64)> {
        let ends = self.begun.iter().zip(self.flat).enumerate();
        ends.filter_map(move |(k, (from, flat))| from.map(|from| (k, from + flat[0])).filter(|(_, end)| *end > here))
    }

    /// True if they go, or if the steps are used up.
    fn begin(&mut self, here: i64, next: usize, spare: i64) -> bool {
        self.steps += 1;
        if self.steps > STEPS_MAX {
            return true;
        }
        let across: i64 = self.ends(here).map(|(k, _)| self.flat[k][1]).sum();
        for k in next..self.flat.len() {
            // Of equal ones the first begins first.
            let follows = k > 0 && self.flat[k] == self.flat[k - 1] && self.begun[k - 1].is_none();
            if self.begun[k].is_some()
                || follows
                || here + self.flat[k][0] > self.face[0]
                || across + self.flat[k][1] > self.face[1]
            {
                continue;
            }
            self.begun[k] = Some(here);
            let goes = self.begin(here, k + 1, spare);
            self.begun[k] = None;
            if goes {
                return true;
            }
        }
        if self.begun.iter().all(Option::is_some) {
            return self.strung();
        }
        let Some(there) = self.ends(here).map(|(_, end)| end).min() else { return false };
        let less = spare - (self.face[1] - across) * (there - here);
        less >= 0 && self.begin(there, 0, less)
    }

    /// Which of them share a line is known: can those be put beside each other?
    fn strung(&mut self) -> bool {
        let mut beside = Pairs::default();
        let span = |k: usize| self.begun[k].map(|from| (from, from + self.flat[k][0]));
        for a in 0..self.flat.len().min(PIECES_MAX) {
            for b in a + 1..self.flat.len().min(PIECES_MAX) {
                if let (Some(a_span), Some(b_span)) = (span(a), span(b))
                    && a_span.0 < b_span.1
                    && b_span.0 < a_span.1
                {
                    beside.add(a, b);
                }
            }
        }
        let lengths: Vec<i64> = self.flat.iter().map(|flat| flat[1]).collect();
        self.steps += 1;
        string(&beside, &lengths, self.face[1], STRING_STEPS_MAX) != Strung::Never
    }
}
