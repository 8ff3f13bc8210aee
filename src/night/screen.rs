//! The night at the garden's screen, from a forecast, the evening's thermometer, or one low given by hand.
//!
//! What a feed left out is assumed on the cold side and named; hours that are missing make the night incomplete, and
//! an incomplete night is never called safe.

use super::cooling::{CoolingCurve, DuskRegression};
use super::cover::CoverConditions;
use super::{Estimate, FrostKind, Knowledge, Night, NightHour, NoNight, Remark, Step};
use crate::units::{Celsius, Kelvins, MetresPerSecond};
use crate::weather::{Forecast, Hour, IntervalMinimum, Provider, Reading};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};

/// What is at hand when a night is judged.
#[derive(Clone, Copy, Debug)]
pub struct Evidence<'a> {
    pub forecast: Option<&'a Forecast>,
    /// Thermometer readings, brought to the garden's screen, in order of time.
    pub readings: &'a [Reading],
    /// The garden's screen against the forecast, where the manager knows it.
    pub garden_offset: Option<Kelvins>,
    pub now: DateTime<Utc>,
}

/// The stretch of time that is judged.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    pub of: NightOf,
    pub sunset: DateTime<Utc>,
    pub sunrise: DateTime<Utc>,
}

impl Span {
    /// The lowest temperature can come up to an hour after sunrise.
    pub fn end(&self) -> DateTime<Utc> {
        self.sunrise + Duration::hours(1)
    }
}

/// Standard deviation of a forecast minimum by lead day 1 to 7, K (planning values from memory, to be replaced by the
/// garden's own record).
const SPREAD_BY_LEAD_DAY: [f64; 7] = [1.8, 2.0, 2.2, 2.5, 2.8, 3.1, 3.4];
/// Forecasts issued longer ago than this are named as old; these are first choices for feeds that run four times a day.
const OLD: Duration = Duration::hours(12);
/// Longer ago than this is no forecast for tonight.
const STALE: Duration = Duration::hours(18);
/// How well a garden's screen is known against the forecast before anyone has measured, K (assumed).
const UNKNOWN_SITE_SPREAD: f64 = 1.0;
/// The same once the manager has stated an offset, K (assumed).
const STATED_SITE_SPREAD: f64 = 0.5;

/// The night to expect, or why nothing can be said of it.
pub fn expect(evidence: &Evidence<'_>, span: &Span) -> Result<Night, NoNight> {
    let dusk = dusk_reading(evidence.readings, span, evidence.now);
    let usable = evidence.forecast.map(|forecast| usable(forecast, span, evidence.now));
    let night = match (usable, dusk) {
        (Some(Ok(forecast)), Some(dusk)) => with_reading(from_forecast(forecast, evidence, span), dusk),
        (Some(Ok(forecast)), None) => from_forecast(forecast, evidence, span),
        (_, Some(dusk)) => from_reading(dusk, evidence, span),
        (Some(Err(why)), None) => return Err(why),
        (None, None) => return Err(NoNight::NoForecast),
    };
    Ok(no_warmer_than_observed(night, evidence.readings, span))
}

/// A forecast that can be used for this night at all.
fn usable<'f>(forecast: &'f Forecast, span: &Span, now: DateTime<Utc>) -> Result<&'f Forecast, NoNight> {
    if forecast.provider == Provider::HandGivenLow {
        return Ok(forecast);
    }
    let age = forecast.age(now);
    if age > STALE {
        return Err(NoNight::Stale { hours: age.num_hours() });
    }
    if forecast.between(span.sunset, span.end()).is_empty() {
        return Err(NoNight::NothingForThisNight);
    }
    Ok(forecast)
}

