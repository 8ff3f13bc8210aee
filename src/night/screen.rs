//! The night at the garden's screen, from a forecast, the evening's thermometer, or one low given by hand.
//!
//! What a feed left out is assumed on the cold side and named; hours that are missing make the night incomplete, and
//! an incomplete night is never called safe.

mod hours;
mod surroundings;
mod thermometer;

pub use surroundings::{clear_calm, past};

use super::cooling::CoolingCurve;
use super::corrections::{Correction, Corrections, LEAST_FACTOR, published_shift};
use super::past::remembered;
use super::{Estimate, Knowledge, Night, NightHour, NoNight, Remark, Step};
use crate::units::{Celsius, Kelvins, MetresPerSecond};
use crate::weather::{Forecast, Hour, IntervalMinimum, Provider, Reading};
use crate::zone::NightOf;
use chrono::{DateTime, Duration, Utc};
use hours::{Hole, bend_to, bridge, fill, holes, knowledge, lowest};

/// What is at hand when a night is judged.
#[derive(Clone, Copy, Debug)]
pub struct Evidence<'a> {
    pub forecast: Option<&'a Forecast>,
    /// Thermometer readings of this night, in order of time.
    pub readings: &'a [Reading],
    /// The garden's screen against the forecast, where the manager knows it.
    pub garden_offset: Option<Kelvins>,
    /// What the garden's nights have said of its feeds.
    pub learned: Option<&'a Corrections>,
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
pub(super) const SPREAD_BY_LEAD_DAY: [f64; 7] = [1.8, 2.0, 2.2, 2.5, 2.8, 3.1, 3.4];
/// Forecasts issued longer ago than this are named as old; these are first choices for feeds that run four times a day.
const OLD: Duration = Duration::hours(12);
/// Longer ago than this is no forecast for tonight.
const STALE: Duration = Duration::hours(18);
/// How well a garden's screen is known against the forecast before anyone has measured, K (assumed).
pub const UNKNOWN_SITE_SPREAD: f64 = 1.0;
/// The same once the manager has stated an offset, K (assumed).
pub const STATED_SITE_SPREAD: f64 = 0.5;
/// By how much a forecast low is moved on a wholly clear, calm night, and how well that is known, K. Weather models run
/// warm on such nights: ECMWF's forecast user guide states 1 to 2 K at 2 m. The shift is the mild end, because feeds are
/// corrected already; the rest stays in the spread (the share taken is assumed).
pub const CLEAR_CALM_SHIFT: f64 = -0.5;
pub const CLEAR_CALM_SPREAD: f64 = 0.75;
/// A reading this much warmer than the forecast of its hour is left out, K: more than three and a half standard deviations
/// of a forecast of the day (1.8), a garden (1) and a thermometer (0.5) together; and degrees Fahrenheit taken for Celsius
/// are 32 K and four fifths of a degree for each degree too warm, so more than this from -30 °C on (assumed). A reading that
/// is colder is never left out.
pub const TOO_WARM: Kelvins = Kelvins(8.0);
/// So much warmer it is left out whoever is sure of it, K: degrees Fahrenheit taken for Celsius are more than this too warm from
/// -20 °C on, and no forecast of the day errs by six and a half of its standard deviations (assumed).
const BEYOND_WORDS: Kelvins = Kelvins(15.0);
/// Where no wind is known, m/s.
const CALM: f64 = 1.0;
/// Where no humidity is known: air this much above its dew point, drier than most winter evenings (assumed).
const ASSUMED_DEPRESSION: Kelvins = Kelvins(5.0);

