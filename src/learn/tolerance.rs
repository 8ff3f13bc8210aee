//! What a crop stands in a stage, from how badly it was harmed: both thresholds are moved together.

use super::bounded::{Balance, Pull, settle};
use super::doubt::{ASKED_FROM, Doubt};
use super::{Asked, Figure, Learned, in_order};
use crate::crops::Figures;
use crate::night::Estimate;
use crate::night::dose::{DamageCurve, normal_cdf, normal_density};
use crate::units::{Kelvins, THRESHOLD};
use crate::zone::NightOf;
use std::collections::BTreeMap;

/// One planting after one night, judged once: where it was looked at on several days, the last of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DamageReport {
    pub night: NightOf,
    /// The number of its bed, for whoever asks about it.
    pub bed: usize,
    /// 0 to 5, by the scale of [`crate::crops::damage::DamageClass`] as it is shown to whoever looks.
    pub class: u8,
    /// The lowest temperature of the organ, in the frame of its tolerance, as an unhardened plant would have felt it for
    /// the hours its source speaks of: under the cover that was on, hardening and relief added. Its spread is small where
    /// a thermometer was at the plants, larger where it was worked out.
    pub felt: Estimate,
    /// Somebody was asked about it and said that it is right.
    pub confirmed: bool,
}

/// Standard normal deviates of the shares at which one [`crate::crops::damage::DamageClass`] ends and the next begins:
/// 1, 10, 30, 60 and 90 %. That a share of a planting's green stands for a share of its plants is assumed.
const BETWEEN_CLASSES: [f64; 5] = [-2.326_347_874, -1.281_551_566, -0.524_400_513, 0.253_347_103, 1.281_551_566];
/// How far two people's classes of the same planting lie apart, and its plants from one another, as degrees, K (assumed).
const OBSERVER_SPREAD: f64 = 0.5;

/// A crop's figures before and after.
#[derive(Clone, Debug, PartialEq)]
pub struct LearnedTolerance {
    pub published: Figures,
    /// How far both thresholds are moved; published as 0 with the catalogue's spread.
    pub shift: Learned,
}

impl LearnedTolerance {
    /// The figures with what was learned.
    pub fn figures(&self) -> Figures {
        self.published.moved(self.shift.learned.mean, self.shift.learned.spread)
    }
}

