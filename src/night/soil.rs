//! Soil and potting mix: they follow the air, later and less, and give the roots their temperature.

use crate::units::Celsius;
use std::f64::consts::TAU;

/// Seconds of a day, the period of the wave.
const DAY: f64 = 86_400.0;

/// Depth at which the daily wave of temperature has shrunk to 37 % (1/e).
///
/// ```text
/// D = sqrt(2 alpha / omega),   omega = 2 pi / 86400 s        D in m, alpha in m²/s
/// ```
///
/// | symbol  | meaning             | unit | accepted range                                       |
/// |---------|---------------------|------|------------------------------------------------------|
/// | `alpha` | thermal diffusivity | m²/s | 1e-7 (peat, potting mix) to 1e-6 (wet sand, gravel)  |
/// | result  | damping depth       | m    | 0.05 to 0.17                                         |
///
/// **Method error.** None known for an even soil; diffusivity itself is known to a factor of two.
/// **Refuses.** Nothing.
/// **Source.** H. S. Carslaw and J. C. Jaeger, 1959, Conduction of Heat in Solids, 2nd ed., § 2.6; Campbell and Norman
/// 1998, ch. 8; both from memory.
/// **Check.** Moist sand of 0.74e-6 m²/s has a daily damping depth of 0.14 m (Oke 1987, table 2.1, and Monteith and
/// Unsworth, table 15.1; both from memory):
///
/// ```
/// assert!((counterpane::night::soil::damping_depth(0.74e-6) - 0.14).abs() < 0.005);
/// ```
pub fn damping_depth(diffusivity: f64) -> f64 {
    (2.0 * diffusivity * DAY / TAU).sqrt()
}

/// Hours by which the minimum at a depth comes after the one at the surface.
///
/// ```text
/// lag = (z / D) / omega                                      lag in h, z in m
/// ```
///
/// | symbol | meaning                        | unit | accepted range |
/// |--------|--------------------------------|------|----------------|
/// | `z`    | depth                          | m    | 0 to 0.5       |
/// | `D`    | [`damping_depth`]              | m    |                |
///
/// **Method error.** As [`soil_minimum`].
/// **Refuses.** Nothing.
/// **Source.** As [`damping_depth`].
/// **Check.** One damping depth is one radian of the day, 24 h / 2 pi = 3.82 h:
///
/// ```
/// # use counterpane::night::soil::{damping_depth, lag_hours};
/// assert!((lag_hours(damping_depth(5e-7), 5e-7) - 3.82).abs() < 0.01);
/// ```
pub fn lag_hours(depth_m: f64, diffusivity: f64) -> f64 {
    depth_m / damping_depth(diffusivity) * DAY / TAU / 3600.0
}

/// Lowest temperature of the day at root depth, where the surface of bare soil follows the air.
///
/// ```text
/// T(z) = T_mean - (T_mean - T_min) exp(-z / D)               °C; z, D in m
/// ```
///
/// | symbol   | meaning                               | unit | accepted range |
/// |----------|---------------------------------------|------|----------------|
/// | `T_mean` | mean of the air over the day          | °C   | -30 to 35      |
/// | `T_min`  | minimum of the air, at most the mean  | °C   | -45 to 35      |
/// | `z`      | depth                                 | m    | 0 to 0.5       |
/// | `D`      | [`damping_depth`]                     | m    |                |
///
/// **Method error.** For a steady daily wave under 0.5 % of its amplitude against a stepwise solution of the equation
/// of heat (`the_wave_agrees_with_stepwise_conduction`). Real soil is not in a steady wave: in autumn its store of
/// summer heat keeps it warmer than this, as do mulch, snow and the freezing of its water; a sudden spell of cold lowers
/// the mean of days, which belongs in `T_mean`. Cold by design.
/// **Refuses.** Nothing; a minimum above the mean is taken as the mean, and NaN comes back as NaN.
/// **Source.** As [`damping_depth`].
/// **Check.** At pi damping depths the wave has shrunk to 4.3 % (exp(-pi), Carslaw and Jaeger, from memory):
///
/// ```
/// # use counterpane::{night::soil::{damping_depth, soil_minimum}, units::Celsius};
/// let depth = std::f64::consts::PI * damping_depth(5e-7);
/// let Celsius(soil) = soil_minimum(Celsius(5.0), Celsius(-5.0), depth, 5e-7);
/// assert!((soil - 4.57).abs() < 0.005);
/// ```
pub fn soil_minimum(mean_air: Celsius, air_minimum: Celsius, depth_m: f64, diffusivity: f64) -> Celsius {
    let below_mean = mean_air.0 - air_minimum.0;
    let amplitude = if below_mean < 0.0 { 0.0 } else { below_mean };
    Celsius(mean_air.0 - amplitude * (-depth_m / damping_depth(diffusivity)).exp())
}

