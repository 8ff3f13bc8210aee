//! A past record run through night by night, knowing at each dusk only what had been: what would have been said, and how
//! it came out.
//!
//! What a place has taught stays, also across a gap in its record; the weather of the days before does not: an evening
//! looks back a day and a bit, by the clock.

use crate::learn::dusk::Place;
use crate::night::cooling::{DuskNight, DuskRegression};
use crate::night::dusk::{Evening, Low, Outlook, Taught, TaughtPair};
use crate::units::Celsius;
use crate::weather::sun::{SunEvents, night_between};
use crate::weather::{Hour, Site};
use crate::zone::{NightOf, Zone};
use chrono::{DateTime, Datelike, Duration, Utc};

/// One night of a record.
#[derive(Clone, Debug)]
pub struct PastNight {
    pub of: NightOf,
    /// As it looked two hours after sunset, without an outlook.
    pub evening: Evening,
    /// What sky and wind then did until morning, where the record says.
    pub outlook: Option<Outlook>,
    /// The lowest sample from sunset to an hour after sunrise.
    pub low: Celsius,
    /// Whether it was clear and calm, known only afterwards; `None` where the record has no cloud or no wind.
    pub clear_calm: Option<bool>,
}

/// A night as it would have been foretold, beside how it was.
#[derive(Clone, Debug)]
pub struct Foretold {
    pub of: NightOf,
    pub low: Low,
    /// The published regression with coefficients of other places.
    pub imported: Celsius,
    /// The same fitted anew on this place's nights before, where these are enough.
    pub refitted: Option<Celsius>,
    /// Nights of this place that had taught it.
    pub nights_before: usize,
    pub observed: Celsius,
    pub clear_calm: Option<bool>,
}

/// A night is kept where at least this part of its hours has a sample, and no stretch without one is longer than this.
const SHARE_NEEDED: f64 = 0.9;
const LONGEST_GAP: Duration = Duration::hours(2);
/// The class of clear calm nights: mean cloud and mean wind (m/s) of the night at most these.
const CLEAR: f64 = 0.3;
const CALM: f64 = 3.0;
/// The moisture of air that nobody measured: this much below it, K. For the regression alone.
const ASSUMED_DRYNESS: f64 = 7.5;

/// The nights of a record, October to April north of the equator and April to October south of it. `samples` are in
/// order of time.
pub fn past_nights(samples: &[Hour], site: &Site, zone: &Zone) -> Vec<PastNight> {
    let mut dates: Vec<NightOf> = Vec::new();
    for sample in samples {
        // An evening belongs to the date on the wall; a sample after midnight to that of the evening before too.
        let date = NightOf(zone.local(sample.time).date_naive());
        if dates.last() != Some(&date) {
            dates.push(date);
        }
    }
    dates.sort();
    dates.dedup();
    dates.into_iter().filter(|of| cold_season(*of, site)).filter_map(|of| past_night(samples, site, zone, of)).collect()
}

fn cold_season(of: NightOf, site: &Site) -> bool {
    let month = of.0.month();
    if site.latitude < 0.0 { (4..=10).contains(&month) } else { !(5..=9).contains(&month) }
}

fn past_night(samples: &[Hour], site: &Site, zone: &Zone, of: NightOf) -> Option<PastNight> {
    let SunEvents::Night { sunset, sunrise } = night_between(site, zone, of) else { return None };
    let end = sunrise + Duration::hours(1);
    let from = samples.partition_point(|sample| sample.time < sunset);
    let to = samples.partition_point(|sample| sample.time <= end);
    let night = samples.get(from..to).filter(|night| is_whole(night, sunset, end))?;
    // An evening looks back a day; more of the record would only be searched through.
    let before = samples.partition_point(|sample| sample.time < sunset - Duration::hours(30));
    let evening = Evening::observed(samples.get(before..to)?, sunset, sunrise)?;
    let to_come = &night[night.partition_point(|sample| sample.time <= evening.at)..];
    let low = night.iter().map(|sample| sample.air_temperature).reduce(Celsius::min)?;
    let mean = |value: fn(&Hour) -> Option<f64>| {
        let known: Vec<f64> = night.iter().filter_map(value).collect();
        (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
    };
    let (cloud, wind) = (mean(|hour| hour.cloud_cover), mean(|hour| hour.wind_10m.map(|wind| wind.0)));
    let clear_calm = cloud.zip(wind).map(|(cloud, wind)| cloud <= CLEAR && wind <= CALM);
    Some(PastNight { of, evening, outlook: Outlook::of(to_come), low, clear_calm })
}

/// Whether the samples show the whole of a night.
fn is_whole(night: &[Hour], sunset: DateTime<Utc>, end: DateTime<Utc>) -> bool {
    let hours = (end - sunset).num_seconds() as f64 / 3600.0;
    let mut seen: Vec<i64> = night.iter().map(|sample| (sample.time - sunset).num_hours()).collect();
    seen.dedup();
    let instants = std::iter::once(sunset).chain(night.iter().map(|sample| sample.time));
    let nexts = night.iter().map(|sample| sample.time).chain([end]);
    let longest = instants.zip(nexts).map(|(from, to)| to - from).max();
    seen.len() as f64 >= SHARE_NEEDED * hours.floor() && longest.is_some_and(|longest| longest <= LONGEST_GAP)
}

/// Every night as it would have been foretold at its dusk, each learnt from before the next. With `as_feed` the sky and
/// wind of the night itself are handed over, as a perfect forecast of both would.
pub fn foretell(nights: &[PastNight], taught: &'static TaughtPair, as_feed: bool) -> Vec<Foretold> {
    // With and without an outlook are two relations; a place learns both.
    let mut by_evening = Place::new(&taught.evening);
    let mut by_outlook = Place::new(&taught.outlook);
    let mut past: Vec<DuskNight> = Vec::new();
    let mut foretold = Vec::with_capacity(nights.len());
    for night in nights {
        let evening = Evening { outlook: night.outlook.filter(|_| as_feed), ..night.evening };
        let place = if evening.outlook.is_some() { &mut by_outlook } else { &mut by_evening };
        let dusk_air = evening.air;
        let dusk_dew_point = evening.dew_point.unwrap_or(Celsius(dusk_air.0 - ASSUMED_DRYNESS));
        foretold.push(Foretold {
            of: night.of,
            low: place.expect(&evening),
            imported: imported(&taught.evening).predict(dusk_air, dusk_dew_point),
            refitted: DuskRegression::fit(&past).ok().map(|fit| fit.predict(dusk_air, dusk_dew_point)),
            nights_before: past.len(),
            observed: night.low,
            clear_calm: night.clear_calm,
        });
        place.learn(&evening, night.low);
        past.push(DuskNight { dusk_air, dusk_dew_point, minimum: night.low });
    }
    foretold
}

/// The published regression as the same stations would have taught it.
pub fn imported(taught: &Taught) -> DuskRegression {
    let [a, b, c, deviation] = taught.regression;
    DuskRegression { a, b, c, standard_deviation: crate::units::Kelvins(deviation) }
}

#[cfg(test)]
mod tests;