/// Learns a shift of both thresholds, from reports in any order.
///
/// ```text
/// P(class k | D) = Phi((z_{k+1} sd - h)/u) - Phi((z_k sd - h)/u),   h = LT50 + D - T,   u^2 = s_T^2 + 0.5^2
/// score          s_k = d ln P / dD,   pull  psi_k = max(-B, min(B, s_k - alpha)),   sum_k P_k psi_k = 0,   B = 1/2p
/// shift          D/p^2 = sum psi;   its error as in [`Pull`] with a = sum_k P_k psi_k s_k, b = sum_k P_k psi_k^2
/// ```
///
/// | symbol   | meaning                                                     | unit | accepted range |
/// |----------|-------------------------------------------------------------|------|----------------|
/// | `D`, `p` | shift of both thresholds; the catalogue's spread            | K    | p above 0      |
/// | `T`, `s_T` | temperature felt, and its spread                          | °C, K | s_T 0 and above |
/// | `sd`, `LT50` | of the damage curve, see [`DamageCurve`]                | K, °C |               |
/// | `z_k`    | deviates of the shares between classes                      | -    |                |
///
/// The curve's own probit, with a temperature that is not exactly known: an ordinal probit. `alpha` takes from the bounded
/// score what the bound has made lopsided; without it ten mild nights without harm would make a crop look hardier than
/// they show. Reports of one night share its weather: their scores are averaged, and the night counts once.
///
/// **Method error.** `tests/learning.rs`: how often the 80 % interval holds the truth, and that no report moves the shift
/// by more than half the catalogue's spread. The width of the curve is not learned.
/// **Refuses.** A class above 5, a spread below 0, no number, and harm that nothing explains (dead above zero) come back as
/// questions. Figures without a spread or a curve stay.
/// **Source.** P. McCullagh, 1980, Regression Models for Ordinal Data, J. R. Stat. Soc. B 42, 109-142, for the likelihood;
/// H. R. Künsch, L. A. Stefanski and R. J. Carroll, 1989, Conditionally Unbiased Bounded-Influence Estimation in General
/// Regression Models, J. Am. Stat. Assoc. 84, 460-466, for `alpha`; both from memory.
/// **Check.** The equations solved apart from this project's code (Python's `statistics.NormalDist`, by halving):
/// three nights on kale of -3 and -6 °C, spread 1 K. Its curve against the fits of other authors: `tests/published/dose_fit.rs`.
///
/// ```
/// # use counterpane::{crops::Figures, learn::tolerance::{DamageReport, learn}, night::Estimate};
/// # use counterpane::{units::{Celsius, Kelvins}, zone::NightOf};
/// # use chrono::{Days, NaiveDate};
/// let figures = Figures {
///     damage_begins: Celsius(-3.0),
///     severe: Celsius(-6.0),
///     hardened_gain: Kelvins(0.0),
///     spread: Kelvins(1.0),
///     exposure_hours: None,
/// };
/// let report = |day, mean, spread, class| DamageReport {
///     night: NightOf(NaiveDate::default() + Days::new(day)),
///     bed: 0,
///     class,
///     felt: Estimate { mean: Celsius(mean), spread: Kelvins(spread) },
///     confirmed: false,
/// };
/// let learned = learn(figures, &[report(0, -4.0, 1.0, 4), report(1, -3.5, 1.0, 3), report(2, -5.5, 0.5, 5)]).figures();
/// assert!((learned.damage_begins.0 - (-3.0 + 0.76685)).abs() < 1e-5);
/// assert!((learned.spread.0 - 0.59250).abs() < 1e-5);
/// ```
pub fn learn(published: Figures, reports: &[DamageReport]) -> LearnedTolerance {
    let first = Figure { mean: Kelvins(0.0), spread: published.spread };
    let unseen = |asked| LearnedTolerance { published, shift: Learned { asked, ..Learned::unseen(first) } };
    let Ok(curve) = DamageCurve::new(published.damage_begins, published.severe) else { return unseen(Vec::new()) };
    let (mut nights, mut asked): (BTreeMap<NightOf, Vec<Report>>, Vec<Asked>) = (BTreeMap::new(), Vec::new());
    for one in reports {
        let report = Report::of(one, &curve);
        match report.map_or(Some(Doubt::Unusable), |report| report.doubt(first.spread)) {
            Some(doubt) if !(one.confirmed && doubt.can_be_confirmed()) => {
                asked.push(Asked { night: one.night, bed: Some(one.bed), doubt })
            }
            _ => nights.entry(one.night).or_default().extend(report),
        }
    }
    let asked = in_order(asked);
    if nights.is_empty() || !first.is_open() {
        return unseen(asked);
    }
    // Sums come out the same whatever the order of the reports.
    for reports in nights.values_mut() {
        reports.sort_by(|a, b| {
            (a.class.cmp(&b.class)).then(a.height.total_cmp(&b.height)).then(a.spread.total_cmp(&b.spread))
        });
    }
    let learned = solve(&nights, first.spread.0);
    LearnedTolerance {
        published,
        shift: Learned { published: first, learned, nights: nights.into_keys().collect(), asked },
    }
}

/// What acts of a learned shift. Towards the hardy at most so much that harm begins where it is severe as published, or by one
/// published spread where that is more (assumed), and within the limits of thresholds: a crop that stood more by every
/// report more likely lay under something that nobody wrote down. Cut off, it is no better known than what was published.
pub fn used(published: Figures, shift: Figure) -> Figure {
    let hardiest = published.severe.0 - published.damage_begins.0;
    let hardiest = hardiest.min(-published.spread.0).max(THRESHOLD.low - published.severe.0).min(0.0);
    let tenderest = (THRESHOLD.high - published.damage_begins.0).max(0.0);
    // What is no number stays none, and is refused where it is accepted.
    let mean = if shift.mean.0.is_finite() { shift.mean.0.clamp(hardiest, tenderest) } else { shift.mean.0 };
    let spread = if mean > shift.mean.0 { shift.spread.0.max(published.spread.0) } else { shift.spread.0 };
    Figure { mean: Kelvins(mean), spread: Kelvins(spread) }
}

