//! What kind of night it is, and what the day before it leaves: sky and wind, the soil's memory, daytime cold.

use super::hours::{fill, lowest};
use super::{CALM, Span};
use crate::night::cover::CoverConditions;
use crate::night::past::{self, PastDay, covered, mean_by_time};
use crate::night::{FrostKind, NightHour, Remark};
use crate::units::{Celsius, Kelvins, MetresPerSecond};
use crate::weather::Forecast;
use chrono::{DateTime, Duration, Utc};

/// The sky and wind of these hours before the low decide how cold it gets near the ground (assumed: what the evening's
/// cloud kept back is lost again within them).
const BEFORE_THE_LOW: Duration = Duration::hours(6);

/// [`clear_calm`] of the mean sky and wind before the low. The class of clear calm nights in the study of observed nights
/// that the shifts come from has at most three tenths and 3 m/s; the falls are assumed, so that no forecast jumps between
/// two kinds of night.
pub(super) fn clear_calm_weight(hours: &[NightHour]) -> f64 {
    let coldest = hours.iter().min_by(|a, b| a.air.0.total_cmp(&b.air.0)).map(|hour| hour.time);
    let decides = |hour: &&NightHour| coldest.is_some_and(|at| hour.time <= at && at - hour.time <= BEFORE_THE_LOW);
    let mut deciding: Vec<&NightHour> = hours.iter().filter(decides).collect();
    // A low at dusk has no night before it: then the whole night must do.
    if deciding.len() < 3 {
        deciding = hours.iter().collect();
    }
    let count = deciding.len().max(1) as f64;
    let cloud = deciding.iter().map(|hour| hour.cloud_cover).sum::<f64>() / count;
    let wind = deciding.iter().map(|hour| hour.wind_10m.0).sum::<f64>() / count;
    clear_calm(cloud, MetresPerSecond(wind))
}

/// How much of a clear, calm night a sky and a wind make: 1 up to three tenths of cloud and 3 m/s, falling to 0 at seven
/// tenths or 6 m/s. `wind_10m` is at 10 m, `cloud_cover` a fraction; NaN comes back as NaN.
pub fn clear_calm(cloud_cover: f64, wind_10m: MetresPerSecond) -> f64 {
    let clear = ((0.7 - cloud_cover) / 0.4).clamp(0.0, 1.0);
    let calm = ((6.0 - wind_10m.0) / 3.0).clamp(0.0, 1.0);
    clear * calm
}

/// Above this weight a night is called one of radiation, and above this wind one of advection (m/s); assumed.
const RADIATION: f64 = 0.6;
const ADVECTION: f64 = 4.0;

pub(super) fn kind(hours: &[NightHour], clear_calm: f64) -> FrostKind {
    match clear_calm {
        weight if weight > RADIATION => FrostKind::Radiation,
        _ if wind_at_the_low(hours).0 > ADVECTION => FrostKind::Advection,
        _ => FrostKind::Mixed,
    }
}

/// How near to the low the wind is that a cover has to stand (assumed: half of [`BEFORE_THE_LOW`] on either side).
const AROUND_THE_LOW: Duration = Duration::hours(3);

/// Mean wind of the hours around the low: what blew in a mild evening takes no warmth from under a cover towards morning.
fn wind_at_the_low(hours: &[NightHour]) -> MetresPerSecond {
    let coldest = hours.iter().min_by(|a, b| a.air.0.total_cmp(&b.air.0)).map(|hour| hour.time);
    let is_near = |hour: &&NightHour| coldest.is_some_and(|at| (hour.time - at).abs() <= AROUND_THE_LOW);
    mean_wind(hours.iter().filter(is_near).map(|hour| hour.wind_10m)).unwrap_or(MetresPerSecond(CALM))
}

fn mean_wind(winds: impl Iterator<Item = MetresPerSecond>) -> Option<MetresPerSecond> {
    let winds: Vec<f64> = winds.map(|wind| wind.0).collect();
    (!winds.is_empty()).then(|| MetresPerSecond(winds.iter().sum::<f64>() / winds.len() as f64))
}

/// The hours before sunset in which covers are laid; at night it is the hour that follows (assumed).
const LAYING: Duration = Duration::hours(3);

