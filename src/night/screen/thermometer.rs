//! What the garden's thermometer says in the evening and the night: with a forecast it corrects it, without one it is
//! all there is.

use super::hours::{bend_to, lowest};
use super::surroundings::{degree_hours, past};
use super::{ASSUMED_DEPRESSION, CALM, Evidence, Span, TOO_WARM, curve};
use crate::night::cooling::DuskRegression;
use crate::night::cover::CoverConditions;
use crate::night::dose::normal_cdf;
use crate::night::dusk::{self, Evening, Low, Outlook};
use crate::night::{Estimate, FrostKind, Knowledge, Night, NoNight, Remark, Step};
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
            if reading.sure {
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
    if let Some(expected) = air_at(&night, last.at) {
        let difference = at_screen(last, night.clear_calm) - expected;
        let length = (night.sunrise - night.sunset).num_minutes().max(1) as f64;
        let passed = ((last.at - night.sunset).num_minutes() as f64 / length).clamp(0.0, 1.0);
        let lasting = DuskRegression::IMPORTED.a;
        let share = lasting + (1.0 - lasting) * passed;
        let effect = Kelvins(difference.0 * share);
        let spread = Kelvins((night.minimum.spread.0 * (1.0 - passed * passed).sqrt()).hypot(THERMOMETER_SPREAD));
        let spread = Kelvins(spread.0.min(night.minimum.spread.0));
        night.minimum = Estimate { mean: night.minimum.mean + effect, spread };
        // The plants' night is made of the hours: they follow.
        bend_to(&mut night.hours, night.minimum.mean);
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
    if let Some(low) = dusk.and_then(|dusk| from_evening(&night, forecast, &during, &dusk)) {
        night = weighed(night, low);
    }
    let coldest = lowest(during.iter().map(|reading| at_screen(reading, night.clear_calm)));
    let mut night = no_warmer_than(night, coldest);
    night.remarks.extend(moved(&warmer, forecast_low, night.minimum.mean));
    night
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
fn weighed(mut night: Night, low: Low) -> Night {
    let evening = low.estimate();
    let Some((combined, weight)) = combine(night.minimum, evening) else { return night };
    night.steps.push(Step {
        what: format!("what such evenings have led to elsewhere, counted {:.0} %", weight * 100.0),
        value: Some(combined.mean),
        effect: Some(combined.mean - night.minimum.mean),
        spread: Some(combined.spread),
        source: ELSEWHERE,
    });
    night.minimum = combined;
    bend_to(&mut night.hours, combined.mean);
    night
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

/// What a thermometer has shown is the least that can be said of a night's low: the distribution is cut off there.
///
/// ```text
/// mean' = mean - s phi(a)/Phi(a),  s'^2 = s^2 [1 - a phi(a)/Phi(a) - (phi(a)/Phi(a))^2],  a = (shown - mean)/s
/// ```
///
/// The normal distribution truncated from above (Johnson, Kotz and Balakrishnan 1994, Continuous Univariate
/// Distributions 1, § 13.10.1; from memory, checked by quadrature in the tests).
fn no_warmer_than(mut night: Night, shown: Celsius) -> Night {
    let Estimate { mean, spread } = night.minimum;
    let above = (shown - mean).0 / spread.0.max(1e-6);
    // So far above the low, the reading says nothing of it.
    if above > 4.0 || !above.is_finite() {
        return night;
    }
    let cut = truncated(night.minimum, shown);
    night.steps.push(Step {
        what: "the least that a thermometer has shown tonight".into(),
        value: Some(shown),
        effect: None,
        spread: None,
        source: "the garden's reading",
    });
    night.steps.push(Step {
        what: "no warmer than that: what would be is cut off".into(),
        value: Some(cut.mean),
        effect: Some(cut.mean - mean),
        spread: Some(cut.spread),
        source: "truncated normal distribution",
    });
    night.minimum = cut;
    bend_to(&mut night.hours, cut.mean);
    night
}

fn truncated(estimate: Estimate, shown: Celsius) -> Estimate {
    let Estimate { mean, spread } = estimate;
    let s = spread.0.max(1e-6);
    let a = (shown - mean).0 / s;
    // Further out the quotient is 0/0; there the distribution hugs the cut.
    if a < -6.0 {
        return Estimate { mean: shown, spread: Kelvins(THERMOMETER_SPREAD.min(s)) };
    }
    let density = (-a * a / 2.0).exp() / std::f64::consts::TAU.sqrt();
    let ratio = density / normal_cdf(a).0;
    let variance = (1.0 - a * ratio - ratio * ratio).clamp(0.0, 1.0);
    let least = THERMOMETER_SPREAD.min(s);
    Estimate { mean: Celsius(mean.0 - s * ratio), spread: Kelvins((s * variance.sqrt()).max(least)) }
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
    let night = Night {
        of: span.of,
        sunset: span.sunset,
        sunrise: span.sunrise,
        minimum,
        clear_calm: 1.0,
        kind: FrostKind::Radiation,
        past: evidence.forecast.map_or(Vec::new(), |kept| past(kept, span, evidence.garden_offset)),
        before: Vec::new(),
        mean_air,
        freezing_degree_hours: degree_hours(hours.iter().map(|hour| (hour.time, hour.air))),
        cover_conditions: CoverConditions { wind_10m: CALM, left_by_the_day: CoverConditions::left_by(None, None) },
        knowledge: Knowledge::Complete,
        hours,
        remarks: [Remark::ReadingOnly].into_iter().chain(left_out.remarks()).collect(),
        provider: None,
        issued: None,
        fetched: None,
        steps,
    };
    Ok(no_warmer_than(night, lowest(during.iter().map(under_any_sky))))
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
    let estimate = low.estimate().moved(Kelvins(-EARLY_IS_WARM * early), Kelvins(0.5 * early));
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
    let spread = Kelvins(LATE_SPREAD * (hours / night).sqrt()).0.hypot(THERMOMETER_SPREAD);
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

    #[test]
    fn the_cut_off_distribution_agrees_with_quadrature() {
        for (mean, spread, shown) in [(1.0, 2.2, -3.0), (0.0, 2.0, 0.0), (-4.0, 1.5, 1.0), (2.0, 0.7, 1.5)] {
            let (mut weight, mut first, mut second) = (0.0, 0.0, 0.0);
            for step in 0..40_000 {
                let x = shown - 12.0 * spread * (f64::from(step) + 0.5) / 40_000.0;
                let density = (-((x - mean) / spread).powi(2) / 2.0).exp();
                weight += density;
                first += density * x;
                second += density * x * x;
            }
            let (by_sum, variance) = (first / weight, second / weight - (first / weight).powi(2));
            let cut = truncated(Estimate { mean: Celsius(mean), spread: Kelvins(spread) }, Celsius(shown));
            assert!((cut.mean.0 - by_sum).abs() < 0.002, "{mean} {spread} {shown}: {} and {by_sum}", cut.mean.0);
            let expected = variance.sqrt().max(THERMOMETER_SPREAD.min(spread));
            assert!(
                (cut.spread.0 - expected).abs() < 0.002,
                "{mean} {spread} {shown}: {} and {expected}",
                cut.spread.0
            );
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
    fn far_beyond_the_cut_nothing_becomes_infinite() {
        let estimate = Estimate { mean: Celsius(20.0), spread: Kelvins(1.0) };
        let cut = truncated(estimate, Celsius(-20.0));
        assert_eq!((cut.mean, cut.spread), (Celsius(-20.0), Kelvins(0.5)));
    }
}