/// A report as the equations take it.
#[derive(Clone, Copy, Debug)]
struct Report {
    class: usize,
    /// `LT50 - T` of the published figures, K.
    height: f64,
    /// Of the temperature and of judging, K.
    spread: f64,
    /// Of the curve, K.
    width: f64,
}

impl Report {
    fn of(report: &DamageReport, curve: &DamageCurve) -> Option<Report> {
        let class = usize::from(report.class);
        let height = (curve.lt50() - report.felt.mean).0;
        let is_sound = class <= BETWEEN_CLASSES.len() && height.is_finite() && report.felt.spread.0 >= 0.0;
        let spread = report.felt.spread.0.hypot(OBSERVER_SPREAD);
        (is_sound && spread.is_finite()).then_some(Report { class, height, spread, width: curve.tolerance_spread().0 })
    }

    /// The ends of a class, in spreads from what a shift leads to expect.
    fn ends(&self, class: usize, shift: f64) -> (f64, f64) {
        let end = |index: Option<usize>, outside: f64| {
            let deviate = index.and_then(|index| BETWEEN_CLASSES.get(index));
            deviate.map_or(outside, |deviate| (deviate * self.width - self.height - shift) / self.spread)
        };
        (end(class.checked_sub(1), f64::NEG_INFINITY), end(Some(class), f64::INFINITY))
    }

    /// How far the class lies from what the published figures lead to expect, where that is too far.
    fn doubt(&self, published: Kelvins) -> Option<Doubt> {
        let (low, high) = self.ends(self.class, 0.0);
        let spreads = low.max(-high).max(0.0) * self.spread / self.spread.hypot(published.0);
        (spreads > ASKED_FROM).then_some(Doubt::FarOff { spreads })
    }

    /// Chance of a class and the slope of its logarithm over the shift, 1/K.
    fn chance_and_score(&self, class: usize, shift: f64) -> (f64, f64) {
        let (low, high) = self.ends(class, shift);
        // Both ends on one side are taken from the other tail, which has its digits.
        let chance =
            if low > 0.0 { normal_cdf(-low).0 - normal_cdf(-high).0 } else { normal_cdf(high).0 - normal_cdf(low).0 };
        let score = if chance > 1e-12 {
            let density = |end: f64| if end.is_infinite() { 0.0 } else { normal_density(end) };
            (density(low) - density(high)) / chance
        } else if low > 0.0 {
            // So far out the class hugs its nearer end.
            low
        } else {
            high
        };
        (chance, score / self.spread)
    }

    /// Its pull at one shift, with the mean slope and mean square of the pull of such a report.
    fn pulled(&self, shift: f64, bound: f64) -> Balance {
        let classes: [(f64, f64); 6] = std::array::from_fn(|class| self.chance_and_score(class, shift));
        let pull = Pull::with_corner(bound);
        let mean = |alpha: f64| {
            let mut mean = Balance::default();
            for (chance, score) in classes {
                let psi = pull.psi(score - alpha);
                let slope = if psi == score - alpha { 1.0 } else { 0.0 };
                mean.add(Balance { pull: psi, slope, square: psi * psi }, chance);
            }
            mean
        };
        let scores = || classes.iter().map(|(_, score)| *score);
        let ends = (scores().fold(f64::INFINITY, f64::min), scores().fold(f64::NEG_INFINITY, f64::max));
        let (alpha, _) = settle(ends, mean);
        let mut pulled = Balance::default();
        for (class, (chance, score)) in classes.into_iter().enumerate() {
            let psi = pull.psi(score - alpha);
            pulled.slope += chance * psi * score;
            pulled.square += chance * psi * psi;
            if class == self.class {
                pulled.pull = psi;
            }
        }
        pulled
    }
}

