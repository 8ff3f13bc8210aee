//! Water vapour in air: what it weighs on the air, and the temperatures at which it begins to settle on a plant.
//!
//! Weather services state dew point and relative humidity over liquid water at every temperature, and so does
//! everything here that does not say ice. Water and ice are one family of formulas, so the two meet at 0 °C.

use crate::units::{AIR_TEMPERATURE, Celsius, Limits, OutOfRange, Pascals};

/// Vapour pressure for which there is a dew point: saturation over water at -45 and at 60 °C.
pub const VAPOUR_PRESSURE: Limits = Limits {
    what: "vapour pressure",
    low: 11.17,
    high: 19_994.0,
    unit: "Pa",
    why: "no air of a garden is that dry or moist",
};
/// Vapour pressure for which there is a frost point: saturation over ice at -65 and at 0 °C.
pub const VAPOUR_PRESSURE_OVER_ICE: Limits = Limits {
    what: "vapour pressure over ice",
    low: 0.54,
    high: E_ZERO,
    unit: "Pa",
    why: "moister air has no frost point: ask for its dew point",
};
/// Relative humidity, as a fraction.
pub const RELATIVE_HUMIDITY: Limits =
    Limits { what: "relative humidity", low: 0.01, high: 1.0, unit: "of 1", why: "a feed that says less is broken" };

/// Saturation at 0 °C, Pa, over water and over ice alike.
const E_ZERO: f64 = 611.2;

/// One of the two saturation curves, `E_ZERO exp(a t / (b + t))`, with its inverse and its slope.
#[derive(Clone, Copy)]
pub struct Curve {
    pub a: f64,
    /// °C
    pub b: f64,
}

/// As [`saturation_over_water`].
pub const OVER_WATER: Curve = Curve { a: 17.62, b: 243.12 };
/// As [`saturation_over_ice`].
pub const OVER_ICE: Curve = Curve { a: 22.46, b: 272.62 };

impl Curve {
    /// Saturation, Pa, and its slope, Pa/°C, at a temperature in °C.
    pub fn at(self, t: f64) -> (f64, f64) {
        let e = E_ZERO * (self.a * t / (self.b + t)).exp();
        (e, e * self.a * self.b / (self.b + t).powi(2))
    }

    /// The temperature, °C, saturated at a vapour pressure, Pa.
    fn inverse(self, e: f64) -> f64 {
        let x = (e / E_ZERO).ln();
        self.b * x / (self.a - x)
    }
}

/// Vapour pressure of air saturated over water, supercooled water below 0 °C included.
///
/// ```text
/// e_s = 611.2 exp(17.62 t / (243.12 + t))                    e_s in Pa, t in °C
/// ```
///
/// | symbol | meaning             | unit | accepted range |
/// |--------|---------------------|------|----------------|
/// | `t`    | temperature         | °C   | -45 to 60      |
/// | result | vapour pressure     | Pa   | 11 to 19993    |
///
/// **Method error.** Against Murphy and Koop (2005, eq. 10): under 0.3 % from -10 to 20 °C, under 0.8 % over the whole
/// range, swept by `saturation_stays_near_murphy_and_koop`. The enhancement of moist air (0.5 %) is left out.
/// **Refuses.** Nothing: the formula stays finite from -200 °C up. Outside the range it has no warrant.
/// **Source.** WMO-No. 8, Guide to Instruments and Methods of Observation, annex 4.B. The annex was not opened; the
/// coefficients stand so in public code and in Westermann et al. 2016, Geosci. Model Dev. 9, 523, appendix B.
/// **Check.** MetPy 1.7.1 (Ambaum 2020, another formula) gives 286.356 Pa at -10 °C and 2334.748 Pa at 20 °C:
///
/// ```
/// # use counterpane::{units::{Celsius, Pascals}, weather::humidity::saturation_over_water};
/// let Pascals(cold) = saturation_over_water(Celsius(-10.0));
/// let Pascals(warm) = saturation_over_water(Celsius(20.0));
/// assert!((cold / 286.356 - 1.0).abs() < 0.005 && (warm / 2334.748 - 1.0).abs() < 0.005);
/// ```
pub fn saturation_over_water(temperature: Celsius) -> Pascals {
    Pascals(OVER_WATER.at(temperature.0).0)
}

