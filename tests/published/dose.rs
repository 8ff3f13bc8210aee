//! Damage from temperature.

use super::check;
use counterpane::night::dose::{DamageCurve, normal_cdf};
use counterpane::units::{Celsius, Kelvins, Probability};

/// Mean, standard deviation, chance of a normal value at or below 0; beside CRPS values that agree with scoringrules
/// 0.10.0 and properscoring 0.1. Ten digits.
const AT_OR_BELOW_ZERO: &[(f64, f64, f64)] = &[
    (1.0, 1.1, 0.1816510704),
    (1.9, 0.89, 0.01638738974),
    (0.18, 2.57, 0.4720813448),
    (-1.67, 0.46, 0.9998585279),
    (-0.36, 0.43, 0.7987625352),
    (-1.97, 2.21, 0.8136434191),
    (1.18, 2.02, 0.279556868),
    (5.02, 3.69, 0.08684637522),
    (-0.48, 2.63, 0.5724085524),
    (-0.86, 2.2, 0.652067783),
    (2.47, 2.14, 0.1242079421),
    (2.07, 1.22, 0.04487468079),
    (1.32, 0.34, 5.172528984e-05),
    (-1.79, 1.01, 0.9618257253),
    (0.91, 2.86, 0.3751735118),
    (3.09, 1.04, 0.001483415588),
    (-3.03, 1.67, 0.9651897061),
    (-0.37, 0.31, 0.8836726631),
    (-4.7, 3.37, 0.9184406158),
    (-2.87, 0.87, 0.9995145921),
];

#[test]
fn the_normal_distribution_agrees_with_the_scoring_rows() {
    for (mean, spread, expected) in AT_OR_BELOW_ZERO {
        check(&format!("{mean} +- {spread}"), normal_cdf(-mean / spread).0, *expected, 1e-8);
    }
}

/// Damage from -2.2 to -3.9 °C; worked apart from this project's code.
#[test]
fn the_curves_agree_with_the_worked_case() {
    let Ok(curve) = DamageCurve::new(Celsius(-2.2), Celsius(-3.9)) else { panic!("refused") };
    check("LT50", curve.lt50().0, -3.05, 1e-12);
    check("spread", curve.tolerance_spread().0, 0.66326, 5e-6);
    for (tissue, logistic) in [(-3.0, 0.46773), (-2.2, 0.10000), (-5.0, 0.99357)] {
        check(&format!("logistic, {tissue} C"), curve.logistic(Celsius(tissue)).0, logistic, 5.1e-6);
    }
    check("probit, -3 C", curve.probit(Celsius(-3.0)).0, 0.46995, 5.1e-6);
    let Probability(expected) = curve.expected(Celsius(-2.5), Kelvins(1.5));
    check("expected, closed form", expected, 0.36868, 5.1e-6);
    check("expected, logistic by quadrature", expected, 0.36938, 0.001);
}
