//! The raw grid of the US National Weather Service: layers of values, each with its own runs of equal hours.
//!
//! Only the layers we need are read; the other fifty are skipped. A document without an issue time is refused: old
//! copies are known to be served as if they were new, and without that time nobody could tell.

use super::FeedFault;
use super::plausible::{Document, Row, believe};
use crate::units::Celsius;
use crate::weather::{Forecast, IntervalMinimum, Provider};
use chrono::{DateTime, Duration, Utc};
use serde::Deserialize;
use std::borrow::Cow;
use std::collections::BTreeMap;

/// No layer of this service is longer than eight days; more hours than this are not a forecast.
const MOST_HOURS: usize = 1_000;

#[derive(Deserialize)]
struct Grid<'a> {
    #[serde(borrow)]
    properties: Properties<'a>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Properties<'a> {
    update_time: Option<DateTime<Utc>>,
    #[serde(borrow)]
    elevation: Option<Elevation<'a>>,
    #[serde(borrow)]
    temperature: Option<Layer<'a>>,
    #[serde(borrow)]
    dewpoint: Option<Layer<'a>>,
    #[serde(borrow)]
    min_temperature: Option<Layer<'a>>,
    #[serde(borrow)]
    relative_humidity: Option<Layer<'a>>,
    #[serde(borrow)]
    sky_cover: Option<Layer<'a>>,
    #[serde(borrow)]
    wind_speed: Option<Layer<'a>>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Elevation<'a> {
    #[serde(borrow)]
    unit_code: Option<Cow<'a, str>>,
    value: Option<f64>,
}

#[derive(Default, Deserialize)]
struct Layer<'a> {
    #[serde(borrow)]
    uom: Option<Cow<'a, str>>,
    #[serde(borrow, default)]
    values: Vec<Run<'a>>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Run<'a> {
    #[serde(borrow)]
    valid_time: Cow<'a, str>,
    value: Option<f64>,
}

/// The forecast in a raw grid document.
pub fn decode(body: &[u8], fetched: DateTime<Utc>) -> Result<Forecast, FeedFault> {
    let Grid { properties } = serde_json::from_slice(body).map_err(|error| FeedFault::json(&error))?;
    let Some(temperature) = properties.temperature else { return Err(FeedFault::not_the_format("no temperature")) };
    let Some(issued) = properties.update_time else { return Err(FeedFault::not_the_format("no updateTime")) };

    let dew_point = by_hour("dew point", properties.dewpoint, celsius)?;
    let relative_humidity = by_hour("relative humidity", properties.relative_humidity, percent)?;
    let wind = by_hour("wind", properties.wind_speed, metres_per_second)?;
    let cloud = by_hour("cloud cover", properties.sky_cover, |unit| percent(unit).map(|factor| factor / 100.0))?;
    let rows = by_hour("air temperature", Some(temperature), celsius)?
        .into_iter()
        .map(|(time, t)| Row {
            dew_point: dew_point.get(&time).copied(),
            relative_humidity: relative_humidity.get(&time).copied(),
            wind_10m: wind.get(&time).copied(),
            cloud_cover: cloud.get(&time).copied(),
            ..Row::at(time, Some(t))
        })
        .collect();

    let cell_elevation = match properties.elevation {
        Some(Elevation { unit_code, value: Some(value) }) => {
            let factor = factor_of("elevation", unit_code.as_deref(), |unit| (unit == "m").then_some(1.0))?;
            Some(value * factor)
        }
        _ => None,
    };
    let minima = minima(properties.min_temperature)?;
    believe(Document {
        provider: Provider::NationalWeatherService,
        issued: Some(issued),
        fetched,
        cell_elevation,
        rows,
        minima,
    })
}

/// The outline of a grid cell, in degrees east and north.
#[derive(Clone, Debug, PartialEq)]
pub struct Area {
    west: f64,
    east: f64,
    south: f64,
    north: f64,
}

/// How far outside its outline a place may lie: a cell is 2.5 km wide, and the outline is rounded.
const BESIDE: f64 = 0.03;

impl Area {
    /// The outline in a raw grid document, where it has one.
    pub(super) fn of_document(body: &[u8]) -> Option<Area> {
        #[derive(Deserialize)]
        struct Outlined {
            geometry: Geometry,
        }
        #[derive(Deserialize)]
        struct Geometry {
            /// Rings of longitude and latitude.
            coordinates: Vec<Vec<[f64; 2]>>,
        }
        let outlined: Outlined = serde_json::from_slice(body).ok()?;
        let corners = outlined.geometry.coordinates.first()?;
        let most = |of: usize, which: fn(f64, f64) -> f64| corners.iter().map(|corner| corner[of]).reduce(which);
        Some(Area {
            west: most(0, f64::min)?,
            east: most(0, f64::max)?,
            south: most(1, f64::min)?,
            north: most(1, f64::max)?,
        })
    }

    /// Whether a place lies in the cell, or so near that rounding may be to blame.
    pub fn has(&self, latitude: f64, longitude: f64) -> bool {
        (self.south - BESIDE..=self.north + BESIDE).contains(&latitude)
            && (self.west - BESIDE..=self.east + BESIDE).contains(&longitude)
    }
}

fn celsius(unit: &str) -> Option<f64> {
    (unit == "degC").then_some(1.0)
}

fn percent(unit: &str) -> Option<f64> {
    (unit == "percent").then_some(1.0)
}

fn metres_per_second(unit: &str) -> Option<f64> {
    match unit {
        "km_h-1" => Some(1.0 / 3.6),
        "m_s-1" => Some(1.0),
        _ => None,
    }
}

/// What to multiply a layer's values by. Units were spelt `unit:` in 2019 and `wmoUnit:` in 2022.
fn factor_of(
    quantity: &'static str,
    stated: Option<&str>,
    known: impl Fn(&str) -> Option<f64>,
) -> Result<f64, FeedFault> {
    let stated = stated.unwrap_or("none given");
    let unit = stated.strip_prefix("wmoUnit:").or_else(|| stated.strip_prefix("unit:"));
    unit.and_then(known).ok_or_else(|| FeedFault::UnknownUnit { quantity, unit: super::fault::excerpt(stated) })
}

/// The values of a layer at each whole hour that it covers. Where two runs claim one hour, the lower value: of
/// temperature, dew point, wind and cloud alike, the lower one makes the colder night.
fn by_hour(
    quantity: &'static str,
    layer: Option<Layer>,
    known: impl Fn(&str) -> Option<f64>,
) -> Result<BTreeMap<DateTime<Utc>, f64>, FeedFault> {
    let mut hours = BTreeMap::new();
    let Layer { uom, values } = layer.unwrap_or_default();
    let mut expanded = 0;
    for Run { valid_time, value } in values {
        let Some(value) = value else { continue };
        let factor = factor_of(quantity, uom.as_deref(), &known)?;
        let (from, to) = interval(&valid_time)?;
        let mut hour = first_whole_hour(from);
        while hour < to {
            expanded += 1;
            if expanded > MOST_HOURS {
                return Err(FeedFault::not_the_format(format!("more than {MOST_HOURS} hours of {quantity}")));
            }
            hours.entry(hour).and_modify(|kept: &mut f64| *kept = kept.min(value * factor)).or_insert(value * factor);
            hour += Duration::hours(1);
        }
    }
    Ok(hours)
}

fn minima(layer: Option<Layer>) -> Result<Vec<IntervalMinimum>, FeedFault> {
    let Layer { uom, values } = layer.unwrap_or_default();
    let mut minima = Vec::new();
    for Run { valid_time, value } in values {
        let Some(value) = value else { continue };
        let factor = factor_of("minimum temperature", uom.as_deref(), celsius)?;
        let (from, to) = interval(&valid_time)?;
        minima.push(IntervalMinimum { from, to, low: Celsius(value * factor) });
    }
    Ok(minima)
}

/// A start and a length, such as `2022-02-03T21:00:00+00:00/P1DT3H`.
fn interval(text: &str) -> Result<(DateTime<Utc>, DateTime<Utc>), FeedFault> {
    let parts = text.split_once('/').and_then(|(start, length)| {
        let start = DateTime::parse_from_rfc3339(start).ok()?.to_utc();
        Some((start, start.checked_add_signed(length_of(length)?)?))
    });
    parts.ok_or_else(|| FeedFault::not_the_format(format!("validTime {text:?} is not a start and a length")))
}

/// A length in days, hours and minutes. Months and years have no fixed length and are refused with everything else.
fn length_of(text: &str) -> Option<Duration> {
    let rest = text.strip_prefix('P')?;
    let (days, clock) = match rest.split_once('T') {
        Some((_, "")) => return None,
        Some((days, clock)) => (days, clock),
        None if rest.is_empty() => return None,
        None => (rest, ""),
    };
    let (days, rest) = count(days, 'D')?;
    if !rest.is_empty() {
        return None;
    }
    let (hours, clock) = count(clock, 'H')?;
    let (minutes, clock) = count(clock, 'M')?;
    clock.is_empty().then(|| Duration::minutes((days * 24 + hours) * 60 + minutes))
}

/// The number before a letter and what follows it; 0 and the whole text where the letter does not occur.
fn count(text: &str, letter: char) -> Option<(i64, &str)> {
    match text.split_once(letter) {
        None => Some((0, text)),
        Some((digits, rest)) => {
            let is_a_count = (1..=5).contains(&digits.len()) && digits.bytes().all(|byte| byte.is_ascii_digit());
            if is_a_count { digits.parse().ok().map(|count| (count, rest)) } else { None }
        }
    }
}

fn first_whole_hour(instant: DateTime<Utc>) -> DateTime<Utc> {
    let past = instant.timestamp().rem_euclid(3600);
    let nanoseconds = i64::from(instant.timestamp_subsec_nanos());
    if past == 0 && nanoseconds == 0 {
        return instant;
    }
    instant - Duration::nanoseconds(nanoseconds) + Duration::seconds(3600 - past)
}

#[cfg(test)]
mod tests;