/// Vapour pressure of air saturated over ice: lower than over water, so frost settles before dew would.
///
/// ```text
/// e_i = 611.2 exp(22.46 t / (272.62 + t))                    e_i in Pa, t in °C
/// ```
///
/// | symbol | meaning             | unit | accepted range |
/// |--------|---------------------|------|----------------|
/// | `t`    | temperature         | °C   | -65 to 0       |
/// | result | vapour pressure     | Pa   | 0.54 to 611.2  |
///
/// **Method error.** Against Murphy and Koop (2005, eq. 7): under 0.05 % above -40 °C and under 0.25 % below, swept by
/// `saturation_stays_near_murphy_and_koop`.
/// **Refuses.** Nothing; above 0 °C there is no ice and the result means nothing.
/// **Source.** As [`saturation_over_water`].
/// **Check.** MetPy 1.7.1 (Ambaum 2020) gives 259.772 Pa at -10 °C:
///
/// ```
/// # use counterpane::{units::{Celsius, Pascals}, weather::humidity::saturation_over_ice};
/// let Pascals(e) = saturation_over_ice(Celsius(-10.0));
/// assert!((e / 259.772 - 1.0).abs() < 0.001);
/// ```
pub fn saturation_over_ice(temperature: Celsius) -> Pascals {
    Pascals(OVER_ICE.at(temperature.0).0)
}

/// Dew point: the temperature at which air of this vapour pressure is saturated over water, so where dew begins.
///
/// ```text
/// t_d = 243.12 x / (17.62 - x),   x = ln(e / 611.2)          t_d in °C, e in Pa
/// ```
///
/// | symbol | meaning                    | unit | accepted range |
/// |--------|----------------------------|------|----------------|
/// | `e`    | vapour pressure of the air | Pa   | 11.17 to 19994 |
/// | result | dew point, over water      | °C   | -45 to 60      |
///
/// **Method error.** The exact inverse of [`saturation_over_water`]; against Murphy and Koop under 0.06 °C above
/// -30 °C and under 0.07 °C below, swept by `dew_and_frost_points_stay_near_murphy_and_koop`.
/// **Refuses.** [`OutOfRange`] outside [`VAPOUR_PRESSURE`], and for NaN.
/// **Source.** As [`saturation_over_water`].
/// **Check.** FAO-56 (Allen et al. 1998, example 3) prints 1.705 kPa for air saturated at 15 °C, by another formula:
///
/// ```
/// # use counterpane::{units::{Celsius, OutOfRange, Pascals}, weather::humidity::dew_point_from_vapour_pressure};
/// let Celsius(dew_point) = dew_point_from_vapour_pressure(Pascals(1705.0))?;
/// assert!((dew_point - 15.0).abs() < 0.05);
/// # Ok::<(), OutOfRange>(())
/// ```
pub fn dew_point_from_vapour_pressure(vapour_pressure: Pascals) -> Result<Celsius, OutOfRange> {
    VAPOUR_PRESSURE.check(vapour_pressure.0).map(|e| Celsius(OVER_WATER.inverse(e)))
}

/// Frost point: the temperature at which air of this vapour pressure is saturated over ice, so where white frost
/// begins. Below freezing it lies above the dew point, by about a tenth of a degree per degree of frost.
///
/// ```text
/// t_f = 272.62 x / (22.46 - x),   x = ln(e / 611.2)          t_f in °C, e in Pa
/// ```
///
/// | symbol | meaning                    | unit | accepted range |
/// |--------|----------------------------|------|----------------|
/// | `e`    | vapour pressure of the air | Pa   | 0.54 to 611.2  |
/// | result | frost point, over ice      | °C   | -65 to 0       |
///
/// **Method error.** The exact inverse of [`saturation_over_ice`]; against Murphy and Koop under 0.02 °C, swept by
/// `dew_and_frost_points_stay_near_murphy_and_koop`.
/// **Refuses.** [`OutOfRange`] above 611.2 Pa, where frost gives way to dew: ask for the dew point. Also below
/// 0.54 Pa, and for NaN.
/// **Source.** As [`saturation_over_water`].
/// **Check.** MetPy 1.7.1 puts air of 2 °C and 493.78 Pa at a frost point of -2.557 °C:
///
/// ```
/// # use counterpane::{units::{Celsius, OutOfRange, Pascals}, weather::humidity::frost_point_from_vapour_pressure};
/// let Celsius(frost_point) = frost_point_from_vapour_pressure(Pascals(493.78))?;
/// assert!((frost_point - -2.557).abs() < 0.02);
/// # Ok::<(), OutOfRange>(())
/// ```
pub fn frost_point_from_vapour_pressure(vapour_pressure: Pascals) -> Result<Celsius, OutOfRange> {
    VAPOUR_PRESSURE_OVER_ICE.check(vapour_pressure.0).map(|e| Celsius(OVER_ICE.inverse(e)))
}

