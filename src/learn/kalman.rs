//! Two figures followed from night to night: what was known, one more value in which both show, what is known then.

use super::bounded::Pull;
use crate::units::Kelvins;

/// What is known of two figures.
///
/// ```text
/// K = P h/S^2,   x' = x + K S psi(v/S),   v = y - h x,   S^2 = h P h + R
/// P' = P - K K S^2 (2 a - b)                                      psi, a, b as in [`Pull`]
/// ```
///
/// | symbol     | meaning                                | unit | accepted range |
/// |------------|----------------------------------------|------|----------------|
/// | `x`, `P`   | figures and the covariances of their errors | K, K² | variances 0 and above |
/// | `h`        | how much of each shows in the value    | -    | any            |
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
/// let first = State { mean: [0.0; 2], covariance: [[1.1, 0.0], [0.0, 0.0]] };
/// let (mean, variance) = first.updated(Kelvins(1.5), [1.0, 0.0], 1.0, free).seen_by([1.0, 0.0]);
/// assert!((mean.0 - 1.5 * 1.1 / 2.1).abs() < 1e-12 && (variance - 1.1 / 2.1).abs() < 1e-12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// K.
    pub mean: [f64; 2],
    /// Of their errors, K².
    pub covariance: [[f64; 2]; 2],
}

/// How much of each figure shows in a value.
pub type Loading = [f64; 2];

fn product(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

impl State {
    /// What a value without an error of its own would be, and the variance of that, K².
    pub fn seen_by(self, loading: Loading) -> (Kelvins, f64) {
        (Kelvins(product(self.mean, loading)), product(self.with(loading), loading))
    }

    /// Covariance of each figure with what is seen so.
    fn with(self, loading: Loading) -> [f64; 2] {
        self.covariance.map(|row| product(row, loading))
    }

    /// What is known after one more value, `noise` being the variance of its error, K².
    pub fn updated(self, seen: Kelvins, loading: Loading, noise: f64, pull: Pull) -> State {
        let (expected, known) = self.seen_by(loading);
        let spread = (known + noise).sqrt();
        let gain = self.with(loading).map(|covariance| covariance / (spread * spread));
        let step = spread * pull.psi((seen.0 - expected.0) / spread);
        let a = pull.a();
        let less = spread * spread * (2.0 * a - pull.b_of(a));
        let [first, second] = self.covariance;
        let next = State {
            mean: [self.mean[0] + gain[0] * step, self.mean[1] + gain[1] * step],
            covariance: [
                [first[0] - less * gain[0] * gain[0], first[1] - less * gain[0] * gain[1]],
                [second[0] - less * gain[1] * gain[0], second[1] - less * gain[1] * gain[1]],
            ],
        };
        let is_sound = next.mean.iter().chain(next.covariance.as_flattened()).all(|number| number.is_finite());
        if is_sound { next } else { self }
    }

    /// What is known some time later: what was learned fades toward `first`, and `kept` of its distance is left, 0 to 1.
    pub(super) fn faded(self, first: State, kept: f64) -> State {
        let between = |first: [f64; 2], now: [f64; 2], kept: f64| {
            [first[0] + kept * (now[0] - first[0]), first[1] + kept * (now[1] - first[1])]
        };
        State {
            mean: between(first.mean, self.mean, kept),
            covariance: [
                between(first.covariance[0], self.covariance[0], kept * kept),
                between(first.covariance[1], self.covariance[1], kept * kept),
            ],
        }
    }

    /// The pull under which the next value moves what is seen by each of some loadings by at most so many kelvins.
    pub(super) fn pull_within(self, loading: Loading, noise: f64, most: &[(Loading, f64)]) -> Pull {
        let spread = (self.seen_by(loading).1 + noise).sqrt();
        let corner = most.iter().map(|(moved, most)| most * spread / product(self.with(loading), *moved).abs());
        Pull::of(corner.filter(|corner| !corner.is_nan()).fold(f64::INFINITY, f64::min), 0.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn alone(mean: f64, variance: f64) -> State {
        State { mean: [mean, 0.0], covariance: [[variance, 0.0], [0.0, 0.0]] }
    }

    const FIRST: Loading = [1.0, 0.0];

    #[test]
    fn what_is_no_number_teaches_nothing() {
        let state = alone(0.5, 1.0);
        let free = Pull::with_corner(f64::INFINITY);
        for (seen, noise) in [(f64::NAN, 1.0), (1.0, f64::NAN), (1.0, -2.0), (f64::INFINITY, 1.0)] {
            assert_eq!(state.updated(Kelvins(seen), FIRST, noise, free), state, "{seen} {noise}");
        }
    }

    /// Worked by hand: P the unit matrix, h (1, 0.5), R 0.75, y 2. S^2 = 2, K = (0.5, 0.25).
    #[test]
    fn a_value_in_which_two_figures_show_teaches_both() {
        let state = State { mean: [0.0; 2], covariance: [[1.0, 0.0], [0.0, 1.0]] };
        let next = state.updated(Kelvins(2.0), [1.0, 0.5], 0.75, Pull::with_corner(f64::INFINITY));
        let [first, second] = next.covariance;
        let found = [next.mean[0], next.mean[1], first[0], first[1], second[0], second[1]];
        for (found, by_hand) in found.iter().zip([1.0, 0.5, 0.5, -0.25, -0.25, 0.875]) {
            assert!((found - by_hand).abs() < 1e-12, "{next:?}");
        }
        // More is known of what was seen than of the whole of both.
        assert!((next.seen_by([1.0, 0.5]).1 - 0.46875).abs() < 1e-12);
        assert!((next.seen_by([1.0, 1.0]).1 - 0.875).abs() < 1e-12);
    }

    #[test]
    fn one_value_moves_no_farther_than_it_may() {
        let state = State { mean: [0.0; 2], covariance: [[1.0, 0.0], [0.0, 0.5]] };
        let most = [([1.0, 0.0], 0.5), ([1.0, 1.0], 0.6)];
        for (noise, seen) in [(0.01, 50.0), (1.0, -50.0), (4.0, 50.0)] {
            for loading in [[1.0, 0.0], [1.0, 0.5], [1.0, 1.0]] {
                let next = state.updated(Kelvins(seen), loading, noise, state.pull_within(loading, noise, &most));
                for (moved, most) in most {
                    assert!(next.seen_by(moved).0.0.abs() <= most + 1e-12, "{next:?}");
                    assert!(next.seen_by(moved).1 < state.seen_by(moved).1 && next.seen_by(moved).1 > 0.0);
                }
            }
        }
        let faded = alone(1.0, 0.2).faded(alone(0.0, 1.0), 0.5);
        assert_eq!(faded, alone(0.5, 1.0 - 0.25 * 0.8));
    }
}
