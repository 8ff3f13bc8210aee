//! A night's low as a distribution.

use crate::night::Estimate;
use crate::night::dose::normal_cdf;
use crate::units::{Celsius, Kelvins, Probability};

/// The form of what an evening leaves open: two normal distributions, an ordinary one and one of nights that turn much
/// colder, together of mean 0 and variance 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shape {
    /// Part of the nights that are ordinary, 0 to 1.
    pub ordinary: f64,
    /// Mean and standard deviation of the ordinary part.
    pub first: (f64, f64),
    /// Of the other.
    pub second: (f64, f64),
}

impl Shape {
    /// The standard normal distribution.
    pub const NORMAL: Shape = Shape { ordinary: 1.0, first: (0.0, 1.0), second: (0.0, 1.0) };

    /// The chance of a value at or below `z`.
    pub fn cdf(&self, z: f64) -> f64 {
        let part = |(mean, deviation): (f64, f64)| normal_cdf((z - mean) / deviation).0;
        self.ordinary * part(self.first) + (1.0 - self.ordinary) * part(self.second)
    }

    /// The value below which half of it lies.
    pub fn median(&self) -> f64 {
        let (mut low, mut high) = (-4.0, 4.0);
        for _ in 0..52 {
            let middle = (low + high) / 2.0;
            if self.cdf(middle) < 0.5 { low = middle } else { high = middle }
        }
        (low + high) / 2.0
    }
}

/// A night's low as far as an evening shows it: a distribution that ends where the thermometer has already been.
///
/// ```text
/// P(T_n <= t) = F((t - m) / s) for t < c,    1 for t >= c
/// ```
///
/// | symbol | meaning                                | unit | accepted range |
/// |--------|----------------------------------------|------|----------------|
/// | `m`    | mean of what is still to come          | °C   |                |
/// | `s`    | its standard deviation                 | K    | above 0        |
/// | `F`    | its [`Shape`]                          | -    |                |
/// | `c`    | the lowest that has been since sunset  | °C   |                |
///
/// **Method error.** None of its own: the low of a night is the lower of what has been and what comes.
/// **Refuses.** Nothing; NaN comes back as NaN.
/// **Source.** Definition of the minimum; a normal mixture.
/// **Check.** With the standard normal shape, P(T <= 0) of N(1.5, 2²) is Phi(-0.75) = 0.226627 (scipy 1.17.1):
///
/// ```
/// # use counterpane::{night::dusk::{Low, Shape}, units::{Celsius, Kelvins}};
/// let low = Low { mean: Celsius(1.5), spread: Kelvins(2.0), shape: Shape::NORMAL, lowest_so_far: Celsius(9.0) };
/// assert!((low.chance_at_or_below(Celsius(0.0)).0 - 0.226627).abs() < 1e-6);
/// assert_eq!(low.chance_at_or_below(Celsius(9.0)).0, 1.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Low {
    pub mean: Celsius,
    pub spread: Kelvins,
    pub shape: Shape,
    pub lowest_so_far: Celsius,
}

impl Low {
    pub fn chance_at_or_below(&self, threshold: Celsius) -> Probability {
        if threshold >= self.lowest_so_far {
            return Probability(1.0);
        }
        Probability(self.shape.cdf((threshold - self.mean).0 / self.spread.0))
    }

    /// As likely above as below.
    pub fn median(&self) -> Celsius {
        (self.mean + Kelvins(self.shape.median() * self.spread.0)).min(self.lowest_so_far)
    }

    /// The part of the distribution at or below a value as if nothing had been yet: even over 0 to 1 where the
    /// distribution is right.
    pub fn share_at_or_below(&self, value: Celsius) -> f64 {
        self.shape.cdf((value - self.mean).0 / self.spread.0)
    }

    /// The ordinary part of what is still to come, the part it makes, and the other.
    pub fn parts(&self) -> (f64, Estimate, Estimate) {
        let part = |(mean, deviation): (f64, f64)| Estimate {
            mean: self.mean + Kelvins(mean * self.spread.0),
            spread: Kelvins(deviation * self.spread.0),
        };
        (self.shape.ordinary, part(self.shape.first), part(self.shape.second))
    }

    /// Mean and standard deviation, for whoever reckons with a normal distribution: by summing the chances below the cut.
    pub fn estimate(&self) -> Estimate {
        // E[min(X, c)] = c - integral of P(X <= t) up to c; E of its square likewise.
        const STEPS: u32 = 400;
        let cut = self.lowest_so_far.0.min(self.mean.0 + 6.0 * self.spread.0);
        let from = self.mean.0 - 8.0 * self.spread.0;
        let some_may_come = cut > from;
        if !some_may_come {
            // All that was thought to come has been undercut already.
            return Estimate { mean: self.lowest_so_far, spread: self.spread };
        }
        let step = (cut - from) / f64::from(STEPS);
        let (mut first, mut second) = (0.0, 0.0);
        for index in 0..STEPS {
            let t = from + step * (f64::from(index) + 0.5);
            let chance = self.share_at_or_below(Celsius(t));
            first += chance * step;
            second += 2.0 * (cut - t) * chance * step;
        }
        let variance = (second - first * first).max(0.0);
        Estimate { mean: Celsius(cut - first), spread: Kelvins(variance.sqrt()) }
    }
}
