//! How good were we: predicted nights beside what was then observed, as errors, as chances that came true or not, and
//! as what acting on them would have cost.
//!
//! ```text
//! nights scored -> errors      how far off, and whether the spread was honest
//!               -> issued      a chance and whether it came: Brier score, reliability
//!               -> decisions   what each rule would have covered, missed and spent
//!               -> table       all of it as text
//! ```
//!
//! A number that is not one is never good news: it spoils a mean, and a rule acts on it.

pub mod brier;
pub mod crps;
pub mod errors;
pub mod expense;
pub(crate) mod resample;
pub mod table;

use crate::night::Estimate;
use crate::units::{Celsius, Kelvins, Probability};
use crate::zone::NightOf;
use brier::Issued;

/// The lows that a night is scored at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Threshold {
    Zero,
    MinusTwo,
    MinusFour,
}

impl Threshold {
    pub const ALL: [Threshold; 3] = [Threshold::Zero, Threshold::MinusTwo, Threshold::MinusFour];

    /// The temperature: a night that is as cold or colder counts.
    pub fn celsius(self) -> Celsius {
        match self {
            Threshold::Zero => Celsius(0.0),
            Threshold::MinusTwo => Celsius(-2.0),
            Threshold::MinusFour => Celsius(-4.0),
        }
    }
}

/// One night that was predicted and then observed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scored {
    pub night: NightOf,
    /// The minimum as it was predicted.
    pub predicted: Estimate,
    /// The minimum as it was.
    pub observed: Celsius,
    /// Chances of a minimum at or below the thresholds, in the order of [`Threshold::ALL`]. They stand here, and are not
    /// worked out of `predicted`, because what was predicted need not be normal.
    pub chances: [Probability; 3],
    /// Predicted chance of a minimum at or below the one observed, 0 to 1. Over many honest nights it takes every value
    /// equally often (probability integral transform).
    pub share_below: f64,
    /// Continuous ranked probability score of the night, see [`crps`].
    pub crps: Kelvins,
    /// Whether the night turned out clear and calm; known only afterwards, and not everywhere.
    pub clear_calm: Option<bool>,
    /// Nights of one number share their weather and are resampled together: [`month_of`], or the months of one station.
    pub block: u32,
}

impl Scored {
    /// A night whose minimum was predicted as a normal distribution.
    pub fn normal(
        night: NightOf,
        predicted: Estimate,
        observed: Celsius,
        clear_calm: Option<bool>,
        block: u32,
    ) -> Scored {
        Scored {
            night,
            predicted,
            observed,
            chances: Threshold::ALL.map(|threshold| predicted.chance_below(threshold.celsius())),
            share_below: predicted.chance_below(observed).0,
            crps: crps::of_normal(predicted, observed),
            clear_calm,
            block,
        }
    }

    /// The chance given of a minimum at or below a threshold.
    pub fn chance(&self, threshold: Threshold) -> Probability {
        let [zero, minus_two, minus_four] = self.chances;
        match threshold {
            Threshold::Zero => zero,
            Threshold::MinusTwo => minus_two,
            Threshold::MinusFour => minus_four,
        }
    }

    /// Whether the night was as cold as a threshold, or colder.
    pub fn came(&self, threshold: Threshold) -> bool {
        self.observed <= threshold.celsius()
    }

    /// The chance given, and whether it came.
    pub fn issued(&self, threshold: Threshold) -> Issued {
        Issued { chance: self.chance(threshold), came: self.came(threshold) }
    }
}

/// A number for the calendar month of a night, by the date of its evening: consecutive months are consecutive numbers.
pub fn month_of(night: NightOf) -> u32 {
    use chrono::Datelike;
    let NightOf(date) = night;
    u32::try_from(date.year()).unwrap_or(0) * 12 + date.month0()
}

#[cfg(test)]
mod sample;
