//! Saturation, dew point, frost point, wet bulb, pressure.

use super::check;
use super::psychrometer::{Bulb, ICE_BULB, is_wet_bulb_above, wet_bulb};
use counterpane::units::{Celsius, Pascals};
use counterpane::weather::humidity::*;
use proptest::prelude::*;

type Saturation = (f64, f64, Option<f64>, f64, Option<f64>);

/// °C; kPa: WMO-No. 8 over water and over ice, computed apart from this project's code; MetPy 1.7.1 over water and ice.
const SATURATION: &[Saturation] = &[
    (-30.0, 0.051169, Some(0.038025), 0.050963, Some(0.037974)),
    (-20.0, 0.125965, Some(0.103261), 0.125494, Some(0.103206)),
    (-15.0, 0.191871, Some(0.165287), 0.191271, Some(0.165223)),
    (-10.0, 0.287031, Some(0.259874), 0.286356, Some(0.259772)),
    (-5.0, 0.422185, Some(0.401738), 0.421541, Some(0.401520)),
    (-4.0, 0.455173, Some(0.437455), 0.454554, Some(0.437198)),
    (-3.0, 0.490431, Some(0.476047), 0.489844, Some(0.475743)),
    (-2.0, 0.528093, Some(0.517720), 0.527546, Some(0.517361)),
    (-1.0, 0.568301, Some(0.562694), 0.567801, Some(0.562268)),
    (0.0, 0.6112, Some(0.611200), 0.610756, Some(0.610697)),
    (1.0, 0.656946, None, 0.656567, None),
    (2.0, 0.7057, None, 0.705396, None),
    (5.0, 0.871743, None, 0.871718, None),
    (10.0, 1.22603, None, 1.226656, None),
    (15.0, 1.701672, None, 1.703102, None),
    (20.0, 2.332596, None, 2.334748, None),
    (30.0, 4.233724, None, 4.234653, None),
];

#[test]
fn saturation_agrees_with_wmo_8_as_computed_elsewhere() {
    for (t, water, ice, _, _) in SATURATION {
        check(&format!("water, {t} C"), saturation_over_water(Celsius(*t)).0 / 1000.0, *water, 1e-6);
        if let Some(ice) = ice {
            check(&format!("ice, {t} C"), saturation_over_ice(Celsius(*t)).0 / 1000.0, *ice, 1e-6);
        }
    }
}

/// Two formulas: 0.5 % down to -10 °C, 1.1 % at -20 °C.
#[test]
fn saturation_agrees_with_metpy() {
    for (t, _, _, water, ice) in SATURATION {
        let allowed = if *t < -10.0 { 0.011 } else { 0.005 };
        check(&format!("water, {t} C"), saturation_over_water(Celsius(*t)).0 / 1000.0 / water, 1.0, allowed);
        if let Some(ice) = ice {
            check(&format!("ice, {t} C"), saturation_over_ice(Celsius(*t)).0 / 1000.0 / ice, 1.0, 0.002);
        }
    }
}

/// FAO Irrigation and Drainage Paper 56 (Allen et al. 1998), example 3: 24.5 °C 3.075 kPa, 15 °C 1.705 kPa. Its formula
/// is another one, so the tolerance is 0.5 %, not the printed digit.
#[test]
fn saturation_agrees_with_fao_56_example_3() {
    for (t, e) in [(24.5, 3.075), (15.0, 1.705)] {
        check(&format!("{t} C"), saturation_over_water(Celsius(t)).0 / 1000.0 / e, 1.0, 0.005);
    }
}

/// The same, example 2: 81.8 kPa at 1800 m, to half the last digit.
#[test]
fn pressure_agrees_with_fao_56_example_2() {
    check("1800 m", air_pressure(1800.0).0 / 1000.0, 81.8, 0.05);
}

type Point = (f64, f64, f64, f64, f64, Option<f64>);

