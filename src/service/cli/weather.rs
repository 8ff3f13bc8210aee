//! Where a command takes its weather from: the garden's feeds, one file, or one low given by hand.

use super::{Configuration, Failure, choose, read_bounded};
use crate::beds::Garden;
use crate::night::day::Day;
use crate::night::screen::forecast_of_low;
use crate::plan::said::{Elsewhere, Said, standing};
use crate::plan::spell::Spell;
use crate::plan::taken::Taken;
use crate::plan::{Before, Plan, turning};
use crate::rounds::night_at;
use crate::service::feed::{Fetcher, decode, recognise};
use crate::service::look::{
    self, Gathered, NOT_TAUGHT, Sources, UNREAD, covers_elsewhere, day_before, heard, laid_by_day, left_out,
    list_after, readings, span_of, taken, teach,
};
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
    /// Use this forecast document instead of asking the garden's weather services
    #[arg(long, value_name = "FILE", conflicts_with = "low")]
    pub feed: Option<PathBuf>,
    /// The format of that document, where it is not recognised: nws, met-norway, hourly-arrays or csv
    #[arg(long, value_name = "FORMAT", value_parser = provider, requires = "feed")]
    pub feed_format: Option<Provider>,
    /// Use this low alone, from whatever forecast you trust, such as 27F or -3C
    #[arg(long, value_name = "TEMPERATURE", value_parser = low, allow_hyphen_values = true)]
    pub low: Option<Celsius>,
    /// The longest wait for one weather service before the list is made without it
    #[arg(long, value_name = "SECONDS", default_value_t = 20, value_parser = clap::value_parser!(u64).range(1..=600))]
    pub patience: u64,
    /// Pretend that it is this time, such as 2027-01-16T13:00:00-05:00
    #[arg(long, value_name = "RFC3339", value_parser = super::instant)]
    pub now: Option<DateTime<Utc>>,
}

/// What the store knows of a night.
#[derive(Default)]
struct Stored {
    readings: Vec<Reading>,
    last: Option<Said>,
    elsewhere: Vec<Elsewhere>,
    out: Option<Said>,
    day: Option<Day>,
    laid: Vec<String>,
    taken: Vec<Taken>,
}

impl Stored {
    fn before(&self) -> Before<'_> {
        Before {
            said: self.last.as_ref(),
            out: self.out.as_ref(),
            day: self.day,
            elsewhere: &self.elsewhere,
            laid: &self.laid,
            taken: &self.taken,
        }
    }
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
            "{text} is no temperature of a garden: those lie between {:.0} C ({:.0} F) and {:.0} C ({:.0} F)",
            low.0,
            low.fahrenheit(),
            high.0,
            high.fahrenheit()
        )
    })?;
    Ok(temperature)
}

/// What a list is made from.
pub(super) struct AtHand {
    /// The place of the garden in the settings.
    garden: usize,
    of: NightOf,
    now: DateTime<Utc>,
    gathered: Gathered,
    stored: Stored,
}

impl AtHand {
    /// The list, and what went wrong with feeds.
    pub fn list<'s>(&self, settings: &'s Settings) -> Result<(Plan<'s>, &[String]), Failure> {
        let (garden, catalogue, before) = (self.garden(settings)?, &settings.catalogue, self.stored.before());
        let (forecasts, readings) = (&self.gathered.forecasts, &self.stored.readings);
        let mut plan = list_after(garden, catalogue, self.of, forecasts, readings, before, self.now);
        turning::find(&mut plan, catalogue, before);
        Ok((plan, &self.gathered.troubles))
    }

    /// The same for tonight and the nights after it, so many in all.
    pub fn spell<'s>(&self, settings: &'s Settings, nights: u32) -> Result<(Spell<'s>, &[String]), Failure> {
        let (garden, catalogue, before) = (self.garden(settings)?, &settings.catalogue, self.stored.before());
        let (forecasts, readings) = (&self.gathered.forecasts, &self.stored.readings);
        let mut spell = look::spell(garden, catalogue, self.of, nights, forecasts, readings, before, self.now);
        turning::find(&mut spell.tonight, catalogue, before);
        Ok((spell, &self.gathered.troubles))
    }

    fn garden<'s>(&self, settings: &'s Settings) -> Result<&'s Garden, Failure> {
        let gone = || Failure::Unexpected("The garden is not in these settings.".into());
        settings.gardens.get(self.garden).map(|garden| &garden.garden).ok_or_else(gone)
    }
}

impl WeatherArguments {
    /// What is known of the coming night of the garden named, or of the only one. What its nights have taught is put into
    /// the settings.
    pub fn at_hand(
        &self,
        configuration: &Configuration,
        settings: &mut Settings,
        garden: Option<&str>,
    ) -> Result<AtHand, Failure> {
        let id = choose(settings, garden)?.garden.id.clone();
        let named = |garden: &GardenSettings| garden.garden.id == id;
        let garden = settings.gardens.iter().position(named).unwrap_or_default();
        let chosen = &settings.gardens[garden];
        let of = night_at(&chosen.garden.site, &chosen.garden.zone, self.now());
        let (taught, gathered, stored) = self.gather(configuration, settings, chosen, of)?;
        settings.gardens[garden].garden = taught;
        Ok(AtHand { garden, of, now: self.now(), gathered, stored })
    }

