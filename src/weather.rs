//! Weather as the rest of the project sees it, whoever forecast it: a place, hours, and where they came from.
//!
//! An hour that a feed left out, or gave a value nobody can believe for, is simply not there: nothing here fills it.

pub mod humidity;
pub mod radiation;
pub mod sun;

use crate::units::{Celsius, Kelvins, MetresPerSecond};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize, Serializer};
use std::fmt;

/// A place on the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Site {
    /// Degrees north, -90 to 90.
    pub latitude: f64,
    /// Degrees east, -180 to 180.
    pub longitude: f64,
    /// Metres above sea level.
    pub elevation: f64,
}

/// Who made a forecast.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Provider {
    NationalWeatherService,
    MetNorway,
    /// An hourly JSON document of parallel arrays, of the shape that Open-Meteo publishes.
    HourlyArrays,
    /// A plain table of hours.
    Csv,
    /// One low, given by hand.
    HandGivenLow,
}

impl Provider {
    /// The credit its licence asks for, or a courtesy.
    pub fn credit(&self) -> &'static str {
        match self {
            Provider::NationalWeatherService => "US National Weather Service",
            Provider::MetNorway => "Data from MET Norway, CC BY 4.0",
            Provider::HourlyArrays => "Weather data by Open-Meteo.com, CC BY 4.0",
            Provider::Csv => "a table of hours",
            Provider::HandGivenLow => "a low given by hand",
        }
    }

    /// The name used in settings, in `--feed-format` and in `--json`.
    pub fn key(&self) -> &'static str {
        match self {
            Provider::NationalWeatherService => "nws",
            Provider::MetNorway => "met-norway",
            Provider::HourlyArrays => "hourly-arrays",
            Provider::Csv => "csv",
            Provider::HandGivenLow => "hand-given-low",
        }
    }
}

impl fmt::Display for Provider {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.credit())
    }
}

/// The state of the air at one instant, at the places where weather services measure it.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
pub struct Hour {
    pub time: DateTime<Utc>,
    /// In a screen at shelter height (1.5 to 2 m).
    pub air_temperature: Celsius,
    /// Over water, also below freezing, as weather services report it.
    pub dew_point: Option<Celsius>,
    /// At 10 m.
    pub wind_10m: Option<MetresPerSecond>,
    /// Fraction of the sky, 0 to 1.
    pub cloud_cover: Option<f64>,
}

/// As a list, in which the store's documents are half as long: hundreds of hours are written at every look. It is read back
/// with its fields' names or without, by this release and by older ones.
impl Serialize for Hour {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Hour { time, air_temperature, dew_point, wind_10m, cloud_cover } = self;
        (time, air_temperature, dew_point, wind_10m, cloud_cover).serialize(serializer)
    }
}

/// The lowest air temperature within an interval, where a feed states one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct IntervalMinimum {
    pub from: DateTime<Utc>,
    pub to: DateTime<Utc>,
    pub low: Celsius,
}

/// What a garden's thermometer showed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    pub at: DateTime<Utc>,
    pub air: Celsius,
    pub dew_point: Option<Celsius>,
    /// Air where the thermometer hangs against the garden's screen, on a clear calm night; zero for the garden's own.
    pub offset: Kelvins,
    /// How well that offset is known, one standard deviation; zero for the garden's own.
    pub offset_spread: Kelvins,
    /// The bed at which it hangs, by its place among the garden's; `None` for the garden's own.
    pub bed: Option<usize>,
    /// Whoever read it looked again and said that it is right, however doubtful.
    #[serde(default)]
    pub sure: bool,
}

/// One forecast and where it came from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Forecast {
    pub provider: Provider,
    /// When the provider issued it, where it says so.
    pub issued: Option<DateTime<Utc>>,
    /// When we fetched it.
    pub fetched: DateTime<Utc>,
    /// In order of time, no instant twice, gaps where the feed had none.
    pub hours: Vec<Hour>,
    /// In order of their start.
    pub minima: Vec<IntervalMinimum>,
    /// Hours and minima in which a value was outside its plausible limits: dropped where that was the air temperature,
    /// kept without the value where it was another.
    pub implausible_hours: usize,
    /// Elevation of the provider's cell, m, where it says so.
    pub cell_elevation: Option<f64>,
}

/// How long past hours are kept: ten days and nights before the night at hand, and that night.
const REMEMBERED: chrono::Duration = chrono::Duration::days(12);

impl Forecast {
    /// When it was issued, as far as that can be believed: not where the feed does not say, and not in the future.
    pub fn issued_before(&self, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        self.issued.filter(|issued| *issued <= now + chrono::Duration::minutes(15))
    }

    /// The age at `now`: since its issue, or since its fetch where the issue is not known.
    pub fn age(&self, now: DateTime<Utc>) -> chrono::Duration {
        (now - self.issued_before(now).unwrap_or(self.fetched)).max(chrono::Duration::zero())
    }

