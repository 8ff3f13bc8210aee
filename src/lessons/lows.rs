//! The low of a night at one place, from a thermometer that has seen the whole of it.

use super::{Confirmed, of_low, span_of};
use crate::beds::Garden;
use crate::journal::event::{Written, night_of};
use crate::journal::{Place, Sampled, What};
use crate::night::screen::Span;
use crate::units::{Celsius, Kelvins};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use std::collections::BTreeMap;

/// The lowest temperature of one place in one night. A single look at a thermometer is none: it may have been colder.
#[derive(Clone, Debug, PartialEq)]
pub struct NightLow {
    pub night: NightOf,
    pub place: Place,
    pub low: Celsius,
    /// How far the low may lie from that because the thermometer was read before the night was over; 0 where it was not.
    pub spread: Kelvins,
}

impl NightLow {
    /// Whether the thermometer saw the whole night.
    pub fn is_whole(&self) -> bool {
        self.spread == Kelvins(0.0)
    }
}

/// How much of its night a reading of the air has seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    /// All of it.
    Through,
    /// All but so much before sunrise: it counts, by [`read_early`].
    Nearly(Duration),
    /// A minimum that was read when too much of the night was to come.
    TooEarly,
    /// A minimum whose stretch does not begin with the night.
    NotSinceEvening,
    /// An instant, or a maximum.
    Look,
}

/// A minimum that was read longer before sunrise is none of the night.
pub const EARLIEST: Duration = Duration::hours(2);

/// The low of a night whose minimum was read before sunrise.
///
/// ```text
/// L = m - 0.3 t,   s = 0.6 sqrt(t)
/// ```
///
/// | symbol | meaning                                    | unit | accepted range |
/// |--------|--------------------------------------------|------|----------------|
/// | `m`    | minimum as it was read                     | °C   |                |
/// | `t`    | from reading to sunrise                    | h    | 0 to 2         |
/// | `L`, `s` | low of the night, and how far it may lie from that | °C, K | `s` 0 to 0.85 |
///
/// The air falls until about sunrise, so a minimum read before it says "at most". In more than half of all nights nothing
/// comes after it, in one of ten more than 1.9 K in the last two hours.
///
/// **Method error.** Lopsided, and taken as normal.
/// **Refuses.** Nothing: a time after sunrise counts as sunrise.
/// **Source.** Coldest about sunrise: R. L. Snyder and J. P. de Melo-Abreu, 2005, Frost Protection, vol. 1, FAO Environment
/// and Natural Resources Series 10. The two figures were fitted for this project by eye on 595 nights, October to April,
/// that fell below 5 °C at Greensboro, Chicago O'Hare, Washington Dulles and Golden, between hourly values.
/// **Check.** Those nights, lowest until then less lowest until an hour after sunrise, mean and standard deviation: half an
/// hour 0.18 and 0.42 K, one hour 0.30 and 0.58, one and a half 0.44 and 0.74, two 0.60 and 0.88.
///
/// ```
/// # use counterpane::{lessons::lows::read_early, units::Celsius};
/// # use chrono::Duration;
/// for (minutes, mean, spread) in [(30, 0.18, 0.42), (60, 0.30, 0.58), (90, 0.44, 0.74), (120, 0.60, 0.88)] {
///     let (low, of) = read_early(Celsius(-1.0), Duration::minutes(minutes));
///     assert!((low.0 + 1.0 + mean).abs() < 0.05 && (of.0 - spread).abs() < 0.05);
/// }
/// ```
pub fn read_early(minimum: Celsius, before_sunrise: Duration) -> (Celsius, Kelvins) {
    let hours = before_sunrise.num_minutes().max(0) as f64 / 60.0;
    (minimum - Kelvins(0.3 * hours), Kelvins(0.6 * hours.sqrt()))
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

/// The lows of logs that saw their nights, and of minima that were read: of several of a place the surest, and of those the
/// coldest.
pub fn of(garden: &Garden, logged: &[LoggedNight], entries: &[Written]) -> Vec<NightLow> {
    let mut lows: BTreeMap<(NightOf, Place), (Kelvins, Celsius)> = BTreeMap::new();
    let mut put = |night, place: &Place, low: Celsius, spread: Kelvins| {
        let known = lows.entry((night, without_cover(place))).or_insert((spread, low));
        if (spread.0, low.0) < (known.0.0, known.1.0) {
            *known = (spread, low);
        }
    };
    // Thermometers of a night come together, and its sun is worked out once.
    let mut span: Option<Span> = None;
    for log in logged {
        let of_night = span.filter(|span| span.of == log.night).unwrap_or_else(|| span_of(garden, log.night));
        span = Some(of_night);
        if log.is_whole(&of_night) {
            put(log.night, &log.place, log.low, Kelvins(0.0));
        }
    }
    for written in entries.iter().filter(|written| written.stands()) {
        let What::Reading(reading) = &written.entry.what else { continue };
        let (night, seen) = seen(garden, reading.of, written.entry.at);
        match seen {
            Seen::Through => put(night, &reading.place, reading.temperature, Kelvins(0.0)),
            Seen::Nearly(before) => {
                let (low, spread) = read_early(reading.temperature, before);
                put(night, &reading.place, low, spread);
            }
            Seen::TooEarly | Seen::NotSinceEvening | Seen::Look => {}
        }
    }
    lows.into_iter().map(|((night, place), (spread, low))| NightLow { night, place, low, spread }).collect()
}

/// The low of a night at a place.
pub(super) fn at<'l>(lows: &'l [NightLow], night: NightOf, place: &Place) -> Option<&'l NightLow> {
    lows.iter().find(|low| low.night == night && low.place == *place)
}

/// The lows that are right by the word of whoever read them, among those of the nights.
pub fn sure(garden: &Garden, lows: &[NightLow], entries: &[Written]) -> Confirmed {
    let mut sure = Confirmed::new();
    for written in entries.iter().filter(|written| written.stands()) {
        let What::Reading(reading) = &written.entry.what else { continue };
        if !reading.sure {
            continue;
        }
        let (night, seen) = seen(garden, reading.of, written.entry.at);
        let counted = match seen {
            Seen::Through => reading.temperature,
            Seen::Nearly(before) => read_early(reading.temperature, before).0,
            Seen::TooEarly | Seen::NotSinceEvening | Seen::Look => continue,
        };
        let place = without_cover(&reading.place);
        // Where another thermometer was colder, that is the low, and nobody has vouched for it.
        let is_low = |low: &&NightLow| low.night == night && low.place == place && low.low == counted;
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

/// How much of its night what was read at an instant has seen. A minimum sees it when it is read from sunrise, or shortly
/// before it, until the noon of the sun, and counted from before the night grew cold. Where nobody says since when, the
/// needle is taken to have been set back the day before.
pub fn seen(garden: &Garden, of: Sampled, at: DateTime<Utc>) -> (NightOf, Seen) {
    let night = night_of(at, garden.site.longitude);
    let Sampled::Minimum { since } = of else { return (night, Seen::Look) };
    let span = span_of(garden, night);
    let evening = span.sunset - Duration::hours(12)..=span.sunset + Duration::hours(2);
    let before_sunrise = span.sunrise - at;
    let seen = match before_sunrise {
        _ if since.is_some_and(|since| !evening.contains(&since)) => Seen::NotSinceEvening,
        // "last night" is written down to the minute, as is all that people type.
        before if before <= Duration::minutes(1) => Seen::Through,
        before if before < EARLIEST + Duration::minutes(1) => Seen::Nearly(before),
        _ => Seen::TooEarly,
    };
    (night, seen)
}
