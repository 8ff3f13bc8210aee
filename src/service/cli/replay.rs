//! `counterpane replay`: what would have been said over a past winter, and how good it was.

use super::progress::Steps;
use super::writing::refused;
use super::{Configuration, Done, Failure, choose, print, read_bounded, zone_named};
use crate::beds::Garden;
use crate::chart::reliability::{Group, reliability_diagram};
use crate::journal::logged_table::{self, LoggedTable, Next};
use crate::journal::{Place, Sampled};
use crate::night::dusk::taught_for_a_score;
use crate::replay::garden::{as_it_stands, judge};
use crate::replay::report::{beside_the_regression, table_of_nights};
use crate::replay::{Foretold, foretell, hourly, past_nights};
use crate::rounds::night_at;
use crate::score::brier::{Bin, Issued, bins};
use crate::score::table::table;
use crate::score::{Scored, Threshold};
use crate::service::feed::{FeedFault, decode};
use crate::service::store::{Open, Store};
use crate::units::{Celsius, ELEVATION, Kelvins, LATITUDE, LONGITUDE, Limits};
use crate::weather::{Forecast, Provider, Site};
use crate::zone::Zone;
use chrono::{DateTime, Utc};
use clap::Args;
use std::path::{Path, PathBuf};

#[derive(Debug, Args)]
pub(super) struct Replay {
    /// The record, a table of hours: utc_time,temp_c,dew_point_c,wind_ms,cloud_fraction; blank where missing. Or logged.csv
    /// of an exported journal. Without it, what loggers at the garden's own screen have written into the store
    #[arg(long, value_name = "FILE", required_unless_present = "garden")]
    observations: Option<PathBuf>,
    #[command(flatten)]
    configuration: Configuration,
    /// Tell too what this garden's lists would have asked, for each `caution`; without a place the record is its own
    #[arg(long, value_name = "GARDEN")]
    garden: Option<String>,
    /// Degrees north of the equator
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true, required_unless_present = "garden")]
    #[arg(requires_all = ["longitude", "elevation", "time_zone", "observations"])]
    latitude: Option<f64>,
    /// Degrees east of Greenwich
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true, requires = "latitude")]
    longitude: Option<f64>,
    /// Metres above the sea
    #[arg(long, value_name = "METRES", allow_negative_numbers = true, requires = "latitude")]
    elevation: Option<f64>,
    /// The zone of the clock on the wall, such as America/New_York
    #[arg(long, value_name = "ZONE", value_parser = zone_named, requires = "latitude")]
    time_zone: Option<Zone>,
    /// Hand over the sky and the wind of each night itself, as a perfect forecast of both would
    #[arg(long)]
    as_feed: bool,
    /// Where to write a line for each night
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Where to draw how chances came true, as SVG
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
}

/// A record of this length holds a hundred years of readings every ten minutes.
const LONGEST_RECORD: u64 = 512 * 1024 * 1024;

