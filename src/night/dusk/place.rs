//! How one place's nights follow from its evenings: what other places have taught, and what its own nights change in it.

use super::{Evening, Low, SPREAD_TERMS, TERMS, Taught};
use crate::units::{Celsius, Kelvins};

/// Nights that the spread of other places counts for (assumed: a fortnight of its own says as much of a place).
const NIGHTS_OF_OTHERS: f64 = 12.0;
/// Nights that the spread remembers at most, so that it follows a change of thermometer (assumed).
const LONGEST_MEMORY: f64 = 150.0;
/// Beyond this many standard deviations a night teaches less, in proportion: one odd reading must not turn the rest.
const ODD: f64 = 3.0;

/// The coefficients of one place and how well they are known.
///
/// ```text
/// v = x'Px + s^2,   K = P x / v,   b += K (y - x'b),   P -= K x'P         y = T_n - T_0
/// ```
///
/// | symbol | meaning                                             | unit |
/// |--------|-----------------------------------------------------|------|
/// | `x`    | the evening's [`Evening::terms`]                    | -    |
/// | `b`    | coefficients, at first those of other places        | K    |
/// | `P`    | their covariance, at first that between places      | K²   |
/// | `s`    | spread of a night whose coefficients were known     | K    |
/// | `y`    | the night's low less the air at dusk                | K    |
///
/// Beyond three standard deviations `v` is raised in proportion, so that one odd night moves no coefficient further than
/// one of three would.
///
/// **Method error.** Of coefficients that never change and normal errors, none: it is Bayes' rule, night by night
/// (`the_order_of_nights_does_not_matter`, against the fit of all nights at once).
/// **Refuses.** A night with a value that is not a number teaches nothing.
/// **Source.** Recursive least squares as a Kalman filter with a constant state (Kalman 1960; from memory).
/// **Check.** One coefficient, P 1, s 1, first error 1.5 K: K = 0.5, b = 0.75, P = 0.5 (by hand, in the tests).
#[derive(Clone, Debug)]
pub struct Place {
    taught: &'static Taught,
    coefficients: [f64; TERMS],
    covariance: [[f64; TERMS]; TERMS],
    /// Sum of squared errors in units of the widening, and the nights it stands for.
    squares: f64,
    weight: f64,
    nights: usize,
}

impl Place {
    /// A place of which nothing is known but what others have taught.
    pub fn new(taught: &'static Taught) -> Place {
        let mut covariance = [[0.0; TERMS]; TERMS];
        for (index, between) in taught.between.iter().enumerate() {
            covariance[index][index] = between * between;
        }
        Place {
            taught,
            coefficients: taught.mean,
            covariance,
            squares: taught.noise * taught.noise * NIGHTS_OF_OTHERS,
            weight: NIGHTS_OF_OTHERS,
            nights: 0,
        }
    }

    /// Nights of its own that took part.
    pub fn nights(&self) -> usize {
        self.nights
    }

    /// The low to expect after an evening.
    pub fn expect(&self, evening: &Evening) -> Low {
        let terms = evening.terms();
        let (variance, _) = self.variance(&terms, &evening.spread_terms());
        Low {
            mean: evening.air + Kelvins(dot(&self.coefficients, &terms)),
            spread: Kelvins(variance.sqrt()),
            shape: self.taught.shape,
            lowest_so_far: evening.lowest_so_far,
        }
    }

    /// The variance of a night, and of that the part that is not the coefficients'.
    fn variance(&self, terms: &[f64; TERMS], spread_terms: &[f64; SPREAD_TERMS]) -> (f64, f64) {
        let own = self.squares / self.weight * self.widening(spread_terms).powi(2);
        (dot(&self.toward(terms), terms) + own, own)
    }

    fn widening(&self, spread_terms: &[f64; SPREAD_TERMS]) -> f64 {
        let log: f64 = self.taught.widening.iter().zip(spread_terms).map(|(by, term)| by * term).sum();
        // A factor of four either way is more than any night has shown.
        log.clamp(-1.4, 1.4).exp()
    }

    /// P x.
    fn toward(&self, terms: &[f64; TERMS]) -> [f64; TERMS] {
        let mut out = [0.0; TERMS];
        for (value, row) in out.iter_mut().zip(&self.covariance) {
            *value = dot(row, terms);
        }
        out
    }

    /// Takes in how a night came out.
    pub fn learn(&mut self, evening: &Evening, low: Celsius) {
        let (terms, spread_terms) = (evening.terms(), evening.spread_terms());
        let (variance, own) = self.variance(&terms, &spread_terms);
        let error = (low - evening.air).0 - dot(&self.coefficients, &terms);
        if !(error.is_finite() && variance.is_finite() && variance > 0.0) {
            return;
        }
        let odd = (error.abs() / (ODD * variance.sqrt())).max(1.0);
        let toward = self.toward(&terms);
        for (index, part) in toward.iter().enumerate() {
            let gain = part / (variance * odd);
            self.coefficients[index] += gain * error;
            for (cell, other) in self.covariance[index].iter_mut().zip(&toward) {
                *cell -= gain * other;
            }
        }
        // Of an error's square, the part that the coefficients are not to blame for.
        let widening = self.widening(&spread_terms);
        self.squares += error * error / odd * (own / variance) / (widening * widening);
        self.weight += 1.0;
        let longest = NIGHTS_OF_OTHERS + LONGEST_MEMORY;
        if self.weight > longest {
            self.squares *= longest / self.weight;
            self.weight = longest;
        }
        self.nights += 1;
    }
}

