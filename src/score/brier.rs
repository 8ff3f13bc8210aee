//! Chances that were given and whether they came: the Brier score, its parts, and reliability.

use super::resample::{Block, interval_95};
use super::{Scored, Threshold};
use crate::units::Probability;
use std::collections::BTreeMap;

/// A chance that was given, and whether it came.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Issued {
    pub chance: Probability,
    pub came: bool,
}

impl Issued {
    /// 1 where it came, else 0.
    fn outcome(self) -> f64 {
        if self.came { 1.0 } else { 0.0 }
    }

    /// The chance rounded to so many equal steps, ten for tenths: whoever gives few values gives each often enough to
    /// be checked.
    pub fn rounded(self, steps: u32) -> Issued {
        let steps = f64::from(steps);
        Issued { chance: Probability((self.chance.0 * steps).round() / steps), ..self }
    }
}

/// Mean of some values over all that was issued.
fn mean(issued: &[Issued], of: impl Fn(&Issued) -> f64) -> Option<f64> {
    (!issued.is_empty()).then(|| issued.iter().map(of).sum::<f64>() / issued.len() as f64)
}

/// How often it came, 0 to 1: the base rate. `None` of nothing.
pub fn base_rate(issued: &[Issued]) -> Option<f64> {
    mean(issued, |issued| issued.outcome())
}

/// Mean of the chances given, 0 to 1. `None` of nothing.
pub fn mean_chance(issued: &[Issued]) -> Option<f64> {
    mean(issued, |issued| issued.chance.0)
}

/// Brier score: 0 is right and certain each time, 1 wrong and certain each time.
///
/// ```text
/// BS = mean of (p - o)^2                                     o = 1 where it came, else 0
/// ```
///
/// **Method error.** That of double precision. **Refuses.** `None` of nothing; NaN comes back as NaN.
/// **Source.** G. W. Brier, 1950, Verification of forecasts expressed in terms of probability, Mon. Wea. Rev. 78, 1-3,
/// in the form for one event (half of his).
/// **Check.** The worked sets of `tests/published/score.rs`.
pub fn brier(issued: &[Issued]) -> Option<f64> {
    mean(issued, |issued| (issued.chance.0 - issued.outcome()).powi(2))
}

/// Draws of the interval, and any number, the same one, so that the same nights are scored alike.
const DRAWS: usize = 2_000;
const SEED: u64 = 1;

/// The 95 % interval of the Brier score of some nights, from 2,000 resamples of whole blocks ([`Scored::block`]). `None` of
/// fewer than eight blocks.
pub fn interval(nights: &[Scored], threshold: Threshold) -> Option<(f64, f64)> {
    let mut blocks: BTreeMap<u32, Block> = BTreeMap::new();
    for night in nights {
        let issued = night.issued(threshold);
        let block = blocks.entry(night.block).or_default();
        *block = (block.0 + (issued.chance.0 - issued.outcome()).powi(2), block.1 + 1.0);
    }
    let blocks: Vec<Block> = blocks.into_values().collect();
    interval_95(&blocks, DRAWS, SEED)
}

/// Brier score against that of always giving the base rate: 1 is perfect, 0 no better than the base rate, below 0 worse.
/// `None` of nothing, and where it came always or never: then the base rate alone is perfect.
pub fn skill(issued: &[Issued]) -> Option<f64> {
    let base = base_rate(issued)?;
    let uncertainty = base * (1.0 - base);
    brier(issued).filter(|_| uncertainty > 0.0).map(|score| 1.0 - score / uncertainty)
}

/// The parts of a Brier score.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parts {
    /// How far chances lay from frequencies; 0 is best.
    pub reliability: f64,
    /// How far frequencies were told apart from the base rate; the more the better.
    pub resolution: f64,
    /// What the base rate leaves open, whoever predicts.
    pub uncertainty: f64,
}

/// The Brier score in its parts.
///
/// ```text
/// BS  = REL - RES + UNC
/// REL = mean over nights of (p_k - o_k)^2,   RES = mean over nights of (o_k - o)^2,   UNC = o (1 - o)
/// ```
///
/// `p_k` is a chance that was issued, `o_k` how often it came when that chance was issued, `o` the base rate.
///
/// **Method error.** Exact, as nights are grouped by the very value issued and not in bins
/// (`the_parts_make_up_the_score`). Where nearly every value is issued once, resolution says nothing: round first
/// ([`Issued::rounded`]).
/// **Refuses.** `None` of nothing; NaN comes back as NaN.
/// **Source.** A. H. Murphy, 1973, A New Vector Partition of the Probability Score, J. Appl. Meteor. 12, 595-600.
/// **Check.** The worked sets of `tests/published/score.rs`.
pub fn parts(issued: &[Issued]) -> Option<Parts> {
    let base = base_rate(issued)?;
    let mut sorted = issued.to_vec();
    sorted.sort_by(|a, b| a.chance.0.total_cmp(&b.chance.0));
    let n = issued.len() as f64;
    let (mut reliability, mut resolution) = (0.0, 0.0);
    for group in sorted.chunk_by(|a, b| a.chance == b.chance) {
        let frequency = base_rate(group)?;
        let chance = mean_chance(group)?;
        let weight = group.len() as f64 / n;
        reliability += weight * (chance - frequency).powi(2);
        resolution += weight * (frequency - base).powi(2);
    }
    Some(Parts { reliability, resolution, uncertainty: base * (1.0 - base) })
}

/// Nights whose chances lay close together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// Chances of this bin, 0 to 1: `from` belongs to it, `to` to the next one, 1 to the last.
    pub from: f64,
    pub to: f64,
    pub nights: usize,
    pub mean_chance: Probability,
    /// How often it came, 0 to 1.
    pub frequency: f64,
}

