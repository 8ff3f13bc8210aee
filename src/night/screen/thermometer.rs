//! What the garden's thermometer says in the evening and the night: with a forecast it corrects it, without one it is
//! all there is.

use super::hours::{bend_to, lowest};
use super::surroundings::past;
use super::{ASSUMED_DEPRESSION, BEYOND_WORDS, CALM, Evidence, Span, TOO_WARM, curve};
use crate::night::cooling::DuskRegression;
use crate::night::cover::CoverConditions;
use crate::night::dose::normal_cdf;
use crate::night::dusk::{self, Evening, Low, Outlook};
use crate::night::past::remembered;
use crate::night::{Estimate, FrostKind, Knowledge, Night, NoNight, ReadAt, Remark, Step};
use crate::units::{Celsius, Kelvins, MetresPerSecond};
use crate::weather::{Forecast, Hour, Reading};
use chrono::{DateTime, Duration, Utc};

const ELSEWHERE: &str =
    "fall from dusk to the low, fitted on 1440 nights of seven US stations (airports); see `replay`";
/// The relation speaks of two hours after sunset; readings from an hour to three and a half hours after it will do
/// (assumed: by then the fast fall at sunset is over).
const DUSK_FROM: Duration = Duration::hours(1);
const DUSK_TO: Duration = Duration::minutes(210);
/// Before this the relation expects too warm a low, because the fall of the evening is not over: by about a kelvin where
/// the thermometer is read an hour early (four of the stations, computed). Without a forecast that is taken off.
const FALL_SLOWS: Duration = Duration::minutes(90);
const EARLY_IS_WARM: f64 = 1.0;
/// A forecast and a thermometer further apart than this speak of different nights, K (assumed).
const CONTRADICTION: f64 = 3.0;
/// From so much on it is said that readings have moved the low, K (assumed: less moves few measures).
const MOVED: f64 = 1.0;
/// How well a garden thermometer shows the air, K (assumed).
const THERMOMETER_SPREAD: f64 = 0.5;
/// Further fall in an hour late in a clear night, K, and how well it is known by sunrise, K (assumed).
const LATE_FALL: f64 = 0.5;
const LATE_SPREAD: f64 = 1.5;

/// What a reading says of the garden's screen: a bed's thermometer less the bed's own offset, as far as it acts.
fn at_screen(reading: &Reading, clear_calm: f64) -> Celsius {
    reading.air - Kelvins(reading.offset.0 * clear_calm)
}

/// The same where nobody knows the sky: as the garden's screen if the night is overcast, or as it is less the bed's offset
/// if it is clear, whichever is colder.
fn under_any_sky(reading: &Reading) -> Celsius {
    at_screen(reading, 1.0).min(reading.air)
}

/// Readings that are too warm for their hour to be believed: the last of them, and how many.
#[derive(Default)]
struct LeftOut {
    last: Option<(Reading, Kelvins)>,
    count: usize,
    /// The last one as warm that is believed all the same, by the word of whoever read it.
    sure: Option<(Reading, Kelvins)>,
}

impl LeftOut {
    /// Takes them out of the readings of a night. `warmer` is by how much one is warmer than expected, where that is known.
    fn of(during: &mut Vec<Reading>, warmer: impl Fn(&Reading) -> Option<Kelvins>) -> LeftOut {
        let mut out = LeftOut::default();
        during.retain(|reading| {
            let Some(by) = warmer(reading).filter(|by| *by > TOO_WARM) else { return true };
            if reading.sure && by <= BEYOND_WORDS {
                out.sure = Some((*reading, by));
                return true;
            }
            out.last = Some((*reading, by));
            out.count += 1;
            false
        });
        out
    }

    fn remarks(&self) -> impl Iterator<Item = Remark> {
        let left_out = self.last.map(|(reading, by)| Remark::ReadingLeftOut {
            at: reading.at,
            air: reading.air,
            by,
            more: self.count - 1,
        });
        let sure = self.sure.map(|(reading, by)| Remark::ReadingSure { at: reading.at, air: reading.air, by });
        left_out.into_iter().chain(sure)
    }

