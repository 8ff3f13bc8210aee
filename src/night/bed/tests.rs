//! What a place makes of one and the same night.

use super::*;
use crate::night::cover::CoverConditions;
use crate::night::past::Remembered;
use crate::night::{FrostKind, Knowledge, NightHour};
use crate::zone::NightOf;
use chrono::{Duration, NaiveDate};
use proptest::prelude::*;

const PRESSURE: Pascals = Pascals(98_400.0);
const OPEN_GROUND: Place = Place {
    exposure: Exposure::Open,
    offset: None,
    learned: None,
    root_zone: RootZone::Ground,
    mulch: 0.0,
    stature: Stature::LOW_BED,
    read: None,
};

/// So many days of one air before the night's sunset, without a clear night.
fn days_before(days: i64, air: f64) -> Vec<Remembered> {
    let time = |hour: i64| DateTime::UNIX_EPOCH + Duration::hours(hour);
    (-24 * days..0).map(|hour| Remembered { time: time(hour), air: Celsius(air), clear_calm: 0.0 }).collect()
}

/// Fourteen hours that fall evenly from `dusk` to `low`, after a day at `dusk`.
fn night(dusk: f64, low: f64, dew_point: f64, wind: f64, cloud: f64) -> Night {
    let sunset = DateTime::UNIX_EPOCH;
    let hours: Vec<NightHour> = (0..=14)
        .map(|hour| NightHour {
            time: sunset + Duration::hours(hour),
            air: Celsius(dusk + (low - dusk) * hour as f64 / 14.0),
            dew_point: Celsius(dew_point),
            wind_10m: MetresPerSecond(wind),
            cloud_cover: cloud,
        })
        .collect();
    Night {
        of: NightOf(NaiveDate::default()),
        sunset,
        sunrise: sunset + Duration::hours(13),
        minimum: Estimate { mean: Celsius(low), spread: Kelvins(2.0) },
        clear_calm: 1.0 - cloud,
        kind: FrostKind::Radiation,
        before: days_before(1, dusk),
        past: Vec::new(),
        mean_air: Celsius((dusk + low) / 2.0),
        laying_wind: MetresPerSecond(wind),
        read_at: None,
        cover_conditions: CoverConditions { wind_10m: wind, left_by_the_day: 1.0 },
        knowledge: Knowledge::Complete,
        remarks: Vec::new(),
        provider: None,
        issued: None,
        fetched: None,
        steps: Vec::new(),
        hours,
    }
}

fn tissue(night: &Night, height: f64, leaf_width: f64) -> f64 {
    at_bed(night, &Place { stature: Stature { height, leaf_width }, ..OPEN_GROUND }, PRESSURE).tissue.mean.0
}

#[test]
fn on_a_light_wind_a_bush_stays_warmer_than_a_low_leaf_of_its_width() {
    let light = night(6.0, 0.0, -4.0, 1.5, 0.0);
    let (low, high) = (tissue(&light, 0.1, 0.05), tissue(&light, 1.5, 0.05));
    assert!((0.3..1.5).contains(&(high - low)), "{low} and {high}");
    let (narrow, wide) = (tissue(&light, 0.3, 0.01), tissue(&light, 0.3, 0.2));
    assert!((0.5..2.5).contains(&(narrow - wide)), "{narrow} and {wide}");
}

#[test]
fn vapour_that_settles_on_a_leaf_warms_it() {
    let dry = tissue(&night(6.0, 0.0, -8.0, 1.0, 0.0), 0.2, 0.07);
    let moist = tissue(&night(6.0, 0.0, 0.0, 1.0, 0.0), 0.2, 0.07);
    assert!(moist > dry + 0.3, "{dry} and {moist}");
}

#[test]
fn a_step_says_whether_the_morning_is_white_or_black() {
    let says = |dew_point, low| {
        let steps = at_bed(&night(6.0, low, dew_point, 1.0, 0.0), &OPEN_GROUND, PRESSURE).leaf_steps;
        steps.into_iter().map(|step| step.what).collect::<Vec<_>>().join("; ")
    };
    assert!(says(-12.0, 0.0).contains("black frost"), "{}", says(-12.0, 0.0));
    assert!(says(-1.0, 0.0).contains("white frost"));
    assert!(says(4.0, 6.0).contains("dew forms"));
    assert!(says(-12.0, 6.0).contains("no dew or frost"));
}