/// Dew point of air whose relative humidity over water is known, for feeds that give humidity alone.
///
/// ```text
/// t_d = dew point of e = rh e_s(t)                           rh from 0 to 1, t in °C
/// ```
///
/// | symbol | meaning                                  | unit | accepted range |
/// |--------|------------------------------------------|------|----------------|
/// | `t`    | air temperature                          | °C   | -60 to 60      |
/// | `rh`   | relative humidity, over water, a fraction | -    | 0.01 to 1      |
/// | result | dew point, over water                    | °C   | -45 to 60      |
///
/// **Method error.** As [`dew_point_from_vapour_pressure`]. A humidity rounded to whole percent is worse: near
/// saturation half a percent is 0.1 °C, at 30 % it is 0.2 °C.
/// **Refuses.** [`OutOfRange`] for a value outside its range, a vapour pressure without a dew point, and NaN.
/// **Source.** As [`saturation_over_water`].
/// **Check.** MetPy 1.7.1: 5 °C at 80 % has a dew point of 1.831 °C:
///
/// ```
/// # use counterpane::{units::{Celsius, OutOfRange}, weather::humidity::dew_point_from_relative_humidity};
/// let Celsius(dew_point) = dew_point_from_relative_humidity(Celsius(5.0), 0.8)?;
/// assert!((dew_point - 1.831).abs() < 0.03);
/// # Ok::<(), OutOfRange>(())
/// ```
pub fn dew_point_from_relative_humidity(air: Celsius, relative_humidity: f64) -> Result<Celsius, OutOfRange> {
    AIR_TEMPERATURE.check(air.0)?;
    let Pascals(saturation) = saturation_over_water(air);
    dew_point_from_vapour_pressure(Pascals(RELATIVE_HUMIDITY.check(relative_humidity)? * saturation))
}