    fn steps(&self) -> impl Iterator<Item = Step> {
        let sure = self.sure.map(|(reading, by)| Step {
            what: format!("reading used though {:.0} K warmer than the forecast of its hour", by.0),
            value: Some(reading.air),
            effect: None,
            spread: None,
            source: "the garden's reading, right by the word of whoever read it",
        });
        let left_out = self.last.map(|(reading, by)| Step {
            what: format!(
                "reading not used: {:.0} K warmer than the forecast of its hour, of {:.0} K that are believed",
                by.0, TOO_WARM.0
            ),
            value: Some(reading.air),
            effect: None,
            spread: None,
            source: "the garden's reading; what is believed is assumed",
        });
        left_out.into_iter().chain(sure)
    }
}

/// A night's forecast corrected by the last reading in it: what the air differs now, it will partly differ at the low.
/// How much of it lasts is the regression's own coefficient of dusk air on the low, rising to all of it at sunrise. What is
/// too warm to be believed is judged by the night as published, where something learned has moved the other.
pub(super) fn refine(
    mut night: Night,
    published: Option<&Night>,
    forecast: &Forecast,
    readings: &[Reading],
    now: DateTime<Utc>,
) -> Night {
    let end = night.sunrise + Duration::hours(1);
    let in_night = |reading: &&Reading| reading.at >= night.sunset && reading.at <= end && reading.at <= now;
    let mut during: Vec<Reading> = readings.iter().filter(in_night).copied().collect();
    let left_out = LeftOut::of(&mut during, |reading| {
        Some(at_screen(reading, night.clear_calm) - air_at(published.unwrap_or(&night), reading.at)?)
    });
    night.remarks.extend(left_out.remarks());
    night.steps.extend(left_out.steps());
    let Some(last) = during.last() else { return night };
    let forecast_low = night.minimum.mean;
    let warmer =
        |reading: &Reading| Some((*reading, at_screen(reading, night.clear_calm) - air_at(&night, reading.at)?));
    let warmer: Vec<(Reading, Kelvins)> = during.iter().filter_map(warmer).collect();
    // From here on the night's minimum is that of the hours still to come, until both halves are joined.
    let over = hours_over(&mut night, &during);
    let to_come = lowest(night.hours.iter().filter(|hour| hour.time > last.at).map(|hour| hour.air));
    let length = (night.sunrise - night.sunset).num_minutes().max(1) as f64;
    let passed = ((last.at - night.sunset).num_minutes() as f64 / length).clamp(0.0, 1.0);
    if let Some(difference) = over.difference {
        if to_come.0.is_finite() && to_come != night.minimum.mean {
            night.steps.push(Step {
                what: "lowest of the hours still to come".into(),
                value: Some(to_come),
                effect: Some(to_come - night.minimum.mean),
                spread: None,
                source: "the forecast",
            });
            night.minimum.mean = to_come;
        }
        let share = share_that_lasts(passed);
        let effect = Kelvins(difference.0 * share);
        let spread = Kelvins((night.minimum.spread.0 * (1.0 - passed * passed).sqrt()).hypot(THERMOMETER_SPREAD));
        let spread = Kelvins(spread.0.min(night.minimum.spread.0));
        night.minimum = Estimate { mean: night.minimum.mean + effect, spread };
        // The plants' night is made of the hours: they follow.
        bend_to_come(&mut night, last.at);
        night.steps.push(Step {
            what: format!("thermometer against the forecast of its hour, {:.0} % of it lasts", share * 100.0),
            value: Some(night.minimum.mean),
            effect: Some(effect),
            spread: Some(spread),
            source: "the garden's reading; share from the regression of lows on dusk air, rising to sunrise (assumed)",
        });
    }
    let is_late_enough = |reading: &&Reading| reading.at >= night.sunset + FALL_SLOWS;
    let dusk = during.iter().rev().filter(is_late_enough).find(|reading| is_dusk(reading, night.sunset)).copied();
    // What evenings lead to is the low of the night after dusk: of use while that is still to come.
    let since = |dusk: &Reading| {
        let past = night.hours.iter().filter(|hour| hour.time > dusk.at && hour.time <= last.at);
        lowest(past.map(|hour| hour.air)) > night.minimum.mean
    };
    if let Some(dusk) = dusk.filter(since)
        && let Some(low) = from_evening(&night, forecast, &during, &dusk)
    {
        night = weighed(night, last.at, low);
    }
    let shown = lowest(during.iter().map(|reading| at_screen(reading, night.clear_calm)));
    let has_more = to_come.0.is_finite() || over.difference.is_none();
    let share = if over.difference.is_some() { share_that_lasts(passed) } else { 0.0 };
    let mut night = of_its_place(joined(night, shown, over.unread, has_more), &during, share);
    night.remarks.extend(moved(&warmer, forecast_low, night.minimum.mean));
    night
}