fn soil(night: &Night, root_zone: RootZone, mulch: f64) -> f64 {
    at_bed(night, &Place { root_zone, mulch, ..OPEN_GROUND }, PRESSURE).soil.mean.0
}

#[test]
fn on_a_cold_night_ground_is_warmer_than_a_raised_bed_and_pots_are_not_warmer_than_ground() {
    let cold = night(12.0, 0.0, -3.0, 1.0, 0.0);
    let raised = RootZone::Raised { width: 1.2, height: 0.3 };
    let (ground, raised, mulched) =
        (soil(&cold, RootZone::Ground, 0.0), soil(&cold, raised, 0.0), soil(&cold, raised, 0.08));
    assert!(raised < ground - 0.3 && mulched > ground, "{ground}, raised {raised}, mulched {mulched}");
    for centimetres in 3..=50 {
        let pot = soil(&cold, RootZone::Pot { radius: f64::from(centimetres) / 100.0 }, 0.0);
        assert!(pot <= ground + 1e-9, "{centimetres} cm: {pot} and ground {ground}");
    }
    assert!(soil(&cold, RootZone::Pot { radius: 0.06 }, 0.0) < ground - 1.0, "a small pot keeps nothing");
}

#[test]
fn straw_cools_the_leaves_over_it_a_little_and_only_under_a_clear_sky() {
    let leaf = |cloud: f64, mulch: f64| {
        let night = night(6.0, 0.0, -6.0, 1.0, cloud);
        at_bed(&night, &Place { mulch, ..OPEN_GROUND }, PRESSURE).tissue.mean.0
    };
    assert!((0.05..0.5).contains(&(leaf(0.0, 0.0) - leaf(0.0, 0.08))));
    assert!((leaf(1.0, 0.0) - leaf(1.0, 0.08)).abs() < 1e-6);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn taller_leaves_are_never_colder_and_wider_ones_never_warmer(
        low in -12.0f64..6.0, fall in 0.0f64..12.0, dry in 1.0f64..12.0, wind in 0.0f64..8.0, cloud in 0.0f64..=1.0,
        height in 0.02f64..5.0, taller in 0.0f64..3.0, width in 0.003f64..0.4, wider in 0.0f64..0.1,
    ) {
        let night = night(low + fall, low, low - dry, wind, cloud);
        let here = tissue(&night, height, width);
        prop_assert!(tissue(&night, height + taller, width) >= here - 1e-4);
        prop_assert!(tissue(&night, height, width + wider) <= here + 1e-4);
        prop_assert!((low - DEEPEST_DEPRESSION - 1e-9..=low + 1e-9).contains(&here));
    }

    /// Day for day of frost, and back again day for day of thaw.
    #[test]
    fn roots_grow_colder_with_the_days_of_a_frost_and_come_back_with_its_thaw(
        air in -12.0f64..-0.5, thaw in 0.5f64..6.0, which in 0usize..3, size in 0.05f64..0.5, mulch in 0.0f64..0.1,
    ) {
        let zone = match which {
            0 => RootZone::Ground,
            1 => RootZone::Raised { width: size * 4.0, height: size },
            _ => RootZone::Pot { radius: size },
        };
        let mut last = f64::INFINITY;
        for days in 1..=10 {
            let here = soil(&standing_frost(days, air), zone, mulch);
            prop_assert!(here <= last + 1e-9, "day {}: {} after {}", days, here, last);
            last = here;
        }
        let mut colder = f64::NEG_INFINITY;
        for thawed in 0..=9_i64 {
            let mut night = standing_frost(10, air);
            let mild = |time: DateTime<Utc>| time >= night.sunset - Duration::hours(24 * thawed);
            for hour in night.before.iter_mut().filter(|hour| thawed > 0 && mild(hour.time)) {
                hour.air = Celsius(thaw);
            }
            let here = soil(&night, zone, mulch);
            prop_assert!(here >= colder - 1e-9, "{} days of thaw: {} after {}", thawed, here, colder);
            colder = here;
        }
    }

    #[test]
    fn colder_nights_give_colder_roots_and_mulch_warmer_ones(
        low in -15.0f64..5.0, fall in 0.0f64..15.0, by in 0.0f64..5.0, which in 0usize..3, size in 0.05f64..0.5,
        mulch in 0.0f64..0.3, more in 0.0f64..0.2,
    ) {
        let zone = match which {
            0 => RootZone::Ground,
            1 => RootZone::Raised { width: size * 4.0, height: size },
            _ => RootZone::Pot { radius: size },
        };
        let night_by = |by: f64| night(low + fall - by, low - by, low - 5.0 - by, 1.0, 0.0);
        let (milder, colder) = (night_by(0.0), night_by(by));
        prop_assert!(soil(&colder, zone, mulch) <= soil(&milder, zone, mulch) + 1e-6);
        prop_assert!(soil(&milder, zone, mulch + more) >= soil(&milder, zone, mulch) - 1e-9);
        let raised = RootZone::Raised { width: size * 4.0, height: size };
        prop_assert!(soil(&milder, raised, mulch) <= soil(&milder, RootZone::Ground, mulch) + 1e-9);
    }
}

