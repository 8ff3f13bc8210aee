//! Nights for the tests of this room.

use super::resample::Generator;
use super::{Scored, month_of};
use crate::night::Estimate;
use crate::units::{Celsius, Kelvins};
use crate::zone::NightOf;
use chrono::{Days, NaiveDate};

/// The n-th night after 1 October 2024.
pub(super) fn night(n: u64) -> NightOf {
    let first = NaiveDate::from_ymd_opt(2024, 10, 1).expect("a date");
    NightOf(first.checked_add_days(Days::new(n)).expect("a date"))
}

pub(super) fn scored(mean: f64, spread: f64, observed: f64) -> Scored {
    let predicted = Estimate { mean: Celsius(mean), spread: Kelvins(spread) };
    Scored::normal(night(0), predicted, Celsius(observed), None, 0)
}

/// Nights of which each is a draw from its own prediction; the predictions have a mean of 0 and a spread of 4 K
/// themselves.
pub(super) fn nights(count: u64, spread: f64, seed: u64) -> Vec<Scored> {
    let mut generator = Generator::new(seed);
    (0..count)
        .map(|n| {
            let mean = 4.0 * generator.normal();
            let predicted = Estimate { mean: Celsius(mean), spread: Kelvins(spread) };
            let clear_calm = [Some(true), Some(false), None][(n % 3) as usize];
            let observed = Celsius(mean + spread * generator.normal());
            Scored::normal(night(n), predicted, observed, clear_calm, month_of(night(n)))
        })
        .collect()
}