/// Of what a reading differs, the part that lasts to the low, by the part of the night that has passed.
fn share_that_lasts(passed: f64) -> f64 {
    let lasting = DuskRegression::IMPORTED.a;
    lasting + (1.0 - lasting) * passed
}

/// What is not known of the place where the readings were taken is in all of them alike: it is added at the end, and not at
/// the bed itself, as far as what the reading said lasts (`share`).
fn of_its_place(mut night: Night, during: &[Reading], share: f64) -> Night {
    let unsure = during.iter().map(|reading| reading.offset_spread.0).fold(0.0, f64::max) * night.clear_calm;
    if unsure <= 0.0 {
        return night;
    }
    let bed = during.first().and_then(|first| first.bed);
    let bed = bed.filter(|bed| during.iter().all(|reading| reading.bed == Some(*bed)));
    night.read_at = bed.map(|bed| ReadAt { bed, spread: night.minimum.spread, open: 1.0 - share });
    night.minimum = night.minimum.moved(Kelvins(0.0), Kelvins(unsure));
    night.steps.push(Step {
        what: "how well the offset of the bed is known at which it was read".into(),
        value: None,
        effect: Some(Kelvins(0.0)),
        spread: Some(Kelvins(unsure)),
        source: "the bed's exposure or the garden's settings",
    });
    night
}

/// Back from a first reading, what it shows warmer than expected fades within this, and what nobody has read since is as
/// unsure as the forecast again (assumed).
const UNREAD: Duration = Duration::hours(6);
/// Readings as close together as twice this have seen all between them (assumed).
const SEEN: Duration = Duration::minutes(30);

/// The hours of a night up to the last reading.
struct Over {
    /// The last reading against the forecast of its hour, where that is known.
    difference: Option<Kelvins>,
    /// The coldest of these hours, and how well it is known: not at all less sure than read where a reading is near.
    unread: Option<Estimate>,
}

/// Draws the hours that are over through the readings in them: between two, by what both differ from the forecast. Before
/// the first a colder one acts in full, a warmer one less and less, for a sky that has clouded over says nothing of the hours
/// before.
fn hours_over(night: &mut Night, during: &[Reading]) -> Over {
    let differs = |reading: &Reading| {
        let air = at_screen(reading, night.clear_calm);
        Some((reading.at, air - air_at(night, reading.at)?))
    };
    let differences: Vec<(DateTime<Utc>, Kelvins)> = during.iter().filter_map(differs).collect();
    let Some((last, difference)) = differences.last().copied() else { return Over { difference: None, unread: None } };
    let parts = |part: Duration, whole: Duration| part.num_seconds() as f64 / whole.num_seconds().max(1) as f64;
    let mut unread: Option<Estimate> = None;
    for hour in night.hours.iter_mut().filter(|hour| hour.time <= last) {
        let next = differences.partition_point(|(at, _)| *at < hour.time).min(differences.len() - 1);
        let (at, after) = differences[next];
        let (by, from_reading) = match next.checked_sub(1).map(|index| differences[index]) {
            Some((start, before)) => {
                let share = parts(hour.time - start, at - start);
                (before.0 + (after.0 - before.0) * share, (hour.time - start).min(at - hour.time))
            }
            None => {
                let faded = if after.0 > 0.0 { (1.0 - parts(at - hour.time, UNREAD)).max(0.0) } else { 1.0 };
                (after.0 * faded, at - hour.time)
            }
        };
        hour.air = hour.air + Kelvins(by);
        hour.dew_point = hour.dew_point.min(hour.air);
        let unsure = parts(from_reading - SEEN, UNREAD).clamp(0.0, 1.0).sqrt();
        let here = Estimate { mean: hour.air, spread: Kelvins(night.minimum.spread.0 * unsure) };
        if unread.is_none_or(|coldest| here.mean < coldest.mean) {
            unread = Some(here);
        }
    }
    Over { difference: Some(difference), unread }
}