/// MetPy 1.7.1: °C, %, hPa; dew point over water, wet bulb (pseudo-adiabatic, over water), frost point, °C.
const METPY: &[Point] = &[
    (-20.0, 30.0, 1013.25, -33.1752, -21.1557, Some(-30.0828)),
    (-20.0, 70.0, 1013.25, -24.0875, -20.4901, Some(-21.6676)),
    (-20.0, 95.0, 950.0, -20.6166, -20.0885, Some(-18.4884)),
    (-20.0, 100.0, 850.0, -20.0228, -20.0037, Some(-17.9464)),
    (-10.0, 30.0, 1013.25, -24.3369, -12.3394, Some(-21.8968)),
    (-10.0, 70.0, 1013.25, -14.4515, -10.9845, Some(-12.8882)),
    (-10.0, 95.0, 950.0, -10.6664, -10.1743, Some(-9.4792)),
    (-10.0, 100.0, 850.0, -10.0183, -10.0053, Some(-8.8977)),
    (-5.0, 30.0, 1013.25, -19.9335, -8.168, Some(-17.8649)),
    (-5.0, 70.0, 1013.25, -9.6375, -6.3234, Some(-8.5563)),
    (-5.0, 95.0, 950.0, -5.6902, -5.2309, Some(-5.0308)),
    (-5.0, 100.0, 850.0, -5.0141, -5.0052, Some(-4.4293)),
    (-2.0, 30.0, 1013.25, -17.2969, -5.7422, Some(-15.4655)),
    (-2.0, 70.0, 1013.25, -6.7509, -3.5543, Some(-5.9759)),
    (-2.0, 95.0, 950.0, -2.7048, -2.2685, Some(-2.3801)),
    (-2.0, 100.0, 850.0, -2.0116, -2.0048, Some(-1.7665)),
    (0.0, 30.0, 1013.25, -15.5417, -4.1561, Some(-13.8742)),
    (0.0, 70.0, 1013.25, -4.8275, -1.7186, Some(-4.2634)),
    (0.0, 95.0, 950.0, -0.7147, -0.295, Some(-0.6205)),
    (0.0, 100.0, 850.0, -0.01, -0.0045, None),
    (2.0, 30.0, 1013.25, -13.7884, -2.5936, Some(-12.2894)),
    (2.0, 70.0, 1013.25, -2.9048, 0.1096, Some(-2.5573)),
    (2.0, 95.0, 950.0, 1.275, 1.6777, None),
    (2.0, 100.0, 850.0, 1.9914, 1.9959, None),
    (5.0, 30.0, 1013.25, -11.1623, -0.2916, Some(-9.9246)),
    (5.0, 70.0, 1013.25, -0.0225, 2.8399, Some(-0.0098)),
    (5.0, 95.0, 950.0, 4.259, 4.6352, None),
    (5.0, 100.0, 850.0, 4.9929, 4.9963, None),
    (10.0, 30.0, 1013.25, -6.7964, 3.4465, Some(-6.0164)),
    (10.0, 70.0, 1013.25, 4.7765, 7.3656, None),
    (10.0, 95.0, 950.0, 9.23, 9.5616, None),
    (10.0, 100.0, 850.0, 9.9937, 9.9962, None),
    (20.0, 30.0, 1013.25, 1.8923, 10.652, None),
    (20.0, 70.0, 1013.25, 14.3528, 16.3747, None),
    (20.0, 95.0, 950.0, 19.1598, 19.408, None),
    (20.0, 100.0, 850.0, 19.9848, 19.9888, None),
    (30.0, 30.0, 1013.25, 10.5181, 17.6837, None),
    (30.0, 70.0, 1013.25, 23.8938, 25.3965, None),
    (30.0, 95.0, 950.0, 29.0667, 29.2467, None),
    (30.0, 100.0, 850.0, 29.9552, 29.9628, None),
];

#[test]
fn dew_and_frost_points_agree_with_metpy() {
    for (t, percent, _, dew_point, _, frost_point) in METPY {
        let row = format!("{t} C, {percent} %");
        let Ok(found) = dew_point_from_relative_humidity(Celsius(*t), percent / 100.0) else { panic!("{row} refused") };
        check(&row, found.0, *dew_point, 0.05);
        let back = saturation_over_water(Celsius(*dew_point)).0 / saturation_over_water(Celsius(*t)).0;
        check(&row, back, percent / 100.0, 0.005);
        if let Some(frost_point) = frost_point {
            let found = frost_point_from_vapour_pressure(saturation_over_water(found));
            check(&row, found.map_or(f64::NAN, |found| found.0), *frost_point, 0.05);
        }
    }
}

/// The psychrometric wet bulb is a little warmer than MetPy's pseudo-adiabatic one, most in dry and warm air.
#[test]
fn the_wet_bulb_stays_within_the_known_difference_from_metpy() {
    for (t, percent, hectopascals, dew_point, wet, _) in METPY {
        let pressure = Pascals(hectopascals * 100.0);
        let found = wet_bulb(Celsius(*t), Celsius(*dew_point), pressure, Bulb::Water).0;
        let allowed = match (*percent >= 70.0, *t <= 10.0) {
            (true, true) => 0.07,
            (false, true) => 0.25,
            (_, false) => 0.45,
        };
        check(&format!("{t} C, {percent} %"), found, *wet, allowed);
        assert!(found > wet - 0.02, "{t} C, {percent} %: colder than MetPy");
    }
}

