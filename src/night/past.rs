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

/// One hour of these days as soil and pots remember it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Remembered {
    pub time: DateTime<Utc>,
    /// At the garden's screen.
    pub air: Celsius,
    /// How much of a bed's own cold acted, 0 to 1: nothing by day, by night as it was clear and calm.
    pub clear_calm: f64,
}

/// The hours of days in a row, each once. A night whose sky nobody knows counts as clear and calm.
pub fn remembered(days: &[PastDay]) -> Vec<Remembered> {
    let mut hours: Vec<Remembered> = Vec::new();
    for day in days {
        for (time, air) in day.hours.iter().copied() {
            if hours.last().is_none_or(|last| last.time < time) {
                let clear_calm = if time <= day.night_ends { day.clear_calm.unwrap_or(1.0) } else { 0.0 };
                hours.push(Remembered { time, air, clear_calm });
            }
        }
    }
    hours
}

/// Hours that samples cover: each stretch between two of them, but of a hole an hour.
pub(super) fn covered(times: impl Iterator<Item = DateTime<Utc>>) -> f64 {
    let times: Vec<DateTime<Utc>> = times.collect();
    times.windows(2).map(|pair| ((pair[1] - pair[0]).num_seconds() as f64 / 3600.0).min(1.0)).sum()
}

/// Mean by time, holes bridged by straight lines; `None` of fewer than two instants.
pub(super) fn mean_by_time(samples: impl Iterator<Item = (DateTime<Utc>, Celsius)>) -> Option<Celsius> {
    let samples: Vec<(DateTime<Utc>, Celsius)> = samples.collect();
    let (mut sum, mut hours) = (0.0, 0.0);
    for pair in samples.windows(2) {
        let length = (pair[1].0 - pair[0].0).num_seconds() as f64 / 3600.0;
        sum += length * 0.5 * (pair[0].1.0 + pair[1].1.0);
        hours += length;
    }
    (hours > 0.0).then(|| Celsius(sum / hours))
}

/// How far back anything is remembered: seven lows, and three days more to gain what they give.
pub const DAYS: i64 = 10;
/// Of a night at least so many hours must be covered for its low, and of a day and a night so many for its mean (assumed).
const FEWEST_AT_NIGHT: f64 = 7.0;
const FEWEST_HOURS: f64 = 19.0;

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
        let known = covered(night.clone().map(|(time, _)| *time)) >= FEWEST_AT_NIGHT;
        let low = night.map(|(_, air)| *air).reduce(Celsius::min)?;
        known.then_some(low + self.at_place(offset))
    }

    /// The mean by time of the 24 hours at the screen; `None` where too little is known.
    pub fn mean(&self) -> Option<Celsius> {
        let known = covered(self.hours.iter().map(|(time, _)| *time)) >= FEWEST_HOURS;
        mean_by_time(self.hours.iter().copied()).filter(|_| known)
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

#[cfg(test)]
mod tests {
    use super::*;

    fn at(hours: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + Duration::hours(hours)
    }

    /// A night of 14 hours at one temperature and a day of 10 at another, of which some hours are known.
    fn day(known: impl Fn(&i64) -> bool, clear_calm: Option<f64>) -> PastDay {
        let air = |hour: i64| Celsius(if hour <= 14 { -2.0 } else { 10.0 });
        let hours = (0..=24).filter(known).map(|hour| (at(hour), air(hour))).collect();
        PastDay { of: NightOf(at(0).date_naive()), night_ends: at(14), hours, clear_calm }
    }

    #[test]
    fn a_low_and_a_mean_need_most_of_their_hours() {
        let whole = day(|_| true, Some(0.5));
        assert_eq!(whole.low(Kelvins(0.0)), Some(Celsius(-2.0)));
        // Fourteen hours of the night, nine of the day, and one between them.
        assert!(whole.mean().is_some_and(|mean| (mean.0 - (-28.0 + 4.0 + 90.0) / 24.0).abs() < 1e-12));
        assert_eq!(day(|hour| *hour > 7, None).low(Kelvins(0.0)), None);
        assert_eq!(day(|hour| *hour > 6, None).low(Kelvins(0.0)), Some(Celsius(-2.0)));
        assert_eq!(day(|hour| *hour > 5, None).mean(), None);
        assert_eq!(day(|_| false, None).low(Kelvins(0.0)), None);
    }

    /// Forty rows of a feed that speaks four times an hour are ten hours, not a day and a night; and the same air is the same
    /// mean and low however often it is told.
    #[test]
    fn rows_are_no_hours() {
        let often = |hours: std::ops::RangeInclusive<i64>| {
            let hours = (hours.start() * 4..=hours.end() * 4).map(|quarter| {
                let air = if quarter <= 56 { -2.0 } else { 10.0 };
                (at(0) + Duration::minutes(15 * quarter), Celsius(air))
            });
            PastDay { of: NightOf(at(0).date_naive()), night_ends: at(14), hours: hours.collect(), clear_calm: None }
        };
        assert_eq!((often(14..=24).mean(), often(9..=14).low(Kelvins(0.0))), (None, None));
        assert_eq!(often(7..=14).low(Kelvins(0.0)), Some(Celsius(-2.0)));
        assert!(often(0..=24).mean().is_some_and(|mean| (mean.0 - 2.9375).abs() < 1e-9), "{:?}", often(0..=24).mean());
        // Half of the day told four times as often as the rest has no more weight for it.
        let mut uneven = often(0..=14);
        uneven.hours.extend((15..=24).map(|hour| (at(hour), Celsius(10.0))));
        assert!(uneven.mean().is_some_and(|mean| (mean.0 - 2.75).abs() < 1e-9), "{:?}", uneven.mean());
    }

    #[test]
    fn a_place_is_as_cold_as_the_night_was_clear_and_calm_and_the_warmer_where_nobody_knows() {
        for (clear_calm, offset, expected) in [
            (Some(1.0), -2.0, -4.0),
            (Some(0.5), -2.0, -3.0),
            (Some(0.0), 1.0, -2.0),
            (None, -2.0, -2.0),
            (None, 1.0, -1.0),
        ] {
            let low = day(|_| true, clear_calm).low(Kelvins(offset));
            assert_eq!(low, Some(Celsius(expected)), "{clear_calm:?} {offset}");
        }
    }

    #[test]
    fn a_leaf_is_below_the_air_by_night_alone() {
        let day = day(|_| true, None);
        // Below zero all night and for two twelfths of the hour in which it warms by twelve degrees.
        assert!((day.hours_below(Celsius(0.0), Kelvins(0.0), Kelvins(0.0)) - (14.0 + 2.0 / 12.0)).abs() < 1e-9);
        assert_eq!(day.hours_below(Celsius(-3.0), Kelvins(0.0), Kelvins(0.0)), 0.0);
        assert!(day.hours_below(Celsius(-3.0), Kelvins(0.0), Kelvins(2.0)) > 14.0);
        assert_eq!(day.hours_below(Celsius(-3.0), Kelvins(2.0), Kelvins(2.0)), 0.0);
    }
}
