//! The address of a garden's forecast at each provider, made from the provider's base address and the garden's place.
//!
//! The bases come from the settings: `https://api.weather.gov`, `https://api.met.no` or `https://api.open-meteo.com`,
//! or an address on this machine.

use super::{Conditions, FeedFault, Fetched, Fetcher, Location};
use crate::units::{LATITUDE, LONGITUDE};
use chrono::{DateTime, Utc};
use reqwest::Url;
use serde::Deserialize;

/// What is asked of a provider of hourly arrays. UTC, unix seconds and metres per second, because otherwise times are
/// local without offset and the wind is in km/h.
const HOURLY_QUERY: [(&str, &str); 4] = [
    ("hourly", "temperature_2m,dew_point_2m,relative_humidity_2m,cloud_cover,wind_speed_10m,soil_temperature_0cm"),
    ("timezone", "UTC"),
    ("timeformat", "unixtime"),
    ("wind_speed_unit", "ms"),
];

/// The address of the raw grid that covers a place, asked of the US National Weather Service. It changes without
/// notice: ask again weekly, and whenever the grid answers [`FeedFault::Moved`].
pub async fn nws_grid_address(
    fetcher: &Fetcher,
    base: &Location,
    latitude: f64,
    longitude: f64,
    now: DateTime<Utc>,
) -> Result<String, FeedFault> {
    #[derive(Deserialize)]
    struct Point {
        properties: PointProperties,
    }
    #[derive(Deserialize)]
    #[serde(rename_all = "camelCase")]
    struct PointProperties {
        /// Empty for places in the sea and abroad.
        forecast_grid_data: Option<String>,
    }
    let (latitude, longitude) = degrees(latitude, longitude, OF_A_PLACE)?;
    let point = address(base, &format!("/points/{latitude},{longitude}"), &[])?;
    let not_covered = |reason: &str| FeedFault::NotCovered { reason: reason.into() };
    let body = match fetcher.fetch(&point, &Conditions::default(), now).await {
        Ok(Fetched::Fresh { body, .. }) => body,
        Ok(Fetched::NotModified { .. }) => return Err(FeedFault::Empty),
        // This question has no address that could have moved: the service does not know the place.
        Err(FeedFault::Moved { to: None }) => return Err(not_covered("it answers 404 to the place itself")),
        Err(fault) => return Err(fault),
    };
    let point: Point = serde_json::from_slice(&body).map_err(|error| FeedFault::json(&error))?;
    let Some(grid) = point.properties.forecast_grid_data.filter(|grid| !grid.trim().is_empty()) else {
        return Err(not_covered("it gives no grid for it, as for places in the sea"));
    };
    // An answer must not be able to send us, and the garden's place with us, somewhere else.
    let at_home = Url::parse(&grid).is_ok_and(|url| base.url().is_some_and(|base| base.origin() == url.origin()));
    if at_home { Ok(grid) } else { Err(FeedFault::Moved { to: Some(super::fault::without_query(&grid)) }) }
}

/// The address of MET Norway's forecast. The elevation, in metres, corrects its temperature.
pub fn met_norway_address(
    base: &Location,
    latitude: f64,
    longitude: f64,
    elevation: Option<f64>,
) -> Result<String, FeedFault> {
    let (latitude, longitude) = degrees(latitude, longitude, OF_A_CELL)?;
    let mut query = vec![("lat", latitude), ("lon", longitude)];
    query.extend(elevation.map(|elevation| ("altitude", metres(elevation))));
    address(base, "/weatherapi/locationforecast/2.0/complete", &query).map(|location| location.to_string())
}

/// The address of a forecast in hourly arrays. Without an elevation, in metres, the provider takes that of its own map.
pub fn hourly_arrays_address(
    base: &Location,
    latitude: f64,
    longitude: f64,
    elevation: Option<f64>,
) -> Result<String, FeedFault> {
    let (latitude, longitude) = degrees(latitude, longitude, OF_A_CELL)?;
    let mut query = vec![("latitude", latitude), ("longitude", longitude)];
    query.extend(elevation.map(|elevation| ("elevation", metres(elevation))));
    query.extend(HOURLY_QUERY.map(|(name, value)| (name, value.to_string())));
    address(base, "/v1/forecast", &query).map(|location| location.to_string())
}

