use super::hours::lowest;
use super::*;
use crate::night::FrostKind;
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
    Reading { at: utc(&format!("2027-01-{at}:00Z")), air, dew_point, offset: Kelvins(0.0) }
}

fn judged(forecast: Option<&Forecast>, readings: &[Reading], now: DateTime<Utc>) -> Result<Night, NoNight> {
    expect(&Evidence { forecast, readings, garden_offset: None, now }, &span())
}

#[track_caller]
fn night_of(forecast: &Forecast) -> Night {
    judged(Some(forecast), &[], afternoon()).unwrap_or_else(|why| panic!("no night: {why}"))
}

#[track_caller]
fn night_with(forecast: &Forecast, readings: &[Reading]) -> Night {
    judged(Some(forecast), readings, utc("2027-01-17T01:00:00Z")).unwrap_or_else(|why| panic!("no night: {why}"))
}

fn low_of_hours(night: &Night) -> f64 {
    lowest(night.hours.iter().map(|hour| hour.air)).0
}

fn has_step(night: &Night, what: &str) -> bool {
    night.steps.iter().any(|step| step.what.contains(what))
}

#[test]
fn a_whole_night_is_known_without_a_remark() {
    let night = night_of(&forecast());
    assert_eq!((night.knowledge, night.remarks.as_slice()), (Knowledge::Complete, [].as_slice()));
    assert_eq!(night.kind, FrostKind::Radiation);
    // Half a kelvin below the forecast's -2: such nights are forecast too warm.
    assert!((night.minimum.mean.0 - -2.5).abs() < 1e-9, "{:?}", night.minimum);
    assert!((low_of_hours(&night) - -2.5).abs() < 1e-9);
    assert_eq!(night.coldest_at(), utc("2027-01-17T12:00:00Z"));
}

/// What is gone, and the longest hole where the night then no longer counts as whole.
#[test]
fn a_night_with_a_long_hole_or_too_few_hours_is_incomplete() {
    let rows: &[(&str, &[&str], Option<f64>)] = &[
        ("nothing", &[], None),
        ("one hour: two from one to the next", &["17T03:00"], None),
        ("two in a row: three from one to the next", &["17T03:00", "17T04:00"], Some(2.0)),
        ("three in a row", &["17T03:00", "17T04:00", "17T05:00"], Some(3.0)),
        ("two apart: fewer than nine in ten", &["17T03:00", "17T06:00"], Some(1.0)),
        ("the last hours", &["17T11:00", "17T12:00", "17T13:00"], Some(2.5)),
        ("the first hours: nine in ten are left", &["16T23:00", "17T00:00"], None),
        ("three first hours", &["16T23:00", "17T00:00", "17T01:00"], Some(2.5)),
        ("hours of the day before", &["16T15:00", "16T16:00", "16T17:00"], None),
        ("hours of the day after", &["17T14:00", "17T15:00"], None),
    ];
    for (what, gone, hole) in rows {
        let night = night_of(&without(forecast(), gone));
        let found = match night.knowledge {
            Knowledge::Complete => None,
            Knowledge::Incomplete { longest_hole_hours, share_seen } => {
                assert!((0.0..1.0).contains(&share_seen), "{what}: {share_seen}");
                Some(longest_hole_hours)
            }
        };
        assert_eq!(found, *hole, "{what} gone");
    }
}

