//! Loads many pieces: as much volume as goes in, or all of them. Finds, never refutes, and never says
//! that something does not fit.
//!
//! Pieces go in as blocks ([`super::blocks`]), each into a corner of a free box ([`super::gaps`]). A beam
//! search decides which: every state is completed greedily, and the states whose completion holds the
//! most live on (Araya and Riff, Computers & Operations Research 43, 2014). A block's score is its volume,
//! less what it makes unusable beside it, times its contact to the power of four, with a malus for
//! many pieces (Araya, Guerrero, Nuñez, EJOR 260, 2017). The beam widens from round to round (Zhu
//! and Lim, EJOR 222, 2012).
//!
//! Touches its arguments only. Work is counted, not timed, so that the answer is the same everywhere.

use super::blocks::{self, Block, Blocks, KINDS_MAX, Kind};
use super::floors::{Base, Standing};
use super::gaps::{self, Above, Gap, Short, each};
use super::{At, Laws, Piece, Sides, checker};

/// So much work took about one second of one core of the machine that this was made on.
pub const WORK_OF_A_SECOND: u64 = 150_000_000;

/// Pieces beyond this number stay outside.
pub const LOADED_MAX: usize = 1_000;

/// Rooms with a longer side stay empty.
pub const SIDE_MAX: i64 = 1 << 17;
// Volumes are numbers of 64 bits: of all pieces together, and of a block in percent.
const _: () = assert!(SIDE_MAX.pow(3) < i64::MAX / LOADED_MAX as i64 && SIDE_MAX.pow(3) < i64::MAX / 200);

/// Blocks that are made, where the work is worth it.
const BLOCKS_MAX: usize = 2_000;
/// Least blocks made.
const BLOCKS_MIN: usize = 100;
/// So much work is worth one block.
const WORK_PER_BLOCK: u64 = 5_000;

/// A slit of one part in so many of the room's side counts as closed; more where there is room to
/// spare, less where everything must be tight.
const SLITS: [i32; 3] = [25, 50, 14];

/// The last beam may be so many times wider than the one before.
const JUMP: usize = 6;

/// So many rounds must be left for comparing slits.
const WORTH_COMPARING: u64 = 20;

/// Up to so long sides know which sums of pieces they can hold.
const SUMS_MM_MAX: i32 = 4_096;

/// A kind of block that can still be had.
#[derive(Clone, Copy)]
struct Offer {
    size: Short,
    block: u32,
    /// Volume with the malus for many pieces: no score is higher.
    worth: f32,
}

/// A block in its place, and its score.
#[derive(Clone, Copy)]
struct Choice {
    score: f32,
    block: u32,
    place: Gap,
}

/// What has been packed so far, and what is left.
#[derive(Default)]
struct State {
    /// Free boxes, as large as they can be.
    gaps: Vec<Gap>,
    /// Bench: what stands, and what can stand on it.
    standing: Standing,
    /// Of each kind.
    left: Vec<u16>,
    /// Best first.
    offers: Vec<Offer>,
    placed: Vec<(u32, Gap)>,
    volume: i64,
}

impl State {
    /// Becomes equal to another; keeps its memory.
    fn become_like(&mut self, other: &Self) {
        self.gaps.clone_from(&other.gaps);
        self.standing.become_like(&other.standing);
        self.left.clone_from(&other.left);
        self.offers.clone_from(&other.offers);
        self.placed.clone_from(&other.placed);
        self.volume = other.volume;
    }
}

/// A way on: a state's number and what is put into it.
struct Child {
    /// When completed greedily.
    completed: i64,
    own: i64,
    parent: usize,
    block: u32,
    place: Gap,
}

/// What a round found.
struct Seen {
    volume: i64,
    /// A wider beam would look at more.
    cut_off: bool,
}

struct Loader<'a> {
    laws: Laws,
    room: Short,
    /// Widths of slits that count as closed.
    slit: Short,
    /// Least side of any piece on each axis.
    least: Short,
    kinds: &'a [Kind],
    blocks: &'a Blocks,
    /// The blocks in the order of offers.
    ranked: Vec<&'a Block>,
    /// What each of them needs, side by side in memory.
    needs: Vec<[(u16, u16); KINDS_MAX]>,
    /// Bench: of each.
    bases: Vec<Base>,
    /// For each axis and length the longest sum of sides that goes in; nothing: all do.
    sums: [Vec<i32>; 3],
    /// Volume of all pieces.
    total: i64,
    limit: u64,
    work: u64,
    best: Vec<(u32, Gap)>,
    best_volume: i64,
}

