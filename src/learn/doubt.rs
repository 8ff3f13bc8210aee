//! What looks like a slip of hand or sensor is asked about before anything is learned from it.

use crate::night::Estimate;
use crate::units::{Celsius, READING};
use std::cmp::Ordering;

/// Why a report is asked about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Doubt {
    /// No number, or one outside its range.
    Unusable,
    /// A value that a common sensor shows when it has not measured.
    SensorError,
    /// Degrees Fahrenheit where Celsius belong: read so, it would be this.
    LooksLikeFahrenheit { would_be: Celsius },
    /// Degrees Celsius where Fahrenheit belong: read so, it would be this.
    LooksLikeCelsius { would_be: Celsius },
    /// So many standard deviations from what was to be expected.
    FarOff { spreads: f64 },
}

/// A report farther off than this is asked about, in standard deviations of what was to be expected: one honest report in
/// a million, were errors normal; some more because they are not (assumed).
pub const ASKED_FROM: f64 = 5.0;
/// Read in the other unit it must lie this close to count as swapped (assumed).
const SWAPPED_WITHIN: f64 = 3.0;
/// A DS18B20 shows +85 °C after power-on before it has measured (its data sheet, power-on reset value; from memory), and
/// a widespread library gives -127 where no sensor answers (from memory).
const SENSOR_ERRORS: [f64; 2] = [85.0, -127.0];
/// Nothing is expected more closely than a thermometer reads, K.
const LEAST_SPREAD: f64 = 0.5;

/// What is doubtful about a temperature, given what was to be expected of it; `None` where nothing is.
///
/// ```
/// # use counterpane::{learn::doubt::{Doubt, of_temperature}, night::Estimate, units::{Celsius, Kelvins}};
/// let expected = Estimate { mean: Celsius(-2.0), spread: Kelvins(2.0) };
/// assert_eq!(of_temperature(Celsius(-5.0), expected), None);
/// let Some(Doubt::LooksLikeFahrenheit { would_be }) = of_temperature(Celsius(28.0), expected) else { panic!() };
/// assert!((would_be.0 + 2.2).abs() < 0.05);
/// ```
pub fn of_temperature(value: Celsius, expected: Estimate) -> Option<Doubt> {
    if !value.0.is_finite() || !expected.mean.0.is_finite() || !expected.spread.0.is_finite() {
        return Some(Doubt::Unusable);
    }
    if SENSOR_ERRORS.contains(&value.0) {
        return Some(Doubt::SensorError);
    }
    let off = |value: Celsius| (value - expected.mean).0.abs() / expected.spread.0.max(LEAST_SPREAD);
    let spreads = off(value);
    if spreads <= ASKED_FROM && READING.allow(value.0) {
        return None;
    }
    let (as_fahrenheit, as_celsius) = (Celsius::from_fahrenheit(value.0), Celsius(value.fahrenheit()));
    Some(if off(as_fahrenheit) <= SWAPPED_WITHIN {
        Doubt::LooksLikeFahrenheit { would_be: as_fahrenheit }
    } else if off(as_celsius) <= SWAPPED_WITHIN {
        Doubt::LooksLikeCelsius { would_be: as_celsius }
    } else {
        Doubt::FarOff { spreads }
    })
}

impl Doubt {
    /// Whether somebody's word that it is right makes it usable: what is no measurement stays none.
    pub fn can_be_confirmed(self) -> bool {
        !matches!(self, Doubt::Unusable | Doubt::SensorError)
    }

    /// Some order, so that a list of doubts does not depend on how it came about.
    pub(super) fn order(&self, other: &Doubt) -> Ordering {
        let key = |doubt: &Doubt| match *doubt {
            Doubt::Unusable => (0, 0.0),
            Doubt::SensorError => (1, 0.0),
            Doubt::LooksLikeFahrenheit { would_be } => (2, would_be.0),
            Doubt::LooksLikeCelsius { would_be } => (3, would_be.0),
            Doubt::FarOff { spreads } => (4, spreads),
        };
        let ((kind, value), (other_kind, other_value)) = (key(self), key(other));
        kind.cmp(&other_kind).then(value.total_cmp(&other_value))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Kelvins;

    #[test]
    fn each_slip_is_named_for_what_it_is() {
        let expected = |mean: f64| Estimate { mean: Celsius(mean), spread: Kelvins(2.0) };
        for (value, mean, doubt) in [
            (f64::NAN, -2.0, Doubt::Unusable),
            (f64::INFINITY, -2.0, Doubt::Unusable),
            (85.0, -2.0, Doubt::SensorError),
            (-127.0, -2.0, Doubt::SensorError),
            (10.0, -12.0, Doubt::LooksLikeFahrenheit { would_be: Celsius::from_fahrenheit(10.0) }),
            // -3 written into a Fahrenheit field has become -19.4 C.
            (-19.44, -3.0, Doubt::LooksLikeCelsius { would_be: Celsius(-19.44 * 1.8 + 32.0) }),
            (-14.0, -2.0, Doubt::FarOff { spreads: 6.0 }),
            (14.0, -2.0, Doubt::FarOff { spreads: 8.0 }),
        ] {
            assert_eq!(
                of_temperature(Celsius(value), expected(mean)),
                Some(doubt),
                "{value} where {mean} was expected"
            );
        }
        // Within five standard deviations nobody is asked; -40 is -40 on either scale.
        for (value, mean) in [(-12.0, -2.0), (8.0, -2.0), (-40.0, -40.0)] {
            assert_eq!(of_temperature(Celsius(value), expected(mean)), None);
        }
        let unknown = Estimate { mean: Celsius(f64::NAN), spread: Kelvins(2.0) };
        assert_eq!(of_temperature(Celsius(-2.0), unknown), Some(Doubt::Unusable));
        assert!(!Doubt::SensorError.can_be_confirmed() && Doubt::FarOff { spreads: 6.0 }.can_be_confirmed());
    }
}
