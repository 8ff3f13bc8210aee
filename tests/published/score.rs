//! Scores of predicted nights: CRPS, Brier score, relative value.

use super::check;
use counterpane::night::Estimate;
use counterpane::score::brier::{Issued, brier, parts, skill};
use counterpane::score::crps::{of_mixture, of_normal};
use counterpane::score::expense::relative_value;
use counterpane::units::{Celsius, Kelvins, Probability};

fn estimate(mean: f64, spread: f64) -> Estimate {
    Estimate { mean: Celsius(mean), spread: Kelvins(spread) }
}

/// Mean, standard deviation, observed, CRPS: scoringrules 0.10.0 and properscoring 0.1 agree on them to 1e-15; ten
/// digits. `dose.rs` has the chances at or below 0 of the same rows.
const CRPS_OF_NORMAL: &[(f64, f64, f64, f64)] = &[
    (1.0, 1.1, 0.84, 0.2663326151),
    (1.9, 0.89, 2.03, 0.2155505104),
    (0.18, 2.57, 0.39, 0.6074379484),
    (-1.67, 0.46, -2.4, 0.4925217349),
    (-0.36, 0.43, -0.32, 0.1019722071),
    (-1.97, 2.21, 1.93, 2.722066229),
    (1.18, 2.02, -2.88, 2.953740096),
    (5.02, 3.69, 9.14, 2.528219513),
    (-0.48, 2.63, -0.07, 0.6400652085),
    (-0.86, 2.2, -2.69, 1.088674718),
    (2.47, 2.14, 8.04, 4.368843993),
    (2.07, 1.22, 3.28, 0.7281714492),
    (1.32, 0.34, 0.79, 0.3555798208),
    (-1.79, 1.01, -1.69, 0.239978627),
    (0.91, 2.86, 3.05, 1.278961468),
    (3.09, 1.04, 2.83, 0.2688398054),
    (-3.03, 1.67, -1.55, 0.881794794),
    (-0.37, 0.31, -0.4, 0.0736027594),
    (-4.7, 3.37, -4.7, 0.7875520733),
    (-2.87, 0.87, 4.09, 6.469155062),
];

#[test]
fn the_score_of_a_normal_agrees_with_scoringrules() {
    for (mean, spread, observed, expected) in CRPS_OF_NORMAL {
        let found = of_normal(estimate(*mean, *spread), Celsius(*observed));
        check(&format!("{mean} +- {spread}, {observed}"), found.0, *expected, 1e-8);
    }
}

/// properscoring 0.1, seven digits.
#[test]
fn the_score_of_a_normal_agrees_with_properscoring() {
    for (mean, spread, observed, expected) in [
        (0.0, 1.0, 0.0, 0.2336950),
        (0.0, 1.0, 1.0, 0.6024414),
        (1.5, 2.0, -1.0, 1.5739683),
        (-2.0, 1.8, -3.5, 0.8923564),
    ] {
        let found = of_normal(estimate(mean, spread), Celsius(observed));
        check(&format!("{mean} +- {spread}, {observed}"), found.0, expected, 5e-8);
    }
}

type Mixture = (f64, (f64, f64), (f64, f64), f64, f64);

/// Weight of the first; mean and standard deviation of both; observed; CRPS: scoringrules 0.10.0, `crps_mixnorm`.
const CRPS_OF_MIXTURE: &[Mixture] = &[
    (0.3, (-4.0, 1.2), (1.0, 2.0), -3.5, 1.8042253421),
    (0.5, (0.0, 1.0), (0.0, 1.0), 1.0, 0.6024413576),
    (0.5, (-6.0, 0.8), (-1.0, 1.5), -3.5, 0.9551268178),
    (0.8, (-2.5, 1.8), (2.0, 2.5), 4.0, 4.2623749074),
    (0.9, (1.5, 2.0), (-2.0, 1.8), -1.0, 1.3361851928),
];

#[test]
fn the_score_of_a_mixture_agrees_with_scoringrules() {
    for (weight, first, second, observed, expected) in CRPS_OF_MIXTURE {
        let found = of_mixture(*weight, estimate(first.0, first.1), estimate(second.0, second.1), Celsius(*observed));
        check(&format!("{weight} {first:?} {second:?} {observed}"), found.0, *expected, 1e-9);
    }
}

fn issued(rows: &[(f64, &[u8])]) -> Vec<Issued> {
    let one = |chance: f64, came: &u8| Issued { chance: Probability(chance), came: *came == 1 };
    rows.iter().flat_map(|(chance, outcomes)| outcomes.iter().map(|came| one(*chance, came))).collect()
}

/// Worked apart from this project's code, after Murphy 1973: seven digits.
#[test]
fn the_parts_of_the_brier_score_agree_with_the_worked_sets() {
    let reliable = issued(&[(0.0, &[0, 0]), (0.2, &[0, 0, 1, 0, 0]), (0.8, &[1, 1, 0, 1, 1]), (1.0, &[1, 1])]);
    let bold = issued(&[(0.1, &[0, 0, 1]), (0.5, &[0, 1]), (0.9, &[1, 1, 0])]);
    for (set, score, reliability, resolution) in
        [(&reliable, 0.1142857, 0.0, 0.1357143), (&bold, 0.27, 0.0408333, 0.0208333)]
    {
        let parts = parts(set).expect("a set");
        check("score", brier(set).expect("a set"), score, 5.1e-8);
        check("reliability", parts.reliability, reliability, 5.1e-8);
        check("resolution", parts.resolution, resolution, 5.1e-8);
        check("uncertainty", parts.uncertainty, 0.25, 1e-12);
    }
    check("skill", skill(&reliable).expect("a set"), 0.5428571, 5.1e-8);
}

/// Hit rate, false-alarm rate, base rate, cost-loss ratio, value: worked apart from this project's code from the formula
/// of the forecast verification pages at cawcr.gov.au; five digits.
#[test]
fn relative_value_agrees_with_the_worked_rows() {
    for (hit_rate, false_alarm_rate, base_rate, cost_loss, expected) in [
        (0.8, 0.1, 0.1, 0.10, 0.7000),
        (0.8, 0.1, 0.1, 0.05, 0.47778),
        (0.8, 0.1, 0.1, 0.30, 0.41429),
        (0.9, 0.2, 0.3, 0.30, 0.7000),
        (0.7, 0.05, 0.2, 0.25, 0.63333),
    ] {
        let found = relative_value(hit_rate, false_alarm_rate, base_rate, cost_loss).expect("a value");
        check(&format!("{hit_rate} {false_alarm_rate} {base_rate} {cost_loss}"), found, expected, 5.1e-6);
        // Where always or never is perfect there is nothing to save.
        assert_eq!(relative_value(hit_rate, false_alarm_rate, 0.0, cost_loss), None);
        assert_eq!(relative_value(hit_rate, false_alarm_rate, base_rate, 1.0), None);
    }
}
