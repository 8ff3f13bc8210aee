//! What acting on predictions would have cost: simple rules against one that asks for the chance.
//!
//! Covering costs `C` and saves everything; a frost that finds a planting uncovered costs `L`. Expense is counted in
//! losses, `L`, so only `C/L`, the cost-loss ratio, matters.

use super::resample::{Block, interval_95};
use super::{Scored, Threshold};
use crate::units::Kelvins;
use std::collections::BTreeMap;

/// When to cover.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rule {
    Never,
    Always,
    /// When the predicted minimum is at the threshold or below.
    Plain,
    /// When it is at most this much above the threshold.
    Margin(Kelvins),
    /// When the chance is above the cost-loss ratio.
    Chance,
    /// When it will be needed: what nobody can do.
    Perfect,
}

impl Rule {
    /// Whether the rule covers on the eve of a night. What is not a number is covered.
    pub fn covers(self, night: &Scored, threshold: Threshold, cost_loss: f64) -> bool {
        let above = (night.predicted.mean - threshold.celsius()).0;
        let safe = match self {
            Rule::Never => true,
            Rule::Always => false,
            Rule::Plain => above > 0.0,
            Rule::Margin(margin) => above > margin.0,
            Rule::Chance => night.chance(threshold).0 <= cost_loss,
            Rule::Perfect => !night.came(threshold),
        };
        !safe
    }
}

/// What came of a rule over some nights.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Outcomes {
    /// Covered, and it came.
    pub hits: usize,
    /// Not covered, and it came.
    pub misses: usize,
    /// Covered, and it did not come.
    pub false_alarms: usize,
    /// Not covered, and it did not come.
    pub quiet: usize,
}

/// What came of a rule over some nights.
pub fn outcomes<'a>(
    nights: impl IntoIterator<Item = &'a Scored>,
    rule: Rule,
    threshold: Threshold,
    cost_loss: f64,
) -> Outcomes {
    let mut found = Outcomes::default();
    for night in nights {
        let count = match (rule.covers(night, threshold, cost_loss), night.came(threshold)) {
            (true, true) => &mut found.hits,
            (false, true) => &mut found.misses,
            (true, false) => &mut found.false_alarms,
            (false, false) => &mut found.quiet,
        };
        *count += 1;
    }
    found
}

impl Outcomes {
    /// Expense per 100 nights, in losses: covering costs `cost_loss` and is taken to save everything. `None` of no nights.
    ///
    /// ```text
    /// E = 100 [a (hits + false alarms) + misses] / n             a = C/L
    /// ```
    ///
    /// **Source.** D. S. Richardson, 2000, Skill and relative economic value of the ECMWF ensemble prediction system,
    /// Q. J. R. Meteorol. Soc. 126, 649-667; the expense table as printed by the WWRP/WGNE forecast verification pages,
    /// cawcr.gov.au, "relative value".
    pub fn expense(self, cost_loss: f64) -> Option<f64> {
        let nights = self.hits + self.misses + self.false_alarms + self.quiet;
        let spent = cost_loss * (self.hits + self.false_alarms) as f64 + self.misses as f64;
        (nights > 0).then(|| 100.0 * spent / nights as f64)
    }

    /// [`relative_value`] of these outcomes.
    pub fn value(self, cost_loss: f64) -> Option<f64> {
        let (came, stayed_away) = (self.hits + self.misses, self.false_alarms + self.quiet);
        let share = |part: usize, whole: usize| (whole > 0).then(|| part as f64 / whole as f64);
        let base_rate = share(came, came + stayed_away)?;
        relative_value(share(self.hits, came)?, share(self.false_alarms, stayed_away)?, base_rate, cost_loss)
    }
}