fn from_forecast(forecast: &Forecast, evidence: &Evidence<'_>, span: &Span) -> Night {
    let by_hand = forecast.provider == Provider::HandGivenLow;
    let samples = forecast.between(span.sunset, span.end());
    let mut remarks = Vec::new();
    let mut hours = fill(samples, &mut remarks);
    let mut steps = Vec::new();

    // The hourly minimum can hide a colder value between the hours; a feed that states the night's low is heard too.
    let hourly = lowest(hours.iter().map(|hour| hour.air));
    let holes = if by_hand { Vec::new() } else { holes(forecast, span, evidence.now) };
    let knowledge = knowledge(&holes, span, evidence.now);
    if knowledge == Knowledge::Complete {
        bridge(&mut hours, &holes);
    }
    let clear_calm = clear_calm_weight(&hours, &remarks);
    let bridged = lowest(hours.iter().map(|hour| hour.air));
    let stated = lowest(forecast.minima.iter().filter(|m| mostly_within(m.from, m.to, span)).map(|m| m.low));
    let raw = hourly.min(stated);
    steps.push(Step {
        what: if by_hand { "low given by hand".into() } else { "lowest hour of the forecast at the screen".into() },
        value: Some(hourly),
        effect: None,
        spread: None,
        source: "the forecast",
    });
    if stated < hourly && !by_hand {
        steps.push(Step {
            what: "the feed's own low for the night is colder".into(),
            value: Some(stated),
            effect: Some(stated - hourly),
            spread: None,
            source: "the forecast",
        });
    }
    let mut minimum = Estimate { mean: raw, spread: Kelvins(0.0) };
    let mut step = |what: String, effect: f64, spread: f64, source: &'static str| {
        minimum = minimum.moved(Kelvins(effect), Kelvins(spread));
        steps.push(Step { what, value: None, effect: Some(Kelvins(effect)), spread: Some(Kelvins(spread)), source });
    };

    let lead = lead_day(forecast, span, evidence.now);
    let spread = SPREAD_BY_LEAD_DAY[lead - 1];
    step(format!("error of a forecast minimum on lead day {lead}"), 0.0, spread, "planning value, from memory");
    if !by_hand {
        // Weather models run warm on such nights: ECMWF's forecast user guide states 1 to 2 K at 2 m. The shift is the
        // mild end, because feeds are corrected already; the rest stays in the spread.
        let source = "ECMWF forecast user guide, near-surface temperature errors; the share taken is assumed";
        step("clear, calm night: forecasts run warm".into(), -0.5 * clear_calm, 0.75 * clear_calm, source);
    }
    match evidence.garden_offset {
        Some(offset) => step("garden's offset, as set".into(), offset.0, STATED_SITE_SPREAD, "the garden's settings"),
        None => step("garden's offset, not yet known".into(), 0.0, UNKNOWN_SITE_SPREAD, "assumed"),
    }
    let age = forecast.age(evidence.now);
    if forecast.issued_before(evidence.now).is_none() && !by_hand {
        remarks.push(Remark::IssueUnknown);
        step("the feed does not say when it was issued".into(), 0.0, 0.8, "assumed");
    } else if age > OLD && !by_hand {
        #[allow(clippy::cast_precision_loss)]
        let hours = age.num_minutes() as f64 / 60.0;
        remarks.push(Remark::Old { hours });
        step(format!("issued {hours:.0} hours ago"), 0.0, 1.0, "assumed");
    }
    if by_hand {
        // It says itself that nothing else is known.
        remarks = vec![Remark::HandGiven];
    }
    if let Knowledge::Incomplete { longest_hole_hours, .. } = knowledge {
        step(format!("a hole of {longest_hole_hours:.0} hours in the night"), 0.0, 2.0, "assumed");
    } else if holes.iter().any(|hole| hole.missing_hours > 0.0) {
        let effect = (bridged - raw).0.min(0.0);
        step("an hour is missing and may hide a colder one".into(), effect, SPREAD_OF_A_HOLE, "assumed");
    }
    bend_to(&mut hours, minimum.mean);
    Night {
        of: span.of,
        sunset: span.sunset,
        sunrise: span.sunrise,
        kind: kind(&hours, clear_calm),
        mean_air: mean_air(forecast, span, &hours),
        freezing_degree_hours: freezing_degree_hours(forecast, span, &hours),
        cover_conditions: cover_conditions(forecast, span, &hours),
        hours,
        minimum,
        clear_calm,
        knowledge,
        remarks,
        provider: Some(forecast.provider.clone()),
        issued: forecast.issued,
        fetched: Some(forecast.fetched),
        steps,
    }
}