/// Constant air from so many days before sunset to the end of the night.
fn standing_frost(days: i64, air: f64) -> Night {
    Night { before: days_before(days, air), ..night(air, air, air - 3.0, 2.5, 1.0) }
}

/// 2.8 °C below zero at 5 cm of bare ground after nine days at -3.5 °C, and 1.6 after one, by stepwise conduction with
/// freezing in two directions, computed apart from this code.
#[test]
fn nine_days_of_frost_go_deeper_than_one() {
    let roots = |days| soil(&standing_frost(days, -3.5), RootZone::Ground, 0.0);
    assert!((roots(1) + 1.6).abs() < 0.5 && (roots(9) + 2.8).abs() < 0.3, "{} and {}", roots(1), roots(9));
    // All of the frost, and behind it a straight line as in Stefan's solution.
    let depth = crate::night::soil::frost_depth(3.5 * (9.0 * 24.0 + 14.0), 0.0);
    assert!((roots(9) + 3.5 * (1.0 - 0.05 / depth)).abs() < 0.01, "{}", roots(9));
    let pot = |days| soil(&standing_frost(days, -1.0), RootZone::Pot { radius: 0.25 }, 0.0);
    assert!(pot(1) > -0.4 && pot(9) < -0.7, "{} and {}", pot(1), pot(9));
}

#[test]
fn a_hole_in_the_days_before_thaws_nothing() {
    let mut night = standing_frost(9, -3.5);
    night.before.retain(|hour| night.sunset - hour.time > Duration::hours(40));
    for hour in &mut night.before {
        // Mild until two days before, and a thaw that one hour alone has seen.
        let is_last = night.sunset - hour.time == Duration::hours(41);
        hour.air = Celsius(if is_last { 6.0 } else { -3.5 });
    }
    let without = Night { before: Vec::new(), ..night.clone() };
    assert!(soil(&night, RootZone::Ground, 0.0) < soil(&without, RootZone::Ground, 0.0) - 0.5);
}

/// A shed is 6 K warmer, and as cold as -9 °C where the night outside is -15 °C: the cold end of what is published.
#[test]
fn a_roof_keeps_some_kelvins_and_no_more() {
    let outside = at_bed(&night(-8.0, -15.0, -17.0, 1.0, 0.0), &OPEN_GROUND, PRESSURE);
    let inside = outside.under_a_roof();
    assert!((inside.screen.mean.0 + 9.0).abs() < 1e-9 && inside.screen.spread > outside.screen.spread);
    assert!(inside.tissue.mean == inside.screen.mean && inside.tissue.mean > outside.tissue.mean);
    assert!(inside.hours.iter().all(|hour| hour.tissue < Celsius(0.0)), "no roof keeps such a night above freezing");
}

/// However many nights an offset rests on, the air of the next lies about it as it did about those.
#[test]
fn an_offset_that_is_known_leaves_the_scatter_of_its_nights() {
    let night = night(6.0, -2.0, -4.0, 0.5, 0.0);
    let spread = |offset: Option<f64>, learned: Option<f64>| {
        let learned = learned.map(|spread| LearnedOffset { mean: Kelvins(0.0), spread: Kelvins(spread), nights: 30 });
        at_bed(&night, &Place { offset: offset.map(Kelvins), learned, ..OPEN_GROUND }, PRESSURE).screen.spread.0
    };
    // 2 K of the night, 0.56 K of the bed's air, and what of the offset is not known; published is the whole, 0.5 K.
    for (found, of_bed) in
        [(spread(None, Some(0.0)), 0.56), (spread(None, Some(0.42)), 0.7), (spread(Some(0.0), None), 0.688_186)]
    {
        assert!((found - 2.0_f64.hypot(of_bed)).abs() < 1e-6, "{found} and {of_bed}");
    }
    assert!((spread(None, None) - 2.0_f64.hypot(0.5)).abs() < 1e-12);
}
