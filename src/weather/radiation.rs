//! Heat radiated by surfaces, and what a night sky radiates back. The difference is what frost is made of.

use super::humidity::saturation_over_water;
use crate::units::{Celsius, Pascals, WattsPerSquareMetre};

/// Radiation constant of Stefan and Boltzmann, W/m²/K⁴ (CODATA 2018, exact since the SI of 2019).
pub const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;

/// What a black surface radiates: air, ground and walls at night are nearly black.
///
/// ```text
/// B = sigma T^4                                              B in W/m², T in K
/// ```
///
/// | symbol | meaning     | unit | accepted range |
/// |--------|-------------|------|----------------|
/// | `T`    | temperature | °C   | -60 to 60      |
///
/// **Method error.** None known.
/// **Refuses.** Nothing.
/// **Source.** Law of Stefan and Boltzmann.
/// **Check.** A radiation constant rounded to 5.67e-8 gives 315.6 W/m² at 0 °C:
///
/// ```
/// # use counterpane::{units::{Celsius, WattsPerSquareMetre}, weather::radiation::black_body};
/// let WattsPerSquareMetre(b) = black_body(Celsius(0.0));
/// assert!((b - 315.6).abs() < 0.1);
/// ```
pub fn black_body(temperature: Celsius) -> WattsPerSquareMetre {
    WattsPerSquareMetre(STEFAN_BOLTZMANN * temperature.kelvin().powi(4))
}

/// Emissivity of a cloudless sky: how much of a black sky's radiation moist air sends down.
///
/// ```text
/// eps = 1.72 (e / T)^(1/7)                                   e in kPa, T in K
/// ```
///
/// | symbol | meaning                             | unit | accepted range     |
/// |--------|-------------------------------------|------|--------------------|
/// | `T`    | air temperature at shelter height   | °C   | -45 to 40          |
/// | `e`    | vapour pressure at shelter height   | Pa   | 11 to 7400         |
/// | result | emissivity                          | -    | about 0.45 to 0.99 |
///
/// **Method error.** Models of this kind disagree more than the weather: from -10 to 15 °C and down to 40 % humidity,
/// Brunt (1932) is lower by up to 0.05 (in dry frost higher by 0.03), Idso (1981) higher by up to 0.16 and Prata (1996) by up to 0.12 (swept by
/// `other_skies_are_seldom_colder`): 0.03 is 10 W/m², worth 0.2 to 0.4 °C of leaf. This one is on the cold side.
/// **Refuses.** Nothing.
/// **Source.** G. S. Campbell and J. M. Norman, 1998, An Introduction to Environmental Biophysics, 2nd ed., eq. 10.10,
/// after Brutsaert 1975; from memory.
/// **Check.** Brutsaert (1975, Water Resour. Res. 11, 742) has 1.24 (e/T)^(1/7) with e in hPa, for 489.6 Pa at 2 °C:
///
/// ```
/// # use counterpane::{units::{Celsius, Pascals}, weather::radiation::clear_sky_emissivity};
/// let brutsaert = 1.24 * (4.896_f64 / 275.15).powf(1.0 / 7.0);
/// assert!((clear_sky_emissivity(Celsius(2.0), Pascals(489.6)) - brutsaert).abs() < 0.003);
/// ```
pub fn clear_sky_emissivity(air: Celsius, vapour_pressure: Pascals) -> f64 {
    let kilopascals = vapour_pressure.0 / 1000.0;
    1.72 * (kilopascals / air.kelvin()).powf(1.0 / 7.0)
}

/// Long-wave radiation of the sky onto level ground: clear sky, with clouds that are warmer than it.
///
/// ```text
/// L = [(1 - 0.84 n) eps + 0.84 n] sigma T^4                  L in W/m², T in K
/// ```
///
/// | symbol | meaning                                        | unit | accepted range |
/// |--------|------------------------------------------------|------|----------------|
/// | `T`    | air temperature at shelter height              | °C   | -45 to 40      |
/// | `eps`  | [`clear_sky_emissivity`] at the dew point      | -    |                |
/// | `n`    | cloud cover, low and middle clouds, a fraction | -    | 0 to 1         |
///
/// **Method error.** That of the clear sky, and the cloud's height: high thin cloud counts about half (from memory).
/// **Refuses.** Nothing.
/// **Source.** Campbell and Norman 1998, eq. 10.12, after M. H. Unsworth and J. L. Monteith, 1975, Q. J. R. Meteorol.
/// Soc. 101, 13; from memory.
/// **Check.** EN ISO 52016-1 takes the average sky as 11 K colder than the air: between the clear and the overcast one.
///
/// ```
/// # use counterpane::{units::Celsius, weather::radiation::{black_body, sky_longwave}};
/// let (air, dew_point) = (Celsius(2.0), Celsius(-3.0));
/// let average = black_body(Celsius(2.0 - 11.0));
/// assert!(sky_longwave(air, dew_point, 0.0) < average && average < sky_longwave(air, dew_point, 1.0));
/// ```
pub fn sky_longwave(air: Celsius, dew_point: Celsius, cloud_cover: f64) -> WattsPerSquareMetre {
    let clear = clear_sky_emissivity(air, saturation_over_water(dew_point));
    let cloud = 0.84 * cloud_cover;
    WattsPerSquareMetre(((1.0 - cloud) * clear + cloud) * black_body(air).0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::humidity::dew_point_from_relative_humidity;
    use proptest::prelude::*;

    /// Brunt 1932 (0.52, 0.065), Idso 1981, Prata 1996; e in hPa, T in K.
    fn others(e: f64, t: f64) -> [f64; 3] {
        let w = 46.5 * e / t;
        [
            0.52 + 0.065 * e.sqrt(),
            0.70 + 5.95e-5 * e * (1500.0 / t).exp(),
            1.0 - (1.0 + w) * (-(1.2 + 3.0 * w).sqrt()).exp(),
        ]
    }

    #[test]
    fn other_skies_are_seldom_colder() {
        for t in -10..=15 {
            for percent in (40..=100).step_by(5) {
                let air = Celsius(f64::from(t));
                let e = saturation_over_water(air).0 * f64::from(percent) / 100.0;
                let ours = clear_sky_emissivity(air, Pascals(e));
                let [brunt, idso, prata] = others(e / 100.0, air.kelvin()).map(|other| other - ours);
                assert!((-0.05..0.03).contains(&brunt), "{t} C {percent} %: Brunt {brunt}");
                assert!((0.0..0.16).contains(&idso), "{t} C {percent} %: Idso {idso}");
                assert!((-0.005..0.12).contains(&prata), "{t} C {percent} %: Prata {prata}");
            }
        }
    }

    proptest! {
        #[test]
        fn cloud_warms_the_sky_and_no_sky_is_warmer_than_black(t in -30.0f64..30.0, humidity in 0.2f64..1.0, n in 0.0f64..0.99) {
            let air = Celsius(t);
            let Ok(dew_point) = dew_point_from_relative_humidity(air, humidity) else { return Ok(()) };
            let (less, more) = (sky_longwave(air, dew_point, n), sky_longwave(air, dew_point, n + 0.01));
            prop_assert!(less < more && more < black_body(air));
        }
    }
}
