//! Forecasts for one garden: asked of its feeds in order, and what is kept of them.

use super::{is_whole_and_young, span_of};
use crate::beds::Garden;
use crate::night::screen::{Evidence, expect};
use crate::service::feed::{
    CellForecast, Conditions, FeedFault, Fetcher, Location, Question, hourly_arrays_address, met_norway_address,
    nws_grid_address, with_retries,
};
use crate::service::store::{ForecastRow, GridAddress, Store};
use crate::settings::{FeedChoice, GardenSettings};
use crate::weather::{Forecast, Provider};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use std::path::Path;
use tokio::time::Instant;

/// A feed that asks for more silence than this was heard by a clock that ran ahead.
const LONGEST_EXPIRY: Duration = Duration::hours(6);
/// A copy older than this is not asked about but asked for anew: "not modified" would keep it for ever.
const TOO_OLD_TO_KEEP: Duration = Duration::hours(12);

/// What is at hand for one list.
#[derive(Clone, Debug, Default)]
pub struct Gathered {
    /// In the garden's order of preference.
    pub forecasts: Vec<Forecast>,
    /// What went wrong with feeds, a sentence each for the garden.
    pub troubles: Vec<String>,
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
    /// Requests to other machines are held back by up to this, each cell by its own part of it.
    pub spread: std::time::Duration,
}