/// Depth to which moist soil has frozen after some freezing degree-hours of the air over it.
///
/// ```text
/// X = sqrt(2 k n F 3600 / L)                              X in m, F in °C h, k in W/m/K, L in J/m³
/// ```
///
/// | symbol | meaning                                                | unit  | accepted range or value        |
/// |--------|--------------------------------------------------------|-------|--------------------------------|
/// | `F`    | hours below 0 °C, each times its degrees below         | °C h  | 0 to 2000                      |
/// | `k`    | conductivity of frozen moist soil                      | W/m/K | 1.5, middle of handbook values |
/// | `n`    | degree-hours at the surface per degree-hour of the air | -     | 0.5, ground with plants        |
/// | `L`    | heat freed by freezing the water of the soil           | J/m³  | 8.35e7, a quarter water        |
/// | result | depth of the frost, from the surface                   | m     | 0 to 0.5                       |
///
/// Water gives off so much heat as it freezes that soil stays at 0 °C until the frost has passed: one frosty night
/// reaches a few centimetres.
///
/// **Method error.** The depth of soil that starts at 0 °C, without the heat it still holds and gets from below: up to
/// 5 % too deep against stepwise conduction with freezing, 1 to 6 K below zero and 6 to 48 h (swept by
/// `the_frost_agrees_with_stepwise_freezing`); soil that starts warmer freezes later and less, so it errs on the cold
/// side. `n` and `L` are known to a factor of two.
/// **Refuses.** Nothing; no or negative degree-hours give no frost.
/// **Source.** Stefan's solution, Carslaw and Jaeger 1959, § 11.2; n-factor of turf after Lunardini 1978; all from
/// memory.
/// **Check.** The degree-hours that freeze the top 5 cm, by the heat that this frees: half of it, on average, passes
/// the whole depth:
///
/// ```
/// # use counterpane::night::soil::frost_depth;
/// let (k, n, latent) = (1.5, 0.5, 0.25 * 1000.0 * 334e3);
/// let degree_hours = latent * 0.05 * 0.05 / (2.0 * k * n * 3600.0);
/// assert!((frost_depth(degree_hours) - 0.05).abs() < 1e-4);
/// assert!(frost_depth(0.0) == 0.0);
/// ```
pub fn frost_depth(freezing_degree_hours: f64) -> f64 {
    let degree_hours = if freezing_degree_hours > 0.0 { freezing_degree_hours } else { 0.0 };
    (2.0 * FROZEN_CONDUCTIVITY * SURFACE_FACTOR * degree_hours * 3600.0 / LATENT_HEAT_OF_SOIL).sqrt()
}

const FROZEN_CONDUCTIVITY: f64 = 1.5;
const SURFACE_FACTOR: f64 = 0.5;
const LATENT_HEAT_OF_SOIL: f64 = 0.25 * 1000.0 * 334e3;

/// Time constant of the root ball in a pot: after it, 37 % of its lead over the air is left.
///
/// ```text
/// tau = r^2 / (5.8 alpha)                                    tau in h, r in m, alpha in m²/s
/// ```
///
/// | symbol  | meaning                              | unit | accepted range |
/// |---------|--------------------------------------|------|----------------|
/// | `r`     | radius of the pot                    | m    | 0.03 to 0.5    |
/// | `alpha` | thermal diffusivity of the mix       | m²/s | 1e-7 to 5e-7   |
///
/// 5.8 is the square of the first zero of the Bessel function J0, 2.404826² = 5.7832, rounded.
///
/// **Method error.** As [`pot_temperature`].
/// **Refuses.** Nothing.
/// **Source.** Carslaw and Jaeger 1959, § 7.6: slowest mode of a long cylinder with its wall at the air's temperature;
/// from memory.
/// **Check.** The exact mode, r²/(j01² alpha), for 0.15 m and 2.5e-7 m²/s:
///
/// ```
/// # use counterpane::night::soil::pot_time_constant;
/// let exact = 0.15_f64.powi(2) / (2.404826_f64.powi(2) * 2.5e-7) / 3600.0;
/// assert!((pot_time_constant(0.15, 2.5e-7) - exact).abs() < 0.02);
/// assert!((pot_time_constant(0.15, 2.5e-7) - 4.3).abs() < 0.05);
/// ```
pub fn pot_time_constant(radius_m: f64, diffusivity: f64) -> f64 {
    radius_m.powi(2) / (5.8 * diffusivity) / 3600.0
}

