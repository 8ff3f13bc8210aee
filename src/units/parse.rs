//! Temperatures as people write them, always with their unit: `28F`, `-2.2 C`, `31.5 °F`.

use super::{Celsius, Kelvins};
use thiserror::Error;

/// Why a text is not a temperature.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum UnitError {
    /// A number alone: 28 is a hard freeze in Fahrenheit and a summer day in Celsius.
    #[error("{0} of what? Write the unit: {0}F or {0}C")]
    NoUnit(String),
    /// A unit other than C or F.
    #[error("\"{0}\" does not end in C or F; write a temperature like 28F or -2.2C")]
    UnknownUnit(String),
    /// No number before the unit.
    #[error("\"{0}\" is not a temperature; write one like 28F or -2.2C")]
    NotANumber(String),
}

/// Reads a temperature with its unit.
///
/// ```
/// # use counterpane::units::{parse_temperature, Celsius};
/// assert_eq!(parse_temperature("32F"), Ok(Celsius(0.0)));
/// assert_eq!(parse_temperature("-2.5 °C"), Ok(Celsius(-2.5)));
/// assert!(parse_temperature("28").is_err());
/// ```
pub fn parse_temperature(text: &str) -> Result<Celsius, UnitError> {
    Ok(match number_and_unit(text)? {
        (number, Unit::Celsius) => Celsius(number),
        (number, Unit::Fahrenheit) => Celsius::from_fahrenheit(number),
    })
}

/// Reads a difference of temperatures with its unit; a Fahrenheit degree is 1/1.8 of a kelvin.
///
/// ```
/// # use counterpane::units::{parse_difference, Kelvins};
/// assert_eq!(parse_difference("-1.8F"), Ok(Kelvins(-1.0)));
/// assert_eq!(parse_difference("+2C"), Ok(Kelvins(2.0)));
/// ```
pub fn parse_difference(text: &str) -> Result<Kelvins, UnitError> {
    Ok(match number_and_unit(text)? {
        (number, Unit::Celsius) => Kelvins(number),
        (number, Unit::Fahrenheit) => Kelvins(number / 1.8),
    })
}

enum Unit {
    Celsius,
    Fahrenheit,
}

fn number_and_unit(text: &str) -> Result<(f64, Unit), UnitError> {
    let trimmed = text.trim();
    // A minus sign copied from a printed page is U+2212, which no number parser knows.
    let plain = trimmed.replace('\u{2212}', "-");
    if plain.parse::<f64>().is_ok_and(f64::is_finite) {
        return Err(UnitError::NoUnit(plain));
    }
    let Some(unit) = plain.chars().next_back() else { return Err(UnitError::NotANumber(trimmed.into())) };
    let number = plain[..plain.len() - unit.len_utf8()].trim_end().trim_end_matches('°').trim_end();
    let unit = match unit {
        'C' | 'c' => Unit::Celsius,
        'F' | 'f' => Unit::Fahrenheit,
        _ => return Err(UnitError::UnknownUnit(trimmed.into())),
    };
    // `inf` and `nan` are numbers to the parser of the standard library; exponents are numbers to no gardener.
    let looks_like_a_number = number.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | '-' | '+'));
    match number.parse::<f64>() {
        Ok(value) if looks_like_a_number => Ok((value, unit)),
        _ => Err(UnitError::NotANumber(trimmed.into())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn words_that_are_not_temperatures_are_refused() {
        for text in ["", "F", "C", "infC", "nanF", "1e3C", "28 K", "28K", "--3C", "3.2.1F", "°C", "cold", "28 degrees"]
        {
            assert!(parse_temperature(text).is_err(), "{text:?} was taken for a temperature");
        }
        assert_eq!(parse_temperature("31"), Err(UnitError::NoUnit("31".into())));
    }

    proptest! {
        #[test]
        fn any_text_is_answered_without_a_panic(text in "\\PC{0,40}") {
            let _ = (parse_temperature(&text).is_ok(), parse_difference(&text).is_ok());
        }

        #[test]
        fn what_is_printed_is_read_back(tenths in -450i32..550) {
            let celsius = f64::from(tenths) / 10.0;
            let Ok(Celsius(read)) = parse_temperature(&format!("{celsius:.1}C")) else { panic!("refused") };
            prop_assert!((read - celsius).abs() < 1e-9);
            let fahrenheit = Celsius(celsius).fahrenheit();
            let Ok(Celsius(read)) = parse_temperature(&format!("{fahrenheit:.6} °F")) else { panic!("refused") };
            prop_assert!((read - celsius).abs() < 1e-6);
        }
    }
}
