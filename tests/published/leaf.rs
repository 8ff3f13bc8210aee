//! The energy balance of a leaf.

use super::check;
use counterpane::night::leaf::{DIMENSION_PER_WIDTH, LeafBalance, LeafSurroundings};
use counterpane::units::{Celsius, MetresPerSecond, Pascals};

/// Case; air °C, dew point °C, wind at the leaf m/s, dimension m, cloud 0-1, ground °C, pressure kPa; dew and frost in
/// the balance; leaf °C. Computed apart from this project's code from Campbell and Norman (1998, ch. 7, 10 and 14), with
/// saturation over water by FAO-56 and over ice by WMO-No. 8.
const CASES: &[(&str, [f64; 7], bool, f64)] = &[
    ("wind 0.1", [2.0, -3.0, 0.1, 0.05, 0.0, 2.0, 101.3], true, -1.8877),
    ("wind 0.2", [2.0, -3.0, 0.2, 0.05, 0.0, 2.0, 101.3], true, -1.0734),
    ("wind 0.5", [2.0, -3.0, 0.5, 0.05, 0.0, 2.0, 101.3], true, -0.1728),
    ("wind 1", [2.0, -3.0, 1.0, 0.05, 0.0, 2.0, 101.3], true, 0.366),
    ("wind 2", [2.0, -3.0, 2.0, 0.05, 0.0, 2.0, 101.3], true, 0.7899),
    ("wind 4", [2.0, -3.0, 4.0, 0.05, 0.0, 2.0, 101.3], true, 1.1147),
    ("small leaf", [2.0, -3.0, 0.5, 0.02, 0.0, 2.0, 101.3], true, 0.5143),
    ("large leaf", [2.0, -3.0, 0.5, 0.1, 0.0, 2.0, 101.3], true, -0.8345),
    ("half cloud", [2.0, -3.0, 0.5, 0.05, 0.5, 2.0, 101.3], true, 0.7411),
    ("overcast", [2.0, -3.0, 0.5, 0.05, 1.0, 2.0, 101.3], true, 1.6531),
    ("dew, latent off", [2.0, 1.0, 0.5, 0.05, 0.0, 2.0, 101.3], false, 0.0409),
    ("dew, latent on", [2.0, 1.0, 0.5, 0.05, 0.0, 2.0, 101.3], true, 0.4046),
    ("frost deposit, latent off", [2.0, 1.0, 0.1, 0.05, 0.0, 2.0, 101.3], false, -1.5035),
    ("frost deposit, latent on", [2.0, 1.0, 0.1, 0.05, 0.0, 2.0, 101.3], true, -0.6043),
    ("dry air at zero", [0.0, -8.0, 0.5, 0.05, 0.0, 0.0, 101.3], true, -2.3731),
    ("subzero, quarter cloud", [-3.0, -8.0, 0.3, 0.05, 0.25, -3.0, 101.3], true, -5.1977),
    ("small leaf, calm, frost point at zero", [5.0, 0.0, 0.1, 0.03, 0.0, 5.0, 101.3], true, 1.8494),
    ("near saturation below zero", [-2.0, -2.5, 0.2, 0.05, 0.0, -2.0, 101.3], true, -3.9526),
];

/// The table is exact to 0.001 °C; its mixed saturation formulas move a leaf by up to 0.008 °C.
const TOLERANCE_C: f64 = 0.01;

#[test]
fn leaves_are_as_cold_as_the_worked_cases() {
    for (case, [air, dew_point, wind, dimension, cloud_cover, ground, kilopascals], deposits, expected) in CASES {
        let balance = LeafSurroundings {
            air: Celsius(*air),
            dew_point: Celsius(*dew_point),
            wind_at_leaf: MetresPerSecond(*wind),
            leaf_width: dimension / DIMENSION_PER_WIDTH,
            cloud_cover: *cloud_cover,
            sky_view: 1.0,
            ground: Celsius(*ground),
            pressure: Pascals(kilopascals * 1000.0),
        }
        .balance();
        let balance = if *deposits { balance } else { LeafBalance { vapour_pressure: Pascals(0.0), ..balance } };
        check(case, balance.leaf_temperature().0, *expected, TOLERANCE_C);
    }
}