    /// The forecast with the hours that an earlier copy of it had before its first: many feeds start at the present,
    /// and the soil remembers the day, plants the nights of more than a week.
    pub fn with_past_of(mut self, earlier: &Forecast) -> Forecast {
        let Some(first) = self.hours.first().map(|hour| hour.time) else { return self };
        // What is still to come is this forecast's alone: where it is silent, an older copy must not speak for it.
        let end = (first - chrono::Duration::minutes(30)).min(self.fetched);
        let past = earlier.between(end - REMEMBERED, end);
        self.hours.splice(0..0, past.iter().copied());
        self
    }

    /// The air of an instant, by a straight line between two hours that are at most two hours apart.
    pub fn air_at(&self, at: DateTime<Utc>) -> Option<Celsius> {
        let next = self.hours.get(self.hours.partition_point(|hour| hour.time < at))?;
        if next.time == at {
            return Some(next.air_temperature);
        }
        let [.., last] = self.between(at - chrono::Duration::hours(2), at) else { return None };
        let whole = next.time - last.time;
        let share = (at - last.time).num_seconds() as f64 / whole.num_seconds() as f64;
        let air = last.air_temperature + Kelvins((next.air_temperature - last.air_temperature).0 * share);
        (whole <= chrono::Duration::hours(2)).then_some(air)
    }

    /// The hours within an interval, both ends included.
    pub fn between(&self, from: DateTime<Utc>, to: DateTime<Utc>) -> &[Hour] {
        let start = self.hours.partition_point(|hour| hour.time < from);
        let end = self.hours.partition_point(|hour| hour.time <= to);
        &self.hours[start..end.max(start)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Duration;

    fn at(hours: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + Duration::days(20_000) + Duration::hours(hours)
    }

    /// Fetched at an hour, with hours of one temperature.
    fn forecast(fetched: i64, hours: std::ops::Range<i64>, air: f64) -> Forecast {
        let hours = hours.map(|hour| Hour {
            time: at(hour),
            air_temperature: Celsius(air),
            dew_point: None,
            wind_10m: None,
            cloud_cover: None,
        });
        Forecast {
            provider: Provider::Csv,
            issued: None,
            fetched: at(fetched),
            hours: hours.collect(),
            minima: Vec::new(),
            implausible_hours: 0,
            cell_elevation: None,
        }
    }

    #[test]
    fn an_hour_is_read_back_with_names_and_without() {
        let hour = Hour { dew_point: Some(Celsius(-2.5)), cloud_cover: Some(0.25), ..forecast(0, 0..1, -1.0).hours[0] };
        let written = r#"["2024-10-04T00:00:00Z",-1.0,-2.5,null,0.25]"#;
        let named = r#"{"time":"2024-10-04T00:00:00Z","air_temperature":-1.0,"dew_point":-2.5,"wind_10m":null,"cloud_cover":0.25}"#;
        assert_eq!(serde_json::to_string(&hour).ok().as_deref(), Some(written));
        for document in [written, named] {
            assert_eq!(serde_json::from_str(document).ok(), Some(hour), "{document}");
        }
    }

    #[test]
    fn the_air_between_two_hours_lies_on_a_line_and_over_a_hole_nothing_is_known() {
        let mut forecast = forecast(0, 0..10, 0.0);
        for (hour, air) in forecast.hours.iter_mut().zip([4.0, 2.0, 1.0]) {
            hour.air_temperature = Celsius(air);
        }
        let minutes = |minutes: i64| at(0) + Duration::minutes(minutes);
        for (after, air) in [(0, Some(4.0)), (15, Some(3.5)), (60, Some(2.0)), (90, Some(1.5)), (540, Some(0.0))] {
            assert_eq!(forecast.air_at(minutes(after)), air.map(Celsius), "{after}");
        }
        assert_eq!((forecast.air_at(minutes(-1)), forecast.air_at(minutes(541))), (None, None));
        forecast.hours.drain(4..6);
        assert_eq!(forecast.air_at(minutes(270)), None);
    }

    #[test]
    fn an_earlier_copy_lends_the_hours_that_are_past() {
        let joined = forecast(20, 20..40, 1.0).with_past_of(&forecast(0, 0..30, 9.0));
        assert_eq!((joined.hours.len(), joined.hours[0].time), (40, at(0)));
        assert!(joined.hours[..20].iter().all(|hour| hour.air_temperature == Celsius(9.0)));
        assert!(joined.hours.windows(2).all(|pair| pair[0].time < pair[1].time));
    }

    #[test]
    fn what_is_still_to_come_is_the_newer_forecasts_alone() {
        // The newer document has nothing for the night at hand and begins the morning after.
        let joined = forecast(20, 35..60, -15.0).with_past_of(&forecast(0, 0..60, 14.0));
        assert!(joined.between(at(21), at(34)).is_empty(), "{:?}", joined.hours);
        assert_eq!(joined.between(at(0), at(20)).len(), 21);
    }

    #[test]
    fn an_hour_at_the_end_of_all_time_lends_nothing_and_breaks_nothing() {
        let joined = forecast(0, 5..6, 1.0).with_past_of(&forecast(0, 0..0, 9.0));
        assert_eq!(joined.hours.len(), 1);
        assert_eq!(forecast(0, 0..0, 1.0).with_past_of(&forecast(0, 0..9, 9.0)).hours, []);
    }
}
