//! The table of plausible limits: one row per quantity, read by checks, by messages and by the generators of tests.

use thiserror::Error;

/// What a quantity may be. A value outside is a fault of whoever gave it, never quietly cut to size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The quantity, as a reader would call it.
    pub what: &'static str,
    pub low: f64,
    pub high: f64,
    pub unit: &'static str,
    /// Why nothing outside is believed.
    pub why: &'static str,
}

/// A value outside the limits of its quantity, not-a-number included.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
#[error("{what} of {got} {unit} is not between {low} and {high} {unit}")]
pub struct OutOfRange {
    pub what: &'static str,
    pub got: f64,
    pub low: f64,
    pub high: f64,
    pub unit: &'static str,
}

impl Limits {
    /// The value itself, or why it is not believed. Refuses NaN and infinities.
    pub fn check(&self, value: f64) -> Result<f64, OutOfRange> {
        if (self.low..=self.high).contains(&value) {
            Ok(value)
        } else {
            Err(OutOfRange { what: self.what, got: value, low: self.low, high: self.high, unit: self.unit })
        }
    }

    /// Whether the value is believed.
    pub fn allow(&self, value: f64) -> bool {
        self.check(value).is_ok()
    }
}

const fn limits(what: &'static str, low: f64, high: f64, unit: &'static str, why: &'static str) -> Limits {
    Limits { what, low, high, unit, why }
}

/// Air of a feed. The lowest and highest air temperatures ever accepted as records lie within 30 degrees of these.
pub const AIR_TEMPERATURE: Limits = limits("air temperature", -60.0, 60.0, "C", "no garden sees such air");
/// Dew point of a feed.
pub const DEW_POINT: Limits = limits("dew point", -60.0, 60.0, "C", "no garden sees such air");
/// How far a dew point may lie above its air temperature before rounding no longer explains it.
pub const DEW_POINT_EXCESS: Limits =
    limits("dew point above air", -200.0, 0.5, "C", "air holds no more vapour than that");
/// A thermometer reading typed in. Narrower than a feed's air: above it is a typing slip or the wrong unit.
pub const READING: Limits = limits("reading", -45.0, 55.0, "C", "a garden thermometer does not show that");
/// Thresholds of crops. Chilling begins at about 13 C; a woody herb stands about -35 C.
pub const THRESHOLD: Limits = limits("threshold", -60.0, 15.0, "C", "no crop is first harmed there");
/// Offsets of a place against the forecast.
pub const TEMPERATURE_DIFFERENCE: Limits = limits("offset", -8.0, 8.0, "C", "no bed differs that much from its screen");
/// Wind at 10 m.
pub const WIND_SPEED: Limits = limits("wind", 0.0, 75.0, "m/s", "a stronger wind is a storm record");
pub const LATITUDE: Limits = limits("latitude", -90.0, 90.0, "degrees", "a latitude ends at the poles");
pub const LONGITUDE: Limits = limits("longitude", -180.0, 180.0, "degrees", "a longitude ends at the date line");
pub const ELEVATION: Limits = limits("elevation", -430.0, 5500.0, "m", "no garden lies there");
/// Length or width of a bed, a cover or a pot.
pub const LENGTH: Limits = limits("length", 0.05, 200.0, "m", "no bed, pot or cover is of that size");
pub const COVER_COUNT: Limits = limits("number of covers", 0.0, 10_000.0, "pieces", "no shed holds that many");
/// Worth of a planting, or cost of a measure, in person-minutes.
pub const MINUTES: Limits = limits("minutes", 0.0, 100_000.0, "min", "no garden has that much time");

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neither_nan_nor_an_infinity_is_ever_believed() {
        for limits in [AIR_TEMPERATURE, READING, THRESHOLD, WIND_SPEED, LATITUDE, MINUTES] {
            for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                assert!(!limits.allow(value), "{} allowed {value}", limits.what);
            }
            assert!(limits.allow(limits.low) && limits.allow(limits.high));
        }
    }
}