/// As much volume as can be packed within so much work, as places of a subset of the pieces.
///
/// Deterministic. For [`Laws::Bench`] the subset obeys the laws, too.
pub fn fill(room: Sides, pieces: &[Piece], laws: Laws, work: u64) -> Vec<At> {
    let considered = &pieces[..pieces.len().min(LOADED_MAX)];
    match loadable(room, considered, laws) {
        kinds if kinds.is_empty() => Vec::new(),
        kinds => load(room, considered, &kinds, laws, work),
    }
}

/// All pieces, or `None` if so much work did not find how; stops as soon as all are in.
pub fn pack(room: Sides, pieces: &[Piece], laws: Laws, work: u64) -> Option<Vec<At>> {
    let volume = room.iter().map(|&side| i128::from(side)).product();
    if pieces.len() > LOADED_MAX || pieces.iter().map(Piece::volume).sum::<i128>() > volume {
        return None;
    }
    let kinds = loadable(room, pieces, laws);
    let goes_alone: usize = kinds.iter().map(|kind| kind.members.len()).sum();
    if goes_alone < pieces.len() {
        return None;
    }
    let placed = load(room, pieces, &kinds, laws, work);
    (placed.len() == pieces.len()).then_some(placed)
}

fn loadable(room: Sides, pieces: &[Piece], laws: Laws) -> Vec<Kind> {
    // Blocks know nothing of walls.
    let wants_walls = laws == Laws::Bench && pieces.iter().any(|piece| piece.by_wall);
    let is_too_large = room.iter().any(|&side| side > SIDE_MAX);
    if wants_walls || is_too_large { Vec::new() } else { blocks::kinds(room, pieces, laws) }
}

fn load(room: Sides, pieces: &[Piece], kinds: &[Kind], laws: Laws, work: u64) -> Vec<At> {
    let worth_it = usize::try_from(work / WORK_PER_BLOCK).unwrap_or(BLOCKS_MAX);
    let blocks = Blocks::of(room, kinds, laws, worth_it.clamp(BLOCKS_MIN, BLOCKS_MAX));
    let mut loader = Loader::new(room, kinds, &blocks, laws, work);
    loader.search();
    let placed = places(&loader, &blocks, kinds);
    // An empty room is a poor answer, an unlawful one would be a wrong one.
    let is_lawful = checker::complaint_of_some(room, pieces, laws, &placed).is_none();
    debug_assert!(is_lawful, "an unlawful packing was found");
    if is_lawful { placed } else { Vec::new() }
}

/// Gives the pieces of each kind to the places in the blocks.
fn places(loader: &Loader, blocks: &Blocks, kinds: &[Kind]) -> Vec<At> {
    let mut members: Vec<_> = kinds.iter().map(|kind| kind.members.iter()).collect();
    let mut places = Vec::new();
    for (block, place) in &loader.best {
        for part in blocks.parts(loader.ranked[*block as usize], kinds) {
            let at = each(|axis| i64::from(place.lo[axis]) + part.at[axis]);
            places.extend(members[part.kind].next().map(|&piece| At { piece, at, size: part.size }));
        }
    }
    places.sort_by_key(|at| at.piece);
    places
}

fn short(sides: Sides) -> Short {
    sides.map(|side| i32::try_from(side).unwrap_or(i32::MAX))
}

/// Volume with a malus for many pieces: divided by the fourth root of their number, which is the same
/// on every machine when taken like this.
fn worth(block: &Block) -> f32 {
    block.volume as f32 / (block.count as f32).sqrt().sqrt()
}

impl<'a> Loader<'a> {
    fn new(room: Sides, kinds: &'a [Kind], blocks: &'a Blocks, laws: Laws, limit: u64) -> Self {
        let room = short(room);
        let shortest = |axis: usize| kinds.iter().flat_map(|kind| &kind.turns).map(|turn| turn[axis]).min();
        let mut ranked: Vec<&Block> = blocks.all.iter().collect();
        ranked.sort_by(|one, other| worth(other).total_cmp(&worth(one)));
        let sums = |axis: usize| match room[axis] {
            ..=SUMS_MM_MAX => blocks::sums(kinds, room[axis] as usize, axis),
            _ => Vec::new(),
        };
        let base = |block: &&Block| Base::of(block.size[2], &blocks.parts(block, kinds));
        let on_the_bench = if laws == Laws::Bench { ranked.as_slice() } else { &[] };
        let bases = on_the_bench.iter().map(base).collect();
        Self {
            laws,
            room,
            slit: [0; 3],
            least: short(each(|axis| shortest(axis).unwrap_or(1))),
            kinds,
            blocks,
            needs: ranked.iter().map(|block| block.needs).collect(),
            ranked,
            bases,
            sums: each(sums),
            total: kinds.iter().map(|kind| kind.volume * kind.members.len() as i64).sum(),
            limit,
            work: blocks.work,
            best: Vec::new(),
            best_volume: 0,
        }
    }

