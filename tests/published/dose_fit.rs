//! The damage curve fitted to counts, against the fits of another library.
//!
//! A dose is a cold here: its negative stands for the temperature. The curve goes by the temperatures of 10 and 90 %
//! harm; from a fit of these follow intercept, slope, their errors and the dose of half harm.

use super::check;
use counterpane::night::dose::DamageCurve;
use counterpane::units::Celsius;

/// Dose, number exposed, number killed.
type Counts = &'static [(f64, f64, f64)];

/// Beetles in carbon disulphide, log10 mg/l (C. I. Bliss, 1935, The Calculation of the Dosage-Mortality Curve, Ann. Appl.
/// Biol. 22, 134-167; from memory, as in A. J. Dobson, An Introduction to Generalized Linear Models, Table 7.2).
const BEETLES: Counts = &[
    (1.6907, 59.0, 6.0),
    (1.7242, 60.0, 13.0),
    (1.7552, 62.0, 18.0),
    (1.7842, 56.0, 28.0),
    (1.8113, 63.0, 52.0),
    (1.8369, 59.0, 53.0),
    (1.861, 62.0, 61.0),
    (1.8839, 60.0, 60.0),
];

/// Tobacco budworm moths in a pyrethroid, log2 of the dose, males and females (from memory, as in W. N. Venables and
/// B. D. Ripley, Modern Applied Statistics with S, section 7.2).
const BUDWORM_MALES: Counts =
    &[(0.0, 20.0, 1.0), (1.0, 20.0, 4.0), (2.0, 20.0, 9.0), (3.0, 20.0, 13.0), (4.0, 20.0, 18.0), (5.0, 20.0, 20.0)];
const BUDWORM_FEMALES: Counts =
    &[(0.0, 20.0, 0.0), (1.0, 20.0, 2.0), (2.0, 20.0, 6.0), (3.0, 20.0, 10.0), (4.0, 20.0, 12.0), (5.0, 20.0, 16.0)];

#[derive(Clone, Copy, Debug, PartialEq)]
enum Form {
    Logit,
    Probit,
}

struct Fit {
    counts: Counts,
    form: Form,
    /// Intercept, its standard error, slope, its standard error, covariance.
    coefficients: [f64; 5],
    deviance: f64,
    log_likelihood: f64,
    /// Dose of half harm, its standard error, 95 % intervals by the delta method and by Fieller's theorem.
    half: [f64; 6],
    tenth: f64,
    nine_tenths: f64,
}

/// statsmodels 0.15.0 and scipy 1.17.1, eight digits.
const FITS: &[Fit] = &[
    Fit {
        counts: BEETLES,
        form: Form::Logit,
        coefficients: [-60.717455, 5.1807115, 34.270326, 2.9121401, -15.082151],
        deviance: 11.232231,
        log_likelihood: -18.715135,
        half: [1.771721, 0.0038580553, 1.7641593, 1.7792826, 1.7638582, 1.7792005],
        tenth: 1.7076065,
        nine_tenths: 1.8358355,
    },
    Fit {
        counts: BUDWORM_FEMALES,
        form: Form::Logit,
        coefficients: [-2.9935418, 0.55269976, 0.90603644, 0.16710166, -0.083940915],
        deviance: 3.1127572,
        log_likelihood: -9.4380885,
        half: [3.3039971, 0.26028362, 2.7938506, 3.8141436, 2.7997915, 3.8977368],
        tenth: 0.87890194,
        nine_tenths: 5.7290923,
    },
    Fit {
        counts: BUDWORM_MALES,
        form: Form::Logit,
        coefficients: [-2.818555, 0.54798682, 1.2589494, 0.2120655, -0.10267712],
        deviance: 1.8809701,
        log_likelihood: -8.1139756,
        half: [2.2388151, 0.20398708, 1.8390078, 2.6386224, 1.8098006, 2.6569834],
        tenth: 0.49353086,
        nine_tenths: 3.9840993,
    },
    Fit {
        counts: BEETLES,
        form: Form::Probit,
        coefficients: [-34.935259, 2.6479178, 19.727934, 1.487235, -3.9365438],
        deviance: 10.119758,
        log_likelihood: -18.158898,
        half: [1.7708524, 0.0038033368, 1.763398, 1.7783068, 1.7631143, 1.7781938],
        tenth: 1.7058911,
        nine_tenths: 1.8358136,
    },
    Fit {
        counts: BUDWORM_FEMALES,
        form: Form::Probit,
        coefficients: [-1.8007156, 0.29832443, 0.54523169, 0.091384972, -0.024326749],
        deviance: 2.4711475,
        log_likelihood: -9.1172836,
        half: [3.3026612, 0.25547723, 2.8019351, 3.8033874, 2.8175633, 3.8820434],
        tenth: 0.95218968,
        nine_tenths: 5.6531328,
    },
    Fit {
        counts: BUDWORM_MALES,
        form: Form::Probit,
        coefficients: [-1.645923, 0.29043928, 0.73688651, 0.10945841, -0.027483997],
        deviance: 1.296815,
        log_likelihood: -7.8218981,
        half: [2.233618, 0.1982981, 1.8449608, 2.6222751, 1.8217378, 2.6343256],
        tenth: 0.49447423,
        nine_tenths: 3.9727617,
    },
];

/// Half of the distance from 10 to 90 %, in units of the form: `ln 9` and the probit of 90 %.
fn half_width(form: Form) -> f64 {
    match form {
        Form::Logit => 9.0f64.ln(),
        Form::Probit => 1.281_551_565_544_600_4,
    }
}