impl Replay {
    pub fn run(&self) -> Result<Done, Failure> {
        let settings_of = self.garden.as_ref().map(|_| self.configuration.read(Utc::now())).transpose()?;
        let garden = match (&settings_of, &self.garden) {
            (Some(settings), Some(id)) => Some((&choose(settings, Some(id))?.garden, &settings.catalogue)),
            _ => None,
        };
        let (site, zone) = self.place(garden.map(|(garden, _)| garden))?;
        let mut steps = Steps::of(if garden.is_some() { 5 } else { 4 });
        steps.next("reading the record");
        let (record, of) = match (&self.observations, garden, &settings_of) {
            (Some(path), ..) => (record_in(path)?, path.clone()),
            (None, Some((garden, _)), Some(settings)) => {
                let store = self.configuration.store_path(settings);
                (own_record(&store, garden)?, store)
            }
            _ => return Err(Failure::Settings("No record is given: name one with --observations.".into())),
        };
        steps.next("finding its nights");
        let nights = past_nights(&record.hours, &site, &zone);
        if nights.is_empty() {
            let what = "it has no night from October to April (April to October in the south) of which nine hours in \
                        ten and the hours about dusk are there";
            return Err(settings(&of, what.into()));
        }
        let (taught, left_out) = taught_for_a_score(&site);
        steps.next("foretelling them");
        let foretold = foretell(&nights, taught, self.as_feed);
        write(&self.out, &table_of_nights(&foretold))?;
        steps.next("scoring");
        let scored: Vec<Scored> = foretold.iter().map(Foretold::scored).collect();
        let mut report = String::new();
        if self.observations.is_none() {
            report.push_str(&format!(
                "From loggers at the garden's own screen, one row an hour: {} hours, {} nights.\n\n",
                record.hours.len(),
                nights.len()
            ));
        }
        report += &self.report(&foretold, &scored, record.implausible_hours, left_out);
        if let Some((garden, catalogue)) = garden {
            steps.next("making the garden's lists");
            let today = night_at(&garden.site, &garden.zone, Utc::now());
            let standing = as_it_stands(garden, catalogue, today);
            // What is known against the forecast holds against a station too; the garden's own record needs nothing.
            let shift = garden.offset.filter(|_| self.latitude.is_some()).unwrap_or(Kelvins(0.0));
            let nights = judge(&standing, catalogue, &record, (&site, &zone), &foretold, shift);
            report.push_str(&nights.report(&garden.name, garden.caution));
        }
        if let Some(chart) = &self.chart {
            write(chart, &diagram(&scored))?;
        }
        steps.ends();
        print(&report)?;
        Ok(Done::Well)
    }

    /// Where the record was taken: at the place given, else in the garden.
    fn place(&self, garden: Option<&Garden>) -> Result<(Site, Zone), Failure> {
        let within = |option: &str, value: f64, limits: &Limits| match limits.allow(value) {
            true => Ok(value),
            false => Err(Failure::Settings(format!(
                "--{option} {value} cannot be: it lies between {} and {} {}.",
                limits.low, limits.high, limits.unit
            ))),
        };
        match (self.latitude, self.longitude, self.elevation, &self.time_zone, garden) {
            (Some(latitude), Some(longitude), Some(elevation), Some(zone), _) => {
                let site = Site {
                    latitude: within("latitude", latitude, &LATITUDE)?,
                    longitude: within("longitude", longitude, &LONGITUDE)?,
                    elevation: within("elevation", elevation, &ELEVATION)?,
                };
                Ok((site, zone.clone()))
            }
            (.., Some(garden)) => Ok((garden.site, garden.zone.clone())),
            _ => Err(Failure::Settings("The place of the record is not given.".into())),
        }
    }

    fn report(&self, foretold: &[Foretold], scored: &[Scored], doubtful: usize, left_out: Option<&str>) -> String {
        let mut text = table(scored);
        text.push_str(&beside_the_regression(foretold));
        text.push_str(match self.as_feed {
            true => "\nThe sky and wind of each night were handed over, as a perfect forecast would.\n",
            false => "\nEach night was foretold from its own evening and the nights before it.\n",
        });
        if let Some(station) = left_out {
            text.push_str(&format!(
                "{station} is among the stations that taught the coefficients; for an honest\n\
                 score this used those fitted without it.\n"
            ));
        }
        if doubtful > 0 {
            text.push_str(&format!("Left out as impossible: values in {doubtful} rows of the record.\n"));
        }
        text.push_str(&format!("Night by night: {}\n", self.out.display()));
        text
    }
}

fn diagram(scored: &[Scored]) -> String {
    let issued: Vec<Issued> = scored.iter().map(|night| night.issued(Threshold::Zero)).collect();
    let group = |bin: Bin| Group { nights: bin.nights, mean_chance: bin.mean_chance, frequency: bin.frequency };
    let groups: Vec<Group> = bins(&issued, 10).into_iter().map(group).collect();
    reliability_diagram("frost", "Chance of a low at or below 0 C, and how often it came", &groups)
}