/// Bends the hours after an instant to the night's minimum.
fn bend_to_come(night: &mut Night, after: DateTime<Utc>) {
    let from = night.hours.partition_point(|hour| hour.time <= after);
    if from < night.hours.len() {
        bend_to(&mut night.hours[from..], night.minimum.mean);
    }
}

/// What is said of readings that moved the low, or that contradict the forecast: the last one speaks for them, unless the low
/// went the other way; then the one that differs most to that side.
fn moved(warmer: &[(Reading, Kelvins)], from: Celsius, to: Celsius) -> Option<Remark> {
    let side = (to - from).0.signum();
    let last = warmer.last()?;
    let most = warmer.iter().max_by(|(_, a), (_, b)| (a.0 * side).total_cmp(&(b.0 * side)))?;
    let (reading, by) = if last.1.0 * side >= 0.0 { last } else { most };
    let is_said = (to - from).0.abs() >= MOVED || by.0.abs() > CONTRADICTION;
    is_said.then_some(Remark::ReadingMoved { at: reading.at, air: reading.air, by: *by, from, to })
}

fn is_dusk(reading: &Reading, sunset: DateTime<Utc>) -> bool {
    reading.at >= sunset + DUSK_FROM && reading.at <= sunset + DUSK_TO
}

/// What the evening has led to elsewhere, with the day as the forecast had it and sky and wind as it has them.
fn from_evening(night: &Night, forecast: &Forecast, during: &[Reading], dusk: &Reading) -> Option<Low> {
    // The hours as the whole night has them: what the feed left out is clear and calm there, and so it is here.
    let to_come: Vec<Hour> = night
        .hours
        .iter()
        .filter(|hour| hour.time > dusk.at)
        .map(|hour| Hour {
            time: hour.time,
            air_temperature: hour.air,
            dew_point: Some(hour.dew_point),
            wind_10m: Some(hour.wind_10m),
            cloud_cover: Some(hour.cloud_cover),
        })
        .collect();
    let before = forecast.between(night.sunset - Duration::hours(30), dusk.at);
    let seen = Evening::observed(before, night.sunset, night.sunrise, dusk.at)?;
    let air = at_screen(dusk, night.clear_calm);
    // The forecast's own evening at the hour of the reading; what the thermometer differs, it will have differed a day
    // and two hours before.
    let differs = |time: Celsius| time + (air - seen.air);
    let evening = Evening {
        at: dusk.at,
        air,
        dew_point: dusk.dew_point.or(seen.dew_point).map(|dew_point| dew_point.min(air)),
        // Two instruments that differ are no change of the air.
        dew_point_three_hours_before: seen.dew_point_three_hours_before.filter(|_| dusk.dew_point.is_none()),
        air_two_hours_before: seen.air_two_hours_before.map(differs),
        air_a_day_before: seen.air_a_day_before.map(differs),
        lowest_so_far: lowest(during.iter().map(|reading| at_screen(reading, night.clear_calm))),
        outlook: Outlook::of(&to_come),
        ..seen
    };
    let taught = if evening.outlook.is_some() { &dusk::ALL.outlook } else { &dusk::ALL.evening };
    Some(dusk::Place::new(taught).expect(&evening))
}