/// Air pressure at an elevation, in an atmosphere of 20 °C at sea level. Enough for deposition.
///
/// ```text
/// p = 101300 ((293 - 0.0065 z) / 293)^5.26                   p in Pa, z in m
/// ```
///
/// | symbol | meaning              | unit | accepted range |
/// |--------|----------------------|------|----------------|
/// | `z`    | elevation            | m    | -430 to 5500   |
///
/// **Method error.** Under 0.6 % of the US Standard Atmosphere 1976 up to 3000 m and under 1.2 % up to 5500 m, swept by
/// `pressure_stays_near_the_standard_atmosphere`. Weather itself moves it by 3 %.
/// **Refuses.** Nothing; a [`Site`](super::Site) is checked when settings are read.
/// **Source.** FAO-56 (Allen et al. 1998, Irrigation and Drainage Paper 56), eq. 7; seen in a public copy.
/// **Check.** The US Standard Atmosphere 1976 has 81 206 Pa at 1828.8 m:
///
/// ```
/// # use counterpane::{units::Pascals, weather::humidity::air_pressure};
/// let Pascals(p) = air_pressure(1828.8);
/// assert!((p / 81_206.0 - 1.0).abs() < 0.006);
/// ```
pub fn air_pressure(elevation: f64) -> Pascals {
    Pascals(101_300.0 * ((293.0 - 0.0065 * elevation) / 293.0).powf(5.26))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// D. M. Murphy and T. Koop, 2005, Q. J. R. Meteorol. Soc. 131, 1539-1565, eq. 10, Pa.
    fn murphy_koop_water(celsius: f64) -> f64 {
        let t = celsius + 273.15;
        let tail = 53.878 - 1331.22 / t - 9.44523 * t.ln() + 0.014025 * t;
        (54.842763 - 6763.22 / t - 4.210 * t.ln() + 0.000367 * t + (0.0415 * (t - 218.8)).tanh() * tail).exp()
    }

    /// The same, eq. 7, Pa.
    fn murphy_koop_ice(celsius: f64) -> f64 {
        let t = celsius + 273.15;
        (9.550426 - 5723.265 / t + 3.53068 * t.ln() - 0.00728332 * t).exp()
    }

    fn sweep(from: i32, to: i32) -> impl Iterator<Item = f64> {
        (from * 10..=to * 10).map(|tenths| f64::from(tenths) / 10.0)
    }

    #[test]
    fn saturation_stays_near_murphy_and_koop() {
        for (from, to, allowed) in [(-45, -20, 0.008), (-20, -10, 0.004), (-10, 20, 0.003), (20, 60, 0.004)] {
            for t in sweep(from, to) {
                let error = saturation_over_water(Celsius(t)).0 / murphy_koop_water(t) - 1.0;
                assert!(error.abs() < allowed, "water at {t} C: {error}");
            }
        }
        for (from, to, allowed) in [(-65, -40, 0.0025), (-40, 0, 0.0005)] {
            for t in sweep(from, to) {
                let error = saturation_over_ice(Celsius(t)).0 / murphy_koop_ice(t) - 1.0;
                assert!(error.abs() < allowed, "ice at {t} C: {error}");
            }
        }
    }

    #[test]
    fn dew_and_frost_points_stay_near_murphy_and_koop() {
        for t in sweep(-44, 59) {
            let Ok(Celsius(found)) = dew_point_from_vapour_pressure(Pascals(murphy_koop_water(t))) else {
                panic!("refused at {t} C")
            };
            assert!((found - t).abs() < if t < -30.0 { 0.07 } else { 0.06 }, "{t} C: {found}");
        }
        for t in sweep(-64, -1) {
            let Ok(Celsius(found)) = frost_point_from_vapour_pressure(Pascals(murphy_koop_ice(t))) else {
                panic!("refused at {t} C")
            };
            assert!((found - t).abs() < 0.02, "{t} C: {found}");
        }
    }

    #[test]
    fn pressure_stays_near_the_standard_atmosphere() {
        for z in (-430..=5500).map(f64::from) {
            let standard = 101_325.0 * (1.0 - z / 44_329.0).powf(5.255876);
            let error = air_pressure(z).0 / standard - 1.0;
            assert!(error.abs() < if z <= 3000.0 { 0.006 } else { 0.012 }, "{z} m: {error}");
        }
    }

    #[test]
    fn what_no_air_can_be_is_refused() {
        for bad in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
            assert!(dew_point_from_vapour_pressure(Pascals(bad)).is_err());
            assert!(frost_point_from_vapour_pressure(Pascals(bad)).is_err());
            assert!(dew_point_from_relative_humidity(Celsius(5.0), bad).is_err());
        }
        assert!(frost_point_from_vapour_pressure(Pascals(650.0)).is_err());
        assert!(dew_point_from_relative_humidity(Celsius(5.0), 1.01).is_err());
        assert!(dew_point_from_relative_humidity(Celsius(f64::NAN), 0.5).is_err());
    }

    proptest! {
        #[test]
        fn the_frost_point_lies_above_the_dew_point(e in 12.0f64..611.0) {
            let dew_point = dew_point_from_vapour_pressure(Pascals(e)).map_err(|e| TestCaseError::fail(e.to_string()))?;
            let frost_point = frost_point_from_vapour_pressure(Pascals(e)).map_err(|e| TestCaseError::fail(e.to_string()))?;
            prop_assert!(frost_point >= dew_point && frost_point.0 - dew_point.0 <= -0.14 * dew_point.0 + 0.001);
        }

        #[test]
        fn humidity_and_dew_point_are_inverse(t in -30.0f64..50.0, humidity in 0.05f64..1.0) {
            let dew_point = dew_point_from_relative_humidity(Celsius(t), humidity);
            prop_assume!(dew_point.is_ok());
            let back = dew_point.map(|dew_point| saturation_over_water(dew_point).0 / saturation_over_water(Celsius(t)).0);
            prop_assert!(back.is_ok_and(|back| (back - humidity).abs() < 1e-9));
        }
    }
}
