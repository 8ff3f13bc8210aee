//! How far off predictions were, and whether their spread was honest.

use super::Scored;
use crate::units::Kelvins;

/// Errors over some nights.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Errors {
    pub nights: usize,
    /// Mean of predicted less observed: positive is too warm.
    pub bias: Kelvins,
    pub mean_absolute: Kelvins,
    pub root_mean_square: Kelvins,
    /// Mean continuous ranked probability score, see [`super::crps`].
    pub crps: Kelvins,
    /// Share of nights inside the central 80 % of what was predicted, from [`Scored::share_below`]; of an honest spread
    /// 0.8.
    pub in_central_80: f64,
}

/// The errors of some nights, or `None` of none. A night that holds no number makes all its means NaN.
///
/// ```
/// # use counterpane::{night::Estimate, score::{Scored, errors::errors}, units::{Celsius, Kelvins}, zone::NightOf};
/// # let night = NightOf(chrono::NaiveDate::default());
/// let scored = |mean, observed| {
///     Scored::normal(night, Estimate { mean: Celsius(mean), spread: Kelvins(1.0) }, Celsius(observed), None, 0)
/// };
/// let Some(errors) = errors(&[scored(1.0, 0.0), scored(-2.0, 0.0)]) else { return };
/// assert_eq!((errors.bias, errors.mean_absolute), (Kelvins(-0.5), Kelvins(1.5)));
/// assert_eq!((errors.root_mean_square.0, errors.in_central_80), (2.5_f64.sqrt(), 0.5));
/// ```
pub fn errors<'a>(nights: impl IntoIterator<Item = &'a Scored>) -> Option<Errors> {
    let nights: Vec<&Scored> = nights.into_iter().collect();
    let n = nights.len() as f64;
    let mean = |of: fn(&Scored) -> f64| nights.iter().map(|night| of(night)).sum::<f64>() / n;
    let error = |night: &Scored| (night.predicted.mean - night.observed).0;
    // What has no place in its distribution is not inside it.
    let is_central = |night: &Scored| if (0.1..=0.9).contains(&night.share_below) { 1.0 } else { 0.0 };
    (!nights.is_empty()).then(|| Errors {
        nights: nights.len(),
        bias: Kelvins(mean(error)),
        mean_absolute: Kelvins(mean(|night| (night.predicted.mean - night.observed).0.abs())),
        root_mean_square: Kelvins(mean(|night| (night.predicted.mean - night.observed).0.powi(2)).sqrt()),
        crps: Kelvins(mean(|night| night.crps.0)),
        in_central_80: mean(is_central),
    })
}

#[cfg(test)]
mod tests {
    use super::super::sample::{nights, scored};
    use super::*;

    #[test]
    fn of_no_nights_there_is_no_error_and_of_an_unknown_one_no_mean() {
        assert_eq!(errors(&[]), None);
        let spoilt = errors(&[scored(1.0, 1.0, 0.0), scored(f64::NAN, 1.0, 0.0)]).expect("two nights");
        assert!(spoilt.bias.0.is_nan() && spoilt.mean_absolute.0.is_nan() && spoilt.crps.0.is_nan());
        assert_eq!((spoilt.nights, spoilt.in_central_80), (2, 0.5));
    }

    /// Nights drawn from what was predicted: 80 % of them lie in the central 80 %, the mean absolute error is
    /// s sqrt(2/pi) and the mean score s / sqrt(pi).
    #[test]
    fn honest_predictions_score_as_theory_says() {
        let found = errors(&nights(20_000, 2.0, 1)).expect("nights");
        assert!(found.bias.0.abs() < 0.06, "{found:?}");
        assert!((found.in_central_80 - 0.8).abs() < 0.012, "{found:?}");
        assert!((found.mean_absolute.0 - 2.0 * (2.0 / std::f64::consts::PI).sqrt()).abs() < 0.04, "{found:?}");
        assert!((found.root_mean_square.0 - 2.0).abs() < 0.04, "{found:?}");
        assert!((found.crps.0 - 2.0 / std::f64::consts::PI.sqrt()).abs() < 0.03, "{found:?}");
    }
}
