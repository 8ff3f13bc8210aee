//! The days and nights before this one, as the forecasts of their own time had them: what hardens and what chills.

use super::hours_below;
use super::screen::Span;
use crate::units::{Celsius, Kelvins};
use crate::weather::Forecast;
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};

/// One night and the day after it, at the garden's screen.
#[derive(Clone, Debug, PartialEq)]
pub struct PastDay {
    pub of: NightOf,
    /// An hour after its sunrise.
    pub night_ends: DateTime<Utc>,
    /// Air from its sunset to the next, as far as it is known, in order of time.
    pub hours: Vec<(DateTime<Utc>, Celsius)>,
    /// As of a [`super::Night`]; `None` where sky or wind are not known.
    pub clear_calm: Option<f64>,
}

/// How far back anything is remembered: seven lows, and three days more to gain what they give.
pub const DAYS: i64 = 10;
/// Of a night at least so many hours must be known for its low, and of a day and a night so many for its mean (assumed).
const FEWEST_AT_NIGHT: usize = 8;
const FEWEST_HOURS: usize = 20;

/// The days before a night, the oldest first. Sunset and sunrise are those of the night itself: in ten days they move
/// by minutes. `weight` is how clear and calm a stretch of hours is, where they say so.
pub(super) fn days(
    forecast: &Forecast,
    span: &Span,
    offset: Kelvins,
    weight: impl Fn(&Forecast, DateTime<Utc>, DateTime<Utc>) -> Option<f64>,
) -> Vec<PastDay> {
    let day = |back: i64| {
        let (sunset, night_ends) = (span.sunset - Duration::days(back), span.end() - Duration::days(back));
        let hours = forecast.between(sunset, sunset + Duration::days(1));
        PastDay {
            of: NightOf(span.of.0 - Duration::days(back)),
            night_ends,
            hours: hours.iter().map(|hour| (hour.time, hour.air_temperature + offset)).collect(),
            clear_calm: weight(forecast, sunset, night_ends),
        }
    };
    (1..=DAYS).rev().map(day).collect()
}

impl PastDay {
    /// The lowest air of the night at a place that differs so much from the screen; `None` where too little is known.
    /// An hour that is missing can only have been colder.
    pub fn low(&self, offset: Kelvins) -> Option<Celsius> {
        let night = self.hours.iter().filter(|(time, _)| *time <= self.night_ends);
        let known = night.clone().count() >= FEWEST_AT_NIGHT;
        let low = night.map(|(_, air)| *air).reduce(Celsius::min)?;
        known.then_some(low + self.at_place(offset))
    }

    /// The mean of the 24 hours at the screen; `None` where too little is known.
    pub fn mean(&self) -> Option<Celsius> {
        let sum: f64 = self.hours.iter().map(|(_, air)| air.0).sum();
        (self.hours.len() >= FEWEST_HOURS).then(|| Celsius(sum / self.hours.len() as f64))
    }

    /// Hours below a temperature at such a place, h; by night `below_air` more.
    pub fn hours_below(&self, threshold: Celsius, offset: Kelvins, below_air: Kelvins) -> f64 {
        let offset = self.at_place(offset);
        let samples = self.hours.iter().map(|(time, air)| {
            let by_night = if *time <= self.night_ends { below_air } else { Kelvins(0.0) };
            (*time, *air + offset - by_night)
        });
        hours_below(samples, threshold)
    }

    /// A place's own warmth or cold, as much as the night was clear and calm; where that is not known, the warmer.
    fn at_place(&self, offset: Kelvins) -> Kelvins {
        let unknown = if offset.0 > 0.0 { 1.0 } else { 0.0 };
        Kelvins(offset.0 * self.clear_calm.unwrap_or(unknown))
    }
}
