//! From a temperature to damage: how much of a planting is lost, and what to expect when the temperature is uncertain.

use crate::units::{Celsius, Kelvins, Probability};
use thiserror::Error;

/// Standard normal deviate of 90 %: of a normal value, 80 % lie this many standard deviations about its mean.
pub const Z_90: f64 = 1.281_551_565_544_600_4;

/// The share of a planting that is damaged, over the temperature of its tissue, through two points: a tenth at
/// `begins` and nine tenths at `severe`.
///
/// ```text
/// logistic   D(T) = 1 / (1 + exp(k (T - LT50))),   k  = 2 ln 9 / (begins - severe)
/// probit     D(T) = Phi((LT50 - T) / sd),          sd = (begins - severe) / (2 * 1.28155)
/// LT50 = (begins + severe) / 2                               °C; k in 1/K, sd in K
/// ```
///
/// | symbol   | meaning                              | unit | accepted range              |
/// |----------|--------------------------------------|------|-----------------------------|
/// | `begins` | first harm, 10 % of plants or organs | °C   | above `severe`              |
/// | `severe` | heavy loss, 90 %                     | °C   |                             |
/// | `T`      | temperature, of the same frame       | °C   | any                         |
///
/// **Method error.** The two forms agree at 10, 50 and 90 % and part by up to 0.013 in between and beyond
/// (`logistic_and_probit_never_part_far`); what plants really do is known far less well.
/// **Refuses.** [`DamageCurve::new`]: `begins` not above `severe`, or NaN.
/// **Source.** Curves of quantal response, as in D. J. Finney, 1971, Probit Analysis, 3rd ed.; from memory.
/// **Check.** The probit of 90 %, 1.2816, from a printed table of the normal distribution: a damage of one half one
/// such deviate above `severe`.
///
/// ```
/// # use counterpane::{night::dose::{CurveRefused, DamageCurve}, units::Celsius};
/// // Apple in full bloom: 28 °F and 25 °F, Penn State Extension after WSU EB0419.
/// let bloom = DamageCurve::new(Celsius(-2.22), Celsius(-3.89))?;
/// let sd = (3.89 - 2.22) / 2.0 / 1.2816;
/// assert!((bloom.probit(Celsius(-3.89 + 1.2816 * sd)).0 - 0.5).abs() < 1e-4);
/// assert!((bloom.logistic(Celsius(-2.22)).0 - 0.1).abs() < 1e-9);
/// # Ok::<(), CurveRefused>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DamageCurve {
    begins: Celsius,
    severe: Celsius,
}

/// Two temperatures that make no curve.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
#[error("damage cannot begin at {begins} C and be severe at {severe} C: severe damage needs a colder night")]
pub struct CurveRefused {
    pub begins: f64,
    pub severe: f64,
}

impl DamageCurve {
    /// The curve through 10 % at `begins` and 90 % at `severe`.
    pub fn new(begins: Celsius, severe: Celsius) -> Result<DamageCurve, CurveRefused> {
        let width = (begins - severe).0;
        if width > 0.0 && width.is_finite() {
            Ok(DamageCurve { begins, severe })
        } else {
            Err(CurveRefused { begins: begins.0, severe: severe.0 })
        }
    }

    /// The temperature of half damage.
    pub fn lt50(&self) -> Celsius {
        Celsius(0.5 * (self.begins.0 + self.severe.0))
    }

    /// Standard deviation of the plants' tolerance in the probit form.
    pub fn tolerance_spread(&self) -> Kelvins {
        Kelvins((self.begins - self.severe).0 / (2.0 * Z_90))
    }

    /// Damage at a temperature, logistic form.
    pub fn logistic(&self, tissue: Celsius) -> Probability {
        let k = 2.0 * 9.0_f64.ln() / (self.begins - self.severe).0;
        Probability(1.0 / (1.0 + (k * (tissue - self.lt50()).0).exp()))
    }

    /// Damage at a temperature, probit form: the one that [`DamageCurve::expected`] averages.
    pub fn probit(&self, tissue: Celsius) -> Probability {
        normal_cdf((self.lt50() - tissue).0 / self.tolerance_spread().0)
    }