/// The night to expect, or why nothing can be said of it.
pub fn expect(evidence: &Evidence<'_>, span: &Span) -> Result<Night, NoNight> {
    match evidence.forecast.map(|forecast| usable(forecast, span, evidence.now)) {
        Some(Ok(forecast)) => {
            let night = from_forecast(forecast, evidence, span);
            // What a wrong thermometer has taught must not vouch for what it shows now.
            let untaught = Evidence { learned: None, ..*evidence };
            let has_taught = evidence.learned.is_some_and(|learned| learned.0.contains_key(forecast.provider.key()));
            let vouches = has_taught && !evidence.readings.is_empty();
            let published = vouches.then(|| from_forecast(forecast, &untaught, span));
            Ok(thermometer::refine(night, published.as_ref(), forecast, evidence.readings, evidence.now))
        }
        Some(Err(why)) => thermometer::alone(evidence, span).map_err(|_| why),
        None => thermometer::alone(evidence, span),
    }
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

/// An estimate while it is built, and the steps that have led to it.
struct Building {
    minimum: Estimate,
    steps: Vec<Step>,
}

impl Building {
    fn step(&mut self, what: impl Into<String>, effect: f64, spread: f64, source: &'static str) {
        let (effect, spread) = (Kelvins(effect), Kelvins(spread));
        self.minimum = self.minimum.moved(effect, spread);
        self.steps.push(Step { what: what.into(), value: None, effect: Some(effect), spread: Some(spread), source });
    }

    /// What is not used and stands beside what is.
    fn beside(&mut self, what: String, effect: Kelvins, source: &'static str) {
        self.steps.push(Step { what, value: None, effect: Some(effect), spread: None, source });
    }
}

fn from_forecast(forecast: &Forecast, evidence: &Evidence<'_>, span: &Span) -> Night {
    let by_hand = forecast.provider == Provider::HandGivenLow;
    let mut remarks = Vec::new();
    let mut hours = fill(forecast.between(span.sunset, span.end()), &mut remarks);
    let stated = stated_low(forecast, span);
    let mut building = lowest_of_forecast(&hours, stated, by_hand);
    if let Some(minimum) = stated {
        place_stated_low(&mut hours, minimum, span);
    }
    let raw = building.minimum.mean;
    let holes = if by_hand { Vec::new() } else { holes(forecast, span, evidence.now) };
    bridge(&mut hours, &holes);
    let clear_calm = surroundings::clear_calm_weight(&hours);

    let lead = lead_day(forecast, span, evidence.now);
    let learned = evidence.learned.filter(|_| !by_hand);
    let learned_at = |clear_calm| learned.and_then(|learned| learned.at(forecast.provider.key(), lead, clear_calm));
    // By day nothing of it is left but the place.
    let by_day = match learned_at(0.0) {
        Some(learned) => learned.used(published_shift(site(evidence.garden_offset), 0.0)).shift,
        None => evidence.garden_offset.unwrap_or(Kelvins(0.0)),
    };
    // Of nights behind, whose sky differed, a learned warmth counts where there is some: they hardened less. What is colder
    // stays out, the tender side.
    let of_the_past = [0.0, 1.0]
        .into_iter()
        .filter_map(|clear_calm| {
            let shift = learned_at(clear_calm)?.used(published_shift(site(evidence.garden_offset), clear_calm)).shift;
            Some(shift).filter(|shift| *shift > evidence.garden_offset.unwrap_or(Kelvins(0.0)))
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .or(evidence.garden_offset);
    match learned_at(clear_calm) {
        Some(learned) => {
            remarks.extend(as_learned(&mut building, &learned, evidence.garden_offset, lead, clear_calm));
        }
        None => as_published(&mut building, evidence.garden_offset, lead, clear_calm, by_hand),
    }
    if let Some(offset) = evidence.garden_offset {
        for hour in &mut hours {
            hour.air = hour.air + offset;
            hour.dew_point = hour.dew_point.min(hour.air);
        }
    }
    let knowledge = if by_hand {
        // It says itself that nothing else is known.
        remarks = vec![Remark::HandGiven];
        Knowledge::Complete
    } else {
        doubt_age(&mut building, &mut remarks, forecast, evidence.now);
        doubt_holes(&mut building, raw, &holes, span, evidence.now)
    };
    remarks.extend(surroundings::colder_by_day(forecast, span, evidence.now, building.minimum.mean, by_day));
    bend_to(&mut hours, building.minimum.mean);
    let past = surroundings::past(forecast, span, of_the_past);
    // What was learned towards the warm gives no frost back that the ground may hold.
    let stated = evidence.garden_offset.unwrap_or(Kelvins(0.0));
    let place = Kelvins(by_day.0.min(stated.0));
    let mut before = remembered(&surroundings::past(forecast, span, evidence.garden_offset));
    for hour in &mut before {
        hour.air = hour.air + Kelvins(place.0 - stated.0);
    }
    Night {
        of: span.of,
        sunset: span.sunset,
        sunrise: span.sunrise,
        kind: surroundings::kind(&hours, clear_calm),
        before,
        past,
        mean_air: surroundings::mean_air(forecast, span, place, &hours),
        laying_wind: surroundings::laying_wind(forecast, span, evidence.now, &hours),
        read_at: None,
        cover_conditions: surroundings::cover_conditions(forecast, span, place, &hours),
        hours,
        minimum: building.minimum,
        clear_calm,
        knowledge,
        remarks,
        provider: Some(forecast.provider.clone()),
        issued: forecast.issued_before(evidence.now),
        fetched: Some(forecast.fetched),
        steps: building.steps,
    }
}

/// What is taken of a forecast before any night of the garden has spoken.
fn as_published(building: &mut Building, offset: Option<Kelvins>, lead: usize, clear_calm: f64, by_hand: bool) {
    let spread = SPREAD_BY_LEAD_DAY[lead - 1];
    let what = format!("error of a forecast minimum on lead day {lead}");
    building.step(what, 0.0, spread, "planning value, from memory");
    if !by_hand {
        let source = "ECMWF forecast user guide, near-surface temperature errors; the share taken is assumed";
        let (shift, spread) = (CLEAR_CALM_SHIFT * clear_calm, CLEAR_CALM_SPREAD * clear_calm);
        building.step("clear, calm night: forecasts run warm", shift, spread, source);
    }
    match offset {
        Some(offset) => {
            building.step("garden's offset, as set", offset.0, STATED_SITE_SPREAD, "the garden's settings");
        }
        None => building.step("garden's offset, not yet known", 0.0, UNKNOWN_SITE_SPREAD, "assumed"),
    }
}

/// The garden's screen against the forecast before any night has spoken, and how well it is known.
fn site(offset: Option<Kelvins>) -> (Kelvins, Kelvins) {
    offset.map_or((Kelvins(0.0), Kelvins(UNKNOWN_SITE_SPREAD)), |offset| (offset, Kelvins(STATED_SITE_SPREAD)))
}

/// What the garden's nights have taught of this feed, with what it takes the place of beside it. What is warmer than can be
/// believed is cut off and named.
fn as_learned(
    building: &mut Building,
    learned: &Correction,
    offset: Option<Kelvins>,
    lead: usize,
    clear_calm: f64,
) -> Option<Remark> {
    let factor = learned.factor.max(LEAST_FACTOR);
    let (count, s) = (learned.nights.len(), if learned.nights.len() == 1 { "" } else { "s" });
    let on = match (learned.nights.first(), learned.nights.last()) {
        (Some(first), Some(last)) if first != last => format!("{count} night{s}, {first} to {last}"),
        (first, _) => format!("{count} night{s}, {}", first.map(ToString::to_string).unwrap_or_default()),
    };
    let what = format!(
        "error of a forecast minimum on lead day {lead}: published times 1.00, learned times {:.2}, used times {factor:.2} \
         ({on})",
        learned.factor
    );
    building.step(what, 0.0, SPREAD_BY_LEAD_DAY[lead - 1] * factor, "this garden's nights; never less than 0.75 of it");
    let published = published_shift(site(offset), clear_calm);
    let used = learned.used(published);
    let is_capped = used.shift != learned.shift;
    let what = "forecast against this garden's screen, published (not used): clear, calm night and the garden's offset";
    building.beside(what.into(), published.0, "ECMWF forecast user guide; the garden's settings");
    let source = "this garden's nights, forecast against measured";
    if !is_capped {
        let what = format!("forecast against this garden's screen, learned and used: {on}");
        building.step(what, used.shift.0, used.spread.0, source);
        let (by, nights) = (Kelvins(used.shift.0 - published.0.0), learned.nights.len());
        return (by.0.abs() >= WORTH_NAMING).then_some(Remark::LearnedShift { by, nights });
    }
    let what = format!("forecast against this garden's screen, learned (not used; check the thermometer): {on}");
    building.beside(what, learned.shift, source);
    let what = "forecast against this garden's screen, used: warmer than that is not believed";
    building.step(what, used.shift.0, used.spread.0, "published shift and one published spread (assumed)");
    Some(Remark::LearnedCapped { learned: learned.shift, used: used.shift })
}

/// A learned shift is named from so much beside the published one, K (assumed): less moves no bed to speak of.
const WORTH_NAMING: f64 = 0.5;

/// The lowest that the forecast says, with the steps that say so. An hourly minimum can hide a colder value between
/// the hours; a feed that states a low is heard too.
fn lowest_of_forecast(hours: &[NightHour], stated: Option<IntervalMinimum>, by_hand: bool) -> Building {
    let hourly = lowest(hours.iter().map(|hour| hour.air));
    let what = if by_hand { "low given by hand" } else { "lowest hour of the forecast at the screen" };
    let step = |what: &str, value: Celsius, effect: Option<Kelvins>| Step {
        what: what.into(),
        value: Some(value),
        effect,
        spread: None,
        source: "the forecast",
    };
    let mut steps = vec![step(what, hourly, None)];
    let mut mean = hourly;
    if let Some(stated) = stated.filter(|stated| stated.low < hourly) {
        steps.push(step("the feed's own low is colder", stated.low, Some(stated.low - hourly)));
        mean = stated.low;
    }
    Building { minimum: Estimate { mean, spread: Kelvins(0.0) }, steps }
}

/// The low of a night as the feed has it: its lowest hour, or a colder low that it states. Nothing of ours is in it.
pub fn feed_low(forecast: &Forecast, span: &Span) -> Option<Celsius> {
    let hourly = forecast.between(span.sunset, span.end()).iter().map(|hour| hour.air_temperature).reduce(Celsius::min);
    [hourly, stated_low(forecast, span).map(|stated| stated.low)].into_iter().flatten().reduce(Celsius::min)
}

/// The coldest low that a feed states for a stretch of this night: of short intervals any that touch it, of long ones
/// those that lie mostly in it.
fn stated_low(forecast: &Forecast, span: &Span) -> Option<IntervalMinimum> {
    let heard = forecast.minima.iter().filter(|minimum| {
        let overlap = minimum.to.min(span.end()) - minimum.from.max(span.sunset);
        let length = minimum.to - minimum.from;
        overlap > Duration::zero() && (length <= hours::SHORT || overlap * 2 >= length)
    });
    heard.copied().min_by(|a, b| a.low.0.total_cmp(&b.low.0))
}

/// Hours farther apart than this do not show when within its interval a low falls (assumed).
const SHOWS_WHEN: Duration = Duration::hours(3);

/// Where no hour of the forecast shows the stated low, it is placed at the end of its interval, and at the latest at
/// sunrise: nights fall until then. Of samples six hours apart the coldest shows no more than that it lies somewhere between.
fn place_stated_low(hours: &mut Vec<NightHour>, minimum: IntervalMinimum, span: &Span) {
    let coldest = hours.iter().min_by(|a, b| a.air.0.total_cmp(&b.air.0)).copied();
    let Some(coldest) = coldest.filter(|hour| minimum.low < hour.air) else { return };
    let at = minimum.to.min(span.sunrise).max(minimum.from);
    let next = hours.iter().find(|hour| hour.time > coldest.time);
    let is_shown = next.is_some_and(|next| next.time - coldest.time <= SHOWS_WHEN);
    if (minimum.from..=minimum.to).contains(&coldest.time) && is_shown {
        return;
    }
    let nearest = hours.iter().min_by_key(|hour| (hour.time - at).abs()).copied().unwrap_or(coldest);
    let low = NightHour { time: at, air: minimum.low, dew_point: nearest.dew_point.min(minimum.low), ..nearest };
    hours.retain(|hour| hour.time != at);
    hours.push(low);
    hours.sort_by_key(|hour| hour.time);
}

fn doubt_age(building: &mut Building, remarks: &mut Vec<Remark>, forecast: &Forecast, now: DateTime<Utc>) {
    let age = forecast.age(now);
    if forecast.issued_before(now).is_none() {
        remarks.push(Remark::IssueUnknown);
        building.step("the feed does not say when it was issued", 0.0, 0.8, "assumed");
    } else if age > OLD {
        let hours = age.num_minutes() as f64 / 60.0;
        remarks.push(Remark::Old { hours });
        building.step(format!("issued {hours:.0} hours ago"), 0.0, 1.0, "assumed");
    }
}

/// Late in a clear night a missing hour adds this to the spread, and a night with too many of them this, K (assumed).
const SPREAD_OF_A_HOLE: (f64, f64) = (1.0, 2.0);

fn doubt_holes(building: &mut Building, raw: Celsius, holes: &[Hole], span: &Span, now: DateTime<Utc>) -> Knowledge {
    let knowledge = knowledge(holes, span, now);
    if let Knowledge::Incomplete { longest_hole_hours, .. } = knowledge {
        building.step(format!("{longest_hole_hours:.0} hours missing in a row"), 0.0, SPREAD_OF_A_HOLE.1, "assumed");
    } else if holes.iter().any(|hole| hole.missing_hours > 0.0) {
        let hidden = lowest(holes.iter().filter(|hole| hole.missing_hours > 0.0).map(|hole| hole.may_hide));
        let effect = (hidden - raw).0.min(0.0);
        building.step("an hour is missing and may hide a colder one", effect, SPREAD_OF_A_HOLE.0, "assumed");
    }
    knowledge
}

fn lead_day(forecast: &Forecast, span: &Span, now: DateTime<Utc>) -> usize {
    let issued = forecast.issued_before(now).unwrap_or(forecast.fetched);
    lead_day_of(span.sunrise - issued)
}

/// The lead day of a time from issue to sunrise.
pub fn lead_day_of(lead: Duration) -> usize {
    let days = (lead.num_hours().max(1) + 23) / 24;
    usize::try_from(days).unwrap_or(1).clamp(1, SPREAD_BY_LEAD_DAY.len())
}

/// Hours of a fall with the square root of time from `start` to the low at sunrise, under a clear and still sky.
fn curve(from: DateTime<Utc>, start: Celsius, low: Celsius, span: &Span, dew_point: Celsius) -> Vec<NightHour> {
    let hours = |time: DateTime<Utc>| (time - from).num_minutes() as f64 / 60.0;
    let fall = CoolingCurve::new(start, low, hours(span.sunrise));
    let instants = (0..).map(|hour| from + Duration::hours(hour)).take_while(|time| *time < span.sunrise);
    instants
        .chain([span.sunrise.max(from), span.end().max(from + Duration::hours(1))])
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

#[cfg(test)]
mod tests;
