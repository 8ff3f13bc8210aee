//! Nights moved by what earlier ones have taught of the feed.

use super::*;
use crate::crops::Stature;
use crate::night::bed::{Place, RootZone, at_bed};
use crate::night::corrections::OfLeadDay;
use crate::night::exposure::Exposure;
use crate::units::Pascals;

/// A feed of which twelve nights have taught this shift, the same under every sky.
fn taught(shift: f64) -> Corrections {
    let of_lead_day = OfLeadDay {
        shift: [shift, 0.0],
        covariance: [[0.04, 0.0], [0.0, 0.01]],
        factors: [1.0, 1.0],
        nights: (1..=12).filter_map(|day| NaiveDate::from_ymd_opt(2027, 1, day)).map(NightOf).collect(),
    };
    let of_feed = std::array::from_fn(|_| of_lead_day.clone());
    Corrections([(Provider::NationalWeatherService.key().to_string(), of_feed)].into())
}

fn judged(forecast: &Forecast, readings: &[Reading], learned: Option<&Corrections>, offset: Option<Kelvins>) -> Night {
    let evidence = Evidence { forecast: Some(forecast), readings, garden_offset: offset, learned, now: at(-2.0) };
    expect(&evidence, &span()).expect("a night")
}

/// Whatever a thermometer has taught, no night is warmer by it than one published spread above the published shift; towards
/// the cold it acts in full.
#[test]
fn what_is_learned_warms_a_night_by_one_published_spread_at_most() {
    for (sky, offset, site_spread) in [(0.1, None, 1.0), (1.0, None, 1.0), (0.1, Some(Kelvins(1.5)), 0.5)] {
        let forecast = each_hour(|_, hour| hour.cloud_cover = Some(sky));
        let plain = judged(&forecast, &[], None, offset);
        let most = f64::hypot(site_spread, CLEAR_CALM_SPREAD * plain.clear_calm);
        let own = offset.map_or(0.0, |offset| offset.0) + CLEAR_CALM_SHIFT * plain.clear_calm;
        for tenth in -120..=120 {
            let shift = f64::from(tenth) / 10.0;
            let night = judged(&forecast, &[], Some(&taught(shift)), offset);
            let (warmer, capped) = (night.minimum.mean.0 - plain.minimum.mean.0, shift > own + most);
            let expected = if capped { most } else { shift - own };
            assert!((warmer - expected).abs() < 1e-6, "{sky} {offset:?} {shift}: {warmer}, expected {expected}");
            let named = night.remarks.iter().any(|remark| matches!(remark, Remark::LearnedCapped { .. }));
            assert_eq!(named, capped, "{sky} {offset:?} {shift}");
            assert_eq!(night.steps.iter().any(|step| step.what.contains("not believed")), capped);
            if capped {
                assert!(night.minimum.spread.0 >= plain.minimum.spread.0 - 1e-9, "no surer than as published");
            }
        }
    }
}

/// A reading that is too warm against what was published stays so, whatever was learned.
#[test]
fn what_is_learned_switches_off_no_guard() {
    let forecast = forecast();
    for above in [-9.0, 7.0, 7.9, 8.1, 8.6, 9.0, 15.0] {
        let left_out = |shift: Option<f64>| {
            let published = judged(&forecast, &[], None, None);
            let air = published.hours.iter().find(|hour| hour.time == at(2.0)).expect("the hour").air;
            let learned = shift.map(taught);
            let evidence = Evidence {
                forecast: Some(&forecast),
                readings: &[reading(2.0, air.0 + above)],
                garden_offset: None,
                learned: learned.as_ref(),
                now: at(2.5),
            };
            let night = expect(&evidence, &span()).expect("a night");
            night.remarks.iter().any(|remark| matches!(remark, Remark::ReadingLeftOut { .. }))
        };
        for shift in [None, Some(-3.0), Some(0.7), Some(8.0)] {
            assert_eq!(left_out(shift), above > 8.0, "{above} K above, learned {shift:?}");
        }
    }
}