/// Psychrometric equation at 101.325 kPa with A = 0.000662 and the WMO-No. 8 pair, solved by bisection apart from this
/// project's code: air, dew point, water bulb, ice bulb, °C.
#[test]
fn the_wet_bulb_agrees_with_bisection() {
    for (t, dew_point, water, ice) in [
        (10.0, 0.0, 5.581, 5.581),
        (5.0, -5.0, 1.292, 1.292),
        (3.0, 0.0, 1.766, 1.766),
        (2.0, -4.0, -0.197, -0.346),
        (0.0, -6.0, -2.025, -2.079),
        (0.0, -10.0, -3.021, -3.116),
    ] {
        for (bulb, expected) in [(Bulb::Water, water), (Bulb::Ice, ice)] {
            let found = wet_bulb(Celsius(t), Celsius(dew_point), Pascals(101_325.0), bulb);
            check(&format!("{t} C, {bulb:?}"), found.0, expected, 0.001);
        }
    }
}

/// FAO-56 (Allen et al. 1998), example 4: 25.6 °C dry, 19.5 °C wet at 87.9 kPa is a vapour pressure of 1.91 kPa.
#[test]
fn the_wet_bulb_agrees_with_an_example_of_fao() {
    let dew_point = dew_point_from_vapour_pressure(Pascals(1910.0)).unwrap_or(Celsius(f64::NAN));
    check("example 4", wet_bulb(Celsius(25.6), dew_point, Pascals(87_900.0), Bulb::Water).0, 19.5, 0.05);
}

/// Bisection of the balance between far outside on either side, from the driest air of a feed to saturated air.
#[test]
fn the_wet_bulb_is_the_root() {
    let bisected = |air: f64, dew_point: f64, a_p: f64, curve: Curve, mut high: f64| {
        let mut low = dew_point - 5.0;
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            let left = curve.at(middle).0 - a_p * (air - middle);
            if left < OVER_WATER.at(dew_point).0 { low = middle } else { high = middle }
        }
        0.5 * (low + high)
    };
    for (air, depth, pressure) in (-60..=60)
        .flat_map(|air| (0..=60).map(move |depth| (f64::from(air), f64::from(depth))))
        .flat_map(|(air, depth)| [45_000.0, 101_325.0].map(|pressure| (air, depth, pressure)))
    {
        let dew_point = air - depth;
        let solved = |bulb| wet_bulb(Celsius(air), Celsius(dew_point), Pascals(pressure), bulb).0;
        let (water, ice) = (solved(Bulb::Water), solved(Bulb::Ice));
        let a_p = 0.000662 * pressure;
        let expected = bisected(air, dew_point, a_p, OVER_WATER, air);
        assert!((water - expected).abs() < 1e-9, "{air} {dew_point}: water {water}, bisected {expected}");
        let icy = bisected(air, dew_point, ICE_BULB * a_p, OVER_ICE, 1.0);
        let expected = if icy <= 0.0 { icy } else { expected };
        assert!((ice - expected).abs() < 1e-9, "{air} {dew_point}: ice {ice}, bisected {expected}");
        for (bulb, root) in [(Bulb::Water, water), (Bulb::Ice, ice)] {
            for away in [-5.0, -1e-6, 1e-6, 5.0] {
                let limit = Celsius(root + away);
                let above = is_wet_bulb_above(limit, Celsius(air), Celsius(dew_point), Pascals(pressure), bulb);
                assert_eq!(above, away < 0.0, "{bulb:?} {air} {dew_point} against {limit:?}");
            }
        }
    }
}

proptest! {
    #[test]
    fn the_wet_bulb_lies_between_dew_point_and_air(t in -40.0f64..50.0, spread in 0.0f64..30.0, z in -400.0f64..5000.0) {
        let (air, dew_point, pressure) = (Celsius(t), Celsius(t - spread), air_pressure(z));
        let water = wet_bulb(air, dew_point, pressure, Bulb::Water);
        prop_assert!(dew_point.0 - 1e-6 <= water.0 && water.0 <= t + 1e-6, "{water:?}");
        let left = saturation_over_water(water).0 - 0.000662 * pressure.0 * (t - water.0);
        prop_assert!((left - saturation_over_water(dew_point).0).abs() < 1e-4);
        let ice = wet_bulb(air, dew_point, pressure, Bulb::Ice);
        prop_assert!(ice.0 <= 0.0 || ice == water, "an ice bulb at {ice:?}");
    }
}
