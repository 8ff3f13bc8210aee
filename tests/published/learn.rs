//! Following a bias from night to night, and correcting a forecast.

use super::check;
use counterpane::learn::bounded::Pull;
use counterpane::learn::forecast::Correction;
use counterpane::learn::{Figure, kalman::State};
use counterpane::night::Estimate;
use counterpane::score::crps::of_normal;
use counterpane::units::{Celsius, Kelvins};

/// Scalar Kalman filter of a bias, from 0 with variance 1, drift 0.1 a step, noise 1: value, variance before it, gain,
/// bias, variance after it. Worked apart from this project's code; printed digits.
const KALMAN: &[(f64, f64, f64, f64, f64)] = &[
    (1.5, 1.10000, 0.52381, 0.78571, 0.52381),
    (2.0, 0.62381, 0.38416, 1.25220, 0.38416),
    (0.8, 0.48416, 0.32622, 1.10468, 0.32622),
    (1.2, 0.42622, 0.29885, 1.13317, 0.29885),
    (1.7, 0.39885, 0.28513, 1.29479, 0.28513),
];

#[test]
fn an_unbounded_pull_is_the_kalman_filter() {
    let mut state = State { mean: [0.0; 2], covariance: [[1.0, 0.0], [0.0, 0.0]] };
    for (value, before, gain, bias, after) in KALMAN {
        let mut drifted = state;
        drifted.covariance[0][0] += 0.1;
        check("variance before", drifted.covariance[0][0], *before, 5.1e-6);
        state = drifted.updated(Kelvins(*value), [1.0, 0.0], 1.0, Pull::with_corner(f64::INFINITY));
        check("gain", (state.mean[0] - drifted.mean[0]) / (value - drifted.mean[0]), *gain, 5.1e-6);
        check("bias", state.mean[0], *bias, 5.1e-6);
        check("variance after", state.covariance[0][0], *after, 5.1e-6);
    }
}

/// Ensemble model output statistics (Gneiting et al. 2005) with a 0.5, b 0.95, c 1.2, d 0.8 on a forecast of 1.0 with
/// variance 1.5: mean, standard deviation, chances below 0 and -2, CRPS at -1. Worked apart from this project's code.
/// Here `b` is 1, so `a + b X` at this forecast is a shift of 0.45.
#[test]
fn a_corrected_forecast_is_that_of_model_output_statistics() {
    let shift = Figure { mean: Kelvins(0.5 + 0.95 - 1.0), spread: Kelvins(1.2f64.sqrt()) };
    let correction = Correction { shift, factor: 0.8f64.sqrt() };
    let corrected = correction.apply(Estimate { mean: Celsius(1.0), spread: Kelvins(1.5f64.sqrt()) });
    check("mean", corrected.mean.0, 1.4500, 5.1e-5);
    check("standard deviation", corrected.spread.0, 1.5492, 5.1e-5);
    check("below 0", corrected.chance_below(Celsius(0.0)).0, 0.17464, 5.1e-6);
    check("below -2", corrected.chance_below(Celsius(-2.0)).0, 0.01297, 5.1e-6);
    check("CRPS", of_normal(corrected, Celsius(-1.0)).0, 1.65118, 5.1e-6);
}
