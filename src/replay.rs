//! A past record run through night by night, knowing at each dusk only what had been: what would have been said, and how
//! it came out; and what a garden's lists would have asked.
//!
//! What a place has taught stays, also across a gap in its record; the weather of the days before does not: an evening
//! looks back a day and a bit, by the clock.

pub mod garden;
pub mod report;

use crate::night::Estimate;
use crate::night::cooling::{DuskNight, DuskRegression};
use crate::night::dusk::{DUSK, Evening, Low, Outlook, Place, Taught, TaughtPair};
use crate::score::crps;
use crate::score::{Scored, Threshold, month_of};
use crate::units::Celsius;
use crate::weather::sun::{SunEvents, night_between};
use crate::weather::{Hour, Site};
use crate::zone::{NightOf, Zone};
use chrono::{DateTime, Datelike, Duration, Utc};
use std::collections::BTreeMap;

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

/// The hours of a thermometer's rows, in any order: of each full hour the row nearest to it, within half an hour; of two as near
/// the colder. A station's record is one look an hour too, and the relations were fitted on those.
pub fn hourly(rows: &[(DateTime<Utc>, Celsius)]) -> Vec<Hour> {
    let mut hours: BTreeMap<i64, (i64, Celsius)> = BTreeMap::new();
    for (at, air) in rows.iter().filter(|(_, air)| air.0.is_finite()) {
        let hour = (at.timestamp() + 1800).div_euclid(3600);
        let off = (at.timestamp() - hour * 3600).abs();
        let known = hours.entry(hour).or_insert((off, *air));
        if off < known.0 || (off == known.0 && *air < known.1) {
            *known = (off, *air);
        }
    }
    let hour = |(hour, (_, air_temperature))| {
        let time = DateTime::from_timestamp(hour * 3600, 0)?;
        Some(Hour { time, air_temperature, dew_point: None, wind_10m: None, cloud_cover: None })
    };
    hours.into_iter().filter_map(hour).collect()
}

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
    let evening = Evening::observed(samples.get(before..to)?, sunset, sunrise, sunset + DUSK)?;
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

impl Foretold {
    /// For the score: the low as likely to be undercut as not, with every chance from the whole distribution. Its CRPS is
    /// that of the distribution before it was cut off at what had been.
    pub fn scored(&self) -> Scored {
        let (ordinary, first, second) = self.low.parts();
        Scored {
            night: self.of,
            predicted: Estimate { mean: self.low.median(), spread: self.low.spread },
            observed: self.observed,
            chances: Threshold::ALL.map(|threshold| self.low.chance_at_or_below(threshold.celsius())),
            share_below: self.low.share_at_or_below(self.observed),
            crps: crps::of_mixture(ordinary, first, second, self.observed),
            clear_calm: self.clear_calm,
            block: month_of(self.of),
        }
    }
}

