use super::*;

/// -3 C at sunrise, and the half kelvin by which forecasts run warm on such nights.
const LOW: f64 = -3.5;

#[test]
fn the_plain_night_is_as_the_other_tests_take_it_to_be() {
    let night = night(&forecast());
    assert_eq!((night.clear_calm, night.kind, night.knowledge), (1.0, FrostKind::Radiation, Knowledge::Complete));
    assert!(is_close(night.minimum.mean.0, LOW), "{:?}", night.minimum);
    assert_eq!(night.coldest_at(), at(14.0));
    assert_eq!((night.remarks.as_slice(), night.issued), (&[][..], Some(at(-4.0))));
    assert!(is_close(lowest(night.hours.iter().map(|hour| hour.air)).0, LOW), "the hours do not reach the low");
    // Spreads add in squares: lead day 1, the clear night, the unknown site.
    assert!(is_close(night.minimum.spread.0, (1.8f64.powi(2) + 0.75f64.powi(2) + 1.0).sqrt()));
}

/// Hours left out; the longest hole and whether the night is incomplete. One missing hour of the fifteen is bridged, and
/// two are more than a tenth of them.
#[test]
fn hours_that_are_missing_make_a_night_incomplete() {
    for (sentence, gone, longest) in [
        ("none", &[][..], None),
        ("one in the middle", &[7][..], None),
        ("two in a row", &[6, 7][..], Some(2.0)),
        ("three in a row", &[6, 7, 8][..], Some(3.0)),
        ("two apart", &[4, 9][..], Some(1.0)),
        ("the first", &[0][..], None),
        ("the last, after sunrise", &[15][..], None),
        ("all after the last hour before sunrise", &[14, 15][..], None),
        ("all after the last hour but one", &[13, 14, 15][..], Some(2.0)),
    ] {
        let night = night(&without(gone));
        let found = match night.knowledge {
            Knowledge::Complete => None,
            Knowledge::Incomplete { longest_hole_hours, .. } => Some(longest_hole_hours),
        };
        assert_eq!(found, longest, "{sentence}");
    }
}

/// Only a night of twenty hours and more, as near the polar circle, has room for a hole of two hours in a tenth of it.
#[test]
fn a_hole_of_two_hours_is_bridged_in_a_very_long_night_and_one_of_three_is_not() {
    let span = Span { sunrise: at(20.0), ..span() };
    for (gone, is_complete) in [(2, true), (3, false)] {
        let mut forecast = forecast();
        let seen = |time: &i32| !(6..6 + gone).contains(time);
        forecast.hours =
            (-5..=21).filter(seen).map(|time| hour(f64::from(time), 4.0 - f64::from(time) / 4.0)).collect();
        let night = expect(
            &Evidence { forecast: Some(&forecast), readings: &[], garden_offset: None, learned: None, now: at(-2.0) },
            &span,
        );
        let night = night.expect("a night");
        assert_eq!(night.knowledge == Knowledge::Complete, is_complete, "{gone} hours gone");
        let says = |what: &str| night.steps.iter().any(|step| step.what.contains(what));
        assert_eq!((says("an hour is missing"), says("missing in a row")), (is_complete, !is_complete));
    }
}

#[test]
fn a_forecast_that_ends_before_sunrise_is_incomplete() {
    // Its last hour is 1.5 h before sunrise.
    let mut forecast = forecast();
    forecast.hours.retain(|hour| hour.time <= at(12.0));
    forecast.hours.push(hour(12.5, -2.2));
    assert!(matches!(night(&forecast).knowledge, Knowledge::Incomplete { .. }));
}

#[test]
fn holes_long_past_matter_no_more_and_holes_to_come_weigh_the_more() {
    let early = without(&[2, 3, 4]);
    assert!(matches!(night(&early).knowledge, Knowledge::Incomplete { .. }));
    assert_eq!(judge(Some(&early), &[], 7.0).map(|night| night.knowledge), Ok(Knowledge::Complete));
    // One hour of the seven that are left.
    let late = judge(Some(&without(&[11])), &[], 9.0).map(|night| night.knowledge);
    assert!(matches!(late, Ok(Knowledge::Incomplete { .. })), "{late:?}");
}