    fn is_over(&self) -> bool {
        self.work >= self.limit || self.best_volume == self.total
    }

    /// Rounds with an ever wider beam; the last is as wide as the work that is left allows.
    fn search(&mut self) {
        let root = self.root();
        let mut scratch = State::default();
        // Which slit suits the pieces shows in one greedy run each, better in a narrow beam.
        let mut slits: Vec<(i64, i32)> = Vec::with_capacity(SLITS.len());
        for part in SLITS {
            self.set_slit(part);
            scratch.become_like(&root);
            self.complete(&mut scratch);
            slits.push((-scratch.volume, part));
        }
        slits.sort_by_key(|&(volume, _)| volume);
        let mut width = 1;
        while !self.is_over() {
            let mut cost = 0;
            let mut cut_off = false;
            for (volume, part) in &mut slits {
                self.set_slit(*part);
                let before = self.work;
                let seen = self.round(&root, width);
                *volume = -seen.volume;
                cut_off |= seen.cut_off;
                cost = (self.work - before).max(cost).max(1);
                if self.left() / cost < WORTH_COMPARING {
                    break;
                }
            }
            slits.sort_by_key(|&(volume, _)| volume);
            // A round's work grows with the square of its width.
            let most = width * (self.left() / cost).isqrt() as usize;
            if !cut_off {
                return;
            }
            if most < JUMP * width {
                self.set_slit(slits[0].1);
                self.round(&root, most.max(width + 1));
                width = most.max(width + 1) + 1;
            } else {
                width *= 2;
            }
        }
    }

    /// Work that may still be done.
    fn left(&self) -> u64 {
        self.limit.saturating_sub(self.work)
    }

    fn set_slit(&mut self, part: i32) {
        self.slit = each(|axis| self.room[axis] / part);
    }

    fn root(&self) -> State {
        let offer = |(number, block): (usize, &&Block)| Offer {
            size: short(block.size),
            block: number as u32,
            worth: worth(block),
        };
        let whole = Gap { lo: [0; 3], hi: self.room };
        State {
            gaps: vec![whole],
            standing: Standing::on(whole),
            left: self.kinds.iter().map(|kind| kind.members.len() as u16).collect(),
            offers: self.ranked.iter().enumerate().map(offer).collect(),
            ..State::default()
        }
    }

    /// One beam search from the empty room.
    fn round(&mut self, root: &State, width: usize) -> Seen {
        let mut seen = Seen { volume: 0, cut_off: false };
        let (mut beam, mut next): (Vec<State>, Vec<State>) = (vec![State::default()], Vec::new());
        beam[0].become_like(root);
        let mut scratch = State::default();
        let mut choices = Vec::new();
        while !beam.is_empty() {
            let mut children: Vec<Child> = Vec::new();
            for (parent, state) in beam.iter_mut().enumerate() {
                self.choose(state, width, &mut choices);
                seen.cut_off |= choices.len() == width;
                for &Choice { block, place, .. } in &choices {
                    if self.is_over() {
                        return seen;
                    }
                    scratch.become_like(state);
                    self.put(&mut scratch, block, place);
                    let own = scratch.volume;
                    self.complete(&mut scratch);
                    seen.volume = seen.volume.max(scratch.volume);
                    children.push(Child { completed: scratch.volume, own, parent, block, place });
                }
            }
            children.sort_by_key(|child| (std::cmp::Reverse((child.completed, child.own)), child.parent, child.block));
            // Equal ends mostly come from the same blocks in another order.
            children.dedup_by_key(|child| child.completed);
            seen.cut_off |= children.len() > width;
            children.truncate(width);
            next.resize_with(children.len(), State::default);
            for (state, child) in next.iter_mut().zip(&children) {
                state.become_like(&beam[child.parent]);
                self.put(state, child.block, child.place);
            }
            std::mem::swap(&mut beam, &mut next);
        }
        seen
    }

    /// Goes on with the best block for each gap until nothing goes in any more.
    fn complete(&mut self, state: &mut State) {
        let mut choices = Vec::new();
        loop {
            self.choose(state, 1, &mut choices);
            match choices.first() {
                Some(choice) => self.put(state, choice.block, choice.place),
                None => break,
            }
        }
        if state.volume > self.best_volume {
            self.best_volume = state.volume;
            self.best.clone_from(&state.placed);
        }
    }

