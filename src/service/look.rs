//! One look at one garden: the best forecast at hand, the evening's readings, and the list that follows from them.

use super::feed::{
    self, Conditions, FeedFault, Fetched, Fetcher, Location, hourly_arrays_address, met_norway_address,
    nws_grid_address, with_retries,
};
use super::store::{ForecastRow, GridAddress, Store, StoreFault};
use crate::beds::Garden;
use crate::crops::Catalogue;
use crate::night::past::PastDay;
use crate::night::screen::{Evidence, Span, expect, past};
use crate::night::{Knowledge, Night, NoNight, Remark};
use crate::plan::{Plan, decide};
use crate::risk::assess;
use crate::rounds::night_hours;
use crate::settings::{FeedChoice, GardenSettings};
use crate::units::Kelvins;
use crate::weather::{Forecast, Provider, Reading};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use std::path::Path;
use tokio::time::Instant;

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

fn is_whole(night: &Night) -> bool {
    night.knowledge == Knowledge::Complete
}

fn is_whole_and_young(night: &Night) -> bool {
    is_whole(night) && !night.remarks.iter().any(|remark| matches!(remark, Remark::Old { .. }))
}

/// A feed that asks for more silence than this was heard by a clock that ran ahead.
const LONGEST_EXPIRY: Duration = Duration::hours(6);
/// A copy older than this is not asked about but asked for anew: "not modified" would keep it for ever.
const TOO_OLD_TO_KEEP: Duration = Duration::hours(12);

/// Feeds whose lows are further apart than this speak of different nights, K (a first choice).
const DISAGREEMENT: Kelvins = Kelvins(3.0);

/// The list of a night: from the first forecast that knows the whole night and is not old, else from the first that
/// knows it all, else from the first that knows any of it, else from readings alone, else a list that says that nothing
/// is known. A feed that was passed over for its holes or its age and is much colder is believed all the same.
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
    // Where a forecast is of no use, the evening's thermometer has answered in its place. It stands last: a forecast
    // with holes still says more, and is refined by a reading too.
    let from_forecast = |night: &Result<Night, NoNight>, is_good: fn(&Night) -> bool| {
        night.as_ref().is_ok_and(|night| night.provider.is_some() && is_good(night))
    };
    let first = |is_good: fn(&Night) -> bool| nights.iter().position(|night| from_forecast(night, is_good));
    let best = first(is_whole_and_young)
        .or_else(|| first(is_whole))
        .or_else(|| first(|_| true))
        .or_else(|| nights.iter().position(Result::is_ok));
    // Nothing usable: the first feed's reason is the one worth telling.
    let best = best.unwrap_or(0);
    let low = |night: &Result<Night, NoNight>| night.as_ref().ok().map(|night| night.minimum.mean);
    let colder = low(&nights[best]).and_then(|chosen| {
        let forecasts = nights.iter().enumerate().filter(|(_, night)| from_forecast(night, |_| true));
        let others = forecasts.filter_map(|(index, night)| Some((index, low(night)?)));
        let coldest = others.min_by(|(_, a), (_, b)| a.0.total_cmp(&b.0))?;
        (chosen - coldest.1 > DISAGREEMENT).then_some((coldest.0, chosen - coldest.1))
    });
    let mut night = nights.swap_remove(colder.map_or(best, |(index, _)| index));
    if let (Ok(night), Some((_, by))) = (&mut night, colder) {
        night.remarks.push(Remark::FeedsDisagree { by });
    }
    if let Ok(night) = &mut night {
        // Plants remember what the feed that speaks tonight may not: the fullest record counts, its own where it is one.
        let fullest =
            forecasts.iter().map(|forecast| past(forecast, &span, garden.offset)).max_by_key(|past| known_lows(past));
        if let Some(fullest) = fullest.filter(|fullest| known_lows(fullest) > known_lows(&night.past)) {
            night.past = fullest;
        }
    }
    let risks = assess(garden, of, night.as_ref().ok(), catalogue);
    decide(garden, of, span.sunset, night, risks, now)
}

/// Of how many past nights the low is known.
fn known_lows(past: &[PastDay]) -> usize {
    past.iter().filter(|day| day.low(Kelvins(0.0)).is_some()).count()
}

