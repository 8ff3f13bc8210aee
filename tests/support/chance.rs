//! Random numbers that are the same in every run.

/// SplitMix64 (Steele, Lea and Flood 2014, doi:10.1145/2660193.2660195).
pub struct Chance(u64);

impl Chance {
    /// Seeds beside each other start far apart: a seed is a number of another sequence, else theirs would overlap.
    pub fn new(seed: u64) -> Chance {
        Chance(Chance(seed).next())
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Above 0 and up to 1.
    pub fn unit(&mut self) -> f64 {
        ((self.next() >> 11) + 1) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Standard normal, by Box and Muller's method.
    pub fn normal(&mut self) -> f64 {
        (-2.0 * self.unit().ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// In another order.
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            items.swap(last, (self.next() % (last as u64 + 1)) as usize);
        }
    }
}