/// Relative value of a rule: 1 saves as much as perfect knowledge, 0 no more than the better of always and never.
///
/// ```text
/// V = (min(a,s) - [F a (1-s) + H s a + (1-H) s]) / (min(a,s) - s a)
/// ```
///
/// | symbol | meaning                                                  | unit | accepted range |
/// |--------|----------------------------------------------------------|------|----------------|
/// | `H`    | hit rate: covered, of the nights on which it came        | -    | 0 to 1         |
/// | `F`    | false-alarm rate: covered, of those on which it did not  | -    | 0 to 1         |
/// | `s`    | base rate: how often it came                             | -    | above 0, below 1 |
/// | `a`    | cost-loss ratio `C/L`                                    | -    | above 0, below 1 |
///
/// At `a = s` it is `H - F`, its maximum over `a`.
///
/// **Method error.** That of double precision.
/// **Refuses.** `None` where always or never is perfect already (`s` or `a` not strictly between 0 and 1), and for NaN.
/// **Source.** As [`Outcomes::expense`].
/// **Check.** At `a = s` the printed maximum, `H - F`; more rows in `tests/published/score.rs`:
///
/// ```
/// # use counterpane::score::expense::relative_value;
/// assert!(relative_value(0.8, 0.1, 0.1, 0.1).is_some_and(|value| (value - 0.7).abs() < 1e-12));
/// ```
pub fn relative_value(hit_rate: f64, false_alarm_rate: f64, base_rate: f64, cost_loss: f64) -> Option<f64> {
    let (h, f, s, a) = (hit_rate, false_alarm_rate, base_rate, cost_loss);
    let without = a.min(s);
    let possible = without - s * a;
    (possible > 0.0).then(|| (without - (f * a * (1.0 - s) + h * s * a + (1.0 - h) * s)) / possible)
}

/// Expense of one rule less that of another, per 100 nights in losses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    pub mean: f64,
    /// Its 95 % interval, by resampling; none of fewer than eight blocks, which cannot say how far blocks differ.
    pub interval: Option<(f64, f64)>,
}

/// Draws of the interval.
const DRAWS: usize = 2_000;
/// Any number does; the same one, so that the same nights are scored alike.
const SEED: u64 = 1;

/// Expense of `rule` less that of `other`, with a 95 % interval from 2,000 resamples of whole blocks ([`Scored::block`]):
/// nights of one month share their weather, so single nights would make it too narrow. Nothing is fitted anew in a
/// resample. `None` of no nights.
pub fn difference(
    nights: &[Scored],
    rule: Rule,
    other: Rule,
    threshold: Threshold,
    cost_loss: f64,
) -> Option<Difference> {
    let spent = |rule: Rule, night: &Scored| outcomes([night], rule, threshold, cost_loss).expense(cost_loss);
    let mut blocks: BTreeMap<u32, Block> = BTreeMap::new();
    for night in nights {
        let block = blocks.entry(night.block).or_default();
        block.0 += spent(rule, night)? - spent(other, night)?;
        block.1 += 1.0;
    }
    let blocks: Vec<Block> = blocks.into_values().collect();
    let mean = blocks.iter().map(|block| block.0).sum::<f64>() / nights.len() as f64;
    (!nights.is_empty()).then(|| Difference { mean, interval: interval_95(&blocks, DRAWS, SEED) })
}

#[cfg(test)]
mod tests {
    use super::super::sample::{nights, scored};
    use super::*;
    use proptest::prelude::*;

    const RULES: [Rule; 6] =
        [Rule::Never, Rule::Always, Rule::Plain, Rule::Margin(Kelvins(2.0)), Rule::Chance, Rule::Perfect];

    #[test]
    fn of_no_nights_there_is_no_expense() {
        assert_eq!(outcomes(&[], Rule::Plain, Threshold::Zero, 0.1).expense(0.1), None);
        assert_eq!(outcomes(&[], Rule::Plain, Threshold::Zero, 0.1).value(0.1), None);
        assert_eq!(difference(&[], Rule::Plain, Rule::Chance, Threshold::Zero, 0.1), None);
    }

    #[test]
    fn a_night_of_which_nothing_is_known_is_covered() {
        let unknown = scored(f64::NAN, 1.0, 1.0);
        for rule in [Rule::Plain, Rule::Margin(Kelvins(2.0)), Rule::Chance] {
            assert!(rule.covers(&unknown, Threshold::Zero, 0.5), "{rule:?}");
        }
        assert!(!Rule::Never.covers(&unknown, Threshold::Zero, 0.5));
    }

    #[test]
    fn each_rule_covers_where_it_says() {
        // At 0 °C, cost-loss 0.1: a normal prediction has that chance 1.2816 spreads above it.
        for (mean, rule, covers) in [
            (0.0, Rule::Plain, true),
            (0.01, Rule::Plain, false),
            (2.0, Rule::Margin(Kelvins(2.0)), true),
            (2.01, Rule::Margin(Kelvins(2.0)), false),
            (1.281, Rule::Chance, true),
            (1.282, Rule::Chance, false),
        ] {
            assert_eq!(rule.covers(&scored(mean, 1.0, 0.0), Threshold::Zero, 0.1), covers, "{mean} {rule:?}");
        }
    }