/// Readings of an evening, each with the offset of the place where its thermometer hangs.
pub async fn readings(store: &Store, garden: &Garden, of: NightOf) -> Result<Vec<Reading>, StoreFault> {
    let span = span_of(garden, of);
    let rows = store.readings(&garden.id, span.sunset - Duration::hours(1), span.end()).await?;
    let readings = rows.iter().map(|row| {
        let bed = row.bed.as_ref().and_then(|id| garden.beds.iter().find(|bed| bed.id == *id));
        let offset = bed.map_or(Kelvins(0.0), |bed| bed.offset.unwrap_or(bed.exposure.effect().offset));
        Reading { at: row.at, air: row.temperature, dew_point: row.dew_point, offset }
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
    /// Whether `now` is the world's present, so that the age of a file means something.
    pub clock_is_real: bool,
}

impl Sources<'_> {
    /// Asks the garden's feeds in order until one knows the whole night and is not old; what they cannot give is taken
    /// from the store as long as it is young enough. Takes at most `patience` for each feed.
    pub async fn gather(&self, settings: &GardenSettings, of: NightOf, now: DateTime<Utc>) -> Gathered {
        let garden = &settings.garden;
        let span = span_of(garden, of);
        let mut gathered = Gathered::default();
        for choice in &settings.feeds {
            let Some(forecast) = self.one_feed(garden, choice, now, &mut gathered.troubles).await else { continue };
            let evidence = Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, now };
            let enough = match expect(&evidence, &span) {
                Ok(night) => is_whole_and_young(&night),
                Err(why) => {
                    gathered.troubles.push(format!("Feed {}: {why}.", choice.name));
                    false
                }
            };
            gathered.forecasts.push(forecast);
            if enough {
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
            Some(store) => store.last_forecast(&garden.id, &key_of(garden, choice)).await.unwrap_or_else(|fault| {
                tracing::error!(garden = garden.id, feed = choice.name, %fault, "kept forecast cannot be read");
                None
            }),
        };
        // What was fetched by a clock that ran ahead is not fresh for days.
        if let Some(kept) = &kept
            && kept.forecast.fetched <= now
            && kept.expires.is_some_and(|expires| now < expires && expires - now <= LONGEST_EXPIRY)
        {
            return Some(kept.forecast.clone());
        }
        let address = choice.address.as_deref().map(|address| self.parse(address));
        let is_file = matches!(address, Some(Ok(Location::File(_))));
        match self.fresh(garden, choice, kept.as_ref(), now).await {
            // Some of a provider's computers hand out copies that are days old.
            // A file is what its owner says, whatever its age.
            Ok(row) if !is_file && kept.as_ref().is_some_and(|kept| is_older(&row.forecast, &kept.forecast, now)) => {
                tracing::warn!(garden = garden.id, feed = choice.name, "feed gave an older forecast than before");
                kept.map(|kept| kept.forecast)
            }
            Ok(mut row) => {
                if let Some(kept) = &kept {
                    row.forecast = row.forecast.with_past_of(&kept.forecast);
                }
                if let Some(store) = self.store
                    && let Err(fault) = store.keep_forecast(&garden.id, &key_of(garden, choice), &row).await
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
        let deadline = Instant::now() + self.patience;
        match self.fetch(garden, choice, kept, now, deadline).await {
            // The cell has moved: the mapping is looked up once more.
            Err(FeedFault::Moved { .. })
                if choice.provider == Provider::NationalWeatherService && self.store.is_some() =>
            {
                self.forget_grid(garden, choice).await;
                self.fetch(garden, choice, None, now, deadline).await
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
        deadline: Instant,
    ) -> Result<ForecastRow, FeedFault> {
        let young = kept.filter(|kept| kept.forecast.age(now) <= TOO_OLD_TO_KEEP);
        let conditions = young.map_or_else(Conditions::default, |kept| Conditions {
            etag: kept.etag.clone(),
            last_modified: kept.last_modified.clone(),
            expires: kept.expires,
        });
        let location = self.location(garden, choice, now, deadline).await?;
        let left = deadline.saturating_duration_since(Instant::now());
        let fetched = with_retries(left, || self.fetcher.fetch(&location, &conditions, now)).await?;
        let row = |forecast: Forecast, conditions: Conditions| ForecastRow {
            forecast,
            etag: conditions.etag,
            last_modified: conditions.last_modified,
            expires: conditions.expires,
        };
        match (fetched, kept) {
            (Fetched::Fresh { body, conditions }, _) => {
                let mut forecast = feed::decode(&choice.provider, &body, now)?;
                // A table that nobody writes any more must not look fresh for a week.
                if let (None, Location::File(path)) = (forecast.issued, &location) {
                    forecast.issued = self.written(path);
                }
                Ok(row(forecast, conditions))
            }
            (Fetched::NotModified { conditions }, Some(kept)) => Ok(row(kept.forecast.clone(), conditions)),
            (Fetched::NotModified { .. }, None) => {
                Err(FeedFault::NotTheFormat { what: "an answer \"not modified\" to a first question".into() })
            }
        }
    }

    /// The address of a garden's document at a feed.
    async fn location(
        &self,
        garden: &Garden,
        choice: &FeedChoice,
        now: DateTime<Utc>,
        deadline: Instant,
    ) -> Result<Location, FeedFault> {
        let base = match &choice.address {
            Some(address) => self.parse(address)?,
            None => self.parse(default_address(&choice.provider))?,
        };
        if let Location::File(path) = &base {
            // A pipe, or a folder, would be waited for without end.
            if path.exists() && !path.is_file() {
                return Err(FeedFault::NotTheFormat { what: "it is not a plain file".into() });
            }
            return Ok(base);
        }
        let (latitude, longitude) = (garden.site.latitude, garden.site.longitude);
        let address = match choice.provider {
            Provider::NationalWeatherService => return self.grid_location(garden, choice, &base, now, deadline).await,
            Provider::MetNorway => met_norway_address(&base, latitude, longitude, Some(garden.site.elevation))?,
            Provider::HourlyArrays => hourly_arrays_address(&base, latitude, longitude, Some(garden.site.elevation))?,
            Provider::Csv | Provider::HandGivenLow => return Ok(base),
        };
        self.parse(&address)
    }

    /// The grid cell of a garden, looked up once a week. Where the look-up fails, the cell known before may still do.
    async fn grid_location(
        &self,
        garden: &Garden,
        choice: &FeedChoice,
        base: &Location,
        now: DateTime<Utc>,
        deadline: Instant,
    ) -> Result<Location, FeedFault> {
        let known = match self.store {
            None => None,
            Some(store) => store.grid_address(&garden.id, &key_of(garden, choice)).await.unwrap_or_else(|fault| {
                tracing::error!(garden = garden.id, %fault, "grid address cannot be read");
                None
            }),
        };
        let known = known.filter(|known| !known.address.is_empty());
        let is_new = |known: &GridAddress| (Duration::zero()..Duration::days(7)).contains(&(now - known.looked_up));
        if let Some(known) = known.as_ref().filter(|known| is_new(known)) {
            return self.parse(&known.address);
        }
        let (latitude, longitude) = (garden.site.latitude, garden.site.longitude);
        // Half of what is left: a silent look-up must leave time to ask the cell known before.
        let left = deadline.saturating_duration_since(Instant::now()) / 2;
        let looked_up = with_retries(left, || nws_grid_address(self.fetcher, base, latitude, longitude, now)).await;
        let address = match (looked_up, known) {
            (Ok(address), _) => address,
            (Err(fault), Some(known)) => {
                tracing::warn!(garden = garden.id, feed = choice.name, %fault, "grid cell could not be looked up again");
                return self.parse(&known.address);
            }
            (Err(fault), None) => return Err(fault),
        };
        if let Some(store) = self.store
            && let Err(fault) = store.keep_grid_address(&garden.id, &key_of(garden, choice), &address, now).await
        {
            tracing::error!(garden = garden.id, %fault, "grid address cannot be kept");
        }
        self.parse(&address)
    }

    /// When a file was written, where the service's clock is the world's.
    fn written(&self, path: &Path) -> Option<DateTime<Utc>> {
        let modified = std::fs::metadata(path).and_then(|metadata| metadata.modified()).ok()?;
        let seconds = modified.duration_since(std::time::UNIX_EPOCH).ok()?.as_secs();
        let written = DateTime::from_timestamp(i64::try_from(seconds).ok()?, 0)?;
        self.clock_is_real.then_some(written)
    }

    async fn forget_grid(&self, garden: &Garden, choice: &FeedChoice) {
        let Some(store) = self.store else { return };
        // No address is one that has to be looked up.
        if let Err(fault) = store.keep_grid_address(&garden.id, &key_of(garden, choice), "", DateTime::UNIX_EPOCH).await
        {
            tracing::error!(garden = garden.id, %fault, "grid address cannot be forgotten");
        }
    }

    fn parse(&self, address: &str) -> Result<Location, FeedFault> {
        let location: Location =
            // The address is not repeated: it may hold a key.
            address.parse().map_err(|fault| FeedFault::Refused { reason: format!("its address: {fault}") })?;
        Ok(match location {
            Location::File(path) if path.is_relative() => Location::File(self.folder.join(path)),
            other => other,
        })
    }
}

/// Whether a forecast was issued before another, as far as both say when.
/// Under what a garden's documents of a feed are kept. Place and address belong to it: a garden that moves, or a feed
/// that is asked elsewhere, begins anew.
fn key_of(garden: &Garden, choice: &FeedChoice) -> String {
    let address = choice.address.as_deref().unwrap_or_default();
    let (latitude, longitude) = (garden.site.latitude, garden.site.longitude);
    format!("{} {} {latitude:.4},{longitude:.4} {address}", choice.name, choice.provider.key())
}

fn is_older(new: &Forecast, kept: &Forecast, now: DateTime<Utc>) -> bool {
    matches!((new.issued_before(now), kept.issued_before(now)), (Some(new), Some(kept)) if new < kept)
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