#[test]
fn a_missing_hour_is_bridged_on_the_cold_side() {
    let whole = night(&forecast());
    for gone in 0..=14 {
        let night = night(&without(&[gone]));
        let (found, known) = (night.minimum, whole.minimum);
        assert!(found.mean <= known.mean, "without {gone}: {found:?}, known {known:?}");
        if (1..=14).contains(&gone) {
            assert!(found.spread > known.spread, "without {gone}: {found:?}, known {known:?}");
            assert!(night.steps.iter().any(|step| step.what.contains("an hour is missing")), "without {gone}");
        }
    }
    let mut cloudy = each_hour(|time, hour| hour.cloud_cover = Some(if time < 7.0 { 0.2 } else { 1.0 }));
    cloudy.hours.retain(|hour| hour.time != at(9.0));
    let bridged = night(&cloudy).hours.iter().find(|hour| hour.time == at(9.0)).copied().expect("an hour in the hole");
    assert_eq!(bridged.cloud_cover, 0.2, "the hole is no cloudier than the night gets clear");
}

#[test]
fn without_the_coldest_hour_the_low_is_not_milder_than_it_was() {
    let mut forecast = each_hour(|time, hour| {
        if time == 10.0 {
            hour.air_temperature = Celsius(-3.0);
        } else if time > 0.0 {
            hour.air_temperature = Celsius(-2.6);
        }
    });
    let known = night(&forecast).minimum.mean;
    forecast.hours.retain(|hour| hour.time != at(10.0));
    assert!(night(&forecast).minimum.mean <= known);
}

/// Each kind of value left out of every hour, and of a windy overcast night: it is named, and the night is never milder
/// for it.
#[test]
fn wind_sky_and_humidity_that_are_missing_are_assumed_on_the_cold_side() {
    type Change = fn(&mut Hour);
    let rows: [(Remark, Change); 3] = [
        (Remark::WindAssumed, |hour| hour.wind_10m = None),
        (Remark::SkyAssumed, |hour| hour.cloud_cover = None),
        (Remark::DewPointAssumed, |hour| hour.dew_point = None),
    ];
    for (wind, cloud) in [(1.5, 0.1), (8.0, 0.1), (1.5, 1.0), (8.0, 1.0)] {
        let weather = |change: Change| {
            each_hour(|_, hour| {
                (hour.wind_10m, hour.cloud_cover) = (Some(MetresPerSecond(wind)), Some(cloud));
                change(hour);
            })
        };
        let known = night(&weather(|_| {}));
        for (remark, change) in rows {
            let night = night(&weather(change));
            assert_eq!(night.remarks, [remark]);
            assert!(night.minimum.mean <= known.minimum.mean, "{remark:?}: {:?}", night.minimum);
            assert!(night.clear_calm >= known.clear_calm, "{remark:?}");
            for (assumed, known) in night.hours.iter().zip(&known.hours) {
                assert!(assumed.wind_10m <= known.wind_10m && assumed.cloud_cover <= known.cloud_cover);
                assert!(assumed.air <= known.air);
            }
        }
    }
    let all = night(&each_hour(|_, hour| (hour.wind_10m, hour.cloud_cover, hour.dew_point) = (None, None, None)));
    assert_eq!(all.remarks, [Remark::WindAssumed, Remark::SkyAssumed, Remark::DewPointAssumed]);
    assert_eq!(all.clear_calm, 1.0);
    let dew_point = all.hours[5].dew_point;
    assert!(dew_point.0 <= -8.0, "5 K below the coldest hour, not {dew_point:?}");
}

#[test]
fn an_overcast_sky_is_carried_two_hours_and_no_farther() {
    let forecast = each_hour(|time, hour| hour.cloud_cover = (time <= 6.0).then_some(1.0));
    let night = night(&forecast);
    assert_eq!(night.remarks, [Remark::SkyAssumed]);
    for hour in &night.hours {
        let expected = if hour.time <= at(8.0) { 1.0 } else { 0.0 };
        assert_eq!(hour.cloud_cover, expected, "{}", hour.time);
    }
    let single = each_hour(|time, hour| hour.cloud_cover = hour.cloud_cover.filter(|_| time != 6.0));
    assert_eq!(super::night(&single).remarks, [], "one value that is missing is taken from its neighbour");
}

