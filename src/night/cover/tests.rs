//! Nothing may be promised that a measured trial contradicts.

use super::*;
use crate::night::Estimate;
use crate::night::dose::{DamageCurve, normal_cdf};
use crate::units::Celsius;

const STILL: CoverConditions = CoverConditions { wind_10m: 1.0, left_by_the_day: 1.0 };

fn every_cover() -> Vec<Cover> {
    let mut covers = Vec::new();
    for kind in CoverKind::ALL {
        for rests_on_plants in [false, true] {
            for layers in [Layers::One, Layers::Two] {
                covers.push(Cover { kind: *kind, rests_on_plants, layers });
            }
        }
    }
    covers
}

fn expected(cover: Cover) -> f64 {
    cover.gain(STILL).mean.0
}

#[test]
fn no_cover_is_expected_to_make_a_plant_colder() {
    for cover in every_cover() {
        for wind_10m in [0.0, 3.0, 5.0, 8.0, 20.0] {
            for left_by_the_day in [0.5, 0.8, 1.0] {
                assert!(cover.gain(CoverConditions { wind_10m, left_by_the_day }).mean.0 >= 0.0, "{cover:?}");
            }
        }
    }
}

/// North Carolina State University trial, as reported: +4.3, +5.4 and +3.7 F for 0.75, 1.0 and 1.25 oz/yd²
/// (25, 34 and 42 g/m²), over strawberries.
const NORTH_CAROLINA: [f64; 3] = [4.3 / 1.8, 5.4 / 1.8, 3.7 / 1.8];
/// Oregon State University, row-cover trials of 1983 and 1984: mean minima under spun-bonded cloth above the same mulch
/// without cover, +3.3 and +0.3 F.
const OREGON: [f64; 2] = [3.3 / 1.8, 0.3 / 1.8];

#[test]
fn what_is_expected_of_cloth_is_not_more_than_trials_measured_on_average() {
    let measured: Vec<f64> = NORTH_CAROLINA.into_iter().chain(OREGON).collect();
    let (low, _, high) = CoverKind::MediumRowCover.low_typical_high();
    assert!(measured.iter().all(|gain| (low..=high).contains(gain)));
    let average = measured.iter().sum::<f64>() / measured.len() as f64;
    assert!(expected(Cover::one(CoverKind::MediumRowCover)) <= average + 0.01, "{average}");
    assert!(expected(Cover::one(CoverKind::LightRowCover)) <= average);
    // No heavier cloth was warmer than the best of the trial.
    assert!(expected(Cover::one(CoverKind::HeavyRowCover)) <= NORTH_CAROLINA[1]);
}

/// The same in Oregon: single clear nights on which it was 1 F colder under the cover than beside it.
#[test]
fn cloth_may_be_of_no_use_at_all() {
    for kind in [CoverKind::LightRowCover, CoverKind::MediumRowCover, CoverKind::Sheet] {
        // What is at least as cold under the cover as beside it, or by 1 F colder; sure in all else.
        let gain = Cover::one(kind).gain(STILL);
        let chance = |below: f64| gain.average(|gained| normal_cdf((below - gain.mean.0 - gained.0) / 0.3).0);
        assert!(chance(0.0) >= 0.08 && chance(-0.56) > 0.005, "{kind:?}: {} and {}", chance(0.0), chance(-0.56));
    }
}

/// Milk jugs over plants were measured slightly colder than the air beside them, rose cones slightly warmer (Michigan, May
/// 1995, Geographical Bulletin 39(1), abstract): clear polyethylene alone promises no more.
#[test]
fn clear_plastic_alone_promises_next_to_nothing() {
    let jug = Cover::one(CoverKind::ClearPlastic);
    let (low, typical, _) = jug.low_typical_high();
    assert!(low <= -0.5 && (0.0..=0.5).contains(&typical) && expected(jug) <= 0.5);
}

/// After an overcast day near 10 C air under the cover fell just below 0 C, and 15 % of the crop was lost (Poling 2011,
/// abstract): on such an evening nobody may be told that a cover makes a light frost safe.
#[test]
fn after_a_dull_cold_day_a_light_frost_is_not_safe_under_cloth() {
    let dull = CoverConditions { left_by_the_day: CoverConditions::left_by(Some(1.0), Some(Celsius(10.0))), ..STILL };
    // Strawberry blossom is first harmed at about -0.6 C; screen near -1 C, leaf a little below.
    let blossom = DamageCurve::new(Celsius(-0.6), Celsius(-2.2)).expect("a curve");
    for kind in [CoverKind::LightRowCover, CoverKind::MediumRowCover] {
        let gain = Cover::one(kind).gain(dull);
        let under = Estimate { mean: Celsius(-1.2), spread: Kelvins(0.5) }.moved(gain.mean, gain.spread);
        assert!(blossom.expected(under.mean, under.spread).0 >= 0.15, "{kind:?}");
    }
}