/// The share killed at a dose, by the project's curve; `at` is intercept and slope.
fn share(form: Form, at: [f64; 2], dose: f64) -> f64 {
    let [intercept, slope] = at;
    let of = |deviate: f64| Celsius(-(deviate - intercept) / slope);
    let curve = DamageCurve::new(of(-half_width(form)), of(half_width(form))).expect("a curve");
    match form {
        Form::Logit => curve.logistic(Celsius(-dose)).0,
        Form::Probit => curve.probit(Celsius(-dose)).0,
    }
}

/// Slope of the log-likelihood over both coefficients and the expected information, by differences of the curve.
fn score_and_information(counts: Counts, form: Form, at: [f64; 2]) -> ([f64; 2], [f64; 3]) {
    let (mut score, mut information) = ([0.0; 2], [0.0; 3]);
    for (dose, exposed, killed) in counts {
        let expected = share(form, at, *dose);
        // The share depends on intercept + slope * dose alone.
        let h = 1e-5;
        let slope = (share(form, [at[0] + h, at[1]], *dose) - share(form, [at[0] - h, at[1]], *dose)) / (2.0 * h);
        let per_share = (killed - exposed * expected) / (expected * (1.0 - expected));
        let weight = exposed * slope * slope / (expected * (1.0 - expected));
        for (sum, power) in score.iter_mut().zip([1.0, *dose]) {
            *sum += per_share * slope * power;
        }
        for (sum, power) in information.iter_mut().zip([1.0, *dose, dose * dose]) {
            *sum += weight * power;
        }
    }
    (score, information)
}

/// Inverse of a symmetric matrix given as its corner, its side and its last entry.
fn inverse([a, b, c]: [f64; 3]) -> [f64; 3] {
    let determinant = a * c - b * b;
    [c / determinant, -b / determinant, a / determinant]
}

/// Fisher's scoring from a flat start.
fn fit(counts: Counts, form: Form) -> ([f64; 2], [f64; 3]) {
    let doses = counts.iter().map(|(dose, _, _)| *dose);
    let middle = doses.clone().sum::<f64>() / counts.len() as f64;
    let slope = 2.0 / (doses.clone().fold(f64::MIN, f64::max) - doses.fold(f64::MAX, f64::min));
    let mut at = [-slope * middle, slope];
    for _ in 0..50 {
        let (score, information) = score_and_information(counts, form, at);
        let [a, b, c] = inverse(information);
        at = [at[0] + a * score[0] + b * score[1], at[1] + b * score[0] + c * score[1]];
    }
    (at, inverse(score_and_information(counts, form, at).1))
}

/// `n! / (k! (n-k)!)`, logarithm.
fn ways(n: f64, k: f64) -> f64 {
    let log_factorial = |n: f64| (1..=n as u32).map(|i| f64::from(i).ln()).sum::<f64>();
    log_factorial(n) - log_factorial(k) - log_factorial(n - k)
}

#[test]
fn the_damage_curve_fitted_to_counts_is_that_of_statsmodels() {
    for row in FITS {
        let ([b0, b1], [v0, v01, v1]) = fit(row.counts, row.form);
        for ((what, found), expected) in ["intercept", "error of intercept", "slope", "error of slope", "covariance"]
            .iter()
            .zip([b0, v0.sqrt(), b1, v1.sqrt(), v01])
            .zip(row.coefficients)
        {
            let tolerance = if what.starts_with("error") || *what == "covariance" { 1e-3 } else { 1e-4 };
            check(&format!("{:?}, {what}", row.form), found, expected, tolerance);
        }
        let half = -b0 / b1;
        let error = (v0 + 2.0 * half * v01 + half * half * v1).sqrt() / b1;
        let z = 1.959_963_984_540_054;
        // Fieller: the doses at which intercept + slope * dose lies within z of its own error from 0.
        let (a, b, c) = (b1 * b1 - z * z * v1, b0 * b1 - z * z * v01, b0 * b0 - z * z * v0);
        let root = (b * b - a * c).sqrt();
        let found = [half, error, half - z * error, half + z * error, (-b - root) / a, (-b + root) / a];
        for (found, expected) in found.into_iter().zip(row.half) {
            check(&format!("{:?}, dose of half harm", row.form), found, expected, 1e-4);
        }
        for (sign, expected) in [(-1.0, row.tenth), (1.0, row.nine_tenths)] {
            check("doses of 10 and 90 %", half + sign * half_width(row.form) / b1, expected, 1e-4);
        }
        let log = |share: f64, count: f64| if count > 0.0 { count * share.ln() } else { 0.0 };
        let likelihood = |share: f64, n: f64, k: f64| log(share, k) + log(1.0 - share, n - k);
        let fitted = |(dose, n, k): &(f64, f64, f64)| likelihood(share(row.form, [b0, b1], *dose), *n, *k);
        let sum: f64 = row.counts.iter().map(fitted).sum();
        let full: f64 = row.counts.iter().map(|(_, n, k)| likelihood(k / n, *n, *k)).sum();
        check("deviance", 2.0 * (full - sum), row.deviance, 1e-3);
        let with_ways: f64 = sum + row.counts.iter().map(|(_, n, k)| ways(*n, *k)).sum::<f64>();
        check("log-likelihood", with_ways, row.log_likelihood, 1e-3);
    }
}

/// The same library's fitted counts of the logit fit to the beetles, two decimals.
#[test]
fn the_fitted_counts_are_those_of_statsmodels() {
    let (at, _) = fit(BEETLES, Form::Logit);
    let expected = [3.46, 9.84, 22.45, 33.90, 50.10, 53.29, 59.22, 58.74];
    for ((dose, exposed, _), expected) in BEETLES.iter().zip(expected) {
        check(&format!("killed at {dose}"), exposed * share(Form::Logit, at, *dose), expected, 0.0051);
    }
}