/// In a night of 23 hours two missing ones are less than a tenth; a hole of three is too long all the same.
#[test]
fn in_a_long_night_two_hours_may_be_missing_and_three_may_not() {
    let long = Span { sunset: utc("2027-01-16T13:30:00Z"), sunrise: utc("2027-01-17T12:30:00Z"), ..span() };
    let knowledge = |gone: &[&str]| {
        let forecast = Forecast { issued: Some(utc("2027-01-16T12:00:00Z")), ..without(forecast(), gone) };
        let now = utc("2027-01-16T13:00:00Z");
        expect(&Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, now }, &long)
            .map(|night| night.knowledge)
    };
    assert_eq!(knowledge(&["17T03:00", "17T04:00"]), Ok(Knowledge::Complete));
    assert!(matches!(knowledge(&["17T03:00", "17T04:00", "17T05:00"]), Ok(Knowledge::Incomplete { .. })));
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
fn what_a_feed_leaves_out_is_named_and_taken_on_the_cold_side() {
    let windy = with_hours(forecast(), |hour| {
        hour.wind_10m = Some(MetresPerSecond(8.0));
        hour.cloud_cover = Some(1.0);
    });
    let known = night_of(&windy);
    assert_eq!(known.clear_calm, 0.0);
    let rows: &[(&str, fn(&mut Hour), Remark)] = &[
        ("wind", |hour| hour.wind_10m = None, Remark::WindAssumed),
        ("cloud", |hour| hour.cloud_cover = None, Remark::SkyAssumed),
        ("dew point", |hour| hour.dew_point = None, Remark::DewPointAssumed),
    ];
    for (what, leave_out, remark) in rows {
        let night = night_of(&with_hours(windy.clone(), leave_out));
        assert_eq!(night.remarks, [*remark], "{what}");
        assert!(night.minimum.mean <= known.minimum.mean, "{what}");
    }
    let night = night_of(&with_hours(windy, |hour| {
        (hour.wind_10m, hour.cloud_cover, hour.dew_point) = (None, None, None);
    }));
    assert_eq!(night.clear_calm, 1.0, "an unknown sky is clear, unknown air is still");
    assert!(night.minimum.mean < known.minimum.mean);
    assert!(night.hours.iter().all(|hour| hour.wind_10m == MetresPerSecond(CALM) && hour.cloud_cover == 0.0));
    let driest = lowest(night.hours.iter().map(|hour| hour.dew_point));
    assert!(driest <= Celsius(-2.0) - ASSUMED_DEPRESSION, "{driest:?}");
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

/// Hours since the issue, and what follows.
#[test]
fn a_forecast_grows_old_and_then_is_none() {
    let fresh = night_of(&forecast());
    for (hours, expected) in [
        (2, Ok(None)),
        (11, Ok(None)),
        (13, Ok(Some(Remark::Old { hours: 13.0 }))),
        (17, Ok(Some(Remark::Old { hours: 17.0 }))),
        (19, Err(NoNight::Stale { hours: 19 })),
        (40, Err(NoNight::Stale { hours: 40 })),
        (24 * 365, Err(NoNight::Stale { hours: 24 * 365 })),
    ] {
        let forecast = Forecast { issued: Some(afternoon() - Duration::hours(hours)), ..forecast() };
        let night = judged(Some(&forecast), &[], afternoon());
        let remark = night.as_ref().map(|night| night.remarks.first().copied()).map_err(|why| *why);
        assert_eq!(remark, expected, "{hours} h");
        if let Ok(Night { minimum, .. }) = night {
            assert!(minimum.spread >= fresh.minimum.spread && minimum.mean == fresh.minimum.mean, "{hours} h");
            assert!(hours < 12 || minimum.spread > fresh.minimum.spread, "{hours} h: as sure as a fresh one");
        }
    }
}

/// A date of issue that lies ahead cannot be believed: it counts as not given, and the age counts from the fetch.
#[test]
fn an_issue_in_the_future_is_an_unknown_one() {
    let ahead = Forecast { issued: Some(afternoon() + Duration::hours(2)), ..forecast() };
    let unknown = Forecast { issued: None, ..forecast() };
    assert_eq!(night_of(&ahead).remarks, [Remark::IssueUnknown]);
    assert_eq!(night_of(&ahead).minimum, night_of(&unknown).minimum);
    assert_eq!(night_of(&ahead).issued, None);
    assert!(night_of(&unknown).minimum.spread > night_of(&forecast()).minimum.spread);
    // A clock that goes a few minutes wrong is no reason for doubt.
    let slightly = Forecast { issued: Some(afternoon() + Duration::minutes(10)), ..forecast() };
    assert!(night_of(&slightly).remarks.is_empty());
    let fetched_long_ago = Forecast { fetched: afternoon() - Duration::hours(20), ..ahead };
    assert_eq!(judged(Some(&fetched_long_ago), &[], afternoon()), Err(NoNight::Stale { hours: 20 }));
}

/// Interval, low stated for it, and the low then taken from the forecast, whose coldest hour has -2.
#[test]
fn the_low_that_a_feed_states_is_heard_where_it_is_the_colder() {
    for (from, to, low, taken) in [
        ("2027-01-17T00:00:00Z", "2027-01-17T13:00:00Z", -4.0, -4.0),
        ("2027-01-17T00:00:00Z", "2027-01-17T13:00:00Z", -1.0, -2.0),
        // The night before, the night after, and a day that only touches this night.
        ("2027-01-16T00:00:00Z", "2027-01-16T13:00:00Z", -9.0, -2.0),
        ("2027-01-18T00:00:00Z", "2027-01-18T13:00:00Z", -9.0, -2.0),
        ("2027-01-17T12:00:00Z", "2027-01-18T00:00:00Z", -9.0, -2.0),
    ] {
        let stated = IntervalMinimum { from: utc(from), to: utc(to), low: Celsius(low) };
        let night = night_of(&Forecast { minima: vec![stated], ..forecast() });
        assert!((night.minimum.mean.0 - (taken - 0.5)).abs() < 1e-9, "{from} {low}: {:?}", night.minimum.mean);
        assert!((low_of_hours(&night) - night.minimum.mean.0).abs() < 1e-9, "{from}: the hours do not follow");
    }
}

/// MET Norway states six-hourly instants some days ahead, each with the low of the interval that it begins.
#[test]
fn a_six_hourly_night_is_known_by_its_intervals_and_incomplete_without_them() {
    let mut sparse = forecast();
    sparse.hours.retain(|hour| hour.time.timestamp() % (6 * 3600) == 0);
    assert_eq!(sparse.between(span().sunset, span().end()).len(), 3);
    let Knowledge::Incomplete { longest_hole_hours, share_seen } = night_of(&sparse).knowledge else {
        panic!("three instants are no whole night")
    };
    assert!(longest_hole_hours == 5.0 && share_seen < 0.5);

    let starts = ["2027-01-16T18:00:00Z", "2027-01-17T00:00:00Z", "2027-01-17T06:00:00Z", "2027-01-17T12:00:00Z"];
    let minima = starts.map(utc).into_iter().zip([3.0, -1.0, -3.5, -2.0]);
    let minima = minima.map(|(from, low)| IntervalMinimum { from, to: from + Duration::hours(6), low: Celsius(low) });
    let spanned = Forecast { minima: minima.collect(), ..sparse };
    let night = night_of(&spanned);
    assert_eq!(night.knowledge, Knowledge::Complete);
    assert!((night.minimum.mean.0 - -4.0).abs() < 1e-9, "{:?}", night.minimum);
    assert!((low_of_hours(&night) - -4.0).abs() < 1e-9);
    let gap = Forecast { minima: vec![spanned.minima[0], spanned.minima[2], spanned.minima[3]], ..spanned };
    assert!(matches!(night_of(&gap).knowledge, Knowledge::Incomplete { .. }), "six hours without hour or interval");
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
fn a_dusk_reading_pulls_the_low_towards_what_it_says() {
    let alone = night_of(&forecast());
    // Two hours after sunset the forecast has 5.2 °C.
    for shown in [-4.0, 0.0, 4.0, 6.5, 9.5, 14.0] {
        let night = night_with(&forecast(), &[reading("17T00:30", shown)]);
        let colder = shown < 5.0;
        assert_eq!(night.minimum.mean < alone.minimum.mean, colder, "{shown} C: {:?}", night.minimum);
        assert_eq!(night.minimum.mean > alone.minimum.mean, !colder, "{shown} C: {:?}", night.minimum);
        assert!((low_of_hours(&night) - night.minimum.mean.0).abs() < 1e-9, "{shown} C: the hours do not follow");
        assert!(night.minimum.spread <= alone.minimum.spread, "{shown} C: a reading makes a night no less sure");
        let disagrees = night.remarks.iter().any(|remark| matches!(remark, Remark::ReadingDisagrees { .. }));
        assert_eq!(disagrees, !(2.0..8.5).contains(&shown), "{shown} C: {:?}", night.remarks);
    }
}

#[test]
fn a_reading_from_before_the_night_or_from_the_future_is_not_of_this_night() {
    let now = utc("2027-01-17T01:00:00Z");
    let alone = judged(Some(&forecast()), &[], now);
    for at in ["15T00:30", "16T20:00", "16T22:15", "17T02:15"] {
        assert_eq!(judged(Some(&forecast()), &[reading(at, -9.0)], now), alone, "a reading of {at}");
        assert_eq!(judged(None, &[reading(at, -9.0)], now), Err(NoNight::NoForecast), "a reading of {at} alone");
    }
}

#[test]
fn no_low_is_warmer_than_what_a_thermometer_has_shown() {
    let late = utc("2027-01-17T09:00:00Z");
    for shown in [-9.0, -5.0, -2.0, 0.0] {
        let night = judged(Some(&forecast()), &[reading("17T08:00", shown)], late);
        assert!(night.is_ok_and(|night| night.minimum.mean <= Celsius(shown)), "{shown} C");
    }
}

#[test]
fn without_a_forecast_the_evenings_thermometer_stands_alone_on_the_cold_side() {
    let now = utc("2027-01-17T01:00:00Z");
    let stale = Forecast { issued: Some(now - Duration::hours(30)), ..forecast() };
    for forecast in [None, Some(&stale)] {
        let Ok(night) = judged(forecast, &[reading("17T00:30", 3.2)], now) else { panic!("no night") };
        assert_eq!((night.remarks.as_slice(), night.clear_calm), ([Remark::ReadingOnly].as_slice(), 1.0));
        // 0.7138 * 3.2 + 0.2059 * -0.8 - 2.4557 - 2.3, and a little less for having shown 3.2 already.
        assert!((night.minimum.mean.0 - -2.64).abs() < 0.2, "{:?}", night.minimum);
        assert!(night.hours.len() >= 12 && night.provider.is_none());
    }
    assert_eq!(judged(Some(&stale), &[], now), Err(NoNight::Stale { hours: 30 }));
}

#[test]
fn a_low_given_by_hand_is_kept_as_it_was_given() {
    for low in [-12.0, -3.0, 0.0, 9.0] {
        let night = night_of(&forecast_of_low(Celsius(low), &span(), afternoon()));
        assert!((night.minimum.mean.0 - low).abs() < 1e-9, "{low} became {:?}", night.minimum.mean);
        assert!((low_of_hours(&night) - low).abs() < 1e-9);
        assert_eq!((night.knowledge, night.remarks.as_slice()), (Knowledge::Complete, [Remark::HandGiven].as_slice()));
        assert!(has_step(&night, "given by hand"));
    }
}

/// Feeds drop the hours that are over: at ten in the evening a whole night is what is left of it.
#[test]
fn a_feed_that_starts_now_is_whole_after_dusk() {
    let now = utc("2027-01-17T03:10:00Z");
    let mut started = forecast();
    started.hours.retain(|hour| hour.time >= utc("2027-01-17T03:00:00Z"));
    let Ok(night) = judged(Some(&started), &[], now) else { panic!("no night") };
    assert_eq!(night.knowledge, Knowledge::Complete);
    assert!((night.minimum.mean.0 - -2.5).abs() < 1e-9);
    started.hours.retain(|hour| hour.time >= utc("2027-01-17T07:00:00Z"));
    let night = judged(Some(&started), &[], now).map(|night| night.knowledge);
    assert!(matches!(night, Ok(Knowledge::Incomplete { .. })), "the next hours are not there: {night:?}");
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
        let evidence = Evidence { forecast: Some(&forecast()), readings: &[], garden_offset, now: afternoon() };
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
            at: sunset + Duration::minutes(*at), air: Celsius(*air), dew_point: None, offset: Kelvins(0.0),
        }).collect();
        readings.sort_by_key(|reading| reading.at);
        for forecast in [None, Some(&part), Some(&given)] {
            let evidence = Evidence { forecast, readings: &readings, garden_offset: None, now };
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