/// Where the pulls of all nights and the published figure hold the balance.
fn solve(nights: &BTreeMap<NightOf, Vec<Report>>, spread: f64) -> Figure {
    let precision = spread.powi(-2);
    let bound = 0.5 / spread;
    let at = |shift: f64| {
        let mut sum = Balance { pull: -precision * shift, slope: precision, square: precision };
        for reports in nights.values() {
            let share = 1.0 / reports.len() as f64;
            reports.iter().for_each(|report| sum.add(report.pulled(shift, bound), share));
        }
        sum
    };
    let farthest = nights.len() as f64 * bound / precision;
    let (shift, balance) = settle((-farthest, farthest), at);
    Figure { mean: Kelvins(shift), spread: Kelvins(balance.spread()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::crops::damage::DamageClass;
    use crate::units::Celsius;

    #[test]
    fn no_crop_is_believed_to_stand_more_than_what_killed_it_as_published() {
        let published = |begins: f64, severe: f64, spread: f64| Figures {
            damage_begins: Celsius(begins),
            severe: Celsius(severe),
            spread: Kelvins(spread),
            hardened_gain: Kelvins(0.0),
            exposure_hours: None,
        };
        let used = |published: Figures, mean: f64| {
            let used = used(published, Figure { mean: Kelvins(mean), spread: Kelvins(0.4) });
            (used.mean.0, used.spread.0)
        };
        for (figures, mean, expected) in [
            (published(-2.0, -4.0, 1.0), -1.5, (-1.5, 0.4)),
            (published(-2.0, -4.0, 1.0), -9.0, (-2.0, 1.0)),
            // Two thresholds that all but meet still may move by what is not known of them.
            (published(-2.0, -2.1, 1.0), -9.0, (-1.0, 1.0)),
            (published(-2.0, -4.0, 1.0), 3.0, (3.0, 0.4)),
            (published(-2.0, -4.0, 1.0), 40.0, (17.0, 0.4)),
            (published(-58.0, -59.0, 2.0), -9.0, (-1.0, 2.0)),
        ] {
            assert_eq!(used(figures, mean), expected, "{figures:?} {mean}");
        }
    }

    #[test]
    fn classes_part_where_the_scale_shown_to_people_parts_them() {
        let begins: Vec<f64> = DamageClass::all().skip(1).map(|class| *class.share().start()).collect();
        assert_eq!(begins.len(), BETWEEN_CLASSES.len());
        for (deviate, share) in BETWEEN_CLASSES.iter().zip(begins) {
            assert!((normal_cdf(*deviate).0 - share).abs() < 1e-9, "{deviate} {share}");
        }
    }

    #[test]
    fn the_score_is_the_slope_of_the_chance_and_the_pull_has_no_mean() {
        let report = |height: f64| Report { class: 0, height, spread: 1.1, width: 0.8 };
        for height in [-3.0, -0.5, 0.0, 1.0, 3.0] {
            let (mut total, mut mean) = (0.0, 0.0);
            for class in 0..6 {
                let report = Report { class, ..report(height) };
                let log = |shift: f64| report.chance_and_score(class, shift).0.ln();
                let (chance, score) = report.chance_and_score(class, 0.2);
                assert!((score - (log(0.2 + 1e-5) - log(0.2 - 1e-5)) / 2e-5).abs() < 1e-5, "{height} {class}");
                total += chance;
                mean += chance * report.pulled(0.2, 0.5).pull;
            }
            assert!((total - 1.0).abs() < 1e-12 && mean.abs() < 1e-7, "{height}: {total} {mean}");
        }
        // Where a chance has no digits left, the pull still points the right way and is bounded.
        for (class, height, sign) in [(5, -30.0, 1.0), (0, 30.0, -1.0)] {
            let pulled = Report { class, ..report(height) }.pulled(0.0, 0.5);
            assert!(pulled.pull * sign > 0.0 && pulled.pull.abs() <= 0.5, "{pulled:?}");
        }
    }
}
