//! MET Norway's Locationforecast 2.0: steps an hour apart, then six hours apart.
//!
//! Between two instants six hours apart the low is not seen, so the interval's own minimum is kept where it is given.
//! A document without its issue time is refused: `Last-Modified` is only the moment of fetching.

use super::FeedFault;
use super::plausible::{Document, Row, believe};
use crate::units::Celsius;
use crate::weather::{Forecast, IntervalMinimum, Provider};
use chrono::{DateTime, Duration, Utc};
use serde::Deserialize;
use std::borrow::Cow;

/// The document as served, or recorded with it under `data`.
#[derive(Deserialize)]
struct Served<'a> {
    #[serde(borrow)]
    properties: Option<Properties<'a>>,
    geometry: Option<Geometry>,
    #[serde(borrow)]
    data: Option<Recorded<'a>>,
}

#[derive(Deserialize)]
struct Recorded<'a> {
    #[serde(borrow)]
    properties: Option<Properties<'a>>,
    geometry: Option<Geometry>,
}

#[derive(Deserialize)]
struct Geometry {
    /// Longitude, latitude, and the height in metres that the temperatures hold for.
    coordinates: Vec<f64>,
}

#[derive(Deserialize)]
struct Properties<'a> {
    #[serde(borrow)]
    meta: Meta<'a>,
    timeseries: Vec<Step>,
}

#[derive(Deserialize)]
struct Meta<'a> {
    updated_at: Option<DateTime<Utc>>,
    #[serde(borrow, default)]
    units: Units<'a>,
}

#[derive(Default, Deserialize)]
struct Units<'a> {
    #[serde(borrow)]
    air_temperature: Option<Cow<'a, str>>,
    #[serde(borrow)]
    air_temperature_min: Option<Cow<'a, str>>,
    #[serde(borrow)]
    dew_point_temperature: Option<Cow<'a, str>>,
    #[serde(borrow)]
    relative_humidity: Option<Cow<'a, str>>,
    #[serde(borrow)]
    cloud_area_fraction: Option<Cow<'a, str>>,
    #[serde(borrow)]
    wind_speed: Option<Cow<'a, str>>,
}

#[derive(Deserialize)]
struct Step {
    time: DateTime<Utc>,
    data: StepData,
}

#[derive(Deserialize)]
struct StepData {
    instant: Option<Instant>,
    next_6_hours: Option<Next>,
}

#[derive(Deserialize)]
struct Instant {
    details: Option<Details>,
}

#[derive(Clone, Copy, Default, Deserialize)]
struct Details {
    air_temperature: Option<f64>,
    dew_point_temperature: Option<f64>,
    relative_humidity: Option<f64>,
    cloud_area_fraction: Option<f64>,
    wind_speed: Option<f64>,
}

#[derive(Deserialize)]
struct Next {
    details: Option<Extremes>,
}

#[derive(Deserialize)]
struct Extremes {
    air_temperature_min: Option<f64>,
}

/// The forecast in a Locationforecast document, `complete` or `compact`.
pub fn decode(body: &[u8], fetched: DateTime<Utc>) -> Result<Forecast, FeedFault> {
    let served: Served = serde_json::from_slice(body).map_err(|error| FeedFault::json(&error))?;
    let (properties, geometry) = match (served.properties, served.data) {
        (Some(properties), _) => (properties, served.geometry),
        (None, Some(Recorded { properties: Some(properties), geometry })) => (properties, geometry),
        (None, _) => return Err(FeedFault::not_the_format("no properties.timeseries")),
    };
    let Properties { meta, timeseries } = properties;
    let Some(issued) = meta.updated_at else { return Err(FeedFault::not_the_format("no meta.updated_at")) };

    let minima = minima(&timeseries);
    let steps: Vec<(DateTime<Utc>, Details)> = timeseries
        .into_iter()
        .map(|step| (step.time, step.data.instant.and_then(|instant| instant.details).unwrap_or_default()))
        .collect();

    let given = |value: fn(&Details) -> Option<f64>| steps.iter().any(|(_, details)| value(details).is_some());
    let units = &meta.units;
    check("air temperature", given(|d| d.air_temperature), &units.air_temperature, "celsius")?;
    check("minimum temperature", !minima.is_empty(), &units.air_temperature_min, "celsius")?;
    check("dew point", given(|d| d.dew_point_temperature), &units.dew_point_temperature, "celsius")?;
    check("relative humidity", given(|d| d.relative_humidity), &units.relative_humidity, "%")?;
    check("cloud cover", given(|d| d.cloud_area_fraction), &units.cloud_area_fraction, "%")?;
    check("wind", given(|d| d.wind_speed), &units.wind_speed, "m/s")?;

    let rows = steps
        .into_iter()
        .map(|(time, details)| Row {
            dew_point: details.dew_point_temperature,
            relative_humidity: details.relative_humidity,
            wind_10m: details.wind_speed,
            cloud_cover: details.cloud_area_fraction.map(|percent| percent / 100.0),
            ..Row::at(time, details.air_temperature)
        })
        .collect();
    believe(Document {
        provider: Provider::MetNorway,
        issued: Some(issued),
        fetched,
        cell_elevation: geometry.and_then(|geometry| geometry.coordinates.get(2).copied()),
        rows,
        minima,
    })
}

/// The minima of six hours at the steps that no hourly step follows.
fn minima(timeseries: &[Step]) -> Vec<IntervalMinimum> {
    let mut minima = Vec::new();
    for (index, step) in timeseries.iter().enumerate() {
        let followed_within_the_hour =
            timeseries.get(index + 1).is_some_and(|next| next.time - step.time <= Duration::hours(1));
        let low = step.data.next_6_hours.as_ref().and_then(|next| next.details.as_ref()?.air_temperature_min);
        let end = step.time.checked_add_signed(Duration::hours(6));
        if let (false, Some(low), Some(to)) = (followed_within_the_hour, low, end) {
            minima.push(IntervalMinimum { from: step.time, to, low: Celsius(low) });
        }
    }
    minima
}

fn check(quantity: &'static str, given: bool, unit: &Option<Cow<str>>, known: &str) -> Result<(), FeedFault> {
    let stated = unit.as_deref().unwrap_or("none given");
    if given && stated != known {
        return Err(FeedFault::UnknownUnit { quantity, unit: super::fault::excerpt(stated) });
    }
    Ok(())
}

#[cfg(test)]
mod tests;
