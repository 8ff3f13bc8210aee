//! How much a garden minds a loss, and how much the work against it.

use crate::units::Probability;
use crate::words::words;

/// What a manager chooses between: plants lost now and then, or people asked out for nothing now and then.
///
/// One value holds both numbers, so that they never part: from which chance of damage on people are asked, and what the
/// loss of a minute of worth counts against a minute of work. `replay --garden` shows what each choice would have meant.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Caution {
    /// Spares people: a loss counts half, and a bed stands the night below one chance in five.
    Sparing,
    /// The least of loss and work together, from one chance in ten on.
    #[default]
    Even,
    /// Spares plants: a loss counts twice, from one chance in twenty on.
    Careful,
}

words!(Caution { Sparing = "sparing", Even = "even", Careful = "careful" });

impl Caution {
    /// Below this chance of damage a bed stands the night: at [`Caution::Even`] one in ten such nights would show some
    /// damage. Assumed, all three.
    pub fn fine_below(self) -> Probability {
        Probability(match self {
            Caution::Sparing => 0.20,
            Caution::Even => 0.10,
            Caution::Careful => 0.05,
        })
    }

    /// What a minute of expected loss counts, in minutes of work. Assumed, but for the 1 of whoever wants the least of both
    /// together.
    pub fn loss_counts(self) -> f64 {
        match self {
            Caution::Sparing => 0.5,
            Caution::Even => 1.0,
            Caution::Careful => 2.0,
        }
    }
}
