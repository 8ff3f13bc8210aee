//! An hourly JSON document of parallel arrays, of the shape that Open-Meteo publishes; a garden's own file may have
//! it too.
//!
//! The document does not say when it was issued, so its age counts from the fetch.

use super::FeedFault;
use super::plausible::{Document, Row, believe};
use crate::weather::{Forecast, Provider};
use chrono::{DateTime, NaiveDateTime, Utc};
use serde::Deserialize;

#[derive(Deserialize)]
struct Arrays {
    #[serde(default)]
    error: bool,
    reason: Option<String>,
    utc_offset_seconds: Option<f64>,
    elevation: Option<f64>,
    #[serde(default)]
    hourly_units: Units,
    hourly: Option<Hourly>,
}

#[derive(Default, Deserialize)]
struct Units {
    time: Option<String>,
    temperature_2m: Option<String>,
    #[serde(alias = "dewpoint_2m")]
    dew_point_2m: Option<String>,
    #[serde(alias = "relativehumidity_2m")]
    relative_humidity_2m: Option<String>,
    #[serde(alias = "cloudcover")]
    cloud_cover: Option<String>,
    #[serde(alias = "windspeed_10m")]
    wind_speed_10m: Option<String>,
}

#[derive(Deserialize)]
struct Hourly {
    time: Times,
    temperature_2m: Option<Vec<Option<f64>>>,
    #[serde(alias = "dewpoint_2m")]
    dew_point_2m: Option<Vec<Option<f64>>>,
    #[serde(alias = "relativehumidity_2m")]
    relative_humidity_2m: Option<Vec<Option<f64>>>,
    #[serde(alias = "cloudcover")]
    cloud_cover: Option<Vec<Option<f64>>>,
    #[serde(alias = "windspeed_10m")]
    wind_speed_10m: Option<Vec<Option<f64>>>,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Times {
    Unix(Vec<i64>),
    Written(Vec<String>),
}

/// The forecast in such a document.
pub fn decode(body: &[u8], fetched: DateTime<Utc>) -> Result<Forecast, FeedFault> {
    let document: Arrays = serde_json::from_slice(body).map_err(|error| FeedFault::json(&error))?;
    if document.error {
        let reason = super::fault::excerpt(document.reason.as_deref().unwrap_or("no reason given"));
        return Err(FeedFault::Refused { reason });
    }
    let Some(hourly) = document.hourly else { return Err(FeedFault::not_the_format("no hourly.time")) };
    let units = document.hourly_units;
    let times = times(hourly.time, units.time.as_deref(), document.utc_offset_seconds)?;

    let column = |values: Option<Vec<Option<f64>>>, quantity, unit: Option<String>, known: fn(&str) -> Option<f64>| {
        let Some(values) = values else { return Ok(vec![None; times.len()]) };
        if values.len() != times.len() {
            let (got, expected) = (values.len(), times.len());
            return Err(FeedFault::not_the_format(format!("{got} values of {quantity} for {expected} hours")));
        }
        if values.iter().all(Option::is_none) {
            return Ok(values);
        }
        let stated = unit.as_deref().unwrap_or("none given");
        match known(stated) {
            Some(factor) => Ok(values.into_iter().map(|value| value.map(|value| value * factor)).collect()),
            None => Err(FeedFault::UnknownUnit { quantity, unit: super::fault::excerpt(stated) }),
        }
    };
    let celsius = |unit: &str| (unit == "°C").then_some(1.0);
    let percent = |unit: &str| (unit == "%").then_some(1.0);
    let fraction = |unit: &str| (unit == "%").then_some(0.01);
    let air_temperature = column(hourly.temperature_2m, "air temperature", units.temperature_2m, celsius)?;
    let dew_point = column(hourly.dew_point_2m, "dew point", units.dew_point_2m, celsius)?;
    let humidity = column(hourly.relative_humidity_2m, "relative humidity", units.relative_humidity_2m, percent)?;
    let cloud = column(hourly.cloud_cover, "cloud cover", units.cloud_cover, fraction)?;
    let wind = column(hourly.wind_speed_10m, "wind", units.wind_speed_10m, metres_per_second)?;

    let rows = times.iter().zip(air_temperature).zip(dew_point).zip(humidity).zip(cloud).zip(wind);
    let rows = rows
        .map(|(((((time, t), dew_point), relative_humidity), cloud_cover), wind_10m)| Row {
            dew_point,
            relative_humidity,
            wind_10m,
            cloud_cover,
            ..Row::at(*time, t)
        })
        .collect();
    believe(Document {
        provider: Provider::HourlyArrays,
        issued: None,
        fetched,
        cell_elevation: document.elevation,
        rows,
        minima: Vec::new(),
    })
}

/// What to multiply a wind by. A knot is a nautical mile of 1852 m per hour (BIPM, SI brochure, 8th edition, table 8),
/// a mile is 1609.344 m (the international mile of 1959, exact; from memory).
fn metres_per_second(unit: &str) -> Option<f64> {
    match unit {
        "m/s" | "ms" => Some(1.0),
        "km/h" | "kmh" => Some(1.0 / 3.6),
        "kn" => Some(1852.0 / 3600.0),
        "mp/h" | "mph" => Some(1609.344 / 3600.0),
        _ => None,
    }
}

/// The instants of the document. Unix seconds are UTC whatever the document's zone; written times carry no offset and
/// are taken only where the document says that they are UTC.
fn times(times: Times, unit: Option<&str>, offset: Option<f64>) -> Result<Vec<DateTime<Utc>>, FeedFault> {
    match (times, unit.unwrap_or("none given")) {
        (Times::Unix(seconds), "unixtime") => seconds
            .into_iter()
            .map(|seconds| DateTime::from_timestamp(seconds, 0).ok_or(seconds))
            .collect::<Result<_, i64>>()
            .map_err(|seconds| FeedFault::not_the_format(format!("{seconds} is not a time in unix seconds"))),
        (Times::Written(_), "iso8601") if offset != Some(0.0) => Err(FeedFault::not_the_format(
            "times are local and without offset: ask for timezone=UTC and timeformat=unixtime",
        )),
        (Times::Written(texts), "iso8601") => texts
            .into_iter()
            .map(|text| match NaiveDateTime::parse_from_str(&text, "%Y-%m-%dT%H:%M") {
                Ok(time) => Ok(time.and_utc()),
                Err(_) => Err(FeedFault::not_the_format(format!("{text:?} is not a time"))),
            })
            .collect(),
        // An empty list reads as unix seconds whatever its unit.
        (Times::Unix(seconds), _) if seconds.is_empty() => Ok(Vec::new()),
        (_, unit) => Err(FeedFault::UnknownUnit { quantity: "time", unit: super::fault::excerpt(unit) }),
    }
}

#[cfg(test)]
mod tests;