    /// The best choices for the gap that is next; gaps that take nothing go. None: all is done.
    fn choose(&mut self, state: &mut State, most: usize, choices: &mut Vec<Choice>) {
        choices.clear();
        while choices.is_empty() && !state.offers.is_empty() {
            let open = if self.laws == Laws::Bench { &mut state.standing.floors } else { &mut state.gaps };
            self.work += open.len() as u64;
            let Some(next) = (0..open.len()).min_by_key(|&gap| self.how_far(&open[gap])) else { return };
            let gap = open.swap_remove(next);
            self.rank(state, &gap, most, choices);
            if !choices.is_empty() {
                let open = if self.laws == Laws::Bench { &mut state.standing.floors } else { &mut state.gaps };
                open.push(gap);
            }
        }
    }

    /// From the nearest corner of the room to that of the gap; the larger gap of two comes first.
    fn how_far(&self, gap: &Gap) -> (i32, i64) {
        let from_wall = |axis: usize| gap.lo[axis].min(self.room[axis] - gap.hi[axis]);
        let upwards = if self.laws == Laws::Bench { gap.lo[2] } else { from_wall(2) };
        (from_wall(0) + from_wall(1) + upwards, -gap.volume())
    }

    /// The best choices for a gap, best first. A block goes into the corner nearest to one of the room.
    fn rank(&mut self, state: &State, gap: &Gap, most: usize, choices: &mut Vec<Choice>) {
        let bench = self.laws == Laws::Bench;
        let sides = gap.sides();
        let at_low = each(|axis| gap.lo[axis] <= self.room[axis] - gap.hi[axis] || axis == 2 && bench);
        let reach = Gap {
            lo: each(|axis| gap.lo[axis] - self.slit[axis] - 1),
            hi: each(|axis| gap.hi[axis] + self.slit[axis] + 1),
        };
        let others: Vec<Gap> =
            state.placed.iter().map(|(_, other)| *other).filter(|other| other.meets(&reach)).collect();
        let share = each(|axis| 1.0 / sides[axis] as f32);
        let mut bar = 0.0;
        let mut steps = state.placed.len();
        for offer in &state.offers {
            steps += 1;
            if offer.worth <= bar {
                break;
            }
            let [x, y, z] = offer.size;
            if x > sides[0] || y > sides[1] || z > sides[2] {
                continue;
            }
            let mut score = offer.worth;
            let bears = !bench || self.bases[offer.block as usize].bears;
            for axis in 0..3 {
                let rest = sides[axis] - offer.size[axis];
                let beside = if axis == 2 && !bears { 0 } else { self.sum_within(axis, rest) };
                score *= (offer.size[axis] + beside) as f32 * share[axis];
            }
            if score <= bar {
                continue;
            }
            let mut place = *gap;
            for (axis, &at_low) in at_low.iter().enumerate() {
                if at_low {
                    place.hi[axis] = gap.lo[axis] + offer.size[axis];
                } else {
                    place.lo[axis] = gap.hi[axis] - offer.size[axis];
                }
            }
            steps += 4 + 2 * others.len();
            let contact = gaps::contact(&self.room, &self.slit, &others, &place);
            score *= contact * contact * contact * contact;
            if score <= bar {
                continue;
            }
            if bench {
                let base = &self.bases[offer.block as usize];
                steps += state.standing.steps(base);
                if !state.standing.may_take(base, &place) {
                    continue;
                }
            }
            let at = choices.partition_point(|choice| choice.score >= score);
            choices.insert(at, Choice { score, block: offer.block, place });
            choices.truncate(most);
            if choices.len() == most {
                bar = choices[most - 1].score;
            }
        }
        self.work += steps as u64;
    }

    fn sum_within(&self, axis: usize, rest: i32) -> i32 {
        self.sums[axis].get(rest as usize).copied().unwrap_or(rest)
    }

    /// Puts a block into a state.
    fn put(&mut self, state: &mut State, block: u32, place: Gap) {
        state.volume += self.ranked[block as usize].volume;
        state.placed.push((block, place));
        for (kind, count) in self.needs[block as usize] {
            state.left[usize::from(kind)] -= count;
        }
        self.work += state.offers.len() as u64;
        let left = &state.left;
        let is_left = |&(kind, count): &(u16, u16)| count <= left[usize::from(kind)];
        state.offers.retain(|offer| self.needs[offer.block as usize].iter().all(is_left));
        self.work += gaps::cut(&mut state.gaps, &place, &self.least, Above::Kept);
        if self.laws == Laws::Bench {
            let parts = self.blocks.parts(self.ranked[block as usize], self.kinds);
            let bears = self.bases[block as usize].bears;
            self.work += state.standing.put(&parts, &place, &self.least);
            if bears {
                self.work += state.standing.floor_on(&place, &state.gaps, &self.room, &self.least);
            }
        }
    }
}