/// Wells 1814: cloth held off grass kept it 3 to 4 F warmer than in contact.
#[test]
fn touching_leaves_lose_a_little_and_not_more_than_wells_saw() {
    for kind in CoverKind::ALL {
        let cover = |rests_on_plants| Cover { rests_on_plants, ..Cover::one(*kind) };
        let loss = cover(false).low_typical_high().1 - cover(true).low_typical_high().1;
        assert!(loss > 0.0 && loss <= 4.0 / 1.8);
        assert!(expected(cover(true)) <= expected(cover(false)));
    }
}

#[test]
fn a_second_layer_adds_less_than_the_first_and_never_beats_cloth_with_polyethylene() {
    for kind in CoverKind::ALL {
        let (one, two) = (Cover::one(*kind), Cover { layers: Layers::Two, ..Cover::one(*kind) });
        let (first, both) = (one.low_typical_high(), two.low_typical_high());
        if !kind.can_be_doubled() {
            assert_eq!(first, both);
            continue;
        }
        assert!(both.1 > first.1 && both.1 - first.1 < 0.5 * first.1, "{kind:?}");
        assert!(both.1 <= CoverKind::LowTunnel.low_typical_high().1 && both.0 == first.0);
        assert!(expected(two) > expected(one) && expected(two) <= expected(Cover::one(CoverKind::LowTunnel)));
    }
}

#[test]
fn damage_under_a_cover_is_that_of_its_lopsided_gain() {
    let deviates: Vec<f64> = (-200..200).map(|step| (f64::from(step) + 0.5) * 0.02).collect();
    let density = |z: f64| (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt() * 0.02;
    let curve = DamageCurve::new(Celsius(-2.0), Celsius(-4.0)).expect("a curve");
    for cover in every_cover().into_iter().filter(|cover| !cover.rests_on_plants) {
        let (low, typical, high) = cover.low_typical_high();
        let gain = cover.gain(STILL);
        for spread in [0.8, 1.2, 2.0, 3.0] {
            for tenths in (-160..60).step_by(4) {
                let open = Estimate { mean: Celsius(f64::from(tenths) / 10.0), spread: Kelvins(spread) };
                let lopsided: f64 = deviates
                    .iter()
                    .map(|z| {
                        let side = if *z < 0.0 { typical - low } else { high - typical };
                        let under = open.mean + Kelvins(typical + z * side / Z_90);
                        density(*z) * curve.expected(under, open.spread).0
                    })
                    .sum();
                let mean = open.mean + gain.mean;
                let ours = gain.average(|gained| curve.expected(mean + gained, open.spread).0);
                let allowed = if cover.kind.can_be_doubled() && cover.layers == Layers::One { 0.002 } else { 0.007 };
                assert!((ours - lopsided).abs() < allowed, "{cover:?} {tenths} {spread}: {ours}, truly {lopsided}");
            }
        }
    }
}

#[test]
fn the_points_have_the_moments_of_a_half_normal_distribution() {
    let root = (2.0 / std::f64::consts::PI).sqrt();
    for (power, moment) in [(0, 1.0), (1, root), (2, 1.0), (3, 2.0 * root), (4, 3.0), (5, 8.0 * root)] {
        let ours: f64 = HALF_NORMAL.iter().map(|(z, weight)| weight * z.powi(power)).sum();
        assert!((ours - moment).abs() < 1e-5, "{power}: {ours}");
    }
    let gain = Cover::one(CoverKind::MediumRowCover).gain(STILL);
    assert!(gain.average(|gained| gained.0).abs() < 1e-6);
    assert!((gain.average(|gained| gained.0 * gained.0).sqrt() - gain.spread.0).abs() < 1e-5);
}

#[test]
fn the_duller_and_colder_the_day_the_less_is_left_of_it() {
    let left = |cloud: f64, warmest: f64| CoverConditions::left_by(Some(cloud), Some(Celsius(warmest)));
    assert_eq!((left(1.0, 10.0), left(0.2, 2.0), left(1.0, 18.0)), (0.5, 1.0, 1.0));
    let by_cloud = [0.0, 0.6, 0.7, 0.8, 0.9, 1.0].map(|cloud| left(cloud, 11.0));
    assert!(by_cloud.is_sorted_by(|less, more| less >= more) && by_cloud[2] > by_cloud[4], "{by_cloud:?}");
    let by_warmth = [4.0, 10.0, 12.0, 14.0, 16.0].map(|warmest| left(0.95, warmest));
    assert!(by_warmth.is_sorted() && by_warmth[1] < by_warmth[3], "{by_warmth:?}");
    // A day that nobody knows is neither the best nor the worst.
    let unknown = CoverConditions::left_by(None, None);
    assert!(unknown < 1.0 && unknown > CoverConditions::LEAST_LEFT);
}
