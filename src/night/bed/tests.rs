//! What a place makes of one and the same night.

use super::*;
use crate::night::cover::CoverConditions;
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
};

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
    let frost = |hour: &NightHour| (-hour.air.0).max(0.0);
    Night {
        of: NightOf(NaiveDate::default()),
        sunset,
        sunrise: sunset + Duration::hours(13),
        minimum: Estimate { mean: Celsius(low), spread: Kelvins(2.0) },
        clear_calm: 1.0 - cloud,
        kind: FrostKind::Radiation,
        before: (0..24).map(|hour| (sunset - Duration::hours(24 - hour), Celsius(dusk))).collect(),
        past: Vec::new(),
        mean_air: Celsius((dusk + low) / 2.0),
        freezing_degree_hours: hours.iter().map(frost).sum(),
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
