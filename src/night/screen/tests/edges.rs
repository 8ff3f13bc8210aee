//! The edges of a night: hours that are gone, feeds that have ended, nights of any length.

use crate::night::screen::hours::lowest;
use crate::night::screen::*;
use proptest::prelude::*;

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap_or_else(|_| panic!("bad time {text}"))
}

/// Fourteen hours from 22:30 UTC.
fn span() -> Span {
    let Ok(date) = "2027-01-16".parse() else { panic!("bad date") };
    Span { of: NightOf(date), sunset: utc("2027-01-16T22:30:00Z"), sunrise: utc("2027-01-17T12:30:00Z") }
}

fn afternoon() -> DateTime<Utc> {
    utc("2027-01-16T18:00:00Z")
}

/// A clear calm night that falls steadily from 8 °C at 20:00 UTC to -2 °C at 12:00 UTC.
fn forecast() -> Forecast {
    let hours = (0..28).map(|index| {
        let air = match index {
            0..=8 => 8.0,
            9..=24 => 8.0 - 10.0 * f64::from(index - 8) / 16.0,
            _ => -2.0 + 2.0 * f64::from(index - 24),
        };
        Hour {
            time: utc("2027-01-16T12:00:00Z") + Duration::hours(i64::from(index)),
            air_temperature: Celsius(air),
            dew_point: Some(Celsius(air - 4.0)),
            wind_10m: Some(MetresPerSecond(1.5)),
            cloud_cover: Some(0.1),
        }
    });
    Forecast {
        provider: Provider::NationalWeatherService,
        issued: Some(utc("2027-01-16T16:00:00Z")),
        fetched: utc("2027-01-16T17:00:00Z"),
        hours: hours.collect(),
        minima: Vec::new(),
        implausible_hours: 0,
        cell_elevation: None,
    }
}

fn without(mut forecast: Forecast, hours: &[&str]) -> Forecast {
    let gone: Vec<DateTime<Utc>> = hours.iter().map(|hour| utc(&format!("2027-01-{hour}:00Z"))).collect();
    forecast.hours.retain(|hour| !gone.contains(&hour.time));
    forecast
}

fn with_hours(mut forecast: Forecast, change: impl Fn(&mut Hour)) -> Forecast {
    forecast.hours.iter_mut().for_each(change);
    forecast
}

fn reading(at: &str, air: f64) -> Reading {
    let (air, dew_point) = (Celsius(air), Some(Celsius(air - 4.0)));
    Reading {
        at: utc(&format!("2027-01-{at}:00Z")),
        air,
        dew_point,
        offset: Kelvins(0.0),
        offset_spread: Kelvins(0.0),
        bed: None,
        sure: false,
    }
}

fn judged(forecast: Option<&Forecast>, readings: &[Reading], now: DateTime<Utc>) -> Result<Night, NoNight> {
    expect(&Evidence { forecast, readings, garden_offset: None, learned: None, now }, &span())
}

#[track_caller]
fn night_of(forecast: &Forecast) -> Night {
    judged(Some(forecast), &[], afternoon()).unwrap_or_else(|why| panic!("no night: {why}"))
}

#[track_caller]
fn low_of_hours(night: &Night) -> f64 {
    lowest(night.hours.iter().map(|hour| hour.air)).0
}

fn has_step(night: &Night, what: &str) -> bool {
    night.steps.iter().any(|step| step.what.contains(what))
}

#[test]
fn an_hour_that_is_gone_is_bridged_on_the_cold_side() {
    let whole = night_of(&forecast());
    let frost = |night: &Night| night.minimum.chance_below(Celsius(-4.0)).0;
    // The hour before the coldest, and the coldest itself.
    for gone in ["17T11:00", "17T12:00"] {
        let night = night_of(&without(forecast(), &[gone]));
        assert!(frost(&night) > frost(&whole), "without {gone}: {:?}", night.minimum);
        assert!(night.minimum.spread > whole.minimum.spread && has_step(&night, "may hide"), "without {gone}");
        assert!((low_of_hours(&night) - night.minimum.mean.0).abs() < 1e-9, "without {gone}: the hours do not follow");
    }
    // One in the evening says nothing of the low, but the night is less sure.
    let night = night_of(&without(forecast(), &["17T00:00"]));
    assert_eq!(night.minimum.mean, whole.minimum.mean);
    assert!(night.minimum.spread > whole.minimum.spread);
    // Where the feed states the night's low, no hour hides a colder one.
    let (from, to) = (utc("2027-01-16T23:00:00Z"), utc("2027-01-17T14:00:00Z"));
    let stated = IntervalMinimum { from, to, low: Celsius(-2.0) };
    let night = night_of(&Forecast { minima: vec![stated], ..without(forecast(), &["17T12:00"]) });
    assert_eq!(night.minimum.mean, whole.minimum.mean);
}

#[test]
fn a_value_missing_in_one_hour_comes_from_the_hours_beside_it_and_no_farther() {
    let cloudy = |known: &[&str]| {
        let known: Vec<DateTime<Utc>> = known.iter().map(|hour| utc(&format!("2027-01-17T{hour}:00Z"))).collect();
        night_of(&with_hours(forecast(), |hour| {
            hour.cloud_cover = (known.is_empty() || known.contains(&hour.time)).then_some(0.9);
        }))
    };
    let all = cloudy(&[]);
    let mut gaps = with_hours(forecast(), |hour| hour.cloud_cover = Some(0.9));
    for hour in gaps.hours.iter_mut().filter(|hour| hour.time == utc("2027-01-17T04:00:00Z")) {
        hour.cloud_cover = None;
    }
    let night = night_of(&gaps);
    assert_eq!((night.remarks.as_slice(), &night.hours), ([].as_slice(), &all.hours));
    // A night is not judged by the sky of one hour: the hours before the low are clear as far as anyone knows.
    let one = cloudy(&["04:00"]);
    assert_eq!((one.remarks.as_slice(), one.clear_calm), ([Remark::SkyAssumed].as_slice(), 1.0));
}