#[test]
fn an_old_forecast_is_named_and_a_stale_one_is_none() {
    let whole = night(&forecast()).minimum;
    let aged = |hours: f64| {
        let mut forecast = forecast();
        (forecast.issued, forecast.fetched) = (Some(at(-2.0 - hours)), at(-2.0));
        judge(Some(&forecast), &[], -2.0)
    };
    assert_eq!(aged(11.9).expect("a night").remarks, []);
    let old = aged(13.0).expect("a night");
    assert_eq!(old.remarks, [Remark::Old { hours: 13.0 }]);
    assert!(old.minimum.spread > whole.spread && old.minimum.mean == whole.mean);
    assert_eq!(aged(18.0).expect("a night").remarks, [Remark::Old { hours: 18.0 }]);
    assert_eq!(aged(19.0), Err(NoNight::Stale { hours: 19 }));
    assert_eq!(aged(40.0), Err(NoNight::Stale { hours: 40 }));
}

#[test]
fn an_issue_that_is_not_stated_or_in_the_future_is_not_believed() {
    for issued in [None, Some(at(-1.0)), Some(at(200.0))] {
        let mut forecast = forecast();
        forecast.issued = issued;
        let night = night(&forecast);
        assert_eq!((night.issued, night.remarks.as_slice()), (None, &[Remark::IssueUnknown][..]), "{issued:?}");
        // Its age is then that of its fetch, which can be stale too.
        forecast.fetched = at(-22.0);
        assert_eq!(judge(Some(&forecast), &[], -2.0), Err(NoNight::Stale { hours: 20 }));
    }
    // Clocks differ by minutes.
    let mut forecast = forecast();
    forecast.issued = Some(at(-1.8));
    assert_eq!(night(&forecast).issued, Some(at(-1.8)));
}

#[test]
fn a_forecast_of_other_nights_is_none() {
    let mut forecast = forecast();
    forecast.hours.retain(|hour| hour.time < at(0.0) || hour.time > at(15.0));
    assert_eq!(judge(Some(&forecast), &[], -2.0), Err(NoNight::NothingForThisNight));
    assert_eq!(judge(None, &[], -2.0), Err(NoNight::NoForecast));
}

fn minimum(from: f64, to: f64, low: f64) -> IntervalMinimum {
    IntervalMinimum { from: at(from), to: at(to), low: Celsius(low) }
}

/// Intervals with their low, and where the night's low is then expected: the stated value less the half kelvin, at an
/// hour of the night.
#[test]
fn a_low_that_the_feed_states_is_heard() {
    for (sentence, stated, low, coldest) in [
        ("a short one within", minimum(9.0, 15.0, -5.0), -5.5, 14.0),
        ("a short one before midnight", minimum(1.0, 2.0, -5.0), -5.5, 2.0),
        ("a short one across sunset", minimum(-4.0, 2.0, -5.0), -5.5, 2.0),
        ("a short one across sunrise", minimum(13.0, 19.0, -5.0), -5.5, 14.0),
        ("one that begins after sunrise", minimum(14.5, 20.0, -5.0), -5.5, 14.5),
        ("a long one, mostly of the night", minimum(-1.0, 14.0, -5.0), -5.5, 14.0),
        ("a long one, mostly of the day", minimum(-20.0, 2.0, -5.0), LOW, 14.0),
        ("one of the day after", minimum(15.0, 21.0, -5.0), LOW, 14.0),
        ("one that is milder than the hours", minimum(9.0, 15.0, 0.0), LOW, 14.0),
    ] {
        let mut forecast = forecast();
        forecast.minima = vec![stated];
        let night = night(&forecast);
        assert!(is_close(night.minimum.mean.0, low), "{sentence}: {:?}", night.minimum);
        assert!(
            is_close(lowest(night.hours.iter().map(|hour| hour.air)).0, low),
            "{sentence}: the hours do not show it"
        );
        assert_eq!(night.coldest_at(), at(coldest), "{sentence}");
        assert!(night.hours.is_sorted_by(|a, b| a.time < b.time), "{sentence}: an hour comes twice or out of order");
        let end = night.sunrise + Duration::hours(1);
        assert!(night.hours.iter().all(|hour| hour.time >= night.sunset && hour.time <= end), "{sentence}");
    }
}

