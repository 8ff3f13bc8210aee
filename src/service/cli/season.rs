//! `counterpane season`: what a winter came to, as a page and tables in a folder.

use super::writing::refused;
use super::{Configuration, Done, Failure, choose, print};
use crate::beds::Garden;
use crate::journal::event::{night_of, solar_offset};
use crate::journal::{Place, Sampled};
use crate::message::season_page::season_page;
use crate::season::tables::tables;
use crate::season::{Hours, HoursByPlace, Span, hours_of_nights, season};
use crate::service::look;
use crate::service::store::{Open, Store};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, NaiveTime, Utc};
use clap::Args;
use std::io::Write;
use std::path::{Path, PathBuf};

#[derive(Debug, Args)]
pub(super) struct SeasonCommand {
    /// Which season: 2026-27 goes from 1 July 2026 to 30 June 2027; south of the equator 2027 is that year
    #[arg(value_name = "SEASON")]
    season: String,
    /// Write the page and its tables into this folder; those of an earlier run are replaced
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    #[command(flatten)]
    configuration: Configuration,
    /// Which garden; may be left out where there is only one
    #[arg(long, value_name = "GARDEN")]
    garden: Option<String>,
    /// Pretend that it is this time, such as 2027-06-16T18:40:00-04:00
    #[arg(long, value_name = "RFC3339", value_parser = super::instant)]
    now: Option<DateTime<Utc>>,
}

/// The page.
const PAGE: &str = "season.html";

impl SeasonCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let now = self.now.unwrap_or_else(Utc::now);
        let settings = self.configuration.read(now)?;
        let garden = &choose(&settings, self.garden.as_deref())?.garden;
        let span = Span::parse(&self.season, garden.site.latitude).map_err(refused)?;
        // A night is over at noon.
        let until = NightOf(night_of(now, garden.site.longitude).0 - Duration::days(1));
        if span.first > until {
            return Err(refused(format!("The season {} has not begun", span.name())));
        }
        if self.out.exists() && !self.out.is_dir() {
            return Err(refused(format!("{} is a file; name a folder with --out", self.out.display())));
        }
        let path = self.configuration.store_path(&settings);
        if !path.exists() {
            return Err(refused(super::nothing_yet(&path)));
        }
        let (known, hours) = super::runtime()?.block_on(async {
            let store = Store::open(&path, Open::ExistingOnly).await?;
            let known = look::known(&store, garden, span.first, span.last).await?;
            let hours = hours(&store, garden, span).await?;
            store.close().await;
            Ok::<_, Failure>((known, hours))
        })?;
        let Some(season) = season(garden, &settings.catalogue, span, until, &known, &hours) else {
            return Err(refused(format!(
                "Nothing is known of the season {} of {}: no forecast, list, reading or entry from {} to {}. Let \
                 `counterpane run` watch, write readings and damage down, or take a log in with `counterpane journal \
                 --import`",
                span.name(),
                garden.name,
                span.first,
                until.min(span.last)
            )));
        };
        let page = season_page(&season, &settings.catalogue, now);
        let tables = tables(&season);
        if page.is_empty() {
            return Err(Failure::Unexpected("The page of the season cannot be set.".into()));
        }
        let mut files = vec![(PAGE, page)];
        files.extend(tables);
        write_all(&self.out, &files)?;
        let names: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
        print(&format!("Written to {}: {}.\n", self.out.display(), names.join(", ")))?;
        Ok(Done::Well)
    }
}

/// Writes all files whole or none: each beside its place first, and only when all are there are they put in place.
fn write_all(folder: &Path, files: &[(&str, String)]) -> Result<(), Failure> {
    let unwritable =
        |path: &Path, error: std::io::Error| refused(format!("{} cannot be written: {error}", path.display()));
    std::fs::create_dir_all(folder).map_err(|error| unwritable(folder, error))?;
    let beside = |name: &str| folder.join(format!(".{name}.{}.new", std::process::id()));
    let written = files.iter().try_for_each(|(name, text)| {
        let path = folder.join(name);
        if path.is_dir() {
            return Err(refused(format!("{} is a folder; move it away", path.display())));
        }
        let write = || {
            let mut file = std::fs::File::create(beside(name))?;
            file.write_all(text.as_bytes())?;
            file.sync_all()
        };
        write().map_err(|error| unwritable(&path, error))
    });
    let placed = written.and_then(|()| {
        files.iter().try_for_each(|(name, _)| {
            let path = folder.join(name);
            std::fs::rename(beside(name), &path).map_err(|error| unwritable(&path, error))
        })
    });
    if placed.is_err() {
        // What was written beside is of no use to anybody; that it cannot be taken away is no other fault.
        files.iter().for_each(|(name, _)| drop(std::fs::remove_file(beside(name))));
    }
    placed
}

/// Hours below thresholds of every place with a logger; of several in one place the one that was colder that night.
async fn hours(store: &Store, garden: &Garden, span: Span) -> Result<HoursByPlace, Failure> {
    let longitude = garden.site.longitude;
    let begins = |night: NightOf| night.0.and_time(NaiveTime::MIN).and_utc() - solar_offset(longitude);
    let mut all = HoursByPlace::new();
    for (number, series) in store.series(&garden.id).await? {
        if series.sampled != Sampled::Instant || matches!(series.place, Place::Soil { .. }) {
            continue;
        }
        let rows = store.logged(number, begins(span.first), begins(span.last) + Duration::days(1)).await?;
        for (night, hours) in hours_of_nights(&rows, longitude) {
            let known: &mut Hours = all.entry((series.place.clone(), night)).or_insert(hours);
            if hours.below > known.below {
                *known = hours;
            }
        }
    }
    Ok(all)
}