/// Temperature of the root ball at the end of each step: it follows the air with a first-order lag.
///
/// ```text
/// T <- T_air + (T - T_air) exp(-h / tau)                     exact for air constant over a step of h hours
/// ```
///
/// | symbol  | meaning                             | unit | accepted range |
/// |---------|-------------------------------------|------|----------------|
/// | `T`     | mean of the root ball               | °C   | -40 to 50      |
/// | `h`     | length of a step, paired with its air | h  | above 0 to 24  |
/// | `T_air` | air of the step                     | °C   | -45 to 50      |
/// | `tau`   | [`pot_time_constant`]               | h    |                |
///
/// **Method error.** Against the exact mean of a long cylinder whose wall takes the air's temperature at once, up to
/// 0.21 of a sudden step too warm, early in it (swept by `the_lag_stays_near_the_whole_series`); that holds for a thin
/// wet pot in wind. A film of calm air round the pot and the freezing of its water slow a real one by as much and more.
/// Roots at the wall are nearer to the air than the mean.
/// **Refuses.** Nothing; a step of no or negative length changes nothing, and NaN comes back as NaN.
/// **Source.** As [`pot_time_constant`].
/// **Check.** Newton's law of cooling: 37 % (1/e) of the lead is left after one time constant:
///
/// ```
/// # use counterpane::{night::soil::{pot_temperature, pot_time_constant}, units::Celsius};
/// let tau = pot_time_constant(0.15, 2.5e-7);
/// let halves = [(tau / 2.0, Celsius(0.0)); 2];
/// let balls: Vec<Celsius> = pot_temperature(Celsius(10.0), halves.into_iter(), 0.15, 2.5e-7).collect();
/// assert!((balls[1].0 - 3.68).abs() < 0.005);
/// ```
pub fn pot_temperature(
    start: Celsius,
    hourly_air: impl Iterator<Item = (f64, Celsius)>,
    radius_m: f64,
    diffusivity: f64,
) -> impl Iterator<Item = Celsius> {
    let tau = pot_time_constant(radius_m, diffusivity);
    hourly_air.scan(start.0, move |ball, (hours, air)| {
        let elapsed = if hours < 0.0 { 0.0 } else { hours };
        *ball = air.0 + (*ball - air.0) * (-elapsed / tau).exp();
        Some(Celsius(*ball))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_wave_agrees_with_stepwise_conduction() {
        // 1 m of soil in layers of 1 cm, surface a cosine of amplitude 10 about 5 °C, 20 days to settle.
        let (diffusivity, layer, step) = (5e-7, 0.01, 60.0);
        let mut soil = [5.0; 101];
        let mut lowest = [f64::INFINITY; 101];
        for minute in 0..20 * 1440 {
            soil[0] = 5.0 - 10.0 * (TAU * f64::from(minute) * step / DAY).cos();
            let before = soil;
            for z in 1..100 {
                soil[z] += diffusivity * step / layer / layer * (before[z - 1] - 2.0 * before[z] + before[z + 1]);
            }
            if minute >= 19 * 1440 {
                for (lowest, now) in lowest.iter_mut().zip(soil) {
                    *lowest = lowest.min(now);
                }
            }
        }
        for (z, stepwise) in lowest.iter().enumerate().take(31) {
            let Celsius(ours) = soil_minimum(Celsius(5.0), Celsius(-5.0), z as f64 * layer, diffusivity);
            assert!((ours - stepwise).abs() < 0.05, "{z} cm: {ours} and stepwise {stepwise}");
        }
    }

    #[test]
    fn the_frost_agrees_with_stepwise_freezing() {
        // Enthalpy in layers of 2 mm, soil at 0 °C and unfrozen, surface held below. Air acts through the n-factor.
        let (layer, step, heat_capacity) = (0.002, 1.0, 2.0e6);
        for (below, hours) in [(1.0, 48.0), (3.0, 12.0), (6.0, 6.0), (6.0, 24.0)] {
            let surface = -below * SURFACE_FACTOR;
            let mut enthalpy = [0.0_f64; 150];
            let temperature = |h: f64| {
                if h < -LATENT_HEAT_OF_SOIL {
                    (h + LATENT_HEAT_OF_SOIL) / heat_capacity
                } else {
                    h.max(0.0) / heat_capacity
                }
            };
            for _ in 0..(hours * 3600.0 / step) as u32 {
                let t: Vec<f64> = enthalpy.iter().map(|h| temperature(*h)).collect();
                for z in 0..149 {
                    // From the surface to the middle of the first layer it is half a layer.
                    let above = if z == 0 { 2.0 * (surface - t[0]) } else { t[z - 1] - t[z] };
                    enthalpy[z] += FROZEN_CONDUCTIVITY * (above + t[z + 1] - t[z]) / layer / layer * step;
                }
            }
            let frozen: f64 = enthalpy.iter().map(|h| (-h / LATENT_HEAT_OF_SOIL).clamp(0.0, 1.0) * layer).sum();
            let ours = frost_depth(below * hours);
            assert!(
                ours >= frozen * 0.97 && ours <= frozen * 1.06,
                "{below} K, {hours} h: {ours} and stepwise {frozen}"
            );
        }
    }

    #[test]
    fn the_lag_stays_near_the_whole_series() {
        // Zeros of J0: DLMF table 10.21.1 for the first three, McMahon's expansion beyond (error under 1e-4).
        let zero = |n: u32| match n {
            1 => 2.404826,
            2 => 5.520078,
            3 => 8.653728,
            _ => {
                let b = (f64::from(n) - 0.25) * TAU / 2.0;
                b + 1.0 / (8.0 * b) - 124.0 / (3.0 * (8.0 * b).powi(3))
            }
        };
        let mut worst: (f64, f64) = (0.0, 0.0);
        for percent in 1..400 {
            let time = f64::from(percent) / 100.0;
            let exact: f64 =
                (1..200).map(|n| zero(n).powi(2)).map(|square| 4.0 / square * (-square / 5.8 * time).exp()).sum();
            let error = (-time).exp() - exact;
            worst = (worst.0.min(error), worst.1.max(error));
        }
        assert!(worst.0 > -0.001 && (0.19..0.21).contains(&worst.1), "{worst:?}");
    }

    #[test]
    fn nothing_unknown_becomes_a_temperature() {
        assert!(soil_minimum(Celsius(f64::NAN), Celsius(0.0), 0.1, 5e-7).0.is_nan());
        assert!(soil_minimum(Celsius(5.0), Celsius(f64::NAN), 0.1, 5e-7).0.is_nan());
        let hours = [(1.0, Celsius(f64::NAN)), (1.0, Celsius(5.0))];
        assert!(pot_temperature(Celsius(5.0), hours.into_iter(), 0.1, 2e-7).all(|ball| ball.0.is_nan()));
    }

    proptest! {
        #[test]
        fn deeper_soil_is_never_colder_and_never_warmer_than_the_mean(
            mean in -10.0f64..25.0, below in 0.0f64..20.0, depth in 0.0f64..0.5, deeper in 0.0f64..0.5, alpha in 1e-7f64..1e-6,
        ) {
            let at = |depth| soil_minimum(Celsius(mean), Celsius(mean - below), depth, alpha).0;
            prop_assert!(at(depth) <= at(depth + deeper) && at(depth + deeper) <= mean);
        }

        #[test]
        fn two_short_steps_are_one_long_one(start in -10.0f64..20.0, air in -20.0f64..20.0, a in 0.1f64..5.0, b in 0.1f64..5.0) {
            let last = |steps: &[(f64, Celsius)]| pot_temperature(Celsius(start), steps.iter().copied(), 0.15, 2.5e-7).last();
            let (Some(two), Some(one)) = (last(&[(a, Celsius(air)), (b, Celsius(air))]), last(&[(a + b, Celsius(air))]))
            else { return Err(TestCaseError::fail("no step")) };
            prop_assert!((two.0 - one.0).abs() < 1e-9);
            prop_assert!(one.0 >= start.min(air) - 1e-9 && one.0 <= start.max(air) + 1e-9);
        }
    }
}