    /// Damage to expect where the temperature is uncertain.
    ///
    /// ```text
    /// E = Phi((LT50 - mu) / sqrt(s^2 + sd^2))                °C and K
    /// ```
    ///
    /// | symbol | meaning                                        | unit | accepted range |
    /// |--------|------------------------------------------------|------|----------------|
    /// | `mu`   | mean of the temperature                        | °C   | any            |
    /// | `s`    | its standard deviation, normally distributed   | K    | 0 and above    |
    ///
    /// **Method error.** Exact for the probit form (`the_closed_form_is_the_integral`); the logistic form gives a damage
    /// within 0.013 of it.
    /// **Refuses.** Nothing; NaN comes back as NaN.
    /// **Source.** The difference of two normal variables, tolerance and temperature, is normal.
    /// **Check.** Damage from -2.2 to -3.9 °C, night -2.5 ± 1.5 °C; integrated numerically, logistic form: 0.36938:
    ///
    /// ```
    /// # use counterpane::{night::dose::{CurveRefused, DamageCurve}, units::{Celsius, Kelvins}};
    /// let curve = DamageCurve::new(Celsius(-2.2), Celsius(-3.9))?;
    /// assert!((curve.expected(Celsius(-2.5), Kelvins(1.5)).0 - 0.36938).abs() < 0.001);
    /// # Ok::<(), CurveRefused>(())
    /// ```
    pub fn expected(&self, mean: Celsius, spread: Kelvins) -> Probability {
        normal_cdf((self.lt50() - mean).0 / spread.0.hypot(self.tolerance_spread().0))
    }
}

/// Standard normal distribution: the chance that a normal deviate stays at or below `z`.
///
/// ```text
/// Phi(z) = 1/2 + phi(z) (z + z^3/3 + z^5/(3*5) + z^7/(3*5*7) + ...)
/// ```
///
/// | symbol | meaning                        | unit | accepted range              |
/// |--------|--------------------------------|------|-----------------------------|
/// | `z`    | deviate                        | -    | any; beyond 8.2 it is 0 or 1 |
///
/// **Method error.** Under 1e-15, absolute (`the_normal_distribution_agrees_with_scipy`); a tail far below that has no
/// digits.
/// **Refuses.** Nothing; NaN comes back as NaN.
/// **Source.** G. Marsaglia, 2004, Evaluating the Normal Distribution, J. Stat. Softw. 11(4), doi:10.18637/jss.v011.i04.
/// **Check.** scipy 1.17.1 (Cephes, another method) gives 0.975002104851780 at 1.96:
///
/// ```
/// assert!((counterpane::night::dose::normal_cdf(1.96).0 - 0.975002104851780).abs() < 1e-14);
/// ```
pub fn normal_cdf(z: f64) -> Probability {
    if z.abs() > 8.2 {
        return Probability(if z > 0.0 { 1.0 } else { 0.0 });
    }
    // Ends when a term no longer changes the sum: after about 20 of them at 1 and 100 at 8; at once for NaN.
    let (mut term, mut sum, mut odd) = (z, z, 1.0);
    loop {
        odd += 2.0;
        term *= z * z / odd;
        let next = sum + term;
        if next == sum || next.is_nan() {
            break;
        }
        sum = next;
    }
    Probability((0.5 + normal_density(z) * sum).clamp(0.0, 1.0))
}