fn address(base: &Location, path: &str, query: &[(&str, String)]) -> Result<Location, FeedFault> {
    let in_place = |mut url: Url| {
        let base = url.path().trim_end_matches('/');
        // A provider's documentation shows the whole address, and somebody may have copied that.
        let whole = if base.ends_with(path) { base.to_string() } else { format!("{base}{path}") };
        url.set_path(&whole);
        url.set_fragment(None);
        // Written by hand: the commas of a list stay commas, as in the providers' own examples.
        // What the base brings, such as the key of a paid plan, comes first.
        let own = url.query().filter(|own| !own.is_empty()).map(str::to_string);
        let query = query.iter().map(|(name, value)| format!("{name}={value}"));
        let query: Vec<String> = own.into_iter().chain(query).collect();
        url.set_query((!query.is_empty()).then(|| query.join("&")).as_deref());
        url
    };
    match base.clone() {
        Location::Https(url) => Ok(Location::Https(in_place(url))),
        Location::Loopback(url) => Ok(Location::Loopback(in_place(url))),
        Location::File(path) => Err(FeedFault::not_the_format(format!(
            "{} is a file, and this feed needs a service's address",
            path.display()
        ))),
    }
}

/// About 10 m: one decimal more is answered with 403 by MET Norway, a trailing zero with a redirect by the US National
/// Weather Service.
const OF_A_PLACE: usize = 4;
/// About 1 km, so that neighbouring gardens ask for one document: finer than the models behind these services are for most
/// of the world (9 to 25 km, from memory).
const OF_A_CELL: usize = 2;

/// The height above sea level, to 10 m for the same reason: at most 5 m off, a thirtieth of a degree.
fn metres(elevation: f64) -> String {
    decimal((elevation / 10.0).round() * 10.0, 0)
}

fn degrees(latitude: f64, longitude: f64, decimals: usize) -> Result<(String, String), FeedFault> {
    for (limits, value) in [(LATITUDE, latitude), (LONGITUDE, longitude)] {
        limits.check(value).map_err(|error| FeedFault::not_the_format(error.to_string()))?;
    }
    Ok((decimal(latitude, decimals), decimal(longitude, decimals)))
}

/// At most so many decimals, no trailing zeros, no `-0`.
fn decimal(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".into() } else { text.into() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coordinates_have_at_most_four_decimals_and_no_trailing_zeros() {
        for (value, expected) in [
            (40.0, "40"),
            (-74.006, "-74.006"),
            (35.595058, "35.5951"),
            (-0.00001, "0"),
            (100.0, "100"),
            (-82.50, "-82.5"),
        ] {
            assert_eq!(decimal(value, 4), expected);
        }
        assert!(degrees(f64::NAN, 0.0, OF_A_CELL).is_err() && degrees(0.0, 180.1, OF_A_PLACE).is_err());
    }

    #[test]
    fn addresses_are_those_of_the_providers_documentation() -> Result<(), Box<dyn std::error::Error>> {
        let base: Location = "https://weather.example/".parse()?;
        assert_eq!(
            met_norway_address(&base, 35.595058, -82.5, Some(650.4))?,
            "https://weather.example/weatherapi/locationforecast/2.0/complete?lat=35.6&lon=-82.5&altitude=650"
        );
        assert_eq!(
            hourly_arrays_address(&base, 35.6, -82.5, None)?,
            "https://weather.example/v1/forecast?latitude=35.6&longitude=-82.5\
             &hourly=temperature_2m,dew_point_2m,relative_humidity_2m,cloud_cover,wind_speed_10m,soil_temperature_0cm\
             &timezone=UTC&timeformat=unixtime&wind_speed_unit=ms"
        );
        let mine: Location = "https://weather.example/mine/?apikey=k&a=b#top".parse()?;
        assert_eq!(
            met_norway_address(&mine, 35.6, -82.5, None)?,
            "https://weather.example/mine/weatherapi/locationforecast/2.0/complete?apikey=k&a=b&lat=35.6&lon=-82.5"
        );
        let whole = "https://weather.example/v1/forecast".parse()?;
        assert_eq!(hourly_arrays_address(&whole, 35.6, -82.5, None)?, hourly_arrays_address(&base, 35.6, -82.5, None)?);
        assert!(met_norway_address(&"feeds/tonight.json".parse()?, 35.6, -82.5, None).is_err());
        Ok(())
    }
}