/// The night from the evening's thermometer alone: the published regression on temperature and dew point two hours
/// after sunset, and a fall with the square root of time.
fn from_reading(dusk: &Reading, evidence: &Evidence<'_>, span: &Span) -> Night {
    let (low, mut steps) = regression(dusk, 1.0);
    let site = if evidence.garden_offset.is_some() { 0.0 } else { 0.3 };
    let minimum = low.moved(Kelvins(0.0), Kelvins(site));
    steps.push(Step {
        what: "no forecast: sky and wind are taken as clear and calm".into(),
        value: None,
        effect: None,
        spread: Some(Kelvins(site)),
        source: "assumed, on the cold side",
    });
    let dew_point = dusk.dew_point.unwrap_or(dusk.air - ASSUMED_DEPRESSION);
    let hours = curve(dusk.at, dusk.air, minimum.mean, span, dew_point);
    let mean_air = Celsius(hours.iter().map(|hour| hour.air.0).sum::<f64>() / hours.len().max(1) as f64);
    Night {
        of: span.of,
        sunset: span.sunset,
        sunrise: span.sunrise,
        minimum,
        clear_calm: 1.0,
        kind: FrostKind::Radiation,
        mean_air,
        freezing_degree_hours: degree_hours(hours.iter().map(|hour| (hour.time, hour.air))),
        cover_conditions: CoverConditions { wind_10m: CALM, dull_cold_day: false },
        knowledge: Knowledge::Complete,
        hours,
        remarks: vec![Remark::ReadingOnly],
        provider: None,
        issued: None,
        fetched: None,
        steps,
    }
}

/// Two independent estimates of one minimum, weighted by how well each is known.
fn with_reading(mut night: Night, dusk: &Reading) -> Night {
    let (by_reading, steps) = regression(dusk, night.clear_calm);
    let difference = by_reading.mean - night.minimum.mean;
    let (a, b) = (night.minimum.spread.0.powi(-2), by_reading.spread.0.powi(-2));
    let mean = Celsius((night.minimum.mean.0 * a + by_reading.mean.0 * b) / (a + b));
    let spread = Kelvins((a + b).sqrt().recip());
    night.steps.extend(steps);
    night.steps.push(Step {
        what: "forecast and evening reading, weighted by their spread".into(),
        value: Some(mean),
        effect: Some(mean - night.minimum.mean),
        spread: Some(spread),
        source: "inverse-variance weighting of independent estimates",
    });
    if difference.0.abs() > 3.0 {
        night.remarks.push(Remark::ReadingDisagrees { by: difference });
        // Where the two contradict each other, neither is as sure as it says.
        night.minimum = Estimate { mean, spread: Kelvins(spread.0.hypot(difference.0 / 3.0)) };
    } else {
        night.minimum = Estimate { mean, spread };
    }
    bend_to(&mut night.hours, mean);
    night
}