    /// Where the spread is right, asking for the chance is the best that can be done without knowing the night, up to
    /// the luck of the draw; of a plain margin that fits no ratio the interval says that it is worse.
    #[test]
    fn the_chance_is_the_best_rule_where_it_is_honest() {
        let nights = nights(20_000, 2.0, 11);
        for cost_loss in [0.05, 0.1, 0.2, 0.5] {
            let spent = |rule| outcomes(&nights, rule, Threshold::Zero, cost_loss).expense(cost_loss).expect("nights");
            assert!(spent(Rule::Chance) <= spent(Rule::Plain) + 1e-9, "{cost_loss}");
            assert!(spent(Rule::Chance) <= spent(Rule::Margin(Kelvins(2.0))) + 0.1, "{cost_loss}");
        }
        let worse = difference(&nights, Rule::Plain, Rule::Chance, Threshold::Zero, 0.05).expect("nights");
        let (low, high) = worse.interval.expect("blocks");
        assert!(0.0 < low && low < worse.mean && worse.mean < high, "{worse:?}");
        let nothing = difference(&nights, Rule::Chance, Rule::Chance, Threshold::Zero, 0.05).expect("nights");
        assert_eq!(nothing, Difference { mean: 0.0, interval: Some((0.0, 0.0)) });
    }

    /// The same nights in one block have no interval: a single block says nothing of how blocks differ.
    #[test]
    fn nights_of_one_block_are_drawn_together() {
        let mut nights = nights(300, 2.0, 2);
        let by_month = difference(&nights, Rule::Always, Rule::Never, Threshold::Zero, 0.1).expect("nights");
        let (low, high) = by_month.interval.expect("blocks");
        assert!(low < by_month.mean - 1.0 && high > by_month.mean + 1.0, "{by_month:?}");
        nights.iter_mut().for_each(|night| night.block = 1);
        let at_once = difference(&nights, Rule::Always, Rule::Never, Threshold::Zero, 0.1).expect("nights");
        assert!(at_once.interval.is_none() && (at_once.mean - by_month.mean).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn nothing_is_cheaper_than_to_know(seed in 0u64..1000, spread in 0.2f64..4.0, cost_loss in 0.01f64..0.99) {
            let nights = nights(60, spread, seed);
            for threshold in Threshold::ALL {
                let spent = |rule| outcomes(&nights, rule, threshold, cost_loss).expense(cost_loss);
                for rule in RULES {
                    prop_assert!(spent(Rule::Perfect) <= spent(rule));
                }
                let came = nights.iter().filter(|night| night.came(threshold)).count() as f64 / 0.6;
                prop_assert!((spent(Rule::Never).unwrap_or(f64::NAN) - came).abs() < 1e-9);
                prop_assert!((spent(Rule::Always).unwrap_or(f64::NAN) - 100.0 * cost_loss).abs() < 1e-9);
            }
        }

        /// Half a chance of a normal distribution is its mean.
        #[test]
        fn at_one_half_the_chance_is_the_plain_rule(seed in 0u64..1000, spread in 0.2f64..4.0) {
            for night in nights(60, spread, seed) {
                for threshold in Threshold::ALL {
                    prop_assert_eq!(Rule::Chance.covers(&night, threshold, 0.5), Rule::Plain.covers(&night, threshold, 0.5));
                }
            }
        }

        #[test]
        fn value_is_the_share_of_what_could_be_saved(seed in 0u64..1000, spread in 0.2f64..4.0, cost_loss in 0.01f64..0.99) {
            let nights = nights(60, spread, seed);
            let spent = |rule| outcomes(&nights, rule, Threshold::Zero, cost_loss).expense(cost_loss).unwrap_or(f64::NAN);
            let without = spent(Rule::Always).min(spent(Rule::Never));
            for rule in RULES {
                if let Some(value) = outcomes(&nights, rule, Threshold::Zero, cost_loss).value(cost_loss) {
                    let saved = (without - spent(rule)) / (without - spent(Rule::Perfect));
                    prop_assert!((value - saved).abs() < 1e-9, "{rule:?}: {value} {saved}");
                }
            }
        }
    }
}
