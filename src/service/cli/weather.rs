//! Where a command takes its weather from: the garden's feeds, one file, or one low given by hand.

use super::{Configuration, Failure};
use crate::night::screen::forecast_of_low;
use crate::service::feed::{Fetcher, decode, recognise};
use crate::service::look::{Gathered, Sources, readings, span_of};
use crate::service::store::{Open, Store};
use crate::settings::{GardenSettings, Settings};
use crate::units::{Celsius, READING, parse_temperature};
use crate::weather::{Provider, Reading};
use crate::zone::NightOf;
use chrono::{DateTime, Utc};
use clap::Args;
use std::path::{Path, PathBuf};
use std::time::Duration;

#[derive(Debug, Args)]
pub(super) struct WeatherArguments {
    /// Use this forecast document instead of the garden's feeds; its format is recognised
    #[arg(long, value_name = "FILE", conflicts_with = "low")]
    pub feed: Option<PathBuf>,
    /// The format of --feed, if it is not recognised: nws, met-norway, hourly-arrays or csv
    #[arg(long, value_name = "FORMAT", value_parser = provider, requires = "feed")]
    pub feed_format: Option<Provider>,
    /// Use this low alone, such as 27F or -3C
    #[arg(long, value_name = "TEMPERATURE", value_parser = low, allow_hyphen_values = true)]
    pub low: Option<Celsius>,
    /// The longest wait for one feed before the list is made without it
    #[arg(long, value_name = "SECONDS", default_value_t = 20, value_parser = clap::value_parser!(u64).range(1..=600))]
    pub patience: u64,
    /// Take this for the present, such as 2027-01-16T13:00:00-05:00
    #[arg(long, value_name = "RFC3339", value_parser = super::instant)]
    pub now: Option<DateTime<Utc>>,
}

fn provider(text: &str) -> Result<Provider, String> {
    [Provider::NationalWeatherService, Provider::MetNorway, Provider::HourlyArrays, Provider::Csv]
        .into_iter()
        .find(|provider| provider.key() == text)
        .ok_or_else(|| "write nws, met-norway, hourly-arrays or csv".to_string())
}

/// A temperature with its unit that an outdoor thermometer can show.
pub(super) fn low(text: &str) -> Result<Celsius, String> {
    let temperature = parse_temperature(text).map_err(|fault| fault.to_string())?;
    READING.check(temperature.0).map_err(|fault| {
        let (low, high) = (Celsius(fault.low), Celsius(fault.high));
        format!(
            "{text} is not a temperature of a garden; between {:.0} C ({:.0} F) and {:.0} C ({:.0} F) is",
            low.0,
            low.fahrenheit(),
            high.0,
            high.fahrenheit()
        )
    })?;
    Ok(temperature)
}

impl WeatherArguments {
    pub fn now(&self) -> DateTime<Utc> {
        self.now.unwrap_or_else(Utc::now)
    }

    /// Forecasts and the evening's readings, for one garden's night.
    pub fn gather(
        &self,
        configuration: &Configuration,
        settings: &Settings,
        garden: &GardenSettings,
        of: NightOf,
    ) -> Result<(Gathered, Vec<Reading>), Failure> {
        let now = self.now();
        let given = match (&self.low, &self.feed) {
            (Some(low), _) => Some(forecast_of_low(*low, &span_of(&garden.garden, of), now)),
            (None, Some(file)) => Some(self.from_file(file, now)?),
            (None, None) => None,
        };
        let path = configuration.store_path(settings);
        // A list must not make a store where none is: a replay in an empty folder leaves nothing behind.
        if given.is_some() && !path.exists() {
            return Ok((Gathered { forecasts: given.into_iter().collect(), troubles: Vec::new() }, Vec::new()));
        }
        super::runtime()?.block_on(async {
            let store = match Store::open(&path, Open::ReadWrite).await {
                Ok(store) => store,
                // A given forecast needs no store; the readings in it are then missing, and that is said.
                Err(fault) if given.is_some() => {
                    let troubles = vec![format!("The readings could not be read: {fault}")];
                    return Ok((Gathered { forecasts: given.into_iter().collect(), troubles }, Vec::new()));
                }
                Err(fault) => return Err(fault.into()),
            };
            let readings = readings(&store, &garden.garden, of).await?;
            let gathered = match given {
                Some(forecast) => Gathered { forecasts: vec![forecast], troubles: Vec::new() },
                None => {
                    let fetcher = Fetcher::new(&settings.service.operator)
                        .map_err(|fault| Failure::Unexpected(fault.to_string()))?;
                    let sources = Sources {
                        fetcher: &fetcher,
                        store: Some(&store),
                        folder: &configuration.config,
                        patience: Duration::from_secs(self.patience),
                    };
                    sources.gather(garden, of, now).await
                }
            };
            store.close().await;
            Ok((gathered, readings))
        })
    }

    fn from_file(&self, file: &Path, now: DateTime<Utc>) -> Result<crate::weather::Forecast, Failure> {
        let at_fault = |what: String| Failure::Settings(format!("{}: {what}", file.display()));
        let body = std::fs::read(file).map_err(|error| at_fault(format!("this file cannot be read: {error}.")))?;
        let provider = match &self.feed_format {
            Some(provider) => provider.clone(),
            None => recognise(&body).ok_or_else(|| {
                let what = if body.iter().all(u8::is_ascii_whitespace) {
                    "this file is empty.".to_string()
                } else if body.iter().find(|byte| !byte.is_ascii_whitespace()) == Some(&b'<') {
                    "this is a web page, not a forecast document.".to_string()
                } else {
                    "this is no forecast document that is known, or it is cut off; name its format with --feed-format \
                     (nws, met-norway, hourly-arrays, csv) to see what is wrong in it."
                        .to_string()
                };
                at_fault(what)
            })?,
        };
        decode(&provider, &body, now).map_err(|fault| at_fault(fault.to_string()))
    }
}
