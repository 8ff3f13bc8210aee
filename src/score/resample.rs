//! Whole blocks of nights drawn again and again, the same ones in every run.

use crate::night::dose::normal_cdf;

/// SplitMix64: a small generator of random numbers that gives the same ones on every machine.
///
/// **Source.** G. L. Steele, D. Lea and C. H. Flood, 2014, Fast Splittable Pseudorandom Number Generators, OOPSLA '14,
/// doi:10.1145/2660193.2660195; constants as in S. Vigna's public-domain `splitmix64.c`. Checked by
/// `the_generator_gives_the_numbers_of_other_authors`.
pub(super) struct Generator(u64);

impl Generator {
    pub(super) fn new(seed: u64) -> Generator {
        Generator(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number above 0 and up to 1.
    #[cfg(test)]
    fn unit(&mut self) -> f64 {
        ((self.next() >> 11) + 1) as f64 / (1u64 << 53) as f64
    }

    /// A standard normal number, by Box and Muller's method.
    #[cfg(test)]
    pub(super) fn normal(&mut self) -> f64 {
        (-2.0 * self.unit().ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// One of the items, each as likely as the others; `None` of none.
    fn pick<'a, T>(&mut self, items: &'a [T]) -> Option<&'a T> {
        // The high half of the product: uniform but for one part in 2^64 over the number of items.
        let index = (u128::from(self.next()) * items.len() as u128) >> 64;
        items.get(usize::try_from(index).ok()?)
    }
}

/// Of fewer blocks nobody can say how far they differ: with three a nominal 95 % holds three times in four.
pub(crate) const FEWEST_BLOCKS: usize = 8;

/// Student's t that 2.5 % of draws lie above.
///
/// ```text
/// t = z + (z^3 + z) / 4n + (5 z^5 + 16 z^3 + 3 z) / 96n^2 + (3 z^7 + 19 z^5 + 17 z^3 - 15 z) / 384n^3,   z = 1.959964
/// ```
///
/// | symbol | meaning            | unit | accepted range |
/// |--------|--------------------|------|----------------|
/// | `n`    | degrees of freedom | -    | 7 and above    |
///
/// **Method error.** Under 0.001 (`students_t_is_that_of_tables`). **Refuses.** Nothing; below 7 it is too small.
/// **Source.** M. Abramowitz and I. A. Stegun, 1964, Handbook of Mathematical Functions, 26.7.5.
/// **Check.** Printed tables: 2.3646 with 7, 2.0423 with 30.
fn students_t(degrees: f64) -> f64 {
    let z: f64 = 1.959_964;
    let first = (z.powi(3) + z) / 4.0;
    let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
    let third = (3.0 * z.powi(7) + 19.0 * z.powi(5) + 17.0 * z.powi(3) - 15.0 * z) / 384.0;
    z + (first + (second + third / degrees) / degrees) / degrees
}

/// Sum and number of the nights of one block.
pub(crate) type Block = (f64, f64);

/// Where the mean per night lies with 95 %: from draws of as many blocks as there are, each with replacement, since the
/// nights of a block depend on each other. Means of few blocks drawn so differ too little, by `sqrt((n - 1) / n)`, and
/// are no normal ones; both are made good by going further out into their tails.
///
/// ```text
/// tail on either side = Phi(- t sqrt(n / (n - 1))),   t: Student's with n - 1 degrees of freedom
/// ```
///
/// **Method error.** A nominal 95 % holds 92 to 97 times in a hundred of normal blocks
/// (`it_holds_the_truth_as_often_as_it_says`), less often of skewed ones.
/// **Refuses.** `None` of fewer than eight blocks.
/// **Source.** B. Efron and R. J. Tibshirani, 1993, An Introduction to the Bootstrap, ch. 8 and 13 (blocks, percentiles);
/// T. C. Hesterberg, 2015, What Teachers Should Know About the Bootstrap, Am. Stat. 69, 371-386 (expanded percentiles).
pub(crate) fn interval_95(blocks: &[Block], draws: usize, seed: u64) -> Option<(f64, f64)> {
    if blocks.len() < FEWEST_BLOCKS {
        return None;
    }
    let mut generator = Generator::new(seed);
    let mut means: Vec<f64> = (0..draws)
        .map(|_| {
            let drawn = (0..blocks.len()).filter_map(|_| generator.pick(blocks));
            let (sum, nights) = drawn.fold((0.0, 0.0), |(sum, nights), block| (sum + block.0, nights + block.1));
            sum / nights
        })
        .collect();
    means.sort_by(f64::total_cmp);
    let count = blocks.len() as f64;
    let tail = normal_cdf(-students_t(count - 1.0) * (count / (count - 1.0)).sqrt()).0;
    let outside = (tail * draws as f64).round() as usize;
    Some((*means.get(outside)?, *means.iter().rev().nth(outside)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First numbers of `splitmix64.c` from the seed 1234567, as printed at Rosetta Code.
    #[test]
    fn the_generator_gives_the_numbers_of_other_authors() {
        let mut generator = Generator::new(1_234_567);
        for expected in [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423] {
            assert_eq!(generator.next(), expected);
        }
    }

    #[test]
    fn every_item_is_picked_and_equally_often() {
        let mut generator = Generator::new(1);
        let items = [0usize, 1, 2, 3, 4, 5, 6];
        let mut counts = [0u32; 7];
        for _ in 0..70_000 {
            counts[*generator.pick(&items).expect("an item")] += 1;
        }
        // Five standard deviations of a count of 10,000.
        assert!(counts.iter().all(|count| count.abs_diff(10_000) < 470), "{counts:?}");
        assert_eq!(generator.pick::<u8>(&[]), None);
    }

    /// Printed in every table of Student's t.
    #[test]
    fn students_t_is_that_of_tables() {
        for (degrees, t) in [(7.0, 2.3646), (9.0, 2.2622), (14.0, 2.1448), (29.0, 2.0452), (120.0, 1.9799)] {
            assert!((students_t(degrees) - t).abs() < 0.001, "{degrees}: {}", students_t(degrees));
        }
    }

    /// One winter has seven months of lists or eight, five winters have forty.
    #[test]
    fn it_holds_the_truth_as_often_as_it_says() {
        let mut generator = Generator::new(17);
        for (count, least) in [(8, 920), (12, 920), (40, 930)] {
            let held = (0..1_000).filter(|seed| {
                let blocks: Vec<Block> = (0..count).map(|_| (30.0 * generator.normal(), 30.0)).collect();
                let (low, high) = interval_95(&blocks, 400, *seed).expect("blocks");
                low <= 0.0 && high >= 0.0
            });
            let held = held.count();
            assert!((least..=975).contains(&held), "{count} blocks: {held} of 1000");
        }
    }

    /// For many equal blocks the interval is that of the normal distribution: 1.96 standard errors each way.
    #[test]
    fn the_interval_is_the_normal_one_where_that_holds() {
        let blocks: Vec<Block> = (0..400).map(|n| (f64::from(n % 2), 1.0)).collect();
        let (low, high) = interval_95(&blocks, 2_000, 3).expect("blocks");
        let half_width = 1.96 * 0.5 / 20.0;
        assert!((low - (0.5 - half_width)).abs() < 0.005 && (high - (0.5 + half_width)).abs() < 0.005, "{low} {high}");
        assert_eq!(interval_95(&blocks, 2_000, 3), Some((low, high)), "the same seed gives the same interval");
        assert_eq!(interval_95(&blocks[..7], 2_000, 3), None);
        assert_eq!(interval_95(&[], 2_000, 3), None);
    }
}