/// A sample at the beginning of six hours, colder than that at their end, does not say that the coldest is over.
#[test]
fn a_low_of_six_hours_is_not_over_while_they_last() {
    let mut forecast = forecast();
    forecast.hours.retain(|hour| [-4.0, 2.0, 8.0, 14.0, 20.0].iter().any(|time| hour.time == at(*time)));
    forecast.hours.iter_mut().filter(|hour| hour.time == at(8.0)).for_each(|hour| hour.air_temperature = Celsius(-3.5));
    forecast.hours.iter_mut().filter(|hour| hour.time > at(8.0)).for_each(|hour| hour.air_temperature = Celsius(-1.0));
    let lows = [(-4.0, 2.0, 3.0), (2.0, 8.0, -3.0), (8.0, 14.0, -6.5), (14.0, 20.0, -1.0)];
    forecast.minima = lows.map(|(from, to, low)| minimum(from, to, low)).to_vec();
    assert_eq!(night(&forecast).coldest_at(), at(14.0));
}

/// Beyond its first days MET Norway gives every sixth hour, and may state the low of the six hours that follow it.
#[test]
fn six_hourly_forecasts_are_complete_only_with_their_lows() {
    let mut forecast = forecast();
    forecast.hours.retain(|hour| [-4.0, 2.0, 8.0, 14.0, 20.0].iter().any(|time| hour.time == at(*time)));
    assert!(matches!(night(&forecast).knowledge, Knowledge::Incomplete { .. }), "without lows");
    let lows = [(-4.0, 2.0, 3.0), (2.0, 8.0, 0.0), (8.0, 14.0, -4.0), (14.0, 20.0, -3.0)];
    forecast.minima = lows.map(|(from, to, low)| minimum(from, to, low)).to_vec();
    let whole = night(&forecast);
    assert_eq!(whole.knowledge, Knowledge::Complete, "with lows");
    assert!(is_close(whole.minimum.mean.0, -4.5), "{:?}", whole.minimum);
    forecast.minima.remove(2);
    assert!(matches!(night(&forecast).knowledge, Knowledge::Incomplete { .. }), "with a low too few");
}

#[test]
fn the_low_of_a_whole_day_fills_no_hole_and_bounds_what_it_may_hide() {
    let mut forecast = without(&[11, 12, 13]);
    forecast.minima = vec![minimum(-8.0, 16.0, -3.0)];
    assert!(matches!(night(&forecast).knowledge, Knowledge::Incomplete { .. }));
    let mut forecast = without(&[13]);
    let unbounded = night(&forecast).minimum.mean;
    forecast.minima = vec![minimum(-8.0, 16.0, -3.0)];
    assert!(night(&forecast).minimum.mean >= unbounded);
}

#[test]
fn a_gardens_offset_moves_the_low_and_the_hours() {
    let forecast = forecast();
    let with = |offset: f64| {
        let garden_offset = Some(Kelvins(offset));
        expect(
            &Evidence { forecast: Some(&forecast), readings: &[], garden_offset, learned: None, now: at(-2.0) },
            &span(),
        )
    };
    for offset in [-2.0, 0.0, 1.5] {
        let night = with(offset).expect("a night");
        assert!(is_close(night.minimum.mean.0, LOW + offset), "{:?}", night.minimum);
        assert!(is_close(night.hours[0].air.0, 4.0 + offset));
        assert!(night.minimum.spread < super::night(&forecast).minimum.spread, "a stated offset is better known");
    }
}

#[test]
fn a_low_given_by_hand_is_kept_and_says_that_nothing_else_is_known() {
    for low in [-12.0, -2.2, 0.0, 9.0] {
        for now in [-2.0, 2.0, 13.0] {
            let forecast = forecast_of_low(Celsius(low), &span(), at(now));
            let night = judge(Some(&forecast), &[], now).expect("a night");
            assert!(is_close(night.minimum.mean.0, low), "{low}: {:?}", night.minimum);
            assert_eq!((night.remarks.as_slice(), night.knowledge), (&[Remark::HandGiven][..], Knowledge::Complete));
            assert_eq!(night.clear_calm, 1.0);
            assert!(is_close(lowest(night.hours.iter().map(|hour| hour.air)).0, low));
        }
    }
}

