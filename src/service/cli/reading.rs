//! `counterpane reading`: write down what a thermometer shows, and echo what was understood.

use super::covered::cover_named;
use super::doubtful;
use super::weather::low;
use super::writing::{Desk, Writing, both, refused};
use super::{Done, Failure};
use crate::beds::Garden;
use crate::journal::when::Moment;
use crate::journal::{HEIGHT, Place, Reading, Sampled, Thermometer, What, bed_of};
use crate::lessons::lows::{Seen, seen};
use crate::lessons::span_of;
use crate::units::{Celsius, Scale};
use chrono::{DateTime, Utc};
use clap::Args;

#[derive(Debug, Args)]
pub(super) struct ReadingCommand {
    /// What it shows, with its unit: 31.5F or -0.3C
    #[arg(value_name = "TEMPERATURE", allow_hyphen_values = true)]
    temperature: String,
    #[command(flatten)]
    writing: Writing,
    /// The bed it stands in; leave it out for the garden's own thermometer, in the shade at head height
    #[arg(long, value_name = "BED")]
    bed: Option<String>,
    /// It is in the soil of that bed, at root depth
    #[arg(long, requires = "bed", conflicts_with = "under_cover")]
    soil: bool,
    /// It is under the cover that lies on that bed; which one, as the shelf calls it
    #[arg(long, value_name = "COVER", requires = "bed", num_args = 0..=1, default_missing_value = "")]
    under_cover: Option<String>,
    /// It is the lowest of last night, or of the stretch that --at names
    #[arg(long, conflicts_with = "max")]
    min: bool,
    /// It is the highest of last night, or of the stretch that --at names
    #[arg(long)]
    max: bool,
    /// It looks doubtful, was looked at again, and is right: lists and what nights teach go by it
    #[arg(long)]
    sure: bool,
    /// When it was read: 06:10, "last night", "yesterday 18:30" or "2027-01-16 06:10"; leave it out for now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// The dew point at the same time, if known
    #[arg(long, value_name = "TEMPERATURE", value_parser = low, allow_hyphen_values = true)]
    dew_point: Option<Celsius>,
    /// Its kind: liquid-in-glass, min-max, dial, digital, logger or infrared
    #[arg(long, value_name = "KIND", value_parser = thermometer)]
    thermometer: Option<Thermometer>,
    /// How high it hangs, m
    #[arg(long, value_name = "METRES", value_parser = height)]
    height: Option<f64>,
    /// Whether it is shielded from the sky: yes or no
    #[arg(long, value_name = "YES|NO", value_parser = yes_or_no)]
    shielded: Option<bool>,
}

fn thermometer(text: &str) -> Result<Thermometer, String> {
    let all = || Thermometer::ALL.iter().map(|kind| kind.word()).collect::<Vec<_>>().join(", ");
    Thermometer::from_word(text).ok_or_else(|| format!("write one of {}", all()))
}

pub(super) fn height(text: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().map_err(|_| "write metres, such as 1.5".to_string())?;
    HEIGHT.check(number).map_err(|fault| fault.to_string())
}

fn yes_or_no(text: &str) -> Result<bool, String> {
    match text {
        "yes" => Ok(true),
        "no" => Ok(false),
        _ => Err("write yes or no".into()),
    }
}

/// That a reading of the air does not see its night through, and how one would.
fn teaches(desk: &Desk<'_>, place: &Place, of: Sampled, at: DateTime<Utc>) -> String {
    let (night, seen) = seen(desk.garden, of, at);
    let span = span_of(desk.garden, night);
    let sunrise = desk.garden.zone.local(span.sunrise).format("%H:%M");
    if matches!(place, Place::Soil { .. }) || matches!(of, Sampled::Maximum { .. }) {
        return String::new();
    }
    match seen {
        Seen::Through => String::new(),
        // By day nobody takes it for a low.
        Seen::Look if at < span.sunset => String::new(),
        Seen::Look => format!(
            " It teaches nothing: a single look is no low of the night. Write down the lowest after {sunrise} with --min."
        ),
        Seen::Nearly(_) => format!(
            " It counts as a little colder and less sure: the night was not over until {sunrise}. Read again after that \
             with --min, it teaches more."
        ),
        Seen::TooEarly if at < span.sunset => {
            " It teaches nothing: a lowest is read between sunrise and noon. Without --at it is that of last night."
                .into()
        }
        Seen::TooEarly => {
            format!(" It teaches nothing: the night was not over until {sunrise}; read it again after that with --min.")
        }
        Seen::NotSinceEvening => " It teaches nothing: it does not begin with the night.".into(),
    }
}

/// The kind of place of an entry, at another bed.
fn at_bed(old: &Place, bed: &str) -> Place {
    let bed = bed.to_string();
    match old {
        Place::Screen | Place::Bed { .. } => Place::Bed { bed },
        Place::UnderCover { cover, .. } => Place::UnderCover { bed, cover: cover.clone() },
        Place::Soil { .. } => Place::Soil { bed },
    }
}