/// How alike the errors of the forecast and of what evenings lead to are taken to be (assumed: both see the same
/// evening; no record with forecasts and readings side by side was found).
const CORRELATION: f64 = 0.5;

/// The forecast and what such evenings have led to, each counting by how well it is known.
///
/// ```text
/// w = (s_f² - r s_f s_e) / (s_f² + s_e² - 2 r s_f s_e),   s² = s_f² s_e² (1 - r²) / (s_f² + s_e² - 2 r s_f s_e)
/// ```
///
/// The best linear combination of two unbiased estimates whose errors correlate by `r` (Bates and Granger 1969, The
/// Combination of Forecasts, Operational Research Quarterly 20, 451-468; from memory, checked in the tests).
fn weighed(mut night: Night, read: DateTime<Utc>, low: Low) -> Night {
    let evening = still_to_come(&low);
    let Some((combined, weight)) = combine(night.minimum, evening) else { return night };
    night.steps.push(Step {
        what: format!("what such evenings have led to elsewhere, counted {:.0} %", weight * 100.0),
        value: Some(combined.mean),
        effect: Some(combined.mean - night.minimum.mean),
        spread: Some(combined.spread),
        source: ELSEWHERE,
    });
    night.minimum = combined;
    bend_to_come(&mut night, read);
    night
}

/// What an evening leads to as if nothing had been yet: what has been is joined to it once, at the end.
fn still_to_come(low: &Low) -> Estimate {
    Estimate { mean: low.mean, spread: low.spread }
}

/// The combination, and how much of it is the second's; `None` where a spread is no spread.
fn combine(forecast: Estimate, evening: Estimate) -> Option<(Estimate, f64)> {
    let (f, e) = (forecast.spread.0, evening.spread.0);
    let alike = CORRELATION * f * e;
    let both = f * f + e * e - 2.0 * alike;
    let weight = (f * f - alike) / both;
    let is_sound = f > 0.0 && e > 0.0 && weight.is_finite() && evening.mean.0.is_finite();
    if !is_sound || weight <= 0.0 {
        return None;
    }
    // Where the evening knows so much more that the forecast would count against itself, it stands alone.
    let weight = weight.min(1.0);
    let variance = (1.0 - weight).powi(2) * f * f + weight * weight * e * e + 2.0 * weight * (1.0 - weight) * alike;
    let mean = forecast.mean + Kelvins((evening.mean - forecast.mean).0 * weight);
    Some((Estimate { mean, spread: Kelvins(variance.sqrt()) }, weight))
}

/// The expected air at an instant, between the hours by a straight line.
fn air_at(night: &Night, at: DateTime<Utc>) -> Option<Celsius> {
    let after = night.hours.iter().position(|hour| hour.time >= at)?;
    let next = night.hours[after];
    let Some(last) = after.checked_sub(1).map(|index| night.hours[index]) else {
        // A reading shortly before the first hour is compared with it.
        return (next.time - at <= Duration::hours(1)).then_some(next.air);
    };
    let share = (at - last.time).num_seconds() as f64 / (next.time - last.time).num_seconds().max(1) as f64;
    Some(last.air + Kelvins((next.air - last.air).0 * share))
}

/// Joins the hours that are over to those still to come: the night's low is the lower of the two. `shown` is the lowest that
/// was read, `unread` the lowest that may have been between the readings; where no hour is to come, these are all.
fn joined(mut night: Night, shown: Celsius, unread: Option<Estimate>, has_more: bool) -> Night {
    let read = Estimate { mean: shown, spread: Kelvins(0.0) };
    let over = unread.map_or(read, |unread| lower_of(read, unread));
    let to_come = night.minimum;
    let low = if has_more { lower_of(over, to_come) } else { over };
    // So far above the low, the reading says nothing of it.
    if (low.mean - to_come.mean).0.abs() < 1e-3 && low.spread.0 >= to_come.spread.0 - 1e-3 {
        return night;
    }
    night.steps.push(Step {
        what: "the lowest that a thermometer has shown tonight".into(),
        value: Some(shown),
        effect: None,
        spread: None,
        source: "the garden's reading",
    });
    let spread = Kelvins(low.spread.0.max(THERMOMETER_SPREAD.min(to_come.spread.0)));
    night.steps.push(Step {
        what: "the lower of the hours that are over and those still to come".into(),
        value: Some(low.mean),
        effect: Some(low.mean - to_come.mean),
        spread: Some(spread),
        source: "minimum of two normal distributions, Clark 1961",
    });
    night.minimum = Estimate { mean: low.mean, spread };
    bend_to(&mut night.hours, low.mean);
    night
}

