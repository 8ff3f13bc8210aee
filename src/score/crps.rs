//! Continuous ranked probability score: how far a whole predicted distribution lay from what was observed.
//!
//! It is in kelvins and falls to the absolute error where a prediction has no spread, so that both can be compared.

use crate::night::Estimate;
use crate::night::dose::{normal_cdf, normal_density as density};
use crate::units::{Celsius, Kelvins};

/// Score of a normal prediction: the smaller the better, and 0 only of one that was right without any spread.
///
/// ```text
/// CRPS = s [z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi)],   z = (y - mu) / s        °C and K
/// ```
///
/// | symbol | meaning                           | unit | accepted range |
/// |--------|-----------------------------------|------|----------------|
/// | `mu`   | predicted mean                    | °C   | any            |
/// | `s`    | predicted standard deviation      | K    | 0 and above    |
/// | `y`    | observed                          | °C   | any            |
///
/// **Method error.** Under 1e-12 K, that of [`normal_cdf`]; against its defining integral
/// `the_closed_forms_are_the_integral`.
/// **Refuses.** Nothing. Without spread it is the absolute error; NaN, or a spread below 0, comes back as NaN.
/// **Source.** T. Gneiting and A. E. Raftery, 2007, Strictly Proper Scoring Rules, Prediction, and Estimation,
/// J. Am. Stat. Assoc. 102, 359-378, sect. 4.2.
/// **Check.** properscoring 0.1 gives 1.5739683 for 1.5 ± 2 °C and -1 °C observed:
///
/// ```
/// # use counterpane::{night::Estimate, score::crps::of_normal, units::{Celsius, Kelvins}};
/// let predicted = Estimate { mean: Celsius(1.5), spread: Kelvins(2.0) };
/// assert!((of_normal(predicted, Celsius(-1.0)).0 - 1.5739683).abs() < 5e-8);
/// ```
pub fn of_normal(predicted: Estimate, observed: Celsius) -> Kelvins {
    let (Kelvins(error), Kelvins(s)) = (observed - predicted.mean, predicted.spread);
    if s == 0.0 {
        return Kelvins(error.abs());
    }
    if s.is_nan() || s < 0.0 {
        return Kelvins(f64::NAN);
    }
    let z = error / s;
    Kelvins(s * (z * (2.0 * normal_cdf(z).0 - 1.0) + 2.0 * density(z) - std::f64::consts::PI.sqrt().recip()))
}

/// Score of a prediction that holds two kinds of night possible: a mixture of two normal distributions.
///
/// ```text
/// CRPS   = sum_i w_i A(y - mu_i, s_i) - 1/2 sum_ij w_i w_j A(mu_i - mu_j, sqrt(s_i^2 + s_j^2))
/// A(m,s) = 2 s phi(m/s) + m (2 Phi(m/s) - 1)               mean distance of a normal variable from 0
/// ```
///
/// | symbol   | meaning                                    | unit | accepted range |
/// |----------|--------------------------------------------|------|----------------|
/// | `w`      | weight of the first; the second's is 1 - w | -    | 0 to 1         |
/// | `mu`, `s` | mean and standard deviation of each       | °C, K | spread 0 and above |
/// | `y`      | observed                                   | °C   | any            |
///
/// **Method error.** Under 1e-12 K; against its defining integral `the_closed_forms_are_the_integral`, against the
/// score of a sample `a_mixture_scores_as_a_large_sample_of_it`.
/// **Refuses.** Nothing. NaN, a spread below 0 or a weight outside 0 to 1 comes back as NaN.
/// **Source.** E. P. Grimit, T. Gneiting, V. J. Berrocal and N. A. Johnson, 2006, The continuous ranked probability
/// score for circular variables and its application to mesoscale forecast ensemble verification, Q. J. R. Meteorol.
/// Soc. 132, 2925-2942, eq. 5; from memory, confirmed by the check.
/// **Check.** scoringrules 0.10.0 (`crps_mixnorm`): three in ten a night of -4 ± 1.2 °C, else 1 ± 2 °C; -3.5 °C came:
///
/// ```
/// # use counterpane::{night::Estimate, score::crps::of_mixture, units::{Celsius, Kelvins}};
/// let clear = Estimate { mean: Celsius(-4.0), spread: Kelvins(1.2) };
/// let cloudy = Estimate { mean: Celsius(1.0), spread: Kelvins(2.0) };
/// assert!((of_mixture(0.3, clear, cloudy, Celsius(-3.5)).0 - 1.8042253421).abs() < 1e-9);
/// ```
pub fn of_mixture(weight: f64, first: Estimate, second: Estimate, observed: Celsius) -> Kelvins {
    let parts = [(weight, first), (1.0 - weight, second)];
    let is_sound = |(weight, part): &(f64, Estimate)| (0.0..=1.0).contains(weight) && part.spread.0 >= 0.0;
    if !parts.iter().all(is_sound) {
        return Kelvins(f64::NAN);
    }
    let from_observed: f64 =
        parts.iter().map(|(weight, part)| weight * mean_distance((observed - part.mean).0, part.spread.0)).sum();
    let among_themselves: f64 = parts
        .iter()
        .flat_map(|a| parts.iter().map(move |b| (a, b)))
        .map(|((w, a), (v, b))| w * v * mean_distance((a.mean - b.mean).0, a.spread.0.hypot(b.spread.0)))
        .sum();
    Kelvins(from_observed - 0.5 * among_themselves)
}