impl ReadingCommand {
    pub fn run(&self) -> Result<Done, Failure> {
        let settings = self.writing.settings()?;
        let desk = self.writing.desk(&settings)?;
        let temperature = low(&self.temperature).map_err(refused)?;
        if let Some(bed) = &self.bed {
            bed_of(desk.garden, bed).map_err(refused)?;
        }
        let old = match desk.old.as_ref().map(|old| &old.what) {
            Some(What::Reading(old)) => Some(old),
            _ => None,
        };
        let was = old.map(|old| old.of);
        let says = self.min || self.max;
        let is_lowest = self.min || (!says && matches!(was, Some(Sampled::Minimum { .. })));
        let is_highest = self.max || (!says && matches!(was, Some(Sampled::Maximum { .. })));
        let of_a_night = is_lowest || is_highest;
        // A corrected entry keeps its time, whatever else is said again.
        let asked = self.at.as_deref().or((of_a_night && old.is_none()).then_some("last night"));
        let mut moment = desk.when(asked)?;
        if asked.is_none() {
            moment.since = was.and_then(Sampled::since);
        }
        let since = moment.since;
        if since.is_some() && !of_a_night {
            return Err(refused(format!(
                "\"{}\" is a stretch of time; add --min or --max, or the hour, such as \"last night 22:10\"",
                asked.unwrap_or_default()
            )));
        }
        let of = match (is_lowest, is_highest) {
            (true, _) => Sampled::Minimum { since },
            (_, true) => Sampled::Maximum { since },
            _ => Sampled::Instant,
        };
        let place = match (old.map(|old| &old.place), &self.bed) {
            (Some(old), None) => old.clone(),
            (Some(old), Some(bed)) if !self.soil && self.under_cover.is_none() => at_bed(old, bed),
            _ => self.place(desk.garden)?,
        };
        let reading = Reading {
            place: place.clone(),
            temperature,
            dew_point: self.dew_point.or(old.and_then(|old| old.dew_point)),
            of,
            thermometer: self.thermometer.or(old.and_then(|old| old.thermometer)),
            height: self.height.or(old.and_then(|old| old.height)),
            shielded: self.shielded.or(old.and_then(|old| old.shielded)),
            sure: self.sure || old.is_some_and(|old| old.sure && old.temperature == temperature),
        };
        if let Some(dew_point) = reading.dew_point.filter(|dew_point| dew_point.0 > temperature.0 + 0.5) {
            return Err(refused(match self.dew_point {
                Some(_) => "The dew point cannot lie above the temperature; are the two swapped?".into(),
                None => format!(
                    "The corrected entry has a dew point of {}, which cannot lie above the temperature; say the right one \
                     with --dew-point",
                    both(dew_point)
                ),
            }));
        }
        if !reading.sure {
            let path = self.writing.configuration.store_path(&settings);
            let typed = if self.temperature.to_uppercase().contains('F') { Scale::Fahrenheit } else { Scale::Celsius };
            doubtful::ask(&desk, &path, &reading, moment.at, typed, self.writing.replaces)?;
        }
        let dew_point = reading.dew_point.map_or(String::new(), |dew_point| format!(", dew point {}", both(dew_point)));
        let entry = desk.entry(&moment, self.as_typed(), What::Reading(reading), false)?;
        let which = match of {
            Sampled::Instant => "",
            Sampled::Minimum { .. } => "the lowest, ",
            Sampled::Maximum { .. } => "the highest, ",
        };
        let moment = Moment { at: entry.at, ..moment };
        let teaches = teaches(&desk, &place, of, moment.at);
        let echo = format!(
            "{which}{}{dew_point} {place} of {}, {}.{teaches}",
            both(temperature),
            desk.garden.name,
            desk.echo(&moment)
        );
        self.writing.write(&desk, vec![(entry, echo)])?;
        Ok(Done::Well)
    }

    fn place(&self, garden: &Garden) -> Result<Place, Failure> {
        Ok(match (&self.bed, self.soil, &self.under_cover) {
            (None, ..) => Place::Screen,
            (Some(bed), true, _) => Place::Soil { bed: bed.clone() },
            (Some(bed), false, Some(cover)) => {
                Place::UnderCover { bed: bed.clone(), cover: cover_named(garden, cover).map_err(refused)? }
            }
            (Some(bed), false, None) => Place::Bed { bed: bed.clone() },
        })
    }

    /// The temperature and, where it was typed, the time.
    fn as_typed(&self) -> String {
        let at = self.at.as_ref().map_or(String::new(), |at| format!(" at {at}"));
        format!("{}{at}", self.temperature)
    }
}