/// What was issued in bins of equal width, those without a night left out. A chance that is none, such as NaN, is in
/// no bin.
pub fn bins(issued: &[Issued], count: u32) -> Vec<Bin> {
    let width = 1.0 / f64::from(count);
    let bin = |index: u32| {
        let (from, to) = (f64::from(index) * width, f64::from(index + 1) * width);
        let holds = |chance: f64| chance >= from && (chance < to || index + 1 == count && chance <= 1.0);
        let inside: Vec<Issued> = issued.iter().copied().filter(|issued| holds(issued.chance.0)).collect();
        let (mean_chance, frequency) = (Probability(mean_chance(&inside)?), base_rate(&inside)?);
        Some(Bin { from, to, nights: inside.len(), mean_chance, frequency })
    };
    (0..count).filter_map(bin).collect()
}

#[cfg(test)]
mod tests {
    use super::super::Threshold;
    use super::super::sample::nights;
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn of_nothing_there_is_no_score_and_of_one_outcome_no_skill() {
        assert_eq!((brier(&[]), skill(&[]), parts(&[]), bins(&[], 10)), (None, None, None, vec![]));
        let always = [Issued { chance: Probability(0.9), came: true }; 4];
        assert_eq!(skill(&always), None);
        let unknown = [Issued { chance: Probability(f64::NAN), came: true }, Issued { came: false, ..always[0] }];
        assert!(brier(&unknown).is_some_and(f64::is_nan) && skill(&unknown).is_some_and(f64::is_nan));
        assert!(parts(&unknown).is_some_and(|parts| parts.reliability.is_nan()));
        assert_eq!(bins(&unknown, 10).len(), 1);
    }

    #[test]
    fn a_bin_holds_its_lower_edge_and_the_last_one_certainty() {
        let issued = [0.0, 0.5, 0.99, 1.0].map(|chance| Issued { chance: Probability(chance), came: chance == 1.0 });
        let found: Vec<_> = bins(&issued, 2).iter().map(|bin| (bin.from, bin.to, bin.nights, bin.frequency)).collect();
        assert_eq!(found, [(0.0, 0.5, 1, 0.0), (0.5, 1.0, 3, 1.0 / 3.0)]);
    }

    /// Chances of nights drawn from what was predicted come as often as they say, within five standard errors.
    #[test]
    fn honest_chances_are_reliable() {
        let nights = nights(20_000, 2.0, 5);
        for threshold in Threshold::ALL {
            let issued: Vec<Issued> = nights.iter().map(|night| night.issued(threshold)).collect();
            let found = bins(&issued, 10);
            assert_eq!(found.len(), 10);
            for bin in found {
                let error = (bin.mean_chance.0 * (1.0 - bin.mean_chance.0) / bin.nights as f64).sqrt();
                assert!((bin.frequency - bin.mean_chance.0).abs() < 5.0 * error, "{threshold:?} {bin:?}");
            }
        }
    }

    #[test]
    fn the_interval_holds_the_score_and_is_that_of_blocks() {
        let all = nights(400, 2.0, 3);
        let issued: Vec<Issued> = all.iter().map(|night| night.issued(Threshold::Zero)).collect();
        let score = brier(&issued).expect("nights");
        let by = |size: usize| -> Vec<Scored> {
            let block = |n: usize| u32::try_from(n / size).expect("few");
            all.iter().enumerate().map(|(n, night)| Scored { block: block(n), ..*night }).collect()
        };
        let (low, high) = interval(&by(20), Threshold::Zero).expect("blocks");
        assert!(low < score && score < high && high - low < 0.1, "{low} {score} {high}");
        assert_eq!(interval(&by(200), Threshold::Zero), None, "two blocks");
        assert_eq!(interval(&[], Threshold::Zero), None);
        // The same in each block: nothing is left to chance.
        let same: Vec<Scored> = by(20)
            .iter()
            .map(|night| Scored { chances: all[0].chances, observed: all[0].observed, ..*night })
            .collect();
        let (low, high) = interval(&same, Threshold::Zero).expect("blocks");
        assert!((high - low).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn the_parts_make_up_the_score(given in proptest::collection::vec((0.0f64..=1.0, any::<bool>()), 1..200), steps in 1u32..20) {
            let exact = given.iter().map(|(chance, came)| Issued { chance: Probability(*chance), came: *came });
            let rounded: Vec<Issued> = exact.clone().map(|issued| issued.rounded(steps)).collect();
            for issued in [exact.collect(), rounded] {
                let (Some(score), Some(parts)) = (brier(&issued), parts(&issued)) else { return Err(TestCaseError::fail("none")) };
                prop_assert!((parts.reliability - parts.resolution + parts.uncertainty - score).abs() < 1e-12);
                prop_assert!(parts.reliability >= 0.0 && parts.resolution <= parts.uncertainty + 1e-12);
            }
        }

        #[test]
        fn every_night_is_in_one_bin(given in proptest::collection::vec((0.0f64..=1.0, any::<bool>()), 0..200), count in 1u32..30) {
            let issued: Vec<Issued> = given.iter().map(|(chance, came)| Issued { chance: Probability(*chance), came: *came }).collect();
            let bins = bins(&issued, count);
            prop_assert_eq!(bins.iter().map(|bin| bin.nights).sum::<usize>(), issued.len());
            prop_assert!(bins.iter().all(|bin| (bin.from..=bin.to).contains(&bin.mean_chance.0)));
        }
    }
}