/// The lower of two independent normal values, as mean and standard deviation.
///
/// ```text
/// E[min]  = m1 Phi(a) + m2 Phi(-a) - d phi(a),   d^2 = s1^2 + s2^2,   a = (m2 - m1) / d
/// E[min²] = (m1² + s1²) Phi(a) + (m2² + s2²) Phi(-a) - (m1 + m2) d phi(a)
/// ```
///
/// With `s1 = 0`, what a thermometer has shown, it is the mean of `min(c, X)`: below both, and never above what was shown, so
/// that a frost that was read is not taken back. It is not the mean of `X` on condition that `X` be below `c`: nothing says
/// that the hours to come must undercut those that are over.
///
/// **Method error.** None for normal values; the minimum itself is not normal and is used as if it were.
/// **Refuses.** Nothing; without spreads it is the lower of the means.
/// **Source.** C. E. Clark 1961, The Greatest of a Finite Set of Random Variables, Operations Research 9, 145-162; from
/// memory, checked by quadrature in the tests.
/// **Check.** Of two standard normal values the lower has mean -1/sqrt(pi) and variance 1 - 1/pi (in the tests).
fn lower_of(a: Estimate, b: Estimate) -> Estimate {
    let difference = a.spread.0.hypot(b.spread.0);
    let apart = (b.mean - a.mean).0 / difference;
    if difference < 1e-9 || apart.abs() > 6.0 {
        return if b.mean < a.mean { b } else { a };
    }
    // Reckoned from the first mean, so that nothing is lost in squares.
    let (m, density) = ((b.mean - a.mean).0, difference * (-apart * apart / 2.0).exp() / std::f64::consts::TAU.sqrt());
    let (first, second) = (normal_cdf(apart).0, normal_cdf(-apart).0);
    let mean = m * second - density;
    let square = a.spread.0.powi(2) * first + (m * m + b.spread.0.powi(2)) * second - m * density;
    Estimate { mean: a.mean + Kelvins(mean), spread: Kelvins((square - mean * mean).max(0.0).sqrt()) }
}