/// The published regression at dusk, with its known bias on clear calm nights taken out.
fn regression(dusk: &Reading, clear_calm: f64) -> (Estimate, Vec<Step>) {
    let DuskRegression { standard_deviation, .. } = DuskRegression::IMPORTED;
    let dew_point = dusk.dew_point.unwrap_or(dusk.air - ASSUMED_DEPRESSION);
    let mean = DuskRegression::IMPORTED.predict(dusk.air, dew_point);
    let shift = Kelvins(CLEAR_CALM_SHIFT * clear_calm);
    let dew_spread = if dusk.dew_point.is_some() { 0.0 } else { 0.8 };
    let estimate = Estimate { mean, spread: standard_deviation }.moved(shift, Kelvins(dew_spread));
    let steps = vec![
        Step {
            what: "regression on the evening's thermometer".into(),
            value: Some(mean),
            effect: None,
            spread: Some(standard_deviation),
            source: "Snyder and de Melo-Abreu 2005, FAO, form; coefficients fitted to hourly records of seven US stations",
        },
        Step {
            what: "the regression is too warm on clear calm nights".into(),
            value: None,
            effect: Some(shift),
            spread: None,
            source: "792 nights of four US stations: bias +2.99 K clear and calm, +0.69 K otherwise",
        },
    ];
    (estimate, steps)
}

/// 0.69 - 2.99 K: how much warmer the regression errs on clear calm nights than on others (hourly records of four US
/// stations, computed).
pub const CLEAR_CALM_SHIFT: f64 = -2.3;
/// Where no humidity is known: air this much above its dew point, drier than most winter evenings (assumed).
const ASSUMED_DEPRESSION: Kelvins = Kelvins(5.0);
/// Where no wind is known, m/s.
const CALM: f64 = 1.0;

/// The reading that stands for two hours after sunset: the last one from half an hour to three and a half hours after.
fn dusk_reading<'r>(readings: &'r [Reading], span: &Span, now: DateTime<Utc>) -> Option<&'r Reading> {
    let (from, to) = (span.sunset + Duration::minutes(30), span.sunset + Duration::minutes(210));
    readings.iter().rev().find(|reading| reading.at >= from && reading.at <= to && reading.at <= now)
}

/// What a thermometer has shown in this night is the least that can be said of its low.
fn no_warmer_than_observed(mut night: Night, readings: &[Reading], span: &Span) -> Night {
    let during = readings.iter().filter(|reading| reading.at >= span.sunset && reading.at <= span.end());
    let coldest = lowest(during.map(|reading| reading.air));
    if coldest < night.minimum.mean {
        night.steps.push(Step {
            what: "a thermometer has already shown less".into(),
            value: Some(coldest),
            effect: Some(coldest - night.minimum.mean),
            spread: None,
            source: "the garden's reading",
        });
        night.minimum.mean = coldest;
        bend_to(&mut night.hours, coldest);
    }
    night
}

/// Hours of a fall with the square root of time from `start` to the low at sunrise, under a clear and still sky.
fn curve(from: DateTime<Utc>, start: Celsius, low: Celsius, span: &Span, dew_point: Celsius) -> Vec<NightHour> {
    let hours = |time: DateTime<Utc>| (time - from).num_minutes() as f64 / 60.0;
    let fall = CoolingCurve::new(start, low, hours(span.sunrise));
    let instants = (0..).map(|hour| from + Duration::hours(hour)).take_while(|time| *time < span.sunrise);
    instants
        .chain([span.sunrise, span.end()])
        .map(|time| {
            // An evening already at its low stays there.
            let air = fall.map_or(low, |fall| fall.at(hours(time)));
            let wind_10m = MetresPerSecond(CALM);
            NightHour { time, air, dew_point: dew_point.min(air), wind_10m, cloud_cover: 0.0 }
        })
        .collect()
}

/// A forecast made of one low given by hand: the evening starts six kelvins warmer (assumed) and falls to it.
pub fn forecast_of_low(low: Celsius, span: &Span, now: DateTime<Utc>) -> Forecast {
    let hours = curve(span.sunset, low + Kelvins(6.0), low, span, low);
    let hours = hours.into_iter().map(|hour| Hour {
        time: hour.time,
        air_temperature: hour.air,
        dew_point: None,
        wind_10m: None,
        cloud_cover: None,
    });
    Forecast {
        provider: Provider::HandGivenLow,
        issued: Some(now),
        fetched: now,
        hours: hours.collect(),
        minima: Vec::new(),
        implausible_hours: 0,
        cell_elevation: None,
    }
}