/// A day that the feed has three kelvins colder than its night is said to be colder, whichever way both were moved.
#[test]
fn the_day_is_moved_with_the_night() {
    let coldest = |time: f64, air: f64| {
        each_hour(move |hour, value| {
            if hour == time {
                value.air_temperature = Celsius(air);
            }
        })
    };
    for (shift, offset) in [(-4.0, None), (0.5, None), (-4.0, Some(Kelvins(-1.0)))] {
        let said = |air: f64, learned: Option<&Corrections>| {
            let night = judged(&coldest(18.0, air), &[], learned, offset);
            night.remarks.into_iter().find(|remark| matches!(remark, Remark::ColderByDay { .. }))
        };
        let cold = Some(Remark::ColderByDay { low: Celsius(-6.0 + shift), at: at(18.0) });
        assert_eq!(said(-6.0, Some(&taught(shift))), cold, "{shift} {offset:?}");
        assert_eq!(said(-3.5, Some(&taught(shift))), None, "{shift} {offset:?}");
        let stated = offset.map_or(0.0, |offset| offset.0);
        let cold = Some(Remark::ColderByDay { low: Celsius(-6.0 + stated), at: at(18.0) });
        assert_eq!(said(-6.0, None), cold, "{offset:?}");
    }
}

/// A garden 3 K colder than its feed has the soil, the pots and the covers of a feed that is 3 K colder, and so has one
/// that has learned so.
#[test]
fn soil_and_pots_are_as_cold_as_the_garden() {
    let mut forecast = each_hour(|_, hour| hour.dew_point = None);
    let day = forecast.hours.clone();
    for back in 1..=4 {
        let earlier = day.iter().map(|hour| Hour { time: hour.time - Duration::days(back), ..*hour });
        forecast.hours.extend(earlier);
    }
    forecast.hours.sort_by_key(|hour| hour.time);
    forecast.hours.dedup_by_key(|hour| hour.time);
    let mut colder = forecast.clone();
    for hour in &mut colder.hours {
        hour.air_temperature = hour.air_temperature - Kelvins(3.0);
    }
    let soil = |night: &Night, root_zone| {
        let (exposure, stature) = (Exposure::Hollow, Stature::LOW_BED);
        let place = Place { exposure, offset: None, learned: None, root_zone, mulch: 0.0, stature, read: None };
        at_bed(night, &place, Pascals(98_400.0)).soil.mean.0
    };
    let plain = judged(&forecast, &[], None, None);
    let of_feed = judged(&colder, &[], None, None);
    let stated = judged(&forecast, &[], None, Some(Kelvins(-3.0)));
    let learned = judged(&forecast, &[], Some(&taught(-3.0 + CLEAR_CALM_SHIFT * plain.clear_calm)), None);
    assert_eq!(stated.cover_conditions, of_feed.cover_conditions);
    assert!(is_close(stated.mean_air.0, of_feed.mean_air.0));
    for zone in [RootZone::Ground, RootZone::Raised { width: 1.2, height: 0.3 }, RootZone::Pot { radius: 0.15 }] {
        let (here, there) = (soil(&stated, zone), soil(&of_feed, zone));
        assert!((here - there).abs() < 1e-6, "{zone:?}: {here} by its offset, {there} by its feed");
        assert!(soil(&plain, zone) > there + 0.3 && soil(&learned, zone) < there + 0.3, "{zone:?}");
    }
    // A warmer garden that was only learned of keeps the frost that its feed has seen.
    let warmer = judged(&forecast, &[], Some(&taught(3.0)), None);
    assert_eq!(warmer.before, plain.before);
}

/// What makes nights milder here than the feed has them made those behind milder too, and hardened less; what makes them
/// colder is not counted on.
#[test]
fn past_lows_are_moved_to_the_warm_alone() {
    let mut forecast = forecast();
    let behind = forecast.hours.iter().map(|hour| Hour { time: hour.time - Duration::days(1), ..*hour });
    let behind: Vec<Hour> = behind.filter(|hour| hour.time < forecast.hours[0].time).collect();
    forecast.hours.splice(0..0, behind);
    let last_low = |learned: Option<f64>, offset: Option<f64>| {
        let night = judged(&forecast, &[], learned.map(taught).as_ref(), offset.map(Kelvins));
        night.past.last().and_then(|day| day.low(Kelvins(0.0))).expect("last night's low").0
    };
    let plain = last_low(None, None);
    for (learned, offset, moved) in [
        (Some(0.4), None, 0.4),
        (Some(-2.0), None, 0.0),
        (Some(-2.0), Some(0.5), 0.5),
        (Some(0.8), Some(0.5), 0.8),
        (None, Some(-1.0), -1.0),
    ] {
        let found = last_low(learned, offset) - plain;
        assert!((found - moved).abs() < 1e-9, "{learned:?} {offset:?}: {found}");
    }
    // No more of it than is believed of the night itself, under either sky.
    assert!((last_low(Some(9.0), None) - plain - 1.0).abs() < 0.5);
}
