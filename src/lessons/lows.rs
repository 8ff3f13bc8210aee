//! The low of a night at one place, from a thermometer that has seen the whole of it.

use super::{Confirmed, of_low, span_of};
use crate::beds::Garden;
use crate::journal::event::{Written, night_of};
use crate::journal::{Place, Reading, Sampled, What};
use crate::night::screen::Span;
use crate::units::Celsius;
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use std::collections::BTreeMap;

/// The lowest temperature of one place in one night. A single look at a thermometer is none: it may have been colder.
#[derive(Clone, Debug, PartialEq)]
pub struct NightLow {
    pub night: NightOf,
    pub place: Place,
    pub low: Celsius,
}

/// What one thermometer's log holds of a night, from sunset to an hour after sunrise.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedNight {
    pub night: NightOf,
    pub place: Place,
    pub low: Celsius,
    /// In how many of the whole hours since sunset it has a row.
    pub hours: u32,
    pub last: DateTime<Utc>,
}

impl LoggedNight {
    /// Whether it saw the night: every hour of it, and sunrise. Half a log knows half a night, and the warmer half mostly.
    fn is_whole(&self, span: &Span) -> bool {
        let hours = (span.end() - span.sunset).num_hours();
        self.last >= span.sunrise && i64::from(self.hours) >= hours
    }
}

/// The lows of logs that saw their nights, and of minima that were read, the colder where there are two.
pub fn of(garden: &Garden, logged: &[LoggedNight], entries: &[Written]) -> Vec<NightLow> {
    let mut lows: BTreeMap<(NightOf, Place), Celsius> = BTreeMap::new();
    let mut put = |night, place: &Place, low: Celsius| {
        let known = lows.entry((night, without_cover(place))).or_insert(low);
        *known = known.min(low);
    };
    // Thermometers of a night come together, and its sun is worked out once.
    let mut span: Option<Span> = None;
    for log in logged {
        let of_night = span.filter(|span| span.of == log.night).unwrap_or_else(|| span_of(garden, log.night));
        span = Some(of_night);
        if log.is_whole(&of_night) {
            put(log.night, &log.place, log.low);
        }
    }
    for written in entries.iter().filter(|written| written.stands()) {
        if let What::Reading(reading) = &written.entry.what
            && let Some(night) = night_of_minimum(garden, reading, written.entry.at)
        {
            put(night, &reading.place, reading.temperature);
        }
    }
    lows.into_iter().map(|((night, place), low)| NightLow { night, place, low }).collect()
}

/// The lows that are right by the word of whoever read them, among those of the nights.
pub fn sure(garden: &Garden, lows: &[NightLow], entries: &[Written]) -> Confirmed {
    let mut sure = Confirmed::new();
    for written in entries.iter().filter(|written| written.stands()) {
        let What::Reading(reading) = &written.entry.what else { continue };
        let Some(night) = night_of_minimum(garden, reading, written.entry.at).filter(|_| reading.sure) else {
            continue;
        };
        let place = without_cover(&reading.place);
        // Where another thermometer was colder, that is the low, and nobody has vouched for it.
        let is_low = |low: &&NightLow| low.night == night && low.place == place && low.low == reading.temperature;
        if lows.iter().any(|low| is_low(&low)) {
            sure.insert((night, of_low(&place)));
        }
    }
    sure
}

/// Whatever the cover is called, there is one on a bed.
pub fn without_cover(place: &Place) -> Place {
    match place {
        Place::UnderCover { bed, .. } => Place::UnderCover { bed: bed.clone(), cover: None },
        Place::Screen | Place::Bed { .. } | Place::Soil { .. } => place.clone(),
    }
}

/// The night whose low a minimum is: read after sunrise and before the noon of the sun, and counted from before the
/// night grew cold. Where nobody says since when, the needle is taken to have been set back the day before.
fn night_of_minimum(garden: &Garden, reading: &Reading, at: DateTime<Utc>) -> Option<NightOf> {
    let Sampled::Minimum { since } = reading.of else { return None };
    let night = night_of(at, garden.site.longitude);
    let span = span_of(garden, night);
    let since_before = since
        .is_none_or(|since| (span.sunset - Duration::hours(12)..=span.sunset + Duration::hours(2)).contains(&since));
    // "last night" is written down to the minute.
    (at >= span.sunrise - Duration::minutes(1) && since_before).then_some(night)
}