/// Every hour with every value: what is missing is taken from the nearest hour that has it, else assumed and named.
fn fill(samples: &[Hour], remarks: &mut Vec<Remark>) -> Vec<NightHour> {
    let winds = nearest_known(samples, |hour| hour.wind_10m.map(|wind| wind.0));
    let clouds = nearest_known(samples, |hour| hour.cloud_cover);
    let dew_points = nearest_known(samples, |hour| hour.dew_point.map(|dew_point| dew_point.0));
    for (missing, remark) in [
        (winds.is_none(), Remark::WindAssumed),
        (clouds.is_none(), Remark::SkyAssumed),
        (dew_points.is_none(), Remark::DewPointAssumed),
    ] {
        if missing {
            remarks.push(remark);
        }
    }
    let coldest = lowest(samples.iter().map(|hour| hour.air_temperature));
    let dry = (coldest - ASSUMED_DEPRESSION).0;
    let at = |values: &Option<Vec<f64>>, index: usize, assumed: f64| values.as_ref().map_or(assumed, |v| v[index]);
    samples
        .iter()
        .enumerate()
        .map(|(index, hour)| NightHour {
            time: hour.time,
            air: hour.air_temperature,
            dew_point: Celsius(at(&dew_points, index, dry)).min(hour.air_temperature),
            wind_10m: MetresPerSecond(at(&winds, index, CALM)),
            cloud_cover: at(&clouds, index, 0.0),
        })
        .collect()
}

/// For each hour the value of the nearest hour that has one, or `None` where fewer than half the hours have one: a
/// night is not judged by the sky of one hour.
fn nearest_known(samples: &[Hour], value: impl Fn(&Hour) -> Option<f64>) -> Option<Vec<f64>> {
    let known: Vec<(DateTime<Utc>, f64)> = samples.iter().filter_map(|hour| Some((hour.time, value(hour)?))).collect();
    if known.len() * 2 < samples.len() {
        return None;
    }
    let nearest = |time: DateTime<Utc>| known.iter().min_by_key(|(at, _)| (*at - time).abs()).map(|(_, v)| *v);
    samples.iter().map(|hour| nearest(hour.time)).collect()
}

/// 1 where the night's mean sky is at most three tenths cloudy and its mean wind at most 3 m/s, falling to 0 at seven
/// tenths or 6 m/s. The first pair is the class of clear calm nights in the study of observed nights that the shifts
/// above come from; the falls are assumed, so that no forecast jumps between two kinds of night.
fn clear_calm_weight(hours: &[NightHour], remarks: &[Remark]) -> f64 {
    let count = hours.len().max(1) as f64;
    let cloud = hours.iter().map(|hour| hour.cloud_cover).sum::<f64>() / count;
    let wind = hours.iter().map(|hour| hour.wind_10m.0).sum::<f64>() / count;
    let cloud = if remarks.contains(&Remark::SkyAssumed) { 0.0 } else { cloud };
    let clear = ((0.7 - cloud) / 0.4).clamp(0.0, 1.0);
    let calm = ((6.0 - wind) / 3.0).clamp(0.0, 1.0);
    clear * calm
}

fn kind(hours: &[NightHour], clear_calm: f64) -> FrostKind {
    let wind = hours.iter().map(|hour| hour.wind_10m.0).sum::<f64>() / hours.len().max(1) as f64;
    match clear_calm {
        weight if weight > 0.6 => FrostKind::Radiation,
        _ if wind > 4.0 => FrostKind::Advection,
        _ => FrostKind::Mixed,
    }
}

