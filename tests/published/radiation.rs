//! The sky at night.

use super::check;
use counterpane::units::{Celsius, Pascals};
use counterpane::weather::radiation::*;

/// Air °C, vapour pressure Pa (FAO-56), emissivity. Computed apart from this project's code from Campbell and Norman 1998,
/// eq. 10.10.
#[test]
fn the_clear_sky_is_as_black_as_the_worked_cases() {
    for (t, e, emissivity) in [(2.0, 489.63, 0.6962), (0.0, 421.18, 0.6821), (5.0, 610.80, 0.7174)] {
        check(&format!("{t} C"), clear_sky_emissivity(Celsius(t), Pascals(e)), emissivity, 0.000_05);
    }
}

/// Air and dew point °C, cloud, W/m². From eq. 10.12, with a radiation constant of 5.67e-8 and FAO-56 saturation; both
/// differ from ours, together by under 0.1 W/m².
#[test]
fn the_sky_radiates_as_much_as_in_the_worked_cases() {
    for (t, dew_point, cloud_cover, expected) in [
        (2.0, -3.0, 0.0, 226.24),
        (2.0, -3.0, 0.25, 246.98),
        (2.0, -3.0, 0.5, 267.71),
        (2.0, -3.0, 0.75, 288.45),
        (2.0, -3.0, 1.0, 309.18),
        (0.0, -5.0, 0.0, 215.28),
        (5.0, 0.0, 0.0, 243.48),
    ] {
        let found = sky_longwave(Celsius(t), Celsius(dew_point), cloud_cover).0;
        check(&format!("{t} C, cloud {cloud_cover}"), found, expected, 0.1);
    }
    check("black, 2 C", black_body(Celsius(2.0)).0, 324.98, 0.03);
}

/// Brutsaert 1975 at 2 °C and a dew point of -3 °C: 0.6974.
#[test]
fn the_clear_sky_agrees_with_brutsaert() {
    check("2 C", clear_sky_emissivity(Celsius(2.0), Pascals(489.63)), 0.6974, 0.002);
}