/// The published regression as the same stations would have taught it.
pub fn imported(taught: &Taught) -> DuskRegression {
    let [a, b, c, deviation] = taught.regression;
    DuskRegression { a, b, c, standard_deviation: crate::units::Kelvins(deviation) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::MetresPerSecond;

    const SITE: Site = Site { latitude: 52.0, longitude: 5.0, elevation: 10.0 };

    fn zone() -> Zone {
        Zone::bundled(chrono_tz::Europe::Amsterdam).expect("rules")
    }

    /// An invented winter, hour by hour from 1 November 2025: warm at two in the afternoon, cold at six in the morning,
    /// with slow swings from night to night.
    fn winter(days: i64) -> Vec<Hour> {
        let start: DateTime<Utc> = "2025-11-01T00:00:00Z".parse().expect("a time");
        (0..days * 24)
            .map(|hour| {
                let day = hour as f64 / 24.0;
                let swing = 4.0 * (day * 0.7).sin() + 2.0 * (day * 0.23).cos();
                let air = 4.0 + swing + 4.0 * ((hour as f64 - 14.0) / 24.0 * std::f64::consts::TAU).cos();
                Hour {
                    time: start + Duration::hours(hour),
                    air_temperature: Celsius(air),
                    dew_point: Some(Celsius(air - 3.0 - (day * 0.31).sin())),
                    wind_10m: Some(MetresPerSecond(2.0 + 1.5 * (day * 1.3).sin())),
                    cloud_cover: Some(0.5 + 0.5 * (day * 0.9).cos()),
                }
            })
            .collect()
    }

    fn run(samples: &[Hour], as_feed: bool) -> Vec<Foretold> {
        let (taught, left_out) = crate::night::dusk::taught_for_a_score(&SITE);
        assert_eq!(left_out, None);
        foretell(&past_nights(samples, &SITE, &zone()), taught, as_feed)
    }

    /// Whatever comes later, what was foretold of a night stays: with the evening alone nothing after its dusk counts,
    /// and with sky and wind handed over no temperature of its night.
    #[test]
    fn a_night_is_foretold_from_its_past_alone() {
        let samples = winter(40);
        for as_feed in [false, true] {
            let whole = run(&samples, as_feed);
            assert_eq!(whole.len(), 39);
            for index in [0, 7, 20] {
                let of = whole[index].of;
                let SunEvents::Night { sunset, .. } = night_between(&SITE, &zone(), of) else { panic!("no night") };
                let mut changed = samples.clone();
                for hour in changed.iter_mut().filter(|hour| hour.time > sunset + DUSK) {
                    hour.air_temperature = Celsius(hour.air_temperature.0 - 7.5);
                    if !as_feed {
                        (hour.cloud_cover, hour.wind_10m) = (None, Some(MetresPerSecond(17.0)));
                    }
                }
                let again = run(&changed, as_feed);
                assert_eq!(again[index].of, of);
                assert_eq!(again[index].low, whole[index].low, "{of}");
                assert_ne!(again[index].observed, whole[index].observed);
            }
        }
    }

    #[test]
    fn a_place_teaches_and_its_weather_is_not_carried_over_a_gap() {
        let samples = winter(60);
        let whole = run(&samples, false);
        // Without the first month the same evening is foretold otherwise: that month has taught.
        let half = run(&samples[30 * 24..], false);
        let last = whole.last().expect("nights");
        assert_ne!(half.last().map(|night| night.low), Some(last.low));
        assert!(half.last().map(|night| night.nights_before) < Some(last.nights_before));
        // The first evening after a gap knows no yesterday.
        let mut gap = samples.clone();
        gap.drain(24 * 20..24 * 22 + 12);
        let nights = past_nights(&gap, &SITE, &zone());
        let after = nights.iter().find(|night| night.of.0 == "2025-11-23".parse().expect("a date")).expect("a night");
        assert_eq!(after.evening.air_a_day_before, None);
    }

    #[test]
    fn nights_with_holes_and_of_summer_are_left_out() {
        let samples = winter(3);
        let without = |from: usize, to: usize| {
            let mut samples = samples.clone();
            samples.drain(from..to);
            past_nights(&samples, &SITE, &zone()).len()
        };
        assert_eq!(without(0, 0), 2);
        // One hour is missing in the night of the first; then two; then its dusk.
        assert_eq!(without(26, 27), 2);
        assert_eq!(without(26, 28), 1);
        assert_eq!(without(16, 20), 1);
        let summer: Vec<Hour> =
            samples.iter().map(|hour| Hour { time: hour.time + Duration::days(230), ..*hour }).collect();
        assert_eq!(past_nights(&summer, &SITE, &zone()).len(), 0);
        let south = Site { latitude: -40.0, ..SITE };
        assert!(!past_nights(&summer, &south, &zone()).is_empty());
    }

    #[test]
    fn a_line_a_night_in_the_columns_promised() {
        let table = report::table_of_nights(&run(&winter(4), true));
        let mut lines = table.lines();
        assert_eq!(lines.next(), Some(report::HEADER));
        for line in lines {
            let fields: Vec<&str> = line.split(',').collect();
            let chances: Vec<f64> = fields[4..].iter().map(|chance| chance.parse().expect("a number")).collect();
            assert!(fields.len() == 7 && chances.is_sorted_by(|warm, cold| warm >= cold), "{line}");
            assert!(fields[0].starts_with("2025-11-0"), "{line}");
        }
        assert_eq!(table.lines().count(), 4);
    }
}