/// All hours that a feed has are over, and it is not yet old enough to be none: nothing is known, and nothing is infinite.
#[test]
fn a_feed_that_has_ended_leaves_the_night_incomplete_and_finite() {
    let mut ended = forecast();
    ended.hours.retain(|hour| hour.time <= utc("2027-01-17T00:00:00Z"));
    let Ok(night) = judged(Some(&ended), &[], utc("2027-01-17T04:00:00Z")) else { panic!("no night") };
    assert!(matches!(night.knowledge, Knowledge::Incomplete { .. }));
    assert!(night.hours.iter().all(|hour| hour.air.0.is_finite() && hour.dew_point.0.is_finite()), "{:?}", night.hours);
}

#[test]
fn a_forecast_of_other_days_says_nothing_of_tonight() {
    let mut other = with_hours(forecast(), |hour| hour.time += Duration::days(2));
    assert_eq!(judged(Some(&other), &[], afternoon()), Err(NoNight::NothingForThisNight));
    other.hours.clear();
    assert_eq!(judged(Some(&other), &[], afternoon()), Err(NoNight::NothingForThisNight));
    assert_eq!(judged(None, &[], afternoon()), Err(NoNight::NoForecast));
}

#[test]
fn the_offset_that_a_garden_states_moves_the_low_and_makes_it_surer() {
    let with = |garden_offset| {
        let evidence =
            Evidence { forecast: Some(&forecast()), readings: &[], garden_offset, learned: None, now: afternoon() };
        expect(&evidence, &span())
    };
    let (Ok(unknown), Ok(stated)) = (with(None), with(Some(Kelvins(-1.5)))) else { panic!("no night") };
    assert!(((unknown.minimum.mean - stated.minimum.mean).0 - 1.5).abs() < 1e-9);
    assert!(stated.minimum.spread < unknown.minimum.spread);
    assert!((low_of_hours(&stated) - stated.minimum.mean.0).abs() < 1e-9);
}

/// The steps are what `explain` prints: from the first value, their effects add up to the low.
#[test]
fn the_steps_add_up_to_the_low() {
    let now = utc("2027-01-17T01:00:00Z");
    for gone in [vec![], vec!["17T12:00"], vec!["17T03:00", "17T04:00", "17T05:00"]] {
        for readings in [&[][..], &[reading("17T00:30", 1.0)]] {
            let Ok(night) = judged(Some(&without(forecast(), &gone)), readings, now) else { panic!("no night") };
            let first = night.steps.first().and_then(|step| step.value).unwrap_or(Celsius(f64::NAN));
            let effects: f64 = night.steps.iter().filter_map(|step| step.effect).map(|effect| effect.0).sum();
            assert!((first.0 + effects - night.minimum.mean.0).abs() < 1e-9, "{gone:?}: {:#?}", night.steps);
        }
    }
}

proptest! {
    /// From the white night, which has no length, to the polar one: with what is at hand, and with nothing.
    #[test]
    fn no_length_of_night_and_no_hour_of_looking_panics(
        length in 0i64..=24 * 60, looked in -600i64..2000, first in 0usize..28, count in 0usize..28, low in -40.0f64..20.0,
        shown in proptest::collection::vec((0i64..1500, -40.0f64..20.0), 0..4),
    ) {
        let sunset = utc("2027-01-16T18:00:00Z");
        let span = Span { sunset, sunrise: sunset + Duration::minutes(length), ..span() };
        let now = sunset + Duration::minutes(looked);
        let mut part = forecast();
        part.hours = part.hours.into_iter().skip(first).take(count).collect();
        part.issued = Some(now - Duration::hours(1));
        let given = forecast_of_low(Celsius(low), &span, now);
        let mut readings: Vec<Reading> = shown.iter().map(|(at, air)| Reading {
            at: sunset + Duration::minutes(*at), air: Celsius(*air), dew_point: None, offset: Kelvins(0.0), offset_spread: Kelvins(0.0), bed: None, sure: false,
        }).collect();
        readings.sort_by_key(|reading| reading.at);
        for forecast in [None, Some(&part), Some(&given)] {
            let evidence = Evidence { forecast, readings: &readings, garden_offset: None, learned: None, now };
            let Ok(night) = expect(&evidence, &span) else { continue };
            prop_assert!(night.minimum.mean.0.is_finite() && night.minimum.spread.0 > 0.0);
            prop_assert!(!night.hours.is_empty());
            prop_assert!(night.hours.windows(2).all(|pair| pair[0].time <= pair[1].time), "{:?}", night.hours);
            prop_assert!(night.hours.iter().all(|hour| hour.air.0.is_finite() && hour.dew_point <= hour.air));
            let during = readings.iter().filter(|r| r.at >= span.sunset && r.at <= span.end() && r.at <= now);
            let coldest = lowest(during.map(|reading| reading.air));
            prop_assert!(night.minimum.mean <= coldest, "{:?} has been shown", coldest);
        }
    }
}