fn dot(a: &[f64; TERMS], b: &[f64; TERMS]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::super::{ALL, Shape};
    use super::*;
    use chrono::DateTime;

    /// Only the first term counts, and the spread terms not at all.
    static ONE: Taught = Taught {
        mean: [0.0; TERMS],
        between: {
            let mut between = [0.0; TERMS];
            between[0] = 1.0;
            between
        },
        noise: 1.0,
        widening: [0.0; SPREAD_TERMS],
        shape: Shape::NORMAL,
        regression: [0.0; 4],
    };

    fn evening(air: f64, dew_point: f64, hours: f64) -> Evening {
        Evening { dew_point: Some(Celsius(dew_point)), ..Evening::of_air(Celsius(air), DateTime::UNIX_EPOCH, hours) }
    }

    #[test]
    fn the_first_night_moves_a_coefficient_by_its_gain() {
        let mut place = Place::new(&ONE);
        place.learn(&evening(5.0, 0.0, 13.0), Celsius(6.5));
        assert!((place.coefficients[0] - 0.75).abs() < 1e-12 && (place.covariance[0][0] - 0.5).abs() < 1e-12);
        assert_eq!(place.nights(), 1);
    }

    #[test]
    fn an_odd_night_moves_no_more_than_one_of_three_spreads() {
        let moved = |low: f64| {
            let mut place = Place::new(&ONE);
            place.learn(&evening(0.0, 0.0, 13.0), Celsius(low));
            place.coefficients[0]
        };
        let three_spreads = moved(3.0 * 2f64.sqrt());
        assert!((moved(30.0) - three_spreads).abs() < 1e-9 && (moved(60.0) - three_spreads).abs() < 1e-9);
        assert!(moved(3.0) < three_spreads);
    }

    #[test]
    fn a_night_that_is_no_number_teaches_nothing() {
        let mut place = Place::new(&ALL.evening);
        let before = place.expect(&evening(4.0, 0.0, 13.0));
        place.learn(&evening(4.0, 0.0, 13.0), Celsius(f64::NAN));
        place.learn(&evening(f64::NAN, 0.0, 13.0), Celsius(0.0));
        assert_eq!(place.expect(&evening(4.0, 0.0, 13.0)), before);
        assert_eq!(place.nights(), 0);
    }

    /// A place two kelvins colder than others, and noisier: both are found.
    #[test]
    fn a_place_is_learnt() {
        let mut place = Place::new(&ALL.evening);
        let elsewhere = Place::new(&ALL.evening);
        // Errors without pattern, of variance 9, from a fixed sequence (multiples of the golden ratio).
        for night in 0..150 {
            let share = (f64::from(night) * 0.618_033_988_75).fract();
            let evening = evening(6.0 * share, -3.0 + 2.0 * share, 13.0 + share);
            let error = (f64::from(night * 7) * 0.618_033_988_75).fract() - 0.5;
            let low = elsewhere.expect(&evening).mean - Kelvins(2.0) + Kelvins(error * 3.0 * 12f64.sqrt());
            place.learn(&evening, low);
        }
        let tonight = evening(3.0, -2.0, 13.5);
        let (own, others) = (place.expect(&tonight), elsewhere.expect(&tonight));
        assert!(((own.mean - others.mean).0 + 2.0).abs() < 0.5, "{:?} {:?}", own.mean, others.mean);
        assert!((own.spread.0 - 3.0).abs() < 0.5, "{:?}", own.spread);
    }

    #[test]
    fn the_order_of_nights_does_not_matter() {
        // With the noise known, Bayes' rule gives the same posterior whatever came first.
        let nights: Vec<(Evening, Celsius)> = (0..12)
            .map(|night| {
                let share = (f64::from(night) * 0.618_033_988_75).fract();
                (evening(8.0 * share, -4.0 + share, 12.0 + 2.0 * share), Celsius(8.0 * share - 3.0 - share))
            })
            .collect();
        let learnt = |nights: &mut dyn Iterator<Item = &(Evening, Celsius)>| {
            let mut place = Place::new(&ALL.evening);
            for (evening, low) in nights {
                place.squares = ALL.evening.noise.powi(2) * place.weight;
                place.learn(evening, *low);
            }
            place.expect(&evening(3.0, 0.0, 13.0)).mean.0
        };
        let (forward, backward) = (learnt(&mut nights.iter()), learnt(&mut nights.iter().rev()));
        assert!((forward - backward).abs() < 1e-6, "{forward} {backward}");
    }
}