/// Where a garden's document is, and whether that was looked up just now.
struct Place {
    location: Location,
    is_new: bool,
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
            let evidence =
                Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, learned: None, now };
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

    /// What a feed answers now, asked as if for the first time. Nothing is kept.
    pub async fn ask(&self, garden: &Garden, choice: &FeedChoice, now: DateTime<Utc>) -> Result<Forecast, FeedFault> {
        self.fresh(garden, choice, None, now).await.map(|row| row.forecast)
    }

    /// The document as it is now. Where the cell may have moved, by a 404, by an outline that leaves the garden out or
    /// by temperatures that are gone, it is looked up once more.
    async fn fresh(
        &self,
        garden: &Garden,
        choice: &FeedChoice,
        kept: Option<&ForecastRow>,
        now: DateTime<Utc>,
    ) -> Result<ForecastRow, FeedFault> {
        let deadline = Instant::now() + self.patience;
        let place = self.place(garden, choice, now, deadline).await?;
        let answer = self.asked(choice, &place, kept, now, deadline).await;
        let in_doubt = match &answer {
            Ok(answer) => {
                answer.area.as_ref().is_some_and(|area| !area.has(garden.site.latitude, garden.site.longitude))
            }
            Err(fault) => matches!(fault, FeedFault::Moved { .. } | FeedFault::Empty),
        };
        if !in_doubt || choice.provider != Provider::NationalWeatherService || self.store.is_none() {
            return answer.map(row_of);
        }
        self.forget_grid(garden, choice).await;
        if place.is_new {
            return answer.map(row_of);
        }
        let again = self.place(garden, choice, now, deadline).await?;
        if again.location == place.location {
            // The service stands by its cell.
            return answer.map(row_of);
        }
        tracing::info!(garden = garden.id, feed = choice.name, "the grid cell has moved");
        self.asked(choice, &again, None, now, deadline).await.map(row_of)
    }

    async fn asked(
        &self,
        choice: &FeedChoice,
        place: &Place,
        kept: Option<&ForecastRow>,
        now: DateTime<Utc>,
        deadline: Instant,
    ) -> Result<CellForecast, FeedFault> {
        // What another cell said of its own document says nothing of this one.
        let of_this_cell = kept.filter(|_| choice.provider != Provider::NationalWeatherService || !place.is_new);
        let young = of_this_cell.filter(|kept| kept.forecast.age(now) <= TOO_OLD_TO_KEEP);
        let conditions = young.map_or_else(Conditions::default, |kept| Conditions {
            etag: kept.etag.clone(),
            last_modified: kept.last_modified.clone(),
            expires: kept.expires,
        });
        let kept = young.map(|kept| (&kept.forecast, &conditions));
        let (provider, location, spread) = (&choice.provider, &place.location, self.spread);
        let mut answer = self.fetcher.forecast(&Question { provider, location, kept, now, deadline, spread }).await?;
        // A table that nobody writes any more must not look fresh for a week.
        if let (None, Location::File(path)) = (answer.forecast.issued, location) {
            answer.forecast.issued = self.written(path);
        }
        Ok(answer)
    }

    /// The address of a garden's document at a feed.
    async fn place(
        &self,
        garden: &Garden,
        choice: &FeedChoice,
        now: DateTime<Utc>,
        deadline: Instant,
    ) -> Result<Place, FeedFault> {
        let not_looked_up = |location| Ok(Place { location, is_new: false });
        let base = match &choice.address {
            Some(address) => self.parse(address)?,
            None => self.parse(default_address(&choice.provider))?,
        };
        if let Location::File(path) = &base {
            // A pipe, or a folder, would be waited for without end.
            if path.exists() && !path.is_file() {
                return Err(FeedFault::NotTheFormat { what: "it is not a plain file".into() });
            }
            return not_looked_up(base);
        }
        let (latitude, longitude) = (garden.site.latitude, garden.site.longitude);
        let address = match choice.provider {
            Provider::NationalWeatherService => return self.grid_place(garden, choice, &base, now, deadline).await,
            Provider::MetNorway => met_norway_address(&base, latitude, longitude, Some(garden.site.elevation))?,
            Provider::HourlyArrays => hourly_arrays_address(&base, latitude, longitude, Some(garden.site.elevation))?,
            Provider::Csv | Provider::HandGivenLow => return not_looked_up(base),
        };
        self.parse(&address).and_then(not_looked_up)
    }

    /// The grid cell of a garden, looked up once a week. Where the look-up fails, the cell known before may still do.
    async fn grid_place(
        &self,
        garden: &Garden,
        choice: &FeedChoice,
        base: &Location,
        now: DateTime<Utc>,
        deadline: Instant,
    ) -> Result<Place, FeedFault> {
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
            return self.known_place(&known.address);
        }
        let (latitude, longitude) = (garden.site.latitude, garden.site.longitude);
        // Half of what is left: a silent look-up must leave time to ask the cell known before.
        let left = deadline.saturating_duration_since(Instant::now()) / 2;
        let start = Instant::now();
        let now_and = |start: Instant| now + Duration::from_std(start.elapsed()).unwrap_or_default();
        let look_up = || nws_grid_address(self.fetcher, base, latitude, longitude, now_and(start));
        let looked_up = with_retries(left, look_up).await;
        let address = match (looked_up, known) {
            (Ok(address), _) => address,
            (Err(fault), Some(known)) => {
                tracing::warn!(garden = garden.id, feed = choice.name, %fault, "grid cell could not be looked up again");
                return self.known_place(&known.address);
            }
            (Err(fault), None) => return Err(fault),
        };
        if let Some(store) = self.store
            && let Err(fault) = store.keep_grid_address(&garden.id, &key_of(garden, choice), &address, now).await
        {
            tracing::error!(garden = garden.id, %fault, "grid address cannot be kept");
        }
        self.parse(&address).map(|location| Place { location, is_new: true })
    }

    fn known_place(&self, address: &str) -> Result<Place, FeedFault> {
        self.parse(address).map(|location| Place { location, is_new: false })
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

fn row_of(answer: CellForecast) -> ForecastRow {
    let CellForecast { forecast, conditions: Conditions { etag, last_modified, expires }, .. } = answer;
    ForecastRow { forecast, etag, last_modified, expires }
}

/// Under what a garden's documents of a feed are kept. Place and address belong to it: a garden that moves, or a feed
/// that is asked elsewhere, begins anew.
fn key_of(garden: &Garden, choice: &FeedChoice) -> String {
    let address = choice.address.as_deref().unwrap_or_default();
    let (latitude, longitude) = (garden.site.latitude, garden.site.longitude);
    format!("{} {} {latitude:.4},{longitude:.4} {address}", choice.name, choice.provider.key())
}

/// Whether a forecast was issued before another, as far as both say when.
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