/// What is wrong with a table that is a record and no feed's answer.
fn of_a_record(fault: &FeedFault) -> String {
    match fault {
        FeedFault::NotTheFormat { what } => what.clone(),
        FeedFault::Implausible { values, example } => {
            format!("{values} temperatures cannot be true, such as {example} C; mend them or leave them blank")
        }
        FeedFault::Empty => "no row of it has a temperature".into(),
        other => other.to_string(),
    }
}

/// The record in a file: a table of hours, or the logs of an exported journal.
fn record_in(path: &Path) -> Result<Forecast, Failure> {
    let body = read(path)?;
    let header = body.split(|byte| *byte == b'\n').next().unwrap_or_default();
    if !logged_table::is_header(&String::from_utf8_lossy(header)) {
        return decode(&Provider::Csv, &body, DateTime::UNIX_EPOCH)
            .map_err(|fault| settings(path, of_a_record(&fault)));
    }
    let mut table = LoggedTable::new(body.as_slice(), Utc::now()).map_err(|what| settings(path, what))?;
    let mut rows = Vec::new();
    loop {
        match table.next_row() {
            Next::Row { at, celsius, origin, .. } if is_of_screen(&origin.place, origin.of) => rows.push((at, celsius)),
            Next::Row { .. } => {}
            Next::Fault(fault) => return Err(settings(path, format!("line {}: {}", fault.line, fault.what))),
            Next::End => break,
        }
    }
    record_of(&rows).ok_or_else(|| settings(path, "no row of it is of a logger at a garden's screen".into()))
}

/// What loggers at a garden's own screen have written into the store.
fn own_record(path: &Path, garden: &Garden) -> Result<Forecast, Failure> {
    if !path.exists() {
        return Err(refused(super::nothing_yet(path)));
    }
    let rows = super::runtime()?.block_on(async {
        let store = Store::open(path, Open::ExistingOnly).await?;
        let mut rows = Vec::new();
        for (number, series) in store.series(&garden.id).await? {
            if is_of_screen(&series.place, series.sampled) {
                rows.extend(store.logged(number, DateTime::UNIX_EPOCH, Utc::now()).await?);
            }
        }
        store.close().await;
        Ok::<_, Failure>(rows)
    })?;
    let none = || {
        refused(format!(
            "No logger at the screen of {} has written anything into {}. Take its log in with `counterpane journal \
             --import`, or name a record with --observations",
            garden.name,
            path.display()
        ))
    };
    record_of(&rows).ok_or_else(none)
}

fn is_of_screen(place: &Place, of: Sampled) -> bool {
    *place == Place::Screen && of == Sampled::Instant
}

/// `None` of no rows.
fn record_of(rows: &[(DateTime<Utc>, Celsius)]) -> Option<Forecast> {
    let hours = hourly(rows);
    (!hours.is_empty()).then(|| Forecast {
        provider: Provider::Csv,
        issued: None,
        fetched: DateTime::UNIX_EPOCH,
        hours,
        minima: Vec::new(),
        implausible_hours: 0,
        cell_elevation: None,
    })
}

fn settings(path: &Path, what: String) -> Failure {
    Failure::Settings(format!("{}: {what}. Nothing was written.", path.display()))
}

fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    let body =
        read_bounded(path, LONGEST_RECORD).map_err(|error| settings(path, format!("it cannot be read ({error})")))?;
    body.ok_or_else(|| settings(path, format!("it is longer than {LONGEST_RECORD} bytes; split it by years")))
}

fn write(path: &Path, text: &str) -> Result<(), Failure> {
    std::fs::write(path, text)
        .map_err(|error| Failure::Unexpected(format!("{} cannot be written: {error}.", path.display())))
}
