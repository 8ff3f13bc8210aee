//! `counterpane reading`: write down what a thermometer shows, and echo what was understood.

use super::weather::low;
use super::{Configuration, Done, Failure, choose, print};
use crate::service::store::{Open, ReadingRow, Store};
use crate::units::{Celsius, Scale};
use crate::zone::Zone;
use chrono::{DateTime, Datelike, Duration, NaiveDate, NaiveDateTime, NaiveTime, Utc};
use clap::Args;

#[derive(Debug, Args)]
pub(super) struct ReadingCommand {
    /// What it shows, with its unit: 31.5F or -0.3C
    #[arg(value_name = "TEMPERATURE", allow_hyphen_values = true)]
    temperature: String,
    #[command(flatten)]
    configuration: Configuration,
    /// Which garden; may be left out where there is only one
    #[arg(long, value_name = "GARDEN")]
    garden: Option<String>,
    /// The bed it stands in; leave it out for the garden's own thermometer, in the shade at head height
    #[arg(long, value_name = "BED")]
    bed: Option<String>,
    /// When it was read: 06:10, or "2027-01-16 06:10"; leave it out for now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// The dew point at the same time, if known
    #[arg(long, value_name = "TEMPERATURE", value_parser = low, allow_hyphen_values = true)]
    dew_point: Option<Celsius>,
    /// Pretend that it is this time, such as 2027-01-16T18:40:00-05:00
    #[arg(long, value_name = "RFC3339", value_parser = super::instant)]
    now: Option<DateTime<Utc>>,
}

impl ReadingCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let settings = self.configuration.read(self.now.unwrap_or_else(Utc::now))?;
        let garden = &choose(&settings, self.garden.as_deref())?.garden;
        let temperature =
            low(&self.temperature).map_err(|what| Failure::Settings(format!("{what}. Nothing was written.")))?;
        if let Some(id) = &self.bed
            && !garden.beds.iter().any(|bed| bed.id == *id)
        {
            let ids: Vec<&str> = garden.beds.iter().map(|bed| bed.id.as_str()).collect();
            let what = format!("No bed is labelled \"{id}\". There are: {}. Nothing was written.", ids.join(", "));
            return Err(Failure::Settings(what));
        }
        if let Some(dew_point) = self.dew_point
            && dew_point.0 > temperature.0 + 0.5
        {
            let what = "The dew point cannot lie above the temperature; are the two swapped? Nothing was written.";
            return Err(Failure::Settings(what.into()));
        }
        let now = self.now.unwrap_or_else(Utc::now);
        let at = match &self.at {
            None => now,
            Some(text) => time(text, &garden.zone, now).ok_or_else(|| {
                Failure::Settings(format!(
                    "\"{text}\" is no time; write 06:10 or \"2027-01-16 06:10\". Nothing was written."
                ))
            })?,
        };
        if at > now + Duration::minutes(5) {
            let shown = garden.zone.local(at).format("%A %-d %B %Y, %H:%M");
            return Err(Failure::Settings(format!("{shown} has not come yet. Nothing was written.")));
        }
        let row = ReadingRow {
            garden: garden.id.clone(),
            bed: self.bed.clone(),
            at,
            entered_at: now,
            temperature,
            dew_point: self.dew_point,
            as_typed: self.temperature.clone(),
        };
        let path = self.configuration.store_path(&settings);
        let is_new = !path.exists();
        super::runtime()?.block_on(async {
            let store = Store::open(&path, Open::ReadWrite).await?;
            store.add_reading(&row).await?;
            store.close().await;
            Ok::<(), Failure>(())
        })?;
        let place = self.bed.as_ref().map_or("the garden's screen".to_string(), |bed| format!("bed {bed}"));
        let dew_point = self.dew_point.map_or(String::new(), |dew_point| format!(", dew point {}", both(dew_point)));
        // A wrong folder of settings shows here, not when the reading is missed.
        let begun = if is_new { format!(" A new store was begun: {}.", path.display()) } else { String::new() };
        print(&format!(
            "Written: {}{dew_point} at {place} of {}, {} {}.{begun}\n",
            both(temperature),
            garden.name,
            garden.zone.local(at).format("%A %-d %B %Y, %H:%M"),
            garden.zone.abbreviation(at)
        ))?;
        Ok(Done::Well)
    }
}

/// On both scales, so that a slip of the unit is seen.
fn both(temperature: Celsius) -> String {
    format!("{} ({})", temperature.tenths(Scale::Fahrenheit), temperature.tenths(Scale::Celsius))
}

/// A time as people give it: of a clock time alone, the last one before now.
fn time(text: &str, zone: &Zone, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    let is_of_this_age = |date: NaiveDate| (1970..=2200).contains(&date.year());
    if let Ok(instant) = DateTime::parse_from_rfc3339(text) {
        return is_of_this_age(instant.date_naive()).then(|| instant.with_timezone(&Utc));
    }
    for format in ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"] {
        if let Ok(wall) = NaiveDateTime::parse_from_str(text, format) {
            return is_of_this_age(wall.date()).then(|| zone.instant(wall));
        }
    }
    let clock = NaiveTime::parse_from_str(text, "%H:%M").ok()?;
    let today = zone.local(now).date_naive();
    let at = zone.instant(today.and_time(clock));
    Some(if at > now { zone.instant((today - Duration::days(1)).and_time(clock)) } else { at })
}
