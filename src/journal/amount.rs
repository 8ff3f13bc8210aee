//! How much was picked: a weight or a count.

use crate::units::{Limits, OutOfRange};
use serde::{Deserialize, Serialize};
use std::fmt;

/// How much was picked.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Amount {
    /// g, within [`HARVEST_GRAMS`].
    Grams(f64),
    /// Heads, bunches, fruits.
    Count(u32),
}

/// What can be carried from a bed.
pub const HARVEST_GRAMS: Limits =
    Limits { what: "weight", low: 1.0, high: 2_000_000.0, unit: "g", why: "no bed yields that" };
const HARVEST_COUNT: std::ops::RangeInclusive<u32> = 1..=100_000;
const GRAMS_IN_A_POUND: f64 = 453.592_37;
const GRAMS_IN_AN_OUNCE: f64 = GRAMS_IN_A_POUND / 16.0;

impl Amount {
    /// Reads `1.2kg`, `850 g`, `3 lb`, `12 oz`, or a count such as `14`.
    ///
    /// **Source.** The avoirdupois pound is 0.45359237 kg exactly (international yard and pound agreement, 1959).
    ///
    /// ```
    /// # use counterpane::journal::Amount;
    /// assert_eq!(Amount::parse("1.2 kg"), Ok(Amount::Grams(1200.0)));
    /// assert_eq!(Amount::parse("14"), Ok(Amount::Count(14)));
    /// assert!(Amount::parse("a lot").is_err());
    /// ```
    pub fn parse(text: &str) -> Result<Amount, String> {
        let trimmed = text.trim();
        let split = trimmed.find(|c: char| c.is_alphabetic()).unwrap_or(trimmed.len());
        let (number, unit) = trimmed.split_at(split);
        let no_amount = || format!("\"{text}\" is no amount; write a weight like 1.2kg, 850g, 3lb, or a count like 14");
        let grams = match unit.trim().to_ascii_lowercase().as_str() {
            "" => {
                let count: u32 = number.trim().parse().map_err(|_| no_amount())?;
                return if HARVEST_COUNT.contains(&count) {
                    Ok(Amount::Count(count))
                } else {
                    Err(format!("{count} pieces: a harvest lies between 1 and 100000"))
                };
            }
            "g" => 1.0,
            "kg" => 1000.0,
            "lb" | "lbs" => GRAMS_IN_A_POUND,
            "oz" => GRAMS_IN_AN_OUNCE,
            _ => return Err(no_amount()),
        };
        let number: f64 = number.trim().parse().map_err(|_| no_amount())?;
        let weight = HARVEST_GRAMS.check(number * grams).map_err(|fault: OutOfRange| fault.to_string())?;
        Ok(Amount::Grams(weight))
    }
}

impl Amount {
    /// As it is said back to whoever typed it: in their unit, with grams beside where that is none of grams.
    ///
    /// ```
    /// # use counterpane::journal::Amount;
    /// let typed = |text: &str| Amount::parse(text).map(|amount| amount.as_typed(text));
    /// assert_eq!(typed("3 lb"), Ok("3 lb (1361 g)".into()));
    /// assert_eq!(typed("12OZ"), Ok("12 oz (340 g)".into()));
    /// assert_eq!(typed("1.2kg"), Ok("1.20 kg".into()));
    /// ```
    pub fn as_typed(&self, text: &str) -> String {
        let split = text.find(|c: char| c.is_alphabetic()).unwrap_or(text.len());
        let (number, unit) = text.split_at(split);
        match (self, unit.trim().to_ascii_lowercase().as_str()) {
            (Amount::Grams(grams), unit @ ("lb" | "lbs" | "oz")) => {
                format!("{} {} ({grams:.0} g)", number.trim(), unit.trim_end_matches('s'))
            }
            _ => self.to_string(),
        }
    }
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Amount::Grams(grams) if *grams >= 1000.0 => write!(f, "{:.2} kg", grams / 1000.0),
            Amount::Grams(grams) => write!(f, "{grams:.0} g"),
            Amount::Count(count) => write!(f, "{count}"),
        }
    }
}
