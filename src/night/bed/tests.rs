//! What a place makes of one and the same night.

use super::*;
use crate::night::cover::CoverConditions;
use crate::night::{FrostKind, Knowledge, NightHour};
use crate::zone::NightOf;
use chrono::{Duration, NaiveDate};
use proptest::prelude::*;

const PRESSURE: Pascals = Pascals(98_400.0);
const OPEN_GROUND: Place =
    Place { exposure: Exposure::Open, offset: None, root_zone: RootZone::Ground, stature: Stature::LOW_BED };

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
        mean_air: Celsius((dusk + low) / 2.0),
        freezing_degree_hours: hours.iter().map(frost).sum(),
        cover_conditions: CoverConditions { wind_10m: wind, dull_cold_day: false },
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
}
