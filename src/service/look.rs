//! One look at one garden: the best forecast at hand, the evening's readings, and the list that follows from them.

use super::feed::{
    self, Conditions, FeedFault, Fetched, Fetcher, Location, hourly_arrays_address, met_norway_address,
    nws_grid_address, with_retries,
};
use super::store::{ForecastRow, Store, StoreFault};
use crate::beds::Garden;
use crate::crops::Catalogue;
use crate::night::screen::{Evidence, Span, expect};
use crate::night::{Knowledge, NoNight};
use crate::plan::{Plan, decide};
use crate::risk::{assess, place_of};
use crate::rounds::night_hours;
use crate::settings::{FeedChoice, GardenSettings};
use crate::units::Kelvins;
use crate::weather::{Forecast, Provider, Reading};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use std::path::Path;

/// What is at hand for one list.
#[derive(Clone, Debug, Default)]
pub struct Gathered {
    /// In the garden's order of preference.
    pub forecasts: Vec<Forecast>,
    /// What went wrong with feeds, a sentence each for the garden.
    pub troubles: Vec<String>,
}

/// The stretch of a night at a garden.
pub fn span_of(garden: &Garden, of: NightOf) -> Span {
    let (sunset, sunrise) = night_hours(&garden.site, &garden.zone, of);
    Span { of, sunset, sunrise }
}

/// The list of a night: from the first forecast that knows the whole night, else from the first that knows any of it,
/// else from readings alone, else a list that says that nothing is known.
pub fn list<'a>(
    garden: &'a Garden,
    catalogue: &'a Catalogue,
    of: NightOf,
    forecasts: &[Forecast],
    readings: &[Reading],
    now: DateTime<Utc>,
) -> Plan<'a> {
    let span = span_of(garden, of);
    let night_from = |forecast: Option<&Forecast>| {
        expect(&Evidence { forecast, readings, garden_offset: garden.offset, now }, &span)
    };
    let mut nights: Vec<_> = forecasts.iter().map(|forecast| night_from(Some(forecast))).collect();
    nights.push(night_from(None));
    let is_whole = |night: &Result<crate::night::Night, NoNight>| {
        night.as_ref().is_ok_and(|night| night.knowledge == Knowledge::Complete)
    };
    // A forecast with holes still says more than a thermometer alone, which stands last; an incomplete forecast with a
    // reading is refined by it.
    let with_forecast = &nights[..nights.len() - 1];
    let best = with_forecast
        .iter()
        .position(is_whole)
        .or_else(|| with_forecast.iter().position(|night| night.as_ref().is_ok_and(|n| n.provider.is_some())))
        .or_else(|| nights.iter().position(Result::is_ok));
    // Nothing usable: the first feed's reason is the one worth telling.
    let night = nights.swap_remove(best.unwrap_or(0));
    let risks = assess(garden, night.as_ref().ok(), catalogue);
    decide(garden, of, span.sunset, night, risks, now)
}

/// Readings of an evening, brought to the garden's screen: what a bed's thermometer showed less the bed's offset.
pub async fn readings(store: &Store, garden: &Garden, of: NightOf) -> Result<Vec<Reading>, StoreFault> {
    let span = span_of(garden, of);
    let rows = store.readings(&garden.id, span.sunset - Duration::hours(1), span.end()).await?;
    let readings = rows.iter().map(|row| {
        let bed = row.bed.as_ref().and_then(|id| garden.beds.iter().find(|bed| bed.id == *id));
        let offset = bed.map_or(Kelvins(0.0), |bed| {
            let place = place_of(bed);
            place.offset.unwrap_or(place.exposure.effect().offset)
        });
        Reading { at: row.at, air: row.temperature - offset, dew_point: row.dew_point }
    });
    Ok(readings.collect())
}

/// Where and how forecasts are had.
#[derive(Clone, Copy)]
pub struct Sources<'a> {
    pub fetcher: &'a Fetcher,
    /// Without a store nothing is kept and nothing can be fallen back on.
    pub store: Option<&'a Store>,
    /// Relative paths start here.
    pub folder: &'a Path,
    /// Longest time for one feed, tries included.
    pub patience: std::time::Duration,
}

