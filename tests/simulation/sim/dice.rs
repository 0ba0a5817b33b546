//! Chance from a seed: the same seed, the same world.

/// splitmix64 (Sebastiano Vigna, public domain).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5851_f42d_4c95_7f2d)
    }

    pub fn seed(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// 0 to `sides` - 1.
    pub fn roll(&mut self, sides: u64) -> u64 {
        self.seed() % sides.max(1)
    }

    pub fn between(&mut self, least: u64, most: u64) -> u64 {
        least + self.roll(most - least + 1)
    }

    /// True once in `sides` times.
    pub fn one_in(&mut self, sides: u64) -> bool {
        self.roll(sides) == 0
    }

    pub fn pick<T: Clone>(&mut self, all: &[T]) -> Option<T> {
        (!all.is_empty()).then(|| all[self.roll(all.len() as u64) as usize].clone())
    }
}
