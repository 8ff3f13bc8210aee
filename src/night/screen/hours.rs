//! The hours of a forecast made whole: what is missing in them is assumed on the cold side, and holes are counted.

use super::{ASSUMED_DEPRESSION, CALM, Span};
use crate::night::{Knowledge, NightHour, Remark};
use crate::units::{Celsius, Kelvins, MetresPerSecond};
use crate::weather::{Forecast, Hour, IntervalMinimum};
use chrono::{DateTime, Duration, Utc};

/// An interval so short that its low stands for the hours themselves.
pub(super) const SHORT: Duration = Duration::hours(6);
/// Sky, wind and humidity of an hour are carried this far and no farther (assumed: skies clear within a few hours).
const CARRIED: Duration = Duration::hours(2);

/// Every hour with every value: what is missing is taken from an hour nearby, else assumed and named.
pub(super) fn fill(samples: &[Hour], remarks: &mut Vec<Remark>) -> Vec<NightHour> {
    let coldest = lowest(samples.iter().map(|hour| hour.air_temperature));
    let dry = (coldest - ASSUMED_DEPRESSION).0;
    let winds = carried(samples, |hour| hour.wind_10m.map(|wind| wind.0), CALM);
    let clouds = carried(samples, |hour| hour.cloud_cover, 0.0);
    let dew_points = carried(samples, |hour| hour.dew_point.map(|dew_point| dew_point.0), dry);
    for (assumed, remark) in [
        (winds.assumed, Remark::WindAssumed),
        (clouds.assumed, Remark::SkyAssumed),
        (dew_points.assumed, Remark::DewPointAssumed),
    ] {
        if assumed {
            remarks.push(remark);
        }
    }
    let values = winds.values.iter().zip(&clouds.values).zip(&dew_points.values);
    samples
        .iter()
        .zip(values)
        .map(|(hour, ((wind, cloud), dew_point))| NightHour {
            time: hour.time,
            air: hour.air_temperature,
            dew_point: Celsius(*dew_point).min(hour.air_temperature),
            wind_10m: MetresPerSecond(*wind),
            cloud_cover: *cloud,
        })
        .collect()
}

struct Carried {
    values: Vec<f64>,
    /// At least one hour had none nearby.
    assumed: bool,
}

fn carried(samples: &[Hour], value: impl Fn(&Hour) -> Option<f64>, otherwise: f64) -> Carried {
    let known: Vec<(DateTime<Utc>, f64)> = samples.iter().filter_map(|hour| Some((hour.time, value(hour)?))).collect();
    let mut assumed = false;
    let mut near = |time: DateTime<Utc>| {
        let nearest = known.iter().min_by_key(|(at, _)| (*at - time).abs());
        match nearest {
            Some((at, value)) if (*at - time).abs() <= CARRIED => *value,
            _ => {
                assumed = true;
                otherwise
            }
        }
    };
    // No hour is nearer than itself.
    let values = samples.iter().map(|hour| value(hour).unwrap_or_else(|| near(hour.time))).collect();
    Carried { values, assumed }
}

/// A stretch between two hours of a forecast, of those still to come.
pub(super) struct Hole {
    /// Beyond the hour that lies between any two.
    pub missing_hours: f64,
    middle: DateTime<Utc>,
    /// The lowest temperature that may have been in it.
    pub may_hide: Celsius,
}

/// Late in a clear night air falls by about this much in an hour, K (assumed).
const FALL_IN_A_HOLE: f64 = 0.5;

/// Puts an hour into each small hole, on the cold side: as clear and as still as the night gets, and colder than the
/// hours beside it.
pub(super) fn bridge(hours: &mut Vec<NightHour>, holes: &[Hole]) {
    let least = |value: fn(&NightHour) -> f64| hours.iter().map(value).fold(f64::INFINITY, f64::min);
    let (wind, cloud_cover) = (least(|hour| hour.wind_10m.0), least(|hour| hour.cloud_cover));
    // Without an hour beside it nothing is known of what a hole may hide; such a night is incomplete.
    for hole in holes.iter().filter(|hole| hole.missing_hours > 0.0 && hole.may_hide.0.is_finite()) {
        let index = hours.partition_point(|hour| hour.time < hole.middle);
        let Some(beside) = hours.get(index).or(hours.last()).copied() else { continue };
        let (air, wind_10m) = (hole.may_hide, MetresPerSecond(wind));
        let dew_point = beside.dew_point.min(air);
        hours.insert(index, NightHour { time: hole.middle, air, dew_point, wind_10m, cloud_cover });
    }
}