/// The mean of the hours at hand from a day and a half before sunrise to the end of the night.
fn mean_air(forecast: &Forecast, span: &Span, hours: &[NightHour]) -> Celsius {
    let around = forecast.between(span.sunrise - Duration::hours(36), span.end());
    let day = around.iter().filter(|hour| hour.time < span.sunset).count();
    // Without daytime hours the mean would be that of the night alone: colder than the soil remembers.
    if day < 6 {
        let warmest = hours.iter().map(|hour| hour.air.0).fold(f64::NEG_INFINITY, f64::max);
        let coldest = lowest(hours.iter().map(|hour| hour.air));
        return Celsius((warmest + coldest.0) / 2.0);
    }
    Celsius(around.iter().map(|hour| hour.air_temperature.0).sum::<f64>() / around.len() as f64)
}

/// Frost of the day before, as forecast, and of the night as expected.
fn freezing_degree_hours(forecast: &Forecast, span: &Span, hours: &[NightHour]) -> f64 {
    let day = forecast.between(span.sunrise - Duration::hours(24), span.sunset);
    let day = day.iter().map(|hour| (hour.time, hour.air_temperature));
    degree_hours(day.chain(hours.iter().map(|hour| (hour.time, hour.air))))
}

/// Degrees below zero times hours; of each stretch between two samples, the mean of their frost.
fn degree_hours(samples: impl Iterator<Item = (DateTime<Utc>, Celsius)>) -> f64 {
    let frost = |temperature: Celsius| (-temperature.0).max(0.0);
    let samples: Vec<(DateTime<Utc>, Celsius)> = samples.collect();
    let stretches = samples.windows(2).map(|pair| {
        let hours = (pair[1].0 - pair[0].0).num_minutes() as f64 / 60.0;
        hours * (frost(pair[0].1) + frost(pair[1].1)) / 2.0
    });
    stretches.sum()
}

/// What the day before leaves for a cover to keep: an overcast day that stayed near 10 C or below leaves little.
fn cover_conditions(forecast: &Forecast, span: &Span, hours: &[NightHour]) -> CoverConditions {
    let wind_10m = hours.iter().map(|hour| hour.wind_10m.0).sum::<f64>() / hours.len().max(1) as f64;
    let day = forecast.between(span.sunset - Duration::hours(8), span.sunset);
    let clouds: Vec<f64> = day.iter().filter_map(|hour| hour.cloud_cover).collect();
    let warmest = day.iter().map(|hour| hour.air_temperature.0).fold(f64::NEG_INFINITY, f64::max);
    let overcast = clouds.len() >= 3 && clouds.iter().sum::<f64>() / clouds.len() as f64 > 0.8;
    CoverConditions { wind_10m, dull_cold_day: overcast && warmest <= 10.5 }
}

fn lead_day(forecast: &Forecast, span: &Span, now: DateTime<Utc>) -> usize {
    let issued = forecast.issued_before(now).unwrap_or(forecast.fetched);
    let days = ((span.sunrise - issued).num_hours().max(1) + 23) / 24;
    usize::try_from(days).unwrap_or(1).clamp(1, SPREAD_BY_LEAD_DAY.len())
}

/// A stretch between two hours of a forecast, of those still to come.
struct Hole {
    middle: DateTime<Utc>,
    /// Beyond the hour that lies between any two.
    missing_hours: f64,
    /// The lowest temperature that may have been in it.
    may_hide: Celsius,
    /// The feed states the low of a short interval that stands for it.
    is_spanned: bool,
}

/// Late in a clear night air falls by about this much in an hour, K (assumed).
const FALL_IN_A_HOLE: f64 = 0.5;
/// What a missing hour adds to the spread of a night that is whole otherwise, K (assumed).
const SPREAD_OF_A_HOLE: f64 = 1.0;

