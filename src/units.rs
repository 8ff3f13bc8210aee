//! Quantities that never travel without their unit: temperatures, differences of temperature, speeds, pressures,
//! chances and minutes of work; how they are read, printed and kept within plausible limits.
//!
//! A temperature and a difference of temperatures are two types: adding two [`Celsius`] does not compile, and a
//! difference is converted with the factor alone, never with the 32 degrees of the Fahrenheit scale.

mod limits;
mod parse;

pub use limits::{
    AIR_TEMPERATURE, COVER_COUNT, DEW_POINT, DEW_POINT_EXCESS, ELEVATION, LATITUDE, LENGTH, LONGITUDE, MINUTES,
    READING, TEMPERATURE_DIFFERENCE, THRESHOLD, WIND_SPEED,
};
pub use limits::{Limits, OutOfRange};
pub use parse::{UnitError, parse_difference, parse_temperature};

use serde::{Deserialize, Serialize};
use std::ops::{Add, Sub};

/// A temperature, in degrees Celsius.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Celsius(pub f64);

/// A difference of two temperatures, in kelvins (equal to degrees Celsius).
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Kelvins(pub f64);

/// A pressure, in pascals.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Pascals(pub f64);

/// A speed of wind, in metres per second.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MetresPerSecond(pub f64);

/// A flux of energy through a surface, in watts per square metre.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct WattsPerSquareMetre(pub f64);

/// A chance, from 0 to 1; growers see it in percent.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Probability(pub f64);

/// Minutes of one person's work; the worth of a bed is counted in them too.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Minutes(pub f64);

/// The scale on which a garden is shown temperatures. Inside, everything is Celsius.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Scale {
    Celsius,
    Fahrenheit,
}

/// Zero Celsius in kelvins (BIPM, SI brochure, exact).
pub const ZERO_CELSIUS_IN_KELVIN: f64 = 273.15;

impl Celsius {
    /// The same temperature on the absolute scale, K.
    pub fn kelvin(self) -> f64 {
        self.0 + ZERO_CELSIUS_IN_KELVIN
    }

    /// The same temperature on the Fahrenheit scale.
    pub fn fahrenheit(self) -> f64 {
        self.0 * 1.8 + 32.0
    }

    /// A temperature from its value in degrees Fahrenheit.
    pub fn from_fahrenheit(degrees: f64) -> Celsius {
        Celsius((degrees - 32.0) / 1.8)
    }

    /// The lower of two temperatures.
    pub fn min(self, other: Celsius) -> Celsius {
        Celsius(self.0.min(other.0))
    }

    /// The higher of two temperatures.
    pub fn max(self, other: Celsius) -> Celsius {
        Celsius(self.0.max(other.0))
    }

    /// Printed for a reader, in whole degrees: `28 F`, `-2 C`.
    ///
    /// ```
    /// # use counterpane::units::{Celsius, Scale};
    /// assert_eq!(Celsius(-2.2).whole(Scale::Fahrenheit), "28 F");
    /// assert_eq!(Celsius(-0.3).whole(Scale::Celsius), "0 C");
    /// ```
    pub fn whole(self, scale: Scale) -> String {
        match scale {
            Scale::Celsius => format!("{} C", without_minus_zero(self.0, 0)),
            Scale::Fahrenheit => format!("{} F", without_minus_zero(self.fahrenheit(), 0)),
        }
    }

    /// Printed for a reader who takes a number apart, with one decimal: `-2.2 C`.
    pub fn tenths(self, scale: Scale) -> String {
        match scale {
            Scale::Celsius => format!("{} C", without_minus_zero(self.0, 1)),
            Scale::Fahrenheit => format!("{} F", without_minus_zero(self.fahrenheit(), 1)),
        }
    }
}

impl Kelvins {
    /// Printed as a difference with one decimal and, always, its sign: `+1.8 C`, `-3.2 F`.
    pub fn signed(self, scale: Scale) -> String {
        let text = match scale {
            Scale::Celsius => without_minus_zero(self.0, 1),
            Scale::Fahrenheit => without_minus_zero(self.0 * 1.8, 1),
        };
        let sign = if text.starts_with('-') { "" } else { "+" };
        format!("{sign}{text} {}", scale.letter())
    }

    /// Printed as a size without sign, with one decimal: `1.8 C`.
    pub fn size(self, scale: Scale) -> String {
        let size = match scale {
            Scale::Celsius => self.0.abs(),
            Scale::Fahrenheit => self.0.abs() * 1.8,
        };
        format!("{size:.1} {}", scale.letter())
    }
}

impl Scale {
    /// The letter behind a temperature.
    pub fn letter(self) -> char {
        match self {
            Scale::Celsius => 'C',
            Scale::Fahrenheit => 'F',
        }
    }
}

impl Probability {
    /// Printed for a grower: whole percent, and never a false certainty.
    ///
    /// ```
    /// # use counterpane::units::Probability;
    /// assert_eq!(Probability(0.004).percent(), "under 1 %");
    /// assert_eq!(Probability(0.37).percent(), "37 %");
    /// assert_eq!(Probability(0.999).percent(), "over 99 %");
    /// ```
    pub fn percent(self) -> String {
        match self.0 * 100.0 {
            p if p < 0.5 => "under 1 %".into(),
            p if p >= 99.5 => "over 99 %".into(),
            p => format!("{p:.0} %"),
        }
    }
}

/// `-0` reads like a fault in a mail: a value that rounds to nothing is printed without a sign.
fn without_minus_zero(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let is_zero = text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.');
    if is_zero { text.trim_start_matches('-').to_string() } else { text }
}

impl Sub for Celsius {
    type Output = Kelvins;
    fn sub(self, other: Celsius) -> Kelvins {
        Kelvins(self.0 - other.0)
    }
}

impl Add<Kelvins> for Celsius {
    type Output = Celsius;
    fn add(self, difference: Kelvins) -> Celsius {
        Celsius(self.0 + difference.0)
    }
}

impl Sub<Kelvins> for Celsius {
    type Output = Celsius;
    fn sub(self, difference: Kelvins) -> Celsius {
        Celsius(self.0 - difference.0)
    }
}

impl Add for Kelvins {
    type Output = Kelvins;
    fn add(self, other: Kelvins) -> Kelvins {
        Kelvins(self.0 + other.0)
    }
}

impl Add for Minutes {
    type Output = Minutes;
    fn add(self, other: Minutes) -> Minutes {
        Minutes(self.0 + other.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_difference_is_converted_without_the_thirty_two() {
        assert_eq!(Kelvins(-1.0).signed(Scale::Fahrenheit), "-1.8 F");
        assert_eq!(Kelvins(0.0).signed(Scale::Celsius), "+0.0 C");
    }

    #[test]
    fn fahrenheit_and_celsius_meet_where_they_should() {
        for (fahrenheit, celsius) in [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0)] {
            assert!((Celsius::from_fahrenheit(fahrenheit).0 - celsius).abs() < 1e-12);
            assert!((Celsius(celsius).fahrenheit() - fahrenheit).abs() < 1e-12);
        }
    }

    #[test]
    fn nothing_is_printed_as_minus_zero() {
        assert_eq!(Celsius(-0.04).tenths(Scale::Celsius), "0.0 C");
        assert_eq!(Celsius(-17.9).whole(Scale::Fahrenheit), "0 F");
    }
}