impl Sources<'_> {
    /// Asks the garden's feeds in order until one knows the whole night; what they cannot give is taken from the store
    /// as long as it is young enough.
    pub async fn gather(&self, settings: &GardenSettings, of: NightOf, now: DateTime<Utc>) -> Gathered {
        let garden = &settings.garden;
        let span = span_of(garden, of);
        let mut gathered = Gathered::default();
        for choice in &settings.feeds {
            let Some(forecast) = self.one_feed(garden, choice, now, &mut gathered.troubles).await else { continue };
            let evidence = Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, now };
            let whole = match expect(&evidence, &span) {
                Ok(night) => night.knowledge == Knowledge::Complete,
                Err(why) => {
                    gathered.troubles.push(format!("Feed {}: {why}.", choice.name));
                    false
                }
            };
            gathered.forecasts.push(forecast);
            if whole {
                // Feeds asked in vain before are told only where it matters: when no forecast is whole.
                break;
            }
        }
        gathered
    }

    /// One feed: fresh, unchanged since the last fetch, or its last good copy.
    async fn one_feed(
        &self,
        garden: &Garden,
        choice: &FeedChoice,
        now: DateTime<Utc>,
        troubles: &mut Vec<String>,
    ) -> Option<Forecast> {
        let kept = match self.store {
            None => None,
            Some(store) => store.last_forecast(&garden.id, &choice.name).await.unwrap_or_else(|fault| {
                tracing::error!(garden = garden.id, feed = choice.name, %fault, "kept forecast cannot be read");
                None
            }),
        };
        if let Some(kept) = &kept
            && kept.expires.is_some_and(|expires| now < expires)
        {
            return Some(kept.forecast.clone());
        }
        match self.fresh(garden, choice, kept.as_ref(), now).await {
            Ok(row) => {
                if let Some(store) = self.store
                    && let Err(fault) = store.keep_forecast(&garden.id, &choice.name, &row).await
                {
                    // The list is made all the same; the store's trouble is told by whoever needs the store next.
                    tracing::error!(garden = garden.id, feed = choice.name, %fault, "forecast cannot be kept");
                }
                Some(row.forecast)
            }
            Err(fault) => {
                tracing::warn!(garden = garden.id, feed = choice.name, %fault, "feed gave no forecast");
                troubles.push(format!("Feed {}: {}", choice.name, fault.for_the_garden()));
                kept.map(|kept| kept.forecast)
            }
        }
    }

    async fn fresh(
        &self,
        garden: &Garden,
        choice: &FeedChoice,
        kept: Option<&ForecastRow>,
        now: DateTime<Utc>,
    ) -> Result<ForecastRow, FeedFault> {
        match self.fetch(garden, choice, kept, now).await {
            // The cell has moved: the mapping is looked up once more.
            Err(FeedFault::Moved { .. })
                if choice.provider == Provider::NationalWeatherService && self.store.is_some() =>
            {
                self.forget_grid(garden, choice).await;
                self.fetch(garden, choice, None, now).await
            }
            other => other,
        }
    }

    async fn fetch(
        &self,
        garden: &Garden,
        choice: &FeedChoice,
        kept: Option<&ForecastRow>,
        now: DateTime<Utc>,
    ) -> Result<ForecastRow, FeedFault> {
        let conditions = kept.map_or_else(Conditions::default, |kept| Conditions {
            etag: kept.etag.clone(),
            last_modified: kept.last_modified.clone(),
            expires: kept.expires,
        });
        let location = self.location(garden, choice, now).await?;
        let fetched = with_retries(self.patience, || self.fetcher.fetch(&location, &conditions, now)).await?;
        let row = |forecast: Forecast, conditions: Conditions| ForecastRow {
            forecast,
            etag: conditions.etag,
            last_modified: conditions.last_modified,
            expires: conditions.expires,
        };
        match (fetched, kept) {
            (Fetched::Fresh { body, conditions }, _) => {
                let forecast = feed::decode(&choice.provider, &body, now)?;
                Ok(row(forecast, conditions))
            }
            (Fetched::NotModified { conditions }, Some(kept)) => Ok(row(kept.forecast.clone(), conditions)),
            (Fetched::NotModified { .. }, None) => {
                Err(FeedFault::NotTheFormat { what: "an answer \"not modified\" to a first question".into() })
            }
        }
    }

    /// The address of a garden's document at a feed.
    async fn location(&self, garden: &Garden, choice: &FeedChoice, now: DateTime<Utc>) -> Result<Location, FeedFault> {
        let base = match &choice.address {
            Some(address) => self.parse(address)?,
            None => self.parse(default_address(&choice.provider))?,
        };
        if let Location::File(_) = base {
            return Ok(base);
        }
        let (latitude, longitude) = (garden.site.latitude, garden.site.longitude);
        let address = match choice.provider {
            Provider::NationalWeatherService => return self.grid_location(garden, choice, &base, now).await,
            Provider::MetNorway => met_norway_address(&base, latitude, longitude, Some(garden.site.elevation))?,
            Provider::HourlyArrays => hourly_arrays_address(&base, latitude, longitude, Some(garden.site.elevation))?,
            Provider::Csv | Provider::HandGivenLow => return Ok(base),
        };
        self.parse(&address)
    }

    /// The grid cell of a garden, looked up once a week.
    async fn grid_location(
        &self,
        garden: &Garden,
        choice: &FeedChoice,
        base: &Location,
        now: DateTime<Utc>,
    ) -> Result<Location, FeedFault> {
        if let Some(store) = self.store
            && let Ok(Some(known)) = store.grid_address(&garden.id, &choice.name).await
            && now - known.looked_up < Duration::days(7)
        {
            return self.parse(&known.address);
        }
        let (latitude, longitude) = (garden.site.latitude, garden.site.longitude);
        let address =
            with_retries(self.patience, || nws_grid_address(self.fetcher, base, latitude, longitude, now)).await?;
        if let Some(store) = self.store {
            if let Err(fault) = store.keep_grid_address(&garden.id, &choice.name, &address, now).await {
                tracing::error!(garden = garden.id, %fault, "grid address cannot be kept");
            }
        }
        self.parse(&address)
    }

    async fn forget_grid(&self, garden: &Garden, choice: &FeedChoice) {
        let Some(store) = self.store else { return };
        // Looked up so long ago that it is looked up again.
        if let Err(fault) = store.keep_grid_address(&garden.id, &choice.name, "", DateTime::UNIX_EPOCH).await {
            tracing::error!(garden = garden.id, %fault, "grid address cannot be forgotten");
        }
    }

    fn parse(&self, address: &str) -> Result<Location, FeedFault> {
        let location: Location =
            address.parse().map_err(|fault| FeedFault::Refused { reason: format!("{address}: {fault}") })?;
        Ok(match location {
            Location::File(path) if path.is_relative() => Location::File(self.folder.join(path)),
            other => other,
        })
    }
}

fn default_address(provider: &Provider) -> &'static str {
    match provider {
        Provider::NationalWeatherService => "https://api.weather.gov",
        Provider::MetNorway => "https://api.met.no",
        Provider::HourlyArrays => "https://api.open-meteo.com",
        // Settings ask for the file of these.
        Provider::Csv | Provider::HandGivenLow => "",
    }
}