/// What lies between the hours that are still to come, and before the first and after the last of them. A stretch for
/// which the feed states the low of a short interval is no hole.
pub(super) fn holes(forecast: &Forecast, span: &Span, now: DateTime<Utc>) -> Vec<Hole> {
    let from = still_to_come(span, now);
    let known = forecast.between(from, span.end()).iter().map(|hour| (hour.time, hour.air_temperature));
    let unknown = Celsius(f64::INFINITY);
    let instants: Vec<_> = std::iter::once((from, unknown)).chain(known).chain([(span.end(), unknown)]).collect();
    let hour = Duration::hours(1);
    let holes = instants.windows(2).filter_map(|pair| {
        let ((start, before), (end, after)) = (pair[0], pair[1]);
        let spans = |minimum: &&IntervalMinimum| minimum.from <= start + hour && minimum.to >= end - hour;
        let spanning = forecast.minima.iter().filter(spans);
        let is_short = |minimum: &IntervalMinimum| minimum.to - minimum.from <= SHORT;
        if spanning.clone().any(is_short) {
            return None;
        }
        let missing_hours = ((end - start).num_minutes() as f64 / 60.0 - 1.0).max(0.0);
        // No colder than the low that the feed states for all of it.
        let stated = spanning.map(|minimum| minimum.low).fold(Celsius(f64::NEG_INFINITY), Celsius::max);
        let may_hide = (before.min(after) - Kelvins(FALL_IN_A_HOLE * missing_hours)).max(stated);
        Some(Hole { missing_hours, middle: start + (end - start) / 2, may_hide })
    });
    holes.collect()
}

/// Hours long past matter no more.
fn still_to_come(span: &Span, now: DateTime<Utc>) -> DateTime<Utc> {
    span.sunset.max(now - Duration::hours(1)).min(span.end())
}

/// A hole above two hours, or a tenth of the hours, is too much to call anything safe; both are first choices. The
/// minute more is for feeds whose hours are not quite an hour apart.
const LONGEST_HOLE: f64 = 2.02;
const SHARE_NEEDED: f64 = 0.9;

/// Whether the hours that are still to come are there.
pub(super) fn knowledge(holes: &[Hole], span: &Span, now: DateTime<Utc>) -> Knowledge {
    let longest = holes.iter().map(|hole| hole.missing_hours).fold(0.0, f64::max);
    let missing: f64 = holes.iter().map(|hole| hole.missing_hours).sum();
    let length = ((span.end() - still_to_come(span, now)).num_minutes() as f64 / 60.0).max(1.0);
    let share_seen = (1.0 - missing / length).clamp(0.0, 1.0);
    // The hours before sunrise are the coldest: a forecast that ends before them has not seen the low.
    let unseen_at_the_end = holes.last().map_or(0.0, |hole| hole.missing_hours);
    if longest > LONGEST_HOLE || share_seen < SHARE_NEEDED || unseen_at_the_end > 1.02 {
        Knowledge::Incomplete { longest_hole_hours: longest, share_seen }
    } else {
        Knowledge::Complete
    }
}

/// Bends the curve so that its lowest hour is `low`: in full at the low, not at all at the warmest hour.
pub(super) fn bend_to(hours: &mut [NightHour], low: Celsius) {
    let coldest = lowest(hours.iter().map(|hour| hour.air));
    let warmest = hours.iter().map(|hour| hour.air.0).fold(f64::NEG_INFINITY, f64::max);
    let (move_by, range) = ((low - coldest).0, warmest - coldest.0);
    for hour in hours {
        // A flat or rising curve is moved as a whole: bending it upwards could turn it over.
        let share = if range > 0.5 && move_by < range { (warmest - hour.air.0) / range } else { 1.0 };
        hour.air = hour.air + Kelvins(move_by * share);
        hour.dew_point = hour.dew_point.min(hour.air);
    }
}

/// The lowest of some temperatures, or positive infinity of none.
pub(super) fn lowest(temperatures: impl Iterator<Item = Celsius>) -> Celsius {
    temperatures.fold(Celsius(f64::INFINITY), Celsius::min)
}