    /// The instant that the list is made for.
    pub fn now(&self) -> DateTime<Utc> {
        self.now.unwrap_or_else(Utc::now)
    }

    /// A garden with what its nights have taught, forecasts, and what the store knows of one night.
    fn gather(
        &self,
        configuration: &Configuration,
        settings: &Settings,
        garden: &GardenSettings,
        of: NightOf,
    ) -> Result<(Garden, Gathered, Stored), Failure> {
        let now = self.now();
        let given = match (&self.low, &self.feed) {
            (Some(low), _) => Some(forecast_of_low(*low, &span_of(&garden.garden, of), now)),
            (None, Some(file)) => Some(self.document(file, now)?),
            (None, None) => None,
        };
        let path = configuration.store_path(settings);
        super::runtime()?.block_on(async {
            // A list must not make a store where none is: made by another account, the service could not write it.
            let store = match path.exists() {
                false => None,
                true => match Store::open(&path, Open::ExistingOnly).await {
                    Ok(store) => Some(store),
                    // A given forecast needs no store; what is in it is then missing, and that is said.
                    Err(fault) if given.is_some() => {
                        let troubles =
                            vec![format!("The evening's readings could not be read: {fault}."), NOT_TAUGHT.to_string()];
                        let gathered = Gathered { forecasts: given.into_iter().collect(), troubles };
                        return Ok((garden.garden.clone(), gathered, Stored::default()));
                    }
                    Err(fault) => return Err(fault.into()),
                },
            };
            let mut unread = 0;
            let mut taught = garden.garden.clone();
            let mut stored = match &store {
                None => Stored::default(),
                Some(store) => {
                    teach(store, &mut taught, of).await?;
                    let (taken, unread_now) = taken(store, &garden.garden, of, now).await?;
                    unread = unread_now;
                    Stored {
                        readings: readings(store, &taught, of).await?,
                        // What went out stands: a list printed here agrees with it, and moves no cover for little.
                        last: standing(&heard(store, &garden.garden.id, of, now).await?).cloned(),
                        elsewhere: covers_elsewhere(store, settings, &garden.garden, of, now).await?,
                        taken,
                        ..Stored::default()
                    }
                }
            };
            let mut gathered = match given {
                Some(forecast) => Gathered { forecasts: vec![forecast], troubles: Vec::new() },
                None => {
                    let fetcher = Fetcher::new(&settings.service.operator)
                        .map_err(|fault| Failure::Unexpected(fault.to_string()))?;
                    let sources = Sources {
                        fetcher: &fetcher,
                        store: store.as_ref(),
                        folder: &configuration.config,
                        patience: Duration::from_secs(self.patience),
                        clock_is_real: self.now.is_none(),
                        // Somebody waits.
                        spread: Duration::ZERO,
                    };
                    sources.gather(garden, of, now).await
                }
            };
            if let Some(store) = store {
                stored.out = left_out(&store, &garden.garden, of, stored.last.as_ref(), now).await?;
                stored.laid = laid_by_day(&store, &garden.garden, of, now).await?;
                if unread > 0 {
                    gathered.troubles.push(UNREAD.into());
                }
                stored.day = day_before(&garden.garden, of, &gathered.forecasts, now);
                store.close().await;
            }
            Ok((taught, gathered, stored))
        })
    }

    fn document(&self, file: &Path, now: DateTime<Utc>) -> Result<crate::weather::Forecast, Failure> {
        let at_fault = |what: String| Failure::Settings(format!("{}: {what}", file.display()));
        let body = read_bounded(file, LARGEST)
            .map_err(|error| at_fault(format!("this file cannot be read: {error}.")))?
            .ok_or_else(|| at_fault("this file is larger than any forecast document.".into()))?;
        let provider = match &self.feed_format {
            Some(provider) => provider.clone(),
            None => recognise(&body).ok_or_else(|| at_fault(unknown(&body)))?,
        };
        decode(&provider, &body, now).map_err(|fault| {
            // How to mend it speaks of the feed's settings, which a file does not have.
            let text = fault.to_string();
            at_fault(format!("{}.", text.rsplit_once("; ").map_or(text.as_str(), |(what, _)| what)))
        })
    }
}

/// As a feed may send.
const LARGEST: u64 = 2 << 20;

/// What a document is whose provider is not recognised.
fn unknown(body: &[u8]) -> String {
    match body.trim_ascii_start().first() {
        None => "this file is empty.".to_string(),
        Some(b'<') => "this is a web page, not a forecast document.".to_string(),
        Some(b'{' | b'[') => match serde_json::from_slice::<serde::de::IgnoredAny>(body) {
            Err(error) if error.is_eof() => format!("this document breaks off ({error}); fetch it again."),
            Err(error) => format!("this document is damaged ({error})."),
            Ok(_) => NO_FORMAT.to_string(),
        },
        Some(_) => NO_FORMAT.to_string(),
    }
}

const NO_FORMAT: &str = "this is no forecast document of a known format; name its format with --feed-format (nws, \
                         met-norway, hourly-arrays, csv) to see what is wrong in it.";