/// Density of the standard normal distribution.
pub fn normal_density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn curve(begins: f64, severe: f64) -> DamageCurve {
        let Ok(curve) = DamageCurve::new(Celsius(begins), Celsius(severe)) else { panic!("refused") };
        curve
    }

    /// Mean of a damage over a normal temperature, by the midpoint rule over 8 standard deviations each way.
    fn integrated(damage: impl Fn(Celsius) -> Probability, mean: f64, spread: f64) -> f64 {
        let step = 0.002;
        (-4000..4000)
            .map(|n| (f64::from(n) + 0.5) * step)
            .map(|z| normal_density(z) * step * damage(Celsius(mean + z * spread)).0)
            .sum()
    }

    /// scipy 1.17.1, `scipy.special.ndtr`.
    const NDTR: &[(f64, f64)] = &[
        (-8.0, 6.22096057427174e-16),
        (-6.0, 9.865876450376946e-10),
        (-5.0, 2.866515718791933e-07),
        (-4.0, 3.167124183311986e-05),
        (-3.5, 0.00023262907903552502),
        (-3.0, 0.0013498980316300933),
        (-2.5, 0.006209665325776132),
        (-2.0, 0.022750131948179195),
        (-1.5, 0.06680720126885807),
        (-1.0, 0.15865525393145707),
        (-0.5, 0.3085375387259869),
        (-0.1, 0.460172162722971),
        (0.0, 0.5),
        (0.3, 0.6179114221889526),
        (0.7, 0.758036347776927),
        (1.0, 0.8413447460685429),
        (1.2815515655446004, 0.8999999999999999),
        (1.6448536269514722, 0.95),
        (2.5, 0.9937903346742238),
        (3.0, 0.9986501019683699),
        (4.0, 0.9999683287581669),
        (5.0, 0.9999997133484281),
        (6.0, 0.9999999990134123),
        (8.0, 0.9999999999999993),
    ];

    #[test]
    fn the_normal_distribution_agrees_with_scipy() {
        for (z, expected) in NDTR {
            let Probability(found) = normal_cdf(*z);
            assert!((found - expected).abs() < 1e-15, "{z}: {found}, scipy {expected}");
        }
        assert_eq!(normal_cdf(f64::INFINITY), Probability(1.0));
        assert_eq!(normal_cdf(f64::NEG_INFINITY), Probability(0.0));
        assert!(normal_cdf(f64::NAN).0.is_nan());
    }

    #[test]
    fn logistic_and_probit_never_part_far() {
        let curve = curve(-2.2, -3.9);
        let gap = (-800..100)
            .map(|hundredths| Celsius(f64::from(hundredths) / 100.0))
            .map(|tissue| (curve.logistic(tissue).0 - curve.probit(tissue).0).abs())
            .fold(0.0, f64::max);
        assert!((0.010..0.013).contains(&gap), "{gap}");
    }

    #[test]
    fn two_points_in_the_wrong_order_make_no_curve() {
        for (begins, severe) in [(-3.9, -2.2), (-2.2, -2.2), (f64::NAN, -3.0), (-2.0, f64::NAN), (f64::INFINITY, -2.0)]
        {
            assert!(DamageCurve::new(Celsius(begins), Celsius(severe)).is_err(), "{begins} {severe}");
        }
        assert!(curve(-2.2, -3.9).expected(Celsius(f64::NAN), Kelvins(1.0)).0.is_nan());
        assert!(curve(-2.2, -3.9).expected(Celsius(-1.0), Kelvins(f64::NAN)).0.is_nan());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn the_closed_form_is_the_integral(begins in -8.0f64..2.0, width in 0.3f64..9.0, mean in -12.0f64..6.0, spread in 0.1f64..4.0) {
            let curve = curve(begins, begins - width);
            let Probability(closed) = curve.expected(Celsius(mean), Kelvins(spread));
            prop_assert!((closed - integrated(|tissue| curve.probit(tissue), mean, spread)).abs() < 1e-6);
            prop_assert!((closed - integrated(|tissue| curve.logistic(tissue), mean, spread)).abs() < 0.013);
        }

        #[test]
        fn a_colder_night_is_never_less_damage(begins in -8.0f64..2.0, width in 0.3f64..9.0, mean in -12.0f64..6.0, colder in 0.0f64..5.0, spread in 0.0f64..4.0) {
            let curve = curve(begins, begins - width);
            let at = |mean| curve.expected(Celsius(mean), Kelvins(spread)).0;
            prop_assert!(at(mean - colder) >= at(mean) - 1e-15);
            prop_assert!((0.0..=1.0).contains(&at(mean)));
        }

        #[test]
        fn without_spread_the_expectation_is_the_damage(begins in -8.0f64..2.0, width in 0.3f64..9.0, mean in -12.0f64..6.0) {
            let curve = curve(begins, begins - width);
            prop_assert!((curve.expected(Celsius(mean), Kelvins(0.0)).0 - curve.probit(Celsius(mean)).0).abs() < 1e-12);
        }
    }
}
