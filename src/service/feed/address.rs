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
        forecast_grid_data: String,
    }
    let (latitude, longitude) = degrees(latitude, longitude)?;
    let point = address(base, &format!("/points/{latitude},{longitude}"), &[])?;
    let body = match fetcher.fetch(&point, &Conditions::default(), now).await? {
        Fetched::Fresh { body, .. } => body,
        Fetched::NotModified { .. } => return Err(FeedFault::Empty),
    };
    let point: Point = serde_json::from_slice(&body).map_err(|error| FeedFault::json(&error))?;
    let grid = point.properties.forecast_grid_data;
    // An answer must not be able to send us, and the garden's place with us, somewhere else.
    let at_home = Url::parse(&grid).is_ok_and(|url| base.url().is_some_and(|base| base.origin() == url.origin()));
    if at_home { Ok(grid) } else { Err(FeedFault::Moved { to: Some(super::fault::excerpt(&grid)) }) }
}

/// The address of MET Norway's forecast. The elevation, in metres, corrects its temperature.
pub fn met_norway_address(
    base: &Location,
    latitude: f64,
    longitude: f64,
    elevation: Option<f64>,
) -> Result<String, FeedFault> {
    let (latitude, longitude) = degrees(latitude, longitude)?;
    let mut query = vec![("lat", latitude), ("lon", longitude)];
    query.extend(elevation.map(|metres| ("altitude", decimal(metres, 0))));
    address(base, "/weatherapi/locationforecast/2.0/complete", &query).map(|location| location.to_string())
}

/// The address of a forecast in hourly arrays. Without an elevation, in metres, the provider takes that of its own map.
pub fn hourly_arrays_address(
    base: &Location,
    latitude: f64,
    longitude: f64,
    elevation: Option<f64>,
) -> Result<String, FeedFault> {
    let (latitude, longitude) = degrees(latitude, longitude)?;
    let mut query = vec![("latitude", latitude), ("longitude", longitude)];
    query.extend(elevation.map(|metres| ("elevation", decimal(metres, 0))));
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

/// Both to four decimals, about 10 m: one more is answered with 403 by MET Norway, a trailing zero with a redirect by
/// the US National Weather Service.
fn degrees(latitude: f64, longitude: f64) -> Result<(String, String), FeedFault> {
    for (limits, value) in [(LATITUDE, latitude), (LONGITUDE, longitude)] {
        limits.check(value).map_err(|error| FeedFault::not_the_format(error.to_string()))?;
    }
    Ok((decimal(latitude, 4), decimal(longitude, 4)))
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
        assert!(degrees(f64::NAN, 0.0).is_err() && degrees(0.0, 180.1).is_err());
    }

    #[test]
    fn addresses_are_those_of_the_providers_documentation() -> Result<(), Box<dyn std::error::Error>> {
        let base: Location = "https://weather.example/".parse()?;
        assert_eq!(
            met_norway_address(&base, 35.595058, -82.5, Some(650.4))?,
            "https://weather.example/weatherapi/locationforecast/2.0/complete?lat=35.5951&lon=-82.5&altitude=650"
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