/// Fills small holes on the cold side: as clear and as still as the night gets, and colder than the hours beside them.
fn bridge(hours: &mut Vec<NightHour>, holes: &[Hole]) {
    let least = |value: fn(&NightHour) -> f64| hours.iter().map(value).fold(f64::INFINITY, f64::min);
    let (wind, cloud_cover) = (least(|hour| hour.wind_10m.0), least(|hour| hour.cloud_cover));
    for hole in holes.iter().filter(|hole| hole.missing_hours > 0.0) {
        let index = hours.partition_point(|hour| hour.time < hole.middle);
        let Some(beside) = hours.get(index).or(hours.last()).copied() else { continue };
        let (air, wind_10m) = (hole.may_hide, MetresPerSecond(wind));
        let dew_point = beside.dew_point.min(air);
        hours.insert(index, NightHour { time: hole.middle, air, dew_point, wind_10m, cloud_cover });
    }
}

/// What lies between the hours that are still to come, and before the first and after the last of them.
fn holes(forecast: &Forecast, span: &Span, now: DateTime<Utc>) -> Vec<Hole> {
    let from = still_to_come(span, now);
    let known = forecast.between(from, span.end()).iter().map(|hour| (hour.time, hour.air_temperature));
    let unknown = Celsius(f64::INFINITY);
    let instants: Vec<_> = std::iter::once((from, unknown)).chain(known).chain([(span.end(), unknown)]).collect();
    let hole = |pair: &[(DateTime<Utc>, Celsius)]| {
        let ((start, before), (end, after)) = (pair[0], pair[1]);
        let is_short = |minimum: &IntervalMinimum| minimum.to - minimum.from <= Duration::hours(6);
        let spans = |minimum: &IntervalMinimum| {
            minimum.from <= start + Duration::hours(1) && minimum.to >= end - Duration::hours(1)
        };
        let gap = (end - start).num_minutes() as f64 / 60.0;
        let missing_hours = (gap - 1.0).max(0.0);
        // No colder than the low that the feed states for all of it.
        let minima = forecast.minima.iter().filter(|minimum| spans(minimum));
        let stated = minima.clone().map(|minimum| minimum.low.0).fold(f64::NEG_INFINITY, f64::max);
        Hole {
            middle: start + (end - start) / 2,
            missing_hours,
            may_hide: (before.min(after) - Kelvins(FALL_IN_A_HOLE * missing_hours)).max(Celsius(stated)),
            is_spanned: minima.clone().any(is_short),
        }
    };
    instants.windows(2).map(hole).filter(|hole| !hole.is_spanned).collect()
}

/// Hours long past matter no more.
fn still_to_come(span: &Span, now: DateTime<Utc>) -> DateTime<Utc> {
    span.sunset.max(now - Duration::hours(1)).min(span.end())
}

/// Whether the hours that are still to come are there: at least nine in ten, and no hole above two hours, unless the
/// feed states the low of a short interval that spans it.
fn knowledge(holes: &[Hole], span: &Span, now: DateTime<Utc>) -> Knowledge {
    let (longest, missing) = holes.iter().fold((0.0_f64, 0.0), |(longest, missing), hole| {
        (longest.max(hole.missing_hours), missing + hole.missing_hours)
    });
    let length = ((span.end() - still_to_come(span, now)).num_minutes() as f64 / 60.0).max(1.0);
    let share_seen = (1.0 - missing / length).clamp(0.0, 1.0);
    if longest > 2.01 || share_seen < 0.9 {
        Knowledge::Incomplete { longest_hole_hours: longest, share_seen }
    } else {
        Knowledge::Complete
    }
}

/// At least half of an interval lies in the night, so that its low is most likely the night's.
fn mostly_within(from: DateTime<Utc>, to: DateTime<Utc>, span: &Span) -> bool {
    let overlap = to.min(span.end()) - from.max(span.sunset);
    overlap * 2 >= to - from && overlap > Duration::zero()
}

/// Bends the curve so that its lowest hour is `low`: in full at the low, not at all at the warmest hour.
fn bend_to(hours: &mut [NightHour], low: Celsius) {
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
fn lowest(temperatures: impl Iterator<Item = Celsius>) -> Celsius {
    temperatures.fold(Celsius(f64::INFINITY), Celsius::min)
}