/// Mean distance from 0 of a normal variable of mean `m` and standard deviation `s`.
fn mean_distance(m: f64, s: f64) -> f64 {
    if s == 0.0 {
        return m.abs();
    }
    2.0 * s * density(m / s) + m * (2.0 * normal_cdf(m / s).0 - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::resample::Generator;
    use proptest::prelude::*;

    fn estimate(mean: f64, spread: f64) -> Estimate {
        Estimate { mean: Celsius(mean), spread: Kelvins(spread) }
    }

    /// The definition: the integral of (F(x) - [x >= y])^2, by the midpoint rule.
    fn integrated(below: impl Fn(f64) -> f64, y: f64) -> f64 {
        let step = 0.002;
        (-20_000..20_000)
            .map(|n| y + (f64::from(n) + 0.5) * step)
            .map(|x| (below(x) - if x >= y { 1.0 } else { 0.0 }).powi(2) * step)
            .sum()
    }

    /// The score of a sample: mean distance from what was observed, less half the mean distance within the sample.
    fn of_sample(sample: &mut [f64], y: f64) -> f64 {
        sample.sort_by(f64::total_cmp);
        let n = sample.len() as f64;
        let from_observed = sample.iter().map(|x| (x - y).abs()).sum::<f64>() / n;
        let within: f64 = sample.iter().zip(0..).map(|(x, k)| x * (2.0 * f64::from(k) + 1.0 - n)).sum();
        from_observed - within / (n * n)
    }

    /// properscoring 0.1 (biased form) on the sample 0, 1, -2, -3 with -1 observed: 0.625.
    #[test]
    fn the_score_of_a_sample_is_that_of_properscoring() {
        assert!((of_sample(&mut [0.0, 1.0, -2.0, -3.0], -1.0) - 0.625).abs() < 1e-12);
    }

    #[test]
    fn a_mixture_scores_as_a_large_sample_of_it() {
        let mut generator = Generator::new(7);
        let mut normal = || generator.normal();
        let mut sample: Vec<f64> =
            (0..60_000).map(|n| if n % 10 < 3 { -4.0 + 1.2 * normal() } else { 1.0 + 2.0 * normal() }).collect();
        for y in [-6.0, -3.5, 0.0, 2.0] {
            let closed = of_mixture(0.3, estimate(-4.0, 1.2), estimate(1.0, 2.0), Celsius(y)).0;
            // Of 60,000 draws the mean distance is known within about 0.01 K.
            assert!((of_sample(&mut sample, y) - closed).abs() < 0.03, "{y}: {closed}");
        }
    }

    #[test]
    fn nothing_unknown_comes_back_as_a_score() {
        for (mean, spread, observed) in
            [(f64::NAN, 1.0, 0.0), (0.0, f64::NAN, 0.0), (0.0, -1.0, 0.0), (0.0, 1.0, f64::NAN), (0.0, 0.0, f64::NAN)]
        {
            assert!(of_normal(estimate(mean, spread), Celsius(observed)).0.is_nan(), "{mean} {spread} {observed}");
            let mixed = of_mixture(0.5, estimate(mean, spread), estimate(1.0, 1.0), Celsius(observed));
            assert!(mixed.0.is_nan(), "{mean} {spread} {observed}");
        }
        for weight in [-0.1, 1.1, f64::NAN] {
            assert!(of_mixture(weight, estimate(0.0, 1.0), estimate(1.0, 1.0), Celsius(0.0)).0.is_nan());
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]

        #[test]
        fn the_closed_forms_are_the_integral(
            (m, s) in (-5.0f64..5.0, 0.3f64..3.0), (m2, s2) in (-5.0f64..5.0, 0.3f64..3.0), w in 0.0f64..=1.0, y in -8.0f64..8.0,
        ) {
            let below = |mean: f64, spread: f64| move |x: f64| normal_cdf((x - mean) / spread).0;
            let normal = of_normal(estimate(m, s), Celsius(y)).0;
            prop_assert!((normal - integrated(below(m, s), y)).abs() < 1e-4);
            let mixture = of_mixture(w, estimate(m, s), estimate(m2, s2), Celsius(y)).0;
            let both = |x: f64| w * below(m, s)(x) + (1.0 - w) * below(m2, s2)(x);
            prop_assert!((mixture - integrated(both, y)).abs() < 1e-4);
        }

        #[test]
        fn a_mixture_of_one_kind_of_night_is_that_night(m in -9.0f64..9.0, s in 0.0f64..4.0, w in 0.0f64..=1.0, y in -9.0f64..9.0) {
            let normal = of_normal(estimate(m, s), Celsius(y)).0;
            prop_assert!((of_mixture(w, estimate(m, s), estimate(m, s), Celsius(y)).0 - normal).abs() < 1e-12);
            prop_assert!((of_mixture(1.0, estimate(m, s), estimate(3.0, 1.0), Celsius(y)).0 - normal).abs() < 1e-12);
        }

        #[test]
        fn the_score_is_never_above_the_absolute_error_and_falls_to_it(m in -9.0f64..9.0, s in 0.0f64..4.0, y in -9.0f64..9.0) {
            let error = (y - m).abs();
            let score = of_normal(estimate(m, s), Celsius(y)).0;
            // Never above it by more than a prediction of this spread costs where it is right: 0.2337 s.
            prop_assert!(score >= 0.0 && score <= error + 0.2337 * s + 1e-12);
            prop_assert!((of_normal(estimate(m, 1e-9), Celsius(y)).0 - error).abs() < 1e-8);
        }
    }
}