/// The night from the thermometer alone: what such evenings have led to elsewhere, and a fall with the square root of
/// time; from a later reading, the fall that is still to come.
pub(super) fn alone(evidence: &Evidence<'_>, span: &Span) -> Result<Night, NoNight> {
    let in_night =
        |reading: &&Reading| reading.at >= span.sunset && reading.at <= span.end() && reading.at <= evidence.now;
    let mut during: Vec<Reading> = evidence.readings.iter().filter(in_night).copied().collect();
    // A forecast too old to go by still knows what no evening of tonight can be.
    let left_out = LeftOut::of(&mut during, |reading| {
        let expected = evidence.forecast?.air_at(reading.at)? + evidence.garden_offset.unwrap_or(Kelvins(0.0));
        Some(under_any_sky(reading) - expected)
    });
    let dusk = during.iter().rev().find(|reading| is_dusk(reading, span.sunset));
    let late = during.last().filter(|reading| reading.at > span.sunset + DUSK_TO);
    let (used, minimum, mut steps) = match (dusk, late) {
        (Some(dusk), late) => {
            let (minimum, steps) = as_elsewhere(dusk, &during, span);
            let later = late.map(|late| (late, still_to_fall(late, span)));
            // What has been read since must not make the night warmer than it makes it by itself.
            match later.filter(|(_, (later, _))| later.mean < minimum.mean) {
                Some((late, (later, steps))) => (late, later, steps),
                None => (dusk, minimum, steps),
            }
        }
        (None, Some(late)) => {
            let (minimum, steps) = still_to_fall(late, span);
            (late, minimum, steps)
        }
        (None, None) if during.is_empty() => return Err(NoNight::NoForecast),
        (None, None) => return Err(NoNight::ReadTooEarly),
    };
    steps.extend(left_out.steps());
    let air = under_any_sky(used);
    let dew_point = used.dew_point.unwrap_or(air - ASSUMED_DEPRESSION);
    steps.push(Step {
        what: "no forecast: sky and wind are taken as clear and calm".into(),
        value: None,
        effect: None,
        spread: None,
        source: "assumed, on the cold side",
    });
    let hours = curve(used.at, air, minimum.mean, span, dew_point);
    let mean_air = Celsius(hours.iter().map(|hour| hour.air.0).sum::<f64>() / hours.len().max(1) as f64);
    let past = evidence.forecast.map_or(Vec::new(), |kept| past(kept, span, evidence.garden_offset));
    let night = Night {
        of: span.of,
        sunset: span.sunset,
        sunrise: span.sunrise,
        minimum,
        clear_calm: 1.0,
        kind: FrostKind::Radiation,
        before: remembered(&past),
        past,
        mean_air,
        laying_wind: MetresPerSecond(CALM),
        read_at: None,
        cover_conditions: CoverConditions { wind_10m: CALM, left_by_the_day: CoverConditions::left_by(None, None) },
        knowledge: Knowledge::Complete,
        hours,
        remarks: [Remark::ReadingOnly].into_iter().chain(left_out.remarks()).collect(),
        provider: None,
        issued: None,
        fetched: None,
        steps,
    };
    Ok(of_its_place(joined(night, lowest(during.iter().map(under_any_sky)), None, true), &during, 1.0))
}

/// What evenings like this have led to elsewhere, under a sky and in air that nobody has forecast: clear and calm.
fn as_elsewhere(dusk: &Reading, during: &[Reading], span: &Span) -> (Estimate, Vec<Step>) {
    let seen = |reading: &Reading| Hour {
        time: reading.at,
        air_temperature: under_any_sky(reading),
        dew_point: reading.dew_point,
        wind_10m: None,
        cloud_cover: None,
    };
    let night_hours = (span.sunrise - span.sunset).num_seconds() as f64 / 3600.0;
    let samples: Vec<Hour> = during.iter().filter(|reading| reading.at <= dusk.at).map(seen).collect();
    let clear_and_calm = Outlook { wind_10m: Some(MetresPerSecond(CALM)), cloud_toward_morning: Some(0.0) };
    let evening = Evening::observed(&samples, span.sunset, span.sunrise, dusk.at)
        .unwrap_or_else(|| Evening::of_air(under_any_sky(dusk), dusk.at, night_hours));
    let low = dusk::Place::new(&dusk::ALL.outlook).expect(&Evening { outlook: Some(clear_and_calm), ..evening });
    let early = (span.sunset + dusk::DUSK - dusk.at).num_minutes().max(0) as f64 / 60.0;
    let estimate = still_to_come(&low).moved(Kelvins(-EARLY_IS_WARM * early), Kelvins(0.5 * early));
    let steps = vec![Step {
        what: "what such evenings have led to elsewhere".into(),
        value: Some(estimate.mean),
        effect: None,
        spread: Some(estimate.spread),
        source: ELSEWHERE,
    }];
    (estimate, steps)
}