#[test]
fn cold_by_day_is_said() {
    let cold_at = |time: f64, air: f64| {
        night(&each_hour(|hour, value| {
            if hour == time {
                value.air_temperature = Celsius(air);
            }
        }))
        .remarks
    };
    assert_eq!(cold_at(18.0, -6.0), [Remark::ColderByDay { low: Celsius(-6.0), at: at(18.0) }]);
    assert_eq!(cold_at(-1.0, -6.0), [Remark::ColderByDay { low: Celsius(-6.0), at: at(-1.0) }]);
    assert_eq!(cold_at(-4.0, -6.0), [], "it is over");
    assert_eq!(cold_at(18.0, -4.0), [], "hardly colder than the night");
    // A mild night before a day that is colder, and harms nothing.
    let mild = |change: f64| {
        night(&each_hour(|time, hour| {
            hour.air_temperature = Celsius(if time > 16.0 { 8.0 + change } else { 8.0 });
        }))
        .remarks
    };
    assert_eq!(mild(-5.0), []);
    assert!(matches!(mild(-7.0)[..], [Remark::ColderByDay { .. }]));
}

#[test]
fn the_polar_night_and_the_polar_day_are_judged_like_any_other() {
    // From 18:00 to 06:00 by the clock, and a sun that is up for minutes.
    for hours in [12.0, 23.5, 0.2] {
        let span = Span { sunrise: at(hours), ..span() };
        for air in [-30.0, 12.0] {
            let mut forecast = forecast();
            forecast.hours = (-6..=30).map(|time| hour(f64::from(time), air)).collect();
            let readings = [reading(0.1, air - 1.0)];
            for forecast in [Some(&forecast), None] {
                let evidence =
                    Evidence { forecast, readings: &readings, garden_offset: None, learned: None, now: at(0.2) };
                let night = expect(&evidence, &span);
                if let Ok(night) = &night {
                    let Estimate { mean, spread } = night.minimum;
                    assert!(mean.0.is_finite() && spread.0 > 0.0 && mean.0 <= air, "{hours} h, {air}: {night:?}");
                    assert!(!night.hours.is_empty());
                }
                assert_eq!(night.is_ok(), forecast.is_some(), "{hours} h, {air}");
            }
        }
    }
}

#[test]
fn a_warm_front_makes_no_hour_colder_than_the_low() {
    let rising = each_hour(|time, hour| hour.air_temperature = Celsius(-2.0 + (time * 0.4).max(0.0)));
    let night = night(&rising);
    assert_eq!(night.coldest_at(), at(0.0));
    let low = lowest(night.hours.iter().map(|hour| hour.air));
    assert!(is_close(low.0, night.minimum.mean.0), "{low:?} and {:?}", night.minimum);
    assert!(hours_below(night.hours.iter().map(|hour| (hour.time, hour.air)), Celsius(-1.0)) < 5.0);
}

/// A mild windless evening with the frost on a front in the morning, and a windy evening that falls still: cover and work
/// each go by the wind of their own hours.
#[test]
fn a_cover_meets_the_wind_of_the_low_and_its_work_that_of_the_afternoon() {
    let with = |wind: fn(f64) -> f64| night(&each_hour(|time, hour| hour.wind_10m = Some(MetresPerSecond(wind(time)))));
    let front = with(|time| if time < 10.0 { 1.0 } else { 9.0 });
    assert!(front.cover_conditions.wind_10m > 8.0 && front.kind == FrostKind::Advection, "{:?}", front.winds());
    assert!(is_close(front.laying_wind.0, 1.0));
    let falls_still = with(|time| if time < 10.0 { 9.0 } else { 0.5 });
    assert!(falls_still.cover_conditions.wind_10m < 1.0 && is_close(falls_still.laying_wind.0, 9.0));
    // In the dark it is the hour that follows; where nothing is known of it, the wind around the low.
    let windy = each_hour(|time, hour| hour.wind_10m = (time > 4.0).then_some(MetresPerSecond(time)));
    let judged = |now| judge(Some(&windy), &[], now).expect("a night");
    assert!(is_close(judged(6.0).laying_wind.0, 6.5) && judged(-2.0).laying_wind.0 > 10.0);
}
