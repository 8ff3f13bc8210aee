//! A figure followed from night to night: what was known, one more value, what is known then.

use super::bounded::Pull;
use crate::units::Kelvins;

/// What is known of a figure.
///
/// ```text
/// K = P/(P + R),   x' = x + K S psi(v/S),   v = y - x,   S^2 = P + R
/// P' = P - K P (2 a - b)                                          psi, a, b as in [`Pull`]
/// ```
///
/// | symbol     | meaning                                | unit | accepted range |
/// |------------|----------------------------------------|------|----------------|
/// | `x`, `P`   | figure and the variance of its error   | K, K² | P 0 and above |
/// | `y`, `R`   | value seen and the variance of its error | K, K² | R above 0    |
///
/// **Method error.** With an unbounded pull exact for normal errors; with a bounded one `P'` is exact for normal `v`,
/// which it is on the first night and nearly on later ones (`tests/learning.rs` holds the intervals against truth).
/// **Refuses.** A value or variance that is no number changes nothing.
/// **Source.** R. E. Kalman, 1960, A New Approach to Linear Filtering and Prediction Problems, J. Basic Eng. 82, 35-45,
/// for `a = b = 1`; a bounded pull gives the factor `2a - b`, because `E (Z - psi(Z))^2 = 1 - 2a + b`.
/// **Check.** `x` 0, `P` 1.1, `R` 1, `y` 1.5, worked by hand (more rows in `tests/published/learn.rs`):
///
/// ```
/// # use counterpane::{learn::{bounded::Pull, kalman::State}, units::Kelvins};
/// let free = Pull::with_corner(f64::INFINITY);
/// let next = State { mean: Kelvins(0.0), variance: 1.1 }.updated(Kelvins(1.5), 1.0, free);
/// assert!((next.mean.0 - 1.5 * 1.1 / 2.1).abs() < 1e-12 && (next.variance - 1.1 / 2.1).abs() < 1e-12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    pub mean: Kelvins,
    /// Of its error, K².
    pub variance: f64,
}

impl State {
    /// What is known after one more value, `noise` being the variance of its error, K².
    pub fn updated(self, seen: Kelvins, noise: f64, pull: Pull) -> State {
        let spread = (self.variance + noise).sqrt();
        let gain = self.variance / (self.variance + noise);
        let step = gain * spread * pull.psi((seen.0 - self.mean.0) / spread);
        let a = pull.a();
        let variance = self.variance * (1.0 - gain * (2.0 * a - pull.b_of(a)));
        if step.is_finite() && variance.is_finite() {
            State { mean: Kelvins(self.mean.0 + step), variance }
        } else {
            self
        }
    }

    /// What is known some time later: what was learned fades toward `first`, and `kept` of its distance is left, 0 to 1.
    pub(super) fn faded(self, first: State, kept: f64) -> State {
        State {
            mean: Kelvins(first.mean.0 + kept * (self.mean.0 - first.mean.0)),
            variance: first.variance + kept * kept * (self.variance - first.variance),
        }
    }

    /// The pull under which the next value moves the figure by at most `most`, in kelvins.
    pub(super) fn pull_within(self, noise: f64, most: f64) -> Pull {
        let per_spread = self.variance / (self.variance + noise).sqrt();
        Pull::of(most / per_spread, 0.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_number_teaches_nothing() {
        let state = State { mean: Kelvins(0.5), variance: 1.0 };
        let free = Pull::with_corner(f64::INFINITY);
        for (seen, noise) in [(f64::NAN, 1.0), (1.0, f64::NAN), (1.0, -2.0), (f64::INFINITY, 1.0)] {
            assert_eq!(state.updated(Kelvins(seen), noise, free), state, "{seen} {noise}");
        }
    }

    #[test]
    fn one_value_moves_no_farther_than_it_may() {
        let state = State { mean: Kelvins(0.0), variance: 1.0 };
        for (noise, seen) in [(0.01, 50.0), (1.0, -50.0), (4.0, 50.0)] {
            let next = state.updated(Kelvins(seen), noise, state.pull_within(noise, 0.5));
            assert!(next.mean.0.abs() <= 0.5 + 1e-12, "{next:?}");
            assert!(next.variance < 1.0 && next.variance > 0.0);
        }
        let faded = State { mean: Kelvins(1.0), variance: 0.2 }.faded(state, 0.5);
        assert_eq!((faded.mean, faded.variance), (Kelvins(0.5), 1.0 - 0.25 * 0.8));
    }
}
