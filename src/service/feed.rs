//! Forecast feeds: one pure decoder per provider, from bytes to a [`Forecast`] or a named fault, and the fetching.
//!
//! A decoder reads the unit of every value it uses from the document and refuses one it does not know. Conversions
//! happen there and nowhere else. Nothing missing is filled.

pub mod csv;
pub mod hourly_arrays;
pub mod met_norway;
pub mod nws;

mod address;
mod cell;
mod fault;
mod fetch;
mod location;
mod plausible;
mod retry;

pub use address::{hourly_arrays_address, met_norway_address, nws_grid_address};
pub use cell::{CellForecast, Question, part_of};
pub use fault::FeedFault;
pub use fetch::{CannotFetch, Conditions, FetchLimits, Fetched, Fetcher};
pub use location::{Location, LocationFault};
pub use nws::Area;
pub use retry::with_retries;

use crate::weather::{Forecast, Provider};
use chrono::{DateTime, Utc};
use serde_json::Value;

/// The forecast in a document of a known provider. `fetched` is when the document came.
pub fn decode(provider: &Provider, body: &[u8], fetched: DateTime<Utc>) -> Result<Forecast, FeedFault> {
    match (body.trim_ascii_start().first(), provider) {
        (_, Provider::HandGivenLow) => Err(FeedFault::not_the_format("a low given by hand is not a document")),
        (None, _) => Err(FeedFault::Empty),
        (Some(b'<'), _) => Err(FeedFault::not_the_format("a web page in place of a forecast")),
        (_, Provider::NationalWeatherService) => nws::decode(body, fetched),
        (_, Provider::MetNorway) => met_norway::decode(body, fetched),
        (_, Provider::HourlyArrays) => hourly_arrays::decode(body, fetched),
        (_, Provider::Csv) => csv::decode(body, fetched),
    }
}

/// Whose document this is, by its structure alone.
pub fn recognise(body: &[u8]) -> Option<Provider> {
    let Ok(document) = serde_json::from_slice::<Value>(body) else {
        let text = std::str::from_utf8(body).ok()?;
        let header = text.trim_start_matches('\u{feff}').lines().find(|line| !line.trim().is_empty())?;
        return csv::is_header(header).then_some(Provider::Csv);
    };
    let has = |pointer: &str| document.pointer(pointer).is_some();
    if has("/properties/temperature/values") {
        Some(Provider::NationalWeatherService)
    } else if has("/properties/timeseries") || has("/data/properties/timeseries") {
        Some(Provider::MetNorway)
    } else if has("/hourly/time") || (has("/error") && has("/reason")) {
        // The second is this shape's way of refusing; its decoder says why.
        Some(Provider::HourlyArrays)
    } else {
        None
    }
}

#[cfg(test)]
mod tests;