/// From a reading late in the night: half a kelvin an hour until sunrise.
fn still_to_fall(late: &Reading, span: &Span) -> (Estimate, Vec<Step>) {
    let hours = ((span.sunrise - late.at).num_minutes() as f64 / 60.0).max(0.0);
    let night = ((span.sunrise - span.sunset).num_minutes() as f64 / 60.0).max(1.0);
    let mean = under_any_sky(late) - Kelvins(LATE_FALL * hours);
    let spread = (LATE_SPREAD * (hours / night).sqrt()).hypot(THERMOMETER_SPREAD);
    let step = Step {
        what: format!("the thermometer's reading, and {hours:.0} hours more of falling"),
        value: Some(mean),
        effect: Some(Kelvins(-LATE_FALL * hours)),
        spread: Some(Kelvins(spread)),
        source: "assumed, on the cold side",
    };
    (Estimate { mean, spread: Kelvins(spread) }, vec![step])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `first` and `second` by the mean of the lower of them at many quantiles of each.
    #[test]
    fn the_lower_of_two_agrees_with_quadrature() {
        let estimate = |mean: f64, spread: f64| Estimate { mean: Celsius(mean), spread: Kelvins(spread) };
        let pi = std::f64::consts::PI;
        let standard = lower_of(estimate(0.0, 1.0), estimate(0.0, 1.0));
        assert!((standard.mean.0 + 1.0 / pi.sqrt()).abs() < 1e-6, "{standard:?}");
        assert!((standard.spread.0.powi(2) - (1.0 - 1.0 / pi)).abs() < 1e-6, "{standard:?}");
        for (shown, mean, spread) in
            [(-3.0, 1.0, 2.2), (0.0, 0.0, 2.0), (1.0, -4.0, 1.5), (1.5, 2.0, 0.7), (-1.0, 2.0, 1.5)]
        {
            let (mut first, mut second) = (0.0, 0.0);
            for step in 0..40_000 {
                let z = -8.0 + 16.0 * (f64::from(step) + 0.5) / 40_000.0;
                let weight = (-z * z / 2.0).exp() / std::f64::consts::TAU.sqrt() * 16.0 / 40_000.0;
                let low = (mean + spread * z).min(shown);
                first += weight * low;
                second += weight * low * low;
            }
            for low in [
                lower_of(estimate(shown, 0.0), estimate(mean, spread)),
                lower_of(estimate(mean, spread), estimate(shown, 0.0)),
            ] {
                assert!((low.mean.0 - first).abs() < 1e-3, "{shown} {mean}: {low:?} and {first}");
                let deviation = (second - first * first).sqrt();
                assert!((low.spread.0 - deviation).abs() < 2e-3, "{shown} {mean}: {low:?} and {deviation}");
            }
        }
    }

    /// Two estimates of spread 2 and 1 whose errors correlate by 0.5: the second alone is best, w = (4 - 1) / (5 - 2) = 1;
    /// of equal spread, each counts half and the variance is (1 + 0.5) / 2.
    #[test]
    fn two_estimates_count_by_how_well_they_are_known() {
        let estimate = |mean: f64, spread: f64| Estimate { mean: Celsius(mean), spread: Kelvins(spread) };
        let (combined, weight) = combine(estimate(0.0, 2.0), estimate(-3.0, 1.0)).expect("a combination");
        assert!((weight - 1.0).abs() < 1e-12 && (combined.mean.0 + 3.0).abs() < 1e-12, "{combined:?}");
        let (combined, weight) = combine(estimate(0.0, 1.0), estimate(-3.0, 1.0)).expect("a combination");
        assert!((weight - 0.5).abs() < 1e-12 && (combined.spread.0 - 0.75f64.sqrt()).abs() < 1e-12, "{combined:?}");
        // One that knows much less does not count at all, nor does one that is none.
        assert_eq!(combine(estimate(0.0, 1.0), estimate(-3.0, 2.5)), None);
        assert_eq!(combine(estimate(0.0, 1.0), estimate(f64::NAN, 1.0)), None);
        assert_eq!(combine(estimate(0.0, 0.0), estimate(1.0, 0.0)), None);
    }

    #[test]
    fn far_apart_the_lower_one_stands_alone() {
        let estimate = |mean: f64, spread: f64| Estimate { mean: Celsius(mean), spread: Kelvins(spread) };
        let (shown, mild) = (estimate(-20.0, 0.0), estimate(20.0, 1.0));
        assert_eq!((lower_of(shown, mild), lower_of(mild, shown)), (shown, shown));
        assert_eq!(lower_of(shown, estimate(-19.0, 0.0)), shown);
    }
}