/// Mean wind while covers are laid; that around the low where no hour of it is known.
pub(super) fn laying_wind(
    forecast: &Forecast,
    span: &Span,
    now: DateTime<Utc>,
    hours: &[NightHour],
) -> MetresPerSecond {
    let from = (span.sunset - LAYING).max(now);
    let until = span.sunset.max(from + Duration::hours(1)).min(span.end());
    let known = forecast.between(from, until).iter().filter_map(|hour| hour.wind_10m);
    mean_wind(known).unwrap_or_else(|| wind_at_the_low(hours))
}

/// The days and nights before one, at the garden's screen, as a forecast and its earlier copies had them.
pub fn past(forecast: &Forecast, span: &Span, garden_offset: Option<Kelvins>) -> Vec<PastDay> {
    let weight = |forecast: &Forecast, from, to| {
        let mut remarks = Vec::new();
        let hours = fill(forecast.between(from, to), &mut remarks);
        let assumed = remarks.iter().any(|remark| matches!(remark, Remark::WindAssumed | Remark::SkyAssumed));
        (!assumed && !hours.is_empty()).then(|| clear_calm_weight(&hours))
    };
    past::days(forecast, span, garden_offset.unwrap_or(Kelvins(0.0)), weight)
}

/// Fewer hours of day than this say nothing of it (assumed).
const FEW_HOURS: f64 = 5.0;

/// The mean by time from a day and a half before sunrise to the end of the night. `place` is the garden's screen against the
/// feed.
pub(super) fn mean_air(forecast: &Forecast, span: &Span, place: Kelvins, hours: &[NightHour]) -> Celsius {
    let around = forecast.between(span.sunrise - Duration::hours(36), span.end());
    let day = around.iter().map(|hour| hour.time).filter(|time| *time < span.sunset);
    let mean = mean_by_time(around.iter().map(|hour| (hour.time, hour.air_temperature + place)));
    match mean {
        Some(mean) if covered(day) >= FEW_HOURS => mean,
        // Without daytime hours the mean would be that of the night alone: colder than the soil remembers.
        _ => {
            let warmest = hours.iter().map(|hour| hour.air.0).fold(f64::NEG_INFINITY, f64::max);
            Celsius((warmest + lowest(hours.iter().map(|hour| hour.air)).0) / 2.0)
        }
    }
}

/// The hours before sunset that fill the soil with warmth (assumed).
const DAY: Duration = Duration::hours(8);
/// Fewer hours of sky than this say nothing of a day.
const FEW_SKIES: usize = 3;

/// What the day before leaves for a cover to keep. `place` is the garden's screen against the feed.
pub(super) fn cover_conditions(
    forecast: &Forecast,
    span: &Span,
    place: Kelvins,
    hours: &[NightHour],
) -> CoverConditions {
    let day = forecast.between(span.sunset - DAY, span.sunset);
    let clouds: Vec<f64> = day.iter().filter_map(|hour| hour.cloud_cover).collect();
    let cloud = (clouds.len() >= FEW_SKIES).then(|| clouds.iter().sum::<f64>() / clouds.len() as f64);
    let warmest = day.iter().map(|hour| hour.air_temperature + place).reduce(Celsius::max);
    CoverConditions { wind_10m: wind_at_the_low(hours).0, left_by_the_day: CoverConditions::left_by(cloud, warmest) }
}

/// Below this a day can hurt what stood the night, and only if it is colder than the night by this much (assumed).
const COLD_BY_DAY: Celsius = Celsius(2.0);
const COLDER_BY: Kelvins = Kelvins(1.0);

/// Cold that comes by day belongs to no night, and must not go unsaid. `place` is the garden's screen against the feed, as
/// the night's low has it already.
pub(super) fn colder_by_day(
    forecast: &Forecast,
    span: &Span,
    now: DateTime<Utc>,
    night: Celsius,
    place: Kelvins,
) -> Option<Remark> {
    let until_dusk = forecast.between(now, span.sunset).iter();
    let after = forecast.between(span.end(), span.end() + Duration::hours(9)).iter();
    let coldest = until_dusk.chain(after).min_by(|a, b| a.air_temperature.0.total_cmp(&b.air_temperature.0))?;
    let low = coldest.air_temperature + place;
    let matters = low < COLD_BY_DAY && low < night - COLDER_BY;
    matters.then_some(Remark::ColderByDay { low, at: coldest.time })
}
